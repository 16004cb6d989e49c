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
from gaugelight import box_values, temperature
from gaugelight.box_values import Calibrated, Limits, Thermal, Tolerance
from gaugelight.circuits import REFERENCE, Circuit
from gaugelight.converters import Ads1115, ChipInput, Converter, OnChip
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
from gaugelight.harness.harness_file import Harness, read_harness
from gaugelight.lights import Lights, Units, read_lights
from gaugelight.needles import read_needle
from gaugelight.panel.panel_file import Panel, names_on_panel, read_panel
from gaugelight.problems import Misuse, Problem, WrongBoxFile, meant
from gaugelight import fuel_watch, readouts
from gaugelight.readouts import Face, Markings
from gaugelight.toml_lines import Lines, key_lines

T = TypeVar("T")


PRESSURE_UNITS = ("psi", "bar", "kPa")
FUEL_UNITS = ("US gal", "imp gal", "l", "kg", "lb")
READING_UNITS = (*FUEL_UNITS, *PRESSURE_UNITS, "degC", "degF", "V", "mV", "A", "mA", "ohm", "%", "lx")
PRESSURE_KINDS = ("gauge", "sealed", "absolute")
# of nominal, what a measured rail may be: 3.3 V may rise to 3.56 V, below what a pin takes
RAIL_SPAN = Fraction(80, 100), Fraction(108, 100)
NAMUR_NE_43 = Fraction("3.6"), Fraction("3.8"), Fraction("20.5"), Fraction(21)  # mA
# mA, 5 % of its span: how far from 4 and 20 the ends of such a loop's points may lie
LOOP_BESIDE = Fraction("0.8")
TABLES = (
    "box", "converter", "input", "lamp", "display", "bus_output", "switch", "daylight", "dim_request", "in_flight",
    "derived", "alert", "buttons", "reserve", "disagree", "connector", "cable", "compass",
    "panel", "cutout",
)  # fmt: skip
NAMED = ("input", "derived", "lamp", "switch", "needle")  # tables of what has a name; each its own
SEVERAL = (
    *NAMED,
    "alert",
    "disagree",
    "cutout",
    "cable",
    "point",
)  # tables that may stand there more than once
LAW_KEYS = ("points", "series", "sender", "range")
COLD_JUNCTION = -40.0, 85.0  # degC, until the input that measures it is known


def bare(unit: str) -> str:
    """A unit without the kind of its pressure."""
    words = unit.rsplit(" ", 1)
    return words[0] if words[-1] in PRESSURE_KINDS else unit


@dataclass(frozen=True)
class Input:
    """One sender and how it is read.

    limits     signals (failure at or below, measuring from, measuring to, failure at or above), where stated
    cold       the name of the input that measures the cold junction
    tolerance  of the sender, where stated
    calibrated where its points were taken in its place
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
    markings: Markings | None = None  # None: not on the face
    calibrated: Calibrated | None = None

    @property
    def bare_unit(self) -> str:
        """As it is written in the box file: psi of a pressure, whatever kind it is."""
        return bare(self.unit)


@dataclass(frozen=True)
class InFlight:
    """What tells the box that it may be in flight, where it is not written to: a switch that is on, or an input above a reading."""

    line: int
    follows: str
    above: Fraction | None


@dataclass(frozen=True)
class Box:
    file: str
    name: str
    supply: Fraction  # volts
    chips: tuple[Ads1115, ...]
    inputs: tuple[Input, ...]
    lights: Lights
    in_flight: InFlight | None = None
    face: Face = Face()
    harness: Harness | None = None
    panel: Panel | None = None

    def input(self, name: str) -> Input | None:
        return next((i for i in self.inputs if i.name == name), None)

    @property
    def shown(self) -> tuple[tuple[str, str, Markings], ...]:
        """Name, unit and markings of each readout on the face, inputs first."""
        derived = [(one.name, one.unit, one.markings) for one in self.face.derived]
        of_inputs = [(one.name, one.unit, one.markings) for one in self.inputs if one.markings is not None]
        return (*of_inputs, *derived)

    def rail_of(self, one: Input) -> Input | None:
        """The measured rail that an input's circuit hangs on."""
        rail = one.circuit.rail
        return None if rail is None or rail == REFERENCE else self.input(rail)


