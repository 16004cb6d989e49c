"""Temperature laws against the published tables of their standards and data sheets."""

import math
from collections.abc import Callable
from typing import Literal

import numpy as np
import pytest
import thermocouple_its90
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.circuits import Floats
from gaugelight.laws import Junction, Resistor
from gaugelight.temperature import Beta, Platinum, SteinhartHart, ThermistorTable, Thermocouple


def one(law: Callable[[Floats], Floats], value: float) -> float:
    return float(law(np.array([value]))[0])


# platinum: IEC 60751, the table of resistances of a Pt100, printed to 0.01 ohm

IEC_60751 = {
    -200: 18.52,
    -180: 27.10,
    -150: 39.72,
    -100: 60.26,
    -50: 80.31,
    -40: 84.27,
    -10: 96.09,
    0: 100.00,
    10: 103.90,
    20: 107.79,
    50: 119.40,
    100: 138.51,
    150: 157.33,
    200: 175.86,
    300: 212.05,
    400: 247.09,
    500: 280.98,
    600: 313.71,
    850: 390.48,
}


@pytest.mark.parametrize("celsius, ohms", IEC_60751.items())
def test_platinum(celsius: float, ohms: float) -> None:
    assert one(Platinum(100).ohms, celsius) == pytest.approx(ohms, abs=0.00501)
    assert one(Platinum(1000).ohms, celsius) == pytest.approx(10 * ohms, abs=0.0501)
    if celsius != -200:  # where the printed 18.52 lies just outside of the range
        # 0.29 ohm to a degree at the least, at 850 degC
        assert one(Platinum(100).celsius, ohms) == pytest.approx(celsius, abs=0.00501 / 0.29)


def test_platinum_range() -> None:
    """IEC 60751 tabulates -200 to 850 degC."""
    assert (Platinum(100).lowest, Platinum(100).highest) == (-200, 850)


def test_platinum_mean_coefficient() -> None:
    """IEC 60751 names the class of platinum by (R100 - R0) / (100 degC R0) = 3.851e-3 / degC."""
    r0, r100 = Platinum(100).ohms(np.array([0.0, 100.0]))
    assert (r100 - r0) / (100 * r0) == pytest.approx(3.851e-3, abs=0.5e-6)


def test_platinum_branches_meet() -> None:
    """In value and slope: r0 and A r0, from either side."""
    pt, step = Platinum(100), 1e-3
    below, zero, above = pt.ohms(np.array([-step, 0, step]))
    assert zero == 100
    assert [(zero - below) / step, (above - zero) / step] == pytest.approx([0.39083] * 2, abs=1e-7)
    assert list(pt.celsius(np.array([below, zero, above]))) == pytest.approx([-step, 0, step], abs=1e-12)


# Steinhart-Hart: the manual of Campbell Scientific's 109SS probe gives these coefficients, and in its appendix C
# these resistances and the temperatures, printed to 0.01 degC, that the equation makes of them

PROBE = SteinhartHart(1.129241e-3, 2.341077e-4, 8.775468e-8)
PROBE_TABLE = {
    -40: 336103.2,
    -35: 242430.2,
    -30: 176804.8,
    -25: 130307.6,
    -20: 97006.9,
    -15: 72911.1,
    -10: 55303.9,
    -5: 42316.7,
    0: 32650.9,
    1: 31030.8,
}


@pytest.mark.parametrize("celsius, ohms", PROBE_TABLE.items())
def test_steinhart_hart(celsius: float, ohms: float) -> None:
    assert one(PROBE.celsius, ohms) == pytest.approx(celsius, abs=0.005)
    # 7 % to a degree at the most
    assert one(PROBE.ohms, celsius) == pytest.approx(ohms, rel=0.07 * 0.005)


# B values and curve: Thermometrics, "Sensor Temperature Resistance Curves" (2014), material type 1

CURVE = {
    -40: 33.36,
    -30: 17.61,
    -20: 9.681,
    -10: 5.525,
    0: 3.264,
    10: 1.990,
    20: 1.249,
    30: 0.8056,
    40: 0.5325,
    50: 0.3601,
    60: 0.2487,
    70: 0.1751,
    80: 0.1256,
    90: 0.09155,
    100: 0.06781,
    110: 0.05095,
    120: 0.03881,
}  # degC: resistance as a share of that at 25 degC
B_FROM_25 = {50: (3937, 0.3601), 85: (3977, 0.1070), 100: (3992, 0.06781), 125: (4013, 0.03403)}


@pytest.mark.parametrize("celsius", B_FROM_25)
def test_b_value(celsius: float) -> None:
    b, share = B_FROM_25[int(celsius)]
    assert one(Beta(b, 10_000, 25).ohms, 25) == pytest.approx(10_000, rel=1e-12)
    assert one(Beta(b, 10_000, 25).ohms, celsius) == pytest.approx(10_000 * share, rel=5e-4)
    assert one(Beta(b, 10_000, 25).celsius, 10_000 * share) == pytest.approx(celsius, abs=0.02)


