"""How few breakpoints a curve can have: the bound against exhaustive search, its proof, and the host's fit against it."""

import math
from array import array
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.curve import LIMIT, lookup, make_curve
from gaugelight.circuits import Floats
from gaugelight.curves import NoCurve, breakpoints, fit, values
from gaugelight.least_breakpoints import Certificate, Least, is_proof, least

N = np.arange(65_536.0)
RATIO = (N + 0.5) / 65_536


def pull_up(resistor: float, low: float, high: float) -> Floats:
    """Ohms of a sender from low to high, over the ratios that it gives."""
    ohms = resistor * RATIO / (1 - RATIO)
    return ohms[(low <= ohms) & (ohms <= high)]


def thermistor(ohms: Floats) -> Floats:
    """Degrees Celsius by Steinhart and Hart's equation; coefficients of a 10 kohm thermistor, from memory."""
    ln = np.log(ohms)
    celsius: Floats = 1 / (1.129241e-3 + 2.341077e-4 * ln + 8.775468e-8 * ln**3) - 273.15
    return celsius


def points(*points: tuple[float, float]) -> Floats:
    at: Floats = np.interp(N, [x for x, _ in points], [y for _, y in points])
    return at


def lightness(level: Floats) -> Floats:
    """Luminance at a lightness, both 0 to 1 (CIE 1976)."""
    luminance: Floats = np.where(level > 0.08, ((100 * level + 16) / 116) ** 3, level * 2700 / 24389)
    return luminance


