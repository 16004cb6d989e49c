"""[panel] and [[cutout]]: read, each wrong line with its place and what would be right, and how near two outlines come."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.boxfile import Box, box_of_text
from gaugelight.build import build
from gaugelight.circuits import Floats
from gaugelight.cli import DEMO
from gaugelight.panel.cutouts import Outline, Rectangle, Round, Xy, apart, covers, d_sub, millimetres, to_edge
from gaugelight.problems import WrongBoxFile

INCH = 25.4
PANEL = """
[panel]
width = "120 mm"
height = "230 mm"
thickness = "2 mm"
depth = "90 mm"

[[cutout]]
name = "display"
at = ["60 mm", "40 mm"]
hole = "rectangle 25 x 14 mm"
bezel = "rectangle 30 x 30 mm"
screws = { rectangle = "24 x 24 mm", drill = "2.5 mm" }
depth = "12 mm"
plug = "15 mm"
bend = "10 mm"

[[cutout]]
name = "clock"
at = ["60 mm", "100 mm"]
hole = "round 57 mm"
bezel = "round 60 mm"
screws = { circle = "66 mm", count = 4, drill = "3.5 mm" }
depth = "40 mm"
plug = "15 mm"
bend = "25 mm"

[[cutout]]
name = "map light knob"
at = ["30 mm", "160 mm"]
hole = "round 7 mm"
bezel = "round 20 mm"

[[cutout]]
name = "pump"
at = ["60 mm", "160 mm"]
hole = "round 12 mm"
"""
BOX = """[box]
name = "hull console"
board = "rp2040"

[[lamp]]
name = "map light"
pin = 15
knob = 27

[[lamp]]
name = "legends"
pin = 16
level = "50 %"

[[switch]]
name = "pump"
pin = 9

