"""A model of the aircraft around the box: senders, wires, rails, a knob and the service jumper, as volts on pins."""

from dataclasses import dataclass, field
from typing import Literal

from gaugebox import pins
from gaugelight.boxfile import Box, Input
from gaugelight.circuits import Ads1115, Direct, PullUp, Shunt, pin_volts
from gaugelight.virtual.world import Inputs, Outputs

Wire = Literal[
    "whole", "broken", "shorted"
]  # shorted: as that sender fails: to ground, a loop or a voltage to its supply


@dataclass
class Aircraft:
    """The world a virtual box stands in. Move it by setting what is in the dicts.

    signals  input name -> its sender's ohm, mA or V
    wires    input name -> its wire's state, where it is not whole
    knobs    lamp name -> the knob's position, 0..100 per cent
    silent   addresses of the converters that do not answer
    """

    box: Box
    signals: dict[str, float] = field(default_factory=dict)
    wires: dict[str, Wire] = field(default_factory=dict)
    knobs: dict[str, float] = field(default_factory=dict)
    silent: set[int] = field(default_factory=set)
    jumper_closed: bool = True

    def __post_init__(self) -> None:
        for one in self.box.inputs:
            middle = float(one.points[0][0] + one.points[-1][0]) / 2
            self.signals.setdefault(one.name, middle if one.nominal is None else float(one.nominal))
        for lamp in self.box.lamps:
            self.knobs.setdefault(lamp.name, 0.0)

    def rail_volts(self, one: Input) -> float:
        """Of the rail that an input hangs on; 1 where it hangs on none."""
        if (rail := self.box.rail_of(one)) is not None:
            return 0.0 if rail.name in self.wires else self.signals[rail.name]
        return 1.0

    def volts(self, one: Input) -> float:
        """On the input's pin."""
        wire = self.wires.get(one.name, "whole")
        highest = one.converter.highest  # where the pin's protection clamps
        if wire == "broken":
            return self.rail_volts(one) if isinstance(one.circuit, PullUp) else 0.0
        if wire == "shorted":
            if isinstance(one.circuit, (PullUp, Direct)):
                return 0.0
            if isinstance(one.circuit, Shunt):
                return min(highest, float(self.box.supply))
            return min(highest, pin_volts(one.circuit, float(self.box.supply)))
        return min(highest, pin_volts(one.circuit, self.signals[one.name], self.rail_volts(one)))

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        on_chip = {lamp.knob: self.knobs[lamp.name] / 100 * 3.3 for lamp in self.box.lamps}
        chips = {chip.address: [0.0] * 4 for chip in self.box.chips if chip.address not in self.silent}
        for one in self.box.inputs:
            if isinstance(one.converter, Ads1115):
                if one.converter.address in chips:
                    chips[one.converter.address][one.channel] = self.volts(one)
            else:
                on_chip[one.channel] = self.volts(one)
        return Inputs(on_chip, chips, {pins.JUMPER: 0} if self.jumper_closed else {})
