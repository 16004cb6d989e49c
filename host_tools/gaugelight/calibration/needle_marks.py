"""A needle's points: where it must be driven to stand on the marks of its dial, from below and from above.

Bearings stick: a needle that rises stops short of its place, one that falls stops above it. The point is the middle of the two, and half
of what lies between them is how far friction holds it off, until the meter is tapped. Plus or minus at 95 %, of the worse of the two ways:

    half the stick + sqrt(2) t s / sqrt(n)

s is pooled from the repeats of all marks (JCGM 100, 4.2 and H.3's kind of pooling; from memory), n how often a mark was set, t Student's at
95 % for the degrees of freedom of s; sqrt(2), for the middle and the half stick each have the error of the mean, and these are
independent, one being a sum and the other a difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from gaugelight.calibration.distributions import student_95

APART = 0.5  # per cent of the time, between neighbouring points at least
LEAST_SETTINGS = 2  # each way
NUDGE = 0.1  # per cent of the time, the least that it is moved by


@dataclass
class Mark:
    """A reading of the dial, and where the needle stood on it: per cent of the time, set from below and from above."""

    reading: Fraction
    below: list[float] = field(default_factory=list)
    above: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Point:
    """reading, and place in per cent of the time. stick: how far apart the two ways, plus_minus: at 95 %, both in per cent of the time
    and in the reading's unit; tapped: plus or minus once the meter has been tapped."""

    reading: Fraction
    place: float
    stick: float
    stick_reading: float
    plus_minus: float
    plus_minus_reading: float
    tapped_reading: float


def five(first: Fraction, last: Fraction) -> tuple[Fraction, ...]:
    """Marks evenly between two, these included."""
    return tuple(first + (last - first) * k / 4 for k in range(5))


def between(points: Sequence[tuple[Fraction, Fraction]], reading: Fraction) -> float:
    """Per cent of the time at a reading, straight between points and on beyond them."""
    (x0, y0), (x1, y1) = points[0], points[1]
    for left, right in zip(points, points[1:]):
        if right[0] <= left[0]:
            continue
        (x0, y0), (x1, y1) = left, right
        if reading <= x1:
            break
    return float(y0 + (y1 - y0) * (reading - x0) / (x1 - x0))


def fit_marks(marks: Sequence[Mark], park: float) -> tuple[Point, ...]:
    """Raises ValueError in plain words."""
    settings = sum(len(mark.below) + len(mark.above) for mark in marks)
    freedom = settings - 2 * len(marks)
    if min(min(len(mark.below), len(mark.above)) for mark in marks) < LEAST_SETTINGS:
        raise ValueError(f"set each mark {LEAST_SETTINGS} times from below and from above at least")
    squares = sum(_squares(way) for mark in marks for way in (mark.below, mark.above))
    spread = math.sqrt(squares / freedom + NUDGE**2 / 12)  # evenly within a nudge (JCGM 100, 4.3.7)
    t = student_95(freedom)
    middles, sticks, means = [], [], []
    for mark in marks:
        below, above = (sum(way) / len(way) for way in (mark.below, mark.above))
        middles.append((below + above) / 2)
        sticks.append(max(0.0, below - above))
        of_mean = spread / 2 * math.sqrt(1 / len(mark.below) + 1 / len(mark.above))
        means.append(t * of_mean)
        if above - below > 4 * t * of_mean:
            raise ValueError(
                f"{float(mark.reading):g} took more from above than from below: a needle that sticks does the opposite; was it still"
                " moving, or did it turn back on the way?"
            )
    _in_order(marks, middles, park)
    points = []
    for i, mark in enumerate(marks):
        slopes = [
            abs(float(marks[j + 1].reading - marks[j].reading) / (middles[j + 1] - middles[j]))
            for j in (i - 1, i)
            if 0 <= j < len(marks) - 1
        ]
        slope = max(slopes)
        bound = sticks[i] / 2 + math.sqrt(2) * means[i]
        ours = sticks[i], sticks[i] * slope, bound, bound * slope, means[i] * slope
        points.append(Point(mark.reading, middles[i], *ours))
    return tuple(points)


def _in_order(marks: Sequence[Mark], middles: Sequence[float], park: float) -> None:
    """Raises ValueError where the places do not run one way, or leave no room for parking."""
    rising = middles[-1] > middles[0]
    for (mark, place), (after, next_place) in zip(zip(marks, middles), list(zip(marks, middles))[1:]):
        if ((next_place - place) if rising else (place - next_place)) < APART:
            raise ValueError(
                f"{float(after.reading):g} stands at {next_place:.2f} % of the time and {float(mark.reading):g} at {place:.2f} %:"
                f" a needle goes one way only, by {APART:g} % from mark to mark at least; set both again"
            )
    if min(middles) < park + APART:
        raise ValueError(
            f"its lowest mark stands at {min(middles):.2f} % of the time, and it parks at {park:g} %: parked it must lie clearly below;"
            " turn the meter's own zero screw down, or lower park"
        )


def _squares(values: Sequence[float]) -> float:
    mean = sum(values) / len(values)
    return sum((value - mean) ** 2 for value in values)
