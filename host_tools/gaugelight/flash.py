"""Sends a built table to the box, has it verified, commits and starts it; and goes back to the one before."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import alerts, light
from gaugebox.measure import NO_INPUT
from gaugebox.store import SLOTS
from gaugebox.table import ON_CHIP, InputRecord, KnobRecord, Table, TableError
from gaugelight.box_line import BoxLine, Hello, packed
from gaugelight.build import Build
from gaugelight.curves import breakpoints, values
from gaugelight.problems import Wrong

START_WITHIN = 15.0  # seconds
# of an ADS1115, by its multiplexer code (SBAS444, table 8-3)
PLACES = ("0-1", "0-3", "1-3", "2-3", "0", "1", "2", "3")
if TYPE_CHECKING:
    from gaugebox.curve import Curve

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


def changes(old: Table | None, new: Table) -> list[str]:
    """What will be different on the face and of the lights, one line each."""
    if old is None:
        return [f"{record.name}: new, in {record.reading_unit}" for record in new.inputs] + [
            f"{name}: new"
            for name in [*(one.name for one in new.dimmers + new.derived), *_alerts(new), *_gauges(new)]
        ]
    lines = [] if old.name == new.name else [f'box: its name "{old.name}" to "{new.name}"']
    lines += _changes_of_records(
        {f"converter {chip.name}": chip for chip in old.chips},
        {f"converter {chip.name}": chip for chip in new.chips},
    )
    before = {record.name: record for record in old.inputs}
    after = {record.name: record for record in new.inputs}
    lines += [f"{name}: gone" for name in before if name not in after]
    for name, record in after.items():
        if name not in before:
            lines.append(f"{name}: new, in {record.reading_unit}")
        elif told := _changes_of_input(old, before[name], new, record):
            lines.append(f"{name}: {'; '.join(told)}")
    if [name for name in before if name in after] != [name for name in after if name in before]:
        lines.append("inputs: in another order")
    for was, is_now in (
        (_lights(old), _lights(new)),
        (
            {f"knob on GP{one.pin}": one for one in old.knobs},
            {f"knob on GP{one.pin}": one for one in new.knobs},
        ),
        ({one.name: one for one in old.switches}, {one.name: one for one in new.switches}),
        _single("daylight", old.daylight, new.daylight),
        _single("dim request", old.dim_request, new.dim_request),
        _single("in flight", old.in_flight, new.in_flight),
        _single("buttons", old.buttons, new.buttons),
        _single("reserve", old.reserve, new.reserve),
        (_derived(old), _derived(new)),
        _of_both(_marks(old), _marks(new)),
        (_alerts(old), _alerts(new)),
        (_gauges(old), _gauges(new)),
    ):
        lines += _changes_of_records(was, is_now)
    return lines


def _lights(table: Table) -> dict[str, object]:
    """By name, and what each follows by name, which in the records is a number."""
    inputs, dimmers = [one.name for one in table.inputs], [one.name for one in table.dimmers]
    knobs = [f"GP{one.pin}" for one in table.knobs]
    resolved: dict[str, object] = {}
    for record in table.dimmers:
        one = dict(vars(record))
        names = {light.INPUT: inputs, light.DIMMER: dimmers, light.KNOB: knobs}.get(record.source, [])
        one["index"] = names[record.index] if names else 0
        one["supply"] = "" if record.supply == light.NOTHING else inputs[record.supply]
        one["knob"] = "" if record.knob == light.NOTHING else knobs[record.knob]
        resolved[record.name] = SimpleNamespace(**one)
    return resolved


def _names(table: Table) -> list[str]:
    return [one.name for one in table.inputs] + [one.name for one in table.derived]


def _conditions(table: Table) -> list[str]:
    """In words, for their numbers say nothing."""
    names, switches = _names(table), [one.name for one in table.switches]
    said = []
    for one in table.conditions:
        name = switches[one.index] if one.way in (alerts.ON, alerts.OFF) else names[one.index]
        said.append(f"{name} {one.way} {one.value}")
    return said


def _derived(table: Table) -> dict[str, object]:
    names = _names(table)
    made: dict[str, object] = {}
    for one in table.derived:
        # by what a unit of each counts: a part that reaches further is told by its own line
        parts = tuple((names[index], _slope(curve)) for index, curve in one.parts)
        made[one.name] = SimpleNamespace(parts=parts, step=one.step, unit=one.reading_unit)
    return made


def _slope(curve: "Curve") -> float:
    x, y = curve[0], curve[1]
    return round((y[len(y) - 1] - y[0]) / (x[len(y) - 1] - x[0]), 4)


def _marks(table: Table) -> dict[str, object]:
    names, conditions = _names(table), [*_conditions(table)]
    made: dict[str, object] = {}
    for one in table.readouts:
        shown = dict(vars(one))
        shown["index"] = names[one.index]
        shown["only_when"] = "" if one.only_when == alerts.NO_CONDITION else conditions[one.only_when]
        made[f"face of {names[one.index]}"] = SimpleNamespace(**shown)
    return made


def _alerts(table: Table) -> dict[str, object]:
    conditions = _conditions(table)

    def said(number: int) -> str:
        return "" if number == alerts.NO_CONDITION else conditions[number]

    return {
        f"alert {one.words}": SimpleNamespace(
            urgency=one.urgency, after=said(one.after), until=said(one.until), lasts=one.lasts,
            when=tuple(said(number) for number in one.when),
        )
        for one in table.alerts
    }  # fmt: skip


def _gauges(table: Table) -> dict[str, object]:
    names, conditions = _names(table), _conditions(table)
    made: dict[str, object] = {}
    for one in table.gauges:
        told = dict(vars(one))
        told["index"], told["flies"] = names[one.index], conditions[one.flies]
        made[f"disagree of {names[one.index]}"] = SimpleNamespace(**told)
    return made


def _of_both(old: dict[str, object], new: dict[str, object]) -> tuple[dict[str, object], dict[str, object]]:
    """What is new or gone has a line already."""
    common = old.keys() & new.keys()
    return {name: one for name, one in old.items() if name in common}, {
        name: one for name, one in new.items() if name in common
    }


def _single(name: str, old: object, new: object) -> tuple[dict[str, object], dict[str, object]]:
    return {} if old is None else {name: old}, {} if new is None else {name: new}


def _changes_of_input(old_table: Table, old: InputRecord, new_table: Table, new: InputRecord) -> list[str]:
    told = []
    for what, was, is_now in (
        ("pin", _place(old_table, old), _place(new_table, new)),
        ("unit", old.reading_unit, new.reading_unit),
        ("signal", old.signal_unit, new.signal_unit),
        ("step", f"{old.step / 10**old.reading_decimals:g}", f"{new.step / 10**new.reading_decimals:g}"),
        ("rail", _named(old_table, old.rail), _named(new_table, new.rail)),
        ("cold junction", _named(old_table, old.cold), _named(new_table, new.cold)),
        (
            "from",
            f"{min(old.reading_curve[1]) / 10**old.reading_decimals:g}",
            f"{min(new.reading_curve[1]) / 10**new.reading_decimals:g}",
        ),
        (
            "up to",
            f"{max(old.reading_curve[1]) / 10**old.reading_decimals:g}",
            f"{max(new.reading_curve[1]) / 10**new.reading_decimals:g}",
        ),
        ("damping", f"{old.damping / 10:g} s", f"{new.damping / 10:g} s"),
        ("breakpoints", _breakpoints(old), _breakpoints(new)),
    ):
        if was != is_now:
            told.append(f"{what} {was} to {is_now}")
    if old.setting != new.setting:
        told.append("full_scale or oversample changed")
    if old.windows != new.windows or old.faults != new.faults:
        told.append("faults begin elsewhere")
    if old.reading_unit == new.reading_unit and (largest := _largest_change(old, new)):
        told.append(largest)
    return told


def _named(table: Table, number: int) -> str:
    return "none" if number == NO_INPUT else table.inputs[number].name


def _place(table: Table, record: InputRecord) -> str:
    if record.converter == ON_CHIP:
        return f"GP{record.channel}"
    return f"{table.chips[record.converter].name}.{PLACES[record.channel]}"


def _breakpoints(record: InputRecord) -> int:
    return breakpoints(record.signal_curve) + breakpoints(record.reading_curve)


def _largest_change(old: InputRecord, new: InputRecord) -> str:
    """Of the reading, over the counts that both take for a reading; nothing where it is below a tenth of a step."""
    low, high = max(old.windows[1], new.windows[1]), min(old.windows[2], new.windows[2])
    if low > high:
        return "nothing in common"
    was, is_now = (_readings(record)[low - record.windows[1] :][: high - low + 1] for record in (old, new))
    change = is_now - was
    worst = int(np.argmax(np.abs(change)))
    step = new.step / 10**new.reading_decimals
    if abs(change[worst]) < step / 10:
        return ""
    decimals = max(0, -math.floor(math.log10(step)))
    unit = new.reading_unit
    return (
        f"largest change {change[worst]:+.{decimals}f} {unit}, where it read {was[worst]:.{decimals}f} {unit}"
    )


def _readings(record: InputRecord) -> "np.ndarray[tuple[int, ...], np.dtype[np.float64]]":
    """At each count between its windows; of a thermocouple with its cold junction at nought."""
    low, high = record.windows[1], record.windows[2]
    first = record.signal_curve[0][0]
    signals = values(record.signal_curve)[low - first : high - first + 1]
    readings = values(record.reading_curve)[signals - record.reading_curve[0][0]]
    return np.asarray(readings / 10.0**record.reading_decimals)


# what a record's fields are called in the box file; the others have the same name there
KEYS = {
    "source": "follows", "index": "follows", "source_curve": "points", "play": "", "fixed": "level", "knob": "override",
    "supply": "compensate", "supply_curve": "compensate", "supply_play": "", "curve": "curve, floor or ceiling",
    "lowest": "ends", "highest": "ends", "input": "sensor", "edges": "marks", "colours": "marks", "ranks": "marks", "urgencies": "marks",
    "words": "marks", "low": "", "high": "", "flies": "while", "share_low": "share", "share_high": "share",
}  # fmt: skip


def _changes_of_records(old: Mapping[str, object], new: Mapping[str, object]) -> list[str]:
    """Of records taken by their names: which keys of the box file they come from."""
    lines = [f"{name}: gone" for name in old if name not in new]
    for name, one in new.items():
        if name not in old:
            lines.append(f"{name}: new")
            continue
        before = vars(old[name])
        keys_of = KEYS | {"curve": "travel"} if isinstance(one, KnobRecord) else KEYS
        changed = [keys_of.get(key, key) for key, value in vars(one).items() if value != before.get(key)]
        if keys := [key for key in dict.fromkeys(changed) if key]:
            lines.append(f"{name}: {', '.join(keys)} changed")
    return lines


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
