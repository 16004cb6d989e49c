"""Range markings: zones and ranks from marks, and how a readout enters and leaves them; derived readouts; conditions.

Colours by 14 CFR 23.1549 as it stood before 2017: red radial lines at the limits, a green arc for normal operation, a yellow arc for
precaution; fuel by 23.1337(b)(1): zero is the unusable quantity in level flight.
"""

from array import array
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.alerts import ABOVE, BELOW, FADES, FAULTY, OFF, ON, UNKNOWN, Condition
from gaugebox.curve import lookup, make_curve
from gaugebox.measure import CONVERTER, OPEN, OVER, UNDER
from gaugebox.readouts import GREEN, NOWHERE, RED, UNJUDGED, UNMARKED, YELLOW, Derived, Readout, zone_of
from gaugelight.boxfile import box_of_text
from gaugelight.cli import DEMO
from gaugelight.face_tables import COLOUR_CODES, Zone, zones
from gaugelight.problems import WrongBoxFile
from gaugelight.readouts import Mark, default_label, marks

Marks = list[dict[str, Any]]
FUEL: Marks = [{"red": 0, "says": "EMPTY"}, {"yellow": [0, 4]}, {"green": [4, 18]}]
TWO_LOW: Marks = [{"yellow": [0, 2]}, {"yellow": [2, 4]}, {"green": [4, 18]}]
HYDRAULIC: Marks = [
    {"red": 200},
    {"yellow": [200, 600]},
    {"green": [600, 1200]},
    {"yellow": [1200, 1400]},
    {"red": 1400},
]
VIBRATES: Marks = [{"green": [0, 10]}, {"yellow": [10, 12]}, {"green": [12, 20]}]
FORBIDDEN: Marks = [{"green": [0, 10]}, {"red": [10, 12]}, {"green": [12, 20]}]
NO_GREEN: Marks = [{"red": 5}, {"yellow": [5, 15]}]
GAP: Marks = [{"red": 0}, {"green": [4, 18]}]

# marks, decimals, then for a reading in units: colour, rank, words
PLACES: dict[str, tuple[Marks, int, list[tuple[int, str | None, int, str]]]] = {
    "fuel: zero itself is red": (FUEL, 2, [(-50, "red", 18, "EMPTY"), (0, "red", 18, "EMPTY"), (1, "yellow", 1, "LOW")]),
    "fuel: where arcs meet the upper one begins": (FUEL, 2, [(399, "yellow", 1, "LOW"), (400, "green", 0, "")]),
    "fuel: the green's own end": (FUEL, 2, [(1800, "green", 0, ""), (1801, None, 0, "")]),
    "two low marks: the lower is the worse": (TWO_LOW, 1, [(10, "yellow", 2, "LOW"), (30, "yellow", 1, "LOW"), (50, "green", 0, "")]),
    "both sides": (HYDRAULIC, 0, [
        (200, "red", 18, "LOW"), (201, "yellow", 1, "LOW"), (600, "green", 0, ""), (1199, "green", 0, ""),
        (1200, "yellow", 1, "HIGH"), (1399, "yellow", 1, "HIGH"), (1400, "red", 18, "HIGH"), (9999, "red", 18, "HIGH")]),
    "yellow between greens": (VIBRATES, 0, [(9, "green", 0, ""), (10, "yellow", 1, "LOW"), (12, "green", 0, "")]),
    "red between greens": (FORBIDDEN, 0, [(9, "green", 0, ""), (11, "red", 17, "LOW"), (12, "green", 0, "")]),
    "no green: what has no mark is as it should be": (NO_GREEN, 0, [(5, "red", 18, "LOW"), (6, "yellow", 1, "LOW"), (16, None, 0, "")]),
    "a gap has no mark": (GAP, 0, [(0, "red", 17, "LOW"), (1, None, 0, ""), (3, None, 0, ""), (4, "green", 0, "")]),
    "no marks": ([], 0, [(-10, None, 0, ""), (10, None, 0, "")]),
}  # fmt: skip


def zone_at(made: list[Zone], reading: int) -> Zone:
    return made[zone_of(array("i", [one.edge for one in made[1:] if one.edge is not None]), reading)]


