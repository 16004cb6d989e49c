"""The session file of a calibration: plain TOML, one a calibration, typed by hand or written by the guide, whole after every point.

What is written to it is written beside it first, and takes its place in one step: a cut leaves the old or the new. It is text that
people add to, so a point is added to its end and taken away from there; all else stays byte for byte.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from gaugelight import box_values
from gaugelight.boxfile import Reader, Section
from gaugelight.problems import Misuse, WrongBoxFile
from gaugelight.quantity import QUANTITY, UNITS, Difference, parse_quantity
from gaugelight.toml_lines import key_lines
from gaugelight.whole_file import read_text, write_whole

TANK, REFERENCE = "tank", "reference"
LEVEL, PARKED = "level", "parked"
BY_BOX, BY_METER = "box", "meter"
SHARE = "%"
SIGNAL_KINDS = ("ohm", "mA", "V")  # a unit of each kind that a signal may be of
TRUE_KINDS = ("kPa", "degC", "V", "mA", "ohm", "%", "lx")
CAN_EXAMPLE = '{ every = "1 %", each = "0.05 US gal" }'
REFERENCE_EXAMPLE = '{ name = "test gauge", plus_minus = "1 %", each = "1 psi" }'
LIGHTEST, HEAVIEST = Fraction("0.6"), Fraction("1.1")  # kg/l, of what is poured


@dataclass(frozen=True)
class Amount:
    """A quantity in the unit it is written in; "%" is a share of what it belongs to."""

    value: Fraction
    unit: str

    def to(self, unit: str) -> float:
        """In another unit of its kind. Raises ValueError where it is of none, in plain words."""
        return float(parse_quantity(str(self), unit))

    def off(self, unit: str, of: float = 0.0) -> float:
        """A plus or minus, or a spread, in a unit: as a difference (9 degF are 5 degC), or as a share of `of`. Raises ValueError."""
        if self.unit == SHARE and unit != SHARE:
            return float(self.value) / 100 * abs(of)
        return float(parse_quantity(str(self), Difference(unit)))

    def __str__(self) -> str:
        return f"{float(self.value):.9f}".rstrip("0").rstrip(".") + f" {self.unit}"


@dataclass(frozen=True)
class Can:
    """What a measured pour is off by, plus or minus at 95 %. every: what all pours share, a share; each: what each has of its own."""

    every: Amount
    each: Amount


@dataclass(frozen=True)
class Reference:
    """A test gauge. plus_minus: what all its readings share; each: what each reading has of its own; plus or minus at 95 %."""

    name: str
    plus_minus: Amount
    each: Amount | None


@dataclass(frozen=True)
class Point:
    """One point. Of a tank `added` or `weighed` since the point before, of a reference `true`; spread: a standard deviation; dip: wetted
    length of a dipstick in parked attitude. `line` is 0 while it stands in no file."""

    signal: Amount
    added: Amount | None = None
    weighed: Amount | None = None
    temperature: Amount | None = None
    true: Amount | None = None
    spread: Amount | None = None
    dip: Amount | None = None
    at: datetime | None = None
    note: str = ""
    line: int = 0


@dataclass(frozen=True)
class Session:
    """box, circuit: name of the box, CRC of its curve from counts to the signal, where the box measured; a session goes on with these only."""

    input: str
    kind: str
    started: date
    attitude: str = LEVEL
    signals: str = BY_BOX
    meter: Amount | None = None
    can: Can | None = None
    fuel: str | None = None
    density: Fraction | None = None  # kg/l
    reference: Reference | None = None
    box: str = ""
    circuit: str = ""
    points: tuple[Point, ...] = ()
    file: str = ""

    @property
    def parked(self) -> bool:
        return self.attitude == PARKED


def read_session(path: Path) -> Session:
    """The session of a file. Raises WrongBoxFile (a Wrong) with every problem as "file:line: ...", Misuse where it cannot be read."""
    reader = Reader(str(path), read_text(path).removeprefix("\ufeff").replace("\r\n", "\n"))
    session = _session(reader)
    if reader.problems or session is None:
        raise WrongBoxFile(str(path), reader.problems)
    return session


def write(path: Path, session: Session) -> None:
    """A new session file. Raises Misuse where there is one, or it cannot be written."""
    if path.exists():
        raise Misuse(f"{path}: is there already; go on with it, or name another with --session")
    write_whole(path, _head_text(session) + "".join(_point_text(point) for point in session.points))


def append(path: Path, point: Point) -> None:
    """Adds a point. Raises Misuse where it cannot be written."""
    text = read_text(path)
    newline = _newline(text)
    write_whole(path, text.rstrip() + newline + _point_text(point).replace("\n", newline))


def undo(path: Path) -> None:
    """Takes the last point away, and nothing else. Raises Misuse where there is none, WrongBoxFile."""
    session = read_session(path)
    if not session.points:
        raise Misuse(f"{path}: there is no point to take away")
    text = read_text(path)
    lines = text.split("\n")
    first = session.points[-1].line - 1
    headers = (line - 1 for (_, _, key), line in key_lines("\n".join(lines)).items() if not key)
    last = min((line for line in headers if line > first), default=len(lines))
    while not lines[last - 1].strip() or lines[last - 1].lstrip().startswith("#"):
        last -= 1  # what stands below it was not written with it
    while first and not lines[first - 1].strip():
        first -= 1
    write_whole(path, "\n".join(lines[:first] + lines[last:]).rstrip("\r\n") + _newline(text))


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


# -- reading


def amount(
    *units: str, least: Fraction | None = None, most: Fraction | None = None
) -> Callable[[Any], Amount]:
    """A quantity of the kind of one of those units, in its own. Bounds are in the first unit of its kind that is named."""

    def parse(value: Any) -> Amount:
        problems = []
        for unit in units:
            try:
                quantity = parse_quantity(value, unit)
            except ValueError as problem:
                problems.append(str(problem))
                continue
            if least is not None and quantity < least or most is not None and quantity > most:
                lowest, highest = ("" if end is None else f"{float(end):g}" for end in (least, most))
                what = f"from {lowest} to {highest}" if highest else f"at least {lowest}"
                raise ValueError(f'"{value}" must be {what} {unit}')
            match = QUANTITY.fullmatch(value)
            assert match is not None
            return Amount(Fraction(match[1]), match[2])
        usable = [name for name, (kind, _, _) in UNITS.items() if kind in {UNITS[unit][0] for unit in units}]
        without, unit_missing, _ = problems[0].partition("has no unit")
        if unit_missing and len(usable) > 1:  # which one it was, nobody here knows: a litre is no gallon
            raise ValueError(f"{without}{unit_missing}; write it with its own: {', '.join(usable)}")
        cures = [problem for problem in problems if "; write" in problem]
        if cures or len(set(problems)) == 1:
            raise ValueError((cures or problems)[0])
        raise ValueError(f'"{value}" does not fit here; usable here: {", ".join(usable)}')

    return parse


NOUGHT = Fraction(0)
signal = amount(*SIGNAL_KINDS)
fuel_amount = amount("l", "kg")
true_value = amount(*TRUE_KINDS)
share = amount(SHARE, least=NOUGHT, most=Fraction(50))


def density(value: Any) -> Fraction:
    """kg/l."""
    match = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,9})?)\s*(kg/l|g/ml|g/cm3|lb/US gal)\s*", str(value))
    if match is None:
        raise ValueError(f'{value!r} is no density; write "<number> kg/l"')
    pound = UNITS["lb"][1] / UNITS["US gal"][1] if match[2] == "lb/US gal" else 1
    found = Fraction(match[1]) * pound
    if not LIGHTEST <= found <= HEAVIEST:
        what = f"{float(LIGHTEST):g} to {float(HEAVIEST):g} kg/l"
        raise ValueError(f'"{value}" is no density of a fuel; {what}')
    return found


def _parts(
    value: Any, right: str, needed: dict[str, Callable[[Any], Any]], possible: dict[str, Any]
) -> dict[str, Any]:
    """The keys of a table on one line, each through its parser."""
    parsers = needed | possible
    if not isinstance(value, dict):
        raise ValueError(f"must be {right}")
    for key in [*value, *needed]:
        if key not in parsers or key not in value:
            raise ValueError(f'{"has no" if key not in parsers else "needs"} "{key}"; write {right}')
    parts = {}
    for key in value:
        try:
            parts[key] = parsers[key](value[key])
        except ValueError as problem:
            raise ValueError(f"{key} {problem}") from None
    return parts


def can(value: Any) -> Can:
    of_each = amount("l", "kg", SHARE, least=NOUGHT)
    return Can(**_parts(value, CAN_EXAMPLE, {"every": share, "each": of_each}, {}))


def reference(value: Any) -> Reference:
    off = amount(*TRUE_KINDS, least=NOUGHT)
    parts = _parts(value, REFERENCE_EXAMPLE, {"name": _text_of, "plus_minus": off}, {"each": off})
    return Reference(parts["name"], parts["plus_minus"], parts.get("each"))


def _text_of(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("must be a text that is not empty")
    return value


def _date(value: Any) -> date:
    if isinstance(value, datetime):
        return value.date()
    if not isinstance(value, date):
        raise ValueError(f"{value!r} is no date; write it without quotes, as 2026-11-26")
    return value


def _moment(value: Any) -> datetime:
    if not isinstance(value, datetime):
        raise ValueError(f"{value!r} is no date and time; write it without quotes, as 2026-11-26T10:02:11")
    return value


def _session(reader: Reader) -> Session | None:
    """None where problems stand in the reader."""
    sections = reader.tables("point")
    if sections and ("point", 0, "") not in reader.lines:
        reader.wrong(reader.line_of("point"), "point", "write each one under [[point]]")
        sections = []
    for (table, _, key), line in list(reader.lines.items()):
        if not key:
            # a table that does not belong here, too, has its line
            reader.lines.setdefault(("", 0, table), line)
    head = Section(reader, "", 0, reader.content, "session")
    head.known.append("point")
    name = head.take("input", box_values.name, None, 'the name of its input, such as "left fuel"')
    kinds = f'"{TANK}" or "{REFERENCE}"'
    kind = head.take("kind", box_values.one_of(TANK, REFERENCE), None, kinds)
    started = head.take("started", _date, None, "the day, as 2026-11-26")
    attitude = head.take("attitude", box_values.one_of(LEVEL, PARKED), LEVEL) or LEVEL
    signals = head.take("signals", box_values.one_of(BY_BOX, BY_METER), None, f'"{BY_BOX}" or "{BY_METER}"')
    meter = head.take("meter", amount(SHARE, *SIGNAL_KINDS, least=NOUGHT), None)
    given_can = head.take("can", can, None)
    fuel = head.take("fuel", fuel_name, None)
    measured = head.take("density", density, None)
    gauge = head.take("reference", reference, None)
    box = head.take("box", box_values.name, "") or ""
    circuit = head.take("circuit", _text_of, "") or ""
    head.finish()
    if signals == BY_METER and "meter" not in head.written:
        head.wrong("signals", 'by what meter? add meter = "0.5 %", its plus or minus at 95 %')
    if signals == BY_BOX and "meter" in head.written:
        head.wrong("meter", f'belongs to signals = "{BY_METER}"; leave it out')
    belong = {TANK: ("attitude", "can", "fuel", "density"), REFERENCE: ("reference",)}
    for other, keys in belong.items():
        for key in keys:
            if kind is not None and kind != other and key in head.written:
                head.wrong(key, f'belongs to kind = "{other}"; leave it out')
    if kind == TANK and "can" not in head.written:
        head.wrong("", f"can is missing; write what pours are off by, can = {CAN_EXAMPLE}")
    if kind == REFERENCE and "reference" not in head.written:
        head.wrong("", f"reference is missing; write reference = {REFERENCE_EXAMPLE}")
    if fuel is not None and measured is not None:
        head.wrong("density", "and fuel say the same; leave one of them out")
    points = [
        point
        for section in sections
        if (point := _point(section, kind, "density" in head.written)) is not None
    ]
    if kind == TANK and points and points[0].line == sections[0].line:
        first = points[0].added or points[0].weighed
        if first is not None and first.value:
            sections[0].wrong(
                "added", 'the first is what is there above the unusable: "0"; drain to that, and begin there'
            )
    if kind == TANK and fuel is None and measured is None:
        for section, point in zip(sections, points):
            if point.weighed is not None and "density" not in head.written:
                section.wrong(
                    "weighed", 'of which fuel? add fuel = "avgas 100LL" or density = "0.716 kg/l" above'
                )
                break
    for what in ("signal", "true"):
        _one_kind(reader, points, what)
    if reader.problems or name is None or kind is None or started is None or signals is None:
        return None
    return Session(
        name, kind, started, attitude, signals, meter, given_can, fuel, measured, gauge, box, circuit,
        tuple(points), reader.file,
    )  # fmt: skip


def fuel_name(value: Any) -> str:
    from gaugelight.calibration import density as densities

    name = _text_of(value)
    densities.named(name, 15.0)
    return name


def _point(section: Section, kind: str | None, density_measured: bool) -> Point | None:
    before = section.problems
    found: dict[str, Any] = {
        "signal": section.take("signal", signal, None, '"<number> ohm", mA or V'),
        "added": section.take("added", fuel_amount),
        "weighed": section.take("weighed", amount("kg")),
        "temperature": section.take("temperature", amount("degC", least=Fraction(-40), most=Fraction(60))),
        "true": section.take("true", true_value),
        "spread": section.take("spread", amount(*SIGNAL_KINDS, least=NOUGHT)),
        "dip": section.take("dip", amount("mm", least=NOUGHT)),
        "at": section.take("at", _moment),
        "note": section.take("note", _text_of, "") or "",
    }
    section.finish()
    written = section.written
    if kind == TANK:
        if ("added" in written) == ("weighed" in written):
            what = "both stand there; leave one out" if "added" in written else "is missing; or write weighed"
            section.wrong(
                "added" if "added" in written else "", f"{'' if 'added' in written else 'added '}{what}"
            )
        if "true" in written:
            section.wrong("true", f'belongs to kind = "{REFERENCE}"; write added')
        if "weighed" in written and "temperature" not in written and not density_measured:
            section.wrong("weighed", 'at which temperature? add temperature = "18 degC"')
    elif kind == REFERENCE:
        for key in ("added", "weighed", "temperature", "dip"):
            if key in written:
                section.wrong(key, f'belongs to kind = "{TANK}"; write true = "...", what the reference said')
        if "true" not in written:
            section.wrong("", 'true is missing; write what the reference said, true = "300 psi"')
    if section.problems > before:
        return None
    return Point(**found, line=section.line)


def _one_kind(reader: Reader, points: list[Point], what: str) -> None:
    """Signals, and what a reference said, are of one kind in all points; a spread is of that of its signal."""
    first: Amount | None = None
    for point in points:
        value: Amount | None = getattr(point, what)
        for one in (value, point.spread if what == "signal" else None):
            if one is None:
                continue
            first = first or one
            if UNITS[one.unit][0] != UNITS[first.unit][0]:
                reader.wrong(point.line, what, f"{one} is not of the kind of {first}, which stands above")


# -- writing


def _head_text(session: Session) -> str:
    facts: list[tuple[str, str]] = [("input", _quoted(session.input)), ("kind", _quoted(session.kind))]
    if session.kind == TANK:
        facts.append(("attitude", _quoted(session.attitude)))
    facts += [("started", session.started.isoformat()), ("signals", _quoted(session.signals))]
    if session.meter is not None:
        facts.append(("meter", _quoted(session.meter)))
    if session.box:
        facts.append(("box", _quoted(session.box)))
    if session.circuit:
        facts.append(("circuit", _quoted(session.circuit)))
    if session.can is not None:
        facts.append(
            ("can", f"{{ every = {_quoted(session.can.every)}, each = {_quoted(session.can.each)} }}")
        )
    if session.fuel is not None:
        facts.append(("fuel", _quoted(session.fuel)))
    if session.density is not None:
        facts.append(("density", _quoted(f"{float(session.density):.6g} kg/l")))
    if (gauge := session.reference) is not None:
        each = "" if gauge.each is None else f", each = {_quoted(gauge.each)}"
        name, off = _quoted(gauge.name), _quoted(gauge.plus_minus)
        facts.append(("reference", f"{{ name = {name}, plus_minus = {off}{each} }}"))
    head = "# A calibration, whole after every point; plus or minus at 95 %. Points may be added, and notes made, by hand.\n"
    return head + "".join(f"{key} = {value}\n" for key, value in facts)


def _point_text(point: Point) -> str:
    facts: list[tuple[str, str]] = []
    for key in ("added", "weighed", "temperature", "true", "signal", "spread", "dip"):
        value: Amount | None = getattr(point, key)
        if value is not None:
            facts.append((key, _quoted(value)))
    if point.at is not None:
        facts.append(("at", point.at.isoformat(timespec="seconds")))
    if point.note:
        facts.append(("note", _quoted(point.note)))
    return "\n[[point]]\n" + "".join(f"{key} = {value}\n" for key, value in facts)


def _quoted(value: object) -> str:
    """As TOML writes a text; JSON's escapes are among its own."""
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
