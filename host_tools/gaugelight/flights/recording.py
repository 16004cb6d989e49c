"""A recorded flight: the counts that `gaugelight live --log` and `gaugelight log` write, read back.

Both are CSV files whose first line says of which box and table they are, and whose second names the columns. What was cut off at the end of
a row (a cable pulled, a kill) is left out and counted; anything else that is wrong is named by file and line.
"""

import csv
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timezone
from itertools import islice
from pathlib import Path
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from gaugebox.measure import FAULTS, MOST_MS, SILENT
from gaugelight.problems import Misuse, Wrong

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Read = Callable[[int, int], None]  # bytes read, of so many

HEAD = re.compile(r"# gaugelight (live|log), box (.*), table ([0-9a-f]{8}|none)\s*$")
WRITERS = "`gaugelight live --log FILE.csv` and `gaugelight log` write one"
ROWS_AT_ONCE = 20_000
MOST_COUNT = 65535
BETWEEN_STARTS_MS = 1000  # put between two starts where nobody knows how long the box was off
NOT_KNOWN = -1  # in place of a switch's state
LONG_MS = 60_000
MOST_STARTS = 2**32 - 1
LONGEST_RUN_S = 10 * 366 * 86_400  # what is longer is damage
LATEST_YEAR = 2999


@dataclass(frozen=True)
class LoggedReading:
    """What the box itself said, where the log holds it: nan at a fault; faults as codes of `gaugebox.measure.FAULTS`."""

    unit: str
    readings: Floats
    faults: Ints


@dataclass(frozen=True)
class Recording:
    """times_ms   of each row, since the first; never falling
    counts     by input, SILENT where the converter was
    switches   by switch: 1 on, 0 off, NOT_KNOWN; empty where the log has none
    source     the file
    crc        of the table that ran, eight hexadecimal digits; None: without a table
    spans      rows from, and up to but not with, in which the box ran on: it has started anew between two, or nobody was listening
    up_ms      of each span, for how long the box had been up at its first row; where the log does not say, for long
    began      of the first row, by the clock of the first whose time is known
    undated    rows from, and up to but not with, of starts of which nobody knows when they were
    said       by readout, what the box said
    events     row, words
    notes      what a reader should know: rows cut off, gaps
    """

    times_ms: Ints
    counts: dict[str, Ints]
    switches: dict[str, Ints]
    source: str
    crc: str | None
    box: str = ""
    spans: tuple[tuple[int, int], ...] = ()
    up_ms: tuple[int, ...] = ()
    began: datetime | None = None
    undated: tuple[tuple[int, int], ...] = ()
    said: dict[str, LoggedReading] = field(default_factory=dict)
    events: tuple[tuple[int, str], ...] = ()
    notes: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.times_ms)

    @property
    def interval_ms(self) -> int:
        """Between two rows, usually."""
        steps = np.diff(self.times_ms)
        return max(1, int(np.median(steps))) if len(steps) else 100

    def seconds(self) -> Floats:
        return self.times_ms / 1000

    @property
    def first_moment(self) -> datetime | None:
        """When the first row was; None where nobody knows."""
        return self.at(0)

    def at(self, row: int) -> datetime | None:
        """When a row was; None where nobody knows."""
        if self.began is None or any(first <= row < end for first, end in self.undated):
            return None
        seconds = int(self.times_ms[row]) / 1000
        return datetime.fromtimestamp(self.began.timestamp() + seconds, timezone.utc)

    def moment(self, row: int) -> str:
        """As people say it: the time of day where it is known, else since the first row, with a + where others are times of day."""
        row = min(row, len(self) - 1)
        if (at := self.at(row)) is not None:
            return f"{at:%H:%M:%S}"
        ms = int(self.times_ms[row])
        sign = "" if self.began is None else "+"
        return f"{sign}{ms // 3_600_000}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}"


@dataclass
class _Columns:
    """Where in a row what stands."""

    names: list[str]
    time: int = -1
    start: int = -1
    seconds: int = -1
    event: int = -1
    counts: dict[str, int] = field(default_factory=dict)
    switches: dict[str, int] = field(default_factory=dict)
    said: dict[str, tuple[str, int, int]] = field(default_factory=dict)  # unit, reading, fault


