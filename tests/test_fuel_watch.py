"""The box file's [reserve] and [[disagree]]: what of them reaches the box, and what the pilot is told.

How well the two judge is shown by reserve_trial.py and disagree_trial.py, and held in test_reserve.py and test_disagree.py.
"""

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from gaugebox import alert_records, disagree, reserve
from gaugebox.alerts import CAUTION, WARNING
from gaugebox.books import NOT_KNOWN
from gaugebox.measure import OPEN
from gaugebox.table import Table
from gaugebox.watches import FULL, TOLD, UNWATCHED, Gauge, Reserve
from gaugelight.atmosphere import pressure_hpa
from gaugelight.boxfile import read_box
from gaugelight.box_line import SaidGauge, SaidReserve
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.fuel_watch import gauges_told, reserve_books
from gaugelight.problems import WrongBoxFile

TEXT = DEMO.read_text()


def edited(tmp_path: Path, *edits: tuple[str, str]) -> Path:
    text = TEXT
    for old, new in edits:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    file = tmp_path / "hull.toml"
    file.write_text(text)
    return file


def table(file: Path = DEMO) -> Table:
    return Table(build(read_box(file)).image)


def test_the_reserves_numbers() -> None:
    """By hand, from the demo's file: thousandths of a psi (steps of 0.2 make three decimals), hundredths of a US gal (steps of 0.5)."""
    told: Any = table().reserve
    assert told is not None
    said = {name: getattr(told, name) for name, _, _ in alert_records.RESERVE_NUMBERS}
    assert said == {
        "low": 2000, "high": 7500, "dead_head": 6000,
        "base_least": -450, "base_most": 450,  # 3 % of 15 psi
        "bottom": -188,  # 3.8 mA: 0.2 mA of 16 below 0
        "drift": 0, "build": 80, "rate": 2500, "rate_band": 40, "burn": 800, "burn_band": 13,
        "mains_full": 3600, "mains_band": 5, "mains_noise": 25, "mains_lag": 12, "reserve_full": 2000, "reserve_band": 100,
    }  # fmt: skip


KINDS = {
    # at 12,500 ft the air has 631.8 hPa, 9.16 psi (ISO 2533): 5.53 psi less than at the sea; 3 % for the weather and for the sender each
    "sealed": (-5.53 - 0.44 - 0.45, 0.44 + 0.45),
    "absolute": (9.16 - 0.44 - 0.45, 14.70 + 0.44 + 0.45),
    "gauge": (-0.45, 0.45),
}


@pytest.mark.parametrize("kind", KINDS)
def test_where_the_pressure_stands_with_the_pump_off(kind: str, tmp_path: Path) -> None:
    line = 'pressure = "gauge"\nrange = [0, 15]'
    span = "[0, 30]" if kind == "absolute" else "[0, 15]"
    told: Any = table(edited(tmp_path, (line, f'pressure = "{kind}"\nrange = {span}'))).reserve
    scale = 1000
    least, most = KINDS[kind]
    wider = 0.45 if kind == "absolute" else 0.0  # 3 % of 30
    assert told.base_least / scale == pytest.approx(least - wider, abs=0.02)
    assert told.base_most / scale == pytest.approx(most + wider, abs=0.02)
    fall = float(np.diff(pressure_hpa(np.array([0.0, 7.62])))[0]) * -0.0145038
    assert told.drift / scale == pytest.approx(0 if kind == "gauge" else fall, abs=0.001)