DIVIDED = 2200 * RATIO[2000:62_000] / (1 - RATIO[2000:62_000])
NEAR: dict[str, tuple[Floats, Floats | float]] = {
    "straight": (3.7 * N, 10),
    "straight, just past 31 bits": (16_384 / 65_536 * N, 10),
    "straight, far past 31 bits": (10.1 * N, 10),
    "straight and steep": (-100.3 * N, 50),
    "level": (0 * N + 41.4, 10),
    "fuel, 0 to 90 ohm": (1000 * pull_up(150, 0, 90), 12),
    "fuel, coarse": (1000 * pull_up(150, 0, 90), 100),
    "pull-up near an open wire": (100 * pull_up(150, 1, 1500), 10),
    "falling, 240 to 33 ohm": (20_000 - 100 * pull_up(150, 33, 240), 25),
    "thermistor, ohms over counts": (DIVIDED, np.geomspace(10, 10_000, 60_000)),
    "thermistor, degrees over counts": (1000 * thermistor(DIVIDED), 25),
    "thermistor, degrees over ohms": (1000 * thermistor(N + 200), np.geomspace(10_000, 10, 65_536)),
    "points": (points((0, 0), (21_000, 4000), (46_000, 9500), (65_535, 18_000)), 12),
    "kinks between integers": (points((0, 0), (9000.5, 400), (21_000.3, 9000), (46_000.7, 9500), (65_535, 18_000)), 10),
    "a staircase of kinks": (np.interp(N % 6554, [0, 3000, 6554], [0, 100, 800]) + N // 6554 * 800, 10),
    "ends held": (np.clip(1.7 * (N - 10_000.3), 0, 60_000), 10),
    "a level end with ever less room": (np.minimum(N / 100, 400), np.linspace(30, 10, 65_536)),
    "much room at its start": (N / 50, np.geomspace(6000, 10, 65_536)),
    "one bend": (20_000 * np.arctan((N - 30_000) / 8000), 20),
    "many bends": (2 * N + 8000 * np.sin(N / 5000), 30),
    "square root": (300 * np.sqrt(N), 10),
    "square root past a held end": (-300 * np.sqrt(np.maximum(N - 5000, 0)), 10),
    "exponential": (90_000 * np.exp(-N / 5000), 10),
    "lamp": (65_535 * lightness(N / 65_535), np.maximum(10, 65_535 * np.gradient(lightness(N / 65_535), 100 / 65_535) / 20)),
    "ten units, finely": (points((0, 0), (21_000, 40), (46_000, 95), (65_535, 150)), 1.25),
    "one unit, square": ((N / 200) ** 2, 1),
    "one unit, square root": (300 * np.sqrt(N), 1),
    "two units, many bends": (2 * N + 8000 * np.sin(N / 5000), 2),
}  # fmt: skip


def near(bound: int) -> float:
    """The breakpoints that fit may need where no curve has fewer than so many."""
    return max(bound + 1, 1.15 * bound)


@pytest.mark.parametrize("law, tolerance", NEAR.values(), ids=NEAR)
def test_fit_is_near_the_least(law: Floats, tolerance: Floats | float) -> None:
    bound = least(law, tolerance)
    assert is_proof(law, tolerance, bound)
    curve = fit(0, law, tolerance)
    assert bound.breakpoints <= breakpoints(curve) <= near(bound.breakpoints)
    assert np.all(np.abs(values(curve) - law) <= np.maximum(tolerance, 1))


# where the least is known


def links_of_a_line(slope: float, places: int) -> int:
    """Of a line of so many places that only 31 bits break."""
    longest = max(dx for dx in range(1, places) if dx * (int(slope * dx) + 1) < LIMIT)
    return math.ceil((places - 1) / longest)


def links_of_a_parabola(bend: float, span: float, tolerance: float) -> int:
    """Of y = bend * x**2 / 2: a straight line stays within t of it for 4 * sqrt(t / bend) at most (Chebyshev's best line)."""
    return math.ceil(span / (4 * math.sqrt(tolerance / bend)))


KNOWN = {
    "line in 31 bits": (0.2 * N, 1, 1),
    "line past 31 bits": (17 * N, 1, links_of_a_line(17, 65_536)),
    "falling line": (-100 * N, 1, links_of_a_line(100, 65_536)),
    "parabola": (N**2 / 2 / 2000, 500, links_of_a_parabola(1 / 2000, 65_535, 500)),
    "falling parabola": (-(N**2) / 2 / 500, 500, links_of_a_parabola(1 / 500, 65_535, 500)),
    "corners": (np.interp(N, [0, 20_000, 40_000, 65_535], [0, 0, 9000, 9000]), 1, 3),
}  # fmt: skip


@pytest.mark.parametrize("law, tolerance, links", KNOWN.values(), ids=KNOWN)
def test_least_where_it_is_known(law: Floats, tolerance: float, links: int) -> None:
    assert least(law, tolerance).breakpoints == links + 1
    assert breakpoints(fit(0, law, tolerance)) == links + 1


def search(law: Floats, tolerance: float) -> int:
    """The fewest breakpoints of all curves within the tolerance, by trying every link of every one."""
    allowed = [range(math.ceil(y - tolerance), math.floor(y + tolerance) + 1) for y in law]
    fewest = {(0, y): 1 for y in allowed[0]}
    for end in range(1, len(law)):
        for value in allowed[end]:
            for (x, y), so_far in list(fewest.items()):
                if (
                    x < end
                    and so_far + 1 < fewest.get((end, value), len(law) + 1)
                    and (value - y) * (law[-1] - law[0]) >= 0
                ):
                    curve = make_curve(array("i", (x, end)), array("i", (y, value)))
                    if all(lookup(curve, n) in allowed[n] for n in range(x, end + 1)):
                        fewest[end, value] = so_far + 1
    return min(count for (x, _), count in fewest.items() if x == len(law) - 1)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    rises=st.lists(st.integers(0, 40), min_size=2, max_size=12),
    eighths=st.integers(8, 20),
    start=st.integers(-8, 8),
    sign=st.sampled_from((1, -1)),
)
def test_neither_is_below_the_fewest_there_are(rises: list[int], eighths: int, start: int, sign: int) -> None:
    law, tolerance = sign * (start + np.cumsum(rises)) / 8, eighths / 8
    fewest = search(law, tolerance)
    bound = least(law, tolerance)
    assert is_proof(law, tolerance, bound)
    assert bound.breakpoints <= fewest <= breakpoints(fit(0, law, tolerance)) <= fewest + 1


