"""The box file's [reserve] and [disagree]: what the reserve watch and the disagree alerts are told, and that in the box's integers."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugebox import alert_records, disagree, reserve
from gaugelight import box_values
from gaugelight.atmosphere import pressure_hpa
from gaugelight.laws import Points
from gaugelight.problems import meant
from gaugelight.quantity import UNITS
from gaugelight.readouts import Condition, condition, read_condition

if TYPE_CHECKING:
    from gaugebox.alert_records import DerivedRecord
    from gaugebox.table import InputRecord, Table
    from gaugelight.box_line import SaidGauge, SaidReserve
    from gaugelight.boxfile import Box, Input, Section
    from gaugelight.lights import Units

SENDER_ERROR = Fraction(
    3, 100
)  # of its span: how far off nought a pressure sender may be with the pump off, at 95 %
CEILING = Fraction(3810)  # m, 12,500 ft
FASTEST_CLIMB = 1500 * 0.3048 / 60  # m/s
GAUGE_ERROR = Fraction(5)  # per cent of a float gauge's reading, plus or minus at 95 %
SMOOTHING = 60  # turns of 10 s
FEEDS = {"always": disagree.FEEDS, "not known": disagree.MAY_FEED, "never": disagree.RESTS}
SHARE = 5  # per cent of a transfer that may go elsewhere than to equal parts


@dataclass(frozen=True)
class ReserveTank:
    """Names of a switch and two readouts. Fuel in the unit of `mains`, an hour where it is a rate; pressures in that of `pressure`,
    above its reading with the pump off. Pairs are from least to most; build in seconds.
    """

    line: int
    pump: str
    pressure: str
    mains: str
    filled: str | None
    holds: Fraction
    holds_error: Fraction
    capacity: Fraction  # of the mains
    rate: tuple[Fraction, Fraction]
    burn: tuple[Fraction, Fraction]
    flowing: tuple[Fraction, Fraction]
    dead_head: Fraction
    build: Fraction
    mains_error: Fraction  # per cent
    ceiling: Fraction  # m


@dataclass(frozen=True)
class Disagreement:
    """One gauge: burn an hour from least to most, in its unit; share: per cent of a transfer that go there."""

    line: int
    gauge: str
    flies: Condition
    burn: tuple[Fraction, Fraction]
    feeds: str
    share: Fraction
    allowance: Fraction
    unseen: Fraction


def rates(unit: str) -> Callable[[Any], tuple[Fraction, Fraction]]:
    """["7 US gal", "9 US gal"]: in an hour, from least to most."""

    def parse(value: Any) -> tuple[Fraction, Fraction]:
        low, high = box_values.span(unit)(value)
        if low < 0:
            raise ValueError(f"{value[0]} an hour is less than nothing")
        return low, high

    return parse


def reserve_tank(section: "Section", units: "Units", switches: set[str]) -> ReserveTank | None:
    before = section.problems
    pump = _switch(section, "pump", switches, "the name of the switch that is on while the pump runs")
    filled = _switch(section, "filled", switches, "")
    pressure = _readout(
        section, "pressure", units, "the name of the input in the line", ("psi", "bar", "kPa")
    )
    mains = _readout(section, "mains", units, "the name of the readout of usable fuel", tuple(
        name for name in UNITS if UNITS[name][0] in ("volume", "mass")))  # fmt: skip
    fuel, psi = units.get(mains or ""), units.get(pressure or "")
    if fuel and psi:
        amount, height = box_values.reading(fuel), box_values.reading(psi)
        holds = section.take("holds", amount, None, f'what it holds when filled, "10 {fuel}"')
        error = section.take("holds_error", amount, None)
        capacity = section.take("capacity", amount, None, f'usable fuel of the full mains, "36 {fuel}"')
        rate = section.take("rate", rates(fuel), None, f'["18 {fuel}", "30 {fuel}"], pumped in an hour')
        burn = section.take("burn", rates(fuel), None, f'["7 {fuel}", "9 {fuel}"], burnt in an hour')
        flowing = section.take(
            "flowing", box_values.span(psi), None, f'["3 {psi}", "6 {psi}"], above the pump-off reading'
        )
        dead_head = section.take("dead_head", height, None, f'least pressure with the line closed, "8 {psi}"')
    else:
        section.skip("holds", "holds_error", "capacity", "rate", "burn", "flowing", "dead_head")
        holds = error = capacity = dead_head = None
        rate = burn = flowing = None
    build = section.take("build", box_values.between("s", 1, 60), Fraction(8))
    mains_error = section.take("mains_error", box_values.percent, GAUGE_ERROR)
    ceiling = section.take("ceiling", box_values.altitude(0, 36_000), CEILING)
    section.finish()
    for key, value in (("holds", holds), ("capacity", capacity), ("rate", rate and rate[0])):
        if value is not None and value <= 0:
            section.wrong(key, "must be more than 0")
    if error is not None and error < 0:
        section.wrong("holds_error", "must not be less than 0")
    if pump is not None and filled == pump:
        section.wrong("filled", "is the pump's switch; the reserve would be filled whenever that is on")
    if flowing is not None and flowing[0] <= 0:
        section.wrong("flowing", "begins at 0; a pressure that tells lies above that")
    if flowing is not None and dead_head is not None and dead_head <= flowing[0]:
        section.wrong("dead_head", "must lie above the least flowing pressure")
    if section.problems > before or pump is None or pressure is None or mains is None:
        return None
    if (
        holds is None
        or capacity is None
        or rate is None
        or burn is None
        or flowing is None
        or dead_head is None
    ):
        return None  # the unit of what it watches is not known, for another problem
    assert build is not None and mains_error is not None and ceiling is not None
    spread = holds / 20 if error is None else error
    return ReserveTank(
        section.line, pump, pressure, mains, filled, holds, spread, capacity, rate, burn, flowing, dead_head, build,
        mains_error, ceiling,
    )  # fmt: skip


def disagreement(
    section: "Section", units: "Units", spans: Mapping[str, tuple[float, float]], switches: set[str]
) -> Disagreement | None:
    before = section.problems
    fuels = tuple(name for name in UNITS if UNITS[name][0] in ("volume", "mass"))
    gauge = _readout(section, "gauge", units, "the name of a fuel readout", fuels)
    given = section.take("while", condition, None, 'what says that fuel is burnt, "bus above 13.2 V"')
    flies = read_condition(section, "while", given, units, switches)
    unit = units.get(gauge or "")
    burn = allowance = unseen = None
    if unit:
        burn = section.take(
            "burn", rates(unit), None, f'["7 {unit}", "9 {unit}"], burnt in an hour from this gauge'
        )
        allowance = section.take("allowance", box_values.reading(unit), None)
        unseen = section.take("unseen", box_values.reading(unit), Fraction(0))
    else:
        section.skip("burn", "allowance", "unseen")
    feeds = section.take("feeds", box_values.one_of(*FEEDS), "always")
    share = section.take("share", box_values.between("%", 0, 100), Fraction(0))
    section.finish()
    for key, value in (("allowance", allowance), ("unseen", unseen)):
        if value is not None and (value < 0 or key == "allowance" and not value):
            section.wrong(key, "must be more than 0" if key == "allowance" else "must not be less than 0")
    if section.problems > before or gauge is None or flies is None or burn is None or not feeds:
        return None
    low, high = spans.get(gauge, (0.0, 1.0))
    assert share is not None and unseen is not None
    # the trial's, of a tank of 18 gal (python -m gaugelight.disagree_trial)
    usual = Fraction(round((high - low) * 1.7 / 18, 3)).limit_denominator(1000)
    return Disagreement(section.line, gauge, flies, burn, feeds, share, allowance or usual, unseen)


def _switch(section: "Section", key: str, switches: set[str], required: str) -> str | None:
    name = section.take(key, box_values.name, None, required)
    if name is not None and name not in switches:
        section.wrong(key, f'there is no switch "{name}"; {meant(name, sorted(switches))}')
    return name


def _readout(
    section: "Section", key: str, units: "Units", required: str, usable: tuple[str, ...]
) -> str | None:
    name = section.take(key, box_values.name, None, required)
    if name is None:
        return None
    if name not in units:
        section.wrong(key, f'there is no readout "{name}"; {meant(name, list(units))}')
        return None
    if units[name] is not None and units[name] not in usable:
        section.wrong(key, f"{name} is in {units[name]}, not in {' or '.join(usable)}")
        return None
    return name


def reserve_books(said: "SaidReserve", table: "Table") -> list[str]:
    """What the reserve watch says, in words; what is not known is left out."""
    assert table.reserve is not None
    record = _record(table, table.reserve.mains)
    scale = 10**record.reading_decimals
    told = [reserve.STATES[said.state]]
    if said.doubtful:
        told = [f"{told[0]}, doubtful: the pressure or its ripple has changed, or the mains do not rise"]
    for name, value, band in (
        ("moved", said.moved, said.moved_band),
        ("left", said.left, said.left_band),
        ("room in the mains", said.room, said.room_band),
    ):
        if value >= 0 and (name != "moved" or value or said.state):
            told.append(f"{name} {value / scale:.1f} +-{band / scale:.1f} {record.reading_unit}")
    if said.seconds_to_off >= 0:
        soonest = max(0, said.seconds_to_off - said.seconds_band) // 60
        latest = -(-(said.seconds_to_off + said.seconds_band) // 60)
        what = "off in" if said.left >= 0 else "dry nobody knows when, mains full in"
        told.append(f"{what} {soonest} to {latest} min")
    return told


GAUGE_WORDS = {
    disagree.NOT_JUDGED: "not judged",
    disagree.AGREES: "nothing speaks against it",
    disagree.READS_HIGH: "reads {size} too HIGH at least",
    disagree.READS_LOW: "reads {size} too LOW at least, or leaks",
}


def gauges_told(said: "Sequence[SaidGauge]", table: "Table") -> list[str]:
    """What the disagree alerts say of each gauge, in words."""
    told = []
    for one, gauge in zip(said, table.gauges):
        record = _record(table, gauge.index)
        size = f"{abs(one.size) / 10**record.reading_decimals:.{min(1, record.reading_decimals)}f} {record.reading_unit}"
        words = GAUGE_WORDS.get(one.state, f"state {one.state}")
        told.append(f"{record.name}: {words.format(size=size)}")
    return told


def _record(table: "Table", index: int) -> "InputRecord | DerivedRecord":
    return table.inputs[index] if index < len(table.inputs) else table.derived[index - len(table.inputs)]


# -- in the box's integers


def reserve_section(
    tank: ReserveTank, box: "Box", names: list[str], decimals: list[int], switches: list[str]
) -> bytes:
    """For the table image."""
    numbers = reserve_numbers(tank, box, names, decimals)
    fixed = struct.pack(
        alert_records.RESERVE_FIXED,
        switches.index(tank.pump),
        names.index(tank.pressure),
        names.index(tank.mains),
        alert_records.NO_SWITCH if tank.filled is None else switches.index(tank.filled),
    )
    return fixed + b"".join(
        struct.pack("<i", round(numbers[key])) for key, _, _ in alert_records.RESERVE_NUMBERS
    )


def reserve_numbers(
    tank: ReserveTank, box: "Box", names: list[str], decimals: list[int]
) -> dict[str, Fraction]:
    """As gaugebox.reserve says what its numbers are, not rounded yet."""
    sender = box.input(tank.pressure)
    assert sender is not None
    psi = 10 ** decimals[names.index(tank.pressure)]
    fuel = 10 ** decimals[names.index(tank.mains)]
    least, most = pump_off_readings(tank, box)
    rate = (tank.rate[0] + tank.rate[1]) / 2
    burn = (tank.burn[0] + tank.burn[1]) / 2
    damping = max(
        (one.damping for one in box.inputs if one.name in _parts(tank.mains, box)), default=Fraction(0)
    )
    step = next((one.step for one in box.inputs if one.name == tank.mains), None)
    step = step or next(one.step for one in box.face.derived if one.name == tank.mains)
    return {
        "low": tank.flowing[0] * psi,
        "high": tank.flowing[1] * psi,
        "dead_head": tank.dead_head * psi,
        "base_least": least * psi,
        "base_most": most * psi,
        "bottom": (
            lowest_reading(box, tank) * psi if goes_below(sender) else Fraction(-reserve.MOST_PRESSURE)
        ),
        "drift": _drift(sender.unit) * psi,
        "build": tank.build * 10,
        "rate": rate * fuel,
        "rate_band": _per_cent(tank.rate, rate),
        "burn": burn * fuel,
        "burn_band": _per_cent(tank.burn, burn),
        "mains_full": tank.capacity * fuel,
        "mains_band": tank.mains_error,
        "mains_noise": step / 2 * fuel,
        "mains_lag": damping,
        "reserve_full": tank.holds * fuel,
        "reserve_band": tank.holds_error * fuel,
    }


def _parts(name: str, box: "Box") -> tuple[str, ...]:
    return next((one.names for one in box.face.derived if one.name == name), (name,))


def _per_cent(pair: tuple[Fraction, Fraction], middle: Fraction) -> Fraction:
    return Fraction(math.ceil((pair[1] - middle) / middle * 100)) if middle else Fraction(0)


def pump_off_readings(tank: ReserveTank, box: "Box") -> tuple[Fraction, Fraction]:
    """What the sender may read with the pump off, at any altitude flown, in its unit (ISO 2533)."""
    sender = box.input(tank.pressure)
    assert sender is not None
    low, high = (Fraction(end) for end in sender.law.span)
    error = (high - low) * SENDER_ERROR
    unit = UNITS[sender.bare_unit][1]
    sea, aloft = (
        Fraction(float(hectopascals)) / 10 / unit
        for hectopascals in pressure_hpa(np.array([0.0, tank.ceiling], float))
    )
    kind = sender.unit.rsplit(" ", 1)[1]
    weather = sea * 3 / 100  # highs and lows of the day
    if kind == "absolute":
        return aloft - weather - error, sea + weather + error
    if kind == "sealed":
        return aloft - sea - weather - error, weather + error
    return -error, error


def goes_below(sender: "Input") -> bool:
    """Whether it states a limit and reads on down to it; points hold at their end."""
    return sender.limits is not None and not isinstance(sender.law, Points)


def lowest_reading(box: "Box", tank: ReserveTank) -> Fraction:
    """Where a loop that states its limits stands when it can go no lower."""
    sender = box.input(tank.pressure)
    assert sender is not None and sender.limits is not None
    lowest = float(sender.limits[1])
    low, high = sender.law.span
    first, last = float(sender.law.low), float(sender.law.high)
    return Fraction(low + (lowest - first) / (last - first) * (high - low))


def _drift(unit: str) -> Fraction:
    """The most that climbing shifts a reading in a second; of a gauge one nothing does."""
    name, kind = unit.rsplit(" ", 1)
    if kind == "gauge":
        return Fraction(0)
    here, above = pressure_hpa(np.array([0.0, FASTEST_CLIMB]))
    return Fraction(float(here - above)) / 10 / UNITS[name][1]


def disagree_section(
    one: Disagreement, flies: int, index: int, decimals: int, span: tuple[float, float]
) -> bytes:
    """For the table image."""
    numbers = disagree_numbers(one, decimals, span)
    fixed = struct.pack(alert_records.DISAGREE_FIXED, index, flies, FEEDS[one.feeds], 0, *shares(one))
    return fixed + b"".join(
        struct.pack("<i", round(numbers[key])) for key, _, _ in alert_records.DISAGREE_NUMBERS
    )


def shares(one: Disagreement) -> tuple[int, int]:
    """Of a transfer, least and most, per cent."""
    if not one.share:
        return 0, 0
    return int(max(Fraction(0), one.share - SHARE)), int(min(Fraction(100), one.share + SHARE))


def disagree_numbers(one: Disagreement, decimals: int, span: tuple[float, float]) -> dict[str, Fraction]:
    """As gaugebox.disagree says what its numbers are, not rounded yet."""
    scale = 10**decimals
    scale_error = 1 + GAUGE_ERROR / 100  # of the gauge, allowed for in the burn
    low, high = span
    return {
        "burn_low": one.burn[0] * (2 - scale_error) * scale,
        "burn_high": one.burn[1] * scale_error * scale,
        "allowance": one.allowance * scale,
        "smoothing": Fraction(SMOOTHING),
        "top": (Fraction(high) - Fraction(high - low) / 36) * scale,
        "unseen": one.unseen * scale,
        "bottom": (Fraction(low) + Fraction(high - low) / 90) * scale,
    }
