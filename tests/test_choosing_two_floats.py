"""Two floats in one tank: volumes against handbook formulas, Qhull and a Monte Carlo; the table against the box file's own parser."""

import math
import random
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull, HalfspaceIntersection

from gaugelight.boxfile import box_of_text
from gaugelight.choosing.tank_file import read_tank
from gaugelight.choosing.two_floats import (
    Attitude,
    Float,
    Level,
    Tank,
    Together,
    box_file_lines,
    box_tank,
    Elsewhere,
    elsewhere,
    said,
    said_elsewhere,
    together,
    wedge_tank,
)
from gaugelight.problems import WrongBoxFile

LEVEL = Attitude()


def litres(tank: Tank, attitude: Attitude, height: float) -> float:
    return float(Level(tank, attitude).litres(np.array([height]))[0])


# --- volumes: closed forms (Bronshtein, Semendyayev, Handbook of Mathematics, 3.3.2, from memory) ---


def test_prism() -> None:
    """V = base x height; level, the box fills by its height."""
    assert litres(box_tank(2, 0.3, 0.6), LEVEL, 0.12) == pytest.approx(1000 * 2 * 0.6 * 0.12)
    assert wedge_tank(2, 0.3, 0.1, 0.6).litres == pytest.approx(1000 * 0.6 * 2 * (0.3 + 0.1) / 2)


def test_triangular_prism_in_the_corner_of_a_tilted_box() -> None:
    """With dihedral the fuel lies in the inner corner: V = chord x depth x wet length / 2."""
    degrees, wet = 4.0, 0.8
    depth = wet * math.tan(math.radians(degrees))
    surface = depth * math.cos(math.radians(degrees))  # above the corner
    assert litres(box_tank(2, 0.3, 0.6, degrees), LEVEL, surface) == pytest.approx(
        1000 * 0.6 * depth * wet / 2
    )


def test_tetrahedron_in_the_corner() -> None:
    """V = a b c / 6 of three edges that meet at right angles: dihedral and nose up, fuel in the inner rear corner."""
    tank, attitude = box_tank(2, 0.3, 0.6, 3.0), Attitude("climb", nose_up=8)
    level = Level(tank, attitude)
    corner = level.height(0.0, 0.6, 0.0)
    rises = 0.03  # the surface above the corner
    a, b, c = rises / level.out, rises / -level.back, rises / level.up
    assert a < 2 and b < 0.6 and c < 0.3
    assert litres(tank, attitude, corner + rises) == pytest.approx(1000 * a * b * c / 6)


def test_obliquely_cut_prism() -> None:
    """V = base x the mean of the four edges' heights, where the surface cuts all four walls of a box."""
    tank, attitude = box_tank(2, 0.6, 0.6, 3.0), Attitude("climb", nose_up=6)
    level, height = Level(tank, attitude), 0.28
    edges = [
        float(level.in_tank(np.array([height]), span, chord)[0])
        for span in (0.0, 2.0)
        for chord in (0.0, 0.6)
    ]
    assert all(0 < edge < 0.6 for edge in edges)
    assert litres(tank, attitude, height) == pytest.approx(1000 * 2 * 0.6 * sum(edges) / 4)


@pytest.mark.parametrize("slope", [0.0, 0.4, 1.2])
def test_wedge(slope: float) -> None:
    """V = b h (2 a + a1) / 6: base a x b, ridge a1 at height h. A trough of floor a whose sides lean out, nose up: fuel against the rear wall
    covers b of the floor; the ridge is the surface's line on that wall."""
    floor, high, pitch, wet = 0.5, 0.4, 10.0, 0.7
    tank = Tank(((0.0, 0.0), (floor, 0.0), (floor + slope * high, high), (-slope * high, high)), 1.0)
    depth = wet * math.tan(math.radians(pitch))
    ridge = floor + 2 * slope * depth
    attitude = Attitude("climb", nose_up=pitch)
    level = Level(tank, attitude)
    surface = level.height(0.0, 1.0, depth)
    assert litres(tank, attitude, surface) == pytest.approx(1000 * wet * depth * (2 * floor + ridge) / 6)


