"""Draws the reference box, inputs, lights, face and low fuel switches on a sheet each: values from parts.csv, connectors from the demo's
box file, the rest of the wiring from the tables below.

Run it by hand when either has changed (pip install schemdraw matplotlib): python hardware_notes/draw_schematic.py
"""

import csv
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

HERE = Path(__file__).parent
BOX = tomllib.loads((HERE.parent / "host_tools" / "gaugelight" / "demo" / "amphibian.toml").read_text())
WAYS = {"D-sub 25": 25, "D-sub 15": 15, "D-sub 9": 9, "block 2": 2}
NOT_IN_THE_DEMO = ["needle", "needle flag", "page"]
J6 = {  # of the low fuel switches' own case, which no box file knows
    1: "left float",
    6: "left float return",
    2: "guard",
    7: "guard",
    3: "right float",
    8: "right float return",
    4: "guard",
    9: "guard",
    5: "-",
}


def connector(name: str) -> dict[int, str]:
    """What each pin of the box's connector is for; what the box has there and the demo has no use for too."""
    table = BOX["connector"][name]
    pins = dict.fromkeys(range(1, WAYS[table["kind"]] + 1), "-")
    return pins | {int(pin): use.removeprefix("spare: ") for pin, use in table["pins"].items()}


def where(use: str) -> str:
    """J1-14, say: the first pin of the box that is for this."""
    return next(
        f"{name}-{pin}" for name in BOX["connector"] for pin, it in connector(name).items() if it == use
    )


@dataclass(frozen=True)
class Channel:
    """One input: its number leads its designators (channel 1: R11, C11, D1 ...), its name and pin are the box file's."""

    number: int
    name: str
    kind: str  # pull-up, direct, shunt, divider
    signal: str  # where the wire comes in: J1-1 is pin 1 of connector J1; or the net inside the box
    back: str  # where its return comes in
    pin: str
    chip: str  # the same pin, as the chips' drawings call it


SENSED = {  # channel: its name, kind, the box file's pin, the chip's
    1: ("left fuel", "pull-up", "aft.0", "U1 AIN0"),
    2: ("right fuel", "pull-up", "aft.1", "U1 AIN1"),
    3: ("coolant temperature", "pull-up", "aft.2", "U1 AIN2"),
    5: ("reserve line", "shunt", "fore.0", "U2 AIN0"),
    6: ("hydraulic", "shunt", "fore.1", "U2 AIN1"),
    7: ("coolant pressure", "divider", "28", "A1 GP28"),
}
CHANNELS = sorted(
    [
        *(
            Channel(n, name, kind, where(name), where(f"{name} return"), *pins)
            for n, (name, kind, *pins) in SENSED.items()
        ),
        Channel(4, "sender rail", "direct", "SENDER RAIL", "", "aft.3", "U1 AIN3"),
        Channel(8, "bus", "divider", where("bus"), "", "26", "A1 GP26"),
    ],
    key=lambda channel: channel.number,
)


@dataclass(frozen=True)
class LampDriver:
    """One lamp: its number leads its designators (channel 10: R101, Q101 ...), its name and pin are the box file's."""

    number: int
    name: str
    pin: int


LAMPS = [
    LampDriver(10, "glare shield", 15),
    LampDriver(11, "map light", 16),
    LampDriver(12, "switch legends", 18),
]
BYPASSES = {"glare shield": ("S101", "F102", "R103", "R104"), "map light": ("S111", "F112", "R113", "R114")}
LIGHT_PINS = {  # channel: what it is, the box file's pin, the chip's
    13: ("dim request", "14", "A1 GP14"),
    14: ("bus output", "13", "A1 GP13"),
    15: ("lighting bus", "fore.3", "U2 AIN3"),
    16: ("ambient light", "fore.2", "U2 AIN2"),
    17: ("knob", "27", "A1 GP27"),
    18: ("panel lights", "12", "A1 GP12"),
}


@dataclass(frozen=True)
class AlertLamp:
    """A lamp for alerts: its number leads its designators (channel 20: R201, Q201 ...), its name and pin are the box file's."""

    number: int
    name: str
    pin: int
    colour: str


ALERT_LAMPS = [
    AlertLamp(20, "warning lamp", 20, "red"),
    AlertLamp(21, "caution lamp", 21, "amber"),
    AlertLamp(22, "needle flag", 19, "white"),
]
FACE_PINS = {  # as LIGHT_PINS
    23: ("needle", "6", "A1 GP6"),
    24: ("reserve filled", "8", "A1 GP8"),
    25: ("transfer pump", "9", "A1 GP9"),
    26: ("acknowledge", "10", "A1 GP10"),
    27: ("test", "11", "A1 GP11"),
    28: ("page", "7", "A1 GP7"),
}
SWITCHES = {
    n: (name, name if name != "page" else "test") for n, (name, _, _) in FACE_PINS.items() if n > 23
}  # wire, whose return


def parts() -> dict[str, dict[str, str]]:
    """The row of parts.csv for each designator."""
    with open(HERE / "parts.csv", newline="") as file:
        return {name: row for row in csv.DictReader(file) for name in row["designators"].split()}


Point = tuple[float, float]
Side = Literal["left", "center", "right"]


