"""The face: what stands on the display, drawn a cell or a line a tick into a picture of 128 by 64 dots. Nothing allocated per tick.

A colour is told by its shape. On a bar green is a thin line, yellow is hatched, red is solid, and what has no mark is dotted; where it
stands is an upright stroke. A number or an alert with nothing around it is as it should be, or acknowledged (an underlined one is a
warning); a frame is yellow, or a caution; dark on light is red, or a warning, which flashes until it is acknowledged.

How far away it can be read: letters and figures should be seen under 15 minutes of arc at least, better 22 (MIL-STD-1472, from memory);
at an arm's length of 0.7 m that is 3.1 and 4.5 mm. On a panel of 0.96 inch (21.7 mm wide) a row of dots is 0.17 mm high, on one of
1.3 inch (29.4 mm) 0.23 mm. So of the figures:

                        0.96 inch                   1.3 inch
    small,   7 rows     1.2 mm,  6': to lean over   1.6 mm,  8': to lean over
    medium, 16 rows     2.7 mm, 13': too small      3.7 mm, 18': can be read
    tall,   24 rows     4.1 mm, 20': can be read    5.5 mm, 27': can be read well

The overview is for the shapes; what must be read in flight belongs on a page of its own, by threes at most on the larger panel. In the
sun such a display is hard to read at any size: it needs a hood, and its full brightness by day.
"""

from gaugebox.alert_records import ALERTS_PAGE, LARGE_PAGE, OVERVIEW_PAGE, RESERVE_PAGE
from gaugebox.alerts import FLASHING, WARNING
from gaugebox.brush import HEIGHT, LETTERS, LINE, PITCH, WIDTH, Brush, bare, places
from gaugebox.measure import FAULT, FAULTS, READING, SIGNAL
from gaugebox.readouts import GREEN, RED, UNMARKED, YELLOW
from gaugebox.reserve_page import LINES, ReservePage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from gaugebox.alert_records import FaceRecord
    from gaugebox.alerts import Alerts
    from gaugebox.readouts import Readout
    from gaugebox.watches import Reserve

LEAST_CONTRAST = 64  # of 255, while a warning is not acknowledged, however far the display is dimmed
SHORTER = {"converter": "conv.", "cold junction": "cold"}
READ_TICKS = 20  # so long a line must have stood there, that a press is for it
SIGNAL_TICKS = 3  # of each flash in which a signal is drawn anew: it moves where its reading stands still
ROWS_A_PAGE = 4
LINES_A_PAGE = 6
ROW = 14  # rows of dots
BOTTOM = 55  # the line of alerts, page and service begins there
VALUE = 60  # where the value begins, right of ten letters
LABEL = 10
# in place of the number of an alert, on a line of its page
NOBODY, SEEN, MORE, WELL = range(255, 251, -1)
HEADINGS = {SEEN: b"ACKNOWLEDGED", WELL: b"no alerts"}
# in ten letters; FAIL, for "short" beside fuel, "over" beside a pressure would be read as what is so
FAULT_WORDS = [b""] + [b"FAIL " + SHORTER.get(word, word).encode() for word in FAULTS if word]


class Cell:
    """What of a readout can be known beforehand. zones: of each the column where it begins on the bar, and one where all end."""

    def __init__(self, readout: "Readout") -> None:
        self.readout = readout
        self.said = readout.said
        record, source = readout.record, readout.channel.record
        self.label = record.label.encode()
        self.unit = bare(source.reading_unit)
        self.whole_unit = source.reading_unit.replace("deg", "\x7f").encode()
        self.signal_unit = source.signal_unit.encode()
        self.signal_decimals = source.signal_decimals
        self.words = [word.encode() for word in record.words]
        self.step = source.step
        self.decimals, self.divisor = places(source.step, source.reading_decimals)
        self.low, self.high = record.low, record.high
        self.shift = 0
        while (self.high - self.low) >> self.shift >= 1 << 22:  # times the columns it stays below 2**30
            self.shift += 1
        self.span = max(1, (self.high - self.low) >> self.shift)
        self.zones = bytes([0] + [self.column(edge) for edge in record.edges] + [WIDTH])
        self.at = 0  # as it was drawn last
        self.number = 0
        self.state = -1

    def column(self, reading: int) -> int:
        reading = min(max(reading, self.low), self.high)
        return ((reading - self.low) >> self.shift) * (WIDTH - 1) // self.span

    def colour(self) -> int:
        """Of what is around its value: a fault is a caution, if it was not red already."""
        colour = self.readout.colour
        return YELLOW if self.said[FAULT] and colour != RED else colour

    def moved(self) -> bool:
        """Whether it is to be drawn anew."""
        said, readout = self.said, self.readout
        state = said[FAULT] | readout.colour << 4 | (readout.zone + 1) << 8
        number = at = 0
        if not said[FAULT]:
            number = (said[READING] + (self.step >> 1)) // self.step * self.step // self.divisor
            at = self.column(said[READING])
        if state == self.state and number == self.number and at == self.at:
            return False
        self.state, self.number, self.at = state, number, at
        return True


