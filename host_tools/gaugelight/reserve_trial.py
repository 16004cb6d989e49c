"""Simulated transfers from the reserve, watched by the box's own code: how often, and how fast, it says what is so.

    python -m gaugelight.reserve_trial [--transfers N] [--seed S] [--sealed] [--json]

The model of pumps, line, air, slosh and floats below is our own invention, with round figures and no measured aircraft behind
it: it shows that the watch does what it is meant to against the troubles that we thought of, not how yours behaves. Only the
air pressure is the standard atmosphere's (`atmosphere`). What is drawn at random, for each transfer:

pump        plunger (1 to 3 strokes/s, ripple 0.3 to 0.9 of its mean pressure at the sender), centrifugal, or vane with a relief
            valve; pressure anywhere in its maker's band; it goes with the bus voltage to the power 1, 2, 1.5
sender      gauge, sealed, absolute, or sealed the other way round; offset and gain within 1 %, noise, a sample each 80 ms, median
            of three, 500 ms damping. All but the gauge one read as low as they must. `--sealed`: all are 0-15 psi sealed ones that
            cannot go below 3.8 mA, so aloft they have little or nothing to say
air         0 to 12,500 ft; half of the flights climb or descend, at 300 to 1,000 ft/min
bus         13.5 to 14.4 V; 10 % low from the start, 15 % sag to 11 V in 1 to 60 s, 10 % come up; dips of 1.5 to 3 V for 0.5 to 1.5 s,
            one in 100 s
slosh       in 30 % the pickup is uncovered for 0.2 to 1.5 s, once in 30 s, in the last 20 s once in 5, at least 0.5 s apart
dry         from the moment after which the pickup is never covered again: spitting for 0.5 to 2 s, then air
filter      in 20 % it clogs, up to a quarter of the pressure
mains       two floats, each with its own error (5 % at 95 %), slosh, 12 s damping; in 8 % one sticks for a time
troubles    leak, line closed, pump dead, pump off and on, senders at fault, the loop stalled for up to 4 s

Seeds 401 to 404, which nothing was set by, 12,000 transfers and 599 hours of pumping: dry said within 5 s in 99.968 % (99.906 to
99.993 at 95 %), too early in 1 transfer (at most 0.046 %). Not within the model: a pump that still makes 0.4 of its pressure from
air is called late in one of ten, 0.5 in most; a pickup uncovered for 2.5 s is called dry; a leak is told only if more is missing than
twice the band of `left`. With a 0-15 psi sealed sender (`--sealed`) dry is said in one of five, else "unknown": the wrong sender aloft.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gaugebox.measure import CONVERTER, NONE
from gaugebox.books import NOT_KNOWN
from gaugebox.reserve import BLOCKED, DRY, FLOWING, LEAK, NO_PRESSURE, OFF, UNKNOWN, ReserveWatch
from gaugelight.proportions import clopper_pearson
from gaugelight.atmosphere import M_PER_FOOT, HPA_PER_PSI, SEA_LEVEL_HPA, pressure_hpa

Array = NDArray[np.float64]
TICK_S, TURN_S, SAMPLE_TICKS = 0.02, 0.1, 4
LATE_MS = 4  # ms; by less than that the loop comes late, now more and now less (our own)
TICKS = 5  # in a turn of the watch
BEFORE_S, AFTER_S = 6.0, 14.0  # with the pump off; watched after the reserve is dry or the pump off
IN_TIME_S = 5.0
BLOCK = 150
PUMPS = "plunger", "centrifugal", "vane"
SENDERS = "gauge", "sealed", "absolute", "reversed"
STOP_PSI = -0.1875  # 3.8 mA of 4-20 mA for 0-15 psi
STOP, NO_STOP = round(STOP_PSI * 1000), -(1 << 22)
# thousandths of a psi: what each reads with the pump off, 0 to 12,500 ft and 1 % off: the air is 14.7 to 9.1 psi
BASES = {"gauge": (-200, 200), "sealed": (-5850, 250), "absolute": (8800, 15_100), "reversed": (-250, 5850)}


@dataclass(frozen=True)
class ReserveRecord:
    """What `ReserveWatch` says of it: thousandths of a psi, hundredths of a US gal."""

    low: int
    high: int
    dead_head: int
    base_least: int = 0
    base_most: int = 0
    bottom: int = 0
    drift: int = 13  # 1,500 ft/min near sea level
    build: int = 80
    rate: int = 2500
    rate_band: int = 40
    burn: int = 800
    burn_band: int = 15
    mains_full: int = 3600
    mains_band: int = 5
    mains_noise: int = 20
    mains_lag: int = 12
    reserve_full: int = 2000
    reserve_band: int = 100


@dataclass(frozen=True)
class Pump:
    """psi at 14 V, and the power of the voltage that it goes with."""

    lowest: float
    highest: float
    power: float
    dead_head: tuple[float, float]  # times the flowing pressure
    record: ReserveRecord


# low: lowest at 11 V with a clogged filter
MODELS = (
    Pump(3.5, 6.0, 1.0, (1.6, 2.0), ReserveRecord(2000, 6500, 5600)),
    Pump(4.5, 7.0, 2.0, (1.35, 1.6), ReserveRecord(2100, 7500, 6075)),
    Pump(5.0, 9.0, 1.5, (1.25, 1.5), ReserveRecord(2600, 9500, 6250)),
)


@dataclass
class Transfer:
    """What happens in one transfer; times in s from the start, inf: never. dry: when the reserve runs out if it flows till then."""

    pump: int = 1
    sender: int = 0
    psi: float = 5.5
    dry: float = 100.0
    off: float = math.inf
    feet: float = 3000.0
    climb: float = 0.0  # ft/min
    offset: float = 0.0  # psi
    gain: float = 1.0
    noise: float = 0.03  # psi rms
    strokes: float = 2.0  # a second, at 14 V
    ripple: float = 0.6
    volts: list[tuple[float, float]] = field(default_factory=lambda: [(0.0, 14.0)])  # straight between them
    dips: list[tuple[float, float, float]] = field(default_factory=list)  # from, to, V
    uncovered: list[tuple[float, float]] = field(default_factory=list)
    clogs: float = 0.0
    spit: float = 1.0  # s
    air: float = 0.03  # of the pressure, what a dry pump makes
    closed: float = math.inf
    dead_head: float = 1.5
    dead: bool = False  # the pump turns nothing
    pauses: list[tuple[float, float]] = field(default_factory=list)
    faults: list[tuple[float, float]] = field(default_factory=list)  # of the pressure
    mains_faults: list[tuple[float, float]] = field(default_factory=list)
    stalls: list[tuple[float, float]] = field(default_factory=list)
    rate: float = 2500.0  # an hour at 14 V
    burn: float = 800.0
    mains: float = 1500.0
    floats: tuple[float, float] = (1.0, 1.0)  # gain of each
    sticks: tuple[float, float] | None = None  # the first float, from, to
    slosh: float = 4.0
    leak: float = (
        1.0  # of what leaves the reserve, what reaches the mains; and stated content is that much more
    )
    stated_error: float = 0.0  # in halves of its band
    stop: bool = False  # the sender cannot go below 3.8 mA

    @property
    def end(self) -> float:
        end = min(self.dry if self.runs_dry else math.inf, self.off, max(self.closed, BEFORE_S) + 260)
        return max([end, *(b for a, b in self.faults if a < end + IN_TIME_S)]) + AFTER_S

    @property
    def runs_dry(self) -> bool:
        return self.dry < min(self.off, self.closed)

    @property
    def record(self) -> ReserveRecord:
        least, most = BASES[SENDERS[self.sender]]
        record = MODELS[self.pump].record
        return replace(record, base_least=least, base_most=most, bottom=STOP if self.stop else NO_STOP)


def draw(rng: np.random.Generator, sealed: bool = False) -> Transfer:
    """One transfer at random."""
    u = rng.uniform

    def happens(chance: float) -> bool:
        return bool(rng.random() < chance)

    which = int(rng.integers(3))
    pump = MODELS[which]
    dry = BEFORE_S + (u(600, 900) if happens(0.06) else u(45, 220))
    one = Transfer(which, 1 if sealed else int(rng.choice(4, p=[0.4, 0.25, 0.2, 0.15])), stop=sealed)
    one.psi, one.dry, one.feet = u(pump.lowest, pump.highest), dry, u(0, 12_500)
    one.climb = 0.0 if happens(0.5) else float(rng.choice([-1, 1])) * u(300, 1000)
    one.offset, one.gain, one.noise = 0.15 * u(-1, 1), 1 + 0.01 * u(-1, 1), u(0.01, 0.06)
    one.strokes, one.ripple = u(1, 3), u(0.3, 0.9)
    bus, moment = u(13.5, 14.4), u(0, dry)
    low = u(11.0, 12.5)
    one.volts = [(0.0, bus)]
    kind = rng.random()
    if kind < 0.1:
        one.volts = [(0.0, low)]
    elif kind < 0.25:
        one.volts += [(moment, bus), (moment + u(1, 60), low)]
    elif kind < 0.35:
        one.volts = [(0.0, low), (moment, low), (moment + u(1, 20), bus)]
    one.dips = [(t, t + u(0.5, 1.5), u(1.5, 3)) for t in u(0, dry, rng.poisson(dry / 100))]
    if happens(0.3):
        starts = [*u(0, dry, rng.poisson(dry / 30)), *u(dry - 20, dry, rng.poisson(4))]
        at = BEFORE_S + 5
        for t in sorted(starts):
            if at <= t < dry - 2:  # what comes later belongs to the spitting
                at = t + u(0.2, 1.5)
                one.uncovered.append((t, at))
                at += 0.5
        one.slosh = u(5, 8)
    one.clogs = u(0, 0.25) if happens(0.2) else 0.0
    one.spit, one.air = u(0.5, 2), u(0, 0.08)
    one.dead_head = u(*pump.dead_head)
    one.rate = 2500 * u(0.9, 1.1)
    one.burn = 800 * u(0.85, 1.15)
    one.mains, one.slosh = u(800, 2400), max(one.slosh, u(2, 5))
    one.floats = (1 + 0.025 * rng.normal(), 1 + 0.025 * rng.normal())
    one.stated_error = rng.normal()
    if happens(0.08):
        one.sticks = (u(0, dry), u(0, 2 * dry))
    if happens(0.15):
        one.off = u(BEFORE_S + 20, dry)
    elif happens(0.05):
        one.closed = u(BEFORE_S + 20, dry)
    elif happens(0.02):
        one.closed = 0.0
    elif happens(0.06):
        one.leak = u(0.3, 0.6)
    elif happens(0.02):
        one.dead = True
    if happens(0.1):
        t = u(BEFORE_S + 10, max(dry - 10, BEFORE_S + 11))
        one.pauses = [(t, t + u(0.3, 4))]
    if happens(0.1):
        t = u(BEFORE_S, dry + 3)
        one.faults = [(t, t + u(0.2, 20))]
    if happens(0.1):
        t = u(0, dry)
        one.mains_faults = [(t, t + u(1, 60))]
    if happens(0.1):
        t = u(BEFORE_S, dry)
        one.stalls = [(t, t + u(0.2, 4))]
    return one


@dataclass
class Seen:
    """What the box reads, a row a turn of 100 ms, a column a transfer; and what is so."""

    pump_on: NDArray[np.bool_]
    fault: NDArray[np.bool_]
    pressure: NDArray[np.int64]
    mains_fault: NDArray[np.bool_]
    mains: NDArray[np.int64]
    moved: Array  # into the mains, since the pump was switched on
    true_mains: Array


def _during(times: Array, spans: list[list[tuple[float, float]]]) -> NDArray[np.bool_]:
    inside = np.zeros((len(times), len(spans)), bool)
    for column, of_one in enumerate(spans):
        for start, stop in of_one:
            inside[np.searchsorted(times, start) : np.searchsorted(times, stop), column] = True
    return inside


def _lagged(wanted: Array, share: Array | float) -> Array:
    """First-order lags along the rows, each row the share of the way."""
    out = np.empty_like(wanted)
    state = wanted[0].copy()
    for row in range(len(wanted)):
        state = state + (wanted[row] - state) * (share if isinstance(share, float) else share[row])
        out[row] = state
    return out


def simulate(transfers: list[Transfer], rng: np.random.Generator) -> Seen:
    """All of them at once, in steps of a tick."""

    def of(name: str) -> Array:
        return np.array([getattr(one, name) for one in transfers], float)

    columns = len(transfers)
    turns = math.ceil(max(one.end for one in transfers) / TURN_S) + 1
    t: Array = np.arange(turns * TICKS, dtype=np.float64) * TICK_S
    now = t[:, None]
    shape = (len(t), columns)
    pauses = _during(t, [one.pauses for one in transfers])
    on = (now >= BEFORE_S) & (now < of("off")) & ~pauses
    volts = np.stack(
        [np.interp(t, [at for at, _ in one.volts], [v for _, v in one.volts]) for one in transfers], 1
    )
    for column, one in enumerate(transfers):
        for start, stop, deep in one.dips:
            volts[np.searchsorted(t, start) : np.searchsorted(t, stop), column] -= deep
    power = np.array([MODELS[one.pump].power for one in transfers])
    ratio = np.maximum(volts, 6) / 14
    closed = now >= of("closed")
    dry = (now >= of("dry")) & ~closed
    clog = 1 - of("clogs") * np.clip(now / of("dry"), 0, 1)
    # what part of its pressure the pump makes
    made = np.ones(shape)
    made[_during(t, [one.uncovered for one in transfers])] = 0.1
    spat = (now - of("dry")) / of("spit")
    gulps = np.repeat(rng.random((len(t) // 10 + 1, columns)), 10, axis=0)[: len(t)]
    made = np.where(dry, np.where(spat < 1, gulps * (1 - spat), of("air")), made)
    blocked = closed & ~dry
    made = np.where(blocked, of("dead_head"), made) * on * ~np.array([one.dead for one in transfers])
    mean = of("psi") * ratio**power * np.where(blocked, 1.0, clog) * made
    mean = _lagged(mean, TICK_S / 0.25)
    # the strokes of the plunger, uneven
    plunger = of("pump") == 0
    pace = of("strokes") * ratio * np.where(dry, 1.5, 1.0) * (1 + 0.3 * rng.normal(size=shape))
    phase = 2 * np.pi * (np.cumsum(pace, axis=0) * TICK_S + rng.random(columns))
    swing = of("ripple") * np.where(dry, 0.2, np.where(blocked, 0.05, 1.0)) * plunger + 0.01
    height = mean * np.maximum(0, 1 + swing * (np.sin(phase) + 0.3 * np.sin(2 * phase + 1)))
    # the air, and what the sender makes of it
    feet = np.clip(of("feet") + of("climb") * now / 60, 0, 12_500)
    ambient = pressure_hpa(feet * M_PER_FOOT) / HPA_PER_PSI
    sea = SEA_LEVEL_HPA / HPA_PER_PSI
    sender = of("sender")
    base = np.select(
        [sender == 0, sender == 1, sender == 2], [0 * ambient, ambient - sea, ambient], sea - ambient
    )
    psi = (height + base) * of("gain") + of("offset") + of("noise") * rng.normal(size=shape)
    stops = np.array([one.stop or SENDERS[one.sender] == "gauge" for one in transfers])
    psi = np.where(stops, np.maximum(psi, STOP_PSI), psi)[::SAMPLE_TICKS]
    before = np.vstack([psi[:1], psi[:1], psi])
    psi = np.median(np.stack([before[:-2], before[1:-1], before[2:]]), axis=0)
    psi = psi[np.arange(turns) * TICKS // SAMPLE_TICKS]  # as last sampled at each turn
    at: Array = t[::TICKS]
    fault = _during(at, [one.faults for one in transfers])
    pressure = _lagged(psi, np.where(fault, 1.0, 0.2))  # seeded afresh after a fault
    # the mains, in turns
    flowing = (on & ~closed & ~dry & ~np.array([one.dead for one in transfers]))[::TICKS]
    rate = of("rate") * (ratio ** (power / 2))[::TICKS] * np.where(made[::TICKS] > 0.5, 1, 0) * flowing
    moved = np.cumsum(rate, axis=0) * TURN_S / 3600
    true_mains = of("mains") + moved - of("burn") / 3600 * at[:, None]
    gains = np.array([one.floats for one in transfers])
    first = true_mains / 2
    for column, one in enumerate(transfers):
        if one.sticks:
            stuck = (at >= one.sticks[0]) & (at < one.sticks[1])
            if stuck.any():
                first[stuck, column] = first[stuck.argmax(), column]
    shown = first * gains[:, 0] + true_mains / 2 * gains[:, 1]
    # slosh: before its damping it is 12 times what it is after, and lasts a second or so
    waves = rng.normal(size=(turns // 10 + 2, columns)).repeat(10, axis=0)[:turns] * of("slosh") * 5
    mains_fault = _during(at, [one.mains_faults for one in transfers])
    shown = _lagged(shown + waves, np.where(mains_fault, 1.0, TURN_S / 12))
    return Seen(
        on[::TICKS],
        fault,
        np.where(fault, 0, np.rint(pressure * 1000)).astype(np.int64),
        mains_fault,
        np.where(mains_fault, 0, np.rint(shown)).astype(np.int64),
        moved,
        true_mains,
    )


@dataclass
class Outcome:
    """What was said in one transfer. Times in s after the true moment."""

    transfer: Transfer
    states: list[tuple[float, int]] = field(default_factory=list)  # when each was first said
    calls: list[tuple[float, int]] = field(default_factory=list)  # of these, DRY and LEAK
    books: list[tuple[str, float, float]] = field(default_factory=list)  # what, error, band
    doubted: bool = False  # at the end
    pumped_s: float = 0.0


def watch(one: Transfer, seen: Seen, column: int) -> Outcome:
    """Steps the box's watch through what it would read."""
    watcher = ReserveWatch(one.record)
    said = Outcome(one)
    end = min(len(seen.pressure), math.ceil(one.end / TURN_S))
    whole = float(seen.moved[min(end - 1, math.ceil(one.dry / TURN_S)), column])
    if not one.runs_dry:
        whole += 300.0
    stated_band = max(10.0, 0.05 * whole / one.leak)
    watcher.books.fill(round(whole / one.leak + one.stated_error * stated_band / 2), round(stated_band))
    rows = zip(
        *(
            array[:end, column].tolist()
            for array in (seen.pump_on, seen.fault, seen.pressure, seen.mains_fault, seen.mains)
        )
    )
    looked = {round(end * share) for share in (0.3, 0.5, 0.7, 0.9)} | {end - 1}
    stalls = one.stalls
    waited = 0
    before = OFF
    step = watcher.step
    late = (
        np.random.default_rng(column).integers(0, LATE_MS, end + 1).tolist()
    )  # the loop is not always on time
    for turn, (on, fault, pressure, mains_fault, mains) in enumerate(rows):
        waited += 100 + late[turn + 1] - late[turn]
        if stalls and stalls[0][0] <= turn * TURN_S < stalls[0][1]:
            continue
        step(waited, on, CONVERTER if fault else NONE, pressure, CONVERTER if mains_fault else NONE, mains)
        waited = 0
        if watcher.state != before:
            before = watcher.state
            said.states.append((turn * TURN_S, before))
            if before in (DRY, LEAK):
                said.calls.append((turn * TURN_S - one.dry, before))
        if turn in looked:
            _look_at_books(said, watcher, seen, turn, column, whole)
    said.doubted = watcher.doubtful
    said.pumped_s = float(seen.pump_on[:end, column].sum()) * TURN_S
    return said


