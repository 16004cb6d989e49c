"""What `gaugelight choose` proposes: ngspice as the referee of every circuit on a grid of senders, converters and supplies; named cases;
what is refused, and why."""

import math
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from choosing_cases import BUS, FLOAT, GRID, LOOP, LOW_FLOAT, OIL, VOLTS, chosen
from gaugelight.boxfile import box_of_text
from gaugelight.build import solve_input
from gaugelight.choosing import reasons, tank_energy
from gaugelight.choosing.asked import Asked, asked_of
from gaugelight.choosing.candidates import Candidate, choose
from gaugelight.choosing.circuit_drawn import first_protection
from gaugelight.choosing.tank_energy import BUS_HIGH, CLAMP_RAIL, RAIL_HIGH, TankCase
from gaugelight.circuits import Direct, Divider, PullUp, Shunt
from gaugelight.converters import CHIP_SUPPLY
from gaugelight.error_budget import budget_at, quantities
from gaugelight.preferred import values
from gaugelight.wires import Wire

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)
OPEN, SHORT = 1e12, 1e-3  # ohm


def every() -> Iterator[tuple[str, Candidate]]:
    for name in GRID:
        for number, one in enumerate(chosen(name).found, 1):
            yield f"{name}, {number}", one


# --- ngspice: every proposed circuit with its sender at both ends, in the middle, open, shorted and on the bus, in one run ---


