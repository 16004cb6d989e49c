"""`gaugelight dial`: angles, ticks, markings and true size of the sheet, in the drawing, in the SVG and in the PNG."""

import json
import math
import re
import struct
import xml.etree.ElementTree as ElementTree
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugebox import needle as needles
from gaugebox.measure import FAULT, OPEN, READING
from gaugebox.table import Table
from gaugelight import dial as dials
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.cli import DEMO, main
from gaugelight.dial import Circle, Dial, Drawing, Line, Polygon, Words, dial_drawing, dial_of
from gaugelight.problems import Misuse
from gaugelight.readouts import Mark

MARKED = Path(__file__).parent / "marked.toml"
SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("left fuel", "coolant temperature", "hydraulic", "usable fuel", "fuel apart", "bus", "sender rail")


@pytest.fixture(scope="module")
def box() -> Box:
    return read_box(MARKED)


def a_dial(low: float, high: float, step: float = 0.1, sweep: float = 270, diameter: float = 57) -> Dial:
    return Dial("hull console", "left fuel", "US gal", low, high, step, (), sweep, diameter)


# -- angles

# low, high, sweep, reading, the angle from the top, by hand
ANGLES = {
    "lower end": (0, 18, 270, 0, -135),
    "middle": (0, 18, 270, 9, 0),
    "upper end": (0, 18, 270, 18, 135),
    "a quarter": (0, 18, 270, 4.5, -67.5),
    "from 40": (40, 120, 270, 60, -67.5),
    "below nought": (-18, 18, 300, -9, -75),
    "narrow": (0, 10, 60, 1, -24),
}


@pytest.mark.parametrize("low, high, sweep, reading, angle", ANGLES.values(), ids=ANGLES)
def test_angle_of_a_reading(low: float, high: float, sweep: float, reading: float, angle: float) -> None:
    one = a_dial(low, high, sweep=sweep)
    assert one.angle(reading) == pytest.approx(angle)


@given(st.floats(-1000, 1000), st.floats(0.5, 5000), st.floats(60, 330), st.floats(0, 1), st.floats(40, 170))
def test_there_and_back(low: float, span: float, sweep: float, part: float, diameter: float) -> None:
    """By the place on the sheet: what a needle there would be taken for."""
    one = a_dial(low, low + span, sweep=sweep, diameter=diameter)
    reading = low + part * span
    assert low + span * (one.angle(reading) / sweep + 0.5) == pytest.approx(reading, abs=1e-9 * span + 1e-9)
    x, y = dials.place(one, one.angle(reading), 0.8)
    assert math.hypot(x, y) == pytest.approx(0.4 * diameter)
    assert math.degrees(math.atan2(x, -y)) == pytest.approx(one.angle(reading), abs=1e-6)


# -- ticks

# low, high, step, sweep, diameter; numbers that stand on the scale, and the step of the small ticks
TICKS = {
    "fuel": (0, 18, 0.5, 270, 57, ["0", "2", "4", "6", "8", "10", "12", "14", "16", "18"], "1/2"),
    "temperature": (40, 120, 2, 270, 57, ["40", "50", "60", "70", "80", "90", "100", "110", "120"], "2"),
    "volts": (8, 16, 0.1, 270, 57, ["8", "9", "10", "11", "12", "13", "14", "15", "16"], "1/5"),
    "pressure": (0, 1500, 20, 270, 57, ["0", "200", "400", "600", "800", "1000", "1200", "1500"], "50"),
    "fine": (
        2.64,
        3.56,
        0.01,
        270,
        57,
        ["2.64", "2.8", "2.9", "3.0", "3.1", "3.2", "3.3", "3.4", "3.56"],
        "1/50",
    ),
    "small and narrow": (0, 1500, 20, 60, 40, ["0", "1500"], "200"),
    "no finer than it shows": (
        0,
        10,
        1,
        270,
        57,
        ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10"],
        None,
    ),
    # by hand: a number needs (letters + 0.6) * 0.64 * 3.28 mm, and an arc of 3 US gal at 0.63 of the radius has 7.05: -15 has no room
    "about nought": (-18, 18, 0.5, 270, 57, ["-18", "-10", "-5", "0", "5", "10", "15", "18"], "1"),
    "in degF": (104, 248, 2, 270, 57, ["104", "120", "140", "160", "180", "200", "220", "248"], "5"),
    "an end between two steps": (
        -83.27,
        98.3,
        2,
        270,
        57,
        ["-83", "-60", "-40", "-20", "0", "20", "40", "60", "80", "98"],
        "5",
    ),
}


