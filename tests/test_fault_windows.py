"""What the box says at the edges of every sender: through the real channel, built from a real image.

NAMUR NE 43 (signal level for the failure information of transmitters, 4-20 mA): failure at 3.6 mA or less and at 21.0 mA
or more, measuring from 3.8 to 20.5 mA. The 0 to 90 ohm float, empty to full, is common practice, no source.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from box_says import Sampled
from gaugebox.measure import FAULTS, NO_INPUT
from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.converters import Ads1115, ChipInput, OnChip

HEAD = """
[box]
name = "bench"
board = "rp2040"
[converter.aft]
kind = "ads1115"
"""
LOOP = """
[[input]]
name = "loop"
pin = "aft.0"
circuit = { kind = "shunt", resistor = "%s ohm" }
sender = "4-20 mA"
unit = "bar"
pressure = "gauge"
range = [0, 16]
step = 0.1
"""
RAIL = """
[[input]]
name = "rail"
pin = "aft.3"
circuit = { kind = "direct" }
unit = "V"
nominal = "3.3 V"
"""
FLOAT = """
[[input]]
name = "fuel"
pin = "aft.1"
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "rail" }
unit = "l"
points = [["0 ohm", 0], ["90 ohm", 90]]
step = 1
damping = "%s"
"""
LEVEL = """
[[input]]
name = "level"
pin = "aft.0"
circuit = { kind = "divider", top = "1 kohm", bottom = "1500 ohm" }
sender = "0.5-4.5 V"
unit = "kg"
range = [-1000, 1000]
step = 5
damping = "%s"
"""

SENDERS = Path(__file__).parent / "senders.toml"
TICK_MS = 20
QUANTUM = Fraction("0.000125")  # volts of one code of the ADS1115 at its 4.096 V range (SBAS444)
LOAD = Fraction(6_000_000)  # ohm, of its inputs at that range (SBAS444, typical)
COUNT_OF = ChipInput(Ads1115("aft", 0x48), "0", 4.096).count

Boxes = Callable[..., list[Sampled]]


@pytest.fixture(scope="module")
def channels(tmp_path_factory: pytest.TempPathFactory) -> Boxes:
    """The channels of a box file, wired to their rails as the box does it."""
    file = tmp_path_factory.mktemp("box") / "bench.toml"

    @lru_cache
    def image(text: str) -> bytes:
        file.write_text(text)
        return build(read_box(file)).image

    def make(*inputs: str) -> list[Sampled]:
        made: list[Sampled] = []  # rails stand before what hangs on them
        for record in Table(image(HEAD + "".join(inputs))).inputs:
            made.append(Sampled(record, None if record.rail == NO_INPUT else made[record.rail]))
        return made

    return make


def settle(channel: Sampled, count: int) -> str | float:
    """The fault or the reading after three samples, which fill the spike filter."""
    for _ in range(3):
        channel.step(count, TICK_MS)
    return said(channel)


def said(channel: Sampled) -> str | float:
    return FAULTS[channel.fault] or channel.reading / 10**channel.record.reading_decimals


# NAMUR NE 43: (mA, codes beside it, what the box says)
NE_43 = {
    "no current": ("0", 0, "open"),
    "one code below the low failure": ("3.6", -1, "open"),
    "low failure": ("3.6", 0, "open"),
    "one code above the low failure": ("3.6", 1, "under"),
    "one code below the range": ("3.8", -1, "under"),
    "bottom of the range": ("3.8", 0, -0.2),
    "one code into the range": ("3.8", 1, -0.2),
    "live zero": ("4", 0, 0.0),
    "half": ("12", 0, 8.0),
    "full": ("20", 0, 16.0),
    "one code below the top": ("20.5", -1, 16.5),
    "top of the range": ("20.5", 0, 16.5),
    "one code above the top": ("20.5", 1, "over"),
    "one code below the high failure": ("21", -1, "over"),
    "high failure": ("21", 0, "short"),
    "one code above the high failure": ("21", 1, "short"),
    "all there is": ("23", 0, "short"),
}


@pytest.mark.parametrize("shunt", ["100", "120", "150"])
@pytest.mark.parametrize("milliamps, beside, expected", NE_43.values(), ids=NE_43)
def test_namur_limits(
    shunt: str, milliamps: str, beside: int, expected: str | float, channels: Boxes
) -> None:
    """With these shunts, the converter's own resistance beside them, every limit falls on a code exactly."""
    code = Fraction(milliamps) * int(shunt) / 1000 / QUANTUM + beside
    assert code.denominator == 1
    alone = 1 / (1 / Fraction(shunt) - 1 / LOAD)
    (loop,) = channels(LOOP % f"{float(alone):.9f}")
    reading = settle(loop, 2 * int(code))
    if isinstance(expected, str):
        assert reading == expected
    else:
        assert reading == pytest.approx(expected, abs=0.025)  # a quarter of its step


