"""Circuits and converters against ngspice and against arithmetic that cannot be wrong."""

import math
import re
import shutil
import subprocess
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.resources import files
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from box_says import Sampled, settled
from gaugebox.measure import FAULTS, NO_INPUT
from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.chain import Chain, chain_of
from gaugelight.circuits import REFERENCE, Circuit, Counts, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import COUNTS, GAINS, Ads1115, ChipInput, Converter, OnChip

NETLISTS = Path(__file__).parent.parent / "hardware_notes" / "netlists"
OPEN = 1e12  # ohm
THROUGH = 1e-3  # ohm: chafed through
AFT = Ads1115("aft", 0x48)

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)


def spice(tmp_path: Path, netlist: str, values: dict[str, float]) -> dict[str, float]:
    """What ngspice prints for a netlist of the hardware notes with these .param values in place of its own."""
    text = (NETLISTS / netlist).read_text()
    for name, value in values.items():
        text, found = re.subn(rf"(?m)^(\.param {name}\s*=)\s*\S+", rf"\g<1> {value!r}", text)
        assert found == 1, f"{netlist} has no .param {name}"
    place = tmp_path / netlist
    place.write_text(text)
    run = subprocess.run(["ngspice", "-b", str(place)], capture_output=True, text=True, timeout=120)
    printed = dict(re.findall(r"(?m)^(\S+) = (\S+)$", run.stdout))
    assert printed, run.stdout + run.stderr
    return {name: float(value) for name, value in printed.items()}


# ngspice is the referee: the pin's voltage for each circuit at a grid of signals, with all that may stand in its way


@dataclass(frozen=True)
class Drawn:
    """A circuit as the law has it and as its netlist has it; `sender` is the netlist's name of the signal."""

    circuit: Circuit
    netlist: str
    sender: str
    signals: tuple[float, ...]
    values: dict[str, float] = field(default_factory=dict)
    supply: float = 3.3
    load: float = 6e6
    seen: str = "v(pin)"
    no_output: bool = (
        False  # the sender of this netlist has an output resistance, which is put out of the way
    )


FLOATS = (0.001, 10, 33, 46, 90, 240)
THERMISTOR = (300, 10e3, 150e3)
VOLTS = (0.5, 1.25, 2.5, 4.5)
DRAWN = {
    "pull-up": Drawn(PullUp(150, "rail"), "pull_up.cir", "sender", FLOATS),
    "pull-up, protected": Drawn(PullUp(220, "rail", protection=9400), "pull_up.cir", "sender", FLOATS, {"resistor": 220, "protection": 9400}),
    "pull-up, all in the way": Drawn(
        PullUp(150, "rail", series=22, wire=0.8, protection=4700), "pull_up.cir", "sender", FLOATS,
        {"series": 22, "wire": 0.8, "protection": 4700},
    ),
    "pull-up, a converter that loads it": Drawn(PullUp(10e3, "rail", protection=1e4), "pull_up.cir", "sender", THERMISTOR, {"resistor": 10e3, "protection": 1e4, "adc": 3e5}, load=3e5),
    "pull-up to the on-chip reference": Drawn(PullUp(10e3, REFERENCE, protection=1000), "pull_up.cir", "sender", THERMISTOR, {"resistor": 10e3, "protection": 1000, "adc": OnChip(26).load}, load=OnChip(26).load),
    "pull-up to 5 V": Drawn(PullUp(330, "rail"), "pull_up.cir", "sender", FLOATS, {"resistor": 330, "rail": 5}, supply=5),
    "shunt": Drawn(Shunt(150), "shunt.cir", "loop", (3.6, 4, 12, 20, 21)),
    "shunt, protected": Drawn(Shunt(150, protection=9400), "shunt.cir", "loop", (3.6, 4, 12, 20, 21), {"protection": 9400}),
    "shunt of 100 ohm, a corroded wire": Drawn(Shunt(100), "shunt.cir", "loop", (4, 12, 20), {"shunt": 100, "wire": 20}),
    "divider": Drawn(Divider(10e3, 15e3), "divider.cir", "sender", VOLTS, no_output=True),
    "divider, all in the way": Drawn(
        Divider(47e3, 10e3, wire=35, protection=4700), "divider.cir", "sender", (8, 14, 16),
        {"top": 47e3, "bottom": 10e3, "wire": 35, "protection": 4700, "adc": 6e6}, no_output=True,
    ),
    "direct": Drawn(Direct(), "direct.cir", "sender", (0.5, 3.3), no_output=True),
    "direct, all in the way": Drawn(Direct(wire=20, protection=9400), "direct.cir", "sender", (0.5, 3.3), {"wire": 20, "protection": 9400}, no_output=True),
    "direct, pulled down": Drawn(Direct(wire=200, protection=9400, pull_down=10e3), "direct.cir", "sender", (0.5, 3.3), {"wire": 200, "protection": 9400, "pull_down": 10e3}, no_output=True),
}  # fmt: skip


