"""A panel's drilling sheets at true size: where to drill and cut, dimensions from one corner, tiled over pages where the panel is larger
than the paper; then the table of all holes, and a side view of the depth that is needed behind it.

Places on the panel are mm from the upper left corner of its front, x to the right, y down. Seen from behind that corner is the upper
right one, and everything is measured from it all the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import count

from gaugelight.dial import FAINT, INCH, LETTER, Circle, Drawing, Line, Shape, Words, Xy, fitted, moved
from gaugelight.panel.cutouts import D_SUB_CORNER, Cutout, DSub, Outline, Round, millimetres
from gaugelight.panel.panel_file import Panel

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm; ISO 216, ANSI Y14.1
MARGIN = 6.35  # mm that a printer leaves white: a quarter of an inch (common practice, no source)
HEAD, FOOT, SIDE = 9.0, 9.0, 7.0  # mm of a page's own words, its bars, and the bar at its right edge
OVERLAP = 16.0  # mm that two tiles share at least
MARK = 4.0  # mm: half a register mark
BAR = 100  # mm
BAR_INCHES = 4
TYPE, SMALL = 2.6, 2.2  # mm
CUT, FINE, HAIR = 0.25, 0.15, 0.1  # mm: widths of lines
LABELS_APART = 3.2  # mm between the middles of two dimensions
LEADER = (1.0, 2.5, 6.5, 7.5)  # mm from the panel's edge: starts, turns, turns back, ends
ROW = 4.4  # mm of a table
CAUTIONS = (
    "Measure every bar on every page before you drill; print at 100 %, not fitted to the page.",
    "Measure your own parts: the box file says what somebody wrote in it. Cut it out of card first and try every part.",
    "Look what is behind before you drill: fuel or hydraulic lines, wires, control cables. None of them belongs there.",
    "Drill from the front, small first; clamp the panel; goggles. Deburr every hole: an edge cuts wires through.",
    "Check the view (front or rear) before you glue it on: a mirrored panel is scrap.",
)
SHORT = "Measure your own parts first; try it in card; look what is behind: fuel, hydraulics, wires; deburr."
FRONT, REAR = "FRONT VIEW", "REAR VIEW (mirrored)"


@dataclass(frozen=True)
class Page:
    """what: in a word or two. origin: where on the page the place 0, 0 of what it shows of the panel would lie; None: no part of a panel."""

    what: str
    drawing: Drawing
    origin: Xy | None = None


@dataclass(frozen=True)
class Hole:
    """One line of the table. drill: its diameter, mm; None: cut it."""

    number: str
    what: str
    at: Xy
    size: str
    drill: float | None
    covered: str = ""


def holes(panel: Panel) -> list[Hole]:
    """Of each cutout its hole, then its screws."""
    found = []
    for number, one in enumerate(panel.cutouts, 1):
        drill = one.hole.diameter if isinstance(one.hole, Round) else None
        covered = "" if one.bezel == one.hole else one.bezel.text
        found.append(Hole(str(number), one.name, one.at, one.hole.text, drill, covered))
        for letter, place in zip("abcdefghijklmnopqrstuvwxyz", one.screw_places):
            assert one.screws is not None
            size = Round(one.screws.drill)
            found.append(Hole(f"{number}{letter}", "screw", place, size.text, size.diameter))
    return found


def drills(panel: Panel) -> list[tuple[float, int]]:
    """Diameters in mm, and how many holes of each."""
    sizes = [hole.drill for hole in holes(panel) if hole.drill is not None]
    return [(size, sizes.count(size)) for size in sorted(set(sizes))]


def pages(panel: Panel, box: str, paper: str, rear: bool) -> tuple[Page, ...]:
    """All sheets, in the order in which they are used."""
    size = PAPERS[paper]
    view = REAR if rear else FRONT
    drawn = panel_shapes(panel, rear)
    tiles = tiling(drawn, size)
    marks = [mark for tile in tiles for mark in tile.marks]
    title = f"{box}: panel, {millimetres(panel.width)} x {millimetres(panel.height)} mm, {view}"
    made = [
        _tile_page(tile, drawn, marks, f"{title}, page {number} of {len(tiles)}")
        for number, tile in enumerate(tiles, 1)
    ]
    made += _table_pages(panel, box, size, view)
    made += _depth_pages(panel, box, size)
    return tuple(made)


# -- the panel, in its own millimetres


def panel_shapes(panel: Panel, rear: bool) -> list[Shape]:
    """All that stands on the sheet at true size; seen from behind x runs to the left."""
    w, h = panel.width, panel.height
    shapes: list[Shape] = [*_loop(((0, 0), (w, 0), (w, h), (0, h)), 0.35)]
    taken = [_Taken.of(shape) for shape in shapes]
    for one in panel.cutouts:
        shapes += _cutout_shapes(one)
    taken += [_Taken.around(at, outline) for one in panel.cutouts for _, at, outline in one.covers]
    for number, one in enumerate(panel.cutouts, 1):
        label = _label(one, number, taken, panel)
        shapes += label
        taken += [_Taken.of(shape) for shape in label]
    shapes += _dimensions(panel)
    shapes += [Line((0, -3), (0, 3), FINE), Line((-3, 0), (3, 0), FINE), Circle((0, 0), 1.5, FINE)]
    return [_mirrored(shape, w) for shape in shapes] if rear else shapes


def _mirrored(shape: Shape, width: float) -> Shape:
    """Places turned round; words stay readable, for all of them here are centred."""

    def at(point: Xy) -> Xy:
        return width - point[0], point[1]

    if isinstance(shape, Line):
        return Line(at(shape.start), at(shape.end), shape.width, shape.colour, shape.dashed)
    if isinstance(shape, Circle):
        return Circle(at(shape.centre), shape.radius, shape.width, shape.colour, shape.dashed)
    assert isinstance(shape, Words) and shape.centred
    return Words(at(shape.place), shape.text, shape.size, True, shape.bold, shape.upward)


def _loop(points: Sequence[Xy], width: float, colour: str = "#000000", dashed: bool = False) -> list[Shape]:
    return [Line(a, b, width, colour, dashed) for a, b in zip(points, [*points[1:], points[0]])]


def _outline(
    at: Xy, one: Outline, width: float, colour: str = "#000000", dashed: bool = False
) -> list[Shape]:
    if isinstance(one, Round):
        return [Circle(at, one.diameter / 2, width, colour, dashed)]
    if isinstance(one, DSub):
        return _loop(
            [(at[0] + x, at[1] + y) for x, y in rounded(one.corners, D_SUB_CORNER)], width, colour, dashed
        )
    x, y = one.width / 2, one.height / 2
    corners = ((at[0] - x, at[1] - y), (at[0] + x, at[1] - y), (at[0] + x, at[1] + y), (at[0] - x, at[1] + y))
    return _loop(corners, width, colour, dashed)


def rounded(corners: Sequence[Xy], radius: float) -> list[Xy]:
    """A convex outline, its corners clockwise (y down), each of them an arc in steps of 10 degrees at most."""
    found: list[Xy] = []
    for k, corner in enumerate(corners):
        before, after = corners[k - 1], corners[(k + 1) % len(corners)]
        into = math.atan2(corner[1] - before[1], corner[0] - before[0])
        out = math.atan2(after[1] - corner[1], after[0] - corner[0])
        turn = (out - into) % (2 * math.pi)
        back = radius * math.tan(turn / 2)
        # the arc's middle lies to the right of where the edge ends
        start = corner[0] - back * math.cos(into), corner[1] - back * math.sin(into)
        middle = start[0] - radius * math.sin(into), start[1] + radius * math.cos(into)
        steps = math.ceil(math.degrees(turn) / 10)
        for step in range(steps + 1):
            angle = into + turn * step / steps
            found.append((middle[0] + radius * math.sin(angle), middle[1] - radius * math.cos(angle)))
    return found


def _cross(at: Xy, half: float, width: float = FINE) -> list[Shape]:
    x, y = at
    return [Line((x - half, y), (x + half, y), width), Line((x, y - half), (x, y + half), width)]


def _cutout_shapes(one: Cutout) -> list[Shape]:
    shapes = _outline(one.at, one.hole, CUT)
    if one.bezel != one.hole:
        shapes += _outline(one.at, one.bezel, FINE, FAINT, dashed=True)
    shapes += _cross(one.at, min(4.0, max(2.5, one.hole.height / 4)))
    for place in one.screw_places:
        assert one.screws is not None
        shapes += [Circle(place, one.screws.drill / 2, CUT), *_cross(place, one.screws.drill / 2 + 1)]
    return shapes


@dataclass(frozen=True)
class _Taken:
    """A rectangle of the sheet on which something stands already."""

    left: float
    top: float
    right: float
    bottom: float

    @classmethod
    def around(cls, at: Xy, outline: Outline) -> _Taken:
        x, y = outline.width / 2, outline.height / 2
        return cls(at[0] - x, at[1] - y, at[0] + x, at[1] + y)

    @classmethod
    def of(cls, shape: Shape) -> _Taken:
        """Whatever it is, with its words as wide as they can be."""
        if isinstance(shape, Line):
            (x1, y1), (x2, y2) = shape.start, shape.end
            return cls(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
        if isinstance(shape, Circle):
            return cls.around(shape.centre, Round(2 * shape.radius))
        assert isinstance(shape, Words)
        (x, y), long, high = shape.place, len(shape.text) * LETTER * shape.size, shape.size
        if shape.upward:
            long, high = high, long
        left = x - long / 2 if shape.centred else x
        return cls(left, y - high / 2, left + long, y + high / 2)

    def meets(self, other: _Taken) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: _Taken) -> bool:
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


def _label(one: Cutout, number: int, taken: list[_Taken], panel: Panel) -> list[Shape]:
    """Number, name and size where they hide nothing: in the hole, else around the bezel, else the number alone; the table has it all."""
    size = f"dia {millimetres(one.hole.diameter)}" if isinstance(one.hole, Round) else one.hole.text
    full = [f"{number} {one.name}", size]
    x, y = one.at
    cross = min(4.0, max(2.5, one.hole.height / 4))
    room = one.hole.width * 0.8
    long = max(map(len, full)) * LETTER * SMALL
    if room >= long * 0.8 and one.hole.height / 2 > cross + 3 * TYPE:
        type_size = min(fitted(text, room, TYPE) for text in full)
        first = y + cross + TYPE * 0.9
        return [
            Words((x, first), full[0], type_size, bold=True),
            Words((x, first + 1.3 * type_size), full[1], type_size),
        ]
    reach_x = max(
        [one.bezel.width / 2, *(abs(dx) + 3 for dx, _ in (one.screws.places if one.screws else ()))]
    )
    reach_y = max(
        [one.bezel.height / 2, *(abs(dy) + 3 for _, dy in (one.screws.places if one.screws else ()))]
    )
    for lines in (full, [full[0]], [str(number)]):
        long, high = max(map(len, lines)) * LETTER * SMALL, 1.3 * SMALL * len(lines)
        for dx, dy in (
            (0, reach_y + 1 + high / 2),
            (0, -reach_y - 1 - high / 2),
            (reach_x + 1 + long / 2, 0),
            (-reach_x - 1 - long / 2, 0),
            (reach_x * 0.75 + 1 + long / 2, -reach_y * 0.75 - 1 - high / 2),
            (-reach_x * 0.75 - 1 - long / 2, -reach_y * 0.75 - 1 - high / 2),
        ):
            words: list[Shape] = [
                Words((x + dx, y + dy + 1.3 * SMALL * (k - (len(lines) - 1) / 2)), text, SMALL, bold=k == 0)
                for k, text in enumerate(lines)
            ]
            places = [_Taken.of(word) for word in words]
            on_panel = all(
                p.left > 0 and p.right < panel.width and p.top > 0 and p.bottom < panel.height for p in places
            )
            if on_panel and not any(place.meets(other) for place in places for other in taken):
                return words
    quarter = one.hole.height / 4
    return [Words((x + quarter, y - quarter), str(number), min(SMALL, quarter * 1.2), bold=True)]


def spread(places: Sequence[float], least: float) -> list[float]:
    """Rising places moved apart to `least` at least, each as little as can be (least squares: pools of neighbours at their mean)."""
    pools: list[tuple[float, int]] = []  # mean of place less its rank's share, how many
    for k, place in enumerate(places):
        pool = place - k * least, 1
        while pools and pools[-1][0] > pool[0]:
            mean, size = pools.pop()
            pool = (mean * size + pool[0] * pool[1]) / (size + pool[1]), size + pool[1]
        pools.append(pool)
    means = [mean for mean, size in pools for _ in range(size)]
    return [mean + k * least for k, mean in enumerate(means)]


def _dimensions(panel: Panel) -> list[Shape]:
    """Of every middle of a cutout and of the panel's far edges, from the datum corner: along the upper edge x, along the left one y."""
    shapes: list[Shape] = []
    for axis, end in enumerate((panel.width, panel.height)):
        middles: dict[float, float] = {}  # place along the axis: how far into the panel its line goes
        for one in panel.cutouts:
            place = round(one.at[axis], 2)
            middles[place] = max(middles.get(place, 0.0), one.at[1 - axis])
        places = sorted({0.0, round(end, 2), *middles})
        for place, label in zip(places, spread(places, LABELS_APART)):
            a, b, c, d = LEADER
            path = [(place, -a), (place, -b), (label, -c), (label, -d)]
            text = millimetres(place)
            middle = label, -d - 0.6 - len(text) * LETTER * TYPE / 2

            def turned(point: Xy) -> Xy:
                return point if axis == 0 else (point[1], point[0])

            shapes += [Line(turned(p), turned(q), HAIR) for p, q in zip(path, path[1:])]
            if place in middles:
                into = turned((place, 0)), turned((place, middles[place]))
                shapes.append(Line(*into, HAIR, FAINT, dashed=True))
            shapes.append(Words(turned(middle), text, TYPE, upward=axis == 0))
    return shapes


