"""`gaugelight choose`: what a sender needs between itself and the converter, why, and the lines and the drawing of it."""

from __future__ import annotations

import argparse
import math
import os
import sys
from pathlib import Path
from typing import Any

from gaugelight.boxfile import PRESSURE_UNITS, Box, box_of_text, read_box
from gaugelight.build import build
from gaugelight.choosing import (
    altitude,
    grounds,
    reasons,
    stand_in,
    supplies,
    tank_energy,
    tank_file,
)
from gaugelight.choosing.asked import ADS1115, CONVERTERS, EITHER, ON_CHIP, Asked, asked_bus, asked_of, bus_of
from gaugelight.choosing.candidates import Candidate, Choice, choose as choose_circuit
from gaugelight.choosing.circuit_drawn import Ends, draw
from gaugelight.choosing.guide import command, guide
from gaugelight.choosing.input_block import Place, names_in, new_places, places_in
from gaugelight.circuits import PullUp, Shunt
from gaugelight.cli import ADVISORY, Outcome, Screen
from gaugelight.problems import Misuse, Wrong, WrongBoxFile
from gaugelight.whole_file import read_text, write_whole

OPTIONS = (
    "sender", "points", "unit", "range", "pressure", "step", "damping", "sender_tolerance", "name", "tank", "converter",
    "matters", "rail", "feed", "ratiometric", "tolerance", "series_of", "protection", "wire", "gauge", "airframe",
    "loop_wires", "transmitter", "loop_drop", "bus", "battery", "crank", "altitude", "dissipation", "service",
)  # fmt: skip
NEEDED = ("sender", "unit", "range")  # to ask for nothing
MOST_SHOWN = 40
BENCH_VOLTS = 12.0  # of a bench supply for stand-ins


def choose(words: argparse.Namespace, screen: Screen) -> Outcome:
    given = {key: getattr(words, key) for key in OPTIONS}
    if not 1 <= words.best <= MOST_SHOWN:
        raise Misuse(f"--best {words.best}: 1 to {MOST_SHOWN} can be shown")
    picture = _drawing(words.output)
    floats = None
    if words.two_floats is not None:
        floats = _two_floats(Path(words.two_floats))
        given |= {"series": floats.lists, "unit": given["unit"] or floats.found.unit, "tank": True}
        if given["unit"] != floats.found.unit:
            raise Misuse(f"--unit {given['unit']}: {words.two_floats} reckons in {floats.found.unit}")
        _show_floats(screen, floats)
    box = None if words.into is None else read_box(Path(words.into), begun=True)
    if box is not None and given["bus"] is None:
        given["bus"] = f"{bus_of(float(box.supply)):g} V"
    elif box is not None and asked_bus(given["bus"]) != (theirs := bus_of(float(box.supply))):
        raise Misuse(
            f"--bus {given['bus']}: {words.into} has a bus of {theirs:g} V; leave --bus out, or mend its supply"
        )
    typed = dict(given)
    given = _answers(given, screen, box)
    guided = given != typed
    only = None
    if given.get("converter") not in (None, *CONVERTERS):
        only = given["converter"]
        if box is None:
            raise Misuse(
                f'--converter "{only}": write {", ".join(CONVERTERS)}; a converter\'s own name goes with --into BOX'
            )
        given["converter"] = ADS1115
    once = command({key: given.get(key) for key in OPTIONS} | {"two_floats": words.two_floats})
    try:
        asked = asked_of(given)
        places = _places(asked, box, only)
        with screen.progress("looking at circuits") as told:
            choice = choose_circuit(asked, places, words.best, told)
    except (Misuse, Wrong):
        if guided:
            screen.say(f"your answers as one command, to mend what is wrong in it:\n{once}")
        raise
    said = _in_json(choice)
    _show(screen, choice)
    best = choice.best
    if best is None:
        helps = reasons.what_would_help(choice, places)
        for line in helps:
            screen.say(f"  what would help: {line}")
        screen.say(ADVISORY)
        return said | {"helps": helps, "advisory": ADVISORY}, 1
    extras = _extras(best)
    for topic, lines in extras.items():
        screen.say(topic)
        for line in lines:
            screen.say(f"  {line}")
    said |= {"extras": extras}
    if words.stand_in:
        said["stand_ins"] = _stand_ins(screen, best, words.bench)
    if floats is not None:
        said["two_floats"] = floats.said
    screen.say("")
    for line in best.block.text.rstrip("\n").split("\n"):
        screen.say(line)
    if picture is not None:
        write_whole(picture, _svg(best))
        screen.say(f"\ndrawing: {picture}")
        said["drawing"] = str(picture)
    said["written"] = False
    if guided:
        screen.say(f"\nthe same without questions:\n{once}")
        if words.into is None:
            screen.say(
                "with --into hull.toml behind it, on free pins of your box file; with --stand-in -o circuit.svg, resistors for the bench and a drawing"
            )
    code = 0
    if words.into is not None:
        into, code = _into(words, screen, Path(words.into), best)
        said |= into
    screen.say(ADVISORY)
    return said | {"advisory": ADVISORY}, code