def test_pyramid() -> None:
    """V = base x height / 3: a keel of triangular section, nose up, fuel in its rear end."""
    tank = Tank(((0.0, 0.0), (0.3, 0.4), (-0.2, 0.4)), 1.0)
    attitude, wet = Attitude("climb", nose_up=12), 0.6
    depth = wet * math.tan(math.radians(12))
    base = depth * depth * (0.5 / 0.4) / 2
    surface = Level(tank, attitude).height(0.0, 1.0, depth)
    assert litres(tank, attitude, surface) == pytest.approx(1000 * base * wet / 3)


def random_tank(dice: random.Random) -> Tank:
    """A convex polygon of random corners on an ellipse."""
    angles = sorted(dice.uniform(0, 2 * math.pi) for _ in range(dice.randint(3, 8)))
    corners = tuple((1.2 * math.cos(a), 0.2 * math.sin(a)) for a in angles)
    return Tank(
        corners if dice.random() < 0.5 else corners[::-1], dice.uniform(0.2, 1.5), dice.uniform(-8, 8)
    )


@pytest.mark.parametrize("seed", range(40))
def test_any_prism_against_qhull(seed: int) -> None:
    """scipy's Qhull: the volume of what the section's sides, the end walls and the surface leave, at three heights."""
    dice = random.Random(seed)
    tank = random_tank(dice)
    assume_ok = ConvexHull(np.array(tank.corners)).volume > 0.02
    if not assume_ok:
        return
    attitude = Attitude("any", dice.uniform(-15, 15), dice.uniform(-10, 10))
    level = Level(tank, attitude)
    middle = np.mean(tank.corners, axis=0)
    sides = []
    for (y0, z0), (y1, z1) in zip(tank.corners, [*tank.corners[1:], tank.corners[0]]):
        normal = np.array([z1 - z0, y0 - y1])
        offset = -normal @ np.array([y0, z0])
        if normal @ middle + offset > 0:
            normal, offset = -normal, -offset
        sides.append([0.0, *normal, offset])
    walls = [[-1.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, -tank.chord]]
    for share in (0.25, 0.5, 0.85):
        height = level.corners[0] + share * (level.corners[-1] - level.corners[0])
        surface = [level.back, level.out, level.up, -height]
        planes = np.array([*sides, *walls, surface])
        start = feasible(planes)
        if start is None:
            continue
        theirs = ConvexHull(HalfspaceIntersection(planes, start).intersections).volume
        assert litres(tank, attitude, height) == pytest.approx(1000 * theirs, rel=1e-7)


def feasible(planes: Any) -> Any:
    """A point within, the farthest from all planes (Chebyshev's centre, by linear programming)."""
    from scipy.optimize import linprog

    norms = np.linalg.norm(planes[:, :3], axis=1)[:, None]
    found = linprog(
        [0, 0, 0, -1],
        A_ub=np.hstack([planes[:, :3], norms]),
        b_ub=-planes[:, 3],
        bounds=[(None, None)] * 3 + [(0, None)],
    )
    return found.x[:3] if found.success and found.x[3] > 1e-6 else None


@pytest.mark.parametrize("seed", range(4))
def test_any_prism_against_monte_carlo(seed: int) -> None:
    """200,000 points in the tank's bounding box; five standard deviations."""
    dice, rng = random.Random(100 + seed), np.random.default_rng(seed)
    tank = random_tank(dice)
    attitude = Attitude("any", dice.uniform(-15, 15), dice.uniform(-10, 10))
    level = Level(tank, attitude)
    corners = np.array(tank.corners)
    low, high = corners.min(0), corners.max(0)
    n = 200_000
    x, y, z = rng.uniform(0, tank.chord, n), rng.uniform(low[0], high[0], n), rng.uniform(low[1], high[1], n)
    hull = ConvexHull(corners)
    inside = np.all(hull.equations[:, :2] @ np.array([y, z]) + hull.equations[:, 2:] <= 0, axis=0)
    height = level.corners[0] + 0.45 * (level.corners[-1] - level.corners[0])
    wet = inside & (x * level.back + y * level.out + z * level.up <= height)
    whole = 1000 * tank.chord * float(np.prod(high - low))
    share = float(np.mean(wet))
    assert litres(tank, attitude, height) == pytest.approx(
        whole * share, abs=5 * whole * math.sqrt(share * (1 - share) / n) + 1e-9
    )


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(-20, 20), st.floats(-15, 15))
def test_more_height_is_more_fuel_up_to_all_of_it(seed: int, nose: float, wing: float) -> None:
    tank = random_tank(random.Random(seed))
    assume(tank.litres > 1)
    level = Level(tank, Attitude("any", nose, wing))
    filled = level.litres(np.linspace(level.corners[0], level.corners[-1], 101))
    assert filled[0] == pytest.approx(0, abs=1e-9 * tank.litres)
    assert filled[-1] == pytest.approx(tank.litres, rel=1e-9)
    assert np.all(np.diff(filled) >= -1e-9 * tank.litres)


