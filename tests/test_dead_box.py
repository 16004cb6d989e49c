"""One dead box: what each output does, the bypasses, the low fuel switches, and what is lost with each part, as dead_box.md says."""

import math
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import build
from test_netlists import DEMO
from test_bring_up import PARTS
from test_output_circuits import Values, as_written, run, table
from test_protection import NOTES, OPEN, OVERLOAD, RATINGS, TANK, TANK_AFTER_A_FAILURE, THROUGH, spice

PAGE = (NOTES / "dead_box.md").read_text()
needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)

# --- what each output does ---

LAMP, ALERT, LINE = "v(a1,b3)/9.69", "@dlamp[id]", "v(line)"
ALERT_OFF: Values = {"master": OPEN, "pin": 0.0, "output": OPEN}
OUTPUTS: dict[str, tuple[str, str, list[Values], list[Values]]] = (
    {  # netlist, what, processor dead, supply gone
        "glare shield": (
            "lamp_protection.cir",
            LAMP,
            [{"gate": 0.0, "peak": 14.2}],
            [{"gate": 0.0, "peak": 14.2}],
        ),
        "dim request": (
            "dim_request.cir",
            LINE,
            [{"pin": 0.0, "output": 60e3}, {"output": OPEN}],
            [{"master": OPEN, "pin": 0.0, "output": OPEN}],
        ),
        "bus output": ("bus_output.cir", "mean", [{"dead": OPEN}], [{"dead": OPEN, "master": OPEN}]),
        "warning lamp, caution lamp": (
            "alert_lamp.cir",
            ALERT,
            [{"pin": 0.0, "output": 60e3}, {"output": OPEN}],
            [ALERT_OFF],
        ),
        "needle (not in the demo)": (
            "needle.cir",
            "i(vcoil)",
            [{"duty": 0.0, "output": 60e3}],
            [{"duty": 0.0, "output": OPEN, "chip_on": 0.0}],
        ),
    }
)
SAME_AS = {"map light": "glare shield", "switch legends": "glare shield"}  # the same driver
ASLEEP = {"display"}  # told in words


@needs_ngspice
@pytest.mark.parametrize("name", OUTPUTS)
def test_an_output_with_nobody_driving_it(name: str) -> None:
    netlist, key, *states = OUTPUTS[name]
    row = table("output", PAGE)[name]
    for cell, cases in zip(row, states):
        for values in cases:
            found = abs(run(netlist, values)[key])
            assert cell == ("0 mA" if key != LINE and key != "mean" else "0.0 V")
            assert found < (1e-5 if cell.endswith("mA") else 0.01), values


def test_every_output_has_its_row() -> None:
    box = tomllib.loads(DEMO.read_text())
    lamps = {one["name"] for one in box["lamp"]}
    named = {word for name in table("output", PAGE) for word in name.split(", ")}
    assert named == lamps | {"dim request", "bus output", "display", "needle (not in the demo)"}
    for name, other in SAME_AS.items():
        assert table("output", PAGE)[name][:2] == table("output", PAGE)[other][:2]
    assert "**the last picture stands**" in table("output", PAGE)["display"][0]


def test_what_is_left_without_a_table() -> None:
    """The last column: what is in the image that a box runs where it has no other."""
    safe = Table(build(read_box(DEMO)).safe)
    follow = {one.name for one in safe.dimmers} | ({"dim request"} if safe.dim_request is not None else set())
    rows = table("output", PAGE)
    assert {name for name, row in rows.items() if row[3] == "follows the knob"} == follow
    assert not safe.inputs and not safe.alerts and not safe.needles


# --- bypass ---

FULL: Values = {"bus": 14.2, "peak": 14.2}


def lamp(values: Values, ohms: float) -> float:
    """mA through a lamp of LEDs and this resistance: the strip's, or the map light's."""
    with TemporaryDirectory() as place:
        said = spice(Path(place), "lamp_protection.cir", values, {"Rlamp": ohms})
    return said[LAMP] * 9.69 / ohms * 1e3


