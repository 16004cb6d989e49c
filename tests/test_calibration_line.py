"""A gauge against a reference: the straight line of JCGM 100, H.3, lack of fit, hysteresis, and what the plus or minus holds."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from gaugelight.calibration.distributions import chi2_tail, f_tail, student_95
from gaugelight.calibration.straight_line import Held, ReferenceFit, fit_line, fit_reference, slips

# JCGM 100:2008, table H.6: thermometer readings and observed corrections, degC
READINGS = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def test_the_thermometer_of_jcgm_100_h3() -> None:
    """The printed digits of H.3.2 to H.3.4."""
    line = fit_line(READINGS, CORRECTIONS, origin=20.0)
    assert round(line.intercept, 4) == -0.1712 and round(line.u_intercept, 4) == 0.0029
    assert round(line.slope, 5) == 0.00218 and round(line.u_slope, 5) == 0.00067
    assert round(line.correlation, 3) == -0.930
    assert round(line.s, 4) == 0.0035 and line.degrees == 9
    predicted, plus_minus = line.at(30.0)
    assert round(predicted, 4) == -0.1494 and round(line.u(30.0), 4) == 0.0041
    assert plus_minus == pytest.approx(2.26 * 0.0041, rel=0.015)  # t for 9 degrees of freedom, table G.2


def test_the_origin_is_a_matter_of_taste() -> None:
    """H.3.5: from the mean the two are not correlated, and what the line says is the same."""
    there, here = fit_line(READINGS, CORRECTIONS, origin=20.0), fit_line(
        READINGS, CORRECTIONS, origin=24.0085
    )
    assert abs(here.correlation) < 1e-3 and here.u_slope == pytest.approx(there.u_slope)
    assert here.at(30.0) == pytest.approx(there.at(30.0))


@settings(derandomize=True, deadline=None, max_examples=40)
@given(
    st.lists(
        st.tuples(st.floats(-50, 50), st.floats(-5, 5)),
        min_size=4,
        max_size=12,
        unique_by=lambda p: round(p[0]),
    )
)
def test_the_line_against_scipy(points: list[tuple[float, float]]) -> None:
    xs, ys = zip(*points)
    line, referee = fit_line(xs, ys), stats.linregress(xs, ys)
    assert line.slope == pytest.approx(referee.slope, abs=1e-9)
    assert line.intercept == pytest.approx(referee.intercept, abs=1e-9)
    assert line.u_slope == pytest.approx(referee.stderr, rel=1e-6, abs=1e-9)
    assert line.u_intercept == pytest.approx(referee.intercept_stderr, rel=1e-6, abs=1e-9)
    best, covariance = optimize.curve_fit(lambda x, a, b: a + b * x, xs, ys)
    if line.s > 1e-6:
        assert line.correlation == pytest.approx(
            covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1]), abs=1e-4
        )


@pytest.mark.parametrize(
    "degrees, t", {1: 12.71, 2: 4.30, 3: 3.18, 5: 2.57, 9: 2.26, 20: 2.09, 50: 2.01, 9.9: 2.26}.items()
)
def test_student_as_printed(degrees: float, t: float) -> None:
    """JCGM 100, table G.2, column 95 %."""
    assert round(student_95(degrees), 2) == t


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 7, 15, 40, 200, 600])
def test_the_distributions_against_scipy(degrees: int) -> None:
    assert student_95(degrees) == pytest.approx(
        stats.t.ppf(0.975, degrees), rel=3e-3 if degrees > 500 else 1e-9
    )
    for value in (0.0, 0.1, 0.9, 2.5, 12.0, 60.0):
        assert chi2_tail(value, degrees) == pytest.approx(stats.chi2.sf(value, degrees), rel=1e-9, abs=1e-15)
        for below in (1, 3, 8, 100):
            assert f_tail(value, degrees, below) == pytest.approx(
                stats.f.sf(value, degrees, below), rel=1e-7, abs=1e-12
            )


def test_lack_of_fit_by_repeats() -> None:
    """The usual analysis of variance (Draper and Smith, Applied Regression Analysis, chapter 2, from memory), by scipy's F."""
    xs = [1.0, 1.0, 2.0, 2.0, 2.0, 3.0, 4.0, 4.0]
    ys = [1.1, 0.9, 2.6, 2.4, 2.5, 3.4, 3.6, 3.8]
    means = [1.0, 1.0, 2.5, 2.5, 2.5, 3.4, 3.7, 3.7]
    line = fit_line(xs, ys)
    pure = sum((y - mean) ** 2 for y, mean in zip(ys, means))
    lack = sum(one**2 for one in line.residuals) - pure
    assert line.lack_of_fit_p == pytest.approx(stats.f.sf(lack / 2 / (pure / 4), 2, 4))


def test_repeats_that_agree_to_the_digit() -> None:
    xs = [1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 4.0, 4.0]
    ys = [1.01, 1.01, 1.99, 1.99, 3.01, 3.01, 3.99, 3.99]
    assert fit_line(xs, ys).lack_of_fit_p == pytest.approx(0.0, abs=1e-6)
    assert (fit_line(xs, ys, y_u=0.01).lack_of_fit_p or 0) > 0.1


