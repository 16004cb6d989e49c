"""The curve of a tank: named cases, what always holds, scipy as referee."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from gaugelight.calibration import smooth, tank
from gaugelight.calibration.fitted import hysteresis, ways
from gaugelight.calibration.tank import Observed, TankFit, fit_tank

COMMON, EACH, NOISE, STEP = 0.005, 0.025, 0.1, 0.5


def session(
    added: Sequence[float], signals: Sequence[float], each: float = EACH, noise: float = NOISE
) -> list[Observed]:
    own = [each * (one != 0) for one in added]
    return [Observed(*one, noise) for one in zip(added, own, signals, strict=True)]


def poured(
    added: Sequence[float], *slips: tuple[int, float], falls: bool = False, noise: float = 0.0
) -> list[Observed]:
    """A box of 18 US gal, 5 ohm a gallon; slips: point and by how many ohm its signal is wrong."""
    there = np.cumsum(added)
    signals = 240 - 11.5 * there if falls else 5 * there
    signals += noise * np.random.default_rng(8).normal(size=len(added))
    for k, by in slips:
        signals[k] += by
    return session(added, signals.tolist())


NINE = [0.0] + [2.0] * 9
DOWN_TOO = [0.0] + [3.0] * 6 + [-3.0] * 6
AGAIN = [0.0, 2.0, 2.0, 0.0, 2.0, 2.0, 0.0, 0.0, 2.0, 2.0, 2.0]

# points, reading at the middle of the signals, which points stand in a zone
GOOD = {
    "one way": (poured(NINE, noise=0.1), 9.0),
    "falling, 240 to 33 ohm": (poured(NINE, noise=0.2, falls=True), 9.0),
    "four points": (poured([0.0, 6.0, 6.0, 6.0]), 9.0),
    "forty points": (poured([0.0] + [18 / 39] * 39, noise=0.1), 9.0),
    "up and down": (poured(DOWN_TOO, noise=0.1), 9.0),
    "drained only": (poured([18.0] + [-2.0] * 9), 9.0),
    "points again": (poured(AGAIN, noise=0.1), 7.0),
    "one drained by a slip": (poured([0.0, 2, 2, 2, -2, 2, 2, 2, 2, 2, 2, 2], noise=0.1), 9.0),
    "nothing uncertain": (session(NINE, (5 * np.cumsum(NINE)).tolist(), 0.0, 0.0), 9.0),
    "litres": (session([0.0] + [10.0] * 9, np.linspace(0, 90, 10).tolist(), 0.1), 45.0),
    "volts": (session(NINE, np.linspace(0.5, 4.5, 10).tolist(), noise=0.002), 9.0),
    "first is not nought": (poured([1.0] + [2.0] * 8, noise=0.1), 9.0),
}  # fmt: skip


@pytest.mark.parametrize("points, middle", GOOD.values(), ids=GOOD)
def test_a_box_is_found(points: list[Observed], middle: float) -> None:
    fit = fit_tank(points, COMMON, STEP)
    assert fit.lack is None and fit.bottom is None and fit.top is None
    reading, plus_minus = fit.band((fit.signals[0] + fit.signals[-1]) / 2)
    assert reading == pytest.approx(middle, abs=plus_minus) and plus_minus < 0.05 * middle
    assert max(abs(one) for one in fit.residuals) < 0.15
    well_formed(fit, points)


def well_formed(fit: TankFit, points: Sequence[Observed]) -> None:
    there = np.cumsum([one.added for one in points])
    assert len(fit.signals) == len(fit.readings) == len(fit.plus_minus) >= 2
    assert len(fit.residuals) == len(points)
    assert all(one < other for one, other in itertools.pairwise(fit.signals))
    steps = np.diff(fit.readings)
    assert (steps > 0).all() or (steps < 0).all()
    assert min(fit.plus_minus) > 0
    assert min(fit.readings) == pytest.approx(there.min(), abs=0.006)
    signals = [one.signal for one in points]
    room = 0.002 * (max(signals) - min(signals))
    assert min(signals) - room <= fit.signals[0] and fit.signals[-1] <= max(signals) + room


def test_few_breakpoints_for_a_box_more_for_a_wedge() -> None:
    there = np.cumsum(NINE)
    box = fit_tank(poured(NINE), COMMON, STEP)
    wedge = fit_tank(session(NINE, (20 * np.sqrt(there + 1)).tolist()), COMMON, STEP)
    assert len(box.signals) <= 4 < len(wedge.signals) <= 16


def test_the_cans_error_is_not_averaged_away() -> None:
    """However many pours, a full tank is known no better than the can; each pour's own error grows with the root of their number."""
    for pours in (6, 12, 24):
        points = poured([0.0] + [18 / pours] * pours)
        alike = fit_tank([replace(one, added_u=0.0) for one in points], 0.01, STEP)
        assert alike.band(90.0)[1] == pytest.approx(1.96 * 0.01 * 18, rel=0.15)
        own = fit_tank(points, 0.0, STEP)
        assert own.band(88.0)[1] == pytest.approx(1.96 * EACH * math.sqrt(pours), rel=0.3)


