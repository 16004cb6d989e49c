"""Needles: a moving-coil meter shows the mean of its pulses (common practice, no source), so a duty is a place on its scale."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.alerts import CAUTION, FLAG, WARNING
from gaugebox.measure import CONVERTER, OPEN
from gaugebox.needle import DUTY, FULL, Needle
from gaugebox.store import SLOTS, slot_header
from gaugebox.table import Table
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.check_face import notes_on_face
from gaugelight.problems import WrongBoxFile
from plain import plain_text
from test_app import Rig, app_class, folder  # noqa: F401  # fixtures

NEEDLE = """
[[needle]]
name = "fuel needle"
pin = 6
follows = "left fuel"
points = [["0 US gal", "12 %"], ["4 US gal", "30 %"], ["9 US gal", "55 %"], ["14 US gal", "78 %"], ["18 US gal", "96 %"]]
park = "2 %"
slew = "50 %"

[[lamp]]
name = "needle flag"
pin = 8
level = "100 %"
shows = "flag"
"""
POINTS = [(0, 12), (4, 30), (9, 55), (14, 78), (18, 96)]


def box_with(text: str, tmp_path: Path) -> Path:
    file = tmp_path / "needle.toml"
    file.write_text(plain_text() + text)
    return file


class Pointed:
    """The needle of that box on a reading of this test's."""

    def __init__(self, tmp_path: Path) -> None:
        table = Table(build(read_box(box_with(NEEDLE, tmp_path))).image)
        (record,) = table.needles
        self.scale = 10 ** table.inputs[record.index].reading_decimals
        self.said = [CONVERTER, 0, 0, 0]
        channels: Any = [SimpleNamespace(said=self.said)] * len(table.inputs)
        self.needle = Needle(record, channels)

    def at(self, gallons: float, fault: int = 0, ticks: int = 500) -> float:
        """Per cent of the time after so many ticks."""
        self.said[0], self.said[3] = fault, round(gallons * self.scale)
        for _ in range(ticks):
            self.needle.step()
        return self.needle.duty / DUTY * 100


@pytest.fixture
def pointed(tmp_path: Path) -> Pointed:
    return Pointed(tmp_path)


PLACES = [*POINTS, (2, 21), (6.5, 42.5), (11.5, 66.5), (16, 87), (-1, 12), (30, 96)]


@pytest.mark.parametrize("gallons, percent", PLACES)
def test_through_its_points(pointed: Pointed, gallons: float, percent: float) -> None:
    """By hand; beyond its ends it stays there."""
    assert pointed.at(gallons) == pytest.approx(percent, abs=0.02)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.floats(0, 18))
def test_between_them_it_is_straight(tmp_path_factory: pytest.TempPathFactory, gallons: float) -> None:
    """Against numpy's interpolation."""
    xs, ys = zip(*POINTS)
    assert shared(tmp_path_factory).at(gallons) == pytest.approx(float(np.interp(gallons, xs, ys)), abs=0.03)


_shared: list[Pointed] = []


def shared(factory: pytest.TempPathFactory) -> Pointed:
    if not _shared:
        _shared.append(Pointed(factory.mktemp("needle")))
    return _shared[0]


def test_no_faster_than_it_may(pointed: Pointed) -> None:
    """50 % a second are 1 % a tick."""
    assert pointed.at(0) == pytest.approx(12, abs=0.02)
    way = [pointed.at(18, ticks=1) for _ in range(84)]
    assert way == pytest.approx([12 + k for k in range(1, 85)], abs=0.03)
    assert pointed.at(18, ticks=5) == pytest.approx(96, abs=0.02)


FAULTS = {"open": OPEN, "nothing said yet": CONVERTER}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_on_a_fault_it_parks_and_is_flagged(pointed: Pointed, fault: int) -> None:
    """At once on its way, below the lowest point, though the reading stands."""
    pointed.at(9)
    assert not pointed.needle.flagged
    assert pointed.at(9, fault, ticks=1) < 55 and pointed.needle.flagged
    assert pointed.at(9, fault) == pytest.approx(2, abs=0.02)
    assert pointed.at(9) == pytest.approx(55, abs=0.02) and not pointed.needle.flagged


@settings(derandomize=True, deadline=None)
@given(st.lists(st.tuples(st.integers(-(2**29), 2**29), st.sampled_from([0, OPEN])), max_size=40))
def test_whatever_it_is_told(tmp_path_factory: pytest.TempPathFactory, told: list[tuple[int, int]]) -> None:
    pointed = shared(tmp_path_factory)
    for reading, fault in told:
        pointed.said[0], pointed.said[3] = fault, reading
        before = pointed.needle.place
        pointed.needle.step()
        assert 0 <= pointed.needle.duty <= DUTY and 200 <= pointed.needle.place <= FULL
        assert abs(pointed.needle.place - before) <= 100


