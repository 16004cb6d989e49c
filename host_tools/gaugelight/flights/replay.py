"""A recorded flight through the box's own code: what its face would have said, with this table or another.

Nothing of the box is written anew here: `gaugebox.app.App` is put together as on the board, on pins that do nothing. Each row's counts go
through its channels, and then its loop judges for as many ticks as have passed.
"""

from __future__ import annotations

import multiprocessing
import signal
from array import array
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gaugebox.measure import CLOCK_MASK, FAULT, READING, SILENT
from gaugebox.readouts import NOWHERE
from gaugebox.table import Table
from gaugelight.application import application
from gaugelight.flights.recording import Ints, Recording

if TYPE_CHECKING:
    from gaugebox.alert_records import DerivedRecord, ReadoutRecord
    from gaugebox.app import App
    from gaugebox.table import InputRecord

Progress = Callable[[int, int], None]  # rows, of so many
Report = Callable[[int], None]

TICK_MS = 20
# of rows as far apart as this the box has seen each three times, which is what its spike filter waits for: a row is then held for so long
HELD_MS = 240
ROWS_A_REPORT = 5000
ROWS_AT_ONCE = 10_000


@dataclass(frozen=True)
class Trace:
    """One readout over the flight: an input, or one derived from several.

    units   readings in units of 10**-decimals; they mean nothing where there is a fault
    faults  codes of `gaugebox.measure.FAULTS`
    zones   where it is judged to stand among its marks, NOWHERE where it is not; None where it has none
    """

    name: str
    unit: str
    decimals: int
    step: float
    units: NDArray[np.int32]
    faults: NDArray[np.uint8]
    record: ReadoutRecord | None = None
    zones: NDArray[np.int8] | None = None

    @cached_property
    def readings(self) -> NDArray[np.float64]:
        """In its unit; nan at a fault."""
        return np.where(self.faults == 0, self.units / 10.0**self.decimals, np.nan)

    def zone_name(self, zone: int) -> str:
        """Its colour and its words."""
        if self.record is None or zone == NOWHERE:
            return "not judged"
        words = (
            COLOURS[self.record.colours[zone]],
            self.record.words[zone] if self.record.ranks[zone] else "",
        )
        return " ".join(filter(None, words)) or "unmarked"


COLOURS = ("", "green", "yellow", "red")


@dataclass(frozen=True)
class Told:
    """An alert from a row to another; ended: None where it still stood at the last row."""

    words: str
    urgency: int
    began: int
    ended: int | None


@dataclass(frozen=True)
class Replay:
    """What one table makes of a recording."""

    label: str
    image: bytes
    traces: tuple[Trace, ...]
    told: tuple[Told, ...]

    def trace(self, name: str) -> Trace | None:
        return next((one for one in self.traces if one.name == name), None)

    @cached_property
    def table(self) -> Table:
        return Table(self.image)

    @property
    def crc(self) -> str:
        return f"{self.table.crc:08x}"


@dataclass(frozen=True)
class Job:
    """A table to try. held: a count for an input that the log does not have; on: switches that it does not have and that are on;
    undamped: without the damping that its inputs have."""

    label: str
    image: bytes
    held: Mapping[str, int] = field(default_factory=dict)
    on: frozenset[str] = frozenset()
    undamped: bool = False

    def table(self) -> Table:
        """A new one: a box that runs it keeps it for itself."""
        table = Table(self.image)
        if self.undamped:
            for record in table.inputs:
                record.damping = 0
        return table


class _Nothing:
    """A board, its pins, its store and its logs: takes whatever is done to it."""

    before = start = 0
    i2c = None
    slot = "slot_a"
    notice = ""
    distrusted = False

    def __init__(self, table: Table) -> None:
        self.table = table

    def converter(self, pin: int) -> _Nothing:
        return self

    def discrete(self, pin: int, level: int) -> _Nothing:
        return self

    def switch(self, pin: int, on: int) -> _Nothing:
        return self

    def lamp(self, pin: int, frequency: int) -> _Nothing:
        return self

    def duty_u16(self, duty: int) -> None:
        pass

    def remember(self, on: int, armed: int, key: int) -> None:
        pass

    def remembered(self, key: int) -> tuple[int, int]:
        return 0, 0

    def add(self, subject: int, code: int, number: int) -> bool:
        return True

    def wire(self, *columns: int) -> None:
        pass

    def now(self) -> int:
        return 0

    def service(self) -> bool:
        return False

    def close_line(self) -> None:
        pass


