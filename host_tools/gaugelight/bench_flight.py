"""The bench's flight, by day: an engine start, readouts through all their marks, rules, a transfer until the reserve is dry, a wire that
breaks, a float that sticks (bench_cruise); then night falls.

What a box does not have is left out. What should be told is taken from the box file, never from the table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gaugebox import reserve
from gaugebox.alerts import LASTS, STANDS
from gaugelight.bench_cruise import cruise_scenario
from gaugelight.face_tables import COLOUR_CODES, TURNS_A_SECOND, Zone, derived_laws, zones
from gaugelight.lights import DAYLIGHT
from gaugelight.readouts import AlertRule, Condition, Markings

if TYPE_CHECKING:
    from gaugelight.bench import Run
    from gaugelight.box_line import SaidMark
    from gaugelight.boxfile import Input
    from gaugelight.fuel_watch import ReserveTank

DIP_V, CHARGING = 6.0, 0.85  # V; of the way through the bus's span
TOLD_S = 2.0  # a fault is named within a fifth of a second, and stands for one before it is told
LOOK_MS = 200
NEEDLE_PERCENT = 0.5  # of its way; what it follows may move while it is looked at
CALLED_S, BUILT_S = 5.0, 8.0
COLOURS = ("none", *COLOUR_CODES)
STROKES_HZ, RIPPLE = 2.0, 0.15  # of a plunger pump's pressure (our own)


def flight_scenario(run: Run, cruise: bool) -> None:
    """cruise: with it, which takes an hour of the box's time. Raises VirtualBoxError, Wrong."""
    flight = Flight(run)
    flight.daylight(True)
    flight.start_engine()
    flight.through_the_marks()
    for rule in run.built.box.face.alerts:
        flight.rule(rule)
    if run.built.box.face.reserve is not None:
        flight.transfer(run.built.box.face.reserve)
    flight.wire_breaks()
    if cruise:
        cruise_scenario(flight)
    flight.daylight(False)
    run.line.acknowledge()  # then a warning lights its lamp steadily, and that can be judged


