"""The curve of a tank, from pours: reading over signal, few breakpoints, plus or minus at 95 %.

What was poured in is known but for two errors: that of the can, which all pours share and which therefore is carried whole
through the curve, and that of each pour, which all points after it share. The curve is fitted by `smooth` to both at once
(JCGM 100, 5.2: correlated input quantities), then made to rise by isotonic regression, which takes it no farther from the truth.

Where the float lies on the bottom or the top the signal stands while fuel goes in. There the face shows the least that may be
there: nothing at the bottom, and at the top the quantity at which the float got there. Where between two pours it got there is
only known to that interval: rectangular (JCGM 100, 4.3.7), together with where the rest of the curve points to. The outermost point alone
does not tell whether the float moved already: the curve is the mean over both ways of reading it, each with its weight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gaugelight.calibration import smooth
from gaugelight.calibration.distributions import NORMAL_95, chi2_tail
from gaugelight.calibration.fitted import (
    PLACES,
    Fit,
    Scale,
    breakpoints,
    hysteresis,
    refuse_turning,
    scattered,
    stated,
    unit,
    ways,
)
from gaugelight.circuits import Floats

CHANCE = 0.001  # less likely than that, a difference is no noise
STANDS = 0.5  # of the pace beside it: what moves slower, beyond doubt, stands
DOUBT = 3.3  # standard deviations: one in two thousand
STRANGE = 3.0  # standard deviations from what all others say
SLIP_U = 0.3  # of the span, or of the range: what was mistaken says nothing
SLIPS = 0.05  # chance of there being one, before any point is known
FEWEST = 4
CLEAR = 6.0  # noises from the empty tank's signal, itself a noisy one: from there on it is not taken for an empty one any more


@dataclass(frozen=True)
class Observed:
    """One point of a session; uncertainties are standard ones."""

    added: float  # since the point before; negative: drained. The first: what is there
    added_u: float  # of this pour alone; of the first: of the zero
    signal: float
    signal_u: float


@dataclass(frozen=True)
class TankFit(Fit):
    bottom: tuple[float, float] | None  # quantities between which the float lies on the bottom
    top: tuple[float, float] | None  # ... at the top
    contradicts: str | None = (
        None  # the point or the pour that nothing else goes with, in words; without it the curve was made
    )


def fit_tank(points: Sequence[Observed], common: float, step: float, lift: float = 0.0) -> TankFit:
    """common: relative standard uncertainty that all pours share; step: what the face shows, for rounding; lift: the least difference of
    signals over which the curve leaves the bottom and the top.

    ValueError says in plain words what the points lack.
    """
    poured = _in_order(points, common)
    below, above = _standing(poured), _standing(poured.turned())
    x = _places(poured, below, above, lift / abs(poured.scale.span))
    curve, slip = _curve(poured, below, above, x)
    mean, u = smooth.risen(curve)
    least = smooth.LEAST_SLOPE / len(x) * np.arange(len(x))
    readings = poured.lowest + poured.range * np.maximum(mean, least)  # no less than there ever was
    plus_minus, tolerance = stated(NORMAL_95 * poured.range * u, step)

    # At its outermost signals the float may lie: there the face shows the least that may be in the tank.
    lifts, stops = float(readings[0]), float(readings[-1])
    first = int(lifts - poured.lowest > max(tolerance[0], 2 * unit(step)))
    # so it may where one point alone lies there: more was poured in than the face will say
    more = above > 0 or poured.most - stops > plus_minus[-1]
    last = len(x) - int(more and stops - readings[-2] > 2 * unit(step))
    chosen = [
        first + k
        for k in smooth.fewest(
            x[first:last], readings[first:last], plus_minus[first:last], tolerance[first:last], unit(step)
        )
    ]
    chosen = [*range(first), *chosen, *range(last, len(x))]
    plus_minus[0] += lifts - poured.lowest
    readings[0] = poured.lowest
    if more:
        plus_minus[-1] = max(plus_minus[-1], poured.most - stops + unit(step))
    fit = TankFit(
        *breakpoints(poured.scale, x[chosen], readings[chosen], plus_minus[chosen], step),
        residuals=(),
        hysteresis=None,
        lack="; ".join([*slip, *scattered(curve)]) or None,
        bottom=(poured.lowest, lifts) if below else None,
        top=(stops, poured.most) if above else None,
        contradicts=slip[0] if slip else None,
    )
    residuals = _residuals(fit, points)
    way = ways([one.added for one in points])
    return replace(
        fit, residuals=residuals, hysteresis=hysteresis(way, [one.signal for one in points], residuals)
    )


@dataclass(frozen=True)
class _Poured:
    """The points in order of their quantity. Signals x rise from 0 to 1, quantities y too."""

    x: Floats
    x_u: Floats
    y: Floats
    shared: Floats  # what the can's error adds to y, one standard uncertainty
    own: Floats  # covariance of y: a pour's own error is shared by all points after it
    way: Floats
    order: NDArray[np.int_]
    scale: Scale
    lowest: float
    most: float

    @property
    def range(self) -> float:
        return self.most - self.lowest

    def turned(self) -> _Poured:
        """Bottom and top changed, for what is reckoned at both ends alike."""
        back = slice(None, None, -1)
        return replace(
            self, x=1 - self.x[back], x_u=self.x_u[back], y=1 - self.y[back], own=self.own[back, back]
        )

    def apart(self, i: int, j: int) -> float:
        """Standard uncertainty of the quantity between two points, of their pours' own errors."""
        return math.sqrt(max(0.0, self.own[i, i] + self.own[j, j] - 2 * self.own[i, j]))


