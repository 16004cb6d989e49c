"""`gaugelight lamps`, run as a user would; what it says against arithmetic by hand and what others publish."""

import json
import math
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gaugelight import pwm
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO, main
from gaugelight.lamps import report
from referees import lightness_CIE1976


def gaugelight(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "gaugelight.cli", *words], capture_output=True, text=True)


@cache
def told(board: str = "rp2040") -> dict[str, dict[str, dict[str, Any]]]:
    """Of the demo: name, topic, numbers."""
    done = gaugelight("lamps", str(DEMO), "--json", "--board", board)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    return {one["name"]: one["facts"] for one in json.loads(done.stdout)["lights"]}


def test_everything_is_there() -> None:
    names = [
        "glare shield",
        "switch legends",
        "map light",
        "warning lamp",
        "caution lamp",
        "bus output",
        "display",
        "dim request",
        "daylight",
        "knob on GP27",
    ]
    assert sorted(told()) == sorted(names)
    lamp = [
        "in short",
        "pulses",
        "eye",
        "headset",
        "dimmest",
        "honestly",
        "radio",
        "evenness",
        "load",
        "dimmable",
        "wire",
        "fuse",
        "driver",
        "states",
    ]
    assert set(lamp) <= set(told()["glare shield"])
    assert all(fact["says"] for facts in told().values() for fact in facts.values())


# by hand: the clock over the frequency (RP2040 data sheet, 4.5.2: 125 MHz as MicroPython leaves it; RP2350: 150 MHz)
PULSES = {
    "glare shield, rp2040": ("rp2040", "glare shield", 4000, 31_250, 8e-9),
    "glare shield, rp2350": ("rp2350", "glare shield", 4000, 37_500, 1 / 150e6),
    "bus output, rp2040": ("rp2040", "bus output", 20_000, 6250, 8e-9),
}


@pytest.mark.parametrize("board, name, hz, steps, tick", PULSES.values(), ids=PULSES)
def test_pulses(board: str, name: str, hz: int, steps: int, tick: float) -> None:
    pulses = told(board)[name]["pulses"]
    assert (pulses["asked_hz"], pulses["hz"], pulses["steps"], pulses["wrap"]) == (hz, hz, steps, steps - 1)
    assert pulses["step_s"] == pytest.approx(tick)


def test_what_the_box_is_asked_to_show() -> None:
    """Largest step of lightness at most 0.2 from floor to ceiling, also under the hand; strictly brighter over 1,024 levels;
    5,000 : 1 commanded; none of it seen to flicker (IEEE 1789-2015: nothing is asked above 3000 Hz)."""
    lamp = told()["glare shield"]
    assert lamp["evenness"]["largest_step_lightness"] <= 0.07
    assert lamp["evenness"]["largest_step_by_hand_lightness"] <= 0.2
    assert lamp["evenness"]["never_dimmer"] and lamp["evenness"]["brighter_at_each_of_1024_levels"]
    assert lamp["dimmest"]["commanded_ratio"] >= 5000
    assert lamp["dimmest"]["commanded_ratio"] == pytest.approx(31_250 / 6)
    assert lamp["eye"]["region"] == "no observable effect"


def test_dimmest_in_lightness() -> None:
    """Referee: colour-science, CIE 1976."""
    lamp = told()["glare shield"]
    assert lamp["dimmest"]["floor_s"] == pytest.approx(48e-9)
    assert lamp["dimmest"]["floor_lightness"] == pytest.approx(float(lightness_CIE1976(6 / 31_250 * 100)))
    lowest = (lamp["honestly"]["rise_s"] + lamp["honestly"]["fall_s"]) / 2 * 4000
    assert lamp["honestly"]["lowest_honest_lightness"] == pytest.approx(
        float(lightness_CIE1976(lowest * 100))
    )
    assert lamp["honestly"]["honest_ratio"] == pytest.approx(1 / lowest)


def test_honest_ratio_against_the_circuit() -> None:
    """1530 : 1 by ngspice, in which samples of the transistor differ by a quarter: hardware_notes/lighting.md."""
    honest = told()["glare shield"]["honestly"]
    assert honest["honest_ratio"] == pytest.approx(1530, rel=0.05)
    assert honest["rise_s"] == pytest.approx(203e-9 / 0.8, rel=0.12)
    assert honest["honest_ratio_of_driver"] == pytest.approx(1 / (43e-9 * 4000))