RESERVE_WRONG: dict[str, tuple[tuple[str, str], str]] = {
    "no such switch": (('pump = "transfer pump"', 'pump = "transfer pmp"'), 'pump: there is no switch "transfer pmp"; did you mean "transfer pump"?'),
    "pump missing": (('pump = "transfer pump"\n', ""), "pump is missing"),
    "no such readout": (('mains = "usable fuel"', 'mains = "useable fuel"'), 'there is no readout "useable fuel"; did you mean "usable fuel"?'),
    "a pressure for fuel": (('mains = "usable fuel"', 'mains = "hydraulic"'), "hydraulic is in psi, not in"),
    "fuel for a pressure": (('pressure = "reserve line"', 'pressure = "left fuel"'), "left fuel is in US gal, not in psi"),
    "holds nothing": (('holds = "20 US gal"', 'holds = "0 US gal"'), "holds: must be more than 0"),
    "holds missing": (('holds = "20 US gal"\n', ""), 'holds is missing; write holds = what it holds when filled, "10 US gal"'),
    "a rate turned round": (('rate = ["15 US gal", "35 US gal"]', 'rate = ["35 US gal", "15 US gal"]'), "the lower end comes first"),
    "a rate in psi": (('rate = ["15 US gal", "35 US gal"]', 'rate = ["15 psi", "35 US gal"]'), "is not in US gal"),
    "flowing from nothing": (('flowing = ["2 psi", "7.5 psi"]', 'flowing = ["0 psi", "7.5 psi"]'), "flowing: begins at 0"),
    "closed below flowing": (('dead_head = "6 psi"', 'dead_head = "1 psi"'), "must lie above the least flowing pressure"),
    "an unknown key": (('holds = "20 US gal"', 'holds = "20 US gal"\nhold = "20 US gal"'), 'unknown key; did you mean "holds"?'),
    "a gauge that is not there": (('gauge = "left fuel"', 'gauge = "left feul"'), 'there is no readout "left feul"; did you mean "left fuel"?'),
    "a gauge of no fuel": (('gauge = "left fuel"', 'gauge = "bus"'), "bus is in V, not in"),
    "while is no condition": (('while = "bus above 13.2 V"', 'while = "always"'), "'always' is no condition"),
    "an allowance of nothing": (('allowance = "2.2 US gal"', 'allowance = "0 US gal"'), "allowance: must be more than 0"),
    "feeds now and then": (('share = "100 %"', 'share = "100 %"\nfeeds = "sometimes"'), "write one of: always, not known, never"),
}  # fmt: skip


@pytest.mark.parametrize("edit, told", RESERVE_WRONG.values(), ids=RESERVE_WRONG)
def test_wrong(edit: tuple[str, str], told: str, tmp_path: Path) -> None:
    with pytest.raises(WrongBoxFile) as wrong:
        read_box(edited(tmp_path, edit))
    assert any(told in line for line in wrong.value.lines), wrong.value.lines
    assert all(":" in line for line in wrong.value.lines)


# right by themselves, and more than the box's small integers hold, or less than one of its units
UNFIT: dict[str, tuple[tuple[tuple[str, str], ...], str]] = {
    "a transfer": (
        (('rate = ["15 US gal", "35 US gal"]', 'rate = ["100 US gal", "600 US gal"]'),),
        "disagree usable fuel, share: 600 US gal an hour is more than the box reckons with in steps of 0.5: at most 500; choose a larger step for usable fuel",
    ),
    "other units than the mains": ((('unit = "US gal"\nstep = 0.5', 'unit = "US gal"\nstep = 0.05'),), "disagree left fuel, share: the transfer is counted as usable fuel reads; give left fuel its unit and step, or leave share out"),
}  # fmt: skip


@pytest.mark.parametrize("edits, told", UNFIT.values(), ids=UNFIT)
def test_what_does_not_fit_the_box_is_said(
    edits: tuple[tuple[str, str], ...], told: str, tmp_path: Path
) -> None:
    """With the line of the key where it is written."""
    file = edited(tmp_path, *edits)
    with pytest.raises(WrongBoxFile) as wrong:
        read_box(file)
    line = next((line for line in wrong.value.lines if told in line), None)
    assert line is not None, wrong.value.lines
    key = told.partition(":")[0].rpartition(" ")[2]
    written = file.read_text().splitlines()[int(line.split(":")[1]) - 1]
    assert written.startswith(key + " = ")


