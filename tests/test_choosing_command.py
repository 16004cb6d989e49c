"""`gaugelight choose` as it is typed: options, questions, exit codes, JSON, box files."""

import argparse
import io
import json
import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest

from gaugelight import preferred
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.choosing.asked import Asked, asked_of, read_sender
from gaugelight.choosing import options
from gaugelight.choosing.command import OPTIONS
from gaugelight.choosing.guide import command, guide
from gaugelight.choosing.tank_file import read_tank
from gaugelight.choosing.input_block import ohms_text, value_text
from gaugelight.cli import DEMO, STARTER, main
from gaugelight.problems import Misuse
from gaugelight.quantity import parse_quantity

FLOAT = ["--sender", "0-90 ohm", "--unit", "US gal", "--range", "0", "18"]
LOOP = ["--sender", "4-20 mA", "--unit", "psi", "--range", "0", "1500", "--name", "oil"]
BUS = ["--unit", "V", "--range", "8", "16", "--name", "second bus"]
TANK = """
[tank]
shape = "wedge"
span = "1.8 m"
root = "24 cm"
tip = "16 cm"
chord = "55 cm"
dihedral = 4
unusable = 0.5
[[float]]
name = "inner"
span = "15 cm"
chord = "25 cm"
low = "1 cm"
high = "20 cm"
at_low = "0 ohm"
at_high = "90 ohm"
[[float]]
name = "outer"
span = "1.6 m"
chord = "25 cm"
low = "1 cm"
high = "15 cm"
at_low = "0 ohm"
at_high = "90 ohm"
"""


def run(*words: str) -> int:
    best = [] if "--best" in words else ["--best", "1"]
    return main(["choose", *words, *best])


# --- what is wrong is told, with what would be right ---

