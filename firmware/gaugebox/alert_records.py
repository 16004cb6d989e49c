"""The table image's sections for readouts and alerts. Each raises ValueError where it cannot be run; table.py looks at them together."""

from array import array

from gaugebox import needle
from gaugebox.alerts import ABOVE, NO_CONDITION, OFF, ON, WARNING
from gaugebox.disagree import FEEDS, MOST_RATE, MOST_READING, MOST_TRANSFER
from gaugebox.pins import OUTPUT_PINS
from gaugebox.readouts import RED
from gaugebox.books import MOST_FUEL
from gaugebox.reserve import MOST_PRESSURE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from gaugebox.curve import Curve
    from gaugebox.table import Payload, Table

DERIVED_FIXED = "<BBHi"  # decimals, number of parts, -, step in reading units
PART_FIXED = "<I"  # input; its curve follows: what its reading adds, in reading units
# channel; condition without which it is not judged; delay in turns of 100 ms; play, and the ends of its bar, in reading units; number of edges
READOUT_FIXED = "<BBHiiiI"
ZONE_FIXED = "<BBBB"  # colour, rank, urgency, -; its words follow all zones
CONDITION_FIXED = "<BBHi"  # way, channel or switch, -, reading
ALERT_FIXED = "<BBBBHH"  # urgency; conditions: after, until; number of `when`; turns of 100 ms; -
BUTTONS_FIXED = "<BBBB"  # switches: acknowledge, test, page, -
RESERVE_FIXED = "<BBBB"  # switch of the pump; channels: pressure, mains; switch that says it was filled; then RESERVE_NUMBERS
FURTHEST = 0x1FFFFFFF  # from 0 that a reading is, or what it is held against: sum and difference of two are small integers
# as gaugebox.reserve and gaugebox.books tell them; the least and the most with which all their products stay small integers
RESERVE_NUMBERS = (
    ("low", 1, MOST_PRESSURE), ("high", 1, MOST_PRESSURE), ("dead_head", 0, MOST_PRESSURE),
    ("base_least", -MOST_PRESSURE, MOST_PRESSURE), ("base_most", -MOST_PRESSURE, MOST_PRESSURE),
    ("bottom", -MOST_PRESSURE, MOST_PRESSURE), ("drift", 0, MOST_PRESSURE), ("build", 1, 6000),
    ("rate", 1, MOST_FUEL), ("rate_band", 0, 100), ("burn", 0, MOST_FUEL), ("burn_band", 0, 100),
    ("mains_full", 1, MOST_FUEL), ("mains_band", 0, 100), ("mains_noise", 0, MOST_FUEL), ("mains_lag", 0, 1000),
    ("reserve_full", 0, MOST_FUEL), ("reserve_band", 0, MOST_FUEL),
)  # fmt: skip
# channel; condition that says it flies; whether the burn comes from it; -; per cent of the transfer that go there, least and most
DISAGREE_FIXED = "<BBBBHH"
DISAGREE_NUMBERS = (
    ("burn_low", 0, MOST_RATE), ("burn_high", 0, MOST_RATE), ("allowance", 2, MOST_READING), ("smoothing", 1, 1000),
    ("top", -MOST_READING, MOST_READING), ("unseen", 0, MOST_READING), ("bottom", -MOST_READING, MOST_READING),
)  # fmt: skip
# pin, channel; place when parked, the most it moves in a tick, both in hundredths of a per cent of the time; frequency in Hz
NEEDLE_FIXED = "<BBHHI"
MOST_NEEDLES = 4
FACE_FIXED = "<BB"  # address of its display, number of pages
PAGE_FIXED = "<BBBBB"  # kind, number of readouts, up to three of them
OVERVIEW_PAGE, LARGE_PAGE, ALERTS_PAGE, RESERVE_PAGE = range(4)
MOST_PAGES = 8
DISPLAY_ADDRESSES = (0x3C, 0x3D)
MOST_DERIVED = 8
MOST_READOUTS = 24  # each input and each derived one; the numbers of all alerts then lie below those that the face gives a meaning
MOST_GAUGES = 6
MOST_CONDITIONS = 48
MOST_ALERTS = 16
MOST_ZONES = 12
MOST_WHEN = 6  # conditions of an alert
MOST_DELAY = 6000  # turns: ten minutes
MOST_DECIMALS = 6  # of a reading, so that the longest number has room for its sign and point
MOST_SIGNAL_DECIMALS = 9  # and of a signal
NO_SWITCH = 255


def check_shown(record: "Any") -> None:
    """Whether a reading of an input or a derived readout can be written."""
    fine = record.reading_decimals > MOST_DECIMALS or record.signal_decimals > MOST_SIGNAL_DECIMALS
    if fine or not 1 <= record.step <= FURTHEST:
        raise ValueError("%s: its step or its decimals are out of range" % record.name)


