"""The box file's [connector.NAME], [[cable]] and [compass]: what is written there, each key judged by itself.

None of it reaches the box. What the pins are used for, and all that must hold of the harness as a whole, is judged in `check_harness`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugelight import box_values
from gaugelight.harness.connectors import Half, Shape, other_half, shape_of
from gaugelight.wires import GAUGES

if TYPE_CHECKING:
    from gaugelight.boxfile import Reader, Section

LONGEST_CABLE, LONGEST_TEXT, LONGEST_USE = 40, 70, 90
EARTH = Fraction(
    20
)  # uT, horizontal, as in the middle of Europe and the north of the United States (from memory)
TURN = Fraction(30)  # mm, one turn of a twisted pair (common practice, no source)
LOOSE = Fraction(10)  # mm between two wires that are laid side by side and not twisted: this project's own
PAIR = Fraction(3, 2)  # mm between the middles of two wires that touch: AWG 22 with its insulation (wires.py)


@dataclass(frozen=True)
class Pin:
    """written: its use or uses, as the box file has them."""

    line: int
    number: int
    written: str


@dataclass(frozen=True)
class Connector:
    line: int
    name: str
    shape: Shape
    box: Half  # what the box's half carries
    pins: tuple[Pin, ...]  # those that are used, by number
    lines: dict[str, int] = field(default_factory=dict, compare=False)  # of its keys

    @property
    def harness(self) -> Half:
        return other_half(self.box)


@dataclass(frozen=True)
class Cable:
    """Lengths in m, spacing and turn in mm. tank: what it carries goes into a fuel tank, whatever it is read as."""

    line: int
    name: str
    carries: tuple[str, ...]
    to: str
    gauge: int
    length: Fraction
    twisted: bool = False
    shield: str = ""
    bundle: str = ""
    spacing: Fraction = LOOSE
    turn: Fraction = TURN
    airframe: bool = False  # its current comes back through the airframe
    fuse: Fraction | None = None  # A
    tank: bool = False
    lines: dict[str, int] = field(default_factory=dict, compare=False)  # of its keys

    def line_of(self, key: str) -> int:
        return self.lines.get(key, self.line)

    def lies_with(self, other: Cable) -> bool:
        """In one bundle; "Tanks" and "tanks" are one."""
        return self.bundle != "" and self.bundle.lower() == other.bundle.lower()


@dataclass(frozen=True)
class Compass:
    line: int
    distance: Fraction  # m, of the lamps' wiring
    horizontal: Fraction = EARTH  # uT


@dataclass(frozen=True)
class Harness:
    connectors: tuple[Connector, ...] = ()
    cables: tuple[Cable, ...] = ()
    compass: Compass | None = None


def read_harness(reader: Reader) -> Harness | None:
    """None where the file has none of its tables; problems go to the reader."""
    if not {"connector", "cable", "compass"} & set(reader.content):
        return None
    connectors = _connectors(reader)
    cables = [one for section in reader.tables("cable") if (one := _cable(section)) is not None]
    compass = None if (section := reader.table("compass")) is None else _compass(section)
    return Harness(tuple(connectors), tuple(cables), compass)


def _connectors(reader: Reader) -> list[Connector]:
    from gaugelight.boxfile import Section

    tables = reader.content.pop("connector", {})
    if not isinstance(tables, dict) or not all(isinstance(values, dict) for values in tables.values()):
        reader.wrong(
            reader.line_of("connector"), "connector", "write each one under [connector.NAME], such as J1"
        )
        return []
    made = []
    seen: dict[str, str] = {}
    for name, values in tables.items():
        section = Section(reader, f"connector.{name}", 0, values, name)
        if (section.table, 0, "") not in reader.lines:  # written within braces
            section.line = reader.lines.get(("connector", 0, name), reader.line_of("connector"))
        if (other := seen.setdefault(name.lower(), name)) != name:
            section.wrong("", f"is told from {other} by a capital only; give it another name")
        if (one := _connector(section)) is not None:
            made.append(one)
    return made


def _connector(section: Section) -> Connector | None:
    from gaugelight.boxfile import Section

    before = section.problems
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9]{0,7}", section.name):
        section.wrong("", "is no name for a connector; write a letter and a number, such as J1")
    shape = section.take("kind", shape_of, None, '"D-sub 25", "header 2x8" or "block 2"')
    block = shape is not None and shape.is_block
    need = "" if block else '"sockets" or "pins", whatever the half on the box carries'
    box = section.take("box", box_values.one_of("sockets", "pins"), "pins" if block else None, need)
    values = section.take("pins", _table, None, f'[connector.{section.name}.pins], lines such as 1 = "guard"')
    section.finish()
    listed = Section(section.reader, f"{section.table}.pins", 0, values or {}, f"{section.name} pins")
    if (listed.table, 0, "") not in section.reader.lines:  # written within braces
        listed.line = section.line_of("pins")
    pins = []
    for key in listed.written if shape else ():
        assert shape is not None
        if not re.fullmatch(r"[1-9]\d{0,2}", key) or int(key) > shape.ways:
            listed.wrong(key, f"there is no such pin; a {shape.kind} has 1 to {shape.ways}")
            continue
        if (use := listed.take(key, _text(LONGEST_USE), None)) is not None:
            pins.append(Pin(listed.line_of(key), int(key), use))
    if section.problems > before or shape is None or box is None:
        return None
    half: Half = "sockets" if box == "sockets" else "pins"
    return Connector(section.line, section.name, shape, half, tuple(sorted(pins, key=lambda pin: pin.number)))


def _cable(section: Section) -> Cable | None:
    before = section.problems
    written = section.values.get("name")
    section.name = f"cable {written}" if isinstance(written, str) else section.name
    name = section.take("name", _text(LONGEST_CABLE), None, 'a name, such as "left tank"')
    carries = section.take("carries", _carries, None, '["left fuel", "left fuel return"], uses of pins')
    to = section.take("to", _text(LONGEST_TEXT), None, 'where it goes, "left tank, sender stud and body"')
    gauge = section.take("gauge", _gauge, None, f"one of {', '.join(map(str, GAUGES))}")
    length = section.take("length", _length, None, '"3.2 m"')
    twisted = section.take("twisted", box_values.yes_or_no, False) or False
    shield = section.take("shield", _text(LONGEST_TEXT), "")
    bundle = section.take("bundle", _text(LONGEST_CABLE), "")
    spacing = section.take("spacing", _millimetres(1, 1000), PAIR if twisted else LOOSE)
    turn = section.take("turn", _millimetres(5, 300), TURN)
    back = section.take("return", box_values.one_of("airframe"), None)
    fuse = section.take("fuse", box_values.positive_quantity("A"), None)
    tank = section.take("tank", box_values.yes_or_no, False) or False
    section.finish()
    if "turn" in section.written and not twisted:
        section.wrong("turn", "belongs to a twisted cable; add twisted = true, or leave it out")
    if section.problems > before or name is None or carries is None or to is None:
        return None
    assert gauge is not None and length is not None and shield is not None and bundle is not None
    assert spacing is not None and turn is not None
    return Cable(
        section.line, name, carries, to, gauge, length, twisted, shield, bundle, spacing, turn, back is not None, fuse,
        tank, _lines(section),
    )  # fmt: skip


def _lines(section: Section) -> dict[str, int]:
    return {key: section.line_of(key) for key in section.written}


def _compass(section: Section) -> Compass | None:
    before = section.problems
    distance = section.take("distance", distance_of, None, '"0.6 m", from the lamps\' wiring to the compass')
    horizontal = section.take("horizontal", _horizontal, EARTH)
    section.finish()
    if section.problems > before or distance is None or horizontal is None:
        return None
    return Compass(section.line, distance, horizontal)


def distance_of(value: Any) -> Fraction:
    """In m. ValueError says what would be right."""
    if not Fraction(1, 20) <= (metres := box_values.positive_quantity("m")(value)) <= 20:
        raise ValueError(f'"{value}" must lie between 5 cm and 20 m')
    return metres


def _horizontal(value: Any) -> Fraction:
    return box_values.between("uT", 1, 60)(value)


def _length(value: Any) -> Fraction:
    if (metres := box_values.positive_quantity("m")(value)) > 50:
        raise ValueError(f'"{value}" is longer than any light aircraft; 50 m at most')
    return metres


def _millimetres(least: int, most: int) -> Callable[[Any], Fraction]:
    return box_values.between("mm", least, most)


def _gauge(value: Any) -> int:
    if isinstance(value, bool) or value not in GAUGES:
        raise ValueError(f"AWG {value!r} is no aircraft wire; there are {', '.join(map(str, GAUGES))}")
    return int(value)


def _table(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise ValueError('is no table; write [connector.NAME.pins] and lines such as 1 = "guard"')
    return value


def _text(longest: int) -> Callable[[Any], str]:
    def parse(value: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise ValueError("must be a text in quotes that is not empty")
        if len(value) > longest:
            raise ValueError(f"is {len(value)} characters long; {longest} fit the sheet")
        if any(not " " <= c <= "~" for c in value):
            raise ValueError(f'"{value}" may hold plain ASCII only')
        return " ".join(value.split())

    return parse


def _carries(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError('must be uses in brackets, such as ["left fuel", "left fuel return"]')
    return tuple(_text(LONGEST_USE)(one) for one in value)
