"""The face of the reference box in ngspice: lamps for alerts, needle, display, buttons, against formulas, standards and limits."""

import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from gaugelight.lightness import luminance
from test_output_circuits import HIGH, LOW, Values, as_written, run, table
from test_protection import (
    ASLEEP,
    BUS,
    NOTES,
    OFF,
    OPEN,
    OVERLOAD,
    PIN_CURRENT,
    RATINGS,
    THROUGH,
    WIRES,
    breaches,
    spice,
)

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)

PAGE = (NOTES / "face.md").read_text()
SINK = 4e-3  # A: what a pin as MicroPython leaves it is specified to sink (RP2040 data sheet, from memory)


def held(said: Values, room: float = 1.0) -> None:
    """No part hotter than parts.csv allows, or than it takes for a load dump."""
    heat = {name[1:-3].upper(): watts for name, watts in said.items() if name.endswith("[p]")}
    assert heat
    # a coil and what stands for a switch are no resistors of the parts table
    for name, watts in heat.items():
        if name in RATINGS:
            assert watts < room * RATINGS[name], name


# --- lamps for alerts ---

LED = "@dlamp[id]"
LED_MOST, LED_HOT = 30e-3, 20e-3  # A: an indicator LED for ever at 25 degC, and at 70 (from memory)
AT_16 = {"bus": 16.0, "dump": 16.0}
CHAFED = {"bus": 16.0, "dump": 35.0}
LAMPS: dict[str, tuple[Values, Values]] = {  # with the pin high and with it low: what the page says of it
    "as it should be": ({}, {"pin": 0.0}),
    "bus at 10.5 V": ({"bus": 10.5, "dump": 10.5}, {"pin": 0.0, "bus": 10.5, "dump": 10.5}),
    "bus at 16 V": (AT_16, AT_16 | {"pin": 0.0}),
    "processor dead, board out": ({"pin": 0.0, "output": 60e3}, {"output": OPEN}),
    "**LED open, or its wire broken**": (AT_16 | {"lamp_wire": OPEN}, AT_16 | {"lamp_wire": OPEN, "pin": 0.0}),
    "**LED shorted**": (AT_16 | {"lamp_short": THROUGH}, AT_16 | {"lamp_short": THROUGH, "pin": 0.0}),
    "plus on the bus": (CHAFED | {"chafe_plus": THROUGH}, CHAFED | {"chafe_plus": THROUGH, "pin": 0.0}),
    "**minus on the bus**": (CHAFED | {"chafe_minus": THROUGH}, CHAFED | {"chafe_minus": THROUGH, "pin": 0.0}),
    "**plus on the airframe**": (CHAFED | {"ground_plus": THROUGH}, CHAFED | {"ground_plus": THROUGH, "pin": 0.0}),
    "minus on the airframe": (CHAFED | {"ground_minus": THROUGH}, CHAFED | {"ground_minus": THROUGH, "pin": 0.0}),
}  # fmt: skip


@pytest.mark.parametrize("name", LAMPS)
def test_the_alert_lamp_in_the_notes(name: str) -> None:
    """mA through the LED asked for and not, the hottest resistor at 16 V or as stated; nothing beyond its rating, dump or none."""
    said = [run("alert_lamp.cir", values) for values in LAMPS[name]]
    row = table("lamp", PAGE)[name]
    for one, written in zip(said, row[:2], strict=True):
        assert as_written(one[LED] * 1e3, written), one[LED]
        assert -1e-6 < one[LED] < LED_MOST
        held(one)
        dump = [watts for key, watts in one.items() if key.startswith("vecmax") and "^2" in key]
        assert len(dump) == 2 and max(dump) < OVERLOAD * RATINGS["R201"]
        assert one["vecmax(v(c))"] < 80 and abs(one["v(p,gp20)/@rpin[resistance]"]) < PIN_CURRENT
    hottest = max(one[f"@{part}[p]"] for one in said for part in ("r201", "r202"))
    assert as_written(hottest, row[2]), hottest