def _look_at_books(
    said: Outcome, watcher: ReserveWatch, seen: Seen, turn: int, column: int, whole: float
) -> None:
    moved = float(seen.moved[turn, column])
    one = said.transfer
    if watcher.books.open or watcher.books.moved:
        said.books.append(("moved", watcher.books.moved - moved, watcher.books.moved_band))
    if watcher.books.left > 0:
        left = whole - moved if one.leak == 1 else (whole - moved) / one.leak
        said.books.append(("left", watcher.books.left - left, watcher.books.left_band))
    if watcher.books.room != NOT_KNOWN:
        room = 3600 - float(seen.true_mains[turn, column])
        said.books.append(("room", watcher.books.room - room, watcher.books.room_band))
    if (
        watcher.books.seconds_to_off != NOT_KNOWN
        and watcher.state == FLOWING
        and one.runs_dry
        and one.leak == 1
    ):
        seconds = one.dry - turn * TURN_S - sum(b - a for a, b in one.pauses if a > turn * TURN_S)
        if seconds > 0:
            said.books.append(
                ("seconds to off", watcher.books.seconds_to_off - seconds, watcher.books.seconds_band)
            )


def run(transfers: int, seed: int, sealed: bool = False, progress: bool = False) -> list[Outcome]:
    """So many transfers; the same for the same seed."""
    root = np.random.default_rng([seed, 1])
    drawn = sorted((draw(root, sealed) for _ in range(transfers)), key=lambda one: one.end)
    outcomes: list[Outcome] = []
    block = 0
    while len(outcomes) < transfers:
        # blocks of long ones are narrower
        rest = drawn[len(outcomes) :]
        some = rest[: BLOCK if rest[0].end < 350 else BLOCK // 4]
        seen = simulate(some, np.random.default_rng([seed, 2, block]))
        outcomes += [watch(one, seen, column) for column, one in enumerate(some)]
        block += 1
        if progress:
            print(f"{len(outcomes)} of {transfers} transfers", file=sys.stderr, flush=True)
    return outcomes


def share(k: int, n: int) -> dict[str, float]:
    low, high = clopper_pearson(k, n) if n else (0.0, 1.0)
    return {"count": k, "of": n, "share": k / n if n else math.nan, "from": low, "to": high}


def delay(one: Outcome) -> float:
    """From the dry moment, or from the sender's return if it was at fault then, to the call; inf: none. Stalls count."""
    calls = [t for t, _ in one.calls if t >= 0]
    if not calls:
        return math.inf
    back = max(
        [b for a, b in one.transfer.faults if a < one.transfer.dry + IN_TIME_S and b > one.transfer.dry],
        default=0.0,
    )
    return calls[0] - max(0.0, back - one.transfer.dry)


def report(outcomes: list[Outcome]) -> dict[str, Any]:
    """Counts with Clopper-Pearson limits at 95 %, delays, and how often the books' errors lie within their bands."""
    dry = [one for one in outcomes if one.transfer.runs_dry and not one.transfer.dead]
    delays = [delay(one) for one in dry]

    def said(one: Outcome, state: int) -> bool:
        return any(what == state for _, what in one.states)

    false_dry = [one for one in outcomes if any(t < 0 or not one.transfer.runs_dry for t, _ in one.calls)]
    whole = [one for one in outcomes if one.transfer.leak == 1]
    leaks = [one for one in dry if one.transfer.leak < 1]
    closed = [one for one in outcomes if one.transfer.closed < min(one.transfer.dry, one.transfer.off)]
    open_ = [one for one in outcomes if one.transfer.closed == math.inf]
    dead = [one for one in outcomes if one.transfer.dead]
    alive = [one for one in outcomes if not one.transfer.dead]
    found: dict[str, Any] = {
        "transfers": len(outcomes),
        "hours of pumping": sum(one.pumped_s for one in outcomes) / 3600,
        "dry said within 5 s": share(sum(d <= IN_TIME_S for d in delays), len(dry)),
        "dry said too early": share(len(false_dry), len(outcomes)),
        "dry or unknown said within 5 s": share(sum(_warned(one) for one in dry), len(dry)),
        "false leak": share(sum(said(one, LEAK) for one in whole), len(whole)),
        "leak told from dry": share(sum(said(one, LEAK) for one in leaks), len(leaks)),
        "false blocked": share(sum(said(one, BLOCKED) for one in open_), len(open_)),
        "blocked found or doubted": share(
            sum(said(one, BLOCKED) or one.doubted for one in closed), len(closed)
        ),
        "blocked found": share(sum(said(one, BLOCKED) for one in closed), len(closed)),
        "false no pressure": share(sum(said(one, NO_PRESSURE) for one in alive), len(alive)),
        "no pressure found": share(sum(said(one, NO_PRESSURE) for one in dead), len(dead)),
    }
    called = sorted(d for d in delays if d < math.inf)
    if called:
        found["delay, s"] = {
            "median": float(np.median(called)),
            "95 %": float(np.quantile(called, 0.95)),
            "99.9 %": float(np.quantile(called, 0.999)),
            "longest": called[-1],
        }
    blocked = [t - one.transfer.closed for one in closed for t, what in one.states if what == BLOCKED]
    if blocked:
        found["delay of blocked, s"] = {"median": float(np.median(blocked)), "longest": max(blocked)}
    for what in ("moved", "left", "room", "seconds to off"):
        pairs = [(error, band) for one in outcomes for name, error, band in one.books if name == what]
        if pairs:
            found[f"{what} within its band"] = share(sum(abs(e) <= b for e, b in pairs), len(pairs)) | {
                "median error": float(np.median([abs(e) for e, _ in pairs])),
                "median band": float(np.median([b for _, b in pairs])),
            }
    return found


def _warned(one: Outcome) -> bool:
    """Whether it no longer said that fuel flows, 5 s after it had ceased to."""
    until = (
        max([one.transfer.dry, *(b for a, b in one.transfer.faults if a < one.transfer.dry + IN_TIME_S)])
        + IN_TIME_S
    )
    states = [what for t, what in one.states if t <= until]
    return bool(states) and states[-1] in (DRY, LEAK, UNKNOWN, NO_PRESSURE)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m gaugelight.reserve_trial", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--transfers", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sealed", action="store_true", help="sealed 0-15 psi senders that stop at 3.8 mA")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    if asked.transfers < 1:
        print("--transfers: at least 1", file=sys.stderr)
        return 2
    found = report(run(asked.transfers, asked.seed, asked.sealed, progress=True)) | {"seed": asked.seed}
    if asked.json:
        print(json.dumps(found))
        return 0
    for name, value in found.items():
        if not isinstance(value, dict):
            print(f"{name}: {value:.6g}")
        elif "count" not in value:
            print(f"{name}: " + ", ".join(f"{key} {number:.2f}" for key, number in value.items()))
        else:
            more = "".join(
                f", {key} {number:.1f}" for key, number in value.items() if key.startswith("median")
            )
            print(
                f"{name}: {value['count']} of {value['of']}, {value['share']:.3%} "
                f"({value['from']:.3%} to {value['to']:.3%} at 95 %){more}"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
