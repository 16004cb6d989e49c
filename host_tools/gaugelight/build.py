"""From a checked box to a proven table image: circuits solved, curves fitted, every count compared."""

from __future__ import annotations

import math
import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import table
from gaugebox.curve import lookup
from gaugebox.pins import BOARD
from gaugelight.boxfile import Box, Input, LampOutput
from gaugelight.circuits import COUNTS, Ads1115, Counts, Floats, PullUp, x_of_counts
from gaugelight.curves import NoCurve, breakpoints, fit
from gaugelight.fault_windows import count_windows
from gaugelight.laws import reading_of
from gaugelight.lightness import duty_of_knob, knob_count
from gaugelight.problems import Problem, WrongBoxFile

if TYPE_CHECKING:
    from gaugebox.curve import Curve

LARGEST_SIGNAL = 120_000  # units: a signal's decimals are as many as leave it below this
UNITS_A_STEP = 10  # a reading has at least this many units to a displayed step


@dataclass(frozen=True)
class SolvedInput:
    """An input ready for the box. Errors are the proven largest, in signal unit and reading unit."""

    input: Input
    windows: tuple[int, int, int, int]
    signal_decimals: int
    reading_decimals: int
    signal_curve: Curve
    reading_curve: Curve
    signal_error_max: float
    reading_error_max: float

    @property
    def damping_turns(self) -> int:
        return round(self.input.damping * 10)

    @property
    def breakpoints(self) -> int:
        return breakpoints(self.signal_curve) + breakpoints(self.reading_curve)


@dataclass(frozen=True)
class Build:
    box: Box
    inputs: tuple[SolvedInput, ...]
    lamp_curves: tuple[Curve, ...]
    image: bytes

    @property
    def crc32(self) -> int:
        return int.from_bytes(self.image[-4:], "little")


def solve_input(box: Box, one: Input) -> SolvedInput:
    """Fits and proves one input. Raises WrongBoxFile when its step cannot be kept."""
    signals = one.circuit.signal_of(x_of_counts(one.circuit, one.converter))
    windows = count_windows(one, signals)
    low, high = windows[1], windows[2]
    step = float(one.step)
    if high - low < 16:
        raise _refused(
            box,
            one,
            "the whole range is less than 16 counts of the converter; match the circuit to the sender",
        )
    law = reading_of(one, signals[low : high + 1])
    coarsest = float(np.max(np.abs(np.diff(law)))) * one.converter.quantum * COUNTS / one.converter.full_scale
    if coarsest > step / 2:
        what = (
            f"one step of the converter is up to {coarsest:.3g} {one.unit}, too coarse for a step of {step:g}"
        )
        raise _refused(box, one, what + "; match the circuit to the sender or choose a larger step")
    if signals[high] > 10 * LARGEST_SIGNAL:
        what = f"{signals[high]:.3g} {one.circuit.unit} are more than the box reckons with"
        raise _refused(box, one, what + f"; at most {10 * LARGEST_SIGNAL}")
    signal_decimals = max(0, math.floor(math.log10(LARGEST_SIGNAL / signals[high])))
    reading_decimals = max(0, math.ceil(math.log10(UNITS_A_STEP / step)))
    scale = 10.0**signal_decimals
    reading_scale = 10.0**reading_decimals
    largest = float(np.max(np.abs(law)))
    if (largest * reading_scale + 1) * max(1, round(one.damping * 10)) >= table.LARGEST_DAMPED:
        what = f"readings up to {largest:g} {one.unit} in steps of {step:g}, damped {float(one.damping):g} s"
        raise _refused(box, one, what + ", do not fit the box; choose a larger step or less damping")
    try:
        # an eighth of a step for each of the two curves; the signal's share through the law's steepest slope
        steepest = float(np.max(np.abs(np.diff(law) / np.diff(signals[low : high + 1]))))
        span = float(signals[high] - signals[low])
        tolerance = min(step / 8 / steepest, span / 1000)
        signal_curve = fit(low, signals[low : high + 1] * scale, max(1.0, tolerance * scale))
        units = np.arange(lookup(signal_curve, low), lookup(signal_curve, high) + 1)
        exact = reading_of(one, units / scale) * reading_scale
        reading_curve = fit(int(units[0]), exact, step / 8 * reading_scale)
    except (NoCurve, ValueError) as problem:
        raise _refused(box, one, f"no curve keeps its step: {problem}") from None
    said_signal = np.array([lookup(signal_curve, n) for n in range(low, high + 1)])
    said_reading = np.array([lookup(reading_curve, int(s)) for s in said_signal])
    signal_error = float(np.max(np.abs(said_signal / scale - signals[low : high + 1])))
    reading_error = float(np.max(np.abs(said_reading / reading_scale - law)))
    if reading_error > step / 4:
        what = f"the proven error {reading_error:.3g} {one.unit} is more than a quarter of its step {step:g}"
        raise _refused(box, one, what)
    return SolvedInput(
        one, windows, signal_decimals, reading_decimals, signal_curve, reading_curve, signal_error, reading_error
    )  # fmt: skip


