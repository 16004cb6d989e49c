"""`gaugelight live`: what it draws of every state, how it asks, and the whole of it at a terminal beside a virtual box."""

import contextlib
import csv
import fcntl
import io
import json
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from rich.text import Text

from gaugebox.readouts import zone_of
from gaugebox.table import Table
from gaugelight.bench import prepared
from gaugelight.box_line import (
    BoxLine,
    Described,
    Hello,
    NoAnswer,
    SaidAlert,
    SaidAlerts,
    SaidDim,
    SaidDimmer,
    SaidMark,
)
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import main
from gaugelight.live import REQUESTS_AN_UPDATE, Keys, Watch
from gaugelight.live_log import LiveLog, head_of
from gaugelight.live_picture import ASCII, UNICODE, State, bar, faces_of, picture, status
from gaugelight.plant import Aircraft
from gaugelight.problems import Misuse
from gaugelight.said import Said, shown
from gaugelight.virtual import VirtualBox
from gaugelight.virtual.chip import layout

MARKED = Path(__file__).parent / "marked.toml"
RESTING: dict[str, float | str] = {
    "sender rail": 3.3,
    "left fuel": 9,
    "right fuel": 9,
    "coolant temperature": 80,
    "reserve line": 5,
    "hydraulic": 800,
    "bus": 12,
    "usable fuel": 18,
    "fuel apart": 0,
}


@cache
def marked() -> Build:
    return build(read_box(MARKED))


@cache
def the_table() -> Table:
    return Table(marked().image)


def state(at: dict[str, float | str] = {}, unjudged: tuple[str, ...] = (), **more: Any) -> State:
    """A box whose readouts stand at RESTING, but for `at`: a reading, or a fault; its marks as its own code judges a reading at rest."""
    table = the_table()
    records: list[Any] = [*table.inputs, *table.derived]
    described = [
        Described(r.name, r.signal_unit, r.signal_decimals, r.reading_unit, r.reading_decimals, r.step)
        for r in records
    ]
    said, marks = [], []
    for one in described:
        value = (RESTING | at)[one.name]
        fault = value if isinstance(value, str) else None
        reading = (
            None
            if isinstance(value, str)
            else Fraction(round(value * 10**one.reading_decimals), 10**one.reading_decimals)
        )
        signal = None if fault else Fraction(40)
        decimals = one.signal_decimals, one.reading_decimals
        said.append(Said(30000, signal, one.signal_unit, reading, one.reading_unit, fault, *decimals))
    for record in table.readouts:
        stands = said[record.index].reading
        if stands is None or described[record.index].name in unjudged:
            marks.append(SaidMark(0, 0))
            continue
        zone = zone_of(record.edges, int(stands * 10 ** described[record.index].reading_decimals))
        marks.append(SaidMark(record.colours[zone], record.ranks[zone]))
    hello = Hello(
        "1", 1, "hull console", "FLIGHT", "slot_a", 1, "552976a6", len(said), 3, 5000, "", "", "", "", ""
    )
    lights = (SaidDimmer("glare shield", 4960, 10912, None), SaidDimmer("map light", 3720, 6462, None))
    made = State(
        port="/dev/pts/9",
        hello=hello,
        faces=faces_of(described, table),
        said=tuple(said),
        marks=tuple(marks),
        lights=lights,
        dim=SaidDim("on", "none", None, None),
        alerts=SaidAlerts(0, 0, 0, 0, ()),
    )
    return replace(made, **more)


def drawn(what: State, width: int = 80, height: int = 24, ascii_only: bool = False) -> list[str]:
    """The lines on a screen of that size; none of them is wider, nor is there one more."""
    console = Console(width=width, height=height, file=io.StringIO(), force_terminal=True, highlight=False)
    lines = console.render_lines(picture(what, width, height, ascii_only), console.options, pad=False)
    texts = ["".join(segment.text for segment in line) for line in lines]
    assert len(texts) <= height and max(map(len, texts)) <= width
    return texts


def line_of(name: str, what: State, **more: Any) -> str:
    (line,) = [text for text in drawn(what, **more) if text.startswith(name + " ")]
    return line


def styles_of(words: str, what: State, width: int = 120, height: int = 30) -> set[str]:
    """The styles that lie on those words."""
    found = set()
    for line in picture(what, width, height).renderables:
        assert isinstance(line, Text)
        at = line.plain.find(words)
        if at >= 0:
            found |= {str(span.style) for span in line.spans if span.start <= at < span.end} | {
                str(line.style)
            }
    return found - {""}


