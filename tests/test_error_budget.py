"""The error budget against the two guides it follows, and against the same circuits written again, in closed form.

Every case is computed three times: by the module, by `uncertainties` (exact derivatives of the closed form: JCGM 100), and by
Monte Carlo on the closed form (JCGM 101). The figures of the data sheets stand here again, from SBAS444 and from measurements that
users published of the on-chip converter; which of them are assumed is said in the module.
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import thermocouple_its90
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import umath

from gaugelight.boxfile import read_box
from gaugelight.build import SolvedInput, solve_input
from gaugelight.cli import DEMO, main
from gaugelight.error_budget import InputBudget, Part, budget_at, error_budgets, half_width, quantities

SENDERS = Path(__file__).parent / "senders.toml"
ROOT_3 = math.sqrt(3)


# --- the combination of distributions, against the guides ---

RECTANGULAR, NORMAL = (1.0, "rectangular"), (1.0, "normal")
# parts, probability, half of the interval
GUIDES: list[tuple[str, list[Part], float, float, float]] = [
    # from memory but for the third, whose table is cited by other software's tests too
    ("JCGM 101, 9.2.2: four normal ones", [NORMAL] * 4, 0.95, 3.92, 0.005),
    ("JCGM 101, 9.2.3: four rectangular ones", [RECTANGULAR] * 4, 0.95, 3.88, 0.005),
    ("JCGM 101, 9.2.4: one ten times as wide", [RECTANGULAR] * 3 + [(10.0, "rectangular")], 0.95, 17.0, 0.05),
    ("JCGM 100, G.2.2: three rectangular, 95 %", [RECTANGULAR] * 3, 0.95, 1.937 * ROOT_3, 0.001),
    ("JCGM 100, G.2.2: three rectangular, 99 %", [RECTANGULAR] * 3, 0.99, 2.379 * ROOT_3, 0.001),
    # arithmetic that cannot be wrong
    ("one rectangular one", [RECTANGULAR], 0.95, 0.95 * ROOT_3, 1e-4),
    ("two make a triangle", [RECTANGULAR] * 2, 0.95, 2 * ROOT_3 * (1 - math.sqrt(0.05)), 1e-4),
    ("four, as JCGM 101 annex E solves them", [RECTANGULAR] * 4, 0.95, 2 * ROOT_3 * (2 - 0.6**0.25), 1e-5),
    ("none", [], 0.95, 0.0, 0.0),
]


@pytest.mark.parametrize(
    "parts, probability, half, within", [g[1:] for g in GUIDES], ids=[g[0] for g in GUIDES]
)
def test_distributions_are_convolved(
    parts: list[Part], probability: float, half: float, within: float
) -> None:
    assert half_width(parts, probability) == pytest.approx(half, abs=within)


shapes = st.sampled_from(["rectangular", "normal"])
some_parts = st.lists(st.tuples(st.floats(1e-3, 1e3), shapes), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(some_parts, st.floats(1e-3, 1e3), st.data())
def test_one_more_error_never_makes_it_smaller(parts: list[Part], more: float, data: st.DataObject) -> None:
    half = half_width(parts)
    assert 0 < half <= 1.9601 * sum(standard for standard, _ in parts)
    assert half_width([*parts, (more, data.draw(shapes))]) >= half * (1 - 1e-4)
    assert half_width([(more * standard, shape) for standard, shape in parts]) == pytest.approx(more * half)


# --- whole inputs, against the same circuits in closed form ---

HEAD = """
[box]
name = "hull console"
board = "rp2040"
[converter.aft]
kind = "ads1115"
address = 0x48
[converter.hot]
kind = "ads1115"
address = 0x49
full_scale = "0.256 V"
"""
RAIL = """
[[input]]
name = "rail"
pin = "aft.3"
circuit = { kind = "direct" }
unit = "V"
nominal = "3.3 V"
"""
FIVE_VOLTS = """
[[input]]
name = "five volts"
pin = "aft.3"
circuit = { kind = "divider", top = "10 kohm", bottom = "15 kohm", tolerance = "0.5 %" }
unit = "V"
nominal = "5 V"
"""

STEP = 4.096 / 32768  # volts, of an ADS1115 at +-4.096 V
CODE = 3.3 / 4096  # volts, of the on-chip converter
MEGOHMS = 6e6  # an ADS1115's input at +-4.096 V

Number = Any  # a float, an array of draws, or a number with an uncertainty: the closed forms take all three
Spreads = dict[
    str, tuple[float, str]
]  # half-width of a rectangular, standard deviation of a normal distribution


def spreads(normal: dict[str, float] | None = None, **rectangular: float) -> Spreads:
    both = {name: (spread, "rectangular") for name, spread in rectangular.items()}
    return both | {name: (spread, "normal") for name, spread in (normal or {}).items()}


def chip(step: float = STEP, rail_step: float | None = None, between_ranges: bool = True) -> Spreads:
    """What SBAS444 says of an input, and of the one that measures its rail."""
    of = spreads(q=step / 2, inl=step, gain=0.0015, drift=40e-6 * 30, offset=3 * step, load=0.3)
    if rail_step is None:
        return of | spreads(ranges=0.001 if between_ranges else 0.0)
    of |= spreads(rail_q=rail_step / 2, rail_inl=rail_step, match=0.001, floor=0.5 / 65536, rail_load=0.3)
    if rail_step == step:
        return of | spreads(offset_match=3 * step)
    return of | spreads(rail_offset=3 * rail_step, ranges=0.001)


def pin(oversample: int = 1) -> Spreads:
    """What is known of an on-chip input."""
    root = math.sqrt(oversample)
    of = spreads(q=CODE / 2 / root, inl=8 * CODE, offset=15 * CODE, reference=0.02, load=0.3)
    return of | spreads({"noise": 1.36 * CODE / root})


def on_chip(d: Number, volts: Number) -> Number:
    """What the input against ground finds."""
    return volts * (1 + d["gain"]) * (1 + d["drift"]) * (1 + d["ranges"]) + d["offset"] + d["inl"] + d["q"]


def ratio(d: Number, volts: Number, rail_volts: Number) -> Number:
    """What two inputs of one chip in one range find, the one compared with the other."""
    common = (1 + d["gain"]) * (1 + d["drift"])
    rail = (
        rail_volts * common * (1 + d["match"]) + d["offset"] + d["offset_match"] + d["rail_inl"] + d["rail_q"]
    )
    return (volts * common + d["offset"] + d["inl"] + d["q"]) / rail + d["floor"]


def pulled_up(
    d: Number, ohms: Number, resistor: float, series: float, wire: float, protection: float
) -> Number:
    """The sender's resistance as the box reckons it, from the ratio that a pull-up gives; its rail is measured directly."""
    sender = ohms + series * (1 + d["series"]) + wire * (1 + d["wire"])
    load, beyond = MEGOHMS / (1 + d["load"]), protection * (1 + d["protection"])
    lower = 1 / (1 / sender + 1 / (beyond + load))
    share = lower / (lower + resistor * (1 + d["resistor"])) * load / (beyond + load)
    junction = ratio(d, 3.3 * share, 3.3) * (protection + MEGOHMS) / MEGOHMS
    current = (1 - junction) / resistor - junction / (protection + MEGOHMS)
    return junction / current - series - wire


