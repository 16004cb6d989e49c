"""Curves through breakpoints: found here, drawn by `gaugebox.curve`."""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

import numpy as np

from gaugebox.curve import LIMIT, make_curve
from gaugelight.circuits import Floats

if TYPE_CHECKING:
    from gaugebox.curve import Curve


class NoCurve(ValueError):
    """The law cannot be followed that closely; the text says where."""


def fit(x0: int, law: Floats, tolerance: Floats | float, through: tuple[int, ...] = ()) -> Curve:
    """A curve that follows `law`, given at x0, x0 + 1, ..., within `tolerance` (or 1) at each of these integers.

    Greedy from the left, breakpoints on the law, each segment as long as tolerance and 31 bits allow; `through` names
    integers that must be breakpoints. Raises NoCurve.
    """
    allowed = np.broadcast_to(np.asarray(tolerance, dtype=np.float64), law.shape) - 0.5
    ys = np.rint(law).astype(np.int64)
    end = len(law) - 1
    stops = sorted({x - x0 for x in through if 0 < x - x0 < end} | {end})
    breakpoints = [0]
    for stop in stops:
        while (start := breakpoints[-1]) < stop:
            good, bad, reach = start, stop + 1, start + 1
            while good + 1 < bad:
                if _holds(law, ys, allowed, start, reach):
                    good = reach
                    reach = min(start + 2 * (good - start), bad - 1)
                else:
                    bad = reach
                reach = reach if good < reach < bad else (good + bad) // 2
            if good == start:
                raise NoCurve(f"no straight line follows the law near {x0 + start}")
            breakpoints.append(good)
    xs = array("i", [x0 + k for k in breakpoints])
    return make_curve(xs, array("i", [int(ys[k]) for k in breakpoints]))


def _holds(
    law: Floats, ys: "np.ndarray[tuple[int], np.dtype[np.int64]]", allowed: Floats, a: int, b: int
) -> bool:
    """Whether the straight line from a to b stays within what is allowed, and within 31 bits."""
    rise = int(ys[b] - ys[a])
    if (b - a) * (abs(rise) + 1) >= LIMIT:
        return False
    line = ys[a] + np.arange(b - a + 1) * (rise / (b - a))
    return bool(np.all(np.abs(line - law[a : b + 1]) <= np.maximum(allowed[a : b + 1], 0.5)))


def breakpoints(curve: Curve) -> int:
    return len(curve[1])
