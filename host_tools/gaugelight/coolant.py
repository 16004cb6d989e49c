"""When a liquid coolant boils: water, or water with ethylene or propylene glycol, at a pressure.

Water is the saturation line of IAPWS-IF97. A mix is an ideal solution (Raoult): the pressure over it is the sum of what water and
glycol would give alone, each times its share of the molecules. That is a choice, not a fit: the measured vapour pressures of water
with up to half ethylene glycol lie within 2 % of it at 40 to 60 degC, and come nearer as it gets hotter (Fujita and Kikuchi,
1989; tests/test_coolant.py holds it against that and against tables). What it leaves out is stated by `uncertainty_celsius`,
and `may_boil_celsius` takes that off: a boil margin counted from there errs early. Take it for anything a pilot is shown.

It says when the bulk of the liquid boils. At a hot wall, and at the inlet of a pump, it boils earlier.
"""

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gaugelight.atmosphere import HIGHEST_M, LOWEST_M, SEA_LEVEL_HPA, pressure_hpa
from gaugelight.circuits import Floats
from gaugelight.problems import meant
from gaugelight.temperature import ZERO_CELSIUS

PressureKind = Literal["gauge", "sealed", "absolute"]

# IAPWS R7-97 (2012), the release on IAPWS-IF97, table 34: n1 to n10 of the saturation line
N1, N2, N3, N4, N5 = 1167.0521452767, -724213.16703206, -17.073846940092, 12020.824702470, -3232555.0322333
N6, N7, N8, N9, N10 = 14.915108613530, -4823.2657361591, 405113.40542057, -0.23855557567849, 650.17534844798

# from the triple point (0.611657 kPa) to the critical point, rounded inwards
WATER_KPA = 0.6117, 22_064.0
# the air at 9 km to four atmospheres above that at sea level: a mix then boils at 69 to 173 degC, where its glycol's constants hold
MIX_KPA = 30.0, 500.0
MOST_GLYCOL = 0.7  # of the volume; beyond, the glycol's own share of the vapour and its heat of mixing count

WATER_MOLAR_MASS = 18.015268  # g/mol, IAPWS R6-95
WATER_DENSITY = 998.2  # kg/m^3 at 20 degC and 1 atm, IAPWS-95

WATER_UNCERTAINTY = 0.1  # degC: far more than the formula's own; for what is dissolved in water from the tap


@dataclass(frozen=True)
class Glycol:
    """A glycol: molar mass in g/mol, density in kg/m^3 at 20 degC; log10(bar) = a - b / (K + c).

    `spread` is the uncertainty of the boiling point in degC at 95 %, for a mix of which it were the whole volume; in
    proportion for less.
    """

    name: str
    molar_mass: float
    density: float
    a: float
    b: float
    c: float
    spread: float

    def kpa(self, celsius: Floats) -> Floats:
        """The vapour pressure of the pure glycol."""
        return 100 * np.power(10.0, self.a - self.b / (celsius + ZERO_CELSIUS + self.c))


# Antoine constants: NIST Chemistry WebBook (SRD 69), for 323 to 473 K (ethylene) and 318.7 to 461.4 K (propylene glycol).
# Molar masses from the IUPAC atomic weights. Densities: CRC Handbook of Chemistry and Physics, from memory.
# The spreads are our judgement of how far apart the sources in tests/test_coolant.py lie.
ETHYLENE_GLYCOL = Glycol("ethylene glycol", 62.068, 1113.5, 4.97012, 1914.951, -84.996, spread=3.0)
PROPYLENE_GLYCOL = Glycol("propylene glycol", 76.094, 1036.1, 6.07936, 2692.187, -17.94, spread=3.5)
GLYCOLS = {glycol.name: glycol for glycol in (ETHYLENE_GLYCOL, PROPYLENE_GLYCOL)}


@dataclass(frozen=True)
class Mix:
    """A coolant: what share of its volume was glycol, measured at 20 degC before mixing, as it is poured in. Mix() is water.

    Raises ValueError for a share outside 0 to 0.7, or one without a glycol.
    """

    glycol: Glycol | None = None
    share: float = 0.0

    def __post_init__(self) -> None:
        if self.glycol is None and self.share != 0:
            raise ValueError(f"{100 * self.share:g} % of which glycol? It must be {' or '.join(GLYCOLS)}")
        if self.glycol is not None and not 0 < self.share <= MOST_GLYCOL:
            raise ValueError(
                f"{100 * self.share:g} % {self.glycol.name} lies outside what is known here; "
                f'write up to {100 * MOST_GLYCOL:g} %, or "water"'
            )

    @property
    def name(self) -> str:
        """As `parse_mix` reads it."""
        return f"{100 * self.share:g} % {self.glycol.name}" if self.glycol else "water"

    @property
    def water_molecules(self) -> float:
        """The share of the molecules that is water."""
        if self.glycol is None:
            return 1.0
        water = (1 - self.share) * WATER_DENSITY / WATER_MOLAR_MASS
        return water / (water + self.share * self.glycol.density / self.glycol.molar_mass)


WATER = Mix()
WRITTEN = re.compile(r"(\d+(?:\.\d+)?) ?% ?(\w[\w ]*)", re.ASCII)


def parse_mix(written: str) -> Mix:
    """A mix as a builder writes it: "water", "50 % ethylene glycol". ValueError says what would be right."""
    words = " ".join(written.split())
    if words == WATER.name:
        return WATER
    parts = WRITTEN.fullmatch(words)
    if parts is None:
        raise ValueError(
            f'"{written}" is no coolant; write "water", or the glycol by volume: "50 % ethylene glycol"'
        )
    per_cent, name = parts.groups()
    if name not in GLYCOLS:
        raise ValueError(f'"{name}" is not known as a part of coolant; {meant(name, GLYCOLS)}')
    return Mix(GLYCOLS[name], float(per_cent) / 100)


