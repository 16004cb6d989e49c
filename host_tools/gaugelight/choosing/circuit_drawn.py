"""An input circuit drawn with its values, from the sender to the converter's pin, with what the hardware notes ask for around it.

Geometry in picture points, x to the right, y down, free of any format: `drawing` makes shapes, `svg` writes them. Black on white; every
stage has a column of its own, so that no text meets another.
"""

from __future__ import annotations

import html
import math
from dataclasses import dataclass, field

from gaugelight.choosing.stand_in import written
from gaugelight.circuits import (
    ASSUMED_TOLERANCE,
    REFERENCE,
    Circuit,
    Direct,
    Divider,
    Millivolt,
    PullUp,
    Shunt,
    known_wire,
)
from gaugelight.converters import CHIP_SUPPLY, Converter, OnChip
from gaugelight.preferred import nearest

HELD_VOLTS = 16.0  # a sender's wire on the bus, for ever (as in hardware_notes/reference_box.md)
CLAMPED_VOLTS = 4.0  # at a clamp, then
FILLED = 0.75  # of its rating, that a resistor may then take; 0.43 of 0.6 W in the reference box
RATINGS = (0.25, 0.6, 1.0, 2.0, 3.0, 5.0, 10.0, 25.0, 50.0, 100.0)  # W
LARGE = 5.0  # W, beyond which a fuse is the better part
FIRST_CAPACITOR, SECOND_CAPACITOR = (
    "22 nF, 100 V",
    "100 nF, 50 V",
)  # as C11 and C12 in hardware_notes/parts.csv
CLAMP = ("low leakage,", "5 nA, 75 V")  # as D1
# what holds a thermocouple in range and tells an open one: hardware_notes/netlists/millivolt.cir
BURNOUT, BIAS = 2.2e6, 10e3

SIZE, TITLE, SMALL = 12.0, 17.0, 11.0  # of type
LINE = 1.25  # a line's height, over that
# letters' widths over it, of the widest usual font: narrow ones, wide ones, capitals, all others; bold ones are wider
NARROW, WIDE = frozenset(" fijlrtIJ!'(),-./:;[\\]|"), frozenset("mwMW#%+<=>@^~\u00b1")
NARROW_WIDTH, WIDE_WIDTH, CAPITAL_WIDTH, LETTER_WIDTH, BOLD = 0.42, 1.0, 0.79, 0.64, 1.12
MARGIN, COLUMN, LEAST_WIDTH = 24.0, 132.0, 760.0
RAIL, WIRE, RETURN = 110.0, 290.0, 470.0  # heights

Xy = tuple[float, float]


def length(text: str) -> float:
    """Over the size of the type."""
    return sum(
        (
            NARROW_WIDTH
            if c in NARROW
            else (
                WIDE_WIDTH
                if c in WIDE
                else CAPITAL_WIDTH if not c.islower() and c.isalpha() else LETTER_WIDTH
            )
        )
        for c in text
    )


@dataclass(frozen=True)
class Ends:
    """What a circuit lies between, in words.

    name       the input's
    sender     "float, 0 to 90 ohm"
    pin        the converter's: "aft.0", "GP28"
    connector  pins of the box's connector, signal (of millivolts the plus) first, then the return (the minus): ("J1-1", "J1-14");
               one: it returns through the airframe; none: the signal is made in the box
    wire       of the run: "AWG 22, 3 m"
    channel    leads the designators as in hardware_notes/parts.csv: 1 gives R11, C11, D1; None: R1, C1, D
    quartet    the pull-up, or the shunt, is four of its value as one
    tank       the sender sits in a fuel tank
    loop_wires of a transmitter: 2, or 3 where it has a ground of its own
    """

    name: str
    sender: str = "sender"
    pin: str = ""
    connector: tuple[str, ...] = ()
    wire: str = ""
    channel: int | None = None
    quartet: bool = False
    tank: bool = False
    loop_wires: int = 2