class Section:
    """One table of the file, taken key by key; what is left over at the end is unknown."""

    def __init__(self, reader: "Reader", table: str, index: int, values: dict[str, Any], name: str) -> None:
        self.reader, self.table, self.index, self.name = reader, table, index, name
        self.values = dict(values)
        self.written = tuple(values)
        self.known: list[str] = []
        self.line = reader.lines.get((table, index, ""), 1)

    @property
    def problems(self) -> int:
        """How many there are so far, in the whole file."""
        return len(self.reader.problems)

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
            if self.table == "input" and key in ("kind", "address", "rate", "mode"):
                self.wrong(key, "belongs under [converter.NAME], not here")
                continue
            cure = f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(self.known)}"
            self.wrong(key, f"unknown key; {cure}")


class Reader:
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
            what = f"{_plainly(what, written)} in: {_printable(written)}{_toml_cure(written, what)}"
            raise WrongBoxFile(file, [Problem(line, "TOML", what)]) from None
        self.lines: Lines = key_lines(text)

    def wrong(self, line: int, where: str, what: str) -> None:
        self.problems.append(Problem(line, _printable(where), _printable(what)))

    def at_key(self, problem: Problem) -> Problem:
        """The same, on the line of its key where that is written."""
        for (table, index, key), line in self.lines.items():
            if line == problem.line and not key:
                return replace(problem, line=self.lines.get((table, index, problem.key), line))
        return problem

    def line_of(self, table: str) -> int:
        """Where a table, or one below it, or a key of that name before all tables first stands."""
        stands = (n for (t, _, key), n in self.lines.items() if (t or key).split(".")[0] == table)
        return min(stands, default=1)

    def tables(self, key: str) -> list[Section]:
        value = self.content.pop(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            self.wrong(self.line_of(key), key, f"write each one under [[{key}]]")
            return []
        return [Section(self, key, i, v, self.name_of(key, i, v)) for i, v in enumerate(value)]

    def name_of(self, key: str, index: int, values: dict[str, Any]) -> str:
        numbered = f"{key} {index + 1}"
        return str(values.get("name", numbered)) if key in NAMED else numbered

    def named(self, *keys: str) -> list[tuple[int, str]]:
        """Line and name of each of those tables, as they are written, in order of lines."""
        found = []
        for key in keys:
            tables = self.content.get(key)
            for i, values in enumerate(tables if isinstance(tables, list) else []):
                if isinstance(values, dict):
                    found.append((self.lines.get((key, i, ""), 1), self.name_of(key, i, values)))
        return sorted(found)

    def names_twice(self) -> list[Problem]:
        seen: dict[str, int] = {}
        problems = []
        for line, name in self.named(*NAMED):
            if name in seen:
                what = f"the name stands at line {seen[name]} too; each needs its own"
                problems.append(Problem(line, _printable(name), what))
            seen.setdefault(name, line)
        return problems

    def table(self, key: str) -> Section | None:
        if key not in self.content:
            return None
        value = self.content.pop(key)
        if not isinstance(value, dict):
            self.wrong(self.line_of(key), key, f"write it under [{key}]")
            return None
        return Section(self, key, 0, value, key)

    def box(self, begun: bool = False) -> Box:
        if twice := self.names_twice():  # whatever names one of them cannot be judged
            raise WrongBoxFile(self.file, twice)
        name, supply = "", Fraction(14)
        switches = {name for _, name in self.named("switch")}
        panel_names = names_on_panel(self)
        if "box" not in self.content:
            self.wrong(1, "box", 'is missing; begin with [box], name = "...", board = "rp2040"')
        if (section := self.table("box")) is not None:
            name = section.take("name", box_values.name, "", 'a name, such as "hull console"') or ""
            section.take("board", box_values.one_of(pins.BOARD), None, f'"{pins.BOARD}"')
            supply = section.take("supply", box_values.positive_quantity("V"), supply) or supply
            section.finish()
        chips = self.chips()
        inputs: list[Input] = []
        units: Units = {}  # of every input
        sections: dict[str, Section] = {}
        for section in self.tables("input"):
            one = self.input(section, chips)
            units[section.name] = None if one is None else one.bare_unit
            sections[section.name] = section
            inputs += [] if one is None else [one]
        inputs = [_with_cold_junction(one, inputs) for one in inputs]
        display = self.table("display")
        panel = None if display is None else readouts.panel(display, "reserve" in self.content)
        lights = read_lights(self, units, display)
        inputs, face = self.face(inputs, sections, units, switches)
        if display is not None and panel is not None:
            on_face = {one.name: one.markings is not None for one in inputs}
            others = {
                name: True for name in sections if name not in on_face
            }  # derived, or something else is wrong with it
            readouts.panel_names(display, panel, on_face | others)
            face = replace(face, panel=panel)
        section = self.table("in_flight")
        in_flight = None if section is None else self.in_flight(section, inputs, units, switches)
        harness = read_harness(self)
        drilled = read_panel(self, panel_names)
        for key in self.content:
            near = difflib.get_close_matches(key, TABLES, 1)
            cure = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(TABLES)}"
            self.wrong(self.line_of(key), key, f"unknown table; {cure}")
        if not self.problems and not begun:
            for name in chips.keys() - {
                i.converter.chip.name for i in inputs if i.converter.chip is not None
            }:
                line = self.lines.get((f"converter.{name}", 0, ""), 1)
                self.wrong(line, f"converter {name}", "no input uses it; leave it out until one does")
        return Box(
            self.file,
            name,
            supply,
            tuple(chips.values()),
            tuple(inputs),
            lights,
            in_flight,
            face,
            harness,
            drilled,
        )

    def face(
        self, inputs: list[Input], sections: dict[str, Section], units: Units, switches: set[str]
    ) -> tuple[list[Input], Face]:
        """The inputs with their markings judged; derived readouts, alerts and buttons."""
        spans = {one.name: one.law.span for one in inputs}
        all_units = dict(units)
        made = []
        for section in self.tables("derived"):
            one = readouts.derived(section, units, spans)
            all_units[section.name] = None if one is None else one.unit
            sections[section.name] = section
            made += [] if one is None else [one]
        spans |= {one.name: span for one in made if (span := readouts.span_of(one, units, spans)) is not None}

        def judged(name: str, given: Markings) -> Markings:
            section = sections[name]
            condition = readouts.read_condition(section, "only_when", given.only_when, all_units, switches)
            return replace(given, only_when=condition)

        derived = tuple(replace(one, markings=judged(one.name, one.markings)) for one in made)
        inputs = [
            one if one.markings is None else replace(one, markings=judged(one.name, one.markings))
            for one in inputs
        ]
        alerts = [readouts.alert(section, all_units, switches) for section in self.tables("alert")]
        pressed = self.table("buttons")
        buttons = readouts.Buttons() if pressed is None else readouts.buttons(pressed, switches)
        tank = self.table("reserve")
        reserve = None if tank is None else fuel_watch.reserve_tank(tank, all_units, switches)
        gauges = [
            fuel_watch.disagreement(section, all_units, spans, switches)
            for section in self.tables("disagree")
        ]
        needles = [read_needle(section, all_units) for section in self.tables("needle")]
        return inputs, Face(
            derived,
            tuple(one for one in alerts if one is not None),
            buttons,
            reserve,
            tuple(one for one in gauges if one is not None),
            tuple(one for one in needles if one is not None),
        )

    def in_flight(
        self, section: Section, inputs: list[Input], units: Units, switches: set[str]
    ) -> InFlight | None:
        before = len(self.problems)
        follows = section.take("follows", box_values.name, None, "the name of an input or a switch")
        measured = next((one for one in inputs if one.name == follows), None)
        above = None
        if measured is not None:
            unit = measured.bare_unit
            above = section.take("above", box_values.reading(unit), None, f'"<number> {unit}"')
            lowest, highest = measured.law.span
            if above is not None and not lowest <= above < highest:
                section.wrong(
                    "above", f"{measured.name} reads {lowest:g} to {highest:g} {unit}, never above that"
                )
        elif follows in units:
            section.skip("above")
        elif follows in switches:
            if "above" in section.written:
                section.wrong("above", f'belongs to an input; "{follows}" is on or off; leave it out')
            section.skip("above")
        elif follows is not None:
            there = meant(follows, [*units, *sorted(switches)])
            section.wrong("follows", f'there is no input and no switch "{follows}"; {there}')
            section.skip("above")
        section.finish()
        if len(self.problems) > before or follows is None:
            return None
        return InFlight(section.line, follows, above)

    def chips(self) -> dict[str, Ads1115]:
        value = self.content.pop("converter", {})
        if not isinstance(value, dict) or not all(isinstance(v, dict) for v in value.values()):
            self.wrong(self.line_of("converter"), "converter", "write each one under [converter.NAME]")
            return {}
        chips: dict[str, Ads1115] = {}
        for name, values in value.items():
            before = len(self.problems)
            section = Section(self, f"converter.{name}", 0, values, f"converter {name}")
            try:
                box_values.chip_name(name)
            except ValueError as problem:
                section.wrong("", str(problem))
            section.take("kind", box_values.one_of("ads1115"), None, '"ads1115"')
            address = section.take("address", box_values.address(0x48, 0x4B), 0x48)
            full_scale = section.take("full_scale", box_values.full_scale, 4.096)
            rate = section.take("rate", box_values.rate, 128)
            mode = section.take("mode", box_values.one_of("single-shot", "continuous"), "single-shot")
            section.finish()
            continuous = mode == "continuous"
            chips[name] = Ads1115(name, address or 0x48, full_scale or 4.096, rate or 128, continuous)
            other = next((n for n, chip in chips.items() if n != name and chip.address == address), None)
            if other is not None and len(self.problems) == before:
                section.wrong("address", f"address {address:#x} is {other}'s already; there are 0x48 to 0x4b")
        return chips

    def input(self, section: Section, chips: dict[str, Ads1115]) -> Input | None:
        before = len(self.problems)
        name = section.take("name", box_values.name, "", 'a name, such as "left fuel"') or ""
        if name == REFERENCE:
            section.wrong("name", "is what the on-chip converter's own reference is called; choose another")
        converter = self.converter(section, chips)
        circuit = section.take(
            "circuit",
            box_values.circuit,
            None,
            '{ kind = "pull-up" | "shunt" | "divider" | "direct" | "millivolt", ... }',
        )
        unit = section.take("unit", box_values.one_of(*READING_UNITS), None, 'a unit, such as "US gal"')
        kind = section.take("pressure", box_values.one_of(*PRESSURE_KINDS), None)
        if unit in PRESSURE_UNITS and "pressure" not in section.written:
            section.wrong("unit", f'{unit} of what? add pressure = "gauge", "sealed" or "absolute"')
        elif unit is not None and unit not in PRESSURE_UNITS and kind is not None:
            section.wrong("pressure", f"{unit} is no unit of pressure; leave this key out")
        damping = section.take("damping", box_values.between("s", 0, 120), Fraction(0))
        cold = section.take("cold_junction", box_values.name, None)
        law: Law | None = None
        nominal = limits = tolerance = calibrated = None
        if circuit is not None and unit is not None:
            nominal = section.take("nominal", box_values.positive_quantity(circuit.unit), None)
            law, limits, off = self.law(section, circuit, unit, nominal)
            calibrated = self.calibrated(section, law, off)
            tolerance = section.take("tolerance", box_values.tolerance(circuit.unit, unit), None)
            limits = section.take("limits", box_values.limits(circuit.unit), limits)
        else:
            section.skip("nominal", "tolerance", "limits", "calibrated", *LAW_KEYS)
        if law is not None and limits is not None and not (limits[1] <= law.low and law.high <= limits[2]):
            assert circuit is not None
            what = f"the sender itself goes from {law.low:.4g} to {law.high:.4g} {circuit.unit}"
            section.wrong("limits", f"{what}; measuring from and to must leave it room")
        if kind == "absolute" and law is not None and law.span[0] < 0:
            section.wrong("range", "no absolute pressure is below 0")
        if law is not None and isinstance(law, Thermocouple) != (cold is not None):
            what = "is missing; name the input that measures the temperature where its wires end in copper"
            section.wrong(
                "cold_junction", what if cold is None else "belongs to a thermocouple; leave it out"
            )
        step = section.take("step", box_values.positive, None)
        if law is not None:
            width = law.span[1] - law.span[0]
            if "step" not in section.written:
                step = _default_step(width)
            readouts.judge_step(section, step, width, unit or "")
        shown = section.take("face", box_values.yes_or_no, True)
        span = None if law is None else law.span
        markings = readouts.markings(section, name, unit or "", span) if unit else None
        if unit is None:
            section.skip(*readouts.MARKING_KEYS)
        section.finish()
        if len(self.problems) > before or converter is None or circuit is None or law is None:
            return None
        if unit is None or step is None or damping is None:
            return None
        if kind is not None:
            unit = f"{unit} {kind}"
        return Input(
            section.line, name, converter, circuit, law, unit, step, damping, nominal, limits, cold, tolerance,
            markings if shown else None, calibrated,
        )  # fmt: skip

    def converter(self, section: Section, chips: dict[str, Ads1115]) -> Converter | None:
        place = section.take(
            "pin", box_values.place(chips), None, '"CONVERTER.CHANNEL" or an on-chip pin 26 to 28'
        )
        full_scale = section.take("full_scale", box_values.full_scale, None)
        oversample = section.take("oversample", box_values.oversample, 1)
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
        self, section: Section, circuit: Circuit, unit: str, nominal: Fraction | None
    ) -> tuple[Law | None, Limits | None, tuple[Fraction, ...]]:
        """The sender's law, the limits that go with its kind, and what each of its points is off by; no law where something is wrong."""
        listed = section.take("points", box_values.points(circuit.unit, unit), None)
        series = section.take("series", box_values.series(circuit.unit, unit), None)
        points = series if listed is None else listed.points
        law, limits = self.law_of(section, circuit, unit, nominal, points)
        if listed is not None and "calibrated" in section.written:
            law = law_of_calibrated(listed.points, circuit, unit)
        return law, limits, () if listed is None else listed.plus_minus

    def calibrated(
        self, section: Section, law: Law | None, plus_minus: tuple[Fraction, ...]
    ) -> Calibrated | None:
        """Whether it goes with its points, which are wrong where there is no law."""
        before = section.problems
        found = section.take("calibrated", box_values.calibrated, None)
        if "calibrated" in section.written and "points" not in section.written:
            section.wrong("calibrated", "belongs to points; leave it out")
        elif found is not None and law is not None and not plus_minus and section.problems == before:
            section.wrong("calibrated", 'each of the points needs its plus or minus: ["21 ohm", 4, 0.3]')
        elif plus_minus and "calibrated" not in section.written:
            example = 'calibrated = { on = 2026-11-26, session = "FILE.toml", through = "box" }'
            section.wrong("points", f"whose plus or minus? add {example}")
        return None if found is None else replace(found, plus_minus=plus_minus)

    def law_of(
        self,
        section: Section,
        circuit: Circuit,
        unit: str,
        nominal: Fraction | None,
        given: tuple[Point, ...] | None,
    ) -> tuple[Law | None, Limits | None]:
        """The law of the points given, or of what else is written."""
        sender = section.take("sender", box_values.sender(circuit.unit), None)
        span = section.take("range", box_values.span(unit), None)
        written = [key for key in ("points", "series", "sender", "range") if key in section.written]
        if written[:1] in (["points"], ["series"]):
            if len(written) > 1:
                section.wrong(written[1], f"{written[0]} say it all already; leave this key out")
            if given is None:
                return None, None
            return Points(given), limits_of_loop(circuit, given[0][0], given[-1][0])
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
        return Line(ends), limits_of_loop(circuit, s0, s1)

    def thermometer(self, section: Section, sender: Thermal, unit: str, span: Point) -> Law | None:
        if unit not in ("degC", "degF"):
            section.wrong("sender", f"tells a temperature, but the unit is {unit}")
            return None
        first, last = map(float, span)
        known = sender.lowest, sender.highest
        if isinstance(sender, temperature.ThermistorTable):
            known = sender.points[-1][1], sender.points[0][1]
        ends = reading_of_celsius(np.array(known), unit)
        if not ends[0] <= first < last <= ends[1]:
            section.wrong("range", f"this sender is known from {ends[0]:.0f} to {ends[1]:.0f} {unit}")
            return None
        if isinstance(sender, temperature.Thermocouple):
            return Thermocouple(sender, unit, first, last, *COLD_JUNCTION)
        return Thermometer(sender, unit, first, last)


