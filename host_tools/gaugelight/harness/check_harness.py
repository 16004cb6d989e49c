"""What must hold of the harness: pins, guards, bundles, returns, wires and fuses; and what should be known of it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING

from gaugelight import loads, wires
from gaugelight.harness.cables import PIN, Carried, Lead, amperes, carried_by, fuse_of, known_uses, leads
from gaugelight.harness.harness_file import Cable, Connector, Harness
from gaugelight.harness.uses import (
    BUS,
    EVERY_BOX,
    GROUND,
    GUARD,
    LAMP_GROUND,
    LAMP_PARTS,
    RETURN,
    SPARE,
    Thing,
    Use,
    at_bus,
    things,
    uses_of,
)
from gaugelight.lights import Lamp
from gaugelight.problems import Problem, meant

if TYPE_CHECKING:
    from gaugelight.boxfile import Box

DSUB_GAUGE, DSUB_AMPERES = (
    20,
    5.0,
)  # the thickest wire and the most current of a size 20 contact (from memory)


def problems_of_harness(box: Box) -> list[Problem]:
    """Everything that is wrong with the wiring, by line. None where the file has no [connector.NAME]."""
    harness = box.harness
    if harness is None:
        return []
    there = things(box)
    problems = [*_cable_names(harness), *_carried(harness, there)]
    if harness.connectors:
        problems += [*_pin_uses(harness, there), *_missing(box, harness, there)]
        all_leads = leads(box)
        problems += [*_guards(harness, there), *_alike(harness, there)]
        problems += [*_bundles(harness, there), *_shared_returns(box, harness, there)]
        problems += [*_wires(box, all_leads), *_lamp_runs(box, all_leads)]
    elif harness.cables:
        first = harness.cables[0]
        what = "it starts at no connector; write [connector.J1] and [connector.J1.pins] first"
        problems.append(Problem(first.line, f"cable {first.name}", what))
    return sorted(dict.fromkeys(problems), key=lambda problem: problem.line)


def _cable_names(harness: Harness) -> Iterator[Problem]:
    seen: dict[str, int] = {}
    for cable in harness.cables:
        if cable.name in seen:
            what = f"the name stands at line {seen[cable.name]} too; each needs its own"
            yield Problem(cable.line, f"cable {cable.name}", what)
        seen.setdefault(cable.name, cable.line)


def _carried(harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """Each cable carries what is known and has wires, and nothing runs in two."""
    connectors = {connector.name: connector for connector in harness.connectors}
    seen: dict[Use | str, Cable] = {}
    for one in carried_by(harness, there):
        cable = one.cable
        where = f"cable {cable.name}"
        for written in cable.carries:
            if written in there or written in EVERY_BOX:
                continue
            if match := PIN.fullmatch(written):
                connector = connectors.get(match[1])
                if connector is None:
                    what = f'"{written}": there is no connector {match[1]}; {meant(match[1], connectors)}'
                    yield Problem(cable.line, where, what, "carries")
                elif int(match[2]) not in {pin.number for pin in connector.pins}:
                    yield Problem(
                        cable.line, where, f'"{written}" is free; name a pin that is used', "carries"
                    )
                continue
            try:
                uses_of(written, there)
            except ValueError as problem:
                yield Problem(cable.line, where, str(problem), "carries")
        for use in one.uses:
            if not use.wired:
                what = (
                    f"{use.text}: a guard is grounded in the box and has no wire"
                    if use.thing == GUARD
                    else "a spare pin has no wire"
                )
                yield Problem(cable.line, where, f"{what}; leave it out", "carries")
        carried: list[tuple[Use | str, str]] = [(use, use.text) for use in one.uses]
        carried += [(place, place) for place in one.pins]
        for key, text in carried:
            if (other := seen.setdefault(key, cable)) is not cable:
                what = f"{text} runs in cable {other.name} already (line {other.line}); one of them"
                yield Problem(cable.line, where, what, "carries")


def _pin_uses(harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """Each pin's use is known, and stands on no other pin."""
    seen: dict[Use, str] = {}
    for connector in harness.connectors:
        for pin in connector.pins:
            where = f"{connector.name}-{pin.number}"
            try:
                uses = uses_of(pin.written, there)
            except ValueError as problem:
                yield Problem(pin.line, where, str(problem))
                continue
            if len(uses) > 1 and (lone := next((use for use in uses if not use.wired), None)) is not None:
                yield Problem(pin.line, where, f"{lone.text} stands alone on its pin; give it one of its own")
            for use in uses:
                if use.thing in (GUARD, GROUND, LAMP_GROUND, SPARE) or use == Use(BUS):
                    continue
                if use in seen:
                    what = f"{use.text} is on {seen[use]} already; each use has one pin"
                    yield Problem(pin.line, where, what)
                seen.setdefault(use, where)


