"""What may be wrong with an input, as models: each cause says how the wiring stands, given what is unknown of it.

Causes, their ranges and their weights are ours, after common practice (no source): contacts and wires fail most, floats and grounds next,
the box's own parts seldom. Causes that call for the same repair are one group, told apart no further.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from gaugelight.circuits import REFERENCE, Direct, Divider, Floats, Millivolt
from gaugelight.temperature import Thermocouple as Couple
from gaugelight.tracing.traced import (
    FLOATS,
    FLOATS_IN_SERIES,
    LOOP,
    MILLIVOLTS,
    PLATINUM,
    RAIL,
    RESISTIVE,
    THERMISTOR,
    THERMOCOUPLE,
    VOLTAGE,
    VOLTS,
    Traced,
)
from gaugelight.tracing.wired import METER_OPEN, NOTHING, Wired, healthy, most_leak, ratiometric_supply

# repairs
NONE = "nothing to repair"
MEND_WIRE = "mend the signal wire, or clean and tighten its contacts"
INSULATE = "find where the signal wire is chafed or damp, and renew its insulation"
OFF_THE_BUS = "power off; find where bus voltage reaches the signal wire"
MEND_RETURN = "mend the sender's return: clean and tighten its ground"
OWN_RETURN = "give the sender a return wire of its own to the box"
NEW_SENDER = "replace the sender"
FREE_FLOAT = "free or replace the float"
FREE_FIRST, FREE_SECOND = "free or replace the first float", "free or replace the second float"
OTHER_SENDER = (
    "fit the sender that the box file describes, the right way round, or describe the one that is there"
)
RIGHT_WAY = "exchange the sender's two wires"
MEND_SUPPLY = "mend the wire that brings the sender its supply, and its fuse"
RAISE_SUPPLY = "find why the supply is low: battery, alternator, regulator, a drop on the way"
UNBLOCK = "clear the line and restrictor to the transducer, or replace it"
BOX_PULL_UP = "in the box: fit the pull-up that the box file states, or state the one that is there"
BOX_SHUNT = "in the box: fit the shunt that the box file states, or state the one that is there"
BOX_DIVIDER = "in the box: fit the divider that the box file states, or state the one that is there"
BOX_CONVERTER = "in the box: converter, its supply and its bus"
BOX_INPUT = "in the box: mend the way from the connector to the converter: resistors, solder, track"
BOX_RAIL = "in the box: the rail that feeds the sender: its regulator and its load"
COUPLE_WIRE = "use wire of the thermocouple's own kind as far as the box's connector"

# common practice, no source: ohms at empty and at full of the float senders that are sold
STANDARDS = (
    (0, 90), (90, 0), (240, 33), (33, 240), (0, 180), (180, 0), (10, 180), (180, 10), (0, 30), (30, 0), (73, 10), (10, 73), (3, 180), (180, 3),
    (105, 5), (5, 105),
)  # fmt: skip
NEAR = 0.08  # of a span: a standard whose ends both lie so near is the same
RAIL_OFF = 0.025  # of its nominal voltage, that a good rail may be off: regulators of 2 %, common practice, no source

HOLDS = 0.3  # ohm of a sender: through less the bus sends more than its wire or fuse carries for long
GROUNDS_APART = 6.0  # volts, at most: a bad ground strap while a starter or a pump draws

State = Callable[..., Wired]


@dataclass(frozen=True)
class Unknown:
    """What nobody knows of a cause, and within what it lies."""

    name: str
    low: float
    high: float
    logarithmic: bool = False

    def values(self, shares: Floats) -> Floats:
        if not self.logarithmic:
            return self.low + shares * (self.high - self.low)
        low, high = math.log(self.low), math.log(self.high)
        return np.asarray(np.exp(low + shares * (high - low)))


@dataclass(frozen=True)
class Cause:
    """name: what is wrong. repair: what to do; causes with the same are one group. weight: how often, ours. state: of true levels and a
    value for each unknown. levels: where the truth may lie, where that is not all of the travel.
    """

    name: str
    repair: str
    weight: float
    unknown: tuple[Unknown, ...]
    state: State
    levels: tuple[float, float] | None = None


def causes(of: Traced) -> tuple[Cause, ...]:
    """All that may be wrong with an input, NOTHING WRONG first."""
    found = [*_nothing(of), *_box(of)]
    if of.kind in RESISTIVE:
        found += [*_resistive(of), *_returns(of)]
    if of.kind in FLOATS:
        found += _floats(of)
    if of.kind in (THERMISTOR, PLATINUM):
        found += _thermometers(of)
    if of.kind == LOOP:
        found += _loops(of)
    if of.kind == VOLTAGE:
        found += [*_voltages(of), *_returns(of)]
    if of.kind in (VOLTS, RAIL):
        found += _volts(of)
    if of.one.circuit.unit == "mV":
        found += _millivolts(of)
    return tuple(found)


def _changed(of: Traced, **changes: object) -> State:
    """The same at every level, with nothing unknown of it."""
    return lambda levels: replace(healthy(of, levels), **changes)  # type: ignore[arg-type]


def _as(of: Traced, name: str, **changes: object) -> State:
    """One thing unknown: the field of that name."""
    return lambda levels, x: replace(healthy(of, levels), **{name: x}, **changes)  # type: ignore[arg-type]


def _nothing(of: Traced) -> Iterator[Cause]:
    levels = None
    if of.kind == RAIL:
        nominal = float(of.one.nominal or 0)
        levels = of.level(nominal * (1 - RAIL_OFF)), of.level(nominal * (1 + RAIL_OFF))
    yield Cause("nothing wrong", NONE, 3, (), lambda levels: healthy(of, levels), levels)


def _ohms_of_wire(of: Traced) -> tuple[float, float]:
    """From where a contact can be noticed to where it is as good as open."""
    circuit = of.one.circuit
    if of.kind in RESISTIVE:
        low, high = of.signal_span
        return max(1.5, 0.02 * (high - low)), METER_OPEN
    if of.kind == LOOP:
        return 100.0, 50e3
    if isinstance(circuit, Divider):
        return 0.02 * (circuit.top + circuit.bottom), 100 * circuit.top
    if isinstance(circuit, Direct) and circuit.pull_down is not None:
        return 0.02 * circuit.pull_down, 30 * circuit.pull_down
    return 200.0, METER_OPEN


def _wires(of: Traced, weight: float = 4) -> Iterator[Cause]:
    corroded = Unknown("ohm in it", *_ohms_of_wire(of), True)
    yield Cause("signal wire open", MEND_WIRE, weight, (), _changed(of, wire=NOTHING, loose=True))
    yield Cause(
        "corroded contact in the signal wire", MEND_WIRE, weight, (corroded,), _as(of, "wire", loose=True)
    )


def _chafed(of: Traced) -> Iterator[Cause]:
    yield Cause(
        "signal wire shorted to ground, or to its return",
        INSULATE, 2, (Unknown("ohm to ground", 0.001, 1.0, True),), _as(of, "leak", loose=True),
    )  # fmt: skip
    most = most_leak(of) if of.kind in RESISTIVE else 3e3 if of.kind == LOOP else 5e3
    if of.kind in RESISTIVE:
        yield Cause(
            "signal wire leaks to ground: damp",
            INSULATE,
            2,
            (Unknown("ohm to ground", 1.0, most, True),),
            _as(of, "leak"),
        )
    elif of.kind == LOOP:
        yield Cause(
            "signal wire leaks to ground: damp",
            INSULATE,
            2,
            (Unknown("ohm to ground", 10.0, most, True),),
            _as(of, "leak"),
        )


def _on_bus(of: Traced) -> Cause:
    def touches(levels: Floats, ohms: Floats) -> Wired:
        whole = healthy(of, levels)
        return replace(
            whole,
            bus=ohms,
            loose=True,
            ohms=np.maximum(whole.ohms, HOLDS) if of.kind in RESISTIVE else whole.ohms,
        )

    return Cause(
        "bus voltage on the signal wire",
        OFF_THE_BUS,
        1.5,
        (Unknown("ohm to the bus", 0.001, 1.0, True),),
        touches,
    )


def _resistive(of: Traced) -> Iterator[Cause]:
    yield from _wires(of)
    yield from _chafed(of)
    yield _on_bus(of)
    yield Cause("sender open inside", NEW_SENDER, 2, (), _changed(of, ohms=NOTHING))
    yield Cause("sender shorted inside", NEW_SENDER, 1, (Unknown("ohm", 0.0, 1.0),), _as(of, "ohms"))


def _returns(of: Traced) -> Iterator[Cause]:
    offset = Unknown("V", 0.01, GROUNDS_APART, True)
    yield Cause("the sender's ground stands above the box's", OWN_RETURN, 3, (offset,), _as(of, "offset"))
    below = replace(offset, name="V below")
    state: State = lambda levels, x: replace(healthy(of, levels), offset=-x)  # noqa: E731
    yield Cause("the sender's ground stands below the box's", OWN_RETURN, 2, (below,), state)
    if of.kind == VOLTAGE:
        draw = Unknown("mA it takes", 3.0, 10.0)
        ohms = Unknown("ohm in it", 3.0, 500.0, True)

        def resists(levels: Floats, back: Floats, draw: Floats) -> Wired:
            return replace(healthy(of, levels), back=back, draw=draw)

        def none(levels: Floats, share: Floats) -> Wired:
            """Its output follows its supply through what is inside, and so does its body."""
            supply = ratiometric_supply(of)
            return replace(healthy(of, levels), volts=share * supply, floating=True, back=NOTHING)

        yield Cause("resistance in the sender's return", MEND_RETURN, 2, (ohms, draw), resists)
        yield Cause(
            "the sender's return is open", MEND_RETURN, 3, (Unknown("share of its supply", 0.5, 1.0),), none
        )
        return
    corroded = Unknown("ohm in it", *_ohms_of_wire(of), True)
    yield Cause("resistance in the sender's return", MEND_RETURN, 3, (corroded,), _as(of, "back", loose=True))
    yield Cause("the sender's return is open", MEND_RETURN, 3, (), _changed(of, back=NOTHING, loose=True))


def _floats(of: Traced) -> Iterator[Cause]:
    place = Unknown("share of its travel", 0.0, 1.0)
    stops = Unknown("share below which it does not fall", 0.0, 1.0), Unknown("share above which", 0.0, 1.0)
    if of.kind == FLOATS_IN_SERIES:
        yield from _one_of_two(of, place, stops)
    else:
        stuck: State = lambda levels, at: healthy(of, at)  # noqa: E731
        yield Cause("float stuck", FREE_FLOAT, 3, (place,), stuck)

        def hangs(levels: Floats, one: Floats, other: Floats) -> Wired:
            """A bent arm, a baffle in its way, a float that took up fuel."""
            return healthy(of, np.clip(levels, np.minimum(one, other), np.maximum(one, other)))

        yield Cause("float moves over part of its travel only", FREE_FLOAT, 1, stops, hangs)

    def worn(levels: Floats, at: Floats, width: Floats, more: Floats) -> Wired:
        whole = healthy(of, levels)
        return replace(
            whole, ohms=np.where(np.abs(levels - at) < width / 2, whole.ohms + more, whole.ohms), loose=True
        )

    ohms = Unknown("ohm more there", 0.2 * (of.signal_span[1] - of.signal_span[0]), NOTHING, True)
    unknown = place, Unknown("share worn", 0.02, 0.3), ohms
    yield Cause("worn track: bad or open over part of the travel", NEW_SENDER, 2, unknown, worn)
    yield Cause("sender the other way round", OTHER_SENDER, 1, (), lambda levels: healthy(of, 1 - levels))
    own = of.signals(np.array([0.0, 1.0]))
    for empty, full in STANDARDS:
        if max(abs(own[0] - empty), abs(own[1] - full)) > NEAR * abs(own[1] - own[0]):
            name = f"a sender of {empty} ohm empty, {full} ohm full"
            yield Cause(name, OTHER_SENDER, 0.15, (), _standard(of, empty, full))


def _standard(of: Traced, empty: float, full: float) -> State:
    def state(levels: Floats) -> Wired:
        ohms = np.maximum(empty + (full - empty) * levels, 0.0)
        return replace(
            healthy(of, levels), ohms=ohms, floats=(ohms, np.zeros(ohms.shape)) if of.floats else ()
        )

    return state


def _one_of_two(of: Traced, place: Unknown, stops: tuple[Unknown, ...]) -> Iterator[Cause]:
    for which, (name, repair) in enumerate((("first", FREE_FIRST), ("second", FREE_SECOND))):

        def with_ohms(levels: Floats, ohms: Floats | float, which: int = which) -> Wired:
            whole = healthy(of, levels)
            floats = [*whole.floats]
            floats[which] = np.broadcast_to(ohms, floats[which].shape)
            return replace(whole, ohms=floats[0] + floats[1], floats=tuple(floats))

        def stuck(levels: Floats, at: Floats, which: int = which, put: State = with_ohms) -> Wired:
            low, high = float(np.min(of.floats[which][1])), float(np.max(of.floats[which][1]))
            return put(levels, low + at * (high - low), which)

        def hangs(
            levels: Floats, one: Floats, other: Floats, which: int = which, put: State = with_ohms
        ) -> Wired:
            low, high = float(np.min(of.floats[which][1])), float(np.max(of.floats[which][1]))
            ends = low + np.minimum(one, other) * (high - low), low + np.maximum(one, other) * (high - low)
            return put(levels, np.clip(healthy(of, levels).floats[which], *ends), which)

        def shorted(levels: Floats, put: State = with_ohms, which: int = which) -> Wired:
            return put(levels, 0.0, which)

        def opened(levels: Floats, put: State = with_ohms, which: int = which) -> Wired:
            return put(levels, NOTHING, which)

        yield Cause(f"{name} float stuck", repair, 2, (place,), stuck)
        yield Cause(f"{name} float moves over part of its travel only", repair, 1, stops, hangs)
        yield Cause(f"{name} float shorted", repair, 1, (), shorted)
        yield Cause(f"{name} float open", repair, 1, (), opened)


def _factors(
    name: str, repair: str, weight: float, state: State, low: float, high: float, near: tuple[float, float]
) -> Iterator[Cause]:
    """A share of what it should be, less and more, but not near 1."""
    yield Cause(f"{name}: too small", repair, weight, (Unknown("share", low, near[0], True),), state)
    yield Cause(f"{name}: too large", repair, weight, (Unknown("share", near[1], high, True),), state)


def _thermometers(of: Traced) -> Iterator[Cause]:
    def scaled(levels: Floats, share: Floats) -> Wired:
        whole = healthy(of, levels)
        return replace(whole, ohms=whole.ohms * share)

    yield from _factors("sender aged, its ohms", NEW_SENDER, 1, scaled, 0.75, 1.35, (0.96, 1.04))
    yield from _factors("another sender, its ohms", OTHER_SENDER, 0.7, scaled, 0.05, 20, (0.65, 1.55))


def _stuck(of: Traced) -> Iterator[Cause]:
    place = Unknown("share of its range", 0.0, 1.0)
    yield Cause(
        "stands still: line or restrictor blocked", UNBLOCK, 2, (place,), lambda levels, at: healthy(of, at)
    )


def _loops(of: Traced) -> Iterator[Cause]:
    yield from _wires(of)
    yield from _chafed(of)
    yield _on_bus(of)
    yield from _stuck(of)
    least = max(of.signal_span[0], 0.0)
    yield Cause("its supply wire is open", MEND_SUPPLY, 3, (), _changed(of, supply_wire=NOTHING, loose=True))
    yield Cause(
        "loop supply too low", RAISE_SUPPLY, 2, (Unknown("share of the bus", 0.2, 0.8),), _as(of, "supply")
    )
    yield Cause(
        "transducer dead: no current", NEW_SENDER, 2, (Unknown("mA", 0.0, 0.4),), _as(of, "milliamperes")
    )
    low = Unknown("mA", max(least - 0.6, 0.0), least + 0.2)
    yield Cause("transducer stuck at its lowest", NEW_SENDER, 1.5, (low,), _as(of, "milliamperes"))
    stuck = Unknown("mA", 20.2, 28.0)
    yield Cause("transducer stuck at its highest", NEW_SENDER, 1.5, (stuck,), _as(of, "milliamperes"))
    yield Cause("transducer shorted inside", NEW_SENDER, 1, (), _changed(of, shorted=True))
    yield Cause("transducer's two wires exchanged", RIGHT_WAY, 2, (), _changed(of, reversed=True))
    other = (0.0, 20.0) if of.signal_span[0] > 1 else (4.0, 20.0)

    def standard(levels: Floats) -> Wired:
        return Wired(milliamperes=np.maximum(other[0] + levels * (other[1] - other[0]), 0.0))

    yield Cause(f"a transducer of {other[0]:g} to {other[1]:g} mA", OTHER_SENDER, 0.7, (), standard)
    yield from _other_range(of)


def _other_range(of: Traced) -> Iterator[Cause]:
    def state(levels: Floats, share: Floats) -> Wired:
        whole = healthy(of, levels * share)
        if of.kind == VOLTAGE:  # no sender gives more than it gets
            return replace(whole, volts=np.minimum(whole.volts, ratiometric_supply(of)))
        return whole

    yield from _factors(
        "a transducer of another range, its signal", OTHER_SENDER, 0.7, state, 0.15, 5, (0.9, 1.1)
    )


def _voltages(of: Traced) -> Iterator[Cause]:
    supply = ratiometric_supply(of)
    light = isinstance(of.one.circuit, Direct)
    yield from _wires(of)
    yield from _chafed(of)
    yield _on_bus(of)
    yield from _stuck(of)
    if not light:
        yield Cause(
            "signal wire shorted to the sender's supply", INSULATE, 1, (), _changed(of, plus=0.1, loose=True)
        )
    yield Cause("its supply wire is open", MEND_SUPPLY, 3, (), _changed(of, supply_wire=NOTHING, loose=True))
    yield Cause("sender dead: no voltage", NEW_SENDER, 2, (Unknown("V", 0.0, 0.1),), _as(of, "volts"))
    low, high = of.signal_span
    yield Cause(
        "sender stuck at its lowest", NEW_SENDER, 1.5, (Unknown("V", 0.8 * low, 1.1 * low),), _as(of, "volts")
    )
    yield Cause(
        "sender stuck at its highest",
        NEW_SENDER,
        1.5,
        (Unknown("V", high, max(high, 0.98 * supply)),),
        _as(of, "volts"),
    )
    yield Cause(
        "the sender's supply and ground exchanged",
        RIGHT_WAY,
        1,
        (Unknown("V", 0.0, 0.7),),
        _as(of, "volts", reversed=True),
    )
    for first, last in ((0.0, 5.0), (1.0, 5.0), (0.5, 4.5), (0.0, 3.3)):
        if max(abs(first - low), abs(last - high)) > 0.05 * supply:
            name = f"a sender of {first:g} to {last:g} V"
            volts: State = lambda levels, first=first, last=last: Wired(
                volts=first + levels * (last - first)
            )  # noqa: E731
            yield Cause(name, OTHER_SENDER, 0.5, (), volts)
    yield from _other_range(of)


def _volts(of: Traced) -> Iterator[Cause]:
    if of.kind == VOLTS:
        yield from _wires(of)
        short = "signal wire shorted to ground"
        yield Cause(short, INSULATE, 2, (), _changed(of, wire=NOTHING, leak=0.01, loose=True))
        offset = Unknown("V", 0.05, GROUNDS_APART, True)
        yield Cause("the sender's ground stands above the box's", OWN_RETURN, 2, (offset,), _as(of, "offset"))
        below: State = lambda levels, x: replace(healthy(of, levels), offset=-x)  # noqa: E731
        yield Cause("the sender's ground stands below the box's", OWN_RETURN, 2, (offset,), below)
        return
    nominal = float(of.one.nominal or 0)
    yield Cause("the rail is missing", BOX_RAIL, 3, (Unknown("V", 0.0, 0.1 * nominal),), _as(of, "volts"))
    yield Cause(
        "the rail is low", BOX_RAIL, 2, (Unknown("V", 0.1 * nominal, 0.97 * nominal),), _as(of, "volts")
    )
    yield Cause(
        "the rail is high", BOX_RAIL, 1, (Unknown("V", 1.03 * nominal, 2 * nominal),), _as(of, "volts")
    )
    good = of.level(nominal * (1 - RAIL_OFF)), of.level(nominal * (1 + RAIL_OFF))
    yield Cause("the rail does not reach its converter", BOX_INPUT, 2, (), _changed(of, cut=True), good)


def _millivolts(of: Traced) -> Iterator[Cause]:
    yield from _wires(of)
    yield Cause("its two wires exchanged", RIGHT_WAY, 2, (), _changed(of, passes=-1.0))
    between = (
        Unknown("share of the way", 0.0, 0.5) if of.kind == THERMOCOUPLE else Unknown("share", 0.0, 0.02)
    )

    touching = _as(of, "passes", loose=True)
    yield Cause("its two wires touch each other", INSULATE, 2, (between,), touching)
    if of.kind == MILLIVOLTS:
        share: State = lambda levels, x: replace(
            healthy(of, levels), volts=np.asarray(healthy(of, levels).volts) * x
        )  # noqa: E731
        yield from _factors("a current shunt of other millivolts", OTHER_SENDER, 1, share, 0.2, 5, (0.9, 1.1))
        return
    own = getattr(of.one.law, "sensor", None)
    other = Couple("K" if isinstance(own, Couple) and own.kind == "J" else "J")

    def wrong_kind(levels: Floats) -> Wired:
        celsius = _celsius(of, levels)
        at = np.clip(celsius, other.lowest, other.highest)
        volts = (other.millivolts(at) - float(other.millivolts(np.array([of.cold]))[0])) / 1000
        return replace(healthy(of, levels), volts=volts)

    yield Cause(f"a thermocouple of type {other.kind}", OTHER_SENDER, 1.5, (), wrong_kind)
    lost = Unknown("share of the voltage left", 0.3, 0.93)
    yield Cause(
        "copper wire on part of the way: what is warmer there than the box is lost",
        COUPLE_WIRE,
        2,
        (lost,),
        _as(of, "passes"),
    )
    yield Cause("thermocouple open inside", NEW_SENDER, 2, (), _changed(of, wire=NOTHING, ohms=NOTHING))


def _celsius(of: Traced, levels: Floats) -> Floats:
    from gaugelight.laws import celsius_of

    low, high = of.span
    return celsius_of(low + levels * (high - low), of.one.unit)


def _box(of: Traced) -> Iterator[Cause]:
    circuit = of.one.circuit
    good = None
    if of.kind == RAIL:
        nominal = float(of.one.nominal or 0)
        good = of.level(nominal * (1 - RAIL_OFF)), of.level(nominal * (1 + RAIL_OFF))
    if of.one.converter.chip is not None:
        yield Cause("its converter is silent", BOX_CONVERTER, 1, (), _changed(of, silent=True), good)
    if circuit.rail not in (None, REFERENCE):
        low, high = of.rail_share
        missing = Unknown("share", 0.0, low - 0.01)
        yield Cause("the sender rail is missing or low", BOX_RAIL, 1.5, (missing,), _as(of, "rail"))
        yield Cause(
            "the sender rail is high", BOX_RAIL, 0.5, (Unknown("share", high + 0.01, 1.5),), _as(of, "rail")
        )
    if isinstance(circuit, Millivolt):
        yield Cause("the box's input is open", BOX_INPUT, 0.5, (), _changed(of, cut=True))
        return
    if of.kind in RESISTIVE:
        state = _as(of, "resistor")
        yield Cause("the pull-up is open", BOX_PULL_UP, 1, (), _changed(of, resistor=1e9))
        yield from _factors("a pull-up of another value", BOX_PULL_UP, 0.4, state, 0.1, 10, (0.94, 1.06))
    elif of.kind == LOOP:
        yield Cause("the shunt is burnt open", BOX_SHUNT, 1.5, (), _changed(of, resistor=1e9))
        yield from _factors(
            "a shunt of another value", BOX_SHUNT, 0.5, _as(of, "resistor"), 0.05, 5, (0.94, 1.06)
        )
    elif isinstance(circuit, Divider):
        yield Cause(
            "the divider's lower resistor is open", BOX_DIVIDER, 1, (), _changed(of, bottom=1e9), good
        )
        yield Cause(
            "the divider's upper resistor is open", BOX_INPUT, 1, (), _changed(of, resistor=1e9), good
        )
        for cause in _factors(
            "a divider of another ratio, its lower resistor",
            BOX_DIVIDER,
            0.4,
            _as(of, "bottom"),
            0.1,
            8,
            (0.85, 1.18),
        ):
            yield replace(cause, levels=good)
    elif isinstance(circuit, Direct) and of.kind != RAIL:
        yield Cause("the box's input is open", BOX_INPUT, 0.5, (), _changed(of, cut=True))