# the points of a loop: (mA at its lowest and highest, {mA: what the box says}); a reading is the end at which the points hold
FAILS = {"3.3": "open", "3.5": "open", "3.7": "under", "20.6": "over", "21.2": "short"}
BY_POINTS = {
    "as its data sheet has it": ("4", "20", FAILS | {"3.9": 0.0, "20.2": 16.0}),
    "as found on the bench": ("3.97", "20.03", FAILS | {"3.9": 0.0}),
    "as found by a poor meter": ("4.3", "19.6", FAILS),
    "what is read of half a loop": ("4", "12", {"3.5": "under", "12.6": "over"}),
    "a pump's current, no loop": ("1", "30", {"3.3": None, "20.6": None, "21.2": None}),
}


@pytest.mark.parametrize("falls", [False, True], ids=["rising", "falling"])
@pytest.mark.parametrize("first, last, wanted", BY_POINTS.values(), ids=BY_POINTS)
def test_namur_of_a_loop_by_its_points(
    first: str, last: str, wanted: dict[str, str | float | None], falls: bool, channels: Boxes
) -> None:
    """What a transmitter says by failing is no reading, however its points are written."""
    ends = (16, 0) if falls else (0, 16)
    points = f'points = [["{first} mA", {ends[0]}], ["{last} mA", {ends[1]}]]'
    (loop,) = channels(LOOP.replace('sender = "4-20 mA"', points).replace("range = [0, 16]\n", "") % "100")
    for milliamps, expected in wanted.items():
        got = settle(loop, COUNT_OF(float(milliamps) / 10))
        if isinstance(expected, float):
            assert got == pytest.approx(16 - expected if falls else expected, abs=0.025), milliamps
        elif expected is None:
            assert isinstance(got, float), milliamps
        else:
            assert got == expected, milliamps


def namur(milliamps: Fraction) -> str | None:
    if milliamps <= Fraction("3.6"):
        return "open"
    if milliamps < Fraction("3.8"):
        return "under"
    if milliamps <= Fraction("20.5"):
        return None
    return "over" if milliamps < 21 else "short"


@pytest.mark.parametrize("shunt", ["68", "100", "121", "147.3", "150", "165"])
def test_namur_at_every_code_near_a_limit(shunt: str, channels: Boxes) -> None:
    """The limits wherever they fall between the codes, in exact fractions."""
    (loop,) = channels(LOOP % shunt)
    for limit in ("3.6", "3.8", "20.5", "21"):
        ohms = 1 / (1 / Fraction(shunt) + 1 / LOAD)
        nearest = round(Fraction(limit) * ohms / 1000 / QUANTUM)
        for code in range(nearest - 3, nearest + 4):
            settle(loop, 2 * code)
            current = code * QUANTUM / ohms * 1000
            assert FAULTS[loop.fault] == namur(current), f"{float(current)} mA"


# a resistive float: (ohm, what the box says)
SENDER = {
    "empty": (0, 0.0),
    "a quarter": (22.5, 22.5),
    "half": (45, 45.0),
    "full": (90, 90.0),
    "as far above full as is believed": (94.4, 90.0),
    "further": (95, "over"),
    "corroded through": (200, "over"),
    "nearer to an open wire than to full": (360, "open"),
    "open wire": (1e9, "open"),
}


@pytest.mark.parametrize("damping", ["0 s", "12 s"])
@pytest.mark.parametrize("rail_volts", [2.7, 3.3, 3.5])
@pytest.mark.parametrize("ohms, expected", SENDER.values(), ids=SENDER)
def test_float_sender(
    ohms: float, expected: str | float, rail_volts: float, damping: str, channels: Boxes
) -> None:
    rail, fuel = channels(RAIL, FLOAT % damping)
    assert settle(rail, COUNT_OF(rail_volts)) == pytest.approx(rail_volts, abs=0.001)
    reading = settle(fuel, COUNT_OF(rail_volts * ohms / (ohms + 150)))
    assert reading == (expected if isinstance(expected, str) else pytest.approx(expected, abs=0.25))


