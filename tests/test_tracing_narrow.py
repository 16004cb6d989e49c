"""From measurements to what is left, and to what is measured next."""

import re

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.problems import Misuse
from gaugelight.tracing import narrow
from gaugelight.tracing.causes import causes
from gaugelight.tracing.measurements import (
    NOT_ON_THE_BUS,
    VOLTS_FIRST,
    Measured,
    at_places,
    available,
    from_box,
    measured,
    measurement_of,
)
from gaugelight.tracing.narrow import Left
from gaugelight.tracing.traced import RAIL, Traced, traced
from gaugelight.tracing.trace_trial import DEMO
from test_tracing_causes import KIND_OF, of


def given(one: Traced, results: dict[str, str]) -> list[Measured]:
    return [measured(one, measurement_of(one, what), value) for what, value in results.items()]


def rows_of(one: Traced, results: dict[str, str]) -> tuple[Left, ...]:
    return narrow.left(one, causes(one), given(one, results))


def fitting(one: Traced, results: dict[str, str]) -> list[str]:
    return [row.cause.name for row in rows_of(one, results) if row.fits]


SIGNAL_WIRE, RETURN = "mend the signal wire", "mend the sender's return"
# input, what was measured, the repairs that are left, by how they begin
TRACED: dict[str, tuple[tuple[str, str], dict[str, str], set[str]]] = {
    "ohms fall on the way": (("demo", "left fuel"), {"ohms at the sender": "46", "ohms at the connector": "61"}, {SIGNAL_WIRE, RETURN}),
    "and the return is good": (
        ("demo", "left fuel"),
        {"ohms at the sender": "46", "ohms at the connector": "61", "ohms of the return": "0.1"},
        {SIGNAL_WIRE},
    ),
    "open at the box, whole at the sender, the wire whole": (
        ("demo", "left fuel"),
        {"ohms at the connector": "open", "ohms at the sender": "46", "ohms of the wire": "0.1"},
        {RETURN},
    ),
    "dipstick against ohms at the sender, twice": (
        ("demo", "left fuel"),
        {"true reading": "9 US gal", "ohms at the sender": "14", "ohms at the sender, full": "14"},
        {"free or replace the float"},
    ),
    "good at the ends, bad near full": (
        ("demo", "left fuel"),
        {"ohms at the connector, empty": "3", "ohms at the connector, half": "46", "ohms at the connector, full": "240"},
        {"replace the sender"},
    ),
    "a 240-33 sender where 0-90 is described": (
        ("demo", "left fuel"),
        {"ohms at the sender, empty": "238", "ohms at the sender, full": "33.5"},
        {"fit the sender that the box file describes"},
    ),
    "bus voltage at the connector": (("demo", "left fuel"), {"volts at the connector": "13.6"}, {"power off; find where bus voltage"}),
    "offset": (
        ("demo", "left fuel"),
        {"volts between grounds": "0.12", "ohms of the return": "0.1"},
        {"give the sender a return wire"},
    ),
    "one float of two": (
        ("senders", "left fuel"),
        {"true reading": "22 US gal", "ohms of the first float": "90", "ohms of the second float": "3", "ohms at the connector": "93.8"},
        {"free or replace the second float"},
    ),
    "a loop without its supply": (("demo", "hydraulic"), {"box": "open", "supply at the sender": "0", "ohms of the wire": "0.1"}, {"mend the wire that brings"}),
    "a weak loop supply": (
        ("demo", "hydraulic"),
        {"true reading": "750 psi", "mA at the connector": "1.4", "supply at the sender": "7.9", "ohms of the wire": "0.1"},
        {"find why the supply is low"},
    ),
    "a transducer exchanged": (("demo", "hydraulic"), {"supply at the sender": "-13.9"}, {"exchange the sender's two wires"}),
    "a burnt shunt": (
        ("demo", "hydraulic"),
        {"volts at the connector": "9", "mA at the connector": "0", "volts at the connector, sender off": "0"},
        {"in the box: fit the shunt"},
    ),
    "the rail of the senders": (("demo", "left fuel"), {"box": "rail"}, {"in the box: the rail"}),
    "a silent converter": (("demo", "left fuel"), {"box": "converter"}, {"in the box: converter"}),
    "a couple's wires exchanged": (("senders", "exhaust"), {"volts at the connector": "-19.6 mV"}, {"exchange the sender's two wires"}),
    "the bus, box and meter alike": (("demo", "bus"), {"volts at the connector": "13.1", "box": "13.1 V", "volts between grounds": "0", "ohms of the wire": "0.1"}, {"nothing to repair"}),
    "grounds 3 V apart": (
        ("demo", "left fuel"),
        {"volts between grounds": "3", "ohms of the return": "0.1"},
        {"give the sender a return wire"},
    ),
    "the bus's grounds 3 V apart": (("demo", "bus"), {"volts between grounds": "3"}, {"give the sender a return wire"}),
    "much corrosion": (("demo", "left fuel"), {"ohms of the wire": "4000"}, {SIGNAL_WIRE}),
    "a float that moves up to three quarters": (
        ("demo", "left fuel"),
        {"ohms at the sender, empty": "10", "ohms at the sender, half": "43.7", "ohms at the sender, full": "64"},
        {"free or replace the float"},
    ),
    "nothing fits": (("demo", "left fuel"), {"box": "converter", "box, wire off": "open"}, set()),
}  # fmt: skip