def test_nearly_level_is_level() -> None:
    """No cancellation where the nose is up by next to nothing."""
    tank = wedge_tank(2, 0.3, 0.1, 0.6, 4)
    level, hair = (litres(tank, Attitude("", nose_up=up), 0.1) for up in (0.0, 1e-9))
    assert hair == pytest.approx(level, rel=1e-8)


# --- where the surface stands, and what the float makes of it ---


def test_a_float_on_a_lever() -> None:
    """Its track is even by angle: 50 mm up of an arm of 100 mm, travel 80 mm either way, is 30 of 53.13 degrees (by hand)."""
    one = Float("lever", 0, 0, 0.02, 0.18, 0, 90, arm=0.1)
    assert float(one.ohms(np.array([0.15]))[0]) == pytest.approx(
        45 * (1 + 30 / math.degrees(math.asin(0.8))), rel=1e-9
    )
    even = replace(one, arm=None)
    assert even.ohms(np.array([0.0, 0.02, 0.06, 0.18, 0.3])) == pytest.approx([0, 0, 22.5, 90, 90])


# --- the pair, by hand ---

FLAT = box_tank(2.0, 0.2, 0.5)  # 200 l, a litre a millimetre
PAIRS: dict[str, tuple[tuple[float, float], tuple[float, float], dict[str, Any]]] = {
    # heights of the floats in mm: what follows in litres
    "end to end": ((0, 100), (100, 200), {"gap": None, "overlap": 0, "below": 0, "above": 0}),
    "they overlap": ((0, 120), (90, 200), {"gap": None, "overlap": (90, 120), "below": 0, "above": 0}),
    "a gap": ((0, 80), (110, 200), {"gap": (80, 110), "overlap": None, "below": 0, "above": 0}),
    "blind below and above": (
        (20, 120),
        (90, 180),
        {"gap": None, "overlap": (90, 120), "below": 20, "above": 20},
    ),
    "one within the other": (
        (0, 200),
        (50, 150),
        {"gap": None, "overlap": (50, 150), "below": 0, "above": 0},
    ),
    "side by side": ((10, 190), (10, 190), {"gap": None, "overlap": (10, 190), "below": 10, "above": 10}),
    "upper one named first": (
        (110, 200),
        (0, 80),
        {"gap": (80, 110), "overlap": None, "below": 0, "above": 0},
    ),
}


def pair(one: tuple[float, float], other: tuple[float, float], tank: Tank = FLAT, **given: Any) -> Together:
    floats = [
        Float(name, span, 0.2, low / 1000, high / 1000, 0, 90)
        for name, span, (low, high) in (("inner", 0.3, one), ("outer", 1.6, other))
    ]
    return together(tank, floats, unit="l", **given)


@pytest.mark.parametrize("one, other, follows", PAIRS.values(), ids=PAIRS)
def test_pairs(one: tuple[float, float], other: tuple[float, float], follows: dict[str, Any]) -> None:
    found = pair(one, other)
    assert found.full == pytest.approx(200)
    gap, overlap = found.gap, found.overlap
    assert (None if gap is None else (gap.low, gap.high)) == pytest.approx(follows["gap"])
    if follows["overlap"] == 0:
        assert overlap is not None and overlap.width == pytest.approx(0, abs=1e-9)
    else:
        assert (None if overlap is None else (overlap.low, overlap.high)) == pytest.approx(follows["overlap"])
    assert (found.below, found.above) == pytest.approx((follows["below"], follows["above"]), abs=1e-9)
    assert found.error <= 0.002 * 200
    for litre in range(0, 201, 5):  # what the box shows, by hand: each float even by height
        ohms = sum(90 * min(max((litre - low) / (high - low), 0), 1) for low, high in (one, other))
        shown = float(found.reading(np.array([ohms]))[0])
        bottom, top = min(one[0], other[0]), max(one[1], other[1])
        allowed = 0.002 * 200 + 1e-6
        if litre <= bottom:
            assert shown == pytest.approx(0, abs=1e-6)
        elif gap is not None and gap.low <= litre <= gap.high:
            assert shown == pytest.approx(gap.low, abs=allowed)
        elif litre >= top:
            assert shown == pytest.approx(top, abs=allowed)
        else:
            crossing = any(stretch.low <= litre <= stretch.high for stretch in found.crossed)
            assert shown == pytest.approx(litre, abs=allowed) or crossing and shown < litre


