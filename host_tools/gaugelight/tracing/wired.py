"""What box and meter say of an input whose wiring stands in some state: Ohm's law, for many states at once.

The outside is a sender, its wire and its return, with what may touch the wire; at the connector it is a conductance and a current (Norton).
Every value is a pair, least and most, for what is left unknown even then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from gaugelight.circuits import REFERENCE, Direct, Divider, Floats, Millivolt, PullUp, Shunt
from gaugelight.converters import CHIP_SUPPLY
from gaugelight.tracing.traced import LOOP, RESISTIVE, THERMOCOUPLE, VOLTAGE, Traced

Pair = tuple[Floats, Floats]
Value = Floats | float

NOTHING = 1e12  # ohm: an open wire, or no way from one place to another
METER_OPEN = 1e6  # ohm: what a meter shows as open
# what is left unknown in every state, least and most: its two ends
LEAST_TRANSMITTER = 10.0, 5.0  # volts a loop transmitter needs, by its make: common practice, no source
STARVED = 5e-4  # ampere (and siemens): with less a transmitter is off, and lets through whatever it does
MOST_STARVED = 4e-3  # ampere, at most
LEAKS = 1e-4  # ampere, of one that sends nothing
COUPLE_OHMS = 0.0, 60.0  # of a thermocouple and its own wires: common practice, no source
CURRENT_SHUNT_OHMS = 0.0, 2.0  # of a current shunt and its wires
ENDS = 0, 1
OUTPUT_OHMS = 10.0  # of a sender that gives volts: common practice, no source
# ampere that one sends or takes at most, from a phototransistor behind kilohms to an amplifier that drives hard: common practice, no source
SHORT_CIRCUIT = 2e-4, 5e-2
LOADED = 2.0  # times what the box's good input takes a sender can send at least
# of a chip's typical ohms between two inputs, which its maker states no limits of (ADS1115, SBAS444: "typical" alone): assumed
CHIP_LOAD = 0.65, 1.5
BURN_OUT = 1.6e-6  # ampere, at most, that a thermocouple's burn-out resistor sends (hardware_notes/netlists/millivolt.cir: 0.75 uA)

# ohm, least and most, of a good signal wire and return with their contacts, beyond what is stated: common practice, no source
GOOD_WIRES = 0.0, 0.6
UNNOTICED_LEAK = 20  # times a resistive sender's most ohms: a wire that leaks less is as good as sound
CLAMPED = 3.6  # volts on a pin that is driven as far as it goes

# what the box may say in place of a count, far from all counts
SAYS_CONVERTER, SAYS_RAIL = -20_000.0, -40_000.0


@dataclass(frozen=True)
class Wired:
    """The state of an input. In ohm, volts, mA; wire: what is too much in the signal wire; back: in the return.

    sender      ohms between its terminals, volts it gives, mA it wants to send
    passes      the share of a couple's or a current shunt's voltage that its wires bring to the box
    leak, bus   from the signal wire to ground, to the bus
    offset      of the sender's ground above the box's
    supply      of a loop or of a ratiometric sender: as a share of what it should be
    supply_wire in the wire that brings it there; draw: mA that a ratiometric sender takes
    resistor, bottom, rail  of the box: as a share of the nominal value
    plus        from the signal wire to the sender's own supply. shorted: a transmitter that lets through whatever comes
    floating    a sender whose body hangs on nothing: its volts are against the box's ground
    cut         the way from the box's connector to its converter is. silent: its converter does not answer
    loose       it may jump when the wire is wiggled
    """

    ohms: Value = 0.0
    volts: Value = 0.0
    passes: Value = 1.0
    milliamperes: Value = 0.0
    wire: Value = 0.0
    back: Value = 0.0
    leak: Value = NOTHING
    bus: Value = NOTHING
    offset: Value = 0.0
    supply: Value = 1.0
    supply_wire: Value = 0.0
    draw: Value = 5.0
    plus: Value = NOTHING
    shorted: bool = False
    floating: bool = False
    reversed: bool = False
    resistor: Value = 1.0
    bottom: Value = 1.0
    rail: Value = 1.0
    cut: bool = False
    silent: bool = False
    loose: bool = False
    floats: tuple[Floats, ...] = field(default=())


def healthy(of: Traced, levels: Floats) -> Wired:
    """Nothing wrong, at each of the levels."""
    signals = of.signals(levels)
    if of.kind in RESISTIVE:
        floats = tuple(of.float_ohms(which, levels) for which in range(len(of.floats)))
        if floats:  # what the sender deviates by, both do
            signals = floats[0] + floats[1]
        return Wired(ohms=np.maximum(signals, 0.0), floats=floats)
    if of.kind == LOOP:
        return Wired(milliamperes=np.maximum(signals, 0.0))
    scale = 1000 if of.one.circuit.unit == "mV" else 1
    return Wired(volts=signals / scale)


@dataclass(frozen=True)
class _Outside:
    """At the connector: a conductance and a current."""

    siemens: Value
    amperes: Value


@dataclass(frozen=True)
class _AtBox:
    connector: Floats  # volts
    pin: Floats
    siemens: Floats  # what the box takes at its connector


def _resistor(nominal: float, share: Value) -> Floats:
    return np.maximum(np.asarray(nominal * np.asarray(share, dtype=np.float64)), 1e-6)


def _inside(of: Traced, w: Wired) -> tuple[Value, Value, Value, float, float]:
    """The box's own: conductance and current at its junction, conductance at its connector, resistor between the two, its load's ohms."""
    circuit, chain = of.one.circuit, of.chain
    protected = getattr(circuit, "protection", 0.0) + chain.converter.load
    load = 1 / protected
    if isinstance(circuit, PullUp):
        through = 1 / _resistor(circuit.resistor, w.resistor)
        return load + through, through * chain.supply * w.rail, 0.0, circuit.series, protected
    if isinstance(circuit, Shunt):
        return load + 1 / _resistor(circuit.resistor, w.resistor), 0.0, 0.0, 0.0, protected
    if isinstance(circuit, Divider):
        return load + 1 / _resistor(circuit.bottom, w.bottom), 0.0, 0.0, circuit.top, protected
    assert isinstance(circuit, Direct)
    return load, 0.0, 0.0 if circuit.pull_down is None else 1 / circuit.pull_down, 0.0, protected


def _at_box(of: Traced, w: Wired, outside: _Outside, chip_load: float = 1.0) -> _AtBox:
    """chip_load: of millivolts, what is between the converter's inputs, as a share of what it is typically."""
    circuit, converter = of.one.circuit, of.chain.converter
    if isinstance(circuit, Millivolt):
        load = converter.load * chip_load
        with_load = 2 * circuit.protection + load
        volts = outside.amperes / (outside.siemens + 1 / with_load)
        return _AtBox(np.asarray(volts), np.asarray(volts * load / with_load), np.asarray(1 / with_load))
    own, current, at_connector, between, protected = _inside(of, w)
    if isinstance(circuit, Divider):
        between = _resistor(circuit.top, w.resistor)  # type: ignore[assignment]
    siemens = outside.siemens + at_connector
    junction = (current + outside.amperes / (1 + between * siemens)) / (
        own + siemens / (1 + between * siemens)
    )
    connector = (outside.amperes * between + junction) / (siemens * between + 1)
    takes = at_connector + own / (1 + between * own)
    return _AtBox(np.asarray(connector), np.asarray(junction * converter.load / protected), np.asarray(takes))


