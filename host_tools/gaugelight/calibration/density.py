"""The density of fuel at a temperature, and how well it is known.

How it changes with temperature is the law of the petroleum measurement tables, ASTM D1250-80, table 54B (API MPMS 11.1, ISO 91-1):
density(t) = density(15 degC) * exp(-a d (1 + 0.8 a d)), d = t - 15 degC, with a from the density at 15 degC. Its figures are from
memory and held against several programs that use them. Where the density was not measured, the fuel's standard only says
between which limits it lies: rectangular (JCGM 100, 4.3.7).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelight.quantity import likely

BASE = 15.0  # degC
COLDEST, HOTTEST = -25.0, 50.0  # degC, of fuel that somebody pours
LIGHTEST, HEAVIEST = 0.653, 1.075  # kg/l at 15 degC, of table 54B
LAW = 0.03  # standard share of the change: by that the tables of 1952 and 1980 differ

# kg/l at 15 degC, from and to
FUELS = {
    "avgas 100LL": (0.690, 0.730),  # ASTM D910 sets no limits; common practice, no source
    "mogas": (0.720, 0.775),  # EN 228, from memory
    "jet A-1": (0.775, 0.840),  # ASTM D1655, DEF STAN 91-091
    "diesel": (0.820, 0.845),  # EN 590, temperate, from memory
}


@dataclass(frozen=True)
class Density:
    value: float  # kg/l
    u: float  # standard uncertainty, kg/l


def named(fuel: str, celsius: float, celsius_u: float = 1.0) -> Density:
    """Density of a fuel by its name at a temperature. ValueError: not a fuel known here, or too hot or too cold."""
    if fuel not in FUELS:
        meant = likely(fuel, FUELS)
        cure = f'write "{meant}"' if meant else f"known: {', '.join(FUELS)}; of others state the density"
        raise ValueError(f'"{fuel}" is no fuel known here; {cure}')
    low, high = FUELS[fuel]
    return measured((low + high) / 2, (high - low) / math.sqrt(12), BASE, celsius, celsius_u)


def measured(density: float, u: float, at: float, celsius: float, celsius_u: float = 1.0) -> Density:
    """A density (kg/l, u its standard uncertainty) measured at one temperature, taken to another.

    celsius_u: standard uncertainty of the difference of the two. ValueError: no fuel is so light or heavy, so hot or cold.
    """
    for temperature in (at, celsius):
        if not COLDEST <= temperature <= HOTTEST:
            raise ValueError(
                f"fuel of {temperature:g} degC: between {COLDEST:g} and {HOTTEST:g} degC is believed"
            )
    base = density
    for _ in range(20):
        base = density / shrinkage(min(max(base, LIGHTEST), HEAVIEST), at)
    if not LIGHTEST <= base <= HEAVIEST:
        raise ValueError(
            f"{density:g} kg/l is no fuel's density: {LIGHTEST:g} to {HEAVIEST:g} kg/l at 15 degC"
        )
    value = base * shrinkage(base, celsius)
    per_degree = expansion(base) * value
    moved = per_degree * (celsius - at)
    return Density(value, math.hypot(u, per_degree * celsius_u, LAW * moved))


def shrinkage(base: float, celsius: float) -> float:
    """The volume at 15 degC over that at a temperature, of fuel with a density of `base` kg/l at 15 degC."""
    away = expansion(base) * (celsius - BASE)
    return math.exp(-away * (1 + 0.8 * away))


def expansion(base: float) -> float:
    """Share of the volume per degC at 15 degC."""
    rho = base * 1000
    if rho < 770.5:  # gasolines
        return 346.4228 / rho**2 + 0.4388 / rho
    if rho < 787.5:  # between gasolines and jet fuels
        return 2680.3206 / rho**2 - 0.00336312
    if rho < 838.5:  # jet fuels
        return 594.5418 / rho**2
    return 186.9696 / rho**2 + 0.4862 / rho  # fuel oils