def limits_of_loop(circuit: Circuit, low: Fraction, high: Fraction) -> Limits | None:
    """Of a loop whose sender gives so much at its ends. Points of a 4-20 mA transmitter, as found on the bench, may lie beside 4 and 20:
    what it says by failing is no reading of theirs."""
    if circuit.unit != "mA":
        return None
    first, last = NAMUR_NE_43[1:3]
    if first <= low <= 4 + LOOP_BESIDE and 20 - LOOP_BESIDE <= high <= last:
        return NAMUR_NE_43
    return (Fraction(0), Fraction(0), *NAMUR_NE_43[2:]) if [low, high] == [0, 20] else None


def law_of_calibrated(points: tuple[Point, ...], circuit: Circuit, unit: str) -> Law:
    """Two points of a transmitter are a straight line, which goes on beyond them as its sender does; what lies on the bottom of a tank or is a
    resistance does not."""
    if len(points) == 2 and circuit.unit != "ohm" and unit not in FUEL_UNITS:
        return Line((points[0], points[1]))
    return Points(points)


def _with_cold_junction(one: Input, inputs: list[Input]) -> Input:
    """The input, its thermocouple's cold junction within the range of the input that measures it."""
    cold = next((other for other in inputs if other.name == one.cold), None)
    if cold is None or not isinstance(one.law, Thermocouple) or cold.unit not in ("degC", "degF"):
        return one
    coldest, warmest = celsius_of(np.array(cold.law.span), cold.unit).tolist()
    return replace(one, law=replace(one.law, coldest=coldest, warmest=warmest))