def _numbers(
    record: "Any", payload: "Payload", bounds: "tuple[tuple[str, int, int], ...]", where: str
) -> None:
    for name, least, most in bounds:
        (number,) = payload.fixed("<i")
        if not least <= number <= most:
            raise ValueError("%s: %s is out of range" % (where, name))
        setattr(record, name, number)


class DerivedRecord:
    def __init__(self, payload: "Payload") -> None:
        self.reading_decimals, count, _, self.step = payload.fixed(DERIVED_FIXED)
        self.name = payload.text()
        self.reading_unit = payload.text()
        self.signal_unit = self.reading_unit
        self.signal_decimals = self.reading_decimals
        self.parts: "list[tuple[int, Curve]]" = []
        for _ in range(count):
            payload.align()
            (index,) = payload.fixed(PART_FIXED)
            self.parts.append((index, payload.curve()))
        if not 1 <= count <= 4:
            raise ValueError("%s: of a form that is not known" % self.name)
        check_shown(self)


class ReadoutRecord:
    """Of its zones, one more than edges: colours, ranks, urgencies, words."""

    def __init__(self, payload: "Payload") -> None:
        fixed = payload.fixed(READOUT_FIXED)
        self.index, self.only_when, self.delay, self.play, self.low, self.high, count = fixed
        self.label = payload.text()
        if count >= MOST_ZONES:
            raise ValueError("%s has %d edges" % (self.label, count))
        payload.align()
        self.edges = array("i", [payload.fixed("<i")[0] for _ in range(count)])
        zones = [payload.fixed(ZONE_FIXED) for _ in range(count + 1)]
        self.colours = bytes([zone[0] for zone in zones])
        self.ranks = bytes([zone[1] for zone in zones])
        self.urgencies = bytes([zone[2] for zone in zones])
        self.words = [payload.text() for _ in zones]
        for k in range(count - 1):
            if self.edges[k] >= self.edges[k + 1]:
                raise ValueError("%s: its edges do not rise" % self.label)
        furthest = max([abs(place) for place in [self.low, self.high, self.play] + list(self.edges)])
        known = max(self.colours) <= RED and max(self.urgencies) <= WARNING and 1 <= self.delay <= MOST_DELAY
        if not known or furthest > FURTHEST or self.low >= self.high or self.play < 0:
            raise ValueError("%s: a mark is out of range" % self.label)


class ConditionRecord:
    def __init__(self, payload: "Payload") -> None:
        self.way, self.index, _, self.value = payload.fixed(CONDITION_FIXED)
        if abs(self.value) > FURTHEST:
            raise ValueError("a condition's reading is out of range")


class AlertRecord:
    def __init__(self, payload: "Payload") -> None:
        self.urgency, self.after, self.until, count, self.lasts, _ = payload.fixed(ALERT_FIXED)
        self.when = [payload.fixed("<B")[0] for _ in range(count)]
        self.words = payload.text()
        if not (1 <= self.urgency <= WARNING and 1 <= count <= MOST_WHEN):
            raise ValueError("alert %s: of a form that is not known" % self.words)


class ButtonsRecord:
    def __init__(self, payload: "Payload") -> None:
        self.acknowledge, self.test, self.page, _ = payload.fixed(BUTTONS_FIXED)


class ReserveRecord:
    def __init__(self, payload: "Payload") -> None:
        self.pump, self.pressure, self.mains, self.filled = payload.fixed(RESERVE_FIXED)
        self.rate = self.rate_band = self.reserve_full = self.reserve_band = 0
        self.low = self.high = self.base_least = self.base_most = 0
        _numbers(self, payload, RESERVE_NUMBERS, "reserve")
        if self.low > self.high or self.base_least > self.base_most:
            raise ValueError("reserve: a least pressure is more than the most")


class DisagreeRecord:
    def __init__(self, payload: "Payload") -> None:
        fixed = payload.fixed(DISAGREE_FIXED)
        self.index, self.flies, self.feeds, _, self.share_low, self.share_high = fixed
        self.burn_low = self.burn_high = self.allowance = self.smoothing = 0
        self.top = self.unseen = self.bottom = 0
        _numbers(self, payload, DISAGREE_NUMBERS, "disagree")
        rises = self.burn_low <= self.burn_high and self.share_low <= self.share_high <= 100
        if not rises or self.feeds > FEEDS:
            raise ValueError("disagree: a burn or a share is out of range")


class NeedleRecord:
    """curve: from the reading to its place; low, high: the readings that it covers."""

    def __init__(self, payload: "Payload") -> None:
        self.pin, self.index, self.park, self.slew, self.frequency = payload.fixed(NEEDLE_FIXED)
        self.name = payload.text()
        self.curve = payload.curve(True)
        x, y = self.curve[0], self.curve[1]
        self.low, self.high = x[0], x[len(x) - 1]
        if min(y) < 0 or max(max(y), self.park) > needle.FULL or not 1 <= self.slew <= needle.FULL:
            raise ValueError("needle %s: a place is out of range" % self.name)
        if self.pin not in OUTPUT_PINS or not 8 <= self.frequency <= 100000:
            raise ValueError("needle %s: its pin or frequency is not possible" % self.name)


