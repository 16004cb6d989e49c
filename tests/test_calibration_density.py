"""The density of fuel against printed tables and CoolProp; pours by volume and by weight."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.calibration import density
from gaugelight.calibration.density import FUELS, Density, expansion, measured, named, shrinkage
from gaugelight.calibration.pours import AIR, by_volume, by_weight
from referees import PropsSI

# ASTM-IP petroleum measurement tables (1952), table 53, as printed: hydrometer reading, degC, density at 15 degC
TABLE_53 = {
    "0.800 at 25": (0.800, 25.0, 0.8070),
    "0.805 at 25": (0.805, 25.0, 0.8119),
    "0.809 at 25": (0.809, 25.0, 0.8159),
    "0.800 at 30": (0.800, 30.0, 0.8104),
    "0.809 at 30": (0.809, 30.0, 0.8193),
    "0.804 at 33.5": (0.804, 33.5, 0.8167),
    "0.800 at 35": (0.800, 35.0, 0.8139),
    "0.809 at 35": (0.809, 35.0, 0.8227),
}
GLASS = 23e-6  # per degC: a hydrometer grows, and reads that much too low; of soda glass, from memory


@pytest.mark.parametrize("reading, celsius, at_15", TABLE_53.values(), ids=TABLE_53)
def test_jet_fuel_as_printed(reading: float, celsius: float, at_15: float) -> None:
    """The tables of 1980, whose law ours is, differ from those of 1952 by a few per cent of the change: within our own band."""
    true = reading * (1 - GLASS * (celsius - 15))
    found = measured(true, 0.0, celsius, 15.0, celsius_u=0.0)
    assert found.value == pytest.approx(at_15, abs=0.0006)
    assert abs(found.value - at_15) < 1.96 * found.u + 0.00005


# share of the mass; synthetic gasolines of our own, as ideal mixtures of what CoolProp has equations of state for
GASOLINES = {
    "light": {"Isopentane": 0.1, "Isohexane": 0.2, "n-Heptane": 0.25, "n-Octane": 0.2, "Toluene": 0.25},
    "heavy": {"Isohexane": 0.2, "n-Octane": 0.2, "n-Heptane": 0.2, "Toluene": 0.4},
}


@pytest.mark.parametrize("celsius", [-10.0, 0.0, 25.0, 40.0])
@pytest.mark.parametrize("mixture", GASOLINES.values(), ids=GASOLINES)
def test_gasoline_expands_as_its_parts_do(mixture: dict[str, float], celsius: float) -> None:
    def mixed(at: float) -> float:
        return 1 / sum(
            share / PropsSI("D", "T", at + 273.15, "P", 3e5, part) for part, share in mixture.items()
        )

    change = mixed(celsius) / mixed(15.0) - 1
    assert shrinkage(mixed(15.0) / 1000, celsius) - 1 == pytest.approx(change, rel=0.05)


def test_the_groups_of_fuels_meet() -> None:
    """Table 54B: the constants of neighbouring groups give the same expansion where they meet."""
    for base in (0.7705, 0.7875, 0.8385):
        assert expansion(base - 1e-9) == pytest.approx(expansion(base), rel=0.006)


@pytest.mark.parametrize("fuel", FUELS)
def test_named_fuels(fuel: str) -> None:
    low, high = FUELS[fuel]
    at_15 = named(fuel, 15.0, celsius_u=0.0)
    assert at_15.value == pytest.approx((low + high) / 2)
    assert at_15.u == pytest.approx((high - low) / 2 / math.sqrt(3))  # JCGM 100, 4.3.7
    cold, warm = named(fuel, -5.0), named(fuel, 35.0)
    assert cold.value > at_15.value > warm.value
    # kg/l a degC; common practice, no source: 0.7 to 0.9 g
    assert 0.0005 < (cold.value - warm.value) / 40 < 0.001
    assert warm.u >= at_15.u


def test_a_thermometer_that_is_off() -> None:
    sure, unsure = named("mogas", 30.0, celsius_u=0.0), named("mogas", 30.0, celsius_u=10.0)
    assert unsure.value == sure.value
    assert unsure.u == pytest.approx(math.hypot(sure.u, 10 * 0.00088), rel=0.01)  # 0.88 g a degC


def test_six_pounds_a_gallon() -> None:
    """Common practice, no source: avgas weighs 6 lb, jet fuel 6.7 lb a US gallon."""
    for fuel, pounds in (("avgas 100LL", 6.0), ("jet A-1", 6.7)):
        found = named(fuel, 15.0)
        assert abs(pounds * 0.45359237 / 3.785411784 - found.value) < 1.96 * found.u


@settings(derandomize=True, deadline=None, max_examples=80)
@given(st.floats(0.7, 0.9), st.floats(-20, 45), st.floats(-20, 45))
def test_there_and_back(value: float, at: float, other: float) -> None:
    there = measured(value, 0.001, at, other)
    assert measured(there.value, 0.0, other, at).value == pytest.approx(value, rel=1e-6)
    assert there.u >= 0.001
    assert (there.value - value) * (other - at) <= 0


REFUSED = {
    "no fuel": (lambda: named("kerosine", 15.0), "no fuel known"),
    "nearly": (lambda: named("Avgas 100ll", 15.0), 'write "avgas 100LL"'),
    "too hot": (lambda: named("mogas", 60.0), "60 degC"),
    "measured too cold": (lambda: measured(0.7, 0.001, -40.0, 15.0), "-40 degC"),
    "water in kg/m3": (lambda: measured(716.0, 1.0, 15.0, 15.0), "no fuel's density"),
    "too light": (lambda: measured(0.5, 0.001, 20.0, 15.0), "no fuel's density"),
}


@pytest.mark.parametrize("ask, why", REFUSED.values(), ids=REFUSED)
def test_refused(ask, why: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=why):
        ask()


def test_a_can() -> None:
    pour = by_volume(2.0, every=0.005, each=0.025)
    assert (pour.volume, pour.own_u, pour.common_share) == (2.0, 0.025, 0.005)


def test_a_scale() -> None:
    """10 kg of fuel of 0.72 kg/l: the density's error is common to all pours, the scale's rounding is not."""
    pour = by_weight(10.0, every=0.003, each=0.02, density=Density(0.72, 0.0072))
    assert pour.volume == pytest.approx(10.0 / 0.7189)
    assert pour.own_u == pytest.approx(0.02 / 0.7189)
    assert pour.common_share == pytest.approx(math.hypot(0.003, 0.0072 / 0.7189))


def test_what_the_air_carries() -> None:
    """1.2 g of air to a litre (ISO 2533: 1.225 at 15 degC), of fuel 0.72 kg/l less than of the steel (8 kg/l) that set the scale."""
    exact = 0.72 * (1 - 0.001225 / 0.72) / (1 - 0.001225 / 8.0)
    assert 0.72 - AIR == pytest.approx(exact, abs=0.0001)


def test_expansion_has_no_surprise() -> None:
    assert density.BASE == 15.0 and shrinkage(0.72, 15.0) == 1.0
    assert shrinkage(0.72, 25.0) == pytest.approx(1 - 10 * expansion(0.72), abs=2e-4)
