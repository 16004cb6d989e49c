"""A lamp's driver, a transistor that chops its current: how dim it can go, and what it turns into heat.

The current rises and falls in straight lines. A pulse as long as the rise only just reaches its full height, with a triangle's area;
a shorter one is lower, and how much lower depends on temperature and sample: below it the light is no longer what the duty says.
"""

import math
from dataclasses import dataclass, replace

from gaugelight.flicker import region
from gaugelight.spectrum import VOICE


@dataclass(frozen=True)
class Driver:
    """rise, fall: seconds from 0 to 100 % of the lamp's current and back. on_resistance: ohm, warm."""

    rise: float
    fall: float
    on_resistance: float

    def __post_init__(self) -> None:
        if not (self.rise > 0 and self.fall > 0 and self.on_resistance >= 0):
            raise ValueError("a driver's rise and fall take time, and its resistance is not negative")

    @property
    def shortest_pulse(self) -> float:
        """Of the pin, in seconds, that the current still follows to its full height."""
        return self.rise

    @property
    def sure_pulse(self) -> float:
        """The same that every sample of the transistor makes something of: hardware_notes/lighting.md, 200 ns of the reference box's."""
        return 4 * self.rise

    def lowest_duty(self, hz: float) -> float:
        """Of the pin, a share of the time: the shortest pulse at a frequency in hertz."""
        return self.shortest_pulse * hz

    def lowest_light(self, hz: float) -> float:
        """A share of the full light: the area of the shortest pulse."""
        return (self.rise + self.fall) / 2 * hz

    def honest_ratio(self, hz: float) -> float:
        """Brightest to dimmest."""
        return 1 / self.lowest_light(hz)

    def conduction_loss(self, amperes: float, duty: float) -> float:
        """In watts; duty: 0..1."""
        return amperes**2 * self.on_resistance * duty

    def switching_loss(self, volts: float, amperes: float, hz: float) -> float:
        """In watts, V I t / 2 an edge, as with a load that holds its current until the voltage has changed.

        Mohan, Undeland, Robbins, Power Electronics, generic switch (from memory). A load that is all resistor makes a third of it.
        """
        return volts * amperes * (self.rise + self.fall) / 2 * hz


# measured in hardware_notes/netlists/lamp_driver.cir at the end of 0.1 m of wire, from 10 to 90 %, over 0.8
REFERENCE = Driver(46e-9, 40e-9, 0.05)  # the reference box's: a pin at 4 mA, 22 ohm
REFERENCE_TAKES = 2.0  # W of heat, Q101 of hardware_notes/parts.csv
SLOW = Driver(1.9e-6, 2.06e-6, 0.05)  # the same with 8.2 kohm
GATE_DRIVER = Driver(10e-9, 5e-9, 0.05)  # the same behind a gate driver


def behind_wire(driver: Driver, henries: float, ohms: float, amperes: float, drop: float) -> Driver:
    """The edges at the far end of a wire; ohms: of lamp, wire and transistor, amperes: at full, drop: V of the LEDs.

    The wire's inductance lets the current rise by an exponential, taken for a straight edge of 2.2 L/R, and gives its current back
    against what the LEDs drop and half of what the resistors do; edges add as independent ones do, by their squares. Against
    lamp_driver.cir within an eighth.
    """
    rise = math.hypot(driver.rise, 2.2 * henries / ohms)
    fall = math.hypot(driver.fall, henries * amperes / (drop + amperes * ohms / 2))
    return replace(driver, rise=rise, fall=fall)


def advice(
    driver: Driver, hz: float, wanted: float, gate_driver: Driver = GATE_DRIVER, wired: bool = False
) -> tuple[str, ...]:
    """What would make the honest ratio of brightest to dimmest as large as wanted; empty where it is. wired: edges behind a wire."""
    have = driver.honest_ratio(hz)
    if have >= wanted:
        return ()
    said = []
    lower = hz * have / wanted
    if region(lower, 100) != "risky":
        price = "; its tones lie where speech is" if lower < VOICE else ""
        said.append(f"a lower frequency: {lower:.0f} Hz would do ({region(lower, 100)}, IEEE 1789{price})")
    faster = gate_driver.honest_ratio(hz)
    if faster > 1.2 * have:
        enough = "would do" if faster >= wanted else "helps"
        said.append(
            f"a gate driver: edges of {gate_driver.rise * 1e9:.0f} ns make it {faster:.0f} : 1, which {enough}"
        )
    elif wired:
        said.append(
            "a shorter wire, twisted, or the transistor beside the lamp: the wire's inductance makes the rise"
        )
    said.append(
        f"current and pulse width together: less current below the shortest pulse of {driver.shortest_pulse * 1e9:.0f} ns, "
        f"{wanted / have:.3g} times less for {wanted:.0f} : 1"
    )
    return tuple(said)
