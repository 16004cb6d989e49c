"""How often tracing finds what is wrong: single faults put into the aircraft of a virtual chip that runs the box's own code, and measured as it suggests.

    python -m gaugelight.tracing.trace_trial [--cases N] [--seed S] [--json] [--write FILE]

The box is the real firmware on the virtual chip: what it says comes from there. What the meter says comes from `faulty_plant`, a model that
shares nothing with the one by which causes are judged, with an error anywhere within the meter's and every part anywhere within its tolerance.
Faults are drawn evenly over the kinds of sender, then over the faults of that kind, then over the range of each; one that does not show (the box
names no fault and is off by less than SHOWS of the travel) is drawn again, for nobody would go and look for it. The aircraft, its faults
and their ranges are our own invention.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from gaugebox.measure import COUNT, FAULT, FAULTS, READING, SIGNAL
from gaugebox.flight_log import FlightLog
from gaugebox.log import Log
from gaugebox.store import SLOTS, Store, slot_header
from gaugelight.application import application
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.circuits import REFERENCE, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import OnChip
from gaugelight.lights import Lights
from gaugelight.plant import Aircraft as WholeAircraft
from gaugelight.problems import Misuse, Wrong
from gaugelight.proportions import clopper_pearson
from gaugelight.readouts import Face
from gaugelight.tracing import measurements, narrow
from gaugelight.tracing.causes import causes
from gaugelight.tracing.faulty_plant import OFF, Aircraft
from gaugelight.tracing.measurements import TRUE, WIGGLE, Measured, Measurement
from gaugelight.tracing.traced import (
    FLOAT,
    FLOATS,
    KINDS,
    LOOP,
    MILLIVOLTS,
    PLATINUM,
    RAIL,
    RESISTIVE,
    THERMISTOR,
    THERMOCOUPLE,
    VOLTAGE,
    VOLTS,
    Traced,
    traced,
)
from gaugelight.tracing.wired import stand_in, stand_in_volts
from gaugelight.virtual.in_process import BoardInProcess, ChipInProcess
from gaugelight.virtual.world import Inputs, Outputs
from gaugelight.whole_file import write_whole

CASES, SEED = 300, 20268
MOST_MEASUREMENTS = 3
SHOWS = 0.06  # of the travel
SETTLES_TICKS = 70  # 1.4 s: the slowest converter has been round three times, a silent one is missed
STARTS_TICKS = 90
DEMO = Path(__file__).parents[1] / "demo" / "amphibian.toml"
SENDERS = Path(__file__).parents[3] / "tests" / "senders.toml"

Random = np.random.Generator


# --- the box: the real firmware on the virtual chip ---


class BoxInProcess:
    """One box whose inputs can be moved: volts on the pins of some, all others at rest."""

    def __init__(self, box: Box, folder: Path) -> None:
        undamped = tuple(replace(one, damping=Fraction(0)) for one in box.inputs)  # each case begins anew
        self.box = replace(box, inputs=undamped, lights=Lights(), face=Face(), in_flight=None)
        self.rest = WholeAircraft(self.box)
        self.volts: dict[str, float] = {}
        self.silent: set[int] = set()
        built = build(self.box)
        (folder / SLOTS[0]).write_bytes(slot_header(1) + built.image)
        self.chip = ChipInProcess(self)
        board: Any = BoardInProcess(self.chip)
        self.app = application()(
            board,
            Store(str(folder)),
            Log(str(folder / "log")),
            FlightLog(str(folder / "flights")),
        )
        self.channels = {channel.record.name: channel for channel in self.app.channels}
        self.tick(STARTS_TICKS)

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        inputs = self.rest.step(elapsed_ms, outputs)
        for name, volts in self.volts.items():
            one = self.box.input(name)
            assert one is not None
            if isinstance(one.converter, OnChip):
                inputs.volts[one.converter.pin] = min(max(volts, 0.0), 3.3)
            elif isinstance(one.circuit, Millivolt):
                plus, minus = one.converter.pins
                inputs.chips[one.converter.chip.address][plus] = 1.65 + volts
                inputs.chips[one.converter.chip.address][minus] = 1.65
            else:
                inputs.chips[one.converter.chip.address][one.converter.pins[0]] = volts
        for address in self.silent:
            inputs.chips.pop(address, None)
        return inputs

    def tick(self, times: int) -> None:
        for _ in range(times):
            due = self.app.board.later(self.app.board.now(), 20)
            self.app.tick()
            self.app.board.wait_until(due)

    def says(self, of: Traced, measurement: Measurement) -> tuple[Measured, float | None]:
        """What the box says of an input now, as it would on its line; and its reading."""
        self.tick(SETTLES_TICKS)
        channel = self.channels[of.one.name]
        code, count, signal, reading = (channel.said[k] for k in (FAULT, COUNT, SIGNAL, READING))
        rail = of.box.rail_of(of.one)
        of_rail = None if rail is None else self.channels[rail.name].said[COUNT]
        exact = None if code else signal / 10**channel.record.signal_decimals
        said = measurements.from_box(of, measurement, FAULTS[code], count, exact, of_rail)
        return said, None if code else reading / 10**channel.record.reading_decimals


# --- the faults ---

Fault = Callable[[Aircraft, Random], object]


def _log(random: Random, low: float, high: float) -> float:
    return float(np.exp(random.uniform(math.log(low), math.log(high))))


def _apart(random: Random, low: float, high: float) -> float:
    """A share, log-uniform, that is no 1."""
    while abs(share := _log(random, low, high)) and 0.88 < share < 1.14:
        pass
    return share


def _set(**values: Any) -> Fault:
    """Fields of the aircraft, each a value or drawn from (low, high) or, three long, from logarithms."""

    def put(aircraft: Aircraft, random: Random) -> None:
        for name, value in values.items():
            if isinstance(value, tuple):
                value = _log(random, *value[:2]) if len(value) == 3 else float(random.uniform(*value))
            setattr(aircraft, name, value)

    return put


def _part(name: str, low: float, high: float) -> Fault:
    return lambda aircraft, random: aircraft.part.update(
        {name: _apart(random, low, high) if low < high else low}
    )


def _stuck(aircraft: Aircraft, random: Random) -> None:
    aircraft.stuck = float(random.uniform(0, 1))


def _hangs(aircraft: Aircraft, random: Random) -> None:
    """Short of its bottom or of its top."""
    short = float(random.uniform(0.1, 0.6))
    aircraft.stops = (short, math.inf) if random.random() < 0.5 else (-math.inf, 1 - short)


def _worn(aircraft: Aircraft, random: Random) -> None:
    """Where the float stands now."""
    place = float(np.clip(aircraft.level + random.uniform(-0.01, 0.01), 0, 1))
    ohms = (
        OFF
        if random.random() < 0.5
        else _log(random, 0.3, 100) * max(map(abs, (aircraft._whole(r) for r in aircraft.one.law.span)))
    )
    aircraft.worn = place, float(random.uniform(0.04, 0.25)), ohms
    aircraft.jumps = True


def _one_stuck(which: int) -> Fault:
    def put(aircraft: Aircraft, random: Random) -> None:
        ohms = aircraft.floats[which][1]
        aircraft.stuck_float = which, float(random.uniform(min(ohms), max(ohms)))

    return put


def _one_hangs(which: int) -> Fault:
    def put(aircraft: Aircraft, random: Random) -> None:
        ohms = aircraft.floats[which][1]
        short = float(random.uniform(0.1, 0.6)) * (max(ohms) - min(ohms))
        ends = (min(ohms) + short, OFF) if random.random() < 0.5 else (0.0, max(ohms) - short)
        aircraft.float_stops = which, *ends

    return put


def _one_at(which: int, ohms: float) -> Fault:
    return lambda aircraft, random: setattr(aircraft, "stuck_float", (which, ohms))


def _sender_of(*ends: tuple[float, float]) -> Fault:
    """One of them that is not the one described."""

    def put(aircraft: Aircraft, random: Random) -> None:
        low, high = aircraft.one.law.span
        own = [aircraft._whole(low), aircraft._whole(high)]
        width = abs(own[1] - own[0])
        others = [e for e in ends if max(abs(e[0] - own[0]), abs(e[1] - own[1])) > 0.1 * width]
        aircraft.standard = others[random.integers(len(others))]

    return put


def _resistive_faults(of: Traced) -> Iterator[tuple[str, Fault]]:
    low, high = of.signal_span
    least, most = max(2.0, 0.05 * (high - low)), 100 * high
    yield "signal wire open", _set(wire=OFF, jumps=True)
    yield "corroded contact in the signal wire", _set(wire=(least, most, "log"))
    yield "signal wire shorted to ground, or to its return", _set(leak=(0.01, 0.8, "log"))
    yield "signal wire leaks to ground: damp", _set(leak=(2.0, 8 * high, "log"))
    yield "bus voltage on the signal wire", _set(chafe=(0.01, 0.8, "log"))
    yield "sender open inside", _set(ohms=OFF)
    yield "sender shorted inside", _set(ohms=(0.0, 0.5))
    yield "the sender's ground stands above the box's", _set(offset=(0.03, 3.0, "log"))
    yield "the sender's ground stands below the box's", _set(offset=(-3.0, -0.03))
    yield "resistance in the sender's return", _set(back=(least, most, "log"))
    yield "the sender's return is open", _set(back=OFF)
    yield "the pull-up is open", _part("resistor", 1e9, 0)
    yield "a pull-up of another value", _part("resistor", 0.2, 5)
    if of.one.circuit.rail != REFERENCE:
        yield "the sender rail is missing or low", _set(rail=(0.0, 0.7))
        yield "the sender rail is high", _set(rail=(1.12, 1.4))


def _sender_named(of: Traced, ends: tuple[float, float]) -> str:
    if of.kind == VOLTAGE:
        return f"a sender of {ends[0]:g} to {ends[1]:g} V"
    return f"a sender of {ends[0]:g} ohm empty, {ends[1]:g} ohm full"


def _faults(of: Traced) -> dict[str, Fault]:
    """By the beginning of the cause's name."""
    found: dict[str, Fault] = {"nothing wrong": _set()}
    if of.one.converter.chip is not None:
        found["its converter is silent"] = _set(silent=True)
    if of.kind in RESISTIVE:
        found |= dict(_resistive_faults(of))
    if of.kind in FLOATS:
        found["worn track"] = _worn
        found["sender the other way round"] = _set(around=True)
        found["a sender of"] = _sender_of(
            (0, 90), (90, 0), (240, 33), (33, 240), (0, 180), (10, 180), (180, 10), (0, 30), (73, 10)
        )
        if of.kind == FLOAT:
            found["float stuck"] = _stuck
            found["float moves over part"] = _hangs
        else:
            for which, name in enumerate(("first", "second")):
                found[f"{name} float stuck"] = _one_stuck(which)
                found[f"{name} float moves over part"] = _one_hangs(which)
                found[f"{name} float shorted"] = _one_at(which, 0.0)
                found[f"{name} float open"] = _one_at(which, OFF)
    if of.kind in (THERMISTOR, PLATINUM):
        found["sender aged"] = lambda aircraft, random: setattr(
            aircraft, "ohms_scale", _apart(random, 0.78, 1.3)
        )
        found["another sender"] = lambda aircraft, random: setattr(
            aircraft, "ohms_scale", random.choice([0.1, 0.2, 0.5, 2.0, 5.0, 10.0])
        )
    if of.kind == LOOP:
        lowest = of.signal_span[0]
        other = 0.0 if lowest > 1 else 4.0
        found |= {
            "signal wire open": _set(wire=OFF, jumps=True),
            "corroded contact in the signal wire": _set(wire=(200.0, 20e3, "log")),
            "signal wire shorted to ground, or to its return": _set(leak=(0.01, 0.8, "log")),
            "signal wire leaks to ground: damp": _set(leak=(20.0, 1500.0, "log")),
            "bus voltage on the signal wire": _set(chafe=(0.01, 0.8, "log")),
            "stands still": _stuck,
            "its supply wire is open": _set(supply_wire=OFF),
            "loop supply too low": lambda aircraft, random: setattr(
                aircraft, "supply", float(random.uniform(3.5, 9.5))
            ),
            "transducer dead": _set(milliamperes=(0.0, 0.3)),
            "transducer stuck at its lowest": _set(milliamperes=(max(lowest - 0.5, 0.0), lowest + 0.1)),
            "transducer stuck at its highest": _set(milliamperes=(20.4, 26.0)),
            "transducer shorted inside": _set(shorted=True),
            "transducer's two wires exchanged": _set(around=True),
            f"a transducer of {other:g} to 20 mA": lambda aircraft, random: setattr(
                aircraft, "standard", (other, 20.0)
            ),
            "a transducer of another range": lambda aircraft, random: setattr(
                aircraft, "range_scale", _apart(random, 0.2, 4)
            ),
            "the shunt is burnt open": _part("resistor", 1e9, 0),
            "a shunt of another value": _part("resistor", 0.1, 4),
        }
    if of.kind == VOLTAGE:
        found |= _voltage_faults(of)
    if of.kind == VOLTS:
        circuit = of.one.circuit
        ohms = circuit.top + circuit.bottom if isinstance(circuit, Divider) else 1e5
        found |= {
            "signal wire open": _set(wire=OFF, jumps=True),
            "corroded contact in the signal wire": _set(wire=(0.05 * ohms, 20 * ohms, "log")),
            "signal wire shorted to ground": _set(wire=OFF, leak=0.005),
            "the sender's ground stands above the box's": _set(offset=(0.1, 1.2)),
            "the sender's ground stands below the box's": _set(offset=(-1.2, -0.1)),
        }
    if of.kind == RAIL:
        nominal = float(of.one.nominal or 0)
        found |= {
            "the rail is missing": _set(volts=(0.0, 0.08 * nominal)),
            "the rail is low": _set(volts=(0.2 * nominal, 0.95 * nominal)),
            "the rail is high": _set(volts=(1.05 * nominal, 1.6 * nominal)),
            "the rail does not reach its converter": _set(cut=True),
        }
    if isinstance(of.one.circuit, Divider):
        found |= {
            "the divider's lower resistor is open": _part("bottom", 1e9, 0),
            "the divider's upper resistor is open": _part("top", 1e9, 0),
            "a divider of another ratio": lambda aircraft, random: aircraft.part.update(
                bottom=float(random.choice([_log(random, 0.2, 0.75), _log(random, 1.35, 5)]))
            ),
        }
    if of.one.circuit.unit == "mV":
        found |= {
            "signal wire open": _set(wire=OFF, jumps=True),
            "corroded contact in the signal wire": _set(wire=(5e3, 2e5, "log")),
            "its two wires exchanged": _set(passes=-1.0),
            "its two wires touch each other": _set(
                passes=(0.0, 0.4) if of.kind == THERMOCOUPLE else (0.0, 0.01)
            ),
            "the box's input is open": _set(cut=True),
        }
    if of.kind == THERMOCOUPLE:
        found |= {
            "a thermocouple of type": _set(other_couple=True),
            "copper wire on part of the way": _set(passes=(0.4, 0.9)),
            "thermocouple open inside": _set(ohms=OFF, wire=OFF),
        }
    if of.kind == MILLIVOLTS:
        found["a current shunt of other millivolts"] = lambda aircraft, random: setattr(
            aircraft, "volts_scale", _apart(random, 0.25, 4)
        )
    return found


