"""Points in the box file: written byte for byte, read again, refused; and what they make of the error budget."""

import tomllib
from datetime import date
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from gaugelight.box_values import Calibrated
from gaugelight.boxfile import Input, box_of_text, read_box
from gaugelight.build import solve_input
from gaugelight.calibration import box_file
from gaugelight.cli import DEMO
from gaugelight.error_budget import budget_at, error_budgets, quantities
from gaugelight.laws import Line, Points, Thermocouple
from gaugelight.problems import Misuse, Wrong, WrongBoxFile

TESTS = Path(__file__).parent
FILES = [DEMO, *(TESTS / name for name in ("senders.toml", "marked.toml", "face.toml"))]
SAID = Calibrated(date(2026, 11, 26), "left fuel.level.toml", "box")
OURS = {"points", "calibrated", "limits", "sender", "range", "series"}


def as_before(one: Input, low: float = 0.0, high: float = 1.0) -> tuple[box_file.Listed, ...]:
    """Its own law again, from and to a share of its range, as points."""
    signals = one.law.low + (one.law.high - one.law.low) * np.linspace(low, high, 5)
    return box_file.rounded([(s, float(one.law.reading(np.array([s]))[0]), 0.3) for s in signals], one.step)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_nothing_else_changes(file: Path, newline: str) -> None:
    """Of every input in turn: all lines but those of its own law are there again, in order; and all values."""
    old = file.read_text().replace("\n", newline)
    before = tomllib.loads(old)["input"]
    box = read_box(file)
    for index, one in enumerate(box.inputs):
        if one.nominal is not None or isinstance(one.law, Thermocouple):
            continue
        new = box_file.with_points(old, one, as_before(one), SAID)
        kept = [line for line in old.split("\n") if line.split("=")[0].strip() not in OURS]
        rest = iter(new.split("\n"))
        inner = ('["', "[[", "]", *(f"{key} =" for key in OURS))
        assert all(line in rest for line in kept if not line.strip().startswith(inner)), one.name
        after = tomllib.loads(new)["input"]
        assert [a == b for a, b in zip(before, after)] == [k != index for k in range(len(before))]
        unlike = {
            key for key in {*before[index], *after[index]} if before[index].get(key) != after[index].get(key)
        }
        assert unlike <= OURS and new.count(newline) == new.count("\n")
        assert (after[index]["calibrated"]["session"], len(after[index]["points"])) == (SAID.session, 5)


def test_comments_and_order_stay() -> None:
    text = DEMO.read_text()
    old = 'sender = "4-20 mA"\nunit = "psi"\npressure = "gauge"\nrange = [0, 15]'
    text = text.replace(
        old,
        'sender = "4-20 mA"  # by its label\n# gauge!\nunit = "psi"\npressure = "gauge"\n  range = [0, 15] # wide',
        1,
    )
    one = box_of_text("b", text).input("reserve line")
    assert one is not None
    new = box_file.with_points(text, one, [(4.0, 0.1, 0.2), (20.0, 14.9, 0.3)], SAID)
    assert (
        'points = [["4 mA", 0.1, 0.2], ["20 mA", 14.9, 0.3]]  # by its label\n'
        'calibrated = { on = 2026-11-26, session = "left fuel.level.toml", through = "box" }\n'
        'limits = ["3.6 mA", "3.8 mA", "20.5 mA", "21 mA"]\n'
        '# gauge!\nunit = "psi"\npressure = "gauge"\n  # wide\nstep = 0.2\n'
    ) in new