def test_a_pressure_without_limits_has_no_bottom(tmp_path: Path) -> None:
    """A sender through points says nothing below its range; the box takes that."""
    line = 'sender = "4-20 mA"\nunit = "psi"\npressure = "gauge"\nrange = [0, 15]'
    points = 'points = [["4 mA", 0], ["20 mA", 15]]\nunit = "psi"\npressure = "gauge"'
    told: Any = table(edited(tmp_path, (line, points))).reserve
    assert told.bottom == -reserve.MOST_PRESSURE


# -- what the pilot is told


class Tanks:
    """The demo's reserve watch and its three gauges, on what this test says."""

    def __init__(self) -> None:
        read = table()
        self.said = [[0, 0, 0, 0] for _ in range(len(read.inputs) + len(read.derived))]
        records: list[Any] = [*read.inputs, *read.derived]
        channels: Any = [SimpleNamespace(said=said, record=one) for said, one in zip(self.said, records)]
        self.switches: Any = [SimpleNamespace(level=0) for _ in read.switches]
        names = [one.name for one in records]
        self.flies: Any = SimpleNamespace(holds=0)
        assert read.reserve is not None
        self.reserve = Reserve(read.reserve, channels, self.switches)
        conditions: Any = [self.flies] * len(read.conditions)
        self.gauges = [Gauge(record, channels, conditions, self.reserve) for record in read.gauges]
        self.left, self.right, self.sum = (
            self.said[names.index(n)] for n in ("left fuel", "right fuel", "usable fuel")
        )
        self.line = self.said[names.index("reserve line")]
        self.pump = self.switches[read.reserve.pump]
        self.filled = self.switches[read.reserve.filled]

    def fuel(self, left: float, right: float) -> None:
        self.left[3], self.right[3], self.sum[3] = (
            round(left * 100),
            round(right * 100),
            round((left + right) * 100),
        )

    def pass_s(self, seconds: float, psi: float | None = 0.0, each_ms: int = 100) -> None:
        self.line[0] = OPEN if psi is None else 0
        self.line[3] = round((psi or 0) * 1000)
        for _ in range(round(seconds * 1000 / each_ms)):
            self.reserve.step(each_ms)
            for gauge in self.gauges:
                gauge.step(each_ms)


TRANSFERS: dict[str, tuple[list[tuple[int, float | None, float]], bool, float, tuple[int, str | None]]] = {
    # (pump, psi or None at a fault, seconds) one after the other; filled; fuel in each tank; urgency and words
    "off": ([(0, 0, 10)], False, 9, (0, None)),
    "flowing": ([(0, 0, 10), (1, 5, 30)], False, 9, (0, None)),
    "dry": ([(0, 0, 10), (1, 5, 30), (1, 0, 6)], False, 9, (CAUTION, "RESERVE DRY STOP PUMP")),
    "dry, and the pump off": ([(0, 0, 10), (1, 5, 30), (1, 0, 6), (0, 0, 2)], False, 9, (0, None)),
    "dry too soon": ([(0, 0, 10), (1, 5, 30), (1, 0, 6)], True, 9, (WARNING, "MAY LEAK STOP PUMP")),
    "dry, and then its wire breaks": ([(0, 0, 10), (1, 5, 30), (1, 0, 6), (1, None, 90), (1, 0, 5)], False, 9, (CAUTION, "RESERVE DRY STOP PUMP")),
    "may leak, and then its wire breaks": ([(0, 0, 10), (1, 5, 30), (1, 0, 6), (1, None, 90)], True, 9, (WARNING, "MAY LEAK STOP PUMP")),
    "not known for most of the time": ([(0, 0, 10), (1, 5, 30), *[(1, None, 3.8), (1, 5, 0.2)] * 4], False, 9, (CAUTION, "TRANSFER NOT WATCHED")),
    "nothing is built": ([(0, 0, 10), (1, 0, 12)], False, 9, (CAUTION, "NO TRANSFER PRESSURE")),
    "the mains are full": ([(0, 0, 10), (1, 5, 30)], False, 18, (CAUTION, "MAINS FULL STOP PUMP")),
    "full, and the pressure is not known": ([(0, 0, 10), (1, None, 5)], False, 18, (CAUTION, "MAINS FULL STOP PUMP")),
    "full, and dry": ([(0, 0, 10), (1, 5, 30), (1, 0, 6)], False, 18, (CAUTION, "RESERVE DRY STOP PUMP")),
    "full, with the pump off": ([(0, 0, 10)], False, 18, (0, None)),
    "the pressure is lost for a moment": ([(0, 0, 10), (1, 5, 30), (1, None, 5)], False, 9, (0, None)),
    "for longer": ([(0, 0, 10), (1, 5, 30), (1, None, 11)], False, 9, (CAUTION, "TRANSFER NOT WATCHED")),
    "with the pump off nobody asks": ([(0, None, 30)], False, 9, (0, None)),
    "it starts with the pump on, and dry": ([(1, 0, 30)], False, 9, (CAUTION, "TRANSFER NOT WATCHED")),
}  # fmt: skip