def test_load_and_wire() -> None:
    """Ohm's law; the line through the three readings; AWG 22 by AC 43.13-1B, table 11-9: 16.2 ohm per 1000 ft at most."""
    lamp = told()["glare shield"]
    amperes = lamp["load"]["amperes"]
    assert amperes["12"] == pytest.approx(0.320, abs=0.002) and amperes["10"] == pytest.approx(
        0.114, abs=0.002
    )
    assert amperes["14.2"] / amperes["12"] == pytest.approx(1.7, abs=0.02)  # common practice, no source
    ohms = 4 / 0.3048 / 1000 * 16.2
    assert lamp["wire"]["ohms"] == pytest.approx(ohms, rel=1e-3)
    assert lamp["wire"]["drop_v"] == pytest.approx(ohms * amperes["14"], rel=1e-3)
    assert lamp["wire"]["heat_w"] == pytest.approx(ohms * amperes["14"] ** 2, rel=1e-3)
    assert (lamp["fuse"]["fuse_a"], lamp["fuse"]["largest_fuse_a"]) == (2, 5)
    # lamp_protection.cir by ngspice: 2.6 A2s in a load dump, with the wire and the transistor in the way
    assert lamp["fuse"]["outlives_a"] == pytest.approx(math.sqrt(2.6), rel=0.07)
    assert lamp["fuse"]["holds_a"] == 1
    assert lamp["driver"]["conduction_w"] == pytest.approx(amperes["14"] ** 2 * 0.05)
    assert lamp["kept steady"]["factor_with_alternator"] == pytest.approx((12 - 8.9) / (14.2 - 8.9), rel=0.01)
    assert lamp["dimmable"]["dimmable"] == "yes"
    # full is 0.585 as long, the floor still 6 steps
    steady = lamp["kept steady"]
    assert steady["commanded_ratio_with_alternator"] == pytest.approx(
        31_250 * steady["factor_with_alternator"] / 6
    )


def test_noise() -> None:
    """The fundamental of half a rectangle: 2/pi of the current (any textbook); 20 dB a decade more between the edges' corners."""
    lamp = told()["glare shield"]
    amperes = lamp["load"]["amperes"]["14"]
    assert lamp["headset"]["fundamental_a"] == pytest.approx(amperes * 2 / math.pi, rel=1e-3)
    assert (lamp["headset"]["tones_in_voice_band"], lamp["headset"]["tones_below_6_khz"]) == (0, 1)
    airband = lamp["radio"]["airband"]
    rise, fall = lamp["honestly"]["driver_rise_s"], lamp["honestly"]["driver_fall_s"]
    n = math.ceil(117.975e6 / 4000)
    peak = amperes / (math.pi * n) * (1 / (math.pi * 4000 * n * rise) + 1 / (math.pi * 4000 * n * fall))
    assert airband["this_driver"]["largest_line_dbua"] == pytest.approx(
        20 * math.log10(peak / math.sqrt(2) / 1e-6), abs=0.01
    )
    # lamp_driver.cir by ngspice, 118 to 137 MHz, the current in Q101: 19.5 dB more behind two metres, 24 dB behind 0.1 m
    assert -25 < airband["gate_driver"]["quieter_db"] < -15
    assert airband["slow_edges"]["quieter_db"] > 20
    assert airband["slow_edges"]["honest_ratio"] < lamp["honestly"]["honest_ratio"] / 10


def test_bus_output() -> None:
    """One stage: V tanh(T/4RC) at half duty; settled to 1 % after RC ln 100; 1.5 kohm behind 100 ohm."""
    line = told()["bus output"]
    rc = 10e3 * 470e-9
    assert line["filter"]["ripple_v"] == pytest.approx(
        14 * 1500 / 1600 * math.tanh(1 / 20_000 / 4 / rc), rel=1e-3
    )
    assert line["range"]["step_v"] == pytest.approx(
        14 * 1500 / 1600 / 6250
    )  # 6250 pulse widths, fewer than levels
    assert line["filter"]["settling_s"] == pytest.approx(rc * math.log(100), rel=1e-6)
    assert line["range"]["highest_v"] == pytest.approx(14 * 1500 / 1600)
    assert line["load"]["error_without"] == pytest.approx(1600 / 1500 - 1)
    assert line["load"]["error_with_twice"] == pytest.approx(1600 / 1500 * 750 / 850 - 1)


