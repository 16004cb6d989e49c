"""Quantities as they are written in a box file: a decimal number, a space, a unit."""

import difflib
import re
from collections.abc import Iterable
from fractions import Fraction

# every unit leads to the one its kind is computed in
UNITS: dict[str, tuple[str, Fraction]] = {
    "ohm": ("ohm", Fraction(1)),
    "kohm": ("ohm", Fraction(1000)),
    "Mohm": ("ohm", Fraction(1000000)),
    "mA": ("mA", Fraction(1)),
    "A": ("mA", Fraction(1000)),
    "V": ("V", Fraction(1)),
    "mV": ("V", Fraction(1, 1000)),
    "Hz": ("Hz", Fraction(1)),
    "kHz": ("Hz", Fraction(1000)),
    "s": ("s", Fraction(1)),
    "ms": ("s", Fraction(1, 1000)),
    "%": ("%", Fraction(1)),
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
    by_case = {one.lower(): one for one in allowed}
    meant = by_case.get(low) or ALSO_WRITTEN.get(low)
    if meant in by_case.values():
        return meant
    near = difflib.get_close_matches(low, by_case, 1, 0.75)
    return by_case[near[0]] if near else None


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
    if written not in UNITS or UNITS[written][0] != unit:
        usable = [name for name, (base, _) in UNITS.items() if base == unit]
        meant = likely(written, usable)
        cure = f'write "{number} {meant}"' if meant else f"usable here: {', '.join(usable)}"
        raise ValueError(f'"{text}" is not in {unit}; {cure}')
    return Fraction(number) * UNITS[written][1]
