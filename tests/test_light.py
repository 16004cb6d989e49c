"""What the box's lighting code does tick by tick, with tables built from box files."""

import math
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from gaugebox.light import (
    BRIDGED,
    PLAY,
    SAMPLES,
    STILL,
    TRUSTED,
    UNKNOWN,
    Daylight,
    Dimmer,
    DimRequest,
    Lighting,
)
from gaugebox.measure import COLD, CONVERTER, NONE, OPEN, OVER, SHORT, Channel, make_channels
from gaugebox.table import Table
from gaugelight import pwm
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.light_tables import knob_count, travel
from gaugelight.lights import Knob
from referees import lightness_CIE1976
from test_light_file import HEAD

KNOB = Knob(27)
FULL = 65535
RP2040 = pwm.setting(pwm.CHIPS["rp2040"], 4000)

LAMP = """
[[lamp]]
name = "strip"
pin = 15
knob = 27
"""
DAYLIGHT = """
[daylight]
sensor = "sky"
day_above = "60 %"
night_below = "30 %"
delay = "2 s"
"""


class Rig:
    """The lighting of a box file, with what its channels say and its knob's count to be set."""

    def __init__(self, box: Box) -> None:
        self.table = Table(build(box).image)
        self.channels: list[Channel] = make_channels(self.table.inputs, [0])
        self.lighting = Lighting(self.table, self.channels)
        self.count = knob_count(KNOB, 0)
        self.on: dict[int, int] = {}
        for channel in self.channels:
            channel.said[:] = [NONE, 0, 0, min(channel.record.reading_curve[1])]

    def __getitem__(self, name: str) -> Dimmer:
        return next(dimmer for dimmer in self.lighting.dimmers if dimmer.record.name == name)

    @property
    def request(self) -> DimRequest:
        assert self.lighting.dim_request is not None
        return self.lighting.dim_request

    @property
    def daylight(self) -> Daylight:
        assert self.lighting.daylight is not None
        return self.lighting.daylight

    def knob(self, percent: float) -> None:
        self.count = knob_count(KNOB, percent)

    def read(self, name: str, reading: float, fault: int = NONE) -> None:
        channel = next(channel for channel in self.channels if channel.record.name == name)
        channel.said[0] = fault
        channel.said[3] = round(reading * 10**channel.record.reading_decimals)

    def tick(self, ticks: int = 1) -> None:
        for _ in range(ticks):
            for knob in self.lighting.knobs:
                knob.take(self.count)
            for number, switch in enumerate(self.lighting.switches):
                switch.take(self.on.get(number, 1))
            self.lighting.step()


Make = Callable[[str], Rig]


@pytest.fixture
def rig(tmp_path: Path) -> Make:
    def make(text: str) -> Rig:
        path = tmp_path / "box.toml"
        path.write_text(HEAD + text)
        return Rig(read_box(path))

    return make


@pytest.fixture(scope="module")
def demo_box() -> Box:
    return read_box(DEMO)


@cache
def lightnesses() -> list[float]:
    """L* at each compare value."""
    said: list[float] = np.asarray(
        lightness_CIE1976(np.arange(RP2040.steps + 1) / RP2040.steps * 100)
    ).tolist()
    return said


def lightness(duty: int) -> float:
    """L* of a lamp at 4 kHz on the RP2040."""
    return lightnesses()[pwm.compare(RP2040, duty)]


# the knob


# counts RMS, were all that the converter's 8.7 effective bits (RP2040 data sheet, 4.9.3) leave over noise: 2.8 steps of 12 bits
WORST_NOISE = 65536 / 2**8.7 / math.sqrt(12)


class Noisy:
    """The pin of a 12-bit converter: a voltage, as a count, with noise of its own on each reading."""

    def __init__(self, seed: int, rms: float) -> None:
        self.random = np.random.default_rng(seed)
        self.rms = rms
        self.count = 0.0
        self.ready: list[int] = []

    def read_u16(self) -> int:
        if not self.ready:
            noise = self.random.normal(0, self.rms, 8192)
            codes = np.clip(np.floor((self.count + noise) / 16), 0, 4095).astype(int)
            self.ready = (codes << 4 | codes >> 8).tolist()
        return self.ready.pop()


def run_noisy(rig: Rig, pin: Noisy, ticks: int) -> list[tuple[int, ...]]:
    """Duties of all that is dimmed and the dim request, tick by tick."""
    seen = []
    for _ in range(ticks):
        rig.lighting.knobs[0].sample(pin)
        rig.lighting.step()
        seen.append((*(dimmer.duty for dimmer in rig.lighting.dimmers), rig.request.on))
    return seen


