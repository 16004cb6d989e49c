"""What can be measured on an input: in which words, how it is done safely, how much work it is, how exactly it tells."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

import numpy as np

from gaugebox.measure import FAULTS
from gaugelight.circuits import Direct, Floats, PullUp
from gaugelight.converters import COUNTS
from gaugelight.faults_shown import PLACES
from gaugelight.problems import Misuse, meant
from gaugelight.quantity import parse_quantity
from gaugelight.tracing.traced import (
    FLOATS,
    FLOATS_IN_SERIES,
    LOOP,
    RAIL,
    RECTANGULAR,
    RESISTIVE,
    VOLTAGE,
    VOLTS,
    Traced,
    hangs_on_chip,
)
from gaugelight.tracing.wired import (
    METER_OPEN,
    SAYS_CONVERTER,
    SAYS_RAIL,
    healthy,
    predicted,
    stand_in,
    stand_in_volts,
)

OPEN_TANK = 9.0  # of effort: a tank is drained and opened only where nothing else tells
AT_TANK = 1.5  # of effort more: power on, and a hand at a sender in fuel
TRUE = "true reading"
BOX = "box"
WIGGLE = "wiggle"
VOLTS_FIRST = "volts at the connector"  # where bus voltage may be on the wire
# with power on, at the sender or through a part in the hand: not while bus voltage may be on the wire
NOT_ON_THE_BUS = ("volts at the sender", "box, stand-in at the sender", "volts between grounds", WIGGLE)
CONTRACTIONS = {"OL": math.inf, "O.L": math.inf, "OPEN": math.inf, "INF": math.inf}
JUMPS = {"jumps": 1.0, "yes": 1.0, "steady": 0.0, "no": 0.0}
AT_A_PLACE = (
    BOX,
    "ohms at the sender",
    "ohms at the connector",
    "mA at the connector",
    "volts at the connector",
)
RAIL_OFF = 0.02  # of a supply's volts, plus or minus: a usual regulator: assumed
# of a good wire, its contacts and the meter's leads, ohm; of good grounds with all that usually runs, V: common practice, no source
GOOD_OFF = {"ohms of the wire": 0.5, "ohms of the return": 0.5, "volts between grounds": 0.01}
SURE = 1e-3  # of what is yes or no


@dataclass(frozen=True)
class Measurement:
    """what: its words. place: a level that the sender is brought to. effort: ours, 1 for a look, more where it could hurt. how: what to do."""

    what: str
    unit: str
    effort: float
    how: str
    place: float | None = None

    def words(self, of: Traced) -> str:
        return self.what if self.place is None else f"{self.what}, {place_words(of, self.place)}"


@dataclass(frozen=True)
class Measured:
    """The result: between two values (mostly one), with the tolerance of meter or box, a standard uncertainty (what a place leaves unknown
    comes on top, cause by cause); shown: as it was given.
    """

    measurement: Measurement
    low: float
    high: float
    tolerance: float
    shown: str

    @property
    def value(self) -> float:
        return (self.low + self.high) / 2


def place_words(of: Traced, place: float) -> str:
    if of.tank and place in PLACES:
        return PLACES[place].removeprefix("a ")
    return f"{of.reading(place):.4g} {of.one.bare_unit}"


COLD_ENGINE = "of a cold engine, no pressure in its system, coolant or oil let down"
POWER_OFF = "aircraft power and USB off first"
IN_TANK = (
    "a tank's cap stays closed, the aircraft bonded, an extinguisher at hand; a meter on ohms sends about a milliampere into the sender (common"
    " practice, no source): use one that is sound, with its leads on before it is switched on"
)
ON_MA = (
    "the meter on mA between the two ends of that one wire, never from a supply to ground: on mA it is a short; power on; after it power off, and"
    " its leads back to volts"
)
AT_BATTERY = (
    "where it lies on the battery's side: fuse pulled first, before a wire or plug is, and while probes are clipped on; its sense wires are at"
    " battery volts, master on or off: a slip of the probe welds"
)
TANK_OPEN = "tank drained and vented before a sender comes out of it; that is a licensed mechanic's work"


def _ohms(of: Traced, doing: str) -> str:
    return f"{POWER_OFF}; {doing}" + (f"; {IN_TANK}" if of.tank else "")


def available(of: Traced) -> tuple[Measurement, ...]:
    """All that can be measured on that input, but at no place of its own."""
    found = _available(of)
    if not of.at_battery:
        return found
    return tuple(
        one if one.what in (BOX, TRUE, WIGGLE) else replace(one, how=f"{AT_BATTERY}; {one.how}")
        for one in found
    )


def _available(of: Traced) -> tuple[Measurement, ...]:
    found = [Measurement(BOX, "count", 0.5, "read what the box says: signal or fault, `gaugelight read`")]
    kind, on = of.kind, "power on, box connected; touch nothing else with the probes"
    if kind == RAIL:
        found.append(_volts_at_connector("V", 2, f"{on}: the rail against the box's ground"))
    elif kind == VOLTS:
        found.append(
            _volts_at_connector("V", 2, f"{on}: its pin at the box's connector against the box's ground")
        )
    else:
        found.append(Measurement(TRUE, "reading", 1, _true(of)))
    if kind != RAIL:
        found.append(
            Measurement(
                "box, wire off",
                "count",
                1.5,
                f"{POWER_OFF}; pull the input's wire (or its plug) at the box; power on, read what the box says",
            )
        )
        # of a rail there is none: a supply put on it would work against its regulator
        found.append(Measurement("box, stand-in", "count", 2.5, _stand_in(of)))
    if kind in RESISTIVE:
        off = "pull the plug at the box: its pin in the harness against the return's pin, or the airframe where it returns there"
        found.append(Measurement("ohms at the connector", "ohm", 2, _ohms(of, off)))
        found.append(
            Measurement(
                "ohms at the sender",
                "ohm",
                3,
                _ohms(of, "take its wire off at the sender: its stud against its body"),
            )
        )
        found.append(
            _volts_at_connector("V", 2, f"{on}: its pin at the box's connector against the box's ground")
        )
        more = AT_TANK if of.tank else 0.0
        found.append(
            Measurement(
                "volts at the sender", "V", 3 + more, f"{on}: its stud against its body" + _vapour(of)
            )
        )
        found.append(
            Measurement(
                "box, stand-in at the sender", "count", 3 + more,
                f"{POWER_OFF}; wire off at the sender; {stand_in(of):g} ohm between that wire and the sender's ground, away from any vent; power on, read"
                " what the box says",
            )
        )  # fmt: skip
        found += _ground(of)
        if kind == FLOATS_IN_SERIES:
            apart = (
                "take the wire between the two floats off: each stud against its own body or its other wire"
            )
            found += [
                Measurement(f"ohms of the {which} float", "ohm", 4, _ohms(of, apart))
                for which in ("first", "second")
            ]
    if kind == LOOP:
        found.append(
            _volts_at_connector("V", 2, f"{on}: over the shunt, its pin at the box against the box's ground")
        )
        off = (
            "power off; take both wires off at the transducer, each insulated and apart; power on: its pin at the box against the box's"
            " ground"
        )
        found.append(Measurement("volts at the connector, sender off", "V", 3, off))
        series = f"power off; open the wire at the box's connector, {ON_MA}"
        found.append(Measurement("mA at the connector", "mA", 2.5, series))
        series = f"power off; open the signal wire at the transducer, {ON_MA}"
        found.append(Measurement("mA at the sender", "mA", 3.2, series))
        across = f"{on}: at the transducer, its plus against its signal terminal"
        found.append(Measurement("supply at the sender", "V", 3, across))
        found += _wire(of)
    if kind in (VOLTAGE, VOLTS):
        if kind == VOLTAGE:
            found.append(
                _volts_at_connector("V", 2, f"{on}: its pin at the box's connector against the box's ground")
            )
            off = "power off; take the signal wire off at the sender and insulate it; power on: its pin at the box against the box's ground"
            found.append(Measurement("volts at the connector, sender off", "V", 3, off))
            found.append(
                Measurement(
                    "supply at the sender", "V", 3, f"{on}: at the sender, its plus against its ground"
                )
            )
        found.append(
            Measurement(
                "volts at the sender", "V", 3, f"{on}: at its source, its signal against the ground there"
            )
        )
        found += _ground(of)
    if of.one.circuit.unit == "mV":
        found.append(
            _volts_at_connector(
                "mV",
                2,
                f"{POWER_OFF}; pull the plug at the box; power on where it needs that, the meter on mV between its two wires",
            )
        )
        found.append(
            Measurement(
                "ohms at the connector",
                "ohm",
                2,
                f"{POWER_OFF}; pull the plug at the box: between its two wires",
            )
        )
        found.append(
            Measurement(
                "ohms at the sender",
                "ohm",
                3,
                f"{POWER_OFF}; its wires off at the sender: between its own two",
            )
        )
        found.append(
            Measurement(
                "volts at the sender",
                "mV",
                3,
                f"{POWER_OFF}; its wires off at the sender, insulated; power on where it needs that, the meter on mV between its own two",
            )
        )
    if kind != RAIL:
        found.append(
            Measurement(
                WIGGLE,
                "",
                1,
                "wiggle wire and plugs, one after the other, while you watch the box"
                + (", none at the tank" if of.tank else ", nothing that turns or is hot")
                + ': "jumps" or "steady"',
            )
        )
    if of.one.circuit.rail is not None and not hangs_on_chip(of.one):
        found.append(
            Measurement(
                "supply in the box", "V", 2, f"{on}: the rail that feeds the sender against the box's ground"
            )
        )
    return tuple(found)


def _volts_at_connector(unit: str, effort: float, how: str) -> Measurement:
    return Measurement("volts at the connector", unit, effort, how)


def _vapour(of: Traced) -> str:
    return "; no probe near an open tank or a vent" if of.tank else ""


def _ground(of: Traced) -> list[Measurement]:
    both = "power on, everything that usually runs on: the sender's body against the box's ground, on a long lead"
    found = [
        Measurement("volts between grounds", "V", 2.5 + (AT_TANK if of.tank else 0), both + _vapour(of)),
        *_wire(of),
    ]
    if of.kind in (*RESISTIVE, VOLTAGE):
        back = "the sender's body against the box's ground pin, on a long lead whose own ohms you take off"
        found.append(Measurement("ohms of the return", "ohm", 3, _ohms(of, back)))
    return found


def _wire(of: Traced) -> list[Measurement]:
    both = "the signal wire off at both ends"
    to_ground = f"{both}: against the airframe, and against its return or shield"
    return [
        Measurement("ohms of the wire", "ohm", 3.2, _ohms(of, f"{both}: from end to end")),
        Measurement("ohms from the wire to ground", "ohm", 3.2, _ohms(of, to_ground)),
    ]


def _true(of: Traced) -> str:
    if of.tank:
        how = "in the open, no flame or spark, power off, bonded; the dipstick, then the cap closed again"
    elif of.pressure:
        how = "a reference gauge on the same line; or no pressure at all, which is nought of a gauge sender; no fitting opened under pressure"
    elif of.one.bare_unit in ("degC", "degF"):
        how = "a thermometer at the sender; of an engine that has stood overnight, the air's; nothing hot touched"
    else:
        how = "what is truly there, by an instrument of its own"
    return f"{how}: in {of.one.bare_unit}"


def _stand_in(of: Traced) -> str:
    if of.kind in RESISTIVE:
        return f"{POWER_OFF}; plug off, {stand_in(of):g} ohm between the box's pin and its ground; power on, read what the box says"
    if of.kind == LOOP:
        return f"{POWER_OFF}; plug off, a loop source of {of.middle:.3g} mA into the box's pin; power on, read what the box says"
    if of.one.circuit.unit == "mV":
        return f"{POWER_OFF}; plug off, the box's two pins bridged; power on, read what the box says"
    return f"{POWER_OFF}; wire off, {stand_in_volts(of):.3g} V (a bench supply, measured) on the box's pin; power on, read what the box says"


def at_places(of: Traced) -> tuple[Measurement, ...]:
    """What can be measured with the sender brought to a place."""
    base = {one.what: one for one in available(of)}
    if of.kind in (RAIL, VOLTS):
        return ()
    found, couple = [], of.one.circuit.unit == "mV"
    for place, doing, effort in _places(of):
        for what in AT_A_PLACE:
            if what in base and not (
                of.kind in RESISTIVE and base[what].unit == "V" or couple and base[what].unit == "ohm"
            ):
                one = base[what]
                more = effort - (0.5 if what == BOX else 0)
                found.append(Measurement(what, one.unit, one.effort + more, f"{doing}; {one.how}", place))
    return tuple(found)


def _places(of: Traced) -> list[tuple[float, str, float]]:
    if of.kind in FLOATS:
        moved = f"{TANK_OPEN}: then its arm at the stop by hand; or drain and fill the tank to that mark"
        return [(0.0, moved, OPEN_TANK), (1.0, moved, OPEN_TANK)]
    if of.one.bare_unit in ("degC", "degF"):
        scale = 1.8 if of.one.bare_unit == "degF" else 1.0
        found = []
        for celsius, where in (
            (20.0, f"{COLD_ENGINE}, in a cup of water at room temperature"),
            (95.0, f"{COLD_ENGINE}, in hot water, measured; mind your hands"),
        ):
            level = of.level(celsius * scale + (32 if scale != 1 else 0))
            if 0 <= level <= 1:
                found.append((round(level, 6), f"the sender out {where}", 4.0))
        return found
    if of.pressure:
        low = max(of.level(0.0), 0.0)
        return [
            (low, "no pressure in the line: pump off, let down as its manual says", 1.5),
            (
                low + 0.8 * (1 - low),
                "a test pump and a reference gauge on the transducer, at that pressure, the line let down before",
                4,
            ),
        ]
    return []


# --- from words to results ---


def measurement_of(of: Traced, words: str) -> Measurement:
    """The one of that name, with its place after a comma. Raises Misuse."""
    known = {one.what: one for one in available(of)}
    text = " ".join(words.split())
    for name in sorted(known, key=len, reverse=True):
        if text.lower() == name.lower():
            return known[name]
        if text.lower().startswith(name.lower() + ", "):
            place = place_of(of, text[len(name) + 2 :])
            one = known[name]
            there = {each.words(of): each for each in at_places(of)}
            found = Measurement(one.what, one.unit, one.effort + 4, one.how, place)
            return there.get(found.words(of), found)
    raise Misuse(f'{of.one.name}: "{words}" is not measured here; {meant(text, known)}')


def place_of(of: Traced, words: str) -> float:
    """A level: empty, quarter, half, "three quarters", full, "30 %", or a reading with its unit. Raises Misuse."""
    text = " ".join(words.lower().split()).removeprefix("a ")
    for share, name in PLACES.items():
        if text == name.removeprefix("a "):
            return share
    if (ends := {"lowest": 0.0, "highest": 1.0}.get(text)) is not None:
        return ends
    unit = of.one.bare_unit
    try:
        if text.endswith("%") and unit != "%":
            level = float(parse_quantity(words, "%")) / 100
        else:
            level = of.level(float(parse_quantity(words, unit)))
    except ValueError:
        right = f'empty, quarter, half, "three quarters", full, "30 %", or a reading such as "{of.reading(0.5):.3g} {unit}"'
        raise Misuse(f'{of.one.name}: "{words}" is no place on its travel; write {right}') from None
    if not -0.001 <= level <= 1.001:
        low, high = of.span
        raise Misuse(f"{of.one.name}: {words} lies outside its readings, {low:g} to {high:g} {unit}")
    return level


def measured(of: Traced, measurement: Measurement, words: str) -> Measured:
    """The result in a person's words: a number, with or without its unit, or what the box says. Raises Misuse."""
    shown = words.strip()
    if measurement.unit == "count":
        return _counted(of, measurement, shown)
    if measurement.what == WIGGLE:
        if shown.lower() not in JUMPS:
            raise Misuse(f'{of.one.name}: wiggle: "{words}"; write jumps or steady')
        value = JUMPS[shown.lower()]
        return Measured(measurement, value, value, SURE, "jumps" if value else "steady")
    value = _number(of, measurement, shown)
    if measurement.what == TRUE:
        level = of.level(value)
        if not -0.5 <= level <= 1.5:
            low, high = of.span
            raise Misuse(
                f"{of.one.name}: {shown} is far outside its readings, {low:g} to {high:g} {of.one.bare_unit}"
            )
        return Measured(measurement, level, level, of.known_level_off, f"{value:g} {of.one.bare_unit}")
    text = "open" if math.isinf(value) else f"{value:.4g} {measurement.unit}"
    value = min(value, METER_OPEN) if measurement.unit == "ohm" else value
    if math.isinf(value):
        raise Misuse(f"{of.one.name}: {measurement.what}: {shown} is no number")
    return Measured(measurement, value, value, tolerance(of, measurement, value), text)


