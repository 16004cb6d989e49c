"""The box file: from TOML text to a `Box`, with every problem named by line.

`read_box` is the way in. What concerns one key or one table is judged here, what concerns the box as a whole in `check`.
"""

import difflib
import math
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from gaugebox import pins
from gaugelight import temperature
from gaugelight.circuits import REFERENCE, Circuit, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import GAINS, PAIRS, RATES, Ads1115, ChipInput, Converter, OnChip
from gaugelight.laws import (
    Itself,
    Law,
    Line,
    Point,
    Points,
    Thermocouple,
    Thermometer,
    celsius_of,
    reading_of_celsius,
)
from gaugelight.problems import Misuse, Problem, WrongBoxFile
from gaugelight.quantity import UNITS, likely, parse_quantity
from gaugelight.toml_lines import Lines, key_lines

T = TypeVar("T")


PRESSURE_UNITS = ("psi", "bar", "kPa")
READING_UNITS = (
    "US gal",
    "imp gal",
    "l",
    "kg",
    "lb",
    *PRESSURE_UNITS,
    "degC",
    "degF",
    "V",
    "mV",
    "A",
    "mA",
    "ohm",
    "%",
)
PRESSURE_KINDS = ("gauge", "sealed", "absolute")
LONGEST_NAME = 24
# of nominal, what a measured rail may be: 3.3 V may rise to 3.56 V, below what a pin takes
RAIL_SPAN = Fraction(80, 100), Fraction(108, 100)
SENDER = re.compile(r"(\d{1,9}(?:\.\d{1,9})?)\s*-\s*(\d{1,9}(?:\.\d{1,9})?) (ohm|kohm|mA|V|mV)")
NAMUR_NE_43 = Fraction("3.6"), Fraction("3.8"), Fraction("20.5"), Fraction(21)  # mA
# keys of each circuit: those it needs, those it may have
CIRCUIT_KEYS = {
    "pull-up": (("resistor", "rail"), ("series", "wire", "protection", "tolerance")),
    "shunt": (("resistor",), ("protection", "tolerance")),
    "divider": (("top", "bottom"), ("rail", "wire", "protection", "tolerance")),
    "direct": ((), ("rail", "wire", "protection")),
    "millivolt": ((), ("wire", "protection")),
}
OVERSAMPLES = (1, 2, 4, 8, 16, 32, 64)

LAW_KEYS = ("points", "series", "sender", "range")
COLD_JUNCTION = -40.0, 85.0  # degC, until the input that measures it is known

Limits = tuple[Fraction, Fraction, Fraction, Fraction]
Resistive = temperature.Platinum | temperature.SteinhartHart | temperature.Beta | temperature.ThermistorTable
Thermal = Resistive | temperature.Thermocouple


@dataclass(frozen=True)
class Tolerance:
    """Of a sender, plus or minus: in `unit`, or in per cent of its span."""

    value: Fraction
    unit: str


