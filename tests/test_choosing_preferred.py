"""Preferred values against the standard's published lists and against its own rule (IEC 60063:2015, tables from memory)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.preferred import E24_VALUES, E_SERIES, nearest, nearest_above, values

PUBLISHED = {
    "E3": "100 220 470",
    "E6": "100 150 220 330 470 680",
    "E12": "100 120 150 180 220 270 330 390 470 560 680 820",
    "E24": "100 110 120 130 150 160 180 200 220 240 270 300 330 360 390 430 470 510 560 620 680 750 820 910",
    "E48": "100 105 110 115 121 127 133 140 147 154 162 169 178 187 196 205 215 226 237 249 261 274 287 301"
    " 316 332 348 365 383 402 422 442 464 487 511 536 562 590 619 649 681 715 750 787 825 866 909 953",
    "E96": "100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174"
    " 178 182 187 191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309"
    " 316 324 332 340 348 357 365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549"
    " 562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976",
}
# where the list departs from the root of ten, rounded to two digits: what the rule gives
DEPARTS = {270: 260, 300: 290, 330: 320, 360: 350, 390: 380, 430: 420, 470: 460, 820: 830}


@pytest.mark.parametrize("series", PUBLISHED)
def test_as_published(series: str) -> None:
    assert E_SERIES[series] == tuple(map(int, PUBLISHED[series].split()))


@pytest.mark.parametrize("series", PUBLISHED)
def test_by_the_standards_rule(series: str) -> None:
    number = int(series[1:])
    digits = 1 if number > 24 else 10
    for n, value in enumerate(E_SERIES[series]):
        by_rule = digits * math.floor(100 * 10 ** (n / number) / digits + 0.5)
        assert by_rule == DEPARTS.get(value, value) if number <= 24 else by_rule == value


@pytest.mark.parametrize(
    "few, many", [("E3", "E6"), ("E6", "E12"), ("E12", "E24"), ("E48", "E96")], ids=lambda series: str(series)
)
def test_each_is_every_other_of_the_next(few: str, many: str) -> None:
    assert E_SERIES[few] == E_SERIES[many][::2]


VALUES = {
    "both ends are in it": (("E12", 10, 22), (10, 12, 15, 18, 22)),
    "over a decade's end": (("E6", 47, 150), (47, 68, 100, 150)),
    "below an ohm": (("E3", 0.1, 1), (0.1, 0.22, 0.47, 1)),
    "up to the last": (("E96", 9.5e6, 1e9), (9.53e6, 9.76e6)),
    "nothing between": (("E24", 101, 109), ()),
}


@pytest.mark.parametrize("case", VALUES)
def test_values(case: str) -> None:
    (series, low, high), wanted = VALUES[case]
    assert values(series, low, high) == wanted


@given(st.sampled_from(tuple(PUBLISHED)), st.floats(0.1, 9.7e6))
def test_none_is_nearer_than_the_nearest(series: str, ohms: float) -> None:
    found = nearest(series, ohms)
    away = abs(math.log(found / ohms))
    assert all(away <= abs(math.log(other / ohms)) for other in values(series, 0.1, 1e7))


def test_the_older_names_are_the_same_series() -> None:
    assert E24_VALUES == values("E24", 10, 9.1e6)
    assert nearest_above(151) == 160 and nearest_above(150) == 150
