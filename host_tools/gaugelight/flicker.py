"""Whether a light that is chopped may trouble anyone: IEEE Std 1789-2015, 8.1.1.

Modulation is 100 % (brightest - darkest) / (brightest + darkest) of the light over a period: a lamp that is switched on and off has
100 %. The figures are from what others publish of the standard, not from its text.
"""

from dataclasses import dataclass
from typing import Literal

Region = Literal["no observable effect", "low risk", "risky"]

SLOW = 90.0  # Hz: below it the eye may follow
NO_EFFECT = (
    0.01,
    0.0333,
    3000.0,
)  # per cent of modulation per hertz, below SLOW and above, and the Hz above which all is free
LOW_RISK = (0.025, 0.08, 1250.0)


@dataclass(frozen=True)
class Limits:
    """Most modulation, in per cent, without an observable effect and with a low risk; 100 where all is free."""

    no_effect: float
    low_risk: float


def limits(hz: float) -> Limits:
    """At a frequency of the light in hertz. ValueError where it is none."""
    if not hz > 0:
        raise ValueError(f"{hz} Hz is no frequency of a light")
    return Limits(*(_most(hz, *slopes) for slopes in (NO_EFFECT, LOW_RISK)))


def _most(hz: float, slow: float, fast: float, free: float) -> float:
    return 100.0 if hz > free else hz * (slow if hz < SLOW else fast)


def region(hz: float, modulation_percent: float) -> Region:
    """Where a light belongs. ValueError where the modulation is not 0 to 100 %, or the frequency none."""
    if not 0 <= modulation_percent <= 100:
        raise ValueError(f"a modulation is 0 to 100 %, not {modulation_percent} %")
    most = limits(hz)
    if modulation_percent <= most.no_effect:
        return "no observable effect"
    return "low risk" if modulation_percent <= most.low_risk else "risky"