class Flight:
    def __init__(self, run: Run) -> None:
        self.run = run
        self.box = run.built.box
        self.aircraft = run.aircraft

    def wait(self, seconds: float) -> None:
        self.run.virtual.fast_forward(round(seconds * 1000))

    def told(self) -> list[str]:
        return [one.words for one in self.run.line.alerts().shown]

    def read(self, name: str, reading: float) -> None:
        one = self.box.input(name)
        assert one is not None
        low, high = one.law.span
        at = np.array([min(high, max(low, reading))])
        self.aircraft.signals[name] = float(one.law.signal(at)[0])

    def daylight(self, day: bool) -> None:
        """Day breaks, or night falls; the box follows after its delay."""
        if (daylight := self.box.lights.daylight) is None:
            return
        sensor = self.box.input(daylight.sensor)
        assert sensor is not None
        self.read(sensor.name, sensor.law.span[day])
        self.wait(1.0 + float(daylight.delay) + 7 * float(sensor.damping))
        should, said = "day" if day else "night", self.run.line.dim().daylight
        self.run.judge("day breaks" if day else "night falls", DAYLIGHT, should, said, said == should)

    def start_engine(self) -> None:
        """The bus goes down to 6 V for a second: the box runs on, and all else reads on."""
        told = self.box.in_flight
        bus = None if told is None else self.box.input(told.follows)
        if bus is None or bus.unit != "V":
            return
        starts = len(self.run.virtual.restarts)
        before = self.aircraft.signals[bus.name]
        self.aircraft.signals[bus.name] = DIP_V
        self.wait(1.0)
        low = bus.law.span[0] > DIP_V
        said = self.run.line.values(self.run.described)[self.box.inputs.index(bus)]
        should = "a fault" if low else f"{DIP_V:g} V"
        word = said.fault or f"{float(said.reading or 0):.1f} V"
        self.run.judge("engine start", bus.name, should, word, bool(said.fault) == low)
        self.aircraft.signals[bus.name] = before
        self.run.settle("engine runs", [bus])
        restarts = len(self.run.virtual.restarts) - starts
        self.run.judge("engine runs", "box", "not restarted", f"{restarts} restarts", restarts == 0)
        low_end, high_end = bus.law.span
        self.read(bus.name, low_end + CHARGING * (high_end - low_end))

    # -- marks

    def through_the_marks(self) -> None:
        """All inputs with marks at once, each to the middle of one of its zones after the other."""
        marked = [one for one in self.box.inputs if one.markings is not None and one.markings.marks]
        places = {one.name: _places(one, one.markings) for one in marked if one.markings is not None}
        for turn in range(max(map(len, places.values()), default=0)):
            for one in marked:
                zone, reading = places[one.name][turn % len(places[one.name])]
                self.read(one.name, reading)
            self.wait(max(_enters_s(one) for one in marked))
            said = self.run.line.marks(len(self.box.shown))
            told = self.run.line.alerts()
            for one in marked:
                zone, reading = places[one.name][turn % len(places[one.name])]
                self.judge_mark(one, zone, reading, said, [alert.words for alert in told.shown])
            self.judge_others(f"marks, {turn + 1}")

    def judge_others(self, action: str) -> None:
        """What is made of the inputs: derived readouts against their laws at what the parts read, needles against their points."""
        derived, needles = self.box.face.derived, self.box.face.needles
        every = self.run.line.describe(len(self.box.inputs) + len(derived))
        said = {about.name: one for about, one in zip(every, self.run.line.values(every))}
        for one in derived:
            parts = [said[name].reading for name in one.names]
            lost = [name for name in one.names if said[name].fault]
            reading, fault = said[one.name].reading, said[one.name].fault
            should, word, held = "a fault", fault or "a reading", fault is not None
            if not lost:
                total = sum(
                    float(law(np.array([float(part or 0)]))[0])
                    for law, part in zip(derived_laws(one, self.box), parts)
                )
                near = float(one.step) / 2
                should, word = f"{total:.2f} +-{near:g} {one.unit}", fault or f"{float(reading or 0):.2f}"
                held = reading is not None and abs(float(reading) - total) <= near
            self.run.judge(action, one.name, should, word, held)
        for needle in needles:
            reading = said[needle.follows].reading
            place = float(needle.park)
            if reading is not None:
                ats, percents = zip(*((float(at), float(percent)) for at, percent in needle.points))
                place = float(np.interp(float(reading), ats, percents))
            self.wait(100 / float(needle.slew))
            percent = self.run.virtual.latest.pwm.get(needle.pin, (0, 0))[1] / 655.35
            held = abs(percent - place) <= NEEDLE_PERCENT
            self.run.judge(action, needle.name, f"{place:.1f} %", f"{percent:.1f} %", held)

    def judge_mark(
        self, one: Input, zone: Zone, reading: float, said: list[SaidMark], told: list[str]
    ) -> None:
        assert one.markings is not None
        number = [name for name, _, _ in self.box.shown].index(one.name)
        colour = said[number].colour
        should = 0 if zone.colour is None else COLOUR_CODES[zone.colour]
        judged = self.judged(one.markings)
        if not judged:
            should = 0
        words = f"{one.name} {zone.says}"
        alerted = not zone.rank or not judged or words in told
        self.run.judge(
            f"{one.name} at {reading:.3g} {one.unit}",
            one.name,
            COLOURS[should] + (f", {zone.says}" if zone.rank and judged else ""),
            COLOURS[colour] + ("" if alerted else ", not told"),
            colour == should and alerted,
        )

    def judged(self, markings: Markings) -> bool:
        return markings.only_when is None or self.holds(markings.only_when)

    def holds(self, condition: Condition) -> bool:
        if condition.way in ("on", "off"):
            return self.aircraft.switches.get(condition.name, False) == (condition.way == "on")
        one = self.box.input(condition.name)
        if one is None or condition.value is None:
            return False
        reading = float(one.law.reading(np.array([self.aircraft.signals[one.name]]))[0])
        return reading > condition.value if condition.way == "above" else reading < condition.value

    # -- rules

    def rule(self, rule: AlertRule) -> None:
        """What it waits for, then what it tells of, then what ends it; while it is on, a lamp for it is lit."""
        conditions = [*rule.when, *(one for one in (rule.after, rule.until) if one is not None)]
        if any(
            one.way == "at fault" or self.box.input(one.name) is None and one.value is not None
            for one in conditions
        ):
            return  # of a derived readout, or of a fault
        for name in {one.name for one in conditions}:
            self.undo(name, conditions)
        slack = (
            1.0
            + float(rule.lasts)
            + max((7 * float(one.damping) for one in self.inputs(conditions)), default=0)
        )
        if rule.after is not None:
            self.bring(rule.after)
            self.wait(slack)
        self.judge_told(f"{rule.words}: not yet", rule.words, False)
        for condition in rule.when:
            self.bring(condition)
        self.wait(slack)
        self.judge_told(f"{rule.words}: all of it", rule.words, True)
        lamp = next((one for one in self.box.lights.lamps if one.shows == rule.urgency), None)
        if lamp is not None:
            seen = set()
            for _ in range(10):
                self.wait(0.1)
                seen.add(self.run.virtual.latest.pwm.get(lamp.pin, (0, 0))[1] > 0)
            flashes = seen == {True, False} if rule.urgency == "warning" else seen == {True}
            should = "flashes" if rule.urgency == "warning" else "is lit"
            self.run.judge(
                f"{rule.words}: all of it", lamp.name, should, should if flashes else str(seen), flashes
            )
        if rule.until is not None:
            kept = [one for one in rule.when if one.name != rule.until.name]
            for condition in kept:
                self.bring(condition, opposite=True)
            if kept:
                self.wait(slack)
                self.judge_told(f"{rule.words}: no longer all of it", rule.words, True)
            self.bring(rule.until)
        else:
            self.bring(rule.when[0], opposite=True)
        self.wait(slack)
        self.judge_told(f"{rule.words}: over", rule.words, False)

    def inputs(self, conditions: list[Condition]) -> list[Input]:
        return [one for one in (self.box.input(each.name) for each in conditions) if one is not None]

    def undo(self, name: str, conditions: list[Condition]) -> None:
        for condition in conditions:
            if condition.name == name:
                self.bring(condition, opposite=True)

    def bring(self, condition: Condition, opposite: bool = False) -> None:
        """The aircraft to where it holds, or does not."""
        if condition.way in ("on", "off"):
            self.aircraft.switches[condition.name] = (condition.way == "on") != opposite
            return
        one = self.box.input(condition.name)
        assert one is not None and condition.value is not None
        low, high = one.law.span
        above = (condition.way == "above") != opposite
        value = float(condition.value)
        self.read(condition.name, value + 0.25 * (high - value) if above else value - 0.25 * (value - low))

    def judge_told(self, action: str, words: str, should: bool) -> None:
        told = words in self.told()
        self.run.judge(
            action, "alerts", "told" if should else "not told", "told" if told else "not told", told == should
        )

    # -- the transfer

    def transfer(self, tank: ReserveTank) -> None:
        """The pump on, its line ragged; then it draws air."""
        base = 0.0
        pump = float(tank.flowing[0] + tank.flowing[1]) / 2
        self.flow(tank, base, 0.0, 4.0)
        self.run.line.ask("filled")
        self.aircraft.switches[tank.pump] = True
        built = self.until(tank, base + pump, RIPPLE * pump, reserve.FLOWING, BUILT_S)
        self.judge_state("transfer", reserve.FLOWING, built, BUILT_S)
        self.flow(tank, base + pump, RIPPLE * pump, 20.0)
        self.judge_state("transfer goes on", reserve.FLOWING, 0.0, BUILT_S)
        dry = self.until(tank, base, 0.0, reserve.LEAK, CALLED_S)  # the reserve was full: too soon to be dry
        self.judge_state("the reserve draws air, too soon", reserve.LEAK, dry, CALLED_S)
        self.judge_told("the reserve draws air, too soon", "MAY LEAK STOP PUMP", True)
        self.aircraft.switches[tank.pump] = False
        self.flow(tank, base, 0.0, 5.0)
        self.aircraft.switches[tank.pump] = True
        self.until(tank, base + pump, RIPPLE * pump, reserve.FLOWING, BUILT_S)
        self.flow(tank, base + pump, RIPPLE * pump, 20.0)
        dry = self.until(tank, base, 0.0, reserve.DRY, CALLED_S)
        self.judge_state("the reserve runs dry", reserve.DRY, dry, CALLED_S)
        self.judge_told("the reserve runs dry", "RESERVE DRY STOP PUMP", True)
        self.aircraft.switches[tank.pump] = False
        self.flow(tank, base, 0.0, 2.0)
        self.judge_state("the pump off", reserve.OFF, 0.0, CALLED_S)

    def flow(self, tank: ReserveTank, pressure: float, ripple: float, seconds: float) -> None:
        self.until(tank, pressure, ripple, -1, seconds)

    def until(self, tank: ReserveTank, pressure: float, ripple: float, state: int, seconds: float) -> float:
        """Seconds until the watch says so, or all of them; the line at that pressure with a pump's strokes on it."""
        chance = np.random.default_rng(5)
        for look in range(round(seconds * 1000 / LOOK_MS)):
            stroke = ripple * np.sin(2 * np.pi * STROKES_HZ * look * LOOK_MS / 1000) + chance.normal(
                0, ripple / 10 + 0.01
            )
            self.read(tank.pressure, pressure + float(stroke))
            self.run.virtual.fast_forward(LOOK_MS)
            if state >= 0 and self.state() == state:
                return (look + 1) * LOOK_MS / 1000
        return seconds + LOOK_MS / 1000

    def state(self) -> int:
        return int(self.run.line.ask("reserve")[0])

    def judge_state(self, action: str, state: int, took: float, within: float) -> None:
        said = self.state()
        held = said == state and took <= within
        should = f"{reserve.STATES[state]} within {within:g} s"
        self.run.judge(action, "reserve watch", should, f"{reserve.STATES[said]} after {took:.1f} s", held)

    # -- a wire

    def wire_breaks(self) -> None:
        """It is told, once acknowledged it is not told again, and it goes when the wire is whole."""
        one = next((i for i in self.box.inputs if i.markings is not None and i.circuit.unit == "ohm"), None)
        if one is None:
            return
        self.aircraft.wires[one.name] = "broken"
        self.wait(TOLD_S)
        words = f"{one.name} FAIL open"
        self.judge_told(f"{one.name}: wire broken", words, True)
        self.judge_others(f"{one.name}: wire broken")
        self.run.line.acknowledge()
        seen = {alert.words: alert.acknowledged for alert in self.run.line.alerts().shown}
        said = "acknowledged" if seen.get(words) else "not acknowledged"
        self.run.judge("acknowledged", words, "acknowledged", said, said == "acknowledged")
        del self.aircraft.wires[one.name]
        self.wait(TOLD_S + LASTS * STANDS / TURNS_A_SECOND)
        self.judge_told(f"{one.name}: wire whole again", words, False)


def _places(one: Input, markings: Markings) -> list[tuple[Zone, float]]:
    """Its zones, each with a reading well inside that the sender can give."""
    decimals = 6
    made = zones(markings.marks, decimals, one.step)
    low, high = one.law.span
    places = []
    for zone, after in zip(made, [*made[1:], None]):
        begins = low if zone.edge is None else max(low, zone.edge / 10**decimals)
        ends = high if after is None or after.edge is None else min(high, after.edge / 10**decimals)
        if ends - begins > float(one.step):
            places.append((zone, (begins + ends) / 2))
        elif zone.edge is None and zone.colour is not None:
            places.append((zone, low))  # a limit where the sender itself ends
    return places


def _enters_s(one: Input) -> float:
    assert one.markings is not None
    return 1.0 + float(one.markings.delay) + 5 * float(one.damping)
