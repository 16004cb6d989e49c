"""What may arrive on the serial line, from a host of another kind, a bad cable or ill will: the gauges go on, and nothing is written."""

import binascii
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaugebox import VERSION
from gaugebox.answers import JUMPER_OPEN, VERBS, answer
from gaugebox.line import ANSWER, LONGEST, REQUEST, LineReader, frame, unframe
from gaugebox.log import Log
from gaugebox.store import PIECE, SAFE, SLOTS, Store, slot_header
from gaugelight.benchmark import run_on_32_bit
from gaugelight.box_line import BoxLine
from gaugelight.build import Build
from interpreters import compiled
from test_app import Rig, app_class, demo  # noqa: F401
from test_soak import aircraft, demo as tables_of_the_demo, on_the_chip, tables

SEED = 71_077
NOISE_BYTES = 1_000_000
PART = 64_000  # of the stream, between two looks at heap and flash; a thousand ticks of 64 bytes
WARM_UP_PARTS = 8
PERIOD_MS = 20


# a stream of all that is no honest request


def image() -> bytes:
    return tables_of_the_demo()[0].image


def crc_of(table_image: bytes) -> str:
    return f"{binascii.crc32(table_image[:-4]):08x}"


def base64(octets: bytes) -> str:
    return binascii.b2a_base64(octets).decode().strip()


class NoPort(BoxLine):
    """What the host tools would send, and a box that agrees to all of it."""

    def __init__(self) -> None:
        self.told: list[tuple[str, ...]] = []

    def ask(self, *fields: str, tries: int | None = None, within: float | None = None) -> list[str]:
        self.told.append(fields)
        return {"begin": [str(PIECE)], "verify": [str(len(image())), crc_of(image())]}.get(fields[0], [""])


@cache
def flashing() -> list[tuple[str, ...]]:
    """The requests that put the demo's table into the box: begin, pieces, verify, commit."""
    line = NoPort()
    line.send_table(image(), lambda done, of: None)
    return line.told


def requests(rng: Random) -> list[list[str]]:
    """One of each that is not honest, or that reads only; none that a closed jumper would let write to a slot."""
    n = rng.choice(
        ["0", "1", "7", "15", "16", "255", "65535", "65536", "-1", "", "x", "1e3", "0x10", "9" * 12]
    )
    crc = f"{rng.getrandbits(32):08x}"
    piece = base64(rng.randbytes(rng.choice([0, 1, PIECE - 1, PIECE])))
    name = rng.choice(["", "1", "7f", "12345678", "123456789"])
    asked = [[verb] for verb in VERBS if verb not in ("restart", "revert")]
    asked += [
        [verb, n] for verb in ("input", "values", "lamps", "log", "table", "flight", "health", "hello", "dim")
    ]
    asked += [
        ["flight", n, "0"],
        ["flight", "1", n],
        ["hold", n, n, n],
        ["hold", "needle", n, "9"],
        ["hold", "lamp", "0", n],
    ]
    asked += [
        ["begin", n, crc],
        ["begin", "16", crc, n],
        ["begin", "32768", crc, "32768", SAFE],
        ["begin", "99", "?", "99"],
    ]
    asked += [
        ["piece", n, piece],
        ["piece", "0", "===="],
        ["commit", crc],
        ["revert"],
        ["revert", "zz"],
        ["reboot"],
        [""],
    ]
    return [[name, *fields] for fields in asked]


def whole(rng: Random) -> bytes:
    while True:
        try:
            return (frame(REQUEST, rng.choice(requests(rng))) + rng.choice("\n\r")).encode()
        except ValueError:
            pass  # too long for a line


def truncated(rng: Random) -> bytes:
    line = whole(rng)
    return line[: rng.randrange(len(line))]


def repeated(rng: Random) -> bytes:
    return whole(rng) * rng.randrange(2, 9)


def reordered(rng: Random) -> bytes:
    parts = whole(rng)[:-1].split(b"|")
    rng.shuffle(parts)
    return b"|".join(parts) + b"\n"


def one_bit_wrong(rng: Random) -> bytes:
    line = bytearray(whole(rng))
    line[rng.randrange(len(line))] ^= 1 << rng.randrange(8)
    return bytes(line)


