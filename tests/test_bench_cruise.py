"""The bench's float that sticks: when the alert must come, and that the bench sees a box that does otherwise.

Here the box is but its own detector, turn by turn in this process; the whole box flies the cruise in test_box_on_a_port.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from gaugebox.disagree import AGREES, FEEDS, READS_HIGH, Disagree
from gaugebox.table import Table
from gaugelight import bench_cruise
from gaugelight import disagree_trial as trial
from gaugelight.bench import Row
from gaugelight.bench_cruise import SLOSH, Tanks, bottom_line, burn_of, chosen, cruise_for, cruise_scenario
from gaugelight.bench_flight import Flight
from gaugelight.box_line import SaidAlert, SaidAlerts, SaidGauge
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO
from gaugelight.face_drawn import draw, setting_of
from gaugelight.plant import Aircraft
from gaugelight.virtual.world import Outputs, Picture


@cache
def demo() -> Build:
    return build(read_box(DEMO))


LEFT = demo().box.face.gauges[0]


# when it must come

BURNS = {
    "the demo's": (LEFT.burn, LEFT.allowance),
    "one tank at a time": ((Fraction(7), Fraction(9)), LEFT.allowance),
    "hardly known": ((Fraction(2), Fraction(10)), LEFT.allowance),
    "well known": ((Fraction(4), Fraction(4)), LEFT.allowance),
    "a small allowance": (LEFT.burn, Fraction(1, 2)),
}


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", BURNS)
def test_the_alert_comes_and_goes_in_its_time(name: str, seed: int) -> None:
    """By the box's detector, every 10 s."""
    (low, high), allowance = BURNS[name]
    one = replace(LEFT, burn=(low, high), allowance=allowance)
    cruise = cruise_for(one)
    assert cruise is not None
    record = trial.record(
        float(low), float(high), allowance=round(allowance * 100), top=1 << 20, bottom=-(1 << 20)
    )
    gauge = Disagree(record)
    tanks = Tanks({"it": 1000.0}, {"it": burn_of(one)}, {"it": SLOSH * float(allowance)})
    tanks.chance = np.random.default_rng(seed)

    def flies(longest_s: float, until: int = -1) -> float:
        passed = 0.0
        while passed < longest_s and gauge.state != until:
            gauge.step(10_000, 1, 0, round(tanks.burns(10)["it"] * 100), FEEDS, 0, 0)
            passed += 10
        return passed

    flies(cruise.settles)
    assert gauge.state == AGREES
    tanks.sticks("it")
    took = flies(cruise.called[1] + 60, until=READS_HIGH)
    assert cruise.called[0] <= took <= cruise.called[1]
    tanks.stuck.clear()
    assert flies(cruise.freed + 60, until=AGREES) <= cruise.freed


def test_the_time_is_that_of_the_trial() -> None:
    """Its floats stick in rougher air, on gauges that are off: half of the alerts come within a quarter of the time said here."""
    cruise = cruise_for(LEFT)
    assert cruise is not None
    flights = [trial.stuck_in_flight(np.random.default_rng([7, i]), "both") for i in range(200)]
    found = trial.detection("float sticks in flight", "both", flights)
    assert found.minutes == pytest.approx(sum(cruise.called) / 2 / 60, rel=0.25)


def test_by_hand() -> None:
    """1.7 gal at 3.2 gal/h less 5 % is 33.6 min, and 10 min of smoothing."""
    cruise = cruise_for(LEFT)
    assert cruise is not None
    slosh = 3 * 0.05 * 1.7 / 3.04 * 60
    assert cruise.called[0] / 60 == pytest.approx(43.55 - slosh, abs=0.01)
    assert cruise.called[1] / 60 == pytest.approx(43.55 + 10 * np.log(4 / 3.04) + slosh + 1 / 3, abs=0.01)