@pytest.mark.parametrize("steps, filled, each, told", TRANSFERS.values(), ids=TRANSFERS)
def test_a_transfer(
    steps: list[tuple[int, float | None, float]], filled: bool, each: float, told: tuple[int, str | None]
) -> None:
    tanks = Tanks()
    tanks.fuel(each, each)
    tanks.pass_s(0.2)
    tanks.filled.level = int(filled)
    for pump, psi, seconds in steps:
        tanks.pump.level = pump
        tanks.pass_s(seconds, psi)
    assert tanks.reserve.urgency == told[0]
    if told[1] is not None:
        assert tanks.reserve.words() == told[1]
    assert (tanks.reserve.rank > 0) == (told[0] > 0)


def test_every_state_that_asks_for_a_hand_is_told() -> None:
    """Not known, when it has lasted."""
    silent = {reserve.OFF, reserve.BUILDING, reserve.FLOWING, reserve.UNKNOWN}
    assert TOLD.keys() | silent == set(range(len(reserve.STATES)))
    told = [*TOLD.values(), FULL, UNWATCHED]
    assert len({rank for _, rank, _ in told}) == len(told) and all(rank > 0 for _, rank, _ in told)
    assert all(len(words) <= 21 for _, _, words in told)


def test_the_filled_button_is_pressed_once() -> None:
    tanks = Tanks()
    tanks.fuel(9, 9)
    tanks.pass_s(1)
    tanks.filled.level = 1
    tanks.pass_s(1)
    assert tanks.reserve.watch.books.left == 2000
    tanks.reserve.watch.books.left = 700
    tanks.pass_s(60)
    assert tanks.reserve.watch.books.left == 700  # held down is not filled again


def test_a_button_that_sticks_from_the_start_has_filled_nothing() -> None:
    tanks = Tanks()
    tanks.filled.level = 1
    tanks.pass_s(60)
    assert tanks.reserve.watch.books.left == NOT_KNOWN


def test_slosh_about_full_is_told_once() -> None:
    tanks = Tanks()
    tanks.fuel(9, 9)
    tanks.pass_s(10)
    tanks.pump.level = 1
    tanks.pass_s(20, 5.0)
    told = []
    for k in range(60):
        each = 17.02 + (0.06 if k % 2 else -0.06)  # 1.96 US gal of room, and a band of as much
        tanks.fuel(each, each)
        tanks.pass_s(2, 5.0)
        told.append(tanks.reserve.urgency)
    assert sum(a != b for a, b in zip(told, told[1:])) <= 1 and told[-1] == CAUTION


def test_it_is_not_filled_while_the_pump_runs() -> None:
    tanks = Tanks()
    tanks.fuel(9, 9)
    tanks.pump.level = 1
    tanks.filled.level = 1
    tanks.pass_s(1)
    assert tanks.reserve.watch.books.left == NOT_KNOWN and not tanks.reserve.fill()
    tanks.pump.level = 0
    assert tanks.reserve.fill() and tanks.reserve.watch.books.left == 2000


