"""The reserve watch: does fuel move from the reserve tank to the mains, and when has the reserve run dry?

It judges the pressure of the transfer line against a base learned while the pump is off, and against the level and ripple
that this pump has shown while flowing; how much has moved is in its books. It commands nothing. Integers below 2**30
and nothing allocated per tick.
"""

from gaugebox.books import MOST_FUEL, NOT_KNOWN, Books
from gaugebox.measure import UNDER

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

OFF, BUILDING, FLOWING, DRY, BLOCKED, NO_PRESSURE, LEAK, UNKNOWN = range(8)
STATES = ("off", "building", "flowing", "dry", "blocked", "no pressure", "possible leak: pump off", "unknown")

TURN_MS, MOST_MS = 100, 4000  # one turn of the watch; the longest stall that the books count in full
MOST_PRESSURE = (1 << 22) - 1
# turns
RELEASED = 4  # the pump has been off so long: its contact does not merely bounce
FALLEN, SETTLED = 10, 30  # the pump has been off so long: a lower reading is the base; every reading is
BUILT, LEARNED, KNOWN, BACK, LOST = 10, 30, 100, 50, 600
RISEN, QUIET, ON_STOP = 15, 30, 20
FOLLOW_S = 32  # in so long noise and dips do not hide a climb
# the shortest and longest that the mains are given to tell that they do not rise
WATCHED_S, WINDOW_S = 60, 180
# of the level's height above the base, in 64ths. A fall is counted beyond SHALLOW: deeper than the step that a bus going from
# 14 to 11 V makes (24), less than a collapse on such a bus is (40). Where the pump's ripple has gone too, beyond SHALLOWER.
SHALLOW, SHALLOWER = 27, 22
NEAR = 36  # a collapse that cannot be so deep, as the sender's bottom is in the way, is not told from a sag
LEAD = 4  # turns; the reading is damped with five
# what the count of a fall gains and loses in a turn at most; what it must reach: 24 turns of collapse. So a pickup uncovered for
# 2 s, or twice for 1.5 s with a second between, is not called dry, one for 2.5 s is; and dry is called after 3 s, with two
# seconds of spitting and a low bus by 4.5
FILL, DRAIN, CALL = 24, 54, 576


