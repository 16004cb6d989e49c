"""Quantities as they are written in a box file: a decimal number, a space, a unit."""

import re
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

QUANTITY = re.compile(r"\s*([+-]?\d{1,9}(?:\.\d{1,9})?)\s*([^\d\s.].*?)?\s*")


def parse_quantity(text: object, unit: str) -> Fraction:
    """The value of `text` in `unit` ("150 ohm" in "ohm" is 150). ValueError says what would be right."""
    right = f'"<number> {unit}"'
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise ValueError(f"is no quantity; write {right}")
    if isinstance(text, (int, float)):
        raise ValueError(f'has no unit; write "{text} {unit}"')
    match = QUANTITY.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is no quantity; write {right}')
    number, written = match.groups()
    if written is None:
        raise ValueError(f'"{text}" has no unit; write "{number} {unit}"')
    if written not in UNITS or UNITS[written][0] != unit:
        usable = ", ".join(name for name, (base, _) in UNITS.items() if base == unit)
        raise ValueError(f'"{text}" is not in {unit}; usable here: {usable}')
    return Fraction(number) * UNITS[written][1]
