"""The commands that need no box, as a user types them: what they print, their JSON, their exit codes."""

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from gaugelight.cli import DEMO, _agreed, main
from gaugelight.problems import Wrong

COMMAND = [sys.executable, "-m", "gaugelight.cli"]


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, timeout=60)


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any]:
    """Exit code and the one JSON object of a command."""
    capsys.readouterr()
    code = main([*words, "--json"])
    out, err = capsys.readouterr()
    assert err == ""
    assert out.count("\n") == 1
    return code, json.loads(out)


def test_a_new_file_is_right_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "box.toml"
    assert said(capsys, "new", str(path)) == (0, {"file": str(path)})
    assert path.read_text().count("#") > 10
    code, checked = said(capsys, "check", str(path))
    assert (code, checked["problems"]) == (0, [])
    assert said(capsys, "build", str(path), "-o", str(tmp_path / "box.glt"))[0] == 0
    before = path.read_bytes()
    code, refused = said(capsys, "new", str(path))
    assert code == 2 and "is there already" in refused["error"][0]
    assert path.read_bytes() == before


def test_build_states_what_was_proven(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    image = tmp_path / "demo.glt"
    code, built = said(capsys, "build", str(DEMO), "-o", str(image))
    assert code == 0
    assert len(built["inputs"]) == 10
    for one in built["inputs"]:
        keys = [
            "name",
            "signal_unit",
            "reading_unit",
            "breakpoints",
            "signal_error_max",
            "reading_error_max",
            "step",
        ]
        assert list(one) == keys
        assert 0 < one["reading_error_max"] <= one["step"] / 4
    assert built["image_bytes"] == image.stat().st_size
    assert built["crc32"] == image.read_bytes()[-4:][::-1].hex()


# 0.375 of the rail is 90 ohm under 150 ohm; the rail's nominal 3.3 V is count 52800 of 65536 at 4.096 V (Ohm's law)
CONVERSIONS = [
    ("empty", "left fuel", 0, 0.0, None),
    ("full", "left fuel", round(0.375 * 52800), 18.0, None),
    ("46 ohm, half by its points", "left fuel", round(46 / 196 * 52800), 9.5, None),
    ("an open wire stands at the rail", "left fuel", 52800, None, "open"),
    ("12 mA in 150 ohm, half of 1500 psi", "hydraulic", round(1.8 / 4.096 * 65536), 750.0, None),
    ("no current", "hydraulic", 0, None, "open"),
    ("a loop shorted to its supply", "hydraulic", 57600, None, "short"),
    ("12 V by 57 to 10 of a 3.3 V converter", "bus", round(12 * 10 / 57 / 3.3 * 65536), 12.0, None),
]


@pytest.mark.parametrize(
    ("name", "count", "reading", "fault"), [c[1:] for c in CONVERSIONS], ids=[c[0] for c in CONVERSIONS]
)
def test_convert(
    capsys: pytest.CaptureFixture[str], name: str, count: int, reading: float | None, fault: str | None
) -> None:
    code, converted = said(capsys, "convert", str(DEMO), name, str(count))
    (row,) = converted["rows"]
    assert code == 0
    assert row["count"] == count and row["fault"] == fault
    assert (row["reading"] is None) == (row["fault"] is not None)
    if reading is not None:
        assert row["reading"] == pytest.approx(
            reading, abs=0.25 * {"left fuel": 0.5, "hydraulic": 20, "bus": 0.1}[name]
        )


def test_convert_takes_what_a_meter_says(capsys: pytest.CaptureFixture[str]) -> None:
    _, converted = said(capsys, "convert", str(DEMO), "left fuel", "46 ohm", "0.046 kohm", "1 kohm", "95 ohm")
    readings = [(row["reading"], row["fault"]) for row in converted["rows"]]
    assert readings[0] == readings[1] == (pytest.approx(9.5, abs=0.125), None)
    assert readings[2:] == [(None, "open"), (None, "over")]


def test_convert_says_what_it_takes_the_cold_junction_for(capsys: pytest.CaptureFixture[str]) -> None:
    """20.644 mV is type K at 500 degC against 0 (ITS-90), 0.798 mV at 20; the box's rails stand at nominal."""
    senders = str(Path(__file__).parent / "senders.toml")
    code, told = said(capsys, "convert", senders, "exhaust", "0 mV", "19.846 mV")
    assert code == 0 and told["held"] == {"box temperature": 20}
    assert [row["reading"] for row in told["rows"]] == [
        pytest.approx(20, abs=1.5),
        pytest.approx(500, abs=1.5),
    ]
    assert said(capsys, "convert", senders, "left fuel", "46 ohm")[1]["held"] == {"sender rail": 3.3}


@pytest.mark.parametrize("command", ["", "new", "check", "build", "convert", "error", "dim", "bench", "read"])
def test_help(command: str) -> None:
    done = run(*filter(None, [command, "--help"]))
    assert done.returncode == 0 and done.stdout.startswith("usage: gaugelight") and not done.stderr


def test_dim_goes_from_nothing_to_all(capsys: pytest.CaptureFixture[str]) -> None:
    code, dimmed = said(
        capsys, "dim", str(DEMO), "glare shield", "0", "1 %", "25", "52%", "99.9", "100", "--with", "bus=12 V"
    )
    duties = [row["dimmers"]["glare shield"]["duty_u16"] for row in dimmed["rows"]]
    assert (code, dimmed["lamp"], dimmed["set_by"]) == (0, "glare shield", "knob, %")
    assert duties[0] == duties[1] == 0 and duties[-1] == 65535
    assert duties == sorted(duties)
    # CIE 1976: lightness 50, half-way from where it is switched on, is a luminance of 0.184
    assert duties[3] / 65535 == pytest.approx(0.184, abs=0.002)
    assert [row["dim_request"] for row in dimmed["rows"]] == [False, False, True, True, True, True]
    bus = [row["dimmers"]["bus output"]["level"] for row in dimmed["rows"]]
    face = [row["dimmers"]["display"]["level"] for row in dimmed["rows"]]
    assert bus == sorted(bus) and face == sorted(face, reverse=True)
    assert {row["day"] for row in dimmed["rows"]} == {False}


def test_dim_of_a_lamp_that_follows_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    code, dimmed = said(capsys, "dim", str(DEMO), "switch legends", "0 V", "1.5", "14 V")
    levels = [row["dimmers"]["switch legends"]["level"] for row in dimmed["rows"]]
    assert (code, dimmed["set_by"]) == (0, "lighting bus")
    assert levels == [100, pytest.approx(11.9, abs=0.1), pytest.approx(60, abs=0.1)]


def test_dim_by_day(capsys: pytest.CaptureFixture[str]) -> None:
    """The knob left up dims nothing; turned by more than a tenth it takes over what hangs on it."""
    code, dimmed = said(capsys, "dim", str(DEMO), "glare shield", "50", "55", "80", "--day")
    rows = dimmed["rows"]
    assert code == 0 and all(row["day"] for row in rows)
    assert [row["dim_request"] for row in rows] == [False, False, True]
    assert [row["dimmers"]["display"]["level"] for row in rows] == [100, 100, pytest.approx(22, abs=0.1)]
    assert [row["dimmers"]["glare shield"]["duty_u16"] > 0 for row in rows] == [False, False, True]


MISUSE = [
    ("no command", [], 2, "required"),
    ("unknown command", ["fly"], 2, "invalid choice"),
    ("no such file", ["check", "nothing.toml"], 2, "nothing.toml: cannot be read: No such file"),
    ("a folder", ["check", "."], 2, "cannot be read"),
    (
        "no such input",
        ["convert", str(DEMO), "middle fuel", "1"],
        2,
        'no input "middle fuel"; there is: sender rail, left',
    ),
    (
        "count too large",
        ["convert", str(DEMO), "left fuel", "65536"],
        2,
        "counts of the converter run from 0 to 65535",
    ),
    ("count no number", ["convert", str(DEMO), "left fuel", "lots"], 2, '"lots" is no quantity'),
    (
        "no such lamp",
        ["dim", str(DEMO), "strobe", "1"],
        2,
        'called "strobe" is dimmed; there is: glare shield',
    ),
    ("knob past its end", ["dim", str(DEMO), "glare shield", "101"], 2, "from 0 to 100 per cent"),
    ("knob no number", ["dim", str(DEMO), "glare shield", "nan"], 2, "from 0 to 100 per cent"),
    ("a reading in another unit", ["dim", str(DEMO), "switch legends", "3 psi"], 2, '"3 psi" is not in V'),
    (
        "a reading beyond its input",
        ["dim", str(DEMO), "switch legends", "99"],
        2,
        '"99" is outside 0 to 16 V',
    ),
    (
        "a setting without its reading",
        ["dim", str(DEMO), "map light", "3", "--with", "bus"],
        2,
        "write INPUT=READING",
    ),
    (
        "a setting of no input",
        ["dim", str(DEMO), "map light", "3", "--with", "tail=1 V"],
        2,
        'no input "tail"',
    ),
    ("no such light", ["lamps", str(DEMO), "strobe"], 2, 'no light or line "strobe"'),
    (
        "nowhere to write",
        ["build", str(DEMO), "-o", "/nowhere/x.glt"],
        2,
        "/nowhere/x.glt: cannot be written",
    ),
    ("over the box file", ["build", str(DEMO), "-o", str(DEMO)], 2, "is the box file itself"),
    *(
        (f"a {words[0]} of no name", [*words, "-o", ""], 2, "-o: is given no name")
        for words in (
            ["build", str(DEMO)],
            ["face", str(DEMO)],
            ["dial", str(DEMO), "left fuel"],
            ["template", str(DEMO)],
            ["record", str(DEMO)],
        )
    ),
    *(
        (f"{command} of no name", [command, ""], 2, "the file is given no name")
        for command in ("new", "check", "build", "bench")
    ),
    ("new with a name too long", ["new", "x" * 300], 2, "cannot be written: File name too long"),
    ("no such picture", ["bench", "--plot", "x.xyz"], 2, "x.xyz: no picture can be written there"),
    ("picture nowhere", ["bench", "--plot", "/nowhere/x.png"], 2, "/nowhere/x.png: no picture"),
    ("virtual box of nothing", ["virtual", "nothing.toml"], 2, "nothing.toml: cannot be read"),
    (
        "signal in another unit",
        ["convert", str(DEMO), "left fuel", "12 mA"],
        2,
        '"12 mA" is not in ohm; usable here: ohm',
    ),
    ("new nowhere", ["new", "/nowhere/x.toml"], 2, "cannot be written"),
    ("no such port", ["read", "--port", "/dev/nothing"], 2, "/dev/nothing: cannot be opened"),
    (
        "an option twice",
        ["bench", "--plot", "a.png", "--plot", "b.png"],
        2,
        "--plot stands twice, 'a.png' and 'b.png'",
    ),
    (
        "an option of two words twice",
        ["choose", "--range", "0", "18", "--range", "0", "9"],
        2,
        "--range stands twice",
    ),
    (
        "an input set twice on the face",
        ["face", str(DEMO), "--set", "left fuel=open", "--set", "left fuel=3 US gal"],
        2,
        '"left fuel=3 US gal": left fuel is set twice',
    ),
    (
        "a fault misspelt",
        ["face", str(DEMO), "--set", "left fuel=opne"],
        2,
        'left fuel has no fault "opne"; it has: short, under, over, open, rail, converter',
    ),
    ("install without port", ["install", "--port", "/dev/nothing"], 2, "/dev/nothing: cannot be opened"),
]


@pytest.mark.parametrize(("words", "code", "text"), [m[1:] for m in MISUSE], ids=[m[0] for m in MISUSE])
def test_misuse_is_one_clear_line(
    words: list[str], code: int, text: str, capfd: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == code
    out, err = capfd.readouterr()
    assert text in err and "Traceback" not in err and out == ""
    assert main([*words, "--json"]) == code
    out, err = capfd.readouterr()
    assert text in json.loads(out)["error"][0] and err == ""


@pytest.mark.parametrize("words", [[], ["check", "nothing.toml"], ["read", "--port", "/dev/nothing"]])
def test_misuse_of_the_command_as_a_user_types_it(words: list[str]) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)


def test_each_problem_has_file_and_line(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    path.write_text(
        DEMO.read_text().replace('unit = "US gal"', 'unit = "gal"').replace("damping", "dampening")
    )
    done = run("check", str(path))
    lines = done.stderr.splitlines()
    assert done.returncode == 1 and len(lines) == 2 + DEMO.read_text().count("damping")
    texts = path.read_text().splitlines()
    for line in lines:
        file, number, what = line.split(":", 2)
        assert file == str(path)
        key = "unit" if "gallons" in what else "dampening"
        assert texts[int(number) - 1].startswith(key)


@pytest.mark.parametrize(
    "answer, told",
    {"": "nothing was written", "n\n": "nothing was written", "stop": "stopped; nothing was written"}.items(),
)
def test_a_question_not_agreed_to_leaves_all_as_it_was(
    answer: str, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C at the question too: nothing has gone to the box then."""

    def readline() -> str:
        if answer == "stop":
            raise KeyboardInterrupt
        return answer

    there = SimpleNamespace(isatty=lambda: True, readline=readline)
    monkeypatch.setattr("sys.stdin", there)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    with pytest.raises(Wrong) as wrong:
        _agreed(False, "write it?")
    assert (wrong.value.lines, wrong.value.exit_code) == ((told,), 1)