@pytest.mark.parametrize("where, results, repairs", TRACED.values(), ids=TRACED)
def test_what_is_left(where: tuple[str, str], results: dict[str, str], repairs: set[str]) -> None:
    found = narrow.groups(rows_of(of(*where), results))
    assert len(found) == len(repairs), list(found)
    assert all(any(repair.startswith(begins) for repair in found) for begins in repairs), list(found)


# input, what was measured, a cause that is left, one that is not
NAMED = {
    "the other way round": (
        ("demo", "left fuel"), {"ohms at the sender, empty": "89", "ohms at the sender, quarter": "64"}, "sender the other way round", "nothing wrong",
    ),
    "180 to 10": (
        ("demo", "left fuel"), {"ohms at the sender, empty": "180", "ohms at the sender, half": "95"}, "a sender of 180 ohm empty, 10 ohm full",
        "sender the other way round",
    ),
    "low only near its middle": (
        ("senders", "left fuel"), {"true reading": "24 US gal", "ohms of the first float": "20", "ohms of the second float": "86"}, "first float stuck",
        "second float stuck",
    ),
    "0 to 20 mA, at nought": (("demo", "hydraulic"), {"mA at the connector, 0 psi": "0.02"}, "a transducer of 0 to 20 mA", "nothing wrong"),
    "no jump explains too few ohms": (
        ("demo", "left fuel"),
        {"ohms at the sender, half": "30"},
        "float stuck",
        "worn track: bad or open over part of the travel",
    ),
    "14 V from a sender of 5": (
        ("demo", "coolant pressure"), {"volts at the connector": "14"}, "bus voltage on the signal wire", "a transducer of another range, its signal: too large",
    ),
    "type J for K": (("senders", "exhaust"), {"true reading": "450 degC", "volts at the sender": "23.7 mV"}, "a thermocouple of type J", "nothing wrong"),
}  # fmt: skip


@pytest.mark.parametrize("where, results, there, gone", NAMED.values(), ids=NAMED)
def test_which_cause(where: tuple[str, str], results: dict[str, str], there: str, gone: str) -> None:
    names = fitting(of(*where), results)
    assert there in names and gone not in names, names


