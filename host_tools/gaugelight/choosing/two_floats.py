"""Two floats in one tilted tank, wired in series: total resistance against quantity, where they overlap, what cannot be read.

The tank is a prism, its surface a plane that is level in the attitude. Volumes are exact: the wetted area of the section below a line is
a quadratic of the line's height between corners, and Simpson's rule along the chord is exact for that. A float follows the surface
upwards in the tank from where it lifts off to where it stands at its top; it is a point, and takes no room.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gaugelight import box_values
from gaugelight.circuits import Floats
from gaugelight.quantity import UNITS

VOLUMES = ("US gal", "imp gal", "l")
# what no float sees the table crosses over a little of a track: no less of it than this, and no steeper than so many times the whole
# table's mean, or a step of the converter is too coarse there
LEAST_TRACK, STEEPEST, MOST_TRACK = 0.01, 4.0, 0.25
HEIGHTS = 4001  # at which the tank is reckoned
MOST_DIHEDRAL, MOST_ATTITUDE = 20.0, 30.0  # degrees
CLOSE = 0.002
OHM_DECIMALS = 2
PLACES = (0.0, 0.25, 0.5, 0.75, 1.0)

Xy = tuple[float, float]


@dataclass(frozen=True)
class Tank:
    """A prism: a convex section in the plane of span and height, the same all along the chord.

    corners   (span, height) in m, in order around it, either way; span grows towards the wing's tip
    chord     m, from the front wall back
    dihedral  degrees, the tip up
    """

    corners: tuple[Xy, ...]
    chord: float
    dihedral: float = 0.0

    def __post_init__(self) -> None:
        if len(self.corners) < 3:
            raise ValueError("a tank's section has three corners at least")
        if not self.chord > 0:
            raise ValueError(f"a chord of {self.chord:g} m is none")
        if not abs(self.dihedral) <= MOST_DIHEDRAL:
            raise ValueError(f"a dihedral of {self.dihedral:g} degrees: up to {MOST_DIHEDRAL:g} are reckoned")
        size = max(math.dist(one, other) for one, other in itertools.combinations(self.corners, 2))
        turns = [turn for turn in _turns(self.corners) if abs(turn) > 1e-12 * size**2]
        if not turns:
            raise ValueError("the section's corners lie on one line")
        around = sum(_angles(self.corners)) / (2 * math.pi)
        if min(turns) < 0 < max(turns) or not abs(abs(around) - 1) < 1e-6:
            raise ValueError("the section must be convex, its corners in order around it")

    @property
    def litres(self) -> float:
        """Full."""
        return 1000 * self.chord * _area(self.corners)

    def inside(self, span: float) -> tuple[float, float]:
        """The lowest and the highest height in the tank at a place along the span. ValueError outside it."""
        heights = [
            z0 + (span - y0) * (z1 - z0) / (y1 - y0)
            for (y0, z0), (y1, z1) in _edges(self.corners)
            if y0 != y1 and min(y0, y1) <= span <= max(y0, y1)
        ]
        if not heights:
            ends = [y for y, _ in self.corners]
            raise ValueError(
                f"{span:g} m along the span lies outside the tank, {min(ends):g} to {max(ends):g} m"
            )
        return min(heights), max(heights)


def box_tank(span: float, height: float, chord: float, dihedral: float = 0.0) -> Tank:
    """m and degrees; its inner lower corner is (0, 0). Raises ValueError where it is none."""
    return wedge_tank(span, height, height, chord, dihedral)


def wedge_tank(span: float, root: float, tip: float, chord: float, dihedral: float = 0.0) -> Tank:
    """Flat below, `root` m high at its inner end and `tip` at its outer one; one of them may be 0. Raises ValueError where it is none."""
    if not span > 0 or min(root, tip) < 0:
        raise ValueError(f"{span:g} m long, {root:g} and {tip:g} m high is no tank")
    corners = [(0.0, 0.0), (span, 0.0), (span, tip), (0.0, root)]
    return Tank(tuple(dict.fromkeys(corners)), chord, dihedral)


@dataclass(frozen=True)
class Attitude:
    """degrees. wing_down: the tip of this wing."""

    name: str = "level flight"
    nose_up: float = 0.0
    wing_down: float = 0.0

    def __post_init__(self) -> None:
        if not max(abs(self.nose_up), abs(self.wing_down)) <= MOST_ATTITUDE:
            raise ValueError(f"{self.name}: attitudes up to {MOST_ATTITUDE:g} degrees are reckoned")


@dataclass(frozen=True)
class Float:
    """span, chord: where it is, m, as the tank's corners and from its front wall. low, high: heights in the tank at which it lifts off
    and stands at its top, m. at_low, at_high: ohm there. arm: m, of a float on a lever that is level halfway, its track even by angle;
    None: even by height.
    """

    name: str
    span: float
    chord: float
    low: float
    high: float
    at_low: float
    at_high: float
    arm: float | None = None

    def moved(self, heights: Floats) -> Floats:
        """The share of its track, at heights of the surface in the tank where it is."""
        half, middle = (self.high - self.low) / 2, (self.high + self.low) / 2
        if self.arm is None:
            return np.clip((heights - self.low) / (2 * half), 0.0, 1.0)
        most = math.asin(half / self.arm)
        return (
            np.arcsin(np.clip((heights - middle) / self.arm, -half / self.arm, half / self.arm)) + most
        ) / (2 * most)

    def ohms(self, heights: Floats) -> Floats:
        return self.at_low + self.moved(heights) * (self.at_high - self.at_low)


@dataclass(frozen=True)
class Stretch:
    """From one quantity to another."""

    low: float
    high: float

    @property
    def width(self) -> float:
        return self.high - self.low


@dataclass(frozen=True)
class Together:
    """Quantities in `unit`, usable; ohms summed. Floats in the order of their lift-off.

    lists     for the box file's `series`: one list of (ohm, quantity) for each float
    points    what the box makes of them: (ohm, quantity)
    moves     from and to which quantity each float moves
    overlap   where both move, or None
    gap       between them, where neither does, or None: up to its width too little is read there
    below     what is there before the lower one lifts off: 0 is read
    above     what still goes in after the upper one stands at its top: not shown
    crossed   where too little is read: what no float sees below a lift-off, and on from there until the table has caught up
    error     the largest error of the table against the geometry, but for these and for what lies above
    """

    attitude: Attitude
    unit: str
    unusable: float
    full: float
    floats: tuple[Float, Float]
    lists: tuple[tuple[Xy, ...], tuple[Xy, ...]]
    points: tuple[Xy, ...]
    moves: tuple[Stretch, Stretch]
    overlap: Stretch | None
    gap: Stretch | None
    below: float
    above: float
    crossed: tuple[Stretch, ...]
    error: float

    def reading(self, ohms: Floats) -> Floats:
        """What the box shows."""
        ohm, quantity = zip(*sorted(self.points))
        return np.asarray(np.interp(ohms, ohm, quantity))


# --- the tank ---


class Level:
    """A tank in an attitude: how much lies under a level surface, and where that stands in the tank.

    Heights of the surface are along the vertical, in m, from the tank's own origin (span, height and chord 0).
    """

    def __init__(self, tank: Tank, attitude: Attitude) -> None:
        pitch, roll = math.radians(attitude.nose_up), math.radians(tank.dihedral - attitude.wing_down)
        # the vertical in the tank's axes: back along the chord, out along the span, up
        self.back, self.out, self.up = (
            -math.sin(pitch),
            math.cos(pitch) * math.sin(roll),
            math.cos(pitch) * math.cos(roll),
        )
        self.tank = tank
        ends = [
            x * self.back + y * self.out + z * self.up for x in (0.0, tank.chord) for y, z in tank.corners
        ]
        self.corners = tuple(sorted(ends))
        levels = sorted({y * self.out + z * self.up for y, z in tank.corners})
        self._levels = np.array(
            [level for i, level in enumerate(levels) if i == 0 or level - levels[i - 1] > 1e-12]
        )
        middles = (self._levels[:-1] + self._levels[1:]) / 2
        self._at = np.array([self._clipped(level) for level in self._levels])
        self._between = np.array([self._clipped(level) for level in middles])

    def _clipped(self, level: float) -> float:
        """The area of the section below a line, by cutting its corners off there."""
        kept: list[Xy] = []
        for one, other in _edges(self.tank.corners):
            a, b = (y * self.out + z * self.up - level for y, z in (one, other))
            if a <= 0:
                kept.append(one)
            if a * b < 0:
                share = a / (a - b)
                kept.append((one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])))
        return _area(kept) if len(kept) > 2 else 0.0

    def area(self, levels: Floats) -> Floats:
        """The area of the section below lines: a quadratic through its value at two corners' levels and halfway."""
        place = np.clip(np.searchsorted(self._levels, levels, "right") - 1, 0, len(self._levels) - 2)
        low, high = self._levels[place], self._levels[place + 1]
        t = np.clip((levels - low) / (high - low), 0.0, 1.0)
        a, b, c = self._at[place], self._between[place], self._at[place + 1]
        return np.asarray(a + t * (4 * b - 3 * a - c) + t * t * (2 * a + 2 * c - 4 * b))

    def litres(self, heights: Floats) -> Floats:
        """What lies below the surface."""
        chord = self.tank.chord
        if abs(self.back) < 1e-12:
            return 1000 * chord * self.area(heights)
        cuts = np.clip((heights[..., None] - self._levels) / self.back, 0.0, chord)
        ends = np.sort(
            np.concatenate([cuts, np.zeros_like(cuts[..., :1]), np.full_like(cuts[..., :1], chord)], -1), -1
        )
        low, high = ends[..., :-1], ends[..., 1:]
        one, middle, other = (
            self.area(heights[..., None] - x * self.back) for x in (low, (low + high) / 2, high)
        )
        return np.asarray(1000 * np.sum((high - low) / 6 * (one + 4 * middle + other), -1))

    def in_tank(self, heights: Floats, span: float, chord: float) -> Floats:
        """The surface's height in the tank's own axis, m, at a place."""
        return (heights - chord * self.back - span * self.out) / self.up

    def height(self, span: float, chord: float, in_tank: float) -> float:
        """The surface's height when it passes a place in the tank."""
        return chord * self.back + span * self.out + in_tank * self.up


