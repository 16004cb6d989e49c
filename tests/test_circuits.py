"""Circuits and converters against ngspice and against arithmetic that cannot be wrong."""

import re
import shutil
import subprocess
from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.measure import FAULTS, Channel
from gaugebox.table import NO_INPUT, Table
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.circuits import (
    COUNTS,
    Ads1115,
    Circuit,
    Converter,
    Direct,
    Divider,
    OnChip,
    PullUp,
    Shunt,
    x_of_counts,
)

NETLISTS = Path(__file__).parent.parent / "hardware_notes" / "netlists"
OPEN = 1e12  # ohm
THROUGH = 1e-3  # ohm: chafed through
IDEAL = {"adc": OPEN}  # a converter that takes no current

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
    run = subprocess.run(["ngspice", "-b", str(place)], capture_output=True, text=True, timeout=20)
    printed = dict(re.findall(r"(?m)^(\S+) = (\S+)$", run.stdout))
    assert printed, run.stdout + run.stderr
    return {name: float(value) for name, value in printed.items()}


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(Path(str(files("gaugelight.demo") / "amphibian.toml"))))


def one(law: Callable[[np.ndarray[tuple[int], np.dtype[np.float64]]], object], value: float) -> float:
    return float(np.asarray(law(np.array([value])))[0])


# ngspice is the referee: what each law says of the pin

PULL_UP = {
    "empty": {"sender": 0.001},
    "a quarter": {"sender": 21},
    "half": {"sender": 46},
    "full": {"sender": 90},
    "cold coolant": {"sender": 480, "resistor": 220},
    "hot coolant": {"sender": 31, "resistor": 220},
    "thermistor": {"sender": 47e3, "resistor": 10e3},
    "a corroded connector is one with the sender": {"sender": 46, "wire": 2.5},
    "rail at 3.2 V": {"sender": 46, "rail": 3.2},
    "rail at 3.1 V": {"sender": 46, "rail": 3.1},
    "rail at 3.0 V": {"sender": 46, "rail": 3.0},
    "a wire as good as open": {"sender": 46, "wire": 1e6},
}


@needs_ngspice
@pytest.mark.parametrize("values", PULL_UP.values(), ids=PULL_UP)
def test_pull_up(values: dict[str, float], tmp_path: Path) -> None:
    said = spice(tmp_path, "pull_up.cir", IDEAL | values)
    circuit = PullUp(values.get("resistor", 150), "sender rail")
    seen = values["sender"] + values.get("wire", 1e-3)
    ratio = said["v(pin)/v(rail)"]
    assert one(circuit.x_of, seen) == pytest.approx(ratio, rel=1e-6)
    assert one(circuit.signal_of, ratio) == pytest.approx(seen, rel=1e-5)


@needs_ngspice
def test_a_sagging_rail_does_not_move_the_ratio(tmp_path: Path) -> None:
    said = [spice(tmp_path, "pull_up.cir", IDEAL | {"rail": rail}) for rail in (3.3, 3.2, 3.1, 3.0)]
    assert said[0]["v(pin)"] > said[-1]["v(pin)"] + 0.05
    ratios = [s["v(pin)/v(rail)"] for s in said]
    assert ratios == pytest.approx([ratios[0]] * 4, rel=1e-9)


SHUNT = {
    "bottom of the range": {"loop": 4},
    "half": {"loop": 12},
    "top of the range": {"loop": 20},
    "failed low": {"loop": 3.6},
    "failed high": {"loop": 21},
    "another shunt": {"loop": 12, "shunt": 100},
    "a corroded connector is not seen": {"loop": 12, "wire": 20},
}


@needs_ngspice
@pytest.mark.parametrize("values", SHUNT.values(), ids=SHUNT)
def test_shunt(values: dict[str, float], tmp_path: Path) -> None:
    pin = spice(tmp_path, "shunt.cir", IDEAL | values)["v(pin)"]
    circuit = Shunt(values.get("shunt", 150))
    assert one(circuit.x_of, values["loop"]) == pytest.approx(pin, rel=1e-6)
    assert one(circuit.signal_of, pin) == pytest.approx(values["loop"], rel=1e-6)


