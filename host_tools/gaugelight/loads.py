"""What a lamp takes from its supply, whether chopping the supply can dim it, and what the bus's voltage does to its light.

A strip of light-emitting diodes with resistors takes nothing below the voltage that its diodes need, its drop, and a straight line
above: I = (V - drop) / R. Three diodes in series drop 8.9 V: from 12 V to 14.2 V the current rises 1.7 times (common practice,
no source). A lamp that regulates itself follows no such line; three readings tell.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import linear_regression
from typing import Literal

import numpy as np

Reading = tuple[float, float]  # volts, amperes
Kind = Literal["resistor strip", "filament lamp", "internal regulator", "switching regulator"]

USUAL_DROP = 8.9  # V: three white diodes (common practice, no source)
DARK = 0.02  # of the largest current: a strip that takes less is below its drop, where its line does not hold
LEAST_SPAN = 2.0  # V, from the lowest reading to the highest
LEAST_GAP = 1.0  # V, in the upper half
TAKE = "take one each at 10, 12 and 14 V"
OFF_THE_LINE = 0.1  # of the largest current: by more than this no strip misses its line

# Of a 14 V bus, twice as much of a 28 V one (common practice, no source)
CHARGED = 14.2  # with its alternator
HELD_VOLTS = 16.0  # the most there may be for ever
DUMP_VOLTS, DUMP_SECONDS = 35.0, 0.4  # the alternator as the battery comes off
FUSE_SIZES = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)  # A (common practice, no source)
FUSE_HELD = 0.75  # of its rating, what a fuse holds for ever in a warm panel (from memory)
FUSE_MELTS = 1.0  # A2 s for each square ampere of a quick fuse's rating; it melts at 1.25 (from memory)

# How the current grows with the voltage, as a power of it: 1 for a resistor and more with a drop, 0.54 for a tungsten filament (IES
# Lighting Handbook, from memory), 0 for a constant current, -1 for a constant power. The bounds are half-way or nearly so.
LIKE_A_RESISTOR = 0.8
LIKE_A_FILAMENT = 0.27
FALLING = -0.27


@dataclass(frozen=True)
class Load:
    """A lamp. drop: V. ohms: of its line; both mean nothing for a kind other than a resistor strip, which goes by its readings.

    at: V, what it is rated for or was read at, at most. dim_wire: it has a wire of its own for dimming, which the box's output drives; its supply is not chopped.
    """

    drop: float
    ohms: float
    at: float
    kind: Kind = "resistor strip"
    readings: tuple[Reading, ...] = ()
    dim_wire: bool = False


def from_current(amperes: float, at: float, drop: float = USUAL_DROP, dim_wire: bool = False) -> Load:
    """A strip that takes so many amperes at so many volts. ValueError where that is not above its drop."""
    if not amperes > 0:
        raise ValueError(f"a lamp that takes {amperes:g} A is none")
    if not at > drop >= 0:
        raise ValueError(f"at {at:g} V a lamp whose LEDs take {drop:g} V is dark; state its real drop")
    return Load(drop, (at - drop) / amperes, at, dim_wire=dim_wire)


def from_power(watts: float, at: float, drop: float = USUAL_DROP, dim_wire: bool = False) -> Load:
    """A strip that takes so many watts at so many volts."""
    return from_current(watts / at if at else watts, at, drop, dim_wire)


def from_length(
    metres: float, watts_per_metre: float, at: float, drop: float = USUAL_DROP, dim_wire: bool = False
) -> Load:
    """A strip of a length that is sold by its watts per metre at so many volts."""
    return from_power(metres * watts_per_metre, at, drop, dim_wire)


def from_readings(readings: Sequence[Reading], dim_wire: bool = False) -> Load:
    """A lamp whose current was read at three voltages or more. ValueError says which readings to take instead."""
    kind, taken = kind_of(readings), tuple(sorted(readings))
    if kind != "resistor strip":
        return Load(0.0, math.inf, taken[-1][0], kind, taken, dim_wire)
    lit = [(volts, amperes) for volts, amperes in taken if amperes > DARK * taken[-1][1]]
    slope, start = linear_regression(*zip(*lit))
    misses = {volts: abs(amperes - start - slope * volts) for volts, amperes in lit}
    worst = max(misses, key=misses.__getitem__)
    if misses[worst] > OFF_THE_LINE * taken[-1][1]:
        raise ValueError(f"the readings lie on no line, the one at {worst:g} V least of all: read it again")
    return Load(max(0.0, -start / slope), 1 / slope, taken[-1][0], kind, taken, dim_wire)


def kind_of(readings: Sequence[Reading]) -> Kind:
    """What a lamp is by its readings, volts and amperes.

    By their upper half: near its drop a regulator does not regulate yet. ValueError where they tell nothing, saying which to take.
    """
    taken = sorted(readings)
    if any(not (volts > 0 and amperes >= 0) for volts, amperes in taken):
        raise ValueError("a reading is volts above nought and amperes, which are not negative")
    if len(taken) < 3 or taken[-1][0] - taken[0][0] < LEAST_SPAN:
        raise ValueError(f"too few readings, or too close together: {TAKE}")
    middle = (taken[0][0] + taken[-1][0]) / 2
    upper = [(volts, amperes) for volts, amperes in taken if volts >= middle - 1e-9]
    if upper[-1][0] - upper[0][0] < LEAST_GAP:
        raise ValueError(f"no reading between {middle:g} and {taken[-1][0] - LEAST_GAP:g} V: {TAKE}")
    if upper[0][1] <= DARK * upper[-1][1]:
        raise ValueError(f"at {upper[0][0]:g} V the lamp is dark: {TAKE}, or where it is lit, 1 V apart")
    power, _ = linear_regression(*zip(*((math.log(volts), math.log(amperes)) for volts, amperes in upper)))
    if power >= LIKE_A_RESISTOR:
        return "resistor strip"
    if power >= LIKE_A_FILAMENT:
        return "filament lamp"
    return "internal regulator" if power >= FALLING else "switching regulator"


def amperes(load: Load, volts: float) -> float:
    """What the lamp takes at a voltage. Beyond its readings a lamp that is no strip is taken to stay as it was."""
    if load.kind == "resistor strip":
        return max(0.0, (volts - load.drop) / load.ohms)
    taken = np.array(load.readings)
    return float(np.interp(volts, taken[:, 0], taken[:, 1]))


@dataclass(frozen=True)
class Strain:
    """What a lamp that burns takes at the worst: amperes at what the bus may be for ever, ampere squared seconds in a load dump."""

    held: float
    dump: float

    @property
    def holds(self) -> float | None:
        """In amperes: the smallest fuse that one can buy and that holds for ever; None where even the largest does not."""
        return next((size for size in FUSE_SIZES if size >= self.held / FUSE_HELD), None)

    @property
    def holds_in_words(self) -> str:
        return f"no fuse up to {FUSE_SIZES[-1]:g} A" if self.holds is None else f"{self.holds:g} A"

    @property
    def outlives(self) -> float:
        """In amperes: the smallest fuse that outlives a load dump."""
        return math.sqrt(self.dump / FUSE_MELTS)


def strain(load: Load, supply: float) -> Strain:
    """On a bus of `supply` volts."""
    buses = 2 if supply > 20 else 1
    return Strain(amperes(load, HELD_VOLTS * buses), amperes(load, DUMP_VOLTS * buses) ** 2 * DUMP_SECONDS)


@dataclass(frozen=True)
class Verdict:
    """Whether a lamp can be dimmed by chopping its supply, or its dim wire, and why."""

    dimmable: Literal["yes", "perhaps", "no"]
    reason: str


def dimmable(load: Load) -> Verdict:
    """Of a lamp as it is wired."""
    if load.dim_wire:
        return Verdict("yes", "the box drives its dim wire; its supply is left alone")
    match load.kind:
        case "resistor strip":
            return Verdict("yes", "its current rises with the voltage as a resistor's does: chop its supply")
        case "filament lamp":
            return Verdict(
                "yes", "its current rises less than the voltage, as a filament's does: chop its supply"
            )
        case "internal regulator":
            reason = (
                "its current does not change with the voltage: it has a linear regulator inside. Chopping works only if that "
                "starts and stops in much less than the shortest pulse; try it at the dimmest setting"
            )
            return Verdict("perhaps", reason)
        case "switching regulator":
            reason = (
                "its current falls when the voltage rises: it has a switching regulator inside, which chopping only upsets. It "
                "needs a dim wire of its own, or another lamp"
            )
            return Verdict("no", reason)


def light_factor(load: Load, volts: float, at: float) -> float:
    """What the duty is to be multiplied by at a bus of `volts`, so that the light is as it is at `at` volts; 1 at the most.

    A strip's light goes by its mean current; a filament's by its mean power, which goes by the square of the voltage; a lamp
    that regulates itself, or is dimmed by its own wire, needs none.
    """
    if load.dim_wire or volts <= max(at, load.drop):
        return 1.0
    match load.kind:
        case "resistor strip":
            return max(0.0, at - load.drop) / (volts - load.drop)
        case "filament lamp":
            return (at / volts) ** 2
        case _:
            return 1.0
