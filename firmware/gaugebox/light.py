"""Light: knobs, daylight, and all that is dimmed: lamps, the bus output, the display, the dim request.

A level is 0..10000, hundredths of a per cent of a knob's travel. Integers below 2**30 and nothing allocated per tick.
"""

from gaugebox.curve import lookup
from gaugebox.measure import FAULT, NONE, OPEN, OVER, READING, SHORT

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from gaugebox.curve import Curve
    from gaugebox.measure import Channel
    from gaugebox.table import DaylightRecord, DimmerRecord, DimRequestRecord, KnobRecord, Table

FULL = 10000
PLAY = 40  # counts, about 0.1 % of a knob's travel: what it may jitter without being moved
SAMPLES = 32  # of a knob in one tick
SPREAD = 400  # counts: samples of one tick further apart are a contact that breaks
BRIDGED = 50  # ticks, a second: what a source says stands so long after it has failed, and it is trusted again as late
KEPT = 8  # ticks
CENTRED = 16  # ticks
STILL, TRUSTED = 5, 500  # ticks that a value must stand, and that a contact must be good, after it has broken
TURNED = 1000  # level: a knob moved by more has been turned by hand
UNKNOWN = -1  # in place of a fault, until a source has said something
FACTOR_BITS = 14  # a factor of 1 is 1 << 14
# of a factor, in one tick; it falls at once, so that no lamp flares when its supply comes back
FACTOR_RISE = 8

# what a dimmer or the dim request follows
KNOB, INPUT, DIMMER, FIXED, SWITCH, DAYLIGHT = range(6)
NOTHING = 255  # in place of a number of a knob, an input
NO_LEVEL = 65535  # in place of a level
ALONG = 2  # in place of on or off: as what it follows


class Source:
    """Something that is followed, freed of noise: target is the level at the value last taken, which moves when it is off by more
    than play, and once more to the mean of what comes after, so that noise lies evenly about it.

    A fault is bridged for a second, and afterwards too target stays as it was some ticks before: a wire that breaks takes its voltage
    along through values that mean nothing. A contact that breaks now and then is watched: until it has been good for ten seconds a new
    value must stand still before it is taken, and a second's worth of breaks is a fault.
    """

    def __init__(self, curve: "Curve", play: int) -> None:
        self.curve = curve
        self.play = play
        self.value = 0
        self.target = 0
        self.newer = 0  # what target was up to KEPT ticks ago,
        self.older = 0  # and at least KEPT ticks ago
        self.age = KEPT << 1  # nothing older is worth keeping
        self.total = 0  # of the values since one was taken, less that
        self.taken = 0  # how many
        self.fault = UNKNOWN
        self.bad = 0  # ticks at fault since it was last trusted
        self.good = 0  # ticks without, up to now
        self.seen = 0  # a value while it is watched
        self.still = 0  # for how many ticks that has stood

    def take(self, fault: int, value: int) -> None:
        if fault:
            if not self.bad and not self.fault:
                self.target = self.older
            self.good = 0
            self.age = KEPT << 1
            self.bad += 1
            if self.fault > 0 or self.bad >= BRIDGED:
                self.bad = BRIDGED
                self.fault = fault
            return
        if self.fault == UNKNOWN:
            self.bad = 0
        elif self.bad:
            self.good += 1
            if not -self.play <= value - self.seen <= self.play:
                self.seen = value
                self.still = 0
            self.still += 1
            if self.fault > 0 and self.good >= BRIDGED or self.good >= TRUSTED:
                self.bad = 0
            elif self.fault > 0 or self.still < STILL:
                return
        if self.fault or not -self.play <= value - self.value <= self.play:
            self.fault = NONE
            self.value = value
            self.total = 0
            self.taken = 0
            self.target = lookup(self.curve, value)
        if self.taken < CENTRED:
            self.total += value - self.value
            self.taken += 1
            if self.taken == CENTRED:
                self.value += self.total // CENTRED
                self.target = lookup(self.curve, self.value)
        self.age += 1
        if self.age >= KEPT:
            self.older = self.target if self.age > KEPT else self.newer
            self.newer = self.target
            self.age = 0