@pytest.mark.parametrize("given_marks, decimals, said", PLACES.values(), ids=PLACES)
def test_zones(given_marks: Marks, decimals: int, said: list[tuple[int, str | None, int, str]]) -> None:
    made = zones(marks("US gal")(given_marks) if given_marks else (), decimals, Fraction(0))
    for reading, colour, rank, words in said:
        one = zone_at(made, reading)
        assert (one.colour, one.rank, one.says) == (colour, rank, words), reading


# with a step of 50 units: what shows the limit has reached it
AS_SHOWN: dict[str, tuple[Marks, list[tuple[int, str | None]]]] = {
    "zero, of a float that never quite gets there": (FUEL, [(0, "red"), (25, "red"), (26, "yellow")]),
    "an upper limit": ([{"green": [0, 10]}, {"red": 12}], [(1000, "green"), (1001, None), (1174, None), (1175, "red")]),
    "an arc that ends at its limit": ([{"green": [0, 10]}, {"red": 10}], [(974, "green"), (975, "red"), (1000, "red")]),
    "an arc narrower than that": ([{"red": 0}, {"yellow": [0, 0.2]}, {"green": [0.2, 9]}], [(25, "red"), (26, "green")]),
    "two of them": ([{"red": 0}, {"yellow": [0, 0.1]}, {"yellow": [0.1, 0.15]}, {"green": [0.15, 9]}], [(25, "red"), (26, "green")]),
    "two below an upper limit": ([{"green": [0, 9]}, {"yellow": [9, 9.1]}, {"yellow": [9.1, 9.2]}, {"red": 9.2}], [(894, "green"), (895, "red")]),
    "nothing between two limits": ([{"red": 0}, {"green": [0, 0.1]}, {"red": 0.1}], [(25, "red"), (26, "red")]),
    "arcs stay where they are": (FUEL, [(399, "yellow"), (400, "green")]),
}  # fmt: skip


@pytest.mark.parametrize("given_marks, said", AS_SHOWN.values(), ids=AS_SHOWN)
def test_a_limit_is_reached_when_it_is_shown(given_marks: Marks, said: list[tuple[int, str | None]]) -> None:
    made = zones(marks("US gal")(given_marks), 2, Fraction(1, 2))
    assert [(reading, zone_at(made, reading).colour) for reading, _ in said] == said


@st.composite
def some_marks(draw: st.DrawFn) -> Marks:
    places = sorted(draw(st.sets(st.integers(-50, 50), min_size=4, max_size=8)))
    arcs = [
        {draw(st.sampled_from(["green", "yellow", "red"])): [a, b]}
        for a, b in zip(places[1:-1], places[2:-1])
    ]
    limits = [{"red": places[0]}] * draw(st.booleans()) + [{"red": places[-1]}] * draw(st.booleans())
    return draw(st.permutations(arcs + limits))


@settings(derandomize=True, deadline=None)
@given(some_marks(), st.integers(0, 3), st.integers(-70_000, 70_000))
def test_any_reading_has_the_colour_of_the_mark_it_lies_in(
    given_marks: Marks, decimals: int, units: int
) -> None:
    """By the marks themselves, in exact fractions."""
    read = marks("V")(given_marks)
    at = Fraction(units, 10**decimals)
    inside = [
        one for one in read if (one.low is None or at >= one.low) and (one.high is None or at <= one.high)
    ]
    found = zone_at(zones(read, decimals, Fraction(0)), units)
    if not inside:
        assert found.colour is None
    elif inside[0].low is None:
        assert found.colour == "red"
    else:
        assert found.colour == inside[-1].colour
    assert (found.rank == 0) == (found.says == "")
    if found.colour == "red":
        everything = zones(read, decimals, Fraction(0))
        if any(one.colour in ("green", "yellow") for one in everything):
            assert found.rank > max((one.rank for one in everything if one.colour != "red"), default=0)


WRONG_MARKS = {
    "no list": ("green", "must be [{ green"),
    "empty": ([], "must be [{ green"),
    "an unknown colour": ([{"amber": [1, 2]}], "one of green, yellow or red"),
    "a near colour": ([{"gren": [1, 2]}], 'did you mean "green"?'),
    "two colours": ([{"red": 1, "green": [1, 2]}], "one colour in each"),
    "an arc with one end": ([{"green": 4}], "green is an arc: write green = [from, to]"),
    "an arc turned round": ([{"green": [4, 1]}], "the lower end comes first"),
    "arcs over each other": ([{"green": [1, 5]}, {"yellow": [4, 8]}], "lie over each other"),
    "a limit alone": ([{"red": 4}], "needs an arc to lie beside"),
    "a limit among the arcs": ([{"green": [1, 5]}, {"red": 3}], "lies among the arcs; write red = [from, to]"),
    "two lower limits": ([{"green": [4, 5]}, {"red": 3}, {"red": 2}], "one red limit below"),
    "no number": ([{"green": [1, "x"]}], '"x"'),
    "words too long": ([{"green": [1, 2], "says": "x" * 13}], "at most 12 fit the face"),
}  # fmt: skip


