"""One input from count to damped reading: ratio to the rail, spike filter, fault, two curves, damping.

Integers below 2**30 throughout and nothing allocated per sample, not even a call's frame: a channel is a coroutine that
keeps its state in its own local variables and is sent one count after the other.
"""

from gaugebox.curve import lookup

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Generator

    from gaugebox.table import InputRecord

NONE, OPEN, SHORT, UNDER, OVER, RAIL, CONVERTER, COLD = range(8)
FAULTS = (None, "open", "short", "under", "over", "rail", "converter", "cold junction")

FAULT, COUNT, SIGNAL, READING = range(4)  # places in what a channel says
NO_INPUT = 255  # in place of the number of a rail or a cold junction
SILENT = -1  # sent in place of a count when the converter does not answer

CLOCK_MASK = (1 << 29) - 1  # milliseconds go round in six days
DAMPING_MS = 100  # one turn of the damper; a time constant is a whole number of these
MOST_MS = 6400  # longer than the watchdog lets a stall last


class Channel:
    """One input. `record` is its `InputRecord` of the table image, `clock` a list with the milliseconds gone by.

    step(count)  takes the next sample, 0..65535, or SILENT
    said         [fault, count, signal, reading]: the fault one of the codes above (until the first three samples, and
                 while the converter is silent, CONVERTER); the count that came last; signal and reading in the units and
                 decimals of the record, meaning nothing while there is a fault
    """

    def __init__(
        self,
        record: "InputRecord",
        clock: "list[int]",
        rail: "Channel | None" = None,
        cold: "Channel | None" = None,
    ) -> None:
        self.record = record
        self.said = [CONVERTER, 0, 0, 0]
        steps = _steps(
            record,
            self.said,
            clock,
            None if rail is None else rail.said,
            None if cold is None else cold.said,
        )
        next(steps)
        self.step = steps.send


def beyond(record: "Any") -> "tuple[int, int] | None":
    """What an input reads at least or at most while its signal is under, and over, all that its sender can say; None of a derived
    readout: nobody knows which part of it is."""
    curve = getattr(record, "reading_curve", None)
    if curve is None:
        return None
    first, last = curve[1][0], curve[1][len(curve[1]) - 1]
    return (first - 1, last + 1) if first <= last else (first + 1, last - 1)


def make_channels(records: "list[InputRecord]", clock: "list[int]") -> "list[Channel]":
    """A channel for each record, wired to its rail and its cold junction."""
    made: "dict[int, Channel]" = {}
    # a rail hangs on nothing, a cold junction at most on a rail
    for ties in range(3):
        for i in range(len(records)):
            record = records[i]
            if ties == (2 if record.cold != NO_INPUT else int(record.rail != NO_INPUT)):
                made[i] = Channel(record, clock, made.get(record.rail), made.get(record.cold))
    return [made[i] for i in range(len(records))]


def _steps(
    record: "InputRecord",
    said: "list[int]",
    clock: "list[int]",
    rail: "list[int] | None",
    cold: "list[int] | None",
) -> "Generator[None, int, None]":
    # 0, 1, 2, 3 below are FAULT, COUNT, SIGNAL, READING: a global name costs more than all else in its line
    lowest, lower, upper, highest = record.windows
    signal_x0, signal_shift, signal_starts = record.signal_curve[2]
    reading_x0, reading_shift, reading_starts = record.reading_curve[2]
    damping = record.damping
    half_damping = damping >> 1
    before = earlier = 0
    waits = 2
    seeded = False
    turned = state = damped = 0
    while True:
        count = yield
        if count < 0:
            said[0] = CONVERTER
            seeded = False
            waits = 2
            continue
        said[1] = count
        if rail is not None:
            # of two samples of one scan: the filter then takes out the one scan in which a rail that moves is seen first
            if rail[0] and rail[0] != CONVERTER:
                said[0] = RAIL
                seeded = False
                waits = 2
                continue
            # floor(count * 65536 / the rail's), within 30 bits
            x = rail[1]
            if count < x:
                y = count << 14
                count = (y // x << 2) + (y % x << 2) // x
            else:
                count = 65535
        low = before
        high = earlier
        earlier = low
        before = count
        if waits:
            waits -= 1  # the filter is not full yet
            continue
        if low > high:
            low, high = high, low
        if count < low:
            count = low
        elif count > high:
            count = high

        if count < lower:
            said[0] = record.faults[0 if count < lowest else 1]
            seeded = False
            continue
        if count > upper:
            said[0] = record.faults[3 if count > highest else 2]
            seeded = False
            continue

        # gaugebox.curve.lookup, written out twice: called, it would make the step an eighth dearer (the benchmark tells)
        at = signal_starts[(count - signal_x0) >> signal_shift]
        while count >= at[0]:
            at = at[1]
        y, at, x, y, dx, dy = at
        count = y + ((count - x) * dy + (dx >> 1)) // dx
        said[2] = count
        if cold is not None:
            if cold[0]:
                said[0] = COLD
                seeded = False
                continue
            count += lookup(record.cold_curve, cold[3])  # type: ignore[arg-type]
        at = reading_starts[(count - reading_x0) >> reading_shift]
        while count >= at[0]:
            at = at[1]
        y, at, x, y, dx, dy = at
        count = y + ((count - x) * dy + (dx >> 1)) // dx
        said[0] = NONE

        if damping > 1:
            if seeded:
                x = clock[0] - turned & CLOCK_MASK
                if x < DAMPING_MS:
                    continue
                if x > MOST_MS:
                    x = MOST_MS
                while x >= DAMPING_MS:
                    x -= DAMPING_MS
                    state += count - damped
                    damped = (state + half_damping) // damping
                turned = clock[0] - x & CLOCK_MASK
                count = damped
            else:
                seeded = True
                turned = clock[0]
                state = count * damping
                damped = count
        said[3] = count
