"""Alerts: conditions over readouts and switches, rules with time and memory, and what of all that the pilot is told.

Nothing allocated per tick. What was not acknowledged comes before what was, then warnings before cautions, then the newest.
"""

from gaugebox.measure import COLD, FAULT, FAULTS, OVER, RAIL, READING, UNDER, beyond

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from gaugebox.light import Switch
    from gaugebox.measure import Channel
    from gaugebox.readouts import Derived, Readout
    from gaugebox.alert_records import AlertRecord, ConditionRecord

NO_CONDITION = 255  # in place of a number of a condition
ABOVE, BELOW, FAULTY, ON, OFF = range(5)  # ways of a condition
UNKNOWN = -1
CAUTION, WARNING = 1, 2  # urgencies; 0: it is not there
FLAG = 3  # of a lamp: while a needle stands for nothing
# turns of a fault, a second in all, before it is told; for each of them the sender must have been good for ten, that it is told no more.
# So a wire that breaks now and then is told, and stays told
LASTS = 10
STANDS = 10
FADES = 10  # turns in which nothing is known, for one that is taken off what has lasted
KEPT = 600  # turns, a minute, that an acknowledgement outlives what it was for
DARK, STEADY, FLASHING = range(3)  # a lamp for alerts
FLASH = 25  # ticks; half of them lit, which is 2 Hz


class Condition:
    """holds: 1, 0, or UNKNOWN while the readout it looks at is at fault; but what is under or over all that its sender can say is at least
    as far as that."""

    def __init__(
        self, record: "ConditionRecord", channels: "list[Channel | Derived]", switches: "list[Switch]"
    ) -> None:
        self.way = record.way
        self.value = record.value
        self.switch = switches[record.index] if record.way in (ON, OFF) else None
        self.said = channels[record.index].said if self.switch is None else [0, 0, 0, 0]
        self.beyond = beyond(channels[record.index].record) if self.switch is None else None
        self.holds = UNKNOWN

    def step(self) -> None:
        way = self.way
        if self.switch is not None:
            self.holds = self.switch.level if way == ON else 1 - self.switch.level
        elif way == FAULTY:
            self.holds = 1 if self.said[FAULT] else 0
        else:
            fault, reading = self.said[FAULT], self.said[READING]
            if fault:
                if self.beyond is None or fault != UNDER and fault != OVER:
                    self.holds = UNKNOWN
                    return
                reading = self.beyond[0 if fault == UNDER else 1]
            self.holds = int(reading > self.value if way == ABOVE else reading < self.value)


class Rule:
    """on is 1 from when all of `when` has held for its time, `after` having held before, until `until` holds for as long; where there
    is no `until`, until one of `when` does not. A time for which it was not so is taken off again.

    What is not known changes nothing: an alert that is on stays on while a sender is at fault.
    """

    def __init__(self, record: "AlertRecord", conditions: "list[Condition]") -> None:
        self.record = record
        self.when = [conditions[number] for number in record.when]
        self.after = None if record.after == NO_CONDITION else conditions[record.after]
        self.until = None if record.until == NO_CONDITION else conditions[record.until]
        self.armed = self.after is None
        self.on = 0
        self.lasting = self.unknown = 0

    def step(self) -> None:
        if self.after is not None and self.after.holds == 1:
            self.armed = True
        all_hold = 1
        for condition in self.when:
            if condition.holds != 1 and all_hold:  # one that does not hold outweighs what is not known
                all_hold = condition.holds
        if self.on:
            ends = all_hold == 0 if self.until is None else self.until.holds == 1
        else:
            ends = self.armed and all_hold == 1
        if not ends:
            waited_for = self.until.holds if self.on and self.until is not None else all_hold
            if self.lasting:
                self.unknown += 1 if waited_for == UNKNOWN else FADES
                if self.unknown >= FADES:
                    self.unknown = 0
                    self.lasting -= 1
            return
        self.lasting += 1
        if self.lasting >= self.record.lasts:
            self.lasting = 0
            self.on ^= 1


class Alert:
    """One thing that the pilot may be told. rank: of one that gets worse; it is then told again, though it was acknowledged. side: what
    it may be of several things, of which one acknowledged says nothing of the others. what: which words it has.
    """

    def __init__(self, source: "Any") -> None:
        self.source = source
        self.urgency = 0
        self.rank = self.side = self.what = 0
        self.acknowledged = 0  # up to that rank
        self.since = 0  # a number that grows from one to the next
        self.gone = 0  # turns

    def unseen(self) -> bool:
        return self.urgency > 0 and self.rank > self.acknowledged