@dataclass(frozen=True)
class Input:
    """One sender and how it is read.

    limits     signals (failure at or below, measuring from, measuring to, failure at or above), where stated
    cold       the name of the input that measures the cold junction
    tolerance  of the sender, where stated
    """

    line: int
    name: str
    converter: Converter
    circuit: Circuit
    law: Law
    unit: str
    step: Fraction
    damping: Fraction  # seconds
    nominal: Fraction | None
    limits: Limits | None = None
    cold: str | None = None
    tolerance: Tolerance | None = None


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
        """The measured rail that an input's circuit hangs on."""
        rail = one.circuit.rail
        return None if rail is None or rail == REFERENCE else self.input(rail)

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
        inputs = [_with_cold_junction(one, inputs) for one in inputs]
        lamps = [lamp for s in self.tables("lamp") if (lamp := self.lamp(s)) is not None]
        dim_request = self.dim_request()
        for key in self.content:
            near = difflib.get_close_matches(key, ("box", "converter", "input", "lamp", "dim_request"), 1)
            cure = f'did you mean "{near[0]}"?' if near else "known: box, converter, input, lamp, dim_request"
            self.wrong(self.line_of(key), key, f"unknown table; {cure}")
        if not self.problems:
            for name in chips.keys() - {
                i.converter.chip.name for i in inputs if i.converter.chip is not None
            }:
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
            full_scale = section.take("full_scale", _full_scale, 4.096)
            rate = section.take("rate", _rate, 128)
            mode = section.take("mode", _one_of("single-shot", "continuous"), "single-shot")
            section.finish()
            continuous = mode == "continuous"
            chips[name] = Ads1115(name, address or 0x48, full_scale or 4.096, rate or 128, continuous)
            other = next((n for n, chip in chips.items() if n != name and chip.address == address), None)
            if other is not None and len(self.problems) == before:
                section.wrong("address", f"address {address:#x} is {other}'s already; there are 0x48 to 0x4b")
        return chips

    def input(self, section: _Section, chips: dict[str, Ads1115]) -> Input | None:
        before = len(self.problems)
        name = section.take("name", _name, "", 'a name, such as "left fuel"') or ""
        converter = self.converter(section, chips)
        circuit = section.take(
            "circuit",
            _circuit,
            None,
            '{ kind = "pull-up" | "shunt" | "divider" | "direct" | "millivolt", ... }',
        )
        unit = section.take("unit", _one_of(*READING_UNITS), None, 'a unit, such as "US gal"')
        kind = section.take("pressure", _one_of(*PRESSURE_KINDS), None)
        if unit in PRESSURE_UNITS and "pressure" not in section.written:
            section.wrong("unit", f'{unit} of what? add pressure = "gauge", "sealed" or "absolute"')
        elif unit is not None and unit not in PRESSURE_UNITS and kind is not None:
            section.wrong("pressure", f"{unit} is no unit of pressure; leave this key out")
        damping = section.take("damping", _damping, Fraction(0))
        cold = section.take("cold_junction", _name, None)
        law: Law | None = None
        nominal = limits = tolerance = None
        if circuit is not None and unit is not None:
            nominal = section.take("nominal", _positive_quantity(circuit.unit), None)
            law, limits = self.law(section, circuit, unit, nominal)
            tolerance = section.take("tolerance", _tolerance(circuit.unit, unit), None)
            limits = section.take("limits", _limits(circuit.unit), limits)
        else:
            section.skip("nominal", "tolerance", "limits", *LAW_KEYS)
        if law is not None and isinstance(law, Thermocouple) != (cold is not None):
            what = "is missing; name the input that measures the temperature where its wires end in copper"
            section.wrong(
                "cold_junction", what if cold is None else "belongs to a thermocouple; leave it out"
            )
        step = section.take("step", _positive, None)
        if law is not None:
            width = law.span[1] - law.span[0]
            if "step" not in section.written:
                step = _default_step(width)
            if step is not None and not width / 100000 <= step <= width:
                section.wrong("step", f"{float(step):g} does not suit readings that span {width:g} {unit}")
        section.finish()
        if len(self.problems) > before or converter is None or circuit is None or law is None:
            return None
        if unit is None or step is None or damping is None:
            return None
        if kind is not None:
            unit = f"{unit} {kind}"
        return Input(
            section.line, name, converter, circuit, law, unit, step, damping, nominal, limits, cold, tolerance
        )

    def converter(self, section: _Section, chips: dict[str, Ads1115]) -> Converter | None:
        place = section.take("pin", _place(chips), None, '"CONVERTER.CHANNEL" or an on-chip pin 26 to 28')
        full_scale = section.take("full_scale", _full_scale, None)
        oversample = section.take("oversample", _oversample, 1)
        if place is None:
            return None
        if isinstance(place, int):
            if full_scale is not None:
                section.wrong("full_scale", "belongs to an ADS1115; an on-chip pin has its reference, 3.3 V")
            return OnChip(place, oversample or 1)
        if oversample != 1:
            section.wrong("oversample", "belongs to an on-chip pin; an ADS1115 has its data rate")
        chip, channel = place
        return ChipInput(chip, channel, full_scale or chip.full_scale)

    def law(
        self, section: _Section, circuit: Circuit, unit: str, nominal: Fraction | None
    ) -> tuple[Law | None, Limits | None]:
        """The sender's law, and the limits that go with its kind; None where something is wrong."""
        points = section.take("points", _points(circuit.unit, unit), None)
        series = section.take("series", _series(circuit.unit, unit), None)
        sender = section.take("sender", _sender(circuit.unit), None)
        span = section.take("range", _span(unit), None)
        written = [key for key in ("points", "series", "sender", "range") if key in section.written]
        if written[:1] in (["points"], ["series"]):
            if len(written) > 1:
                section.wrong(written[1], f"{written[0]} say it all already; leave this key out")
            given = points or series
            return (None if given is None else Points(given)), None
        if "sender" in written:
            if "range" not in written:
                section.wrong("sender", "range is missing; write range = [lowest, highest] in " + unit)
            if sender is None or span is None:
                return None, None
            if isinstance(sender, tuple):
                return self.line(circuit, sender, span)
            return self.thermometer(section, sender, unit, span), None
        if unit == circuit.unit:
            if span is None and nominal is not None:
                span = (nominal * RAIL_SPAN[0], nominal * RAIL_SPAN[1])
            if span is not None and span[0] < 0 and circuit.unit != "mV":
                section.wrong("range", "a signal below 0 cannot be measured")
            elif span is not None:
                return Itself(float(span[0]), float(span[1])), None
            if "range" not in written and "nominal" not in section.written:
                what = (
                    f'range is missing; write range = [lowest, highest] in {unit}, or nominal = "... {unit}"'
                )
                section.wrong("", what)
            return None, None
        section.wrong("", f'points are missing; write points = [["<number> {circuit.unit}", reading], ...]')
        return None, None

    def line(self, circuit: Circuit, sender: Point, span: Point) -> tuple[Law, Limits | None]:
        """A sender named by its ends. A float lies on the bottom or under the top; a transmitter goes on beyond its ends."""
        (s0, r0), (s1, r1) = sorted(zip(sender, span))
        ends = (s0, r0), (s1, r1)
        if circuit.unit == "ohm":
            return Points(ends), None
        if circuit.unit == "mA" and [s0, s1] == [4, 20]:
            return Line(ends), NAMUR_NE_43
        if circuit.unit == "mA" and [s0, s1] == [0, 20]:
            return Line(ends), (Fraction(0), Fraction(0), *NAMUR_NE_43[2:])
        return Line(ends), None

    def thermometer(self, section: _Section, sender: Thermal, unit: str, span: Point) -> Law | None:
        if unit not in ("degC", "degF"):
            section.wrong("sender", f"tells a temperature, but the unit is {unit}")
            return None
        first, last = map(float, span)
        ends = reading_of_celsius(np.array([sender.lowest, sender.highest]), unit)
        if not ends[0] <= first < last <= ends[1]:
            section.wrong("range", f"this sender is known from {ends[0]:.0f} to {ends[1]:.0f} {unit}")
            return None
        if isinstance(sender, temperature.Thermocouple):
            return Thermocouple(sender, unit, first, last, *COLD_JUNCTION)
        return Thermometer(sender, unit, first, last)

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


