"""The host's end of the serial line: ask the box something and get its answer, or say plainly why not."""

import base64
import contextlib
import errno
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from types import TracebackType

from gaugebox import VERSION
from gaugebox.answers import OLDER, STORE_FAILED
from gaugebox.line import ANSWER, REQUEST, frame, unframe
from gaugebox.log import RECORD_SIZE
from gaugebox.store import NOT_STARTING, SAFE
from gaugebox.table import CONTAINER
from gaugelight.ports import open_port, reason_of
from gaugelight.problems import Wrong
from gaugelight.said import Said

ANSWER_WITHIN = 1.5  # seconds, more than the longest flash write
STORED_WITHIN = 6.0  # eleven blocks of flash at 400 ms
TRIES = 3
KNOWN_TRIES = 5  # at a start the box needs a moment to know whether it is in flight


class NoAnswer(Wrong):
    """The port is open, but no box answers on it."""


class Lost(Wrong):
    """The port went away."""


class OtherLine(Wrong):
    """What the box answers is not what these tools understand: its firmware is older, or newer."""


class BoxSaysNo(Wrong):
    """The box refused, and said why."""


class TableChanged(Wrong):
    """The box runs another table than it did when it was described."""


@dataclass(frozen=True)
class Hello:
    version: str
    container: int
    box: str
    state: str  # FLIGHT; SERVICE; CLOSED: a jumper closed after the start, or in flight: the watchdog runs
    slot: str
    sequence: int
    crc: str
    inputs: int
    dimmers: int  # lamps, bus output and display
    uptime_ms: int
    notice: str
    safe_crc: str  # of the table it runs where no slot is right
    older_crc: str  # of the table that `revert` goes back to
    in_flight: str  # why it may be
    waiting_crc: str  # of a table that was committed and runs from the next start on


@dataclass(frozen=True)
class Described:
    """What the box knows of an input."""

    name: str
    signal_unit: str
    signal_decimals: int
    reading_unit: str
    reading_decimals: int
    step: int  # in reading units

    @property
    def displayed_step(self) -> Fraction:
        """Of the reading, in its unit."""
        return Fraction(self.step, 10**self.reading_decimals)


@dataclass(frozen=True)
class Health:
    """before: what the box did before it started (a code of gaugebox.log). late: ticks that began more than one too late.
    longest_ms: of one tick. records: of the log. heap: bytes free.
    """

    before: int
    late: int
    longest_ms: int
    records: int
    heap: int


@dataclass(frozen=True)
class SaidDimmer:
    """level 0..10000 hundredths of a per cent; duty 0..65535, of the display its brightness."""

    name: str
    level: int
    duty: int
    fault: str | None


@dataclass(frozen=True)
class SaidDim:
    """request "on", "off", "none"; daylight "day", "night", "none"."""

    request: str
    daylight: str
    request_fault: str | None
    daylight_fault: str | None


@dataclass(frozen=True)
class SaidAlert:
    """urgency 1 caution, 2 warning."""

    urgency: int
    acknowledged: bool
    words: str


@dataclass(frozen=True)
class SaidAlerts:
    """changed: grows with every change. warning, caution: the lamps for them, 0 dark, 1 steady, 2 flashing. count: of all that are on,
    of which `shown` are some or all, the first to be read first."""

    changed: int
    warning: int
    caution: int
    count: int
    shown: tuple[SaidAlert, ...]


@dataclass(frozen=True)
class SaidReserve:
    """state: of gaugebox.reserve. Fuel in units of the mains' reading, time in seconds, each plus or minus; -1: not known."""

    state: int
    doubtful: bool
    moved: int
    moved_band: int
    left: int
    left_band: int
    room: int
    room_band: int
    seconds_to_off: int
    seconds_band: int


@dataclass(frozen=True)
class SaidGauge:
    """Of a disagree alert: state of gaugebox.disagree; size in units of its reading, as gaugebox.disagree says."""

    state: int
    size: int


@dataclass(frozen=True)
class SaidFlights:
    """Of the flight log. start: number of the start that runs. first, last: numbers of its files; size: bytes of the last."""

    start: int
    first: int
    last: int
    size: int


@dataclass(frozen=True)
class SaidMark:
    """Where a readout stands among its marks, as the box judges: colour 0 none, 1 green, 2 yellow, 3 red; rank: how bad that is."""

    colour: int
    rank: int