def _answers(given: dict[str, Any], screen: Screen, box: Box | None) -> dict[str, Any]:
    """Those given; on a terminal, with some missing, the others asked for."""
    there = given.get("points") or given.get("series")
    missing = [key for key in NEEDED if given.get(key) is None and not (there and key != "unit")]
    if given.get("unit") in ("V", "mA", "ohm") and missing == ["sender"]:
        missing = []
    if not missing or screen.console.quiet or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return given
    screen.say("A return takes what stands in brackets; Ctrl-C ends it, and nothing is written.")
    return guide(given, _typed, screen.say, () if box is None else names_in(box))


def _typed(question: str) -> str:
    print(question, end="", file=sys.stderr, flush=True)
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line.rstrip("\n")


def _drawing(word: str | None) -> Path | None:
    if word is None:
        return None
    path = Path(word)
    if path.suffix != ".svg" or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise Misuse(f"{path}: no drawing can be written there; name a .svg in a folder of yours")
    return path


def _places(asked: Asked, box: Box | None, only: str | None) -> tuple[Place, ...]:
    kinds = [kind for kind in (ADS1115, ON_CHIP) if asked.converter in (kind, EITHER)]
    if box is None:
        return new_places(kinds, asked.bus)
    return places_in(box, kinds, only)


# -- what is shown


def _show(screen: Screen, choice: Choice) -> None:
    asked = choice.asked
    if choice.found:
        unit = choice.found[0].input.unit
        screen.say(f"{asked.name}, {unit}: at {asked.matters:.4g}, the best first")
        numbered = list(enumerate(choice.found, 1))
        for number, each in numbered:
            screen.say(f"  {number}  {reasons.name_of(each)}")
        screen.table("", reasons.HEADS, [reasons.row(number, each) for number, each in numbered], wrap=True)
        screen.say(f"  {reasons.MEANT}")
        screen.say(f"  {reasons.RANKED}")
    for line in reasons.refused_lines(choice):
        screen.say(f"  {line}")
    best = choice.best
    if best is None:
        screen.say(f"no circuit for {asked.name} that may be built")
        for why in dict.fromkeys(why for one in choice.found for why in one.against):
            screen.say(f"  {why}")
    else:
        screen.say("")
        screen.facts("why the first of them", reasons.facts(best))
    if asked.tank:
        one = best or (choice.found[0] if choice.found else None)
        if one is not None and one.tank:
            heads = ["case", ">mA", ">most", ">uJ", ">most", ""]
            screen.table("", heads, reasons.tank_rows(one), wrap=True)
            screen.say(f"  {reasons.tank_held_against(one)}")
        screen.say(f"CAUTION: {reasons.tank_statement(one) if one else tank_energy.chafed(None, asked.bus)}")


