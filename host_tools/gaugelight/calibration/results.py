"""What a session comes to: its curve, and what the face will say by it, plus or minus at 95 % (JCGM 100), the box's own part included.

A straight line is carried on to the sender's ends, so that every reading of its range, and every mark, stays where it was; the curve of a tank
is never carried beyond what was measured. Beyond its ends such a line of a transmitter goes on, and a tank's reading stands, as they did
before; the limits of a loop's faults stay as they were.
"""

from __future__ import annotations

import math
import os
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from gaugelight.box_values import BOX, METER, Calibrated
from gaugelight.boxfile import FUEL_UNITS, Box, Input
from gaugelight.calibration.box_file import Listed, rounded, with_calibration
from gaugelight.calibration.session import (
    BY_BOX,
    REFERENCE,
    SHARE,
    TANK,
    Amount,
    Point,
    Session,
    read_session,
)
from gaugelight.calibration.stillness import resolution_at
from gaugelight.chain import chain_of
from gaugelight.circuits import Floats
from gaugelight.laws import BEYOND, Line as LineLaw, Points, Thermocouple
from gaugelight.problems import Misuse, Wrong, meant
from gaugelight.quantity import UNITS

if TYPE_CHECKING:
    from gaugelight.calibration.density import Density
    from gaugelight.calibration.straight_line import ReferenceFit
    from gaugelight.calibration.tank import Observed, TankFit
    from gaugelight.error_budget import Budget

K = 1.96  # from a plus or minus at 95 % to a standard uncertainty: what a person states is taken for normal
MOST_FACED = 201
COOL = 15.0  # degC
DENSITY_U = 0.001  # kg/l, standard: of a density read off a glass hydrometer; common practice, no source
NEAR_NOUGHT = 0.01  # of the sender's span, below 0
FAR = 10.0  # spans of the sender from its ends: thousands for ones, not a sender of another kind
LIFT = 1.5  # times as much room as a step of the converter needs


class Fit(Protocol):
    """What tank.TankFit and straight_line.ReferenceFit have in common; readings in the input's unit."""

    @property
    def signals(self) -> tuple[float, ...]: ...
    @property
    def readings(self) -> tuple[float, ...]: ...
    @property
    def plus_minus(self) -> tuple[float, ...]: ...
    @property
    def residuals(self) -> tuple[float, ...]: ...
    @property
    def hysteresis(self) -> float | None: ...
    @property
    def lack(self) -> str | None: ...

    def band(self, signal: float) -> tuple[float, float]: ...


@dataclass(frozen=True)
class Taken:
    """A point as it was evaluated, in the units of reading and signal. added: since the point before (of a reference 0); true: the total of a
    tank, what the reference said; its and the signal's standard uncertainty; spread: as measured, None where not; residual: what is there
    less what the face shows."""

    added: float
    true: float
    true_u: float
    signal: float
    signal_u: float
    spread: float | None
    residual: float
    dip: float | None  # mm


@dataclass(frozen=True)
class Faced:
    """A reading that the face will show, and its plus or minus at 95 %, the rounding to the displayed step included."""

    reading: float
    plus_minus: float


@dataclass(frozen=True)
class Result:
    """listed: signal, reading, plus or minus, as they go into the box file; empty where the session is one in parked attitude, which does not.
    bottom, top: dead zones of a tank, readings from, to; where the signal does not move. notes: what to know, in words.
    """

    session: Session
    input: Input
    fit: Fit
    points: tuple[Taken, ...]
    face: tuple[Faced, ...]
    listed: tuple[Listed, ...] = ()
    bottom: tuple[float, float] | None = None
    top: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()

    @property
    def hysteresis(self) -> float | None:
        return self.fit.hysteresis

    @property
    def contradicts(self) -> str | None:
        """What is asked about before it is saved: the point or the pour that a tank's curve was made without, or a gauge's that its
        sender cannot give."""
        return getattr(self.fit, "contradicts", None)


def input_of(box: Box, name: str) -> Input:
    """The input to be calibrated. Raises Misuse where there is none, or it is not one for this."""
    one = box.input(name)
    if one is None:
        raise Misuse(
            f'{box.file}: there is no input "{name}"; {meant(name, [each.name for each in box.inputs])}'
        )
    where = f"{box.file}:{one.line}: {name}"
    if one.nominal is not None:
        raise Misuse(
            f"{where}: is a rail; what hangs on it is compared with it, and needs no calibration of it"
        )
    if isinstance(one.law, Thermocouple):
        raise Misuse(
            f"{where}: is a thermocouple, whose law is a standard's; points cannot stand for it and its cold junction"
        )
    if one.unit == "%" or one.unit == "lx":
        raise Misuse(
            f"{where}: {one.unit} has no reference here; fuel, pressure, temperature, voltage and current have"
        )
    return one