def _number(of: Traced, measurement: Measurement, text: str) -> float:
    unit = of.one.bare_unit if measurement.unit == "reading" else measurement.unit
    if measurement.unit == "ohm" and text.upper() in CONTRACTIONS:
        return math.inf
    bare = re.fullmatch(r"[+-]?(\d{1,9}(\.\d{1,9})?|\.\d{1,9})", text) is not None
    try:
        value = float(text) if bare else float(parse_quantity(text, unit))
    except ValueError as problem:
        raise Misuse(f"{of.one.name}: {measurement.what}: {problem}") from None
    if value < 0 and measurement.unit in ("ohm",):
        raise Misuse(f"{of.one.name}: {measurement.what}: {text} is below 0 and cannot be measured")
    return value


def _counted(of: Traced, measurement: Measurement, text: str) -> Measured:
    """Of a fault its counts; of a signal or a reading the one that makes it."""
    one = of.one
    word = text.lower()
    if (
        word == "converter"
        and one.converter.chip is not None
        or word == "rail"
        and one.circuit.rail is not None
        and not hangs_on_chip(one)
    ):
        value = SAYS_CONVERTER if word == "converter" else SAYS_RAIL
        return Measured(measurement, value, value, 1.0, word)
    if (match := re.fullmatch(r"count (\d{1,5})", word)) is not None:
        if int(match[1]) >= COUNTS:
            raise Misuse(f"{one.name}: {text}: counts run from 0 to {COUNTS - 1}")
        return counted(of, measurement, float(match[1]), word)
    lowest, low, high, highest = of.solved.windows
    ranges = ((0, lowest - 1), (lowest, low - 1), (high + 1, highest), (highest + 1, COUNTS - 1))
    if word in FAULTS[1:]:
        code = FAULTS.index(word)
        ends = [
            ends for ends, fault in zip(ranges, one.circuit.faults) if fault == code and ends[1] >= ends[0]
        ]
        if word == "cold junction" or not ends:
            cure = (
                "trace the input that measures it first"
                if word == "cold junction"
                else "this input never says that"
            )
            raise Misuse(f'{one.name}: "{text}": {cure}')
        first, last = float(min(e[0] for e in ends)), float(max(e[1] for e in ends))
        return Measured(measurement, first, last, tolerance(of, measurement, (first + last) / 2), word)
    try:
        signal = float(parse_quantity(text, one.circuit.unit))
        count = of.count_of_signal(signal)
        return Measured(measurement, count, count, tolerance(of, measurement, count), text)
    except ValueError:
        pass
    try:
        reading = float(parse_quantity(text, one.bare_unit))
    except ValueError:
        right = f'a signal in {one.circuit.unit}, a reading in {one.bare_unit}, or a fault: {", ".join(filter(None, FAULTS))}'
        raise Misuse(f'{one.name}: what does the box say? "{text}" is none of: {right}') from None
    half = float(one.step) / 2
    ends_of = sorted(
        float(of.count(one_pin)[0])
        for level in (of.level(reading - half), of.level(reading + half))
        for one_pin in [
            of.chain.circuit.pin(of.signals(np.array([level])), of.chain.supply, of.chain.converter.load)
        ]
    )
    return Measured(measurement, ends_of[0], ends_of[-1], tolerance(of, measurement, sum(ends_of) / 2), text)


