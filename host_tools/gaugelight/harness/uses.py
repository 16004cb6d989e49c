"""What a pin can be used for: each thing of the box file with its parts, and what every box has.

In the box file a use is a thing and a part, "left fuel return". Several uses of one pin stand with commas between. What the box has on
a pin and the box file has no use for is "spare: WORDS".
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelight.boxfile import FUEL_UNITS, RAIL_SPAN, Input
from gaugelight.circuits import Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.lights import BUS_OUTPUT, DIM_REQUEST, DISPLAY, Knob, Lamp
from gaugelight.loads import strain
from gaugelight.problems import meant

if TYPE_CHECKING:
    from gaugelight.boxfile import Box

GUARD, GROUND, LAMP_GROUND, BUS, SPARE = "guard", "ground", "lamp ground", "bus", "spare"
EVERY_BOX = (GUARD, GROUND, LAMP_GROUND, BUS)  # may stand on several pins
RETURN = "return"
LAMP_PARTS = ("feed", "plus", "minus", "dim")
LOOP_FAILS = 21.0  # mA, the most of a transmitter that has failed (NAMUR NE 43)


@dataclass(frozen=True)
class Use:
    """part: "" is the signal itself, or the whole of what has no parts."""

    thing: str
    part: str = ""

    @property
    def text(self) -> str:
        if self.thing == SPARE:
            return f"{SPARE}: {self.part}"
        return f"{self.thing} {self.part}".strip()

    @property
    def wired(self) -> bool:
        """Whether a wire of the harness goes to it."""
        return self.thing not in (GUARD, SPARE)


@dataclass(frozen=True)
class Thing:
    """parts: what it may have on pins; needed: what it must have there; needs_return: and a way back, if only the airframe.

    at_bus: the parts that bus voltage may stand on, in normal use or where a transmitter fails.
    """

    name: str
    line: int
    kind: str
    parts: tuple[str, ...]
    needed: tuple[str, ...]
    at_bus: tuple[str, ...] = ()
    in_tank: bool = False
    needs_return: bool = False


def things(box: Box) -> dict[str, Thing]:
    """By name."""
    return {one.name: one for one in _things(box)}


def _things(box: Box) -> Iterator[Thing]:
    inside = {one.circuit.rail for one in box.inputs} | {one.cold for one in box.inputs}
    for one in box.inputs:
        yield _input(one, one.name in inside)
    for lamp in box.lights.lamps:
        needed = "dim" if lamp.load is not None and lamp.load.dim_wire else "minus"
        yield Thing(lamp.name, lamp.line, "lamp", LAMP_PARTS, (needed,), LAMP_PARTS)
    for switch in box.lights.switches:
        high = switch.on == 1  # it switches bus voltage, and has no return
        parts = ("",) if high else ("", RETURN)
        yield Thing(
            switch.name, switch.line, "switch", parts, ("",), ("",) if high else (), needs_return=not high
        )
    for needle in box.face.needles:
        yield Thing(needle.name, needle.line, "needle", ("plus", RETURN), ("plus",), needs_return=True)
    for name, knob_line in _knobs(box):
        ends = "upper end", "wiper", "lower end"
        yield Thing(name, knob_line, "knob", ends, ends)
    if (request := box.lights.dim_request) is not None:
        yield Thing(DIM_REQUEST, request.line, "line", ("", RETURN), ("",), ("",), needs_return=True)
    if (line := box.lights.bus_output) is not None:
        yield Thing(BUS_OUTPUT, line.line, "line", ("", RETURN), ("",), ("",), needs_return=True)
    if box.face.panel is not None:
        yield Thing(DISPLAY, 0, "display", ("supply", "SDA", "SCL", RETURN), ())
    yield Thing("service jumper", 0, "jumper", ("", RETURN), ())
    if box.input(BUS) is None:
        yield Thing(BUS, 0, BUS, ("",), (), ("",))
    for name in (GUARD, GROUND, LAMP_GROUND):
        yield Thing(name, 0, name, ("",), ())


def _input(one: Input, inside: bool) -> Thing:
    """inside: it is measured in the box, as the rail of others is, and needs no pin."""
    tank = one.unit in FUEL_UNITS
    if isinstance(one.circuit, Millivolt):
        return Thing(one.name, one.line, "input", ("plus", "minus"), ("plus", "minus"), in_tank=tank)
    fed_by_bus = isinstance(one.circuit, (Shunt, Divider)) and not inside
    at_bus: tuple[str, ...] = ("", "supply") if fed_by_bus else ()
    if isinstance(one.circuit, Direct) and one.circuit.rail is None and not inside:
        at_bus = ("supply",)  # where it lives on a rail of the box, that is stated
    needed = () if inside else ("",)
    # a loop, and what stands between its supply and a pull-down, end in the box
    ends_in_box = isinstance(one.circuit, Shunt) or isinstance(one.circuit, Direct) and one.circuit.pull_down
    back = not inside and not ends_in_box
    return Thing(one.name, one.line, "input", ("", RETURN, "supply"), needed, at_bus, tank, back)


def _knobs(box: Box) -> Iterator[tuple[str, int]]:
    """Their names: "knob" where there is one; else each by the first lamp that is on it."""
    lamps: dict[int, Lamp] = {}
    for lamp in box.lights.lamps:
        if isinstance(lamp.source, Knob):
            lamps.setdefault(lamp.source.pin, lamp)
    for lamp in lamps.values():
        yield "knob" if len(lamps) == 1 else f"{lamp.name} knob", lamp.line


def uses_of(written: str, there: dict[str, Thing]) -> tuple[Use, ...]:
    """What is written at a pin. ValueError where one is not known."""
    known = {use.text: use for one in there.values() for use in all_of(one)}
    return tuple(_use(one.strip(), known) for one in written.split(","))


def _use(written: str, known: dict[str, Use]) -> Use:
    if written in known:
        return known[written]
    head, colon, words = written.partition(":")
    if head.strip() == SPARE and colon and words.strip():
        return Use(SPARE, words.strip())
    if written == SPARE:
        raise ValueError(f'spare for what? write "{SPARE}: needle plus", or leave the pin out')
    name = next((use.thing for use in known.values() if written.startswith(f"{use.thing} ")), "")
    if name and not written == name:
        parts = [use.text for use in known.values() if use.thing == name]
        raise ValueError(f'"{written}" is no use of {name}; there is: {", ".join(parts)}')
    near = difflib.get_close_matches(written, known, 1, cutoff=0.75)
    names = [*dict.fromkeys(use.thing for use in known.values())]
    raise ValueError(f'"{written}" is nothing of this box file; {meant(written, near or names)}')


def all_of(thing: Thing) -> tuple[Use, ...]:
    return tuple(Use(thing.name, part) for part in thing.parts)


def at_bus(use: Use, there: dict[str, Thing]) -> bool:
    """Whether bus voltage may stand on it; of a spare pin nobody knows, so it may."""
    return use.thing in (BUS, SPARE) or use.thing in there and use.part in there[use.thing].at_bus


def largest(box: Box, use: Use) -> float | None:
    """The largest current of a use that is as it should be, in A; None where nobody knows.

    Of a lamp at the most that the bus may have for ever; of a pull-up into a dead short at the rail's upper end; of a loop by NAMUR NE 43.
    """
    if use.thing == LAMP_GROUND:
        lamps = [_lamp_takes(box, lamp) for lamp in box.lights.lamps]
        return sum(taken for taken in lamps if taken is not None) or None
    lamp = box.lights.lamp(use.thing)
    if lamp is not None:
        return None if use.part == "dim" else _lamp_takes(box, lamp)
    one = box.input(use.thing)
    if one is None or use.part == "supply":
        return None
    if isinstance(one.circuit, PullUp):
        rail = box.rail_of(one)
        volts = 3.3 if rail is None or rail.nominal is None else float(rail.nominal * RAIL_SPAN[1])
        return volts / one.circuit.resistor
    if isinstance(one.circuit, Shunt):
        return LOOP_FAILS / 1000
    if isinstance(one.circuit, Divider) and use.thing != BUS:
        return one.law.high / (one.circuit.top + one.circuit.bottom)
    return None


def _lamp_takes(box: Box, lamp: Lamp) -> float | None:
    return None if lamp.load is None else strain(lamp.load, float(box.supply)).held
