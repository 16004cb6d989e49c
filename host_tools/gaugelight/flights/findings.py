"""What `gaugelight trend` makes of a flight: which readout is looked at for what, held against what the box file states, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np

from gaugelight.boxfile import FUEL_UNITS, PRESSURE_UNITS, Box, bare
from gaugelight.flights.compare import clock
from gaugelight.flights.recording import NOT_KNOWN, Recording
from gaugelight.flights.replay import Replay, Trace
from gaugelight.flights.trend import (
    DAMPINGS,
    Agrees,
    Bools,
    Flow,
    Hydraulics,
    Slosh,
    enough_damping,
    flow,
    hydraulics,
    rising,
    slosh,
    stretches,
    together,
)
from gaugelight.fuel_watch import GAUGE_ERROR, Disagreement
from gaugelight.problems import Misuse, meant
from gaugelight.quantity import parse_quantity
from gaugelight.readouts import Condition

BURN_S, BURN_SKIP_S = (
    300.0,
    30.0,
)  # the shortest stretch that a burn is told from, and what of it is left out at its begin
TRANSFER_S, TRANSFER_SKIP_S = 120.0, 15.0
SLOW_ROWS_S = 0.5  # from where on swings of slosh are too fast for the log
GAUGE_SHARE = float(GAUGE_ERROR) / 100


@dataclass(frozen=True)
class Tank:
    """Units an hour. burn, rise, pumped (the rise and what is burnt meanwhile): with plus or minus at 95 %, what scatters only; the scale
    of the gauge comes on top in `burns` and `pumps`, which hold them against what is stated, where it is. by_switch: transfers are those in which the log has the pump on.
    """

    falls: tuple[Flow, ...]
    rises: tuple[Flow, ...]
    burn: tuple[float, float] | None
    burns: Agrees | None
    rise: tuple[float, float] | None
    pumped: tuple[float, float] | None
    pumps: Agrees | None
    by_switch: bool


@dataclass(frozen=True)
class Finding:
    """Of one readout, undamped. damping_s: what its input has in the box file; None: it is derived. unflown: what says of a tank's
    gauge that it flies, where the whole log never has it so: nothing is burnt then."""

    trace: Trace
    damping_s: float | None
    hydraulics: Hydraulics | None = None
    slosh: Slosh | None = None
    tank: Tank | None = None
    unflown: str = ""


@dataclass(frozen=True)
class Burn:
    """What is said to be burnt in an hour, as it was written."""

    words: str

    def within(self, unit: str) -> tuple[float, float]:
        """In that unit, twice. Raises Misuse."""
        try:
            value = float(parse_quantity(self.words, unit))
        except ValueError as problem:
            raise Misuse(f"--burn: {problem}") from None
        return value, value


def stated_burn(words: str) -> Burn:
    """Of --burn. Raises Misuse."""
    kinds = [unit for unit in FUEL_UNITS if _fits(words, unit)]
    if not kinds:
        raise Misuse(f'--burn "{words}": write what is burnt in an hour, such as "8 US gal"')
    return Burn(words)


def _fits(words: str, unit: str) -> bool:
    try:
        return parse_quantity(words, unit) > 0
    except ValueError:
        return False


def findings(
    box: Box, undamped: Replay, recording: Recording, names: Sequence[str], burn: Burn | None
) -> list[Finding]:
    """Of the readouts named, or of all tanks and pressures. Raises Misuse where a name is none."""
    dampings = {one.name: float(one.damping) for one in box.inputs}
    there = [trace.name for trace in undamped.traces]
    for name in names:
        if name not in there:
            raise Misuse(f'{box.file}: there is no readout "{name}"; {meant(name, there)}')
    differences = {
        one.name
        for one in box.face.derived
        if isinstance(one.parts, tuple) and any(sign < 0 for _, sign in one.parts)
    }
    reserve_line = None if box.face.reserve is None else box.face.reserve.pressure
    found = []
    for trace in undamped.traces:
        unit = bare(trace.unit)
        fuel, pressure = unit in FUEL_UNITS, unit in PRESSURE_UNITS
        usual = (
            fuel
            and trace.name not in differences
            or pressure
            and trace.name not in (reserve_line, *differences)
        )
        if trace.name not in names if names else not usual:
            continue
        stated = burn if trace.name in names or not names and _is_whole(box, trace.name) else None
        one = _finding(
            _Flight(box, undamped, recording, stated), trace, dampings.get(trace.name), fuel, pressure
        )
        if names or one.hydraulics or one.slosh or one.tank:
            found.append(one)
    return found


@dataclass(frozen=True)
class _Flight:
    box: Box
    undamped: Replay
    recording: Recording
    burn: Burn | None


def _is_whole(box: Box, name: str) -> bool:
    """Whether all that the engine burns comes from there: the mains, a sum, or the only tank."""
    tanks = [one.name for one in box.inputs if one.bare_unit in FUEL_UNITS]
    sums = [one.name for one in box.face.derived if isinstance(one.parts, tuple) and {*one.names} == {*tanks}]
    mains = [] if box.face.reserve is None else [box.face.reserve.mains]
    return name in (sums or mains or (tanks if len(tanks) == 1 else []))


def _finding(flight: _Flight, trace: Trace, damping_s: float | None, fuel: bool, pressure: bool) -> Finding:
    seconds, readings = flight.recording.seconds(), trace.readings
    finding = Finding(trace, damping_s)
    anew = [first for first, _ in flight.recording.spans]
    if pressure:
        finding = replace(finding, hydraulics=hydraulics(seconds, readings, 2 * trace.step, anew))
    if fuel:
        finding = replace(finding, tank=_tank(flight, trace))
        gauge = _gauge(flight.box, trace)
        if gauge is not None and not _holds(gauge.flies, flight).any():
            finding = replace(finding, unflown=_in_words(gauge.flies, flight))
    if damping_s is not None and finding.hydraulics is None:
        finding = replace(finding, slosh=slosh(seconds, readings, anew=anew))
    return finding


def _gauge(box: Box, trace: Trace) -> Disagreement | None:
    return next((one for one in box.face.gauges if one.gauge == trace.name), None)


def _tank(flight: _Flight, trace: Trace) -> Tank | None:
    box, recording = flight.box, flight.recording
    seconds, readings = recording.seconds(), trace.readings
    reserve = box.face.reserve
    gauge = _gauge(box, trace)
    is_mains = reserve is not None and trace.name == reserve.mains
    stated: tuple[float, float] | None = None
    if flight.burn is not None:
        stated = flight.burn.within(bare(trace.unit))
    elif gauge is not None and gauge.feeds == "always":
        stated = _pair(gauge.burn)
    elif reserve is not None and is_mains:
        stated = _pair(reserve.burn)
    pumping = None if reserve is None else _switched_on(recording, reserve.pump)
    by_switch = pumping is not None
    if pumping is None:
        pumping = np.zeros(len(readings), bool) if reserve is None else rising(seconds, readings)
    flying = np.ones(len(readings), bool) if gauge is None else _holds(gauge.flies, flight)
    falls = _flows(recording, trace, flying & ~pumping, BURN_S, BURN_SKIP_S)
    rises = _flows(recording, trace, pumping, TRANSFER_S, TRANSFER_SKIP_S)
    fall, rise = together(falls, seconds), together(rises, seconds)
    if fall is None and rise is None:
        return None
    burnt = None if fall is None else (-fall[0], fall[1])
    burns = None if burnt is None or stated is None else Agrees(*_with_scale(burnt), stated)
    pumped = pumps = None
    if rise is not None and stated is not None:
        pumped = rise[0] + (stated[0] + stated[1]) / 2, math.hypot(rise[1], (stated[1] - stated[0]) / 2)
        share = 1.0 if is_mains else 0.0 if gauge is None else float(gauge.share) / 100
        if reserve is not None and share:
            pumps = Agrees(
                *_with_scale(pumped), (float(reserve.rate[0]) * share, float(reserve.rate[1]) * share)
            )
    return Tank(tuple(falls), tuple(rises), burnt, burns, rise, pumped, pumps, by_switch)


def _pair(stated: tuple[Fraction, Fraction]) -> tuple[float, float]:
    return float(stated[0]), float(stated[1])


def _with_scale(found: tuple[float, float]) -> tuple[float, float]:
    """And what the gauge's scale may be off by."""
    return found[0], math.hypot(found[1], GAUGE_SHARE * found[0])