def fuel(d: Number, m: Any) -> Number:
    return pulled_up(d, 45.0, 150, 22, 0.8, 4700) / 5 + d["sender"] + d["curve"]


def pt100(d: Number, m: Any) -> Number:
    """IEC 60751 above 0 degC, at 60 degC."""
    a, b = 3.9083e-3, -5.775e-7
    rise = pulled_up(d, 100 * (1 + 60 * a + 3600 * b) + d["sender"], 330, 0, 0, 0) / 100 - 1
    return (-a + m.sqrt(a * a + 4 * b * rise)) / (2 * b) + d["curve"]


def steinhart_hart(d: Number, m: Any) -> Number:
    """100 degC: 1/T = a + b ln R + c (ln R)^3, solved for R by bisection."""
    a, b, c = 1.40e-3, 2.37e-4, 9.90e-8

    def kelvin(ohms: Number) -> Number:
        return 1 / (a + b * m.log(ohms) + c * m.log(ohms) ** 3)

    low, high = 10.0, 10000.0
    for _ in range(60):
        middle = math.sqrt(low * high)
        log = math.log(middle)
        low, high = (middle, high) if 1 / (a + b * log + c * log**3) > 373.15 else (low, middle)
    return kelvin(pulled_up(d, low, 1000, 0, 0, 0)) - 273.15 + d["curve"] + d["sender"]


