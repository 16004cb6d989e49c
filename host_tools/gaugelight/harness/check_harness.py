"""What must hold of the harness: pins, guards, bundles, returns, wires and fuses; and what should be known of it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING

from gaugelight import loads, wires
from gaugelight.circuits import Direct, Divider
from gaugelight.harness.cables import PIN, Lead, Wiring, amperes, fuse_of, wiring_of
from gaugelight.harness.harness_file import Cable, Connector
from gaugelight.harness.uses import (
    BUS,
    EVERY_BOX,
    GROUND,
    GUARD,
    LAMP_GROUND,
    LAMP_PARTS,
    RETURN,
    SPARE,
    Use,
    at_bus,
    uses_of,
)
from gaugelight.lights import BUS_OUTPUT, DIM_REQUEST, Lamp
from gaugelight.problems import Problem, meant

if TYPE_CHECKING:
    from gaugelight.boxfile import Box, Input

DSUB_GAUGE, DSUB_AMPERES = (
    20,
    5.0,
)  # the thickest wire and the most current of a size 20 contact (from memory)
NO_LIMIT = "no circuit in the box limits what chafes through there: lay"
MOVES = "the lamp's current would move the reading"


def problems_of_harness(box: Box) -> list[Problem]:
    """Everything that is wrong with the wiring, by line; nothing where the file has no [connector.NAME] and no [[cable]]."""
    wiring = wiring_of(box)
    problems = [*_cable_names(wiring), *_carried(wiring)]
    if wiring.harness.connectors:
        problems += [*_pin_uses(wiring), *_missing(wiring), *_guards(wiring), *_alike(wiring)]
        problems += [*_bundles(wiring), *_shared_returns(wiring), *_wires(wiring), *_lamp_runs(wiring)]
    elif wiring.harness.cables:
        what = "it starts at no connector; write [connector.J1] and [connector.J1.pins] first"
        problems.append(_at(wiring.harness.cables[0], "", what))
    return sorted(dict.fromkeys(problems), key=lambda problem: problem.line)


def _at(cable: Cable, key: str, what: str) -> Problem:
    return Problem(cable.line_of(key), f"cable {cable.name}", what, key)


def _cable_names(wiring: Wiring) -> Iterator[Problem]:
    seen: dict[str, int] = {}
    for cable in wiring.harness.cables:
        if cable.name in seen:
            yield _at(cable, "name", f"stands at line {seen[cable.name]} too; each cable needs its own")
        seen.setdefault(cable.name, cable.line)


def _carried(wiring: Wiring) -> Iterator[Problem]:
    """Each cable carries what is known and has wires, and nothing runs in two."""
    connectors = {connector.name: connector for connector in wiring.harness.connectors}
    seen: dict[Use | str, Cable] = {}
    for one in wiring.carried:
        cable = one.cable
        for written in cable.carries:
            if written in wiring.things or written in EVERY_BOX or written in one.pins:
                continue
            if match := PIN.fullmatch(written):
                what = f"there is no connector {match[1]}; {meant(match[1], connectors)}"
                if match[1] in connectors:
                    what = "nothing stands at that pin; write its use under [connector.NAME.pins]"
                yield _at(cable, "carries", f'"{written}": {what}')
                continue
            try:
                uses_of(written, wiring.things)
            except ValueError as problem:
                yield _at(cable, "carries", str(problem))
        for use in one.uses:
            if not use.wired:
                why = (
                    "a guard is grounded in the box"
                    if use.thing == GUARD
                    else "the box file has no use for it"
                )
                yield _at(cable, "carries", f"{use.text} has no wire, for {why}; leave it out")
        keys: list[Use | str] = [*one.named, *one.pins]
        others = {
            other.name: (key, other)
            for key in reversed(keys)
            if (other := seen.setdefault(key, cable)) is not cable
        }
        for key, other in others.values():
            text = key if isinstance(key, str) else key.text
            yield _at(cable, "carries", f"{text} runs in cable {other.name} already (line {other.line})")


def _pin_uses(wiring: Wiring) -> Iterator[Problem]:
    """Each pin's use is known, and stands on no other pin."""
    seen: dict[Use, str] = {}
    for connector in wiring.harness.connectors:
        for pin in connector.pins:
            where = f"{connector.name}-{pin.number}"
            try:
                uses = uses_of(pin.written, wiring.things)
            except ValueError as problem:
                yield Problem(pin.line, where, str(problem))
                continue
            lone = next((use for use in uses if not use.wired), None)
            if len(uses) > 1 and lone is not None:
                yield Problem(pin.line, where, f"{lone.text} stands alone on its pin; give it one of its own")
            for use in uses:
                if use.thing in (GUARD, GROUND, LAMP_GROUND, SPARE) or use == Use(BUS):
                    continue
                if use in seen:
                    yield Problem(
                        pin.line, where, f"{use.text} is on {seen[use]} already; each use has one pin"
                    )
                seen.setdefault(use, where)


