"""What the reserve watch and the disagree alerts are given each tick, and what the pilot is told of it."""

from gaugebox import reserve
from gaugebox.alerts import CAUTION, WARNING
from gaugebox.disagree import NOT_JUDGED, READS_HIGH, READS_LOW, Disagree
from gaugebox.measure import FAULT, READING

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.alert_records import DisagreeRecord, ReserveRecord
    from gaugebox.alerts import Condition
    from gaugebox.light import Switch
    from gaugebox.measure import Channel
    from gaugebox.readouts import Derived

# what is told in which state; the ranks say which is told anew after another
TOLD = {
    reserve.NO_PRESSURE: (CAUTION, 2, "NO TRANSFER PRESSURE"),
    reserve.BLOCKED: (CAUTION, 3, "TRANSFER BLOCKED"),
    reserve.DRY: (CAUTION, 5, "RESERVE DRY STOP PUMP"),
    reserve.LEAK: (WARNING, 6, "MAY LEAK STOP PUMP"),
}
FULL = (CAUTION, 4, "MAINS FULL STOP PUMP")
UNWATCHED = (CAUTION, 1, "TRANSFER NOT WATCHED")  # the pump runs, and nobody knows what it does
UNWATCHED_MS = 10000
NOTHING = (0, 0, "")
PHRASES = [
    told[2].encode()
    for told in sorted([NOTHING, UNWATCHED, FULL] + list(TOLD.values()), key=lambda told: told[1])
]  # by rank


class Reserve:
    """The reserve watch on its channels and switches. As an alert has: urgency, rank, what, side, words(); phrases: those by what it
    is."""

    phrases = PHRASES

    def __init__(
        self, record: "ReserveRecord", channels: "list[Channel | Derived]", switches: "list[Switch]"
    ) -> None:
        self.record = record
        self.watch = reserve.ReserveWatch(record)
        self.pump = switches[record.pump]
        self.filled = switches[record.filled] if record.filled < len(switches) else None
        self.pressed = 1  # one that is pressed from the start is stuck
        self.pressure = channels[record.pressure].said
        self.tank = channels[record.mains]
        self.mains = self.tank.said
        self.unwatched = 0  # ms
        self.lost = self.full = False
        self.told = NOTHING
        self.urgency = self.rank = self.what = self.side = 0

    def step(self, elapsed_ms: int) -> None:
        watch, pressure, mains = self.watch, self.pressure, self.mains
        watch.step(
            elapsed_ms, self.pump.level, pressure[FAULT], pressure[READING], mains[FAULT], mains[READING]
        )
        if self.filled is not None:
            if self.filled.level and not self.pressed:
                self.fill()
            self.pressed = self.filled.level
        if watch.state == reserve.UNKNOWN:
            self.unwatched = min(self.unwatched + elapsed_ms, UNWATCHED_MS)
        else:
            self.unwatched = 0 if watch.state == reserve.OFF else max(0, self.unwatched - elapsed_ms)
        self._tell()

    def _tell(self) -> None:
        watch, books = self.watch, self.watch.books
        state = watch.state
        if state == reserve.UNKNOWN and (watch.phase == reserve.DRY or watch.phase == reserve.LEAK):
            state = watch.phase  # with its pressure lost it is no less dry
        self.lost = self.unwatched == UNWATCHED_MS or self.lost and self.unwatched > 0
        # what the mains alone can say; slosh about the edge is no news
        self.full = state != reserve.OFF and 0 <= books.room <= books.room_band * (2 if self.full else 1)
        told = TOLD.get(state, NOTHING)
        if self.full and told[1] < FULL[1]:
            told = FULL
        elif self.lost and told == NOTHING:
            told = UNWATCHED
        self.told = told
        self.urgency = told[0]
        self.rank = self.what = self.side = told[1]

    def fill(self) -> bool:
        """The reserve has been filled; not taken while the pump runs."""
        if self.pump.level:
            return False
        self.watch.books.fill(self.record.reserve_full, self.record.reserve_band)
        return True

    def transfer(self, most: bool) -> int:
        """What flows into the mains in an hour, at least or at most, in fuel units."""
        if self.watch.state == reserve.OFF:
            return 0
        record = self.record
        band = record.rate * record.rate_band // 100
        if most:
            return record.rate + band
        return record.rate - band if self.watch.state == reserve.FLOWING else 0

    def words(self) -> str:
        return self.told[2]


class Gauge:
    """One gauge held against burn and transfer. As an alert has: urgency, rank, what, side, words()."""

    phrases = None  # they have a size

    def __init__(
        self,
        record: "DisagreeRecord",
        channels: "list[Channel | Derived]",
        conditions: "list[Condition]",
        transfers: "Reserve | None",
    ) -> None:
        self.record = record
        self.channel = channels[record.index]
        self.said = self.channel.said
        self.flies = conditions[record.flies]
        self.transfers = transfers
        self.disagree = Disagree(record)
        # of a unit, where the reading has any
        self.tenth = max(1, 10**self.channel.record.reading_decimals // 10)
        self.urgency = self.rank = self.what = self.side = 0

    def step(self, elapsed_ms: int) -> None:
        low = high = 0
        record = self.record
        if self.transfers is not None:
            low = self.transfers.transfer(False) * record.share_low // 100
            high = self.transfers.transfer(True) * record.share_high // 100
        one = self.disagree
        one.step(elapsed_ms, self.flies.holds, self.said[FAULT], self.said[READING], record.feeds, low, high)
        if one.state == NOT_JUDGED and (self.said[FAULT] or self.flies.holds < 0):
            return  # what is not known changes nothing
        self.urgency = CAUTION if one.state == READS_HIGH or one.state == READS_LOW else 0
        self.rank = 1 if self.urgency else 0
        if self.urgency:
            self.side = one.state
            self.what = abs(one.size) // self.tenth

    def words(self) -> str:
        return "%s %s" % (self.channel.record.name, self.tail())

    def tail(self) -> str:
        """READS_LOW may as well be fuel that goes elsewhere."""
        size = self.what
        way = "HIGH" if self.side == READS_HIGH else "LOW/LEAK"
        if not self.channel.record.reading_decimals:
            return "%s %d" % (way, size)
        return "%s %d.%d" % (way, size // 10, size % 10)