def test_what_is_there_at_first_was_measured_with_the_same_can() -> None:
    fit = fit_tank([replace(one, added_u=0.0) for one in poured([9.0] + [1.0] * 9)], 0.02, STEP)
    assert fit.plus_minus[0] == pytest.approx(1.96 * 0.02 * 9, rel=0.15)


def test_noise_of_the_signals_does_not_flatten_the_curve() -> None:
    """An ohm of noise where a pour is three, and the pours worse still: over the signals as read it comes out 5 % too flat."""
    there, rises = np.cumsum(FINE), []
    for seed in range(12):
        signals = 5 * there + np.random.default_rng(seed).normal(size=len(FINE))
        fit = fit_tank(session(FINE, signals.tolist(), each=0.15, noise=1.0), COMMON, STEP)
        rises.append(fit.band(85.0)[0] - fit.band(5.0)[0])
    assert np.mean(rises) == pytest.approx(16.0, abs=0.4)


def test_no_signal_is_exact() -> None:
    """What is written with a thousandth of the span is known to a third of that (JCGM 100, F.2.2.1)."""
    fit = fit_tank(session(NINE, (5 * np.cumsum(NINE)).tolist(), 0.0, 0.0), 0.0, step=0.001)
    assert 0.002 < min(fit.plus_minus) < max(fit.plus_minus) < 0.02
    coarse = fit_tank(session(NINE, (5 * np.cumsum(NINE)).tolist(), 0.0, 0.0), 0.0, step=0.5)
    assert min(coarse.plus_minus) == 0.05  # a tenth of what is shown: more would be read into it


def test_noise_is_no_turning_back() -> None:
    points = [replace(one, signal_u=5.0) for one in poured(FINE, noise=5.0)]
    fit = fit_tank(points, COMMON, STEP)
    assert abs(fit.band(45.0)[0] - 9.0) <= fit.band(45.0)[1] < 1.5


def test_an_error_of_the_zero_shifts_all() -> None:
    points = [replace(one, added_u=0.3 if k == 0 else 0.0) for k, one in enumerate(poured(NINE))]
    fit = fit_tank(points, 0.0, STEP)
    assert all(one == pytest.approx(1.96 * 0.3, rel=0.12) for one in fit.plus_minus)


def swimming(low: float, high: float, added: Sequence[float], noise: float = 0.05) -> list[Observed]:
    """A box whose float swims between two quantities only."""
    levels = np.clip(np.cumsum(added), low, high)
    rng = np.random.default_rng(4)
    return session(added, (5 * levels + noise * rng.normal(size=len(added))).tolist(), noise=noise)


FINE = [0.0] + [0.6] * 30
# quantities between which the float swims, as poured; the zones found
ZONES = {
    "both ends": (2.5, 15.7, FINE, True, True),
    "bottom": (2.5, 99.0, FINE, True, False),
    "top": (-1.0, 15.7, FINE, False, True),
    "neither": (-1.0, 99.0, FINE, False, False),
    "bottom, drained": (2.5, 99.0, [18.0] + [-0.6] * 30, True, False),
    "coarse": (4.5, 99.0, NINE, True, False),
    "one point lies: not seen": (0.5, 99.0, NINE, False, False),
    "one point lies at the top: not seen": (-1.0, 17.0, NINE, False, False),
}


