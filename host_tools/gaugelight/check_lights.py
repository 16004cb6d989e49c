"""What must hold of the lighting side of a box, beyond what each of its tables says by itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import pins
from gaugelight import flicker, wires
from gaugelight.driver import REFERENCE, REFERENCE_TAKES
from gaugelight.light_tables import tells_faults, too_near_a_fault
from gaugelight.needles import Needle
from gaugelight.lights import DAYLIGHT, BusOutput, Display, Follows, Knob, Lamp
from gaugelight.loads import CHARGED, FUSE_HELD, amperes, dimmable, strain
from gaugelight.preferred import E24_VALUES
from gaugelight.problems import Problem, meant
from gaugelight.spectrum import VOICE

if TYPE_CHECKING:
    from gaugelight.boxfile import Box
    from gaugelight.faults_shown import Shown

WIRE_FAULTS = ("open wire", "short to ground")
BUFFER_TAKES = 3  # volts of the bus: hardware_notes/netlists/bus_output.cir
GLARE = 50  # per cent of the knob's travel
BURNS = 2.0  # times the current that a strip is rated for; at 14.2 V a 12 V one takes 1.7


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
            what = f"the one on pin {lamp.source.pin} is described in two ways; make them the same"
            yield Problem(lamp.line, lamp.name, what, "knob")
    for lamp in box.lights.lamps:
        if isinstance(lamp.source, Knob) and lamp.source.stops is not None:
            if (strange := too_near_a_fault(lamp.source, *lamp.source.stops)) is not None:
                yield Problem(lamp.line, lamp.name, f"stops: {strange}", "knob")


def _pwm(box: Box) -> Iterator[Problem]:
    """Pins of a PWM slice share a frequency, pins n and n + 16 a channel (RP2040 data sheet, 4.5.2)."""
    outputs: list[Lamp | BusOutput | Needle] = [
        one for one in box.lights.dimmed if isinstance(one, (Lamp, BusOutput))
    ]
    outputs += box.face.needles
    outputs.sort(key=lambda one: one.line)
    for k, one in enumerate(outputs):
        for other in outputs[:k]:
            if abs(one.pin - other.pin) == 16:
                what = f"pins {other.pin} and {one.pin} share a PWM channel with {other.name}; move one lamp"
                yield Problem(one.line, one.name, what, "pin")
            elif pins.pwm_slice(one.pin) == pins.pwm_slice(other.pin) and one.frequency != other.frequency:
                what = (
                    f"{one.frequency} Hz, but {other.name} on pin {other.pin} runs the same PWM slice"
                    f" at {other.frequency} Hz; use one frequency or another pin"
                )
                yield Problem(one.line, one.name, what, "frequency")


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
                yield Problem(lamp.line, lamp.name, f"it follows itself: {', '.join(seen)}", "follows")
                break
            if one is not None and one.name in seen[:-1]:
                break
    for dimmed in lights.dimmed:
        if dimmed.override and lights.knob_of(dimmed) is None:
            what = "is for what has a knob, or follows a lamp that has one; leave it out"
            yield Problem(dimmed.line, dimmed.name, what, "override")
        if dimmed.by_day is not None and lights.daylight is None:
            yield Problem(dimmed.line, dimmed.name, "needs [daylight], which says when it is day", "by_day")


def _lamp(box: Box, lamp: Lamp) -> Iterator[Problem]:
    """What would flicker, vanish or burn."""
    if lamp.compensate is not None:
        measured = box.input(lamp.compensate.input)
        if measured is None or measured.unit != "V":
            volts = ", ".join(one.name for one in box.inputs if one.unit == "V") or "none"
            what = f'"{lamp.compensate.input}" is no input in V; there is: {volts}'
            yield Problem(lamp.line, lamp.name, what, "compensate")
        elif not measured.law.span[0] <= lamp.compensate.at < measured.law.span[1]:
            low, high = measured.law.span
            what = f"{measured.name} reads {low:g} to {high:g} V, and never tells what is above {float(lamp.compensate.at):g} V"
            yield Problem(lamp.line, lamp.name, what, "compensate")
        if lamp.load is None:
            what = "needs load: what the lamp takes at which voltage"
            yield Problem(lamp.line, lamp.name, what, "compensate")
        elif lamp.load.kind == "resistor strip" and lamp.compensate.at <= lamp.load.drop:
            what = f"at {float(lamp.compensate.at):g} V its LEDs, which take {lamp.load.drop:g} V, are dark"
            yield Problem(lamp.line, lamp.name, what, "compensate")
    for level, key in ((lamp.by_day, "by_day"), (lamp.on_fault, "on_fault")):
        if level is not None and 0 < level < lamp.on_above:
            what = f"{float(level):g} % lies below on_above, so the lamp would be off; write 0 %, or {float(lamp.on_above):g} % or more"
            yield Problem(lamp.line, lamp.name, what, key)
    if flicker.region(float(lamp.frequency), 100.0) == "risky":
        least, better = round(flicker.LOW_RISK[2]), round(flicker.NO_EFFECT[2])
        what = f"{lamp.frequency} Hz may flicker (IEEE 1789-2015); write {least} Hz at least, better {better} Hz or more"
        yield Problem(lamp.line, lamp.name, what, "frequency")
    pulse = float(lamp.floor) / 100 / lamp.frequency
    if pulse < lamp.driver.shortest_pulse * (1 - 1e-9):
        shortest = lamp.driver.shortest_pulse * lamp.frequency * 100
        what = (
            f"{pulse * 1e9:.0f} ns of light in each period are shorter than its driver can make,"
            f" {lamp.driver.shortest_pulse * 1e9:.0f} ns; write {shortest:.2g} % or more, or choose a faster driver"
        )
        yield Problem(lamp.line, lamp.name, what, "floor")
    taken = None if lamp.load is None else amperes(lamp.load, float(box.supply))
    if lamp.load is not None and taken is not None:
        times = taken / amperes(lamp.load, lamp.load.at)
        if lamp.load.kind == "resistor strip" and times > BURNS:
            what = f"at {float(box.supply):g} V it takes {times:.2g} times what it takes at {lamp.load.at:g} V, and burns; wire two in series, or take one for this bus"
            yield Problem(lamp.line, lamp.name, what, "load")
    if lamp.wire is not None:
        most = wires.largest_fuse(lamp.wire.gauge)
        if lamp.fuse is not None and lamp.fuse > most:
            what = f"{float(lamp.fuse):g} A would let AWG {lamp.wire.gauge} burn; {most:g} A at most"
            yield Problem(lamp.line, lamp.name, what, "fuse")
        if taken is not None:
            lost = lamp.wire.drop(taken) / float(box.supply)
            if lost > wires.OWN_DROP:
                what = f"{lost:.1%} of the supply are lost in it, {wires.OWN_DROP:.0%} at most; a thicker or shorter one"
                yield Problem(lamp.line, lamp.name, what, "wire")
    if lamp.fuse is not None and lamp.load is not None:
        charged = CHARGED * (2 if box.supply > 20 else 1)
        taken = amperes(lamp.load, charged)
        if taken > FUSE_HELD * lamp.fuse:
            what = (
                f"the lamp takes {taken:.2g} A at {charged:g} V, and a fuse of {float(lamp.fuse):g} A holds"
                f" {FUSE_HELD * float(lamp.fuse):.2g} A for ever; {strain(lamp.load, float(box.supply)).holds_in_words} would do"
            )
            yield Problem(lamp.line, lamp.name, what, "fuse")


def _ends_that_tell(knob: Knob) -> str:
    """Resistors that would tell a broken knob from a turned one."""
    for ohms in E24_VALUES:
        if 1000 <= ohms <= 50_000 and tells_faults(Knob(knob.pin, knob.track, ohms)):
            return f"{ohms:g} ohm at each end and {Knob.pull_down:g} ohm to ground would tell"
    return "nor would any resistors with a track like that; 10 kohm is usual"


def _dim_request(box: Box) -> Iterator[Problem]:
    lights = box.lights
    if (request := lights.dim_request) is None:
        return
    names = [lamp.name for lamp in lights.lamps] + [switch.name for switch in lights.switches]
    if request.follows == DAYLIGHT:
        if lights.daylight is None:
            yield Problem(request.line, "dim_request", "there is no [daylight]", "follows")
    elif request.follows not in names:
        what = f'there is no lamp and no switch "{request.follows}"; {meant(request.follows, names)}'
        yield Problem(request.line, "dim_request", what, "follows")
    lamp = lights.lamp(request.follows)
    if request.override and (lamp is None or lights.knob_of(lamp) is None):
        what = "is for a request that follows a lamp with a knob; leave it out"
        yield Problem(request.line, "dim_request", what, "override")


def notes_on_lights(box: Box, shown: list[Shown]) -> Iterator[tuple[str, str]]:
    """What is right as it stands, but should be known: a light's name and the note. `shown`: of the inputs' faults."""
    lights = box.lights
    for one in lights.dimmed:
        if isinstance(one.source, Knob) and not tells_faults(one.source):
            yield one.name, f"a broken knob cannot be told from a turned one; {_ends_that_tell(one.source)}"
        if one.by_day is not None and lights.knob_of(one) is not None:
            if lights.overriding(one) is None:
                yield one.name, "should the daylight sensor say day at night, no knob dims it (override = false)"
            elif one.by_day:
                yield one.name, "by day a turn of its knob dims it; override = false forbids that, at night too while the sensor says day"
        if isinstance(one, Lamp):
            yield from ((one.name, note) for note in _notes_on_lamp(box, one))
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
    buttons = box.face.buttons
    used = {buttons.acknowledge, buttons.test, buttons.page}
    used |= {one.name for one in box.face.conditions(tuple(markings for _, _, markings in box.shown))}
    if request is not None:
        used.add(request.follows)
    if box.in_flight is not None:
        used.add(box.in_flight.follows)
    if box.face.reserve is not None:
        used |= {box.face.reserve.pump, box.face.reserve.filled}
    for switch in lights.switches:
        if switch.name not in used:
            yield switch.name, "nothing follows this switch"
    if request is not None and lights.daylight is None and lights.lamp(request.follows) is not None:
        yield "dim request", "a knob left up by day dims what shows warnings too; [daylight] would tell"
    if request is not None and request.active == 0:
        yield "dim request", "its pin is low while the box is dead or starting: it asks to dim then"


def _notes_on_lamp(box: Box, lamp: Lamp) -> Iterator[str]:
    if flicker.region(float(lamp.frequency), 100.0) == "low risk":
        yield f"{lamp.frequency} Hz is of low risk (IEEE 1789-2015); none is seen from 3000 Hz on"
    if (voice := int(VOICE / lamp.frequency)) > 0:
        tones = "its tone lies" if voice == 1 else f"{voice} of its tones lie"
        yield f"{tones} below {VOICE:.0f} Hz, where speech is, and may be heard in the headset; from 3500 Hz on none does"
    edges, by_wire = lamp.edges(lamp.driver, float(box.supply))
    honest = edges.shortest_pulse * lamp.frequency * 100
    if by_wire and float(lamp.floor) < honest / 2:
        yield (
            f"the wire's inductance lets its current rise in {edges.rise * 1e9:.0f} ns: below {honest:.2g} % of the time one lamp glows"
            f" brighter than the next; set floor, now {float(lamp.floor):.2g} %, by eye, at night, warm and cold"
        )
    if lamp.wire is not None and lamp.wire.airframe_return:
        yield "its current comes back through the airframe, where compass and audio feel it; a wire back, twisted with the other, spares them"
    if lamp.load is not None:
        most = strain(lamp.load, float(box.supply))
        if lamp.fuse is not None and lamp.fuse < max(most.held / FUSE_HELD, most.outlives):
            yield (
                f"its fuse, {float(lamp.fuse):g} A, may blow: {most.held:.2g} A at the most the bus may have for ever ({most.holds_in_words} holds),"
                f" {most.dump:.2g} A2s in a load dump ({most.outlives:.2g} A outlives it)"
            )
        heat = lamp.driver.conduction_loss(most.held, float(lamp.ceiling) / 100)
        if lamp.driver == REFERENCE and not lamp.load.dim_wire and heat > REFERENCE_TAKES:
            yield (
                f"WARNING: {most.held:.2g} A, at the most the bus may have for ever, make {heat:.2g} W in the reference box's transistor, which"
                f" takes {REFERENCE_TAKES:g} W: it burns; take another, cooled, and state driver"
            )
        if (verdict := dimmable(lamp.load)).dimmable != "yes":
            yield verdict.reason
    if lamp.fuse is None and lamp.wire is not None:
        yield f"no fuse is stated; AWG {lamp.wire.gauge} takes {wires.largest_fuse(lamp.wire.gauge):g} A at most"
