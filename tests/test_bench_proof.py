"""The bench proof page: each resistor, current and voltage to set, and what the box must say of it, by the box's own code and error budget."""

import re
from functools import cache

import pytest

from gaugelight.boxfile import Input, read_box
from gaugelight.build import Build, build
from gaugelight.error_budget import budget_at, quantities
from gaugelight.said import convert, count_of, shown
from test_netlists import DEMO
from test_protection import NOTES

PAGE = (NOTES / "bench_proof.md").read_text()
E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)  # IEC 60063  # fmt: skip
SUPPLY = 12.0  # V, of the loops
FAULTS = ("open", "short", "under", "over")


@cache
def demo() -> Build:
    return build(read_box(DEMO))


def one_of(name: str) -> Input:
    one = demo().box.input(name)
    assert one is not None, name
    return one


def rows() -> list[tuple[str, list[str]]]:
    """Of the tables under "## NAME, ...": the input's name and the cells."""
    found = []
    for part in PAGE.split("\n## ")[1:]:
        name = part.split(",")[0]
        cells = [
            [c.strip() for c in line.strip("|").split("|")]
            for line in part.splitlines()
            if line.startswith("| ")
        ]
        if cells and cells[0][0] == "set":
            found += [(name, row) for row in cells[1:] if set(row[0]) != {"-"}]
    return found


def answer(name: str, signal: float) -> tuple[str, float | None]:
    """What is shown, and the reading as a number."""
    one = one_of(name)
    said = convert(demo(), name, [count_of(demo().box, one, f"{signal:.6f} {one.circuit.unit}")])[0]
    _, reading, fault = shown(said, one.step)
    return fault or reading, None if said.reading is None else float(said.reading)


def set_by(cells: list[str], unit: str) -> float:
    """The signal that the parts of a row make, or the voltage that is set."""
    if unit == "V":
        return float(cells[0].split()[0])
    if cells[1] in ("nothing", "a wire"):
        return {"nothing": 1e7, "a wire": 0.0}[cells[1]] if unit == "ohm" else 0.0
    values = [float(word) for word in cells[1].split(" + ")]
    for value in values:
        assert any(value / 10**decade == pytest.approx(e) for decade in range(5) for e in E24), value
    own = 150.0  # the shunt
    return sum(values) if unit == "ohm" else SUPPLY / (sum(values) + own) * 1e3


TABLE = rows()


def test_every_input_of_the_demo_is_proved() -> None:
    assert {name for name, _ in TABLE} == {one.name for one in demo().box.inputs}


@pytest.mark.parametrize("name, cells", TABLE, ids=[f"{name} {cells[0]}" for name, cells in TABLE])
def test_a_row(name: str, cells: list[str]) -> None:
    """set, from, the box says, +- of the box, 1 % of the parts moves it by."""
    one = one_of(name)
    unit = one.circuit.unit
    signal = set_by(cells, unit)
    says, reading = answer(name, signal)
    assert says.replace(" gauge", "") == cells[2]
    if says in FAULTS:
        assert cells[3:] == ["", ""]
        return
    assert reading is not None
    wanted = float(cells[0].split()[0])
    assert signal == pytest.approx(wanted, rel=0.006, abs=1e-9), "the parts are too far from the mark"
    solved = next(solved for solved in demo().inputs if solved.input.name == name)
    low, high = one.law.span
    off = budget_at(solved, quantities(solved), min(max(reading, low), high)).plus_minus
    assert cells[3] == f"{off:.2g}"
    if unit == "V":
        assert cells[4] == ""
    else:
        assert cells[4] == f"{moved_by(name, cells, reading):.2g}"


def moved_by(name: str, cells: list[str], reading: float) -> float:
    """How far parts that are a hundredth off, up or down, move the reading; no less than the box can tell."""
    signal, unit = set_by(cells, one_of(name).circuit.unit), one_of(name).circuit.unit
    moved = []
    for off in (0.99, 1.01):
        total = signal * off if unit == "ohm" else SUPPLY / ((SUPPLY / signal * 1e3 - 150) * off + 150) * 1e3
        moved.append(answer(name, total)[1])
    return max(abs(other - reading) for other in moved if other is not None)


def test_the_parts_bear_their_own_heat() -> None:
    rated = re.search(r"E24, ohm, ([\d.]+) W", PAGE)
    assert rated
    for name, cells in TABLE:
        if one_of(name).circuit.unit == "mA" and cells[1] != "nothing":
            amperes = set_by(cells, "mA") / 1e3
            assert all(amperes**2 * float(ohms) < 0.8 * float(rated[1]) for ohms in cells[1].split(" + "))


def test_the_pins_are_the_box_files() -> None:
    """In each heading: where the wire goes, and its return."""
    harness = demo().box.harness
    assert harness is not None
    where = {pin.written: f"{c.name}-{pin.number}" for c in harness.connectors for pin in c.pins}
    for name, pins in re.findall(r"(?m)^## ([a-z ]+), (J\d-\d+(?: to J\d-\d+)?)", PAGE):
        assert pins.split(" to ")[0] == where[name]
        if " to " in pins:
            back = (
                "ground"
                if name == "bus"
                else f"{name} return" if name != "ambient light" else "ambient light supply"
            )
            assert pins.split(" to ")[1] == where[back]


def test_what_it_tells_is_the_box_files() -> None:
    """Words, delays and thresholds of the last table: what is set lies beyond what the box file asks for, what ends it does too."""
    text = DEMO.read_text()
    pressure = [answer("coolant pressure", volts)[1] for volts in (0.9, 1.35)]
    heat = answer("coolant temperature", 70.0)[1]
    assert pressure[0] is not None and pressure[1] is not None and heat is not None
    assert pressure[0] < 4 and pressure[1] > 6 and heat > 80
    for written in (
        'when = ["coolant pressure below 4 psi", "coolant temperature above 80 degC"]',
        'after = "coolant pressure above 6 psi"',
        'words = "COOLANT LOST"',
        'when = ["bus below 12.8 V"]',
        'after = "bus above 13.2 V"',
        'words = "ALTERNATOR OUT"',
        '{ red = 0, says = "EMPTY" }',
    ):
        assert written in text
    first = re.search(r"coolant pressure ([\d.]+) V for some seconds, then 0.9 V", PAGE)
    charged = re.search(r"bus ([\d.]+) V for some seconds, then 12.5 V", PAGE)
    assert first and charged, "what stands in `after` has to have been so"
    before = answer("coolant pressure", float(first[1]))[1]
    assert before is not None and before > 6 and float(charged[1]) > 13.2
    for words in ("COOLANT LOST", "ALTERNATOR OUT", "EMPTY"):
        assert words in PAGE.split("## What it tells")[1]
    assert answer("hydraulic", 3.7)[0] == "under" and answer("hydraulic", 0.0)[0] == "open"