def of_another_version(rng: Random) -> bytes:
    """Other start characters, other check sums (of 16 bits, in capitals, of the ISO polynomial's complement), other line ends."""
    body = (rng.choice("?!>#$=:") + "|".join(rng.choice(requests(rng))) + "|").encode()
    crc = binascii.crc32(body)
    check = rng.choice(
        [
            f"{crc:08X}",
            f"{crc ^ 0xFFFFFFFF:08x}",
            f"{binascii.crc_hqx(body, 0):04x}",
            f"{crc:x}"[:7],
            f"*{crc:08x}",
        ]
    )
    return body + check.encode() + rng.choice([b"\n", b"\r\n", b"\0", b";"])


def an_answer(rng: Random) -> bytes:
    return (frame(ANSWER, ["1", "ok", "x" * rng.randrange(200)]) + "\n").encode()


def ten_kilobytes(rng: Random) -> bytes:
    return whole(rng)[:-1] + bytes(rng.choices(range(32, 127), k=10_000)) + whole(rng)


def half_a_table(rng: Random) -> bytes:
    """begin, some pieces, and nothing more."""
    told = flashing()[: rng.randrange(1, len(flashing()) - 3)]
    return "".join(frame(REQUEST, ["a", *fields]) + "\n" for fields in told).encode()


def a_whole_flash(rng: Random) -> bytes:
    """What a host sends that knows no jumper: all of it, to the restart."""
    told = [*flashing(), ("revert", crc_of(tables_of_the_demo()[1].image)), ("restart",)]
    return "".join(frame(REQUEST, ["a", *fields]) + "\n" for fields in told).encode()


KINDS: dict[str, Callable[[Random], bytes]] = {
    "whole": whole,
    "truncated": truncated,
    "repeated": repeated,
    "fields reordered": reordered,
    "one bit wrong": one_bit_wrong,
    "of another version": of_another_version,
    "an answer": an_answer,
    "ten kilobytes": ten_kilobytes,
    "half a table": half_a_table,
}
ONLY_OPEN: dict[str, Callable[[Random], bytes]] = {"a whole flash": a_whole_flash}


def noise(rng: Random) -> bytes:
    """Any octets, and more often those that mean something on the line."""
    return bytes(rng.choices([*range(256), *b"\x03\x04\n\r?=|\x03\x04\n\r?=|"], k=rng.randrange(1, 2000)))


def stream(seed: int, kinds: dict[str, Callable[[Random], bytes]]) -> bytes:
    rng = Random(seed)
    parts = []
    left = NOISE_BYTES
    while left > 0:
        parts.append(noise(rng))
        left -= len(parts[-1])
        parts.append(rng.choice([*kinds.values()])(rng))
    return b"".join(parts)


def to_be_answered(octets: bytes) -> int:
    """How many lines of it are requests, by the words at the head of gaugebox/line.py."""
    count = 0
    for line in re.split(rb"[\n\r]", octets):
        fields = line[1:-9].split(b"|")
        count += (
            11 <= len(line) <= 256
            and line[:1] == b"?"
            and line[-9:-8] == b"|"
            and line[-8:] == b"%08x" % binascii.crc32(line[:-8])
            and all(32 <= octet <= 126 for octet in line)
            and len(fields) >= 2
            and len(fields[0]) <= 8
        )
    return count


