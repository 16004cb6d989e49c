"""What must hold of what the pilot is told, and what to know of it.

The paragraphs of 14 CFR part 23 are those before the amendment of 2017; they never bound an amateur-built aircraft.
"""

import math
from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations

import numpy as np

from gaugebox import alert_records
from gaugebox.books import MOST_FUEL
from gaugebox.disagree import MOST_RATE, MOST_READING, MOST_TRANSFER
from gaugebox.reserve import MOST_PRESSURE
from gaugelight.atmosphere import sealed_error_psi
from gaugelight.boxfile import FUEL_UNITS, Box, bare
from gaugelight.chain import chain_of
from gaugelight.curves import decimals_of
from gaugelight.face_tables import span_and_step, too_wide, zones
from gaugelight.fault_windows import signal_limits
from gaugelight.fuel_watch import (
    GAUGE_ERROR,
    Disagreement,
    ReserveTank,
    goes_below,
    lowest_reading,
    pump_off_readings,
    shares,
)
from gaugelight.laws import BEYOND, Points, Thermocouple
from gaugelight.needles import Needle, needle_curve
from gaugelight.problems import Problem
from gaugelight.quantity import UNITS
from gaugelight.readouts import LONGEST_LABEL, Condition, Mark, Markings

SLIP = "is a decimal point missing?"
ALOFT_FEET = 8000
LETTERS_IN_SERVICE = 13  # of an alert, while SERVICE stands beside it
RESTS, CHARGES = Fraction("12.8"), Fraction(14)  # volts of a 14 V bus (common practice, no source)

Asked = tuple[int, str, str, Condition]  # line and name of a table, its key, what it asks


def _lines(box: Box) -> dict[str, int]:
    return {one.name: one.line for one in box.inputs} | {one.name: one.line for one in box.face.derived}


def _asked(box: Box) -> Iterator[Asked]:
    """Every condition there is."""
    lines = _lines(box)
    for name, _, markings in box.shown:
        if markings.only_when is not None:
            yield lines[name], name, "only_when", markings.only_when
    for rule in box.face.alerts:
        for key, conditions in (("when", rule.when), ("after", (rule.after,)), ("until", (rule.until,))):
            for condition in conditions:
                if condition is not None and (key != "until" or condition != rule.after):
                    yield rule.line, f"alert {rule.words}", key, condition
    for gauge in box.face.gauges:
        yield gauge.line, f"disagree {gauge.gauge}", "while", gauge.flies


def _scale(box: Box, name: str) -> int:
    """How many of the box's units one of a readout is."""
    return int(10 ** decimals_of(span_and_step(box, name)[1]))


def _reads(box: Box, name: str) -> str:
    (low, high), _ = span_and_step(box, name)
    return f"{name} reads {low:.4g} to {high:.4g} {_unit(box, name)}"


def _unit(box: Box, name: str) -> str:
    one = box.input(name)
    return one.bare_unit if one is not None else next(d.unit for d in box.face.derived if d.name == name)


# -- what is wrong


def problems_of_face(box: Box) -> Iterator[Problem]:
    yield from _labels(box)
    yield from _how_many(box)
    yield from _markings(box)
    for line, where, key, condition in _asked(box):
        if (
            condition.value is not None
            and abs(condition.value) * _scale(box, condition.name) > alert_records.FURTHEST
        ):
            what = f"{float(condition.value):g}, but {_reads(box, condition.name)}; {SLIP}"
            yield Problem(line, where, what, key)
    if box.face.reserve is not None:
        yield from _reserve(box, box.face.reserve)
    yield from _gauges(box)
    for needle in box.face.needles:
        yield from _needle(box, needle)
    yield from too_wide(box)


