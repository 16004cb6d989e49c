"""A whole box on pins that do nothing, its readings and switches set by hand, driven through all that can happen.

Runs on every interpreter, so it is written for the smallest: `drive` takes no heap.
"""

from gaugebox import log
from gaugebox.answers import VERBS
from gaugebox.flight_log import FlightLog
from gaugebox.line import ANSWER, frame
from gaugebox.log import MOST_PENDING, RECORD_SIZE
from gaugebox.measure import CLOCK_MASK

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

    from gaugebox.app import App
    from gaugebox.table import Table

# where the readings stand: all at an end, near the least; from end to end; every second, every second two or four at their most; at fault
LEAST, MOST, LOW, SWINGING, ODD, TWOS, FOURS, BROKEN = range(8)
PLACES = b"\x00\xff\x00\x00\xaa\xcc\x0f\x00"  # of eight inputs a bit each: at its most
OFF, ON, FILLED = range(3)  # the switches; FILLED: none but the one that says that the reserve has been
# turns, ms of one tick, switches, readings
SCRIPT = (
    (36, 20, OFF, LOW),  # a base is learned
    (110, 100, ON, MOST), (24, 1000, ON, MOST), (30, 20, ON, LEAST), (54, 20, ON, MOST),  # a transfer: blocked, dry, again
    (16, 20, ON, SWINGING), (4, 20, FILLED, LOW), (34, 20, OFF, LOW), (40, 20, ON, MOST), (30, 20, ON, FOURS),  # dry too soon
    (12, 20, OFF, LOW), (90, 20, ON, LEAST), (16, 20, ON, BROKEN),  # a pump that builds nothing
    (190, 1300, OFF, ODD), (40, 1300, OFF, TWOS), (16, 1300, ON, BROKEN), (8, 1300, ON, SWINGING),  # hours, in stalls
)  # fmt: skip
TURN = 5  # ticks
GAUGES, STATES = 8, 12
READING_VERBS = (("hello",), ("input", "0"), ("values", "0"), ("values", "8"), ("lamps", "0"), ("alerts", "0"), ("alerts", "4"),
    ("marks", "0"), ("reserve",), ("gauges",), ("dim",), ("flight",), ("knobs",))  # fmt: skip


class Nothing:
    """A board, its pins, a log: takes whatever is done to it."""

    before = 0
    i2c = None

    def __init__(self, canvas: "Callable[..., Any]") -> None:
        self.canvas = canvas

    def converter(self, pin: int) -> "Nothing":
        return self

    def discrete(self, pin: int, level: int) -> "Nothing":
        return self

    def switch(self, pin: int, on: int) -> "Nothing":
        return self

    def lamp(self, pin: int, frequency: int) -> "Nothing":
        return self

    def duty_u16(self, duty: int) -> None:
        assert 0 <= duty <= 65535

    def remember(self, on: int, armed: int, key: int) -> None:
        assert 0 <= on < 65536 and 0 <= armed < 65536

    def remembered(self, key: int) -> "tuple[int, int]":
        return 0, 0

    def now(self) -> int:
        return 0

    def service(self) -> bool:
        return True

    def open_line(self) -> None:
        pass


class Stored:
    slot = "slot_a"
    sequence = safe = older = waiting = 0
    distrusted = False
    notice = ""

    def __init__(self, table: "Table") -> None:
        self.table = table


class Events(log.Log):
    def __init__(self) -> None:
        self.records = bytearray(MOST_PENDING * RECORD_SIZE)
        self.pending = self.lost = 0
        self.start = 65535


class Flights(FlightLog):
    """Nothing is written."""

    def flush(self) -> None:
        self._empty()

    def roll(self) -> None:
        pass


def app_of(table: "Table", canvas: "Callable[..., Any]") -> "App":
    from gaugebox.app import App

    return App(Nothing(canvas), Stored(table), Events(), Flights(""))  # type: ignore[arg-type]


def ends_of(app: "App") -> "list[list[int]]":
    """Of each input the least and the most that it can say, and a little more than the least."""
    readings = [channel.record.reading_curve[1] for channel in app.channels]
    return [[min(some), max(some), min(some) + (max(some) - min(some) >> 5)] for some in readings]


def drive(work: "tuple[App, list[list[int]], bytearray]") -> None:
    """seen: 1 at each state that the reserve watch has been in, and from GAUGES on a gauge."""
    app, ends, seen = work
    for turns, ms, on, way in SCRIPT:
        for turn in range(turns):
            set_readings(app, ends, turn, way)
            set_switches(app, on, turn)
            for _ in range(TURN):
                tick(app, ms)
            look(app, seen)
        app.alerts.acknowledge()


def look(app: "App", seen: bytearray) -> None:
    if app.reserve is not None:
        seen[app.reserve.watch.state] = 1
    for gauge in app.gauges:
        seen[GAUGES + gauge.disagree.state] = 1


def set_readings(app: "App", ends: "list[list[int]]", turn: int, way: int) -> None:
    i = 0
    for channel in app.channels:
        said = channel.said
        upper = PLACES[(MOST if turn & 1 else LEAST) if way == SWINGING else way] >> (i & 7) & 1
        said[2] = said[3] = ends[i][MOST if upper else LOW if way == LOW else LEAST]
        said[0] = (turn + i) % 8 if way == BROKEN else 0
        i += 1


def set_switches(app: "App", on: int, turn: int) -> None:
    if app.lighting is not None:
        for switch in app.lighting.switches:
            switch.level = 1 if on == ON else 0
        app.lighting.step()
    if app.reserve is not None and app.reserve.filled is not None:
        app.reserve.filled.level = 1 if on == FILLED else 0
    if app.face is not None and not turn & 7:
        app.face.turn()


def tick(app: "App", ms: int) -> None:
    app.clock[0] = app.clock[0] + ms & CLOCK_MASK
    app._judge(ms)
    app._point()
    app.testing = 0
    if app.lighting is not None:
        for dimmer in app.lighting.dimmers:
            app._duty(dimmer)
    if app.face is not None:
        app.face.step(False, False)


def ask(app: "App") -> None:
    """Everything that only reads, in as many words as the line takes."""
    for words in READING_VERBS:
        if words[0] != "input" or app.shown:
            frame(ANSWER, ["1", "ok"] + VERBS[words[0]](app, list(words[1:])))
    for at in range(len(app.alerts.all)):
        app.alerts.words(at)
