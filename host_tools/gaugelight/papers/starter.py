"""A papers file to begin with: every input, mark, alert and lamp of a box, each waiting for the builder's words."""

from __future__ import annotations

import json
from collections.abc import Iterator

from gaugelight.boxfile import Box
from gaugelight.lights import Follows
from gaugelight.papers import words
from gaugelight.papers.papers_file import FILLED_IN, RESERVE, SIGNED_WITH, mark_name

NUMBER = "its maker's number"


def starter(box: Box, box_file: str) -> str:
    """The text of a papers file that is right as it stands; what is empty in it is told on the page as not stated."""
    return "\n".join(_lines(box, box_file)) + "\n"


def _lines(box: Box, box_file: str) -> Iterator[str]:
    yield f"# The papers of {box.name}: what only you know of your aircraft. Its page: gaugelight record {box_file}"
    yield "# What stays empty is said on the page: not stated. Take the # away from what you have."
    yield ""
    yield "[aircraft]"
    for key, what in (
        ("name", "what you call it"),
        ("registration", ""),
        ("builder", ""),
        ("country", "and the rules it flies under"),
    ):
        yield f'{key} = ""' + (f"{' ' * (25 - len(key))}# {what}" if what else "")
    yield ""
    yield from _weights(box)
    yield from _battery(box)
    yield from _limits(box)
    yield from _wording(box)


def _weights(box: Box) -> Iterator[str]:
    yield "# --- weight: each item as you weighed it; its arm from the datum, aft of it more than nought; taken out: less than nought ---"
    yield ""
    yield "[balance]"
    yield 'datum = ""                      # "the bow\'s tip, hull level"'
    yield '# before = { weight = "402 kg", arm = "2.314 m" }   # the empty aircraft, as it was last weighed'
    yield ""
    items = [(f"box: {box.name}", "number of its board", "between the knees")]
    items += [
        (f"sender: {one.name}", NUMBER, words.pin(one.converter)) for one in box.inputs if words.points(one)
    ]
    items += [(f"lamp: {lamp.name}", NUMBER, f"GP{lamp.pin}") for lamp in box.lights.lamps]
    items.append(("wiring and connectors", "", ""))
    for item, part, place in items:
        yield "[[installed]]"
        yield f"item = {json.dumps(item)}"
        yield f'part = ""                       # {part}'
        yield f"place = {json.dumps(place)}"
        yield '# weight = "0.42 kg"            # or "lb"'
        yield '# arm = "1.85 m"                # or "in"'
        yield ""


def _battery(box: Box) -> Iterator[str]:
    yield "# --- the battery alone, with the alternator dead ---"
    yield ""
    yield "# [battery]"
    yield '# capacity = "18 Ah"              # at the current that will flow, not at that of its label'
    yield '# state = "80 %"                  # what age and charge leave of it'
    yield '# cold = "70 %"                   # what it gives of that at the coldest it may be'
    yield '# from = ""                       # where these three come from'
    yield '# wanted = "30 min"'
    yield '# box = "150 mA"                  # what this box takes, measured, its lamps off'
    night = [f"{json.dumps(name)} = {json.dumps(_middle(box, name))}" for name in _followed(box)]
    yield f'# night = {{ {", ".join(["knob = " + json.dumps("30 %"), *night])} }}'
    yield ""
    yield "# [[essential]]                   # each load that stays on then"
    yield '# load = "radio, transmitting"'
    yield '# current = "2.5 A"'
    yield '# share = "10 %"                  # of the time; left out: always'
    yield ""


def _followed(box: Box) -> list[str]:
    """Inputs that a lamp follows."""
    names = [lamp.source.name for lamp in box.lights.lamps if isinstance(lamp.source, Follows)]
    return [name for name in dict.fromkeys(names) if box.input(name) is not None]


def _middle(box: Box, name: str) -> str:
    one = box.input(name)
    assert one is not None
    return f"{sum(one.law.span) / 2:.4g} {one.bare_unit}"


def _limits(box: Box) -> Iterator[str]:
    yield '# --- where each limit comes from: "coolant manual, page 12" ---'
    yield ""
    for name, unit, markings in box.shown:
        if markings.marks:
            yield f"[limits.{json.dumps(name)}]{' ' * max(1, 24 - len(json.dumps(name)))}# {unit}"
            yield from (f'{json.dumps(mark_name(mark))} = ""' for mark in markings.marks)
            yield ""
    if box.face.alerts:
        yield "[alerts]"
        for rule in box.face.alerts:
            when = " and ".join(words.condition(box, one) for one in rule.when)
            yield f'{json.dumps(rule.words)} = ""    # {when}'
        yield ""
    watched = [RESERVE] * (box.face.reserve is not None) + [one.gauge for one in box.face.gauges]
    if watched:
        yield "[watches]                       # rates of pump and burn, pressures: measured how?"
        yield from (f'{json.dumps(name)} = ""' for name in dict.fromkeys(watched))
        yield ""


def _wording(box: Box) -> Iterator[str]:
    yield "# --- placards, test card, logbook, signatures: your country's words ---"
    yield ""
    yield "[[placard]]"
    yield 'words = "FUEL QUANTITY IS ADVISORY\\nDIP TANKS BEFORE FLIGHT"'
    yield 'place = ""'
    yield ""
    yield "# [[test]]                        # beside the lines that the page makes of the box file"
    yield '# do = "..."'
    yield '# expect = "..."'
    yield '# phase = "ground"               # or "flight"'
    yield ""
    yield "[logbook]"
    yield f"# filled in: {', '.join('{' + one + '}' for one in FILLED_IN)}"
    yield 'words = """'
    yield '{registration}: readout box and light dimmer "{box}" installed, table {table}, firmware {firmware}.'
    yield "Readouts held against references, alerts tried, weight and balance amended: see the record of {date}."
    yield '"""'
    yield 'under = ""                      # the rule that this entry is made under'
    yield ""
    yield "[[signature]]"
    yield 'role = "builder"'
    yield 'says = "I installed and tested what this record describes."'
    yield f"fields = {json.dumps(list(SIGNED_WITH))}"
    yield ""
    yield "[[signature]]"
    yield 'role = "inspector"'
    yield 'says = ""'
    yield f"fields = {json.dumps(list(SIGNED_WITH))}"
