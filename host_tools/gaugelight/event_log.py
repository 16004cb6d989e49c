"""The box's event log in words."""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gaugebox import log
from gaugebox.measure import FAULTS
from gaugebox.alert_records import DerivedRecord
from gaugebox.table import InputRecord, Table
from gaugebox.watches import PHRASES

DOING = {
    log.AT_START: "starting",
    log.AT_INPUTS: "reading its on-chip inputs",
    log.AT_CONVERTERS: "reading its converters",
    log.AT_LIGHTS: "driving its lights",
    log.AT_LOG: "writing its log",
    log.AT_LINE: "answering its line, or waiting",
    log.AT_FACE: "drawing its face",
}


@dataclass(frozen=True)
class Event:
    """start: number of the start it belongs to. seconds: since then."""

    start: int
    seconds: int
    subject: str
    what: str


def started(before: int) -> str:
    """Why the box has started, from the code of what it did before."""
    if before == log.POWER:
        return "its supply came on"
    ended, doing = before & ~15, DOING.get(before & 15, "doing something unknown")
    if ended == log.ASKED:
        return "it was asked to"
    if ended == log.STOPPED:
        return "its program was stopped by hand"
    if ended == log.FAILED:
        return f"its program failed while {doing}"
    return f"WATCHDOG: it hung while {doing}"


@dataclass(frozen=True)
class Told:
    """What an alert is called in the log, and what it says by its code."""

    name: str
    words: tuple[str, ...]


def alerts_of(table: Table) -> list[Told]:
    """Of all but the faults of inputs, in the order of the log."""
    records: list[InputRecord | DerivedRecord] = [*table.inputs, *table.derived]
    made = [Told(records[one.index].name, tuple(one.words)) for one in table.readouts]
    made += [Told("alert", (one.words,)) for one in table.alerts]
    if table.reserve is not None:
        made.append(Told("reserve watch", tuple(phrase.decode() for phrase in PHRASES)))
    # by gaugebox.disagree's states
    made += [
        Told(records[one.index].name, ("", "", "reads too HIGH", "reads too LOW, or leaks"))
        for one in table.gauges
    ]
    return made


def events(
    content: bytes, crc: str, inputs: list[str], dimmers: list[str], alerts: Sequence[Told] = ()
) -> Iterator[Event]:
    """From records, oldest first. inputs, dimmers: their names, and alerts those of the table `crc`; those of other tables are counted
    from one."""
    named = False
    for start, subject, code, number in struct.iter_unpack(log.RECORD, content):
        if subject == log.START:
            named = f"{number:08x}" == crc
            table = f"table {number:08x}" if number else "no table"
            yield Event(start, 0, "box", f"started: {started(code)}; {table}")
        elif subject == log.NOTICE:
            what = "a table was passed over: damaged, or it does not start with it"
            if code == log.NO_FLIGHT_LOG:
                what = "the flight log could not be written: its disk is full or worn"
            yield Event(start, number, "box", what)
        elif subject == log.LOST:
            yield Event(start, number, "log", f"{code}{' or more' * (code == 255)} events found no room")
        elif subject >= log.TOLD:
            at = subject - log.TOLD
            one = alerts[at] if named and at < len(alerts) else Told(f"alert no. {at + 1}", ())
            words = one.words[code - 1] if 0 < code <= len(one.words) else f"code {code}"
            yield Event(start, number, one.name, f"{words} is told" if code else "is told no more")
        else:
            names, at, kind = (
                (inputs, subject, "input")
                if subject < log.DIMMERS
                else (dimmers, subject - log.DIMMERS, "light")
            )
            name = names[at] if named and at < len(names) else f"{kind} no. {at + 1}"
            fault = FAULTS[code] if code < len(FAULTS) else f"fault {code}"
            yield Event(start, number, name, fault or "well again")
