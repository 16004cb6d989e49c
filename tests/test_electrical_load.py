"""The electrical load table: each feed at three voltages, from the box file's lamps, the netlists and what the board takes, with fuse and wire."""

import re
import shutil
import tomllib
from collections.abc import Callable
from functools import cache
from math import sqrt
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.light_said import dim
from gaugelight.lights import Lamp
from gaugelight.loads import FUSE_HELD, HELD_VOLTS, amperes
from gaugelight.wires import largest_fuse, ohms_per_metre
from test_bring_up import PARTS
from test_netlists import DEMO, quantity
from test_output_circuits import run, table
from test_protection import NOTES, OPEN, spice

PAGE = (NOTES / "electrical_load.md").read_text()
pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)
VOLTS = (10.5, 12.0, 14.0)
Current = Callable[[float, bool], float]  # mA at a bus voltage, typical or worst

# mA at 3.3 V, typical and at most: data sheets, from memory
AT_3_3 = {"A1": (30.0, 60.0), "U29": (10.0, 30.0), "U1, U2": (0.3, 0.6)}
BOARD = (0.85, 0.75)  # what A1's own regulator and U5 make of what they take (data sheets, from memory)
U14 = (1.0, 2.5)  # mA (data sheets of its kind, from memory)
TRANSMITTER = (12.0, 22.0)  # mA: half scale; beyond NAMUR NE 43's failure signal of 21 mA
PRESSURE_SENDER = (7.0, 10.0)  # mA, one of 0.5 to 4.5 V (common practice, no source)
NIGHT_KNOB, NIGHT_BUS = 50.0, 5.0  # %, V of the lighting bus


@cache
def demo() -> Build:
    return build(read_box(DEMO))


def at(volts: float) -> dict[str, float]:
    return {"bus": volts, "dump": volts}


@cache
def senders(worst: bool) -> float:
    """mA out of the sender rail: each sender where the netlist has it, or at 0 ohm and the rail at its highest."""
    values = dict.fromkeys(("sender1", "sender2", "sender3"), 0.1) | {"u6": 3.366} if worst else {}
    return sqrt(run("protection_box.cir", values)["@r91[p]"] / 4.7) * 1e3


def bus_output(volts: float, worst: bool) -> float:
    """mA into 1.5 kohm: at half, or at the 11 V that the demo asks for at most, where the bus has them (lighting.md)."""
    if not worst:
        return 11.0 / 2 / 1.5
    highest = {float(bus.split()[0]): float(row[0].split()[0]) for bus, row in table("bus").items()}
    return min(11.0, highest[min(highest, key=lambda bus: abs(bus - volts))]) / 1.5


def box(volts: float, worst: bool) -> float:
    """F1: what U5 turns down, and what hangs on IN."""
    said = run("protection_box.cir", at(volts))
    fed = said["v(vdd)"] * 1e3 * sum(1 / quantity(PARTS[name]["value"]) for name in ("R92", "R191", "R291"))
    fed += sum(pair[worst] for pair in AT_3_3.values())
    efficiency = BOARD[worst]
    five = (fed * 3.3 / efficiency / said["v(vsys)"]) + senders(worst)
    found = five * 5.0 / efficiency / said["v(in)"] + U14[worst]
    asking = run("dim_request.cir", at(volts) | ({"line": 650.0} if worst else {}))
    found += asking["(v(in)-v(e2))/22"] * 1e3 + sqrt(asking["@r133[p]"] / 4700) * 1e3
    found += bus_output(volts, worst)
    return found + (2 * run("alert_lamp.cir", at(volts))["@dlamp[id]"] * 1e3 if worst else 0.0)


def lamp(name: str) -> Current:
    def taken(volts: float, worst: bool) -> float:
        one = next(one for one in demo().box.lights.lamps if one.name == name)
        assert isinstance(one, Lamp) and one.load is not None
        full = amperes(one.load, volts) * 1e3
        place = NIGHT_BUS if name == "switch legends" else NIGHT_KNOB
        share = dim(demo(), name, [place], {"bus": volts})[0].dimmers[name].duty / 65535
        return full * (float(one.ceiling) / 100 if worst else share)

    return taken


def bypass(ohms: float) -> Current:
    """Nothing until it is thrown."""

    def taken(volts: float, worst: bool) -> float:
        if not worst:
            return 0.0
        with TemporaryDirectory() as place:
            values = {"bypass": 1.0, "bus": volts, "peak": volts}
            said = spice(Path(place), "lamp_protection.cir", values, {"Rlamp": ohms})
        return said["v(a1,b3)/9.69"] * 9.69 / ohms * 1e3

    return taken


