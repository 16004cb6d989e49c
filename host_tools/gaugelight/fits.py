"""Whether what a box file says of the face fits the box's small integers: the bounds with which the box itself judges its table."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from gaugebox import alert_records, disagree
from gaugelight.boxfile import Box, Input
from gaugelight.curves import decimals_of
from gaugelight.face_tables import derived_ends, span_and_step
from gaugelight.fuel_watch import Disagreement, ReserveTank, disagree_numbers, reserve_numbers
from gaugelight.problems import Problem
from gaugelight.readouts import Derived

BEYOND = Fraction(105, 100)  # a loop reads on beyond its ends, by 3 % (NAMUR NE 43)
# of the numbers of the box's tables: the key that makes them
RESERVE_KEYS = {
    "low": "flowing", "high": "flowing", "dead_head": "dead_head", "base_least": "pressure", "base_most": "pressure",
    "bottom": "pressure", "drift": "pressure", "build": "build", "rate": "rate", "rate_band": "rate", "burn": "burn",
    "burn_band": "burn", "mains_full": "capacity", "mains_band": "mains_error", "mains_noise": "mains", "mains_lag": "mains",
    "reserve_full": "holds", "reserve_band": "holds_error",
}  # fmt: skip
DISAGREE_KEYS = {
    "burn_low": "burn", "burn_high": "burn", "allowance": "allowance", "smoothing": "", "top": "gauge", "unseen": "unseen",
    "bottom": "gauge",
}  # fmt: skip
RATES = ("rate", "burn", "share")
PRESSURES = ("flowing", "dead_head", "pressure")


def unfit(box: Box) -> Iterator[Problem]:
    """What the box would refuse of its table."""
    problems = [*_steps(box)]
    yield from problems
    if not problems:
        yield from _sums(box)
        if box.face.reserve is not None:
            yield from _reserve(box.face.reserve, box)
        for number, gauge in enumerate(box.face.gauges, 1):
            yield from _gauge(gauge, f"disagree {number}", box)


def _all(box: Box) -> list[Input | Derived]:
    return [*box.inputs, *box.face.derived]


def _steps(box: Box) -> Iterator[Problem]:
    finest = Fraction(50, 10**alert_records.MOST_DECIMALS)
    for one in _all(box):
        if decimals_of(one.step) > alert_records.MOST_DECIMALS:
            what = f"{float(one.step):g} is finer than the box can write; at least {float(finest):g}"
            yield Problem(one.line, one.name, what, "step")
        elif one.step > alert_records.FURTHEST:
            what = f"{float(one.step):g} is more than the box reckons with; at most {alert_records.FURTHEST}"
            yield Problem(one.line, one.name, what, "step")


def _sums(box: Box) -> Iterator[Problem]:
    """Of several readings."""
    for derived in box.face.derived:
        most = sum(Fraction(max(-low, high)) for low, high in derived_ends(derived, box)) * BEYOND
        furthest = _furthest(box, derived.name)
        if most > furthest:
            what = f"{float(derived.step):g} is too small for readings up to {_said(most)}: at most {_said(furthest)} is reckoned with"
            yield Problem(derived.line, derived.name, what + "; choose a larger one", "step")


def _furthest(box: Box, name: str) -> Fraction:
    """From 0 that a reading, and what it is held against, may lie, with half a step to spare."""
    _, step = span_and_step(box, name)
    return Fraction(alert_records.FURTHEST, 10 ** decimals_of(step)) - step


def _decimals(box: Box) -> tuple[list[str], list[int]]:
    return [one.name for one in _all(box)], [decimals_of(one.step) for one in _all(box)]


def _reserve(tank: ReserveTank, box: Box) -> Iterator[Problem]:
    names, decimals = _decimals(box)
    numbers = reserve_numbers(tank, box, names, decimals)
    told = set()
    for key, least, most in alert_records.RESERVE_NUMBERS:
        written = RESERVE_KEYS[key]
        name = tank.pressure if written in PRESSURES else tank.mains
        number = round(numbers[key])
        if least <= number <= most or written in told:
            continue
        told.add(written)
        yield _out_of_bounds(tank.line, "reserve", written, number, least, most, name, box)


def _gauge(gauge: Disagreement, where: str, box: Box) -> Iterator[Problem]:
    span, step = span_and_step(box, gauge.gauge)
    numbers = disagree_numbers(gauge, decimals_of(step), span)
    told = set()
    bounds = [*alert_records.DISAGREE_NUMBERS, ("span", 0, disagree.MOST_READING)]
    numbers["span"] = Fraction(span[1] - span[0]) * 10 ** decimals_of(step) * BEYOND
    for key, least, most in bounds:
        written = DISAGREE_KEYS.get(key, "gauge")
        number = round(numbers[key])
        if not least <= number <= most and written not in told:
            told.add(written)
            yield _out_of_bounds(gauge.line, where, written, number, least, most, gauge.gauge, box)
    if box.face.reserve is not None and gauge.share:
        yield from _transfer(box.face.reserve, gauge, round(numbers["share_high"]), where, box)


def _transfer(tank: ReserveTank, gauge: Disagreement, share: int, where: str, box: Box) -> Iterator[Problem]:
    """What of it goes to a gauge; the box counts both in the same units."""
    names, decimals = _decimals(box)
    mains, one = (_all(box)[names.index(name)] for name in (tank.mains, gauge.gauge))
    if (_unit(mains), decimals_of(mains.step)) != (_unit(one), decimals_of(one.step)):
        what = f"the transfer is counted as {tank.mains} reads; give {gauge.gauge} its unit and step, or leave share out"
        yield Problem(gauge.line, where, what, "share")
        return
    flows = reserve_numbers(tank, box, names, decimals)
    rate, band = round(flows["rate"]), round(flows["rate_band"])
    number = (rate + rate * band // 100) * share // 100
    if number > disagree.MOST_TRANSFER:
        yield _out_of_bounds(gauge.line, where, "share", number, 0, disagree.MOST_TRANSFER, gauge.gauge, box)


def _unit(one: Input | Derived) -> str:
    return one.bare_unit if isinstance(one, Input) else one.unit


def _out_of_bounds(
    line: int, where: str, key: str, number: int, least: int, most: int, name: str, box: Box
) -> Problem:
    one = next(one for one in _all(box) if one.name == name)
    unit, scale = _unit(one), 10 ** decimals_of(one.step)
    if key in RATES:
        unit += " an hour"
    than, bound = (
        ("more", f"at most {_said(Fraction(most, scale))}")
        if number > most
        else ("less", f"at least {_said(Fraction(least, scale))}")
    )
    cure = f"; choose a larger step for {name}" if number > most else ""
    what = f"{_said(Fraction(number, scale))} {unit} is {than} than the box reckons with in steps of {float(one.step):g}: {bound}{cure}"
    return Problem(line, where, what, key)


def _said(number: Fraction) -> str:
    return f"{float(number):.10g}"
