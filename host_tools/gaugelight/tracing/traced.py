"""The input that is traced, with all that tracing needs to know of it: its kind, what its sender gives over its travel, and how exactly
box and meter tell it.

A *level* is a share of the travel, 0 at the lowest reading (empty) and 1 at the highest (full). A *tolerance* is a standard uncertainty,
half of a plus or minus at 95 % (JCGM 100): what lies three of them off does not fit.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from gaugelight import box_values
from gaugelight.boxfile import FUEL_UNITS, PRESSURE_UNITS, RAIL_SPAN, Box, Input
from gaugelight.build import SolvedInput, solve_input
from gaugelight.chain import Chain
from gaugelight.circuits import REFERENCE, Floats, Millivolt, PullUp, Shunt, known_wire
from gaugelight.converters import COUNTS, ChipInput
from gaugelight.error_budget import COVERAGE, budget_at, quantities
from gaugelight.laws import Itself, Thermocouple, Thermometer, celsius_of
from gaugelight.problems import Misuse
from gaugelight.said import input_index
from gaugelight.temperature import Platinum

FLOAT, FLOATS_IN_SERIES, THERMISTOR, PLATINUM = "float", "two floats in series", "thermistor", "platinum"
THERMOCOUPLE, LOOP, VOLTAGE = "thermocouple", "loop", "voltage sender"
RAIL, VOLTS, MILLIVOLTS = "rail", "plain volts", "millivolts"
KINDS = (
    FLOAT, FLOATS_IN_SERIES, THERMISTOR, PLATINUM, THERMOCOUPLE, LOOP, VOLTAGE, RAIL, VOLTS, MILLIVOLTS,
)  # fmt: skip
FLOATS = (FLOAT, FLOATS_IN_SERIES)
RESISTIVE = (*FLOATS, THERMISTOR, PLATINUM)

# of its span, plus or minus, where the box file does not say: assumed
ASSUMED_SENDER = {
    FLOAT: 0.03, FLOATS_IN_SERIES: 0.03, THERMISTOR: 0.03, PLATINUM: 0.01, THERMOCOUPLE: 0.01, LOOP: 0.01, VOLTAGE: 0.015,
    MILLIVOLTS: 0.01,
}  # fmt: skip
KNOWN_LEVEL = 0.02  # of the span, plus or minus: dipstick, reference gauge, thermometer: assumed
SUPPLY_OFF = 1.0  # volts, plus or minus, that the bus may be from what the box file says, where it was not measured: assumed
COLD_OFF = 10.0  # degC, plus or minus, where the cold junction's temperature is not known: assumed
SPAN_LEVELS = np.linspace(0.0, 1.0, 401)
RECTANGULAR = math.sqrt(3)  # half-width to standard uncertainty


@dataclass(frozen=True)
class Meter:
    """A meter's plus or minus: a share of what it shows, and an amount in the unit."""

    share: float
    amount: float

    def standard(self, values: Floats) -> Floats:
        return np.asarray((self.share * np.abs(values) + self.amount) / RECTANGULAR)


# assumed, where --meter does not say otherwise: an ordinary hand-held one
METERS = {
    "ohm": Meter(0.005, 0.2),
    "mA": Meter(0.005, 0.02),
    "V": Meter(0.005, 0.005),
    "mV": Meter(0.005, 0.05),
}