def _store_cure(port: str, number: str) -> str:
    """What the box's error number means, and what to look at."""
    if number == str(errno.ENOSPC):
        return f", its flash is full; `mpremote connect {port} df` shows it, `fs ls :/` what is not the box's own: remove that"
    return f"; `mpremote connect {port} fs ls :/tables` must show a folder, with room"


def packed(image: bytes) -> bytes:
    """As the box takes it apart again: zlib, with a window of 1 kB."""
    packer = zlib.compressobj(9, zlib.DEFLATED, 10)
    return packer.compress(image) + packer.flush()


def warnings_of(hello: Hello) -> list[str]:
    """What must not be overlooked, whatever was asked."""
    told = []
    if hello.slot == SAFE and hello.notice.startswith(NOT_STARTING):
        told.append(
            "IT DOES NOT START WITH ITS TABLE, three times tried: it shows no number, lamps follow their knob; switch it off and on to"
            " try again, `gaugelight revert` or flash another"
        )
    elif hello.slot == SAFE:
        told.append("NO TABLE IS RIGHT: it shows no number, lamps follow their knob; flash it")
    if hello.waiting_crc:
        told.append(
            f"ANOTHER TABLE RUNS FROM THE NEXT START ON: {hello.waiting_crc}; restart the box, or flash"
        )
    if hello.state != "FLIGHT":
        watchdog = " and has no watchdog" if hello.state == "SERVICE" else ""
        told.append(f"SERVICE JUMPER CLOSED: it can be written to{watchdog}; pull it before flight")
        if hello.in_flight:
            told.append(f"and yet {hello.in_flight}")
    if hello.notice:
        told.append(f"passed over at start: {hello.notice}")
    return told


