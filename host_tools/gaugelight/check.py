"""What must hold across a whole box, beyond what each table of the box file says by itself."""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from gaugebox.table import MOST_INPUTS
from gaugelight.boxfile import Box, Input
from gaugelight.chain import Chain, chain_of
from gaugelight.circuits import REFERENCE, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import COUNTS, ChipInput, OnChip
from gaugelight.fault_windows import LEAST_STEPS, count_windows, signal_limits
from gaugelight.check_face import problems_of_face
from gaugelight.check_lights import problems_of_lights
from gaugelight.laws import Thermocouple
from gaugelight.lights import Knob
from gaugelight.preferred import E24_VALUES, nearest_above
from gaugelight.problems import Problem

MOST_LAMPS = 6
NOTHING_TO_DO = "has nothing to do; add an [[input]] or a [[lamp]]"
MOST_AMPERES = 0.1  # through a pull-up: more heats the sender and its resistor


def problems_of(box: Box) -> list[Problem]:
    """Everything that is wrong with the box as a whole, in no order."""
    problems = [*_numbers(box), *_pins(box), *_rails(box), *_cold_junctions(box), *_continuous(box)]
    problems += problems_of_lights(box)
    if not problems:  # a chain needs its rail
        for one in box.inputs:
            problems += unmeasurable(one, chain_of(box, one), cure=True)
        problems += problems_of_face(box)
    return problems


def _numbers(box: Box) -> Iterator[Problem]:
    lamps = box.lights.lamps
    for kind, outputs, most in (("inputs", box.inputs, MOST_INPUTS), ("lamps", lamps, MOST_LAMPS)):
        if len(outputs) > most:
            yield Problem(
                outputs[most].line, outputs[most].name, f"{len(outputs)} {kind}; the box takes {most}"
            )
    if not box.inputs and not lamps:
        yield Problem(1, "box", NOTHING_TO_DO)


def _pins(box: Box) -> Iterator[Problem]:
    """No pin and no converter input is used twice."""
    uses: list[tuple[int, str, str]] = []
    for one in box.inputs:
        if isinstance(one.converter, OnChip):
            uses.append((one.line, one.name, f"pin {one.converter.pin}"))
        else:
            for pin in one.converter.pins:
                uses.append((one.line, one.name, f"pin {one.converter.chip.name}.{pin}"))
    lights = box.lights
    knobs: set[int] = set()  # one knob may turn several lamps
    for lamp in lights.lamps:
        uses.append((lamp.line, lamp.name, f"pin {lamp.pin}"))
        if isinstance(lamp.source, Knob) and lamp.source.pin not in knobs:
            uses.append((lamp.line, f"knob of {lamp.name}", f"pin {lamp.source.pin}"))
            knobs.add(lamp.source.pin)
    if lights.bus_output is not None:
        uses.append((lights.bus_output.line, "bus_output", f"pin {lights.bus_output.pin}"))
    for switch in lights.switches:
        uses.append((switch.line, switch.name, f"pin {switch.pin}"))
    for needle in box.face.needles:
        uses.append((needle.line, needle.name, f"pin {needle.pin}"))
    if lights.dim_request is not None:
        uses.append((lights.dim_request.line, "dim_request", f"pin {lights.dim_request.pin}"))
    taken: dict[str, str] = {}
    for line, user, place in uses:
        if place in taken:
            yield Problem(line, user, f"{place} is used by {taken[place]} already; give each its own")
        taken.setdefault(place, user)


def _rails(box: Box) -> Iterator[Problem]:
    for one in box.inputs:
        name = one.circuit.rail
        on_chip = isinstance(one.converter, OnChip)
        if name is None:
            continue
        if name == REFERENCE:
            if on_chip and not isinstance(one.circuit, PullUp):
                yield Problem(one.line, one.name, 'only a pull-up hangs on "reference"; leave rail out')
            if not on_chip:
                what = 'hangs on "reference", which only an on-chip pin has; name the input that measures its rail'
                yield Problem(one.line, one.name, what)
            continue
        rail = box.input(name)
        voltages = [
            i.name for i in box.inputs if i.unit == "V" and i.nominal is not None and i.circuit.rail is None
        ]
        if rail is None or rail.name not in voltages:
            usable = ", ".join(voltages) or "none yet: add an input with unit = V and nominal"
            own = f', or "{REFERENCE}", the converter\'s own' if on_chip else ""
            yield Problem(
                one.line, one.name, f'its rail "{name}" is no measured rail; there is: {usable}{own}'
            )
        elif rail.converter.chip != one.converter.chip:
            what = f'its rail "{rail.name}" must be measured by the same converter, or the two cannot be compared'
            yield Problem(one.line, one.name, what)


def _cold_junctions(box: Box) -> Iterator[Problem]:
    for one in box.inputs:
        if one.cold is not None:
            usable = [i.name for i in box.inputs if i.unit in ("degC", "degF") and i.cold is None]
            if one.cold not in usable:
                there = (
                    ", ".join(usable) or "none yet: add one that measures the temperature at the connector"
                )
                yield Problem(
                    one.line, one.name, f'its cold junction "{one.cold}" is no temperature; there is: {there}'
                )
        if isinstance(one.circuit, Millivolt) != (
            isinstance(one.converter, ChipInput) and one.converter.differential
        ):
            what = 'a millivolt circuit needs a pin between two inputs of an ADS1115, such as "aft.0-1"'
            if not isinstance(one.circuit, Millivolt):
                what = "a pin between two inputs is for a millivolt circuit; give this one a single pin"
            yield Problem(one.line, one.name, what)


