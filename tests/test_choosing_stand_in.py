"""Stand-ins: held against ngspice, against IEC 60063 tried value by value, and against the box's own chain."""

import itertools
import re
import subprocess
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.boxfile import FUEL_UNITS, Box, read_box
from gaugelight.chain import Chain, chain_of
from gaugelight.choosing.stand_in import (
    DERATED,
    Made,
    Mark,
    StandIn,
    cautions,
    lines,
    marks_of,
    stand_ins,
    written,
)
from gaugelight.circuits import Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.converters import Ads1115, ChipInput
from gaugelight.laws import Itself, Law, Line, Points, Thermocouple
from test_circuits import needs_ngspice

HERE = Path(__file__).parent
DEMO = HERE.parent / "host_tools" / "gaugelight" / "demo" / "amphibian.toml"
CHIP = ChipInput(Ads1115("aft", 0x48), "0", 4.096)
FINE = ChipInput(Ads1115("hot", 0x4A), "0-1", 0.256)
RAIL = Chain(Direct(), CHIP)

# IEC 60063:2015, table 1, series E24
E24 = [
    1.0,
    1.1,
    1.2,
    1.3,
    1.5,
    1.6,
    1.8,
    2.0,
    2.2,
    2.4,
    2.7,
    3.0,
    3.3,
    3.6,
    3.9,
    4.3,
    4.7,
    5.1,
    5.6,
    6.2,
    6.8,
    7.5,
    8.2,
    9.1,
]
DRAWER = [value * 10**decade for decade in range(6) for value in E24] + [1e6]  # 1 ohm to 1 Mohm

PULL_UP = Chain(PullUp(150, "rail", protection=9400), CHIP, 3.3, RAIL)
WIRED = Chain(PullUp(200, "rail", series=22, wire=0.8), CHIP, 3.3, RAIL)
LOOP = Chain(Shunt(150, 9400), CHIP)
DIVIDED = Chain(Divider(10e3, 15e3, wire=2.0, protection=4700), CHIP)
RATIO = Chain(Divider(10e3, 15e3, "five"), CHIP, 5.0, Chain(Divider(10e3, 15e3), CHIP))
STRAIGHT = Chain(Direct(pull_down=100e3, protection=9400), CHIP)
COUPLE = Chain(Millivolt(6.0, 470), FINE)

OHMS, AMPERES, VOLTS, MILLIVOLTS = (
    Itself(0.0, 500.0),
    Itself(4.0, 20.0),
    Itself(0.0, 5.0),
    Itself(-50.0, 50.0),
)


def stand_in(chain: Chain, law: Law, reading: float, **given: Any) -> StandIn:
    return stand_ins(chain, law, [Mark("the mark", reading)], **given)[0]


# circuit, law, reading, bench supply: the resistors, by hand
NAMED: dict[str, tuple[Chain, Law, float, float | None, str]] = {
    "46 ohm is 43 and 3": (PULL_UP, OHMS, 46, None, "43 ohm in series with 3 ohm"),
    "90 ohm": (PULL_UP, OHMS, 90, None, "75 ohm in series with 15 ohm"),
    "33 ohm is one": (PULL_UP, OHMS, 33, None, "33 ohm"),
    "0 ohm": (PULL_UP, OHMS, 0, None, "a wire to ground"),
    "32.2 ohm behind a known wire of 0.8": (WIRED, OHMS, 32.2, None, "33 ohm"),
    "4 mA of 12 V: 3 kohm less the shunt": (LOOP, AMPERES, 4, 12, "2.7 kohm in series with 150 ohm"),
    "20 mA of 12 V: 600 less 150": (LOOP, AMPERES, 20, 12, "430 ohm in series with 20 ohm"),
    "nothing of a loop": (LOOP, Itself(0.0, 20.0), 0, 12, "nothing"),
    "0 V": (DIVIDED, VOLTS, 0, 5, "a wire to ground"),
    "the whole supply": (RATIO, VOLTS, 5, None, "a wire to the supply"),
}