# what good wires, contacts and grounds have takes nothing away: input, what was measured, the cause that stays
KEPT = {
    "good wire, half an ohm": (("demo", "left fuel"), {"ohms of the wire": "0.5"}, "nothing wrong"),
    "good return, half an ohm": (("demo", "left fuel"), {"ohms of the return": "0.6"}, "nothing wrong"),
    "good grounds, 12 mV": (("demo", "left fuel"), {"volts between grounds": "0.012"}, "nothing wrong"),
    "insulation of 5 kohm": (("demo", "left fuel"), {"ohms from the wire to ground": "5000"}, "nothing wrong"),
    "a stand-in through good wires": (("demo", "left fuel"), {"box, stand-in at the sender": "48.6 ohm"}, "nothing wrong"),
    "and over grounds that are a little apart": (("demo", "left fuel"), {"box, stand-in at the sender": "46.6 ohm"}, "nothing wrong"),
    "4000 ohm may be a contact": (("demo", "left fuel"), {"ohms at the connector": "4000"}, "corroded contact in the signal wire"),
    "3 V may be two grounds": (("demo", "left fuel"), {"volts at the connector": "3.2"}, "the sender's ground stands above the box's"),
    "a rail 1.5 % high on an open return": (("demo", "left fuel"), {"volts between grounds": "3.35"}, "the sender's return is open"),
    "corrosion before a current shunt's input": (
        ("senders", "current"), {"box": "31.53 mV", "true reading": "48.9594 A", "volts at the connector": "42.11 mV"}, "corroded contact in the signal wire",
    ),
    "400 kohm of it": (("senders", "current"), {"ohms at the connector": "400000"}, "corroded contact in the signal wire"),
    "a shorted sender holds nothing up": (
        ("senders", "manifold"), {"volts at the sender": "0.005"}, "signal wire shorted to ground, or to its return",
    ),
    "and none holds the bus down": (("senders", "manifold"), {"volts at the sender": "14"}, "bus voltage on the signal wire"),
    "a float short of full": (
        ("demo", "left fuel"), {"ohms at the connector, empty": "0", "ohms at the connector, full": "64"}, "float moves over part of its travel only",
    ),
    "the upper of two short of full": (
        ("senders", "left fuel"), {"true reading": "22 US gal", "ohms of the first float": "45"}, "first float moves over part of its travel only",
    ),
}  # fmt: skip


@pytest.mark.parametrize("where, results, stays", KEPT.values(), ids=KEPT)
def test_the_truth_is_not_ruled_out(where: tuple[str, str], results: dict[str, str], stays: str) -> None:
    assert stays in fitting(of(*where), results)


def test_a_transmitter_may_need_little_on_a_low_supply() -> None:
    """8 V, less 12 mA through 150 ohm: 6.2 V are left to it."""
    one = traced(read_box(DEMO), "hydraulic", supply=8)
    assert "nothing wrong" in fitting(one, {"volts at the connector": "1.8", "true reading": "1500 psi"})


@pytest.mark.parametrize(
    "results",
    [
        {"box": "open"},
        {"ohms at the connector": "open"},
        {"ohms at the connector": "48.7", "true reading": "9 US gal"},
    ],
    ids=str,
)
@pytest.mark.parametrize("where", [("demo", "left fuel"), ("demo", "right fuel")], ids=" ".join)
def test_volts_at_the_box_come_first_where_the_bus_may_be_on_the_wire(
    where: tuple[str, str], results: dict[str, str]
) -> None:
    one = of(*where)
    found = given(one, results)
    rows = narrow.left(one, causes(one), found)
    following = narrow.next_measurement(one, rows, found)
    on_bus = any(row.fits and row.cause.name.startswith("bus voltage") for row in rows)
    assert following is not None and (following.measurement.what == VOLTS_FIRST) == on_bus


@pytest.mark.parametrize("volts, asked", [("3.0", False), ("2.2", True)])
def test_nothing_is_powered_at_a_sender_while_the_bus_may_be_on_its_wire(
    monkeypatch: pytest.MonkeyPatch, volts: str, asked: bool
) -> None:
    """Even where nothing else could be measured."""
    one = of("demo", "left fuel")
    found = given(one, {"volts at the connector": volts})
    rows = narrow.left(one, causes(one), found)
    assert any(row.fits and row.cause.name.startswith("bus voltage") for row in rows) != asked
    powered = tuple(each for each in available(one) if each.what in NOT_ON_THE_BUS)
    assert len(powered) == 4
    monkeypatch.setattr(narrow, "available", lambda of: powered)
    monkeypatch.setattr(narrow, "at_places", lambda of: ())
    assert (narrow.next_measurement(one, rows, found) is not None) == asked


