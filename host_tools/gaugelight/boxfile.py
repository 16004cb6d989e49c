"""The box file: from TOML text to a `Box`, with every problem named by line.

`read_box` is the way in. What concerns one key or one table is judged here, what concerns the box as a whole in `check`.
"""

import difflib
import math
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, TypeVar

from gaugebox import pins
from gaugelight.circuits import Ads1115, Circuit, Converter, Direct, Divider, OnChip, PullUp, Shunt
from gaugelight.problems import Misuse, Problem, WrongBoxFile
from gaugelight.quantity import likely, parse_quantity
from gaugelight.toml_lines import Lines, key_lines

T = TypeVar("T")


PRESSURE_UNITS = ("psi", "bar", "kPa")
READING_UNITS = ("US gal", "imp gal", "l", "kg", "lb", *PRESSURE_UNITS, "degC", "degF", "V", "mA", "ohm", "%")
PRESSURE_KINDS = ("gauge", "sealed", "absolute")
LONGEST_NAME = 24
# of nominal, what a measured rail may be: 3.3 V may rise to 3.56 V, below what a pin takes
RAIL_SPAN = Fraction(80, 100), Fraction(108, 100)
SENDER = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s*-\s*(\d{1,9}(?:\.\d{1,9})?) (ohm|mA|V)")
CIRCUIT_KEYS = {
    "pull-up": ("resistor", "rail"),
    "shunt": ("resistor",),
    "divider": ("top", "bottom"),
    "direct": (),
}

# points: held beyond its ends. linear: a line that goes on. live zero: so too, but a 4-20 mA loop, judged by NAMUR NE 43.
# itself: the reading is the signal, in the stated range and no further.
Law = Literal["points", "linear", "live zero", "itself"]
Points = tuple[tuple[Fraction, Fraction], ...]


@dataclass(frozen=True)
class Input:
    """One sender and how it is read. points: (signal in circuit.unit, reading in unit), signals rising."""

    line: int
    name: str
    converter: Converter
    channel: int
    circuit: Circuit
    points: Points
    unit: str
    step: Fraction
    damping: Fraction  # seconds
    nominal: Fraction | None
    law: Law


@dataclass(frozen=True)
class LampCurve:
    """gamma None: CIE 1976 lightness."""

    gamma: float | None


@dataclass(frozen=True)
class LampOutput:
    line: int
    name: str
    pin: int
    frequency: int  # Hz
    knob: int
    curve: LampCurve


@dataclass(frozen=True)
class DimRequestOutput:
    line: int
    pin: int
    follows: str
    on_above: Fraction  # per cent of the knob's travel
    off_below: Fraction


@dataclass(frozen=True)
class Box:
    file: str
    name: str
    supply: Fraction  # volts
    chips: tuple[Ads1115, ...]
    inputs: tuple[Input, ...]
    lamps: tuple[LampOutput, ...]
    dim_request: DimRequestOutput | None

    def input(self, name: str) -> Input | None:
        return next((i for i in self.inputs if i.name == name), None)

    def rail_of(self, one: Input) -> Input | None:
        """The measured rail that an input's pull-up hangs on."""
        return self.input(one.circuit.rail) if isinstance(one.circuit, PullUp) else None

    def lamp(self, name: str) -> LampOutput | None:
        return next((lamp for lamp in self.lamps if lamp.name == name), None)


