"""`gaugelight calibrate BOX lamp, knob or needle` on a virtual box: what is driven meanwhile, what is saved, and what when it goes wrong."""

import json
import math
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest

from gaugelight.bench import prepared
from gaugelight.boxfile import box_of_text, read_box
from gaugelight.build import build
from gaugelight.calibration import hand as hands, needle_set, trial as trials
from gaugelight.calibration.answers import Answers
from gaugelight.calibration.hand import Hand
from gaugelight.calibration.needle_marks import Mark
from gaugelight.calibration.outputs import calibrate_output, named
from gaugelight.cli import main
from gaugelight.plant import Aircraft
from gaugelight.problems import Wrong
from gaugelight.virtual import VirtualBox

pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")

BOX = """# of an amphibian of our own
[box]
name = "lights"
board = "rp2040"

[[input]]
name = "bus"
pin = 26
circuit = { kind = "divider", top = "47 kohm", bottom = "10 kohm" }
unit = "V"
range = [8, 16]
step = 0.1

[[lamp]]
name = "glare shield"
pin = 15
knob = 27
curve = "lightness"                 # or { gamma = 2.2 }
off_below = "2 %"                   # of the knob's travel
on_above = "4 %"
fade = "0 s"

[[lamp]]
name = "map light"
pin = 16
follows = "glare shield"

[[lamp]]
name = "legends"
pin = 18
level = "60 %"

[[needle]]
name = "bus needle"
pin = 6
follows = "bus"
points = [["8 V", "12 %"], ["16 V", "96 %"]]  # by the maker
park = "2 %"
"""
MAP_LIGHT, LEGENDS, NEEDLE = 16, 18, 6  # pins


class Bench:
    """A virtual box that runs that file."""

    def __init__(self, text: str, aircraft: Aircraft, virtual: VirtualBox) -> None:
        self.text, self.aircraft, self.virtual = text, aircraft, virtual

    def duty(self, pin: int) -> int:
        return self.virtual.latest.pwm[pin][1]


@pytest.fixture(scope="module")
def bench_made() -> Iterator[Bench]:
    text = BOX
    with prepared(build(box_of_text("box.toml", text)), lambda what: None) as (aircraft, virtual):
        yield Bench(text, aircraft, virtual)


@pytest.fixture
def bench(bench_made: Bench) -> Bench:
    bench_made.aircraft.knobs[27] = 0.0
    bench_made.virtual.fast_forward(1500 if bench_made.aircraft.broken else 100)
    bench_made.aircraft.broken.clear()
    bench_made.virtual.fast_forward(100)
    return bench_made


class Simulated(Hand):
    """Answers what `answers` says to a question; time passes in the box."""

    def __init__(self, bench: Bench, answers: Callable[[str], str]) -> None:
        super().__init__(Answers())
        self.bench, self.says = bench, answers
        self.asked: list[str] = []
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def ask(
        self,
        question: str,
        meanwhile: Callable[[], None] = hands.nothing,
        keys: str = "",
        fresh: bool = False,
    ) -> str:
        self.asked.append(question)
        self.bench.virtual.fast_forward(60)
        meanwhile()
        return self.says(question)

    def wait(self, seconds: float, meanwhile: Callable[[], None] = hands.nothing) -> None:
        meanwhile()
        self.bench.virtual.fast_forward(60)
        if seconds >= 1:  # meanwhile something has been seen to
            self.says("")


class Still:
    """In place of a box whose time passes."""

    def fast_forward(self, ms: int) -> None:
        pass


@pytest.fixture
def file(bench: Bench, tmp_path: Path) -> Path:
    path = tmp_path / "box.toml"
    path.write_text(bench.text)
    return path


def calibrated(bench: Bench, file: Path, name: str, hand: Hand) -> tuple[dict[str, Any], list[str]]:
    box = read_box(file)
    one = named(box, name)
    assert one is not None
    said: list[str] = []
    return calibrate_output(box, one, bench.virtual.port, hand, said.append), said


def changed(bench: Bench, file: Path) -> dict[str, str]:
    """Lines of the file that were others before."""
    pairs = zip(bench.text.splitlines(), file.read_text().splitlines())
    return {before: after for before, after in pairs if before != after}