class Face:
    """canvas: makes something to draw on of a bytearray, its width and height. banner: what stands there instead of readouts."""

    def __init__(
        self,
        canvas: "Callable[..., Any]",
        record: "FaceRecord",
        readouts: "list[Readout]",
        alerts: "Alerts",
        banner: str = "",
        watch: "Reserve | None" = None,
    ) -> None:
        self.brush = Brush(canvas)
        self.picture = self.brush.picture
        self.canvas = self.brush.canvas
        self.cells = [Cell(readout) for readout in readouts]
        self.alerts = alerts
        self.words = _words(alerts, self.cells)
        self.banner = banner.encode()
        self.pages: "list[tuple[int, list[Cell]]]" = []
        for kind, numbers in record.pages:
            if kind == OVERVIEW_PAGE:
                for first in range(0, max(1, len(self.cells)), ROWS_A_PAGE):
                    self.pages.append((kind, self.cells[first : first + ROWS_A_PAGE]))
            else:
                self.pages.append((kind, [self.cells[number] for number in numbers]))
        self.reserve = None if watch is None else ReservePage(self.brush, watch)
        self.names = [("%d/%d" % (i + 1, len(self.pages))).encode() for i in range(len(self.pages))]
        self.lines = bytearray(LINES_A_PAGE)  # of the page of alerts
        self.page = 0
        # on the page of alerts: how many stand before those that it shows, and with them
        self.first = self.shown = 0
        self.more = False  # there are others that find no room
        self.on_line = NOBODY  # the alert on the bottom line
        self.shown_for = 0  # ticks
        self.at = 0  # which cell or line is drawn next
        self.fresh = True  # the page is to be drawn from nothing
        self.tested = False
        self.half = False  # the lower half of a single readout is to be drawn too
        self.listed = self.told = -1  # as the page and the line of alerts were drawn last

    def turn(self) -> None:
        """To the next page; of alerts first to those that found no room."""
        self.fresh = True
        self.shown_for = 0
        if self.more and self.pages[self.page][0] == ALERTS_PAGE:
            self.more = False
            self.first = self.shown
            return
        self.more = False
        self.first = 0
        self.page = (self.page + 1) % len(self.pages)

    def acknowledge(self) -> None:
        """What can be read: the alert on the bottom line, or all those on their page. Not what has just come."""
        alerts = self.alerts
        if self.tested or self.shown_for < READ_TICKS:
            return
        if self.on_line < len(alerts.all):
            alerts.see(self.on_line)
        if self.pages[self.page][0] == ALERTS_PAGE:
            for number in self.lines:
                if number < len(alerts.all):
                    alerts.see(number)
        alerts.show()

    def contrast(self, dimmed: int, testing: bool) -> int:
        """Of 255; dimmed: what the knobs leave of it."""
        if self.banner:
            return LEAST_CONTRAST  # nothing dims it then, and it may be night
        return max(dimmed, LEAST_CONTRAST) if testing or self.alerts.warning == FLASHING else dimmed

    def step(self, testing: bool, service: bool) -> None:
        """One tick."""
        if testing:
            if not self.tested:
                self.canvas.fill(1)
            self.tested = self.fresh = True
            return
        self.tested = False
        if self.shown_for < READ_TICKS:
            self.shown_for += 1
        if self.fresh:
            self._clear()
            return
        kind, cells = self.pages[self.page]
        single = kind == LARGE_PAGE and len(cells) == 1
        last = len(cells)
        if kind == ALERTS_PAGE:
            last = LINES_A_PAGE
        elif kind == RESERVE_PAGE:
            last = LINES
        elif single:
            last = 2
        at = self.at
        if at >= max(1, last):
            self.at = 0
            self._tell(service)
            return
        self.at = at + 1
        if self.banner:
            self._centre(self.banner)
        elif kind == ALERTS_PAGE:
            self._list(at)
        elif kind == RESERVE_PAGE:
            if self.reserve is not None:
                self.reserve.step(at)
        elif single and at:
            if self.half or self.alerts.flash < SIGNAL_TICKS:
                self._below(cells[0])
        elif at < len(cells) and cells[at].moved():
            if kind == OVERVIEW_PAGE:
                self._row(cells[at], at * ROW)
            else:
                self._large(cells[at], at, len(cells))

    def _clear(self) -> None:
        self.fresh = False
        self.canvas.fill(0)
        self.at = 0
        self.listed = self.told = -1
        if self.reserve is not None:
            self.reserve.clear()
        for cell in self.cells:
            cell.state = -1

    # pages

    def _row(self, cell: Cell, y: int) -> None:
        self.canvas.fill_rect(VALUE, y, WIDTH - VALUE, LINE, 0)
        self.brush.write(cell.label, 0, y + 1)
        fault = cell.said[FAULT]
        if fault:
            ink = self.brush.box(VALUE, y, WIDTH - VALUE, LINE, cell.colour())
            self.brush.write(FAULT_WORDS[fault], VALUE + 3, y + 1, ink)
        else:
            ink = self.brush.box(VALUE, y, 32, LINE, cell.readout.colour)
            self.brush.number(cell.number, cell.decimals, 30)
            self.brush.write_back(self.brush.text, VALUE + 30, y + 1, ink)
            self.brush.write(cell.unit, VALUE + 34, y + 1)
        self._bar(cell, y + 10, 3)

    def _large(self, cell: Cell, at: int, of: int) -> None:
        height = BOTTOM // of
        y = at * height
        self.brush.write(cell.label, 0, y)
        if of == 1:
            self._single(cell)
            return
        brush, fault = self.brush, cell.said[FAULT]
        self.canvas.fill_rect(0, y + 8, VALUE + 2, 10, 0)
        ink = brush.box(VALUE + 2, y, WIDTH - VALUE - 2, 20 - of // 3 * 2, cell.colour())
        y += 2 - of // 3
        if fault:
            brush.write(FAULT_WORDS[fault], VALUE + 4, y + 4, ink)
        else:
            brush.number(cell.number, cell.decimals, WIDTH - VALUE - 5, 12)
            brush.figures(brush.medium, 12, WIDTH - 1, y, ink)
        if cell.readout.rank:
            brush.write(cell.words[cell.readout.zone], 0, y + 8, None, LABEL)
        elif not fault:
            brush.write(cell.unit, 0, y + 8)
        if of == 2:
            self._bar(cell, y + 19, 4)

    def _single(self, cell: Cell) -> None:
        """With its signal, to trace what is wrong with it."""
        self.brush.write_back(cell.whole_unit, WIDTH, 0)
        fault = cell.said[FAULT]
        ink = self.brush.box(20, 9, 88, 28, cell.colour())
        if fault:
            self.brush.write(FAULT_WORDS[fault], 28, 19, ink)
        else:
            self.brush.number(cell.number, cell.decimals, 85, 17)
            self.brush.figures(self.brush.tall, 17, 106, 11, ink)
        self.half = True

    def _below(self, cell: Cell) -> None:
        self.half = False
        self._bar(cell, 39, 6)
        self.canvas.fill_rect(0, 47, WIDTH, 8, 0)
        if not cell.said[FAULT]:
            self.brush.number(cell.said[SIGNAL], cell.signal_decimals, WIDTH)
            self.brush.write(cell.signal_unit, self.brush.write(self.brush.text, 0, 47) + 3, 47)
        if cell.readout.rank:
            self.brush.write_back(cell.words[cell.readout.zone], WIDTH, 47)

    def _bar(self, cell: Cell, y: int, height: int) -> None:
        canvas = self.canvas
        canvas.fill_rect(0, y - 1, WIDTH, height + 1, 0)
        readout, zones = cell.readout, cell.zones
        if readout.zone < 0:  # not judged, or not known yet
            self._zone(UNMARKED, 0, WIDTH, y, height)
        else:
            for k in range(len(zones) - 1):
                self._zone(readout.record.colours[k], zones[k], zones[k + 1], y, height)
        if not cell.said[FAULT]:
            at = min(max(cell.at, 2), WIDTH - 3)
            canvas.fill_rect(at - 2, y - 1, 5, height + 1, 0)
            canvas.fill_rect(at - 1, y - 1, 3, height + 1, 1)

    def _zone(self, colour: int, x: int, end: int, y: int, height: int) -> None:
        canvas = self.canvas
        if colour == RED:
            canvas.fill_rect(x, y, end - x, height, 1)
        elif colour == GREEN:
            canvas.hline(x, y + (height >> 1), end - x, 1)
        elif colour == YELLOW:
            for x in range((x + 2) // 3 * 3, end, 3):
                canvas.vline(x, y, height, 1)
        else:
            for x in range((x + 3) & ~3, end, 4):
                canvas.pixel(x, y + (height >> 1), 1)

    # alerts

    def _list(self, at: int) -> None:
        alerts = self.alerts
        if at == 0:
            if self.listed == alerts.changed:
                self.at = LINES_A_PAGE
                return
            self.listed = alerts.changed
            self.shown_for = 0  # nobody has read what has just come
            self._sort()
        number = self.lines[at]
        y = at * LINE
        brush = self.brush
        self.canvas.fill_rect(0, y, WIDTH, LINE, 0)
        if number < len(alerts.all):
            self._alert(number, y, LETTERS, True)
        elif number == MORE:
            brush.number(alerts.count - self.shown, 0, WIDTH)
            x = brush.write(brush.text, brush.write(b"and ", 0, y + 1), y + 1)
            brush.write(b" more: page", x, y + 1)
        elif number != NOBODY:
            x = brush.write(HEADINGS[number], 0, y + 1)
            if number == SEEN:
                self.canvas.hline(x + 2, y + 4, WIDTH - x - 2, 1)

    def _sort(self) -> None:
        """What stands on each line of the page: alerts, a heading before those acknowledged, and a word when there is no room for all."""
        alerts, lines = self.alerts, self.lines
        for k in range(LINES_A_PAGE):
            lines[k] = NOBODY
        if self.first >= alerts.count:
            self.first = 0
        self.shown = self.first
        self.more = False
        at = 0
        headed = False
        for k in range(self.first, alerts.count):
            number = alerts.order[k]
            heading = not headed and not alerts.all[number].unseen()
            last = k + 1 == alerts.count
            if at + heading >= LINES_A_PAGE - (0 if last else 1):
                lines[at] = MORE
                self.more = True
                return
            if heading:
                headed = True
                lines[at] = SEEN
                at += 1
            lines[at] = number
            self.shown += 1
            at += 1
        if not at:
            lines[0] = WELL

    def _alert(self, number: int, y: int, letters: int, lit: bool) -> None:
        """One alert across the display; lit: not in the dark half of its flashing."""
        brush, alert = self.brush, self.alerts.all[number]
        colour = GREEN
        if alert.unseen():
            colour = YELLOW if alert.urgency != WARNING else RED if lit else GREEN
        ink = brush.box(0, y, letters * PITCH + 2, LINE, colour)
        head, tails = self.words[number]
        if tails is None:
            tail = alert.source.tail().encode()  # allocates, when it is new
        else:
            tail = tails[alert.what] if tails else b""
        x = brush.write(head, 2, y + 1, ink, letters - len(tail) - 1 if tail else letters)
        brush.write(tail, x + PITCH if head else x, y + 1, ink, letters)
        if alert.urgency == WARNING and not alert.unseen():
            self.canvas.hline(0, y + LINE - 1, letters * PITCH + 2, 1)

    def _tell(self, service: bool) -> None:
        """The bottom line: the alert to be read first, or the number of the page; and SERVICE."""
        alerts = self.alerts
        flashing = alerts.warning == FLASHING
        lit = alerts.lit(WARNING)
        told = alerts.changed << 2 | (2 if service else 0) | (1 if flashing and lit else 0)
        if told == self.told:
            return
        if told >> 2 != self.told >> 2:
            self.shown_for = 0
        self.told = told
        self.on_line = alerts.order[0] if alerts.count else NOBODY
        self.canvas.fill_rect(0, BOTTOM, WIDTH, LINE, 0)
        if service:
            ink = self.brush.box(WIDTH - 44, BOTTOM, 44, LINE, RED)
            self.brush.write(b"SERVICE", WIDTH - 43, BOTTOM + 1, ink)
        if alerts.count:
            self._alert(alerts.order[0], BOTTOM, 13 if service else LETTERS, lit)
        elif not service:
            self.brush.write_back(self.names[self.page], WIDTH, BOTTOM + 1)

    def _centre(self, text: bytes) -> None:
        ink = self.brush.box(0, 18, WIDTH, LINE, RED)
        self.brush.write(text, (WIDTH - len(text) * PITCH) >> 1, 19, ink)


def _words(alerts: "Alerts", cells: "list[Cell]") -> "list[tuple[bytes, list[bytes] | None]]":
    """Of each alert what it says: a beginning, and how it goes on, by what it is; None: it is to be asked."""
    labels = {}
    for cell in cells:
        labels[cell.readout.record.index] = cell.label
    made: "list[tuple[bytes, list[bytes] | None]]" = []
    for i in range(len(alerts.inputs)):
        label = labels.get(i) or alerts.inputs[i].record.name.encode()
        made.append((label, FAULT_WORDS))
    made += [(cell.label, cell.words) for cell in cells]
    made += [(rule.record.words.encode(), []) for rule in alerts.rules]
    for source in alerts.others:
        if source.phrases is not None:
            made.append((b"", source.phrases))
        else:
            made.append((labels.get(source.record.index) or source.channel.record.name.encode(), None))
    return made