@pytest.mark.parametrize("percent", [0, 1, 2, 2.2, 3, 4, 4.2, 10, 37, 50, 83, 99, 100])
@pytest.mark.parametrize("came", ["from below", "from above"])
@pytest.mark.parametrize("rms", [8.0, WORST_NOISE])
def test_a_knob_held_still_moves_nothing(demo_box: Box, percent: float, came: str, rms: float) -> None:
    """10,000 ticks with noise on every reading, wherever it stands, on its thresholds too."""
    rig, pin = Rig(demo_box), Noisy(round(percent * 10), rms)
    for stop in (50.0, 0.0 if came == "from below" else 100.0, float(percent)):
        pin.count, pin.ready = knob_count(KNOB, stop), []
        run_noisy(rig, pin, 300)
    assert len(set(run_noisy(rig, pin, 10_000))) == 1


def test_a_knob_held_still_from_its_first_sample_on(demo_box: Box) -> None:
    """Not once from when the fade has come to rest."""
    rig, pin = Rig(demo_box), Noisy(7, 8.0)
    pin.count = 33_000
    run_noisy(rig, pin, 300)
    assert len(set(run_noisy(rig, pin, 10_000))) == 1


def test_control_more_noise_is_seen(demo_box: Box) -> None:
    rig, pin = Rig(demo_box), Noisy(7, 80.0)
    pin.count = 33_000
    run_noisy(rig, pin, 300)
    assert len(set(run_noisy(rig, pin, 3000))) > 1


def test_a_knob_is_read_several_times_a_tick_and_averaged(rig: Make) -> None:
    knob = rig(LAMP).lighting.knobs[0]
    counts = [30_000 + 10 * k for k in range(SAMPLES)]
    pin = Pin([*counts, 0])
    knob.sample(pin)
    assert pin.counts == [0] and knob.source.value == sum(counts) // SAMPLES


class Pin:
    """A converter's pin with these counts, and then the last of them for ever."""

    def __init__(self, counts: Iterable[int]) -> None:
        self.counts = list(counts)

    def read_u16(self) -> int:
        return self.counts.pop(0) if len(self.counts) > 1 else self.counts[0]


# counts of the samples of a tick
PASSED_OVER = {
    "one wild sample": [30_000] * 3 + [65_535] + [30_000] * (SAMPLES - 4),
    "a contact that breaks in the middle of a tick": [30_000] * (SAMPLES - 4) + [0] * 4,
    "a wiper that falls through its pull-down": [30_000 - 600 * k for k in range(SAMPLES)],
}