def reference_pulled(d: Number, m: Any) -> Number:
    """A 10 kohm thermistor, B 3950 K, at 60 degC under 10 kohm to the converter's own reference: that cancels."""
    ohms = 10000 * math.exp(3950 * (1 / 333.15 - 1 / 298.15))
    return box_thermistor(d, m, ohms, 4) - 273.15 + d["curve"]


def box_thermistor(d: Number, m: Any, ohms: float, oversample: int) -> Number:
    nominal = 100e3 * 500000 / (50 * oversample)
    load = nominal / (1 + d["load"])
    lower = 1 / (1 / ohms + 1 / load)
    volts = 3.3 * lower / (lower + 10000 * (1 + d["resistor"])) + d["offset"] + d["inl"] + d["q"] + d["noise"]
    current = (1 - volts / 3.3) / 10000 - volts / 3.3 / nominal
    return 1 / (1 / 298.15 + m.log(volts / 3.3 / current / 10000) / 3950)


def loop(d: Number, m: Any) -> Number:
    """12 mA in 150 ohm: half of 1500 psi."""
    load, beyond, shunt = MEGOHMS / (1 + d["load"]), 4700 * (1 + d["protection"]), 150 * (1 + d["shunt"])
    volts = on_chip(d, 0.012 * shunt * load / (shunt + beyond + load))
    milliamperes = 1000 * volts * (150 + 4700 + MEGOHMS) / 150 / MEGOHMS
    return (milliamperes - 4) / 16 * 1500 + d["sender"] + d["curve"]


def bus(d: Number, m: Any) -> Number:
    """12 V over 47 and 10 kohm on an on-chip pin, whose reference nothing measures."""
    load = 1e9 / (1 + d["load"])
    top, bottom = 47000 * (1 + d["top"]), 10000 * (1 + d["bottom"])
    lower = bottom * load / (bottom + load)
    volts = 12 * lower / (lower + top) * (1 + d["reference"]) + d["offset"] + d["inl"] + d["q"] + d["noise"]
    nominal = 10000 * 1e9 / (10000 + 1e9)
    return volts * (nominal + 47000) / nominal + d["curve"]


def halved(volts: Number, top: Number, bottom: Number, load: Number) -> Number:
    lower = bottom * load / (bottom + load)
    return volts * lower / (top + lower)


def manifold(d: Number, m: Any) -> Number:
    """3.5 V of 0.5 to 4.5 V, with a supply of 5 V that is measured through a divider of its own: 22.5 of 30 psi."""
    volts = halved(3.5, 10000 * (1 + d["top"]), 15000 * (1 + d["bottom"]), MEGOHMS / (1 + d["load"]))
    rail = halved(
        5.0, 10000 * (1 + d["rail_top"]), 15000 * (1 + d["rail_bottom"]), MEGOHMS / (1 + d["rail_load"])
    )
    measured = ratio(d, volts, rail)
    return (measured * 5 - 0.5) / 4 * 30 + d["curve"]


def low_range(d: Number, m: Any) -> Number:
    """The same through a smaller divider and range than its supply: their gains and offsets match less."""
    load, nominal = 6e6 / (1 + d["load"]), 6e6
    volts = halved(3.5, 10000 * (1 + d["top"]), 3900 * (1 + d["bottom"]), load)
    rail = halved(
        5.0, 10000 * (1 + d["rail_top"]), 15000 * (1 + d["rail_bottom"]), MEGOHMS / (1 + d["rail_load"])
    )
    common = (1 + d["gain"]) * (1 + d["drift"])
    found = volts * common + d["offset"] + d["inl"] + d["q"]
    rail = (
        rail * common * (1 + d["match"]) * (1 + d["ranges"]) + d["rail_offset"] + d["rail_inl"] + d["rail_q"]
    )
    measured = (found / 2.048) / (rail / 4.096) + d["floor"]
    pin_volts = measured * halved(5.0, 10000, 15000, MEGOHMS) / 4.096 * 2.048
    return (pin_volts / halved(1.0, 10000, 3900, nominal) - 0.5) / 4 * 30 + d["curve"]