def transmitters(volts: float, worst: bool) -> float:
    return 2 * TRANSMITTER[worst] + PRESSURE_SENDER[worst]


def low_fuel(volts: float, worst: bool) -> float:
    """Both tanks covered, or both low: the loops, the comparators, the lamps with their bases' currents."""
    said = run("low_fuel.cir", at(volts) | ({"float": OPEN} if worst else {}))
    lit = said["v(a0,a)/@rlamp[resistance]"] * 1e3 + (said["v(in)"] - 0.8) / 10 if worst else 0.0
    return 2 * (sqrt(said["@r301[p]"] / 1000) + sqrt(said["@r341[p]"] / 220)) * 1e3 + 2 * lit


FEEDS: dict[str, Current] = {
    "F1": box,
    "F2": transmitters,
    "F101": lamp("glare shield"),
    "F102": bypass(9.69),
    "F111": lamp("map light"),
    "F112": bypass(15.5),
    "F121": lamp("switch legends"),
    "F341": low_fuel,
}


def cells(name: str) -> list[str]:
    return [f"{FEEDS[name](volts, worst):.0f}" for volts in VOLTS for worst in (False, True)]


def test_every_fuse_is_a_feed() -> None:
    rows = table("feed", PAGE)
    assert {name.split()[0] for name in rows if re.match(r"F\d", name)} == set(FEEDS)
    assert set(FEEDS) == {name for name in PARTS if re.fullmatch(r"F\d+", name)}


@pytest.mark.parametrize("name", FEEDS)
def test_a_feed_of_the_page(name: str) -> None:
    """mA typical and worst at each voltage; its fuse is the parts table's and holds what there may be for ever."""
    row = next(row for words, row in table("feed", PAGE).items() if words.split()[0] == name)
    assert row[2:] == cells(name)
    fuse = PARTS[name]["value"]
    assert row[0] == fuse
    most = FEEDS[name](HELD_VOLTS, True) / 1e3
    assert most <= FUSE_HELD * float(fuse.split()[0]), most


def test_the_sums_of_the_page() -> None:
    """Of the rows as they stand; the bypasses are thrown for the lamps, not beside them, so they are left out."""
    rows = {words.split()[0]: row[2:] for words, row in table("feed", PAGE).items()}
    for column in range(6):
        total = sum(int(rows[name][column]) for name in FEEDS if name not in ("F102", "F112"))
        assert int(rows["all"][column]) == total
    assert "without F102 and F112" in PAGE


def test_the_wires_of_the_page_carry_their_fuses() -> None:
    """AWG as written; where the box file has the run, its gauge, and at the worst less than half a volt is lost, there and back."""
    gauges = {
        words.split()[0]: int(row[1]) for words, row in table("feed", PAGE).items() if re.match(r"F\d", words)
    }
    for name, gauge in gauges.items():
        assert largest_fuse(gauge) >= float(PARTS[name]["value"].split()[0])
    cables = {one["name"]: one for one in tomllib.loads(DEMO.read_text())["cable"]}
    for name, cable in {
        "F1": "supply",
        "F101": "glare shield feed",
        "F111": "map light feed",
        "F121": "switch legends feed",
    }.items():
        one = cables[cable]
        assert one["gauge"] == gauges[name]
        assert f"{float(one['fuse'].split()[0]):g} A" == PARTS[name]["value"]
        metres = float(one["length"].split()[0])
        assert FEEDS[name](14.0, True) / 1e3 * ohms_per_metre(gauges[name]) * 2 * metres < 0.5
    lamps = {one["name"]: one.get("fuse") for one in tomllib.loads(DEMO.read_text())["lamp"]}
    assert (lamps["glare shield"], lamps["map light"]) == (PARTS["F101"]["value"], PARTS["F111"]["value"])


def test_the_papers_say_no_less() -> None:
    """The demo's papers reckon the battery with what was measured of the box: it lies between typical and beyond the worst at 12 V."""
    papers = tomllib.loads((DEMO.parent / "amphibian.papers.toml").read_text())
    measured = float(papers["battery"]["box"].split()[0])
    assert box(12.0, False) < measured and box(12.0, True) < 1.25 * measured


if __name__ == "__main__":
    for name in FEEDS:
        print(name, cells(name))
    print(senders(False), senders(True))