@needs_ngspice
@pytest.mark.parametrize("drawn", DRAWN.values(), ids=DRAWN)
def test_law(drawn: Drawn, tmp_path: Path) -> None:
    if drawn.netlist == "divider.cir":
        drawn.values.setdefault("adc", drawn.load)
    for signal in drawn.signals:
        values = drawn.values | {drawn.sender: signal} | ({"output": 1e-6} if drawn.no_output else {})
        if "wire" not in values:
            values["wire"] = 1e-6
        pin = spice(tmp_path, drawn.netlist, values)[drawn.seen]
        assert drawn.circuit.pin(np.array([signal]), drawn.supply, drawn.load)[0] == pytest.approx(
            pin, rel=2e-6, abs=3e-8
        )
        seen = drawn.circuit.signal(np.array([pin]), drawn.supply, drawn.load)[0]
        assert seen == pytest.approx(signal, rel=1e-5, abs=2e-4)


@needs_ngspice
@pytest.mark.parametrize("millivolts", [-5.0, 0.0, 4.096, 20.644, 41.276])
@pytest.mark.parametrize("protection, couple", [(0.0, 1e-3), (1000.0, 10.0), (470.0, 6.0)])
def test_millivolt(millivolts: float, protection: float, couple: float, tmp_path: Path) -> None:
    """Without its bias and its burn-out resistor, which the next test adds."""
    values = {"emf": millivolts, "couple": couple, "protection": protection, "burnout": OPEN, "common": OPEN}
    pin = spice(tmp_path, "millivolt.cir", values)["v(pin_plus)-v(pin_minus)"]
    circuit = Millivolt(wire=couple, protection=protection)
    assert circuit.pin(np.array([millivolts]), 1.0, 710e3)[0] == pytest.approx(pin, rel=2e-6, abs=1e-9)
    assert circuit.signal(np.array([pin]), 1.0, 710e3)[0] == pytest.approx(millivolts, rel=1e-5, abs=1e-5)


@needs_ngspice
def test_what_bias_and_burn_out_cost_a_millivolt(tmp_path: Path) -> None:
    """The law leaves them out: 0.75 uA through 11 ohm of wire; 8 uV are 0.2 degC of a type K at 500 degC (ITS-90: 42.6 uV/K)."""
    pin = spice(tmp_path, "millivolt.cir", {})["v(pin_plus)-v(pin_minus)"]
    said = Millivolt(wire=10, protection=1000).signal(np.array([pin]), 1.0, 710e3)[0]
    assert abs(said - 19.644) < 0.009
    opened = spice(tmp_path, "millivolt.cir", {"wire": OPEN})["v(pin_plus)-v(pin_minus)"]
    assert opened > 0.256  # beyond full scale: told as open


# faults: something else drives the wire

DRIVEN = {
    "pull-up, open wire": (PullUp(150, "rail", protection=9400), "pull_up.cir", {"wire": OPEN}, (0.0, math.inf)),
    "pull-up, to ground": (PullUp(150, "rail", series=22), "pull_up.cir", {"series": 22, "chafe": THROUGH}, (0.0, THROUGH)),
    "pull-up, to the bus": (PullUp(150, "rail"), "pull_up.cir", {"bus_chafe": THROUGH}, (14.0, THROUGH)),
    "pull-up, ground offset": (PullUp(150, "rail", protection=9400), "pull_up.cir", {"offset": 0.05}, (0.05, 46.0)),
    "pull-up, corroded": (PullUp(150, "rail"), "pull_up.cir", {"wire": 10}, (0.0, 56.0)),
    "shunt, open wire": (Shunt(150), "shunt.cir", {"wire": OPEN}, (0.0, math.inf)),
    "shunt, to ground": (Shunt(150), "shunt.cir", {"ground": THROUGH}, (0.0, THROUGH)),
    "shunt, to the bus": (Shunt(150), "shunt.cir", {"chafe": THROUGH}, (14.0, THROUGH)),
    "divider, open wire": (Divider(10e3, 15e3), "divider.cir", {"wire": OPEN}, (0.0, math.inf)),
    "divider, to the bus": (Divider(10e3, 15e3), "divider.cir", {"chafe": THROUGH}, (14.0, THROUGH)),
    "divider, ground offset": (Divider(10e3, 15e3), "divider.cir", {"offset": 0.05}, (2.55, 10.0)),
    "divider, corroded": (Divider(10e3, 15e3), "divider.cir", {"wire": 50}, (2.5, 60.0)),
    "direct, to ground": (Direct(protection=9400), "direct.cir", {"ground": THROUGH, "output": 1000}, (0.0, THROUGH)),
    "direct, pulled down, open wire": (Direct(protection=9400, pull_down=100e3), "direct.cir", {"wire": OPEN, "pull_down": 100e3}, (0.0, math.inf)),
    "direct, pulled down, corroded": (Direct(protection=9400, pull_down=10e3), "direct.cir", {"wire": 500, "pull_down": 10e3}, (3.3, 500.01)),
}  # fmt: skip


