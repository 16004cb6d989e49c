"""Fetches the flight log from the box, and goes on where a lost cable left off.

What has come is kept in FILE.part, a line a piece, as it comes: which start ran and since when, and bytes of the box's files. From it and
the event log the CSV is made when all is there.
"""

import base64
import contextlib
import io
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TextIO

from gaugebox.flight_log import FULL, MOST_PIECE
from gaugebox.store import PIECE
from gaugebox.table import Table, TableError
from gaugelight.box_line import BoxLine, BoxSaysNo
from gaugelight.event_log import alerts_of, events
from gaugelight.flights.flight_log import Piece, names_of, numbered, pieces, write_csv
from gaugelight.problems import Misuse, Wrong
from gaugelight.whole_file import write_whole

HEAD = "gaugelight log, part 1\n"
A_FILE = FULL + MOST_PIECE // 2  # bytes, about

KEPT = "what has come is kept in {}: the same command goes on from there"

Progress = Callable[[int, int], None]


@dataclass
class Part:
    """What has come so far. files: bytes of the box's files, by number, as far as they are here. began: when a start
    was, by its number. unread: why the box could not read a file of it to its end."""

    path: Path
    files: dict[int, bytes] = field(default_factory=dict)
    began: dict[int, datetime] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)
    out: TextIO | None = None

    def read(self) -> None:
        """What is in the file, if there is one; a line that was cut off at its end counts for nothing. Raises Misuse."""
        try:
            content = self.path.read_bytes().decode()
            if not (content.startswith(HEAD) or HEAD.startswith(content)):
                raise ValueError
            for line in content[: content.rfind("\n") + 1].splitlines()[1:]:
                self._take(line)
        except FileNotFoundError:
            pass
        except (ValueError, OverflowError, OSError):
            what = "is no part of a flight log, or is damaged; move it away, or name another file"
            raise Misuse(f"{self.path}: {what}") from None

    def _take(self, line: str) -> None:
        what, number, content = line.split()
        if what == "start":
            self.began[int(number)] = datetime.fromisoformat(content)
            return
        at, octets = int(number), base64.b64decode(content, validate=True)
        if at != len(self.files.get(int(what), b"")):
            raise ValueError
        self.files[int(what)] = self.files.get(int(what), b"") + octets

    @contextlib.contextmanager
    def opened(self) -> Iterator[None]:
        """For `add`. Raises Misuse."""
        try:
            with self.path.open("a+b") as file:
                file.seek(0)
                file.truncate(file.read().rfind(b"\n") + 1)  # without a line that was cut off
                if not file.seek(0, os.SEEK_END):
                    file.write(HEAD.encode())
            with self.path.open("a", encoding="ascii") as self.out:
                yield
        except OSError as problem:
            raise Misuse(f"{self.path}: cannot be written: {problem.strerror}") from None

    def add(self, *words: str) -> None:
        """A line, handed to the system at once."""
        assert self.out is not None
        line = " ".join(words) + "\n"
        self.out.write(line)
        self.out.flush()
        self._take(line)

    def is_of(self, line: BoxLine, first: int, last: int) -> bool:
        """Whether the box's files, `first` to `last`, are those of which this is a part: its last bytes are there."""
        there = [number for number in self.files if first <= number <= last]
        for number in sorted(there, reverse=True):
            at = max(0, len(self.files[number]) - PIECE)
            with contextlib.suppress(BoxSaysNo):  # it cannot read that one
                return line.flight_piece(number, at).startswith(self.files[number][at:])
        return not self.files


