"""The lighting tables of a box file: knobs, lamps, the display, the bus output, switches, daylight, the dim request."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from gaugelight import box_values, driver, loads
from gaugelight.box_values import LampCurve
from gaugelight.driver import Driver, behind_wire
from gaugelight.filters import Filter
from gaugelight.loads import Load
from gaugelight.quantity import parse_quantity
from gaugelight.problems import meant
from gaugelight.wires import GAUGES, Wire, area

if TYPE_CHECKING:
    from gaugelight.boxfile import Reader, Section

LAMP_FREQUENCY = 4000  # Hz: above the voice band and where IEEE 1789 asks nothing; finer than at 20 kHz
BUS_FREQUENCY = 20_000  # Hz: a filter has less to do
SAFE_LEVEL = Fraction(20)  # per cent: dim, but readable
LEAST_TRAVEL = 0.2  # of 3.3 V, between a knob's stops
ALERT_FLOOR = Fraction(20)  # per cent: below that no lamp for alerts is dimmed, where nothing else is stated
# names that are taken
BUS_OUTPUT, DISPLAY, DAYLIGHT, DIM_REQUEST = "bus output", "display", "daylight", "dim request"
Points = tuple[tuple[Fraction, Fraction], ...]
Units = dict[str, str | None]  # of the inputs, by name, as they are written; None: it could not be read


@dataclass(frozen=True)
class Knob:
    """A potentiometer on an on-chip pin, with a resistor at each end and one from its wiper to ground. Ohms.

    stops: where it stands at its lower and its upper end, shares of 3.3 V, where that has been measured.
    """

    pin: int
    track: float = 10_000.0
    ends: float = 2_200.0
    pull_down: float = 330_000.0
    stops: tuple[float, float] | None = None


@dataclass(frozen=True)
class Follows:
    """The lamp or the input of that name; points: from its level in per cent, or its reading, to what follows; None: as it is."""

    name: str
    points: Points | None


@dataclass(frozen=True)
class Fixed:
    level: Fraction  # per cent


Source = Knob | Follows | Fixed


@dataclass(frozen=True)
class Compensation:
    """Above that voltage of its supply, which an input measures, a lamp burns as bright as there."""

    input: str
    at: Fraction


@dataclass(frozen=True)
class Lamp:
    """Levels in per cent of the knob's travel, floor and ceiling in per cent of the time; None: not stated.

    override: whether a turn of the knob at its root takes over from the day; None: where it has one. shows: the urgency of the alerts
    that it is lit for, None: of none; not_below: the level it never goes below then.
    """

    line: int
    name: str
    pin: int
    frequency: int  # Hz
    source: Source
    curve: LampCurve
    floor: Fraction
    ceiling: Fraction
    off_below: Fraction
    on_above: Fraction
    fade: Fraction  # seconds
    by_day: Fraction | None
    override: bool | None
    on_fault: Fraction | None
    compensate: Compensation | None
    load: Load | None
    driver: Driver
    wire: Wire | None
    fuse: Fraction | None  # ampere
    shows: str | None = None
    not_below: Fraction = Fraction(0)

    def edges(self, driver: Driver, supply: float) -> tuple[Driver, bool]:
        """A driver's edges at the lamp, where load and wire are stated; and whether the wire makes them."""
        if self.wire is None or self.load is None or self.load.dim_wire or self.load.kind != "resistor strip":
            return driver, False
        ohms = self.load.ohms + self.wire.ohms() + driver.on_resistance
        taken = loads.amperes(self.load, supply)
        wired = behind_wire(driver, self.wire.henries, ohms, taken, self.load.drop)
        return wired, wired.rise > 1.5 * driver.rise


@dataclass(frozen=True)
class BusOutput:
    """Its points go to volts on the line, full_scale is what the buffer makes of 100 % duty, series and load follow it."""

    line: int
    pin: int
    frequency: int
    source: Follows
    full_scale: Fraction
    series: Fraction
    load: Fraction | None
    filter: Filter
    fade: Fraction
    by_day: Fraction | None  # volts
    override: bool | None
    on_fault: Fraction | None  # volts
    name: str = BUS_OUTPUT

    @property
    def highest(self) -> Fraction:
        """Volts on the line at 100 % duty."""
        return (
            self.full_scale if self.load is None else self.full_scale * self.load / (self.load + self.series)
        )


