"""The box file's [panel] and [[cutout]]: what the panel is, where its holes are, and whether all that goes together."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

from gaugelight import box_values
from gaugelight.panel.cutouts import (
    D_SUBS,
    SLACK,
    Cutout,
    DSub,
    Outline,
    Rectangle,
    Round,
    Screws,
    Xy,
    apart,
    covers,
    d_sub,
    millimetres,
    to_edge,
)
from gaugelight.quantity import parse_quantity

if TYPE_CHECKING:
    from gaugelight.boxfile import Reader, Section

GAP = 3.0  # mm between bezels, where nothing else is stated (common practice, no source)
LEAST_WEB = 1.0  # mm of metal between a screw and its hole (common practice, no source)
LARGEST = 2000.0  # mm
MOST_SCREWS = 24
ALIKE = 0.82  # of two names: one is a slip of the other
DISPLAY, KNOB = "display", "knob"

ROUND_OUTLINE = re.compile(r"round\s+(\S.*)", re.I)
BOX_OUTLINE = re.compile(r"rectangle\s+(\S.*)", re.I)
SIZES = re.compile(r"([\d.]+)\s*([a-z]*)\s*[x\u00d7]\s*([\d.]+)\s*([a-z]*)", re.I)
D_SUB = re.compile(r"D-sub\s+([1-9]\d{0,2})", re.I)
RIGHT_OUTLINE = '"round 57 mm" or "rectangle 35 x 23 mm"'
RIGHT_HOLE = '"round 57 mm", "rectangle 35 x 23 mm" or "D-sub 25"'
RIGHT_SCREWS = (
    '{ circle = "66 mm", count = 4, drill = "3.5 mm" } or { rectangle = "30 x 28 mm", drill = "2.5 mm" }'
)


@dataclass(frozen=True)
class Panel:
    """mm. depth: free behind its back; None: not stated. gap: the least between two cutouts, and to the panel's edge."""

    line: int
    width: float
    height: float
    thickness: float
    depth: float | None
    gap: float
    cutouts: tuple[Cutout, ...]

    def behind(self, cutout: Cutout) -> float | None:
        """mm that a cutout's instrument, plug and bend need behind the panel's back; None where its depth is not stated."""
        if cutout.depth is None:
            return None
        return max(0.0, cutout.depth - self.thickness) + cutout.plug + cutout.bend


def names_on_panel(reader: Reader) -> dict[str, str]:
    """What the file has that can stand on a panel, as a cutout names it, and what that is. Before its tables are taken out of the reader."""
    found = {name: "a needle" for _, name in reader.named("needle")}
    found |= {name: "a switch" for _, name in reader.named("switch")}
    lamps = reader.content.get("lamp")
    knobs = []
    for one in lamps if isinstance(lamps, list) else []:
        if isinstance(one, dict) and isinstance(name := one.get("name"), str):
            found[name] = "a lamp"
            knobs += [name] if "knob" in one else []
    if len(knobs) == 1:
        found[KNOB] = "a knob"
    found |= {f"{name} {KNOB}": "a knob" for name in knobs}
    display = reader.content.get("display")
    if isinstance(display, dict) and "address" in display:
        found[DISPLAY] = "the display"
    return found


def read_panel(reader: Reader, known: dict[str, str]) -> Panel | None:
    """known: from names_on_panel. Problems go to the reader."""
    before = len(reader.problems)
    section = reader.table("panel")
    sections = reader.tables("cutout")
    if section is None:
        if sections:
            example = 'add [panel] with width = "120 mm", height = "230 mm", thickness = "2 mm"'
            sections[0].wrong("", f"there is no panel to cut it in; {example}")
        return None
    width = section.take("width", _length(10, LARGEST), None, 'its width, such as "120 mm"')
    height = section.take("height", _length(10, LARGEST), None, 'its height, such as "230 mm"')
    thickness = section.take("thickness", _length(0.2, 50), None, 'its thickness, such as "2 mm"')
    depth = section.take("depth", _length(0, LARGEST), None)
    gap = section.take("gap", _length(0, 100), GAP)
    section.finish()
    made = [_cutout(one) for one in sections]
    _names(sections, known)
    if len(reader.problems) > before or width is None or height is None or thickness is None or gap is None:
        return None
    cutouts = tuple(one for one in made if one is not None)
    panel = Panel(section.line, width, height, thickness, depth, gap, cutouts)
    for each, one in zip(sections, cutouts):
        _judge(each, one, panel)
    _judge_pairs(list(zip(sections, cutouts)), gap)
    return panel


