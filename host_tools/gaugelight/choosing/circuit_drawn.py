"""An input circuit drawn with its values, from the sender to the converter's pin, as the hardware notes ask for it."""

from __future__ import annotations

from dataclasses import dataclass

from gaugelight.circuits import Circuit
from gaugelight.converters import Converter


@dataclass(frozen=True)
class Ends:
    """What a circuit lies between, in words.

    name       the input's
    sender     "float, 0 to 90 ohm"
    pin        the converter's: "aft.0", "GP28"
    connector  pins of the box's connector, signal (for millivolts the plus) first, then the return (the minus): ("J1-1", "J1-14")
    channel    leads the designators as in hardware_notes/parts.csv: 1 gives R11, C11, D1; None: R1, C1, D
    tank       the sender sits in a fuel tank
    """

    name: str
    sender: str = "sender"
    pin: str = ""
    connector: tuple[str, ...] = ()
    channel: int | None = None
    tank: bool = False


def draw(circuit: Circuit, converter: Converter, ends: Ends, supply: float = 3.3) -> str:
    """SVG. supply: the nominal voltage of the rail a pull-up hangs on (of a ratiometric sender: its supply)."""
    raise NotImplementedError
