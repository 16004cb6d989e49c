"""The model aircraft moved in words: where each word puts it, and what is said of a wrong one."""

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.cli import DEMO
from gaugelight.light_tables import knob_count
from gaugelight.moves import move
from gaugelight.plant import Aircraft
from gaugelight.problems import Misuse


@pytest.fixture
def aircraft() -> Aircraft:
    return Aircraft(read_box(DEMO))


def test_a_reading(aircraft: Aircraft) -> None:
    """By hand, from the demo's points: 9.5 US gal stand at 46 ohm."""
    assert move(aircraft, "left fuel = 9.5 US gal") == "left fuel 9.5 US gal"
    assert aircraft.signals["left fuel"] == pytest.approx(46)
    move(aircraft, "left fuel=4")
    assert aircraft.signals["left fuel"] == pytest.approx(21)


def test_a_wire(aircraft: Aircraft) -> None:
    for state in ("broken", "shorted"):
        move(aircraft, f"hydraulic = {state}")
        assert aircraft.wires == {"hydraulic": state}
    move(aircraft, "hydraulic = whole")
    assert aircraft.wires == {}


@pytest.mark.parametrize("percent", [0, 1, 37.5, 99, 100])
def test_the_knob(aircraft: Aircraft, percent: float) -> None:
    """Where `gaugelight dim` counts the same per cent; at the ends it stands at its stops."""
    knob = aircraft.box.lights.knobs[0]
    move(aircraft, f"knob = {percent} %")
    count = aircraft.knob_volts(knob) / 3.3 * 65535
    if percent in (0, 100):
        assert aircraft.knobs[knob.pin] == percent
    else:
        assert count == pytest.approx(knob_count(knob, percent), abs=1)


def test_switch_and_jumper(aircraft: Aircraft) -> None:
    move(aircraft, "panel lights = on")
    assert aircraft.switches == {"panel lights": True}
    assert "next start" in move(aircraft, "jumper = open")
    assert not aircraft.jumper_closed


WRONG = {
    "no value": ("left fuel", "write NAME = VALUE"),
    "nothing there": ("left fule = 3", 'did you mean "left fuel"?'),
    "nothing near": ("zzz = 3", "panel lights, knob, jumper"),
    "beyond the sender": ("left fuel = 30", "outside 0 to 18 US gal"),
    "another unit": ("left fuel = 3 psi", "not in US gal"),
    "a knob turned too far": ("knob = 101", "from 0 to 100 per cent"),
    "a knob that is no number": ("knob = nan", "from 0 to 100 per cent"),
    "a switch half-way": ("panel lights = half", "write on or off"),
    "a jumper": ("jumper = out", "write closed or open"),
}


@pytest.mark.parametrize("words, told", WRONG.values(), ids=WRONG)
def test_wrong(aircraft: Aircraft, words: str, told: str) -> None:
    before = dict(aircraft.signals), dict(aircraft.knobs), dict(aircraft.switches)
    with pytest.raises(Misuse) as wrong:
        move(aircraft, words)
    assert told in str(wrong.value)
    assert before == (aircraft.signals, aircraft.knobs, aircraft.switches)


def test_a_place_on_the_track(aircraft: Aircraft) -> None:
    """The way there and back."""
    knob = aircraft.box.lights.knobs[0]
    for place in np.linspace(0, 100, 41):
        aircraft.knobs[knob.pin] = float(place)
        assert aircraft.knob_at(knob, aircraft.knob_volts(knob)) == pytest.approx(place, abs=1e-3)
