"""The wiring sheet as pages of A4: each connector drawn from its wiring side, its pins below; then the compass and the cautions.

No colour says anything: what a contact is used for is its shape, and stands in words in the table.
"""

from __future__ import annotations

from collections.abc import Sequence
from gaugelight.dial import LETTER, SCALE_BAR, Circle, Drawing, Line, Shape, Words, Xy, scale_bar
from gaugelight.harness.cables import Wiring
from gaugelight.harness.connectors import Half
from gaugelight.harness.connectors import Shape as Contacts
from gaugelight.harness.harness_file import Cable, Connector
from gaugelight.harness.sheet import PAST_THE_BOX, SAYS, Mark, Row, cable_words

WIDTH, HEIGHT, MARGIN = 210.0, 297.0, 12.0  # mm
ROOM = WIDTH - 2 * MARGIN
TIMES = 3.4  # as large as it is, where it fits
MEAN_LETTER = 0.55  # a letter's width over the size of its type, in a text of some length
BOTTOM = HEIGHT - MARGIN - 6
LINE, NEXT, TYPE, FINE = 4.3, 2.9, 2.6, 2.3  # mm
MARKS: tuple[Mark, ...] = ("wire", "bus", "guard", "spare", "free")
# heads and widths of the table's columns, mm
COLUMNS = (
    ("pin", 7.0), ("", 6.0), ("use", 39.0), ("goes to", 41.0), ("AWG", 8.0), ("m", 7.0), ("return", 12.0),
    ("cable", 25.0), ("bundle", 17.0), ("A, most", 13.0), ("fuse, A", 11.0),
)  # fmt: skip
TANK = (
    "Wires into a fuel tank: no circuit in the box limits what chafes onto them. A bundle of their own, apart from everything that may be at bus"
    " voltage; beside their pins guards, and no wire in these."
)
ADVISORY = "A drawing from the box file, not a proof of the harness: ring out every wire, both ends, before power. Master off, tanks vented."


def wiring_side_words(connector: Connector) -> str:
    """What one looks at."""
    if connector.shape.is_block:
        return "numbers as they stand on the block"
    half = "plug with pins" if connector.harness == "pins" else "plug with sockets"
    x, _ = connector.shape.wiring_side(connector.harness)[1]
    where = "wide row up" if connector.shape.is_dsub else "row with pin 1 down"
    side = "right" if x > 0 else "left"
    return f"the harness's half, a {half}, from its wiring side (solder or crimp), {where}: pin 1 is at the {side}"


def rows_seen(shape: Contacts, half: Half) -> list[list[int]]:
    """Numbers left to right and row by row, as they are seen from the wiring side."""
    places = shape.wiring_side(half)
    levels = sorted({y for _, y in places.values()})
    return [
        sorted((n for n in places if places[n][1] == level), key=lambda n: places[n][0]) for level in levels
    ]


def in_letters(connector: Connector, rows: Sequence[Row]) -> list[str]:
    """The same for a terminal: [2] a guard, (5) spare, a dot for a free pin; shifted by half a contact as it really is."""
    marks = {row.pin: row.mark for row in rows}
    wrapped = {"guard": "[{}]", "spare": "({})", "free": " . "}
    places = connector.shape.wiring_side(connector.harness)
    left = min(x for x, _ in places.values())
    lines = []
    for numbers in rows_seen(connector.shape, connector.harness):
        indent = round((places[numbers[0]][0] - left) / connector.shape.pitch * 5)
        cells = [wrapped.get(marks.get(n, "free"), " {} ").format(n) for n in numbers]
        lines.append((" " * indent + "".join(f"{cell:^5}" for cell in cells)).rstrip())
    return lines


class _Sheet:
    """Pages filled from top to bottom. y: where the next line stands, mm from the top."""

    def __init__(self, head: str, wrong: int) -> None:
        self.head, self.wrong = head, wrong
        self.made: list[list[Shape]] = []
        self.y = BOTTOM
        self.begin()

    def begin(self) -> None:
        self.made.append([])
        self.y = MARGIN + 2
        self.words(MARGIN, self.head, 4.2, ROOM, bold=True)
        self.y += 6
        if self.wrong:
            self.line(
                f"NOT RIGHT: {self.wrong} {'problem' if self.wrong == 1 else 'problems'}, at the end of this sheet",
                3.2,
                True,
            )
        self.line(ADVISORY, FINE)
        self.y += 3

    def need(self, height: float) -> bool:
        """A new page where so much does not fit on this one; whether there is one."""
        if new := self.y + height > BOTTOM:
            self.begin()
        return new

    def add(self, *shapes: Shape) -> None:
        self.made[-1] += shapes

    def words(self, x: float, text: str, size: float, room: float, bold: bool = False) -> None:
        if text:
            self.add(Words((x, self.y), text, size_of(text, room, size, bold), False, bold))

    def line(self, text: str, size: float = TYPE, bold: bool = False) -> None:
        for part in wrapped(text, ROOM, size, bold):
            self.words(MARGIN, part, size, ROOM, bold)
            self.y += LINE * size / TYPE

    def drawings(self) -> list[Drawing]:
        """With a bar to measure on the print, and the number of the page."""
        foot = HEIGHT - MARGIN
        made = []
        for number, shapes in enumerate(self.made, 1):
            says = Words((MARGIN + SCALE_BAR + 4, foot), f"{SCALE_BAR} mm, if printed at 100 %", FINE, False)
            page = Words((WIDTH - MARGIN - 6, foot), f"{number} / {len(self.made)}", TYPE)
            made.append(Drawing(WIDTH, HEIGHT, (*shapes, *scale_bar(MARGIN, foot), says, page)))
        return made


