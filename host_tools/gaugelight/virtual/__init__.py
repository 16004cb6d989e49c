"""The virtual box: the real firmware on the real MicroPython behind a pseudo-terminal, wired to a model of the aircraft."""

from gaugelight.virtual.box import VirtualBox, VirtualBoxError
from gaugelight.virtual.in_process import ChipInProcess
from gaugelight.virtual.world import Inputs, Outputs, Picture, Trouble, World

__all__ = [
    "ChipInProcess",
    "Inputs",
    "Outputs",
    "Picture",
    "Trouble",
    "VirtualBox",
    "VirtualBoxError",
    "World",
]