@needs_ngspice
@pytest.mark.parametrize("circuit, netlist, values, source", DRIVEN.values(), ids=DRIVEN)
def test_driven(
    circuit: Circuit, netlist: str, values: dict[str, float], source: tuple[float, float], tmp_path: Path
) -> None:
    protection = {"protection": getattr(circuit, "protection", 0.0)}
    pin = spice(tmp_path, netlist, {"adc": 6e6} | protection | values)["v(pin)"]
    assert circuit.driven(*source, 3.3, 6e6) == pytest.approx(pin, rel=1e-4, abs=1e-4)


@needs_ngspice
@pytest.mark.parametrize("rail", [3.0, 3.15, 3.3])
def test_a_sagging_rail_does_not_move_the_ratio(rail: float, tmp_path: Path) -> None:
    """Measured over a divider of its own, behind the same protection."""
    chain = Chain(PullUp(150, "rail", protection=4700), ChipInput(AFT, "0", 4.096), 3.3,
                  Chain(Divider(10e3, 15e3, protection=4700), ChipInput(AFT, "3", 4.096)))  # fmt: skip
    values = {"rail": rail, "protection": 4700, "rail_top": 10e3, "rail_bottom": 15e3, "wire": 1e-6}
    said = spice(tmp_path, "pull_up.cir", values)
    assert said["v(rail_pin)"] == pytest.approx(chain.rail.pin_volts(rail), rel=1e-5)  # type: ignore[union-attr]
    count = chain.count(said["v(pin)"], rail)
    assert chain.signals()[count] == pytest.approx(46, abs=0.02)


@needs_ngspice
@pytest.mark.parametrize("supply", [4.5, 5.0, 5.3])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_ratio_to_a_measured_supply(share: float, supply: float, tmp_path: Path) -> None:
    divider = Divider(10e3, 15e3, protection=4700)
    chain = Chain(Divider(10e3, 15e3, "5 V", wire=10, protection=4700), ChipInput(AFT, "0", 4.096), 5.0,
                  Chain(divider, ChipInput(AFT, "3", 4.096)))  # fmt: skip
    said = spice(tmp_path, "supply_ratio.cir", {"signal": share, "supply": supply, "protection": 4700})
    count = chain.count(said["v(pin)"], supply)
    assert chain.signals()[count] == pytest.approx(5 * share, abs=1e-3)
    assert chain.pin_volts(5 * share, supply) == pytest.approx(said["v(pin)"], rel=1e-5)


# ngspice says what the pin sees, the real channel of the box what that means

DEMO, SENDERS = Path(str(files("gaugelight.demo") / "amphibian.toml")), Path(__file__).parent / "senders.toml"


@pytest.fixture(scope="module")
def boxes() -> dict[str, Build]:
    return {"demo": build(read_box(DEMO)), "senders": build(read_box(SENDERS))}


