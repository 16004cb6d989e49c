"""The table that the sender's book would have: what a good one gives at five places, at the sender and at the box, with its plus or minus."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gaugelight.build import Build, build
from gaugelight.error_budget import COVERAGE
from gaugelight.faults_shown import PLACES
from gaugelight.lights import Lights
from gaugelight.readouts import Face
from gaugelight.said import Said, convert
from gaugelight.tracing.measurements import Measurement, available, off_by_place, tolerance
from gaugelight.tracing.traced import LOOP, RESISTIVE, Traced
from gaugelight.tracing.wired import healthy, predicted


@dataclass(frozen=True)
class Value:
    """In the measurement's unit; plus_minus at 95 %: of sender, meter and, where the box is on, its parts."""

    value: float
    plus_minus: float
    unit: str


@dataclass(frozen=True)
class Row:
    """values: by what is measured, in the order in which a person would go."""

    place: str
    level: float
    reading: float
    values: dict[str, Value]
    says: Said


def measured_in_book(of: Traced) -> tuple[Measurement, ...]:
    """What a person would hold a meter to: at the sender, at the box's connector."""
    if of.kind in RESISTIVE:
        wanted: tuple[str, ...] = ("ohms at the sender", "ohms at the connector", "volts at the connector")
    elif of.kind == LOOP:
        wanted = ("mA at the sender", "mA at the connector", "volts at the connector")
    else:
        wanted = ("volts at the sender", "volts at the connector")
    known = {one.what: one for one in available(of)}
    return tuple(known[what] for what in wanted if what in known)


def _built(of: Traced) -> Build:
    """Of the input and what it needs, the rest of the box left out."""
    names = (of.one.name, of.one.circuit.rail, of.one.cold)
    cold = None if of.one.cold is None else of.box.input(of.one.cold)
    needed = [
        one
        for one in of.box.inputs
        if one.name in names or cold is not None and one.name == cold.circuit.rail
    ]
    chips = tuple(chip for chip in of.box.chips if chip in [one.converter.chip for one in needed])
    inputs = tuple(replace(one, markings=None) for one in needed)
    return build(replace(of.box, inputs=inputs, chips=chips, lights=Lights(), face=Face(), in_flight=None))


def expected(of: Traced) -> tuple[Row, ...]:
    levels = np.array(list(PLACES))
    states = healthy(of, levels)
    columns = {one: predicted(of, states, one.what, len(levels))[0] for one in measured_in_book(of)}
    counts = [
        of.one.converter.count(min(of.chain.pin_volts(float(signal)), of.one.converter.takes))
        for signal in of.signals(levels)
    ]
    says = convert(_built(of), of.one.name, counts)
    rows = []
    for k, (level, place) in enumerate(PLACES.items()):
        values = {}
        for one, column in columns.items():
            off = COVERAGE * math.hypot(
                tolerance(of, one, float(column[k])), off_by_place(of, one.what, level)
            )
            values[one.what] = Value(float(column[k]), off, one.unit)
        rows.append(Row(place, level, of.reading(level), values, says[k]))
    return tuple(rows)


def meaning(of: Traced, measurement: Measurement, value: float) -> float | None:
    """The level at which a good sender gives that, where the measurement depends on it at all; beyond its ends it goes on straight."""
    levels = np.linspace(-0.25, 1.25, 601)
    low, high = predicted(of, healthy(of, levels), measurement.what, len(levels))
    middle = low if of.kind in RESISTIVE else (low + high) / 2  # as the book has it: its wires take nothing
    rises = np.diff(middle)
    if not (np.all(rises >= 0) or np.all(rises <= 0)) or middle[-1] == middle[0]:
        return None
    if not min(middle) <= value <= max(middle):
        return None
    order = slice(None) if middle[-1] > middle[0] else slice(None, None, -1)
    return float(np.interp(value, middle[order], levels[order]))