# -- the picture

# what it reads, what its line says; a style that must lie on the words
ROWS: dict[str, tuple[dict[str, float | str], str, str, str]] = {
    "green": ({"left fuel": 9}, "left fuel", "ok", "green"),
    "yellow": ({"left fuel": 3}, "left fuel", "! yellow LOW", "bold yellow"),
    "red limit": ({"left fuel": 0}, "left fuel", "!! red EMPTY", "bold red"),
    "yellow above": ({"coolant temperature": 105}, "coolant temperature", "! yellow HIGH", "bold yellow"),
    "red above": ({"coolant temperature": 115}, "coolant temperature", "!! red HIGH", "bold red"),
    "red arc with a word of its own": ({"hydraulic": 1000}, "hydraulic", "!! red SHAKES", "bold red"),
    "red below": ({"hydraulic": 200}, "hydraulic", "!! red LOW", "bold red"),
    "a derived one": ({"usable fuel": 5}, "usable fuel", "! yellow LOW", "bold yellow"),
    "fault": ({"hydraulic": "open"}, "hydraulic", "FAULT open", "bold reverse yellow"),
    "the longest fault": (
        {"hydraulic": "cold junction"},
        "hydraulic",
        "FAULT cold junction",
        "bold reverse yellow",
    ),
}


@pytest.mark.parametrize("at, name, words, style", ROWS.values(), ids=ROWS)
def test_a_readout(at: dict[str, float | str], name: str, words: str, style: str) -> None:
    what = state(at)
    assert words in line_of(name, what, width=120)
    assert style in styles_of(words, what)
    narrow = next(face.label for face in what.faces if face.about.name == name)
    assert words in line_of(narrow, what)


# a reading of a psi gauge and a signal in ohm, as the box counts them in thousandths; the displayed step; how both are shown
DIGITS: dict[str, tuple[int, int, str | None, str, str]] = {
    "just below nought": (-1, -22, "0.2", "0.0 psi gauge", "0.000 ohm"),
    "below nought by half a step": (-100, 22, "0.2", "-0.1 psi gauge", "0.022 ohm"),
    "a coarse step": (199_900, 0, "20", "200 psi gauge", "0.000 ohm"),
    "a step of half a unit": (3430, 43_752, "0.5", "3.4 psi gauge", "43.752 ohm"),
    "a fine step": (3430, 0, "0.01", "3.430 psi gauge", "0.000 ohm"),
    "no finer than it is counted": (3430, 0, "0.001", "3.430 psi gauge", "0.000 ohm"),
    "a step of one": (3430, 0, "1", "3.4 psi gauge", "0.000 ohm"),
    "all that is counted": (3430, 0, None, "3.430 psi gauge", "0.000 ohm"),
    "nought and no step": (-0, -0, None, "0.000 psi gauge", "0.000 ohm"),
}


@pytest.mark.parametrize("units, ohms, step, reading, signal", DIGITS.values(), ids=DIGITS)
def test_digits_that_mean_something(
    units: int, ohms: int, step: str | None, reading: str, signal: str
) -> None:
    said = Said(9, Fraction(ohms, 1000), "ohm", Fraction(units, 1000), "psi gauge", None, 3, 3)
    assert shown(said, None if step is None else Fraction(step)) == (signal, reading, "")


def test_a_voltage_may_lie_below_nought() -> None:
    """It may be the ground that is off: a meter would say so too."""
    assert shown(Said(9, Fraction(-22, 1000), "V", Fraction(0), "%", None, 3, 0))[0] == "-0.022 V"


def test_a_reading_at_fault_is_not_shown() -> None:
    line = line_of("hydraulic", state({"hydraulic": "open"}))
    assert "--- psi gauge" in line and "800" not in line and not set(line) & set("◆━█▒")


def test_not_judged_while_its_condition_does_not_hold() -> None:
    what = state(unjudged=("reserve line",))
    assert "not judged" in line_of("reserve line", what, width=120)


def test_between_the_marks_is_nothing_to_say() -> None:
    assert status(*readout("hydraulic", state({"hydraulic": 500}))) == ("", 0)


def readout(name: str, what: State) -> tuple[Any, Said, SaidMark | None]:
    face = next(face for face in what.faces if face.about.name == name)
    return face, what.said[what.faces.index(face)], what.mark(face)


