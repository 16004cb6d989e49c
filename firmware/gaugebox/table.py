"""The table image: how a checked box file travels to the box and lies in its flash.

Little-endian. Header (magic, container version, number of sections, whole length), sections, CRC-32 of all before it.
A section is a header (kind, flags, payload length) and its payload, padded to four bytes. An unknown section is
skipped unless its CRITICAL flag is set, so that sections can be added without a new container version.
"""

import binascii
import struct
from array import array

from gaugebox import alert_records, light
from gaugebox.alert_records import (
    FURTHEST,
    AlertRecord,
    ButtonsRecord,
    ConditionRecord,
    DerivedRecord,
    DisagreeRecord,
    FaceRecord,
    NeedleRecord,
    ReadoutRecord,
    ReserveRecord,
)
from gaugebox.alerts import FLAG
from gaugebox.curve import lookup, make_curve
from gaugebox.measure import NO_INPUT, OPEN, OVER
from gaugebox.pins import BOARD, CONVERTER_PINS, OUTPUT_PINS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from gaugebox.curve import Curve

MAGIC = b"GLTI"
CONTAINER = 1
HEADER = "<4sHHI"
HEADER_SIZE = 12
SECTION = "<HHI"
SECTION_SIZE = 8
CRITICAL = 1
LARGEST = 16384
LARGEST_DAMPED = FURTHEST + 1  # a reading times the turns of its damping stays below

BOX = 1  # 2 to 5 were earlier forms
CHIP, INPUT, KNOB, DIMMER, SWITCH, DAYLIGHT, DIM_REQUEST, IN_FLIGHT = range(6, 14)
DERIVED, READOUT, CONDITION, ALERT, BUTTONS, RESERVE, DISAGREE, FACE, NEEDLE = range(14, 23)

ON_CHIP = 255
ADS1115 = 1
MOST_INPUTS = 16
MOST_OVERSAMPLING = 6  # 64 samples
MOST_PLAY = FURTHEST // light.CENTRED  # so many readings within it are added up
MOST_TEXT = 24  # so that an answer fits its line

# payloads: a fixed part, then texts (a length byte, ASCII), padding to four, then curves
CHIP_FIXED = "<BBBB"  # kind, address, 1 for continuous conversion, rate code
# converter; channel: an on-chip pin, or a chip's multiplexer code; on-chip the logarithm of the samples averaged, else the
# gain code; rail it is divided by; cold junction that is added; -; four fault codes; four windows; signal decimals,
# reading decimals; damping turns; step in reading units
INPUT_FIXED = "<BBBBBBBBBBHHHHBBHi"
KNOB_FIXED = "<BBHH"  # pin, -, lowest and highest count while it is whole
# kind; pin; what it follows and which one; knob that overrides the daylight; input that measures its supply; urgency of the alerts it
# shows, or 0; per cent that its level never goes below;
# levels: off below, on above, by day, on a fault, fixed; fade in ticks; play of the input followed, of the supply; frequency in Hz
DIMMER_FIXED = "<BBBBBBBBHHHHHHIII"
SWITCH_FIXED = "<BB"  # pin, its level when on
DAYLIGHT_FIXED = "<BBHii"  # input, -, delay in ticks, readings: day above, night below
# pin; its level when it asks; what it follows and which one; on, off or as it was on a fault; knob that overrides the daylight;
# levels: on above, off below
DIM_REQUEST_FIXED = "<BBBBBBHH"
IN_FLIGHT_FIXED = "<BBHi"  # what tells and which one, -, the reading above which it does

LAMP, BUS_OUTPUT, DISPLAY = range(3)  # kinds of dimmers
MOST_DIMMERS = 8
NO_PIN = 255


class TableError(ValueError):
    """The image cannot be used; the text says why."""


class ChipRecord:
    def __init__(self, payload: "Payload") -> None:
        self.kind, self.address, self.continuous, self.rate = payload.fixed(CHIP_FIXED)
        self.name = payload.text()
        if self.kind != ADS1115:
            raise TableError("converter kind %d is not known" % self.kind)
        if self.continuous > 1 or self.rate > 7:
            raise TableError("converter %s: mode or rate out of range" % self.name)