@pytest.mark.parametrize("chain, law, reading, supply, text", NAMED.values(), ids=NAMED)
def test_named(chain: Chain, law: Law, reading: float, supply: float | None, text: str) -> None:
    found = stand_in(chain, law, reading, supply=supply)
    assert found.best.text == text
    assert found.best.off == pytest.approx(0, abs=3e-4)


@pytest.mark.parametrize("wanted", [0.7, 17.3, 58.9, 104, 210.7, 4321.0])
def test_no_pair_is_nearer(wanted: float) -> None:
    """Every single value and every pair of the standard's list, one by one."""
    pairs = list(itertools.combinations_with_replacement(DRAWER, 2))
    nearest = min(
        min(abs(one - wanted) for one in DRAWER),
        min(abs(a + b - wanted) for a, b in pairs),
        min(abs(a * b / (a + b) - wanted) for a, b in pairs),
    )
    found = stand_in(PULL_UP, Itself(0.0, 5000.0), wanted)
    assert abs(found.best.ohms - wanted) == pytest.approx(nearest, abs=1e-9)
    assert abs(found.single.ohms - wanted) == pytest.approx(
        min(abs(one - wanted) for one in [0, *DRAWER]), abs=1e-9
    )


@pytest.mark.parametrize("milliamperes", [4.3, 7.2, 11.1, 19.9])
def test_no_loop_resistor_is_nearer(milliamperes: float) -> None:
    inside = 150 * 6009400 / (150 + 6009400)  # the shunt beside protection and converter

    def flows(ohms: float) -> float:
        return abs(14000 / (ohms + inside) - milliamperes)

    pairs = list(itertools.combinations_with_replacement(DRAWER, 2))
    nearest = min(
        min(map(flows, DRAWER)),
        min(flows(a + b) for a, b in pairs),
        min(flows(a * b / (a + b)) for a, b in pairs),
    )
    found = stand_in(LOOP, AMPERES, milliamperes, supply=14.0)
    assert abs(found.best.off) == pytest.approx(nearest, abs=1e-9)


@pytest.mark.parametrize("volts", [0.5, 1.7, 3.1, 4.5])
def test_no_divider_is_nearer(volts: float) -> None:
    """Among those that take 1 to 10 mA; loaded by 10 + 15 kohm beside the converter's way, the wire of 2 ohm unknown to the bench."""
    lower = 15e3 * 6004700 / (15e3 + 6004700)
    inside = 10e3 + lower
    nearest = min(
        abs(5 * b / (a + b) * inside / (inside + a * b / (a + b)) * (inside + 2) / inside - volts)
        for a, b in itertools.product(DRAWER, repeat=2)
        if 0.001 <= 5 / (a + b) <= 0.01
    )
    assert abs(stand_in(DIVIDED, VOLTS, volts, supply=5).best.off) == pytest.approx(nearest, abs=1e-9)


# --- ngspice: what is on the pin, and how warm each resistor gets ---

SPICED: dict[str, tuple[Chain, Law, float, float | None]] = {
    "float": (PULL_UP, OHMS, 47.3, None),
    "float beside": (PULL_UP, OHMS, 62.91, None),
    "float, series in the box": (WIRED, OHMS, 136.7, None),
    "loop, low": (LOOP, AMPERES, 4.4, 14.0),
    "loop, high": (LOOP, AMPERES, 18.93, 12.0),
    "divided": (DIVIDED, VOLTS, 2.5, 12.0),
    "ratio": (RATIO, VOLTS, 3.5, None),
    "straight": (STRAIGHT, VOLTS, 2.2, 5.0),
    "millivolts": (COUPLE, MILLIVOLTS, 20.644, 1.5),
    "millivolts, below nought": (COUPLE, MILLIVOLTS, -20.0, 1.5),
}