@pytest.mark.parametrize(
    "decimals, size, words",
    [(2, -1234, "tank LOW/LEAK 12.3"), (1, 128, "tank HIGH 12.8"), (0, 12, "tank HIGH 12")],
)
def test_the_size_in_words(decimals: int, size: int, words: str) -> None:
    """Of a reading with two decimals, one, and none."""
    record: Any = SimpleNamespace(
        index=0, flies=0, feeds=0, share_low=0, share_high=0, smoothing=60, unseen=0, top=0, bottom=0
    )
    channel: Any = SimpleNamespace(
        said=[0, 0, 0, 0], record=SimpleNamespace(name="tank", reading_decimals=decimals)
    )
    gauge = Gauge(record, [channel], [SimpleNamespace(holds=0)], None)  # type: ignore[list-item]
    gauge.disagree.size, gauge.disagree.state = size, disagree.READS_HIGH if size > 0 else disagree.READS_LOW
    gauge.step(1)
    assert gauge.words() == words


def flown(hours: float, left: float, right: float, sticks: bool) -> Tanks:
    """In cruise at 8 US gal/h from both tanks; the left float stands still or not."""
    tanks = Tanks()
    tanks.flies.holds = 1
    for second in range(0, round(hours * 3600), 10):
        burnt = 4.0 * second / 3600
        tanks.fuel(left if sticks else left - burnt, right - burnt)
        tanks.pass_s(10, each_ms=2000)
    return tanks


def test_a_float_that_sticks_is_told_with_its_size() -> None:
    tanks = flown(1.75, 14.0, 14.0, sticks=True)
    left, right, _ = tanks.gauges
    assert (left.urgency, right.urgency) == (CAUTION, 0)
    words = left.words()
    assert words.startswith("left fuel HIGH ")
    assert 2.0 <= float(words.split()[-1]) <= 7.0  # 7 gal were burnt; the bands are taken off


def test_one_that_moves_as_it_should_is_not() -> None:
    assert [one.urgency for one in flown(2.5, 14.0, 14.0, sticks=False).gauges] == [0, 0, 0]


def test_a_transfer_is_allowed_for() -> None:
    """Ten minutes of it raise both tanks; what flows is counted only while it flows, or may."""
    tanks = Tanks()
    tanks.flies.holds = 1
    fuel = 9.0
    for second in range(0, 3600, 2):
        pumping = 600 <= second < 1200
        fuel += ((12.5 if pumping else 0) - 4.0) * 2 / 3600
        tanks.pump.level = int(pumping)
        tanks.fuel(fuel, fuel)
        tanks.pass_s(2, 5.0 if pumping else 0.0, each_ms=200)
    assert [one.urgency for one in tanks.gauges] == [0, 0, 0]


def test_a_gauge_at_fault_is_not_judged() -> None:
    """And what was told stays told: until it has landed."""
    tanks = flown(1.75, 14.0, 14.0, sticks=True)
    tanks.left[0] = OPEN
    tanks.pass_s(30, each_ms=2000)
    assert tanks.gauges[0].disagree.state == disagree.NOT_JUDGED and tanks.gauges[0].urgency == CAUTION
    tanks.flies.holds = 0
    tanks.left[0] = 0
    tanks.pass_s(30, each_ms=2000)
    assert tanks.gauges[0].urgency == 0


@pytest.mark.parametrize("after", ["dry", "nothing"])
def test_a_contact_of_the_pump_that_bounces_hides_nothing(after: str) -> None:
    """Off for a tenth or two of a second every three: the pump runs on, and what it does is told all the while, or in its time."""
    tanks = Tanks()
    tanks.fuel(9, 9)
    tanks.pass_s(10)
    tanks.pump.level = 1
    if after == "dry":
        tanks.pass_s(30, 5.0)
        tanks.pass_s(6, 0.0)
    told = []
    for bounce in range(6):
        tanks.pump.level = 0
        tanks.pass_s(0.1 + bounce % 2 / 10)
        tanks.pump.level = 1
        for _ in range(30):
            tanks.pass_s(0.1)
            told.append(tanks.reserve.words())
    if after == "dry":
        assert set(told) == {"RESERVE DRY STOP PUMP"}
    else:
        assert set(told[:60]) == {""} and set(told[100:]) == {"NO TRANSFER PRESSURE"}


