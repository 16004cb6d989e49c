"""Wires against the copper wire tables and against FAA AC 43.13-1B."""

import pytest

from gaugelight.wires import (
    CONTINUOUS_DROP,
    GAUGES,
    OWN_DROP,
    Wire,
    area,
    diameter,
    largest_fuse,
    longest,
    ohms_per_metre,
    thinnest,
)

FOOT = 0.3048  # m, exact

# NBS Handbook 100 (Circular 31), solid annealed copper: diameter in inches, ohm per 1000 ft at 20 degC (from memory)
HANDBOOK = {
    10: (0.1019, 0.9989),
    12: (0.0808, 1.588),
    14: (0.0641, 2.525),
    16: (0.0508, 4.016),
    18: (0.0403, 6.385),
    20: (0.0320, 10.15),
    22: (0.0253, 16.14),
    24: (0.0201, 25.67),
}


@pytest.mark.parametrize("gauge", HANDBOOK)
def test_handbook(gauge: int) -> None:
    inches, ohms = HANDBOOK[gauge]
    assert diameter(gauge) / 25.4 == pytest.approx(inches, abs=0.00005)
    assert ohms_per_metre(gauge) * 1000 * FOOT == pytest.approx(ohms, rel=5e-4)
    # the circular mil of the tables is the square of the diameter in mil: 0.00050671 mm2
    assert area(gauge) == pytest.approx((diameter(gauge) / 0.0254) ** 2 * 5.0671e-4, rel=1e-4)


def test_the_two_gauges_that_the_scale_hangs_on() -> None:
    """ASTM B258: from AWG 36, 0.005 inch, 39 equal ratios up to 0.46 inch; so ten gauges are 3.197 to one."""
    assert diameter(10) / diameter(20) == pytest.approx(92 ** (10 / 39), rel=1e-12)
    assert diameter(10) / diameter(20) == pytest.approx(3.188, abs=0.001)


@pytest.mark.parametrize("celsius", [-40.0, 20.0, 80.0, 105.0])
def test_temperature(celsius: float) -> None:
    """AC 43.13-1B, 11-66d: lengths for the same drop are as 254.5 to 234.5 + T."""
    warmer = (234.5 + celsius) / 254.5
    assert ohms_per_metre(20, celsius) / ohms_per_metre(20) == pytest.approx(warmer, rel=1e-3)
    assert Wire(20, 3).ohms(celsius) / Wire(20, 3).ohms() == pytest.approx(warmer, rel=1e-3)


# FAA AC 43.13-1B, tables 11-7 and 11-8, the checks of their examples: gauge, feet of run, amperes, volts.
# (One more, 88 ft of AWG 12, is printed as 3.60 but is 3.56.)
EXAMPLES = [(14, 100, 20, 6.12), (10, 39, 20, 0.98), (10, 156, 20, 3.93)]


@pytest.mark.parametrize("gauge, feet, amperes, volts", EXAMPLES)
def test_drop(gauge: int, feet: float, amperes: float, volts: float) -> None:
    """Their runs include the ground wire, or the airframe, which counts as none."""
    assert Wire(gauge, feet * FOOT, airframe_return=True).drop(amperes) == pytest.approx(volts, abs=0.005)
    assert Wire(gauge, feet * FOOT / 2).drop(amperes) == pytest.approx(volts, abs=0.005)


@pytest.mark.parametrize("gauge", GAUGES)
def test_a_run_is_never_better_than_solid_copper_and_at_most_a_quarter_or_so_worse(gauge: int) -> None:
    solid = 10 * ohms_per_metre(gauge)
    assert solid <= Wire(gauge, 5).ohms() <= 1.28 * solid


@pytest.mark.parametrize("gauge", GAUGES)
def test_heat(gauge: int) -> None:
    """What the supply gives and the lamp does not get; 2 m and 3 m one way."""
    wire, longer = Wire(gauge, 2), Wire(gauge, 3)
    assert wire.heat(0.4) == pytest.approx(0.4 * wire.drop(0.4), rel=1e-12)
    assert wire.heat(0.8) == pytest.approx(4 * wire.heat(0.4), rel=1e-12)
    assert longer.heat_per_metre(0.4) == pytest.approx(wire.heat_per_metre(0.4), rel=1e-12)
    assert 6 * longer.heat_per_metre(0.4) == pytest.approx(longer.heat(0.4), rel=1e-12)
    assert Wire(gauge, 2, True).heat_per_metre(0.4) == pytest.approx(wire.heat_per_metre(0.4), rel=1e-12)


# FAA AC 43.13-1B, table 11-3: wire, fuse
TABLE_11_3 = {22: 5, 20: 5, 18: 10, 16: 10, 14: 15, 12: 20, 10: 30}


@pytest.mark.parametrize("gauge, amperes", TABLE_11_3.items())
def test_largest_fuse(gauge: int, amperes: float) -> None:
    assert largest_fuse(gauge) == amperes


def test_the_thinnest_wire_has_the_smallest_fuse() -> None:
    assert largest_fuse(24) < largest_fuse(22)


def test_which_drop_limit_is_the_stricter() -> None:
    """AC 43.13-1B, table 11-6: 0.5 V on a 14 V bus, continuously; the project's own 5 % are 0.7 V."""
    assert CONTINUOUS_DROP[14] == 0.5 < OWN_DROP * 14
    glare_shield = Wire(22, 2)
    assert glare_shield.drop(0.32) < CONTINUOUS_DROP[14] < glare_shield.drop(5)


@pytest.mark.parametrize("gauge", [0, 8, 11, 26])
def test_no_such_wire(gauge: int) -> None:
    for asked in (diameter, area, ohms_per_metre, largest_fuse, lambda g: Wire(g, 1)):
        with pytest.raises(ValueError, match="there are 10, 12, 14, 16, 18, 20, 22, 24"):
            asked(gauge)


def test_no_length() -> None:
    with pytest.raises(ValueError, match="0 m"):
        Wire(22, 0)


# the longest run by hand: 5 % of 14 V over twice 16.2 ohm per 1000 ft (AC 43.13-1B, table 11-9) at 0.5 A: 13.2 m
def test_longest() -> None:
    assert longest(22, 0.5, 14.0) == pytest.approx(0.7 / 0.5 / (2 * 16.2 / 304.8), rel=1e-9)


@pytest.mark.parametrize(
    "fuse, gauge", [(1, 22), (5, 22), (7.5, 18), (10, 18), (15, 14), (30, 10), (40, None)]
)
def test_thinnest(fuse: float, gauge: int | None) -> None:
    """By AC 43.13-1B, table 11-3; AWG 24 never, and for 40 A none of ours."""
    assert thinnest(fuse) == gauge
