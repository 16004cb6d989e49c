"""The flight log: rows as the box packs them, its ring of files, and what the host makes of them; the cable lost anywhere."""

import csv
import errno
import io
import os
import random
import struct
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import gaugebox.flight_log
from gaugebox.answers import answer
from gaugebox.flight_log import FULL, HEAD, HEAD_SIZE, MOST_FILES, MOST_PIECE, FlightLog
from gaugebox.line import ANSWER, REQUEST, frame, unframe
from gaugebox.log import LOST, POWER, START, TOLD, Log
from gaugebox.store import SLOTS, Store, slot_header
from gaugebox.table import Table
from gaugelight.box_line import BoxLine, BoxSaysNo, Hello, Lost
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO, main
from gaugelight.converters import OnChip
from gaugelight.event_log import Event
from gaugelight.flights.fetch import Fetched, log
from gaugelight.flights.flight_log import Names, Piece, head_of, names_of, pieces, write_csv
from gaugelight.problems import Misuse, Wrong
from interpreters import MICROPYTHONS, on_cpython

Rows = list[tuple[int, tuple[int, ...]]]  # seconds since the start, columns


def flights(folder: Path, layout: tuple[int, int, int], start: int = 7, crc: int = 0x2C1D146C) -> FlightLog:
    made = FlightLog(str(folder))
    made.wire(start, crc, *layout)
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

LAYOUTS = {"one input": (1, 0, 0), "one switch": (0, 0, 1), "the most": (16, 8, 20), "eight columns": (5, 2, 1)}
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
    return [(1 + i, tuple((i * 30_011 + k * 977) % 60_000 for k in range(columns))) for i in range(seconds)]


def test_the_worst_rows_fit_their_pieces(tmp_path: Path) -> None:
    layout = (16, 8, 20)
    rows = worst(layout, 200)
    logged(flights(tmp_path / "f", layout), rows)
    octets = content(tmp_path / "f")
    assert unpacked(octets) == spread(layout, rows)
    found, _ = pieces(octets)
    assert {len(piece.rows) for piece in found[:-1]} == {(MOST_PIECE - 4 - HEAD_SIZE) // (4 + 26 * 3)}


@pytest.mark.parametrize("start, crc", [(0, 0), (65535, 0xFFFFFFFF), (1, 0x80000000)])
def test_numbers_at_their_ends(tmp_path: Path, start: int, crc: int) -> None:
    logged(flights(tmp_path / "f", (1, 0, 0), start, crc), [(2**30 - 3, (5,))])
    ((piece,), _) = pieces(content(tmp_path / "f"))
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
