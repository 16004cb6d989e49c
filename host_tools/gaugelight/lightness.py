"""From a knob's position to the light that looks like it: CIE 1976 lightness, or a gamma."""

import numpy as np

from gaugelight.box_values import LampCurve
from gaugelight.circuits import Floats

KNOB_END = 0.01  # of the travel at each end that counts as off and as full


def luminance(lightness: Floats) -> Floats:
    """Relative luminance 0..1 of a lightness L* 0..100 (CIE 15, CIE 1976 L*a*b*)."""
    return np.where(lightness > 8.0, ((lightness + 16.0) / 116.0) ** 3, lightness * 27.0 / 24389.0)


def knob_count(percent: float) -> int:
    """The knob's count at a per cent of its live travel."""
    return round(65535 * (KNOB_END + percent / 100 * (1 - 2 * KNOB_END)))


def duty_of_knob(
    curve: LampCurve, counts: "np.ndarray[tuple[int], np.dtype[np.int64]]"
) -> tuple[Floats, Floats]:
    """Duty, 0..65535, at each knob count, and how much of it one L* is there."""
    low, high = knob_count(0), knob_count(100)
    level = np.clip((counts - low) / (high - low), 0.0, 1.0)
    duty = luminance(level * 100.0) if curve.gamma is None else level**curve.gamma
    lightness = np.where(duty > 216.0 / 24389.0, 116.0 * np.cbrt(duty) - 16.0, duty * 24389.0 / 27.0)
    per_lightness = np.where(lightness > 8.0, 3.0 * ((lightness + 16.0) / 116.0) ** 2 / 116.0, 27.0 / 24389.0)
    return duty * 65535.0, per_lightness * 65535.0