@pytest.mark.parametrize("bus", [10.5, 14.2, 16.0])
@pytest.mark.parametrize("drop", [1.8, 2.0, 2.2, 3.0])
def test_the_alert_lamps_current_by_ohms_law(drop: float, bus: float) -> None:
    """What is left of the bus after D91 (0.8 V with the box's 0.14 A), D201 (0.25 V), LED and Q201 (0.1 V), over two of 620 ohm."""
    said = run("alert_lamp.cir", {"drop": drop, "bus": bus, "dump": bus})
    assert said[LED] == pytest.approx((bus - 0.8 - 0.25 - 0.1 - drop) / 1240, rel=0.02)


@pytest.mark.parametrize("celsius", [-20, 25, 70])
def test_the_alert_lamp_in_heat_and_frost(celsius: int) -> None:
    """At 70 degC an LED takes less than at 25, and gets less."""
    said = run("alert_lamp.cir", AT_16, celsius)
    assert 9.5e-3 < said[LED] < LED_HOT
    assert said["v(c)"] < 0.2, "Q201 is to be a switch"
    held(said)


def test_an_led_in_a_load_dump() -> None:
    """Healthy it takes less than it does for ever; with its minus on the airframe 50 mA for 0.4 s, said on the page."""
    through = "vecmax((v(f)-v(plus))/620)"
    assert 24e-3 < run("alert_lamp.cir", {"dump": 35.0})[through] < LED_MOST
    chafed = run("alert_lamp.cir", CHAFED | {"ground_minus": THROUGH})
    assert chafed[through] == pytest.approx(50e-3, rel=0.02)


def test_two_resistors_and_not_one(tmp_path: Path) -> None:
    """With all of it in the plus, a minus on the bus would be Q201's end; all in the minus, one on the airframe the LED's."""
    no_r202 = spice(tmp_path, "alert_lamp.cir", AT_16 | {"chafe_minus": THROUGH}, {"R202": 1.0})
    assert no_r202["@q201[p]"] > RATINGS["Q201"]
    no_r201 = spice(tmp_path, "alert_lamp.cir", AT_16 | {"ground_minus": THROUGH}, {"R201": 1.0})
    assert no_r201[LED] > LED_MOST


@pytest.mark.parametrize("wire", ["chafe_plus", "chafe_minus"])
def test_a_lamps_wire_on_the_bus_does_not_wake_the_box(wire: str) -> None:
    said = run("alert_lamp.cir", {wire: THROUGH, "bus": 16.0, "dump": 35.0, "pin": 0.0, "output": 60e3} | OFF)
    assert said["v(in)"] < ASLEEP


def test_a_battery_the_wrong_way_round_leaves_the_lamps_dark() -> None:
    said = run("alert_lamp.cir", {"bus": -14.0, "dump": -14.0})
    assert abs(said[LED]) < 1e-6 and -1.5 < said["v(in)"] < 0.1


def test_first_power() -> None:
    """What the page says to measure, at 12 V."""
    at_12 = {"bus": 12.0, "dump": 12.0}
    assert run("alert_lamp.cir", at_12 | {"lamp_wire": OPEN})["v(plus)"] == pytest.approx(11.2, abs=0.1)
    shorted = run("alert_lamp.cir", at_12 | {"ground_plus": THROUGH, "lamp_wire": OPEN})
    assert math.sqrt(shorted["@r201[p]"] / 620) == pytest.approx(18e-3, abs=0.5e-3)
    assert run("alert_lamp.cir", at_12)[LED] == pytest.approx(7e-3, abs=0.2e-3)


SUN, REFLECTED = 100e3, 0.1  # lux of direct sun (from memory), and how much of it the cap throws back (ours)
CAP = math.pi / 4 * 8e-3**2  # m2, of H201's cap


