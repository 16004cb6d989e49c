"""A knob's ends and click, a lamp's floor, a needle's marks: what is made of counts, of answers, of places; and what is written."""

import math
from fractions import Fraction
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from gaugelight import pwm
from gaugelight.boxfile import box_of_text, read_box
from gaugelight.calibration import knob_ends, lamp_floor, needle_marks
from gaugelight.calibration.lamp_floor import Pulses, Shown, Staircase
from gaugelight.calibration.needle_marks import Mark
from gaugelight.calibration.outputs import named, names
from gaugelight.calibration.table_keys import listed, with_keys, with_stops
from gaugelight.cli import DEMO
from gaugelight.light_tables import FULL_COUNT, travel
from gaugelight.lights import Knob
from gaugelight.plant import REFERENCE_V, Aircraft
from gaugelight.problems import Misuse, WrongBoxFile
from gaugelight.proportions import clopper_pearson

# -- a knob

KNOB = Knob(27)


def counts(*percent: float) -> list[int]:
    """Of 3.3 V."""
    return [round(share / 100 * FULL_COUNT) for share in percent]


def test_the_ends_of_a_knob() -> None:
    """Off and full begin a little within the stops: nearer than for any knob within 20 per cent."""
    ends = knob_ends.find_ends(KNOB, counts(15.2, 15.3, 15.1), counts(84.2, 84.3, 84.2))
    assert ends.knob.stops is not None
    low, high = ends.knob.stops
    any_knob, this = travel(KNOB), travel(ends.knob)
    assert 0.153 < low < 0.16 and 0.835 < high < 0.842
    assert low * FULL_COUNT < this.low < any_knob.low and any_knob.high < this.high < high * FULL_COUNT
    assert (this.lowest, this.highest) == (any_knob.lowest, any_knob.highest)
    assert ends.level(this.low) == 0 and ends.level(this.high) == 100
    assert ends.gained == pytest.approx(
        (any_knob.low - this.low + this.high - any_knob.high) / ((84.233 - 15.2) / 100 * FULL_COUNT) * 100,
        abs=0.1,
    )


@pytest.mark.parametrize("track, ends", [(8e3, 2.2e3), (10e3, 2.2e3), (12e3, 2.2e3), (10e3, 0.0)])
def test_a_knob_in_the_cold_and_the_heat(track: float, ends: float) -> None:
    """Measured when it is warm, its track 4 per cent more or less (carbon, 1000 ppm/K over 40 K, from memory): off and full are
    reached at its stops all the same. The voltages are those of the model's circuit, which the netlist is held to.
    """
    knob = Knob(27, track=10e3, ends=ends)

    def at(position: float, drift: float) -> int:
        real = Knob(27, track * (1 + drift), ends)
        return round(Aircraft._wiper(real, position) / REFERENCE_V * FULL_COUNT)

    found = knob_ends.find_ends(knob, [at(0, 0)] * 3, [at(1, 0)] * 3)
    margin = 0.004 * FULL_COUNT  # twice its play, and the converter's own bends
    for drift in (-0.04, 0.0, 0.04):
        off, full = travel(found.knob).low, travel(found.knob).high
        assert off > at(0, drift) + margin and full < at(1, drift) - margin
        assert found.level(at(0, drift)) == 0 and found.level(at(1, drift)) == 100


WRONG_ENDS: dict[str, tuple[list[float], list[float], str]] = {
    "it was not turned": ([15, 15, 15], [15, 15.1, 15], "it has hardly moved"),
    "outer wires swapped, or turned the wrong way": ([84, 84, 84], [15, 15, 15], "its outer wires are swapped"),
    "not to its stop each time": ([15, 15, 19], [84, 84, 84], "its lower end is not found again"),
    "nor the upper": ([15, 15, 15], [84, 80, 84], "its upper end is not found again"),
    "wiper broken": ([3, 3, 3], [84, 84, 84], "at its lower end: open: its wiper or its upper end"),
    "lower end broken": ([15, 15, 15], [97, 97, 97], "at its upper end: its lower end is broken"),
    "contact breaks": ([15, 15, 15], [84, -0.01, 84], "at its upper end: its contact breaks"),
    "half a turn": ([15, 15, 15], [30, 30, 30], "it moves over 15.0 % of 3.3 V only"),
    "where a broken one may lie": ([11.9, 11.9, 11.9], [84, 84, 84], "lies too near where a broken one does"),
    "taken twice": ([15, 15], [84, 84], "3 times at least"),
}  # fmt: skip