def _length(least: float, most: float) -> Callable[[Any], float]:
    def parse(value: Any) -> float:
        length = float(parse_quantity(value, "mm"))
        if not least - SLACK <= length <= most + SLACK:
            raise ValueError(f'"{value}" must lie between {least:g} mm and {most:g} mm')
        return length

    return parse


def _cutout(section: Section) -> Cutout | None:
    before = section.problems
    name = section.take("name", box_values.name, "", 'what stands there, such as "display"') or ""
    section.name = f"cutout {name or section.index + 1}"
    at = section.take(
        "at", _place, None, '["60 mm", "40 mm"], its middle from the panel\'s upper left corner'
    )
    hole = section.take("hole", _hole, None, RIGHT_HOLE)
    bezel = section.take("bezel", outline, None) or (hole.flange if isinstance(hole, DSub) else hole)
    screws = section.take("screws", _screws, None)
    if isinstance(hole, DSub):
        if "screws" in section.written:
            section.wrong("screws", "a D-sub has its own; leave this key out")
        screws = hole.screws
    depth = section.take("depth", _length(0.1, LARGEST), None)
    plug = section.take("plug", _length(0, LARGEST), 0.0)
    bend = section.take("bend", _length(0, LARGEST), 0.0)
    section.finish()
    for key in ("plug", "bend"):
        if key in section.written and "depth" not in section.written:
            section.wrong(key, 'starts behind what stands there; add its depth = "40 mm"')
    if section.problems > before or at is None or hole is None or bezel is None:
        return None
    return Cutout(section.line, name, at, hole, bezel, screws, depth, plug or 0.0, bend or 0.0)


def _place(value: Any) -> Xy:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(
            'must be [to the right, down] from the panel\'s upper left corner: ["60 mm", "40 mm"]'
        )
    x, y = (float(parse_quantity(one, "mm")) for one in value)
    return x, y


def _hole(value: Any) -> Outline:
    if isinstance(value, str) and (match := D_SUB.fullmatch(value.strip())):
        if int(match[1]) not in D_SUBS:
            raise ValueError(
                f'"{value}" is not known; there is: {", ".join(f"D-sub {ways}" for ways in D_SUBS)}'
            )
        return d_sub(int(match[1]))
    try:
        return outline(value)
    except ValueError as problem:
        raise ValueError(str(problem).replace(RIGHT_OUTLINE, RIGHT_HOLE)) from None


def outline(value: Any) -> Outline:
    """Of a bezel or a plain hole, as it is written in the box file. Raises ValueError."""
    if isinstance(value, str) and (match := ROUND_OUTLINE.fullmatch(value.strip())):
        return Round(_length(0.5, LARGEST)(match[1]))
    if isinstance(value, str) and (match := BOX_OUTLINE.fullmatch(value.strip())):
        return _sides(match[1])
    raise ValueError(f"{value!r} is no outline; write {RIGHT_OUTLINE}")


def _sides(value: Any) -> Rectangle:
    """Two lengths; a unit behind the second one is that of both."""
    match = SIZES.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f'{value!r} is no width and height; write "30 x 28 mm"')
    width, unit, height, units = match.groups()
    side = _length(0.5, LARGEST)
    return Rectangle(side(f"{width} {unit or units}".strip()), side(f"{height} {units or unit}".strip()))


def _screws(value: Any) -> Screws:
    if not isinstance(value, dict) or ("circle" in value) == ("rectangle" in value):
        raise ValueError(f"must be {RIGHT_SCREWS}")
    possible = ("circle", "count", "first", "drill") if "circle" in value else ("rectangle", "drill")
    for key in value:
        if key not in possible:
            raise ValueError(f'has no "{key}"; it has: {", ".join(possible)}')
    for key in ("drill", *(["count"] if "circle" in value else [])):
        if key not in value:
            raise ValueError(f"{key} is missing; write {RIGHT_SCREWS}")
    try:
        key = "drill"
        drill = _length(0.5, 20)(value[key])
        if "rectangle" in value:
            key = "rectangle"
            sides = _sides(value[key])
            x, y = sides.width / 2, sides.height / 2
            places: tuple[Xy, ...] = ((-x, -y), (x, -y), (x, y), (-x, y))
        else:
            key = "circle"
            radius = _length(1, LARGEST)(value[key]) / 2
            key = "count"
            count = box_values.whole(1, MOST_SCREWS, f"a number from 1 to {MOST_SCREWS}")(value[key])
            key = "first"
            usual = {2: 90, 4: 45}.get(count, 0)  # two: left and right; four: in the corners
            first = _degrees(value.get(key, usual))
            turns = [math.radians(first + 360 * k / count) for k in range(count)]
            places = tuple((radius * math.sin(turn), -radius * math.cos(turn)) for turn in turns)
    except ValueError as problem:
        raise ValueError(f"{key}: {problem}") from None
    if any(math.dist(a, b) < drill + LEAST_WEB - SLACK for a, b in combinations(places, 2)):
        raise ValueError(f"are nearer to each other than {millimetres(LEAST_WEB)} mm")
    return Screws(places, drill)


