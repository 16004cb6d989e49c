"""Resistors of preferred values that imitate a sender at its marks, so that any gauge can be proven on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gaugelight.chain import Chain
from gaugelight.laws import Law
from gaugelight.readouts import Markings


@dataclass(frozen=True)
class Mark:
    """A place on a gauge: "empty", "red below 300"; reading in the gauge's unit."""

    name: str
    reading: float


@dataclass(frozen=True)
class Made:
    """What some resistors make of a mark.

    values      ohm, of one resistor or of two; none: a wire link
    how         "link", "one", "series", "parallel"; "divider": from the supply, then to ground
    signal      what the box finds, in the circuit's unit; reading: what it shows of it
    off         reading less the mark's; plus_minus: the resistors' own tolerance (and the supply's) makes of it, at most
    watts       in the warmest of them
    """

    values: tuple[float, ...]
    how: str
    signal: float
    reading: float
    off: float
    plus_minus: float
    watts: float


@dataclass(frozen=True)
class StandIn:
    """wanted: the mark's signal in the circuit's unit. best: of one resistor or two; single: of one."""

    mark: Mark
    wanted: float
    best: Made
    single: Made


def marks_of(law: Law, markings: Markings | None = None) -> tuple[Mark, ...]:
    """Empty (lowest), a quarter, half, three quarters, full (highest), and each edge of the markings between them; rising."""
    raise NotImplementedError


def stand_ins(
    chain: Chain,
    law: Law,
    marks: Sequence[Mark],
    series: str = "E24",
    supply: float | None = None,
    tolerance: float = 0.01,
    cold_celsius: float = 20.0,
) -> tuple[StandIn, ...]:
    """One for each mark, at the box's connector.

    supply: volts, of the bench supply that a loop or a divider hangs on. Raises ValueError where it is missing or too low.
    """
    raise NotImplementedError


def cautions(chain: Chain, tank: bool, supply: float | None = None) -> tuple[str, ...]:
    """What to mind before anything is connected."""
    raise NotImplementedError
