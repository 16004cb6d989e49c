"""A printable dial for a needle: one readout's scale and range markings, at true size.

Geometry in millimetres and degrees, free of any picture format: `dial_drawing` makes shapes, and each format draws them. Range markings
after 14 CFR 23.1549 (as it stood before 2017; from memory): a green arc for normal operation, a yellow arc for caution, a red radial
at a limit, a red arc where it must not stay. Each is told by its shape too: the green arc is plain, the yellow one barred, the red
one cross-barred, and a limit is a stroke through the rim with a wedge outside.

Behind a moving-coil meter that the box drives the scale lies where that needle will stand: by its points, in the box's own integers. Such
a meter turns in proportion to the mean of its pulses (common practice, no source); what it lacks of that is in its points.
"""

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugebox.curve import lookup
from gaugebox.needle import FULL
from gaugelight.boxfile import FUEL_UNITS, Box, bare
from gaugelight.curves import decimals_of
from gaugelight.face_tables import derived_span
from gaugelight.needles import Needle, needle_curve
from gaugelight.problems import Misuse, Problem, meant
from gaugelight.readouts import Derived, Mark

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gaugebox.curve import Curve

INCH = 25.4
LEAST_SWEEP, MOST_SWEEP = 60, 330  # degrees
LEAST_DIAMETER, MOST_DIAMETER = 40, 170  # mm; a sheet of A4 or letter takes the larger one with its margins
MOST_NUMBERS = 11
LEAST_GAP = 1.0  # mm between the strokes of minor ticks
LETTER = (
    0.64  # a letter's width over the size of its type; a little more than usual fonts take, bold ones too
)
HEIGHT = 0.72  # of a digit
SCALE_BAR = 50  # mm
MARGIN = 8.0
DASH, BETWEEN_DASHES = 2.0, 1.5  # mm
ADVICE = (
    "Print it at 100 %, measure its bar of 50 mm, and check the needle against a reference at each marking before flight: it is"
    " advisory, never a sole reference."
)
COLOURS = {"green": "#1a9c3c", "yellow": "#f2c500", "red": "#d3121f"}
INK, FAINT = "#000000", "#777777"

# radii, of that of the dial
RIM, BAND_OUTER, BAND_INNER = 1.0, 0.94, 0.87
TICK, MINOR_TO, MAJOR_TO, NUMBERS_FROM = 0.855, 0.80, 0.75, 0.73
LIMIT_FROM = 0.75
MORE_IN, OFF = "more in", "OFF"
OPEN_SWEEP = 285  # degrees; up to there the gap at the bottom has room for words

Xy = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """width in mm."""

    start: Xy
    end: Xy
    width: float
    colour: str = INK
    dashed: bool = False


@dataclass(frozen=True)
class Polygon:
    points: tuple[Xy, ...]
    colour: str


@dataclass(frozen=True)
class Circle:
    centre: Xy
    radius: float
    width: float
    colour: str = INK
    dashed: bool = False


@dataclass(frozen=True)
class Words:
    """size: of the type, mm. The place is the middle of the text, or the left end of its middle line. upward: read from below."""

    place: Xy
    text: str
    size: float
    centred: bool = True
    bold: bool = False
    upward: bool = False


Shape = Line | Polygon | Circle | Words


@dataclass(frozen=True)
class Drawing:
    """mm; x to the right, y down."""

    width: float
    height: float
    shapes: tuple[Shape, ...]


@dataclass(frozen=True)
class Pointer:
    """A needle that the box drives. curve: from reading units to hundredths of a per cent of the time; park: in these too."""

    name: str
    curve: "Curve"
    decimals: int
    park: int

    def place(self, reading: float) -> int:
        """Where the box puts it, in hundredths of a per cent."""
        readings = self.curve[0]
        return lookup(self.curve, min(max(round(reading * 10**self.decimals), readings[0]), readings[-1]))


