"""Where a signal stops being one: the limits of each input's faults, from its sender and its circuit."""

import numpy as np

from gaugelight.boxfile import Input
from gaugelight.circuits import COUNTS, Floats, PullUp, pin_volts

# mA: failure at or below, measuring from, measuring to, failure at or above
NAMUR_NE_43 = (3.6, 3.8, 20.5, 21.0)
ROUNDING = 1e-9  # of a signal: a limit that falls on a count exactly is met there, float or no float
MARGIN = 0.05  # of the sender's span, for its tolerance, beyond which a signal is no longer believed
OWN_MARGIN = 0.01  # the same where the range is stated for the signal itself: only for the converter's step


def signal_limits(one: Input) -> tuple[float, float, float, float]:
    """Signals (far below, below, above, far above); below the second or above the third is a fault.

    A lower limit of 0 means that nothing can be told there. The far limit of a pull-up lies where an open wire is nearer
    than the sender's end; elsewhere halfway from the inner limit to nought, or as far beyond the upper one as that is from the span.
    """
    if one.law == "live zero":
        return NAMUR_NE_43
    first, last = float(one.points[0][0]), float(one.points[-1][0])
    margin = (OWN_MARGIN if one.law == "itself" else MARGIN) * (last - first)
    low, high = first - margin, last + margin
    if low <= 0:
        far_low = low = 0.0
    else:
        far_low = low / 2
    if isinstance(one.circuit, PullUp):
        halfway = (pin_volts(one.circuit, high) + 1) / 2
        far_high = float(one.circuit.signal_of(np.array([halfway]))[0])
    else:
        far_high = high + margin
    return far_low, low, high, far_high


def count_windows(one: Input, signals: Floats) -> tuple[int, int, int, int]:
    """Counts (lowest, low, high, highest) for the limits, given the signal at each count.

    Below `low` or above `high` is a fault; below `lowest` or above `highest` the graver of the two.
    """
    far_low, low, high, far_high = signal_limits(one)
    top = COUNTS - 1
    up, down = 1 + ROUNDING, 1 - ROUNDING
    first = int(np.searchsorted(signals, low * down, "left")) if low > 0 else 0
    last = int(np.searchsorted(signals, high * up, "right")) - 1
    lowest = min(first, int(np.searchsorted(signals, far_low * up, "right"))) if low > 0 else 0
    highest = max(last, min(top, int(np.searchsorted(signals, far_high * down, "left")) - 1))
    if one.law == "itself":
        highest = top  # a supply that is too high is over, however far
    return lowest, first, last, highest