# -- tiles


@dataclass(frozen=True)
class Tile:
    """The part of the drawing on one page, and what of it is this page's own where two share it. marks: the register marks of its joins to the right and below."""

    page: tuple[float, float]
    part: _Taken
    own: _Taken
    marks: tuple[tuple[Shape, ...], ...]


def room_on(page: tuple[float, float]) -> tuple[float, float]:
    return page[0] - 2 * MARGIN - SIDE, page[1] - 2 * MARGIN - HEAD - FOOT


def tiling(shapes: Iterable[Shape], paper: tuple[float, float]) -> list[Tile]:
    """Upright or lying, whichever takes fewer pages; row by row."""
    bounds = [_Taken.of(shape) for shape in shapes]
    whole = _Taken(
        min(one.left for one in bounds) - 0.2, min(one.top for one in bounds) - 0.2,
        max(one.right for one in bounds) + 0.2, max(one.bottom for one in bounds) + 0.2,
    )  # fmt: skip
    upright, lying = (_tiles(whole, page) for page in (paper, paper[::-1]))
    return upright if len(upright) <= len(lying) else lying


def _tiles(whole: _Taken, page: tuple[float, float]) -> list[Tile]:
    room = room_on(page)
    columns, rows = _parts(whole.left, whole.right, room[0]), _parts(whole.top, whole.bottom, room[1])
    letters = count()
    tiles = []
    for top, bottom, own_top, own_bottom in rows:
        for left, right, own_left, own_right in columns:
            marks: list[tuple[Shape, ...]] = []
            # at the right and at the lower join; those of the others are their neighbours'
            if own_right < right:
                for y in (top + 2 * OVERLAP, bottom - 2 * OVERLAP):
                    marks.append(_register((own_right, y), next(letters)))
            if own_bottom < bottom:
                for x in (left + 2 * OVERLAP, right - 2 * OVERLAP):
                    marks.append(_register((x, own_bottom), next(letters)))
            own = _Taken(own_left, own_top, own_right, own_bottom)
            tiles.append(Tile(page, _Taken(left, top, right, bottom), own, tuple(marks)))
    return tiles