class _Section:
    """One table of the file, taken key by key; what is left over at the end is unknown."""

    def __init__(self, reader: "_Reader", table: str, index: int, values: dict[str, Any], name: str) -> None:
        self.reader, self.table, self.index, self.name = reader, table, index, name
        self.values = dict(values)
        self.written = tuple(values)
        self.known: list[str] = []
        self.line = reader.lines.get((table, index, ""), 1)

    def line_of(self, key: str) -> int:
        return self.reader.lines.get((self.table, self.index, key), self.line)

    def wrong(self, key: str, what: str) -> None:
        where = f"{self.name}, {key}" if key else self.name
        self.reader.wrong(self.line_of(key), where, what)

    def take(
        self, key: str, parse: Callable[[Any], T], default: T | None = None, required: str = ""
    ) -> T | None:
        """The key's value through `parse`; where it is missing the default, or a problem saying what is required."""
        self.known.append(key)
        if key not in self.values:
            if required:
                self.wrong("", f"{key} is missing; write {key} = {required}")
            return default
        value = self.values.pop(key)
        try:
            return parse(value)
        except ValueError as problem:
            self.wrong(key, str(problem))
            return default

    def skip(self, *keys: str) -> None:
        """Keys that cannot be judged because of another problem."""
        self.known += keys
        for key in keys:
            self.values.pop(key, None)

    def finish(self) -> None:
        for key in self.values:
            near = difflib.get_close_matches(key, self.known, 1)
            cure = f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(self.known)}"
            self.wrong(key, f"unknown key; {cure}")


