"""The density of fuel at a temperature, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Density:
    value: float  # kg/l
    u: float  # standard uncertainty, kg/l


def named(fuel: str, celsius: float, celsius_u: float = 1.0) -> Density:
    """Density of a fuel by its name at a temperature. ValueError: not a fuel known here, or too hot or cold."""
    raise NotImplementedError


def measured(
    density: float, u: float, at: float, celsius: float, fuel: str, celsius_u: float = 1.0
) -> Density:
    """A density (kg/l) measured at one temperature, taken to another by the fuel's expansion."""
    raise NotImplementedError