@pytest.mark.parametrize("falls", [False, True], ids=["rising", "falling"])
@pytest.mark.parametrize("low, high, added, bottom, top", ZONES.values(), ids=ZONES)
def test_zones_where_the_float_lies(
    low: float, high: float, added: list[float], bottom: bool, top: bool, falls: bool
) -> None:
    points = swimming(low, high, added)
    if falls:
        points = [replace(one, signal=240 - 2 * one.signal, signal_u=2 * one.signal_u) for one in points]
    fit = fit_tank(points, COMMON, STEP)
    well_formed(fit, points)
    assert (fit.bottom is not None) == bottom and (fit.top is not None) == top
    readings, bands = (list(one)[:: -1 if falls else 1] for one in (fit.readings, fit.plus_minus))
    if fit.bottom:
        assert fit.bottom[0] == 0 and fit.bottom[1] == pytest.approx(low, abs=0.6)
        # nothing, then at once what it takes to lift the float
        assert readings[0] == 0 and readings[1] >= 0.8 * low
        assert bands[0] >= fit.bottom[1] and bands[1] < 1.0
    if fit.top:
        assert fit.top[0] == pytest.approx(high, abs=0.6) and fit.top[1] == 18.0
        assert readings[-1] == pytest.approx(fit.top[0], abs=0.006) and readings[-1] + bands[-1] >= 18.0
    for there, residual in zip(np.cumsum(added), fit.residuals):
        if any(zone and zone[0] + 0.01 < there < zone[1] - 0.01 for zone in (fit.bottom, fit.top)):
            assert residual == 0  # any quantity of the zone agrees
    if not bottom and not top and low < 0 and high > 18:
        assert max(abs(one) for one in fit.residuals) < 0.1
    signals = sorted(fit.signals)
    # no step within the noise
    assert min(b - a for a, b in itertools.pairwise(signals)) >= 2 * NOISE / 2 * 0.99


def test_where_between_two_pours_it_lifts_is_said_to_be_unknown() -> None:
    """Rectangular over the pour in which it lifted, but for what the curve above points to."""
    coarse = fit_tank(swimming(4.5, 99.0, NINE), COMMON, STEP)
    fine = fit_tank(swimming(4.5, 99.0, FINE), COMMON, STEP)
    assert 0.1 < fine.plus_minus[1] < coarse.plus_minus[1] < 1.96 * 2 / math.sqrt(12) + 0.1
    points = [replace(one, added_u=0.0) for one in swimming(4.5, 99.0, NINE)]
    read = tank._read(tank._in_order(points, 0.0), 3, 0)
    assert read.y[:3] * 18 == pytest.approx([5.0] * 3)  # it lay at 4, swam at 6
    assert np.sqrt(read.covariance[:3, :3]) * 18 == pytest.approx(np.full((3, 3), 2 / math.sqrt(12)))


def test_noise_is_no_zone() -> None:
    for seed in range(30):
        signals = 5 * np.cumsum(FINE) + 2 * np.random.default_rng(seed).normal(size=len(FINE))
        fit = fit_tank(session(FINE, signals.tolist(), noise=2.0), COMMON, STEP)
        assert fit.bottom is None and fit.top is None


def test_a_slow_curve_is_no_zone() -> None:
    """It widens upwards to four times: the signal goes slower and slower, and no zone is invented."""
    there = np.cumsum(FINE)
    signals = 90 * np.sqrt(there / 18) / 1.0
    fit = fit_tank(session(FINE, signals.tolist(), noise=0.3), COMMON, STEP)
    assert fit.top is None and fit.bottom is None


SLIPS = {
    "1.5 ohm": (poured(NINE, (4, 1.5)), "point 5 "),
    "9 ohm": (poured(NINE, (4, 9.0)), "point 5 "),
    "25 ohm": (poured(NINE, (4, -25.0)), "point 5 "),
    "the last": (poured(NINE, (9, -20.0)), "point 10 "),
    "on the way down": (poured(DOWN_TOO, (9, 6.0), noise=0.02), "point 10 "),
    "a can counted twice": (
        session([0.0] + [2.0] * 4 + [4.0] + [2.0] * 4, np.linspace(0, 90, 10).tolist()),
        "before point 6 ",
    ),
    "all scatter": (poured(FINE, noise=1.5), "scatter"),
}


