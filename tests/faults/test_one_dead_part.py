"""One part of the demo box dead at a time: what hangs on it says so, all else goes on as if nothing were, and it comes back by itself.

Tick by tick in this process: gaugebox.app on the virtual chip. What was measured is printed: pytest -rP tests/faults/test_one_dead_part.py
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest

from gaugebox.flight_log import FlightLog
from gaugebox.log import Log
from gaugebox.measure import FAULTS, SIGNAL, SILENT
from gaugebox.store import SLOTS, Store, slot_header
from gaugelight.bench import allowed_error
from gaugelight.boxfile import Box, Input, read_box
from gaugelight.build import Build, SolvedInput, build
from gaugelight.circuits import Direct, Millivolt, PullUp, Shunt, known_wire
from plain import PLAIN
from gaugelight.faults_shown import CORRODED_OHMS, GROUND_OFFSET, PLACES, faults_shown
from gaugelight.laws import Thermocouple, celsius_of
from gaugelight.plant import Aircraft, KnobState, Wire
from gaugelight.said import resting_reading
from gaugelight.virtual import ChipInProcess, Inputs, Outputs, Trouble
from test_app import Rig, StandIn, app_class, demo, folder  # noqa: F401  # the last three are fixtures

TICK_MS = 20
SECOND = 50  # ticks
NAMED_WITHIN, RIGHT_WITHIN = 1, 2  # seconds
BRIDGED_S = 1  # a light stands so long before its fault is named
WATCHED = 3 * SECOND + 5  # ticks: just after a silent converter was asked in vain
LONGEST_S = 120  # the time that 12 s of damping take to fade
PLAY = 0.04  # of a lamp's duty, where it follows an input: light_tables.INPUT_PLAY, 1 % of the input's span
SCAN_TICKS = 4  # of a converter with four inputs
SENDERS = Path(__file__).parent.parent / "senders.toml"
AFT, FORE, FACE = 0x48, 0x49, 0x3C
AFT_INPUTS = "sender rail", "left fuel", "right fuel", "coolant temperature"
FORE_INPUTS = "reserve line", "hydraulic", "lighting bus", "ambient light"
KNOB_PIN, KNOB_AT = 27, 40.0  # per cent
STAYS = "sender rail", "bus", "lighting bus", "ambient light"  # were they moved, others would


def cold_millivolts(box: Box, one: Input) -> float:
    """What a cold junction in mid-range takes off a thermocouple's voltage; 0 for any other input."""
    cold = None if one.cold is None else box.input(one.cold)
    if cold is None or not isinstance(one.law, Thermocouple):
        return 0.0
    celsius = celsius_of(np.array([resting_reading(cold)]), cold.unit)
    return float(one.law.cold_millivolts(celsius)[0])


def at_place(box: Box, one: Input, share: float) -> float:
    """The signal at a share of the way from the lowest reading to the highest."""
    first, last = one.law.span
    return float(one.law.signal(np.array([first + share * (last - first)]))[0]) - cold_millivolts(box, one)


@dataclass
class Wired(Aircraft):
    """at_pin: input name -> the volts that something puts on its pin; None: the pin floats, and is somewhere else each time."""

    at_pin: dict[str, float | None] = field(default_factory=dict)
    chance: Random = field(default_factory=lambda: Random(3))

    def volts(self, one: Input) -> float:
        if one.name not in self.at_pin:
            return super().volts(one)
        volts = self.at_pin[one.name]
        return min(one.converter.takes, self.chance.uniform(0, 3.3) if volts is None else volts)

    def driven(self, name: str, volts: float, ohms: float) -> float:
        """What is on its pin while that drives its wire."""
        one = self.box.input(name)
        assert one is not None
        return self.chains[name].driven(volts, ohms, self.rail_volts(one))

    def mend(self) -> None:
        self.bus_stuck = False
        for broken in (self.silent, self.troubles, self.at_pin, self.wires, self.broken):
            broken.clear()