def _degrees(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not -360 <= value <= 360:
        raise ValueError(f"{value!r} is no angle; write degrees clockwise from the top, such as 45")
    return float(value)


def _names(sections: list[Section], known: dict[str, str]) -> None:
    """Whether each stands there once; a name that is nearly one of the file's is a slip, any other a part that the box knows nothing of."""
    seen: dict[str, int] = {}
    for section in sections:
        name = section.name.removeprefix("cutout ")
        if name in seen:
            section.wrong("name", f"stands at line {seen[name]} too; each needs its own")
        seen.setdefault(name, section.line_of("name"))
        if name in known or not name:
            continue
        if name == DISPLAY:
            section.wrong("name", "the file has no display; add [display] with address = 0x3c")
        elif name == KNOB:
            knobs = [f'"{one}"' for one, what in known.items() if what == "a knob"]
            cure = (
                f"of which lamp? there is: {', '.join(knobs)}" if knobs else "no lamp of the file has a knob"
            )
            section.wrong("name", cure)
        elif known.get(lamp := name.removesuffix(f" {KNOB}")) == "a lamp" and lamp != name:
            section.wrong("name", f'the lamp "{lamp}" has no knob')
        elif (near := _slip(name, known)) is not None:
            section.wrong("name", f'the file has no "{name}"; did you mean "{near}"?')


def _slip(name: str, known: dict[str, str]) -> str | None:
    """The name that was most likely meant; two that differ in a number are two parts."""

    def letters(text: str) -> str:
        return re.sub(r"[\d\s]", "", text.lower())

    near = difflib.get_close_matches(name.lower(), [one.lower() for one in known], 1, ALIKE)
    meant = next((one for one in known if near and one.lower() == near[0]), None)
    same_letters = meant is not None and letters(meant) == letters(name) and meant.lower() != name.lower()
    return None if same_letters else meant


def _judge(section: Section, one: Cutout, panel: Panel) -> None:
    """One cutout by itself, and on the panel."""
    if not covers(one.bezel, one.hole):
        section.wrong("bezel", f"{one.bezel.text} does not cover its hole, {one.hole.text}")
    if one.screws is not None and not isinstance(one.hole, DSub):
        drill = Round(one.screws.drill)
        web = min(apart(place, drill, one.at, one.hole) for place in one.screw_places)
        if web < LEAST_WEB - SLACK:
            where = "run into the hole" if web < 0 else f"leave {millimetres(web)} mm to the hole"
            section.wrong("screws", f"{where}, {one.hole.text}; at least {LEAST_WEB:g} mm must stay")
    what, room = min(
        ((what, to_edge(at, shape, panel.width, panel.height)) for what, at, shape in one.covers),
        key=lambda pair: pair[1],
    )
    if room < panel.gap - SLACK:
        size = f"{millimetres(panel.width)} x {millimetres(panel.height)} mm"
        near = f"{millimetres(room)} mm from" if room >= 0 else f"{millimetres(-room)} mm beyond"
        section.wrong("at", f"its {what} is {near} the edge of the panel, {size}; at least {_gap(panel.gap)}")
    needed = panel.behind(one)
    if needed is not None and panel.depth is not None and needed > panel.depth + SLACK:
        parts = f"depth {millimetres(one.depth or 0)} less the panel's {millimetres(panel.thickness)}"
        for word, part in (("plug", one.plug), ("bend", one.bend)):
            parts += f", {word} {millimetres(part)}" if part else ""
        free = f"{millimetres(panel.depth)} mm are free"
        section.wrong("depth", f"needs {millimetres(needed)} mm behind the panel ({parts}); {free}")


def _judge_pairs(cutouts: list[tuple[Section, Cutout]], gap: float) -> None:
    for (_, one), (section, other) in combinations(cutouts, 2):
        between, what, its = min(
            (apart(at, shape, there, against), what, its)
            for what, at, shape in one.covers
            for its, there, against in other.covers
        )
        if between < gap - SLACK:
            near = "overlap" if between < -SLACK else f"are {millimetres(max(between, 0))} mm apart"
            against = f'its {its} and the {what} of "{one.name}" (line {one.line})'
            section.wrong("at", f"{against} {near}; at least {_gap(gap)}")


def _gap(gap: float) -> str:
    return f"{millimetres(gap)} mm ([panel] gap)"