def _missing(wiring: Wiring) -> Iterator[Problem]:
    """Whatever the box file has comes out of the box somewhere, with a way back."""
    on_pins = wiring.on_pins
    by_airframe = {use for one in wiring.carried if one.cable.airframe for use in one.uses}
    for thing in wiring.things.values():
        needed = thing.needed
        if thing.kind == "lamp" and Use(thing.name, "feed") in on_pins:
            needed = (*needed, "plus")
        for part in needed:
            if (use := Use(thing.name, part)) not in on_pins:
                what = f'has no pin; write NUMBER = "{use.text}" under [connector.NAME.pins]'
                yield Problem(thing.line, thing.name, f"its {part} {what}" if part else what)
        out = [use for part in needed if (use := Use(thing.name, part)) in on_pins]
        if not thing.needs_return or not out or Use(thing.name, RETURN) in on_pins:
            continue
        if not by_airframe.intersection(out) and Use(BUS) not in on_pins[out[0]].uses:
            what = 'its return has no pin; give it one, or write return = "airframe" at its cable'
            yield Problem(on_pins[out[0]].line, thing.name, what)
    for one in wiring.carried:
        back = next((use for use in one.uses if use.part == RETURN and use in on_pins), None)
        if one.cable.airframe and back is not None:
            what = f"{back.text} has a wire, at {on_pins[back].place}; leave this key out, or that pin"
            yield _at(one.cable, "return", what)


def _guards(wiring: Wiring) -> Iterator[Problem]:
    """From each pin of a tank's sender, over free pins, to the next that is used: none of them may be at bus voltage."""
    tank = wiring.in_tank
    for connector in wiring.harness.connectors:
        uses = {lead.number: lead.uses for lead in wiring.leads if lead.connector is connector and lead.uses}
        for pin in connector.pins:
            here = uses.get(pin.number, ())
            inside = next((use for use in here if use.thing in tank), None)
            if inside is None:
                continue
            where = f"{connector.name}-{pin.number}"
            if other := next((use for use in here if _beside_tank(wiring, use)), None):
                what = f"{inside.text} goes into a fuel tank, and {other.text} may be at bus voltage; give each a pin"
                yield Problem(pin.line, where, what)
            near = [
                f"pin {number} {f'with {_numbers(between)}, free, between' if between else 'beside it'} is {live.text}"
                for number, between in sorted(_next_used(connector, uses, pin.number))
                if (live := next((use for use in uses[number] if _beside_tank(wiring, use)), None))
            ]
            if near:
                which = "which" if len(near) == 1 else "all of which"
                what = (
                    f"{inside.text} goes into a fuel tank, and {_and(near)}, {which} may be at bus voltage; put a guard"
                    f" between {'them' if len(near) == 1 else 'it and each of them'}"
                )
                yield Problem(pin.line, where, what)


def _beside_tank(wiring: Wiring, use: Use) -> bool:
    """Whether bus voltage may come from there; what goes into a tank itself is another matter, and has a note."""
    return at_bus(use, wiring.things) and use.thing not in wiring.in_tank


def _and(texts: list[str]) -> str:
    """In a row, the last behind an "and"."""
    return " and ".join(filter(None, (", ".join(texts[:-1]), texts[-1])))


