"""Curves: the box's lookup against exact fractions, the host's fit against its promise, and the demo's own inputs."""

from array import array
from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaugebox.curve import LIMIT, lookup, make_curve
from box_says import Sampled, settled
from gaugebox.measure import NO_INPUT
from gaugebox.table import Table
from gaugelight.boxfile import Input, read_box
from gaugelight.build import Build, build
from gaugelight.circuits import Direct, Divider, Floats, PullUp, Shunt
from gaugelight.converters import COUNTS, OnChip
from gaugelight.laws import Itself, Line, Points, Thermocouple
from gaugelight.curves import NoCurve, fit, values

if TYPE_CHECKING:
    from gaugebox.curve import Curve

DEMO, SENDERS = Path(str(files("gaugelight.demo") / "amphibian.toml")), Path(__file__).parent / "senders.toml"


def curve_through(*points: tuple[int, int]) -> "Curve":
    return make_curve(array("i", [x for x, _ in points]), array("i", [y for _, y in points]))


def exact(points: list[tuple[int, int]], n: int) -> Fraction:
    """The straight line between the two breakpoints around n."""
    k = max(k for k, (x, _) in enumerate(points[:-1]) if x <= n)
    (x0, y0), (x1, y1) = points[k], points[k + 1]
    return y0 + Fraction((n - x0) * (y1 - y0), x1 - x0)


# lookup

STEPS = st.lists(
    st.tuples(st.integers(1, 3), st.integers(0, 5))
    | st.tuples(st.integers(1, 5000), st.integers(0, 200_000))
    | st.tuples(st.integers(1, 1000), st.integers(0, 1_000_000)),
    min_size=1,
    max_size=254,
)


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    steps=STEPS,
    x=st.integers(-70_000, 70_000),
    y=st.integers(-1000, 1000),
    sign=st.sampled_from((1, -1)),
    data=st.data(),
)
def test_lookup_is_the_line_to_the_nearest_unit(
    steps: list[tuple[int, int]], x: int, y: int, sign: int, data: st.DataObject
) -> None:
    points = [(x, y)]
    for dx, dy in steps:
        points.append((points[-1][0] + dx, points[-1][1] + sign * dy))
    curve = curve_through(*points)
    for at, value in points:
        assert lookup(curve, at) == value
    places = st.lists(st.integers(x, points[-1][0]), min_size=1, max_size=30)
    asked = sorted(data.draw(places) + [p + 1 for p, _ in points[:-1]])
    said = [lookup(curve, n) for n in asked]
    for n, value in zip(asked, said):
        assert abs(value - exact(points, n)) <= Fraction(1, 2)
    assert said == sorted(said, reverse=sign < 0)


