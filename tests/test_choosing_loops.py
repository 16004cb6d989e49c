"""Whether a transmitter lives, by Ohm's law in fractions; what a loop's command says of a dying battery and a starter's dip."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from choosing_cases import LOOP
from gaugelight.choosing.asked import Asked
from gaugelight.choosing.loops import compliance, largest_shunt, lowest_bus
from gaugelight.preferred import values
from gaugelight.wires import Wire

# AWG 22, tin-plated stranded: 16.20 ohm per 1000 ft at 20 degC (FAA AC 43.13-1B, table 11-9); there and back
WIRE = 2 * 5 * Fraction("16.20") / (1000 * Fraction("0.3048"))
MA = Fraction(21, 1000)
THREE = replace(LOOP, loop_wires=3)

# bus and shunt, and what is left at the transmitter of two wires: bus - diode - 21 mA (wire + shunt)
TWO_WIRES = {
    "a healthy bus over 150 ohm": ("14", 150),
    "a dying battery over 150 ohm: 3.15 V are the shunt's": ("10.5", 150),
    "a dying battery over 24 ohm": ("10.5", 24),
    "a starter's dip": ("6", 24),
}


@pytest.mark.parametrize("case", TWO_WIRES)
def test_two_wires(case: str) -> None:
    bus, shunt = TWO_WIRES[case]
    found = compliance(LOOP, shunt, float(bus))
    right = Fraction(bus) - Fraction("0.7") - MA * (WIRE + shunt)
    assert found.volts == pytest.approx(float(right), rel=1e-9)
    assert found.left == pytest.approx(float(right - 9), rel=1e-9)
    assert found.lives == (right >= 9)


def test_three_wires() -> None:
    """Its own 10 mA and the 21 of the loop come through the supply's wire; the loop goes back through the shunt."""
    found = compliance(THREE, 150, 10.5)
    volts = Fraction("10.5") - Fraction("0.7") - Fraction(31, 1000) * WIRE
    assert found.volts == pytest.approx(float(volts), rel=1e-9)
    output = volts - 3 - MA * (WIRE / 2 + 150)
    assert found.left == pytest.approx(float(min(volts - 9, output)), rel=1e-9)
    assert compliance(THREE, 400, 10.5).lives is False  # 8.4 V over the shunt: its output has 6.8
    assert compliance(THREE, 300, 10.5).lives is True


@given(st.sampled_from((LOOP, THREE)), st.floats(6, 16), st.floats(6, 9), st.floats(0.5, 30))
def test_no_larger_shunt_lives(asked: Asked, bus: float, least: float, metres: float) -> None:
    asked = replace(asked, transmitter_least=least, wire=Wire(22, metres))
    largest = largest_shunt(asked, bus)
    lives = [ohms for ohms in values("E24", 1, 1000) if compliance(asked, ohms, bus).lives]
    assert largest == (max(lives) if lives else None)


@given(st.floats(5, 200), st.floats(6, 14))
def test_the_lowest_bus_is_where_it_just_lives(shunt: float, least: float) -> None:
    asked = replace(LOOP, transmitter_least=least)
    bus = lowest_bus(asked, shunt)
    assert compliance(asked, shunt, bus + 1e-6).lives and not compliance(asked, shunt, bus - 1e-6).lives
