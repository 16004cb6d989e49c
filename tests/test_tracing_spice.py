"""ngspice is the referee of both models of a faulty input: the one that judges causes (`wired`), the one that the trial measures (`faulty_plant`)."""

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.tracing.faulty_plant import Aircraft
from gaugelight.tracing.traced import Traced, traced
from gaugelight.tracing.measurements import measurement_of, tolerance
from gaugelight.tracing.wired import Wired, healthy, pin_volts, predicted

HERE = Path(__file__).parent
NETLISTS = HERE.parent / "hardware_notes" / "netlists"
DEMO, SENDERS = HERE.parent / "host_tools" / "gaugelight" / "demo" / "amphibian.toml", HERE / "senders.toml"
OPEN, HALF = 1e12, 0.5

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)


def pins(
    tmp_path: Path, netlist: str, fixed: Mapping[str, float], cases: Sequence[Mapping[str, float]], shown: str
) -> list[float]:
    """What ngspice finds in each case, all in one run; parts by their names, what a case does not name is as in `fixed`."""
    text = (NETLISTS / netlist).read_text()
    steps = []
    for case in cases:
        steps += [f"alter {part} = {value!r}" for part, value in {**fixed, **case}.items()] + [
            "op",
            f"print {shown}",
        ]
    text, found = re.subn(
        r"(?s)\.control.*\.endc", ".control\nset numdgt = 12\n" + "\n".join(steps) + "\n.endc", text
    )
    assert found == 1
    place = tmp_path / netlist
    place.write_text(text)
    run = subprocess.run(["ngspice", "-b", str(place)], capture_output=True, text=True, timeout=30)
    printed = [float(value) for value in re.findall(rf"(?m)^{re.escape(shown)} = (\S+)$", run.stdout)]
    assert len(printed) == len(cases), run.stdout + run.stderr
    return printed


@dataclass(frozen=True)
class Fault:
    """The same fault three times: as parts of the netlist, as a state of `wired`, as an aircraft's."""

    parts: dict[str, float]
    state: dict[str, Any]
    aircraft: dict[str, Any]


def both(name: str, value: float, part: str) -> Fault:
    return Fault({part: value}, {name: value}, {name: value})


RESISTIVE = {
    "nothing wrong": Fault({}, {}, {}),
    "wire open": both("wire", OPEN, "Rwire"),
    "corroded a little": both("wire", 5.0, "Rwire"),
    "corroded": both("wire", 300.0, "Rwire"),
    "return resists": Fault({"Rwire": 25.0}, {"back": 25.0}, {"back": 25.0}),
    "return open": Fault({"Rwire": OPEN}, {"back": OPEN}, {"back": OPEN}),
    "shorted": both("leak", 0.05, "Rchafe"),
    "damp": both("leak", 60.0, "Rchafe"),
    "on the bus": Fault({"Rbuschafe": 0.2}, {"bus": 0.2}, {"chafe": 0.2}),
    "ground above": both("offset", 0.3, "Voffset"),
    "ground below": both("offset", -0.2, "Voffset"),
    "sender open": Fault({"Rsender": OPEN}, {"ohms": OPEN}, {"ohms": OPEN}),
    "sender shorted": Fault({"Rsender": 0.4}, {"ohms": 0.4}, {"ohms": 0.4}),
    "rail low": Fault({"Vrail": 3.3 * 0.6}, {"rail": 0.6}, {"rail": 0.6}),
    "pull-up twice": Fault({"Rpull": 300.0}, {"resistor": 2.0}, {"part": {"resistor": 2.0}}),
    "pull-up open": Fault({"Rpull": 150e9}, {"resistor": 1e9}, {"part": {"resistor": 1e9}}),
}
LOOP = {
    "nothing wrong": Fault({}, {}, {}),
    "wire open": both("wire", OPEN, "Rwire"),
    "corroded, no harm": both("wire", 100.0, "Rwire"),
    "corroded, starved": both("wire", 900.0, "Rwire"),
    "supply wire corroded": both("supply_wire", 700.0, "Rsupply"),
    "supply wire open": both("supply_wire", OPEN, "Rsupply"),
    "supply low": Fault({"Vsupply": 9.1}, {"supply": 9.1 / 14}, {"bus": 9.1}),
    "shorted to ground": both("leak", 0.05, "Rground"),
    "damp": both("leak", 400.0, "Rground"),
    "on the bus": Fault({"Rchafe": 0.2}, {"bus": 0.2}, {"chafe": 0.2}),
    "dead": Fault({"Vwanted": 0.1}, {"milliamperes": 0.1}, {"milliamperes": 0.1}),
    "stuck at its highest": Fault({"Vwanted": 23.0}, {"milliamperes": 23.0}, {"milliamperes": 23.0}),
    "shunt of half": Fault({"Rshunt": 75.0}, {"resistor": 0.5}, {"part": {"resistor": 0.5}}),
}
RATIO = {
    "nothing wrong": Fault({}, {}, {}),
    "corroded": Fault({"Rwire": 6002.0}, {"wire": 6000.0}, {"wire": 6000.0}),
    "wire open": both("wire", OPEN, "Rwire"),
    # a sender that sends 10 mA at most of its 2.5 V, as the resistor that lets so much through
    "shorted": Fault({"Rground": 0.05, "Routput": 248.0}, {"leak": 0.05}, {"leak": 0.05}),
    "on the bus": Fault({"Rchafe": 2e-3}, {"bus": 2e-3}, {"chafe": 2e-3}),
    "ground above": both("offset", 0.3, "Voffset"),
    "ground below": both("offset", -0.3, "Voffset"),
    "supply wire resists": both("supply_wire", 90.0, "Rsupplywire"),
    "divider of another ratio": Fault({"Rbottom": 30e3}, {"bottom": 2.0}, {"part": {"bottom": 2.0}}),
    "divider's top open": Fault({"Rtop": 10e12}, {"resistor": 1e9}, {"part": {"top": 1e9}}),
}
COUPLE = {
    "nothing wrong": Fault({}, {}, {}),
    "wires exchanged": Fault({"Vcouple": -1.0}, {"passes": -1.0}, {"passes": -1.0}),
}