def _edges(corners: Sequence[Xy]) -> list[tuple[Xy, Xy]]:
    return list(zip(corners, [*corners[1:], corners[0]]))


def _area(corners: Sequence[Xy]) -> float:
    return abs(sum(y0 * z1 - y1 * z0 for (y0, z0), (y1, z1) in _edges(corners))) / 2


def _turns(corners: Sequence[Xy]) -> list[float]:
    """Twice the area of the triangle at each corner; its sign is the way it turns."""
    edges = [(y1 - y0, z1 - z0) for (y0, z0), (y1, z1) in _edges(corners)]
    return [a[0] * b[1] - a[1] * b[0] for a, b in zip(edges, [*edges[1:], edges[0]])]


def _angles(corners: Sequence[Xy]) -> list[float]:
    """The turn at each corner, radians: once around they make a full one."""
    edges = [(y1 - y0, z1 - z0) for (y0, z0), (y1, z1) in _edges(corners)]
    return [
        math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
        for a, b in zip(edges, [*edges[1:], edges[0]])
    ]


# --- the floats ---


def together(
    tank: Tank,
    floats: Sequence[Float],
    attitude: Attitude = Attitude(),
    unit: str = "US gal",
    unusable: float = 0.0,
    close: float = CLOSE,
) -> Together:
    """The table of two floats in an attitude.

    close: how near it keeps to the geometry, as a share of the full tank. unusable: in `unit`; the table is of what lies above it.
    Raises ValueError with what is not right.
    """
    if unit not in VOLUMES:
        raise ValueError(f"{unit} is no volume; there are: {', '.join(VOLUMES)}")
    if len(floats) != 2:
        raise ValueError("two floats make a series")
    if not 1e-5 <= close <= 0.1:
        raise ValueError(f"a table within {100 * close:g} % of the full tank: 0.001 to 10 % can be made")
    for one in floats:
        _check_float(tank, one)
    if len({one.at_high > one.at_low for one in floats}) > 1:
        raise ValueError(
            "one float's resistance rises and the other's falls: in series they take each other away"
        )
    level, per_litre = Level(tank, attitude), float(1 / UNITS[unit][1])
    full = tank.litres * per_litre - unusable
    if not unusable >= 0 or not full > 0:
        raise ValueError(f"{unusable:g} {unit} unusable of {full + unusable:.4g} {unit}")

    def quantity(heights: Floats) -> Floats:
        return level.litres(heights) * per_litre - unusable

    ordered = sorted(floats, key=lambda one: level.height(one.span, one.chord, one.low))
    lower, upper = ordered
    moves: list[Stretch] = []
    for one in ordered:
        ends = np.array([level.height(one.span, one.chord, at) for at in (one.low, one.high)])
        low, high = quantity(ends).tolist()
        if high <= 0:
            raise ValueError(f"{one.name} stands at its top before the usable fuel begins")
        moves.append(Stretch(max(low, 0.0), high))
    first, second = moves
    gap = Stretch(first.high, second.low) if second.low > first.high else None
    overlap = None if gap else Stretch(second.low, min(first.high, second.high))
    decimals = max(0, 3 - math.floor(math.log10(full)))
    grid = _heights(level, ordered)
    grid = np.unique(np.append(grid, np.interp(0.0, quantity(grid), grid)))
    starts = 0.0, first.high if gap else second.low
    steepest = STEEPEST * full / sum(abs(one.at_high - one.at_low) for one in ordered)
    lists, crossed = [], []
    for one, move, start in zip(ordered, moves, starts):
        ohms = one.ohms(level.in_tank(grid, one.span, one.chord))
        span = abs(one.at_high - one.at_low)
        share = (
            min(max((move.low - start) / steepest / span, LEAST_TRACK), MOST_TRACK)
            if move.low > start
            else 0.0
        )
        points = _list(one, move, start, share, quantity(grid), ohms, close * full)
        if share:
            crossed.append(Stretch(start, points[1][1]))
        rounded = {round(q, decimals): round(o, OHM_DECIMALS) for o, q in points}
        lists.append(tuple((o, q) for q, o in rounded.items()))
    parse = box_values.series("ohm", unit)
    total = parse([[[f"{ohm:.{OHM_DECIMALS}f} ohm", at] for ohm, at in each] for each in lists])
    found = Together(
        attitude, unit, unusable, full, (lower, upper), (lists[0], lists[1]), tuple((float(ohm), float(at)) for ohm, at in total),
        (first, second), overlap, gap, first.low, max(0.0, full - max(first.high, second.high)), tuple(crossed), 0.0,
    )  # fmt: skip
    return _with_error(found, quantity(grid), _total(level, ordered, grid))