@dataclass(frozen=True)
class Dial:
    """`sweep` degrees, evenly about the top, clockwise: without a pointer from low to high, with one between its meter's stops, at 0 and at
    100 % of the time. diameter: of the rim, mm. step: the smallest change shown. more: of a difference, in which tank there is more at its
    low, at its high end.
    """

    box: str
    name: str
    unit: str
    low: float
    high: float
    step: float
    marks: tuple[Mark, ...]
    sweep: float
    diameter: float
    pointer: Pointer | None = None
    more: tuple[str, str] | None = None

    @property
    def radius(self) -> float:
        return self.diameter / 2

    def angle(self, reading: float) -> float:
        """Degrees, clockwise from the top."""
        if self.pointer is not None:
            return self.sweep * (self.pointer.place(reading) / FULL - 0.5)
        return self.sweep * ((reading - self.low) / (self.high - self.low) - 0.5)


def dial_of(box: Box, name: str, sweep: float, diameter: float, needle: str | None = None) -> Dial:
    """The dial of one input or derived readout; needle: which one, where several follow it. Raises Misuse where there can be none."""
    if not LEAST_SWEEP <= sweep <= MOST_SWEEP:
        raise Misuse(f"--sweep {sweep:g}: a dial sweeps {LEAST_SWEEP} to {MOST_SWEEP} degrees")
    if not LEAST_DIAMETER <= diameter <= MOST_DIAMETER:
        raise Misuse(f"--diameter {diameter:g} mm: it is {LEAST_DIAMETER} to {MOST_DIAMETER} mm")
    one = box.input(name)
    derived = next((each for each in box.face.derived if each.name == name), None)
    if one is not None:
        line, unit, step, markings, (low, high) = one.line, one.unit, one.step, one.markings, one.law.span
    elif derived is not None:
        line, unit, step, markings = derived.line, derived.unit, derived.step, derived.markings
        low, high = derived_span(derived, box)
    else:
        names = [each.name for each in box.inputs] + [each.name for each in box.face.derived]
        raise Misuse(f'{box.file}: there is no readout "{name}" to draw; {meant(name, names)}')
    follows = _needle_of(box, name, needle)
    pointer, cure = None, "widen bar"
    if follows is not None:
        pointer, cure = _pointer(box, follows, step), f"the points of {follows.name} must reach it"
        low, high = float(follows.points[0][0]), float(follows.points[-1][0])
    elif markings is not None and markings.bar is not None:
        low, high = map(float, markings.bar)
    marks = () if markings is None else markings.marks
    for mark in marks:
        # of an arc is drawn what lies on the scale, as on the face
        if mark.high is not None and mark.high < low or mark.low is not None and mark.low > high:
            what = f"{_edges(mark)} lies beyond the scale of its dial, {low:g} to {high:g} {unit}; {cure}"
            raise Misuse(Problem(line, name, what, "marks").text(box.file))
    more = None if derived is None or not low < 0 < high else _heavier(derived)
    dial = Dial(box.name, name, unit, low, high, float(step), marks, sweep, diameter, pointer, more)
    if not ends_have_room(dial):
        where = "" if follows is None else f", between the ends of {follows.name}"
        raise Misuse(
            f"{name}: the numbers {low:g} and {high:g} have no room on {sweep:g} degrees of {diameter:g} mm{where}; another of either"
        )
    return dial


def _needle_of(box: Box, name: str, asked: str | None) -> Needle | None:
    """The needle that follows a readout. Raises Misuse where the one asked for does not, or several do and none was."""
    there = [one for one in box.face.needles if one.follows == name]
    names = ", ".join(f'"{one.name}"' for one in there)
    if asked is not None:
        there = [one for one in there if one.name == asked]
        if not there:
            raise Misuse(f'{box.file}: no needle "{asked}" follows {name}; there is: {names or "none"}')
    if len(there) > 1:
        raise Misuse(f"{box.file}: {len(there)} needles follow {name}: name one of {names} with --needle")
    return there[0] if there else None


