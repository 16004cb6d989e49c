"""The box's flight log on the host: its pieces taken apart, and rows written as CSV.

One row a second: counts of the inputs, levels of the lights, switches, and the events of the event log, which belong to the same
starts and seconds.
"""

import binascii
import csv
import io
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TextIO

from gaugebox.flight_log import (
    ABSOLUTE,
    CENTRE,
    CRC_SIZE,
    FORM,
    HEAD,
    HEAD_SIZE,
    MOST_PIECE,
    SILENT,
    SWITCHES_A_COLUMN,
)
from gaugebox.table import Table
from gaugelight.event_log import Event

Row = tuple[int, ...]


@dataclass(frozen=True)
class Piece:
    """Rows of consecutive seconds of one start. first: seconds since that start, of the first row. table: CRC, eight hex digits. A
    row: counts of the inputs (-1: the converter was silent), levels (0..10000) of lamps, bus output and display, switches (0 or 1).
    """

    start: int
    first: int
    table: str
    inputs: int
    dimmers: int
    switches: int
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Names:
    """Of a table's inputs, of all that it dims, of its switches."""

    inputs: tuple[str, ...]
    dimmers: tuple[str, ...]
    switches: tuple[str, ...]


def names_of(table: Table) -> Names:
    return Names(*(tuple(one.name for one in ones) for ones in (table.inputs, table.dimmers, table.switches)))


def numbered(piece: Piece) -> Names:
    """Where the table is known no more."""
    counts = {"input": piece.inputs, "light": piece.dimmers, "switch": piece.switches}
    return Names(*(tuple(f"{what} {i + 1}" for i in range(count)) for what, count in counts.items()))


def pieces(content: bytes) -> tuple[list[Piece], int]:
    """Those of a file of the box, oldest first; and how many of its bytes are damaged, and were passed over."""
    found, at, damaged = [], 0, 0
    while at < len(content):
        length = _length(content, at)
        piece = _piece(content[at : at + length]) if length else None
        if piece is None:
            damaged += 1
            at += 1
        else:
            found.append(piece)
            at += length
    return found, damaged


def _length(content: bytes, at: int) -> int:
    """Of the piece that begins there; 0: none does."""
    if at + HEAD_SIZE + CRC_SIZE > len(content):
        return 0
    length, *_, form, _, _, _ = struct.unpack_from(HEAD, content, at)
    if form != FORM or not HEAD_SIZE + CRC_SIZE < length <= min(MOST_PIECE, len(content) - at):
        return 0
    (crc,) = struct.unpack_from("<I", content, at + length - CRC_SIZE)
    return int(length) if crc == binascii.crc32(content[at : at + length - CRC_SIZE]) else 0


def _piece(content: bytes) -> Piece | None:
    """None where it is not of this form, although its CRC is right."""
    _, start, first, crc, _, inputs, dimmers, switches = struct.unpack_from(HEAD, content, 0)
    columns = inputs + dimmers + -(-switches // SWITCHES_A_COLUMN)
    try:
        packed = list(_rows(content[HEAD_SIZE:-CRC_SIZE], columns))
    except IndexError:
        return None
    rows = tuple((*row[: inputs + dimmers], *_switches(row[inputs + dimmers :], switches)) for row in packed)
    return Piece(start, first, f"{crc:08x}", inputs, dimmers, switches, rows)


def _rows(octets: bytes, columns: int) -> Iterator[list[int]]:
    """Raises IndexError where a row is cut off."""
    now, at = [0] * columns, 0
    while at < len(octets):
        bits = at
        at += (columns + 7) // 8
        for column in range(columns):
            if not octets[bits + column // 8] >> column % 8 & 1:
                continue
            code = octets[at]
            at += 1
            if code == ABSOLUTE:
                now[column] = octets[at] | octets[at + 1] << 8
                at += 2
            elif code == SILENT:
                now[column] = -1
            else:
                now[column] += code - CENTRE
        yield list(now)


def _switches(columns: Sequence[int], switches: int) -> Iterator[int]:
    for i in range(switches):
        yield columns[i // SWITCHES_A_COLUMN] >> i % SWITCHES_A_COLUMN & 1


def head_of(box: str, table: str, names: Names) -> str:
    """Two lines: which box and table; the columns."""
    columns = ["start", "seconds", "time UTC"]
    columns += [f"{name} count" for name in names.inputs]
    columns += [f"{name} level" for name in names.dimmers]
    columns += [f"{name} switch" for name in names.switches]
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow([*columns, "event"])
    return f"# gaugelight log, box {box}, table {table}\n{line.getvalue()}"


def write_csv(
    file: TextIO,
    box: str,
    table: str,
    names: Names,
    found: Sequence[Piece],
    events: Sequence[Event] = (),
    began: Mapping[int, datetime] | None = None,
) -> int:
    """The rows of that table, oldest first; how many. began: when a start was, by its number, where that is known.

    An event stands in the row of its second, or in the next that there is of its start; one after the last row of its start is left out.
    """
    file.write(head_of(box, table, names))
    writer = csv.writer(file, lineterminator="\n")
    known = {} if began is None else _of_the_last_run(found, began)
    waiting = {
        start: sorted((one for one in events if one.start == start), key=lambda one: one.seconds)
        for start in {one.start for one in events}
    }
    count = 0
    for number, piece in enumerate(found):
        if piece.table != table:
            continue
        told = waiting.get(piece.start, [])
        for seconds, row in enumerate(piece.rows, piece.first):
            now = []
            while told and told[0].seconds <= seconds:
                one = told.pop(0)
                now.append(f"{one.subject}: {one.what}")
            moment = _utc(known[number] + timedelta(seconds=seconds)) if number in known else ""
            counts = ["" if count < 0 else count for count in row[: piece.inputs]]
            writer.writerow([piece.start, seconds, moment, *counts, *row[piece.inputs :], "; ".join(now)])
            count += 1
    return count


def _of_the_last_run(found: Sequence[Piece], began: Mapping[int, datetime]) -> dict[int, datetime]:
    """When the start of a piece was, by the place of the piece: a number that has come round again means the later start."""
    known: dict[int, datetime] = {}
    later: dict[int, int] = {}  # of each start, the first second of the piece that follows
    ended = set()
    for place in range(len(found) - 1, -1, -1):
        piece = found[place]
        if piece.start in later and piece.first >= later[piece.start]:
            ended.add(piece.start)
        later[piece.start] = piece.first
        if piece.start in began and piece.start not in ended:
            known[place] = began[piece.start]
    return known


def _utc(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
