"""A live view of the box in the terminal: asks it little and often, draws, minds the keys, records.

The box answers at most one request in a tick of 20 ms. Of the five ticks of an update four are used at most: first for the readings,
then in turn for marks and alerts, and for what changes slowly: lights, dim request, box.
"""

import contextlib
import os
import re
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from rich.console import Console
from rich.live import Live

from gaugelight.box_line import (
    BoxLine,
    BoxSaysNo,
    Hello,
    NoAnswer,
    SaidAlerts,
    SaidDimmer,
    TableChanged,
    warnings_of,
)
from gaugelight.flash import stored
from gaugelight.fuel_watch import gauges_told, reserve_books
from gaugelight.live_log import LiveLog
from gaugelight.live_picture import COLOUR_WORDS, LAMP_WORDS, URGENCY_WORDS, State, faces_of, picture, status

if sys.platform != "win32":
    import termios
    import tty

UPDATE_S = 0.1
REQUESTS_AN_UPDATE = 4
VALUES_A_REQUEST = 8
ANSWER_WITHIN_S = 0.3  # the log is written in 0.1 s; whoever waits longer can as well ask again
DOUBTFUL_S = 0.15  # an answer that came so late may be of a box that has started anew, with another table
TEST_TICKS = 100
ACKNOWLEDGE, TEST, QUIT = "atq"

Clock = Callable[[], float]


