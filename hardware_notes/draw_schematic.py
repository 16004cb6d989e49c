"""Draws the input side of the reference box: values from parts.csv, wiring from the tables below.

Run it by hand when either has changed (pip install schemdraw matplotlib): python hardware_notes/draw_schematic.py
"""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

HERE = Path(__file__).parent


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


CHANNELS = [
    Channel(1, "left fuel", "pull-up", "J1-1", "J1-14", "aft.0", "U1 AIN0"),
    Channel(2, "right fuel", "pull-up", "J1-3", "J1-16", "aft.1", "U1 AIN1"),
    Channel(3, "coolant temperature", "pull-up", "J1-5", "J1-18", "aft.2", "U1 AIN2"),
    Channel(4, "sender rail", "direct", "SENDER RAIL", "", "aft.3", "U1 AIN3"),
    Channel(5, "reserve line", "shunt", "J1-7", "J1-20", "fore.0", "U2 AIN0"),
    Channel(6, "hydraulic", "shunt", "J1-8", "J1-21", "fore.1", "U2 AIN1"),
    Channel(7, "coolant pressure", "divider", "J1-9", "J1-22", "28", "A1 GP28"),
    Channel(8, "bus", "divider", "J2-1", "", "26", "A1 GP26"),
]
GUARDS = [2, 4, 6, 10, 15, 17, 19, 23]  # of J1: joined to ground in the box, no wire in the harness
SPARE = [11, 12, 13, 24, 25]


def connector() -> dict[int, str]:
    """What each pin of J1 is for."""
    pins = {pin: "guard" for pin in GUARDS} | {pin: "-" for pin in SPARE}
    for channel in CHANNELS:
        for place, use in ((channel.signal, channel.name), (channel.back, f"{channel.name} return")):
            if place.startswith("J1-"):
                pins[int(place[3:])] = use
    return dict(sorted(pins.items()))


def parts() -> dict[str, dict[str, str]]:
    """The row of parts.csv for each designator."""
    with open(HERE / "parts.csv", newline="") as file:
        return {name: row for row in csv.DictReader(file) for name in row["designators"].split()}


Point = tuple[float, float]
Side = Literal["left", "center", "right"]


class Sheet:
    """Parts at places on a sheet; one unit is about a centimetre of paper."""

    def __init__(self) -> None:
        import schemdraw
        import schemdraw.elements as elm

        self.elm = elm
        self.rows = parts()
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(fontsize=9, lw=1.2, font="DejaVu Sans", margin=0.3)

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
        for word, sign in (("kohm", "kΩ"), ("ohm", "Ω"), ("uF", "µF")):
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
    elif channel.signal.startswith("J1"):
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
    sheet.pin((x, y), "J2-1", "bus, fused by F1")
    sheet.dot((x + 2.2, y))
    sheet.wire((x + 0.12, y), (x + 2.6, y))
    sheet.wire((x + 2.2, y), (x + 2.2, y - 0.9))
    sheet.net((x + 2.2, y - 0.9), "J2-1", up=False)
    sheet.part("Diode", "D91", (x + 2.6, y), (x + 4.8, y), "400 V 3 A")
    sheet.wire((x + 4.8, y), (x + 8, y))
    sheet.dot((x + 5.2, y))
    sheet.part("Zener", "D92", (x + 5.2, y - 2), (x + 5.2, y), "33 V")
    sheet.ground((x + 5.2, y - 2))
    sheet.dot((x + 6.7, y))
    sheet.part("Capacitor", "C91", (x + 6.7, y), (x + 6.7, y - 2), "47 µF\n63 V")
    sheet.ground((x + 6.7, y - 2))
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
    box(sheet, "U6", "low drop\n3.3 V", (x + 18.4, y), (x + 21, y))
    rail = x + 22
    sheet.wire((x + 21, y), (rail + 6.9, y))
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
    sheet.pin((x, low), "J2-2", "ground")
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
        sheet.text((x + 5.15, height), used[0] if used else "ground (spare)", "left", 8, "tab:blue")


def draw_chips(sheet: Sheet, x: float, y: float) -> None:
    """Board, converters and their bus."""
    bus = [("VDD", "3V3"), ("GND", "ground"), ("SCL", "SCL"), ("SDA", "SDA")]
    inputs = ["AIN0", "AIN1", "AIN2", "AIN3"]
    chip(sheet, "U1", "ADS1115, aft, 0x48", x, y, [*bus, ("ADDR", "ground")], inputs)
    chip(sheet, "U2", "ADS1115, fore, 0x49", x + 11, y, [*bus, ("ADDR", "3V3")], inputs)
    board = [("VSYS", "VSYS"), ("3V3", "3V3"), ("GND", "ground"), ("GP4", "SDA"), ("GP5", "SCL")]
    chip(sheet, "A1", "board, RP2040", x + 22, y, board, ["GP26", "GP28"])
    low = y - 6
    for place, name, net in ((x, "R96", "SDA"), (x + 3, "R97", "SCL")):
        sheet.net((place, low + 1), "3V3")
        sheet.part("Resistor", name, (place, low + 1), (place, low - 1))
        sheet.net((place, low - 1), net, up=False)
    for place, name, words in ((x + 6, "C95", "at U1"), (x + 9, "C96", "at U2")):
        sheet.net((place, low + 1), "3V3")
        sheet.part("Capacitor", name, (place, low + 1), (place, low - 1), f"{sheet.value(name)}\n{words}")
        sheet.ground((place, low - 1))
    pins = [f"{pin:2d}  {use}" for pin, use in connector().items()]
    sheet.text((x + 13, low + 1.2), "J1, D-sub 25, sockets in the box; guards and shell to ground", "left", 9)
    for column, (first, last) in enumerate(((0, 7), (7, 13), (13, 19), (19, 25))):
        for row, line in enumerate(pins[first:last]):
            sheet.text((x + 13 + column * 4.6, low + 0.6 - row * 0.45), line, "left", 7.5)


def draw() -> None:
    """Writes pictures/reference_box.svg and .png."""
    import matplotlib
    import schemdraw

    matplotlib.rcParams |= {"svg.fonttype": "none", "svg.hashsalt": "reference box"}
    schemdraw.use("matplotlib")
    sheet = Sheet()
    for channel in CHANNELS:
        column, row = divmod(channel.number - 1, 4)
        draw_channel(sheet, channel, column * 16.5, -row * (7.9 if column == 0 else 7.7))
    draw_supply(sheet, 0, -31)
    draw_chips(sheet, 1.5, -42.5)
    for ending in ("svg", "png"):
        sheet.drawing.save(str(HERE / "pictures" / f"reference_box.{ending}"), transparent=False, dpi=90)


if __name__ == "__main__":
    draw()