class BoxLine:
    """One open port. A context manager; every method raises Wrong when the box or the port is gone.

    tries, within: how often a request is asked, and how many seconds each time is waited, where a method does not know better.
    """

    def __init__(self, port: str) -> None:
        self.port = port
        self.tries = TRIES
        self.within = ANSWER_WITHIN
        self.next_id = 0
        self.repeated = 0  # requests that had to be asked again
        self.serial = open_port(port)

    def __enter__(self) -> "BoxLine":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.serial.close()

    def ask(self, *fields: str, tries: int | None = None, within: float | None = None) -> list[str]:
        """The answer's fields after "ok". Asks again when none comes. Raises NoAnswer, BoxSaysNo, Lost."""
        tries = self.tries if tries is None else tries
        within = self.within if within is None else within
        self.next_id = (self.next_id + 1) % 4096
        name = f"{self.next_id:x}"
        line = frame(REQUEST, [name, *fields])
        try:
            for turn in range(tries):
                self.repeated += turn > 0
                # an empty line first: whatever was half sent before ends here
                self.serial.write(f"\n{line}\n".encode())
                answer = self._answer(name, within)
                if answer is not None:
                    if answer[0] != "ok":
                        why = answer[1] if answer[1:] else "?"
                        if why.startswith(STORE_FAILED):
                            why += _store_cure(self.port, why.removeprefix(STORE_FAILED))
                        raise BoxSaysNo(f"{self.port}: the box refused: {why}")
                    return answer[1:]
        except OSError as problem:
            raise Lost(f"{self.port}: the connection was lost: {reason_of(problem)}") from None
        raise NoAnswer(
            f"{self.port}: nothing there answers as a gaugelight box; is its program stopped? switch it off and on, or"
            f" `mpremote connect {self.port} reset`; one that hangs at its start: switch it on with its service jumper open, close that"
            " half a minute later; a new board first takes the firmware: `gaugelight install`"
        )

    def _answer(self, name: str, within: float) -> list[str] | None:
        deadline = time.monotonic() + within
        gathered = b""
        while time.monotonic() < deadline:
            gathered += self.serial.read(max(1, self.serial.in_waiting))
            *lines, gathered = gathered.split(b"\n")
            for line in lines:
                fields = unframe(ANSWER, line.strip(b"\r"))
                if fields is not None and len(fields) >= 2 and fields[0] == name:
                    return fields[1:]
        return None

    @contextlib.contextmanager
    def _understood(self) -> Iterator[None]:
        """Raises OtherLine where an answer is not what this version of the line says."""
        try:
            yield
        except (LookupError, ValueError, TypeError):
            what = "the box speaks another version of the line; run `gaugelight install`"
            raise OtherLine(f"{self.port}: {what}") from None

    def hello(self, tries: int | None = None, within: float | None = None) -> Hello:
        said = self.ask("hello", tries=tries, within=within)
        with self._understood():
            return Hello(
                version=said[0],
                container=int(said[1]),
                box=said[2],
                state=said[3],
                slot=said[4],
                sequence=int(said[5]),
                crc=said[6],
                inputs=int(said[7]),
                dimmers=int(said[8]),
                uptime_ms=int(said[9]),
                notice=said[10],
                safe_crc=said[11],
                older_crc=said[12],
                in_flight=said[13],
                waiting_crc=said[14],
            )

    def hello_settled(self) -> Hello:
        """As hello_same_version, of a box that knows whether it may be in flight."""
        hello = self.hello_same_version()
        for _ in range(KNOWN_TRIES):
            if not hello.in_flight.endswith("not known yet"):
                break
            time.sleep(0.3)
            hello = self.hello()
        return hello

    def hello_same_version(self) -> Hello:
        """As hello; raises Wrong when the box runs another firmware than these tools carry."""
        hello = self.hello()
        if (hello.version, hello.container) != (VERSION, CONTAINER):
            raise Wrong(
                f"{self.port}: the box runs firmware {hello.version}, these tools carry {VERSION};"
                " bring them together with `gaugelight install`"
            )
        return hello

    def wait_for_start(self, seconds: float) -> Hello:
        """The first answer after a restart."""
        deadline = time.monotonic() + seconds
        while True:
            try:
                return self.hello(tries=1, within=0.3)
            except NoAnswer:
                if time.monotonic() > deadline:
                    raise

    def describe(self, inputs: int) -> list[Described]:
        described = []
        for i in range(inputs):
            with self._understood():
                name, signal_unit, signal_decimals, unit, decimals, step = self.ask("input", str(i))
                described.append(
                    Described(name, signal_unit, int(signal_decimals), unit, int(decimals), int(step))
                )
        return described

    def values(self, described: list[Described]) -> list[Said]:
        """What every input says now."""
        rows: list[str] = []
        while len(rows) < len(described):
            more = self.ask("values", str(len(rows)))
            if not more:
                raise TableChanged(f"{self.port}: the box changed its table meanwhile; ask again")
            rows += more
        with self._understood():
            return self._read(described, rows)

    @staticmethod
    def _read(described: list[Described], rows: list[str]) -> list[Said]:
        readings = []
        for about, row in zip(described, rows):
            count, signal, reading, fault = row.split(",")
            readings.append(
                Said(
                    int(count),
                    None if fault else Fraction(int(signal), 10**about.signal_decimals),
                    about.signal_unit,
                    None if fault else Fraction(int(reading), 10**about.reading_decimals),
                    about.reading_unit,
                    fault or None,
                    about.signal_decimals,
                    about.reading_decimals,
                )
            )
        return readings

    def lamps(self, dimmers: int) -> list[SaidDimmer]:
        """Lamps, bus output and display, in the order of the table."""
        said: list[SaidDimmer] = []
        while len(said) < dimmers:
            said += self.lamps_from(len(said))
        return said

    def lamps_from(self, first: int) -> list[SaidDimmer]:
        """Up to four of them, in one request."""
        rows = self.ask("lamps", str(first))
        if not rows:
            raise TableChanged(f"{self.port}: the box changed its table meanwhile; ask again")
        said = []
        with self._understood():
            for row in rows:
                name, level, duty, fault = row.split(",")
                said.append(SaidDimmer(name, int(level), int(duty), fault or None))
        return said

    def marks(self, readouts: int) -> list[SaidMark]:
        """Of the readouts on the face, in the order of the table."""
        rows: list[str] = []
        while len(rows) < readouts:
            more = self.ask("marks", str(len(rows)))
            if not more:
                raise TableChanged(f"{self.port}: the box changed its table meanwhile; ask again")
            rows += more
        with self._understood():
            return [SaidMark(*map(int, row.split(","))) for row in rows]

    def alerts(self) -> SaidAlerts:
        """All that are on, at one moment."""
        said = self.alerts_from(0)
        while len(said.shown) < said.count:
            more = self.alerts_from(len(said.shown))
            # where they changed between two requests it begins anew
            said = (
                replace(more, shown=said.shown + more.shown)
                if more.changed == said.changed
                else self.alerts_from(0)
            )
        return said

    def alerts_from(self, first: int) -> SaidAlerts:
        """Up to four of them, in one request."""
        with self._understood():
            head, *rows = self.ask("alerts", str(first))
            shown = []
            for row in rows:
                urgency, acknowledged, words = row.split(",", 2)
                shown.append(SaidAlert(int(urgency), acknowledged == "1", words))
            changed, warning, caution, count = map(int, head.split(","))
            return SaidAlerts(changed, warning, caution, count, tuple(shown))

    def reserve(self) -> SaidReserve | None:
        """What the reserve watch says; None where the box has none."""
        with self._understood():
            said = [int(word) for word in self.ask("reserve")]
            return SaidReserve(said[0], bool(said[1]), *said[2:]) if said else None

    def gauges(self) -> list[SaidGauge]:
        """Of each disagree alert, in the order of the box file."""
        with self._understood():
            return [SaidGauge(*map(int, said.split(","))) for said in self.ask("gauges") if said]

    def acknowledge(self) -> None:
        """All alerts, as its button does."""
        self.ask("acknowledge")

    def test(self, ticks: int) -> None:
        """All that can be lit is, for so many ticks of 20 ms (at most 250)."""
        self.ask("test", str(ticks))

    def dim(self) -> SaidDim:
        with self._understood():
            request, daylight, request_fault, daylight_fault = self.ask("dim")
            return SaidDim(request, daylight, request_fault or None, daylight_fault or None)

    def health(self) -> Health:
        with self._understood():
            return Health(*map(int, self.ask("health")))

    def log(self) -> bytes:
        """The records of the event log, oldest first."""
        content = b""
        with self._understood():
            while more := base64.b64decode(self.ask("log", str(len(content) // RECORD_SIZE))[0]):
                if len(more) % RECORD_SIZE:
                    raise ValueError
                content += more
        return content

    def flights(self) -> SaidFlights:
        """Which files of the flight log there are."""
        with self._understood():
            return SaidFlights(*map(int, self.ask("flight")))

    def flight_piece(self, file: int, at: int) -> bytes:
        """Bytes of a file of the flight log from there on; empty beyond its end. Raises BoxSaysNo where that is there no more."""
        with self._understood():
            return base64.b64decode(self.ask("flight", str(file), str(at))[0])

    def knobs(self) -> list[int]:
        """The count that each knob of the table took last; -1: none yet, or its contact breaks."""
        with self._understood():
            return [int(word) for word in self.ask("knobs") if word]

    def hold_lamp(self, number: int, duty: int) -> None:
        """A lamp or bus output, by its number among the dimmers, stands at the duty (0..65535) until five seconds after the last such
        request. In service only: raises BoxSaysNo."""
        self.ask("hold", "lamp", str(number), str(duty))

    def hold_needle(self, number: int, duty: int) -> None:
        """The same for a needle."""
        self.ask("hold", "needle", str(number), str(duty))

    def stored_table(self, older: bool = False) -> bytes:
        """The image that the box runs, or the one that `revert` goes back to; empty where there is none."""
        content, number = b"", 0
        with self._understood():
            while more := base64.b64decode(self.ask("table", str(number), *[OLDER] * older)[0]):
                content += more
                number += 1
        return content

    def send_table(self, image: bytes, progress: Callable[[int, int], None], safe: bool = False) -> str:
        """Sends, has verified and commits a table image; its slot. The box runs it from its next start on."""
        crc, content = image[-4:][::-1].hex(), packed(image)
        size = int(self.ask("begin", str(len(image)), crc, str(len(content)), "safe" if safe else "")[0])
        for number, start in enumerate(range(0, len(content), size)):
            piece = content[start : start + size]
            self.ask("piece", str(number), base64.b64encode(piece).decode())
            progress(start + len(piece), len(content))
        with self._understood():
            length, stored = self.ask("verify", within=STORED_WITHIN)
        if (int(length), stored) != (len(image), crc):
            raise Wrong(
                f"{self.port}: the box stored {length} bytes with CRC {stored}, sent were {len(image)} with {crc}"
            )
        return self.ask("commit", crc)[0]

    def revert(self, crc: str) -> str:
        """Goes back to the older slot's table from the next start on; its slot."""
        return self.ask("revert", crc)[0]

    def restart(self) -> None:
        self.ask("restart")