def _numbers(numbers: tuple[int, ...]) -> str:
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


def _alike(wiring: Wiring) -> Iterator[Problem]:
    """No other plug fits a connector with a tank's sender."""
    for one, other in combinations(wiring.harness.connectors, 2):
        both = {use.thing for lead in wiring.leads if lead.connector in (one, other) for use in lead.uses}
        if _fits(one, other) and both & wiring.in_tank:
            line = other.lines.get("kind", other.line)
            what = f"its plug fits {one.name} too, and a tank's sender is on one of them; give the box the other half here, or another kind"
            yield Problem(line, other.name, what, "kind")


def _fits(one: Connector, other: Connector) -> bool:
    return (one.shape.kind, one.box) == (other.shape.kind, other.box)


def _bundles(wiring: Wiring) -> Iterator[Problem]:
    """What goes into a tank lies with nothing that may be at bus voltage, in its cable or its bundle."""
    tank = wiring.in_tank
    for one in wiring.carried:
        inside = next((use for use in one.uses if use.thing in tank), None)
        if inside is None:
            continue
        for other in wiring.carried:
            live = next((use for use in other.uses if _beside_tank(wiring, use)), None)
            if live is None:
                continue
            if other is one:
                what = f"{inside.text} goes into a fuel tank, and {live.text} may be at bus voltage; {NO_LIMIT} them apart"
                yield _at(one.cable, "carries", what)
            elif one.cable.lies_with(other.cable):
                what = (
                    f"{inside.text} goes into a fuel tank, and {live.text} of cable {other.cable.name}, in the same bundle, may"
                    f" be at bus voltage; {NO_LIMIT} them apart"
                )
                yield _at(one.cable, "bundle", what)


def _shared_returns(wiring: Wiring) -> Iterator[Problem]:
    """A lamp's current flows through nothing that a sender is measured over."""
    for lead in wiring.leads:
        if lead.connector is not None and (pair := _lamp_and_sender(wiring, lead.uses)):
            lamp, sender = pair
            yield Problem(
                lead.line, lead.place, f"{lamp} and {sender} share a pin: {MOVES}; give each its own"
            )
        if lead.connector is not None and (pair := _ground_and_sender(wiring, lead.uses)):
            ground, sender = pair
            what = f"{ground} and {sender} share a pin: the box's own current would move the reading, and flow where the sender is; give each its own"
            yield Problem(lead.line, lead.place, what)
    for one in wiring.carried:
        if pair := _lamp_and_sender(wiring, one.uses):
            lamp, sender = pair
            what = f"{lamp} and {sender} are in one cable; a lamp's return goes apart from a sender's"
            yield _at(one.cable, "carries", what)
    through = [one for one in wiring.carried if one.cable.airframe]
    lit = [one for one in through if any(_is_lamp(wiring, use) for use in one.uses)]
    for one in through:
        measured = next((use for use in one.uses if wiring.kind(use) == "input"), None)
        if measured is not None and lit:
            what = (
                f"{measured.thing} and the lamp of cable {lit[0].cable.name} both come back through the airframe: {MOVES};"
                " give one of them a wire back"
            )
            yield _at(one.cable, "return", what)


def _lamp_and_sender(wiring: Wiring, uses: tuple[Use, ...]) -> tuple[str, str] | None:
    """A lamp's return and a sender's, where both are among those."""
    lamp = [use for use in uses if use.thing == LAMP_GROUND or use.part == "minus" and _is_lamp(wiring, use)]
    sender = [use for use in uses if use.part == RETURN and wiring.kind(use) == "input"]
    return (lamp[0].text, sender[0].text) if lamp and sender else None


def _ground_and_sender(wiring: Wiring, uses: tuple[Use, ...]) -> tuple[str, str] | None:
    """What carries the box's own current home, and a sender's return, where both are among those; a voltage that is measured is no sender."""
    ground = [use for use in uses if use.thing in (GROUND, DIM_REQUEST, BUS_OUTPUT)]
    sender = [
        use
        for use in uses
        if use.part == RETURN and (one := wiring.box.input(use.thing)) is not None and one.unit != "V"
    ]
    return (ground[0].text, sender[0].text) if ground and sender else None


