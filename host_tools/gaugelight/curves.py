"""Curves through breakpoints: found here, drawn by `gaugebox.curve`."""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from gaugebox.curve import LIMIT, make_curve
from gaugelight.circuits import Counts, Floats

if TYPE_CHECKING:
    from gaugebox.curve import Curve

UNITS_A_STEP = 50  # a reading has at least this many units to a displayed step
GUESS = 4096  # length of a first link
BLOCK = 64
# A line between breakpoints up to 2**20 apart meets a half exactly or misses it by more than this: moving the halves by a
# hair settles what floats would leave to chance, and loses nothing.
HAIR = 2.0**-22


class NoCurve(ValueError):
    """The law cannot be followed that closely; the text says where."""


def fit(
    x0: int,
    law: Floats,
    tolerance: Floats | float,
    through: tuple[int, ...] = (),
    between: tuple[float, float] | None = None,
) -> Curve:
    """A curve that follows `law`, given at x0, x0 + 1, ..., within `tolerance` (or 1) at each of these integers.

    `law` rises or falls throughout. `through` names integers that must be breakpoints, with the law's rounded value; `between`
    gives two values that the curve, like the law, stays between. There are few breakpoints, for most laws as few as can be
    (`gaugelight.least_breakpoints` tells): each link starts where, of all places in which the one before may end, a line
    gets farthest. Raises NoCurve, or ValueError when the box could not hold the curve.
    """
    lowest, highest = allowed(law, tolerance)
    if between is not None:
        lowest, highest = np.maximum(lowest, round(between[0])), np.minimum(highest, round(between[1]))
    end = len(law) - 1
    pins = sorted({x - x0 for x in through if 0 <= x - x0 <= end})
    lowest[pins] = highest[pins] = np.rint(law[pins])
    if not pins and (straight := _straight(x0, law, tolerance)) is not None:
        return straight
    falls = bool(law[-1] < law[0])
    corridor = _Corridor(-highest, -lowest, HAIR) if falls else _Corridor(lowest, highest, -HAIR)
    stops = [pin for pin in pins if 0 < pin < end] + [end]
    starts = [(0, corridor.best_start(stops[0]))]
    xs, ys, length = array("i"), array("i"), GUESS
    for stop in stops:
        while starts[0][0] < stop:
            link = corridor.longest_link(starts, stop, length)
            if link.reach == link.x:
                way = "falling" if falls else "rising"
                raise NoCurve(f"no {way} straight line follows the law near {x0 + link.x}")
            xs.append(x0 + link.x)
            ys.append(int(-link.y if falls else link.y))
            starts = corridor.ends(link, stop)
            length = 2 * (starts[0][0] - link.x)
    xs.append(x0 + end)
    ys.append(int(-starts[0][1] if falls else starts[0][1]))
    curve = make_curve(xs, ys)
    if np.any(np.abs(values(curve) - law) > np.maximum(tolerance, 1.0)):
        raise NoCurve("the curve found does not keep its tolerance")
    return curve


def _straight(x0: int, law: Floats, tolerance: Floats | float) -> Curve | None:
    """The straight line between the law's ends, where that is enough: nothing lies nearer to a straight law."""
    end = len(law) - 1
    ys = np.rint(law[[0, end]]).astype(int).tolist()
    if end * (abs(ys[1] - ys[0]) + 1) >= LIMIT or np.any(
        np.abs(law - np.linspace(ys[0], ys[1], end + 1)) > tolerance
    ):
        return None
    curve = make_curve(array("i", [x0, x0 + end]), array("i", ys))
    return None if np.any(np.abs(values(curve) - law) > np.maximum(tolerance, 1.0)) else curve


def allowed(law: Floats, tolerance: Floats | float) -> tuple[Floats, Floats]:
    """The lowest and the highest integer within `tolerance` (or 1) of the law, at each place."""
    tolerance = np.maximum(tolerance, 1.0)
    lowest, highest = np.ceil(law - tolerance), np.floor(law + tolerance)
    lowest += law - lowest > tolerance  # where the difference was rounded
    highest -= highest - law > tolerance
    return lowest, highest


@dataclass(frozen=True)
class _Link:
    """Lines from (x, y) through the gates up to `reach`: their least and most slopes at each gate to get there."""

    x: int
    y: float
    reach: int
    least: Floats
    most: Floats
    too_flat: bool  # the next gate lies above all lines; else below, or too far for 31 bits