def _flows(recording: Recording, trace: Trace, there: Bools, least_s: float, skip_s: float) -> list[Flow]:
    seconds = recording.seconds()
    found = []
    for first, end in recording.spans:
        inside = np.zeros(len(there), bool)
        inside[first:end] = there[first:end]
        for begin, stop in stretches(inside, seconds, least_s, skip_s):
            one = flow(seconds, trace.readings, begin, stop)
            found += [] if one is None else [one]
    return found


def _switched_on(recording: Recording, switch: str) -> Bools | None:
    states = recording.switches.get(switch)
    return None if states is None or np.all(states == NOT_KNOWN) else states == 1


def _holds(condition: Condition, flight: _Flight) -> Bools:
    """Where it does; where nobody knows it does not."""
    recording = flight.recording
    if condition.way in ("on", "off"):
        states = recording.switches.get(condition.name, np.full(len(recording), NOT_KNOWN))
        switched: Bools = states == (1 if condition.way == "on" else 0)
        return switched
    trace = flight.undamped.trace(condition.name)
    if trace is None or condition.value is None:
        return np.zeros(len(recording), bool)
    above = condition.way == "above"
    there: Bools = (
        trace.readings > float(condition.value) if above else trace.readings < float(condition.value)
    )
    return there


# -- in words