@pytest.mark.parametrize("points, said", SLIPS.values(), ids=SLIPS)
def test_what_does_not_fit_is_told(points: list[Observed], said: str) -> None:
    fit = fit_tank(points, COMMON, STEP)
    well_formed(fit, points)
    assert said in (fit.lack or "")
    for reading in (4.0, 9.0, 14.0):
        said_reading, plus_minus = fit.band(5 * reading)
        assert abs(said_reading - reading) <= max(plus_minus, 0.4) and plus_minus < 1.5


REFUSED = {
    "three points": (poured([0.0, 9.0, 9.0]), "4 at least"),
    "nothing added": (session([0.0] * 5, [1.0, 2, 3, 4, 5]), "no fuel was added"),
    "no signal": (session(NINE, [5.0] * 10), "hardly moves: 5 to 5"),
    "within the noise": (session(NINE, np.linspace(5, 5.2, 10).tolist()), "hardly moves"),
    "turns back": (session(NINE, [0.0, 10, 20, 30, 40, 50, 45, 35, 25, 15]), "turns back between"),
    "no number": (session([0.0, 2, math.nan, 2, 2], [0.0, 10, 20, 30, 40]), "no number"),
    "below nought": ([replace(one, signal_u=-1.0) for one in poured(NINE)], "below 0"),
}


@pytest.mark.parametrize("points, why", REFUSED.values(), ids=REFUSED)
def test_refused(points: list[Observed], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        fit_tank(points, COMMON, STEP)


def test_hysteresis_of_a_float() -> None:
    """0.4 ohm behind either way, 5 ohm a gallon: 0.16 gal from up to down, and half of it, rectangular, in the plus or minus."""
    way = ways(DOWN_TOO)
    signals = 5 * np.cumsum(DOWN_TOO) - 0.4 * way
    signals[0], signals[6] = 0.0, 90.0 - 0.4
    fit = fit_tank(session(DOWN_TOO, signals.tolist(), noise=0.02), 0.0, STEP)
    assert fit.hysteresis == pytest.approx(0.16, abs=0.05)
    assert 1.96 * 0.08 / math.sqrt(3) < fit.band(45.0)[1] < 1.3 * 1.96 * 0.08 / math.sqrt(3)
    without = fit_tank(poured(DOWN_TOO, noise=0.02), 0.0, STEP)
    assert without.hysteresis is not None and without.hysteresis < 0.05
    assert fit_tank(poured(NINE), 0.0, STEP).hysteresis is None


WAYS = {
    "up": ([0.0, 1, 1], [0, 1, 1]),
    "as before": ([0.0, 1, 0, -1, 0], [0, 1, 1, -1, -1]),
    "not known": ([5.0, 0, 1], [0, 0, 1]),
}


@pytest.mark.parametrize("changes, way", WAYS.values(), ids=WAYS)
def test_ways(changes: list[float], way: list[float]) -> None:
    assert ways(changes).tolist() == way


DIFFERENCES = {
    "no way back": ([0.0, 1, 1, 1], [0.0, 1, 2, 3], [0.0, 0, 0, 0], None),
    "half a unit": ([0.0, 1, 1, -1, -1], [0.0, 1, 2, 1.5, 1], [0.0, 0.2, 0.4, -0.2, 0.1], 0.5),
    "nowhere the same signal": ([0.0, 1, -1], [0.0, 5, 1], [0.0, 1, 0], None),
    "of the points going up too": ([0.0, 1, -1, -1], [0.0, 5, 9, 1], [0.0, 3, 1, 1], 2.0),
}


@pytest.mark.parametrize("way, signals, residuals, largest", DIFFERENCES.values(), ids=DIFFERENCES)
def test_the_largest_difference(
    way: list[float], signals: list[float], residuals: list[float], largest: float
) -> None:
    found = hysteresis(np.array(way), signals, residuals)
    assert found is None if largest is None else found == pytest.approx(largest)


tanks = st.lists(st.floats(0.3, 3.0), min_size=4, max_size=20).flatmap(
    lambda pours: st.tuples(
        st.just([0.0, *pours]),
        st.lists(st.floats(0.2, 5.0), min_size=len(pours), max_size=len(pours)),
        st.lists(st.floats(-0.1, 0.1), min_size=len(pours) + 1, max_size=len(pours) + 1),
    )
)


@settings(derandomize=True, deadline=None, max_examples=50)
@given(tanks, st.booleans())
def test_always(tank: tuple[list[float], list[float], list[float]], falls: bool) -> None:
    """It rises or falls throughout, within the signals, from the least quantity on; turned over it is the same."""
    added, paces, noise = tank
    signals = np.concatenate([[0.0], np.cumsum(np.multiply(added[1:], paces))]) + noise
    points = session(added, signals.tolist(), noise=0.02)
    fit = fit_tank(points, COMMON, STEP)
    well_formed(fit, points)
    if falls:
        turned = fit_tank([replace(one, signal=100.0 - one.signal) for one in points], COMMON, STEP)
        places = np.linspace(fit.signals[0], fit.signals[-1], 20)
        for place in places:
            mine, his = fit.band(float(place)), turned.band(float(100.0 - place))
            assert mine == pytest.approx(his, abs=0.03 + 0.15 * mine[1])


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.permutations(range(1, 10)))
def test_the_order_of_the_pours_does_not_matter_to_the_curve(order: list[int]) -> None:
    """Filled, drained and filled again: the same quantities in any order are the same curve, but for what the pours add up to."""
    quantities = np.array([0.0, *(2.0 * k for k in order)])
    shuffled = [replace(one, added_u=0.0) for one in poured(np.diff(quantities, prepend=0.0).tolist())]
    straight = [replace(one, added_u=0.0) for one in poured(NINE)]
    one, other = fit_tank(shuffled, COMMON, STEP), fit_tank(straight, COMMON, STEP)
    for signal in (10.0, 33.0, 71.0):
        assert one.band(signal)[0] == pytest.approx(other.band(signal)[0], abs=0.02)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(st.lists(st.tuples(st.floats(-9, 9), st.floats(0.1, 5)), min_size=1, max_size=30))
