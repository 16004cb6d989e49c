"""Values as they are written in a box file. Each function makes of one what it means; ValueError says what would be right."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from gaugebox import pins
from gaugebox.ads1115 import RATES
from gaugebox.table import MOST_OVERSAMPLING
from gaugelight import temperature
from gaugelight.circuits import Circuit, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import GAINS, PAIRS, Ads1115
from gaugelight.laws import Point
from gaugelight.quantity import QUANTITY, UNITS, Difference, likely, parse_quantity

LONGEST_NAME = 24
SENDER = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s*-\s*(\d{1,9}(?:\.\d{1,9})?) (ohm|kohm|mA|V|mV)")
# keys of each circuit: those it needs, those it may have
CIRCUIT_KEYS = {
    "pull-up": (("resistor", "rail"), ("series", "wire", "protection", "tolerance")),
    "shunt": (("resistor",), ("protection", "tolerance")),
    "divider": (("top", "bottom"), ("rail", "wire", "protection", "tolerance")),
    "direct": ((), ("rail", "wire", "protection", "pull_down")),
    "millivolt": ((), ("wire", "protection")),
}
MOST_OHMS = {"wire": 1000, "series": 10_000, "protection": 100_000}
MOST_TOLERANCE = 50  # per cent
OVERSAMPLES = tuple(1 << doublings for doublings in range(MOST_OVERSAMPLING + 1))


Limits = tuple[Fraction, Fraction, Fraction, Fraction]
Resistive = temperature.Platinum | temperature.SteinhartHart | temperature.Beta | temperature.ThermistorTable
Thermal = Resistive | temperature.Thermocouple


@dataclass(frozen=True)
class Tolerance:
    """Of a sender, plus or minus: in `unit`, or in per cent of its span."""

    value: Fraction
    unit: str


BOX, METER = "box", "meter"


@dataclass(frozen=True)
class Calibrated:
    """Of an input whose points were taken in its place.

    session     the file of it, beside the box file
    through     "box": signals as this box measured them in this circuit; "meter": as a meter did, at the connector
    plus_minus  of each point, at 95 %, in the unit of the reading
    """

    on: date
    session: str
    through: str
    plus_minus: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class Listed:
    """Points, signals rising, and the plus or minus of each where it is written."""

    points: tuple[Point, ...]
    plus_minus: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class LampCurve:
    """gamma None: CIE 1976 lightness."""

    gamma: float | None


def name(value: Any, longest: int = LONGEST_NAME) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("must be a text that is not empty")
    if value != value.strip():
        raise ValueError(f'"{value}" begins or ends with a space; leave it out')
    if len(value) > longest:
        raise ValueError(f'"{value}" is {len(value)} characters long; at most {longest} fit the face')
    if any(not " " <= c <= "~" or c in "|," for c in value):
        raise ValueError(f'"{value}" may hold plain ASCII without "|" and "," only')
    return value


def chip_name(value: str) -> None:
    if "." in name(value):
        raise ValueError(f'"{value}" must do without "."')


def one_of(*allowed: str) -> Callable[[Any], str]:
    def parse(value: Any) -> str:
        if value in ("gal", "gallon", "gallons"):
            raise ValueError('gallons of which kind? write "US gal" or "imp gal"')
        if not isinstance(value, str) or value not in allowed:
            meant = likely(value, allowed)
            cure = f'did you mean "{meant}"?' if meant else f"write one of: {', '.join(allowed)}"
            raise ValueError(f"{value!r} is not known; {cure}")
        return value

    return parse


def _quantity(unit: str) -> Callable[[Any], Fraction]:
    return lambda value: parse_quantity(value, unit)


def positive_quantity(unit: str) -> Callable[[Any], Fraction]:
    def parse(value: Any) -> Fraction:
        if (quantity := parse_quantity(value, unit)) <= 0:
            raise ValueError(f'"{value}" must be more than 0')
        return quantity

    return parse


def quantity_from_nought(unit: str) -> Callable[[Any], Fraction]:
    def parse(value: Any) -> Fraction:
        if (quantity := parse_quantity(value, unit)) < 0:
            raise ValueError(f'"{value}" must not be less than 0')
        return quantity

    return parse


def _number(value: Any) -> Fraction:
    if isinstance(value, str) and (match := QUANTITY.fullmatch(value)) is not None:
        raise ValueError(f'"{value}" is no number; write {match[1]}, without quotes and unit')
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
        raise ValueError(f"{value!r} is no number")
    if abs(value) > 1e6:
        raise ValueError(f"{value!r} is out of all proportion; at most 1000000")
    return Fraction(str(value))


def positive(value: Any) -> Fraction:
    if (number := _number(value)) <= 0:
        raise ValueError(f"must be more than 0, not {value}")
    return number


def _reading(value: Any, unit: str) -> Fraction:
    """A number in `unit`, or a text with a unit of its own."""
    return parse_quantity(value, unit) if isinstance(value, str) else _number(value)


def reading(unit: str) -> Callable[[Any], Fraction]:
    return lambda value: _reading(value, unit)


def change(unit: str) -> Callable[[Any], Fraction]:
    """How much of a unit, more than nothing: a number, or a text with a unit of its own."""

    def parse(value: Any) -> Fraction:
        if (amount := _reading(value, Difference(unit))) <= 0:
            raise ValueError(f"must be more than 0, not {value}")
        return amount

    return parse


def altitude(least: int, most: int) -> Callable[[Any], Fraction]:
    """Bounds in feet, as altitudes are told; the value in metres."""

    def parse(value: Any) -> Fraction:
        if not least <= (feet := parse_quantity(value, "ft")) <= most:
            raise ValueError(f'"{value}" must lie between {least} ft and {most} ft')
        return feet * UNITS["ft"][1]

    return parse


def span(unit: str) -> Callable[[Any], Point]:
    def parse(value: Any) -> Point:
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError("must be [lowest, highest]")
        low, high = (_reading(end, unit) for end in value)
        if low >= high:
            raise ValueError(f"runs from {value[0]} to {value[1]}; the lower end comes first")
        return low, high

    return parse


def whole(low: int, high: int, right: str) -> Callable[[Any], int]:
    def parse(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError(f"must be {right}, not {value!r}")
        return value

    return parse


def address(low: int, high: int) -> Callable[[Any], int]:
    """On I2C, told as it is printed: in hexadecimal."""

    def parse(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"must be a number from {low:#x} to {high:#x}, not {value!r}")
        if low <= value >> 1 <= high and not value & 1:
            what = f"{value:#x} is how some print it, with the bit for reading or writing behind it"
            raise ValueError(f"{what}; write {value >> 1:#x}")
        if not low <= value <= high:
            raise ValueError(f"must be an address {low:#x} to {high:#x}, not {value:#x}")
        return value

    return parse


def between(unit: str, least: int, most: int) -> Callable[[Any], Fraction]:
    def parse(value: Any) -> Fraction:
        if unit == "s" and isinstance(value, (int, float)) and value > most:
            raise ValueError(f'has no unit; write "{value} ms"')
        if not least <= (quantity := parse_quantity(value, unit)) <= most:
            raise ValueError(f'"{value}" must lie between {least} {unit} and {most} {unit}')
        return quantity

    return parse


def yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"must be true or false, not {value!r}")
    return value


def percent(value: Any) -> Fraction:
    percent = parse_quantity(value, "%")
    if not 0 < percent < 100:
        raise ValueError(f'"{value}" must lie between 0 % and 100 %')
    return percent


def frequency(value: Any) -> int:
    hertz = parse_quantity(value, "Hz")
    if not 100 <= hertz <= 100_000 or hertz.denominator != 1:
        raise ValueError(f'"{value}" must be a whole number of hertz from "100 Hz" to "100 kHz"')
    return int(hertz)


def _gpio(value: Any) -> Any:
    """15 and "GP15" are the same pin."""
    return int(value[2:]) if isinstance(value, str) and re.fullmatch(r"GP ?\d{1,2}", value) else value


def output_pin(value: Any) -> int:
    return _free_pin(value, "cannot drive an output")


def switch_pin(value: Any) -> int:
    return _free_pin(value, "cannot be a switch input")


def _free_pin(value: Any, what: str) -> int:
    value = _gpio(value)
    if isinstance(value, bool) or not isinstance(value, int) or value not in pins.OUTPUT_PINS:
        cure = "free for that are GP0 to GP3 and GP6 to GP21"
        if isinstance(value, int) and value > pins.CONVERTER_PINS[-1]:
            cure += "; these are GPIO numbers, not those along the board's edge"
        raise ValueError(f"{value!r} {what}; {cure}")
    return value


def converter_pin(value: Any) -> int:
    value = _gpio(value)
    if isinstance(value, bool) or not isinstance(value, int) or value not in pins.CONVERTER_PINS:
        raise ValueError(f"{value!r} is no on-chip converter pin; there are GP26, GP27 and GP28")
    return value


def full_scale(value: Any) -> float:
    volts = float(parse_quantity(value, "V"))
    if volts not in GAINS:
        raise ValueError(
            f'"{value}" is no range of this converter; there are: {", ".join(map(str, GAINS))} V'
        )
    return volts


def rate(value: Any) -> int:
    hertz = parse_quantity(value, "Hz")
    if hertz not in RATES:
        raise ValueError(
            f'"{value}" is no data rate of this converter; there are: {", ".join(map(str, RATES))} Hz'
        )
    return int(hertz)


def oversample(value: Any) -> int:
    if isinstance(value, bool) or value not in OVERSAMPLES:
        raise ValueError(f"{value!r} is not possible; write one of: {', '.join(map(str, OVERSAMPLES))}")
    return int(value)


def place(chips: dict[str, Ads1115]) -> Callable[[Any], int | tuple[Ads1115, str]]:
    def parse(value: Any) -> int | tuple[Ads1115, str]:
        value = _gpio(value)
        if not isinstance(value, str):
            return converter_pin(value)
        chip, _, channel = value.partition(".")
        if chip not in chips:
            known = ", ".join(chips) or "none"
            raise ValueError(f'"{value}": there is no [converter.{chip}]; there is: {known}')
        if channel not in ("0", "1", "2", "3", *PAIRS):
            pairs = ", ".join(f"{chip}.{pair}" for pair in PAIRS)
            raise ValueError(f'"{value}": channels are {chip}.0 to {chip}.3, between two of them {pairs}')
        return chips[chip], channel

    return parse


def circuit(value: Any) -> Circuit:
    kinds = ", ".join(CIRCUIT_KEYS)
    if not isinstance(value, dict) or value.get("kind") not in tuple(CIRCUIT_KEYS):
        raise ValueError(f'must be {{ kind = "...", ... }} with kind one of: {kinds}')
    kind = value["kind"]
    needed, possible = CIRCUIT_KEYS[kind]
    for key in value:
        if key != "kind" and key not in needed + possible:
            has = ", ".join(needed + possible) or "nothing more"
            raise ValueError(f'a {kind} has no "{key}"; it has: {has}')
    for key in needed:
        if key not in value:
            raise ValueError(f'a {kind} needs "{key}"')
    parts: dict[str, Any] = {}
    for key in value:
        if key == "kind":
            continue
        try:
            if key == "rail":
                parts[key] = name(value[key])
            elif key == "tolerance":
                parts[key] = float(percent(value[key])) / 100
                if parts[key] > MOST_TOLERANCE / 100:
                    raise ValueError(f'"{value[key]}" is no tolerance; at most {MOST_TOLERANCE} %')
            else:
                least = 1000 if key == "pull_down" else int(key in needed)
                parts[key] = _ohms(value[key], least, MOST_OHMS.get(key, 10_000_000))
        except ValueError as problem:
            raise ValueError(f"{key} {problem}") from None
    if kind == "pull-up":
        return PullUp(**parts)
    if kind == "shunt":
        return Shunt(**parts)
    if kind == "divider":
        return Divider(**parts)
    return Direct(**parts) if kind == "direct" else Millivolt(**parts)


def _ohms(value: Any, least: int, most: int = 10_000_000) -> float:
    resistance = parse_quantity(value, "ohm")
    if not least <= resistance <= most:
        up_to = "10 Mohm" if most == 10_000_000 else f"{most} ohm"
        raise ValueError(f'"{value}" is no resistance for this; {least} ohm to {up_to}')
    return float(resistance)


def sender(unit: str) -> Callable[[Any], Point | Thermal]:
    """The sender by its name: its signals at the lowest and the highest reading, or what makes a thermometer of it."""

    def parse(value: Any) -> Point | Thermal:
        if isinstance(value, dict):
            if unit != "ohm":
                raise ValueError("is a thermistor, which needs a pull-up")
            return _thermistor(value)
        match = SENDER.fullmatch(value) if isinstance(value, str) else None
        if match is not None and UNITS[match[3]][0] == UNITS[unit][0]:
            ends = parse_quantity(f"{match[1]} {match[3]}", unit), parse_quantity(
                f"{match[2]} {match[3]}", unit
            )
            if ends[0] != ends[1]:
                return ends
        if value in ("Pt100", "Pt1000") and unit == "ohm":
            return temperature.Platinum(float(value[2:]))
        if value == "thermocouple K" and unit == "mV":
            return temperature.Thermocouple("K")
        if value == "thermocouple J" and unit == "mV":
            return temperature.Thermocouple("J")
        more = {"ohm": ', "Pt100", "Pt1000" or a thermistor { ... }', "mV": ', "thermocouple K" or "... J"'}
        right = f'write "<at lowest>-<at highest> {unit}"' + more.get(unit, "")
        raise ValueError(f"{value!r} does not fit this circuit; {right}")

    return parse


def _celsius(value: Any) -> float:
    celsius = float(parse_quantity(value, "degC"))
    if not -200 <= celsius <= 500:
        raise ValueError(f'"{value}" is no temperature of a thermistor')
    return celsius


def _thermistor(value: dict[str, Any]) -> Resistive:
    if set(value) == {"steinhart_hart"}:
        given = value["steinhart_hart"]
        if isinstance(given, list) and len(given) == 3 and all(isinstance(c, float) for c in given):
            a, b, c = given
            if 1e-5 < a < 1e-2 and 2e-5 < b < 1e-2 and 0 <= c < 1e-5:
                return temperature.SteinhartHart(a, b, c)
        raise ValueError(
            "steinhart_hart must be [a, b, c] for ohm and kelvin, such as [1.1e-3, 2.4e-4, 7.5e-8]"
        )
    if set(value) == {"b", "resistance", "at"}:
        b = float(parse_quantity(value["b"], "K"))
        if not 500 <= b <= 10_000:
            raise ValueError(f'b "{value["b"]}" is no thermistor\'s; 500 K to 10000 K')
        return temperature.Beta(b, _ohms(value["resistance"], 1), _celsius(value["at"]))
    if set(value) == {"table"}:
        table = value["table"]
        if not isinstance(table, list) or len(table) < 2:
            raise ValueError('table must be two or more of ["10 kohm", "25 degC"]')
        points = []
        for i, point in enumerate(table, 1):
            if not isinstance(point, list) or len(point) != 2:
                raise ValueError(f'point {i} must be ["10 kohm", "25 degC"]')
            celsius = _celsius(point[1])
            points.append((_ohms(point[0], 1), celsius))
        points.sort()
        if any(a[0] == b[0] or a[1] <= b[1] for a, b in zip(points, points[1:])):
            raise ValueError("table: a thermistor's resistance must fall as the temperature rises")
        for (r0, t0), (r1, t1) in zip(points, points[1:]):
            b = math.log(r1 / r0) / (1 / (t1 + 273.15) - 1 / (t0 + 273.15))
            if not 500 <= b <= 10_000:
                raise ValueError(
                    f"table: from {r0:g} to {r1:g} ohm is no thermistor's; its B would be {b:.0f} K"
                )
        return temperature.ThermistorTable(tuple(points))
    kinds = '{ steinhart_hart = [a, b, c] }, { b = "3950 K", resistance = "10 kohm", at = "25 degC" }'
    raise ValueError(f'must be one of: {kinds}, {{ table = [["10 kohm", "25 degC"], ...] }}')


def points(unit: str, reading_unit: str) -> Callable[[Any], Listed]:
    def parse(value: Any) -> Listed:
        listed = sorted(_listed(value, unit, reading_unit, True), key=lambda one: one[:2])
        points = [(s, r) for s, r, _ in listed]
        for k in range(1, len(points)):
            if points[k][0] == points[k - 1][0]:
                raise ValueError(f"{float(points[k][0]):g} {unit} stands there twice")
            if min(points[k][0], points[k - 1][0]) < 0 and unit != "mV":
                raise ValueError("a signal below 0 cannot be measured")
        readings = [r for _, r in points]
        rises = [b - a for a, b in zip(readings, readings[1:])]
        way = next((rise for rise in rises if rise), Fraction(0))
        if (turn := next((k for k, rise in enumerate(rises) if rise * way < 0), None)) is not None:
            where = f"{float(points[turn][0]):g} {unit}"
            raise ValueError(f"the readings turn back at {where}; they must only rise or only fall")
        if not way:
            raise ValueError("all readings are the same")
        off = tuple(amount for _, _, amount in listed if amount is not None)
        if off and len(off) < len(points):
            raise ValueError("some have a plus or minus; give all of them one, or none")
        return Listed(tuple(points), off)

    return parse


def _listed(
    value: Any, unit: str, reading_unit: str, with_plus_minus: bool = False
) -> list[tuple[Fraction, Fraction, Fraction | None]]:
    """Signal, reading, and the reading's plus or minus where it may have one."""
    right = f'["<number> {unit}", reading]'
    if not isinstance(value, list) or len(value) < 2:
        raise ValueError(f"must be two or more of {right}")
    points = []
    for i, point in enumerate(value, 1):
        if not isinstance(point, list) or len(point) not in ((2, 3) if with_plus_minus else (2,)):
            more = f", or {right[:-1]}, plus or minus]" if with_plus_minus else ""
            raise ValueError(f"point {i} must be {right}{more}")
        if not isinstance(point[0], str) and isinstance(point[1], str):
            raise ValueError(f"point {i} must be {right}: the signal with its unit, then a number")
        try:
            off = _reading(point[2], Difference(reading_unit)) if len(point) == 3 else None
            if off is not None and off < 0:
                raise ValueError(f"plus or minus {point[2]}: must not be less than 0")
            points.append((parse_quantity(point[0], unit), _reading(point[1], reading_unit), off))
        except ValueError as problem:
            raise ValueError(f"point {i}: {problem}") from None
    return points