COOLANT = {"resistor": 220.0, "sender": 104.0}
IN_DEMO = {"protection": 9400.0}
HALVED = {"resistor": 330.0, "rail": 3.0, "rail_top": 10e3, "rail_bottom": 10e3}
DIVIDED = {"protection": 4700.0}
WHAT_IT_MEANS = {
    "fuel, half": ("demo", "left fuel", "pull_up.cir", IN_DEMO, 9.5),
    "fuel, half, rail sagged": ("demo", "left fuel", "pull_up.cir", IN_DEMO | {"rail": 3.0}, 9.5),
    "fuel, open wire": ("demo", "left fuel", "pull_up.cir", IN_DEMO | {"wire": OPEN}, "open"),
    "fuel, half-open wire": ("demo", "left fuel", "pull_up.cir", IN_DEMO | {"wire": 120.0}, "over"),
    "fuel, short to ground is empty": ("demo", "left fuel", "pull_up.cir", IN_DEMO | {"chafe": THROUGH}, 0),
    "fuel, dead rail": ("demo", "left fuel", "pull_up.cir", IN_DEMO | {"rail": 0.1}, "rail"),
    "coolant, short to ground": ("demo", "coolant temperature", "pull_up.cir", IN_DEMO | COOLANT | {"chafe": THROUGH}, "short"),
    "coolant, open wire": ("demo", "coolant temperature", "pull_up.cir", IN_DEMO | COOLANT | {"wire": OPEN}, "open"),
    "pressure, half": ("demo", "reserve line", "shunt.cir", IN_DEMO, 7.5),
    "pressure, open wire": ("demo", "reserve line", "shunt.cir", IN_DEMO | {"wire": OPEN}, "open"),
    "pressure, chafed to ground": ("demo", "reserve line", "shunt.cir", IN_DEMO | {"ground": THROUGH}, "open"),
    "pressure, chafed to the supply": ("demo", "reserve line", "shunt.cir", IN_DEMO | {"chafe": THROUGH}, "short"),
    "coolant pressure, half": ("demo", "coolant pressure", "divider.cir", DIVIDED, 15),
    "coolant pressure, open wire": ("demo", "coolant pressure", "divider.cir", DIVIDED | {"wire": OPEN}, "open"),
    "coolant pressure, chafed to ground": ("demo", "coolant pressure", "divider.cir", DIVIDED | {"ground": THROUGH}, "open"),
    "coolant pressure, chafed to the supply": ("demo", "coolant pressure", "divider.cir", DIVIDED | {"chafe": THROUGH}, "short"),
    "a cooling system that pulls a vacuum": ("senders", "coolant pressure", "shunt.cir", {"loop": 3.4, "protection": 4700.0}, -1.125),
    "a loop that failed low, by its data sheet": ("senders", "coolant pressure", "shunt.cir", {"loop": 3.09, "protection": 4700.0}, "open"),
    "Pt1000 at 100 degC (IEC 60751)": ("senders", "oil temperature", "pull_up.cir", {"resistor": 1500.0, "sender": 1385.1, "protection": 1000.0, "adc": OnChip(27, 64).load}, 100),
    "Pt1000, open wire": ("senders", "oil temperature", "pull_up.cir", {"resistor": 1500.0, "wire": OPEN, "adc": 1e9}, "open"),
    "Pt100 at 0 degC, its rail halved (IEC 60751)": ("senders", "carburettor", "pull_up.cir", HALVED | {"sender": 100.0}, 0),
    "Pt100, an open wire fills the converter": ("senders", "carburettor", "pull_up.cir", HALVED | {"wire": OPEN}, "open"),
    "ratio to a 5 V supply that sags": ("senders", "manifold", "supply_ratio.cir", {"supply": 4.6, "signal": 0.5}, 14.5038),
    "ratio, open wire": ("senders", "manifold", "supply_ratio.cir", {"wire": OPEN}, "open"),
    "thermocouple K at 500 degC, box at 20 (ITS-90)": ("senders", "exhaust", "millivolt.cir", {"emf": 20.644 - 0.798, "couple": 1.0, "protection": 470.0}, 500),
    "thermocouple, open wire": ("senders", "exhaust", "millivolt.cir", {"wire": OPEN, "protection": 470.0}, "open"),
}  # fmt: skip
PIN = {"millivolt.cir": "v(pin_plus)-v(pin_minus)"}
RAIL_PIN = {"pull_up.cir": "v(rail_pin)", "supply_ratio.cir": "v(supply_pin)"}