def test_in_yellow_but_not_for_long_is_not_ok() -> None:
    face, said, _ = readout("left fuel", state({"left fuel": 3}))
    assert status(face, said, SaidMark(1, 0)) == ("in yellow", 2)
    assert status(face, readout("left fuel", state({"left fuel": 0}))[1], SaidMark(1, 0)) == ("in red", 3)


def test_the_box_is_believed_rather_than_the_reading() -> None:
    """It enters a zone late, and leaves it late: what it says is shown, in the nearest zone's words."""
    face, said, _ = readout("coolant temperature", state({"coolant temperature": 99}))
    yellow = SaidMark(2, 1)
    assert status(face, said, yellow) == ("! yellow HIGH", 2)
    low = readout("coolant temperature", state({"coolant temperature": 62}))[1]
    assert status(face, low, yellow) == ("! yellow LOW", 2)


# readout, reading, columns; the bar by hand
BARS = {
    "fuel in the middle": ("left fuel", 9, 18, "#===-----V--------"),
    "empty, on its limit": ("left fuel", 0, 18, "V===--------------"),
    "full": ("left fuel", 18, 18, "#===-------------V"),
    "temperature": ("coolant temperature", 80, 16, "====----V---==##"),
    "restricted": ("hydraulic", 100, 15, "#V#...---##--.#"),
    "no marks": ("bus", 12, 8, "....V..."),
}


@pytest.mark.parametrize("name, reading, width, wanted", BARS.values(), ids=BARS)
def test_the_bar(name: str, reading: float, width: int, wanted: str) -> None:
    face = next(face for face in state().faces if face.about.name == name)
    cells = bar(face, round(reading * 10**face.about.reading_decimals), width, ASCII)
    assert "".join(glyph for glyph, _ in cells) == wanted
    shapes = {glyph: colour for colour, glyph in ASCII.zones.items()}
    for glyph, colour in cells:
        assert glyph == ASCII.pointer or shapes[glyph] == colour


@pytest.mark.parametrize("width", [1, 2, 5, 19, 60])
def test_a_limit_is_on_every_bar_and_the_pointer_within(width: int) -> None:
    face = next(face for face in state().faces if face.about.name == "left fuel")
    for reading, glyph in ((-500, UNICODE.below), (5000, UNICODE.above), (900, UNICODE.pointer)):
        cells = bar(face, reading, width)
        assert len(cells) == width and [g for g, _ in cells].count(glyph) == 1
    if width > 2:
        assert (UNICODE.zones[3], 3) in bar(face, 900, width)


ALERTS = (
    SaidAlert(2, False, "left fuel EMPTY"),
    SaidAlert(2, True, "hydraulic SHAKES"),
    SaidAlert(1, False, "RESERVE TANK DRY"),
    SaidAlert(1, True, "bus FAIL open"),
)


BOTH = (("warning lamp", 2), ("caution lamp", 1))


@pytest.mark.parametrize(
    "there, words",
    [
        (BOTH, "warning lamp flashing, caution lamp lit"),
        (BOTH[:1], "warning lamp flashing"),
        ((), "no lamp for alerts"),
    ],
)
def test_lamps_that_are_there(there: tuple[tuple[str, int], ...], words: str) -> None:
    (line,) = [
        text
        for text in drawn(state(alerts=SaidAlerts(7, 2, 1, 4, ALERTS), alert_lamps=there))
        if text.startswith("alerts:")
    ]
    assert line.split("   ")[1].strip() == words


def test_a_lamp_for_alerts_is_lit_or_dark() -> None:
    lights = (SaidDimmer("warning lamp", 10000, 0, None), SaidDimmer("caution lamp", 10000, 65535, None))
    text = "\n".join(drawn(state(lights=lights, alert_lamps=BOTH)))
    assert "warning lamp dark   caution lamp lit" in text and "%" not in text


def test_what_is_watched_is_said_in_whole_lines() -> None:
    said = "reserve watch: flowing; moved 6.2 +-0.8 US gal; left 3.1 +-1.5 US gal; room in the mains 9.0 +-1.2 US gal"
    text = "\n".join(drawn(state(watched=(said, "gauges: left fuel: not judged"))))
    assert "reserve watch: flowing; moved 6.2 +-0.8" in text and "gauges: left fuel: not judged" in text


