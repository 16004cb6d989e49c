"""The page of the reserve watch on the face: its state, and the books, each with its band."""

from array import array

from gaugebox import reserve
from gaugebox.books import NOT_KNOWN
from gaugebox.brush import LINE, WIDTH, bare, places
from gaugebox.readouts import GREEN, RED, YELLOW
from gaugebox.alerts import WARNING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.brush import Brush
    from gaugebox.watches import Reserve

# of gaugebox.reserve.STATES, in ten letters
STATES = (
    b"off",
    b"building",
    b"flowing",
    b"dry",
    b"blocked",
    b"no press.",
    b"may leak",
    b"unknown",
)
STATE, MOVED, LEFT, ROOM, TIME, UNIT = range(6)  # lines
LINES = 6
PLACE, AT, TIME_AT = 58, 76, 64  # columns: where the state begins, the value ends, the soonest time ends
NOT_DRAWN = -2


class ReservePage:
    def __init__(self, brush: "Brush", watch: "Reserve") -> None:
        self.brush = brush
        self.reserve = watch
        record = watch.tank.record
        self.decimals, self.divisor = places(record.step, record.reading_decimals)
        self.unit = b"in " + bare(record.reading_unit) + b", +- at 95 %"
        self.drawn = array("i", [NOT_DRAWN] * (2 * LINES))  # of each line what it says

    def clear(self) -> None:
        for i in range(len(self.drawn)):
            self.drawn[i] = NOT_DRAWN

    def step(self, line: int) -> None:
        """Draws one line, where it is not as it was."""
        watch = self.reserve.watch
        books = watch.books
        if line == STATE:
            if self._differs(line, watch.state, self.reserve.urgency << 1 | watch.doubtful):
                self._state()
        elif line == MOVED:  # before the first transfer it has no band
            self._fuel(line, b"moved", books.moved if books.moved_band else NOT_KNOWN, books.moved_band)
        elif line == LEFT:
            self._fuel(line, b"left", books.left, books.left_band)
        elif line == ROOM:
            self._fuel(line, b"room", books.room, books.room_band)
        elif line == TIME:
            self._time()
        elif self._differs(line, 0, 0):
            self.brush.write(self.unit, 0, line * LINE + 1)

    def _differs(self, line: int, value: int, band: int) -> bool:
        drawn = self.drawn
        if drawn[line] == value and drawn[line + LINES] == band:
            return False
        drawn[line] = value
        drawn[line + LINES] = band
        return True

    def _state(self) -> None:
        brush, watch = self.brush, self.reserve.watch
        urgency = self.reserve.urgency
        colour = RED if urgency == WARNING else YELLOW if urgency or watch.state == reserve.UNKNOWN else GREEN
        brush.write(b"RESERVE", 0, 1)
        ink = brush.box(PLACE, 0, WIDTH - PLACE, LINE, colour)
        x = brush.write(STATES[watch.state], PLACE + 3, 1, ink)
        if watch.doubtful:
            brush.write(b"?", x, 1, ink)

    def _fuel(self, line: int, label: bytes, value: int, band: int) -> None:
        if value != NOT_KNOWN:
            value = (value + (self.divisor >> 1)) // self.divisor
            band = -(-band // self.divisor)
        self._write(line, label, value, band, self.decimals)

    def _time(self) -> None:
        """In minutes, the soonest and the latest; while nobody knows what is left, until the mains are full."""
        books = self.reserve.watch.books
        seconds, band = books.seconds_to_off, books.seconds_band
        soonest = latest = NOT_KNOWN
        if seconds != NOT_KNOWN:
            soonest = max(0, seconds - band) // 60
            latest = -(-(seconds + band) // 60)
        self._write(TIME, b"full in" if books.left == NOT_KNOWN else b"off in", soonest, latest, 0)

    def _write(self, line: int, label: bytes, value: int, other: int, decimals: int) -> None:
        """other: its band; of a time the latest."""
        if not self._differs(line, value, other << 1 | (len(label) & 1)):
            return
        brush = self.brush
        y = line * LINE + 1
        brush.canvas.fill_rect(0, y, WIDTH, 8, 0)
        if value == NOT_KNOWN and line == TIME:
            return
        brush.write(label, 0, y)
        if value == NOT_KNOWN:
            brush.write(b"not known", PLACE, y)
            return
        at, between = AT, b" +-"
        if line == TIME:
            at = TIME_AT
            between = b" to "
        brush.number(value, decimals, at)
        brush.write_back(brush.text, at, y)
        brush.number(other, decimals, WIDTH - at)
        x = brush.write(brush.text, brush.write(between, at, y), y)
        if line == TIME:
            brush.write(b"min", x + 3, y)