def test_lack_of_fit_by_what_was_stated() -> None:
    line = fit_line(READINGS, CORRECTIONS, y_u=0.003)
    assert line.lack_of_fit_p == pytest.approx(stats.chi2.sf(9 * (line.s / 0.003) ** 2, 9))


def test_lack_of_fit_by_a_parabola() -> None:
    """Of the parabola's last term: F is the square of its t, here from scipy's covariance."""
    best, covariance = optimize.curve_fit(
        lambda x, a, b, c: a + b * x + c * x * x, np.array(READINGS) - 24, CORRECTIONS
    )
    p = 2 * stats.t.sf(abs(best[2]) / math.sqrt(covariance[2, 2]), 8)
    assert fit_line(READINGS, CORRECTIONS).lack_of_fit_p == pytest.approx(p, rel=1e-3)


def test_degrees_of_freedom_of_all_that_counts() -> None:
    """Few points alone: t of two degrees. Beside a large common error these few hardly count (JCGM 100, G.4.1)."""
    points = [
        Held(true, signal, 0.0)
        for true, signal in ((0.0, 4.0), (500.0, 9.36), (1000.0, 14.65), (1500.0, 20.0))
    ]
    fit = fit_reference(points, 0.01)
    assert fit.line is not None
    middle_u = fit.line.s / 2
    assert fit.band(12.0)[1] == pytest.approx(4.303 * middle_u, rel=0.1)
    large = fit_reference(points, 0.01, common=10 * middle_u)
    assert large.band(12.0)[1] == pytest.approx(1.96 * math.sqrt(101) * middle_u, rel=0.02)


def held(
    trues: list[float], law: str = "straight", noise: float = 0.003, lag: float = 0.0, seed: int = 1
) -> list[Held]:
    """A 0-1500 psi sender, mA; the law in hundredths of a mA."""
    rng = np.random.default_rng(seed)
    points, before = [], -1.0
    for true in trues:
        share = true / 1500
        signal = 4 + 16 * share - lag * (1 if true > before else -1)
        signal += {"straight": 0.0, "bent": 0.2 * math.sin(math.pi * share), "falling": -32 * share + 16}[law]
        points.append(Held(true, float(signal + noise * rng.normal()), noise))
        before = true
    return points


UP = [0.0, 150.0, 300.0, 450.0, 600.0, 750.0, 900.0, 1050.0, 1200.0, 1350.0, 1500.0]
BOTH = [*UP, *UP[-2::-1]]

CASES = {
    "straight": (held(UP), True, None),
    "straight, falling": (held(UP, "falling"), True, None),
    "straight, up and down": (held(BOTH), True, None),
    "bent": (held(UP, "bent"), False, "use points"),
    "bent, judged by repeats": (held(BOTH, "bent", lag=0.004), False, "use points"),
    "bent, but too few for a curve": (held(UP[::3] , "bent"), True, "take more points"),
    "bent, nothing stated": ([replace(p, signal_u=0.0) for p in held(UP, "bent", noise=0.0001)], False, "use points"),
    "scatters more than stated": ([replace(p, signal_u=0.003) for p in held(UP, noise=0.05)], None, "chance"),
}  # fmt: skip


@pytest.mark.parametrize("points, straight, lack", CASES.values(), ids=CASES)
def test_line_or_points(points: list[Held], straight: bool | None, lack: str | None) -> None:
    fit = fit_reference(points, 5.0, common=2.0, each=0.0)
    assert straight is None or (fit.line is not None) == straight
    assert fit.lack is None if lack is None else lack in (fit.lack or "")
    assert list(fit.signals) == sorted(set(fit.signals))
    assert len({one < other for one, other in zip(fit.readings, fit.readings[1:])}) == 1
    assert len(fit.signals) == len(fit.readings) == len(fit.plus_minus) and min(fit.plus_minus) >= 2 * 1.9
    for one, residual in zip(points, fit.residuals, strict=True):
        assert residual == pytest.approx(one.true - fit.band(one.signal)[0])


HYSTERESIS = {  # half of what lies between, in mA
    "up only": (UP, 0.02, None),
    "none": (BOTH, 0.0, (0.0, 1.5)),
    "0.02 mA either way: 3.75 psi": (BOTH, 0.02, (3.3, 4.6)),
    "0.1 mA either way: 18.75 psi": (BOTH, 0.1, (18.0, 20.0)),
}


@pytest.mark.parametrize("trues, lag, between", HYSTERESIS.values(), ids=HYSTERESIS)
def test_hysteresis(trues: list[float], lag: float, between: tuple[float, float] | None) -> None:
    fit = fit_reference(held(trues, lag=lag), 5.0, each=0.1)
    assert fit.line is not None  # what repeats differ by is no bend
    if between is None:
        assert fit.hysteresis is None
    else:
        assert fit.hysteresis is not None and between[0] <= fit.hysteresis <= between[1]
        # half of it, rectangular, is in the plus or minus (JCGM 100, 4.3.7)
        assert max(fit.plus_minus) >= 1.9 * lag * 1500 / 16 / math.sqrt(3)


