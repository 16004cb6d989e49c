"""Pressure senders aloft: what gauge, sealed and absolute ones are off by, and which to buy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Aloft:
    """What senders are off by at a pressure altitude, in psi, where the pressure above the air around is wanted.

    gauge: none while its vent breathes; blocked: where that was shut at sea level; sealed; absolute: less a fixed 14.7 psi
    """

    feet: float
    air: float
    gauge: float
    blocked: float
    sealed: float
    absolute: float


@dataclass(frozen=True)
class Advice:
    """kind: to buy. error: psi at the ceiling, of that kind; others: kind and error of the ones not advised."""

    service: str
    kind: str
    error: float
    others: tuple[tuple[str, float], ...]
    reasons: tuple[str, ...]


def aloft(feet: float) -> Aloft:
    """Raises ValueError outside the standard atmosphere's table, -6,561 to 65,616 ft."""
    raise NotImplementedError


def advise(service: str, span_psi: float, ceiling_ft: float = 12_500) -> Advice:
    """service: "coolant", "fuel", "hydraulic". Raises ValueError for another."""
    raise NotImplementedError
