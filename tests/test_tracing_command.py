"""`gaugelight trace` as a person uses it."""

import json
import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugelight.box_line import Hello
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import main
from gaugelight.said import Said, convert
from gaugelight.tracing.measurements import available
from gaugelight.tracing.trace_trial import DEMO, SENDERS
from gaugelight.tracing.traced import traced

Ran = Callable[..., tuple[int, str, str]]


@pytest.fixture
def ran(capsys: pytest.CaptureFixture[str]) -> Ran:
    def run(*words: str) -> tuple[int, str, str]:
        code = main(["trace", *words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def test_alone_it_prints_the_book(ran: Ran) -> None:
    """The demo's left fuel: 0 ohm empty, 90 ohm full (common practice, no source); half lies between two of its points."""
    code, out, _ = ran(str(DEMO), "left fuel")
    assert code == 0
    rows = [line.split() for line in out.splitlines() if "US gal" in line and "+-" in line]
    assert [row[0] for row in rows] == ["0", "4.5", "9", "13.5", "18"]
    assert [row[3] for row in rows] == ["empty", "a", "half", "three", "full"]
    half = rows[2]
    assert half[4:6] == ["43.7", "+-3.5"] and half[-3:] == ["9.0", "US", "gal"]
    assert "measured something? give it" in out


# 150 ohm to 3.3 V and a float at 90 ohm: 3.3 * 90 / 240 V; 4 and 20 mA over 150 ohm: by Ohm's law
BOOK = {
    "full, ohm": (DEMO, "left fuel", 4, "ohms at the sender", 90.0),
    "full, V at the box": (DEMO, "left fuel", 4, "volts at the connector", 3.3 * 90 / 240),
    "a stated wire adds": (SENDERS, "left fuel", 4, "ohms at the connector", 90.0 + 92.0 + 0.8),
    "nought of a loop, V": (DEMO, "hydraulic", 0, "volts at the connector", 0.6),
    "full of a loop, mA": (DEMO, "hydraulic", 4, "mA at the connector", 20.0),
    "a 240-33 sender, empty": (SENDERS, "right fuel", 0, "ohms at the connector", 240.0),
    "a ratiometric one, half": (SENDERS, "manifold", 2, "volts at the connector", 2.5),
}


@pytest.mark.parametrize("file, name, row, what, value", BOOK.values(), ids=BOOK)
def test_book(ran: Ran, file: Path, name: str, row: int, what: str, value: float) -> None:
    code, out, _ = ran(str(file), name, "--json")
    assert code == 0
    found = json.loads(out)["expected"][row]["values"][what]
    assert found["value"] == pytest.approx(value, rel=1e-3)
    assert 0 < found["plus_minus"] < 0.1 * max(value, 40 if what.startswith("ohm") else 1)


def test_ohms_say_where_on_the_travel_that_is(ran: Ran) -> None:
    code, out, _ = ran(str(DEMO), "left fuel", "--ohms", "47")
    assert code == 0  # nothing need be wrong
    assert "47 ohm: of a good one 9.72 US gal, 54% of the float's travel" in out
    assert "nothing wrong" in out and "corroded contact in the signal wire" in out
    assert "does not fit" in out and "signal wire shorted to ground" in out
    assert "extinguisher" in out and "advisory" in out


def test_several_measurements_narrow_it(ran: Ran) -> None:
    words = ("--at", "empty", "3", "--at", "half", "46", "--at", "full", "240")
    code, out, _ = ran(str(DEMO), "left fuel", *words)
    assert code == 1
    assert "worn track" in out and "what to do: replace the sender" in out and "next:" not in out


def test_where_is_the_sender(ran: Ran) -> None:
    _, out, _ = ran(str(DEMO), "left fuel", "--ohms", "0", "--where", "sender", "--json")
    said = json.loads(out)
    assert said["measured"][0]["what"] == "ohms at the sender"
    fit = {one["cause"]: one["fits"] for one in said["causes"]}
    assert fit["sender shorted inside"] and fit["signal wire shorted to ground, or to its return"]


def test_the_command_it_prints_goes_on(ran: Ran) -> None:
    """As it stands, with the result in the place of VALUE, until one thing is left."""
    words = [str(DEMO), "left fuel", "--ohms", "61", "--true", "9.5 US gal", "--meter", "1 % + 0.3 ohm"]
    answers = {
        "ohms at the sender": "46", "ohms of the wire": "15.1", "ohms of the return": "0.1", "volts between grounds": "0.001",
        "wiggle": "jumps", "volts at the sender": "0.72", "box, stand-in at the sender": "62 ohm", "box": "61 ohm",
        "ohms from the wire to ground": "open", "volts at the connector": "0.93", "ohms at the connector": "61",
    }  # fmt: skip
    for _ in range(4):
        code, out, _ = ran(*words)
        assert code == 1
        if "what to do: " in out:
            break
        command = shlex.split(re.findall(r"then: (.*)", out)[0])
        assert command[:2] == ["gaugelight", "trace"] and "--meter" in command
        words = [*command[2:-1], answers[command[-2]]]
    assert "what to do: mend the signal wire" in out


def test_json_is_one_object(ran: Ran) -> None:
    code, out, err = ran(str(DEMO), "hydraulic", "--ma", "3.2", "--json")
    said = json.loads(out)
    assert code == 1 and err == ""
    assert said["near"] == 3.0 and said["next"]["command"].startswith("gaugelight trace ")
    assert {one["repair"] for one in said["causes"] if one["fits"]} == set(said["repairs"])
    assert all(len(one["would_give"]) == 1 for one in said["causes"])


WRONG = {
    "no such input": (("left full",), "there is no input"),
    "two at once": (("left fuel", "--ohms", "3", "--volts", "1"), "one of --ohms"),
    "milliamperes of a float": (("left fuel", "--ma", "4"), "not measured here"),
    "no unit of that kind": (("left fuel", "--ohms", "4 V"), "is not in ohm"),
    "no place": (("left fuel", "--at", "nowhere", "4"), "no place on its travel"),
    "no meter": (("left fuel", "--meter", "good", "--ohms", "4"), "0.5 % + 0.2 ohm"),
    "no supply": (("hydraulic", "--supply", "much", "--ma", "4"), "--supply"),
    "no such supply": (("hydraulic", "--supply", "-3", "--ma", "4"), "not within 0 and 40 V"),
    "no such cold junction": (("left fuel", "--cold", "9000", "--ohms", "4"), "not within -60 and 150 degC"),
    "no cold junction": (("left fuel", "--cold", "20 degC", "--ohms", "4"), "has no cold junction"),
    "beyond the converter": (("left fuel", "--measured", "box", "count 99999"), "counts run from 0 to 65535"),
    "a place below its travel": (("left fuel", "--at", "-5 %", "4"), "outside its readings"),
    "a place above it": (("left fuel", "--at", "100000 %", "4"), "outside its readings"),
    "no port": (("left fuel", "--port", "/dev/none"), "cannot be opened"),
}


@pytest.mark.parametrize("words, says", WRONG.values(), ids=WRONG)
def test_misuse_is_said_and_ends_with_2(ran: Ran, words: tuple[str, ...], says: str) -> None:
    code, _, err = ran(str(DEMO), *words)
    assert code == 2 and says in err and "Traceback" not in err


class Line:
    """A box on a port that says what a good one says, but for one input."""

    def __init__(self, crc: str, says: dict[str, Said]) -> None:
        self.crc, self.says = crc, says

    def __enter__(self) -> "Line":
        return self

    def __exit__(self, *what: object) -> None:
        pass

    def hello_same_version(self) -> Any:
        return Hello("", 1, "", "SERVICE", "slot_a", 1, self.crc, len(self.says), 0, 0, "", "", "", "", "")

    def describe(self, inputs: int) -> list[Any]:
        return [type("About", (), {"name": name}) for name in self.says]

    def values(self, described: list[Any]) -> list[Said]:
        return list(self.says.values())


@pytest.mark.parametrize("crc, noted", [("2c1d146c", False), ("00000001", True)])
def test_a_box_on_a_port(ran: Ran, monkeypatch: pytest.MonkeyPatch, crc: str, noted: bool) -> None:
    """An open wire: the count that it makes is what is judged, and goes into the next command."""
    built = build(read_box(DEMO))
    says = {
        one.name: convert(built, one.name, [65535 if one.name == "left fuel" else 30000])[0]
        for one in built.box.inputs
    }
    monkeypatch.setattr("gaugelight.box_line.BoxLine", lambda port: Line(crc, says))
    monkeypatch.setattr("gaugelight.ports.the_port", lambda port: "a port")
    code, out, _ = ran(str(DEMO), "left fuel", "--port", "P")
    assert code == 1
    assert "box: open" in out and "signal wire open" in out and "--measured box 'count 65535'" in out
    assert ("runs another table" in out) == noted
    _, out, _ = ran(str(DEMO), "left fuel", "--port", "P", "--json")
    assert (json.loads(out)["note"] is not None) == noted


def test_where_nothing_fits_it_says_what_that_may_mean(ran: Ran) -> None:
    words = ("--measured", "box", "converter", "--measured", "box, wire off", "open")
    code, out, _ = ran(str(DEMO), "left fuel", *words)
    assert code == 1 and "two things may be wrong at once" in " ".join(out.split())
    assert "what to do" not in out and "next:" not in out


@pytest.mark.parametrize(("name", "told"), [("bus", True), ("coolant pressure", False)])
def test_a_low_voltage_may_be_true(ran: Ran, name: str, told: bool) -> None:
    assert ("what the box says may be so" in ran(str(DEMO), name, "--measured", "box", "2 V")[1]) == told


def test_where_the_bus_may_be_on_the_wire_it_says_so(ran: Ran) -> None:
    for volts, there in (("3.0", True), ("0.745", False)):
        out = " ".join(ran(str(DEMO), "left fuel", "--volts", volts)[1].split())
        assert ("Bus voltage may be on this wire: power off" in out) == there


@pytest.mark.parametrize(
    "name, what, values, result",
    [
        ("left fuel", "ohms at the connector, half", ("3", "46"), "VALUE"),
        ("hydraulic", "box", ("open", "9 mA"), "WHAT IT SAYS"),
    ],
)
def test_two_that_contradict_each_other_are_no_cause(
    ran: Ran, name: str, what: str, values: tuple[str, str], result: str
) -> None:
    """The command to go on with leaves both out, and keeps what else was given."""
    words = [str(DEMO), name, "--measured", what, values[0], "--true", f"{5 if name == 'left fuel' else 700}"]
    words += ["--measured", what, values[1]]
    code, out, _ = ran(*words)
    told = " ".join(out.split())
    assert code == 1
    assert "the two do not agree: measure again, or something comes and goes (wiggle)" in told
    assert "what to do:" not in told and "would give" not in told
    command = shlex.split(re.findall(r"then: (.*)", out)[0])
    assert command[4:5] == ["--measured"] and command[5] == "true reading"
    assert command[-3:] == ["--measured", what, result] and command.count("--measured") == 2
    said = json.loads(ran(*words, "--json")[1])
    assert said["disagree"] == [[1, 2]] and said["causes"] == said["repairs"] == []
    assert said["next"]["what"] == what


@pytest.mark.parametrize(
    "option, values", [("--ohms", ("3", "46")), ("--volts", ("0.2", "0.9")), ("--true", ("3", "15"))]
)
def test_an_option_given_twice_is_two_measurements(ran: Ran, option: str, values: tuple[str, str]) -> None:
    out = ran(str(DEMO), "left fuel", option, values[0], option, values[1], "--json")[1]
    assert len(json.loads(out)["measured"]) == 2 and json.loads(out)["disagree"] == [[0, 1]]


@pytest.mark.parametrize(
    ("words", "right"),
    [
        (["--supply", "13 V", "--supply", "12 V"], "--supply stands twice, '13 V' and '12 V'"),
        (["--cold", "20", "--cold", "30"], "--cold stands twice, '20' and '30'"),
        (["--ohms", "3", "--where", "sender", "--where", "connector"], "--where stands twice"),
        (["--port", "/dev/a", "--port"], "--port stands twice, '/dev/a' and ''"),
        (["--meter", "1 % + 1 ohm", "--meter", "2 % + 1 ohm"], '"1 % + 1 ohm" and "2 % + 1 ohm"'),
    ],
)
def test_of_two_that_may_stand_once_none_is_taken(ran: Ran, words: list[str], right: str) -> None:
    code, _, err = ran(str(DEMO), "left fuel", *words)
    assert code == 2 and right in err and "leave one of them out" in err
    assert ran(str(DEMO), "left fuel", "--meter", "1 % + 1 ohm", "--meter", "1 % + 1 V")[0] == 0


# input, measurements of several kinds; of which two (one by itself: twice the same) no cause of the list is left
KINDS: dict[str, tuple[str, list[tuple[str, str]], list[list[int]]]] = {
    "ohms at the connector hold the pin down": (
        "left fuel",
        [("ohms at the connector", "200"), ("true reading", "18"), ("volts at the connector", "0.02")],
        [[0, 2]],
    ),
    "that no one cause gives": ("left fuel", [("true reading", "9"), ("box, wire off", "46 ohm")], [[1, 1]]),
    "a pull-up of another value gives both": ("left fuel", [("ohms at the connector", "46"), ("box", "20 ohm")], []),
    "a corroded contact gives both": ("hydraulic", [("mA at the connector", "9"), ("box", "15 mA")], []),
}  # fmt: skip


@pytest.mark.parametrize("case", KINDS)
def test_two_of_different_kinds_that_no_cause_gives(ran: Ran, case: str) -> None:
    name, results, pairs = KINDS[case]
    words = [str(DEMO), name, *(word for result in results for word in ("--measured", *result))]
    said = json.loads(ran(*words, "--json")[1])
    assert said["no_one_cause"] == pairs and any(one["fits"] for one in said["causes"]) == (not pairs)
    told = " ".join(ran(*words)[1].split()) if pairs else ""
    assert ("where they stand, two things are wrong" in told) == any(a != b for a, b in pairs)
    assert ("no cause of the list gives that: measure it again" in told) == any(a == b for a, b in pairs)


@pytest.mark.parametrize(
    ("name", "words", "there"),
    [
        ("left fuel", ["--volts", "13.6", "--measured", "ohms at the connector", "200"], True),
        ("left fuel", ["--volts", "0.02", "--measured", "ohms at the connector", "200"], False),
        ("left fuel", ["--volts", "17"], True),  # the alternator's regulator has failed
        ("left fuel", ["--volts", "-14"], True),  # the probes the wrong way round
        ("bus", ["--volts", "-14"], False),  # it is there to be measured
    ],
)
def test_where_nothing_fits_the_bus_is_not_forgotten(
    ran: Ran, name: str, words: list[str], there: bool
) -> None:
    out = " ".join(ran(str(DEMO), name, *words)[1].split())
    assert "nothing in the list fits" in out
    assert ("Bus voltage may be on this wire: power off" in out) == there


def test_a_bus_without_its_alternator_is_asked_for(ran: Ran) -> None:
    words = [str(DEMO), "coolant pressure", "--volts", "12.3"]
    out = " ".join(ran(*words)[1].split())
    assert "nothing in the list fits" in out and "taken to be 14 V +-1 V" in out
    out = " ".join(ran(*words, "--supply", "12.3")[1].split())
    assert "bus voltage on the signal wire 12" in out and "taken to be" not in out


def test_where_two_disagree_the_bus_is_not_forgotten(ran: Ran) -> None:
    for volts, there in (("13.6", True), ("0.5", False)):
        words = ("--measured", "volts at the connector", "0.9", "--measured", "volts at the connector", volts)
        out = " ".join(ran(str(DEMO), "left fuel", *words)[1].split())
        assert "do not agree" in out and ("Bus voltage may be on this wire: power off" in out) == there


@pytest.mark.parametrize(
    "file, name, there",
    [
        (SENDERS, "current", True),
        (DEMO, "bus", True),
        (DEMO, "left fuel", False),
        (SENDERS, "exhaust", False),
    ],
)
def test_battery_volts_are_said(ran: Ran, file: Path, name: str, there: bool) -> None:
    """With what is suggested, and at the end, whatever it suggests."""
    one = traced(read_box(file), name)
    for each in available(one):
        said = "fuse pulled first" in each.how and "a slip of the probe welds" in each.how
        assert said == (there and each.what not in ("box", "true reading", "wiggle")), each.what
    words = ("--measured", "box", f"{one.middle:.3g} {one.one.circuit.unit}")
    assert (
        "its sense wires are at battery volts" in " ".join(ran(str(file), name, *words)[1].split())
    ) == there