def box_of(table: Table) -> App:
    """The box's own loop with that table, on a board that does nothing."""
    table.face = None  # it is not drawn
    board: Any = _Nothing(table)
    return application()(board, board, board, board)


def replay(job: Job, recording: Recording, progress: Progress = lambda done, of: None) -> Replay:
    """What the box would have said with that table. An input that the log has not and that is not held is silent; of a switch that it
    has not nothing is known but what `job.on` says, and it is off.

    A row stands for the time since the one before, a fiftieth of a second at a time; the channels take its counts once, or, where rows are
    HELD_MS apart or more, as often as their spike filter needs. Where the recording begins anew the box does.
    """
    table = job.table()
    rows = len(recording)
    shown: list[InputRecord | DerivedRecord] = [*table.inputs, *table.derived]
    kept = _Kept(
        [array("i") for _ in shown], [bytearray() for _ in shown], [array("b") for _ in table.readouts]
    )
    columns = _columns(table, recording, job)
    for (first, end), up_ms in zip(recording.spans, recording.up_ms, strict=True):
        run = _Run(box_of(job.table()), kept, up_ms)
        run.over(recording, first, end, columns, lambda row: progress(row, rows))
    marked = {record.index: number for number, record in enumerate(table.readouts)}
    traces = []
    for index, record in enumerate(shown):
        number = marked.get(index)
        traces.append(
            Trace(
                record.name,
                record.reading_unit,
                record.reading_decimals,
                record.step / 10**record.reading_decimals,
                np.frombuffer(kept.readings[index], np.int32),
                np.frombuffer(kept.faults[index], np.uint8),
                None if number is None else table.readouts[number],
                None if number is None else np.frombuffer(kept.zones[number], np.int8),
            )
        )
    progress(rows, rows)
    return Replay(job.label, job.image, tuple(traces), tuple(sorted(kept.told, key=lambda told: told.began)))


class _Run:
    """A piece of a recording in which the box ran on, and all that is kept of it."""

    def __init__(self, app: App, kept: _Kept, up_ms: int) -> None:
        self.app, self.kept, self.up_ms = app, kept, up_ms
        channels = app.channels
        rails = {channel.record.rail for channel in channels}
        # rails first, as the box steps them
        self.order = sorted(range(len(channels)), key=lambda i: (i not in rails, -i))
        self.steps = [channels[i].step for i in self.order]
        self.open: dict[int, tuple[Any, Told]] = {}  # alerts that stand

    def over(self, recording: Recording, first: int, end: int, columns: Columns, report: Report) -> None:
        app, kept, steps = self.app, self.kept, self.steps
        times = recording.times_ms[first:end]
        elapsed = np.diff(times, prepend=times[0] - recording.interval_ms)
        counts = columns.counts[first:end, self.order]
        again = self._again(elapsed, counts)
        turned = columns.turned(first, end)
        switches: Any = [] if app.lighting is None else app.lighting.switches
        saids = [
            (channel.said, kept.readings[i].append, kept.faults[i].append)
            for i, channel in enumerate(app.shown)
        ]
        stands = [(readout, kept.zones[i].append) for i, readout in enumerate(app.readouts)]
        clock, judge, alerts = app.clock, app._judge, app.alerts
        changed = rest = 0
        up_ms = self.up_ms - int(elapsed[0])
        for row, (ms, now) in enumerate(_rows(elapsed, counts)):
            if row in turned:
                for number, level in turned[row]:
                    switches[number].level = level
            if row in again:
                for place in again[row] * 2:
                    steps[place](now[place])
            clock[0] = clock[0] + ms & CLOCK_MASK
            for step, count in zip(steps, now):
                step(count)
            up_ms += ms
            app.seconds = up_ms // 1000
            rest += ms
            while rest >= TICK_MS:
                rest -= TICK_MS
                judge(TICK_MS)
            for said, reads, fails in saids:
                reads(said[READING])
                fails(said[FAULT])
            for readout, stands_in in stands:
                stands_in(readout.zone)
            if alerts.changed != changed:
                changed = alerts.changed
                self._tell(first + row)
            if not row % ROWS_A_REPORT:
                report(first + row)
        last = None if end == len(recording) else end
        kept.told += [replace(one, ended=last) for _, one in self.open.values()]

    def _again(self, elapsed: Ints, counts: Ints) -> dict[int, list[int]]:
        """At which rows which channels are stepped twice more: all where rows are far apart, and those that were silent before: they
        have been sampled since as often as it takes."""
        back = np.zeros(counts.shape, bool)
        back[1:] = (counts[1:] >= 0) & (counts[:-1] < 0)
        back[elapsed >= HELD_MS] = True
        back[0] = True
        return {int(row): np.flatnonzero(back[row]).tolist() for row in np.flatnonzero(back.any(axis=1))}

    def _tell(self, row: int) -> None:
        """What has come, gone or changed."""
        alerts = self.app.alerts
        gauges = len(alerts.all) - len(self.app.gauges)
        for number, alert in enumerate(alerts.all):
            # what a gauge is off by grows while it lasts
            is_told = (
                (alert.urgency, alert.side, alert.what if number < gauges else 0) if alert.urgency else None
            )
            before, one = self.open.get(number, (None, None))
            if one is not None and before != is_told:
                self.kept.told.append(replace(one, ended=row))
                del self.open[number]
            if is_told is not None:
                began = one.began if one is not None and before == is_told else row
                self.open[number] = is_told, Told(alerts.words(number), alert.urgency, began, None)