@dataclass(frozen=True)
class Line:
    points: tuple[Xy, ...]
    dashed: bool = False
    width: float = 1.5


@dataclass(frozen=True)
class Outline:
    """A closed one, black or white inside."""

    points: tuple[Xy, ...]
    filled: bool = False


@dataclass(frozen=True)
class Circle:
    centre: Xy
    radius: float
    filled: bool = False


@dataclass(frozen=True)
class Words:
    """place: the left end, or the middle, of its base line."""

    place: Xy
    text: str
    size: float = SIZE
    centred: bool = False
    bold: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        x, y = self.place
        width = length(self.text) * (BOLD if self.bold else 1.0) * self.size
        left = x - width / 2 if self.centred else x
        return left, y - 0.8 * self.size, left + width, y + 0.25 * self.size


Shape = Line | Outline | Circle | Words


@dataclass(frozen=True)
class Drawing:
    width: float
    height: float
    shapes: tuple[Shape, ...]


def draw(
    circuit: Circuit, converter: Converter, ends: Ends, supply: float = CHIP_SUPPLY, bus: float = HELD_VOLTS
) -> str:
    """SVG. supply: the nominal voltage of the rail that a pull-up hangs on, or that a ratiometric sender lives on. bus: volts that a wire
    chafed through carries for ever, for which the resistors are rated."""
    return svg(
        drawing(circuit, converter, ends, supply, bus), f"{ends.name}: the input circuit and its parts"
    )


def heat(circuit: Circuit, supply: float = CHIP_SUPPLY, bus: float = HELD_VOLTS) -> dict[str, float]:
    """The most that each resistor takes, in W, with the sender's wire on a bus of `bus` volts, the box on or off: "resistor", "series",
    "top", "bottom", "pull_down", "protection". Of a quartet a quarter in each. Without what the rail gives way: no less than there is.
    """
    found: dict[str, float] = {}
    if isinstance(circuit, PullUp):
        amperes = max(bus, supply) / (circuit.resistor + circuit.series)
        found["resistor"] = amperes**2 * circuit.resistor
        found["series"] = amperes**2 * circuit.series
    elif isinstance(circuit, Shunt):
        found["resistor"] = bus**2 / circuit.resistor
    elif isinstance(circuit, Divider):
        found["top"] = bus**2 / circuit.top
        found["bottom"] = CLAMPED_VOLTS**2 / circuit.bottom
    elif isinstance(circuit, Direct) and circuit.pull_down is not None:
        found["pull_down"] = bus**2 / circuit.pull_down
    protection = float(getattr(circuit, "protection", 0.0))
    if protection:
        first = first_protection(circuit)
        found["protection"] = 0.0 if first == 0 else bus**2 / first
    return {name: watts for name, watts in found.items() if watts or name == "protection"}


def rating(watts: float) -> float:
    """W, of the resistor to buy."""
    return next((size for size in RATINGS if watts <= FILLED * size), float(math.ceil(watts / FILLED)))


def first_protection(circuit: Circuit) -> float:
    """Ohm, of what stands before the clamp: half of the protection; of millivolts all; a divider's top is that already."""
    protection = float(getattr(circuit, "protection", 0.0))
    if isinstance(circuit, Divider):
        return 0.0
    if isinstance(circuit, Millivolt):
        return protection
    half = nearest("E24", protection / 2) if protection else 0.0
    # two preferred values where they make it; else two halves
    return half if abs(2 * half - protection) < 1e-6 * protection else protection / 2


# --- the sheet ---