def _with_cold_junction(one: Input, inputs: list[Input]) -> Input:
    """The input, its thermocouple's cold junction within the range of the input that measures it."""
    cold = next((other for other in inputs if other.name == one.cold), None)
    if cold is None or not isinstance(one.law, Thermocouple) or cold.unit not in ("degC", "degF"):
        return one
    coldest, warmest = celsius_of(np.array(cold.law.span), cold.unit).tolist()
    return replace(one, law=replace(one.law, coldest=coldest, warmest=warmest))


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


def _reading(value: Any, unit: str) -> Fraction:
    """A number in `unit`, or a text with a unit of its own."""
    return parse_quantity(value, unit) if isinstance(value, str) else _number(value)


def _span(unit: str) -> Callable[[Any], Point]:
    def parse(value: Any) -> Point:
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError("must be [lowest, highest]")
        low, high = (_reading(end, unit) for end in value)
        if low >= high:
            raise ValueError(f"runs from {value[0]} to {value[1]}; the lower end comes first")
        return low, high

    return parse


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


def _full_scale(value: Any) -> float:
    volts = float(parse_quantity(value, "V"))
    if volts not in GAINS:
        raise ValueError(
            f'"{value}" is no range of this converter; there are: {", ".join(map(str, GAINS))} V'
        )
    return volts