def pressure_range_kpa(mix: Mix) -> tuple[float, float]:
    """The lowest and highest absolute pressure in kPa for which a mix's boiling point is known here."""
    return MIX_KPA if mix.glycol else WATER_KPA


def uncertainty_celsius(mix: Mix) -> float:
    """Plus or minus how many degC a boiling point is good to, at 95 %; of the model alone, with the mix as stated.

    In proportion to the share of glycol. Not contained: what the builder poured in besides (of a bought concentrate some
    5 % is water and inhibitors; common practice, no source), and the error of the pressure. At 50 %, 5 % more or less of the
    volume is about 1.4 degC with ethylene and 1.1 degC with propylene glycol.
    """
    return WATER_UNCERTAINTY + (mix.glycol.spread * mix.share if mix.glycol else 0.0)


def saturation_celsius(mix: Mix, absolute_kpa: Floats) -> Floats:
    """The best estimate of where a mix boils, in degC, at absolute pressures in kPa.

    Good to `uncertainty_celsius`. Raises ValueError outside `pressure_range_kpa`.
    """
    lowest, highest = pressure_range_kpa(mix)
    _refuse_outside(absolute_kpa, lowest, highest, f"kPa absolute, for the boiling point of {mix.name}")
    if mix.glycol is None:
        return _water_celsius(absolute_kpa)
    # glycol is the less volatile, so a mix boils later than water does, and earlier than if its glycol gave no vapour at all
    low, high = _water_celsius(absolute_kpa), _water_celsius(absolute_kpa / mix.water_molecules)
    for _ in range(50):
        middle = (low + high) / 2
        boils = _mix_kpa(mix, middle) >= absolute_kpa
        low, high = np.where(boils, low, middle), np.where(boils, middle, high)
    return (low + high) / 2


def may_boil_celsius(mix: Mix, absolute_kpa: Floats) -> Floats:
    """The lowest degC at which a mix may boil: the low side, from which a boil margin is counted so that it errs early.

    Raises ValueError outside `pressure_range_kpa`.
    """
    return saturation_celsius(mix, absolute_kpa) - uncertainty_celsius(mix)


def saturation_kpa(mix: Mix, celsius: Floats) -> Floats:
    """The inverse of `saturation_celsius`: the absolute pressure in kPa at which a mix boils. ValueError outside its range."""
    coldest, hottest = saturation_celsius(mix, np.array(pressure_range_kpa(mix)))
    _refuse_outside(
        celsius, float(coldest), float(hottest), f"degC, for the pressure at which {mix.name} boils"
    )
    return _mix_kpa(mix, celsius)


def absolute_from_reading(reading_kpa: Floats, kind: PressureKind, altitude_m: float) -> Floats:
    """The absolute pressure in kPa from what a pressure sender reads, in kPa, at a pressure altitude in m (ISO 2533).

    A gauge sender compares with the air around it, a sealed one with the standard sea level pressure shut up in it. That the
    sender sits in air of the altimeter's pressure is taken for granted. Raises ValueError outside -2,000 to 20,000 m.
    """
    _refuse_outside(np.array([altitude_m]), LOWEST_M, HIGHEST_M, "m of pressure altitude")
    outside = {
        "gauge": float(pressure_hpa(np.array(altitude_m))) / 10,
        "sealed": SEA_LEVEL_HPA / 10,
        "absolute": 0.0,
    }
    if kind not in outside:
        raise ValueError(f'"{kind}" is no kind of pressure; {meant(kind, outside)}')
    return reading_kpa + outside[kind]


def _refuse_outside(values: Floats, lowest: float, highest: float, of_what: str) -> None:
    """ValueError with the first value outside, or not a number."""
    slack = 1e-9 * (highest - lowest)  # the ends, computed back and forth, are inside
    wrong = np.ravel(values)[~np.ravel((values >= lowest - slack) & (values <= highest + slack))]
    if wrong.size:
        raise ValueError(f"{wrong[0]:g} is outside {lowest:g} to {highest:g} {of_what}")


def _mix_kpa(mix: Mix, celsius: Floats) -> Floats:
    """Raoult's law."""
    water = mix.water_molecules * _water_kpa(celsius)
    return water + (1 - mix.water_molecules) * mix.glycol.kpa(celsius) if mix.glycol else water


def _water_kpa(celsius: Floats) -> Floats:
    """IAPWS-IF97, equation 30."""
    kelvin = celsius + ZERO_CELSIUS
    t = kelvin + N9 / (kelvin - N10)
    a = t * (t + N1) + N2
    b = t * (t * N3 + N4) + N5
    c = t * (t * N6 + N7) + N8
    return 1000 * np.power(2 * c / (np.sqrt(b * b - 4 * a * c) - b), 4)


def _water_celsius(kpa: Floats) -> Floats:
    """IAPWS-IF97, equation 31: the same curve, solved for the temperature."""
    root = np.power(kpa / 1000, 0.25)
    e = root * (root + N3) + N6
    f = root * (root * N1 + N4) + N7
    g = root * (root * N2 + N5) + N8
    d = 2 * g / (-f - np.sqrt(f * f - 4 * e * g))
    return (N10 + d - np.sqrt((N10 + d) ** 2 - 4 * (N9 + N10 * d))) / 2 - ZERO_CELSIUS
