"""The spectrum of a chopped current against the discrete Fourier transform of the sampled pulse."""

import math

import numpy as np
import pytest

from gaugelight.circuits import Floats
from gaugelight.spectrum import (
    AIRBAND,
    COCKPIT_AUDIO,
    amplitude,
    decibel_microamperes,
    envelope,
    largest_line,
    quieter,
    tones,
)

SAMPLES = 1 << 16
HZ = 4000.0
T = 1 / HZ


def sampled(high: float, rise: float, fall: float) -> Floats:
    """Peak amplitudes of the harmonics of a period drawn point by point: up, along, down, along."""
    corners = np.cumsum([0, rise, high - (rise + fall) / 2, fall])
    drawn = np.interp(np.arange(SAMPLES) * T / SAMPLES, corners, [0, 1, 1, 0])
    return 2 * np.abs(np.fft.rfft(drawn)) / SAMPLES


# as shares of the period
PULSES = {
    "half, slow edges": (0.5, 0.1, 0.1),
    "half, unequal edges": (0.5, 0.02, 0.15),
    "half, the other way about": (0.5, 0.15, 0.02),
    "a tenth": (0.1, 0.03, 0.07),
    "nine tenths": (0.85, 0.03, 0.07),
    "shortest: a triangle": (0.05, 0.03, 0.07),
    "longest: a notch": (0.89, 0.2, 0.02),
}


@pytest.mark.parametrize("pulse", PULSES.values(), ids=PULSES)
def test_amplitude(pulse: tuple[float, float, float]) -> None:
    """The first 300 harmonics, to 0.1 %; near a zero to 0.1 % of what the envelope is there."""
    high, rise, fall = (share * T for share in pulse)
    n = np.arange(1, 301)
    theirs = sampled(high, rise, fall)[n]
    ours = amplitude(HZ, n, high, rise, fall)
    assert np.all(np.abs(ours - theirs) <= 1e-3 * np.maximum(theirs, envelope(HZ, n, rise, fall)))


def test_a_square_wave() -> None:
    """4 / (pi n) peak to peak, 2 / (pi n) for a height of one, at odd harmonics only (any handbook)."""
    n = np.arange(1, 1001)
    assert amplitude(HZ, n, T / 2, 0, 0) == pytest.approx(np.where(n % 2, 2 / (np.pi * n), 0), abs=1e-12)


def test_all_the_power_is_there() -> None:
    """Parseval: the mean square of a trapezoid is high - (rise + fall) / 6 of the period (high at half its height)."""
    high, rise, fall = 0.3, 0.04, 0.01
    n = np.arange(1, 200_001)
    lines = amplitude(HZ, n, high * T, rise * T, fall * T)
    assert high**2 + np.sum(lines**2) / 2 == pytest.approx(high - (rise + fall) / 6, rel=1e-7)


EDGES = {
    "reference": (40e-9, 40e-9),
    "unequal": (40e-9, 55e-9),
    "slow": (2e-6, 2e-6),
    "gate driver": (15e-9, 15e-9),
}


@pytest.mark.parametrize("edges", EDGES.values(), ids=EDGES)
def test_no_duty_exceeds_the_envelope_in_the_airband_and_some_come_near(edges: tuple[float, float]) -> None:
    """With edges up to a fifth shorter or longer than they should be."""
    n = np.arange(math.ceil(AIRBAND[0] / HZ), math.floor(AIRBAND[1] / HZ) + 1)
    highs = 50e-6 + np.arange(0, 9e-9, 0.5e-9)  # half a wave of the band is 4 ns
    near = 0.0
    for rise, fall in np.outer(np.linspace(0.8, 1.2, 9), edges):
        bound = envelope(HZ, n, rise, fall)
        most = np.max([amplitude(HZ, n, high, rise, fall) for high in highs], axis=0)
        assert np.all(most <= bound * (1 + 1e-12))
        assert largest_line(HZ, rise, fall).amplitude == np.max(bound)
        near = max(near, float(np.max(most / bound)))
    assert near > 0.95


def test_the_reference_box_by_hand() -> None:
    """Both edges of 40 ns: 2 / (pi n) / (pi f edge) at the first harmonic in the band, the 29494th of 4 kHz."""
    line = largest_line(HZ, 40e-9, 40e-9)
    assert line.hz == 29494 * 4000 == 117_976_000
    assert line.amplitude == pytest.approx(2 / (math.pi * 29494) / (math.pi * 117.976e6 * 40e-9), rel=1e-12)
    # a strip of half an ampere
    assert decibel_microamperes(0.5 * line.amplitude) == pytest.approx(-5.8, abs=0.05)


@pytest.mark.parametrize("times, decibels", [(1, 0.0), (10, 20.0), (50, 33.98)])
def test_slower_edges_are_quieter_by_as_much(times: float, decibels: float) -> None:
    """Beyond 1 / edge a trapezoid's envelope falls with the edge: 20 dB a decade (Ott, EMC Engineering; from memory)."""
    assert quieter(HZ, (times * 40e-9, times * 40e-9), (40e-9, 40e-9)) == pytest.approx(decibels, abs=0.005)


def test_decibels() -> None:
    """0 dBuA is one microampere, root mean square."""
    assert decibel_microamperes(math.sqrt(2) * 1e-6) == pytest.approx(0, abs=1e-12)
    assert decibel_microamperes(math.sqrt(2) * 1e-3) == pytest.approx(60, abs=1e-12)


def test_tones() -> None:
    assert [tone.hz for tone in tones(1000, 0.4e-3, 40e-9, 40e-9)] == [1000, 2000, 3000]
    assert tones(4000, 0.1e-3, 40e-9, 40e-9) == ()
    (whine,) = tones(4000, 0.125e-3, 40e-9, 40e-9, COCKPIT_AUDIO)
    assert (whine.hz, whine.amplitude) == pytest.approx((4000, 2 / math.pi), rel=1e-6)
    high, rise, fall = 0.2 * T, 0.01 * T, 0.02 * T
    heard = [tone.amplitude for tone in tones(HZ, high, rise, fall, 20_000)]
    assert heard == pytest.approx(list(sampled(high, rise, fall)[1:6]), rel=1e-3)


@pytest.mark.parametrize("high", [39e-9, T - 39e-9, 0.0, T])
def test_no_room_for_the_edges(high: float) -> None:
    with pytest.raises(ValueError, match="no room"):
        amplitude(HZ, np.array([1]), high, 40e-9, 40e-9)


def test_no_line_in_the_band() -> None:
    with pytest.raises(ValueError, match="no harmonic of 1e"):
        largest_line(1e8, 1e-9, 1e-9)
