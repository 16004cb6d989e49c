"""What is said before a table is written, and the event log in words."""

import binascii
import struct
from array import array
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox import alerts, log
from gaugebox import table as tables
from gaugebox.alert_records import ConditionRecord
from gaugebox.curve import lookup
from gaugebox.measure import OPEN, RAIL
from gaugebox.table import Table, TableError
from gaugelight.boxfile import box_of_text
from gaugelight.build import build
from gaugelight.changes import changes
from gaugelight.cli import DEMO
from gaugelight.event_log import Event, Told, events, started
from test_table_image import sections


@cache
def image_of(text: str) -> bytes:
    return build(box_of_text("box.toml", text)).image


def table(text: str) -> Table:
    return Table(image_of(text))


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
    "damping": ('damping = "2 s"', 'damping = "4 s"', ["coolant temperature: damping 2 to 4 s"]),
    "another unit": (
        'unit = "degC"\nstep = 2',
        'unit = "degF"\nstep = 2',
        ["coolant temperature: unit degC to degF; breakpoints 14 to 14"],
    ),
    "averaged": ("pin = 28\n", "pin = 28\noversample = 4\n", ["coolant pressure: full_scale or oversample changed; faults begin elsewhere"]),
    "a lamp's fade": ('fade = "200 ms"', 'fade = "400 ms"', ["glare shield: fade 0.2 to 0.4 s"]),
    "a lamp's pin": ("pin = 18", "pin = 19", ["switch legends: pin GP18 to GP19"]),
    "a lamp's name": ('name = "switch legends"', 'name = "legends"', ["switch legends: gone", "legends: new"]),
    "the request's thresholds": ('on_above = "8 %"', 'on_above = "9 %"', ["dim request: on_above 8 to 9 %"]),
    "daylight": ('day_above = "50 %"', 'day_above = "60 %"', ["daylight: day_above 50 to 60 %"]),
    "another converter's address": ("address = 0x49", "address = 0x4a", ["converter fore: address 0x49 to 0x4a"]),
    "a slower converter": ("address = 0x49", 'address = 0x49\nrate = "64 Hz"', ["converter fore: rate 128 to 64 Hz"]),
    "a tank that holds more": ('["90 ohm", 18]]\ndamping', '["90 ohm", 20]]\ndamping', [
        "left fuel: up to 18 to 20 US gal; largest change +2.0 US gal, where it read 18.0 US gal",
        "left fuel: bar [0, 18] to [0, 20] US gal", "usable fuel: bar [0, 36] to [0, 38] US gal", "imbalance: bar [-18, 18] to [-18, 20] US gal",
        "disagree of left fuel: allowance 1.7 to 1.89 US gal; full from 17.5 to 19.44 US gal; empty up to 0.2 to 0.22 US gal",
        "disagree of usable fuel: full from 35 to 36.94 US gal; empty up to 0.4 to 0.42 US gal",
    ]),
    "another box": ('name = "hull console"', 'name = "hull"', ['box: its name "hull console" to "hull"']),
    "a lamp no longer kept steady": ('compensate = { input = "bus", at = "12 V" }\n', "", ["glare shield: compensate bus to nothing"]),
    "a floor": ('floor = "0.02 %"', 'floor = "0.05 %"', ["glare shield: curve, floor or ceiling changed"]),
    "another knob": ("knob = 27", 'knob = { pin = 27, track = "8 kohm" }', ["knob on GP27: ends changed; travel changed"]),
    "a mark": ("{ yellow = [2, 4] }, { green = [4, 18] }", "{ yellow = [2, 5] }, { green = [5, 18] }", ["left fuel: yellow 2 [2, 4] to [2, 5] US gal; green [4, 18] to [5, 18] US gal"]),
    "a mark's words": ('says = "EMPTY"', 'says = "NONE LEFT"', ['left fuel: lower red says "EMPTY" to "NONE LEFT"']),
    "a mark's delay": ('mark_delay = "5 s"', 'mark_delay = "9 s"', ["bus: mark_delay 5 to 9 s"]),
    "a rule's memory": ('after = "coolant pressure above 6 psi"', 'after = "coolant pressure above 7 psi"', ['alert COOLANT LOST: after "coolant pressure above 6 psi" to "coolant pressure above 7 psi"; until "coolant pressure above 6 psi" to "coolant pressure above 7 psi"']),
    "the reserve": ('holds = "20 US gal"', 'holds = "22 US gal"', ["reserve: holds 20 to 22 US gal; holds_error 1 to 1.1 US gal"]),
    "what burns": ('burn = ["7 US gal", "9 US gal"]\nshare', 'burn = ["7 US gal", "8 US gal"]\nshare', ["disagree of usable fuel: burn allowed for [6.65, 9.45] to [6.65, 8.4] US gal an hour"]),
    "another button": ('acknowledge = "acknowledge"', 'acknowledge = "panel lights"', ['buttons: acknowledge "acknowledge" to "panel lights"']),
    "the other way round": ('difference = ["left fuel", "right fuel"]', 'difference = ["right fuel", "left fuel"]', ["imbalance: parts left fuel - right fuel to right fuel - left fuel"]),
    "red limits moved": ("{ red = 300 }, { green = [300, 1200] }, { yellow = [1200, 1400] }, { red = 1400 }", "{ red = 500 }, { green = [500, 1200] }, { yellow = [1200, 1300] }, { red = 1300 }", ["hydraulic: lower red 300 to 500 psi; green [300, 1200] to [500, 1200] psi; yellow [1200, 1400] to [1200, 1300] psi; upper red 1400 to 1300 psi"]),
    "another colour": ("{ yellow = [18, 22] }", "{ red = [18, 22] }", ["coolant pressure: yellow [18, 22] psi gone; red [18, 22] psi new"]),
    "no mark any more": ("{ red = 5 }, { yellow", "{ yellow", ["boil margin: lower red 5 degC gone"]),
    "a label": ('label = "coolant"', 'label = "water"', ['coolant temperature: label "coolant" to "water"']),
    "a bar": ("bar = [0, 60]", "bar = [0, 50]", ["boil margin: bar [0, 60] to [0, 50] degC"]),
    "off the face": ('label = "coolant"', 'label = "coolant"\nface = false', ["coolant temperature: taken off the face"]),
    "on the face": ('nominal = "3.3 V"\nface = false', 'nominal = "3.3 V"', ["sender rail: put on the face"]),
    "judged when": ('only_when = "bus above 11 V"', 'only_when = "bus above 12 V"', ['hydraulic: only when "bus above 11 V" to "bus above 12 V"']),
    "judged always": ('only_when = "bus above 11 V"', "", ['hydraulic: only when "bus above 11 V" to nothing']),
    "the display's address": ("address = 0x3c", "address = 0x3d", ["face: address 0x3c to 0x3d"]),
    "pages": ("address = 0x3c", 'address = 0x3c\npages = ["overview", ["left fuel", "right fuel"], "alerts"]', ["face: pages overview, then reserve, then alerts to overview, then left fuel with right fuel, then alerts"]),
    "another of a large page": ('["hydraulic"]', '["bus"]', ["face: pages overview, then hydraulic to overview, then bus"]),
    "no display": ("address = 0x3c", "", ["face: gone"]),
    "a needle's point": ('["1500 psi", "90 %"]', '["1500 psi", "60 %"]', ["hydraulic needle: at 1500 psi 90 to 60 %"]),
    "a needle's reading": ('["1500 psi", "90 %"]', '["1400 psi", "90 %"]', ["hydraulic needle: at 1500 psi 90 % gone; at 1400 psi 90 % new"]),
    "where a needle parks": ('park = "2 %"', 'park = "3 %"', ["hydraulic needle: park 2 to 3 %"]),
    "how fast a needle is": ('slew = "100 %"', 'slew = "50 %"', ["hydraulic needle: slew 100 to 50 % a second"]),
    "a needle's pulses": ('frequency = "1 kHz"\n#', 'frequency = "2 kHz"\n#', ["hydraulic needle: frequency 1000 to 2000 Hz"]),
    "a needle's pin": ("pin = 6\n", "pin = 7\n", ["hydraulic needle: pin GP6 to GP7"]),
    "what an alert says": ('"ALTERNATOR OUT"', '"ALTERNATOR OFF"', ["alert ALTERNATOR OUT: gone", "alert ALTERNATOR OFF: new"]),
    "when an alert comes": ('"coolant pressure below 4 psi", ', '"coolant pressure below 5 psi", ', ["alert COOLANT LOST: when coolant pressure below 4 to 5 psi"]),
    "one condition more": ('when = ["bus below 12.8 V"]', 'when = ["bus below 12.8 V", "transfer pump off"]', ["alert ALTERNATOR OUT: when transfer pump off new"]),
    "how urgent an alert is": ('urgency = "caution"', 'urgency = "warning"', ["alert ALTERNATOR OUT: urgency caution to warning"]),
    "how long it lasts": ('lasts = "10 s"', 'lasts = "20 s"', ["alert ALTERNATOR OUT: lasts 10 to 20 s"]),
    "as high as it flies": ('altitude = "10000 ft"', 'altitude = "5000 ft"', ["boil margin: largest change +6 degC, where coolant pressure reads -1.49 psi"]),
    "what line pressure is": ('dead_head = "6 psi"', 'dead_head = "7 psi"', ["reserve: dead_head 6 to 7 psi"]),
    "the mains": ('capacity = "36 US gal"', 'capacity = "34 US gal"', ["reserve: capacity 36 to 34 US gal"]),
    "whose gauge": ('gauge = "right fuel"', 'gauge = "imbalance"', ["disagree of right fuel: gone", "disagree of imbalance: new"]),
    "in flight": ('above = "13.2 V"', 'above = "13.4 V"', ["in flight: above 13.2 V to 13.4 V"]),
}  # fmt: skip