class InputRecord:
    def __init__(self, payload: "Payload") -> None:
        fixed = payload.fixed(INPUT_FIXED)
        self.converter, self.channel, self.setting, self.rail, self.cold = fixed[0:5]
        self.faults = bytes(fixed[6:10])
        self.windows = fixed[10:14]
        self.signal_decimals, self.reading_decimals, self.damping, self.step = fixed[14:18]
        self.name = payload.text()
        self.signal_unit = payload.text()
        self.reading_unit = payload.text()
        self.signal_curve = payload.curve()
        self.reading_curve = payload.curve()
        # what the cold junction's reading adds to the signal
        self.cold_curve = payload.curve() if self.cold != NO_INPUT else None
        self._check()

    def _check(self) -> None:
        lowest, low, high, highest = self.windows
        x, y = self.signal_curve[0], self.signal_curve[1]
        if not (lowest <= low < high <= highest and x[0] <= low and high <= x[len(y) - 1]):
            raise TableError("%s: the signal curve does not cover the fault windows" % self.name)
        ends = lookup(self.signal_curve, low), lookup(self.signal_curve, high)
        cold = (0,) if self.cold_curve is None else self.cold_curve[1]
        x, y = self.reading_curve[0], self.reading_curve[1]
        if min(ends) + min(cold) < x[0] or max(ends) + max(cold) > x[len(y) - 1]:
            raise TableError("%s: the reading curve does not cover the signal" % self.name)
        for reading in y:
            if abs(reading) * max(1, self.damping) >= LARGEST_DAMPED:
                raise TableError("%s: the damped reading does not fit 31 bits" % self.name)
        for fault in self.faults:
            if not OPEN <= fault <= OVER:
                raise TableError("%s: a fault window names no fault of a sender" % self.name)
        if self.setting > (MOST_OVERSAMPLING if self.converter == ON_CHIP else 7):
            raise TableError("%s: gain or oversampling out of range" % self.name)
        alert_records.check_shown(self)


class KnobRecord:
    def __init__(self, payload: "Payload") -> None:
        self.pin, _, self.lowest, self.highest = payload.fixed(KNOB_FIXED)
        self.curve = payload.curve()
        if self.pin not in CONVERTER_PINS:
            raise TableError("knob: pin %d is no converter's" % self.pin)
        if self.lowest > self.highest or not _covers(self.curve, self.lowest, self.highest, light.FULL):
            raise TableError("knob on pin %d: its curve does not cover it" % self.pin)