@pytest.mark.parametrize("celsius, share", CURVE.items())
def test_a_table_of_every_20_degrees_knows_the_10_between(celsius: float, share: float) -> None:
    table = ThermistorTable(tuple((10_000 * CURVE[t], float(t)) for t in range(-40, 121, 20)))
    assert one(table.celsius, 10_000 * share) == pytest.approx(celsius, abs=0.1 if celsius % 20 else 1e-9)
    assert one(table.ohms, celsius) == pytest.approx(10_000 * share, rel=0.006 if celsius % 20 else 1e-12)


THREE = ((32_650.0, 0.0), (10_000.0, 25.0), (3_603.0, 50.0))


def b_between(one: tuple[float, float], other: tuple[float, float]) -> float:
    return math.log(one[0] / other[0]) / (1 / (one[1] + 273.15) - 1 / (other[1] + 273.15))


@pytest.mark.parametrize(
    "pair, first, last",
    [(THREE[:2], 0, 25), (THREE[1:], 25, 50), (THREE[:2], -60, 0), (THREE[1:], 50, 150)],
    ids=["first pair", "last pair", "colder than the table", "hotter than the table"],
)
def test_between_two_points_a_table_is_a_b_value(
    pair: tuple[tuple[float, float], tuple[float, float]], first: float, last: float
) -> None:
    celsius = np.linspace(first, last, 101)
    beta = Beta(b_between(*pair), *pair[0])
    assert ThermistorTable(THREE).ohms(celsius) == pytest.approx(beta.ohms(celsius), rel=1e-12)
    assert ThermistorTable(THREE[::-1]).celsius(beta.ohms(celsius)) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("c", [0, 5e-324, 1e-300, 1e-30, 1e-18])
def test_steinhart_hart_without_its_cube_is_a_b_value(c: float) -> None:
    b = 3950.0
    curve = SteinhartHart(1 / 298.15 - math.log(10_000) / b, 1 / b, c)
    celsius = np.linspace(-60, 200, 261)
    assert curve.ohms(celsius) == pytest.approx(Beta(b, 10_000, 25).ohms(celsius), rel=1e-9)
    assert curve.celsius(curve.ohms(celsius)) == pytest.approx(celsius, abs=1e-9)


# thermocouples: NIST Monograph 175, the tables of voltages (also in ASTM E230, IEC 60584-1), printed to 0.001 mV

NIST_175: dict[Literal["J", "K"], dict[float, float]] = {
    "K": {
        -270: -6.458,
        -260: -6.441,
        -250: -6.404,
        -240: -6.344,
        -200: -5.891,
        -150: -4.913,
        -130: -4.411,
        -70: -2.587,
        0: 0,
        30: 1.203,
        100: 4.096,
        130: 5.328,
        230: 9.343,
        300: 12.209,
        430: 17.667,
        500: 20.644,
        730: 30.382,
        930: 38.522,
        1130: 46.249,
        1330: 53.451,
        1372: 54.886,
    },
    "J": {
        -210: -8.095,
        -60: -2.893,
        0: 0,
        90: 4.726,
        240: 13.000,
        390: 21.297,
        540: 29.647,
        690: 38.512,
        760: 42.919,
        840: 48.074,
        990: 57.360,
        1140: 66.102,
        1200: 69.553,
    },
}


@pytest.mark.parametrize("kind", NIST_175)
def test_thermocouple(kind: Literal["J", "K"]) -> None:
    celsius, printed = np.array(list(NIST_175[kind].items())).T
    assert Thermocouple(kind).millivolts(celsius) == pytest.approx(printed, abs=0.000501)
    warm = celsius >= -200  # nearer to -270 degC 0.001 mV is up to a degree
    assert Thermocouple(kind).celsius(printed)[warm] == pytest.approx(celsius[warm], abs=0.05)


@pytest.mark.parametrize("kind", NIST_175)
def test_thermocouple_at_every_degree(kind: Literal["J", "K"]) -> None:
    """The referee, thermocouple-its90, took its coefficients by machine from NIST's files."""
    ours, referee = Thermocouple(kind), thermocouple_its90.get(kind)
    assert (ours.lowest, ours.highest) == referee.range
    celsius = np.arange(ours.lowest, ours.highest + 1)
    millivolts = np.array([referee.emf(float(t)) for t in celsius])
    assert ours.millivolts(celsius) == pytest.approx(millivolts, abs=1e-11)
    assert ours.celsius(millivolts) == pytest.approx(celsius, abs=1e-8)


@pytest.mark.parametrize("kind, celsius", [("K", 0), ("J", 760)])
def test_thermocouple_pieces_meet(kind: Literal["J", "K"], celsius: float) -> None:
    """In value and slope, as well as NIST's printed coefficients allow."""
    step = 0.01
    below, at, above = Thermocouple(kind).millivolts(celsius + np.array([-step, 0, step]))
    assert (at - below) / step == pytest.approx((above - at) / step, rel=2e-4)