class FaceRecord:
    """pages: of each its kind, and the numbers of the readouts that stand on it large."""

    def __init__(self, payload: "Payload") -> None:
        self.address, count = payload.fixed(FACE_FIXED)
        self.pages: "list[tuple[int, tuple[int, ...]]]" = []
        for _ in range(count):
            page = payload.fixed(PAGE_FIXED)
            self.pages.append((page[0], page[2 : 2 + page[1]]))
            if page[0] > RESERVE_PAGE or page[1] > 3 or (page[0] == LARGE_PAGE) != (page[1] > 0):
                raise ValueError("face: a page of a form that is not known")
        if self.address not in DISPLAY_ADDRESSES or not 1 <= count <= MOST_PAGES:
            raise ValueError("face: its address or number of pages is not possible")


def check(table: "Table") -> None:
    """Whether all that they name is there. Raises ValueError."""
    inputs = len(table.inputs)
    channels = inputs + len(table.derived)
    switches = len(table.switches)
    conditions = len(table.conditions)
    shown = max(len(table.derived) - MOST_DERIVED, len(table.readouts) - MOST_READOUTS)
    if max(shown, conditions - MOST_CONDITIONS, len(table.alerts) - MOST_ALERTS) > 0:
        raise ValueError("more readouts, conditions or alerts than the box takes")
    said = [_ends(one.reading_curve) for one in table.inputs]  # the least and the most of each channel
    for derived in table.derived:
        low = high = furthest = 0
        for index, curve in derived.parts:
            if index >= inputs:
                raise ValueError("%s: a part of it is not there" % derived.name)
            x = curve[0]
            if said[index][0] < x[0] or said[index][1] > x[len(x) - 1]:
                raise ValueError("%s: its curve does not cover a part" % derived.name)
            least, most = _ends(curve)
            low += least
            high += most
            furthest += max(-least, most)
        if furthest > FURTHEST:
            raise ValueError("%s: its sum does not fit 30 bits" % derived.name)
        said.append((low, high))
    for condition in table.conditions:
        there = switches if condition.way in (ON, OFF) else channels
        if not ABOVE <= condition.way <= OFF or condition.index >= there:
            raise ValueError("a condition looks at what is not there")
    for readout in table.readouts:
        only_when = readout.only_when
        if readout.index >= channels or only_when >= conditions and only_when != NO_CONDITION:
            raise ValueError("%s: what it shows is not there" % readout.label)
    for alert in table.alerts:
        for number in alert.when + [alert.after, alert.until]:
            if number >= conditions and (number != NO_CONDITION or number in alert.when):
                raise ValueError("alert %s: a condition is not there" % alert.words)
    told = table.reserve
    if told is not None:
        if told.pump >= switches or told.filled >= switches and told.filled != NO_SWITCH:
            raise ValueError("reserve: a switch is not there")
        if told.pressure >= channels or told.mains >= channels:
            raise ValueError("reserve: a readout is not there")
    if len(table.gauges) > MOST_GAUGES:
        raise ValueError("%d gauges to compare; the box takes %d" % (len(table.gauges), MOST_GAUGES))
    for gauge in table.gauges:
        if gauge.index >= channels or gauge.flies >= conditions:
            raise ValueError("disagree: what it looks at is not there")
        low, high = said[gauge.index]
        flows = 0 if told is None else told.rate + told.rate * told.rate_band // 100
        if max(-low, high, high - low) > MOST_READING or flows * gauge.share_high // 100 > MOST_TRANSFER:
            raise ValueError("disagree: its gauge or the transfer goes further than it can judge")
    if len(table.needles) > MOST_NEEDLES:
        raise ValueError("%d needles; the box takes %d" % (len(table.needles), MOST_NEEDLES))
    for one in table.needles:
        if one.index >= channels:
            raise ValueError("needle %s: its readout is not there" % one.name)
    buttons = table.buttons
    if buttons is not None:
        for number in (buttons.acknowledge, buttons.test, buttons.page):
            if number >= switches and number != NO_SWITCH:
                raise ValueError("a button is not there")
    if table.face is not None:
        for kind, numbers in table.face.pages:
            if kind == RESERVE_PAGE and told is None:
                raise ValueError("face: there is no reserve to watch")
            if max(numbers, default=-1) >= len(table.readouts):
                raise ValueError("face: a readout is not there")


def _ends(curve: "Curve") -> "tuple[int, int]":
    return min(curve[1]), max(curve[1])
