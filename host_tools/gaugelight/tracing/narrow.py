"""Which causes are left, and which measurement tells them apart best.

A cause is a region of states: the true level and what else is unknown. States are drawn over it, those nearest to what was measured are drawn
anew more closely, and so on; a cause is left while some state of it lies within NEAR tolerances of every measurement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelight.circuits import Floats
from gaugelight.tracing.causes import NONE, OFF_THE_BUS, Cause
from gaugelight.tracing.measurements import (
    NOT_ON_THE_BUS,
    TRUE,
    VOLTS_FIRST,
    WIGGLE,
    Measured,
    Measurement,
    available,
    at_places,
    off_by_place,
    tolerances,
)
from gaugelight.tracing.traced import Traced
from gaugelight.tracing.wired import Wired, predicted

NEAR = 3.0  # tolerances, within which a cause fits
STEEPER = 5.0  # than a good sender's: as steep as another's signal may be at a place
DRAWN = 192  # states for each unknown, at first
KEPT, AROUND = 32, 12  # the nearest of them, and how many are drawn around each
ROUNDS, CLOSER = 14, 0.6
HOPELESS = 25.0  # tolerances off, after HALF of the rounds
HALF = 5
SURVIVORS = 60  # of a cause, looked at for the next measurement
OUTCOMES = 10  # of a cause, tried for each measurement
LEAST_BITS = 0.02  # what is worth measuring
EFFORT_BITS = 0.08  # for so little more a measurement may be one unit of effort, or of danger, harder


@dataclass(frozen=True)
class Left:
    """off: how far the cause lies from the measurements, in tolerances, at best. states: those that fit, a row each, as shares."""

    cause: Cause
    off: float
    states: Floats

    @property
    def fits(self) -> bool:
        return self.off <= NEAR


@dataclass(frozen=True)
class Next:
    """left: the number of repairs that it is expected to leave; bits: what it is expected to tell."""

    measurement: Measurement
    left: float
    bits: float


def _levels(of: Traced, cause: Cause) -> tuple[float, float]:
    if cause.levels is not None:
        return cause.levels
    beyond = NEAR * of.sender_off
    return -beyond, 1 + beyond


def _wired(of: Traced, cause: Cause, states: Floats, place: float | None) -> Wired:
    low, high = _levels(of, cause)
    levels = low + states[:, 0] * (high - low) if place is None else np.full(len(states), place)
    values = [unknown.values(states[:, k + 1]) for k, unknown in enumerate(cause.unknown)]
    return cause.state(levels, *values)


def predictions(of: Traced, cause: Cause, states: Floats, measurement: Measurement) -> tuple[Floats, Floats]:
    """What that measurement gives in each state, least and most."""
    if measurement.what == TRUE:
        low, high = _levels(of, cause)
        levels = low + states[:, 0] * (high - low)
        return levels, levels
    return predicted(of, _wired(of, cause, states, measurement.place), measurement.what, len(states))


def _off(of: Traced, cause: Cause, states: Floats, found: Sequence[Measured]) -> Floats:
    """Of each state, the largest distance from what was measured, in tolerances."""
    worst = np.zeros(len(states))
    for one in found:
        low, high = predictions(of, cause, states, one.measurement)
        gap = np.maximum(np.maximum(low - one.high, one.low - high), 0.0)
        tolerance: Floats | float = one.tolerance
        if one.measurement.place is not None:
            tolerance = np.hypot(tolerance, _off_by_place(of, cause, states, one.measurement, low))
        worst = np.maximum(worst, gap / tolerance)
    return worst


def _off_by_place(of: Traced, cause: Cause, states: Floats, one: Measurement, there: Floats) -> Floats:
    """What the place and the sender's own tolerance leave unknown in each state; a jump, as of a worn track, is none of that."""
    assert one.place is not None
    good = off_by_place(of, one.what, one.place)
    beside = [
        predicted(of, _wired(of, cause, states, one.place + off), one.what, len(states))[0]
        for off in (-of.known_level_off, of.known_level_off)
    ]
    off = np.maximum(np.abs(beside[0] - there), np.abs(beside[1] - there))
    return np.where(off > STEEPER * good, good, off)


