"""Circuits and converters, exactly: from a signal at the connector to a pin's voltage to a count, and back.

Signals are in ohm, mA or V. A circuit's law is written for x, which is the pin's voltage in volts, or, for a pull-up, the
ratio of that voltage to its rail's. Every law rises with the signal. Ohm's law throughout; ngspice is its referee.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gaugebox import measure

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

COUNTS = 65536
CHIP_SUPPLY = 3.3  # volts: supply of the converters, and nominal reference of the on-chip one


class Circuit(Protocol):
    """unit: of the signal. faults: for far below, below, above, far above what the sender can give."""

    unit: str
    faults: tuple[int, int, int, int]

    def x_of(self, signal: Floats) -> Floats: ...
    def signal_of(self, x: Floats) -> Floats: ...


@dataclass(frozen=True)
class PullUp:
    """A sender to ground, a resistor (ohm) from the pin to a rail that is itself measured."""

    resistor: float
    rail: str
    unit = "ohm"
    faults = (measure.SHORT, measure.UNDER, measure.OVER, measure.OPEN)

    def x_of(self, signal: Floats) -> Floats:
        return signal / (signal + self.resistor)

    def signal_of(self, x: Floats) -> Floats:
        return self.resistor * x / np.maximum(1.0 - x, 1e-12)


@dataclass(frozen=True)
class Shunt:
    """A loop current through a resistor (ohm) to ground."""

    resistor: float
    unit = "mA"
    faults = (measure.OPEN, measure.UNDER, measure.OVER, measure.SHORT)

    def x_of(self, signal: Floats) -> Floats:
        return signal * self.resistor / 1000.0

    def signal_of(self, x: Floats) -> Floats:
        return x / self.resistor * 1000.0


@dataclass(frozen=True)
class Divider:
    """A voltage over two resistors (ohm); the pin sits on the lower one. An open wire reads as nought volts."""

    top: float
    bottom: float
    unit = "V"
    faults = (measure.OPEN, measure.UNDER, measure.OVER, measure.SHORT)

    def x_of(self, signal: Floats) -> Floats:
        return signal * self.bottom / (self.top + self.bottom)

    def signal_of(self, x: Floats) -> Floats:
        return x * (self.top + self.bottom) / self.bottom


@dataclass(frozen=True)
class Direct:
    """A voltage straight on the pin."""

    unit = "V"
    faults = (measure.SHORT, measure.UNDER, measure.OVER, measure.OVER)

    def x_of(self, signal: Floats) -> Floats:
        return signal

    def signal_of(self, x: Floats) -> Floats:
        return x


@dataclass(frozen=True)
class OnChip:
    """The RP2040's own 12-bit converter; a count repeats the code's bits. Its reference is taken as 3.3 V."""

    full_scale = CHIP_SUPPLY
    highest = CHIP_SUPPLY
    quantum = CHIP_SUPPLY / 4096

    def volts(self, counts: Counts) -> Floats:
        """Exact in the middle of each of the 4,096 codes, straight lines between them."""
        codes = np.arange(4096)
        return np.interp(counts, codes << 4 | codes >> 8, (codes + 0.5) / 4096 * self.full_scale)

    def count(self, volts: float) -> int:
        code = min(4095, max(0, int(volts / self.full_scale * 4096)))
        return code << 4 | code >> 8


@dataclass(frozen=True)
class Ads1115:
    """The ADS1115 at its 4.096 V range, single-ended: 15 bits of the 16; a count is twice the code (SBAS444)."""

    name: str
    address: int
    gain = 1  # +-4.096 V
    rate = 4  # 128 samples a second
    full_scale = 4.096
    resistance = 6e6  # ohm, of an input at this range, typical (SBAS444)
    highest = CHIP_SUPPLY + 0.3  # absolute limit of an input (SBAS444)
    quantum = 4.096 / 32768

    def volts(self, counts: Counts) -> Floats:
        return counts / COUNTS * self.full_scale

    def count(self, volts: float) -> int:
        return 2 * min(32767, max(0, round(volts / self.quantum)))


Converter = OnChip | Ads1115


def source_resistance(circuit: Circuit, signal: float) -> float:
    """What the converter looks into, in ohm: the resistors of the circuit and the sender side by side."""
    if isinstance(circuit, PullUp):
        return circuit.resistor * signal / (circuit.resistor + signal)
    if isinstance(circuit, Divider):
        return circuit.top * circuit.bottom / (circuit.top + circuit.bottom)
    return circuit.resistor if isinstance(circuit, Shunt) else 0.0


def x_of_counts(circuit: Circuit, converter: Converter) -> Floats:
    """x for each of the 65,536 counts; of a pull-up the count is already the ratio, floored by the box: its middle counts."""
    counts = np.arange(COUNTS)
    if isinstance(circuit, PullUp):
        return (counts + 0.5) / COUNTS
    return converter.volts(counts)


def pin_volts(circuit: Circuit, signal: float, rail_volts: float = 1.0) -> float:
    """The voltage a signal makes on the pin; of a pull-up, with its rail at that voltage."""
    x = float(circuit.x_of(np.array([signal]))[0])
    return x * rail_volts if isinstance(circuit, PullUp) else x
