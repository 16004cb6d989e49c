"""Filters against ngspice and against their own frequency response, summed over the harmonics of the pulses."""

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.filters import Filter, behind_divider, ripple, settling

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)
HZ = 4000.0
STAGES = {
    1: "R1 source out {ohms}\nC1 out 0 {farads}\n",
    2: "R1 source middle {ohms}\nC1 middle 0 {farads}\nR2 middle out {ohms}\nC2 out 0 {farads}\n",
}
DIVIDER = "R1 source out {top}\nR2 out 0 {bottom}\nC1 out 0 {farads}\n"
PULSES = """pulses of 1 V through {what}
V1 source 0 pulse(0 1 0 1p 1p {high} {period})
{parts}
.options reltol=1e-7 vntol=1e-9 abstol=1e-13 trtol=1
.tran {step} {end} 0 {step}
.control
run
meas tran high max v(out) from={start} to={end}
meas tran low min v(out) from={start} to={end}
.endc
.end
"""
STEP = """a step through {what}
V1 source 0 pulse(0 1 0 1p 1p 1 2)
{parts}
.options reltol=1e-7 vntol=1e-9 abstol=1e-13 trtol=1
.tran {step} {end} 0 {step}
.control
run
meas tran settled when v(out)={level}
.endc
.end
"""


def spice(tmp_path: Path, netlist: str, **values: object) -> dict[str, float]:
    """What ngspice measures."""
    place = tmp_path / "filter.cir"
    place.write_text(netlist.format(**values))
    run = subprocess.run(["ngspice", "-b", str(place)], capture_output=True, text=True, timeout=60)
    measured = re.findall(r"(?m)^(high|low|settled)\s*=\s*(\S+)", run.stdout)
    assert measured, run.stdout + run.stderr
    return {name: float(value) for name, value in measured}


def swing(tmp_path: Path, parts: str, slowest: float, duty: float) -> float:
    """Peak to peak over the last two periods, after ten of the slowest time constants."""
    periods = int(10 * slowest * HZ) + 3
    times = {"high": duty / HZ, "period": 1 / HZ, "step": 1 / HZ / 400}
    times |= {"start": (periods - 2) / HZ, "end": periods / HZ}
    said = spice(tmp_path, PULSES, what="a filter", parts=parts, **times)
    return said["high"] - said["low"]


CASES = {
    "one stage, slow": (Filter(10e3, 470e-9), 0.5),
    "one stage, a period long": (Filter(10e3, 25e-9), 0.2),
    "one stage, fast": (Filter(1e3, 25e-9), 0.9),
    "two stages, slow": (Filter(10e3, 47e-9, 2), 0.5),
    "two stages, slow, mostly low": (Filter(10e3, 47e-9, 2), 0.1),
    "two stages, a period long": (Filter(10e3, 25e-9, 2), 0.8),
    "two stages, fast": (Filter(1e3, 25e-9, 2), 0.5),
}


@needs_ngspice
@pytest.mark.parametrize("filter, duty", CASES.values(), ids=CASES)
def test_ripple(filter: Filter, duty: float, tmp_path: Path) -> None:
    parts = STAGES[filter.stages].format(ohms=filter.ohms, farads=filter.farads)
    slowest = filter.time_constant * {1: 1, 2: 2.618}[filter.stages]
    assert ripple(filter, HZ, duty) == pytest.approx(
        swing(tmp_path, parts, slowest, duty), rel=2e-3, abs=2e-6
    )
    assert ripple(filter, HZ, duty, 14) == pytest.approx(14 * ripple(filter, HZ, duty), rel=1e-12)


