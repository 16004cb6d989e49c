"""The converter's driver against the register model of the chip, poll by poll.

The chip's figures are its data sheet's (Texas Instruments SBAS444); the latencies are the project's own promise.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest

from gaugebox.ads1115 import ADS1115
from gaugelight.virtual import ChipInProcess, Inputs, Outputs, Trouble
from interpreters import on_32_bit

TICK_MS = 20
TIMEOUT_US = 2000
A_SECOND = 1000 // TICK_MS
ONE, TWO, THREE, FOUR = 0x48, 0x49, 0x4A, 0x4B
PER_SECOND = (8, 16, 32, 64, 128, 250, 475, 860)  # by the code of the rate; the clock may be 10 % off
TOLERANCES = (0.9, 1.0, 1.1)
RATE_128 = 4

# input selections: pairs, then each against ground; gain codes: full scale in volts
M01, M03, M13, M23, M0, M1, M2, M3 = range(8)
FULL_SCALE = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256)
VOLTS = [1.0, 2.0, 0.0, 3.3]
SCAN = [(M0, 1), (M1, 1), (M3, 1)]
SCANNED = [16000, 32000, 52800]  # 4.096 V is 65536 counts
ONE_INPUT = [(M1, 1)]


def ticks_for(rate: int, share: float = 1.0) -> int:
    """From a start at one tick to the first tick after the conversion's end."""
    return math.ceil(1000 / (PER_SECOND[rate] * share) / TICK_MS)


class Rig:
    """Chips on one bus and their drivers, polled as the box's loop does; the time a poll takes is part of the tick."""

    def __init__(
        self,
        inputs: list[tuple[int, int]] = SCAN,
        rate: int = RATE_128,
        continuous: bool = False,
        share: float = 1.0,
        addresses: Sequence[int] = (ONE,),
    ) -> None:
        troubles = {address: Trouble(rate=share) for address in addresses}
        self.inputs = Inputs(chips={address: list(VOLTS) for address in addresses}, troubles=troubles)
        self.each_step: Callable[[], None] = lambda: None
        chip: Any = ChipInProcess(self)
        self.time = chip.time
        self.i2c = Listened(chip.machine.I2C(0, timeout=TIMEOUT_US))
        i2c: Any = self.i2c
        self.drivers = {address: ADS1115(i2c, address, rate, continuous, inputs) for address in addresses}
        self.driver = self.drivers[addresses[0]]
        self.last = self.due = self.time.ticks_ms()

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        self.each_step()
        return self.inputs

    def tick(self) -> dict[int, bool]:
        """By address, whether its whole scan is there."""
        now = self.time.ticks_ms()
        elapsed = self.time.ticks_diff(now, self.last)
        self.last = now
        whole = {address: driver.poll(elapsed) for address, driver in self.drivers.items()}
        self.due = self.time.ticks_add(self.due, TICK_MS)
        self.time.sleep_ms(max(0, self.time.ticks_diff(self.due, self.time.ticks_ms())))
        return whole

    def ticks(self, count: int) -> list[bool]:
        """Of the first chip."""
        return [next(iter(self.tick().values())) for _ in range(count)]

    def suffer(self, address: int = ONE, **trouble: Any) -> None:
        self.inputs.troubles[address] = replace(self.inputs.troubles[address], **trouble)
        self.time.sleep_ms(0)

    def reset(self, address: int = ONE) -> None:
        self.suffer(address, resets=self.inputs.troubles[address].resets + 1)


class Listened:
    """The bus, and what was asked on it: address, microseconds, how it failed."""

    def __init__(self, i2c: Any) -> None:
        self.i2c = i2c
        self.asked: list[tuple[int, int | None]] = []
        self.between: Callable[[int], None] = lambda register: None

    def _ask(self, address: int, transaction: Callable[[], None]) -> None:
        failure = None
        try:
            transaction()
        except OSError as error:
            failure = error.errno
            raise
        finally:
            self.asked.append((address, failure))

    def writeto(self, address: int, octets: bytes) -> None:
        self._ask(address, lambda: self.i2c.writeto(address, octets))

    def readfrom_mem_into(self, address: int, register: int, into: bytearray) -> None:
        self._ask(address, lambda: self.i2c.readfrom_mem_into(address, register, into))
        self.between(register)


# -- what it is told to do