def _labels(box: Box) -> Iterator[Problem]:
    """Two that are called alike: which tank is empty?"""
    lines = _lines(box)
    # those off the face too: the alert of a fault calls them by their names
    called = [(one.name, one.name, False) for one in box.inputs if one.markings is None]
    called += [(name, one.label, one.made) for name, _, one in box.shown]
    for one, other in combinations(called, 2):
        # the one whose label was chosen is told
        (first, its, _), (name, label, made) = sorted(
            (one, other), key=lambda it: not it[2] and it[1] != it[0]
        )
        alike = label.casefold() in (its.casefold(), first.casefold()) or its.casefold() == name.casefold()
        if alike and not (made and box.face.panel is None):
            what = f'the face calls it "{label}", and {first} "{its}"; give each a label of its own'
            yield Problem(lines[name], name, what, "label")


def _how_many(box: Box) -> Iterator[Problem]:
    face = box.face
    conditions = {condition: line for line, _, _, condition in reversed([*_asked(box)])}
    for kind, lines, most in (
        ("derived readouts", [one.line for one in face.derived], alert_records.MOST_DERIVED),
        ("alerts", [one.line for one in face.alerts], alert_records.MOST_ALERTS),
        ("gauges to compare", [one.line for one in face.gauges], alert_records.MOST_GAUGES),
        ("needles", [one.line for one in face.needles], alert_records.MOST_NEEDLES),
        ("different conditions", sorted(conditions.values()), alert_records.MOST_CONDITIONS),
    ):
        if len(lines) > most:
            yield Problem(lines[most], "box", f"{len(lines)} {kind}; the box takes {most}")


def _markings(box: Box) -> Iterator[Problem]:
    lines = _lines(box)
    for name, _, one in box.shown:
        step = span_and_step(box, name)[1]
        ends = [place for mark in one.marks for place in (mark.low, mark.high)]
        for key, places in (("marks", ends), ("bar", one.bar or ()), ("mark_play", [one.play])):
            if any(
                place is not None and abs(place) * _scale(box, name) > alert_records.FURTHEST
                for place in places
            ):
                yield Problem(
                    lines[name], name, f"lies far beyond all there is: {_reads(box, name)}; {SLIP}", key
                )
        made = zones(one.marks, decimals_of(step), step)
        if len(made) > alert_records.MOST_ZONES:
            what = f"{len(made)} arcs, limits and gaps; the box takes {alert_records.MOST_ZONES}"
            yield Problem(lines[name], name, what, "marks")
        if one.bar is not None:
            if (what_of_bar := _wrong_bar(one.bar, one.marks, step)) is not None:
                yield Problem(lines[name], name, what_of_bar, "bar")


def _wrong_bar(bar: tuple[Fraction, Fraction], marks: tuple[Mark, ...], step: Fraction) -> str | None:
    if bar[1] - bar[0] < step:
        return f"is narrower than a step, {float(step):g}"
    for mark in marks:
        if not _visible(mark, bar):
            place = mark.high if mark.low is None else mark.low
            assert place is not None
            ends = f"from {float(bar[0]):g} to {float(bar[1]):g}"
            return f"{ends} leaves {mark.colour} at {float(place):g} out; widen it"
    return None


def _visible(mark: Mark, bar: tuple[Fraction, Fraction]) -> bool:
    """On the bar, in part at least: a good arc may well go on beyond it."""
    if mark.low is None or mark.high is None:
        limit = mark.high if mark.low is None else mark.low
        return limit is not None and bar[0] <= limit <= bar[1]
    return mark.low < bar[1] and mark.high > bar[0]


def _too_much(box: Box, name: str, amount: Fraction, most: int) -> str | None:
    """Of the readout's unit, where the box could reckon with `most` of its own."""
    scale = _scale(box, name)
    if round(amount * scale) <= most:
        return None
    (_, high), step = span_and_step(box, name)
    what = f"{float(amount):g} is more than the box reckons with, {float(Fraction(most, scale)):.3g}"
    if amount > 2 * high:
        return f"{what}; {SLIP}"
    return f"{what} in steps of {float(step):g}; choose a larger step for {name}"