def _rate(value: Any) -> int:
    hertz = parse_quantity(value, "Hz")
    if hertz not in RATES:
        raise ValueError(
            f'"{value}" is no data rate of this converter; there are: {", ".join(map(str, RATES))} Hz'
        )
    return int(hertz)


def _oversample(value: Any) -> int:
    if isinstance(value, bool) or value not in OVERSAMPLES:
        raise ValueError(f"{value!r} is not possible; write one of: {', '.join(map(str, OVERSAMPLES))}")
    return int(value)


def _place(chips: dict[str, Ads1115]) -> Callable[[Any], int | tuple[Ads1115, str]]:
    def parse(value: Any) -> int | tuple[Ads1115, str]:
        value = _gpio(value)
        if not isinstance(value, str):
            return _converter_pin(value)
        chip, _, channel = value.partition(".")
        if chip not in chips:
            known = ", ".join(chips) or "none"
            raise ValueError(f'"{value}": there is no [converter.{chip}]; there is: {known}')
        if channel not in ("0", "1", "2", "3", *PAIRS):
            pairs = ", ".join(f"{chip}.{pair}" for pair in PAIRS)
            raise ValueError(f'"{value}": channels are {chip}.0 to {chip}.3, between two of them {pairs}')
        return chips[chip], channel

    return parse


def _circuit(value: Any) -> Circuit:
    kinds = ", ".join(CIRCUIT_KEYS)
    if not isinstance(value, dict) or value.get("kind") not in tuple(CIRCUIT_KEYS):
        raise ValueError(f'must be {{ kind = "...", ... }} with kind one of: {kinds}')
    kind = value["kind"]
    needed, possible = CIRCUIT_KEYS[kind]
    for key in value:
        if key != "kind" and key not in needed + possible:
            has = ", ".join(needed + possible) or "nothing more"
            raise ValueError(f'a {kind} has no "{key}"; it has: {has}')
    for key in needed:
        if key not in value:
            raise ValueError(f'a {kind} needs "{key}"')
    parts: dict[str, Any] = {}
    for key in value:
        if key == "kind":
            continue
        try:
            if key == "rail":
                parts[key] = _name(value[key])
            elif key == "tolerance":
                parts[key] = float(_percent(value[key])) / 100
            else:
                parts[key] = _ohms(value[key], 1 if key in needed else 0)
        except ValueError as problem:
            raise ValueError(f"{key} {problem}") from None
    if kind == "pull-up":
        return PullUp(**parts)
    if kind == "shunt":
        return Shunt(**parts)
    if kind == "divider":
        return Divider(**parts)
    return Direct(**parts) if kind == "direct" else Millivolt(**parts)


def _ohms(value: Any, least: int) -> float:
    resistance = parse_quantity(value, "ohm")
    if not least <= resistance <= 10_000_000:
        raise ValueError(f'"{value}" is no resistor for this; {least} ohm to 10 Mohm')
    return float(resistance)