def test_a_knob_on_the_box(bench: Bench, file: Path) -> None:
    """Turned by our own model of a hand, its click at 4 to 9 per cent of the track."""
    places = {"lower stop": 0.0, "upper stop": 100.0, "clicked on": 9.0, "clicked off": 4.0}

    def hand(question: str) -> str:
        for words, place in places.items():
            if words in question:
                bench.aircraft.knobs[27] = place
        bench.virtual.fast_forward(60)
        return "y" if "[y/N]" in question else ""

    said, shown = calibrated(bench, file, "knob", Simulated(bench, hand))
    assert changed(bench, file) == {
        "knob = 27": 'knob = { pin = 27, stops = ["15.3 %", "84.2 %"] }',
        'off_below = "2 %"                   # of the knob\'s travel': f'off_below = "{said["click"]["off_below"]:g} %"                 # of the knob\'s travel',
        'on_above = "4 %"': f'on_above = "{said["click"]["on_above"]:g} %"',
    }  # fmt: skip
    assert said["saved"] and said["lamps"] == ["glare shield"] and said["breaks"] == 0
    assert 1.5 < said["click"]["off_below"] < 3.5 and 6.5 < said["click"]["on_above"] < 9
    assert '+knob = { pin = 27, stops = ["15.3 %", "84.2 %"] }' in shown


KNOBS: dict[str, tuple[dict[str, Any], str]] = {
    "its wiper is broken": ({"broken": "wiper broken"}, "knob on GP27: open: its wiper or its upper end is broken"),
    "it is not turned": ({"up": 0.0}, "it has hardly moved: 15.2 % of 3.3 V"),
    "its outer wires are swapped": ({"down": 100.0, "up": 0.0}, "its outer wires are swapped"),
}  # fmt: skip


@pytest.mark.parametrize("world, told", KNOBS.values(), ids=KNOBS)
def test_a_knob_that_is_not_right(bench: Bench, file: Path, world: dict[str, Any], told: str) -> None:
    """Told after the first turn, in words; nothing is saved."""
    if "broken" in world:
        bench.aircraft.broken[27] = world["broken"]

    def turn(question: str) -> str:
        bench.aircraft.knobs[27] = world.get("down", 0.0) if "lower" in question else world.get("up", 100.0)
        bench.virtual.fast_forward(60)
        return ""

    hand = Simulated(bench, turn)
    with pytest.raises(Wrong, match="nothing was saved") as wrong:
        calibrated(bench, file, "knob", hand)
    assert told in str(wrong.value) and len(hand.asked) <= 2
    assert file.read_text() == bench.text


def test_a_lamps_floor_on_the_box(bench: Bench, file: Path) -> None:
    """An eye of our own model looks at the pin's duty. All other lamps of the box are dark meanwhile, and come back within 6 s."""
    random, threshold, seen = Random(5), 0.004, set()
    shown: list[int] = []
    legends = bench.duty(LEGENDS)
    assert legends > 1000  # 60 % of the knob's travel

    def eye(question: str) -> str:
        if "glow" not in question:
            return "y" if "save" in question else ""
        seen.add(bench.duty(LEGENDS))
        shown.append(bench.duty(MAP_LIGHT))
        share = bench.duty(MAP_LIGHT) / 65535
        return "y" if share and random.gauss(0, 0.1) < math.log10(share / threshold) else "n"

    hand = Simulated(bench, eye)
    said, _ = calibrated(bench, file, "map light", hand)
    low, high = said["threshold_percent_95"]
    assert low < threshold * 100 < high and low < said["floor_percent"] < high
    assert said["floor_percent"] >= said["dimmest_honest_percent"] and said["dark_looks"] >= 2
    new = read_box(file).lights.lamp("map light")
    assert new is not None and float(new.floor) == pytest.approx(said["floor_percent"], rel=0.01)
    assert len(file.read_text().splitlines()) == len(bench.text.splitlines()) + 1  # it had none before
    assert any("GLARE" in line for line in hand.told) and any("20 to 30" in line for line in said["says"])
    assert shown.count(0) == said["dark_looks"] and len(shown) == said["looks"] + said["dark_looks"]
    assert seen == {0} and bench.duty(LEGENDS) == 0
    bench.virtual.fast_forward(6000)
    assert bench.duty(LEGENDS) == legends


