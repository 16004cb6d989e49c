"""What is in the box file, in the words of a wiring sheet."""

from __future__ import annotations

from fractions import Fraction

from gaugelight import temperature
from gaugelight.boxfile import Box, Input
from gaugelight.circuits import (
    ASSUMED_TOLERANCE,
    REFERENCE,
    Circuit,
    Direct,
    Divider,
    Millivolt,
    PullUp,
    Shunt,
)
from gaugelight.converters import Converter, OnChip
from gaugelight.face_tables import span_and_step
from gaugelight.laws import Itself, Line, Points, Thermocouple, Thermometer
from gaugelight.lights import Dimmed, Fixed, Follows, Knob
from gaugelight.readouts import BoilMargin, Condition, Derived, Mark


def ohms(value: float) -> str:
    return f"{value / 1000:g} kohm" if value >= 1000 else f"{value:g} ohm"


def number(value: Fraction | float) -> str:
    """As in the box file, without the noise of its last digits."""
    return f"{float(value):.9g}"


def two_digits(value: float) -> str:
    """As uncertainties are stated (JCGM 100, 7.2.6)."""
    return f"{float(f'{value:.2g}'):g}"


def pin(converter: Converter) -> str:
    if isinstance(converter, OnChip):
        return f"GP{converter.pin}" + (
            f", mean of {converter.oversample}" if converter.oversample > 1 else ""
        )
    own = (
        ""
        if converter.full_scale == converter.chip.full_scale
        else f", {converter.full_scale:g} V full scale"
    )
    return f"{converter.chip.name}.{converter.channel}{own}"


def circuit(one: Circuit) -> str:
    """Its parts, as they are wired."""
    parts: list[str] = []
    if isinstance(one, PullUp):
        rail = "the reference" if one.rail == REFERENCE else one.rail
        parts = [f"pull-up {ohms(one.resistor)} to {rail}"]
        parts += [f"{ohms(one.series)} in series"] if one.series else []
    elif isinstance(one, Shunt):
        parts = [f"shunt {ohms(one.resistor)}"]
    elif isinstance(one, Divider):
        parts = [f"divider {ohms(one.top)} over {ohms(one.bottom)}"]
    elif isinstance(one, Millivolt):
        parts = ["millivolt, between two pins"]
    elif isinstance(one, Direct):
        parts = ["direct"] + ([f"{ohms(one.pull_down)} to ground"] if one.pull_down else [])
    if isinstance(one, (Divider, Direct)) and one.rail:
        parts.append("compared with " + ("the reference" if one.rail == REFERENCE else one.rail))
    if wire := getattr(one, "wire", 0.0):
        parts.append(f"wire {ohms(wire)}")
    if protection := getattr(one, "protection", 0.0):
        parts.append(f"{ohms(protection)} before the pin")
    if not isinstance(one, (Direct, Millivolt)):  # these have none that divide
        off = (
            f"{100 * ASSUMED_TOLERANCE:g} % (assumed)"
            if one.tolerance is None
            else f"{100 * one.tolerance:g} %"
        )
        parts.append(f"resistors {off}")
    return ", ".join(parts)


def sender(one: Input) -> str:
    law, unit = one.law, one.circuit.unit
    said = "the reading is the signal"
    if isinstance(law, Points):
        said = f"{len(law.points)} points"
    elif isinstance(law, Line):
        said = f"{law.low:g} to {law.high:g} {unit}, straight"
    elif isinstance(law, Thermometer):
        said = _thermometer(law.sensor)
    elif isinstance(law, Thermocouple):
        kind = getattr(law.sensor, "kind", "")
        said = f"thermocouple {kind}, cold junction: {one.cold}"
    else:
        assert isinstance(law, Itself)
    if one.nominal is not None:
        said = f"rail of {number(one.nominal)} V"
    if one.tolerance is not None:
        said += f", {number(one.tolerance.value)} {one.tolerance.unit}"
        said += " of its span" if one.tolerance.unit == "%" else ""
    return said


def _thermometer(sensor: object) -> str:
    if isinstance(sensor, temperature.Platinum):
        return f"platinum, {sensor.r0:g} ohm at 0 degC (IEC 60751)"
    if isinstance(sensor, temperature.SteinhartHart):
        return f"thermistor, Steinhart-Hart {sensor.a:g}, {sensor.b:g}, {sensor.c:g}"
    if isinstance(sensor, temperature.Beta):
        return f"thermistor, B {sensor.b:g} K, {ohms(sensor.ohms_at)} at {sensor.celsius_at:g} degC"
    if isinstance(sensor, temperature.ThermistorTable):
        return f"thermistor, table of {len(sensor.points)} points"
    return "thermometer"


def points(one: Input) -> list[tuple[str, str]]:
    """Signal and reading of each point or end of its sender, as in the box file; none where the reading is the signal."""
    if not isinstance(one.law, (Points, Line)):
        return []
    return [
        (f"{number(s)} {one.circuit.unit}", f"{number(r)} {one.bare_unit}") for s, r in sorted(one.law.points)
    ]


def limits(one: Input) -> str:
    """Where its sender is taken to have failed, where that is stated."""
    if one.limits is None:
        return ""
    failed_low, low, high, failed_high = map(number, one.limits)
    return f"measures {low} to {high} {one.circuit.unit}, failed at {failed_low} and {failed_high}"


def reads(box: Box, name: str) -> str:
    (low, high), _ = span_and_step(box, name)
    return f"{low:.6g} to {high:.6g}"


def derived(one: Derived) -> str:
    if isinstance(one.parts, BoilMargin):
        margin = one.parts
        feet = float(margin.altitude) / 0.3048
        return f"degrees until {margin.coolant} may boil at up to {feet:.0f} ft, by {margin.temperature} and {margin.pressure}"
    words = "".join(f" {'-' if factor < 0 else '+'} {name}" for name, factor in one.parts)
    return words.removeprefix(" + ").strip()


def mark(one: Mark, unit: str) -> str:
    """Where it is, in words."""
    if one.low is None:
        return f"{number(one.high or 0)} {unit} and below"
    if one.high is None:
        return f"{number(one.low)} {unit} and above"
    return f"{number(one.low)} to {number(one.high)} {unit}"


def condition(box: Box, one: Condition) -> str:
    if one.value is None:
        return f"{one.name} {one.way}"
    measured = box.input(one.name)
    unit = (
        measured.bare_unit if measured else next((d.unit for d in box.face.derived if d.name == one.name), "")
    )
    return f"{one.name} {one.way} {number(one.value)} {unit}"


def set_by(one: Dimmed) -> str:
    """What sets its light."""
    source = one.source
    if isinstance(source, Knob):
        return f"knob on GP{source.pin}"
    if isinstance(source, Follows):
        through = "" if source.points is None else f", through {len(source.points)} points"
        return f"follows {source.name}{through}"
    assert isinstance(source, Fixed)
    return f"always {number(source.level)} %"