def _in_order(points: Sequence[Observed], common: float) -> _Poured:
    if len(points) < FEWEST:
        raise ValueError(
            f"{len(points)} points; a tank needs {FEWEST} at least: empty, full, and between them"
        )
    table = np.array([(p.added, p.signal, p.added_u, p.signal_u) for p in points], dtype=float).T
    added, signal, added_u, signal_u = table
    if not (np.isfinite(table).all() and min(added_u.min(), signal_u.min(), common) >= 0):
        raise ValueError("a quantity, a signal or an uncertainty is no number, or an uncertainty is below 0")
    there = np.round(np.cumsum(added), 9)  # what was drained again leaves nothing
    range_ = float(np.ptp(there))
    if range_ <= 0:
        raise ValueError("no fuel was added or drained between the points")
    scale = Scale.of(signal, signal_u, there)
    order = np.argsort(there, kind="stable")
    since = np.tril(np.ones((len(points), len(points))))[order]
    poured = _Poured(
        scale.x(signal)[order],
        signal_u[order] / abs(scale.span),
        (there[order] - there.min()) / range_,
        common * there[order] / range_,
        since @ np.diag((added_u / range_) ** 2) @ since.T,
        ways(added.tolist())[order],
        order,
        scale,
        float(there.min()),
        float(there.max()),
    )
    refuse_turning(poured.x, np.sqrt(poured.x_u**2 + np.diagonal(poured.own)), there[order].tolist())
    return poured


def _standing(poured: _Poured) -> int:
    """How many points lie at the low end where the signal stands while fuel is added; 0: none seen.

    Their signals do not differ beyond noise, and their pace is, beyond doubt, less than half of the pace beside them.
    """
    x, y, u = poured.x, poured.y, np.maximum(poured.x_u, smooth.FLOOR)
    found = 0
    for count in range(2, len(x) - 1):
        some, weights = slice(0, count), u[:count] ** -2.0
        middle_x, middle_y = np.average(x[some], weights=weights), np.average(y[some], weights=weights)
        if chi2_tail(float(weights @ (x[some] - middle_x) ** 2), count - 1) < CHANCE:
            break
        poured_in = y[count - 1] - y[0]
        if poured_in <= 3 * poured.apart(0, count - 1) + smooth.FLOOR:
            continue
        squares = float(weights @ (y[some] - middle_y) ** 2)
        pace, pace_u = float(weights @ ((y[some] - middle_y) * x[some])) / squares, squares**-0.5
        far = min(int(np.searchsorted(y, y[count] + poured_in)), len(x) - 1)
        gap = max(y[far] - y[count], smooth.FLOOR)
        beside, beside_u = (x[far] - x[count]) / gap, math.hypot(u[far], u[count]) / gap
        if pace + DOUBT * math.hypot(pace_u, STANDS * beside_u) < STANDS * beside:
            found = count
    return found


