"""The flight log: rows as the box packs them, its ring of files, and what the host makes of them; the cable lost anywhere."""

import base64
import csv
import errno
import io
import os
import random
import struct
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import gaugebox.flight_log
from gaugebox.answers import answer
from gaugebox.flight_log import FULL, HEAD, HEAD_SIZE, MOST_FILES, MOST_PIECE, FlightLog
from gaugebox.line import ANSWER, REQUEST, frame, unframe
from gaugebox.log import POWER, START, Log
from gaugebox.store import PIECE, SLOTS, Store, slot_header
from gaugebox.table import Table
from gaugelight.box_line import BoxLine, BoxSaysNo, Hello, Lost
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.converters import OnChip
from gaugelight.event_log import Event
from gaugelight.flights.fetch import HEAD as PART
from gaugelight.flights.fetch import Fetched, log
from gaugelight.flights.flight_log import Names, Piece, head_of, names_of, pieces, write_csv
from gaugelight.problems import Misuse, Wrong
from interpreters import MICROPYTHONS, on_cpython

Rows = list[tuple[int, tuple[int, ...]]]  # seconds since the start, columns


def flights(
    folder: Path, layout: tuple[int, int, int], start: int = 7, crc: int = 0x2C1D146C, **more: int
) -> FlightLog:
    made = FlightLog(str(folder), **more)
    made.wire(start, crc, *layout)
    made.roll()
    return made


def logged(one: FlightLog, rows: Rows) -> None:
    """As the box does it: what does not go on is written first."""
    for seconds, columns in rows:
        if not one.goes_on(seconds):
            one.flush()
            one.roll()
        one.now[:] = columns
        one.row(seconds)
    one.flush()
    one.roll()


def content(folder: Path) -> bytes:
    """Of the ring, oldest first."""
    return b"".join((folder / name).read_bytes() for name in sorted(os.listdir(folder), key=int))


def rows_of(found: Sequence[Piece]) -> Rows:
    return [(piece.first + i, row) for piece in found for i, row in enumerate(piece.rows)]


def unpacked(octets: bytes) -> Rows:
    found, damaged = pieces(octets)
    assert not damaged
    return rows_of(found)


# rows there and back

LAYOUTS = {
    "one input": (1, 0, 0),
    "one switch": (0, 0, 1),
    "the most": (16, 8, 20),
    "eight columns": (5, 2, 1),
}
COUNT = st.integers(-1, 65535) | st.sampled_from([-1, 0, 1, 127, 128, 255, 256, 65407, 65408, 65535])


