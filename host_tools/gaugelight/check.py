"""What must hold across a whole box, beyond what each table of the box file says by itself."""

import math
from collections.abc import Iterator

import numpy as np

from gaugebox import pins
from gaugelight.boxfile import Box, Input
from gaugelight.circuits import COUNTS, Ads1115, Direct, Divider, PullUp, Shunt, pin_volts, source_resistance
from gaugelight.fault_windows import signal_limits
from gaugelight.laws import reading_of
from gaugelight.problems import Problem

MOST_INPUTS = 16
MOST_LAMPS = 4
FUEL_UNITS = ("US gal", "imp gal", "l", "kg", "lb")
TANK_MILLIAMPERES = 25


def problems_of(box: Box) -> list[Problem]:
    """Everything that is wrong with the box as a whole, in no order."""
    problems = [*_names(box), *_pins(box), *_pwm(box), *_rails(box), *_dim_request(box)]
    for one in box.inputs:
        problems += [*_range(one), *_loading(one)]
    return problems


def _names(box: Box) -> Iterator[Problem]:
    for kind, outputs, most in (("inputs", box.inputs, MOST_INPUTS), ("lamps", box.lamps, MOST_LAMPS)):
        seen: dict[str, int] = {}
        for one in outputs:
            if one.name in seen:
                yield Problem(
                    one.line, one.name, f"the name stands at line {seen[one.name]} too; each needs its own"
                )
            seen[one.name] = one.line
        if len(outputs) > most:
            yield Problem(
                outputs[most].line, outputs[most].name, f"{len(outputs)} {kind}; the box takes {most}"
            )
    if not box.inputs and not box.lamps:
        yield Problem(1, "box", "has nothing to do; add an [[input]] or a [[lamp]]")


def _pins(box: Box) -> Iterator[Problem]:
    """No pin and no converter input is used twice."""
    uses: list[tuple[int, str, str]] = []
    for one in box.inputs:
        chip = getattr(one.converter, "name", None)
        place = f"pin {one.channel}" if chip is None else f"pin {chip}.{one.channel}"
        uses.append((one.line, one.name, place))
    knobs: set[int] = set()  # one knob may turn several lamps
    for lamp in box.lamps:
        uses.append((lamp.line, lamp.name, f"pin {lamp.pin}"))
        if lamp.knob not in knobs:
            uses.append((lamp.line, f"knob of {lamp.name}", f"pin {lamp.knob}"))
        knobs.add(lamp.knob)
    if box.dim_request is not None:
        uses.append((box.dim_request.line, "dim_request", f"pin {box.dim_request.pin}"))
    taken: dict[str, str] = {}
    for line, user, place in uses:
        if place in taken:
            yield Problem(line, user, f"{place} is used by {taken[place]} already; give each its own")
        taken.setdefault(place, user)


def _pwm(box: Box) -> Iterator[Problem]:
    """Pins of a PWM slice share a frequency, pins n and n + 16 a channel (RP2040 data sheet, 4.5.2)."""
    for k, lamp in enumerate(box.lamps):
        for other in box.lamps[:k]:
            if abs(lamp.pin - other.pin) == 16:
                what = f"pins {other.pin} and {lamp.pin} share a PWM channel with {other.name}; move one lamp"
                yield Problem(lamp.line, lamp.name, what)
            elif pins.pwm_slice(lamp.pin) == pins.pwm_slice(other.pin) and lamp.frequency != other.frequency:
                what = (
                    f"{lamp.frequency} Hz, but {other.name} on pin {other.pin} runs the same PWM slice"
                    f" at {other.frequency} Hz; use one frequency or another pin"
                )
                yield Problem(lamp.line, lamp.name, what)


def _rails(box: Box) -> Iterator[Problem]:
    for one in box.inputs:
        if not isinstance(one.circuit, PullUp):
            continue
        rail = box.rail_of(one)
        voltages = [
            i.name for i in box.inputs if i.circuit.unit == "V" and i.unit == "V" and i.nominal is not None
        ]
        if rail is None or rail.name not in voltages:
            usable = ", ".join(voltages) or "none yet: add an input with unit = V and nominal"
            yield Problem(
                one.line, one.name, f'its rail "{one.circuit.rail}" is no measured rail; there is: {usable}'
            )
        elif rail.converter != one.converter or not hasattr(one.converter, "address"):
            what = f'its rail "{rail.name}" must be measured by the same external converter, or the two cannot be compared'
            yield Problem(one.line, one.name, what)