def _sender(unit: str) -> Callable[[Any], Point | Thermal]:
    """The sender by its name: its signals at the lowest and the highest reading, or what makes a thermometer of it."""

    def parse(value: Any) -> Point | Thermal:
        if isinstance(value, dict):
            if unit != "ohm":
                raise ValueError("is a thermistor, which needs a pull-up")
            return _thermistor(value)
        match = SENDER.fullmatch(value) if isinstance(value, str) else None
        if match is not None and UNITS[match[3]][0] == UNITS[unit][0]:
            ends = parse_quantity(f"{match[1]} {match[3]}", unit), parse_quantity(
                f"{match[2]} {match[3]}", unit
            )
            if ends[0] != ends[1]:
                return ends
        if value in ("Pt100", "Pt1000") and unit == "ohm":
            return temperature.Platinum(float(value[2:]))
        if value == "thermocouple K" and unit == "mV":
            return temperature.Thermocouple("K")
        if value == "thermocouple J" and unit == "mV":
            return temperature.Thermocouple("J")
        more = {"ohm": ', "Pt100", "Pt1000" or a thermistor { ... }', "mV": ', "thermocouple K" or "... J"'}
        right = f'write "<at lowest>-<at highest> {unit}"' + more.get(unit, "")
        raise ValueError(f"{value!r} does not fit this circuit; {right}")

    return parse


def _thermistor(value: dict[str, Any]) -> Resistive:
    if set(value) == {"steinhart_hart"}:
        given = value["steinhart_hart"]
        if isinstance(given, list) and len(given) == 3 and all(isinstance(c, float) for c in given):
            a, b, c = given
            if 1e-5 < a < 1e-2 and 2e-5 < b < 1e-2 and 0 <= c < 1e-5:
                return temperature.SteinhartHart(a, b, c)
        raise ValueError(
            "steinhart_hart must be [a, b, c] for ohm and kelvin, such as [1.1e-3, 2.4e-4, 7.5e-8]"
        )
    if set(value) == {"b", "resistance", "at"}:
        b = float(parse_quantity(value["b"], "K"))
        if not 500 <= b <= 10_000:
            raise ValueError(f'b "{value["b"]}" is no thermistor\'s; 500 K to 10000 K')
        return temperature.Beta(b, _ohms(value["resistance"], 1), float(parse_quantity(value["at"], "degC")))
    if set(value) == {"table"}:
        table = value["table"]
        if not isinstance(table, list) or len(table) < 2:
            raise ValueError('table must be two or more of ["10 kohm", "25 degC"]')
        points = []
        for i, point in enumerate(table, 1):
            if not isinstance(point, list) or len(point) != 2:
                raise ValueError(f'point {i} must be ["10 kohm", "25 degC"]')
            celsius = float(parse_quantity(point[1], "degC"))
            if not -200 <= celsius <= 500:
                raise ValueError(f'point {i}: "{point[1]}" is no temperature of a thermistor')
            points.append((_ohms(point[0], 1), celsius))
        points.sort()
        if any(a[0] == b[0] or a[1] <= b[1] for a, b in zip(points, points[1:])):
            raise ValueError("table: a thermistor's resistance must fall as the temperature rises")
        for (r0, t0), (r1, t1) in zip(points, points[1:]):
            b = math.log(r1 / r0) / (1 / (t1 + 273.15) - 1 / (t0 + 273.15))
            if not 500 <= b <= 10_000:
                raise ValueError(
                    f"table: from {r0:g} to {r1:g} ohm is no thermistor's; its B would be {b:.0f} K"
                )
        return temperature.ThermistorTable(tuple(points))
    kinds = '{ steinhart_hart = [a, b, c] }, { b = "3950 K", resistance = "10 kohm", at = "25 degC" }'
    raise ValueError(f'must be one of: {kinds}, {{ table = [["10 kohm", "25 degC"], ...] }}')


def _points(unit: str, reading_unit: str) -> Callable[[Any], tuple[Point, ...]]:
    def parse(value: Any) -> tuple[Point, ...]:
        points = sorted(_listed(value, unit, reading_unit))
        for k in range(1, len(points)):
            if points[k][0] == points[k - 1][0]:
                raise ValueError(f"{float(points[k][0]):g} {unit} stands there twice")
            if min(points[k][0], points[k - 1][0]) < 0 and unit != "mV":
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


