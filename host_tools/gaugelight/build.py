"""From a checked box to a proven table image: circuits solved, curves fitted, every count compared."""

from __future__ import annotations

import math
import struct
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import light, table
from gaugebox.ads1115 import RATES
from gaugebox.measure import NO_INPUT
from gaugebox.pins import BOARD
from gaugelight.boxfile import Box, InFlight, Input
from gaugelight.chain import Chain, chain_of
from gaugelight.circuits import Floats
from gaugelight.converters import OnChip
from gaugelight.curves import Asked, NoCurve, breakpoints, decimals_of, values
from gaugelight.face_tables import face_sections
from gaugelight.fault_windows import count_windows
from gaugelight.laws import Itself, Line, Points, Thermocouple, celsius_of
from gaugelight.light_tables import SolvedLights, solve_lights, text, with_curves
from gaugelight.lights import BusOutput, Lamp, Lights
from gaugelight.readouts import Face, Page
from gaugelight.problems import Problem, WrongBoxFile

if TYPE_CHECKING:
    from gaugebox.curve import Curve

# units: a signal's decimals leave it below this, or, where that is too coarse, below ten times this
LARGEST_SIGNAL = 200_000
# a curve's tolerance is at least this many units, so that rounding to them costs few breakpoints
UNITS_TO_SPARE = 5
SIGNAL_SHARE, SIGNAL_SPAN = 1 / 1000, 1 / 4000  # of its value, and of its span: what a signal may be off by


@dataclass(frozen=True)
class SolvedInput:
    """An input ready for the box. Errors are the proven largest, in signal unit and reading unit.

    asked       what each of its curves was fitted to
    cold_curve  what the cold junction's reading adds to the signal
    """

    input: Input
    chain: Chain
    windows: tuple[int, int, int, int]
    signal_decimals: int
    reading_decimals: int
    signal_curve: Curve
    reading_curve: Curve
    signal_error_max: float
    reading_error_max: float
    asked: tuple[Asked, ...]
    cold_curve: Curve | None = None

    @property
    def damping_turns(self) -> int:
        return round(self.input.damping * 10)

    @property
    def curves(self) -> tuple[Curve, ...]:
        cold = () if self.cold_curve is None else (self.cold_curve,)
        return self.signal_curve, self.reading_curve, *cold

    @property
    def breakpoints(self) -> int:
        return sum(breakpoints(curve) for curve in self.curves)


@dataclass(frozen=True)
class Build:
    box: Box
    inputs: tuple[SolvedInput, ...]
    lights: SolvedLights
    image: bytes
    safe: bytes  # image that the box runs where it has no other: lamps on their knobs, and nothing else

    @property
    def crc32(self) -> int:
        return int.from_bytes(self.image[-4:], "little")

    @property
    def safe_crc32(self) -> int:
        return int.from_bytes(self.safe[-4:], "little")


def solve_input(box: Box, one: Input, cold: SolvedInput | None = None) -> SolvedInput:
    """Fits and proves one input; `cold` is the solved one of its cold junction. Raises WrongBoxFile when its step cannot be kept."""
    chain = chain_of(box, one)
    signals = chain.signals()
    windows = count_windows(one, chain, signals)
    low, high = windows[1], windows[2]
    window = signals[low : high + 1]
    if window[-1] > 10 * LARGEST_SIGNAL:
        what = f"{window[-1]:.3g} {one.circuit.unit} are more than the box reckons with; at most {10 * LARGEST_SIGNAL}"
        raise _refused(box, one, what)
    try:
        for tighter, largest in ((1.0, LARGEST_SIGNAL), (0.9, LARGEST_SIGNAL), (0.9, 10 * LARGEST_SIGNAL)):
            solved = _fitted(one, chain, windows, window, cold, tighter * float(one.step) / 4, largest)
            if solved.reading_error_max <= one.step / 4:
                return solved
    except (NoCurve, ValueError) as problem:
        raise _refused(box, one, f"no curve keeps its step: {problem}") from None
    what = f"the proven error {solved.reading_error_max:.3g} {one.unit} is more than a quarter of its step"
    raise _refused(box, one, what + f" {float(one.step):g}")


