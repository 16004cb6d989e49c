"""The curve of a tank, from pours: reading over signal, few breakpoints, plus or minus at 95 %."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


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
        raise NotImplementedError


def fit_tank(points: Sequence[Observed], common: float, step: float) -> TankFit:
    """common: relative standard uncertainty that all pours share; step: what the face shows, for rounding.

    ValueError says in plain words what the points lack.
    """
    raise NotImplementedError
