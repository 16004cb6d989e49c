"""The bench: the real firmware on a virtual box, the model aircraft moved around it, every answer judged.

What an input should say is computed from the model's own signal and the sender's law, never from the box's curves; it
is allowed the error that `build` proved, one step of the converter, and one unit of the damper.
"""

import contextlib
import math
from collections.abc import Callable, Iterator, Mapping, Set
from dataclasses import dataclass, field

import numpy as np

from gaugelight.bench_flight import flight_scenario
from gaugelight.bench_light import LightTrace, light_scenario
from gaugelight.box_line import BoxLine, BoxSaysNo
from gaugelight.boxfile import Box, Input
from gaugelight.build import Build, SolvedInput, build
from gaugelight.circuits import Direct, Millivolt, PullUp, Shunt
from gaugelight.converters import Ads1115
from gaugelight.flash import START_WITHIN, flash
from gaugelight.install import install
from gaugelight.laws import Itself, Thermocouple, celsius_of
from gaugelight.plant import Aircraft
from gaugelight.problems import Wrong
from gaugelight.said import Said, shown
from gaugelight.virtual import Trouble, VirtualBox, VirtualBoxError

STRETCHES = 8  # a settling time is watched in so many parts


@dataclass(frozen=True)
class Row:
    """One judged answer."""

    action: str  # what the aircraft did
    subject: str  # input, lamp or line
    should: str
    said: str
    held: bool


@dataclass
class Trace:
    """For the plot, look by look: what was true (nan while a wire is at fault) and what the box said (nan: a fault)."""

    truth: list[float] = field(default_factory=list)
    reading: list[float] = field(default_factory=list)
    fault: list[str | None] = field(default_factory=list)
    called_out: list[bool] = field(default_factory=list)  # by its disagree alert


@dataclass
class Report:
    """crc: of the table that was benched."""

    crc: str = ""
    rows: list[Row] = field(default_factory=list)
    traces: dict[str, Trace] = field(default_factory=dict)
    light: LightTrace = field(default_factory=LightTrace)

    @property
    def failed(self) -> int:
        return sum(not row.held for row in self.rows)

    @property
    def passed(self) -> int:
        return len(self.rows) - self.failed


Show = Callable[[Row], None]
Stage = Callable[[str], None]


@contextlib.contextmanager
def prepared_box(box: Box, stage: Stage, jumper_closed: bool) -> Iterator[tuple[Aircraft, VirtualBox]]:
    """A virtual box that runs the firmware and the box's table, and the aircraft around it. Raises Wrong."""
    with prepared(build(box), stage) as (aircraft, virtual):
        if not jumper_closed:
            aircraft.jumper_closed = False
            virtual.power_cycle()
        yield aircraft, virtual


@contextlib.contextmanager
def prepared(built: Build, stage: Stage) -> Iterator[tuple[Aircraft, VirtualBox]]:
    aircraft = Aircraft(built.box)
    try:
        with VirtualBox(aircraft) as virtual:
            stage(f"virtual box on {virtual.port}")
            installed = install(virtual.port, lambda what, done, of: None)
            files = f"{len(installed.copied)} files, {installed.bytes} bytes"
            stage(f"firmware installed in {installed.folder}: {files}, verified by hash")
            with BoxLine(virtual.port) as line:
                line.wait_for_start(START_WITHIN)
                flashed = flash(line, built, lambda done, of: None)
            stage(f"table in {flashed.slot}: sent, read back, committed; the box runs {flashed.after.crc}")
            yield aircraft, virtual
    except VirtualBoxError as problem:
        raise Wrong(str(problem)) from None


def bench(box: Box, stage: Stage, show: Show, cruise: bool = True) -> Report:
    """Runs all of it, or all but the cruise, which takes most of the time. `stage` is told what is being done, `show` gets each judged
    answer. Raises Wrong."""
    built = build(box)
    stage(f"{box.name}: {len(box.inputs)} inputs proven over every count, table {len(built.image)} bytes")
    with prepared(built, stage) as (aircraft, virtual), BoxLine(virtual.port) as line:
        run = Run(built, aircraft, virtual, line, stage, show)
        run.scenario(cruise)
    return run.report


