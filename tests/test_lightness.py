"""From a knob to a light that looks even. Referee: colour-science, CIE 1976 lightness (CIE 15)."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from colour.colorimetry import lightness_CIE1976, luminance_CIE1976

from gaugebox.curve import lookup
from gaugebox.lamp import PLAY, DimRequest, Lamp
from gaugebox.table import Table
from gaugelight.box_values import LampCurve
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build, solve_lamp
from gaugelight.circuits import Floats
from gaugelight.converters import COUNTS
from gaugelight.lightness import knob_count, luminance

FULL = 65535
CURVES = {"lightness": LampCurve(None), "gamma 2.2": LampCurve(2.2)}


@pytest.fixture(scope="module")
def box() -> Box:
    return read_box(Path(str(files("gaugelight.demo") / "amphibian.toml")))


def test_luminance() -> None:
    levels = np.linspace(0, 100, 10_001)
    assert luminance(levels) * 100 == pytest.approx(
        np.asarray(luminance_CIE1976(levels)), rel=1e-9, abs=1e-12
    )
    assert luminance(np.array([0.0, 100.0])) == pytest.approx([0, 1])


def wanted(curve: LampCurve) -> Floats:
    """The lightness, 0..100, that each knob count should look like, from the live travel of 1 to 99 %."""
    level = np.clip((np.arange(COUNTS) / FULL - 0.01) / 0.98, 0, 1)
    if curve.gamma is None:
        return level * 100
    return np.asarray(lightness_CIE1976(100 * level**curve.gamma), dtype=np.float64)


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES)
def test_every_knob_count(curve: LampCurve, box: Box) -> None:
    built = solve_lamp(replace(box.lamps[0], curve=curve))
    duty = np.array([lookup(built, count) for count in range(COUNTS)])
    assert np.all(np.diff(duty) >= 0)
    low, high = round(0.01 * FULL), round(0.99 * FULL)
    assert set(duty[: low + 1]) == {0} and set(duty[high:]) == {FULL}
    assert 0 < duty[low + 2000] and duty[high - 200] < FULL
    lightness = np.asarray(lightness_CIE1976(duty / FULL * 100))
    two_steps = np.asarray(lightness_CIE1976((duty + 2) / FULL * 100)) - lightness
    assert np.all(np.abs(lightness - wanted(curve)) <= 0.05 + two_steps)


def test_gamma_is_not_lightness() -> None:
    assert np.max(np.abs(wanted(CURVES["gamma 2.2"]) - wanted(CURVES["lightness"]))) > 1


def test_a_knob_turned_all_the_way_reaches_both_ends(box: Box) -> None:
    """Through the lamp of the real image, play of the knob included."""
    lamp = Lamp(Table(build(replace(box, chips=(), inputs=())).image).lamps[0])
    assert lamp.duty == 0
    up = [lamp.turn(count) for count in range(0, COUNTS, 5)]
    assert up == sorted(up) and up[-1] == FULL
    down = [lamp.turn(count) for count in range(FULL, -1, -5)]
    assert down == sorted(down, reverse=True) and down[-1] == 0


def test_jitter_within_the_play_moves_nothing(box: Box) -> None:
    lamp = Lamp(Table(build(replace(box, chips=(), inputs=())).image).lamps[0])
    duty = lamp.turn(30_000)
    rest = lamp.level
    jitter = np.random.default_rng(5).integers(rest - PLAY, rest + PLAY, 1000, endpoint=True)
    assert {lamp.turn(int(count)) for count in jitter} == {duty}
    assert lamp.turn(rest + PLAY + 40) > duty


def test_the_dim_request_does_not_hunt(box: Box) -> None:
    """On above 8 % of the knob's live travel, off below 5 %, and as it was in between."""
    record = Table(build(replace(box, chips=(), inputs=())).image).dim_request
    assert record is not None
    request = DimRequest(record)
    travel = [0.0, 4.9, 6.0, 7.9, 8.1, 6.0, 5.1, 4.9, 6.0, 100.0, 0.0]
    assert [request.follow(knob_count(percent)) for percent in travel] == [0, 0, 0, 0, 1, 1, 1, 0, 0, 1, 0]