def _reserve(box: Box, tank: ReserveTank) -> Iterator[Problem]:
    sender = box.input(tank.pressure)
    if sender is None:
        what = f"{tank.pressure} is derived; name the input in the line"
        yield Problem(tank.line, "reserve", what, "pressure")
        return
    for key, amount in (
        ("holds", tank.holds),
        ("holds_error", tank.holds_error),
        ("capacity", tank.capacity),
        ("rate", tank.rate[1]),
        ("burn", tank.burn[1]),
    ):
        if (too_much := _too_much(box, tank.mains, amount, MOST_FUEL)) is not None:
            yield Problem(tank.line, "reserve", too_much, key)
            break  # a step that is too fine is told once
    step = span_and_step(box, tank.mains)[1]
    for key, amount in (("holds", tank.holds), ("capacity", tank.capacity), ("rate", tank.rate[1])):
        if amount < step:
            what = f"{float(amount):g} is less than a step of {tank.mains}, {float(step):g}"
            yield Problem(tank.line, "reserve", what, key)
    if tank.flowing[0] < sender.step:
        what = f"{float(tank.flowing[0]):g} is less than a step of {sender.name}, {float(sender.step):g}; from that on it can be told"
        yield Problem(tank.line, "reserve", what, "flowing")
    low, high = sender.law.span
    off = Fraction(0)
    if sender.unit.endswith("absolute"):  # it reads the air's own pressure
        off = max(pump_off_readings(tank, box))
    for key, amount in (("flowing", tank.flowing[1]), ("dead_head", tank.dead_head)):
        if off + amount > high:
            what = f"{sender.name} reads {low:g} to {high:g} {sender.unit}, {float(off):.3g} with the pump off, and never {float(amount):g} above that"
            yield Problem(tank.line, "reserve", what, key)
        elif (too_much := _too_much(box, tank.pressure, amount, MOST_PRESSURE)) is not None:
            yield Problem(tank.line, "reserve", too_much, key)


def _gauges(box: Box) -> Iterator[Problem]:
    for one in box.face.gauges:
        scale, (span, step) = _scale(box, one.gauge), span_and_step(box, one.gauge)
        where = f"disagree {one.gauge}"
        if span[1] * scale > MOST_READING:
            what = f"{one.gauge} reads to {span[1]:g} in steps of {float(step):g}; that is too fine to be judged: choose a larger step"
            yield Problem(one.line, where, what, "gauge")
            continue
        for key, amount, most in (
            ("burn", one.burn[1], math.floor(MOST_RATE / (1 + GAUGE_ERROR / 100))),
            ("allowance", one.allowance, MOST_READING),
            ("unseen", one.unseen, MOST_READING),
        ):
            if (too_much := _too_much(box, one.gauge, amount, most)) is not None:
                yield Problem(one.line, where, too_much, key)
        if one.allowance < step / 2:
            what = f"{float(one.allowance):g} is less than half a step of {one.gauge}, {float(step):g}; write a tenth of the tank or so"
            yield Problem(one.line, where, what, "allowance")
        if one.share and (tank := box.face.reserve) is not None:
            yield from _transfer(box, tank, one, where)


def _transfer(box: Box, tank: ReserveTank, one: Disagreement, where: str) -> Iterator[Problem]:
    """What of it goes to a gauge; the box counts both in the same units."""
    scale, step = _scale(box, one.gauge), span_and_step(box, one.gauge)[1]
    if (_unit(box, tank.mains), _scale(box, tank.mains)) != (_unit(box, one.gauge), scale):
        what = f"the transfer is counted as {tank.mains} reads; give {one.gauge} its unit and step, or leave share out"
        yield Problem(one.line, where, what, "share")
        return
    most = tank.rate[1] * shares(one)[1] / 100
    if most * scale > MOST_TRANSFER:
        what = f"{float(most):g} {_unit(box, one.gauge)} an hour is more than the box reckons with in steps of {float(step):g}: at most {MOST_TRANSFER / scale:g}; choose a larger step for {one.gauge}"
        yield Problem(one.line, where, what, "share")


