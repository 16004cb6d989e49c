"""`gaugelight calibrate BOX NAME` for what the box drives, and for the hand that sets it: a lamp's floor, a knob, a needle's marks."""

from __future__ import annotations

import argparse
import contextlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelight.box_line import BoxLine, Lost, NoAnswer
from gaugelight.boxfile import Box, box_of_text
from gaugelight.build import build
from gaugelight.calibration.box_file import difference
from gaugelight.calibration.hand import Gone, Hand, somebody
from gaugelight.calibration.knob_turned import turn_knob
from gaugelight.calibration.lamp_watched import watch_lamp
from gaugelight.calibration.needle_set import set_needle
from gaugelight.calibration.trial import GO_BACK, Found, Trial
from gaugelight.flash import refusal, stored
from gaugelight.lights import Knob, Lamp
from gaugelight.needles import Needle
from gaugelight.ports import the_port
from gaugelight.problems import Misuse, Wrong, WrongBoxFile, meant
from gaugelight.whole_file import read_text, write_whole

if TYPE_CHECKING:
    from gaugelight.cli import Screen

NOT_SAVED = "nothing was saved"

Output = Lamp | Knob | Needle
Say = Callable[[str], None]


def names(box: Box) -> list[str]:
    """Of all that can be calibrated here."""
    lamps = [lamp.name for lamp in box.lights.lamps]
    return [
        *lamps,
        *(f"knob on GP{knob.pin}" for knob in box.lights.knobs),
        *(one.name for one in box.face.needles),
    ]


def named(box: Box, name: str) -> Output | None:
    """A lamp, a needle, or a knob: "knob" where there is one, "knob on GP27", or the name of its lamp and "knob"."""
    if (lamp := box.lights.lamp(name)) is not None:
        return lamp
    for needle in box.face.needles:
        if needle.name == name:
            return needle
    knobs = box.lights.knobs
    if name == "knob" and len(knobs) == 1:
        return knobs[0]
    for knob in knobs:
        if name == f"knob on GP{knob.pin}":
            return knob
    lamp = box.lights.lamp(name.removesuffix(" knob"))
    return None if lamp is None or name == lamp.name else box.lights.knob_of(lamp)


def the_one(box: Box, name: str) -> Output:
    """As `named`. Raises Misuse with what is there, inputs too."""
    if (one := named(box, name)) is not None:
        return one
    there = meant(name, [*(one.name for one in box.inputs), *names(box)])
    raise Misuse(f'{box.file}: there is no input, lamp, knob or needle "{name}"; {there}')


def calibrate(words: argparse.Namespace, screen: Screen, box: Box, one: Output) -> dict[str, Any]:
    """`gaugelight calibrate BOX NAME`; what --json prints. Raises Wrong, Misuse."""
    for option, given in {
        "--session": words.session,
        "--new": words.new,
        "--parked": words.parked,
        "--from": words.from_file,
        "--dipstick": words.dipstick,
        "--plot": words.plot,
        "--anyway": words.anyway,
    }.items():
        if given:
            raise Misuse(f"{option} is for an input; {_name(one)} is none: leave it out")
    with somebody() as hand:
        said = calibrate_output(box, one, words.port, hand, screen.say, words.save or words.flash)
        agreed = False
        if said["saved"] and not words.flash:
            agreed = _agreed(hand, "flash it now?")
    said["flashed"] = False
    if words.flash or agreed:
        from gaugelight.cli import flash

        asks = argparse.Namespace(box=words.box, port=words.port, yes=words.yes or agreed, look=False)
        said["flashed"], _ = flash(asks, screen)
    elif said["saved"]:
        screen.say(f"the box knows it after `gaugelight flash {words.box}`")
    return said


def calibrate_output(
    box: Box, one: Output, port: str | None, hand: Hand, say: Say, save: bool = False
) -> dict[str, Any]:
    """On the box, into the box file. say: is told what came of it; save: without being asked. Raises Wrong, Misuse; then nothing is saved."""
    path = Path(box.file)
    if not os.access(path, os.W_OK):
        raise Misuse(f"{path}: cannot be written, and what is found shall stand there")
    with _nothing_saved():
        with BoxLine(the_port(port)) as line:
            found = _find(box, one, line, hand)
        return _finish(path, found, hand, say, save)


def _find(box: Box, one: Output, line: BoxLine, hand: Hand) -> Found:
    hello = line.hello_settled()
    if refused := refusal(line, hello):
        raise Wrong(f"{line.port}: the box refused: {refused}")
    table = stored(line, hello)
    if table is None:
        raise Wrong(f"{line.port}: the box runs without its table: `gaugelight flash {box.file}` first")
    trial = Trial(line, table, hand)
    try:
        if isinstance(one, Knob):
            return turn_knob(trial, box, one)
        if isinstance(one, Lamp):
            return watch_lamp(trial, box, one)
        return set_needle(trial, box, one)
    except ValueError as problem:
        raise Wrong(f"{_name(one)}: {problem}") from None


def _name(one: Output) -> str:
    return f"knob on GP{one.pin}" if isinstance(one, Knob) else one.name


@contextlib.contextmanager
def _nothing_saved() -> Iterator[None]:
    """However it is ended: said in words, and that all is as it was."""
    try:
        yield
    except KeyboardInterrupt:
        raise Wrong(f"stopped; {NOT_SAVED}; {GO_BACK}") from None
    except (Lost, NoAnswer) as problem:
        raise Wrong(f"{problem.lines[0].split(';')[0]}; {NOT_SAVED}; {GO_BACK}") from None
    except Misuse:
        raise
    except Wrong as wrong:
        if NOT_SAVED in str(wrong):
            raise
        raise Wrong(*wrong.lines[:-1], f"{wrong.lines[-1]}; {NOT_SAVED}") from None


def _finish(path: Path, found: Found, hand: Hand, say: Say, save: bool) -> dict[str, Any]:
    """Says what was found, shows what will be different, asks and saves."""
    old = read_text(path)
    new = found.edit(old, box_of_text(str(path), old.removeprefix("\ufeff")))
    try:
        build(box_of_text(str(path), new.removeprefix("\ufeff")))
    except WrongBoxFile as wrong:
        raise Wrong(f"{path}: {NOT_SAVED}: it would not be right any more", *wrong.lines) from None
    changes = difference(str(path), old, new)
    for line in (*found.says, *changes):
        say(line)
    said = {
        "file": str(path),
        **found.values,
        "says": list(found.says),
        "difference": changes,
        "saved": False,
    }
    if not changes:
        say(f"{path}: says so already")
    elif not save and not _agreed(hand, f"save it in {path}?"):
        say(f"{path}: not saved")
    elif read_text(path) != old:
        raise Wrong(f"{path}: was changed meanwhile; {NOT_SAVED}: give the same command again")
    else:
        write_whole(path, new)
        say(f"{path}: saved")
        said["saved"] = True
    return said


def _agreed(hand: Hand, question: str) -> bool:
    """Whoever is not there any more has not."""
    try:
        return hand.ask(f"{question} [y/N]", keys="yn").lower() in ("y", "yes")
    except Gone:
        return False