def read_recording(path: Path, progress: Read = lambda done, of: None) -> Recording:
    """The flight in a log of either form. Raises Misuse where it cannot be read, Wrong with file and line where it is none."""
    try:
        size = path.stat().st_size
        with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
            return _Reading(
                path, file, lambda: progress(os.lseek(file.fileno(), 0, os.SEEK_CUR), size)
            ).recording()
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None


class _Reading:
    def __init__(self, path: Path, file: TextIO, tell: Callable[[], None]) -> None:
        self.path, self.tell = path, tell
        self.line = 0
        self.last_is_whole = _ends_with_newline(path)
        self.lines = file
        self.cut = 0

    def wrong(self, line: int, what: str) -> Wrong:
        return Wrong(f"{self.path}:{line}: {what}")

    def recording(self) -> Recording:
        first = self.lines.readline(1000)
        head = HEAD.match(first)
        if head is None:
            raise self.wrong(1, f"is no log of a box; {WRITERS}, and it begins with # gaugelight")
        reader = csv.reader(self.lines)
        try:
            where = self._columns(head[1], next(reader, []))
            parts = self._parts(reader, where)
        except csv.Error as problem:
            raise self.wrong(reader.line_num + 1, f"is no row of a log: {problem}") from None
        if not parts["times"] or not sum(map(len, parts["times"])):
            raise self.wrong(3, "there is no row of readings yet")
        return self._whole(head, where, parts)

    def _columns(self, kind: str, names: list[str]) -> _Columns:
        where = _Columns(names)
        if len(set(names)) != len(names):
            double = next(name for name in names if names.count(name) > 1)
            raise self.wrong(2, f'there are two columns "{double}"')
        for at, name in enumerate(names):
            if name.endswith(" count"):
                where.counts[name.removesuffix(" count")] = at
            elif name.endswith(" switch"):
                where.switches[name.removesuffix(" switch")] = at
            elif name.endswith(" fault") and kind == "live":
                subject = name.removesuffix(" fault")
                if not names[at - 1].startswith(subject + " "):
                    raise self.wrong(2, f'before "{name}" belongs the reading of {subject}')
                where.said[subject] = names[at - 1].removeprefix(subject + " "), at - 1, at
            elif name in ("time UTC", "start", "seconds", "event"):
                setattr(where, name.split()[0], at)
        needed = ("time UTC",) if kind == "live" else ("start", "seconds")
        for name in needed:
            if name not in names:
                raise self.wrong(2, f'the column "{name}" is missing')
        return where

    def _parts(self, reader: Any, where: _Columns) -> dict[str, list[Any]]:
        """All columns, in pieces of ROWS_AT_ONCE rows."""
        parts: dict[str, list[Any]] = {"times": [], "starts": [], "clocks": [], "events": []}
        line, rows_before = 3, 0
        while rows := list(islice(reader, ROWS_AT_ONCE)):
            self.tell()
            at_end = len(rows) < ROWS_AT_ONCE
            for k, row in enumerate(rows):
                if any("\n" in cell for cell in row):
                    raise self.wrong(
                        line + k, 'a quote (") that is not closed: the rows after it cannot be told'
                    )
            if at_end and not self.last_is_whole:
                self.cut += 1
                rows[-1] = []
            whole = [(line + k, row) for k, row in enumerate(rows) if len(row) == len(where.names)]
            if len(whole) < len(rows):
                for k, row in enumerate(rows):
                    if len(row) > len(where.names):
                        what = f"has {len(row)} columns, the head has {len(where.names)}"
                        raise self.wrong(line + k, what)
                    self.cut += 0 < len(row) < len(where.names)
            line += len(rows)
            if whole:
                self._take(whole, where, parts, rows_before)
                rows_before += len(whole)
        return parts

    def _take(
        self, rows: list[tuple[int, list[str]]], where: _Columns, parts: dict[str, list[Any]], before: int
    ) -> None:
        columns = list(zip(*[row for _, row in rows]))

        def read(at: int, one: Callable[[str], float], should: str, kind: Any = np.int64) -> Any:
            try:
                return np.array([one(word) for word in columns[at]], kind)
            except (ValueError, KeyError, OverflowError):
                for line, row in rows:
                    try:
                        one(row[at])
                    except (ValueError, KeyError, OverflowError):
                        what = f'{where.names[at]}: "{row[at][:40]}" is no {should}'
                        raise self.wrong(line, what) from None
                raise

        if where.start >= 0:
            parts["starts"].append(read(where.start, _start, "number of a start"))
            parts["clocks"].append(read(where.time, _moment, "time in UTC", np.float64) if where.time >= 0 else
                                   np.full(len(rows), np.nan))  # fmt: skip
            parts["times"].append(
                read(where.seconds, _since_start, "number of seconds since a start", np.float64)
            )
        else:
            parts["times"].append(read(where.time, _known_moment, "time in UTC", np.float64))
        for name, at in where.counts.items():
            parts.setdefault(f"count {name}", []).append(
                read(at, _count, f"count of a converter, 0 to {MOST_COUNT}, or empty while it was silent")
            )
        for name, at in where.switches.items():
            parts.setdefault(f"switch {name}", []).append(
                read(at, _SWITCHED.__getitem__, "switch: 1 on, 0 off")
            )
        for name, (_, at, fault_at) in where.said.items():
            parts.setdefault(f"reading {name}", []).append(
                read(at, lambda word: float(word) if word else np.nan, "reading", np.float64)
            )
            parts.setdefault(f"fault {name}", []).append(
                read(fault_at, _FAULT_CODES.__getitem__, "fault that the box names")
            )
        if where.event >= 0:
            parts["events"] += [
                (before + k, words) for k, words in enumerate(columns[where.event]) if words.strip()
            ]

    def _whole(self, head: re.Match[str], where: _Columns, parts: dict[str, list[Any]]) -> Recording:
        joined = {
            name: np.concatenate(pieces) for name, pieces in parts.items() if pieces and name != "events"
        }
        notes: list[str] = []
        undated: tuple[tuple[int, int], ...] = ()
        if self.cut:
            notes.append(f"{self.cut} {'row was' if self.cut == 1 else 'rows were'} cut off, and left out")
        if where.start >= 0:
            times, breaks, began = _by_starts(joined["starts"], joined["times"], joined["clocks"])
            undated = () if began is None else _undated(breaks, joined["clocks"])
            if undated:
                notes.append(
                    "when some of its starts were, nobody knows: a time with a + is since the first row, with a second between starts"
                )
            up_ms = joined["times"].astype(np.int64)
        else:
            times, breaks, began = _by_clock(joined["times"], notes)
            up_ms = np.full(len(times), LONG_MS)
        counts = {name: joined[f"count {name}"] for name in where.counts}
        said = {
            name: LoggedReading(unit, joined[f"reading {name}"], joined[f"fault {name}"])
            for name, (unit, _, _) in where.said.items()
        }
        for name, one in said.items():
            if name in counts:  # its count is then the last that came
                counts[name] = np.where(one.faults == _SILENT_FAULT, SILENT, counts[name])
        gaps = np.flatnonzero(np.diff(times) > MOST_MS) + 1
        edges = sorted({0, *breaks, *(int(gap) for gap in gaps), len(times)})
        recording = Recording(
            times_ms=times,
            counts=counts,
            switches={name: joined[f"switch {name}"] for name in where.switches},
            source=str(self.path),
            crc=None if head[3] == "none" else head[3],
            box=head[2],
            spans=tuple(zip(edges, edges[1:])),
            up_ms=tuple(int(up_ms[edge]) for edge in edges[:-1]),
            began=began,
            undated=undated,
            said=said,
            events=tuple(parts["events"]),
        )
        for row in edges[1:-1]:
            ms = int(times[row] - times[row - 1])
            what = "the box started anew" if row in breaks else f"nothing was recorded for {ms / 1000:.0f} s"
            notes.append(f"{recording.moment(row)}: {what}; all begins anew there")
        return replace(recording, notes=tuple(notes))