def _voltage_faults(of: Traced) -> Mapping[str, Fault]:
    low, high = of.signal_span
    circuit = of.one.circuit
    ohms = circuit.top + circuit.bottom if isinstance(circuit, Divider) else 1e5
    supply = 5.0 if isinstance(circuit, Divider) else 3.3
    faults: dict[str, Fault] = {
        "signal wire open": _set(wire=OFF, jumps=True),
        "corroded contact in the signal wire": _set(wire=(0.05 * ohms, 30 * ohms, "log")),
        "signal wire shorted to ground, or to its return": _set(leak=(0.01, 0.8, "log")),
        "bus voltage on the signal wire": _set(chafe=(0.01, 0.8, "log")),
        "stands still": _stuck,
        "its supply wire is open": _set(supply_wire=OFF),
        "sender dead": _set(volts=(0.0, 0.08)),
        "sender stuck at its lowest": _set(volts=(0.85 * low, 1.05 * low)),
        "sender stuck at its highest": _set(volts=(high, max(high, 0.97 * supply))),
        "the sender's supply and ground exchanged": _set(volts=(0.0, 0.6), around=True),
        "the sender's ground stands above the box's": _set(offset=(0.05, 0.7)),
        "the sender's ground stands below the box's": _set(offset=(-0.7, -0.05)),
        "resistance in the sender's return": _set(back=(10.0, 400.0, "log"), draw=(3.5, 9.5)),
        "the sender's return is open": _set(no_ground=(0.55, 0.98)),
        "a transducer of another range": lambda aircraft, random: setattr(
            aircraft, "range_scale", _apart(random, 0.2, 4)
        ),
    }
    if isinstance(circuit, Divider):
        faults["signal wire shorted to the sender's supply"] = _set(plus=0.1)
        faults["a sender of"] = _sender_of((0.0, 5.0), (1.0, 5.0))
        if of.chain.rail is not None:
            faults["the sender rail is missing or low"] = _set(rail=(0.0, 0.7))
            faults["the sender rail is high"] = _set(rail=(1.12, 1.4))
    return faults