def _pointer(box: Box, needle: Needle, step: Fraction) -> Pointer:
    """Raises Misuse where no scale can be read: two readings have one place."""
    places = [place for _, place in needle.points]
    steps = [after - before for before, after in zip(places, places[1:])]
    if min(steps) <= 0 <= max(steps) or needle.points[0][0] == needle.points[-1][0]:
        what = "two readings stand at one place, which no dial can tell apart; let the places only rise, or only fall"
        raise Misuse(Problem(needle.line, needle.name, what, "points").text(box.file))
    decimals = decimals_of(step)
    return Pointer(needle.name, needle_curve(needle, decimals), decimals, round(needle.park * 100))


def _heavier(derived: Derived) -> tuple[str, str] | None:
    """Of a difference: of what there is more where it is below nought, and where it is above."""
    if not isinstance(derived.parts, tuple) or [sign for _, sign in derived.parts] != [1, -1]:
        return None
    (first, _), (second, _) = derived.parts
    return second, first


def order_note(dial: Dial) -> str:
    """Of a difference whose needle goes left when there is more on the right; else nothing."""
    if dial.more is None:
        return ""
    at_left, at_right = at_ends(dial)
    if "left" not in at_right.split() or "right" not in at_left.split():
        return ""
    low, high = dial.more
    turned = f'difference = ["{low}", "{high}"]'
    return f"its needle goes left when there is more in {at_left}; {turned} turns the readout round, and its marks with it"


def at_ends(dial: Dial) -> tuple[str, str]:
    """Of a difference: of what there is more at the left, and at the right end of its scale."""
    assert dial.more is not None
    low, high = dial.more
    return (low, high) if dial.angle(dial.low) < dial.angle(dial.high) else (high, low)


def _apart(one: str, other: str) -> tuple[str, str]:
    """Two names without the words that both begin or end with."""
    a, b = one.split(), other.split()
    while len(a) > 1 < len(b) and a[-1] == b[-1]:
        a, b = a[:-1], b[:-1]
    while len(a) > 1 < len(b) and a[0] == b[0]:
        a, b = a[1:], b[1:]
    return " ".join(a), " ".join(b)


# -- ticks


def major_step(dial: Dial) -> Fraction:
    """The smallest 1, 2 or 5 times a power of ten at which the numbers have room along the scale."""
    span = dial.high - dial.low
    power = Fraction(10) ** (math.floor(math.log10(span)) - 2)
    step = power
    for step in (power * 10**k * m for k in range(4) for m in (1, 2, 5)):
        longest = max(len(number(end, step)) for end in (dial.low, dial.high))
        apart = closest(dial, ticks(dial, step), NUMBERS_FROM - 0.1)
        if span / float(step) < MOST_NUMBERS and apart >= room_for(dial, longest):
            break
    return step


def minor_step(dial: Dial, major: Fraction) -> Fraction | None:
    """A fifth, a quarter or half of the major one: as fine as the strokes stay apart, and no finer than the box shows."""
    digit = int(f"{float(major):e}"[0])
    for parts in {1: (5, 2), 2: (4, 2), 5: (5,)}[digit]:
        step = major / parts
        if step >= Fraction(str(dial.step)) and closest(dial, ticks(dial, step), MINOR_TO) >= LEAST_GAP:
            return step
    return None


def ticks(dial: Dial, step: Fraction) -> list[Fraction]:
    """The multiples of step on the scale."""
    slack = float(step) * 1e-9
    first, last = math.ceil((dial.low - slack) / float(step)), math.floor((dial.high + slack) / float(step))
    return [k * step for k in range(first, last + 1)]


def closest(dial: Dial, readings: list[Fraction], radius: float) -> float:
    """mm along the scale between the two nearest neighbours, radius of that of the dial."""
    angles = [dial.angle(float(reading)) for reading in readings]
    apart = min((abs(b - a) for a, b in zip(angles, angles[1:])), default=math.inf)
    return math.radians(apart) * radius * dial.radius