class Sheet:
    """Parts at places on a sheet; one unit is about a centimetre of paper."""

    def __init__(self) -> None:
        import matplotlib
        import schemdraw
        import schemdraw.elements as elm

        matplotlib.rcParams |= {"svg.fonttype": "none", "svg.hashsalt": "reference box"}
        schemdraw.use("matplotlib")
        self.elm = elm
        self.rows = parts()
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(fontsize=9, lw=1.2, font="DejaVu Sans", margin=0.3)

    def save(self, name: str) -> None:
        """As pictures/name.svg and .png."""
        for ending in ("svg", "png"):
            self.drawing.save(str(HERE / "pictures" / f"{name}.{ending}"), transparent=False, dpi=90)

    def text(
        self, at: Point, words: str, align: Side = "left", size: float = 9, colour: str = "black"
    ) -> None:
        self.drawing.add(
            self.elm.Label()
            .at(at)
            .label(words, halign=align, valign="center", fontsize=size, color=colour, loc="center", ofst=0)
        )

    def wire(self, *points: Point) -> None:
        for one, other in zip(points, points[1:]):
            self.drawing.add(self.elm.Line().endpoints(one, other))

    def dot(self, at: Point) -> None:
        self.drawing.add(self.elm.Dot().at(at))

    def ground(self, at: Point) -> None:
        self.drawing.add(self.elm.Ground().at(at))

    def net(self, at: Point, name: str, up: bool = True) -> None:
        """A wire's end that goes on wherever the same name stands."""
        self.drawing.add(self.elm.Dot(open=True, radius=0.07).at(at))
        self.text((at[0], at[1] + (0.35 if up else -0.35)), name, "center", 8, "tab:blue")

    def value(self, name: str) -> str:
        words = self.rows[name]["value"]
        for word, sign in (("kohm", "kΩ"), ("Mohm", "MΩ"), ("ohm", "Ω"), ("uF", "µF")):
            words = words.replace(word, sign)
        return words

    def part(
        self, kind: str, name: str, start: Point, end: Point, words: str | None = None, side: float = 0.45
    ) -> None:
        """A part with two ends, its designator and value (or other words) beside it: above, or to its right."""
        element = getattr(self.elm, kind)()
        self.drawing.add(element.endpoints(start, end))
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        words = self.value(name) if words is None else words
        label = f"{name}\n{words}" if words else name
        if start[0] == end[0]:
            self.text((middle[0] + side, middle[1]), label, "left" if side > 0 else "right", 8)
        else:
            self.text((middle[0], middle[1] + 0.65), label, "center", 8)

    def pin(self, at: Point, name: str, words: str) -> None:
        """A pin of a connector, on the left of its wire."""
        self.drawing.add(self.elm.Dot(open=True, radius=0.12).at(at))
        self.text((at[0] - 0.25, at[1] + 0.02), name, "right", 9)
        self.text((at[0] - 0.95, at[1] + 0.55), words, "left", 9, "tab:green")

    def bjt(self, kind: str, name: str, at: Point, anchor: str, mirrored: bool = False) -> dict[str, Point]:
        """A transistor with its base on the left, or mirrored; returns where its ends are."""
        element = getattr(self.elm, kind)(circle=True).theta(0)
        element = self.drawing.add((element.reverse() if mirrored else element).at(at).anchor(anchor))
        ends = {end: element.absanchors[end] for end in ("base", "collector", "emitter")}
        places = {end: (float(place[0]), float(place[1])) for end, place in ends.items()}
        side = -0.55 if mirrored else 0.55
        self.text((places["emitter"][0] + side, places["base"][1]), name, "right" if mirrored else "left", 8)
        return places

    def line_out(self, suppressor: str, hold: str, start: Point, words: str) -> None:
        """From the last resistor or diode to the connector: suppressor, capacitor, perhaps a resistor to ground."""
        n = suppressor[1:3]
        x, y = start
        sheet_end = x + 5.4
        self.wire(start, (sheet_end, y))
        self.part("Zener", suppressor, (x + 1.2, y - 2), (x + 1.2, y), "33 V")
        self.part("Capacitor", f"C{n}1", (x + 2.9, y), (x + 2.9, y - 2))
        places = [x + 1.2, x + 2.9]
        if hold:
            self.part("Resistor", hold, (x + 4.6, y), (x + 4.6, y - 2))
            places.append(x + 4.6)
        for place in places:
            self.dot((place, y))
            self.ground((place, y - 2))
        self.right_pin((sheet_end + 0.12, y), where(words), words)
        self.right_pin((sheet_end + 0.12, y - 3.2), where(f"{words} return"), "return")
        self.wire((sheet_end, y - 3.2), (sheet_end - 0.5, y - 3.2))
        self.ground((sheet_end - 0.5, y - 3.2))

    def right_pin(self, at: Point, name: str, words: str) -> None:
        """A pin of a connector, on the right of its wire."""
        self.drawing.add(self.elm.Dot(open=True, radius=0.12).at(at))
        self.text((at[0] + 0.25, at[1] + 0.02), name, "left", 9)
        self.text((at[0] - 0.2, at[1] + 0.5), words, "left", 9, "tab:green")

    def transistor(self, name: str, emitter: Point) -> Point:
        """A PNP, its collector to ground; returns where its base is."""
        element = self.drawing.add(self.elm.BjtPnp(circle=True).theta(0).at(emitter).anchor("emitter"))
        base, collector = element.absanchors["base"], element.absanchors["collector"]
        self.ground((collector[0], collector[1]))
        self.text((emitter[0] + 0.5, emitter[1] - 0.75), f"{name}\nPNP", "left", 8)
        return float(base[0]), float(base[1])


def draw_channel(sheet: Sheet, channel: Channel, x: float, y: float) -> None:
    """One input from left to right, its wire at height y."""
    n = channel.number
    sheet.text((x - 1.2, y + 4.5), f"{n}  {channel.name}: {channel.kind}", "left", 11)
    clamp = x + 8.4
    end = x + 12.2
    if channel.kind == "direct":
        sheet.net((x + 3, y), channel.signal)
        sheet.wire((x + 3, y), (x + 5.4, y))
    elif channel.back:
        sheet.pin((x, y), channel.signal, channel.name)
        sheet.pin((x, y - 2.2), channel.back, "return")
        sheet.wire((x + 0.12, y - 2.2), (x + 0.6, y - 2.2))
        sheet.ground((x + 0.6, y - 2.2))
        sheet.wire((x + 0.12, y), (x + 5.4, y))
    else:
        sheet.net((x, y), channel.signal)
        sheet.wire((x, y), (x + 5.4, y))
    if channel.kind != "direct":
        sheet.dot((x + 1.2, y))
        sheet.part("Capacitor", f"C{n}1", (x + 1.2, y), (x + 1.2, y - 2))
        sheet.ground((x + 1.2, y - 2))
    if channel.kind in ("pull-up", "shunt"):
        turn = 1 if channel.kind == "pull-up" else -1
        near, far = y + turn * 0.4, y + turn * 3.2
        middle = (near + far) / 2
        left, right = x + 4.0, x + 5.2
        for place, (one, other), side in ((left, (1, 2), -0.45), (right, (3, 4), 0.45)):
            outer, inner = (one, other) if turn == 1 else (other, one)
            sheet.part("Resistor", f"R{n}{outer}", (place, far), (place, middle), side=side)
            sheet.part("Resistor", f"R{n}{inner}", (place, middle), (place, near), side=side)
        sheet.wire((left, near), (right, near))
        sheet.wire((left, far), (right, far))
        sheet.wire((x + 4.6, y), (x + 4.6, near))
        sheet.dot((x + 4.6, y))
        if turn == 1:
            sheet.wire((x + 4.6, far), (x + 4.6, far + 0.2))
            sheet.net((x + 4.6, far + 0.2), "SENDER RAIL")
        else:
            sheet.ground((x + 4.6, far))
    if channel.kind == "divider":
        sheet.part("Resistor", f"R{n}1", (x + 5.4, y), (clamp - 1, y))
        sheet.dot((clamp - 1, y))
        sheet.part("Resistor", f"R{n}2", (clamp - 1, y), (clamp - 1, y - 2), side=-0.45)
        sheet.ground((clamp - 1, y - 2))
        sheet.wire((clamp - 1, y), (clamp, y))
    else:
        sheet.part("Resistor", f"R{n}5", (x + 5.4, y), (clamp, y))
    sheet.dot((clamp, y))
    sheet.part("Diode", f"D{n}", (clamp, y), (clamp, y + 2), "upper")
    sheet.net((clamp, y + 2), "CLAMP")
    sheet.part("Diode", f"D{n}", (clamp, y - 2), (clamp, y), "lower")
    sheet.ground((clamp, y - 2))
    sheet.wire((clamp, y), (clamp + 0.6, y))
    sheet.part("Resistor", f"R{n}6", (clamp + 0.6, y), (end - 0.6, y))
    sheet.wire((end - 0.6, y), (end + 0.6, y))
    sheet.dot((end - 0.4, y))
    sheet.part("Capacitor", f"C{n}2", (end - 0.4, y), (end - 0.4, y - 2))
    sheet.ground((end - 0.4, y - 2))
    sheet.net((end + 0.6, y), channel.chip)