def test_its_pin_and_its_flag(app_class: type[Any], tmp_path: Path) -> None:  # noqa: F811
    """On the virtual chip: the pulses on its pin, and the lamp while it stands for nothing."""
    built = build(read_box(box_with(NEEDLE, tmp_path)))
    tables = tmp_path / "tables"
    tables.mkdir()
    (tables / SLOTS[0]).write_bytes(slot_header(1) + built.image)
    rig = Rig(built, app_class, str(tables))
    rig.aircraft.signals["left fuel"] = 46.0  # 9.5 US gal
    flag = [one.record.name for one in rig.app.lighting.dimmers].index("needle flag")
    rig.tick(10)
    assert rig.app.outputs[flag].duty > 0
    rig.tick(600)
    (needle,) = rig.app.needles
    assert needle.duty / DUTY * 100 == pytest.approx(55 + 0.5 * 23 / 5, abs=0.3)
    assert rig.app.outputs[flag].duty == 0 and not rig.app.alerts.lit(FLAG)
    assert rig.app.needle_outputs[0].line.duty_u16() == pytest.approx(needle.duty, abs=2)
    rig.aircraft.wires["left fuel"] = "broken"
    rig.tick(300)
    assert needle.duty / DUTY * 100 == pytest.approx(2, abs=0.02) and rig.app.outputs[flag].duty > 0
    assert not rig.app.alerts.lit(WARNING) and rig.app.alerts.lit(CAUTION)


def test_parked_and_flagged_from_the_first(tmp_path: Path) -> None:
    """Before it has been told anything it stands for nothing."""
    needle = Pointed(tmp_path).needle
    assert needle.flagged and needle.duty == 200 * DUTY // FULL


@pytest.mark.parametrize("broken", ["left fuel", "right fuel"])
def test_the_flag_is_lit_for_either_of_two(
    broken: str, app_class: type[Any], tmp_path: Path
) -> None:  # noqa: F811
    second = (
        NEEDLE[: NEEDLE.index("[[lamp]]")]
        .replace("fuel needle", "other")
        .replace("left fuel", "right fuel")
        .replace("pin = 6", "pin = 7")
    )
    built = build(read_box(box_with(NEEDLE + second, tmp_path)))
    tables = tmp_path / "tables"
    tables.mkdir()
    (tables / SLOTS[0]).write_bytes(slot_header(1) + built.image)
    rig = Rig(built, app_class, str(tables))
    rig.tick(300)
    assert not rig.app.alerts.lit(FLAG)
    rig.aircraft.wires[broken] = "broken"
    rig.tick(50)
    assert rig.app.alerts.lit(FLAG)


WRONG: dict[str, tuple[tuple[str, str], str]] = {
    "no such readout": (('follows = "left fuel"', 'follows = "left feul"'), 'there is no readout "left feul"; did you mean "left fuel"?'),
    "without points": (("points = [", "# points = ["), "points is missing"),
    "points in psi": (('["0 US gal", "12 %"]', '["0 psi", "12 %"]'), "is not in US gal"),
    "a place beyond full": (('"96 %"', '"106 %"'), '"106 %" must lie between 0 % and 100 %'),
    "parked on its scale": (('park = "2 %"', 'park = "12 %"'), "must lie below all its points"),
    "a pin that cannot": (("pin = 6", "pin = 26"), "26 cannot drive an output"),
    "a pin that a lamp has": (("pin = 6", "pin = 15"), "pin 15 is used by"),
    "another frequency on its slice": (("pin = 6", "pin = 14"), ""),
    "an unknown key": (('slew = "50 %"', 'slow = "50 %"'), 'unknown key; did you mean "slew"?'),
}  # fmt: skip


@pytest.mark.parametrize("edit, told", WRONG.values(), ids=WRONG)
def test_wrong(edit: tuple[str, str], told: str, tmp_path: Path) -> None:
    assert NEEDLE.count(edit[0]) == 1
    with pytest.raises(WrongBoxFile) as wrong:
        read_box(box_with(NEEDLE.replace(*edit), tmp_path))
    assert any(told in line for line in wrong.value.lines), wrong.value.lines


def test_a_needle_without_a_flag_is_noted(tmp_path: Path) -> None:
    without = NEEDLE[: NEEDLE.index("[[lamp]]")]
    told = dict(notes_on_face(read_box(box_with(without, tmp_path))))
    assert 'shows = "flag"' in told["fuel needle"]
    assert "fuel needle" not in dict(notes_on_face(read_box(box_with(NEEDLE, tmp_path))))