class Watch:
    """What is known of a box, kept up to date. Raises Wrong where its port is lost."""

    def __init__(self, line: BoxLine, clock: Clock = time.monotonic) -> None:
        self.line = line
        self.clock = clock
        self.lost = False  # it did not answer when last asked
        self._learn(line.hello_same_version())
        self.others = self._others()

    def _learn(self, hello: Hello) -> None:
        """All that goes with a table, and all else once. What was known stands until all is."""
        line = self.line
        described = line.describe(hello.inputs)
        table = stored(line, hello)
        faces = faces_of(described, table)
        marked = sum(face.record is not None for face in faces)
        state = State(
            port=line.port,
            hello=hello,
            faces=faces,
            said=tuple(line.values(described)),
            marks=tuple(line.marks(marked)),
            lights=tuple(line.lamps(hello.dimmers)),
            dim=line.dim(),
            alerts=line.alerts(),
            alert_lamps=(
                () if table is None else tuple((one.name, one.shows) for one in table.dimmers if one.shows)
            ),
        )
        self.table = table
        self.described, self.marked, self.state = described, marked, state
        self.came = self.clock()

    def update(self) -> bool:
        """A few requests; whether there are new readings. What the box does not answer is asked again the next time."""
        try:
            if self.lost:
                self._hello()
                self.lost = False
            asked = self.clock()
            said = tuple(self.line.values(self.described))
            if self.clock() - asked > DOUBTFUL_S and self._hello():
                return True
            self.came = self.clock()
            self.state = replace(self.state, said=said)
            for _ in range(max(1, REQUESTS_AN_UPDATE - -(-len(said) // VALUES_A_REQUEST))):
                next(self.others)
        except (NoAnswer, TableChanged):
            self.lost = True
            self.others = self._others()
            return False
        return True

    def _hello(self) -> bool:
        """Whether it has started anew meanwhile; where its table is another all is learnt anew."""
        before, hello = self.state.hello, self.line.hello_same_version()
        another = (hello.crc, hello.slot, hello.inputs) != (before.crc, before.slot, before.inputs)
        if another:
            self._learn(hello)
        else:
            self.state = replace(self.state, hello=hello)
        if not another and hello.uptime_ms >= before.uptime_ms:
            return False
        self.others = self._others()
        what = f"the box started anew {hello.uptime_ms / 1000:.0f} s ago"
        self.say(f"{what}, with another table: {hello.crc or 'none'}" if another else what)
        return True

    def say(self, what: str) -> None:
        self.state = replace(self.state, message=f"{datetime.now():%H:%M:%S}  {what}")

    def _others(self) -> Iterator[None]:
        """One request at each step, for ever."""
        slow = self._slow()
        while True:
            self.state = replace(self.state, marks=tuple(self.line.marks(self.marked)))
            yield
            yield from self._alerts()
            next(slow)
            yield

    def _alerts(self) -> Iterator[None]:
        said = SaidAlerts(0, 0, 0, 0, ())
        while True:
            more = self.line.alerts_from(len(said.shown))
            if said.shown and more.changed != said.changed:
                more = self.line.alerts_from(0)
                said = SaidAlerts(0, 0, 0, 0, ())
            said = replace(more, shown=said.shown + more.shown)
            yield
            if len(said.shown) >= said.count:
                break
        self.state = replace(self.state, alerts=said)

    def _slow(self) -> Iterator[None]:
        while True:
            lights: list[SaidDimmer] = []
            while len(lights) < self.state.hello.dimmers:
                lights += self.line.lamps_from(len(lights))
                yield
            self.state = replace(self.state, lights=tuple(lights), dim=self.line.dim())
            yield
            yield from self._watches()
            self._hello()
            yield

    def _watches(self) -> Iterator[None]:
        """The reserve watch and the disagree alerts, where there are any."""
        table, watched = self.table, []
        if table is None:
            return
        if table.reserve is not None and (said := self.line.reserve()) is not None:
            watched.append("reserve watch: " + "; ".join(reserve_books(said, table)))
            yield
        if table.gauges:
            watched.append("gauges: " + "; ".join(gauges_told(self.line.gauges(), table)))
            yield
        self.state = replace(self.state, watched=tuple(watched))

    @property
    def now(self) -> State:
        """With the age that its readings have by now."""
        return replace(self.state, age=self.clock() - self.came)


ESCAPED = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]?|O.?|.?)")  # arrows and the like, which hold letters


class Keys:
    """The keyboard, key by key; a context manager that leaves the terminal as it was. Ctrl-C still is one."""

    def __init__(self) -> None:
        self.fd = sys.stdin.fileno()

    def __enter__(self) -> "Keys":
        self.before = termios.tcgetattr(self.fd)
        tty.setcbreak(self.fd)
        without_suspend: list[Any] = termios.tcgetattr(self.fd)
        without_suspend[6][termios.VSUSP] = b"\0"  # stopped in the middle it would leave its picture behind
        without_suspend[
            3
        ] |= termios.NOFLSH  # a key that Ctrl-C throws away is waited for by whoever was told of it
        termios.tcsetattr(self.fd, termios.TCSANOW, without_suspend)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        with contextlib.suppress(termios.error):  # the terminal itself may be gone
            termios.tcsetattr(self.fd, termios.TCSAFLUSH, self.before)

    def until(self, due: float) -> Iterator[str]:
        """Those that are pressed up to then; q where there will be none any more."""
        while select.select([self.fd], [], [], max(0.0, due - time.monotonic()))[0]:
            typed = os.read(self.fd, 64)
            yield from ESCAPED.sub("", typed.decode(errors="replace")) if typed else QUIT


class Ending:
    """Minds Ctrl-C, a kill and a closed terminal, a context manager: the picture that is being drawn is finished first, or it
    would stand there for good. One who asks twice is not kept waiting."""

    SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")

    def __init__(self) -> None:
        self.wanted = False

    def __enter__(self) -> "Ending":
        there = [getattr(signal, name) for name in self.SIGNALS if hasattr(signal, name)]
        self.before = {number: signal.signal(number, self._asked) for number in there}
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, handler in self.before.items():
            signal.signal(number, handler)

    def _asked(self, number: int, frame: object) -> None:
        if self.wanted:
            raise KeyboardInterrupt
        self.wanted = True


def can_draw() -> bool:
    """Whether there is a terminal to draw on and to type at."""
    there = sys.stdin.isatty() and sys.stdout.isatty()
    return there and sys.platform != "win32" and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")


def live(port: str, log_path: Path | None, append: bool) -> int:
    """Until q or Ctrl-C; how many rows were recorded. Raises Wrong."""
    console = Console(highlight=False)
    rows = 0
    with BoxLine(port) as line, contextlib.ExitStack() as stack:
        watch = Watch(line)
        line.tries, line.within = 1, ANSWER_WITHIN_S
        log = None if log_path is None else stack.enter_context(LiveLog(log_path, append, watch.state))
        if log is not None:
            watch.state = replace(watch.state, log=str(log_path))
        with (
            contextlib.suppress(KeyboardInterrupt),
            Ending() as ending,
            Keys() as keys,
            _drawing(console) as drawn,
        ):
            due = time.monotonic()
            while not ending.wanted:
                fresh = watch.update()
                if fresh and log is not None:
                    if log.fits(watch.state):
                        log.add(watch.state)
                        rows += 1
                    else:
                        log = None
                        watch.state = replace(watch.state, log="")
                        watch.say("another table: the log has ended; start again with a new file")
                width, height = console.size
                drawn.update(picture(watch.now, width, height, console.options.ascii_only), refresh=True)
                due = max(due + UPDATE_S, time.monotonic())
                for key in keys.until(due):
                    if key == QUIT:
                        return rows
                    _press(key, watch)
    return rows


def _drawing(console: Console) -> Live:
    return Live(console=console, screen=True, auto_refresh=False)


def _press(key: str, watch: Watch) -> None:
    try:
        if key == ACKNOWLEDGE:
            watch.line.acknowledge()
            watch.say("all alerts are acknowledged")
        elif key == TEST:
            watch.line.test(TEST_TICKS)
            watch.say(f"lamp test: all that can be lit is, for {TEST_TICKS * 0.02:g} s")
    except NoAnswer:
        watch.say("the box did not answer: press it again")
    except BoxSaysNo as problem:
        watch.say(problem.lines[0])


def snapshot(state: State) -> dict[str, Any]:
    """For --json."""
    hello, dim, alerts = state.hello, state.dim, state.alerts
    readouts = []
    for face, said in zip(state.faces, state.said):
        mark = state.mark(face)
        readouts.append(
            {
                "name": face.about.name,
                "label": face.label,
                "count": None if face.derived else said.count,
                "signal": None if said.signal is None else float(said.signal),
                "signal_unit": said.signal_unit,
                "reading": None if said.reading is None else float(said.reading),
                "unit": said.reading_unit,
                "fault": said.fault,
                "colour": None if mark is None else COLOUR_WORDS[mark.colour] or None,
                "rank": None if mark is None else mark.rank,
                "status": status(face, said, mark)[0] or None,
            }
        )
    return {
        "port": state.port,
        "box": hello.box,
        "state": hello.state,
        "crc32": hello.crc,
        "uptime_s": hello.uptime_ms / 1000,
        "warnings": warnings_of(hello),
        "readouts": readouts,
        "lights": [
            {"name": one.name, "level": one.level / 100, "duty_u16": one.duty, "fault": one.fault}
            for one in state.lights
        ],
        "dim_request": None if dim.request == "none" else dim.request == "on",
        "dim_request_fault": dim.request_fault,
        "day": None if dim.daylight == "none" else dim.daylight == "day",
        "daylight_fault": dim.daylight_fault,
        "warning_lamp": LAMP_WORDS.get(alerts.warning),
        "caution_lamp": LAMP_WORDS.get(alerts.caution),
        "watched": list(state.watched),
        "alerts": [
            {
                "urgency": URGENCY_WORDS.get(one.urgency, "").lower(),
                "words": one.words,
                "acknowledged": one.acknowledged,
            }
            for one in alerts.shown
        ],
    }
