"""The plus or minus that a tank's calibration states, held against the truth: Monte Carlo as in JCGM 101.

The seeds here were used for nothing else, and the five shapes are not those that the fit was written with.
"""

import json

import numpy as np
import pytest

from gaugelight.calibration import coverage_trial
from gaugelight.calibration.coverage_trial import (
    HEIGHTS,
    HOLDS,
    OTHERS,
    SHAPES,
    draw_tank,
    main,
    run,
    share,
    zones,
)
from gaugelight.proportions import clopper_pearson

SEED = 20261126
EACH = 400


@pytest.fixture(scope="module")
def trials() -> dict[str, list[coverage_trial.Trial]]:
    return run(SHAPES, EACH, SEED)


def test_the_band_holds_the_truth_in_94_to_96_of_100(trials: dict[str, list[coverage_trial.Trial]]) -> None:
    """2,000 calibrations: box, wedge, lying cylinder, tapered wing and hull, the can's common error and the zones included."""
    every = [one for some in trials.values() for one in some]
    assert len(every) == 2000
    assert 0.94 <= share(every)["inside"] <= 0.96


@pytest.mark.parametrize("shape", SHAPES)
def test_for_each_shape(trials: dict[str, list[coverage_trial.Trial]], shape: str) -> None:
    """Within what 400 calibrations can tell from 95 % (Clopper and Pearson, at 99 %), and a per cent for the shape."""
    low, high = clopper_pearson(round(0.95 * EACH), EACH, 0.99)
    assert low - 0.01 <= share(trials[shape])["inside"] <= high + 0.01


def test_without_the_common_error_it_does_not() -> None:
    """The same, told that the can is right: so the test above can fail."""
    every = [one for some in run(SHAPES, 40, SEED + 1, common=0.0).values() for one in some]
    assert share(every)["inside"] < 0.90


def test_zones_are_found_and_none_invented(trials: dict[str, list[coverage_trial.Trial]]) -> None:
    counts = zones([one for some in trials.values() for one in some])
    assert counts["there"] > 50
    assert counts["found"] >= 0.97 * counts["there"] and counts["invented"] == 0


def test_at_the_bottom_the_least_is_shown(trials: dict[str, list[coverage_trial.Trial]]) -> None:
    for one in (one for some in trials.values() for one in some if one.fit.bottom):
        assert min(one.fit.readings) == 0.0
        lies = one.fit.readings.index(0.0)
        assert one.fit.plus_minus[lies] >= one.tank.lifts - one.fit.plus_minus[lies - 1 if lies else 1]


VOLUMES = {  # up to half the height, from geometry
    "box": 0.5,
    "wedge": (0.02 / 2 + 0.25 / 2) / (0.02 + 0.5),
    "lying cylinder": 0.5,
    "ball": (0.005 / 2 + 1 / 8 - 1 / 24) / (0.005 + 1 / 6),
    "barrel": 0.5,
}


@pytest.mark.parametrize("shape, half", VOLUMES.items())
def test_the_shapes_hold_what_geometry_says(shape: str, half: float) -> None:
    held = (SHAPES | OTHERS)[shape]
    assert float(np.interp(0.5, HEIGHTS, held)) == pytest.approx(half, abs=2e-3)
    assert held[0] == 0 and held[-1] == 1 and (np.diff(held) >= 0).all()


def test_a_float_between_its_stops() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        tank = draw_tank(SHAPES["hull"], rng)
        below, above = tank.signal(np.array([0.0, tank.lifts])), tank.signal(np.array([tank.stops, HOLDS]))
        assert below[0] == pytest.approx(below[1]) and above[0] == pytest.approx(above[1])
        assert tank.signal(np.array([0.0]), behind=0.01)[0] == pytest.approx(
            tank.signal(np.array([tank.lifts]))[0]
        ) or tank.lifts <= np.interp(0.01, HEIGHTS, tank.held)


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--each", "2", "--seed", "5"]) == 0
    said = capsys.readouterr()
    assert "lying cylinder" in said.out and "10 of 10 calibrations" in said.err
    assert main(["--each", "1", "--others", "--json"]) == 0
    assert {"ball", "all", "without the common error", "zones"} <= json.loads(capsys.readouterr().out).keys()
    assert main(["--each", "0"]) == 2