def glow(said: Values) -> float:
    """cd/m2 of H201: 1 cd at 10 mA over its cap."""
    return said[LED] / 10e-3 / CAP


@pytest.mark.parametrize("bus, least", [(10.5, 3.5), (14.2, 5.5)])
def test_a_lamp_stands_out_in_the_sun(bus: float, least: float) -> None:
    """What it adds, in parts of what the cap throws back, E rho / pi (Lambert): 0.6 is asked of a legend (MIL-L-85762A, from memory)."""
    contrast = glow(run("alert_lamp.cir", {"bus": bus, "dump": bus})) / (SUN * REFLECTED / math.pi)
    assert contrast == pytest.approx(least, rel=0.1) and contrast > 2
    assert f"{contrast:.1f} times" in PAGE


SHARES = {"7.5u": 0.03, "28u": 0.112, "50u": 0.2, "125u": 0.5}  # pulses of 4 kHz


def test_the_light_of_a_dimmed_alert_lamp() -> None:
    """The capacitors against sparks charge through the LED after each pulse: more light than asked for, never less, never twice as much."""
    said = run("alert_lamp.cir")
    row = table("pulses", PAGE)["light"]
    for (width, share), written in zip(SHARES.items(), row, strict=True):
        light = said[f"charge_{width}"] / said[LED] / (share * 250e-6)
        assert as_written(light, written), (width, light)
        assert 1 < light < 2


def test_the_lamp_at_night() -> None:
    """At the demo's 40 % of lightness (CIE 1976), and what a warning at night is asked to be (MIL-STD-411: 15 fL, from memory)."""
    said = run("alert_lamp.cir")
    share = float(luminance(np.array([40.0]))[0])
    assert share == pytest.approx(SHARES["28u"], rel=0.02)
    night = glow(said) * said["charge_28u"] / said[LED] / 250e-6
    assert night == pytest.approx(3000, rel=0.15) and night > 20 * 15 * 3.426  # cd/m2 a footlambert


# --- needle ---

COIL, GIVES = "i(vcoil)", "v(p,gp6)/@rpin[resistance]"
STEADY = {"rail": 3.3, "output": 130.0, "scale": 1.0, "coil": 100.0, "duty": 1.0}


def needle_current(values: Values, celsius: float = 25) -> float:
    """Ohm's law, the coil's copper 0.393 % a kelvin from 20 degC (IEC 60028)."""
    at = STEADY | values
    coil = at["coil"] * (1 + 0.00393 * (celsius - 20))
    return at["duty"] * at["rail"] / (at["output"] + at["scale"] * (1200 + 1000 + 680) + coil)


@pytest.mark.parametrize("celsius", [-20, 25, 70])
@pytest.mark.parametrize("rail", [3.234, 3.3, 3.366])
@pytest.mark.parametrize("scale", [0.99, 1.01])
def test_a_needles_full_scale(scale: float, rail: float, celsius: int) -> None:
    """The two diodes at the meter take 0.12 % of it at most, hot."""
    values = {"scale": scale, "rail": rail, "duty": 1.0}
    assert run("needle.cir", values, celsius)[COIL] == pytest.approx(
        needle_current(values, celsius), rel=2e-3
    )


@pytest.mark.parametrize("duty", [0.02, 0.1, 0.5, 0.94])
def test_a_needle_is_even(duty: float) -> None:
    said = run("needle.cir", {"duty": duty})[COIL]
    assert said == pytest.approx(duty * run("needle.cir", {"duty": 1.0})[COIL], rel=1e-3)


ERRORS: dict[str, tuple[Values, int]] = {
    "3.3 V 2 % high": ({"rail": 3.366}, 25),
    "3.3 V 2 % low": ({"rail": 3.234}, 25),
    "R231, R233, R236 all 1 % high": ({"scale": 1.01}, 25),
    "the pin's own resistance 40 ohm, not 130": ({"output": 40.0}, 25),
    "coil 10 % high": ({"coil": 110.0}, 25),
    "coil at -20 degC": ({}, -20),
    "coil at 70 degC": ({}, 70),
}
AT_FULL = {"duty": 0.94}


