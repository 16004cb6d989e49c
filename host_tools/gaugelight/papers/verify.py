"""Whether a page is whole, and of that box: its sum, its table built anew from the box file it holds, and what the box itself says."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from gaugebox import VERSION
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.papers.data import Held
from gaugelight.papers.facts import ReadBack
from gaugelight.papers.page import NO_SUM, sum_of
from gaugelight.problems import Wrong


@dataclass(frozen=True)
class Answer:
    """One question, answered."""

    yes: bool
    says: str


def is_whole(held: Held) -> bool:
    """Whether its sum fits."""
    return len(held.sum) == len(NO_SUM) and sum_of(held.text.replace(held.sum, NO_SUM)) == held.sum


def answers(held: Held, box: ReadBack | None = None) -> Iterator[Answer]:
    """Of a page; and, where one was asked, of a box."""
    whole = is_whole(held)
    yield Answer(
        whole,
        (
            "the page is as it was written: its sum fits"
            if whole
            else "the page was changed after it was written: its sum does not fit"
        ),
    )
    crc = f"{zlib.crc32(held.image[:-4]):08x}"
    fits = held.image[-4:][::-1].hex() == crc == held.crc
    yield Answer(
        fits,
        (
            f"the table it holds has the CRC it states, {held.crc}"
            if fits
            else f"the table it holds has CRC {crc}, the page states {held.crc}"
        ),
    )
    yield _rebuilt(held)
    if box is None:
        return
    hello = box.hello
    same = hello.crc == held.crc and box.image == held.image
    yield Answer(
        same,
        (
            f"the box runs that table: {hello.crc}, the same to the byte"
            if same
            else f"the box runs another table: {hello.crc or 'none'}, the page is of {held.crc}"
        ),
    )
    if held.firmware:
        alike = hello.version == held.firmware
        yield Answer(
            alike,
            (
                f"its firmware is that of the page, {held.firmware}"
                if alike
                else f"its firmware is {hello.version}, the page is of {held.firmware}"
            ),
        )


def _rebuilt(held: Held) -> Answer:
    """The table, built from the page's own box file."""
    try:
        with TemporaryDirectory() as folder:
            path = Path(folder) / "box.toml"  # no name out of the page: it may hold a path
            path.write_text(held.box_file.text, encoding="utf-8")
            built = build(read_box(path))
    except Wrong as problem:
        return Answer(
            False, f"its box file is not right: {problem.lines[0].partition('box.toml')[2].lstrip(':')}"
        )
    crc = f"{built.crc32:08x}"
    if built.image == held.image and crc == held.crc:
        return Answer(True, f"its box file, built anew, gives that table: {crc}")
    cure = (
        f"; it was made by gaugelight {held.tools}, these are {VERSION}: try with those"
        if held.tools != VERSION
        else ""
    )
    return Answer(
        False, f"its box file, built anew, gives another table, {crc}; the page states {held.crc}{cure}"
    )
