"""From a knob to a light that looks even. Referee: colour-science, CIE 1976 lightness (CIE 15)."""

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from gaugebox.curve import lookup
from gaugelight import pwm
from gaugelight.box_values import LampCurve
from gaugelight.boxfile import read_box
from gaugelight.circuits import Counts, Floats
from gaugelight.cli import DEMO
from gaugelight.curves import values
from gaugelight.light_tables import duty_curve, knob_curve, knob_count, tells_faults, travel
from gaugelight.lightness import light_of_level, lightness, luminance, per_lightness
from gaugelight.lights import Knob, Lamp
from referees import lightness_CIE1976, luminance_CIE1976

FULL = 65535
KNOB = Knob(27)
RP2040 = pwm.setting(pwm.CHIPS["rp2040"], 4000)  # 31,250 steps


def lamp(**changes: Any) -> Lamp:
    glare_shield = read_box(DEMO).lights.lamp("glare shield")
    assert glare_shield is not None
    return replace(glare_shield, **changes)


LAMPS = {
    "the demo's": lamp(),
    "no floor": lamp(floor=Fraction(0)),
    "half bright": lamp(ceiling=Fraction(50)),
    "a high floor": lamp(floor=Fraction(2)),
    "no click-off": lamp(off_below=Fraction(0), on_above=Fraction(0)),
    "gamma 2.2": lamp(curve=LampCurve(2.2)),
    "gamma 1": lamp(curve=LampCurve(1.0)),
}


def referee(share: Floats) -> Floats:
    return np.asarray(lightness_CIE1976(share * 100), dtype=np.float64)


def light_over_knob(one: Lamp) -> tuple[Counts, Counts]:
    """Level and compare value of the RP2040 at 4 kHz, at every count."""
    levels = values(knob_curve(KNOB))
    return levels, pwm.compare(RP2040, values(duty_curve(one))[levels])


def test_luminance_and_lightness() -> None:
    levels = np.linspace(0, 100, 10_001)
    share = np.asarray(luminance_CIE1976(levels)) / 100
    assert luminance(levels) == pytest.approx(share, rel=1e-9, abs=1e-12)
    assert lightness(share) == pytest.approx(levels, rel=1e-9, abs=1e-9)
    assert luminance(np.array([0.0, 100.0])) == pytest.approx([0, 1])
    slope = np.gradient(share[1:-1], levels[1:-1])
    smooth = np.abs(levels[1:-1] - 8) > 0.02
    assert per_lightness(share[1:-1])[smooth] == pytest.approx(slope[smooth], rel=1e-3)


@pytest.mark.parametrize("one", LAMPS.values(), ids=LAMPS)
def test_every_level(one: Lamp) -> None:
    """Evenly from floor to ceiling, by the referee; off is off."""
    duty = values(duty_curve(one))
    first, start = max(1, round(one.off_below * 100)), max(1, round(one.on_above * 100))
    assert np.all(np.diff(duty) >= 0) and set(duty[:first]) == {0}
    assert duty[-1] == round(one.ceiling * FULL / 100)
    assert duty[first : start + 1] == pytest.approx(
        float(one.floor) * FULL / 100, abs=1.0 + 10 * (one.floor == 0)
    )
    along = (np.arange(start, 10001) / 100 - float(one.on_above)) / (100 - float(one.on_above))
    ends = np.array([float(one.floor), float(one.ceiling)]) / 100
    if one.curve.gamma is None:
        ends = referee(ends)
        wanted = ends[0] + (ends[1] - ends[0]) * along
    else:
        low, high = ends ** (1 / one.curve.gamma)
        wanted = referee((low + (high - low) * along) ** one.curve.gamma)
    seen = referee(duty[start:] / FULL)
    a_step = referee((duty[start:] + 1) / FULL) - seen
    assert np.all(np.abs(seen - wanted) <= 0.05 + a_step)


def test_gamma_is_not_lightness() -> None:
    levels = np.linspace(5, 95, 50)
    difference = lightness(light_of_level(LAMPS["gamma 2.2"], levels)) - lightness(
        light_of_level(lamp(), levels)
    )
    assert np.max(np.abs(difference)) > 1


def test_no_step_over_the_knob_is_seen() -> None:
    """At 4 kHz on the RP2040, from floor to ceiling, between any two codes of the 12-bit converter: a third of the 0.2 allowed."""
    _, steps = light_over_knob(lamp())
    codes = np.arange(4096)
    seen = referee(steps[codes << 4 | codes >> 8] / RP2040.steps)
    lit = np.flatnonzero(seen > 0)
    assert np.max(np.diff(seen[lit])) < 0.07
    assert np.max(np.diff(referee(steps / RP2040.steps)[steps > 0])) < 0.06


def test_never_dimmer_over_all_counts() -> None:
    _, steps = light_over_knob(lamp())
    assert len(steps) == 65536 and np.all(np.diff(steps) >= 0)
    assert steps[0] == 0 and steps[-1] == RP2040.steps == 31_250


def test_brighter_at_each_of_1024_levels() -> None:
    one = lamp()
    start = float(one.on_above)
    levels = np.rint(np.linspace(start * 100, 10_000, 1024)).astype(int)
    steps = pwm.compare(RP2040, values(duty_curve(one)))[levels]
    assert np.all(np.diff(steps) > 0)
    assert steps[-1] / steps[0] >= 5000 and steps[0] == 6  # 48 ns


# the knob's circuit; referee: Kirchhoff, by hand


def share_of(track: float, ends: float, position: float, pull_down: float = 330e3) -> float:
    """Of 3.3 V, at the wiper."""
    up, down = ends + track * (1 - position), ends + track * position
    return (1 / up) / (1 / up + 1 / down + 1 / pull_down)


@pytest.mark.parametrize("track", [8e3, 9e3, 10e3, 11e3, 12e3])
@pytest.mark.parametrize("ends", [2178.0, 2222.0])
def test_every_sound_knob_reaches_off_and_full_and_is_no_fault(track: float, ends: float) -> None:
    counts = travel(KNOB)
    bottom, top = (share_of(track, ends, position) * FULL for position in (0.0, 1.0))
    assert counts.lowest + 700 < bottom < counts.low - 200
    assert counts.high + 200 < top < counts.highest - 700


BROKEN = {
    "wiper, and a pin that leaks 1 uA": 1e-6 * 330e3 / 3.3,
    "wiper, and a pin that leaks nothing": 0.0,
    "upper end": 0.0,
    "lower end, wiper at the bottom": 330 / (330 + 12.0 * 1.01 + 2.2 * 1.01),
    "lower end, wiper at the top": 330 / (330 + 2.2),
    "shorted to 3.3 V": 1.0,
}


@pytest.mark.parametrize("share", BROKEN.values(), ids=BROKEN)
def test_every_broken_knob_is_a_fault(share: float) -> None:
    counts = travel(KNOB)
    assert share * FULL < counts.lowest - 300 or share * FULL > counts.highest + 300


def test_a_knob_without_resistors_at_its_ends_tells_nothing() -> None:
    counts = travel(Knob(27, ends=0.0))
    assert (counts.lowest, counts.highest) == (0, FULL) and not tells_faults(Knob(27, ends=0.0))
    assert tells_faults(KNOB)


@pytest.mark.parametrize("percent", [0.0, 2.0, 50.0, 100.0])
def test_position_to_level(percent: float) -> None:
    assert lookup(knob_curve(KNOB), knob_count(KNOB, percent)) == pytest.approx(percent * 100, abs=1)
