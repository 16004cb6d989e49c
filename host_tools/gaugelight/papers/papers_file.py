"""The papers file: what only the builder knows of his aircraft, in TOML beside the box file.

It names readouts, marks and alerts of the box file, so that a limit that was moved has no source until somebody has looked again.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

from gaugelight import box_values
from gaugelight.boxfile import Box, Reader, Section
from gaugelight.problems import Misuse, Problem, WrongBoxFile, meant
from gaugelight.quantity import parse_quantity
from gaugelight.readouts import Mark, worth

WEIGHTS, ARMS = ("kg", "lb"), ("m", "cm", "mm", "in", "ft")
TABLES = (
    "aircraft", "balance", "installed", "battery", "essential", "limits", "alerts", "watches", "placard", "test", "logbook", "signature",
)  # fmt: skip
RESERVE = "reserve"  # what the reserve watch is called under [watches]
SIGNED_WITH: tuple[str, ...] = ("name", "licence or certificate number", "place and date", "signature")
# what stands in { } in the wording of the logbook
FILLED_IN = ("aircraft", "registration", "box", "table", "firmware", "date")
FILL = re.compile(r"\{([^{}]*)\}")

T = TypeVar("T")


@dataclass(frozen=True)
class Measured:
    """A quantity as it is written."""

    value: Fraction
    unit: str

    def to(self, unit: str) -> Fraction:
        return self.value * worth(self.unit, unit)


@dataclass(frozen=True)
class Aircraft:
    name: str = ""
    registration: str = ""
    builder: str = ""
    country: str = ""


@dataclass(frozen=True)
class Item:
    """Something that was put in, or, with a weight below nought, taken out. arm: from the datum, aft of it more than nought."""

    name: str
    part: str = ""
    place: str = ""
    weight: Measured | None = None
    arm: Measured | None = None


@dataclass(frozen=True)
class Empty:
    """The aircraft as it was weighed before."""

    weight: Measured
    arm: Measured


@dataclass(frozen=True)
class Battery:
    """capacity in Ah; state, cold: shares of it; wanted in minutes; box: what the box itself takes, in A; night: how knobs stand and
    inputs that lamps follow read by night, as they are written."""

    capacity: Fraction
    state: Fraction
    cold: Fraction
    wanted: Fraction | None = None
    box: Fraction | None = None
    night: tuple[tuple[str, str], ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Essential:
    """What is left on when the alternator is dead: amperes, and the share of the time that it takes them."""

    name: str
    amperes: Fraction
    share: Fraction


@dataclass(frozen=True)
class Placard:
    words: str
    place: str


@dataclass(frozen=True)
class Trial:
    """A line of the flight-test card."""

    do: str
    expect: str
    phase: str


@dataclass(frozen=True)
class Signature:
    role: str
    says: str
    fields: tuple[str, ...]


@dataclass(frozen=True)
class Logbook:
    words: str = ""
    under: str = ""


@dataclass(frozen=True)
class Papers:
    """limits: source of each mark, by readout and `mark_name`; alerts by their words; watches: "reserve", and gauges by their names.
    text: the file as it is."""

    file: str = ""
    text: str = ""
    aircraft: Aircraft = Aircraft()
    datum: str = ""
    before: Empty | None = None
    installed: tuple[Item, ...] = ()
    battery: Battery | None = None
    essential: tuple[Essential, ...] = ()
    limits: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    alerts: Mapping[str, str] = field(default_factory=dict)
    watches: Mapping[str, str] = field(default_factory=dict)
    placards: tuple[Placard, ...] = ()
    trials: tuple[Trial, ...] = ()
    logbook: Logbook = Logbook()
    signatures: tuple[Signature, ...] = ()

    def source(self, readout: str, mark: Mark) -> str:
        """Where a limit comes from; empty where nobody says."""
        return self.limits.get(readout, {}).get(mark_name(mark), "")


def mark_name(mark: Mark) -> str:
    """A mark as the papers file calls it: "yellow 40 to 60", "red 115 and above"."""
    if mark.low is None:
        return f"{mark.colour} {_plain(mark.high)} and below"
    if mark.high is None:
        return f"{mark.colour} {_plain(mark.low)} and above"
    return f"{mark.colour} {_plain(mark.low)} to {_plain(mark.high)}"


def _plain(value: Fraction | None) -> str:
    return f"{float(value or 0):.9f}".rstrip("0").rstrip(".")


def default_path(box_file: Path) -> Path:
    """hull.toml has hull.papers.toml beside it."""
    return box_file.with_suffix(".papers.toml")


def read_papers(path: Path, box: Box) -> Papers:
    """The papers of a box. Raises WrongBoxFile with every problem by its line, Misuse where the file cannot be read."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise WrongBoxFile(str(path), [Problem(0, "file", "is not text in UTF-8")]) from None
    reader = Reader(str(path), text.replace("\r\n", "\n"))
    papers = _papers(reader, box, text.replace("\r\n", "\n"))
    if reader.problems:
        raise WrongBoxFile(str(path), reader.problems)
    return papers


