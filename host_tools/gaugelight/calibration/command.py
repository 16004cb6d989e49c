"""`gaugelight calibrate`: guided or from a file; shown, and then, where it is wanted, saved and flashed."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gaugebox.table import Table
from gaugelight.boxfile import Box, Input, read_box
from gaugelight.build import build
from gaugelight.calibration import box_file, dipstick, outputs, plot, results, session as files
from gaugelight.calibration.answers import Answers, Piped, Typed
from gaugelight.calibration.results import Corrected, Result
from gaugelight.calibration.session import LEVEL, PARKED, REFERENCE, TANK, Session
from gaugelight.changes import changes
from gaugelight.cli import Outcome, Screen
from gaugelight.problems import Misuse, Wrong
from gaugelight.whole_file import read_text, write_whole

MOST_ROWS = 25
CHECK = "Check against the dipstick before flight."


def calibrate(words: argparse.Namespace, screen: Screen) -> Outcome:
    path = Path(words.box)
    box = read_box(path)
    if box.input(words.input) is None:
        return outputs.calibrate(words, screen, box, outputs.the_one(box, words.input)), 0
    one = results.input_of(box, words.input)
    for picture in filter(None, (words.dipstick, words.plot)):
        _writable(Path(picture), (".svg", ".png") if picture == words.dipstick else (".png", ".svg", ".pdf"))
    if words.parked and results.kind_of(one) != TANK:
        raise Misuse(f"--parked is for a tank; {one.name} is in {one.unit}")
    if words.from_file is not None:
        if words.session or words.new:
            raise Misuse(
                "--from reads a session that is there; --session and --new are for the guide: leave them out"
            )
        session: Session | None = files.read_session(Path(words.from_file))
        finished = True
    else:
        session, finished = _guided(words, screen, box, one, path)
    if session is None or not finished:
        said = (
            "nothing was begun"
            if session is None
            else f"{len(session.points)} points are safe in {session.file}; the same command goes on"
        )
        screen.say(said)
        return {"input": one.name, "session": None if session is None else session.file, "finished": False}, 0
    if session.input != one.name:
        raise Misuse(f'{session.file}: is of "{session.input}", not of "{one.name}"; name that input')
    if words.parked and not session.parked:
        raise Misuse(
            f'{session.file}: is of attitude "{session.attitude}"; write attitude = "{PARKED}" in it, or leave --parked out'
        )
    result = results.evaluate(session, box)
    _show(screen, result)
    said_of = _in_json(result) | {"finished": True}
    other = _other_attitude(screen, session, box, one, path)
    parked, level = (result, other) if session.parked else (other, result)
    corrected: tuple[Corrected, ...] = ()
    if parked is not None and level is not None:
        corrected = results.parked_correction(parked, level)
        _show_corrected(screen, one, corrected)
        said_of["parked"] = [vars(row) for row in corrected]
    elif session.parked:
        screen.say(
            f"  what the gauge shows on the ground needs the level session too: {_file_of(path, one, LEVEL)}"
        )
    said_of["picture"] = _picture(words, screen, result) if words.plot or not words.json else None
    said_of["dipstick"] = _dipstick(words, screen, box, result, parked, corrected)
    if session.parked:
        screen.say(
            "  a parked session is for the dipstick and the correction; the face goes by the level one"
        )
        return said_of | {"saved": False}, 0
    said_of |= _saved(words, screen, box, path, result)
    wanted = words.save or words.flash
    return said_of, int(wanted and bool(said_of["difference"]) and not said_of["saved"])


def _file_of(box_file: Path, one: Input, kind: str) -> Path:
    return box_file.parent / f"{one.name.replace('/', '_')}.{kind}.toml"


def _guided(
    words: argparse.Namespace, screen: Screen, box: Box, one: Input, path: Path
) -> tuple[Session | None, bool]:
    from gaugelight.box_line import BoxLine, Lost
    from gaugelight.calibration import guide
    from gaugelight.ports import the_port

    kind = REFERENCE if results.kind_of(one) == REFERENCE else PARKED if words.parked else LEVEL
    file = Path(words.session) if words.session else _file_of(path, one, kind)
    if words.new and file.exists():
        raise Misuse(
            f"{file}: is there already, and is not written over; move it away, or name another with --session"
        )
    if file.exists():
        guide.check_goes_on(files.read_session(file), box, one, PARKED if words.parked else LEVEL)
    elif not os.access(file.parent, os.W_OK):
        raise Misuse(f"{file}: cannot be written there; name a file in a folder of yours with --session")
    try:
        with BoxLine(the_port(words.port)) as line, _screen(screen) as (answers, view):
            return guide.guide(box, one, file, words.parked, line, answers, view)
    except Lost as lost:
        raise Wrong(
            f"{lost}; every point that was taken is safe in {file}; the same command goes on"
        ) from None


@contextlib.contextmanager
def _screen(screen: Screen) -> Iterator[tuple[Answers, Any]]:
    from rich.console import Console
    from rich.live import Live

    from gaugelight.calibration.view import LinesView, TerminalView
    from gaugelight.live import Keys, can_draw

    if screen.console.quiet or not can_draw():
        yield Piped(), LinesView(screen.say)
        return
    console = Console(highlight=False)
    with Keys() as keys, Live(console=console, screen=True, auto_refresh=False) as live:
        yield Typed(keys), TerminalView(live)


def _other_attitude(screen: Screen, session: Session, box: Box, one: Input, path: Path) -> Result | None:
    """The session of the same tank in the other attitude, where it stands beside the box file or is named in it, and can be evaluated."""
    if session.kind != TANK:
        return None
    file = _file_of(path, one, LEVEL if session.parked else PARKED)
    if session.parked and one.calibrated is not None:
        file = path.parent / one.calibrated.session
    if not file.exists():
        return None
    try:
        other = files.read_session(file)
        if other.input == one.name and other.parked != session.parked:
            return results.evaluate(other, box)
    except Wrong as wrong:
        screen.say(f"  the session in the other attitude is not used: {wrong.lines[0]}")
    return None


# -- what is shown


def _show(screen: Screen, result: Result) -> None:
    one, unit = result.input, result.input.bare_unit
    of_tank = result.session.kind == TANK
    rows = [
        [
            str(number),
            *([f"{point.added:+.4g}"] if of_tank else []),
            f"{point.true:.5g}",
            _two(results.K * point.true_u),
            f"{point.signal:.5g} {one.circuit.unit}",
            "" if point.spread is None else _two(point.spread),
            f"{point.residual:+.2g}",
        ]
        for number, point in enumerate(result.points, 1)
    ]
    heads = [
        ">point",
        *([">added"] if of_tank else []),
        ">in all" if of_tank else ">reference",
        ">+-",
        ">signal",
        ">spread",
        ">less curve",
    ]
    attitude = f", {result.session.attitude} attitude" if of_tank else ""
    screen.table(f"{one.name}, {one.unit}{attitude}: the points", heads, rows)
    listed = result.listed or tuple(zip(result.fit.signals, result.fit.readings, result.fit.plus_minus))
    screen.table(
        "the curve's breakpoints",
        [">signal", ">reading", ">+- at 95 %"],
        [[f"{s:.5g} {one.circuit.unit}", f"{r:.5g} {unit}", _two(off)] for s, r, off in listed],
    )
    if result.face:
        every = -(-len(result.face) // MOST_ROWS)
        screen.table(
            "what the face will show, the box's own errors and its rounding included",
            [">shows", ">+- at 95 %"],
            [
                [f"{row.reading:g} {unit}", _two(row.plus_minus)]
                for k, row in enumerate(result.face)
                if k % every == 0 or k == len(result.face) - 1  # its top, too, where a float may lie
            ],
        )
    for note in result.notes:
        screen.say(f"  {note}")


def _show_corrected(screen: Screen, one: Input, corrected: tuple[Corrected, ...]) -> None:
    screen.table(
        f"{one.name}, parked: what is there, and what the gauge shows on the ground (it goes by the level attitude)",
        [">there", ">shows", ">less", ">+- at 95 %"],
        [
            [
                f"{row.there:g} {one.bare_unit}",
                f"{row.shown:.4g}",
                f"{row.shown - row.there:+.2g}",
                _two(row.plus_minus),
            ]
            for row in corrected
        ],
    )


def _two(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def _in_json(result: Result) -> dict[str, Any]:
    return {
        "input": result.input.name,
        "unit": result.input.unit,
        "signal_unit": result.input.circuit.unit,
        "session": result.session.file,
        "attitude": result.session.attitude if result.session.kind == TANK else None,
        "points": [vars(point) for point in result.points],
        "curve": [
            {"signal": s, "reading": r, "plus_minus": off}
            for s, r, off in result.listed
            or zip(result.fit.signals, result.fit.readings, result.fit.plus_minus)
        ],
        "face": [vars(row) for row in result.face],
        "hysteresis": result.hysteresis,
        "bottom": result.bottom,
        "top": result.top,
        "contradicts": result.contradicts,
        "notes": list(result.notes),
    }


def _writable(path: Path, kinds: tuple[str, ...]) -> None:
    if path.suffix not in kinds or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise Misuse(
            f"{path}: no picture can be written there; name a {', '.join(kinds)} in a folder of yours"
        )


def _picture(words: argparse.Namespace, screen: Screen, result: Result) -> str | None:
    path = Path(words.plot or plot.name_of_picture(result.session.file))
    try:
        plot.draw(result, path)
    except ImportError:
        screen.say("  no picture: it needs the extra: pip install 'gaugelight[bench]'")
        return None
    except OSError as problem:
        screen.say(f"  no picture: {path}: cannot be written: {problem.strerror}; name another with --plot")
        return None
    screen.say(f"picture: {path}")
    return str(path)


def _dipstick(
    words: argparse.Namespace,
    screen: Screen,
    box: Box,
    result: Result,
    parked: Result | None,
    corrected: tuple[Corrected, ...],
) -> str | None:
    if words.dipstick is None:
        return None
    dipped = next(
        (
            each
            for each in (result, parked)
            if each is not None and any(p.dip is not None for p in each.points)
        ),
        result,
    )
    stick, path = dipstick.stick_of(box.name, dipped, corrected), Path(words.dipstick)
    try:
        sheet = dipstick.write(stick, path)
    except ImportError:
        raise Misuse("a .png needs the extra: pip install 'gaugelight[bench]'; or name a .svg") from None
    except OSError as problem:
        raise Misuse(f"{path}: cannot be written: {problem.strerror}") from None
    screen.say(
        f"dipstick: {path}, {sheet.width:.0f} by {sheet.height:.0f} mm; print it at 100 %, and measure its bar of 50 mm"
    )
    return str(path)


# -- what is saved


def _saved(words: argparse.Namespace, screen: Screen, box: Box, path: Path, result: Result) -> dict[str, Any]:
    old = read_text(path)
    calibrated = results.calibrated_of(result.session, path)
    new = box_file.with_points(old, result.input, result.listed, calibrated)
    built = box_file.proved(str(path), new, result.input.name, result.listed)
    lines = box_file.difference(str(path), old, new)
    told = changes(Table(build(box).image), Table(built.image))
    for line in lines:
        screen.say(line)
    if not lines:
        screen.say(f"{path}: says so already")
    for change in told:
        screen.say(f"  {change}")
    said: dict[str, Any] = {"difference": lines, "changes": told, "saved": False, "flashed": False}
    doubt = None if words.anyway else result.contradicts
    if lines:
        question = f"save it in {path}?" if doubt is None else f"{doubt}\nsave it in {path} all the same?"
        if not ((words.save or words.flash) and doubt is None or _asked(words, screen, question)):
            cure = "write --save to save it" if doubt is None else f"{doubt}; or write --save --anyway"
            screen.say(f"{path}: not saved" + ("" if _somebody() else f"; {cure}"))
            return said
        if read_text(path) != old:
            raise Wrong(f"{path}: was changed meanwhile; not saved: give the same command again")
        write_whole(path, new)
        screen.say(f"{path}: saved")
        said["saved"] = True
    at_hand = words.port or words.from_file is None
    agreed = not words.flash and bool(lines) and at_hand and _asked(words, screen, "flash it now?")
    if words.flash or agreed:
        from gaugelight.cli import flash

        asks = argparse.Namespace(box=words.box, port=words.port, yes=words.yes or agreed, look=False)
        flashed, _ = flash(asks, screen)
        said["flashed"] = flashed
    elif lines:
        screen.say(f"the box knows it after `gaugelight flash {path}`. {CHECK}")
    return said


def _somebody() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _asked(words: argparse.Namespace, screen: Screen, question: str) -> bool:
    if screen.console.quiet or not _somebody():
        return False
    print(f"{question} [y/N] ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")