def counted(of: Traced, measurement: Measurement, count: float, shown: str) -> Measured:
    """A count that the box judged."""
    return Measured(measurement, count, count, tolerance(of, measurement, count), shown)


def tolerance(of: Traced, measurement: Measurement, value: float) -> float:
    """Of meter or box where such a measurement gives that value, one standard uncertainty in its unit."""
    return float(tolerances(of, measurement, np.array([value]))[0])


def tolerances(of: Traced, measurement: Measurement, values: Floats) -> Floats:
    """The same for many values."""
    what, unit = measurement.what, measurement.unit
    if what in (WIGGLE, TRUE):
        return np.full(values.shape, SURE if what == WIGGLE else of.known_level_off)
    if unit == "count":
        own = of.count_tolerances(values)
        if of.kind in RESISTIVE and what not in (
            "box, wire off",
            "box, stand-in",
        ):  # good grounds are apart too
            own = np.hypot(own, GOOD_OFF["volts between grounds"] / RECTANGULAR * of.counts_a_volt)
        return np.where(values < 0, 1.0, own)
    good = GOOD_OFF.get(what, 0.0) / RECTANGULAR
    return np.asarray(
        np.hypot(np.hypot(of.meter(unit).standard(values), good), _share_of_box(of, what) * values)
    )