[display]
address = 0x3c
"""


def box(text: str = PANEL) -> Box:
    return box_of_text("hull.toml", BOX + text)


def test_what_is_read() -> None:
    panel = box().panel
    assert panel is not None
    assert (panel.width, panel.height, panel.thickness, panel.depth, panel.gap) == (120, 230, 2, 90, 3)
    display, clock, knob, pump = panel.cutouts
    assert (display.at, display.hole, display.bezel) == ((60, 40), Rectangle(25, 14), Rectangle(30, 30))
    assert display.screw_places == ((48, 28), (72, 28), (72, 52), (48, 52))
    half = 33 / math.sqrt(2)  # four screws stand in the corners
    assert clock.screw_places[0] == pytest.approx((60 + half, 100 - half))
    assert len(clock.screw_places) == 4 and clock.screws is not None and clock.screws.drill == 3.5
    assert (pump.hole, pump.bezel, pump.screws, pump.depth) == (Round(12), Round(12), None, None)
    # 12 mm from the front's face, 2 of these in the panel; 15 and 10 behind it
    assert (panel.behind(display), panel.behind(pump)) == (35, None)
    assert box("").panel is None


# as it is written, and what it is in mm
WRITTEN: dict[str, tuple[str, str, Outline]] = {
    "inches": ('"round 57 mm"', '"round 2.25 in"', Round(57.15)),
    "a unit each": ('"round 57 mm"', '"rectangle 3.5 cm x 23 mm"', Rectangle(35, 23)),
    "one unit for both": ('"round 57 mm"', '"Rectangle 1.5 x 0.5 in"', Rectangle(38.1, 12.7)),
    "a sign for times": ('"round 57 mm"', '"rectangle 35 \u00d7 23 mm"', Rectangle(35, 23)),
    "a connector": ('hole = "round 57 mm"\nbezel = "round 60 mm"\nscrews = { circle = "66 mm", count = 4, drill = "3.5 mm" }', 'hole = "d-sub 25"', d_sub(25)),
}  # fmt: skip


@pytest.mark.parametrize("old, new, outline", WRITTEN.values(), ids=WRITTEN)
def test_ways_of_writing_a_hole(old: str, new: str, outline: Outline) -> None:
    assert old in PANEL
    panel = box(PANEL.replace(old, new, 1)).panel
    assert panel is not None
    hole = panel.cutouts[1].hole
    assert type(hole) is type(outline) and (hole.width, hole.height) == pytest.approx(
        (outline.width, outline.height)
    )


# count, first angle where it is written; where the first screw is, degrees clockwise from the top
FIRST = {
    "one": (1, None, 0),
    "two": (2, None, 90),
    "three": (3, None, 0),
    "four": (4, None, 45),
    "turned": (3, 30, 30),
}


@pytest.mark.parametrize("count, first, angle", FIRST.values(), ids=FIRST)
def test_screws_on_a_circle(count: int, first: int | None, angle: float) -> None:
    written = f"count = {count}" + ("" if first is None else f", first = {first}")
    panel = box(PANEL.replace("count = 4", written)).panel
    assert panel is not None
    places = panel.cutouts[1].screw_places
    turns = [math.degrees(math.atan2(x - 60, 100 - y)) % 360 for x, y in places]
    assert turns == pytest.approx([(angle + 360 * k / count) % 360 for k in range(count)])
    assert [math.dist(place, (60, 100)) for place in places] == pytest.approx([33] * count)


NINES = "9" * 5000  # more digits than Python turns into a number

# the edit, the line it is told at (by what stands there), and all that is told behind file and line
WRONG: dict[str, tuple[str, str, str, str]] = {
    "no panel": (PANEL[: PANEL.index("[[cutout]]")], "", "[[cutout]]", 'cutout 1: there is no panel to cut it in; add [panel] with width = "120 mm", height = "230 mm", thickness = "2 mm"'),
    "no width": ('width = "120 mm"\n', "", "[panel]", 'panel: width is missing; write width = its width, such as "120 mm"'),
    "no thickness": ('thickness = "2 mm"\n', "", "[panel]", 'panel: thickness is missing; write thickness = its thickness, such as "2 mm"'),
    "a width without unit": ('width = "120 mm"', "width = 120", "width = 120", 'panel, width: has no unit; write "120 mm"'),
    "a panel of a hangar": ('"230 mm"', '"23 m"', 'height = "23 m"', 'panel, height: "23 m" must lie between 10 mm and 2000 mm'),
    "unknown key": ('thickness = "2 mm"', 'thickness = "2 mm"\ngab = "2 mm"', "gab", 'panel, gab: unknown key; did you mean "gap"?'),
    "panel twice": ("\n[panel]\n", '\n[panel]\ngap = "2 mm"\n[panel]\n', "[panel]\nwidth", "TOML: [panel] stands there twice in: [panel]"),
    "one bracket": ('[[cutout]]\nname = "clock"', '[cutout]\nname = "clock"', '[cutout]\nname = "clock"', "TOML: [cutout] stands there twice in: [cutout]; there may be several: write [[cutout]] each time"),
    "no name": ('name = "clock"\n', "", '[[cutout]]\nat = ["60 mm", "100 mm"]', 'cutout 2: name is missing; write name = what stands there, such as "display"'),
    "no place": ('at = ["60 mm", "100 mm"]\n', "", '[[cutout]]\nname = "clock"', 'cutout clock: at is missing; write at = ["60 mm", "40 mm"], its middle from the panel\'s upper left corner'),
    "half a place": ('["60 mm", "100 mm"]', '"60 mm"', 'at = "60 mm"', 'cutout clock, at: must be [to the right, down] from the panel\'s upper left corner: ["60 mm", "40 mm"]'),
    "no hole": ('hole = "round 57 mm"\n', "", '[[cutout]]\nname = "clock"', 'cutout clock: hole is missing; write hole = "round 57 mm", "rectangle 35 x 23 mm" or "D-sub 25"'),
    "a hole of sorts": ('"round 57 mm"', '"57 mm"', 'hole = "57 mm"', "cutout clock, hole: '57 mm' is no outline; write \"round 57 mm\", \"rectangle 35 x 23 mm\" or \"D-sub 25\""),
    "a hole without unit": ('"round 57 mm"', '"round 57"', 'hole = "round 57"', 'cutout clock, hole: "57" has no unit; write "57 mm"'),
    "a hole of nothing": ('"round 57 mm"', '"round 0 mm"', 'hole = "round 0 mm"', 'cutout clock, hole: "0 mm" must lie between 0.5 mm and 2000 mm'),
    "half a rectangle": ('"rectangle 25 x 14 mm"', '"rectangle 25 mm"', 'hole = "rectangle 25', "cutout display, hole: '25 mm' is no width and height; write \"30 x 28 mm\""),
    "a connector nobody has": ('"round 57 mm"', '"D-sub 37"', 'hole = "D-sub 37"', 'cutout clock, hole: "D-sub 37" is not known; there is: D-sub 9, D-sub 15, D-sub 25'),
    "a connector beyond counting": ('"round 57 mm"', f'"D-sub {NINES}"', 'hole = "D-sub 9', f"cutout clock, hole: 'D-sub {NINES}' is no outline; write \"round 57 mm\", \"rectangle 35 x 23 mm\" or \"D-sub 25\""),
    "a connector's own screws": ('hole = "round 57 mm"', 'hole = "D-sub 25"', "screws = { circle", "cutout clock, screws: a D-sub has its own; leave this key out"),
    "screws of sorts": ('circle = "66 mm", ', "", "screws = { count", 'cutout clock, screws: must be { circle = "66 mm", count = 4, drill = "3.5 mm" } or { rectangle = "30 x 28 mm", drill = "2.5 mm" }'),
    "no drill": (', drill = "3.5 mm"', "", "screws = { circle", 'cutout clock, screws: drill is missing; write { circle = "66 mm", count = 4, drill = "3.5 mm" } or { rectangle = "30 x 28 mm", drill = "2.5 mm" }'),
    "a count of a rectangle": ('drill = "2.5 mm"', 'drill = "2.5 mm", count = 4', "screws = { rectangle", 'cutout display, screws: has no "count"; it has: rectangle, drill'),
    "half a screw": ("count = 4", "count = 2.5", "screws = { circle", "cutout clock, screws: count: must be a number from 1 to 24, not 2.5"),
    "screws into each other": ('{ circle = "66 mm", count = 4, drill = "3.5 mm" }', '{ circle = "66 mm", count = 24, drill = "8 mm" }', "screws = { circle", "cutout clock, screws: are nearer to each other than 1 mm"),
    "an angle": ("count = 4", 'count = 4, first = "45"', "screws = { circle", "cutout clock, screws: first: '45' is no angle; write degrees clockwise from the top, such as 45"),
    "plug without depth": ('depth = "40 mm"\nplug = "15 mm"\nbend = "25 mm"', 'plug = "15 mm"', 'plug = "15 mm"\n\n', 'cutout clock, plug: starts behind what stands there; add its depth = "40 mm"'),
    "another key": ('bend = "25 mm"', 'bent = "25 mm"', "bent", 'cutout clock, bent: unknown key; did you mean "bend"?'),
    "a slip of the name": ('name = "display"', 'name = "dispaly"', 'name = "dispaly"', 'cutout dispaly, name: the file has no "dispaly"; did you mean "display"?'),
    "a name in capitals": ('name = "pump"\nat', 'name = "Pump"\nat', 'name = "Pump"', 'cutout Pump, name: the file has no "Pump"; did you mean "pump"?'),
    "a lamp without a knob": ('"map light knob"', '"legends knob"', 'name = "legends knob"', 'cutout legends knob, name: the lamp "legends" has no knob'),
    "the same twice": ('name = "clock"', 'name = "display"', 'name = "display"\nat = ["60 mm", "100', "cutout display, name: stands at line NAME too; each needs its own"),
    "a small bezel": ('bezel = "round 60 mm"', 'bezel = "round 56 mm"', 'bezel = "round 56', "cutout clock, bezel: round 56 mm does not cover its hole, round 57 mm"),
    "a narrow bezel": ('"rectangle 30 x 30 mm"', '"rectangle 24 x 30 mm"', 'bezel = "rectangle 24', "cutout display, bezel: rectangle 24 x 30 mm does not cover its hole, rectangle 25 x 14 mm"),
    "a round bezel on a box": ('"rectangle 30 x 30 mm"', '"round 28 mm"', 'bezel = "round 28', "cutout display, bezel: round 28 mm does not cover its hole, rectangle 25 x 14 mm"),
    "screws in the hole": ('"66 mm"', '"58 mm"', "screws = { circle", "cutout clock, screws: run into the hole, round 57 mm; at least 1 mm must stay"),
    "screws at the hole": ('"66 mm"', '"61.5 mm"', "screws = { circle", "cutout clock, screws: leave 0.5 mm to the hole, round 57 mm; at least 1 mm must stay"),
    "beyond the edge": ('["60 mm", "100 mm"]', '["20 mm", "100 mm"]', 'at = ["20 mm", "100', "cutout clock, at: its bezel is 10 mm beyond the edge of the panel, 120 x 230 mm; at least 3 mm ([panel] gap)"),
    "near the edge": ('["30 mm", "160 mm"]', '["12.5 mm", "160 mm"]', 'at = ["12.5 mm"', "cutout map light knob, at: its bezel is 2.5 mm from the edge of the panel, 120 x 230 mm; at least 3 mm ([panel] gap)"),
    "a screw near the edge": ('circle = "66 mm", count = 4', 'circle = "112 mm", count = 2', 'at = ["60 mm", "100', "cutout clock, at: its screw is 2.25 mm from the edge of the panel, 120 x 230 mm; at least 3 mm ([panel] gap)"),
    "bezels overlap": ('["60 mm", "160 mm"]', '["45 mm", "160 mm"]', 'at = ["45 mm", "160', 'cutout pump, at: its bezel and the bezel of "map light knob" (line LINE) overlap; at least 3 mm ([panel] gap)'),
    "bezels too near": ('["60 mm", "160 mm"]', '["48.5 mm", "160 mm"]', 'at = ["48.5 mm", "160', 'cutout pump, at: its bezel and the bezel of "map light knob" (line LINE) are 2.5 mm apart; at least 3 mm ([panel] gap)'),
    "a wider gap": ('depth = "90 mm"', 'depth = "90 mm"\ngap = "15 mm"', 'at = ["60 mm", "160', 'cutout pump, at: its bezel and the bezel of "map light knob" (line LINE) are 14 mm apart; at least 15 mm ([panel] gap)'),
    "a screw under a bezel": ('hole = "round 12 mm"', 'hole = "round 12 mm"\nscrews = { circle = "32 mm", count = 2, drill = "3 mm" }', 'at = ["60 mm", "160', 'cutout pump, at: its screw and the bezel of "map light knob" (line LINE) are 2.5 mm apart; at least 3 mm ([panel] gap)'),
    "no room behind": ('bend = "25 mm"', 'bend = "40 mm"', 'depth = "40 mm"', "cutout clock, depth: needs 93 mm behind the panel (depth 40 less the panel's 2, plug 15, bend 40); 90 mm are free"),
    "a deep instrument": ('depth = "40 mm"\nplug = "15 mm"\nbend = "25 mm"', 'depth = "92.5 mm"', 'depth = "92.5', "cutout clock, depth: needs 90.5 mm behind the panel (depth 92.5 less the panel's 2); 90 mm are free"),
}  # fmt: skip


def line_of(text: str, what: str) -> int:
    return text[: text.index(what)].count("\n") + 1


@pytest.mark.parametrize("old, new, where, told", WRONG.values(), ids=WRONG)
def test_what_is_wrong_is_told_with_its_line(old: str, new: str, where: str, told: str) -> None:
    assert old in PANEL
    text = BOX + PANEL.replace(old, new, 1)
    with pytest.raises(WrongBoxFile) as wrong:
        box_of_text("hull.toml", text)
    (line,) = wrong.value.lines
    for word, what in (("NAME", 'name = "display"'), ("LINE", '[[cutout]]\nname = "map light knob"')):
        told = told.replace(word, str(line_of(text, what))) if word in told else told
    assert line == f"hull.toml:{line_of(text, where)}: {told}"


def test_all_that_is_wrong_is_told_at_once() -> None:
    text = PANEL.replace('["60 mm", "160 mm"]', '["45 mm", "160 mm"]').replace(
        'bend = "25 mm"', 'bend = "40 mm"'
    )
    with pytest.raises(WrongBoxFile) as wrong:
        box(text.replace('bezel = "round 60 mm"', 'bezel = "round 56 mm"'))
    assert [problem.where for problem in wrong.value.problems] == [
        "cutout clock, bezel",
        "cutout clock, depth",
        "cutout pump, at",
    ]


# names that are nearly one of the file's and yet another part, or that go without the file
NAMES = {
    "a part of its own": "compass",
    "longer": "pump breaker",
    "with a number": "map light 2",
    "the only knob": "knob",
    "a lamp": "legends",
}


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_names_that_may_stand_there(name: str) -> None:
    panel = box(PANEL.replace('name = "clock"', f'name = "{name}"')).panel
    assert panel is not None and panel.cutouts[1].name == name


def test_without_a_display_there_is_none_to_cut_for() -> None:
    with pytest.raises(
        WrongBoxFile,
        match=r"cutout display, name: the file has no display; add \[display\] with address = 0x3c",
    ):
        box_of_text("hull.toml", BOX.replace("[display]\naddress = 0x3c\n", "") + PANEL)


# knobs of the lamps, and what is told of a cutout called "knob"
KNOBS = {
    "two": ("knob = 26", 'of which lamp? there is: "map light knob", "legends knob"'),
    "none": (None, "no lamp of the file has a knob"),
}


@pytest.mark.parametrize("second, told", KNOBS.values(), ids=KNOBS)
def test_which_knob(second: str | None, told: str) -> None:
    text = BOX.replace('level = "50 %"', second) if second else BOX.replace("knob = 27", 'level = "50 %"')
    panel = PANEL.replace('name = "map light knob"', 'name = "knob"')
    with pytest.raises(WrongBoxFile) as wrong:
        box_of_text("hull.toml", text + panel)
    assert told in wrong.value.lines[0]


def test_depths_that_are_not_stated_are_not_judged() -> None:
    panel = box(PANEL.replace('depth = "90 mm"\n', "").replace('bend = "25 mm"', 'bend = "400 mm"')).panel
    assert panel is not None and panel.depth is None and panel.behind(panel.cutouts[1]) == 453


def test_it_just_fits() -> None:
    """As near as it may be, in inches too: what they leave in the last digits is no fault. Without a bezel the hole is its own."""
    assert box(PANEL.replace('bezel = "rectangle 30 x 30 mm"\n', "")).panel is not None
    text = PANEL.replace('["60 mm", "160 mm"]', '["49 mm", "160 mm"]').replace(
        'bend = "25 mm"', 'bend = "37 mm"'
    )
    assert box(text.replace('["30 mm", "160 mm"]', '["13 mm", "160 mm"]')).panel is not None
    assert box(text.replace('"90 mm"', '"3.543307087 in"')).panel is not None


def test_the_box_knows_nothing_of_it() -> None:
    """Not a byte of the table image."""
    text = DEMO.read_text(encoding="utf-8")
    bare = text[: text.index("[panel]")] if "\n[panel]" in text else text
    panel = PANEL.replace('"map light knob"', '"glare shield knob"').replace('"pump"', '"transfer pump"')
    assert build(box_of_text("a", bare)).image == build(box_of_text("a", bare + panel)).image


# -- how near

ONE, OTHER = Round(10), Rectangle(20, 6)
# outlines about their middles, and what is between them, by hand
APART: dict[str, tuple[Outline, Xy, Outline, Xy, float]] = {
    "round ones": (Round(10), (0, 0), Round(6), (30, 40), 42),
    "round ones overlap": (Round(10), (0, 0), Round(6), (3, 4), -3),
    "one in the other": (Round(10), (0, 0), Round(2), (0, 0), -6),
    "round beside box": (ONE, (30, 2), OTHER, (0, 0), 15),
    "round above box": (ONE, (5, -18), OTHER, (0, 0), 10),
    "round at a corner": (ONE, (13, 7), OTHER, (0, 0), 0),
    "round beyond a corner": (ONE, (16, 11), OTHER, (0, 0), 5),
    "boxes side by side": (OTHER, (0, 0), Rectangle(2, 40), (14, 5), 3),
    "boxes corner to corner": (OTHER, (0, 0), Rectangle(2, 2), (14, 8), 5),
    "boxes overlap": (OTHER, (0, 0), Rectangle(4, 4), (11, 0), -1),
    "box in a box": (OTHER, (0, 0), Rectangle(4, 4), (0, 0), -5),
}


@pytest.mark.parametrize("one, at, other, there, between", APART.values(), ids=APART)
def test_apart(one: Outline, at: Xy, other: Outline, there: Xy, between: float) -> None:
    assert apart(at, one, there, other) == pytest.approx(between)
    assert apart(there, other, at, one) == pytest.approx(between)


outlines = st.one_of(
    st.builds(Round, st.floats(1, 80)), st.builds(Rectangle, st.floats(1, 80), st.floats(1, 80))
)
places = st.tuples(st.floats(-100, 100), st.floats(-100, 100))


def edge(at: Xy, one: Outline, points: int = 200) -> Floats:
    """So many points of it, evenly all around."""
    along = np.arange(points) / points
    if isinstance(one, Round):
        return np.array(at) + one.diameter / 2 * np.stack(
            [np.cos(math.tau * along), np.sin(math.tau * along)], 1
        )
    w, h = one.width, one.height
    corners = np.array([(-w, -h), (w, -h), (w, h), (-w, h), (-w, -h)]) / 2
    reached = np.array([0, w, w + h, 2 * w + h, 2 * w + 2 * h])
    walk = along * reached[-1]
    x, y = (np.interp(walk, reached, corners[:, k]) for k in (0, 1))
    return np.stack([at[0] + x, at[1] + y], 1)


def within(points: Floats, at: Xy, one: Outline) -> bool:
    """Whether one of the points lies inside."""
    off = np.abs(points - np.array(at))
    if isinstance(one, Round):
        return bool(np.any(np.hypot(off[:, 0], off[:, 1]) < one.diameter / 2))
    return bool(np.any((off[:, 0] < one.width / 2) & (off[:, 1] < one.height / 2)))


@settings(max_examples=40)
@given(places, outlines, places, outlines)
def test_no_points_of_two_edges_are_nearer(at: Xy, one: Outline, there: Xy, other: Outline) -> None:
    """And one pair of them comes as near as it says, but for how far the points lie apart; what overlaps has points inside."""
    between = apart(at, one, there, other)
    first, second = edge(at, one), edge(there, other)
    found = float(np.min(np.linalg.norm(first[:, None] - second[None], axis=2)))
    if between >= 0:
        assert between - 1e-9 <= found <= between + 2
    elif between < -2:
        first, second = np.append(first, [at], 0), np.append(second, [there], 0)
        assert within(first, there, other) or within(second, at, one)


@settings(max_examples=40)
@given(outlines, outlines)
def test_what_covers_hides_all_of_the_edge(one: Outline, other: Outline) -> None:
    shown = edge((0, 0), other)
    if covers(one, other):
        assert not within(edge((0, 0), one) * (1 + 1e-6), (0, 0), other)
    else:  # some of it looks out, by the width of a hair at least
        inside = [within(shown[k : k + 1], (0, 0), one) for k in range(len(shown))]
        corners = np.array([(1, 1), (1, -1), (-1, 1), (-1, -1)]) * np.array([[other.width, other.height]]) / 2
        hidden = all(inside) and (
            isinstance(other, Round)
            or all(within(corners[k : k + 1] * (1 - 1e-9), (0, 0), one) for k in range(4))
        )
        assert not hidden


def test_to_the_edge() -> None:
    assert to_edge((30, 40), Rectangle(20, 10), 100, 60) == 15  # below it
    assert to_edge((95, 40), Round(20), 100, 100) == -5


# -- D-sub

# inches, MIL-DTL-24308 and IEC 60807-2, from memory: screws, flange, hole for a connector put in from behind
IN_INCHES = {9: (0.984, 1.213, 0.806), 15: (1.312, 1.541, 1.134), 25: (1.852, 2.088, 1.674)}


@pytest.mark.parametrize("ways", IN_INCHES)
def test_the_hole_of_a_d_sub(ways: int) -> None:
    """And against what else is published: contacts 2.77 mm apart in a row of (ways + 1) / 2 (IEC 60807-2), by which the shells differ."""
    screws, flange, hole = (inches * INCH for inches in IN_INCHES[ways])
    one = d_sub(ways)
    assert one.width == pytest.approx(hole, abs=0.01) and one.height == pytest.approx(0.449 * INCH, abs=0.01)
    assert (one.flange.width, one.flange.height) == pytest.approx((flange, 0.494 * INCH), abs=0.01)
    (left, _), (right, _) = one.screws.places
    assert right - left == pytest.approx(screws, abs=0.01) and one.screws.drill == pytest.approx(
        0.120 * INCH, abs=0.01
    )
    (nine, _), (other, _) = d_sub(9).screws.places
    row = (ways + 1) / 2 * 2.77
    assert right - left - (other - nine) == pytest.approx(row - 5 * 2.77, abs=0.15)
    assert one.width > row + 2 and covers(one.flange, one)
    # metal stays between the screws and the slanted side, level with them
    _, (x1, y1), (x2, y2), _ = one.corners
    side = (x1 + x2) / 2
    assert (y1 + y2, x1 - x2) == pytest.approx((0, 11.40 * math.tan(math.radians(10))), abs=0.01)
    assert right - one.screws.drill / 2 - side >= 0.7


MILLIMETRES = {
    "whole": (40.0, "40"),
    "a half": (40.5, "40.5"),
    "an inch": (57.15, "57.15"),
    "a third": (100 / 3, "33.33"),
    "next to nothing": (-1e-9, "0"),
    "a metre": (1234.5, "1234.5"),
    "two": (2000.0, "2000"),
}


@pytest.mark.parametrize("value, text", MILLIMETRES.values(), ids=MILLIMETRES)
def test_as_it_is_written_on_a_sheet(value: float, text: str) -> None:
    assert millimetres(value) == text