def _plainly(problem: str, line: str) -> str:
    """What the TOML reader says of a line, without its jargon where a name stands there twice."""
    if not problem.startswith(("Cannot declare", "Cannot mutate", "Cannot overwrite")):
        return problem.lower()
    header = re.match(r"\[+([^\]]+)\]", line)
    return "this key stands there twice" if header is None else f"[{header[1].strip()}] stands there twice"


def _toml_cure(line: str, problem: str) -> str:
    """What was most likely meant by a line that is no TOML."""
    header = re.match(r"\[+\s*([\w-]+)\s*\]", line)
    if header is not None and header[1] in SEVERAL:
        return f"; there may be several: write [[{header[1]}]] each time"
    if re.search(r"[\u2018\u2019\u201c\u201d\u201e]", line):
        return '; use straight quotes: "'
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return "; a number takes a decimal point, no comma"
    if "overwrite" in problem:
        return "; each key once in a table"
    if line.count('"') % 2:
        return '; a quote (") is missing'
    if re.search(r"=\s*[A-Za-z+-]|=\s*[\d.]+\s*[A-Za-z%]", line) and "true" not in line:
        return '; a text stands in quotes: "..."'
    if line.count("[") != line.count("]") or "declare" not in problem and re.match(r"\S+\s*=", line):
        return "; look for a bracket or a comma that is missing here or in the line before"
    return ""


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "." for c in text)