def fetch(line: BoxLine, path: Path, progress: Progress) -> Part:
    """All that the box has, beginning with what is in `path`. Raises Wrong, Misuse; what has come is then in `path`."""
    part = Part(path)
    part.read()
    said = line.flights()
    if not part.is_of(line, said.first, said.last):
        what = "is part of another box's flight log, or the box has overwritten all of it since; move it away, or name another file"
        raise Misuse(f"{path}: {what}")
    with part.opened():
        uptime = timedelta(milliseconds=line.hello().uptime_ms)
        since = datetime.now(timezone.utc) - uptime
        if line.flights().start == said.start:  # the uptime is of that start
            part.add("start", str(said.start), since.isoformat())
        number = said.first
        while number <= said.last:
            at = len(part.files.get(number, b""))
            try:
                content = line.flight_piece(number, at)
            except BoxSaysNo as no:  # its ring has gone on meanwhile, or it cannot be read
                said = line.flights()
                if number >= said.first:
                    part.unread.append(f"file {number} of the log, from byte {at} on: {no}")
                number = max(number + 1, said.first)
                continue
            if content:
                part.add(str(number), str(at), base64.b64encode(content).decode())
            elif number < said.last:
                number += 1
            else:
                was, said = said, line.flights()
                if said.last == was.last:
                    break
            done = sum(map(len, part.files.values()))
            left = (said.last - number) * A_FILE + max(0, said.size - len(part.files.get(number, b"")))
            progress(done, done + left)
    return part


@dataclass(frozen=True)
class Written:
    """One CSV file. named: whether its columns bear the names of its table, or numbers."""

    path: Path
    table: str
    rows: int
    named: bool


@dataclass(frozen=True)
class Fetched:
    """damaged: bytes of the log that were passed over; unread: files that the box could not read to their end, and why."""

    files: tuple[Written, ...]
    damaged: int
    bytes: int
    unread: tuple[str, ...] = ()


def log(line: BoxLine, path: Path, more: dict[str, Table], progress: Progress) -> Fetched:
    """Fetches the flight log, and writes it to `path`, rows of other tables than the newest beside it. more: tables that the box may
    have had, by their CRC.

    Raises Wrong, Misuse.
    """
    _is_free(path)
    part_path = path.with_name(path.name + ".part")
    try:
        part = fetch(line, part_path, progress)
        tables = more | _tables(line)
        box, records = line.hello().box, line.log()
    except Misuse:
        raise
    except Wrong as wrong:
        raise Wrong(*wrong.lines, f"{KEPT.format(part_path)}") from None
    found: list[Piece] = []
    damaged = 0
    for number in sorted(part.files):
        of_it, passed_over = pieces(part.files[number])
        found += of_it
        damaged += passed_over
    if not found:
        part_path.unlink()
        raise Wrong(
            *part.unread, f"{line.port}: its flight log has no rows yet; they are written once a minute"
        )
    ordered = [*dict.fromkeys(piece.table for piece in reversed(found))]  # the newest first
    paths = {crc: path if crc == ordered[0] else path.with_stem(f"{path.stem}-{crc}") for crc in ordered}
    for each in paths.values():
        _is_free(each)
    written = []
    for crc, each in paths.items():
        table = tables.get(crc)
        if table is None:
            names = numbered(next(piece for piece in found if piece.table == crc))
            told = list(events(records, crc, [], []))
        else:
            names = names_of(table)
            told = list(events(records, crc, [*names.inputs], [*names.dimmers], alerts_of(table)))
        try:
            text = io.StringIO()
            rows = write_csv(text, box, crc, names, found, told, part.began)
            write_whole(each, text.getvalue())
        except Wrong as wrong:
            raise Wrong(*wrong.lines, f"{KEPT.format(part_path)}") from None
        written.append(Written(each, crc, rows, table is not None))
    part_path.unlink()
    return Fetched(tuple(written), damaged, sum(map(len, part.files.values())), tuple(part.unread))


def _tables(line: BoxLine) -> dict[str, Table]:
    """Those on the box, by CRC."""
    found = {}
    for older in (True, False):
        with contextlib.suppress(TableError, BoxSaysNo):
            table = Table(line.stored_table(older))
            found[f"{table.crc:08x}"] = table
    return found


def _is_free(path: Path) -> None:
    if path.exists():
        raise Misuse(f"{path}: is there already; name a new file")