def size_of(text: str, room: float, most: float, bold: bool = False) -> float:
    """The size of type, mm, at which it fits: longer texts than a dial's, in whose letters there are more narrow ones."""
    return min(most, room / ((LETTER if bold else MEAN_LETTER) * max(1, len(text))))


def wrapped(text: str, room: float, size: float, bold: bool = False) -> list[str]:
    """Lines of whole words that fit."""
    lines = [""]
    for word in text.split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and size_of(longer, room, size, bold) < size:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def pages(
    wiring: Wiring, rows: Sequence[Row], wrong: Sequence[str], notes: Sequence[str], compass: Sequence[str]
) -> list[Drawing]:
    """A connector stands whole on one page where it can; several small ones share it."""
    sheet = _Sheet(f"{wiring.box.name}: wiring sheet", len(wrong))
    for connector in wiring.harness.connectors:
        if mine := [row for row in rows if row.connector == connector.name]:
            _connector(sheet, connector, mine, wiring)
    if passing := [row for row in rows if not row.connector]:
        sheet.need(20 + LINE * len(passing))
        sheet.line(f"{PAST_THE_BOX}, but along with it", 3.4, True)
        _table(sheet, passing)
        for cable in _cables(passing, wiring):
            sheet.line(cable_words(cable), FINE)
        sheet.y += 4
    for title, lines in (("Field at the compass", compass), ("NOT RIGHT", wrong), ("To be known", notes)):
        for k, text in enumerate(lines):
            sheet.need(LINE * (len(wrapped(text, ROOM, FINE)) + 2))
            if not k:
                sheet.line(title, 3.4, True)
            sheet.line(text, FINE)
        sheet.y += 3 if lines else 0
    return sheet.drawings()


def _times(shape: Contacts) -> float:
    """How much larger than it is it is drawn, so that the widest fits."""
    widest = max(map(len, shape.rows)) * shape.pitch + 8
    return min(TIMES, (ROOM - 8) / widest)


def _drawn_height(shape: Contacts) -> float:
    return ((len(shape.rows) - 1) * shape.apart + 6.5) * _times(shape)


def _height(connector: Connector, rows: Sequence[Row], wiring: Wiring) -> float:
    below = sum(len(wrapped(cable_words(one), ROOM, FINE)) for one in _cables(rows, wiring))
    table = LINE + sum(_row_height(row) for row in rows)
    return 32 + _drawn_height(connector.shape) + table + LINE * FINE / TYPE * below


def _cables(rows: Sequence[Row], wiring: Wiring) -> list[Cable]:
    names = {row.cable for row in rows}
    return [cable for cable in wiring.harness.cables if cable.name in names]


def _connector(sheet: _Sheet, connector: Connector, rows: Sequence[Row], wiring: Wiring) -> None:
    shape = connector.shape
    sheet.need(min(_height(connector, rows, wiring), BOTTOM - MARGIN - 20))
    carries = "" if shape.is_block else f"; {connector.box} in the box"
    sheet.line(f"{connector.name}: {shape.kind}{carries}", 3.6, True)
    sheet.line(wiring_side_words(connector), TYPE)
    sheet.y += 2
    _drawn(sheet, connector, {row.pin: row.mark for row in rows})
    _legend(sheet, {row.mark for row in rows})
    if into_tank(connector, wiring):
        sheet.line(TANK, FINE, True)
        sheet.y += 1.5
    _table(sheet, rows)
    for cable in _cables(rows, wiring):
        sheet.need(2 * LINE)
        sheet.line(cable_words(cable), FINE)
    sheet.y += 5


def into_tank(connector: Connector, wiring: Wiring) -> bool:
    tank = wiring.in_tank
    return any(use.thing in tank for lead in wiring.leads if lead.connector is connector for use in lead.uses)