def _needle(box: Box, needle: Needle) -> Iterator[Problem]:
    try:
        needle_curve(needle, decimals_of(span_and_step(box, needle.follows)[1]))
    except (ValueError, OverflowError):
        ends = f"{float(needle.points[0][0]):g} to {float(needle.points[-1][0]):g}"
        what = f"go from {ends}, but {_reads(box, needle.follows)}; {SLIP}"
        yield Problem(needle.line, needle.name, what, "points")


# -- what to know


def notes_on_face(box: Box) -> Iterator[tuple[str, str]]:
    """Name and note."""
    for name, unit, markings in box.shown:
        for note in _notes_on_marks(name, bare(unit), markings, box):
            yield name, note
    yield from _notes_on_labels(box)
    yield from _notes_on_units(box)
    yield from _notes_on_kinds_of_pressure(box)
    yield from _notes_on_conditions(box)
    yield from _notes_on_fuel_watch(box)
    yield from _notes_on_words(box)
    urgencies = {alert.urgency for alert in box.face.alerts} | {
        "warning" if mark.colour == "red" else "caution"
        for _, _, markings in box.shown
        for mark in markings.marks
        if mark.colour != "green"
    }
    lamps = {lamp.shows for lamp in box.lights.lamps}
    for urgency, colour in (("warning", "a red"), ("caution", "an amber")):
        if urgency in urgencies and urgency not in lamps:
            what = f'no lamp shows a {urgency}; {colour} one (14 CFR 23.1322) with shows = "{urgency}" is seen without looking'
            yield box.name, what
    yield from _notes_on_needles(box, "flag" in lamps)
    if urgencies and box.face.buttons.acknowledge is None:
        yield box.name, "nothing acknowledges an alert; name a switch in [buttons]"
    yield from _notes_on_buttons(box)
    yield from _notes_on_in_flight(box)


def _notes_on_marks(name: str, unit: str, markings: Markings, box: Box) -> Iterator[str]:
    marks = markings.marks
    if not marks:
        return
    colours = {mark.colour for mark in marks}
    of = next((one for one in box.face.derived if one.name == name), None)
    if "green" not in colours:
        yield "no green arc: 14 CFR 23.1549(b) has one for the normal range"
    if "red" not in colours and of is None:
        yield "no red mark: 14 CFR 23.1549(a) has a red radial at each safe limit"
    for one, other in zip(marks, marks[1:]):
        if one.high is not None and other.low is not None and one.high < other.low:
            yield f"no mark from {float(one.high):g} to {float(other.low):g}: what lies there is told as if it were well"
    quantity = of is None or isinstance(of.parts, tuple) and all(sign > 0 for _, sign in of.parts)
    if unit in FUEL_UNITS and quantity and (turned := _turned_round(marks)) is not None:
        yield f"WARNING: {turned}; are the marks turned round? fuel is red at 0 and green when full"
    if unit in FUEL_UNITS and of is None:
        lowest = marks[0]
        if lowest.colour != "red" or lowest.high != 0:
            yield "no red mark at 0, which is the unusable quantity in level flight (14 CFR 23.1337(b)(1), 23.1553)"
        if markings.delay < 5:
            yield f'a mark is entered after {float(markings.delay):g} s; fuel sloshes for longer, mark_delay = "10 s" is usual (common practice, no source)'
    yield from _notes_on_play(name, unit, markings, box)
    if markings.only_when is not None and markings.only_when.name == name:
        yield f"WARNING: only_when asks {name} itself: while it is not so, {name} is told neither LOW nor HIGH"


def _notes_on_play(name: str, unit: str, markings: Markings, box: Box) -> Iterator[str]:
    """Of a mark that nothing it may read gets it out of again, as gaugebox.readouts judges."""
    step, scale = span_and_step(box, name)[1], _scale(box, name)
    play = round((step if markings.play is None else markings.play) * scale)
    bottom, top = (round(end * scale) for end in _reach(box, name))
    made = zones(markings.marks, decimals_of(step), step)
    edges = [zone.edge for zone in made[1:] if zone.edge is not None]

    def rank_at(reading: int) -> int:
        return made[sum(reading >= edge for edge in edges)].rank

    for k, zone in enumerate(made):
        if not zone.rank or not bottom <= (edges[k - 1] if k else bottom) <= top:
            continue
        better = [j for j, other in enumerate(made) if other.rank < zone.rank]
        ways = [min(top, edges[j] - 1 if j < len(edges) else top) - play for j in better if j > k]
        ways += [max(bottom, edges[j - 1] if j else bottom) + play for j in better if j < k]
        if all(rank_at(reading) >= zone.rank for reading in ways):
            what = f"WARNING: mark_play = {float(Fraction(play, scale)):g} {unit}: once it is {zone.says}, in {zone.colour}, it stays so whatever {name} reads"
            yield f"{what}; a step or two are usual"


