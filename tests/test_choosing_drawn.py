"""The circuit's picture: every part with its value, nothing on anything else, ratings by Ohm's law, ngspice and the parts table."""

import csv
import xml.etree.ElementTree as ET
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.boxfile import read_box
from gaugelight.choosing.circuit_drawn import (
    FILLED,
    RATINGS,
    Circle,
    Drawing,
    Ends,
    Line,
    Outline,
    Words,
    draw,
    drawing,
    first_protection,
    heat,
    rating,
    svg,
)
from gaugelight.circuits import Circuit, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import Ads1115, ChipInput, Converter, OnChip
from test_circuits import needs_ngspice, spice

ROOT = Path(__file__).parent.parent
CHIP = Ads1115("aft", 0x48)
SINGLE, PAIR, PIN = ChipInput(CHIP, "0", 4.096), ChipInput(CHIP, "0-1", 0.256), OnChip(28)
J1 = ("J1-1", "J1-14")

# circuit, converter, ends, supply: words that must stand there, words that must not
CASES: dict[str, tuple[Circuit, Converter, Ends, float, list[str], list[str]]] = {
    "pull-up of a tank": (
        PullUp(150, "sender rail", protection=9400, tolerance=0.001), SINGLE,
        Ends("left fuel", "float, 0 to 90 ohm", "aft.0", J1, "AWG 22, 3.2 m", 1, True, True), 3.3,
        ["left fuel: pull-up", "R11 to R14", "4 x 150 \u03a9", "0.1 %, 0.6 W each", "R15", "R16", "4.7 k\u03a9", "1 %, 0.25 W", "D1", "C11",
         "22 nF", "C12", "100 nF", "sender rail", "3.3 V", "clamp rail", "J1-1", "J1-14", "aft.0", "ADS1115", "AWG 22, 3.2 m", "CAUTION, fuel tank"],
        ["no protection", "RP2040"],
    ),
    "pull-up, one resistor, series, known wire": (
        PullUp(150, "rail", 22, 0.8, 4700), SINGLE, Ends("right fuel", "float", "aft.1", J1), 3.3,
        ["R1", "150 \u03a9", "1 %, 2 W", "R7", "22 \u03a9", "0.8 \u03a9 reckoned", "2.35 k\u03a9"], ["R11", "CAUTION, fuel tank", "as one"],
    ),
    "pull-up to the reference, bare": (
        PullUp(10e3, "reference"), PIN, Ends("box temperature", "thermistor", "GP26", J1), 3.3,
        ["converter's reference", "10 k\u03a9", "RP2040", "GP26", "CAUTION: no protection"], ["clamp rail", "\u00b1"],
    ),
    "loop on two wires": (
        Shunt(150, 9400, 0.001), SINGLE, Ends("hydraulic", "4-20 mA", "fore.1", ("J1-8", "J1-21"), channel=6, quartet=True), 3.3,
        ["R61 to R64", "mA", "supply, fused", "J1-8", "R65", "R66"], ["J1-21", "return", "airframe"],
    ),
    "loop on three wires": (
        Shunt(120, 9400), SINGLE, Ends("hydraulic", "4-20 mA", "fore.1", ("J1-8", "J1-21"), loop_wires=3), 3.3,
        ["120 \u03a9", "1 %, 3 W", "J1-21", "return, its own wire"], ["as one"],
    ),
    "divider, ratiometric": (
        Divider(10e3, 15e3, "five volts", 2.0, 4700, 0.001), PIN, Ends("coolant pressure", "0.5-4.5 V", "GP28", ("J1-9", "J1-22"), channel=7), 5.0,
        ["R71", "10 k\u03a9", "R72", "15 k\u03a9", "0.1 %, 0.25 W", "R76", "5 V from the box", "2 \u03a9 reckoned"], ["R75", "supply, fused"],
    ),
    "through the airframe": (
        PullUp(150, "rail", protection=9400), SINGLE, Ends("coolant temperature", "sender", "aft.2", ("J1-5",)), 3.3,
        ["airframe", "Returned through the airframe"], ["return, its own wire"],
    ),
    "a voltage through the airframe": (
        Divider(10e3, 15e3, protection=4700), SINGLE, Ends("pressure", "sender", "aft.2", ("J1-5",)), 3.3, ["airframe"], ["its own wire"],
    ),
    "a rail in the box": (
        Direct(protection=9400), SINGLE, Ends("sender rail", "SENDER RAIL", "aft.3", channel=4), 3.3,
        ["SENDER RAIL", "R45", "R46", "D4", "C42"], ["C41", "in the box", "return"],
    ),
    "direct, pulled down": (
        Direct(protection=9400, pull_down=100e3), SINGLE, Ends("ambient light", "light sensor", "fore.2", ("J4-14", "J4-6")), 3.3,
        ["R3", "100 k\u03a9", "V"], [],
    ),
    "thermocouple": (
        Millivolt(6.0, 470), PAIR, Ends("left head", "thermocouple J", "hot.0-1", ("J6-1", "J6-2"), "extension wire"), 3.3,
        ["470 \u03a9", "2.2 M\u03a9", "10 k\u03a9", "J6-1 +", "J6-2 -", "hot.0-1 +", "hot.0-1 -", "\u00b10.256 V", "6 \u03a9 reckoned"], ["22 nF", "return"],
    ),
    "millivolts, bare": (
        Millivolt(), PAIR, Ends("current", "shunt", "slow.0-1"), 3.3, ["CAUTION: no protection", "2.2 M\u03a9"], ["clamp rail"],
    ),
}  # fmt: skip