DIVIDER = {
    "coolant pressure, lowest": {"sender": 0.5},
    "coolant pressure, half": {"sender": 2.5},
    "coolant pressure, highest": {"sender": 4.5},
    "bus, low": {"sender": 8, "top": 47e3, "bottom": 10e3},
    "bus, nominal": {"sender": 14, "top": 47e3, "bottom": 10e3},
    "bus, high": {"sender": 16, "top": 47e3, "bottom": 10e3},
}


@needs_ngspice
@pytest.mark.parametrize("values", DIVIDER.values(), ids=DIVIDER)
def test_divider(values: dict[str, float], tmp_path: Path) -> None:
    said = spice(tmp_path, "divider.cir", IDEAL | values)
    circuit = Divider(values.get("top", 10e3), values.get("bottom", 15e3))
    assert one(circuit.x_of, said["v(connector)"]) == pytest.approx(said["v(pin)"], rel=1e-6)
    assert one(circuit.signal_of, said["v(pin)"]) == pytest.approx(said["v(connector)"], rel=1e-6)


@needs_ngspice
@pytest.mark.parametrize("rail", [3.0, 3.3, 3.5])
def test_direct(rail: float, tmp_path: Path) -> None:
    """The rail's own input in the pull-up's netlist."""
    pin = spice(tmp_path, "pull_up.cir", IDEAL | {"rail": rail})["v(rail)"]
    assert one(Direct().x_of, rail) == pytest.approx(pin, rel=1e-9)
    assert one(Direct().signal_of, pin) == pytest.approx(rel=1e-9, expected=rail)


# ngspice says what the pin sees, the real channel of the demo box what that means

WHAT_IT_MEANS = {
    "fuel, half": ("left fuel", "pull_up.cir", {}, 9.5),
    "fuel, half, rail sagged": ("left fuel", "pull_up.cir", {"rail": 3.0}, 9.5),
    "fuel, open wire": ("left fuel", "pull_up.cir", {"wire": OPEN}, "open"),
    "fuel, half-open wire": ("left fuel", "pull_up.cir", {"wire": 120.0}, "over"),
    "fuel, short to ground is empty": ("left fuel", "pull_up.cir", {"chafe": THROUGH}, 0),
    "coolant, short to ground": (
        "coolant temperature",
        "pull_up.cir",
        {"resistor": 220.0, "sender": 104.0, "chafe": THROUGH},
        "short",
    ),
    "coolant, open wire": ("coolant temperature", "pull_up.cir", {"resistor": 220.0, "wire": OPEN}, "open"),
    "fuel, dead rail": ("left fuel", "pull_up.cir", {"rail": 0.1}, "rail"),
    "pressure, half": ("reserve line", "shunt.cir", {}, 7.5),
    "pressure, open wire": ("reserve line", "shunt.cir", {"wire": OPEN}, "open"),
    "pressure, chafed to ground": ("reserve line", "shunt.cir", {"ground": THROUGH}, "open"),
    "pressure, chafed to the supply": ("reserve line", "shunt.cir", {"chafe": THROUGH}, "short"),
    "coolant pressure, half": ("coolant pressure", "divider.cir", {}, 15),
    "coolant pressure, open wire": ("coolant pressure", "divider.cir", {"wire": OPEN}, "open"),
    "coolant pressure, chafed to ground": ("coolant pressure", "divider.cir", {"ground": THROUGH}, "open"),
    "coolant pressure, chafed to the supply": (
        "coolant pressure",
        "divider.cir",
        {"chafe": THROUGH},
        "short",
    ),
}


