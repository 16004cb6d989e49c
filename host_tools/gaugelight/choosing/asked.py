"""What a circuit is wanted for: every answer, whether given as an option or to a question."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from gaugelight import box_values, wires
from gaugelight.boxfile import FUEL_UNITS, PRESSURE_KINDS, PRESSURE_UNITS, READING_UNITS
from gaugelight.choosing.altitude import SERVICES
from gaugelight.faults_shown import ALTITUDE_FEET, GROUND_OFFSET
from gaugelight.preferred import E_SERIES
from gaugelight.problems import Misuse
from gaugelight.quantity import parse_quantity

T = TypeVar("T")

ADS1115, ON_CHIP, EITHER = "ads1115", "on-chip", "either"
CONVERTERS = (ADS1115, ON_CHIP, EITHER)

# assumed where nothing is stated; all of them are said where they count
PROTECTION = {
    ADS1115: 9400.0,
    ON_CHIP: 4400.0,
}  # ohm, two resistors with the clamp between them, as in the reference box
PROTECTION_OF_DIVIDER = 4700.0  # its top stands before the clamp, as in the reference box
TRANSMITTER_LEAST = (
    9.0  # volts at a 4-20 mA transmitter: typical of data sheets, from memory; they go from 7 to 12
)
LOOP_DROP = 0.7  # volts, of a diode against reversal in the loop's supply
BUS, HIGHER_BUS = 14.0, 28.0  # volts, alternator running: those that aircraft have
BUS_ABOVE = 16.0  # volts: what lives on more hangs on the higher one
BATTERY, CRANK = (
    10.5,
    6.0,
)  # volts on a bus of 14: a battery that is dying; the dip of a starter (common practice, no source); of 28 twice that
FEED = 5.0  # volts that feed the regulator of the sender rail, as in the reference box


@dataclass(frozen=True)
class Asked:
    """All that decides on a circuit.

    Of the sender, written as in the box file: `sender` with `range`, or `points`, or `series`; `unit`, `pressure`, `step`, `damping`,
    `tolerance`. `signal` is what it gives: "ohm", "mA", "V" or "mV". `matters`: the reading at which the error counts.

    tank              the sender sits in a fuel tank
    converter         "ads1115", "on-chip" or "either"
    rail              volts, nominally, of the rail that a pull-up hangs on
    feed              volts that the rail's regulator lives on, and passes when it fails
    ratiometric       volts that a voltage sender's output is a share of; None where it has a reference of its own
    resistors         tolerance of the circuit's, a share
    series_of         the IEC 60063 series they are taken from
    protection        ohm before the pin; None: as PROTECTION says
    wire              the run to the sender
    wire_stated       its length was given, and its resistance goes into the box file
    ground_offset     volts of the sender's ground above the box's, where it returns through the airframe
    loop_wires        2: the loop feeds the transmitter; 3: it has a supply wire of its own
    transmitter_least volts that it needs
    loop_drop         volts lost in the loop's supply (fuse, diode)
    bus               volts, alternator running: what chafes onto a wire, and passes a failed regulator that lives on it
    battery, crank    volts of the bus: a battery that is dying, a starter's dip
    service           what a pressure is of: one of altitude.SERVICES, or None
    dissipation       mW that warm the sender of a temperature by a degree; None: by its kind
    """

    name: str
    signal: str
    unit: str
    matters: float
    sender: Any = None
    range: tuple[Any, Any] | None = None
    points: tuple[tuple[str, Any], ...] = ()
    series: tuple[tuple[tuple[str, Any], ...], ...] = ()
    pressure: str | None = None
    step: float | None = None
    damping: str | None = None
    tolerance: str | None = None
    tank: bool = False
    converter: str = ADS1115
    rail: float = 3.3
    feed: float = FEED
    ratiometric: float | None = None
    resistors: float = 0.01
    series_of: str = "E24"
    protection: float | None = None
    wire: wires.Wire = wires.Wire(22, 5.0)
    wire_stated: bool = False
    ground_offset: float = GROUND_OFFSET
    loop_wires: int = 2
    transmitter_least: float = TRANSMITTER_LEAST
    loop_drop: float = LOOP_DROP
    bus: float = BUS
    battery: float = BATTERY
    crank: float = CRANK
    altitude_ft: float = ALTITUDE_FEET
    dissipation: float | None = None
    service: str | None = None

    @property
    def in_fuel_units(self) -> bool:
        return self.unit in FUEL_UNITS


# --- from words ---

LOW, MIDDLE, HIGH = "low", "middle", "high"
PLACES = {LOW: 1 / 8, MIDDLE: 1 / 2, HIGH: 7 / 8}  # shares of the range: low fuel, half, near a red line
MOST_WIRE = 50.0  # m
MOST_FEET = 50_000
LEAST_BUS, MOST_BUS = 10.0, 32.0  # volts

THERMISTORS = (
    '{ b = "3950 K", resistance = "10 kohm", at = "25 degC" }, or by the table of its data sheet'
    ' { table = [["10 kohm", "25 degC"], ["680 ohm", "100 degC"]] }, with as many points as you like'
)
OMEGA, OHM_SIGN = "\u03a9", "\u2126"
BY_HAND = re.compile(
    rf"([\d.]+) *(?:-|–|\.\.|to) *([\d.]+) *(ohms?|{OMEGA}|{OHM_SIGN}|kohm|mA|V|mV)"
)  # 4-20mA, 10 to 180 ohms
EXAMPLE = 'gaugelight choose --sender "240-33 ohm" --unit "US gal" --range 0 18 --tank'


def asked_of(given: Mapping[str, Any]) -> Asked:
    """What is asked for, of options as they were written; those that are None were not. Raises Misuse with what would be right."""
    words = {key: value for key, value in given.items() if value is not None}

    def read(key: str, parse: Callable[[Any], T], default: T) -> T:
        if key not in words:
            return default
        try:
            return parse(words[key])
        except ValueError as problem:
            raise Misuse(f"--{key.replace('_', '-')}: {problem}") from None

    def volts(text: Any) -> float:
        return float(box_values.positive_quantity("V")(text))

    unit = read("unit", box_values.one_of(*READING_UNITS), "")
    points: tuple[tuple[str, Any], ...] = read("points", _points, ())
    signal, sender = read("sender", read_sender, ("", None))
    if points:
        signal = _signal_of(str(points[0][0]))
    series = tuple(words.get("series", ()))
    if series:
        signal = "ohm"
    if not signal and unit in ("V", "mA", "ohm"):
        signal = unit
    missing = [
        option
        for option, there in (
            ('--sender "240-33 ohm"', signal),
            ('--unit "US gal"', unit),
            ("--range 0 18", points or series or "range" in words),
        )
        if not there
    ]
    if missing:
        raise Misuse(
            f"choose: say also {', '.join(missing)}; or answer its questions on a terminal",
            f"such as: {EXAMPLE}",
        )
    if points and (sender is not None or "range" in words):
        raise Misuse("--points: they say it all already; leave --sender and --range out")
    if series and (sender is not None or points or "range" in words):
        raise Misuse("--two-floats: its file says it all already; leave --sender, --points and --range out")
    span = read("range", lambda ends: span_of(ends, unit), None)
    ends = _ends(span, points, series, unit)
    fuel = unit in FUEL_UNITS
    tank = bool(words.get("tank", fuel))
    matters = read("matters", lambda text: matters_of(text, ends, unit), None)
    if matters is None:
        matters = ends[0] + PLACES[LOW if fuel else HIGH if unit not in ("V", "mA", "ohm") else MIDDLE] * (
            ends[1] - ends[0]
        )
    length = read("wire", lambda text: float(parse_quantity(text, "m")), 5.0)
    if not 0 < length <= MOST_WIRE:
        raise Misuse(f"--wire: {length:g} m is no run to a sender; up to {MOST_WIRE:g} m")
    feed = read("feed", volts, FEED)
    battery = read("battery", volts, 0.0)
    bus = read("bus", _bus, bus_of(max(feed, battery)))
    airframe = "airframe" in words
    try:
        wire = wires.Wire(int(words.get("gauge", 22)), length, airframe)
    except ValueError as problem:
        raise Misuse(f"--gauge: {problem}") from None
    return Asked(
        name=read("name", box_values.name, _name_for(unit, tank)),
        signal=signal,
        unit=unit,
        matters=matters,
        sender=sender,
        range=span,
        points=points,
        series=series,
        pressure=read(
            "pressure", box_values.one_of(*PRESSURE_KINDS), "gauge" if unit in PRESSURE_UNITS else None
        ),
        step=read("step", lambda text: float(box_values.positive(_number(text))), None),
        damping=words.get("damping", "12 s" if fuel else None),
        tolerance=words.get("sender_tolerance"),
        tank=tank,
        converter=words.get("converter", ADS1115),
        rail=read("rail", volts, 3.3),
        feed=feed,
        ratiometric=read("ratiometric", volts, None),
        resistors=read("tolerance", lambda text: float(box_values.percent(text)) / 100, 0.01),
        series_of=read("series_of", box_values.one_of(*E_SERIES), "E24"),
        protection=read("protection", lambda text: float(box_values.quantity_from_nought("ohm")(text)), None),
        wire=wire,
        wire_stated="wire" in words,
        ground_offset=read("airframe", volts, GROUND_OFFSET),
        loop_wires=int(words.get("loop_wires", 2)),
        transmitter_least=read("transmitter", volts, TRANSMITTER_LEAST),
        loop_drop=read(
            "loop_drop", lambda text: float(box_values.quantity_from_nought("V")(text)), LOOP_DROP
        ),
        bus=bus,
        battery=battery or BATTERY * bus / BUS,
        crank=read("crank", volts, CRANK * bus / BUS),
        altitude_ft=read("altitude", _feet, float(ALTITUDE_FEET)),
        service=read("service", box_values.one_of(*SERVICES), None),
        dissipation=read("dissipation", lambda text: float(box_values.positive(_number(text))), None),
    )


def bus_of(volts: float) -> float:
    """The bus of an aircraft where so many volts are found: 12 or 24 without its alternator are 14 or 28 with it."""
    return HIGHER_BUS if volts > BUS_ABOVE else BUS


def asked_bus(text: Any) -> float:
    """Of --bus, in V. Raises Misuse."""
    try:
        return _bus(text)
    except ValueError as problem:
        raise Misuse(f"--bus: {problem}") from None


def _bus(text: Any) -> float:
    found = float(box_values.positive_quantity("V")(text))
    if not LEAST_BUS <= found <= MOST_BUS:
        raise ValueError(f'"{text}" is no bus of an aircraft; write "{BUS:g} V" or "{HIGHER_BUS:g} V"')
    return bus_of(found)


def _feet(text: Any) -> float:
    feet = float(parse_quantity(text, "ft"))
    if not 0 <= feet <= MOST_FEET:
        raise ValueError(f'"{text}" must lie between 0 ft and {MOST_FEET} ft')
    return feet


def read_sender(text: str) -> tuple[str, Any]:
    """The signal it gives, and it as the box file has it."""
    text = text.strip()
    if text.startswith("{"):
        try:
            value: Any = tomllib.loads(f"sender = {text}")["sender"]
        except ValueError:
            raise ValueError(f"a thermistor is written {THERMISTORS}") from None
        box_values.sender("ohm")(value)
        return "ohm", value
    if text.startswith("thermocouple"):
        raise ValueError(
            "a thermocouple goes on two pins of an ADS1115 with no resistor to choose; see millivolt in host_tools/box_file.md and hardware_notes"
        )
    by_hand = BY_HAND.fullmatch(text)
    if by_hand is not None:
        low, high, unit = by_hand.groups()
        text = f"{low}-{high} {'ohm' if unit.startswith(('ohm', OMEGA, OHM_SIGN)) else unit}"
    for signal in ("ohm", "mA", "V"):
        try:
            box_values.sender(signal)(text)
        except ValueError:
            continue
        return signal, text
    raise ValueError(
        f'"{text}" is no sender that is known; write "240-33 ohm", "4-20 mA", "0.5-4.5 V" (at the lowest, at the highest reading), "Pt100",'
        f' "Pt1000", or of a thermistor {THERMISTORS}'
    )


def _signal_of(text: str) -> str:
    for signal in ("ohm", "mA", "V"):
        try:
            parse_quantity(text, signal)
            return signal
        except ValueError:
            continue
    raise Misuse(f'--points: "{text}" is no ohm, mA or V; write "21 ohm=4"')


def _points(pairs: Sequence[str]) -> tuple[tuple[str, Any], ...]:
    found = []
    for pair in pairs:
        signal, equals, reading = pair.partition("=")
        if not equals:
            raise ValueError(f'"{pair}": write SIGNAL=READING, such as "21 ohm=4"')
        found.append((signal.strip(), _number(reading)))
    return tuple(found)


def _number(text: Any) -> Any:
    """A number, or a quantity as it was written."""
    if not isinstance(text, str):
        return text
    text = text.strip()
    try:
        return int(text) if re.fullmatch(r"[+-]?\d+", text) else float(text)
    except ValueError:
        return text


def span_of(ends: Sequence[str], unit: str) -> tuple[Any, Any]:
    """Lowest and highest reading as they were written. Raises ValueError."""
    if len(ends) != 2:
        raise ValueError("write the lowest and the highest reading, such as --range 0 18")
    low, high = map(_number, ends)
    box_values.span(unit)([low, high])
    return low, high


def _ends(span: Any, points: Any, series: Any, unit: str) -> tuple[float, float]:
    """The lowest and the highest reading. What is wrong with points is judged where they are read."""
    if span is not None:
        low, high = box_values.span(unit)(list(span))
        return float(low), float(high)
    pairs = points or [pair for one in series for pair in one]
    try:
        readings = [float(box_values.reading(unit)(reading)) for _, reading in pairs]
    except ValueError as problem:
        raise Misuse(f"--points: {problem}") from None
    return min(readings), max(readings)


def matters_of(text: str, ends: tuple[float, float], unit: str) -> float:
    """The reading that a place is. Raises ValueError where it is none, or outside the ends."""
    low, high = ends
    if text in PLACES:
        return low + PLACES[text] * (high - low)
    number = _number(text)
    if isinstance(number, str) and not any(c.isdigit() for c in number):
        raise ValueError(f'"{text}": write {", ".join(PLACES)}, or a reading in {unit}')
    reading = float(box_values.reading(unit)(number))
    if not low <= reading <= high:
        raise ValueError(f"{text} lies outside the range, {low:g} to {high:g} {unit}")
    return reading


def _name_for(unit: str, tank: bool) -> str:
    if unit in FUEL_UNITS or tank:
        return "left fuel"
    return {"degC": "temperature", "degF": "temperature", "V": "voltage", "ohm": "resistance"}.get(
        unit, "pressure" if unit in PRESSURE_UNITS else "new input"
    )