def _check_float(tank: Tank, one: Float) -> None:
    try:
        lowest, highest = tank.inside(one.span)
    except ValueError as problem:
        raise ValueError(f"{one.name}: {problem}") from None
    if not 0 <= one.chord <= tank.chord:
        raise ValueError(
            f"{one.name}: {one.chord:g} m along the chord lies outside the tank, 0 to {tank.chord:g} m"
        )
    slack = 1e-9
    if not lowest - slack <= one.low < one.high <= highest + slack:
        raise ValueError(
            f"{one.name}: from {one.low:g} up to {one.high:g} m; there the tank goes from {lowest:.4g} to {highest:.4g} m"
        )
    if one.at_low == one.at_high or min(one.at_low, one.at_high) < 0:
        raise ValueError(
            f"{one.name}: {one.at_low:g} ohm at its bottom, {one.at_high:g} at its top is no sender"
        )
    if one.arm is not None and not one.arm >= (one.high - one.low) / 2:
        raise ValueError(f"{one.name}: an arm of {one.arm:g} m cannot travel {one.high - one.low:g} m")


def _heights(level: Level, floats: Sequence[Float]) -> Floats:
    """Heights of the surface from empty to full, with every one at which something begins or ends."""
    ends = [level.height(one.span, one.chord, at) for one in floats for at in (one.low, one.high)]
    even = np.linspace(level.corners[0], level.corners[-1], HEIGHTS)
    return np.unique(np.concatenate([even, ends, level.corners]))


