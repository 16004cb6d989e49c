"""Sends a built table to the box, has it verified, commits and starts it; and goes back to the one before."""

import struct
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gaugebox.answers import JUMPER_OPEN
from gaugebox.store import SLOTS
from gaugebox.table import InputRecord, Table, TableError
from gaugelight.box_line import BoxLine, Hello, packed
from gaugelight.build import Build
from gaugelight.curves import breakpoints, values
from gaugelight.problems import Wrong

START_WITHIN = 15.0  # seconds
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Flashed:
    slot: str
    before: Hello
    after: Hello


def must_be_writable(port: str, hello: Hello) -> None:
    """What the box would say to the first request that writes. Raises Wrong."""
    if hello.state == "FLIGHT":
        raise Wrong(f"{port}: the box refused: {JUMPER_OPEN}")
    if hello.in_flight:
        raise Wrong(f"{port}: the box refused: {hello.in_flight}")


def running(line: BoxLine, hello: Hello) -> Table | None:
    """The table that the box runs; None where it is in its safe mode, or has none. Raises Wrong."""
    if hello.slot not in SLOTS:
        return None
    try:
        return Table(line.running_table())
    except TableError as problem:
        raise Wrong(f"{line.port}: the table that the box runs came damaged: {problem}; try again") from None


def changes(old: Table | None, new: Table) -> list[str]:
    """What will be different on the face and of the lights, one line each."""
    if old is None:
        return [f"{record.name}: new, in {record.reading_unit}" for record in new.inputs] + [
            f"{record.name}: new" for record in new.dimmers
        ]
    lines = []
    before = {record.name: record for record in old.inputs}
    after = {record.name: record for record in new.inputs}
    for name in before.keys() - after.keys():
        lines.append(f"{name}: gone")
    for name, record in after.items():
        if name not in before:
            lines.append(f"{name}: new, in {record.reading_unit}")
        elif told := _changes_of_input(before[name], record):
            lines.append(f"{name}: {'; '.join(told)}")
    for what, were, are in (
        ("lights", old.dimmers, new.dimmers),
        ("knobs", old.knobs, new.knobs),
        ("switches", old.switches, new.switches),
    ):
        lines += _changes_by_name(what, [vars(one) for one in were], [vars(one) for one in are])
    for what, was, is_now in (
        ("daylight", old.daylight, new.daylight),
        ("dim request", old.dim_request, new.dim_request),
        ("in flight", old.in_flight, new.in_flight),
    ):
        lines += _changes_by_name(
            what, [vars(was)] if was is not None else [], [vars(is_now)] if is_now is not None else []
        )
    return lines


def _changes_of_input(old: InputRecord, new: InputRecord) -> list[str]:
    told = []
    for what, was, is_now in (
        ("unit", old.reading_unit, new.reading_unit),
        ("signal", old.signal_unit, new.signal_unit),
        ("step", old.step / 10**old.reading_decimals, new.step / 10**new.reading_decimals),
        ("damping", f"{old.damping / 10:g} s", f"{new.damping / 10:g} s"),
        ("breakpoints", _breakpoints(old), _breakpoints(new)),
    ):
        if was != is_now:
            told.append(f"{what} {was} to {is_now}")
    if (old.converter, old.channel, old.setting, old.rail) != (
        new.converter,
        new.channel,
        new.setting,
        new.rail,
    ):
        told.append("measured elsewhere, or otherwise")
    if old.windows != new.windows or old.faults != new.faults:
        told.append("faults begin elsewhere")
    if old.reading_unit == new.reading_unit and (largest := _largest_change(old, new)):
        told.append(largest)
    return told


def _breakpoints(record: InputRecord) -> int:
    return breakpoints(record.signal_curve) + breakpoints(record.reading_curve)


def _largest_change(old: InputRecord, new: InputRecord) -> str:
    """Of the reading, over the counts that both take for a reading; nothing where it is below a tenth of a step."""
    low, high = max(old.windows[1], new.windows[1]), min(old.windows[2], new.windows[2])
    if low > high:
        return "nothing in common"
    was, is_now = (_readings(record)[low - record.windows[1] :][: high - low + 1] for record in (old, new))
    change = np.abs(is_now - was)
    worst = int(np.argmax(change))
    if change[worst] < new.step / 10**new.reading_decimals / 10:
        return ""
    return f"largest change {change[worst]:.2g} {new.reading_unit}, at {was[worst]:.3g}"


def _readings(record: InputRecord) -> "np.ndarray[tuple[int, ...], np.dtype[np.float64]]":
    """At each count between its windows; of a thermocouple with its cold junction at nought."""
    low, high = record.windows[1], record.windows[2]
    first = record.signal_curve[0][0]
    signals = values(record.signal_curve)[low - first : high - first + 1]
    return np.asarray(
        values(record.reading_curve)[signals - record.reading_curve[0][0]] / 10.0**record.reading_decimals
    )


def _changes_by_name(what: str, old: list[dict[str, object]], new: list[dict[str, object]]) -> list[str]:
    """Of records that are taken by their names, where they have any, else by their pins."""

    def by_name(records: list[dict[str, object]]) -> dict[object, dict[str, object]]:
        return {
            one.get("name") or (f"knob on GP{one['pin']}" if what == "knobs" else what): one
            for one in records
        }

    before, after = by_name(old), by_name(new)
    lines = [f"{name}: gone" for name in before.keys() - after.keys()]
    for name, one in after.items():
        if name not in before:
            lines.append(f"{name}: new")
            continue
        changed = [key.replace("_", " ") for key in one if one[key] != before[name].get(key)]
        if changed:
            lines.append(f"{name}: {', '.join(changed)} changed")
    return lines


def flash(line: BoxLine, built: Build, progress: Progress, hello: Hello | None = None) -> Flashed:
    """Until the commit the box runs on with the table it had. Raises Wrong."""
    before = line.hello_same_version() if hello is None else hello
    crc, safe_crc = _crc(built.image), _crc(built.safe)
    first = 0 if safe_crc == before.safe_crc else len(packed(built.safe))
    total = first + (0 if before.crc == crc else len(packed(built.image)))
    if first:
        line.send_table(built.safe, lambda done, of: progress(done, total), safe=True)
    if before.crc == crc:
        progress(1, 1)
        return Flashed(before.slot, before, before)
    slot = line.send_table(built.image, lambda done, of: progress(first + done, total))
    return Flashed(slot, before, _restarted(line, crc))


def revert(line: BoxLine, hello: Hello) -> Flashed:
    """Back to the table in the older slot. Raises Wrong."""
    if not hello.older_crc:
        raise Wrong(f"{line.port}: there is no other table on the box to go back to")
    slot = line.revert(hello.older_crc)
    return Flashed(slot, hello, _restarted(line, hello.older_crc))


def _restarted(line: BoxLine, crc: str) -> Hello:
    line.restart()
    after = line.wait_for_start(START_WITHIN)
    if after.crc != crc:
        raise Wrong(
            f"{line.port}: after its restart the box runs table {after.crc or 'none'}, not {crc}; {after.notice}"
        )
    return after


def _crc(image: bytes) -> str:
    return f"{struct.unpack('<I', image[-4:])[0]:08x}"