@dataclass(frozen=True)
class Display:
    """The brightness of the face."""

    line: int
    source: Follows
    fade: Fraction
    by_day: Fraction | None
    override: bool | None
    on_fault: Fraction | None
    name: str = DISPLAY


Dimmed = Lamp | BusOutput | Display


@dataclass(frozen=True)
class Daylight:
    """Readings of the sensor above which it is day, below which it is night, once they have lasted."""

    line: int
    sensor: str
    day_above: Fraction
    night_below: Fraction
    delay: Fraction  # seconds


@dataclass(frozen=True)
class Switch:
    line: int
    name: str
    pin: int
    on: int  # the level of its pin when it is on


@dataclass(frozen=True)
class DimRequest:
    line: int
    pin: int
    follows: str  # a lamp, a switch or "daylight"
    on_above: Fraction  # per cent of the knob's travel
    off_below: Fraction
    active: int  # the level of its pin when it asks
    on_fault: str  # "on", "off", "along" with what it follows
    override: bool | None


@dataclass(frozen=True)
class Lights:
    """All of it. Whatever follows a lamp stands after it."""

    lamps: tuple[Lamp, ...] = ()
    bus_output: BusOutput | None = None
    display: Display | None = None
    switches: tuple[Switch, ...] = ()
    daylight: Daylight | None = None
    dim_request: DimRequest | None = None

    @property
    def dimmed(self) -> tuple[Dimmed, ...]:
        """What is dimmed, in the order of the table image."""
        others = (self.bus_output, self.display)
        return (*_in_order(self.lamps), *(one for one in others if one is not None))

    @property
    def knobs(self) -> tuple[Knob, ...]:
        """Each once; several lamps may be on one."""
        return tuple(dict.fromkeys(lamp.source for lamp in self.lamps if isinstance(lamp.source, Knob)))

    def lamp(self, name: str) -> Lamp | None:
        return next((lamp for lamp in self.lamps if lamp.name == name), None)

    def overriding(self, one: Dimmed | DimRequest) -> Knob | None:
        """The knob a turn of which takes over from the day."""
        if one.override is False:
            return None
        if not isinstance(one, DimRequest):
            return self.knob_of(one)
        lamp = self.lamp(one.follows)
        return None if lamp is None else self.knob_of(lamp)

    def knob_of(self, one: Dimmed) -> Knob | None:
        """The knob at the root of what it follows."""
        source: Source | None = one.source
        for _ in self.lamps:
            if not isinstance(source, Follows):
                break
            lamp = self.lamp(source.name)
            source = None if lamp is None else lamp.source
        return source if isinstance(source, Knob) else None


def _in_order(lamps: tuple[Lamp, ...]) -> Iterator[Lamp]:
    """What is followed before what follows; those that follow in a circle last."""
    names = {lamp.name for lamp in lamps}
    placed: set[str] = set()
    waiting = list(lamps)
    while waiting:
        free = [
            lamp
            for lamp in waiting
            if not (isinstance(lamp.source, Follows) and lamp.source.name in names - placed)
        ]
        for lamp in free or waiting:
            waiting.remove(lamp)
            placed.add(lamp.name)
            yield lamp


def read_lights(reader: Reader, units: Units, display: Section | None) -> Lights:
    """The lighting tables of a box file, that of the display taken out before; problems go to the reader."""
    lamp_tables = reader.tables("lamp")
    lamp_names = {section.name for section in lamp_tables}
    lamps = [lamp for s in lamp_tables if (lamp := _lamp(s, units, lamp_names)) is not None]
    switch_tables = reader.tables("switch")
    switches = [switch for s in switch_tables if (switch := _switch(s)) is not None]
    daylight = None if (s := reader.table("daylight")) is None else _daylight(s, units)
    # a knob left up by day dims no face
    by_day = None if daylight is None else Fraction(100)
    return Lights(
        tuple(lamps),
        None if (s := reader.table("bus_output")) is None else _bus_output(s, units, lamp_names),
        None if display is None else _display(display, units, lamp_names, by_day),
        tuple(switches),
        daylight,
        (
            None
            if (s := reader.table("dim_request")) is None
            else _dim_request(s, {section.name for section in switch_tables})
        ),
    )


