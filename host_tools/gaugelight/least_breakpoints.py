"""How few breakpoints a curve can have: a bound with a proof, to hold `gaugelight.curves.fit` against.

A curve says, at each integer, the value of a straight line rounded to nearest. To say no less than L and no more than H there
the line must pass the gate L - 1/2 <= y < H + 1/2, and each link of the curve all gates from its first breakpoint to its
last. What stops a line stops every longer one. So when no line passes all gates from 0 to n, the second breakpoint lies
before n, however the first link goes; when none passes those from n - 1 to m, the third lies before m; and so on.

That no line passes some gates takes three of them to show (Helly's theorem): what passes the outer two misses the middle one.
Or it takes two, which make a line steeper than a link of that length can be in 31 bits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from gaugebox.curve import LIMIT
from gaugelight.circuits import Floats
from gaugelight.curves import NoCurve, allowed

Point = tuple[int, int]


@dataclass(frozen=True)
class Certificate:
    """No link goes from `first` to `beyond`, indices of the law, or farther: not past the two or three `gates` on its way."""

    first: int
    beyond: int
    gates: tuple[int, ...]


@dataclass(frozen=True)
class Least:
    """No curve has fewer breakpoints: each certificate begins where the next breakpoint lies at the latest."""

    breakpoints: int
    certificates: tuple[Certificate, ...]


def least(law: Floats, tolerance: Floats | float) -> Least:
    """How many breakpoints at least any curve has that follows the law within `tolerance` (or 1) at each integer.

    `law` rises or falls throughout. Raises NoCurve where it cannot be followed at all.
    """
    lowest, highest = allowed(law, tolerance)
    if law[-1] < law[0]:
        lowest, highest = -highest, -lowest
    # in half units, for integers; a falling law is turned over, and which side of a gate is closed makes no difference
    bottoms, tops = (2 * lowest - 1).astype(int).tolist(), (2 * highest + 1).astype(int).tolist()
    certificates: list[Certificate] = []
    first = 0
    while (certificate := _first_stopped(bottoms, tops, first)) is not None:
        if certificate.beyond == first + 1:
            raise NoCurve(f"no straight line follows the law near {first}")
        certificates.append(certificate)
        first = certificate.beyond - 1
    return Least(len(certificates) + 2, tuple(certificates))


def is_proof(law: Floats, tolerance: Floats | float, least: Least) -> bool:
    """Whether the certificates prove the bound; reckoned anew, exactly, from the law itself."""
    sign = 1 if law[-1] >= law[0] else -1
    tolerance = np.broadcast_to(np.maximum(tolerance, 1.0), law.shape)

    def gate(n: int) -> tuple[Fraction, Fraction]:
        at, by = sign * Fraction(float(law[n])), Fraction(float(tolerance[n]))
        return math.ceil(at - by) - Fraction(1, 2), math.floor(at + by) + Fraction(1, 2)

    def proves(one: Certificate) -> bool:
        if len(one.gates) == 2:
            i, j = one.gates
            dx, flattest = one.beyond - one.first, (gate(j)[0] - gate(i)[1]) / (j - i)
            dy = max(math.floor(dx * flattest) + 1, 0)  # an integer, and the line is steeper than that
            return dx * (dy + 1) >= LIMIT
        i, j, k = one.gates
        bottom, top = ((gate(i)[side] * (k - j) + gate(k)[side] * (j - i)) / (k - i) for side in (0, 1))
        return bottom >= gate(j)[1] or top <= gate(j)[0]

    latest = 0
    for one in least.certificates:
        places = (one.first, *one.gates, one.beyond)
        if not (one.first == latest < one.beyond - 1 and one.beyond < len(law)):
            return False
        if list(places) != sorted(places) or len(set(one.gates)) != len(one.gates) or not proves(one):
            return False
        latest = one.beyond - 1
    return least.breakpoints == len(least.certificates) + 2


def _first_stopped(bottoms: list[int], tops: list[int], first: int) -> Certificate | None:
    """Why a link from `first` goes no farther than it does; None when it goes to the end."""
    low, high = bottoms[first], tops[first]
    steepest = _Steepest((first, low), (first, high))
    flattest = _Steepest((first, -high), (first, -low))  # the steepest one turned over
    for n in range(first + 1, len(tops)):
        low, high = bottoms[n], tops[n]
        for line, bottom, top in ((steepest, (n, low), (n, high)), (flattest, (n, -high), (n, -low))):
            if line.is_below(bottom):
                return Certificate(first, n, (line.low[0], line.high[0], n))
            line.add(bottom, top)
        (i, y), (j, next_y) = flattest.low, flattest.high
        dx, rise = n - first, y - next_y  # the line is steeper than rise / (2 * (j - i))
        if rise >= 0 and dx * (dx * rise // (2 * (j - i)) + 2) >= LIMIT:
            return Certificate(first, n, (i, j))
    return None


class _Steepest:
    """The steepest line through the gates so far: it touches the bottom of one, `low`, and the top of a later one, `high`.

    Of the bottoms only the corners of their convex hull matter, and of these only the ones from `low` on.
    """

    def __init__(self, bottom: Point, top: Point) -> None:
        self.corners = [bottom]
        self.low, self.high = bottom, top  # of one gate: the line is upright

    def is_below(self, bottom: Point) -> bool:
        """Whether a gate still farther on begins above it, and so above all lines."""
        return _turn(self.low, self.high, bottom) >= 0

    def add(self, bottom: Point, top: Point) -> None:
        """Takes in a gate still farther on that does not begin above it."""
        corners = self.corners
        if _turn(self.low, self.high, top) < 0:
            while len(corners) > 1 and _turn(corners[0], corners[1], top) <= 0:
                del corners[0]
            self.low, self.high = corners[0], top
        while len(corners) > 1 and _turn(corners[-2], corners[-1], bottom) >= 0:
            corners.pop()
        corners.append(bottom)


def _turn(a: Point, b: Point, c: Point) -> int:
    """Positive where the way from a over b on to c bends up, nought where it goes straight on."""
    return (c[1] - a[1]) * (b[0] - a[0]) - (b[1] - a[1]) * (c[0] - a[0])