HOSTILE = """
import json

def idle(box):
    pass

def files():
    return [(name, open(FOLDERS[0] + "/" + name, "rb").read()) for name in sorted(os.listdir(FOLDERS[0]))]

def held(box):
    box.asked(["b"] + BEGIN)  # where the jumper lets it, it takes room
    return box.held()

for c in "".join([chr(c) for c in range(32, 127)]):
    pass  # the interpreter keeps each string of one letter for good, once: here all of them before it is looked

stream = open(STREAM, "rb")
around = Aircraft(*AIRCRAFT)
around.jumper_closed = CLOSED
around.rest(12, 20)
box = Box(around, TABLES, idle)
before = files()
around.still = CLOSED  # else the bus may say that it is in flight
box.board.stream = stream
box.run(1000)
heap = array("q", [0] * PARTS)
answers = array("q", [0] * PARTS)
for part in range(PARTS):
    already = box.board.answers
    box.board.left = min(PART, LENGTH - PART * part)
    while box.board.left:
        box.run(50)
    box.board.type(b"\\n", 1)  # ends the line
    box.run(8)
    answers[part] = box.board.answers - already
    while sum(around.trouble):
        box.run(50)  # the virtual chip holds less while a converter is silent
    heap[part] = held(box)
around.rest(12, 20)
box.run(100)
print(json.dumps({
    "heap": list(heap), "answers": list(answers), "refusals": box.board.refusals, "stray": box.flash.stray,
    "erases": box.flash.erases, "longest": box.longest_ms, "busy": box.busy_ms, "furthest": box.furthest_ms,
    "unexplained": box.unexplained, "late": box.app.late, "ticks": box.ticks, "flight": box.app.flight,
    "unfed": around.longest_unfed_us // 1000, "crc": box.app.store.table.crc, "on disk": Store(FOLDERS[0]).table.crc,
    "same": files() == before, "files": [name for name, _ in files()], "hello": box.asked(["1a", "hello"]),
    "begin": box.asked(["1b"] + BEGIN), "left": len(stream.read()),
}))
"""


@cache
def withstood(closed: bool) -> tuple[dict[str, Any], list[int]]:
    """What is found when the stream has passed, and how many answers each part of it should have had."""
    octets = stream(SEED + closed, KINDS if closed else KINDS | ONLY_OPEN)
    parts = [octets[at : at + PART] for at in range(0, len(octets), PART)]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "stream"
        path.write_bytes(octets)
        said = on_the_chip(
            HOSTILE,
            300,
            STREAM=str(path),
            AIRCRAFT=aircraft(),
            TABLES=tables(),
            CLOSED=closed,
            BEGIN=[*flashing()[0]],
            PARTS=len(parts),
            PART=PART,
            LENGTH=len(octets),
        )
    found: dict[str, Any] = json.loads(said)
    print(found)
    return found, [to_be_answered(part) for part in parts]


JUMPER = pytest.mark.parametrize("closed", [False, True], ids=["jumper open", "jumper closed"])


@JUMPER
def test_each_request_in_the_stream_is_answered_and_nothing_else(closed: bool) -> None:
    """The loop ran to the end of it, so no exception has left it."""
    found, expected = withstood(closed)
    assert found["left"] == 0 and found["flight"] is not closed
    assert found["answers"] == expected and sum(expected) > 500
    assert 0 < found["refusals"] < sum(expected)


@JUMPER
def test_no_tick_takes_longer_for_it(closed: bool) -> None:
    found, _ = withstood(closed)
    assert found["busy"] <= PERIOD_MS and found["furthest"] <= PERIOD_MS + 2
    assert found["unexplained"] == 0 and found["late"] <= found["erases"]
    assert found["unfed"] < 500


@JUMPER
def test_nothing_is_written_for_it(closed: bool) -> None:
    found, _ = withstood(closed)
    assert found["stray"] == 0
    assert found["same"] and found["files"] == [*SLOTS]
    assert f"{found['crc']:08x}" == f"{found['on disk']:08x}" == crc_of(image())


@JUMPER
def test_no_heap_is_kept_for_it(closed: bool) -> None:
    heap = withstood(closed)[0]["heap"][WARM_UP_PARTS:]
    assert len(heap) > 20 and set(heap) == {heap[0]}


@JUMPER
def test_the_next_honest_request_is_answered_right(closed: bool) -> None:
    found, _ = withstood(closed)
    hello = unframe(ANSWER, found["hello"].encode())
    assert hello is not None
    uptime = int(hello.pop(11))
    state = "SERVICE" if closed else "FLIGHT"
    older = crc_of(tables_of_the_demo()[1].image)
    assert hello == [
        "1a",
        "ok",
        VERSION,
        "1",
        "hull console",
        state,
        SLOTS[0],
        "2",
        crc_of(image()),
        str(len(tables_of_the_demo()[0].inputs) + len(tables_of_the_demo()[0].box.face.derived)),
        str(len(tables_of_the_demo()[0].box.lights.dimmed)),
        "",
        "",
        older,
        "",
        "",
    ]
    assert uptime == pytest.approx(found["ticks"] * PERIOD_MS, rel=0.01)
    begin = unframe(ANSWER, found["begin"].encode())
    assert begin == (["1b", "ok", str(PIECE)] if closed else ["1b", "no", JUMPER_OPEN])