def test_the_map_lights_resistance_is_the_demos() -> None:
    """Three LEDs of 8.9 V together (common practice, no source): what is left at 12 V over its 0.2 A."""
    load = next(one["load"] for one in tomllib.loads(DEMO.read_text())["lamp"] if one["name"] == "map light")
    watts, volts = float(load["power"].split()[0]), float(load["at"].split()[0])
    assert (volts - 8.9) / (watts / volts) == pytest.approx(MAP_LIGHT)


STRIP, MAP_LIGHT = 9.69, 15.5


@needs_ngspice
@pytest.mark.parametrize("switch, ohms", [("S101", STRIP), ("S111", MAP_LIGHT)])
def test_the_bypass_in_the_notes(switch: str, ohms: float) -> None:
    row = next(row for name, row in table("thrown", PAGE).items() if name.startswith(switch))
    for volts, cell in zip((10.5, 14.2, 16.0), row):
        found = lamp({"bypass": 1.0, "bus": volts, "peak": volts}, ohms)
        assert as_written(found, cell.removesuffix(" mA"))
    share = lamp({"bypass": 1.0} | FULL, ohms) / lamp(FULL, ohms)
    assert as_written(100 * share, row[3].removesuffix(" %"))


# --- low fuel switch ---

LED = "v(a0,a)/@rlamp[resistance]"
INTO_TANK, IN_DUMP = "v(t30,s30)/@r309[resistance]*1000", "vecmax(v(t30,s30)/@r309[resistance]*1000)"
LOW: Values = {"float": OPEN}
STATES: dict[str, list[Values]] = {
    "covered": [{}],
    "low": [LOW],
    "its wire broken, or R309 open": [{"wire": OPEN}, {"stud": OPEN}],
    "its wire on the airframe": [{"ground": THROUGH}],
    "its wire on the bus": [{"chafe": THROUGH}],
    "R309 shorted": [{"stud": 0.01}],
    "D301 open, fuel low": [{"zener": OPEN} | LOW],
    "**LED open, fuel low**": [{"lamp": OPEN} | LOW],
    "**F341 blown, fuel low**": [{"fuse": OPEN} | LOW],
}


@needs_ngspice
@pytest.mark.parametrize("name", STATES)
def test_the_low_fuel_lamp_in_the_notes(name: str) -> None:
    row = table("case", PAGE)[name]
    for values in STATES[name]:
        for volts, cell in zip((10.5, 14.2, 16.0), row, strict=True):
            said = run("low_fuel.cir", values | {"bus": volts, "dump": volts})
            assert as_written(said[LED] * 1e3, cell), said[LED]
            assert (said[LED] > 5e-3) == (float(cell) > 0)


@needs_ngspice
def test_the_low_fuel_lamps_rows_are_all_held() -> None:
    assert set(table("case", PAGE)) == set(STATES)


def window(volts: float, values: Values) -> tuple[float, float, float]:
    """The loop and the window's edges as shares of the loop's supply."""
    said = run("low_fuel.cir", values | {"bus": volts, "dump": volts})
    return tuple(said[key] / said["v(v30)"] for key in ("v(f30)", "v(low)", "v(high)"))  # type: ignore[return-value]


@needs_ngspice
@pytest.mark.parametrize("volts", [8.0, 10.5, 16.0])
@pytest.mark.parametrize("stud", [2200 * 0.98, 2200.0, 2200 * 1.02])
def test_covered_lies_in_the_middle_of_the_window(volts: float, stud: float) -> None:
    """By Kirchhoff: stud over stud and two of 1.1 kohm; edges at a quarter and three quarters; so does it while the bus sags."""
    place, low, high = window(volts, {"stud": stud})
    assert place == pytest.approx(stud / (stud + 2200), abs=1e-3)
    assert low == pytest.approx(0.25, abs=1e-3) and high == pytest.approx(0.75, abs=1e-3)