def _parts(low: float, high: float, room: float) -> list[tuple[float, float, float, float]]:
    """From and to of each piece, and from and to of what is its own: up to the middle of what it shares with the next."""
    length = high - low
    pieces = 1 if length <= room else math.ceil((length - OVERLAP) / (room - OVERLAP))
    if pieces == 1:
        return [(low, high, low, high)]
    starts = [low + k * (length - room) / (pieces - 1) for k in range(pieces)]
    joins = [low, *((a + room + b) / 2 for a, b in zip(starts, starts[1:])), high]
    return [(a, a + room, join, after) for a, join, after in zip(starts, joins, joins[1:])]


def _register(at: Xy, number: int) -> tuple[Shape, ...]:
    """A square with a cross and a letter: no hole looks like it."""
    x, y = at
    corners = ((x - MARK, y - MARK), (x + MARK, y - MARK), (x + MARK, y + MARK), (x - MARK, y + MARK))
    letter = chr(ord("A") + number % 26) + str(number // 26 or "")
    return (
        *_loop(corners, FINE),
        *_cross(at, MARK, HAIR),
        Words((x + MARK / 2, y - MARK / 2), letter, SMALL, bold=True),
    )


def _tile_page(tile: Tile, shapes: Sequence[Shape], marks: Sequence[tuple[Shape, ...]], title: str) -> Page:
    """marks: of all tiles; those that lie wholly on this one are drawn."""
    part = tile.part
    origin = MARGIN - part.left, MARGIN + HEAD - part.top
    kept = [piece for shape in shapes for piece in clipped(shape, tile)]
    kept += [shape for mark in marks if all(part.holds(_Taken.of(one)) for one in mark) for shape in mark]
    told = "solid: drill or cut; dashed: bezel; circle at a corner of the panel: the datum"
    if tile.own != part:
        told = "solid: drill or cut; dashed: bezel; squares: no holes, lay A on A; dashes through squares: cut, glue over the next"
    drawn = [moved(shape, origin) for shape in kept]
    drawn += _joins(tile, origin)
    drawn += _frame(tile.page, title, told)
    return Page("panel", Drawing(*tile.page, tuple(drawn)), origin)


def _joins(tile: Tile, origin: Xy) -> list[Shape]:
    """Where a page's own part ends: the next one is cut there, and laid over."""
    part, own = tile.part, tile.own
    lines: list[Shape] = []
    for inner, outer in ((own.left, part.left), (own.right, part.right)):
        if inner != outer:
            lines.append(Line((inner, part.top), (inner, part.bottom), HAIR, FAINT, dashed=True))
    for inner, outer in ((own.top, part.top), (own.bottom, part.bottom)):
        if inner != outer:
            lines.append(Line((part.left, inner), (part.right, inner), HAIR, FAINT, dashed=True))
    return [moved(line, origin) for line in lines]


def clipped(shape: Shape, tile: Tile) -> list[Shape]:
    """What of a shape lies on a tile. Words go whole: on every tile that holds all of them, else on the one that has their middle."""
    part = tile.part
    bounds = _Taken.of(shape)
    if part.holds(bounds):
        return [shape]
    if isinstance(shape, Words):
        (x, y), own = shape.place, tile.own
        return [shape] if own.left <= x < own.right and own.top <= y < own.bottom else []
    if isinstance(shape, Line):
        ends = _within(shape.start, shape.end, part)
        return [] if ends is None else [Line(*ends, shape.width, shape.colour, shape.dashed)]
    if not isinstance(shape, Circle) or not bounds.meets(part):
        return []
    x, y = shape.centre
    steps = 360 if shape.radius < 60 else 1440  # a chord is 0.002 mm off its arc at most
    around = [
        (x + shape.radius * math.cos(math.tau * k / steps), y + shape.radius * math.sin(math.tau * k / steps))
        for k in range(steps + 1)
    ]
    chords = [pair for k, pair in enumerate(zip(around, around[1:])) if not shape.dashed or k % 6 < 4]
    found = [_within(a, b, part) for a, b in chords]
    return [Line(*ends, shape.width, shape.colour) for ends in found if ends is not None]


def _within(start: Xy, end: Xy, part: _Taken) -> tuple[Xy, Xy] | None:
    """What of a straight line lies in a rectangle."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    first, last = 0.0, 1.0
    for way, room in (
        (-dx, start[0] - part.left),
        (dx, part.right - start[0]),
        (-dy, start[1] - part.top),
        (dy, part.bottom - start[1]),
    ):
        if way == 0:
            if room < 0:
                return None
        elif way < 0:
            first = max(first, room / way)
        else:
            last = min(last, room / way)
    if first >= last:
        return None
    return (start[0] + first * dx, start[1] + first * dy), (start[0] + last * dx, start[1] + last * dy)


def _frame(page: tuple[float, float], title: str, told: str) -> list[Shape]:
    """What every page at true size has: title, cautions, and bars to measure, across and down."""
    width, height = page
    room = width - 2 * MARGIN
    y = height - MARGIN - FOOT / 2 + 0.3
    shapes: list[Shape] = [
        Words((MARGIN, MARGIN + 1.5), title, fitted(title, room, 3.2), centred=False, bold=True),
        Words((MARGIN, MARGIN + 5), told, fitted(told, room, SMALL), centred=False),
        Words((MARGIN, MARGIN + 8), SHORT, fitted(SHORT, room, SMALL), centred=False, bold=True),
        *bar((MARGIN, y), down=False),
        *bar((width - MARGIN - 2.5, MARGIN + HEAD + 3), down=True),
    ]
    left = MARGIN + BAR + 6
    lines = (
        f"{BAR} mm (upper ticks) and {BAR_INCHES} in (lower ticks),",
        "across here and down at the right: measure all on the print;",
        "it was printed at 100 %, not fitted, if they are right",
    )
    for k, line in enumerate(lines):
        size = fitted(line, width - MARGIN - left, SMALL)
        shapes.append(Words((left, y + (k - 1) * 3.0), line, size, centred=False))
    return shapes


def bar(start: Xy, down: bool) -> list[Shape]:
    """100 mm with ticks each 10 on its one side, 4 inches on its other."""

    def at(along: float, off: float) -> Xy:
        return (start[0] + off, start[1] + along) if down else (start[0] + along, start[1] + off)

    shapes: list[Shape] = [Line(at(0, 0), at(BAR, 0), 0.3), Line(at(BAR, 0), at(BAR_INCHES * INCH, 0), FINE)]
    for k in range(0, BAR + 1, 10):
        shapes.append(Line(at(k, 0), at(k, -2.0 if k in (0, BAR) else -1.0), 0.2))
    for k in range(BAR_INCHES + 1):
        shapes.append(Line(at(k * INCH, 0), at(k * INCH, 2.0 if k in (0, BAR_INCHES) else 1.0), 0.2))
    return shapes


# -- table


def _table_pages(panel: Panel, box: str, paper: tuple[float, float], view: str) -> list[Page]:
    columns = (
        MARGIN,
        MARGIN + 10,
        MARGIN + 62,
        MARGIN + 77,
        MARGIN + 92,
        MARGIN + 107,
        MARGIN + 122,
        MARGIN + 160,
    )
    heads = ("no.", "what", "x, mm", "y, mm", "x, in", "y, in", "hole", "bezel")
    rows = [
        (
            hole.number, hole.what, millimetres(hole.at[0]), millimetres(hole.at[1]),
            f"{hole.at[0] / INCH:.3f}", f"{hole.at[1] / INCH:.3f}", hole.size, hole.covered,
        )
        for hole in holes(panel)
    ]  # fmt: skip
    drill = "; ".join(
        f"{millimetres(size)} mm ({size / INCH:.3f} in): {many}" for size, many in drills(panel)
    )
    told = [
        "Measured from the datum: the upper left corner of the FRONT, x to the right, y down.",
        f"The drawing is a {view}"
        + (": its datum is the upper right corner there." if view == REAR else "."),
        *(_folded(f"Round holes: {drill or 'none'}", paper[0] - 2 * MARGIN)),
        *(line for caution in CAUTIONS for line in _folded(caution, paper[0] - 2 * MARGIN)),
    ]
    first = int((paper[1] - 2 * MARGIN - 12) / ROW) - len(told) - 1
    made: list[Page] = []
    while rows or not made:
        part, rows = rows[:first], rows[first:]
        shapes: list[Shape] = [
            Words((MARGIN, MARGIN + 1.5), f"{box}: panel, holes", 3.2, centred=False, bold=True)
        ]
        y = MARGIN + 8
        for k, row in enumerate((heads, *part)):
            for column, after, cell in zip(columns, (*columns[1:], paper[0] - MARGIN), row):
                if cell:
                    size = fitted(cell, after - column - 1, TYPE)
                    shapes.append(Words((column, y), cell, size, centred=False, bold=k == 0))
            y += ROW
        y += ROW / 2
        for line in told:
            size = fitted(line, paper[0] - 2 * MARGIN, TYPE)
            shapes.append(Words((MARGIN, y), line, size, centred=False))
            y += ROW
        made.append(Page("holes", Drawing(*paper, tuple(shapes))))
    return made


def _folded(text: str, room: float) -> list[str]:
    import textwrap

    return textwrap.wrap(text, int(room / (LETTER * TYPE)), subsequent_indent="   ")


# -- depth

SIDE_ROW = 15.0  # mm
SCALES = (1, 2, 5, 10, 20, 50)


def _depth_pages(panel: Panel, box: str, paper: tuple[float, float]) -> list[Page]:
    """Each instrument from its side, plug and bend behind it, against what is free; none where no depth is stated."""
    rows = [one for one in panel.cutouts if one.depth is not None]
    if not rows:
        return []
    left, names = MARGIN + 58, 56.0
    farthest = max([panel.depth or 0.0, *(panel.behind(one) or 0.0 for one in rows)]) + panel.thickness
    room = paper[0] - MARGIN - left - 4
    scale = next(scale for scale in SCALES if farthest / scale <= room)
    each = int((paper[1] - 2 * MARGIN - 40) / SIDE_ROW)
    made = []
    while rows:
        part, rows = rows[:each], rows[each:]
        size = "true size" if scale == 1 else f"scale 1:{scale}"
        shapes: list[Shape] = [
            Words(
                (MARGIN, MARGIN + 1.5), f"{box}: panel, depth from the side", 3.2, centred=False, bold=True
            ),
            Words(
                (MARGIN, MARGIN + 6),
                f"depths {size}; front at the left; box: instrument, then plug, then dashed the bend of its wires",
                SMALL,
                centred=False,
            ),
        ]
        top = MARGIN + 14
        bottom = top + len(part) * SIDE_ROW
        face, back = left, left + panel.thickness / scale
        shapes += _loop(((face, top - 2), (back, top - 2), (back, bottom), (face, bottom)), CUT)
        if panel.depth is not None:
            limit = back + panel.depth / scale
            shapes.append(Line((limit, top - 2), (limit, bottom), 0.5))
            free = f"{millimetres(panel.depth)} mm free behind the panel"
            shapes.append(Words((limit - len(free) * LETTER * SMALL / 2, bottom + 3), free, SMALL))
        for k, one in enumerate(part):
            shapes += _side(one, panel, top + (k + 0.45) * SIDE_ROW, face, scale, names)
        y = bottom + 9
        missing = [one.name for one in panel.cutouts if one.depth is None]
        for line in (
            *(
                _folded(f"No depth stated, not checked: {', '.join(missing)}", paper[0] - 2 * MARGIN)
                if missing
                else ()
            ),
            *(
                []
                if panel.depth is not None
                else ["What is free behind the panel is not stated: nothing is checked."]
            ),
            *_folded(
                "Measure what is free where each instrument stands, with the structure, the controls at full travel and the seat in place.",
                paper[0] - 2 * MARGIN,
            ),
        ):
            shapes.append(Words((MARGIN, y), line, TYPE, centred=False))
            y += ROW
        made.append(Page("depth", Drawing(*paper, tuple(shapes))))
    return made


def _side(one: Cutout, panel: Panel, y: float, face: float, scale: int, names: float) -> list[Shape]:
    assert one.depth is not None
    half = SIDE_ROW * 0.3
    needed = panel.behind(one) or 0.0
    text = f"{millimetres(one.depth)}"
    for word, part in (("plug", one.plug), ("bend", one.bend)):
        text += f" + {word} {millimetres(part)}" if part else ""
    text = f"{text}: {millimetres(needed)} behind"
    if panel.depth is not None:
        text += f", {millimetres(panel.depth - needed)} left"
    left = face - 2 - names
    shapes: list[Shape] = [
        Words((left, y - 2), one.name, fitted(one.name, names - 4, TYPE), centred=False, bold=True),
        Words((left, y + 2), text, fitted(text, names - 4, SMALL), centred=False),
        *_loop(
            (
                (face - 1.5, y - half - 1),
                (face, y - half - 1),
                (face, y + half + 1),
                (face - 1.5, y + half + 1),
            ),
            FINE,
        ),
    ]
    x = face
    for length, high, dashed in (
        (one.depth, half, False),
        (one.plug, half * 0.6, False),
        (one.bend, half * 0.6, True),
    ):
        if length:
            end = x + length / scale
            shapes += _loop(
                ((x, y - high), (end, y - high), (end, y + high), (x, y + high)), CUT, dashed=dashed
            )
            x = end
    return shapes
