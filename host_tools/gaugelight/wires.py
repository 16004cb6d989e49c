"""The wire to a lamp: its resistance, what is lost in it, and the fuse that protects it.

Solid round copper by its formula (ASTM B258), and the stranded, tin-plated wire of aircraft by its table, which has up to 27 %
more resistance. Which of the two lies in the aircraft is not known: a run is reckoned with the worse.
"""

import math
from dataclasses import dataclass

FOOT = 0.3048  # m
COPPER = 0.017241  # ohm mm2/m, annealed, at 20 degC (International Annealed Copper Standard)
PER_KELVIN = 0.00393  # of the resistance at 20 degC (the same)

# FAA AC 43.13-1B, table 11-9: ohm per 1000 ft at 20 degC, the most that a tin-plated conductor may have
STRANDED = {10: 1.26, 12: 2.02, 14: 3.06, 16: 4.81, 18: 6.23, 20: 9.88, 22: 16.20, 24: 28.40}
GAUGES = tuple(STRANDED)

# FAA AC 43.13-1B, table 11-3, column of the fuses. AWG 24 is not in it: 2.5 A is the current that table 11-9 allows such a wire in a
# bundle, which paragraph 11-48 wants the protector to stay within
FUSES = {10: 30.0, 12: 20.0, 14: 15.0, 16: 10.0, 18: 10.0, 20: 5.0, 22: 5.0, 24: 2.5}

STURDY = 22  # AWG (common practice, no source)
PAIR_HENRIES = 0.6e-6  # a metre
AIRFRAME_HENRIES = 1.5e-6
CONTINUOUS_DROP = {14: 0.5, 28: 1.0}  # volts, by the nominal bus: FAA AC 43.13-1B, table 11-6 (from memory)
OWN_DROP = 0.05  # of the bus's voltage: this project's own


def _check(gauge: int) -> None:
    if gauge not in GAUGES:
        raise ValueError(f"AWG {gauge} is no aircraft wire; there are {', '.join(map(str, GAUGES))}")


def diameter(gauge: int) -> float:
    """Of the solid wire, in mm (ASTM B258). ValueError where the gauge is none of GAUGES."""
    _check(gauge)
    return float(25.4 * 0.005 * 92 ** ((36 - gauge) / 39))


def area(gauge: int) -> float:
    """Of the solid wire, in mm2."""
    return math.pi / 4 * diameter(gauge) ** 2


def ohms_per_metre(gauge: int, celsius: float = 20.0) -> float:
    """Of the solid wire, of annealed copper."""
    return COPPER / area(gauge) * (1 + PER_KELVIN * (celsius - 20))


def thinnest(fuse: float) -> int | None:
    """The thinnest gauge that a fuse of so many amperes protects; none thinner than AWG 22, which handling breaks. None: not even the
    thickest."""
    return max((gauge for gauge, most in FUSES.items() if most >= fuse and gauge <= STURDY), default=None)


def longest(gauge: int, amperes: float, volts: float) -> float:
    """In metres, one way, with a wire back: where OWN_DROP of the bus's voltage is lost."""
    return OWN_DROP * volts / Wire(gauge, 1.0).drop(amperes)


def largest_fuse(gauge: int) -> float:
    """The largest fuse that protects a wire, in amperes. ValueError where the gauge is none of GAUGES."""
    _check(gauge)
    return FUSES[gauge]


@dataclass(frozen=True)
class Wire:
    """A run to a lamp. length: m, one way. airframe_return: the current comes back through the airframe, which counts as none."""

    gauge: int
    length: float
    airframe_return: bool = False

    def __post_init__(self) -> None:
        _check(self.gauge)
        if not self.length > 0:
            raise ValueError(f"a wire of {self.length:g} m is none")

    @property
    def henries(self) -> float:
        """Of the run: a twisted pair, mu0/pi acosh(1.5 mm/0.64 mm) a metre, or a wire somewhere along the airframe (typical)."""
        return self.length * (AIRFRAME_HENRIES if self.airframe_return else PAIR_HENRIES)

    @property
    def metres(self) -> float:
        """Of conductor, there and back."""
        return self.length if self.airframe_return else 2 * self.length

    def ohms(self, celsius: float = 20.0) -> float:
        """There and back."""
        stranded = STRANDED[self.gauge] / (1000 * FOOT) * (1 + PER_KELVIN * (celsius - 20))
        return self.metres * max(stranded, ohms_per_metre(self.gauge, celsius))

    def drop(self, amperes: float, celsius: float = 20.0) -> float:
        """In volts, there and back."""
        return amperes * self.ohms(celsius)

    def heat(self, amperes: float, celsius: float = 20.0) -> float:
        """In watts, by a direct current or the root mean square of another."""
        return amperes**2 * self.ohms(celsius)

    def heat_per_metre(self, amperes: float, celsius: float = 20.0) -> float:
        """In watts per metre of conductor."""
        return self.heat(amperes, celsius) / self.metres