@pytest.mark.parametrize(
    "continuous, inputs",
    [(False, []), (True, []), (True, SCAN), (True, ONE_INPUT * 2)],
    ids=["nothing to scan", "continuous nothing", "continuous three", "continuous one twice"],
)
def test_refused(continuous: bool, inputs: list[tuple[int, int]]) -> None:
    with pytest.raises(ValueError, match="one input or more; in continuous mode exactly one"):
        Rig(inputs, continuous=continuous)


def test_no_configuration_is_the_one_after_a_reset() -> None:
    """Else a chip that has reset itself would pass for one with a reading of nought."""
    i2c: Any = None
    for rate in range(8):
        for pair in [(mux, gain) for mux in range(8) for gain in range(8)]:
            for continuous in (False, True):
                driver = ADS1115(i2c, ONE, rate, continuous, [pair])
                assert {*driver.setups, driver.rest}.isdisjoint({b"\x01\x85\x83", b"\x01\x05\x83"})


# -- what it says

COUNTS = {
    # volts at the four inputs; mux, gain code; count
    "ground": ([0, 0, 0, 0], (M0, 1), 0),
    "a step": ([0.000125, 0, 0, 0], (M0, 1), 2),
    "half of full scale": ([2.048, 0, 0, 0], (M0, 1), 32768),
    "below ground": ([-0.2, 0, 0, 0], (M0, 1), 0),
    "a step below ground": ([-0.000125, 0, 0, 0], (M0, 1), 0),
    "beyond full scale": ([0, 0, 3.0, 0], (M2, 2), 65534),
    "clamped by the supply": ([0, 0, 0, 5.0], (M3, 1), 57600),  # 3.6 V of 4.096
    "6.144 V": ([3.072, 0, 0, 0], (M0, 0), 32768),
    "2.048 V": ([0, 0.512, 0, 0], (M1, 2), 16384),
    "1.024 V": ([0, 0.512, 0, 0], (M1, 3), 32768),
    "0.512 V": ([0, 0.128, 0, 0], (M1, 4), 16384),
    "0.256 V": ([0, 0.128, 0, 0], (M1, 5), 32768),
    "0.256 V by the last code": ([0, 0.128, 0, 0], (M1, 7), 32768),
    "difference of nought": ([1.5, 1.5, 0, 0], (M01, 1), 32768),
    "difference, a step": ([1.500125, 1.5, 0, 0], (M01, 1), 32769),
    "difference, a step down": ([1.5, 1.500125, 0, 0], (M01, 1), 32767),
    "difference 0 and 3": ([0.5, 0, 0, 0.25], (M03, 3), 32768 + 8000),
    "difference 1 and 3": ([0, 0.5, 0, 1.0], (M13, 3), 32768 - 16000),
    "difference 2 and 3": ([0, 0, 0.024, 0], (M23, 5), 32768 + 3072),
    "difference, full scale": ([3.0, 0, 0, 0], (M01, 2), 65535),
    "difference, minus full scale": ([0, 3.0, 0, 0], (M01, 2), 0),
}


@pytest.mark.parametrize("continuous", [False, True], ids=["single-shot", "continuous"])
@pytest.mark.parametrize("volts, pair, count", COUNTS.values(), ids=COUNTS)
def test_count(volts: list[float], pair: tuple[int, int], count: int, continuous: bool) -> None:
    rig = Rig([pair], continuous=continuous)
    rig.inputs.chips[ONE] = volts
    rig.time.sleep_ms(0)
    assert rig.ticks(2) == [False, True]
    assert rig.driver.counts == [count]


def test_each_input_has_its_own_gain() -> None:
    rig = Rig([(M0, 0), (M01, 2), (M1, 1), (M1, 2), (M2, 5), (M0, 3)])
    rig.inputs.chips[ONE] = [0.768, 1.024, 0.032, 0]
    assert True in rig.ticks(7)
    assert rig.driver.counts == [8192, 32768 - 4096, 16384, 32768, 8192, 49152]


# -- in step with the chip


