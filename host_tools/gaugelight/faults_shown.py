"""What each wiring fault will show on the box, by the box's own code: what can be told, and what reads like a quantity."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from gaugebox.measure import FAULT, FAULTS, READING, Channel
from gaugebox.table import InputRecord, Table
from gaugelight.atmosphere import sealed_error_psi
from gaugelight.boxfile import FUEL_UNITS, Input
from gaugelight.build import Build, SolvedInput
from gaugelight.circuits import ASSUMED_TOLERANCE, Direct, Divider, PullUp, Shunt, known_wire
from gaugelight.laws import Itself, Points, Thermocouple, celsius_of
from gaugelight.temperature import ThermistorTable

CORRODED_OHMS = 5.0, 10.0
GROUND_OFFSET = 0.05  # volts: the sender's ground above the box's, where it returns through the airframe; common practice, no source
TANK_MILLIAMPERES = 25
# shares of the way from the lowest reading to the highest
PLACES = {0.0: "empty", 0.25: "a quarter", 0.5: "half", 0.75: "three quarters", 1.0: "full"}
ALTITUDE_FEET = 8000
BENT_STEPS = 2  # displayed, by which straight lines may leave a thermistor's curve before it is said


@dataclass(frozen=True)
class Shown:
    """fault: what was done to the wire. shows: what the box says of it, brief the same for a narrow column, without its
    unit. told: whether it is a fault's name, or nothing.
    """

    input: str
    fault: str
    shows: str
    brief: str
    told: bool
    warning: str | None = None


class _Box:
    """One input's record, asked what it says of a count that is judged."""

    def __init__(self, solved: SolvedInput, record: InputRecord, cold: "_Box | None") -> None:
        self.solved = solved
        self.record = record
        self.cold = cold
        self.decimals = record.reading_decimals

    def said(self, count: int) -> str | float:
        """The name of a fault, or a reading."""
        cold = None
        if self.cold is not None:
            cold = Channel(self.cold.record, [0])
            for _ in range(3):
                cold.step(self.cold.at_share(0.5))
        channel = Channel(self.record, [0], None, cold)
        for _ in range(3):
            channel.step(count)
        fault = FAULTS[channel.said[FAULT]]
        return float(channel.said[READING] / 10**self.decimals) if fault is None else fault

    def at_share(self, share: float) -> int:
        """The count at a share of the way from the lowest reading to the highest."""
        chain = self.solved.chain
        return chain.count(chain.pin_volts(self.signal(share)))

    def reading(self, share: float) -> float:
        lowest, highest = self.solved.input.law.span
        return lowest + share * (highest - lowest)

    def signal(self, share: float) -> float:
        """At the connector; a thermocouple's cold junction is in mid-range."""
        law = self.solved.input.law
        signal = float(law.signal(np.array([self.reading(share)]))[0])
        if self.cold is not None and isinstance(law, Thermocouple):
            cold = celsius_of(np.array([self.cold.reading(0.5)]), self.cold.solved.input.unit)
            signal -= float(law.cold_millivolts(cold)[0])
        return signal


def faults_shown(built: Build) -> Iterator[Shown]:
    """A row for each input and each fault of its wiring."""
    records = Table(built.image).inputs
    boxes: dict[str, _Box] = {}
    for solved, record in sorted(zip(built.inputs, records), key=lambda pair: pair[0].input.cold is not None):
        cold = solved.input.cold
        boxes[solved.input.name] = _Box(solved, record, None if cold is None else boxes[cold])
    for solved in built.inputs:
        yield from _faults_of(boxes[solved.input.name], float(built.box.supply))