@dataclass
class _Kept:
    """Of each input and derived readout readings and faults, of each that is marked its zones; alerts."""

    readings: list[array[int]]
    faults: list[bytearray]
    zones: list[array[int]]
    told: list[Told] = field(default_factory=list)


@dataclass(frozen=True)
class Columns:
    """Counts, a column an input of the table; switches that the log knows, by their number."""

    counts: Ints
    switches: dict[int, Ints]
    on: tuple[int, ...]

    def turned(self, first: int, end: int) -> dict[int, list[tuple[int, int]]]:
        """At which rows which switches change, and to what."""
        found: dict[int, list[tuple[int, int]]] = {0: [(number, 1) for number in self.on]}
        for number, states in self.switches.items():
            states = np.maximum(states[first:end], 0)  # what nobody knows is off
            changes = np.flatnonzero(np.diff(states, prepend=-1))
            for row in changes.tolist():
                found.setdefault(row, []).append((number, int(states[row])))
        return found


def _columns(table: Table, recording: Recording, job: Job) -> Columns:
    rows = len(recording)
    silent = np.full(rows, SILENT, np.int64)
    counts = np.empty((rows, len(table.inputs)), np.int64)
    for i, record in enumerate(table.inputs):
        held = job.held.get(record.name)
        counts[:, i] = recording.counts.get(record.name, silent) if held is None else held
    switches = {
        number: recording.switches[one.name]
        for number, one in enumerate(table.switches)
        if one.name in recording.switches and one.name not in job.on
    }
    on = tuple(number for number, one in enumerate(table.switches) if one.name in job.on)
    return Columns(counts, switches, on)


def _rows(elapsed: Ints, counts: Ints) -> Iterator[tuple[int, list[int]]]:
    """A piece at a time: as Python's integers all of them take ten times the room."""
    for at in range(0, len(elapsed), ROWS_AT_ONCE):
        piece = slice(at, at + ROWS_AT_ONCE)
        yield from zip(elapsed[piece].tolist(), counts[piece].tolist())


def replay_both(
    one: Job, other: Job, recording: Recording, progress: Progress = lambda done, of: None
) -> tuple[Replay, Replay]:
    """Two tables at once, the other in a process of its own."""
    with multiprocessing.Pool(1, _minds_its_parent) as pool:  # at whose end it is stopped, also by Ctrl-C
        later = pool.apply_async(replay, (other, recording))
        return replay(one, recording, progress), later.get()


def _minds_its_parent() -> None:
    """Who has Ctrl-C, and ends it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
