"""The model aircraft moved in words: where each word puts it, and what is said of a wrong one."""

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.cli import DEMO
from gaugelight.light_tables import knob_count
from gaugelight.moves import move
from gaugelight.plant import Aircraft
from gaugelight.problems import Misuse


def moved(aircraft: Aircraft, words: str) -> str:
    def no_power() -> None:
        raise AssertionError

    return move(aircraft, words, no_power)


@pytest.fixture
def aircraft() -> Aircraft:
    return Aircraft(read_box(DEMO))


def test_a_reading(aircraft: Aircraft) -> None:
    """By hand, from the demo's points: 9.5 US gal stand at 46 ohm."""
    assert moved(aircraft, "left fuel = 9.5 US gal") == "left fuel 9.5 US gal"
    assert aircraft.signals["left fuel"] == pytest.approx(46)
    moved(aircraft, "left fuel=4")
    assert aircraft.signals["left fuel"] == pytest.approx(21)


def test_a_signal(aircraft: Aircraft) -> None:
    """Beyond what the sender can give too, as in the dip of an engine's start."""
    moved(aircraft, "bus = at 6 V")
    moved(aircraft, "left fuel = at 0.3 kohm")
    assert (aircraft.signals["bus"], aircraft.signals["left fuel"]) == (6, 300)


def test_a_wire(aircraft: Aircraft) -> None:
    for state in ("broken", "shorted"):
        moved(aircraft, f"hydraulic = {state}")
        assert aircraft.wires == {"hydraulic": state}
    moved(aircraft, "hydraulic = whole")
    assert aircraft.wires == {}


@pytest.mark.parametrize("percent", [0, 1, 37.5, 99, 100])
def test_the_knob(aircraft: Aircraft, percent: float) -> None:
    """Where `gaugelight dim` counts the same per cent; at the ends it stands at its stops."""
    knob = aircraft.box.lights.knobs[0]
    moved(aircraft, f"knob = {percent} %")
    count = aircraft.knob_volts(knob) / 3.3 * 65535
    if percent in (0, 100):
        assert aircraft.knobs[knob.pin] == percent
    else:
        assert count == pytest.approx(knob_count(knob, percent), abs=1)


def test_a_broken_knob(aircraft: Aircraft) -> None:
    for words, state in (("broken", "wiper broken"), ("upper end broken", "upper end broken")):
        moved(aircraft, f"knob = {words}")
        assert aircraft.broken == {27: state}
    moved(aircraft, "knob = 20 %")
    assert aircraft.broken == {}


def test_power(aircraft: Aircraft) -> None:
    dips = []
    assert move(aircraft, "power = dip", lambda: dips.append(1)) == "power dip" and dips == [1]


def test_a_refused_word_changes_nothing(aircraft: Aircraft) -> None:
    moved(aircraft, "left fuel = broken")
    with pytest.raises(Misuse):
        moved(aircraft, "left fuel = Whole")
    assert aircraft.wires == {"left fuel": "broken"}


def test_switch_and_jumper(aircraft: Aircraft) -> None:
    moved(aircraft, "panel lights = on")
    assert aircraft.switches == {"panel lights": True}
    assert moved(aircraft, "jumper = open") == "jumper open"
    assert not aircraft.jumper_closed


WRONG = {
    "no value": ("left fuel", "write NAME = VALUE"),
    "nothing there": ("left fule = 3", 'did you mean "left fuel"?'),
    "nothing near": ("zzz = 3", "panel lights, knob, jumper, power"),
    "beyond the sender": ("left fuel = 30", "outside 0 to 18 US gal"),
    "a signal below nothing": ("left fuel = at -1 ohm", "is below 0"),
    "a signal in another unit": ("left fuel = at 3 V", "is not in ohm"),
    "another unit": ("left fuel = 3 psi", "not in US gal"),
    "a knob turned too far": ("knob = 101", "from 0 to 100 per cent"),
    "a knob that is no number": ("knob = nan", "from 0 to 100 per cent"),
    "a switch half-way": ("panel lights = half", "write on or off"),
    "a lamp": ("glare shield = 50 %", "goes where its knob or the line it follows says"),
    "a supply": ("power = off", "write dip"),
    "a jumper": ("jumper = out", "write closed or open"),
}


@pytest.mark.parametrize("words, told", WRONG.values(), ids=WRONG)
def test_wrong(aircraft: Aircraft, words: str, told: str) -> None:
    before = dict(aircraft.signals), dict(aircraft.knobs), dict(aircraft.switches)
    with pytest.raises(Misuse) as wrong:
        moved(aircraft, words)
    assert told in str(wrong.value)
    assert before == (aircraft.signals, aircraft.knobs, aircraft.switches)


def test_a_place_on_the_track(aircraft: Aircraft) -> None:
    """The way there and back."""
    knob = aircraft.box.lights.knobs[0]
    for place in np.linspace(0, 100, 41):
        aircraft.knobs[knob.pin] = float(place)
        assert aircraft.knob_at(knob, aircraft.knob_volts(knob)) == pytest.approx(place, abs=1e-3)
