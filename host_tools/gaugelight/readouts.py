"""The box file's tables for what the face shows and says: range markings, derived readouts, alerts and their buttons."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugebox.alert_records import DISPLAY_ADDRESSES, MOST_PAGES
from gaugelight import box_values
from gaugelight.laws import BEYOND
from gaugelight.problems import meant
from gaugelight.quantity import UNITS, Difference

if TYPE_CHECKING:
    from gaugelight.boxfile import Section
    from gaugelight.fuel_watch import Disagreement, ReserveTank
    from gaugelight.needles import Needle

MARKING_KEYS = ("label", "marks", "mark_delay", "mark_play", "only_when", "bar")
COLOURS = ("green", "yellow", "red")
LONGEST_LABEL = 10
LONGEST_MARK = 12
LONGEST_ALERT = 21
DELAY = Fraction(2)  # seconds
ALERT_LASTS = Fraction(2)
# of words that names of readouts are made of (common practice, no source)
SHORT_FORMS = {
    "left": "L", "right": "R", "inboard": "in", "outboard": "out", "forward": "fwd", "centre": "ctr", "center": "ctr",
    "temperature": "temp", "pressure": "press", "coolant": "cool", "hydraulic": "hyd", "quantity": "qty", "auxiliary": "aux",
}  # fmt: skip
CONDITION = re.compile(r"(.+?) +(?:(above|below) +(\S.*)|(on|off|at fault))")
CONDITION_EXAMPLE = '"NAME above 4 psi", "NAME below ...", "NAME on", "NAME off" or "NAME at fault"'


@dataclass(frozen=True)
class Mark:
    """From low to high, in reading units; None: without end. A red limit has one of them. says: instead of LOW or HIGH."""

    colour: str
    low: Fraction | None
    high: Fraction | None
    says: str | None = None


@dataclass(frozen=True)
class Condition:
    """way "above", "below" (value in the unit of what is named), "at fault", "on", "off"."""

    name: str
    way: str
    value: Fraction | None = None

    def text(self, unit: str) -> str:
        """As it is written in the box file; unit: of what is named."""
        return f"{self.name} {self.way}" + ("" if self.value is None else f" {float(self.value):g} {unit}")


@dataclass(frozen=True)
class Markings:
    """How the face shows one input or derived readout. play None: a displayed step. bar None: the whole span. made: the label is no
    one's choice."""

    label: str
    marks: tuple[Mark, ...] = ()
    delay: Fraction = DELAY  # seconds
    play: Fraction | None = None
    only_when: Condition | None = None
    bar: tuple[Fraction, Fraction] | None = None
    made: bool = False


@dataclass(frozen=True)
class BoilMargin:
    """How far below its boiling point the coolant is: at the lowest pressure there may be, at `altitude` metres."""

    temperature: str
    pressure: str
    coolant: str
    altitude: Fraction


@dataclass(frozen=True)
class Derived:
    """parts: inputs by name, each with what its reading counts: 1 or -1; or a boil margin."""

    line: int
    name: str
    unit: str
    step: Fraction
    parts: tuple[tuple[str, int], ...] | BoilMargin
    markings: Markings

    @property
    def names(self) -> tuple[str, ...]:
        if isinstance(self.parts, BoilMargin):
            return self.parts.temperature, self.parts.pressure
        return tuple(name for name, _ in self.parts)


@dataclass(frozen=True)
class AlertRule:
    """urgency "caution" or "warning"; lasts in seconds."""

    line: int
    words: str
    urgency: str
    when: tuple[Condition, ...]
    after: Condition | None
    until: Condition | None
    lasts: Fraction


@dataclass(frozen=True)
class Buttons:
    """Names of switches."""

    line: int = 0
    acknowledge: str | None = None
    test: str | None = None
    page: str | None = None


@dataclass(frozen=True)
class Page:
    """Of the display. kind "overview", "large" (with the names of one to three readouts), "reserve", "alerts"."""

    kind: str
    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class Panel:
    """The display on I2C that the face is drawn on."""

    line: int
    address: int
    pages: tuple[Page, ...]


