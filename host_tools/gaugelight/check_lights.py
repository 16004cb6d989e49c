"""What must hold of the lighting side of a box, beyond what each of its tables says by itself."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import pins
from gaugelight import flicker, wires
from gaugelight.lights import DAYLIGHT, BusOutput, Display, Follows, Knob, Lamp
from gaugelight.light_tables import tells_faults
from gaugelight.loads import amperes, dimmable
from gaugelight.problems import Problem

if TYPE_CHECKING:
    from gaugelight.boxfile import Box
    from gaugelight.faults_shown import Shown

WIRE_FAULTS = ("open wire", "short to ground")
BUFFER_TAKES = 3  # volts of the bus: hardware_notes/netlists/bus_output.cir
GLARE = 50  # per cent of the knob's travel
MOST_DROP = Fraction(5)  # per cent of the supply, in a lamp's wire


def problems_of_lights(box: Box) -> Iterator[Problem]:
    yield from _knobs(box)
    yield from _pwm(box)
    yield from _followed(box)
    for lamp in box.lights.lamps:
        yield from _lamp(box, lamp)
    yield from _dim_request(box)


def _knobs(box: Box) -> Iterator[Problem]:
    """Lamps on one pin share one knob."""
    stated: dict[int, Knob] = {}
    for lamp in box.lights.lamps:
        if isinstance(lamp.source, Knob) and stated.setdefault(lamp.source.pin, lamp.source) != lamp.source:
            what = f"its knob on pin {lamp.source.pin} is described in two ways; make them the same"
            yield Problem(lamp.line, lamp.name, what)


def _pwm(box: Box) -> Iterator[Problem]:
    """Pins of a PWM slice share a frequency, pins n and n + 16 a channel (RP2040 data sheet, 4.5.2)."""
    outputs = [one for one in box.lights.dimmed if isinstance(one, (Lamp, BusOutput))]
    outputs.sort(key=lambda one: one.line)
    for k, one in enumerate(outputs):
        for other in outputs[:k]:
            if abs(one.pin - other.pin) == 16:
                what = f"pins {other.pin} and {one.pin} share a PWM channel with {other.name}; move one lamp"
                yield Problem(one.line, one.name, what)
            elif pins.pwm_slice(one.pin) == pins.pwm_slice(other.pin) and one.frequency != other.frequency:
                what = (
                    f"{one.frequency} Hz, but {other.name} on pin {other.pin} runs the same PWM slice"
                    f" at {other.frequency} Hz; use one frequency or another pin"
                )
                yield Problem(one.line, one.name, what)


def _followed(box: Box) -> Iterator[Problem]:
    """Nothing follows itself, by way of others either; what compensates measures volts."""
    lights = box.lights
    for lamp in lights.lamps:
        seen = [lamp.name]
        one: Lamp | None = lamp
        while one is not None and isinstance(one.source, Follows):
            seen.append(one.source.name)
            one = lights.lamp(one.source.name)
            if one is lamp:
                yield Problem(lamp.line, lamp.name, f"follows itself: {', '.join(seen)}")
                break
            if one is not None and one.name in seen[:-1]:
                break
    for dimmed in lights.dimmed:
        if dimmed.override and lights.knob_of(dimmed) is None:
            what = "override is for what has a knob, or follows a lamp that has one; leave it out"
            yield Problem(dimmed.line, dimmed.name, what)
        if dimmed.by_day is not None and lights.daylight is None:
            yield Problem(dimmed.line, dimmed.name, "by_day needs [daylight], which says when it is day")


def _lamp(box: Box, lamp: Lamp) -> Iterator[Problem]:
    """What would flicker, vanish or burn."""
    if lamp.compensate is not None:
        measured = box.input(lamp.compensate.input)
        if measured is None or measured.unit != "V":
            volts = ", ".join(one.name for one in box.inputs if one.unit == "V") or "none"
            what = f'compensate: "{lamp.compensate.input}" is no input in V; there is: {volts}'
            yield Problem(lamp.line, lamp.name, what)
        elif not measured.law.span[0] <= lamp.compensate.at < measured.law.span[1]:
            low, high = measured.law.span
            what = f"compensate: {measured.name} reads {low:g} to {high:g} V, and never tells what is above {float(lamp.compensate.at):g} V"
            yield Problem(lamp.line, lamp.name, what)
        if lamp.load is None:
            yield Problem(lamp.line, lamp.name, "compensate needs load: what the lamp takes at which voltage")
        elif lamp.load.kind == "resistor strip" and lamp.compensate.at <= lamp.load.drop:
            what = f"compensate: at {float(lamp.compensate.at):g} V its LEDs, which take {lamp.load.drop:g} V, are dark"
            yield Problem(lamp.line, lamp.name, what)
    for level, key in ((lamp.by_day, "by_day"), (lamp.on_fault, "on_fault")):
        if level is not None and 0 < level < lamp.on_above:
            what = f"{key} = {float(level):g} % lies below on_above, so the lamp would be off; write 0 %, or {float(lamp.on_above):g} % or more"
            yield Problem(lamp.line, lamp.name, what)
    if flicker.region(float(lamp.frequency), 100.0) == "risky":
        least, better = round(flicker.LOW_RISK[2]), round(flicker.NO_EFFECT[2])
        what = f"{lamp.frequency} Hz may flicker (IEEE 1789-2015); write {least} Hz at least, better {better} Hz or more"
        yield Problem(lamp.line, lamp.name, what)
    pulse = float(lamp.floor) / 100 / lamp.frequency
    if pulse < lamp.driver.shortest_pulse * (1 - 1e-9):
        shortest = lamp.driver.shortest_pulse * lamp.frequency * 100
        what = (
            f"floor: {pulse * 1e9:.0f} ns of light in each period are shorter than its driver can make,"
            f" {lamp.driver.shortest_pulse * 1e9:.0f} ns; write {shortest:.2g} % or more, or choose a faster driver"
        )
        yield Problem(lamp.line, lamp.name, what)
    if lamp.wire is not None:
        most = wires.largest_fuse(lamp.wire.gauge)
        if lamp.fuse is not None and lamp.fuse > most:
            what = f"fuse: {float(lamp.fuse):g} A would let AWG {lamp.wire.gauge} burn; {most:g} A at most"
            yield Problem(lamp.line, lamp.name, what)
        if lamp.load is not None:
            taken = amperes(lamp.load, float(box.supply))
            drop = lamp.wire.drop(taken) / float(box.supply) * 100
            if drop > MOST_DROP:
                what = (
                    f"wire: {drop:.1f} % of the supply are lost in it, 5 % at most; a thicker or shorter one"
                )
                yield Problem(lamp.line, lamp.name, what)
    if lamp.fuse is not None and lamp.load is not None:
        taken = amperes(lamp.load, float(box.supply))
        if taken > lamp.fuse:
            what = f"fuse: the lamp takes {taken:.2g} A at {float(box.supply):g} V, more than its {float(lamp.fuse):g} A"
            yield Problem(lamp.line, lamp.name, what)


def _dim_request(box: Box) -> Iterator[Problem]:
    lights = box.lights
    if (request := lights.dim_request) is None:
        return
    names = [lamp.name for lamp in lights.lamps] + [switch.name for switch in lights.switches]
    if request.follows == DAYLIGHT:
        if lights.daylight is None:
            yield Problem(request.line, "dim_request", "follows daylight, but there is no [daylight]")
    elif request.follows not in names:
        there = ", ".join(names) or "none"
        what = f'follows "{request.follows}", which is no lamp and no switch; there is: {there}'
        yield Problem(request.line, "dim_request", what)
    lamp = lights.lamp(request.follows)
    if request.override and (lamp is None or lights.knob_of(lamp) is None):
        what = "override is for a request that follows a lamp with a knob; leave it out"
        yield Problem(request.line, "dim_request", what)


def notes_on_lights(box: Box, shown: list[Shown]) -> Iterator[tuple[str, str]]:
    """What is right as it stands, but should be known: a light's name and the note. `shown`: of the inputs' faults."""
    lights = box.lights
    for one in lights.dimmed:
        if isinstance(one.source, Knob) and not tells_faults(one.source):
            what = "a broken knob cannot be told from a turned one; 2.2 kohm at each end and 330 kohm to ground would tell"
            yield one.name, what
        if isinstance(one, Lamp):
            if flicker.region(float(one.frequency), 100.0) == "low risk":
                yield one.name, f"{one.frequency} Hz is of low risk (IEEE 1789-2015); none is seen from 3000 Hz on"
            if one.override and one.by_day:
                yield one.name, "by day a turn of its knob dims it; for a warning write override = false"
            if one.fuse is None and one.wire is not None:
                yield one.name, f"no fuse is stated; AWG {one.wire.gauge} takes {wires.largest_fuse(one.wire.gauge):g} A at most"
            if one.load is not None and (verdict := dimmable(one.load)).dimmable != "yes":
                yield one.name, verdict.reason
        if one.on_fault is not None and not isinstance(one, BusOutput) and one.on_fault > GLARE:
            what = f"on_fault = {float(one.on_fault):g} % is what a broken knob or wire brings at night; it may dazzle"
            yield one.name, what
        if isinstance(one, Display) and one.source.points is None:
            yield one.name, "without points it gets brighter as what it follows does; a face goes down as the strip comes up"
        if isinstance(one.source, Follows):
            for row in shown:
                if (
                    row.input == one.source.name
                    and row.fault in WIRE_FAULTS
                    and row.brief.startswith("reads ")
                ):
                    xs, ys = zip(*((float(x), float(y)) for x, y in one.source.points or ()))
                    goes = np.interp(float(row.brief.split()[1]), xs, ys)
                    unit = "V" if isinstance(one, BusOutput) else "%"
                    yield one.name, f"{row.fault} of {row.input} {row.brief}: it goes to {goes:.3g} {unit}, at night too"
        if isinstance(one, BusOutput):
            most = max(volts for _, volts in one.source.points or ())
            if most > box.supply - BUFFER_TAKES:
                what = f"{float(most):g} V leave its buffer less than {BUFFER_TAKES} V of a {float(box.supply):g} V bus"
                yield one.name, what + "; the reference box's needs them"
        if not isinstance(one, Lamp) and lights.knob_of(one) is not None and one.by_day is None:
            cure = "[daylight] would tell" if lights.daylight is None else "state by_day"
            yield one.name, f"a knob left up by day dims what shows warnings too; {cure}"
    request = lights.dim_request
    if request is not None and lights.daylight is None and lights.lamp(request.follows) is not None:
        yield "dim request", "a knob left up by day dims what shows warnings too; [daylight] would tell"
    if request is not None and request.active == 0:
        yield "dim request", "its pin is low while the box is dead or starting: it asks to dim then"