def _bus(of: Traced, end: int) -> float:
    """Volts, as little or as much as the bus may have."""
    return of.supply + (of.supply_off if end else -of.supply_off)


def _supply(of: Traced, w: Wired, end: int) -> Value:
    """Volts of what feeds the sender, in the box."""
    if of.kind == LOOP:
        return _bus(of, end) * w.supply
    return ratiometric_supply(of) * w.rail * w.supply


def ratiometric_supply(of: Traced) -> float:
    """Nominally; where the box file names no rail, what is usual for its circuit: 5 V, or the converter's own supply."""
    if of.chain.rail is not None:
        return of.chain.supply
    return CHIP_SUPPLY if isinstance(of.one.circuit, Direct) else 5.0


def _loop_current(of: Traced, w: Wired, end: int) -> Floats:
    """Ampere that the transmitter sends: what it wants, and no more than its supply drives, less what it needs itself."""
    wanted, least = np.asarray(w.milliamperes) / 1000, LEAST_TRANSMITTER[end]
    if w.reversed:
        return np.zeros(np.shape(wanted))
    if w.shorted:
        wanted, least = np.full(np.shape(wanted), 1e3), 0.2
    takes = _at_box(of, w, _Outside(0.0, 0.0)).siemens
    if end:  # into nothing but a converter even what leaks through it is much
        wanted = np.where(takes < STARVED, np.maximum(wanted, LEAKS), wanted)
    others = 1 / np.asarray(w.leak) + 1 / np.asarray(w.bus)
    held_up = _bus(of, end) / np.asarray(w.bus) / (takes + others)
    way = w.wire + w.supply_wire + 1 / (takes + others)
    most = (_supply(of, w, end) - least - held_up) / way
    if end:
        let_through = np.minimum((_supply(of, w, end) - held_up) / way, MOST_STARVED)
        most = np.where(most < STARVED, let_through, most)
    else:
        most = np.where((most < STARVED) & (takes > STARVED), 0.0, most)
    return np.asarray(np.maximum(np.minimum(wanted, most), 0.0))