def _dim_request(box: Box) -> Iterator[Problem]:
    request = box.dim_request
    if request is not None and box.lamp(request.follows) is None:
        lamps = ", ".join(lamp.name for lamp in box.lamps) or "none"
        yield Problem(
            request.line, "dim_request", f'follows "{request.follows}", which is no lamp; there is: {lamps}'
        )


def _range(one: Input) -> Iterator[Problem]:
    """The whole of the sender's range, fault limits included, must reach the converter as a voltage it can take."""
    if isinstance(one.circuit, PullUp):
        highest_signal = signal_limits(one)[2]
        if pin_volts(one.circuit, highest_signal) * COUNTS > COUNTS - 1:
            what = (
                f"{highest_signal:g} ohm cannot be told from an open wire behind {one.circuit.resistor:g} ohm"
            )
            yield Problem(one.line, one.name, what + "; match the circuit to the sender: a larger pull-up")
        return  # never above its rail
    limit = signal_limits(one)[-1]
    volts = pin_volts(one.circuit, limit)
    highest = one.converter.highest
    if volts <= highest:
        return
    what = f"{limit:g} {one.circuit.unit} would put {volts:.2f} V on the pin, which takes {highest:g} V; "
    if isinstance(one.circuit, Shunt):
        what += f"use a shunt of {highest * 1000 / limit:.0f} ohm or less"
    else:
        what += f"use a divider that leaves {highest / limit:.3f} of the voltage or less"
    yield Problem(one.line, one.name, what)


def _loading(one: Input) -> Iterator[Problem]:
    """The converter's own input resistance must not show: the laws leave it out."""
    if not isinstance(one.converter, Ads1115):
        return
    worst = 0.0
    for signal in np.linspace(float(one.points[0][0]), float(one.points[-1][0]), 101):
        source = source_resistance(one.circuit, signal)
        pulled_down = (
            pin_volts(one.circuit, signal) * one.converter.resistance / (one.converter.resistance + source)
        )
        seen = one.circuit.signal_of(np.array([pulled_down]))
        truth, said = (reading_of(one, np.atleast_1d(s))[0] for s in (signal, seen))
        worst = max(worst, abs(float(said - truth)))
    if worst > float(one.step) / 4:
        what = f"the converter's own {one.converter.resistance / 1e6:g} Mohm pull the reading off by up to {worst:.2g} {one.unit}"
        yield Problem(one.line, one.name, what + "; use smaller resistors, or a larger step")


def notes_on(box: Box) -> Iterator[tuple[Input, str]]:
    """What is no mistake in the file, but must be known: faults that read like a quantity, currents, voltages."""
    for one in box.inputs:
        circuit = one.circuit
        lowest = f"{float(one.points[0][1]):g} {one.unit}"
        begins_at_nought = signal_limits(one)[1] == 0
        if isinstance(circuit, PullUp):
            if begins_at_nought:
                yield one, f"a short to ground reads {lowest}; it cannot be told from that"
            rail = box.rail_of(one)
            if one.unit in FUEL_UNITS and rail is not None and rail.nominal is not None:
                yield one, _tank_current(float(rail.nominal), circuit.resistor)
        elif isinstance(circuit, Direct) and one.nominal is None:
            yield one, "a broken wire floats and may read anything; a resistor to ground at the pin makes it a fault"
        elif begins_at_nought:
            yield one, f"a broken wire or a short to ground reads {lowest}; it cannot be told from that"
        elif isinstance(circuit, Divider):
            yield one, "a broken wire and a short to ground look the same: open"
        at_supply = (
            pin_volts(circuit, float(box.supply)) if one.law == "itself" and circuit.unit == "V" else 0.0
        )
        if isinstance(circuit, Divider) and at_supply > one.converter.highest:
            what = f"the supply, {float(box.supply):g} V, on this wire puts {at_supply:.2f} V on the pin"
            yield one, f"{what}, which takes {one.converter.highest:g} V; choose a larger divider"


def _tank_current(volts: float, resistor: float) -> str:
    """Of a sender in a fuel tank; AC 25.981-1 names 25 mA as guidance for normal use (from memory)."""
    milliamperes = volts / resistor * 1000
    told = f"puts up to {milliamperes:.0f} mA into the tank"
    if milliamperes <= TANK_MILLIAMPERES:
        return told
    least = math.ceil(volts / TANK_MILLIAMPERES * 1000)
    return f"WARNING: {told}; AC 25.981-1 names 25 mA as guidance: {least} ohm or more keep to it"
