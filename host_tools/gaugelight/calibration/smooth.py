"""The likeliest smooth curve through points whose errors belong together, and how well it is known between them.

The curve is a parabola (a box to a wedge) and an integrated Wiener process on top: it may bend anywhere, as much as the points ask
for. That is a smoothing spline, and its spread holds the truth as often as it says *on average along the curve*, the places
between the points included (Wahba, J. R. Statist. Soc. B 45, 1983; Nychka, J. Am. Statist. Assoc. 83, 1988). How much the curve
bends, whether the points scatter by more than was stated, and which of several ways of reading the points is right, is not known
beforehand: each of a coarse grid of answers has the weight that the points give it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gaugelight.circuits import Floats

# All in shares of the whole range of signal and quantity. From next to straight to next to absurd, no scale preferred; but with large
# bends a curve seldom rises throughout: the chance that a Wiener process from 1 stays above 0 (reflection principle).
BENDS = np.geomspace(0.1, 10.0, 5)
BENDS_PRIOR = np.array([math.erf(1 / (math.sqrt(2) * bend)) for bend in BENDS])
SCATTERS = np.array([1.0, 3.0, 10.0])  # times what was stated
SCATTERS_PRIOR = np.array([0.9, 0.07, 0.03])
PARABOLA_U = 1.0  # of each of its three terms, before any point is known: next to nothing
LAG_U = 0.03  # of the signal behind the quantity, one way; before any point is known
ROUNDED = 3e-4  # standard uncertainty of a signal of three or four figures (JCGM 100, F.2.2.1)
FLOOR = 1e-5  # to this everything is exact
HUGE = 1e18  # beyond any sum of squares
LEAST_SLOPE = 0.02  # of the mean one
NEGLIGIBLE = 0.002  # of the largest weight
U_TOLERANCE = 0.1  # of an uncertainty: fifty observations tell one no better (JCGM 100, table E.1)


@dataclass(frozen=True)
class Points:
    """One way of reading the points. Signals from 0 to 1, quantities too."""

    x: Floats
    y: Floats
    covariance: Floats  # of y
    x_u: Floats  # this is what may be larger than stated
    way: Floats  # +1: the signal was reached going up, -1: going down, 0: not known
    prior: float = 1.0


@dataclass(frozen=True)
class Smooth:
    grid: Floats
    mean: Floats
    u: Floats
    weights: Floats  # of the ways of reading the points
    scatter: float  # times what was stated
    lag: float  # of the signal: half of what lies between up and down
    strange: Floats  # each point of the likeliest way, against what all others say, in standard deviations
    moved: Floats  # by how much its signal was wrong, likeliest


def fit(ways: Sequence[Points], grid: Floats) -> Smooth:
    """The curve at `grid`, rising from 0 to 1; all ways have equally many points."""
    careful = ways[-1]
    slopes, moved = np.ones_like(grid), np.zeros_like(careful.x)
    for _ in range(2):
        found = _posterior([_at_true_signals(careful, moved, grid, slopes)], grid, slopes)
        slopes, moved = np.maximum(np.gradient(found.mean, grid), LEAST_SLOPE), found.moved
    return _posterior([_at_true_signals(one, moved, grid, slopes) for one in ways], grid, slopes)


def _at_true_signals(one: Points, moved: Floats, grid: Floats, slopes: Floats) -> Points:
    """The same, said of the likeliest true signals: a straight line through wrong signals comes out too flat.

    An error of the signal counts by the slope there; neither is known at first, so this is repeated (Gauss and Newton).
    """
    true = np.clip(one.x - moved, 0, 1)
    return replace(one, x=true, y=one.y + np.interp(true, grid, slopes) * (true - one.x))


def _posterior(ways: Sequence[Points], grid: Floats, slopes: Floats) -> Smooth:
    count = len(ways[0].x)
    both = all({-1.0, 1.0} <= set(one.way.tolist()) for one in ways)
    lags = [np.interp(one.x, grid, slopes) * one.way * both for one in ways]
    stacks, noises = [], []
    for one, lag in zip(ways, lags):
        slope = np.interp(one.x, grid, slopes)
        parabola, bend = _kernels(one.x, one.x)
        sure = parabola + one.covariance + LAG_U**2 * np.outer(lag, lag)
        noises.append((slope * np.maximum(one.x_u, ROUNDED)) ** 2)
        noise = SCATTERS[:, None, None] ** 2 * np.diag(noises[-1])
        # bends, scatters, points, points
        stacks.append(sure + BENDS[:, None, None, None] ** 2 * bend + noise)
    # the points' distances from the straight line, as one more row of the covariances: their root then has them whitened
    off = np.stack([one.y - one.x for one in ways])
    bordered = np.empty((len(ways), len(BENDS), len(SCATTERS), count + 1, count + 1))
    covariances = bordered[..., :-1, :-1]
    covariances[:] = stacks
    bordered[..., -1, :-1] = off[:, None, None]
    bordered[..., -1, -1] = HUGE
    whole = np.linalg.cholesky(bordered)
    roots, whitened = whole[..., :-1, :-1], whole[..., -1, :-1]
    likely = -0.5 * (whitened**2).sum(-1) - np.log(np.diagonal(roots, axis1=-2, axis2=-1)).sum(-1)
    priors = np.array([one.prior for one in ways])
    likely += np.log(priors[:, None, None] * BENDS_PRIOR[:, None] * SCATTERS_PRIOR)
    weights = np.exp(likely - likely.max())
    scatter = int(weights.sum((0, 1)).argmax())
    weights[:, :, np.arange(len(SCATTERS)) != scatter] = 0.0
    weights[weights < NEGLIGIBLE] = 0.0
    weights /= weights.sum()

    which, bends, scatters = np.nonzero(weights)
    share = weights[which, bends, scatters]
    kernels = [_kernels(one.x, grid) for one in ways]
    cross = np.stack([kernels[w][0] + BENDS[b] ** 2 * kernels[w][1] for w, b in zip(which, bends)])
    seen = np.linalg.solve(roots[which, bends, scatters], cross)
    means = grid + np.einsum("kpg,kp->kg", seen, whitened[which, bends, scatters])
    before = PARABOLA_U**2 * (1 + grid**2 + grid**4) + BENDS[bends, None] ** 2 * grid**3 / 3
    mean = share @ means
    variance = share @ (before - (seen**2).sum(1) + (means - mean) ** 2)

    first, b, s = (int(index) for index in np.unravel_index(int(weights.argmax()), weights.shape))
    inverse = np.linalg.inv(covariances[first, b, s])
    pulled = inverse @ off[first]
    return Smooth(
        grid,
        mean,
        np.sqrt(np.maximum(variance, FLOOR**2)),
        weights.sum((1, 2)),
        float(SCATTERS[scatter]),
        float(LAG_U**2 * lags[first] @ pulled),
        pulled / np.sqrt(np.diagonal(inverse)),
        -pulled * SCATTERS[s] ** 2 * noises[first] / np.interp(ways[first].x, grid, slopes),
    )


def _kernels(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Covariances of the parabola, and of an integrated Wiener process from 0 on."""
    low, high = np.minimum(a[:, None], b), np.maximum(a[:, None], b)
    product = a[:, None] * b
    return PARABOLA_U**2 * (1 + product + product**2), low**2 * (3 * high - low) / 6


