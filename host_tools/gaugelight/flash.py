"""Sends a built table to the box, has it verified, commits and starts it."""

from collections.abc import Callable
from dataclasses import dataclass

from gaugebox.table import Table
from gaugelight.box_line import BoxLine, Described, Hello
from gaugelight.build import Build
from gaugelight.problems import Wrong

START_WITHIN = 15.0  # seconds


@dataclass(frozen=True)
class Flashed:
    slot: str
    before: Hello
    after: Hello
    changes: tuple[str, ...]


def described(built: Build) -> list[Described]:
    """What the box will say of its inputs once it runs this table."""
    return [
        Described(r.name, r.signal_unit, r.signal_decimals, r.reading_unit, r.reading_decimals, r.step)
        for r in Table(built.image).inputs
    ]


def changes(old: list[Described], new: list[Described]) -> tuple[str, ...]:
    """What a table changes, input by input, as far as the box's descriptions show it."""
    before = {one.name: one for one in old}
    after = {one.name: one for one in new}
    lines = [f"{name}: new, in {one.reading_unit}" for name, one in after.items() if name not in before]
    lines += [f"{name}: gone" for name in before if name not in after]
    for name, one in after.items():
        was = before.get(name, one)
        for what, old_value, new_value in (
            ("unit", was.reading_unit, one.reading_unit),
            ("signal", was.signal_unit, one.signal_unit),
            ("step", was.step / 10**was.reading_decimals, one.step / 10**one.reading_decimals),
        ):
            if old_value != new_value:
                lines.append(f"{name}: {what} {old_value} to {new_value}")
    return tuple(lines)


def flash(line: BoxLine, built: Build, progress: Callable[[int, int], None]) -> Flashed:
    """Until the commit the box runs on with the table it had. Raises Wrong."""
    before = line.hello_same_version()
    old = line.describe(before.inputs)
    crc = f"{built.crc32:08x}"
    if before.crc == crc:
        progress(len(built.image), len(built.image))
        return Flashed(before.slot, before, before, ())
    slot = line.send_table(built.image, progress)
    line.restart()
    after = line.wait_for_start(START_WITHIN)
    if after.crc != crc:
        raise Wrong(
            f"{line.port}: after its restart the box runs table {after.crc or 'none'}, not {crc}; {after.notice}"
        )
    return Flashed(slot, before, after, changes(old, described(built)))
