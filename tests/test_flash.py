"""What is said before a table is written, and the event log in words."""

import struct
from pathlib import Path

import pytest

from gaugebox import log
from gaugebox.measure import OPEN, RAIL
from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.event_log import Event, events, started
from gaugelight.flash import changes


def table(text: str, folder: Path) -> Table:
    path = folder / "box.toml"
    path.write_text(text)
    return Table(build(read_box(path)).image)


# an edit of the demo; what is said of it, whole
EDITS: dict[str, tuple[str, str, list[str]]] = {
    "nothing": ("", "", []),
    "a comment": ("# The console", "# This console", []),
    # by hand: between 71 and 90 ohm 15 and 18 US gal, now 16 at 71 ohm: a gallon more there, falling to nothing at 46 and 90
    "a point moved": (
        '["46 ohm", 9.5], ["71 ohm", 15], ["90 ohm", 18]]',
        '["46 ohm", 9.5], ["71 ohm", 16], ["90 ohm", 18]]',
        ["left fuel: breakpoints 16 to 17; largest change +1.0 US gal, where it read 15.0 US gal"],
    ),
    # by hand: at 60 ohm 12.58 US gal, now 13
    "a point more": (
        '["46 ohm", 9.5], ["71 ohm", 15], ["90 ohm", 18]]',
        '["46 ohm", 9.5], ["60 ohm", 13], ["71 ohm", 15], ["90 ohm", 18]]',
        ["left fuel: breakpoints 16 to 18; largest change +0.4 US gal, where it read 12.7 US gal"],
    ),
    "damping": ('damping = "2 s"', 'damping = "4 s"', ["coolant temperature: damping 2 s to 4 s"]),
    "another unit": (
        'unit = "degC"\nstep = 2',
        'unit = "degF"\nstep = 2',
        ["coolant temperature: unit degC to degF; breakpoints 14 to 14"],
    ),
    "averaged": ("pin = 28\n", "pin = 28\noversample = 4\n", ["coolant pressure: full_scale or oversample changed; faults begin elsewhere"]),
    "a lamp's fade": ('fade = "200 ms"', 'fade = "400 ms"', ["glare shield: fade changed"]),
    "a lamp's pin": ("pin = 18", "pin = 19", ["switch legends: pin changed"]),
    "a lamp's name": ('name = "switch legends"', 'name = "legends"', ["switch legends: gone", "legends: new"]),
    "the request's thresholds": ('on_above = "8 %"', 'on_above = "9 %"', ["dim request: on_above changed"]),
    "daylight": ('day_above = "50 %"', 'day_above = "60 %"', ["daylight: day_above changed"]),
    "another converter's address": ("address = 0x49", "address = 0x4a", ["converter fore: address changed"]),
    "a slower converter": ("address = 0x49", 'address = 0x49\nrate = "64 Hz"', ["converter fore: rate changed"]),
    "a tank that holds more": ('["90 ohm", 18]]\ndamping', '["90 ohm", 20]]\ndamping', ["left fuel: up to 18 to 20; largest change +2.0 US gal, where it read 18.0 US gal", "disagree of left fuel: allowance, top, bottom changed", "disagree of usable fuel: top, bottom changed"]),
    "another box": ('name = "hull console"', 'name = "hull"', ['box: its name "hull console" to "hull"']),
    "a lamp no longer kept steady": ('compensate = { input = "bus", at = "12 V" }\n', "", ["glare shield: compensate changed"]),
    "a floor": ('floor = "0.02 %"', 'floor = "0.05 %"', ["glare shield: curve, floor or ceiling changed"]),
    "another knob": ("knob = 27", 'knob = { pin = 27, track = "8 kohm" }', ["knob on GP27: ends, travel changed"]),
    "a mark": ("{ yellow = [2, 4] }, { green = [4, 18] }", "{ yellow = [2, 5] }, { green = [5, 18] }", ["face of left fuel: marks changed"]),
    "a mark's words": ('says = "EMPTY"', 'says = "NONE LEFT"', ["face of left fuel: marks changed"]),
    "a mark's delay": ('mark_delay = "5 s"', 'mark_delay = "9 s"', ["face of bus: delay changed"]),
    "a rule's memory": ('after = "coolant pressure above 6 psi"', 'after = "coolant pressure above 7 psi"', ["alert COOLANT LOST: after, until changed"]),
    "the reserve": ('holds = "20 US gal"', 'holds = "22 US gal"', ["reserve: reserve_full, reserve_band changed"]),
    "what burns": ('burn = ["7 US gal", "9 US gal"]\nshare', 'burn = ["7 US gal", "8 US gal"]\nshare', ["disagree of usable fuel: burn_high changed"]),
    "another button": ('acknowledge = "acknowledge"', 'acknowledge = "panel lights"', ["buttons: acknowledge changed"]),
    "the other way round": ('difference = ["left fuel", "right fuel"]', 'difference = ["right fuel", "left fuel"]', ["imbalance: parts changed"]),
    "in flight": ('above = "13.2 V"', 'above = "13.4 V"', ["in flight: above changed"]),
}  # fmt: skip


@pytest.mark.parametrize("old, new, said", EDITS.values(), ids=EDITS)
def test_changes(old: str, new: str, said: list[str], tmp_path: Path) -> None:
    text = DEMO.read_text()
    assert text.count(old) >= 1
    told = changes(table(text, tmp_path), table(text.replace(old, new, 1) if old else text, tmp_path))
    if "unit" in " ".join(said):
        assert told[0].startswith("coolant temperature: unit degC to degF")
        assert (
            told[1:]
            == [
                "boil margin: parts, unit changed",
                "alert COOLANT LOST: when changed",
                "face of coolant temperature: marks changed",
            ][: len(told) - 1]
        )
    else:
        assert told == said