_SILENT_FAULT = FAULTS.index("converter")
_FAULT_CODES = {name or "": code for code, name in enumerate(FAULTS)}
_SWITCHED = {"1": 1, "0": 0, "": NOT_KNOWN}


def _count(word: str) -> int:
    count = int(word) if word else SILENT
    if not SILENT <= count <= MOST_COUNT or word[:1] == "-":
        raise ValueError(word)
    return count


def _start(word: str) -> int:
    start = int(word)
    if not 0 <= start <= MOST_STARTS:
        raise ValueError(word)
    return start


def _since_start(word: str) -> float:
    """Milliseconds."""
    seconds = float(word)
    if not 0 <= seconds <= LONGEST_RUN_S:  # nan neither
        raise ValueError(word)
    return seconds * 1000


def _known_moment(word: str) -> float:
    """Milliseconds since 1970."""
    at = datetime.fromisoformat(word)
    if not 1970 <= at.year <= LATEST_YEAR:
        raise ValueError(word)
    return (at if at.tzinfo is not None else at.replace(tzinfo=timezone.utc)).timestamp() * 1000


def _moment(word: str) -> float:
    return _known_moment(word) if word else np.nan


def _by_clock(clock: Floats, notes: list[str]) -> tuple[Ints, set[int], datetime]:
    """Times from a clock that may have been set back meanwhile: such a row comes as soon as rows usually do."""
    steps = np.diff(clock)
    usual = float(np.median(steps[steps > 0])) if np.any(steps > 0) else 100.0
    backwards = steps < 0
    if np.any(backwards):
        notes.append(f"the clock was set back {np.count_nonzero(backwards)} times")
    steps[backwards] = usual
    times = np.round(np.concatenate([[0.0], np.cumsum(steps)])).astype(np.int64)
    return times, set(), datetime.fromtimestamp(clock[0] / 1000, timezone.utc)