def test_alerts_stand_in_the_order_of_the_box() -> None:
    lines = drawn(state(alerts=SaidAlerts(7, 2, 1, 4, ALERTS), alert_lamps=BOTH))
    at = lines.index(next(line for line in lines if line.startswith("alerts: 4")))
    assert "warning lamp flashing, caution lamp lit" in lines[at]
    assert [line.split() for line in lines[at + 1 : at + 5]] == [
        ["!!", "WARNING", "left", "fuel", "EMPTY", "NEW"],
        ["!!", "WARNING", "hydraulic", "SHAKES", "acknowledged"],
        ["!", "CAUTION", "RESERVE", "TANK", "DRY", "NEW"],
        ["!", "CAUTION", "bus", "FAIL", "open", "acknowledged"],
    ]
    what = state(alerts=SaidAlerts(7, 2, 1, 4, ALERTS))
    assert "bold red reverse" in styles_of("WARNING left fuel EMPTY", what)
    assert "bold red" in styles_of("WARNING hydraulic SHAKES", what)
    assert "bold yellow" in styles_of("CAUTION bus FAIL open", what)


def test_many_alerts_are_counted() -> None:
    many = tuple(SaidAlert(1, True, f"input {k} FAIL open") for k in range(12))
    lines = drawn(state(alerts=SaidAlerts(7, 0, 0, 12, many)))
    assert any(line.startswith("and 7 more") for line in lines)


def test_lights_and_the_box_itself() -> None:
    text = "\n".join(drawn(state(log="x.csv", message="12:00:00  the box started anew 1 s ago")))
    for words in (
        "hull console   FLIGHT   table 552976a6",
        "glare shield 49.6 % (duty 16.65 %)",
        "dim request on",
        "the box started anew",
        "a acknowledge   t lamp test   q quit",
        "advisory, never a sole reference",
    ):
        assert words in text
    hello = replace(state().hello, state="SERVICE")
    assert "SERVICE JUMPER CLOSED" in "\n".join(drawn(state(hello=hello)))
    assert "day" in "\n".join(drawn(state(dim=SaidDim("none", "day", None, "open"))))
    assert "FAULT open" in "\n".join(drawn(state(lights=(SaidDimmer("map light", 0, 0, "open"),))))


def test_what_is_old_looks_old() -> None:
    """No colour and no word of a judgement is left."""
    at: dict[str, float | str] = {"left fuel": 0, "hydraulic": "open"}
    fresh, old = state(at, age=0.4), state(at, age=3.2, alerts=SaidAlerts(7, 2, 1, 4, ALERTS))
    assert "0.4 s old" in drawn(fresh)[0] and "NO ANSWER for 3.2 s" in drawn(old)[0]
    assert line_of("left fuel", old).split()[-3] == "old"
    colours = {str(span.style) for line in picture(old, 80, 24).renderables[1:] for span in line.spans}  # type: ignore[union-attr]
    assert not any("red" in style or "yellow" in style or "green" in style for style in colours)


def test_in_a_low_window_what_needs_a_look_stays() -> None:
    what = state({"usable fuel": 5, "bus": "open"}, alerts=SaidAlerts(7, 2, 1, 4, ALERTS))
    lines = drawn(what, 80, 16)
    assert any("usabl fuel" in line and "yellow LOW" in line for line in lines)
    assert any("FAULT open" in line for line in lines)
    assert any("more, as they should be: make the window taller" in line for line in lines)
    assert "make it 60 by 16" in drawn(what, 70, 10)[0]
    assert "make it 60 by 16" in drawn(what, 50, 24)[0] or len(drawn(what, 50, 24)[0]) <= 50


@pytest.mark.parametrize("width", [60, 72, 80, 100, 140, 250])
@pytest.mark.parametrize("height", [16, 24, 60])
def test_any_window(width: int, height: int) -> None:
    what = state({"left fuel": 0, "bus": "open"}, alerts=SaidAlerts(7, 2, 1, 4, ALERTS))
    lines = drawn(what, width, height)
    assert any("red EMPTY" in line for line in lines) and any("NEW" in line for line in lines)
    assert "q quit" in lines[height - 1]


def test_a_terminal_without_unicode() -> None:
    for line in drawn(state({"left fuel": 0}), ascii_only=True):
        assert line.isascii()


def test_without_a_table_there_are_no_bars_but_readings() -> None:
    what = state()
    bare = replace(what, faces=faces_of([face.about for face in what.faces], None), marks=())
    line = line_of("left fuel", bare)
    assert "9.0 US gal" in line and "━" not in line


# -- how it asks