class DimmerRecord:
    """curve: level to duty; source_curve: what it follows to level; supply_curve: reading of the supply to factor."""

    def __init__(self, payload: "Payload") -> None:
        fixed = payload.fixed(DIMMER_FIXED)
        self.kind, self.pin, self.source, self.index, self.knob, self.supply, self.shows = fixed[0:7]
        self.not_below = fixed[7] * (light.FULL // 100)
        self.off_below, self.on_above, self.by_day, self.on_fault, self.fixed, self.fade = fixed[8:14]
        self.play, self.supply_play, self.frequency = fixed[14:17]
        self.name = payload.text()
        self.curve = payload.curve()
        self.source_curve = payload.curve(True) if self.source in (light.INPUT, light.DIMMER) else None
        self.supply_curve = payload.curve() if self.supply != light.NOTHING else None
        if self.kind > DISPLAY or self.source > light.FIXED or self.shows > FLAG:
            raise TableError("%s: of a kind that is not known" % self.name)
        driven = self.pin in OUTPUT_PINS and self.frequency >= 8 or self.kind == DISPLAY
        if not driven or self.frequency > 100000:
            raise TableError("%s: its pin or frequency is not possible" % self.name)
        if not _covers(self.curve, 0, light.FULL, 65535):
            raise TableError("%s: its curve does not cover all levels" % self.name)
        for level in (self.by_day, self.on_fault):
            if level > light.FULL and level != light.NO_LEVEL:
                raise TableError("%s: a level is out of range" % self.name)
        if (
            max(self.off_below, self.on_above, self.fixed, self.not_below) > light.FULL
            or self.off_below > self.on_above
            or max(self.play, self.supply_play) > MOST_PLAY
        ):
            raise TableError("%s: a level is out of range, or a play" % self.name)


class SwitchRecord:
    def __init__(self, payload: "Payload") -> None:
        self.pin, self.on = payload.fixed(SWITCH_FIXED)
        self.name = payload.text()


class DaylightRecord:
    def __init__(self, payload: "Payload") -> None:
        self.input, _, self.delay, self.day_above, self.night_below = payload.fixed(DAYLIGHT_FIXED)


class DimRequestRecord:
    def __init__(self, payload: "Payload") -> None:
        fixed = payload.fixed(DIM_REQUEST_FIXED)
        self.pin, self.active, self.source, self.index, self.on_fault, self.knob = fixed[0:6]
        self.on_above, self.off_below = fixed[6:8]


class InFlightRecord:
    def __init__(self, payload: "Payload") -> None:
        self.source, self.index, _, self.above = payload.fixed(IN_FLIGHT_FIXED)


CURVES = ("signal_curve", "reading_curve", "cold_curve", "curve", "source_curve", "supply_curve")


class Table:
    """A whole table image, ready to run; runs False: only judged, for which there is room beside one that runs. Raises TableError."""

    def __init__(self, image: "bytes | bytearray | memoryview", runs: bool = True) -> None:
        self.runs = runs
        self.crc = check_container(image)
        self.length = len(image)
        self.name = ""
        self.chips: "list[ChipRecord]" = []
        self.inputs: "list[InputRecord]" = []
        self.knobs: "list[KnobRecord]" = []
        self.dimmers: "list[DimmerRecord]" = []
        self.switches: "list[SwitchRecord]" = []
        self.daylight: "DaylightRecord | None" = None
        self.dim_request: "DimRequestRecord | None" = None
        self.in_flight: "InFlightRecord | None" = None
        self.derived: "list[DerivedRecord]" = []
        self.readouts: "list[ReadoutRecord]" = []
        self.conditions: "list[ConditionRecord]" = []
        self.alerts: "list[AlertRecord]" = []
        self.buttons: "ButtonsRecord | None" = None
        self.reserve: "ReserveRecord | None" = None
        self.gauges: "list[DisagreeRecord]" = []
        self.face: "FaceRecord | None" = None
        self.needles: "list[NeedleRecord]" = []
        sections = struct.unpack_from(HEADER, image, 0)[2]
        at = HEADER_SIZE
        view = memoryview(image)
        end = self.length - 4
        for _ in range(sections):
            if at + SECTION_SIZE > end:
                raise TableError("a section is missing")
            kind, flags, length = struct.unpack_from(SECTION, image, at)
            at += SECTION_SIZE
            if at + length > end:
                raise TableError("a section runs past the end")
            try:
                self._section(kind, flags, Payload(view[at : at + length]))
            except TableError:
                raise
            except ValueError as problem:
                raise TableError("section of kind %d: %s" % (kind, problem))
            at += (length + 3) & ~3
        self._check()

    def _section(self, kind: int, flags: int, payload: "Payload") -> None:
        if kind == BOX:
            self.name = payload.text()
            board = payload.text()
            if board != BOARD:
                raise TableError("the table is for a board %s, this is %s" % (board, BOARD))
        elif kind == CHIP:
            self.chips.append(ChipRecord(payload))
        elif kind == INPUT:
            self.inputs.append(self._kept(InputRecord(payload)))
        elif kind == KNOB:
            self.knobs.append(self._kept(KnobRecord(payload)))
        elif kind == DIMMER:
            self.dimmers.append(self._kept(DimmerRecord(payload)))
        elif kind == SWITCH:
            self.switches.append(SwitchRecord(payload))
        elif kind == DAYLIGHT:
            self.daylight = DaylightRecord(payload)
        elif kind == DIM_REQUEST:
            self.dim_request = DimRequestRecord(payload)
        elif kind == IN_FLIGHT:
            self.in_flight = InFlightRecord(payload)
        elif kind == DERIVED:
            self.derived.append(self._kept(DerivedRecord(payload)))
        elif kind == READOUT:
            self.readouts.append(ReadoutRecord(payload))
        elif kind == CONDITION:
            self.conditions.append(ConditionRecord(payload))
        elif kind == ALERT:
            self.alerts.append(AlertRecord(payload))
        elif kind == BUTTONS:
            self.buttons = ButtonsRecord(payload)
        elif kind == RESERVE:
            self.reserve = ReserveRecord(payload)
        elif kind == DISAGREE:
            self.gauges.append(DisagreeRecord(payload))
        elif kind == FACE:
            self.face = FaceRecord(payload)
        elif kind == NEEDLE:
            self.needles.append(self._kept(NeedleRecord(payload)))
        elif flags & CRITICAL:
            raise TableError("section kind %d is not known to this firmware: install, then flash anew" % kind)

    def _kept(self, record: "Any") -> "Any":
        """Of one that does not run the breakpoints are enough; what a lookup walks over is most of it."""
        if not self.runs:
            for name in CURVES:
                curve = getattr(record, name, None)
                if curve is not None:
                    setattr(record, name, (curve[0], curve[1], None))
            if isinstance(record, DerivedRecord):
                record.parts = [(index, (curve[0], curve[1], None)) for index, curve in record.parts]  # type: ignore[misc]
        return record

    def _check(self) -> None:
        inputs = self.inputs
        if len(inputs) > MOST_INPUTS:
            raise TableError("%d inputs; the box takes %d" % (len(inputs), MOST_INPUTS))
        addresses = [chip.address for chip in self.chips]
        for address in addresses:
            if not 0x48 <= address <= 0x4B or addresses.count(address) > 1:
                raise TableError("converter address 0x%02x is not possible" % address)
        places = [(record.converter, record.channel) for record in inputs]
        for record in inputs:
            if places.count((record.converter, record.channel)) > 1:
                raise TableError("%s: its converter input is used twice" % record.name)
            if record.converter != ON_CHIP and record.converter >= len(self.chips):
                raise TableError("%s: there is no such converter" % record.name)
            if record.channel not in (CONVERTER_PINS if record.converter == ON_CHIP else range(8)):
                raise TableError("%s: there is no such converter input" % record.name)
            if record.rail != NO_INPUT:
                if record.rail >= len(inputs):
                    raise TableError("%s: there is no such rail" % record.name)
                if inputs[record.rail].rail != NO_INPUT or inputs[record.rail].cold != NO_INPUT:
                    raise TableError("%s: its rail hangs on another input" % record.name)
                if inputs[record.rail].converter != record.converter:
                    raise TableError("%s: its rail is on another converter" % record.name)
            if record.cold_curve is not None:
                if record.cold >= len(inputs) or inputs[record.cold].cold != NO_INPUT:
                    raise TableError("%s: there is no such cold junction" % record.name)
                x, y = record.cold_curve[0], record.cold_curve[1]
                said = inputs[record.cold].reading_curve[1]
                if min(said) < x[0] or max(said) > x[len(y) - 1]:
                    raise TableError("%s: the cold curve does not cover its junction" % record.name)
        for number in range(len(self.chips)):
            mine = [record for record in inputs if record.converter == number]
            if not mine:
                raise TableError("converter %s: no input uses it" % self.chips[number].name)
            if self.chips[number].continuous and len(mine) > 1:
                raise TableError("converter %s: only one input can be continuous" % self.chips[number].name)
        self._check_light()
        told = self.in_flight
        if told is not None:
            there = {light.INPUT: len(inputs), light.SWITCH: len(self.switches)}
            if told.index >= there.get(told.source, 0):
                raise TableError("what tells that it is in flight is not there")
        try:
            alert_records.check(self)
        except TableError:
            raise
        except ValueError as problem:
            raise TableError(str(problem))

    def _check_light(self) -> None:
        knobs, dimmers, request = len(self.knobs), self.dimmers, self.dim_request
        if len(dimmers) > MOST_DIMMERS or knobs > len(CONVERTER_PINS):
            raise TableError("more knobs, or lamps and lines, than the box takes")
        driven = [record.pin for record in dimmers if record.kind != DISPLAY]
        driven += [record.pin for record in self.switches]
        driven += [record.pin for record in self.needles]
        if request is not None:
            driven.append(request.pin)
            there = {light.DIMMER: len(dimmers), light.SWITCH: len(self.switches), light.DAYLIGHT: 0}
            if (
                request.source == light.DAYLIGHT
                and self.daylight is None
                or (request.source != light.DAYLIGHT and request.index >= there.get(request.source, 0))
            ):
                raise TableError("the dim request follows nothing")
            if request.on_fault > light.ALONG or request.active > 1:
                raise TableError("the dim request has a state that is not known")
            if request.knob >= knobs and request.knob != light.NOTHING:
                raise TableError("the dim request: there is no such knob")
        for pin in driven:
            if pin not in OUTPUT_PINS or driven.count(pin) > 1:
                raise TableError("pin %d is not possible, or used twice" % pin)
        for i in range(len(dimmers)):
            record = dimmers[i]
            there = {light.KNOB: knobs, light.INPUT: len(self.inputs), light.DIMMER: i, light.FIXED: 256}
            if record.index >= there[record.source] or record.knob >= knobs and record.knob != light.NOTHING:
                raise TableError("%s: what it follows is not there" % record.name)
            if record.source_curve is not None:
                followed = (0, light.FULL) if record.source == light.DIMMER else self._said(record.index)
                if not _covers(record.source_curve, followed[0], followed[1], light.FULL):
                    raise TableError("%s: its curve does not cover what it follows" % record.name)
            if record.supply_curve is not None:
                low, high = self._said(record.supply)
                if not _covers(record.supply_curve, low, high, 1 << light.FACTOR_BITS):
                    raise TableError("%s: its curve does not cover its supply" % record.name)
        if self.daylight is not None:
            self._said(self.daylight.input)

    def _said(self, number: int) -> "tuple[int, int]":
        """The lowest and the highest reading of an input."""
        if number >= len(self.inputs):
            raise TableError("light: there is no input %d" % number)
        readings = self.inputs[number].reading_curve[1]
        return min(readings), max(readings)


def _covers(curve: "Curve", low: int, high: int, most: int) -> bool:
    """Whether it may be looked up from low to high, and says 0 to most there."""
    x, y = curve[0], curve[1]
    return x[0] <= low and high <= x[len(y) - 1] and min(y) >= 0 and max(y) <= most


class Payload:
    def __init__(self, data: memoryview) -> None:
        self.data = data
        self.at = 0

    def fixed(self, form: str) -> "tuple[int, ...]":
        size = struct.calcsize(form)
        if self.at + size > len(self.data):
            raise TableError("a section is too short")
        values = struct.unpack_from(form, self.data, self.at)
        self.at += size
        return values

    def text(self) -> str:
        (length,) = self.fixed("<B")
        start = self.at
        self.at = start + length
        if self.at > len(self.data) or length > MOST_TEXT:
            raise TableError("a text runs past its section, or %d letters" % MOST_TEXT)
        text = bytes(self.data[start : self.at])
        for c in text:
            if c < 32 or c > 126 or c in b"|,":  # which part what stands on the line
                raise TableError("a text is not plain ASCII")
        return text.decode()

    def align(self) -> None:
        self.at = (self.at + 3) & ~3

    def curve(self, turns: bool = False) -> "Curve":
        self.align()
        (n,) = self.fixed("<I")
        start = self.at
        middle = start + 4 * n
        self.at = middle + 4 * n
        if n > 255 or self.at > len(self.data):
            raise TableError("a curve runs past its section")
        xs = array("i", bytes(self.data[start:middle]))
        return make_curve(xs, array("i", bytes(self.data[middle : self.at])), turns)


def check_container(image: "bytes | bytearray | memoryview") -> int:
    """The image's CRC-32, if magic, version, length and CRC are right; else TableError."""
    if len(image) < HEADER_SIZE + 4:
        raise TableError("too short for a table image")
    magic, container, _, length = struct.unpack_from(HEADER, image, 0)
    if magic != MAGIC:
        raise TableError("not a table image")
    if container != CONTAINER:
        read = "a table image of version %d; this firmware reads version %d"
        raise TableError(read % (container, CONTAINER))
    if length != len(image):
        raise TableError("%d bytes long, but its header says %d" % (len(image), length))
    crc: int = binascii.crc32(memoryview(image)[: length - 4])
    if crc != struct.unpack_from("<I", image, length - 4)[0]:
        raise TableError("its CRC is wrong")
    return crc