def test_an_input_gone_and_one_new(tmp_path: Path) -> None:
    old = DEMO.read_text()
    new = old.replace('name = "hydraulic"', 'name = "brakes"')
    assert sorted(changes(table(old, tmp_path), table(new, tmp_path))) == [
        "brakes: new, in psi gauge",
        "hydraulic: gone",
    ]


def test_a_first_table_is_all_new(tmp_path: Path) -> None:
    told = changes(None, table(DEMO.read_text(), tmp_path))
    assert told[0] == "sender rail: new, in V" and "glare shield: new" in told and "boil margin: new" in told
    assert "alert COOLANT LOST: new" in told and "disagree of left fuel: new" in told and len(told) == 25


# the event log

STARTS = {
    "power": (log.POWER, "its supply came on"),
    "asked": (log.ASKED | log.AT_LINE, "it was asked to"),
    "stopped": (log.STOPPED | log.AT_LIGHTS, "its program was stopped by hand"),
    "failed": (log.FAILED | log.AT_CONVERTERS, "its program failed while reading its converters"),
    "hung": (log.RUNNING | log.AT_INPUTS, "WATCHDOG: it hung while reading its on-chip inputs"),
    "hung at the start": (log.RUNNING | log.AT_START, "WATCHDOG: it hung while starting"),
    "of a newer firmware": (log.RUNNING | 15, "WATCHDOG: it hung while doing something unknown"),
}


@pytest.mark.parametrize("before, said", STARTS.values(), ids=STARTS)
def test_why_it_started(before: int, said: str) -> None:
    assert started(before) == said


def test_events_in_words() -> None:
    """Names only where the table is the one whose names are known."""
    records = [
        (3, log.START, log.POWER, 0xABCDEF01),
        (3, log.NOTICE, 0, 0),
        (3, 1, OPEN, 75),
        (3, 1, 0, 80),
        (3, log.DIMMERS, OPEN, 90),
        (3, log.LOST, 255, 100),
        (4, log.START, log.ASKED, 0x12345678),
        (4, 0, RAIL, 3),
    ]
    content = b"".join(struct.pack(log.RECORD, *record) for record in records)
    assert list(events(content, "abcdef01", ["rail", "left fuel"], ["glare shield"])) == [
        Event(3, 0, "box", "started: its supply came on; table abcdef01"),
        Event(3, 0, "box", "a table was passed over: damaged, or it does not start with it"),
        Event(3, 75, "left fuel", "open"),
        Event(3, 80, "left fuel", "well again"),
        Event(3, 90, "glare shield", "open"),
        Event(3, 100, "log", "255 or more events found no room"),
        Event(4, 0, "box", "started: it was asked to; table 12345678"),
        Event(4, 3, "input no. 1", "rail"),
    ]


# the log itself, on this interpreter's files; with the power cut: faults/test_power_cuts.py


def test_the_log_keeps_what_it_is_told_and_no_more(tmp_path: Path) -> None:
    folder = str(tmp_path / "log")
    first = log.Log(folder)
    assert (first.start, first.count()) == (1, 0)
    for i in range(log.MOST_PENDING + 10):
        first.add(i % 16, 1, i)
    assert first.pending == log.MOST_PENDING - 1 and first.lost == 11
    first.flush(100)
    assert (first.pending, first.count()) == (0, log.MOST_PENDING)
    last = struct.unpack(log.RECORD, first.read(log.MOST_PENDING - 1, 5))
    assert last == (1, log.LOST, 11, 100)
    second = log.Log(folder)
    assert (second.start, second.count()) == (2, log.MOST_PENDING)
    second.add(5, 2, 7)
    assert struct.unpack(log.RECORD, second.read(log.MOST_PENDING, 5)) == (2, 5, 2, 7)


def test_the_log_never_outgrows_two_files(tmp_path: Path) -> None:
    events_log = log.Log(str(tmp_path / "log"))
    sizes = set()
    for turn in range(100):
        for i in range(50):
            events_log.add(i % 16, turn % 8, turn)
        events_log.flush(turn)
        files = list((tmp_path / "log").iterdir())
        sizes.add(sum(path.stat().st_size for path in files))
        content = events_log.read(0, 5000)
        assert len(content) == events_log.count() * log.RECORD_SIZE
        assert struct.unpack(log.RECORD, content[-8:]) == (1, 49 % 16, turn % 8, turn)
    assert max(sizes) <= 2 * log.MOST_RECORDS * log.RECORD_SIZE
    for first in range(0, events_log.count(), 16):  # a line's worth at a time, as the box answers
        assert events_log.read(first, 16) == content[first * 8 : first * 8 + 128]
    assert events_log.read(events_log.count(), 16) == b""


def test_a_full_disk_keeps_what_is_pending(tmp_path: Path) -> None:
    events_log = log.Log(str(tmp_path / "log"))
    events_log.add(1, 1, 1)
    events_log.events = str(tmp_path / "nowhere" / "events")
    with pytest.raises(OSError):
        events_log.flush(1)
    assert events_log.pending == 1
    for turn in range(1000):  # a loose wire, for as long as the disk stays full
        events_log.add(2, turn & 1, turn)
        if turn % 50 == 0:
            with pytest.raises(OSError):
                events_log.flush(turn)
    assert events_log.pending == log.MOST_PENDING - 1
    events_log.events = str(tmp_path / "log" / "events")
    events_log.flush(1000)
    assert (events_log.pending, events_log.lost, events_log.count()) == (0, 0, log.MOST_PENDING)
