"""Whether a 4-20 mA transmitter still lives: what is left for it of the bus behind wire, shunt and what protects its supply.

Two wires: the loop feeds it, all stands in one row. Three wires: a supply of its own, and its output must lift the shunt's voltage.
"""

from __future__ import annotations

from dataclasses import dataclass

from gaugelight.choosing.asked import Asked
from gaugelight.preferred import values

HIGHEST_MA = 21.0  # NAMUR NE 43: failure, upwards; a healthy transmitter ends at 20.5
THREE_WIRE_MA = 10.0  # that a three-wire one takes for itself (typical, from memory)
THREE_WIRE_HEADROOM = 3.0  # volts that its output stays below its supply (typical, from memory)


@dataclass(frozen=True)
class Compliance:
    """At a voltage of the bus, 21 mA flowing. volts: at the transmitter. left: beyond what it needs; below 0 it cannot."""

    bus: float
    volts: float
    left: float

    @property
    def lives(self) -> bool:
        return self.left >= 0


def compliance(asked: Asked, shunt: float, bus: float) -> Compliance:
    """What a shunt of so many ohm leaves the transmitter, with the wire's own resistance there and back."""
    amperes = HIGHEST_MA / 1000
    if asked.loop_wires == 2:
        volts = bus - asked.loop_drop - amperes * (asked.wire.ohms() + shunt)
        return Compliance(bus, volts, volts - asked.transmitter_least)
    own = THREE_WIRE_MA / 1000
    volts = bus - asked.loop_drop - (amperes + own) * asked.wire.ohms()
    output = volts - THREE_WIRE_HEADROOM - amperes * (asked.wire.ohms() / 2 + shunt)
    return Compliance(bus, volts, min(volts - asked.transmitter_least, output))


def largest_shunt(asked: Asked, bus: float) -> float | None:
    """The largest preferred shunt, in ohm, with which the transmitter lives at that voltage; None where no shunt of 1 ohm or more does."""
    fits = [ohms for ohms in values(asked.series_of, 1, 1000) if compliance(asked, ohms, bus).lives]
    return max(fits, default=None)


def lowest_bus(asked: Asked, shunt: float) -> float:
    """The lowest voltage of the bus at which it lives."""
    return 14.0 - compliance(asked, shunt, 14.0).left