def test_lines() -> None:
    request, daylight, knob = (told()[name] for name in ("dim request", "daylight", "knob on GP27"))
    assert request["states"]["dead_asks"] is False
    assert 0 < request["follows"]["off_below_lightness"] < request["follows"]["on_above_lightness"] < 8
    assert daylight["decides"]["day_above"]["signal"] == pytest.approx(1.65)
    assert knob["faults"]["tells_faults"] and knob["travel"]["lowest"] < knob["travel"]["low"]


EDITS = {
    "a request that asks while the box is dead": ('off_below = "5 %"\n', 'off_below = "5 %"\nactive = "low"\n', "dim request", "states", "it asks to dim"),
    "a low frequency": ('frequency = "4 kHz"', 'frequency = "1.5 kHz"', "glare shield", "eye", "low risk"),
    "tones where speech is": ('frequency = "4 kHz"', 'frequency = "1.5 kHz"', "glare shield", "headset", "2 tones below 3400 Hz"),
    "a lamp with a regulator inside": ('["10 V", "114 mA"], ["12 V", "320 mA"], ["14 V", "527 mA"]', '["10 V", "300 mA"], ["12 V", "300 mA"], ["14 V", "301 mA"]', "glare shield", "dimmable", "perhaps: .*linear regulator"),
    "a lamp with a switching regulator": ('["10 V", "114 mA"], ["12 V", "320 mA"], ["14 V", "527 mA"]', '["10 V", "360 mA"], ["12 V", "300 mA"], ["14 V", "257 mA"]', "glare shield", "dimmable", "no: .*switching regulator"),
    "no load": ('load = { power = "2.4 W", at = "12 V" }\n', "", "map light", "load", "not stated: .*10, 12 and 14 V"),
    "a load nobody has read": ('name = "hull console"', 'name = "hull"', "map light", "dimmable", "perhaps: .*10, 12 and 14 V"),
    "a curve that stands still": ('curve = "lightness"', 'curve = { gamma = 3 }', "glare shield", "evenness", "no brighter at \\d+ of 1024 levels, from"),
    "a plain knob": ("knob = 27", 'knob = { pin = 27, ends = "0 ohm" }', "knob on GP27", "faults", "cannot be told"),
    "a display by day": ('by_day = "100 %"', 'by_day = "90 %"', "display", "states", "by day 90 %, unless its knob is turned"),
    "a display that no knob dims by day": ('by_day = "100 %"', 'by_day = "90 %"\noverride = false', "display", "states", "by day 90 %, however"),
}  # fmt: skip


@pytest.mark.parametrize("old, new, name, topic, pattern", EDITS.values(), ids=EDITS)
def test_other_boxes(tmp_path: Path, old: str, new: str, name: str, topic: str, pattern: str) -> None:
    text = DEMO.read_text()
    assert old in text
    path = tmp_path / "box.toml"
    path.write_text(text.replace(old, new).replace('compensate = { input = "bus", at = "12 V" }\n', ""))
    reports = report(build(read_box(path)), [name], pwm.CHIPS["rp2040"])
    (fact,) = [fact for fact in reports[0].facts if fact.topic == topic]
    assert re.search(pattern, fact.says), fact.says


MISUSED = {
    "no such lamp": (["lamps", str(DEMO), "strobe"], 2, 'no light or line "strobe"; there is: glare shield'),
    "nearly a lamp": (["lamps", str(DEMO), "glare sheild"], 2, 'did you mean "glare shield"?'),
    "no such board": (
        ["lamps", str(DEMO), "--board", "rp9"],
        2,
        "no board this knows; there is: rp2040, rp2350",
    ),
    "no such file": (["lamps", "nowhere.toml"], 2, "cannot be read"),
    "no picture": (["lamps", str(DEMO), "--plot", "lamps.txt"], 2, "no picture can be written there"),
}


@pytest.mark.parametrize("words, code, says", MISUSED.values(), ids=MISUSED)
def test_misuse(words: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == code
    assert says in capsys.readouterr().err


def test_picture_and_screen(tmp_path: Path) -> None:
    plot = tmp_path / "lamps.png"
    done = gaugelight("lamps", str(DEMO), "map light", "--plot", str(plot))
    assert done.returncode == 0 and plot.read_bytes().startswith(b"\x89PNG")
    lines = done.stdout.splitlines()
    assert lines[0] == "map light" and len(lines) < 30
    assert np.all([len(line) <= 200 for line in lines])