@pytest.mark.parametrize("damping", ["0 s", "12 s"])
def test_an_open_wire_shows_at_once_and_the_damper_starts_anew(damping: str, channels: Boxes) -> None:
    rail, fuel = channels(RAIL, FLOAT % damping)
    full, opened, half = COUNT_OF(3.3 * 90 / 240), COUNT_OF(3.3), COUNT_OF(3.3 * 45 / 195)
    settle(rail, COUNT_OF(3.3))
    assert settle(fuel, full) == pytest.approx(90, abs=0.1)
    fuel.step(opened, TICK_MS)
    assert said(fuel) == pytest.approx(90, abs=0.1)
    fuel.step(opened, TICK_MS)
    assert said(fuel) == "open"
    fuel.step(half, TICK_MS)
    assert said(fuel) == "open"
    fuel.step(half, TICK_MS)
    assert said(fuel) == pytest.approx(45.0, abs=0.1)


FAULTY = {"open": COUNT_OF(0.0), "under": COUNT_OF(0.1), "over": COUNT_OF(2.85), "short": COUNT_OF(3.2)}


@pytest.mark.parametrize("fault, count", FAULTY.items())
def test_every_fault_starts_the_damper_anew(fault: str, count: int, channels: Boxes) -> None:
    (level,) = channels(LEVEL % "12 s")
    assert settle(level, LOW) == pytest.approx(-1000, abs=1.25)
    assert settle(level, count) == fault
    assert settle(level, HIGH) == pytest.approx(1000, abs=1.25)  # and not on its way there
    level.lose()
    assert settle(level, LOW) == pytest.approx(-1000, abs=1.25)


def test_a_dead_rail_is_the_fault_of_what_hangs_on_it(channels: Boxes) -> None:
    rail, fuel, loop = channels(RAIL, FLOAT % "0 s", LOOP % "150")
    alive, half, live = COUNT_OF(3.3), COUNT_OF(3.3 * 45 / 195), COUNT_OF(1.8)
    for _ in range(3):
        rail.step(alive, TICK_MS)
        fuel.step(half, TICK_MS)
        loop.step(live, TICK_MS)
    assert said(fuel) == pytest.approx(45.0, abs=0.1)
    readings = []
    for volts in (0.0, 0.0, 0.0, 0.0):
        rail.step(COUNT_OF(volts), TICK_MS)
        fuel.step(COUNT_OF(volts * 45 / 195), TICK_MS)
        loop.step(live, TICK_MS)
        readings.append(said(fuel))
    assert said(rail) == "short"
    assert readings == [pytest.approx(45.0, abs=0.1), "rail", "rail", "rail"]
    assert said(loop) == pytest.approx(8, abs=0.005)
    for _ in range(6):
        rail.step(alive, TICK_MS)
        fuel.step(half, TICK_MS)
        readings.append(said(fuel))
    # never a reading made of a live rail and a dead sample
    assert set(readings[1:]) == {"rail", readings[0]} and readings[-1] == readings[0]


def test_a_rail_that_comes_back_before_its_sender_is_sampled(channels: Boxes) -> None:
    """A scan takes the rail last: it may be alive already where the sender's sample is still dead."""
    rail, fuel = channels(RAIL, FLOAT % "12 s")
    alive, half = COUNT_OF(3.3), COUNT_OF(3.3 * 45 / 195)
    settle(rail, alive)
    assert settle(fuel, half) == pytest.approx(45.0, abs=0.1)
    settle(rail, 0)
    assert settle(fuel, 0) == "rail"
    for tick in range(8):
        rail.step(alive, TICK_MS)
        fuel.step(0 if tick == 0 else half, TICK_MS)
        assert said(fuel) in ("rail", pytest.approx(45.0, abs=0.1))
    assert said(fuel) != "rail"


def test_a_silent_converter(channels: Boxes) -> None:
    (loop,) = channels(LOOP % "150")
    assert said(loop) == "converter"
    for known in ("converter", "converter", pytest.approx(8, abs=0.005)):
        loop.step(COUNT_OF(1.8), TICK_MS)
        assert said(loop) == known
    loop.lose()
    assert said(loop) == "converter"
    for known in (
        "converter",
        "converter",
        pytest.approx(0, abs=0.005),
    ):  # samples from before the silence play no part
        loop.step(COUNT_OF(0.6), TICK_MS)
        assert said(loop) == known


SPIKES = {
    "to nought": 0,
    "to full scale": 65534,
    "a little": COUNT_OF(2.0),
    "into the failure band": COUNT_OF(0.55),
}