NEEDLE = """
[[needle]]
name = "hydraulic needle"
pin = 6
follows = "hydraulic"
points = [["0 psi", "10 %"], ["1500 psi", "90 %"]]
park = "2 %"
slew = "100 %"
frequency = "1 kHz"
#"""


def edited(old: str, new: str) -> tuple[str, str]:
    """The demo with a needle, before and after; with a large page where the edit is of one."""
    text = (
        DEMO.read_text().replace('name = "display"', 'name = "window"') + NEEDLE
    )  # its hole stays without it
    if old not in text and old.startswith("["):
        text = text.replace("address = 0x3c", f'address = 0x3c\npages = ["overview", {old}]')
    assert text.count(old) >= 1
    return text, text.replace(old, new, 1) if old else text


@pytest.mark.parametrize("old, new, said", EDITS.values(), ids=EDITS)
def test_changes(old: str, new: str, said: list[str]) -> None:
    before, after = edited(old, new)
    told = changes(table(before), table(after))
    if "unit" in " ".join(said):
        # whatever of it stands in that unit: what is left until it boils, marks, and the alert that looks at it
        assert told[0].startswith("coolant temperature: unit degC to degF")
        assert told[1].startswith("boil margin: unit degC to degF")
        assert [line.split(":")[0] for line in told[2:]] == [
            "coolant temperature",
            "boil margin",
            "alert COOLANT LOST",
        ]
        assert (
            "yellow [40, 60] degC to [40, 60] degF" in told[2] and "upper red 115 degC to 115 degF" in told[2]
        )
        assert told[4].endswith("when coolant temperature above 80 degC to 176 degF")
    else:
        assert told == said


