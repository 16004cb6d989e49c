"""A gauge held against a reference: a straight line where that does, else points; with uncertainty as JCGM 100 has it.

The line is that of JCGM 100, H.3: ordinary least squares of what the reference said over the signal. What the reference is off by
throughout goes through the line as it is, and is added to what the line itself is known by (5.1.2); what its readings and
the signal are off by each, is what was stated, or what the residuals show where these are larger than chance allows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gaugelight.calibration import smooth
from gaugelight.calibration.distributions import NORMAL_95, chi2_tail, f_tail, student_95
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

LACK = 0.05  # less likely residuals are no straight line's
REPEATS = 3  # degrees of freedom among repeated points that are enough to judge by
ENOUGH = 5  # points for a curve
SLIP = 0.1  # of the range that was covered: what is farther off a sender of its kind is asked about. A bound of our own


@dataclass(frozen=True)
class Line:
    """y = intercept + slope * (x - origin); uncertainties are standard ones, from the residuals alone."""

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    s: float  # standard deviation of the residuals
    degrees: int  # of freedom
    residuals: tuple[float, ...]
    lack_of_fit_p: float | None  # how likely such residuals are of a straight law; None: nothing to judge by

    def u(self, x: float) -> float:
        """Standard uncertainty of the line at x (JCGM 100, equation H.15)."""
        away = x - self.origin
        both = 2 * away * self.u_intercept * self.u_slope * self.correlation
        return math.sqrt(max(0.0, self.u_intercept**2 + (away * self.u_slope) ** 2 + both))

    def at(self, x: float) -> tuple[float, float]:
        """y at x, and its plus or minus at 95 %: by Student's t, since s is from so few points."""
        return self.intercept + self.slope * (x - self.origin), student_95(self.degrees) * self.u(x)


@dataclass(frozen=True)
class Held:
    """What the reference said, and the signal there with its standard uncertainty."""

    true: float
    signal: float
    signal_u: float


@dataclass(frozen=True)
class ReferenceFit(Fit):
    line: Line | None  # None: points, as a straight line does not do
    contradicts: str | None = None  # points that no sender of this kind gives, in words


def fit_line(
    xs: Sequence[float],
    ys: Sequence[float],
    origin: float = 0.0,
    y_u: float = 0.0,
    alike: Sequence[float] | None = None,
) -> Line:
    """Ordinary least squares, all points alike.

    y_u: stated standard uncertainty of each y, 0: not stated. alike: points with the same value here are repeats of one
    another (default: those with the same x). Whether the law is straight is judged by the scatter of repeats (F test), else
    by what was stated (chi squared), else by whether a parabola does better (F test).
    ValueError: fewer than three points, or all at one x.
    """
    x, y = np.asarray(xs, dtype=float) - origin, np.asarray(ys, dtype=float)
    count = len(x)
    if count < 3:
        raise ValueError(f"{count} points; a straight line and its error need 3 at least")
    middle = x.mean()
    squares = float(((x - middle) ** 2).sum())
    if squares <= (1e-9 * np.abs(x).max()) ** 2:
        raise ValueError("all points lie at one signal")
    slope = float((x - middle) @ y) / squares
    intercept = float(y.mean() - slope * middle)
    residuals = y - intercept - slope * x
    degrees = count - 2
    left = float(residuals @ residuals)
    s = math.sqrt(left / degrees)
    u_slope = s / math.sqrt(squares)
    u_intercept = s * math.sqrt(1 / count + middle**2 / squares)
    correlation = -middle / math.sqrt(squares / count + middle**2)

    groups = np.unique(np.asarray(xs if alike is None else alike, dtype=float), return_inverse=True)[1]
    levels = int(groups.max()) + 1
    lack: float | None = None
    if levels > 2 and count - levels >= REPEATS:
        means = np.bincount(groups, residuals) / np.bincount(groups)
        pure = float(((residuals - means[groups]) ** 2).sum())
        # repeats that agree to the digit are no better known than was stated
        lack = _ratio_tail(left - pure, levels - 2, max(pure, y_u**2 * (count - levels)), count - levels)
    elif y_u > 0:
        lack = chi2_tail(left / y_u**2, degrees)
    elif count >= ENOUGH and levels > 2:
        bent = y - np.polyval(np.polyfit(x - middle, y, 2), x - middle)
        lack = _ratio_tail(left - float(bent @ bent), 1, float(bent @ bent), count - 3)
    return Line(
        origin,
        intercept,
        slope,
        u_intercept,
        u_slope,
        float(correlation),
        s,
        degrees,
        tuple(residuals.tolist()),
        lack,
    )


def _ratio_tail(above: float, degrees: int, below: float, of: int) -> float:
    """How likely so large a sum of squares is, against one of nothing but scatter."""
    if below <= 0:
        return 1.0 if above <= 0 else 0.0
    return f_tail(max(above, 0.0) / degrees / (below / of), degrees, of)


