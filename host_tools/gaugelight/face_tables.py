"""What the face shows and says, solved for the box: zones between edges, sums of readings, conditions by number."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, cast

import numpy as np

from gaugebox import alert_records, alerts, readouts, table
from gaugelight import coolant
from gaugelight.boxfile import Box
from gaugelight.circuits import Floats
from gaugelight.curves import Asked, decimals_of
from gaugelight.fuel_watch import disagree_section, reserve_section
from gaugelight.needles import needle_section
from gaugelight.light_tables import URGENCIES, text, with_curves
from gaugelight.quantity import UNITS
from gaugelight.laws import celsius_of
from gaugelight.problems import Problem
from gaugelight.readouts import BoilMargin, Condition, Derived, Mark, Markings, Panel, worth

if TYPE_CHECKING:
    from gaugebox.curve import Curve
    from gaugelight.build import SolvedInput

COLOUR_CODES = {"green": readouts.GREEN, "yellow": readouts.YELLOW, "red": readouts.RED}
WAYS = {
    "above": alerts.ABOVE,
    "below": alerts.BELOW,
    "at fault": alerts.FAULTY,
    "on": alerts.ON,
    "off": alerts.OFF,
}
TURNS_A_SECOND = 10
WIDEST = 5  # characters of a number on the face, its point among them
RED_RANK = 16  # however many yellow arcs there are, red is worse


@dataclass(frozen=True)
class Zone:
    """From its edge, in reading units, to that of the next one. rank 0: as it should be. says: nothing where rank is 0."""

    edge: int | None  # None: the lowest one
    colour: str | None
    rank: int
    says: str


def zones(marks: Sequence[Mark], decimals: int, step: Fraction) -> list[Zone]:
    """From marks that do not overlap, sorted. Where arcs meet, the upper one has the place; the outer end of an arc belongs to it. A
    limit is reached when its reading is shown, half a step early: a sender that is off by a hair would never reach its own end.
    """
    scale = 10**decimals
    marks = [_as_shown(mark, step / 2) for mark in marks]
    taken: list[tuple[int | None, int | None, Mark]] = []  # from and to, both included
    for mark in marks:
        first = None if mark.low is None else math.ceil(mark.low * scale)
        last = None if mark.high is None else math.floor(mark.high * scale)
        while taken and first is not None:
            begins, ends, before = taken[-1]
            if ends is None or first > ends:
                break
            if begins is None:
                first = ends + 1
                break
            # a limit half a step early may leave nothing of the arcs beside it
            taken.pop()
            if begins < first:
                taken.append((begins, first - 1, before))
        if first is None or last is None or first <= last:
            taken.append((first, last, mark))
    edges: list[tuple[int | None, Mark | None]] = [] if marks and marks[0].low is None else [(None, None)]
    for (first, last, mark), after in zip(taken, [*taken[1:], None]):
        edges.append((first, mark))
        if last is not None and (after is None or after[0] != last + 1):
            edges.append((last + 1, None))
    return _ranked(edges)


def _as_shown(mark: Mark, half: Fraction) -> Mark:
    if mark.low is None and mark.high is not None:
        return replace(mark, high=mark.high + half)
    if mark.high is None and mark.low is not None:
        return replace(mark, low=mark.low - half)
    return mark


def _ranked(edges: list[tuple[int | None, Mark | None]]) -> list[Zone]:
    good = [k for k, (_, mark) in enumerate(edges) if mark is not None and mark.colour == "green"]
    good = good or [k for k, (_, mark) in enumerate(edges) if mark is None]
    good = good or [min(range(len(edges)), key=lambda k: edges[k][1].colour == "red")]  # type: ignore[union-attr]
    made = []
    for k, (edge, mark) in enumerate(edges):
        colour = None if mark is None else mark.colour
        if k in good or mark is None or colour == "green":
            made.append(Zone(edge, colour, 0, ""))
            continue
        nearest = min(good, key=lambda g: (abs(g - k), -g))
        between = range(min(k, nearest), max(k, nearest))
        steps = 1 + sum(1 for j in between if j != k and edges[j][1] is not None and j not in good)
        rank = steps + (RED_RANK if colour == "red" else 0)
        made.append(Zone(edge, colour, rank, mark.says or ("LOW" if k < nearest else "HIGH")))
    return made


def face_sections(box: Box, inputs: tuple[SolvedInput, ...]) -> list[tuple[int, bytes]]:
    """For the table image."""
    names = [one.input.name for one in inputs] + [one.name for one in box.face.derived]
    decimals = [one.reading_decimals for one in inputs] + [decimals_of(one.step) for one in box.face.derived]
    switches = [switch.name for switch in box.lights.switches]
    shown = box.shown
    found: list[Condition] = []
    for condition in box.face.conditions(tuple(markings for _, _, markings in shown)):
        if condition not in found:
            found.append(condition)

    def number(condition: Condition | None) -> int:
        return alerts.NO_CONDITION if condition is None else found.index(condition)

    def switch(name: str | None) -> int:
        return alert_records.NO_SWITCH if name is None else switches.index(name)

    sections = [(table.DERIVED, derived_section(one, box, inputs)) for one in box.face.derived]
    for name, _, markings in shown:
        index = names.index(name)
        span, step = span_and_step(box, name)
        payload = _readout(markings, index, number(markings.only_when), decimals[index], span, step)
        sections.append((table.READOUT, payload))
    for condition in found:
        on_switch = condition.way in ("on", "off")
        index = (switches if on_switch else names).index(condition.name)
        value = 0 if condition.value is None else round(condition.value * 10 ** decimals[index])
        fixed = struct.pack(alert_records.CONDITION_FIXED, WAYS[condition.way], index, 0, value)
        sections.append((table.CONDITION, fixed))
    for rule in box.face.alerts:
        fixed = struct.pack(
            alert_records.ALERT_FIXED,
            URGENCIES[rule.urgency],
            number(rule.after),
            number(rule.until),
            len(rule.when),
            max(1, round(rule.lasts * TURNS_A_SECOND)),
            0,
        )
        when = bytes(number(condition) for condition in rule.when)
        sections.append((table.ALERT, fixed + when + text(rule.words)))
    if box.face.reserve is not None:
        payload = reserve_section(box.face.reserve, box, names, decimals, switches)
        sections.append((table.RESERVE, payload))
    for gauge in box.face.gauges:
        index = names.index(gauge.gauge)
        span, _ = span_and_step(box, gauge.gauge)
        payload = disagree_section(gauge, number(gauge.flies), index, decimals[index], span)
        sections.append((table.DISAGREE, payload))
    for needle in box.face.needles:
        index = names.index(needle.follows)
        sections.append((table.NEEDLE, needle_section(needle, index, decimals[index])))
    buttons = box.face.buttons
    if buttons.line:
        pressed = [switch(name) for name in (buttons.acknowledge, buttons.test, buttons.page)]
        sections.append((table.BUTTONS, struct.pack(alert_records.BUTTONS_FIXED, *pressed, 0)))
    if box.face.panel is not None:
        sections.append((table.FACE, _panel(box.face.panel, [name for name, _, _ in shown])))
    return sections


PAGE_KINDS = {
    "overview": alert_records.OVERVIEW_PAGE,
    "large": alert_records.LARGE_PAGE,
    "alerts": alert_records.ALERTS_PAGE,
    "reserve": alert_records.RESERVE_PAGE,
}


def _panel(panel: Panel, shown: list[str]) -> bytes:
    payload = struct.pack(alert_records.FACE_FIXED, panel.address, len(panel.pages))
    for page in panel.pages:
        numbers = [shown.index(name) for name in page.names]
        places = [*numbers, 0, 0, 0][:3]
        payload += struct.pack(alert_records.PAGE_FIXED, PAGE_KINDS[page.kind], len(numbers), *places)
    return payload


def shown_texts(low: float, high: float, step: Fraction) -> list[str]:
    """Both ends of a readout as the face writes them, rounded to the displayed step."""
    decimals = decimals_needed(step)
    rounded = (math.floor(Fraction(end) / step + Fraction(1, 2)) * step for end in (low, high))
    return [f"{float(end):.{decimals}f}" for end in rounded]


def decimals_needed(step: Fraction) -> int:
    """To write a step out."""
    return next(k for k in range(12) if (step * 10**k).denominator == 1)


def too_wide(box: Box) -> Iterator[Problem]:
    """Readouts whose numbers the face has no room for."""
    if box.face.panel is None:
        return
    lines = {one.name: one.line for one in box.inputs} | {one.name: one.line for one in box.face.derived}
    for name, _, _ in box.shown:
        span, step = span_and_step(box, name)
        widest = max(shown_texts(*span, step), key=len)
        if len(widest) > WIDEST:
            fits = (Fraction(10) ** k * m for k in range(-6, 6) for m in (1, 2, 5))
            cure = next(
                (s for s in fits if s > step and max(map(len, shown_texts(*span, s))) <= WIDEST), None
            )
            what = f"it reads to {widest}, which has {len(widest)} characters; the face has room for {WIDEST}"
            what += "; leave it off the face" if cure is None else f"; write step = {float(cure):g}"
            yield Problem(lines[name], name, what, "step")


def span_and_step(box: Box, name: str) -> tuple[tuple[float, float], Fraction]:
    one = box.input(name)
    if one is not None:
        return one.law.span, one.step
    derived = next(one for one in box.face.derived if one.name == name)
    return derived_span(derived, box), derived.step


def _readout(
    markings: Markings, index: int, only_when: int, decimals: int, span: tuple[float, float], step: Fraction
) -> bytes:
    scale = 10**decimals
    low, high = (round(float(end) * scale) for end in markings.bar or span)
    play = round((step if markings.play is None else markings.play) * scale)
    made = zones(markings.marks, decimals, step)
    delay = max(1, round(markings.delay * TURNS_A_SECOND))
    payload = struct.pack(
        alert_records.READOUT_FIXED, index, only_when, delay, play, low, high, len(made) - 1
    )
    payload += text(markings.label)
    payload += bytes(-len(payload) % 4)
    payload += b"".join(struct.pack("<i", one.edge) for one in made[1:])
    for one in made:
        urgency = alerts.WARNING if one.colour == "red" else alerts.CAUTION
        colour = readouts.UNMARKED if one.colour is None else COLOUR_CODES[one.colour]
        payload += struct.pack(alert_records.ZONE_FIXED, colour, one.rank, urgency if one.rank else 0, 0)
    return payload + b"".join(text(one.says) for one in made)


# -- derived readouts


def derived_section(derived: Derived, box: Box, inputs: tuple[SolvedInput, ...]) -> bytes:
    decimals = decimals_of(derived.step)
    numbers = {one.input.name: number for number, one in enumerate(inputs)}
    payload = struct.pack(
        alert_records.DERIVED_FIXED,
        decimals,
        len(derived.names),
        0,
        round(derived.step * 10**decimals),
    )
    payload += text(derived.name) + text(derived.unit)
    for name, curve in zip(derived.names, derived_curves(derived, box, inputs)):
        payload += bytes(-len(payload) % 4) + struct.pack(alert_records.PART_FIXED, numbers[name])
        payload = with_curves(payload, curve)
    return payload


def derived_curves(derived: Derived, box: Box, inputs: tuple[SolvedInput, ...]) -> list[Curve]:
    """What each part's reading adds, in units of the derived one; each within a quarter of its step over the number of parts."""
    solved = {one.input.name: one for one in inputs}
    scale = 10 ** decimals_of(derived.step)
    made = []
    for name, exact in zip(derived.names, derived_laws(derived, box)):
        one = solved[name]
        said = one.reading_curve[1]
        first, last = min(said), max(said)
        readings = np.arange(first, last + 1) / 10.0**one.reading_decimals
        law = exact(readings) * scale
        within = np.full(len(law), float(derived.step) * scale / 4 / len(derived.names))
        made.append(Asked(first, law, within).fitted())
    return made


