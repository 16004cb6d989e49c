"""Every netlist of the hardware notes runs by itself; parts table, picture, netlists and demo box file say the same."""

import csv
import re
import runpy
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest

from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.harness.check_harness import problems_of_harness
from gaugelight.lights import Knob
from test_protection import NOTES, OPEN, THROUGH, spice

DEMO = Path(__file__).parent.parent / "host_tools" / "gaugelight" / "demo" / "amphibian.toml"
NETLISTS = sorted(path.name for path in (NOTES / "netlists").glob("*.cir"))

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)

UNITS = {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6, "pF": 1e-12, "nF": 1e-9, "uF": 1e-6, "V": 1.0}
SUFFIXES = {"": 1.0, "k": 1e3, "meg": 1e6, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}


def quantity(words: str) -> float:
    """A number and its unit, as the box file and parts.csv write it."""
    number, unit = words.split()
    return float(number) * UNITS[unit]


def spice_number(words: str) -> float:
    found = re.fullmatch(r"([\d.]+)([a-z]*)", words.lower())
    assert found, words
    return float(found[1]) * SUFFIXES[found[2]]


@pytest.fixture(scope="module")
def drawing() -> dict[str, Any]:
    """The tables of the drawing script."""
    return runpy.run_path(str(NOTES / "draw_schematic.py"))


