"""What to know of the range markings and alerts of a box: nothing here is refused.

The paragraphs of 14 CFR part 23 are those before the amendment of 2017; they never bound an amateur-built aircraft.
"""

from collections.abc import Iterator

from gaugelight.boxfile import FUEL_UNITS, Box, bare
from gaugelight.readouts import Markings


def notes_on_face(box: Box) -> Iterator[tuple[str, str]]:
    """Name and note."""
    for name, unit, markings in box.shown:
        for note in _notes_on_marks(name, bare(unit), markings, box):
            yield name, note
    urgencies = {alert.urgency for alert in box.face.alerts} | {
        "warning" if mark.colour == "red" else "caution"
        for _, _, markings in box.shown
        for mark in markings.marks
        if mark.colour != "green"
    }
    lamps = {lamp.shows for lamp in box.lights.lamps}
    for urgency, colour in (("warning", "red"), ("caution", "amber")):
        if urgency in urgencies and urgency not in lamps:
            what = f'no lamp shows a {urgency}; a {colour} one (14 CFR 23.1322) with shows = "{urgency}" is seen without looking'
            yield box.name, what
    if box.face.needles and "flag" not in lamps:
        what = 'a needle parked low reads as something low: nothing says that it stands for nothing; a lamp with shows = "flag" does'
        yield box.face.needles[0].name, what
    if urgencies and box.face.buttons.acknowledge is None:
        yield box.name, "nothing acknowledges an alert; name a switch in [buttons]"


def _notes_on_marks(name: str, unit: str, markings: Markings, box: Box) -> Iterator[str]:
    marks = markings.marks
    if not marks:
        return
    colours = {mark.colour for mark in marks}
    derived = any(one.name == name for one in box.face.derived)
    if "green" not in colours:
        yield "no green arc: 14 CFR 23.1549(b) has one for the normal range"
    if "red" not in colours and not derived:
        yield "no red mark: 14 CFR 23.1549(a) has a red radial at each safe limit"
    if unit in FUEL_UNITS and not derived:
        lowest = marks[0]
        if lowest.colour != "red" or lowest.high != 0:
            yield "no red mark at 0, which is the unusable quantity in level flight (14 CFR 23.1337(b)(1), 23.1553)"
        if markings.delay < 5:
            yield f'a mark is entered after {float(markings.delay):g} s; fuel sloshes for longer, mark_delay = "10 s" is usual (common practice, no source)'
