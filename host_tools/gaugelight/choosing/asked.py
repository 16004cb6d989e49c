"""What a circuit is wanted for: every answer, whether given as an option or to a question."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gaugelight import wires
from gaugelight.faults_shown import ALTITUDE_FEET, GROUND_OFFSET

ADS1115, ON_CHIP, EITHER = "ads1115", "on-chip", "either"
CONVERTERS = (ADS1115, ON_CHIP, EITHER)

# assumed where nothing is stated; all of them are said where they count
PROTECTION = {
    ADS1115: 9400.0,
    ON_CHIP: 4700.0,
}  # ohm, as in the reference box: a clamp in its middle, or behind it
TRANSMITTER_LEAST = (
    9.0  # volts at a 4-20 mA transmitter: typical of data sheets, from memory; they go from 7 to 12
)
LOOP_DROP = 0.7  # volts, of a diode against reversal in the loop's supply
BATTERY, CRANK = (
    10.5,
    6.0,
)  # volts: a battery that is dying; the dip of a starter (common practice, no source)
FEED = 5.0  # volts that feed the regulator of the sender rail, as in the reference box


@dataclass(frozen=True)
class Asked:
    """All that decides on a circuit.

    Of the sender, written as in the box file: `sender` with `range`, or `points`, or `series`; `unit`, `pressure`, `step`, `damping`,
    `tolerance`. `signal` is what it gives: "ohm", "mA", "V" or "mV". `matters`: the reading at which the error counts.

    tank              the sender sits in a fuel tank
    converter         "ads1115", "on-chip" or "either"
    rail              volts, nominally, of the rail that a pull-up hangs on
    feed              volts that the rail's regulator lives on, and passes when it fails
    ratiometric       volts that a voltage sender's output is a share of; None where it has a reference of its own
    resistors         tolerance of the circuit's, a share
    series_of         the IEC 60063 series they are taken from
    protection        ohm before the pin; None: as in the reference box
    wire              the run to the sender
    wire_stated       its length was given, and its resistance goes into the box file
    ground_offset     volts of the sender's ground above the box's, where it returns through the airframe
    loop_wires        2: the loop feeds the transmitter; 3: it has a supply wire of its own
    transmitter_least volts that it needs
    loop_drop         volts lost in the loop's supply (fuse, diode)
    battery, crank    volts of the bus: a battery that is dying, a starter's dip
    dissipation       mW that warm the sender of a temperature by a degree; None: by its kind
    """

    name: str
    signal: str
    unit: str
    matters: float
    sender: Any = None
    range: tuple[Any, Any] | None = None
    points: tuple[tuple[str, Any], ...] = ()
    series: tuple[tuple[tuple[str, Any], ...], ...] = ()
    pressure: str | None = None
    step: float | None = None
    damping: str | None = None
    tolerance: str | None = None
    tank: bool = False
    converter: str = ADS1115
    rail: float = 3.3
    feed: float = FEED
    ratiometric: float | None = None
    resistors: float = 0.01
    series_of: str = "E24"
    protection: float | None = None
    wire: wires.Wire = wires.Wire(22, 5.0)
    wire_stated: bool = False
    ground_offset: float = GROUND_OFFSET
    loop_wires: int = 2
    transmitter_least: float = TRANSMITTER_LEAST
    loop_drop: float = LOOP_DROP
    battery: float = BATTERY
    crank: float = CRANK
    altitude_ft: float = ALTITUDE_FEET
    dissipation: float | None = None

    @property
    def in_fuel_units(self) -> bool:
        from gaugelight.boxfile import FUEL_UNITS

        return self.unit in FUEL_UNITS