def draw_supply(sheet: Sheet, x: float, y: float) -> None:
    """From the bus to the 5 V, the sender rail and the clamp rail."""
    sheet.text((x - 1.2, y + 2.6), "supply, sender rail and clamp rail", "left", 11)
    sheet.pin((x, y), where("bus"), "bus, fused by F1")
    sheet.dot((x + 2.2, y))
    sheet.wire((x + 0.12, y), (x + 2.6, y))
    sheet.wire((x + 2.2, y), (x + 2.2, y - 0.9))
    sheet.net((x + 2.2, y - 0.9), where("bus"), up=False)
    sheet.part("Diode", "D91", (x + 2.6, y), (x + 4.8, y), "400 V 3 A")
    sheet.wire((x + 4.8, y), (x + 8, y))
    sheet.dot((x + 5.2, y))
    sheet.part("Zener", "D92", (x + 5.2, y - 2), (x + 5.2, y), "33 V")
    sheet.ground((x + 5.2, y - 2))
    sheet.dot((x + 6.7, y))
    sheet.part("Capacitor", "C91", (x + 6.7, y), (x + 6.7, y - 2), "47 µF\n63 V")
    sheet.ground((x + 6.7, y - 2))
    sheet.dot((x + 7.7, y))
    sheet.wire((x + 7.7, y), (x + 7.7, y + 0.9))
    sheet.net((x + 7.7, y + 0.9), "IN")
    box(sheet, "U5", "step-down\n5 V, 60 V in", (x + 8, y), (x + 10.6, y))
    sheet.wire((x + 10.6, y), (x + 11.6, y))
    sheet.dot((x + 11.6, y))
    sheet.part("Zener", "D93", (x + 11.6, y - 2), (x + 11.6, y), "5 V")
    sheet.ground((x + 11.6, y - 2))
    sheet.part("Schottky", "D94", (x + 11.6, y), (x + 13.8, y), "40 V 1 A")
    sheet.dot((x + 14.2, y))
    sheet.wire((x + 13.8, y), (x + 14.2, y), (x + 14.2, y + 0.9))
    sheet.net((x + 14.2, y + 0.9), "VSYS")
    sheet.part("Schottky", "D95", (x + 14.2, y), (x + 16.4, y), "40 V 1 A")
    sheet.part("Resistor", "R91", (x + 16.4, y), (x + 18.4, y))
    sheet.wire((x + 18.4, y), (x + 19.9, y))
    sheet.dot((x + 18.7, y))
    sheet.part("Capacitor", "C94", (x + 18.7, y), (x + 18.7, y - 2))
    sheet.ground((x + 18.7, y - 2))
    box(sheet, "U6", "low drop\n3.3 V", (x + 19.9, y), (x + 22.5, y))
    rail = x + 23.5
    sheet.wire((x + 22.5, y), (rail + 6.9, y))
    for place in (rail, rail + 1.6):
        sheet.dot((place, y))
    sheet.part("Capacitor", "C92", (rail, y), (rail, y - 2))
    sheet.ground((rail, y - 2))
    sheet.part("Schottky", "D96", (rail + 1.6, y - 2), (rail + 1.6, y), "40 V 1 A")
    sheet.ground((rail + 1.6, y - 2))
    sheet.net((rail + 6.9, y), "SENDER RAIL")
    base_of(sheet, "Q1", "R93", (rail + 6.4, y), (rail + 6.4, y - 0.6))
    # second row: ground, 3.3 V, clamp rail
    low = y - 5.6
    sheet.pin((x, low), where("ground"), "ground")
    sheet.wire((x + 0.12, low), (x + 0.8, low))
    sheet.ground((x + 0.8, low))
    sheet.net((x + 4.2, low + 0.9), "3V3")
    sheet.wire((x + 4.2, low + 0.9), (x + 4.2, low), (x + 6, low))
    sheet.dot((x + 4.2, low))
    sheet.part("Resistor", "R92", (x + 4.2, low), (x + 4.2, low - 2))
    sheet.ground((x + 4.2, low - 2))
    sheet.part("Resistor", "R94", (x + 6, low), (x + 8, low))
    sheet.wire((x + 8, low), (x + 14.3, low))
    sheet.dot((x + 8.6, low))
    sheet.part("Capacitor", "C93", (x + 8.6, low), (x + 8.6, low - 2))
    sheet.ground((x + 8.6, low - 2))
    sheet.net((x + 14.3, low), "CLAMP")
    base_of(sheet, "Q2", "R95", (x + 13.8, low), (x + 13.8, low - 0.6))


def base_of(sheet: Sheet, name: str, resistor: str, rail: Point, emitter: Point) -> None:
    """A PNP that keeps a rail within a diode of the 3.3 V."""
    sheet.dot(rail)
    sheet.wire(rail, emitter)
    base = sheet.transistor(name, emitter)
    end = base[0] - 1.7, base[1]
    sheet.part("Resistor", resistor, end, base)
    sheet.net((end[0], end[1]), "3V3", up=False)


def box(sheet: Sheet, name: str, words: str, left: Point, right: Point) -> None:
    """A regulator: in on the left, out on the right, ground below."""
    (x, y), (to, _) = left, right
    corner = sheet.elm.Rect(corner1=(0, 0), corner2=(to - x, 1.8)).theta(0).at((x, y - 1))
    sheet.drawing.add(corner)
    sheet.text(((x + to) / 2, y + 0.1), f"{name}\n{words}", "center", 8)
    sheet.wire(((x + to) / 2, y - 1), ((x + to) / 2, y - 2))
    sheet.ground(((x + to) / 2, y - 2))


def chip(
    sheet: Sheet, name: str, words: str, x: float, y: float, left: list[tuple[str, str]], right: list[str]
) -> None:
    """A chip with nets on its left pins (pin, net) and channels' pins on its right, the top pin at height y."""
    rows = max(len(left), len(right))
    sheet.drawing.add(
        sheet.elm.Rect(corner1=(0, 0), corner2=(4.4, rows * 0.8 + 0.8)).theta(0).at((x, y - rows * 0.8))
    )
    sheet.text((x + 2.2, y + 1.1), f"{name}  {words}", "center", 9)
    for row, (pin, net) in enumerate(left):
        height = y - row * 0.8
        sheet.wire((x - 0.6, height), (x, height))
        sheet.text((x + 0.15, height), pin, "left", 8)
        sheet.text((x - 0.75, height), net, "right", 8, "tab:blue")
    for row, pin in enumerate(right):
        height = y - row * 0.8
        sheet.wire((x + 4.4, height), (x + 5, height))
        sheet.text((x + 4.25, height), pin, "right", 8)
        used = [c.name for c in CHANNELS if c.chip == f"{name} {pin}"]
        used += [lamp.name for lamp in LAMPS if f"A1 GP{lamp.pin}" == f"{name} {pin}"]
        used += [lamp.name for lamp in ALERT_LAMPS if f"A1 GP{lamp.pin}" == f"{name} {pin}"]
        used += [what for what, _, place in (LIGHT_PINS | FACE_PINS).values() if place == f"{name} {pin}"]
        used += ["JP22 to ground: service"] if pin == "GP22" else []
        sheet.text((x + 5.15, height), used[0], "left", 8, "tab:blue")


def draw_chips(sheet: Sheet, x: float, y: float) -> None:
    """Board, converters and their bus."""
    bus = [("VDD", "3V3"), ("GND", "ground"), ("SCL", "SCL"), ("SDA", "SDA")]
    inputs = ["AIN0", "AIN1", "AIN2", "AIN3"]
    chip(sheet, "U1", "ADS1115, aft, 0x48", x, y, [*bus, ("ADDR", "ground")], inputs)
    chip(sheet, "U2", "ADS1115, fore, 0x49", x + 11, y, [*bus, ("ADDR", "3V3")], inputs)
    board = [("VSYS", "VSYS"), ("3V3", "3V3"), ("GND", "ground"), ("GP4", "SDA"), ("GP5", "SCL")]
    chip(
        sheet,
        "A1",
        "board, RP2040",
        x + 22,
        y,
        board,
        ["GP26", "GP28", "GP27", "GP12", "GP13", "GP14", "GP15", "GP16", "GP18", "GP22"],
    )
    low = y - 9
    for place, name, net in ((x, "R96", "SDA"), (x + 3, "R97", "SCL")):
        sheet.net((place, low + 1), "3V3")
        sheet.part("Resistor", name, (place, low + 1), (place, low - 1))
        sheet.net((place, low - 1), net, up=False)
    for place, name, words in ((x + 6, "C95", "at U1"), (x + 9, "C96", "at U2")):
        sheet.net((place, low + 1), "3V3")
        sheet.part("Capacitor", name, (place, low + 1), (place, low - 1), f"{sheet.value(name)}\n{words}")
        sheet.ground((place, low - 1))
    pins = [f"{pin:2d}  {use}" for pin, use in connector("J1").items()]
    sheet.text(
        (x + 11.6, low + 1.2), "J1, D-sub 25, sockets in the box; guards and shell to ground", "left", 9
    )
    for column, (first, last) in enumerate(((0, 7), (7, 13), (13, 19), (19, 25))):
        for row, line in enumerate(pins[first:last]):
            sheet.text((x + 11.6 + column * 4.6, low + 0.6 - row * 0.45), line, "left", 7.5)