def test_a_good_reading_is_no_bus_on_the_wire() -> None:
    assert "bus voltage on the signal wire" not in fitting(of("demo", "left fuel"), {"box": "9.5 US gal"})


def test_to_open_a_tank_is_by_far_the_most_effort() -> None:
    for where in (("demo", "left fuel"), ("senders", "left fuel")):
        one = of(*where)
        others = max(each.effort for each in available(one))
        assert min(each.effort for each in at_places(one)) > 1.5 * others


@pytest.mark.parametrize("where", KIND_OF, ids=" ".join)
def test_how_it_is_measured_does_no_harm(where: tuple[str, str]) -> None:
    """Power is off before a wire or a plug is pulled; a meter on mA is in one wire only; no supply is put on a rail."""
    one = of(*where)
    for each in (*available(one), *at_places(one)):
        if any(
            pulled in each.how for pulled in ("pull the", "plug off", "wire off", "wires off", "off at the")
        ):
            assert re.search(r"power (and USB )?off", each.how), each.what
        if each.unit == "mA":
            assert "never from a supply to ground" in each.how and "back to volts" in each.how
        if each.place is not None and one.one.bare_unit in ("degC", "degF"):
            assert "cold engine, no pressure" in each.how
        assert one.kind != RAIL or "stand-in" not in each.what


def test_with_power_on_at_a_tank_counts_as_more_work() -> None:
    effort = {
        where: {one.what: one.effort for one in available(of(*where))}
        for where in (("demo", "left fuel"), ("demo", "coolant temperature"))
    }
    tank, engine = effort.values()
    for what in ("volts at the sender", "box, stand-in at the sender", "volts between grounds"):
        assert tank[what] > engine[what] and tank[what] > tank["ohms at the sender"]
    assert tank["ohms at the sender"] == engine["ohms at the sender"]


def test_a_measurement_only_takes_causes_away() -> None:
    one = of("demo", "left fuel")
    results = {
        "box": "46 ohm",
        "ohms at the connector": "46.1",
        "ohms at the sender": "46.2",
        "true reading": "9.5 US gal",
    }
    before = set(fitting(one, {}))
    assert before == {cause.name for cause in causes(one)}
    for k in range(1, len(results) + 1):
        after = set(fitting(one, dict(list(results.items())[:k])))
        assert after <= before and "nothing wrong" in after
        before = after


def test_the_next_one_tells_what_is_left_apart() -> None:
    one = of("demo", "left fuel")
    found = given(one, {"ohms at the sender": "46", "ohms at the connector": "61"})
    following = narrow.next_measurement(one, narrow.left(one, causes(one), found), found)
    assert following is not None and following.left < 1.5
    assert following.measurement.what in ("ohms of the return", "ohms of the wire", "volts between grounds")


def test_nothing_is_measured_twice_nor_where_one_thing_is_left() -> None:
    one = of("demo", "left fuel")
    found = given(one, {"box": "converter"})
    assert narrow.next_measurement(one, narrow.left(one, causes(one), found), found) is None
    found = given(one, {"ohms at the connector": "46"})
    following = narrow.next_measurement(one, narrow.left(one, causes(one), found), found)
    assert following is not None and following.measurement != found[0].measurement


@pytest.mark.parametrize("where", [("demo", "left fuel"), ("senders", "left fuel")], ids=" ".join)
def test_at_a_tank_each_measurement_says_how_to_do_it_safely(where: tuple[str, str]) -> None:
    for one in (*available(of(*where)), *at_places(of(*where))):
        if one.unit == "ohm":
            assert (
                "power" in one.how and "cap stays closed" in one.how and "extinguisher" in one.how
            ), one.what
        if one.place is not None:
            assert "drained and vented" in one.how and "licensed mechanic" in one.how, one.what
        if one.unit == "V" and one.what.endswith(("sender", "grounds")):
            assert "vent" in one.how, one.what