@pytest.mark.parametrize("spike", SPIKES.values(), ids=SPIKES)
def test_a_single_spike_never_shows(spike: int, channels: Boxes) -> None:
    (loop,) = channels(LOOP % "150")
    steady = settle(loop, COUNT_OF(1.8))
    for count in (spike, COUNT_OF(1.8), COUNT_OF(1.8), spike, COUNT_OF(1.8)):
        loop.step(count, TICK_MS)
        assert (said(loop), loop.count) == (steady, count)
    loop.step(spike, TICK_MS)
    loop.step(spike, TICK_MS)
    assert said(loop) != steady  # two are no spike


@pytest.mark.parametrize("spike", [0, 40000, 65534])
def test_a_single_spike_of_the_rail_never_shows(spike: int, channels: Boxes) -> None:
    rail, fuel = channels(RAIL, FLOAT % "0 s")
    alive, half = COUNT_OF(3.3), COUNT_OF(3.3 * 45 / 195)
    settle(rail, alive)
    steady = settle(fuel, half)
    for count in (alive, spike, alive, alive):
        rail.step(count, TICK_MS)
        fuel.step(half, TICK_MS)
        assert said(fuel) == steady


@pytest.mark.parametrize("first", ["rail", "sender"])
def test_a_rail_that_moves_is_never_seen_half(first: str, channels: Boxes) -> None:
    """A step of 9 % between the samples of one scan, whichever of the two sees it first."""
    rail, fuel = channels(RAIL, FLOAT % "0 s")
    settle(rail, COUNT_OF(3.3))
    steady = settle(fuel, COUNT_OF(3.3 * 45 / 195))
    for scan in range(5):
        rail.step(COUNT_OF(3.0 if scan or first == "rail" else 3.3), TICK_MS)
        fuel.step(COUNT_OF((3.0 if scan or first == "sender" else 3.3) * 45 / 195), TICK_MS)
        assert said(fuel) == pytest.approx(steady, abs=0.1)


def test_no_sample_from_before_a_dead_rail_is_believed_after_it(channels: Boxes) -> None:
    rail, fuel = channels(RAIL, FLOAT % "0 s")
    alive = COUNT_OF(3.3)
    settle(rail, alive)
    settle(fuel, COUNT_OF(3.3 * 45 / 195))
    for _ in range(4):
        rail.step(0, TICK_MS)
        fuel.step(0, TICK_MS)
    assert said(fuel) == "rail"
    told = []
    for _ in range(6):
        rail.step(alive, TICK_MS)
        fuel.step(COUNT_OF(3.3 * 20 / 170), TICK_MS)
        told.append(said(fuel))
    assert told[-1] == pytest.approx(20, abs=0.25) and set(told) == {"rail", told[-1]}


def test_a_cold_junction_at_fault_starts_the_damper_anew() -> None:
    """A thermocouple behind a damper of 10 s; its cold junction fails, and meanwhile it gets hot."""
    box = read_box(SENDERS)
    image = build(replace(box, inputs=tuple(replace(i, damping=Fraction(10)) for i in box.inputs))).image
    records = Table(image).inputs
    names = [record.name for record in records]
    cold = Sampled(records[names.index("box temperature")])
    exhaust = Sampled(records[names.index("exhaust")], None, cold)
    middle = (cold.record.windows[1] + cold.record.windows[2]) // 2
    settle(cold, middle)
    start = settle(exhaust, 33000)
    assert settle(cold, 0) == "short"
    assert settle(exhaust, 36000) == "cold junction"
    settle(cold, middle)
    exhaust.step(36000, TICK_MS)
    hot = said(exhaust)
    assert isinstance(start, float) and isinstance(hot, float) and hot > start + 500


TAP = """
[[input]]
name = "tap"
pin = 26
circuit = { kind = "direct" }
unit = "V"
range = [1.0, 1.1]
step = 0.01
"""
CODE = 3.3 / 4096  # volts of one code of the on-chip converter


@pytest.mark.parametrize("codes, fault", [(0, None), (-2, None), (-5, "under")])
def test_a_margin_is_some_steps_of_the_converter_wide(codes: int, fault: str | None, channels: Boxes) -> None:
    """A hundredth of this range is one code: noise alone would make a fault of its end."""
    _, tap = channels(LOOP % "150", TAP)
    assert settle(tap, OnChip(26).count(1.0 + codes * CODE)) == (fault or pytest.approx(1.0, abs=0.005))