def draw_lamp(sheet: Sheet, lamp: LampDriver, x: float, y: float) -> None:
    """One lamp: its feed at height y, its MOSFET below."""
    n = lamp.number
    sheet.text((x - 1.2, y + 2), f"{n}  {lamp.name}: lamp", "left", 11)
    sheet.pin((x, y), where(f"{lamp.name} feed"), f"bus, fused by F{n}1")
    sheet.wire((x + 0.12, y), (x + 9.4, y))
    sheet.right_pin((x + 9.52, y), where(f"{lamp.name} plus"), "plus")
    sheet.part("Zener", f"D{n}2", (x + 1.4, y - 2), (x + 1.4, y), "33 V")
    sheet.part("Capacitor", f"C{n}1", (x + 3.4, y), (x + 3.4, y - 2))
    for place in (x + 1.4, x + 3.4):
        sheet.dot((place, y))
        sheet.ground((place, y - 2))
    drain = x + 7.2, y - 3.4
    sheet.dot((drain[0], y))
    sheet.part("Schottky", f"D{n}1", drain, (drain[0], y), "100 V 1 A")
    sheet.dot(drain)
    sheet.wire(drain, (x + 9.4, drain[1]))
    sheet.right_pin((x + 9.52, drain[1]), where(f"{lamp.name} minus"), "minus")
    fet = sheet.drawing.add(sheet.elm.NFet().theta(0).reverse().at(drain).anchor("drain"))
    gate, source = fet.absanchors["gate"], fet.absanchors["source"]
    sheet.ground((source[0], source[1]))
    sheet.text((drain[0] + 0.4, (drain[1] + source[1]) / 2), f"Q{n}1\n50 mΩ 60 V", "left", 8)
    height = float(gate[1])
    sheet.wire((float(gate[0]), height), (x + 3.6, height))
    sheet.part("Resistor", f"R{n}1", (x + 1.6, height), (x + 3.6, height))
    sheet.wire((x + 0.9, height), (x + 1.6, height))
    sheet.dot((x + 4.4, height))
    sheet.part(
        "Resistor", f"R{n}2", (x + 4.4, height), (x + 4.4, height - 2)
    )  # at the gate: dark with R101 open too
    sheet.ground((x + 4.4, height - 2))
    sheet.net((x + 0.9, height), f"A1 GP{lamp.pin}")


def draw_bypass(sheet: Sheet, name: str, x: float, y: float) -> None:
    """The switch at the panel, between J3 and the lamp."""
    switch, fuse, upper, lower = BYPASSES[name]
    sheet.text((x - 1.2, y + 2), f"bypass of the {name}, at the panel", "left", 11)
    sheet.pin((x, y), where(f"{name} plus"), "plus")
    sheet.pin((x, y - 3.6), where(f"{name} minus"), "minus")
    sheet.pin((x, y - 1.4), fuse, "bus")
    sheet.part("Resistor", upper, (x + 0.12, y - 1.4), (x + 2.6, y - 1.4))
    for top, other in ((y, y - 1.4), (y - 3.6, y - 5)):
        sheet.wire((x + 0.12, top), (x + 3.6, top))
        if other == y - 1.4:
            sheet.wire((x + 2.6, other), (x + 3.6, other))
        else:
            sheet.part("Resistor", lower, (x + 0.9, other), (x + 3.4, other), side=-0.45)
            sheet.wire((x + 3.4, other), (x + 3.6, other))
            sheet.ground((x + 0.9, other))
        for place in ((x + 3.6, top), (x + 3.6, other), (x + 5.2, (top + other) / 2)):
            sheet.drawing.add(sheet.elm.Dot(open=True, radius=0.1).at(place))
        sheet.wire((x + 3.7, top - 0.03), (x + 5.1, (top + other) / 2 + 0.05))
        sheet.wire((x + 5.3, (top + other) / 2), (x + 7.4, (top + other) / 2))
    sheet.text((x + 4.3, y - 2.5), switch, "center", 8)
    sheet.part("LED", name, (x + 7.4, y - 0.7), (x + 7.4, y - 4.3), "lamp", side=1.0)


def draw_dim_request(sheet: Sheet, x: float, y: float) -> None:
    """A PNP with a current limit, switched by an NPN; IN at height y."""
    sheet.text((x - 1.2, y + 2), "13  dim request: high side, current limited", "left", 11)
    left, right = x + 5.6, x + 9.4
    sheet.net((x + 4.6, y), "IN")
    sheet.wire((x + 4.6, y), (right, y))
    sheet.part("Resistor", "R134", (right, y), (right, y - 2))
    emitter = y - 2
    passing = sheet.bjt("BjtPnp", "Q132", (right, emitter - 0.4), "emitter")
    sheet.wire((right, emitter), (right, emitter - 0.4))
    sheet.dot((right, emitter))
    limit = sheet.bjt("BjtPnp", "Q133", (right - 1.0, emitter), "base", mirrored=True)
    sheet.wire((right - 1.0, emitter), (right, emitter))
    sheet.wire(limit["emitter"], (limit["emitter"][0], y))
    sheet.dot((limit["emitter"][0], y))
    height = passing["base"][1]
    sheet.wire((left, height), passing["base"])
    sheet.wire(limit["collector"], (limit["collector"][0], height))
    sheet.dot((limit["collector"][0], height))
    sheet.part("Resistor", "R135", (left, y), (left, height), side=-0.45)
    sheet.dot((left, y))
    sheet.dot((left, height))
    sheet.part("Resistor", "R133", (left, height), (left, height - 2))
    switch = sheet.bjt("BjtNpn", "Q131", (left, height - 2.2), "collector")
    sheet.wire((left, height - 2), (left, height - 2.2))
    sheet.ground(switch["emitter"])
    base = switch["base"]
    sheet.part("Resistor", "R131", (base[0] - 2, base[1]), base)
    sheet.wire((base[0] - 3, base[1]), (base[0] - 2, base[1]))
    sheet.net((base[0] - 3, base[1]), "A1 GP14")
    sheet.dot((base[0] - 2.2, base[1]))
    sheet.part("Resistor", "R132", (base[0] - 2.2, base[1]), (base[0] - 2.2, base[1] - 2))
    sheet.ground((base[0] - 2.2, base[1] - 2))
    out = passing["collector"][1] - 0.6
    sheet.wire(passing["collector"], (right, out), (right + 0.6, out))
    sheet.part("Schottky", "D131", (right + 0.6, out), (right + 2.8, out), "100 V 1 A")
    sheet.line_out("D132", "R136", (right + 2.8, out), "dim request")