@needs_ngspice
@pytest.mark.parametrize("which, name, netlist, values, expected", WHAT_IT_MEANS.values(), ids=WHAT_IT_MEANS)
def test_what_it_means(
    which: str,
    name: str,
    netlist: str,
    values: dict[str, float],
    expected: float | str,
    boxes: dict[str, Build],
    tmp_path: Path,
) -> None:
    """Readings within half a displayed step."""
    box, table = boxes[which].box, Table(boxes[which].image)
    at = [i.name for i in box.inputs].index(name)
    record = table.inputs[at]
    said = spice(tmp_path, netlist, values)
    rail = cold = None
    if record.rail != NO_INPUT:
        rail = Sampled(table.inputs[record.rail])
        settled(rail, box.inputs[record.rail].converter.count(said[RAIL_PIN[netlist]]))
    if record.cold != NO_INPUT:
        cold = Sampled(table.inputs[record.cold])
        junction = box.inputs[record.cold]
        ohms = float(junction.law.signal(np.array([20.0]))[0])
        settled(cold, junction.converter.count(chain_of(box, junction).pin_volts(ohms)))
    channel = Sampled(record, rail, cold)
    settled(channel, box.inputs[at].converter.count(said[PIN.get(netlist, "v(pin)")]))
    if isinstance(expected, str):
        assert FAULTS[channel.fault] == expected
    else:
        assert FAULTS[channel.fault] is None
        assert abs(channel.reading / 10**record.reading_decimals - expected) <= box.inputs[at].step / 2


# the laws by themselves

LAWS: dict[str, tuple[Circuit, float]] = {
    "pull-up of 150 ohm": (PullUp(150, "rail"), 1e5),
    "pull-up with all in the way": (PullUp(150, "rail", 22, 0.8, 4700), 1e5),
    "shunt": (Shunt(150, 9400), 24),
    "divider": (Divider(47e3, 10e3, None, 3, 4700), 18),
    "direct": (Direct(None, 3, 4700), 3.6),
    "direct, pulled down": (Direct(None, 3, 4700, 10e3), 3.6),
    "millivolt": (Millivolt(3, 470), 256),
}
LOADS = (710e3, 6e6, 1e9)


@pytest.mark.parametrize("circuit, highest", LAWS.values(), ids=LAWS)
@settings(derandomize=True, deadline=None)
@given(share=st.floats(0, 1), load=st.sampled_from(LOADS), supply=st.floats(1, 6))
def test_signal_undoes_pin(
    circuit: Circuit, highest: float, share: float, load: float, supply: float
) -> None:
    signal = share * highest
    pin = circuit.pin(np.array([signal]), supply, load)
    # beside a large resistance the last digits of the pin's voltage are all there is of the signal
    assert circuit.signal(pin, supply, load)[0] == pytest.approx(signal, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("circuit, highest", LAWS.values(), ids=LAWS)
@pytest.mark.parametrize("load", LOADS)
def test_laws_rise(circuit: Circuit, highest: float, load: float) -> None:
    assert np.all(np.diff(circuit.pin(np.linspace(0, highest, 10_001), 3.3, load)) > 0)
    pins = np.linspace(0, 0.99 * circuit.pin(np.array([highest]), 3.3, load)[0], 10_001)
    assert np.all(np.diff(circuit.signal(pins, 3.3, load)) > 0)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    ohms=st.fractions(0, 500, max_denominator=100),
    resistor=st.integers(10, 10_000),
    series=st.integers(0, 100),
    protection=st.integers(0, 20_000),
    load=st.integers(100_000, 10**9),
)
def test_a_pull_up_in_fractions(
    ohms: Fraction, resistor: int, series: int, protection: int, load: int
) -> None:
    """Kirchhoff's current law at the junction, solved in exact fractions."""
    lower = Fraction(1, load + protection) + (1 / (ohms + series) if ohms + series else 0)
    junction = Fraction(33, 10) / (1 + resistor * lower) if ohms + series else Fraction(0)
    exact = junction * load / (load + protection)
    pin = PullUp(resistor, "rail", series, 0, protection).pin(np.array([float(ohms)]), 3.3, load)[0]
    assert pin == pytest.approx(float(exact), rel=1e-12, abs=1e-15)


def test_with_a_rail_a_count_is_the_middle_of_a_ratio() -> None:
    """The box floors the ratio to 65536ths, so on the average half a one is missing."""
    chain = Chain(
        PullUp(150, "rail"), ChipInput(AFT, "0", 4.096), 3.3, Chain(Direct(), ChipInput(AFT, "3", 4.096))
    )
    rail_pin = 3.3 * (1 - 0)
    ratios = chain.volts_of_counts()[[0, 1, 32768, 65535]] / rail_pin * 131072
    assert list(ratios) == pytest.approx([1, 3, 65537, 131071], rel=1e-9)
    alone = Chain(Direct(), ChipInput(AFT, "0", 4.096))
    assert list(alone.volts_of_counts()[[0, 32768]]) == [0, 2.048]


