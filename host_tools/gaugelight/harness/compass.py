"""The field that the lamps' wiring makes at the compass, by the law of Biot and Savart, and what it turns the compass by.

Every run is cut into straight pieces, whose field is known exactly: a single wire is one, a pair a loop of four, a twisted pair two
helices of chords, joined at both ends. Of a single wire whose current comes back through the airframe only the wire counts: where in the
airframe the current flows nobody knows, and it may be far. Of a twisted pair what is left is what its ends make: the field of its middle
falls as exp(-2 pi distance/turn).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gaugelight import loads
from gaugelight.harness.cables import Wiring
from gaugelight.harness.check_harness import cables_of
from gaugelight.harness.harness_file import LOOSE, PAIR, TURN, Cable
from gaugelight.harness.uses import LAMP_GROUND, Use
from gaugelight.problems import Problem

Vectors = NDArray[np.float64]
Way = Literal["single wire", "pair", "twisted pair"]

MU_0 = 1.25663706127e-6  # N/A2, CODATA 2022
CHORDS = 24  # a turn: the area of such a polygon is within 1.2 % of its circle's
ALONG = (0.0, 0.25, 0.5, 0.75, 1.0)  # of a run, where the compass may lie beside it
AROUND = 8  # places around a pair
MOST_DEGREES = 10.0  # what electrical systems may turn a compass by (14 CFR 23.1327 before 2017, from memory)


def field_of(points: Vectors, amperes: float, at: Vectors) -> Vectors:
    """In tesla, at one place, of a current along straight pieces from point to point; lengths in m.

    Of a piece seen along a from its start and along b from its end: mu0 I/4 pi (a x b)(|a| + |b|)/(|a||b|(|a||b| + a.b)).
    """
    a, b = at - points[:-1], at - points[1:]
    a_long, b_long = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
    product = a_long * b_long
    scale = (a_long + b_long) / (product * (product + np.einsum("ij,ij->i", a, b)))
    return MU_0 * amperes / (4 * math.pi) * np.asarray(scale @ np.cross(a, b), dtype=np.float64)


def single_wire(length: float) -> Vectors:
    """Along z, from 0."""
    return np.array([[0.0, 0.0, 0.0], [0.0, 0.0, length]])


def pair(length: float, spacing: float) -> Vectors:
    """Out on one side of the z axis, back on the other."""
    x = spacing / 2
    return np.array([[x, 0, 0], [x, 0, length], [-x, 0, length], [-x, 0, 0], [x, 0, 0]], dtype=float)


def twisted_pair(length: float, spacing: float, turn: float) -> Vectors:
    """Out along a helix about the z axis, back along the other half a turn away."""
    pieces = max(CHORDS, math.ceil(length / turn * CHORDS))
    z = np.linspace(0.0, length, pieces + 1)
    angle = 2 * math.pi * z / turn
    out = np.column_stack([spacing / 2 * np.cos(angle), spacing / 2 * np.sin(angle), z])
    back = out[::-1] * np.array([-1.0, -1.0, 1.0])
    return np.vstack([out, back, out[:1]])


def strongest(points: Vectors, amperes: float, length: float, distance: float) -> float:
    """In tesla: the most at that distance from the z axis, beside the run."""
    turns = [2 * math.pi * k / AROUND for k in range(AROUND)]
    places = (
        np.array([distance * math.cos(turn), distance * math.sin(turn), share * length])
        for turn in turns
        for share in ALONG
    )
    return max(float(np.linalg.norm(field_of(points, amperes, place))) for place in places)


def deviation(tesla: float, horizontal: float) -> float:
    """In degrees, the most that a field can turn a compass by in a horizontal one: asin(B/H), all the way round where it is the stronger."""
    return 180.0 if tesla >= horizontal else math.degrees(math.asin(tesla / horizontal))


@dataclass(frozen=True)
class Run:
    """One lamp's wiring that carries its current. way: how it is laid; None where that is not stated. Lengths in m."""

    name: str
    line: int
    amperes: float
    length: float
    way: Way | None
    spacing: float
    turn: float


