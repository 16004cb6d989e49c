"""Preferred values of resistors (IEC 60063).

E3, E6, E12 and E24 are the standard's list, which departs from its own rule in eight places (27 to 47, and 82); E48 and E96 follow
the rule: the n-th of so many a decade is the root of ten, rounded to three digits.
"""

import math
from functools import cache

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
E24_VALUES = tuple(float(value * 10**decade) for decade in range(6) for value in E24)  # 10 ohm to 9.1 Mohm


def _by_rule(number: int) -> tuple[int, ...]:
    return tuple(round(100 * 10 ** (n / number)) for n in range(number))


# hundredths: 100 stands for 1, 10, 100, ... ohm
E_SERIES: dict[str, tuple[int, ...]] = {
    **{f"E{24 // every}": tuple(10 * value for value in E24[::every]) for every in (8, 4, 2, 1)},
    "E48": _by_rule(48),
    "E96": _by_rule(96),
}
LOWEST_DECADE, HIGHEST_DECADE = -1, 7  # 0.1 ohm to 10 Mohm


@cache
def _all(series: str) -> tuple[float, ...]:
    decades = range(LOWEST_DECADE, HIGHEST_DECADE)
    return tuple(
        value * 10.0 ** (decade - 2) if decade >= 2 else value / 10.0 ** (2 - decade)
        for decade in decades
        for value in E_SERIES[series]
    )


def values(series: str, low: float, high: float) -> tuple[float, ...]:
    """All values of a series from `low` to `high` ohm, both included, rising; 0.1 ohm to 9.76 Mohm. KeyError: no such series."""
    return tuple(ohms for ohms in _all(series) if low * (1 - 1e-9) <= ohms <= high * (1 + 1e-9))


def nearest(series: str, ohms: float) -> float:
    """The value nearest to `ohms`, which is more than 0, by ratio. KeyError: no such series."""
    return min(_all(series), key=lambda value: abs(math.log(value / ohms)))


def nearest_above(ohms: float) -> float:
    """The smallest of E24 that is no less than `ohms`; the largest where none is."""
    return next((value for value in E24_VALUES if value >= ohms * (1 - 1e-9)), E24_VALUES[-1])
