"""Two floats in one tilted tank, wired in series: total resistance against quantity, where they overlap, what cannot be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Tank:
    """A prism: a convex section in the plane of span and height, the same all along the chord.

    corners   (span, height) in m, in order around it; span grows towards the wing tip
    chord     m, from the front wall back
    dihedral  degrees, the tip up
    """

    corners: tuple[tuple[float, float], ...]
    chord: float
    dihedral: float = 0.0


def box_tank(span: float, height: float, chord: float, dihedral: float = 0.0) -> Tank:
    """m and degrees."""
    raise NotImplementedError


def wedge_tank(span: float, root: float, tip: float, chord: float, dihedral: float = 0.0) -> Tank:
    """Flat below, `root` m high at its inner end and `tip` at its outer one, which may be 0."""
    raise NotImplementedError


@dataclass(frozen=True)
class Attitude:
    """degrees. wing_down: this wing's tip."""

    name: str = "level flight"
    nose_up: float = 0.0
    wing_down: float = 0.0


@dataclass(frozen=True)
class Float:
    """span, chord: where it is, m, as the tank's corners and from its front wall. low, high: height in the tank at which it lifts
    off and stands at its top, m. at_low, at_high: ohm there. arm: m, of a float on a lever whose track goes by its angle; None: by height.
    """

    name: str
    span: float
    chord: float
    low: float
    high: float
    at_low: float
    at_high: float
    arm: float | None = None


@dataclass(frozen=True)
class Stretch:
    """From one quantity to another: "both" move, "neither" does."""

    low: float
    high: float


@dataclass(frozen=True)
class Together:
    """Quantities in `unit`, usable; ohms summed.

    lists     for the box file's `series`: one list of (ohm, quantity) for each float; empty where a gap forbids it
    points    the same for `points`: (ohm, quantity), rising
    moves     from and to which quantity each float moves
    overlap   where both move; gap: between them, where neither does; below, above: what the lower one does not see, what the upper does not
    error     the largest error of the table against the geometry, outside the gap and the ends
    """

    unit: str
    full: float
    lists: tuple[tuple[tuple[float, float], ...], ...]
    points: tuple[tuple[float, float], ...]
    moves: tuple[Stretch, Stretch]
    overlap: Stretch | None
    gap: Stretch | None
    below: float
    above: float
    error: float


def together(
    tank: Tank,
    floats: Sequence[Float],
    attitude: Attitude = Attitude(),
    unit: str = "US gal",
    unusable: float = 0.0,
    close: float = 0.002,
) -> Together:
    """close: how near the table keeps to the geometry, as a share of the full tank. unusable: in `unit`. Raises ValueError."""
    raise NotImplementedError


def box_file_lines(found: Together) -> tuple[str, ...]:
    """The `series` key, or `points` where a gap forbids it, as it is written in the box file."""
    raise NotImplementedError


def said(found: Together) -> tuple[str, ...]:
    """Overlap or gap and what follows, in words."""
    raise NotImplementedError