def _places(poured: _Poured, below: int, above: int, lift: float) -> Floats:
    """Where the curve is reckoned: at the float's ends, and from a little within, where noise can no more take it there."""
    ends = float(np.mean(poured.x[:below])) if below else 0.0, (
        float(np.mean(poured.x[-above:])) if above else 1.0
    )
    swims = poured.x[below : len(poured.x) - above]
    within = swims[(swims > ends[0]) & (swims < ends[1])]
    low, high = (
        min(max(noises * float(u), 2 * poured.scale.unit, lift), abs(near - end) / 2)
        for noises, end, u, near in zip((CLEAR, 2), ends, poured.x_u[[0, -1]], (within.min(), within.max()))
    )
    return poured.scale.places(
        np.array([ends[0], *np.linspace(ends[0] + low, ends[1] - high, PLACES), ends[1]])
    )


def _curve(poured: _Poured, below: int, above: int, places: Floats) -> tuple[smooth.Smooth, list[str]]:
    """The curve over all ways of reading the outermost points; and the slip without which nothing fits, if there is one."""
    ends = []
    for seen, one in ((below, poured), (above, poured.turned())):
        level = sum(one.y[k] <= 3 * one.apart(0, k) + smooth.FLOOR for k in range(len(one.y)))
        ends.append([seen] if seen else [0, level])
    ways_of_ends = [(low, high) for low in ends[0] for high in ends[1] if low + high <= len(poured.x) - 2]
    curve = smooth.fit([_read(poured, *both) for both in ways_of_ends], places)
    if np.abs(curve.strange).max() < STRANGE and not scattered(curve):
        return curve, []
    slips = _slips(poured, below, above)
    chance = SLIPS / len(slips)
    doubted = [([said], one, chance) for said, one in slips] + [([], poured, 1 - SLIPS)]
    ways_ = [replace(_read(one, *both), prior=prior) for _, one, prior in doubted for both in ways_of_ends]
    curve = smooth.fit(ways_, places)
    weights = curve.weights.reshape(len(doubted), -1).sum(1)
    return curve, doubted[int(weights.argmax())][0]


def _slips(poured: _Poured, below: int, above: int) -> list[tuple[str, _Poured]]:
    """In words, and the points if it is so: of a point where the float swims the signal says nothing, or a pour is not known."""
    slips = []
    for k in range(below, len(poured.x) - above):
        doubtful = poured.x_u.copy()
        doubtful[k] = SLIP_U
        slips.append(
            (
                f"point {poured.order[k] + 1} fits with no other and was left out: repeat it, or look for a slip",
                replace(poured, x_u=doubtful),
            )
        )
    for point in range(1, len(poured.x)):
        after = poured.order >= point
        slips.append(
            (
                f"what was poured in before point {point + 1} does not fit with all else, and was left open: "
                "a can forgotten, or counted twice?",
                replace(poured, own=poured.own + SLIP_U**2 * np.outer(after, after)),
            )
        )
    return slips


def _read(poured: _Poured, below: int, above: int) -> smooth.Points:
    """The points if so many lie at the bottom and at the top: these say that the float got there within the next pour."""
    count = len(poured.x)
    as_read, interval = np.eye(count), np.zeros((count, count))
    for zone, edge, beyond in (
        (slice(0, below), below - 1, below),
        (slice(count - above, count), count - above, count - above - 1),
    ):
        if zone.start < zone.stop:
            as_read[zone] = 0.0
            as_read[zone, [edge, beyond]] = 0.5
            interval[zone, zone] = (poured.y[beyond] - poured.y[edge]) ** 2 / 12
    shared = as_read @ poured.shared
    return smooth.Points(
        poured.x,
        as_read @ poured.y,
        np.outer(shared, shared) + interval + as_read @ poured.own @ as_read.T,
        poured.x_u,
        poured.way,
    )


def _residuals(fit: TankFit, points: Sequence[Observed]) -> tuple[float, ...]:
    """What was poured in less what the face shows. Where the float lies, any quantity of the zone agrees with it."""
    residuals, there = [], 0.0
    for one in points:
        there += one.added
        lies = any(zone and zone[0] <= there <= zone[1] for zone in (fit.bottom, fit.top))
        residuals.append(0.0 if lies else there - fit.band(one.signal)[0])
    return tuple(residuals)
