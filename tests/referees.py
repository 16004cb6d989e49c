"""Reference libraries that take a second or more to load: loaded when a test first asks, not by every process that collects the tests."""

from typing import Any


def PropsSI(*what: Any) -> float:
    """CoolProp's: a property of a fluid, in SI units."""
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI(*what))


def lightness_CIE1976(luminance: Any) -> Any:
    """colour-science's: L* of a luminance in per cent of white."""
    from colour.colorimetry import lightness_CIE1976

    return lightness_CIE1976(luminance)


def luminance_CIE1976(lightness: Any) -> Any:
    """colour-science's: the other way round."""
    from colour.colorimetry import luminance_CIE1976

    return luminance_CIE1976(lightness)
