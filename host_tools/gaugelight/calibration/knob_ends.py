"""Where a knob's travel ends and where its click lies, from counts taken at its stops and on either side of the click.

Written is what a stop, or the click, is found at again 19 times in 20: the mean of what was taken, moved inward by the half width of the
prediction interval for one more (ISO 16269-8, normal, unknown spread: t s sqrt(1 + 1/n); from memory).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace

from gaugelight.calibration.distributions import student_95
from gaugelight.light_tables import FULL_COUNT, Travel, too_near_a_fault, travel
from gaugelight.lights import LEAST_TRAVEL, Knob

LEAST_ROUNDS = 3
LEAST_PLAY = 1.0  # per cent of travel, between off_below and on_above: many times what a knob jitters
CODE = 16  # counts, of the on-chip converter
# how far a stop may be from the same one taken before, of 3.3 V
FOUND_AGAIN = 0.02


@dataclass(frozen=True)
class Found:
    """A place taken several times. mean; inward: how far one more may lie from it, at 95 %; spread: standard deviation."""

    mean: float
    spread: float
    inward: float


@dataclass(frozen=True)
class Ends:
    """A knob's stops, as shares 0..1 of 3.3 V. gained: per cent of the turn that were dead and now count."""

    low: Found
    high: Found
    knob: Knob
    gained: float

    def level(self, count: float) -> float:
        """Per cent of the travel, as the box will count it."""
        counts = travel(self.knob)
        return min(100.0, max(0.0, (count - counts.low) / (counts.high - counts.low) * 100))


@dataclass(frozen=True)
class Click:
    """In per cent of the travel. off, on: as found, after it has clicked off and on."""

    off_below: float
    on_above: float
    off: Found
    on: Found


def fault_of(knob: Knob, count: int) -> str | None:
    """What is wrong with a knob at that count, in words; None: nothing that can be told."""
    counts = travel(replace(knob, stops=None))
    if count < 0:
        return "its contact breaks, or it has not been sampled yet"
    if count < counts.lowest:
        return "open: its wiper or its upper end is broken, or the wiper lies on ground"
    if count > counts.highest:
        return "its lower end is broken, or the wiper lies on 3.3 V"
    return None


def found(values: Sequence[float], step: float) -> Found:
    """step: of the converter; within it a value lies anywhere (JCGM 100, 4.3.7)."""
    n = len(values)
    spread = math.hypot(statistics.stdev(values), step / math.sqrt(12))
    return Found(statistics.fmean(values), spread, student_95(n - 1) * spread * math.sqrt(1 + 1 / n))


def check_ends(knob: Knob, lows: Sequence[int], highs: Sequence[int]) -> None:
    """From the first turn on. Raises ValueError where it is broken, did not move, or moved the other way."""
    for where, counts in (("lower", lows), ("upper", highs)):
        for count in counts:
            if (fault := fault_of(knob, count)) is not None:
                raise ValueError(f"at its {where} end: {fault}")
    low, high = statistics.fmean(lows) / FULL_COUNT, statistics.fmean(highs) / FULL_COUNT
    if abs(high - low) < LEAST_TRAVEL / 2:
        raise ValueError(
            f"it has hardly moved: {_at(low, high)}; is it the knob on GP{knob.pin}, and was it turned from stop to stop?"
        )
    if low > high:
        raise ValueError(
            f"it goes down where it should go up: {_at(low, high)}; if you turned it the right way (up: clockwise), its outer wires"
            " are swapped: change them over at the knob"
        )


def find_ends(knob: Knob, lows: Sequence[int], highs: Sequence[int]) -> Ends:
    """From counts taken at the lower stop and at the upper, in turn. Raises ValueError in plain words."""
    if min(len(lows), len(highs)) < LEAST_ROUNDS:
        raise ValueError(f"turn it to either end {LEAST_ROUNDS} times at least")
    check_ends(knob, lows, highs)
    low = found([count / FULL_COUNT for count in lows], CODE / FULL_COUNT)
    high = found([count / FULL_COUNT for count in highs], CODE / FULL_COUNT)
    at = _at(low.mean, high.mean)
    for where, counts in (("lower", lows), ("upper", highs)):
        if (apart := (max(counts) - min(counts)) / FULL_COUNT) > FOUND_AGAIN:
            raise ValueError(
                f"its {where} end is not found again: {', '.join(_percent(c / FULL_COUNT) for c in counts)} of 3.3 V,"
                f" {_percent(apart)} apart; turn it fully to its stop each time; a contact that is worn does this too"
            )
    if high.mean - low.mean < LEAST_TRAVEL:
        raise ValueError(
            f"it moves over {_percent(high.mean - low.mean)} of 3.3 V only: {at}; is its track as small as that?"
        )
    if (near := too_near_a_fault(knob, low.mean, high.mean)) is not None:
        raise ValueError(near)
    measured = replace(
        knob,
        stops=(
            math.ceil((low.mean + low.inward) * 1000) / 1000,
            math.floor((high.mean - high.inward) * 1000) / 1000,
        ),
    )
    return Ends(low, high, measured, _dead(travel(knob), low, high) - _dead(travel(measured), low, high))


def _dead(counts: Travel, low: Found, high: Found) -> float:
    """Per cent of the way between the stops that are off or full already."""
    whole = (high.mean - low.mean) * FULL_COUNT
    return (max(0.0, counts.low - low.mean * FULL_COUNT) + max(0.0, high.mean * FULL_COUNT - counts.high)) / (
        whole / 100
    )


def find_click(ends: Ends, offs: Sequence[int], ons: Sequence[int]) -> Click:
    """From counts taken just after it has clicked off, turned down, and on, turned up. Raises ValueError in plain words.

    Whoever hears it click off must see the lamp off, and on likewise: off_below lies above all that off is, on_above below all that on is.
    """
    if min(len(offs), len(ons)) < LEAST_ROUNDS:
        raise ValueError(f"let it click {LEAST_ROUNDS} times each way at least")
    for count in (*offs, *ons):
        if (fault := fault_of(ends.knob, count)) is not None:
            raise ValueError(fault)
    counts = travel(ends.knob)
    step = CODE / (counts.high - counts.low) * 100
    off, on = (found([ends.level(count) for count in taken], step) for taken in (offs, ons))
    if on.mean < off.mean - LEAST_PLAY:
        raise ValueError(
            f"it stands lower once it has clicked on ({on.mean:.1f} %) than once it has clicked off ({off.mean:.1f} %):"
            " turn it up until it has just clicked, and down until it has just clicked"
        )
    off_below = math.ceil((off.mean + off.inward) * 10 + 0.5) / 10
    on_above = math.floor((on.mean - on.inward) * 10 - 0.5) / 10
    if on_above - off_below < LEAST_PLAY:
        raise ValueError(
            f"off (up to {off.mean + off.inward:.1f} %) and on (from {on.mean - on.inward:.1f} % of the travel) lie within"
            f" {LEAST_PLAY:g} % of each other: its click cannot be told from a knob that is a little turned; it keeps what the file says"
        )
    if on_above > 50:
        raise ValueError(f"it clicks on at {on.mean:.0f} % of its travel: that is no click at its lower end")
    return Click(off_below, on_above, off, on)


def _at(low: float, high: float) -> str:
    return f"{_percent(low)} of 3.3 V at the lower end, {_percent(high)} at the upper"


def _percent(share: float) -> str:
    return f"{share * 100:.1f} %"