def _is_lamp(wiring: Wiring, use: Use) -> bool:
    return use.part in LAMP_PARTS and wiring.kind(use) == "lamp"


def _wires(wiring: Wiring) -> Iterator[Problem]:
    """Each wire against its fuse, its current and its contact."""
    for lead in wiring.leads:
        cable = lead.cable
        if cable is None:
            continue
        fuse, most = fuse_of(lead, wiring), wires.largest_fuse(cable.gauge)
        if fuse is not None and fuse > most:
            thick = wires.thinnest(fuse)
            or_thicker = "" if thick is None else f", or AWG {thick}"
            what = f"a fuse of {fuse:g} A would let AWG {cable.gauge} burn; {most:g} A at most{or_thicker}"
            yield _at(cable, "gauge" if fuse != cable.fuse else "fuse", what)
        taken = amperes(lead, wiring)
        if taken is not None and taken > most:
            what = f"{lead.text} may take {taken:.2g} A, and AWG {cable.gauge} {most:g} A at most"
            would_do = (
                f"none up to AWG {min(wires.GAUGES)} does"
                if (thick := wires.thinnest(taken)) is None
                else f"AWG {thick} would do"
            )
            yield _at(cable, "gauge", f"{what}; {would_do}")
        if lead.connector is not None and lead.connector.shape.is_dsub:
            if cable.gauge < DSUB_GAUGE:
                what = f"AWG {cable.gauge} does not go into the contacts of {lead.connector.name}; a D-sub takes AWG {DSUB_GAUGE} to 24"
                yield _at(cable, "gauge", what)
            if taken is not None and taken > DSUB_AMPERES:
                what = (
                    f"{lead.text} may take {taken:.2g} A, and a contact of a D-sub {DSUB_AMPERES:g} A at most"
                )
                yield Problem(lead.line, lead.place, what)


def cables_of(lamp: Lamp, wiring: Wiring) -> dict[str, Cable]:
    """Part of the lamp: the cable that it runs in."""
    return {
        use.part: lead.cable
        for lead in wiring.leads
        for use in lead.uses
        if use.thing == lamp.name and lead.cable is not None
    }


def run_ohms(lamp: Lamp, wiring: Wiring) -> float | None:
    """Of a lamp's whole run, from its fuse and back to its ground, at 20 degC; None where a cable of it is not stated."""
    by_part = cables_of(lamp, wiring)
    conductors = [by_part[part] for part in ("feed", "plus", "minus") if part in by_part]
    if "minus" not in by_part or "plus" not in by_part and not by_part["minus"].airframe:
        return None
    conductors += [lead.cable for lead in wiring.leads if Use(LAMP_GROUND) in lead.uses and lead.cable][:1]
    return sum(wires.Wire(cable.gauge, float(cable.length), True).ohms() for cable in conductors)


def _lamp_runs(wiring: Wiring) -> Iterator[Problem]:
    """What a lamp's own table says of its wire, and what is lost in its cables."""
    supply = float(wiring.box.supply)
    for lamp in wiring.box.lights.lamps:
        cable = cables_of(lamp, wiring).get("minus")
        if cable is None:
            continue
        if (wire := lamp.wire) is not None:
            of = f"the wire of {lamp.name} (line {lamp.line})"
            if wire.gauge != cable.gauge:
                what = f"AWG {cable.gauge}, but {of} is AWG {wire.gauge}; make them the same"
                yield _at(cable, "gauge", what)
            if abs(wire.length - float(cable.length)) > 0.005:
                what = f"{float(cable.length):g} m, but {of} is {wire.length:g} m; make them the same"
                yield _at(cable, "length", what)
            if wire.airframe_return != cable.airframe:
                ways = "through the airframe", "by a wire"
                here, stated = ways if cable.airframe else ways[::-1]
                what = f"its current comes back {here}, but {of} says {stated}; make them the same"
                yield _at(cable, "return", what)
        ohms = run_ohms(lamp, wiring)
        if ohms is None or lamp.load is None:
            continue
        lost = loads.amperes(lamp.load, supply) * ohms
        if lost > wires.OWN_DROP * supply:
            most = wires.OWN_DROP * supply
            what = f"{lost:.2g} V are lost on the way to {lamp.name} and back, {most:.2g} V at most; a thicker or shorter wire"
            yield _at(cable, "gauge", what)


