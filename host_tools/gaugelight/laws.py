"""What a sender says of the quantity it measures: its reading for a signal, exactly."""

import numpy as np

from gaugelight.boxfile import Input
from gaugelight.circuits import Floats


def reading_of(one: Input, signals: Floats) -> Floats:
    """The sender's law, exactly: straight lines through its points, the ends held, or going on if it is linear."""
    xs = [float(s) for s, _ in one.points]
    ys = [float(r) for _, r in one.points]
    if one.law != "points":
        return ys[0] + (signals - xs[0]) * (ys[1] - ys[0]) / (xs[1] - xs[0])
    return np.interp(signals, xs, ys)
