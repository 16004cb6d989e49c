"""The guide over a real serial line, and against a source of signals that is made up: what is asked, taken, refused, undone, gone on with."""

import json
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from gaugelight.box_line import BoxLine
from gaugelight.boxfile import Box, Input, read_box
from gaugelight.calibration import guide as guides
from gaugelight.calibration.answers import Answers, Ended, Piped
from gaugelight.calibration.guide import FUEL_CAUTIONS, Guide, Picture, check_goes_on, circuit_mark
from gaugelight.calibration.session import Session, read_session
from gaugelight.calibration.stillness import Limits, Sample
from gaugelight.calibration.view import LinesView, drawn, large
from gaugelight.cli import DEMO, main
from gaugelight.install import install
from gaugelight.plant import Aircraft
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
damping = "12 s"   # it sloshes
"""


def ohms(gallons: float) -> float:
    """A tank of our own, which is no straight line: half full at 38 ohm."""
    return 2 + 80 * (gallons / 12) ** 1.2


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


def test_a_calibration_over_a_real_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
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
        words = ["calibrate", str(file), "left fuel", "--from", str(session_file), "--port", virtual.port]
        assert main([*words, "--save", "--flash", "--yes", "--json"]) == 0
        told = json.loads(capsys.readouterr().out)
        assert told["saved"] and told["flashed"]["crc32"] and told["hysteresis"] is not None
        assert 'damping = "12 s"   # it sloshes' in file.read_text()
        for gallons in (3.0, 6.0):
            holds(gallons)()
            virtual.fast_forward(120_000)
            with BoxLine(virtual.port) as line:
                reading = line.values(line.describe(line.hello().inputs))[1].reading
            assert reading is not None and float(reading) == pytest.approx(gallons, abs=0.25)