@pytest.mark.parametrize("given_marks, told", WRONG_MARKS.values(), ids=WRONG_MARKS)
def test_wrong_marks(given_marks: Any, told: str) -> None:
    with pytest.raises(ValueError) as wrong:
        marks("V")(given_marks)
    assert told in str(wrong.value)


ARCS: dict[str, tuple[str, float | str]] = {
    "as far as it reads": ("{ green = [4, 18] }", 18),
    "a little beyond": ("{ green = [4, 18.8] }", 18),
    "further": ("{ green = [4, 19] }", "green at 19, but left fuel reads 0 to 18 US gal"),
    "a limit that is never reached": (
        "{ green = [4, 18] }, { red = 18.1 }",
        "red at 18.1, but left fuel reads 0 to 18",
    ),
    "all of it": ("{ green = [4, 18] }, { yellow = [18, 18.5] }", "yellow at 18.5, but left fuel reads"),
}


@pytest.mark.parametrize("written, said", ARCS.values(), ids=ARCS)
def test_an_arc_ends_where_the_sender_does(written: str, said: float | str) -> None:
    """A tank that turns out to hold less than its arc says keeps its marks, a twentieth at most."""
    text = DEMO.read_text().replace("{ green = [4, 18] }", written, 1)
    if isinstance(said, str):
        with pytest.raises(WrongBoxFile, match=said):
            box_of_text("hull.toml", text)
        return
    one = box_of_text("hull.toml", text).input("left fuel")
    assert one is not None and one.markings is not None and one.markings.marks[-1].high == said


def test_units_in_marks() -> None:
    """36 litres are 9.51 US gallons (1 US gal is 3.785411784 l exactly, NIST SP 811)."""
    (one,) = marks("US gal")([{"green": ["36 l", 18]}])
    assert one == Mark("green", Fraction(36) / Fraction("3.785411784"), Fraction(18))


LABELS = {
    "left fuel": "left fuel",
    "right fuel": "right fuel",
    "left outboard fuel": "L out fuel",
    "left inboard fuel": "L in fuel",
    "right outboard fuel": "R out fuel",
    "right inboard fuel": "R in fuel",
    "Left forward tank": "L fwd tank",
    "left tank temperature": "L tank tem",
    "coolant temperature": "cool temp",
    "coolant pressure": "cool press",
    "hydraulic pressure": "hyd press",
    "reserve line": "reser line",
    "boil margin": "boil margi",
    "hydraulic": "hydraulic",
    "a very long name of it": "a v l n o",
    "unabbreviated": "unabbrevia",
}


@settings(derandomize=True, deadline=None)
@given(some_marks(), st.integers(0, 3), st.fractions(0, 20))
def test_edges_rise_however_coarse_the_step(given_marks: Marks, decimals: int, step: Fraction) -> None:
    """Or the box refuses them; and the lower limit keeps its place."""
    read = marks("V")(given_marks)
    made = zones(read, decimals, step)
    edges = [one.edge for one in made[1:] if one.edge is not None]
    assert len(edges) == len(made) - 1 and edges == sorted(set(edges))
    if read[0].low is None:
        assert made[0].colour == "red"


@pytest.mark.parametrize("name, label", LABELS.items())
def test_labels(name: str, label: str) -> None:
    assert default_label(name) == label and len(label) <= 10


# -- how a readout goes from zone to zone


def record(given_marks: Marks, delay: int = 3, play: int = 5) -> Any:
    made = zones(marks("V")(given_marks), 0, Fraction(0))
    return SimpleNamespace(
        edges=array("i", [one.edge for one in made[1:] if one.edge is not None]),
        colours=bytes(UNMARKED if one.colour is None else COLOUR_CODES[one.colour] for one in made),
        ranks=bytes(one.rank for one in made),
        delay=delay,
        play=play,
    )


