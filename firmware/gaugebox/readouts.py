"""Readouts: what the face shows, each an input or several taken together, and where it stands among its range markings.

Integers below 2**30 and nothing allocated per tick.
"""

from gaugebox.alerts import FADES, UNKNOWN
from gaugebox.curve import lookup
from gaugebox.measure import CONVERTER, FAULT, NONE, OVER, READING, UNDER, beyond

TYPE_CHECKING = False
if TYPE_CHECKING:
    from array import array

    from gaugebox.alerts import Condition
    from gaugebox.measure import Channel
    from gaugebox.alert_records import DerivedRecord, ReadoutRecord

UNJUDGED = 10  # turns, a second, for which its condition must not have held, that it is judged no more
NOWHERE = -1  # in place of a zone, while it is not known yet, or not judged
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
          one when it has been better for as long, by more than the play. A time for which it was not is taken off again, so that slosh
          at an edge does not put it off for ever.
    rank  how bad that is; 0: as it should be
    side  a number of its own for each stretch of bad zones: too low and too high are two things

    What is not known changes nothing: at a fault, and while nobody knows whether it is to be judged, it stays in its zone. But what
    lies beyond all that the sender can say is in the zone at that end, if that is a worse one or of another side.
    """

    def __init__(
        self, record: "ReadoutRecord", channel: "Channel | Derived", only_when: "Condition | None"
    ) -> None:
        self.record = record
        self.channel = channel
        self.said = channel.said
        self.only_when = only_when
        ranks = record.ranks
        self.sides = bytes([sum(1 for rank in ranks[:k] if not rank) for k in range(len(ranks))])
        # where a signal beyond its sender's lies
        self.under = self.over = NOWHERE
        ends = beyond(channel.record)
        if ends is not None:
            self.under, self.over = (0, len(ranks) - 1) if ends[0] < ends[1] else (len(ranks) - 1, 0)
        self.unjudged = self.unknown = 0
        self.zone = NOWHERE
        self.rank = self.side = 0
        self.colour = UNMARKED
        self.next = NOWHERE  # the zone it will be in, if it stays so
        self.worse = False
        self.lasting = 0

    def step(self) -> None:
        said = self.said
        only_when = self.only_when
        if only_when is not None and not self._judged(only_when.holds):
            return
        record = self.record
        ranks = record.ranks
        fault = said[FAULT]
        if fault:
            zone = self.under if fault == UNDER else self.over if fault == OVER else NOWHERE
            if zone == NOWHERE or zone == self.zone or not ranks[zone]:
                self._fade(1)
            elif ranks[zone] > self.rank or self.sides[zone] != self.side:
                self._wait(zone)
            return
        zone = zone_of(record.edges, said[READING])
        if zone != self.zone and self.zone != NOWHERE and ranks[zone] < self.rank:
            # better, but is it by more than the play?
            zone = zone_of(record.edges, said[READING] + (-record.play if zone > self.zone else record.play))
            if ranks[zone] >= self.rank:
                zone = self.zone
        if zone != self.zone:
            self._wait(zone)
        else:
            self._fade(FADES)

    def _judged(self, holds: int) -> bool:
        """A moment for which its condition does not hold is no reason to forget."""
        if holds == 1:
            self.unjudged = 0 if self.unjudged == UNJUDGED else max(0, self.unjudged - 1)
        elif not holds and self.unjudged < UNJUDGED:
            self.unjudged += 1
            if self.unjudged == UNJUDGED:
                self.lasting = 0
                if self.zone != NOWHERE:
                    self._enter(NOWHERE)
        return holds != 0 and self.unjudged < UNJUDGED

    def _fade(self, parts: int) -> None:
        """So many parts of a turn are taken off what has lasted."""
        if self.lasting:
            self.unknown += parts
            if self.unknown >= FADES:
                self.unknown = 0
                self.lasting -= 1

    def _wait(self, zone: int) -> None:
        """One turn in which it was there."""
        record = self.record
        ranks = record.ranks
        worse = ranks[zone] > self.rank
        if self.lasting and self.worse and not worse:
            self._fade(FADES)
            return
        if not self.lasting or worse != self.worse:  # what has been better for a while puts nothing worse off
            self.lasting = 0
            self.worse = worse
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
        self.side = 0 if zone == NOWHERE else self.sides[zone]
        self.colour = UNMARKED if zone == NOWHERE else self.record.colours[zone]