# any octets, any fields, for each verb


@pytest.fixture(scope="module")
def rigs(demo: Build, app_class: type[Any], tmp_path_factory: pytest.TempPathFactory) -> dict[bool, Rig]:
    """A box with its jumper open, and one with it closed."""
    made = {}
    for closed in (False, True):
        folder = tmp_path_factory.mktemp("box")
        for sequence, image in enumerate((demo.image, tables_of_the_demo()[1].image)):
            (folder / SLOTS[sequence]).write_bytes(slot_header(2 - sequence) + image)
        made[closed] = Rig(demo, app_class, str(folder), closed)
        made[closed].aircraft.signals["bus"] = 12.0
        made[closed].tick(100)
        assert made[closed].app.in_flight() == ""
    return made


def said_to(rig: Rig, octets: bytes) -> list[str]:
    """What the box says to it, each line judged: a whole answer of the line's form."""
    reader = LineReader()
    said = []
    for octet in octets:
        if reader.take(octet):
            line = answer(rig.app, reader.line())
            if line is not None:
                fields = unframe(ANSWER, line.encode())
                assert fields is not None and len(line) <= LONGEST and fields[1] in ("ok", "no"), line
                assert fields[0] in octets.decode("latin-1")
                said.append(fields[1])
    rig.app.restart_wanted = False
    return said


def request_line(fields: list[str]) -> bytes:
    """A request with a true CRC, whatever its fields hold."""
    body = ("?" + "|".join(fields) + "|").encode("latin-1")
    return body + b"%08x\n" % binascii.crc32(body)


NUMBERS = st.integers(-2, 70_000).map(str) | st.sampled_from(
    ["0", "1", "16", "2992", "32768", "65536", "1_0", "+1", " 1 ", "9" * 200]
)
HEXES = st.integers(-2, 2**33).map("{:x}".format) | st.sampled_from([SAFE, "safe", "0x1f", "G", "-"])
CODED = st.binary(max_size=170).map(base64) | st.sampled_from(["=", "A", "AAAA====", "!!!!"])
PRINTABLE = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=240)
ANYTHING = st.text(st.characters(max_codepoint=255), max_size=30)
FIELD = NUMBERS | HEXES | CODED | PRINTABLE | ANYTHING
ID = st.text(st.characters(min_codepoint=32, max_codepoint=126, exclude_characters="|"), max_size=8)


# fields that a verb may well take; any others are tried with each
SENSIBLE: dict[str, st.SearchStrategy[list[str]]] = {
    "begin": st.tuples(
        st.integers(16, 32768).map(str),
        st.integers(0, 2**32 - 1).map("{:x}".format),
        st.integers(8, 32768).map(str),
    ).map(list),
    "piece": st.tuples(st.integers(0, 2).map(str), st.binary(min_size=PIECE, max_size=PIECE).map(base64)).map(
        list
    ),
    "flight": st.just(["1", "0"]),
    "hold": st.tuples(st.just("lamp"), st.integers(0, 8).map(str), st.integers(0, 65536).map(str)).map(list),
}
# what only one kind of answer comes to: the state alone decides, no table was sent whole, and this interpreter's heap has no size
ALWAYS = dict.fromkeys(("hello", "dim", "knobs", "acknowledge", "reserve", "gauges"), "ok") | dict.fromkeys(
    ("reboot", "verify", "commit", "revert", "health", "filled"), "no"
)


@pytest.mark.parametrize("verb", [*VERBS, "reboot"])
def test_any_fields_get_an_answer_of_the_right_form(rigs: dict[bool, Rig], verb: str) -> None:
    reached = set()

    @settings(derandomize=True, deadline=None, max_examples=200)
    @given(st.booleans(), ID, st.lists(FIELD, max_size=5) | SENSIBLE.get(verb, st.just(["0"])))
    def asked(closed: bool, name: str, fields: list[str]) -> None:
        reached.update(said_to(rigs[closed], request_line([name, verb, *fields])))

    said_to(rigs[True], request_line(["b", *flashing()[0]]))
    asked()
    assert reached == ({ALWAYS[verb]} if verb in ALWAYS else {"ok", "no"})