def texts(picture: Drawing) -> list[str]:
    return [shape.text for shape in picture.shapes if isinstance(shape, Words)]


@pytest.mark.parametrize("circuit, converter, ends, supply, there, missing", CASES.values(), ids=CASES)
def test_every_part_has_its_value(
    circuit: Circuit, converter: Converter, ends: Ends, supply: float, there: list[str], missing: list[str]
) -> None:
    said = texts(drawing(circuit, converter, ends, supply))
    whole = "\n".join(said)
    for words in there:
        assert words in said or len(words) > 14 and words in " ".join(said), words
    for words in missing:
        assert words not in whole, words
    assert "Advisory, never a sole reference." in " ".join(said)


# --- nothing on anything else ---

Box = tuple[float, float, float, float]


def segments(picture: Drawing) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    found = []
    for shape in picture.shapes:
        if isinstance(shape, (Line, Outline)):
            points = [*shape.points, shape.points[0]] if isinstance(shape, Outline) else list(shape.points)
            found += list(zip(points, points[1:]))
    return found


def crosses(box: Box, one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Whether a stroke runs through a box: by clipping it there (Liang and Barsky)."""
    left, top, right, bottom = box
    (x0, y0), (x1, y1) = one, other
    low, high = 0.0, 1.0
    for p, q in ((x0 - x1, x0 - left), (x1 - x0, right - x0), (y0 - y1, y0 - top), (y1 - y0, bottom - y0)):
        if p == 0:
            if q < 0:
                return False
            continue
        low, high = (max(low, q / p), high) if p < 0 else (low, min(high, q / p))
    return low < high


def meetings(picture: Drawing) -> list[str]:
    words = [shape for shape in picture.shapes if isinstance(shape, Words)]
    found = []
    for a, b in combinations(words, 2):
        if a.box[0] < b.box[2] and b.box[0] < a.box[2] and a.box[1] < b.box[3] and b.box[1] < a.box[3]:
            found.append(f"{a.text} on {b.text}")
    strokes = segments(picture)
    for one in words:
        found += [f"a stroke through {one.text}" for stroke in strokes if crosses(one.box, *stroke)]
        found += [
            f"a circle on {one.text}"
            for shape in picture.shapes
            if isinstance(shape, Circle)
            and one.box[0] - shape.radius < shape.centre[0] < one.box[2] + shape.radius
            and one.box[1] - shape.radius < shape.centre[1] < one.box[3] + shape.radius
        ]
        if not (
            0 <= one.box[0]
            and 0 <= one.box[1]
            and one.box[2] <= picture.width
            and one.box[3] <= picture.height
        ):
            found.append(f"{one.text} leaves the sheet")
    return found


@pytest.mark.parametrize("circuit, converter, ends, supply", [case[:4] for case in CASES.values()], ids=CASES)
def test_nothing_meets(circuit: Circuit, converter: Converter, ends: Ends, supply: float) -> None:
    assert meetings(drawing(circuit, converter, ends, supply)) == []


def test_what_meets_is_found() -> None:
    """The test above can fail: words on words, through a stroke, on a circle, off the sheet."""
    words = Words((20, 20), "words")
    for shape in (
        Words((30, 24), "others"),
        Line(((0, 18), (90, 18))),
        Circle((30, 18), 3),
        Words((80, 20), "far out"),
    ):
        assert len(meetings(Drawing(90, 40, (words, shape)))) == 1


letters = st.text(
    st.characters(codec="ascii", categories=["L", "N", "Zs", "P", "S"]), min_size=1, max_size=40
)
ohms = st.floats(0.1, 2e6)
maybe = st.one_of(st.just(0.0), ohms)
circuits = st.one_of(
    st.builds(PullUp, ohms, st.sampled_from(["rail", "a rail of a very long name", "reference"]), maybe, maybe, maybe, st.sampled_from([None, 0.001])),
    st.builds(Shunt, ohms, maybe),
    st.builds(Divider, ohms, ohms, st.sampled_from([None, "five volts"]), maybe, maybe),
    st.builds(Direct, st.none(), maybe, maybe, st.one_of(st.none(), ohms)),
    st.builds(Millivolt, maybe, maybe),
)  # fmt: skip
ends_of = st.builds(
    Ends, letters, letters, st.sampled_from(["aft.0", "GP28", "aft.0-1", "converter.3"]),
    st.sampled_from([(), ("J1-1",), J1, ("J12-25", "J12-13")]), st.one_of(st.just(""), letters), st.one_of(st.none(), st.integers(1, 99)),
    st.booleans(), st.booleans(), st.sampled_from([2, 3]),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(circuits, st.sampled_from([SINGLE, PIN]), ends_of)
def test_nothing_ever_meets(circuit: Circuit, converter: Converter, ends: Ends) -> None:
    """And it is a well-formed SVG, whatever the words."""
    picture = drawing(circuit, PAIR if isinstance(circuit, Millivolt) else converter, ends)
    assert meetings(picture) == []
    root = ET.fromstring(svg(picture, ends.name))
    assert [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")] == texts(picture)


def test_letters_are_no_wider_than_reckoned() -> None:
    """DejaVu Sans, by matplotlib's own reading of that font: each line of the pictures, at its size."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextToPath

    drawn = [
        drawing(circuit, converter, ends, supply) for circuit, converter, ends, supply, _, _ in CASES.values()
    ]
    reckoned = {
        (shape.text, shape.bold): (shape.box[2] - shape.box[0]) / shape.size
        for picture in drawn
        for shape in picture.shapes
        if isinstance(shape, Words)
    }
    font = {
        bold: FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=100)
        for bold in (False, True)
    }
    for (text, bold), width in reckoned.items():
        theirs = TextToPath().get_text_width_height_descent(text, font[bold], False)[0] / 100
        assert 0.7 * width <= theirs <= width, text