def _default_step(width: float) -> Fraction:
    """The largest 1, 2 or 5 times a power of ten of which a hundred fit."""
    # half a decade down, for the logarithm of a hair below a power of ten is that of the power
    power = Fraction(10) ** math.floor(math.log10(width / 100) - 0.5)
    return max(power * m for m in (1, 2, 5, 10, 20, 50) if power * m <= width / 100)


def read_box(path: Path, begun: bool = False) -> Box:
    """The box a file describes; begun: an input is yet to be added, the first, or a converter's. Raises WrongBoxFile
    with every problem that stands in it, Misuse."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        what = "is not text in UTF-8; give the box file (.toml), not its image"
        raise WrongBoxFile(str(path), [Problem(0, "file", what)]) from None
    return box_of_text(str(path), text, begun)


def box_of_text(file: str, text: str, begun: bool = False) -> Box:
    """The box that the text of a file describes; begun: as in read_box. Raises WrongBoxFile with every problem that stands
    in it."""
    from gaugelight.check import NOTHING_TO_DO, problems_of  # check needs Box

    reader = Reader(file, text.replace("\r\n", "\n"))
    box = reader.box(begun)
    problems = reader.problems or [reader.at_key(problem) for problem in problems_of(box)]
    if begun:
        problems = [problem for problem in problems if problem.what != NOTHING_TO_DO]
    if problems:
        raise WrongBoxFile(file, problems)
    return box
