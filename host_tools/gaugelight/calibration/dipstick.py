"""A dipstick's scale at full size, from the wetted lengths of a session: to check the gauge with, in parked attitude, before flight.

The scale goes through the points, monotone between them (piecewise cubic, Fritsch and Carlson 1980), and not beyond them. A stick that is longer than a
page stands on it in pieces, side by side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gaugelight.boxfile import Input
from gaugelight.calibration.results import Corrected, Result, round_step
from gaugelight.circuits import Floats
from gaugelight.dial import FAINT, SCALE_BAR, Drawing, Line, Shape, Words, fitted, png, svg, scale_bar
from gaugelight.problems import Wrong

LONGEST_PIECE = 220.0  # mm, on a page of A4 or letter with its head
STRIP, GAP, MARGIN, HEAD = 34.0, 8.0, 10.0, 48.0
ABOVE = 3.0  # mm of a piece beyond its end, for half a figure
NARROWEST = 104.0 + 2 * MARGIN
LEAST_MAJOR, LEAST_MINOR = 7.0, 1.5  # mm
FEWEST = 3
HALF_FIGURE = 2.4  # mm


@dataclass(frozen=True)
class Stick:
    """dips (mm), quantities: both rising. shown: what the gauge shows on the ground at quantities, rising; empty where that is not known."""

    box: str
    input: Input
    day: str
    dips: tuple[float, ...]
    quantities: tuple[float, ...]
    shown: tuple[Corrected, ...] = ()

    def dip_at(self, quantity: float) -> float:
        return float(monotone(self.quantities, self.dips, np.array([quantity]))[0])

    def shows(self, quantity: float) -> float | None:
        there = [one.there for one in self.shown]
        if not there or not there[0] - 1e-9 <= quantity <= there[-1] + 1e-9:
            return None
        return float(np.interp(quantity, there, [one.shown for one in self.shown]))


def stick_of(box: str, result: Result, shown: Sequence[Corrected] = ()) -> Stick:
    """From the points that have a dip. Raises Wrong where they make no scale."""
    session = result.session
    gathered: dict[float, list[float]] = {}
    lines: dict[float, int] = {}  # where the newest of them stands
    for point, written in zip(result.points, session.points):
        if point.dip is not None:
            gathered.setdefault(round(point.true, 6), []).append(point.dip)
            lines[round(point.true, 6)] = written.line
    pairs = sorted((quantity, sum(dips) / len(dips)) for quantity, dips in gathered.items())
    if len(pairs) < FEWEST:
        what = f'{len(pairs)} points have a dip; a dipstick\'s scale needs {FEWEST}: dip the tank in parked attitude, dip = "102 mm"'
        raise Wrong(f"{session.file}: {what}")
    while pairs[0][1] == 0 and pairs[1][1] == 0:  # what the stick does not reach
        pairs.pop(0)
    for (before, shorter), (quantity, longer) in zip(pairs, pairs[1:]):
        if longer <= shorter:
            unit = result.input.bare_unit
            what = f"at {quantity:g} {unit} the stick is wet for {longer:g} mm, at {before:g} {unit} for {shorter:g} mm; one of them is wrong"
            raise Wrong(f"{session.file}:{lines[quantity]}: dip: {what} (line {lines[before]})")
    quantities, dips = zip(*pairs)
    return Stick(box, result.input, str(session.started), dips, quantities, tuple(shown))


def monotone(xs: Sequence[float], ys: Sequence[float], at: Floats) -> Floats:
    """A cubic through points that turns back nowhere between them; xs rising. Beyond the ends it is held."""
    x, y = np.array(xs, dtype=np.float64), np.array(ys, dtype=np.float64)
    widths, slopes = np.diff(x), np.diff(y) / np.diff(x)
    tangents = np.concatenate(([slopes[0]], np.zeros(len(x) - 2), [slopes[-1]]))
    for k in range(1, len(x) - 1):
        if slopes[k - 1] * slopes[k] > 0:  # weighted harmonic mean
            a, b = 2 * widths[k] + widths[k - 1], widths[k] + 2 * widths[k - 1]
            tangents[k] = (a + b) / (a / slopes[k - 1] + b / slopes[k])
    where = np.clip(at, x[0], x[-1])
    link = np.clip(np.searchsorted(x, where, "right") - 1, 0, len(widths) - 1)
    t = (where - x[link]) / widths[link]
    ends = y[link] * (1 + 2 * t) * (1 - t) ** 2 + y[link + 1] * t**2 * (3 - 2 * t)
    found: Floats = ends + widths[link] * t * (1 - t) * (tangents[link] * (1 - t) - tangents[link + 1] * t)
    return found


def ticks(stick: Stick) -> tuple[list[float], list[float]]:
    """Round quantities with a number, and those between them."""
    low, high = stick.quantities[0], stick.quantities[-1]

    def at(step: float) -> list[float]:
        return [k * step for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]

    def closest(step: float) -> float:
        places = monotone(stick.quantities, stick.dips, np.array(at(step)))
        return float(np.min(np.diff(places))) if len(places) > 1 else math.inf

    step = round_step((high - low) / 100)
    while closest(step) < LEAST_MAJOR:
        step = round_step(step * 1.01)
    minor = next((step / parts for parts in (10, 5, 4, 2) if closest(step / parts) >= LEAST_MINOR), step)
    strong = at(step)
    return strong, (
        [one for one in at(minor) if min(abs(one - other) for other in strong) > minor / 2]
        if strong
        else at(minor)
    )


def drawing(stick: Stick) -> Drawing:
    """Every piece at full size: a millimetre is a millimetre. The stick's lower end is at the bottom of its first piece."""
    length = stick.dips[-1]
    count = max(1, math.ceil(length / LONGEST_PIECE))
    piece = length / count
    width = max(NARROWEST, 2 * MARGIN + count * STRIP + (count - 1) * GAP)
    bottom = HEAD + piece + ABOVE
    shapes = _head(stick, width)
    strong, fine = ticks(stick)
    for number in range(count):
        left = MARGIN + number * (STRIP + GAP)
        shapes += _piece(
            stick, left, bottom, number * piece, (number + 1) * piece, strong, fine, number, count
        )
    return Drawing(width, bottom + MARGIN, tuple(shapes))