def room_for(dial: Dial, letters: float) -> float:
    """mm that two numbers of so many letters need from middle to middle."""
    return (letters + 0.6) * LETTER * number_size(dial)


def between_ends(dial: Dial, major: Fraction, step: Fraction | None = None) -> list[Fraction]:
    """The multiples of the major step, or of another, but those near the ends, which have ticks of their own: two strokes side by side
    are no scale."""
    near = (minor_step(dial, major) or major) / 2
    step = step or major
    return [at for at in ticks(dial, step) if min(float(at) - dial.low, dial.high - float(at)) > near]


def figures(dial: Dial, major: Fraction) -> list[tuple[float, str]]:
    """Readings and their numbers, from low to high: both ends, and between them what has room beside those."""
    low, high = ((end, end_number(dial, end, major)) for end in (dial.low, dial.high))

    def apart(one: tuple[float, str], other: tuple[float, str]) -> bool:
        along = (
            math.radians(abs(dial.angle(one[0]) - dial.angle(other[0]))) * (NUMBERS_FROM - 0.1) * dial.radius
        )
        return along >= room_for(dial, (len(one[1]) + len(other[1])) / 2)

    inner = [(float(at), number(at, major)) for at in between_ends(dial, major)]
    return [low, *(one for one in inner if apart(one, low) and apart(one, high)), high]


def ends_have_room(dial: Dial) -> bool:
    """For their numbers, along the scale and across the gap below it."""
    letters = sum(len(end_number(dial, end, major_step(dial))) for end in (dial.low, dial.high)) / 2
    turn = math.radians(abs(dial.angle(dial.high) - dial.angle(dial.low)))
    radius = (NUMBERS_FROM - 0.1) * dial.radius
    across = math.inf if turn <= math.pi else 2 * radius * math.sin(turn / 2)
    return turn * radius >= room_for(dial, letters) and across >= room_for(dial, letters - 0.4)


def number(reading: float | Fraction, step: Fraction) -> str:
    return f"{float(reading):.{_decimals(step)}f}"


def end_number(dial: Dial, end: float, major: Fraction) -> str:
    """With as many decimals as the others, or as many as put it within a quarter of what lies between two strokes."""
    within = float(minor_step(dial, major) or major) / 4
    exact = (k for k in range(_decimals(major), 12) if abs(round(end, k) - end) <= within)
    return f"{end:.{next(exact)}f}"


def _decimals(step: Fraction) -> int:
    return max(0, -math.floor(math.log10(step) + 1e-9))


def number_size(dial: Dial) -> float:
    """mm; smaller on a short scale."""
    return min(0.115 * dial.radius, 6.0) * min(1.0, max(0.7, dial.sweep / 180))


# -- shapes


def place(dial: Dial, angle: float, radius: float) -> Xy:
    """mm from the middle of the dial, radius of that of the dial."""
    turned = math.radians(angle)
    return radius * dial.radius * math.sin(turned), -radius * dial.radius * math.cos(turned)


def sector(dial: Dial, first: float, last: float, inner: float, outer: float) -> tuple[Xy, ...]:
    """A piece of a ring between two angles; no edge of it spans more than a degree."""
    count = max(1, math.ceil(last - first))
    angles = [first + (last - first) * k / count for k in range(count + 1)]
    return tuple(
        [place(dial, angle, outer) for angle in angles]
        + [place(dial, angle, inner) for angle in reversed(angles)]
    )


def arc_of(dial: Dial, mark: Mark) -> tuple[float, float] | None:
    """Angles from and to, of what lies on the scale; None where it is a limit."""
    if mark.low is None or mark.high is None or mark.low == mark.high:
        return None
    ends = dial.angle(max(dial.low, float(mark.low))), dial.angle(min(dial.high, float(mark.high)))
    return min(ends), max(ends)


def limit_of(dial: Dial, mark: Mark) -> float | None:
    """The angle of a red limit; None where it is an arc."""
    edge = mark.high if mark.low is None else mark.low
    return None if edge is None or arc_of(dial, mark) is not None else dial.angle(float(edge))