def draw_bus_output(sheet: Sheet, x: float, y: float) -> None:
    """PWM, RC, amplifier with an emitter follower in its loop; the amplifier's output at height y."""
    sheet.text((x - 1.2, y + 4.8), "14  bus output: the mean of the PWM, 4.24 times", "left", 11)
    amp = sheet.drawing.add(sheet.elm.Opamp().theta(0).flip().at((x + 9.4, y)).anchor("out"))
    ends = {name: (float(amp.absanchors[name][0]), float(amp.absanchors[name][1])) for name in ("in1", "in2")}
    upper, lower = ends["in2"], ends["in1"]
    sheet.text((x + 8.2, y), "U14", "center", 8)
    height = upper[1]
    start = x + 0.3
    sheet.net((start, height), "A1 GP13")
    sheet.wire((start, height), (start + 1.8, height))
    sheet.part("Resistor", "R142", (start + 1.8, height), (start + 3.8, height))
    sheet.wire((start + 3.8, height), upper)
    for place, kind, name in ((start + 0.8, "Resistor", "R141"), (start + 4.2, "Capacitor", "C142")):
        sheet.dot((place, height))
        sheet.part(kind, name, (place, height), (place, height - 2))
        sheet.ground((place, height - 2))
    # follower, its limit, the loop
    right = x + 14.2
    sheet.part("Resistor", "R145", (x + 9.4, y), (x + 11.4, y))
    follower = sheet.bjt("BjtNpn", "Q141", (right, y + 0.7), "collector")
    sheet.wire((x + 11.4, y), follower["base"])
    sheet.wire((right, y + 0.7), (right, y + 1.5))
    sheet.net((right, y + 1.5), "IN")
    sense = follower["emitter"][1] - 0.7
    sheet.wire(follower["emitter"], (right, sense))
    sheet.dot((right, sense))
    sheet.part("Resistor", "R146", (right, sense), (right, sense - 2))
    after = sense - 2.2
    limit = sheet.bjt("BjtNpn", "Q142", (right - 0.8, sense), "base", mirrored=True)
    sheet.wire((right - 0.8, sense), (right, sense))
    sheet.wire(limit["collector"], (limit["collector"][0], y))
    sheet.dot((limit["collector"][0], y))
    sheet.wire(limit["emitter"], (limit["emitter"][0], after), (right + 0.6, after))
    sheet.wire((right, sense - 2), (right, after))
    sheet.dot((right, after))
    sheet.part("Schottky", "D141", (right + 0.6, after), (right + 2.8, after), "100 V 1 A")
    back = right + 3.2
    sheet.wire((right + 2.8, after), (back + 0.2, after))
    sheet.dot((back, after))
    sheet.part("Resistor", "R147", (back + 0.2, after), (back + 2.2, after))
    sheet.line_out("D142", "", (back + 2.2, after), "bus output")
    loop = after - 1.6
    turn = x + 6.4
    sheet.wire((back, after), (back, loop), (turn + 2.2, loop))
    sheet.part("Resistor", "R144", (turn + 0.2, loop), (turn + 2.2, loop))
    sheet.wire((turn + 0.2, loop), (turn, loop), (turn, lower[1]), lower)
    sheet.dot((turn, loop))
    sheet.part("Resistor", "R143", (turn, loop), (turn, loop - 2))
    sheet.ground((turn, loop - 2))
    # the amplifier's supply
    rail = y + 3.2
    sheet.net((x + 2.4, rail), "IN")
    sheet.part("Resistor", "R148", (x + 2.4, rail), (x + 4.4, rail))
    feet = float(amp.absanchors["vd"][0]), float(amp.absanchors["vd"][1])
    other = float(amp.absanchors["vs"][0]), float(amp.absanchors["vs"][1])
    top, bottom = (feet, other) if feet[1] > other[1] else (other, feet)
    sheet.wire((x + 4.4, rail), (x + 11.2, rail))
    sheet.wire((top[0], rail), top)
    sheet.dot((top[0], rail))
    sheet.ground(bottom)
    sheet.part("Zener", "D143", (x + 9.6, rail - 1.6), (x + 9.6, rail), "30 V")
    sheet.part("Capacitor", "C143", (x + 11.2, rail), (x + 11.2, rail - 1.6))
    sheet.dot((x + 9.6, rail))
    for place in (x + 9.6, x + 11.2):
        sheet.ground((place, rail - 1.6))


def draw_clamped(sheet: Sheet, n: int, at: Point, clamp: str, capacitor: bool = True) -> None:
    """From the first resistor's end to the chip's pin: clamp, second resistor, capacitor."""
    x, y = at
    end = x + 3.8
    draw_clamp(sheet, clamp, at)
    second = f"R{n}6" if capacitor else f"R{n}2"
    sheet.wire(at, (x + 0.6, y))
    sheet.part("Resistor", second, (x + 0.6, y), (end - 0.6, y))
    sheet.wire((end - 0.6, y), (end + 0.6, y))
    if capacitor:
        sheet.dot((end - 0.4, y))
        sheet.part("Capacitor", f"C{n}2", (end - 0.4, y), (end - 0.4, y - 2))
        sheet.ground((end - 0.4, y - 2))
    sheet.net((end + 0.6, y), (LIGHT_PINS | FACE_PINS)[n][2])


def draw_clamp(sheet: Sheet, name: str, at: Point) -> None:
    """A double diode between ground and the clamp rail."""
    x, y = at
    sheet.dot(at)
    sheet.part("Diode", name, at, (x, y + 2), "upper")
    sheet.net((x, y + 2), "CLAMP")
    sheet.part("Diode", name, (x, y - 2), at, "lower")
    sheet.ground((x, y - 2))