def _own_ohms(of: Traced, end: int) -> float:
    """Of what gives a voltage."""
    if of.one.circuit.unit != "mV":
        return OUTPUT_OHMS if of.kind == VOLTAGE else 0.0
    return (COUPLE_OHMS if of.kind == THERMOCOUPLE else CURRENT_SHUNT_OHMS)[end]


def _outside(of: Traced, w: Wired, how: str, end: int) -> _Outside:
    """how: whole; "wire off"; "stand-in" at the connector; "at the sender", a stand-in in its place."""
    if how == "wire off":
        return _Outside(0.0, 0.0)
    touching = 1 / np.asarray(w.leak) + 1 / np.asarray(w.bus)
    from_bus = _bus(of, end) / np.asarray(w.bus)
    if of.kind == LOOP:
        if how == "stand-in":
            return _Outside(0.0, of.middle / 1000)
        return _Outside(touching, from_bus + _loop_current(of, w, end))
    if of.kind in RESISTIVE:
        if how == "stand-in":
            return _Outside(1 / stand_in(of), 0.0)
        sender = stand_in(of) if how == "at the sender" else w.ohms
        through = 1 / np.maximum(_wires(of, w, end) + sender + w.back, 1e-3)
        return _Outside(touching + through, from_bus + through * w.offset)
    if how == "stand-in":
        return _Outside(1e3, 1e3 * stand_in_volts(of))
    if of.kind == VOLTAGE:
        return _limited(of, w, end, 0.0 if w.floating else _between_grounds(of, w)[0])[0]
    volts = np.asarray(w.volts) * w.passes + np.asarray(w.offset)
    through = 1 / np.maximum(of.wire + w.wire + _own_ohms(of, end), 1e-3)
    return _Outside(touching + through, from_bus + through * volts)


def _touching(of: Traced, w: Wired, end: int) -> _Outside:
    """What touches the signal wire of a sender that gives volts."""
    siemens = 1 / np.asarray(w.leak) + 1 / np.asarray(w.bus) + 1 / np.asarray(w.plus)
    amperes = _bus(of, end) / np.asarray(w.bus) + ratiometric_supply(of) * w.rail / np.asarray(w.plus)
    return _Outside(siemens, amperes)


