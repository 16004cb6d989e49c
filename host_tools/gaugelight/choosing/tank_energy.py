"""What the box can send into a fuel tank through a sender's wire: in order, and with any one of its parts failed.

The sender is shorted, its wire counts for nothing; the resistors that limit are at the lower end of their tolerance. Parts around the circuit are those of the reference box: a regulator for the rail,
22 nF at the connector, 100 nF at the pin, a clamp in the middle of the protection resistor (of a divider before it). Ohm's law; half
C V squared; half L I squared. What a capacitor holds counts whole, whatever resistor it must go through.

Nothing here limits what reaches the sender's own wire from elsewhere: see CHAFED.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from gaugelight.choosing.asked import BUS, Asked
from gaugelight.choosing.circuit_drawn import first_protection
from gaugelight.circuits import Circuit, Divider, PullUp, Shunt, meeting
from gaugelight.converters import CHIP_SUPPLY

# AC 25.981-1 (guidance for transport aircraft; the four figures are from memory: read the text)
NORMAL_MA, FAILED_MA = 25.0, 50.0  # RMS
NORMAL_UJ, FAILED_UJ = 50.0, 200.0
SOURCE = "AC 25.981-1 (guidance for transport aircraft, its figures from memory: read the text)"
CHAFED = (
    "No circuit in the box limits {:g} V that chafes onto the sender's own wire: that current never passes the box{}. "
    "What protects there is routing: a bundle of its own away from anything at bus voltage, a guard pin on each side in the connector, "
    "whole insulation. Work on it with the tank empty and vented, bonded, master off."
)

RAIL_HIGH = 1.02  # of its nominal voltage: a regulator's upper end (typical)
CLAMP_RAIL = CHIP_SUPPLY + 0.7  # volts: a diode above the chips' supply
BUS_FROM = 10.0  # volts: a feed of more than that is the bus
BUS_HIGH = 16.0  # volts, at which a bus of 14 may last; of 28 it is 32
AT_CONNECTOR, AT_PIN, AT_RAIL = 22e-9, 100e-9, 10e-6  # farad, as in the reference box
QUARTET_SHORTED = 2 / 3  # of its resistance, with one of the four shorted: one beside two


@dataclass(frozen=True)
class TankCase:
    """milliamperes: steady, through the shorted sender. microjoules: what is stored and can come at once."""

    name: str
    milliamperes: float
    microjoules: float

    @property
    def normal(self) -> bool:
        return self.name == NORMAL

    @property
    def within(self) -> bool:
        most = (NORMAL_MA, NORMAL_UJ) if self.normal else (FAILED_MA, FAILED_UJ)
        return self.milliamperes <= most[0] and self.microjoules <= most[1]


NORMAL = "as built"
RESISTOR = "its resistor shorted"
ONE_OF_FOUR = "one of the four resistors shorted"
SERIES = "the series resistor shorted"
REGULATOR = "the rail's regulator passing its input"
CLAMP = "the pin's clamp shorted to its rail"
CHIP = "the converter's input shorted to its supply"
PROTECTION = "the protection resistor shorted"
PIN_CAPACITOR = "the pin's capacitor shorted"


@dataclass(frozen=True)
class _Parts:
    """As they stand in one case. Volts and ohm; infinite where nothing stands. top: from the connector to the junction, of a divider;
    to_clamp, to_pin: from the junction, from the clamp."""

    rail: float
    resistor: float
    series: float
    top: float
    to_clamp: float
    to_pin: float
    clamp: float = math.inf  # ohm to the clamp rail
    chip: float = math.inf  # ohm to the converter's supply
    grounded: float = math.inf  # ohm over the pin's capacitor
    below: float = (
        0.0  # volts that the sender's ground lies below the box's, at worst: as much more drives the current
    )

    @property
    def sources(self) -> tuple[tuple[float, float], ...]:
        """Each voltage behind the resistance to the junction."""
        if math.isinf(self.clamp):
            pin = min(self.chip, self.grounded)
            volts = 0.0 if self.grounded <= self.chip else CHIP_SUPPLY
            other = volts, self.top + self.to_clamp + self.to_pin + pin
        else:
            other = CLAMP_RAIL, self.top + self.to_clamp + self.clamp
        return (self.rail + self.below, self.resistor), (other[0] + self.below, other[1])

    @property
    def amperes(self) -> float:
        """Through the short at the end of the wire."""
        given = [(volts, ohms) for volts, ohms in self.sources if not math.isinf(ohms)]
        if self.series == 0:
            return sum(volts / ohms if ohms else math.inf for volts, ohms in given if volts)
        if not given:
            return 0.0
        return meeting((*given, (0.0, self.series))) / self.series

    @property
    def open_volts(self) -> float:
        """At the connector, before the short."""
        given = [(volts, ohms) for volts, ohms in self.sources if not math.isinf(ohms)]
        return meeting(tuple(given)) if given else 0.0


def _parts_of(circuit: Circuit, asked: Asked) -> _Parts:
    """The resistors that limit the current at the lower end of their tolerance, the sender's ground at its worst."""
    below = abs(asked.ground_offset) if asked.wire.airframe_return else 0.0
    least = 1 - asked.resistors
    to_clamp = first_protection(circuit)
    to_pin = float(getattr(circuit, "protection", 0.0)) - to_clamp
    if isinstance(circuit, PullUp):
        resistor, series = circuit.resistor * least, circuit.series * least
        return _Parts(asked.rail * RAIL_HIGH, resistor, series, 0.0, to_clamp, to_pin, below=below)
    top = circuit.top * least if isinstance(circuit, Divider) else 0.0
    return _Parts(0.0, math.inf, 0.0, top, to_clamp, to_pin, below=below)