def _in_words(condition: Condition, flight: _Flight) -> str:
    trace = flight.undamped.trace(condition.name)
    return condition.text("" if trace is None else trace.unit)


def in_lines(one: Finding, recording: Recording) -> list[tuple[str, str]]:
    """What it is about, and what was found."""
    lines = []
    unit = bare(one.trace.unit)
    if one.hydraulics is not None:
        lines += _hydraulics_told(one.hydraulics, unit)
    if one.tank is not None:
        lines += _tank_told(one.tank, unit, recording)
    if one.unflown:
        lines.append(("falls by", f"not told: nowhere in the log is {one.unflown}, so it does not fly"))
    if one.slosh is not None:
        lines += _slosh_told(one.slosh, one, unit)
    return lines or [("nothing", "the log is too short for it, or the reading at fault too often")]


def _hydraulics_told(found: Hydraulics, unit: str) -> list[tuple[str, str]]:
    lines = []
    many = len(found.starts)
    times = "did not come on" if not many else "came on once" if many == 1 else f"came on {many} times"
    told = f"it {times} (a rise by more than {_number(found.rise)} {unit})"
    if found.interval is not None:
        told += f", one start in {clock(found.interval)} where nothing else used the pressure"
    lines.append(("pump", told))
    if found.drift is not None:
        change, band = found.drift
        way = "longer" if change > 0 else "shorter"
        sure = "" if abs(change) > band else ", which may be chance"
        lines.append(("interval", f"gets {way} by {plus_minus(abs(change), band)} s in an hour{sure}"))
    if found.leak is not None:
        fall, band = -found.leak[0] * 60, found.leak[1] * 60
        rests = len(found.telling)
        lines.append(
            (
                "leak-down",
                f"{plus_minus(fall, band)} {unit} a minute, {plus_minus(fall * 60, band * 60)} an hour, over {rests} {'rest' if rests == 1 else 'rests'}"
                f"{' (by how they scatter)' if rests >= 3 else ''}",
            )
        )
    return lines


def _tank_told(found: Tank, unit: str, recording: Recording) -> list[tuple[str, str]]:
    lines = []
    if found.burn is not None:
        told = f"{plus_minus(*found.burn)} {unit} an hour, {_lasting(found.falls, recording)}"
        lines.append(("falls by", told + _held(found.burns, "burn", unit)))
    if found.rise is not None:
        told = f"{plus_minus(*found.rise)} {unit} an hour, {_lasting(found.rises, recording)}"
        told += " with the pump on" if found.by_switch else " (by the reading alone: the log has no switches)"
        if found.pumped is not None:
            told += f"; with the burn {plus_minus(*found.pumped)} are pumped"
        lines.append(("rises by", told + _held(found.pumps, "rate", unit)))
    return lines


