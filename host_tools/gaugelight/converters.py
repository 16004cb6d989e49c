"""Converters, exactly: from the voltage on a pin to a count, and back. A count is 0..65535 of full scale."""

from dataclasses import dataclass

import numpy as np

from gaugelight.circuits import Counts, Floats

COUNTS = 65536
CHIP_SUPPLY = 3.3  # volts: supply of the converters, and nominal reference of the on-chip one

# ADS1115 (SBAS444): full scale in volts, its gain code, and input resistance in ohm against ground and between two inputs (typical)
GAINS = {
    6.144: (0, 10e6, 22e6),
    4.096: (1, 6e6, 15e6),
    2.048: (2, 6e6, 4.9e6),
    1.024: (3, 3e6, 2.4e6),
    0.512: (4, 100e6, 710e3),
    0.256: (5, 100e6, 710e3),
}
PAIRS = {"0-1": 0, "0-3": 1, "1-3": 2, "2-3": 3}  # plus and minus input: multiplexer code
SINGLE_ENDED = 4  # the multiplexer code of input 0 against ground


@dataclass(frozen=True)
class OnChip:
    """A pin of the RP2040's own 12-bit converter; a count repeats the code's bits, or is the mean of several."""

    pin: int
    oversample: int = 1
    full_scale = CHIP_SUPPLY  # its reference, nominally
    takes = CHIP_SUPPLY  # volts that the pin takes
    chip = None

    @property
    def load(self) -> float:
        """Ohm. The data sheet names 100 kohm (from memory); that is at its full 500,000 samples a second, here there are 50."""
        return 100e3 * 500_000 / (50 * self.oversample)

    @property
    def quantum(self) -> float:
        """Volts of a step; the mean of noisy samples has finer ones, by the root of their number."""
        return float(self.full_scale / 4096 / self.oversample**0.5)

    def volts(self, counts: Counts) -> Floats:
        """Exact in the middle of each of the 4,096 codes, straight lines between them."""
        codes = np.arange(4096)
        return np.interp(counts, codes << 4 | codes >> 8, (codes + 0.5) / 4096 * self.full_scale)

    def count(self, volts: float) -> int:
        code = min(4095, max(0, int(volts / self.full_scale * 4096)))
        return code << 4 | code >> 8


@dataclass(frozen=True)
class Ads1115:
    """One chip. rate: conversions a second; continuous: it converts without being asked, which serves one input only."""

    name: str
    address: int
    full_scale: float = 4.096
    rate: int = 128
    continuous: bool = False


@dataclass(frozen=True)
class ChipInput:
    """An input of an ADS1115 against ground ("0" to "3"), or between two of them ("0-1").

    Against ground a count is twice the code, between two the code and 32768 (SBAS444).
    """

    chip: Ads1115
    channel: str
    full_scale: float
    takes = CHIP_SUPPLY + 0.3  # volts that a pin takes (SBAS444)

    @property
    def pins(self) -> tuple[int, ...]:
        return tuple(int(pin) for pin in self.channel.split("-"))

    @property
    def differential(self) -> bool:
        return self.channel in PAIRS

    @property
    def mux(self) -> int:
        return PAIRS[self.channel] if self.differential else SINGLE_ENDED + int(self.channel)

    @property
    def gain(self) -> int:
        return GAINS[self.full_scale][0]

    @property
    def load(self) -> float:
        """Ohm."""
        return GAINS[self.full_scale][2 if self.differential else 1]

    @property
    def quantum(self) -> float:
        """Volts of a step."""
        return self.full_scale / 32768

    def volts(self, counts: Counts) -> Floats:
        if self.differential:
            return np.asarray((counts - 32768) * self.quantum, dtype=np.float64)
        return np.asarray(counts * (self.quantum / 2), dtype=np.float64)

    def count(self, volts: float) -> int:
        code = min(32767, max(-32768, round(volts / self.quantum)))
        return code + 32768 if self.differential else 2 * max(0, code)


Converter = OnChip | ChipInput
