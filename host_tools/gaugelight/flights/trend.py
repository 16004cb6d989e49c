"""What changes slowly, found in a recorded flight: leak-down and pump cycles of the hydraulics, slosh against damping, fuel burnt and moved.

Pure functions on arrays of readings; nan is no reading. What they say is plus or minus at 95 %, from one flight: what scatters from flight to
flight is not in it. That an accumulator leaks down, and its pump tops it up when a switch closes, is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gaugebox.measure import DAMPING_MS
from gaugelight.calibration.distributions import student_95
from gaugelight.calibration.straight_line import fit_line

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

TURN_S = DAMPING_MS / 1000  # of the box's damper
# hydraulics: a rise is a pump cycle when it is so many times the noise, and such a share of all that the pressure does
NOISES, SHARE_OF_RANGE = 8.0, 0.25
SEEN = 4.0  # times the noise: a fall before the pump comes on
SETTLES, LEAST_REST = (
    0.1,
    8,
)  # of a rest, left out at its begin: what was pumped in warm cools (ours); blocks of a rest that tell a slope
BLOCKS_A_REST = 60
LEAST_OF_LONGEST = 0.25  # of the longest rest: what is shorter has been cut off by a use
LEAST_INTERVALS = 5
# slosh: length of a window
WINDOW_S = 102.4
MOST_MISSING = 0.1
DAMPINGS = (0.0, 0.5, 1.0, 2.0, 5.0, 10.0, 12.0, 20.0, 30.0, 60.0)
# tanks
BLOCK_S, LEAST_BLOCKS = 30.0, 6
MOST_BLOCKS = 400


@dataclass(frozen=True)
class Slope:
    """Units a second; plus_minus at 95 %. level: at the middle of the times. count: how many values it is from, effective: how many
    independent ones they are worth."""

    value: float
    plus_minus: float
    level: float
    middle: float
    count: int
    effective: float

    def at(self, seconds: Floats) -> Floats:
        return self.level + self.value * (seconds - self.middle)


def slope_of(seconds: Floats, values: Floats, block_s: float = BLOCK_S) -> Slope | None:
    """How fast it changes, by least squares; None where there is too little of it.

    Slosh makes neighbouring readings alike, so that there are fewer of them than it seems. Readings are first averaged over blocks; what
    the blocks' residuals still have in common, r from one to the next, leaves n (1 - r) / (1 + r) of n independent (of an AR(1) process; from
    memory), by which the standard deviation and the degrees of freedom go.
    """
    t, v = blocks(seconds, values, block_s)
    if len(t) < LEAST_BLOCKS:
        return None
    middle = float(t.mean())
    line = fit_line(t.tolist(), v.tolist(), middle)
    residuals = np.array(line.residuals)
    total = float(residuals @ residuals)
    r = float(residuals[1:] @ residuals[:-1]) / total if total > 0 else 0.0
    # a straight line takes some of what they have in common along: -1/n each for level and slope, about (Kendall's bias; from memory)
    r = min(0.95, max(0.0, r + (2 + 4 * max(0.0, r)) / len(t)))
    effective = max(3.0, len(t) * (1 - r) / (1 + r))
    deviation = line.u_slope * math.sqrt((len(t) - 2) / (effective - 2))
    band = student_95(effective - 2) * deviation
    return Slope(line.slope, band, line.intercept, middle, len(t), effective)


def blocks(seconds: Floats, values: Floats, block_s: float) -> tuple[Floats, Floats]:
    """Mean time and mean of each block of that length that is full by half at least; at most MOST_BLOCKS: longer blocks then."""
    if not len(seconds):
        return seconds, values
    length = max(block_s, float(seconds[-1] - seconds[0]) / MOST_BLOCKS)
    number = ((seconds - seconds[0]) / length).astype(np.int64)
    there = ~np.isnan(values)
    size = int(number[-1]) + 1
    counts = np.bincount(number[there], minlength=size)
    usual = float(np.median(np.diff(seconds))) if len(seconds) > 1 else length
    full = counts >= max(1.0, length / usual / 2)
    with np.errstate(invalid="ignore", divide="ignore"):
        t = np.bincount(number[there], seconds[there], size) / counts
        v = np.bincount(number[there], values[there], size) / counts
    return t[full], v[full]


def steady_slope(values: Floats, seconds: Floats) -> float:
    """A second: the median of what it changes by over a sixth of the time, so that a sudden step or two move it little."""
    apart = max(1, len(values) // 6)
    return float(np.median((values[apart:] - values[:-apart]) / (seconds[apart:] - seconds[:-apart])))


# -- hydraulics


@dataclass(frozen=True)
class Rest:
    """From a top of the pressure to where the pump comes on again: rows, and how fast the pressure falls meanwhile, units a second; None
    where it is too short to tell. used: it has not leaked as far as that, something has used it."""

    first: int
    end: int
    slope: float | None
    used: bool


@dataclass(frozen=True)
class Hydraulics:
    """noise, rise: one standard deviation of a reading; the smallest rise that counts as a pump cycle; in the pressure's unit.

    starts     rows at which the pump comes on
    leak       the fall while the pump rests, units a second (less than nought), plus or minus at 95 %; None: no rest is long enough
    intervals  seconds from one start to the next, and the row of that, where nothing has used the pressure meanwhile
    drift      by how much they grow, seconds an hour, plus or minus; None with fewer than five
    """

    starts: tuple[int, ...]
    rests: tuple[Rest, ...]
    noise: float
    rise: float
    leak: tuple[float, float] | None
    intervals: tuple[tuple[int, float], ...]
    drift: tuple[float, float] | None

    @property
    def interval(self) -> float | None:
        return float(np.median([one for _, one in self.intervals])) if self.intervals else None

    @property
    def telling(self) -> list[Rest]:
        return [rest for rest in self.rests if rest.slope is not None]


def hydraulics(
    seconds: Floats, pressure: Floats, least_rise: float = 0.0, anew: Sequence[int] = ()
) -> Hydraulics | None:
    """Pump cycles and leak-down of a pressure that an accumulator holds; None where it does nothing of the kind.

    A cycle is a rise between two turning points of the pressure. A point is one when the pressure has come back from it by more than `rise`
    (a hysteresis, so no threshold has to be known): a quarter of all that it moves through, eight times its noise, and `least_rise`. A pump
    fills an accumulator at least twice as fast as it leaks; where it never comes on, the pressure must fall by as much.
    anew: rows before which nobody was listening. Nothing is told across them, and of a pump that ran already when the
    recording began, nobody knows since when.
    """
    known = np.flatnonzero(~np.isnan(pressure))
    if len(known) < 3:
        return None
    t, p = seconds[known], pressure[known]
    noise = noise_of(p)
    low, high = np.percentile(p, (1, 99))
    rise = max(SHARE_OF_RANGE * float(high - low), NOISES * noise, least_rise)
    if rise <= 0:
        return None
    edges = sorted({0, *np.searchsorted(known, anew).tolist(), len(known)})
    lows: list[int] = []
    starts: list[list[int]] = []
    found: list[tuple[int, int]] = []
    rises: list[float] = []
    for edge, after in zip(edges, edges[1:]):
        its_lows, its_highs = ([edge + k for k in some] for some in turning_points(p[edge:after], rise))
        lows += its_lows
        starts.append([low for low in its_lows if float(p[edge : low + 1].max() - p[low]) > SEEN * noise])
        found += _fallen(its_lows, its_highs, edge, after - 1)
        rises += _risen(t, its_lows, its_highs)
    rests = _rests(t, p, found, rise)
    slopes = [rest.slope for rest in rests if rest.slope is not None]
    fallen = [float(t[rest.end] - t[rest.first]) for rest in rests]
    if not slopes or np.mean(slopes) >= 0 or rises and np.median(rises) > np.median(fallen) / 2:
        return None
    if not lows and -np.mean(slopes) * max(fallen) < rise:
        return None
    told = {rest.end for rest in rests if rest.slope is not None and not rest.used}
    intervals = [(b, float(t[b] - t[a])) for some in starts for a, b in zip(some, some[1:]) if b in told]
    return Hydraulics(
        tuple(int(known[one]) for some in starts for one in some),
        tuple(replace(rest, first=int(known[rest.first]), end=int(known[rest.end])) for rest in rests),
        noise,
        rise,
        _leak(t, p, rests, slopes),
        tuple((int(known[row]), one) for row, one in intervals),
        _drift(np.array([t[row] for row, _ in intervals]), np.array([one for _, one in intervals])),
    )


def _risen(seconds: Floats, lows: list[int], highs: list[int]) -> list[float]:
    """Seconds of each rise."""
    nexts = [(low, min([high for high in highs if high > low], default=low)) for low in lows]
    return [float(seconds[high] - seconds[low]) for low, high in nexts if high > low]


def _fallen(lows: list[int], highs: list[int], begin: int, last: int) -> list[tuple[int, int]]:
    """What lies between a top, or the begin, and the next low, or the last row."""
    ends = lows if lows and (not highs or lows[-1] > highs[-1]) else [*lows, last]
    found = [(max([high for high in highs if high < end], default=begin), end) for end in ends]
    return [(first, end) for first, end in found if end > first]


def _rests(seconds: Floats, pressure: Floats, found: Sequence[tuple[int, int]], rise: float) -> list[Rest]:
    longest = max((seconds[end] - seconds[first] for first, end in found), default=0.0)
    rests = []
    for first, end in found:
        slope = _rest_slope(seconds[first:end], pressure[first:end], longest)
        used = slope is None or _falls_out(seconds[first : end + 1], pressure[first : end + 1], slope, rise)
        rests.append(Rest(first, end, slope, used))
    return rests


def _falls_out(seconds: Floats, pressure: Floats, slope: float, rise: float) -> bool:
    """Whether it ends well below the line on which it has fallen."""
    off = pressure - slope * seconds
    return float(off[-1] - np.median(off)) < -rise / 2


def noise_of(values: Floats) -> float:
    """Standard deviation of what moves from one reading to the next, over the root of two; by the median, so that steps do not count."""
    steps = np.diff(values)
    return float(np.median(np.abs(steps - np.median(steps)))) * 1.4826 / math.sqrt(2) if len(steps) else 0.0


def turning_points(values: Floats, hysteresis: float) -> tuple[list[int], list[int]]:
    """Lows and highs, in turn, each left by more than the hysteresis."""
    lows: list[int] = []
    highs: list[int] = []
    least = most = 0
    going = 0
    numbers = values.tolist()
    for i, value in enumerate(numbers):
        if value <= numbers[least]:
            least = i
        if value > numbers[most]:
            most = i
        if going <= 0 and value - numbers[least] > hysteresis:
            lows.append(least)
            most, going = i, 1
        elif going >= 0 and numbers[most] - value > hysteresis:
            highs.append(most)
            least, going = i, -1
    return lows, highs


def _rest_slope(seconds: Floats, pressure: Floats, longest: float) -> float | None:
    if len(seconds) < LEAST_REST or seconds[-1] - seconds[0] < longest * LEAST_OF_LONGEST:
        return None
    begin = seconds[0] + SETTLES * (seconds[-1] - seconds[0])
    after = seconds >= begin
    length = float(seconds[-1] - begin) / BLOCKS_A_REST
    t, p = blocks(seconds[after], pressure[after], max(length, 1e-9))
    return steady_slope(p, t) if len(t) >= LEAST_REST else None


def _leak(
    seconds: Floats, pressure: Floats, rests: Sequence[Rest], slopes: Sequence[float]
) -> tuple[float, float] | None:
    """The mean of the rests, by how they scatter; of fewer than three that of the longest, by what scatters in it."""
    if len(slopes) >= 3:
        values = np.array(slopes)
        return float(values.mean()), student_95(len(values) - 1) * float(values.std(ddof=1)) / math.sqrt(
            len(values)
        )
    longest = max((rest for rest in rests if rest.slope is not None), key=lambda rest: rest.end - rest.first)
    inside = slice(longest.first, longest.end)
    length = float(seconds[inside][-1] - seconds[inside][0])
    found = slope_of(seconds[inside], pressure[inside], length / BLOCKS_A_REST)
    assert longest.slope is not None
    return None if found is None else (longest.slope, found.plus_minus)


def _drift(moments: Floats, intervals: Floats) -> tuple[float, float] | None:
    if len(intervals) < LEAST_INTERVALS:
        return None
    line = fit_line(moments.tolist(), intervals.tolist(), float(moments.mean()))
    return line.slope * 3600, student_95(line.degrees) * line.u_slope * 3600


# -- slosh


@dataclass(frozen=True)
class Slosh:
    """spread: one standard deviation of the reading within a window, about a straight line, in its unit: the median of all windows, and that
    of the roughest twentieth. period: seconds, of the strongest swing; None: there is none that stands out. frequencies, density: the
    mean of the windows' spectra, unit squared per hertz. step_s: between two readings."""

    spread: float
    roughest: float
    windows: int
    period: float | None
    frequencies: Floats
    density: Floats
    step_s: float
    window_s: float

    def left(self, damping_s: float) -> float:
        """What a damper of that time constant leaves of the spread."""
        return self.spread * self.share_left(damping_s)

    def share_left(self, damping_s: float) -> float:
        total = float(self.density.sum())
        if not total:
            return 1.0
        gains = gain(self.frequencies, damping_s) ** 2
        return math.sqrt(float((gains * self.density).sum()) / total)


