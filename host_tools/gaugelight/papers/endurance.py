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
from gaugelight.light_said import Settled, dim, knob_position, reading_of, root_of
from gaugelight.lights import Follows, Knob, Lamp, Source
from gaugelight.loads import amperes
from gaugelight.papers.papers_file import Battery, Essential
from gaugelight.said import input_index, resting_reading

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
    night = _Night(built, volts, {} if battery is None else dict(battery.night))
    drains += [_lamp(lamp, volts, night) for lamp in built.box.lights.lamps]
    for one in essential:
        mean = float(one.amperes * one.share)
        how = f"{float(one.amperes):g} A" + (
            "" if one.share == 1 else f", {float(one.share):.0%} of the time"
        )
        drains.append(Drain(one.name, mean, mean, how))
    return Endurance(tuple(drains), volts)


def _lamp(lamp: Lamp, volts: float, night: _Night) -> Drain:
    """Its mean current: that at full times the share of the time that the box's own code gives it."""
    if lamp.load is None:
        return Drain(lamp.name, None, None, "load not stated")
    taken = amperes(lamp.load, volts)
    most = taken * float(lamp.ceiling) / 100
    if lamp.shows is not None:
        return Drain(lamp.name, 0.0, most, f"dark until there is a {lamp.shows}")
    if lamp.load.dim_wire:
        return Drain(lamp.name, taken, taken, "its supply is not chopped: full current whatever its light")
    duty, how = night.duty(lamp)
    return Drain(lamp.name, taken * duty, most, how)


class _Night:
    """Where lamps stand by night: knobs and inputs that they follow as stated, else in their middle, every supply at the battery's volts."""

    def __init__(self, built: Build, volts: float, stated: dict[str, str]) -> None:
        self.built, self.stated = built, stated
        supplies = [lamp.compensate.input for lamp in built.box.lights.lamps if lamp.compensate]
        spans = {one.name: one.law.span for one in built.box.inputs}
        self.held = {name: min(max(volts, spans[name][0]), spans[name][1]) for name in supplies}
        self.settled: dict[Source, Settled] = {}  # by what sets them in the end

    def duty(self, lamp: Lamp) -> tuple[float, str]:
        """The share of the time, and how it was set."""
        root = root_of(self.built.box, lamp)
        at, how = self._set_to(root)
        if root not in self.settled:
            self.settled[root] = dim(self.built, lamp.name, [at], self.held)[0]
        return self.settled[root].dimmers[lamp.name].duty / FULL, how

    def _set_to(self, root: Source) -> tuple[float, str]:
        if isinstance(root, Knob):
            at = knob_position(self.stated["knob"]) if "knob" in self.stated else NIGHT_KNOB
            return at, f"knob at {at:g} %"
        if not isinstance(root, Follows):
            return 0.0, "always the same"
        box = self.built.box
        followed = box.inputs[input_index(box, root.name)]
        word = self.stated.get(root.name)
        at = resting_reading(followed) if word is None else reading_of(box, root.name, word)
        return at, f"{root.name} at {at:.4g} {followed.bare_unit}"


def in_minutes(value: Fraction | float | None) -> str:
    """As people plan: whole minutes, rounded down."""
    return "" if value is None else f"{int(value)} min"
