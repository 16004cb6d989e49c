"""The bench's lighting half: knobs turned, broken and shaken, daylight and the lighting bus moved; lamps judged at their pins.

What a light should do is computed from the box file by its own laws, never from the box's curves or code. Each is allowed what a
knob's play, a step of its converter and the error of its curve make of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from gaugebox.light import BRIDGED, FACTOR_BITS, FACTOR_RISE, PLAY, TURNED
from gaugelight.box_line import SaidDimmer
from gaugelight.boxfile import Box
from gaugelight.light_tables import INPUT_PLAY, SUPPLY_PLAY, duty_error, knob_count, tells_faults, travel
from gaugelight.lightness import light_of_level, lightness
from gaugelight.lights import DAYLIGHT, BusOutput, Dimmed, Display, Fixed, Follows, Knob, Lamp, Points
from gaugelight.loads import light_factor
from gaugelight.plant import REFERENCE_V, Aircraft, KnobState
from gaugelight.virtual.world import Outputs

if TYPE_CHECKING:
    from gaugelight.bench import Run

FULL = 65535
CONVERTER_STEP = 16 + 1  # counts of the on-chip converter, and a rounding
TICK_MS = 20
Span = tuple[float, float]

# what breaks, and what the box calls it
BROKEN: dict[KnobState, str] = {
    "wiper broken": "open",
    "upper end broken": "open",
    "lower end broken": "short",
    "to ground": "open",
    "to 3.3 V": "short",
}


@dataclass
class LightTrace:
    """For the plot, look by look: knob in per cent, and by name lightness L* of a lamp, per cent of the display, volts of the line."""

    knob: list[float] = field(default_factory=list)
    lights: dict[str, list[float]] = field(default_factory=dict)
    dim_request: list[bool] = field(default_factory=list)
    day: list[bool] = field(default_factory=list)
    actions: list[tuple[int, str]] = field(default_factory=list)


class Expected:
    """Levels, in per cent, and duties that the box file asks for, as spans from least to most.

    day, and whether a hand has turned each knob since it was decided, are the scenario's to say.
    """

    def __init__(self, box: Box, aircraft: Aircraft) -> None:
        self.box, self.aircraft = box, aircraft
        self.day = False
        self.turned: set[int] = set()
        self.lit: dict[str, bool] = {}

    def knob(self, knob: Knob) -> Span:
        counts = travel(knob)
        count = self.aircraft.knob_volts(knob) / REFERENCE_V * FULL
        low, high = (
            (count + d - counts.low) / (counts.high - counts.low) * 100
            for d in (-PLAY - CONVERTER_STEP, PLAY + CONVERTER_STEP)
        )
        return min(100.0, max(0.0, low)), min(100.0, max(0.0, high))

    def levels(self, one: Dimmed) -> Span:
        """Where it is going."""
        span = self._followed(one)
        if self.day and one.by_day is not None:
            knob = self.box.lights.overriding(one)
            if knob is None or knob.pin not in self.turned:
                by_day = share(one, one.by_day)
                span = by_day, by_day
        if not isinstance(one, Lamp):
            return span
        lit = self.lit.get(one.name, False)
        if span[0] >= one.on_above:
            lit = True
        elif span[1] < one.off_below:
            lit = False
        self.lit[one.name] = lit
        return span if lit else (0.0, 0.0)

    def _followed(self, one: Dimmed) -> Span:
        source = one.source
        if isinstance(source, Fixed):
            return float(source.level), float(source.level)
        if isinstance(source, Knob):
            if source.pin in self.aircraft.broken and one.on_fault is not None:
                return float(one.on_fault), float(one.on_fault)
            return self.knob(source)
        lamp = self.box.lights.lamp(source.name)
        if lamp is not None:
            return through(one, source.points, self.levels(lamp), 0.01)
        measured = self.box.input(source.name)
        assert measured is not None
        signal = self.aircraft.signals[measured.name]
        reading = float(measured.law.reading(np.array([signal]))[0])
        lowest, highest = measured.law.span
        slack = INPUT_PLAY * (highest - lowest) + 2 * float(measured.step)
        return through(one, source.points, (reading - slack, reading + slack), 0.0)

    def duties(self, one: Dimmed) -> Span:
        low, high = self.levels(one)
        if isinstance(one, Lamp):
            low, high = max(low, float(one.not_below)), max(high, float(one.not_below))
        if not isinstance(one, Lamp):
            return low / 100 * FULL - 7, high / 100 * FULL + 7  # a level is a ten-thousandth
        ends = light_of_level(one, np.array([low, high]))
        errors = duty_error(ends) + 7 * (ends > 0)
        least, most = self.factors(one)
        if high == low == 0:
            return 0.0, 0.0
        dimmest = (float(one.floor) / 100 * FULL - 1) * (low > 0)  # its supply makes no pulse shorter
        bright = (ends[1] * FULL + errors[1]) * most + 1
        return max(dimmest, float((ends[0] * FULL - errors[0]) * least - 1)), max(dimmest + 2, float(bright))

    def factors(self, lamp: Lamp) -> Span:
        if lamp.compensate is None or lamp.load is None:
            return 1.0, 1.0
        volts = self.aircraft.signals[lamp.compensate.input]
        measured = self.box.input(lamp.compensate.input)
        assert measured is not None
        slack = SUPPLY_PLAY + float(measured.step)
        at = float(lamp.compensate.at)
        return (
            light_factor(lamp.load, volts + slack, at) - 0.001,
            min(1.0, light_factor(lamp.load, volts - slack, at) + 0.001),
        )


def share(one: Dimmed, value: Fraction) -> float:
    """A per cent, or volts on the bus output, as a level in per cent."""
    return float(value * 100 / one.highest) if isinstance(one, BusOutput) else float(value)


def through(one: Dimmed, points: Points | None, span: Span, slack: float) -> Span:
    """Least and most of the points over a span of what is followed."""
    if points is None:
        return span
    xs = np.array([float(x) for x, _ in points])
    ys = np.array([share(one, y) for _, y in points])
    low, high = span[0] - slack, span[1] + slack
    values = [y for x, y in zip(xs, ys) if low <= x <= high]
    # at a step the line is not single-valued: from the left and from the right
    values += [float(np.interp(x, xs + np.arange(len(xs)) * 1e-9, ys)) for x in (low, high)]
    return min(values), max(values)


def _for_alerts(one: Dimmed) -> bool:
    return isinstance(one, Lamp) and one.shows is not None


def light_scenario(run: Run) -> None:
    """Raises VirtualBoxError, Wrong."""
    if run.built.box.lights.dimmed:
        _LightRun(run).scenario()


class _LightRun:
    def __init__(self, run: Run) -> None:
        self.run = run
        self.box = run.built.box
        self.lights = self.box.lights
        self.aircraft = run.aircraft
        self.expected = Expected(self.box, self.aircraft)
        self.trace = run.report.light
        self.percent = 0.0
        fades = [float(one.fade) for one in self.lights.dimmed]
        followed = [
            one for one in self.box.inputs if one.name in {self._follows(d) for d in self.lights.dimmed}
        ]
        damped = [float(one.damping) * 7 for one in followed]
        self.rest_ms = round(1000 * (0.3 + 10 * max(fades) + max(damped, default=0.0)))
        self.bridged_s = (BRIDGED * TICK_MS + self.rest_ms) / 1000
        # its correction moves slowly, and its input may be damped
        self.supply_s = self.rest_ms / 1000 + (1 << FACTOR_BITS) / FACTOR_RISE * TICK_MS / 1000

    @staticmethod
    def _follows(one: Dimmed) -> str | None:
        return one.source.name if isinstance(one.source, Follows) else None

    def scenario(self) -> None:
        knobs = self.lights.knobs
        for percent in [*range(0, 101, 5), 0] if knobs else [0]:
            self.turn(float(percent))
            self.settle(f"knob to {percent:g} %")
        for name in dict.fromkeys(self._follows(one) for one in self.lights.dimmed):
            if (measured := self.box.input(name or "")) is not None:
                lowest, highest = measured.law.span
                for part in (0.0, 0.15, 0.5, 0.9, 0.0):
                    self.read(measured.name, lowest + part * (highest - lowest))
                    self.settle(f"{name} at {lowest + part * (highest - lowest):.3g} {measured.unit}")
        for switch in self.lights.switches:
            for on in (True, False):
                self.aircraft.switches[switch.name] = on
                self.settle(f"{switch.name} switched {'on' if on else 'off'}")
        self.supplies()
        for knob in knobs:
            self.shake(knob)
            self.fade(knob)
            if tells_faults(knob):
                for state, fault in BROKEN.items():
                    self.break_knob(knob, state, fault)
        self.daylight()
        if knobs:
            self.start_up()

    def turn(self, percent: float) -> None:
        """All knobs, to a per cent of their live travel, as `gaugelight dim` counts; to the stop at 0 and 100."""
        self.percent = percent
        for knob in self.lights.knobs:
            before = self.expected.knob(knob)
            track = percent
            if 0 < percent < 100:
                track = self.aircraft.knob_at(knob, knob_count(knob, percent) / FULL * REFERENCE_V)
            self.aircraft.knobs[knob.pin] = track
            if abs(self.expected.knob(knob)[0] - before[0]) > TURNED / 100:
                self.expected.turned.add(knob.pin)

    def read(self, name: str, reading: float) -> None:
        measured = self.box.input(name)
        assert measured is not None
        self.aircraft.signals[name] = float(measured.law.signal(np.array([reading]))[0])

    def supplies(self) -> None:
        """Lamps that are kept steady, over their supply."""
        names = {lamp.compensate.input for lamp in self.lights.lamps if lamp.compensate is not None}
        self.turn(60.0)
        for name in names:
            measured = self.box.input(name)
            assert measured is not None
            rest = self.aircraft.signals[name]
            for volts in (10.5, 12.0, 14.2, 15.5):
                if measured.law.span[0] <= volts <= measured.law.span[1]:
                    self.read(name, volts)
                    self.settle(f"{name} at {volts:g} V", seconds=self.supply_s)
            self.aircraft.signals[name] = rest
            self.settle(f"{name} back", seconds=self.supply_s)

    def shake(self, knob: Knob) -> None:
        """A knob held still with 8 counts RMS of noise moves nothing."""
        self.turn(50.0)
        self.settle("knob to 50 %")
        self.aircraft.noise = 8.0
        self.run.virtual.fast_forward(1000)
        self.aircraft.watched = []
        self.run.virtual.fast_forward(20_000)
        seen = self.aircraft.watched
        self.aircraft.watched = None
        for one in self.lights.dimmed:
            if isinstance(one, Lamp) and not one.shows and self.lights.knob_of(one) == knob:
                duties = {outputs.pwm[one.pin][1] for outputs in seen if one.pin in outputs.pwm}
                said = f"{len(duties)} over {len(seen)} looks"
                self.run.judge("8 counts of noise, 20 s", one.name, "one duty", said, len(duties) == 1)
        self.aircraft.noise = 0.0

    def fade(self, knob: Knob) -> None:
        """Up and down between two places: at the time constant 63 % of the way, never beyond, never back."""
        for start, end in ((10.0, 60.0), (60.0, 10.0)):
            self.turn(start)
            self.settle(f"knob to {start:g} %", show=False)
            self.aircraft.watched = []
            self.turn(end)
            self.run.virtual.fast_forward(self.rest_ms)
            seen, self.aircraft.watched = self.aircraft.watched, None
            for one in self.lights.lamps:
                if one.source == knob and not one.shows and one.fade >= Fraction(1, 10):
                    self.judge_fade(f"knob from {start:g} to {end:g} %", one, seen)

    def judge_fade(self, action: str, lamp: Lamp, seen: list[Outputs]) -> None:
        grid = np.linspace(float(lamp.on_above), 100, 20_001)
        law = light_of_level(lamp, grid) * self.expected.factors(lamp)[1]
        levels = np.interp([outputs.pwm[lamp.pin][1] / FULL for outputs in seen], law, grid)
        times = np.array([outputs.now_ms for outputs in seen]) - seen[0].now_ms
        along = (levels - levels[0]) / (levels[-1] - levels[0])
        moved = float(times[np.argmax(along > 0)]) - TICK_MS
        reached = float(times[np.argmax(along > 1 - math.exp(-1))]) - moved
        back = max(0.0, -float(np.diff(along).min()))
        should = float(lamp.fade) * 1000
        slack = 2 * TICK_MS + 0.05 * should
        said = f"63 % of the way after {reached:.0f} ms, {back:.1%} back"
        held = abs(reached - should) <= slack and back < 0.002 and moved <= 2 * TICK_MS
        self.run.judge(action, lamp.name, f"{should:.0f} +-{slack:.0f} ms, none back", said, held)

    def break_knob(self, knob: Knob, state: KnobState, fault: str) -> None:
        """At night: to the safe level, named, and on the way never brighter than before or there."""
        self.turn(30.0)
        self.settle("knob to 30 %", show=False)
        mine = [one for one in self.lights.lamps if not one.shows and self.lights.knob_of(one) == knob]
        before = {one.name: self.run.virtual.latest.pwm[one.pin][1] for one in mine}
        self.aircraft.watched = []
        self.aircraft.broken[knob.pin] = state
        self.settle(f"knob: {state}", seconds=self.bridged_s)
        seen, self.aircraft.watched = self.aircraft.watched, None
        said = {one.name: one for one in self.run.line.lamps(len(self.lights.dimmed))}
        for one in mine:
            most = max((o.pwm[one.pin][1] for o in seen if one.pin in o.pwm), default=0)
            after = self.run.virtual.latest.pwm[one.pin][1]
            held = most <= max(before[one.name], after) and said[one.name].fault == fault
            words = f"{said[one.name].fault}; at most {most / 655.35:.2f} %"
            should = f"{fault}; at most {max(before[one.name], after) / 655.35:.2f} %"
            self.run.judge(f"knob: {state}", one.name, should, words, held)
        del self.aircraft.broken[knob.pin]
        self.settle(f"knob whole again after: {state}", seconds=self.bridged_s, show=False)

    def daylight(self) -> None:
        """A knob left up by day dims nothing that by_day keeps up; a turn of it overrides where the box file says so."""
        if (daylight := self.lights.daylight) is None:
            return
        sensor = self.box.input(daylight.sensor)
        assert sensor is not None
        night, day = sensor.law.span
        seconds = float(daylight.delay) + 7 * float(sensor.damping) + self.rest_ms / 1000
        self.turn(60.0)
        self.settle("knob to 60 %, by night")
        self.read(sensor.name, day)
        self.expected.day = True
        self.expected.turned.clear()
        self.settle("day breaks, the knob left up", seconds=seconds)
        self.turn(90.0)
        self.settle("by day the knob turned to 90 %")
        self.turn(0.0)
        self.settle("and down")
        self.read(sensor.name, night)
        self.expected.day = False
        self.expected.turned.clear()
        self.settle("night falls", seconds=seconds)
        self.turn(40.0)
        self.settle("by night the knob at 40 %")
        self.aircraft.wires[sensor.name] = "shorted"
        self.settle("the daylight sensor shorted", seconds=self.bridged_s)
        said = self.run.line.dim()
        held = said.daylight_fault is not None and said.daylight == "night"
        self.run.judge(
            "the daylight sensor shorted",
            DAYLIGHT,
            "night, a fault",
            f"{said.daylight}, {said.daylight_fault}",
            held,
        )
        del self.aircraft.wires[sensor.name]
        self.settle("the daylight sensor whole again", seconds=self.bridged_s, show=False)

    def start_up(self) -> None:
        """The supply taken away and given back at night: everything comes up from nothing, and nothing is brighter on the way."""
        self.turn(40.0)
        self.settle("knob to 40 %", show=False)
        pins = {
            one.name: one.pin
            for one in self.lights.dimmed
            if not isinstance(one, Display) and not _for_alerts(one)
        }
        before = {name: self.run.virtual.latest.pwm[pin][1] for name, pin in pins.items()}
        self.aircraft.watched = []
        self.run.virtual.power_cycle()
        self.run.line.wait_for_start(15.0)
        self.expected.lit.clear()
        self.settle("supply off and on", seconds=self.rest_ms / 1000 + 5)
        seen, self.aircraft.watched = self.aircraft.watched, None
        for name, pin in pins.items():
            duties = [outputs.pwm[pin][1] if pin in outputs.pwm else 0 for outputs in seen]
            held = max(duties) <= max(before[name], duties[-1]) and min(duties) == 0
            words = f"from {min(duties) / 655.35:.2f} %, at most {max(duties) / 655.35:.2f} %"
            should = f"from 0.00 %, at most {max(before[name], duties[-1]) / 655.35:.2f} %"
            self.run.judge("supply off and on", name, should, words, held)

    def settle(self, action: str, seconds: float = 0.0, show: bool = True) -> None:
        """Lets the fades come to rest and judges all that is dimmed; shown, or only where it is wrong."""
        self.run.virtual.fast_forward(round(seconds * 1000) or self.rest_ms)
        said = self.run.line.lamps(len(self.lights.dimmed))
        dim = self.run.line.dim()
        for one, answer in zip(self.lights.dimmed, said):
            least, most = self.expected.duties(one)
            held = least <= answer.duty <= most
            if _for_alerts(one):  # dark, or lit as it should be; it may flash, so its pin may have gone on
                held = held or answer.duty == 0
            elif not isinstance(one, Display):
                held = held and self.run.virtual.latest.pwm.get(one.pin) == (one.frequency, answer.duty)
            if show or not held:
                self.run.judge(action, one.name, *self.words(one, answer, (least, most)), held)
        self.judge_dim_request(action, dim.request, show)
        self.trace.knob.append(self.percent)
        self.trace.dim_request.append(dim.request == "on")
        self.trace.day.append(dim.daylight == "day")
        if show:
            self.trace.actions.append((len(self.trace.knob) - 1, action))
        for one, answer in zip(self.lights.dimmed, said):
            self.trace.lights.setdefault(one.name, []).append(seen_as(one, answer))

    def judge_dim_request(self, action: str, said: str, show: bool) -> None:
        """Between its thresholds it may be either."""
        if (request := self.lights.dim_request) is None:
            return
        lamp = self.lights.lamp(request.follows)
        if lamp is not None:
            knob = self.lights.knob_of(lamp)
            if knob is not None and knob.pin in self.aircraft.broken and request.on_fault != "along":
                return
            low, high = self.expected.levels(lamp)
            if low <= request.on_above and high >= request.off_below:
                return
            on = low > request.on_above
            knob = self.lights.overriding(request)
            overridden = knob is not None and knob.pin in self.expected.turned
        elif request.follows == DAYLIGHT:
            on, overridden = not self.expected.day, True
        else:
            on, overridden = self.aircraft.switches.get(request.follows, False), False
        on = on and (not self.expected.day or overridden)
        level = self.run.virtual.latest.levels.get(request.pin)
        held = said == ("on" if on else "off") and level == (request.active if on else 1 - request.active)
        if show or not held:
            self.run.judge(action, "dim request", "on" if on else "off", f"{said}, pin {level}", held)

    @staticmethod
    def words(one: Dimmed, answer: SaidDimmer, span: Span) -> tuple[str, str]:
        """What it should be, and what it is."""
        least, most = max(0.0, span[0]), min(float(FULL), span[1])
        if isinstance(one, BusOutput):
            scale, unit = float(one.highest) / FULL, "V"
        else:
            scale, unit = 100 / FULL, "%"
        fault = f", {answer.fault}" if answer.fault else ""
        should = f"{least * scale:.2f} to {most * scale:.2f} {unit}"
        should = f"dark, or {should}" if _for_alerts(one) else should
        return should, f"{answer.duty * scale:.2f} {unit}{fault}"


def seen_as(one: Dimmed, answer: SaidDimmer) -> float:
    """L* of a lamp, per cent of the display, per cent of the bus output's full."""
    if isinstance(one, Lamp):
        return float(lightness(np.array([answer.duty / FULL]))[0])
    return answer.level / 100
