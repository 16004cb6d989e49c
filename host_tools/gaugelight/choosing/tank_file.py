"""The shape of a tank and its two floats, as typed in a small file of their own: what `gaugelight choose --two-floats` reads.

[tank]
shape = "wedge"              # "box" (span, height, chord), "wedge" (span, root, tip, chord), "prism" (corners, chord)
span = "1.8 m"               # along the wing; the chord is the tank's length from its front wall back
root = "24 cm"
tip = "16 cm"
chord = "55 cm"
dihedral = 4                 # degrees, the tip up
unit = "US gal"
unusable = 0.5               # in that unit

[[float]]
name = "inner"
span = "15 cm"               # where it is, from the inner lower corner and from the front wall
chord = "25 cm"
low = "2 cm"                 # heights above the tank's floor line at which it lifts off and stands at its top
high = "20 cm"
at_low = "0 ohm"
at_high = "90 ohm"
arm = "14 cm"                # of a float on a lever; leave it out where the float rides on a rod

[attitude]                   # the table's own; optional
nose_up = 2
wing_down = 0

[[other_attitude]]           # where it stands otherwise, and what the table then shows; optional, as many as there are
name = "on the ground"
nose_up = 11
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from gaugelight import box_values
from gaugelight.choosing import two_floats
from gaugelight.choosing.two_floats import Attitude, Float, Tank, Together
from gaugelight.problems import Problem, WrongBoxFile
from gaugelight.quantity import parse_quantity
from gaugelight.whole_file import read_text

T = TypeVar("T")
SHAPES = {
    "box": ("span", "height", "chord"),
    "wedge": ("span", "root", "tip", "chord"),
    "prism": ("corners", "chord"),
}


@dataclass(frozen=True)
class Floats:
    """found: the two together. lists: as the box file's `series` has them. said: in words."""

    found: Together
    lists: tuple[tuple[tuple[str, float], ...], ...]
    said: list[str]


class _Table:
    """One table of the file, taken key by key; what is left over is unknown."""

    def __init__(self, file: str, name: str, values: Any) -> None:
        self.file, self.name = file, name
        if not isinstance(values, dict):
            raise self.wrong("write it as a table")
        self.values = dict(values)
        self.known: list[str] = []

    def wrong(self, what: str) -> WrongBoxFile:
        return WrongBoxFile(self.file, [Problem(0, self.name, what)])

    def take(self, key: str, parse: Callable[[Any], T], example: str, default: T | None = None) -> T:
        self.known.append(key)
        if key not in self.values:
            if default is None:
                raise self.wrong(f"{key} is missing; write {key} = {example}")
            return default
        try:
            return parse(self.values.pop(key))
        except ValueError as problem:
            raise self.wrong(f"{key}: {problem}") from None

    def finish(self) -> None:
        if self.values:
            raise self.wrong(f'unknown: {", ".join(self.values)}; known here: {", ".join(self.known)}')


def _metres(value: Any) -> float:
    return float(parse_quantity(value, "m"))


def _ohms(value: Any) -> float:
    return float(box_values.quantity_from_nought("ohm")(value))


def _degrees(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
        raise ValueError(f"{value!r} is no number of degrees")
    return float(value)


def _amount(value: Any) -> float:
    number = _degrees(value)
    if number < 0:
        raise ValueError(f"must not be less than 0, not {value}")
    return number


def _corners(value: Any) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, list) or not all(isinstance(one, list) and len(one) == 2 for one in value):
        raise ValueError(
            'must be pairs of span and height: [["0 m", "0 m"], ["1.8 m", "0 m"], ["1.8 m", "16 cm"], ...]'
        )
    return tuple((_metres(span), _metres(height)) for span, height in value)


def read_tank(path: Path) -> Floats:
    """The tank, its floats and what the two make together. Raises WrongBoxFile with what is wrong in the file, Misuse."""
    file = str(path)
    try:
        content = tomllib.loads(read_text(path).removeprefix("\ufeff"))
    except ValueError as problem:
        raise WrongBoxFile(file, [Problem(0, "TOML", str(problem).lower())]) from None
    top = _Table(file, "file", content)
    tank = _Table(file, "tank", top.take("tank", lambda value: value, "... under [tank]"))
    pair = top.take("float", _pair, "... twice, each under [[float]]")
    attitude = _Table(file, "attitude", top.take("attitude", lambda value: value, "", {}))
    others: list[Any] = top.take("other_attitude", _tables, "", [])
    top.finish()
    unit = tank.take("unit", box_values.one_of(*two_floats.VOLUMES), '"US gal"', "US gal")
    unusable = tank.take("unusable", _amount, "0.5", 0.0)
    try:
        made = _tank(tank)
        floats = [_float(_Table(file, f"float {number}", values)) for number, values in enumerate(pair, 1)]
        own = _attitude(attitude, "level flight")
        found = two_floats.together(made, floats, own, unit, unusable)
        said = [*two_floats.said(found)]
        for number, values in enumerate(others, 1):
            other = _attitude(_Table(file, f"other_attitude {number}", values), f"attitude {number}")
            said += two_floats.said_elsewhere(found, other, two_floats.elsewhere(made, found, other))
    except ValueError as problem:
        raise WrongBoxFile(file, [Problem(0, "tank", str(problem))]) from None
    lists = tuple(tuple((f"{ohm:.6g} ohm", at) for ohm, at in one) for one in found.lists)
    return Floats(found, lists, said)


def _tables(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError("write each one under [[other_attitude]]")
    return value


def _attitude(table: _Table, name: str) -> Attitude:
    name = table.take("name", box_values.name, "", name)
    found = Attitude(
        name, table.take("nose_up", _degrees, "2", 0.0), table.take("wing_down", _degrees, "0", 0.0)
    )
    table.finish()
    return found


def _pair(value: Any) -> list[Any]:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError("two floats make a series; write two [[float]]")
    return value


def _tank(table: _Table) -> Tank:
    shape = table.take("shape", box_values.one_of(*SHAPES), '"box"')
    dihedral = table.take("dihedral", _degrees, "4", 0.0)
    sizes = {key: table.take(key, _metres, '"1.8 m"') for key in SHAPES[shape] if key != "corners"}
    if shape == "prism":
        corners = table.take("corners", _corners, '[["0 m", "0 m"], ["1.8 m", "0 m"], ["1.8 m", "16 cm"]]')
        table.finish()
        return Tank(corners, sizes["chord"], dihedral)
    table.finish()
    if shape == "box":
        return two_floats.box_tank(sizes["span"], sizes["height"], sizes["chord"], dihedral)
    return two_floats.wedge_tank(sizes["span"], sizes["root"], sizes["tip"], sizes["chord"], dihedral)


def _float(table: _Table) -> Float:
    name = table.take("name", box_values.name, '"inner"')
    table.name = f'float "{name}"'
    places = {key: table.take(key, _metres, '"15 cm"') for key in ("span", "chord", "low", "high")}
    ohms = {key: table.take(key, _ohms, '"0 ohm"') for key in ("at_low", "at_high")}
    arm = table.take("arm", _metres, '"14 cm"', math.inf)
    table.finish()
    return Float(name, **places, **ohms, arm=None if math.isinf(arm) else arm)