@pytest.mark.parametrize("name", ERRORS)
def test_a_needles_errors_in_the_notes(name: str) -> None:
    """Per cent of full scale, against 25 degC and everything at its nominal value."""
    values, celsius = ERRORS[name]
    change = run("needle.cir", AT_FULL | values, celsius)[COIL] / run("needle.cir", AT_FULL)[COIL]
    law = needle_current(values, celsius) / needle_current({})
    assert -5e-4 < law - change < 1.3e-3  # D232 takes the rest, at 70 degC
    assert as_written(100 * (change - 1), table("what is off", PAGE)[name][0]), change


def test_every_needle_reaches_full_scale_and_none_is_bent() -> None:
    """The worst of all together: 1 mA is within reach; stuck high 1.2 times that is borne for ever (IEC 60051-1, from memory)."""
    least = run("needle.cir", {"rail": 3.234, "scale": 1.01, "coil": 110.0, "duty": 1.0}, 70)[COIL]
    most = run("needle.cir", {"rail": 3.366, "scale": 0.99, "coil": 90.0, "output": 40.0, "duty": 1.0}, -20)[
        COIL
    ]
    assert 1.0e-3 < least and most < 1.2e-3
    assert as_written(run("needle.cir", {"duty": 1.0})[COIL] * 1e3, "1.06")
    assert as_written(most * 1e3, "1.13")
    assert "1.06 mA, in the worst box 1.13 mA" in PAGE


MOVEMENT = (NOTES / "netlists" / "needle_movement.cir").read_text()
FROM_REST = MOVEMENT[MOVEMENT.index("* from rest: ") : MOVEMENT.index(".endc")]
PULSES = MOVEMENT[MOVEMENT.index("* the pulses: ") : MOVEMENT.index("* from rest: ")]


def test_pulses_are_averaged(tmp_path: Path) -> None:
    """Above its own swing a movement follows by (swing/f)^2; a square wave's fundamental is 4/pi of half its height (any book)."""
    for hertz in (10.0, 20.0, 100.0):
        said = spice(tmp_path, "needle_movement.cir", {"hertz": hertz}, {}, but=FROM_REST)
        height = 1e3 * needle_current({"duty": 1.0}, 20)
        # the movement's gain at f, its damping included; the harmonics add up to 3 % at a peak
        gain = 1 / math.hypot(1 - hertz**2, 2 * 0.7 * hertz)
        assert said["moved"] == pytest.approx(height * 4 / math.pi * gain, rel=0.04)
    at_1_khz = spice(tmp_path, "needle_movement.cir", {}, {}, but=FROM_REST)
    assert (
        at_1_khz["moved"] < 1e-5 < at_1_khz["pulsed"]
    )  # the coil's 10 mH smooth nothing: 10 mH/3.1 kohm = 3 us
    assert at_1_khz["pulsed"] > 1.0


@pytest.mark.parametrize("duty", [0.1, 0.5, 0.94])
def test_a_mean_is_all_that_passes(duty: float, tmp_path: Path) -> None:
    """So needle.cir may stand at the mean: capacitor and coil change nothing of it, and the coil's kick by way of D232 0.07 % of the scale."""
    values = {"duty": duty, "from": duty}
    law = 1e3 * needle_current({"duty": duty}, 20)
    bare = spice(tmp_path, "needle_movement.cir", values, {"D232a": None, "D232b": None}, but=PULSES)
    assert bare["at_end"] == pytest.approx(law, abs=1e-4)
    assert 0 < law - spice(tmp_path, "needle_movement.cir", values, {}, but=PULSES)["at_end"] < 7e-4


