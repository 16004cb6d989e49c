"""A fuel gauge that does not move as burn and transfer say it must.

A float that sticks, a bad ground, a corroded contact stay inside the sender's own span and look like a reading; but fuel goes on
being burnt. So each gauge is held against how fast it must change at least and may change at most, with a two-sided cumulative sum.
Integers below 2**30 and nothing allocated per step.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

NOT_JUDGED, AGREES, READS_HIGH, READS_LOW = range(4)
RESTS, MAY_FEED, FEEDS = range(3)  # whether the burn comes from this gauge's fuel: no, nobody knows, yes

TURN_MS = 10000
PARTS = 720  # of a unit: a turn is 1/360 h, and two bounds are added up, which is twice their middle
LANDED_TURNS = 6  # a flag that drops for less is no landing
MOST_READING = 200000
MOST_RATE = 20000
# an hour; over the two turns that one turn and a stall may come to it stays below 2**30
MOST_TRANSFER = 50000
MOST_PARTS = 1 << 28  # where sums stop: more than any reading could be off


class Disagree:
    """One gauge: a tank, or the sum of several. `record` is a `DisagreeRecord`, whole numbers in fuel units (as the gauge's reading,
    0..MOST_READING) and units per hour (0..MOST_RATE), in which the errors of the gauge's scale are allowed for:

    burn_low, burn_high  how fast it falls, at least and at most, while the burn comes from it
    allowance            a disagreement up to this is slosh and attitude; the alert goes below half of it; 2 at least
    smoothing            turns of 10 s over which slosh is averaged, 1..1000
    top, unseen          from this reading on the float stands at its upper stop; how much may be in the tank that it does not see
    bottom               at or below this reading the float lies on its lower stop

    step()  once a tick
    state   NOT_JUDGED on the ground, in a fault, and before it has been averaged; AGREES says no more than that nothing speaks
            against it; READS_LOW may also be fuel that goes elsewhere
    size    by how much it reads too high at least; less than nought: too low. Nought where it is neither. Time alone makes it no
            smaller: the gauge must come back faster than burn or transfer explain
    """

    def __init__(self, record: "Any") -> None:
        self.record = record
        self.state = NOT_JUDGED
        self.size = 0
        self.waited = 0  # ms of this turn
        self.gain_low = self.gain_high = 0  # transferred in it, in units per hour times ms
        self.landed = LANDED_TURNS
        self.turns = 0  # averaged so far; 0 is not seeded
        self.last = self.unseen = 0
        # in parts
        self.behind = 0  # what it has moved beyond the middle of its bounds, and has not been counted yet
        self.slack = 0  # half the width of the bounds, of what has not been counted
        self.sign = 1  # the leading sum is of too high a reading, -1 too low
        self.lead = self.trail = 0  # the two sums
        self.peak = 0  # the most that lead has been, while the gauge is suspected; trail then starts as far below nought
        self.spare = 0  # what trail may have below nought besides

    def step(
        self, elapsed_ms: int, flying: int, fault: int, reading: int, feed: int, low: int, high: int
    ) -> None:
        """A tick. flying: -1 while nobody knows; fuel may be burnt then. The reading means nothing while there is a fault. feed: RESTS,
        MAY_FEED or FEEDS. low, high: what flows in from elsewhere at least and at most, units per hour."""
        elapsed_ms = min(elapsed_ms, TURN_MS)
        self.waited += elapsed_ms
        if high:
            self.gain_low += low * elapsed_ms
            self.gain_high += high * elapsed_ms
        if self.waited >= TURN_MS:
            self.waited -= TURN_MS
            self._turn(flying, fault, reading, feed)

    def _turn(self, flying: int, fault: int, reading: int, feed: int) -> None:
        record = self.record
        least = self.gain_low // TURN_MS - (record.burn_high if feed else 0)
        most = self.gain_high // TURN_MS - (record.burn_low if feed == FEEDS and flying >= 0 else 0)
        self.gain_low = self.gain_high = 0
        if flying:
            self.landed = 0
        elif self.landed < LANDED_TURNS:
            self.landed += 1
        else:
            self.turns = 0
        paused = fault or flying < 1
        if paused:
            self.state = NOT_JUDGED
            self.size = 0
        if not self.turns:
            if not paused:
                self._seed(reading)
            return
        # a float at its stop need not move
        if fault:
            reading = self.last
        if reading >= record.top:
            least = min(least, 0)
            if most < 0 < self.unseen:
                self.unseen += most << 1
                most = 0
        elif reading <= record.bottom:
            most = max(most, 0)
        # fuel goes on being burnt while the gauge is not to be seen
        self.behind = max(-MOST_PARTS, min(MOST_PARTS, self.behind - least - most))
        self.slack = min(MOST_PARTS, self.slack + most - least)
        if not paused:
            self.behind += (reading - self.last) * PARTS
            self.last = reading
            self._judge()

    def _seed(self, reading: int) -> None:
        self.turns = 1
        self.last = reading
        self.unseen = self.record.unseen * PARTS
        self.behind = self.slack = 0
        self.lead = self.trail = self.peak = self.spare = 0

    def _judge(self) -> None:
        settling = self.turns < self.record.smoothing
        if settling:
            self.turns += 1
        moved = self.behind // self.turns
        self.behind -= moved
        slack = self.slack // self.turns
        self.slack -= slack
        if settling:
            return
        on = self.record.allowance * PARTS
        off = on >> 1
        moved *= self.sign
        lead = max(0, min(MOST_PARTS, self.lead + moved - slack))
        trail = min(MOST_PARTS, self.trail - moved - slack)
        if not self.peak:
            trail = max(-self.spare, trail)
            self.spare = max(0, min(self.spare, -trail))
            if trail > lead:
                lead, trail = trail, lead
                self.sign = -self.sign
            if lead > on * 3 // 4:
                self.peak = lead
                trail = -lead
        else:
            # a gauge that is suspected is no witness for the other side: what it has led by it may come back, and what the bounds
            # have grown apart since
            self.spare = min(MOST_PARTS, self.spare + (slack << 1))
            if lead > self.peak:
                self.peak = lead
                trail = -lead
            trail = max(-self.peak, trail)
            # time alone ends no alert: it must have come back, faster than burn or transfer explain
            if self.peak > on:
                if trail > -off:
                    lead = max(0, min(lead, -trail))
                    trail = max(-MOST_PARTS, trail - self.spare)
                    self.spare = max(0, -trail)
                    self.peak = 0
            elif lead <= 0 or trail >= 0:
                lead = 0
                trail = max(0, trail)
                self.spare = 0
                self.peak = 0
        self.lead = lead
        self.trail = trail
        if self.peak > on:
            self.state = READS_HIGH if self.sign > 0 else READS_LOW
            self.size = -trail // PARTS * self.sign
        else:
            self.state = AGREES
            self.size = 0
