"""From the lighting tables of a checked box file to curves and sections of the table image."""

from __future__ import annotations

import struct
from array import array
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import light, table
from gaugebox.alerts import CAUTION, FLAG, WARNING
from gaugebox.curve import LIMIT, make_curve
from gaugelight.circuits import Floats
from gaugelight.curves import breakpoints, fit
from gaugelight.lightness import light_of_level, per_lightness
from gaugelight.lights import (
    BusOutput,
    Daylight,
    Dimmed,
    DimRequest,
    Display,
    Fixed,
    Follows,
    Knob,
    Lamp,
    Lights,
)
from gaugelight.loads import light_factor

if TYPE_CHECKING:
    from gaugebox.curve import Curve
    from gaugelight.boxfile import Box
    from gaugelight.build import SolvedInput

FULL_COUNT = 65535
TRACK_TOLERANCE = 0.20  # of a potentiometer; common practice, no source
ENDS_TOLERANCE = 0.01
TRACK_DRIFT = 0.04  # of a potentiometer's resistance, from cold to hot: 1000 ppm/K of a carbon track over 40 K (from memory)
PIN_LEAK = 1e-6 / 3.3  # a pin of the RP2040 takes or gives at most 1 uA (its data sheet), of 3.3 V: siemens
MARGIN = 0.005  # of full scale, from where every knob ends to where it counts as off or full: twice its play, and the converter
TICKS_A_SECOND = 50
URGENCIES = {"caution": CAUTION, "warning": WARNING, "flag": FLAG}
LIGHTNESS_ERROR = 0.02  # L* that a lamp's curve may be off, or a step of duty, whichever is more
FACTOR_ERROR = 8.0  # of a factor of 1 << 14
SUPPLY_PLAY = 0.05  # volts
INPUT_PLAY = 0.01  # of the readings' span


@dataclass(frozen=True)
class Travel:
    """Counts of a knob: whole from lowest to highest, off up to low, full from high."""

    lowest: int
    low: int
    high: int
    highest: int


def travel(knob: Knob) -> Travel:
    """What any potentiometer of that resistance, within 20 per cent, surely does; and what a broken one cannot.

    A broken wiper leaves what the pin leaks into pull_down, a broken lower end lifts it by way of the rest. Without resistors at
    its ends nothing tells a broken knob from a turned one, and all counts are whole. Where its stops have been measured, off and full
    begin there, as far as they stay there when it is cold or hot.
    """

    def shares(track: float, ends: float) -> tuple[float, float]:
        """Of 3.3 V on the wiper at both ends of the travel."""
        said = []
        for below, above in ((ends, ends + track), (ends + track, ends)):
            low = 1 / (1 / knob.pull_down + (1 / below if below else 1e9))
            said.append(low / (low + above))
        return said[0], said[1]

    worst = [
        shares(knob.track * (1 + t * TRACK_TOLERANCE), knob.ends * (1 + e * ENDS_TOLERANCE))
        for t in (-1, 1)
        for e in (-1, 1)
    ]
    bottoms, tops = zip(*worst)
    low, high = max(bottoms) + MARGIN, min(tops) - MARGIN
    if knob.stops is not None:
        made = shares(knob.track, knob.ends)
        drifts = [shares(knob.track * (1 + drift), knob.ends) for drift in (-TRACK_DRIFT, TRACK_DRIFT)]
        low = knob.stops[0] + MARGIN + max(drifted[0] - made[0] for drifted in drifts)
        high = knob.stops[1] - MARGIN - max(made[1] - drifted[1] for drifted in drifts)
    most = (knob.track * (1 + TRACK_TOLERANCE) + knob.ends) * (1 + ENDS_TOLERANCE)
    open_wiper, open_below = PIN_LEAK * knob.pull_down, knob.pull_down / (knob.pull_down + most)
    lowest = (open_wiper + min(bottoms)) / 2 if min(bottoms) - open_wiper > 2 * MARGIN else 0.0
    highest = (open_below + max(tops)) / 2 if open_below - max(tops) > 2 * MARGIN else 1.0
    return Travel(*(round(FULL_COUNT * share) for share in (lowest, low, high, highest)))


def tells_faults(knob: Knob) -> bool:
    """Whether a broken knob can be told from a turned one, whatever broke."""
    counts = travel(knob)
    return counts.lowest > 0 and counts.highest < FULL_COUNT


def too_near_a_fault(knob: Knob, low: float, high: float) -> str | None:
    """Of stops, shares of 3.3 V: in words why a whole knob there might be taken for a broken one; None: it is not."""
    counts = travel(knob)
    least, most = (counts.lowest / FULL_COUNT, counts.highest / FULL_COUNT)
    for where, share, near in (
        ("lower", low, least and low - least < MARGIN),
        ("upper", high, most < 1 and most - high < MARGIN),
    ):
        if near:
            return (
                f"its {where} end, at {share * 100:.1f} % of 3.3 V, lies too near where a broken one does (below {least * 100:.1f} %, above {most * 100:.1f} %);"
                " measure its track with a meter and state it, and look at the resistors at its ends"
            )
    return None