@pytest.mark.parametrize("lows, highs, told", WRONG_ENDS.values(), ids=WRONG_ENDS)
def test_ends_that_are_none(lows: list[float], highs: list[float], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        knob_ends.find_ends(KNOB, counts(*lows), counts(*highs))


@pytest.mark.parametrize("n", [3, 4, 7])
def test_one_more_lies_within(n: int) -> None:
    """The prediction interval, against scipy's t; and by trial: 95 in 100 of one more, of our own noise."""
    random = np.random.default_rng(n)
    within = 0
    for _ in range(80):
        *taken, more = random.normal(0.15, 0.002, n + 1)
        found = knob_ends.found(taken, 0.0)
        half = stats.t.ppf(0.975, n - 1) * np.std(taken, ddof=1) * math.sqrt(1 + 1 / n)
        assert found.inward == pytest.approx(half, rel=1e-6)
        within += abs(more - found.mean) <= found.inward
    assert clopper_pearson(within, 80)[1] > 0.95 > clopper_pearson(within, 80)[0]


def test_a_click() -> None:
    """Whoever hears it click off sees the lamp off, and on likewise."""
    ends = knob_ends.find_ends(KNOB, counts(15.2, 15.2, 15.2), counts(84.2, 84.2, 84.2))
    offs, ons = counts(17.0, 17.2, 17.1), counts(21.3, 21.0, 21.2)
    click = knob_ends.find_click(ends, offs, ons)
    assert max(map(ends.level, offs)) < click.off_below < click.on_above < min(map(ends.level, ons))
    assert (click.off_below, click.on_above) == (2.1, 6.1)


WRONG_CLICKS: dict[str, tuple[list[float], list[float], str]] = {
    "the wrong way round": ([21, 21, 21], [17, 17, 17], "stands lower once it has clicked on"),
    "too short to tell": ([17, 17, 17], [17.3, 17.3, 17.3], "cannot be told from a knob that is a little turned"),
    "before the track begins": ([15.2, 15.2, 15.2], [15.2, 15.2, 15.2], "cannot be told"),
    "never twice at one place": ([16, 18, 17], [20, 19, 21], "cannot be told"),
    "at the upper end": ([17, 17, 17], [80, 80, 80], "no click at its lower end"),
    "broken meanwhile": ([3, 3, 3], [21, 21, 21], "open"),
    "once": ([17], [21], "3 times each way"),
}  # fmt: skip


@pytest.mark.parametrize("offs, ons, told", WRONG_CLICKS.values(), ids=WRONG_CLICKS)
def test_clicks_that_are_none(offs: list[float], ons: list[float], told: str) -> None:
    ends = knob_ends.find_ends(KNOB, counts(15.2, 15.2, 15.2), counts(84.2, 84.2, 84.2))
    with pytest.raises(ValueError, match=told):
        knob_ends.find_click(ends, counts(*offs), counts(*ons))


STOPS: dict[str, tuple[str, tuple[float, float] | str]] = {
    "as they are written": ('knob = { pin = 27, stops = ["15.3 %", "84.2 %"] }', (0.153, 0.842)),
    "swapped": ('knob = { pin = 27, stops = ["84.2 %", "15.3 %"] }', "the lower end first"),
    "near each other": ('knob = { pin = 27, stops = ["15 %", "20 %"] }', "20 % of 3.3 V below the upper"),
    "one": ('knob = { pin = 27, stops = ["15 %"] }', "stops must be where it stands at its ends"),
    "in ohms": ('knob = { pin = 27, stops = ["2.2 kohm", "12.2 kohm"] }', "stops: "),
    "where a broken one lies": ('knob = { pin = 27, stops = ["11 %", "84 %"] }', "too near where a broken one does"),
    "nor above": ('knob = { pin = 27, stops = ["15 %", "91 %"] }', "too near where a broken one does"),
    "without resistors at its ends": ('knob = { pin = 27, ends = "0 ohm", stops = ["0.2 %", "99.5 %"] }', (0.002, 0.995)),
}  # fmt: skip


@pytest.mark.parametrize("line, means", STOPS.values(), ids=STOPS)
def test_stops_in_the_box_file(line: str, means: tuple[float, float] | str) -> None:
    text = DEMO.read_text().replace("knob = 27", line)
    if isinstance(means, str):
        with pytest.raises(WrongBoxFile) as wrong:
            box_of_text("box.toml", text)
        (told,) = wrong.value.lines
        assert means in told and told.startswith("box.toml:")
    else:
        knob = box_of_text("box.toml", text).lights.knobs[0]
        assert knob.stops == pytest.approx(means)


# -- a lamp's floor

PULSES = Pulses(pwm.setting(pwm.CHIPS["rp2040"], 4000), 6)


class Eye:
    """Our own model: sees what lies above its threshold, in ticks; width: decades of noise; now and then a key is hit wrongly."""

    def __init__(self, threshold: float, width: float, seed: int, mistyped: float = 0.01) -> None:
        self.threshold, self.width, self.mistyped = threshold, width, mistyped
        self.random = Random(seed)

    def sees(self, ticks: int) -> bool:
        seen = ticks > 0 and self.random.gauss(0, self.width) < math.log10(ticks / self.threshold)
        return seen != (self.random.random() < self.mistyped)

    def watch(self, pulses: Pulses = PULSES) -> Staircase:
        staircase = Staircase(pulses, self.random)
        while not staircase.done:
            staircase.answer(self.sees(staircase.next_ticks))
        return staircase


EYES = {
    "usual, a dim threshold": (12.0, 0.17),
    "sharp": (100.0, 0.05),
    "usual": (100.0, 0.17),
    "blurred": (100.0, 0.35),
}


@pytest.mark.parametrize("ticks, width", EYES.values(), ids=EYES)
def test_the_threshold_lies_within_its_limits(ticks: float, width: float) -> None:
    """Over 80 eyes of our own model: in no fewer than 95 of 100, as far as so many can tell, and with no bias that matters."""
    within, looks, off, brightest = 0, 0, 0.0, 0
    for seed in range(1000, 1080):
        staircase = Eye(ticks, width, seed).watch()
        found = lamp_floor.threshold(PULSES, staircase.shown)
        within += found.low <= ticks <= found.high
        looks += len(staircase.shown)
        off += math.log10(found.ticks / ticks)
        brightest = max(brightest, *(one.ticks for one in staircase.shown))
    assert clopper_pearson(within, 80)[1] > 0.95 and within >= 72
    assert looks / 80 < 35 and abs(off / 80) < 0.05
    assert brightest < 20 * ticks * 10**width  # nothing dazzles


def test_it_goes_by_the_odds() -> None:
    """Against the most likely threshold by scipy, of so many looks that what was believed before counts no more."""
    eye = Eye(80, 0.2, 4, mistyped=0)
    shown = [Shown(ticks, eye.sees(ticks)) for ticks in (20, 40, 60, 80, 110, 160, 300) for _ in range(120)]
    x, seen = np.log10([one.ticks for one in shown]), np.array([one.seen for one in shown])

    def unlikely(at: Any) -> float:
        chance = 0.01 + 0.98 * stats.norm.cdf((x - at[0]) / at[1])
        return float(-np.log(np.where(seen, chance, 1 - chance)).sum())

    best = optimize.minimize(unlikely, [1.9, 0.2], method="Nelder-Mead").x
    found = lamp_floor.threshold(PULSES, shown)
    assert math.log10(found.ticks) == pytest.approx(best[0], abs=0.02)
    assert found.width == pytest.approx(best[1], rel=0.15)
    assert found.high / found.low < 1.3


def test_the_normal_distribution() -> None:
    """Against scipy."""
    z = np.linspace(-6, 6, 201)
    assert lamp_floor._normal(z) == pytest.approx(stats.norm.cdf(z), abs=1e-7)


def test_without_noise_it_goes_up_and_down() -> None:
    """By hand: it rises by half until it is seen, then by 1.4 up and down about the threshold, as the method says (Dixon and Mood)."""
    staircase = Eye(49.5, 1e-9, 1, mistyped=0).watch()
    assert [one.ticks for one in staircase.lit] == [6, 9, 14, 21, 32, 48, 72, 51] + [36, 50] * 4 + [36]
    found = lamp_floor.threshold(PULSES, staircase.shown)
    assert 36 < found.ticks < 60 and found.low < 49.5 < found.high


def test_it_glows_at_the_dimmest_honest_pulse() -> None:
    staircase = Eye(2, 0.05, 1, mistyped=0).watch()
    assert staircase.at_once and {one.ticks for one in staircase.lit} == {PULSES.dimmest}
    assert staircase.blanks >= 2


def test_an_eye_that_sees_what_it_expects() -> None:
    with pytest.raises(ValueError, match="while it was dark: light leaks in"):
        staircase = Staircase(PULSES, Random(3))
        for _ in range(100):
            staircase.answer(True)


def test_a_lamp_that_is_not_lit() -> None:
    staircase = Staircase(PULSES, Random(3))
    shown = []
    with pytest.raises(ValueError, match="look whether it is lit at all"):
        for _ in range(100):
            shown.append(staircase.next_ticks)
            staircase.answer(False)
    assert PULSES.share(max(shown)) <= lamp_floor.BRIGHTEST


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.lists(st.booleans(), min_size=1, max_size=25), st.integers(0, 99))
def test_an_answer_taken_back(answers: list[bool], seed: int) -> None:
    """Then it is asked the same again, and goes on as if it had not been given."""
    once, twice = (Staircase(PULSES, Random(seed)) for _ in range(2))
    try:
        for seen in answers:
            before = twice.next_ticks
            once.answer(seen)
            twice.answer(seen)
            last = seen
    except ValueError:
        return
    twice.undo()
    assert twice.next_ticks == before and twice.shown == once.shown[:-1]
    twice.answer(last)
    assert (twice.shown, twice.reversals, twice.ticks) == (once.shown, once.reversals, once.ticks)