def _fitted(
    one: Input,
    chain: Chain,
    windows: tuple[int, int, int, int],
    signals: Floats,
    cold: SolvedInput | None,
    allowed: float,
    largest: int,
) -> SolvedInput:
    """The curves within an allowed error of the reading, shared out between them, and the error proven at every count."""
    low = windows[1]
    law = one.law.reading(signals)
    slope = np.abs(np.gradient(law, signals))
    slope = np.maximum.reduce([slope, np.append(slope[1:], 0), np.append(0, slope[:-1])])
    share = _signal_share(one, signals, slope)
    within = np.minimum(
        share * allowed / np.maximum(slope, 1e-12),
        SIGNAL_SHARE * np.abs(signals) + SIGNAL_SPAN * (signals[-1] - signals[0]),
    )
    finest = math.floor(math.log10(largest / float(np.max(np.abs(signals)))))
    if cold is not None:  # proven at the steepest; a quarter is left to the cold junction
        within = np.full(len(signals), 0.75 * float(np.min(within)))
    signal_decimals = max(0, min(finest, math.ceil(math.log10(UNITS_TO_SPARE / float(np.min(within))))))
    scale = 10.0**signal_decimals
    for_signal = Asked(low, signals * scale, within * scale)
    signal_curve = for_signal.fitted()

    step = float(one.step)
    reading_decimals = decimals_of(one.step)
    reading_scale = 10.0**reading_decimals
    if (float(np.max(np.abs(law))) * reading_scale + 1) * max(
        1, round(one.damping * 10)
    ) >= table.LARGEST_DAMPED:
        what = f"readings up to {np.max(np.abs(law)):g} {one.unit} in steps of {step:g}, damped {float(one.damping):g} s,"
        raise NoCurve(what + " do not fit the box; choose a larger step or less damping")
    said = values(signal_curve)
    first, last = int(said[0]), int(said[-1])
    for_cold = (
        None if cold is None else _cold_law(one, cold, scale, share * allowed / float(np.max(slope)) / 4)
    )
    cold_curve = None if for_cold is None else for_cold.fitted()
    if cold_curve is not None:
        first, last = first + min(cold_curve[1]), last + max(cold_curve[1])
    exact = one.law.reading(np.arange(first, last + 1) / scale) * reading_scale
    within_reading = np.full(len(exact), (1 - share) * allowed * reading_scale)
    # no less than empty, no more than full
    held = one.law.span if isinstance(one.law, Points) else None
    between = None if held is None else (held[0] * reading_scale, held[1] * reading_scale)
    for_reading = Asked(first, exact, within_reading, between)
    reading_curve = for_reading.fitted()

    signal_error = float(np.max(np.abs(said / scale - signals)))
    if cold_curve is None or for_cold is None:
        said_reading = values(reading_curve)[said - first]
        reading_error = float(np.max(np.abs(said_reading / reading_scale - law)))
    else:
        # no count has one reading: the curve's own error, and what the errors of signal and cold junction come to at the steepest
        said_reading = values(reading_curve)
        own = float(np.max(np.abs(said_reading - exact))) / reading_scale
        cold_error = float(np.max(np.abs(values(cold_curve) - for_cold.law))) / scale
        steepest = float(np.max(np.abs(np.diff(exact)))) * scale / reading_scale
        reading_error = own + steepest * (signal_error + cold_error)
    asked = (for_signal, for_reading) if for_cold is None else (for_signal, for_reading, for_cold)
    return SolvedInput(
        one, chain, windows, signal_decimals, reading_decimals, signal_curve, reading_curve, signal_error, reading_error,
        asked, cold_curve,
    )  # fmt: skip


def _signal_share(one: Input, signals: Floats, slope: Floats) -> float:
    """The signal curve's share of the allowed error, so that both curves together need few breakpoints.

    The breakpoints a curve needs go with the integral of the root of its curvature over the error allowed it; a sender's
    points have theirs at their corners, however much is allowed.
    """
    bent = float(np.sum(np.sqrt(np.abs(np.diff(signals, 2)) * slope[1:-1])))
    if isinstance(one.law, (Points, Line, Itself)):
        return 0.8
    line = np.linspace(signals[0], signals[-1], 4096)
    sender = float(np.sum(np.sqrt(np.abs(np.diff(one.law.reading(line), 2)))))
    return float(np.clip(1 / (1 + (sender / max(bent, 1e-12)) ** (2 / 3)), 0.2, 0.8))


def _cold_law(one: Input, cold: SolvedInput, scale: float, within: float) -> Asked:
    """What the cold junction adds, in units of the signal, for each reading that its input can say."""
    assert isinstance(one.law, Thermocouple)
    said = cold.reading_curve[1]
    readings = np.arange(min(said), max(said) + 1) / 10.0**cold.reading_decimals
    added = one.law.cold_millivolts(celsius_of(readings, cold.input.unit)) * scale
    return Asked(int(min(said)), added, np.full(len(added), max(1.0, within * scale)))


def _refused(box: Box, one: Input, what: str) -> WrongBoxFile:
    return WrongBoxFile(box.file, [Problem(one.line, one.name, what)])