class _Reader:
    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        try:
            self.content = tomllib.loads(text)
        except RecursionError:
            raise WrongBoxFile(file, [Problem(0, "TOML", "brackets within brackets without end")]) from None
        except ValueError as problem:  # a TOMLDecodeError, or a number of thousands of digits
            what, _, where = str(problem).partition(" (at ")
            match = re.search(r"line (\d+)", where)
            line = int(match[1]) if match else text.count("\n") + 1
            written = text.split("\n")[line - 1].strip()[:60]
            what = f"{what.lower()} in: {_printable(written)}{_toml_cure(written, what)}"
            raise WrongBoxFile(file, [Problem(line, "TOML", what)]) from None
        self.lines: Lines = key_lines(text)

    def wrong(self, line: int, where: str, what: str) -> None:
        self.problems.append(Problem(line, _printable(where), _printable(what)))

    def line_of(self, table: str) -> int:
        """Where a table, or one below it, or a key of that name before all tables first stands."""
        stands = (n for (t, _, key), n in self.lines.items() if (t or key).split(".")[0] == table)
        return min(stands, default=1)

    def tables(self, key: str) -> list[_Section]:
        value = self.content.pop(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.wrong(self.line_of(key), key, f"write each one under [[{key}]]")
            return []
        return [_Section(self, key, i, v, str(v.get("name", f"{key} {i + 1}"))) for i, v in enumerate(value)]

    def table(self, key: str) -> _Section | None:
        if key not in self.content:
            return None
        value = self.content.pop(key)
        if not isinstance(value, dict):
            self.wrong(self.line_of(key), key, f"write it under [{key}]")
            return None
        return _Section(self, key, 0, value, key)

    def box(self) -> Box:
        name, supply = "", Fraction(14)
        if "box" not in self.content:
            self.wrong(1, "box", 'is missing; begin with [box], name = "...", board = "rp2040"')
        if (section := self.table("box")) is not None:
            name = section.take("name", _name, "", 'a name, such as "hull console"') or ""
            section.take("board", _one_of(pins.BOARD), None, f'"{pins.BOARD}"')
            supply = section.take("supply", _positive_quantity("V"), supply) or supply
            section.finish()
        chips = self.chips()
        inputs = [i for s in self.tables("input") if (i := self.input(s, chips)) is not None]
        lamps = [lamp for s in self.tables("lamp") if (lamp := self.lamp(s)) is not None]
        dim_request = self.dim_request()
        for key in self.content:
            near = difflib.get_close_matches(key, ("box", "converter", "input", "lamp", "dim_request"), 1)
            cure = f'did you mean "{near[0]}"?' if near else "known: box, converter, input, lamp, dim_request"
            self.wrong(self.line_of(key), key, f"unknown table; {cure}")
        if not self.problems:
            for name in chips.keys() - {i.converter.name for i in inputs if isinstance(i.converter, Ads1115)}:
                line = self.lines.get((f"converter.{name}", 0, ""), 1)
                self.wrong(line, f"converter {name}", "no input uses it; leave it out until one does")
        return Box(self.file, name, supply, tuple(chips.values()), tuple(inputs), tuple(lamps), dim_request)

    def chips(self) -> dict[str, Ads1115]:
        value = self.content.pop("converter", {})
        if not isinstance(value, dict) or not all(isinstance(v, dict) for v in value.values()):
            self.wrong(self.line_of("converter"), "converter", "write each one under [converter.NAME]")
            return {}
        chips: dict[str, Ads1115] = {}
        for name, values in value.items():
            before = len(self.problems)
            section = _Section(self, f"converter.{name}", 0, values, f"converter {name}")
            try:
                _chip_name(name)
            except ValueError as problem:
                section.wrong("", str(problem))
            section.take("kind", _one_of("ads1115"), None, '"ads1115"')
            address = section.take("address", _whole(0x48, 0x4B, "an address 0x48 to 0x4b"), 0x48)
            section.finish()
            chips[name] = Ads1115(name, address or 0x48)
            other = next((n for n, chip in chips.items() if n != name and chip.address == address), None)
            if other is not None and len(self.problems) == before:
                section.wrong("address", f"address {address:#x} is {other}'s already; there are 0x48 to 0x4b")
        return chips

    def input(self, section: _Section, chips: dict[str, Ads1115]) -> Input | None:
        before = len(self.problems)
        name = section.take("name", _name, "", 'a name, such as "left fuel"') or ""
        place = section.take("pin", _place(chips), None, '"CONVERTER.CHANNEL" or an on-chip pin 26 to 28')
        circuit = section.take(
            "circuit", _circuit, None, '{ kind = "pull-up" | "shunt" | "divider" | "direct", ... }'
        )
        unit = section.take("unit", _one_of(*READING_UNITS), None, 'a unit, such as "US gal"')
        kind = section.take("pressure", _one_of(*PRESSURE_KINDS), None)
        if unit in PRESSURE_UNITS:
            if "pressure" not in section.written:
                section.wrong("unit", f'{unit} of what? add pressure = "gauge", "sealed" or "absolute"')
            unit = f"{unit} {kind}"
        elif unit is not None and kind is not None:
            section.wrong("pressure", f"{unit} is no unit of pressure; leave this key out")
        damping = section.take("damping", _damping, Fraction(0))
        points: Points | None = None
        nominal = None
        law: Law = "points"
        if circuit is not None:
            nominal = section.take("nominal", _positive_quantity(circuit.unit), None)
            sender = section.take("sender", _sender(circuit.unit), None)
            given = section.take("points", _points(circuit.unit), None)
            span = section.take("range", _span, None)
            points, law = self.law(section, circuit, unit, sender, given, span, nominal)
        else:
            section.skip("nominal", "sender", "points", "range")
        step = section.take("step", _positive, None)
        if points is not None:
            width = abs(points[-1][1] - points[0][1])
            if "step" not in section.written:
                step = _default_step(width)
            if step is not None and not width / 100000 <= step <= width:
                section.wrong(
                    "step", f"{float(step):g} does not suit readings that span {float(width):g} {unit}"
                )
        section.finish()
        if len(self.problems) > before or place is None or circuit is None or points is None:
            return None
        if unit is None or step is None or damping is None:
            return None
        return Input(section.line, name, *place, circuit, points, unit, step, damping, nominal, law)

    def law(
        self,
        section: _Section,
        circuit: Circuit,
        unit: str | None,
        sender: tuple[Fraction, Fraction] | None,
        given: Points | None,
        span: tuple[Fraction, Fraction] | None,
        nominal: Fraction | None,
    ) -> tuple[Points | None, Law]:
        """The points of the sender and how they are meant; no points where something is wrong."""
        written = [key for key in ("points", "sender", "range") if key in section.written]
        if "points" in written:
            if len(written) > 1:
                section.wrong(written[1], "points say it all already; leave this key out")
            return given, "points"
        if "sender" in written:
            if span is None:
                if "range" not in written:
                    section.wrong(
                        "sender",
                        "range is missing; write range = [lowest, highest] in " + (unit or "its unit"),
                    )
                return None, "linear"
            if sender is None:
                return None, "linear"
            live_zero = circuit.unit == "mA" and [*sender] == [4, 20]
            return tuple(sorted(zip(sender, span))), "live zero" if live_zero else "linear"
        if unit == circuit.unit:
            if span is None and nominal is not None:
                span = (nominal * RAIL_SPAN[0], nominal * RAIL_SPAN[1])
            if span is not None and span[0] < 0:
                section.wrong("range", "a signal below 0 cannot be measured")
            elif span is not None:
                return ((span[0], span[0]), (span[1], span[1])), "itself"
            if "range" in written or "nominal" in section.written:
                return None, "itself"
            section.wrong(
                "", f'range is missing; write range = [lowest, highest] in {unit}, or nominal = "... {unit}"'
            )
            return None, "points"
        section.wrong("", f'points are missing; write points = [["<number> {circuit.unit}", reading], ...]')
        return None, "points"

    def lamp(self, section: _Section) -> LampOutput | None:
        before = len(self.problems)
        name = section.take("name", _name, "", 'a name, such as "glare shield"') or ""
        pin = section.take("pin", _output_pin, None, "an output pin, such as 15")
        frequency = section.take("frequency", _frequency, None, '"4 kHz"')
        knob = section.take("knob", _converter_pin, None, "an on-chip converter pin, 26 to 28")
        curve = section.take("curve", _curve, LampCurve(None))
        section.finish()
        if len(self.problems) > before or pin is None or frequency is None or knob is None or curve is None:
            return None
        return LampOutput(section.line, name, pin, frequency, knob, curve)

    def dim_request(self) -> DimRequestOutput | None:
        if (section := self.table("dim_request")) is None:
            return None
        before = len(self.problems)
        pin = section.take("pin", _output_pin, None, "an output pin, such as 14")
        follows = section.take("follows", _name, None, "the name of a lamp")
        on_above = section.take("on_above", _percent, Fraction(8))
        off_below = section.take("off_below", _percent, Fraction(5))
        section.finish()
        if on_above is not None and off_below is not None and on_above <= off_below:
            section.wrong("on_above", "must lie above off_below, or the line hunts")
        if (
            len(self.problems) > before
            or pin is None
            or follows is None
            or on_above is None
            or off_below is None
        ):
            return None
        return DimRequestOutput(section.line, pin, follows, on_above, off_below)


def _toml_cure(line: str, problem: str) -> str:
    """What was most likely meant by a line that is no TOML."""
    if re.match(r"\[(input|lamp)\]", line):
        return "; there may be several: write [" + line.split("]")[0] + "]]"
    if re.search(r"[\u2018\u2019\u201c\u201d\u201e]", line):
        return '; use straight quotes: "'
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return "; a number takes a decimal point, no comma"
    if line.count('"') % 2:
        return '; a quote (") is missing'
    if re.search(r"=\s*[A-Za-z+-]|=\s*[\d.]+\s*[A-Za-z%]", line) and "true" not in line:
        return '; a text stands in quotes: "..."'
    if line.count("[") != line.count("]") or "declare" not in problem and re.match(r"\S+\s*=", line):
        return "; look for a bracket or a comma that is missing here or in the line before"
    return ""


def _name(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError("must be a text that is not empty")
    if value != value.strip():
        raise ValueError(f'"{value}" begins or ends with a space; leave it out')
    if len(value) > LONGEST_NAME:
        raise ValueError(f'"{value}" is {len(value)} characters long; at most {LONGEST_NAME} fit the face')
    if any(not " " <= c <= "~" or c in "|," for c in value):
        raise ValueError(f'"{value}" may hold plain ASCII without "|" and "," only')
    return value


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "." for c in text)


def _chip_name(value: str) -> None:
    if "." in _name(value):
        raise ValueError(f'"{value}" must do without "."')


def _one_of(*allowed: str) -> Callable[[Any], str]:
    def parse(value: Any) -> str:
        if value in ("gal", "gallon", "gallons"):
            raise ValueError('gallons of which kind? write "US gal" or "imp gal"')
        if not isinstance(value, str) or value not in allowed:
            meant = likely(value, allowed)
            cure = f'did you mean "{meant}"?' if meant else f"write one of: {', '.join(allowed)}"
            raise ValueError(f"{value!r} is not known; {cure}")
        return value

    return parse


def _quantity(unit: str) -> Callable[[Any], Fraction]:
    return lambda value: parse_quantity(value, unit)


def _positive_quantity(unit: str) -> Callable[[Any], Fraction]:
    def parse(value: Any) -> Fraction:
        if (quantity := parse_quantity(value, unit)) <= 0:
            raise ValueError(f'"{value}" must be more than 0')
        return quantity

    return parse


def _number(value: Any) -> Fraction:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
        raise ValueError(f"{value!r} is no number")
    if abs(value) > 1e6:
        raise ValueError(f"{value!r} is out of all proportion; at most 1000000")
    return Fraction(str(value))


def _positive(value: Any) -> Fraction:
    if (number := _number(value)) <= 0:
        raise ValueError(f"must be more than 0, not {value}")
    return number


def _span(value: Any) -> tuple[Fraction, Fraction]:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError("must be [lowest, highest]")
    low, high = map(_number, value)
    if low >= high:
        raise ValueError(f"runs from {value[0]} to {value[1]}; the lower end comes first")
    return low, high


def _whole(low: int, high: int, right: str) -> Callable[[Any], int]:
    def parse(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError(f"must be {right}, not {value!r}")
        return value

    return parse


def _damping(value: Any) -> Fraction:
    seconds = parse_quantity(value, "s")
    if not 0 <= seconds <= 120:
        raise ValueError(f'"{value}" is outside 0 to 120 s')
    return seconds


def _percent(value: Any) -> Fraction:
    percent = parse_quantity(value, "%")
    if not 0 < percent < 100:
        raise ValueError(f'"{value}" must lie between 0 % and 100 %')
    return percent


def _frequency(value: Any) -> int:
    hertz = parse_quantity(value, "Hz")
    if not 100 <= hertz <= 100_000 or hertz.denominator != 1:
        raise ValueError(f'"{value}" must be a whole number of hertz from "100 Hz" to "100 kHz"')
    return int(hertz)


def _gpio(value: Any) -> Any:
    """15 and "GP15" are the same pin."""
    return int(value[2:]) if isinstance(value, str) and re.fullmatch(r"GP\d{1,2}", value) else value


def _output_pin(value: Any) -> int:
    value = _gpio(value)
    if isinstance(value, bool) or not isinstance(value, int) or value not in pins.OUTPUT_PINS:
        raise ValueError(f"{value!r} cannot drive an output; free for that are GP0 to GP3 and GP6 to GP21")
    return value


def _converter_pin(value: Any) -> int:
    value = _gpio(value)
    if isinstance(value, bool) or not isinstance(value, int) or value not in pins.CONVERTER_PINS:
        raise ValueError(f"{value!r} is no on-chip converter pin; there are GP26, GP27 and GP28")
    return value


def _place(chips: dict[str, Ads1115]) -> Callable[[Any], tuple[Converter, int]]:
    def parse(value: Any) -> tuple[Converter, int]:
        value = _gpio(value)
        if not isinstance(value, str):
            return OnChip(), _converter_pin(value)
        chip, _, channel = value.partition(".")
        if chip not in chips:
            known = ", ".join(chips) or "none"
            raise ValueError(f'"{value}": there is no [converter.{chip}]; there is: {known}')
        if channel not in ("0", "1", "2", "3"):
            raise ValueError(f'"{value}": channels are {chip}.0 to {chip}.3')
        return chips[chip], int(channel)

    return parse


def _circuit(value: Any) -> Circuit:
    kinds = ", ".join(CIRCUIT_KEYS)
    if not isinstance(value, dict) or value.get("kind") not in tuple(CIRCUIT_KEYS):
        raise ValueError(f'must be {{ kind = "...", ... }} with kind one of: {kinds}')
    keys = CIRCUIT_KEYS[value["kind"]]
    for key in value:
        if key != "kind" and key not in keys:
            raise ValueError(f'a {value["kind"]} has no "{key}"; it has: {", ".join(keys) or "nothing more"}')
    for key in keys:
        if key not in value:
            raise ValueError(f'a {value["kind"]} needs "{key}"')
    ohms = {}
    for key in keys:
        if key != "rail":
            try:
                resistance = parse_quantity(value[key], "ohm")
            except ValueError as problem:
                raise ValueError(f"{key} {problem}") from None
            if not 1 <= resistance <= 10_000_000:
                raise ValueError(f'{key} "{value[key]}" is no resistor for this; 1 ohm to 10 Mohm')
            ohms[key] = float(resistance)
    if value["kind"] == "pull-up":
        return PullUp(ohms["resistor"], _name(value["rail"]))
    if value["kind"] == "shunt":
        return Shunt(ohms["resistor"])
    if value["kind"] == "divider":
        return Divider(ohms["top"], ohms["bottom"])
    return Direct()


def _sender(unit: str) -> Callable[[Any], tuple[Fraction, Fraction]]:
    def parse(value: Any) -> tuple[Fraction, Fraction]:
        match = SENDER.fullmatch(value) if isinstance(value, str) else None
        if match is None or match[3] != unit or Fraction(match[1]) == Fraction(match[2]):
            raise ValueError(f'{value!r} does not fit this circuit; write "<at lowest>-<at highest> {unit}"')
        return Fraction(match[1]), Fraction(match[2])

    return parse


def _points(unit: str) -> Callable[[Any], Points]:
    def parse(value: Any) -> Points:
        if not isinstance(value, list) or len(value) < 2:
            raise ValueError(f'must be two or more of ["<number> {unit}", reading]')
        points = []
        for i, point in enumerate(value, 1):
            if not isinstance(point, list) or len(point) != 2:
                raise ValueError(f'point {i} must be ["<number> {unit}", reading]')
            if isinstance(point[1], str):
                raise ValueError(
                    f'point {i} must be ["<number> {unit}", reading]: the signal with its unit, then a number'
                )
            try:
                points.append((parse_quantity(point[0], unit), _number(point[1])))
            except ValueError as problem:
                raise ValueError(f"point {i}: {problem}") from None
        points.sort()
        for k in range(1, len(points)):
            if points[k][0] == points[k - 1][0]:
                raise ValueError(f"{float(points[k][0]):g} {unit} stands there twice")
            if points[k][0] < 0 or points[k - 1][0] < 0:
                raise ValueError("a signal below 0 cannot be measured")
        readings = [r for _, r in points]
        rises = [b - a for a, b in zip(readings, readings[1:])]
        way = next((rise for rise in rises if rise), Fraction(0))
        if (turn := next((k for k, rise in enumerate(rises) if rise * way < 0), None)) is not None:
            where = f"{float(points[turn][0]):g} {unit}"
            raise ValueError(f"the readings turn back at {where}; they must only rise or only fall")
        if not way:
            raise ValueError("all readings are the same")
        return tuple(points)

    return parse


def _curve(value: Any) -> LampCurve:
    if value == "lightness":
        return LampCurve(None)
    if isinstance(value, dict) and set(value) == {"gamma"}:
        gamma = float(_number(value["gamma"]))
        if 1 <= gamma <= 4:
            return LampCurve(gamma)
        raise ValueError(f"gamma {gamma:g} is outside 1 to 4")
    raise ValueError('must be "lightness" or { gamma = 2.2 }')


def _default_step(width: Fraction) -> Fraction:
    """The largest 1, 2 or 5 times a power of ten of which a hundred fit."""
    power = Fraction(10) ** math.floor(math.log10(width / 100))
    return max(power * m for m in (1, 2, 5) if power * m <= width / 100)


def read_box(path: Path) -> Box:
    """The box a file describes. Raises WrongBoxFile with every problem that stands in it, Misuse."""
    from gaugelight.check import problems_of  # check needs Box

    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        what = "is not text in UTF-8; give the box file (.toml), not its image"
        raise WrongBoxFile(str(path), [Problem(0, "file", what)]) from None
    reader = _Reader(str(path), text.replace("\r\n", "\n"))
    box = reader.box()
    problems = reader.problems or problems_of(box)
    if problems:
        raise WrongBoxFile(str(path), problems)
    return box