def kind_of(one: Input) -> str:
    return TANK if one.unit in FUEL_UNITS else REFERENCE


def circuit_mark(box: Box, one: Input) -> str:
    """What tells one circuit from another: a CRC of the signals that some counts mean."""
    signals = chain_of(box, one).signals()[2048::4096]
    return f"{zlib.crc32(' '.join(f'{signal:.5g}' for signal in signals).encode()):08x}"


def evaluate(session: Session, box: Box) -> Result:
    """Raises Wrong where the points make no curve, Misuse where the session is not of this box."""
    one = input_of(box, session.input)
    if session.kind != kind_of(one):
        raise Misuse(
            f'{session.file}: kind = "{session.kind}", but {one.name} is in {one.unit}: a "{kind_of(one)}"'
        )
    if session.box and session.box != box.name:
        raise Misuse(f'{session.file}: was taken on box "{session.box}", and {box.file} is of "{box.name}"')
    if session.signals == BY_BOX and session.circuit and session.circuit != circuit_mark(box, one):
        raise Wrong(
            f"{session.file}: its signals were measured with another circuit for {one.name} than {box.file} has now:"
            " calibrate anew, or put that circuit back"
        )
    try:
        fit, points = _tank(session, box, one) if session.kind == TANK else _reference(session, box, one)
    except ValueError as problem:
        raise Wrong(f"{session.file}: {problem}") from None
    made = replace(_bare(session, one, fit, points), notes=tuple(_notes(session, one, fit)))
    if session.parked:
        return made
    listed = rounded(_listed(session, box, one, fit), one.step)
    return replace(made, listed=listed, face=_face(box, session, one, listed))


def _bare(session: Session, one: Input, fit: TankFit | ReferenceFit, points: Sequence[Taken]) -> Result:
    bottom, top = getattr(fit, "bottom", None), getattr(fit, "top", None)
    return Result(session, one, fit, tuple(points), (), (), bottom, top)


def calibrated_of(session: Session, box_file: Path) -> Calibrated:
    """What the box file says of it: the day of its last point, its file as seen from the box file."""
    days = [point.at.date() for point in session.points if point.at is not None]
    file = os.path.relpath(Path(session.file).resolve(), box_file.resolve().parent)
    through = BOX if session.signals == BY_BOX else METER
    return Calibrated(max(days, default=session.started), Path(file).as_posix(), through)


def notes_on_calibrations(box: Box) -> Iterator[tuple[Input, str]]:
    """Of each input that was calibrated when, by which session; and whether that session still says the same."""
    for one in box.inputs:
        if one.calibrated is not None:
            through = "this box" if one.calibrated.through == BOX else "a meter"
            said = f"calibrated {one.calibrated.on} through {through} by {one.calibrated.session}"
            yield one, said + _session_differs(box, one)


def _session_differs(box: Box, one: Input) -> str:
    assert one.calibrated is not None and isinstance(one.law, (Points, LineLaw))
    file = Path(box.file).parent / one.calibrated.session
    if not file.exists():
        return "; that session is missing: keep it beside the box file, it is what the points rest on"
    try:
        session = read_session(file)
        result = evaluate(session, box)
    except Wrong as wrong:
        return f"; that session is not right: {wrong.lines[0]}"
    if session.input != one.name or session.parked:
        return f"; that session is of {session.input}, {session.attitude} attitude, and not of this"
    written = zip(one.law.points, one.calibrated.plus_minus)
    if [(s, r, off) for (s, r), off in written] != [
        tuple(Fraction(str(v)) for v in row) for row in result.listed
    ]:
        return "; the points here are not those of that session any more: give it again with calibrate --from, or keep both alike"
    return ""


# -- from what is written to what is fitted


