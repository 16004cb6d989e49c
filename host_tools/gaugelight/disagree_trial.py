"""How often the disagree alert cries wolf and how soon it is right: simulated flights through the very code of the box.

    python -m gaugelight.disagree_trial [--flights N] [--seed S] [--json]

The aircraft, its slosh, attitudes, gauges and faults are a model of our own invention: no flight has been recorded for it. What it
finds holds for an aircraft that is no rougher than the model, and for bands of burn and transfer that are true.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gaugebox.disagree import (
    FEEDS,
    MAY_FEED,
    NOT_JUDGED,
    READS_HIGH,
    RESTS,
    TURN_MS,
    Disagree,
)
from gaugelight.proportions import clopper_pearson

Line = NDArray[np.floating[Any]]

TURN_S = TURN_MS // 1000
TURNS_PER_HOUR = 3600 // TURN_S
TUNED_ON, HELD_OUT = 1, 20260  # seeds: what the allowances were chosen with, what is reported
FLIGHTS = 7200
SETTLED = 180  # turns after a fault has gone in which an alert still is of it

# the aircraft: two wing tanks of the demo's kind, a reserve tank in the hull that refills both; gal, gal/h, ohm, V
TANK, BRIM, RESERVE = 18.0, 2.0, 10.0  # what the float sees, what goes in above it
OHMS, GALLONS = [0.0, 21.0, 46.0, 71.0, 90.0], [0.0, 4.0, 9.5, 15.0, 18.0]
OVER = 95.0
PULL_UP, RAIL = 150.0, 3.3
BURN = (7.2, 8.8)  # of one flight, of all its cruise
CLIMB, DESCENT = 1.25, 0.75  # of it
PUMP = (10.8, 13.2)
SHARE = (0.46, 0.54)  # of one tank in what both take from the pump, or give to the engine
AR_12_S = math.exp(-TURN_S / 12)  # what a turn leaves of slosh behind a damper of 12 s
AIR = {
    "smooth": 0.05,
    "light": 0.2,
    "rough": 0.5,
}  # slosh behind that damper, gal (1 sigma): the last is beyond +-1 gal at 95 %
PITCH, PITCH_OF_ONE, SKID = 0.35, 0.2, 0.25  # what climbs and descents, and flying askew shift, gal (1 sigma)
SLOPE, WIGGLE = (
    0.025,
    0.1,
)  # of a gauge's calibration: share of the reading, gal (1 sigma): some +-5 % of a full tank at 95 %

PUMP_TOLD = (
    (470, 750),
    (470, 750),
    (1000, 1400),
)  # the bands of the left, the right, the sum, in hundredths of a gal/h
ARRANGEMENTS = ("both", "selector told", "selector not told")
GAUGES = ("left", "right", "sum")


def record(low: float, high: float, **other: int) -> SimpleNamespace:
    """A `DisagreeRecord` for burn between `low` and `high` gal/h, read on gauges whose scale is 5 % off at most."""
    fields = {
        "burn_low": round(low * 95),
        "burn_high": round(high * 105),
        "allowance": 170,
        "smoothing": 60,
        "top": 1750,
        "unseen": 250,
        "bottom": 20,
    }
    return SimpleNamespace(**(fields | other))


SUM = {"allowance": 220, "top": 3100, "unseen": 500}


def records(arrangement: str) -> list[SimpleNamespace]:
    """Of the left, the right, and both tanks together."""
    one = record(3.2, 4.8) if arrangement == "both" else record(7, 9)
    return [one, one, record(7, 9, **SUM)]


@dataclass
class Flight:
    """A flight turn by turn, fuel in gal; what is indexed by a gauge is of left, right."""

    arrangement: str
    fuel: list[Line]
    shown: list[Line]  # as healthy gauges would
    feed: list[NDArray[np.int64]]
    pump: NDArray[np.bool_]
    flying: NDArray[np.bool_]
    fault: list[NDArray[np.bool_]]
    read: list[Line] = field(default_factory=list)
    excess: Line = field(default_factory=lambda: np.zeros(0))  # what the left gauge reads too much
    onset: int = -1

    @property
    def turns(self) -> int:
        return len(self.pump)


def _ohms(gallons: Line) -> Line:
    return np.interp(gallons, GALLONS, OHMS)


def _from_ohms(ohms: Line) -> Line:
    return np.interp(ohms, OHMS, GALLONS)


def _shifts(random: np.random.Generator, climbs: Line) -> list[Line]:
    """What slosh and attitude add to the left and the right gauge."""
    turns = len(climbs)
    air = np.empty(turns)
    at = 0
    while at < turns:
        lasts = int(random.uniform(10, 60) * 60 / TURN_S)
        air[at : at + lasts] = random.choice(list(AIR.values()), p=[0.45, 0.35, 0.2])
        at += lasts
    skid = np.zeros(turns)
    at = 0
    while at < turns:
        lasts = int(random.uniform(1, 8) * 60 / TURN_S)
        skid[at : at + lasts] = random.normal(0, SKID)
        at += lasts
    pitch = random.normal(0, PITCH)
    found = []
    for side in (1, -1):
        white = random.normal(0, math.sqrt(1 - AR_12_S**2), turns)
        slosh = np.empty(turns)
        last = random.normal()
        for i in range(turns):
            last = AR_12_S * last + white[i]
            slosh[i] = last
        found.append(slosh * air + side * skid + climbs * (pitch + random.normal(0, PITCH_OF_ONE)))
    return found


def _calibration(random: np.random.Generator) -> tuple[float, float, int, float]:
    return (
        random.normal(0, SLOPE),
        random.normal(0, WIGGLE),
        int(random.integers(1, 3)),
        random.uniform(0, 2 * math.pi),
    )


def _shown(fuel: Line, shift: Line, calibration: tuple[float, float, int, float]) -> Line:
    slope, wiggle, waves, phase = calibration
    off = slope * fuel + wiggle * np.sin(2 * math.pi * waves * fuel / TANK + phase)
    shown: Line = np.clip(np.minimum(fuel, TANK) + off + shift, 0, TANK)
    return shown


def fly(random: np.random.Generator, arrangement: str, longest_h: float = 5.0, **trouble: float) -> Flight:
    """A flight with healthy gauges. trouble: `leak` in gal/h of the left tank and `leaks_from` in turns; `pump_dead`: it is told to
    run, and nothing arrives; `refuelled`: it lands in the middle and goes on with that much more in the left tank.
    """
    turns = int(random.uniform(min(2.5, longest_h), longest_h) * TURNS_PER_HOUR)
    burn = random.uniform(*BURN) / TURNS_PER_HOUR
    climb, descent = (int(random.uniform(8, 20) * 60 / TURN_S) for _ in range(2))
    climbs = np.zeros(turns)
    climbs[:climb] = 1
    climbs[turns - descent :] = -1
    at = climb
    while at < turns - descent:  # now and then to another height
        at += int(random.uniform(30, 80) * 60 / TURN_S)
        climbs[at : at + int(random.uniform(3, 8) * 60 / TURN_S)] = random.choice([-1, 1])
    share, pumped_share = random.uniform(*SHARE), random.uniform(*SHARE)
    pump_rate = random.uniform(*PUMP) / TURNS_PER_HOUR
    brim = random.random() < 0.15
    left, right = random.uniform(TANK, TANK + BRIM, 2) if brim else random.uniform(11, TANK, 2)
    reserve = RESERVE
    refuelled = trouble.get("refuelled", 0.0)
    stop = turns // 2 if refuelled else -1
    ground = int(10 * 60 / TURN_S)
    fuel: list[Line] = [np.empty(turns), np.empty(turns)]
    feed = [np.full(turns, FEEDS), np.full(turns, FEEDS)]
    pump = np.zeros(turns, dtype=bool)
    flying = np.ones(turns, dtype=bool)
    from_left = left > right
    pumping = False
    for i in range(turns):
        on_ground = stop <= i < stop + ground
        if on_ground:
            flying[i] = False
            climbs[i] = 0
            if i == stop + ground // 2:
                left = min(TANK, left + refuelled)
        else:
            takes = burn * (CLIMB if climbs[i] > 0 else DESCENT if climbs[i] < 0 else 1)
            if i % (TURNS_PER_HOUR // 2) == 0 or (left if from_left else right) < 1:
                from_left = left > right
            of_left = share if arrangement == "both" else float(from_left)
            left -= takes * of_left
            right -= takes * (1 - of_left)
            if i >= trouble.get("leaks_from", turns):
                left -= trouble["leak"] / TURNS_PER_HOUR
            if left + right < 16 and not pumping and reserve == RESERVE:
                pumping = True
            pumping = pumping and reserve > 0
            if pumping:
                pump[i] = True
                reserve -= pump_rate
                if not trouble.get("pump_dead"):
                    left += pump_rate * pumped_share
                    right += pump_rate * (1 - pumped_share)
        if min(left, right) < 0.5 and (arrangement == "both" or left + right < 2):
            turns = i
            break
        left, right = max(0, left), max(0, right)
        fuel[0][i], fuel[1][i] = left, right
        if arrangement == "selector told":
            feed[0][i], feed[1][i] = (FEEDS, RESTS) if from_left else (RESTS, FEEDS)
        elif arrangement == "selector not told":
            feed[0][i] = feed[1][i] = MAY_FEED
    shifts = _shifts(random, climbs)
    shown = [_shown(fuel[k][:turns], shifts[k][:turns], _calibration(random)) for k in (0, 1)]
    return Flight(
        arrangement,
        [one[:turns] for one in fuel],
        shown,
        [one[:turns] for one in feed],
        pump[:turns],
        flying[:turns],
        [np.zeros(turns, dtype=bool) for _ in (0, 1)],
        list(shown),
        np.zeros(turns),
    )


# what goes wrong with the left gauge: each makes a flight, with `read`, `excess` and `onset`


def _somewhere(random: np.random.Generator, turns: int) -> int:
    return int(random.uniform(0.15, 0.4) * turns)


def _misread(flight: Flight, onset: int, read: Line) -> Flight:
    flight.onset = onset
    flight.excess = read - flight.shown[0]
    flight.excess[:onset] = 0
    flight.read[0] = read
    return flight


def _stuck(flight: Flight, onset: int, until: int) -> Flight:
    read = flight.shown[0].copy()
    read[onset:until] = read[onset]
    return _misread(flight, onset, read)


def _resistive(flight: Flight, onset: int, added: Line) -> Flight:
    ohms = _ohms(flight.shown[0]) + added
    flight.fault[0] |= ohms > OVER
    return _misread(flight, onset, _from_ohms(ohms))


def healthy(random: np.random.Generator, arrangement: str) -> Flight:
    return fly(random, arrangement)


def stuck_at_start(random: np.random.Generator, arrangement: str) -> Flight:
    flight = fly(random, arrangement)
    return _stuck(flight, 0, flight.turns)


def stuck_in_flight(random: np.random.Generator, arrangement: str) -> Flight:
    flight = fly(random, arrangement)
    return _stuck(flight, _somewhere(random, flight.turns), flight.turns)


def sticks_and_comes_loose(random: np.random.Generator, arrangement: str) -> Flight:
    flight = fly(random, arrangement)
    onset = _somewhere(random, flight.turns)
    return _stuck(flight, onset, onset + int(random.uniform(0.75, 1.75) * TURNS_PER_HOUR))


def corrodes_in_steps(random: np.random.Generator, arrangement: str) -> Flight:
    """5 ohm each 20 minutes, up to 20."""
    flight = fly(random, arrangement)
    onset = _somewhere(random, flight.turns)
    since = np.arange(flight.turns) - onset
    steps = np.clip(since // (TURNS_PER_HOUR // 3) + 1, 0, 4)
    return _resistive(flight, onset, 5.0 * steps)


def corrodes_slowly(random: np.random.Generator, arrangement: str) -> Flight:
    """15 ohm an hour, up to 20."""
    flight = fly(random, arrangement)
    onset = _somewhere(random, flight.turns)
    since = np.arange(flight.turns, dtype=np.float64) - onset
    return _resistive(flight, onset, np.clip(since * (15 / TURNS_PER_HOUR), 0, 20))


def _ground(random: np.random.Generator, arrangement: str, volts: float) -> Flight:
    flight = fly(random, arrangement)
    onset = _somewhere(random, flight.turns)
    ohms = _ohms(flight.shown[0])
    pin = RAIL * ohms / (PULL_UP + ohms) + volts
    added = PULL_UP * pin / (RAIL - pin) - ohms
    added[:onset] = 0
    return _resistive(flight, onset, added)


def ground_50_mv(random: np.random.Generator, arrangement: str) -> Flight:
    return _ground(random, arrangement, 0.05)


def ground_150_mv(random: np.random.Generator, arrangement: str) -> Flight:
    return _ground(random, arrangement, 0.15)


def leak(random: np.random.Generator, arrangement: str) -> Flight:
    """4 gal/h. The gauge is right: what is reported as reading too low is what has leaked."""
    onset = int(random.uniform(0.4, 1.2) * TURNS_PER_HOUR)
    flight = fly(random, arrangement, leak=4.0, leaks_from=onset)
    flight.onset = onset
    flight.excess = -np.clip(np.arange(flight.turns) - onset, 0, None) * 4.0 / TURNS_PER_HOUR
    return flight


def pump_runs_dry(random: np.random.Generator, arrangement: str) -> Flight:
    """Told to flow, and nothing arrives: the left gauge reads what was to arrive too low."""
    flight = fly(random, arrangement, pump_dead=1.0)
    flight.onset = int(np.argmax(flight.pump)) if flight.pump.any() else flight.turns
    flight.excess = np.cumsum(flight.pump) * (-sum(PUMP) / 4 / TURNS_PER_HOUR)
    return flight


def wire_breaks(random: np.random.Generator, arrangement: str) -> Flight:
    """For 20 to 60 minutes, and the gauge is well afterwards."""
    flight = fly(random, arrangement)
    at = _somewhere(random, flight.turns)
    flight.fault[0][at : at + int(random.uniform(20, 60) * 60 / TURN_S)] = True
    return flight


def wire_breaks_and_float_sticks(random: np.random.Generator, arrangement: str) -> Flight:
    flight = fly(random, arrangement)
    at = _somewhere(random, flight.turns)
    flight = _stuck(flight, at, flight.turns)
    flight.fault[0][at : at + int(random.uniform(20, 60) * 60 / TURN_S)] = True
    return flight


def refuelled(random: np.random.Generator, arrangement: str) -> Flight:
    return fly(random, arrangement, refuelled=8.0)


HEALTHY = {"healthy": healthy, "refuelled on the ground": refuelled, "wire breaks for a while": wire_breaks}
FAULTS = {
    "float stuck from the start": stuck_at_start,
    "float sticks in flight": stuck_in_flight,
    "float sticks and comes loose": sticks_and_comes_loose,
    "wire breaks, comes back stuck": wire_breaks_and_float_sticks,
    "contact corrodes in steps of 5 ohm": corrodes_in_steps,
    "contact corrodes slowly": corrodes_slowly,
    "ground off by 50 mV": ground_50_mv,
    "ground off by 150 mV": ground_150_mv,
    "leak of 4 gal/h": leak,
    "pump runs dry unnoticed": pump_runs_dry,
}


# through the box's code


@dataclass(frozen=True)
class Alert:
    """One gauge's, from the turn it begins to the turn it ends (the flight's last, if it does not). Sizes in gal, signed."""

    gauge: str
    state: int
    begins: int
    ends: int
    size: float  # when it begins
    last_size: float


def judge(flight: Flight, of: list[SimpleNamespace] | None = None) -> list[Alert]:
    """Every alert of the three gauges. While a gauge is not judged its alert neither begins nor ends."""
    gauges = [Disagree(one) for one in of or records(flight.arrangement)]
    units = [np.rint(one * 100).astype(int) for one in flight.read]
    readings = [units[0].tolist(), units[1].tolist(), (units[0] + units[1]).tolist()]
    faults = [one.tolist() for one in (*flight.fault, flight.fault[0] | flight.fault[1])]
    feeds = [*(one.tolist() for one in flight.feed), [FEEDS] * flight.turns]
    flying = flight.flying.tolist()
    pump = flight.pump.tolist()
    found = []
    for name, gauge, reading, fault, feed, (low, high) in zip(
        GAUGES, gauges, readings, faults, feeds, PUMP_TOLD
    ):
        step = gauge.step
        state = begins = 0
        size = last_size = 0.0
        for i in range(flight.turns):
            flows = pump[i]
            step(TURN_MS, flying[i], fault[i], reading[i], feed[i], low if flows else 0, high if flows else 0)
            now = gauge.state
            if now == NOT_JUDGED:
                continue
            if now != state:
                if state >= READS_HIGH:
                    found.append(Alert(name, state, begins, i, size, last_size))
                state = now
                begins = i
                size = gauge.size / 100
            last_size = gauge.size / 100
        if state >= READS_HIGH:
            found.append(Alert(name, state, begins, flight.turns, size, last_size))
    return sorted(found, key=lambda one: one.begins)


# figures


def run_length(k: float, h: float, random: np.random.Generator, runs: int) -> tuple[float, float]:
    """Mean number of turns to an alert, and its standard error, of the box's detector fed with pure noise: changes of the reading
    that are normal and independent, bounds of k and an allowance of h standard deviations either way."""
    sigma = 200
    bound = round(k * sigma * TURNS_PER_HOUR)
    gauge = Disagree(
        SimpleNamespace(
            burn_low=bound,
            burn_high=bound,
            allowance=round(h * sigma),
            smoothing=1,
            top=1 << 20,
            unseen=0,
            bottom=-(1 << 20),
        )
    )
    lengths = []
    for _ in range(runs):
        gauge.turns = 0
        reading, length = 0, 0
        gauge.step(TURN_MS, 1, 0, reading, FEEDS, 0, 2 * bound)
        while gauge.state < READS_HIGH:
            reading += round(random.normal(0, sigma))
            length += 1
            gauge.step(TURN_MS, 1, 0, reading, FEEDS, 0, 2 * bound)
        lengths.append(length)
        gauge.state = NOT_JUDGED
    return float(np.mean(lengths)), float(np.std(lengths) / math.sqrt(runs))


@dataclass(frozen=True)
class FalseAlarms:
    """Of flights with healthy gauges: hours flown, and hours in which an alert began; per 100 h with 95 % limits."""

    flights: str
    hours: int
    alarms: int
    per_100_h: float
    lowest: float
    highest: float


@dataclass(frozen=True)
class Detection:
    """Of one fault: share of the flights in which the alert came, and was right in its direction, with 95 % limits; minutes from the
    fault to the alert, median and nine in ten of those that came; gal by which the gauge, or the tank, was off by then, median; size
    said less the truth when it came and when it ended or the flight did, mean and standard deviation; alerts the wrong way round;
    alerts that ended though the gauge was still off by more than the allowance; minutes an alert outlasted a fault that went away.
    """

    fault: str
    arrangement: str
    flights: int
    found: int
    share: float
    lowest: float
    highest: float
    minutes: float | None
    most_minutes: float | None
    off_by: float | None
    size_error: tuple[float, float] | None
    last_size_error: tuple[float, float] | None
    wrong_way: int
    gone_too_soon: int
    outlasted: float | None


def false_alarms(name: str, flights: Iterable[Flight]) -> FalseAlarms:
    """What the detectors say of flights with healthy gauges."""
    turns = alarms = 0
    for flight in flights:
        turns += flight.turns
        alarms += len({alert.begins // TURNS_PER_HOUR for alert in judge(flight)})
    hours = round(turns / TURNS_PER_HOUR)
    low, high = clopper_pearson(alarms, hours)
    return FalseAlarms(name, hours, alarms, 100 * alarms / hours, 100 * low, 100 * high)


def detection(fault: str, arrangement: str, flights: Iterable[Flight]) -> Detection:
    """What the detectors say of flights with a fault of the left gauge, tank or the pump."""
    delays, off_by, errors, last_errors, outlasted = [], [], [], [], []
    count = wrong_way = gone_too_soon = 0
    for flight in flights:
        count += 1
        right = []
        faulty = np.nonzero(flight.excess)[0]
        until = int(faulty[-1]) + 1 if len(faulty) else 0
        for alert in judge(flight):
            # slosh behind the smoothing lives on for some turns after a float has come loose
            if alert.begins < flight.onset or alert.gauge == "right" or alert.begins > until + SETTLED:
                continue
            sign = 1 if alert.state == READS_HIGH else -1
            if flight.excess[min(alert.begins, until - 1)] * sign > 0:
                right.append(alert)
            else:
                wrong_way += 1
        if not right:
            continue
        first = right[0]
        end = first.ends - 1
        delays.append((first.begins - flight.onset) * TURN_S / 60)
        truth = flight.excess[first.begins]
        off_by.append(abs(truth))
        if first.begins < until <= first.ends < flight.turns:
            outlasted.append((first.ends - until) * TURN_S / 60)
        else:
            errors.append(first.size - truth)
            last_errors.append(first.last_size - flight.excess[end])
            allowance = records(arrangement)[GAUGES.index(first.gauge)].allowance / 100
            gone_too_soon += int(first.ends < flight.turns and abs(flight.excess[end]) > allowance)
    found = len(delays)

    def spread(values: list[float]) -> tuple[float, float] | None:
        return (float(np.mean(values)), float(np.std(values))) if values else None

    def middle(values: list[float], part: float = 0.5) -> float | None:
        return float(np.quantile(values, part)) if values else None

    return Detection(
        fault,
        arrangement,
        count,
        found,
        found / count,
        *clopper_pearson(found, count),
        middle(delays),
        middle(delays, 0.9),
        middle(off_by),
        spread(errors),
        spread(last_errors),
        wrong_way,
        gone_too_soon,
        middle(outlasted),
    )


def _flights(
    make: Callable[[np.random.Generator, str], Flight], arrangement: str, key: list[int], count: int
) -> Iterator[Flight]:
    for number in range(count):
        yield make(np.random.default_rng([*key, number]), arrangement)


def trial(
    flights: int, seed: int, tell: Callable[[str], None]
) -> tuple[list[FalseAlarms], list[Detection], dict[str, tuple[float, float]]]:
    """Half the flights with healthy gauges, half with one fault each, shared out evenly; and mean run lengths on pure noise."""
    alarms, found = [], []
    for i, (name, make) in enumerate(HEALTHY.items()):
        for j, arrangement in enumerate(ARRANGEMENTS):
            tell(f"{name}, {arrangement}")
            count = max(1, flights // (2 * len(HEALTHY) * len(ARRANGEMENTS)))
            alarms.append(
                false_alarms(f"{name}, {arrangement}", _flights(make, arrangement, [seed, i, j], count))
            )
    for i, (name, make) in enumerate(FAULTS.items(), len(HEALTHY)):
        for j, arrangement in enumerate(ARRANGEMENTS):
            tell(f"{name}, {arrangement}")
            count = max(1, flights // (2 * len(FAULTS) * len(ARRANGEMENTS)))
            found.append(detection(name, arrangement, _flights(make, arrangement, [seed, i, j], count)))
    hours, began = sum(one.hours for one in alarms), sum(one.alarms for one in alarms)
    low, high = clopper_pearson(began, hours)
    alarms.append(FalseAlarms("all", hours, began, 100 * began / hours, 100 * low, 100 * high))
    tell("run lengths on pure noise")
    random = np.random.default_rng([seed, 99])
    lengths = {f"k = {k}, h = {h}": run_length(k, h, random, 1500) for k, h in ((0.5, 4), (0.5, 5))}
    return alarms, found, lengths


def _said(value: float | None, form: str = "%.0f") -> str:
    return "-" if value is None else form % value


def _said_both(value: tuple[float, float] | None) -> str:
    return "-" if value is None else "%+.1f +-%.1f" % value


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m gaugelight.disagree_trial", description=__doc__.split("\n")[0]
    )
    parser.add_argument("--flights", type=int, default=FLIGHTS, metavar="N", help=f"default {FLIGHTS}")
    parser.add_argument(
        "--seed",
        type=int,
        default=HELD_OUT,
        metavar="S",
        help=f"default {HELD_OUT}; the allowances were chosen with {TUNED_ON}",
    )
    parser.add_argument("--json", action="store_true", help="one object on stdout")
    asked = parser.parse_args(arguments)
    if asked.flights < 1 or asked.seed < 0:
        parser.error("--flights must be 1 or more, --seed 0 or more")
    alarms, found, lengths = trial(asked.flights, asked.seed, lambda what: print(what, file=sys.stderr))
    if asked.json:
        print(
            json.dumps(
                {
                    "seed": asked.seed,
                    "false alarms": [asdict(one) for one in alarms],
                    "detections": [asdict(one) for one in found],
                    "run lengths on noise, and standard errors": lengths,
                }
            )
        )
        return 0
    print("Flights of a model of our own invention: no flight was recorded for it. Seed %d." % asked.seed)
    print("\nhealthy gauges                                  hours  alerts  in 100 h  95 % limits")
    for alarm in alarms:
        print(
            f"{alarm.flights:45} {alarm.hours:7,} {alarm.alarms:7} {alarm.per_100_h:9.2f}  "
            f"{alarm.lowest:.2f} to {alarm.highest:.2f}"
        )
    whole = alarms[-1]
    mean = f"{whole.hours / whole.alarms:,.0f} h" if whole.alarms else "none came"
    print(f"mean run to a false alert: {mean}; not shorter than {100 / whole.highest:,.0f} h (97.5 %)")
    print(
        "\nfault                              burn from          found   95 %     min  9 in 10  off by"
        "  size error    at its end    wrong  soon  outlasts"
    )
    for one in found:
        print(
            f"{one.fault:34} {one.arrangement:17} {one.share:6.0%} {one.lowest:4.0%}-{one.highest:<4.0%} "
            f"{_said(one.minutes):>5} {_said(one.most_minutes):>8} {_said(one.off_by, '%.1f'):>7}  "
            f"{_said_both(one.size_error):12}  {_said_both(one.last_size_error):13} {one.wrong_way:5} "
            f"{one.gone_too_soon:5} {_said(one.outlasted):>9}"
        )
    print("\nmean run on pure noise, in turns")
    for name, (length, error) in lengths.items():
        print(f"{name}: {length:.0f} +-{2 * error:.0f} (95 %)")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