REFUSED = {
    "no such measurement": ("ohms at sender", "46", 'did you mean "ohms at the sender"'),
    "no unit of that kind": ("ohms at the sender", "46 V", "is not in ohm"),
    "below nought": ("ohms at the sender", "-3", "below 0"),
    "no number": ("ohms at the sender", "much", "is no quantity"),
    "no place": ("ohms at the sender, somewhere", "3", "no place on its travel"),
    "a place outside": ("ohms at the sender, 40 US gal", "3", "outside its readings"),
    "a word the box never says": ("box", "cold junction", "trace the input that measures it"),
    "no word of the box": ("box", "broken", "what does the box say"),
    "wiggle, neither": ("wiggle", "perhaps", "jumps or steady"),
    "a truth far outside": ("true reading", "90 US gal", "far outside"),
}


@pytest.mark.parametrize("what, value, says", REFUSED.values(), ids=REFUSED)
def test_what_is_refused_says_what_would_be_right(what: str, value: str, says: str) -> None:
    with pytest.raises(Misuse, match=says):
        given(of("demo", "left fuel"), {what: value})


def test_what_the_box_answers_is_taken_as_it_judges() -> None:
    """A signal as its count; of a fault the count itself, as its ratio to the rail's."""
    one = of("demo", "left fuel")
    box = measurement_of(one, "box")
    good = from_box(one, box, None, 12_000, 46.0, 52_000)
    assert good.value == pytest.approx(one.count_of_signal(46.0)) and good.shown == "46 ohm"
    fault = from_box(one, box, "open", 50_000, None, 52_000)
    assert fault.value == pytest.approx(50_000 / 52_000 * 65_536) and fault.shown == "open"
    assert from_box(one, box, "rail", 50_000, None, 0).value < 0


def test_the_bus_as_it_was_measured_narrows_what_hangs_on_it() -> None:
    widths = []
    for supply in (None, 13.8):
        one = traced(read_box(DEMO), "hydraulic", supply=supply)
        low, high = narrow.predictions(
            one, causes(one)[0], np.array([[0.5]]), measurement_of(one, "supply at the sender")
        )
        widths.append(float(high[0] - low[0]))
    assert widths[1] < widths[0] / 5


HALF = "ohms at the connector, half"
# input, two measurements or more, which two of them no cause that stays as it is explains
TWICE: dict[str, tuple[str, list[tuple[str, str]], tuple[tuple[int, int], ...]]] = {
    "half twice, open and shut": ("left fuel", [(HALF, "3"), (HALF, "46")], ((0, 1),)),
    "half twice, by another word": ("left fuel", [(HALF, "3"), ("ohms at the connector, 50 %", "46")], ((0, 1),)),
    "half twice, and the float not put quite there": ("left fuel", [(HALF, "41"), (HALF, "46")], ()),
    "two places": ("left fuel", [("ohms at the connector, empty", "3"), (HALF, "46")], ()),
    "two kinds": ("left fuel", [("ohms at the sender, half", "3"), (HALF, "46")], ()),
    "here and at a place": ("left fuel", [("ohms at the connector", "3"), (HALF, "46")], ()),
    "at no place": ("hydraulic", [("mA at the connector", "5"), ("mA at the connector", "9")], ((0, 1),)),
    "at no place, the meter's own error": ("hydraulic", [("mA at the connector", "9.02"), ("mA at the connector", "9")], ()),
    "the box, a fault and a signal": ("left fuel", [("box", "open"), ("box", "46 ohm")], ((0, 1),)),
    "the box, the same fault": ("left fuel", [("box", "open"), ("box", "open")], ()),
    "the first and the last of three": ("left fuel", [(HALF, "3"), ("ohms at the connector", "3"), (HALF, "46")], ((0, 2),)),
    "it jumps and does not": ("left fuel", [("wiggle", "jumps"), ("wiggle", "steady")], ((0, 1),)),
}  # fmt: skip


@pytest.mark.parametrize("name, results, pairs", TWICE.values(), ids=TWICE)
def test_which_two_do_not_agree(
    name: str, results: list[tuple[str, str]], pairs: tuple[tuple[int, int], ...]
) -> None:
    one = of("demo", name)
    assert (
        narrow.disagree(one, [measured(one, measurement_of(one, what), value) for what, value in results])
        == pairs
    )
