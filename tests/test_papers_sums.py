"""Weights and moments, currents and the battery alone: against a handbook, and against sums done by hand."""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO
from gaugelight.papers.balance import balance
from gaugelight.papers.endurance import endurance, in_minutes, minutes
from gaugelight.papers.papers_file import Battery, Empty, Essential, Item, Measured


def measured(text: str) -> Measured:
    value, _, unit = text.partition(" ")
    return Measured(Fraction(value), unit)


def item(name: str, weight: str | None, arm: str | None) -> Item:
    return Item(
        name, weight=None if weight is None else measured(weight), arm=None if arm is None else measured(arm)
    )


# items, weight, arm and moment of all, in the units of the first
SUMS = {
    # FAA-H-8083-1, chapter 2: three weights on a board, its centre of gravity 110 in behind the datum (from memory)
    "the handbook's board": (
        [("A", "100 lb", "50 in"), ("B", "100 lb", "90 in"), ("C", "200 lb", "150 in")],
        ("lb", "in"),
        (400, 110, 44000),
    ),
    # by hand: 0.62 x 1.85 + 0.44 x 2.6 = 1.147 + 1.144 = 2.291; / 1.06
    "two items": (
        [("box", "0.62 kg", "1.85 m"), ("floats", "0.44 kg", "2.60 m")],
        ("kg", "m"),
        (1.06, 2.16132, 2.291),
    ),
    # 1 lb is 0.45359237 kg, 10 in are 0.254 m
    "units mixed": (
        [("box", "1 kg", "1 m"), ("knob", "1 lb", "10 in")],
        ("kg", "m"),
        (1.45359, 0.767218, 1.115212),
    ),
    "one taken out": ([("new", "1.5 kg", "2 m"), ("old", "-0.5 kg", "4 m")], ("kg", "m"), (1.0, 1.0, 1.0)),
    "before the datum": ([("lamp", "2 kg", "-0.5 m")], ("kg", "m"), (2.0, -0.5, -1.0)),
    "the weights cancel": ([("new", "1 kg", "2 m"), ("old", "-1 kg", "3 m")], ("kg", "m"), (0.0, None, -1.0)),
    "no weight, no arm": (
        [("box", "1 kg", "2 m"), ("x", None, "3 m"), ("y", "5 kg", None)],
        ("kg", "m"),
        (1.0, 2.0, 2.0),
    ),
    "nothing": ([], ("kg", "m"), (0.0, None, 0.0)),
}


@pytest.mark.parametrize(("items", "units", "sums"), SUMS.values(), ids=SUMS)
def test_moments_add_up(
    items: list[tuple[str, str | None, str | None]],
    units: tuple[str, str],
    sums: tuple[float, float | None, float],
) -> None:
    weighed = balance([item(*one) for one in items])
    assert (weighed.weight_unit, weighed.arm_unit) == units
    weight, arm, moment = sums
    assert float(weighed.weight) == pytest.approx(weight, abs=1e-5)
    assert float(weighed.moment) == pytest.approx(moment, abs=1e-5)
    assert weighed.arm is None if arm is None else float(weighed.arm or 0) == pytest.approx(arm, abs=1e-5)
    assert weighed.left_out == tuple(name for name, w, a in items if w is None or a is None)


def test_the_empty_aircraft_takes_the_items_along() -> None:
    # by hand: 402 x 2.314 = 930.228; with 1 kg at 12.314 m 942.542 / 403
    weighed = balance([item("tail", "1 kg", "12.314 m")], Empty(measured("402 kg"), measured("2.314 m")))
    assert weighed.after is not None
    assert tuple(map(float, weighed.after)) == pytest.approx((403, 942.542 / 403))
    assert balance([item("tail", "1 kg", "2 m")]).after is None


weights = st.integers(1, 500).map(lambda n: Fraction(n, 10))
arms = st.integers(-50, 500).map(lambda n: Fraction(n, 100))