class Netlist:
    """Many small circuits that share nothing but ground."""

    def __init__(self, title: str) -> None:
        self.lines = [title]
        self.asked: list[str] = []
        self.number = 0

    def part(self, kind: str, one: str, other: str, value: float) -> str:
        self.number += 1
        name = f"{kind}{self.number}"
        self.lines.append(f"{name} {one} {other} {value!r}")
        return name

    def run(self, place: Path) -> list[float]:
        """What was asked for, in order."""
        prints = [f"print {words}" for words in self.asked]
        text = "\n".join([*self.lines, ".control", "set numdgt=12", "op", *prints, ".endc", ".end", ""])
        file = place / "chosen.cir"
        file.write_text(text)
        run = subprocess.run(["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60)
        said = [float(value) for value in re.findall(r"(?m)^\S+ = (\S+)$", run.stdout)]
        assert len(said) == len(self.asked), run.stdout[-2000:] + run.stderr[-2000:]
        return said


def draw(
    net: Netlist, node: str, one: Candidate, signal: float | None, drive: tuple[float, float] | None
) -> None:
    """The circuit with its pin at `node`; its sender gives a signal, or something else drives its wire: volts behind ohm."""
    circuit, chain = one.circuit, one.chain
    wire, junction = f"{node}w", f"{node}j"
    protection = getattr(circuit, "protection", 0.0) or 1e-6
    net.part("R", junction, node, protection)
    net.part("R", node, "0", chain.converter.load)
    if isinstance(circuit, PullUp):
        net.part("V", f"{node}r", "0", chain.supply)
        net.part("R", f"{node}r", junction, circuit.resistor)
        net.part("R", junction, wire, circuit.series + (circuit.wire if drive is None else 0.0) or 1e-6)
    elif isinstance(circuit, Shunt):
        net.part("R", junction, "0", circuit.resistor)
        net.part("R", junction, wire, 1e-6)
    elif isinstance(circuit, Divider):
        net.part("R", wire, junction, circuit.top + (circuit.wire if drive is None else 0.0))
        net.part("R", junction, "0", circuit.bottom)
    else:
        assert isinstance(circuit, Direct)
        net.part("R", wire, junction, circuit.wire or 1e-6)
        if circuit.pull_down is not None:
            net.part("R", junction, "0", circuit.pull_down)
    if drive is not None:
        volts, ohms = drive
        net.part("V", f"{node}d", "0", volts)
        net.part("R", f"{node}d", wire, ohms)
    elif isinstance(circuit, PullUp):
        assert signal is not None
        net.part("R", wire, "0", max(signal, 1e-6))
    elif isinstance(circuit, Shunt):
        assert signal is not None
        net.part("I", "0", wire, signal / 1000)
    else:
        assert signal is not None
        net.part("V", wire, "0", signal)
    net.asked.append(f"v({node})")


@needs_ngspice
def test_ngspice_finds_the_same_voltages_at_every_pin(tmp_path: Path) -> None:
    net = Netlist("every circuit that is proposed, at its pin")
    wanted: list[float] = []
    names: list[str] = []
    for label, one in every():
        law, chain = one.input.law, one.chain
        for signal in (law.low, (law.low + law.high) / 2, law.high):
            draw(net, f"n{len(wanted)}", one, signal, None)
            wanted.append(chain.pin_volts(signal))
            names.append(f"{label} at {signal:g}")
        for volts, ohms in ((0.0, OPEN), (0.0, SHORT), (BUS_HIGH, SHORT)):
            draw(net, f"n{len(wanted)}", one, None, (volts, ohms))
            wanted.append(chain.driven(volts, ohms))
            names.append(f"{label}, {volts:g} V behind {ohms:g} ohm")
    said = net.run(tmp_path)
    assert len(said) >= 240
    off = {
        name: (found, right)
        for name, found, right in zip(names, said, wanted)
        if found != pytest.approx(right, rel=5e-6, abs=2e-6)
    }
    assert not off


# the failures of a tank's circuit as changes to the network, by the name the project gives each
FAILURES = {
    tank_energy.NORMAL: {},
    tank_energy.RESISTOR: {"resistor": 0.0},
    tank_energy.ONE_OF_FOUR: {"first": 0.0},
    tank_energy.SERIES: {"series": 0.0},
    tank_energy.REGULATOR: {"rail": math.nan},
    tank_energy.CLAMP: {"clamp": 0.0},
    tank_energy.CHIP: {"chip": 0.0},
    tank_energy.PROTECTION: {"before": 0.0},
    tank_energy.PIN_CAPACITOR: {"capacitor": 0.0},
}


def draw_tank(net: Netlist, node: str, one: Candidate, failed: dict[str, float]) -> None:
    """The whole input with its sender shorted, resistor by resistor; asks for the current in the short."""
    circuit, asked = one.circuit, one.asked
    assert isinstance(circuit, PullUp)
    rail = one.chain.supply * RAIL_HIGH
    if "rail" in failed:
        rail = max(BUS_HIGH if asked.feed > 10 else asked.feed, rail)
    net.part("V", f"{node}r", "0", rail)
    least = 1 - asked.resistors
    resistor, junction = circuit.resistor * least, f"{node}j"
    if one.quartet:  # every one of the four by itself
        net.part("R", f"{node}r", f"{node}a", failed.get("first", resistor) or SHORT)
        net.part("R", f"{node}a", junction, resistor)
        net.part("R", f"{node}r", f"{node}b", resistor)
        net.part("R", f"{node}b", junction, resistor)
    else:
        net.part("R", f"{node}r", junction, failed.get("resistor", resistor) or SHORT)
    net.part("R", junction, f"{node}w", failed.get("series", circuit.series * least) or 1e-6)
    before = first_protection(circuit)
    net.part("R", junction, f"{node}k", failed.get("before", before) or SHORT)
    net.part("R", f"{node}k", f"{node}p", circuit.protection - before)
    net.part("V", f"{node}c", "0", CLAMP_RAIL)
    net.part("R", f"{node}k", f"{node}c", SHORT if "clamp" in failed else OPEN)
    net.part("V", f"{node}s", "0", CHIP_SUPPLY)
    net.part("R", f"{node}p", f"{node}s", SHORT if "chip" in failed else OPEN)
    net.part("R", f"{node}p", "0", SHORT if "capacitor" in failed else one.chain.converter.load)
    net.part("V", f"{node}w", "0", -asked.ground_offset if asked.wire.airframe_return else 0.0)
    net.asked.append(f"i(v{net.number})")


@needs_ngspice
def test_ngspice_finds_the_same_currents_into_a_tank_whatever_has_failed(tmp_path: Path) -> None:
    net = Netlist("every circuit into a tank, each of its parts failed")
    wanted: list[float] = []
    names: list[str] = []
    for label, one in every():
        for case in one.tank:
            draw_tank(net, f"n{len(wanted)}", one, FAILURES[case.name])
            wanted.append(case.milliamperes)
            names.append(f"{label}: {case.name}")
    said = [1000 * amperes for amperes in net.run(tmp_path)]
    assert len(said) > 50
    # the milliohm that stands for a short, and the micro-ohm for no series resistor, are all that differs
    off = {
        name: (a, b) for name, a, b in zip(names, said, wanted) if a != pytest.approx(b, rel=5e-5, abs=1e-6)
    }
    assert not off


# --- what holds for every proposed circuit ---


@pytest.mark.parametrize("name", GRID)
def test_the_first_is_a_real_input_that_was_proven(name: str) -> None:
    for one in chosen(name).found[:1]:
        again = box_of_text("again", "\n".join((one.place.header, one.block.text)))
        solved = solve_input(again, next(each for each in again.inputs if each.name == one.asked.name))
        assert solved.input.circuit == one.circuit and solved.windows == one.solved.windows
        assert solved.reading_error_max <= float(solved.input.step) / 4
        budget = budget_at(solved, quantities(solved), one.asked.matters)
        assert (budget.plus_minus, budget.resolution) == (one.error, one.resolution)


@pytest.mark.parametrize("name", GRID)
def test_its_values_are_preferred_ones(name: str) -> None:
    for one in chosen(name).found:
        for part in ("resistor", "series", "top", "bottom", "pull_down"):
            if ohms := getattr(one.circuit, part, None):
                assert ohms in values("E24", ohms * 0.99, ohms * 1.01)


@pytest.mark.parametrize("name", GRID)
def test_the_best_stands_first(name: str) -> None:
    """Nothing that stands behind is better in both of what counts most by more than what counts as equal."""
    found = chosen(name).found
    assert found, name
    first, step = found[0], float(found[0].input.step)
    for other in found[1:]:
        if len(other.against) == len(first.against):
            mine = max(math.hypot(first.error, first.resolution, first.warmed, first.shifted), step / 4)
            its = max(math.hypot(other.error, other.resolution, other.warmed, other.shifted), step / 4)
            assert mine <= its * 1.1 * 1.05


def test_nothing_proposed_for_a_tank_leaves_the_guidance() -> None:
    """AC 25.981-1: 25 mA in normal use, 50 after a failure, 50 and 200 uJ (from memory)."""
    cases = [case for _, one in every() if one.asked.tank and not one.against for case in one.tank]
    assert len(cases) > 50
    for case in cases:
        normal = case.name == tank_energy.NORMAL
        assert case.milliamperes <= (25 if normal else 50) and case.microjoules <= (50 if normal else 200)


# --- named cases ---

FIRST: dict[str, tuple[str, str]] = {
    # the reference box has four of 150 ohm as one for this float: 150 to 200 are equals here
    "float 0-90, 16 bits": (r"pull-up (150|160|180|200) ohm, four as one to sender rail", "reads 0"),
    "float 240-33, 16 bits": (r"pull-up \d+ ohm, four as one to sender rail", "short"),
    "float 240-33, on-chip": (r"pull-up \d+ ohm, four as one to the chip's reference", "short"),
    "oil pressure, 16 bits": (r"pull-up \d+ ohm to sender rail", "short"),
    "loop, 16 bits": (r"shunt \d+ ohm", "open"),
    "bus, 16 bits": (r"divider \S+ kohm over \S+ kohm", "open"),
    "0.5-4.5 V of 5 V, on-chip": (r"divider .* compared with 5 V supply", "open"),
    "a voltage that a pin takes": (r"direct, 100 kohm to ground", "open"),
}  # fmt: skip


@pytest.mark.parametrize("name", FIRST)
def test_the_first_of_a_named_case(name: str) -> None:
    words, shorted = FIRST[name]
    best = chosen(name).best
    assert best is not None
    assert re.fullmatch(words, reasons.circuit_words(best.circuit, best.quartet))
    assert best.shows("short to ground").brief == shorted


def test_the_figures_of_the_reference_box() -> None:
    """Its own sheet, by its netlist: 22.0 mA as built, 22.4 at the rail's upper end, 33 with one of the four shorted (at 3.3 V); its resistors 1 % low here."""
    whole = {
        case.name: case
        for case in tank_energy.tank_cases(PullUp(150, "rail", protection=9400), LOW_FLOAT, True)
    }
    assert whole[tank_energy.NORMAL].milliamperes == pytest.approx(22.44 / 0.99)
    assert whole[tank_energy.ONE_OF_FOUR].milliamperes == pytest.approx(33 * 1.02 / 0.99)
    assert whole[tank_energy.REGULATOR].milliamperes == pytest.approx(5 / 148.5 * 1000)
    assert whole[tank_energy.NORMAL].microjoules == pytest.approx(0.5 * 0.122 * (3.366 * 1) ** 2, rel=0.02)


TANK_BREACHES: dict[str, tuple[PullUp, bool, Asked, str]] = {
    "a single resistor: shorted, all flows": (PullUp(150, "rail", protection=9400), False, LOW_FLOAT, tank_energy.RESISTOR),
    "four as one, too small": (PullUp(130, "rail", protection=9400), True, LOW_FLOAT, tank_energy.NORMAL),
    "its regulator on the bus": (PullUp(300, "rail", protection=9400), True, replace(LOW_FLOAT, feed=14.0), tank_energy.REGULATOR),
    "a series resistor that is too small alone": (PullUp(220, "rail", series=47, protection=9400), False, LOW_FLOAT, tank_energy.RESISTOR),
    "a resistor of 10 %: its lower end": (PullUp(140, "rail", protection=9400), True, replace(LOW_FLOAT, resistors=0.1), tank_energy.NORMAL),
    "the tank's ground a volt below the box's": (
        PullUp(150, "rail", protection=9400), True, replace(LOW_FLOAT, wire=Wire(22, 5.0, True), ground_offset=1.0), tank_energy.NORMAL,
    ),
    "no protection: the clamp reaches the tank": (PullUp(220, "rail"), True, LOW_FLOAT, tank_energy.CLAMP),
}  # fmt: skip


@pytest.mark.parametrize("case", TANK_BREACHES)
def test_what_leaves_the_guidance(case: str) -> None:
    circuit, quartet, asked, failure = TANK_BREACHES[case]
    cases = tank_energy.tank_cases(circuit, asked, quartet)
    beyond = {one.name for one in cases if not one.within}
    if case == "its regulator on the bus":
        # 16 V over 300 ohm less 1 % is 54 mA
        assert {one.name: one for one in cases}[failure].milliamperes == pytest.approx(16 / 297 * 1000)
    assert failure in beyond
    assert any(failure in line for line in tank_energy.breaches(cases))
    assert tank_energy.worst_failed(cases).milliamperes >= max(one.milliamperes for one in cases)


def test_what_a_single_shorted_resistor_lets_through_has_no_bound() -> None:
    (shorted,) = [
        one
        for one in tank_energy.tank_cases(PullUp(150, "rail", protection=9400), LOW_FLOAT, False)
        if one.name == tank_energy.RESISTOR
    ]
    assert math.isinf(shorted.milliamperes)
    # the rail's own 10 uF at 3.366 V then stands on the tank: 57 uJ
    assert shorted.microjoules == pytest.approx(0.5 * 10.122 * 3.366**2, rel=1e-6)


def test_the_wires_inductance() -> None:
    """Half L I squared: 5 m of twisted pair, 0.6 uH a metre, at 22.7 mA is 0.77 nJ: nothing."""
    circuit = PullUp(150, "rail", protection=9400)
    short = tank_energy.tank_cases(circuit, LOW_FLOAT, True)[0]
    longer = replace(LOW_FLOAT, wire=replace(LOW_FLOAT.wire, length=50.0))
    more = tank_energy.tank_cases(circuit, longer, True)[0].microjoules - short.microjoules
    assert more == pytest.approx(0.5 * 45 * 0.6 * 0.02267**2, rel=1e-3)


def test_what_a_voltage_senders_wire_can_carry() -> None:
    """A clamp shorted to its rail stands 4 V behind the divider's top; in order nothing but the pin's capacitor's charge."""
    cases = {
        one.name: one for one in tank_energy.tank_cases(Divider(10e3, 15e3, protection=4700), VOLTS, False)
    }
    assert cases[tank_energy.NORMAL].milliamperes == 0
    assert cases[tank_energy.CLAMP].milliamperes == pytest.approx(4 / 9.9)
    assert cases[tank_energy.CHIP].milliamperes == pytest.approx(3.3 / 14.6)
    assert tank_energy.tank_cases(Shunt(150), LOOP, False) == ()


def test_of_equals_the_gentlest_comes_first() -> None:
    """Its resistor's 1 % rules the error of this float, from 4 to 20 mA alike: so few of the 25 mA that may flow do."""
    best = chosen("float 240-33, 16 bits").best
    assert best is not None and 1 < best.current < 10
    hotter = tank_energy.tank_cases(PullUp(200, "rail", protection=9400), FLOAT, True)
    assert all(case.within for case in hotter)  # it could have been


def test_what_speaks_against_itself_stands_last() -> None:
    """Without protection four as one read nine times closer than a resistor with another in series, and must not be built."""
    found = choose(replace(LOW_FLOAT, protection=0.0), proposed=4).found
    assert [bool(one.against) for one in found] == sorted(bool(one.against) for one in found)
    assert found[0].error > found[-1].error and found[-1].against and not found[0].against


def test_what_a_start_does_to_a_loop() -> None:
    best = chosen("loop, 16 bits").best
    assert best is not None and best.live is not None
    said = " ".join(words for topic, words in reasons.facts(best) if topic == "loop")
    assert "a starter's dip, 6 V" in said and "too few" in said and 'only_when = "bus above 11 V"' in said
    assert f"it lives down to {10.5 - best.live[0].left:.2f} V of bus" in said


# --- nothing fits: why, and what would help ---

NONE: dict[str, tuple[Asked, str, str]] = {
    "a rail above what a pin takes": (replace(LOW_FLOAT, rail=5.0), "on the pin, which takes 3.6 V", "--rail '3.3 V'"),
    "12 bits and a fine step": (
        replace(OIL, sender="100-110 ohm", step=0.1, converter="on-chip"), "too coarse", "--converter ads1115",
    ),
    "a loop in a tank": (replace(LOOP, tank=True), "does not pass the box", "a resistive float"),
    "a transmitter that wants 12 V": (replace(LOOP, transmitter_least=12.0), "needs 12 V", "a step-up supply"),
    "a transmitter that nearly lives": (replace(LOOP, transmitter_least=10.0), "needs 10 V", "--loop-drop '0.3 V'"),
}  # fmt: skip


@pytest.mark.parametrize("case", NONE)
def test_no_circuit_says_why_and_what_would_help(case: str) -> None:
    asked, why, help = NONE[case]
    choice = choose(asked, proposed=2)
    assert choice.best is None
    told = [one.why for one in choice.refused] + [line for one in choice.found for line in one.against]
    assert any(why in line for line in told), told
    helps = reasons.what_would_help(choice)
    assert any(help in line for line in helps), helps


def test_what_helps_does() -> None:
    asked = replace(LOOP, transmitter_least=12.0)
    assert choose(replace(asked, battery=24.0, crank=24.0), proposed=1).best is not None


# --- any sender: a circuit that proves, or a reason ---

LOWS, WIDTHS = st.integers(0, 500), st.integers(1, 2000)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(LOWS, WIDTHS, st.booleans(), st.booleans(), st.sampled_from(("ads1115", "on-chip")))
def test_any_float_has_a_circuit_that_proves_or_a_reason(
    low: int, width: int, falls: bool, tank: bool, converter: str
) -> None:
    ends = (low + width, low) if falls else (low, low + width)
    asked = replace(FLOAT, sender=f"{ends[0]}-{ends[1]} ohm", tank=tank, converter=converter)
    choice = choose(asked, proposed=1)
    for one in choice.found:
        assert one.solved.reading_error_max <= float(one.input.step) / 4
        assert not tank or one.against or all(case.within for case in one.tank)
    if choice.best is None:
        assert choice.refused or all(one.against for one in choice.found)


# --- bodies of the sums ---


def by_ohms_law(one: Candidate) -> Iterator[tuple[float, float]]:
    """Self-heating of the sender and of its resistor, as anyone would reckon it."""
    circuit, law = one.circuit, one.input.law
    assert isinstance(circuit, PullUp)
    senders = np.linspace(law.low, law.high, 2001)
    amperes = one.chain.supply / (circuit.resistor + circuit.series + circuit.wire + senders)
    yield one.self_heating, float(np.max(amperes**2 * senders))
    share = 4 if one.quartet else 1
    most = one.chain.supply / (circuit.resistor + circuit.series + law.low)
    yield dict(one.part_heating)["pull-up resistor"], most**2 * circuit.resistor / share


def test_heat_by_ohms_law() -> None:
    pulled = [one for _, one in every() if isinstance(one.circuit, PullUp)]
    assert pulled
    for one in pulled:
        for said, right in by_ohms_law(one):
            assert said == pytest.approx(right, rel=1e-3)


def test_the_guidance_to_its_last_digit() -> None:
    assert TankCase("as built", 25.0, 50.0).within
    assert not TankCase("as built", 25.1, 0.0).within and not TankCase("as built", 0.0, 50.1).within
    assert TankCase("its resistor shorted", 50.0, 200.0).within
    assert not TankCase("its resistor shorted", 50.1, 0.0).within


CURRENTS = {"a divider takes it from the sender": (BUS, 16.0), "so does one of 0.5-4.5 V": (VOLTS, 4.5)}


@pytest.mark.parametrize("case", CURRENTS)
def test_currents(case: str) -> None:
    asked, highest = CURRENTS[case]
    one = choose(asked, proposed=1).found[0]
    assert isinstance(one.circuit, Divider)
    assert one.current == pytest.approx(1000 * highest / (one.circuit.top + one.circuit.bottom))


def test_a_transmitter_has_a_little_to_spare_where_it_can() -> None:
    best = chosen("loop, 16 bits").best
    assert best is not None and best.live is not None and best.live[0].left >= 0.25


def test_through_the_airframe_the_signal_is_made_large() -> None:
    """50 mV of ground offset over a small current are many ohm: the circuit sends what the tank allows."""
    own = choose(LOW_FLOAT, proposed=1).found[0]
    airframe = choose(replace(LOW_FLOAT, wire=Wire(22, 5.0, True)), proposed=1).found[0]
    assert airframe.current >= own.current and airframe.shifted > 10 * own.shifted
    # at the point that matters R is 11.25 ohm; 50 mV behind it lift the junction by nearly that, over 3.3 V / (R + pull-up)
    assert isinstance(airframe.circuit, PullUp)
    amperes = 3.3 / (airframe.circuit.resistor + 11.25)
    assert airframe.shifted == pytest.approx(0.05 / amperes / 5, rel=0.05)


def test_grounds_apart_drive_a_current_into_the_tank() -> None:
    """Ohm's law: a rail of 3.366 V and a volt between the grounds over 148.5 ohm; with a wire back there is none between them."""
    circuit = PullUp(150, "rail", protection=9400)
    own = replace(LOW_FLOAT, ground_offset=1.0)
    airframe = replace(own, wire=Wire(22, 5.0, True))
    figures = [tank_energy.tank_cases(circuit, asked, True)[0].milliamperes for asked in (own, airframe)]
    assert figures == pytest.approx([3366 / 148.5, 4366 / 148.5])


SMALL: dict[str, tuple[str, bool]] = {
    "0-2 ohm": ("0-2 ohm", False),
    "0-2 ohm in a tank": ("0-2 ohm", True),
    "2-5 ohm": ("2-5 ohm", False),
}


@pytest.mark.parametrize("name", SMALL)
def test_a_sender_of_a_few_ohm_gets_a_gentle_pull_up(name: str) -> None:
    sender, tank = SMALL[name]
    asked = asked_of(
        {"sender": sender, "unit": "psi", "range": ("0", "100"), "tank": tank, "series_of": "E6"}
    )
    best = choose(asked, proposed=1).best
    assert best is not None and best.current <= 50 and best.resolution < 0.25


BUSES: dict[str, tuple[dict[str, Any], tuple[float, float, float, float]]] = {
    # what may last on it, a dying battery, a starter's dip, and what a failed regulator on it passes
    "nothing said": ({}, (16, 10.5, 6, 5)),
    "14 V": ({"bus": "14 V", "feed": "14 V"}, (16, 10.5, 6, 16)),
    "12 V, as its battery is called": ({"bus": "12 V", "feed": "12 V"}, (16, 10.5, 6, 16)),
    "28 V": ({"bus": "28 V"}, (32, 21, 12, 5)),
    "24 V, as its battery is called": ({"bus": "24 V", "feed": "24 V"}, (32, 21, 12, 32)),
    "a feed of 28 V tells it": ({"feed": "28 V"}, (32, 21, 12, 32)),
    "a battery of 20 V tells it": ({"battery": "20 V"}, (32, 20, 12, 5)),
}


@pytest.mark.parametrize("name", BUSES)
def test_the_bus(name: str) -> None:
    words, figures = BUSES[name]
    asked = asked_of({"sender": "0-90 ohm", "unit": "l", "range": ("0", "70")} | words)
    found = tank_energy.bus_high(asked), asked.battery, asked.crank, tank_energy.feed_high(asked)
    assert found == pytest.approx(figures)
    assert f"limits {asked.bus:g} V" in tank_energy.chafed(None, asked.bus)


def test_on_28_volts_everything_is_held_against_32() -> None:
    """Ohm's law: 32 V over 680 ohm less 1 % are 47.5 mA, over 620 ohm 52; a shunt of 24 ohm takes 42.7 W of it."""
    asked = replace(LOW_FLOAT, feed=28.0, bus=28.0)
    for ohms, within in ((680, True), (620, False)):
        cases = tank_energy.tank_cases(PullUp(ohms, "rail", protection=9400), asked, True)
        assert all(case.within for case in cases) == within
    best = choose(replace(LOOP, bus=28.0), proposed=1).found[0]
    assert isinstance(best.circuit, Shunt)
    assert dict(best.part_heating)["shunt, its wire at 32 V"] == pytest.approx(32**2 / best.circuit.resistor)
