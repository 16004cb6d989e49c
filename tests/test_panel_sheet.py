"""`gaugelight template`: what is read back from the printed files is true to 0.05 mm, nothing hides a dimension, tiles fit each other."""

import json
import math
import re
import xml.etree.ElementTree as ElementTree
import zlib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from gaugelight.boxfile import box_of_text
from gaugelight.cli import main
from gaugelight.dial import Circle, Drawing, Line, Words, pdf, png, svg
from gaugelight.panel import drill_sheet
from gaugelight.panel.cutouts import Cutout, Outline, Rectangle, Round, Screws, Xy, d_sub
from gaugelight.panel.drill_sheet import Page, bar, clipped, drills, holes, pages, panel_shapes, spread
from gaugelight.panel.panel_file import Panel
from test_panel_file import BOX, PANEL

INCH = 25.4
TRUE = 0.05  # mm
SVG = "{http://www.w3.org/2000/svg}"


def a_panel(width: float, height: float, *cutouts: Cutout, depth: float | None = 90) -> Panel:
    return Panel(1, width, height, 2, depth, 3, cutouts)


def a_cutout(
    name: str, at: Xy, hole: Outline, bezel: Outline | None = None, screws: Screws | None = None
) -> Cutout:
    return Cutout(1, name, at, hole, bezel or hole, screws, 40, 15, 25)


CLOCK = a_cutout(
    "clock", (60, 100), Round(57), Round(60), Screws(((0, -33), (33, 0), (0, 33), (-33, 0)), 3.5)
)
DISPLAY = a_cutout("display", (40.25, 30.5), Rectangle(25, 14), Rectangle(30, 30))
SMALL = a_panel(120, 230, CLOCK, DISPLAY)
FAR = a_cutout("far", (640, 250), Round(57), Round(60))
ACROSS = a_cutout("across", (230, 110), Round(79), Round(90))  # where the first page ends
SOCKET = a_cutout("socket", (320, 40), d_sub(25), d_sub(25).flange, d_sub(25).screws)
LARGE = a_panel(700, 300, CLOCK, DISPLAY, FAR, ACROSS, SOCKET)