@pytest.mark.parametrize("low, high, step, sweep, diameter, numbers, minor", TICKS.values(), ids=TICKS)
def test_ticks(
    low: float, high: float, step: float, sweep: float, diameter: float, numbers: list[str], minor: str | None
) -> None:
    one = a_dial(low, high, step, sweep, diameter)
    major = dials.major_step(one)
    assert [text for _, text in dials.figures(one, major)] == numbers
    assert dials.minor_step(one, major) == (None if minor is None else Fraction(minor))


@given(
    st.floats(-1000, 1000),
    st.floats(0.5, 5000),
    st.floats(60, 330),
    st.floats(40, 170),
    st.sampled_from([0.01, 0.5, 20]),
)
def test_any_scale_can_be_read(low: float, span: float, sweep: float, diameter: float, step: float) -> None:
    """Two to thirteen numbers, both ends among them, none over its neighbour and each at a stroke of its own; all strokes apart."""
    one = a_dial(low, low + span, step, sweep, diameter)
    major = dials.major_step(one)
    numbered = dials.figures(one, major)
    assert 2 <= len(numbered) <= 13 and (numbered[0][0], numbered[-1][0]) == (low, low + span)
    minor = dials.minor_step(one, major)
    if minor is not None:
        apart = math.radians(one.angle(low + float(minor)) - one.angle(low)) * dials.MINOR_TO * one.radius
        assert apart >= dials.LEAST_GAP - 1e-9 and float(minor) >= step - 1e-12
        assert (major / minor).denominator == 1
    for (first, a), (second, b) in zip(numbered, numbered[1:]):
        apart = math.radians(one.angle(second) - one.angle(first)) * one.radius * 0.63
        assert apart >= (len(a) + len(b)) / 2 * dials.LETTER * dials.number_size(
            one
        ) or not dials.ends_have_room(one)
    strokes = stroke_angles(Drawing(0, 0, tuple(dials.face_shapes(one))))
    for angle, _ in numbered:
        assert min(abs(one.angle(angle) - stroke) for stroke in strokes) < 1e-6
    between = float(minor or major)
    assert all(abs(float(text) - at) <= between / 4 + 1e-9 for at, text in (numbered[0], numbered[-1]))
    fine = (one.angle(low + between) - one.angle(low)) / 2
    assert min(b - a for a, b in zip(strokes, strokes[1:])) >= fine - 1e-6


def stroke_angles(drawing: Drawing) -> list[float]:
    """Of the ticks of a dial, sorted."""
    middle = middle_of(drawing)
    ends = [
        (polar(shape.start, middle), polar(shape.end, middle))
        for shape in drawing.shapes
        if isinstance(shape, Line)
    ]
    outer = max(circle.radius for circle in drawing.shapes if isinstance(circle, Circle)) * dials.TICK
    return sorted(angle for _, (angle, mm) in ends if mm == pytest.approx(outer, abs=1e-6))


# -- markings

# of the box file for the tests: what is drawn between which readings, by hand
MARKS: dict[str, list[tuple[str, float | None, float | None]]] = {
    "left fuel": [("red", None, 0), ("yellow", 0, 4), ("green", 4, 18)],
    "coolant temperature": [("yellow", 40, 60), ("green", 60, 100), ("yellow", 100, 110), ("red", 110, None)],
    "hydraulic": [
        ("red", None, 300),
        ("green", 600, 900),
        ("red", 950, 1050),
        ("green", 1100, 1300),
        ("red", 1400, None),
    ],
    "usable fuel": [("red", None, 0), ("yellow", 0, 8), ("green", 8, 36)],
    "fuel apart": [],
}
FROM_TO = {
    "left fuel": (0, 18),
    "coolant temperature": (40, 120),
    "hydraulic": (0, 1500),
    "usable fuel": (0, 36),
    "fuel apart": (-18, 18),
}


