"""Where a signal stops being one: the limits of each input's faults, from its sender and its circuit together."""

import math

import numpy as np

from gaugelight.boxfile import Input
from gaugelight.chain import Chain
from gaugelight.circuits import Floats, PullUp
from gaugelight.converters import COUNTS
from gaugelight.laws import BEYOND, Itself, Thermocouple, Thermometer

ROUNDING = 1e-9  # of a signal: a limit that falls on a count exactly is met there, float or no float
OWN_MARGIN = (
    0.01  # of the span where the range is stated for the signal itself: only for the converter's step
)
LEAST_STEPS = (
    3  # of the converter, that a margin is wide: its own in the sample, in the rail's, and one of noise
)


def signal_limits(one: Input, chain: Chain) -> tuple[float, float, float, float]:
    """Signals (far below, below, above, far above); below the second or above the third is a fault.

    Where none are stated a signal is believed 5 % of the span beyond the sender's ends, or as far as its stated tolerance and 1 %
    more. Of a thermometer, whose resistance may run over decades, the margin is a share of each end. The far limit of a pull-up
    lies where an open wire is nearer than the sender's end; elsewhere halfway from the inner limit to nought, or as far beyond
    the upper one as that is from the span.
    """
    if one.limits is not None:
        far_low, low, high, far_high = map(float, one.limits)
        return far_low, low, high, far_high
    first, last = one.law.low, one.law.high
    share = OWN_MARGIN if isinstance(one.law, Itself) else max(BEYOND, _tolerance_share(one) + OWN_MARGIN)
    margin = 0.0 if isinstance(one.law, Thermocouple) else share * (last - first)  # that has its own
    low, high = first - margin, last + margin
    if isinstance(one.law, Thermometer):
        low, high = max(low, first * (1 - share)), min(high, last * (1 + share))
    far_low = low / 2 if low > 0 else low - (last - first) * BEYOND
    far_high = high + (last - first) * share
    if isinstance(one.circuit, PullUp):
        ends = chain.pin_volts(high), chain.driven(0.0, np.inf)
        halfway = np.array([(ends[0] + ends[1]) / 2])
        far_high = float(one.circuit.signal(halfway, chain.supply, chain.converter.load)[0])
    return far_low, low, high, far_high


def _tolerance_share(one: Input) -> float:
    """The sender's stated tolerance as a share of its span; 0 where none is stated."""
    if one.tolerance is None:
        return 0.0
    value = float(one.tolerance.value)
    if one.tolerance.unit == "%":
        return value / 100
    if one.tolerance.unit == one.circuit.unit:
        return value / (one.law.high - one.law.low)
    return value / (one.law.span[1] - one.law.span[0])


def count_windows(one: Input, chain: Chain, signals: Floats) -> tuple[int, int, int, int]:
    """Counts (lowest, low, high, highest) for the limits, given the signal at each count.

    Below `low` or above `high` is a fault; below `lowest` or above `highest` the graver of the two. Where nothing can be told
    below, `low` is 0.
    """
    far_low, low, high, far_high = signal_limits(one, chain)

    def below(limit: float) -> int:  # how many counts lie below a limit, or at it
        return int(np.searchsorted(signals, limit + abs(limit) * ROUNDING, "right"))

    def under(limit: float) -> int:  # how many lie below it
        return int(np.searchsorted(signals, limit - abs(limit) * ROUNDING, "left"))

    first, last = under(low), below(high) - 1
    if one.limits is None:
        least = math.ceil(LEAST_STEPS * chain.counts_a_step)
        first = max(0, min(first, under(one.law.low) - least))
        last = min(COUNTS - 1, max(last, below(one.law.high) - 1 + least))
    lowest = min(first, below(far_low))
    highest = max(last, min(COUNTS - 1, under(far_high) - 1))
    if isinstance(one.circuit, PullUp):  # where an open wire fills the converter, what fills it is open
        highest = max(last, min(highest, chain.count(chain.driven(0.0, np.inf)) - 1))
    if isinstance(one.law, Itself) and one.circuit.unit == "V":
        highest = COUNTS - 1  # a supply that is too high is over, however far
    return lowest, first, last, highest