class Said:
    """A readout and what its channel says."""

    def __init__(
        self, given_marks: Marks, delay: int = 3, play: int = 5, only_when: Any = None, source: Any = None
    ) -> None:
        self.said = [0, 0, 0, 0]
        channel: Any = SimpleNamespace(said=self.said, record=source)
        self.readout = Readout(record(given_marks, delay, play), channel, only_when)

    def step(self, reading: int, fault: int = 0, times: int = 1) -> int:
        """The colour after so many ticks."""
        for _ in range(times):
            self.said[0], self.said[3] = fault, reading
            self.readout.step()
        return self.readout.colour


# (reading or fault, ticks) one after the other, and the colour after each; delay 3 ticks, play 5
STEPS: dict[str, list[tuple[int | str, int, int]]] = {
    "entered after the delay": [(1000, 2, UNMARKED), (1000, 1, GREEN)],
    "worse after the delay": [(1000, 3, GREEN), (500, 2, GREEN), (500, 1, YELLOW)],
    "a moment is nothing": [(1000, 3, GREEN), (500, 2, GREEN), (1000, 50, GREEN), (500, 2, GREEN), (500, 1, YELLOW)],
    "a moment of better is taken off, no more": [(1000, 3, GREEN), (500, 2, GREEN), (1000, 1, GREEN), (500, 1, GREEN), (500, 1, YELLOW)],
    "one of worse too": [(500, 3, YELLOW), (700, 2, YELLOW), (500, 1, YELLOW), (700, 1, YELLOW), (700, 1, GREEN)],
    "red is not reached by way of yellow": [(1000, 3, GREEN), (500, 2, GREEN), (100, 1, YELLOW), (100, 2, YELLOW), (100, 1, RED)],
    "a moment of red on the way to yellow": [(1000, 3, GREEN), (100, 1, GREEN), (500, 1, GREEN), (500, 1, YELLOW)],
    "at once to red when it falls at once": [(1000, 3, GREEN), (100, 3, RED)],
    "back only by more than the play": [(500, 3, YELLOW), (603, 50, YELLOW), (605, 2, YELLOW), (605, 1, GREEN)],
    "back from above": [(1300, 3, YELLOW), (1198, 50, YELLOW), (1194, 3, GREEN)],
    "from one side's red to the other's": [(100, 3, RED), (1500, 3, RED), (1000, 3, GREEN)],
    "a fault changes nothing": [(100, 3, RED), ("fault", 500, RED), (1000, 2, RED), (1000, 1, GREEN)],
    "a fault in between: the delay goes on": [(1000, 3, GREEN), (500, 2, GREEN), ("fault", 9, GREEN), (500, 1, YELLOW)],
    "a fault from the start": [("fault", 9, UNMARKED), (500, 2, UNMARKED), (500, 1, YELLOW)],
    "better and worse by turns": [(500, 3, YELLOW), (700, 2, YELLOW), (100, 2, YELLOW), (700, 4, YELLOW), (700, 1, GREEN)],
    "nearly better, then red: no later than the delay": [(500, 3, YELLOW), (700, 2, YELLOW), (100, 2, YELLOW), (100, 1, RED)],
    "nearly green from the start, then red": [(1000, 2, UNMARKED), (100, 2, UNMARKED), (100, 1, RED)],
}  # fmt: skip


@pytest.mark.parametrize("steps", STEPS.values(), ids=STEPS)
def test_entering_and_leaving(steps: list[tuple[int | str, int, int]]) -> None:
    said = Said(HYDRAULIC)
    for reading, ticks, colour in steps:
        fault = OPEN if reading == "fault" else 0
        assert said.step(0 if isinstance(reading, str) else reading, fault, ticks) == colour, (reading, ticks)


def test_noise_within_the_play_changes_nothing() -> None:
    """About an edge, of less than the play: in once, and in it stays."""
    chance = np.random.default_rng(1)
    said = Said(HYDRAULIC, delay=1, play=20)
    colours = [said.step(1000)] + [said.step(600 + int(n)) for n in chance.integers(-9, 10, 5000)]
    changes = sum(a != b for a, b in zip(colours, colours[1:]))
    assert colours[-1] == YELLOW and changes == 1


