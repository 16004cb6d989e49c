"""Flicker against the points that are published of IEEE Std 1789-2015."""

import math

import pytest

from gaugelight.flicker import Region, limits, region

# most modulation in per cent: no observable effect, low risk. 100 and 120 Hz are the mains' points that every summary of the
# standard gives; 1250 and 3000 Hz are where all becomes free; the others by hand
IEEE_1789 = {
    1: (0.01, 0.025),
    60: (0.6, 1.5),
    89.9: (0.899, 2.2475),
    90: (2.997, 7.2),
    100: (3.33, 8.0),
    120: (3.996, 9.6),
    200: (6.66, 16.0),
    400: (13.32, 32.0),
    1250: (41.625, 100.0),
    1251: (41.6583, 100.0),
    3000: (99.9, 100.0),
    3001: (100.0, 100.0),
    20_000: (100.0, 100.0),
}


@pytest.mark.parametrize("hz, most", IEEE_1789.items())
def test_limits(hz: float, most: tuple[float, float]) -> None:
    said = limits(hz)
    assert (said.no_effect, said.low_risk) == pytest.approx(most, rel=1e-9)


REGIONS: dict[str, tuple[float, float, Region]] = {
    "the box at 4 kHz": (4000, 100, "no observable effect"),
    "chopped at 2 kHz": (2000, 100, "low risk"),
    "chopped at 1.25 kHz": (1250, 100, "low risk"),
    "chopped at 1.2 kHz": (1200, 100, "risky"),
    "chopped at 100 Hz": (100, 100, "risky"),
    "a filament on 50 Hz mains, some 10 %": (100, 10, "risky"),
    "a little on 60 Hz mains": (120, 9.5, "low risk"),
    "less on 60 Hz mains": (120, 3.9, "no observable effect"),
    "slow and slight": (8, 0.1, "low risk"),
    "steady": (8, 0, "no observable effect"),
}


@pytest.mark.parametrize("hz, modulation, said", REGIONS.values(), ids=REGIONS)
def test_region(hz: float, modulation: float, said: Region) -> None:
    assert region(hz, modulation) == said


def test_the_limits_rise_and_stand_one_above_the_other() -> None:
    every = [limits(hz / 10) for hz in range(1, 50_000, 7)]
    for one, next_one in zip(every, every[1:]):
        assert one.no_effect <= next_one.no_effect and one.low_risk <= next_one.low_risk
    assert all(most.no_effect <= most.low_risk <= 100 for most in every)


@pytest.mark.parametrize(
    "hz, modulation", [(0, 1), (-5, 1), (math.nan, 1), (100, -1), (100, 101), (100, math.nan)]
)
def test_no_light(hz: float, modulation: float) -> None:
    with pytest.raises(ValueError, match="no frequency|0 to 100"):
        region(hz, modulation)