def draw_light_inputs(sheet: Sheet, x: float, y: float) -> None:
    """Lighting bus, ambient light, knob, panel lights, below each other."""
    first, clamp = x + 5.4, x + 8.4
    # lighting bus
    title(sheet, 15, "divider, averaged", x, y)
    wire_in(sheet, 15, "lighting bus", x, y)
    sheet.part("Resistor", "R151", (first, y), (clamp - 1, y))
    sheet.wire((clamp - 1, y), (clamp, y))
    sheet.dot((clamp - 1, y))
    sheet.part("Resistor", "R152", (clamp - 1, y), (clamp - 1, y - 2), side=-0.45)
    sheet.ground((clamp - 1, y - 2))
    sheet.wire((clamp, y), (clamp + 1.6, y))
    sheet.dot((clamp + 1.6, y))
    sheet.part("Capacitor", "C153", (clamp + 1.6, y), (clamp + 1.6, y - 2))
    sheet.ground((clamp + 1.6, y - 2))
    draw_clamp(sheet, "D151", (clamp, y))
    sheet.part("Resistor", "R156", (clamp + 2.4, y), (clamp + 4.4, y))
    sheet.wire((clamp + 1.6, y), (clamp + 2.4, y))
    sheet.wire((clamp + 4.4, y), (clamp + 5.6, y))
    sheet.dot((clamp + 4.7, y))
    sheet.part("Capacitor", "C152", (clamp + 4.7, y), (clamp + 4.7, y - 2))
    sheet.ground((clamp + 4.7, y - 2))
    sheet.net((clamp + 5.6, y), LIGHT_PINS[15][2])
    # ambient light and knob: fed from the 3.3 V over two resistors with a clamp between
    for n, fed, wire, words in (
        (16, "ambient light supply", "ambient light", "signal"),
        (17, "knob upper end", "knob wiper", "wiper"),
    ):
        y -= 7.2 if n == 16 else 12.6
        title(sheet, n, "direct" if n == 16 else "of the glare shield", x, y)
        sheet.pin((x, y), where(fed), "supply" if n == 16 else "upper end")
        sheet.wire((x + 0.12, y), (first, y))
        sheet.part("Resistor", f"R{n}1", (first, y), (clamp, y))
        draw_clamp(sheet, f"D{n}2", (clamp, y))
        sheet.wire((clamp, y), (clamp + 0.6, y))
        sheet.part("Resistor", f"R{n}2", (clamp + 0.6, y), (clamp + 2.6, y))
        sheet.net((clamp + 2.6, y), "3V3")
        low = y - 5.6
        sheet.pin((x, low), where(wire), words)
        sheet.wire((x + 0.12, low), (first, low))
        hold = "R163" if n == 16 else "R174"
        for place, kind, name in ((x + 1.2, "Capacitor", f"C{n}1"), (x + 3.4, "Resistor", hold)):
            sheet.dot((place, low))
            sheet.part(kind, name, (place, low), (place, low - 2))
            sheet.ground((place, low - 2))
        sheet.part("Resistor", f"R{n}5", (first, low), (clamp, low))
        draw_clamped(sheet, n, (clamp, low), f"D{n}1")
        far = x - 2.4
        if n == 16:
            sheet.wire((x - 1, y), (far, y))
            sheet.part("Resistor", "R167", (far, y), (far, y - 2), side=-0.45)
            sheet.wire((far, y - 2), (far, y - 2.4))
            sheet.dot((far, y - 2.4))
            eye = sheet.bjt("BjtNpn", "", (far, y - 3), "collector")
            sheet.wire((far, y - 2.4), (far, y - 3))
            sheet.text((far - 1.2, eye["base"][1]), "Q161", "right", 8)
            sheet.wire(eye["emitter"], (far, low), (x - 1, low))
            sheet.dot((far, y - 4.8))
            sheet.wire((far, y - 2.4), (far + 1.3, y - 2.4))
            sheet.part("Resistor", "R168", (far + 1.3, y - 2.4), (far + 1.3, y - 4.8))
            sheet.wire((far + 1.3, y - 4.8), (far, y - 4.8))
        else:
            sheet.pin((x, low - 3.4), where("knob lower end"), "lower end")
            sheet.wire((x + 0.12, low - 3.4), (x + 1.2, low - 3.4))
            sheet.part("Resistor", "R173", (x + 1.2, low - 3.4), (x + 1.2, low - 5.4))
            sheet.ground((x + 1.2, low - 5.4))
            sheet.wire((x - 1, y), (far, y), (far, low + 1.2))
            sheet.part("Resistor", "P171", (far, low + 1.2), (far, low - 1.2), side=-0.45)
            sheet.wire((far, low - 1.2), (far, low - 3.4), (x - 1, low - 3.4))
            sheet.drawing.add(sheet.elm.Line(arrow="->").endpoints((x - 1, low), (far + 0.3, low)))
    # panel lights
    draw_switch(sheet, 18, "panel lights", x, y - 15.2)


def draw_switch(sheet: Sheet, n: int, back: str, x: float, y: float) -> None:
    """A button or switch to ground, its wire at height y. back: whose return it has."""
    title(sheet, n, "closes to ground, pulled up in the chip", x, y)
    wire_in(sheet, n, back, x, y)
    sheet.part("Resistor", f"R{n}1", (x + 5.4, y), (x + 8.4, y))
    draw_clamped(sheet, n, (x + 8.4, y), f"D{n}1", capacitor=False)
    far = x - 2.4
    sheet.wire((x - 1.15, y), (far, y), (far, y - 0.5))
    sheet.part("Switch", f"S{n}1", (far, y - 0.5), (far, y - 1.7), "", side=-0.45)
    sheet.wire((far, y - 1.7), (far, y - 2.2), (x - 1.15, y - 2.2))


def title(sheet: Sheet, n: int, kind: str, x: float, y: float) -> None:
    sheet.text((x - 1.2, y + 3.1), f"{n}  {(LIGHT_PINS | FACE_PINS)[n][0]}: {kind}", "left", 11)


def wire_in(sheet: Sheet, n: int, back: str, x: float, y: float) -> None:
    """A wire and its return, with the capacitor at the connector."""
    name = (LIGHT_PINS | FACE_PINS)[n][0]
    sheet.pin((x, y), where(name), name)
    sheet.wire((x + 0.12, y), (x + 5.4, y))
    sheet.dot((x + 1.8, y))
    sheet.part("Capacitor", f"C{n}1", (x + 1.8, y), (x + 1.8, y - 2))
    sheet.ground((x + 1.8, y - 2))
    sheet.pin((x, y - 2.2), where(f"{back} return"), "return")
    sheet.wire((x + 0.12, y - 2.2), (x + 0.6, y - 2.2))
    sheet.ground((x + 0.6, y - 2.2))


def draw_light_connectors(sheet: Sheet, x: float, y: float) -> None:
    """R191, and what each pin of J3 and J4 is for."""
    sheet.net((x - 3, y + 1), "3V3")
    sheet.part("Resistor", "R191", (x - 3, y + 1), (x - 3, y - 1))
    sheet.ground((x - 3, y - 1))
    for column, (name, words) in enumerate(
        (("J3", "D-sub 15, pins in the box"), ("J4", "D-sub 15, sockets in the box"))
    ):
        left = x + column * 9.2
        sheet.text((left, y + 1.2), f"{name}, {words}", "left", 9)
        for row, (pin, use) in enumerate(connector(name).items()):
            half, line = divmod(row, 8)
            sheet.text((left + half * 4.6, y + 0.6 - line * 0.45), f"{name}-{pin}  {use}", "left", 7.5)


def draw_alert_lamp(sheet: Sheet, lamp: AlertLamp, x: float, y: float) -> None:
    """One lamp for alerts: its plus at height y, its transistor below."""
    n, low, right = lamp.number, y - 3.8, x + 9.4
    absent = ", not in the demo" if lamp.name in NOT_IN_THE_DEMO else ""
    sheet.text((x - 1.2, y + 1.7), f"{n}  {lamp.name}: LED{absent}", "left", 11)
    sheet.net((x + 0.6, y), "IN")
    sheet.part("Schottky", f"D{n}1", (x + 0.6, y), (x + 2.8, y), "100 V 1 A")
    sheet.part("Resistor", f"R{n}1", (x + 3.4, y), (x + 5.4, y))
    sheet.wire((x + 2.8, y), (x + 3.4, y))
    sheet.wire((x + 5.4, y), (right - 0.12, y))
    switch = sheet.bjt("BjtNpn", f"Q{n}1", (x + 4.6, low - 0.5), "collector")
    sheet.wire(switch["collector"], (x + 4.6, low), (x + 5.0, low))
    sheet.ground(switch["emitter"])
    sheet.part("Resistor", f"R{n}2", (x + 5.0, low), (x + 7.0, low))
    sheet.wire((x + 7.0, low), (right - 0.12, low))
    for height, name, use in ((y, f"C{n}1", "plus"), (low, f"C{n}2", "minus")):
        sheet.dot((x + 7.7, height))
        sheet.part("Capacitor", name, (x + 7.7, height), (x + 7.7, height - 1.8))
        sheet.ground((x + 7.7, height - 1.8))
        sheet.right_pin((right, height), where(f"{lamp.name} {use}"), use)
    base = switch["base"]
    sheet.part("Resistor", f"R{n}3", (base[0] - 2, base[1]), base)
    sheet.wire((base[0] - 3.2, base[1]), (base[0] - 2, base[1]))
    sheet.net((base[0] - 3.2, base[1]), f"A1 GP{lamp.pin}")
    sheet.dot((base[0] - 2.3, base[1]))
    sheet.part("Resistor", f"R{n}4", (base[0] - 2.3, base[1]), (base[0] - 2.3, base[1] - 2))
    sheet.ground((base[0] - 2.3, base[1] - 2))
    far = right + 2.6
    sheet.wire((right + 1.4, y), (far, y), (far, y - 0.6))
    sheet.part("LED", f"H{n}1", (far, y - 0.6), (far, low + 0.6), lamp.colour, side=1.0)
    sheet.wire((far, low + 0.6), (far, low), (right + 1.4, low))


