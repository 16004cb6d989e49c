"""An aircraft with one thing wrong, for the trial: its input as a network of resistors and sources, solved node by node.

It shares nothing with what `wired` and `causes` predict: networks are solved as they stand here, faults are parts of them, and every part
lies somewhere within its tolerance. ngspice is its referee (tests/test_tracing_plant.py). The faults and their ranges are our own invention.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from gaugelight.boxfile import Box, Input
from gaugelight.circuits import REFERENCE, Direct, Divider, Millivolt, PullUp, Shunt
from gaugelight.laws import Itself, Thermocouple, celsius_of

OFF = 1e12  # ohm
WIRE = 1e-3
UNPOWERED = 1e6  # ohm between the supply terminals of such a sender, less than a meter has: our own
OUTPUT = 5.0  # ohm in the output of a sender that gives volts
CLIPS = 3.6  # volts, where a pin's protection clamps


class Network:
    """Nodes by name, "0" is the box's ground. Modified nodal analysis: resistors, voltage sources, current sources."""

    def __init__(self) -> None:
        self.names: dict[str, int] = {"0": -1}
        self.resistors: list[tuple[int, int, float]] = []
        self.sources: list[tuple[int, int, float]] = []
        self.currents: list[tuple[int, int, float]] = []

    def node(self, name: str) -> int:
        return self.names.setdefault(name, len(self.names) - 1)

    def resistor(self, a: str, b: str, ohms: float) -> None:
        self.resistors.append((self.node(a), self.node(b), max(ohms, 1e-6)))

    def source(self, plus: str, minus: str, volts: float) -> None:
        self.sources.append((self.node(plus), self.node(minus), volts))

    def current(self, out_of: str, into: str, amperes: float) -> None:
        self.currents.append((self.node(out_of), self.node(into), amperes))

    def solve(self) -> dict[str, float]:
        nodes = len(self.names) - 1
        size = nodes + len(self.sources)
        matrix, right = np.zeros((size, size)), np.zeros(size)
        for a, b, ohms in self.resistors:
            for x, y in ((a, b), (b, a)):
                if x >= 0:
                    matrix[x, x] += 1 / ohms
                    if y >= 0:
                        matrix[x, y] -= 1 / ohms
        for k, (a, b, volts) in enumerate(self.sources, nodes):
            for x, sign in ((a, 1.0), (b, -1.0)):
                if x >= 0:
                    matrix[x, k] += sign
                    matrix[k, x] += sign
            right[k] = volts
        for a, b, amperes in self.currents:
            if a >= 0:
                right[a] -= amperes
            if b >= 0:
                right[b] += amperes
        for x in range(nodes):
            matrix[x, x] += 1e-15  # what hangs on nothing is at 0 V
        solved = np.linalg.solve(matrix, right)
        return {name: 0.0 if x < 0 else float(solved[x]) for name, x in self.names.items()}