def test_no_voltage_at_the_reference_junctions_temperature() -> None:
    assert [one(Thermocouple(kind).millivolts, 0) for kind in NIST_175] == [0, 0]
    assert [one(Thermocouple(kind).celsius, 0) for kind in NIST_175] == [0, 0]


# every law

RESISTORS: dict[str, Resistor] = {
    "Pt100": Platinum(100),
    "Pt1000": Platinum(1000),
    "Steinhart-Hart": PROBE,
    "Steinhart-Hart, no cube": SteinhartHart(1.1e-3, 2.4e-4, 0),
    "Steinhart-Hart, strong cube": SteinhartHart(1.5e-3, 5e-5, 2e-6),
    "B value": Beta(3950, 10_000, 25),
    "small and flat": Beta(2800, 50, 100),
    "table": ThermistorTable(THREE),
    "two points": ThermistorTable(THREE[:2]),
}
JUNCTIONS: dict[str, Junction] = {"K": Thermocouple("K"), "J": Thermocouple("J")}
LAWS: dict[str, tuple[float, float, Callable[[Floats], Floats], Callable[[Floats], Floats]]] = {
    **{name: (law.lowest, law.highest, law.ohms, law.celsius) for name, law in RESISTORS.items()},
    **{name: (law.lowest, law.highest, law.millivolts, law.celsius) for name, law in JUNCTIONS.items()},
}
every_law = pytest.mark.parametrize("lowest, highest, signal, celsius", LAWS.values(), ids=LAWS)


@every_law
@settings(derandomize=True, deadline=None)
@given(share=st.floats(0, 1))
def test_inverse_undoes_law(
    lowest: float,
    highest: float,
    signal: Callable[[Floats], Floats],
    celsius: Callable[[Floats], Floats],
    share: float,
) -> None:
    temperature = lowest + share * (highest - lowest)
    assert one(celsius, one(signal, temperature)) == pytest.approx(temperature, abs=1e-9)


@every_law
@settings(derandomize=True, deadline=None)
@given(share=st.floats(0, 1))
def test_law_undoes_inverse(
    lowest: float,
    highest: float,
    signal: Callable[[Floats], Floats],
    celsius: Callable[[Floats], Floats],
    share: float,
) -> None:
    first, last = signal(np.array([lowest, highest]))
    # a thermistor's ohms span many decades
    given_signal = float(first * (last / first) ** share if first > 0 else first + share * (last - first))
    # NIST's two pieces of type J miss each other by 7.5e-8 mV
    assert one(signal, one(celsius, given_signal)) == pytest.approx(
        given_signal, rel=1e-9, abs=8e-8 if first < 0 else 0
    )


@settings(derandomize=True, deadline=None)
@given(a=st.floats(5e-4, 2e-3), b=st.floats(1e-4, 5e-4), c=st.floats(0, 1e-6), celsius=st.floats(-60, 300))
def test_steinhart_hart_undoes_itself(a: float, b: float, c: float, celsius: float) -> None:
    curve = SteinhartHart(a, b, c)
    assert one(curve.celsius, one(curve.ohms, celsius)) == pytest.approx(celsius, abs=1e-9)


@every_law
def test_strictly_monotone(
    lowest: float, highest: float, signal: Callable[[Floats], Floats], celsius: Callable[[Floats], Floats]
) -> None:
    signals = signal(np.linspace(lowest, highest, 100_001))
    way = np.sign(signals[-1] - signals[0])
    assert np.all(np.diff(signals) * way > 0)
    assert np.all(np.diff(celsius(signals)) > 0)


@every_law
def test_nan_outside_and_no_complaint(
    lowest: float, highest: float, signal: Callable[[Floats], Floats], celsius: Callable[[Floats], Floats]
) -> None:
    with np.errstate(all="raise"):
        said = signal(
            np.array([-math.inf, lowest - 0.001, lowest, highest, highest + 0.001, math.inf, math.nan])
        )
        assert list(np.isnan(said)) == [True, True, False, False, True, True, True]
        low, high = np.sort(said[2:4])
        outside = np.array(
            [-math.inf, low - 1e-6 * abs(low), low, high, high * (1 + 1e-6), math.inf, math.nan, -1e3]
        )
        assert list(np.isnan(celsius(outside))) == [True, True, False, False, True, True, True, True]


@every_law
def test_a_whole_range_at_once_is_what_each_value_is_alone(
    lowest: float, highest: float, signal: Callable[[Floats], Floats], celsius: Callable[[Floats], Floats]
) -> None:
    temperatures = np.linspace(lowest, highest, 65).reshape(5, 13)
    signals = signal(temperatures)
    assert signals.shape == (5, 13) and signals.dtype == np.float64
    assert signals.ravel() == pytest.approx([one(signal, t) for t in temperatures.ravel()], rel=1e-14)
    assert celsius(signals) == pytest.approx(temperatures, abs=1e-9)