def draw_needle(sheet: Sheet, x: float, y: float) -> None:
    """From the pin to the connector, and what sits at the meter's terminals."""
    sheet.text((x - 1.2, y + 3.1), "23  needle: the mean of the PWM, not in the demo", "left", 11)
    clamp, right, low = x + 3.6, x + 9.6, y - 3.6
    sheet.net((x, y), FACE_PINS[23][2])
    sheet.wire((x, y), (x + 0.8, y))
    sheet.part("Resistor", "R236", (x + 0.8, y), (x + 2.8, y))
    sheet.wire((x + 2.8, y), (clamp + 1.0, y))
    draw_clamp(sheet, "D231", (clamp, y))
    sheet.part("Resistor", "R231", (clamp + 1.0, y), (clamp + 3.0, y))
    sheet.wire((clamp + 3.0, y), (right - 0.12, y))
    sheet.dot((x + 7.6, y))
    sheet.part("Capacitor", "C231", (x + 7.6, y), (x + 7.6, y - 2))
    sheet.ground((x + 7.6, y - 2))
    sheet.right_pin((right, y), where("needle plus"), "needle plus")
    sheet.right_pin((right, low), where("needle return"), "return")
    sheet.wire((right - 0.12, low), (right - 0.7, low))
    sheet.ground((right - 0.7, low))
    start, end = right + 1.6, right + 8.0
    sheet.part("Resistor", "R233", (start, y), (start + 2, y))
    sheet.wire((start + 2, y), (end, y), (end, y - 0.6))
    for place, words, ends in (
        (start + 2.4, "one", ((start + 2.4, y), (start + 2.4, low))),
        (start + 4.2, "other", ((start + 4.2, low), (start + 4.2, y))),
    ):
        sheet.dot((place, y))
        sheet.dot((place, low))
        sheet.part("Diode", "D232", *ends, words)
    sheet.part("MeterI", "M231", (end, y - 0.6), (end, low + 0.6), "1 mA\n100 Ω", side=0.75)
    sheet.wire((end, low + 0.6), (end, low), (start, low))


def draw_display(sheet: Sheet, x: float, y: float) -> None:
    """The display and its two wires of I2C; its supply at height y."""
    sheet.text((x - 1.2, y + 1.7), "29  display, and what this sheet gives to the 3.3 V", "left", 11)
    left = x + 8.2
    sheet.drawing.add(sheet.elm.Rect(corner1=(0, 0), corner2=(3.4, 5.6)).theta(0).at((left, y - 4.8)))
    sheet.text((left + 3.8, y - 2), "U29\n128 by 64\nSSD1306", "left", 9)
    sheet.net((x, y), "3V3")
    sheet.wire((x, y), (left, y))
    for place, name in ((x + 2.6, "C291"), (x + 4.3, "C292")):
        sheet.dot((place, y))
        sheet.part("Capacitor", name, (place, y), (place, y - 2))
        sheet.ground((place, y - 2))
    sheet.dot((x + 0.8, y))
    sheet.part("Resistor", "R291", (x + 0.8, y), (x + 0.8, y - 2))
    sheet.ground((x + 0.8, y - 2))
    for height, name, net in ((y - 1.5, "R292", "SDA"), (y - 3, "R293", "SCL")):
        sheet.net((left - 2.2, height), net, up=False)
        sheet.part("Resistor", name, (left - 2.2, height), (left - 0.2, height))
        sheet.wire((left - 0.2, height), (left, height))
        sheet.text((left + 0.15, height), net, "left", 8)
    sheet.wire((left, y - 4.2), (left - 0.6, y - 4.2))
    sheet.ground((left - 0.6, y - 4.2))
    sheet.text((left + 0.15, y), "VDD", "left", 8)
    sheet.text((left + 0.15, y - 4.2), "GND", "left", 8)


def draw_face_connector(sheet: Sheet, x: float, y: float) -> None:
    """What each pin of J5 is for."""
    sheet.text((x, y + 1.2), "J5, D-sub 25, pins in the box; guards and shell to ground", "left", 9)
    for row, (pin, use) in enumerate(connector("J5").items()):
        half, line = divmod(row, 13)
        sheet.text((x + half * 5.2, y + 0.6 - line * 0.45), f"J5-{pin}  {use}", "left", 7.5)


def draw_face() -> None:
    """Writes pictures/reference_box_face.svg and .png."""
    sheet = Sheet()
    for place, lamp in enumerate(ALERT_LAMPS):
        draw_alert_lamp(sheet, lamp, 0, -place * 10)
    draw_display(sheet, 0.6, -30.5)
    draw_needle(sheet, 20, -1.2)
    for place, (n, (_, back)) in enumerate(SWITCHES.items()):
        draw_switch(sheet, n, back, 22.4, -10 - place * 7)
    other = "where its line carries bus voltage: R251 33 kΩ, 10 kΩ more from its other end to ground"
    sheet.text((21.2, -20.2), other, "left", 8)
    pins = [f"GP{pin}" for pin in (6, 7, 8, 9, 10, 11, 19, 20, 21)]
    board = [("3V3", "3V3"), ("GND", "ground"), ("GP4", "SDA"), ("GP5", "SCL")]
    chip(sheet, "A1", "board, RP2040: what the face uses", 2.6, -40, board, pins)
    draw_face_connector(sheet, 15.6, -43.6)
    sheet.save("reference_box_face")


