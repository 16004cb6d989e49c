"""Ground offsets and return wires against ngspice and Ohm's law."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.chain import Chain
from gaugelight.choosing.grounds import ReturnWire, offs, return_wire, said
from gaugelight.circuits import Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import Ads1115, ChipInput
from gaugelight.laws import Itself, Law, Line, Points
from gaugelight.wires import Wire
from fractions import Fraction
from test_circuits import needs_ngspice, spice

CHIP = ChipInput(Ads1115("aft", 0x48), "0", 4.096)
RAIL = Chain(Direct(), CHIP)
FIVE = Chain(Divider(10e3, 15e3), CHIP)


def line(*points: tuple[float, float]) -> Points:
    return Points(tuple((Fraction(s), Fraction(r)) for s, r in points))


FLOAT = line((0, 0), (90, 18))
BACKWARDS = line((33, 98), (240, 0))
TRANSMITTER = Line(((Fraction(4), Fraction(0)), (Fraction(20), Fraction(1500))))
VOLTS = Line(((Fraction(1, 2), Fraction(0)), (Fraction(9, 2), Fraction(30))))
NOTHING = ReturnWire(0.0)

PULL_UP = Chain(PullUp(150, "rail", protection=9400), CHIP, 3.3, RAIL)
RATIO = Chain(Divider(10e3, 15e3, "five"), CHIP, 5.0, FIVE)
DIVIDED = Chain(Divider(10e3, 15e3), CHIP)
STRAIGHT = Chain(Direct(), CHIP)

# ngspice is the referee: chain, law, reading, netlist, its values for that reading; the signal from what the pin then has
SPICED: dict[str, tuple[Chain, Law, float, str, dict[str, float]]] = {
    "float, empty": (PULL_UP, FLOAT, 0, "pull_up.cir", {"resistor": 150, "sender": 1e-3, "protection": 9400}),
    "float, half": (PULL_UP, FLOAT, 9, "pull_up.cir", {"resistor": 150, "sender": 45, "protection": 9400}),
    "float, three quarters": (PULL_UP, FLOAT, 13.5, "pull_up.cir", {"resistor": 150, "sender": 67.5, "protection": 9400}),
    "0.5-4.5 V, own supply": (DIVIDED, VOLTS, 15, "divider.cir", {"sender": 2.5, "output": 1e-3, "adc": 6e6}),
    "0.5-4.5 V, low": (DIVIDED, VOLTS, 0, "divider.cir", {"sender": 0.5, "output": 1e-3, "adc": 6e6}),
    "0.5-4.5 V, box's supply": (RATIO, VOLTS, 7.5, "supply_ratio.cir", {"signal": 0.3, "output": 1e-3}),
    "0.5-4.5 V, box's, top": (RATIO, VOLTS, 30, "supply_ratio.cir", {"signal": 0.9, "output": 1e-3}),
    "a voltage straight": (STRAIGHT, Itself(0.0, 4.0), 2, "direct.cir", {"sender": 2}),
}  # fmt: skip


@needs_ngspice
@pytest.mark.parametrize("chain, law, reading, netlist, values", SPICED.values(), ids=SPICED)
@pytest.mark.parametrize("offset", [0.05, -0.02])
def test_through_the_airframe(
    tmp_path: Path,
    chain: Chain,
    law: Law,
    reading: float,
    netlist: str,
    values: dict[str, float],
    offset: float,
) -> None:
    pin = spice(tmp_path, netlist, values | {"offset": offset})["v(pin)"]
    found = offs(chain, law, [reading], offset, NOTHING)[0]
    shown = reading + found.airframe
    signal = float(chain.circuit.signal(np.array([max(pin, 0.0)]), chain.supply, chain.converter.load)[0])
    assert shown == pytest.approx(float(law.reading(np.array([signal]))[0]), abs=2e-4 * abs(law.span[1]))


@needs_ngspice
@pytest.mark.parametrize("ohms", [0.16, 1.0])
def test_through_a_wire_of_its_own(tmp_path: Path, ohms: float) -> None:
    """Its ohms add to the float's, which at half read so much more."""
    pin = spice(tmp_path, "pull_up.cir", {"resistor": 150, "sender": 45, "wire": ohms, "protection": 9400})[
        "v(pin)"
    ]
    signal = float(PULL_UP.circuit.signal(np.array([pin]), 3.3, 6e6)[0])
    found = offs(PULL_UP, FLOAT, [9], 0.0, ReturnWire(ohms))[0]
    assert found.wire == pytest.approx((signal - 45) / 5, abs=1e-4) == pytest.approx(ohms / 5, abs=1e-4)


