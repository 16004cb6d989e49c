"""What was poured in: the error that all pours share, and each pour's own."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelight.calibration.density import Density

# A scale reads less by the air that the fuel displaces: weight in air = volume * (density - 0.0011 kg/l), as the petroleum measurement
# tables have it (ASTM D1250-80, table 56; from memory). The scale was set with brass or steel, which displaces air too.
AIR = 0.0011  # kg/l


@dataclass(frozen=True)
class Pour:
    """Uncertainties are standard ones."""

    volume: float
    own_u: float  # in the unit of the volume
    common_share: float  # of the volume; one and the same error in all pours of a session


def by_volume(volume: float, every: float, each: float) -> Pour:
    """every: share that all fillings of the can are off by; each: of one filling, in the unit of the volume; both standard."""
    return Pour(volume, each, every)


def by_weight(mass: float, every: float, each: float, density: Density) -> Pour:
    """mass, each: kg on a scale; every: share by which it is off throughout, standard. The volume is in litres.

    The density's error is common too: all pours are of one fuel.
    """
    heavy = density.value - AIR
    return Pour(mass / heavy, each / heavy, math.hypot(every, density.u / heavy))