def _continuous(box: Box) -> Iterator[Problem]:
    for chip in box.chips:
        mine = [one for one in box.inputs if one.converter.chip == chip]
        if chip.continuous and len(mine) > 1:
            what = f'{chip.name} converts continuously and serves one input, {mine[0].name}; write mode = "single-shot"'
            yield Problem(mine[1].line, mine[1].name, what)


def unmeasurable(one: Input, chain: Chain, cure: bool) -> Iterator[Problem]:
    """What the circuit cannot measure, and, as a cure, the nearest resistor that would."""
    problems = [*_range(one, chain)] or [*_resolution(one, chain)]
    for problem in problems:
        works = _resistor_that_works(one, chain) if cure else None
        if works is not None:
            assert isinstance(one.circuit, (PullUp, Shunt))
            kind = "pull-up" if isinstance(one.circuit, PullUp) else "shunt"
            advice = f"; a {kind} of {works:g} ohm would do, the nearest preferred value (IEC 60063, E24)"
            problem = replace(problem, what=problem.what + advice)
        yield problem


def _resistor_that_works(one: Input, chain: Chain) -> float | None:
    """The preferred value nearest to the circuit's resistor with which it could measure its sender."""
    if not isinstance(one.circuit, (PullUp, Shunt)):
        return None
    stands = one.circuit.resistor
    for ohms in sorted(E24_VALUES, key=lambda value: abs(math.log(value / stands))):
        circuit = replace(one.circuit, resistor=ohms)
        other, other_chain = replace(one, circuit=circuit), replace(chain, circuit=circuit)
        if not [*unmeasurable(other, other_chain, cure=False)]:
            return ohms
    return None


def _resolution(one: Input, chain: Chain) -> Iterator[Problem]:
    """A step of the converter is at most half a displayed step."""
    signals = chain.signals()
    _, low, high, _ = count_windows(one, chain, signals)
    converter = one.converter
    counts = chain.counts_a_step
    if high - low < (8 + 2 * LEAST_STEPS) * counts:
        what = "its whole range is less than 8 steps of the converter; match the circuit to the sender"
        yield Problem(one.line, one.name, what)
        return
    window = signals[low : high + 1]
    if isinstance(one.law, Thermocouple):  # its law is that of the whole voltage
        window = window + one.law.cold_millivolts(np.array([one.law.warmest]))
    coarsest = float(np.max(np.abs(np.diff(one.law.reading(window))))) * counts
    if coarsest > one.step / 2:
        what = f"one step of the converter is up to {coarsest:.3g} {one.unit}, too coarse for a step of {float(one.step):g}"
        cure = "match the circuit to the sender or choose a larger step"
        if isinstance(one.law, Thermocouple) and converter.full_scale != 0.256:
            cure = 'a thermocouple needs full_scale = "0.256 V"'
        yield Problem(one.line, one.name, f"{what}; {cure}")


def _range(one: Input, chain: Chain) -> Iterator[Problem]:
    """The whole of the sender's range, fault limits included, must reach the converter as a voltage it can take and tell."""
    limits = signal_limits(one, chain)
    converter, circuit = one.converter, one.circuit
    told = chain.count(chain.pin_volts(limits[2])) < chain.count(math.inf)
    if isinstance(circuit, PullUp):
        open_volts = chain.driven(0.0, math.inf)
        if open_volts > converter.takes:
            what = f"with its wire open the rail puts {open_volts:.2f} V on the pin, which takes {converter.takes:g} V"
            yield Problem(one.line, one.name, what + "; choose a lower rail")
        elif chain.pin_volts(limits[2]) > converter.full_scale:
            volts = chain.pin_volts(limits[2])
            what = f"{limits[2]:g} ohm puts {volts:.3g} V on the pin, more than its full_scale of {converter.full_scale:g} V"
            yield Problem(one.line, one.name, what + "; choose a larger full_scale")
        elif chain.supply / (circuit.resistor + circuit.series) > MOST_AMPERES:
            amperes = chain.supply / (circuit.resistor + circuit.series)
            what = f"puts {amperes:.2g} A through a sender at 0 ohm, which nothing here is made for"
            yield Problem(one.line, one.name, what + "; choose a larger pull-up")
        elif not told or chain.pin_volts(limits[2]) > open_volts * (1 - 1 / COUNTS):
            what = f"{limits[2]:g} ohm cannot be told from an open wire behind {circuit.resistor:g} ohm"
            yield Problem(one.line, one.name, what + "; match the circuit to the sender")
        return
    if chain.rail is not None and one.law.high > chain.supply:
        what = (
            f"{one.law.high:g} V is more than the {chain.supply:g} V of its supply, of which it gives a share"
        )
        yield Problem(one.line, one.name, what + "; state the supply that its data sheet goes by")
        return
    volts, lowest = chain.pin_volts(limits[3]), chain.pin_volts(limits[1])
    most = min(converter.takes, converter.full_scale)
    if max(volts, -lowest) > most:
        signal, volts = (limits[3], volts) if volts > -lowest else (limits[1], lowest)
        what = f"{signal:g} {circuit.unit} would put {volts:.3g} V on the pin, which takes {most:g} V"
        if isinstance(circuit, Divider):
            top = nearest_above(circuit.bottom * (limits[3] / most - 1))
            what += f"; a top of {top:g} ohm would do (IEC 60063, E24)"
        elif isinstance(circuit, Direct):
            what += f"; use a divider that leaves {most / limits[3]:.3f} of the voltage or less"
        elif isinstance(circuit, Millivolt):
            what += "; choose a larger full_scale"
        yield Problem(one.line, one.name, what)
    elif not told:
        what = f"{limits[2]:g} {circuit.unit} fills the converter"
        if chain.rail is not None:
            what += " more than its rail does; divide it at least as the rail is divided"
        yield Problem(one.line, one.name, what)
