"""When coolant boils, against the steam tables and against published tables of aqueous glycols."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.coolant import (
    ETHYLENE_GLYCOL,
    MIX_KPA,
    MOST_GLYCOL,
    PROPYLENE_GLYCOL,
    WATER,
    WATER_KPA,
    Glycol,
    Mix,
    absolute_from_reading,
    may_boil_celsius,
    parse_mix,
    pressure_range_kpa,
    saturation_celsius,
    saturation_kpa,
    uncertainty_celsius,
)
from referees import PropsSI

ATMOSPHERE = 101.325  # kPa


def boils(mix: Mix, kpa: float) -> float:
    return float(saturation_celsius(mix, np.array([kpa]))[0])


def over(mix: Mix, celsius: float) -> float:
    return float(saturation_kpa(mix, np.array([celsius]))[0])


# --- water ---

# IAPWS R7-97 (2012), table 36: K at MPa, nine digits
SATURATION_K = {0.1: 372.755919, 1: 453.035632, 10: 584.149488}

# ... and table 35: MPa at K
SATURATION_MPA = {300: 0.353658941e-2, 500: 0.263889776e1, 600: 0.123443146e2}


@pytest.mark.parametrize("mpa, kelvin", SATURATION_K.items())
def test_water_to_nine_digits(mpa: float, kelvin: float) -> None:
    assert boils(WATER, 1000 * mpa) + 273.15 == pytest.approx(kelvin, abs=6e-7)


@pytest.mark.parametrize("kelvin, mpa", SATURATION_MPA.items())
def test_its_pressure_to_nine_digits(kelvin: float, mpa: float) -> None:
    assert over(WATER, kelvin - 273.15) / 1000 == pytest.approx(mpa, rel=2e-9)


@pytest.mark.parametrize("kpa", [0.612, 1, 5, 30, 70.0, ATMOSPHERE, 200, 500, 1000, 3980])
def test_water_against_the_scientific_formulation(kpa: float) -> None:
    """IAPWS-95 (Wagner and Pruss, 2002) as CoolProp has it; up to 250 degC the two differ by some mK."""
    theirs = PropsSI("T", "P", 1000 * kpa, "Q", 0, "Water") - 273.15
    assert boils(WATER, kpa) == pytest.approx(theirs, abs=0.01)


# ISO 2533:1975, as in test_atmosphere.py: hPa at m
ALOFT = {0: 1013.25, 1000: 898.746, 3000: 701.085, 5000: 540.199, 9000: 307.424}


@pytest.mark.parametrize("metres, hpa", ALOFT.items())
def test_an_open_kettle_aloft(metres: float, hpa: float) -> None:
    """The boiling point at the standard's pressure by IAPWS-95."""
    kpa = absolute_from_reading(np.array([0.0]), "gauge", metres)
    theirs = PropsSI("T", "P", 100 * hpa, "Q", 0, "Water") - 273.15
    assert float(saturation_celsius(WATER, kpa)[0]) == pytest.approx(theirs, abs=0.01)


# --- the glycols themselves ---

# kPa of the pure glycol at 100, 120, 140, 160 degC: Perry's Chemical Engineers' Handbook, 8th edition, table 2-8 (DIPPR equation
# 101), as the package `chemicals` 1.5.2 evaluates it. Per cent: how far the two agree.
PURE_KPA: dict[str, tuple[Glycol, tuple[float, ...], float]] = {
    "ethylene glycol": (ETHYLENE_GLYCOL, (2.097, 5.659, 13.607, 29.645), 1.0),
    "propylene glycol": (PROPYLENE_GLYCOL, (3.034, 7.965, 18.667, 39.896), 4.5),
}

# degC at 1 atm: CRC Handbook of Chemistry and Physics, from memory; NIST WebBook's average for propylene glycol is 460 K +-2
PURE_BOILS = {"ethylene glycol": 197.3, "propylene glycol": 187.6}


@pytest.mark.parametrize("name", PURE_KPA)
def test_pure_glycol(name: str) -> None:
    glycol, kpa, per_cent = PURE_KPA[name]
    assert glycol.kpa(np.array([100.0, 120, 140, 160])) == pytest.approx(np.array(kpa), rel=per_cent / 100)
    assert float(glycol.kpa(np.array(PURE_BOILS[name]))) == pytest.approx(ATMOSPHERE, rel=0.03)


# by the hand: moles in a litre before mixing, of which water
WATER_MOLECULES = {
    "50 % ethylene glycol": 27.704 / (27.704 + 8.970),  # 499.1 g / 18.0153, 556.75 g / 62.068
    "40 % propylene glycol": 33.245 / (33.245 + 5.446),  # 598.92 g / 18.0153, 414.44 g / 76.094
    "water": 1.0,
}


