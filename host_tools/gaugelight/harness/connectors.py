"""Connectors as they really look: where each contact lies, from the side where it mates and from the side where it is wired.

D-sub (MIL-DTL-24308, IEC 60807-3; the text was not at hand): contacts 326/3000 in apart, rows 0.112 in, half a pitch between them
(as makers publish it); looking at the mating face of the half with pins, wide row up, pin 1 is at its left. Two-row headers, 2.54 mm: odd numbers in one
row, even ones in the other; looking at the pins, the row with pin 1 down, pin 1 is at the left (common practice, no source).
A block is one row of ways, whose numbers stand on it.
"""

import math
import re
from dataclasses import dataclass
from typing import Any, Literal

Xy = tuple[float, float]  # mm, y downwards, from the middle of the connector
Half = Literal["pins", "sockets"]

DSUB_PITCH, DSUB_ROWS = 25.4 * 326 / 3000, 25.4 * 0.112  # mm
HEADER_PITCH = 2.54  # mm
BLOCK_PITCH = 5.08  # mm, as it is drawn
NEAR = 1.5  # pitches: the diagonal of a header is 1.41, the next but one in a D-sub 1.8
DSUBS = {9: 5, 15: 8, 25: 13}  # ways: contacts in the wide row
HEADER_COLUMNS = range(2, 21)
BLOCK_WAYS = range(1, 25)
KINDS = '"D-sub 9", "D-sub 15", "D-sub 25", "header 2x8" (2x2 to 2x20) or "block 2" (1 to 24 ways)'


@dataclass(frozen=True)
class Shape:
    """rows: the numbers as they stand on the mating face of the half with pins, left to right, the upper row first."""

    kind: str
    rows: tuple[tuple[int, ...], ...]
    pitch: float  # mm
    apart: float  # mm, of the rows

    @property
    def ways(self) -> int:
        return sum(map(len, self.rows))

    @property
    def is_dsub(self) -> bool:
        return self.kind.startswith("D-sub")

    @property
    def is_block(self) -> bool:
        return self.kind.startswith("block")

    def mating_side(self, half: Half) -> dict[int, Xy]:
        """Where each contact of a half lies, looking at the face that mates."""
        return self._seen(mirrored=half == "sockets")

    def wiring_side(self, half: Half) -> dict[int, Xy]:
        """The same looking at it from behind, where it is soldered or crimped."""
        return self._seen(mirrored=half == "pins")

    def _seen(self, mirrored: bool) -> dict[int, Xy]:
        sign = -1 if mirrored else 1
        places = {}
        for row, numbers in enumerate(self.rows):
            y = (row - (len(self.rows) - 1) / 2) * self.apart
            for k, number in enumerate(numbers):
                places[number] = (sign * (k - (len(numbers) - 1) / 2) * self.pitch, y)
        return places

    def neighbours(self, pin: int) -> tuple[int, ...]:
        """Those that a stray strand or a drop of water joins to it first, in both rows."""
        places = self.mating_side("pins")
        return tuple(
            other
            for other in sorted(places)
            if other != pin and math.dist(places[other], places[pin]) < NEAR * self.pitch
        )


def other_half(half: Half) -> Half:
    return "sockets" if half == "pins" else "pins"


def shape_of(kind: Any) -> Shape:
    """The connector of a kind as the box file names it. ValueError says which there are."""
    written = kind if isinstance(kind, str) else ""
    if match := re.fullmatch(r"D-sub ([1-9]\d?)", written):
        ways = int(match[1])
        if wide := DSUBS.get(ways):
            rows = tuple(range(1, wide + 1)), tuple(range(wide + 1, ways + 1))
            return Shape(written, rows, DSUB_PITCH, DSUB_ROWS)
    if match := re.fullmatch(r"header 2x([1-9]\d?)", written):
        columns = int(match[1])
        if columns in HEADER_COLUMNS:
            rows = tuple(range(2, 2 * columns + 1, 2)), tuple(range(1, 2 * columns, 2))
            return Shape(written, rows, HEADER_PITCH, HEADER_PITCH)
    if match := re.fullmatch(r"block ([1-9]\d?)", written):
        if int(match[1]) in BLOCK_WAYS:
            return Shape(written, (tuple(range(1, int(match[1]) + 1)),), BLOCK_PITCH, BLOCK_PITCH)
    raise ValueError(f"{kind!r} is no connector that is known; write {KINDS}")