def calibrated(value: Any) -> Calibrated:
    right = '{ on = 2026-11-26, session = "left fuel.level.toml", through = "box" }'
    if not isinstance(value, dict) or sorted(value) != ["on", "session", "through"]:
        raise ValueError(f"must be {right}")
    on = value["on"]
    if type(on) is not date:  # a datetime is a date too
        raise ValueError(f"on {on!r} is no date; write it without quotes, as 2026-11-26")
    if not isinstance(value["session"], str) or not value["session"].strip():
        raise ValueError("session must name the file of its session")
    return Calibrated(on, value["session"], one_of(BOX, METER)(value["through"]))


def series(unit: str, reading_unit: str) -> Callable[[Any], tuple[Point, ...]]:
    """Two floats in one tilted tank, wired in series: their resistances add; beyond its own points a float rests on its end."""

    def parse(value: Any) -> tuple[Point, ...]:
        if unit != "ohm":
            raise ValueError("is for two resistive floats, which need a pull-up")
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError("must be two lists of points, one for each float")
        floats = []
        for which, points in zip(("first", "second"), value):
            try:
                listed = sorted((r, s) for s, r, _ in _listed(points, unit, reading_unit))
            except ValueError as problem:
                raise ValueError(f"{which} float: {problem}") from None
            if any(a[0] == b[0] for a, b in zip(listed, listed[1:])):
                raise ValueError(f"{which} float: two resistances stand for one reading")
            floats.append(listed)
        readings = sorted({r for listed in floats for r, _ in listed})
        total = [(sum((_held(listed, r) for listed in floats), Fraction(0)), r) for r in readings]
        way = total[-1][0] - total[0][0]
        for (s0, r0), (s1, r1) in zip(total, total[1:]):
            if (s1 - s0) * way <= 0:
                stretch = f"from {float(r0):g} to {float(r1):g} {reading_unit}"
                raise ValueError(
                    f"{stretch} the two together do not change, or turn back; that stretch cannot be read"
                )
        if min(s for s, _ in total) < 0:
            raise ValueError("a resistance below 0 cannot be measured")
        return tuple(sorted(total))

    return parse