class Sheet:
    """What is drawn on one page, read back from its SVG; mm from the page's upper left corner."""

    def __init__(self, text: str) -> None:
        root = ElementTree.fromstring(text)
        self.size = float(root.attrib["width"].removesuffix("mm")), float(
            root.attrib["height"].removesuffix("mm")
        )
        assert root.attrib["viewBox"] == f"0 0 {self.size[0]:g} {self.size[1]:g}"  # a unit is a millimetre
        self.circles = [
            (
                (float(one.attrib["cx"]), float(one.attrib["cy"])),
                2 * float(one.attrib["r"]),
                "stroke-dasharray" in one.attrib,
            )
            for one in root.iter(f"{SVG}circle")
        ]
        self.lines = [
            (
                (float(one.attrib["x1"]), float(one.attrib["y1"])),
                (float(one.attrib["x2"]), float(one.attrib["y2"])),
                float(one.attrib["stroke-width"]),
            )
            for one in root.iter(f"{SVG}line")
        ]
        self.words = ["".join(one.itertext()) for one in root.iter(f"{SVG}text")]

    def outline(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of the panel: its edges are the thickest lines but for those of nothing else."""
        edges = [end for a, b, width in self.lines if width == 0.35 for end in (a, b)]
        xs, ys = zip(*edges)
        return min(xs), min(ys), max(xs), max(ys)

    def drawn(self, shape: tuple[Xy, Xy]) -> bool:
        return any(
            math.dist(a, p) < TRUE
            and math.dist(b, q) < TRUE
            or math.dist(a, q) < TRUE
            and math.dist(b, p) < TRUE
            for a, b, _ in self.lines
            for p, q in [shape]
        )


def sheets(panel: Panel, paper: str = "a4", rear: bool = False) -> list[tuple[Page, Sheet]]:
    return [(page, Sheet(svg(page.drawing))) for page in pages(panel, "hull console", paper, rear)]


# -- true size


@pytest.mark.parametrize("rear", [False, True])
@pytest.mark.parametrize("paper, size", [("a4", (210, 297)), ("letter", (8.5 * INCH, 11 * INCH))])
def test_read_back_from_the_sheet(paper: str, size: Xy, rear: bool) -> None:
    """Every hole, bezel and screw by hand from what was put in; seen from behind x runs to the left. Papers: ISO 216, ANSI Y14.1."""
    (_, sheet), *others = sheets(SMALL, paper, rear)
    assert [page.what for page, _ in others] == ["holes", "depth"]
    assert sheet.size == pytest.approx(size)
    left, top, right, bottom = sheet.outline()
    assert right - left == pytest.approx(120, abs=TRUE) and bottom - top == pytest.approx(230, abs=TRUE)

    def on_sheet(x: float, y: float) -> Xy:
        return (right - x if rear else left + x), top + y

    wanted: list[tuple[Xy, float, bool]] = [((60, 100), 57, False), ((60, 100), 60, True)]
    wanted += [(at, 3.5, False) for at in ((60, 67), (93, 100), (60, 133), (27, 100))]
    for at, diameter, dashed in wanted:
        found = [
            d for place, d, its in sheet.circles if math.dist(place, on_sheet(*at)) < TRUE and its == dashed
        ]
        assert any(abs(d - diameter) < TRUE for d in found), (at, diameter)
    for half_x, half_y in ((12.5, 7), (15, 15)):  # the display's hole and bezel
        corners = [
            on_sheet(40.25 + a * half_x, 30.5 + b * half_y) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
        assert all(sheet.drawn(side) for side in zip(corners, [*corners[1:], corners[0]]))
    for at in (CLOCK.at, DISPLAY.at):  # their crosses
        x, y = on_sheet(*at)
        assert (
            sum(math.dist(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), (x, y)) < TRUE for a, b, _ in sheet.lines)
            >= 2
        )
    datum = on_sheet(0, 0)
    assert any(math.dist(place, datum) < TRUE and d == 3 for place, d, _ in sheet.circles)
    assert all(
        0 <= x <= sheet.size[0] and 0 <= y <= sheet.size[1] for a, b, _ in sheet.lines for x, y in (a, b)
    )
    assert any(("REAR VIEW (mirrored)" if rear else "FRONT VIEW") in words for words in sheet.words)


def test_the_bars_are_100_mm_and_4_inches() -> None:
    """Across and down, on every page at true size: a printer may stretch one way only. An inch is 25.4 mm (ISO 31-1)."""
    for page, sheet in sheets(LARGE):
        if page.origin is None:
            continue
        for way in (0, 1):
            along = [
                (abs(b[way] - a[way]), a)
                for a, b, width in sheet.lines
                if a[1 - way] == b[1 - way] and width == 0.3
            ]
            ((length, start),) = along
            assert length == pytest.approx(100, abs=0.001)
            ticks = {
                round(a[way] - start[way], 3)
                for a, b, width in sheet.lines
                if width == 0.2
                and a[way] == b[way]
                and min(abs(a[1 - way] - start[1 - way]), abs(b[1 - way] - start[1 - way])) < 0.001
            }
            assert ticks == {*(10.0 * k for k in range(11)), *(round(25.4 * k, 3) for k in range(5))}


def test_a_d_sub_on_the_sheet() -> None:
    """Its widest and narrowest reach, its screws; the corners' arcs take nothing off its sides."""
    panel = a_panel(100, 60, a_cutout("socket", (50, 30), d_sub(25), d_sub(25).flange, d_sub(25).screws))
    (_, sheet), *_ = sheets(panel)
    left, top, *_ = sheet.outline()
    ends = np.array([end for a, b, width in sheet.lines if width == 0.25 for end in (a, b)]) - (
        left + 50,
        top + 30,
    )
    hole = ends[np.hypot(ends[:, 0], ends[:, 1]) < 25]
    assert hole[:, 1].min() == pytest.approx(-5.7, abs=TRUE) and hole[:, 1].max() == pytest.approx(
        5.7, abs=TRUE
    )
    wide = hole[:, 0].max() - hole[:, 0].min()
    assert wide == pytest.approx(42.52, abs=TRUE)
    places = sorted(
        place for place, diameter, _ in sheet.circles if abs(diameter - 3.05) < TRUE and place[1] > top + 5
    )
    assert places[1][0] - places[0][0] == pytest.approx(47.04, abs=TRUE)  # MIL-DTL-24308, from memory


@given(st.floats(1, 60), st.floats(1, 60), st.floats(0.1, 0.4))
def test_rounded_corners_are_arcs(width: float, height: float, share: float) -> None:
    """Of a rectangle: every point lies on its side, or at the radius from the middle of the corner's arc."""
    radius = share * min(width, height)
    x, y = width / 2, height / 2
    for px, py in drill_sheet.rounded([(-x, -y), (x, -y), (x, y), (-x, y)], radius):
        dx, dy = abs(px) - (x - radius), abs(py) - (y - radius)
        assert math.hypot(max(dx, 0), max(dy, 0)) == pytest.approx(radius, abs=1e-6)


# -- tiles

PANELS = {
    "one page": (SMALL, "a4", [1, 0]),
    "larger": (LARGE, "a4", None),
    "larger, letter": (LARGE, "letter", None),
    "high": (a_panel(150, 900, CLOCK), "a4", None),
    "wide and lying": (a_panel(250, 160, CLOCK), "a4", [1, 0]),
    "nearly two metres": (
        a_panel(2000, 400, CLOCK, a_cutout("last", (1950, 350), Round(30))),
        "letter",
        None,
    ),
}


@pytest.mark.parametrize("rear", [False, True])
@pytest.mark.parametrize("case", PANELS)
def test_tiles_make_up_the_panel(case: str, rear: bool) -> None:
    """All of the edge of every hole is on some page, where its place and the page's origin say; each tile shares enough with its neighbour."""
    panel, paper, only = PANELS[case]
    tiles = [(page.origin, sheet) for page, sheet in sheets(panel, paper, rear) if page.origin is not None]
    assert only is None or len(tiles) == only[0]
    for cutout in panel.cutouts:
        if not isinstance(cutout.hole, Round):
            continue
        x, y = (panel.width - cutout.at[0] if rear else cutout.at[0]), cutout.at[1]
        r = cutout.hole.diameter / 2
        turns = np.arange(720) / 720 * math.tau
        left = np.ones(720, bool)
        for (ox, oy), sheet in tiles:
            if any(
                math.dist(place, (ox + x, oy + y)) < TRUE and abs(d - 2 * r) < TRUE
                for place, d, dashed in sheet.circles
            ):
                left[:] = False
            for a, b, _ in sheet.lines:  # a piece of it: its ends and its middle lie on it
                piece = [
                    (p[0] - ox - x, p[1] - oy - y) for p in (a, b, ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2))
                ]
                if all(abs(math.hypot(*p) - r) < TRUE for p in piece):
                    for px, py in piece:
                        off = (turns - math.atan2(py, px) + math.pi) % math.tau - math.pi
                        left &= np.abs(off) > math.radians(1.5)
        assert not left.any(), cutout.name


