"""Whether a signal stands still: its spread and its drift over a window, both below a stated limit.

Spread is the standard deviation of the samples, drift how far a straight line through them (least squares) goes over the window.
What both may be is a tenth of a displayed step, as signal; or three times what the converter itself makes of a signal that does not move,
where that is more. It is the signal that is judged: the box damps its readings only. A box's values repeat until its next scan,
so it is not asked more often than it scans.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelight.boxfile import Box, Input
from gaugelight.chain import Chain, chain_of
from gaugelight.circuits import Floats
from gaugelight.converters import ChipInput, OnChip
from gaugelight.error_budget import PIN_NOISE

WINDOW_S = 15.0
LEAST_SAMPLES = 10
FEWEST = 3  # to say anything by
PATIENCE_S = 180.0  # then what moves is named, and it can be taken with its larger spread
OLD_S = 2.0  # without a new sample
FASTEST_S = 0.2  # between two questions
OF_A_STEP = 0.1
OF_THE_NOISE = 3.0
CHIP_NOISE = 1.0  # steps, standard deviation: SBAS444 gives its noise at 128 Hz as below a step of the wider ranges; from memory


@dataclass(frozen=True)
class Sample:
    """At a time, in seconds of any clock; signal None: at fault, or the box did not answer."""

    at: float
    signal: float | None
    fault: str = ""


@dataclass(frozen=True)
class Limits:
    """In the unit of the signal. spread: a standard deviation; drift: over the window; window: seconds."""

    spread: float
    drift: float
    window: float = WINDOW_S
    patience: float = PATIENCE_S


@dataclass(frozen=True)
class Standing:
    """How it stands. remaining: seconds until it would be still, if it stays as it is; None: nobody knows.

    mean, spread, drift: over what is looked at, the window at most; None where there is too little.
    fault: why there is no signal, "" where there is one.
    """

    still: bool
    remaining: float | None
    mean: float | None = None
    spread: float | None = None
    drift: float | None = None
    samples: int = 0
    fault: str = ""
    moves: str = ""  # what keeps it from being still, in words


def limits_of(box: Box, one: Input, window: float = WINDOW_S, patience: float = PATIENCE_S) -> Limits:
    step = float(one.step) * (one.law.high - one.law.low) / (one.law.span[1] - one.law.span[0])
    most = max(OF_A_STEP * step, OF_THE_NOISE * noise_of(box, one))
    return Limits(most, most, window, patience)


def noise_of(box: Box, one: Input) -> float:
    """What the converter makes of a signal that stands still: a standard deviation, in the unit of the signal, where it is largest."""
    return _steps_of(one) * resolution_of(box, one)


def _steps_of(one: Input) -> float:
    if isinstance(one.converter, OnChip):
        return PIN_NOISE  # of one sample; the mean of several has finer steps too
    return CHIP_NOISE


def resolution_of(box: Box, one: Input) -> float:
    """A step of the converter, in the unit of the signal, where it is largest within the sender's range."""
    chain: Chain = chain_of(box, one)
    signals = chain.signals()
    within = (signals >= one.law.low) & (signals <= one.law.high)
    inside = np.flatnonzero(within)
    rises = np.abs(np.diff(signals[max(0, inside[0] - 1) : inside[-1] + 2]))
    return float(np.max(rises)) * chain.counts_a_step


def resolution_at(box: Box, one: Input, signals: Sequence[float]) -> list[float]:
    """A step of the converter, in the unit of the signal, at each of these, whatever the sender's law says of them."""
    chain: Chain = chain_of(box, one)
    there = chain.signals()
    steps = np.abs(np.gradient(there)) * chain.counts_a_step
    return [float(steps[np.argmin(np.abs(there - signal))]) for signal in signals]


def period_of(box: Box, one: Input) -> float:
    """Seconds between two questions: no more often than the input is sampled anew."""
    if not isinstance(one.converter, ChipInput):
        return FASTEST_S
    chip = one.converter.chip
    on_it = sum(other.converter.chip == chip for other in box.inputs)
    return max(FASTEST_S, on_it * max(0.02, 1.2 / chip.rate + 0.02))


def judge(samples: Sequence[Sample], limits: Limits, now: float) -> Standing:
    """By the newest samples, oldest first."""
    if not samples:
        return Standing(False, None, fault="no answer yet")
    newest = samples[-1]
    if newest.signal is None:
        return Standing(False, None, fault=newest.fault)
    if now - newest.at > max(OLD_S, limits.window / 5):
        return Standing(False, None, fault="the box does not answer")
    tail = [s for s in _since_the_last_fault(samples) if newest.at - s.at <= limits.window * 1.02]
    spreads, drifts = _of_each_tail(tail)
    mean = float(np.mean([s.signal for s in tail if s.signal is not None]))
    spread, drift = (spreads[0], drifts[0]) if len(tail) >= FEWEST else (None, None)
    full = newest.at - tail[0].at >= limits.window * 0.98 - _gap(tail) and len(tail) >= LEAST_SAMPLES
    over = []
    if spread is not None and spread > limits.spread:
        over.append("it swings")
    if drift is not None and abs(drift) > limits.drift:
        over.append("it drifts " + ("up" if drift > 0 else "down"))
    if full and not over:
        return Standing(True, 0.0, mean, spread, drift, len(tail))
    remaining = _remaining(tail, spreads, drifts, limits)
    return Standing(False, remaining, mean, spread, drift, len(tail), "", ", ".join(over))


def _since_the_last_fault(samples: Sequence[Sample]) -> list[Sample]:
    kept: list[Sample] = []
    for sample in reversed(samples):
        if sample.signal is None:
            break
        kept.append(sample)
    return kept[::-1]


def _gap(tail: Sequence[Sample]) -> float:
    return (tail[-1].at - tail[0].at) / (len(tail) - 1) if len(tail) > 1 else 0.0


def _of_each_tail(samples: Sequence[Sample]) -> tuple[list[float], list[float]]:
    """Standard deviation, and drift from first to last (least squares), of all samples, of all but the first, and so on; the last two are as
    good as still."""
    count = np.arange(len(samples), 0, -1)
    t = np.array([s.at for s in samples]) - samples[-1].at
    x = np.array([s.signal for s in samples], dtype=np.float64)
    x -= x[-1]

    def summed(values: Floats) -> Floats:
        made: Floats = np.cumsum(values[::-1])[::-1]
        return made

    st, sx = summed(t), summed(x)
    with np.errstate(divide="ignore", invalid="ignore"):
        spreads = np.sqrt(np.maximum(0.0, summed(x * x) - sx * sx / count) / (count - 1))
        drifts = (count * summed(t * x) - st * sx) / (count * summed(t * t) - st * st) * -t
    spreads[-2:] = drifts[-2:] = 0.0
    return spreads.tolist(), drifts.tolist()


def _remaining(
    tail: Sequence[Sample], spreads: Sequence[float], drifts: Sequence[float], limits: Limits
) -> float:
    """The window less the longest stretch up to now that is still as far as it goes."""
    still = [spread <= limits.spread and abs(drift) <= limits.drift for spread, drift in zip(spreads, drifts)]
    first = max((k for k, one in enumerate(still) if not one), default=-1) + 1
    few = (LEAST_SAMPLES - len(tail)) * _gap(tail)
    return max(limits.window - (tail[-1].at - tail[first].at), few, 0.0)