@dataclass
class _Sheet:
    """Shapes as they come, and where the next column begins."""

    ends: Ends
    x: float = MARGIN
    shapes: list[Shape] = field(default_factory=list)

    def name(self, letter: str, digit: str) -> str:
        """A designator: R11 of channel 1; a clamp is D1."""
        channel = "" if self.ends.channel is None else str(self.ends.channel)
        return letter + channel + digit

    def line(self, *points: Xy, dashed: bool = False, width: float = 1.5) -> None:
        self.shapes.append(Line(points, dashed, width))

    def dot(self, at: Xy) -> None:
        self.shapes.append(Circle(at, 3.0, True))

    def words(
        self, at: Xy, *lines: str, centred: bool = False, size: float = SIZE, bold: bool = False
    ) -> None:
        """Lines from the place down; the first one's base line is there."""
        for i, text in enumerate(line for line in lines if line):
            self.shapes.append(Words((at[0], at[1] + i * LINE * size), text, size, centred, bold))

    def ground(self, at: Xy) -> None:
        x, y = at
        for i, half in enumerate((10.0, 6.5, 3.0)):
            self.line((x - half, y + 4 * i), (x + half, y + 4 * i))

    def box(self, middle: Xy, width: float, height: float) -> None:
        (x, y), w, h = middle, width / 2, height / 2
        self.shapes.append(Outline(((x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h))))

    def across(self, words: tuple[str, ...], y: float = WIRE, below: bool = False) -> None:
        """A resistor in the wire, one column wide, its words above (or below) it."""
        middle = self.x + COLUMN / 2
        self.line((self.x, y), (middle - 22, y))
        self.line((middle + 22, y), (self.x + COLUMN, y))
        self.box((middle, y), 44, 16)
        first = y + 26 if below else y - 16 - LINE * SIZE * (len(words) - 1)
        self.words((middle, first), *words, centred=True)
        self.x += COLUMN

    def on(self, width: float, y: float = WIRE) -> None:
        self.line((self.x, y), (self.x + width, y))
        self.x += width

    def resistor(self, x: float, top: float, bottom: float) -> None:
        """Upright."""
        middle, half = (top + bottom) / 2, min(20.0, (bottom - top) / 2 - 4)
        self.line((x, top), (x, middle - half))
        self.line((x, middle + half), (x, bottom))
        self.box((x, middle), 16, 2 * half)

    def capacitor(self, x: float, top: float, bottom: float) -> None:
        middle = (top + bottom) / 2
        self.line((x, top), (x, middle - 4))
        self.line((x, middle + 4), (x, bottom))
        for y in (middle - 4, middle + 4):
            self.line((x - 12, y), (x + 12, y), width=2.5)

    def diode(self, x: float, top: float, bottom: float) -> None:
        """It lets current through upwards."""
        middle = (top + bottom) / 2
        self.line((x, top), (x, bottom))
        self.shapes.append(Outline(((x - 8, middle + 7), (x + 8, middle + 7), (x, middle - 7)), True))
        self.line((x - 8, middle - 7), (x + 8, middle - 7), width=2.5)

    def net(self, at: Xy, *names: str) -> None:
        """A wire's end that goes on where the same name stands; the names above it."""
        self.shapes.append(Circle(at, 3.5))
        self.words((at[0], at[1] - 10 - LINE * SIZE * (len(names) - 1)), *names, centred=True)

    # one stage each; all begin at x on the wire and end at x on it

    def to_ground(self, kind: str, words: tuple[str, ...], y: float = WIRE) -> None:
        """A resistor or capacitor from the wire down, its words to the right."""
        at = self.x + 14
        self.dot((at, y))
        (self.resistor if kind == "resistor" else self.capacitor)(at, y, y + 100)
        self.ground((at, y + 100))
        self.words((at + 16, y + 40), *words)
        self.on(14 + 16 + _widest(words) + 8, y)

    def clamp(self, words: tuple[str, ...], y: float = WIRE) -> None:
        """Two diodes, to the clamp rail and from ground."""
        at = self.x + 24
        self.dot((at, y))
        self.diode(at, y - 80, y)
        self.diode(at, y, y + 100)
        self.ground((at, y + 100))
        self.net((at, y - 80), "clamp rail")
        self.words((at + 16, y + 40), *words)
        self.on(24 + 16 + max(_widest(words), 30.0), y)