def slips(true: Sequence[float], expected: Sequence[float]) -> list[int]:
    """Which points are farther off than SLIP from what the sender's law gives, whatever its zero and its gain.

    expected: the law's readings at the points' signals. The line through them is the one of medians (Theil 1950, Sen 1968), which
    up to a quarter of the points cannot pull to themselves.
    """
    y, x = np.asarray(true, dtype=float), np.asarray(expected, dtype=float)
    one, other = np.triu_indices(len(x), 1)
    apart = np.abs(x[one] - x[other]) > SLIP * np.ptp(x)
    if not apart.any():
        return []
    gain = np.median((y[one] - y[other])[apart] / (x[one] - x[other])[apart])
    off = y - gain * x
    off = np.abs(off - np.median(off))
    return [int(k) for k in np.flatnonzero(off > SLIP * np.ptp(y))]


def fit_reference(
    points: Sequence[Held], step: float, *, common: float = 0.0, common_share: float = 0.0, each: float = 0.0
) -> ReferenceFit:
    """Reading over signal.

    common, common_share, each: standard uncertainties of the reference: what all its readings share, in their unit and as a
    share of the reading, and what each has of its own. ValueError says in plain words what the points lack.
    """
    if len(points) < 3:
        raise ValueError(f"{len(points)} points; a gauge needs 3 at least: both ends, and one between them")
    true, signal, signal_u = np.array([(p.true, p.signal, p.signal_u) for p in points], dtype=float).T
    us = np.array([*signal_u, common, common_share, each])
    if not (np.isfinite(us).all() and np.isfinite([true, signal]).all() and us.min() >= 0):
        raise ValueError("a reading, a signal or an uncertainty is no number, or an uncertainty is below 0")
    if np.ptp(true) <= 0:
        raise ValueError("the reference said the same at all points")
    scale = Scale.of(signal, signal_u, true)
    order = np.argsort(true, kind="stable")
    noise = np.hypot(signal_u / abs(scale.span), each / np.ptp(true))
    refuse_turning(scale.x(signal)[order], noise[order], true[order].tolist())
    way = ways(np.diff(true, prepend=true[0]).tolist())

    y_u = math.hypot(each, float(np.ptp(true) / abs(scale.span)) * math.sqrt(float(np.mean(signal_u**2))))
    line = fit_line(signal.tolist(), true.tolist(), float(signal.mean()), y_u, true.tolist())
    bent = line.lack_of_fit_p is not None and line.lack_of_fit_p < LACK
    as_points = bent and len(points) >= ENOUGH
    x = scale.places(np.linspace(0, 1, PLACES))
    lack = []
    if bent:
        cure = "use points" if as_points else f"take more points, {ENOUGH} at least"
        lack.append(f"a straight line does not fit (chance {line.lack_of_fit_p:.1g}): {cure}")
    if as_points:
        curve = smooth.fit([_as_read(scale, true, signal, signal_u, way, common, common_share, each)], x)
        mean, u = smooth.risen(curve)
        readings, plus_minus = true.min() + np.ptp(true) * mean, NORMAL_95 * np.ptp(true) * u
        lack += scattered(curve)
    else:
        at = scale.signals(x)
        readings = line.intercept + line.slope * (at - line.origin)
        plus_minus = _of_line(line, y_u, way, signal, at, np.hypot(common, common_share * readings))
    plus_minus, tolerance = stated(plus_minus, step)
    chosen = smooth.fewest(x, readings, plus_minus, tolerance, unit(step))
    fit = ReferenceFit(
        *breakpoints(scale, x[chosen], readings[chosen], plus_minus[chosen], step),
        residuals=(),
        hysteresis=None,
        lack="; ".join(lack) or None,
        line=None if as_points else line,
    )
    residuals = [one.true - fit.band(one.signal)[0] for one in points]
    return replace(fit, residuals=tuple(residuals), hysteresis=hysteresis(way, signal.tolist(), residuals))


def _as_read(
    scale: Scale,
    true: Floats,
    signal: Floats,
    signal_u: Floats,
    way: Floats,
    common: float,
    common_share: float,
    each: float,
) -> smooth.Points:
    """The points for a curve, quantities in shares of their range."""
    range_ = float(np.ptp(true))
    return smooth.Points(
        scale.x(signal),
        (true - true.min()) / range_,
        (np.outer(true, true) * common_share**2 + common**2 + np.eye(len(true)) * each**2) / range_**2,
        signal_u / abs(scale.span),
        way,
    )


def _of_line(line: Line, y_u: float, way: Floats, signal: Floats, at: Floats, shared: Floats) -> Floats:
    """Plus or minus at 95 % of the readings that a line says, by the effective degrees of freedom (JCGM 100, G.4.1)."""
    away = signal - signal.mean()
    lever = np.sqrt(1 / len(signal) + (at - signal.mean()) ** 2 / (away @ away))
    believed = y_u > 0 and chi2_tail(line.degrees * (line.s / y_u) ** 2, line.degrees) >= LACK
    own, degrees = (y_u * lever, math.inf) if believed else (line.s * lever, line.degrees)
    residuals = np.array(line.residuals)
    lag = (residuals[way > 0].mean() - residuals[way < 0].mean()) / 2 if {-1.0, 1.0} <= set(way) else 0.0
    whole: Floats = np.sqrt(own**2 + shared**2 + lag**2 / 3)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.nan_to_num((whole / own) ** 4 * degrees, nan=math.inf, posinf=math.inf)
    whole *= np.array([student_95(one) for one in effective])
    return whole