# what no bench can show
LEFT_OUT: dict[str, Callable[[str], str]] = {
    "burn may be nothing": lambda text: text.replace('["3.2 US gal", "4.8 US gal"]', '["0 US gal", "4.8 US gal"]'),
    "nobody knows which tank feeds": lambda text: text.replace('share = "50 %" ', 'feeds = "not known"\nshare = "50 %" ').replace(
        'burn = ["3.2 US gal", "4.8 US gal"]\n', 'burn = ["3.2 US gal", "4.8 US gal"]\nfeeds = "not known"\n'
    ),
    "more than a tank until it comes": lambda text: text.replace('share = "50 %"', 'share = "50 %"\nallowance = "12 US gal"'),
    "no gauge": lambda text: text[: text.index("[[disagree]]")] + text[text.index("[[switch]]") :],
}  # fmt: skip


@pytest.mark.parametrize("name", LEFT_OUT)
def test_what_is_left_out(name: str, tmp_path: Path) -> None:
    file = tmp_path / "box.toml"
    text = LEFT_OUT[name](DEMO.read_text())
    text = text.replace(
        'burn = ["3.2 US gal", "4.8 US gal"] # both tanks feed', 'burn = ["3.2 US gal", "4.8 US gal"]'
    )
    assert text != DEMO.read_text()
    file.write_text(text)
    assert chosen(read_box(file)) is None
    assert chosen(demo().box) is not None


# the scenario, and a box that does otherwise


class DetectorBox:
    """All of a virtual box and its line that the cruise asks for. It is changed to be wrong."""

    def __init__(self) -> None:
        self.aircraft = Aircraft(demo().box)
        self.table = Table(demo().image)
        self.gauges = [Disagree(record) for record in self.table.gauges]
        self.rows: list[Row] = []
        self.stages: list[str] = []
        self.lit: Callable[[bool], bool] = lambda on: on
        self.says: Callable[[list[SaidGauge]], list[SaidGauge]] = lambda said: said
        self.words: Callable[[str], str] = lambda words: words
        self.shows: Callable[[str], str] = lambda words: words
        self.report = SimpleNamespace(rows=self.rows)
        self.built, self.described = demo(), None
        self.virtual: Any = self
        self.line: Any = self

    # as VirtualBox

    def fast_forward(self, ms: int) -> None:
        flies = self.aircraft.signals["bus"] > 13.2
        left, right = (self.reading(name) for name in ("left fuel", "right fuel"))
        for gauge, reading in zip(self.gauges, (left, right, left + right)):
            gauge.step(ms, flies, 0, reading, FEEDS, 0, 0)

    def reading(self, name: str) -> int:
        one = self.aircraft.box.input(name)
        assert one is not None
        return round(float(one.law.reading(np.array([self.aircraft.signals[name]]))[0]) * 100)

    @property
    def latest(self) -> Outputs:
        pin = next(one.pin for one in self.aircraft.box.lights.lamps if one.shows == "caution")
        return Outputs(0, {pin: (1000, 60000 * self.lit(bool(self.told())))})

    def picture(self) -> list[str]:
        return self.told()

    # as BoxLine

    def gauges_said(self) -> list[SaidGauge]:
        return self.says([SaidGauge(one.state, one.size) for one in self.gauges])

    def told(self) -> list[str]:
        size = self.gauges_said()[0].size
        return (
            [self.words(f"left fuel HIGH {size / 100:.1f}")] if self.gauges_said()[0].state > AGREES else []
        )

    def alerts(self) -> SaidAlerts:
        return SaidAlerts(0, 0, 0, 1, tuple(SaidAlert(1, False, words) for words in self.told()))

    def acknowledge(self) -> None:
        pass

    def values(self, described: object) -> list[Any]:
        return []

    # as Run

    def stage(self, text: str) -> None:
        self.stages.append(text)

    def judge(self, action: str, subject: str, should: str, said: str, held: bool) -> None:
        self.rows.append(Row(action, subject, should, said, held))

    def trace(self, *looked: object) -> None:
        pass

    def solved(self, one: object) -> Any:
        return next(solved for solved in demo().inputs if solved.input.name == getattr(one, "name"))