def _lamp(section: Section, units: Units, lamps: set[str]) -> Lamp | None:
    before = section.problems
    name = section.take("name", box_values.name, "", 'a name, such as "glare shield"') or ""
    if name in (BUS_OUTPUT, DISPLAY, DAYLIGHT, DIM_REQUEST):
        section.wrong("name", f'"{name}" is what the box calls its own; choose another')
    pin = section.take("pin", box_values.output_pin, None, "an output pin, such as 15")
    frequency = section.take("frequency", box_values.frequency, LAMP_FREQUENCY)
    ways = [key for key in ("knob", "follows", "level") if key in section.written]
    knob = section.take("knob", _knob, None)
    follows = _follows(section, units, lamps - {name}, _share) if "follows" in section.written else None
    level = section.take("level", _share, None)
    if len(ways) != 1:
        what = " and ".join(ways) + " are two" if ways else "is missing"
        section.wrong(ways[1] if ways else "", f"what sets its level {what}; write knob, follows or level")
    source: Source | None = knob or follows or (None if level is None else Fixed(level))
    curve = section.take("curve", box_values.curve, LampCurve(None))
    made = section.take("driver", _driver, driver.REFERENCE) or driver.REFERENCE
    hertz = frequency or LAMP_FREQUENCY
    floor = section.take("floor", _share, Fraction(made.sure_pulse * hertz * 100).limit_denominator(10**6))
    ceiling = section.take("ceiling", _share, Fraction(100))
    has_knob = knob is not None
    off_below = section.take("off_below", _low, Fraction(2 if has_knob else 0))
    on_above = section.take("on_above", _low, Fraction(4 if has_knob else 0))
    if off_below is not None and on_above is not None:
        if on_above <= off_below and has_knob or on_above < off_below:
            section.wrong("on_above", "must lie above off_below, or the lamp hunts")
    if floor is not None and ceiling is not None and floor >= ceiling:
        section.wrong("ceiling", "must lie above the floor")
    fade = section.take("fade", _fade, Fraction(1, 5))
    by_day = section.take("by_day", _share, None)
    override = section.take("override", box_values.yes_or_no, None)
    on_fault = _on_fault(section, _share, source, units, SAFE_LEVEL)
    compensate = section.take("compensate", _compensation, None)
    load = section.take("load", _load, None)
    wire = section.take("wire", _wire, None)
    fuse = section.take("fuse", box_values.positive_quantity("A"), None)
    shows = section.take("shows", box_values.one_of("caution", "warning", "flag"), None)
    not_below = section.take("not_below", _whole_share, Fraction(0) if shows is None else ALERT_FLOOR)
    if shows is None and "not_below" in section.written:
        section.wrong("not_below", 'belongs to a lamp for alerts; add shows = "caution", "warning" or "flag"')
    section.finish()
    if section.problems > before or pin is None or source is None or curve is None:
        return None
    assert frequency and floor is not None and ceiling and off_below is not None and on_above is not None
    assert fade is not None
    return Lamp(
        section.line, name, pin, frequency, source, curve, floor, ceiling, off_below, on_above, fade, by_day, override,
        on_fault, compensate, load, made, wire, fuse, shows, not_below or Fraction(0),
    )  # fmt: skip


def _bus_output(section: Section, units: Units, lamps: set[str]) -> BusOutput | None:
    before = section.problems
    pin = section.take("pin", box_values.output_pin, None, "an output pin, such as 13")
    frequency = section.take("frequency", box_values.frequency, BUS_FREQUENCY)
    full_scale = section.take(
        "full_scale", box_values.positive_quantity("V"), None, 'what the buffer makes at full, "14 V"'
    )
    source = _follows(section, units, lamps, _volts)
    series = section.take("series", box_values.quantity_from_nought("ohm"), Fraction(0))
    load = section.take("load", box_values.positive_quantity("ohm"), None)
    low_pass = section.take("filter", _filter, None, '{ resistor = "10 kohm", capacitor = "470 nF" }')
    fade = section.take("fade", _fade, Fraction(1, 5))
    by_day = section.take("by_day", _volts, None)
    override = section.take("override", box_values.yes_or_no, None)
    on_fault = _on_fault(section, _volts, source, units, None)
    section.finish()
    if source is not None and source.name in units and on_fault is None and section.problems == before:
        section.wrong(
            "", f'on_fault is missing; write the volts of the line while "{source.name}" has failed'
        )
    if section.problems > before or None in (pin, source, full_scale, low_pass):
        return None
    assert pin is not None and frequency and source and full_scale and low_pass and fade is not None
    assert series is not None
    made = BusOutput(
        section.line, pin, frequency, source, full_scale, series, load, low_pass, fade, by_day, override, on_fault
    )  # fmt: skip
    asked = [volts for _, volts in source.points or ()] + [volts for volts in (by_day, on_fault) if volts]
    if max(asked) > made.highest:
        what = (
            f"{float(max(asked)):g} V is more than the line gets: {float(made.highest):.2f} V at full_scale"
        )
        section.wrong("points", what + (" behind series into load" if load else ""))
        return None
    return made