def notes_on_harness(box: Box) -> Iterator[tuple[str, str]]:
    """What is right as it stands, but should be known: of what, and the note."""
    wiring = wiring_of(box)
    if not wiring.harness.connectors:
        yield box.name, "no connectors are described; [connector.J1] and [[cable]] would give the wiring sheet and its checks"
        return
    for name, use in (("supply", Use(BUS)), ("ground", Use(GROUND))):
        if use not in wiring.on_pins:
            yield box.name, f'no pin is its {name}; write "{use.text}" where it comes in'
    bare = [lead.place for lead in wiring.leads if lead.wired and lead.cable is None]
    if bare:
        yield box.name, f"no cable is stated for {', '.join(bare)}"
    for connector, other in combinations(wiring.harness.connectors, 2):
        if _fits(connector, other):
            yield connector.name, f"the plug of {other.name} fits it too: mark both, or give the box the other half at one of them"
    for one in wiring.carried:
        yield from (
            (f"cable {one.cable.name}", note) for note in _notes_on_cable(wiring, one.cable, one.uses)
        )


def _notes_on_cable(wiring: Wiring, cable: Cable, uses: tuple[Use, ...]) -> Iterator[str]:
    if cable.gauge > wires.STURDY:
        yield f"AWG {cable.gauge} breaks where it is handled; AWG {wires.STURDY} lasts (common practice, no source)"
    mine = [lead for lead in wiring.leads if lead.cable is cable]
    unfused = [lead.text for lead in mine if _fed(wiring, lead) and fuse_of(lead, wiring) is None]
    if unfused:
        most = wires.largest_fuse(cable.gauge)
        yield f"no fuse is stated for {', '.join(unfused)}; AWG {cable.gauge} takes {most:g} A at most, at the bus end"
    for use in uses:
        if (rail := _rail_of(wiring, use)) is not None:
            yield f'{use.text}: from the regulator that "{rail.name}" measures, never from the bus, which would burn the sender'
    measured = next((use for use in uses if wiring.kind(use) == "input"), None)
    if cable.airframe and measured is not None:
        yield f"{measured.thing} comes back through the airframe, whose voltage drop adds to its signal; a wire back takes that out"
    inside = next((use for use in uses if use.thing in wiring.in_tank), None)
    if inside is not None and at_bus(inside, wiring.things):
        yield f"{inside.thing} goes into a fuel tank and is fed from the bus: a fault there puts all that its fuse passes into the tank"
    if inside is not None and not cable.bundle:
        yield f"{inside.thing} goes into a fuel tank; name the bundle it lies in, or nothing checks what lies beside it"


def _fed(wiring: Wiring, lead: Lead) -> bool:
    """It hangs on the bus."""
    return any(
        use == Use(BUS)
        or use.part in ("feed", "supply")
        and at_bus(use, wiring.things)
        and _rail_of(wiring, use) is None
        and not _between_supply_and_pull_down(wiring, use)
        for use in lead.uses
    )


def _between_supply_and_pull_down(wiring: Wiring, use: Use) -> bool:
    """A phototransistor and its like: its supply is the box's, behind a resistor."""
    one = wiring.box.input(use.thing)
    return one is not None and isinstance(one.circuit, Direct) and one.circuit.pull_down is not None


def _rail_of(wiring: Wiring, use: Use) -> Input | None:
    """The measured supply that a ratiometric sender lives on; None where the use is none of its supply."""
    one = wiring.box.input(use.thing)
    if one is None or use.part != "supply" or not isinstance(one.circuit, (Divider, Direct)):
        return None
    return wiring.box.rail_of(one)