def test_black_on_white_and_fits_the_paper() -> None:
    """A4 lying on its side is 297 mm wide (ISO 216)."""
    for circuit, converter, ends, supply, _, _ in CASES.values():
        text = draw(circuit, converter, ends, supply)
        root = ET.fromstring(text)
        assert (
            float(root.attrib["width"].removesuffix("mm")) <= 277
            and float(root.attrib["height"].removesuffix("mm")) <= 190
        )
        colours = {one.attrib[key] for one in root.iter() for key in ("fill", "stroke") if key in one.attrib}
        assert colours <= {"#000000", "#ffffff", "none"}
        assert "nan" not in text.lower().replace("nano", "")


# --- ratings ---

# Ohm's law by hand, the wire at 16 V: 16 V over 150 ohm are 1.71 W (hardware_notes/reference_box.md says 1.7 W of the shunt)
HEATS: dict[str, tuple[Circuit, dict[str, float]]] = {
    "shunt": (Shunt(150, 9400), {"resistor": 1.7067, "protection": 0.05447}),
    "pull-up": (PullUp(150, "rail"), {"resistor": 1.7067}),
    "pull-up, series": (PullUp(150, "rail", 22), {"resistor": 1.2980, "series": 0.19037}),
    "divider": (
        Divider(10e3, 15e3, protection=4700),
        {"top": 0.0256, "bottom": 16 / 15e3, "protection": 0.0},
    ),
    "direct": (Direct(pull_down=1e5), {"pull_down": 0.00256}),
    "couple": (Millivolt(0.0, 470), {"protection": 0.54468}),
}