def gain(frequencies: Floats, damping_s: float) -> Floats:
    """What the box's damper leaves of a swing: 0 to 1, by frequency in Hz.

    Each tenth of a second it takes y += a (x - y), a = 0.1 s / damping: a first-order low-pass (exponential smoothing), whose
    response is |H| = a / sqrt(1 - 2 (1 - a) cos(2 pi f T) + (1 - a)**2), T = 0.1 s: the z-transform a / (1 - (1 - a) / z) on the unit
    circle. The tests hold it to the box's own damper, and to scipy.signal.freqz.
    """
    a = min(1.0, TURN_S / damping_s) if damping_s > TURN_S else 1.0
    angle = 2 * math.pi * frequencies * TURN_S
    response: Floats = a / np.sqrt(1 - 2 * (1 - a) * np.cos(angle) + (1 - a) ** 2)
    return response


def slosh(
    seconds: Floats, values: Floats, window_s: float = WINDOW_S, anew: Sequence[int] = ()
) -> Slosh | None:
    """Of an undamped reading; None where it is too short, or at fault too often. A straight line is taken out of each window: fuel that is
    burnt is no slosh. Hann windows, as of Welch's method (from memory). anew: rows before which nobody was listening; no window spans one.
    """
    step = float(np.median(np.diff(seconds))) if len(seconds) > 1 else 1.0
    size = max(16, round(window_s / step))
    edges = sorted({0, *anew, len(values)})
    pieces = [
        values[at : at + size]
        for edge, after in zip(edges, edges[1:])
        for at in range(edge, after - size + 1, size // 2)
        if seconds[at + size - 1] - seconds[at] < 1.1 * size * step
    ]
    whole = [_filled(piece) for piece in pieces if np.count_nonzero(np.isnan(piece)) <= MOST_MISSING * size]
    if not whole:
        return None
    t = np.arange(size) - (size - 1) / 2
    flat = np.array(whole)
    flat -= flat.mean(axis=1, keepdims=True)
    flat -= np.outer(flat @ t / (t @ t), t)
    spreads = np.sqrt((flat**2).sum(axis=1) / (size - 2))
    hann = 0.5 - 0.5 * np.cos(2 * math.pi * np.arange(size) / size)
    spectra = np.abs(np.fft.rfft(flat * hann, axis=1)) ** 2 * 2 * step / (hann @ hann)
    density: Floats = spectra.mean(axis=0)[1:].astype(np.float64)
    frequencies: Floats = np.fft.rfftfreq(size, step)[1:].astype(np.float64)
    roughest = float(np.percentile(spreads, 95))
    return Slosh(
        float(np.median(spreads)),
        roughest,
        len(whole),
        _period(frequencies, density),
        frequencies,
        density,
        step,
        size * step,
    )


def _filled(values: Floats) -> Floats:
    """What is missing is put straight between its neighbours."""
    missing = np.isnan(values)
    if not missing.any():
        return values.copy()
    at = np.arange(len(values))
    return np.interp(at, at[~missing], values[~missing])


def _period(frequencies: Floats, density: Floats) -> float | None:
    """Of the peak, where it stands three times above what lies about it: the median of a decade around."""
    if not density.any():
        return None
    # below three swings a window it is drift
    usable = np.flatnonzero(np.arange(len(density)) >= 2)
    peak = int(usable[np.argmax(density[usable])])
    about = (frequencies > frequencies[peak] / 3) & (frequencies < frequencies[peak] * 3)
    stands_out = density[peak] > 3 * float(np.median(density[about]))
    return 1 / float(frequencies[peak]) if stands_out else None


def enough_damping(found: Slosh, step: float, dampings: Sequence[float] = DAMPINGS) -> float | None:
    """The least of them with which two standard deviations stay within half a displayed step: then the number stands still; None: none
    does."""
    return next((one for one in dampings if 2 * found.left(one) <= step / 2), None)


# -- tanks


@dataclass(frozen=True)
class Flow:
    """Of one stretch of time: rows; units an hour, less than nought where the tank falls; plus or minus at 95 %."""

    first: int
    end: int
    slope: Slope

    @property
    def per_hour(self) -> float:
        return self.slope.value * 3600

    @property
    def plus_minus(self) -> float:
        return self.slope.plus_minus * 3600


def flow(seconds: Floats, values: Floats, first: int, end: int) -> Flow | None:
    found = slope_of(seconds[first:end], values[first:end])
    return None if found is None else Flow(first, end, found)


def together(flows: Sequence[Flow], seconds: Floats) -> tuple[float, float] | None:
    """The mean an hour of several stretches, each as long as it lasts, and its plus or minus at 95 %."""
    if not flows:
        return None
    lasts = np.array([float(seconds[one.end - 1] - seconds[one.first]) for one in flows])
    shares = lasts / lasts.sum()
    rate = float(shares @ np.array([one.per_hour for one in flows]))
    return rate, math.sqrt(float((shares**2) @ np.array([one.plus_minus**2 for one in flows])))


def stretches(there: Bools, seconds: Floats, shortest_s: float, skip_s: float = 0.0) -> list[tuple[int, int]]:
    """Rows from, and up to but not with, for which it is so as long as that at least; so many seconds of each are left out at its begin."""
    edges = np.flatnonzero(np.diff(there.astype(np.int8), prepend=0, append=0))
    found = []
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist()):
        first += int(np.searchsorted(seconds[first:end], seconds[first] + skip_s))
        if end > first and seconds[end - 1] - seconds[first] >= shortest_s:
            found.append((first, end))
    return found


def rising(seconds: Floats, values: Floats) -> Bools:
    """Where a tank is being filled, for a log that has no switches: between a low and a high of its readings, averaged over BLOCK_S, that
    are further apart than six times the averages' noise and a hundredth of all that they move through."""
    there = np.zeros(len(values), bool)
    t, v = blocks(seconds, values, BLOCK_S)
    if len(t) < 3:
        return there
    hysteresis = max(6 * noise_of(v), 0.01 * float(v.max() - v.min()), 1e-9)
    lows, highs = turning_points(v, hysteresis)
    for low in lows:
        after = [high for high in highs if high > low]
        high = after[0] if after else len(v) - 1
        there |= (seconds >= t[low]) & (seconds <= t[high])
    return there


@dataclass(frozen=True)
class Agrees:
    """Whether what was found, plus or minus, reaches into a stated range."""

    found: float
    plus_minus: float
    stated: tuple[float, float]

    @property
    def holds(self) -> bool:
        low, high = self.stated
        return self.found + self.plus_minus >= low and self.found - self.plus_minus <= high
