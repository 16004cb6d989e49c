"""Pins, uses and cables brought together: one lead for each pin of each connector, and for each wire that passes the box by."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gaugelight.harness.harness_file import Cable, Connector, Harness, Pin
from gaugelight.harness.uses import (
    BUS,
    EVERY_BOX,
    GROUND,
    LAMP_GROUND,
    RETURN,
    Thing,
    Use,
    all_of,
    largest,
    things,
    uses_of,
)

if TYPE_CHECKING:
    from gaugelight.boxfile import Box

PIN = re.compile(r"([A-Za-z][A-Za-z0-9]{0,7})-([1-9]\d{0,2})")
AIRFRAME = "airframe"


@dataclass(frozen=True)
class Lead:
    """uses: none of a free pin. connector, number: None, 0 of a wire that does not touch the box."""

    connector: Connector | None
    number: int
    line: int
    uses: tuple[Use, ...]
    cable: Cable | None = None

    @property
    def place(self) -> str:
        return f"{self.connector.name}-{self.number}" if self.connector is not None else ""

    @property
    def text(self) -> str:
        return ", ".join(use.text for use in self.uses)

    @property
    def wired(self) -> bool:
        """Whether a wire of the harness ends there."""
        return any(use.wired for use in self.uses)


@dataclass(frozen=True)
class Carried:
    """What one cable carries. named: uses by their names; pins: by pin, J3-10; uses: those of the pins too."""

    cable: Cable
    named: tuple[Use, ...]
    pins: tuple[str, ...]
    uses: tuple[Use, ...]


@dataclass(frozen=True)
class Wiring:
    """A box's harness with everything looked up. leads: all pins in order, free ones too; then what passes the box by."""

    box: Box
    harness: Harness
    things: dict[str, Thing]
    carried: tuple[Carried, ...]
    leads: tuple[Lead, ...]

    @property
    def on_pins(self) -> dict[Use, Lead]:
        return {use: lead for lead in reversed(self.leads) if lead.connector for use in lead.uses}

    @property
    def in_tank(self) -> set[str]:
        """Names of what goes into a fuel tank: read as fuel, or in a cable that says so."""
        names = {thing.name for thing in self.things.values() if thing.in_tank}
        return names | {use.thing for one in self.carried if one.cable.tank for use in one.uses}

    def kind(self, use: Use) -> str:
        """Input, lamp, switch ...; empty of a spare pin."""
        return self.things[use.thing].kind if use.thing in self.things else ""


def wiring_of(box: Box) -> Wiring:
    """What cannot be read is left out; `check_harness` tells of it."""
    harness = box.harness or Harness()
    there = things(box)
    carried = tuple(_carried(harness, there))
    leads = (*_pins(harness, there, carried), *_passing(harness, there, carried))
    return Wiring(box, harness, there, carried, leads)


def known_uses(pin: Pin, there: dict[str, Thing]) -> tuple[Use, ...]:
    try:
        return uses_of(pin.written, there)
    except ValueError:
        return ()


def _carried(harness: Harness, there: dict[str, Thing]) -> Iterator[Carried]:
    """A bare name stands for all parts of the thing that no cable names by themselves."""
    written = {one for cable in harness.cables for one in cable.carries}
    alone = {one for one in written if one not in there or one in EVERY_BOX}
    pins = {f"{c.name}-{pin.number}": pin for c in harness.connectors for pin in c.pins}
    for cable in harness.cables:
        named: list[Use] = []
        by_pin: list[Use] = []
        for one in cable.carries:
            if one in there:
                named += [use for use in all_of(there[one]) if use.text == one or use.text not in alone]
            elif one in pins:
                by_pin += known_uses(pins[one], there)
            else:
                named += known_uses(Pin(cable.line, 0, one), there)
        places = tuple(one for one in cable.carries if one in pins and one not in there)
        uses = dict.fromkeys([*named, *by_pin])
        yield Carried(cable, tuple(dict.fromkeys(named)), places, tuple(uses))


def _pins(harness: Harness, there: dict[str, Thing], carried: tuple[Carried, ...]) -> Iterator[Lead]:
    by_pin = {place: one.cable for one in carried for place in one.pins}
    by_use = {use: one.cable for one in carried for use in one.named}
    for connector in harness.connectors:
        written = {pin.number: pin for pin in connector.pins}
        for number in range(1, connector.shape.ways + 1):
            pin = written.get(number)
            uses = () if pin is None else known_uses(pin, there)
            cable = by_pin.get(f"{connector.name}-{number}")
            if cable is None:
                cable = next((by_use[use] for use in uses if use.wired and use in by_use), None)
            yield Lead(connector, number, connector.line if pin is None else pin.line, uses, cable)


def _passing(harness: Harness, there: dict[str, Thing], carried: tuple[Carried, ...]) -> Iterator[Lead]:
    """Uses that a cable names by themselves and no pin has: such as the supply of a transmitter from a fuse on the panel."""
    on_pins = {use for one in harness.connectors for pin in one.pins for use in known_uses(pin, there)}
    for one in carried:
        for use in one.named:
            if use.text in one.cable.carries and use not in on_pins:
                yield Lead(None, 0, one.cable.line, (use,), one.cable)


def returns_by(lead: Lead, wiring: Wiring) -> str:
    """By which pin the current of a lead comes back, or "airframe"; empty where nothing is said."""
    for use in lead.uses:
        wanted = _ways_back(use)
        for other in wiring.leads:
            if other is not lead and other.place and any(one in other.uses for one in wanted):
                return other.place
        if wanted and lead.cable is not None and lead.cable.airframe:
            return AIRFRAME
    return ""


def _ways_back(use: Use) -> list[Use]:
    if use == Use(BUS):
        return [Use(GROUND)]
    if use.part == "feed":
        return [Use(LAMP_GROUND)]
    part = {"": RETURN, "plus": "minus", "minus": "plus", "supply": RETURN}.get(use.part)
    return [] if part is None else [Use(use.thing, part), Use(use.thing, RETURN)]


def amperes(lead: Lead, wiring: Wiring) -> float | None:
    """The largest current of all its uses together."""
    known = [taken for use in lead.uses if (taken := largest(wiring.box, use)) is not None]
    return sum(known) if known else None


def fuse_of(lead: Lead, wiring: Wiring) -> float | None:
    """The lamp's where it is one's and stated, else the cable's; in A."""
    for use in lead.uses:
        lamp = wiring.box.lights.lamp(use.thing)
        if lamp is not None and lamp.fuse is not None and use.part != "dim":
            return float(lamp.fuse)
    return float(lead.cable.fuse) if lead.cable is not None and lead.cable.fuse is not None else None
