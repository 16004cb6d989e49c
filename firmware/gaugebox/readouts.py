"""Readouts: what the face shows, each an input or several taken together, and where it stands among its range markings.

Integers below 2**30 and nothing allocated per tick.
"""

from gaugebox.curve import lookup
from gaugebox.measure import CONVERTER, FAULT, NONE, READING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from array import array

    from gaugebox.alerts import Condition
    from gaugebox.measure import Channel
    from gaugebox.alert_records import DerivedRecord, ReadoutRecord

NOWHERE = -1  # in place of a zone, while it is at fault or not judged
UNMARKED, GREEN, YELLOW, RED = range(4)


class Derived:
    """A sum of what the readings of its parts are worth. Like a Channel it has a `record` and what is `said`; a fault of a part is its
    own."""

    def __init__(self, record: "DerivedRecord", channels: "list[Channel]") -> None:
        self.record = record
        self.said = [CONVERTER, 0, 0, 0]
        self.parts = [(channels[index].said, curve) for index, curve in record.parts]

    def step(self) -> None:
        said = self.said
        total = 0
        for part, curve in self.parts:
            if part[0]:
                said[0] = part[0]
                return
            total += lookup(curve, part[3])
        said[0] = NONE
        said[2] = said[3] = total


def zone_of(edges: "array[int]", reading: int) -> int:
    """How many edges it has reached."""
    zone = 0
    for edge in edges:
        if reading < edge:
            return zone
        zone += 1
    return zone


class Readout:
    """Where one channel stands among its marks.

    zone  between which edges, or NOWHERE. A worse one is entered when the reading has been at least as bad for the whole delay; a better
          one when it has been better for as long, by more than the play.
    rank  how bad that is; 0: as it should be
    """

    def __init__(
        self, record: "ReadoutRecord", channel: "Channel | Derived", only_when: "Condition | None"
    ) -> None:
        self.record = record
        self.channel = channel
        self.said = channel.said
        self.only_when = only_when
        self.zone = NOWHERE
        self.rank = 0
        self.colour = UNMARKED
        self.next = NOWHERE  # the zone it will be in, if it stays so
        self.worse = False
        self.lasting = 0

    def step(self) -> None:
        said = self.said
        if said[FAULT] or self.only_when is not None and self.only_when.holds != 1:
            self.lasting = 0
            if self.zone != NOWHERE:
                self._enter(NOWHERE)
            return
        record = self.record
        zone = zone_of(record.edges, said[READING])
        if zone == self.zone:
            self.lasting = 0
            return
        ranks = record.ranks
        worse = ranks[zone] > self.rank
        if self.zone != NOWHERE and ranks[zone] < self.rank:
            # better, but is it by more than the play?
            zone = zone_of(record.edges, said[READING] + (-record.play if zone > self.zone else record.play))
            if ranks[zone] >= self.rank:
                self.lasting = 0
                return
        if not self.lasting or worse != self.worse:
            self.worse = worse
            self.lasting = 0
            self.next = zone
        elif worse == (ranks[zone] < ranks[self.next]):
            self.next = zone  # of all it was in meanwhile, the one nearest to where it was
        self.lasting += 1
        if self.lasting >= record.delay:
            self.lasting = 0
            self._enter(self.next)

    def _enter(self, zone: int) -> None:
        self.zone = zone
        self.rank = 0 if zone == NOWHERE else self.record.ranks[zone]
        self.colour = UNMARKED if zone == NOWHERE else self.record.colours[zone]