def _limited(of: Traced, w: Wired, end: int, body: Value) -> tuple[_Outside, Floats]:
    """A sender that gives volts above its body's, with what touches its wire, and ampere that it sends: no more than it can."""
    touching, volts = _touching(of, w, end), _given(of, w, end) + body
    through = 1 / np.maximum(of.wire + w.wire + _own_ohms(of, end), 1e-3)
    free = _Outside(touching.siemens + through, touching.amperes + through * volts)
    sends = np.asarray(through * (volts - _at_box(of, w, free).connector))
    takes = float(_at_box(of, Wired(), _Outside(0.0, 0.0)).siemens)
    most = max(SHORT_CIRCUIT[end], LOADED * of.signal_span[1] * takes)
    beyond = np.abs(sends) > most
    sends = np.clip(sends, -most, most)
    siemens = np.where(beyond, touching.siemens, free.siemens)
    return _Outside(siemens, np.where(beyond, touching.amperes + sends, free.amperes)), sends


def _wires(of: Traced, w: Wired, end: int) -> Value:
    """Of the signal wire, and of what good wires of a resistive sender have."""
    return np.asarray(of.wire + np.asarray(w.wire) + GOOD_WIRES[end] * (of.kind in RESISTIVE))


def most_leak(of: Traced) -> float:
    """Ohm from a resistive sender's wire to ground that nobody notices."""
    return min(UNNOTICED_LEAK * of.signal_span[1], METER_OPEN)


def _given(of: Traced, w: Wired, end: int) -> Value:
    """Volts of a sender between its signal and its body; one that shares its supply gives a share. Without a rail in the box file nobody
    knows which it is: it shares at one end."""
    if w.floating:
        return np.asarray(w.volts)
    if end and of.chain.rail is None:
        return np.where(np.asarray(w.supply_wire) > NOTHING / 2, 0.0, w.volts)
    return np.asarray(np.asarray(w.volts) * _at_sender(of, w) / ratiometric_supply(of))


def _at_sender(of: Traced, w: Wired) -> Value:
    """Volts between its plus and its body of a ratiometric sender."""
    lost = np.asarray(w.draw) / 1000 * (np.minimum(w.supply_wire, 1e9) + (0.0 if w.floating else w.back))
    return np.maximum(_supply(of, w, 0) - np.asarray(w.offset) - lost, 0.0)


def stand_in(of: Traced) -> float:
    """Ohm: what stands in the place of a resistive sender, near the middle of its span."""
    from gaugelight.preferred import nearest_above

    low, high = of.signal_span
    return nearest_above(max((low * high) ** 0.5 if low > 0 else (low + high) / 2, 1.0))


def stand_in_volts(of: Traced) -> float:
    """Volts in the place of a sender that gives volts: its middle; of a couple or a current shunt none, a bridge between the two."""
    return 0.0 if of.one.circuit.unit == "mV" else of.middle


def pin_volts(of: Traced, w: Wired, end: int = 0) -> Floats:
    """On the converter's pin, before anything clamps it. end: of what is left unknown."""
    return _at_box(of, w, _outside(of, w, "whole", end)).pin


def _pair(of: Traced, w: Wired, at: Callable[[int], Floats]) -> Pair:
    low, high = (np.asarray(at(end), dtype=np.float64) for end in ENDS)
    return np.minimum(low, high), np.maximum(low, high)


def _count(of: Traced, w: Wired, how: str) -> Pair:
    shape = np.shape(_any(w))
    if w.silent:
        return _both(np.full(shape, SAYS_CONVERTER))
    couple = of.one.circuit.unit == "mV"

    def counts(end: int) -> Floats:
        outside = _outside(of, w, how, end)
        if couple:
            pins = [_at_box(of, w, outside, load).pin for load in CHIP_LOAD]
            pin = np.maximum(*pins) if end else np.minimum(*pins)
        else:
            pin = _at_box(of, w, outside).pin
        if couple and how == "whole" and end:
            pin = pin + np.minimum(np.asarray(w.wire) * BURN_OUT, CLAMPED)
        if how == "wire off" or w.cut:
            pin = np.full(shape, CLAMPED) if couple else np.zeros(shape) if w.cut else pin
        found = of.count(pin, np.maximum(w.rail, 1e-6))
        if of.one.circuit.rail not in (None, REFERENCE):
            low, high = of.rail_share
            share = np.asarray(w.rail)
            found = np.where((share < low) | (share > high), SAYS_RAIL, found)
        return found

    return _pair(of, w, counts)