def _drawn(sheet: _Sheet, connector: Connector, marks: dict[int, Mark]) -> None:
    shape, times = connector.shape, _times(connector.shape)
    places = shape.wiring_side(connector.harness)
    middle = WIDTH / 2, sheet.y + _drawn_height(shape) / 2

    def at(place: Xy) -> Xy:
        return middle[0] + place[0] * times, middle[1] + place[1] * times

    outline = [at(corner) for corner in _outline(shape)]
    sheet.add(*(Line(a, b, 0.5) for a, b in zip(outline, [*outline[1:], outline[0]])))
    radius = 0.38 * shape.pitch * times if not shape.is_block else 3.4
    for number, place in places.items():
        sheet.add(*contact(at(place), min(radius, 3.4), marks.get(number, "free"), str(number)))
    if shape.kind.startswith("header"):
        x, y = at((places[1][0], places[1][1] + 0.8 * shape.pitch))
        sheet.add(Words((x, y), "^ 1", TYPE, bold=True))
    sheet.y += _drawn_height(shape) + 2


def _outline(shape: Contacts) -> list[Xy]:
    """Of the shell, about as it is; a D-sub is narrow at the bottom."""
    half = (max(map(len, shape.rows)) - 1) / 2 * shape.pitch + 3
    down = (len(shape.rows) - 1) / 2 * shape.apart + 2.6
    lower = half - (1.4 if shape.is_dsub else 0)
    return [(-half, -down), (half, -down), (lower, down), (-lower, down)]


def contact(place: Xy, radius: float, mark: Mark, number: str) -> list[Shape]:
    """A ring for a wire, two where bus voltage may be on it; a square for a guard, a rhomb for a spare pin, a cross for a free one."""
    (x, y), r = place, radius
    shapes: list[Shape] = []
    if mark in ("wire", "bus"):
        shapes += [Circle(place, r, 0.35)] + [Circle(place, 0.8 * r, 0.25)] * (mark == "bus")
    elif mark == "free":
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            inner, outer = ((x + a * far * r, y + b * far * r) for far in (0.55, 0.9))
            shapes.append(Line(inner, outer, 0.3))
    else:
        square = [(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]
        rhomb = [(0.0, -1.15), (1.15, 0.0), (0.0, 1.15), (-1.15, 0.0)]
        corners = square if mark == "guard" else rhomb
        points = [(x + a * r, y + b * r) for a, b in corners]
        width = 0.7 if mark == "guard" else 0.3
        shapes += [Line(a, b, width) for a, b in zip(points, [*points[1:], points[0]])]
    if number:
        shapes.append(Words(place, number, min(3.2, 1.05 * r), bold=mark in ("wire", "bus")))
    return shapes


def _legend(sheet: _Sheet, there: set[Mark]) -> None:
    x = MARGIN
    for mark in MARKS:
        if mark in there:
            room = len(SAYS[mark]) * 0.5 * FINE
            if x + room + 5 > WIDTH - MARGIN:
                x, sheet.y = MARGIN, sheet.y + LINE
            sheet.add(*contact((x + 2, sheet.y), 1.5, mark, ""))
            sheet.add(Words((x + 5, sheet.y), SAYS[mark], FINE, centred=False))
            x += room + 9
    sheet.y += LINE + 1


def _cells(row: Row) -> list[str]:
    pin = str(row.pin) if row.pin else ""
    return [
        pin, "", row.use or row.mark, row.to, row.gauge, row.length, row.returns, row.cable, row.bundle, row.amperes, row.fuse
    ]  # fmt: skip


def _wrapped_cells(cells: Sequence[str], bold: bool = False) -> list[list[str]]:
    return [wrapped(cell, width - 1, FINE, bold) for (_, width), cell in zip(COLUMNS, cells)]


def _row_height(row: Row) -> float:
    return LINE + (max(map(len, _wrapped_cells(_cells(row)))) - 1) * NEXT


def _table(sheet: _Sheet, rows: Sequence[Row]) -> None:
    _heads(sheet)
    for row in rows:
        if sheet.need(_row_height(row)):
            _heads(sheet)
        sheet.add(*contact((MARGIN + 9.5, sheet.y), 1.5, row.mark, ""))
        _table_row(sheet, _cells(row), False)
        sheet.add(Line((MARGIN, sheet.y - LINE / 2), (WIDTH - MARGIN, sheet.y - LINE / 2), 0.1))
    sheet.y += 1.5


def _heads(sheet: _Sheet) -> None:
    _table_row(sheet, [head for head, _ in COLUMNS], True)
    sheet.add(Line((MARGIN, sheet.y - LINE / 2), (WIDTH - MARGIN, sheet.y - LINE / 2), 0.4))


def _table_row(sheet: _Sheet, cells: Sequence[str], bold: bool) -> None:
    top, x = sheet.y, MARGIN
    lowest = top
    for (_, width), lines in zip(COLUMNS, _wrapped_cells(cells, bold)):
        for k, text in enumerate(lines):
            sheet.y = top + k * NEXT
            sheet.words(x, text, FINE, width - 1, bold)
        lowest = max(lowest, sheet.y)
        x += width
    sheet.y = lowest + LINE
