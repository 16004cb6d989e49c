"""What the box would say, computed by the box's own code."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from gaugebox.measure import FAULTS, NO_INPUT, Channel, make_channels
from gaugebox.table import Table
from gaugelight.boxfile import Box, Input
from gaugelight.build import Build
from gaugelight.chain import chain_of
from gaugelight.problems import Misuse
from gaugelight.quantity import parse_quantity


@dataclass(frozen=True)
class Said:
    """One input's answer; signal and reading are None exactly when there is a fault."""

    count: int
    signal: Fraction | None
    signal_unit: str
    reading: Fraction | None
    reading_unit: str
    fault: str | None
    signal_decimals: int
    reading_decimals: int


def input_index(box: Box, name: str) -> int:
    names = [one.name for one in box.inputs]
    if name not in names:
        raise Misuse(
            f'{box.file}: there is no input "{name}"; there is: {", ".join(names)} (a name with a space goes in quotes)'
        )
    return names.index(name)


def signal_of(one: Input, word: str, otherwise: str = "") -> float:
    """At the connector. Raises Misuse, which ends with `otherwise`."""
    try:
        signal = float(parse_quantity(word, one.circuit.unit))
    except ValueError as problem:
        raise Misuse(f"{one.name}: {problem}{otherwise}") from None
    if signal < 0 and one.circuit.unit != "mV":
        raise Misuse(f'{one.name}: "{word}" is below 0 and cannot be measured')
    return signal


def count_of(box: Box, one: Input, word: str) -> int:
    """The count a user means: a whole number is one, "95 ohm" makes one at the rail's nominal voltage. Raises Misuse."""
    if re.fullmatch(r"\d+|0x[0-9a-fA-F]+", word):
        count = int(word, 0)
        if count > 65535:
            raise Misuse(f"{word}: counts of the converter run from 0 to 65535")
        return count
    signal = signal_of(one, word, "; or give a count of the converter, 0 to 65535")
    volts = chain_of(box, one).pin_volts(signal)
    return one.converter.count(min(volts, one.converter.takes))


def said(channel: Channel) -> Said:
    """What a channel says now, in units."""
    record = channel.record
    code, count, signal_units, reading_units = channel.said
    decimals = record.signal_decimals, record.reading_decimals
    signal = reading = None
    if not code:
        signal = Fraction(signal_units, 10 ** decimals[0])
        reading = Fraction(reading_units, 10 ** decimals[1])
    fault = FAULTS[code]
    return Said(count, signal, record.signal_unit, reading, record.reading_unit, fault, *decimals)


def shown(said: Said, step: Fraction | None = None) -> tuple[str, str, str]:
    """Signal, reading and fault as people see them; empty where there is none. step: the displayed one, of which a reading is then shown
    to no less than a tenth: the digits below belong to the arithmetic. A resistance is never below nought."""
    decimals = said.reading_decimals
    if step is not None:
        decimals = min(decimals, max(0, math.floor(math.log10(10 / step))))
    signal, reading = said.signal, said.reading
    if signal is not None and said.signal_unit == "ohm":
        signal = max(signal, Fraction(0))
    return (
        "" if signal is None else f"{_rounded(signal, said.signal_decimals)} {said.signal_unit}",
        "" if reading is None else f"{_rounded(reading, decimals)} {said.reading_unit}",
        said.fault or "",
    )


def _rounded(value: Fraction, decimals: int) -> str:
    """Without a sign where all its digits are nought."""
    text = f"{float(value):.{decimals}f}"
    return text if text.strip("-0.") else text.lstrip("-")


def convert(built: Build, name: str, counts: list[int]) -> list[Said]:
    """The input's answer to each count, held still; its rail at its nominal voltage, its cold junction in mid-range."""
    index = input_index(built.box, name)
    records = Table(built.image).inputs
    rows = []
    for count in counts:
        channels = make_channels(records, [0])
        cold = records[index].cold
        for other in (records[index].rail, NO_INPUT if cold == NO_INPUT else records[cold].rail, cold, index):
            if other != NO_INPUT:
                held = count if other == index else resting_count(built.box, built.box.inputs[other])
                for _ in range(3):
                    channels[other].step(held)
        rows.append(said(channels[index]))
    return rows


def resting_count(box: Box, one: Input) -> int:
    """The count of a rail at its nominal voltage, of another input in the middle of its readings."""
    return one.converter.count(chain_of(box, one).pin_volts(resting_signal(one)))


def resting_reading(one: Input) -> float:
    return float(one.nominal) if one.nominal is not None else sum(one.law.span) / 2


def resting_signal(one: Input) -> float:
    return float(one.law.signal(np.array([resting_reading(one)]))[0])