def _display(section: Section, units: Units, lamps: set[str], bright: Fraction | None) -> Display | None:
    before = section.problems
    if not {"follows", "points", "fade", "by_day", "override", "on_fault"}.intersection(section.written):
        if "address" in section.written:  # always at its brightest
            section.finish()
            return None
    source = _follows(section, units, lamps, _share)
    fade = section.take("fade", _fade, Fraction(1, 5))
    by_day = section.take("by_day", _share, bright)
    override = section.take("override", box_values.yes_or_no, None)
    on_fault = _on_fault(section, _share, source, units, SAFE_LEVEL)
    section.finish()
    if section.problems > before or source is None:
        return None
    assert fade is not None
    return Display(section.line, source, fade, by_day, override, on_fault)


def _daylight(section: Section, units: Units) -> Daylight | None:
    before = section.problems
    sensor = section.take("sensor", box_values.name, None, "the name of the input that measures the light")
    day_above = night_below = None
    if sensor is not None and sensor not in units:
        section.wrong("sensor", f'there is no input "{sensor}"; {meant(sensor, units)}')
    if unit := units.get(sensor or ""):
        reading = box_values.reading(unit)
        day_above = section.take("day_above", reading, None, "a reading of the sensor")
        night_below = section.take("night_below", reading, None, "a reading of the sensor")
    else:
        section.skip("day_above", "night_below")
    delay = section.take("delay", _delay, Fraction(30))
    section.finish()
    if day_above is not None and night_below is not None and day_above <= night_below:
        section.wrong("day_above", "must lie above night_below, or day and night hunt")
    if section.problems > before or sensor is None or day_above is None or night_below is None:
        return None
    assert delay is not None
    return Daylight(section.line, sensor, day_above, night_below, delay)


def _switch(section: Section) -> Switch | None:
    before = section.problems
    name = section.take("name", box_values.name, "", 'a name, such as "panel lights"') or ""
    pin = section.take("pin", box_values.switch_pin, None, "a pin that is free, such as 12")
    on = section.take("on", box_values.one_of("low", "high"), "low")
    section.finish()
    return (
        None
        if section.problems > before or pin is None
        else Switch(section.line, name, pin, int(on == "high"))
    )


def _dim_request(section: Section, switches: set[str]) -> DimRequest | None:
    before = section.problems
    pin = section.take("pin", box_values.output_pin, None, "an output pin, such as 14")
    follows = section.take("follows", box_values.name, None, 'the name of a lamp or a switch, or "daylight"')
    on_above = section.take("on_above", _share, Fraction(8))
    off_below = section.take("off_below", _share, Fraction(5))
    active = section.take("active", box_values.one_of("high", "low"), "high")
    on_fault = section.take("on_fault", box_values.one_of("along", "off", "on"), "along")
    override = section.take("override", box_values.yes_or_no, None)
    section.finish()
    if on_above is not None and off_below is not None and on_above <= off_below:
        section.wrong("on_above", "must lie above off_below, or the line hunts")
    if follows == DAYLIGHT or follows in switches:
        for key in ("on_above", "off_below"):
            if key in section.written:
                section.wrong(key, f'belongs to a lamp; "{follows}" is on or off; leave it out')
    if section.problems > before or pin is None or follows is None:
        return None
    assert on_above is not None and off_below is not None and on_fault
    return DimRequest(
        section.line, pin, follows, on_above, off_below, int(active == "high"), on_fault, override
    )