def _any(w: Wired) -> Floats:
    """As long as there are states."""
    found = np.zeros(())
    for value in vars(w).values():
        for each in value if isinstance(value, tuple) else (value,):
            if isinstance(each, np.ndarray) and each.ndim:
                return each
    return found


def _both(value: Value) -> Pair:
    return np.asarray(value, dtype=np.float64), np.asarray(value, dtype=np.float64)


def _ohms(value: Value) -> Pair:
    return _both(np.minimum(value, METER_OPEN))


def _sender_ohms(of: Traced, w: Wired, end: int) -> Value:
    return np.asarray(w.ohms) + (_own_ohms(of, end) if of.one.circuit.unit == "mV" else 0.0)


def _ohms_at_sender(of: Traced, w: Wired) -> Pair:
    return _pair(of, w, lambda end: np.minimum(_sender_ohms(of, w, end), METER_OPEN))


def _ohms_at_connector(of: Traced, w: Wired) -> Pair:
    def ohms(end: int) -> Floats:
        through = 1 / np.maximum(_wires(of, w, end) + _sender_ohms(of, w, end) + w.back, 1e-3)
        chafed = (np.asarray(w.bus) < NOTHING / 2) & (end == 0)  # the bus, dead, is some way to ground
        return np.where(chafed, 0.0, np.minimum(1 / (through + 1 / np.asarray(w.leak)), METER_OPEN))

    return _pair(of, w, ohms)


def _ohms_to_ground(of: Traced, w: Wired) -> Pair:
    chafed = np.asarray(w.bus) < NOTHING / 2  # onto a bus that is dead: some way to ground, or none
    leak = np.minimum(w.leak, METER_OPEN)
    sound = most_leak(of) if of.kind in RESISTIVE else METER_OPEN
    least = np.where(np.asarray(w.leak) > NOTHING / 2, sound, leak)
    return np.where(chafed, 0.0, least), leak


def _volts_at_connector(of: Traced, w: Wired) -> Pair:
    if of.one.circuit.unit == "mV":  # the box unplugged
        known = np.asarray(w.wire) < 1e8
        return _both(np.where(known, np.asarray(w.volts) * w.passes * 1000, 0.0))
    return _pair(of, w, lambda end: _at_box(of, w, _outside(of, w, "whole", end)).connector)


def _volts_without_sender(of: Traced, w: Wired) -> Pair:
    """At the connector, with the sender's wires off at the sender: what else reaches the wire."""

    return _pair(of, w, lambda end: _at_box(of, w, _touching(of, w, end)).connector)


def _volts_at_sender(of: Traced, w: Wired) -> Pair:
    if of.kind == VOLTAGE and w.floating:
        return np.asarray(-ratiometric_supply(of)), np.asarray(ratiometric_supply(of))
    if of.kind == VOLTAGE:
        return _pair(of, w, lambda end: _at_terminal(of, w, end))
    if of.kind not in RESISTIVE:
        return _both(np.asarray(w.volts) * (1000 if of.one.circuit.unit == "mV" else 1))

    def volts(end: int) -> Floats:
        across = _at_box(of, w, _outside(of, w, "whole", end)).connector - w.offset
        return across * w.ohms / np.maximum(of.wire + w.wire + w.ohms + w.back, 1e-3)

    return _pair(of, w, volts)


def _at_terminal(of: Traced, w: Wired, end: int) -> Floats:
    """Volts of a sender that gives volts, between its signal terminal and its body: what it gives, or what it still holds up."""
    body = _between_grounds(of, w)[0]
    outside, sends = _limited(of, w, end, body)
    connector = _at_box(of, w, outside).connector
    return np.asarray(connector + sends * (of.wire + np.asarray(w.wire)) - body)


