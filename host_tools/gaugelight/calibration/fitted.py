"""What a calibration ends in, of whatever kind: breakpoints, their plus or minus, and what does not fit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from gaugelight.calibration import smooth
from gaugelight.circuits import Floats
from gaugelight.curves import decimals_of

TURNED = 0.05  # of the span: a signal that goes back by more than that, and beyond its noise, turns back
NOISE = 5.0  # standard deviations
PLACES = 64  # at which a curve is reckoned
TOLERANCE = 0.2  # of the plus or minus: how far the lines between breakpoints may be off the curve. It adds a fiftieth at most
SCATTERED = 1.5  # times what was stated
LEAST = 0.1  # of a displayed step: nothing is stated to be known better


@dataclass(frozen=True)
class Fit:
    """Breakpoints; plus_minus at 95 %, in the unit of the reading, straight between them as the readings are."""

    signals: tuple[float, ...]  # rising
    readings: tuple[float, ...]  # rising, or falling throughout
    plus_minus: tuple[float, ...]
    residuals: tuple[float, ...]  # what was so less what the box will say, a point each, in the order given
    # largest difference up to down at one signal, in the reading's unit; None: one way only
    hysteresis: float | None
    lack: str | None  # what does not fit, in words

    def band(self, signal: float) -> tuple[float, float]:
        """The reading at a signal and its plus or minus at 95 %; beyond the ends those of the end."""
        return (
            float(np.interp(signal, self.signals, self.readings)),
            float(np.interp(signal, self.signals, self.plus_minus)),
        )


@dataclass(frozen=True)
class Scale:
    """Signals as 0 to 1 from the end of the least quantity to that of the most."""

    start: float
    span: float  # negative where the signal falls
    decimals: int  # of a signal: a thousandth of the span

    @staticmethod
    def of(signals: Floats, signal_u: Floats, quantities: Floats) -> Scale:
        """ValueError: the signal does not move."""
        low, high = float(signals.min()), float(signals.max())
        if high - low <= 3 * signal_u.max():
            raise ValueError(f"the signal hardly moves: {low:g} to {high:g}, no more than its noise")
        falls = np.cov(quantities, signals)[0, 1] < 0
        decimals = -math.floor(math.log10((high - low) / 1000))
        return Scale(high, low - high, decimals) if falls else Scale(low, high - low, decimals)

    @property
    def unit(self) -> float:
        return float(10.0**-self.decimals / abs(self.span))

    def x(self, signals: Floats) -> Floats:
        return (signals - self.start) / self.span

    def signals(self, x: Floats) -> Floats:
        return np.round(self.start + self.span * x, self.decimals)

    def places(self, x: Floats) -> Floats:
        """These, as far as they differ, at signals of full decimals."""
        return np.unique(np.clip(self.x(self.signals(x)), 0.0, 1.0))


def stated(plus_minus: Floats, step: float) -> tuple[Floats, Floats]:
    """No less than a share of the displayed step; and how far breakpoints may leave the curve."""
    plus_minus = np.maximum(plus_minus, LEAST * step)
    return plus_minus, np.maximum(TOLERANCE * plus_minus, unit(step))


def unit(step: float) -> float:
    return float(10.0 ** -decimals_of(Fraction(step)))


def breakpoints(
    scale: Scale, x: Floats, readings: Floats, plus_minus: Floats, step: float
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Signals, rising, with readings and plus or minus: as they are written down."""
    order = np.argsort(scale.signals(x))
    return (
        tuple(scale.signals(x)[order].tolist()),
        tuple(np.round(readings[order], decimals_of(Fraction(step))).tolist()),
        tuple(plus_minus[order].tolist()),
    )


def scattered(curve: smooth.Smooth) -> list[str]:
    if curve.scatter <= SCATTERED:
        return []
    return [f"the points scatter about {curve.scatter:.2g} times as much as was stated"]


def ways(changes: Sequence[float]) -> Floats:
    """How each point was reached: +1 going up, -1 going down, 0 not known; where nothing changed, as before.

    changes: of the quantity since the point before; the first is none.
    """
    way: Floats = np.sign(np.asarray(changes, dtype=float))
    way[0] = 0.0
    for k in range(1, len(way)):
        way[k] = way[k] or way[k - 1]
    return way


def hysteresis(way: Floats, signals: Sequence[float], residuals: Sequence[float]) -> float | None:
    """The largest difference between going up and going down, straight between the points of each way."""
    at, off = np.asarray(signals, dtype=float), np.asarray(residuals, dtype=float)
    largest = None
    for one, other in ((1, -1), (-1, 1)):
        line = np.flatnonzero(way == one)[np.argsort(at[way == one], kind="stable")]
        if len(line):
            met = (way == other) & (at >= at[line[0]]) & (at <= at[line[-1]])
            apart = np.abs(off[met] - np.interp(at[met], at[line], off[line]))
            largest = max([largest or 0.0, *apart.tolist()]) if met.any() else largest
    return largest


def refuse_turning(x: Floats, noise: Floats, named: Sequence[float]) -> None:
    """x: signals in order of their quantities `named`, as they should rise, in shares of the span.

    ValueError where one signal would mean two quantities. One point alone is a slip, and no turning.
    """

    def turned(keep: NDArray[np.int_]) -> NDArray[np.int_]:
        some, u = x[keep], np.maximum(noise[keep], smooth.FLOOR)
        off = np.abs(some - smooth.rising(some, u**-2.0))
        return keep[off > np.maximum(NOISE * u, TURNED)]

    every = np.arange(len(x))
    back = turned(every)
    if len(back) and all(len(turned(np.delete(every, k))) for k in every):
        raise ValueError(
            f"the signal turns back between {named[back[0]]:.4g} and {named[back[-1]]:.4g}: "
            "one signal would mean two quantities"
        )