@dataclass(frozen=True)
class Face:
    """What the box tells its pilot, beyond the inputs themselves."""

    derived: tuple[Derived, ...] = ()
    alerts: tuple[AlertRule, ...] = ()
    buttons: Buttons = Buttons()
    reserve: ReserveTank | None = None
    gauges: tuple[Disagreement, ...] = ()
    needles: tuple[Needle, ...] = ()
    panel: Panel | None = None

    def conditions(self, markings: tuple[Markings, ...]) -> Iterator[Condition]:
        for one in markings:
            if one.only_when is not None:
                yield one.only_when
        for alert in self.alerts:
            yield from alert.when
            yield from (one for one in (alert.after, alert.until) if one is not None)
        for gauge in self.gauges:
            yield gauge.flies


# -- range markings


def default_label(name: str) -> str:
    """Its name; where that is too long, usual short forms of its words, and then a letter off the longest, the last of them first."""
    if len(name) <= LONGEST_LABEL:
        return name
    words = [SHORT_FORMS.get(word.lower(), word) for word in name.split()]
    while len(" ".join(words)) > LONGEST_LABEL and max(map(len, words)) > 1:
        longest = max(range(len(words)), key=lambda k: (len(words[k]), k))
        words[longest] = words[longest][:-1]
    return " ".join(words)[:LONGEST_LABEL].strip()


def marks(unit: str) -> Callable[[Any], tuple[Mark, ...]]:
    """[{ red = 0 }, { yellow = [0, 4] }, { green = [4, 18] }], each with `says` or without."""

    def parse(value: Any) -> tuple[Mark, ...]:
        right = f"[{{ green = [4, 18] }}, {{ red = 0 }}, ...] in {unit}"
        if not isinstance(value, list) or not value or not all(isinstance(one, dict) for one in value):
            raise ValueError(f"must be {right}")
        return _sided([_mark(one, unit) for one in value])

    return parse


def _mark(given: dict[str, Any], unit: str) -> Mark:
    says = given.get("says")
    colours = [key for key in given if key != "says"]
    if len(colours) != 1 or colours[0] not in COLOURS:
        unknown = next((key for key in colours if key not in COLOURS), "")
        cure = meant(unknown, [*COLOURS, "says"]) if unknown else "one colour in each { }"
        raise ValueError(f"each mark is one of green, yellow or red; {cure}")
    if says is not None:
        box_values.name(says, LONGEST_MARK)
    colour = colours[0]
    place = given[colour]
    if isinstance(place, list):
        low, high = box_values.span(unit)(place)
        return Mark(colour, low, high, says)
    if colour != "red":
        raise ValueError(f"{colour} is an arc: write {colour} = [from, to]")
    limit = box_values.reading(unit)(place)
    return Mark(colour, limit, limit, says)


def _sided(given: list[Mark]) -> tuple[Mark, ...]:
    """Sorted, and each red limit on the side where it forbids."""
    arcs = sorted((mark for mark in given if mark.low != mark.high), key=lambda mark: mark.low or 0)
    for one, other in zip(arcs, arcs[1:]):
        assert one.high is not None and other.low is not None
        if other.low < one.high:
            what = f"{one.colour} to {float(one.high):g} and {other.colour} from {float(other.low):g}"
            raise ValueError(f"{what} lie over each other")
    limits = [mark for mark in given if mark.low == mark.high]
    if not arcs:
        raise ValueError("a red limit needs an arc to lie beside: add { green = [from, to] }")
    bottom, top = arcs[0].low, arcs[-1].high
    assert bottom is not None and top is not None
    lower = [mark for mark in limits if mark.low is not None and mark.low <= bottom]
    upper = [mark for mark in limits if mark.low is not None and mark.low >= top]
    if len(lower) + len(upper) < len(limits):
        inside = next(mark for mark in limits if mark not in lower + upper)
        assert inside.low is not None
        what = f"red = {float(inside.low):g} lies among the arcs; write red = [from, to]"
        raise ValueError(what)
    if len(lower) > 1 or len(upper) > 1:
        raise ValueError("there is one red limit below all arcs, and one above")
    below = [Mark("red", None, mark.high, mark.says) for mark in lower]
    above = [Mark("red", mark.low, None, mark.says) for mark in upper]
    return (*below, *arcs, *above)