@pytest.mark.parametrize("damping", [0.5, 0.7])
def test_a_needle_comes_to_rest(damping: float, tmp_path: Path) -> None:
    """It overshoots by exp(-pi z / sqrt(1 - z^2)), any book on second order systems; 20 % at most (IEC 60051-1, from memory)."""
    said = spice(tmp_path, "needle_movement.cir", {"damping": damping}, {}, but=PULSES)
    law = math.exp(-math.pi * damping / math.sqrt(1 - damping**2))
    assert said["beyond"] / said["at_end"] == pytest.approx(law, rel=0.02) and law < 0.2
    assert said["settled"] < 4.0  # s (IEC 60051-1, from memory)


NEEDLE_CHAFES: dict[str, Values] = {
    "pin high": {"duty": 1.0},
    "pin low": {"duty": 0.0},
    "pin an input": {"duty": 0.0, "output": 60e3},
    "box off": {"duty": 0.0, "output": OPEN, "chip_on": 0.0},
}


@pytest.mark.parametrize("name", NEEDLE_CHAFES)
def test_a_needles_wire_on_the_bus(name: str) -> None:
    """16 V for ever, 35 V for 0.4 s; the coil seven times full scale: ten for 0.5 s (IEC 60051-1, from memory), and 5 mW do not heat it."""
    for volts, room in ((16.0, 1.0), (35.0, OVERLOAD)):
        said = run("needle.cir", NEEDLE_CHAFES[name] | {"chafe": THROUGH, "bus": volts})
        held(said, room)
        assert abs(said["@da1a[id]"]) < PIN_CURRENT and abs(said[GIVES]) < SINK
        assert said["v(vdd)"] < (ASLEEP if name == "box off" else 3.31)
        assert said[COIL] < 8e-3 and said["@rcoil[p]"] < 6e-3


def test_what_d232_is_for(tmp_path: Path) -> None:
    """Without it a wire on the bus would be 16 V over R233 and the coil."""
    chafed = {"chafe": THROUGH, "bus": 16.0}
    bare = spice(tmp_path, "needle.cir", chafed, {"D232a": None})[COIL]
    assert bare == pytest.approx(16 / (680 + 102), rel=0.01)
    assert bare > 2.5 * run("needle.cir", chafed)[COIL]


NEEDLE_SILENT: dict[str, tuple[Values, float]] = {  # most mA that the pin gives
    "its wire broken": ({"wire": OPEN}, 0.01),
    "its wire on the airframe": ({"ground": THROUGH, "duty": 1.0}, 1.42),
    "box off": ({"duty": 0.0, "output": OPEN, "chip_on": 0.0}, 0.01),
}


@pytest.mark.parametrize("values, most", NEEDLE_SILENT.values(), ids=NEEDLE_SILENT)
def test_a_needle_at_rest_says_nothing(values: Values, most: float) -> None:
    """And the box does not know: so its rest must lie below its scale."""
    said = run("needle.cir", values)
    assert abs(said[COIL]) < 1e-6 and said[GIVES] * 1e3 < most + 0.01
    held(said)


# --- display ---

RISE = {400: 300e-9, 100: 1000e-9}  # s, most, by kHz (UM10204, table of timings, standard and fast mode)
RISEN = math.log(0.7 / 0.3)  # of RC, from 30 to 70 % of the supply
LENGTHS = (0.1, 0.3, 1.0, 2.0)  # m
PULLS: dict[str, Values] = {
    "R96 and R97 alone: 3.3 kohm": {},
    "4.7 kohm in their place": {"pull": 4700.0},
    "R96, R97 and two converter boards of 10 kohm each: 2.0 kohm": {"boards": 5000.0},
    "those and the display board's 4.7 kohm: 1.4 kohm": {"boards": 5000.0, "module": 4700.0},
}


def together(values: Values) -> float:
    return 1 / (
        1 / values.get("pull", 3300.0) + 1 / values.get("boards", OPEN) + 1 / values.get("module", OPEN)
    )


