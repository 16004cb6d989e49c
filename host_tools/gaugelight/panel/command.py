"""`gaugelight template`: from a box file's panel to the sheets to drill it by."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelight.boxfile import Box, read_box
from gaugelight.dial import pdf, png, svg
from gaugelight.lights import Knob
from gaugelight.panel.cutouts import DSub, millimetres
from gaugelight.panel.drill_sheet import CAUTIONS, Page, drills, holes, pages
from gaugelight.panel.panel_file import DISPLAY, KNOB, Panel
from gaugelight.problems import Misuse
from gaugelight.whole_file import OLD_PAGE, old_pages, page_files, write_whole

if TYPE_CHECKING:
    from gaugelight.cli import Outcome, Screen

PICTURES = (".svg", ".pdf", ".png")
EXAMPLE = '[panel] with width = "120 mm", height = "230 mm", thickness = "2 mm", and [[cutout]]'


def template(words: argparse.Namespace, screen: Screen) -> Outcome:
    box = read_box(Path(words.box))
    panel = box.panel
    if panel is None or not panel.cutouts:
        what = "has no [panel]" if panel is None else "has no [[cutout]]"
        raise Misuse(f"{box.file}: {what}, so there is nothing to drill; write {EXAMPLE}")
    path = Path(words.output or f"{Path(words.box).stem}_template.svg")
    if path.suffix.lower() not in PICTURES or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise Misuse(
            f"{path}: no sheet can be written there; name a {', '.join(PICTURES)} in a folder of yours"
        )
    made = pages(panel, box.name, words.paper, words.rear)
    files = _write(made, path)
    notes = _notes(box, panel)
    tiles = sum(page.origin is not None for page in made)
    view = "rear view, mirrored" if words.rear else "front view"
    size = f"{millimetres(panel.width)} x {millimetres(panel.height)} mm"
    screen.say(
        f"{', '.join(map(str, files))}: panel {size}, {view}, on {words.paper.upper()}: {tiles} at true size, {len(made)} pages in all"
    )
    screen.table(
        "from the upper left corner of the front",
        [">no.", "what", ">x, mm", ">y, mm", "hole", "bezel"],
        [
            [
                hole.number,
                hole.what,
                millimetres(hole.at[0]),
                millimetres(hole.at[1]),
                hole.size,
                hole.covered,
            ]
            for hole in holes(panel)
        ],
    )
    for note in notes:
        screen.say(f"  {note}")
    old = old_pages(path, len(files))
    for page in old:
        screen.say(OLD_PAGE.format(page))
    for caution in CAUTIONS:
        screen.say(caution)
    return _said(panel, files, old, made, notes, words), 0


def _said(
    panel: Panel,
    files: list[Path],
    old: list[Path],
    made: tuple[Page, ...],
    notes: list[str],
    words: argparse.Namespace,
) -> dict[str, Any]:
    return {
        "files": [str(file) for file in files],
        "old_pages": [str(page) for page in old],
        "pages": [page.what for page in made],
        "paper": words.paper,
        "view": "rear" if words.rear else "front",
        "panel_mm": [panel.width, panel.height, panel.thickness],
        "free_behind_mm": panel.depth,
        "gap_mm": panel.gap,
        "holes": [
            {
                "number": one.number,
                "what": one.what,
                "at_mm": list(one.at),
                "hole": one.size,
                "drill_mm": one.drill,
            }
            for one in holes(panel)
        ],
        "drills": [{"mm": size, "holes": many} for size, many in drills(panel)],
        "depths": [
            {
                "name": one.name,
                "behind_mm": behind,
                "left_mm": None if panel.depth is None else panel.depth - behind,
            }
            for one in panel.cutouts
            if (behind := panel.behind(one)) is not None
        ],
        "notes": notes,
        "cautions": list(CAUTIONS),
    }


def _notes(box: Box, panel: Panel) -> list[str]:
    """What the file has that one looks for on a panel and that has no place there, and what was not checked."""
    there = {one.name for one in panel.cutouts}
    wanted = [DISPLAY] if box.face.panel is not None else []
    wanted += [one.name for one in box.face.needles] + [one.name for one in box.lights.switches]
    wanted += [one.name for one in box.lights.lamps if one.shows is not None]
    knobs = [one.name for one in box.lights.lamps if isinstance(one.source, Knob)]
    wanted += [
        f"{name} {KNOB}" for name in knobs if name not in there and not (KNOB in there and len(knobs) == 1)
    ]
    missing = [name for name in wanted if name not in there]
    notes = [f"no cutout for: {', '.join(missing)}"] if missing else []
    known = {
        DISPLAY,
        KNOB,
        *wanted,
        *(one.name for one in box.lights.lamps),
        *(f"{one} {KNOB}" for one in knobs),
    }
    if free := [one.name for one in panel.cutouts if one.name not in known]:
        notes.append(f"not in the box file, taken for parts of their own: {', '.join(free)}")
    if shallow := [one.name for one in panel.cutouts if one.depth is None]:
        notes.append(f"depth not stated, so not checked: {', '.join(shallow)}")
    if panel.depth is None:
        notes.append(
            'what is free behind the panel is not stated, so no depth is checked; write [panel] depth = "90 mm"'
        )
    if any(isinstance(one.hole, DSub) for one in panel.cutouts):
        notes.append(
            "a D-sub goes in from behind; hole by MIL-DTL-24308 as we remember it: measure your connector"
        )
    return notes


def _write(made: tuple[Page, ...], path: Path) -> list[Path]:
    """A .pdf holds all pages; else each has a file, from the second one with its number. Raises Misuse."""
    kind = path.suffix.lower()
    files = page_files(path, 1 if kind == ".pdf" else len(made))
    try:
        if kind == ".pdf":
            pdf([page.drawing for page in made], path)
            return files
        for page, file in zip(made, files):
            if kind == ".svg":
                write_whole(file, svg(page.drawing))
            else:
                png(page.drawing, file)
    except ImportError:
        raise Misuse(
            "a .pdf or .png needs the extra: pip install 'gaugelight[bench]'; or name a .svg"
        ) from None
    except OSError as problem:
        raise Misuse(f"{problem.filename or path}: cannot be written: {problem.strerror}") from None
    return files
