"""The guide over a real serial line, and against a source of signals that is made up: what is asked, taken, refused, undone, gone on with."""

import contextlib
import json
import math
import os
import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TextIO, cast

import pytest

from gaugelight.box_line import BoxLine, Lost
from gaugelight.boxfile import Box, Input, read_box
from gaugelight.calibration import guide as guides, results
from gaugelight.calibration.answers import Answers, Ended, Piped, Typed
from gaugelight.calibration.guide import FUEL_CAUTIONS, Guide, Picture, check_goes_on
from gaugelight.calibration.session import Session, read_session
from gaugelight.calibration.stillness import Limits, Sample
from gaugelight.calibration.view import LinesView, drawn, large
from gaugelight.circuits import PullUp
from gaugelight.cli import DEMO, main
from gaugelight.install import install
from gaugelight.live import Keys
from gaugelight.plant import Aircraft
from gaugelight.ports import reason_of
from gaugelight.problems import Misuse, Wrong
from gaugelight.virtual import VirtualBox

TANKS = """# one tank
[box]
name = "one tank"
board = "rp2040"

[converter.aft]
kind = "ads1115"
address = 0x48

[[input]]
name = "sender rail"
pin = "aft.3"
circuit = { kind = "direct", pull_down = "1 Mohm" }
unit = "V"
nominal = "3.3 V"

[[input]]
name = "left fuel"
pin = "aft.0"
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "sender rail" }
unit = "US gal"
step = 0.5
points = [["0 ohm", 0], ["46 ohm", 9.5], ["90 ohm", 18]]
damping = "1 s"   # it sloshes
"""


def ohms(gallons: float) -> float:
    """A tank of our own, which is no straight line: half full at 38 ohm."""
    return 2 + 80 * math.pow(gallons / 12, 1.2)


class Moving(Answers):
    """What a person does before each answer."""

    def __init__(self, *steps: str | tuple[Callable[[], None], str]) -> None:
        super().__init__()
        self.steps = list(steps)

    def line(self, seconds: float) -> str | None:
        if not self.steps:
            raise Ended
        step = self.steps.pop(0)
        if isinstance(step, tuple):
            step[0]()
            return step[1]
        return step


STOPPED = {"input": "left fuel", "session": "", "finished": False}


@contextlib.contextmanager
def pipe(content: bytes) -> Iterator[TextIO]:
    reading, writing = os.pipe()
    os.write(writing, content)
    os.close(writing)
    with os.fdopen(reading) as stream:
        yield stream


