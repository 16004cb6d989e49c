"""Lamps and the dim request: from a knob's count to a duty, and from a lamp's level to a line."""

from gaugebox.curve import lookup

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.table import DimRequestRecord, LampRecord

PLAY = 96  # counts, 0.15 % of the knob: what it may jitter without being moved


class Lamp:
    """level is the knob's position, 0..65535, freed of jitter; duty is what its pin is driven with, 0..65535."""

    def __init__(self, record: "LampRecord") -> None:
        self.record = record
        self.level = 0
        self.duty = 0

    def turn(self, count: int) -> int:
        """The duty for the knob at `count`."""
        level = self.level
        if count > level + PLAY:
            level = count - PLAY
        elif count < level - PLAY:
            level = count + PLAY
        else:
            return self.duty
        self.level = level
        self.duty = lookup(self.record.curve, level)
        return self.duty


class DimRequest:
    """on is 1 while the instruments on the line are asked to dim."""

    def __init__(self, record: "DimRequestRecord") -> None:
        self.on_above = record.on_above
        self.off_below = record.off_below
        self.on = 0

    def follow(self, level: int) -> int:
        if level > self.on_above:
            self.on = 1
        elif level < self.off_below:
            self.on = 0
        return self.on