WRONG: dict[str, tuple[list[str], str]] = {
    "nothing at all": ([], '--sender "240-33 ohm"'),
    "no range": (["--sender", "240-33 ohm", "--unit", "l"], "--range 0 18"),
    "gallons of no kind": (["--sender", "0-90 ohm", "--unit", "gal", "--range", "0", "18"], "US gal"),
    "a range upside down": (["--sender", "0-90 ohm", "--unit", "l", "--range", "70", "0"], "lower end comes first"),
    "a range of words": (["--sender", "0-90 ohm", "--unit", "l", "--range", "empty", "full"], "empty"),
    "a sender of words": (["--sender", "a float", "--unit", "l", "--range", "0", "70"], "240-33 ohm"),
    "a thermocouple": (["--sender", "thermocouple K", "--unit", "degF", "--range", "0", "1500"], "no resistor to choose"),
    "a thermistor without its values": (["--sender", "NTC 10k", "--unit", "degC", "--range", "0", "100"], '{ table = [["10 kohm", "25 degC"]'),
    "a broken thermistor": (["--sender", "{ b = 3950", "--unit", "degC", "--range", "0", "100"], "3950 K"),
    "no such converter": ([*FLOAT, "--converter", "16 bits"], "ads1115, on-chip, either"),
    "a place outside": ([*FLOAT, "--matters", "19"], "0 to 18"),
    "a place of words": ([*FLOAT, "--matters", "empty"], "low, middle, high"),
    "a wire without a unit": ([*FLOAT, "--wire", "3"], "3 m"),
    "a wire around the earth": ([*FLOAT, "--wire", "40000 m"], "up to 50 m"),
    "no such gauge": ([*FLOAT, "--gauge", "3"], "22"),
    "a pressure of fuel": ([*FLOAT, "--pressure", "gauge"], "leave this key out"),
    "points that turn back": (["--points", "0 ohm=0", "9 ohm=4", "90 ohm=1", "--unit", "l"], "turn back"),
    "a point without a reading": (["--points", "0 ohm", "--unit", "l"], "21 ohm=4"),
    "points and a range": (["--points", "0 ohm=0", "9 ohm=4", "--unit", "l", "--range", "0", "4"], "leave"),
    "none to be shown": ([*FLOAT, "--best", "0"], "1 to"),
    "a drawing that is none": ([*FLOAT, "-o", "c.png"], ".svg"),
    "a bus that is not the box's": (
        [*FLOAT, "--into", str(STARTER), "--bus", "28 V"],
        "has a bus of 14 V; leave --bus out",
    ),
    "no bus, for a box": ([*FLOAT, "--into", str(STARTER), "--bus", "-28 V"], "--bus: "),
    "no such series": ([*FLOAT, "--series-of", "E7"], "E24"),
    "resistors of no tolerance": ([*FLOAT, "--tolerance", "tight"], "%"),
    "a box file that is not there": ([*FLOAT, "--into", "none.toml"], "cannot be read"),
    "a tank file that is not there": (["--two-floats", "none.toml"], "[[float]]"),
    "above the air": (["--sender", "0-90 ohm", "--unit", "psi", "--range", "0", "9", "--altitude", "1000000 ft"], "50000 ft"),
    "a range without end": (["--sender", "0-90 ohm", "--unit", "l", "--range", "0", "inf"], "proportion"),
    "a point that is no number": (["--points", "0 ohm=0", "90 ohm=nan", "--unit", "l"], "nan"),
    "no bus": ([*FLOAT, "--bus", "5 V"], "28 V"),
    "no voltage at all": ([*FLOAT, "--rail", "0 V"], "more than 0"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_told(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    words, right = WRONG[case]
    assert run(*words) == 2
    said = capsys.readouterr()
    assert right in said.err and not said.out


def test_no_circuit_is_no_success(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*LOOP, "--transmitter", "12 V") == 1
    said = capsys.readouterr().out
    assert "NOT TO BE BUILT" in said and "what would help" in said and "[[input]]" not in said


# --- what is shown ---


def test_a_tank_is_always_told_what_no_circuit_limits(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*FLOAT, "--tank") == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        "No circuit in the box limits 14 V that chafes onto the sender's own wire",
        "guard pin",
        "bundle of its own",
        "AC 25.981-1 (guidance for transport aircraft, its figures from memory",
        "one of the four resistors shorted",
        "four of",
        "The box is advisory",
    ):
        assert words in said, words
    assert run(*FLOAT, "--tank", "--rail", "5 V") == 1  # even where nothing is proposed
    assert "No circuit in the box limits 14 V" in capsys.readouterr().out


@pytest.mark.parametrize("words, told", [((), True), (("--tank",), True), (("--no-tank",), False)])
def test_fuel_is_taken_to_be_in_a_tank(
    words: tuple[str, ...], told: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--sender", "4-20 mA", "--unit", "l", "--range", "0", "70", *words) == int(told)
    assert ("No circuit in the box limits" in capsys.readouterr().out) == told


def test_json_is_one_object(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*FLOAT, "--tank", "--protection", "0 ohm", "--stand-in", "--best", "3", "--json") == 0
    said = json.loads(capsys.readouterr().out, parse_constant=lambda word: pytest.fail(word))
    assert {"candidates", "refused", "statement", "looked_at"} <= set(said)
    cases = [case for one in said["candidates"] for case in one["tank"]]
    assert any(case["milliamperes"] is None for case in cases)  # the clamp, without protection: all there is


def test_the_block_is_a_box_file_with_a_head(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(*FLOAT, "--tank", "--wire", "3 m", "--sender-tolerance", "2 %", "--json") == 0
    block = json.loads(capsys.readouterr().out)["candidates"][0]["block"]
    inputs = tomllib.loads(block)["input"]
    assert [one["name"] for one in inputs] == ["sender rail", "left fuel"]
    # 2 x 3 m of 16.20 ohm per 1000 ft (FAA AC 43.13-1B, table 11-9)
    assert inputs[1]["circuit"]["wire"] == "0.319 ohm" and inputs[1]["tolerance"] == "2 %"
    assert inputs[1]["damping"] == "12 s"


def test_a_drawing(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "c.svg"
    assert run(*BUS, "-o", str(path)) == 0
    assert path.read_text().startswith("<svg")


@pytest.mark.parametrize("more", [["--ratiometric"], []])
def test_what_feeds_a_ratiometric_sender_is_said(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--sender", "0.5-4.5 V", "--unit", "bar", "--range", "0", "100", *more) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert ("the board's own 5 V must not leave the box" in said) == bool(more)


def test_stand_ins(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*FLOAT, "--tank", "--stand-in") == 0
    said = capsys.readouterr().out
    assert "Never in a tank" in said
    # half of 0 to 90 ohm is 45: 22.5 and 67.5 need two resistors, 43 + 2 makes this one
    assert "43 ohm in series with 2 ohm" in said
    assert run(*LOOP, "--stand-in", "--bench", "0.1 V") == 2
    assert "another bench supply" in capsys.readouterr().err


def test_a_thermistor_given_by_points_is_told_what_straight_lines_cost(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """10 kohm and B 3950 K, an invention of ours: at 60 degC 2.48 kohm; a straight line from 25 to 100 degC says 85."""
    points = ["--points", "10 kohm=25", "698 ohm=100", "--unit", "degC", "--stand-in"]
    assert run(*points) == 0
    said = capsys.readouterr().out
    assert "straight between its points" in said and "{ table" in said
    assert "10000" in said and "e+0" not in said  # ohm written out for the workbench
    assert run(*points[:1], "10 ohm=25", "20 ohm=100", *points[3:5]) == 0
    assert "straight between" not in capsys.readouterr().out


SENDERS_BY_HAND = {
    "4-20mA": "4-20 mA",
    "10 to 180 ohms": "10-180 ohm",
    "10-180 \u03a9": "10-180 ohm",
    "240-33\u2126": "240-33 ohm",
    "0.5..4.5 V": "0.5-4.5 V",
}


@pytest.mark.parametrize("text", SENDERS_BY_HAND)
def test_a_sender_written_by_hand(text: str) -> None:
    assert read_sender(text)[1] == SENDERS_BY_HAND[text]


def test_one_more_converter_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_bytes(STARTER.read_bytes())
    assert run(*FLOAT, "--name", "third", "--into", str(box), "--best", "40", "--yes") == 0
    lines = [
        line
        for line in capsys.readouterr().out.splitlines()
        if line.strip()[:1].isdigit() and ".0 at" in line or ".2 at" in line
    ]
    assert lines and all(("converter more" in line) == ("fore." in line) for line in lines)


def test_grounds_apart_are_said_both_ways(capsys: pytest.CaptureFixture[str]) -> None:
    """By Millman: 50 mV at the foot of 213.9 ohm move what a pull-up of 750 ohm sees by +14.8 ohm, below by -14.4; a gallon is 11.5."""
    assert (
        run("--sender", "240-33 ohm", "--unit", "US gal", "--range", "0", "18", "--series-of", "E3", "--json")
        == 0
    )
    said = json.loads(capsys.readouterr().out)["extras"]["grounds"]
    assert re.search(r"at 2.25 US gal: -\d", said[1]) and re.search(
        r"below .* at 2.25 US gal: \+\d", said[-1]
    )


@pytest.mark.parametrize(
    ("words", "series", "best"),
    [(FLOAT, "E3", "40"), (["--sender", "0-14 V", "--unit", "psi", "--range", "0", "90"], "E96", "4")],
)
def test_every_value_is_of_the_series(
    words: list[str], series: str, best: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """E96 holds little of E12 (IEC 60063): who has the one has not the other."""
    assert run(*words, "--series-of", series, "--best", best, "--json") == 0
    written = [one["circuit"] for one in json.loads(capsys.readouterr().out)["candidates"]]
    parts = {one[key] for one in written for key in ("resistor", "series", "top", "bottom") if key in one}
    ohms = {float(parse_quantity(part, "ohm")) for part in parts}
    assert ohms and ohms <= set(preferred.values(series, 1, 1e6))


@pytest.mark.parametrize(
    ("bus", "right"),
    [
        ("14 V", ("the bus at 16 V, for ever", "24 Ω", "1 %, 25 W", "shunt takes 11 W")),
        ("28 V", ("the bus at 32 V, for ever", "160 Ω", "1 %, 10 W", "shunt takes 6 W", "1 %, 0.6 W")),
    ],
)
def test_the_drawing_is_rated_for_its_bus(bus: str, right: tuple[str, ...], tmp_path: Path) -> None:
    """16 V over 24 ohm are 10.7 W, 32 V over 160 ohm 6.4 W, over 4.7 kohm 0.22 W; a resistor takes three quarters of its rating."""
    assert run(*LOOP, "--bus", bus, "-o", str(tmp_path / "a.svg")) == 0
    drawn = (tmp_path / "a.svg").read_text()
    assert all(words in drawn for words in right)


# --- two floats ---

BAD_TANKS: dict[str, tuple[str, str, str]] = {
    "a shape unknown": ('shape = "wedge"', 'shape = "egg"', "box, wedge, prism"),
    "a size missing": ('root = "24 cm"\n', "", "root is missing"),
    "a size without a unit": ('root = "24 cm"', "root = 24", "24 m"),
    "a float outside": ('span = "1.6 m"', 'span = "1.9 m"', "outside the tank"),
    "an unknown key": ("dihedral = 4", "dihedrl = 4", "dihedrl"),
    "one float": (TANK[TANK.index("[[float]]") : TANK.rindex("[[float]]")], "", "two floats"),
    "an arm of less than nothing": ('name = "outer"', 'name = "outer"\narm = "-1 m"', "arm"),
    "no TOML": ("[tank]", "[tank", "tank.toml"),
    "an arm too short": ('name = "outer"', 'name = "outer"\narm = "1 cm"', "arm"),
}


@pytest.mark.parametrize("case", BAD_TANKS)
def test_a_tank_that_is_not_right(case: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    old, new, right = BAD_TANKS[case]
    assert old in TANK
    path = tmp_path / "tank.toml"
    path.write_text(TANK.replace(old, new, 1))
    assert run("--two-floats", str(path)) in (1, 2)
    assert right in capsys.readouterr().err


@pytest.mark.parametrize(
    "more", [["--sender", "0-90 ohm"], ["--range", "0", "18"], ["--points", "0 ohm=0", "9 ohm=1"]]
)
def test_two_floats_say_it_all(more: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "tank.toml"
    path.write_text(TANK)
    assert run("--two-floats", str(path), *more) == 2
    assert "leave --sender" in capsys.readouterr().err


def test_fuel_that_is_not_there_is_said(tmp_path: Path) -> None:
    """The wing's tip up: a little fuel runs to the inner float, which then stands for more, and much of it shows less."""
    path = tmp_path / "tank.toml"
    path.write_text(TANK + '[[other_attitude]]\nname = "slip"\nwing_down = -6\n')
    (said,) = [line for line in read_tank(path).said if line.startswith("slip")]
    assert "at 13 that is 6.7 US gal more, at 38.9 that is 9.3 US gal less than in level flight" in said


def test_what_is_unusable_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "tank.toml"
    full = []
    for unusable in ("0.5", "2.5"):
        path.write_text(TANK.replace("unusable = 0.5", f"unusable = {unusable}"))
        full.append(read_tank(path).found.full)
    # 1.8 m x (24 + 16)/2 cm x 55 cm are 198 l; a US gallon is 3.785411784 l
    assert full == pytest.approx([198 / 3.785411784 - 0.5, 198 / 3.785411784 - 2.5])


def test_two_floats_become_a_series(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path, box = tmp_path / "tank.toml", tmp_path / "box.toml"
    path.write_text(TANK)
    box.write_bytes(STARTER.read_bytes())
    assert run("--two-floats", str(path), "--name", "wing", "--into", str(box), "--yes") == 0
    said = capsys.readouterr().out
    assert "both move from" in said  # the overlap
    wing = read_box(box).input("wing")
    # 1.8 m x (24 + 16)/2 cm x 55 cm are 198 l, 52.3 US gal, half a gallon of it unusable; its top is not seen
    assert wing is not None and 45 < wing.law.span[1] < 52.3 - 0.5


# --- into a box file ---


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_into_a_box_file(newline: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    old = STARTER.read_text().replace("\n", newline).encode()
    box.write_bytes(old)
    words = [*LOOP, "--into", str(box)]
    assert run(*words) == 2, "as flash: asked for, not done"
    assert box.read_bytes() == old, "nothing is written before it is said so"
    assert (
        capsys.readouterr().err
        == f"{box}: not written: nobody is there to be asked; write --yes to add them\n"
    )
    assert run(*words, "--json") == 2
    said = json.loads(capsys.readouterr().out)
    assert not said["written"] and "not written" in said["error"][0] and said["candidates"]
    assert run(*words, "--yes") == 0
    new = box.read_bytes()
    assert new.startswith(old.rstrip()) and new.count(b"\r\n") == (
        new.count(b"\n") if newline == "\r\n" else 0
    )
    one = read_box(box).input("oil")
    assert one is not None and one.circuit.unit == "mA"
    added = new[len(old.rstrip()) :].decode().splitlines()
    assert added[:4] == ["", "", "[[input]]", 'name = "oil"'] and added[-1]
    assert new.count(b"[[input]]") == old.count(b"[[input]]") + 1
    build(read_box(box))
    capsys.readouterr()
    assert run(*words, "--yes") == 1  # the name stands there
    assert "not written" in capsys.readouterr().err and box.read_bytes() == new


@pytest.mark.parametrize(("answer", "code"), [("y", 0), ("n", 1), ("", 1)])
def test_into_as_it_is_answered(
    answer: str,
    code: int,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    box = tmp_path / "box.toml"
    box.write_bytes(STARTER.read_bytes())
    on_a_terminal(monkeypatch, [answer])
    assert run(*LOOP, "--into", str(box)) == code
    assert (box.read_bytes() == STARTER.read_bytes()) == bool(code)
    assert (f"{box}: not written\n" in capsys.readouterr().err) == bool(code)


OIL = ["--sender", "10-180 ohm", "--unit", "psi", "--range", "0", "100", "--name", "oil"]
# the starter has two inputs and a rail on its converter: one pin is free
INTO: dict[str, tuple[list[str], int, str]] = {
    "beside the rail that is there": (
        [*OIL, "--yes"],
        0,
        'pin = "aft.2"\ncircuit = { kind = "pull-up", resistor = "',
    ),
    "a converter of the box": ([*LOOP, "--converter", "aft", "--yes"], 0, 'pin = "aft.2"'),
    "the board's own": ([*LOOP, "--converter", "on-chip", "--yes"], 0, "pin = 28"),
    "no such converter": ([*LOOP, "--converter", "fore"], 2, "there is: aft"),
}


@pytest.mark.parametrize("case", INTO)
def test_the_pin_that_is_chosen(case: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    more, code, right = INTO[case]
    box = tmp_path / "box.toml"
    box.write_bytes(STARTER.read_bytes())
    assert run("--into", str(box), *more) == code
    said = "".join(capsys.readouterr())
    assert right in said and ("nominal =" not in said or OIL[1] not in more)


def test_a_read_only_file_is_not_replaced(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_bytes(STARTER.read_bytes())
    box.chmod(0o444)
    assert run(*OIL, "--into", str(box), "--yes") == 2
    assert "read-only" in capsys.readouterr().err and box.read_bytes() == STARTER.read_bytes()


OTHERWISE = {
    "a converter in one line: its free pin comes before a second one": (
        'converter = { "my chip" = { kind = "ads1115", address = 0x4a, full_scale = "6.144 V" } }\n[box]\nname = "other"\nboard = "rp2040"\n'
        '[[input]]\nname = "a rail"\npin = "my chip.1"\nunit = "V"\nnominal = "3.3 V"\n[input.circuit]\nkind = "direct"\n',
        0,
        'pin = "my chip.0"',
    ),
    "inputs in one line: nothing can stand behind them": (
        'input = [{ name = "a rail", pin = "c.1", unit = "V", nominal = "3.3 V", circuit = { kind = "direct" } }]\n'
        '[converter.c]\nkind = "ads1115"\n[box]\nname = "other"\nboard = "rp2040"\n',
        1,
        "not written",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", OTHERWISE)
def test_a_box_file_written_another_way(
    case: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text, code, right = OTHERWISE[case]
    box = tmp_path / "box.toml"
    box.write_text(text)
    assert run(*OIL, "--into", str(box), "--yes") == code
    assert right in "".join(capsys.readouterr())
    assert (box.read_text() == text) == bool(code)


def test_a_share_is_no_more_than_the_whole(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--sender", "0.5-4.5 V", "--unit", "psi", "--range", "0", "100", "--ratiometric"]
    assert run(*words, "3.3 V") == 1
    assert "4.5 V is more than the 3.3 V of its supply" in capsys.readouterr().out
    assert run(*words, "5 V") == 0


def test_a_box_whose_name_has_quotes(tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_text('[box]\nname = "the \\"wet\\" one"\nboard = "rp2040"\n')
    assert run(*FLOAT, "--into", str(box), "--yes") == 0
    assert read_box(box).name == 'the "wet" one'


BEGUN = {
    "only a head": ("", 'kind = "ads1115"'),
    "a converter on which nothing is yet": (
        '[converter.main]\nkind = "ads1115"\naddress = 0x49\n',
        'pin = "main.0"',
    ),
}


@pytest.mark.parametrize("case", BEGUN)
def test_the_first_input_goes_into_a_box_file_just_begun(case: str, tmp_path: Path) -> None:
    more, right = BEGUN[case]
    box = tmp_path / "box.toml"
    box.write_text('[box]\nname = "begun"\nboard = "rp2040"\n' + more)
    assert run(*FLOAT, "--into", str(box), "--yes") == 0
    assert right in box.read_text() and len(read_box(box).chips) == 1
    box.write_text('[box]\nname = "begun"\n' + more)
    assert run(*FLOAT, "--into", str(box), "--yes") == 1, "what else is wrong of it is still told"


def test_the_bus_is_that_of_the_box(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    text = next(text for text, code, _ in OTHERWISE.values() if code == 0)
    box.write_text(text.replace("[box]\n", '[box]\nsupply = "28 V"\n'))
    assert run(*FLOAT, "--into", str(box), "--json", "--yes") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["asked"]["bus"] == 28 and "limits 28 V" in said["statement"]


def test_a_full_box_gets_another_converter(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_bytes(DEMO.read_bytes())
    assert run(*FLOAT, "--name", "third", "--tank", "--into", str(box), "--yes") == 0
    after = read_box(box)
    third = after.input("third")
    assert len(after.chips) == 3 and third is not None and third.converter.chip == after.chips[2]
    rail = after.rail_of(third)
    assert rail is not None and rail.converter.chip == after.chips[2]
    assert run(*FLOAT, "--name", "fourth", "--into", str(box), "--converter", "on-chip") == 2
    assert "free" in capsys.readouterr().err


# --- questions ---

GUIDED: dict[str, tuple[list[str], dict[str, Any], dict[str, Any]]] = {
    "returns only: a float in a tank": (
        [""] * 20,
        {},
        {"sender": "0-90 ohm", "unit": "US gal", "range": (0, 18), "tank": True, "matters": 2.25, "name": "left fuel 2", "wire_stated": False},
    ),
    "a loop of three wires": (
        ["2", "", "psi", "hydraulic", "sealed", "0 to 1500", "3", "10 V", "no", "", "1200", "8 m", "hydraulic"],
        {},
        {"sender": "4-20 mA", "pressure": "sealed", "service": "hydraulic", "loop_wires": 3, "transmitter_least": 10.0, "matters": 1200, "tank": False},
    ),
    "a voltage, ratiometric, through the airframe": (
        ["voltage", "0.5-4.5", "psi", "", "", "0 30", "yes", "no", "on", "high", "yes", "80 mV", "5 m", "coolant"],
        {},
        {"ratiometric": 5.0, "converter": "on-chip", "ground_offset": 0.08, "matters": 26.25, "wire_stated": True, "service": None},
    ),
    "what was given is not asked": (
        ["", "", "", "", "", "tank"],
        {"sender": "240-33 ohm", "unit": "l", "range": ("0", "70"), "tank": True},
        {"sender": "240-33 ohm", "range": (0, 70), "name": "left fuel 2", "matters": 8.75},
    ),
    "a thermistor by the table of its data sheet": (
        ["1", '{ table = [["10 kohm", "25 degC"], ["680 ohm", "100 degC"]] }', *[""] * 9],
        {},
        {"unit": "degC", "range": (25, 100), "tank": False, "name": "temperature", "wire_stated": False},
    ),
    "the sender itself as the first answer": (
        ["240-33 ohm", "l", *[""] * 9],
        {},
        {"sender": "240-33 ohm", "unit": "l", "tank": True},
    ),
    "a name that is free": (
        ["", "", "", "", "", "", "", "", "3 m", "left fuel", ""],
        {},
        {"name": "left fuel 2", "wire_stated": True},
    ),
    "a place outside is asked again": (
        ["", "", "degC", "0 120", "", "", "500", "80", "", "3 m", "oil"],
        {},
        {"sender": "0-90 ohm", "matters": 80, "name": "oil"},
    ),
    "asked again until it is right": (
        ["4", "1", "a float", "240-33", "gal", "l", "70 0", "0 70", "maybe", "no", "", "low", "", "", ""],
        {},
        {"sender": "240-33 ohm", "unit": "l", "tank": False},
    ),
}  # fmt: skip


def answered(lines: list[str], given: dict[str, Any]) -> tuple[Asked, list[str]]:
    rest, said = iter(lines), []

    def answer(question: str) -> str:
        said.append(question)
        try:
            return next(rest)
        except StopIteration:
            raise EOFError from None

    words = guide(given, answer, said.append, ["left fuel"])
    asked = asked_of(words)
    again = argparse.ArgumentParser()
    options.add(again)
    once = vars(again.parse_args(shlex.split(command(words))[2:]))
    assert asked_of({key: once[key] for key in OPTIONS}) == asked
    return asked, said


@pytest.mark.parametrize("case", GUIDED)
def test_questions(case: str) -> None:
    lines, given, wanted = GUIDED[case]
    asked, _ = answered(lines, given)
    assert {key: getattr(asked, key) for key in wanted} == wanted


def test_every_question_has_a_default() -> None:
    _, said = answered([""] * 30, {})
    assert all("[" in line for line in said if line.endswith("] "))
    assert sum(line.endswith("] ") for line in said) >= 9


def test_answers_that_end_too_early() -> None:
    with pytest.raises(Misuse, match="nothing was written"):
        answered(["1"], {})


def test_a_range_that_was_given_wrong_is_not_asked_about_for_ever() -> None:
    with pytest.raises(Misuse, match="lower end comes first"):
        answered([""] * 30, {"range": ("18", "0")})


def test_a_pipe_is_not_asked(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("1\n"))
    assert run() == 2
    assert "What does" not in "".join(capsys.readouterr())


def on_a_terminal(monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> None:
    there = io.StringIO("\n".join(lines) + "\n")
    monkeypatch.setattr(there, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin", there)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)


TABLE = '{ table = [["10 kohm", "25 degC"], ["680 ohm", "100 degC"]] }'


@pytest.mark.parametrize("ends, code", {"25 100": 0, "25 200": 2}.items())
def test_answers_are_kept_as_one_command(
    ends: str, code: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    on_a_terminal(monkeypatch, ["1", TABLE, "", ends, *[""] * 8])
    assert run() == code
    low, high = ends.split()
    said = capsys.readouterr().out
    assert f"gaugelight choose --sender '{TABLE}' --unit degC --range {low} {high}" in said.replace("\n", " ")


# --- words of a box file ---

OHMS = {
    "150 ohm": 150.0,
    "4.7 kohm": 4700.0,
    "1 kohm": 1000.0,
    "2.2 Mohm": 2.2e6,
    "0.53 ohm": 0.53,
    "976 ohm": 976.0,
}


@pytest.mark.parametrize("text", OHMS)
def test_ohms_as_they_are_written(text: str) -> None:
    assert ohms_text(OHMS[text]) == text


VALUES = {
    "a small coefficient": 1.4e-3,
    "a tiny one": 9.9e-8,
    "a table": {"b": "3950 K", "at": "25 degC"},
    "lists": [["0 ohm", 0], ["90 ohm", 18.5]],
    "a quote": 'say "ah"',
    "yes": True,
    "a whole float": 18.0,
}


@pytest.mark.parametrize("case", VALUES)
def test_values_come_back_from_toml(case: str) -> None:
    assert tomllib.loads(f"x = {value_text(VALUES[case])}")["x"] == VALUES[case]