def knob_curve(knob: Knob) -> Curve:
    """Its level at each count."""
    counts = travel(knob)
    return make_curve(
        array("i", [0, counts.low, counts.high, FULL_COUNT]), array("i", [0, 0, light.FULL, light.FULL])
    )


def knob_count(knob: Knob, percent: float) -> int:
    """The count at a per cent of its live travel."""
    counts = travel(knob)
    return round(counts.low + percent / 100 * (counts.high - counts.low))


def duty_curve(one: Dimmed) -> Curve:
    """Duty, 0..65535, at each level."""
    if not isinstance(one, Lamp):
        return make_curve(array("i", [0, light.FULL]), array("i", [0, FULL_COUNT]))
    levels = np.arange(light.FULL + 1)
    share = light_of_level(one, levels / 100.0)
    first, start = (max(1, -(-level * 100 // 1)) for level in (one.off_below, one.on_above))
    through = (first - 1, first, start, light.FULL)
    return fit(0, share * FULL_COUNT, duty_error(share), through, (0, FULL_COUNT))


def duty_error(share: Floats) -> Floats:
    """How far a lamp's curve may lie from its law, in steps of duty."""
    return np.maximum(1.0, LIGHTNESS_ERROR * per_lightness(share) * FULL_COUNT)


def level_of(one: Dimmed, value: Fraction) -> int:
    """What a box file states of one, per cent or volts on the line, as a level."""
    if isinstance(one, BusOutput):
        value = value * 100 / one.highest
    return round(value * 100)


def source_curve(one: Dimmed, solved: SolvedInput | None) -> Curve:
    """From the level of the lamp followed (solved None), or the reading of the input, to its own level."""
    assert isinstance(one.source, Follows)
    scale = Fraction(100) if solved is None else Fraction(10) ** solved.reading_decimals
    readings = (
        (0, light.FULL) if solved is None else (min(solved.reading_curve[1]), max(solved.reading_curve[1]))
    )
    points = one.source.points or ((Fraction(0), Fraction(0)), (Fraction(100), Fraction(100)))
    xs, ys = array("i"), array("i")
    for x, value in points:
        place, level = round(x * scale), level_of(one, value)
        if xs and place <= xs[-1]:
            place = xs[-1] + 1
        if xs:
            divide(xs, ys, place, level)
        xs.append(place)
        ys.append(level)
    for at_end, place in ((False, readings[0]), (True, readings[1])):
        if at_end and xs[-1] < place:
            xs.append(place)
            ys.append(ys[-1])
        elif not at_end and xs[0] > place:
            xs.insert(0, place)
            ys.insert(0, ys[0])
    return make_curve(xs, ys, True)


def divide(xs: array[int], ys: array[int], place: int, level: int) -> None:
    """Breakpoints between the last and the next, where that is too far for 31 bits."""
    parts = 1 + (place - xs[-1]) * (abs(level - ys[-1]) + 1) // (LIMIT // 2)
    x0, y0 = xs[-1], ys[-1]
    for k in range(1, parts):
        xs.append(x0 + (place - x0) * k // parts)
        ys.append(y0 + (level - y0) * k // parts)


def supply_curve(lamp: Lamp, solved: SolvedInput) -> Curve:
    """The factor, of 1 << 14, that keeps a lamp's light steady at each reading of its supply."""
    assert lamp.compensate is not None and lamp.load is not None
    said = solved.reading_curve[1]
    readings = np.arange(min(said), max(said) + 1)
    volts = readings / 10.0**solved.reading_decimals
    at = float(lamp.compensate.at)
    corner = round(lamp.compensate.at * 10**solved.reading_decimals)
    factors = np.array([light_factor(lamp.load, float(v), at) if v > at else 1.0 for v in volts])
    return fit(
        int(readings[0]),
        factors * (1 << light.FACTOR_BITS),
        FACTOR_ERROR,
        (int(readings[0]), corner),
        (0, 1 << light.FACTOR_BITS),
    )


@dataclass(frozen=True)
class SolvedLights:
    """The curves of what is dimmed, in the order of Lights.dimmed, and the sections of the image."""

    duty_curves: tuple[Curve, ...]
    sections: tuple[tuple[int, bytes], ...]


def solve_lights(box: Box, inputs: tuple[SolvedInput, ...]) -> SolvedLights:
    lights = box.lights
    solved = {one.input.name: (number, one) for number, one in enumerate(inputs)}
    curves = tuple(duty_curve(one) for one in lights.dimmed)
    sections = [(table.KNOB, _knob(knob)) for knob in lights.knobs]
    sections += [
        (table.DIMMER, _dimmer(lights, one, curve, solved)) for one, curve in zip(lights.dimmed, curves)
    ]
    for switch in lights.switches:
        sections.append(
            (table.SWITCH, struct.pack(table.SWITCH_FIXED, switch.pin, switch.on) + text(switch.name))
        )
    if lights.daylight is not None:
        sections.append((table.DAYLIGHT, _daylight(lights.daylight, *solved[lights.daylight.sensor])))
    if lights.dim_request is not None:
        sections.append((table.DIM_REQUEST, _dim_request(lights, lights.dim_request)))
    return SolvedLights(curves, tuple(sections))


def _knob(knob: Knob) -> bytes:
    counts = travel(knob)
    return with_curves(
        struct.pack(table.KNOB_FIXED, knob.pin, 0, counts.lowest, counts.highest), knob_curve(knob)
    )


def _dimmer(lights: Lights, one: Dimmed, curve: Curve, solved: dict[str, tuple[int, SolvedInput]]) -> bytes:
    kind = {Lamp: table.LAMP, BusOutput: table.BUS_OUTPUT, Display: table.DISPLAY}[type(one)]
    curves = [curve]
    way, index, play, supply, supply_play = light.FIXED, 0, 0, light.NOTHING, 0
    if isinstance(one.source, Knob):
        way, index = light.KNOB, lights.knobs.index(one.source)
    elif isinstance(one.source, Follows):
        name = one.source.name
        if name in solved:
            way, (index, followed) = light.INPUT, solved[name]
            readings = followed.reading_curve[1]
            play = max(1, round(INPUT_PLAY * (max(readings) - min(readings))))
            curves.append(source_curve(one, followed))
        else:
            way, index = light.DIMMER, [lamp.name for lamp in lights.dimmed].index(name)
            curves.append(source_curve(one, None))
    if isinstance(one, Lamp) and one.compensate is not None:
        supply, measured = solved[one.compensate.input]
        supply_play = max(1, round(SUPPLY_PLAY * 10.0**measured.reading_decimals))
        curves.append(supply_curve(one, measured))
    lamp = one if isinstance(one, Lamp) else None
    fixed = struct.pack(
        table.DIMMER_FIXED,
        kind,
        table.NO_PIN if isinstance(one, Display) else one.pin,
        way,
        index,
        _number(lights, lights.overriding(one)),
        supply,
        0 if lamp is None or lamp.shows is None else URGENCIES[lamp.shows],
        0 if lamp is None else int(lamp.not_below),
        0 if lamp is None else round(lamp.off_below * 100),
        0 if lamp is None else round(lamp.on_above * 100),
        light.NO_LEVEL if one.by_day is None else level_of(one, one.by_day),
        light.NO_LEVEL if one.on_fault is None else level_of(one, one.on_fault),
        round(one.source.level * 100) if isinstance(one.source, Fixed) else 0,
        round(one.fade * TICKS_A_SECOND),
        play,
        supply_play,
        0 if isinstance(one, Display) else one.frequency,
    )
    return with_curves(fixed + text(one.name), *curves)


def _number(lights: Lights, knob: Knob | None) -> int:
    return light.NOTHING if knob is None else lights.knobs.index(knob)


def _daylight(daylight: Daylight, number: int, solved: SolvedInput) -> bytes:
    scale = 10**solved.reading_decimals
    readings = round(daylight.day_above * scale), round(daylight.night_below * scale)
    return struct.pack(table.DAYLIGHT_FIXED, number, 0, round(daylight.delay * TICKS_A_SECOND), *readings)


def _dim_request(lights: Lights, request: DimRequest) -> bytes:
    switches = [switch.name for switch in lights.switches]
    if (lamp := lights.lamp(request.follows)) is not None:
        way, index = light.DIMMER, [one.name for one in lights.dimmed].index(lamp.name)
    elif request.follows in switches:
        way, index = light.SWITCH, switches.index(request.follows)
    else:
        way, index = light.DAYLIGHT, 0
    return struct.pack(
        table.DIM_REQUEST_FIXED,
        request.pin,
        request.active,
        way,
        index,
        {"off": 0, "on": 1, "along": light.ALONG}[request.on_fault],
        _number(lights, lights.overriding(request)),
        round(request.on_above * 100),
        round(request.off_below * 100),
    )


def text(text: str) -> bytes:
    return bytes([len(text)]) + text.encode("ascii")


def with_curves(payload: bytes, *curves: Curve) -> bytes:
    for curve in curves:
        n = breakpoints(curve)
        payload += bytes(-len(payload) % 4) + struct.pack(f"<I{n}i{n}i", n, *curve[0][:n], *curve[1])
    return payload