LONGEST_VERB = request_line(["12345678", "x" * (LONGEST - 19)])


@example(closed=False, octets=LONGEST_VERB)
@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    st.booleans(),
    st.lists(st.binary(max_size=300) | st.lists(FIELD, max_size=6).map(request_line), max_size=6).map(
        b"".join
    ),
)
def test_any_octets_get_answers_of_the_right_form_or_none(
    rigs: dict[bool, Rig], closed: bool, octets: bytes
) -> None:
    said_to(rigs[closed], octets + b"\n")


@pytest.mark.parametrize("verb", ["commit", "revert"])
def test_a_crc_below_nought_is_that_of_no_image(rigs: dict[bool, Rig], verb: str) -> None:
    said_to(rigs[True], request_line(["b", *flashing()[0]]))
    assert said_to(rigs[True], request_line(["1", verb, "-1"])) == ["no"]


# what a tick costs then, in instructions of the box's own kind of interpreter

INSTRUCTION_S = 5.4e-9  # of the 32-bit interpreter, on the board
BYTE_S = 39e-6  # what the board takes to fetch one; here it costs a call
PERIOD_S = PERIOD_MS / 1000
BURST = 64  # bytes a tick

COSTS = """
import framebuf
import gc

from gaugebox import flight_log, log, store
from gaugebox.app import App

class Files:
    # in memory: there is no folder here that can be written

    def __init__(self):
        self.content = {}

    def open(self, name, mode):
        if mode[0] == "w":
            self.content[name] = b""
        elif name not in self.content:
            if mode[0] == "r":
                raise OSError(2)
            self.content[name] = b""
        return File(self.content, name)

    def mkdir(self, name):
        pass

    def rename(self, old, new):
        self.content[new] = self.content.pop(old)

    def listdir(self, name):
        return [one.split("/")[2] for one in self.content if one.startswith(name)]

    def statvfs(self, name):
        return 4096, 4096, 352, 200

    def stat(self, name):
        if name not in self.content:
            raise OSError(2)
        return (0, 0, 0, 0, 0, 0, len(self.content[name]))

class File:
    def __init__(self, content, name):
        self.content, self.name, self.at = content, name, 0

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def seek(self, at):
        self.at = at

    def read(self, size=-1):
        whole = self.content[self.name]
        end = len(whole) if size < 0 else self.at + size
        at, self.at = self.at, end
        return whole[at:end]

    def write(self, what):
        self.content[self.name] += bytes(what)

files = Files()
log.os = store.os = flight_log.os = files
log.open = store.open = flight_log.open = files.open

class Chip:
    # on the converters' bus, senders in the middle of their span

    def __init__(self):
        self.high, self.low = bytearray(0x4C), bytearray(0x4C)

    def readfrom_mem_into(self, address, register, two):
        if register:
            two[0] = self.high[address] | 0x80
        else:
            two[0] = 0x67 if address == 0x48 and self.high[address] >> 4 & 3 == 3 else 0x20  # the rail at 3.3 V
        two[1] = self.low[address] if register else 0x20

    def writeto(self, address, octets):
        if address < 0x48:
            return  # the display
        self.high[address] = octets[1]
        self.low[address] = octets[2]

class Pin:
    at = 40000

    def read_u16(self):
        return self.at

    def duty_u16(self, duty):
        pass

    def value(self, level=0):
        return level

class Board:
    before = 0

    def __init__(self):
        self.i2c = Chip()
        self.ms = self.at = self.said = 0
        self.typed = b""
        self.last = ""

    def canvas(self, picture, width, height):
        return framebuf.FrameBuffer(picture, width, height, framebuf.MONO_VLSB)

    def converter(self, pin):
        return Pin()

    def discrete(self, pin, level):
        return Pin()

    def switch(self, pin, on):
        return Pin()

    def lamp(self, pin, frequency):
        return Pin()

    def now(self):
        self.ms = self.ms + 20 & 0x3FFFFFFF
        return self.ms

    def elapsed(self, since):
        return self.ms - since & 0x3FFFFFFF

    def service(self):
        return CLOSED

    def open_line(self):
        pass

    def close_line(self):
        pass

    def feed(self):
        pass

    def mark(self, doing):
        pass

    def lasts(self):
        pass
    def remember(self, on, armed, key):
        pass
    def remembered(self, key):
        return 0, 0

    def next_byte(self):
        if self.at == len(self.typed):
            return -1
        self.at += 1
        return self.typed[self.at - 1]

    def say(self, line):
        self.said += 1
        self.last = line

for i in range(2):
    files.content["/tables/" + store.SLOTS[i]] = store.slot_header(2 - i) + TABLES[i]
files.content["/log/events"] = bytes(400 * log.RECORD_SIZE)
events = log.Log("/log")
for i in range(50):
    events.add(i & 7, i & 3, i)
files.content["/flights/7"] = bytes(30_000)
app = App(Board(), store.Store("/tables"), events, flight_log.FlightLog("/flights"))
board = app.board
for _ in range(60 + DEAREST + IDLE):  # more than a second
    app.tick()
for line in BEFORE:  # what must have been said first
    for byte in line:
        if app.reader.take(byte):
            app._answer()
board.said = app.answers = 0
app.reader.buffer[: len(EARLIER)] = EARLIER  # came in the ticks before
app.reader.length = len(EARLIER)
board.typed, board.at = TYPED, 0
for _ in range(TURNS):
    app.tick()
print(board.said, [c.said[0] for c in app.channels], board.last)
"""