@pytest.mark.parametrize("written, share", WATER_MOLECULES.items())
def test_molecules(written: str, share: float) -> None:
    assert parse_mix(written).water_molecules == pytest.approx(share, abs=1e-4)


# --- mixes against published tables ---

# Toshihiko Fujita, Sakae Kikuchi: Vapor Pressure of Aqueous Solutions of Ethylene Glycol, Trans. Japan Soc. Refrig. Air Cond. Eng.
# 6 (1989) 183: their equation for their measurements from -10 to 60 degC, 20 to 50 % by mass. Printed with a plus before the fraction in
# the abstract; only a minus gives 1 atm for water at 100 degC. In degC: how much earlier than measured the model boils, at most and at least.
MEASURED_BY_MASS = {20: (-0.09, 0.03), 30: (0.02, 0.17), 40: (0.12, 0.32), 50: (0.10, 0.39)}


def by_mass(glycol: Glycol, per_cent: float) -> Mix:
    volume, water = per_cent / glycol.density, (100 - per_cent) / 998.2
    return Mix(glycol, volume / (volume + water))


@pytest.mark.parametrize("celsius", [40.0, 50.0, 60.0])
@pytest.mark.parametrize("per_cent", MEASURED_BY_MASS)
def test_measured_vapour_pressure(per_cent: int, celsius: float) -> None:
    """Below the pressures at which a mix is answered for, so by Raoult's law with the module's own numbers."""
    exponent = 5.351 - 6.4e-4 * per_cent - (1817 + 0.008 * per_cent * (per_cent + 10)) / (celsius + 240)
    measured = ATMOSPHERE * 10**exponent
    mix = by_mass(ETHYLENE_GLYCOL, per_cent)

    def model(at: float) -> float:
        glycol = float(ETHYLENE_GLYCOL.kpa(np.array(at)))
        return mix.water_molecules * over(WATER, at) + (1 - mix.water_molecules) * glycol

    least, most = MEASURED_BY_MASS[per_cent]
    slope = model(celsius + 0.5) - model(celsius - 0.5)
    assert least <= (model(celsius) - measured) / slope <= most
    assert abs(model(celsius) - measured) / slope < uncertainty_celsius(mix)


@dataclass(frozen=True)
class Table:
    """Boiling points in degC by per cent of the volume; `apart`: how far the model was from it when this was written, rounded up."""

    glycol: Glycol
    kpa: float
    celsius: dict[int, float]
    apart: float
    rounding: float = 0.0  # half of the table's own last step


TABLES = {
    # SAE J814 (2023-05), Coolants for Internal Combustion Engines: of antifreeze as bought, in whole degC; quoted at second hand by an
    # engineers' reference page
    "SAE J814, ethylene": Table(
        ETHYLENE_GLYCOL, ATMOSPHERE, {40: 106, 50: 108, 60: 111, 70: 114}, apart=2.0, rounding=0.5
    ),
    "SAE J814, propylene": Table(
        PROPYLENE_GLYCOL, ATMOSPHERE, {40: 104, 50: 106, 60: 109, 70: 112}, apart=0.6, rounding=0.5
    ),
    # ASHRAE Handbook, Fundamentals, Physical Properties of Secondary Coolants, boiling points at 100.7 kPa, in whole degF: from memory
    "ASHRAE, ethylene": Table(
        ETHYLENE_GLYCOL,
        100.7,
        {30: 104.4, 40: 105.6, 50: 107.2, 60: 111.1, 70: 116.7},
        apart=1.1,
        rounding=0.3,
    ),
    "ASHRAE, propylene": Table(
        PROPYLENE_GLYCOL,
        100.7,
        {30: 102.2, 40: 103.9, 50: 105.6, 60: 107.2, 70: 110.0},
        apart=2.4,
        rounding=0.3,
    ),
    # UNIFAC (Hansen and others, Ind. Eng. Chem. Res. 30 (1991) 2352) with its group for ethylene glycol, fitted to measurements: activity
    # coefficients by the package `thermo` 0.6.1, on the same vapour pressures. Its general groups, which know nothing of two
    # hydroxyls side by side, are no judge: 105.7 degC for 50 % ethylene and 103.3 for 50 % propylene glycol.
    "UNIFAC, 1 atm": Table(
        ETHYLENE_GLYCOL,
        ATMOSPHERE,
        {30: 103.48, 40: 105.27, 50: 107.64, 60: 110.94, 70: 115.86},
        apart=0.17,
    ),
    "UNIFAC, 200 kPa": Table(
        ETHYLENE_GLYCOL,
        200,
        {30: 124.08, 40: 126.04, 50: 128.63, 60: 132.24, 70: 137.61},
        apart=0.42,
    ),
}
ROWS = [(name, per_cent) for name, table in TABLES.items() for per_cent in table.celsius]