class Knob:
    """A potentiometer. source is its position; turned whether a hand has moved it since `mark`; count what it took last, -1 before,
    and while its contact breaks."""

    def __init__(self, record: "KnobRecord") -> None:
        self.lowest = record.lowest
        self.highest = record.highest
        self.source = Source(record.curve, PLAY)
        self.stood = 0
        self.turned = False
        self.count = -1

    def sample(self, converter: "Any") -> None:
        """Takes its samples of one tick from the converter's pin."""
        least = most = total = converter.read_u16()
        for _ in range(SAMPLES - 1):
            count = converter.read_u16()
            total += count
            if count < least:
                least = count
            elif count > most:
                most = count
        self.take(total // SAMPLES if most - least <= SPREAD else -1)

    def take(self, count: int) -> None:
        self.count = count
        source = self.source
        was = source.fault
        source.take(OPEN if count < self.lowest else SHORT if count > self.highest else NONE, count)
        if source.fault:
            return
        if was:
            self.stood = source.target
        elif not -TURNED <= source.older - self.stood <= TURNED:  # not where a wire that breaks took it
            self.turned = True

    def mark(self) -> None:
        self.stood = self.source.target
        self.turned = False


class Daylight:
    """day is 1 by day, 0 by night, UNKNOWN until the sensor has said something or a second has passed."""

    def __init__(self, record: "DaylightRecord", channel: "Channel", knobs: "list[Knob]") -> None:
        self.record = record
        self.said = channel.said
        self.knobs = knobs
        self.stood = [0] * len(knobs)  # when the sensor failed
        self.day = UNKNOWN
        self.fault = UNKNOWN
        self.lasting = 0
        self.failed = 0

    def step(self) -> None:
        record = self.record
        if self.said[FAULT]:
            if self.failed < BRIDGED:
                self.failed += 1
                if self.failed < BRIDGED:
                    return
                for i in range(len(self.knobs)):
                    self.stood[i] = self.knobs[i].source.older
            # it stays as it was until a hand turns a knob: from then on the knobs alone decide
            self.fault = self.said[FAULT]
            self.lasting = 0
            if self.day < 0:
                self.day = 0
            for i in range(len(self.knobs)):
                source = self.knobs[i].source
                if not source.fault and not -TURNED <= source.older - self.stood[i] <= TURNED:
                    self.day = 0
            return
        self.failed = 0
        reading = self.said[READING]
        if self.day < 0:
            self.day = 0
            self.lasting = record.delay  # at start it decides at once
        if reading < record.night_below if self.day else reading > record.day_above:
            self.lasting += 1
            if self.lasting < record.delay:
                return
            self.day ^= 1
            for knob in self.knobs:
                knob.mark()
        self.fault = NONE
        self.lasting = 0


class Dimmer:
    """A lamp, the bus output or the display.

    target  where it is going; what follows it goes along
    level   where it stands, faded; 0 is off
    duty    what its pin is driven with, 0..65535; of the display its brightness
    fault   why it stands at its safe level, or follows one that does
    """

    def __init__(
        self,
        record: "DimmerRecord",
        source: "Source | Dimmer | None",
        supply: "Source | None",
        knob: "Knob | None",
    ) -> None:
        self.record = record
        self.source = source
        self.supply = supply  # its target is a factor
        self.knob = knob  # a turn of it overrides the daylight
        self.fault = UNKNOWN if source is not None else NONE
        self.target = 0
        self.level = 0
        self.lit = False
        self.known = False  # whether target has been
        self.faded = 0  # level << 16
        self.darkest = min(record.supply_curve[1]) if record.supply_curve is not None else 0
        self.factor = self.darkest
        self.steady = False  # whether factor has been taken once, and moves slowly from then on
        # the shortest pulse its driver is good for
        self.least = lookup(record.curve, max(1, record.off_below))
        self.duty = 0

    def step(self, day: int) -> None:
        if self._aim(day):
            self.duty = self._dimmed(self._faded())

    # Small functions: MicroPython takes a large frame from the heap, at every call, and looks for it.

    def _aim(self, day: int) -> bool:
        """Where it is to go; False where that is not known yet."""
        record = self.record
        source = self.source
        if (
            self.supply is not None
            and self.supply.fault == UNKNOWN
            or day == UNKNOWN
            and record.by_day != NO_LEVEL
        ):
            self.fault = UNKNOWN
            return False
        level = record.fixed
        self.fault = NONE
        if source is not None:
            self.fault = source.fault
            if self.fault == UNKNOWN:
                return False
            if self.fault and record.on_fault != NO_LEVEL:
                level = record.on_fault
            else:
                level = source.target
                if record.source == DIMMER:
                    level = lookup(record.source_curve, level)  # type: ignore[arg-type]
        if day and record.by_day != NO_LEVEL and (self.knob is None or not self.knob.turned):
            level = record.by_day
        # at start a dim lamp is no nuisance, a dark one may be
        if level >= (record.on_above if self.known else record.off_below):
            self.lit = True
        elif level < record.off_below:
            self.lit = False
        if not self.lit:
            level = 0
        if level < record.not_below:
            level = record.not_below
        self.known = True
        self.target = level
        return True

    def _faded(self) -> int:
        """On the way there."""
        fade = self.record.fade
        level = self.target
        if fade > 1:
            gap = (level << 16) - self.faded
            if 0 <= gap < fade:
                self.faded += gap
            else:
                self.faded += gap // fade
            level = self.faded + 0x8000 >> 16
        self.level = level
        return level

    def _dimmed(self, level: int) -> int:
        """The duty, its supply allowed for."""
        duty = lookup(self.record.curve, level)
        if self.supply is not None:
            if self.supply.fault == OVER:
                self.factor = self.darkest
            elif not self.supply.fault:
                change = self.supply.target - self.factor
                self.factor += min(FACTOR_RISE, change) if self.steady else change
            self.steady = True
            if duty > self.least:
                duty = max(self.least, duty * self.factor + (1 << FACTOR_BITS - 1) >> FACTOR_BITS)
        return duty


class Switch:
    """A discrete input; level is 1 while it is on, and changes when it has been so for three ticks."""

    def __init__(self, on: int) -> None:
        self.on = on
        self.level = 0
        self.changed = 0

    def take(self, level: int) -> None:
        if (level == self.on) == self.level:
            self.changed = 0
            return
        self.changed += 1
        if self.changed == 3:
            self.level ^= 1
            self.changed = 0


class DimRequest:
    """on is 1 while the instruments on the line are asked to dim; pin is the level of its pin."""

    def __init__(
        self, record: "DimRequestRecord", source: "Dimmer | Switch | Daylight", knob: "Knob | None"
    ) -> None:
        self.record = record
        self.source: "Any" = source
        self.knob = knob  # a turn of it overrides the daylight
        self.on = 0
        self.pin = 1 - record.active
        self.fault = UNKNOWN

    def step(self, day: int) -> None:
        record = self.record
        source = self.source
        on = self.on
        fault = NONE if record.source == SWITCH else source.fault
        if day == UNKNOWN or fault == UNKNOWN:
            self.fault = UNKNOWN
            return
        if fault and record.on_fault != ALONG:
            on = record.on_fault
        elif record.source == DAYLIGHT:
            on = 1 - source.day
        elif record.source == SWITCH:
            on = source.level
        elif source.target > (record.off_below if self.fault == UNKNOWN else record.on_above):
            on = 1
        elif source.target < record.off_below:
            on = 0
        self.fault = fault
        if day and (self.knob is None or not self.knob.turned):
            on = 0
        self.on = on
        self.pin = on if record.active else 1 - on


class Lighting:
    """All of it, wired as the table says. Knobs and switches are given their samples, then comes step()."""

    def __init__(self, table: "Table", channels: "list[Channel]") -> None:
        self.knobs = [Knob(record) for record in table.knobs]
        self.switches = [Switch(record.on) for record in table.switches]
        self.followed: "list[tuple[Source, list[int]]]" = []  # and what its channel says
        self.daylight: "Daylight | None" = None
        if table.daylight is not None:
            self.daylight = Daylight(table.daylight, channels[table.daylight.input], self.knobs)
        self.dimmers: "list[Dimmer]" = []
        for record in table.dimmers:
            source: "Source | Dimmer | None" = None
            if record.source == KNOB:
                source = self.knobs[record.index].source
            elif record.source == DIMMER:
                source = self.dimmers[record.index]
            elif record.source_curve is not None:
                source = self._follow(channels[record.index], record.source_curve, record.play)
            supply = None
            if record.supply_curve is not None:
                supply = self._follow(channels[record.supply], record.supply_curve, record.supply_play)
            self.dimmers.append(Dimmer(record, source, supply, self._knob(record.knob)))
        self.dim_request: "DimRequest | None" = None
        request = table.dim_request
        if request is not None:
            followed: "Any" = self.daylight
            if request.source == DIMMER:
                followed = self.dimmers[request.index]
            elif request.source == SWITCH:
                followed = self.switches[request.index]
            self.dim_request = DimRequest(request, followed, self._knob(request.knob))

    def _follow(self, channel: "Channel", curve: "Curve", play: int) -> Source:
        source = Source(curve, play)
        self.followed.append((source, channel.said))
        return source

    def _knob(self, number: int) -> "Knob | None":
        return None if number == NOTHING else self.knobs[number]

    def step(self) -> None:
        """One tick of everything but the knobs and switches."""
        self._take()
        day = 0
        if self.daylight is not None:
            self.daylight.step()
            day = self.daylight.day
        self._dim(day)
        if self.dim_request is not None:
            self.dim_request.step(day)

    # Small functions: MicroPython takes a large frame from the heap, at every call, and looks for it.

    def _take(self) -> None:
        for source, said in self.followed:
            source.take(said[FAULT], said[READING])

    def _dim(self, day: int) -> None:
        for dimmer in self.dimmers:
            dimmer.step(day)