def _turned_round(marks: tuple[Mark, ...]) -> str | None:
    """Of a quantity of fuel, what a full tank would be told as."""
    good = [mark.high for mark in marks if mark.colour == "green" and mark.high is not None]
    for mark in reversed(marks):
        if mark.low is None or good and mark.low < max(good):
            continue
        says = mark.says or ""
        if mark.colour == "red" or "EMPTY" in says.upper() or "LOW" in says.upper():
            return f'a full tank, {float(mark.low):g} or more, is told as {says or "HIGH"}, in {mark.colour}'
    return None


def _notes_on_labels(box: Box) -> Iterator[tuple[str, str]]:
    made = [f'{name} "{markings.label}"' for name, _, markings in box.shown if markings.made]
    if box.face.panel is not None and made:
        what = f"the face has {LONGEST_LABEL} letters for a name, and calls {', '.join(made)}"
        yield "display", f'{what}; label = "..." sets another'


def _notes_on_units(box: Box) -> Iterator[tuple[str, str]]:
    """Two units of one kind, side by side: of temperatures, of fuel."""
    if box.face.panel is None:
        return
    units: dict[str, dict[str, str]] = {
        "temperature": {},
        "volume": {},
    }  # of each kind, and who has them first
    for name, whole, _ in box.shown:
        unit = bare(whole)
        units.get(UNITS[unit][0], {}).setdefault(unit, name)
    for kind, found in units.items():
        if len(found) > 1:
            told = ", ".join(f"{name} is in {unit}" for unit, name in found.items())
            yield "display", f"two units of {kind} stand side by side: {told}"


def _notes_on_kinds_of_pressure(box: Box) -> Iterator[tuple[str, str]]:
    """Gauge, sealed and absolute pressures that are added up, or held against each other."""
    for derived in box.face.derived:
        if not isinstance(derived.parts, tuple):
            continue
        kinds: dict[str, str] = {}
        for name in derived.names:
            one = box.input(name)
            if one is not None and one.unit != one.bare_unit:
                kinds.setdefault(one.unit.rsplit(" ", 1)[1], name)
        if len(kinds) > 1:
            told = ", ".join(f"{name} is {kind}" for kind, name in kinds.items())
            yield derived.name, f"WARNING: {told}: they do not begin at one nought, and how far apart they are changes with altitude"


def _reach(box: Box, name: str) -> tuple[float, float]:
    """What it may read at all: a sender is believed a little beyond its range, as far as its faults begin; a float on its stop goes no
    further."""
    (low, high), _ = span_and_step(box, name)
    sender = box.input(name)
    if sender is not None and not isinstance(sender.law, (Points, Thermocouple)):
        believed = np.array(signal_limits(sender, chain_of(box, sender))[1:3])
        first, last = sorted(sender.law.reading(believed).tolist())
        return first, last
    derived = next((one for one in box.face.derived if one.name == name), None)
    senders = [one for one in box.inputs if one.name in ((name,) if derived is None else derived.names)]
    beyond = 0.0 if all(isinstance(one.law, Points) for one in senders) else BEYOND * (high - low)
    return low - beyond, high + beyond