def _extras(best: Candidate) -> dict[str, list[str]]:
    """What else is to be known: grounds, and what the rail is compared with."""
    found: dict[str, list[str]] = {}
    asked, chain, law, unit = best.asked, best.chain, best.input.law, best.input.unit
    if not isinstance(best.circuit, Shunt):
        back = grounds.return_wire(asked.wire, asked.wire_stated)
        offs = grounds.offs(chain, law, (asked.matters,), asked.ground_offset, back)
        below = grounds.offs(chain, law, (asked.matters,), -asked.ground_offset, back)
        found["grounds"] = [
            *grounds.said(chain, asked.ground_offset, offs, unit, back),
            *grounds.said_below(asked.ground_offset, below, unit),
        ]
    if best.circuit.rail is not None:
        # a pull-up's rail stays in the box, a sender's supply goes out to it
        lost = 0.0 if isinstance(best.circuit, PullUp) else grounds.SENDER_MA / 1000 * asked.wire.ohms()
        ways = supplies.ways(chain, law, (asked.matters,), lost=lost)
        found["what it is compared with"] = list(supplies.said(ways, (asked.matters,), unit))
    if asked.unit in PRESSURE_UNITS:
        low, high = law.span
        advice = (
            altitude.advise(asked.service, high - low, asked.unit, asked.altitude_ft)
            if asked.service
            else None
        )
        found["gauge, sealed or absolute"] = [
            *(() if advice is None else altitude.said(advice)),
            "off by so much where the pressure above the air around is wanted (ISO 2533):",
            *altitude.table(asked.unit),
        ]
    return found


def _two_floats(path: Path) -> tank_file.Floats:
    if not path.exists():
        raise Misuse(f"{path}: is not there; such a file reads:", *(tank_file.__doc__ or "").splitlines()[2:])
    return tank_file.read_tank(path)


def _show_floats(screen: Screen, floats: tank_file.Floats) -> None:
    screen.say("two floats in one tank")
    for line in floats.said:
        screen.say(f"  {line}")


def _stand_ins(screen: Screen, best: Candidate, bench: str | None) -> list[dict[str, Any]]:
    from gaugelight.box_values import positive_quantity

    try:
        volts = BENCH_VOLTS if bench is None else float(positive_quantity("V")(bench))
        marks = stand_in.marks_of(best.input.law, best.input.markings, best.asked.in_fuel_units)
        found = stand_in.stand_ins(best.chain, best.input.law, marks, best.asked.series_of, volts)
    except ValueError as problem:
        raise Misuse(f"--stand-in: {problem}; --bench '24 V' names another bench supply") from None
    screen.say("stand-ins: resistors at the box's connector in the place of the sender")
    for line in stand_in.lines(found, best.input.unit, best.circuit.unit):
        screen.say(f"  {line}")
    for line in stand_in.cautions(best.chain, best.asked.tank):
        screen.say(f"CAUTION: {line}")
    return [
        {
            "mark": one.mark.name,
            "reading": one.mark.reading,
            "wanted": one.wanted,
            "values": list(one.best.values),
            "how": one.best.how,
            "off": one.best.off,
            "watts": one.best.watts,
        }
        for one in found
    ]


def _svg(best: Candidate) -> str:
    asked = best.asked
    sender = asked.sender if isinstance(asked.sender, str) else asked.name
    ends = Ends(
        asked.name,
        sender,
        reasons.pin_words(best),
        ("signal",) if asked.wire.airframe_return else ("signal", "return"),
        f"AWG {asked.wire.gauge}, {asked.wire.length:g} m" if asked.wire_stated else "",
        tank=asked.tank,
        quartet=best.quartet,
        loop_wires=asked.loop_wires,
    )
    return draw(best.circuit, best.converter, ends, best.chain.supply, tank_energy.bus_high(asked))


# -- what is written


def with_block(text: str, best: Candidate) -> str:
    """A box file's text with the input behind its last table, and before it the converter and the rail it needs."""
    newline = "\r\n" if "\r\n" in text else "\n"
    added = "\n".join(filter(None, (best.place.new, best.block.text)))
    return text.rstrip() + newline + ("\n" + added.lstrip("\n")).replace("\n", newline)


