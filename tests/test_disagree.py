"""The disagree alert: a gauge that does not move as burn and transfer say it must."""

import json
import math
from collections.abc import Callable
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.disagree import (
    AGREES,
    FEEDS,
    MAY_FEED,
    MOST_RATE,
    MOST_READING,
    NOT_JUDGED,
    PARTS,
    READS_HIGH,
    READS_LOW,
    RESTS,
    TURN_MS,
    Disagree,
)
from gaugelight import disagree_trial as trial
from gaugelight.benchmark import run_on_32_bit
from interpreters import LOCKED, MICROPYTHONS, compiled, on_32_bit, on_cpython

SETTINGS = {
    "burn_low": 300,
    "burn_high": 500,
    "allowance": 100,
    "smoothing": 6,
    "top": 1750,
    "unseen": 250,
    "bottom": 20,
}
AS_BURNT = {"minutes": 60, "rate": -400}


def fly(*legs: dict[str, int], start: int = 1500, tick_ms: int = TURN_MS, **other: int) -> Disagree:
    """A gauge after legs of so many minutes, in which it jumps at once and then changes at a rate, units per hour."""
    gauge = Disagree(SimpleNamespace(**(SETTINGS | other)))
    at = float(start)
    for leg in legs:
        at += leg.get("jump", 0)
        for _ in range(leg["minutes"] * 60000 // tick_ms):
            at += leg.get("rate", 0) * tick_ms / 3600000
            gauge.step(
                tick_ms,
                leg.get("flying", 1),
                leg.get("fault", 0),
                round(at),
                leg.get("feed", FEEDS),
                leg.get("low", 0),
                leg.get("high", 0),
            )
    return gauge


REST = {"minutes": 20, "feed": RESTS}
ON_GROUND = {"minutes": 10, "flying": 0}
UNSURE = {"minutes": 20, "flying": -1}
TOLD = {"low": 1000, "high": 1400}  # of a transfer
BROKEN = {"minutes": 60, "fault": 1}
# legs, start; what it then says, and the size from, to
CASES: dict[str, tuple[list[dict[str, int]], int, int, int, int]] = {
    "falls as burn says": ([AS_BURNT], 1500, AGREES, 0, 0),
    "falls at the fastest": ([{"minutes": 120, "rate": -500}], 1500, AGREES, 0, 0),
    "falls at the slowest": ([{"minutes": 240, "rate": -300}], 1500, AGREES, 0, 0),
    "stands": ([{"minutes": 60}], 1500, READS_HIGH, 270, 300),
    "stands for less than the allowance": ([{"minutes": 19}], 1500, AGREES, 0, 0),
    "stands, then falls": ([{"minutes": 60}, AS_BURNT], 1500, READS_HIGH, 270, 300),
    "falls too fast": ([{"minutes": 60, "rate": -900}], 1500, READS_LOW, -400, -370),
    "rests and stands": ([{"minutes": 240, "feed": RESTS}], 1500, AGREES, 0, 0),
    "rests and falls": ([{"minutes": 60, "feed": RESTS, "rate": -300}], 1500, READS_LOW, -300, -280),
    "may feed and stands": ([{"minutes": 240, "feed": MAY_FEED}], 1500, AGREES, 0, 0),
    "may feed and falls": ([{"minutes": 120, "feed": MAY_FEED, "rate": -500}], 1500, AGREES, 0, 0),
    "may feed and rises": ([{"minutes": 60, "feed": MAY_FEED, "rate": 200}], 1000, READS_HIGH, 180, 200),
    "a transfer arrives": ([AS_BURNT, {"minutes": 30, "rate": 800, **TOLD}], 1000, AGREES, 0, 0),
    "a transfer does not arrive": (
        [AS_BURNT, {"minutes": 30, "rate": -400, **TOLD}],
        1400,
        READS_LOW,
        -460,
        -420,
    ),
    "a transfer not told": ([AS_BURNT, {"minutes": 30, "rate": 800}], 1000, READS_HIGH, 530, 550),
    "jumps up": ([AS_BURNT, {"jump": 200, **AS_BURNT}], 1500, READS_HIGH, 180, 200),
    "jumps up, and time goes by": (
        [AS_BURNT, {"jump": 200, "minutes": 200, "rate": -400}],
        1750,
        READS_HIGH,
        180,
        200,
    ),
    "jumps up and comes back": (
        [AS_BURNT, {"jump": 200, **AS_BURNT}, {"jump": -200, **AS_BURNT}],
        1700,
        AGREES,
        0,
        0,
    ),
    "jumps down": ([AS_BURNT, {"jump": -200, **AS_BURNT}], 1500, READS_LOW, -200, -180),
    "jumps up by less than the allowance": ([AS_BURNT, {"jump": 90, **AS_BURNT}], 1500, AGREES, 0, 0),
    "sticks and comes loose": ([AS_BURNT, {"minutes": 60}, {"jump": -400, **AS_BURNT}], 1700, AGREES, 0, 0),
    "sticks and comes loose before it is called": (
        [AS_BURNT, {"minutes": 18}, {"jump": -120, **AS_BURNT}],
        1700,
        AGREES,
        0,
        0,
    ),
    "sticks for long and comes loose": (
        [AS_BURNT, {"minutes": 120}, {"jump": -800, **AS_BURNT}],
        1740,
        AGREES,
        0,
        0,
    ),
    "suspected of reading high, then falls away": (
        [REST, {"jump": 80, **REST}, {"jump": -300, **REST}],
        1500,
        READS_LOW,
        -221,
        -219,
    ),
    "comes back but for a little, and rises again": (
        [REST, {"jump": 200, **REST}, {"jump": -160, **REST}, {"jump": 80, **REST}],
        1500,
        READS_HIGH,
        119,
        121,
    ),
    "stood, and nobody knows whether it has landed": ([{"minutes": 60}, UNSURE], 1500, NOT_JUDGED, 0, 0),
    "stood, and nobody knew for a while whether it flew": (
        [{"minutes": 60}, UNSURE, AS_BURNT],
        1500,
        READS_HIGH,
        270,
        300,
    ),
    "as burnt, while nobody knows whether it flies": (
        [AS_BURNT, {**UNSURE, "rate": -400}, AS_BURNT],
        1500,
        AGREES,
        0,
        0,
    ),
    "not burnt, while nobody knows whether it flies": ([AS_BURNT, UNSURE, AS_BURNT], 1500, AGREES, 0, 0),
    "stood, and stood no longer on the next flight": (
        [{"minutes": 60}, ON_GROUND, AS_BURNT],
        1500,
        AGREES,
        0,
        0,
    ),
    "its wire breaks above the stop": (
        [{"minutes": 10}, {**BROKEN, "minutes": 38, "jump": -1000}, {"jump": 1000, **AS_BURNT}],
        1800,
        AGREES,
        0,
        0,
    ),
    "is refuelled on the ground": ([AS_BURNT, ON_GROUND, {"jump": 800, **AS_BURNT}], 900, AGREES, 0, 0),
    "rises as much in flight": ([AS_BURNT, {"jump": 800, **AS_BURNT}], 900, READS_HIGH, 780, 800),
    "stands on the ground": ([{**ON_GROUND, "minutes": 300}], 1500, NOT_JUDGED, 0, 0),
    "stood, and has landed": ([{"minutes": 60}, ON_GROUND], 1500, NOT_JUDGED, 0, 0),
    "is not averaged yet": ([{"minutes": 1}], 1500, NOT_JUDGED, 0, 0),
    "its wire is broken": ([AS_BURNT, BROKEN], 1500, NOT_JUDGED, 0, 0),
    "its wire was broken": ([AS_BURNT, {**BROKEN, "rate": -400}, AS_BURNT], 1700, AGREES, 0, 0),
    "its wire was broken, and it stood": ([AS_BURNT, BROKEN, AS_BURNT], 1500, READS_HIGH, 280, 300),
    "an alert outlives a broken wire": (
        [{"minutes": 60}, {**BROKEN, "rate": -400}, AS_BURNT],
        1500,
        READS_HIGH,
        270,
        300,
    ),
    "filled above the stop": ([{"minutes": 48}, AS_BURNT], 1800, AGREES, 0, 0),
    "stuck at the stop": ([{"minutes": 120}], 1800, READS_HIGH, 300, 350),
    "at the stop while more flows in": ([{"minutes": 20, **TOLD}], 1800, AGREES, 0, 0),
    "on its lower stop": ([{"minutes": 240}], 10, AGREES, 0, 0),
}


@pytest.mark.parametrize("legs, start, state, lowest, highest", CASES.values(), ids=CASES)
def test_cases(legs: list[dict[str, int]], start: int, state: int, lowest: int, highest: int) -> None:
    gauge = fly(*legs, start=start)
    assert gauge.state == state
    assert lowest <= gauge.size <= highest


TICKS = {"the box's": 20, "a turn does not divide by it": 3700, "each a stall": 4000, "turns": TURN_MS}


@pytest.mark.parametrize("tick_ms", TICKS.values(), ids=TICKS)
def test_how_often_it_is_stepped_makes_no_difference(tick_ms: int) -> None:
    gauge = fly(AS_BURNT, {"minutes": 30, "rate": -100, **TOLD}, tick_ms=tick_ms)
    assert gauge.state == READS_LOW
    assert gauge.size == pytest.approx(-290, abs=15)
    assert fly({"minutes": 60}, tick_ms=tick_ms).size == pytest.approx(290, abs=10)


@pytest.mark.parametrize("seconds, judged_on", [(10, True), (50, True), (80, False)])
def test_a_flag_that_drops_is_no_landing(seconds: int, judged_on: bool) -> None:
    gauge = fly({"minutes": 60})
    for _ in range(seconds // 10):
        gauge.step(TURN_MS, 0, 0, 1500, FEEDS, 0, 0)
        assert gauge.state == NOT_JUDGED
    for _ in range(5):
        gauge.step(TURN_MS, 1, 0, 1500, FEEDS, 0, 0)
    assert (gauge.state == READS_HIGH) is judged_on


@pytest.mark.parametrize("sign", [1, -1])
def test_alert_comes_at_its_allowance_and_goes_at_half(sign: int) -> None:
    """A gauge that should stand goes up and down again by 1 a turn, without smoothing."""
    gauge = Disagree(SimpleNamespace(**(SETTINGS | {"burn_low": 0, "burn_high": 0, "smoothing": 1})))
    alerted = []
    for off in [*range(0, 150), *range(150, -1, -1)]:
        gauge.step(TURN_MS, 1, 0, 1000 + sign * off, FEEDS, 0, 0)
        if gauge.state >= READS_HIGH:
            assert gauge.state == (READS_HIGH if sign > 0 else READS_LOW)
            assert gauge.size == sign * off
            alerted.append(off)
    assert alerted == [*range(101, 150), *range(150, 49, -1)]


# whole numbers below 2**30, whatever comes


class Small(int):
    """An integer of the box: whatever is computed from it must stay within its small integers."""

    def _made(name: Any) -> Any:
        plain = getattr(int, name)

        def operate(self: int, *other: int) -> Any:
            value = plain(self, *other)
            if value is NotImplemented:
                return value
            assert -(1 << 30) <= value < 1 << 30, (name, self, other)
            return Small(value)

        return operate

    for _name in "add sub mul floordiv mod lshift rshift".split():
        locals()[f"__{_name}__"] = _made(f"__{_name}__")
        locals()[f"__r{_name}__"] = _made(f"__r{_name}__")
    __neg__ = _made("__neg__")


RATES = st.one_of(st.sampled_from([0, 1, MOST_RATE - 1, MOST_RATE]), st.integers(0, MOST_RATE))
READINGS = st.one_of(st.sampled_from([0, 1, MOST_READING]), st.integers(0, MOST_READING))
PAIRS = st.tuples(RATES, RATES).map(sorted)


@settings(max_examples=150, deadline=None)
@given(
    burn=PAIRS,
    allowance=READINGS.map(lambda units: max(2, units)),
    smoothing=st.integers(1, 1000),
    top=READINGS,
    legs=st.lists(
        st.tuples(
            st.integers(1, 3600),  # turns; all of ten hours
            st.sampled_from([20, 1999, TURN_MS, 1 << 29]),
            st.tuples(st.booleans(), st.booleans()),
            st.tuples(READINGS, READINGS),
            st.sampled_from([RESTS, MAY_FEED, FEEDS]),
            PAIRS,
        ),
        max_size=4,
    ),
)
def test_never_leaves_the_small_integers(
    burn: list[int], allowance: int, smoothing: int, top: int, legs: list[Any]
) -> None:
    fields = {
        "burn_low": burn[0],
        "burn_high": burn[1],
        "allowance": allowance,
        "smoothing": smoothing,
        "top": top,
        "unseen": MOST_READING,
        "bottom": 20,
    }
    gauge = Disagree(SimpleNamespace(**{name: Small(value) for name, value in fields.items()}))
    for turns, elapsed, (flying, broken), readings, feed, (low, high) in legs:
        for i in range(turns):
            reading = Small(readings[i & 1])
            gauge.step(
                Small(elapsed), flying or i > 9, broken and i & 64, reading, feed, Small(low), Small(high)
            )
            assert gauge.state in (NOT_JUDGED, AGREES, READS_HIGH, READS_LOW)
            assert (gauge.size > 0) == (gauge.state == READS_HIGH)
            assert (gauge.size < 0) == (gauge.state == READS_LOW)


def test_a_wire_that_is_broken_for_a_week() -> None:
    fields = SETTINGS | {"burn_low": MOST_RATE, "burn_high": MOST_RATE}
    gauge = Disagree(SimpleNamespace(**{name: Small(value) for name, value in fields.items()}))
    for i in range(7 * 24 * 360):
        gauge.step(Small(TURN_MS), 1, i > 10, Small(1500), FEEDS, Small(0), Small(0))
    for _ in range(100):
        gauge.step(Small(TURN_MS), 1, 0, Small(MOST_READING), FEEDS, Small(0), Small(0))
    assert gauge.state == READS_HIGH


def test_control_small_sees_what_is_too_large() -> None:
    works: list[Callable[[int], int]] = [lambda n: n * 2, lambda n: n + n, lambda n: n << 1, lambda n: 5 * n]
    for work in works:
        with pytest.raises(AssertionError):
            work(Small(1 << 29))


# the cumulative sum itself


@cache
def textbook_run_length(h: float, runs: int = 2000) -> tuple[float, float]:
    """Of the tabular two-sided cumulative sum with k = 0.5, written as books have it, in floating point; and its standard error."""
    random = np.random.default_rng(5)
    high, low, lengths = np.zeros(runs), np.zeros(runs), np.zeros(runs)
    going = np.full(runs, True)
    while going.any():
        x = random.normal(size=runs)
        high, low = np.maximum(0, high + x - 0.5), np.maximum(0, low - x - 0.5)
        lengths += going
        going &= (high <= h) & (low <= h)
    return float(np.mean(lengths)), float(np.std(lengths) / math.sqrt(runs))


# Montgomery, Introduction to Statistical Quality Control, average run lengths of the tabular cusum, k = 1/2, no shift; from memory
PUBLISHED = {4: 168, 5: 465}


@pytest.mark.parametrize("h, published", PUBLISHED.items())
def test_mean_run_on_noise_is_the_published_one(h: int, published: int) -> None:
    """The box's is a little longer, as a side that is suspected holds the other back; never shorter."""
    book, book_error = textbook_run_length(h)
    assert abs(book - published) < 3 * book_error
    ours, error = trial.run_length(0.5, h, np.random.default_rng(6), 2000)
    assert published - 3 * error < ours < 1.08 * published + 3 * error


def test_sums_are_the_textbook_s_to_the_unit() -> None:
    """Until one of them has passed three quarters of the allowance, from where on the other is held back."""
    random = np.random.default_rng(7)
    bound = 100 * trial.TURNS_PER_HOUR
    settings_of = {"burn_low": bound, "burn_high": bound, "allowance": 1000, "smoothing": 1, "top": 1 << 20}
    compared = 0
    for _ in range(200):
        gauge = Disagree(SimpleNamespace(**(SETTINGS | settings_of | {"bottom": -(1 << 20)})))
        high = low = reading = 0
        gauge.step(TURN_MS, 1, 0, 0, FEEDS, 0, 2 * bound)
        while max(high, low) <= 750:
            change = round(random.normal(0, 200))
            reading += change
            high, low = max(0, high + change - 100), max(0, low - change - 100)
            gauge.step(TURN_MS, 1, 0, reading, FEEDS, 0, 2 * bound)
            if max(high, low) <= 750:
                assert sorted((gauge.lead, gauge.trail)) == sorted((high * PARTS, low * PARTS))
                assert gauge.sign == (1 if high > low else -1) or high == low
                compared += 1
    assert compared > 5000


# the trial


def flights(make: Callable[..., trial.Flight], arrangement: str, count: int) -> list[trial.Flight]:
    return [make(np.random.default_rng([trial.HELD_OUT, 7, i]), arrangement) for i in range(count)]


@pytest.mark.parametrize("kind", trial.HEALTHY)
def test_healthy_gauges_are_left_alone(kind: str) -> None:
    """One alert in 200 hours of the model would be worth a look."""
    for arrangement in trial.ARRANGEMENTS:
        said = trial.false_alarms(kind, flights(trial.HEALTHY[kind], arrangement, 50))
        assert said.hours > 150
        assert said.alarms <= 1


@pytest.mark.parametrize(
    "kind, arrangement, least",
    [
        ("float stuck from the start", "both", 0.9),
        ("float stuck from the start", "selector not told", 0.8),
        ("float sticks in flight", "both", 0.8),
        ("float sticks in flight", "selector told", 0.8),
        ("wire breaks, comes back stuck", "selector told", 0.8),
        ("contact corrodes in steps of 5 ohm", "selector told", 0.7),
        ("leak of 4 gal/h", "both", 0.9),
        ("pump runs dry unnoticed", "both", 0.7),
        ("ground off by 150 mV", "both", 0.5),
    ],
)
def test_faults_are_found(kind: str, arrangement: str, least: float) -> None:
    found = trial.detection(kind, arrangement, flights(trial.FAULTS[kind], arrangement, 40))
    assert found.share >= least
    assert found.wrong_way == 0
    assert found.gone_too_soon == 0


@pytest.mark.parametrize(
    "allowance, finds, cries", [(10, True, True), (170, True, False), (100000, False, False)]
)
def test_control_an_absurd_allowance_is_seen_to_fail(allowance: int, finds: bool, cries: bool) -> None:
    of = [trial.record(3.2, 4.8, allowance=allowance)] * 2 + [
        trial.record(7, 9, **trial.SUM | {"allowance": allowance})
    ]
    of = of if allowance != 170 else trial.records("both")
    stuck = flights(trial.stuck_at_start, "both", 20)
    healthy = flights(trial.healthy, "both", 20)
    assert (sum(bool(trial.judge(flight, of)) for flight in stuck) > 15) is finds
    assert any(trial.judge(flight, of) for flight in healthy) is cries


def test_trial_says_the_same_for_the_same_seed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = trial.run_length  # whose runs take longer than all the flights: a few of them here
    monkeypatch.setattr(trial, "run_length", lambda k, h, random, runs: plain(k, h, random, runs // 30))
    said = []
    for seed in ("3", "3", "4"):
        assert trial.main(["--flights", "60", "--seed", seed, "--json"]) == 0
        said.append(json.loads(capsys.readouterr().out))
    assert said[0] == said[1] != said[2]
    assert {one["fault"] for one in said[0]["detections"]} == set(trial.FAULTS)


# on the box's interpreters

GUEST = """
from gaugebox.disagree import Disagree, MOST_RATE, MOST_READING, TURN_MS

class Record:
    burn_low, burn_high, allowance, smoothing, top, unseen, bottom = 300, 500, 60, 6, 1750, 250, 20

class Extreme:
    burn_low, burn_high, allowance, smoothing, top, unseen, bottom = 0, MOST_RATE, 1000, 1, MOST_READING, MOST_READING, 0

def every_turn(record, gauge, turns, say):
    noise = 1
    at = 1700 * 64
    for i in range(turns):
        noise = (noise * 1103 + 12345) & 0x7FFFF
        hour = i // 360 % 8
        pump = hour == 3
        at -= 71 if hour < 5 else 0 if hour < 7 else 200
        if at < 0:
            at = 1700 * 64
        if pump:
            at += 200
        reading = (at >> 6) + (noise >> 8) % 40
        if record is Extreme:
            reading = MOST_READING if noise & 0x1000 else 0
        gauge.step(4000 if i & 1 else TURN_MS, i % 2000 > 50, i % 700 > 660, reading, i // 150 % 3 if i & 2048 else 2,
            (400 if record is Record else 0) if pump else 0, (800 if record is Record else MOST_RATE) if pump else 0)
        if say:
            print(i, gauge.state, gauge.size, gauge.lead, gauge.trail, gauge.behind)
"""
SAY = (
    GUEST
    + "every_turn(Record, Disagree(Record), 6000, True)\nevery_turn(Extreme, Disagree(Extreme), 1500, True)\n"
)


@cache
def reference() -> list[str]:
    return on_cpython(SAY).splitlines()


def test_the_guest_meets_every_state() -> None:
    assert {int(line.split()[1]) for line in reference()} == {NOT_JUDGED, AGREES, READS_HIGH, READS_LOW}


@pytest.mark.parametrize("run", MICROPYTHONS.values(), ids=MICROPYTHONS)
def test_the_same_answers(run: Callable[[str], str]) -> None:
    assert run(SAY).splitlines() == reference()


JOBS = """
def turns(work):
    every_turn(work[0], work[1], 4000, False)

def too_large(gauge):
    gauge.last = gauge.last + 1 << 30

for name, record in (("record", Record), ("extreme", Extreme)):
    gauge = Disagree(record)
    every_turn(record, gauge, 10, False)
    locked(name, turns, (record, gauge))
    before = gc.mem_alloc()
    every_turn(record, gauge, 1000, False)
    print("growth", gc.mem_alloc() - before)
locked("control", too_large, gauge)
"""


def test_a_step_takes_no_heap() -> None:
    assert on_32_bit(GUEST + LOCKED + JOBS).splitlines() == [
        "record: no heap",
        "growth 0",
        "extreme: no heap",
        "growth 0",
        "control: heap",
    ]


COST = """
def empty(turns, step):
    for i in range(turns):
        i & 63

def steps(turns, step):
    for i in range(turns):
        step({elapsed}, 1, 0, 1700 - (i & 63), 2, 400, 800)

gauge = Disagree(Record)
steps(1100, gauge.step)
{job}({turns}, gauge.step)
"""


def instructions(elapsed: int, turns: int = 500) -> float:
    """Of one step with so much time gone by, on the 32-bit interpreter: a slope, less that of the empty loop."""

    def burn(job: str, count: int) -> int:
        return run_on_32_bit(GUEST + COST.format(elapsed=elapsed, job=job, turns=count), compiled())[1]

    slopes = [(burn(job, 2 * turns) - burn(job, turns)) / turns for job in ("steps", "empty")]
    return slopes[0] - slopes[1]


@pytest.mark.parametrize(
    "elapsed, budget", [(20, 10500), (TURN_MS, 64000)], ids=["a tick of 20 ms", "a turn"]
)
def test_budget(elapsed: int, budget: int) -> None:
    """A tick includes its share of the turn that comes every 500; the budget is a third above what it took when set."""
    took = instructions(elapsed)
    print(f"{took:,.0f} instructions")
    assert took < budget