@dataclass
class Aircraft:
    """One input and what is wrong with it. level: what is truly there, a share; parts deviate by `off`, shares drawn within tolerances."""

    box: Box
    one: Input
    level: float
    bus: float
    cold: float  # degC
    off: dict[str, float]
    floats: list[tuple[list[float], list[float]]]
    tolerance: float = 0.0  # of the sender: what it deviates by, a share of its travel
    # --- what may be wrong; ohm, volts, mA, shares ---
    wire: float = 0.0
    back: float = 0.0
    leak: float = OFF
    chafe: float = OFF  # to the bus
    plus: float = OFF  # to the sender's supply
    offset: float = 0.0
    supply_wire: float = 0.0
    supply: float | None = None  # volts of a loop's supply; None: the bus
    stuck: float | None = None  # a place
    stops: tuple[float, float] = (-math.inf, math.inf)  # places between which its float moves
    stuck_float: tuple[int, float] | None = None  # which of two, at how many ohms
    float_stops: tuple[int, float, float] | None = None  # which of two, the ohms between which it moves
    ohms: float | None = None  # of a sender that is not what it was
    ohms_scale: float = 1.0
    worn: tuple[float, float, float] | None = None  # place, width, ohms more there
    standard: tuple[float, float] | None = None  # another sender: signal at empty, at full
    range_scale: float = 1.0
    milliamperes: float | None = None
    volts: float | None = None
    volts_scale: float = 1.0
    own_ohms: float = 10.0  # of a couple and its wires
    passes: float = 1.0  # share of a couple's or a current shunt's voltage that its wires bring to the box
    other_couple: bool = False
    around: bool = False
    shorted: bool = False
    no_ground: float | None = None  # share of its supply that a sender without its ground puts out
    part: dict[str, float] = field(default_factory=dict)  # of the box: shares of nominal
    rail: float | None = None  # share of nominal
    cut: bool = False
    silent: bool = False
    jumps: bool = False
    draw: float = 5.0
    least: float = 9.0  # volts that a transmitter needs
    starved: float = 1e5  # ohm of one that has less
    drives: float = 0.01  # ampere, at most, that an output sends or takes: an amplifier's short circuit

    # --- the sender ---

    def _place(self, level: float) -> float:
        return min(max(level, self.stops[0]), self.stops[1]) if self.stuck is None else self.stuck

    def _law(self, level: float) -> float:
        """What a good sender gives there, with what it deviates by."""
        low, high = self.one.law.span
        at = level + self.tolerance
        inside = min(max(at, 0.0), 1.0)
        reading = low + inside * (high - low)
        signal = self._whole(reading)
        if at != inside:  # a float's track goes on a little beyond its marks
            step = 0.002 * (high - low) * (1 if inside == 0 else -1)
            signal -= (self._whole(reading + step) - signal) / abs(step) * abs(at - inside) * (high - low)
        return signal

    def _whole(self, reading: float) -> float:
        law = self.one.law
        signal = float(law.signal(np.array([reading]))[0])
        if isinstance(law, Thermocouple):
            signal -= float(law.cold_millivolts(np.array([self.cold]))[0])
        return signal

    def float_ohms(self, which: int, level: float) -> float:
        if self.stuck_float is not None and self.stuck_float[0] == which:
            return self.stuck_float[1]
        low, high = self.one.law.span
        level = 1 - level if self.around else level
        readings, ohms = self.floats[which]
        found = float(np.interp(low + (level + self.tolerance) * (high - low), readings, ohms))
        if self.float_stops is not None and self.float_stops[0] == which:
            return min(max(found, self.float_stops[1]), self.float_stops[2])
        return found

    def sender_ohms(self, level: float) -> float:
        if self.ohms is not None:
            return self.ohms
        worn = self.worn is not None and abs(level - self.worn[0]) < self.worn[1] / 2
        return self._track_ohms(level) + (self.worn[2] if self.worn is not None and worn else 0.0)

    def _track_ohms(self, level: float) -> float:
        if self.standard is not None:
            return max(
                self.standard[0] + (self.standard[1] - self.standard[0]) * (level + self.tolerance), 0.0
            )
        if self.floats:
            return self.float_ohms(0, level) + self.float_ohms(1, level)
        return max(self._law(1 - level if self.around else self._place(level)) * self.ohms_scale, 0.0)

    def sender_current(self, level: float) -> float:
        if self.milliamperes is not None:
            return self.milliamperes
        if self.standard is not None:
            return self.standard[0] + (self.standard[1] - self.standard[0]) * (level + self.tolerance)
        return max(self._law(self._place(level) * self.range_scale), 0.0)

    def sender_volts(self, level: float) -> float:
        """Of one on a good supply; of a couple or a shunt in V too."""
        if self.volts is not None:
            return self.volts
        scale = 1e-3 if self.one.circuit.unit == "mV" else 1.0
        if self.other_couple and isinstance(self.one.law, Thermocouple):
            from gaugelight.temperature import Thermocouple as Couple

            other = Couple("K" if self.one.law.sensor == Couple("J") else "J")
            low, high = self.one.law.span
            hot = celsius_of(np.array([low + (level + self.tolerance) * (high - low)]), self.one.unit)
            return float(other.millivolts(hot)[0] - other.millivolts(np.array([self.cold]))[0]) * scale
        if self.standard is not None:
            return self.standard[0] + (self.standard[1] - self.standard[0]) * (level + self.tolerance)
        volts = self._law(self._place(level) * self.range_scale) * scale * self.volts_scale
        return min(volts, self._no_rail) if self._shares_supply and self.range_scale != 1 else volts

    # --- the network ---

    def _part(self, name: str, ohms: float) -> float:
        return ohms * (1 + self.off.get(name, 0.0)) * self.part.get(name, 1.0)

    def _inside_box(self, net: Network) -> None:
        """From "connector" to "pin"."""
        circuit = self.one.circuit
        load = self.one.converter.load * (1 + self.off.get("load", 0.0))
        protection = max(getattr(circuit, "protection", 0.0), WIRE)
        if isinstance(circuit, PullUp):
            net.source("rail", "0", self._rail_volts())
            net.resistor("rail", "junction", self._part("resistor", circuit.resistor))
            net.resistor("junction", "connector", max(circuit.series, WIRE))
        elif isinstance(circuit, Shunt):
            net.resistor("connector", "junction", WIRE)
            net.resistor("junction", "0", self._part("resistor", circuit.resistor))
        elif isinstance(circuit, Divider):
            net.resistor("connector", "junction", self._part("top", circuit.top))
            net.resistor("junction", "0", self._part("bottom", circuit.bottom))
        elif isinstance(circuit, Millivolt):
            net.resistor("connector", "pin", protection)
            net.resistor("minus", "0", WIRE)
            net.resistor("0", "pin_minus", protection)
            net.resistor("pin", "pin_minus", load)
            if isinstance(self.one.law, Thermocouple):  # burn-out and bias, as in the hardware notes
                net.source("bias", "0", 1.65)
                net.resistor("bias", "connector", 2.2e6)
            return
        else:
            assert isinstance(circuit, Direct)
            net.resistor("connector", "junction", WIRE)
            if circuit.pull_down is not None:
                net.resistor("connector", "0", circuit.pull_down)
        net.resistor("junction", "pin", protection)
        net.resistor("pin", "0", load)

    def _rail_volts(self) -> float:
        circuit = self.one.circuit
        if circuit.rail == REFERENCE:
            return 3.3 * (1 + self.off.get("reference", 0.0))
        rail = self.box.rail_of(self.one)
        nominal = self._no_rail if rail is None else float(rail.nominal or 0)
        return nominal * (1 + self.off.get("rail", 0.0)) * (1.0 if self.rail is None else self.rail)

    @property
    def _no_rail(self) -> float:
        """Volts of a sender's supply that the box does not measure: 5 V, or the converter's where the pin takes no more."""
        return 3.3 if isinstance(self.one.circuit, Direct) else 5.0

    def _touching(self, net: Network, node: str) -> None:
        net.source("bus", "0", self.bus)
        net.resistor("bus", node, self.chafe)
        net.resistor(node, "0", self.leak)

    def _outside(self, net: Network, level: float, stand_in: float | None = None) -> None:
        """The sender, its wire and its return, onto "connector". stand_in: in the place of the sender."""
        circuit = self.one.circuit
        known = max(getattr(circuit, "wire", 0.0), WIRE)
        self._touching(net, "connector")
        if isinstance(circuit, PullUp):
            net.resistor("connector", "stud", known + self.wire)
            net.resistor("stud", "body", self.sender_ohms(level) if stand_in is None else stand_in)
            net.resistor("body", "airframe", max(self.back, WIRE))
            net.source("airframe", "0", self.offset)
        elif isinstance(circuit, Shunt):
            net.source("supply", "0", self.bus if self.supply is None else self.supply)
            net.resistor("supply", "plus", max(self.supply_wire, WIRE))
            net.resistor("stud", "connector", max(self.wire, WIRE))
        else:
            if isinstance(circuit, Millivolt):
                net.source("stud", "0", self.sender_volts(level) * self.passes)
                net.resistor("stud", "connector", known + self.wire + self.own_ohms)
                return
            net.source("airframe", "0", self.offset)
            net.resistor("body", "airframe", max(self.back, WIRE))
            net.resistor("output", "stud", OUTPUT)
            net.resistor("stud", "connector", known + self.wire)
            if self._shares_supply:
                net.source("supply", "0", self._rail_volts())
                net.resistor("supply", "plus", max(self.supply_wire, WIRE))
                net.resistor("supply", "connector", self.plus)
                if self.supply_wire < OFF / 2 and not self.around:
                    net.current("plus", "body", self.draw / 1000)
                else:  # without current the sender, and the meter over it, pull its plus to its body
                    net.resistor("plus", "body", UNPOWERED)
            else:
                net.source("plus", "body", 5.0)

    @property
    def _shares_supply(self) -> bool:
        return not isinstance(self.one.law, Itself)

    def _solved(
        self,
        level: float,
        *,
        off: bool = False,
        stand_in: float | None = None,
        at_sender: float | None = None,
    ) -> dict[str, float]:
        """The whole network. off: the harness pulled at the box; stand_in: what hangs there instead (ohm, mA, V); at_sender: ohm."""
        circuit = self.one.circuit
        net = Network()
        self._inside_box(net)
        if off or stand_in is not None:
            if stand_in is not None:
                if isinstance(circuit, PullUp):
                    net.resistor("connector", "0", stand_in)
                elif isinstance(circuit, Shunt):
                    net.current("0", "connector", stand_in / 1000)
                else:
                    net.source("connector", "0", stand_in)
            return net.solve()
        self._outside(net, level, at_sender)
        if isinstance(circuit, PullUp):
            return net.solve()
        if isinstance(circuit, Shunt):
            return self._loop(net, level)
        if isinstance(circuit, Millivolt):
            return net.solve()
        return self._voltage(net, level, at_sender)

    def _loop(self, net: Network, level: float) -> dict[str, float]:
        if self.shorted:
            net.resistor("plus", "stud", 1.0)
            return net.solve()
        if self.around:
            net.resistor("plus", "stud", 1e9)
            return net.solve()
        first = self.sender_current(level) / 1000
        net.current("plus", "stud", first)
        found = net.solve()
        if found["plus"] - found["stud"] >= self.least:
            return found
        net.currents.pop()  # it is short of volts: it lets through what leaves it its least
        net.source("plus", "stud", self.least)
        limited = net.solve()
        if (limited["supply"] - limited["plus"]) / max(self.supply_wire, WIRE) > 5e-4:
            return limited
        net.sources.pop()
        net.resistor("plus", "stud", self.starved)
        return net.solve()

    def _voltage(self, net: Network, level: float, at_sender: float | None) -> dict[str, float]:
        """A sender's output is a share of its own supply: found in two solutions, for a source's current changes that a little."""
        if at_sender is not None:
            net.source("stud", "0", at_sender)
            return net.solve()
        if not self._shares_supply:
            net.source("output", "body", self.sender_volts(level))
            return net.solve()
        if self.no_ground is not None:
            net.source("output", "0", self.no_ground * self._rail_volts())
            return net.solve()
        volts = self.sender_volts(level)
        rail = self.box.rail_of(self.one)
        nominal = self._no_rail if rail is None else float(rail.nominal or 0)
        net.source("output", "body", volts)
        for _ in range(3):
            found = net.solve()
            on = max(found["plus"] - found["body"], 0.0)
            share = 1.0 if self.volts is not None else on / nominal
            a, b, _ = net.sources[-1]
            net.sources[-1] = a, b, volts * share
        found = net.solve()
        sends = (found["output"] - found["stud"]) / OUTPUT
        if abs(sends) > self.drives:  # shorted, or held up by another: its output gives what it can
            net.sources.pop()
            net.current("body", "output", math.copysign(self.drives, sends))
            found = net.solve()
        return found

    # --- what meter and box get ---

    def pin(self, what: str, level: float, stand_in: float) -> float:
        """Volts between the converter's inputs, as the box's own errors leave them."""
        how: dict[str, dict[str, float | bool]] = {
            "box": {}, "box, wire off": {"off": True}, "box, stand-in": {"stand_in": stand_in},
            "box, stand-in at the sender": {"at_sender": stand_in},
        }  # fmt: skip
        found = self._solved(level, **how[what])  # type: ignore[arg-type]
        volts = found["pin"] - found.get("pin_minus", 0.0)
        if self.cut:
            volts = 3.6 if isinstance(self.one.circuit, Millivolt) else 0.0
        return min(max(volts * (1 + self.off.get("gain", 0.0)) + self.off.get("volts", 0.0), -0.3), CLIPS)

    def rail_pin(self) -> float:
        rail = self.box.rail_of(self.one)
        assert rail is not None
        net = Network()
        net.source("rail", "0", self._rail_volts())
        circuit, load = rail.circuit, rail.converter.load
        if isinstance(circuit, Divider):
            net.resistor("rail", "junction", circuit.top * (1 + self.off.get("rail top", 0.0)))
            net.resistor("junction", "0", circuit.bottom)
        else:
            net.resistor("rail", "junction", WIRE)
        net.resistor("junction", "pin", max(getattr(circuit, "protection", 0.0), WIRE))
        net.resistor("pin", "0", load)
        return min(net.solve()["pin"] * (1 + self.off.get("gain", 0.0) + self.off.get("match", 0.0)), CLIPS)

    def meter(self, what: str, level: float) -> float:
        """What a perfect meter shows there; ohms with all power off."""
        known = getattr(self.one.circuit, "wire", 0.0)
        resistive = isinstance(self.one.circuit, PullUp)
        couple = isinstance(self.one.circuit, Millivolt)
        ohms: dict[str, Callable[[], float]] = {
            "ohms at the sender": lambda: (
                self.sender_ohms(level) if resistive else (OFF if self.ohms is not None else self.own_ohms)
            ),
            "ohms of the wire": lambda: known + self.wire,
            "ohms from the wire to ground": lambda: self.leak,
            "ohms of the return": lambda: OFF if self.no_ground is not None else self.back,
            "ohms of the first float": lambda: (
                self.float_ohms(0, level) if self.standard is None else self.sender_ohms(level)
            ),
            "ohms of the second float": lambda: self.float_ohms(1, level) if self.standard is None else 0.0,
        }
        if what in ohms:
            return min(ohms[what](), 1e9)
        if what == "ohms at the connector":
            sender = (
                self.sender_ohms(level) if resistive else (OFF if self.ohms is not None else self.own_ohms)
            )
            ways = [known + self.wire + sender + self.back, self.leak]
            if self.chafe < OFF:
                ways.append(self.chafe + 3.0)  # the dead bus's own loads
            return min(1 / sum(1 / max(way, 1e-6) for way in ways), 1e9)
        if what == "supply in the box":
            return self._rail_volts()
        if couple:
            if what == "volts at the connector":
                open_wire = self.wire >= OFF / 2 or self.ohms is not None
                return 0.0 if open_wire else self.sender_volts(level) * self.passes * 1000
            return (0.0 if self.ohms is not None else self.sender_volts(level)) * 1000
        if what == "volts at the connector, sender off":
            net = Network()
            self._inside_box(net)
            self._touching(net, "connector")
            if not isinstance(self.one.circuit, Shunt):
                net.source("supply", "0", self._rail_volts())
                net.resistor("supply", "connector", self.plus)
            return net.solve()["connector"]
        found = self._solved(level)
        if what == "volts at the connector":
            return found["connector"]
        if what == "supply at the sender" and self.no_ground is not None:
            return 0.1 * self._rail_volts()
        if what == "volts at the sender" and self.no_ground is not None:
            return found["stud"] - 0.9 * self._rail_volts()
        if what == "volts at the sender":
            return found["stud"] - found["body"]
        if what == "volts between grounds" and self.no_ground is not None:
            return 0.9 * self._rail_volts()  # its body hangs on its supply by what is inside
        if what == "volts between grounds":
            return found["body"]
        if what == "supply at the sender":
            volts = found["plus"] - found["stud" if isinstance(self.one.circuit, Shunt) else "body"]
            if self.wire >= OFF / 2 and isinstance(self.one.circuit, Shunt):
                volts = 0.0  # its signal terminal hangs on nothing
            return -volts if self.around else volts
        if what == "mA at the sender":
            return (found["supply"] - found["plus"]) / max(self.supply_wire, WIRE) * 1000
        if what == "mA at the connector":
            shunt = self.one.circuit
            assert isinstance(shunt, Shunt)
            return (found["connector"] - found["junction"]) / WIRE * 1000
        raise ValueError(what)
