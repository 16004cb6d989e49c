"""The field of the lamps' wiring against closed forms, and against an integration by another way."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants, integrate, special

from gaugelight.boxfile import box_of_text
from gaugelight.harness.cables import wiring_of
from gaugelight.harness.compass import (
    MU_0,
    Field,
    Run,
    Way,
    deviation,
    field_of,
    fields_of,
    pair,
    runs_of,
    single_wire,
    strongest,
    too_strong,
    twisted_pair,
)

AMPERES = 0.55


def test_mu_0_is_that_of_codata() -> None:
    """scipy.constants holds CODATA 2018 or 2022; they differ by 7 in the tenth figure."""
    assert MU_0 == pytest.approx(constants.mu_0, rel=1e-9)


def at(x: float, y: float = 0.0, z: float = 0.0) -> np.ndarray:
    return np.array([x, y, z])


@pytest.mark.parametrize("distance", [0.1, 0.6, 2.0])
def test_a_long_wire_is_an_endless_one(distance: float) -> None:
    """mu0 I/(2 pi r): the law of Ampere."""
    field = field_of(single_wire(2000.0), AMPERES, at(distance, 0, 1000.0))
    assert field == pytest.approx([0, MU_0 * AMPERES / (2 * math.pi * distance), 0], rel=1e-5)


@pytest.mark.parametrize(
    "length, distance, share", [(2.0, 0.6, 0.5), (2.0, 0.6, 0.0), (0.8, 0.3, 0.25), (1, 5, 1.5)]
)
def test_a_wire_of_some_length(length: float, distance: float, share: float) -> None:
    """mu0 I/(4 pi r) (sin a + sin b), the angles from the foot of the perpendicular to the ends (any textbook)."""
    z = share * length
    angles = math.atan2(length - z, distance), math.atan2(z, distance)
    expected = MU_0 * AMPERES / (4 * math.pi * distance) * sum(map(math.sin, angles))
    assert field_of(single_wire(length), AMPERES, at(distance, 0, z)) == pytest.approx(
        [0, expected, 0], rel=1e-12
    )


@pytest.mark.parametrize("z", [0.0, 0.1, 1.0])
def test_a_loop_on_its_axis(z: float) -> None:
    """mu0 I R2/(2 (R2 + z2)^1.5); a ring of 2,000 chords is within 2e-6 of it."""
    turn = np.linspace(0, 2 * math.pi, 2001)
    ring = 0.2 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    expected = MU_0 * AMPERES * 0.2**2 / (2 * (0.2**2 + z**2) ** 1.5)
    assert field_of(ring, AMPERES, at(0, 0, z)) == pytest.approx([0, 0, expected], rel=1e-5, abs=1e-16)


def test_a_square_loop_in_its_middle() -> None:
    """2 sqrt(2) mu0 I/(pi side) (any textbook)."""
    side = 0.5
    square = side * np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 0]])
    expected = 2 * math.sqrt(2) * MU_0 * AMPERES / (math.pi * side)
    assert field_of(square, AMPERES, at(side / 2, side / 2)) == pytest.approx([0, 0, expected], rel=1e-12)


@given(
    st.lists(st.tuples(*[st.floats(-1, 1)] * 3), min_size=2, max_size=2, unique=True),
    st.tuples(st.floats(1.5, 3), st.floats(-1, 1), st.floats(-1, 1)),
)
@settings(max_examples=30, deadline=None)
def test_a_piece_is_what_biot_and_savart_integrate_to(
    ends: list[tuple[float, ...]], place: tuple[float, ...]
) -> None:
    """mu0 I/4 pi of the integral of dl x r/r3, by quadrature (scipy)."""
    start, end = map(np.array, ends)
    along = end - start

    def share(t: float, axis: int) -> float:
        r = np.array(place) - (start + t * along)
        return float(np.cross(along, r)[axis] / np.linalg.norm(r) ** 3)

    whole = [integrate.quad(share, 0, 1, args=(axis,), epsabs=1e-12)[0] for axis in range(3)]
    found = field_of(np.array([start, end]), AMPERES, np.array(place))
    assert found == pytest.approx(MU_0 * AMPERES / (4 * math.pi) * np.array(whole), rel=1e-7, abs=1e-15)


def test_a_long_pair_falls_with_the_square() -> None:
    """mu0 I s/(2 pi (r2 - s2/4)), in the plane of the pair: the difference of two wires."""
    s, r = 0.01, 0.6
    expected = MU_0 * AMPERES * s / (2 * math.pi * (r**2 - s**2 / 4))
    found = field_of(pair(2000.0, s), AMPERES, at(r, 0, 1000.0))
    assert float(np.linalg.norm(found)) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("distance", [0.02, 0.03, 0.045])
def test_a_twisted_pair_falls_off_as_it_must(distance: float) -> None:
    """Outside two helices half a turn apart, with opposite currents, the radial field's first term is
    2 mu0 I k2 a/pi I1'(k a) |K1'(k r)|, k = 2 pi/turn: the series of Bessel functions that satisfies the current sheet on
    the cylinder of radius a (derived here from Laplace's equation; scipy.special). It falls as exp(-k r)."""
    turn, spacing = 0.03, 0.0015
    k, a = 2 * math.pi / turn, spacing / 2
    expected = (
        2 * MU_0 * AMPERES * k**2 * a / math.pi * special.ivp(1, k * a) * abs(special.kvp(1, k * distance))
    )
    length = 60 * turn
    points = twisted_pair(length, spacing, turn)
    places = length / 2 + np.linspace(0, turn, 25)
    found = max(abs(float(field_of(points, AMPERES, at(distance, 0, z))[0])) for z in places)
    assert found == pytest.approx(expected, rel=0.02)  # chords; the next term is below 1e-3
    far = max(abs(float(field_of(points, AMPERES, at(distance + turn / 2, 0, z))[0])) for z in places)
    assert far / found == pytest.approx(
        math.exp(-math.pi) * math.sqrt(distance / (distance + turn / 2)), rel=0.12
    )  # a half turn farther


def test_a_helix_of_finer_chords_says_the_same() -> None:
    def made(chords: int) -> float:
        z = np.linspace(0, 0.5, chords + 1)
        angle = 2 * math.pi * z / 0.03
        out = np.column_stack([0.00075 * np.cos(angle), 0.00075 * np.sin(angle), z])
        points = np.vstack([out, out[::-1] * [-1, -1, 1], out[:1]])
        return strongest(points, AMPERES, 0.5, 0.1)

    coarse = strongest(twisted_pair(0.5, 0.0015, 0.03), AMPERES, 0.5, 0.1)
    assert coarse == pytest.approx(made(8000), rel=0.03)


@given(st.floats(0.3, 5), st.floats(0.1, 3))
@settings(max_examples=25, deadline=None)
def test_a_pair_is_better_than_a_wire_and_a_twisted_one_better_still(length: float, distance: float) -> None:
    alone = strongest(single_wire(length), AMPERES, length, distance)
    beside = strongest(pair(length, 0.01), AMPERES, length, distance)
    twisted = strongest(twisted_pair(length, 0.0015, 0.03), AMPERES, length, distance)
    assert twisted < beside / 5 and beside < alone * 0.2


@pytest.mark.parametrize(
    "tesla, degrees",
    [(0.0, 0.0), (10e-6, 30.0), (20e-6 / math.sqrt(2), 45.0), (20e-6, 180.0), (50e-6, 180.0)],
)
def test_deviation(tesla: float, degrees: float) -> None:
    assert deviation(tesla, 20e-6) == pytest.approx(degrees)


@given(st.floats(0.01, 0.99), st.floats(0, 2 * math.pi))
def test_no_direction_turns_it_by_more(share: float, heading: float) -> None:
    """Earth's field and one of that share of it, from any side."""
    turned = math.degrees(math.atan2(share * math.sin(heading), 1 + share * math.cos(heading)))
    assert abs(turned) <= deviation(share * 20e-6, 20e-6) + 1e-9


BOX = """
[box]
name = "console"
board = "rp2040"
[[lamp]]
name = "strip"
pin = 15
knob = 27
load = { current = "400 mA", at = "12 V" }
[[lamp]]
name = "map"
pin = 16
level = "50 %"
load = { current = "200 mA", at = "12 V" }
WIRE
[connector.J1]
kind = "D-sub 15"
box = "pins"
[connector.J1.pins]
1 = "strip feed"
2 = "strip plus"
3 = "strip minus"
4 = "map minus"
5 = "knob upper end"
6 = "knob wiper"
7 = "knob lower end"
8 = "lamp ground"
"""
STRIP = '[[cable]]\nname = "strip"\ncarries = ["strip plus", "strip minus"]\nto = "strip"\ngauge = 22\nlength = "2 m"\n'
FEED = '[[cable]]\nname = "feed"\ncarries = ["strip feed"]\nto = "fuse"\ngauge = 22\nlength = "1 m"\n'
GROUND = '[[cable]]\nname = "ground"\ncarries = ["lamp ground"]\nto = "ground"\ngauge = 22\nlength = "1 m"\n'
APART = '[[cable]]\nname = "minus"\ncarries = ["strip minus"]\nto = "strip"\ngauge = 22\nlength = "2 m"\n'
PLUS = APART.replace("minus", "plus")
LAID: dict[str, tuple[str, str, dict[str, Way | None]]] = {
    "untwisted": ("", STRIP, {"strip": "pair"}),
    "twisted": ("", STRIP + "twisted = true\n", {"strip": "twisted pair"}),
    "airframe": ("", APART + 'return = "airframe"\n', {"strip": "single wire"}),
    "two cables, no bundle": ("", APART + PLUS, {"strip": "single wire"}),
    "two cables, one bundle": ("", APART + 'bundle = "l"\n' + PLUS + 'bundle = "l"\n', {"strip": "pair"}),
    "feed alone": ("", FEED, {"strip feed": "single wire"}),
    "feed and ground, one bundle": (
        "",
        FEED + 'bundle = "l"\n' + GROUND + 'bundle = "l"\n',
        {"strip feed": "pair"},
    ),
    "no cable, a wire": ('wire = { gauge = 22, length = "1 m" }', "", {"map": None}),
    "no cable, airframe": (
        'wire = { gauge = 22, length = "1 m", airframe_return = true }',
        "",
        {"map": "single wire"},
    ),
    "neither": ("", "", {}),
}


@pytest.mark.parametrize("name", LAID)
def test_how_a_run_is_laid(name: str) -> None:
    wire, cables, expected = LAID[name]
    box = box_of_text("hull.toml", BOX.replace("WIRE", wire) + cables)
    assert {run.name: run.way for run in runs_of(wiring_of(box))} == expected


def test_currents_are_those_with_the_alternator_on() -> None:
    """400 mA at 12 V behind 8.9 V of diodes: 0.4 (14.2 - 8.9)/(12 - 8.9)."""
    box = box_of_text("hull.toml", BOX.replace("WIRE", "") + STRIP)
    (field,) = fields_of(wiring_of(box), 0.6)
    assert field.run.amperes == pytest.approx(0.4 * 5.3 / 3.1)
    assert field.as_laid == field.tesla["pair"] < field.tesla["single wire"]


def test_what_turns_the_compass_too_far_is_a_problem() -> None:
    box = box_of_text("hull.toml", BOX.replace("WIRE", "") + APART + 'return = "airframe"\n')
    wiring = wiring_of(box)
    run = Run("strip", 7, 5.0, 2.0, "single wire", 0.01, 0.03)
    weak, strong = (Field(run, {"single wire": 20e-6 * math.sin(math.radians(d))}) for d in (9.9, 10.1))
    assert too_strong(wiring, [weak], 20e-6) == []
    (problem,) = too_strong(wiring, [strong], 20e-6)
    assert problem.line == 7 and problem.what.startswith(
        "the lamps' wiring may turn the compass by 10 degrees, 10 at most"
    )


SPACED: dict[str, tuple[str, Way, float]] = {
    "2 mm, beside each other": ('spacing = "2 mm"\n', "pair", 0.2),  # of what 10 mm make
    "2 mm, the twisted one": (
        'spacing = "2 mm"\n',
        "twisted pair",
        1.0,
    ),  # wires that touch: as where nothing is stated
    "3 mm, twisted": ('twisted = true\nspacing = "3 mm"\n', "twisted pair", 2.0),  # of what 1.5 mm make
    "3 mm, untwisted it would be loose": ('twisted = true\nspacing = "3 mm"\n', "pair", 1.0),
    "a turn in 60 mm": ('twisted = true\nturn = "60 mm"\n', "single wire", 1.0),
}


@pytest.mark.parametrize("name", SPACED)
def test_spacing_counts(name: str) -> None:
    """Far away a pair's field goes with its spacing."""
    keys, way, times = SPACED[name]
    stated, plain = (
        fields_of(wiring_of(box_of_text("hull.toml", BOX.replace("WIRE", "") + STRIP + more)), 0.6)[0].tesla[
            way
        ]
        for more in (keys, "")
    )
    assert stated / plain == pytest.approx(times, rel=1e-3)


@pytest.mark.parametrize("spacing", ["200 mm", "1000 mm"])
@pytest.mark.parametrize("twisted", ["", "twisted = true\n"])
def test_a_compass_between_the_wires_sees_one_of_them(spacing: str, twisted: str) -> None:
    """0.1 m away: at 200 mm it would lie in the other wire, where the field has no end."""
    text = BOX.replace("WIRE", "") + STRIP + f'{twisted}spacing = "{spacing}"\n'
    (field,) = fields_of(wiring_of(box_of_text("hull.toml", text)), 0.1)
    assert field.as_laid == field.tesla["single wire"] < 1e-5
