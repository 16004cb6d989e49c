"""The books of a transfer: fuel moved, left in the reserve, room in the mains, time to switch off, each with a band.

The mains' reading and the clock keep them. Integers below 2**30 and nothing allocated per second.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NOT_KNOWN = -1  # in place of a quantity
MOST_FUEL = 1 << 18  # times 3600 it still is a small integer
MEASURED_S = 60  # how long it must have flowed before its rate is measured


class Books:
    """`record` has, as integers (fuel in units of the mains' reading, at most 2**18):

    rate, rate_band     fuel an hour pumped, per cent; both of the whole voltage range
    burn, burn_band     fuel an hour burnt, per cent
    mains_full, mains_band, mains_noise, mains_lag  usable fuel, per cent, what two readings may differ by at 95 %, damping in s

    keep(...)   once a second. Says, each with its band at 95 %, NOT_KNOWN where it is:
    moved       since the pump was switched on, a pause of up to three mains_lag aside: rise of the mains and what was burnt;
                while they are at fault, rate x time; where nobody sees whether it flows the half of that, more or less.
                Band: mains_noise, mains_band of the rise, burn_band of the burn, what the mains' damping hides; rate_band of
                rate x time. Where it disagrees with rate x time beyond both bands, the band reaches over both.
    left        in the reserve: what was there less moved, the bands added
    room        in the mains: mains_full less the reading. Band: mains_band of the reading and mains_noise
    seconds_to_off  until the reserve is empty or the mains are full, at the rate measured once that is the better known,
                else `rate`. Not known without room; without left it goes by room alone, and is a latest time then.
                Band: the times with fuel and rate at the ends of their bands

    RAM only: after a restart the reserve's content is not known until `fill` tells.
    """

    def __init__(self, record: "Any") -> None:
        self.record = record
        self.moved = self.moved_band = 0
        self.left = self.left_band = NOT_KNOWN
        self.room = self.room_band = NOT_KNOWN
        self.seconds_to_off = self.seconds_band = NOT_KNOWN
        self.open = False  # whether they are kept, for one transfer
        self.idle = 0  # seconds since it flowed
        self.flowed = 0  # seconds
        self.good = 0  # seconds for which the mains have been no fault
        self.by_rate = 0  # rate x time, in all
        self.by_clock = 0  # and since the mains last told
        self.unsure = 0  # of by_rate, while nobody could tell whether it flowed
        self.before = self.before_band = 0  # moved up to where the mains last began, or ceased, to tell
        self.telling = False
        self.start = self.burnt = 0  # the mains then, and what was burnt since
        self.rate_rest = self.burn_rest = 0  # in fuel units x 1 s / 3600
        self.held = self.held_band = NOT_KNOWN  # in the reserve when the books were opened

    def fill(self, left: int, band: int) -> None:
        """What the reserve holds now, plus or minus."""
        self.open = False
        self.left = left
        self.left_band = band

    def empty(self) -> None:
        """The reserve has run dry."""
        self.left = self.left_band = 0
        self.held = NOT_KNOWN

    def lose(self) -> None:
        """Nobody knows any more what it holds."""
        self.left = self.left_band = self.held = NOT_KNOWN

    def tells(self) -> bool:
        """Whether the mains do: a reading that has just come back is not damped yet."""
        lag: int = self.record.mains_lag
        return self.good > 2 * lag

    def keep(self, seconds: int, pumps: bool, flows: bool, seen: bool, mains_fault: int, mains: int) -> None:
        """flows: as far as is known; seen: whether the pressure tells so now."""
        record = self.record
        self.good = 0 if mains_fault else min(self.good + seconds, 3600)
        self.room = self.room_band = NOT_KNOWN
        if not mains_fault:
            self.room = max(0, record.mains_full - mains)
            self.room_band = mains * record.mains_band // 100 + record.mains_noise
        self.seconds_to_off = self.seconds_band = NOT_KNOWN
        if pumps and not self.open:
            self._open()
        lag = record.mains_lag
        self.idle = 0 if flows else min(self.idle + seconds, 3600)
        if not self.open or self.idle > 3 * lag:
            self.open = self.open and pumps
            return
        if flows:
            self._count(seconds, seen)
        if self.tells() != self.telling:
            self.telling = not self.telling
            self.before = self.moved
            self.before_band = self.moved_band
            self.start = mains
            self.by_clock = self.burnt = 0
        if self.telling:
            self.burn_rest += record.burn * seconds
            fuel = self.burn_rest // 3600
            self.burn_rest -= fuel * 3600
            self.burnt = min(self.burnt + fuel, MOST_FUEL)
            rise = mains - self.start
            self.moved = self.before + rise + self.burnt
            band = (abs(rise) * record.mains_band + self.burnt * record.burn_band) // 100 + record.mains_noise
            if self.idle < 2 * lag:
                band += record.rate * lag // 3600
            self.moved_band = self.before_band + band
        else:
            self.moved = self.before + self.by_clock
            self.moved_band = self.before_band + self.by_clock * record.rate_band // 100 + self.unsure
        self._compare()
        if flows and self.room != NOT_KNOWN:
            self._look_ahead()

    def _open(self) -> None:
        self.open = True
        self.moved = self.moved_band = self.idle = self.flowed = 0
        self.by_rate = self.by_clock = self.unsure = self.before = self.before_band = 0
        self.telling = False
        self.held = self.left
        self.held_band = self.left_band

    def _count(self, seconds: int, seen: bool) -> None:
        """By the clock; where nobody sees whether it flows the half of it, more or less."""
        self.flowed = min(self.flowed + seconds, MOST_FUEL)
        self.rate_rest += self.record.rate * seconds // (1 if seen else 2)
        fuel = self.rate_rest // 3600
        self.rate_rest -= fuel * 3600
        self.by_rate = min(self.by_rate + fuel, MOST_FUEL)
        self.by_clock = min(self.by_clock + fuel, MOST_FUEL)
        if not seen:
            self.unsure = min(self.unsure + fuel, MOST_FUEL)

    def _compare(self) -> None:
        """What has moved against the clock; what is left then."""
        by_rate_band = self.by_rate * self.record.rate_band // 100 + self.unsure
        off = abs(self.moved - self.by_rate)
        if off > self.moved_band + by_rate_band:
            self.moved_band = off + by_rate_band
        self.moved = max(0, min(MOST_FUEL, self.moved))
        self.moved_band = min(MOST_FUEL, self.moved_band)
        if self.held != NOT_KNOWN:
            self.left = max(0, self.held - self.moved)
            self.left_band = min(MOST_FUEL, self.held_band + self.moved_band)

    def _look_ahead(self) -> None:
        record = self.record
        rate = record.rate
        band = record.rate_band
        if self.flowed >= MEASURED_S and self.moved_band * 100 < self.moved * band:
            rate = min(MOST_FUEL, self.moved * 3600 // self.flowed)  # a float that jumps is no pump
            band = self.moved_band * 100 // self.moved + 1
        left, left_band = self.left, self.left_band
        if left == NOT_KNOWN:
            left, left_band = MOST_FUEL, 0
        burn = record.burn
        more = burn * record.burn_band // 100
        spread = rate * band // 100
        at = _seconds(left, self.room, rate, burn)
        soonest = _seconds(left - left_band, self.room - self.room_band, rate + spread, burn - more)
        latest = _seconds(left + left_band, self.room + self.room_band, rate - spread, burn + more)
        self.seconds_to_off = at
        self.seconds_band = max(at - soonest, latest - at)


def _seconds(left: int, room: int, rate: int, burn: int) -> int:
    """Until the reserve is empty or the mains are full."""
    empty = max(0, min(MOST_FUEL, left)) * 3600 // max(1, rate)
    return min(empty, max(0, min(MOST_FUEL, room)) * 3600 // max(1, rate - burn))
