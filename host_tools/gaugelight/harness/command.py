"""`gaugelight wiring`: the sheet shown, checked and written."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelight.harness.harness_file import EARTH
from gaugelight.problems import Misuse, meant

if TYPE_CHECKING:
    from gaugelight.cli import Outcome, Screen
    from gaugelight.harness.cables import Wiring
    from gaugelight.harness.compass import Field
    from gaugelight.harness.sheet import Row

LEAST_SHOWN = 0.001  # uT: less is nought to any compass


def run(words: argparse.Namespace, screen: Screen) -> Outcome:
    """Exit 1 where the wiring is not right. Raises WrongBoxFile, Misuse."""
    from gaugelight.boxfile import read_box
    from gaugelight.harness.cables import wiring_of
    from gaugelight.harness.check_harness import notes_on_harness, problems_of_harness
    from gaugelight.harness.compass import fields_of, too_strong
    from gaugelight.harness.drawing import ADVISORY
    from gaugelight.harness.sheet import rows_of
    from gaugelight.whole_file import OLD_PAGE, old_pages

    target = None if words.output is None else _target(words.output)
    box = read_box(Path(words.box))
    wiring = wiring_of(box)
    connectors = {connector.name: connector for connector in wiring.harness.connectors}
    if words.connector is not None and words.connector not in connectors:
        raise Misuse(
            f"{box.file}: there is no connector {words.connector}; {meant(words.connector, connectors)}"
        )
    if target is not None and not connectors:
        raise Misuse(
            f"{box.file}: describes no connector, so there is no sheet to write; begin with [connector.J1]"
        )
    rows = [row for row in rows_of(wiring) if words.connector in (None, row.connector)]
    distance, horizontal = _compass(words.compass, wiring)
    fields = [] if distance is None else fields_of(wiring, float(distance))
    problems = problems_of_harness(box)
    problems += [] if distance is None else too_strong(wiring, fields, float(horizontal) * 1e-6)
    wrong = [problem.text(box.file) for problem in problems]
    notes = [f"{what}: {note}" for what, note in notes_on_harness(box)]
    told = [] if distance is None else compass_words(fields, distance, horizontal)
    files = [] if target is None else _write(target, wiring, rows, wrong, notes, told)
    _show(screen, wiring, rows, told, notes)
    for file in files:
        screen.say(f"{file}: written")
    old = [] if target is None else old_pages(target, len(files))
    for page in old:
        screen.say(OLD_PAGE.format(page))
    screen.say(ADVISORY)
    said: dict[str, Any] = {
        "box": box.name,
        "connectors": [
            {"name": one.name, "kind": one.shape.kind, "box": one.box, "harness": one.harness}
            for one in connectors.values()
        ],
        "rows": [vars(row) for row in rows],
        "compass": _compass_numbers(fields, distance, horizontal),
        "notes": notes,
        "problems": [vars(problem) for problem in problems],
        "files": files,
        "old_pages": [str(page) for page in old],
    }
    if wrong:
        said["error"] = wrong
    return said, 1 if wrong else 0


def _target(word: str) -> Path:
    path = Path(word)
    if path.suffix.lower() not in (".svg", ".csv") or path.is_dir() or not path.parent.is_dir():
        raise Misuse(f"{path}: no sheet can be written there; name a .svg or a .csv in a folder of yours")
    return path


def _compass(word: str | None, wiring: Wiring) -> tuple[Fraction | None, Fraction]:
    """Distance in m and horizontal field in uT; the option before the box file."""
    from gaugelight.harness.harness_file import distance_of

    stated = wiring.harness.compass
    horizontal = EARTH if stated is None else stated.horizontal
    if word is None:
        return (None if stated is None else stated.distance), horizontal
    try:
        return distance_of(word), horizontal
    except ValueError as problem:
        raise Misuse(f"--compass: {problem}") from None


def _show(
    screen: Screen, wiring: Wiring, rows: Sequence[Row], told: Sequence[str], notes: Sequence[str]
) -> None:
    from gaugelight.harness.drawing import TANK, in_letters, into_tank, wiring_side_words
    from gaugelight.harness.sheet import PAST_THE_BOX, cable_words

    heads = [">pin", "use", "goes to", ">AWG", ">m", "return", "cable", "bundle", ">A, most", ">fuse, A"]
    for connector in wiring.harness.connectors:
        mine = [row for row in rows if row.connector == connector.name]
        if mine:
            screen.say(f"{connector.name}: {connector.shape.kind}; {wiring_side_words(connector)}")
            for line in in_letters(connector, mine):
                screen.say(f"  {line}")
            screen.table("", heads, [_cells(row) for row in mine], wrap=True)
    if passing := [row for row in rows if not row.connector]:
        screen.table(PAST_THE_BOX, heads, [_cells(row) for row in passing], wrap=True)
    names = {row.cable for row in rows}
    for cable in wiring.harness.cables:
        if cable.name in names:
            screen.say(cable_words(cable))
    if any(row.mark in ("guard", "spare") for row in rows):
        screen.say(
            "[2] guard: grounded in the box, no wire; (2) spare: something in the box, no wire; . free"
        )
    if any(into_tank(connector, wiring) for connector in wiring.harness.connectors):
        screen.say(TANK)
    for line in [*told, *notes]:
        screen.say(f"  {line}")


def _cells(row: Row) -> list[str]:
    return [
        str(row.pin) if row.pin else "", row.use or row.mark, row.to, row.gauge, row.length, row.returns, row.cable, row.bundle,
        row.amperes, row.fuse,
    ]  # fmt: skip


def compass_words(fields: Sequence[Field], distance: Fraction, horizontal: Fraction) -> list[str]:
    """A line a run, and what all of them make together."""
    earth = float(horizontal) * 1e-6
    if not fields:
        return ["compass: no lamp has a load and a wire or cable stated, so nothing can be said"]
    lines = [
        f"{float(distance):g} m from the wiring, all lamps at full light, horizontal field {float(horizontal):g} uT;"
        " at most, wherever beside the run the compass lies and whichever way it points"
    ]
    for field in fields:
        ways = "; ".join(f"{way} {_turned(tesla, earth)}" for way, tesla in field.tesla.items())
        laid = "how it is laid is not stated" if field.run.way is None else f"laid as {field.run.way}"
        lines.append(
            f"{field.run.name}, {field.run.amperes:.2g} A over {field.run.length:g} m: {ways}; {laid}"
        )
    total = sum(field.as_laid or 0.0 for field in fields)
    known = [field for field in fields if field.as_laid is not None]
    if known:
        lines.append(
            f"all of them as laid, should they add: {_turned(total, earth)}; swing the compass with the lamps on and off"
        )
    lines.append(
        "a single wire is reckoned without its airframe return, which may lie nearer; keep what is untwisted at the ends short:"
        " of a twisted pair they are what is left"
    )
    return lines


def _turned(tesla: float, earth: float) -> str:
    from gaugelight.harness.compass import deviation

    if tesla * 1e6 < LEAST_SHOWN:
        return f"below {LEAST_SHOWN:g} uT"
    return f"{tesla * 1e6:.2g} uT, {deviation(tesla, earth):.2g} degrees"


def _compass_numbers(
    fields: Sequence[Field], distance: Fraction | None, horizontal: Fraction
) -> dict[str, Any] | None:
    from gaugelight.harness.compass import deviation

    if distance is None:
        return None
    earth = float(horizontal) * 1e-6
    return {
        "distance_m": float(distance),
        "horizontal_ut": float(horizontal),
        "runs": [
            {
                "name": field.run.name,
                "amperes": field.run.amperes,
                "length_m": field.run.length,
                "laid": field.run.way,
                "ut": {way: tesla * 1e6 for way, tesla in field.tesla.items()},
                "degrees": {way: deviation(tesla, earth) for way, tesla in field.tesla.items()},
            }
            for field in fields
        ],
    }


def _write(
    target: Path,
    wiring: Wiring,
    rows: Sequence[Row],
    wrong: Sequence[str],
    notes: Sequence[str],
    told: Sequence[str],
) -> list[str]:
    """One CSV; of an SVG a file a page."""
    from gaugelight.dial import svg
    from gaugelight.harness.drawing import pages
    from gaugelight.harness.sheet import csv_text
    from gaugelight.whole_file import page_files, write_whole

    if target.suffix.lower() == ".csv":
        write_whole(target, csv_text(list(rows)))
        return [str(target)]
    drawn = pages(wiring, rows, wrong, notes, told)
    files = page_files(target, len(drawn))
    for file, page in zip(files, drawn):
        write_whole(file, svg(page))
    return [str(file) for file in files]