def test_the_low_fuel_delay() -> None:
    """An RC from nothing to a quarter where it goes to half, or from half to three quarters where it goes to all: both RC ln 2."""
    delay = 470e3 * 10e-6 * math.log(2)
    assert delay == pytest.approx(3.26, abs=0.01)
    assert PARTS["R304"]["value"] == "470 kohm" and PARTS["C302"]["value"] == "10 uF"
    assert "470 kohm, 10 uF | 3.3 s" in PAGE and "about 3 s" in PAGE


INTO: dict[str, tuple[Values, dict[str, float | None], float]] = {
    "covered": ({}, {}, TANK),
    "the float's wires joined at the stud": ({"stud": 0.01}, {}, TANK),
    "D301 open, covered": ({"zener": OPEN}, {}, TANK_AFTER_A_FAILURE),
    "D301 open and the wires joined (two failures)": (
        {"zener": OPEN, "stud": 0.01},
        {},
        TANK_AFTER_A_FAILURE,
    ),
    "R302 shorted, the wires joined (two failures)": ({"stud": 0.01}, {"R302": 0.01}, TANK_AFTER_A_FAILURE),
    "**bus voltage on its own wire**": ({"chafe": THROUGH}, {}, TANK),
}


@needs_ngspice
@pytest.mark.parametrize("name", INTO)
def test_what_goes_into_the_tank_in_the_notes(name: str) -> None:
    values, parts, most = INTO[name]
    head = PAGE[PAGE.index("Into the tank, at 16 V") :]
    row = table("case", head)[name]
    with TemporaryDirectory() as place:
        said = spice(Path(place), "low_fuel.cir", values | {"bus": 16.0, "dump": 35.0}, parts)
    energy = 22e-9 * said["v(w30)"] ** 2 / 2 * 1e6
    for found, cell in zip((said[INTO_TANK], said[IN_DUMP], energy), row, strict=True):
        assert as_written(found, cell), found
    assert 0 < said[INTO_TANK] <= said[IN_DUMP] + 1e-6 < most
    assert energy < 50


@needs_ngspice
@pytest.mark.parametrize("name", STATES)
def test_no_part_of_the_low_fuel_switch_is_overloaded(name: str) -> None:
    """For ever at 16 V, and through a load dump; U31 stays below its 36 V."""
    for values in STATES[name]:
        said = run("low_fuel.cir", values | {"bus": 16.0, "dump": 35.0})
        for key, watts in said.items():
            if key.endswith("[p]"):
                assert watts < RATINGS[key[1:-3].upper()], key
        assert max(said["vecmax(v(vs))"], said["vecmax(v(out))"]) < 36
        assert said["vecmax((v(in)-v(v30))^2/1k)"] < OVERLOAD * RATINGS["R301"]


# --- what dies, what is lost, what remains ---

BOX = tomllib.loads(DEMO.read_text())


def names() -> list[str]:
    """Of all readings, the longest first."""
    return sorted((one["name"] for one in BOX["input"] + BOX["derived"]), key=len, reverse=True)


def with_them(lost: set[str]) -> set[str]:
    """These inputs, and the derived readings that need any of them."""
    for one in BOX["derived"]:
        margin = one.get("boil_margin", {})
        needs = {
            *one.get("sum", []),
            *one.get("difference", []),
            margin.get("temperature"),
            margin.get("pressure"),
        }
        if needs & lost:
            lost = lost | {one["name"]}
    return lost


def on_chip(chip: str) -> set[str]:
    return {one["name"] for one in BOX["input"] if str(one["pin"]).startswith(f"{chip}.")}


def on_rail() -> set[str]:
    return {one["name"] for one in BOX["input"] if one["circuit"].get("rail") == "sender rail"}


def on_connector(name: str) -> set[str]:
    used = set(BOX["connector"][name]["pins"].values())
    return {one["name"] for one in BOX["input"] if one["name"] in used}


SAFE = 20  # per cent
FROM_14_VOLTS = {"4-20 mA", "0.5-4.5 V"}
LOST: dict[str, set[str]] = {
    "U1": with_them(on_chip("aft")),
    "U2": with_them(on_chip("fore")),
    "U6, D95 or R91 open, Q1 shorted": with_them(on_rail()),
    "F2": with_them({one["name"] for one in BOX["input"] if one.get("sender") in FROM_14_VOLTS}),
    "J1 off": with_them(on_connector("J1")),
    "J4 off": with_them(on_connector("J4")),
}