@given(st.lists(st.tuples(weights, arms), min_size=1, max_size=8), arms)
def test_another_datum_moves_the_arm_of_all_alike(
    items: list[tuple[Fraction, Fraction]], by: Fraction
) -> None:
    def of_all(shift: Fraction) -> Fraction | None:
        return balance(
            [Item("x", weight=Measured(w, "kg"), arm=Measured(a + shift, "m")) for w, a in items]
        ).arm

    there, shifted = of_all(Fraction(0)), of_all(by)
    assert there is not None and shifted == there + by
    assert min(a for _, a in items) <= there <= max(a for _, a in items)


BATTERY = Battery(Fraction(18), Fraction(8, 10), Fraction(7, 10))


@pytest.mark.parametrize(
    ("current", "lasts"),
    [
        (5.04, 120),  # 18 Ah x 0.8 x 0.7 = 10.08 Ah; / 5.04 A = 2 h
        (10.08, 60),
        (0.5, 1209.6),
        (0.0, None),
    ],
)
def test_the_battery_alone(current: float, lasts: float | None) -> None:
    told = minutes(BATTERY, current)
    assert told is None if lasts is None else told == pytest.approx(lasts)
    assert in_minutes(lasts) == ("" if lasts is None else f"{int(lasts)} min")  # never rounded up


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(DEMO))


def drains(
    built: Build, night: tuple[tuple[str, str], ...], *essential: Essential
) -> dict[str, tuple[float | None, float | None]]:
    battery = Battery(Fraction(18), Fraction(1), Fraction(1), box=Fraction(2, 10), night=night)
    found = endurance(built, battery, essential)
    return {one.name: (one.night, one.most) for one in found.drains}


# amperes by night at 12 V, a battery at rest. The strip reads 320 mA there and its line through all three readings 320.3; of the map light
# 2.4 W at 12 V are 0.2 A. Both are chopped: none of it at off, the strip all of it at full, the map light its 75 % of the travel, which is
# L* 75 and 48.28 % of the time (CIE 1976: ((75 + 16) / 116)^3), lifted a little by its floor.
NIGHTS = {
    "knob off": ((("knob", "0 %"),), "glare shield", 0.0, 1e-9),
    "knob at full": ((("knob", "100 %"),), "glare shield", 0.3203, 1e-3),
    "map light with the knob at full": ((("knob", "100 %"),), "map light", 0.2 * 0.4828, 1e-3),
    "legends by day's voltage: all": ((("lighting bus", "0 V"),), "switch legends", 0.08, 1e-4),
    "the box itself": ((), "the box itself", 0.2, 1e-9),
    "a tenth of the time": ((), "radio", 0.25, 1e-9),
}


@pytest.mark.parametrize(("night", "name", "amperes", "within"), NIGHTS.values(), ids=NIGHTS)
def test_currents_by_night(
    demo: Build, night: tuple[tuple[str, str], ...], name: str, amperes: float, within: float
) -> None:
    taken, most = drains(demo, night, Essential("radio", Fraction("2.5"), Fraction(1, 10)))[name]
    assert taken == pytest.approx(amperes, abs=within)
    assert most is not None and most >= (taken or 0) - 1e-9


def test_a_lamp_without_a_load_is_in_no_sum(demo: Build) -> None:
    found = endurance(demo, None, ())
    assert found.left_out == ("the box itself", "warning lamp", "caution lamp")
    assert found.most == pytest.approx(0.3203 + 0.2 + 0.08, abs=1e-3)
    assert 0 < found.night < found.most


def test_a_lamp_that_is_kept_steady_is_reckoned_at_the_batterys_volts(tmp_path: Path) -> None:
    # by hand: the strip takes 0.3203 A at 12 V, its LEDs 8.897 V of that; kept at 10 V's light it burns 1.103 / 3.103 of the time
    text = (
        DEMO.read_text()
        .replace("range = [8, 16]", "range = [6, 16]")
        .replace('at = "12 V" }\nload = { readings', 'at = "10 V" }\nload = { readings')
    )
    (tmp_path / "box.toml").write_text(text)
    taken, _ = drains(build(read_box(tmp_path / "box.toml")), (("knob", "100 %"),))["glare shield"]
    assert taken == pytest.approx(0.3203 * 1.103 / 3.103, abs=1e-3)
