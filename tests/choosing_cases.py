"""What several tests of `gaugelight choose` ask for, each chosen once."""

from dataclasses import replace
from functools import cache

from gaugelight.choosing.asked import Asked
from gaugelight.choosing.candidates import Choice, choose
from gaugelight.wires import Wire

FLOAT = Asked("left fuel", "ohm", "US gal", 2.25, sender="240-33 ohm", range=(0, 18), tank=True)
LOW_FLOAT = replace(FLOAT, sender="0-90 ohm")
OIL = Asked("oil pressure", "ohm", "psi", 20, sender="10-180 ohm", range=(0, 80), pressure="gauge")
BEAD = Asked(
    "coolant temperature", "ohm", "degC", 110,
    sender={"b": "3950 K", "resistance": "10 kohm", "at": "25 degC"}, range=(40, 120),
)  # fmt: skip
PLATINUM = Asked("oil temperature", "ohm", "degF", 230, sender="Pt1000", range=(40, 280), resistors=0.001)
LOOP = Asked("hydraulic", "mA", "psi", 1312, sender="4-20 mA", range=(0, 1500), pressure="gauge")
VOLTS = Asked("coolant pressure", "V", "psi", 22, sender="0.5-4.5 V", range=(0, 30), pressure="gauge")
BUS = Asked("bus", "V", "V", 12, range=(8, 16))
SMALL_VOLTS = Asked("light", "V", "V", 1, sender="0.2-2.4 V", range=(0, 3))

GRID: dict[str, Asked] = {
    "float 240-33, 16 bits": FLOAT,
    "float 240-33, on-chip": replace(FLOAT, converter="on-chip"),
    "float 240-33, 2.5 V rail": replace(FLOAT, rail=2.5),
    "float 0-90, 16 bits": LOW_FLOAT,
    "float 0-90, on-chip": replace(LOW_FLOAT, converter="on-chip"),
    "float 0-90, the rail's regulator on the bus": replace(LOW_FLOAT, feed=14.0),
    "float 0-90, no tank, a stated wire": replace(
        LOW_FLOAT, tank=False, wire=Wire(22, 4.0, True), wire_stated=True
    ),
    "oil pressure, 16 bits": OIL,
    "thermistor, 16 bits": BEAD,
    "thermistor, on-chip": replace(BEAD, converter="on-chip"),
    "Pt1000, 16 bits": PLATINUM,
    "loop, 16 bits": LOOP,
    "loop, on-chip": replace(LOOP, converter="on-chip"),
    "loop of three wires": replace(LOOP, loop_wires=3),
    "0.5-4.5 V, 16 bits": VOLTS,
    "0.5-4.5 V, on-chip": replace(VOLTS, converter="on-chip"),
    "0.5-4.5 V of 5 V, 16 bits": replace(VOLTS, ratiometric=5.0),
    "0.5-4.5 V of 5 V, on-chip": replace(VOLTS, ratiometric=5.0, converter="on-chip"),
    "bus, 16 bits": BUS,
    "a voltage that a pin takes": SMALL_VOLTS,
}


@cache
def chosen(name: str) -> Choice:
    return choose(GRID[name], proposed=2)
