"""The standard atmosphere of ISO 2533:1975, which is the ICAO's: the air pressure at a pressure altitude.

A pressure altitude is a geopotential altitude. From -2000 to 11,000 m the temperature falls by 6.5 K a km, from there to
20,000 m it stays; outside the pressure is nan.
"""

import numpy as np

from gaugelight.circuits import Floats
from gaugelight.quantity import UNITS

LOWEST_M, TROPOPAUSE_M, HIGHEST_M = -2000.0, 11_000.0, 20_000.0
SEA_LEVEL_HPA = 1013.25
SEA_LEVEL_K = 288.15
LAPSE = 0.0065  # K/m
GRAVITY = 9.80665  # m/s^2
GAS_CONSTANT = 287.05287  # J/(kg K), of dry air
M_PER_FOOT = 0.3048
HPA_PER_PSI = float(UNITS["psi"][1] * 10)


def pressure_hpa(geopotential_m: Floats) -> Floats:
    """The air pressure in hPa at a geopotential altitude in m, -2000 to 20,000; nan elsewhere."""
    falling = np.clip(geopotential_m, LOWEST_M, TROPOPAUSE_M)
    staying = np.clip(geopotential_m, TROPOPAUSE_M, HIGHEST_M) - TROPOPAUSE_M
    tropopause_k = SEA_LEVEL_K - LAPSE * TROPOPAUSE_M
    pressure = SEA_LEVEL_HPA * (1 - LAPSE * falling / SEA_LEVEL_K) ** (GRAVITY / (GAS_CONSTANT * LAPSE))
    pressure = pressure * np.exp(-GRAVITY * staying / (GAS_CONSTANT * tropopause_k))
    return np.where((geopotential_m >= LOWEST_M) & (geopotential_m <= HIGHEST_M), pressure, np.nan)


def pressure_psi_at_feet(pressure_altitude_ft: float) -> float:
    """The air pressure in psi (absolute) at a pressure altitude in ft: what the altimeter shows when set to 1013.25 hPa."""
    return float(pressure_hpa(np.array(pressure_altitude_ft * M_PER_FOOT))) / HPA_PER_PSI


def sealed_error_psi(pressure_altitude_ft: float) -> float:
    """What a sealed gauge sender reads more than a gauge one, in psi, at a pressure altitude in ft: less than 0 when aloft.

    The sealed one compares with the standard sea level pressure shut up in it, the gauge one with the air around it. In an
    open vessel at 8,000 ft the gauge one reads 0 psi and the sealed one -3.78. nan outside -6,561 to 65,616 ft.
    """
    return pressure_psi_at_feet(pressure_altitude_ft) - SEA_LEVEL_HPA / HPA_PER_PSI