@dataclass(frozen=True)
class Traced:
    """One input. floats: of two in series, (readings, ohms) of each. supply: the bus, V. cold: the cold junction, degC, and its plus or minus."""

    box: Box
    solved: SolvedInput
    kind: str
    floats: tuple[tuple[Floats, Floats], ...]
    supply: float
    supply_off: float
    cold: float
    cold_off: float
    meters: tuple[tuple[str, Meter], ...] = tuple(METERS.items())

    @property
    def one(self) -> Input:
        return self.solved.input

    @property
    def chain(self) -> Chain:
        return self.solved.chain

    @property
    def wire(self) -> float:
        """The stated resistance of its wire, ohm."""
        return known_wire(self.one.circuit)

    @property
    def tank(self) -> bool:
        return self.one.unit in FUEL_UNITS

    @property
    def at_battery(self) -> bool:
        """Its wires may be at battery volts, master off or on: of a current shunt, or of a supply's volts."""
        return self.kind in (VOLTS, MILLIVOLTS)

    @property
    def pressure(self) -> bool:
        return self.one.bare_unit in PRESSURE_UNITS

    def meter(self, unit: str) -> Meter:
        return dict(self.meters)[unit]

    # --- the sender ---

    @property
    def span(self) -> tuple[float, float]:
        return self.one.law.span

    def reading(self, level: float) -> float:
        low, high = self.span
        return low + level * (high - low)

    def level(self, reading: float) -> float:
        low, high = self.span
        return (reading - low) / (high - low)

    @cached_property
    def _signals(self) -> Floats:
        low, high = self.span
        law = self.one.law
        signals = law.signal(low + SPAN_LEVELS * (high - low))
        if isinstance(law, Thermocouple):
            signals = signals - law.cold_millivolts(np.array([self.cold]))
        return np.asarray(signals, dtype=np.float64)

    def signals(self, levels: Floats) -> Floats:
        """What the sender gives at each level, in the circuit's unit; straight on beyond its ends."""
        return along(levels, SPAN_LEVELS, self._signals)

    def float_ohms(self, which: int, levels: Floats) -> Floats:
        readings, ohms = self.floats[which]
        low, high = self.span
        return np.interp(low + levels * (high - low), readings, ohms)

    @cached_property
    def signal_span(self) -> tuple[float, float]:
        return float(np.min(self._signals)), float(np.max(self._signals))

    @cached_property
    def middle(self) -> float:
        """The signal at half."""
        return float(self.signals(np.array([0.5]))[0])

    @cached_property
    def sender_off(self) -> float:
        """The sender's own tolerance, as a share of its travel: one standard uncertainty."""
        one = self.one
        low, high = self.span
        if one.calibrated is not None:
            return max(map(float, one.calibrated.plus_minus)) / COVERAGE / (high - low)
        if one.tolerance is None:
            return ASSUMED_SENDER.get(self.kind, 0.0) / RECTANGULAR
        value, unit = float(one.tolerance.value), one.tolerance.unit
        if unit == "%":
            return value / 100 / RECTANGULAR
        first, last = self.signal_span
        width = last - first if unit == one.circuit.unit else high - low
        return value / width / RECTANGULAR

    @property
    def sender_stated(self) -> bool:
        return self.one.tolerance is not None or self.one.calibrated is not None

    @property
    def known_level_off(self) -> float:
        """How far what the sender gives may be from what it should give at a level that somebody has measured: a standard uncertainty."""
        return math.hypot(self.sender_off, KNOWN_LEVEL / RECTANGULAR)

    # --- the box ---

    @cached_property
    def _count_tolerances(self) -> tuple[Floats, Floats]:
        """Counts, rising, and the tolerance of the box at each, in counts: its error budget without the sender's part."""
        one, chain = self.one, self.chain
        low, high = self.signal_span
        plain = replace(one, law=Itself(low, high), tolerance=None, calibrated=None, cold=None)
        solved = replace(self.solved, input=plain, reading_error_max=self.solved.signal_error_max)
        found = quantities(solved)
        rows = []
        for signal in np.linspace(low, high, 7):
            standard = budget_at(solved, found, float(signal)).standard
            ends = self.count(
                chain.circuit.pin(np.array([signal, signal + standard]), chain.supply, chain.converter.load)
            )
            rows.append((float(ends[0]), abs(float(ends[1] - ends[0]))))
        counts, tolerances = np.array(sorted(rows)).T
        return counts, np.maximum(tolerances, chain.counts_a_step)

    def count_tolerances(self, counts: Floats) -> Floats:
        return np.interp(counts, *self._count_tolerances)

    def count(self, pin: Floats, rail: Floats | float = 1.0) -> Floats:
        """What is judged of a pin's voltage: a count of 65,536, not rounded. rail: its rail, as a share of the nominal voltage."""
        chain, converter = self.chain, self.chain.converter
        volts = np.minimum(pin, converter.takes)
        if isinstance(converter, ChipInput) and converter.differential:
            return np.clip(COUNTS / 2 * (1 + volts / converter.full_scale), 0, COUNTS - 1)
        counts = np.clip(volts / converter.full_scale, 0, 1) * COUNTS
        if chain.rail is not None:
            of_rail = chain.rail.pin_volts(chain.supply) * rail
            counts = counts / np.maximum(of_rail / chain.rail.converter.full_scale * COUNTS, 1) * COUNTS
        return np.clip(counts, 0, COUNTS - 1)

    @cached_property
    def counts_a_volt(self) -> float:
        return float(self.count(np.array([0.1]))[0]) / 0.1

    def count_of_signal(self, signal: float) -> float:
        return float(self.count(np.array([self.chain.pin_volts(signal)]))[0])

    def signal_of(self, count: int) -> float:
        return float(self._all_signals[count])

    @cached_property
    def _all_signals(self) -> Floats:
        return self.chain.signals()

    @property
    def rail_share(self) -> tuple[float, float]:
        """Outside of it the box says `rail`."""
        return float(RAIL_SPAN[0]), float(RAIL_SPAN[1])


