"""A choice in words: what stands where, and why; what was refused, and what would help."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from gaugelight.atmosphere import sealed_error_psi
from gaugelight.boxfile import PRESSURE_KINDS, PRESSURE_UNITS
from gaugelight.choosing import loops, tank_energy
from gaugelight.choosing.asked import ADS1115, ON_CHIP, Asked
from gaugelight.choosing.candidates import (
    DISSIPATION,
    WIPER_MA,
    Candidate,
    Choice,
    choose,
)
from gaugelight.choosing.input_block import QUARTET, Place, ohms_text
from gaugelight.circuits import REFERENCE, Circuit, Direct, Divider, PullUp, Shunt
from gaugelight.converters import OnChip
from gaugelight.error_budget import most_helpful
from gaugelight.faults_shown import thermistor_taken_as_straight
from gaugelight.laws import Thermometer
from gaugelight.quantity import UNITS

Fact = tuple[str, str]  # what it is about, what there is to say

RATED = 0.6  # W, of a metal film resistor as in the reference box
DERATED = 0.5  # of its rating, that a resistor is used to (common practice, no source)
HEADS = [
    "",
    ">one step",
    ">+- 95 %",
    ">at worst",
    ">sender",
    ">mA",
    ">one failed",
    "open",
    "to ground",
]


def two(value: float) -> str:
    """As uncertainties are stated (JCGM 100, 7.2.6)."""
    return f"{float(f'{value:.2g}'):g}"


def milliamperes(value: float) -> str:
    return f"{value:.3g}" if np.isfinite(value) else "all there is"


def circuit_words(circuit: Circuit, quartet: bool = False) -> str:
    """ "pull-up 150 ohm, four as one"."""
    rail = circuit.rail
    if isinstance(circuit, PullUp):
        words = f"pull-up {ohms_text(circuit.resistor)}{', four as one' if quartet else ''}"
        words += f", {ohms_text(circuit.series)} in series" if circuit.series else ""
        return words + (" to the chip's reference" if rail == REFERENCE else f" to {rail}")
    if isinstance(circuit, Shunt):
        return f"shunt {ohms_text(circuit.resistor)}"
    if isinstance(circuit, Divider):
        words = f"divider {ohms_text(circuit.top)} over {ohms_text(circuit.bottom)}"
        return words + (f", compared with {rail}" if rail else "")
    assert isinstance(circuit, Direct)
    words = "direct" + (f", {ohms_text(circuit.pull_down)} to ground" if circuit.pull_down else "")
    return words + (f", compared with {rail}" if rail else "")


def pin_words(one: Candidate) -> str:
    """ "aft.0"."""
    converter = one.converter
    return (
        f"GP{converter.pin}"
        if isinstance(converter, OnChip)
        else f"{converter.chip.name}.{converter.channel}"
    )


MEANT = (
    "one step: of the converter, as it changes the reading there; +- 95 %: there; at worst: anywhere; sender: heat in it, at most; mA: into a shorted"
    " sender, or round the loop; one failed: the same with any one part of the box failed; open, to ground: what the box says of a broken wire and a short"
)
RANKED = (
    "ranked by: nothing against it; a broken wire told; a free pin of the box before one more converter; error, step, self-heating and grounds (2 mV with a return wire of its own, else as"
    " stated) together at the point that matters, then at the worst, where less than a quarter and half of a displayed step count as"
    " none and a tenth more as equal; little current, or of loops and voltages much signal; few parts"
)


def name_of(one: Candidate) -> str:
    """The circuit and its pin, and whether it is only shown."""
    where = f", {pin_words(one)} at {one.converter.full_scale:g} V"
    where += " (one converter more than the box has)" if one.place.one_more else ""
    return (
        circuit_words(one.circuit, one.quartet)
        + where
        + (" (NOT TO BE BUILT, see below)" if one.against else "")
    )


def row(number: int, one: Candidate) -> list[str]:
    """Of the table; HEADS are its heads."""
    return [
        str(number),
        two(one.resolution),
        two(one.error),
        two(one.worst.plus_minus),
        f"{two(1000 * one.self_heating)} mW" if one.self_heating else "-",
        f"{one.current:.3g}",
        milliamperes(one.failed_current) if one.tank else "-",
        one.shows("open wire").brief,
        one.shows("short to ground").brief,
    ]


# hardware_notes/reference_box.md, "Other senders"
SENSOR_SUPPLY = (
    "the sender's comes from a regulator for sensors, which bears bus voltage on its output, and is measured behind it;"
    " the board's own 5 V must not leave the box, and the bus would burn the sender"
)


def facts(one: Candidate) -> list[Fact]:
    """Why this circuit, in figures."""
    unit, asked = one.input.unit, one.asked
    at = f"{asked.matters:.4g} {unit}"
    said: list[Fact] = [("circuit", _circuit(one))]
    said.append(
        (
            "resolution",
            f"at {at} one step of the converter is {two(one.resolution)} {unit}, a displayed one {float(one.input.step):g} {unit}",
        )
    )
    helps = most_helpful(one.budget)
    worst = f"; at worst +-{two(one.worst.plus_minus)} at {one.worst.reading:.4g}"
    largest = one.budget.contributors[0]
    said.append(
        (
            "error",
            f"+-{two(one.error)} {unit} at {at} (95 %){worst}. Mostly from: {largest.quantity.name} ({largest.quantity.size}). "
            f"What would help most: {helps}. The sender's own tolerance is "
            + ("in it" if asked.tolerance else "not stated and not in it"),
        )
    )
    said.append(
        (
            "proof",
            f"what the box says differs from this circuit by {two(one.solved.reading_error_max)} {unit} at most, over all counts;"
            f" a quarter of a step is {float(one.input.step) / 4:.3g}",
        )
    )
    if bent := thermistor_taken_as_straight(one.input):
        said.append(("points", bent))
    said += [("heat", line) for line in _heat(one)]
    said.append(("current", _current(one)))
    said += [("wire faults", line) for line in _told(one)]
    said += [("wire", line) for line in _wire(one)]
    said += [("loop", line) for line in _loop(one)]
    if isinstance(one.circuit, Divider) and one.circuit.rail is not None:
        said.append(("supply", SENSOR_SUPPLY))
    said += [("pressure", line) for line in _pressure(one)]
    return said


def _circuit(one: Candidate) -> str:
    circuit, asked = one.circuit, one.asked
    words = circuit_words(circuit, one.quartet)
    if protection := getattr(circuit, "protection", 0.0):
        halves = "" if isinstance(circuit, Divider) else " (two of half that, the clamp between them)"
        words += f", {ohms_text(protection)} before the pin{halves}"
    words += f"; pin {pin_words(one)}, full scale {one.converter.full_scale:g} V"
    words += f"; resistors {100 * asked.resistors:g} %, values of {asked.series_of} (IEC 60063)"
    if one.quartet:
        words += "; the resistor is " + QUARTET.format(ohms_text(getattr(circuit, "resistor")))
    return words


def _heat(one: Candidate) -> Iterator[str]:
    if isinstance(one.circuit, PullUp):
        words = f"the sender takes {two(1000 * one.self_heating)} mW at most"
        if isinstance(one.input.law, Thermometer):
            by = one.asked.dissipation
            assumed = f"{by:g} mW a degree" if by else f"{DISSIPATION:g} mW a degree, assumed: still air"
            words += f", which warms it by {two(one.warmed)} {one.input.unit} where it matters ({assumed})"
        yield words
    for name, watts in one.part_heating:
        if watts > RATED * DERATED:
            cure = (
                "a fuse of 50 mA in its wire, or it burns (the fuse's own drop at 21 mA belongs into --loop-drop)"
                if isinstance(one.circuit, Shunt)
                else "take one of twice that rating, or several as one"
            )
            yield f"{name}: {two(watts)} W; {cure}"
        elif "wire at" not in name:
            yield f"{name}: {two(1000 * watts)} mW"


def _current(one: Candidate) -> str:
    if isinstance(one.circuit, PullUp):
        words = f"{one.current:.3g} mA into a shorted sender, the rail 2 % high, its resistors {100 * one.asked.resistors:g} % low"
        if one.asked.in_fuel_units and one.current < WIPER_MA:
            words += (
                f"; less than {WIPER_MA:g} mA leaves a wiper's contact uncertain (common practice, no source)"
            )
        return words
    if isinstance(one.circuit, Shunt):
        return f"{one.current:g} mA at most from a healthy transmitter (NAMUR NE 43)"
    return f"{one.current:.2g} mA out of the sender at the top of its range"


def _told(one: Candidate) -> Iterator[str]:
    told = [one.shows(fault) for fault in ("open wire", "short to ground", "short to the supply")]
    yield "; ".join(f"{row.fault}: {row.shows if row.told else 'NOT TOLD, it ' + row.shows}" for row in told)
    yield "; ".join(f"{row.fault}: {row.shows}" for row in one.shown if row.fault.endswith("corrosion"))


def _wire(one: Candidate) -> Iterator[str]:
    asked, circuit = one.asked, one.circuit
    if not getattr(circuit, "protection", 0.0):
        yield "CAUTION: nothing stands before the pin: a wire that touches the bus takes the converter with it"
    if isinstance(circuit, PullUp) and not asked.wire_stated:
        ohms = asked.wire.ohms()
        signal = float(one.input.law.signal(np.array([asked.matters]))[0])
        off = abs(float(one.input.law.reading(np.array([signal + ohms]))[0]) - asked.matters)
        run = f"{asked.wire.length:g} m of AWG {asked.wire.gauge}, assumed"
        yield f"its {ohms:.2g} ohm ({run}) are {two(off)} {one.input.unit}, not allowed for: --wire takes yours off"


def _loop(one: Candidate) -> Iterator[str]:
    if one.live is None:
        return
    asked, circuit = one.asked, one.circuit
    assert isinstance(circuit, Shunt)
    battery, crank = one.live
    stated = f"assumed {asked.transmitter_least:g} V at least, {asked.loop_drop:g} V lost in diode and fuse, {asked.wire.length:g} m of AWG {asked.wire.gauge}"
    yield f"{asked.loop_wires} wires; {stated}: give yours with --transmitter, --loop-drop, --wire"
    for state, live in (("a dying battery", battery), ("a starter's dip", crank)):
        words = f"{state}, {live.bus:g} V: {live.volts:.2f} V at the transmitter at 21 mA"
        if live.lives:
            yield f"{words}, {live.left:.2f} V to spare"
        else:
            yield f"{words}, {-live.left:.2f} V too few"
    lowest = loops.lowest_bus(asked, circuit.resistor)
    yield f"it lives down to {lowest:.2f} V of bus"
    if not crank.lives:
        said = one.shows("open wire").shows
        yield (
            f'below that its current is anybody\'s guess; with none at all the box says "{said}". Marks and alerts of it want'
            f' only_when = "bus above {max(lowest + 0.5, 11):.3g} V", so that a start sounds none'
        )


def _pressure(one: Candidate) -> Iterator[str]:
    kind, unit = one.asked.pressure, one.asked.unit
    if unit not in PRESSURE_UNITS or kind is None:
        return
    feet = one.asked.altitude_ft
    off = sealed_error_psi(feet) * float(UNITS["psi"][1] / UNITS[unit][1])
    aloft = f"at {feet:,.0f} ft (ISO 2533)"
    gauge, sealed, absolute = PRESSURE_KINDS
    yield {
        gauge: f"gauge: the same aloft, as long as its vent breathes; a sealed one would read {two(-off)} {unit} less {aloft}",
        sealed: f"sealed: it reads {two(-off)} {unit} less {aloft} than a gauge one; where that matters buy gauge",
        absolute: f"absolute: where the pressure above the air is wanted it is off by {two(-off)} {unit} {aloft}",
    }[kind]


# --- a tank ---


def tank_rows(one: Candidate) -> list[list[str]]:
    """Case, mA and uJ with what the guidance names, whether it is within."""
    rows = []
    for case in one.tank:
        limits = (
            (tank_energy.NORMAL_MA, tank_energy.NORMAL_UJ)
            if case.normal
            else (tank_energy.FAILED_MA, tank_energy.FAILED_UJ)
        )
        rows.append(
            [
                case.name,
                milliamperes(case.milliamperes),
                f"{limits[0]:g}",
                two(case.microjoules),
                f"{limits[1]:g}",
                "within" if case.within else "BEYOND",
            ]
        )
    return rows


def tank_statement(one: Candidate) -> str:
    """What is always said of a sender in a tank."""
    ohms = (
        float(one.input.law.signal(np.array([one.asked.matters]))[0]) if one.circuit.unit == "ohm" else None
    )
    return tank_energy.chafed(ohms, one.asked.bus)


def tank_held_against(one: Candidate) -> str:
    whose = "into the tank, the sender shorted"
    assumed = "22 nF at the connector and 100 nF at the pin as in the reference box"
    if isinstance(one.circuit, PullUp):
        assumed = f"{tank_energy.feed_high(one.asked):g} V before the rail's regulator and never more (D93 of the reference box), {assumed}"
    else:
        whose = "up the signal wire alone, into a shorted sender; its supply is not in these figures"
    assumed += f", resistors {100 * one.asked.resistors:g} % low"
    if one.asked.wire.airframe_return:
        assumed += f", the tank's ground {1000 * one.asked.ground_offset:g} mV below the box's"
    wire = f"{one.asked.wire.length:g} m of wire ({1e6 * one.asked.wire.henries:.2g} uH)"
    return f"{whose}; held against {tank_energy.SOURCE}; assumed: {assumed}, {wire}"


# --- nothing fits ---


def refused_lines(choice: Choice, most: int = 3) -> list[str]:
    lines = [f"{choice.looked_at} circuits were looked at"]
    for refusal in choice.refused[:most]:
        lines.append(
            f"{refusal.count} of them cannot be, such as {circuit_words(refusal.example)}: {refusal.why.partition(';')[0]}"
        )
    return lines


def what_would_help(choice: Choice, places: tuple[Place, ...] = ()) -> list[str]:
    """Changes that give a circuit where there is none, each tried."""
    asked = choice.asked
    tries: list[list[tuple[str, Asked]]] = []  # of each the first that works
    if asked.converter == ON_CHIP:
        tries.append(
            [("--converter ads1115 (16 bits in the place of 12)", replace(asked, converter=ADS1115))]
        )
    if asked.rail != 3.3 and asked.signal == "ohm":
        tries.append([("--rail '3.3 V'", replace(asked, rail=3.3))])
    if asked.feed > 5:
        tries.append([("--feed '5 V': the rail's regulator behind another one", replace(asked, feed=5.0))])
    if asked.protection is not None:
        tries.append(
            [("the reference box's protection: leave --protection out", replace(asked, protection=None))]
        )
    if asked.tank and asked.signal != "ohm":
        return [
            "a sender whose circuit the box can limit: a resistive float on a pull-up; or one outside the fuel"
        ]
    if any("too coarse" in one.why for one in choice.refused):
        coarser = [times * choice.step for times in (2, 5, 10)]
        tries.append([(f"--step {step:g}", replace(asked, step=step)) for step in coarser])
    if asked.signal == "mA":
        lesser = [volts for volts in (8.0, 7.0, 6.0) if volts < asked.transmitter_least]
        tries.append(
            [
                (f"a transmitter that lives on {volts:g} V", replace(asked, transmitter_least=volts))
                for volts in lesser
            ]
        )
        tries.append([("--loop-drop '0.3 V': a Schottky diode in its supply", replace(asked, loop_drop=0.3))])
        stepped = "a step-up supply for the loops, behind a fuse of its own, such as 24 V; it lives through a start too"
        if asked.battery < 24:
            tries.append([(stepped, replace(asked, battery=24.0, crank=24.0))])

    def works(other: Asked) -> bool:
        here = places if other.converter == asked.converter else ()
        return choose(other, here, 1).best is not None

    helps = [next((words for words, other in same if works(other)), "") for same in tries]
    return [*filter(None, helps)] or ["another sender: nothing that was tried with this one gives a circuit"]
