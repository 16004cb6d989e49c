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
        return any(use.wired for use in self.uses)


def known_uses(pin: Pin, there: dict[str, Thing]) -> tuple[Use, ...]:
    """Those of a pin that can be read; what cannot is `check_harness`'s to tell."""
    try:
        return uses_of(pin.written, there)
    except ValueError:
        return ()


@dataclass(frozen=True)
class Carried:
    """What one cable carries: its uses by themselves, and pins that it names."""

    cable: Cable
    uses: tuple[Use, ...]
    pins: tuple[str, ...]


def carried_by(harness: Harness, there: dict[str, Thing]) -> list[Carried]:
    """A bare name stands for all parts of the thing that no cable names by themselves."""
    named = {written for cable in harness.cables for written in cable.carries if written not in there} | {
        written for cable in harness.cables for written in cable.carries if written in EVERY_BOX
    }
    carried = []
    for cable in harness.cables:
        uses: list[Use] = []
        for written in cable.carries:
            if written in there:
                uses += [
                    use for use in all_of(there[written]) if use.text == written or use.text not in named
                ]
            elif not PIN.fullmatch(written):
                try:
                    uses += uses_of(written, there)
                except ValueError:
                    pass
        pins = tuple(written for written in cable.carries if PIN.fullmatch(written) and written not in there)
        carried.append(Carried(cable, tuple(dict.fromkeys(uses)), pins))
    return carried


def leads(box: Box) -> tuple[Lead, ...]:
    """All pins of all connectors in order, free ones too; then what passes the box by, in order of cables."""
    harness = box.harness
    if harness is None:
        return ()
    there = things(box)
    carried = carried_by(harness, there)
    return (*_pins(harness, there, carried), *_passing(harness, there, carried))


def _pins(harness: Harness, there: dict[str, Thing], carried: list[Carried]) -> Iterator[Lead]:
    by_pin = {place: one.cable for one in carried for place in one.pins}
    by_use = {use: one.cable for one in carried for use in one.uses}
    for connector in harness.connectors:
        written = {pin.number: pin for pin in connector.pins}
        for number in range(1, connector.shape.ways + 1):
            pin = written.get(number)
            uses = () if pin is None else known_uses(pin, there)
            found = [by_use[use] for use in uses if use in by_use and use.wired]
            cable = by_pin.get(f"{connector.name}-{number}") or (found[0] if found else None)
            line = connector.line if pin is None else pin.line
            yield Lead(connector, number, line, uses, cable)


def _passing(harness: Harness, there: dict[str, Thing], carried: list[Carried]) -> Iterator[Lead]:
    """Uses that a cable names by themselves and no pin has: such as the supply of a transmitter from a fuse on the panel."""
    on_pins = {
        use for connector in harness.connectors for pin in connector.pins for use in known_uses(pin, there)
    }
    for one in carried:
        for use in one.uses:
            if use.text in one.cable.carries and use not in on_pins:
                yield Lead(None, 0, one.cable.line, (use,), one.cable)


def returns_by(lead: Lead, all_leads: tuple[Lead, ...]) -> str:
    """By which pin the current of a lead comes back, or "airframe"; empty where nothing is said."""
    for use in lead.uses:
        part = {"": RETURN, "plus": "minus", "minus": "plus", "supply": RETURN}.get(use.part, "")
        wanted = [Use(use.thing, part), Use(use.thing, RETURN)] if part else []
        wanted += [Use(LAMP_GROUND)] * (use.part == "feed") + [Use(GROUND)] * (use == Use(BUS))
        for other in all_leads:
            if other is not lead and other.place and any(one in other.uses for one in wanted):
                return other.place
        if wanted and lead.cable is not None and lead.cable.airframe:
            return "airframe"
    return ""


def amperes(box: Box, lead: Lead) -> float | None:
    """The largest current of all its uses together."""
    known = [taken for use in lead.uses if (taken := largest(box, use)) is not None]
    return sum(known) if known else None


def fuse_of(box: Box, lead: Lead) -> float | None:
    """The cable's where it is stated, else the lamp's; in A."""
    if lead.cable is not None and lead.cable.fuse is not None:
        return float(lead.cable.fuse)
    for use in lead.uses:
        lamp = box.lights.lamp(use.thing)
        if lamp is not None and lamp.fuse is not None and use.part != "dim":
            return float(lamp.fuse)
    return None