def _into(
    words: argparse.Namespace, screen: Screen, path: Path, best: Candidate
) -> tuple[dict[str, Any], int]:
    """What was written; as `flash`, 2 where nobody is there to be asked, 1 where the answer is no."""
    old = read_text(path)
    new = with_block(old, best)
    try:
        built = build(box_of_text(str(path), new.removeprefix("\ufeff")))
    except WrongBoxFile as wrong:
        named = any("the name stands" in line for line in wrong.lines)
        cure = "; --name gives it another name" if named else ""
        what = f"{path}: not written: with these lines it would not be right{cure}"
        raise Wrong(*wrong.lines, what) from None
    added = new[len(old.rstrip()) :].strip().splitlines()
    screen.say(
        f"\n{path}: {len(added)} lines would be added at its end, those above"
        if not best.place.new
        else f"\n{path}: would get:"
    )
    if best.place.new:
        for line in added:
            screen.say(f"+ {line}")
    said = {"box": str(path), "crc32": f"{built.crc32:08x}", "added": added}
    if not (words.yes or _asked(words, f"add them to {path}?")):
        if words.json or not _somebody():
            why = f"{path}: not written: nobody is there to be asked; write --yes to add them"
            return said | {"written": False, "error": [why]}, 2
        return said | {"written": False, "error": [f"{path}: not written"]}, 1
    if read_text(path) != old:
        raise Wrong(f"{path}: was changed meanwhile; not written: give the same command again")
    write_whole(path, new)
    screen.say(
        f"{path}: written; now: gaugelight check {path}, and its pins in the plug: gaugelight wiring {path}"
    )
    return said | {"written": True}, 0


def _somebody() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _asked(words: argparse.Namespace, question: str) -> bool:
    if words.json or not _somebody():
        return False
    print(f"{question} [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


# -- for programs


def _in_json(choice: Choice) -> dict[str, Any]:
    return {
        "asked": {key: value for key, value in vars(choice.asked).items() if key != "wire"}
        | {"wire_ohms": choice.asked.wire.ohms(), "wire_henries": choice.asked.wire.henries},
        "looked_at": choice.looked_at,
        "refused": [
            {"count": one.count, "circuit": reasons.circuit_words(one.example), "why": one.why}
            for one in choice.refused
        ],
        "candidates": [_candidate(one) for one in choice.found],
        "statement": reasons.tank_statement(choice.found[0]) if choice.asked.tank and choice.found else None,
    }


def _candidate(one: Candidate) -> dict[str, Any]:
    from gaugelight.choosing.input_block import circuit_values

    return {
        "circuit": circuit_values(one.circuit),
        "words": reasons.circuit_words(one.circuit, one.quartet),
        "four_as_one": one.quartet,
        "pin": reasons.pin_words(one),
        "full_scale": one.converter.full_scale,
        "resolution": one.resolution,
        "plus_minus": one.error,
        "worst": {"reading": one.worst.reading, "plus_minus": one.worst.plus_minus},
        "warmed": one.warmed,
        "grounds": one.shifted,
        "sender_watts": one.self_heating,
        "part_watts": dict(one.part_heating),
        "milliamperes": one.current,
        "failed_milliamperes": _finite(one.failed_current) if one.tank else None,
        "tank": [
            {
                "case": case.name,
                "milliamperes": _finite(case.milliamperes),
                "microjoules": case.microjoules,
                "within": case.within,
            }
            for case in one.tank
        ],
        "loop": None if one.live is None else [vars(live) | {"lives": live.lives} for live in one.live],
        "faults": [{"fault": row.fault, "shows": row.shows, "told": row.told} for row in one.shown],
        "proven": one.solved.reading_error_max,
        "reasons": [list(fact) for fact in reasons.facts(one)],
        "against": list(one.against),
        "block": one.block.text,
    }


def _finite(value: float) -> float | None:
    """None for what has no bound: JSON has no infinity."""
    return value if math.isfinite(value) else None
