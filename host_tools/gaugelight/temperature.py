"""Temperature senders, exactly: from a temperature to what the sender gives, and back.

Temperatures are in degC on the ITS-90, resistances in ohm, thermocouple voltages in mV with the reference junction at 0 degC.
Every law takes and gives arrays, is strictly monotone from `lowest` to `highest` (degC), and gives nan outside.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gaugelight.circuits import Floats

ZERO_CELSIUS = 273.15  # K
ROUNDING = 1e-12  # a value this little outside a range, relatively, is taken for its end


def _within(values: Floats, first: float, last: float) -> Floats:
    """The values, nan where they lie outside of first to last."""
    inside = (values >= first - abs(first) * ROUNDING) & (values <= last + abs(last) * ROUNDING)
    return np.where(inside, np.clip(values, first, last), np.nan)


@dataclass(frozen=True)
class Platinum:
    """A platinum resistance thermometer to IEC 60751:2008 (Callendar and Van Dusen), -200 to 850 degC.

    R = r0 (1 + A t + B t^2) from 0 degC up and R = r0 (1 + A t + B t^2 + C (t - 100) t^3) below. At 0 degC the term with C
    has no value, slope or curvature, so the two branches meet in all three. r0 is in ohm: 100 for a Pt100, 1000 for a Pt1000.
    """

    r0: float
    lowest = -200.0
    highest = 850.0
    A = 3.9083e-3  # 1/degC
    B = -5.775e-7  # 1/degC^2
    C = -4.183e-12  # 1/degC^4

    def ohms(self, celsius: Floats) -> Floats:
        t = _within(celsius, self.lowest, self.highest)
        return self.r0 * (1 + t * (self.A + t * self.B) + self._below_zero(t))

    def _below_zero(self, t: Floats) -> Floats:
        cold = np.minimum(t, 0)
        return self.C * (cold - 100) * cold * cold * cold

    def celsius(self, ohms: Floats) -> Floats:
        first, last = self.ohms(np.array([self.lowest, self.highest]))
        rise = _within(ohms, first, last) / self.r0 - 1
        # the root of the quadratic, written so that nothing cancels near 0 degC
        t = 2 * rise / (self.A + np.sqrt(self.A**2 + 4 * self.B * rise))
        # below 0 degC it is less than 2.5 degC off, and Newton doubles the good digits with each step: 3 steps are enough
        cold, cold_rise = np.minimum(t, 0), np.minimum(rise, 0)
        for _ in range(3):
            slope = self.A + cold * (2 * self.B + self.C * cold * (4 * cold - 300))
            cold -= (cold * (self.A + cold * self.B) + self._below_zero(cold) - cold_rise) / slope
        return np.where(rise < 0, cold, t)


class _Thermistor:
    """A resistance that falls as the temperature rises, as a law between ln R and 1/T, in ohm and kelvin.

    Such laws have no range of their own; the one here is wider than that of any thermistor.
    """

    lowest = -200.0
    highest = 500.0

    def _per_kelvin(self, log_ohms: Floats) -> Floats:
        raise NotImplementedError

    def _log_ohms(self, per_kelvin: Floats) -> Floats:
        raise NotImplementedError

    def ohms(self, celsius: Floats) -> Floats:
        kelvin = _within(celsius, self.lowest, self.highest) + ZERO_CELSIUS
        return np.exp(self._log_ohms(1 / kelvin))

    def celsius(self, ohms: Floats) -> Floats:
        last, first = self.ohms(np.array([self.lowest, self.highest]))
        return 1 / self._per_kelvin(np.log(_within(ohms, first, last))) - ZERO_CELSIUS


@dataclass(frozen=True)
class SteinhartHart(_Thermistor):
    """1/T = a + b ln R + c (ln R)^3 in kelvin and ohm (Steinhart and Hart, Deep-Sea Research 15, 1968); b > 0 and c >= 0."""

    a: float
    b: float
    c: float

    def _per_kelvin(self, log_ohms: Floats) -> Floats:
        return self.a + log_ohms * (self.b + self.c * log_ohms**2)

    def _log_ohms(self, per_kelvin: Floats) -> Floats:
        """The one real root of the cubic, by hyperbolic sines: nothing cancels, however small c is."""
        line = (per_kelvin - self.a) / self.b
        if self.c == 0:
            return line
        bend = math.sqrt(3 * self.c / self.b)
        return 2 / bend * np.sinh(np.arcsinh(1.5 * bend * line) / 3)


@dataclass(frozen=True)
class Beta(_Thermistor):
    """R = ohms_at exp(b (1/T - 1/T_at)): a thermistor by its B value (kelvin) and its resistance at one temperature."""

    b: float
    ohms_at: float
    celsius_at: float

    def _per_kelvin(self, log_ohms: Floats) -> Floats:
        return 1 / (self.celsius_at + ZERO_CELSIUS) + (log_ohms - math.log(self.ohms_at)) / self.b

    def _log_ohms(self, per_kelvin: Floats) -> Floats:
        return math.log(self.ohms_at) + self.b * (per_kelvin - 1 / (self.celsius_at + ZERO_CELSIUS))


@dataclass(frozen=True)
class ThermistorTable(_Thermistor):
    """Two or more points (ohm, degC), resistance falling as the temperature rises, in any order.

    Between two points ln R is linear in 1/T: they have a B value of their own. The first and the last pair go on outside.
    """

    points: tuple[tuple[float, float], ...]

    def _columns(self) -> tuple[Floats, Floats]:
        """ln R and 1/T, both rising."""
        ohms, celsius = np.array(sorted(self.points), dtype=np.float64).T
        return np.log(ohms), 1 / (celsius + ZERO_CELSIUS)

    def _per_kelvin(self, log_ohms: Floats) -> Floats:
        at, per_kelvin = self._columns()
        return _lines(log_ohms, at, per_kelvin)

    def _log_ohms(self, per_kelvin: Floats) -> Floats:
        log_ohms, at = self._columns()
        return _lines(per_kelvin, at, log_ohms)


def _lines(x: Floats, at: Floats, values: Floats) -> Floats:
    """Straight lines through (at, values), `at` rising; the first and the last go on."""
    k = np.searchsorted(at[1:-1], x)
    return values[k] + (x - at[k]) * (np.diff(values) / np.diff(at))[k]


@dataclass(frozen=True)
class _Piece:
    """A piece of a thermocouple's reference function, first to last degC: a polynomial in degC, rising powers, in mV.

    bump: a0, a1, a2 of one more term, a0 exp(a1 (t - a2)^2).
    """

    first: float
    last: float
    powers: tuple[float, ...]
    bump: tuple[float, float, float] | None = None

    def millivolts(self, celsius: Floats) -> Floats:
        return _polynomial(celsius, self.powers) + self._bump(celsius)

    def slope(self, celsius: Floats) -> Floats:
        """mV per degC."""
        slope = _polynomial(celsius, tuple(n * c for n, c in enumerate(self.powers))[1:])
        if self.bump is None:
            return slope
        _, a1, a2 = self.bump
        return slope + 2 * a1 * (celsius - a2) * self._bump(celsius)

    def _bump(self, celsius: Floats) -> Floats | float:
        if self.bump is None:
            return 0.0
        a0, a1, a2 = self.bump
        return a0 * np.exp(a1 * (celsius - a2) ** 2)


def _polynomial(x: Floats, powers: tuple[float, ...]) -> Floats:
    total = np.zeros_like(x)
    for factor in reversed(powers):
        total = total * x + factor
    return total


# the reference functions of NIST Monograph 175 (1993), as NIST Standard Reference Database 60 gives them
_REFERENCE = {
    "J": (
        _Piece(
            -210.0,
            760.0,
            (
                0.0,
                0.503811878150e-01,
                0.304758369300e-04,
                -0.856810657200e-07,
                0.132281952950e-09,
                -0.170529583370e-12,
                0.209480906970e-15,
                -0.125383953360e-18,
                0.156317256970e-22,
            ),
        ),
        _Piece(
            760.0,
            1200.0,
            (
                0.296456256810e03,
                -0.149761277860e01,
                0.317871039240e-02,
                -0.318476867010e-05,
                0.157208190040e-08,
                -0.306913690560e-12,
            ),
        ),
    ),
    "K": (
        _Piece(
            -270.0,
            0.0,
            (
                0.0,
                0.394501280250e-01,
                0.236223735980e-04,
                -0.328589067840e-06,
                -0.499048287770e-08,
                -0.675090591730e-10,
                -0.574103274280e-12,
                -0.310888728940e-14,
                -0.104516093650e-16,
                -0.198892668780e-19,
                -0.163226974860e-22,
            ),
        ),
        _Piece(
            0.0,
            1372.0,
            (
                -0.176004136860e-01,
                0.389212049750e-01,
                0.185587700320e-04,
                -0.994575928740e-07,
                0.318409457190e-09,
                -0.560728448890e-12,
                0.560750590590e-15,
                -0.320207200030e-18,
                0.971511471520e-22,
                -0.121047212750e-25,
            ),
            (0.118597600000, -0.118343200000e-03, 0.126968600000e03),
        ),
    ),
}


@dataclass(frozen=True)
class Thermocouple:
    """A thermocouple to the ITS-90 reference functions of NIST Monograph 175: type K -270 to 1372 degC, J -210 to 1200 degC.

    `celsius` is the inverse of that function itself, not NIST's approximate inverse polynomial.
    """

    kind: Literal["J", "K"]

    @property
    def lowest(self) -> float:
        return _REFERENCE[self.kind][0].first

    @property
    def highest(self) -> float:
        return _REFERENCE[self.kind][-1].last

    def millivolts(self, celsius: Floats) -> Floats:
        t = _within(celsius, self.lowest, self.highest)
        below, above = _REFERENCE[self.kind]
        return np.where(t <= below.last, below.millivolts(t), above.millivolts(t))

    def celsius(self, millivolts: Floats) -> Floats:
        first, last = self.millivolts(np.array([self.lowest, self.highest]))
        millivolts = _within(millivolts, first, last)
        below, above = _REFERENCE[self.kind]
        joint = below.millivolts(np.array(below.last))
        celsius = np.full_like(millivolts, np.nan)
        for piece, here in ((below, millivolts <= joint), (above, millivolts > joint)):
            celsius[here] = _solved(piece, millivolts[here])
        return celsius


def _solved(piece: _Piece, millivolts: Floats) -> Floats:
    """The temperatures at which a piece gives these voltages: from a table, then by Newton's steps.

    The table starts within 2e-4 degC. One step leaves 2e-9 degC at the most, the second no more than rounding.
    """
    grid = np.linspace(piece.first, piece.last, 4000)
    celsius = np.interp(millivolts, piece.millivolts(grid), grid)
    for _ in range(2):
        celsius -= (piece.millivolts(celsius) - millivolts) / piece.slope(celsius)
    return np.clip(celsius, piece.first, piece.last)
