"""What a replay says in a few lines: each readout's range and marks, the alerts one after the other, and what differs between two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gaugelight.flights.recording import Ints, Recording
from gaugelight.flights.replay import Replay, Told, Trace

SAME_MS = 60_000  # two alerts of the same words that begin no further apart are one and the same, told by two tables


@dataclass(frozen=True)
class Span:
    """One readout over a flight, in its unit. fault_s: seconds at fault; zones_s: by the name of a mark, in the order in which it stood
    longest."""

    name: str
    unit: str
    least: float | None
    middle: float | None
    greatest: float | None
    fault_s: float
    zones_s: dict[str, float]


@dataclass(frozen=True)
class Difference:
    """The largest one between two tables' readings, other less one, and the row. faults_s: seconds for which they do not name the same
    fault."""

    by: float
    row: int
    faults_s: float


@dataclass(frozen=True)
class Beside:
    """An alert of one table, and the same of the other; None: it does not tell it."""

    one: Told | None
    other: Told | None

    @property
    def either(self) -> Told:
        told = self.one or self.other
        assert told is not None
        return told


def weights_ms(recording: Recording) -> Ints:
    """For how long each row stands."""
    times = recording.times_ms
    weights = np.diff(times, prepend=times[0] - recording.interval_ms)
    weights[[first for first, _ in recording.spans]] = recording.interval_ms
    return weights


def span_of(trace: Trace, recording: Recording) -> Span:
    weights = weights_ms(recording) / 1000
    good = trace.readings[trace.faults == 0]
    zones: dict[str, float] = {}
    if trace.zones is not None:
        for zone in np.unique(trace.zones).tolist():
            name = trace.zone_name(zone)
            zones[name] = zones.get(name, 0.0) + float(weights[trace.zones == zone].sum())
    ordered = dict(sorted(zones.items(), key=lambda item: -item[1]))
    ends = [float(one(good)) if len(good) else None for one in (np.min, np.median, np.max)]
    least, middle, greatest = ends
    fault_s = float(weights[trace.faults != 0].sum())
    return Span(trace.name, trace.unit, least, middle, greatest, fault_s, ordered)


def difference(one: Trace, other: Trace, recording: Recording) -> Difference | None:
    """None where their units are not the same."""
    if one.unit != other.unit:
        return None
    apart: NDArray[np.float64] = np.nan_to_num(other.readings - one.readings)
    row = int(np.argmax(np.abs(apart)))
    weights = weights_ms(recording) / 1000
    return Difference(float(apart[row]), row, float(weights[one.faults != other.faults].sum()))


def beside(one: Sequence[Told], other: Sequence[Told], recording: Recording) -> list[Beside]:
    """Alerts of two tables in the order in which they came; those of the same words that overlap, or begin at nearly the same time, are one."""
    left = list(other)
    found = []
    for told in one:
        same = [
            candidate
            for candidate in left
            if candidate.words == told.words and _near(told, candidate, recording.times_ms)
        ]
        match = min(same, key=lambda candidate: abs(candidate.began - told.began), default=None)
        if match is not None:
            left.remove(match)
        found.append(Beside(told, match))
    found += [Beside(None, told) for told in left]
    return sorted(
        found, key=lambda pair: min(told.began for told in (pair.one, pair.other) if told is not None)
    )


def _near(one: Told, other: Told, times: Ints) -> bool:
    last = len(times)
    overlap = max(one.began, other.began) < min(_end(one, last), _end(other, last))
    return overlap or abs(int(times[one.began]) - int(times[other.began])) <= SAME_MS


def _end(told: Told, last: int) -> int:
    return last if told.ended is None else told.ended


def in_words(pair: Beside, recording: Recording, labels: tuple[str, str]) -> str:
    """What differs; nothing where nothing does by more than a row."""
    if pair.one is None or pair.other is None:
        return f"only {labels[0] if pair.other is None else labels[1]}"
    said = []
    for what, a, b in (
        ("begins", pair.one.began, pair.other.began),
        ("ends", pair.one.ended, pair.other.ended),
    ):
        if a is None or b is None:
            if a != b:
                said.append(f"{what} {'in ' + labels[0] if b is None else 'in ' + labels[1]} only")
        elif abs(a - b) > 1:
            seconds = (int(recording.times_ms[b]) - int(recording.times_ms[a])) / 1000
            said.append(f"{what} {abs(seconds):.1f} s {'later' if seconds > 0 else 'sooner'}")
    return ", ".join(said)


@dataclass(frozen=True)
class Agreement:
    """Of a replay with the inputs' readings that the log holds: those that are the same to the digit, those that lie between the replay's own of a
    row before and a row after, and all; the worst of the rest, and where."""

    same: int
    near: int
    all: int
    worst: tuple[str, int] | None


def agreement(replay: Replay, recording: Recording) -> Agreement | None:
    """None where the log holds no readings. A log has one count of the several that the box takes between two rows: so what moves may be
    a row off."""
    same = near = every = 0
    worst: tuple[float, str, int] | None = None
    for trace in replay.traces:
        said = recording.said.get(trace.name)
        if said is None or said.unit != trace.unit or trace.name not in recording.counts:
            continue
        faults_same = said.faults == trace.faults
        units = np.round(np.nan_to_num(said.readings) * 10.0**trace.decimals).astype(np.int64)
        equal = faults_same & ((trace.faults != 0) | (units == trace.units))
        least, most = _neighbours(trace)
        between = (said.faults == 0) & (units >= least) & (units <= most)
        fault_near = (said.faults == np.roll(trace.faults, 1)) | (said.faults == np.roll(trace.faults, -1))
        close = equal | between | (said.faults != 0) & fault_near
        same += int(equal.sum())
        near += int(close.sum())
        every += len(equal)
        off = np.where(close, 0.0, np.abs(units - trace.units) / (trace.step * 10.0**trace.decimals))
        row = int(np.argmax(off))
        if off[row] > 0 and (worst is None or off[row] > worst[0]):
            worst = float(off[row]), trace.name, row
    return Agreement(same, near, every, None if worst is None else worst[1:]) if every else None


def _neighbours(trace: Trace) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Least and most of the readings in the row before, the row itself, and the row after."""
    padded = np.concatenate([trace.units[:1], trace.units, trace.units[-1:]])
    three = np.stack([padded[:-2], padded[1:-1], padded[2:]])
    return three.min(axis=0), three.max(axis=0)


def clock(seconds: float) -> str:
    whole = round(seconds)
    if seconds < 60:
        return f"{seconds:.1f} s"
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"


def zones_told(span: Span) -> str:
    return ", ".join(f"{name} {clock(seconds)}" for name, seconds in span.zones_s.items() if seconds)