def _notes_on_conditions(box: Box) -> Iterator[tuple[str, str]]:
    for _, where, key, one in _asked(box):
        if one.value is None:
            continue
        low, high = _reach(box, one.name)
        above = one.way == "above"
        never = one.value >= high if above else one.value <= low
        always = one.value < low if above else one.value > high
        if never or always:
            holds = "never" if never else "always"
            yield where, f"WARNING: {key}: {_said(box, one)} {holds} holds; {_reads(box, one.name)}"
    for rule in box.face.alerts:
        where = f"alert {rule.words}"
        for one, against in combinations(rule.when, 2):
            if _exclude(one, against):
                yield where, f"WARNING: when: {_said(box, one)} and {_said(box, against)} never hold together: it is never told"
        if rule.until is not None and rule.until in rule.when:
            yield where, "WARNING: until is one of when: while it holds, the alert comes and goes by turns"
        elif rule.until is not None and any(_includes(rule.until, one) for one in rule.when):
            key = "after, which ends it," if rule.until == rule.after else "until"
            yield where, f"WARNING: {key} holds wherever when does: the alert comes and goes by turns"
        alike = [one for one in rule.when if rule.after is not None and one.name == rule.after.name]
        if rule.after is not None and alike and all(_includes(one, rule.after) for one in alike):
            yield where, "WARNING: after lies beyond when: what must have been before is worse than what is told"
    for one_rule, other in combinations(box.face.alerts, 2):
        if one_rule.words == other.words:
            yield f"alert {other.words}", f"says the same as the one at line {one_rule.line}: which of them it is, nobody can tell"


def _said(box: Box, one: Condition) -> str:
    return f'"{one.text("" if one.value is None else _unit(box, one.name))}"'


def _exclude(one: Condition, other: Condition) -> bool:
    """Whether the two never hold at once."""
    if one.name != other.name:
        return False
    if one.value is None or other.value is None:
        return {one.way, other.way} == {"on", "off"}
    if one.way == other.way:
        return False
    above, below = (one, other) if one.way == "above" else (other, one)
    assert above.value is not None and below.value is not None
    return above.value >= below.value


def _includes(wider: Condition, one: Condition) -> bool:
    """Whether the first holds wherever the second does."""
    if (wider.name, wider.way) != (one.name, one.way):
        return False
    if wider.value is None or one.value is None:
        return True
    return wider.value <= one.value if one.way == "above" else wider.value >= one.value


def _notes_on_fuel_watch(box: Box) -> Iterator[tuple[str, str]]:
    if (tank := box.face.reserve) is not None:
        yield from (("reserve", note) for note in _notes_on_reserve(box, tank))
    seen = set()
    for one in box.face.gauges:
        where = f"disagree {one.gauge}"
        low, high = span_and_step(box, one.gauge)[0]
        unit = _unit(box, one.gauge)
        if one.gauge in seen:
            yield where, "two tables hold this gauge against burn and transfer; one is enough"
        seen.add(one.gauge)
        for key, amount in (("allowance", one.allowance), ("unseen", one.unseen)):
            if amount >= Fraction(high - low) / 2:
                yield where, f"WARNING: {key} = {float(amount):g} {unit} of a gauge that reads {low:g} to {high:g}: next to nothing is told then"
        if one.burn[1] >= Fraction(high - low):
            yield where, f"WARNING: {float(one.burn[1]):g} {unit} an hour would empty it within the hour; {SLIP}"


def _notes_on_reserve(box: Box, tank: ReserveTank) -> Iterator[str]:
    unit, (_, full) = _unit(box, tank.mains), span_and_step(box, tank.mains)[0]
    if not Fraction(full) * 3 / 4 <= tank.capacity <= Fraction(full) * 4 / 3:
        yield f"WARNING: capacity = {float(tank.capacity):g} {unit}, but {tank.mains} reads to {full:g}: MAINS FULL is told {'far too soon' if tank.capacity < full else 'never'}"
    if tank.holds > full:
        yield f"holds {float(tank.holds):g} {unit}, more than {tank.mains} reads when full, {full:g}; {SLIP}"
    sender = box.input(tank.pressure)
    assert sender is not None
    if sender.unit.endswith("sealed"):
        bottom = lowest_reading(box, tank) if goes_below(sender) else Fraction(sender.law.span[0])
        fall = Fraction(sealed_error_psi(ALOFT_FEET)) * UNITS["psi"][1] / UNITS[sender.bare_unit][1]
        if fall < bottom:
            yield (
                f"WARNING: {sender.name} is sealed: at {ALOFT_FEET:,} ft it reads {float(-fall):.2g} {sender.bare_unit} less (ISO 2533), and stands on"
                f' its bottom at {float(bottom):.2g}; the watch says "unknown" then, rather than guess. Take a gauge or an absolute one'
            )


