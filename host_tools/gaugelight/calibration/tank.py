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
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from gaugelight.calibration import smooth
from gaugelight.calibration.distributions import NORMAL_95, chi2_tail
from gaugelight.circuits import Floats
from gaugelight.curves import decimals_of

PLACES = 64  # at which the curve is reckoned
TOLERANCE = 0.1  # of the plus or minus: how far the lines between breakpoints may be off the curve
LEAST = 0.05  # of a displayed step: nothing is stated to be known better
NOISE = 0.01  # less likely than that, a difference is no noise
STANDS = 0.5  # of the pace beside it: what moves slower, beyond doubt, stands
DOUBT = 2.0  # standard deviations
TURNED = 0.05  # of the span: signals that go back by more than that, and beyond noise
STRANGE = 3.0  # standard deviations from what all others say
OUTLIER_U = 0.3  # of the span: an outlier's signal says nothing
FEWEST = 4
SCATTERS = 1.5  # times what was stated
OUTLIERS = 0.05  # chance of there being one, before any point is known


@dataclass(frozen=True)
class Observed:
    """One point of a session; uncertainties are standard ones."""

    added: float  # since the point before; negative: drained. The first: what is there
    added_u: float  # of this pour alone; of the first: of the zero
    signal: float
    signal_u: float


@dataclass(frozen=True)
class TankFit:
    """Breakpoints; plus_minus at 95 %, in the unit of the reading, straight between them as the readings are."""

    signals: tuple[float, ...]  # rising
    readings: tuple[float, ...]  # rising, or falling throughout
    plus_minus: tuple[float, ...]
    bottom: tuple[float, float] | None  # quantities between which the float lies on the bottom
    top: tuple[float, float] | None  # ... at the top
    residuals: tuple[
        float, ...
    ]  # what was poured in less what the face shows, a point each, in the order given
    hysteresis: float | None  # largest difference up to down at one signal; None: went one way only
    lack: str | None  # what does not fit, in words

    def band(self, signal: float) -> tuple[float, float]:
        """The reading at a signal and its plus or minus at 95 %; beyond the ends those of the end."""
        return (
            float(np.interp(signal, self.signals, self.readings)),
            float(np.interp(signal, self.signals, self.plus_minus)),
        )


