"""Student's t, F and chi squared, for what a calibration must judge by."""

from __future__ import annotations

import math
from functools import cache

NORMAL_95 = 1.959964  # of the standard normal distribution: within that lie 95 %
MANY = 500  # degrees of freedom: t is within 0.005 of what it tends to
TERMS = 100  # of the continued fraction: enough for hundreds of degrees of freedom


def student_95(degrees: float) -> float:
    """The factor t that holds 95 % (JCGM 100, table G.2); broken degrees of freedom are cut off (G.4.1), many are infinite."""
    return _student_95(math.floor(degrees)) if degrees < MANY else NORMAL_95


@cache
def _student_95(degrees: int) -> float:
    low, high = 1.0, 20.0
    for _ in range(60):
        t = (low + high) / 2
        outside = incomplete_beta(degrees / 2, 0.5, degrees / (degrees + t * t))
        low, high = (t, high) if outside > 0.05 else (low, t)
    return (low + high) / 2


def f_tail(f: float, above: float, below: float) -> float:
    """The chance of a ratio of variances of f or more, with so many degrees of freedom above and below the line."""
    if f <= 0:
        return 1.0
    return incomplete_beta(below / 2, above / 2, below / (below + above * f))


def chi2_tail(chi2: float, degrees: int) -> float:
    """The chance of a sum of squares of chi2 or more: the finite sums of Abramowitz and Stegun, 26.4.4 and 26.4.5."""
    half, odd = chi2 / 2, degrees % 2
    tail = math.erfc(math.sqrt(half)) if odd else 0.0
    term = math.exp(-half) * (math.sqrt(half) / math.gamma(1.5) if odd else 1.0)
    for k in range(1, degrees // 2 + 1):
        tail += term
        term *= half / (k + odd / 2)
    return tail


def incomplete_beta(a: float, b: float, x: float) -> float:
    """The regularized one, by its continued fraction (Abramowitz and Stegun, 26.5.8), from the back."""
    if not 0 < x < 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1 - incomplete_beta(b, a, 1 - x)
    value = 1.0
    for m in range(TERMS, -1, -1):
        value = 1 - (a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)) / value
        if m:
            value = 1 + m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)) / value
    front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    return math.exp(front) / a / value