def signals_of(session: Session, box: Box, one: Input) -> list[tuple[float, float]]:
    """Of each point its signal and what that has of its own: a standard uncertainty, from its spread and the converter's step."""
    found = []
    for point in session.points:
        try:
            spread = 0.0 if point.spread is None else point.spread.to(one.circuit.unit)
            signal = point.signal.to(one.circuit.unit)
        except ValueError as problem:
            raise Wrong(f"{session.file}:{point.line}: signal: {problem}") from None
        try:
            signal = _measurable(signal, one)
        except ValueError as problem:
            raise Wrong(f"{session.file}:{point.line}: signal: {point.signal}: {problem}") from None
        found.append((signal, math.hypot(spread, _last_digit(point, one.circuit.unit))))
    if session.signals != BY_BOX:
        return found
    steps = resolution_at(box, one, [signal for signal, _ in found])
    return [(signal, math.hypot(u, step / math.sqrt(12))) for (signal, u), step in zip(found, steps)]


def _measurable(signal: float, one: Input) -> float:
    """A sender at 0 ohm is measured a little below, by what the box or the meter is off by: that is 0. Raises ValueError, in plain words."""
    span = one.law.high - one.law.low
    if signal < 0 and one.circuit.unit != "mV":
        if signal < -NEAR_NOUGHT * span:
            raise ValueError("no sender gives less than 0; look for a slip, or for leads that are crossed")
        return 0.0
    if not one.law.low - FAR * span <= signal <= one.law.high + FAR * span:
        there = f"{one.law.low:g} to {one.law.high:g} {one.circuit.unit}"
        raise ValueError(f"far from what the sender gives by the box file, {there}; is the unit right?")
    return signal


def _last_digit(point: Point, unit: str) -> float:
    """Half of what the last written digit is worth, rectangular: of a meter's display that is all that is known."""
    if point.spread is not None:
        return 0.0
    written = f"{float(point.signal.value):.9f}".rstrip("0").partition(".")[2]
    worth = float(UNITS[point.signal.unit][1] / UNITS[unit][1]) * 10.0 ** -len(written)
    return min(worth, 0.01 * abs(point.signal.to(unit)) or worth) / math.sqrt(12)


def _lift(fit: TankFit, one: Input, steps: Sequence[float]) -> float:
    """Where the curve leaves the float's stops a step of the converter must be less than half a displayed one: 0 where it is, else the
    difference of signals over which the curve should leave them."""
    rises, runs = np.abs(np.diff(fit.readings))[[0, -1]], np.abs(np.diff(fit.signals))[[0, -1]]
    room = LIFT * rises * np.array(steps) / (float(one.step) / 2)
    return float(max(room)) if any(room > runs) else 0.0


def _tank(session: Session, box: Box, one: Input) -> tuple[TankFit, list[Taken]]:
    from gaugelight.calibration.tank import fit_tank

    observed, common = observed_of(session, box, one)
    fit = fit_tank(observed, common, float(one.step))
    if (lift := _lift(fit, one, resolution_at(box, one, [fit.signals[0], fit.signals[-1]]))) > 0:
        fit = fit_tank(observed, common, float(one.step), lift)
    fit = replace(fit, plus_minus=_with_meter(session, one, fit))
    points, total, own = [], 0.0, 0.0
    spreads = [
        None if point.spread is None else point.spread.to(one.circuit.unit) for point in session.points
    ]
    for seen, point, residual, spread in zip(observed, session.points, fit.residuals, spreads):
        total += seen.added
        own = math.hypot(own, seen.added_u)
        points.append(
            Taken(
                seen.added,
                total,
                math.hypot(own, common * total),
                seen.signal,
                seen.signal_u,
                spread,
                residual,
                _mm(point.dip),
            )
        )
    return fit, points


def observed_of(session: Session, box: Box, one: Input) -> tuple[list[Observed], float]:
    """What fit_tank takes, in the unit of the reading, and what all pours share. Raises Wrong."""
    from gaugelight.calibration.tank import Observed

    observed, shared, total = [], [], 0.0
    for point, (signal, signal_u) in zip(session.points, signals_of(session, box, one)):
        try:
            added, own, common = _poured(session, point, one.bare_unit)
        except ValueError as problem:
            raise Wrong(f"{session.file}:{point.line}: {problem}") from None
        key = "added" if point.weighed is None else "weighed"
        if abs(added) > most_poured(one):
            given = point.added or point.weighed
            raise Wrong(
                f"{session.file}:{point.line}: {key}: {given}: more than the whole tank; is the unit right?"
            )
        if drained := _drained(total, added, own, one):
            raise Wrong(f"{session.file}:{point.line}: {key}: {drained}")
        total += added
        observed.append(Observed(added, own, signal, signal_u))
        shared.append(common)
    return observed, max(shared, default=0.0)


