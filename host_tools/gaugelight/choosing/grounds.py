"""What a difference between two grounds makes of a reading, and what a return wire buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gaugelight.chain import Chain
from gaugelight.laws import Law
from gaugelight.wires import Wire


@dataclass(frozen=True)
class ReturnWire:
    """ohms: of this one conductor. known: it is part of the circuit's `wire` in the box file. others: mA that other senders send through
    the same wire or pin; shared: ohm of what they share."""

    ohms: float
    known: bool = False
    others: float = 0.0
    shared: float = 0.0


@dataclass(frozen=True)
class Off:
    """At a reading: what the airframe's return, and what the return wire, make of it, as differences in its unit. hidden: the sender's
    held end hides it."""

    reading: float
    airframe: float
    wire: float


def return_wire(run: Wire, known: bool = False, others: float = 0.0, common_pin: float = 0.0) -> ReturnWire:
    """Of a run's gauge and length, its return alone. common_pin: ohm of a pin that the others use too."""
    raise NotImplementedError


def offs(
    chain: Chain, law: Law, readings: Sequence[float], offset: float, wire: ReturnWire, ratiometric: bool = False
) -> tuple[Off, ...]:
    """offset: volts, of the sender's ground above the box's. ratiometric: the sender lives on the box's supply."""
    raise NotImplementedError


def said(chain: Chain, offset: float, found: Sequence[Off], unit: str) -> tuple[str, ...]:
    """In words."""
    raise NotImplementedError