def mark_shapes(dial: Dial, mark: Mark) -> list[Shape]:
    arc, limit = arc_of(dial, mark), limit_of(dial, mark)
    colour = COLOURS[mark.colour]
    if limit is not None:
        half = math.degrees(0.05)
        wedge = place(dial, limit, BAND_OUTER), place(dial, limit - half, RIM), place(dial, limit + half, RIM)
        ends = place(dial, limit, LIMIT_FROM), place(dial, limit, BAND_OUTER + 0.02)
        return [Line(*ends, max(0.8, 0.03 * dial.radius), colour), Polygon(wedge, colour)]
    assert arc is not None
    first, last = arc
    shapes: list[Shape] = [Polygon(sector(dial, first, last, BAND_INNER, BAND_OUTER), colour)]
    if mark.colour == "green":
        return shapes
    # bars about as far apart as the band is wide, whole ones only
    count = max(1, round(math.radians(last - first) / (BAND_OUTER - BAND_INNER)))
    width = max(0.25, 0.012 * dial.radius)
    for k in range(count):
        a, b = (first + (last - first) * (k + part) / count for part in (0.25, 0.75))
        inner, outer = BAND_INNER, BAND_OUTER
        shapes.append(Line(place(dial, a, inner), place(dial, b, outer), width))
        if mark.colour == "red":
            shapes.append(Line(place(dial, b, inner), place(dial, a, outer), width))
    return shapes


def fitted(text: str, room: float, most: float) -> float:
    """The size of type, mm, at which it fits."""
    return min(most, room / (LETTER * max(1, len(text))))


def reference_of(unit: str) -> str:
    return "the dipstick" if bare(unit) in FUEL_UNITS else "a reference"


def face_shapes(dial: Dial) -> list[Shape]:
    """The dial itself, about its own middle. Limits come last: nothing lies over them."""
    r = dial.radius
    shapes: list[Shape] = [Circle((0, 0), r * RIM, 0.15, FAINT)]
    for mark in dial.marks:
        if limit_of(dial, mark) is None:
            shapes += mark_shapes(dial, mark)
    major = major_step(dial)
    minor = minor_step(dial, major)
    strong = between_ends(dial, major)
    for reading in [] if minor is None else between_ends(dial, major, minor):
        if reading not in strong:
            shapes.append(_tick(dial, float(reading), MINOR_TO, 0.25))
    for at in (dial.low, *map(float, strong), dial.high):
        shapes.append(_tick(dial, at, MAJOR_TO, 0.5))
    size = number_size(dial)
    free = NUMBERS_FROM * r
    numbered = figures(dial, major)
    for at, text in numbered:
        angle = dial.angle(at)
        # its outer corner stays clear of the ticks, whatever its length
        turned = math.radians(angle)
        reach = (
            abs(math.sin(turned)) * len(text) * LETTER * size / 2 + abs(math.cos(turned)) * HEIGHT * size / 2
        )
        shapes.append(Words(place(dial, angle, NUMBERS_FROM - reach / r), text, size, bold=True))
        free = min(free, NUMBERS_FROM * r - 2 * reach)
    shapes += [
        Line((-0.03 * r, 0), (0.03 * r, 0), 0.15, FAINT),
        Line((0, -0.03 * r), (0, 0.03 * r), 0.15, FAINT),
    ]
    shapes += _words(dial, free) + _parked(dial, [dial.angle(at) for at, _ in numbered])
    for mark in dial.marks:
        if limit_of(dial, mark) is not None:
            shapes += mark_shapes(dial, mark)
    return shapes


