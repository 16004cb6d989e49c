"""What `gaugelight live` shows: a state of the box in, lines for the screen out.

Colours mean what 14 CFR 23.1549 has them mean: green as it should be, yellow caution, red a limit (as it stood before 2017; from
memory). Each also has a shape in the bar and a word beside it.
"""

import textwrap
from array import array
from dataclasses import dataclass

from rich.console import Group
from rich.text import Text

from gaugebox.alert_records import ReadoutRecord
from gaugebox.alerts import CAUTION, DARK, FLASHING, NO_CONDITION, STEADY, WARNING
from gaugebox.readouts import GREEN, RED, UNMARKED, YELLOW, zone_of
from gaugebox.table import Table
from gaugelight.box_line import (
    Described,
    Hello,
    SaidAlert,
    SaidAlerts,
    SaidDim,
    SaidDimmer,
    SaidMark,
    warnings_of,
)
from gaugelight.readouts import default_label
from gaugelight.said import Said, shown

STALE_S = 0.5  # readings older than that are not shown as if they were new
LEAST_WIDTH, LEAST_HEIGHT = 60, 16
WIDE = 100  # columns from which names stand in place of the face's labels
SHORTEST_BAR, LONGEST_BAR = 19, 60  # columns; the shorter one has room for every fault
COLOUR_WORDS = {UNMARKED: "", GREEN: "green", YELLOW: "yellow", RED: "red"}
STYLES = {UNMARKED: "", GREEN: "green", YELLOW: "bold yellow", RED: "bold red"}
URGENCY_WORDS = {CAUTION: "CAUTION", WARNING: "WARNING"}
URGENCY_COLOURS = {CAUTION: YELLOW, WARNING: RED}
LAMP_WORDS = {DARK: "dark", STEADY: "lit", FLASHING: "flashing"}
ATTENTION = {0: "", CAUTION: "! ", WARNING: "!! "}
KEYS = "a acknowledge   t lamp test   q quit"
CAUTION_WORDS = "advisory, never a sole reference"


@dataclass(frozen=True)
class Glyphs:
    """Of a bar: each colour's shape, the pointer, and the pointer that is beyond the bar's ends."""

    zones: dict[int, str]
    pointer: str
    below: str
    above: str


UNICODE = Glyphs({UNMARKED: "·", GREEN: "━", YELLOW: "▒", RED: "█"}, "◆", "◀", "▶")
ASCII = Glyphs({UNMARKED: ".", GREEN: "-", YELLOW: "=", RED: "#"}, "V", "<", ">")


@dataclass(frozen=True)
class Face:
    """What stays the same of one input or derived readout. low, high: the ends of its bar, in reading units; equal where they are not
    known. record: its marks, where it has any on the face; number: its place among those that have. derived: it has no count of its
    own."""

    about: Described
    label: str
    derived: bool = False
    low: int = 0
    high: int = 0
    record: ReadoutRecord | None = None
    number: int = -1


@dataclass(frozen=True)
class State:
    """All that is known of the box. alert_lamps: the lights that are lit by alerts only, each with what it shows. watched: what the reserve
    watch and the disagree alerts say. age: seconds since the readings came. message: what has just happened. log: where it is recorded.
    """

    port: str
    hello: Hello
    faces: tuple[Face, ...]
    said: tuple[Said, ...]
    marks: tuple[SaidMark, ...]
    lights: tuple[SaidDimmer, ...]
    dim: SaidDim
    alerts: SaidAlerts
    alert_lamps: tuple[tuple[str, int], ...] = ()
    watched: tuple[str, ...] = ()
    age: float = 0.0
    message: str = ""
    log: str = ""

    def mark(self, face: Face) -> SaidMark | None:
        return self.marks[face.number] if 0 <= face.number < len(self.marks) else None