def test_rising_against_scipys_isotonic_regression(pairs: list[tuple[float, float]]) -> None:
    values, weights = (np.array(column) for column in zip(*pairs))
    referee = optimize.isotonic_regression(values, weights=weights).x
    assert smooth.rising(values, weights) == pytest.approx(referee, abs=1e-9)
    steep = smooth.rising(values, weights, least=0.5)
    assert (np.diff(steep) >= 0.5 - 1e-9).all()
    # no farther from any rising truth, at its worst place, than the values were (Robertson, Wright and Dykstra, 1.6.1)
    truth = np.sort(values[::-1])
    assert np.abs(referee - truth).max() <= np.abs(values - truth).max() + 1e-9


def test_the_curve_against_least_squares() -> None:
    """Of one bend, and no second way of reading the points, the mean is what scipy's least squares finds for the same spline."""
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(0, 1, 12))
    x[0], x[-1] = 0.0, 1.0
    y = x**2 + 0.02 * rng.normal(size=12)
    points = smooth.Points(x, y, 0.02**2 * np.eye(12), np.zeros(12), np.zeros(12))
    grid = np.linspace(0, 1, 21)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(smooth, "BENDS", np.array([1.0]))
        patch.setattr(smooth, "BENDS_PRIOR", np.array([1.0]))
        patch.setattr(smooth, "ROUNDED", 0.0)
        patch.setattr(smooth, "SCATTERS", np.array([1.0]))
        patch.setattr(smooth, "SCATTERS_PRIOR", np.array([1.0]))
        found = smooth.fit([points], grid)
    # white noise of the second derivative on a fine grid, a coefficient each, and the three terms of the parabola
    fine = (np.arange(1000) + 0.5) / 1000

    def basis(at: np.ndarray) -> np.ndarray:
        ramps = np.maximum(at[:, None] - fine, 0) * math.sqrt(1 / 1000)
        return np.column_stack([np.ones_like(at), at, at**2, ramps])

    rows = np.vstack([basis(x) / 0.02, np.eye(1003)])
    solved = optimize.lsq_linear(rows, np.concatenate([(y - x) / 0.02, np.zeros(1003)])).x
    assert found.mean == pytest.approx(grid + basis(grid) @ solved, abs=2e-3)
    covariance = np.linalg.inv(rows.T @ rows)
    spread = np.sqrt(np.einsum("ij,jk,ik->i", basis(grid), covariance, basis(grid)))
    assert found.u == pytest.approx(spread, rel=0.01)


