"""The standard atmosphere against the tables of ISO 2533."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gaugelight.atmosphere import pressure_hpa, pressure_psi_at_feet, sealed_error_psi

# ISO 2533:1975, table 5: pressure by geopotential altitude, in hPa, printed to six digits; 3000 to 8000 m and 11,000 m
# upwards as the U.S. Standard Atmosphere 1976, the same up to there, prints them
BY_METRES = {
    -2000: 1277.74,
    -1000: 1139.29,
    0: 1013.25,
    500: 954.608,
    1000: 898.746,
    1500: 845.560,
    2000: 794.952,
    2500: 746.825,
    3000: 701.085,
    4000: 616.402,
    5000: 540.199,
    6000: 471.810,
    7000: 410.607,
    8000: 355.998,
    9000: 307.424,
    10_000: 264.362,
    11_000: 226.321,
    12_000: 193.304,
    15_000: 120.446,
    20_000: 54.7489,
}

# ISO 2533:1975, Addendum 2:1997, table by geopotential altitude in feet
BY_FEET: dict[float, float] = {
    5000: 843.073,
    6000: 811.996,
    8000: 752.624,
    10_000: 696.816,
    12_000: 644.408,
    15_000: 571.819,
}


@pytest.mark.parametrize("metres, hpa", BY_METRES.items())
def test_by_metres(metres: float, hpa: float) -> None:
    assert float(pressure_hpa(np.array([metres]))[0]) == pytest.approx(hpa, rel=5e-6)


@pytest.mark.parametrize("feet, hpa", BY_FEET.items())
def test_by_feet(feet: float, hpa: float) -> None:
    """A psi is 68.94757 hPa (NIST SP 811, appendix B)."""
    assert pressure_psi_at_feet(feet) * 68.94757 == pytest.approx(hpa, rel=1.5e-6)


# what a sealed sender reads in an open vessel, where a gauge one reads 0: the table's pressure less 1013.25 hPa
SEALED: dict[float, float] = {0: 0.0, 5000: -2.468, 8000: -3.780, 10_000: -4.589, 12_000: -5.350}


@pytest.mark.parametrize("feet, psi", SEALED.items())
def test_a_sealed_sender_reads_low_when_aloft(feet: float, psi: float) -> None:
    assert sealed_error_psi(feet) == pytest.approx(psi, abs=0.0005)
    if feet:
        assert psi == pytest.approx((BY_FEET[feet] - 1013.25) / 68.94757, abs=0.0005)


def test_a_sealed_sender_reads_high_below_sea_level() -> None:
    assert sealed_error_psi(-1000 / 0.3048) == pytest.approx((1139.29 - 1013.25) / 68.94757, abs=0.0001)


def test_falls_all_the_way() -> None:
    assert np.all(np.diff(pressure_hpa(np.linspace(-2000, 20_000, 100_001))) < 0)


@settings(derandomize=True, deadline=None)
@given(metres=st.floats(-1999, 19_999))
def test_air_carries_the_air_above_it(metres: float) -> None:
    """Hydrostatics: dp/dH = -p g / (R T), with the table's temperatures; not across their corner."""
    assume(abs(metres - 11_000) > 0.5)
    below, at, above = pressure_hpa(metres + np.array([-0.5, 0, 0.5]))
    kelvin = 288.15 - 0.0065 * min(metres, 11_000)
    assert above - below == pytest.approx(-at * 9.80665 / (287.05287 * kelvin), rel=1e-6)


def test_nan_outside() -> None:
    with np.errstate(all="raise"):
        said = pressure_hpa(np.array([-math.inf, -2000.1, -2000, 20_000, 20_000.1, math.inf, math.nan]))
    assert list(np.isnan(said)) == [True, True, False, False, True, True, True]
    assert math.isnan(sealed_error_psi(70_000))
