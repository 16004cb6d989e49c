"""Pulse-width modulation on the box's chips: the frequencies and duties there really are.

A slice counts from 0 to TOP, 16 bits, at the system clock over a divider of 8 bits and a fraction of 4; a pin is high while the
count is below its compare value (RP2040 data sheet, 4.5.2; RP2350 data sheet, 12.5). What a frequency in whole hertz becomes is
MicroPython's choice (its ports/rp2/machine_pwm.c): the smallest divider with which the period is within 65534 steps, then the
nearest number of steps.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import overload

import numpy as np

from gaugelight.circuits import Counts

FULL = 65535  # duty_u16 of a pin that is always high
MOST_STEPS = 65534  # so that a compare value of all the steps, always high, still fits in 16 bits
DIVIDERS = 256 * 16  # sixteenths: the largest divider is one less


@dataclass(frozen=True)
class Chip:
    """clock_hz: of the system, as MicroPython leaves it. slices: pins 0 to 29 use the first eight."""

    name: str
    clock_hz: int
    slices: int

    @property
    def lowest_hz(self) -> int:
        """The lowest frequency in whole hertz."""
        return -(-16 * self.clock_hz // (MOST_STEPS * (DIVIDERS - 1)))


CHIPS = {chip.name: chip for chip in (Chip("rp2040", 125_000_000, 8), Chip("rp2350", 150_000_000, 12))}


@dataclass(frozen=True)
class Setting:
    """A slice's registers. divider: of the clock. wrap: TOP. hz: what it really gives. tick: of the counter, in seconds."""

    divider: Fraction
    wrap: int
    hz: Fraction
    tick: float

    @property
    def steps(self) -> int:
        """In a period, and the compare value of a pin that is always high."""
        return self.wrap + 1


def setting(chip: Chip, hz: int) -> Setting:
    """What the board makes of a frequency. ValueError where it has none such, saying which it has."""
    if hz < chip.lowest_hz:
        raise ValueError(f"{hz} Hz is too low for the {chip.name}: it starts at {chip.lowest_hz} Hz")
    sixteenths = max(16, -(-16 * chip.clock_hz // (MOST_STEPS * hz)))
    steps = (16 * chip.clock_hz + sixteenths * hz // 2) // (sixteenths * hz)
    if steps < 2:
        raise ValueError(
            f"{hz} Hz is too high for the {chip.name}: at {chip.clock_hz // 2} Hz it has 2 steps"
        )
    divider = Fraction(sixteenths, 16)
    return Setting(divider, steps - 1, chip.clock_hz / divider / steps, float(divider / chip.clock_hz))


@overload
def compare(setting: Setting, duty_u16: int) -> int: ...
@overload
def compare(setting: Setting, duty_u16: Counts) -> Counts: ...
def compare(setting: Setting, duty_u16: int | Counts) -> int | Counts:
    """The compare value that a duty of 0..65535 becomes, or an array of them: ticks of high in a period, 0..steps.

    ValueError where a duty is none.
    """
    if np.any(np.less(duty_u16, 0)) or np.any(np.greater(duty_u16, FULL)):
        raise ValueError(f"a duty is 0 to {FULL}")
    return (duty_u16 * setting.steps + FULL // 2) // FULL