@pytest.mark.parametrize("share", TOLERANCES)
@pytest.mark.parametrize("rate", range(8))
def test_single_shot_a_conversion_in_flight_and_a_whole_scan_at_the_last(rate: int, share: float) -> None:
    rig = Rig(rate=rate, share=share)
    ticks = ticks_for(rate, share)
    scan = [False] * (3 * ticks - 1) + [True]
    seen = []
    for _ in range(1 + 3 * len(scan)):
        seen += rig.ticks(1)
        if seen[-1]:
            assert rig.driver.counts == SCANNED
        assert rig.driver.alive == (len(seen) > ticks)
    assert seen == [False] + scan * 3


@pytest.mark.parametrize("rate", range(8))
def test_polls_never_wait(rate: int) -> None:
    """At most a setup at rest, two readings and the next setup, and a second look at a conversion of nought."""
    for continuous in (False, True):
        rig = Rig([(M2, 1)], rate, continuous)  # at ground
        for _ in range(50):
            before, asked = rig.time.ticks_us(), len(rig.i2c.asked)
            rig.driver.poll(TICK_MS)
            assert rig.time.ticks_diff(rig.time.ticks_us(), before) < 1000
            assert 1 <= len(rig.i2c.asked) - asked <= 4
            rig.time.sleep_ms(TICK_MS)


# at which tick the next conversion is certainly another one, its clock being 10 % slow
EVERY = {8: 8, 16: 4, 32: 3, 64: 2, 128: 1, 250: 1, 475: 1, 860: 1}


@pytest.mark.parametrize("share", TOLERANCES)
@pytest.mark.parametrize("rate", range(8))
def test_continuous_never_says_the_same_conversion_twice(rate: int, share: float) -> None:
    """The input climbs with each step of the world, so each conversion has its own code."""
    rig = Rig([(M0, 1)], rate, True, share)
    writes = []
    volts = [0.0] * 4

    def climb() -> None:
        volts[0] += 0.000125
        rig.inputs.chips = {ONE: volts}

    rig.each_step = climb
    counts, at = [], []
    for tick in range(3 * A_SECOND):
        writes.append(len(rig.i2c.asked))
        if rig.ticks(1)[0]:
            counts += rig.driver.counts
            at.append(tick)
    assert len(set(counts)) == len(counts) and counts == sorted(counts)
    assert {after - before for before, after in zip(at, at[1:])} == {EVERY[PER_SECOND[rate]]}
    assert rig.driver.alive


def test_continuous_the_newest_conversion_in_spite_of_late_polls() -> None:
    """Polls up to half a tick late, by their own clock on time: still no conversion twice."""
    for rate in range(8):
        rig = Rig([(M0, 1)], rate, True, 0.9)
        volts = [0.0] * 4

        def climb() -> None:
            volts[0] += 0.000125
            rig.inputs.chips = {ONE: volts}

        rig.each_step = climb
        counts = []
        for tick in range(3 * A_SECOND):
            late_ms = (0, 9, 0, 4, 9)[tick % 5]
            rig.time.sleep_ms(late_ms)
            if rig.driver.poll(TICK_MS):
                counts += rig.driver.counts
            rig.time.sleep_ms(TICK_MS - late_ms)
        assert len(set(counts)) == len(counts) > 15
        assert rig.driver.alive


@pytest.mark.parametrize("rate", range(8))
def test_a_good_chip_polled_late_stays_alive(rate: int) -> None:
    """Single-shot, the clock 10 % slow, the polls up to half a tick early or late by their own clock."""
    rig = Rig(rate=rate, share=0.9)
    rig.ticks(ticks_for(rate, 0.9) + 1)
    for tick in range(2 * A_SECOND):
        late_ms = (9, 0, 0, 4, 9)[tick % 5]
        rig.time.sleep_ms(late_ms)
        rig.driver.poll(TICK_MS)
        rig.time.sleep_ms(TICK_MS - late_ms)
        assert rig.driver.alive


EARLIER = {  # what a program before this one left in the chip that never lost its supply
    "at rest": None,
    "a slow single shot": 0x8000 | M0 << 12 | 1 << 9 | 1 << 8,
    "slow and continuous": M0 << 12 | 1 << 9,
}


@pytest.mark.parametrize("after_ms", [0, 50, 110])
@pytest.mark.parametrize("continuous", [False, True], ids=["single-shot", "continuous"])
@pytest.mark.parametrize("earlier", EARLIER.values(), ids=EARLIER)
def test_nothing_from_before_the_configuration(earlier: int | None, continuous: bool, after_ms: int) -> None:
    """What is under way is completed with its own settings first."""
    rig = Rig(ONE_INPUT, 7, continuous, 0.9)
    if earlier is not None:
        rig.i2c.writeto(ONE, bytes((1, earlier >> 8, 3)))
    rig.time.sleep_ms(after_ms)
    for _ in range(A_SECOND):
        if rig.ticks(1)[0]:
            assert rig.driver.counts == [32000]
    assert rig.driver.alive