def _held(points: list[Point], x: Fraction) -> Fraction:
    """Straight lines through points (x, y), the ends held, exactly."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if x <= x1:
            return y0 + (x - x0) * (y1 - y0) / (x1 - x0)
    return points[-1][1]


def limits(unit: str) -> Callable[[Any], Limits]:
    def parse(value: Any) -> Limits:
        right = "[failure at or below, measuring from, measuring to, failure at or above]"
        if not isinstance(value, list) or len(value) != 4:
            raise ValueError(f'must be {right}, each "<number> {unit}"')
        failed_low, low, high, failed_high = (parse_quantity(v, unit) for v in value)
        if not failed_low <= low < high <= failed_high:
            raise ValueError(f"must rise: {right}")
        return failed_low, low, high, failed_high

    return parse


def tolerance(signal_unit: str, unit: str) -> Callable[[Any], Tolerance]:
    def parse(value: Any) -> Tolerance:
        if isinstance(value, str) and value.endswith(("degC", "degF")):
            if not value.endswith(unit):
                raise ValueError(f'"{value}": a difference of temperature is given in {unit} here')
        for measured in ("%", unit, signal_unit):
            try:
                amount = parse_quantity(value, measured)
                if amount > 0 and (measured != "%" or amount <= MOST_TOLERANCE):
                    return Tolerance(amount, measured)
            except ValueError:
                pass
        raise ValueError(
            f'{value!r} is no tolerance; write "1 %" of the span, "2 {unit}" or "1 {signal_unit}"'
        )

    return parse


def curve(value: Any) -> LampCurve:
    if value == "lightness":
        return LampCurve(None)
    if isinstance(value, dict) and set(value) == {"gamma"}:
        gamma = float(_number(value["gamma"]))
        if 1 <= gamma <= 4:
            return LampCurve(gamma)
        raise ValueError(f"gamma {gamma:g} is outside 1 to 4")
    raise ValueError('must be "lightness" or { gamma = 2.2 }')
