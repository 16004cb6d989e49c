"""From measurements to what is left, and to what is measured next."""

import numpy as np
import pytest

from gaugelight.boxfile import read_box
from gaugelight.problems import Misuse
from gaugelight.tracing import narrow
from gaugelight.tracing.causes import causes
from gaugelight.tracing.measurements import Measured, at_places, available, from_box, measured, measurement_of
from gaugelight.tracing.narrow import Left
from gaugelight.tracing.traced import Traced, traced
from gaugelight.tracing.trace_trial import DEMO
from test_tracing_causes import of


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
    "type J for K": (("senders", "exhaust"), {"true reading": "450 degC", "volts at the sender": "23.7 mV"}, "a thermocouple of type J", "nothing wrong"),
}  # fmt: skip


@pytest.mark.parametrize("where, results, there, gone", NAMED.values(), ids=NAMED)
def test_which_cause(where: tuple[str, str], results: dict[str, str], there: str, gone: str) -> None:
    names = fitting(of(*where), results)
    assert there in names and gone not in names, names


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