class Alerts:
    """All of them: faults of inputs, markings, rules, in this order, and what else is added.

    order           numbers of those that are on, the first to be read first
    warning         DARK, STEADY (all acknowledged) or FLASHING; of the lamp for warnings
    caution         DARK (all acknowledged) or STEADY
    changed         goes up with every change
    """

    def __init__(
        self, inputs: "list[Channel]", readouts: "list[Readout]", rules: "list[Rule]", others: "list[Any]"
    ) -> None:
        self.inputs = inputs
        self.readouts = readouts
        self.rules = rules
        self.others = others
        self.all = [Alert(source) for source in inputs + readouts + rules + others]
        self.lasting = bytearray(len(inputs))  # turns of fault, times STANDS
        self.order = bytearray(len(self.all))
        self.count = 0
        self.warning = self.caution = DARK
        self.changed = 0
        self.flash = 0
        self.flagged = False  # whether a needle stands for nothing

    def step(self, known: bool) -> None:
        """known: whether every input has had the time to say something."""
        changed = self.changed
        at = 0
        for channel in self.inputs:
            fault = channel.said[FAULT]
            if not known or fault == RAIL or fault == COLD:
                fault = 0  # those of the rail, the cold junction, tell it
            alert = self.all[at]
            lasting = self.lasting[at]
            if fault:
                lasting = min(lasting + STANDS, LASTS * STANDS)
            elif lasting:
                lasting -= 1
            self.lasting[at] = lasting
            told = lasting == LASTS * STANDS or lasting > 0 and alert.urgency > 0
            self._tell(alert, CAUTION if told else 0, 1, fault or alert.what, 0)
            at += 1
        for readout in self.readouts:
            rank = readout.rank
            urgency = readout.record.urgencies[readout.zone] if rank else 0
            self._tell(self.all[at], urgency, rank, readout.zone, readout.side)
            at += 1
        for rule in self.rules:
            self._tell(self.all[at], rule.record.urgency if rule.on else 0, 1, 0, 0)
            at += 1
        for other in self.others:
            self._tell(self.all[at], other.urgency, other.rank, other.what, other.side)
            at += 1
        if changed != self.changed:
            self._sort()

    def tick(self) -> None:
        """For the lamps, every tick."""
        self.flash += 1
        if self.flash == FLASH:
            self.flash = 0

    def _tell(self, alert: Alert, urgency: int, rank: int, what: int, side: int) -> None:
        if urgency:
            # what is better now, or comes back less bad, and is then worse again is told again
            alert.acknowledged = min(alert.acknowledged, rank) if side == alert.side else 0
            if not alert.urgency or rank > alert.rank or side != alert.side:
                self.changed += 1
                alert.since = self.changed
            elif urgency != alert.urgency or rank != alert.rank or what != alert.what:
                self.changed += 1
            alert.urgency = urgency
            alert.rank = rank
            alert.what = what
            alert.side = side
            alert.gone = 0
        elif alert.urgency:
            self.changed += 1
            alert.urgency = 0
        elif alert.acknowledged:
            alert.gone += 1
            if alert.gone >= KEPT:
                alert.acknowledged = 0

    def acknowledge(self) -> None:
        """All of them."""
        for number in range(len(self.all)):
            self.see(number)
        self.show()

    def see(self, number: int) -> None:
        """One is acknowledged; show() then."""
        alert = self.all[number]
        if alert.urgency:
            alert.acknowledged = alert.rank

    def show(self) -> None:
        self.changed += 1
        self._sort()

    def _sort(self) -> None:
        order = self.order
        count = 0
        self.warning = self.caution = DARK
        for number in range(len(self.all)):
            alert = self.all[number]
            urgency = alert.urgency
            if not urgency:
                continue
            unseen = alert.unseen()
            if urgency == WARNING:
                self.warning = FLASHING if unseen or self.warning == FLASHING else STEADY
            elif unseen:
                self.caution = STEADY
            at = count
            while at and self._before(alert, self.all[order[at - 1]]):
                order[at] = order[at - 1]
                at -= 1
            order[at] = number
            count += 1
        self.count = count

    def _before(self, one: Alert, other: Alert) -> bool:
        if one.unseen() != other.unseen():
            return one.unseen()
        if one.urgency != other.urgency:
            return one.urgency > other.urgency
        return one.since > other.since

    def lit(self, urgency: int) -> bool:
        """Whether the lamp for that urgency, or the flag, is lit now."""
        if urgency == FLAG:
            return self.flagged
        state = self.warning if urgency == WARNING else self.caution
        return state == STEADY or state == FLASHING and self.flash < FLASH >> 1

    def words(self, number: int) -> str:
        """What the alert with that number says. Allocates: for the face, when something has changed, and for the line."""
        source, what = self.all[number].source, self.all[number].what
        if number < len(self.inputs):
            return "%s FAIL %s" % (source.record.name, FAULTS[what] or "")
        number -= len(self.inputs)
        if number < len(self.readouts):
            return "%s %s" % (source.channel.record.name, source.record.words[what])
        number -= len(self.readouts)
        if number < len(self.rules):
            return str(source.record.words)
        return str(source.words())