def _between_grounds(of: Traced, w: Wired) -> Pair:
    if of.kind == VOLTAGE and w.floating:
        return np.zeros(()), np.asarray(ratiometric_supply(of))
    if of.kind == VOLTAGE:
        return _both(w.offset + np.asarray(w.draw) / 1000 * w.back)
    if of.kind not in RESISTIVE:
        return _both(w.offset)

    def volts(end: int) -> Floats:
        across = _at_box(of, w, _outside(of, w, "whole", end)).connector - w.offset
        return w.offset + across * w.back / np.maximum(of.wire + w.wire + w.ohms + w.back, 1e-3)

    return _pair(of, w, volts)


def _supply_at_sender(of: Traced, w: Wired) -> Pair:
    if of.kind != LOOP:
        volts = np.asarray(_at_sender(of, w))
        if w.floating:  # its body follows its supply
            return np.zeros(()), volts
        return _both(-volts if w.reversed else volts)

    def across(end: int) -> Floats:
        at_box = _at_box(of, w, _outside(of, w, "whole", end)).connector
        wires, amperes = np.asarray(w.wire) + w.supply_wire, _loop_current(of, w, end)
        volts = _supply(of, w, end) - amperes * wires - at_box
        starved = (not w.reversed) & (amperes < STARVED) & (amperes < np.asarray(w.milliamperes) / 1000)
        volts = volts if end else np.where(starved, _supply(of, w, end), volts)
        volts = np.where(wires > NOTHING / 2, 0.0, volts)
        return -volts if w.reversed else volts

    return _pair(of, w, across)


def _loop_at_sender(of: Traced, w: Wired) -> Pair:
    return _pair(of, w, lambda end: _loop_current(of, w, end) * 1000)


def _loop_at_connector(of: Traced, w: Wired) -> Pair:
    def milliamperes(end: int) -> Floats:
        at_box = _at_box(of, w, _outside(of, w, "whole", end))
        return at_box.connector * at_box.siemens * 1000

    return _pair(of, w, milliamperes)


def _float(which: int) -> Callable[[Traced, Wired], Pair]:
    return lambda of, w: _ohms(w.floats[which])


def _counted(how: str) -> Callable[[Traced, Wired], Pair]:
    return lambda of, w: _count(of, w, how)


def _wiggled(of: Traced, w: Wired) -> Pair:
    return np.zeros(()), np.asarray(float(w.loose))


PREDICTED: dict[str, Callable[[Traced, Wired], Pair]] = {
    "box": _counted("whole"),
    "box, wire off": _counted("wire off"),
    "box, stand-in": _counted("stand-in"),
    "box, stand-in at the sender": _counted("at the sender"),
    "ohms at the connector": _ohms_at_connector,
    "ohms at the sender": _ohms_at_sender,
    "ohms of the wire": lambda of, w: _ohms(of.wire + np.asarray(w.wire)),
    "ohms from the wire to ground": _ohms_to_ground,
    "ohms of the return": lambda of, w: _ohms(w.back),
    "ohms of the first float": _float(0),
    "ohms of the second float": _float(1),
    "volts at the connector": _volts_at_connector,
    "volts at the connector, sender off": _volts_without_sender,
    "volts at the sender": _volts_at_sender,
    "volts between grounds": _between_grounds,
    "supply at the sender": _supply_at_sender,
    "supply in the box": lambda of, w: _both(of.chain.supply * np.asarray(w.rail)),
    "mA at the connector": _loop_at_connector,
    "mA at the sender": _loop_at_sender,
    "wiggle": _wiggled,
}


def predicted(of: Traced, w: Wired, what: str, states: int) -> Pair:
    """What that measurement gives in each of the states, least and most; counts for what the box says."""
    low, high = PREDICTED[what](of, w)
    return np.broadcast_to(low, (states,)), np.broadcast_to(high, (states,))
