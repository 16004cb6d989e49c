"""A straight line, or points, through what a reference gauge said; with uncertainty as JCGM 100 has it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """y = intercept + slope * (x - origin); uncertainties are standard ones."""

    origin: float
    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    s: float  # standard deviation of the residuals
    degrees: int  # of freedom
    residuals: tuple[float, ...]
    lack_of_fit_p: (
        float | None
    )  # how likely such residuals are if the law is straight; None: nothing to judge by

    def at(self, x: float) -> tuple[float, float]:
        """y at x, and its plus or minus at 95 %."""
        raise NotImplementedError


@dataclass(frozen=True)
class Held:
    """One reading of the reference, and the signal at it with its standard uncertainty."""

    true: float
    signal: float
    signal_u: float


@dataclass(frozen=True)
class ReferenceFit:
    """Breakpoints of a gauge held against a reference; plus_minus at 95 %, in the unit of the reading."""

    signals: tuple[float, ...]  # rising
    readings: tuple[float, ...]  # rising or falling throughout
    plus_minus: tuple[float, ...]
    residuals: tuple[float, ...]  # reference less reading, a point each, in the order given
    hysteresis: float | None  # largest difference up to down at one signal; None: went one way only
    lack: str | None
    line: Line | None  # None: points, as a straight line does not do

    def band(self, signal: float) -> tuple[float, float]:
        """The reading at a signal and its plus or minus at 95 %: straight between the breakpoints."""
        raise NotImplementedError


def fit_line(xs: Sequence[float], ys: Sequence[float], origin: float = 0.0) -> Line:
    """Ordinary least squares, all points alike. ValueError: fewer than three points, or all at one x."""
    raise NotImplementedError


def fit_reference(
    points: Sequence[Held], step: float, *, common: float = 0.0, common_share: float = 0.0, each: float = 0.0
) -> ReferenceFit:
    """Reading over signal.

    common, common_share, each: standard uncertainties of the reference; what all its readings share, in their unit and as a
    share of the reading, and what each has of its own. ValueError says in plain words what the points lack.
    """
    raise NotImplementedError