@dataclass(frozen=True)
class Field:
    """tesla: of each way to lay the run."""

    run: Run
    tesla: dict[Way, float]

    @property
    def as_laid(self) -> float | None:
        return None if self.run.way is None else self.tesla[self.run.way]


def fields_of(wiring: Wiring, distance: float) -> list[Field]:
    """Of each run of each lamp whose load is stated; distance in m. To a compass nearer than they are to each other two wires are one."""
    fields = []
    for run in runs_of(wiring):
        beside = float(PAIR) / 1000 if run.way == "pair" else run.spacing
        apart = run.spacing if run.way == "pair" else float(LOOSE) / 1000
        alone = single_wire(run.length)
        ways: tuple[tuple[Way, Vectors], ...] = (
            ("single wire", alone),
            ("pair", pair(run.length, apart) if apart < distance else alone),
            ("twisted pair", twisted_pair(run.length, beside, run.turn) if beside < distance else alone),
        )
        fields.append(
            Field(run, {way: strongest(points, run.amperes, run.length, distance) for way, points in ways})
        )
    return fields


def runs_of(wiring: Wiring) -> Iterator[Run]:
    """From the cables; where there are none from the lamp's own wire. Currents with the alternator on, every lamp at full light."""
    box = wiring.box
    volts = loads.CHARGED * (2 if box.supply > 20 else 1)
    for lamp in box.lights.lamps:
        if lamp.load is None or lamp.load.dim_wire:
            continue
        taken = loads.amperes(lamp.load, volts)
        by_part = cables_of(lamp, wiring)
        if (cable := by_part.get("minus") or by_part.get("plus")) is not None:
            yield _run(lamp.name, taken, cable, _way(cable, by_part.get("plus"), by_part.get("minus")))
        elif lamp.wire is not None:
            way: Way | None = "single wire" if lamp.wire.airframe_return else None
            yield Run(
                lamp.name, lamp.line, taken, lamp.wire.length, way, float(PAIR) / 1000, float(TURN) / 1000
            )
        if (feed := by_part.get("feed")) is not None and feed not in (
            by_part.get("plus"),
            by_part.get("minus"),
        ):
            grounds = [lead.cable for lead in wiring.leads if Use(LAMP_GROUND) in lead.uses]
            ground = next((one for one in grounds if _together(feed, one)), None)
            yield _run(f"{lamp.name} feed", taken, feed, _way(feed, feed, ground))


def _run(name: str, taken: float, cable: Cable, way: Way) -> Run:
    return Run(
        name, cable.line, taken, float(cable.length), way, float(cable.spacing) / 1000, float(cable.turn) / 1000
    )  # fmt: skip


def _way(cable: Cable, out: Cable | None, back: Cable | None) -> Way:
    """How two wires lie that carry the same current out and back."""
    if cable.airframe or out is None or not _together(out, back):
        return "single wire"
    return "twisted pair" if out is back and cable.twisted else "pair"


def _together(one: Cable, other: Cable | None) -> bool:
    return other is not None and (one is other or one.lies_with(other))


def too_strong(wiring: Wiring, fields: list[Field], horizontal: float) -> list[Problem]:
    """A problem where all runs as laid may turn the compass by more than is allowed; horizontal in tesla."""
    total = sum(field.as_laid or 0.0 for field in fields)
    turned = deviation(total, horizontal)
    if turned <= MOST_DEGREES:
        return []
    worst = max(fields, key=lambda field: field.as_laid or 0.0)
    what = (
        f"the lamps' wiring may turn the compass by {turned:.2g} degrees, {MOST_DEGREES:g} at most; twist plus and minus of"
        f" {worst.run.name}, or lay it farther away"
    )
    return [Problem(worst.run.line, "compass", what)]