def direct(d: Number, m: Any) -> Number:
    load = MEGOHMS / (1 + d["load"])
    volts = on_chip(d, 2.5 * load / (2 * (1 + d["wire"]) + 47000 * (1 + d["protection"]) + load))
    return volts * (2 + 47000 + MEGOHMS) / MEGOHMS + d["curve"]


def exhaust(d: Number, m: Any) -> Number:
    """A thermocouple K at 600 degC, NIST's function by another package; its cold junction by a thermistor at 20 degC."""
    function = thermocouple_its90.get("K")
    ohms = 10000 * math.exp(3950 * (1 / 293.15 - 1 / 298.15))
    cold_d = Nought({name.removeprefix("cold_"): d[name] for name in d if name.startswith("cold_")})
    cold = box_thermistor(cold_d, m, ohms, 16) - 273.15 + cold_d["curve"]
    # near 20 degC its voltage is a parabola to 1e-6 mV a degC
    e19, e20, e21 = (function.emf(t) for t in (19.0, 20.0, 21.0))
    cold_millivolts = e20 + (e21 - e19) / 2 * (cold - 20) + (e21 - 2 * e20 + e19) / 2 * (cold - 20) ** 2
    load, nominal = 710e3 / (1 + d["load"]), 710e3
    connector = (function.emf(600.0) - e20) / 1000
    volts = on_chip(d, connector * load / (6 * (1 + d["wire"]) + 2 * 470 * (1 + d["protection"]) + load))
    whole = volts * 1000 * (6 + 2 * 470 + nominal) / nominal + cold_millivolts
    # and back: a parabola again, about 600 degC
    e590, e600, e610 = (function.emf(t) for t in (590.0, 600.0, 610.0))
    slope, bend = (e610 - e590) / 20, (e610 - 2 * e600 + e590) / 200
    rise = whole - e600
    return 600 + 2 * rise / (slope + m.sqrt(slope * slope + 4 * bend * rise)) + d["curve"]


@dataclass(frozen=True)
class Case:
    """toml: of the inputs; the last one is meant. largest: the contributor that must lead, where that is known."""

    name: str
    toml: str
    reading: float
    closed_form: Callable[[Any, Any], Any]
    spreads: Spreads
    largest: str | None = None


def thermometer(pin: str, circuit: str, sender: str, span: str, more: str = "") -> str:
    return f"""
    [[input]]
    name = "thermometer"
    pin = {pin}
    circuit = {{ {circuit} }}
    sender = {sender}
    unit = "degC"
    range = {span}
    step = 1
    {more}
    """


THERMISTOR = '{ b = "3950 K", resistance = "10 kohm", at = "25 degC" }'
FUEL = """
[[input]]
name = "left fuel"
pin = "aft.0"
circuit = { kind = "pull-up", resistor = "150 ohm", series = "22 ohm", rail = "rail", wire = "0.8 ohm", protection = "4.7 kohm"%s }
unit = "US gal"
points = [["0 ohm", 0], ["90 ohm", 18]]
step = 0.5
tolerance = "%s"
"""
PRESSURE = """
[[input]]
name = "hydraulic"
unit = "psi"
pressure = "gauge"
"""