def draw_low_fuel(sheet: Sheet, n: int, name: str, wire: int, x: float, y: float) -> None:
    """One tank's: the loop to its float, the window, the lamp. n: of the loop; the window's is one more. wire: the pin of J6."""
    window = n + 1
    back = next(pin for pin, use in J6.items() if use == f"{J6[wire]} return")
    sheet.text(
        (x - 1.2, y + 7), f"{n}, {window}  low fuel, {name}: lit unless the loop stands at half", "left", 11
    )
    # at the tank
    far = x - 4.4
    sheet.pin((x, y), f"J6-{wire}", f"{name} float")
    sheet.pin((x, y - 3.6), f"J6-{back}", "return")
    sheet.wire((x + 0.12, y - 3.6), (x + 0.6, y - 3.6))
    sheet.ground((x + 0.6, y - 3.6))
    sheet.wire((x - 1.1, y), (far, y), (far, y - 0.2))
    sheet.part("Resistor", f"R{n}9", (far, y - 0.2), (far, y - 2), side=-0.45)
    sheet.part("Switch", f"S{n}1", (far, y - 2.2), (far, y - 3.4), "", side=-0.45)
    sheet.wire((far, y - 2), (far, y - 2.2))
    sheet.wire((far, y - 3.4), (far, y - 3.6), (x - 1.1, y - 3.6))
    # the loop
    sheet.wire((x + 0.12, y), (x + 4, y))
    sheet.dot((x + 1.2, y))
    sheet.part("Capacitor", f"C{n}1", (x + 1.2, y), (x + 1.2, y - 2))
    sheet.ground((x + 1.2, y - 2))
    top = x + 3
    sheet.dot((top, y))
    sheet.part("Resistor", f"R{n}3", (top, y), (top, y + 1.8), side=-0.45)
    sheet.part("Resistor", f"R{n}2", (top, y + 1.8), (top, y + 3.6), side=-0.45)
    rail = y + 3.9
    sheet.wire((top, y + 3.6), (top, rail), (x + 10.4, rail))
    sheet.part("Zener", f"D{n}1", (x + 5.2, rail - 1.8), (x + 5.2, rail), sheet.value(f"D{n}1"))
    sheet.ground((x + 5.2, rail - 1.8))
    for place in (x + 5.2, x + 7.2):
        sheet.dot((place, rail))
    sheet.part("Resistor", f"R{n}1", (x + 7.2, rail), (x + 7.2, rail + 1.8), side=-0.45)
    sheet.net((x + 7.2, rail + 1.8), "LOW IN")
    sheet.part("Resistor", f"R{n}4", (x + 4, y), (x + 6, y))
    sheet.wire((x + 6, y), (x + 12.4, y))
    sheet.dot((x + 7, y))
    sheet.part("Capacitor", f"C{n}2", (x + 7, y), (x + 7, y - 2))
    sheet.ground((x + 7, y - 2))
    # the window: three resistors on the right of the filter, a comparator above and one below
    div, high, low = x + 10.4, y + 2.1, y - 1.4
    sheet.part("Resistor", f"R{window}1", (div, high), (div, rail), side=-0.45)
    sheet.part("Resistor", f"R{window}2", (div, y + 0.3), (div, high), side=-0.45)
    sheet.wire((div, y + 0.3), (div, low))
    sheet.part("Resistor", f"R{window}3", (div, low - 2), (div, low), side=-0.45)
    sheet.ground((div, low - 2))
    for edge in (high, low):
        sheet.dot((div, edge))
    out = x + 16.4
    for edge, upper in ((high, True), (low, False)):
        middle = y + (2.0 if upper else -2.0)
        amp = sheet.drawing.add(sheet.elm.Opamp().theta(0).at((x + 15.4, middle)).anchor("out"))
        ends = {k: (float(amp.absanchors[k][0]), float(amp.absanchors[k][1])) for k in ("in1", "in2")}
        minus, plus = ends["in1"], ends["in2"]
        sheet.text((x + 14.2, middle), f"U{window}{'a' if upper else 'b'}", "center", 8)
        # upper: minus is the filter, plus the edge; lower: minus the edge, plus the filter
        edge_at, filter_at = (plus, minus) if upper else (minus, plus)
        sheet.wire((div, edge), (x + 11.6, edge), (x + 11.6, edge_at[1]), edge_at)
        sheet.wire((x + 12.4, y), (x + 12.4, filter_at[1]), filter_at)
        sheet.wire((x + 15.4, middle), (out, middle))
    sheet.dot((x + 12.4, y))
    sheet.wire((out, y + 2.0), (out, y - 2.0))
    sheet.dot((out, y))
    # the lamp
    sheet.part("Resistor", f"R{window}4", (out, y), (out + 2.2, y))
    lamp = sheet.bjt("BjtPnp", f"Q{window}1", (out + 2.8, y), "base")
    sheet.wire((out + 2.2, y), (out + 2.8, y))
    sheet.dot((out + 2.5, y))
    supply = y + 2.6
    sheet.part("Resistor", f"R{window}5", (out + 2.5, y), (out + 2.5, supply), side=-0.45)
    sheet.wire(lamp["emitter"], (lamp["emitter"][0], supply), (out + 2.5, supply))
    sheet.dot((out + 2.5, supply))
    sheet.wire((out + 2.5, supply), (out + 2.5, supply + 0.4))
    sheet.net((out + 2.5, supply + 0.4), "LOW IN")
    foot = lamp["collector"]
    sheet.part("Resistor", f"R{window}6", foot, (foot[0], foot[1] - 2))
    sheet.part("LED", f"H{window}1", (foot[0], foot[1] - 2), (foot[0], foot[1] - 4), "amber", side=1.0)
    sheet.ground((foot[0], foot[1] - 4))


def draw_low_fuel_supply(sheet: Sheet, x: float, y: float) -> None:
    """From its own fuse to the two channels, and what each pin of J6 is for."""
    sheet.text((x - 1.2, y + 2.2), "34  supply of the low fuel switches: nothing of the box's", "left", 11)
    sheet.pin((x, y), "J7-1", "bus, fused by F341")
    sheet.wire((x + 0.12, y), (x + 1.4, y))
    sheet.part("Diode", "D341", (x + 1.4, y), (x + 3.6, y), "400 V 1 A")
    sheet.wire((x + 3.6, y), (x + 6.4, y))
    sheet.part("Zener", "D342", (x + 4.4, y - 2), (x + 4.4, y), "33 V")
    sheet.ground((x + 4.4, y - 2))
    sheet.wire((x + 6, y), (x + 6, y + 0.8))
    sheet.net((x + 6, y + 0.8), "LOW IN")
    for place in (x + 4.4, x + 6):
        sheet.dot((place, y))
    sheet.part("Resistor", "R341", (x + 6.4, y), (x + 8.6, y))
    sheet.wire((x + 8.6, y), (x + 12.6, y))
    sheet.part("Zener", "D343", (x + 9.4, y - 2), (x + 9.4, y), "30 V")
    sheet.part("Capacitor", "C343", (x + 11.2, y), (x + 11.2, y - 2))
    for place in (x + 9.4, x + 11.2):
        sheet.dot((place, y))
        sheet.ground((place, y - 2))
    sheet.net((x + 12.6, y), "U31, U33: supply")
    sheet.pin((x, y - 3.4), "J7-2", "ground")
    sheet.wire((x + 0.12, y - 3.4), (x + 0.8, y - 3.4))
    sheet.ground((x + 0.8, y - 3.4))
    sheet.text((x + 16, y + 1.2), "J6, D-sub 9, sockets in the case; guards and shell to ground", "left", 9)
    for row, (pin, use) in enumerate(sorted(J6.items())):
        sheet.text((x + 16, y + 0.6 - row * 0.45), f"J6-{pin}  {use}", "left", 7.5)


def draw_standby() -> None:
    """Writes pictures/reference_box_low_fuel.svg and .png."""
    sheet = Sheet()
    draw_low_fuel(sheet, 30, "left", 1, 0, 0)
    draw_low_fuel(sheet, 32, "right", 3, 0, -14)
    draw_low_fuel_supply(sheet, 0, -23)
    sheet.save("reference_box_low_fuel")


def draw_lights() -> None:
    """Writes pictures/reference_box_light.svg and .png."""
    sheet = Sheet()
    for place, lamp in enumerate(LAMPS):
        draw_lamp(sheet, lamp, 0, -place * 9.2)
    draw_bypass(sheet, "glare shield", 0, -27.6)
    draw_bypass(sheet, "map light", 11.2, -27.6)
    draw_dim_request(sheet, 0, -36.2)
    draw_bus_output(sheet, 0, -50.6)
    draw_light_inputs(sheet, 24.5, -1)
    draw_light_connectors(sheet, 24, -49)
    sheet.save("reference_box_light")


def draw() -> None:
    """Writes pictures/reference_box.svg and .png."""
    sheet = Sheet()
    for channel in CHANNELS:
        column, row = divmod(channel.number - 1, 4)
        draw_channel(sheet, channel, column * 16.5, -row * (7.9 if column == 0 else 7.7))
    draw_supply(sheet, 0, -31)
    draw_chips(sheet, 1.5, -42.5)
    sheet.save("reference_box")


if __name__ == "__main__":
    draw()
    draw_lights()
    draw_face()
    draw_standby()