@pytest.mark.parametrize("circuit, watts", HEATS.values(), ids=HEATS)
def test_heat(circuit: Circuit, watts: dict[str, float]) -> None:
    assert heat(circuit) == pytest.approx(watts, rel=1e-3)


@needs_ngspice
@pytest.mark.parametrize("rail", [0.0, 3.3])
def test_heat_against_ngspice(tmp_path: Path, rail: float) -> None:
    """A pull-up's wire on the bus, the box off and on: no more than reckoned, and with the box off all of it."""
    said = spice(tmp_path, "pull_up.cir", {"bus": 16, "bus_chafe": 1e-6, "rail": rail, "series": 22})
    junction = said["v(pin)"]
    watts = {"resistor": (junction - rail) ** 2 / 150, "series": (said["v(plug)"] - junction) ** 2 / 22}
    reckoned = heat(PullUp(150, "rail", 22))
    assert all(watts[part] <= reckoned[part] * 1.0001 for part in watts)
    if rail == 0:
        assert watts == pytest.approx(reckoned, rel=1e-4)


def test_ratings_are_those_of_the_parts_table() -> None:
    """The demo's inputs, drawn as the reference box has them, get the ratings that hardware_notes/parts.csv buys."""
    with open(ROOT / "hardware_notes" / "parts.csv", newline="") as file:
        bought = {name: row["rating"] for row in csv.DictReader(file) for name in row["designators"].split()}
    box = read_box(ROOT / "host_tools" / "gaugelight" / "demo" / "amphibian.toml")
    channels = {
        "left fuel": 1,
        "coolant temperature": 3,
        "reserve line": 5,
        "hydraulic": 6,
        "coolant pressure": 7,
        "bus": 8,
    }
    for name, channel in channels.items():
        one = box.input(name)
        assert one is not None
        watts = heat(one.circuit)
        for part, digit, share in (("resistor", 1, 4), ("top", 1, 1), ("bottom", 2, 1)):
            if part in watts:
                assert f"{rating(watts[part] / share):g} W" == bought[f"R{channel}{digit}"], name
        if first_protection(one.circuit):
            assert f"{rating(watts['protection']):g} W" == bought[f"R{channel}5"]


@given(st.floats(0, 500))
def test_a_rating_is_the_smallest_that_is_not_filled(watts: float) -> None:
    bought = rating(watts)
    assert watts <= FILLED * bought
    assert all(watts > FILLED * size for size in RATINGS if size < bought)


PROTECTIONS = {9400.0: 4700.0, 4700.0: 2350.0, 2000.0: 1000.0, 0.0: 0.0, 10e3: 5e3}


@pytest.mark.parametrize("whole, first", PROTECTIONS.items())
def test_the_clamp_stands_in_the_middle(whole: float, first: float) -> None:
    assert first_protection(PullUp(150, "rail", protection=whole)) == pytest.approx(first)
    assert first_protection(Divider(1, 1, protection=whole)) == 0