# any shape


@st.composite
def laws(draw: st.DrawFn) -> Floats:
    """A law whose slope goes from one drawn value to the next, gently or by jumps: convex, concave, or as it comes."""
    slopes = draw(st.lists(st.just(0.0) | st.floats(0, 40), min_size=1, max_size=8))
    slopes = draw(st.sampled_from((sorted(slopes), sorted(slopes, reverse=True), slopes)))
    lengths = draw(st.lists(st.floats(1, 4000), min_size=len(slopes), max_size=len(slopes)))
    ends = np.cumsum(lengths)
    n = np.arange(math.ceil(ends[-1]) + 1.0)
    law: Floats
    if draw(st.booleans()):
        law = np.interp(n, [0, *ends], np.cumsum([0.0, *np.multiply(slopes, lengths)]))
    else:
        law = np.cumsum(np.interp(n, ends, slopes))
    sign, start = draw(st.sampled_from((1.0, -1.0))), draw(st.floats(-1e6, 1e6))
    return sign * law + start


@settings(derandomize=True, deadline=None, max_examples=150)
@given(law=laws(), tolerances=st.lists(st.floats(10, 1000), min_size=1, max_size=3))
def test_fit_is_near_the_least_for_any_shape(law: Floats, tolerances: list[float]) -> None:
    tolerance = np.interp(np.linspace(0, 1, len(law)), np.linspace(0, 1, len(tolerances)), tolerances)
    bound = least(law, tolerance)
    assert is_proof(law, tolerance, bound)
    assert bound.breakpoints <= breakpoints(fit(0, law, tolerance)) <= near(bound.breakpoints)


# what is no proof

SQUARE = (np.arange(3000.0) / 30) ** 2
TRUE = least(SQUARE, 10)
FIRST, SECOND, *_ = TRUE.certificates


def with_first(**changes: object) -> Least:
    return replace(TRUE, certificates=(replace(FIRST, **changes), *TRUE.certificates[1:]))  # type: ignore[arg-type]


def test_a_true_proof() -> None:
    assert len(TRUE.certificates) > 2 and is_proof(SQUARE, 10, TRUE)


FORGED = {
    "one breakpoint more": replace(TRUE, breakpoints=TRUE.breakpoints + 1),
    "a certificate dropped": Least(TRUE.breakpoints - 1, TRUE.certificates[1:]),
    "a certificate twice": Least(TRUE.breakpoints + 1, (FIRST, *TRUE.certificates)),
    "one link too short": with_first(beyond=FIRST.beyond - 1),
    "a link too long": with_first(beyond=FIRST.beyond + 1),
    "gates of another": with_first(gates=SECOND.gates),
    "gates that a line passes": with_first(gates=(0, 1, FIRST.beyond)),
    "a gate twice": with_first(gates=(0, FIRST.beyond, FIRST.beyond)),
    "two gates that are not steep": with_first(gates=(0, FIRST.beyond)),
    "past the end": Least(3, (Certificate(0, 3000, FIRST.gates),)),
    "no way on": Least(3, (Certificate(0, 1, (0, 1)),)),
}


@pytest.mark.parametrize("forged", FORGED.values(), ids=FORGED)
def test_what_is_no_proof(forged: Least) -> None:
    assert not is_proof(SQUARE, 10, forged)


def test_a_proof_is_of_its_own_law_and_tolerance() -> None:
    assert not is_proof(SQUARE, 10.5, TRUE)
    assert not is_proof(0.9 * SQUARE, 10, TRUE)


def test_no_curve_at_all() -> None:
    with pytest.raises(NoCurve, match="no straight line follows the law near 49"):
        least(np.where(np.arange(100) < 50, 0.0, 2.0**30 + 4), 1)