def markings(section: "Section", name: str, unit: str, span: tuple[float, float] | None) -> Markings:
    """The keys that say how the face shows it; problems stand in the section."""
    label = section.take("label", label_of, None)
    given = section.take("marks", marks(unit), None) or ()
    delay = section.take("mark_delay", box_values.between("s", 0, 120), DELAY)
    play = section.take("mark_play", box_values.change(unit), None)
    only_when = section.take("only_when", condition, None)
    bar = section.take("bar", box_values.span(unit), None)
    if span is not None:
        low, high = span
        given = tuple(_within(mark, low, high) for mark in given)
        for mark in given:
            for place in (mark.low, mark.high):
                if place is not None and not low <= place <= high:
                    what = f"{mark.colour} at {float(place):g}, but {name} reads {low:g} to {high:g} {unit}"
                    section.wrong("marks", what)
                    break
    for key in ("mark_delay", "mark_play", "only_when"):
        if key in section.written and "marks" not in section.written:
            section.wrong(key, "belongs to marks; add marks or leave it out")
    made = default_label(name)
    return Markings(
        label or made,
        given,
        DELAY if delay is None else delay,
        play,
        only_when,
        bar,
        not label and made != name,
    )


def _within(mark: Mark, low: float, high: float) -> Mark:
    """An arc that ends a little beyond all that can be read ends there: a tank that turns out to hold less keeps its marks."""
    if mark.low is None or mark.high is None:
        return mark
    more = BEYOND * (high - low)
    bottom = Fraction(low) if low - more <= mark.low < low else mark.low
    top = Fraction(high) if high < mark.high <= high + more else mark.high
    return replace(mark, low=bottom, high=top) if bottom < top else mark


def label_of(value: Any) -> str:
    """The short name on the face."""
    return box_values.name(value, LONGEST_LABEL)


def condition(value: Any) -> Condition:
    """Its unit is judged when it is known what is named."""
    if not isinstance(value, str) or (match := CONDITION.fullmatch(value.strip())) is None:
        raise ValueError(f"{value!r} is no condition; write {CONDITION_EXAMPLE}")
    name, way, reading, state = match.groups()
    if state is not None:
        return Condition(name, state)
    return _Unread(name, way, None, reading)


@dataclass(frozen=True)
class _Unread(Condition):
    """Its value still as it is written."""

    written: str = ""


def read_condition(
    section: "Section", key: str, given: Condition | None, units: Mapping[str, str | None], switches: set[str]
) -> Condition | None:
    """With its value, in the unit of what it names. None where there is none, or something is wrong with it."""
    if given is None:
        return None
    if given.way in ("on", "off"):
        if given.name not in switches:
            section.wrong(key, f'there is no switch "{given.name}"; {meant(given.name, sorted(switches))}')
            return None
        return given
    if given.name not in units:
        section.wrong(key, f'there is no readout "{given.name}"; {meant(given.name, list(units))}')
        return None
    unit = units[given.name]
    if given.way == "at fault" or unit is None:
        return None if unit is None else given
    assert isinstance(given, _Unread)
    try:
        return Condition(given.name, given.way, box_values.reading(unit)(_number_or_text(given.written)))
    except ValueError as problem:
        section.wrong(key, str(problem))
        return None


def _number_or_text(written: str) -> float | str:
    try:
        return float(written)
    except ValueError:
        return written


# -- derived readouts