def _faults_of(box: _Box, supply: float) -> Iterator[Shown]:
    one, chain = box.solved.input, box.solved.chain
    for fault, volts, ohms in (
        ("open wire", 0.0, math.inf),
        ("short to ground", 0.0, 0.0),
        ("short to the supply", supply, 0.0),
    ):
        if fault == "open wire" and isinstance(one.circuit, Direct) and one.circuit.pull_down is None:
            what = "a broken wire floats and may read anything; a resistor to ground (pull_down) makes it a fault"
            yield Shown(one.name, fault, "anything: it floats", "floats", False, what)
            continue
        said = box.said(chain.count(chain.driven(volts, ohms)))
        if isinstance(said, str):
            yield Shown(one.name, fault, said, said, True)
        else:
            shows = f"{_number(said, box)} {one.unit}"
            article = "an" if fault.startswith("open") else "a"
            warning = f"{article} {fault} reads {shows}; it cannot be told from that"
            known = isinstance(one.law, Thermocouple)  # that has a note of its own
            brief = f"reads {_number(said, box)}"
            yield Shown(one.name, fault, f"reads {shows}", brief, False, None if known else warning)
    for ohms in CORRODED_OHMS:
        yield _shift(box, f"{ohms:g} ohm of corrosion", 0.0, ohms)
    yield _shift(box, f"{GROUND_OFFSET * 1000:g} mV of ground offset", GROUND_OFFSET, 0.0)


def _shift(box: _Box, fault: str, volts: float, ohms: float) -> Shown:
    """What a small fault adds to the reading, at worst over the span."""
    one, chain = box.solved.input, box.solved.chain
    worst, share_of_worst = 0.0, 0.0
    for share in PLACES:
        signal = box.signal(share)
        if isinstance(one.circuit, Shunt):
            continue  # a loop's current is what the transmitter makes it
        source = (volts, signal + known_wire(one.circuit) + ohms)
        if not isinstance(one.circuit, PullUp):
            source = (
                signal / (1000 if one.circuit.unit == "mV" else 1) + volts,
                known_wire(one.circuit) + ohms,
            )
            if one.circuit.unit == "mV":
                source = (signal / 1000, source[1])  # it is measured between its two wires
        said, whole = box.said(chain.count(chain.driven(*source))), box.said(box.at_share(share))
        if isinstance(said, str) or isinstance(whole, str):
            continue
        if abs(said - whole) > abs(worst):
            worst, share_of_worst = said - whole, share
    place = (
        PLACES[share_of_worst] if one.unit in FUEL_UNITS else f"{box.reading(share_of_worst):.4g} {one.unit}"
    )
    unit = 10.0**-box.decimals
    if abs(worst) <= unit:
        return Shown(one.name, fault, "nothing", "-", True)
    way = "adds" if worst > 0 else "takes"
    change = f"{abs(worst):.2g} {one.unit}"
    warning = None
    if abs(worst) >= float(one.step) / 2 and not isinstance(one.law, Itself) and ohms != CORRODED_OHMS[0]:
        warning = f"{fault} {way} {change} at {place}; it cannot be told from a reading"
    fuel = one.unit in FUEL_UNITS
    brief = f"{worst:+.2g} at {place if fuel else format(box.reading(share_of_worst), '.3g')}"
    return Shown(one.name, fault, f"{way} {change} at {place}", brief, False, warning)


def _number(value: float, box: _Box) -> str:
    return f"{round(value / float(box.solved.input.step)) * float(box.solved.input.step):g}"


def thermistor_taken_as_straight(one: Input) -> str:
    """Of a temperature given by points in ohm: what a thermistor with these points reads between them, where that is far off; else ""."""
    if not isinstance(one.law, Points) or one.unit not in ("degC", "degF") or one.circuit.unit != "ohm":
        return ""
    points = np.array(one.law.points, dtype=np.float64)
    ohms, celsius = points[:, 0], celsius_of(points[:, 1], one.unit)
    if ohms[0] <= 0 or np.any(np.diff(celsius) >= 0):
        return ""
    curve = ThermistorTable(tuple(zip(ohms.tolist(), celsius.tolist())))
    between = np.geomspace(ohms[0], ohms[-1], 400)
    off = (np.interp(between, ohms, celsius) - curve.celsius(between)) * (1.8 if one.unit == "degF" else 1)
    worst = int(np.argmax(abs(off)))
    if abs(off[worst]) <= BENT_STEPS * float(one.step):
        return ""
    near = float(f"{between[worst]:.2g}")
    way = "more" if off[worst] > 0 else "less"
    return (
        f"is straight between its points; of a thermistor, which is curved, it reads up to {abs(off[worst]):.2g} {one.unit} {way}"
        f' than there is (near {near:g} ohm); written as sender = {{ table = [["10 kohm", "25 degC"], ...] }} it is followed'
    )