def test_two_pages_lie_on_each_other_by_their_marks() -> None:
    """The same square with the same letter at the same place of the panel on both; no letter stands for two places."""
    seen: dict[str, list[Xy]] = {}
    pages_ = [page for page in pages(LARGE, "hull console", "a4", False) if page.origin is not None]
    assert len(pages_) > 3
    for page in pages_:
        assert page.origin is not None
        squares = [
            one
            for one in page.drawing.shapes
            if isinstance(one, Words) and re.fullmatch(r"[A-Z]\d*", one.text)
        ]
        assert len(squares) >= 2
        for one in squares:
            seen.setdefault(one.text, []).append(
                (one.place[0] - page.origin[0], one.place[1] - page.origin[1])
            )
    for places in seen.values():
        assert len(places) >= 2 and all(math.dist(places[0], place) < 1e-6 for place in places)
    assert len({(round(x), round(y)) for (x, y), *_ in seen.values()}) == len(seen)


def test_every_word_stands_on_some_page() -> None:
    """All dimensions and labels of the panel, and none is cut by the edge of a tile unless it is longer than what two share."""
    wanted = sorted(one.text for one in panel_shapes(LARGE, False) if isinstance(one, Words))
    found = {word for page, sheet in sheets(LARGE) if page.origin is not None for word in sheet.words}
    assert set(wanted) <= found and {"230", "640", "700", "250"} <= found