@pytest.mark.parametrize("part", LOST)
def test_what_is_lost_with_a_part(part: str) -> None:
    """By the box file: which inputs hang on it, and what is made of them."""
    text, found = table("dies", PAGE)[part][0], set()
    for name in names():
        if re.search(rf"\b{name}\b", text):
            found.add(name)
            text = re.sub(rf"\b{name}\b", "", text)
    assert found == LOST[part]


@needs_ngspice
def test_a_lamps_gate_that_went_to_its_drain(tmp_path: Path) -> None:
    """The bus over R101 and the pin's own diode on the 3.3 V: chips are lost, as lighting.md and this page say; a tank is not."""
    text = (NOTES / "netlists" / "protection_box.cir").read_text()
    gone = f"Rgone bus gp15 {PARTS['R101']['value'].split()[0]}\nDgone gp15 vdd chip\n"
    for name, value in {
        "bus": 16,
        "dump": 16,
        "sender1": 0.1,
        "r191": 680,
        "r291": 680,
        "chips": 165,
    }.items():
        text, found = re.subn(rf"(?m)^(\.param {name}\s*=)\s*\S+", rf"\g<1> {value}", text)
        assert found == 1
    (tmp_path / "box.cir").write_text(text.replace(".model rectifier", gone + ".model rectifier", 1))
    command = ["ngspice", "-b", str(tmp_path / "box.cir")]
    printed = subprocess.run(command, capture_output=True, text=True, timeout=60).stdout
    volts, into_tank = (
        float(re.findall(rf"(?m)^{re.escape(name)} = (\S+)$", printed)[0])
        for name in ("v(vdd)", "v(w1)/@rs1[resistance]*1000")
    )
    assert volts > 7 and "gate gone too: as A1, U1, U2 and U29" in PAGE  # 7 V: an ADS1115's supply (SBAS444)
    assert f"a tank still gets {into_tank:.0f} mA" in (NOTES / "lighting.md").read_text() and into_tank < 25


@needs_ngspice
def test_a_short_behind_the_resistors_of_a_chips_supply(tmp_path: Path) -> None:
    """R341, and R148 that is its like: no fuse blows, so they bear it for ever."""
    heat = spice(tmp_path, "low_fuel.cir", {"bus": 16.0, "dump": 16.0}, {"RU31": 0.01})["@r341[p]"]
    assert f"{heat:.1f} W at 16 V" in PARTS["R148"]["why"] and heat < 0.75 * RATINGS["R341"]
    assert all(PARTS["R148"][key] == PARTS["R341"][key] for key in ("what", "value", "rating"))


def test_the_level_on_a_fault_is_the_demos() -> None:
    """What the page says of the strip without its knob and of the legends without U2."""
    lamps = {one.name: one for one in read_box(DEMO).lights.lamps}
    for name in ("glare shield", "switch legends"):
        assert lamps[name].on_fault == SAFE
    assert f"the strip goes to {SAFE} %" in PAGE and f"legends stand at {SAFE} %" in PAGE


def test_the_parts_the_page_names_are_in_the_table() -> None:
    named = set(re.findall(r"\b([A-Z]\d{1,3})(?![\d-])\b", PAGE))
    assert named <= set(PARTS), named - set(PARTS)
    for part in table("dies", PAGE):
        assert re.search(r"[A-Z]\d+|SDA", part)


def test_j6_in_the_notes_is_the_drawings() -> None:
    import runpy

    drawn = runpy.run_path(str(NOTES / "draw_schematic.py"))["J6"]
    rows = re.findall(r"(?m)^\| (\d+) \| ([^|]+) \| (\d*) \| ([^|]*) \|$", PAGE)
    assert {int(pin): use.strip() for row in rows for pin, use in (row[:2], row[2:]) if pin} == drawn