@st.composite
def flown(draw: st.DrawFn) -> tuple[tuple[int, int, int], Rows]:
    """A layout and rows of it, switches packed, most a second apart."""
    layout = draw(st.sampled_from([*LAYOUTS.values()]))
    inputs, dimmers, switches = layout
    rows, seconds = [], draw(st.sampled_from([0, 1, 2**29]))
    row = [0] * (inputs + dimmers + -(-switches // 16))
    for _ in range(draw(st.integers(0, 30))):
        for column in draw(st.lists(st.integers(0, len(row) - 1), max_size=len(row))):
            if column < inputs:
                step = draw(st.integers(-130, 130))
                row[column] = draw(COUNT) if draw(st.booleans()) else min(65535, max(-1, row[column] + step))
            elif column < inputs + dimmers:
                row[column] = draw(st.integers(0, 10000))
            else:
                here = min(16, switches - 16 * (column - inputs - dimmers))
                row[column] = draw(st.integers(0, (1 << here) - 1))
        rows.append((seconds, tuple(row)))
        seconds += draw(st.sampled_from([1, 1, 1, 2, 70_000]))
    return layout, rows


def spread(layout: tuple[int, int, int], rows: Rows) -> Rows:
    """With its switches apart."""
    inputs, dimmers, switches = layout
    apart = []
    for seconds, row in rows:
        bits = sum(column << 16 * i for i, column in enumerate(row[inputs + dimmers :]))
        apart.append((seconds, (*row[: inputs + dimmers], *(bits >> i & 1 for i in range(switches)))))
    return apart


@settings(derandomize=True, deadline=None, max_examples=150)
@given(flown())
def test_what_is_written_is_what_is_read(tmp_path_factory: pytest.TempPathFactory, case: Any) -> None:
    layout, rows = case
    folder = tmp_path_factory.mktemp("flown") / "flights"
    logged(flights(folder, layout), rows)
    assert unpacked(content(folder)) == spread(layout, rows)


def worst(layout: tuple[int, int, int], seconds: int) -> Rows:
    """Every column leaps in every row."""
    inputs, dimmers, switches = layout
    columns = inputs + dimmers + -(-switches // 16)
    return [
        (1 + i, tuple(300 + (i * 30_011 + k * 977) % 60_000 for k in range(columns))) for i in range(seconds)
    ]


@pytest.mark.parametrize(
    "layout, size", [((16, 8, 20), 4 + 26 * 3), ((1, 0, 0), 4)]
)  # the latter to the last byte
def test_the_worst_rows_fit_their_pieces(tmp_path: Path, layout: tuple[int, int, int], size: int) -> None:
    rows = worst(layout, 1100)
    logged(flights(tmp_path / "f", layout), rows)
    octets = content(tmp_path / "f")
    assert unpacked(octets) == spread(layout, rows)
    found, _ = pieces(octets)
    assert {len(piece.rows) for piece in found[:-1]} == {(MOST_PIECE - 4 - HEAD_SIZE) // size}


def test_every_change(tmp_path: Path) -> None:
    """From nought, from silence, into it, and back."""
    values = [v for change in range(-200, 201) for v in (300, 300 + change)]
    values += [v for count in (*range(200), 65535) for v in (count, -1)]
    rows: Rows = [(i, (value,)) for i, value in enumerate(values)]
    logged(flights(tmp_path / "f", (1, 0, 0)), rows)
    assert unpacked(content(tmp_path / "f")) == rows


@pytest.mark.parametrize("start, crc", [(0, 0), (65535, 0xFFFFFFFF), (1, 0x80000000)])
def test_numbers_at_their_ends(tmp_path: Path, start: int, crc: int) -> None:
    logged(flights(tmp_path / "f", (1, 0, 0), start, crc), [(2**30 - 3, (5,))])
    (piece,), _ = pieces(content(tmp_path / "f"))
    assert (piece.start, piece.table, piece.first) == (start, f"{crc:08x}", 2**30 - 3)


GUEST = """
import binascii
from gaugebox import flight_log

class Kept:
    written = b""
    def __enter__(self):
        return self
    def __exit__(self, *_):
        pass
    def write(self, octets):
        Kept.written += bytes(octets)

flight_log.open = lambda name, mode: Kept()
one = flight_log.FlightLog("/nowhere/flights")
one.wire(65535, 0xCBF43926, 16, 8, 20)
one.size = 0
value = 1
for i in range(150):
    for k in range(len(one.now)):
        value = value * 1103 + 12345 & 0xFFFFFF
        if value & 3:
            one.now[k] = max(-1, min(65535, one.now[k] + (value >> 4 & 511) - 256)) if value & 12 else (value >> 8) - 1 & 65535
        if value & 4095 < 60:
            one.now[k] = -1
    seconds = i + (i // 40 << 9)
    if not one.goes_on(seconds):
        one.flush()
    one.row(seconds)
one.flush()
print(binascii.hexlify(Kept.written).decode())
"""


@pytest.mark.parametrize("run", MICROPYTHONS.values(), ids=MICROPYTHONS)
def test_the_same_bytes_on_every_interpreter(run: Any) -> None:
    there = on_cpython(GUEST)
    del gaugebox.flight_log.open  # type: ignore[attr-defined]
    assert run(GUEST) == there
    found, damaged = pieces(bytes.fromhex(there))
    assert not damaged and sum(len(piece.rows) for piece in found) == 150
    values = {value for piece in found for row in piece.rows for value in row[:16]}
    assert -1 in values and len(values) > 500


# how much it holds


def noisy(inputs: Sequence[tuple[float, float]], dimmers: int, switches: int, seconds: int) -> Rows:
    """An hour of flight, a model of our own. inputs: of each the noise and the slosh (which lasts some 3 s), counts RMS. Lights move now
    and then, switches seldom."""
    rng = np.random.default_rng(1)
    slosh = np.zeros((seconds, len(inputs)))
    kicks = rng.normal(0, [moves for _, moves in inputs], slosh.shape)
    kept = np.exp(-1 / 3)
    for i in range(1, seconds):
        slosh[i] = kept * slosh[i - 1] + np.sqrt(1 - kept**2) * kicks[i]
    counts = 30_000 + slosh + rng.normal(0, [noise for noise, _ in inputs], slosh.shape)
    levels = (np.arange(seconds) // 300 * 311 % 10_000)[:, None].repeat(dimmers, 1)
    flips = (np.arange(seconds) // 200 % 2)[:, None]
    rows = np.hstack([np.round(counts / 2) * 2, levels, flips]).astype(int)
    return [(1 + i, tuple(row)) for i, row in enumerate(rows.tolist())]


# a sixteenth bit of an ADS1115 is two counts; the mean of many samples of the on-chip converter wanders by some ten
ADS, PIN, FLOAT = (2.0, 0.0), (10.0, 0.0), (2.0, 600.0)


def demo_inputs() -> list[tuple[float, float]]:
    floats = ("left fuel", "right fuel")
    return [
        FLOAT if one.name in floats else PIN if isinstance(one.converter, OnChip) else ADS
        for one in read_box(DEMO).inputs
    ]


# inputs, dimmers, switches; at most so many bytes a row
HELD = {
    "the demo, over a flight": (demo_inputs(), 7, 5, 19.0),
    "sixteen inputs, four floats": ([FLOAT] * 4 + [ADS] * 12, 8, 10, 28.0),
}


@pytest.mark.parametrize("inputs, dimmers, switches, most", HELD.values(), ids=HELD)
def test_eight_hours_fit(
    tmp_path: Path, inputs: list[tuple[float, float]], dimmers: int, switches: int, most: float
) -> None:
    """What is left just after the oldest file went: all others, each full."""
    one = flights(tmp_path / "f", (len(inputs), dimmers, switches))
    rows = noisy(inputs, dimmers, switches, 3600)
    for at in range(0, len(rows), 60):
        logged(one, rows[at : at + 60])
    size = len(content(tmp_path / "f")) / len(rows)
    hours = (MOST_FILES - 1) * FULL / size / 3600
    print(f"{size:.1f} bytes a row, {hours:.1f} hours")
    assert most * 0.7 < size <= most and hours >= 8


# its ring


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of a few pieces."""
    monkeypatch.setattr(gaugebox.flight_log, "FULL", 400)


class Room:
    """os, of a disk with so many bytes free, less what the ring takes."""

    def __init__(self, folder: Path, free: int) -> None:
        self.folder, self.free, self.failing = folder, free, False

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def left(self) -> int:
        return self.free - sum((self.folder / name).stat().st_size for name in os.listdir(self.folder))

    def statvfs(self, path: str) -> tuple[int, ...]:
        return 4096, 1, 0, self.left()

    def remove(self, path: str) -> None:
        if self.failing:
            raise OSError(errno.EIO)
        os.remove(path)


def counted(first: int, seconds: int) -> Rows:
    return [(second, (second % 60_000,)) for second in range(first, first + seconds)]


def in_minutes(one: FlightLog, first: int, minutes: int) -> None:
    for minute in range(minutes):
        logged(one, counted(first + 60 * minute, 60))


def numbers(folder: Path) -> list[int]:
    return sorted(map(int, os.listdir(folder)))


def test_the_ring_keeps_the_last(small: None, tmp_path: Path) -> None:
    """So many files; no row between the oldest and the newest is missing."""
    one = flights(tmp_path / "f", (1, 0, 0), most_files=5)
    in_minutes(one, 1, 40)
    seconds = [second for second, _ in unpacked(content(tmp_path / "f"))]
    assert seconds == [*range(seconds[0], 2401)] and seconds[0] > 1
    there = numbers(tmp_path / "f")
    assert len(there) >= 4 and one.oldest == there[0] and 0 <= one.newest - there[-1] <= 1


def test_a_new_start_goes_on_in_the_newest_file(small: None, tmp_path: Path) -> None:
    folder = tmp_path / "f"
    in_minutes(flights(folder, (1, 0, 0), start=65535), 1, 4)
    before = numbers(folder)
    again = flights(folder, (1, 0, 0), start=0)
    assert (again.oldest, again.newest) == (before[0], before[-1])
    in_minutes(again, 1, 1)
    found, _ = pieces(content(folder))
    assert [piece.start for piece in found] == [65535] * 4 + [0]


@pytest.fixture
def disk(small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Room:
    made = Room(tmp_path / "f", 1 << 30)
    monkeypatch.setattr(gaugebox.flight_log, "os", made)
    return made


def test_it_leaves_room(disk: Room) -> None:
    """As many files as leave it; fewer when something else takes it, at the next file, or at once when a table comes."""
    disk.free = 5000
    one = flights(disk.folder, (1, 0, 0), most_files=10, room=3000)
    in_minutes(one, 1, 40)
    assert disk.left() >= 3000 - 700 and len(numbers(disk.folder)) >= 3
    seconds = [second for second, _ in unpacked(content(disk.folder))]
    assert seconds == [*range(seconds[0], 2401)]
    disk.free = 4200
    in_minutes(one, 2401, 12)
    assert disk.left() >= 3000 - 700 and len(numbers(disk.folder)) >= 1
    one.room = 3600
    one.give_way()
    assert disk.left() >= 3600
    one.room = 3000
    disk.free = 1 << 30
    in_minutes(one, 3121, 4)
    logged(one, counted(3361, 1))
    one.room = 1 << 31
    one.give_way()
    assert numbers(disk.folder) == [one.newest]  # that is being written


def test_without_room_it_says_so_and_goes_on_when_there_is_some(disk: Room) -> None:
    disk.free = 2000
    one = flights(disk.folder, (1, 0, 0), room=3000)
    for minute in range(3):
        with pytest.raises(OSError):
            in_minutes(one, 1 + 60 * minute, 1)
        one.roll()
    assert numbers(disk.folder) == []
    disk.free = 1 << 30
    one.roll()
    in_minutes(one, 361, 2)
    assert [second for second, _ in unpacked(content(disk.folder))] == [*range(361, 481)]


def test_a_disk_that_lets_nothing_go(disk: Room) -> None:
    one = flights(disk.folder, (1, 0, 0), most_files=2)
    disk.failing = True
    with pytest.raises(OSError):
        in_minutes(one, 1, 20)
    disk.failing = False
    one.roll()
    in_minutes(one, 1201, 1)
    assert one.newest - one.oldest == 1 or one.size == 0


def test_a_write_that_fails_ends_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever it left behind, what comes later is read."""
    folder = tmp_path / "f"
    one = flights(folder, (1, 0, 0))
    in_minutes(one, 1, 2)

    class Torn(io.FileIO):
        def write(self, octets: Any) -> int:
            super().write(bytes(octets)[:10])
            raise OSError(errno.EIO)

    monkeypatch.setattr(gaugebox.flight_log, "open", Torn, raising=False)
    one.now[:] = [1]
    one.row(121)
    with pytest.raises(OSError):
        one.flush()
    monkeypatch.undo()
    one.roll()
    in_minutes(one, 122, 2)
    found, damaged = pieces(content(folder))
    assert [second for second, _ in rows_of(found)] == [*range(1, 121), *range(122, 242)]
    assert damaged and numbers(folder) == [1, 2]


def test_writes_that_go_on_failing_do_not_use_up_the_ring(
    small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "f"
    one = flights(folder, (1, 0, 0), most_files=5)
    in_minutes(one, 1, 40)
    before = unpacked(content(folder))

    def fails(*_: Any) -> None:
        raise OSError(errno.EIO)

    monkeypatch.setattr(gaugebox.flight_log, "open", fails, raising=False)
    for minute in range(40, 60):
        with pytest.raises(OSError):
            logged(one, counted(1 + 60 * minute, 60))
        one.roll()
    monkeypatch.undo()
    monkeypatch.setattr(gaugebox.flight_log, "FULL", 400)
    in_minutes(one, 3601, 1)
    now = unpacked(content(folder))
    assert now[-60:] == counted(3601, 60) and set(now[:-60]) <= set(before) and len(now) > len(before) / 2


def test_a_file_that_cannot_be_removed_does_not_stop_the_ring(disk: Room) -> None:
    """It is left; at the next start what is far behind the ring goes, and no tick has to look for hundreds of files."""
    one = flights(disk.folder, (1, 0, 0), most_files=4)
    in_minutes(one, 1, 40)
    stuck, remove = one.oldest, disk.remove

    def all_but_that(path: str) -> None:
        disk.failing = path.endswith(f"/{stuck}")
        remove(path)

    disk.remove = all_but_that  # type: ignore[method-assign]
    failed = 0
    for minute in range(40, 100):
        try:
            in_minutes(one, 1 + 60 * minute, 1)
        except OSError:
            failed += 1
            one.roll()
    assert failed == 1 and one.oldest > stuck + 4
    assert numbers(disk.folder)[0] == stuck and len(numbers(disk.folder)) <= 5
    again = flights(disk.folder, (1, 0, 0), most_files=4)
    assert again.newest - again.oldest < 4 and stuck in numbers(disk.folder)
    disk.remove, disk.failing = remove, False  # type: ignore[method-assign]
    again = flights(disk.folder, (1, 0, 0), most_files=4)
    assert again.newest - again.oldest < 4 and stuck not in numbers(disk.folder)


def test_a_table_is_not_refused_for_a_file_that_stays(disk: Room) -> None:
    one = flights(disk.folder, (1, 0, 0))
    in_minutes(one, 1, 20)
    disk.failing, one.room = True, 1 << 31
    one.give_way()


def test_a_newest_file_that_cannot_be_looked_at_stops_no_start(
    small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "f"
    in_minutes(flights(folder, (1, 0, 0)), 1, 4)

    def fails(path: str) -> None:
        raise OSError(errno.EIO)

    broken = Room(folder, 1 << 30)
    broken.stat = fails  # type: ignore[attr-defined]
    monkeypatch.setattr(gaugebox.flight_log, "os", broken)
    in_minutes(flights(folder, (1, 0, 0)), 241, 1)
    assert unpacked(content(folder)) == counted(1, 300)


def test_a_file_that_somebody_removed(small: None, tmp_path: Path) -> None:
    folder = tmp_path / "f"
    one = flights(folder, (1, 0, 0), most_files=5)
    in_minutes(one, 1, 12)
    (folder / str(one.oldest)).unlink()
    (folder / "not mine").write_bytes(b"")
    in_minutes(one, 721, 12)
    again = flights(folder, (1, 0, 0))
    assert len(os.listdir(folder)) <= 5 and 0 <= again.newest - one.newest <= 1


def test_a_file_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: str) -> Any:
        raise OSError(errno.EIO)

    one = flights(tmp_path / "f", (1, 0, 0))
    assert one.read(one.newest, 0, 9) == b""
    monkeypatch.setattr(gaugebox.flight_log, "open", fails, raising=False)
    with pytest.raises(OSError):
        one.read(one.newest, 0, 9)


# damage


def a_ring(folder: Path) -> bytes:
    """Bytes of a few pieces, all kinds of rows in them."""
    rows: Rows = [(1 + i, (i % 3 - 1, 65_535 * (i % 2), 300 * i, i & 31)) for i in range(20)]
    one = flights(folder, (2, 1, 5))
    for at in range(0, 20, 5):
        logged(one, rows[at : at + 5])
    return content(folder)


def test_damage_never_gives_a_wrong_row(tmp_path: Path) -> None:
    """Each octet changed, each end cut off, each piece missing, doubled, or after rubbish: what is read is some of what was written."""
    octets = a_ring(tmp_path / "f")
    right = rows_of(pieces(octets)[0])
    assert len(right) == 20
    tried = [octets[:end] for end in range(len(octets))]
    for at in range(len(octets)):
        tried += [octets[:at] + bytes([octets[at] ^ flip]) + octets[at + 1 :] for flip in (1, 0x80, 0xFF)]
    noise = random.Random(1)
    tried += [octets[:at] + noise.randbytes(7) + octets[at:] for at in range(0, len(octets), 3)]
    tried += [octets[at : at + 60] + octets for at in range(0, 200, 7)]
    for damaged in tried:
        found = rows_of(pieces(damaged)[0])
        assert set(found) <= set(right) and len(found) >= (15 if len(damaged) >= len(octets) else 0)


def test_a_piece_of_another_form_is_passed_over() -> None:
    head = struct.pack(HEAD, HEAD_SIZE + 6, 1, 1, 1, 1, 1, 0, 0)

    def closed(body: bytes) -> bytes:
        import binascii

        return body + struct.pack("<I", binascii.crc32(body))

    assert pieces(closed(head + b"\x01\x85"))[0] == [Piece(1, 1, "00000001", 1, 0, 0, ((5,),))]
    for body in (head + b"\x01\x00", head[:12] + b"\x02" + head[13:] + b"\x01\x85"):  # cut off; a later form
        assert pieces(closed(body)) == ([], HEAD_SIZE + 6)


# the CSV

NAMES = Names(("left fuel", "a, b"), ("map light",), ("pump",))
NOON = datetime(2026, 11, 26, 12, 0, 0, 250_000, timezone.utc)


def csv_rows(*words: Any, **more: Any) -> list[list[str]]:
    out = io.StringIO()
    count = write_csv(out, *words, **more)
    head, *lines = out.getvalue().splitlines()
    assert len(lines) == count + 1
    return [[head], *csv.reader(lines)]


def piece(start: int, first: int, *rows: tuple[int, ...], table: str = "cbf43926") -> Piece:
    return Piece(start, first, table, 2, 1, 1, rows)


def test_rows_and_their_columns() -> None:
    found = [piece(65535, 4000, (1, -1, 10_000, 0), (0, 65535, 0, 1))]
    assert csv_rows("hull console", "cbf43926", NAMES, found) == [
        ["# gaugelight log, box hull console, table cbf43926"],
        ["start", "seconds", "time UTC", "left fuel count", "a, b count", "map light level", "pump switch", "event"],
        ["65535", "4000", "", "1", "", "10000", "0", ""],
        ["65535", "4001", "", "0", "65535", "0", "1", ""],
    ]  # fmt: skip


def test_events_stand_in_their_second_or_the_next_row_of_their_start() -> None:
    quiet = (0, 0, 0, 0)
    found = [piece(1, 1, quiet, quiet), piece(1, 5, quiet), piece(1, 1, quiet, table="0"), piece(2, 1, quiet)]
    told = [
        Event(1, 0, "box", "started"),
        Event(1, 2, "left fuel", "open"),
        Event(1, 2, "a, b", "short"),
        Event(1, 3, "left fuel", "well again"),
        Event(1, 6, "too", "late"),
        Event(3, 1, "another", "start"),
    ]
    rows = csv_rows("box", "cbf43926", NAMES, found, told)[2:]
    assert [(row[0], row[1], row[-1]) for row in rows] == [
        ("1", "1", "box: started"),
        ("1", "2", "left fuel: open; a, b: short"),
        ("1", "5", "left fuel: well again"),
        ("2", "1", ""),
    ]


def test_the_time_of_the_start_that_is_known() -> None:
    """And not of an earlier one of the same number."""
    quiet = (0, 0, 0, 0)
    found = [
        piece(7, 10, quiet),
        piece(7, 61, quiet),
        piece(8, 1, quiet),
        piece(7, 5, quiet),
        piece(7, 60, quiet),
    ]
    rows = csv_rows("box", "cbf43926", NAMES, found, began={7: NOON, 9: NOON})[2:]
    assert [row[2] for row in rows] == [
        "", "", "", "2026-11-26T12:00:05.250Z", "2026-11-26T12:01:00.250Z",
    ]  # fmt: skip


# fetched


class Answering(BoxLine):
    """The box's own answers, without a port. lost_after: so many requests, and the cable is out; before: done before each."""

    def __init__(self, app: Any, lost_after: int = 1 << 30) -> None:
        self.app = app
        self.port = "/dev/box"
        self.left = lost_after
        self.asked = 0
        self.before: Any = lambda: None

    def ask(self, *fields: str, tries: int | None = None, within: float | None = None) -> list[str]:
        self.before()
        self.left -= 1
        if self.left < 0:
            raise Lost("/dev/box: the connection was lost")
        self.asked += 1
        line = answer(self.app, frame(REQUEST, ["1", *fields]).encode())
        said = unframe(ANSWER, (line or "").encode())
        assert said is not None
        if said[1] != "ok":
            raise BoxSaysNo(said[2])
        return said[2:]

    def hello(self, tries: int | None = None, within: float | None = None) -> Hello:
        self.ask("health")
        return Hello("", 1, "hull console", "SERVICE", "", 0, "", 0, 0, 90_000, "", "", "", "", "")


TWO_TANKS = """
[box]
name = "two tanks"
board = "rp2040"
[converter.aft]
kind = "ads1115"
address = 0x48
""" + "".join(
    f"""
[[input]]
name = "{side} fuel"
pin = "aft.{pin}"
circuit = {{ kind = "direct" }}
unit = "V"
range = [0, 3]
""" for pin, side in enumerate(("right", "left"))
)


@cache
def two_tanks() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "box.toml"
        path.write_text(TWO_TANKS)
        return build(read_box(path)).image


@pytest.fixture
def box(small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A box of two inputs with two starts behind it, in one of which another table ran."""
    monkeypatch.setattr("gaugebox.answers.gc.mem_free", lambda: 0, raising=False)
    image = two_tanks()
    folder = tmp_path / "box"
    folder.mkdir()
    (folder / SLOTS[0]).write_bytes(slot_header(1) + image)
    store = Store(str(folder))
    assert store.table is not None
    table = store.table
    made = SimpleNamespace(store=store, board=SimpleNamespace(before=0), late=0, longest=0, folder=folder)
    for start, crc in ((1, 0xCBF43926), (2, table.crc)):
        made.events = Log(str(folder / "log"))
        made.events.add(START, POWER, crc)
        made.events.add(1, 1, 61)
        made.events.flush(0)
        made.flights = flights(folder / "flights", (2, 0, 0), start, crc)
        for minute in range(5):
            rows = [(1 + 60 * minute + i, tuple((i * k * 577) % 3000 for k in range(2))) for i in range(60)]
            logged(made.flights, rows)
    return made


def fetched(box: Any, path: Path, **more: Any) -> tuple[Fetched, Answering]:
    line = Answering(box, **more)
    return log(line, path, {}, lambda done, of: None), line


def test_a_file_of_each_table(box: Any, tmp_path: Path) -> None:
    told, _ = fetched(box, tmp_path / "out.csv")
    table = Table(two_tanks())
    crc = f"{table.crc:08x}"
    assert [(one.path.name, one.table, one.rows, one.named) for one in told.files] == [
        ("out.csv", crc, 300, True),
        ("out-cbf43926.csv", "cbf43926", 300, False),
    ]
    assert told.damaged == 0 and not (tmp_path / "out.csv.part").exists()
    ours, other = ((tmp_path / name).read_text() for name in ("out.csv", "out-cbf43926.csv"))
    assert ours.startswith(head_of("hull console", crc, names_of(table)))
    assert other.splitlines()[1].split(",")[3:5] == ["input 1 count", "input 2 count"]
    rows = [*csv.reader(ours.splitlines()[2:])]
    assert [int(row[1]) for row in rows] == [*range(1, 301)] and {row[0] for row in rows} == {"2"}
    assert "started: its supply came on" in rows[0][-1] and rows[60][-1] == "left fuel: open"
    first, last = (datetime.fromisoformat(rows[i][2]) for i in (0, -1))
    assert last - first == timedelta(seconds=299)
    assert abs(datetime.now(timezone.utc) - timedelta(seconds=89) - first) < timedelta(minutes=1)
    assert {row[2] for row in csv.reader(other.splitlines()[2:])} == {""}


def test_a_cable_lost_anywhere(box: Any, tmp_path: Path) -> None:
    """After each request, and once more; then the same command goes on: what comes of it is the same, and no piece comes twice."""
    _, line = fetched(box, tmp_path / "whole.csv")
    whole = (tmp_path / "whole.csv").read_text().splitlines()
    of_the_log = sum(-(-file.stat().st_size // PIECE) for file in (box.folder / "flights").iterdir())
    assert of_the_log >= 20
    for lost in [*range(of_the_log + 8), line.asked - 5, line.asked - 1]:
        path = tmp_path / f"{lost}.csv"
        for lost_after in (lost, 5) if lost % 4 == 0 else (lost,):
            with pytest.raises(Wrong) as told:
                fetched(box, path, lost_after=lost_after)
            assert f"{path.name}.part" in told.value.lines[-1] and not path.exists()
        _, line = fetched(box, path)
        again = path.read_text().splitlines()
        assert [row.split(",")[:2] + row.split(",")[3:] for row in again] == [
            row.split(",")[:2] + row.split(",")[3:] for row in whole
        ]
        for left in tmp_path.glob(f"{lost}*"):
            left.unlink()


def test_what_comes_while_it_is_fetched(box: Any, tmp_path: Path) -> None:
    """Rows go on, and so does the ring: those that are gone are left out, none is doubled or wrong."""
    box.flights.most_files = 4
    line = Answering(box)
    minutes = iter(range(5, 100))

    def logs_on() -> None:
        if line.asked % 4 == 0 and line.asked < 100:
            minute = next(minutes)
            logged(
                box.flights,
                [(1 + 60 * minute + i, tuple((i * k * 577) % 3000 for k in range(2))) for i in range(60)],
            )

    line.before = logs_on
    log(line, tmp_path / "out.csv", {}, lambda done, of: None)
    rows = [*csv.reader((tmp_path / "out.csv").read_text().splitlines()[2:])]
    seconds = [int(row[1]) for row in rows]
    assert seconds == sorted(set(seconds)) and len(seconds) > 300 and seconds[-1] > 600
    for row in rows:
        assert [int(cell) for cell in row[3:5]] == [
            ((int(row[1]) - 1) % 60 * k * 577) % 3000 for k in range(2)
        ]


def lost_part(box: Any, path: Path) -> Path:
    with pytest.raises(Wrong):
        fetched(box, path, lost_after=20)
    return path.with_name(path.name + ".part")


def test_a_part_of_another_box_is_refused(box: Any, tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    part = lost_part(box, path)
    kept = part.read_bytes()
    for name in os.listdir(box.folder / "flights"):
        file = box.folder / "flights" / name
        octets = bytearray(file.read_bytes())
        octets[HEAD_SIZE::40] = bytes(len(octets[HEAD_SIZE::40]))
        file.write_bytes(octets)
    with pytest.raises(Misuse, match="another box"):
        fetched(box, path)
    assert part.read_bytes() == kept and not path.exists()


def test_a_part_of_another_box_whose_last_byte_is_the_same(box: Any, tmp_path: Path) -> None:
    path, number = tmp_path / "out.csv", box.flights.oldest
    octets = box.flights.read(number, 0, PIECE + 1)
    other = bytes(byte ^ 1 for byte in octets[:-1])
    lines = [(0, other), (PIECE, octets[-1:])]
    kept = "".join(f"{number} {at} {base64.b64encode(piece).decode()}\n" for at, piece in lines)
    path.with_name("out.csv.part").write_text(PART + kept)
    with pytest.raises(Misuse, match="another box"):
        fetched(box, path)


PARTS: dict[str, tuple[Any, str]] = {
    "torn in its last line": (lambda part: part[:-9], ""),
    "its last line missing": (lambda part: part[: part.rstrip(b"\n").rfind(b"\n") + 1], ""),
    "torn in its head": (lambda part: part[:9], ""),
    "empty": (lambda part: b"", ""),
    "a line missing within": (lambda part: b"".join(part.splitlines(True)[:3] + part.splitlines(True)[4:]), "part"),
    "rubbish": (lambda part: b"\xff\xfe\n" * 9, "part"),
    "another's": (lambda part: b"start,seconds\n", "part"),
    "not base64": (lambda part: part + b"9 0 ????\n", "part"),
    "half a line": (lambda part: part + b"9\n", "part"),
    "another's, of no line": (lambda part: b"mine", "part"),
}  # fmt: skip


@pytest.mark.parametrize("harm, refused", PARTS.values(), ids=PARTS)
def test_a_part_that_was_harmed(box: Any, tmp_path: Path, harm: Any, refused: str) -> None:
    """What a cut leaves is gone on from; anything else is refused and left as it is."""
    path = tmp_path / "out.csv"
    part = lost_part(box, path)
    part.write_bytes(harm(part.read_bytes()))
    harmed = part.read_bytes()
    if refused:
        with pytest.raises(Misuse, match="is no part of a flight log"):
            fetched(box, path)
        assert part.read_bytes() == harmed
        return
    told, _ = fetched(box, path)
    assert [one.rows for one in told.files] == [300, 300]


@pytest.mark.parametrize("name", ["out.csv", "out-cbf43926.csv"])
def test_no_file_is_written_over(box: Any, tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(Misuse, match="is there already"):
        fetched(box, tmp_path / "out.csv")
    assert (tmp_path / name).read_text() == "mine"


def test_a_folder_that_is_not_there(box: Any, tmp_path: Path) -> None:
    with pytest.raises(Misuse, match="cannot be written"):
        fetched(box, tmp_path / "no" / "out.csv")


def test_an_empty_log(box: Any, tmp_path: Path) -> None:
    box.flights = flights(tmp_path / "none", (1, 0, 0))
    with pytest.raises(Wrong, match="no rows yet"):
        fetched(box, tmp_path / "out.csv")
    assert os.listdir(tmp_path) in (["box", "none"], ["none", "box"])


def test_a_ring_begun_anew_is_refused(box: Any, tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    lost_part(box, path)
    box.flights = flights(tmp_path / "none", (1, 0, 0))
    with pytest.raises(Misuse, match="another box"):
        fetched(box, path)
    box.flights.oldest = box.flights.newest = 90
    with pytest.raises(Misuse, match="another box"):
        fetched(box, path)


def test_a_file_that_the_box_cannot_read_does_not_hide_the_others(box: Any, tmp_path: Path) -> None:
    read, broken = box.flights.read, box.flights.oldest + 1

    def failing(number: int, at: int, count: int) -> bytes:
        if number == broken and at:
            raise OSError(errno.EIO)
        return read(number, at, count)  # type: ignore[no-any-return]

    with pytest.raises(Wrong):  # the cable is lost while that one comes
        fetched(box, tmp_path / "out.csv", lost_after=-(-len(read(broken - 1, 0, 1 << 20)) // PIECE) + 6)
    assert f"\n{broken} {PIECE} " in (tmp_path / "out.csv.part").read_text()
    box.flights.read = failing
    told, _ = fetched(box, tmp_path / "out.csv")
    (why,) = told.unread
    assert why.startswith(f"file {broken} of the log, from byte {2 * PIECE} on: ")
    assert 300 < sum(one.rows for one in told.files) < 600 and told.files[0].rows == 300


def test_a_restart_just_when_it_is_asked_gives_no_wrong_time(box: Any, tmp_path: Path) -> None:
    line = Answering(box)

    def restarts() -> None:
        if line.asked == 1:
            box.events.start = 3

    line.before = restarts
    log(line, tmp_path / "out.csv", {}, lambda done, of: None)
    assert {row[2] for row in csv.reader((tmp_path / "out.csv").read_text().splitlines()[2:])} == {""}


def test_a_full_disk_leaves_what_has_come_and_nothing_half(
    box: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(file: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as no_room:
        no_room.setattr("gaugelight.whole_file.os.fsync", full)
        with pytest.raises(Wrong) as told:
            fetched(box, tmp_path / "out.csv")
    assert "No space left" in told.value.lines[0] and "out.csv.part" in told.value.lines[-1]
    assert sorted(os.listdir(tmp_path)) == ["box", "out.csv.part"]
    assert fetched(box, tmp_path / "out.csv")[0].files[0].rows == 300