def _by_starts(starts: Ints, since: Floats, clock: Floats) -> tuple[Ints, set[int], datetime | None]:
    """Times from what the box counts since each of its starts."""
    steps = np.diff(since)
    breaks = np.flatnonzero((np.diff(starts) != 0) | (steps < 0)) + 1
    known = np.flatnonzero(~np.isnan(clock))
    for row in breaks.tolist():
        earlier = known[known < row]
        last = int(earlier[-1]) if len(earlier) else row - 1  # there may be starts of no known time between
        apart = clock[row] - clock[last] - float(steps[last : row - 1].sum())
        steps[row - 1] = apart if apart > 0 else BETWEEN_STARTS_MS
    times = np.round(np.concatenate([[0.0], np.cumsum(steps)])).astype(np.int64)
    began = None
    if len(known):
        first = int(known[0])
        began = datetime.fromtimestamp((clock[first] - times[first]) / 1000, timezone.utc)
    return times, {int(row) for row in breaks}, began


def _undated(breaks: set[int], clock: Floats) -> tuple[tuple[int, int], ...]:
    """Rows of the starts of which no row has a time."""
    edges = [0, *sorted(breaks), len(clock)]
    return tuple((first, end) for first, end in zip(edges, edges[1:]) if np.isnan(clock[first:end]).all())


def _ends_with_newline(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(0, 2)
        if not file.tell():
            return True
        file.seek(-1, 2)
        return file.read(1) == b"\n"


def joined(times_ms: Sequence[int], counts: dict[str, Sequence[int]], **more: Any) -> Recording:
    """A recording made by hand, in one piece: for trials and tests."""
    times = np.asarray(times_ms, np.int64)
    as_arrays = {name: np.asarray(some, np.int64) for name, some in counts.items()}
    more = {
        "switches": {},
        "source": "by hand",
        "crc": None,
        "spans": ((0, len(times)),),
        "up_ms": (LONG_MS,),
    } | more
    return Recording(times, as_arrays, **more)