def netlist(case: int, chain: Chain, made: Made, supply: float | None) -> str:
    """Resistors as they stand on the bench, and the circuit as hardware_notes/README.md has it; the pin is p, the resistors r1 and r2."""
    circuit: Any = chain.circuit
    load, k = chain.converter.load, f"_{case}"
    protection = max(circuit.protection, 1e-6)
    text = [f"Rp{k} j{k} p{k} {protection!r}", f"Rl{k} p{k} 0 {load!r}"]
    volts = chain.supply if supply is None else supply
    a, b = (*made.values, None, None)[:2]
    how = made.how.split(",")[0]
    match circuit:
        case PullUp():
            text += [
                f"Vs{k} s{k} 0 {chain.supply!r}",
                f"Ru{k} s{k} j{k} {circuit.resistor!r}",
                f"Rq{k} j{k} c{k} {circuit.series + 1e-6!r}",
            ]
            start, end = f"c{k}", "0"
        case Shunt():
            text += [f"Vs{k} s{k} 0 {volts!r}", f"Rs{k} j{k} 0 {circuit.resistor!r}"]
            start, end = f"s{k}", f"j{k}"
        case Divider():
            text += [
                f"Vs{k} s{k} 0 {volts!r}",
                f"Rt{k} c{k} j{k} {circuit.top!r}",
                f"Rb{k} j{k} 0 {circuit.bottom!r}",
            ]
        case Direct():
            text += [f"Vs{k} s{k} 0 {volts!r}", f"Rd{k} c{k} 0 {circuit.pull_down!r}", f"Rx{k} c{k} j{k} 1u"]
        case Millivolt():
            text += [f"Vs{k} s{k} 0 {volts!r}", f"Rx{k} c{k} j{k} 1u", f"Rn{k} 0 n{k} {protection!r}"]
            text[1] = f"Rl{k} p{k} n{k} {load!r}"
    if how == "divider":
        text += [f"R1{k} s{k} c{k} {a!r}", f"R2{k} c{k} 0 {b!r}"]
    elif how == "series":
        text += [f"R1{k} {start} m{k} {a!r}", f"R2{k} m{k} {end} {b!r}"]
    elif how == "parallel":
        text += [f"R1{k} {start} {end} {a!r}", f"R2{k} {start} {end} {b!r}"]
    else:
        text += [f"R1{k} {start} {end} {a!r}"]
    return "\n".join(text)


@needs_ngspice
def test_against_ngspice(tmp_path: Path) -> None:
    """The pin of each, in one run; from it what the box finds, and the warmest resistor's watts are no more than said."""
    made = {
        name: stand_in(chain, law, at, supply=supply).best
        for name, (chain, law, at, supply) in SPICED.items()
    }
    asked = []
    for case, one in enumerate(made.values()):
        pins = f"v(p_{case})" + (f"-v(n_{case})" if list(SPICED)[case].startswith("millivolts") else "")
        watts = " ".join(f"@r{r + 1}_{case}[p]" for r in range(len(one.values)))
        asked += [f"let pin_{case} = {pins}", f"print pin_{case} {watts}"]
    circuits = [
        netlist(case, SPICED[name][0], one, SPICED[name][3]) for case, (name, one) in enumerate(made.items())
    ]
    text = "\n".join(
        ["stand-ins", *circuits, ".control", "op", "set numdgt = 12", *asked, ".endc", ".end", ""]
    )
    (tmp_path / "all.cir").write_text(text)
    run = subprocess.run(
        ["ngspice", "-b", str(tmp_path / "all.cir")], capture_output=True, text=True, timeout=20
    )
    printed = {name: float(value) for name, value in re.findall(r"(?m)^(\S+) = (\S+)$", run.stdout)}
    for case, (name, one) in enumerate(made.items()):
        chain, _, at, _ = SPICED[name]
        pin = printed[f"pin_{case}"]
        signal = float(chain.circuit.signal(np.array([pin]), chain.supply, chain.converter.load)[0])
        sign = -1 if at < 0 else 1
        assert sign * signal == pytest.approx(one.signal, rel=1e-5), name
        assert one.off == pytest.approx(sign * signal - at, abs=1e-4 * abs(at)), name
        warmest = max(printed[f"@r{r + 1}_{case}[p]"] for r in range(len(one.values)))
        assert warmest <= one.watts * (1 + 1e-6) and warmest >= 0.97 * one.watts, name


# --- what is said of each ---


