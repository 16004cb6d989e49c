"""Frequencies and duties of both chips, against arithmetic by hand and against the virtual board's machine.PWM."""

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gaugelight.pwm import CHIPS, FULL, Chip, compare, setting
from gaugelight.virtual import ChipInProcess, Inputs, Outputs

# By hand from the data sheets: hz = clock / (divider * steps), clock 125 and 150 MHz, the divider in sixteenths.
# The smallest divider is clock / (65534 hz) rounded up to a sixteenth, the steps are clock / (divider hz) rounded.
BY_HAND = {
    "rp2040, the lowest: 238.42 up": ("rp2040", 8, "238.4375", 65531),
    "rp2040, 100 Hz: 19.07 up": ("rp2040", 100, "19.125", 65359),
    "rp2040, 1 kHz: 1.907 up": ("rp2040", 1000, "1.9375", 64516),
    "rp2040, the last that is divided": ("rp2040", 1907, "1.0625", 61692),
    "rp2040, the first that is not": ("rp2040", 1908, "1", 65514),
    "rp2040, 4 kHz": ("rp2040", 4000, "1", 31250),
    "rp2040, 20 kHz": ("rp2040", 20_000, "1", 6250),
    "rp2040, 70 kHz: 1785.71 rounded": ("rp2040", 70_000, "1", 1786),
    "rp2040, two steps": ("rp2040", 62_500_000, "1", 2),
    "rp2350, the lowest: 254.32 up": ("rp2350", 9, "254.375", 65520),
    "rp2350, the last that is divided": ("rp2350", 2288, "1.0625", 61703),
    "rp2350, the first that is not": ("rp2350", 2289, "1", 65531),
    "rp2350, 4 kHz": ("rp2350", 4000, "1", 37500),
    "rp2350, 20 kHz": ("rp2350", 20_000, "1", 7500),
}


@pytest.mark.parametrize("name, hz, divider, steps", BY_HAND.values(), ids=BY_HAND)
def test_by_hand(name: str, hz: int, divider: str, steps: int) -> None:
    clock = {"rp2040": 125_000_000, "rp2350": 150_000_000}[name]
    made = setting(CHIPS[name], hz)
    assert (made.divider, made.wrap, made.steps) == (Fraction(divider), steps - 1, steps)
    assert made.hz == clock / (Fraction(divider) * steps)
    assert made.tick == pytest.approx(float(divider) / clock, rel=1e-15)


@pytest.mark.parametrize(
    "name, hz, told",
    [
        ("rp2040", 7, "starts at 8 Hz"),
        ("rp2350", 8, "starts at 9 Hz"),
        ("rp2040", 0, "starts at 8 Hz"),
        ("rp2350", -1, "starts at 9 Hz"),
        ("rp2040", 100_000_000, "62500000 Hz"),
        ("rp2350", 10**9, "75000000 Hz"),
    ],
)
def test_frequencies_that_are_not_there(name: str, hz: int, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        setting(CHIPS[name], hz)


def test_slices() -> None:
    """RP2040 data sheet 4.5.2: 8 slices; RP2350 data sheet 12.5: 12."""
    assert {name: chip.slices for name, chip in CHIPS.items()} == {"rp2040": 8, "rp2350": 12}


class Nothing:
    def step(self, milliseconds: int, outputs: Outputs) -> Inputs:
        return Inputs()


def board(chip: Chip) -> Any:
    """The virtual board's machine, which is an RP2040's: the RP2350's PWM differs in its clock only."""
    machine = ChipInProcess(Nothing()).machine
    setattr(machine, "_CLOCK_HZ", chip.clock_hz)
    return machine


BOARDS = [(chip, board(chip)) for chip in CHIPS.values()]
every_chip = pytest.mark.parametrize("chip, machine", BOARDS, ids=list(CHIPS))


@every_chip
@settings(derandomize=True, deadline=None)
@given(hz=st.integers(9, 100_000), duty=st.integers(0, FULL))
@example(hz=9, duty=FULL)
@example(hz=1907, duty=1)
@example(hz=2289, duty=2)
@example(hz=4000, duty=1234)
@example(hz=83_333_333, duty=30_000)
def test_as_the_board_does(chip: Chip, machine: Any, hz: int, duty: int) -> None:
    pwm = machine.PWM(15, freq=hz, duty_u16=duty)
    made = setting(chip, hz)
    registers = machine.PWM._div16[7], machine.PWM._top[7], machine.PWM._cc[15]
    assert registers == (made.divider * 16, made.wrap, compare(made, duty))
    assert pwm.freq() == int(made.hz + Fraction(1, 2))
    assert pwm.duty_u16() == (compare(made, duty) * FULL + made.steps // 2) // made.steps


@every_chip
def test_the_board_refuses_what_is_refused(chip: Chip, machine: Any) -> None:
    """The real board does not refuse what is too fast: it runs at something else."""
    for hz in (chip.lowest_hz - 1, 2 * chip.clock_hz):
        with pytest.raises(ValueError):
            machine.PWM(15, freq=hz, duty_u16=1)
    assert machine.PWM(15, freq=chip.lowest_hz, duty_u16=1).freq() == chip.lowest_hz


def test_a_duty_read_back_from_a_real_board() -> None:
    """An RP2040 at 4 kHz, told 1234, answers 1233: 588 of 31250 ticks (measured)."""
    made = setting(CHIPS["rp2040"], 4000)
    assert compare(made, 1234) == 588 and round(588 * FULL / 31250) == 1233


@pytest.mark.parametrize("chip", CHIPS.values(), ids=list(CHIPS))
@pytest.mark.parametrize("hz", [9, 250, 4000, 20_000, 100_000])
def test_every_duty(chip: Chip, hz: int) -> None:
    """The nearest number of ticks, both ends exactly, in order; an array as each by itself."""
    made = setting(chip, hz)
    duties = np.arange(FULL + 1)
    ticks = compare(made, duties)
    assert np.max(np.abs(ticks - duties / FULL * made.steps)) <= 0.5
    assert ticks[0] == 0 and ticks[-1] == made.steps <= FULL and np.all(np.diff(ticks) >= 0)
    assert [compare(made, duty) for duty in range(0, FULL + 1, 97)] == ticks[::97].tolist()


@pytest.mark.parametrize("duty", [-1, FULL + 1])
def test_no_duty(duty: int) -> None:
    made = setting(CHIPS["rp2040"], 4000)
    with pytest.raises(ValueError, match="0 to 65535"):
        compare(made, duty)
    with pytest.raises(ValueError, match="0 to 65535"):
        compare(made, np.array([0, duty]))