def _follows(
    section: Section, units: Units, lamps: set[str], to: Callable[[Any], Fraction]
) -> Follows | None:
    name = section.take("follows", box_values.name, None, "the name of a lamp or an input")
    if name is None:
        section.skip("points")
        return None
    if name not in units and name not in lamps:
        there = meant(name, [*sorted(lamps), *units])
        section.wrong("follows", f'there is no lamp and no input "{name}" to follow; {there}')
        section.skip("points")
        return None
    unit = "%" if name in lamps else units[name]
    if not unit:
        section.skip("points")
        return None
    points = section.take("points", _points(unit, to), None)
    if points is None and "points" not in section.written and (name in units or to is _volts):
        ends = ("0 V", "14 V") if to is _volts else ("0 %", "100 %")
        example = f'[["0 {unit}", "{ends[0]}"], ["100 {unit}", "{ends[1]}"]]'
        section.wrong("", f"points are missing; write points = {example} with your own figures")
    return Follows(name, points)


def _on_fault(
    section: Section,
    parse: Callable[[Any], Fraction],
    source: Source | None,
    units: Units,
    default: Fraction | None,
) -> Fraction | None:
    """What follows a lamp follows it to its safe level, and what is fixed has nothing that could fail."""
    stated = section.take("on_fault", parse, None)
    of_its_own = isinstance(source, Knob) or isinstance(source, Follows) and source.name in units
    if source is not None and not of_its_own and "on_fault" in section.written:
        why = (
            "it follows a lamp, and to its safe level too"
            if isinstance(source, Follows)
            else "nothing can fail"
        )
        section.wrong("on_fault", f"{why}; leave it out")
    if not of_its_own:
        return None
    return default if stated is None else stated


def _points(unit: str, to: Callable[[Any], Fraction]) -> Callable[[Any], Points]:
    """From what is followed, in unit, to what `to` reads. Two at one place are a step; the ends go on level."""

    def parse(value: Any) -> Points:
        right = f'["<number> {unit}", ...]'
        if not isinstance(value, list) or len(value) < 2:
            raise ValueError(f"must be two or more of {right}")
        if len(value) > 20:
            raise ValueError(f"{len(value)} points are more than a dimmer needs; at most 20")
        points = []
        for i, point in enumerate(value, 1):
            if not isinstance(point, list) or len(point) != 2:
                raise ValueError(f"point {i} must be {right}")
            try:
                points.append((parse_quantity(point[0], unit), to(point[1])))
            except ValueError as problem:
                raise ValueError(f"point {i}: {problem}") from None
        for i, ((x0, _), (x1, _)) in enumerate(zip(points, points[1:]), 2):
            if x1 < x0:
                raise ValueError(f"point {i} lies before the one above it; sort them")
        for (x0, _), _, (x2, _) in zip(points, points[1:], points[2:]):
            if x0 == x2:
                raise ValueError(f"{float(x0):g} {unit} stands there three times; a step has two")
        return tuple(points)

    return parse


def points_between(unit: str) -> Callable[[Any], Points]:
    """From a reading in unit to per cent."""
    return _points(unit, _share)


_share = box_values.between("%", 0, 100)


def _whole_share(value: Any) -> Fraction:
    if (share := _share(value)).denominator != 1 or share < 1:
        raise ValueError(f'"{value}" must be a whole number of per cent, 1 at least')
    return share


_low = box_values.between("%", 0, 50)  # where a lamp is switched on and off
_volts = box_values.between("V", 0, 40)
_fade = box_values.between("s", 0, 20)
_delay = box_values.between("s", 1, 600)


def _parts(value: Any, needed: tuple[str, ...], possible: tuple[str, ...]) -> dict[str, Any]:
    """An inline table with these keys."""
    keys = ", ".join(needed + possible)
    if not isinstance(value, dict):
        raise ValueError(f"must be {{ ... }} with: {keys}")
    for key in value:
        if key not in needed + possible:
            raise ValueError(f'has no "{key}"; it has: {keys}')
    for key in needed:
        if key not in value:
            raise ValueError(f'needs "{key}"')
    return value


def _part(parts: dict[str, Any], key: str, unit: str, least: float, most: float) -> float:
    try:
        value = float(parse_quantity(parts[key], unit))
        if not least <= value <= most:
            raise ValueError(f'"{parts[key]}" is outside {least:g} to {most:g} {unit}')
        return value
    except ValueError as problem:
        raise ValueError(f"{key} {problem}") from None