def compared(
    of: Traced, faults: Mapping[str, Fault], found: list[float], rel: float, near: float = 2e-4, **rest: Any
) -> None:
    """Both models against ngspice, within a share and an amount in volts. rest: of the aircraft."""
    whole = healthy(of, np.array([HALF]))
    for (name, fault), volts in zip(faults.items(), found):
        changes: dict[str, Any] = {key: np.array([value]) for key, value in fault.state.items()}
        state = replace(whole, **changes)
        ends = [float(pin_volts(of, state, end)[0]) for end in (0, 1)]
        within = rel * abs(volts) + near
        assert min(ends) - within <= volts <= max(ends) + within, (name, ends, volts)
        settings = {"bus": 14.0} | rest | fault.aircraft
        aircraft = Aircraft(of.box, of.one, HALF, cold=25.0, off={}, floats=[], **settings)
        clamped = min(max(volts, -0.3), 3.6)
        assert aircraft.pin("box", HALF, 0.0) == pytest.approx(clamped, rel=rel, abs=near), name


@needs_ngspice
def test_resistive_faults(tmp_path: Path) -> None:
    of = replace(traced(read_box(DEMO), "left fuel"), supply_off=0.0)
    fixed = {
        "Vrail": 3.3, "Rpull": 150.0, "Rchafe": OPEN, "Vbus": 14.0, "Rbuschafe": OPEN, "Rwire": 1e-3, "Rsender": of.middle, "Voffset": 0.0,
        "Rprotection": 9400.0, "Radc": 6e6,
    }  # fmt: skip
    cases = [fault.parts for fault in RESISTIVE.values()]
    compared(of, RESISTIVE, pins(tmp_path, "pull_up.cir", fixed, cases, "v(pin)"), 1e-4)


@needs_ngspice
def test_loop_faults(tmp_path: Path) -> None:
    """Where a transmitter is short of volts the referee's lies between the ends of what is predicted; elsewhere all three agree."""
    of = replace(traced(read_box(DEMO), "reserve line"), supply_off=0.0)
    fixed = {
        "Vsupply": 14.0, "Vwanted": 12.0, "Vleast": 8.5, "Rsupply": 1e-3, "Rwire": 1e-3, "Rchafe": OPEN, "Rground": OPEN, "Rshunt": 150.0,
    }  # fmt: skip
    cases = [fault.parts for fault in LOOP.values()]
    compared(of, LOOP, pins(tmp_path, "loop_two_wire.cir", fixed, cases, "v(pin)"), 0.02, least=8.5)


