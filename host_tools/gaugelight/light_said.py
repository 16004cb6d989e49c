"""What the box would do with its lights, computed by the box's own code."""

from dataclasses import dataclass

import numpy as np

from gaugebox.light import BRIDGED, FACTOR_BITS, FACTOR_RISE, Lighting
from gaugebox.measure import NONE, Channel, make_channels
from gaugebox.table import Table
from gaugelight.boxfile import Box
from gaugelight.build import Build, SolvedInput
from gaugelight.light_tables import knob_count
from gaugelight.lightness import lightness
from gaugelight.lights import DAYLIGHT, DIM_REQUEST, BusOutput, Dimmed, Follows, Lamp, Source
from gaugelight.problems import Misuse, meant
from gaugelight.quantity import parse_quantity
from gaugelight.said import input_index, resting_reading

SETTLED = BRIDGED + (1 << FACTOR_BITS) // FACTOR_RISE  # ticks, without a fade


@dataclass(frozen=True)
class Stands:
    """Where one lamp, the bus output or the display has come to rest: level in per cent, duty 0..65535."""

    level: float
    duty: int


@dataclass(frozen=True)
class Settled:
    """All that is dimmed, by name; the dim request and the day, where the box has them."""

    dimmers: dict[str, Stands]
    dim_request: bool | None
    day: bool | None


def root_of(box: Box, one: Dimmed) -> Source:
    """What sets it in the end: a knob, an input that is followed, or a fixed level."""
    source: Source = one.source
    while isinstance(source, Follows) and (lamp := box.lights.lamp(source.name)) is not None:
        source = lamp.source
    return source


def dimmed_named(box: Box, name: str) -> Dimmed:
    """What is dimmed under that name, or what the dim request follows. Raises Misuse."""
    request = box.lights.dim_request
    if name == DIM_REQUEST and request is not None:
        if (lamp := box.lights.lamp(request.follows)) is not None:
            return lamp
        cure = "--day" if request.follows == DAYLIGHT else f'--with "{request.follows}=on"'
        raise Misuse(
            f'{box.file}: the dim request follows "{request.follows}"; name a lamp, and set that by {cure}'
        )
    for one in box.lights.dimmed:
        if one.name == name:
            return one
    there = meant(name, (one.name for one in box.lights.dimmed))
    raise Misuse(
        f'{box.file}: nothing called "{name}" is dimmed; {there} (a name with a space goes in quotes)'
    )


def position(box: Box, name: str, word: str) -> float:
    """A place of what sets it, as people write it: "5", "5 %" of the knob, "3 V" of the input followed. Raises Misuse."""
    root = root_of(box, dimmed_named(box, name))
    if isinstance(root, Follows):
        return reading_of(box, root.name, word)
    return knob_position(word)


def knob_position(word: str) -> float:
    """Per cent of its live travel. Raises Misuse."""
    try:
        percent = float(word.removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not 0 <= percent <= 100:
        raise Misuse(f'"{word}" is not a knob position from 0 to 100 per cent')
    return percent


def reading_of(box: Box, name: str, word: str) -> float:
    """A reading of an input, with or without its unit. Raises Misuse."""
    one = box.inputs[input_index(box, name)]
    unit = one.bare_unit
    try:
        reading = (
            float(word)
            if word.lstrip("+-").replace(".", "", 1).isdigit()
            else float(parse_quantity(word, unit))
        )
    except ValueError as problem:
        raise Misuse(f"{name}: {problem}") from None
    lowest, highest = one.law.span
    if not lowest <= reading <= highest:
        raise Misuse(f'{name}: "{word}" is outside {lowest:g} to {highest:g} {unit}, what this input reads')
    return reading


def dim(
    built: Build,
    name: str,
    steps: list[float],
    readings: dict[str, float],
    by_day: bool = False,
    switches_on: frozenset[str] = frozenset(),
) -> list[Settled]:
    """What everything settles to as what sets `name` goes from one place of `steps` to the next.

    Other inputs stand at `readings`, else at rest; the daylight sensor by night unless `by_day`. Other knobs
    are off, and so are switches that are not in switches_on.
    """
    box, lights = built.box, built.box.lights
    root = root_of(box, dimmed_named(box, name))
    table = Table(built.image)
    for record in table.dimmers:
        record.fade = 0
    channels = make_channels(table.inputs, [0])
    for channel, solved in zip(channels, built.inputs):
        _put(channel, solved, readings.get(solved.input.name, resting_reading(solved.input)))
    if lights.daylight is not None and lights.daylight.sensor not in readings:
        sensor = input_index(box, lights.daylight.sensor)
        _put(channels[sensor], built.inputs[sensor], built.inputs[sensor].input.law.span[by_day])
    lighting = Lighting(table, channels)
    said = []
    for step in steps:
        if isinstance(root, Follows):
            index = input_index(box, root.name)
            _put(channels[index], built.inputs[index], step)
        for _ in range(SETTLED):
            for knob, turned in zip(lights.knobs, lighting.knobs):
                turned.take(knob_count(knob, step if knob == root else 0))
            for switch, thrown in zip(lights.switches, lighting.switches):
                thrown.take(switch.on if switch.name in switches_on else 1 - switch.on)
            lighting.step()
        dimmers = {d.record.name: Stands(d.level / 100, d.duty) for d in lighting.dimmers}
        request, daylight = lighting.dim_request, lighting.daylight
        said.append(
            Settled(
                dimmers,
                None if request is None else bool(request.on),
                None if daylight is None else daylight.day > 0,
            )
        )
    return said


def _put(channel: Channel, solved: SolvedInput, reading: float) -> None:
    """Has a channel say that reading, held to what it can say."""
    said = solved.reading_curve[1]
    units = round(reading * 10**solved.reading_decimals)
    channel.said[:] = [NONE, 0, 0, min(max(units, min(said)), max(said))]


def lightness_of(duty: int) -> float:
    """L* 0..100 of a duty, against the lamp burning all the time."""
    return float(lightness(np.array([duty / 65535]))[0])


def in_words(one: Dimmed, stands: Stands) -> str:
    """Where it stands, as one would measure or see it."""
    if isinstance(one, Lamp):
        return f"{stands.duty / 655.35:.2f} %, L* {lightness_of(stands.duty):.1f}"
    if isinstance(one, BusOutput):
        return f"{stands.duty / 65535 * float(one.highest):.2f} V"
    return f"{stands.level:.1f} %"