def _knob(value: Any) -> Knob:
    if not isinstance(value, dict):
        return Knob(box_values.converter_pin(value))
    parts = _parts(value, ("pin",), ("track", "ends", "pull_down", "stops"))
    given = {"track": (1_000, 100_000), "ends": (0, 50_000), "pull_down": (10_000, 10_000_000)}
    ohms = {key: _part(parts, key, "ohm", *given[key]) for key in given if key in parts}
    stops = _stops(parts["stops"]) if "stops" in parts else None
    return Knob(box_values.converter_pin(parts["pin"]), **ohms, stops=stops)


def _stops(value: Any) -> tuple[float, float]:
    """Shares of 3.3 V."""
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError('stops must be where it stands at its ends, per cent of 3.3 V: ["15.3 %", "84.6 %"]')
    try:
        low, high = (float(_share(one)) / 100 for one in value)
    except ValueError as problem:
        raise ValueError(f"stops: {problem}") from None
    if high - low < LEAST_TRAVEL:
        raise ValueError(
            f"stops: the lower end first, and {LEAST_TRAVEL * 100:g} % of 3.3 V below the upper at least"
        )
    return low, high


def _compensation(value: Any) -> Compensation:
    parts = _parts(value, ("input", "at"), ())
    return Compensation(box_values.name(parts["input"]), box_values.positive_quantity("V")(parts["at"]))


def _driver(value: Any) -> Driver:
    parts = _parts(value, ("rise", "fall"), ("on_resistance",))
    rise, fall = (_part(parts, key, "s", 1e-9, 1e-3) for key in ("rise", "fall"))
    if "on_resistance" not in parts:
        return Driver(rise, fall, driver.REFERENCE.on_resistance)
    return Driver(rise, fall, _part(parts, "on_resistance", "ohm", 0, 10))


def _load(value: Any) -> Load:
    possible = ("current", "power", "length", "power_per_metre", "at", "drop", "readings", "dim_wire")
    parts = _parts(value, (), possible)
    dim_wire = box_values.yes_or_no(parts.get("dim_wire", False))
    if "readings" in parts:
        if set(parts) - {"readings", "dim_wire"}:
            raise ValueError("readings say it all; leave the other keys out")
        given = parts["readings"]
        if not isinstance(given, list) or not all(isinstance(r, list) and len(r) == 2 for r in given):
            raise ValueError('readings must be [["10 V", "120 mA"], ["12 V", "320 mA"], ["14 V", "540 mA"]]')
        readings = [(float(parse_quantity(v, "V")), float(parse_quantity(a, "A"))) for v, a in given]
        return loads.from_readings(readings, dim_wire)
    if "at" not in parts:
        raise ValueError('needs at, the voltage at which it was measured or is rated: at = "12 V"')
    at = _part(parts, "at", "V", 1, 60)
    drop = _part(parts, "drop", "V", 0, at * 0.99) if "drop" in parts else loads.USUAL_DROP
    ways = [key for key in ("current", "power", "length") if key in parts]
    if len(ways) != 1 or ("length" in parts) != ("power_per_metre" in parts):
        raise ValueError("needs one of: current; power; length and power_per_metre")
    if "current" in parts:
        return loads.from_current(_part(parts, "current", "A", 0.001, 50), at, drop, dim_wire)
    if "power" in parts:
        return loads.from_power(_part(parts, "power", "W", 0.01, 500), at, drop, dim_wire)
    metres, per_metre = _part(parts, "length", "m", 0.01, 20), _part(parts, "power_per_metre", "W", 0.1, 100)
    return loads.from_length(metres, per_metre, at, drop, dim_wire)


def _wire(value: Any) -> Wire:
    parts = _parts(value, ("gauge", "length"), ("airframe_return",))
    if parts["gauge"] not in GAUGES or isinstance(parts["gauge"], bool):
        sizes = ", ".join(f"{gauge} ({area(gauge):.2g} mm2)" for gauge in GAUGES)
        raise ValueError(f"gauge {parts['gauge']!r} must be an AWG number: {sizes}")
    return Wire(
        parts["gauge"],
        _part(parts, "length", "m", 0.05, 50),
        box_values.yes_or_no(parts.get("airframe_return", False)),
    )


def _filter(value: Any) -> Filter:
    parts = _parts(value, ("resistor", "capacitor"), ("stages",))
    stages = box_values.whole(1, 2, "1 or 2")(parts.get("stages", 1))
    return Filter(
        _part(parts, "resistor", "ohm", 10, 1e6), _part(parts, "capacitor", "F", 1e-11, 1e-3), stages
    )