CASES = [
    Case(
        "pull-up on a measured rail, with wire and protection",
        RAIL + FUEL % (', tolerance = "2 %"', "0.1 US gal"),
        9,
        fuel,
        chip(rail_step=STEP) | spreads(resistor=0.02, series=0.02, protection=0.02, wire=0.1, sender=0.1),
    ),
    Case(
        "a 5 % resistor",
        RAIL + FUEL % (', tolerance = "5 %"', "0.1 US gal"),
        9,
        fuel,
        chip(rail_step=STEP) | spreads(resistor=0.05, series=0.05, protection=0.05, wire=0.1, sender=0.1),
        "pull-up resistor",
    ),
    Case(
        "a sender's 5 % of its span",
        RAIL + FUEL % (', tolerance = "1 %"', "5 %"),
        9,
        fuel,
        chip(rail_step=STEP) | spreads(resistor=0.01, series=0.01, protection=0.01, wire=0.1, sender=0.9),
        "sender",
    ),
    Case(
        "thermistor under the on-chip reference",
        thermometer(
            "26",
            'kind = "pull-up", resistor = "10 kohm", rail = "reference"',
            THERMISTOR,
            "[0, 90]",
            "oversample = 4",
        ),
        60,
        reference_pulled,
        pin(4) | spreads(resistor=0.01),
        "offset",
    ),
    Case(
        "loop of 4-20 mA",
        PRESSURE + """
        pin = "aft.1"
        circuit = { kind = "shunt", resistor = "150 ohm", protection = "4.7 kohm", tolerance = "0.1 %" }
        sender = "4-20 mA"
        range = [0, 1500]
        step = 20
        tolerance = "0.25 %"
        """,
        750,
        loop,
        chip() | spreads(shunt=0.001, protection=0.001, sender=3.75),
        "sender",
    ),
    Case(
        "divider to an on-chip pin whose reference nothing measures",
        """
        [[input]]
        name = "bus"
        pin = 26
        circuit = { kind = "divider", top = "47 kohm", bottom = "10 kohm" }
        unit = "V"
        range = [8, 16]
        step = 0.1
        """,
        12,
        bus,
        pin() | spreads(top=0.01, bottom=0.01),
        "reference",
    ),
    Case(
        "ratio to a measured 5 V",
        FIVE_VOLTS + PRESSURE + """
        pin = "aft.1"
        circuit = { kind = "divider", top = "10 kohm", bottom = "15 kohm", rail = "five volts" }
        sender = "0.5-4.5 V"
        range = [0, 30]
        step = 0.5
        """,
        22.5,
        manifold,
        chip(rail_step=STEP) | spreads(top=0.01, bottom=0.01, rail_top=0.005, rail_bottom=0.005),
    ),
    Case(
        "ratio to 5 V measured in another range",
        FIVE_VOLTS + PRESSURE + """
        pin = "aft.1"
        full_scale = "2.048 V"
        circuit = { kind = "divider", top = "10 kohm", bottom = "3.9 kohm", rail = "five volts", tolerance = "0.1 %" }
        sender = "0.5-4.5 V"
        range = [0, 30]
        step = 0.5
        """,
        22.5,
        low_range,
        chip(STEP / 2, STEP) | spreads(top=0.001, bottom=0.001, rail_top=0.005, rail_bottom=0.005),
    ),
    Case(
        "Pt100",
        RAIL
        + thermometer(
            '"aft.0"',
            'kind = "pull-up", resistor = "330 ohm", rail = "rail", tolerance = "0.1 %"',
            '"Pt100"',
            "[0, 150]",
            'tolerance = "0.12 ohm"',  # class B at 0 degC, IEC 60751 (from memory)
        ),
        60,
        pt100,
        chip(rail_step=STEP) | spreads(resistor=0.001, sender=0.12),
    ),
    Case(
        "thermistor by Steinhart and Hart",
        RAIL
        + thermometer(
            '"aft.0"',
            'kind = "pull-up", resistor = "1 kohm", rail = "rail"',
            "{ steinhart_hart = [1.40e-3, 2.37e-4, 9.90e-8] }",
            "[20, 120]",
            'tolerance = "0.2 degC"',
        ),
        100,
        steinhart_hart,
        chip(rail_step=STEP) | spreads(resistor=0.01, sender=0.2),
    ),
    Case(
        "thermocouple K with its cold junction",
        """
        [[input]]
        name = "box temperature"
        pin = 26
        oversample = 16
        circuit = { kind = "pull-up", resistor = "10 kohm", rail = "reference" }
        sender = { b = "3950 K", resistance = "10 kohm", at = "25 degC" }
        unit = "degC"
        range = [-30, 70]
        step = 1
        [[input]]
        name = "exhaust"
        pin = "hot.0-1"
        circuit = { kind = "millivolt", protection = "470 ohm", wire = "6 ohm" }
        sender = "thermocouple K"
        cold_junction = "box temperature"
        unit = "degC"
        range = [0, 900]
        step = 5
        """,
        600,
        exhaust,
        chip(0.256 / 32768)
        | spreads(protection=0.01, wire=0.1)
        | {f"cold_{name}": spread for name, spread in (pin(16) | spreads(resistor=0.01)).items()},
    ),
    Case(
        "direct",
        """
        [[input]]
        name = "radio supply"
        pin = "aft.2"
        circuit = { kind = "direct", wire = "2 ohm", protection = "47 kohm" }
        unit = "V"
        range = [0.5, 3.2]
        step = 0.05
        """,
        2.5,
        direct,
        chip() | spreads(wire=0.1, protection=0.01),
        "input resistance",
    ),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("boxes")


def budget_of(folder: Path, toml: str, at: list[float]) -> tuple[InputBudget, dict[str, float]]:
    """The budget of the last input, and the proven curve errors of all by name."""
    path = folder / "box.toml"
    path.write_text(HEAD + toml if "hot." in toml else HEAD.split("[converter.hot]")[0] + toml)
    if '"aft.' not in toml:
        unused = '[converter.aft]\nkind = "ads1115"\naddress = 0x48\n'
        path.write_text(path.read_text().replace(unused, ""))
    box = read_box(path)
    one = box.inputs[-1]
    solved: dict[str, SolvedInput] = {}
    for other in box.inputs:
        solved[other.name] = solve_input(box, other, None if other.cold is None else solved[other.cold])
    (budget,) = error_budgets(box, [one.name], at)
    return budget, {name: s.reading_error_max for name, s in solved.items()}


def drawn(of: Spreads, draws: int) -> dict[str, Any]:
    random = np.random.default_rng(20080)  # fixed: the same draws in every run
    return {
        name: (
            random.uniform(-spread, spread, draws)
            if shape == "rectangular"
            else random.normal(0, spread, draws)
        )
        for name, (spread, shape) in of.items()
    }


class Nought(dict[str, Any]):
    """What a case does not name does not deviate."""

    def __missing__(self, name: str) -> float:
        return 0.0


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_against_the_closed_form(folder: Path, case: Case) -> None:
    found, curves = budget_of(folder, case.toml, [case.reading])
    (budget,) = found.budgets
    of = case.spreads | spreads(curve=curves[found.input.name])
    if found.input.cold is not None:
        of |= spreads(cold_curve=curves[found.input.cold])
    assert float(case.closed_form(Nought(), math)) == pytest.approx(
        case.reading, abs=1e-6 * max(1, case.reading)
    )

    # JCGM 100: exact derivatives, through `uncertainties`
    numbers = {
        name: uncertainties.ufloat(0, spread / ROOT_3 if shape == "rectangular" else spread)
        for name, (spread, shape) in of.items()
    }
    combined = case.closed_form(Nought(numbers), umath).std_dev
    assert budget.standard == pytest.approx(combined, rel=0.01)

    # JCGM 101: Monte Carlo; two significant digits agree when they differ by less than half the second one (7.9.2)
    readings = case.closed_form(Nought(drawn(of, 500_000)), np)
    half = float(np.quantile(np.abs(readings - case.reading), 0.95))
    assert budget.plus_minus == pytest.approx(half, abs=0.5 * 10 ** (math.floor(math.log10(half)) - 1))

    assert sum(c.share for c in budget.contributors) == pytest.approx(1)
    if case.largest is not None:
        assert budget.contributors[0].quantity.name == case.largest


def test_what_is_common_to_input_and_rail_cancels(folder: Path) -> None:
    for case, common in ((CASES[0], ("gain", "gain drift")), (CASES[3], ("reference",))):
        found, _ = budget_of(folder, case.toml, [case.reading])
        shares = {c.quantity.name: c.share for c in found.worst.contributors}
        for name in common:
            assert shares[name] < 1e-12


def test_what_helps_most_takes_its_errors_away(folder: Path) -> None:
    """The bus at 16 V without the on-chip pin's errors: two resistors of 1 % and the curve are left."""
    found, curves = budget_of(folder, CASES[5].toml, [16])
    assert found.cure == "an ADS1115 input in the place of the on-chip pin"
    of = spreads(top=0.01, bottom=0.01, load=0.3, curve=curves["bus"])
    rises = (
        bus(Nought(drawn(of, 400_000)), np) - 12
    )  # at 12 V, of which the resistors' part grows with the voltage
    curve = drawn(of, 400_000)["curve"]
    half = float(np.quantile(np.abs((rises - curve) * 16 / 12 + curve), 0.95))
    assert found.cured == pytest.approx(half, rel=0.01)


def test_resolution_is_a_step_of_the_converter(folder: Path) -> None:
    """4-20 mA in 150 ohm: 2.4 V for 1500 psi, 125 uV a step; the bus's 57 to 10 makes 4.59 mV of one of the on-chip pin's."""
    loop, _ = budget_of(folder, CASES[4].toml, [750])
    assert loop.worst.resolution == pytest.approx(1500 * 125e-6 / 2.4, rel=0.002)
    bus, _ = budget_of(folder, CASES[5].toml, [12])
    assert bus.worst.resolution == pytest.approx(3.3 / 4096 * 5.7, rel=0.001)


def test_at_a_held_end_it_is_an_upper_bound(folder: Path) -> None:
    """An empty tank's float lies on the bottom: what would take it below nought does not show, half of all errors."""
    points = 'points = [["0 ohm", 0], ["90 ohm", 18]]'
    toml = RAIL + (FUEL % ("", "2 ohm")).replace("series = ", "").replace('"22 ohm", ', "")
    found, curves = budget_of(folder, toml, [0, 9])
    assert points in toml
    held, half = found.budgets
    of = chip(rail_step=STEP) | spreads(
        resistor=0.01, protection=0.01, wire=0.1, sender=2.0, curve=curves["left fuel"]
    )
    d = Nought(drawn(of, 400_000))
    sender = np.maximum(0, d["sender"])  # no sender has less than 0 ohm
    readings = np.maximum(0, pulled_up(d, sender, 150, 0, 0.8, 4700)) / 5 + d["curve"]
    drawn_half = float(np.quantile(np.abs(readings), 0.95))
    assert drawn_half < held.plus_minus < 1.2 * drawn_half
    assert held.plus_minus == pytest.approx(half.plus_minus, rel=0.1)


# --- what grows ---


@pytest.fixture(scope="module")
def solved(folder: Path) -> dict[str, SolvedInput]:
    box = read_box(SENDERS)
    names = ("left fuel", "coolant pressure", "manifold", "oil temperature", "carburettor", "cabin rail")
    return {name: solve_input(box, one) for name in names if (one := box.input(name)) is not None}


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(
        ["left fuel", "coolant pressure", "manifold", "oil temperature", "carburettor", "cabin rail"]
    ),
    share=st.floats(0.02, 0.98),
    tolerance=st.floats(0.0005, 0.04),
    times=st.floats(1.2, 2.5),
)
def test_a_larger_tolerance_is_a_larger_uncertainty(
    solved: dict[str, SolvedInput], name: str, share: float, tolerance: float, times: float
) -> None:
    one = solved[name]
    law = one.input.law
    ends = sorted(float(r) for r in law.reading(np.array([law.low, law.high])))
    reading = ends[0] + share * (ends[1] - ends[0])

    def budget(resistors: float) -> Any:
        circuit = replace(one.chain.circuit, tolerance=resistors)  # type: ignore[type-var]
        other = replace(one, chain=replace(one.chain, circuit=circuit))
        return budget_at(other, quantities(other), reading)

    small, large = budget(tolerance), budget(tolerance * times)
    assert 0 < small.standard < large.standard
    assert 0 < small.plus_minus < large.plus_minus
    assert all(c.standard >= 0 and 0 <= c.share <= 1 for c in (*small.contributors, *large.contributors))
    assert 1.6 < small.k < 2.0