@pytest.mark.parametrize("name, per_cent", ROWS)
def test_published_boiling_points(name: str, per_cent: int) -> None:
    table = TABLES[name]
    mix = Mix(table.glycol, per_cent / 100)
    off = abs(boils(mix, table.kpa) - table.celsius[per_cent])
    assert off <= table.apart
    assert off <= uncertainty_celsius(mix) + table.rounding


@pytest.mark.parametrize("name, per_cent", ROWS)
def test_the_low_side_is_below_every_table(name: str, per_cent: int) -> None:
    table = TABLES[name]
    low = may_boil_celsius(Mix(table.glycol, per_cent / 100), np.array([table.kpa]))
    assert float(low[0]) < table.celsius[per_cent]


# degC at 95 %, by what is in the mix
UNCERTAINTIES = {
    "water": 0.1,
    "50 % ethylene glycol": 1.6,
    "50 % propylene glycol": 1.85,
    "70 % propylene glycol": 2.55,
}


@pytest.mark.parametrize("written, celsius", UNCERTAINTIES.items())
def test_uncertainty_stated(written: str, celsius: float) -> None:
    mix = parse_mix(written)
    kpa = np.array([150.0, 200.0])
    assert uncertainty_celsius(mix) == pytest.approx(celsius)
    assert saturation_celsius(mix, kpa) - may_boil_celsius(mix, kpa) == pytest.approx(celsius)


# --- what must hold of every mix ---

glycols = st.sampled_from([ETHYLENE_GLYCOL, PROPYLENE_GLYCOL])
tenths = st.integers(1, round(1000 * MOST_GLYCOL))
mixes = st.one_of(st.just(WATER), st.builds(lambda glycol, n: Mix(glycol, n / 1000), glycols, tenths))


@given(mixes, st.floats(0, 1))
def test_back_and_forth(mix: Mix, along: float) -> None:
    low, high = pressure_range_kpa(mix)
    kpa = np.array([low * (high / low) ** along])
    celsius = saturation_celsius(mix, kpa)
    assert saturation_kpa(mix, celsius) == pytest.approx(kpa, rel=1e-8)


@given(mixes, st.floats(*MIX_KPA), st.floats(*MIX_KPA))
def test_more_pressure_boils_later(mix: Mix, one: float, other: float) -> None:
    first, second = sorted((one, other))
    assert boils(mix, first) <= boils(mix, second)


@given(glycols, tenths, tenths, st.floats(*MIX_KPA))
def test_more_glycol_boils_later(glycol: Glycol, one: int, other: int, kpa: float) -> None:
    less, more = sorted((one, other))
    assert boils(WATER, kpa) < boils(Mix(glycol, less / 1000), kpa) <= boils(Mix(glycol, more / 1000), kpa)


@given(mixes)
def test_a_mix_is_read_as_it_is_written(mix: Mix) -> None:
    read = parse_mix(mix.name)
    assert read.glycol == mix.glycol and read.share == pytest.approx(mix.share, abs=1e-9)


def test_any_shape() -> None:
    kpa = np.array([[50.0, 100.0], [200.0, 300.0]])
    for mix in (WATER, Mix(ETHYLENE_GLYCOL, 0.5)):
        assert saturation_celsius(mix, kpa).shape == (2, 2)
        assert saturation_celsius(mix, np.array([])).size == 0


# --- as a builder writes it ---

WRITTEN = {
    "water": WATER,
    " water ": WATER,
    "50 % ethylene glycol": Mix(ETHYLENE_GLYCOL, 0.5),
    "50% ethylene glycol": Mix(ETHYLENE_GLYCOL, 0.5),
    "40 %  propylene glycol": Mix(PROPYLENE_GLYCOL, 0.4),
    "33.5 % propylene glycol": Mix(PROPYLENE_GLYCOL, 0.335),
    "70 % ethylene glycol": Mix(ETHYLENE_GLYCOL, 0.7),
}


@pytest.mark.parametrize("written, mix", WRITTEN.items())
def test_written(written: str, mix: Mix) -> None:
    assert parse_mix(written) == mix