def middle(fit: ReferenceFit) -> float:
    return fit.band(12.0)[1]


def test_what_the_reference_is_off_by_is_not_averaged_away() -> None:
    """JCGM 100, 5.1.2 and F.1.2.3: eleven readings with one error are no better than one."""
    points = held(UP)
    alone = middle(fit_reference(points, 5.0))
    assert middle(fit_reference(points, 5.0, common=3.0)) == pytest.approx(
        math.hypot(alone, 1.96 * 3), rel=0.02
    )
    assert middle(fit_reference(points, 5.0, common_share=0.005)) == pytest.approx(
        math.hypot(alone, 1.96 * 3.75), rel=0.02
    )
    # each reading's own error is: by the root of eleven, in the middle
    assert middle(fit_reference(points, 5.0, each=3.0)) == pytest.approx(1.96 * 3 / math.sqrt(11), rel=0.12)


def test_the_band_holds_the_truth() -> None:
    """Monte Carlo, JCGM 101: 360 gauges, straight and bent, half of them up and down, the common error carried or forgotten."""
    rng = np.random.default_rng(77)
    inside: list[float] = []
    forgotten: list[float] = []
    for number in range(360):
        bend = 0.0 if number % 2 else rng.uniform(-0.4, 0.4)

        def law(true: np.ndarray, bend: float = bend) -> np.ndarray:
            return np.asarray(4 + 16 * true / 1500 + bend * np.sin(np.pi * true / 1500))

        said = np.linspace(0, 1500, rng.integers(5, 12))
        said = np.concatenate([said, said[-2::-1]]) if number % 4 < 2 else said
        true = said * (1 + 0.002 * rng.normal()) + 3 * rng.normal() + rng.normal(size=len(said))
        signals = law(true) + 0.01 * rng.normal(size=len(said))
        points = [Held(a, b, 0.01) for a, b in zip(said.tolist(), signals.tolist())]
        places = np.linspace(30, 1470, 15)
        for kept, known in ((inside, (3.0, 0.002)), (forgotten, (0.0, 0.0))):
            if kept is inside or number % 5 == 0:
                fit = fit_reference(points, 1.0, common=known[0], common_share=known[1], each=1.0)
                bands = [
                    (abs(fit.band(s)[0] - place), fit.band(s)[1]) for s, place in zip(law(places), places)
                ]
                kept.append(float(np.mean([off <= band for off, band in bands])))
    assert 0.94 <= np.mean(inside) <= 0.97
    assert np.mean(forgotten) < 0.75


REFUSED = {
    "two points": ([Held(0, 4, 0.01), Held(1500, 20, 0.01)], "3 at least"),
    "one reading": ([Held(5, s, 0.0) for s in (4, 5, 6)], "said the same"),
    "no signal": ([Held(t, 4.0 + t / 1e5, 0.01) for t in (0, 1, 2)], "hardly moves"),
    "turns back": ([Held(t, s, 0.01) for t, s in zip(range(9), (4, 8, 12, 16, 20, 16, 12, 8, 4.5))], "turns back"),
    "no number": ([Held(0, 4, 0.01), Held(math.nan, 6, 0.01), Held(9, 9, 0.01)], "no number"),
    "below nought": ([Held(0, 4, 0.01), Held(4, 6, -0.01), Held(9, 9, 0.01)], "below 0"),
}  # fmt: skip


@pytest.mark.parametrize("points, why", REFUSED.values(), ids=REFUSED)
def test_refused(points: list[Held], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        fit_reference(points, 1.0)


@pytest.mark.parametrize(
    "xs, why", {"few": ([1.0, 2.0], "3 at least"), "one": ([2.0, 2.0, 2.0], "one signal")}.values()
)
def test_no_line(xs: list[float], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        fit_line(xs, xs)


@given(
    st.lists(st.floats(0, 100), min_size=4, max_size=9, unique_by=lambda x: round(x / 11)),
    st.floats(-50, 50),
    st.floats(-3, 3).filter(lambda gain: abs(gain) > 0.1),
    st.data(),
)
def test_zero_and_gain_are_no_slip_and_one_point_beside_the_line_is(
    expected: list[float], zero: float, gain: float, data: st.DataObject
) -> None:
    """The line itself against scipy's, of the same name."""
    true = [zero + gain * x for x in expected]
    assert slips(true, expected) == []
    k = data.draw(st.integers(0, len(true) - 1))
    true[k] += data.draw(st.sampled_from([-1, 1])) * gain * (max(expected) - min(expected))
    line = stats.theilslopes(true, expected)
    off = np.abs(np.asarray(true) - line.slope * np.asarray(expected) - line.intercept)
    if len(true) >= 6:
        assert slips(true, expected) == [k] and off.argmax() == k