# --- a case ---


@dataclass(frozen=True)
class Case:
    """fault: what was put in. left: how many repairs fitted at first and after each measurement; there: whether the true cause was among them."""

    input: str
    kind: str
    fault: str
    left: tuple[int, ...]
    asked: tuple[str, ...]
    there: bool

    @property
    def alone(self) -> bool:
        return self.there and self.left[-1] == 1


def _aircraft(of: Traced, random: Random) -> Aircraft:
    circuit = of.one.circuit
    tolerance = getattr(circuit, "tolerance", None) or 0.01
    off = {part: random.uniform(-1, 1) * tolerance for part in ("resistor", "top", "bottom")}
    off |= {"load": random.uniform(-0.3, 0.3), "rail": random.uniform(-0.015, 0.015)}
    level = random.uniform(0.03, 0.97)
    if isinstance(of.one.converter, OnChip):
        # what its own errors are: gaugelight.error_budget, the reference two per cent
        off |= {"gain": random.uniform(-0.01, 0.01), "volts": random.uniform(-0.01, 0.01), "reference": 0.0}
        if circuit.rail == REFERENCE:
            off["gain"] = random.uniform(-0.001, 0.001)
    else:
        off |= {
            "gain": random.uniform(-0.0015, 0.0015),
            "volts": random.uniform(-3, 3) * of.one.converter.quantum,
        }
    wired = of.kind in RESISTIVE  # good wires and contacts have ohms too
    aircraft = Aircraft(
        of.box, of.one, level, random.uniform(13.1, 14.6), random.uniform(10, 35), off,
        [(list(map(float, readings)), list(map(float, ohms))) for readings, ohms in of.floats],
        of.sender_off * math.sqrt(3) * random.uniform(-1, 1), wire=random.uniform(0, 0.35) * wired, back=random.uniform(0, 0.2) * wired,
        offset=random.uniform(-0.005, 0.005), least=random.uniform(7.2, 9.8), starved=_log(random, 2e4, 5e5),
        own_ohms=random.uniform(2, 50) if of.kind == THERMOCOUPLE else random.uniform(0.05, 1),
    )  # fmt: skip
    if of.kind == VOLTAGE:
        # its output's short circuit: a phototransistor's behind 2 to 13 kohm, or an amplifier's
        aircraft.drives = (
            _log(random, 2.5e-4, 2e-3) if isinstance(circuit, Direct) else _log(random, 2e-3, 3e-2)
        )
    if of.kind == RAIL:
        nominal = float(of.one.nominal or 0)
        aircraft.level = of.level(nominal * random.uniform(0.98, 1.02))
    return aircraft