class Watch(Rig):
    """A box in flight. taken: samples of each input so far. longest_ms: of one tick."""

    def __init__(self, built: Build, app_class: type[Any], folder: str, aircraft: Wired) -> None:
        from gaugebox.board import I2C_TIMEOUT_US  # here, where app_class has lent it the modules of the chip

        (Path(folder) / SLOTS[0]).write_bytes(slot_header(1) + built.image)
        self.aircraft: Wired = aircraft
        self.solved = {solved.input.name: solved for solved in built.inputs}
        self.chip = ChipInProcess(aircraft)
        self.board = StandIn(self.chip)
        self.board.i2c = self.board.machine.I2C(0, timeout=I2C_TIMEOUT_US)
        self.board.jumper_closed = False
        self.app = app_class(self.board, Store(folder), Log(folder + "/log"), FlightLog(folder + "/flights"))
        self.channels = {channel.record.name: channel for channel in self.app.channels}
        self.due = self.board.now()
        self.longest_ms = 0.0
        self.taken = dict.fromkeys(self.channels, 0)
        self.truths: dict[tuple[str, float, float | None], tuple[float, float]] = {}
        self.worths: dict[tuple[str, float], float] = {}
        names = {channel.step: name for name, channel in self.channels.items()}
        self.app.on_chip = [(self._counted(step, names[step]), *rest) for step, *rest in self.app.on_chip]
        for scan in self.app.chips:
            scan.steps = [self._counted(step, names[step]) for step in scan.steps]

    def _counted(self, step: Callable[[int], None], name: str) -> Callable[[int], None]:
        def counted(count: int) -> None:
            self.taken[name] += count != SILENT
            step(count)

        return counted

    def tick(self, times: int = 1) -> None:
        time = self.board.time
        for _ in range(times):
            began = time.ticks_us()
            self.app.tick()
            self.longest_ms = max(self.longest_ms, time.ticks_diff(time.ticks_us(), began) / 1000)
            self.due = self.board.later(self.due, TICK_MS)
            self.board.wait_until(self.due)

    def truth(self, name: str) -> tuple[float, float]:
        """What an input should read by its sender's law, and how far it may be off: the proven error, a step of the converter."""
        signal, solved = self.aircraft.signals[name], self.solved[name]
        rail = self.aircraft.rail_volts(solved.input)
        at = name, signal, rail
        if at not in self.truths:
            self.truths[at] = self.worth(name, signal), allowed_error(solved, signal, rail)
        return self.truths[at]

    def worth(self, name: str, signal: float) -> float:
        """The reading of a signal by its sender's law, the cold junction in mid-range."""
        if (name, signal) not in self.worths:
            one = self.solved[name].input
            whole = np.array([signal + cold_millivolts(self.aircraft.box, one)])
            self.worths[name, signal] = float(one.law.reading(whole)[0])
        return self.worths[name, signal]

    def is_right(self, name: str) -> bool:
        """Whether an input reads the truth, and its signal, which no damper hides, is worth it."""
        if self.fault(name) is not None:
            return False
        channel = self.channels[name]
        truth, error = self.truth(name)
        signal = channel.said[SIGNAL] / 10**channel.record.signal_decimals
        return abs(self.reading(name) - truth) <= error and abs(self.worth(name, signal) - truth) <= error

    def lights(self) -> dict[str, int]:
        """What each is driven with; of the display its brightness, of the dim request its level."""
        pwm, levels, lighting = self.chip.latest.pwm, self.chip.latest.levels, self.app.lighting
        driven = {
            dimmer.record.name: dimmer.duty if output.line is None else pwm[dimmer.record.pin][1]
            for dimmer, output in zip(lighting.dimmers, self.app.outputs)
        }
        return {**driven, "dim request": levels[lighting.dim_request.record.pin]}

    def light_faults(self) -> dict[str, str]:
        """Of what is dimmed and at fault."""
        return {d.record.name: str(FAULTS[d.fault]) for d in self.app.lighting.dimmers if d.fault}


Kill = Callable[[Wired, int], object]


@dataclass(frozen=True)
class Part:
    """kill     makes it dead, or keeps it so: called each tick, with the number of ticks since
    faults   of the inputs that hang on it
    reads    inputs that hang on it and cannot be told from well ones, and what they read; None: anything
    moves    lights that hang on it, with the fault that is named of them; None: of those none
    by_day   the daylight sensor says so
    """

    kill: Kill
    faults: dict[str, str] = field(default_factory=dict)
    reads: dict[str, float | None] = field(default_factory=dict)
    moves: dict[str, str | None] = field(default_factory=dict)
    by_day: bool = False


def all_say(fault: str, *names: str) -> dict[str, str]:
    return dict.fromkeys(names, fault)


def silent(*addresses: int) -> Kill:
    return lambda aircraft, ticks: aircraft.silent.update(addresses)


