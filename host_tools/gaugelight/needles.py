"""The box file's [[needle]]: a moving-coil meter driven by pulses, through points."""

from __future__ import annotations

import struct
from array import array
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from gaugebox import alert_records
from gaugebox.curve import make_curve
from gaugelight import box_values
from gaugelight.light_tables import TICKS_A_SECOND, divide, text, with_curves
from gaugelight.lights import points_between
from gaugelight.problems import meant

if TYPE_CHECKING:
    from gaugebox.curve import Curve
    from gaugelight.boxfile import Section
    from gaugelight.lights import Points, Units

FREQUENCY = 1000  # Hz: far above what a movement follows
SLEW = Fraction(100)  # per cent of the time, in a second


@dataclass(frozen=True)
class Needle:
    """points: from the reading to per cent of the time; slew in per cent of the time a second."""

    line: int
    name: str
    pin: int
    follows: str
    points: Points
    park: Fraction
    slew: Fraction
    frequency: int


def read_needle(section: "Section", units: "Units") -> Needle | None:
    before = section.problems
    name = section.take("name", box_values.name, "", 'a name, such as "fuel needle"') or ""
    pin = section.take("pin", box_values.output_pin, None, "an output pin, such as 6")
    follows = section.take("follows", box_values.name, None, "the name of an input or a derived readout")
    points = None
    if follows is not None and follows not in units:
        section.wrong("follows", f'there is no readout "{follows}"; {meant(follows, list(units))}')
    if unit := units.get(follows or ""):
        example = f'[["0 {unit}", "10 %"], ["10 {unit}", "90 %"]], its marks as you found them'
        points = section.take("points", points_between(unit), None, example)
    else:
        section.skip("points")
    park = section.take("park", box_values.between("%", 0, 100), Fraction(0))
    slew = section.take("slew", box_values.between("%", 1, 5000), SLEW)
    frequency = section.take("frequency", box_values.frequency, FREQUENCY)
    section.finish()
    if points is not None and park is not None and park >= min(place for _, place in points):
        section.wrong("park", "must lie below all its points, or parked it reads as something")
    if section.problems > before or pin is None or follows is None or points is None:
        return None
    assert park is not None and slew is not None and frequency
    return Needle(section.line, name, pin, follows, points, park, slew, frequency)


def needle_section(one: Needle, index: int, decimals: int) -> bytes:
    """For the table image."""
    fixed = struct.pack(
        alert_records.NEEDLE_FIXED,
        one.pin,
        index,
        round(one.park * 100),
        max(1, round(one.slew * 100 / TICKS_A_SECOND)),
        one.frequency,
    )
    return with_curves(fixed + text(one.name), needle_curve(one, decimals))


def needle_curve(one: Needle, decimals: int) -> Curve:
    """From reading units to hundredths of a per cent of the time; beyond its ends the box stays there."""
    xs, ys = array("i"), array("i")
    for reading, place in one.points:
        x, y = round(reading * 10**decimals), round(place * 100)
        if xs:
            x = max(x, xs[-1] + 1)
            divide(xs, ys, x, y)
        xs.append(x)
        ys.append(y)
    return make_curve(xs, ys, True)