def _total(level: Level, floats: Sequence[Float], heights: Floats) -> Floats:
    return np.asarray(sum(one.ohms(level.in_tank(heights, one.span, one.chord)) for one in floats))


def _list(
    one: Float, move: Stretch, start: float, share: float, quantities: Floats, ohms: Floats, close: float
) -> list[Xy]:
    """Its points. From `start` to where it lifts off the least that may be there is shown: its list crosses that over a share of its track,
    for a table cannot stand at one resistance for two quantities."""
    moving = (quantities >= move.low) & (quantities <= move.high)
    at, ohm = quantities[moving], ohms[moving]
    few = _few(at, ohm, close)
    kept = [(float(o), float(q)) for o, q in zip(ohm[few], at[few])]
    if not share:
        return kept
    after = one.at_low + share * (one.at_high - one.at_low)
    seen = float(np.interp(share, (ohm - one.at_low) / (one.at_high - one.at_low), at))
    return [(one.at_low, start), (after, seen), *(each for each in kept if each[1] > seen)]


def _few(at: Floats, ohm: Floats, close: float) -> list[int]:
    """Which of the points to keep so that straight lines between them stay within `close` of the others, in quantity.

    The farthest one is kept, then the farthest on either side of it, and so on.
    """
    keep, todo = {0, len(at) - 1}, [(0, len(at) - 1)]
    while todo:
        low, high = todo.pop()
        if high - low < 2:
            continue
        line = at[low] + (ohm[low : high + 1] - ohm[low]) * (at[high] - at[low]) / (ohm[high] - ohm[low])
        away = np.abs(line - at[low : high + 1])
        farthest = low + int(np.argmax(away))
        if away[farthest - low] > 0.9 * close:  # the rest for rounding
            keep.add(farthest)
            todo += [(low, farthest), (farthest, high)]
    return sorted(keep)