def left(of: Traced, causes: Sequence[Cause], found: Sequence[Measured]) -> tuple[Left, ...]:
    """Every cause, with how far it lies from what was measured."""
    return tuple(_left(of, cause, found) for cause in causes)


def _left(of: Traced, cause: Cause, found: Sequence[Measured]) -> Left:
    random = np.random.default_rng(8)
    unknown = 1 + len(cause.unknown)
    states = random.random((DRAWN * unknown, unknown))
    states[: 2**unknown] = (np.arange(2**unknown)[:, None] >> np.arange(unknown)) & 1  # the corners
    off = _off(of, cause, states, found)
    all_states, all_off = [states], [off]
    reach = 0.15
    for turn in range(ROUNDS):
        if np.count_nonzero(off <= NEAR / 2) > SURVIVORS or turn >= HALF and off.min() > HOPELESS:
            break
        best = np.argsort(off, kind="stable")[:KEPT]
        spread = random.uniform(-reach, reach, (KEPT * AROUND, unknown))
        drawn = np.clip(np.repeat(states[best], AROUND, axis=0)[: len(spread)] + spread, 0.0, 1.0)
        their = _off(of, cause, drawn, found)
        all_states.append(drawn)
        all_off.append(their)
        states, off = np.concatenate((states[best], drawn)), np.concatenate((off[best], their))
        reach *= CLOSER
    every, offs = np.concatenate(all_states), np.concatenate(all_off)
    return Left(cause, float(np.min(offs)), every[offs <= NEAR])


SAME_PLACE = 1e-3  # of the travel


def disagree(of: Traced, found: Sequence[Measured]) -> tuple[tuple[int, int], ...]:
    """Which two measurements of one kind at one place (or all at no place of their own) lie further apart than both their tolerances let them:
    no cause that stays as it is explains them."""
    pairs = []
    for k, one in enumerate(found):
        for j, other in enumerate(found[:k]):
            where, there = one.measurement.place, other.measurement.place
            if one.measurement.what != other.measurement.what or (where is None) != (there is None):
                continue
            tolerance = math.hypot(one.tolerance, other.tolerance)
            if where is not None and there is not None:
                if abs(where - there) > SAME_PLACE:
                    continue
                tolerance = math.hypot(tolerance, 2**0.5 * off_by_place(of, one.measurement.what, where))
            if max(one.low - other.high, other.low - one.high) > NEAR * tolerance:
                pairs.append((j, k))
    return tuple(pairs)


def no_one_cause(
    of: Traced, causes: Sequence[Cause], found: Sequence[Measured]
) -> tuple[tuple[int, int], ...]:
    """Which two measurements no cause gives together: of whatever kind, for a cause says through the circuit what each of them gives. One that
    no cause gives even by itself stands with itself. Worth asking only where no cause gives all of them."""
    alone = [[cause for cause in causes if _left(of, cause, [one]).fits] for one in found]
    return tuple(
        (j, k)
        for k, one in enumerate(found)
        for j, other in enumerate(found[: k + 1])
        if not alone[k]
        and j == k
        or alone[j]
        and alone[k]
        and not any(_left(of, cause, [other, one]).fits for cause in alone[k] if cause in alone[j])
    )


def groups(rows: Sequence[Left]) -> dict[str, list[Left]]:
    """Those that fit, by what is to be done: nothing first, then the likeliest."""
    found: dict[str, list[Left]] = {}
    for row in rows:
        if row.fits:
            found.setdefault(row.cause.repair, []).append(row)
    weights = {repair: sum(row.cause.weight for row in each) for repair, each in found.items()}
    return {
        repair: found[repair]
        for repair in sorted(found, key=lambda repair: (repair != NONE, -weights[repair]))
    }