FREQUENCIES = [8, 100, 1000, 4000, 20_000, 100_000]


@pytest.mark.parametrize("hertz", FREQUENCIES)
def test_a_floor_is_a_pulse_that_the_chip_makes(hertz: int) -> None:
    """As it is written, through the box file's reading and the chip's own rounding (MicroPython, machine_pwm.c)."""
    pulses = Pulses(pwm.setting(pwm.CHIPS["rp2040"], hertz), 1)
    for ticks in {1, 2, 3, 6, 34, 99, pulses.setting.steps // 20}:
        if not 0 < ticks < pulses.setting.steps:
            continue
        assert pwm.compare(pulses.setting, pulses.duty(ticks)) == ticks
        text = lamp_floor.written(pulses, ticks)
        assert pwm.compare(pulses.setting, round(float(text.removesuffix(" %")) / 100 * pwm.FULL)) == ticks
    found = lamp_floor.Threshold(9.2, 8, 11, 0.1)
    assert lamp_floor.floor_ticks(pulses, found) == 10
    assert lamp_floor.floor_ticks(Pulses(pulses.setting, 12), found) == 12


def test_the_dimmest_honest_pulse() -> None:
    """Of the demo's strip at the end of its two metres: what `gaugelight lamps` says, 269 ns (hardware_notes/lighting.md: 203 from 10 to
    90 %, over 0.8: 254); of a lamp without a wire its driver's, 46 ns."""
    box = read_box(DEMO)
    strip, legends = box.lights.lamp("glare shield"), box.lights.lamp("switch legends")
    assert strip is not None and legends is not None
    pulses = lamp_floor.pulses_of(strip, 14.0)
    assert pulses.dimmest * pulses.setting.tick == pytest.approx(254e-9, rel=0.1)
    assert lamp_floor.pulses_of(legends, 14.0).dimmest == math.ceil(46 / 8)


# -- a needle


class Meter:
    """Our own model: bearings that stick; whoever sets it does so to some noise, in per cent of the time, and in nudges of 0.1."""

    def __init__(self, stick: float, noise: float, seed: int) -> None:
        self.stick, self.noise, self.random = stick, noise, Random(seed)

    def set_to(self, place: float, way: int) -> float:
        return round(place + way * self.stick / 2 + self.random.gauss(0, self.noise), 1)

    def marks(self, places: dict[Fraction, float], times: int = 2) -> list[Mark]:
        return [
            Mark(
                reading,
                [self.set_to(place, 1) for _ in range(times)],
                [self.set_to(place, -1) for _ in range(times)],
            )
            for reading, place in places.items()
        ]


PLACES = dict(zip(needle_marks.five(Fraction(0), Fraction(18)), (10.0, 30.0, 52.0, 74.0, 97.0)))
METERS = {"sticks": (0.6, 0.1), "hardly": (0.1, 0.1), "not at all": (0.0, 0.1), "much, well set": (1.5, 0.03)}


@pytest.mark.parametrize("stick, noise", METERS.values(), ids=METERS)
@pytest.mark.parametrize("times", [2, 3])
def test_a_needle_stands_within_its_plus_or_minus(stick: float, noise: float, times: int) -> None:
    """Coming from either side, over 60 meters of our own model: in no fewer than 95 of 100; tapped, within the smaller one."""
    within = tapped = 0
    for seed in range(60):
        points = needle_marks.fit_marks(Meter(stick, noise, seed).marks(PLACES, times), 0.0)
        for point, place in zip(points, PLACES.values()):
            off = abs(point.place - place)
            within += off + stick / 2 <= point.plus_minus + 1e-9
            tapped += off <= point.tapped_reading / point.plus_minus_reading * point.plus_minus + 1e-9
    assert clopper_pearson(within, 300)[1] > 0.95 and clopper_pearson(tapped, 300)[1] > 0.95
    assert min(within, tapped) >= 275


def test_a_needle_by_hand() -> None:
    """Set at 10.2, 10.4 from below and 9.8, 9.6 from above, others without spread: s**2 is 0.04 / 10 and 0.1**2 / 12 more, t(10) 2.228
    (JCGM 100, table G.2)."""
    marks = [
        Mark(Fraction(r), [p + 0.3] * 2, [p - 0.3] * 2)
        for r, p in ((0, 10.0), (5, 30.0), (10, 50.0), (15, 70.0), (20, 90.0))
    ]
    marks[0] = Mark(Fraction(0), [10.2, 10.4], [9.8, 9.6])
    first, second, *_ = needle_marks.fit_marks(marks, 2.0)
    of_mean = math.sqrt(0.04 / 10 + 0.01 / 12) / 2
    assert [first.place, first.stick] == pytest.approx([10.0, 0.6])
    assert first.plus_minus == pytest.approx(0.3 + math.sqrt(2) * 2.228 * of_mean, rel=1e-3)
    assert first.tapped_reading == pytest.approx(2.228 * of_mean / 4, rel=1e-3)  # 4 % of the time to a gallon
    assert second.stick_reading == pytest.approx(0.15)


WRONG_MARKS: dict[str, tuple[dict[int, tuple[list[float], list[float]]], str]] = {
    "one stands below the one before": ({1: ([9.0, 9.0], [9.0, 9.0])}, "a needle goes one way only"),
    "two at one place": ({1: ([10.1, 10.1], [10.0, 10.0])}, "a needle goes one way only"),
    "where it parks": ({0: ([2.1, 2.1], [2.0, 2.0])}, "parked it must lie clearly below"),
    "more from above than from below": ({2: ([50.0, 50.0], [54.0, 54.0])}, "a needle that sticks does the opposite"),
    "one way only": ({2: ([52.0, 52.0], [])}, "2 times from below and from above"),
}  # fmt: skip


@pytest.mark.parametrize("wrong, told", WRONG_MARKS.values(), ids=WRONG_MARKS)
def test_marks_that_are_none(wrong: dict[int, tuple[list[float], list[float]]], told: str) -> None:
    marks = Meter(0.3, 0.02, 1).marks(PLACES)
    for i, (below, above) in wrong.items():
        marks[i] = Mark(marks[i].reading, below, above)
    with pytest.raises(ValueError, match=told):
        needle_marks.fit_marks(marks, 2.0)


def test_a_needle_that_falls() -> None:
    """More is to the left: as good as any."""
    falling = dict(zip(PLACES, (97.0, 74.0, 52.0, 30.0, 10.0)))
    points = needle_marks.fit_marks(Meter(0.4, 0.02, 1).marks(falling), 2.0)
    assert [point.place for point in points] == pytest.approx(list(falling.values()), abs=0.2)
    assert all(point.stick_reading > 0 for point in points)


POINTS = [(Fraction(0), Fraction(10)), (Fraction(10), Fraction(50)), (Fraction(20), Fraction(70))]


@pytest.mark.parametrize(
    "reading, place", [(0, 10), (5, 30), (10, 50), (15, 60), (20, 70), (-5, -10), (25, 80)]
)
def test_between_points(reading: int, place: int) -> None:
    assert needle_marks.between(POINTS, Fraction(reading)) == pytest.approx(place)


# -- what is written

LAMP = """[[lamp]]
name = "glare shield"   # the strip
knob = 27
floor = "0.02 %"            # by eye
# the click-off
off_below = "2 %"

# --- the next
[[lamp]]
name = "map light"
floor = "1 %"
"""
KEYS: dict[str, tuple[dict[str, str], tuple[str, str]]] = {
    "a key that is there": ({"floor": '"0.104 %"'}, ('floor = "0.02 %"            # by eye', 'floor = "0.104 %"           # by eye')),
    "another without a comment": ({"off_below": '"1.6 %"'}, ('off_below = "2 %"', 'off_below = "1.6 %"')),
    "one that is not there": ({"on_above": '"4 %"'}, ('off_below = "2 %"\n', 'off_below = "2 %"\non_above = "4 %"\n')),
    "a longer one than its column": ({"floor": '"0.123456789 %"'}, ('floor = "0.02 %"            # by eye', 'floor = "0.123456789 %"     # by eye')),
    "an array of several lines": ({"floor": "[\n    1,\n]"}, ('floor = "0.02 %"            # by eye', "floor = [\n    1,\n]  # by eye")),
    "nothing": ({}, ("", "")),
}  # fmt: skip


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("keys, edit", KEYS.values(), ids=KEYS)
def test_only_these_keys_change(keys: dict[str, str], edit: tuple[str, str], newline: str) -> None:
    before, after = (text.replace("\n", newline) for text in (LAMP, LAMP.replace(*edit) if edit[0] else LAMP))
    assert with_keys(before, 1, keys) == after


def test_the_last_table_and_no_end_of_line() -> None:
    assert with_keys(LAMP, 9, {"floor": '"2 %"'}) == LAMP.replace('"1 %"', '"2 %"')
    text = '[[lamp]]\nname = "a"'
    assert with_keys(text, 1, {"floor": '"2 %"'}) == text + '\nfloor = "2 %"\n'
    text = '[[lamp]]\nname = "x"\nload.current = "80 mA"  # each\nload.at = "12 V"\n'
    assert with_keys(text, 1, {"floor": '"2 %"'}) == text + 'floor = "2 %"\n'


KNOBS = {
    "a pin": ("knob = 27", 'knob = { pin = 27, stops = ["1 %", "99 %"] }'),
    "a pin by its name, with a comment": ('knob = "GP27"  # left', 'knob = { pin = "GP27", stops = ["1 %", "99 %"] }  # left'),
    "by its parts": ('knob = { pin = 27, ends = "0 ohm" }', 'knob = { pin = 27, ends = "0 ohm", stops = ["1 %", "99 %"] }'),
    "stops that were there": ('knob = { pin = 27, stops = ["3 %", "90 %"], track = "9 kohm" }', 'knob = { pin = 27, stops = ["1 %", "99 %"], track = "9 kohm" }'),
}  # fmt: skip


@pytest.mark.parametrize("before, after", KNOBS.values(), ids=KNOBS)
def test_a_knob_keeps_what_else_is_stated(before: str, after: str) -> None:
    text = LAMP.replace("knob = 27", before)
    assert with_stops(text, 1, '["1 %", "99 %"]') == LAMP.replace("knob = 27", after)


def test_a_knob_written_in_parts() -> None:
    with pytest.raises(Misuse, match="in one"):
        with_stops(LAMP.replace("knob = 27", "knob.pin = 27"), 1, '["1 %", "99 %"]')


@pytest.mark.parametrize("rows, lines", [(2, 1), (9, 11)])
def test_a_long_list_takes_lines(rows: int, lines: int) -> None:
    assert len(listed(['["0 US gal", "12.00 %"]'] * rows).split("\n")) == lines


NAMES = {
    "a lamp": ("glare shield", "glare shield"),
    "the only knob": ("knob", 27),
    "a knob by its pin": ("knob on GP27", 27),
    "a knob by its lamp": ("glare shield knob", 27),
    "by a lamp that follows": ("map light knob", 27),
    "a needle": ("fuel needle", "fuel needle"),
    "an input": ("left fuel", None),
    "a lamp that follows no knob": ("switch legends knob", None),
    "none": ("glare", None),
}
NEEDLE = '\n[[needle]]\nname = "fuel needle"\npin = 6\nfollows = "left fuel"\npoints = [["0 US gal", "12 %"], ["18 US gal", "96 %"]]\n'


@pytest.mark.parametrize("name, means", NAMES.values(), ids=NAMES)
def test_what_a_name_means(name: str, means: str | int | None) -> None:
    box = box_of_text("box.toml", DEMO.read_text() + NEEDLE)
    one = named(box, name)
    assert (one.pin if isinstance(one, Knob) else one and one.name) == means
    assert {"glare shield", "knob on GP27", "fuel needle"} <= set(names(box))