CYCLE = 20  # ticks: scans of four and five inputs, five turns of judging
DEAREST = 8  # of them: both scans end, and much of the face is drawn


def burn(**given: object) -> tuple[str, int]:
    """What the guest says, and its instructions."""
    known: dict[str, object] = {
        "CLOSED": False,
        "IDLE": 0,
        "DEAREST": DEAREST,
        "BEFORE": [],
        "TURNS": 0,
        "EARLIER": b"",
        "TYPED": b"",
    }
    head = "".join(f"{name} = {value!r}\n" for name, value in (known | {"TABLES": tables()} | given).items())
    return run_on_32_bit(head + COSTS, compiled())


def longest(*fields: str) -> bytes:
    """That request, with as many more fields as a line takes."""
    spare = LONGEST - len(frame(REQUEST, [*fields]))
    return frame(REQUEST, [*fields, *[""] * spare]).encode() + b"\n"


def burst(*fields: str) -> bytes:
    """As many of that request as come in one tick."""
    line = frame(REQUEST, ["", *fields]).encode() + b"\n"
    return (line * BURST)[: BURST // len(line) * len(line)].ljust(BURST, b"?")


def a_piece() -> bytes:
    return frame(REQUEST, ["12345678", *flashing()[1]]).encode() + b"\n"


@dataclass(frozen=True)
class Case:
    """What has come when the tick is over; of a line longer than 64 bytes the end comes in it."""

    line: bytes
    answers: int
    ok: bool = True
    before: tuple[tuple[str, ...], ...] = ()
    closed: bool = False


NOTHING = Case(b"", 0)
# the end of the longest line there is, or as many short ones as come in a tick, of which one is answered in it
ANSWERED: dict[str, Case] = {
    "64 letters": Case(b"x" * BURST, 0),
    "64 line ends": Case(b"\n" * BURST, 0),
    "five short lines, CRC wrong": Case(b"?|x|00000000\n" * 4 + b"?|00000000\n", 0),
    "longest line, CRC wrong": Case(longest("a", "dim")[:-2] + b"x\n", 0),
    "longest line, no such request": Case(longest("a", "reboot"), 1, ok=False),
    "longest line, values": Case(longest("a", "values", "0"), 1),
    "longest line, lamps": Case(longest("a", "lamps", "0"), 1),
    "longest line, input": Case(longest("a", "input", "3"), 1),
    "longest line, dim": Case(longest("a", "dim"), 1),
    "longest line, log": Case(longest("a", "log", "0"), 1),
    "longest line, log, the newest": Case(longest("a", "log", "432"), 1),
    "longest line, table": Case(longest("a", "table", "0"), 1),
    "longest line, flight": Case(longest("a", "flight", "7", "16384"), 1),
    "longest line, knobs": Case(longest("a", "knobs"), 1),
    "longest line, hold": Case(longest("a", "hold", "lamp", "0", "65535"), 1, closed=True),
    "piece, jumper open": Case(a_piece(), 1, ok=False),
    "piece, jumper closed": Case(a_piece(), 1, before=(flashing()[0],), closed=True),
    "four times no such request": Case(burst("x"), 1, ok=False),
    "four times dim": Case(burst("dim"), 1),
    "three times values": Case(burst("values", "0"), 1),
    "three times log": Case(burst("log", "432"), 1),
    "three times table": Case(burst("table", "0"), 1),
    "three times flight": Case(burst("flight", "7", "16384"), 1),
}
# these read a slot whole, parse a table, write flash (whose time comes on top), or walk the heap, which here is four times the board's
SELDOM: dict[str, Case] = {
    "hello": Case(longest("a", "hello"), 1),
    "three times hello": Case(burst("hello"), 1),
    "health": Case(longest("a", "health"), 1),
    "begin": Case(longest("a", *flashing()[0]), 1, closed=True),
    "verify": Case(longest("a", "verify"), 1, before=(*flashing()[:-2],), closed=True),
    "commit": Case(longest("a", *flashing()[-1]), 1, before=(*flashing()[:-1],), closed=True),
    "revert": Case(longest("a", "revert", crc_of(tables()[1])), 1, closed=True),
}


@cache
def instructions(case: Case) -> int:
    """Of the tick in which the case arrives, the dearest of a scan."""
    before = [frame(REQUEST, ["b", *fields]).encode() + b"\n" for fields in case.before]
    given = {
        "CLOSED": case.closed,
        "BEFORE": before,
        "EARLIER": case.line[:-BURST],
        "TYPED": case.line[-BURST:],
    }
    (_, without), (said, with_it) = burn(**given, TURNS=0), burn(**given, TURNS=1)
    answers, _, last = said.partition(" ")
    assert int(answers) == case.answers, said
    assert case.answers == 0 or ("|ok|" if case.ok else "|no|") in last, said
    return with_it - without


def seconds(case: Case) -> float:
    """On the board, its bytes fetched."""
    return instructions(case) * INSTRUCTION_S + len(case.line[-BURST:]) * BYTE_S


def told(name: str, case: Case) -> float:
    """Its seconds, printed."""
    s = seconds(case)
    print(f"{name}: {instructions(case):,} instructions, {1000 * s:.1f} ms of a period of {PERIOD_MS}")
    return s


def test_the_tick_measured_is_the_dearest_of_a_scan() -> None:
    """But for one of each second, in which a row of the flight log is packed."""
    counts = [burn(IDLE=ticks)[1] for ticks in range(CYCLE + 1)]
    each = [later - earlier for earlier, later in zip(counts, counts[1:])]
    assert max(each) == each[0] == pytest.approx(instructions(NOTHING), rel=0.01)
    assert told("nothing", NOTHING) < PERIOD_S / 2


@pytest.mark.parametrize("name", ANSWERED)
def test_64_bytes_and_their_answer_take_less_than_two_periods(name: str) -> None:
    assert seconds(NOTHING) < told(name, ANSWERED[name]) < 2 * PERIOD_S


COLLECTING = """
import gc
import gaugebox.app
from gaugebox.table import Table
table = Table({image!r})
gc.collect()
garbage = [bytes(32) for _ in range(500)]
del garbage
for _ in range({times}):
    gc.collect()
"""


def test_tidying_up_has_a_tick_of_its_own() -> None:
    """It takes no request then, so it is no later than by a period. Counted with the demo's code and table alive."""
    image = tables_of_the_demo()[0].image
    once, often = (
        run_on_32_bit(COLLECTING.format(image=image, times=times), compiled())[1] for times in (1, 11)
    )
    s = (often - once) / 10 * INSTRUCTION_S
    print(f"tidying up: {1000 * s:.1f} ms")
    assert PERIOD_S < s + seconds(NOTHING) < 2 * PERIOD_S


@pytest.mark.parametrize("name", SELDOM)
def test_what_is_asked_seldom_stays_far_from_the_watchdog(name: str) -> None:
    assert seconds(NOTHING) < told(name, SELDOM[name]) < 10 * PERIOD_S < 4.0 / 10