def test_a_calibration_over_a_real_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Poured and drained, undone, stopped and gone on with; judged, saved, flashed; and then the box reads what is in the tank. The line is open in the
    same way as the command opens it; the window is short, its test the real one."""
    pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")
    file, session_file = tmp_path / "tank.toml", tmp_path / "left fuel.level.toml"
    file.write_text(TANKS)
    box = read_box(file)
    one = box.inputs[1]
    aircraft = Aircraft(box)
    said: list[str] = []

    def holds(gallons: float) -> Callable[[], None]:
        return lambda: aircraft.signals.update({"left fuel": ohms(gallons)})

    with VirtualBox(aircraft) as virtual:
        install(virtual.port, lambda what, done, of: None)
        assert main(["flash", str(file), "--yes", "--port", virtual.port, "--json"]) == 0

        def guided(*steps: str | tuple[Callable[[], None], str]) -> tuple[Session | None, bool]:
            with BoxLine(virtual.port) as line:
                line.hello_settled()
                return guides.guide(
                    box, one, session_file, False, line, Moving(*steps), LinesView(said.append), window=0.6
                )

        head = ("", "v", "0.2 %", "0.02")
        begun, finished = guided(*head, (holds(0), ""), (holds(3), "3"), (holds(7), "4"), "u", "q")
        assert begun is not None and (len(begun.points), finished) == (2, False)
        done, finished = guided("", (holds(6), "3"), (holds(9), "3"), (holds(12), "3"), (holds(4), "-8"), "f")
        assert done is not None and (len(done.points), finished) == (6, True)
        assert [float(point.signal.value) for point in done.points] == [
            pytest.approx(ohms(gallons), abs=0.15) for gallons in (0, 3, 6, 9, 12, 4)
        ]
        assert all(caution in " ".join(said) for caution in FUEL_CAUTIONS)
        assert any("undone: point 3" in line for line in said)

        capsys.readouterr()
        words = ["calibrate", str(file), "left fuel", "--port", virtual.port]
        with pipe(b"\nq\n") as stream:  # as a script would
            monkeypatch.setattr(sys, "stdin", stream)
            assert main([*words, "--json"]) == 0
        assert json.loads(capsys.readouterr().out) | {"session": ""} == STOPPED
        assert len(read_session(session_file).points) == 6
        assert main([*words, "--parked", "--session", str(session_file)]) == 2
        assert 'begun in attitude "level"' in capsys.readouterr().err
        words = ["calibrate", str(file), "left fuel", "--from", str(session_file), "--port", virtual.port]
        assert main([*words, "--save", "--flash", "--yes", "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert told["saved"] and told["flashed"]["crc32"] and told["hysteresis"] is not None
        assert 'damping = "1 s"   # it sloshes' in file.read_text()
        for gallons in (3.0, 6.0):
            holds(gallons)()
            virtual.fast_forward(8_000)
            with BoxLine(virtual.port) as line:
                reading = line.values(line.describe(line.hello().inputs))[1].reading
            assert reading is not None and float(reading) == pytest.approx(gallons, abs=0.25)


# -- against made-up signals, in no time


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Made:
    """A source whose signal is a function of the time since it last was moved; None: at fault, open."""

    reading = "2.0 US gal"

    def __init__(self, clock: Clock, signal: Callable[[float], float | None]) -> None:
        self.clock, self.signal = clock, signal

    def sample(self) -> Sample:
        signal = self.signal(self.clock())
        return Sample(self.clock(), signal, "" if signal is not None else "open")


class Patient(Answers):
    """live: a person who answers at times, a dict from the second to the line; before, after and otherwise the lines in order."""

    def __init__(self, clock: Clock, *lines: str, at: dict[float, str] | None = None) -> None:
        super().__init__(*lines)
        self.clock, self.at, self.live = clock, at or {}, at is not None

    def line(self, seconds: float) -> str | None:
        self.clock.now += seconds
        if self.live and not self.lines:
            due = next((when for when in self.at if when <= self.clock()), None)
            return None if due is None else self.at.pop(due)
        return super().line(seconds)

    def pause(self, seconds: float) -> None:
        self.clock.now += seconds


@pytest.fixture
def tank(tmp_path: Path) -> tuple[Box, Input, Path]:
    file = tmp_path / "tank.toml"
    file.write_text(TANKS)
    box = read_box(file)
    return box, box.inputs[1], tmp_path / "left fuel.level.toml"


VOLUME = ("", "v", "1 %", "0.05")


def guided(
    tank: tuple[Box, Input, Path],
    signal: Callable[[float], float | None],
    *lines: str,
    at: dict[float, str] | None = None,
    said: list[str] | None = None,
    attitude: str = "level",
) -> tuple[Session | None, bool]:
    box, one, path = tank
    clock = Clock()
    said = [] if said is None else said
    view = LinesView(said.append, clock)
    answers = Patient(clock, *lines, at=at)
    made = Made(clock, signal)
    limits = Limits(0.25, 0.25, patience=40.0)
    day = datetime(2026, 11, 26, 10, 2, 11)
    return Guide(box, one, path, attitude, made, answers, view, limits, 0.25, clock, lambda: day).run()


def noisy(seconds: float) -> float:
    return 20 + random.Random(round(seconds * 100)).gauss(0, 0.05)


def sloshing(seconds: float) -> float:
    return 20 + 3 * math.sin(seconds)


def test_a_still_signal_is_taken(tank: tuple[Box, Input, Path]) -> None:
    said: list[str] = []
    session, finished = guided(tank, noisy, *VOLUME, "", "2", "-1 US gal", "4 dip 102", "f", said=said)
    assert session is not None and finished
    assert [str(point.added) for point in session.points] == ["0 US gal", "2 US gal", "-1 US gal", "4 US gal"]
    for point in session.points:
        assert float(point.signal.value) == pytest.approx(20, abs=0.03)
        assert point.spread is not None and 0.03 < float(point.spread.value) < 0.08
        assert point.at == datetime(2026, 11, 26, 10, 2, 11) and point.note == ""
    assert str(session.points[3].dip) == "102 mm"
    assert session.box == "one tank" and session.circuit == results.circuit_mark(tank[0], tank[1])
    assert sum(line.startswith("still in 1") for line in said) == 8  # 15 and 10, for each
    assert any("a tenth of a displayed step" in line for line in said)


def test_it_waits_for_the_whole_window(tank: tuple[Box, Input, Path]) -> None:
    """Moving for a while, then still: the point is that of the end, fifteen seconds later."""
    session, _ = guided(tank, lambda t: 10 + min(t, 20.0), *VOLUME, "", "f")
    assert session is not None
    assert float(session.points[0].signal.value) == pytest.approx(30, abs=0.05)


NOT_TAKEN: dict[str, tuple[Callable[[float], float | None], str]] = {
    "sloshes on": (sloshing, "it swings"),
    "drifts on": (lambda t: 20 + t / 10, "it drifts up"),
    "falls on": (lambda t: 90 - t / 10, "it drifts down"),
    "wire open": (lambda t: None, "open"),
    "breaks now and then": (lambda t: None if t % 10 < 0.5 else 20.0, ""),
}


@pytest.mark.parametrize("case", NOT_TAKEN)
def test_nobody_waits_for_ever(tank: tuple[Box, Input, Path], case: str) -> None:
    """Without a terminal: after a while (three minutes; here less) it ends, says what moves, and what was taken before is whole."""
    signal, why = NOT_TAKEN[case]
    guided(tank, lambda t: 5.0, *VOLUME, "", "q")
    with pytest.raises(Wrong) as wrong:
        guided(tank, signal, "", "2")
    assert why in wrong.value.lines[0] and "safe" in wrong.value.lines[0]
    assert len(read_session(tank[2]).points) == 1


def test_it_can_be_taken_with_its_larger_spread(tank: tuple[Box, Input, Path]) -> None:
    said: list[str] = []
    session, finished = guided(tank, sloshing, *VOLUME, "", "t", "f", said=said)
    assert session is not None and finished
    (point,) = session.points
    assert point.spread is not None and float(point.spread.value) == pytest.approx(3 / math.sqrt(2), rel=0.2)
    assert point.note == "taken while it moved: it swings"
    assert any("t takes it" in line for line in said)


def test_no_fault_can_be_taken(tank: tuple[Box, Input, Path]) -> None:
    with pytest.raises(Wrong, match="open"):
        guided(tank, lambda t: None, *VOLUME, "", "t")
    assert read_session(tank[2]).points == ()


LIVE: dict[str, tuple[dict[float, str], int]] = {
    "u leaves the amount out": ({5: "u", 6: "q"}, 0),
    "q stops while it is waited": ({5: "q"}, 0),
    "t takes it before its time": ({5: "t", 6: "q"}, 1),
    "t takes nothing at once": ({0.3: "t", 5: "u", 6: "q"}, 0),
}


@pytest.mark.parametrize("case", LIVE)
def test_a_person_at_the_keys(tank: tuple[Box, Input, Path], case: str) -> None:
    at, points = LIVE[case]
    session, finished = guided(tank, sloshing, *VOLUME, "", at=dict(at))
    assert session is not None and (len(session.points), finished) == (points, False)


def test_a_person_cannot_take_a_fault(tank: tuple[Box, Input, Path]) -> None:
    said: list[str] = []
    session, _ = guided(tank, lambda t: 20.0 if t < 4 else None, *VOLUME, "", at={6: "t", 8: "q"}, said=said)
    assert session is not None and session.points == ()
    assert "nothing to take: open" in said and any(line.startswith("FAULT: open") for line in said)


def test_what_is_said_too_early_is_not_lost_in_silence(tank: tuple[Box, Input, Path]) -> None:
    """An amount, while the point before it is still waited for."""
    said: list[str] = []
    guided(tank, sloshing, *VOLUME, "", at={4: "3", 8: "q"}, said=said)
    assert any(line.startswith('"3" was not taken down: this point comes first') for line in said)


REFUSED_WORDS = {
    "a comma": ("2,5", "decimal point"),
    "no number": ("two", "a number is wanted"),
    "another kind": ("2 psi", "usable here"),
    "more than the tank": ("50", "more than the whole tank"),
    "a weight where pours are by volume": ("10 lb", "by volume"),
    "nothing": ("", "a number is wanted"),
    "more drained than is there": ("-1", "1 US gal drained, and only 0 were there"),
}


@pytest.mark.parametrize("case", REFUSED_WORDS)
def test_what_is_typed_wrongly_is_asked_again(tank: tuple[Box, Input, Path], case: str) -> None:
    answer, why = REFUSED_WORDS[case]
    said: list[str] = []
    session, _ = guided(tank, noisy, *VOLUME, "", answer, "3", "f", said=said)
    assert session is not None and [str(point.added) for point in session.points] == ["0 US gal", "3 US gal"]
    assert any(why in line for line in said)


def test_answers_that_end_early_leave_a_whole_session(tank: tuple[Box, Input, Path]) -> None:
    assert guided(tank, noisy, "", "v") == (None, False) and not tank[2].exists()
    session, finished = guided(tank, noisy, *VOLUME, "", "2")
    assert session is not None and (len(session.points), finished) == (2, False)


def test_undo_to_the_beginning(tank: tuple[Box, Input, Path]) -> None:
    said: list[str] = []
    session, _ = guided(tank, noisy, *VOLUME, "", "u", "u", "f", said=said)
    assert session is not None and session.points == ()
    assert any("nothing to undo" in line for line in said)


def test_pours_by_weight(tank: tuple[Box, Input, Path]) -> None:
    lines = ("", "w", "avgas 100LL", "0.5 %", "0.1", "", "10.4", "22", "6 lb", "f")
    session, _ = guided(tank, noisy, *lines)
    assert session is not None and session.fuel == "avgas 100LL"
    weighed = [(str(point.weighed), str(point.temperature)) for point in session.points[1:]]
    assert weighed == [("10.4 lb", "22 degC"), ("6 lb", "22 degC")]


def test_a_measured_density_needs_no_temperature(tank: tuple[Box, Input, Path]) -> None:
    """Nothing stands in the session that nobody measured, and it goes on where it was left."""
    session, _ = guided(tank, noisy, "", "w", "0.72 kg/l", "0.5 %", "0.1", "", "10.4", "6 lb", "f")
    assert session is not None and session.density is not None
    assert [str(point.weighed) for point in session.points[1:]] == ["10.4 lb", "6 lb"]
    assert "temperature" not in tank[2].read_text() and read_session(tank[2]) == session


def test_against_a_reference(tmp_path: Path) -> None:
    box = read_box(DEMO)
    one = box.input("hydraulic")
    assert one is not None
    path = tmp_path / "hydraulic.reference.toml"
    lines = ("", "test gauge 7", "1 %", "", "5", "0", "300", "300 kPa", "f")
    said: list[str] = []
    session, _ = guided((box, one, path), lambda t: 7.2, *lines, said=said)
    assert session is not None and session.reference is not None
    assert (session.reference.name, str(session.reference.each)) == ("test gauge 7", "5 psi")
    assert [str(point.true) for point in session.points] == ["0 psi", "300 psi", "300 kPa"]
    assert any("goes through skin" in line for line in said)


def test_what_a_session_goes_on_with(tank: tuple[Box, Input, Path]) -> None:
    box, one, _ = tank
    session, _ = guided(tank, noisy, *VOLUME, "", "q")
    assert session is not None
    check_goes_on(session, box, one, "level")
    assert isinstance(one.circuit, PullUp)
    thicker = replace(one, circuit=replace(one.circuit, resistor=220.0))
    rows: dict[str, tuple[Session, Box, Input, str]] = {
        "is of": (replace(session, input="right fuel"), box, one, "level"),
        "add --parked": (replace(session, attitude="parked"), box, one, "level"),
        "leave --parked out": (session, box, one, "parked"),
        "on box": (session, replace(box, name="another"), one, "level"),
        "another circuit": (session, replace(box, inputs=(box.inputs[0], thicker)), thicker, "level"),
        "meter": (replace(session, signals="meter"), box, one, "level"),
        "kind": (replace(session, kind="reference"), box, one, "level"),
    }
    for why, row in rows.items():
        with pytest.raises(Misuse, match=why):
            check_goes_on(*row)


# -- the screen


def test_large_figures() -> None:
    lines = large("1.5")
    assert len(lines) == 8 and max(map(len, lines)) <= 3 * 12
    assert "\u2588" in "".join(lines) and set("".join(large("12-", True))) <= set("#'. ")
    assert large("") == [""] * 8


@pytest.mark.parametrize(("height", "rows"), [(24, 8), (16, 1)])
def test_the_number_stands_large_where_there_is_room(height: int, rows: int) -> None:
    picture = Picture("left fuel", "12", "s", ["signal 20 ohm"], "still in 12 s", "u undo", "2")
    made = drawn(picture, height).renderables
    assert len(made) == rows + 11


def test_piped_answers_keep_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    with pipe(b"2\r\n -1 \nlast") as stream:
        monkeypatch.setattr(sys, "stdin", stream)
        answers = Piped()
        assert [answers.line(1.0) for _ in range(3)] == ["2", "-1", "last"]
        with pytest.raises(Ended):
            answers.line(1.0)


class Keyboard:
    """Keys as they are typed, all within a moment."""

    def __init__(self, typed: str) -> None:
        self.typed = list(typed)

    def until(self, due: float) -> Iterator[str]:
        while self.typed:
            yield self.typed.pop(0)


BY_KEY: dict[str, tuple[str, list[str]]] = {
    "a key": ("yn", ["y", "n"]),
    "a key and, out of habit, return": ("y\rn\r", ["y", "n"]),
    "a wrong key first, unseen in the dark": ("xyn", ["y", "n"]),
    "return alone": ("\r", [""]),
    "a word": ("yes\r", ["y"]),
}


@pytest.mark.parametrize("case", BY_KEY)
def test_keys_that_are_answers_by_themselves(case: str) -> None:
    """What is typed with them does not answer the question after."""
    typed, lines = BY_KEY[case]
    answers = Typed(cast(Keys, Keyboard(typed)))
    answers.at_once = "yn"
    found = [answers.line(0.0) for _ in range(len(lines) + 1)]
    assert found == [*lines, None] and answers.typed == ""


def test_a_box_unplugged_in_the_middle(
    tank: tuple[Box, Input, Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def unplugged(port: str) -> None:
        raise Lost(f"{port}: the connection was lost")

    monkeypatch.setattr("gaugelight.box_line.BoxLine", unplugged)
    assert main(["calibrate", tank[0].file, "left fuel", "--port", "p"]) == 1
    assert f"lost; every point that was taken is safe in {tank[2]}; the same" in capsys.readouterr().err


def test_a_reason_in_words() -> None:
    """As pyserial wraps it."""
    assert reason_of(OSError("write failed: [Errno 5] Input/output error")) == "Input/output error"
