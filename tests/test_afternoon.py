"""The whole afternoon: from a drained tank, by a can that lies, to a signed page. On a virtual box, through the commands that a builder types.

Tank, can, lag and flight are a model of our own; what it is held against is what was in the tank.
"""

import json
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest

from gaugelight.bench import prepared
from gaugelight.box_line import BoxLine
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.calibration import guide as guides
from gaugelight.calibration.answers import Answers, Ended
from gaugelight.calibration.guide import Picture
from gaugelight.cli import main
from gaugelight.plant import Aircraft
from gaugelight.virtual import VirtualBox

BOX = """# the console of an amphibian of our own
[box]
name = "hull console"
board = "rp2040"
supply = "14 V"

[converter.aft]
kind = "ads1115"
address = 0x48

[[input]]
name = "sender rail"
pin = "aft.3"
circuit = { kind = "direct", protection = "9.4 kohm" }
unit = "V"
nominal = "3.3 V"
face = false

[[input]]
name = "left fuel"
pin = "aft.0"
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "sender rail", protection = "9.4 kohm", tolerance = "0.1 %" }
unit = "US gal"
step = 0.5
points = [["0 ohm", 0], ["45 ohm", 9], ["90 ohm", 18]]   # by the book
damping = "1 s"
marks = [{ red = 0, says = "EMPTY" }, { yellow = [0, 4] }, { green = [4, 16] }]

[[lamp]]
name = "glare shield"
pin = 15
knob = 27
load = { power = "2.4 W", at = "12 V" }
wire = { gauge = 22, length = "1.5 m" }
fuse = "2 A"
"""
LIFTS, TOUCHES, HOLDS = (
    0.7,
    16.6,
    18.0,
)  # gallons: where the float lifts, where it touches the top, what the tank holds
CAN = 1.006  # what the can holds more than its mark says, every time; it is said to be within 1 %
POURS = (0.5, 0.5, 1, 2, 2, 2, 2, 2, 2, 1, 1, 0.5, 0.5)


def ohms(gallons: float) -> float:
    """A hull: narrow below, wide above; the float lies on the bottom, and under the top."""
    share = (np.clip(gallons, LIFTS, TOUCHES) - LIFTS) / (TOUCHES - LIFTS)
    return float(4 + 79 * share**0.8)


class Builder(Answers):
    """Pours before each answer, and reads the mark of the can: the aircraft gets what was in it."""

    def __init__(self, aircraft: Aircraft, *answers: str) -> None:
        super().__init__(*answers)
        self.aircraft = aircraft
        self.random = Random("afternoon")

    def line(self, seconds: float) -> str | None:
        if not self.lines:
            raise Ended
        said = self.lines.popleft()
        try:
            poured = float(said)
        except ValueError:
            return said
        self.tank += poured * CAN + self.random.gauss(0, 0.02)
        self.aircraft.signals["left fuel"] = ohms(self.tank)
        return said

    tank = 0.0


class Paper:
    """A screen that nobody looks at."""

    def draw(self, picture: Picture) -> None: ...
    def say(self, text: str) -> None: ...


def run(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict[str, Any]:
    capsys.readouterr()
    assert main([*words, "--json"]) == code, capsys.readouterr().out
    return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]


def test_from_drained_to_recorded(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")
    file = tmp_path / "hull.toml"
    file.write_text(BOX)
    with prepared(build(read_box(file)), lambda what: None) as (aircraft, virtual):
        port = ("--port", virtual.port)
        first = run(capsys, "read", *port)["crc32"]

        session = calibrated_in_two_goes(tmp_path, aircraft, virtual)
        told = run(
            capsys,
            "calibrate",
            str(file),
            "left fuel",
            "--from",
            str(session),
            *port,
            "--save",
            "--flash",
            "--yes",
        )
        assert told["saved"] and told["bottom"][0] == 0 and told["top"]
        assert file.read_text().count('through = "box"') == 1 and file.read_text().count("#") == BOX.count(
            "#"
        )
        second = run(capsys, "read", *port)["crc32"]
        assert second != first

        bands = run(capsys, "error", str(file), "left fuel", "--at", *map(str, AT))["inputs"][0]["readings"]
        for gallons, band in zip(AT, bands):
            assert band["plus_minus"] < 0.5
            said = reading_at(aircraft, virtual, gallons)
            assert abs(said - gallons) <= band["plus_minus"] + 0.001, gallons
        # the float on the bottom: nothing is promised
        assert reading_at(aircraft, virtual, 0.0) == pytest.approx(0, abs=0.1)
        assert reading_at(aircraft, virtual, 0.3) == pytest.approx(0, abs=0.1)
        # under the top: no more than it has seen
        assert reading_at(aircraft, virtual, HOLDS) <= TOUCHES + 0.3

        starter = run(capsys, "record", str(file), "--starter")
        page = tmp_path / "page.html"
        run(capsys, "record", str(file), *port, "-o", str(page))
        assert starter and second in page.read_text() and "left fuel.level.toml" in page.read_text()
        run(capsys, "record", "--check", str(page), *port)

        flown = tmp_path / "flight.csv"
        fly(aircraft, virtual)
        run(capsys, "log", str(file), *port, "-o", str(flown))
        replayed = run(capsys, "replay", str(file), str(flown), "--plot", str(tmp_path / "replay.png"))
        assert replayed
        aircraft.jumper_closed = True
        virtual.power_cycle()
        run(capsys, "revert", *port, "--yes")
        run(capsys, "record", "--check", str(page), *port, code=1)


AT = (1.0, 3.3, 7.7, 12.5, 16.0)


def calibrated_in_two_goes(folder: Path, aircraft: Aircraft, virtual: VirtualBox) -> Path:
    """Half of the pours, stopped, gone on with; down again by two drains."""
    box = read_box(folder / "hull.toml")
    session = folder / "left fuel.level.toml"
    builder = Builder(aircraft, "", "v", "1 %", "0.05", "")
    aircraft.signals["left fuel"] = ohms(0)
    half = len(POURS) // 2
    for words in ([*map(str, POURS[:half]), "q"], ["", *map(str, POURS[half:]), "-4", "-6", "f"]):
        builder.lines.extend(words)
        with BoxLine(virtual.port) as line:
            line.hello_settled()
            done, finished = guides.guide(
                box, box.inputs[1], session, False, line, builder, Paper(), window=0.6
            )
    assert finished and done is not None and len(done.points) == len(POURS) + 3
    return session


def reading_at(aircraft: Aircraft, virtual: VirtualBox, gallons: float) -> float:
    aircraft.signals["left fuel"] = ohms(gallons)
    virtual.fast_forward(6000)
    with BoxLine(virtual.port) as line:
        said = line.values(line.describe(line.hello().inputs))[1]
    assert said.reading is not None
    return float(said.reading)


def fly(aircraft: Aircraft, virtual: VirtualBox) -> None:
    """Forty seconds with the jumper pulled, fuel going down."""
    aircraft.jumper_closed = False
    virtual.power_cycle()
    for gallons in (12, 11.8, 11.6, 11.4):
        aircraft.signals["left fuel"] = ohms(gallons)
        virtual.fast_forward(10_000)