LOOKUPS = {
    "two breakpoints next to each other": ([(0, 0), (1, 7)], {0: 0, 1: 7}),
    "a half rounds up": ([(0, 0), (2, 1)], {0: 0, 1: 1, 2: 1}),
    "a half below nought rounds up too": ([(0, 0), (2, -1)], {0: 0, 1: 0, 2: -1}),
    "a third": ([(0, 0), (3, 1)], {1: 0, 2: 1}),
    "level": ([(-5, 3), (5, 3)], {-5: 3, 0: 3, 5: 3}),
    "all the counts": ([(0, 0), (65535, 16000)], {0: 0, 32768: 8000, 65535: 16000}),
    "the steepest that fits": ([(0, -LIMIT // 4), (1, LIMIT // 4)], {0: -LIMIT // 4, 1: LIMIT // 4}),
    "a bin that begins on a breakpoint": ([(0, 0), (64, 64), (4096, 64)], {63: 63, 64: 64, 65: 64, 4096: 64}),
}


@pytest.mark.parametrize("points, expected", LOOKUPS.values(), ids=LOOKUPS)
def test_lookup(points: list[tuple[int, int]], expected: dict[int, int]) -> None:
    curve = curve_through(*points)
    assert {n: lookup(curve, n) for n in expected} == expected


def staircase(n: int) -> tuple[list[int], list[int]]:
    return list(range(n)), list(range(n))


BIG = 2**31 - 1
REFUSED = {
    "none": ([], [], "2 to 255"),
    "one": ([0], [0], "2 to 255"),
    "too many": (*staircase(256), "2 to 255"),
    "more x than y": ([0, 1, 2], [0, 1], "2 to 255"),
    "x twice": ([0, 5, 5], [0, 1, 2], "breakpoint 2 does not lie right"),
    "x going back": ([0, 5, 4], [0, 1, 2], "breakpoint 2 does not lie right"),
    "rising, then falling": ([0, 1, 2], [0, 5, 4], "breakpoint 2 turns back"),
    "falling, then rising": ([0, 1, 2], [5, 0, 4], "breakpoint 2 turns back"),
    "level, then back to more": ([0, 1, 2, 3], [0, -1, 0, 1], "breakpoint 1 turns back"),
    "a product of 30 bits": ([0, 1 << 15], [0, 1 << 15], "segment 0 does not fit"),
    "a product of exactly the limit": ([0, 2], [0, LIMIT // 2 - 1], "segment 0 does not fit"),
    "in the second segment": ([0, 1, 1 << 16], [0, 1, 1 << 16], "segment 1 does not fit"),
    "y of 31 bits": ([0, 1], [LIMIT - 1, LIMIT], "segment 0 does not fit"),
    "y of -31 bits": ([0, 1], [-LIMIT, -LIMIT], "segment 0 does not fit"),
    "level but too wide": ([0, LIMIT], [0, 0], "not fit"),
    "x where the walk would not stop": ([LIMIT - 2, LIMIT], [0, 1], "not fit"),
    "x as far apart as can be": ([-BIG - 1, BIG], [0, 1], "not fit"),
    "y as far apart as can be": ([0, 1], [-BIG - 1, BIG], "not fit"),
}


@pytest.mark.parametrize("xs, ys, reason", REFUSED.values(), ids=REFUSED)
def test_refused(xs: list[int], ys: list[int], reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        make_curve(array("i", xs), array("i", ys))


ALLOWED = {
    "255 breakpoints": staircase(255),
    "one below the limit of a product": ([0, 2], [0, LIMIT // 2 - 2]),
    "nearly the limit in x": ([LIMIT - 4, LIMIT - 2], [0, 1]),
    "falling": ([0, 1, 2], [5, 5, 4]),
}


@pytest.mark.parametrize("xs, ys", ALLOWED.values(), ids=ALLOWED)
def test_allowed(xs: list[int], ys: list[int]) -> None:
    curve = make_curve(array("i", xs), array("i", ys))
    assert [lookup(curve, x) for x in xs] == ys


# ratio

WHOLE = [0, 20_000, 40_000, 60_000, 65_535]


class Plain:
    """A record whose signal is the count that is judged."""

    windows = (0, 0, 65535, 65535)
    faults = bytes(4)
    rail = cold = NO_INPUT
    cold_curve = None
    damping = 0
    signal_curve = reading_curve = make_curve(array("i", WHOLE), array("i", WHOLE))


def ratio(count: int, reference: int) -> int:
    """What a channel makes of a count and its rail's."""
    rail = Sampled(Plain())  # type: ignore[arg-type]
    channel = Sampled(Plain(), rail)  # type: ignore[arg-type]
    for _ in range(3):
        rail.step(reference, 20)
        channel.step(count, 20)
    channel.step(count, 20)
    assert not channel.fault
    return channel.signal


RATIOS = {
    "nothing of something": (0, 1),
    "nothing of all": (0, 65535),
    "half": (26400, 52800),
    "just below one, smallest": (1, 2),
    "just below one, largest": (65534, 65535),
    "one of all": (1, 65535),
    "largest remainder": (65533, 65534),
    "a floor, not a rounding": (2, 3),
}


@pytest.mark.parametrize("count, reference", RATIOS.values(), ids=RATIOS)
def test_ratio(count: int, reference: int) -> None:
    assert ratio(count, reference) == count * 65536 // reference <= 65535


@pytest.mark.parametrize("count, reference", [(1, 1), (65535, 65535), (2, 1), (65535, 1)])
def test_no_less_than_the_rail_is_all_of_it(count: int, reference: int) -> None:
    assert ratio(count, reference) == 65535


@settings(derandomize=True, max_examples=300)
@given(pair=st.tuples(st.integers(0, 65535), st.integers(0, 65535)).map(sorted).filter(lambda p: p[0] < p[1]))
@example([65534, 65535])
def test_ratio_is_the_floor(pair: list[int]) -> None:
    count, reference = pair
    assert count << 14 < LIMIT
    assert ratio(count, reference) == count * 65536 // reference


# values


@settings(derandomize=True, deadline=None, max_examples=100)
@given(
    steps=st.lists(
        st.tuples(st.integers(1, 300), st.integers(0, 3) | st.integers(0, 3_000_000)), min_size=1, max_size=20
    ),
    x=st.integers(-70_000, 70_000),
    y=st.integers(-1000, 1000),
    sign=st.sampled_from((1, -1)),
)
def test_values_are_what_lookup_says(steps: list[tuple[int, int]], x: int, y: int, sign: int) -> None:
    points = [(x, y)]
    for dx, dy in steps:
        points.append((points[-1][0] + dx, points[-1][1] + sign * dy))
    curve = curve_through(*points)
    assert values(curve).tolist() == [lookup(curve, n) for n in range(x, points[-1][0] + 1)]


# fit: how few breakpoints it needs is held against a proven bound in test_least_breakpoints.py

Law = Callable[[Floats], Floats]
X0 = 1000
LAWS: dict[str, tuple[Law, float]] = {
    "straight": (lambda x: 3.7 * x - 12.25, 1.0),
    "level": (lambda x: 0 * x + 41.4, 1.0),
    "square root": (lambda x: 300 * np.sqrt(x), 2.0),
    "square": (lambda x: (x / 100) ** 2, 3.0),
    "falling exponential": (lambda x: 90_000 * np.exp(-x / 5000), 5.0),
    "thermistor-like": (lambda x: 20_000 * np.log(70_000 / (x + 500)), 10.0),
    "a corner": (lambda x: np.maximum(0.0, 2.5 * (x - 20_000)), 1.0),
    "a tolerance below one counts as one": (lambda x: 3.7 * x, 0.2),
    "pull-up near an open wire": (lambda x: 150_000 * x / (70_000 - x), 40.0),
}


@pytest.mark.parametrize("law, tolerance", LAWS.values(), ids=LAWS)
def test_fit_keeps_its_tolerance(law: Law, tolerance: float) -> None:
    exact = law(np.arange(60_000.0))
    curve = fit(X0, exact, tolerance)
    said = np.array([lookup(curve, X0 + n) for n in range(60_000)])
    assert np.max(np.abs(said - exact)) <= max(tolerance, 1.0)
    assert (curve[0][0], curve[0][len(curve[1]) - 1]) == (X0, X0 + 59_999)


def test_fit_keeps_a_tolerance_that_changes() -> None:
    exact = (np.arange(60_000.0) / 150) ** 2
    tolerance = 2 + np.arange(60_000.0) / 1000
    curve = fit(0, exact, tolerance)
    said = np.array([lookup(curve, n) for n in range(60_000)])
    assert np.all(np.abs(said - exact) <= tolerance)
    assert len(curve[1]) < len(fit(0, exact, 2.0)[1])  # it is used where it is wide


THROUGH = {
    "none": ((), [0, 4999]),
    "two side by side": ((X0 + 700, X0 + 701), [0, 700, 701, 4999]),
    "both ends": ((X0 + 4999, X0), [0, 4999]),
    "one outside": ((X0 - 5, X0 + 5000, X0 + 20), [0, 20, 4999]),
}


@pytest.mark.parametrize("through, expected", THROUGH.values(), ids=THROUGH)
@pytest.mark.parametrize("slope", (3.7, -3.7), ids=("rising", "falling"))
def test_fit_goes_through_the_points_named(
    through: tuple[int, ...], expected: list[int], slope: float
) -> None:
    exact = slope * np.arange(5000.0) + 0.2
    curve = fit(X0, exact, 5.0, through)
    assert [x - X0 for x in curve[0][: len(curve[1])]] == expected
    for x in through:
        if X0 <= x < X0 + 5000:
            assert lookup(curve, x) == round(exact[x - X0])


NO_CURVE = {
    "a step of 31 bits": (lambda x: np.where(x < 50, 0.0, 2.0**30 + 4), "no rising straight line follows the law near 1049"),
    "a step of just 31 bits": (lambda x: np.where(x < 50, 0.0, 2.0**30 + 1), "near 1049"),
    "more bends than breakpoints": (lambda x: (x // 5) * 100, "2 to 255"),
    "turning back": (lambda x: np.abs(x - 1500) * 10, "no falling straight line follows the law near 2001"),
}  # fmt: skip


@pytest.mark.parametrize("law, reason", NO_CURVE.values(), ids=NO_CURVE)
def test_no_curve(law: Law, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        fit(X0, law(np.arange(2000.0)), 1.0)
    assert issubclass(NoCurve, ValueError)


# the demo's inputs: every count through the box's own code against the law written down once more, exactly


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(DEMO))


def exact_signal(one: Input, count: int) -> Fraction:
    """The signal at a count that is judged (of a pull-up: in the middle of a ratio of 65536), in the circuit's unit."""
    circuit = one.circuit
    load, protection = Fraction(one.converter.load), Fraction(getattr(circuit, "protection", 0))
    beside = 1 / (protection + load)  # siemens
    if isinstance(circuit, PullUp):
        # the rail's own input stands behind the same protection, so the ratio is that of junction and rail
        junction = (count + Fraction(1, 2)) / 65536
        return junction / ((1 - junction) / Fraction(circuit.resistor) - junction * beside)
    if isinstance(one.converter, OnChip):
        # counts between the codes are never seen
        volts = (Fraction(count >> 4) + Fraction(1, 2)) / 4096 * Fraction("3.3")
    else:
        volts = Fraction(count) / 65536 * Fraction("4.096")
    junction = volts * (protection + load) / load
    if isinstance(circuit, Shunt):
        return junction * (1 / Fraction(circuit.resistor) + beside) * 1000
    if isinstance(circuit, Divider):
        return junction + junction * (1 / Fraction(circuit.bottom) + beside) * Fraction(circuit.top)
    assert isinstance(circuit, Direct)
    return junction


def exact_reading(one: Input, signal: Fraction) -> Fraction:
    if isinstance(one.law, Itself):
        return signal
    assert isinstance(one.law, (Points, Line))
    points = one.law.points
    if isinstance(one.law, Points):
        signal = min(max(signal, points[0][0]), points[-1][0])
    k = max([k for k in range(len(points) - 1) if points[k][0] <= signal], default=0)
    (s0, r0), (s1, r1) = points[k], points[k + 1]
    return r0 + (signal - s0) * (r1 - r0) / (s1 - s0)


@pytest.mark.parametrize("box", [DEMO, SENDERS], ids=["demo", "every sender"])
def test_what_is_proven_is_what_the_box_looks_up(box: Path) -> None:
    """The host reckons a whole curve at once: at every integer of every curve the box's own code says the same."""
    built = build(read_box(box))
    for curve in [curve for solved in built.inputs for curve in solved.curves] + [*built.lights.duty_curves]:
        first, last = curve[0][0], curve[0][len(curve[1]) - 1]
        assert [lookup(curve, n) for n in range(first, last + 1)] == values(curve).tolist()


NAMES = [one.name for one in read_box(DEMO).inputs]


@pytest.mark.parametrize("name", NAMES)
def test_every_count_of_the_demo(name: str, demo: Build) -> None:
    """A ramp over all counts, which go in where the box has them after the ratio; faults exactly outside the windows."""
    at = NAMES.index(name)
    solved, record = demo.inputs[at], Table(demo.image).inputs[at]
    one, (lowest, low, high, highest) = solved.input, solved.windows
    assert 0 <= lowest <= low < high <= highest < COUNTS
    record.damping = 0
    channel = Sampled(record)
    faults = [one.circuit.faults[0]] * lowest + [one.circuit.faults[1]] * (low - lowest)
    faults += [0] * (high - low + 1)
    faults += [one.circuit.faults[2]] * (highest - high) + [one.circuit.faults[3]] * (COUNTS - 1 - highest)
    signals, readings = [], []
    for _ in range(2):
        channel.step(0, 20)
    for count in range(COUNTS):
        channel.step(min(count + 1, COUNTS - 1), 20)  # the spike filter says the count before
        assert channel.fault == faults[count]
        if not channel.fault:
            signals.append(channel.signal)
            readings.append(channel.reading)

    signal_error = reading_error = Fraction(0)
    scale, reading_scale = 10**solved.signal_decimals, 10**solved.reading_decimals
    for count in seen(one, low, high):
        signal = exact_signal(one, count)
        signal_error = max(signal_error, abs(Fraction(signals[count - low], scale) - signal))
        reading = exact_reading(one, signal)
        reading_error = max(reading_error, abs(Fraction(readings[count - low], reading_scale) - reading))
    assert signal_error <= solved.signal_error_max * (1 + 1e-9)
    assert reading_error <= solved.reading_error_max * (1 + 1e-9)
    assert reading_error >= solved.reading_error_max * 0.9  # it is an error found, not a bound guessed
    assert solved.reading_error_max <= one.step / 4
    assert readings == sorted(readings) or readings == sorted(readings, reverse=True)


def test_a_thermocouple_keeps_its_error_whatever_its_cold_junction() -> None:
    """Counts over the window, the cold junction anywhere: both said by the box, the reading held against the exact law."""
    built = build(read_box(SENDERS))
    records = Table(built.image).inputs
    names = [record.name for record in records]
    cold = Sampled(records[names.index("box temperature")])
    for name in ("left head", "exhaust"):
        solved = built.inputs[names.index(name)]
        law, record = solved.input.law, records[names.index(name)]
        assert isinstance(law, Thermocouple)
        record.damping = 0
        couple = Sampled(record, None, cold)
        signals = solved.chain.signals()
        worst = 0.0
        for cold_count in range(cold.record.windows[1], cold.record.windows[2], 1500):
            settled(cold, cold_count)
            celsius = np.array([cold.reading / 10**cold.record.reading_decimals])
            added = law.cold_millivolts(celsius)[0]
            for count in range(solved.windows[1], solved.windows[2], 23):
                settled(couple, count)
                exact = law.reading(np.array([signals[count] + added]))[0]
                worst = max(worst, abs(couple.reading / 10**record.reading_decimals - exact))
        assert 0.9 * solved.reading_error_max < worst <= solved.reading_error_max <= solved.input.step / 4


def seen(one: Input, low: int, high: int) -> list[int]:
    """The counts in the window that the converter can give: on-chip one of 4,096 codes, else an even one or any ratio."""
    if isinstance(one.converter, OnChip):
        counts = [code << 4 | code >> 8 for code in range(4096)]
        return [count for count in counts if low <= count <= high]
    return list(range(low, high + 1))
