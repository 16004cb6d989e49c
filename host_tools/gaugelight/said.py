"""What the box would say, computed by the box's own code."""

from dataclasses import dataclass
from fractions import Fraction

from gaugebox.lamp import DimRequest, Lamp
from gaugebox.measure import FAULTS, Channel
from gaugebox.table import NO_INPUT, Table
from gaugelight.boxfile import Box
from gaugelight.build import Build
from gaugelight.circuits import pin_volts
from gaugelight.problems import Misuse


@dataclass(frozen=True)
class Said:
    """One input's answer; signal and reading are None exactly when there is a fault."""

    count: int
    signal: Fraction | None
    signal_unit: str
    reading: Fraction | None
    reading_unit: str
    fault: str | None


def input_index(box: Box, name: str) -> int:
    names = [one.name for one in box.inputs]
    if name not in names:
        raise Misuse(f'{box.file}: there is no input "{name}"; there is: {", ".join(names)}')
    return names.index(name)


def said(channel: Channel) -> Said:
    """What a channel says now, in units."""
    record = channel.record
    signal = reading = None
    if not channel.fault:
        signal = Fraction(channel.signal, 10**record.signal_decimals)
        reading = Fraction(channel.reading, 10**record.reading_decimals)
    fault = FAULTS[channel.fault]
    return Said(channel.count, signal, record.signal_unit, reading, record.reading_unit, fault)


def convert(built: Build, name: str, counts: list[int]) -> list[Said]:
    """The input's answer to each count, held still; a rail it hangs on stands at its nominal voltage."""
    index = input_index(built.box, name)
    records = Table(built.image).inputs
    record = records[index]
    rail = None
    if record.normalise != NO_INPUT:
        one = built.box.inputs[record.normalise]
        rail = Channel(records[record.normalise])
        for _ in range(3):
            rail.step(one.converter.count(pin_volts(one.circuit, float(one.nominal or 0))), 0)
    rows = []
    for count in counts:
        if not 0 <= count <= 65535:
            raise Misuse(f"count {count}: counts run from 0 to 65535")
        channel = Channel(record, rail)
        for _ in range(3):
            channel.step(count, 0)
        rows.append(said(channel))
    return rows


def dim(built: Build, name: str, percents: list[float]) -> list[tuple[int, int]]:
    """(duty 0..65535, dim request 0 or 1) with the lamp's knob turned up from off to each position in per cent."""
    names = [lamp.name for lamp in built.box.lamps]
    if name not in names:
        raise Misuse(f'{built.box.file}: there is no lamp "{name}"; there is: {", ".join(names) or "none"}')
    table = Table(built.image)
    rows = []
    for percent in percents:
        if not 0 <= percent <= 100:
            raise Misuse(f"{percent:g} %: a knob stands between 0 and 100 %")
        lamp = Lamp(table.lamps[names.index(name)])
        duty = lamp.turn(round(percent / 100 * 65535))
        request = 0
        if table.dim_request is not None and table.dim_request.lamp == names.index(name):
            request = DimRequest(table.dim_request).follow(lamp.level)
        rows.append((duty, request))
    return rows
