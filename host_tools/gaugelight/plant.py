"""A model of the aircraft around the box: senders, wires, rails, knobs, switches and the service jumper, as volts on pins."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from gaugebox import pins
from gaugelight.boxfile import Box, Input
from gaugelight.chain import Chain, chain_of
from gaugelight.circuits import REFERENCE, Direct, Millivolt
from gaugelight.converters import CHIP_SUPPLY, OnChip
from gaugelight.lights import Knob
from gaugelight.said import resting_reading
from gaugelight.virtual.world import Inputs, Outputs, Trouble

Wire = Literal[
    "whole", "broken", "shorted"
]  # shorted: as that sender fails: to ground, a loop or a voltage to its supply
KnobState = Literal["whole", "wiper broken", "upper end broken", "lower end broken", "to ground", "to 3.3 V"]
REFERENCE_V = 3.3  # of the on-chip converter, and what feeds the knobs


@dataclass
class Aircraft:
    """The world a virtual box stands in. Move it by setting what is in the dicts.

    signals    input name -> its sender's ohm, mA, V or mV
    wires      input name -> its wire's state, where it is not whole
    knobs      a knob's pin -> its position, 0..100 per cent of its track
    broken     a knob's pin -> what is wrong with it, where it is not whole
    noise      on each reading of the on-chip converter, counts RMS
    switches   switch name -> whether it is on
    watched    where it is a list: gets everything that the box drives, as it changes
    silent     addresses of the converters, or of the display, that do not answer
    troubles   what ails a converter that does, by address
    bus_stuck  whether something holds the converters' bus
    hangs      parts of the chip from which nobody comes back, bits of virtual/chip/layout.py
    """

    box: Box
    signals: dict[str, float] = field(default_factory=dict)
    wires: dict[str, Wire] = field(default_factory=dict)
    knobs: dict[int, float] = field(default_factory=dict)
    broken: dict[int, KnobState] = field(default_factory=dict)
    noise: float = 0.0
    switches: dict[str, bool] = field(default_factory=dict)
    watched: list[Outputs] | None = None
    silent: set[int] = field(default_factory=set)
    troubles: dict[int, Trouble] = field(default_factory=dict)
    bus_stuck: bool = False
    hangs: int = 0
    jumper_closed: bool = True

    def __post_init__(self) -> None:
        self.chains: dict[str, Chain] = {one.name: chain_of(self.box, one) for one in self.box.inputs}
        self._worked_out: dict[str, tuple[tuple[float, float | None, Wire], float]] = {}
        for one in self.box.inputs:
            self.signals.setdefault(one.name, self.at_rest(one))
        for knob in self.box.lights.knobs:
            self.knobs.setdefault(knob.pin, 0.0)
        if self.box.lights.daylight is not None:  # at night
            sensor = self.box.input(self.box.lights.daylight.sensor)
            assert sensor is not None
            self.signals[sensor.name] = float(sensor.law.signal(np.array([sensor.law.span[0]]))[0])

    def at_rest(self, one: Input) -> float:
        """Its signal while all is well."""
        return float(one.law.signal(np.array([self._rests(one)]))[0])

    def _rests(self, one: Input) -> float:
        """In the middle of its green arc, where it has one, and below what says that the aircraft flies."""
        green = [] if one.markings is None else [m for m in one.markings.marks if m.colour == "green"]
        if not green or green[0].low is None or green[0].high is None:
            return resting_reading(one)
        low, high = float(green[0].low), float(green[0].high)
        told = self.box.in_flight
        if told is not None and told.follows == one.name and told.above is not None and told.above > low:
            high = min(high, float(told.above))
        return (low + high) / 2

    def rail_volts(self, one: Input) -> float | None:
        """Of the rail that an input hangs on."""
        if one.circuit.rail == REFERENCE:
            return CHIP_SUPPLY
        if (rail := self.box.rail_of(one)) is not None:
            return 0.0 if rail.name in self.wires else self.signals[rail.name]
        return None

    def volts(self, one: Input) -> float:
        """On the input's pin, or between its two."""
        moved = self.signals[one.name], self.rail_volts(one), self.wires.get(one.name, "whole")
        worked_out = self._worked_out.get(one.name)
        if worked_out is None or worked_out[0] != moved:  # most stand still most of the time
            worked_out = self._worked_out[one.name] = moved, self._volts(one, *moved)
        return worked_out[1]

    def _volts(self, one: Input, signal: float, rail: float | None, wire: Wire) -> float:
        chain = self.chains[one.name]
        if wire == "whole":
            volts = chain.pin_volts(signal, rail)
        elif wire == "broken":
            volts = chain.driven(0.0, math.inf, rail)
        else:
            to_ground = one.circuit.unit in ("ohm", "mV") or isinstance(one.circuit, Direct)
            volts = chain.driven(0.0 if to_ground else float(self.box.supply), 0.0, rail)
        return min(one.converter.takes, volts)  # where the pin's protection clamps

    def knob_volts(self, knob: Knob) -> float:
        """On the wiper, by way of the resistors at its ends and the one to ground."""
        state = self.broken.get(knob.pin, "whole")
        if state in ("to ground", "to 3.3 V"):
            return REFERENCE_V if state == "to 3.3 V" else 0.0
        return self._wiper(knob, self.knobs[knob.pin] / 100, state)

    def knob_at(self, knob: Knob, volts: float) -> float:
        """Where on its track, 0..100 per cent, a whole knob gives so many volts."""
        track = np.linspace(0, 1, 2001)
        return float(np.interp(volts, [self._wiper(knob, position) for position in track], track * 100))

    @staticmethod
    def _wiper(knob: Knob, position: float, state: KnobState = "whole") -> float:
        """Volts; position: 0..1 of the track."""
        up = 1 / (knob.ends + knob.track * (1 - position) or 1e-3)
        down = 1 / (knob.ends + knob.track * position or 1e-3)
        up *= state not in ("wiper broken", "upper end broken")
        down *= state not in ("wiper broken", "lower end broken")
        return REFERENCE_V * up / (up + down + 1 / knob.pull_down)

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        if self.watched is not None:
            self.watched.append(outputs)
        on_chip = {knob.pin: self.knob_volts(knob) for knob in self.box.lights.knobs}
        chips = {chip.address: [0.0] * 4 for chip in self.box.chips if chip.address not in self.silent}
        for one in self.box.inputs:
            if isinstance(one.converter, OnChip):
                on_chip[one.converter.pin] = self.volts(one)
            elif one.converter.chip.address in chips:
                on_it = chips[one.converter.chip.address]
                if isinstance(one.circuit, Millivolt):
                    plus, minus = one.converter.pins  # held about the middle of the supply
                    on_it[plus], on_it[minus] = CHIP_SUPPLY / 2 + self.volts(one), CHIP_SUPPLY / 2
                else:
                    on_it[one.converter.pins[0]] = self.volts(one)
        panel = self.box.face.panel
        display = 0 if panel is None or panel.address in self.silent else panel.address
        levels = {pins.JUMPER: 0} if self.jumper_closed else {}
        levels |= {
            switch.pin: switch.on for switch in self.box.lights.switches if self.switches.get(switch.name)
        }
        noise = self.noise / 65535 * REFERENCE_V
        return Inputs(on_chip, chips, levels, self.troubles, display, noise, self.bus_stuck, self.hangs)