def notes_on(built: Build, shown: list[Shown]) -> Iterator[tuple[Input, str]]:
    """What is no mistake in the file, but must be known: faults that read like a quantity, currents, pressures at altitude."""
    box = built.box
    for solved in built.inputs:
        one, chain = solved.input, solved.chain
        for row in shown:
            if row.input == one.name and row.warning is not None:
                yield one, row.warning
        tied = isinstance(one.circuit, Divider) or isinstance(one.circuit, Direct) and one.circuit.pull_down
        if tied and solved.windows[1] > 0:
            yield one, "a broken wire and a short to ground look the same: open"
        if isinstance(one.circuit, PullUp) and one.unit in FUEL_UNITS:
            yield one, _tank_current(chain.supply, one.circuit.resistor + one.circuit.series)
        if isinstance(one.law, Points) and len(one.law.points) == 2 and one.unit in FUEL_UNITS:
            yield one, "has two points only; a tank is seldom so straight: calibrate it"
        if bent := thermistor_taken_as_straight(one):
            yield one, bent
        if one.converter.chip is not None and one.converter.chip.continuous:
            yield one, "a converter that stands still while it converts continuously looks like a steady signal"
        if isinstance(one.law, Thermocouple):
            yield one, "where its wires touch each other, it reads the temperature of that place"
            what = "an open wire is told by the resistors to supply and ground in hardware_notes/netlists/millivolt.cir"
            yield one, f"{what}; without them it floats and may read anything"
        at_supply = chain.driven(float(box.supply), 0.0)
        if isinstance(one.circuit, Divider) and at_supply > one.converter.takes:
            what = f"the supply, {float(box.supply):g} V, on this wire puts {at_supply:.2f} V on the pin"
            yield one, f"{what}, which takes {one.converter.takes:g} V; the pin's protection must hold it"
        if one.limits is not None and isinstance(one.circuit, Shunt):
            off = one.circuit.tolerance or ASSUMED_TOLERANCE
            if one.law.high * (1 + off) > one.limits[2] or one.law.low * (1 - off) < one.limits[1]:
                ends = f"{one.law.low:g} or {one.law.high:g} mA"
                yield one, f"a shunt {off:.0%} off turns a good sender's {ends} into a fault; take a closer one"
        if one.unit.endswith("sealed"):
            error = f"{abs(sealed_error_psi(ALTITUDE_FEET)):.1f} psi"
            yield one, f"sealed: at {ALTITUDE_FEET:,} ft it reads {error} less than a gauge one would (ISO 2533)"
        if one.unit.endswith("absolute"):
            yield one, "absolute: it reads the air's own pressure, 14.7 psi at sea level, with nothing in the line (ISO 2533)"


def _tank_current(volts: float, ohms: float) -> str:
    """Of a sender in a fuel tank; AC 25.981-1 names 25 mA as guidance for normal use (from memory)."""
    milliamperes = volts / ohms * 1000
    told = f"puts up to {milliamperes:.0f} mA into the tank"
    if milliamperes <= TANK_MILLIAMPERES:
        return (
            told
            + "; bus voltage chafed onto its own wire is limited by nothing here: route and guard that wire"
        )
    least = math.ceil(volts / TANK_MILLIAMPERES * 1000)
    return f"WARNING: {told}; AC 25.981-1 names 25 mA as guidance: {least} ohm or more keep to it"
