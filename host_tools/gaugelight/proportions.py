"""How well a chance is known from so many trials: exact, from the binomial distribution itself."""

import math
from collections.abc import Callable


def tail(n: int, k: int, p: float) -> float:
    """The chance of k or more out of n, each with chance p: the binomial tail, summed exactly."""
    if k <= 0 or p >= 1:
        return 1.0
    if p <= 0:
        return 0.0
    logs = [
        math.lgamma(n + 1)
        - math.lgamma(i + 1)
        - math.lgamma(n - i + 1)
        + i * math.log(p)
        + (n - i) * math.log1p(-p)
        for i in range(k, n + 1)
    ]
    most = max(logs)
    return min(1.0, math.exp(most) * math.fsum(math.exp(one - most) for one in logs))


def clopper_pearson(k: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """The limits of the chance of which k out of n came (Clopper and Pearson, Biometrika 26, 1934), two-sided."""
    half = (1 - confidence) / 2

    def where(enough: Callable[[float], bool]) -> float:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (low, middle) if enough(middle) else (middle, high)
        return (low + high) / 2

    lower = 0.0 if k == 0 else where(lambda p: tail(n, k, p) >= half)
    upper = 1.0 if k == n else where(lambda p: 1 - tail(n, k + 1, p) <= half)
    return lower, upper