def test_only_when() -> None:
    when: Any = SimpleNamespace(holds=0)
    said = Said(HYDRAULIC, only_when=when)
    assert said.step(100, times=50) == UNMARKED and said.readout.zone == NOWHERE
    when.holds = 1
    assert (said.step(100, times=2), said.step(100)) == (UNMARKED, RED)
    when.holds = UNKNOWN  # what is not known changes nothing
    assert said.step(100, times=50) == RED and said.step(1000, times=3) == GREEN
    when.holds = 0  # for a second
    assert said.step(100, times=UNJUDGED - 1) == GREEN
    assert said.step(100) == UNMARKED and said.readout.rank == 0
    when.holds = UNKNOWN
    assert said.step(100, times=50) == UNMARKED
    when.holds = 1
    assert said.step(100, times=3) == RED


def test_a_moment_without_its_condition_hides_nothing() -> None:
    """The pump's own inrush takes the bus below its limit for a tenth of a second every two; and the bus wire breaks in such a moment."""
    when: Any = SimpleNamespace(holds=1)
    said = Said(HYDRAULIC, delay=20, only_when=when)
    colours = []
    for turn in range(200):
        when.holds = int(turn % 20 != 19)
        colours.append(said.step(100))
    assert set(colours[:20]) == {UNMARKED} and set(colours[23:]) == {RED}
    when.holds = UNKNOWN
    assert said.step(100, times=500) == RED


@pytest.mark.parametrize("before", [500, None], ids=["from yellow", "from the start"])
def test_a_moment_the_other_way_hides_nothing(before: int | None) -> None:
    """Red for 95 % of the time, and green for the rest."""
    said = Said(HYDRAULIC, delay=20)
    if before is not None:
        said.step(before, times=20)
    colours = [said.step(1000 if turn % 20 == 19 else 100) for turn in range(60)]
    assert colours[-1] == RED and RED not in colours[:19]


def test_what_lasted_fades_while_nothing_is_known() -> None:
    said = Said(HYDRAULIC, delay=20)
    said.step(1000, times=20)
    assert said.step(100, times=19) == GREEN
    assert said.step(0, OPEN, times=19 * FADES) == GREEN
    assert said.step(100, times=19) == GREEN and said.step(100) == RED


def test_not_known_from_the_start_it_is_judged() -> None:
    assert Said(HYDRAULIC, only_when=SimpleNamespace(holds=UNKNOWN)).step(100, times=3) == RED


RISES, FALLS = [0, 1500], [1500, 0]
# how the reading goes with the signal, the reading before, the fault, and the colour that follows after the delay, and its words' side
BEYOND: dict[str, tuple[list[int], int, int, int]] = {
    "above all it can say is past the upper limit": (RISES, 1450, OVER, RED),
    "from green, faster than the delay": (RISES, 1000, OVER, RED),
    "below all it can say": (RISES, 1000, UNDER, RED),
    "hot is little resistance": (FALLS, 1000, UNDER, RED),
    "cold is much": (FALLS, 1000, OVER, RED),
    "from the other side's red": (RISES, 100, OVER, RED),
    "open says nothing": (RISES, 1000, OPEN, GREEN),
}


@pytest.mark.parametrize("readings, before, fault, colour", BEYOND.values(), ids=BEYOND)
def test_beyond_what_the_sender_can_say(readings: list[int], before: int, fault: int, colour: int) -> None:
    curve = make_curve(array("i", [0, 1000]), array("i", readings))
    said = Said(HYDRAULIC, source=SimpleNamespace(reading_curve=curve))
    said.step(before, times=3)
    assert said.step(0, fault, times=3) == colour and said.step(0, fault, times=500) == colour
    if fault != OPEN:
        high = (fault == OVER) == (readings is RISES)
        assert said.readout.side == int(high) and said.readout.zone == (4 if high else 0)
    assert said.step(1000, times=3) == GREEN


def test_beyond_a_full_tank_is_no_way_out_of_low_fuel() -> None:
    curve = make_curve(array("i", [0, 1000]), array("i", [0, 1800]))
    said = Said(FUEL, source=SimpleNamespace(reading_curve=curve))
    assert said.step(2, times=3) == YELLOW and said.step(0, OVER, times=500) == YELLOW


def test_a_fault_now_and_then_hides_no_red() -> None:
    """A tenth of a second every two, and the delay is two."""
    said = Said(HYDRAULIC, delay=20)
    said.step(1000, times=20)
    colours = [said.step(100, OPEN if turn % 20 == 0 else 0) for turn in range(200)]
    assert set(colours[:20]) == {GREEN} and set(colours[22:]) == {RED}