def most_poured(one: Input) -> float:
    """At once, in the unit of the reading: what is more was written in another unit."""
    return 1.5 * (one.law.span[1] - one.law.span[0])


def _drained(total: float, added: float, own: float, one: Input) -> str | None:
    """What is wrong where more is drained than can have been there."""
    if total + added >= -2 * own - 1e-9:
        return None
    return f"{-added:.4g} {one.bare_unit} drained, and only {round(total, 6) + 0.0:.4g} were there"


def check_drained(session: Session, point: Point, one: Input) -> None:
    """Of a point that is to be added. Raises ValueError where more is drained than can be there."""
    added, own, _ = _poured(session, point, one.bare_unit)
    if drained := _drained(total_of(session, one), added, own, one):
        raise ValueError(drained)


def total_of(session: Session, one: Input) -> float:
    """What was poured in, in the unit of the reading. Raises Wrong."""
    try:
        return sum(_poured(session, point, one.bare_unit)[0] for point in session.points)
    except ValueError as problem:
        raise Wrong(f"{session.file}: {problem}") from None


def _poured(session: Session, point: Point, unit: str) -> tuple[float, float, float]:
    """Of one pour, in a unit: how much, its own standard uncertainty, and the share that all have in common. Raises ValueError."""
    from gaugelight.calibration import pours
    from gaugelight.calibration.density import Density

    assert session.can is not None
    every, each = float(session.can.every.value) / 100 / K, session.can.each
    given = point.weighed or point.added
    assert given is not None
    by_weight, in_mass = UNITS[given.unit][0] == "mass", UNITS[unit][0] == "mass"
    density = (
        _density(session, point)
        if by_weight != in_mass or UNITS[each.unit][0] not in ("share", UNITS[given.unit][0])
        else None
    )
    base = "kg" if by_weight else "l"
    amount = given.to(base)
    if each.unit == SHARE:
        own = each.off(base, amount) / K
    elif UNITS[each.unit][0] == UNITS[base][0]:
        own = each.to(base) / K
    else:
        assert density is not None
        own = each.to("l" if by_weight else "kg") / K * (density.value if by_weight else 1 / density.value)
    worth = float(UNITS[unit][1])
    if by_weight and not in_mass:
        assert isinstance(density, Density)
        pour = pours.by_weight(amount, every, own, density)
        return pour.volume / worth, pour.own_u / worth, pour.common_share
    if in_mass and not by_weight:
        assert isinstance(density, Density)
        kilogram = density.value / worth
        return amount * kilogram, own * kilogram, math.hypot(every, density.u / density.value)
    pour = pours.by_volume(amount, every, own)
    return pour.volume / worth, pour.own_u / worth, pour.common_share


def _density(session: Session, point: Point) -> Density:
    from gaugelight.calibration import density

    if session.density is not None:
        return density.Density(float(session.density), DENSITY_U)
    if session.fuel is None:
        raise ValueError('of which fuel? add fuel = "avgas 100LL" or density = "0.716 kg/l" to the session')
    if point.temperature is not None:
        return density.named(session.fuel, point.temperature.to("degC"))
    poured = point.weighed or point.added
    if poured is None or poured.value:
        raise ValueError('at which temperature? add temperature = "18 degC"')
    return density.named(session.fuel, COOL)  # of nothing, only for what it may be off by


def _reference(session: Session, box: Box, one: Input) -> tuple[ReferenceFit, list[Taken]]:
    from gaugelight.calibration.straight_line import Held, fit_reference, slips

    gauge, unit = session.reference, one.bare_unit
    assert gauge is not None
    held = []
    for point, (signal, signal_u) in zip(session.points, signals_of(session, box, one)):
        assert point.true is not None
        try:
            held.append(Held(point.true.to(unit), signal, signal_u))
        except ValueError as problem:
            raise Wrong(f"{session.file}:{point.line}: true: {problem}") from None
    most = max((abs(one.true) for one in held), default=0.0)
    common, share = _common(session, unit)
    each = 0.0 if gauge.each is None else gauge.each.off(unit, most) / K
    fit = fit_reference(held, float(one.step), common=common, common_share=share, each=each)
    expected = one.law.reading(np.array([seen.signal for seen in held]))
    doubted = slips([seen.true for seen in held], expected.tolist())
    if doubted:
        named = ("points " if len(doubted) > 1 else "point ") + ", ".join(str(k + 1) for k in doubted)
        doubt = f"{named}: no sender as {box.file} has it gives that, whatever its zero and gain: repeat, or look for a slip"
        fit = replace(fit, contradicts=doubt, lack="; ".join(filter(None, (doubt, fit.lack))))
    fit = replace(fit, plus_minus=_with_meter(session, one, fit))
    points = []
    for seen, point, residual in zip(held, session.points, fit.residuals):
        true_u = math.hypot(common, share * seen.true, each)
        spread = None if point.spread is None else point.spread.to(one.circuit.unit)
        points.append(Taken(0.0, seen.true, true_u, seen.signal, seen.signal_u, spread, residual, None))
    return fit, points