def along(x: Floats, at: Floats, values: Floats) -> Floats:
    """Straight lines through (at, values), the first and the last going on."""
    inside = np.interp(x, at, values)
    below = (x - at[0]) * ((values[1] - values[0]) / (at[1] - at[0]))
    above = (x - at[-1]) * ((values[-1] - values[-2]) / (at[-1] - at[-2]))
    return inside + np.where(x < at[0], below, 0.0) + np.where(x > at[-1], above, 0.0)


def kind_of(one: Input, in_series: bool) -> str:
    circuit, law = one.circuit, one.law
    if isinstance(circuit, PullUp):
        if in_series:
            return FLOATS_IN_SERIES
        if isinstance(law, Thermometer):
            return PLATINUM if isinstance(law.sensor, Platinum) else THERMISTOR
        return THERMISTOR if one.unit in ("degC", "degF") else FLOAT
    if isinstance(circuit, Shunt):
        return LOOP
    if isinstance(circuit, Millivolt):
        return THERMOCOUPLE if isinstance(law, Thermocouple) else MILLIVOLTS
    if one.nominal is not None:
        return RAIL
    return VOLTS if isinstance(law, Itself) else VOLTAGE


def _floats(box: Box, one: Input) -> tuple[tuple[Floats, Floats], ...]:
    """Readings and ohms of each of two floats in series; the box keeps only their sum."""
    content = tomllib.loads(Path(box.file).read_text(encoding="utf-8-sig"))
    written: dict[str, Any] = next(
        (table for table in content.get("input", []) if table.get("name") == one.name), {}
    )
    listed = [
        box_values.points(one.circuit.unit, one.bare_unit)(each).points for each in written.get("series", [])
    ]
    rows = [sorted((float(reading), float(ohms)) for ohms, reading in points) for points in listed]
    return tuple((np.array([r for r, _ in row]), np.array([o for _, o in row])) for row in rows)


def traced(
    box: Box,
    name: str,
    *,
    supply: float | None = None,
    cold: float | None = None,
    meters: dict[str, Meter] | None = None,
) -> Traced:
    """Of a checked box. supply: the bus as it was measured, V; cold: of the cold junction, degC. Raises Misuse."""
    one = box.inputs[input_index(box, name)]
    measures_cold = None if one.cold is None else box.input(one.cold)
    if cold is not None and measures_cold is None:
        raise Misuse(f"{box.file}:{one.line}: {name}: has no cold junction; leave --cold out")
    solved = solve_input(box, one, None if measures_cold is None else solve_input(box, measures_cold))
    floats = _floats(box, one)
    cold_now, cold_off = cold, 1.0
    if cold_now is None and measures_cold is not None:
        # as `said` holds it: in the middle of its readings
        cold_now = float(np.mean(celsius_of(np.array(measures_cold.law.span), measures_cold.unit)))
        cold_off = COLD_OFF
    volts, off = (
        (float(box.supply), SUPPLY_OFF)
        if supply is None
        else (supply, 2 * float(METERS["V"].standard(np.array(supply))))
    )
    return Traced(
        box,
        solved,
        kind_of(one, bool(floats)),
        floats,
        volts,
        off,
        cold_now or 0.0,
        cold_off,
        tuple({**METERS, **(meters or {})}.items()),
    )


def hangs_on_chip(one: Input) -> bool:
    return one.circuit.rail == REFERENCE