def polar(point: tuple[float, float], middle: tuple[float, float]) -> tuple[float, float]:
    """Degrees clockwise from the top, and mm from the middle."""
    x, y = point[0] - middle[0], point[1] - middle[1]
    return math.degrees(math.atan2(x, -y)), math.hypot(x, y)


def middle_of(drawing: Drawing) -> tuple[float, float]:
    (rim,) = [shape for shape in drawing.shapes if isinstance(shape, Circle)]
    return rim.centre


@pytest.mark.parametrize("sweep", [90.0, 270.0, 330.0])
@pytest.mark.parametrize("name", MARKS)
def test_every_mark_is_at_its_angle(box: Box, name: str, sweep: float) -> None:
    drawing = dial_drawing(dial_of(box, name, sweep, 57))
    middle = middle_of(drawing)
    low, high = FROM_TO[name]

    def angle(reading: float) -> float:
        return -sweep / 2 + sweep * (reading - low) / (high - low)

    arcs, limits = [], []
    for shape in drawing.shapes:
        if isinstance(shape, Polygon):
            at = [polar(point, middle) for point in shape.points]
            angles = sorted(degrees for degrees, _ in at)
            if len(at) == 3:
                limits.append((angles[0] + angles[2]) / 2)
            else:
                arcs.append((shape.colour, angles[0], angles[-1]))
                radii = [mm for _, mm in at]
                assert min(radii) >= dials.TICK * 28.5 and max(radii) <= 28.5
    wanted = MARKS[name]
    assert [colour for colour, _, _ in arcs] == [dials.COLOURS[c] for c, a, b in wanted if None not in (a, b)]
    for (_, first, last), (_, a, b) in zip(arcs, [one for one in wanted if None not in one]):
        assert a is not None and b is not None
        assert [first, last] == pytest.approx([angle(a), angle(b)], abs=0.01)
    at_limits = [a if b is None else b for _, a, b in wanted if a is None or b is None]
    assert limits == pytest.approx([angle(limit) for limit in at_limits if limit is not None], abs=0.01)
    strokes = [s for s in drawing.shapes if isinstance(s, Line) and s.colour == dials.COLOURS["red"]]
    assert len(strokes) == len(limits)
    for stroke, limit_angle in zip(strokes, limits):
        for end in (stroke.start, stroke.end):
            assert polar(end, middle)[0] == pytest.approx(limit_angle, abs=0.01)


def bars(drawing: Drawing, first: float, last: float) -> tuple[int, int]:
    """Black strokes across the band between two angles, that lean one way, and the other."""
    middle = middle_of(drawing)
    lean = [0, 0]
    for shape in drawing.shapes:
        if isinstance(shape, Line) and shape.colour == dials.INK:
            (a, inner), (b, outer) = polar(shape.start, middle), polar(shape.end, middle)
            in_the_band = inner >= dials.BAND_INNER * 28.5 - 1e-6 and outer <= dials.BAND_OUTER * 28.5 + 1e-6
            if in_the_band and first <= min(a, b) and max(a, b) <= last:
                lean[a > b] += 1
    return lean[0], lean[1]


