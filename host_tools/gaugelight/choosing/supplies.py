"""Ratiometric or not: which voltage a reading should be compared with, and what it costs not to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gaugelight.chain import Chain
from gaugelight.laws import Law


@dataclass(frozen=True)
class Compared:
    """How a reading is compared and the most it can be off by, in its unit, at each of the readings asked for.

    way      "not at all", "the same converter", "another converter", "its own reference"
    largest  off at most, all parts at their worst at once; likely: the root of the sum of their squares over 3 (95 % about twice)
    """

    way: str
    parts: tuple[tuple[str, tuple[float, ...]], ...]
    largest: tuple[float, ...]


def ways(chain: Chain, law: Law, readings: Sequence[float], rail_error: float = 0.05) -> tuple[Compared, ...]:
    """For a circuit on a rail, or a ratiometric sender. rail_error: how far the rail may be off, as a share."""
    raise NotImplementedError


def said(found: Sequence[Compared], readings: Sequence[float], unit: str) -> tuple[str, ...]:
    """In words."""
    raise NotImplementedError