class _Corridor:
    """What a rising curve may say at the integers 0, 1, ..., and the gates that its lines must pass to say it.

    A line rounded to nearest says y from half a unit below y to just not half a unit above.
    """

    def __init__(self, lowest: Floats, highest: Floats, hair: float) -> None:
        np.maximum.accumulate(lowest, out=lowest)  # no less than before, no more than it may say later
        np.minimum.accumulate(highest[::-1], out=highest[::-1])
        self.lowest, self.highest = lowest, highest
        self.bottoms, self.tops = lowest - (0.5 - hair), highest + (0.5 + hair)
        self.steps = np.arange(1.0, len(lowest))
        self.steepest = np.floor(
            (LIMIT - 1) / self.steps
        )  # slope of a link that long, in 31 bits, and a little for rounding
        self.steepest -= 0.75
        self.steepest /= self.steps

    def best_start(self, stop: int) -> float:
        """The value at place 0 from which a link goes farthest, to `stop` at most: halving finds it."""
        low, high = self.lowest[0], self.highest[0]
        best, farthest = float(low), 0
        while low <= high and farthest < stop:
            y = float((low + high) // 2)
            link = self._link(0, y, stop, GUESS)
            if link.reach > farthest:
                best, farthest = y, link.reach
            if link.too_flat:
                high = y - 1
            else:
                low = y + 1
        return best

    def longest_link(self, starts: list[tuple[int, float]], stop: int, length: int) -> _Link:
        """The link from one of `starts` that goes farthest, to `stop` at most; `length` is a guess of how long it may be."""
        longest = self._link(*starts[0], stop, length)
        for x, y in starts[1:]:
            if longest.reach < stop and self._passes(x, y, longest.reach + 1):
                longest = self._link(x, y, stop, length)
        return longest

    def _passes(self, x: int, y: float, end: int) -> bool:
        """Whether a line from (x, y) passes all gates up to `end`."""
        least, most = self._slopes(x, y, end - x)
        return bool(least.max() <= most.min())

    def _slopes(self, x: int, y: float, length: int) -> tuple[Floats, Floats]:
        """Least and most slope of a line from (x, y) for each of the next `length` gates; none falls or leaves 31 bits."""
        gates, steps = slice(x + 1, x + 1 + length), self.steps[:length]
        least, most = self.bottoms[gates] - y, self.tops[gates] - y
        least /= steps
        least[0] = max(least[0], 0.0)
        most /= steps
        np.minimum(most, self.steepest[:length], out=most)
        return least, most

    def _link(self, x: int, y: float, stop: int, length: int) -> _Link:
        while True:
            length = min(length, stop - x)
            least, most = self._slopes(x, y, length)
            passed = _passed(least, most)
            if passed < length or length == stop - x:
                break
            length *= 4
        too_flat = 0 < passed < length and bool(least[passed] > most[:passed].min())
        return _Link(x, y, x + passed, least[:passed], most[:passed], too_flat)

    def ends(self, link: _Link, stop: int) -> list[tuple[int, float]]:
        """Breakpoints that a link may end in and the next one start from, the farthest first."""
        gates, steps = slice(link.x + 1, link.reach + 1), self.steps[: len(link.least)]
        low, high = np.maximum.accumulate(link.least), np.minimum.accumulate(link.most)
        touched = int(high.argmin() if link.too_flat else low.argmax())
        for heights, whole in ((low, np.ceil), (high, np.floor)):
            heights *= steps
            whole(heights, out=heights)
            heights += link.y
        np.maximum(low, self.lowest[gates], out=low)
        np.minimum(high, self.highest[gates], out=high)
        ends = np.flatnonzero(low <= high)
        if link.x + 1 + ends[-1] == stop:
            return [(stop, float((low[-1] + high[-1]) // 2))]
        # Beyond the line that passes the most gates lies what no link from (x, y) reaches. The next one starts on that line,
        # anywhere from the gate that holds it back to its end: nearer to the end the choice is finer, for luck with rounding.
        edge = high if link.too_flat else low
        ends = ends[min(int(np.searchsorted(ends, touched)), len(ends) - 1) :]
        last = len(ends) - 1
        back = sorted({0, last} | {round(last ** (k / 3)) for k in range(3) if last})
        chosen = ends[[last - b for b in back]]
        return list(zip((link.x + 1 + chosen).tolist(), edge[chosen].tolist()))


def _passed(least: Floats, most: Floats) -> int:
    """How many gates are passed before the largest `least` exceeds the smallest `most`.

    Block by block first, as running maxima are slow.
    """
    starts = np.arange(0, len(least), BLOCK)
    low = np.maximum.accumulate(np.maximum.reduceat(least, starts))
    high = np.minimum.accumulate(np.minimum.reduceat(most, starts))
    blocks = int(np.count_nonzero(low <= high))
    block = slice(blocks * BLOCK, (blocks + 1) * BLOCK)
    last_low, last_high = np.maximum.accumulate(least[block]), np.minimum.accumulate(most[block])
    if blocks:
        last_low, last_high = np.maximum(last_low, low[blocks - 1]), np.minimum(last_high, high[blocks - 1])
    return min(blocks * BLOCK, len(least)) + int(np.count_nonzero(last_low <= last_high))


def values(curve: Curve) -> Counts:
    """What the box says at every integer from the first breakpoint to the last: `gaugebox.curve.lookup`, all at once."""
    xs, ys = curve[0][: len(curve[1])], curve[1]
    said = np.empty(xs[-1] - xs[0] + 1, dtype=np.int64)
    steps = np.arange(len(said), dtype=np.int32)  # which holds the products, as the box does
    for x, y, next_x, next_y in zip(xs, ys, xs[1:], ys[1:]):
        dx, dy = next_x - x, next_y - y
        said[x - xs[0] : next_x - xs[0]] = y + (steps[:dx] * dy + (dx >> 1)) // dx
    said[-1] = ys[-1]
    return said


def breakpoints(curve: Curve) -> int:
    return len(curve[1])


@dataclass(frozen=True)
class Asked:
    """What one curve was fitted to: a law at x0, x0 + 1, ..., how far it may be off at each, and what it may not leave."""

    x0: int
    law: Floats
    tolerance: Floats
    between: tuple[float, float] | None = None

    def fitted(self) -> Curve:
        return fit(self.x0, self.law, self.tolerance, between=self.between)


def decimals_of(step: Fraction) -> int:
    """Of a reading that is shown in such steps."""
    return max(0, math.ceil(math.log10(UNITS_A_STEP / float(step))))