# by hand: Ohm's law. What others send through a common pin of 20 mohm: 100 mA make 2 mV, at empty of 22 mA 0.0909 ohm
BY_HAND: dict[str, tuple[Chain, Law, float, ReturnWire, float]] = {
    "no resistance": (PULL_UP, FLOAT, 9, NOTHING, 0.0),
    "known in the box file": (PULL_UP, FLOAT, 9, ReturnWire(0.5, known=True), 0.0),
    "its own ohms": (PULL_UP, FLOAT, 9, ReturnWire(0.5), 0.1),
    "a common pin": (PULL_UP, FLOAT, 0, ReturnWire(0.0, others=100, shared=0.02), 0.0909 / 5),
    "reversed float": (PULL_UP, BACKWARDS, 49, ReturnWire(1.0), -98 / 207),
    "own supply of 10 mA through 0.2 ohm": (DIVIDED, VOLTS, 15, ReturnWire(0.2, own=10), 0.002 * 7.5),
    "own supply, its current not stated": (DIVIDED, VOLTS, 15, ReturnWire(0.2), 0.002 * 7.5),
    "own supply, none": (DIVIDED, VOLTS, 15, ReturnWire(0.2, own=0), 0.0),
    "box's supply, half of it cancels": (RATIO, VOLTS, 15, ReturnWire(0.2, own=10), 0.001 * 7.5),
    "a loop": (
        Chain(Shunt(150), CHIP),
        TRANSMITTER,
        750,
        ReturnWire(5.0, own=30, others=500, shared=1.0),
        0.0,
    ),
    "a couple": (Chain(Millivolt(), CHIP), Itself(0.0, 40.0), 20, ReturnWire(5.0, own=30), 0.0),
}


@pytest.mark.parametrize("chain, law, reading, back, off", BY_HAND.values(), ids=BY_HAND)
def test_by_hand(chain: Chain, law: Law, reading: float, back: ReturnWire, off: float) -> None:
    found = offs(chain, law, [reading], 0.05, back)[0]
    assert found.wire == pytest.approx(off, abs=2e-4)
    signal = float(law.signal(np.array([reading]))[0])
    for reads, signals in ((found.wire, found.wire_signal), (found.airframe, found.airframe_signal)):
        assert float(law.reading(np.array([signal + signals]))[0]) == pytest.approx(reading + reads, abs=1e-9)


def test_wire_of_the_reference_notes() -> None:
    """AC 43.13-1B, table 11-9: AWG 22 has 16.2 ohm per 1000 ft; 10 ft one way are 0.162 ohm. A common pin adds its own."""
    run = Wire(22, 3.048)
    assert return_wire(run).ohms == pytest.approx(0.162, rel=1e-6)
    found = return_wire(run, others=50, shared_share=0.5, common_pin=0.01)
    assert found.ohms == pytest.approx(0.172) and found.shared == pytest.approx(0.091)


@given(st.floats(-0.2, 0.2), st.floats(0, 18))
def test_a_float_that_rises_reads_more_with_a_higher_ground(offset: float, reading: float) -> None:
    """And never anything its law does not hold."""
    found = offs(PULL_UP, FLOAT, [reading], offset, NOTHING)[0]
    assert 0 <= reading + found.airframe <= 18 + 1e-9
    assert found.airframe * offset >= -1e-12


def test_hidden_by_the_end() -> None:
    """At full the float's end hides what the signal shows; below nought the box counts nought."""
    top, bottom = offs(PULL_UP, FLOAT, [18, 0], 0.05, NOTHING)
    assert top.airframe == 0 and top.airframe_signal > 3
    _, *rows = said(PULL_UP, 0.05, [top, bottom], "US gal")
    assert rows == [
        "  at 18 US gal: hidden by its end (+3.7 of the signal); nothing",
        "  at 0 US gal: +0.46 US gal; nothing",
    ]
    assert offs(PULL_UP, FLOAT, [0], -0.05, NOTHING)[0].airframe == 0
    text = "\n".join(said(PULL_UP, 0.05, [top, bottom], "US gal", ReturnWire(0.16)))
    assert (
        "hidden by its end" in text
        and "else 50 mV over its 0.16 ohm send up to 312 mA" in text
        and "insulated" in text
    )


def test_an_assumed_current_is_said() -> None:
    found = offs(DIVIDED, VOLTS, [15], 0.05, ReturnWire(0.2))
    assert "10 mA back through that wire (assumed)" in "\n".join(
        said(DIVIDED, 0.05, found, "psi", ReturnWire(0.2))
    )
    assert "assumed" not in "\n".join(said(DIVIDED, 0.05, found, "psi", ReturnWire(0.2, own=5)))
    assert "assumed" not in "\n".join(said(PULL_UP, 0.05, found, "psi", ReturnWire(0.2)))


WORDS: dict[str, tuple[Chain, str]] = {
    "a loop": (Chain(Shunt(150), CHIP), "does not care"),
    "a couple": (Chain(Millivolt(), CHIP), "neither may touch the airframe"),
}


@pytest.mark.parametrize("chain, words", WORDS.values(), ids=WORDS)
def test_said(chain: Chain, words: str) -> None:
    assert words in "\n".join(said(chain, 0.05, [], "psi"))


def test_table_of_the_reference_box() -> None:
    """hardware_notes/reference_box.md: 10 mV read 0.12 US gal high at full of the demo's float; just below it, that is."""
    demo: Any = line((0, 0), (21, 4), (46, 9.5), (71, 15), (90, 18))
    found = offs(PULL_UP, demo, [17.8], 0.01, NOTHING)[0]
    assert found.airframe == pytest.approx(0.12, abs=0.01)