def _papers(reader: Reader, box: Box, text: str) -> Papers:
    marks = {name: [mark_name(one) for one in markings.marks] for name, _, markings in box.shown}
    watched = [one.gauge for one in box.face.gauges] + [RESERVE] * (box.face.reserve is not None)
    datum, before = _balance(reader.table("balance"))
    papers = Papers(
        reader.file,
        text,
        _aircraft(reader.table("aircraft")),
        datum,
        before,
        _all(reader.tables("installed"), _item),
        _battery(reader.table("battery"), box),
        _all(reader.tables("essential"), _essential),
        _limits(reader, {name: there for name, there in marks.items() if there}),
        _sources(reader, "alerts", "alert", [rule.words for rule in box.face.alerts]),
        _sources(reader, "watches", "fuel watch", watched),
        _all(reader.tables("placard"), _placard),
        _all(reader.tables("test"), _trial),
        _logbook(reader.table("logbook")),
        _all(reader.tables("signature"), _signature),
    )
    for key in reader.content:
        near = difflib.get_close_matches(key, TABLES, 1)
        cure = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(TABLES)}"
        reader.wrong(reader.line_of(key), key, f"unknown table; {cure}")
    if papers.datum == "" and any(one.arm is not None for one in papers.installed):
        where = reader.lines.get(("balance", 0, ""), reader.line_of("installed"))
        reader.wrong(where, "balance", 'arms are from which place? write [balance], datum = "the bow\'s tip"')
    return papers


def _all(sections: list[Section], read: Callable[[Section], T | None]) -> tuple[T, ...]:
    return tuple(one for section in sections if (one := read(section)) is not None)


# -- values


def words(value: Any) -> str:
    """Free text, in any alphabet."""
    if not isinstance(value, str):
        raise ValueError("must be a text in quotes")
    if any(not c.isprintable() and c not in "\n\t" for c in value):
        raise ValueError("holds a character that cannot be printed")
    return value.strip()


def some_words(value: Any) -> str:
    if not (said := words(value)):
        raise ValueError("must be a text that is not empty")
    return said


def measured(*units: str) -> Callable[[Any], Measured]:
    """A quantity in the unit that the builder uses."""

    def parse(value: Any) -> Measured:
        in_first = parse_quantity(value, units[0])
        unit = next((unit for unit in units if str(value).endswith(f" {unit}")), units[0])
        return Measured(in_first if unit == units[0] else parse_quantity(value, unit), unit)

    return parse