def _notes_on_words(box: Box) -> Iterator[tuple[str, str]]:
    """What of them is left while SERVICE stands beside them, and on a page of two or three."""
    panel = box.face.panel
    if panel is None:
        return
    labels = [markings.label for _, _, markings in box.shown]
    large = {name for page in panel.pages if len(page.names) > 1 for name in page.names}
    cut: dict[str, list[str]] = {}
    for name, _, markings in box.shown:
        for says in dict.fromkeys(mark.says for mark in markings.marks if mark.says):
            left = markings.label[: LETTERS_IN_SERVICE - 1 - len(says)].rstrip()
            if sum(label.startswith(left) for label in labels) > 1:
                cut.setdefault(f"{left} {says}".strip(), []).append(name)
            if name in large and len(says) > LONGEST_LABEL:
                yield name, f'on a page of two or three, "{says}" is cut to "{says[:LONGEST_LABEL]}"'
    for left, names in cut.items():
        what = f'while SERVICE stands there, an alert of {", ".join(names)} is cut to "{left}"'
        yield "display", f"{what}: whose it is, nobody can tell"
    for rule in box.face.alerts:
        left = rule.words[:LETTERS_IN_SERVICE].rstrip()
        if len(left.split()) < len(rule.words.split()):  # a word that is cut short can still be read
            yield f"alert {rule.words}", f'while SERVICE stands there, it is cut to "{left}"'


def _notes_on_needles(box: Box, flagged: bool) -> Iterator[tuple[str, str]]:
    for needle in box.face.needles:
        low, high = span_and_step(box, needle.follows)[0]
        first, last = needle.points[0], needle.points[-1]
        spare = Fraction(high - low) / 4  # a scale may well end at a round number
        if last[0] > Fraction(high) + spare or first[0] < Fraction(low) - spare:
            what = f"WARNING: points go from {float(first[0]):g} to {float(last[0]):g}, but {needle.follows} reads {low:.4g} to {high:.4g}"
            yield needle.name, what
        if not flagged:
            reads = "high" if first[1] > last[1] else "low"
            what = f'parked it reads as something {reads}: nothing says that it stands for nothing; a lamp with shows = "flag" does'
            yield needle.name, what


def _notes_on_buttons(box: Box) -> Iterator[tuple[str, str]]:
    """One switch, two jobs."""
    buttons, tank = box.face.buttons, box.face.reserve
    jobs = [("acknowledge", buttons.acknowledge), ("test", buttons.test), ("page", buttons.page)]
    if tank is not None:
        jobs += [("the reserve's pump", tank.pump), ("reserve filled", tank.filled)]
    for (job, switch), (other, its) in combinations(jobs, 2):
        if switch is not None and switch == its:
            yield switch, f"does two things at once: {job}, and {other}"


def _notes_on_in_flight(box: Box) -> Iterator[tuple[str, str]]:
    told = box.in_flight
    if told is None or told.above is None:
        return
    bus = box.input(told.follows)
    volts = 2 if box.supply > 20 else 1
    rests, charges = RESTS * volts, CHARGES * volts
    if bus is None or bus.unit != "V" or not bus.law.span[0] <= rests < charges <= bus.law.span[1]:
        return
    if not rests <= told.above <= charges:
        what = f"WARNING: above = {float(told.above):g} V lies outside {float(rests):g} V, a battery at rest, to {float(charges):g} V, an alternator that charges"
        yield "in_flight", f"{what}: the box takes itself to be {'in flight' if told.above < rests else 'on the ground'} always"