def _common(session: Session, unit: str) -> tuple[float, float]:
    """What all readings of the reference share: in their unit, as a share of them; standard uncertainties."""
    assert session.reference is not None
    off = session.reference.plus_minus
    if off.unit == SHARE:
        return 0.0, float(off.value) / 100 / K
    return off.off(unit) / K, 0.0


def _with_meter(session: Session, one: Input, fit: Fit) -> tuple[float, ...]:
    """Of each breakpoint its plus or minus, with what the meter is off by, which all its readings share."""
    if session.meter is None:
        return fit.plus_minus
    slopes = (
        np.gradient(np.array(fit.readings), np.array(fit.signals)) if len(fit.signals) > 1 else np.zeros(1)
    )
    return tuple(
        math.hypot(off, session.meter.off(one.circuit.unit, signal) * float(slope))
        for signal, off, slope in zip(fit.signals, fit.plus_minus, slopes)
    )


def _mm(dip: Amount | None) -> float | None:
    return None if dip is None else dip.to("mm")


# -- what comes of it


def _listed(session: Session, box: Box, one: Input, fit: TankFit | ReferenceFit) -> list[Listed]:
    """The breakpoints; of a straight line those at the sender's ends, or where its lowest and highest readings lie, where that is further out."""
    from gaugelight.calibration.straight_line import ReferenceFit

    if not isinstance(fit, ReferenceFit) or fit.line is None:
        return list(zip(fit.signals, fit.readings, fit.plus_minus))
    line = fit.line
    at_ends = [line.origin + (reading - line.intercept) / line.slope for reading in _to_be_read(one)]
    low = min(one.law.low, *at_ends, fit.signals[0])
    high = max(one.law.high, *at_ends, fit.signals[-1])
    if one.limits is not None:
        low, high = max(low, float(one.limits[1])), min(high, float(one.limits[2]))
    if one.circuit.unit != "mV":
        low = max(low, 0.0)
    if one.unit.endswith("absolute"):  # never below 0
        nought = line.origin - line.intercept / line.slope
        low, high = (max(low, nought), high) if line.slope > 0 else (low, min(high, nought))
    taken = np.array([point.signal.to(one.circuit.unit) for point in session.points])
    listed = []
    for signal, near, off in (
        (low, fit.signals[0], fit.plus_minus[0]),
        (high, fit.signals[-1], fit.plus_minus[-1]),
    ):
        # what the line has of its own grows by its lever (JCGM 100, H.3.4), what the reference is off by no faster
        listed.append(
            (signal, line.at(signal)[0], off * max(1.0, _lever(taken, signal) / _lever(taken, near)))
        )
    return listed


def _to_be_read(one: Input) -> list[float]:
    """What must stay within its readings: its range, as long as that is the sender's own, and its marks."""
    marks = () if one.markings is None else one.markings.marks
    edges = [float(edge) for mark in marks for edge in (mark.low, mark.high) if edge is not None]
    return edges if one.calibrated is not None else [*one.law.span, *edges]


def _lever(taken: Floats, at: float) -> float:
    away = taken - taken.mean()
    return math.sqrt(1 / len(taken) + (at - float(taken.mean())) ** 2 / float(away @ away))