@given(st.floats(0, 100), st.floats(1, 3000), st.floats(150, 280))
def test_neighbours_share_enough_for_a_mark(low: float, length: float, room: float) -> None:
    """Twice its 8 mm, so that it lies whole on both; each piece fits the page, together they are all, and each has a part of its own."""
    parts = drill_sheet._parts(low, low + length, room)
    assert (parts[0][0], parts[0][2]) == (low, low)
    assert parts[-1][1] == pytest.approx(low + length) and parts[-1][3] == pytest.approx(low + length)
    for first, last, own, after in parts:
        assert last - first <= room + 1e-9 and first - 1e-9 <= own < after <= last + 1e-9
    for before, behind in zip(parts, parts[1:]):
        assert before[1] - behind[0] >= 16 - 1e-9 and before[3] == behind[2] == pytest.approx(
            (before[1] + behind[0]) / 2
        )


@pytest.mark.parametrize("x", range(240, 280, 4))
def test_a_name_at_a_join_stands_on_one_page_at_least(x: int) -> None:
    """34 mm of letters where two pages share 17."""
    name = "an indicator light there"
    found = sheets(a_panel(520, 100, a_cutout(name, (x, 50), Round(8))))
    tiles = [sheet for page, sheet in found if page.origin is not None]
    assert len(tiles) == 2 and sum(f"1 {name}" in sheet.words for sheet in tiles) >= 1


@given(st.floats(-20, 120), st.floats(-20, 120), st.floats(-20, 120), st.floats(-20, 120))
def test_a_line_is_cut_at_the_edge_of_a_tile(x1: float, y1: float, x2: float, y2: float) -> None:
    """What is left lies on the line, within the tile, and is all of it that does."""
    part = drill_sheet._Taken(0, 0, 100, 100)
    tile = drill_sheet.Tile((210, 297), part, part, ())
    left = clipped(Line((x1, y1), (x2, y2), 0.2), tile)
    points = [(x1 + (x2 - x1) * k / 200, y1 + (y2 - y1) * k / 200) for k in range(201)]
    inside = [point for point in points if 0 <= point[0] <= 100 and 0 <= point[1] <= 100]
    if not left:
        assert len(inside) <= 1 or math.dist(inside[0], inside[-1]) < 1e-6
        return
    ((a, b),) = [(one.start, one.end) for one in left if isinstance(one, Line)]
    assert all(-1e-6 <= v <= 100 + 1e-6 for v in (*a, *b))
    assert all(
        math.dist(a, point) + math.dist(point, b) == pytest.approx(math.dist(a, b), abs=1e-6)
        for point in inside
    )


# -- readable


def box_of(one: Words) -> tuple[float, float, float, float]:
    """Of digits at most 0.64 of their size wide (of common typefaces, measured for the dial)."""
    long, high = len(one.text) * 0.64 * one.size, one.size
    if one.upward:
        long, high = high, long
    return one.place[0] - long / 2, one.place[1] - high / 2, one.place[0] + long / 2, one.place[1] + high / 2


def overlap(one: Words, other: Words) -> bool:
    (a, b, c, d), (e, f, g, h) = box_of(one), box_of(other)
    return a < g - 1e-9 and e < c - 1e-9 and b < h - 1e-9 and f < d - 1e-9


def words_of(panel: Panel, rear: bool = False) -> tuple[list[Words], list[Words]]:
    """Those on the panel, and those around it: its dimensions."""
    words = [one for one in panel_shapes(panel, rear) if isinstance(one, Words)]
    inside = [one for one in words if 0 < one.place[0] < panel.width and 0 < one.place[1] < panel.height]
    return inside, [one for one in words if one not in inside]