WORDS: dict[str, tuple[tuple[float, float], tuple[float, float], list[str], list[str]]] = {
    "a gap": ((0, 80), (110, 200), ["GAP: from 80 to 110 l", "nothing can be read", "up to 30 l too little"], ["both move"]),
    "an overlap": ((0, 120), (90, 200), ["both move from 90 to 120 l"], ["GAP", "neither moves"]),
    "blind ends": ((20, 120), (90, 180), ["below 20 l neither moves: 0 is shown", "above 180 l neither moves"], ["GAP"]),
}  # fmt: skip


@pytest.mark.parametrize("one, other, there, missing", WORDS.values(), ids=WORDS)
def test_said(
    one: tuple[float, float], other: tuple[float, float], there: list[str], missing: list[str]
) -> None:
    text = "\n".join(said(pair(one, other)))
    assert all(words in text for words in there) and not any(words in text for words in missing)


# --- the table and the box file ---

TANKS: dict[str, tuple[Tank, Attitude]] = {
    "box": (box_tank(2.0, 0.25, 0.6), LEVEL),
    "box, dihedral": (box_tank(2.0, 0.25, 0.6, 5.0), LEVEL),
    "wedge, dihedral, nose up": (wedge_tank(2.0, 0.25, 0.14, 0.6, 5.0), Attitude("climb", nose_up=4)),
    "six corners": (
        Tank(((0, 0.02), (0.2, 0), (1.8, 0.03), (2, 0.06), (2, 0.16), (0, 0.25)), 0.6, 3.0),
        Attitude("descent", nose_up=-3),
    ),
}
FLOATS = (
    Float("inner float", 0.15, 0.3, 0.03, 0.2, 2, 92),
    Float("outer float", 1.7, 0.3, 0.045, 0.13, 3, 90, arm=0.12),
)
BACKWARDS = tuple(replace(one, at_low=one.at_high, at_high=one.at_low) for one in FLOATS)

FILE = """[box]
name = "tank"
board = "rp2040"
[converter.aft]
kind = "ads1115"
address = 0x48
[[input]]
name = "sender rail"
pin = "aft.3"
circuit = {{ kind = "direct" }}
unit = "V"
nominal = "3.3 V"
[[input]]
name = "left fuel"
pin = "aft.0"
circuit = {{ kind = "pull-up", resistor = "200 ohm", rail = "sender rail" }}
unit = "{unit}"
step = 0.5
{series}
"""


@pytest.mark.parametrize("tank, attitude", TANKS.values(), ids=TANKS)
@pytest.mark.parametrize(
    "floats, unit, unusable", [(FLOATS, "US gal", 0.0), (BACKWARDS, "l", 3.0)], ids=["rising", "falling"]
)
def test_the_box_file_takes_it(
    tank: Tank, attitude: Attitude, floats: tuple[Float, ...], unit: str, unusable: float
) -> None:
    """And its law is the table's, within what it says of the geometry, which is computed here by bisection on the surface's height."""
    found = together(tank, floats, attitude, unit, unusable)
    box = box_of_text("tank.toml", FILE.format(unit=unit, series="\n".join(box_file_lines(found))))
    fuel = box.input("left fuel")
    assert fuel is not None
    per_litre = {"US gal": 1 / 3.785411784, "l": 1.0}[unit]
    level = Level(tank, attitude)
    wanted = np.linspace(0, found.full, 200)
    low, high = np.full(200, level.corners[0]), np.full(200, level.corners[-1])
    for _ in range(50):
        middle = (low + high) / 2
        less = level.litres(middle) * per_litre - unusable < wanted
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    ohms = sum(one.ohms(level.in_tank(low, one.span, one.chord)) for one in found.floats)
    shown = fuel.law.reading(np.asarray(ohms))
    assert shown == pytest.approx(found.reading(np.asarray(ohms)), abs=1e-6)
    checked = 0
    for quantity, says in zip(wanted, shown):
        assert says <= quantity + 0.002 * (found.full + unusable)
        # elsewhere it reads too little, and says so
        if quantity < found.full - found.above and not any(
            s.low <= quantity <= s.high for s in found.crossed
        ):
            assert says == pytest.approx(quantity, abs=found.error + 2e-3)
            checked += 1
    assert checked > 100 and found.error <= 0.002 * (found.full + unusable)