@pytest.mark.parametrize("name", PULLS)
def test_the_rise_of_the_i2c_in_the_notes(name: str) -> None:
    """Against RC ln(7/3), and what UM10204 allows at 400 and 100 kHz; ngspice runs as it is, at 25 degC."""
    row = table("rise, ns", PAGE)[name]
    for length, words in zip(LENGTHS, row, strict=True):
        said = run("i2c.cir", PULLS[name] | {"length": length})
        rise = max(said["rise_box"], said["rise_far"])
        law = RISEN * together(PULLS[name]) * (50e-12 + 20e-12 + 100e-12 * length)
        # R292's 100 ohm, two pull-ups at two ends: a little off one RC
        assert rise == pytest.approx(law, rel=0.06)
        number, _, verdict = words.partition(" ")
        assert as_written(rise * 1e9, number), rise
        fits = "" if rise <= RISE[400] else "(100 kHz)" if rise <= RISE[100] else "(too slow)"
        assert verdict == fits
        assert said["lowest"] > -0.3  # V: what the pins take below ground (SBAS444)


def test_how_much_a_display_may_hang_on_a_wire() -> None:
    """400 pF at most, and a pull-up of (3.3 - 0.4)/3 mA at least (UM10204): 0.97 kohm; the strongest here is above it."""
    assert min(map(together, PULLS.values())) > 2.9 / 3e-3
    for length in LENGTHS:
        assert 70e-12 + 100e-12 * length < 400e-12


@pytest.mark.parametrize("name", PULLS)
@pytest.mark.parametrize("who", [1.0, 2.0], ids=["box", "display"])
def test_the_lows_of_the_i2c(name: str, who: float) -> None:
    """0.4 V from the weakest driver that UM10204 allows, 0.4 V at 3 mA; what the other end sees stays below 0.3 of the supply less a
    noise margin of a tenth.
    """
    said = run("i2c.cir", PULLS[name] | {"who": who, "on": 133.0})
    own, other = ("low_box", "low_far") if who == 1 else ("low_far", "low_box")
    assert said[own] < 0.4 and said[other] < (0.3 - 0.1) * 3.3
    assert said[other] < 0.425, "what the page says"


def test_what_the_display_does_not_survive() -> None:
    """Said on the page: it belongs into the box, for its wires take no bus voltage."""
    said = run("i2c.cir", {"chafe": 1.0, "bus": 16.0})
    assert 3.63 < said["v(sda)"] == pytest.approx(5.2, abs=0.1) and said["@da1a[id]+@du29a[id]"] > 1.0
    assert "takes no bus voltage" in PAGE


# --- buttons ---

BUTTONS: dict[str, tuple[Values, bool | None]] = {
    "water in it, 10 kohm": ({"to_ground": 10e3}, False),
    "water in it, 130 kohm": ({"to_ground": 130e3}, True),
    "water in it, 30 kohm": ({"to_ground": 30e3}, None),
}


@pytest.mark.parametrize("pull", [50e3, 80e3])
@pytest.mark.parametrize("values, high", BUTTONS.values(), ids=BUTTONS)
def test_a_wet_button(values: Values, high: bool | None, pull: float) -> None:
    """Below 10 kohm it is pressed, above 130 it is not; between them the chip may take it for either."""
    volts = run("panel_switch.cir", values | {"pull": pull})["v(p18)"]
    assert (volts > HIGH if high else volts < LOW) if high is not None else LOW < volts < HIGH


PUMPS: dict[str, tuple[Values, bool]] = {
    "bus at 10.5 V": ({"bus": 10.5}, True),
    "bus at 16 V": ({"bus": 16.0}, True),
    "load dump": ({"bus": 35.0}, True),
    "the pump's coil switched off, -100 V": ({"bus": -100.0}, False),
}


