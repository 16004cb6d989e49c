"""One input from count to damped reading: spike filter, fault, ratio, two curves, damping.

Integers below 2**30 throughout and nothing allocated per sample.
"""

from gaugebox.curve import lookup

TYPE_CHECKING = False
if TYPE_CHECKING:
    from gaugebox.table import InputRecord

NONE, OPEN, SHORT, UNDER, OVER, RAIL, CONVERTER = range(7)
FAULTS = (None, "open", "short", "under", "over", "rail", "converter")

DAMPING_MS = 100  # one turn of the damper; a time constant is a whole number of these
MOST_TURNS = 64  # more than the watchdog lets a stall last


def ratio(count: int, reference: int) -> int:
    """floor(count * 65536 / reference) for 0 <= count < reference <= 65535, within 30 bits."""
    a = count << 14
    return (a // reference << 2) + (a % reference << 2) // reference


class Channel:
    """What one input last said. `record` is the input's `InputRecord` of the table image.

    fault    one of the codes above; until the first three samples, and while the converter is silent, CONVERTER
    count    spike-filtered count, 0..65535
    signal   in the input's signal unit and decimals; means nothing while there is a fault
    reading  in the input's reading unit and decimals, damped; means nothing while there is a fault
    """

    def __init__(self, record: "InputRecord", reference: "Channel | None" = None) -> None:
        self.record = record
        self.reference = reference
        # one attribute is cheaper to fetch than six
        self.fixed = (
            record.windows[1],
            record.windows[2],
            record.signal_curve,
            record.reading_curve,
            record.damping,
            record.damping >> 1,
        )
        self.count = 0
        self.signal = 0
        self.reading = 0
        self.fault = CONVERTER
        self.before = 0
        self.earlier = 0
        self.waits = 2
        self.state = 0
        self.seeded = False
        self.owed_ms = 0

    def lose(self) -> None:
        """The converter does not answer."""
        self.fault = CONVERTER
        self.seeded = False
        self.waits = 2

    def step(self, count: int, elapsed_ms: int) -> None:
        """Takes the next sample, `elapsed_ms` after the one before."""
        low = self.before
        high = self.earlier
        self.earlier = low
        self.before = count
        if self.waits and self.fault == CONVERTER:
            # the filter is not full yet
            self.waits -= 1
            return
        if low > high:
            low, high = high, low
        if count < low:
            count = low
        elif count > high:
            count = high
        self.count = count

        reference = self.reference
        if reference is not None:
            if reference.fault:
                # samples of the dead rail must leave the filter before it is believed again
                self.fault = RAIL
                self.seeded = False
                self.waits = 2
                return
            if self.waits:
                self.waits -= 1
                return
            r = reference.count
            count = ratio(count, r) if count < r else 65535

        low, high, signal_curve, reading_curve, damping, half = self.fixed
        if count < low:
            self.fault = self.record.faults[0 if count < self.record.windows[0] else 1]
            self.seeded = False
            return
        if count > high:
            self.fault = self.record.faults[3 if count > self.record.windows[3] else 2]
            self.seeded = False
            return
        self.fault = NONE

        self.signal = signal = lookup(signal_curve, count)
        reading = lookup(reading_curve, signal)

        if damping > 1:
            if self.seeded:
                owed = self.owed_ms + elapsed_ms
                self.owed_ms = owed % DAMPING_MS
                turns = owed // DAMPING_MS
                if turns > MOST_TURNS:
                    turns = MOST_TURNS
                state = self.state
                damped = self.reading
                while turns:
                    state += reading - damped
                    damped = (state + half) // damping
                    turns -= 1
                self.state = state
                reading = damped
            else:
                self.seeded = True
                self.owed_ms = 0
                self.state = reading * damping
        self.reading = reading
