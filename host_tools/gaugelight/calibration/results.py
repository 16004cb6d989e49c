"""What a session comes to: its curve, and what the face will say by it, plus or minus at 95 % (JCGM 100), the box's own part included."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from gaugelight.boxfile import Box, Input
from gaugelight.calibration.session import Session


class Fit(Protocol):
    """What tank.TankFit and straight_line.ReferenceFit have in common; readings in the input's unit."""

    @property
    def signals(self) -> tuple[float, ...]: ...
    @property
    def readings(self) -> tuple[float, ...]: ...
    @property
    def plus_minus(self) -> tuple[float, ...]: ...
    @property
    def residuals(self) -> tuple[float, ...]: ...
    @property
    def hysteresis(self) -> float: ...
    @property
    def lack(self) -> str | None: ...

    def band(self, signal: float) -> tuple[float, float]: ...


@dataclass(frozen=True)
class Taken:
    """A point as it was evaluated, in the units of reading and signal. added: since the point before (of a reference 0); true: the total of a
    tank, what the reference said; its and the signal's standard uncertainty; spread: as measured, None where not; residual: point
    less curve, in the reading's unit."""

    added: float
    true: float
    true_u: float
    signal: float
    signal_u: float
    spread: float | None
    residual: float
    dip: float | None  # mm


@dataclass(frozen=True)
class Faced:
    """A reading that the face will show, and its plus or minus at 95 %."""

    reading: float
    plus_minus: float


@dataclass(frozen=True)
class Result:
    """bottom, top: dead zones of a tank, readings from, to; where the signal does not move. notes: what to know, in words."""

    session: Session
    input: Input
    fit: Fit
    points: tuple[Taken, ...]
    face: tuple[Faced, ...]
    bottom: tuple[float, float] | None = None
    top: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()


def evaluate(session: Session, box: Box) -> Result:
    """Raises Wrong where the points make no curve, Misuse where the session is not of this box."""
    raise NotImplementedError