NOT_A_MIX = {
    "": 'write "water", or the glycol by volume: "50 % ethylene glycol"',
    "glycol": 'write "water", or the glycol by volume',
    "50 ethylene glycol": 'write "water", or the glycol by volume',
    "-5 % ethylene glycol": 'write "water", or the glycol by volume',
    "33,5 % ethylene glycol": 'write "water", or the glycol by volume',
    "50 % etylene glycol": 'did you mean "ethylene glycol"',
    "50 % methanol": "there is: ethylene glycol, propylene glycol",
    "0 % ethylene glycol": 'up to 70 %, or "water"',
    "71 % ethylene glycol": "71 % ethylene glycol lies outside what is known here; write up to 70 %",
    "100 % propylene glycol": "write up to 70 %",
}


@pytest.mark.parametrize("written, says", NOT_A_MIX.items())
def test_not_a_mix(written: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse_mix(written)


@pytest.mark.parametrize("share", [-0.1, 0.5, float("nan")])
def test_a_share_of_nothing(share: float) -> None:
    with pytest.raises(ValueError, match="of which glycol. It must be ethylene glycol or propylene glycol"):
        Mix(None, share)


def test_a_share_that_is_no_number() -> None:
    with pytest.raises(ValueError, match="lies outside what is known"):
        Mix(ETHYLENE_GLYCOL, float("nan"))


# --- the range of validity ---

half = Mix(ETHYLENE_GLYCOL, 0.5)
OUTSIDE: dict[str, tuple[Mix, float, str]] = {
    "below the triple point": (
        WATER,
        0.611,
        "0.611 is outside 0.6117 to 22064 kPa absolute, for the boiling point of water",
    ),
    "above the critical point": (WATER, 22_065, "outside 0.6117 to 22064"),
    "vacuum": (WATER, 0.0, "outside 0.6117"),
    "not a number": (WATER, float("nan"), "nan is outside"),
    "a mix too thin": (
        half,
        29.9,
        "29.9 is outside 30 to 500 kPa absolute, for the boiling point of 50 % ethylene glycol",
    ),
    "a mix too thick": (half, 500.1, "outside 30 to 500"),
}


@pytest.mark.parametrize("name", OUTSIDE)
def test_pressure_outside(name: str) -> None:
    mix, kpa, says = OUTSIDE[name]
    with pytest.raises(ValueError, match=says):
        saturation_celsius(mix, np.array([100.0, kpa]))


@pytest.mark.parametrize(
    "mix, celsius", [(WATER, 0.0), (WATER, 375.0), (half, 70.0), (half, 165.0), (half, float("nan"))]
)
def test_temperature_outside(mix: Mix, celsius: float) -> None:
    with pytest.raises(ValueError, match="degC, for the pressure at which"):
        saturation_kpa(mix, np.array([100.0, celsius]))


@pytest.mark.parametrize("mix", [WATER, half])
def test_the_ends_are_inside(mix: Mix) -> None:
    ends = np.array(pressure_range_kpa(mix))
    assert saturation_kpa(mix, saturation_celsius(mix, ends)) == pytest.approx(ends)


def test_water_reaches_from_the_triple_point_to_250_degrees() -> None:
    """The triple point is 0.01 degC by definition of the kelvin until 2019; 611.657 Pa: IAPWS R6-95."""
    assert boils(WATER, WATER_KPA[0]) == pytest.approx(0.01, abs=0.002)
    assert boils(WATER, WATER_KPA[1]) > 250


# --- from a reading to an absolute pressure ---

# kPa read, kind, m, kPa absolute; the air from ISO 2533, as in test_atmosphere.py
READINGS = {
    "gauge at sea level": (90.0, "gauge", 0.0, 191.325),
    "gauge at 3,000 m": (90.0, "gauge", 3000.0, 160.1085),
    "sealed at 3,000 m": (90.0, "sealed", 3000.0, 191.325),
    "absolute at 3,000 m": (90.0, "absolute", 3000.0, 90.0),
    "a gauge that sucks": (-20.0, "gauge", 0.0, 81.325),
}


@pytest.mark.parametrize("name", READINGS)
def test_reading(name: str) -> None:
    reading, kind, metres, absolute = READINGS[name]
    kpa = absolute_from_reading(np.array([reading]), kind, metres)  # type: ignore[arg-type]
    assert float(kpa[0]) == pytest.approx(absolute, rel=1e-5)


@pytest.mark.parametrize("metres", [-2001.0, 20_001.0, float("nan")])
def test_no_such_altitude(metres: float) -> None:
    with pytest.raises(ValueError, match="is outside -2000 to 20000 m of pressure altitude"):
        absolute_from_reading(np.array([0.0]), "gauge", metres)


def test_no_such_kind() -> None:
    with pytest.raises(ValueError, match='"guage" is no kind of pressure; did you mean "gauge"'):
        absolute_from_reading(np.array([0.0]), "guage", 0.0)  # type: ignore[arg-type]