def test_no_mark_is_told_by_its_colour_alone(box: Box) -> None:
    """Green plain, yellow with bars that lean one way, a red arc with crosses; a limit has a wedge. And each in words."""
    drawing = dial_drawing(dial_of(box, "hydraulic", 270, 57))
    one = dial_of(box, "hydraulic", 270, 57)
    assert bars(drawing, one.angle(600), one.angle(900)) == (0, 0)
    crosses = bars(drawing, one.angle(950), one.angle(1050))
    assert crosses[0] == crosses[1] >= 2
    fuel = dial_of(box, "left fuel", 270, 57)
    leaning = bars(dial_drawing(fuel), fuel.angle(0), fuel.angle(4))
    assert leaning[0] >= 5 and leaning[1] == 0
    words = [shape.text for shape in drawing.shapes if isinstance(shape, Words)]
    for line in (
        "red radial with a wedge: least 300",
        "green arc, plain: 600 to 900",
        "red arc, cross-barred: 950 to 1050",
        "red radial with a wedge: most 1400",
    ):
        assert line in words


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("sweep, diameter", [(90.0, 45.0), (270.0, 57.0), (330.0, 80.0), (285.0, 170.0)])
def test_what_is_written(box: Box, name: str, sweep: float, diameter: float) -> None:
    """Name, unit, cautions and numbers; everything within the sheet, what is on the dial within its rim, nothing over another."""
    one = dial_of(box, name, sweep, diameter)
    drawing = dial_drawing(one)
    written = [shape for shape in drawing.shapes if isinstance(shape, Words)]
    texts = [words.text for words in written]
    assert name in texts and one.unit in texts and "advisory; check" in texts
    reference = "the dipstick" if "gal" in one.unit else "a reference"
    assert f"against {reference}" in texts
    assert f"Advisory; check against {reference} before flight. Never a sole reference." in texts
    assert "50 mm: measure it on the print" in texts
    middle, on_dial = middle_of(drawing), []
    for words in written:
        width, height = len(words.text) * dials.LETTER * words.size, 0.8 * words.size
        left = words.place[0] - (width / 2 if words.centred else 0)
        x0, x1, y0, y1 = left, left + width, words.place[1] - height / 2, words.place[1] + height / 2
        assert 0 <= x0 and x1 <= drawing.width and 0 <= y0 and y1 <= drawing.height, words.text
        if words.centred:
            corners = [(x, y) for x in (x0, x1) for y in (y0, y1)]
            assert max(polar(corner, middle)[1] for corner in corners) <= 0.97 * one.radius, words.text
            on_dial.append((x0, x1, y0, y1, words.text))
    for k, (a0, a1, b0, b1, text) in enumerate(on_dial):
        for c0, c1, d0, d1, other in on_dial[k + 1 :]:
            assert a1 <= c0 + 0.2 or c1 <= a0 + 0.2 or b1 <= d0 + 0.2 or d1 <= b0 + 0.2, (text, other)


# -- true size


@pytest.mark.parametrize("diameter", [40.0, 57.0, 79.375, 170.0])
def test_the_svg_is_in_millimetres(box: Box, diameter: float) -> None:
    """One unit is one millimetre (SVG 1.1, 7.2 and 7.7: the viewBox is mapped to width and height)."""
    drawing = dial_drawing(dial_of(box, "left fuel", 270, diameter))
    root = ElementTree.fromstring(dials.svg(drawing))
    width, height = root.attrib["width"], root.attrib["height"]
    assert width.endswith("mm") and height.endswith("mm")
    assert [float(n) for n in root.attrib["viewBox"].split()] == [0, 0, float(width[:-2]), float(height[:-2])]
    (rim,) = root.findall(f"{SVG}circle")
    assert float(rim.attrib["r"]) * 2 == pytest.approx(diameter, abs=0.001)
    bars = [
        line
        for line in root.findall(f"{SVG}line")
        if line.attrib["y1"] == line.attrib["y2"]
        and float(line.attrib["y1"]) > float(rim.attrib["cy"]) + diameter / 2
    ]
    lengths = [float(line.attrib["x2"]) - float(line.attrib["x1"]) for line in bars]
    assert lengths == [pytest.approx(50, abs=0.001)]
    # it goes on a sheet of A4 (ISO 216, 210 x 297 mm) and of letter (8.5 x 11 in) with margins of 5 mm
    assert float(width[:-2]) <= 200 and float(height[:-2]) <= 269


def test_the_svg_holds_what_the_drawing_does(box: Box) -> None:
    drawing = dial_drawing(dial_of(box, "hydraulic", 270, 57))
    root = ElementTree.fromstring(dials.svg(drawing))
    for kind, tag in ((Line, "line"), (Polygon, "polygon"), (Circle, "circle"), (Words, "text")):
        assert len(root.findall(f"{SVG}{tag}")) == sum(isinstance(shape, kind) for shape in drawing.shapes)
    arc, *_ = [e for e in root.findall(f"{SVG}polygon") if e.attrib["fill"] == dials.COLOURS["green"]]
    first = [float(n) for n in arc.attrib["points"].split()[0].split(",")]
    one = dial_of(box, "hydraulic", 270, 57)
    assert polar((first[0], first[1]), middle_of(drawing))[0] == pytest.approx(one.angle(600), abs=0.01)


