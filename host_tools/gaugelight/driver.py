"""A lamp's driver, a transistor that chops its current: how dim it can go, and what it turns into heat.

The current rises and falls in straight lines. A pulse as long as the rise only just reaches its full height, with a triangle's area;
a shorter one is lower, and how much lower depends on temperature and sample: below it the light is no longer what the duty says.
"""

from dataclasses import dataclass

from gaugelight.flicker import region


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


REFERENCE = Driver(40e-9, 40e-9, 0.05)  # the reference box's
SLOW = Driver(2e-6, 2e-6, 0.05)  # the same transistor, weakly driven
GATE_DRIVER = Driver(15e-9, 15e-9, 0.05)  # the same behind a gate driver


def advice(driver: Driver, hz: float, wanted: float) -> tuple[str, ...]:
    """What would make the honest ratio of brightest to dimmest as large as wanted; empty where it is."""
    have = driver.honest_ratio(hz)
    if have >= wanted:
        return ()
    said = []
    lower = hz * have / wanted
    if region(lower, 100) != "risky":
        said.append(f"a lower frequency: {lower:.3g} Hz would do ({region(lower, 100)}, IEEE 1789)")
    faster = GATE_DRIVER.honest_ratio(hz)
    if faster > have:
        enough = "would do" if faster >= wanted else "helps"
        said.append(
            f"a gate driver: edges of {GATE_DRIVER.rise * 1e9:g} ns make it {faster:.0f} : 1, which {enough}"
        )
    said.append(
        f"current and pulse width together: less current below the shortest pulse of {driver.shortest_pulse * 1e9:g} ns, "
        f"{wanted / have:.3g} times less for {wanted:.0f} : 1"
    )
    return tuple(said)