def faces_of(described: list[Described], table: Table | None) -> tuple[Face, ...]:
    """What the table that the box runs says of each readout; without one there are no bars."""
    if table is None:
        return tuple(Face(about, default_label(about.name)) for about in described)
    made = []
    for index, about in enumerate(described):
        derived = index >= len(table.inputs)
        readings = array("i") if derived else table.inputs[index].reading_curve[1]
        face = Face(
            about, default_label(about.name), derived, min(readings, default=0), max(readings, default=0)
        )
        for number, record in enumerate(table.readouts):
            if record.index == index:
                face = Face(about, record.label, derived, record.low, record.high, record, number)
        made.append(face)
    return tuple(made)


def reading_units(said: Said) -> int | None:
    """The reading as the box counts it; None at a fault."""
    return None if said.reading is None else int(said.reading * 10**said.reading_decimals)


def bar(face: Face, reading: int | None, width: int, glyphs: Glyphs = UNICODE) -> list[tuple[str, int]]:
    """A character and its colour for each column. A marked zone has one column at least, also a limit at the very end of the bar."""
    span = face.high - face.low
    if span <= 0:
        return [(" ", UNMARKED)] * width
    edges, colours = (array("i"), b"\0") if face.record is None else (face.record.edges, face.record.colours)

    def column(at: int) -> int:
        return min(width - 1, max(0, (at - face.low) * width // span))

    zones = [zone_of(edges, face.low + (2 * k + 1) * span // (2 * width)) for k in range(width)]
    # the worst colour last, so that no other takes its column
    for colour, zone in sorted((colour, zone) for zone, colour in enumerate(colours)):
        if colour != UNMARKED and zone not in zones:
            zones[column(edges[zone - 1]) if zone else 0] = zone
    cells = [(glyphs.zones[colours[zone]], int(colours[zone])) for zone in zones]
    if reading is not None:
        at = column(reading)
        glyph = (
            glyphs.below if reading < face.low else glyphs.above if reading > face.high else glyphs.pointer
        )
        cells[at] = glyph, cells[at][1]
    return cells


def status(face: Face, said: Said, mark: SaidMark | None) -> tuple[str, int]:
    """In words where it stands, as the box judges, and the colour of that."""
    if said.fault:
        return "FAULT", YELLOW
    record = face.record
    if record is None or mark is None:
        return "", UNMARKED
    reading = reading_units(said) or 0
    now = zone_of(record.edges, reading)
    alike = [
        k for k, colour in enumerate(record.colours) if (colour, record.ranks[k]) == (mark.colour, mark.rank)
    ]
    conditional = record.only_when != NO_CONDITION and record.colours[now] != UNMARKED
    if not alike or mark.colour == UNMARKED and conditional:
        return "not judged", UNMARKED
    if not mark.rank and record.ranks[now]:  # not for long enough yet
        return f"in {COLOUR_WORDS[record.colours[now]]}", record.colours[now]
    if not mark.rank:
        return ("ok" if mark.colour == GREEN else COLOUR_WORDS[mark.colour]), mark.colour
    # the box enters a zone late and leaves it late: of those that it may mean the nearest
    zone = min(alike, key=lambda k: _distance(record.edges, k, reading))
    words = f"{ATTENTION[record.urgencies[zone]]}{COLOUR_WORDS[mark.colour]} {record.words[zone]}"
    return words.replace("  ", " "), mark.colour


def _all_words(face: Face) -> list[str]:
    """That may stand beside its bar."""
    record = face.record
    if record is None:
        return []
    zones = zip(record.urgencies, record.colours, record.words, record.ranks)
    return [
        "not judged",
        *(f"{ATTENTION[u]}{COLOUR_WORDS[c]} {words}" for u, c, words, rank in zones if rank),
    ]


def _distance(edges: "array[int]", zone: int, reading: int) -> int:
    """Of a reading from a zone, in reading units."""
    below = edges[zone - 1] - reading if zone else 0
    above = reading - edges[zone] if zone < len(edges) else 0
    return max(0, below, above)


def needs_a_look(state: State, number: int) -> bool:
    face, said = state.faces[number], state.said[number]
    mark = state.mark(face)
    return said.fault is not None or mark is not None and mark.rank > 0


def picture(state: State, width: int, height: int, ascii_only: bool = False) -> Group:
    """As many lines as fit; what is as it should be gives way first."""
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        return Group(
            Text(f"the window has {width} columns and {height} rows; make it {LEAST_WIDTH} by {LEAST_HEIGHT}")
        )
    glyphs = ASCII if ascii_only else UNICODE
    head = _head(state)
    alerts = _alerts(state, max(3, height // 4))
    foot = [Text(state.message, style="bold"), _foot(state)]
    room = height - len(head) - len(alerts) - len(foot)
    lights = _watched(state, width) if room > len(state.faces) + 2 else []
    lights += _lights(state, width, max(1, room - len(state.faces) - len(lights)))
    readouts = _readouts(state, width, room - len(lights), glyphs)
    gap = [Text("")] * (len(readouts) + len(lights) + 2 <= room)
    lines = [*head, *readouts, *gap, *lights, *gap, *alerts]
    lines += [Text("")] * (height - len(lines) - len(foot)) + foot
    for line in lines:
        line.no_wrap = True
        line.truncate(width, overflow="ellipsis" if not ascii_only else "crop")
    return Group(*lines)


def _head(state: State) -> list[Text]:
    hello = state.hello
    line = Text(hello.box or "no table", style="bold")
    line.append(f"   {hello.state}", style="bold" if hello.state == "FLIGHT" else "bold reverse")
    line.append(f"   table {hello.crc or 'none'} in {hello.slot or '-'}   ", style="not bold")
    if state.age > STALE_S:
        line.append(f" NO ANSWER for {state.age:.1f} s ", style="bold reverse red")
    else:
        line.append(f"{state.age:.1f} s old", style="not bold")
    return [line, *(Text(f"! {warning}", style="bold yellow") for warning in warnings_of(hello))]


def _foot(state: State) -> Text:
    line = Text(KEYS, style="dim")
    line.append(f"   {CAUTION_WORDS}", style="not dim bold")
    if state.log:
        line.append(f"   log {state.log}")
    return line


def _readouts(state: State, width: int, room: int, glyphs: Glyphs) -> list[Text]:
    """One line each. Where they do not all fit, those that need no look are counted only."""
    numbers = list(range(len(state.faces)))
    hidden = 0
    if len(numbers) > room:
        good = [number for number in numbers if not needs_a_look(state, number)]
        hidden = min(len(good), len(numbers) - room + 1)
        left_out = set(good[len(good) - hidden :])
        numbers = [number for number in numbers if number not in left_out][: max(0, room - 1)]
    cells = [_cells(state, number, width >= WIDE) for number in numbers]
    widths = [max((len(row[k][0]) for row in cells), default=0) for k in range(4)]
    name, value, word, signal = widths
    if width >= WIDE:  # so that a word that comes moves no bar
        word = max([word, *(len(words) for face in state.faces for words in _all_words(face))])
    bar_width = width - name - value - word - signal - 5
    if bar_width < SHORTEST_BAR:  # the signal is the first that can be done without
        signal = 0
        bar_width = width - name - value - word - 4
    bar_width = min(max(bar_width, 1), LONGEST_BAR)
    stale = state.age > STALE_S
    lines = []
    for number, ((label, _), (reading, style), (words, word_style), (measured, _)) in zip(numbers, cells):
        line = Text(f"{label:<{name}} ", style="dim" if stale else "")
        line.append(f"{reading:>{value}} ", style=style)
        said = state.said[number]
        if said.fault:
            line.append(
                f"{('FAULT ' + said.fault)[:bar_width]:<{bar_width}}",
                style="" if stale else "bold reverse yellow",
            )
        else:
            for glyph, colour in bar(state.faces[number], reading_units(said), bar_width, glyphs):
                pointer = glyph not in glyphs.zones.values() and glyph != " "
                line.append(glyph, style="" if stale else "bold reverse" if pointer else STYLES[colour])
        line.append(f" {words:<{word}}", style=word_style)
        if signal:
            line.append(f" {measured:>{signal}}", style="dim")
        lines.append(line)
    if hidden or len(numbers) + hidden < len(state.faces):
        left = len(state.faces) - len(numbers)
        what = "as they should be" if hidden == left else "not shown"
        lines.append(Text(f"and {left} more, {what}: make the window taller", style="dim"))
    return lines


def _cells(state: State, number: int, wide: bool) -> list[tuple[str, str]]:
    """Name, reading, status and signal, each with its style."""
    face, said = state.faces[number], state.said[number]
    signal, reading, _ = shown(said, face.about.displayed_step)
    words, colour = status(face, said, state.mark(face))
    style = STYLES[colour]
    if state.age > STALE_S:
        words, style = "old", "dim"
    elif said.fault:
        words = ""  # it stands in place of the bar
    name = face.about.name if wide else face.label
    return [
        (name, ""),
        (reading or f"--- {said.reading_unit}", style),
        (words, style),
        ("" if face.derived else signal, ""),
    ]


def _watched(state: State, width: int) -> list[Text]:
    lines = [
        part for line in state.watched for part in textwrap.wrap(line, width - 4, subsequent_indent="  ")
    ]
    return [Text(line, style="dim" if state.age > STALE_S else "") for line in lines]


def _lights(state: State, width: int, most: int) -> list[Text]:
    items = []
    for one in state.lights:
        level = f"{one.name} {one.level / 100:.1f} % (duty {one.duty / 655.35:.2f} %)"
        if one.name in dict(state.alert_lamps):
            level = f"{one.name} {'lit' if one.duty else 'dark'}"
        items.append(level + (f" FAULT {one.fault}" if one.fault else ""))
    for name, value, fault in (
        ("dim request", state.dim.request, state.dim.request_fault),
        ("", state.dim.daylight, state.dim.daylight_fault),
    ):
        if value != "none":
            items.append(f"{name} {value}".strip() + (f" FAULT {fault}" if fault else ""))
    # what belongs together is not torn apart
    joined = "   ".join(item.replace(" ", "\u00a0") for item in items)
    lines = [line.replace("\u00a0", " ") for line in textwrap.wrap(joined, width - 4)]
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1] + " ..."]
    return [Text(line, style="dim" if state.age > STALE_S else "") for line in lines]


def _alerts(state: State, most: int) -> list[Text]:
    said = state.alerts
    shows = {shows for _, shows in state.alert_lamps}
    lamps = [
        f"{URGENCY_WORDS[urgency].lower()} lamp {LAMP_WORDS.get(lit, '?')}"
        for urgency, lit in ((WARNING, said.warning), (CAUTION, said.caution))
        if urgency in shows
    ]
    stale = state.age > STALE_S
    lamp_words = ", ".join(lamps) or "no lamp for alerts"
    lines = [Text(f"alerts: {said.count or 'none'}   {lamp_words}", style="dim" if stale else "bold")]
    shown_here = said.shown if said.count <= most else said.shown[: most - 1]
    lines += [_alert(one, stale) for one in shown_here]
    if said.count > len(shown_here):
        lines.append(Text(f"and {said.count - len(shown_here)} more", style="bold"))
    return lines


def _alert(one: SaidAlert, stale: bool) -> Text:
    style = STYLES[URGENCY_COLOURS.get(one.urgency, UNMARKED)]
    line = Text(
        f"{ATTENTION.get(one.urgency, ''):>3}{URGENCY_WORDS.get(one.urgency, '')} {one.words}",
        style="dim" if stale else style if one.acknowledged else f"{style} reverse",
    )
    line.append("   acknowledged" if one.acknowledged else "   NEW", style="not reverse")
    return line