@needs_ngspice
def test_a_chopped_bus_behind_a_divider(tmp_path: Path) -> None:
    """47 and 10 kohm, 1 uF: the reference box's bus input, with a capacitor."""
    share, filter = behind_divider(47e3, 10e3, 1e-6)
    parts = DIVIDER.format(top=47e3, bottom=10e3, farads=1e-6)
    assert share == pytest.approx(0.175439, rel=1e-5) and filter.ohms == pytest.approx(8245.6, rel=1e-5)
    expected = swing(tmp_path, parts, filter.time_constant, 0.4)
    assert share * ripple(filter, HZ, 0.4) == pytest.approx(expected, rel=2e-3)


def harmonics(filter: Filter, hz: float, duty: float) -> float:
    """Peak to peak of the sum of the first 2000 harmonics, each through the filter's frequency response."""
    n = np.arange(1, 2001)
    s = 2j * np.pi * hz * n * filter.time_constant
    response = 1 / (1 + s) if filter.stages == 1 else 1 / (1 + 3 * s + s**2)
    pulses = (1 - np.exp(-2j * np.pi * n * duty)) / (2j * np.pi * n)
    size = 1 << 14
    spectrum = np.concatenate([[duty], pulses * response, np.zeros(size // 2 - 2000)])
    drawn = np.fft.irfft(spectrum) * size
    return float(np.ptp(drawn))


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    stages=st.sampled_from([1, 2]),
    periods=st.floats(0.05, 100),
    duty=st.floats(0.02, 0.98),
    hz=st.sampled_from([250.0, 4000.0, 20_000.0]),
)
def test_ripple_by_harmonics(stages: int, periods: float, duty: float, hz: float) -> None:
    """With time constants of a twentieth of a period to a hundred of them."""
    filter = Filter(10e3, periods / hz / 10e3, stages)
    assert ripple(filter, hz, duty) == pytest.approx(
        harmonics(filter, hz, duty), rel=3e-3, abs=2e-3 if periods < 1 else 0
    )


@needs_ngspice
@pytest.mark.parametrize("stages, share", [(1, 0.01), (1, 0.1), (2, 0.01), (2, 0.1)])
def test_settling(stages: int, share: float, tmp_path: Path) -> None:
    filter = Filter(10e3, 470e-9, stages)
    parts = STAGES[stages].format(ohms=10e3, farads=470e-9)
    seconds = spice(tmp_path, STEP, what="a filter", parts=parts, step=20e-6, end=0.1, level=1 - share)[
        "settled"
    ]
    assert settling(filter, share) == pytest.approx(seconds, rel=1e-3)


def test_settling_of_one_stage() -> None:
    """ln 100 time constants."""
    assert settling(Filter(1e3, 1e-6)) == pytest.approx(4.60517e-3, rel=1e-6)


@pytest.mark.parametrize("stages", [1, 2])
def test_no_ripple_at_the_ends(stages: int) -> None:
    filter = Filter(10e3, 470e-9, stages)
    assert [ripple(filter, HZ, duty) for duty in (0, 1)] == [0, 0]
    assert (
        ripple(filter, HZ, 0.5) > ripple(filter, HZ, 0.1) == pytest.approx(ripple(filter, HZ, 0.9), rel=1e-6)
    )


def test_a_second_stage_is_worth_more_than_one_twice_as_slow() -> None:
    one, slower, two = Filter(10e3, 470e-9), Filter(10e3, 940e-9), Filter(10e3, 470e-9, 2)
    assert ripple(two, 20_000, 0.5) < ripple(slower, 20_000, 0.5) / 50 < ripple(one, 20_000, 0.5) / 50


@pytest.mark.parametrize("duty", [-0.01, 1.01])
def test_no_duty(duty: float) -> None:
    with pytest.raises(ValueError, match="0 to 1"):
        ripple(Filter(10e3, 470e-9), HZ, duty)


@pytest.mark.parametrize(
    "ohms, farads, stages, told",
    [(1e3, 1e-6, 3, "write 1 or 2"), (0, 1e-6, 1, "above"), (1e3, 0, 2, "above")],
)
def test_no_filter(ohms: float, farads: float, stages: int, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        Filter(ohms, farads, stages)