def _words(dial: Dial, free: float) -> list[Shape]:
    """Name, unit and caution, inside the numbers; free: the radius, mm, within which nothing else stands."""
    r = dial.radius

    def inside(y: float) -> float:
        return 2 * math.sqrt(max(0.0, free**2 - (abs(y) + 0.05 * r) ** 2))

    def in_the_gap(y: float) -> float:
        beside = math.pi - math.radians(dial.sweep) / 2
        by_scale = y * math.tan(beside) - 0.1 * r if beside < 1.5 else r
        return 2 * min(by_scale, math.sqrt((0.95 * r) ** 2 - (y + 0.05 * r) ** 2))

    shapes: list[Shape] = []
    for y, text in (
        (-0.2 * r if dial.more is None else -0.33 * r, dial.name),
        (0.15 * r if dial.more is None else -0.17 * r, dial.unit),
    ):
        shapes.append(Words((0, y), text, fitted(text, inside(y), 0.12 * r)))
    if dial.more is not None:
        ends = _apart(*at_ends(dial))
        half = inside(0.24 * r) / 2 - 0.02 * r
        size = min(fitted(text, half, 0.1 * r) for text in (MORE_IN, *ends))
        for side, name in zip((-1, 1), ends):
            x = side * (half / 2 + 0.02 * r)
            shapes += [Words((x, 0.13 * r), MORE_IN, size), Words((x, 0.24 * r), name, size)]
    caution = "advisory; check", f"against {reference_of(dial.unit)}"
    rows, room = ((0.64, 0.75), in_the_gap) if dial.sweep <= OPEN_SWEEP else ((0.3, 0.37), inside)
    size = min(fitted(text, room(y * r), 0.09 * r) for y, text in zip(rows, caution))
    return shapes + [Words((0, y * r), text, size) for y, text in zip(rows, caution)]


def park_angle(dial: Dial) -> float | None:
    return None if dial.pointer is None else dial.sweep * (dial.pointer.park / FULL - 0.5)