# -- a chip that has reset itself

RESET_LOOKALIKE = [
    (M01, 2)
]  # with 128 a second what a reset leaves: its wrong reading would be the likeliest


@pytest.mark.parametrize("continuous", [False, True], ids=["single-shot", "continuous"])
@pytest.mark.parametrize(
    "inputs", [ONE_INPUT, RESET_LOOKALIKE, [(M2, 1)]], ids=["a", "as after a reset", "at ground"]
)
@pytest.mark.parametrize("rate", range(8))
def test_a_chip_that_reset_itself_is_silent_at_once(
    rate: int, inputs: list[tuple[int, int]], continuous: bool
) -> None:
    rig = Rig(inputs, rate, continuous)
    rig.ticks(3 * ticks_for(rate) + 5)
    good = rig.driver.counts[:]
    assert rig.driver.alive
    rig.reset()
    assert rig.ticks(1) == [False] and not rig.driver.alive
    whole = rig.ticks(A_SECOND)
    assert True not in whole
    assert True in rig.ticks(2 + EVERY[PER_SECOND[rate]])
    assert rig.driver.alive and rig.driver.counts == good


@pytest.mark.parametrize("continuous", [False, True], ids=["single-shot", "continuous"])
def test_a_chip_that_resets_itself_in_mid_poll_gives_no_count(continuous: bool) -> None:
    """Between the reading of its configuration and that of its conversion, which is nought then."""
    rig = Rig(ONE_INPUT, RATE_128, continuous)
    rig.ticks(5)

    def dip(register: int) -> None:
        if register == 1:
            rig.i2c.between = lambda register: None
            rig.reset()

    rig.i2c.between = dip
    assert rig.ticks(1) == [False]
    assert not rig.driver.alive and rig.driver.counts == [32000]
    assert rig.ticks(A_SECOND + 3).count(True) > 0 and rig.driver.counts == [32000]


def test_general_call_reset_makes_every_chip_silent_and_all_come_back() -> None:
    rig = Rig(addresses=(ONE, TWO))
    rig.ticks(10)
    rig.i2c.writeto(0, b"\x06")
    rig.tick()
    assert [driver.alive for driver in rig.drivers.values()] == [False, False]
    rig.ticks(A_SECOND + 5)
    assert [driver.counts for driver in rig.drivers.values()] == [SCANNED, SCANNED]
    assert [driver.alive for driver in rig.drivers.values()] == [True, True]


def test_a_chip_in_another_mode_than_written_is_silent() -> None:
    """Fallen back to power-down but for that as it was: it would repeat its last conversion for ever."""
    rig = Rig(ONE_INPUT, RATE_128, True)
    rig.ticks(5)
    rig.i2c.writeto(ONE, rig.driver.rest)
    assert rig.ticks(1) == [False] and not rig.driver.alive


# -- dead chips


def cut_off(rig: Rig) -> None:
    del rig.inputs.chips[ONE]
    rig.time.sleep_ms(0)


def refusing(rig: Rig) -> None:
    rig.suffer(refuses_data=True)


def stuck(rig: Rig) -> None:
    rig.suffer(never_ready=True)


def held_low(rig: Rig) -> None:
    rig.inputs.bus_stuck = True
    rig.time.sleep_ms(0)


def mend(rig: Rig) -> None:
    rig.inputs.chips = {address: list(VOLTS) for address in rig.drivers}
    rig.inputs.bus_stuck = False
    for address in rig.drivers:
        rig.suffer(address, never_ready=False, refuses_data=False)


# Worst time in ms from the trouble to `alive` False, by the rate: a chip that fails on the bus is found at the next poll, one
# that is stuck when a conversion is overdue (its time at -10 %, 10 ms for the polls' jitter, then the next poll).
NEXT_POLL = dict.fromkeys(PER_SECOND, 20)
LATENCIES = {
    "cut off": (cut_off, NEXT_POLL),
    "refuses data": (refusing, NEXT_POLL),
    "bus held low": (held_low, NEXT_POLL),
    "reset itself": (Rig.reset, NEXT_POLL),
    "stuck": (stuck, {8: 180, 16: 100, 32: 80, 64: 60, 128: 40, 250: 40, 475: 40, 860: 40}),
}