def derived_laws(derived: Derived, box: Box) -> list[Callable[[Floats], Floats]]:
    """What each part's reading counts, in the derived readout's unit."""
    parts = derived.parts
    if isinstance(parts, BoilMargin):
        return _boil_laws(parts, derived.unit, box)

    def counted(factor: float) -> Callable[[Floats], Floats]:
        return lambda readings: readings * factor

    units = {one.name: one.bare_unit for one in box.inputs}
    return [counted(sign * float(worth(units[name], derived.unit))) for name, sign in parts]


def _boil_laws(margin: BoilMargin, unit: str, box: Box) -> list[Callable[[Floats], Floats]]:
    """Of the temperature, which is taken off, and of the pressure: how warm the coolant may be without boiling, its law's own error
    taken off."""
    temperature, pressure = box.input(margin.temperature), box.input(margin.pressure)
    assert temperature is not None and pressure is not None
    size = float(worth("degC", unit))
    kind = cast(coolant.PressureKind, pressure.unit.rsplit(" ", 1)[1])
    kilopascals = float(UNITS[pressure.bare_unit][1])
    mix = coolant.parse_mix(margin.coolant)

    def warmth(readings: Floats) -> Floats:
        return -celsius_of(readings, temperature.bare_unit) * size

    def boiling(readings: Floats) -> Floats:
        absolute = coolant.absolute_from_reading(readings * kilopascals, kind, float(margin.altitude))
        least, most = coolant.pressure_range_kpa(mix)
        return coolant.may_boil_celsius(mix, np.clip(absolute, least, most)) * size

    return [warmth, boiling]


def derived_span(derived: Derived, box: Box) -> tuple[float, float]:
    """The least and the most it can say."""
    ends = derived_ends(derived, box)
    return sum(low for low, _ in ends), sum(high for _, high in ends)


def derived_ends(derived: Derived, box: Box) -> list[tuple[float, float]]:
    """The least and the most that each of its parts adds."""
    ends = []
    for name, law in zip(derived.names, derived_laws(derived, box)):
        one = box.input(name)
        assert one is not None
        said = law(np.linspace(*one.law.span, 65))
        ends.append((float(np.min(said)), float(np.max(said))))
    return ends