def test_slosh_at_an_edge_puts_it_off_by_no_more_than_it_lasts() -> None:
    """Empty for 79 of 80 turns, with a delay of 100."""
    said = Said(FUEL, delay=100)
    said.step(9, times=100)
    colours = [said.step(4 if turn % 80 == 79 else 0) for turn in range(110)]
    assert colours[-1] == RED and colours[99] != RED


# -- derived readouts


def channel(reading: int, fault: int = 0) -> Any:
    return SimpleNamespace(said=[fault, 0, 0, reading], record=None)


DERIVED = {
    "a sum": ([(300, 0), (450, 0)], (1, 1), (0, 750)),
    "a difference": ([(300, 0), (450, 0)], (1, -1), (0, -150)),
    "one part at fault": ([(300, 0), (450, OPEN)], (1, 1), (OPEN, None)),
    "both at fault: the first is told": ([(300, CONVERTER), (450, OPEN)], (1, 1), (CONVERTER, None)),
}


@pytest.mark.parametrize("parts, signs, said", DERIVED.values(), ids=DERIVED)
def test_derived(parts: list[tuple[int, int]], signs: tuple[int, ...], said: tuple[int, int | None]) -> None:
    channels = [channel(*part) for part in parts]
    curves = [make_curve(array("i", [0, 1000]), array("i", [0, 1000 * sign])) for sign in signs]
    one = Derived(SimpleNamespace(parts=list(enumerate(curves))), channels)  # type: ignore[arg-type]
    assert one.said[0] == CONVERTER  # until it has been asked
    one.step()
    assert one.said[0] == said[0]
    if said[1] is not None:
        assert one.said[3] == said[1] and one.said[2] == said[1]
    assert lookup(curves[0], 1000) == 1000


# -- conditions

SWITCHES: Any = [SimpleNamespace(level=0), SimpleNamespace(level=1)]
CONDITIONS = {
    "above": (ABOVE, 0, 499, 500, 0, 1),
    "above, at it": (ABOVE, 0, 500, 500, 0, 0),
    "below": (BELOW, 0, 501, 500, 0, 1),
    "below, at it": (BELOW, 0, 500, 500, 0, 0),
    "above, at fault": (ABOVE, 0, 499, 500, OPEN, UNKNOWN),
    "below, at fault": (BELOW, 0, 501, 500, OPEN, UNKNOWN),
    "at fault": (FAULTY, 0, 0, 500, OPEN, 1),
    "not at fault": (FAULTY, 0, 0, 500, 0, 0),
    "on": (ON, 1, 0, 0, 0, 1),
    "not on": (ON, 0, 0, 0, 0, 0),
    "off": (OFF, 0, 0, 0, 0, 1),
    "not off": (OFF, 1, 0, 0, 0, 0),
}


@pytest.mark.parametrize("way, index, value, reading, fault, holds", CONDITIONS.values(), ids=CONDITIONS)
def test_conditions(way: int, index: int, value: int, reading: int, fault: int, holds: int) -> None:
    given_record: Any = SimpleNamespace(way=way, index=index, value=value)
    one = Condition(given_record, [channel(reading, fault), channel(0)], SWITCHES)
    assert one.holds == UNKNOWN
    one.step()
    assert one.holds == holds


# readings from the least signal to the greatest, way, value, fault
BEYONDS = {
    "under is below": (RISES, BELOW, 0, UNDER, 1),
    "and not above": (RISES, ABOVE, 0, UNDER, 0),
    "over is above": (RISES, ABOVE, 1500, OVER, 1),
    "and not below": (RISES, BELOW, 1500, OVER, 0),
    "hot is little resistance": (FALLS, ABOVE, 1500, UNDER, 1),
    "open says nothing": (RISES, BELOW, 1500, OPEN, UNKNOWN),
}


@pytest.mark.parametrize("readings, way, value, fault, holds", BEYONDS.values(), ids=BEYONDS)
def test_conditions_beyond_what_the_sender_can_say(
    readings: list[int], way: int, value: int, fault: int, holds: int
) -> None:
    source: Any = channel(0, fault)
    source.record = SimpleNamespace(reading_curve=make_curve(array("i", [0, 1000]), array("i", readings)))
    one = Condition(SimpleNamespace(way=way, index=0, value=value), [source], SWITCHES)  # type: ignore[arg-type]
    one.step()
    assert one.holds == holds