def test_a_contact_that_breaks_all_the_time_is_a_fault(rig: Make) -> None:
    """A wiper that floats and picks up whatever there is."""
    lights = rig(LAMP)
    knob = lights.lighting.knobs[0]
    knob.sample(Pin([30_000]))
    held = knob.source.target
    wild = [20_000, 40_000] * (SAMPLES // 2)
    for _ in range(BRIDGED - 1):
        knob.sample(Pin(wild))
        assert (knob.source.fault, knob.source.target) == (NONE, held)
    knob.sample(Pin(wild))
    assert knob.source.fault == OPEN


@pytest.mark.parametrize("counts", PASSED_OVER.values(), ids=PASSED_OVER)
def test_samples_that_lie_apart_are_passed_over(rig: Make, counts: list[int]) -> None:
    lights = rig(LAMP)
    knob = lights.lighting.knobs[0]
    knob.sample(Pin([30_000]))
    before = knob.source.target
    knob.sample(Pin(counts))
    assert len(counts) == SAMPLES and knob.source.target == before
    for ticks in range(STILL):  # until its contact is trusted again a new place must stand
        assert knob.source.target == before
        knob.sample(Pin([30_000 + PLAY + 2]))
    assert knob.source.target > before


def test_lamp_follows_its_knob_in_the_same_tick(rig: Make) -> None:
    lights = rig(LAMP + 'fade = "0 s"\n')
    lights.knob(0)
    lights.tick(10)
    lights.knob(70)
    lights.tick()
    assert lights["strip"].level == pytest.approx(7000, abs=30)


@pytest.mark.parametrize("pace", [1, 5, 16, 17, 100])
def test_no_step_under_the_hand(rig: Make, pace: int) -> None:
    """However slowly it is turned, up or down, play included: at most 0.2 of lightness from floor to ceiling, and what turning
    that fast in one tick makes."""
    lights = rig(LAMP + 'fade = "0 s"\n')
    counts = travel(KNOB)
    sweep = list(range(counts.low, counts.highest - 1, pace))
    for way in (sweep, sweep[::-1]):
        before = 0
        worst = 0.0
        for count in way:
            lights.count = count
            lights.tick()
            duty = lights["strip"].duty
            if before and duty:
                worst = max(worst, abs(lightness(duty) - lightness(before)))
            before = duty
        assert worst <= 0.2 + 100 * max(0, pace - 17) / (counts.high - counts.low)
    assert before == 0


def test_the_ends_are_reached(rig: Make) -> None:
    lights = rig(LAMP + 'fade = "0 s"\nceiling = "60 %"\n')
    for count in (*range(12_000, 60_000, 7), *range(60_000, 12_000, -7), *range(12_000, 7700, -7)):
        lights.count = count
        lights.tick()
        if count == 58_998:
            assert lights["strip"].level == 10_000 and lights["strip"].duty == round(0.6 * FULL)
    assert lights["strip"].level == 0 and lights["strip"].duty == 0


def test_click_off_has_hysteresis(rig: Make) -> None:
    lights = rig(LAMP + 'fade = "0 s"\noff_below = "3 %"\non_above = "6 %"\n')
    lit = []
    for percent in (0, 2.9, 4, 5.8, 6.2, 5, 3.3, 2.7, 4, 5.8, 50, 0):
        lights.knob(percent)
        lights.tick()
        lit.append(lights["strip"].duty > 0)
    assert lit == [False, False, False, False, True, True, True, False, False, False, True, False]


def test_coming_on_and_going_off_are_no_steps(rig: Make) -> None:
    """Up to on_above nothing, there the floor; back down the floor to off_below."""
    lights = rig(LAMP + 'fade = "0 s"\nfloor = "0.05 %"\noff_below = "2 %"\non_above = "5 %"\n')
    floor = round(0.0005 * FULL)
    lights.tick()
    for percent, least, most in (
        (4.8, 0, 0),
        (5.1, floor, floor + 12),
        (4.8, floor, floor),
        (2.2, floor, floor),
        (1.8, 0, 0),
    ):
        lights.knob(percent)
        lights.tick()
        assert least - 1 * (least > 0) <= lights["strip"].duty <= most + 1 * (most > 0), percent


# fades


@pytest.mark.parametrize("seconds", [0.1, 0.5, 2.0, 20.0])
@pytest.mark.parametrize("start, end", [(10, 80), (80, 10), (20, 0), (0, 100)])
def test_fade_is_a_first_order_lag(rig: Make, seconds: float, start: float, end: float) -> None:
    """1 - exp(-t / time constant) of the way, both ways, and it arrives: at exactly what no fade would give."""
    lights, at_once = rig(LAMP + f'fade = "{seconds} s"\n'), rig(LAMP + 'fade = "0 s"\n')
    for one in (lights, at_once):
        one.knob(start)
        one.tick(round(seconds * 50 * 20) + 10)
    assert lights["strip"].level == at_once["strip"].level
    for one in (lights, at_once):
        one.knob(end)
    at_once.tick()
    first, last = lights["strip"].level, at_once["strip"].level
    levels = []
    for _ in range(round(seconds * 50 * 5)):
        lights.tick()
        levels.append(lights["strip"].level)
    times = np.arange(1, len(levels) + 1) / 50
    exact = first + (last - first) * (1 - np.exp(-times / seconds))
    assert np.max(np.abs(np.array(levels) - exact)) < 2 + abs(last - first) * 0.02 / seconds / 2
    assert np.all(np.diff(levels) * np.sign(last - first) >= 0)
    lights.tick(round(seconds * 50 * 15))
    assert (lights["strip"].level, lights["strip"].duty) == (last, at_once["strip"].duty)


# faults


@pytest.mark.parametrize("broken, fault", [(0, OPEN), (FULL, SHORT)], ids=["open", "shorted"])
def test_a_broken_knob(rig: Make, broken: int, fault: int) -> None:
    """Bridged for a second, then named and faded to the safe level, never brighter on the way, and believed again after a second."""
    lights = rig(LAMP + 'fade = "100 ms"\non_fault = "20 %"\n')
    lights.knob(35)
    lights.tick(100)
    held = lights["strip"].duty
    lights.count = broken
    for _ in range(BRIDGED - 1):
        lights.tick()
        assert lights["strip"].duty == held and lights["strip"].fault == NONE
    duties = []
    for _ in range(100):
        lights.tick()
        duties.append(lights["strip"].duty)
    assert lights["strip"].fault == fault and lights["strip"].level == 2000
    assert duties == sorted(duties, reverse=True) and duties[0] <= held
    lights.knob(35)
    lights.tick(BRIDGED - 1)
    assert lights["strip"].level == 2000
    lights.tick(100)
    assert lights["strip"].fault == NONE and lights["strip"].duty == held


@pytest.mark.parametrize("time_constant_ms, lands", [(3, 0.0), (30, 0.0), (60, 0.0), (1, 0.97), (3, 0.97)])
def test_a_wiper_that_breaks_slowly(rig: Make, time_constant_ms: int, lands: float) -> None:
    """Its capacitor empties through 330 kohm, or fills: the lamp does not stay where that took it, nor go up on the way by more than
    its fade lets through in a tenth of a second."""
    lights = rig(LAMP + 'on_fault = "20 %"\n')
    lights.knob(40)
    lights.tick(300)
    start, held = lights.count, lights["strip"].level
    levels = []
    for turn in range(300):
        lights.count = round(lands * FULL + (start - lands * FULL) * math.exp(-turn * 20 / time_constant_ms))
        lights.tick()
        levels.append(lights["strip"].level)
    assert lights["strip"].fault == (SHORT if lands else OPEN)
    assert levels[45] == pytest.approx(held, abs=60)
    assert max(levels) < held + 500 and levels[-1] == 2000


# a contact that breaks for so many ticks of so many, and the time constant that its capacitors give it (knob.cir: 32 nF, 330 kohm)
CONTACTS = {
    "a scratch of the track": (30, 60, 0.0),
    "a scratch, with capacitors": (30, 60, 10.6),
    "one tick in twenty": (1, 20, 0.0),
    "one tick in twenty, with capacitors": (2, 20, 10.6),
    "nearly always broken": (19, 20, 10.6),
}


@pytest.mark.parametrize("broken, of, time_constant_ms", CONTACTS.values(), ids=CONTACTS)
def test_a_contact_that_breaks_now_and_then(rig: Make, broken: int, of: int, time_constant_ms: float) -> None:
    """One dip at most, before it is known to be bad; then the level stands, until a second's worth of breaks is a fault."""
    lights = rig(LAMP + 'fade = "0 s"\non_fault = "20 %"\n')
    lights.knob(60)
    lights.tick(200)
    held, whole, count = lights["strip"].level, lights.count, float(lights.count)
    levels = []
    for turn in range(3000):
        end = 0 if turn % of < broken else whole
        count = (
            end + (count - end) * math.exp(-20 / time_constant_ms) if time_constant_ms and not end else end
        )
        lights.count = round(count)
        lights.tick()
        levels.append(lights["strip"].level)
    assert all(level == pytest.approx(held, abs=60) or level == 2000 for level in levels[5:])
    assert (
        sum(abs(b - a) > 100 for a, b in zip(levels[5:], levels[6:])) <= 1
    )  # to the safe level, and not back
    assert lights["strip"].fault == OPEN


def test_a_contact_that_has_broken_once_is_trusted_after_ten_seconds(rig: Make) -> None:
    lights = rig(LAMP + 'fade = "0 s"\n')
    lights.knob(60)
    lights.tick(200)
    lights.count = 0
    lights.tick()
    lights.knob(60)
    lights.tick(TRUSTED - 10)
    lights.knob(30)
    lights.tick()
    assert lights["strip"].level == pytest.approx(6000, abs=60)
    lights.tick(20)
    assert lights["strip"].level == pytest.approx(3000, abs=60)
    lights.knob(70)
    lights.tick()
    assert lights["strip"].level == pytest.approx(7000, abs=60)


def test_nothing_burns_until_something_is_known(rig: Make) -> None:
    """An input that does not answer from the start: dark for a second, then at the safe level, named."""
    follower = '[[lamp]]\nname = "legends"\npin = 8\nfollows = "bus"\npoints = [["0 V", "100 %"], ["14 V", "10 %"]]\n'
    lights = rig(
        follower
        + '[display]\nfollows = "legends"\nfade = "0 s"\npoints = [["0 %", "100 %"], ["100 %", "0 %"]]\n'
    )
    lights.read("bus", 0, CONVERTER)
    for _ in range(BRIDGED - 1):
        lights.tick()
        assert lights["legends"].fault == UNKNOWN and lights["legends"].duty == 0
        assert lights["display"].duty == 0  # what follows is not known either: not bright
    lights.tick(200)
    assert (lights["legends"].fault, lights["legends"].level) == (CONVERTER, 2000)
    assert (lights["display"].fault, lights["display"].level) == (CONVERTER, 8000)


def test_at_start_the_display_does_not_flash(demo_box: Box) -> None:
    """Inverse of a lamp that fades up from nothing: it goes where the lamp is going, not where it stands."""
    rig = Rig(demo_box)
    rig.knob(80)
    levels = []
    for _ in range(300):
        rig.tick()
        levels.append(rig["display"].level)
    assert levels == sorted(levels) and levels[-1] == pytest.approx(2200, abs=30)


# following a line


def test_a_bus_line_with_a_step_does_not_hunt(rig: Make) -> None:
    """0 V means day, through noise of a quarter of a per cent of its span on the step itself."""
    points = '[["0 V", "100 %"], ["1 V", "100 %"], ["1 V", "10 %"], ["14 V", "60 %"]]'
    lights = rig(f'[[lamp]]\nname = "legends"\npin = 8\nfollows = "bus"\npoints = {points}\nfade = "0 s"\n')
    for volts, level in ((0, 10_000), (0.8, 10_000), (1.5, 1192), (14, 6000), (0.5, 10_000), (7.5, 3500)):
        lights.read("bus", volts)
        lights.tick()
        assert lights["legends"].level == pytest.approx(level, abs=5)
    random = np.random.default_rng(3)
    lights.read("bus", 1.0)
    lights.tick()
    seen = set()
    for noise in random.normal(0, 0.04, 10_000).tolist():
        lights.read("bus", 1.0 + max(-0.15, min(0.15, noise)))
        lights.tick()
        seen.add(lights["legends"].level)
    assert len(seen) == 1


@pytest.mark.parametrize("fault", [OPEN, SHORT, CONVERTER, COLD])
def test_a_line_out_of_range_is_held_and_then_safe(rig: Make, fault: int) -> None:
    points = '[["0 V", "100 %"], ["14 V", "10 %"]]'
    lights = rig(
        f'[[lamp]]\nname = "legends"\npin = 8\nfollows = "bus"\npoints = {points}\non_fault = "30 %"\n'
    )
    lights.read("bus", 10)
    lights.tick(300)
    held = lights["legends"].duty
    lights.read("bus", 0, fault)
    lights.tick(BRIDGED - 1)
    assert lights["legends"].duty == held
    lights.tick(300)
    assert (lights["legends"].fault, lights["legends"].level) == (fault, 3000)


STEADY = (
    'compensate = { input = "bus", at = "12 V" }\nload = { current = "320 mA", at = "12 V" }\nfade = "0 s"\n'
)


@pytest.mark.parametrize("volts", [9.5, 12.0, 12.5, 13.8, 14.2, 15.5])
def test_light_does_not_rise_with_the_alternator(rig: Make, volts: float) -> None:
    """Duty times current, by Ohm's law above the 8.9 V of its LEDs, is what it is at 12 V; below that it is left alone."""
    lights = rig(LAMP + STEADY)
    lights.read("bus", volts)
    lights.knob(100)
    lights.tick(400)
    current = 0.320 * (volts - 8.9) / (12 - 8.9)
    light = lights["strip"].duty / FULL * current
    assert light == pytest.approx(0.320 if volts > 12 else current, rel=0.002)


def test_a_high_supply_makes_no_pulse_shorter_than_the_floor(rig: Make) -> None:
    lights = rig(LAMP + STEADY + 'floor = "0.1 %"\n')
    lights.read("bus", 15.5)
    seen = []
    for percent in np.linspace(0, 100, 500).tolist():
        lights.knob(percent)
        lights.tick(100 if percent == 0 else 1)
        seen.append(lights["strip"].duty)
    assert seen == sorted(seen) and {duty for duty in seen if duty < 65} == {0}


def test_the_supply_s_noise_is_not_seen(rig: Make) -> None:
    lights = rig(LAMP + STEADY)
    lights.read("bus", 14.0)
    lights.knob(60)
    lights.tick(400)
    random = np.random.default_rng(5)
    seen = set()
    for noise in random.normal(0, 0.01, 5000).tolist():
        lights.read("bus", 14.0 + noise)
        lights.tick()
        seen.add(lights["strip"].duty)
    assert len(seen) == 1


def test_a_supply_that_fails_leaves_the_lamp_as_it_was(rig: Make) -> None:
    lights = rig(LAMP + STEADY)
    lights.read("bus", 15.0)
    lights.knob(60)
    lights.tick(400)
    held = lights["strip"].duty
    lights.read("bus", 0, OPEN)
    lights.tick(500)
    assert lights["strip"].duty == held


def test_an_unknown_supply_is_taken_for_the_highest(rig: Make) -> None:
    """So that a lamp comes up dim rather than bright."""
    lights = rig(LAMP + STEADY)
    lights.read("bus", 0, CONVERTER)
    lights.knob(100)
    lights.tick(400)
    record = lights.channels[0].record
    highest = max(record.reading_curve[1]) / 10**record.reading_decimals
    assert highest > 16
    assert lights["strip"].duty / FULL == pytest.approx((12 - 8.9) / (highest - 8.9), rel=0.002)


# bus in volts, from one second to the next; the most light that may be seen, as a share of that at 12 V
BUS = {
    "the alternator comes on": ([12.0] * 3 + [14.2] * 10, 1.001),
    "a gear pump for three seconds": ([14.2] * 5 + [11.0] * 3 + [14.2] * 10, 1.13),
    "a gear pump for ten seconds": ([14.2] * 5 + [12.0] * 10 + [14.2] * 10, 1.001),
    "a crank and the alternator": ([12.0] * 5 + [9.0] * 3 + [10.5] * 2 + [12.0] * 5 + [14.2] * 10, 1.001),
}


@pytest.mark.parametrize("volts, most", BUS.values(), ids=BUS)
def test_no_flash_as_the_bus_moves(rig: Make, volts: list[float], most: float) -> None:
    """Of duty times current (Ohm's law above the 8.9 V of its LEDs), from the tick on in which the box has seen the voltage."""
    lights = rig(LAMP + STEADY)
    lights.knob(100)
    seen = []
    for value in volts:
        lights.read("bus", value)
        for _ in range(50):
            lights.tick()
            seen.append(lights["strip"].duty / FULL * max(0, value - 8.9) / (12 - 8.9))
    assert max(seen[100:]) <= most


def test_an_overvoltage_is_the_highest_voltage(rig: Make) -> None:
    lights = rig(LAMP + STEADY)
    lights.read("bus", 12.0)
    lights.knob(100)
    lights.tick(100)
    lights.read("bus", 12.0, OVER)
    lights.tick(BRIDGED)
    highest = (
        max(lights.channels[0].record.reading_curve[1]) / 10 ** lights.channels[0].record.reading_decimals
    )
    assert lights["strip"].duty / FULL == pytest.approx((12 - 8.9) / (highest - 8.9), rel=0.002)


# daylight

BY_DAY = LAMP + 'by_day = "0 %"\nfade = "0 s"\n' + DAYLIGHT
TURNED_FACE = '[display]\nfollows = "strip"\npoints = [["0 %", "50 %"], ["100 %", "10 %"]]\nby_day = "100 %"\nfade = "0 s"\n'
TURNED_REQUEST = '[dim_request]\npin = 14\nfollows = "strip"\n'
FACE, REQUEST = (table + "override = false\n" for table in (TURNED_FACE, TURNED_REQUEST))


def dawn(lights: Rig) -> None:
    lights.read("sky", 80)
    lights.tick(101)


def test_a_knob_left_up_by_day_dims_nothing(rig: Make) -> None:
    """Neither the face nor the instruments that are asked, whenever the day began, at start or in flight."""
    for at_start in (True, False):
        lights = rig(BY_DAY + FACE + REQUEST)
        lights.knob(60)
        if at_start:
            lights.read("sky", 80)
            lights.tick(3)
        else:
            lights.tick(100)
            assert (lights.request.on, lights["display"].level) == (1, 2600)
            dawn(lights)
        assert (lights.daylight.day, lights["strip"].level) == (1, 0)
        assert (lights.request.on, lights["display"].level) == (0, 10_000)


def test_a_turn_of_the_knob_takes_over_its_lamp_until_the_next_dawn(rig: Make) -> None:
    lights = rig(BY_DAY + FACE + REQUEST)
    lights.knob(60)
    lights.tick(10)
    dawn(lights)
    lights.knob(65)
    lights.tick(20)
    assert lights["strip"].level == 0  # a nudge is no turn
    lights.knob(40)
    lights.tick(20)
    assert lights["strip"].level == pytest.approx(4000, abs=20)
    assert (lights.request.on, lights["display"].level) == (0, 10_000)  # what has no override is left by day
    lights.read("sky", 10)
    lights.tick(101)
    assert (lights.daylight.day, lights.request.on) == (0, 1)
    dawn(lights)
    assert lights["strip"].level == 0


def test_a_knob_that_breaks_by_day_overrides_nothing(rig: Make) -> None:
    lights = rig(BY_DAY + TURNED_FACE + TURNED_REQUEST)
    lights.knob(60)
    lights.tick(300)
    dawn(lights)
    for turn in range(200):
        lights.count = round(lights.count * math.exp(-20 / 33)) if turn < 10 else 0
        lights.tick()
        assert (lights["strip"].level, lights["display"].level, lights.request.on) == (0, 10_000, 0)
    assert lights["strip"].fault == OPEN


def test_a_knob_that_breaks_while_it_overrides_goes_to_the_safe_level(rig: Make) -> None:
    lights = rig(BY_DAY)
    lights.knob(60)
    lights.tick(100)
    dawn(lights)
    lights.knob(30)
    lights.tick(20)
    lights.count = 0
    lights.tick(100)
    assert (lights["strip"].fault, lights["strip"].level) == (OPEN, 2000)


def test_at_start_by_day_nothing_is_lit_while_the_sensor_is_silent(rig: Make) -> None:
    """Its converter takes a quarter of a second to its first word."""
    lights = rig(BY_DAY + FACE + REQUEST)
    lights.knob(80)
    lights.read("sky", 0, CONVERTER)
    for _ in range(15):
        lights.tick()
        assert (lights["strip"].duty, lights["display"].duty, lights.request.on) == (0, 0, 0)
    lights.read("sky", 80)
    lights.tick()
    assert (lights["strip"].level, lights["display"].level, lights.request.on) == (0, 10_000, 0)


def test_what_is_fixed_waits_for_its_supply_and_its_follower_too(rig: Make) -> None:
    lights = rig(
        LAMP.replace("knob = 27", 'level = "50 %"')
        + STEADY
        + '[display]\nfollows = "strip"\npoints = [["0 %", "100 %"], ["100 %", "10 %"]]\nfade = "0 s"\n'
    )
    lights.read("bus", 0, CONVERTER)
    for _ in range(BRIDGED - 1):
        lights.tick()
        assert (lights["strip"].duty, lights["display"].duty) == (0, 0)
    lights.tick()
    assert lights["display"].level == 5500


@pytest.mark.parametrize(
    "percent, lit, asked", [(1.9, False, 0), (2.1, True, 0), (4.9, True, 0), (5.2, True, 1)]
)
def test_within_its_hysteresis_it_starts_lit(rig: Make, percent: float, lit: bool, asked: int) -> None:
    lights = rig(LAMP + REQUEST)
    lights.knob(percent)
    lights.tick(50)
    assert (lights["strip"].duty > 0, lights.request.on) == (lit, asked)


def test_what_may_be_overridden_is(rig: Make) -> None:
    lights = rig(BY_DAY + TURNED_FACE + TURNED_REQUEST)
    lights.knob(0)
    lights.tick(10)
    dawn(lights)
    lights.knob(60)
    lights.tick(20)
    assert (lights.request.on, lights["display"].level) == (1, 2600)


def test_day_and_night_take_their_time_and_do_not_hunt(rig: Make) -> None:
    lights = rig(BY_DAY)
    lights.tick(10)
    random = np.random.default_rng(2)
    for sky, ticks, day in (
        (70, 99, 0),
        (50, 10, 0),
        (70, 99, 0),
        (70, 1, 1),
        (45, 500, 1),
        (20, 99, 1),
        (20, 1, 0),
    ):
        lights.read("sky", sky)
        lights.tick(ticks)
        assert lights.daylight.day == day, sky
    changes = 0
    for noise in random.normal(0, 5, 5000).tolist():
        before = lights.daylight.day
        lights.read("sky", max(0, min(100, 58 + noise)))
        lights.tick()
        changes += before != lights.daylight.day
    assert changes <= 1


def test_a_dead_sensor_leaves_day_or_night_until_a_knob_is_turned(rig: Make) -> None:
    for sky, day in ((80, 1), (10, 0)):
        lights = rig(BY_DAY + FACE + REQUEST)
        lights.read("sky", sky)
        lights.knob(50)
        lights.tick(120)
        assert lights.daylight.day == day
        lights.knob(75)  # what was turned before does not count
        lights.tick(100)
        lights.read("sky", 0, OPEN)
        lights.tick(500)
        assert (lights.daylight.day, lights.daylight.fault) == (day, OPEN)
        assert lights["strip"].level == pytest.approx(7500, abs=20)
        lights.knob(30)
        lights.tick(20)
        assert lights.daylight.day == 0
        assert lights["strip"].level == pytest.approx(3000, abs=20)


def test_a_sensor_dead_from_the_start_leaves_it_to_the_knob(rig: Make) -> None:
    lights = rig(BY_DAY + FACE + REQUEST)
    lights.read("sky", 0, SHORT)
    lights.knob(50)
    lights.tick(200)
    assert (lights.daylight.day, lights.daylight.fault, lights.request.on) == (0, SHORT, 1)
    assert lights["strip"].level == pytest.approx(5000, abs=20)


# the dim request

SWITCH = '[[switch]]\nname = "panel"\npin = 12\n'


def test_the_dim_request_does_not_hunt(rig: Make) -> None:
    lights = rig(LAMP + REQUEST)
    said: list[int] = []
    for percent in (0, 4.8, 6.0, 7.8, 8.2, 6.0, 5.2, 4.8, 6.0, 100, 0):
        lights.knob(percent)
        lights.tick()
        said.append(lights.request.on)
    assert said == [0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0]


@pytest.mark.parametrize("active, on, off", [("high", 1, 0), ("low", 0, 1)])
def test_polarity(rig: Make, active: str, on: int, off: int) -> None:
    lights = rig(LAMP + REQUEST + f'active = "{active}"\n')
    assert lights.request.pin == off
    lights.knob(50)
    lights.tick()
    assert (lights.request.on, lights.request.pin) == (1, on)


@pytest.mark.parametrize("says, dark, safe", [("along", 0, 1), ("on", 1, 1), ("off", 0, 0)])
@pytest.mark.parametrize("knob", [0, 50, "broken from the start"])
def test_dim_request_on_a_fault(rig: Make, says: str, dark: int, safe: int, knob: float | str) -> None:
    """Along: as what it follows does at its safe level, whatever was before."""
    for on_fault, after in (("0 %", dark), ("20 %", safe)):
        lights = rig(LAMP + f'on_fault = "{on_fault}"\n' + REQUEST + f'on_fault = "{says}"\n')
        if isinstance(knob, float | int):
            lights.knob(knob)
            lights.tick(10)
        lights.count = 0
        lights.tick(BRIDGED + 1)
        assert (lights.request.on, lights.request.fault) == (after, OPEN)


def test_a_knob_that_broke_by_day_asks_by_night(rig: Make) -> None:
    lights = rig(BY_DAY + FACE + REQUEST)
    lights.tick(10)
    dawn(lights)
    lights.count = 0
    lights.tick(200)
    assert lights.request.on == 0
    lights.read("sky", 10)
    lights.tick(200)
    assert (lights.request.on, lights["strip"].level, lights["display"].level) == (1, 2000, 4200)


@pytest.mark.parametrize("wired, closed", [("low", 0), ("high", 1)])
def test_a_switch_asks(rig: Make, wired: str, closed: int) -> None:
    """Debounced: on for three ticks before it counts."""
    lights = rig(LAMP + SWITCH + f'on = "{wired}"\n' + '[dim_request]\npin = 14\nfollows = "panel"\n')
    said = []
    for level in [1 - closed] * 5 + [closed, 1 - closed] * 5 + [closed] * 3 + [1 - closed] * 3:
        lights.on[0] = level
        lights.tick()
        said.append(lights.request.on)
    assert said == [0] * 17 + [1] * 3 + [0]


def test_daylight_asks_by_night(rig: Make) -> None:
    lights = rig(LAMP + DAYLIGHT + '[dim_request]\npin = 14\nfollows = "daylight"\non_fault = "off"\n')
    lights.read("sky", 10)
    lights.tick(3)
    assert lights.request.on == 1
    dawn(lights)
    assert lights.request.on == 0
    lights.read("sky", 10)
    lights.tick(101)
    assert lights.request.on == 1
    lights.read("sky", 10, OPEN)
    lights.tick(BRIDGED + 1)
    assert (lights.request.on, lights.request.fault) == (0, OPEN)


# all together


def test_the_bus_output_carries_its_load(rig: Make) -> None:
    """Ohm's law: behind 100 ohm into 1.5 kohm the line has the volts that were asked for."""
    text = '[bus_output]\npin = 13\nfollows = "strip"\nfull_scale = "14 V"\nseries = "100 ohm"\nload = "1.5 kohm"\n'
    text += 'filter = { resistor = "10 kohm", capacitor = "470 nF" }\nfade = "0 s"\n'
    for points, at_60 in (
        ('[["0 %", "0 V"], ["100 %", "12 V"]]', 7.2),
        ('[["0 %", "13 V"], ["100 %", "2 V"]]', 6.4),
    ):
        lights = rig(LAMP + text + f"points = {points}\n")
        lights.knob(60)
        lights.tick(5)
        line = lights["bus output"].duty / FULL * 14 * 1500 / 1600
        assert line == pytest.approx(at_60, abs=0.02)


def test_a_lamp_that_follows_goes_along_and_has_its_own_fade(rig: Make) -> None:
    map_light = (
        '[[lamp]]\nname = "map"\npin = 17\nfollows = "strip"\npoints = [["0 %", "0 %"], ["100 %", "50 %"]]\n'
    )
    lights = rig(map_light + 'fade = "1 s"\n' + LAMP)  # it may stand before the one it follows
    lights.knob(80)
    lights.tick(50)
    assert lights["map"].level == pytest.approx(4000 * (1 - math.exp(-1)), abs=40)
    lights.tick(1000)
    assert lights["map"].level == pytest.approx(4000, abs=10)


def test_a_fixed_level(rig: Make) -> None:
    lights = rig('[[lamp]]\nname = "map"\npin = 17\nlevel = "40 %"\nfade = "0 s"\n')
    lights.tick()
    assert lights["map"].level == 4000 and lights["map"].fault == NONE


# what moves slowly is followed all the way


def test_a_bus_that_creeps_up_is_compensated(rig: Make) -> None:
    """A hundredth of a volt a second: never more than a twentieth of a volt behind."""
    lights = rig(LAMP + STEADY)
    lights.read("bus", 12.0)
    lights.knob(100)
    lights.tick(50)
    for step in range(220):
        volts = 12.0 + step / 100
        lights.read("bus", volts)
        lights.tick(20)
        light = lights["strip"].duty / FULL * (volts - 8.9) / (12 - 8.9)
        assert light == pytest.approx(1, abs=0.06 / 3.1)


def test_a_lighting_bus_that_creeps_is_followed(rig: Make) -> None:
    lights = rig(
        '[[lamp]]\nname = "legends"\npin = 8\nfollows = "bus"\npoints = [["0 V", "0 %"], ["14 V", "100 %"]]\nfade = "0 s"\n'
    )
    for step in range(1400):
        lights.read("bus", step / 100)
        lights.tick(2)
        assert lights["legends"].level == pytest.approx(
            step / 14 * 100, abs=130
        )  # a per cent of 16 V, and a little


def test_samples_apart_by_a_few_per_cent_are_a_breaking_contact(rig: Make) -> None:
    lights = rig(LAMP)
    knob = lights.lighting.knobs[0]
    knob.sample(Pin([30_000]))
    before = knob.source.target
    knob.sample(Pin([30_000] * (SAMPLES // 2) + [31_500] * (SAMPLES // 2)))
    assert knob.source.target == before


def test_glitches_of_the_daylight_sensor_do_not_add_up(rig: Make) -> None:
    lights = rig(BY_DAY)
    lights.read("sky", 80)
    lights.tick(200)
    for _ in range(2 * BRIDGED):
        lights.read("sky", 0, OPEN)
        lights.tick()
        lights.read("sky", 80)
        lights.tick(10)
    assert (lights.daylight.day, lights.daylight.fault) == (1, NONE)