@pytest.mark.parametrize("rail_volts", [2.7, 3.0, 3.3])
def test_on_chip_ratios_are_exact_to_their_step(rail_volts: float) -> None:
    """Both codes are floored; over all codes the mean error of the signal's voltage is a small share of a code."""
    rail = Chain(Divider(0.001, 1e9), OnChip(26))
    chain = Chain(Divider(0.001, 1e9, "rail"), OnChip(27), 3.0, rail)
    law = chain.volts_of_counts()
    volts = np.linspace(0.05, 0.95, 3001) * rail_volts
    error = [law[chain.count(v, rail_volts)] * rail_volts / 3.0 - v for v in volts]
    code = 3.3 / 4096
    assert abs(np.mean(error)) < 0.35 * code  # where the rail lies in its own code is not known
    assert np.max(np.abs(error)) < 1.6 * code


# the converters

CONVERTERS: dict[str, Converter] = {
    "on-chip": OnChip(26),
    **{f"ADS1115 at {full_scale} V": ChipInput(AFT, "0", full_scale) for full_scale in GAINS},
}


def test_on_chip_is_exact_in_the_middle_of_every_code() -> None:
    exact = [float((Fraction(code) + Fraction(1, 2)) / 4096 * Fraction("3.3")) for code in range(4096)]
    counts = [code << 4 | code >> 8 for code in range(4096)]  # what read_u16 makes of 12 bits
    assert list(OnChip(26).volts(np.arange(COUNTS))[counts]) == pytest.approx(exact, rel=1e-14)


@pytest.mark.parametrize("full_scale", GAINS)
def test_ads1115_is_exact_at_every_count(full_scale: float) -> None:
    """Its ranges are 2**15 steps each (SBAS444): 0.1875, 0.125, 0.0625, 0.03125, 0.015625 and 0.0078125 mV."""
    step = Fraction(str(full_scale)) / 32768
    single, pair = ChipInput(AFT, "2", full_scale), ChipInput(AFT, "0-1", full_scale)
    counts = np.arange(COUNTS)
    assert list(single.volts(counts)) == pytest.approx(
        [float(Fraction(int(c), 2) * step) for c in counts], rel=1e-15
    )
    assert list(pair.volts(counts)) == pytest.approx(
        [float((int(c) - 32768) * step) for c in counts], rel=1e-15
    )


def test_the_steps_of_the_data_sheet() -> None:
    """LSB sizes of SBAS444, table of full-scale range and LSB size."""
    steps = [
        1e6 * ChipInput(AFT, "0", full_scale).quantum
        for full_scale in (6.144, 4.096, 2.048, 1.024, 0.512, 0.256)
    ]
    assert steps == pytest.approx([187.5, 125, 62.5, 31.25, 15.625, 7.8125], rel=1e-12)


@pytest.mark.parametrize("converter", CONVERTERS.values(), ids=CONVERTERS)
def test_count_undoes_volts(converter: Converter) -> None:
    counts = np.array([converter.count(v) for v in np.linspace(-0.1, 1.02 * converter.full_scale, 20_000)])
    volts = converter.volts(counts)
    given_volts = np.clip(np.linspace(-0.1, 1.02 * converter.full_scale, 20_000), 0, converter.full_scale)
    assert np.max(np.abs(volts - given_volts)) <= converter.quantum * 1.001
    assert np.all(np.diff(counts) >= 0) and counts[0] == 0


def test_every_count_comes_back() -> None:
    """Each count that a converter can give is the count of its own voltage."""
    codes = np.arange(4096)
    given_counts: dict[Converter, Counts] = {
        OnChip(26): codes << 4 | codes >> 8,
        **{ChipInput(AFT, "0", full_scale): np.arange(0, COUNTS, 2) for full_scale in GAINS},
        ChipInput(AFT, "0-1", 0.256): np.arange(COUNTS),
    }
    for converter, counts in given_counts.items():
        assert [converter.count(volts) for volts in converter.volts(counts)] == counts.tolist()


@pytest.mark.parametrize("pair, full_scale", [*product(("0-1", "0-3", "1-3", "2-3"), GAINS)])
def test_between_two_inputs(pair: str, full_scale: float) -> None:
    converter = ChipInput(AFT, pair, full_scale)
    assert [converter.count(v) for v in (-1e3, 0.0, 1e3)] == [0, 32768, 65535]
    assert converter.mux == {"0-1": 0, "0-3": 1, "1-3": 2, "2-3": 3}[pair]  # SBAS444, config register, MUX


def test_the_on_chip_load_falls_with_the_samples() -> None:
    assert OnChip(26).load == 1e9 and OnChip(26, 64).load == pytest.approx(1e9 / 64)