def derived(
    section: "Section", units: Mapping[str, str | None], spans: Mapping[str, tuple[float, float]]
) -> Derived | None:
    before = section.problems
    name = section.take("name", box_values.name, "", 'a name, such as "usable fuel"') or ""
    ways = [key for key in ("sum", "difference", "boil_margin") if key in section.written]
    if len(ways) != 1:
        section.wrong(
            "", 'write one of sum = ["NAME", ...], difference = ["NAME", "NAME"], boil_margin = { ... }'
        )
    parts: tuple[tuple[str, int], ...] | BoilMargin | None = None
    unit = None
    added = section.take("sum", _names(2, 4), None)
    taken = section.take("difference", _names(2, 2), None)
    margin = section.take("boil_margin", _boil_margin, None)
    step = section.take("step", box_values.positive, None, "the smallest change shown")
    asked = section.take("unit", box_values.name, None)
    if added or taken:
        names = added or taken or ()
        for one in names:
            if one not in units:
                section.wrong(ways[0], f'there is no input "{one}"; {meant(one, list(units))}')
        known = [units.get(one) for one in names]
        unit = asked or next((one for one in known if one is not None), None)
        apart = taken is not None and len({one for one in known if one is not None}) == 1
        for one, of_it in zip(names, known):
            if unit is not None and of_it is not None and not _counts(of_it, unit, apart):
                section.wrong(ways[0], f"{one} is in {of_it}, which is not in {unit}")
        parts = tuple((one, -1 if taken and k else 1) for k, one in enumerate(names))
    elif margin is not None:
        of_coolant = units.get(margin.temperature)
        unit = asked or (of_coolant if of_coolant in ("degC", "degF") else "degC")
        if unit not in ("degC", "degF"):
            section.wrong("unit", f'a boil margin is in degC or degF, not "{unit}"')
        for one, kinds in ((margin.temperature, ("degC", "degF")), (margin.pressure, ("psi", "bar", "kPa"))):
            if one not in units:
                section.wrong("boil_margin", f'there is no input "{one}"; {meant(one, list(units))}')
            elif units[one] is not None and units[one] not in kinds:
                section.wrong("boil_margin", f"{one} is in {units[one]}, not in {' or '.join(kinds)}")
        parts = margin
    span = None
    if section.problems == before and isinstance(parts, tuple) and unit is not None:
        span = _span(parts, unit, units, spans)
    if span is not None and unit is not None:
        judge_step(section, step, span[1] - span[0], unit)
    elif margin is not None and step is not None and not Fraction(1, 100) <= step <= 50:
        section.wrong("step", f"{float(step):g} does not suit a boil margin; 2 is usual")
    shown = None
    if unit is not None and (taken or margin is not None):
        unit = Difference(unit)
    if unit is not None:
        shown = markings(section, name, unit, span)
    else:
        section.skip(*MARKING_KEYS)
    section.finish()
    if section.problems > before or parts is None or unit is None or step is None or shown is None:
        return None
    return Derived(section.line, name, unit, step, parts, shown)


def judge_step(section: "Section", step: Fraction | None, width: float, unit: str) -> None:
    """What changes by such steps, and spans so much."""
    if step is not None and not width / 100000 <= step <= width:
        section.wrong("step", f"{float(step):g} does not suit readings that span {width:g} {unit}")


def span_of(
    one: Derived, units: Mapping[str, str | None], spans: Mapping[str, tuple[float, float]]
) -> tuple[float, float] | None:
    """The least and the most that a sum or a difference can say; None of a boil margin."""
    return None if isinstance(one.parts, BoilMargin) else _span(one.parts, one.unit, units, spans)


def _span(
    parts: tuple[tuple[str, int], ...],
    unit: str,
    units: Mapping[str, str | None],
    spans: Mapping[str, tuple[float, float]],
) -> tuple[float, float] | None:
    low = high = 0.0
    for name, sign in parts:
        if name not in spans:
            return None
        factor = float(worth(units[name] or unit, unit)) * sign
        ends = sorted(factor * end for end in spans[name])
        low, high = low + ends[0], high + ends[1]
    return low, high


def worth(unit: str, other: str) -> Fraction:
    """How many of `other` one of `unit` is; both of one kind, and without offset or of a difference."""
    return UNITS[unit][1] / UNITS[other][1]


def _counts(unit: str, other: str, apart: bool) -> bool:
    """Whether a reading in `unit` counts in `other` by what one is worth. Of temperatures only how far two of one unit are apart does:
    their scales begin at different places."""
    if unit == other:
        return True
    same_kind = other in UNITS and UNITS[unit][0] == UNITS[other][0]
    return same_kind and (apart or UNITS[unit][0] != "temperature")


def _names(least: int, most: int) -> Callable[[Any], tuple[str, ...]]:
    def parse(value: Any) -> tuple[str, ...]:
        count = f"{least} to {most}" if least < most else str(least)
        if not isinstance(value, list) or not least <= len(value) <= most:
            raise ValueError(f"must be a list of {count} names of inputs")
        names = tuple(box_values.name(one) for one in value)
        if len(set(names)) < len(names):
            raise ValueError("names the same input twice")
        return names

    return parse


def _boil_margin(value: Any) -> BoilMargin:
    keys = ("temperature", "pressure", "coolant", "altitude")
    right = (
        '{ temperature = "NAME", pressure = "NAME", coolant = "50 % ethylene glycol", altitude = "10000 ft" }'
    )
    if not isinstance(value, dict) or sorted(value) != sorted(keys):
        raise ValueError(f"must be {right}")
    from gaugelight import coolant

    coolant.parse_mix(box_values.name(value["coolant"]))
    altitude = box_values.altitude(-1300, 36_000)(value["altitude"])
    return BoilMargin(
        box_values.name(value["temperature"]), box_values.name(value["pressure"]), value["coolant"], altitude
    )