def _widest(words: tuple[str, ...]) -> float:
    return max((length(line) * SIZE for line in words), default=0.0)


def _value(ohms: float) -> str:
    return written(ohms).replace("ohm", "\u03a9")


def _per_cent(circuit: Circuit) -> str:
    return f"{100 * (ASSUMED_TOLERANCE if circuit.tolerance is None else circuit.tolerance):.3g} %"


def drawing(
    circuit: Circuit, converter: Converter, ends: Ends, supply: float = CHIP_SUPPLY, bus: float = HELD_VOLTS
) -> Drawing:
    """The picture as shapes."""
    sheet = _Sheet(ends)
    watts = heat(circuit, supply, bus)
    if isinstance(circuit, Millivolt):
        _millivolt(sheet, circuit, converter, watts)
    else:
        _sender(sheet, circuit, supply)
        _middle(sheet, circuit, supply, watts)
        _to_the_pin(sheet, circuit, converter, watts)
    sheet.words((MARGIN, MARGIN + TITLE), f"{ends.name}: {_kind(circuit)}", size=TITLE, bold=True)
    width = max(
        LEAST_WIDTH,
        *(one.box[2] + MARGIN for one in sheet.shapes if isinstance(one, Words)),
        sheet.x + MARGIN,
    )
    below = _lowest(sheet.shapes) + 36
    notes = [
        line
        for note in _notes(circuit, converter, ends, bus)
        for line in _wrapped(note, width - 2 * MARGIN, SMALL)
    ]
    sheet.words((MARGIN, below), *notes, size=SMALL)
    return Drawing(width, below + LINE * SMALL * len(notes) + MARGIN / 2, tuple(sheet.shapes))


def _kind(circuit: Circuit) -> str:
    names = {PullUp: "pull-up", Shunt: "shunt", Divider: "divider", Direct: "direct", Millivolt: "millivolt"}
    return names[type(circuit)]


def _sender(sheet: _Sheet, circuit: Circuit, supply: float) -> None:
    """The sender, its wire, and the box's connector; or the net in the box that is measured."""
    ends = sheet.ends
    if not ends.connector:
        lines = _short(ends.sender, COLUMN - 10)
        sheet.words((sheet.x, WIRE - 14 - LINE * SIZE * (len(lines) - 1)), *lines)
        sheet.shapes.append(Circle((sheet.x + 3.5, WIRE), 3.5))
        sheet.line((sheet.x + 7, WIRE), (sheet.x + COLUMN, WIRE))
        sheet.x += COLUMN
        return
    x = sheet.x + 34
    needs_ground = not (isinstance(circuit, Shunt) and ends.loop_wires == 2)
    returns = needs_ground and len(ends.connector) > 1
    if isinstance(circuit, PullUp):
        sheet.resistor(x, WIRE, RETURN)
        middle = (WIRE + RETURN) / 2
        sheet.words((x + 28, middle - 30), *_short(ends.sender, COLUMN))
        sheet.line((x - 20, middle + 22), (x + 20, middle - 22))
        sheet.shapes.append(
            Outline(((x + 20, middle - 22), (x + 10, middle - 18), (x + 16, middle - 12)), True)
        )
    else:
        sheet.words((sheet.x, RAIL - 30), *_short(ends.sender, 1.3 * COLUMN))
        fed = f"{supply:g} V from the box" if circuit.rail is not None else "supply, fused"
        sheet.line((x, RAIL + 60), (x, WIRE - 40))
        sheet.shapes.append(Circle((x, RAIL + 60), 3.5))
        sheet.words((x + 10, RAIL + 64), fed)
        sheet.box((x, WIRE), 48, 80)
        symbol = "mA" if isinstance(circuit, Shunt) else "V"
        sheet.words((x, WIRE + 5), symbol, centred=True, size=TITLE)
        if needs_ground:
            sheet.line((x, WIRE + 40), (x, RETURN))
    if needs_ground and not returns:
        sheet.ground((x, RETURN))
        sheet.words((x + 18, RETURN + 8), "airframe")
    start = x if isinstance(circuit, PullUp) else x + 24
    sheet.x = x + COLUMN + 30
    sheet.line((start, WIRE), (sheet.x, WIRE))
    _along(sheet, (x + 34, WIRE), COLUMN - 6, circuit)
    pin, *more = ends.connector
    top, bottom = RAIL - 60, RETURN + 40
    sheet.line((sheet.x, top), (sheet.x, WIRE - 6), dashed=True)
    sheet.line((sheet.x, WIRE + 6), (sheet.x, RETURN - 6 if returns else bottom), dashed=True)
    sheet.words((sheet.x + 8, top + SIZE), "in the box")
    sheet.shapes.append(Circle((sheet.x, WIRE), 6.0))
    sheet.words((sheet.x + 10, WIRE - 10), pin, bold=True)
    if returns:
        sheet.line((x, RETURN), (sheet.x - 6, RETURN))
        sheet.line((sheet.x, RETURN + 6), (sheet.x, bottom), dashed=True)
        sheet.shapes.append(Circle((sheet.x, RETURN), 6.0))
        sheet.words((sheet.x + 10, RETURN - 10), more[0], bold=True)
        sheet.words((x + 12, RETURN + 20), "return, its own wire")
        sheet.line((sheet.x + 6, RETURN), (sheet.x + 60, RETURN), (sheet.x + 60, RETURN + 14))
        sheet.ground((sheet.x + 60, RETURN + 14))
    sheet.line((sheet.x + 6, WIRE), (sheet.x + 60, WIRE))
    sheet.x += 60
    sheet.to_ground("capacitor", (sheet.name("C", "1"), *FIRST_CAPACITOR.split(", ")))


