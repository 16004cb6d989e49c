"""Circuits, exactly: from a signal at the connector to the voltage on a pin, and back.

Signals are in ohm, mA, V or mV. `supply` is the nominal voltage of the rail a circuit hangs on, which only a pull-up needs;
`load` the input resistance of the converter, in ohm. Every law rises with the signal, and with a rail: a voltage on the pin
is given with the rail at its nominal voltage. Ohm's law throughout; ngspice is its referee.

protection  a resistor between the circuit and the pin, with the clamp and the capacitor
wire        the known resistance of the wire to the sender, there and back
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gaugebox import measure

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
Faults = tuple[int, int, int, int]

REFERENCE = "reference"  # in the place of a rail: the on-chip converter's own reference
MOST_OHMS = 1e12  # as good as an open wire
ASSUMED_TOLERANCE = 0.01  # of resistors, where none is stated


def beside(one: float, other: float) -> float:
    """Two resistances side by side."""
    return one if math.isinf(other) else one * other / (one + other)


class Circuit(Protocol):
    """unit: of the signal. faults: for far below, below, above, far above what the sender can give. rail: to which the ratio
    counts. tolerance: of its resistors, a share.
    """

    @property
    def unit(self) -> str: ...
    @property
    def faults(self) -> Faults: ...
    @property
    def rail(self) -> str | None: ...
    @property
    def tolerance(self) -> float | None: ...

    def pin(self, signal: Floats, supply: float, load: float) -> Floats: ...
    def signal(self, pin: Floats, supply: float, load: float) -> Floats: ...

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        """The voltage on the pin while something else drives the wire: `volts` behind `ohms`, which may be infinite."""
        ...


@dataclass(frozen=True)
class PullUp:
    """A sender to ground, a resistor (ohm) from it to a rail; `series` stands in the box between the two."""

    resistor: float
    rail: str | None
    series: float = 0.0
    wire: float = 0.0
    protection: float = 0.0
    tolerance: float | None = None
    unit = "ohm"
    faults = (measure.SHORT, measure.UNDER, measure.OVER, measure.OPEN)

    def pin(self, signal: Floats, supply: float, load: float) -> Floats:
        through = (
            1 / (signal + self.wire + self.series)
            if self.wire + self.series
            else 1 / np.maximum(signal, 1e-300)
        )
        lower = 1 / (through + 1 / (self.protection + load))
        return supply * lower / (lower + self.resistor) * load / (self.protection + load)

    def signal(self, pin: Floats, supply: float, load: float) -> Floats:
        junction = pin / supply * (self.protection + load) / load
        # currents at the junction: what comes through the resistor leaves through the sender and the converter
        through = (1 - junction) / self.resistor - junction / (self.protection + load)
        ohms = junction / np.maximum(through, 1e-300)
        return np.minimum(ohms - self.wire - self.series, MOST_OHMS)

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        ways = ((supply, self.resistor), (volts, self.series + ohms), (0.0, self.protection + load))
        return meeting(ways) * load / (self.protection + load)


@dataclass(frozen=True)
class Shunt:
    """A loop current through a resistor (ohm) to ground."""

    resistor: float
    protection: float = 0.0
    tolerance: float | None = None
    rail = None
    unit = "mA"
    faults = (measure.OPEN, measure.UNDER, measure.OVER, measure.SHORT)

    def _volts_per_milliampere(self, load: float) -> float:
        return beside(self.resistor, self.protection + load) * load / (self.protection + load) / 1000

    def pin(self, signal: Floats, supply: float, load: float) -> Floats:
        return signal * self._volts_per_milliampere(load)

    def signal(self, pin: Floats, supply: float, load: float) -> Floats:
        return pin / self._volts_per_milliampere(load)

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        ways = ((volts, ohms), (0.0, self.resistor), (0.0, self.protection + load))
        return meeting(ways) * load / (self.protection + load)


@dataclass(frozen=True)
class Divider:
    """A voltage over two resistors (ohm); the pin sits on the lower one. An open wire reads as nought volts.

    With a rail it is the ratio to that rail that counts, and the signal is the voltage there would be at its nominal one.
    """

    top: float
    bottom: float
    rail: str | None = None
    wire: float = 0.0
    protection: float = 0.0
    tolerance: float | None = None
    unit = "V"
    faults = (measure.OPEN, measure.UNDER, measure.OVER, measure.SHORT)

    def _share(self, load: float) -> float:
        lower = beside(self.bottom, self.protection + load)
        return lower / (self.wire + self.top + lower) * load / (self.protection + load)

    def pin(self, signal: Floats, supply: float, load: float) -> Floats:
        return signal * self._share(load)

    def signal(self, pin: Floats, supply: float, load: float) -> Floats:
        return pin / self._share(load)

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        ways = ((volts, self.top + ohms), (0.0, self.bottom), (0.0, self.protection + load))
        return meeting(ways) * load / (self.protection + load)


@dataclass(frozen=True)
class Direct:
    """A voltage straight on the pin; with a rail, as a divider with one. pull_down: from the connector to ground, tells an open wire."""

    rail: str | None = None
    wire: float = 0.0
    protection: float = 0.0
    pull_down: float | None = None
    tolerance = None
    unit = "V"

    @property
    def faults(self) -> tuple[int, int, int, int]:
        lowest = measure.SHORT if self.pull_down is None else measure.OPEN
        return lowest, measure.UNDER, measure.OVER, measure.OVER

    def _share(self, ohms: float, load: float) -> float:
        lower = beside(self.protection + load, self.pull_down or math.inf)
        return lower / (ohms + lower) * load / (self.protection + load)

    def pin(self, signal: Floats, supply: float, load: float) -> Floats:
        return signal * self._share(self.wire, load)

    def signal(self, pin: Floats, supply: float, load: float) -> Floats:
        return pin / self._share(self.wire, load)

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        return 0.0 if math.isinf(ohms) else volts * self._share(ohms, load)


@dataclass(frozen=True)
class Millivolt:
    """A small voltage between two converter inputs, such as a thermocouple's, each behind `protection`.

    A large resistor from the rail to its plus side and another to ground from its minus side hold it in the converter's range and
    drive an open wire to full scale.
    """

    wire: float = 0.0
    protection: float = 0.0
    rail = None
    tolerance = None
    unit = "mV"
    faults = (measure.UNDER, measure.UNDER, measure.OVER, measure.OPEN)

    def pin(self, signal: Floats, supply: float, load: float) -> Floats:
        return signal / 1000 * load / (self.wire + 2 * self.protection + load)

    def signal(self, pin: Floats, supply: float, load: float) -> Floats:
        return pin * 1000 * (self.wire + 2 * self.protection + load) / load

    def driven(self, volts: float, ohms: float, supply: float, load: float) -> float:
        return math.inf if math.isinf(ohms) else volts * load / (ohms + 2 * self.protection + load)


def meeting(ways: tuple[tuple[float, float], ...]) -> float:
    """The voltage where several ways meet, each a voltage behind a resistance (Millman's theorem)."""
    ways = tuple((volts, ohms) for volts, ohms in ways if not math.isinf(ohms))
    shorted = next((volts for volts, ohms in ways if ohms == 0), None)
    if shorted is not None:
        return shorted
    return sum(volts / ohms for volts, ohms in ways) / sum(1 / ohms for _, ohms in ways)


def known_wire(circuit: Circuit) -> float:
    """The stated resistance of the wire to the sender, in ohm."""
    return float(getattr(circuit, "wire", 0.0))