def fit_tank(points: Sequence[Observed], common: float, step: float) -> TankFit:
    """common: relative standard uncertainty that all pours share; step: what the face shows, for rounding.

    ValueError says in plain words what the points lack.
    """
    poured = _in_order(points, common)
    below, above = _standing(poured), _standing(poured.turned())
    places, first, last = _places(poured, below, above)
    curve, outlier = _curve(poured, below, above, places)

    least = smooth.LEAST_SLOPE / len(places)
    mean = smooth.rising(curve.mean, curve.u**-2.0, least)
    mean = np.maximum(mean, least * np.arange(len(places)))  # nowhere less than was found at the least
    u = np.hypot(curve.u, np.gradient(mean, places) * curve.lag / math.sqrt(3))
    readings = poured.lowest + poured.range * mean
    plus_minus = np.maximum(NORMAL_95 * poured.range * u, LEAST * step)
    unit = 10.0 ** -decimals_of(Fraction(step))
    tolerance = np.maximum(TOLERANCE * plus_minus, unit)

    # At its outermost signals the float may lie: there the face shows the least that may be in the tank.
    lies, stops = readings[0], readings[-1]
    steps_up = lies - poured.lowest > tolerance[0]
    first = first if steps_up else 0
    inner = slice(first, last)
    chosen = first + np.array(
        smooth.fewest(places[inner], readings[inner], plus_minus[inner], tolerance[inner], unit)
    )
    if steps_up:
        chosen = np.append(0, chosen)
        plus_minus[0] += lies - poured.lowest
    readings[0] = poured.lowest
    if above:
        chosen = np.append(chosen, len(places) - 1)
        plus_minus[-1] = max(plus_minus[-1], poured.lowest + poured.range - stops)
    if poured.falls:
        chosen = chosen[::-1]
    fit = TankFit(
        tuple(round(float(poured.signal(places[k])), poured.decimals) for k in chosen),
        tuple(round(float(readings[k]), decimals_of(Fraction(step))) for k in chosen),
        tuple(float(plus_minus[k]) for k in chosen),
        (poured.lowest, float(lies)) if below else None,
        (float(stops), poured.lowest + poured.range) if above else None,
        (),
        None,
        None,
    )
    residuals = _residuals(fit, points)
    return replace(
        fit,
        residuals=tuple(residuals),
        hysteresis=_hysteresis(points, residuals),
        lack=_lack(poured, curve, outlier),
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
    least_signal: float
    span: float
    lowest: float
    range: float
    falls: bool

    @property
    def decimals(self) -> int:
        """Of a signal: a thousandth of the span."""
        return -math.floor(math.log10(self.span / 1000))

    def signal(self, x: float) -> float:
        return self.least_signal + self.span * (1 - x if self.falls else x)

    def turned(self) -> _Poured:
        """Top and bottom changed: what is true of one end is so of the other."""
        flip = slice(None, None, -1)
        return replace(
            self, x=1 - self.x[flip], x_u=self.x_u[flip], y=1 - self.y[flip], own=self.own[flip, flip]
        )

    def apart(self, i: int, j: int) -> float:
        """Standard uncertainty of the quantity between two points, their pours' own errors."""
        return math.sqrt(max(0.0, self.own[i, i] + self.own[j, j] - 2 * self.own[i, j]))


def _in_order(points: Sequence[Observed], common: float) -> _Poured:
    if len(points) < FEWEST:
        raise ValueError(
            f"{len(points)} points; a tank needs {FEWEST} at least: empty, full, and between them"
        )
    added, added_u, signal, signal_u = np.array(
        [(p.added, p.added_u, p.signal, p.signal_u) for p in points]
    ).T
    if not (
        np.isfinite([added, added_u, signal, signal_u]).all()
        and min(added_u.min(), signal_u.min(), common) >= 0
    ):
        raise ValueError("a quantity, a signal or an uncertainty is no number, or an uncertainty is below 0")
    there = np.cumsum(added)
    range_, span = float(np.ptp(there)), float(np.ptp(signal))
    if range_ <= 0:
        raise ValueError("no fuel was added or drained between the points")
    if span <= 3 * signal_u.max():
        raise ValueError(
            f"the signal hardly moves: {signal.min():g} to {signal.max():g}, no more than its noise"
        )
    way = np.sign(added)
    way[0] = 0
    for k in range(1, len(way)):
        way[k] = way[k] or way[k - 1]
    order = np.argsort(there, kind="stable")
    falls = bool(np.cov(there, signal)[0, 1] < 0)
    rises = (signal.max() - signal if falls else signal - signal.min()) / span
    since = np.tril(np.ones((len(points), len(points))))
    own = since @ np.diag((added_u / range_) ** 2) @ since.T
    poured = _Poured(
        rises[order],
        signal_u[order] / span,
        (there[order] - there.min()) / range_,
        common * there[order] / range_,
        own[np.ix_(order, order)],
        way[order],
        order,
        float(signal.min()),
        span,
        float(there.min()),
        range_,
        falls,
    )
    _refuse_turning(poured)
    return poured


def _refuse_turning(poured: _Poured) -> None:
    """A signal that two quantities share over a stretch tells nothing of either; one point alone may be a slip."""
    noise = np.sqrt(poured.x_u**2 + np.diagonal(poured.own))

    def turned(keep: NDArray[np.int_]) -> NDArray[np.int_]:
        x, u = poured.x[keep], np.maximum(noise[keep], smooth.FLOOR)
        off = np.abs(x - smooth.rising(x, u**-2.0))
        return keep[off > np.maximum(5 * u, TURNED)]

    every = np.arange(len(poured.x))
    back = turned(every)
    if len(back) and all(len(turned(np.delete(every, k))) for k in every):
        low, high = (poured.lowest + poured.range * poured.y[k] for k in (back[0], back[-1]))
        raise ValueError(
            f"the signal turns back between {low:.4g} and {high:.4g}: one signal would mean two quantities"
        )


def _standing(poured: _Poured) -> int:
    """How many points lie at the low end where the signal stands while fuel is added; 0: none seen.

    Their signals do not differ beyond noise, and their pace is, beyond doubt, less than half of the pace beside them.
    """
    x, y, u = poured.x, poured.y, np.maximum(poured.x_u, smooth.FLOOR)
    found = 0
    for count in range(2, len(x) - 1):
        some, weights = slice(0, count), u[:count] ** -2.0
        middle_x, middle_y = np.average(x[some], weights=weights), np.average(y[some], weights=weights)
        if chi2_tail(float(weights @ (x[some] - middle_x) ** 2), count - 1) < NOISE:
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


def _places(poured: _Poured, below: int, above: int) -> tuple[Floats, int, int]:
    """Where the curve is reckoned, at signals of full decimals; and the places between which the float surely swims."""
    unit = 10.0**-poured.decimals / poured.span
    low = float(np.mean(poured.x[:below])) if below else 0.0
    high = float(np.mean(poured.x[-above:])) if above else 1.0
    within = poured.x[(poured.x > low) & (poured.x < high)]
    margins = []
    for end, u, near in ((low, poured.x_u[0], within.min()), (high, poured.x_u[-1], within.max())):
        margins.append(min(max(2 * u, 2 * unit), abs(near - end) / 2))
    from_, to = low + margins[0], high - margins[1]
    middle = np.linspace(from_, to, PLACES)
    start = poured.signal(0.0)
    places = np.abs(np.round(poured.signal(np.concatenate([[low], middle, [high]])), poured.decimals) - start)
    places = np.unique(np.clip(places / poured.span, 0, 1))
    return places, 1, len(places) - 1 if above else len(places)


def _curve(poured: _Poured, below: int, above: int, places: Floats) -> tuple[smooth.Smooth, int | None]:
    """The curve over all ways of reading the outermost points; and the point that fits with no other, if there is one."""
    ends = []
    for seen, one in ((below, poured), (above, poured.turned())):
        level = sum(one.y[k] <= 3 * one.apart(0, k) + smooth.FLOOR for k in range(len(one.y)))
        ends.append([seen] if seen else [0, level])
    ways = [
        _read(poured, low, high) for low in ends[0] for high in ends[1] if low + high <= len(poured.x) - 2
    ]
    curve = smooth.fit(ways, places)
    if np.abs(curve.strange).max() < STRANGE and curve.scatter < SCATTERS:
        return curve, None
    count = len(poured.x)
    suspects = [None, *range(below, count - above)]
    doubted = [(way, k) for way in ways for k in suspects]
    curve = smooth.fit(
        [way if k is None else _without(way, k, OUTLIERS / count) for way, k in doubted], places
    )
    chances = {k: sum(w for w, (_, one) in zip(curve.weights, doubted) if one == k) for k in suspects}
    likeliest = max(suspects, key=lambda k: chances[k])
    return curve, likeliest


def _without(way: smooth.Points, k: int, chance: float) -> smooth.Points:
    x_u = way.x_u.copy()
    x_u[k] = OUTLIER_U
    return replace(way, x_u=x_u, prior=way.prior * chance)


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
    way = poured.way.copy()
    way[:below] = way[count - above :] = 0.0
    shared = as_read @ poured.shared
    return smooth.Points(
        poured.x,
        as_read @ poured.y,
        np.outer(shared, shared) + interval,
        as_read @ poured.own @ as_read.T,
        poured.x_u,
        way,
    )


def _residuals(fit: TankFit, points: Sequence[Observed]) -> list[float]:
    """What was poured in less what the face shows. Where the float lies any quantity of the zone agrees with it."""
    residuals, there = [], 0.0
    for one in points:
        there += one.added
        reading, _ = fit.band(one.signal)
        for zone in (fit.bottom, fit.top):
            if zone and zone[0] <= there <= zone[1]:
                reading = there
        residuals.append(there - reading)
    return residuals


def _hysteresis(points: Sequence[Observed], residuals: Sequence[float]) -> float | None:
    ways: dict[bool, list[tuple[float, float]]] = {True: [], False: []}
    going = None
    for one, residual in zip(points[1:], residuals[1:]):
        going = one.added > 0 if one.added else going
        if going is not None:
            ways[going].append((one.signal, residual))
    up, down = sorted(ways[True]), sorted(ways[False])
    if not up or not down:
        return None
    differences = [
        abs(residual - float(np.interp(signal, *zip(*up))))
        for signal, residual in down
        if up[0][0] <= signal <= up[-1][0]
    ] + [
        abs(residual - float(np.interp(signal, *zip(*down))))
        for signal, residual in up
        if down[0][0] <= signal <= down[-1][0]
    ]
    return max(differences, default=None)


def _lack(poured: _Poured, curve: smooth.Smooth, outlier: int | None) -> str | None:
    said = []
    if outlier is not None:
        said.append(
            f"point {poured.order[outlier] + 1} fits with no other and was left out: repeat it, or look for a slip"
        )
    if curve.scatter > SCATTERS:
        said.append(f"the points scatter about {curve.scatter:.2g} times as much as was stated")
    return "; ".join(said) or None