def next_measurement(of: Traced, rows: Sequence[Left], found: Sequence[Measured]) -> Next | None:
    """The one that tells most of which repair it is (bits of entropy, by the weights of the causes), its effort and its danger taken off.
    None where nothing known here tells more. Where bus voltage may be on the wire, volts at the box come first, and nothing is done with
    power on at a sender in fuel, or with a part that would carry it.
    """
    fit = [row for row in rows if row.fits]
    repairs = sorted({row.cause.repair for row in fit})
    if len(repairs) < 2:
        return None
    done = {(one.measurement.what, one.measurement.place) for one in found}
    random = np.random.default_rng(88)
    chosen = [
        row.states[random.choice(len(row.states), SURVIVORS)] if len(row.states) > SURVIVORS else row.states
        for row in fit
    ]
    group = np.array([repairs.index(row.cause.repair) for row in fit])
    weights = np.array([row.cause.weight for row in fit])
    now = _entropy(weights, group, np.ones((1, len(fit)), bool))[0]
    tried = []
    on_bus = OFF_THE_BUS in repairs
    volts_first = on_bus and VOLTS_FIRST not in {what for what, _ in done}
    for one in (*available(of), *at_places(of)):
        if (one.what, one.place) in done:
            continue
        if on_bus and (one.what in NOT_ON_THE_BUS or one.place is not None and one.unit != "ohm"):
            continue
        if volts_first and (one.what, one.place) != (VOLTS_FIRST, None):
            continue
        bits, alone = _expected(of, fit, chosen, group, weights, one, random)
        tried.append(Next(one, alone, now - bits))
    tried = [one for one in tried if volts_first or one.bits >= LEAST_BITS]
    return max(tried, key=lambda one: one.bits - EFFORT_BITS * one.measurement.effort, default=None)


def _entropy(weights: Floats, group: Floats, consistent: Floats) -> Floats:
    """Bits, over the groups, for each row of what is consistent."""
    sums = np.stack(
        [(consistent * weights)[:, group == k].sum(axis=1) for k in range(int(group.max()) + 1)], axis=1
    )
    shares = sums / np.maximum(sums.sum(axis=1, keepdims=True), 1e-12)
    return np.asarray(-(shares * np.log2(np.maximum(shares, 1e-12))).sum(axis=1))


def _expected(
    of: Traced,
    fit: Sequence[Left],
    chosen: Sequence[Floats],
    group: Floats,
    weights: Floats,
    one: Measurement,
    random: np.random.Generator,
) -> tuple[float, float]:
    """Bits and number of groups that are left after that measurement, to be expected."""
    spans = [predictions(of, row.cause, states, one) for row, states in zip(fit, chosen)]
    outcomes, chances = [], []
    for k, (low, high) in enumerate(spans):
        at = random.integers(0, len(low), OUTCOMES)
        between = random.random(OUTCOMES).round() if one.what == WIGGLE else random.random(OUTCOMES)
        outcomes.append(low[at] + between * (high[at] - low[at]))
        chances.append(np.full(OUTCOMES, weights[k] / OUTCOMES))
    values, chance = np.concatenate(outcomes), np.concatenate(chances)
    reach = NEAR * tolerances(of, one, values)
    if one.place is not None:
        reach = np.hypot(reach, NEAR * off_by_place(of, one.what, one.place))
    consistent = np.zeros((len(values), len(fit)), bool)
    for k, (low, high) in enumerate(spans):
        gap = np.maximum(np.maximum(low[None, :] - values[:, None], values[:, None] - high[None, :]), 0.0)
        undrawn = (np.max(high) - np.min(low)) / (2 * len(low))
        consistent[:, k] = gap.min(axis=1) <= reach + (0 if one.what == WIGGLE else undrawn)
    for k in range(len(fit)):
        consistent[k * OUTCOMES : (k + 1) * OUTCOMES, k] = True
    chance = chance / chance.sum()
    bits = float(np.sum(chance * _entropy(weights, group, consistent)))
    number = np.stack(
        [consistent[:, group == k].any(axis=1) for k in range(int(group.max()) + 1)], axis=1
    ).sum(axis=1)
    return bits, float(np.sum(chance * number))
