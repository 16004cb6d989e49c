"""What was poured in: the error that all pours share, and each pour's own."""

from __future__ import annotations

from dataclasses import dataclass

from gaugelight.calibration.density import Density


@dataclass(frozen=True)
class Pour:
    """Uncertainties are standard ones. common_share belongs to all pours of the session at once."""

    volume: float
    own_u: float
    common_share: float


def by_volume(volume: float, every: float, each: float) -> Pour:
    """every: share that all fillings of the can are off by; each: of one filling, in the unit of the volume; both standard."""
    raise NotImplementedError


def by_weight(mass: float, every: float, each: float, density: Density) -> Pour:
    """mass, each: kg; every: share by which the scale is off throughout. The volume is in litres."""
    raise NotImplementedError