class Trial:
    """random: of the case that runs."""

    random: Random

    def __init__(self, files: tuple[Path, ...], folder: Path) -> None:
        self.inputs: dict[str, list[tuple[BoxInProcess, Traced]]] = {kind: [] for kind in KINDS}
        for number, file in enumerate(files):
            box = read_box(file)
            place = folder / str(number)
            place.mkdir()
            virtual = BoxInProcess(box, place)
            for one in box.inputs:
                of = traced(box, one.name)
                self.inputs[of.kind].append((virtual, of))

    def case(self, seed: int, number: int) -> Case:
        """The same whichever others have run."""
        random = self.random = np.random.default_rng([seed, number])
        kind, turn = KINDS[number % len(KINDS)], number // len(KINDS)
        virtual, of = self.inputs[kind][turn % len(self.inputs[kind])]
        one = of.one
        faults = _faults(of)
        names = list(faults)
        name = names[random.integers(len(names))]
        for _ in range(400):
            aircraft = _aircraft(of, random)
            faults[name](aircraft, random)
            if one.cold is not None:
                of = replace(of, cold=aircraft.cold + random.uniform(-0.8, 0.8), cold_off=1.0)
            said, reading = self._box_says(
                virtual, of, aircraft, measurements.available(of)[0], aircraft.level
            )
            low, high = one.law.span
            off = math.inf if reading is None else abs((reading - low) / (high - low) - aircraft.level)
            if name == "nothing wrong" or off > SHOWS:
                break
        else:
            raise RuntimeError(f"{one.name}: {name} never shows")
        return self._traced(virtual, of, aircraft, name, said)

    def _box_says(
        self, virtual: BoxInProcess, of: Traced, aircraft: Aircraft, measurement: Measurement, level: float
    ) -> tuple[Measured, float | None]:
        circuit = of.one.circuit
        here = (
            stand_in(of)
            if isinstance(circuit, PullUp)
            else of.middle if isinstance(circuit, Shunt) else stand_in_volts(of)
        )
        virtual.volts = {of.one.name: aircraft.pin(measurement.what, level, here)}
        virtual.silent = set()
        rail = of.box.rail_of(of.one)
        if rail is not None:
            virtual.volts[rail.name] = aircraft.rail_pin()
        if of.one.cold is not None:
            cold = virtual.box.input(of.one.cold)
            assert cold is not None
            virtual.rest.signals[cold.name] = float(cold.law.signal(np.array([aircraft.cold]))[0])
        if aircraft.silent and of.one.converter.chip is not None:
            virtual.silent = {of.one.converter.chip.address}
        return virtual.says(of, measurement)

    def _measure(self, virtual: BoxInProcess, of: Traced, aircraft: Aircraft, one: Measurement) -> Measured:
        level = aircraft.level if one.place is None else one.place + self.random.uniform(-0.01, 0.01)
        if one.unit == "count":
            return self._box_says(virtual, of, aircraft, one, level)[0]
        if one.what == TRUE:
            reading = of.reading(aircraft.level + self.random.uniform(-0.02, 0.02))
            return measurements.measured(
                of, one, f"{reading:.6g}" if "e" not in f"{reading:.6g}" else f"{reading:.4f}"
            )
        if one.what == WIGGLE:
            return measurements.measured(of, one, "jumps" if aircraft.jumps else "steady")
        value = aircraft.meter(one.what, level)
        meter = of.meter(one.unit)
        value += (meter.share * abs(value) + meter.amount) * self.random.uniform(-1, 1)
        if one.unit == "ohm":
            return measurements.measured(of, one, "open" if value > 5e6 else f"{max(value, 0.0):.3f}")
        return measurements.measured(of, one, f"{value:.4f}")

    def _traced(
        self, virtual: BoxInProcess, of: Traced, aircraft: Aircraft, name: str, said: Measured
    ) -> Case:
        all_causes = left_over = causes(of)
        true = [cause for cause in all_causes if cause.name.startswith(name)]
        if name == "a sender of" and aircraft.standard is not None:  # that sender, no other
            true = [cause for cause in true if cause.name.startswith(_sender_named(of, aircraft.standard))]
        if not true:
            raise RuntimeError(f"{of.one.name}: no cause begins with {name}")
        found, asked, counts = [said], [], []
        while True:
            rows = narrow.left(of, left_over, found)
            left_over = tuple(row.cause for row in rows if row.fits)  # what is out stays out
            counts.append(len(narrow.groups(rows)))
            following = narrow.next_measurement(of, rows, found) if len(found) <= MOST_MEASUREMENTS else None
            if following is None:
                break
            asked.append(following.measurement.words(of))
            found.append(self._measure(virtual, of, aircraft, following.measurement))
        there = any(row.fits for row in rows if row.cause in true)
        return Case(of.one.name, of.kind, name, tuple(counts), tuple(asked), there)