def feed_high(asked: Asked) -> float:
    """What a rail's regulator passes at most when it fails; of a bus the highest that may last."""
    return max(asked.feed, bus_high(asked)) if asked.feed > BUS_FROM else asked.feed


def bus_high(asked: Asked) -> float:
    """Volts at which the bus may last."""
    return BUS_HIGH * asked.bus / BUS


def tank_cases(circuit: Circuit, asked: Asked, quartet: bool) -> tuple[TankCase, ...]:
    """The box as built, and with each of its parts failed by itself. asked: for the rail, what feeds it, the resistors' tolerance, the grounds, and the wire's inductance.

    None for a loop, whose current comes from elsewhere; of a voltage only what the box sends up its signal wire.
    """
    if isinstance(circuit, Shunt):
        return ()
    whole = _parts_of(circuit, asked)
    failed: dict[str, _Parts] = {}
    if isinstance(circuit, PullUp):
        if quartet:
            failed[ONE_OF_FOUR] = replace(whole, resistor=whole.resistor * QUARTET_SHORTED)
        else:
            failed[RESISTOR] = replace(whole, resistor=0.0)
        if circuit.series:
            failed[SERIES] = replace(whole, series=0.0)
        failed[REGULATOR] = replace(whole, rail=max(feed_high(asked), whole.rail))
    failed[CLAMP] = replace(whole, clamp=0.0)
    failed[CHIP] = replace(whole, chip=0.0)
    failed[PROTECTION] = replace(whole, to_clamp=0.0, to_pin=whole.to_pin if whole.to_clamp else 0.0)
    failed[PIN_CAPACITOR] = replace(whole, grounded=0.0)
    cases = {NORMAL: whole} | failed
    return tuple(
        TankCase(name, 1000 * parts.amperes, 1e6 * _joules(parts, asked)) for name, parts in cases.items()
    )


def _joules(parts: _Parts, asked: Asked) -> float:
    """Of the capacitors and of the wire's inductance. The rail's capacitor counts where no resistor is left before it."""
    held = 0.5 * (AT_CONNECTOR + AT_PIN) * parts.open_volts**2
    if parts.resistor + parts.series == 0:
        held += 0.5 * AT_RAIL * parts.rail**2
    amperes = parts.amperes
    return held + (0.5 * asked.wire.henries * amperes**2 if math.isfinite(amperes) else 0.0)


def worst_failed(cases: tuple[TankCase, ...]) -> TankCase:
    """The failure that sends the most current."""
    return max(
        (case for case in cases if not case.normal), key=lambda case: case.milliamperes, default=cases[0]
    )


def breaches(cases: tuple[TankCase, ...]) -> tuple[str, ...]:
    """What goes beyond the guidance, in words."""
    found = []
    for case in cases:
        most_ma, most_uj = (NORMAL_MA, NORMAL_UJ) if case.normal else (FAILED_MA, FAILED_UJ)
        if case.milliamperes > most_ma:
            amount = (
                "all that the rail can give"
                if math.isinf(case.milliamperes)
                else f"{case.milliamperes:.3g} mA"
            )
            found.append(f"{case.name}: {amount} into the tank, more than {most_ma:g} mA")
        if case.microjoules > most_uj:
            found.append(f"{case.name}: {case.microjoules:.3g} uJ into the tank, more than {most_uj:g} uJ")
    return tuple(found)


def chafed(ohms: float | None, bus: float = BUS) -> str:
    """The statement on the bus's volts, for a sender of so many ohm where it matters; None: not a resistance."""
    if ohms is None or ohms < 1:
        return CHAFED.format(bus, "")
    return CHAFED.format(bus, f" ({bus:g} V over {ohms:.3g} ohm: {bus / ohms:.2g} A)")