def _lasting(flows: Sequence[Flow], recording: Recording) -> str:
    seconds = recording.seconds()
    lasted = sum(float(seconds[one.end - 1] - seconds[one.first]) for one in flows)
    return f"over {clock(lasted)}" + (f" in {len(flows)} stretches" if len(flows) > 1 else "")


def _held(held: Agrees | None, what: str, unit: str) -> str:
    if held is None:
        return ""
    low, high = held.stated
    stated = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    verdict = "agrees with" if held.holds else "DOES NOT AGREE with"
    scale = f"with the gauge's scale +-{GAUGE_SHARE:.0%}: +-{_number(held.plus_minus)}"
    return f" ({scale}); {verdict} the {what} stated, {stated} {unit} an hour"


def stands_still(found: Slosh, one: Finding) -> bool:
    """No slosh, but at most what is left of reckoning."""
    return found.spread < 0.01 * 10.0**-one.trace.decimals


def _slosh_told(found: Slosh, one: Finding, unit: str) -> list[tuple[str, str]]:
    step = one.trace.step
    if stands_still(found, one):
        return [("slosh", "none: the reading stands still")]
    told = f"+-{_number(2 * found.spread)} {unit} undamped (two standard deviations, {found.windows} windows of {found.window_s:.0f} s)"
    told += f"; in the roughest twentieth +-{_number(2 * found.roughest)}"
    if found.period is not None:
        told += f"; strongest swing every {found.period:.2g} s"
    if found.step_s > SLOW_ROWS_S:
        told += f". Rows are {found.step_s:g} s apart: what swings faster than every {2 * found.step_s:g} s is not seen as it is"
    left = ", ".join(f"{damping:g} s +-{_number(2 * found.left(damping))}" for damping in DAMPINGS if damping)
    lines = [("slosh", told), ("damping leaves", left)]
    enough = enough_damping(found, step)
    stands = f"within half a step of {step:g} {unit}"
    advice = f"no damping up to {DAMPINGS[-1]:g} s keeps it {stands}" if enough is None else (
        f"{enough:g} s keep it {stands}" if enough else f"none is needed to stay {stands}"
    )  # fmt: skip
    if one.damping_s is not None:
        now = (
            f"{one.damping_s:g} s, leaves +-{_number(2 * found.left(one.damping_s))}"
            if one.damping_s
            else "none"
        )
        advice += f"; the box file has {now}"
    lines.append(("enough", advice + "; a step takes three time constants to be shown to 95 %"))
    return lines


def plus_minus(value: float, band: float) -> str:
    """Both to the second digit of the band (JCGM 100, 7.2.6)."""
    if not band or not math.isfinite(band):
        return f"{value:.3g}"
    decimals = max(0, 1 - math.floor(math.log10(abs(band))))
    return f"{value:.{decimals}f} +-{band:.{decimals}f}"


def _number(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def of_json(one: Finding, recording: Recording) -> dict[str, Any]:
    said: dict[str, Any] = {"name": one.trace.name, "unit": one.trace.unit}
    seconds = recording.seconds()
    if (found := one.hydraulics) is not None:
        said["hydraulics"] = {
            "pump_starts_s": [float(seconds[row]) for row in found.starts],
            "least_rise": found.rise,
            "interval_s": found.interval,
            "interval_drift_s_an_hour": found.drift,
            "leak_a_minute": None if found.leak is None else [found.leak[0] * 60, found.leak[1] * 60],
            "rests": len(found.telling),
        }
    if one.tank is not None:
        tank = one.tank
        said["tank"] = {
            "burn_an_hour": tank.burn,
            "burn_agrees": None if tank.burns is None else tank.burns.holds,
            "rise_an_hour": tank.rise,
            "pumped_an_hour": tank.pumped,
            "rate_agrees": None if tank.pumps is None else tank.pumps.holds,
            "transfers_by_switch": tank.by_switch,
        }
    said["flew"] = not one.unflown
    if one.slosh is not None:
        said["slosh"] = {
            "standard_deviation": one.slosh.spread,
            "roughest": one.slosh.roughest,
            "windows": one.slosh.windows,
            "period_s": one.slosh.period,
            "damping_s": one.damping_s,
            "left_by_damping": {f"{damping:g}": one.slosh.left(damping) for damping in DAMPINGS},
            "enough_damping_s": enough_damping(one.slosh, one.trace.step),
        }
    return said
