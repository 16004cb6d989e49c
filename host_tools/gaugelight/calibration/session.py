"""The session file of a calibration: plain TOML, one a calibration, typed by hand or written by the guide, whole after every point.

What is written to it is written beside it first, and takes its place in one step: a cut leaves the old or the new. It is text that
people add to, so a point is added to its end and taken away from there; all else stays byte for byte.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

from gaugelight import box_values
from gaugelight.boxfile import FUEL_UNITS, Reader, Section
from gaugelight.problems import Misuse, Problem, WrongBoxFile
from gaugelight.quantity import QUANTITY, UNITS, Difference, parse_quantity

TANK, REFERENCE = "tank", "reference"
LEVEL, PARKED = "level", "parked"
BY_BOX, BY_METER = "box", "meter"
SHARE = "%"
VOLUMES = ("US gal", "imp gal", "l")
MASSES = ("kg", "lb")
SIGNAL_KINDS = ("ohm", "mA", "V")  # a unit of each kind that a signal may be of
TRUE_KINDS = ("kPa", "degC", "V", "mA", "ohm", "%", "lx")
DENSITY = "kg/l"


@dataclass(frozen=True)
class Amount:
    """A quantity in the unit it is written in; "%" is a share of what it belongs to."""

    value: Fraction
    unit: str

    def to(self, unit: str) -> float:
        """In another unit of its kind. Raises ValueError where it is of none, in plain words."""
        return float(parse_quantity(str(self), unit))

    def off(self, unit: str, of: float = 0.0) -> float:
        """A plus or minus, or a spread, in a unit: as a difference (9 degF are 5 degC), or as a share of `of`. Raises ValueError."""
        if self.unit == SHARE and unit != SHARE:
            return float(self.value) / 100 * abs(of)
        return float(parse_quantity(str(self), Difference(unit)))

    def __str__(self) -> str:
        return f"{float(self.value):.9f}".rstrip("0").rstrip(".") + f" {self.unit}"


@dataclass(frozen=True)
class Can:
    """What a measured pour is off by, plus or minus at 95 %. every: what all pours share, a share; each: what each has of its own."""

    every: Amount
    each: Amount


@dataclass(frozen=True)
class Reference:
    """A test gauge. plus_minus: what all its readings share; each: what each reading has of its own; plus or minus at 95 %."""

    name: str
    plus_minus: Amount
    each: Amount | None


@dataclass(frozen=True)
class Point:
    """One point. Of a tank `added` or `weighed` since the point before, of a reference `true`; spread: a standard deviation; dip: wetted
    length of a dipstick in parked attitude. `line` is 0 while it stands in no file."""

    signal: Amount
    added: Amount | None = None
    weighed: Amount | None = None
    temperature: Amount | None = None
    true: Amount | None = None
    spread: Amount | None = None
    dip: Amount | None = None
    at: datetime | None = None
    note: str = ""
    line: int = 0


@dataclass(frozen=True)
class Session:
    """box, circuit: name of the box, CRC of its curve from counts to the signal, where the box measured; a session goes on with these only."""

    input: str
    kind: str
    started: date
    attitude: str = LEVEL
    signals: str = BY_BOX
    meter: Amount | None = None
    can: Can | None = None
    fuel: str | None = None
    density: Fraction | None = None  # kg/l
    reference: Reference | None = None
    box: str = ""
    circuit: str = ""
    points: tuple[Point, ...] = ()
    file: str = ""

    @property
    def parked(self) -> bool:
        return self.attitude == PARKED


def read_session(path: Path) -> Session:
    """The session of a file. Raises WrongBoxFile (a Wrong) with every problem as "file:line: ...", Misuse where it cannot be read."""
    raise NotImplementedError


def write(path: Path, session: Session) -> None:
    """A new session file. Raises Misuse where there is one, or it cannot be written."""
    raise NotImplementedError


def append(path: Path, point: Point) -> None:
    """Adds a point. Raises Misuse where it cannot be written."""
    raise NotImplementedError


def undo(path: Path) -> None:
    """Takes the last point away. Raises Misuse where there is none."""
    raise NotImplementedError