class ReserveWatch:
    """One reserve tank, its pump, its line, and the mains it feeds. `record` has, as integers (pressures in units of the
    pressure reading, a height being above the pump-off reading; fuel in units of the mains' reading, at most 2**18):

    low, high       least and highest height while it flows, lowest bus voltage to highest
    dead_head       least height with the line closed
    base_least, base_most   what the sender may read with the pump off, at any altitude that is flown
    bottom          where the sender stands when it can go no lower (3.8 mA)
    drift           the most that climb or descent shifts the reading in a second
    build           turns of 100 ms until pressure must have built
    rate, rate_band, burn, mains_noise, mains_lag   as Books tells, which has more of them

    step(...)   once a tick. Says:
    state       one of the above. UNKNOWN with the pump on: the pressure is at fault, or stands on the sender's bottom where
                a pump that runs dry and a bus that sags look alike, or no base has been learned since the start
    doubtful    FLOWING or not, something is odd: the pressure has risen or its ripple gone, or the mains do not rise
    books       what has moved, is left, has room; not known any more after a leak, or where a dry reserve flows again

    RAM only: after a restart the base is not known until the pump was off.
    """

    def __init__(self, record: "Any") -> None:
        self.record = record
        self.state = OFF
        self.doubtful = False
        self.books = Books(record)
        self.waited = 0  # ms since the last turn
        self.phase = OFF  # what state is when the pressure is no fault
        self.turns = 0  # in OFF and BUILDING, or since it flows
        self.off = RELEASED  # turns since the pump was last on
        self.silent = 0  # turns since the pressure was last good
        self.based = False  # whether base has been learned
        self.sure = False  # whether the height is known, not only the highest it may be
        self.base = self.level = self.last = 0
        self.height = record.high  # until the pump has shown its own
        self.level_then = self.followed = 0  # the level when the base was last moved; seconds since
        self.ripple = self.own_ripple = 0  # mean step from turn to turn, 16 times; the pump's own
        self.fall = self.count = self.risen = self.quiet = self.on_stop = 0
        self.suspect = False  # the line may be closed: the mains must tell
        self.window = self.window_mains = 0  # seconds; the mains at its start
        self.least_rate = record.rate - record.rate * record.rate_band // 100
        self.since = 0  # ms since the books were last kept

    def step(
        self, elapsed_ms: int, pump_on: int, pressure_fault: int, pressure: int, mains_fault: int, mains: int
    ) -> None:
        elapsed_ms = min(elapsed_ms, MOST_MS)
        self.waited += elapsed_ms
        self.since += elapsed_ms
        if self.waited < TURN_MS:
            return
        self.waited = min(self.waited - TURN_MS, TURN_MS >> 1)  # the loop is not always on time
        if pressure_fault == UNDER and self.record.bottom > -MOST_PRESSURE:
            pressure_fault = 0  # the loop lives, and says that it is below its range
            pressure = self.record.bottom
        pressure = max(-MOST_PRESSURE, min(MOST_PRESSURE, pressure))
        mains = max(0, min(MOST_FUEL, mains))
        self._judge(pump_on, pressure_fault, pressure)
        if self.since >= 1000:
            seconds = min(self.since, MOST_MS) // 1000
            self.since -= seconds * 1000
            self._follow(seconds)
            self._keep_books(seconds, mains_fault, mains)
            self._compare(seconds, mains)

    def _judge(self, pump_on: int, fault: int, pressure: int) -> None:
        """The state from the pressure; one reading counts as one turn, however long the loop stalled."""
        record = self.record
        phase = self.phase
        self.off = 0 if pump_on else min(self.off + 1, RELEASED)
        if (self.off < RELEASED) == (phase == OFF):  # switched on or off
            self.phase = phase = BUILDING if phase == OFF else OFF
            self.turns = self.count = 0
            self.suspect = self.doubtful = False
        if not fault or phase != BUILDING:
            self.turns = min(self.turns + 1, MOST_FUEL)
        if fault:
            self.silent = min(self.silent + 1, LOST)
            if self.silent == LOST:
                self.based = self.sure = False  # who knows how far it has climbed
                if phase != OFF and phase != DRY and phase != LEAK:
                    self.phase = BUILDING
                    self.turns = self.count = 0
            self.state = OFF if phase == OFF else UNKNOWN
            return
        self.silent = 0
        last = self.last
        self.last = pressure
        if phase == OFF:
            self.state = OFF
            if self.turns > SETTLED:
                gentle = 8 if self.based and self.turns > SETTLED + 1 else 1
                self._rebase(self.base + (pressure - self.base) // gentle)
                self.based = True
            elif self.turns <= FALLEN or pressure >= self.base:
                return
            else:
                self._rebase(pressure)
            bottom = record.bottom
            self.sure = self.based and (self.base > bottom + record.low // 64 or record.base_least >= bottom)
            return
        if phase == BUILDING or phase == NO_PRESSURE:
            # with its base hidden below the sender's bottom the reading need only come off that
            hidden = self.based and not self.sure
            base = record.bottom if hidden else self.base if self.based else record.base_most
            above = pressure - base > (record.low // 8 if hidden else record.low * 5 // 8)
            self.count = self.count + 1 if above else max(0, self.count - 1)
            if self.count >= BUILT:
                self.phase = FLOWING
                self.doubtful = False
                self.level = pressure
                if self.sure:  # else the height that the pump has shown before
                    self.height = max(record.low, pressure - base)
                self.base = pressure - self.height
                self.ripple = self.own_ripple = self.turns = 0
                self.fall = self.count = self.risen = self.quiet = self.on_stop = 0
                self.window = -record.mains_lag
                self.suspect = True  # until the mains have risen once
            elif self.turns >= record.build:
                self.phase = NO_PRESSURE
            self.state = UNKNOWN if self.phase == NO_PRESSURE and not self.sure else self.phase
            return
        self._judge_level(pressure, last)
        self.state = self.phase
        # where the sender's bottom is too near for a collapse to be told from a sagging bus
        stopped = pressure <= record.bottom + record.low // 32
        self.on_stop = min(self.on_stop + 1, ON_STOP) if stopped else 0
        if self.on_stop == ON_STOP and (self.level - record.bottom) << 6 < self.height * NEAR:
            if self.phase == FLOWING or self.phase == BLOCKED:
                self.state = UNKNOWN

    def _judge_level(self, pressure: int, last: int) -> None:
        """Flowing, dry, blocked: the pressure against the level, its ripple against the pump's own."""
        height = self.height
        drop = self.level - pressure
        if self.phase == DRY or self.phase == LEAK:
            self.count = self.count + 1 if drop < height >> 2 else 0
            if self.count >= BACK:  # it was slosh, or has been refilled: nobody knows how much
                self.phase = FLOWING
                self.books.lose()
                self.fall = self.count = 0
            return
        self.ripple += abs(pressure - last) - self.ripple // 16
        pulsates = self.own_ripple > height >> 1  # steps of a thirty-second of the height
        still = pulsates and self.ripple < self.own_ripple >> 1
        # what the reading's damping hides, put back: so a pickup covered again for half a second is seen to be
        lead = max(-height, min(height, LEAD * (pressure - last)))
        fallen = (drop - lead << 6) // height - (SHALLOWER if still else SHALLOW)
        self.fall = max(0, self.fall + max(-DRAIN, min(FILL, fallen * 2)))
        if self.fall >= CALL:
            books = self.books
            well_before = books.left > 2 * books.left_band  # not known: -1, and -1
            if well_before and books.left != NOT_KNOWN:
                self.phase = LEAK
                books.lose()
            else:
                self.phase = DRY
                books.empty()
            self.count = 0
            self.doubtful = self.suspect = False
            return
        # the level goes to the middle of the ripple, slower than fuel runs out, faster than air changes; a fall it hardly follows
        slew = (height >> (8 if drop * 8 < height * 3 else 11)) + 1
        if self.turns < LEARNED and drop < 0:
            self.level -= drop // 4
        self.level -= max(-slew, min(slew, drop))
        if self.turns == KNOWN:
            self.own_ripple = self.ripple
            if self.sure and self.level - self.base >= self.record.dead_head:
                self.risen = 2 * RISEN
        elif self.turns > KNOWN and drop << 2 < height:
            self.own_ripple += max(-4, min(4, self.ripple - self.own_ripple))
        self.risen = (
            self.risen + 1 if drop << 3 < -height and self.turns > LEARNED else max(0, self.risen - 1)
        )
        self.quiet = self.quiet + 1 if still and drop << 2 < height else 0
        if (self.risen >= RISEN or self.quiet >= QUIET) and not self.doubtful and self.phase == FLOWING:
            self.suspect = self.doubtful = True
            self.window = -self.record.mains_lag

    def _keep_books(self, seconds: int, mains_fault: int, mains: int) -> None:
        phase = self.phase
        self.books.keep(seconds, phase != OFF, phase == FLOWING, self.state != UNKNOWN, mains_fault, mains)

    def _rebase(self, base: int) -> None:
        self.base = max(self.record.base_least, min(self.record.base_most, base))

    def _follow(self, seconds: int) -> None:
        """What the level does no faster than climb and descent is the air's, and moves the base; the rest is the pump's."""
        record = self.record
        self.followed = min(self.followed + seconds, 2 * FOLLOW_S)
        if self.state != FLOWING and self.state != BLOCKED or not self.sure:
            return
        if self.turns < KNOWN or self.followed >= FOLLOW_S:
            if self.turns >= KNOWN:
                most = record.drift * self.followed
                self._rebase(self.base + max(-most, min(most, self.level - self.level_then)))
            self.level_then = self.level
            self.followed = 0
        self.height = max(record.low, min(record.high, self.level - self.base))

    def _compare(self, seconds: int, mains: int) -> None:
        """Blocked: the pressure makes the line suspect, and then the mains do not rise."""
        if self.phase != FLOWING and self.phase != BLOCKED:
            return
        record = self.record
        # a reading that has just come back is not damped yet; full mains do not rise
        books = self.books
        tells = books.tells() and books.room > books.room_band
        if tells and (self.window <= 0 or self.window_mains == NOT_KNOWN):
            self.window = min(0, self.window)
            self.window_mains = mains
        elif not tells:
            self.window_mains = NOT_KNOWN
        self.window += seconds
        if self.window < WATCHED_S:
            return
        if tells:
            # half of what the slowest pump moves, as one of the two floats may stick
            due = self.least_rate * self.window // 7200
            more = mains - self.window_mains + record.burn * self.window // 3600 - due
            if self.window < WINDOW_S and -record.mains_noise <= more <= record.mains_noise:
                return
            rises = more >= 0
        else:  # the pressure alone must tell
            height = self.level - self.base
            rises = not (self.suspect and self.sure and height >= record.dead_head and height >= record.high)
        self.window = 0
        self.doubtful = not rises
        if rises:
            self.phase = FLOWING
            self.suspect = False
        elif self.suspect:
            self.phase = BLOCKED