def _face(box: Box, session: Session, one: Input, listed: Sequence[Listed]) -> tuple[Faced, ...]:
    """Every reading that the face shows, or a part of them evenly spread where there are many."""
    from gaugelight.build import solve_input
    from gaugelight.error_budget import budget_at, quantities

    as_written = with_calibration(box, one.name, listed, calibrated_of(session, Path(box.file)))
    new = as_written.input(one.name)
    assert new is not None
    solved = solve_input(as_written, new)
    found = quantities(solved)
    step, (low, high) = float(one.step), new.law.span
    first, last = math.floor(low / step + 0.5), math.floor(high / step + 0.5)  # as the face rounds
    every = max(1, math.ceil((last - first + 1) / MOST_FACED))
    faced = []
    for k in sorted({*range(first, last + 1, every), last}):
        # at its ends, where a float may lie, the face shows a whole step that stands for what lies there
        shown = {
            min(max(k * step, low), high),
            *([low] if k == first else []),
            *([high] if k == last else []),
        }
        off = max(_off(budget_at(solved, found, reading), step) for reading in shown)
        faced.append(Faced(k * step, off))
    return tuple(faced)


def _off(budget: Budget, step: float) -> float:
    """Plus or minus at 95 %, the rounding to the displayed step included."""
    from gaugelight.error_budget import half_width

    parts = [part for contributor in budget.contributors for part in contributor.parts]
    return half_width([*parts, (step / math.sqrt(12), "rectangular")])


def _notes(session: Session, one: Input, fit: TankFit | ReferenceFit) -> list[str]:
    from gaugelight.calibration.straight_line import ReferenceFit

    unit, notes = one.bare_unit, []
    for words, zone in (("bottom", getattr(fit, "bottom", None)), ("top", getattr(fit, "top", None))):
        if zone is not None:
            notes.append(
                f"from {zone[0]:.4g} to {zone[1]:.4g} {unit} the float lies at the {words}: the gauge does not move there"
            )
    if fit.hysteresis is None:
        notes.append(
            f"went one way only: take some points {'draining' if session.kind == TANK else 'going down'} too, to see what sticks"
        )
    else:
        notes.append(f"up and down differ by {fit.hysteresis:.2g} {unit} at most")
    if fit.lack:
        notes.append(fit.lack.replace(": use points", "; so points it is"))
    if not isinstance(fit, ReferenceFit):
        beyond = BEYOND * (fit.signals[-1] - fit.signals[0])
        for end, last in ((one.law.low, fit.signals[0]), (one.law.high, fit.signals[-1])):
            if (end - last) * (1 if last == fit.signals[-1] else -1) > beyond and one.limits is None:
                notes.append(
                    f"the points end at {last:.4g} {one.circuit.unit}, the box file has the sender go to {end:.4g}: what lies far beyond them"
                    " will be shown as a fault; empty and full belong to a calibration"
                )
    if one.circuit.unit == "ohm" and one.bare_unit in ("degC", "degF"):
        notes.append(
            "a thermistor is curved between its points, which straight lines are not: these same points as"
            ' sender = { table = [["480 ohm", "40 degC"], ...] }, with their plus or minus as its tolerance, follow it better'
        )
    return notes


@dataclass(frozen=True)
class Corrected:
    """On the ground, in parked attitude: what is there, what the gauge shows, and the plus or minus of the difference at 95 %."""

    there: float
    shown: float
    plus_minus: float


def parked_correction(parked: Result, level: Result) -> tuple[Corrected, ...]:
    """At round quantities, and both ends of what was measured: what the gauge, calibrated in level attitude, shows."""
    low, high = sorted((parked.fit.readings[0], parked.fit.readings[-1]))
    step = round_step((high - low) / 12)
    inner = [k * step for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]
    quantities = sorted({low, *inner, high})
    readings, signals = np.array(parked.fit.readings), np.array(parked.fit.signals)
    if readings[-1] < readings[0]:
        readings, signals = readings[::-1], signals[::-1]
    corrected = []
    for there in quantities:
        signal = float(np.interp(there, readings, signals))
        shown, off = _on_listed(level, signal)
        corrected.append(Corrected(there, shown, math.hypot(off, parked.fit.band(signal)[1])))
    return tuple(corrected)


def _on_listed(level: Result, signal: float) -> tuple[float, float]:
    signals = [s for s, _, _ in level.listed]
    reading = float(np.interp(signal, signals, [r for _, r, _ in level.listed]))
    return reading, float(np.interp(signal, signals, [off for _, _, off in level.listed]))


def round_step(about: float) -> float:
    """1, 2 or 5 times a power of ten, at least so much."""
    power = 10.0 ** math.floor(math.log10(about))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= about * (1 - 1e-9))