def test_a_needle_on_the_box(bench: Bench, file: Path) -> None:
    """A meter of our own model that sticks by 2.8 per cent of the time, its scale bent; whoever sets it nudges until it stands on the mark."""
    random, stands = Random(2), 0.0

    def true_place(reading: float) -> float:
        return 10 + 8 * (reading - 8) + 0.3 * (reading - 8) ** 2

    def meter(question: str) -> str:
        nonlocal stands
        driven = bench.duty(NEEDLE) / 655.35
        stands = max(driven - 1.4, min(driven + 1.4, stands))
        if not question or "save" in question:
            return "y"
        mark = float(question.split(", ")[1].split()[0])
        off = true_place(mark) - stands + random.gauss(0, 0.03)
        short = off if "below" in question else -off  # of the mark, on the way there
        if not -0.15 < short < 0.05:
            keys = (">", "+") if off > 0 else ("<", "-")
            return keys[0] * int(abs(off)) + keys[1] * max(1, round(abs(off) % 1 * 10))
        return ""

    said, shown = calibrated(bench, file, "bus needle", Simulated(bench, meter))
    assert [point["reading"] for point in said["points"]] == [8, 10, 12, 14, 16]
    for point in said["points"]:
        assert point["percent"] == pytest.approx(true_place(point["reading"]), abs=0.15)
        slope = 8 + 0.6 * (point["reading"] - 8)
        assert point["stick"] * slope == pytest.approx(2.8, abs=0.4)
        assert 1.3 < point["plus_minus"] * slope < 1.9
        assert point["plus_minus_tapped"] < point["plus_minus"] / 4
    assert any("tap the meter" in line for line in shown)
    (needle,) = read_box(file).face.needles
    assert [float(place) for _, place in needle.points] == [point["percent"] for point in said["points"]]
    assert "]  # by the maker\n" in file.read_text()
    bench.virtual.fast_forward(7000)
    assert bench.duty(NEEDLE) / 655.35 > 12  # it shows the bus again


def test_a_number_for_a_nudge(bench: Bench, file: Path) -> None:
    """Whoever types what it shows is brought to the mark; what is nonsense is asked again."""
    at: list[float] = []

    def meter(question: str) -> str:
        driven = bench.duty(NEEDLE) / 655.35
        at.append(driven)
        if len(at) < 3 or not question:
            return ""
        if "8 V" not in question or len(at) > 5:
            raise KeyboardInterrupt
        return ["three", "= 8.3", "7.9"][len(at) - 3]

    hand = Simulated(bench, lambda question: meter(question) if question else "")
    at += [0.0, 0.0]
    with pytest.raises(
        Wrong, match="stopped; nothing was saved; what was held goes back by itself within 5 s"
    ):
        calibrated(bench, file, "bus needle", hand)
    assert '"three": write + or -' in hand.told[-1]
    slope = 84 / 8
    assert at[4] == pytest.approx(at[2] - 0.3 * slope, abs=0.1)
    assert at[5] == pytest.approx(at[4] + 0.1 * slope, abs=0.1)


def test_at_the_word_no(bench: Bench, file: Path) -> None:
    def hand(question: str) -> str:
        if "stop" in question:
            bench.aircraft.knobs[27] = 100.0 if "upper" in question else 0.0
        bench.virtual.fast_forward(60)
        return "n"

    said, shown = calibrated(bench, file, "knob on GP27", Simulated(bench, hand))
    assert not said["saved"] and said["click"] is None and shown[-1].endswith("not saved")
    assert file.read_text() == bench.text


def test_not_with_the_jumper_open(bench: Bench, file: Path) -> None:
    bench.aircraft.jumper_closed = False
    bench.virtual.fast_forward(500)
    with pytest.raises(Wrong, match="service jumper open"):
        calibrated(bench, file, "knob", Simulated(bench, lambda question: "y"))
    bench.virtual.power_cycle()
    bench.aircraft.jumper_closed = True
    bench.virtual.power_cycle()
    bench.virtual.fast_forward(1500)


def test_what_is_held_is_held_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once a second anew, all of it: the box lets go after five."""
    now = [100.0]
    sent: list[tuple[str, int, int]] = []

    class Line:
        def hold_lamp(self, number: int, duty: int) -> None:
            sent.append(("lamp", number, duty))

        def hold_needle(self, number: int, duty: int) -> None:
            sent.append(("needle", number, duty))

    monkeypatch.setattr(trials, "time", SimpleNamespace(monotonic=lambda: now[0]))
    trial = trials.Trial(Line(), None, None)  # type: ignore[arg-type]
    trial.go_on()
    assert not sent
    for held in (("lamp", 1, 100), ("needle", 0, 200), ("lamp", 1, 300)):
        trial.hold(*held)
    trial.go_on()
    sent.clear()
    for _ in range(50):
        now[0] += 0.1
        trial.go_on()
    assert sent.count(("lamp", 1, 300)) == sent.count(("needle", 0, 200)) == 4 and len(sent) == 8


def test_marks_close_together() -> None:
    """From one to the next it never turns back."""
    went: list[int] = []
    marks = [Mark(Fraction(reading)) for reading in range(5)]
    points = tuple((mark.reading, 20 + mark.reading) for mark in marks)
    trial = SimpleNamespace(
        hold=lambda kind, number, duty: went.append(duty),
        ask=lambda question, keys: "",
        wait=lambda seconds: None,
    )
    setting = needle_set._Setting(trial, SimpleNamespace(points=points), 0, marks, "V")  # type: ignore[arg-type]
    for way in (1, -1):
        setting.come_from(way)
        for mark in setting.in_order(way):
            setting.to_mark(mark, way, "")
    assert went[:6] == sorted(went[:6]) and went[6:] == sorted(went[6:], reverse=True) and len(went) == 12


def test_a_key_pressed_too_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a keyboard: an answer to what has not been shown yet is none, and a key needs no return; a line does."""
    master, slave = os.openpty()
    with os.fdopen(slave, "r") as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        with hands.somebody() as hand:
            os.write(master, b"yyy")
            typed = [b"n"]

            def later() -> None:
                os.write(master, typed.pop()) if typed else None

            assert hand.ask("does it glow?", later, "yn", fresh=True) == "n"
            os.write(master, b"y")
            assert hand.ask("save it?", keys="yn") == "y"
            os.write(master, b"4x\x7f.2\n")
            assert hand.ask("what does it show?", keys="+-") == "4.2"
            os.write(master, b"\x04")
            with pytest.raises(hands.Gone):
                hand.ask("and now?")
    os.close(master)