def trial(
    numbers: Iterable[int], seed: int = SEED, progress: Callable[[str], None] = lambda what: None
) -> tuple[Case, ...]:
    """Those cases, by their numbers; kinds of sender in turn. Raises Misuse outside of a checkout."""
    if not SENDERS.exists():
        raise Misuse(f"{SENDERS}: is missing; the trial runs in a checkout")
    with tempfile.TemporaryDirectory() as folder:
        runs = Trial((SENDERS, DEMO), Path(folder))
        found = []
        for done, number in enumerate(numbers):
            found.append(runs.case(seed, number))
            if done % 20 == 19:
                progress(f"{done + 1} traced")
    return tuple(found)


# --- what came of it ---


def _share(cases: Sequence[Case], what: Callable[[Case], bool]) -> str:
    """Of the cases, with its limits at 95 % (Clopper and Pearson)."""
    held = sum(map(what, cases))
    low, high = clopper_pearson(held, len(cases))
    return f"{held} of {len(cases)} ({held / len(cases):.1%}; {low:.1%} to {high:.1%})"


def report(cases: Sequence[Case], seed: int = SEED) -> str:
    """The table that stands in hardware_notes/trace_trial.txt."""
    lines = [
        "Single faults put into the aircraft of a virtual chip that runs the box's own code, each measured as `gaugelight trace` suggests, at most "
        f"{MOST_MEASUREMENTS} times.",
        f"python -m gaugelight.tracing.trace_trial --write hardware_notes/trace_trial.txt (seed {seed}). Aircraft, faults and ranges are our own",
        "invention. What calls for the same repair counts as one cause: corrosion in a wire or in its connector, a sender open or worn inside.",
        "",
        f"true cause among those left  {_share(cases, lambda case: case.there)}",
        f"alone                        {_share(cases, lambda case: case.alone)}",
        f"measurements, mean           {sum(len(case.asked) for case in cases) / len(cases):.2f}",
        "",
        f"{'kind of sender':24}{'cases':>6}{'there':>7}{'alone':>7}{'measured':>10}",
    ]
    for kind in KINDS:
        rows = [case for case in cases if case.kind == kind]
        if rows:
            mean = sum(len(case.asked) for case in rows) / len(rows)
            there, alone = sum(case.there for case in rows), sum(case.alone for case in rows)
            lines.append(f"{kind:24}{len(rows):6}{there:7}{alone:7}{mean:10.2f}")
    lines += ["", "input; fault; repairs that fit at first and after each measurement; what was measured"]
    return "\n".join([*lines, *map(line_of, cases), ""])