def ails(address: int, trouble: Trouble) -> Kill:
    return lambda aircraft, ticks: aircraft.troubles.update({address: trouble})


def resets_itself(address: int, every: int) -> Kill:
    return lambda aircraft, ticks: aircraft.troubles.update({address: Trouble(resets=1 + ticks // every)})


def wire(name: str, state: Wire) -> Kill:
    return lambda aircraft, ticks: aircraft.wires.update({name: state})


def pin(name: str, volts: float | None) -> Kill:
    return lambda aircraft, ticks: aircraft.at_pin.update({name: volts})


def knob(state: KnobState) -> Kill:
    return lambda aircraft, ticks: aircraft.broken.update({KNOB_PIN: state})


def bus_held(aircraft: Wired, ticks: int) -> None:
    aircraft.bus_stuck = True


ON_AFT, ON_FORE = all_say("converter", *AFT_INPUTS), all_say("converter", *FORE_INPUTS)
ON_RAIL = all_say("rail", *AFT_INPUTS[1:])
FOLLOW_KNOB = "glare shield", "map light", "display", "bus output"
# the daylight sensor is on it too: night stays night without it, and nothing else moves
LEGENDS: dict[str, str | None] = {"switch legends": "converter"}
LEGENDS_READ: dict[str, str | None] = {"switch legends": None}
COMPENSATED: dict[str, str | None] = {"glare shield": None}
KNOB_OPEN: dict[str, str | None] = {**all_say("open", *FOLLOW_KNOB), "dim request": None}
KNOB_SHORT: dict[str, str | None] = {**all_say("short", *FOLLOW_KNOB), "dim request": None}

PARTS = {
    "SDA held low": Part(bus_held, {**ON_AFT, **ON_FORE}, moves=LEGENDS),
    "aft silent": Part(silent(AFT), ON_AFT),
    "fore silent": Part(silent(FORE), ON_FORE, moves=LEGENDS),
    "both silent": Part(silent(AFT, FORE), {**ON_AFT, **ON_FORE}, moves=LEGENDS),
    "aft refuses data": Part(ails(AFT, Trouble(refuses_data=True)), ON_AFT),
    "fore refuses data": Part(ails(FORE, Trouble(refuses_data=True)), ON_FORE, moves=LEGENDS),
    "aft never ready": Part(ails(AFT, Trouble(never_ready=True)), ON_AFT),
    "fore never ready": Part(ails(FORE, Trouble(never_ready=True)), ON_FORE, moves=LEGENDS),
    "aft resets itself again and again": Part(resets_itself(AFT, 5), ON_AFT),
    "fore resets itself again and again": Part(resets_itself(FORE, 5), ON_FORE, moves=LEGENDS),
    "aft 10 % slow": Part(ails(AFT, Trouble(rate=0.9))),
    "aft 10 % fast": Part(ails(AFT, Trouble(rate=1.1))),
    "fore 10 % slow": Part(ails(FORE, Trouble(rate=0.9))),
    "fore 10 % fast": Part(ails(FORE, Trouble(rate=1.1))),
    "display silent": Part(silent(FACE)),
    "display refuses data": Part(ails(FACE, Trouble(refuses_data=True))),
    "display resets itself again and again": Part(resets_itself(FACE, 5)),
    "coolant pressure: pin floats": Part(pin("coolant pressure", None), reads={"coolant pressure": None}),
    "coolant pressure: pin at 0 V": Part(pin("coolant pressure", 0.0), {"coolant pressure": "open"}),
    "coolant pressure: pin at 3.3 V": Part(pin("coolant pressure", 3.3), {"coolant pressure": "short"}),
    "bus: pin floats": Part(pin("bus", None), reads={"bus": None}, moves=COMPENSATED),
    "bus: pin at 0 V": Part(pin("bus", 0.0), {"bus": "open"}),
    "bus: pin at 3.3 V": Part(pin("bus", 3.3), {"bus": "over"}, moves=COMPENSATED),
    "left fuel: broken": Part(wire("left fuel", "broken"), {"left fuel": "open"}),
    "left fuel: shorted": Part(wire("left fuel", "shorted"), reads={"left fuel": 0.0}),
    "right fuel: broken": Part(wire("right fuel", "broken"), {"right fuel": "open"}),
    "right fuel: shorted": Part(wire("right fuel", "shorted"), reads={"right fuel": 0.0}),
    "coolant temperature: broken": Part(
        wire("coolant temperature", "broken"), {"coolant temperature": "open"}
    ),
    "coolant temperature: shorted": Part(
        wire("coolant temperature", "shorted"), {"coolant temperature": "short"}
    ),
    "reserve line: broken": Part(wire("reserve line", "broken"), {"reserve line": "open"}),
    "reserve line: shorted": Part(wire("reserve line", "shorted"), {"reserve line": "short"}),
    "hydraulic: broken": Part(wire("hydraulic", "broken"), {"hydraulic": "open"}),
    "hydraulic: shorted": Part(wire("hydraulic", "shorted"), {"hydraulic": "short"}),
    "coolant pressure: broken": Part(wire("coolant pressure", "broken"), {"coolant pressure": "open"}),
    "coolant pressure: shorted": Part(wire("coolant pressure", "shorted"), {"coolant pressure": "short"}),
    "bus: broken": Part(wire("bus", "broken"), {"bus": "open"}),
    "bus: shorted": Part(wire("bus", "shorted"), reads={"bus": 14.0}, moves=COMPENSATED),
    "lighting bus: broken": Part(
        wire("lighting bus", "broken"), reads={"lighting bus": 0.0}, moves=LEGENDS_READ
    ),
    "lighting bus: shorted": Part(
        wire("lighting bus", "shorted"), reads={"lighting bus": 14.0}, moves=LEGENDS_READ
    ),
    "sender rail dead": Part(wire("sender rail", "shorted"), {"sender rail": "short", **ON_RAIL}),
    "sender rail: broken": Part(wire("sender rail", "broken"), {"sender rail": "short", **ON_RAIL}),
    "daylight sensor: broken": Part(wire("ambient light", "broken"), {"ambient light": "open"}),
    "daylight sensor: shorted": Part(wire("ambient light", "shorted"), {"ambient light": "open"}),
    "daylight sensor by day: broken": Part(
        wire("ambient light", "broken"), {"ambient light": "open"}, by_day=True
    ),
    "daylight sensor by day: shorted": Part(
        wire("ambient light", "shorted"), {"ambient light": "open"}, by_day=True
    ),
    "knob: wiper broken": Part(knob("wiper broken"), moves=KNOB_OPEN),
    "knob: upper end broken": Part(knob("upper end broken"), moves=KNOB_OPEN),
    "knob: lower end broken": Part(knob("lower end broken"), moves=KNOB_SHORT),
    "knob: wiper to ground": Part(knob("to ground"), moves=KNOB_OPEN),
    "knob: wiper to 3.3 V": Part(knob("to 3.3 V"), moves=KNOB_SHORT),
}


def watch(demo: Build, app_class: type[Any], folder: str, day: bool = False) -> Watch:  # noqa: F811
    """All well and settled, the knob up."""
    aircraft = Wired(demo.box)
    aircraft.knobs[KNOB_PIN] = KNOB_AT
    rig = Watch(demo, app_class, folder, aircraft)
    if day:
        move(rig, "ambient light", 0.9)
        rig.tick(40 * SECOND)  # it is delayed by 30 s
        assert rig.app.lighting.daylight.day == 1
    rig.tick(4 * SECOND)
    assert all(map(rig.is_right, rig.channels)) and not rig.light_faults()
    assert rig.lights()["display"] and (rig.lights()["glare shield"] == 0) == day
    return rig


def move(rig: Watch, name: str, share: float) -> None:
    rig.aircraft.signals[name] = at_place(rig.aircraft.box, rig.solved[name].input, share)


def damped_out(rig: Watch, name: str) -> float:
    """Seconds in which a move over the whole span has faded to a tenth of a step."""
    one = rig.solved[name].input
    first, last = one.law.span
    return float(one.damping) * math.log(10 * (last - first) / float(one.step))


@pytest.mark.parametrize("name", PARTS)
def test_one_dead_part(demo: Build, app_class: type[Any], folder: str, name: str) -> None:  # noqa: F811
    part = PARTS[name]
    hang = {**part.faults, **part.reads}
    rig = watch(demo, app_class, folder, part.by_day)
    rig.tick(list(PARTS).index(name) % SCAN_TICKS)  # each at another place of the scan

    before = dict(rig.taken)
    rig.tick(WATCHED)
    full_rate = {one: rig.taken[one] - before[one] for one in before}
    before = dict(rig.taken)
    lights = rig.lights()

    named: dict[str, int] = {}
    moved: set[str] = set()
    light_named = 0
    for tick in range(1, WATCHED + 1):
        part.kill(rig.aircraft, tick)
        rig.tick()
        for one in rig.channels:
            if one not in hang:
                assert rig.is_right(one), (one, tick, rig.fault(one), rig.reading(one))
            elif one in part.faults and one not in named:
                if rig.fault(one) is not None:
                    named[one] = tick
            elif one in part.faults:  # for good; while two that hang together come to it, either may be named
                assert rig.fault(one) is not None, (one, tick)
                assert tick < NAMED_WITHIN * SECOND or rig.fault(one) == part.faults[one], (one, tick)
        now = rig.lights()
        moved |= {one for one in lights if now[one] != lights[one]}
        light_named = light_named or tick * bool(rig.light_faults())
        if any(part.moves.values()):  # until its fault is named it stands
            assert light_named or not moved, (moved, tick)
    for one in part.faults:
        assert named.get(one, math.inf) <= NAMED_WITHIN * SECOND, one
    for one, reading in part.reads.items():
        if reading is not None:
            rig.tick(round(damped_out(rig, one) * SECOND))
            step = float(rig.solved[one].input.step)
            assert rig.fault(one) is None and rig.reading(one) == pytest.approx(reading, abs=step / 4), one
    assert moved <= set(part.moves)
    assert rig.light_faults() == {one: fault for one, fault in part.moves.items() if fault}
    if light_named:
        assert 0 <= light_named - BRIDGED_S * SECOND <= 1 + max(named.values(), default=0)
    for one in full_rate:
        if part.faults.get(one) not in ("converter", "rail"):
            assert rig.taken[one] - before[one] >= full_rate[one] - 1, one

    for one in part.faults:  # its sender moves meanwhile
        if one not in STAYS:
            move(rig, one, 0.25)
    rig.aircraft.mend()
    right: dict[str, int] = {}
    lights_right = 0
    for tick in range(1, LONGEST_S * SECOND):
        rig.tick()
        for one in rig.channels:
            if rig.is_right(one):
                right.setdefault(one, tick)
            else:  # before it is right again it is at fault, or damped
                assert one not in right and (one in part.reads or rig.fault(one) is not None), (one, tick)
        if lights_are(rig, lights, part):
            lights_right = lights_right or tick
        else:
            lights_right = 0
        if len(right) == len(rig.channels) and lights_right and tick > RIGHT_WITHIN * SECOND:
            break
    for one in rig.channels:
        within = RIGHT_WITHIN + (damped_out(rig, one) if one in part.reads else 0)
        assert right[one] <= within * SECOND, (one, right[one])
    assert lights_right and not rig.light_faults()
    rig.tick(SECOND)  # it is asked once a second
    assert rig.app.display.alive
    assert rig.longest_ms <= TICK_MS
    times = [max(named.values(), default=0), max((right[one] for one in hang), default=0)]
    times += [light_named, lights_right if moved else 0]
    print(
        "{}: inputs at fault {} ms, right {} ms; lights at fault {} ms, right {} ms; longest tick {:.2f} ms; {}".format(
            name,
            *(TICK_MS * ticks for ticks in times),
            rig.longest_ms,
            ", ".join(sorted(moved)) or "no light moved",
        )
    )


def lights_are(rig: Watch, lights: dict[str, int], part: Part) -> bool:
    """As they were; what follows an input that no fault has told apart comes to rest within its play."""
    now = rig.lights()
    return all(
        abs(now[one] - lights[one]) <= (PLAY * lights[one] if part.moves is LEGENDS_READ else 0)
        for one in lights
    )


@pytest.fixture(scope="module")
def lights_at_40(
    demo: Build, app_class: type[Any], tmp_path_factory: pytest.TempPathFactory  # noqa: F811
) -> dict[str, int]:
    return watch(demo, app_class, str(tmp_path_factory.mktemp("well"))).lights()


@pytest.mark.parametrize("name", [name for name in PARTS if not PARTS[name].by_day])
def test_a_start_with_one_dead_part(
    demo: Build, app_class: type[Any], folder: str, lights_at_40: dict[str, int], name: str  # noqa: F811
) -> None:
    """Within the second that lights may wait for what they follow, all else is there as in any start."""
    part = PARTS[name]
    hang = {**part.faults, **part.reads}
    aircraft = Wired(demo.box)
    aircraft.knobs[KNOB_PIN] = KNOB_AT
    part.kill(aircraft, 0)
    rig = Watch(demo, app_class, folder, aircraft)
    for tick in range(1, 5 * SECOND):
        part.kill(aircraft, tick)
        rig.tick()
        for one in rig.channels:
            if one not in hang:
                assert rig.fault(one) == "converter" and tick < SECOND or rig.is_right(one), (one, tick)
            elif one in part.faults:
                assert rig.fault(one) is not None, (one, tick)
    assert {one: rig.fault(one) for one in part.faults} == part.faults
    stands = set(rig.lights()) - set(part.moves) - (set(COMPENSATED) if "bus" in hang else set())
    assert {one: rig.lights()[one] for one in stands} == {one: lights_at_40[one] for one in stands}
    aircraft.mend()
    rig.tick(RIGHT_WITHIN * SECOND + round(max(damped_out(rig, one) for one in hang or {"bus"}) * SECOND))
    assert all(map(rig.is_right, rig.channels))
    assert rig.longest_ms <= TICK_MS


@pytest.mark.parametrize(
    "every", [1, 2, 3, 7, 12, 16, 25, 51, 60, 67, 80], ids=lambda every: f"{every} ticks"
)
@pytest.mark.parametrize("address", [AFT, FORE], ids=["aft", "fore"])
def test_a_converter_that_resets_itself_shows_no_wrong_reading(
    demo: Build, app_class: type[Any], folder: str, address: int, every: int  # noqa: F811
) -> None:
    """However often: each of its inputs is at fault, or right."""
    rig = watch(demo, app_class, folder)
    mine = AFT_INPUTS if address == AFT else FORE_INPUTS
    for tick in range(6 * SECOND):
        resets_itself(address, every)(rig.aircraft, tick)
        rig.tick()
        for one in rig.channels:
            assert rig.is_right(one) or one in mine and rig.fault(one) == "converter", (one, tick)
    rig.tick(RIGHT_WITHIN * SECOND)
    assert all(map(rig.is_right, rig.channels))


@pytest.mark.parametrize("rate", [0.9, 1.1], ids=["10 % slow", "10 % fast"])
def test_converters_of_every_rate_10_per_cent_off(
    senders: Build, app_class: type[Any], folder: str, rate: float  # noqa: F811
) -> None:
    """SBAS444 allows as much: of each in turn every input reads right, at the full rate of ticks."""
    for chip in senders.box.chips:
        rig = Watch(senders, app_class, folder, Wired(senders.box))
        rig.tick(2 * SECOND)
        before = dict(rig.taken)
        rig.tick(4 * SECOND)
        full_rate = {one: rig.taken[one] - before[one] for one in before}
        rig.aircraft.troubles[chip.address] = Trouble(rate=rate)
        before = dict(rig.taken)
        for tick in range(4 * SECOND):
            rig.tick()
            assert all(map(rig.is_right, rig.channels)), (chip.name, tick)
        for one in rig.channels:
            assert rig.taken[one] - before[one] >= full_rate[one] - 1, (chip.name, one)


# faults outside and inside of a sender's own span

# ticks until the second bad sample, which the spike filter lets through, has been taken; of a converter the scan is judged at its end
AT_ONCE_ON_CHIP, AT_ONCE = 3, 3 * SCAN_TICKS + 1
HARD_FAULTS = {
    "open wire": (0.0, math.inf),
    "short to ground": (0.0, 0.0),
    "short to the supply": (14.0, 0.0),
}


def all_damped(damping: str | None, folder: Path) -> Build:
    """The demo box with every input damped alike, or none."""
    lines = [line for line in PLAIN.read_text().splitlines() if not line.startswith("damping")]
    if damping is not None:
        lines = [f'{line}\ndamping = "{damping}"' if line == "[[input]]" else line for line in lines]
    path = folder / "damped.toml"
    path.write_text("\n".join(lines))
    return build(read_box(path))


TOLD = {
    "sender rail": {"short to ground": "short", "short to the supply": "over"},
    "left fuel": {"open wire": "open", "short to the supply": "open"},
    "right fuel": {"open wire": "open", "short to the supply": "open"},
    "coolant temperature": {
        "open wire": "open",
        "short to ground": "short",
        "short to the supply": "open",
    },
    "reserve line": {"open wire": "open", "short to ground": "open", "short to the supply": "short"},
    "hydraulic": {"open wire": "open", "short to ground": "open", "short to the supply": "short"},
    "coolant pressure": {"open wire": "open", "short to ground": "open", "short to the supply": "short"},
    "bus": {"open wire": "open", "short to ground": "open"},
    "lighting bus": {},
    "ambient light": {"open wire": "open", "short to ground": "open", "short to the supply": "over"},
}


def test_told_is_every_fault_outside_a_span(demo: Build) -> None:  # noqa: F811
    """The table above leaves none out."""
    rows = [row for row in faults_shown(demo) if row.fault in HARD_FAULTS and row.told]
    assert TOLD == {
        one.name: {row.fault: row.shows for row in rows if row.input == one.name} for one in demo.box.inputs
    }


@pytest.fixture(scope="module")
def damped_alike(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Build]:
    return {
        damping or "none": all_damped(damping, tmp_path_factory.mktemp("box")) for damping in ("12 s", None)
    }


@pytest.mark.parametrize("phase", range(SCAN_TICKS))
@pytest.mark.parametrize(("name", "fault"), [(name, fault) for name in TOLD for fault in TOLD[name]])
def test_a_fault_blanks_at_once_however_damped(
    damped_alike: dict[str, Build],
    app_class: type[Any],
    folder: str,
    name: str,
    fault: str,
    phase: int,  # noqa: F811
) -> None:
    """As soon with 12 s of damping as with none, and until then the reading stands where it stood."""
    after = {}
    for damping, built in damped_alike.items():
        rig = Watch(built, app_class, folder, Wired(built.box))
        rig.tick(2 * SECOND + phase)
        stood, (_, error) = rig.reading(name), rig.truth(name)
        assert rig.is_right(name)
        rig.aircraft.at_pin[name] = rig.aircraft.driven(name, *HARD_FAULTS[fault])
        at_once = AT_ONCE_ON_CHIP if rig.solved[name].input.converter.chip is None else AT_ONCE
        ticks = 0
        while rig.fault(name) is None and ticks < at_once:
            assert abs(rig.reading(name) - stood) <= error
            rig.tick()
            ticks += 1
        assert rig.fault(name) == TOLD[name][fault]
        after[damping] = ticks
    assert after["12 s"] == after["none"]
    print(f"{name}, {fault}: named after {TICK_MS * after['none']} ms")


@pytest.mark.parametrize(("name", "fault"), [(name, fault) for name in TOLD for fault in TOLD[name]])
def test_a_wire_that_parts_slowly_moves_a_damped_reading_by_no_step(
    damped_alike: dict[str, Build], app_class: type[Any], folder: str, name: str, fault: str  # noqa: F811
) -> None:
    """One scan sees it halfway: what the spike filter lets through of it is lost in 12 s of damping."""
    built = damped_alike["12 s"]
    for phase in range(SCAN_TICKS):
        rig = Watch(built, app_class, folder, Wired(built.box))
        rig.tick(2 * SECOND + phase)
        stood, step = rig.reading(name), float(rig.solved[name].input.step)
        one = rig.solved[name].input
        ends = rig.aircraft.volts(one), rig.aircraft.driven(name, *HARD_FAULTS[fault])
        rig.aircraft.at_pin[name] = sum(ends) / 2
        blank = False
        for tick in range(SCAN_TICKS + AT_ONCE):
            if tick == SCAN_TICKS:
                rig.aircraft.at_pin[name] = ends[1]
            rig.tick()
            blank = blank or rig.fault(name) is not None
            assert (rig.fault(name) is not None) == blank and (
                blank or abs(rig.reading(name) - stood) <= step
            )
        assert rig.fault(name) == TOLD[name][fault]


BOXES = {"demo": PLAIN, "every sender": SENDERS}


@pytest.fixture(scope="module")
def senders() -> Build:
    return build(read_box(SENDERS))


def settled(built: Build, app_class: type[Any], folder: str, at_pin: dict[str, float | None]) -> Watch:
    """A box that starts with these volts on its pins, when every sample has been taken and judged."""
    rig = Watch(built, app_class, folder, Wired(built.box, at_pin=at_pin))
    rig.tick(SECOND)
    return rig


@pytest.mark.parametrize("box_file", BOXES)
def test_what_the_box_cannot_tell_is_what_faults_shown_lists(
    box_file: str, app_class: type[Any], folder: str  # noqa: F811
) -> None:
    """An open wire and both shorts of every input, on the whole box."""
    built = build(read_box(BOXES[box_file]))
    listed = {(row.input, row.fault): row for row in faults_shown(built) if row.fault in HARD_FAULTS}
    for solved in built.inputs:
        one = solved.input
        for fault, driven in HARD_FAULTS.items():
            row = listed.pop((one.name, fault))
            if row.brief == "floats":
                assert not row.told and isinstance(one.circuit, Direct) and one.circuit.pull_down is None
                for share in (0.0, 1.0):
                    volts = solved.chain.pin_volts(at_place(built.box, one, share))
                    rig = settled(built, app_class, folder, {one.name: volts})
                    assert rig.fault(one.name) is None, (one.name, share)
                continue
            volts = Wired(built.box).driven(one.name, *driven)
            rig = settled(built, app_class, folder, {one.name: volts})
            assert row.told == (rig.fault(one.name) is not None), row
            if row.told:
                assert row.shows == rig.fault(one.name), row
            else:
                said = float(row.shows.removeprefix("reads ").removesuffix(f" {one.unit}"))
                assert rig.reading(one.name) == pytest.approx(said, abs=float(one.step) * 0.51), row
    assert not listed


@pytest.mark.parametrize("box_file", BOXES)
def test_what_small_faults_add_is_what_faults_shown_lists(
    box_file: str, app_class: type[Any], folder: str  # noqa: F811
) -> None:
    """Corrosion and grounds that differ, on the whole box: the largest change over the span, to a unit or two of the reading."""
    built = build(read_box(BOXES[box_file]))
    small = {f"{ohms:g} ohm of corrosion": (0.0, ohms) for ohms in CORRODED_OHMS}
    small[f"{GROUND_OFFSET * 1000:g} mV of ground offset"] = (GROUND_OFFSET, 0.0)
    inputs = built.box.inputs
    needed = {one.circuit.rail for one in inputs} | {one.cold for one in inputs}
    # what another input hangs on is moved by itself
    groups = [[one for one in inputs if one.name not in needed]]
    groups += [[one] for one in inputs if one.name in needed]
    worst = {(one.name, fault): 0.0 for one in inputs for fault in small}
    for group in groups:
        for share in PLACES:
            signals = {one.name: at_place(built.box, one, share) for one in group}
            rig = Watch(built, app_class, folder, Wired(built.box))
            rig.aircraft.signals |= signals
            rig.tick(SECOND)
            whole = {one.name: rig.reading(one.name) for one in group}
            assert not any(rig.fault(one.name) for one in group), share
            for fault, (volts, ohms) in small.items():
                at_pin: dict[str, float | None] = {
                    one.name: faulty_volts(rig.aircraft, one, signals[one.name], volts, ohms)
                    for one in group
                    if not isinstance(one.circuit, Shunt)  # its current is what the transmitter makes it
                }
                shifted = settled(built, app_class, folder, at_pin)
                for name in at_pin:
                    change = shifted.reading(name) - whole[name]
                    if shifted.fault(name) is None and abs(change) > abs(worst[name, fault]):
                        worst[name, fault] = change
    listed = {(row.input, row.fault): row for row in faults_shown(built) if row.fault in small}
    assert set(listed) == set(worst)
    for at, row in listed.items():
        unit = 10.0 ** -next(s.reading_decimals for s in built.inputs if s.input.name == at[0])
        words = row.shows.split()
        said = 0.0 if row.told else float(words[1]) * (1 if words[0] == "adds" else -1)
        assert row.told == (row.shows == "nothing"), row
        assert worst[at] == pytest.approx(said, rel=0.05, abs=2 * unit), row


def faulty_volts(aircraft: Wired, one: Input, signal: float, volts: float, ohms: float) -> float:
    """On its pin, with so many ohms in its wire, and its sender's ground so many volts above the box's."""
    ohms += known_wire(one.circuit)
    if isinstance(one.circuit, PullUp):
        return aircraft.driven(one.name, volts, signal + ohms)
    if isinstance(one.circuit, Millivolt):  # is measured between its two wires
        return aircraft.driven(one.name, signal / 1000, ohms)
    return aircraft.driven(one.name, signal + volts, ohms)
