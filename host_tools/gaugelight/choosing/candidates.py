"""Circuits of preferred values that would read a sender, each computed with the box's own chain, the best first."""

from __future__ import annotations

from dataclasses import dataclass

from gaugelight.boxfile import Box, Input
from gaugelight.build import SolvedInput
from gaugelight.choosing.asked import Asked
from gaugelight.circuits import Circuit
from gaugelight.converters import Converter


@dataclass(frozen=True)
class Candidate:
    """A circuit that was read from its own lines of a box file, solved and proven.

    box, input     those that its lines make; `input.circuit` is the circuit, `solved` the proof
    text           its [[input]] block (and its rail's, where it hangs on one)
    quartet        its resistor is four of that value as one (two in series, twice in parallel), so that one may fail
    resolution     one step of the converter at the point that matters, in the unit of the reading
    error          +- at 95 % there
    self_heating   W, the most in the sender; part_heating: W, the most in each resistor, by its name
    current        mA, the most through the sender, shorted, its rail at its upper end
    failed_current mA, the same with the one part failed that is worst for it
    energy         uJ that a short at the sender can draw from what is stored, in order and with that part failed
    open_told      what the box says of an open wire, of one shorted to ground; short_told: and of that
    reasons        why it stands where it stands
    against        what speaks against it so that it should not be built; empty where it may be
    """

    asked: Asked
    box: Box
    input: Input
    solved: SolvedInput
    text: str
    quartet: bool
    resolution: float
    error: float
    self_heating: float
    part_heating: tuple[tuple[str, float], ...]
    current: float
    failed_current: float
    energy: float
    failed_energy: float
    open_told: str
    short_told: str
    reasons: tuple[str, ...] = ()
    against: tuple[str, ...] = ()

    @property
    def circuit(self) -> Circuit:
        return self.input.circuit

    @property
    def converter(self) -> Converter:
        return self.input.converter


def candidates(asked: Asked) -> tuple[Candidate, ...]:
    """All that would read the sender, the best first; empty where none does."""
    raise NotImplementedError