def _missing(box: Box, harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """Whatever the box file has comes out of the box somewhere, with a way back."""
    pinned = [set(known_uses(pin, there)) for one in harness.connectors for pin in one.pins]
    on_pins = set().union(*pinned)
    lines = {
        use: pin.line for one in harness.connectors for pin in one.pins for use in known_uses(pin, there)
    }
    by_airframe = {use for one in carried_by(harness, there) if one.cable.airframe for use in one.uses}
    for thing in there.values():
        missing = [part for part in thing.needed if Use(thing.name, part) not in on_pins]
        if (
            thing.kind == "lamp"
            and Use(thing.name, "feed") in on_pins
            and Use(thing.name, "plus") not in on_pins
        ):
            missing.append("plus")
        for part in missing:
            what = f"has no pin; write {Use(thing.name, part).text} at one, under [connector.NAME.pins]"
            yield Problem(thing.line, thing.name, f"{part} {what}".strip())
        back = Use(thing.name, RETURN)
        out = [Use(thing.name, part) for part in thing.needed]
        with_bus = any(Use(BUS) in uses and out[0] in uses for uses in pinned) if out else False
        if thing.returns and not missing and not with_bus and back not in on_pins:
            if not by_airframe.intersection(out):
                what = 'its return has no pin; give it one, or write return = "airframe" at its cable'
                yield Problem(lines[out[0]], thing.name, what)
    for one in carried_by(harness, there):
        if one.cable.airframe and (back_use := next((use for use in one.uses if use.part == RETURN), None)):
            if back_use in on_pins:
                what = f'"airframe", but {back_use.text} has a pin of its own; leave one of them out'
                yield Problem(one.cable.line, f"cable {one.cable.name}", what, "return")


def _in_tank(harness: Harness, there: dict[str, Thing]) -> set[str]:
    """Names of what goes into a fuel tank: read as fuel, or in a cable that says so."""
    names = {thing.name for thing in there.values() if thing.in_tank}
    return names | {use.thing for one in carried_by(harness, there) if one.cable.tank for use in one.uses}


def _guards(harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """From each pin of a tank's sender over free pins to the next that is used: none of them may be at bus voltage."""
    tank = _in_tank(harness, there)
    for connector in harness.connectors:
        uses = {pin.number: known_uses(pin, there) for pin in connector.pins}
        for pin in connector.pins:
            own = {use.thing for use in uses[pin.number]} & tank
            if not own:
                continue
            if any(at_bus(use, there) for use in uses[pin.number]):
                what = (
                    "a tank's sender shares its pin with what may be at bus voltage; give it one of its own"
                )
                yield Problem(pin.line, f"{connector.name}-{pin.number}", what)
            for other, between in _next_used(connector, uses, pin.number):
                live = next((use for use in uses[other] if at_bus(use, there)), None)
                if live is None:
                    continue
                near = "is beside it" if not between else f"is behind {_pins(between)}, free"
                what = (
                    f"{uses[pin.number][0].text} goes into a fuel tank, and pin {other}, {live.text}, which may be at"
                    f" bus voltage, {near}; put a guard between them"
                )
                yield Problem(pin.line, f"{connector.name}-{pin.number}", what)


def _pins(numbers: tuple[int, ...]) -> str:
    return ("pin " if len(numbers) == 1 else "pins ") + ", ".join(map(str, numbers))


def _next_used(
    connector: Connector, uses: dict[int, tuple[Use, ...]], start: int
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Pins that are used, and the free ones on the shortest way to each."""
    seen = {start}
    waiting: list[tuple[int, tuple[int, ...]]] = [(start, ())]
    while waiting:
        pin, way = waiting.pop(0)
        for other in connector.shape.neighbours(pin):
            if other in seen:
                continue
            seen.add(other)
            if other in uses:
                yield other, way
            else:
                waiting.append((other, (*way, other)))


def _alike(harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """No plug of a tank's connector fits another."""
    tank = _in_tank(harness, there)
    for one, other in combinations(harness.connectors, 2):
        if not _fit(one, other):
            continue
        uses = {
            use.thing
            for connector in (one, other)
            for pin in connector.pins
            for use in known_uses(pin, there)
        }
        if uses & tank:
            what = f"its plug fits {one.name} too, and a fuel sender is on one of them; give the box other halves, or another kind"
            yield Problem(other.line, other.name, what, "kind")


def _fit(one: Connector, other: Connector) -> bool:
    return (one.shape.kind, one.box) == (other.shape.kind, other.box)


def _bundles(harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """What goes into a tank lies with nothing that may be at bus voltage, in its cable or its bundle."""
    tank = _in_tank(harness, there)
    carried = [(one, _uses_with_pins(harness, there, one)) for one in carried_by(harness, there)]
    for one, uses in carried:
        inside = [use for use in uses if use.thing in tank]
        if not inside:
            continue
        for other, others in carried:
            same = other is one
            if not same and (not one.cable.bundle or one.cable.bundle != other.cable.bundle):
                continue
            live = next((use for use in others if at_bus(use, there) and use.thing not in tank), None)
            if live is not None:
                where = (
                    "in one cable" if same else f"in bundle {one.cable.bundle} with cable {other.cable.name}"
                )
                what = (
                    (
                        f"{inside[0].text} goes into a fuel tank and lies {where}, whose {live.text} may be at bus voltage;"
                        " no circuit in the box limits what chafes through there: lay it apart"
                    )
                    if not same
                    else (
                        f"{inside[0].text} goes into a fuel tank and {live.text} may be at bus voltage;"
                        " no circuit in the box limits what chafes through there: lay them apart"
                    )
                )
                yield Problem(
                    one.cable.line, f"cable {one.cable.name}", what, "carries" if same else "bundle"
                )


def _uses_with_pins(harness: Harness, there: dict[str, Thing], one: Carried) -> list[Use]:
    """All that a cable carries, by use or by pin."""
    uses = list(one.uses)
    for connector in harness.connectors:
        for pin in connector.pins:
            if f"{connector.name}-{pin.number}" in one.pins:
                uses += known_uses(pin, there)
    return uses


def _is_lamp_return(use: Use, there: dict[str, Thing]) -> bool:
    return use.thing == LAMP_GROUND or use.part == "minus" and there[use.thing].kind == "lamp"


def _is_sender_return(use: Use, there: dict[str, Thing]) -> bool:
    return use.part == RETURN and there[use.thing].kind == "input"


def _shared_returns(box: Box, harness: Harness, there: dict[str, Thing]) -> Iterator[Problem]:
    """A lamp's current flows through nothing that a sender's signal is measured over."""
    for connector in harness.connectors:
        for pin in connector.pins:
            uses = known_uses(pin, there)
            lamp = next((use for use in uses if use.thing in there and _is_lamp_return(use, there)), None)
            sender = next((use for use in uses if use.thing in there and _is_sender_return(use, there)), None)
            if lamp is not None and sender is not None:
                what = f"{lamp.text} and {sender.text} share a pin: the lamp's current would move the reading; give each its own"
                yield Problem(pin.line, f"{connector.name}-{pin.number}", what)
    carried = [(one.cable, _uses_with_pins(harness, there, one)) for one in carried_by(harness, there)]
    for cable, uses in carried:
        lamp = next((use for use in uses if use.thing in there and _is_lamp_return(use, there)), None)
        sender = next((use for use in uses if use.thing in there and _is_sender_return(use, there)), None)
        if lamp is not None and sender is not None:
            what = (
                f"{lamp.text} and {sender.text} are in one cable; a lamp's return goes apart from a sender's"
            )
            yield Problem(cable.line, f"cable {cable.name}", what, "carries")
    through = [(cable, uses) for cable, uses in carried if cable.airframe]
    lamps = [
        cable
        for cable, uses in through
        if any(use.part in LAMP_PARTS and there[use.thing].kind == "lamp" for use in uses)
    ]
    for cable, uses in through:
        sender = next((use for use in uses if there[use.thing].kind == "input"), None)
        if sender is not None and lamps and cable not in lamps:
            what = (
                f"{sender.text} and the lamp of cable {lamps[0].name} both come back through the airframe: the lamp's current"
                " would move the reading; give one of them a wire back"
            )
            yield Problem(cable.line, f"cable {cable.name}", what, "return")


def _wires(box: Box, all_leads: tuple[Lead, ...]) -> Iterator[Problem]:
    """Each wire against its fuse, its current and its contact; what is wrong with a cable is told once."""
    for lead in all_leads:
        cable = lead.cable
        if cable is None:
            continue
        where = f"cable {cable.name}"
        fuse, most = fuse_of(box, lead), wires.largest_fuse(cable.gauge)
        if fuse is not None and fuse > most:
            what = f"a fuse of {fuse:g} A would let AWG {cable.gauge} burn; {most:g} A at most, or AWG {wires.thinnest(fuse)}"
            yield Problem(cable.line, where, what, "gauge" if cable.fuse is None else "fuse")
        taken = amperes(box, lead)
        if taken is not None and taken > most:
            yield Problem(
                cable.line,
                where,
                f"{lead.text} takes {taken:.2g} A, AWG {cable.gauge} {most:g} A at most",
                "gauge",
            )
        if (
            fuse is not None
            and taken is not None
            and taken > fuse * loads.FUSE_HELD
            and cable.fuse is not None
        ):
            if not any(box.lights.lamp(use.thing) for use in lead.uses) or fuse < taken:
                what = f"{lead.text} takes {taken:.2g} A, and a fuse of {fuse:g} A holds {fuse * loads.FUSE_HELD:.2g} A for ever"
                yield Problem(cable.line, where, what, "fuse")
        if lead.connector is not None and lead.connector.shape.is_dsub:
            if cable.gauge < DSUB_GAUGE:
                what = f"AWG {cable.gauge} does not go into the contacts of {lead.connector.name}; a D-sub takes AWG {DSUB_GAUGE} to 24"
                yield Problem(cable.line, where, what, "gauge")
            if taken is not None and taken > DSUB_AMPERES:
                what = f"{lead.text} takes {taken:.2g} A, a contact of a D-sub {DSUB_AMPERES:g} A at most"
                yield Problem(lead.line, lead.place, what)


def cables_of(lamp: Lamp, all_leads: tuple[Lead, ...]) -> dict[str, Cable]:
    """Part of the lamp: the cable that it runs in."""
    return {
        use.part: lead.cable
        for lead in all_leads
        for use in lead.uses
        if use.thing == lamp.name and lead.cable is not None
    }


def run_ohms(lamp: Lamp, all_leads: tuple[Lead, ...]) -> float | None:
    """Of a lamp's whole run, from its fuse to its ground, at 20 degC; None where a cable of it is not stated."""
    by_part = cables_of(lamp, all_leads)
    if "minus" not in by_part or not by_part["minus"].airframe and "plus" not in by_part:
        return None
    parts = ["plus", "minus"] if "plus" in by_part else ["minus"]
    wanted = [*parts, *(["feed"] if "feed" in by_part else [])]
    ground = next(
        (lead.cable for lead in all_leads if Use(LAMP_GROUND) in lead.uses and lead.cable is not None), None
    )
    conductors = [by_part[part] for part in wanted] + ([ground] if ground is not None else [])
    return sum(wires.Wire(cable.gauge, float(cable.length), True).ohms() for cable in conductors)


def _lamp_runs(box: Box, all_leads: tuple[Lead, ...]) -> Iterator[Problem]:
    """What a lamp's own table says of its wire, and what is lost in its cables."""
    supply = float(box.supply)
    for lamp in box.lights.lamps:
        cable = cables_of(lamp, all_leads).get("minus")
        if cable is None:
            continue
        where = f"cable {cable.name}"
        if lamp.wire is not None:
            if lamp.wire.gauge != cable.gauge:
                what = f"AWG {cable.gauge}, but the wire of {lamp.name} (line {lamp.line}) is AWG {lamp.wire.gauge}; make them the same"
                yield Problem(cable.line, where, what, "gauge")
            if abs(lamp.wire.length - float(cable.length)) > 0.005:
                what = f"{float(cable.length):g} m, but the wire of {lamp.name} (line {lamp.line}) is {lamp.wire.length:g} m; make them the same"
                yield Problem(cable.line, where, what, "length")
            if lamp.wire.airframe_return != cable.airframe:
                what = f"{lamp.name} (line {lamp.line}) says otherwise of its return; make them the same"
                yield Problem(cable.line, where, what, "return" if cable.airframe else "")
        ohms = run_ohms(lamp, all_leads)
        if ohms is None or lamp.load is None:
            continue
        lost = loads.amperes(lamp.load, supply) * ohms
        if lost > wires.OWN_DROP * supply:
            what = (
                f"{lost:.2g} V of {supply:g} V are lost on the way to {lamp.name} and back, {wires.OWN_DROP:.0%} at most:"
                " a thicker or shorter wire"
            )
            yield Problem(cable.line, where, what, "gauge")


def notes_on_harness(box: Box) -> Iterator[tuple[str, str]]:
    """What is right as it stands, but should be known: of what, and the note."""
    harness = box.harness
    if harness is None or not harness.connectors:
        yield box.name, "no connectors are described; [connector.J1] and [[cable]] would give the wiring sheet and its checks"
        return
    there = things(box)
    all_leads = leads(box)
    on_pins = {use for lead in all_leads if lead.connector is not None for use in lead.uses}
    for name, use in (("supply", Use(BUS)), ("ground", Use(GROUND))):
        if use not in on_pins:
            yield box.name, f'no pin is its {name}; write "{use.text}" where it comes in'
    bare = [lead.place for lead in all_leads if lead.wired and lead.cable is None]
    if bare:
        yield box.name, f"no cable is stated for {', '.join(bare)}"
    for one, other in combinations(harness.connectors, 2):
        if _fit(one, other):
            yield one.name, f"{other.name}'s plug fits it too: mark both, or give the box other halves"
    for cable in harness.cables:
        if cable.gauge > wires.STURDY:
            yield f"cable {cable.name}", f"AWG {cable.gauge} breaks where it is handled; AWG {wires.STURDY} or thicker lasts (common practice, no source)"
    for one in carried_by(harness, there):
        fuses = [
            lead
            for lead in all_leads
            if lead.cable is one.cable and any(_fed(use, there) for use in lead.uses)
        ]
        if without := [lead.text for lead in fuses if fuse_of(box, lead) is None]:
            most = wires.largest_fuse(one.cable.gauge)
            yield f"cable {one.cable.name}", f"no fuse is stated for {', '.join(without)}; AWG {one.cable.gauge} takes {most:g} A at most"
        senders = [use for use in one.uses if there.get(use.thing) and there[use.thing].kind == "input"]
        if one.cable.airframe and senders:
            yield f"cable {one.cable.name}", (
                f"{senders[0].thing} comes back through the airframe, whose voltage drop adds to its signal; a wire back takes it out"
            )
    for name in sorted(_in_tank(harness, there)):
        cables = {
            one.cable.name: one.cable
            for one in carried_by(harness, there)
            if any(use.thing == name for use in one.uses)
        }
        for cable in cables.values():
            if not cable.bundle:
                yield f"cable {cable.name}", f"{name} goes into a fuel tank; lay it in a bundle of its own and name that, or nothing checks what lies beside it"


def _fed(use: Use, there: dict[str, Thing]) -> bool:
    """It hangs on the bus behind a fuse at the bus end."""
    return use == Use(BUS) or use.part in ("feed", "supply") and at_bus(use, there)