# -- alerts


def alert(section: "Section", units: Mapping[str, str | None], switches: set[str]) -> AlertRule | None:
    before = section.problems
    words = section.take(
        "words",
        lambda value: box_values.name(value, LONGEST_ALERT),
        None,
        'what is to be read, "COOLANT LOST"',
    )
    urgency = section.take("urgency", box_values.one_of("caution", "warning"), None, '"caution" or "warning"')
    given = section.take("when", _conditions, None, f"[{CONDITION_EXAMPLE}, ...]") or ()
    when = [read_condition(section, "when", one, units, switches) for one in given]
    after, until = (
        read_condition(section, key, section.take(key, condition, None), units, switches)
        for key in ("after", "until")
    )
    lasts = section.take("lasts", box_values.between("s", 0, 600), ALERT_LASTS)
    section.finish()
    if section.problems > before or words is None or urgency is None or lasts is None:
        return None
    conditions = tuple(one for one in when if one is not None)
    # one that must have been, ends when it is so again
    return AlertRule(
        section.line, words, urgency, conditions, after, after if until is None else until, lasts
    )


def _conditions(value: Any) -> tuple[Condition, ...]:
    if not isinstance(value, list) or not 1 <= len(value) <= 6:
        raise ValueError("must be a list of one to six conditions")
    return tuple(condition(one) for one in value)


def buttons(section: "Section", switches: set[str]) -> Buttons:
    named = []
    for key in ("acknowledge", "test", "page"):
        name = section.take(key, box_values.name, None)
        if name is not None and name not in switches:
            section.wrong(key, f'there is no switch "{name}"; {meant(name, sorted(switches))}')
        named.append(name)
    section.finish()
    return Buttons(section.line, *named)


# -- the display

OVERVIEW, LARGE, RESERVE, ALERTS = "overview", "large", "reserve", "alerts"
DEFAULT_PAGES: tuple[Page, ...] = (Page(OVERVIEW), Page(ALERTS))
WITH_RESERVE: tuple[Page, ...] = (Page(OVERVIEW), Page(RESERVE), Page(ALERTS))
PAGES_EXAMPLE = '["overview", ["left fuel", "right fuel"], "alerts"]'


def panel(section: "Section", with_reserve: bool) -> Panel | None:
    """From the table of the display, where it has an address. Its names are judged when they are known."""
    address = section.take("address", box_values.address(*DISPLAY_ADDRESSES), None)
    pages = section.take("pages", _pages, WITH_RESERVE if with_reserve else DEFAULT_PAGES)
    if pages is not None and Page(RESERVE) in pages and not with_reserve:
        section.wrong("pages", 'there is no reserve to watch; add [reserve], or take "reserve" away')
    if "pages" in section.written and "address" not in section.written:
        section.wrong("pages", "belongs to a display on I2C; add its address, 0x3c or 0x3d")
    if address is None or pages is None:
        return None
    return Panel(section.line, address, pages)


def _pages(value: Any) -> tuple[Page, ...]:
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_PAGES:
        raise ValueError(f"must be a list of one to {MOST_PAGES} pages, such as {PAGES_EXAMPLE}")
    return tuple(_page(one) for one in value)


def _page(value: Any) -> Page:
    if value in (OVERVIEW, RESERVE, ALERTS):
        return Page(value)
    if isinstance(value, str):
        what = f'"{value}" is no page: "overview", "reserve", "alerts"; a readout by itself stands in brackets: ["{value}"]'
        raise ValueError(what)
    if not isinstance(value, list) or not 1 <= len(value) <= 3:
        raise ValueError('a page is "overview", "reserve", "alerts", or a list of one to three readouts')
    return Page(LARGE, tuple(box_values.name(one) for one in value))


def panel_names(section: "Section", given: Panel, shown: Mapping[str, bool]) -> None:
    """Whether what its pages name is there; shown: of each input and derived readout whether it is on the face."""
    for page in given.pages:
        for name in page.names:
            if name not in shown:
                section.wrong("pages", f'there is no readout "{name}"; {meant(name, list(shown))}')
            elif not shown[name]:
                section.wrong("pages", f'"{name}" is not on the face; take its face = false away')