@needs_ngspice
@pytest.mark.parametrize("name, netlist, values, expected", WHAT_IT_MEANS.values(), ids=WHAT_IT_MEANS)
def test_what_a_fault_looks_like(
    name: str, netlist: str, values: dict[str, float], expected: float | str, demo: Build, tmp_path: Path
) -> None:
    """Readings within half a displayed step, though the converter loads the circuit (`adc` as in the netlist)."""
    box, table = demo.box, Table(demo.image)
    at = [i.name for i in box.inputs].index(name)
    record = table.inputs[at]
    said = spice(tmp_path, netlist, values)
    rail = None
    if record.normalise != NO_INPUT:
        rail = Channel(table.inputs[record.normalise])
        for _ in range(3):
            rail.step(box.inputs[record.normalise].converter.count(said["v(rail)"]), 20)
    channel = Channel(record, rail)
    for _ in range(3):
        channel.step(box.inputs[at].converter.count(said["v(pin)"]), 20)
    if isinstance(expected, str):
        assert FAULTS[channel.fault] == expected
    else:
        assert FAULTS[channel.fault] is None
        assert abs(channel.reading / 10**record.reading_decimals - expected) <= box.inputs[at].step / 2


# the laws by themselves

LAWS: dict[str, tuple[Circuit, float]] = {
    "pull-up of 150 ohm": (PullUp(150, "rail"), 1e5),
    "pull-up of 10 kohm": (PullUp(10e3, "rail"), 1e6),
    "shunt of 150 ohm": (Shunt(150), 24),
    "divider of 47 and 10 kohm": (Divider(47e3, 10e3), 18),
    "direct": (Direct(), 3.6),
}


@pytest.mark.parametrize("circuit, highest", LAWS.values(), ids=LAWS)
@settings(derandomize=True, deadline=None)
@given(data=st.data())
def test_signal_of_undoes_x_of(circuit: Circuit, highest: float, data: st.DataObject) -> None:
    signal = data.draw(st.floats(0, highest))
    assert one(circuit.signal_of, one(circuit.x_of, signal)) == pytest.approx(signal, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("circuit, highest", LAWS.values(), ids=LAWS)
def test_laws_rise(circuit: Circuit, highest: float) -> None:
    assert np.all(np.diff(circuit.x_of(np.linspace(0, highest, 10_001))) > 0)
    assert np.all(np.diff(circuit.signal_of(np.linspace(0, 1, 10_001))) > 0)


def test_a_pull_ups_count_is_the_middle_of_a_ratio() -> None:
    """The box floors the ratio to 65536ths, so on the average half a one is missing."""
    x = x_of_counts(PullUp(150, "rail"), Ads1115("aft", 0x48))
    assert list(x[[0, 1, 32768, 65535]] * 131072) == pytest.approx([1, 3, 65537, 131071], rel=1e-12)
    assert list(x_of_counts(Direct(), Ads1115("aft", 0x48))[[0, 32768]]) == [0, 2.048]


# the converters

CONVERTERS: dict[str, Converter] = {"on-chip": OnChip(), "ADS1115": Ads1115("aft", 0x48)}


def test_on_chip_is_exact_in_the_middle_of_every_code() -> None:
    exact = [float((Fraction(code) + Fraction(1, 2)) / 4096 * Fraction("3.3")) for code in range(4096)]
    counts = [code << 4 | code >> 8 for code in range(4096)]  # what read_u16 makes of 12 bits
    assert list(OnChip().volts(np.array(counts))) == pytest.approx(exact, rel=1e-15)
    assert [OnChip().count(volts) for volts in exact] == counts


def test_ads1115_code_is_volts_in_steps_of_125_microvolts() -> None:
    """SBAS444: a code is 4.096 V / 32768, full scale one code short of 4.096 V; a count is twice the code."""
    converter = Ads1115("aft", 0x48)
    exact = [float(code * Fraction("0.000125")) for code in range(32768)]
    assert list(converter.volts(np.arange(0, COUNTS, 2))) == pytest.approx(exact, rel=1e-15)
    for off_centre in (-0.49, 0, 0.49):
        said = [converter.count(volts + off_centre * 0.000125) for volts in exact]
        assert said == list(range(0, COUNTS, 2))


@pytest.mark.parametrize("converter", CONVERTERS.values(), ids=CONVERTERS)
def test_converters_rise_and_stay_within_a_count(converter: Converter) -> None:
    assert np.all(np.diff(converter.volts(np.arange(COUNTS))) >= 0)
    assert converter.count(-0.2) == 0
    assert COUNTS - 16 <= converter.count(14.0) < COUNTS
