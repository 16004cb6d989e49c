"""The spectrum of a chopped current: tones in the headset, lines in the radio.

The pulse is a trapezoid: straight edges, each with its own time from 0 to 100 %, and as long as it is at half its height. Its Fourier
coefficients follow from those of its derivative, which is two boxes (any textbook of Fourier series). Straight edges have sharp
corners, which real ones have not: far above 1 / edge the lines are upper bounds.
"""

import math
from dataclasses import dataclass

import numpy as np

from gaugelight.circuits import Counts, Floats

VOICE = 3400.0  # Hz, the top of the telephone's voice band, 300 to 3400 Hz (ITU-T G.712; from memory)
COCKPIT_AUDIO = 6000.0  # Hz, the top of what an aircraft's audio panel carries (RTCA DO-214A; from memory)
AIRBAND = (
    117.975e6,
    137e6,
)  # Hz, aeronautical mobile (R): ITU Radio Regulations, article 5; ICAO Annex 10, volume V


@dataclass(frozen=True)
class Line:
    """hz: where it is. amplitude: its peak, per unit of the pulse's height."""

    hz: float
    amplitude: float


def amplitude(hz: float, n: Counts, high_seconds: float, rise: float, fall: float) -> Floats:
    """Peak amplitude of the harmonics n (1, 2, ...) of a pulse train at hz, per unit of the pulse's height.

    high_seconds: at half its height; rise, fall: seconds. ValueError where the pulse does not reach its height or the ground.
    """
    edges = (rise + fall) / 2
    if not edges * (1 - 1e-9) <= high_seconds <= (1 / hz - edges) * (1 + 1e-9):
        raise ValueError(
            f"a pulse of {high_seconds:g} s every {1 / hz:g} s has no room for edges of {rise:g} and {fall:g} s"
        )
    turn = np.exp(-2j * np.pi * np.remainder(n * (hz * high_seconds), 1.0))
    return np.asarray(np.abs(np.sinc(n * hz * rise) - turn * np.sinc(n * hz * fall)) / (np.pi * n))


def envelope(hz: float, n: Counts, rise: float, fall: float) -> Floats:
    """What no harmonic n exceeds, at whatever duty, and comes near to at the worst; peak, per unit of the pulse's height.

    Without the zeros, which lie at multiples of 1 / edge: no real edge keeps to them.
    """
    at = np.pi * hz * n
    return np.asarray((1 / np.maximum(1.0, at * rise) + 1 / np.maximum(1.0, at * fall)) / (np.pi * n))


def tones(hz: float, high_seconds: float, rise: float, fall: float, top: float = VOICE) -> tuple[Line, ...]:
    """The harmonics up to `top` hertz, which a headset may whine with; none where the pulse train is faster than that."""
    n = np.arange(1, math.floor(top / hz) + 1)
    if not n.size:
        return ()
    return tuple(Line(hz * int(k), float(a)) for k, a in zip(n, amplitude(hz, n, high_seconds, rise, fall)))


def largest_line(hz: float, rise: float, fall: float, band: tuple[float, float] = AIRBAND) -> Line:
    """The largest line in a band at the worst duty. ValueError where no harmonic lies in the band."""
    low, high = band
    n = math.ceil(low / hz)  # the envelope only falls
    if n * hz > high:
        raise ValueError(f"no harmonic of {hz:g} Hz lies from {low:g} to {high:g} Hz")
    return Line(n * hz, float(envelope(hz, np.array([n]), rise, fall)[0]))


def quieter(
    hz: float,
    slow: tuple[float, float],
    fast: tuple[float, float],
    band: tuple[float, float] = AIRBAND,
) -> float:
    """By how many decibels slow edges (rise, fall) are quieter than fast ones, by the largest line in a band."""
    return 20 * math.log10(largest_line(hz, *fast, band).amplitude / largest_line(hz, *slow, band).amplitude)


def decibel_microamperes(peak_amperes: float) -> float:
    """A line's current in dBuA: of its root mean square, as a measuring receiver shows it."""
    return 20 * math.log10(peak_amperes / math.sqrt(2) / 1e-6)
