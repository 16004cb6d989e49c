"""The limits of a chance: Clopper and Pearson, Biometrika 26 (1934); the figures are those of the usual tables, from memory."""

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.proportions import clopper_pearson, tail

# none, or all, of n have a closed form
LIMITS = {
    "none of 10": (0, 10, 0.0, 0.30850),
    "none of 3000": (0, 3000, 0.0, 1 - 0.025 ** (1 / 3000)),
    "all of 10": (10, 10, 0.69150, 1.0),
    "all of 3000": (3000, 3000, 0.025 ** (1 / 3000), 1.0),
    "1 of 20": (1, 20, 0.00127, 0.24873),
    "5 of 10": (5, 10, 0.18709, 0.81291),
    "10 of 100": (10, 100, 0.04900, 0.17622),
}


@pytest.mark.parametrize("k, n, low, high", LIMITS.values(), ids=LIMITS)
def test_limits(k: int, n: int, low: float, high: float) -> None:
    assert clopper_pearson(k, n) == pytest.approx((low, high), abs=1e-5)


@settings(derandomize=True, deadline=None)
@given(st.integers(1, 60), st.integers(0, 60), st.fractions(0, 1, max_denominator=50))
def test_the_tail_against_exact_fractions(n: int, k: int, p: Fraction) -> None:
    k = min(k, n)
    exact = sum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(k, n + 1))
    assert tail(n, k, float(p)) == pytest.approx(float(exact), rel=1e-9, abs=1e-12)