OTHER: dict[str, tuple[tuple[str, str], str, str]] = {
    "a lamp that the box does not know": (('name = "map light"', 'name = "chart light"'), "chart light", "runs a table without it"),
    "a lamp on another pin": (("pin = 16\n", "pin = 17\n"), "map light", "on another pin or frequency"),
    "a needle on another pin": (("pin = 6\n", "pin = 7\n"), "bus needle", "on another pin or frequency"),
    "a knob on another pin": (("knob = 27", "knob = 28"), "knob", "runs a table without it"),
}  # fmt: skip


@pytest.mark.parametrize("edit, name, told", OTHER.values(), ids=OTHER)
def test_not_what_the_box_runs(bench: Bench, file: Path, edit: tuple[str, str], name: str, told: str) -> None:
    file.write_text(bench.text.replace(*edit))
    with pytest.raises(Wrong, match=told) as wrong:
        calibrated(bench, file, name, Simulated(bench, lambda question: ""))
    assert "`gaugelight flash" in str(wrong.value)


def test_the_command_by_typed_lines(bench: Bench, file: Path) -> None:
    """One object on stdout, questions and what to mind on stderr."""
    words = [
        sys.executable,
        "-m",
        "gaugelight.cli",
        "calibrate",
        str(file),
        "knob",
        "--port",
        bench.virtual.port,
        "--json",
    ]
    with subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as run:
        assert run.stdin is not None and run.stderr is not None
        heard = ""
        for place in (0, 100, 0, 100, 0, 100):
            while heard.count("press return") <= heard.count("\x00"):
                heard += run.stderr.read(1)
            heard += "\x00"
            bench.aircraft.knobs[27] = place
            bench.virtual.fast_forward(100)
            run.stdin.write("\n")
            run.stdin.flush()
        out, _ = run.communicate("n\ny\nn\n", timeout=30)
    said = json.loads(out)
    assert run.returncode == 0 and said["saved"] and not said["flashed"]
    assert said["stops_percent"] == [15.3, 84.2] and "3 times from stop to stop" in heard
    assert 'stops = ["15.3 %", "84.2 %"]' in file.read_text()


def test_lines_that_end_too_early(
    bench: Bench, file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open(os.devnull) as nobody:
        monkeypatch.setattr(sys, "stdin", nobody)
        assert main(["calibrate", str(file), "knob", "--port", bench.virtual.port, "--json"]) == 1
    said = json.loads(capsys.readouterr().out)
    assert said["error"] == ["the answers ended before all was asked; nothing was saved"]


@pytest.mark.parametrize(
    "option", [["--parked"], ["--new"], ["--session", "x.toml"], ["--dipstick", "x.svg"]]
)
def test_options_of_inputs(
    bench: Bench, file: Path, option: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calibrate", str(file), "knob", "--port", bench.virtual.port, *option]) == 2
    assert f"{option[0]} is for an input" in capsys.readouterr().err


def test_unplugged_in_the_middle(bench: Bench, file: Path) -> None:
    """Last, for the box is gone then."""

    def pull(question: str) -> str:
        bench.virtual.__exit__(None, None, None)
        return ""

    hand = Simulated(bench, pull)
    hand.bench = Bench(bench.text, bench.aircraft, Still())  # type: ignore[arg-type]
    with pytest.raises(Wrong, match="nothing was saved; what was held goes back by itself within 5 s"):
        calibrated(bench, file, "knob", hand)
    assert file.read_text() == bench.text
