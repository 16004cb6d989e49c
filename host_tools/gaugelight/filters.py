"""A low-pass of resistors and capacitors behind a chopped voltage: what ripple is left, and how long it takes to settle.

Exact for one stage and for two equal ones, the second loading the first. The source is stiff: it drives both ways, as a pin does; a
chopped bus does too as long as its lamps pull it down.
"""

import math
from dataclasses import dataclass

# of two equal stages, times the time constant: s^2 + 3 s + 1 = 0
POLES = {1: (-1.0,), 2: ((-3 + math.sqrt(5)) / 2, (-3 - math.sqrt(5)) / 2)}
SETTLED = 0.01  # of the step


@dataclass(frozen=True)
class Filter:
    """ohms, farads: of each stage. stages: one, or two equal ones."""

    ohms: float
    farads: float
    stages: int = 1

    def __post_init__(self) -> None:
        if self.stages not in POLES:
            raise ValueError(f"a filter of {self.stages} stages is not known; write 1 or 2")
        if not (self.ohms > 0 and self.farads > 0):
            raise ValueError("a filter's resistor and capacitor are above nought")

    @property
    def time_constant(self) -> float:
        """Of each stage by itself, in seconds."""
        return self.ohms * self.farads

    @property
    def modes(self) -> tuple[tuple[float, float], ...]:
        """Poles, in 1/s, and what each adds to a step of one: its answer is 1 + the sum of share exp(pole t)."""
        slow, *rest = (pole / self.time_constant for pole in POLES[self.stages])
        if not rest:
            return ((slow, -1.0),)
        fast = rest[0]
        return ((slow, fast / (slow - fast)), (fast, -slow / (slow - fast)))


def ripple(filter: Filter, hz: float, duty: float, volts: float = 1.0) -> float:
    """Peak to peak, in volts, once settled; volts: of the pulses. ValueError where the duty is not 0 to 1."""
    if not 0 <= duty <= 1:
        raise ValueError(f"a duty is 0 to 1, not {duty:g}")
    if duty in (0, 1):
        return 0.0
    high, low = duty / hz, (1 - duty) / hz
    if filter.stages == 1:
        return volts * _swing(-1 / filter.time_constant, high, low)
    # the highest is as far from the pulse's height as the lowest is from the ground with high and low exchanged
    return volts * (1 - _lowest(filter, high, low) - _lowest(filter, low, high))


def _swing(pole: float, high: float, low: float) -> float:
    """Of one mode of unit gain, from the end of the low to the end of the high."""
    return math.expm1(pole * high) * math.expm1(pole * low) / -math.expm1(pole * (high + low))


def _lowest(filter: Filter, high: float, low: float) -> float:
    """The lowest that two stages give: some time after the pulse has gone high, for they lag."""
    # 1 + the sum of a exp(p t) from the pulse's start; as it repeats, a = share (1 - exp(p low)) / (1 - exp(p period))
    (p, a), (q, b) = (
        (pole, share * math.expm1(pole * low) / math.expm1(pole * (high + low)))
        for pole, share in filter.modes
    )
    turn = math.log(-b * q / (a * p)) / (p - q)  # where its slope is nought
    return 1 + a * math.exp(p * turn) + b * math.exp(q * turn)


def settling(filter: Filter, share: float = SETTLED) -> float:
    """Seconds until what a step still lacks is a share of it."""

    def lacks(seconds: float) -> float:
        return -sum(part * math.exp(pole * seconds) for pole, part in filter.modes)

    low, high = 0.0, 100 * filter.time_constant
    for _ in range(100):  # halving: it only falls
        middle = (low + high) / 2
        low, high = (middle, high) if lacks(middle) > share else (low, middle)
    return high


def behind_divider(top: float, bottom: float, farads: float) -> tuple[float, Filter]:
    """A divider with a capacitor across its lower resistor: its share of the voltage, and the filter it is (Thevenin)."""
    return bottom / (top + bottom), Filter(top * bottom / (top + bottom), farads)