@pytest.mark.parametrize("pull_to", [0.0, 3.3])
@pytest.mark.parametrize("values, high", PUMPS.values(), ids=PUMPS)
def test_the_pumps_line_carries_bus_voltage(values: Values, high: bool, pull_to: float) -> None:
    """ISO 7637-2 pulse 1, -100 V for 2 ms (from memory): 33 kohm take it, within 0.6 V of ground at the pin."""
    said = run(
        "panel_switch.cir", values | {"to_bus": THROUGH, "top": 33e3, "bottom": 10e3, "pull_to": pull_to}
    )
    assert said["v(p18)"] > HIGH if high else -0.65 < said["v(p18)"] < LOW
    assert abs(said["@da1a[id]"]) < PIN_CURRENT and said["v(vdd)"] < 3.31
    assert said["@r181[p]"] < 0.5


# --- every wire of J5 on the bus ---

CLAMPS = 2.9e-3  # A a volt above 4.6 V: what protection_box.cir takes J5 to add
ALL = {"light": 2.2e-3, "r191": 680.0, "face": CLAMPS, "r291": 680.0}


def test_what_the_faces_clamps_add() -> None:
    """Needle and five switches, at 16 V and in a load dump."""
    for volts in (16.0, 35.0):
        needle = run("needle.cir", {"chafe": THROUGH, "bus": volts, "duty": 1.0})
        switch = run("panel_switch.cir", {"to_bus": THROUGH, "bus": volts})
        added = needle["@d231a[id]"] + 5 * switch["@d181a[id]"]
        if volts == 16:
            assert 0.95 < added / (CLAMPS * (volts - 4.6)) <= 1.01
        else:
            assert added == pytest.approx(CLAMPS * (volts - 4.6), rel=0.1)
        into = -needle[GIVES] + 5 * switch["@da1a[id]"]
        assert into < 1.4 * CLAMPS


@pytest.mark.parametrize("values", [{}, OFF, OFF | {"usb": 0.1}], ids=["on", "off", "laptop"])
@pytest.mark.parametrize("celsius", [-20, 70])
def test_every_wire_of_j1_j4_and_j5_on_the_bus(values: Values, celsius: int) -> None:
    assert breaches(run("protection_box.cir", BUS | WIRES | values | ALL, celsius)) == []


def test_what_r291_is_for() -> None:
    assert "3.3 V" in breaches(run("protection_box.cir", BUS | WIRES | ALL | {"r291": OPEN}))


def test_the_faces_wires_alone_leave_a_dead_box_asleep() -> None:
    said = run("protection_box.cir", BUS | OFF | {"face": CLAMPS, "r191": 680.0, "r291": 680.0})
    assert said["v(vdd)"] < ASLEEP


# --- sparks ---


@pytest.mark.parametrize("kilovolts", [2, 8, -2, -8])
def test_a_spark_into_the_face(kilovolts: int) -> None:
    """The capacitors' 100 V, Q201's 80 V, half an ampere for a microsecond in the clamps (data sheets), of a pin's 10 mA a fifth."""
    said = run("face_esd.cir", {"gun": kilovolts * 1e3})
    for n in (20, 23, 26):
        assert 5 * abs(kilovolts) < said[f"vecmax(abs(v(w{n})-v(l{n})))"] < 100
    assert -20 < said["vecmin(v(c20))"] <= said["vecmax(v(c20))"] < 80
    for key in (
        "vecmax(abs(v(w23)-v(k23)))/1k",
        "vecmax(abs(v(w26)-v(k26)))/2.2k",
        "vecmax(abs(v(w20)-v(c20)))/620",
    ):
        assert said[key] < 0.5
    for key in (
        "vecmax(abs(v(k23)-v(p23)))/1.2k",
        "vecmax(abs(v(k26)-v(p26)))/2.2k",
        "vecmax(abs(v(b20)-v(p20)))/4.7k",
    ):
        assert said[key] < 2e-3