def test_power_of_a_loop_on_a_full_battery() -> None:
    """20 mA through 14 V less 3 V over the shunt: 0.22 W; a quarter-watt resistor is not enough."""
    found = stand_in(LOOP, AMPERES, 20, supply=14.0)
    assert found.single.watts == pytest.approx(0.02**2 * 550, rel=0.05)
    assert found.single.rating == 0.5 and found.best.watts <= DERATED * found.best.rating


# parallel: the smaller takes more; a divider: by the voltage over each
WATTS: dict[str, tuple[Chain, Law, float, float | None]] = {
    "pull-up, one": (PULL_UP, OHMS, 100, None),
    "pull-up, two beside each other": (PULL_UP, OHMS, 62.91, None),
}


@pytest.mark.parametrize("chain, law, reading, supply", WATTS.values(), ids=WATTS)
def test_watts_by_ohms_law(chain: Chain, law: Law, reading: float, supply: float | None) -> None:
    made = stand_in(chain, law, reading, supply=supply).best
    volts = 3.3 * made.ohms / (150 + made.ohms)
    assert made.watts == pytest.approx(volts**2 / min(made.values), rel=1e-9)


def test_tolerance_is_the_readings() -> None:
    """1 % of 100 ohm is an ohm; of a divider's halves opposite ways: 2 x 1 % x (1 - 1/2) of the voltage; 1 % of supply 1 %."""
    assert stand_in(PULL_UP, OHMS, 100).best.plus_minus == pytest.approx(1.0)
    assert stand_in(PULL_UP, OHMS, 100, tolerance=0.001).best.plus_minus == pytest.approx(0.1)
    half = stand_in(Chain(Direct(), CHIP), VOLTS, 2.5, supply=5.0).best
    assert half.plus_minus == pytest.approx(0.025, rel=0.01)
    assert half.per_cent == pytest.approx(0.025, rel=0.01)
    assert stand_in(PULL_UP, OHMS, 100).best.per_cent == 0


def test_loading_of_a_divider() -> None:
    """135 ohm before 98.4 kohm to ground lose 0.14 % (a voltage divider, by hand)."""
    found = stand_in(STRAIGHT, VOLTS, 2.5, supply=5.0).best
    assert found.loading == pytest.approx(-2.5 * found.ohms / (found.ohms + 98.43e3), rel=0.02)


def test_a_thermocouple_is_less_its_cold_junction() -> None:
    """IEC 60584-1, type K: 20.644 mV at 500 degC, 0.798 at 20."""
    box = read_box(HERE / "senders.toml")
    exhaust = box.input("exhaust")
    assert exhaust is not None and isinstance(exhaust.law, Thermocouple)
    found = stand_ins(
        chain_of(box, exhaust), exhaust.law, [Mark("hot", 500.0)], supply=1.5, cold_celsius=20.0
    )[0]
    assert found.wanted == pytest.approx(20.644 - 0.798, abs=1e-3)
    assert found.best.reading == pytest.approx(500, abs=15)
    assert found.best.values[1] <= 20


# --- the marks ---

MARKS = {
    "left fuel": ["empty, red limit", "edge of yellow", "edge of yellow, edge of green", "a quarter", "half", "three quarters", "full"],
    "hydraulic": [
        "lowest", "red limit, edge of green", "a quarter", "half", "three quarters", "edge of green, edge of yellow",
        "edge of yellow, red limit", "highest",
    ],
    "sender rail": ["lowest", "a quarter", "half", "three quarters", "highest"],
}  # fmt: skip


@pytest.fixture(scope="module")
def demo() -> Box:
    return read_box(DEMO)


@pytest.mark.parametrize("name, marks", MARKS.items())
def test_marks(demo: Box, name: str, marks: list[str]) -> None:
    one = demo.input(name)
    assert one is not None
    found = marks_of(one.law, one.markings, one.unit in FUEL_UNITS)
    assert [mark.name for mark in found] == marks
    assert [mark.reading for mark in found] == sorted(mark.reading for mark in found)