def _along(sheet: _Sheet, start: Xy, width: float, circuit: Circuit) -> None:
    """What the wire is, above it."""
    lines = _short(sheet.ends.wire, width)
    if ohms := known_wire(circuit):
        lines.append(f"{_value(ohms)} reckoned")
    sheet.words((start[0], start[1] - 10 - LINE * SIZE * (len(lines) - 1)), *lines)


def _wrapped(text: str, width: float, size: float = SIZE) -> list[str]:
    """Lines no longer than `width`; a word that is gets broken."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if length(longer) * size <= width:
            lines[-1] = longer
            continue
        lines += [""] if lines[-1] else []
        for letter in word:
            if length(lines[-1] + letter) * size > width:
                lines.append("")
            lines[-1] += letter
    return lines


def _short(text: str, width: float) -> list[str]:
    """The same, four lines at most."""
    lines = _wrapped(text, width)
    return lines if len(lines) <= 4 else [*lines[:3], f"{lines[3][:-3]}..."]


def _middle(sheet: _Sheet, circuit: Circuit, supply: float, watts: dict[str, float]) -> None:
    """What makes a voltage of the signal."""
    per_cent = _per_cent(circuit)

    def said(digit: str, ohms: float, part: str) -> tuple[str, ...]:
        return sheet.name("R", digit), _value(ohms), f"{per_cent}, {rating(watts[part]):g} W"

    if isinstance(circuit, PullUp):
        if circuit.series:
            sheet.across(said("7", circuit.series, "series"))
        rail = f"{supply:g} V"
        of = "converter's reference" if circuit.rail == REFERENCE else circuit.rail or "rail"
        sheet.words((sheet.x - 10, RAIL - 10 - LINE * SIZE), of, rail)
        _one_or_four(sheet, circuit.resistor, watts["resistor"], per_cent, up=True)
    elif isinstance(circuit, Shunt):
        _one_or_four(sheet, circuit.resistor, watts["resistor"], per_cent, up=False)
    elif isinstance(circuit, Divider):
        sheet.across(said("1", circuit.top, "top"))
        sheet.to_ground("resistor", said("2", circuit.bottom, "bottom"))
    elif isinstance(circuit, Direct) and circuit.pull_down is not None:
        ohms = circuit.pull_down
        sheet.to_ground(
            "resistor", (sheet.name("R", "3"), _value(ohms), f"1 %, {rating(watts['pull_down']):g} W")
        )


def _one_or_four(sheet: _Sheet, ohms: float, watts: float, per_cent: str, up: bool) -> None:
    """The pull-up to the rail, or the shunt to ground: one, or two in series twice beside each other."""
    at = sheet.x + (34 if sheet.ends.quartet else 20)
    sheet.dot((at, WIRE))
    near, far = (WIRE - 20, RAIL + 20) if up else (WIRE + 14, WIRE + 114)
    sheet.line((at, WIRE), (at, near))
    if sheet.ends.quartet:
        middle = (near + far) / 2
        for x in (at - 16, at + 16):
            for one, other in ((near, middle), (middle, far)):
                sheet.resistor(x, min(one, other), max(one, other))
        for y in (near, far):
            sheet.line((at - 16, y), (at + 16, y))
        words: tuple[str, ...] = (
            f"{sheet.name('R', '1')} to {sheet.name('R', '4')}", f"4 x {_value(ohms)}", "as one",
            f"{per_cent}, {rating(watts / 4):g} W each",
        )  # fmt: skip
        right = at + 34
    else:
        sheet.resistor(at, min(near, far), max(near, far))
        words, right = (sheet.name("R", "1"), _value(ohms), f"{per_cent}, {rating(watts):g} W"), at + 18
    if up:
        sheet.line((at, far), (at, RAIL + 8))
        sheet.shapes.append(Circle((at, RAIL + 4.5), 3.5))
    else:
        sheet.line((at, far), (at, far + 8))
        sheet.ground((at, far + 8))
    middle = (near + far) / 2
    sheet.words((right, middle - LINE * SIZE * (len(words) - 1) / 2 + 4), *words)
    sheet.on(right - sheet.x + _widest(words) + 14)


def _to_the_pin(sheet: _Sheet, circuit: Circuit, converter: Converter, watts: dict[str, float]) -> None:
    """Protection, clamp, capacitor, converter."""
    protection = float(getattr(circuit, "protection", 0.0))
    first = first_protection(circuit)
    second = protection - first
    if first:
        words = sheet.name("R", "5"), _value(first), f"1 %, {rating(watts['protection']):g} W"
        sheet.across(words)
    if protection:
        sheet.clamp((sheet.name("D", ""), *CLAMP))
        sheet.across((sheet.name("R", "6"), _value(second), f"1 %, {RATINGS[0]:g} W"))
    sheet.to_ground("capacitor", (sheet.name("C", "2"), *SECOND_CAPACITOR.split(", ")))
    _pin(sheet, converter, (WIRE,))


def _pin(sheet: _Sheet, converter: Converter, wires: tuple[float, ...]) -> None:
    """The converter, its input or inputs named."""
    kind = "RP2040" if isinstance(converter, OnChip) else "ADS1115"
    pins = [sheet.ends.pin]
    if len(wires) == 2:
        pins = [f"{sheet.ends.pin} +", f"{sheet.ends.pin} -"]
    width = 20 + max(_widest((kind,)), *(Words((0, 0), pin, bold=True).box[2] for pin in pins))
    for y, pin in zip(wires, pins):
        sheet.line((sheet.x, y), (sheet.x + 20, y))
        sheet.words((sheet.x + 28, y + 4), pin, bold=True)
    left = sheet.x + 20
    sheet.box((left + width / 2, (wires[0] + wires[-1]) / 2), width, wires[-1] - wires[0] + 100)
    sheet.words((left + width / 2, wires[0] - 26), kind, centred=True)
    if not isinstance(converter, OnChip):
        sheet.words((left + 8, wires[-1] + 34), f"\u00b1{converter.full_scale:g} V", size=SMALL)
    sheet.x = left + width


def _millivolt(sheet: _Sheet, circuit: Millivolt, converter: Converter, watts: dict[str, float]) -> None:
    """Two wires alike: held at half the supply, an open one driven to full scale, each behind its resistor and clamp."""
    ends = sheet.ends
    plus, minus = WIRE - 20, WIRE + 230
    x = sheet.x + 16
    sheet.words((sheet.x, RAIL - 30), *_short(ends.sender, 1.3 * COLUMN))
    middle = (plus + minus) / 2
    sheet.line((x + 30, plus), (x, middle), (x + 30, minus))
    sheet.dot((x, middle))
    sheet.words((x + 14, middle + 4), "neither wire", "on the airframe")
    start = x + 30
    sheet.x = x + COLUMN + 40
    _along(sheet, (start + 6, plus), COLUMN, circuit)
    pins = (*ends.connector, "", "")[:2]
    sheet.line((sheet.x, RAIL - 60), (sheet.x, plus - 6), dashed=True)
    sheet.line((sheet.x, plus + 6), (sheet.x, minus - 6), dashed=True)
    sheet.line((sheet.x, minus + 6), (sheet.x, minus + 130), dashed=True)
    sheet.words((sheet.x + 8, RAIL - 60 + SIZE), "in the box")
    for y, pin, sign in ((plus, pins[0], "+"), (minus, pins[1], "-")):
        sheet.line((start, y), (sheet.x - 6, y))
        sheet.shapes.append(Circle((sheet.x, y), 6.0))
        sheet.words((sheet.x + 10, y - 10), f"{pin} {sign}".strip(), bold=True)
        sheet.line((sheet.x + 6, y), (sheet.x + 64, y))
    sheet.x += 64
    at = sheet.x
    words = (sheet.name("R", "3"), _value(BURNOUT), "5 %, 0.25 W")
    sheet.dot((at + 14, plus))
    sheet.resistor(at + 14, RAIL + 8, plus)
    sheet.net((at + 14, RAIL + 4.5), f"{CHIP_SUPPLY:g} V")
    sheet.words((at + 32, (RAIL + plus) / 2 - 8), *words)
    sheet.dot((at + 14, minus))
    sheet.resistor(at + 14, minus - 96, minus)
    sheet.net((at + 14, minus - 99.5), f"{CHIP_SUPPLY:g} V")
    sheet.words((at + 32, minus - 60), sheet.name("R", "1"), _value(BIAS), "1 %, 0.25 W")
    sheet.resistor(at + 14, minus, minus + 96)
    sheet.ground((at + 14, minus + 96))
    sheet.words((at + 32, minus + 42), sheet.name("R", "2"), _value(BIAS), "1 %, 0.25 W")
    width = 32 + _widest(words) + 10
    for y in (plus, minus):
        sheet.x = at
        sheet.on(width, y)
        if circuit.protection:
            sheet.across(
                (sheet.name("R", "5" if y == plus else "6"), _value(circuit.protection), f"1 %, {rating(watts['protection']):g} W"), y
            )  # fmt: skip
            sheet.clamp((sheet.name("D", "a" if y == plus else "b"), *CLAMP), y)
        sheet.to_ground(
            "capacitor", (sheet.name("C", "1" if y == plus else "2"), *SECOND_CAPACITOR.split(", ")), y
        )
    _pin(sheet, converter, (plus, minus))


def _notes(circuit: Circuit, converter: Converter, ends: Ends, bus: float) -> list[str]:
    """What the picture cannot say."""
    notes = [f"Ratings: with the wire chafed through to the bus at {bus:g} V, for ever, the box on or off."]
    if isinstance(circuit, Shunt) and rating(watts := heat(circuit, bus=bus)["resistor"]) > LARGE:
        notes.append(
            f"The shunt takes {watts:.0f} W then, and burns if it is smaller: a fuse of 50 mA in the signal's own wire, at the box, saves the large part."
        )
    protection = float(getattr(circuit, "protection", 0.0))
    if protection:
        notes.append(
            "The clamp rail is kept within a diode of 3.3 V and empties to ground, not into the chips' supply: hardware_notes/reference_box.md."
        )
    else:
        notes.append(
            "CAUTION: no protection stated: bus voltage on this wire reaches the pin and destroys it. Put a resistor before it, and a clamp."
        )
    if isinstance(circuit, PullUp) and circuit.rail != REFERENCE:
        notes.append(
            "The rail is measured by another input of the same converter; it has a regulator of its own, which bus voltage cannot lift."
        )
    if len(ends.connector) == 1 and not isinstance(circuit, (Shunt, Millivolt)):
        notes.append(
            "Returned through the airframe: what that drops goes into the reading. A wire of its own spares it."
        )
    if ends.connector and not isinstance(circuit, Millivolt):
        channel = "" if ends.channel is None else str(ends.channel)
        notes.append(f"C{channel}1 lies at the connector's pin, with 5 mm of lead.")
    if ends.tank:
        notes.append(
            "CAUTION, fuel tank: no circuit limits bus voltage that chafes onto the sender's own wire: a bundle of its own, guard pins beside"
            f" {' and '.join(ends.connector) or 'its pins'}, nothing at bus voltage near it."
        )
    notes.append(
        "On paper, not built: values from the box file, the rest as in hardware_notes. Advisory, never a sole reference."
    )
    return notes


def _lowest(shapes: list[Shape]) -> float:
    """The y of what lies lowest."""
    found = []
    for shape in shapes:
        match shape:
            case Line(points) | Outline(points):
                found.append(max(y for _, y in points))
            case Circle((_, y), radius):
                found.append(y + radius)
            case Words():
                found.append(shape.box[3])
    return max(found)


def svg(picture: Drawing, title: str) -> str:
    """As text; a point is 0.2 mm, so that it prints on A4 lying on its side."""

    def points(of: tuple[Xy, ...]) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in of)

    width, height = picture.width, picture.height
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{0.2 * width:.1f}mm" height="{0.2 * height:.1f}mm" '
        f'viewBox="0 0 {width:.1f} {height:.1f}" role="img">',
        f"<title>{html.escape(title)}</title>",
        f'<rect width="{width:.1f}" height="{height:.1f}" fill="#ffffff"/>',
        '<g stroke="#000000" fill="none" stroke-linejoin="round" stroke-linecap="round">',
    ]
    words: list[Words] = []
    for shape in picture.shapes:
        match shape:
            case Line(at, dashed, thick):
                dashes = ' stroke-dasharray="6 5"' if dashed else ""
                lines.append(f'<polyline points="{points(at)}" stroke-width="{thick:g}"{dashes}/>')
            case Outline(at, filled):
                inside = "#000000" if filled else "#ffffff"
                lines.append(f'<polygon points="{points(at)}" stroke-width="1.5" fill="{inside}"/>')
            case Circle((x, y), radius, filled):
                inside = "#000000" if filled else "#ffffff"
                lines.append(
                    f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" stroke-width="1.5" fill="{inside}"/>'
                )
            case Words():
                words.append(shape)
    lines += ["</g>", '<g fill="#000000" font-family="DejaVu Sans, Arial, Helvetica, sans-serif">']
    for one in words:
        anchor = ' text-anchor="middle"' if one.centred else ""
        weight = ' font-weight="bold"' if one.bold else ""
        (x, y), text = one.place, html.escape("".join(c if c.isprintable() else "." for c in one.text))
        lines.append(f'<text x="{x:.1f}" y="{y:.1f}" font-size="{one.size:g}"{anchor}{weight}>{text}</text>')
    return "\n".join([*lines, "</g>", "</svg>", ""])