def _parked(dial: Dial, numbered: list[float]) -> list[Shape]:
    """A dot where the needle stands for nothing, and OFF beside it where the numbers at those angles leave room."""
    angle = park_angle(dial)
    if angle is None:
        return []
    (x, y), radius = place(dial, angle, (BAND_INNER + BAND_OUTER) / 2), 0.03 * dial.radius
    turns = [2 * math.pi * k / 24 for k in range(24)]
    dot = tuple((x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns)
    shapes: list[Shape] = [Polygon(dot, INK)]
    size = 0.8 * number_size(dial)
    apart = min((abs(angle - other + 180) % 360 - 180 for other in numbered), key=abs)
    if math.radians(abs(apart)) * (NUMBERS_FROM - 0.1) * dial.radius >= room_for(dial, len(OFF)):
        shapes.append(Words(place(dial, angle, NUMBERS_FROM), OFF, size, bold=True))
    return shapes


def _tick(dial: Dial, reading: float, inner: float, width: float) -> Line:
    angle = dial.angle(reading)
    return Line(place(dial, angle, inner), place(dial, angle, TICK), width)


def dial_drawing(dial: Dial) -> Drawing:
    """The sheet: the dial, what its markings mean, the cautions, and a bar to check the print with."""
    width = max(dial.diameter, 104.0) + 2 * MARGIN
    middle = width / 2, MARGIN + dial.radius
    shapes = [moved(shape, middle) for shape in face_shapes(dial)]
    y = middle[1] + dial.radius + 8
    left = MARGIN
    shapes += scale_bar(left, y)
    shapes.append(
        Words((left + SCALE_BAR + 4, y), f"{SCALE_BAR} mm: measure it on the print", 2.8, centred=False)
    )
    y += 7
    for line in (
        f"{dial.box}: {dial.name}, {dial.unit}",
        f"{dial.low:g} at {dial.angle(dial.low):+.4g} degrees, {dial.high:g} at {dial.angle(dial.high):+.4g} (clockwise from the top)",
        *scale_of(dial),
        f"rim {dial.diameter:g} mm; print at 100 %, not fitted to the page",
    ):
        shapes.append(Words((left, y), line, fitted(line, width - 2 * MARGIN, 2.8), centred=False))
        y += 4.5
    for line in legend(dial):
        shapes.append(Words((left, y), line, fitted(line, width - 2 * MARGIN, 2.8), centred=False))
        y += 4.5
    caution = f"Advisory; check against {reference_of(dial.unit)} before flight. Never a sole reference."
    shapes.append(
        Words((left, y + 1), caution, fitted(caution, width - 2 * MARGIN, 2.8), centred=False, bold=True)
    )
    return Drawing(width, y + 1 + MARGIN, tuple(shapes))


def scale_of(dial: Dial) -> list[str]:
    """What pointer the scale is for, and what its ends mean; one line each."""
    ends = [] if dial.more is None else ["left end: more in {}; right end: more in {}".format(*at_ends(dial))]
    pointer = dial.pointer
    if pointer is None:
        return ["evenly divided: for a pointer that moves evenly", *ends]
    half = dial.sweep / 2
    return [
        f"for {pointer.name}, through its points: 0 % at {-half:+.4g}, 100 % at {half:+.4g} degrees",
        f"black dot: parked at {pointer.park / 100:g} %, {park_angle(dial):+.4g} degrees: there it says nothing",
        *ends,
    ]


def legend(dial: Dial) -> list[str]:
    """Each marking in words, so that a print without colours says as much."""
    told = []
    for mark in dial.marks:
        if mark.low is not None and mark.high is not None and mark.low != mark.high:
            how = {"green": "plain", "yellow": "barred", "red": "cross-barred"}[mark.colour]
            beyond = "" if dial.low <= mark.low and mark.high <= dial.high else ", beyond the scale"
            told.append(f"{mark.colour} arc, {how}: {float(mark.low):g} to {float(mark.high):g}{beyond}")
        else:
            edge = mark.high if mark.low is None else mark.low
            assert edge is not None
            told.append(f"red radial with a wedge: {'least' if mark.low is None else 'most'} {float(edge):g}")
    return told


def _edges(mark: Mark) -> str:
    """Its colour, and where it lies, in the box file's words."""
    if mark.low is not None and mark.high is not None and mark.low != mark.high:
        return f"{mark.colour} = [{float(mark.low):g}, {float(mark.high):g}]"
    edge = mark.high if mark.low is None else mark.low
    assert edge is not None
    return f"{mark.colour} = {float(edge):g}"


def scale_bar(left: float, y: float) -> list[Shape]:
    bar: list[Shape] = [Line((left, y), (left + SCALE_BAR, y), 0.3)]
    for x in range(0, SCALE_BAR + 1, 10):
        half = 2.0 if x in (0, SCALE_BAR) else 1.0
        bar.append(Line((left + x, y - half), (left + x, y + half), 0.2))
    return bar


def moved(shape: Shape, by: Xy) -> Shape:
    def at(point: Xy) -> Xy:
        return point[0] + by[0], point[1] + by[1]

    if isinstance(shape, Line):
        return replace(shape, start=at(shape.start), end=at(shape.end))
    if isinstance(shape, Polygon):
        return replace(shape, points=tuple(map(at, shape.points)))
    if isinstance(shape, Circle):
        return replace(shape, centre=at(shape.centre))
    return replace(shape, place=at(shape.place))


# -- formats


def svg(drawing: Drawing) -> str:
    """One unit of the picture is one millimetre of the print."""
    w, h = drawing.width, drawing.height
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}">',
        f'<rect width="{w:g}" height="{h:g}" fill="#ffffff"/>',
    ]
    for shape in drawing.shapes:
        if isinstance(shape, Line):
            (x1, y1), (x2, y2) = shape.start, shape.end
            ends = f'x1="{x1:.4f}" y1="{y1:.4f}" x2="{x2:.4f}" y2="{y2:.4f}"'
            stroke = f'stroke="{shape.colour}" stroke-width="{shape.width:.3f}"'
            lines.append(f"<line {ends} {stroke}{_svg_dashes(shape)}/>")
        elif isinstance(shape, Polygon):
            points = " ".join(f"{x:.4f},{y:.4f}" for x, y in shape.points)
            lines.append(f'<polygon points="{points}" fill="{shape.colour}"/>')
        elif isinstance(shape, Circle):
            (x, y), r = shape.centre, shape.radius
            stroke = f'fill="none" stroke="{shape.colour}" stroke-width="{shape.width:.3f}"'
            lines.append(f'<circle cx="{x:.4f}" cy="{y:.4f}" r="{r:.4f}" {stroke}{_svg_dashes(shape)}/>')
        else:
            (x, y), size = shape.place, shape.size
            anchor = "middle" if shape.centred else "start"
            weight = ' font-weight="bold"' if shape.bold else ""
            weight += f' transform="rotate(-90 {x:.4f} {y:.4f})"' if shape.upward else ""
            # capitals are about 0.7 of the type's size high: their middle is put on the line
            start = f'<text x="{x:.4f}" y="{y + 0.35 * size:.4f}" font-size="{size:.3f}" text-anchor="{anchor}"{weight}'
            lines.append(f'{start} font-family="sans-serif">{html.escape(shape.text)}</text>')
    return "\n".join([*lines, "</svg>", ""])