COMMENTS = {
    "behind points": ('points = [["0 ohm", 0], ["90 ohm", 18]]  # by the book\n', ("points = ", "  # by the book")),
    "behind points on several lines": (
        'points = [\n    ["0 ohm", 0],\n    ["90 ohm", 18],\n]  # by the book\n',
        ("points = ", "  # by the book"),
    ),
    "behind calibrated": (
        'points = [["0 ohm", 0, 1], ["90 ohm", 18, 1]] # mine\n'
        'calibrated = { on = 2025-11-26, session = "old.toml", through = "box" }  # before the new float\n',
        ("calibrated = { on = 2026-11-26", "  # before the new float"),
    ),
    "behind a range that goes": (
        'sender = "0-90 ohm"\nrange = [0, 18]  # of the tank\n',
        ("# of the tank", ""),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", COMMENTS)
def test_a_comment_stays_where_it_stood(case: str) -> None:
    """Behind its own key, and once; that of a key which goes has a line of its own."""
    old, (key, comment) = COMMENTS[case]
    laws = [line for line in DEMO.read_text().split("\n") if line.startswith("points = ")]
    text = DEMO.read_text().replace(laws[0] + "\n", old, 1)
    one = box_of_text("b", text).input("left fuel")
    assert one is not None
    new = box_file.with_points(text, one, [(1.0, 0.0, 0.2), (89.0, 18.0, 0.3)], SAID)
    (line,) = [line for line in new.split("\n") if comment in line and line.startswith(key)]
    assert line.endswith(comment) and new.count("#") == text.count("#")


def test_a_circuit_in_parts_stays() -> None:
    whole = (
        'circuit = { kind = "shunt", resistor = "150 ohm", protection = "9.4 kohm", tolerance = "0.1 %" }\n'
    )
    parts = 'circuit.kind = "shunt"  # from the hull\n  circuit.resistor = "150 ohm"\ncircuit.protection = "9.4 kohm"\n'
    text = DEMO.read_text().replace(whole, parts)
    assert parts in text
    one = box_of_text("b", text).input("hydraulic")
    assert one is not None
    new = box_file.with_points(text, one, as_before(one), SAID)
    assert parts in new and box_of_text("b", new).input("hydraulic") is not None


def test_what_is_ours_in_parts_is_refused() -> None:
    text = DEMO.read_text().replace(
        'sender = "4-20 mA"\n',
        'points = [["4 mA", 0, 1], ["20 mA", 9, 1]]\n'
        + 'calibrated.on = 2025-11-26\ncalibrated.session = "old.toml"\ncalibrated.through = "box"\n',
        1,
    )
    one = box_of_text("b", DEMO.read_text()).input("reserve line")
    assert one is not None
    with pytest.raises(Misuse, match="calibrated: is written in parts"):
        box_file.with_points(text, one, as_before(one), SAID)


def test_a_second_time_only_numbers_change() -> None:
    """And the same again is the same, byte for byte."""
    text = DEMO.read_text()
    for listed in ([(4.0, 0.1, 0.2), (20.0, 14.9, 0.3)], [(4.0, 0.2, 0.2), (20.0, 15.0, 0.3)]):
        one = box_of_text("b", text).input("reserve line")
        assert one is not None
        once = box_file.with_points(text, one, listed, SAID)
        again = box_of_text("b", once).input("reserve line")
        assert again is not None and box_file.with_points(once, again, listed, SAID) == once
        assert again.limits == (Fraction("3.6"), Fraction("3.8"), Fraction("20.5"), Fraction(21))
        text = once
    changed = box_file.difference("b", DEMO.read_text(), text)
    assert (
        sum(line.startswith("-") for line in changed) == 3
        and sum(line.startswith("+") for line in changed) == 4
    )


def test_what_no_longer_goes_with_it_is_not_saved() -> None:
    """The green arc goes to 18, and the tank was found to hold 16."""
    box = read_box(DEMO)
    one = box.input("left fuel")
    assert one is not None
    listed = [(2.0, 0.0, 0.3), (80.0, 16.0, 0.3)]
    new = box_file.with_points(DEMO.read_text(), one, listed, SAID)
    with pytest.raises(Wrong) as wrong:
        box_file.proved("hull.toml", new, "left fuel", listed)
    assert "hull.toml:" in wrong.value.lines[0] and "green at 18" in wrong.value.lines[0]
    assert "not saved" in wrong.value.lines[-1] and "0 to 16" in wrong.value.lines[-1]


def test_rounding_never_makes_it_better() -> None:
    listed = box_file.rounded([(3.123456, 0.4444, 0.1201), (88.7777, 18.0049, 0.0)], Fraction(1, 2))
    assert listed == ((3.1235, 0.44, 0.13), (88.778, 18.0, 0.0))
    assert box_file.rounded([(4, 1497.26, 6.04)], Fraction(20)) == ((4.0, 1497.0, 6.1),)


# -- as the box file reads them

TANK = """
[box]
name = "b"
board = "rp2040"

[converter.aft]
kind = "ads1115"
full_scale = "4.096 V"

[[input]]
name = "rail"
pin = "aft.3"
circuit = { kind = "direct", protection = "9.4 kohm" }
unit = "V"
nominal = "3.3 V"

[[input]]
name = "fuel"
pin = "aft.0"
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "rail", protection = "9.4 kohm", tolerance = "1 %" }
unit = "US gal"
step = 0.5
points = [["2 ohm", 0, 0.2], ["46 ohm", 9.5, "1 l"], ["88 ohm", 18, 0.4]]
calibrated = { on = 2026-11-26, session = "s.toml", through = "box" }
"""


def test_points_with_their_plus_or_minus() -> None:
    one = box_of_text("b", TANK).input("fuel")
    assert one is not None and one.calibrated is not None
    assert (one.calibrated.on, one.calibrated.session, one.calibrated.through) == (
        date(2026, 11, 26),
        "s.toml",
        "box",
    )
    litre = 1 / Fraction("3.785411784")
    assert one.calibrated.plus_minus == (Fraction("0.2"), litre, Fraction("0.4"))
    falls = TANK.replace('["2 ohm", 0, 0.2]', '["2 ohm", 18, 0.2]').replace(
        '["88 ohm", 18, 0.4]', '["88 ohm", 0, 0.4]'
    )
    assert isinstance(box_of_text("b", falls).inputs[1].law, Points)


REFUSED: dict[str, tuple[str, str, str]] = {
    "one without": (', "1 l"]', "]", "b:23: fuel, points: some have a plus or minus"),
    "none of them": ("S", "S", "b:24: fuel, calibrated: each of the points needs"),
    "not said by what": ('calibrated = { on = 2026-11-26, session = "s.toml", through = "box" }\n', "", "b:23: fuel, points: whose plus or minus?"),
    "below nought": ("0, 0.2]", "0, -0.2]", "b:23: fuel, points: point 1: plus or minus -0.2"),
    "another unit": ('"1 l"', '"1 ohm"', "b:23: fuel, points: point 2: "),
    "four": ('"1 l"', '"1 l", 2', "b:23: fuel, points: point 2 must be"),
    "date in quotes": ("2026-11-26", '"2026-11-26"', "b:24: fuel, calibrated: on "),
    "a time": ("2026-11-26", "2026-11-26T10:00:00", "b:24: fuel, calibrated: on "),
    "by whom": ('through = "box"', 'through = "me"', "b:24: fuel, calibrated: "),
    "half of it": (', through = "box"', "", "b:24: fuel, calibrated: must be"),
    "no file": ('"s.toml"', '""', "b:24: fuel, calibrated: session"),
    "without points": ('points = [["2 ohm", 0, 0.2], ["46 ohm", 9.5, "1 l"], ["88 ohm", 18, 0.4]]', 'sender = "2-88 ohm"\nrange = [0, 18]', "calibrated: belongs to points"),
    "two floats": ('points = [["2 ohm", 0, 0.2], ["46 ohm", 9.5, "1 l"], ["88 ohm", 18, 0.4]]\n', 'series = [[["2 ohm", 0, 1], ["9 ohm", 3, 1]], [["0 ohm", 3, 1], ["9 ohm", 9, 1]]]\n', "fuel, series: "),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_wrong_points_are_refused(case: str) -> None:
    old, new, told = REFUSED[case]
    text = TANK.replace(old, new, 1)
    if case == "none of them":
        text = TANK.replace(", 0.2]", "]").replace(', "1 l"]', "]").replace(", 0.4]", "]")
    with pytest.raises(WrongBoxFile) as wrong:
        box_of_text("b", text)
    assert any(told in line for line in wrong.value.lines), wrong.value.lines


LAWS = {
    "a tank's two points are held": ("pull-up", "US gal", Points),
    "a transmitter's two points go on": ("shunt", "psi", Line),
    "a tank's transmitter is held": ("shunt", "US gal", Points),
}


@pytest.mark.parametrize("case", LAWS)
def test_what_two_calibrated_points_are(case: str) -> None:
    circuit, unit, law = LAWS[case]
    text = TANK.replace('["46 ohm", 9.5, "1 l"], ', "").replace("US gal", unit)
    if unit == "psi":
        text = text.replace('unit = "psi"', 'unit = "psi"\npressure = "gauge"')
    if circuit == "shunt":
        text = text.replace(
            'kind = "pull-up", resistor = "150 ohm", rail = "rail", ',
            'kind = "shunt", resistor = "150 ohm", ',
        )
        text = text.replace("2 ohm", "4 mA").replace("88 ohm", "20 mA")
    assert type(box_of_text("b", text).inputs[1].law) is law


# -- the error budget


def budget_of(text: str, reading: float) -> dict[str, float]:
    box = box_of_text("b", text)
    solved = solve_input(box, box.inputs[1])
    budget = budget_at(solved, quantities(solved), reading)
    return {c.quantity.name: c.standard for c in budget.contributors} | {"all": budget.plus_minus}


def test_through_the_box_its_own_errors_are_inside() -> None:
    """JCGM 100, 5.1.2, by hand: what is left is the points', straight between them, and what comes anew with every count."""
    found = budget_of(TANK, 9.5)
    litre = 1 / 3.785411784
    assert found["calibration"] == pytest.approx(litre / 1.96)
    assert {name for name, standard in found.items() if standard > 1e-9} <= {
        "calibration", "quantisation", "rail: quantisation", "ratio to the rail", "conversion curve", "gain drift", "all"
    }  # fmt: skip
    assert found["all"] == pytest.approx(litre, rel=0.05)
    assert budget_of(TANK, 4.75)["calibration"] == pytest.approx((0.2 + litre) / 2 / 1.96)


def test_what_drifts_stays() -> None:
    """Of a loop on a shunt the converter's gain moves with temperature, and by nothing else any more."""
    text = DEMO.read_text()
    one = read_box(DEMO).input("hydraulic")
    assert one is not None
    box = box_of_text("b", box_file.with_points(text, one, [(4.0, 0.0, 6.0), (20.0, 1500.0, 6.0)], SAID))
    (found,) = error_budgets(box, ["hydraulic"])
    names = {c.quantity.name for c in found.worst.contributors if c.standard > 0}
    assert names == {"calibration", "gain drift", "quantisation", "conversion curve"}


def test_by_a_meter_they_come_on_top() -> None:
    by_meter = budget_of(TANK.replace('through = "box"', 'through = "meter"'), 9.5)
    plain = budget_of(
        TANK.replace(", 0.2]", "]").replace(', "1 l"]', "]").replace(", 0.4]", "]").split("calibrated =")[0],
        9.5,
    )
    assert set(by_meter) - set(plain) == {"calibration"}
    for name, standard in plain.items():
        if name not in ("all", "conversion curve"):
            assert by_meter[name] == pytest.approx(standard, rel=1e-3), name
    assert by_meter["pull-up resistor"] > 10 * by_meter["quantisation"]


def test_a_stated_tolerance_is_replaced(capsys: pytest.CaptureFixture[str]) -> None:
    box = box_of_text("b", TANK + 'tolerance = "10 %"\n')
    (found,) = error_budgets(box, ["fuel"])
    assert found.sender == "calibrated 2026-11-26" and found.worst.plus_minus < 0.5
    assert all(c.quantity.name != "sender" for b in found.budgets for c in b.contributors)