def test_few_points() -> None:
    """As many as are asked for closeness: a tenth of it takes more."""
    tank, attitude = TANKS["wedge, dihedral, nose up"]
    coarse, fine = (together(tank, FLOATS, attitude, close=close) for close in (0.005, 0.0005))
    assert sum(map(len, coarse.lists)) < sum(map(len, fine.lists)) < 120
    assert coarse.error <= 0.005 * coarse.full and fine.error <= 0.0006 * fine.full


def test_a_straight_tank_needs_only_ends() -> None:
    assert [len(points) for points in pair((0, 100), (100, 200)).lists] == [2, 2]


def test_lines_are_toml() -> None:
    """The 30 l that nobody sees are crossed four times as steeply as 200 l lie on 180 ohm: 6.75 ohm, where 116.75 l are (by hand)."""
    found = tomllib.loads("\n".join(box_file_lines(pair((0, 80), (110, 200)))))["series"]
    assert found == [
        [["0 ohm", 0], ["90 ohm", 80]],
        [["0 ohm", 80], ["6.75 ohm", pytest.approx(116.75, abs=0.051)], ["90 ohm", 200]],
    ]


def test_elsewhere() -> None:
    """A box of 2 m, one float at each end: 2 degrees of wing down move the surface there by 2 tan 2 = 69.8 mm between them (by hand), and of
    two floats even by height at equal distances from the middle the sum stays where both move."""
    tank = box_tank(2.0, 0.4, 0.5)
    floats = [Float(name, span, 0.25, 0.02, 0.38, 0, 90) for name, span in (("inner", 0.4), ("outer", 1.6))]
    found = together(tank, floats, unit="l")
    half = elsewhere(tank, found, Attitude("turn", wing_down=2), at=[0.5])[0]
    assert half.quantity == pytest.approx(200) and half.shown == pytest.approx(200, abs=0.5)
    one_sided = replace(floats[0], span=0.2)
    found = together(tank, [floats[1], replace(one_sided, span=1.2)], unit="l")
    half = elsewhere(tank, found, Attitude("turn", wing_down=2), at=[0.5])[0]
    # both floats lie outboard of the middle, by 0.6 and 0.2 m: the surface stands higher there by 0.4 tan 2 on the mean
    assert half.shown - 200 == pytest.approx(1000 * 0.4 * math.tan(math.radians(2)), rel=0.02)


SAID_ELSEWHERE: dict[str, tuple[list[tuple[float, float, float]], list[str]]] = {
    "more": ([(0, 0, 0), (100, 112, 100), (200, 198, 190)], ["100 shows 112", "at 100 that is 12 l more than in level flight", "nose +10", "down +0"]),
    "less": ([(0, 0, 0), (100, 88, 100), (200, 180, 180)], ["at 100 that is 12 l less"]),
    "none": ([(0, 0, 0), (100, 100.5, 100)], ["no more than 0.5 from level flight"]),
}  # fmt: skip


@pytest.mark.parametrize("rows, words", SAID_ELSEWHERE.values(), ids=SAID_ELSEWHERE)
def test_said_elsewhere(rows: list[tuple[float, float, float]], words: list[str]) -> None:
    found = said_elsewhere(
        pair((0, 100), (100, 200)), Attitude("on the ground", 10), [Elsewhere(*row) for row in rows]
    )
    assert all(each in found[0] for each in words), found


def good(**changed: Any) -> list[Float]:
    return [
        Float("inner", 0.3, 0.2, 0.0, 0.1, 0, 90),
        replace(Float("outer", 1.6, 0.2, 0.1, 0.2, 0, 90), **changed),
    ]