class Run:
    def __init__(
        self,
        built: Build,
        aircraft: Aircraft,
        virtual: VirtualBox,
        line: BoxLine,
        stage: Stage,
        show: Show,
    ) -> None:
        self.built = built
        self.aircraft = aircraft
        self.virtual = virtual
        self.line = line
        self.stage = stage
        self.show = show
        self.described = line.describe(len(built.inputs))
        self.report = Report(
            f"{built.crc32:08x}", traces={solved.input.name: Trace() for solved in built.inputs}
        )

    def scenario(self, cruise: bool) -> None:
        inputs = [s.input for s in self.built.inputs]
        rails = [i for i in inputs if i.nominal is not None]
        floats = [i for i in inputs if isinstance(i.circuit, PullUp)]
        loops = [i for i in inputs if isinstance(i.circuit, Shunt)]
        voltages = [i for i in inputs if i not in floats and i not in loops and i not in rails]

        self.pull_jumper()
        for moved, what in ((floats, "resistive senders"), (loops, "loops"), (voltages, "voltages")):
            if moved:
                for share, place in (
                    (0.0, "lowest"),
                    (0.5, "half"),
                    (1.0, "full"),
                    (0.5, "half"),
                    (0.0, "lowest"),
                ):
                    self.move(moved, share)
                    self.settle(f"{what} to {place}", moved)
        for one in floats[:1] + loops[:1] + [v for v in voltages if not isinstance(v.law, Itself)][:1]:
            self.move([one], 0.5)
            self.settle(f"{one.name} to half", [one], show=False)
            if (
                not isinstance(one.circuit, Direct) or one.circuit.pull_down
            ):  # else it floats, and reads anything
                self.aircraft.wires[one.name] = "broken"
                self.settle(f"{one.name}: wire broken", [one], seconds=1.0)
            self.aircraft.wires[one.name] = "shorted"
            self.settle(f"{one.name}: shorted", [one])
            del self.aircraft.wires[one.name]
            self.settle(f"{one.name}: wire whole again", [one])
        for rail in rails:
            hang = [i for i in inputs if i.circuit.rail == rail.name]
            nominal = float(rail.nominal or 0)
            self.aircraft.signals[rail.name] = nominal * 0.91
            self.settle(f"{rail.name} sags by 9 %", [rail, *hang])
            self.aircraft.wires[rail.name] = "shorted"
            self.settle(f"{rail.name} dead", [rail, *hang], seconds=1.0)
            del self.aircraft.wires[rail.name]
            self.aircraft.signals[rail.name] = nominal
            self.settle(f"{rail.name} back", [rail, *hang], seconds=1.0)
        for chip in self.built.box.chips:
            mine = [i for i in inputs if i.converter.chip == chip]
            self.aircraft.silent.add(chip.address)
            self.settle(f"converter {chip.name} silent", mine, seconds=1.0)
            self.aircraft.silent.clear()
            self.settle(f"converter {chip.name} back", mine, seconds=2.5)
            if not chip.continuous:  # there a stopped clock looks like a steady signal
                self.aircraft.troubles[chip.address] = Trouble(never_ready=True)
                self.settle(f"converter {chip.name} stuck", mine, seconds=1.0)
            self.aircraft.troubles[chip.address] = Trouble(resets=1)
            self.settle(f"converter {chip.name} restarted itself", mine, seconds=2.5)
        if self.built.box.chips:
            self.aircraft.bus_stuck = True
            self.settle("the converters' bus held low", inputs, seconds=1.0)
            self.aircraft.bus_stuck = False
            self.settle("the bus released", inputs, seconds=2.5, show=False)
        flight_scenario(self, cruise)
        light_scenario(self)

    def pull_jumper(self) -> None:
        """In flight the box reads, and refuses to be written."""
        self.aircraft.jumper_closed = False
        self.virtual.fast_forward(500)
        state = self.line.hello().state
        self.judge("service jumper pulled", "box", "FLIGHT", state, state == "FLIGHT")
        try:
            self.line.ask("begin", "64", "0")
            said = "accepted"
        except BoxSaysNo as refused:
            said = str(refused).split(": ", 2)[-1]
        self.judge(
            "a table is sent in flight",
            "box",
            "refused: service jumper open",
            said,
            "service jumper open" in said,
        )

    def move(self, moved: list[Input], share: float) -> None:
        """To a share of the way from the lowest reading to the highest."""
        for one in moved:
            lowest, highest = one.law.span
            reading = np.array([lowest + share * (highest - lowest)])
            self.aircraft.signals[one.name] = float(one.law.signal(reading)[0]) - self.cold_millivolts(one)

    def settle(self, action: str, subjects: list[Input], seconds: float = 0.0, show: bool = True) -> None:
        """Lets the dampers come to rest, then judges: the subjects are shown, any other input only when it is wrong."""
        if not seconds:
            seconds = max(self.rest_seconds(self.solved(one)) for one in subjects)
        for _ in range(STRETCHES):
            self.virtual.fast_forward(round(seconds * 1000 / STRETCHES))
            readings = self.line.values(self.described)
            self.trace(readings)
        for solved, said in zip(self.built.inputs, readings):
            should, held = self.expect(solved, said)
            if (show and solved.input in subjects) or not held:
                signal, reading, fault = shown(said)
                self.judge(action, solved.input.name, should, fault or f"{signal}, {reading}", held)

    def rest_seconds(self, solved: SolvedInput) -> float:
        """Until a move over the whole span has faded to a tenth of a step."""
        lowest, highest = solved.input.law.span
        return 0.6 + float(solved.input.damping) * math.log(
            10 * (highest - lowest) / float(solved.input.step)
        )

    def solved(self, one: Input) -> SolvedInput:
        return next(s for s in self.built.inputs if s.input is one)

    def cold_millivolts(self, one: Input) -> float:
        """What the cold junction of a thermocouple takes off its voltage; 0 for any other input."""
        cold = None if one.cold is None else self.built.box.input(one.cold)
        if cold is None or not isinstance(one.law, Thermocouple):
            return 0.0
        readings = cold.law.reading(np.array([self.aircraft.signals[cold.name]]))
        return float(one.law.cold_millivolts(celsius_of(readings, cold.unit))[0])

    def truth(self, one: Input, signal: float) -> float:
        return float(one.law.reading(np.array([signal + self.cold_millivolts(one)]))[0])

    def expect(self, solved: SolvedInput, said: Said) -> tuple[str, bool]:
        """What the input should say, in words, and whether it does."""
        one = solved.input
        fault = self.expected_fault(one)
        if fault is not None:
            return fault, said.fault == fault
        signal = 0.0 if one.name in self.aircraft.wires else self.aircraft.signals[one.name]
        truth = self.truth(one, signal)
        error = allowed_error(solved, signal, self.aircraft.rail_volts(one))
        held = said.reading is not None and abs(float(said.reading) - truth) <= error
        digits = solved.reading_decimals
        if one.name in self.aircraft.wires:
            return f"{truth:.{digits}f} {one.unit}, which cannot be told from a reading", held
        return f"{truth:.{digits}f} +-{error:.{max(1, digits)}f} {one.unit}", held

    def is_lost(self, chip: Ads1115) -> bool:
        trouble = self.aircraft.troubles.get(chip.address, Trouble())
        return self.aircraft.bus_stuck or chip.address in self.aircraft.silent or trouble.never_ready

    def expected_fault(self, one: Input) -> str | None:
        """The trade's own names for what was done to the wire, or None."""
        chip = one.converter.chip
        if chip is not None and self.is_lost(chip):
            return "converter"
        if self.aircraft.rail_volts(one) == 0:
            return "rail"
        cold = None if one.cold is None else self.built.box.input(one.cold)
        if cold is not None and self.expected_fault(cold) is not None:
            return "cold junction"
        wire = self.aircraft.wires.get(one.name)
        if wire is None:
            return None
        low_end, high_end = self.solved(one).windows[1:4:2]
        if wire == "broken" and isinstance(one.circuit, (PullUp, Millivolt)):
            return "open"
        if isinstance(one.circuit, Millivolt):
            return None  # it reads the temperature of the place where its wires touch
        if wire == "broken" or isinstance(one.circuit, (PullUp, Direct)):
            # no current, no voltage, no resistance: what begins near nought cannot tell that from a reading
            if low_end == 0:
                return None
            tied = isinstance(one.circuit, Direct) and one.circuit.pull_down
            return "open" if wire == "broken" or tied else "short"
        return "short" if high_end < 65535 else "over"

    def trace(
        self,
        readings: list[Said],
        fuel: Mapping[str, float] | None = None,
        called_out: Set[str] = frozenset(),
    ) -> None:
        """fuel: what is in the tank of a float that may have stuck."""
        for solved, said in zip(self.built.inputs, readings):
            one = solved.input
            trace = self.report.traces[one.name]
            whole = (
                one.name not in self.aircraft.wires
                and self.aircraft.rail_volts(one) != 0
                and not any(map(self.is_lost, self.built.box.chips))
            )
            truth = (fuel or {}).get(one.name, self.truth(one, self.aircraft.signals[one.name]))
            trace.called_out.append(one.name in called_out)
            trace.truth.append(truth if whole else math.nan)
            trace.fault.append(said.fault)
            trace.reading.append(math.nan if said.reading is None else float(said.reading))

    def judge(self, action: str, subject: str, should: str, said: str, held: bool) -> None:
        row = Row(action, subject, should, said, bool(held))  # of numpy it may be, which JSON does not know
        self.report.rows.append(row)
        self.show(row)


def allowed_error(solved: SolvedInput, signal: float, rail_volts: float | None) -> float:
    """In reading units: the proven error, a step of the converter in the input and in its rail, a unit of the damper."""
    one, chain = solved.input, solved.chain
    x = chain.pin_volts(signal)
    dx = one.converter.quantum
    if rail_volts is not None:
        dx *= chain.supply / rail_volts
    if chain.rail is not None and rail_volts is not None:
        rail_pin = chain.rail.pin_volts(rail_volts)
        # the rail's own step, and the ratio is floored
        dx += x * chain.rail.converter.quantum / rail_pin + chain.rail.pin_volts(chain.supply) / 65536
    around = one.circuit.signal(np.array([x - dx, x, x + dx]), chain.supply, one.converter.load)
    if one.circuit.unit != "mV":
        around = np.maximum(around, 0)
    if isinstance(one.law, Thermocouple):
        around = around + one.law.cold_millivolts(np.array([(one.law.coldest + one.law.warmest) / 2]))
    readings = one.law.reading(around)
    resolution = float(np.max(np.abs(readings - readings[1])))
    return solved.reading_error_max + resolution + 10.0**-solved.reading_decimals