class Scripted(BoxLine):
    """A box in words: what it answers to each verb, and all that it was asked."""

    def __init__(self, inputs: int = 20, dimmers: int = 8, alerts: int = 9) -> None:
        self.port = "scripted"
        self.asked: list[str] = []
        self.inputs, self.dimmers, self.count = inputs, dimmers, alerts
        self.uptime, self.silent, self.crc = 1000, False, "00000001"

    def ask(self, *fields: str, tries: int | None = None, within: float | None = None) -> list[str]:
        from gaugebox import VERSION
        from gaugebox.table import CONTAINER

        verb, first = fields[0], int(fields[1]) if fields[1:] and fields[1].isdigit() else 0
        self.asked.append(verb)
        if self.silent:
            raise NoAnswer("no answer")
        self.uptime += 20
        if verb == "hello":
            said = [
                VERSION,
                str(CONTAINER),
                "b",
                "FLIGHT",
                "-",
                "1",
                self.crc,
                str(self.inputs),
                str(self.dimmers),
            ]
            return [*said, str(self.uptime), "", "", "", "", ""]
        if verb == "input":
            return [f"input {first}", "ohm", "0", "psi", "0", "1"]
        if verb == "values":
            return ["1,2,3,"] * min(8, self.inputs - first)
        if verb == "lamps":
            return [f"lamp {k},1,2," for k in range(first, min(first + 4, self.dimmers))]
        if verb == "alerts":
            shown = range(first, min(first + 4, self.count))
            return [f"5,1,1,{self.count}"] + [f"1,0,alert {k}" for k in shown]
        if verb == "dim":
            return ["on", "night", "", ""]
        return []


def test_readings_come_first_and_never_more_than_the_box_can_answer() -> None:
    """Five ticks an update; the box answers one request in each. Everything else comes round within two seconds."""
    line = Scripted()
    watch = Watch(line)
    line.asked.clear()
    every = []
    for _ in range(20):
        before = len(line.asked)
        assert watch.update()
        every.append(line.asked[before:])
    assert all(asked[:3] == ["values"] * 3 for asked in every)
    assert max(map(len, every)) <= REQUESTS_AN_UPDATE < 5
    assert {"alerts", "lamps", "dim", "hello"} <= set(line.asked)
    assert [one.words for one in watch.state.alerts.shown] == [f"alert {k}" for k in range(9)]
    assert len(watch.state.lights) == 8


def test_a_box_that_is_silent_is_waited_for_and_one_that_started_anew_is_told() -> None:
    line = Scripted()
    watch = Watch(line, clock=lambda: len(line.asked) * 0.02)
    line.silent = True
    assert not watch.update() and not watch.update()
    assert watch.now.age > 0
    line.silent = False
    assert watch.update() and watch.state.message == ""
    line.uptime = 0
    for _ in range(30):
        watch.update()
    assert "the box started anew 1 s ago" in watch.state.message
    line.uptime, line.inputs, line.crc = 0, 3, "00000002"
    for _ in range(30):
        watch.update()
    assert "with another table: 00000002" in watch.state.message
    assert len(watch.state.said) == len(watch.state.faces) == 3


def test_a_box_that_falls_silent_while_it_is_learnt_anew_is_asked_again() -> None:
    line = Scripted()
    watch = Watch(line)
    line.inputs, line.crc = 3, "00000002"
    honest = line.describe
    line.describe = lambda inputs: (_ for _ in ()).throw(NoAnswer("no"))  # type: ignore[method-assign]
    for _ in range(30):
        watch.update()
    assert len(watch.state.faces) == 20
    line.describe = honest  # type: ignore[method-assign]
    watch.update()
    assert len(watch.state.faces) == 3


# -- the log


def rows_of(path: Path) -> tuple[str, list[dict[str, str]]]:
    head, rest = path.read_text().split("\n", 1)
    return head, list(csv.DictReader(io.StringIO(rest)))