def test_an_input_gone_and_one_new() -> None:
    old = DEMO.read_text()
    new = old.replace('name = "hydraulic"', 'name = "brakes"')
    assert sorted(changes(table(old), table(new))) == [
        "brakes: new, in psi gauge",
        "hydraulic: gone",
    ]


def test_a_first_table_is_all_new() -> None:
    told = changes(None, table(DEMO.read_text()))
    assert told[0] == "sender rail: new, in V" and "glare shield: new" in told and "boil margin: new" in told
    assert "alert COOLANT LOST: new" in told and "disagree of left fuel: new" in told and len(told) == 31


# nothing in silence: any field of what the pilot is told

FACE_KINDS = {
    "derived": tables.DERIVED, "readout": tables.READOUT, "condition": tables.CONDITION, "alert": tables.ALERT, "buttons": tables.BUTTONS,
    "reserve": tables.RESERVE, "disagree": tables.DISAGREE, "face": tables.FACE, "needle": tables.NEEDLE,
}  # fmt: skip
LARGE_PAGES = (
    "address = 0x3c",
    'address = 0x3c\npages = ["overview", ["left fuel", "bus"], ["hydraulic"], "reserve", "alerts"]',
)
WITHOUT_NUMBER = (alerts.FAULTY, alerts.ON, alerts.OFF)  # of these conditions the box looks at no number


@pytest.fixture(scope="module")
def whole() -> bytes:
    """An image with a table of each kind and conditions of each way."""
    text = (DEMO.read_text() + NEEDLE).replace(*LARGE_PAGES)
    text += '\n[[alert]]\nwords = "PUMP"\nurgency = "caution"\n'
    text += 'when = ["transfer pump on", "reserve line at fault", "panel lights off"]\n'
    return image_of(text)


def places_of(image: bytes, kind: int) -> list[int]:
    """Of each byte in the payloads of sections of a kind."""
    return [place for this, at, length in sections(image) if this == kind for place in range(at, at + length)]