# --- the command ---


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any]:
    capsys.readouterr()
    code = main(["error", *words, "--json"])
    out, err = capsys.readouterr()
    assert err == "" and out.count("\n") == 1
    return code, json.loads(out)


@pytest.mark.parametrize("box", [DEMO, SENDERS], ids=["demo", "every sender"])
def test_every_input_at_five_places(box: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, told = said(capsys, str(box))
    assert code == 0 and told["probability"] == 0.95
    assert [one["name"] for one in told["inputs"]] == [one.name for one in read_box(box).inputs]
    for one in told["inputs"]:
        assert len(one["readings"]) == 5
        worst = max(one["readings"], key=lambda at: at["plus_minus"])
        assert one["worst"] == worst["reading"]
        assert 0 <= one["plus_minus_without"] < worst["plus_minus"]
        for at in one["readings"]:
            assert 0 < at["resolution"] and 0 < at["standard_uncertainty"]
            assert at["plus_minus"] == pytest.approx(at["k"] * at["standard_uncertainty"])
            standards = [c["standard_uncertainty"] for c in at["contributors"]]
            assert standards == sorted(standards, reverse=True)
            assert math.hypot(*standards) == pytest.approx(at["standard_uncertainty"])
            assert all(c["source"] and c["size"] and c["distribution"] for c in at["contributors"])


def test_at_readings_of_ones_own(capsys: pytest.CaptureFixture[str]) -> None:
    code, told = said(capsys, str(DEMO), "left fuel", "right fuel", "--at", "2", "17.5")
    assert code == 0
    read = [[at["reading"] for at in one["readings"]] for one in told["inputs"]]
    assert read == [[2, 17.5], [2, 17.5]]


def test_check_names_what_is_coarser_than_its_step(capsys: pytest.CaptureFixture[str]) -> None:
    """An on-chip pin's offset is several degrees of a Pt1000; the external converter's inputs keep to their steps."""
    assert main(["check", str(SENDERS)]) == 0
    out = capsys.readouterr().out
    assert "oil temperature: +-9 degC at 150 (95 %), more than its step of 2; mostly from: offset" in out
    assert "hydraulic: +-" not in out and "five volts: +-" not in out
    assert main(["check", str(DEMO)]) == 0
    assert "(95 %)" in capsys.readouterr().out  # the coolant pressure, against the on-chip reference


def test_what_people_see(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["error", str(DEMO), "left fuel"]) == 0
    out = capsys.readouterr().out
    for word in (
        "left fuel, US gal",
        "empty",
        "three quarters",
        "+- at 95 %",
        "pull-up resistor",
        "0.1 % of 150 ohm",
        "SBAS444",
        "sender tolerance not stated",
        "what would help most: a smaller step in the box file",
    ):
        assert word in out
    assert main(["error", str(SENDERS), "right fuel"]) == 0
    out = capsys.readouterr().out
    for word in ("1 % of 150 ohm", "assumed", "what would help most: resistors of a closer"):
        assert word in out
    assert main(["error", str(SENDERS), "left fuel"]) == 0
    out = capsys.readouterr().out
    assert "3 % of its span" in out and "not stated" not in out and "sender calibrated in its place" in out


MISUSE = [
    ("no such input", [str(DEMO), "middle fuel"], 'no input "middle fuel"; there is: sender rail, left fuel'),
    (
        "beyond full",
        [str(DEMO), "left fuel", "--at", "9", "19"],
        "left fuel: --at 19 lies outside its readings, 0 to 18",
    ),
    ("below nought", [str(DEMO), "left fuel", "--at", "-1"], "--at -1 lies outside its readings"),
    (
        "not for all",
        [str(DEMO), "--at", "9"],
        "sender rail: --at 9 lies outside its readings, 2.64 to 3.564 V",
    ),
    ("no number", [str(DEMO), "left fuel", "--at", "half"], '"half" is no reading'),
    ("nothing like a number", [str(DEMO), "left fuel", "--at", "nan"], "--at nan lies outside its readings"),
    ("no such file", ["nothing.toml"], "nothing.toml: cannot be read"),
]


@pytest.mark.parametrize("words, right", [case[1:] for case in MISUSE], ids=[case[0] for case in MISUSE])
def test_misuse_says_what_would_be_right(
    words: list[str], right: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["error", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and right in err and "Traceback" not in err