def _svg_dashes(shape: Line | Circle) -> str:
    return f' stroke-dasharray="{DASH:g} {BETWEEN_DASHES:g}"' if shape.dashed else ""


def png(drawing: Drawing, path: Path, dots_an_inch: int = 300) -> None:
    """The same by matplotlib, with its size in the file. Raises OSError, ImportError where matplotlib is missing."""
    from matplotlib import pyplot

    figure = _figure(drawing)
    figure.savefig(path, dpi=dots_an_inch)
    pyplot.close(figure)


def pdf(drawings: Sequence[Drawing], path: Path) -> None:
    """Each on a page of its own size. Raises OSError, ImportError where matplotlib is missing."""
    from matplotlib import pyplot
    from matplotlib.backends.backend_pdf import PdfPages

    with PdfPages(path) as pages:
        for drawing in drawings:
            figure = _figure(drawing)
            pages.savefig(figure)
            pyplot.close(figure)


def _figure(drawing: Drawing) -> "Figure":
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import patches, pyplot

    points = 72 / INCH  # to a millimetre
    figure = pyplot.figure(figsize=(drawing.width / INCH, drawing.height / INCH))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, drawing.width)
    axes.set_ylim(drawing.height, 0)
    axes.set_axis_off()
    for number_of, shape in enumerate(drawing.shapes):
        if isinstance(shape, Line):
            (x1, y1), (x2, y2) = shape.start, shape.end
            width = shape.width * points
            axes.plot(
                [x1, x2],
                [y1, y2],
                color=shape.colour,
                linewidth=width,
                solid_capstyle="butt",
                linestyle=_dashes(shape),
                zorder=number_of,
            )
        elif isinstance(shape, Polygon):
            axes.add_patch(patches.Polygon(shape.points, color=shape.colour, linewidth=0, zorder=number_of))
        elif isinstance(shape, Circle):
            width = shape.width * points
            axes.add_patch(
                patches.Circle(
                    shape.centre,
                    shape.radius,
                    fill=False,
                    edgecolor=shape.colour,
                    linewidth=width,
                    linestyle=_dashes(shape),
                    zorder=number_of,
                )
            )
        else:
            (x, y), size = shape.place, shape.size
            axes.text(
                x + 0.35 * size * shape.upward,
                y + 0.35 * size * (not shape.upward),
                shape.text,
                fontsize=size * points,
                ha="center" if shape.centred else "left",
                va="baseline",
                weight="bold" if shape.bold else "normal",
                rotation=90 if shape.upward else 0,
                rotation_mode="anchor",
                parse_math=False,
                zorder=number_of,
            )
    return figure


def _dashes(shape: Line | Circle) -> Any:
    """As matplotlib takes it: in widths of the line."""
    points = 1 / shape.width
    return (0, (DASH * points, BETWEEN_DASHES * points)) if shape.dashed else "solid"
