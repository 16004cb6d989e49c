"""What will be different with another table: both are put in words, thing by thing, and the words are compared.

Everything that is told goes through `in_words`; so what has its words there cannot change in silence. Numbers stand there whole, as the
table has them, not rounded to what is shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import alert_records, alerts, light
from gaugebox import readouts as marked
from gaugebox import table as tables
from gaugebox.ads1115 import RATES
from gaugebox.measure import NO_INPUT
from gaugebox.table import ON_CHIP, InputRecord, Table
from gaugelight.boxfile import bare
from gaugelight.circuits import Floats
from gaugelight.curves import breakpoints, values
from gaugelight.fuel_watch import FEEDS
from gaugelight.light_tables import TICKS_A_SECOND, URGENCIES

if TYPE_CHECKING:
    from gaugebox.alert_records import (
        AlertRecord,
        DerivedRecord,
        DisagreeRecord,
        ReadoutRecord,
        ReserveRecord,
    )
    from gaugebox.curve import Curve
    from gaugebox.table import DimmerRecord

# of an ADS1115, by its multiplexer code (SBAS444, table 8-3)
PLACES = ("0-1", "0-3", "1-3", "2-3", "0", "1", "2", "3")
WAYS = {
    alerts.ABOVE: "above",
    alerts.BELOW: "below",
    alerts.FAULTY: "at fault",
    alerts.ON: "on",
    alerts.OFF: "off",
}
COLOURS = {marked.UNMARKED: "", marked.GREEN: "green", marked.YELLOW: "yellow", marked.RED: "red"}
URGENCY_WORDS = {0: "nothing"} | {code: word for word, code in URGENCIES.items()}
PAGES = {
    alert_records.OVERVIEW_PAGE: "overview",
    alert_records.ALERTS_PAGE: "alerts",
    alert_records.RESERVE_PAGE: "reserve",
}
FEEDS_WORDS = {code: word for word, code in FEEDS.items()}
INPUT, READOUT, DERIVED = "input", "readout", "derived"  # kinds of things that are more than their words
PLAIN = ("box", "converter", "knob", "switch", READOUT)  # in a first table nobody looks for them


@dataclass(frozen=True)
class Says:
    """One thing said: words, and the unit that is not said twice. silent: what is too long for words, of which only a change is told.
    only_with: it is compared where both tables have the same there."""

    words: str = ""
    unit: str = ""
    silent: object = None
    only_with: object = None

    @property
    def text(self) -> str:
        return f"{self.words} {self.unit}".strip()


Words = dict[str, Says]
Key = tuple[str, str, int]  # kind, name, which one of that name


def changes(old: Table | None, new: Table) -> list[str]:
    """What will be different of readings, marks, alerts, needles, pages and lights, one line each."""
    after = in_words(new)
    if old is None:
        return [
            f"{name}: {_new(kind, words)}" for (kind, name, _), words in after.items() if kind not in PLAIN
        ]
    before = in_words(old)
    lines = []
    for key in [*(key for key in before if key not in after), *after]:
        kind, name, _ = key
        if kind == READOUT and not (_reads(before, name) and _reads(after, name)):
            continue  # what is new or gone altogether has its line
        if key not in after:
            lines.append(f"{name}: {'taken off the face' if kind == READOUT else 'gone'}")
        elif key not in before:
            lines.append(f"{name}: {_new(kind, after[key])}")
        elif told := [*differences(before[key], after[key]), *_in_numbers(kind, name, old, new)]:
            lines.append(f"{name}: {'; '.join(told)}")
    for kind, what in ((INPUT, "inputs"), (READOUT, "the face")):
        names = [
            [key for key in one if key[0] == kind and key in other]
            for one, other in ((before, after), (after, before))
        ]
        if names[0] != names[1]:
            lines.append(f"{what}: in another order")
    return lines


def _reads(words: dict[Key, Words], name: str) -> bool:
    return (INPUT, name, 0) in words or (DERIVED, name, 0) in words


def _new(kind: str, words: Words) -> str:
    if kind == READOUT:
        return "put on the face"
    return f"new, in {words['unit'].words}" if kind == INPUT else "new"


def differences(old: Words, new: Words) -> list[str]:
    """Of one thing: from what to what."""
    told = []
    for what in [*(what for what in old if what not in new), *new]:
        was, now = old.get(what), new.get(what)
        if was == now:
            continue
        if was is None or now is None:
            there = was or now
            assert there is not None
            if there.only_with is None and there.silent is None:
                told.append(f"{what} {there.text}".strip() + (" gone" if now is None else " new"))
        elif was.only_with != now.only_with:
            continue
        elif was.silent != now.silent:
            told.append(what)
        elif was.unit == now.unit:
            told.append(f"{what} {was.words} to {now.text}")
        else:
            told.append(f"{what} {was.text} to {now.text}")
    return told


# -- a table in words


def in_words(table: Table) -> dict[Key, Words]:
    """By kind and name."""
    made: dict[Key, Words] = {}
    for kind, name, words in _things(table):
        count = sum(1 for key in made if key[:2] == (kind, name))
        made[kind, name, count] = words
    return made


def _things(table: Table) -> Iterator[tuple[str, str, Words]]:
    """Each with its kind and name."""
    conditions = [_condition(table, number) for number in range(len(table.conditions))]
    switches = [one.name for one in table.switches]

    def condition(number: int) -> Says:
        return Says("nothing" if number == alerts.NO_CONDITION else f'"{conditions[number]}"')

    def switch(number: int) -> Says:
        return Says("nothing" if number == alert_records.NO_SWITCH else f'"{switches[number]}"')

    yield "box", "box", {"its name": Says(f'"{table.name}"')}
    for chip in table.chips:
        yield "converter", f"converter {chip.name}", {
            "address": Says(f"0x{chip.address:02x}"),
            "rate": Says(str(RATES[chip.rate]), "Hz"),
            "mode": Says("continuous" if chip.continuous else "single"),
        }
    for record in table.inputs:
        yield INPUT, record.name, _input(table, record)
    for dimmer in table.dimmers:
        yield "light", dimmer.name, _dimmer(table, dimmer)
    for knob in table.knobs:
        yield "knob", f"knob on GP{knob.pin}", {
            "ends changed": Says(silent=(knob.lowest, knob.highest)),
            "travel changed": Says(silent=_points(knob.curve)),
        }
    for one in table.switches:
        yield "switch", one.name, {"pin": Says(f"GP{one.pin}"), "on": Says("high" if one.on else "low")}
    yield from _dimming(table)
    if table.buttons is not None:
        pressed = table.buttons
        yield "buttons", "buttons", {
            "acknowledge": switch(pressed.acknowledge),
            "test": switch(pressed.test),
            "page": switch(pressed.page),
        }
    if table.reserve is not None:
        words = _reserve(table, table.reserve)
        yield "reserve", "reserve", words | {
            "pump": switch(table.reserve.pump),
            "filled": switch(table.reserve.filled),
        }
    for derived in table.derived:
        yield DERIVED, derived.name, _derived(table, derived)
    for readout in table.readouts:
        words = {"only when": condition(readout.only_when)}
        yield READOUT, channel(table, readout.index).name, _readout(table, readout) | words
    for alert in table.alerts:
        yield "alert", f"alert {alert.words}", {
            "urgency": Says(URGENCY_WORDS[alert.urgency]),
            "after": condition(alert.after),
            "until": condition(alert.until),
            "lasts": Says(_amount(alert.lasts, 1), "s"),
        } | _when(table, alert)
    for gauge in table.gauges:
        words = {"while": condition(gauge.flies)}
        yield "disagree", f"disagree of {channel(table, gauge.index).name}", _gauge(table, gauge) | words
    for needle in table.needles:
        about = channel(table, needle.index)
        name = needle.name if "needle" in needle.name else f"needle {needle.name}"
        yield "needle", name, {
            "pin": Says(f"GP{needle.pin}"),
            "follows": Says(about.name),
            "park": Says(_amount(needle.park, 2), "%"),
            "slew": Says(_amount(needle.slew * TICKS_A_SECOND, 2), "% a second"),
            "frequency": Says(str(needle.frequency), "Hz"),
        } | {
            f"at {_amount(reading, about.reading_decimals)} {bare(about.reading_unit)}": Says(
                _amount(place, 2), "%"
            )
            for reading, place in _points(needle.curve)
        }
    if table.face is not None:
        pages = [PAGES.get(kind) or _large(table, numbers) for kind, numbers in table.face.pages]
        yield "panel", "face", {
            "address": Says(f"0x{table.face.address:02x}"),
            "pages": Says(", then ".join(pages)),
        }


def channel(table: Table, index: int) -> InputRecord | DerivedRecord:
    inputs = len(table.inputs)
    return table.inputs[index] if index < inputs else table.derived[index - inputs]


def above_in_words(table: Table) -> str:
    """The reading above which the box takes itself to be in flight; nothing where a switch says so."""
    told = table.in_flight
    if told is None or told.source == light.SWITCH:
        return ""
    about = table.inputs[told.index]
    return f"{_amount(told.above, about.reading_decimals)} {bare(about.reading_unit)}"


def _large(table: Table, numbers: Sequence[int]) -> str:
    return " with ".join(channel(table, table.readouts[number].index).name for number in numbers)


def _amount(units: int, decimals: int) -> str:
    """All of it."""
    text = f"{Decimal(units).scaleb(-decimals):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _span(low: int, high: int, decimals: int) -> str:
    """As in the box file."""
    return f"[{_amount(low, decimals)}, {_amount(high, decimals)}]"


def _points(curve: "Curve | None") -> tuple[tuple[int, int], ...]:
    return () if curve is None else tuple(zip(curve[0][: breakpoints(curve)], curve[1]))


def _condition(table: Table, number: int) -> str:
    return " ".join(_parted(table, number)).strip()


def _parted(table: Table, number: int) -> tuple[str, str, str]:
    """A condition: what is how, and above or below what, in which unit."""
    one = table.conditions[number]
    if one.way in (alerts.ON, alerts.OFF):
        return f"{table.switches[one.index].name} {WAYS[one.way]}", "", ""
    about = channel(table, one.index)
    if one.way == alerts.FAULTY:
        return f"{about.name} at fault", "", ""
    return (
        f"{about.name} {WAYS[one.way]}",
        _amount(one.value, about.reading_decimals),
        bare(about.reading_unit),
    )


def _when(table: Table, alert: AlertRecord) -> Words:
    """Each of its conditions."""
    words: Words = {}
    for number in alert.when:
        what, value, unit = _parted(table, number)
        earlier = [words[f"when {what}"].words] if f"when {what}" in words else []
        words[f"when {what}"] = Says(" and ".join([*earlier, value]), unit)
    return words


def _input(table: Table, record: InputRecord) -> Words:
    decimals, unit = record.reading_decimals, bare(record.reading_unit)
    readings = record.reading_curve[1]
    place = f"GP{record.channel}"
    if record.converter != ON_CHIP:
        place = f"{table.chips[record.converter].name}.{PLACES[record.channel]}"

    def named(number: int) -> Says:
        return Says("none" if number == NO_INPUT else table.inputs[number].name)

    return {
        "pin": Says(place),
        "unit": Says(record.reading_unit),
        "signal": Says(record.signal_unit),
        "step": Says(_amount(record.step, decimals), unit),
        "rail": named(record.rail),
        "cold junction": named(record.cold),
        "from": Says(_amount(min(readings), decimals), unit),
        "up to": Says(_amount(max(readings), decimals), unit),
        "damping": Says(_amount(record.damping, 1), "s"),
        "breakpoints": Says(str(breakpoints(record.signal_curve) + breakpoints(record.reading_curve))),
        "full_scale or oversample changed": Says(silent=record.setting),
        "faults begin elsewhere": Says(silent=(record.windows, record.faults)),
    }


def _dimmer(table: Table, one: DimmerRecord) -> Words:
    knobs = [f"knob on GP{knob.pin}" for knob in table.knobs]
    inputs, dimmers = [record.name for record in table.inputs], [record.name for record in table.dimmers]
    followed = {light.KNOB: knobs, light.INPUT: inputs, light.DIMMER: dimmers}.get(one.source)

    def level(value: int) -> Says:
        return Says("nothing") if value == light.NO_LEVEL else Says(_amount(value, 2), "%")

    return {
        "is": Says(("a lamp", "a bus output", "a display")[one.kind]),
        "pin": Says(f"GP{one.pin}"),
        "follows": Says(followed[one.index] if followed else "nothing"),
        "points changed": Says(silent=_points(one.source_curve)),
        "override": Says("nothing" if one.knob == light.NOTHING else knobs[one.knob]),
        "compensate": Says("nothing" if one.supply == light.NOTHING else inputs[one.supply]),
        "compensation changed": Says(silent=_points(one.supply_curve), only_with=one.supply_curve is None),
        "shows": Says(URGENCY_WORDS.get(one.shows, "nothing")),
        "not_below": level(one.not_below),
        "off_below": level(one.off_below),
        "on_above": level(one.on_above),
        "by_day": level(one.by_day),
        "on_fault": level(one.on_fault),
        "level": level(one.fixed),
        "fade": Says(_amount(one.fade * 1000 // TICKS_A_SECOND, 3), "s"),
        "frequency": Says(str(one.frequency), "Hz"),
        "curve, floor or ceiling changed": Says(silent=_points(one.curve)),
    }


def _dimming(table: Table) -> Iterator[tuple[str, str, Words]]:
    switches = [one.name for one in table.switches]
    if table.daylight is not None:
        day = table.daylight
        sensor = table.inputs[day.input]
        decimals, unit = sensor.reading_decimals, bare(sensor.reading_unit)
        yield "daylight", "daylight", {
            "sensor": Says(sensor.name),
            "delay": Says(_amount(day.delay * 1000 // TICKS_A_SECOND, 3), "s"),
            "day_above": Says(_amount(day.day_above, decimals), unit),
            "night_below": Says(_amount(day.night_below, decimals), unit),
        }
    if table.dim_request is not None:
        asks = table.dim_request
        names = {light.DIMMER: [one.name for one in table.dimmers], light.SWITCH: switches}.get(asks.source)
        knob = "nothing" if asks.knob == light.NOTHING else f"knob on GP{table.knobs[asks.knob].pin}"
        yield "dim request", "dim request", {
            "pin": Says(f"GP{asks.pin}"),
            "active": Says("high" if asks.active else "low"),
            "follows": Says(names[asks.index] if names else "daylight"),
            "on_fault": Says({0: "off", 1: "on", light.ALONG: "along"}[asks.on_fault]),
            "override": Says(knob),
            "on_above": Says(_amount(asks.on_above, 2), "%"),
            "off_below": Says(_amount(asks.off_below, 2), "%"),
        }
    if table.in_flight is not None:
        told = table.in_flight
        by_switch = told.source == light.SWITCH
        words = {"follows": Says(switches[told.index] if by_switch else table.inputs[told.index].name)}
        yield "in flight", "in flight", words if by_switch else words | {"above": Says(above_in_words(table))}


def _reserve(table: Table, one: ReserveRecord) -> Words:
    """As gaugebox.reserve and gaugebox.books say what its numbers are."""
    line, mains = channel(table, one.pressure), channel(table, one.mains)
    psi, fuel = bare(line.reading_unit), bare(mains.reading_unit)
    units = {
        "flowing from": ("low", line.reading_decimals, psi),
        "flowing up to": ("high", line.reading_decimals, psi),
        "dead_head": ("dead_head", line.reading_decimals, psi),
        "pressure with the pump off, least": ("base_least", line.reading_decimals, psi),
        "pressure with the pump off, most": ("base_most", line.reading_decimals, psi),
        "bottom of its sender": ("bottom", line.reading_decimals, psi),
        "pressure shifted in a second of climb": ("drift", line.reading_decimals, psi),
        "build": ("build", 1, "s"),
        "rate": ("rate", mains.reading_decimals, f"{fuel} an hour"),
        "rate, plus or minus": ("rate_band", 0, "%"),
        "burn": ("burn", mains.reading_decimals, f"{fuel} an hour"),
        "burn, plus or minus": ("burn_band", 0, "%"),
        "capacity": ("mains_full", mains.reading_decimals, fuel),
        "mains_error": ("mains_band", 0, "%"),
        "noise of the mains": ("mains_noise", mains.reading_decimals, fuel),
        "damping of the mains": ("mains_lag", 0, "s"),
        "holds": ("reserve_full", mains.reading_decimals, fuel),
        "holds_error": ("reserve_band", mains.reading_decimals, fuel),
    }
    named = {"pressure": Says(line.name), "mains": Says(mains.name)}
    return named | {
        what: Says(_amount(getattr(one, key), decimals), unit)
        for what, (key, decimals, unit) in units.items()
    }


def _gauge(table: Table, one: DisagreeRecord) -> Words:
    about = channel(table, one.index)
    decimals, unit = about.reading_decimals, bare(about.reading_unit)
    return {
        "feeds": Says(FEEDS_WORDS[one.feeds]),
        "share of a transfer": Says(_span(one.share_low, one.share_high, 0), "%"),
        "burn allowed for": Says(_span(one.burn_low, one.burn_high, decimals), f"{unit} an hour"),
        "allowance": Says(_amount(one.allowance, decimals), unit),
        "smoothing": Says(str(one.smoothing * 10), "s"),
        "full from": Says(_amount(one.top, decimals), unit),
        "unseen": Says(_amount(one.unseen, decimals), unit),
        "empty up to": Says(_amount(one.bottom, decimals), unit),
    }


def _derived(table: Table, one: DerivedRecord) -> Words:
    parts = ""
    for index, curve in one.parts:
        less = curve[1][-1] < curve[1][0]
        parts += (" - " if less else " + " if parts else "") + table.inputs[index].name
    return {
        "parts": Says(parts),
        "unit": Says(one.reading_unit),
        "step": Says(_amount(one.step, one.reading_decimals), bare(one.reading_unit)),
    }


def _readout(table: Table, one: ReadoutRecord) -> Words:
    about = channel(table, one.index)
    decimals, unit = about.reading_decimals, bare(about.reading_unit)
    return {
        "label": Says(f'"{one.label}"'),
        "bar": Says(_span(one.low, one.high, decimals), unit),
        "mark_delay": Says(_amount(one.delay, 1), "s"),
        "mark_play": Says(_amount(one.play, decimals), unit),
    } | _marks(one, about.step // 2, decimals, unit)


def _marks(one: ReadoutRecord, half: int, decimals: int, unit: str) -> Words:
    """Each as in the box file, red limits without the half step by which they are reached early (face_tables.zones)."""
    colours, last = one.colours, len(one.edges)
    lower, upper = last > 0 and colours[0] == marked.RED, last > 0 and colours[last] == marked.RED

    def edge(number: int) -> int:
        """Between a zone and the next one, as it was written."""
        at = one.edges[number]
        if number == 0 and lower:
            return at - 1 - half
        if number == last - 1 and upper:
            return at + half
        # the outer end of an arc belongs to it
        return at - 1 if colours[number] and not colours[number + 1] else at

    words: Words = {}
    for zone, colour in enumerate(colours):
        name = COLOURS[colour]
        if (zone == 0 and lower) or (zone == last and upper):
            name = "lower red" if zone == 0 else "upper red"
            words[name] = Says(_amount(edge(0 if zone == 0 else last - 1), decimals), unit)
        elif colour != marked.UNMARKED:
            alike = colours[:zone].count(colour) - (colour == marked.RED and lower)
            name = f"{name} {alike + 1}" if alike else name
            low = "none" if zone == 0 else _amount(edge(zone - 1), decimals)
            high = "none" if zone == last else _amount(edge(zone), decimals)
            words[name] = Says(f"[{low}, {high}]", unit)
        else:
            name = f"unmarked {zone}"
        words[f"{name} says"] = Says(f'"{one.words[zone]}"', only_with=name)
        words[f"urgency of {name}"] = Says(URGENCY_WORDS[one.urgencies[zone]], only_with=name)
    return words | {"how bad its marks are changed": Says(silent=bytes(one.ranks), only_with=bytes(colours))}


# -- what is more than words: how far a reading moves


def _in_numbers(kind: str, name: str, old: Table, new: Table) -> Iterator[str]:
    if kind == INPUT:
        was, now = (next(one for one in table.inputs if one.name == name) for table in (old, new))
        if was.reading_unit == now.reading_unit and _curves(was) != _curves(now):
            yield from _largest_change(was, now)
    if kind == DERIVED:
        before, after = ({one.name: one for one in table.derived}[name] for table in (old, new))
        if (
            _derived(old, before)["parts"] == _derived(new, after)["parts"]
            and before.reading_unit == after.reading_unit
        ):
            yield from _counted_otherwise(_parts(old, before), _parts(new, after), after)


def _curves(one: InputRecord) -> tuple[object, ...]:
    return one.windows, _points(one.signal_curve), _points(one.reading_curve), one.reading_decimals


def _largest_change(old: InputRecord, new: InputRecord) -> Iterator[str]:
    """Of the reading, over the counts that both take for a reading; nothing where it is below a tenth of a step."""
    low, high = max(old.windows[1], new.windows[1]), min(old.windows[2], new.windows[2])
    if low > high:
        yield "nothing in common"
        return
    was, is_now = (_readings(record)[low - record.windows[1] :][: high - low + 1] for record in (old, new))
    change = is_now - was
    worst = int(np.argmax(np.abs(change)))
    step = new.step / 10**new.reading_decimals
    if abs(change[worst]) >= step / 10:
        decimals = max(0, -math.floor(math.log10(step)))
        unit = new.reading_unit
        yield f"largest change {change[worst]:+.{decimals}f} {unit}, where it read {was[worst]:.{decimals}f} {unit}"


def _readings(record: InputRecord) -> Floats:
    """At each count between its windows; of a thermocouple with its cold junction at nought."""
    low, high = record.windows[1], record.windows[2]
    first = record.signal_curve[0][0]
    signals = values(record.signal_curve)[low - first : high - first + 1]
    readings = values(record.reading_curve)[signals - record.reading_curve[0][0]]
    return np.asarray(readings / 10.0**record.reading_decimals)


Part = tuple[str, Floats, Floats]  # its unit, readings, and what these count


def _counted_otherwise(old: dict[str, Part], new: dict[str, Part], about: DerivedRecord) -> Iterator[str]:
    """By how much a derived readout differs where a part reads the same; nothing where it is below a tenth of a step. A part that reaches
    further is told by its own line."""
    step = about.step / 10**about.reading_decimals
    for part, (unit, x, y) in new.items():
        unit_before, x_before, y_before = old[part]
        both = np.union1d(x, x_before)
        both = both[(both >= max(x[0], x_before[0])) & (both <= min(x[-1], x_before[-1]))]
        if unit_before != unit or not len(both):
            continue
        change = np.interp(both, x, y) - np.interp(both, x_before, y_before)
        worst = int(np.argmax(np.abs(change)))
        if abs(change[worst]) >= step / 10:
            where = f"where {part} reads {both[worst]:.4g} {bare(unit)}"
            yield f"largest change {change[worst]:+.3g} {bare(about.reading_unit)}, {where}"


def _parts(table: Table, one: DerivedRecord) -> dict[str, Part]:
    """By their names."""
    made = {}
    for index, curve in one.parts:
        about = table.inputs[index]
        readings = np.array(curve[0][: breakpoints(curve)]) / 10.0**about.reading_decimals
        made[about.name] = about.reading_unit, readings, np.array(curve[1]) / 10.0**one.reading_decimals
    return made
