"""From the signal at the connector to the count that is judged, and back: circuit, converter and rail of one input together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gaugelight.boxfile import Box, Input
from gaugelight.circuits import REFERENCE, Circuit, Floats
from gaugelight.converters import COUNTS, ChipInput, Converter, OnChip


@dataclass(frozen=True)
class Chain:
    """supply: the nominal voltage of the rail that the circuit hangs on; 1 where it hangs on none. rail: how that is measured."""

    circuit: Circuit
    converter: Converter
    supply: float = 1.0
    rail: Chain | None = None

    def pin_volts(self, signal: float, rail_volts: float | None = None) -> float:
        """The voltage a signal makes on the pin, with its rail at `rail_volts` or at its nominal voltage."""
        volts = float(self.circuit.pin(np.array([signal]), self.supply, self.converter.load)[0])
        return volts if rail_volts is None or self.circuit.rail is None else volts * rail_volts / self.supply

    def driven(self, volts: float, ohms: float, rail_volts: float | None = None) -> float:
        """The voltage on the pin while `volts` behind `ohms` drive its wire."""
        supply = self.supply if rail_volts is None else rail_volts
        return self.circuit.driven(volts, ohms, supply, self.converter.load)

    def count(self, pin_volts: float, rail_volts: float | None = None) -> int:
        """The count that is judged: the converter's, or its ratio to the rail's as the box floors it."""
        count = self.converter.count(min(pin_volts, self.converter.takes))
        if self.rail is None:
            return count
        reference = self.rail.converter.count(
            self.rail.pin_volts(self.supply if rail_volts is None else rail_volts)
        )
        return count * COUNTS // reference if count < reference else COUNTS - 1

    def volts_of_counts(self) -> Floats:
        """The voltage on the pin, with the rail at its nominal one, for each of the 65,536 counts that are judged."""
        counts = np.arange(COUNTS)
        if self.rail is None:
            return self.converter.volts(counts)
        ratios = (counts + 0.5) / COUNTS  # the box floors them: the middle counts
        rail_pin = self.rail.pin_volts(self.supply)
        if isinstance(self.converter, OnChip):
            # both counts are floored too: what is meant lies half a code above each
            code = rail_pin / self.converter.full_scale * 4096 - 0.5
            ratios = (ratios * code + 0.5) / (code + 0.5)
            return ratios * rail_pin
        return ratios * rail_pin * self.converter.full_scale / self.rail.converter.full_scale

    @property
    def counts_a_step(self) -> float:
        """How many of the counts that are judged a step of the converter comes to."""
        span = self.converter.full_scale if self.rail is None else self.rail.pin_volts(self.supply)
        doubled = 2 if isinstance(self.converter, ChipInput) and self.converter.differential else 1
        return self.converter.quantum / span * COUNTS / doubled

    def signals(self) -> Floats:
        """The signal for each of the 65,536 counts that are judged."""
        return self.circuit.signal(self.volts_of_counts(), self.supply, self.converter.load)


def chain_of(box: Box, one: Input) -> Chain:
    """The chain of a checked box's input."""
    if one.circuit.rail is None:
        return Chain(one.circuit, one.converter)
    if one.circuit.rail == REFERENCE:
        return Chain(one.circuit, one.converter, one.converter.full_scale)
    rail = box.rail_of(one)
    assert rail is not None and rail.nominal is not None
    return Chain(one.circuit, one.converter, float(rail.nominal), Chain(rail.circuit, rail.converter))
