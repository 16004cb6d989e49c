"""How long the battery lasts with the alternator dead: at most, for it is reckoned as if its voltage held to the end.

    hours = capacity x state x cold / current

A battery gives less the faster it is emptied, so its capacity is that at the current which flows here, not that of its label (usually
at a twentieth of it an hour; common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from gaugelight import lamps
from gaugelight.build import Build
from gaugelight.light_said import dim, knob_position, reading_of, root_of
from gaugelight.lights import Fixed, Follows, Knob, Lamp
from gaugelight.loads import amperes
from gaugelight.papers.papers_file import Battery, Essential
from gaugelight.said import resting_reading

NIGHT_KNOB = 50.0  # per cent, where nothing is stated
FULL = 65535


@dataclass(frozen=True)
class Drain:
    """Something that takes current from the battery: amperes at its night setting and at the most; None: not stated, and in no sum."""

    name: str
    night: float | None
    most: float | None
    how: str


@dataclass(frozen=True)
class Endurance:
    """volts: of the battery at rest, at which the lamps are reckoned. minutes: at most, None where nothing takes a current."""

    drains: tuple[Drain, ...]
    volts: float

    @property
    def left_out(self) -> tuple[str, ...]:
        return tuple(one.name for one in self.drains if one.most is None)

    @property
    def night(self) -> float:
        return sum(one.night or 0.0 for one in self.drains)

    @property
    def most(self) -> float:
        return sum(one.most or 0.0 for one in self.drains)


def minutes(battery: Battery, current: float) -> float | None:
    """At most, at a current in A. None where that is nought."""
    usable = float(battery.capacity * battery.state * battery.cold)
    return usable / current * 60 if current > 0 else None


def endurance(built: Build, battery: Battery | None, essential: Sequence[Essential]) -> Endurance:
    """What the box, its lamps and the essential loads take."""
    volts = lamps.RESTING * (2 if built.box.supply > 20 else 1)
    own = None if battery is None or battery.box is None else float(battery.box)
    drains = [Drain("the box itself", own, own, "measured, without its lamps" if own else "not stated")]
    drains += [
        _lamp(built, lamp, volts, dict(battery.night) if battery else {}) for lamp in built.box.lights.lamps
    ]
    for one in essential:
        mean = float(one.amperes * one.share)
        how = f"{float(one.amperes):g} A" + (
            "" if one.share == 1 else f", {float(one.share):.0%} of the time"
        )
        drains.append(Drain(one.name, mean, mean, how))
    return Endurance(tuple(drains), volts)


def _lamp(built: Build, lamp: Lamp, volts: float, night: dict[str, str]) -> Drain:
    """Its mean current: that at full times the share of the time that the box's own code gives it."""
    if lamp.load is None:
        return Drain(lamp.name, None, None, "load not stated")
    taken = amperes(lamp.load, volts)
    most = taken * float(lamp.ceiling) / 100
    if lamp.shows is not None:
        return Drain(
            lamp.name,
            0.0,
            most,
            f"dark until it shows a {lamp.shows}" if lamp.shows != "flag" else "dark but for a flag",
        )
    if lamp.load.dim_wire:
        return Drain(lamp.name, taken, taken, "its supply is not chopped: full current whatever its light")
    duty, how = _night_duty(built, lamp, volts, night)
    return Drain(lamp.name, taken * duty, most, how)


def _night_duty(built: Build, lamp: Lamp, volts: float, night: dict[str, str]) -> tuple[float, str]:
    """The share of the time by night, and how it was set."""
    box, root = built.box, root_of(built.box, lamp)
    at = 0.0
    how = "always the same"
    if isinstance(root, Knob):
        at = knob_position(night["knob"]) if "knob" in night else NIGHT_KNOB
        how = f"knob at {at:g} %"
    elif isinstance(root, Follows):
        followed = box.input(root.name)
        assert followed is not None
        at = reading_of(box, root.name, night[root.name]) if root.name in night else resting_reading(followed)
        how = f"{root.name} at {at:.4g} {followed.bare_unit}"
    else:
        assert isinstance(root, Fixed)
    held = {} if lamp.compensate is None else {lamp.compensate.input: volts}
    held = {name: _within(built, name, reading) for name, reading in held.items()}
    stands = dim(built, lamp.name, [at], held)[0].dimmers[lamp.name]
    return stands.duty / FULL, how


def _within(built: Build, name: str, reading: float) -> float:
    one = built.box.input(name)
    assert one is not None
    return min(max(reading, one.law.span[0]), one.law.span[1])


def in_minutes(value: Fraction | float | None) -> str:
    """As people plan: whole minutes, rounded down."""
    return "" if value is None else f"{int(value)} min"