class Line(SimpleNamespace):
    pass


def flown(change: Callable[[DetectorBox], None], monkeypatch: pytest.MonkeyPatch) -> DetectorBox:
    box = DetectorBox()
    box.line = Line(gauges=box.gauges_said, alerts=box.alerts, acknowledge=box.acknowledge, values=box.values)

    def seen(picture: Any) -> str:
        return box.shows(picture[0]) if picture else ""

    monkeypatch.setattr(bench_cruise, "bottom_line", seen)
    change(box)
    cruise_scenario(Flight(box))  # type: ignore[arg-type]
    return box


def test_a_box_that_is_right_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    box = flown(lambda box: None, monkeypatch)
    assert [row for row in box.rows if not row.held] == []
    subjects = {row.subject for row in box.rows}
    assert subjects == {"left fuel", "right fuel", "alerts", "caution lamp", "display"}
    assert "called out" in box.stages[0] and len(box.stages) > 5
    assert box.aircraft.signals == Aircraft(demo().box).signals  # as it was before


def slow(box: DetectorBox) -> None:
    for gauge in box.gauges:
        gauge.record.allowance *= 2


def hasty(box: DetectorBox) -> None:
    for gauge in box.gauges:
        gauge.record.allowance //= 2


def lasting(box: DetectorBox) -> None:
    seen: list[SaidGauge] = []

    def says(said: list[SaidGauge]) -> list[SaidGauge]:
        seen[:] = seen or ([said[0]] if said[0].state > AGREES else [])
        return seen + said[1:] if seen else said

    box.says = says


# what is changed; who is found wrong
WRONG: dict[str, tuple[Callable[[DetectorBox], None], set[str]]] = {
    "twice the allowance": (slow, {"left fuel", "alerts", "caution lamp", "display"}),
    "half the allowance": (hasty, {"left fuel"}),
    "the alert never ends": (lasting, {"left fuel", "alerts"}),
    "both called out": (lambda box: setattr(box, "says", lambda said: [said[0], said[0], said[2]]), {"right fuel"}),
    "the other called out": (
        lambda box: setattr(box, "says", lambda said: [said[1], said[0], said[2]]),
        {"left fuel", "right fuel", "alerts", "caution lamp", "display"},
    ),
    "the wrong way": (
        lambda box: setattr(box, "words", lambda words: words.replace("HIGH", "LOW/LEAK")),
        {"alerts", "display"},
    ),
    "a size too large": (
        lambda box: setattr(box, "says", lambda said: [replace(said[0], size=said[0].size * 2), *said[1:]]),
        {"left fuel"},
    ),
    "the lamp stays dark": (lambda box: setattr(box, "lit", lambda on: False), {"caution lamp"}),
    "the lamp is always lit": (lambda box: setattr(box, "lit", lambda on: True), {"caution lamp"}),
    "another line on the display": (lambda box: setattr(box, "shows", lambda words: "1/4"), {"display"}),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_the_bench_sees_it(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    change, wrong = WRONG[name]
    box = flown(change, monkeypatch)
    assert {row.subject for row in box.rows if not row.held} == wrong


def test_a_float_that_does_not_stick_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = Tanks.burns

    def loose(self: Tanks, seconds: float) -> dict[str, float]:
        return honest(replace(self, stuck={}), seconds)

    monkeypatch.setattr(Tanks, "burns", loose)
    box = flown(lambda box: None, monkeypatch)
    assert "left fuel" in {row.subject for row in box.rows if not row.held}


def test_the_bottom_line_is_read_as_it_was_drawn() -> None:
    """From the picture that the box's own code draws."""
    pytest.importorskip("micropython_unix", reason="the face is drawn by the interpreter of the bench extra")
    drawn = draw(demo(), setting_of(demo(), ["bus=12 V"]))
    dots = tuple(tuple(dot == "#" for dot in row) for row in drawn.rows)
    assert drawn.alerts[0] == "bus LOW"
    assert bottom_line(Picture(dots, drawn.contrast, True)) == "bus LOW"