def _listed(value: Any, unit: str, reading_unit: str) -> list[Point]:
    right = f'["<number> {unit}", reading]'
    if not isinstance(value, list) or len(value) < 2:
        raise ValueError(f"must be two or more of {right}")
    points = []
    for i, point in enumerate(value, 1):
        if not isinstance(point, list) or len(point) != 2:
            raise ValueError(f"point {i} must be {right}")
        if not isinstance(point[0], str) and isinstance(point[1], str):
            raise ValueError(f"point {i} must be {right}: the signal with its unit, then a number")
        try:
            points.append((parse_quantity(point[0], unit), _reading(point[1], reading_unit)))
        except ValueError as problem:
            raise ValueError(f"point {i}: {problem}") from None
    return points


def _series(unit: str, reading_unit: str) -> Callable[[Any], tuple[Point, ...]]:
    """Two floats in one tilted tank, wired in series: their resistances add; beyond its own points a float rests on its end."""

    def parse(value: Any) -> tuple[Point, ...]:
        if unit != "ohm":
            raise ValueError("is for two resistive floats, which need a pull-up")
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError("must be two lists of points, one for each float")
        floats = []
        for which, points in zip(("first", "second"), value):
            try:
                listed = sorted((r, s) for s, r in _listed(points, unit, reading_unit))
            except ValueError as problem:
                raise ValueError(f"{which} float: {problem}") from None
            if any(a[0] == b[0] for a, b in zip(listed, listed[1:])):
                raise ValueError(f"{which} float: two resistances stand for one reading")
            floats.append(listed)
        readings = sorted({r for listed in floats for r, _ in listed})
        total = [(sum((_held(listed, r) for listed in floats), Fraction(0)), r) for r in readings]
        way = total[-1][0] - total[0][0]
        for (s0, r0), (s1, r1) in zip(total, total[1:]):
            if (s1 - s0) * way <= 0:
                stretch = f"from {float(r0):g} to {float(r1):g} {reading_unit}"
                raise ValueError(
                    f"{stretch} the two together do not change, or turn back; that stretch cannot be read"
                )
        if min(s for s, _ in total) < 0:
            raise ValueError("a resistance below 0 cannot be measured")
        return tuple(sorted(total))

    return parse


def _held(points: list[Point], x: Fraction) -> Fraction:
    """Straight lines through points (x, y), the ends held, exactly."""
    if x <= points[0][0]:
        return points[0][1]
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if x <= x1:
            return y0 + (x - x0) * (y1 - y0) / (x1 - x0)
    return points[-1][1]


def _limits(unit: str) -> Callable[[Any], Limits]:
    def parse(value: Any) -> Limits:
        right = "[failure at or below, measuring from, measuring to, failure at or above]"
        if not isinstance(value, list) or len(value) != 4:
            raise ValueError(f'must be {right}, each "<number> {unit}"')
        failed_low, low, high, failed_high = (parse_quantity(v, unit) for v in value)
        if not failed_low <= low < high <= failed_high:
            raise ValueError(f"must rise: {right}")
        return failed_low, low, high, failed_high

    return parse


def _tolerance(signal_unit: str, unit: str) -> Callable[[Any], Tolerance]:
    def parse(value: Any) -> Tolerance:
        if isinstance(value, str) and value.endswith(("degC", "degF")):
            if not value.endswith(unit):
                raise ValueError(f'"{value}": a difference of temperature is given in {unit} here')
        for measured in ("%", unit, signal_unit):
            try:
                if (amount := parse_quantity(value, measured)) > 0:
                    return Tolerance(amount, measured)
            except ValueError:
                pass
        raise ValueError(
            f'{value!r} is no tolerance; write "1 %" of the span, "2 {unit}" or "1 {signal_unit}"'
        )

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


def _default_step(width: float) -> Fraction:
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