def _refused(box: Box, one: Input, what: str) -> WrongBoxFile:
    return WrongBoxFile(box.file, [Problem(one.line, one.name, what)])


def solve_lamp(lamp: LampOutput) -> Curve:
    """Duty (0..65535) over the knob's count; off and full are exact."""
    counts = np.arange(COUNTS)
    duty, _ = duty_of_knob(lamp.curve, counts)
    return fit(0, duty, lamp_error(lamp, counts), through=(knob_count(0), knob_count(100)))


def lamp_error(lamp: LampOutput, counts: Counts) -> Floats:
    """How far a lamp's curve may lie from its law: 0.05 of lightness or two steps of duty, whichever is more."""
    return np.maximum(2.0, 0.05 * duty_of_knob(lamp.curve, counts)[1])


def build(box: Box) -> Build:
    """The proven image of a checked box. Raises WrongBoxFile."""
    inputs = tuple(solve_input(box, one) for one in box.inputs)
    lamp_curves = tuple(solve_lamp(lamp) for lamp in box.lamps)
    image = pack(box, inputs, lamp_curves)
    if len(image) > table.LARGEST:
        what = f"its table has {len(image)} bytes, the box takes {table.LARGEST}; choose larger steps"
        raise WrongBoxFile(box.file, [Problem(0, "box", what)])
    table.Table(image)  # the box's own judgement
    return Build(box, inputs, lamp_curves, image)


def pack(box: Box, inputs: tuple[SolvedInput, ...], lamp_curves: tuple[Curve, ...]) -> bytes:
    """The table image, laid out as gaugebox.table reads it."""
    sections = [(table.BOX, _text(box.name) + _text(BOARD))]
    for chip in box.chips:
        fixed = struct.pack(table.CHIP_FIXED, table.ADS1115, chip.address, chip.gain, chip.rate)
        sections.append((table.CHIP, fixed + _text(chip.name)))
    for solved in inputs:
        sections.append((table.INPUT, _pack_input(box, solved)))
    for lamp, curve in zip(box.lamps, lamp_curves):
        fixed = struct.pack(table.LAMP_FIXED, lamp.pin, lamp.knob, 0, lamp.frequency)
        sections.append((table.LAMP, _with_curves(fixed + _text(lamp.name), curve)))
    if (request := box.dim_request) is not None:
        follows = [lamp.name for lamp in box.lamps].index(request.follows)
        levels = knob_count(float(request.on_above)), knob_count(float(request.off_below))
        sections.append(
            (table.DIM_REQUEST, struct.pack(table.DIM_REQUEST_FIXED, request.pin, follows, *levels))
        )
    body = b""
    for kind, payload in sections:
        padding = bytes(-len(payload) % 4)
        body += struct.pack(table.SECTION, kind, table.CRITICAL, len(payload)) + payload + padding
    length = table.HEADER_SIZE + len(body) + 4
    content = struct.pack(table.HEADER, table.MAGIC, table.CONTAINER, len(sections), length) + body
    return content + struct.pack("<I", zlib.crc32(content))


def _pack_input(box: Box, solved: SolvedInput) -> bytes:
    one = solved.input
    converter = box.chips.index(one.converter) if isinstance(one.converter, Ads1115) else table.ON_CHIP
    normalise = table.NO_INPUT
    if isinstance(one.circuit, PullUp):
        normalise = [i.name for i in box.inputs].index(one.circuit.rail)
    fixed = struct.pack(
        table.INPUT_FIXED,
        converter,
        one.channel,
        normalise,
        table.NO_INPUT,
        *one.circuit.faults,
        *solved.windows,
        solved.signal_decimals,
        solved.reading_decimals,
        solved.damping_turns,
        round(one.step * 10**solved.reading_decimals),
    )
    texts = _text(one.name) + _text(one.circuit.unit) + _text(one.unit)
    return _with_curves(fixed + texts, solved.signal_curve, solved.reading_curve)


def _text(text: str) -> bytes:
    return bytes([len(text)]) + text.encode("ascii")


def _with_curves(payload: bytes, *curves: Curve) -> bytes:
    for curve in curves:
        n = breakpoints(curve)
        payload += bytes(-len(payload) % 4) + struct.pack(f"<I{n}i{n}i", n, *curve[0][:n], *curve[1])
    return payload