def line_of(case: Case) -> str:
    verdict = "" if case.alone else "  not alone" if case.there else "  LOST"
    return f"{case.input}; {case.fault}; {' '.join(map(str, case.left))}; {' | '.join(case.asked) or '-'}{verdict}"


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m gaugelight.tracing.trace_trial", description=__doc__.split("\n")[0]
    )
    parser.add_argument("--cases", type=int, default=CASES, metavar="N", help=f"default {CASES}")
    parser.add_argument("--seed", type=int, default=SEED, metavar="S", help=f"default {SEED}")
    parser.add_argument("--write", metavar="FILE", help="the table, in a file")
    parser.add_argument("--json", action="store_true", help="one object on stdout")
    asked = parser.parse_args(arguments)
    if asked.cases < 1 or asked.seed < 0:
        parser.error("--cases must be 1 or more, --seed 0 or more")
    try:
        cases = trial(range(asked.cases), asked.seed, lambda what: print(what, file=sys.stderr))
        text = report(cases, asked.seed)
        if asked.write is not None:
            write_whole(Path(asked.write), text)
    except Wrong as wrong:
        print(wrong, file=sys.stderr)
        return wrong.exit_code
    if asked.json:
        there, alone = sum(case.there for case in cases), sum(case.alone for case in cases)
        rows = [asdict(case) | {"alone": case.alone} for case in cases]
        print(json.dumps({"seed": asked.seed, "there": there, "alone": alone, "cases": rows}))
    else:
        print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
