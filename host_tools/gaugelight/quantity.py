"""Quantities as they are written in a box file: a decimal number, a space, a unit."""

import difflib
import re
from collections.abc import Iterable
from fractions import Fraction

_POUND = Fraction(
    "0.45359237"
)  # kg, exact by international agreement, as the gallons, the inch and standard gravity are
_PSI = _POUND * Fraction("9.80665") / Fraction("0.0254") ** 2 / 1000  # kPa

# unit: what it measures, and a value v in it is v * scale + offset in the first unit of its kind
UNITS: dict[str, tuple[str, Fraction, Fraction]] = {
    name: (kind, Fraction(scale), Fraction(offset))
    for name, kind, scale, offset in (
        ("ohm", "resistance", 1, 0),
        ("kohm", "resistance", 1000, 0),
        ("Mohm", "resistance", 1000000, 0),
        ("mA", "current", 1, 0),
        ("A", "current", 1000, 0),
        ("V", "voltage", 1, 0),
        ("mV", "voltage", Fraction(1, 1000), 0),
        ("Hz", "frequency", 1, 0),
        ("kHz", "frequency", 1000, 0),
        ("s", "time", 1, 0),
        ("ms", "time", Fraction(1, 1000), 0),
        ("us", "time", Fraction(1, 10**6), 0),
        ("ns", "time", Fraction(1, 10**9), 0),
        ("min", "duration", 1, 0),  # what people plan with; the box counts seconds
        ("h", "duration", 60, 0),
        ("Ah", "charge", 1, 0),
        ("F", "capacitance", 1, 0),
        ("uF", "capacitance", Fraction(1, 10**6), 0),
        ("nF", "capacitance", Fraction(1, 10**9), 0),
        ("W", "power", 1, 0),
        ("m", "length", 1, 0),
        ("cm", "length", Fraction(1, 100), 0),
        ("mm", "length", Fraction(1, 1000), 0),
        ("in", "length", Fraction("0.0254"), 0),
        ("ft", "length", Fraction("0.3048"), 0),
        ("lx", "illuminance", 1, 0),
        ("uT", "magnetic flux density", 1, 0),
        ("%", "share", 1, 0),
        ("K", "temperature above absolute zero", 1, 0),
        ("l", "volume", 1, 0),
        ("US gal", "volume", Fraction("3.785411784"), 0),
        ("imp gal", "volume", Fraction("4.54609"), 0),
        ("kg", "mass", 1, 0),
        ("lb", "mass", _POUND, 0),
        ("kPa", "pressure", 1, 0),
        ("bar", "pressure", 100, 0),
        ("psi", "pressure", _PSI, 0),
        ("degC", "temperature", 1, 0),
        ("degF", "temperature", Fraction(5, 9), Fraction(-160, 9)),
    )
}

# what people write for a unit, in lower case, where more than the case differs
ALSO_WRITTEN = {
    "ω": "ohm", "ohms": "ohm", "r": "ohm", "kω": "kohm", "k": "kohm", "kohms": "kohm", "volt": "V", "volts": "V",
    "c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "litre": "l", "litres": "l", "liter": "l", "liters": "l",
    "us gallon": "US gal", "us gallons": "US gal", "imperial gal": "imp gal", "hertz": "Hz", "sec": "s", "percent": "%",
}  # fmt: skip

QUANTITY = re.compile(r"\s*([+-]?\d{1,9}(?:\.\d{1,9})?)\s*([^\d\s.].*?)?\s*")


def likely(written: object, allowed: Iterable[str]) -> str | None:
    """The one of `allowed` that was most likely meant."""
    if not isinstance(written, str):
        return None
    low = written.lower()
    if low != written and low[:1] == "m" or written == "mohm":
        return None  # milli or mega: too far apart to guess
    by_case = {one.lower(): one for one in allowed}
    meant = by_case.get(low) or ALSO_WRITTEN.get(low)
    if meant in by_case.values():
        return meant
    near = difflib.get_close_matches(low, by_case, 1, 0.75)
    return by_case[near[0]] if near else None


class Difference(str):
    """A unit of what is a difference: 5 degC apart are 9 degF apart, and no 41."""


def parse_quantity(text: object, unit: str) -> Fraction:
    """The value of `text` in `unit` ("150 ohm" in "ohm" is 150). ValueError says what would be right."""
    right = f'"<number> {unit}"'
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise ValueError(f"is no quantity; write {right}")
    if isinstance(text, (int, float)):
        raise ValueError(f'has no unit; write "{text} {unit}"')
    if re.match(r"\s*[+-]?\d+,\d", text):
        raise ValueError(f'"{text}": a number takes a decimal point, no comma')
    match = QUANTITY.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is no quantity; write {right}')
    number, written = match.groups()
    if written is None:
        raise ValueError(f'"{text}" has no unit; write "{number} {unit}"')
    kind, scale, offset = UNITS[unit]
    if written not in UNITS or UNITS[written][0] != kind:
        usable = [name for name, (measures, _, _) in UNITS.items() if measures == kind]
        meant = likely(written, usable)
        cure = f'write "{number} {meant}"' if meant else f"usable here: {', '.join(usable)}"
        raise ValueError(f'"{text}" is not in {unit}; {cure}')
    _, written_scale, written_offset = UNITS[written]
    if isinstance(unit, Difference):
        return Fraction(number) * written_scale / scale
    return (Fraction(number) * written_scale + written_offset - offset) / scale