@pytest.fixture(scope="module")
def values() -> dict[str, float]:
    """Of every resistor and capacitor of parts.csv, in ohm or farad."""
    with open(NOTES / "parts.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        assert len(row["designators"].split()) == int(row["how many"]), row
        assert row["why"] and row["what"], row
    named = [(name, row["value"]) for row in rows for name in row["designators"].split()]
    assert len(named) == len(dict(named)), "a designator stands twice"
    return {name: quantity(words) for name, words in named if re.fullmatch(r"[RCP]\d{2,3}", name)}


@pytest.fixture(scope="module")
def demo() -> dict[str, dict[str, Any]]:
    """The inputs of the demo box file by name."""
    return {entry["name"]: entry for entry in tomllib.loads(DEMO.read_text())["input"]}


@needs_ngspice
@pytest.mark.parametrize("netlist", NETLISTS)
def test_runs_by_itself(netlist: str) -> None:
    run = subprocess.run(
        ["ngspice", "-b", netlist], cwd=NOTES / "netlists", capture_output=True, text=True, timeout=120
    )
    assert re.search(r"(?m)^\S+ = -?\d\S+$", run.stdout), run.stdout + run.stderr
    assert not re.search(r"(?i)error|warning|unknown|nan", run.stdout + run.stderr), run.stdout + run.stderr


@pytest.mark.parametrize("netlist", NETLISTS)
def test_the_notes_name_it(netlist: str) -> None:
    pages = "".join(page.read_text() for page in NOTES.glob("*.md"))
    assert f"(netlists/{netlist})" in pages


# one value in one place, and the same everywhere else

NOT_AN_INPUT = {"R96", "R97", "C95", "C96"}  # the converters' bus and supplies
LIGHT_NETLISTS = {  # netlist: its .param that stand for a part
    "lamp_driver.cir": {"gate": "R101"},
    "lamp_protection.cir": {},
    "dim_request.cir": {},
    "bus_output.cir": {},
    "bus_input.cir": {"top": "R151"},
    "knob.cir": {"track": "P171"},
    "ambient.cir": {},
    "panel_switch.cir": {"top": "R181"},
}


FACE_NETLISTS: dict[str, dict[str, str]] = {
    "alert_lamp.cir": {},
    "needle.cir": {},
    "needle_movement.cir": {},
    "i2c.cir": {"pull": "R96"},
    "face_esd.cir": {},
}
LOW_FUEL_NETLISTS: dict[str, dict[str, str]] = {"low_fuel.cir": {"stud": "R309"}}
SCALED = {"R231", "R233", "R236"}  # in needle.cir: a value times what all three are off by
NOT_SIMULATED = {"R293", "C291", "C292"}  # R292 again; the display's supply


def sheet_of(name: str) -> str:
    """The inputs' designators have two digits, the lights' three and from 100 on, the face's from 200, the low fuel switches' from 300."""
    named = {"U14": "lights", "J3": "lights", "J4": "lights", "U29": "face", "J5": "face"}
    named |= dict.fromkeys(("U31", "U33", "J6", "J7"), "low fuel")
    digits = name.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    by_number = {"1": "lights", "2": "face", "3": "low fuel"}
    return named.get(name) or ("inputs" if len(digits) < 3 else by_number[digits[0]])


def of_sheet(values: dict[str, float], sheet: str) -> dict[str, float]:
    return {name: value for name, value in values.items() if sheet_of(name) == sheet}


def simulated(netlist: str, digits: str) -> dict[str, float]:
    """Of each resistor and capacitor with that many digits, where it has a plain value."""
    text = (NOTES / "netlists" / netlist).read_text()
    found = re.finditer(rf"(?m)^([RC]\d{{{digits}}})\s+\S+\s+\S+\s+([\d.]\S*)", text)
    return {match[1]: spice_number(match[2]) for match in found}


@pytest.mark.parametrize(
    "netlist",
    ["protection_box.cir", "protection_esd.cir", *LIGHT_NETLISTS, *FACE_NETLISTS, *LOW_FUEL_NETLISTS],
)
def test_a_netlist_has_the_values_of_the_parts_table(netlist: str, values: dict[str, float]) -> None:
    found = simulated(netlist, "2,3")
    assert found == {name: pytest.approx(values[name]) for name in found}
    if netlist == "protection_box.cir":
        assert set(of_sheet(values, "inputs")) - set(found) == NOT_AN_INPUT


def test_every_part_of_the_lights_is_simulated(values: dict[str, float]) -> None:
    """Channels 11 and 12 are channel 10 again, and the map light's bypass the glare shield's."""
    found = stated_in(LIGHT_NETLISTS, values)
    again = {f"{kind}{n}{part[3]}" for kind in "RC" for n in (11, 12) for part in ("R101", "R102")}
    again |= {"R113", "R114"}
    assert set(of_sheet(values, "lights")) <= found | again
    for name in again & set(values):
        assert values[name] == values[f"{name[0]}10{name[3]}"]


def test_every_part_of_the_face_is_simulated(values: dict[str, float]) -> None:
    """Channels 21 and 22 are channel 20 again, and 24 to 28 channel 18 of the lights."""
    found = stated_in(FACE_NETLISTS, values) | SCALED | NOT_SIMULATED
    again = {f"{part[0]}{n}{part[3]}": part for n in (21, 22) for part in values if part[1:3] == "20"}
    again |= {f"{part[0]}{n}{part[3]}": part for n in range(24, 29) for part in ("R181", "R182", "C181")}
    assert set(of_sheet(values, "face")) == {*again} | {name for name in found if sheet_of(name) == "face"}
    for name, other in again.items():
        assert values[name] == values[other]
    text = (NOTES / "netlists" / "needle.cir").read_text()
    for name in SCALED:
        stated = re.search(rf"(?m)^{name}\s+\S+\s+\S+\s+{{(\S+)\*scale}}", text)
        assert stated and spice_number(stated[1]) == values[name]


def test_every_part_of_the_low_fuel_switches_is_simulated(values: dict[str, float]) -> None:
    """Channels 32 and 33, the right tank's, are 30 and 31 again."""
    found = {name for name in stated_in(LOW_FUEL_NETLISTS, values) if sheet_of(name) == "low fuel"}
    again = {f"{name[0]}{int(name[1:3]) + 2}{name[3]}": name for name in found if name[1:3] in ("30", "31")}
    assert set(of_sheet(values, "low fuel")) == found | set(again)
    for name, other in again.items():
        assert values[name] == values[other]


def stated_in(netlists: dict[str, dict[str, str]], values: dict[str, float]) -> set[str]:
    """What of the parts table stands in these netlists, by itself or as a .param."""
    found: set[str] = set()
    for netlist, stand_ins in netlists.items():
        text = (NOTES / "netlists" / netlist).read_text()
        found |= set(simulated(netlist, "3"))
        for parameter, part in stand_ins.items():
            stated = re.search(rf"(?m)^\.param {parameter}\s*=\s*(\S+)", text)
            assert stated, (netlist, parameter)
            assert spice_number(stated[1]) == pytest.approx(values[part])
            found.add(part)
    return found


PICTURES = {
    "inputs": "reference_box.svg",
    "lights": "reference_box_light.svg",
    "face": "reference_box_face.svg",
    "low fuel": "reference_box_low_fuel.svg",
}
NOT_DRAWN = {  # by their designator: at the bus, or told of in words
    "inputs": {
        "F1",
        "F2",
        "U1",
        "U2",
        "A1",
        "J1",
        "J2",
        "JP22",
        "W1",
        "W2",
        *(f"X{n}" for n in range(1, 17)),
    },
    "lights": {"F101", "F111", "F121", "F102", "F112", "J3", "J4"},
    "face": {"U29", "J5"},
    "low fuel": {"F341", "U31", "U33", "J6", "J7"},
}


@pytest.mark.parametrize("sheet", PICTURES)
def test_the_picture_is_drawn_from_the_parts_table(
    sheet: str, values: dict[str, float], drawing: dict[str, Any]
) -> None:
    """Run draw_schematic.py again where this fails."""
    text = (NOTES / "pictures" / PICTURES[sheet]).read_text()
    written = re.findall(r"<text[^>]*>([^<]*)</text>", text)
    signs = {"Ω": "ohm", "kΩ": "kohm", "MΩ": "Mohm", "µF": "uF", "nF": "nF"}
    shown = {}
    for name, words in zip(written, written[1:]):
        if re.fullmatch(r"[RCP]\d{2,3}", name):
            number, sign = words.split()
            shown[name] = quantity(f"{number} {signs[sign]}")
    assert shown == {name: pytest.approx(value) for name, value in of_sheet(values, sheet).items()}
    missing = {name for name in drawing["parts"]() if sheet_of(name) == sheet and name not in written}
    assert missing <= NOT_DRAWN[sheet]
    if sheet == "inputs":
        for channel in drawing["CHANNELS"]:
            assert f"{channel.number}  {channel.name}: {channel.kind}" in written
        for pin, use in drawing["connector"]("J1").items():
            assert f"{pin:2d}  {use}" in written
    elif sheet == "lights":
        for lamp in drawing["LAMPS"]:
            assert f"{lamp.number}  {lamp.name}: lamp" in written and f"A1 GP{lamp.pin}" in written
            assert f"bus, fused by F{lamp.number}1" in written
        assert {"F102", "F112"} <= set(written)
    elif sheet == "low fuel":
        assert "bus, fused by F341" in written
        assert {f"J6-{pin}  {use}" for pin, use in drawing["J6"].items()} <= set(written)
    else:
        for lamp in drawing["ALERT_LAMPS"]:
            assert any(words.startswith(f"{lamp.number}  {lamp.name}: LED") for words in written)
            assert f"A1 GP{lamp.pin}" in written and lamp.colour in written
        for n, (name, _, pin) in drawing["FACE_PINS"].items():
            assert any(words.startswith(f"{n}  {name}: ") for words in written) and pin in written
    for connector, pins in {"lights": (("J3", 15), ("J4", 15)), "face": (("J5", 25),)}.get(sheet, ()):
        drawn = drawing["connector"](connector)
        assert {f"{connector}-{pin}  {use}" for pin, use in drawn.items()} <= set(written)
        assert sorted(drawn) == list(range(1, pins + 1))


def test_the_lights_are_the_demos(drawing: dict[str, Any], values: dict[str, float]) -> None:
    box = tomllib.loads(DEMO.read_text())
    for shows, lamps in ((False, drawing["LAMPS"]), (True, drawing["ALERT_LAMPS"])):
        assert {lamp.name: lamp.pin for lamp in lamps if lamp.name not in drawing["NOT_IN_THE_DEMO"]} == {
            one["name"]: one["pin"] for one in box["lamp"] if ("shows" in one) == shows
        }
    stated = {one["name"]: str(one["pin"]) for one in box["input"] + box["switch"]}
    stated |= {name.replace("_", " "): str(box[name]["pin"]) for name in ("dim_request", "bus_output")}
    stated |= {"knob": str(next(one["knob"] for one in box["lamp"] if "knob" in one))}
    for name, pin, _ in drawing["LIGHT_PINS"].values():
        assert stated[name] == pin
    for n, name in ((15, "lighting bus"), (16, "ambient light")):
        circuit = next(one["circuit"] for one in box["input"] if one["name"] == name)
        assert circuit["kind"] == {15: "divider", 16: "direct"}[n]
        assert values.get(f"R{n}5", 0) + values[f"R{n}6"] == quantity(circuit["protection"])
    assert values["R151"] == quantity(circuit_of(box, "lighting bus")["top"])
    assert values["R152"] == quantity(circuit_of(box, "lighting bus")["bottom"])
    output = box["bus_output"]
    assert values["R142"] == quantity(output["filter"]["resistor"])
    assert values["C142"] == pytest.approx(quantity(output["filter"]["capacitor"]))
    assert values["R147"] == quantity(output["series"])
    assert 3.3 * (1 + values["R144"] / values["R143"]) == pytest.approx(
        quantity(output["full_scale"]), rel=1e-3
    )


def test_the_switches_are_the_demos(drawing: dict[str, Any]) -> None:
    box = tomllib.loads(DEMO.read_text())
    pins = drawing["LIGHT_PINS"] | drawing["FACE_PINS"]
    drawn = {pins[n][0]: pins[n][1] for n in (18, *drawing["SWITCHES"])}
    drawn = {name: pin for name, pin in drawn.items() if name not in drawing["NOT_IN_THE_DEMO"]}
    assert drawn == {one["name"]: str(one["pin"]) for one in box["switch"]}
    assert all("on" not in one for one in box["switch"]), "drawn to ground"


def test_what_is_not_in_the_demo_can_be_added_to_it(drawing: dict[str, Any], tmp_path: Path) -> None:
    """The box file's tables of face.md: pins as drawn, and the demo with them in it is right, without a clash of pins."""
    found = re.search(r"(?s)```toml\n(.*?)```", (NOTES / "face.md").read_text())
    assert found
    added = tomllib.loads(found[1])
    pins = {name: int(pin) for name, pin, _ in drawing["FACE_PINS"].values()}
    assert [one["pin"] for one in added["needle"]] == [pins["needle"]]
    assert {one["name"]: one["pin"] for one in added["switch"]} == {"page": pins["page"]}
    assert {one["name"]: one["pin"] for one in added["lamp"]} == {
        lamp.name: lamp.pin for lamp in drawing["ALERT_LAMPS"] if lamp.name in drawing["NOT_IN_THE_DEMO"]
    }
    file = tmp_path / "hull.toml"
    text = DEMO.read_text().replace("[buttons]\n", '[buttons]\npage = "page"\n') + "\n" + found[1]
    for spare, use in (("needle plus", "fuel needle plus"), ("needle return", "fuel needle return")):
        text = text.replace(f'"spare: {spare}"', f'"{use}"')
    text = text.replace('"spare: ', '"').replace('"test return"\n', '"test return, page return"\n')
    file.write_text(text)
    box = read_box(file)
    assert [needle.name for needle in box.face.needles] == ["fuel needle"]
    assert problems_of_harness(box) == []
    build(box)


def circuit_of(box: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one["circuit"] for one in box["input"] if one["name"] == name)
    return found


def test_the_knob_is_the_box_files(values: dict[str, float]) -> None:
    """What the host takes a knob to be where the box file says no more."""
    assert values["R171"] + values["R172"] == values["R173"] == Knob(0).ends
    assert values["R174"] == Knob(0).pull_down


def test_the_channels_are_the_demos(
    drawing: dict[str, Any], values: dict[str, float], demo: dict[str, dict[str, Any]]
) -> None:
    lights = {"lighting bus", "ambient light"}  # on the second sheet
    assert {channel.name for channel in drawing["CHANNELS"]} | lights == set(demo)
    for channel in drawing["CHANNELS"]:
        entry, n = demo[channel.name], channel.number
        circuit = entry["circuit"]
        assert str(entry["pin"]) == channel.pin
        assert circuit["kind"] == channel.kind
        if channel.kind in ("pull-up", "shunt"):
            one, other = values[f"R{n}1"] + values[f"R{n}2"], values[f"R{n}3"] + values[f"R{n}4"]
            assert one * other / (one + other) == pytest.approx(quantity(circuit["resistor"]))
        if channel.kind == "divider":
            assert values[f"R{n}1"] == quantity(circuit["top"])
            assert values[f"R{n}2"] == quantity(circuit["bottom"])
        if "protection" in circuit:
            before = values.get(f"R{n}5", 0.0) + values[f"R{n}6"]
            assert before == pytest.approx(quantity(circuit["protection"]))


NOMINAL = {
    "a pull-up": ("pull_up.cir", "resistor", "left fuel", "resistor"),
    "its rail": ("pull_up.cir", "rail", "sender rail", "nominal"),
    "a shunt": ("shunt.cir", "shunt", "reserve line", "resistor"),
    "a divider's top": ("divider.cir", "top", "coolant pressure", "top"),
    "a divider's bottom": ("divider.cir", "bottom", "coolant pressure", "bottom"),
    "a rail on a pin": ("direct.cir", "sender", "sender rail", "nominal"),
}


@pytest.mark.parametrize("netlist, parameter, name, key", NOMINAL.values(), ids=NOMINAL)
def test_the_nominal_values_are_the_demos(
    netlist: str, parameter: str, name: str, key: str, demo: dict[str, dict[str, Any]]
) -> None:
    found = re.search(rf"(?m)^\.param {parameter}\s*=\s*(\S+)", (NOTES / "netlists" / netlist).read_text())
    assert found
    assert spice_number(found[1]) == quantity((demo[name] | demo[name]["circuit"])[key])


# the connector

ROW = 13  # of a 25-way D-sub: pins 1 to 13 above, 14 to 25 below, 14 between 1 and 2


def neighbours(pin: int) -> set[int]:
    upper, lower = set(range(1, ROW + 1)), set(range(ROW + 1, 26))
    if pin in upper:
        return {pin - 1, pin + 1} & upper | {pin + ROW - 1, pin + ROW} & lower
    return {pin - 1, pin + 1} & lower | {pin - ROW, pin - ROW + 1}


def test_neighbours() -> None:
    assert neighbours(1) == {2, 14}
    assert neighbours(5) == {4, 6, 17, 18}
    assert neighbours(13) == {12, 25}
    assert neighbours(25) == {24, 12, 13}


def between_guards(pins: dict[int, str], name: str) -> bool:
    """Whether a bent pin or a wet connector joins what belongs to a name to ground, or to its own other wires, and to nothing else."""
    own = {pin for pin, use in pins.items() if use == name or use.startswith(f"{name} ")}
    assert len(own) == 2, name
    return all(pins[other] == "guard" for pin in own for other in neighbours(pin) - own)


def test_a_tanks_pins_lie_between_guards(drawing: dict[str, Any]) -> None:
    pins = drawing["connector"]("J1")
    assert between_guards(pins, "left fuel") and between_guards(pins, "right fuel")
    assert not between_guards(pins | {2: "-"}, "left fuel")
    assert "bus" not in pins.values()


def test_what_matters_in_j5_lies_between_guards(drawing: dict[str, Any]) -> None:
    pins = drawing["connector"]("J5")
    for name in ("warning lamp", "caution lamp", "needle flag"):
        assert between_guards(pins, name)
    assert between_guards(
        {pin: "-" if use.startswith("needle flag") else use for pin, use in pins.items()}, "needle"
    )


def test_the_floats_pins_lie_between_guards(drawing: dict[str, Any]) -> None:
    """A 9-way D-sub: 1 to 5 above, 6 to 9 below, 6 between 1 and 2."""
    pins = drawing["J6"]
    assert sorted(pins) == list(range(1, 10))
    beside = {
        pin: {pin - 1, pin + 1} & set(range(1, 6)) | {pin + 4, pin + 5} & set(range(6, 10))
        for pin in range(1, 6)
    }
    beside |= {pin: {pin - 1, pin + 1} & set(range(6, 10)) | {pin - 5, pin - 4} for pin in range(6, 10)}
    for name in ("left float", "right float"):
        own = {pin for pin, use in pins.items() if use.startswith(name)}
        assert {pins[other] for pin in own for other in beside[pin] - own} == {"guard"}


# what the comments of the newer netlists promise


@needs_ngspice
@pytest.mark.parametrize("adc", [500e3, 710e3, 1e6])
def test_an_open_thermocouple_leaves_the_range(adc: float, tmp_path: Path) -> None:
    said = spice(tmp_path, "millivolt.cir", {"wire": OPEN, "adc": adc}, {})
    assert said["v(pin_plus)-v(pin_minus)"] > 0.256


MILLIVOLT = {
    "as it stands": ({}, 0.0035),
    "without protection": ({"protection": 1e-3}, 0.0008),
}


@needs_ngspice
@pytest.mark.parametrize("values, most", MILLIVOLT.values(), ids=MILLIVOLT)
def test_what_a_thermocouples_circuit_costs(values: dict[str, float], most: float, tmp_path: Path) -> None:
    """Of 19.644 mV: protection over the pins' own resistance, and the resistor that gives an open wire away."""
    said = spice(tmp_path, "millivolt.cir", values, {})
    assert said["v(pin_plus)-v(pin_minus)"] == pytest.approx(19.644e-3, rel=most)
    assert said["v(pin_plus)-v(pin_minus)"] != pytest.approx(19.644e-3, rel=most / 10)


@needs_ngspice
def test_a_grounded_thermocouple_leaves_the_pins_range(tmp_path: Path) -> None:
    """Insulated it stays at half the supply; an ADS1115 takes nothing below ground (SBAS444)."""
    insulated, grounded = (spice(tmp_path, "millivolt.cir", {"grounded": ohm}, {}) for ohm in (OPEN, THROUGH))
    assert 1.5 < insulated["v(pin_minus)"] < insulated["v(pin_plus)"] < 1.8
    assert grounded["v(pin_minus)"] < 0


RATIO = {
    "as it stands": {},
    "supply low": {"supply": 4.75},
    "supply high": {"supply": 5.25},
    "protected": {"protection": 9400},
    "a poor converter": {"adc": 3e6, "protection": 9400},
}


@needs_ngspice
@pytest.mark.parametrize("values", RATIO.values(), ids=RATIO)
def test_a_ratiometric_sender_does_not_care(values: dict[str, float], tmp_path: Path) -> None:
    """About its supply, the protection or the converter; its 10 ohm over the divider's 25 kohm are 0.04 %."""
    said = spice(tmp_path, "supply_ratio.cir", values, {})
    assert said["v(pin)/v(supply_pin)"] == pytest.approx(0.5 * (1 - 10 / 25e3), rel=2e-5)


@needs_ngspice
def test_a_drop_in_the_senders_supply_wire_is_not_seen(tmp_path: Path) -> None:
    """5 mA over 1 ohm of 5 V: 0.1 % low."""
    good, poor = (spice(tmp_path, "supply_ratio.cir", {"supply_wire": ohm}, {}) for ohm in (1e-3, 1.0))
    name = "v(pin)/v(supply_pin)"
    assert poor[name] / good[name] == pytest.approx(0.999, abs=2e-5)