def off_by_place(of: Traced, what: str, place: float) -> float:
    """What the sender's own tolerance and the place's make of it where nothing is wrong."""
    off = of.known_level_off
    low, _ = predicted(of, healthy(of, place + np.array([-off, 0.0, off])), what, 3)
    return float(np.max(np.abs(low - low[1])))


def _share_of_box(of: Traced, what: str) -> float:
    """What the parts of the box let a voltage be off by, as a share: its rail, its resistors, its supply."""
    circuit = of.one.circuit
    if circuit.unit == "mV":
        return 0.0
    if what == "supply in the box" or what == "supply at the sender" and of.kind == VOLTAGE:
        return RAIL_OFF / RECTANGULAR
    resistors = getattr(circuit, "tolerance", None) or 0.01
    if isinstance(circuit, PullUp):
        return math.hypot(RAIL_OFF, resistors) / RECTANGULAR
    if of.kind == LOOP:
        return resistors / RECTANGULAR
    return RAIL_OFF / RECTANGULAR if of.kind == VOLTAGE and not isinstance(circuit, Direct) else 0.002


def from_box(
    of: Traced,
    measurement: Measurement,
    fault: str | None,
    count: int,
    signal: float | None,
    rail: int | None,
) -> Measured:
    """What the box itself answers: its fault, its converter's count and its signal; rail: the count of the rail it hangs on."""
    if fault in ("converter", "rail", "cold junction"):
        return _counted(of, measurement, fault)
    if signal is not None:
        judged = of.count_of_signal(signal)
        shown = f"{signal:.4g} {of.one.circuit.unit}"
    else:
        judged = float(count)
        if rail is not None:
            judged = min(count * COUNTS / max(rail, 1), COUNTS - 1.0)
        shown = str(fault)
    return counted(of, measurement, judged, shown)