FEWEST = {
    "a line": (lambda x: 2 * x, 0.01, 2),
    "a corner": (lambda x: np.where(x < 0.5, x, 0.5 + 3 * (x - 0.5)), 1e-6, 3),
    "a parabola, coarse": (lambda x: x + x**2, 0.3, 2),
    # the chord of a parabola x^2 over a length h is off by h^2/4: n links are enough where 1/(4 n^2) is allowed
    "a parabola": (lambda x: x + x**2, 1 / 64 + 1e-3, 5),
}


@pytest.mark.parametrize("law, tolerance, count", FEWEST.values(), ids=FEWEST)
def test_fewest(law, tolerance: float, count: int) -> None:  # type: ignore[no-untyped-def]
    xs = np.linspace(0, 1, 65)
    chosen = smooth.fewest(xs, law(xs), np.ones(65), np.full(65, tolerance), 1e-4)
    assert len(chosen) == count and chosen[0] == 0 and chosen[-1] == 64
    assert np.abs(np.interp(xs, xs[chosen], law(xs)[chosen]) - law(xs)).max() <= tolerance + 1e-9


def test_fewest_are_spread_evenly() -> None:
    xs = np.linspace(0, 1, 65)
    assert smooth.fewest(xs, xs + xs**2, np.ones(65), np.full(65, 0.08), 1e-4) == [0, 32, 64]


def test_fewest_of_next_to_nothing() -> None:
    xs = np.linspace(0, 1, 65)
    assert smooth.fewest(xs, 1e-5 * xs**2, np.ones(65), np.full(65, 1e-9), 1e-2) == [0, 64]


def test_fewest_follows_the_plus_or_minus_too() -> None:
    xs = np.linspace(0, 1, 65)
    us = 1 + np.abs(xs - 0.5)
    chosen = smooth.fewest(xs, xs, us, np.full(65, 0.1), 1e-4)
    assert np.abs(np.interp(xs, xs[chosen], us[chosen]) / us - 1).max() <= 0.1 + 1e-9 and len(chosen) == 3


def test_fewest_keeps_neighbours_apart_though_the_curve_hardly_rises() -> None:
    xs = np.linspace(0, 1, 65)
    ys = np.where(xs < 0.4, 1e-4 * xs, xs - 0.4)
    chosen = smooth.fewest(xs, ys, np.ones(65), np.full(65, 1e-6), 0.01)
    assert (np.diff(ys[chosen])[:-1] >= 0.02 - 1e-12).all()


def test_a_flat_end_leaves_the_rest_its_breakpoints() -> None:
    """Nearly all of the sender's travel is the last two gallons: no line there follows well enough, and yet none goes past all points."""
    signals = [239.01, 199.25, 181.15, 167.57, 157.03, 145.72, 137.54, 127.51, 113.78, 33.03]
    points = [Observed(2.0 if k else 0.0, 0.025, signal, 0.428) for k, signal in enumerate(signals)]
    fitted = fit_tank(points, 0.01, 0.5)
    assert len(fitted.signals) > 8
    assert np.abs(fitted.residuals[:-1]).max() < 0.4


def test_an_empty_tank_is_not_read_as_what_lifts_the_float() -> None:
    """The signal of the empty tank was noisy when it was taken, and is when it is read: three noises of the difference of both are still empty."""
    signals, noise = [225.88, 215.78, 192.23, 168.57, 145.98, 124.26, 102.04, 79.47, 55.35, 33.83], 0.213
    points = [Observed(2.0 if k else 0.0, 0.025, signal, noise) for k, signal in enumerate(signals)]
    fitted = fit_tank(points, 0.01, 0.5)
    for off in (0.0, 1.0, 2.0, 2.8):
        reading, plus_minus = fitted.band(signals[0] - off * noise)
        assert reading - plus_minus <= 0, off
