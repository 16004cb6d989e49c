"""Preferred values of resistors (IEC 60063, series E24)."""

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
E24_VALUES = tuple(float(value * 10**decade) for decade in range(6) for value in E24)  # 10 ohm to 9.1 Mohm


def nearest_above(ohms: float) -> float:
    """The smallest of them that is no less than `ohms`; the largest where none is."""
    return next((value for value in E24_VALUES if value >= ohms * (1 - 1e-9)), E24_VALUES[-1])
