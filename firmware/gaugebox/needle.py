"""Needles: moving-coil meters driven by pulses, through points, no faster than they may.

Integers below 2**30 and nothing allocated per tick. A needle that lies at its low end reads "cool", or "empty": so on a fault it goes to
its parking place, below its scale, and a flag lamp is lit.
"""

from gaugebox.curve import lookup
from gaugebox.measure import FAULT, READING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.alert_records import NeedleRecord
    from gaugebox.measure import Channel
    from gaugebox.readouts import Derived

FULL = 10000  # a place on its scale: hundredths of a per cent of the time
DUTY = 65535


class Needle:
    """duty: 0..65535 of its pin; flagged: whether it stands for nothing."""

    def __init__(self, record: "NeedleRecord", channels: "list[Channel | Derived]") -> None:
        self.record = record
        self.said = channels[record.index].said
        self.place = record.park
        self.duty = record.park * DUTY // FULL
        self.flagged = True  # until it has been told something

    def step(self) -> None:
        record = self.record
        self.flagged = self.said[FAULT] != 0
        place = record.park
        if not self.flagged:
            place = lookup(record.curve, min(max(self.said[READING], record.low), record.high))
        most = record.slew
        self.place += max(-most, min(most, place - self.place))
        self.duty = self.place * DUTY // FULL