@pytest.mark.parametrize("box", [DEMO, HERE / "senders.toml"], ids=["demo", "every sender"])
def test_every_input_has_its_stand_ins(box: Path) -> None:
    """Near each mark by the box's own chain: within a fiftieth of the range, of a pull-up or loop within a two-hundredth."""
    read = read_box(box)
    for one in read.inputs:
        chain, marks = chain_of(read, one), marks_of(one.law, one.markings, one.unit in FUEL_UNITS)
        found = stand_ins(
            chain, one.law, marks, supply={"mA": 14.0, "V": 16.0, "mV": 1.5}.get(one.circuit.unit)
        )
        low, high = one.law.span
        share = 200 if one.circuit.unit in ("ohm", "mA") else 50
        for each in found:
            assert abs(each.best.off) <= (high - low) / share, (one.name, each)
            assert abs(each.best.off) <= abs(each.single.off) + 1e-9 or each.single.reading in (low, high)
        table = lines(found, one.unit, one.circuit.unit)
        assert len(table) > len(marks) and all(mark.name in "\n".join(table) for mark in marks)


CAUTIONS: dict[str, tuple[Chain, bool, str]] = {
    "a tank": (PULL_UP, True, "Never in a tank"),
    "any": (PULL_UP, False, "never beside a sender that is still connected"),
    "a loop": (LOOP, False, "limited to 50 mA"),
    "a voltage": (DIVIDED, False, "supply's error is the reading's"),
    "a share": (RATIO, False, "From the supply that the box measures"),
    "millivolts": (COUPLE, False, "no mains supply"),
}


@pytest.mark.parametrize("chain, tank, words", CAUTIONS.values(), ids=CAUTIONS)
def test_cautions(chain: Chain, tank: bool, words: str) -> None:
    text = "\n".join(cautions(chain, tank))
    assert words in text and ("tank" in text) == tank


WRONG: dict[str, tuple[Chain, Law, float, float | None, str]] = {
    "a loop without supply": (LOOP, AMPERES, 4, None, "how many volts"),
    "a voltage without supply": (DIVIDED, VOLTS, 4, None, "how many volts"),
    "a dead supply": (LOOP, AMPERES, 4, 0.0, "0 V is none"),
    "not a number": (LOOP, AMPERES, 4, float("nan"), "nan V is none"),
    "too low for the loop": (LOOP, AMPERES, 20, 3.0, "2 V over the shunt|3 V are too few"),
    "too low for the voltage": (DIVIDED, VOLTS, 4.5, 3.3, "no divider makes that of 3.3 V"),
    "too low for millivolts": (COUPLE, MILLIVOLTS, 40, 0.02, "no divider"),
}


@pytest.mark.parametrize("chain, law, reading, supply, words", WRONG.values(), ids=WRONG)
def test_wrong(chain: Chain, law: Law, reading: float, supply: float | None, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        stand_in(chain, law, reading, supply=supply)


@settings(max_examples=25)
@given(st.floats(0, 500))
def test_a_finer_series_is_no_farther(ohms: float) -> None:
    """E24 holds E12, and E96 most of nothing of it: only the first is nested."""
    coarse, fine = (
        abs(stand_in(PULL_UP, OHMS, ohms, series=series).best.ohms - ohms) for series in ("E12", "E24")
    )
    assert fine <= coarse + 1e-9


WRITTEN = {
    0.5: "0.5 ohm",
    47.0: "47 ohm",
    4700.0: "4.7 kohm",
    1e6: "1 Mohm",
    10.2: "10.2 ohm",
    1020.0: "1.02 kohm",
}


@pytest.mark.parametrize("ohms, text", WRITTEN.items())
def test_written(ohms: float, text: str) -> None:
    assert written(ohms) == text


def test_a_transmitters_law_and_a_held_end() -> None:
    """Off is in the reading's unit: 0.1 mA of 16 is 9.4 psi of 1500. At a float's held end nothing shows, and the signal says so."""
    law = Line(((Fraction(4), Fraction(0)), (Fraction(20), Fraction(1500))))
    found = stand_in(LOOP, law, 750, supply=12.0, series="E3").single
    assert found.off == pytest.approx((found.signal - 12) * 1500 / 16, abs=1e-6) and abs(found.off) > 10
    held = stand_in(
        PULL_UP, Points(((Fraction(0), Fraction(0)), (Fraction(90), Fraction(18)))), 18, series="E3"
    ).single
    assert held.off == 0 and held.signal == 100