def _piece(
    stick: Stick, left: float, bottom: float, first: float, last: float,
    strong: Sequence[float], fine: Sequence[float], number: int, count: int,
) -> list[Shape]:  # fmt: skip
    """One length of the stick, from `first` to `last` mm above its lower end."""
    right, end = left + STRIP, bottom - (last - first)
    top = end - ABOVE
    shapes: list[Shape] = [
        Line((left, top), (left, bottom), 0.2, FAINT),
        Line((right, top), (right, bottom), 0.2, FAINT),
        Line((left, bottom), (right, bottom), 0.5),
        Line((left, end), (left + 3, end), 0.2, FAINT),  # short: a figure may stand on it
        Line((right - 3, end), (right, end), 0.2, FAINT),
    ]
    lower = "lower end of the stick" if number == 0 else f"{first:.0f} mm: on piece {number}"
    shapes.append(Words((left, bottom + 3), lower, 2.3, centred=False))
    if number < count - 1:
        shapes.append(
            Words((left, top - 2.5), f"{last:.0f} mm: piece {number + 2} goes on", 2.3, centred=False)
        )
    decimals = _decimals(strong)
    for quantity in (*fine, *strong):
        dip = stick.dip_at(quantity)
        if not first - 1e-6 <= dip <= last + 1e-6:
            continue
        y = bottom - (dip - first)
        if quantity not in strong:
            shapes.append(Line((left, y), (left + 5, y), 0.2))
            continue
        shapes.append(Line((left, y), (left + 9, y), 0.45))
        y = min(y, bottom - HALF_FIGURE)  # clear of the end's line
        shapes.append(Words((left + 10, y), f"{quantity:.{decimals}f}", 4.0, centred=False, bold=True))
        if (shown := stick.shows(quantity)) is not None:
            shapes.append(Words((left + 22, y), f"{shown:.{max(1, decimals)}f}", 2.8, centred=False))
    return shapes


def _decimals(values: Sequence[float]) -> int:
    return max((len(f"{value:.6f}".rstrip("0").partition(".")[2]) for value in values), default=0)


def _head(stick: Stick, width: float) -> list[Shape]:
    unit, room = stick.input.unit, width - 2 * MARGIN
    beside = "; beside it: what the gauge shows on the ground" if stick.shown else ""
    lines = [
        (f"{stick.box}: {stick.input.name}, {unit} above the unusable", True),
        (f"Dipstick, PARKED ATTITUDE; points taken {stick.day}", True),
        (f"bold: {unit} in the tank{beside}", False),
        (
            "Not drawn beyond its points. Print at 100 %; mark a stick from it: fuel takes the ink off paper.",
            False,
        ),
        ("Advisory: dip it twice, and never fly on one figure.", True),
    ]
    size = min(fitted(text, room, 3.4) for text, _ in lines)
    shapes: list[Shape] = []
    y = MARGIN
    for text, bold in lines:
        shapes.append(Words((MARGIN, y), text, size, centred=False, bold=bold))
        y += 5.0
    shapes += scale_bar(MARGIN, y + 3)
    told = f"{SCALE_BAR} mm: measure it on the print"
    shapes.append(Words((MARGIN + SCALE_BAR + 3, y + 3), told, size, centred=False))
    return shapes


def write(stick: Stick, path: Path) -> Drawing:
    """A .svg or .png. Raises OSError, ImportError."""
    made = drawing(stick)
    if path.suffix == ".svg":
        path.write_text(svg(made), encoding="utf-8")
    else:
        png(made, path)
    return made