def test_a_name_is_a_text_and_no_markup() -> None:
    one = Dial("a<b", "left & right", "%", 0, 10, 1, (Mark("green", Fraction(2), Fraction(8)),), 270, 57)
    texts = [
        element.text for element in ElementTree.fromstring(dials.svg(dial_drawing(one))).findall(f"{SVG}text")
    ]
    assert "left & right" in texts and "a<b: left & right, %" in texts


def test_the_png_is_the_same_at_true_size(box: Box, tmp_path: Path) -> None:
    """Its pixels a metre stand in the file (PNG, 11.3.5.3: pHYs); green lies where the green arc is, and nowhere else on the ring."""
    from matplotlib import image

    path = tmp_path / "dial.png"
    one = dial_of(box, "hydraulic", 270, 57)
    drawing = dial_drawing(one)
    dials.png(drawing, path)
    content = path.read_bytes()
    at = content.index(b"pHYs") + 4
    across, down, unit = struct.unpack(">IIB", content[at : at + 9])
    assert (across, down, unit) == (pytest.approx(300 / 0.0254, abs=1), pytest.approx(300 / 0.0254, abs=1), 1)
    pixels = image.imread(path)
    per_mm = 300 / 25.4
    assert pixels.shape[1] == pytest.approx(drawing.width * per_mm, abs=1)
    assert pixels.shape[0] == pytest.approx(drawing.height * per_mm, abs=1)
    middle, ring = middle_of(drawing), (dials.BAND_INNER + dials.BAND_OUTER) / 2 * one.radius
    green = [int(dials.COLOURS["green"][k : k + 2], 16) / 255 for k in (1, 3, 5)]
    for angle in np.arange(-179, 180, 1.0):
        x = middle[0] + ring * math.sin(math.radians(angle))
        y = middle[1] - ring * math.cos(math.radians(angle))
        seen = pixels[int(y * per_mm), int(x * per_mm), :3]
        reading = 1500 * (angle / 270 + 0.5)
        edge = min(abs(reading - limit) for limit in (600, 900, 1100, 1300))
        if edge > 5:  # a degree is 5.6 psi
            inside = 600 < reading < 900 or 1100 < reading < 1300
            assert bool(np.abs(seen - green).max() < 0.02) == inside, reading


# -- the command


def test_the_command_writes_and_tells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["dial", str(MARKED), "left fuel"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("left_fuel.svg: left fuel, 0 to 18 US gal over 270 degrees")
    assert "never a sole reference" in said
    assert (tmp_path / "left_fuel.svg").read_text().startswith("<svg ")
    words = [
        "dial",
        str(MARKED),
        "usable fuel",
        "-o",
        "u.png",
        "--sweep",
        "300",
        "--diameter",
        "3.125 in",
        "--json",
    ]
    assert main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["low"], told["high"], told["sweep"]) == (0, 36, 300)
    assert told["diameter_mm"] == pytest.approx(79.375)
    assert (tmp_path / "u.png").read_bytes().startswith(b"\x89PNG")


REFUSED = {
    "no such readout": (["left fule"], 'there is no readout "left fule" to draw; did you mean "left fuel"?'),
    "a sweep that is no dial": (
        ["left fuel", "--sweep", "20"],
        "--sweep 20: a dial sweeps 60 to 330 degrees",
    ),
    "all the way round": (["left fuel", "--sweep", "360"], "--sweep 360"),
    "no number": (["left fuel", "--sweep", "wide"], "write a number of degrees, such as 270"),
    "not a number": (["left fuel", "--sweep", "nan"], "--sweep nan"),
    "too small": (["left fuel", "--diameter", "20 mm"], "--diameter 20 mm: it is 40 to 170 mm"),
    "too large": (["left fuel", "--diameter", "20 cm"], "--diameter 200 mm: it is 40 to 170 mm"),
    "no unit": (["left fuel", "--diameter", "57"], 'write "57 mm"'),
    "no length": (["left fuel", "--diameter", "57 psi"], "is not in mm"),
    "no such picture": (["left fuel", "-o", "dial.bmp"], "name a .svg or .png"),
    "nowhere": (["left fuel", "-o", "/nowhere/dial.svg"], "no dial can be written there"),
}


