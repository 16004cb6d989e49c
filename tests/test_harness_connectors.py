"""Where a connector's contacts lie, against published geometry; what lies beside what."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaugelight.harness.connectors import Half, Shape, other_half, shape_of
from gaugelight.harness.drawing import rows_seen

# What one sees looking into the connector (mating face), wide row up. Published table of serial ports' pins,
# jwenet.net/notebook/2004/1020.html: 9 and 25 ways, "male: top 1->5, bottom 6->9", "female: top 5->1, bottom 9->6"
SEEN_IN_FRONT = {
    ("D-sub 9", "pins"): ([1, 2, 3, 4, 5], [6, 7, 8, 9]),
    ("D-sub 9", "sockets"): ([5, 4, 3, 2, 1], [9, 8, 7, 6]),
    ("D-sub 25", "pins"): (list(range(1, 14)), list(range(14, 26))),
    ("D-sub 25", "sockets"): (list(range(13, 0, -1)), list(range(25, 13, -1))),
    # the same law for 15 ways: from memory
    ("D-sub 15", "pins"): (list(range(1, 9)), list(range(9, 16))),
    ("D-sub 15", "sockets"): (list(range(8, 0, -1)), list(range(15, 8, -1))),
}


def read_off(places: dict[int, tuple[float, float]]) -> tuple[list[int], ...]:
    levels = sorted({y for _, y in places.values()})
    return tuple(sorted((n for n in places if places[n][1] == y), key=lambda n: places[n][0]) for y in levels)


@pytest.mark.parametrize("kind, half", SEEN_IN_FRONT)
def test_numbers_are_where_they_are_published(kind: str, half: Half) -> None:
    shape = shape_of(kind)
    assert read_off(shape.mating_side(half)) == SEEN_IN_FRONT[kind, half]
    # behind a half one sees what one sees in front of its counterpart: the two meet contact by contact
    assert read_off(shape.wiring_side(half)) == SEEN_IN_FRONT[kind, other_half(half)]
    assert rows_seen(shape, half) == list(SEEN_IN_FRONT[kind, other_half(half)])


@pytest.mark.parametrize("kind", ["D-sub 9", "D-sub 15", "D-sub 25"])
def test_contacts_are_as_far_apart_as_published(kind: str) -> None:
    """326/3000 in in a row, 0.112 in between the rows, half a pitch between them (standard density, as makers publish it)."""
    places = shape_of(kind).mating_side("pins")
    wide = {9: 5, 15: 8, 25: 13}[len(places)]
    in_mm = 25.4 * 326 / 3000
    assert in_mm == pytest.approx(2.76, abs=0.005)
    for n in places:
        if n + 1 in places and n != wide:
            assert math.dist(places[n], places[n + 1]) == pytest.approx(in_mm)
    assert places[wide + 1][0] - places[1][0] == pytest.approx(in_mm / 2)
    assert places[wide + 1][1] - places[1][1] == pytest.approx(2.84, abs=0.006)


def test_a_header_has_odd_numbers_in_the_row_of_pin_1() -> None:
    """Looking at the pins, the row with pin 1 down (common practice, no source)."""
    header = shape_of("header 2x5")
    assert read_off(header.mating_side("pins")) == ([2, 4, 6, 8, 10], [1, 3, 5, 7, 9])
    assert read_off(header.wiring_side("sockets")) == ([2, 4, 6, 8, 10], [1, 3, 5, 7, 9])
    assert read_off(header.wiring_side("pins")) == ([10, 8, 6, 4, 2], [9, 7, 5, 3, 1])


NEIGHBOURS = {
    # a pin in the middle of a row of a D-sub has two beside it and two in the other row
    ("D-sub 25", 1): (2, 14),
    ("D-sub 25", 2): (1, 3, 14, 15),
    ("D-sub 25", 13): (12, 25),
    ("D-sub 25", 14): (1, 2, 15),
    ("D-sub 25", 25): (12, 13, 24),
    ("D-sub 9", 5): (4, 9),
    ("D-sub 15", 9): (1, 2, 10),
    ("header 2x4", 1): (2, 3, 4),
    ("header 2x4", 3): (1, 2, 4, 5, 6),
    ("block 4", 1): (2,),
    ("block 4", 2): (1, 3),
    ("block 1", 1): (),
}


@pytest.mark.parametrize("kind, pin", NEIGHBOURS)
def test_neighbours(kind: str, pin: int) -> None:
    assert shape_of(kind).neighbours(pin) == NEIGHBOURS[kind, pin]


kinds = st.one_of(
    st.sampled_from(["D-sub 9", "D-sub 15", "D-sub 25"]),
    st.integers(2, 20).map(lambda n: f"header 2x{n}"),
    st.integers(1, 24).map(lambda n: f"block {n}"),
)


@given(kinds, st.sampled_from(["pins", "sockets"]))
def test_each_number_has_one_place_and_the_sides_are_mirrored(kind: str, half: Half) -> None:
    shape: Shape = shape_of(kind)
    front, back = shape.mating_side(half), shape.wiring_side(half)
    assert sorted(front) == list(range(1, shape.ways + 1)) and len(set(front.values())) == shape.ways
    assert back == {n: (-x, y) for n, (x, y) in front.items()}
    assert front == shape.wiring_side(other_half(half))
    for pin in front:
        assert all(pin in shape.neighbours(other) for other in shape.neighbours(pin))


@pytest.mark.parametrize(
    "kind",
    [
        "D-sub 37",
        "D-sub",
        "D-sub 09",
        "d-sub 25",
        "header 2x1",
        "header 2x21",
        "header 1x8",
        "block 0",
        "block 25",
        25,
        None,
    ],
)
def test_what_is_no_connector(kind: object) -> None:
    with pytest.raises(ValueError, match='is no connector that is known; write "D-sub 9"'):
        shape_of(kind)