def test_what_is_recorded(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    with LiveLog(path, False, state()) as log:
        log.add(state())
        log.add(state({"hydraulic": "open", "left fuel": 3.5}))
        head, rows = rows_of(path)  # while it is still open: nothing waits
    assert head == "# gaugelight live, box hull console, table 552976a6"
    assert len(rows) == 2
    assert (rows[0]["left fuel count"], rows[0]["left fuel US gal"], rows[0]["left fuel fault"]) == (
        "30000",
        "9.00",
        "",
    )
    assert (rows[1]["hydraulic psi gauge"], rows[1]["hydraulic fault"]) == ("", "open")
    assert rows[1]["usable fuel US gal"] == "18.00" and "usable fuel count" not in rows[1]
    assert datetime.fromisoformat(rows[0]["time UTC"]).tzinfo is not None
    assert {f"{name} fault" for name in RESTING} <= set(rows[0])


def test_a_log_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("mine\n")
    for append, cure in ((False, "--append"), (True, "needs a new file")):
        with pytest.raises(Misuse, match=cure):
            LiveLog(path, append, state())
        assert path.read_text() == "mine\n"
    with pytest.raises(Misuse, match="cannot be written"):
        LiveLog(tmp_path / "nowhere" / "x.csv", False, state())
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\x00\xfe")
    with pytest.raises(Misuse, match="needs a new file"):
        LiveLog(binary, True, state())


def test_a_log_goes_on_where_it_was_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    with LiveLog(path, True, state()) as log:
        log.add(state())
    path.write_text(path.read_text()[:-9])
    with LiveLog(path, True, state()) as log:
        log.add(state())
        assert log.fits(state()) and not log.fits(state(hello=replace(state().hello, crc="0")))
    head, rows = rows_of(path)
    assert len(rows) == 2 and rows[1]["left fuel US gal"] == "9.00"
    assert path.read_text().startswith(head_of(state()))


# -- at a terminal, beside the real firmware


class Rig:
    def __init__(self, aircraft: Aircraft, virtual: VirtualBox) -> None:
        self.aircraft = aircraft
        self.virtual = virtual


@pytest.fixture(scope="module")
def shared_rig() -> Iterator[Rig]:
    pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")
    with prepared(marked(), lambda text: None) as (aircraft, virtual):
        yield Rig(aircraft, virtual)


@pytest.fixture
def rig(shared_rig: Rig) -> Rig:
    """In flight, six seconds after its start: it knows everything."""
    fresh = Aircraft(marked().box)
    shared_rig.aircraft.wires.clear()
    shared_rig.aircraft.signals.update(fresh.signals)
    shared_rig.aircraft.hangs = 0
    shared_rig.aircraft.jumper_closed = False
    shared_rig.virtual.power_cycle()
    shared_rig.virtual.fast_forward(6000)
    return shared_rig


ESCAPES = re.compile(r"\x1b\[[0-?]*[ -/]*[@-~]")


class Terminal:
    """One of 80 by 24 with `gaugelight live` at it."""

    def __init__(self, port: str, *words: str) -> None:
        self.master, self.slave = pty.openpty()
        fcntl.ioctl(self.slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.before = termios.tcgetattr(self.slave)
        environment = dict(os.environ, TERM="xterm-256color", PYTHONIOENCODING="utf-8")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "gaugelight.cli", "live", "--port", port, *words],
            stdin=self.slave,
            stdout=self.slave,
            stderr=subprocess.PIPE,
            env=environment,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        self.seen = b""

    def read(self, seconds: float = 0.05) -> bool:
        """Some of what there is; whether there was any."""
        there = bool(select.select([self.master], [], [], seconds)[0])
        if there:
            self.seen += os.read(self.master, 65536)  # of a terminal no more than 4,096 come at once
        return there

    def screen(self) -> str:
        """The last whole picture."""
        frames = self.seen.decode(errors="replace").split("\x1b[H")
        return ESCAPES.sub("", frames[-2]).replace("\r", "") if len(frames) > 2 else ""

    def wait_for(self, *words: str, within: float = 30) -> str:
        deadline = time.monotonic() + within
        while time.monotonic() < deadline:
            self.read()
            screen = self.screen()
            if all(word in screen for word in words):
                return screen
        raise AssertionError(f"{words} not in\n{self.screen()}")

    def key(self, typed: bytes) -> None:
        os.write(self.master, typed)

    def end(self) -> tuple[int, str]:
        """Exit code and what it told; the terminal must be as it was, and the picture gone."""
        assert self.process.stderr is not None
        deadline = time.monotonic() + 20
        while self.process.poll() is None and time.monotonic() < deadline:
            self.read()
        while self.read(0.2):
            pass
        code = self.process.wait(timeout=1)
        assert termios.tcgetattr(self.slave) == self.before
        if b"\x1b[?1049h" in self.seen:
            assert self.seen.rindex(b"\x1b[?1049l") > self.seen.rindex(b"\x1b[?1049h")
            assert self.seen.rindex(b"\x1b[?25h") > self.seen.rindex(b"\x1b[?25l")
        return code, self.process.stderr.read().decode()

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self.process.stderr is not None:
            self.process.stderr.close()
        os.close(self.master)
        os.close(self.slave)


@contextlib.contextmanager
def at_a_terminal(port: str, *words: str) -> Iterator[Terminal]:
    terminal = Terminal(port, *words)
    try:
        yield terminal
    finally:
        terminal.close()


def test_it_follows_the_aircraft_and_its_keys_work(rig: Rig) -> None:
    with at_a_terminal(rig.virtual.port) as terminal:
        terminal.wait_for("left fuel", "ok", "hull console   FLIGHT", "alerts: none")
        rig.aircraft.signals["left fuel"] = 10.0  # 4 US gal at 21 ohm, and a count has its step
        terminal.wait_for("! yellow LOW", "1.9 US gal")
        rig.aircraft.wires["hydraulic"] = "broken"
        terminal.wait_for("FAULT open", "CAUTION hydraulic FAIL open   NEW")
        terminal.key(b"\x1b[A\x1bOt")  # no a, no t: arrows
        rig.aircraft.signals["right fuel"] = 0.0
        terminal.wait_for("!! WARNING right fuel EMPTY   NEW", "warning lamp flashing")
        assert "all alerts are acknowledged" not in terminal.screen()
        terminal.key(b"a")
        terminal.wait_for(
            "all alerts are acknowledged", "right fuel EMPTY   acknowledged", "warning lamp lit"
        )
        terminal.key(b"t")
        terminal.wait_for("lamp test: all that can be lit is, for 2 s")
        terminal.key(b"q")
        assert terminal.end() == (0, "")
    with BoxLine(rig.virtual.port) as line:
        said = line.alerts()
    assert said.count == len(said.shown) >= 3 and all(one.acknowledged for one in said.shown)
    assert said.shown[0] == SaidAlert(2, True, "right fuel EMPTY")


def test_the_lamp_test_lights_what_shows_alerts(rig: Rig) -> None:
    def lit() -> bool:
        return rig.virtual.latest.pwm[17][1] > 0

    with BoxLine(rig.virtual.port) as line:
        assert not lit()
        line.test(100)
        rig.virtual.fast_forward(200)
        assert lit()
        rig.virtual.fast_forward(2500)
        assert not lit()


def test_marks_and_alerts_as_the_box_says_them(rig: Rig) -> None:
    rig.aircraft.signals["left fuel"] = 10.0
    for one in ("right fuel", "coolant temperature", "bus", "reserve line", "hydraulic"):
        rig.aircraft.wires[one] = "broken"
    rig.virtual.fast_forward(3000)
    with BoxLine(rig.virtual.port) as line:
        marks, said = line.marks(len(the_table().readouts)), line.alerts()
        every = [one.name for one in line.describe(len(RESTING))]
        names = [every[record.index] for record in the_table().readouts]
        assert marks[names.index("left fuel")] == SaidMark(2, 1)
        assert marks[names.index("bus")] == SaidMark(0, 0)
        assert said.count == 6 and len(said.shown) == 6 and said.caution == 1
        line.acknowledge()
        assert all(one.acknowledged for one in line.alerts().shown)


# how it is ended, its exit code
ENDS: dict[str, tuple[Callable[[Terminal], None], int]] = {
    "q": (lambda terminal: terminal.key(b"q"), 0),
    "Ctrl-C": (lambda terminal: terminal.key(b"\x03"), 0),
    "a kill": (lambda terminal: terminal.process.send_signal(signal.SIGTERM), 0),
}


def test_a_key_right_before_ctrl_c_is_not_thrown_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """It was announced already, and the read for it would wait for ever."""
    master, slave = os.openpty()
    with os.fdopen(slave, "r") as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        with Keys() as keys:
            os.write(master, b"a\x03")
            assert next(keys.until(time.monotonic() + 30), "nothing") == "a"
    os.close(master)


@pytest.mark.parametrize("end, code", ENDS.values(), ids=ENDS)
def test_the_terminal_is_as_it_was(rig: Rig, end: Callable[[Terminal], None], code: int) -> None:
    with at_a_terminal(rig.virtual.port) as terminal:
        terminal.wait_for("left fuel")
        terminal.key(b"\x1a")  # Ctrl-Z would leave the picture behind: it is no more than a key
        end(terminal)
        assert terminal.end() == (code, "")


def test_a_box_that_is_silent_or_starts_anew_is_told_and_waited_for(rig: Rig) -> None:
    with at_a_terminal(rig.virtual.port) as terminal:
        terminal.wait_for("left fuel")
        rig.aircraft.hangs = layout.PIN_HANGS
        terminal.wait_for("NO ANSWER for", " old ")
        rig.aircraft.hangs = 0
        assert "NO ANSWER" not in terminal.wait_for("ok ", "s old")
        rig.virtual.power_cycle()
        screen = terminal.wait_for("the box started anew", "s old")
        assert "NO ANSWER" not in screen
        terminal.key(b"q")
        assert terminal.end() == (0, "")


def test_a_lost_port_is_one_line() -> None:
    pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")
    with prepared(marked(), lambda text: None) as (_, virtual):
        terminal = Terminal(virtual.port)
        terminal.wait_for("left fuel")
    try:
        code, told = terminal.end()
    finally:
        terminal.close()
    assert code == 1 and told.count("\n") == 1
    assert told.startswith(f"{virtual.port}: the connection was lost")


def test_the_log_is_what_the_box_says(rig: Rig, tmp_path: Path) -> None:
    """Killed in the middle it has lost a second at most."""
    path = tmp_path / "x.csv"
    rig.aircraft.wires["hydraulic"] = "broken"
    rig.virtual.fast_forward(2000)
    with at_a_terminal(rig.virtual.port, "--log", str(path)) as terminal:
        terminal.wait_for("log ", "FAULT open")
        for _ in range(40):
            terminal.read()
        shown = terminal.seen.count(b"\x1b[H") - 1
        terminal.process.kill()
        terminal.process.wait()
        terminal.read()
    head, rows = rows_of(path)
    with BoxLine(rig.virtual.port) as line:
        hello = line.hello()
        described = line.describe(hello.inputs)
        said = line.values(described)
    assert head == f"# gaugelight live, box hull console, table {hello.crc}"
    assert len(rows) >= shown - 10
    for about, one in zip(described, said):
        reading = rows[-1][f"{about.name} {about.reading_unit}"]
        assert rows[-1][f"{about.name} fault"] == (one.fault or "")
        assert reading == ("" if one.reading is None else f"{float(one.reading):.{about.reading_decimals}f}")
        if f"{about.name} count" in rows[-1]:
            assert int(rows[-1][f"{about.name} count"]) == one.count


def test_one_snapshot(rig: Rig, capsys: pytest.CaptureFixture[str]) -> None:
    rig.aircraft.signals["right fuel"] = 0.0
    rig.virtual.fast_forward(2000)
    capsys.readouterr()
    assert main(["live", "--port", rig.virtual.port, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    readouts = {one["name"]: one for one in said["readouts"]}
    fuel = readouts["right fuel"]
    assert (fuel["reading"], fuel["colour"], fuel["status"]) == (0, "red", "!! red EMPTY")
    assert readouts["sender rail"]["colour"] is None and readouts["usable fuel"]["count"] is None
    assert said["alerts"][0] == {"urgency": "warning", "words": "right fuel EMPTY", "acknowledged": False}
    assert (said["state"], said["warning_lamp"]) == ("FLIGHT", "flashing")


def test_ten_updates_a_second_hurt_no_tick(rig: Rig) -> None:
    """In flight, one request a tick at most: none begins late, none takes longer than it may."""
    with BoxLine(rig.virtual.port) as line:
        before = line.health()
        watch = Watch(line)
        line.tries, line.within = 1, 10
        for _ in range(60):
            assert watch.update()
        after = line.health()
    assert after.late == before.late and after.longest_ms <= 20


REFUSED = {
    "no terminal": ([], "there is no terminal to draw on; write --json for one snapshot"),
    "a log of one snapshot": (["--json", "--log", "x.csv"], "leave one of them out"),
    "append to what": (["--append"], "--append belongs to --log FILE.csv"),
}


@pytest.mark.parametrize("words, told", REFUSED.values(), ids=REFUSED)
def test_refused_in_one_line(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["live", "--port", "/dev/null", *words]) == 2
    out, err = capsys.readouterr()
    assert told in out + err and (out + err).count("\n") == 1


def test_an_existing_log_is_refused_before_anything_is_drawn(rig: Rig, tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("mine\n")
    with at_a_terminal(rig.virtual.port, "--log", str(path)) as terminal:
        code, told = terminal.end()
    assert code == 2 and "--append" in told and told.count("\n") == 1 and path.read_text() == "mine\n"