@pytest.mark.parametrize("words, told", REFUSED.values(), ids=REFUSED)
def test_refused_in_one_line(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["dial", str(MARKED), *words]) == 2
    said = capsys.readouterr().err
    assert told in said and said.count("\n") == 1


# a bar of the coolant's, whose marks are yellow 40 to 60, green to 100, yellow to 110, red 110; what is said, or the arcs drawn
BARS: dict[str, tuple[list[float], str | list[tuple[float, float]]]] = {
    "a red limit beyond its upper end": ([40, 105], "bar: from 40 to 105 leaves red at 110 out; widen it"),
    "a yellow arc beyond its lower end": ([70, 115], "bar: from 70 to 115 leaves yellow at 40 out; widen it"),
    "an arc that begins before it": ([50, 115], [(50, 60), (60, 100), (100, 110)]),
    "a limit at its very end": ([50, 110], [(50, 60), (60, 100), (100, 110)]),
}  # fmt: skip


@pytest.mark.parametrize("bar, wanted", BARS.values(), ids=BARS)
def test_marks_and_the_end_of_the_scale(
    bar: list[float],
    wanted: str | list[tuple[float, float]],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What lies beyond would be seen nowhere, or somewhere else than it says; of an arc is drawn what lies on the scale."""
    text = MARKED.read_text()
    file = tmp_path / "bar.toml"
    file.write_text(re.sub(r'(label = "coolant"\n)', rf"\1bar = {bar}\n", text))
    assert file.read_text() != text
    line = 1 + file.read_text()[: file.read_text().index("bar = ")].count("\n")
    code = main(["dial", str(file), "coolant temperature", "-o", str(tmp_path / "dial.svg")])
    said = capsys.readouterr().err
    if isinstance(wanted, str):
        assert code == 1 and f"{file}:{line}: coolant temperature, {wanted}" in said and said.count("\n") == 1
        return
    assert code == 0
    one = dial_of(read_box(file), "coolant temperature", 270, 57)
    arcs = [sorted(arc) for mark in one.marks if (arc := dials.arc_of(one, mark)) is not None]
    low, high = bar
    by_hand = [[270 * ((edge - low) / (high - low) - 0.5) for edge in arc] for arc in wanted]
    assert arcs == [pytest.approx(arc) for arc in by_hand]
    assert ("yellow arc, barred: 40 to 60, beyond the scale" in dials.legend(one)) == (low > 40)


def test_the_demo_has_a_dial_of_everything(tmp_path: Path) -> None:
    box = read_box(DEMO)
    for name in [one.name for one in box.inputs] + [one.name for one in box.face.derived]:
        assert dial_drawing(dial_of(box, name, 270, 57)).shapes


# -- a difference

# how it is written; at the left and at the right end; whether another order is suggested
DIFFERENCES = {
    "left first": ('["left fuel", "right fuel"]', "right", "left", True),
    "right first": ('["right fuel", "left fuel"]', "left", "right", False),
}


@pytest.mark.parametrize("order, at_left, at_right, suggested", DIFFERENCES.values(), ids=DIFFERENCES)
def test_which_tank_has_more(
    order: str,
    at_left: str,
    at_right: str,
    suggested: bool,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Above nought there is more in the first one, and above nought is to the right."""
    file = tmp_path / "order.toml"
    file.write_text(
        MARKED.read_text().replace(
            '["left fuel", "right fuel"]\nstep = 0.5\n\n[[switch]]', f"{order}\nstep = 0.5\n\n[[switch]]"
        )
    )
    drawing = dial_drawing(dial_of(read_box(file), "fuel apart", 270, 57))
    middle = middle_of(drawing)
    sides = {
        shape.text: shape.place[0] - middle[0]
        for shape in drawing.shapes
        if isinstance(shape, Words) and shape.centred
    }
    assert sides[at_left] < -3 < 3 < sides[at_right]
    texts = [shape.text for shape in drawing.shapes if isinstance(shape, Words)]
    assert (
        f"left end: more in {at_left} fuel; right end: more in {at_right} fuel" in texts
        and texts.count("more in") == 2
    )
    assert main(["dial", str(file), "fuel apart", "-o", str(tmp_path / "d.svg")]) == 0
    assert ('difference = ["right fuel", "left fuel"] turns' in capsys.readouterr().out) == suggested


# -- behind a needle that the box drives

# what it follows, its points and where it parks
NEEDLES: dict[str, tuple[str, list[tuple[float, float]], float]] = {
    "evenly, between 10 and 90 %": ("hydraulic", [(0, 10), (1500, 90)], 0),
    "bent": ("hydraulic", [(0, 10), (300, 50), (900, 75), (1500, 92)], 4),
    "falling": ("hydraulic", [(0, 90), (700, 30), (1500, 10)], 0),
    "from its stop to its stop": ("left fuel", [(0, 1), (4, 40), (18, 100)], 0),
    "with a step": ("left fuel", [(0, 10), (4, 30), (4, 50), (18, 90)], 5),
    "of a derived readout": ("usable fuel", [(0, 12), (8, 55), (36, 97)], 2.5),
    "of a temperature": ("coolant temperature", [(40, 8), (80, 20), (100, 50), (120, 95)], 0),
}


def with_needles(folder: Path, follows: str, *points: list[tuple[float, float]], park: float = 0) -> Path:
    """The box file for the tests with needles "first", "second" on a readout."""
    text = MARKED.read_text()
    unit = {"hydraulic": "psi", "coolant temperature": "degC"}.get(follows, "US gal")
    for k, mine in enumerate(points):
        places = ", ".join(f'["{reading} {unit}", "{place} %"]' for reading, place in mine)
        text += f'[[needle]]\nname = "{("first", "second")[k]}"\npin = {6 + 2 * k}\nfollows = "{follows}"\n'
        text += f'points = [{places}]\npark = "{park} %"\n'
    file = folder / "needles.toml"
    file.write_text(text)
    return file


class Meter:
    """Where the pointer of a moving-coil meter stands, by what the box's own needle commands of its pin when it has settled."""

    def __init__(self, file: Path, sweep: float) -> None:
        table = Table(build(read_box(file)).image)
        (self.record,) = table.needles
        channels: list[Any] = [*table.inputs, *table.derived]
        self.scale = 10 ** channels[self.record.index].reading_decimals
        self.said = [0, 0, 0, 0]
        followed: Any = [SimpleNamespace(said=self.said)] * len(channels)
        self.needle = needles.Needle(self.record, followed)
        self.sweep = sweep

    def angle(self, reading: float | None) -> float:
        """None: at a fault."""
        self.said[FAULT] = 0 if reading is not None else OPEN
        self.said[READING] = round((reading or 0) * self.scale)
        for _ in range(5000):
            self.needle.step()
        return self.sweep * (self.needle.duty / 65535 - 0.5)


@pytest.mark.parametrize("sweep", [90.0, 270.0])
@pytest.mark.parametrize("follows, points, park", NEEDLES.values(), ids=NEEDLES)
def test_its_scale_lies_where_the_needle_points(
    follows: str, points: list[tuple[float, float]], park: float, sweep: float, tmp_path: Path
) -> None:
    """Every mark, every number and the parking place in the SVG, against the duty that the built table makes the box command."""
    file = with_needles(tmp_path, follows, points, park=park)
    meter = Meter(file, sweep)
    one = dial_of(read_box(file), follows, sweep, 80)
    root = ElementTree.fromstring(dials.svg(dial_drawing(one)))
    (rim,) = root.findall(f"{SVG}circle")
    middle = float(rim.attrib["cx"]), float(rim.attrib["cy"])
    arcs, limits, dots = [], [], []
    for polygon in root.findall(f"{SVG}polygon"):
        at = [
            polar((float(x), float(y)), middle)
            for x, y in (pair.split(",") for pair in polygon.attrib["points"].split())
        ]
        angles = sorted(angle for angle, _ in at)
        if polygon.attrib["fill"] == dials.INK:
            dots.append((angles[0] + angles[-1]) / 2)
        elif len(at) == 3:
            limits.append((angles[0] + angles[-1]) / 2)
        else:
            arcs.append((angles[0], angles[-1]))
    marks = MARKS[follows]
    wanted = [
        sorted((meter.angle(a), meter.angle(b))) for _, a, b in marks if a is not None and b is not None
    ]
    # 0.01 % of the time is what the box can tell apart
    assert [list(arc) for arc in arcs] == [pytest.approx(arc, abs=sweep / 5000) for arc in wanted]
    edges = [b if a is None else a for _, a, b in marks if a is None or b is None]
    assert limits == pytest.approx([meter.angle(edge) for edge in edges], abs=sweep / 5000)
    assert dots == [pytest.approx(meter.angle(None), abs=0.05)]
    strokes = stroke_angles(dial_drawing(one))
    for reading, _ in dials.figures(one, dials.major_step(one)):
        assert min(abs(meter.angle(reading) - stroke) for stroke in strokes) < sweep / 5000
    texts = [element.text for element in root.findall(f"{SVG}text")]
    assert f"for first, through its points: 0 % at {-sweep / 2:+g}, 100 % at {sweep / 2:+g} degrees" in texts
    assert not any("evenly divided" in (text or "") for text in texts)


@pytest.mark.parametrize("name", NAMES)
def test_without_a_needle_it_is_even_and_says_so(box: Box, name: str) -> None:
    texts = [
        shape.text for shape in dial_drawing(dial_of(box, name, 270, 57)).shapes if isinstance(shape, Words)
    ]
    assert "evenly divided: for a pointer that moves evenly" in texts and "OFF" not in texts


@pytest.mark.parametrize("sweep, diameter", [(90.0, 57.0), (120.0, 45.0), (270.0, 57.0), (330.0, 80.0)])
@pytest.mark.parametrize("follows, points, park", NEEDLES.values(), ids=NEEDLES)
def test_nothing_is_written_over_another_on_a_bent_scale(
    follows: str,
    points: list[tuple[float, float]],
    park: float,
    sweep: float,
    diameter: float,
    tmp_path: Path,
) -> None:
    box = read_box(with_needles(tmp_path, follows, points, park=park))
    test_what_is_written(box, follows, sweep, diameter)


BENT, EVEN = NEEDLES["bent"][1], NEEDLES["evenly, between 10 and 90 %"][1]
CHOICES: dict[str, tuple[list[list[tuple[float, float]]], list[str], str]] = {
    "the only one": ([BENT], [], "for first, through its points"),
    "two": ([BENT, EVEN], [], '2 needles follow hydraulic: name one of "first", "second" with --needle'),
    "two, one named": ([BENT, EVEN], ["--needle", "second"], "for second, through its points"),
    "one that is not there": ([BENT], ["--needle", "third"], 'no needle "third" follows hydraulic; there is: "first"'),
    "none there": ([], ["--needle", "first"], 'no needle "first" follows hydraulic; there is: none'),
    "its points turn back": ([[(0, 10), (700, 80), (1500, 40)]], [], "first, points: two readings stand at one place"),
    "its points stand still": ([[(0, 10), (700, 40), (900, 40), (1500, 80)]], [], "first, points: two readings stand at one place"),
    "one reading alone": ([[(700, 40), (700, 80)]], [], "first, points: two readings stand at one place"),
    "its points end before a limit": ([[(0, 10), (1200, 90)]], [], "marks: red = 1400 lies beyond the scale of its dial, 0 to 1200 psi gauge; the points of first must reach it"),
    "hardly any way": ([[(0, 50), (1500, 51)]], [], "have no room on 270 degrees of 57 mm, between the ends of first"),
}  # fmt: skip


@pytest.mark.parametrize("points, words, told", CHOICES.values(), ids=CHOICES)
def test_which_needle(
    points: list[list[tuple[float, float]]],
    words: list[str],
    told: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = with_needles(tmp_path, "hydraulic", *points)
    code = main(["dial", str(file), "hydraulic", "-o", str(tmp_path / "dial.svg"), *words])
    said = capsys.readouterr()
    drawn = told.startswith("for ")
    assert code == (0 if drawn else 2) and told in (said.out if drawn else said.err), said


def test_the_bar_is_the_scale(tmp_path: Path) -> None:
    text = MARKED.read_text()
    other = tmp_path / "other.toml"
    other.write_text(re.sub(r'(label = "coolant"\n)', r"\1bar = [40, 115]\n", text))
    one = dial_of(read_box(other), "coolant temperature", 270, 57)
    assert (one.low, one.high) == (40, 115)
    with pytest.raises(Misuse):
        dial_of(read_box(other), "bilge", 270, 57)
