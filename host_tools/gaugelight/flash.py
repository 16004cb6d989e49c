"""Sends a built table to the box, has it verified, commits and starts it; and goes back to the one before."""

from collections.abc import Callable
from dataclasses import dataclass

from gaugebox.answers import JUMPER_OPEN
from gaugebox.light import SWITCH
from gaugebox.store import SLOTS
from gaugebox.table import Table, TableError
from gaugelight.box_line import BoxLine, Hello, packed
from gaugelight.build import Build
from gaugelight.changes import above_in_words
from gaugelight.problems import Wrong

START_WITHIN = 15.0  # seconds

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Flashed:
    slot: str
    before: Hello
    after: Hello


def stored(line: BoxLine, hello: Hello, older: bool = False) -> Table | None:
    """The table that the box runs, or the older one; None where it is in its safe mode, has none, or its slot is damaged by now.

    Raises Wrong.
    """
    if hello.slot not in SLOTS and not older:
        return None
    try:
        return Table(line.stored_table(older))
    except TableError:
        return None


def refusal(line: BoxLine, hello: Hello) -> str:
    """Why the box would not be written to, and what helps; nothing where it would. Raises Wrong."""
    if hello.state == "FLIGHT":
        return JUMPER_OPEN
    if not hello.in_flight:
        return ""
    table = stored(line, hello)
    if table is None or table.in_flight is None:
        return f"{hello.in_flight}; it must be off"
    if table.in_flight.source == SWITCH:
        return f"{hello.in_flight}; switch it off"
    what = f"it is written to at {above_in_words(table)} or below; stop what keeps it above: engine, alternator, charger"
    return f"{hello.in_flight}; {what}"


def flash(line: BoxLine, built: Build, progress: Progress, hello: Hello | None = None) -> Flashed:
    """Until the commit the box runs on with the table it had. Raises Wrong."""
    before = line.hello_same_version() if hello is None else hello
    crc = f"{built.crc32:08x}"
    first = 0 if before.safe_crc == f"{built.safe_crc32:08x}" else len(packed(built.safe))
    there = before.crc == crc and not before.waiting_crc
    total = first + (0 if there else len(packed(built.image)))
    if first:
        line.send_table(built.safe, lambda done, of: progress(done, total), safe=True)
    if there:
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