def rising(y: Floats, weights: Floats | None = None, least: float = 0.0) -> Floats:
    """The nearest sequence (weighted squares) that rises by `least` at each place: pools whatever falls.

    Isotonic regression; it is never farther from any rising truth than `y` was, in whichever norm (Robertson, Wright and
    Dykstra, Order Restricted Statistical Inference, 1988, theorem 1.6.1, from memory).
    """
    weights = np.ones_like(y) if weights is None else weights
    ramp = least * np.arange(len(y))
    pools: list[tuple[float, float, int]] = []  # mean, weight, length
    for value, weight in zip((y - ramp).tolist(), weights.tolist()):
        length = 1
        while pools and pools[-1][0] >= value:
            before, other, more = pools.pop()
            value = (value * weight + before * other) / (weight + other)
            weight, length = weight + other, length + more
        pools.append((value, weight, length))
    means: Floats = np.repeat([one[0] for one in pools], [one[2] for one in pools])
    return means + ramp


def risen(curve: Smooth) -> tuple[Floats, Floats]:
    """Mean and standard uncertainty of a curve that rises throughout, the lag of the signal taken in: rectangular."""
    mean = rising(curve.mean, curve.u**-2.0, LEAST_SLOPE / len(curve.grid))
    return mean, np.hypot(curve.u, np.gradient(mean, curve.grid) * curve.lag / math.sqrt(3))


def fewest(xs: Floats, ys: Floats, us: Floats, tolerance: Floats, unit: float) -> list[int]:
    """Which of the places (xs, ys) are breakpoints: as few as keep the lines between them within `tolerance` of ys, and the
    lines between their us within a tenth of us, if they can. Neighbours rise by two units at least, so that they differ
    when rounded. Of equally few, the most evenly spread.
    """
    last = len(xs) - 1
    gaps = xs[None, :] - xs[:, None]
    rises = np.triu(ys[None, :] - ys[:, None] >= 2 * unit, 1)
    linked = rises & _chords(xs, ys, tolerance) & _chords(xs, us, U_TOLERANCE * us)
    costs = np.where(linked, 1 + (gaps / (xs[-1] - xs[0])) ** 2 / 1000, np.inf)
    # what nothing follows well enough: to the next place that is high enough, and if that is too near to the end, to the end
    costs[~linked & rises & (np.cumsum(rises, axis=1) == 1)] = 1e3
    far = ~linked[:, last]
    costs[far, last] = np.where(rises[far, last], 1e6 * np.arange(last + 1, 0, -1)[far], np.inf)
    costs[0, last] = min(costs[0, last], 1e9)
    cheapest, before = np.full(last + 1, np.inf), np.zeros(last + 1, dtype=int)
    cheapest[0] = 0.0
    for end in range(1, last + 1):
        through = cheapest[:end] + costs[:end, end]
        before[end] = through.argmin()
        cheapest[end] = through[before[end]]
    path = [last]
    while path[-1]:
        path.append(int(before[path[-1]]))
    return path[::-1]


def _chords(xs: Floats, ys: Floats, tolerance: Floats) -> NDArray[np.bool_]:
    """[i, j]: whether the line from place i to place j > i passes all places between within their tolerance."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gaps = xs[None, :] - xs[:, None]
        slopes = (ys[None, :] - ys[:, None]) / gaps
        room = tolerance / gaps
    later = gaps > 0
    least = np.maximum.accumulate(np.where(later, slopes - room, -np.inf), axis=1)
    most = np.minimum.accumulate(np.where(later, slopes + room, np.inf), axis=1)
    return later & (slopes >= least) & (slopes <= most)