@pytest.mark.parametrize("rate", range(8))
@pytest.mark.parametrize(
    "trouble, latencies, continuous",
    [(*case, False) for case in LATENCIES.values()]
    + [(*case, True) for case in LATENCIES.values() if case[0] is not stuck],  # there it cannot be seen
    ids=[*LATENCIES, *(f"{name}, continuous" for name in LATENCIES if name != "stuck")],
)
def test_latency_and_recovery(
    trouble: Callable[[Rig], None], latencies: dict[int, int], continuous: bool, rate: int
) -> None:
    """Whenever in a scan the trouble comes and wherever in the second between two probes it goes."""
    inputs = ONE_INPUT if continuous else SCAN
    conversion = ticks_for(rate)
    scan = EVERY[PER_SECOND[rate]] if continuous else len(SCAN) * conversion
    found: list[int] = []
    for phase in range(scan + 1):
        rig = Rig(inputs, rate, continuous)
        rig.ticks(2 * conversion + 3 + phase)
        assert rig.driver.alive
        trouble(rig)
        ticks = 0
        while rig.driver.alive:
            assert True not in rig.ticks(1) or trouble is stuck
            ticks += 1
            assert ticks <= A_SECOND
        found.append(ticks * TICK_MS)
        rig.ticks(phase * A_SECOND // scan)
        mend(rig)
        whole = rig.ticks(A_SECOND + ticks_for(0, 0.9) + 2 + scan)
        assert True in whole and rig.driver.alive
        assert rig.driver.counts == (SCANNED[1:2] if continuous else SCANNED)
    assert max(found) == latencies[PER_SECOND[rate]]


def test_continuous_a_clock_that_stands_still_looks_like_a_steady_input() -> None:
    """The limit that the driver states: single-shot finds it."""
    rig = Rig(ONE_INPUT, RATE_128, True)
    rig.ticks(10)
    rig.suffer(never_ready=True)
    rig.inputs.chips[ONE][1] = 1.0
    rig.ticks(A_SECOND)
    assert rig.driver.alive and rig.driver.counts == [32000]


@pytest.mark.parametrize(
    "trouble, failures", [(cut_off, {5}), (refusing, {5}), (held_low, {110}), (stuck, {None})]
)
def test_a_dead_chip_is_asked_once_a_second(
    trouble: Callable[[Rig], None], failures: set[int | None]
) -> None:
    rig = Rig()
    trouble(rig)
    rig.ticks(A_SECOND)
    rig.i2c.asked.clear()
    before = rig.time.ticks_ms()
    rig.ticks(10 * A_SECOND)
    assert not rig.driver.alive
    assert rig.time.ticks_diff(rig.time.ticks_ms(), before) == 10 * A_SECOND * TICK_MS
    # a probe is one transaction, which fails; a stuck chip answers, and is looked at until it is overdue for the slowest rate
    most = 10 if trouble is not stuck else 10 * (2 + 8)
    assert most // 2 < len(rig.i2c.asked) <= most
    assert {failure for _, failure in rig.i2c.asked} == failures


def test_a_chip_that_is_never_ready_is_never_alive() -> None:
    rig = Rig()
    rig.suffer(never_ready=True)
    for _ in range(5 * A_SECOND):
        assert rig.ticks(1) == [False] and not rig.driver.alive


# -- four chips on one bus, in one loop

ADDRESSES = (ONE, TWO, THREE, FOUR)
ALONE = {
    "cut off": cut_off,
    "refuses data": refusing,
    "stuck": stuck,
    "reset itself": Rig.reset,
}


@pytest.mark.parametrize("share", TOLERANCES)
@pytest.mark.parametrize("rate", [0, 3, RATE_128, 7])
@pytest.mark.parametrize("trouble", ALONE.values(), ids=ALONE)
def test_one_of_four_dead(trouble: Callable[[Rig], None], rate: int, share: float) -> None:
    """The three others, poll by poll: the same scans at the same ticks as if nothing were wrong."""
    well, rig = (Rig(rate=rate, share=share, addresses=ADDRESSES) for _ in range(2))
    for tick in range(6 * A_SECOND):
        if tick == 2 * A_SECOND:
            trouble(rig)
        if tick == 4 * A_SECOND:
            mend(rig)
        expected, seen = well.tick(), rig.tick()
        for address in ADDRESSES[1:]:
            assert seen[address] == expected[address], tick
            assert rig.drivers[address].counts == well.drivers[address].counts
            assert rig.drivers[address].alive == well.drivers[address].alive
        if seen[ONE]:
            assert rig.driver.counts == SCANNED
        if 2 * A_SECOND + 8 <= tick < (4 if trouble is not Rig.reset else 3) * A_SECOND:
            assert not rig.driver.alive
        assert well.driver.alive or tick < 8
    assert rig.driver.alive


def test_bus_held_low_costs_each_chip_one_time_out_a_second() -> None:
    rig = Rig(addresses=ADDRESSES)
    rig.ticks(10)
    held_low(rig)
    rig.i2c.asked.clear()
    for _ in range(5 * A_SECOND):
        asked, before = len(rig.i2c.asked), rig.time.ticks_us()
        whole = [driver.poll(TICK_MS) for driver in rig.drivers.values()]
        spent_us = rig.time.ticks_diff(rig.time.ticks_us(), before)
        assert not any(whole) and not any(driver.alive for driver in rig.drivers.values())
        assert spent_us <= 4 * TIMEOUT_US + 100  # of the 20,000 of a tick
        assert len(rig.i2c.asked) - asked in (0, 4)
        rig.time.sleep_ms(TICK_MS)
    for address in ADDRESSES:
        failures = [failure for asked, failure in rig.i2c.asked if asked == address]
        assert failures == [110] * 5
    mend(rig)
    rig.last = rig.due = rig.time.ticks_ms()
    scans = dict.fromkeys(ADDRESSES, 0)
    for _ in range(A_SECOND + 1 + len(SCAN)):
        for address, scanned in rig.tick().items():
            scans[address] += scanned
    assert all(scans.values())
    assert all(driver.alive and driver.counts == SCANNED for driver in rig.drivers.values())


# -- on the box

FRAMES = """
import gc
from gaugebox.ads1115 import ADS1115

class Chip:
    def __init__(self, code=0x1020, stuck=False, lost=0):
        self.high = self.low = self.most = 0
        self.code, self.stuck, self.lost = code, stuck, lost
    def note(self):
        held = gc.mem_alloc()
        if held > self.most:
            self.most = held
    def readfrom_mem_into(self, address, register, two):
        self.note()
        two[0], two[1] = self.code >> 8, self.code & 0xff
        if register:
            two[0], two[1] = self.high ^ 0x80 if self.stuck else self.high | 0x80, self.low ^ self.lost
    def writeto(self, address, octets):
        self.note()
        self.high, self.low = octets[1], octets[2]

def taken(job, chip):
    "Bytes of heap held at any transaction beyond those held before"
    job()
    before = gc.mem_alloc()
    chip.most = before
    for _ in range(120):
        job()
    return chip.most - before

SCAN = [(4, 1), (0, 2), (7, 0)]
for name, chip, continuous in (
    ("single-shot", Chip(), False),
    ("nought", Chip(0), False),
    ("below ground", Chip(0xffff), False),
    ("continuous", Chip(), True),
    ("stuck", Chip(stuck=True), False),
    ("reset", Chip(lost=1), False),
):
    driver = ADS1115(chip, 0x48, 4, continuous, SCAN[:1] if continuous else SCAN)
    def job():
        driver.poll(20)
    print(name, taken(job, chip), driver.alive)

def wide(a, b, c, d, e, f):
    g = h = i = j = k = a
    chip.note()

def job():
    wide(1, 2, 3, 4, 5, 6)
print("control", taken(job, chip) > 0)
"""


def test_a_poll_takes_no_heap_nor_do_its_frames() -> None:
    """A frame above eleven words would come from the heap, and be gone again after the call: so looked for in mid-call."""
    assert on_32_bit(FRAMES).splitlines() == [
        "single-shot 0 True",
        "nought 0 True",
        "below ground 0 True",
        "continuous 0 True",
        "stuck 0 False",
        "reset 0 False",
        "control True",
    ]
