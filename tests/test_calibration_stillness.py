"""Whether a signal is still: a table of signals, and its figures against the standard library's."""

import math
import statistics
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from gaugelight.boxfile import read_box
from gaugelight.calibration.stillness import (
    LEAST_SAMPLES,
    Limits,
    Sample,
    judge,
    limits_of,
    noise_of,
    period_of,
    resolution_of,
)
from gaugelight.chain import chain_of
from gaugelight.cli import DEMO

LIMITS = Limits(0.25, 0.25)
SENDERS = Path(__file__).parent / "senders.toml"
Signal = Callable[[float], float | None]


def noise(seconds: float, spread: float) -> float:
    return Random(round(seconds * 1000)).gauss(0, spread)


def samples(signal: Signal, until: float, every: float = 0.25) -> list[Sample]:
    made = []
    for k in range(round(until / every) + 1):
        value = signal(k * every)
        made.append(Sample(k * every, value, "" if value is not None else "open"))
    return made


# signal, seconds of it, how late the newest is looked at; still?; what moves, or which fault
CASES: dict[str, tuple[Signal, float, float, bool, str]] = {
    "stands": (lambda t: 20.0, 15, 0, True, ""),
    "stands, with the converter's noise": (lambda t: 20 + noise(t, 0.1), 15, 0, True, ""),
    "stands in steps of the converter": (lambda t: 20 + 0.01 * round(noise(t, 1)), 15, 0, True, ""),
    "not yet long enough": (lambda t: 20.0, 10, 0, False, ""),
    "too noisy": (lambda t: 20 + noise(t, 0.6), 15, 0, False, "it swings"),
    "drifts up slowly": (lambda t: 20 + t * 0.03, 15, 0, False, "it drifts up"),
    "drifts down in its noise": (lambda t: 20 - t * 0.03 + noise(t, 0.05), 15, 0, False, "it drifts down"),
    "drifts too little to count": (lambda t: 20 + t * 0.01, 15, 0, True, ""),
    "sloshes": (lambda t: 20 + math.sin(2 * t), 15, 0, False, "it swings"),
    "sloshes less and less, too much yet": (lambda t: 20 + math.exp(-t / 10) * math.sin(3 * t), 16, 0, False, "it swings"),
    "sloshed, and came to rest": (lambda t: 20 + math.exp(-t / 10) * math.sin(3 * t), 45, 0, True, ""),
    "jumped in the middle": (lambda t: 20.0 if t < 8 else 21.0, 15, 0, False, "it swings, it drifts up"),
    "jumped before": (lambda t: 20.0 if t < 8 else 21.0, 24, 0, True, ""),
    "a single spike": (lambda t: 24.0 if t == 9 else 20.0, 15, 0, False, "it swings"),
    "at fault now": (lambda t: None if t > 14 else 20.0, 15, 0, False, "open"),
    "was at fault a while ago": (lambda t: None if t < 5 else 20.0, 15, 0, False, ""),
    "was at fault before": (lambda t: None if t < 5 else 20.0, 20.25, 0, True, ""),
    "a stuck stream": (lambda t: 20.0, 15, 4, False, "the box does not answer"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_still_or_not(case: str) -> None:
    signal, seconds, late, still, why = CASES[case]
    taken = samples(signal, seconds)
    standing = judge(taken, LIMITS, taken[-1].at + late)
    assert standing.still == still and (standing.fault or standing.moves).startswith(why)
    assert bool(standing.fault or standing.moves) == bool(why)
    if still and "stands" in case:
        assert standing.mean == pytest.approx(20, abs=0.03)


def test_few_samples_are_not_enough() -> None:
    """A slow box: eight samples in the window are none to judge by."""
    slow = samples(lambda t: 20.0, 16, 2.0)
    assert len(slow) < LEAST_SAMPLES and not judge(slow, LIMITS, 16).still
    assert judge(samples(lambda t: 20.0, 15, 1.5), LIMITS, 15).still


def test_the_countdown_counts_down() -> None:
    """While it stands a second a second; it starts anew after a jump."""
    told = []
    for seconds in range(2, 24):
        taken = samples(lambda t: 20.0 if t < 6 else 25.0, seconds)
        told.append(judge(taken, LIMITS, seconds).remaining)
    assert told[:4] == [13.0, 12.0, 11.0, 10.0]
    assert told[-16:] == [pytest.approx(max(0, 21 - s), abs=0.3) for s in range(8, 24)]


def test_its_figures_against_the_standard_library() -> None:
    """Standard deviation and slope as Python's statistics has them."""
    taken = samples(lambda t: 20 + t / 50 + noise(t, 0.05), 15)
    standing = judge(taken, LIMITS, 15)
    signals = [sample.signal or 0.0 for sample in taken]
    slope = statistics.linear_regression([sample.at for sample in taken], signals).slope
    assert standing.spread == pytest.approx(statistics.stdev(signals))
    assert standing.drift == pytest.approx(slope * 15)
    assert standing.mean == pytest.approx(statistics.fmean(signals))


def test_limits_come_from_the_step_and_the_converter() -> None:
    """Of the demo's left tank a tenth of half a gallon, of 18 that 90 ohm are: 0.25 ohm. Of a bus on a pin of the processor its noise counts."""
    demo = read_box(DEMO)
    left, bus = demo.input("left fuel"), demo.input("bus")
    assert left is not None and bus is not None
    assert limits_of(demo, left).spread == pytest.approx(0.1 * 0.5 * 90 / 18)
    assert limits_of(demo, bus).drift == pytest.approx(3 * noise_of(demo, bus))
    assert noise_of(demo, bus) == pytest.approx(1.36 * 3.3 / 4096 * 5.7, rel=0.01)


@pytest.mark.parametrize("file", [DEMO, SENDERS])
def test_a_step_of_the_converter_is_no_more_than_the_signal_moves(file: Path) -> None:
    """Against the exact circuit, moved by a step at both ends and in the middle of the sender's range."""
    box = read_box(file)
    for one in box.inputs:
        chain = chain_of(box, one)
        resolution = resolution_of(box, one)
        moves = []
        for signal in (one.law.low, (one.law.low + one.law.high) / 2, one.law.high):
            volts = chain.pin_volts(signal)
            for other in (signal - resolution, signal + resolution):
                if other < 0 and one.circuit.unit != "mV":
                    continue
                moves.append(abs(chain.pin_volts(other) - volts) / one.converter.quantum)
        assert 0.9 <= min(moves) < 1.3, (one.name, moves)


def test_no_box_is_asked_more_often_than_it_scans() -> None:
    box = read_box(DEMO)
    for one in box.inputs:
        chip = one.converter.chip
        scan = 0.02 * sum(other.converter.chip == chip for other in box.inputs)
        assert period_of(box, one) >= max(0.2, scan if chip is not None else 0)