@needs_ngspice
def test_ratiometric_faults(tmp_path: Path) -> None:
    """What a short leaves depends on how much the sender can send, of which each model knows something else: a few millivolts."""
    of = replace(traced(read_box(SENDERS), "manifold"), supply_off=0.0)
    fixed = {
        "Vsupply": 5.0, "Rsupplywire": 1e-3, "Routput": 5.0, "Rwire": 2.0, "Rchafe": OPEN, "Rground": OPEN, "Voffset": 0.0, "Rtop": 10e3,
        "Rbottom": 15e3, "Radc": 6e6,
    }  # fmt: skip
    cases = [fault.parts for fault in RATIO.values()]
    compared(of, RATIO, pins(tmp_path, "supply_ratio.cir", fixed, cases, "v(pin)"), 1e-3, 5e-3)


@pytest.mark.parametrize("name", ["current", "exhaust"])
def test_corrosion_before_a_few_millivolts(name: str) -> None:
    """5 to 200 kohm, whatever the converter has between its inputs: what one model gives lies between the ends of what the other predicts."""
    of = traced(read_box(SENDERS), name)
    of = replace(of, cold=25.0)
    box = measurement_of(of, "box")
    for ohms in (5e3, 20e3, 60e3, 200e3):
        state = replace(healthy(of, np.array([0.1, 0.5, 0.9])), wire=ohms)
        low, high = predicted(of, state, "box", 3)
        for load in (-0.3, 0.0, 0.3):
            for k, level in enumerate((0.1, 0.5, 0.9)):
                aircraft = Aircraft(of.box, of.one, level, 14.0, 25.0, {"load": load}, [], wire=ohms)
                count = float(of.count(np.array([aircraft.pin("box", level, 0.0)]))[0])
                off = tolerance(of, box, count)
                assert low[k] - off <= count <= high[k] + off, (ohms, load, level)


@pytest.mark.parametrize("name, most", [("manifold", 0.01), ("ambient light", 1e-3)])
def test_a_shorted_sender_sends_no_more_than_it_can(name: str, most: float) -> None:
    """Volts that a short leaves, on the pin and at the sender: what one model gives lies between the ends of what the other predicts."""
    where = SENDERS if name == "manifold" else DEMO
    of = traced(read_box(where), name)
    for leak in (0.6, 0.05):
        state = replace(healthy(of, np.array([HALF])), leak=leak)
        aircraft = Aircraft(of.box, of.one, HALF, 14.0, 25.0, {}, [], drives=most, leak=leak)
        for what in ("volts at the connector", "volts at the sender"):
            low, high = predicted(of, state, what, 1)
            volts = aircraft.meter(what, HALF)
            assert low[0] <= volts <= high[0] and volts < 0.1, (what, leak)


@needs_ngspice
def test_a_couple(tmp_path: Path) -> None:
    """Bias and burn-out left out, as the law leaves them out."""
    of = traced(read_box(SENDERS), "exhaust")
    emf = of.middle / 1000
    fixed = {
        "Vcouple": emf, "Rburnout": OPEN, "Rcommon1": OPEN, "Rcommon2": OPEN, "Rprotect1": 470.0, "Rprotect2": 470.0, "Rcouple": 30.0,
    }  # fmt: skip
    cases = [{key: value * emf for key, value in fault.parts.items()} for fault in COUPLE.values()]
    found = pins(tmp_path, "millivolt.cir", fixed, cases, "v(pin_plus)-v(pin_minus)")
    for (name, fault), volts in zip(COUPLE.items(), found):
        state = replace(healthy(of, np.array([HALF])), **fault.state)
        assert pin_volts(of, state, 0)[0] == pytest.approx(volts, rel=2e-4), name


def test_a_sender_without_its_supply_has_none_at_its_terminals() -> None:
    """An open wire lets nothing of it through that a meter shows."""
    of = traced(read_box(SENDERS), "manifold")
    aircraft = Aircraft(of.box, of.one, HALF, 14.0, 25.0, {}, [], supply_wire=OPEN)
    assert abs(aircraft.meter("supply at the sender", HALF)) < 1e-3
    assert (
        predicted(of, replace(healthy(of, np.array([HALF])), supply_wire=OPEN), "supply at the sender", 1)[1][
            0
        ]
        < 1e-3
    )