def test_what_was_told_outlives_that_nobody_knows_whether_it_flies() -> None:
    """Ten minutes without the bus voltage are no landing: the float has stuck all the same."""
    tanks = flown(1.75, 14.0, 14.0, sticks=True)
    told = tanks.gauges[0].words()
    for holds in (-1, 1):
        tanks.flies.holds = holds
        tanks.pass_s(600, each_ms=2000)
        assert tanks.gauges[0].words() >= told and tanks.gauges[0].urgency == CAUTION


def test_shares_and_bands_reach_the_gauges() -> None:
    """Of 15 to 35 US gal/h half goes to each, 5 % more or less; while it only may flow, none at least."""
    tanks = Tanks()
    tanks.fuel(9, 9)
    tanks.pass_s(10)
    assert (tanks.reserve.transfer(False), tanks.reserve.transfer(True)) == (0, 0)
    tanks.pump.level = 1
    tanks.pass_s(1, 0.0)
    assert tanks.reserve.watch.state == reserve.BUILDING
    assert (tanks.reserve.transfer(False), tanks.reserve.transfer(True)) == (0, 3500)
    tanks.pass_s(20, 5.0)
    assert (tanks.reserve.transfer(False), tanks.reserve.transfer(True)) == (1500, 3500)
    given: list[tuple[int, int]] = []
    for gauge in tanks.gauges:
        gauge.disagree.step = lambda *words: given.append(words[-2:])  # type: ignore[method-assign]
        gauge.step(100)
    assert given == [(675, 1925), (675, 1925), (1425, 3500)]
    left = tanks.gauges[0].record
    assert (left.share_low, left.share_high) == (45, 55)
    assert Fraction(left.burn_low, 100) == Fraction("3.04") and Fraction(left.burn_high, 100) == Fraction(
        "5.04"
    )


BOOKS: dict[str, tuple[tuple[int, ...], list[str]]] = {
    "off, nothing known": ((reserve.OFF, 0, 0, 0, -1, -1, -1, -1, -1, -1), ["off"]),
    "flowing": (
        (reserve.FLOWING, 0, 250, 60, 1750, 160, 900, 115, 1290, 500),
        ["flowing", "moved 2.5 +-0.6 US gal", "left 17.5 +-1.6 US gal", "room in the mains 9.0 +-1.1 US gal", "off in 13 to 30 min"],
    ),
    "nobody knows what is left": ((reserve.FLOWING, 0, 250, 60, -1, -1, -1, -1, 600, 700), ["flowing", "moved 2.5 +-0.6 US gal", "dry nobody knows when, mains full in 0 to 22 min"]),
    "doubtful": ((reserve.FLOWING, 1, 0, 0, -1, -1, -1, -1, -1, -1), ["flowing, doubtful: the pressure or its ripple has changed, or the mains do not rise", "moved 0.0 +-0.0 US gal"]),
    "dry": ((reserve.DRY, 0, 1900, 90, 0, 0, -1, -1, -1, -1), ["dry", "moved 19.0 +-0.9 US gal", "left 0.0 +-0.0 US gal"]),
}  # fmt: skip


@pytest.mark.parametrize("said, told", BOOKS.values(), ids=BOOKS)
def test_the_books_in_words(said: tuple[int, ...], told: list[str]) -> None:
    assert reserve_books(SaidReserve(said[0], bool(said[1]), *said[2:]), table()) == told


def test_the_gauges_in_words() -> None:
    said = [
        SaidGauge(disagree.READS_HIGH, 174),
        SaidGauge(disagree.READS_LOW, -250),
        SaidGauge(disagree.NOT_JUDGED, 0),
    ]
    assert gauges_told(said, table()) == [
        "left fuel: reads 1.7 US gal too HIGH at least",
        "right fuel: reads 2.5 US gal too LOW at least, or leaks",
        "usable fuel: not judged",
    ]