def _text_list(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError('must be a list of texts, such as ["name", "date"]')
    return tuple(some_words(one) for one in value)


# -- tables


def _aircraft(section: Section | None) -> Aircraft:
    if section is None:
        return Aircraft()
    said = [section.take(key, words, "") or "" for key in ("name", "registration", "builder", "country")]
    section.finish()
    return Aircraft(*said)


def _balance(section: Section | None) -> tuple[str, Empty | None]:
    if section is None:
        return "", None
    datum = section.take("datum", words, "") or ""
    before = section.take("before", _empty, None)
    section.finish()
    return datum, before


def _empty(value: Any) -> Empty:
    if not isinstance(value, dict) or set(value) != {"weight", "arm"}:
        raise ValueError('must be { weight = "620 kg", arm = "2.31 m" }, as it was weighed before')
    weight = measured(*WEIGHTS)(value["weight"])
    if weight.value <= 0:
        raise ValueError("an aircraft weighs more than 0")
    return Empty(weight, measured(*ARMS)(value["arm"]))


def _item(section: Section) -> Item | None:
    name = section.take("item", some_words, None, "what it is")
    part = section.take("part", words, "") or ""
    place = section.take("place", words, "") or ""
    weight = section.take("weight", measured(*WEIGHTS), None)
    arm = section.take("arm", measured(*ARMS), None)
    section.finish()
    return None if name is None else Item(name, part, place, weight, arm)


def _battery(section: Section | None, box: Box) -> Battery | None:
    if section is None:
        return None
    capacity = section.take(
        "capacity", box_values.positive_quantity("Ah"), None, '"18 Ah", at the current that will flow'
    )
    state = section.take("state", _share, None, '"80 %", what is left of it by age and charge')
    cold = section.take("cold", _share, None, '"70 %", what it gives of that at the coldest it may be')
    wanted = section.take("wanted", box_values.positive_quantity("min"), None)
    own = section.take("box", box_values.positive_quantity("A"), None)
    night = section.take("night", _night(box), None)
    source = section.take("from", words, "")
    section.finish()
    if capacity is None or state is None or cold is None:
        return None
    return Battery(capacity, state, cold, wanted, own, night or (), source or "")


def _share(value: Any) -> Fraction:
    share = box_values.between("%", 0, 100)(value)
    if not share:
        raise ValueError("0 % of a battery is none")
    return share / 100


def _night(box: Box) -> Callable[[Any], tuple[tuple[str, str], ...]]:
    """{ knob = "30 %", "lighting bus" = "5 V" }."""

    def parse(value: Any) -> tuple[tuple[str, str], ...]:
        from gaugelight.light_said import knob_position, reading_of

        if not isinstance(value, dict):
            raise ValueError('must be { knob = "30 %" }, and the readings of inputs that lamps follow')
        for name, word in value.items():
            if name != "knob" and box.input(name) is None:
                raise ValueError(
                    f'there is no input "{name}"; {meant(name, ["knob", *(i.name for i in box.inputs)])}'
                )
            if not isinstance(word, str):
                raise ValueError(f"{name}: write it with its unit, in quotes")
            try:
                knob_position(word) if name == "knob" else reading_of(box, name, word)
            except Misuse as problem:
                raise ValueError(problem.lines[0]) from None
        return tuple(value.items())

    return parse


def _essential(section: Section) -> Essential | None:
    name = section.take("load", some_words, None, "what it is")
    amperes = section.take("current", box_values.positive_quantity("A"), None, '"1.2 A"')
    share = section.take("share", _share, Fraction(1))
    section.finish()
    return None if name is None or amperes is None or share is None else Essential(name, amperes, share)


def _limits(reader: Reader, marks: Mapping[str, list[str]]) -> dict[str, dict[str, str]]:
    """[limits."left fuel"], each with its marks."""
    given = reader.content.pop("limits", {})
    if not isinstance(given, dict) or not all(isinstance(one, dict) for one in given.values()):
        reader.wrong(reader.line_of("limits"), "limits", 'write [limits."NAME"], one for each readout')
        return {}
    found = {}
    for name, values in given.items():
        section = Section(reader, f"limits.{name}", 0, values, f"limits of {name}")
        if name not in marks:
            section.wrong("", f'there is no readout "{name}" with marks; {meant(name, marks)}')
            continue
        found[name] = _take_sources(section, "mark", marks[name])
    return found


def _sources(reader: Reader, key: str, what: str, there: list[str]) -> dict[str, str]:
    section = reader.table(key)
    return {} if section is None else _take_sources(section, what, there)


def _take_sources(section: Section, what: str, there: list[str]) -> dict[str, str]:
    said = {name: section.take(name, words, "") or "" for name in there}
    for name in section.values:
        section.wrong(name, f'there is no {what} "{name}" in the box file (any more?); {meant(name, there)}')
    return said


def _placard(section: Section) -> Placard | None:
    said = section.take("words", some_words, None, "what it says")
    place = section.take("place", words, "")
    section.finish()
    return None if said is None else Placard(said, place or "")


def _trial(section: Section) -> Trial | None:
    do = section.take("do", some_words, None, "what is done")
    expect = section.take("expect", words, "")
    phase = section.take("phase", box_values.one_of("ground", "flight"), "flight")
    section.finish()
    return None if do is None else Trial(do, expect or "", phase or "flight")


def _logbook(section: Section | None) -> Logbook:
    if section is None:
        return Logbook()
    said = section.take("words", _fillable, "") or ""
    under = section.take("under", words, "") or ""
    section.finish()
    return Logbook(said, under)


def _fillable(value: Any) -> str:
    said = words(value)
    for name in FILL.findall(said):
        if name not in FILLED_IN:
            raise ValueError(f"{{{name}}} is filled in with nothing; {meant(name, FILLED_IN)}")
    return said


def filled(said: str, facts: Mapping[str, str]) -> str:
    """The wording with its { } filled in; what is not known stays an empty line to write on."""
    return FILL.sub(lambda match: facts.get(match[1]) or "____________", said)


def _signature(section: Section) -> Signature | None:
    role = section.take("role", some_words, None, '"builder", "inspector", ...')
    says = section.take("says", words, "")
    fields = section.take("fields", _text_list, SIGNED_WITH)
    section.finish()
    return None if role is None or fields is None else Signature(role, says or "", fields)
