"""From a level to the light that looks like it: CIE 1976 lightness, or a gamma."""

import numpy as np

from gaugelight.circuits import Floats
from gaugelight.lights import Lamp

BEND = 216.0 / 24389.0  # relative luminance below which lightness is a straight line
SLOPE = 24389.0 / 27.0  # of that line, for lightness 0..100


def luminance(lightness: Floats) -> Floats:
    """Relative luminance 0..1 of a lightness L* 0..100 (CIE 15, CIE 1976 L*a*b*)."""
    return np.where(lightness > 8.0, ((lightness + 16.0) / 116.0) ** 3, lightness / SLOPE)


def lightness(luminance: Floats) -> Floats:
    """The other way round."""
    return np.where(luminance > BEND, 116.0 * np.cbrt(luminance) - 16.0, luminance * SLOPE)


def light_of_level(lamp: Lamp, levels: Floats) -> Floats:
    """The share of the time, 0..1, that a lamp should burn at each level, 0..100 per cent.

    Nothing below its click-off; its floor from there to where it is switched on, so that coming on is no step; and then to 100
    per cent evenly, to the eye, to its ceiling.
    """
    floor, ceiling = float(lamp.floor) / 100, float(lamp.ceiling) / 100
    start = float(lamp.on_above)
    along = np.clip((levels - start) / (100.0 - start), 0.0, 1.0)
    if lamp.curve.gamma is None:
        ends = lightness(np.array([floor, ceiling]))
        share = luminance(ends[0] + (ends[1] - ends[0]) * along)
    else:
        root = 1 / lamp.curve.gamma
        share = (floor**root + (ceiling**root - floor**root) * along) ** lamp.curve.gamma
    return np.where((levels < float(lamp.off_below)) | (levels <= 0), 0.0, share)


def per_lightness(share: Floats) -> Floats:
    """How much of a share of the time, 0..1, is one L* there."""
    return np.where(share > BEND, 3.0 * np.cbrt(share) ** 2 / 116.0, 1 / SLOPE)