heaps = st.lists(st.tuples(st.floats(20, 280), st.floats(20, 180), st.floats(3, 30)), max_size=14)


@settings(max_examples=40)
@given(heaps, st.booleans())
def test_no_two_dimensions_overlap(heap: list[tuple[float, float, float]], rear: bool) -> None:
    """Wherever the cutouts stand, beside each other by a hundredth of a millimetre too; and each place has one, once."""
    cutouts = [a_cutout("lamp", (x, y), Round(d)) for x, y, d in heap]
    _, around = words_of(a_panel(300, 200, *cutouts), rear)
    assert not any(overlap(*pair) for pair in combinations(around, 2))
    for axis, end in enumerate((300.0, 200.0)):
        places = {0.0, end, *(round(one.at[axis], 2) for one in cutouts)}
        told = [one.text for one in around if one.upward == (axis == 0)]
        assert sorted(map(float, told)) == sorted(places)


cells = st.lists(st.tuples(st.floats(-4, 4), st.floats(-4, 4), st.floats(3, 30)), min_size=1, max_size=20)


@settings(max_examples=40)
@given(cells)
def test_no_two_labels_overlap(jitter: list[tuple[float, float, float]]) -> None:
    """On a panel whose cutouts keep their distance; where there is no room a number is left, and every cutout has its own."""
    cutouts = [
        a_cutout(f"lamp no {k}", (26 + 42 * (k % 7) + dx, 26 + 42 * (k // 7) + dy), Round(d))
        for k, (dx, dy, d) in enumerate(jitter)
    ]
    inside, _ = words_of(a_panel(310, 140, *cutouts))
    assert not any(overlap(*pair) for pair in combinations(inside, 2))
    numbers = [one.text.split()[0] for one in inside if not one.text.startswith("dia")]
    assert numbers == [str(k + 1) for k in range(len(cutouts))]


def test_labels_avoid_holes_screws_and_each_other() -> None:
    row = [a_cutout(f"lamp {k}", (20 + 16 * k, 40), Round(8), Round(10)) for k in range(5)]
    words, _ = words_of(a_panel(120, 80, *row))
    assert not any(overlap(*pair) for pair in combinations(words, 2))
    for word in words:
        a, b, c, d = box_of(word)
        for cutout in row:
            x, y = cutout.at
            assert math.hypot(max(a - x, x - c, 0), max(b - y, y - d, 0)) >= 5 - 1e-9
    assert sum(word.text.startswith("dia") for word in words) >= 3


@given(st.lists(st.floats(0, 300), min_size=1, max_size=30), st.floats(0.5, 5))
def test_spread_is_the_least_squares_one(places: list[float], least: float) -> None:
    """Against isotonic regression of what is left of each place when its rank's share is taken off (scipy)."""
    places = sorted(places)
    found = spread(places, least)
    assert all(b - a >= least - 1e-9 for a, b in zip(found, found[1:]))
    shares = least * np.arange(len(places))
    assert found == pytest.approx(isotonic_regression(np.array(places) - shares).x + shares, abs=1e-6)


def test_dimensions_that_have_room_stay_where_they_are() -> None:
    assert spread([0, 10, 20], 3.2) == [0, 10, 20]
    assert spread([10, 10.5], 3) == pytest.approx([8.75, 11.75])


# -- table and depth


def test_the_table_of_holes() -> None:
    found = [(one.number, one.what, one.at, one.drill) for one in holes(SMALL)]
    assert found == [
        ("1", "clock", (60, 100), 57), ("1a", "screw", (60, 67), 3.5), ("1b", "screw", (93, 100), 3.5),
        ("1c", "screw", (60, 133), 3.5), ("1d", "screw", (27, 100), 3.5), ("2", "display", (40.25, 30.5), None),
    ]  # fmt: skip
    assert drills(SMALL) == [(3.5, 4), (57, 1)]
    _, (_, table), _ = sheets(SMALL)
    for words in (
        "40.25",
        "30.5",
        "1.585",
        "1.201",
        "rectangle 25 x 14 mm",
        "round 60 mm",
    ):  # 40.25 mm are 1.585 in
        assert words in table.words
    assert "Round holes: 3.5 mm (0.138 in): 4; 57 mm (2.244 in): 1" in table.words


def test_a_long_table_goes_on() -> None:
    many = [a_cutout(f"lamp {k}", (10 + 8 * (k % 20), 10 + 8 * (k // 20)), Round(4)) for k in range(100)]
    found = [sheet for page, sheet in sheets(a_panel(180, 60, *many)) if page.what == "holes"]
    assert len(found) > 1
    names = [word for sheet in found for word in sheet.words if re.fullmatch(r"lamp \d+", word)]
    assert sorted(names) == sorted(f"lamp {k}" for k in range(100))
    for sheet in found:
        assert any("Deburr" in word for word in sheet.words)


# what is free behind the panel, the deepest instrument; the scale at which it is drawn
DEPTHS = {
    "true size": (90.0, 40.0, 1),
    "half": (200.0, 40.0, 2),
    "a deep one": (None, 500.0, 5),
    "a metre": (1000.0, 40.0, 10),
}


@pytest.mark.parametrize("free, deep, scale", DEPTHS.values(), ids=DEPTHS)
def test_the_side_view(free: float | None, deep: float, scale: int) -> None:
    """From the panel's front: instrument, plug and bend end where they should, and what is free at the bold line."""
    one = Cutout(1, "clock", (60, 100), Round(57), Round(60), None, deep, 15, 25)
    sheet = sheets(a_panel(120, 230, one, depth=free))[-1][1]
    assert any(("true size" if scale == 1 else f"scale 1:{scale}") in word for word in sheet.words)
    upright = {round(a[0], 3) for a, b, width in sheet.lines if a[0] == b[0] and width == 0.25}
    face = min(upright)
    ends = [deep / scale, (deep + 15) / scale, (deep + 40) / scale, 2 / scale]
    assert {round(face + end, 2) for end in ends} <= {round(x, 2) for x in upright}
    limits = [a[0] - face for a, b, width in sheet.lines if width == 0.5]
    assert limits == ([] if free is None else [pytest.approx((free + 2) / scale, abs=0.001)])
    told = f"{deep:g} + plug 15 + bend 25: {deep + 38:g} behind" + (
        "" if free is None else f", {free - deep - 38:g} left"
    )
    assert told in sheet.words
    assert all(0 <= x <= 210 for a, b, _ in sheet.lines for x, _ in (a, b))


def test_no_depth_no_sheet() -> None:
    lamp = Cutout(1, "lamp", (20, 20), Round(8), Round(8))
    assert [page.what for page, _ in sheets(a_panel(50, 50, lamp))] == ["panel", "holes"]
    found = sheets(a_panel(120, 230, lamp, CLOCK))[-1][1].words
    assert "No depth stated, not checked: lamp" in found


# -- the files


def test_a_pdf_is_at_true_size(tmp_path: Path) -> None:
    """Read back from its pages: their size, and a line of 100 mm, in points of 1/72 inch (ISO 32000-1)."""
    drawing = Drawing(
        210,
        297,
        (
            Line((30, 50), (130, 50), 0.3),
            Circle((100, 200), 28.5, 0.25, dashed=True),
            *bar((20, 100), down=True),
        ),
    )
    pdf([drawing, Drawing(297, 210, ())], tmp_path / "x.pdf")
    data = (tmp_path / "x.pdf").read_bytes()
    sizes = [
        tuple(map(float, found)) for found in re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
    ]
    assert sizes == [
        pytest.approx((210 / INCH * 72, 297 / INCH * 72), abs=0.01),
        pytest.approx((297 / INCH * 72, 210 / INCH * 72), abs=0.01),
    ]
    streams = [
        zlib.decompress(one)
        for one in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S)
        if one[:1] == b"\x78"
    ]
    lines = [
        tuple(map(float, found))
        for one in streams
        for found in re.findall(rb"([\d.]+) ([\d.]+) m\s+([\d.]+) ([\d.]+) l", one)
    ]
    mm = [tuple(value / 72 * INCH for value in line) for line in lines]
    assert any(line == pytest.approx((30, 247, 130, 247), abs=TRUE) for line in mm)
    assert any(line == pytest.approx((20, 197, 20, 97), abs=TRUE) for line in mm)


def test_words_that_are_read_from_below() -> None:
    """In the SVG turned about their own middle, to the left: read from the right side of the sheet."""
    text = svg(
        Drawing(50, 50, (Words((20, 30), "40.5", 2.6, upward=True), Line((0, 0), (9, 0), 0.2, dashed=True)))
    )
    assert 'transform="rotate(-90 20.0000 30.0000)"' in text and 'stroke-dasharray="2 1.5"' in text


def test_a_picture_of_dashes_and_upright_words(tmp_path: Path) -> None:
    """At 300 dots an inch: a dashed line has gaps, a solid one none; an upright word is higher than wide."""
    from matplotlib import image

    shapes = (
        Line((5, 5), (45, 5), 0.5),
        Line((5, 10), (45, 10), 0.5, dashed=True),
        Words((25, 27), "123456", 3, upward=True),
    )
    png(Drawing(50, 40, shapes), tmp_path / "x.png")
    dark = image.imread(tmp_path / "x.png")[:, :, 0] < 0.5
    assert dark.shape == (round(40 / INCH * 300), round(50 / INCH * 300)) or abs(dark.shape[0] - 472) <= 1
    dots = 300 / INCH
    row = {y: dark[round(y * dots), round(6 * dots) : round(44 * dots)] for y in (5, 10)}
    assert row[5].all() and 0.4 < row[10].mean() < 0.75
    ys, xs = np.nonzero(dark[round(13 * dots) :, :])
    assert np.ptp(ys) > 2.5 * np.ptp(xs)
    assert (xs.min() + xs.max()) / 2 / dots == pytest.approx(25, abs=0.4)


@pytest.fixture
def hull(tmp_path: Path) -> Path:
    (tmp_path / "hull.toml").write_text(BOX + PANEL, encoding="utf-8")
    return tmp_path / "hull.toml"


def test_the_command(hull: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(hull.parent)
    assert main(["template", "hull.toml"]) == 0
    out = capsys.readouterr().out
    assert (
        "hull_template.svg, hull_template_2.svg, hull_template_3.svg: panel 120 x 230 mm, front view" in out
    )
    for words in (
        "try every part",
        "fuel or hydraulic lines",
        "Deburr",
        "not in the box file, taken for parts of their own: clock",
        "not checked: map light knob, pump",
    ):
        assert words in out
    assert main(["template", "hull.toml", "--rear", "--paper", "letter", "-o", "x.svg", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["files"] == ["x.svg", "x_2.svg", "x_3.svg"] and said["pages"] == ["panel", "holes", "depth"]
    assert (said["view"], said["paper"], said["panel_mm"], said["free_behind_mm"]) == (
        "rear",
        "letter",
        [120, 230, 2],
        90,
    )
    assert said["holes"][0] == {
        "number": "1",
        "what": "display",
        "at_mm": [60, 40],
        "hole": "rectangle 25 x 14 mm",
        "drill_mm": None,
    }
    assert said["drills"] == [
        {"mm": 2.5, "holes": 4},
        {"mm": 3.5, "holes": 4},
        {"mm": 7, "holes": 1},
        {"mm": 12, "holes": 1},
        {"mm": 57, "holes": 1},
    ]
    assert said["depths"][1] == {"name": "clock", "behind_mm": 78, "left_mm": 12}
    assert len(said["cautions"]) == len(drill_sheet.CAUTIONS)
    assert Sheet((hull.parent / "x.svg").read_text()).size == pytest.approx((215.9, 279.4))
    assert main(["template", "hull.toml", "-o", "x.pdf"]) == 0
    assert (hull.parent / "x.pdf").read_bytes().startswith(b"%PDF")


def test_what_has_no_cutout_is_told(hull: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    text = (
        hull.read_text().replace('name = "display"', 'name = "horn"').replace('"map light knob"', '"valve"')
    )
    text = text.replace('depth = "90 mm"\n', "").replace('hole = "round 12 mm"', 'hole = "D-sub 9"')
    hull.write_text(text)
    assert main(["template", str(hull), "-o", str(tmp_path / "x.svg"), "--json"]) == 0
    notes = json.loads(capsys.readouterr().out)["notes"]
    assert notes[:2] == [
        "no cutout for: display, map light knob",
        "not in the box file, taken for parts of their own: horn, clock, valve",
    ]
    assert "not stated, so no depth is checked" in notes[3] and "measure your connector" in notes[4]


@pytest.mark.parametrize("name", ["knob", "map light", "map light knob"])
def test_ways_of_naming_the_only_knob(
    hull: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    hull.write_text(hull.read_text().replace('"map light knob"', f'"{name}"'))
    assert main(["template", str(hull), "-o", str(tmp_path / "x.svg"), "--json"]) == 0
    assert not [
        note
        for note in json.loads(capsys.readouterr().out)["notes"]
        if "knob" in note and "depth" not in note
    ]


# words behind the box file, its edit; exit code and what is told
REFUSED: dict[str, tuple[list[str], tuple[str, str], int, str]] = {
    "no panel": ([], (PANEL, ""), 2, 'has no [panel], so there is nothing to drill; write [panel] with width = "120 mm"'),
    "nothing to cut": ([], (PANEL[PANEL.index("[[cutout]]") :], ""), 2, "has no [[cutout]], so there is nothing to drill"),
    "another paper": (["--paper", "a3"], ("", ""), 2, "invalid choice: 'a3'"),
    "another picture": (["-o", "x.doc"], ("", ""), 2, "x.doc: no sheet can be written there; name a .svg, .pdf, .png"),
    "no folder": (["-o", "nowhere/x.svg"], ("", ""), 2, "nowhere/x.svg: no sheet can be written there"),
    "a second page that cannot be": (["-o", "y.svg"], ("", ""), 2, "y_2.svg: cannot be written: "),
    "a wrong panel": ([], ('["60 mm", "160 mm"]', '["45 mm", "160 mm"]'), 1, "overlap; at least 3 mm"),
}  # fmt: skip


@pytest.mark.parametrize("words, edit, code, told", REFUSED.values(), ids=REFUSED)
def test_refused(
    hull: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    edit: tuple[str, str],
    code: int,
    told: str,
) -> None:
    monkeypatch.chdir(hull.parent)
    (hull.parent / "y_2.svg").mkdir()
    hull.write_text(hull.read_text().replace(*edit))
    assert main(["template", "hull.toml", *words]) == code
    said = capsys.readouterr()
    assert told in said.err and said.out == ""
    assert main(["template", "hull.toml", *words, "--json"]) == code
    assert told in " ".join(json.loads(capsys.readouterr().out)["error"])


def test_half_a_set_is_not_written_and_older_pages_are_named(
    hull: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(hull.parent)
    for name in ("x.svg", "x_2.svg", "x_3.svg", "x_4.svg", "x_6.svg"):
        Path(name).write_text("old")
    Path("x_3.svg").chmod(0o444)
    assert main(["template", "hull.toml", "-o", "x.svg"]) == 2
    assert "x_3.svg: is read-only; not written" in capsys.readouterr().err
    assert Path("x.svg").read_text() == Path("x_2.svg").read_text() == "old"
    Path("x_3.svg").chmod(0o644)
    assert main(["template", "hull.toml", "-o", "x.svg"]) == 0
    out = capsys.readouterr().out
    assert "x_4.svg: a page of an older, longer set" in out and "x_6.svg" not in out
    Path("x_2.pdf").write_text("somebody else's")
    assert main(["template", "hull.toml", "-o", "x.pdf", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["old_pages"] == []


def test_a_sheet_is_written_as_a_whole(hull: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An ending may be in capitals; a disk that fills up leaves the sheet that was there."""
    monkeypatch.chdir(hull.parent)
    assert main(["template", "hull.toml", "-o", "X.SVG"]) == 0
    before = Path("X.SVG").read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gaugelight.whole_file.os.fsync", full)
    assert main(["template", "hull.toml", "--rear", "-o", "X.SVG"]) == 2
    assert Path("X.SVG").read_bytes() == before