# what a stated tolerance does to the windows: (edit of FLOAT, ohm still believed, ohm no longer)
TOLERANT = {
    "nothing stated": ("", 94.4, 95),
    "10 ohm": ('tolerance = "10 ohm"', 100.8, 101.2),
    "20 % of its span": ('tolerance = "20 %"', 108.8, 109.2),
    "9 l of 90": ('tolerance = "9 l"', 99.8, 100.2),
    "less than what is believed anyhow": ('tolerance = "1 %"', 94.4, 95),
}


@pytest.mark.parametrize("stated, believed, beyond", TOLERANT.values(), ids=TOLERANT)
def test_a_sender_within_its_tolerance_is_not_at_fault(
    stated: str, believed: float, beyond: float, channels: Boxes
) -> None:
    rail, fuel = channels(RAIL, FLOAT % "0 s" + stated + "\n")
    settle(rail, COUNT_OF(3.3))
    assert settle(fuel, COUNT_OF(3.3 * believed / (believed + 150))) == 90
    assert settle(fuel, COUNT_OF(3.3 * beyond / (beyond + 150))) == "over"


# damping

LOW, HIGH = COUNT_OF(0.5 * 0.6), COUNT_OF(4.5 * 0.6)  # -1000 and 1000 kg


def at_low(channels: Boxes, damping: str, start: int = LOW, end: int = HIGH) -> Sampled:
    """A channel settled at `start` that has just seen the first, still filtered, sample of `end`."""
    (level,) = channels(LEVEL % damping)
    settle(level, start)
    level.step(end, 0)
    return level


@pytest.mark.parametrize("seconds", [1, 2, 5, 12, 60])
def test_step_response(seconds: int, channels: Boxes) -> None:
    """1 - exp(-t/tau) within 5 % of the step; the box moves ten times a second and holds in between."""
    level = at_low(channels, f"{seconds} s")
    for tick in range(1, 5 * seconds * 1000 // TICK_MS):
        level.step(HIGH, TICK_MS)
        reading = said(level)
        assert isinstance(reading, float)
        gone = (reading + 1000) / 2000
        since = tick * TICK_MS / 1000
        held = max(0.0, since - 0.1)
        assert 1 - math.exp(-held / seconds) - 0.05 <= gone <= 1 - math.exp(-since / seconds) + 0.05


INTERVALS = {
    "slower": [100],
    "much slower": [700, 500, 800],
    "uneven": [3, 41, 17, 139],
    "one stall": [20] * 40 + [1200],
}


@pytest.mark.parametrize("intervals", INTERVALS.values(), ids=INTERVALS)
def test_damping_goes_by_time_not_by_samples(intervals: list[int], channels: Boxes) -> None:
    level, even = at_low(channels, "5 s"), at_low(channels, "5 s")
    elapsed = 0
    for _ in range(10):
        for interval in intervals:
            level.step(HIGH, interval)
            elapsed += interval
    for _ in range(elapsed // TICK_MS):
        even.step(HIGH, TICK_MS)
    even.step(HIGH, elapsed % TICK_MS)
    assert said(level) == said(even)
    assert said(level) != 1000.0


def test_a_gap_turns_the_damper_no_longer_than_the_watchdog_lets_it(channels: Boxes) -> None:
    """6.4 s at most, however long nothing came."""
    gap, steady = at_low(channels, "60 s"), at_low(channels, "60 s")
    gap.step(HIGH, 20_000)
    for _ in range(64):
        steady.step(HIGH, 100)
    assert said(gap) == said(steady)


@pytest.mark.parametrize("damping", ["200 ms", "1 s", "12 s", "120 s"])
@pytest.mark.parametrize(
    "start, end", [(LOW, HIGH), (HIGH, LOW), (LOW, COUNT_OF(1.507)), (HIGH, COUNT_OF(1.507))]
)
def test_damping_ends_exactly(start: int, end: int, damping: str, channels: Boxes) -> None:
    level = at_low(channels, damping, start, end)
    (undamped,) = channels(LEVEL % "0 s")
    for _ in range(5000):
        level.step(end, 500)
    assert said(level) == settle(undamped, end)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(
    samples=st.lists(
        st.tuples(st.integers(0, 65535) | st.integers(LOW, HIGH), st.integers(0, 3000)),
        min_size=3,
        max_size=100,
    )
)
def test_never_out_of_range(samples: list[tuple[int, int]], channels: Boxes) -> None:
    """Whatever comes in, a damped reading goes no further than the readings at the limits."""
    (level,) = channels(LEVEL % "2 s")
    ends = level.record.reading_curve[1]
    for count, elapsed in samples:
        level.step(count, elapsed)
        if not level.fault:
            assert min(ends) <= level.reading <= max(ends)