def altered(image: bytes, at: int, byte: int) -> Table | None:
    """With another byte there and the CRC that belongs to it; None where the box refuses that."""
    content = bytearray(image[:-4])
    content[at] = byte
    try:
        return Table(bytes(content) + struct.pack("<I", binascii.crc32(content)))
    except (TableError, UnicodeError):
        return None


def plainly(value: object) -> object:
    """A record as what can be compared; of a curve its breakpoints; of a condition no number that nobody looks at."""
    if isinstance(value, ConditionRecord) and value.way in WITHOUT_NUMBER:
        return value.way, value.index
    if isinstance(value, tuple) and len(value) == 3 and isinstance(value[0], array):
        return list(value[0]), list(value[1])
    if isinstance(value, (list, tuple, array)):
        return [plainly(one) for one in value]
    if hasattr(value, "__dict__"):
        return {key: plainly(one) for key, one in vars(value).items() if key not in ("crc", "runs")}
    return value


def counts_alike(old: Table, new: Table) -> bool:
    """Whether the derived readouts are made of the same, and differ by less than a tenth of a step at any reading of any part."""
    for was, now in zip(old.derived, new.derived):
        if len(was.parts) != len(now.parts):
            return False
        for (index, before), (other, after) in zip(was.parts, now.parts):
            if index != other:
                return False
            readings = old.inputs[index].reading_curve[1]
            for reading in range(min(readings), max(readings) + 1):
                if abs(lookup(before, reading) - lookup(after, reading)) * 10 >= now.step:
                    return False
    return True


def is_told(old: Table, new: Table) -> bool:
    """Something, or nothing where there is nothing to tell."""
    if changes(old, new):
        return True
    before, after = plainly(old), plainly(new)
    assert isinstance(before, dict) and isinstance(after, dict)
    if {key: one for key, one in before.items() if key != "derived"} != {
        key: one for key, one in after.items() if key != "derived"
    }:
        return False
    if before["derived"] == after["derived"]:
        return True
    fixed = [[{**one, "parts": None} for one in side["derived"]] for side in (before, after)]
    return fixed[0] == fixed[1] and counts_alike(old, new)


@pytest.mark.parametrize("kind", FACE_KINDS.values(), ids=FACE_KINDS)
def test_no_byte_changes_in_silence(whole: bytes, kind: int) -> None:
    """Each byte of each record that the face has, one up and one bit of it turned, where the box takes that."""
    old, places, taken = Table(whole), places_of(whole, kind), 0
    assert places
    for at in places:
        for byte in ((whole[at] + 1) % 256, whole[at] ^ 0x10):
            new = altered(whole, at, byte)
            if new is not None:
                taken += 1
                assert is_told(old, new), (at - places[0], byte)
    assert taken >= 2


@settings(deadline=None, max_examples=300)
@given(st.data())
def test_no_change_of_bytes_in_silence(whole: bytes, data: st.DataObject) -> None:
    places = [at for kind in FACE_KINDS.values() for at in places_of(whole, kind)]
    new = altered(whole, data.draw(st.sampled_from(places)), data.draw(st.integers(0, 255)))
    assert new is None or is_told(Table(whole), new)


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
        (3, log.TOLD, 2, 110),
        (3, log.TOLD, 0, 111),
        (3, log.TOLD + 1, 1, 112),
        (3, log.TOLD + 9, 1, 113),
        (4, log.START, log.ASKED, 0x12345678),
        (4, log.TOLD, 1, 2),
        (4, 0, RAIL, 3),
    ]
    content = b"".join(struct.pack(log.RECORD, *record) for record in records)
    alerts = [Told("left fuel", ("EMPTY", "LOW", "")), Told("alert", ("COOLANT LOST",))]
    assert list(events(content, "abcdef01", ["rail", "left fuel"], ["glare shield"], alerts)) == [
        Event(3, 0, "box", "started: its supply came on; table abcdef01"),
        Event(3, 0, "box", "a table was passed over: damaged, or it does not start with it"),
        Event(3, 75, "left fuel", "open"),
        Event(3, 80, "left fuel", "well again"),
        Event(3, 90, "glare shield", "open"),
        Event(3, 100, "log", "255 or more events found no room"),
        Event(3, 110, "left fuel", "LOW is told"),
        Event(3, 111, "left fuel", "is told no more"),
        Event(3, 112, "alert", "COOLANT LOST is told"),
        Event(3, 113, "alert no. 10", "code 1 is told"),
        Event(4, 0, "box", "started: it was asked to; table 12345678"),
        Event(4, 2, "alert no. 1", "code 1 is told"),
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