def _with_error(found: Together, quantities: Floats, ohms: Floats) -> Together:
    """With the table's largest error where something is read."""
    read = (quantities >= 0) & (quantities <= found.full - found.above)
    for stretch in found.crossed:
        read &= (quantities <= stretch.low) | (quantities >= stretch.high)
    error = float(np.max(np.abs(found.reading(ohms) - quantities)[read], initial=0.0))
    return replace(found, error=error)


@dataclass(frozen=True)
class Elsewhere:
    """What a table shows of a true quantity in another attitude, and at home, in its own."""

    quantity: float
    shown: float
    home: float


def elsewhere(
    tank: Tank, found: Together, attitude: Attitude, at: Sequence[float] = PLACES
) -> tuple[Elsewhere, ...]:
    """At shares of the usable quantity."""
    per_litre = float(1 / UNITS[found.unit][1])
    wanted = np.array(at) * found.full
    shown = []
    for each in (attitude, found.attitude):
        level = Level(tank, each)
        grid = _heights(level, found.floats)
        quantities = level.litres(grid) * per_litre - found.unusable
        shown.append(np.interp(wanted, quantities, found.reading(_total(level, found.floats, grid))))
    return tuple(Elsewhere(*map(float, row)) for row in zip(wanted, *shown))


# --- in words ---


def box_file_lines(found: Together) -> tuple[str, ...]:
    """The `series` key as it is written in the box file."""

    def one(points: Sequence[Xy]) -> str:
        return "[" + ", ".join(f'["{ohm:.10g} ohm", {at:.10g}]' for ohm, at in points) + "]"

    return (
        "series = [",
        *(f"  {one(points)},  # {each.name}" for points, each in zip(found.lists, found.floats)),
        "]",
    )


def said(found: Together) -> tuple[str, ...]:
    """Lines: which float moves where, overlap or gap, and how large an error follows."""
    unit = found.unit
    lines = [
        f"{one.name} moves from {move.low:.3g} to {move.high:.3g} {unit}, {one.at_low:g} to {one.at_high:g} ohm"
        for one, move in zip(found.floats, found.moves)
    ]
    if found.gap is not None:
        gap = found.gap
        lines.append(
            f"GAP: from {gap.low:.3g} to {gap.high:.3g} {unit} neither moves and nothing can be read; the table shows {gap.low:.3g} until"
            f" the upper one lifts off, up to {gap.width:.2g} {unit} too little, less and less so until {found.crossed[-1].high:.3g}; lower the upper one, or let the lower one travel higher"
        )
    elif found.overlap is not None:
        lines.append(
            f"both move from {found.overlap.low:.3g} to {found.overlap.high:.3g} {unit}; there a change shows in both, and one that sticks"
            " as half of it"
        )
    if found.below > 0.005 * found.full:
        lines.append(
            f"below {found.below:.2g} {unit} neither moves: 0 is shown, up to {found.below:.2g} {unit} too little"
        )
    if found.above > 0.005 * found.full:
        top = found.full - found.above
        lines.append(
            f"above {top:.3g} {unit} neither moves: {top:.3g} is shown, up to {found.above:.2g} {unit} too little"
        )
    lines.append(
        f"the table keeps within {found.error:.2g} {unit} of the geometry in {found.attitude.name}; calibrate it with fuel before it is believed"
    )
    return tuple(lines)


def said_elsewhere(found: Together, attitude: Attitude, rows: Sequence[Elsewhere]) -> tuple[str, ...]:
    """Lines: what the table shows in another attitude, and how far that is off at worst; where it shows fuel that is not there, that first."""
    unit = found.unit
    shown = ", ".join(f"{one.quantity:.3g} shows {one.shown:.3g}" for one in rows)
    most = max(rows, key=lambda one: one.shown - one.home)
    least = min(rows, key=lambda one: one.shown - one.home)
    small = 0.005 * found.full
    angles = f"nose {attitude.nose_up:+g}, this wing down {attitude.wing_down:+g} degrees"
    said = f"{attitude.name} ({angles}): of {unit} {shown}"
    offs = [(one, one.shown - one.home) for one in (most, least)]
    if max(abs(off) for _, off in offs) < small:
        return (f"{said}; no more than {max(abs(off) for _, off in offs):.2g} from {found.attitude.name}",)
    ways = [
        f"at {one.quantity:.3g} that is {abs(off):.2g} {unit} {'more' if off > 0 else 'less'}"
        for one, off in offs
        if (off >= small if one is most else off <= -small)
    ]
    return (f"{said}; {', '.join(ways)} than in {found.attitude.name}",)