WRONG: dict[str, tuple[Any, str]] = {
    "two corners": (lambda: Tank(((0, 0), (1, 1)), 1), "three corners"),
    "on one line": (lambda: Tank(((0, 0), (1, 1), (2, 2)), 1), "on one line"),
    "a dent": (lambda: Tank(((0, 0), (2, 0), (1, 0.1), (0, 1)), 1), "convex"),
    "a star": (lambda: Tank(((0, 1), (0.6, -0.8), (-1, 0.3), (1, 0.3), (-0.6, -0.8)), 1), "convex"),
    "no chord": (lambda: box_tank(1, 1, 0), "chord of 0 m"),
    "no height": (lambda: box_tank(1, 0, 1), "three corners"),
    "below nought": (lambda: wedge_tank(1, -0.1, 0.2, 1), "no tank"),
    "steep dihedral": (lambda: box_tank(1, 1, 1, 45), "up to 20"),
    "steep attitude": (lambda: Attitude("spin", 70), "up to 30"),
    "not a number": (lambda: Attitude("spin", float("nan")), "up to 30"),
    "a mass": (lambda: together(FLAT, good(), unit="kg"), "kg is no volume"),
    "one float": (lambda: together(FLAT, good()[:1]), "two floats"),
    "outside along the span": (lambda: together(FLAT, good(span=2.5)), "outer: 2.5 m along the span lies outside the tank, 0 to 2 m"),
    "outside along the chord": (lambda: together(FLAT, good(chord=0.6)), "outer: 0.6 m along the chord"),
    "through the top": (lambda: together(FLAT, good(high=0.25)), "there the tank goes from 0 to 0.2 m"),
    "upside down": (lambda: together(FLAT, good(low=0.2, high=0.1)), "there the tank goes"),
    "no resistance": (lambda: together(FLAT, good(at_high=0)), "is no sender"),
    "against each other": (lambda: together(FLAT, good(at_low=90, at_high=0)), "take each other away"),
    "a short arm": (lambda: together(FLAT, good(arm=0.04)), "cannot travel 0.1 m"),
    "all unusable": (lambda: together(FLAT, good(), unit="l", unusable=200), "unusable of 200 l"),
    "a float in the unusable": (lambda: together(FLAT, good(), unit="l", unusable=120), "inner stands at its top before"),
    "too close": (lambda: together(FLAT, good(), close=0), "0.001 to 10 %"),
}  # fmt: skip


@pytest.mark.parametrize("made, words", WRONG.values(), ids=WRONG)
def test_wrong(made: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        made()


TANK_FILE = """[tank]
shape = "box"
span = "2 m"
height = "40 cm"
chord = "50 cm"
unit = "l"
[[float]]
name = "inner"
span = "1.2 m"
chord = "25 cm"
low = "2 cm"
high = "38 cm"
at_low = "0 ohm"
at_high = "90 ohm"
[[float]]
name = "outer"
span = "1.6 m"
chord = "25 cm"
low = "2 cm"
high = "38 cm"
at_low = "0 ohm"
at_high = "90 ohm"
[[other_attitude]]
name = "in a turn"
wing_down = 2
"""
# other line: what is said, or what is wrong
OTHER_ATTITUDES = {
    "wing_down = 2": "in a turn (nose +0, this wing down +2 degrees)",
    "nose_up = 3\nwing_down = -1": "in a turn (nose +3, this wing down -1 degrees)",
    "wing_down = 45": "in a turn: attitudes up to 30 degrees",
    'wing_down = "2 deg"': "other_attitude 1: wing_down: '2 deg' is no number of degrees",
    "wing_up = 2": "other_attitude 1: unknown: wing_up",
}


@pytest.mark.parametrize("line, words", OTHER_ATTITUDES.items())
def test_other_attitudes_of_a_tank_file(tmp_path: Path, line: str, words: str) -> None:
    path = tmp_path / "tank.toml"
    path.write_text(TANK_FILE.replace("wing_down = 2", line))
    try:
        said = "\n".join(read_tank(path).said)
    except WrongBoxFile as wrong:
        said = "\n".join(wrong.lines)
    assert words in said
    if (
        line == "wing_down = 2"
    ):  # 0.4 m outboard of the middle: 1000 x 0.4 tan 2 degrees are 14 l (by hand, as above)
        assert re.search(r"at [123]00 that is 14 l more than in level flight", said)
