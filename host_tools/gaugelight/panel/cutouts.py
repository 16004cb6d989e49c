"""Holes in a panel and what covers them: their shapes, and how near they come to each other. Millimetres, x to the right, y down."""

from __future__ import annotations

import math
from dataclasses import dataclass

SLACK = 1e-6  # mm: what inches and sines leave behind

# of a D-sub: the hole's width at its wide side, the screws' distance, the flange's width; mm
D_SUBS = {9: (20.47, 24.99, 30.81), 15: (28.80, 33.32, 39.14), 25: (42.52, 47.04, 53.04)}
D_SUB_HOLE, D_SUB_FLANGE, D_SUB_SCREW = (
    11.40,
    12.55,
    3.05,
)  # mm: heights of hole and flange, the screws' drill
D_SUB_SLANT = 10  # degrees
D_SUB_CORNER = 3.35  # mm

Xy = tuple[float, float]


@dataclass(frozen=True)
class Round:
    diameter: float

    @property
    def width(self) -> float:
        return self.diameter

    @property
    def height(self) -> float:
        return self.diameter

    @property
    def text(self) -> str:
        return f"round {millimetres(self.diameter)} mm"


@dataclass(frozen=True)
class Rectangle:
    width: float
    height: float

    @property
    def text(self) -> str:
        return f"rectangle {millimetres(self.width)} x {millimetres(self.height)} mm"


@dataclass(frozen=True)
class DSub(Rectangle):
    """The hole for a D-sub that is put in from behind, its wide side up, and its two screws.

    After MIL-DTL-24308 and IEC 60807-2: the screws' distance and the flange as two public part libraries have them too, the hole's width,
    height, corners and slant from memory.
    """

    ways: int

    @property
    def text(self) -> str:
        return f"D-sub {self.ways}"

    @property
    def corners(self) -> tuple[Xy, ...]:
        """From the hole's middle, clockwise from the upper left one; so far out that it is as wide as it should be when they are rounded."""
        turn = math.radians(D_SUB_SLANT)
        # the arc's middle lies its radius from the upper edge and from the slanted one; there it reaches farthest
        x, y = self.width / 2 + D_SUB_CORNER * (math.tan(turn) + 1 / math.cos(turn) - 1), self.height / 2
        slant = self.height * math.tan(turn)
        return (-x, -y), (x, -y), (x - slant, y), (slant - x, y)

    @property
    def flange(self) -> Rectangle:
        return Rectangle(D_SUBS[self.ways][2], D_SUB_FLANGE)

    @property
    def screws(self) -> Screws:
        x = D_SUBS[self.ways][1] / 2
        return Screws(((-x, 0.0), (x, 0.0)), D_SUB_SCREW)


def d_sub(ways: int) -> DSub:
    return DSub(D_SUBS[ways][0], D_SUB_HOLE, ways)


Outline = Round | Rectangle


@dataclass(frozen=True)
class Screws:
    """places: of their middles, from the middle of the cutout."""

    places: tuple[Xy, ...]
    drill: float


@dataclass(frozen=True)
class Cutout:
    """One hole in the panel and what stands in it.

    at     its middle, from the upper left corner of the panel's front
    bezel  what covers the panel around the hole, about the same middle
    depth  of what stands there, from the panel's front face to its back; None: not stated
    plug   what is plugged into that, bend: what its wires need to turn away
    """

    line: int
    name: str
    at: Xy
    hole: Outline
    bezel: Outline
    screws: Screws | None = None
    depth: float | None = None
    plug: float = 0.0
    bend: float = 0.0

    @property
    def screw_places(self) -> tuple[Xy, ...]:
        """From the upper left corner of the panel's front."""
        x, y = self.at
        return () if self.screws is None else tuple((x + dx, y + dy) for dx, dy in self.screws.places)

    @property
    def covers(self) -> tuple[tuple[str, Xy, Outline], ...]:
        """All that it takes up on the panel, the bezel first: what it is, its middle, its outline."""
        drill = Round(0 if self.screws is None else self.screws.drill)
        screws = tuple(("screw", place, drill) for place in self.screw_places)
        return (("bezel", self.at, self.bezel), ("hole", self.at, self.hole), *screws)


def millimetres(value: float) -> str:
    """As it is written on a sheet: to a hundredth, without noughts at its end."""
    return f"{round(value, 2) + 0:g}" if abs(value) < 1000 else f"{value:.2f}".rstrip("0").rstrip(".")


def apart(at: Xy, one: Outline, there: Xy, other: Outline) -> float:
    """mm between the edges of two outlines about their middles; less than 0 where they overlap."""
    dx, dy = abs(at[0] - there[0]), abs(at[1] - there[1])
    if isinstance(one, Round) and isinstance(other, Round):
        return math.hypot(dx, dy) - (one.diameter + other.diameter) / 2
    # a round one is its middle, with its radius around it
    width = sum(shape.width for shape in (one, other) if isinstance(shape, Rectangle))
    height = sum(shape.height for shape in (one, other) if isinstance(shape, Rectangle))
    radius = sum(shape.diameter for shape in (one, other) if isinstance(shape, Round)) / 2
    dx, dy = dx - width / 2, dy - height / 2
    return (max(dx, dy) if dx < 0 and dy < 0 else math.hypot(max(dx, 0), max(dy, 0))) - radius


def covers(one: Outline, other: Outline) -> bool:
    """Whether one hides all of the other, both about the same middle."""
    if isinstance(one, Rectangle):
        return one.width >= other.width - SLACK and one.height >= other.height - SLACK
    reach = other.diameter if isinstance(other, Round) else math.hypot(other.width, other.height)
    return one.diameter >= reach - SLACK


def to_edge(at: Xy, one: Outline, width: float, height: float) -> float:
    """mm from an outline to the nearest edge of a panel; less than 0 where it reaches beyond."""
    x, y = at
    return min(x - one.width / 2, width - x - one.width / 2, y - one.height / 2, height - y - one.height / 2)