def build(box: Box) -> Build:
    """The proven image of a checked box. Raises WrongBoxFile."""
    solved: dict[str, SolvedInput] = {}
    # cold junctions before their thermocouples
    for one in sorted(box.inputs, key=lambda one: one.cold is not None):
        solved[one.name] = solve_input(box, one, None if one.cold is None else solved[one.cold])
    inputs = tuple(solved[one.name] for one in box.inputs)
    lights = solve_lights(box, inputs)
    try:
        image = pack(box, inputs, lights)
        table.Table(image)  # the box's own judgement
    except (ValueError, OverflowError, struct.error) as problem:
        what = f"does not fit the box: {problem}; keep its numbers near what its senders read, or choose larger steps"
        raise WrongBoxFile(box.file, [Problem(0, "box", what)]) from None
    if len(image) > table.LARGEST:
        what = f"its table has {len(image)} bytes, the box takes {table.LARGEST}; choose larger steps"
        raise WrongBoxFile(box.file, [Problem(0, "box", what)])
    bare = without_inputs(box)
    safe = pack(bare, (), solve_lights(bare, ()))
    table.Table(safe)
    return Build(box, inputs, lights, image, safe)


def without_inputs(box: Box) -> Box:
    """What hangs on the knobs alone, as it is at night."""
    lights = box.lights
    kept = [one for one in lights.dimmed if lights.knob_of(one) is not None]
    lamps = [
        replace(lamp, compensate=None, by_day=None, override=False)
        for lamp in kept
        if isinstance(lamp, Lamp) and lamp.shows is None
    ]
    line = next((one for one in kept if isinstance(one, BusOutput)), None)
    request = lights.dim_request
    if request is not None and request.follows not in [lamp.name for lamp in lamps]:
        request = None
    bare = Lights(
        tuple(lamps),
        None if line is None else replace(line, by_day=None, override=False),
        dim_request=None if request is None else replace(request, override=False),
    )
    told = box.in_flight if box.in_flight is not None and box.in_flight.above is None else None
    if told is not None:  # a switch needs no input
        bare = replace(bare, switches=lights.switches)
    panel = box.face.panel
    face = Face(panel=None if panel is None else replace(panel, pages=(Page("overview"),)))
    return replace(box, chips=(), inputs=(), lights=bare, in_flight=told, face=face)


def pack(box: Box, inputs: tuple[SolvedInput, ...], lights: SolvedLights) -> bytes:
    """The table image, laid out as gaugebox.table reads it."""
    sections = [(table.BOX, text(box.name) + text(BOARD))]
    for chip in box.chips:
        rate = RATES.index(chip.rate)
        fixed = struct.pack(table.CHIP_FIXED, table.ADS1115, chip.address, int(chip.continuous), rate)
        sections.append((table.CHIP, fixed + text(chip.name)))
    for solved in inputs:
        sections.append((table.INPUT, _pack_input(box, solved)))
    sections += lights.sections
    sections += face_sections(box, inputs)
    if box.in_flight is not None:
        sections.append((table.IN_FLIGHT, _in_flight(box.in_flight, box, inputs)))
    body = b""
    for kind, payload in sections:
        padding = bytes(-len(payload) % 4)
        body += struct.pack(table.SECTION, kind, table.CRITICAL, len(payload)) + payload + padding
    length = table.HEADER_SIZE + len(body) + 4
    content = struct.pack(table.HEADER, table.MAGIC, table.CONTAINER, len(sections), length) + body
    return content + struct.pack("<I", zlib.crc32(content))


def _in_flight(told: InFlight, box: Box, inputs: tuple[SolvedInput, ...]) -> bytes:
    names = [one.input.name for one in inputs]
    if told.above is None:
        way, index, above = (
            light.SWITCH,
            [switch.name for switch in box.lights.switches].index(told.follows),
            0,
        )
    else:
        way, index = light.INPUT, names.index(told.follows)
        above = round(told.above * 10 ** inputs[index].reading_decimals)
    return struct.pack(table.IN_FLIGHT_FIXED, way, index, 0, above)


def _pack_input(box: Box, solved: SolvedInput) -> bytes:
    one = solved.input
    converter = one.converter
    if isinstance(converter, OnChip):
        place = table.ON_CHIP, converter.pin, converter.oversample.bit_length() - 1
    else:
        place = box.chips.index(converter.chip), converter.mux, converter.gain
    names = [i.name for i in box.inputs]
    rail = box.rail_of(one)
    fixed = struct.pack(
        table.INPUT_FIXED,
        *place,
        NO_INPUT if rail is None else names.index(rail.name),
        NO_INPUT if one.cold is None else names.index(one.cold),
        0,
        *one.circuit.faults,
        *solved.windows,
        solved.signal_decimals,
        solved.reading_decimals,
        solved.damping_turns,
        round(one.step * 10**solved.reading_decimals),
    )
    texts = text(one.name) + text(one.circuit.unit) + text(one.unit)
    return with_curves(fixed + texts, *solved.curves)
