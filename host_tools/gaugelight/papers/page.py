"""The page: facts in, one HTML text out. The same facts give the same text, to the byte.

It is one file, without scripts that run and without anything to fetch, and well-formed as XML too. What a later page is compared with, and
what `--check` builds anew, stands in it as JSON. Its sum is over the whole text, with noughts in the place of the sum.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Sequence
from fractions import Fraction

from gaugelight.error_budget import LEFT_OUT
from gaugelight.face_tables import span_and_step
from gaugelight.faults_shown import Shown
from gaugelight.harness.sheet import cable_words, rows_of
from gaugelight.lights import Lamp
from gaugelight.loads import amperes, strain
from gaugelight.papers import words, wording
from gaugelight.papers.card import card
from gaugelight.papers.data import block
from gaugelight.papers.endurance import in_minutes, minutes
from gaugelight.papers.facts import Calibration, Facts, calibrated, not_right, not_stated
from gaugelight.papers.marks_drawn import bar
from gaugelight.papers.markup import Html, each, listed, markup, table, tag
from gaugelight.papers.papers_file import RESERVE, filled
from gaugelight.papers.style import sheet
from gaugelight.wires import largest_fuse

NO_SUM = "0" * 64
POINTS_A_ROW = 8
ARM_DECIMALS = {"m": 3, "ft": 3, "cm": 1, "mm": 0, "in": 2}
LAMP_TOPICS = ("in short", "load", "dimmable", "kept steady", "wire", "fuse", "states")
NO_SOURCE = tag("span", "no source stated", class_="none")
NOT_STATED = tag("span", "not stated", class_="none")


def page(facts: Facts) -> str:
    """The whole page, its sum filled in."""
    text = _unsummed(facts)
    return text.replace(NO_SUM, sum_of(text))


def sum_of(text: str) -> str:
    """SHA-256 of a page whose own sum is noughts; ends of lines count alike."""
    return hashlib.sha256(text.replace("\r\n", "\n").encode()).hexdigest()


def _unsummed(facts: Facts) -> str:
    box = facts.box
    aircraft = facts.papers.aircraft
    running = " · ".join(
        filter(None, [box.name, aircraft.registration, f"table {facts.crc}", facts.made_on.isoformat()])
    )
    parts = [(title, name, part) for title, name, part in _parts(facts) if part]
    contents = each("li", (tag("a", title, href=f"#{name}") for title, name, _ in parts))
    sections = [tag("section", tag("h2", title, id=name), part, class_=name) for title, name, part in parts]
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("title", running),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="generator", content=f"gaugelight {facts.tools}"),
        tag("meta", name="sum", content=NO_SUM),
        tag("style", Html(sheet(running))),
    )
    body = tag(
        "body",
        _head(facts),
        _open_points(facts),
        _since(facts),
        tag("nav", tag("ol", contents), aria_label="contents"),
        tag("main", *sections),
        tag("footer", running),
        tag("script", Html(block(facts)), type="application/json", id="record"),
    )
    whole = tag("html", head, body, lang="en")
    return f"<!DOCTYPE html>\n{whole}\n"


def _parts(facts: Facts) -> Iterator[tuple[str, str, Html]]:
    """Title, anchor and content; what is empty is left out."""
    yield "Cautions", "cautions", listed(
        markup(tag("strong", f"{what}. "), says) for what, says in wording.CAUTIONS
    )
    yield "Installed: weight and arm", "installed", _installed(facts)
    yield "Circuit and pin of every input", "inputs", _inputs(facts)
    yield "Outputs, switches and lines", "outputs", _outputs(facts)
    yield "Connectors and cables", "wiring", _wiring(facts)
    yield "Range markings and limits", "limits", _limits(facts)
    yield "What the pilot is told", "alerts", _alerts(facts)
    yield "Fuel watches", "watches", _watches(facts)
    yield "Needles", "needles", _needles(facts)
    yield "Calibration", "calibration", _calibrations(facts)
    yield "Plus or minus", "errors", _errors(facts)
    yield "What a fault shows", "faults", _faults(facts)
    yield "Lamps: load, wire, fuse", "lamps", _lamps(facts)
    yield "The face", "face", _face(facts)
    yield "Current, and the battery alone", "battery", _battery(facts)
    yield "Bench", "bench", _bench(facts)
    yield "Placards", "placards", _placards(facts)
    yield "Flight-test card", "card", _card(facts)
    yield "Logbook and signatures", "signatures", _signatures(facts)
    yield "Whose page this is, and how to check it", "check", _check(facts)
    yield "The files it was made from", "appendix", _files(facts)


# -- the first page


def _head(facts: Facts) -> Html:
    box, aircraft, back = facts.box, facts.papers.aircraft, facts.read_back
    of = " · ".join(
        filter(
            None, [aircraft.name, aircraft.registration, aircraft.builder and f"built by {aircraft.builder}"]
        )
    )
    if back is None:
        read = "NOT READ BACK from a box"
    elif any(what.startswith("THE BOX") for what in not_right(facts)):
        read = "THE BOX DIFFERS"
    else:
        read = f"read back from the box in {back.hello.slot}: the same to the byte"
    cells = [
        ("table CRC", tag("dd", facts.crc, class_="crc"), True),
        ("against the box", tag("dd", read), True),
        ("firmware in the box", tag("dd", facts.firmware or NOT_STATED), False),
        ("safe table CRC", tag("dd", facts.safe_crc, class_="mono"), False),
        ("made on", tag("dd", facts.made_on.isoformat()), False),
        ("made by", tag("dd", f"gaugelight {facts.tools}"), False),
        ("box file", tag("dd", facts.box_file.name), True),
        (
            "table",
            tag(
                "dd",
                f"{len(facts.built.image)} bytes, {len(box.inputs)} inputs, {len(box.lights.lamps)} lamps",
            ),
            True,
        ),
    ]
    block_of = tag(
        "dl",
        *(
            tag("div", tag("dt", what), dd, **({"class_": "wide"} if wide else {}))
            for what, dd, wide in cells
        ),
        class_="block",
    )
    return tag(
        "header",
        tag("p", "Record of a readout box and its lights", class_="kind"),
        tag("h1", box.name),
        tag("p", of or tag("span", "aircraft not stated", class_="none"), class_="of"),
        block_of,
    )


def _open_points(facts: Facts) -> Html:
    wrong, open_ = list(not_right(facts)), list(not_stated(facts))
    warned = [] if facts.read_back is None else list(facts.read_back.warnings)
    parts = []
    if wrong:
        parts.append(tag("section", tag("h2", "NOT RIGHT"), listed(wrong), class_="open wrong"))
    if warned:
        parts.append(tag("section", tag("h2", "What the box said of itself"), listed(warned), class_="open"))
    if open_:
        parts.append(tag("section", tag("h2", "Not stated, or not done yet"), listed(open_), class_="open"))
    return markup(*parts)


def _since(facts: Facts) -> Html:
    since = facts.since
    if since is None:
        return Html("")
    title = f"Changed since {since.name}, made on {since.made_on}, table {since.table}"
    return tag("section", tag("h2", title), listed(since.lines or ["nothing"]), class_="open since")


# -- the parts


def _installed(facts: Facts) -> Html:
    weighed, papers = facts.balance, facts.papers
    if not weighed.rows:
        return tag("p", NOT_STATED)
    weight, arm = weighed.weight_unit, weighed.arm_unit
    fine = ARM_DECIMALS[arm]
    rows: list[Sequence[object]] = [
        (
            row.item.name,
            row.item.part,
            row.item.place,
            NOT_STATED if row.weight is None else _fixed(row.weight),
            NOT_STATED if row.arm is None else _fixed(row.arm, fine),
            "" if row.moment is None else _fixed(row.moment),
        )
        for row in weighed.rows
    ]
    together = "" if weighed.arm is None else _fixed(weighed.arm, fine)
    rows.append(("together", "", "", _fixed(weighed.weight), together, _fixed(weighed.moment)))
    heads = ["item", "part", "place", f">weight, {weight}", f">arm, {arm}", f">moment, {weight} {arm}"]
    made = [table("moment = weight x arm; arm of all = sum of moments / sum of weights", heads, rows, "sums")]
    made.append(tag("p", f"Datum: {papers.datum}." if papers.datum else NOT_STATED, class_="note"))
    if weighed.left_out:
        made.append(
            tag(
                "p",
                f"In no sum, for weight or arm is not stated: {'; '.join(weighed.left_out)}.",
                class_="none",
            )
        )
    if weighed.before is not None and weighed.after is not None:
        states = [("before", *weighed.before), ("with what was installed", *weighed.after)]
        rows = [(what, _fixed(w), _fixed(a, fine), _fixed(w * a)) for what, w, a in states]
        made.append(
            table(
                "the empty aircraft",
                ["", f">weight, {weight}", f">arm, {arm}", f">moment, {weight} {arm}"],
                rows,
            )
        )
        made.append(
            tag(
                "p",
                "The limits of its centre of gravity are in the aircraft's own papers; hold the new arm against them.",
                class_="note",
            )
        )
    return markup(*made)


def _fixed(value: Fraction, decimals: int = 2) -> str:
    """No more than a scale, or a tape, tells."""
    return f"{float(value):.{decimals}f}"


def _inputs(facts: Facts) -> Html:
    box = facts.box
    rows: list[Sequence[object]] = []
    for solved in facts.built.inputs:
        one = solved.input
        fails = words.limits(one)
        step = f"{words.number(one.step)}" + (
            f", damped {words.number(one.damping)} s" if one.damping else ""
        )
        rows.append(
            (
                one.name,
                tag("strong", words.pin(one.converter)),
                words.circuit(one.circuit),
                words.sender(one) + (f"; {fails}" if fails else ""),
                f"{one.law.low:.4g} to {one.law.high:.4g} {one.circuit.unit}",
                f"{words.reads(box, one.name)} {one.unit}",
                step,
            )
        )
    heads = ["input", "pin", "circuit", "sender", "signal", "reading", "step"]
    made = [table("as in the box file; pins are GPIO numbers, or CONVERTER.CHANNEL", heads, rows)]
    if box.chips:
        chips = [
            (
                chip.name,
                f"0x{chip.address:02x}",
                f"{chip.full_scale:g} V",
                f"{chip.rate} Hz" + ", continuous" * chip.continuous,
            )
            for chip in box.chips
        ]
        made.append(
            table(
                "converters, on I2C: GP4 SDA, GP5 SCL", ["converter", "address", "full scale", "rate"], chips
            )
        )
    if box.face.derived:
        rows = [
            (one.name, words.derived(one), f"{words.number(one.step)} {one.unit}") for one in box.face.derived
        ]
        made.append(table("worked out from several inputs", ["readout", "from", "step"], rows))
    return markup(*made)


def _outputs(facts: Facts) -> Html:
    lights, face = facts.box.lights, facts.box.face
    rows: list[tuple[str, str, str]] = [
        (
            lamp.name,
            f"GP{lamp.pin}",
            f"lamp, {lamp.frequency} Hz, {words.set_by(lamp)}"
            + (f", shows {lamp.shows}" if lamp.shows else ""),
        )
        for lamp in lights.lamps
    ]
    rows += [
        (
            f"knob on GP{knob.pin}",
            f"GP{knob.pin}",
            f"{words.ohms(knob.track)} between {words.ohms(knob.ends)}, wiper {words.ohms(knob.pull_down)} to ground",
        )
        for knob in lights.knobs
    ]
    if (line := lights.bus_output) is not None:
        rows.append((line.name, f"GP{line.pin}", f"{words.set_by(line)}; up to {float(line.highest):.3g} V"))
    if (request := lights.dim_request) is not None:
        rows.append(
            (
                "dim request",
                f"GP{request.pin}",
                f"follows {request.follows}, asks {'high' if request.active else 'low'}",
            )
        )
    rows += [
        (
            switch.name,
            f"GP{switch.pin}",
            f"switch, on when {'high' if switch.on else 'low, closed to ground'}",
        )
        for switch in lights.switches
    ]
    rows += [(needle.name, f"GP{needle.pin}", f"needle, follows {needle.follows}") for needle in face.needles]
    if face.panel is not None:
        rows.append(
            (
                "display",
                f"I2C 0x{face.panel.address:02x}",
                ", ".join(
                    one.kind if not one.names else " with ".join(one.names) for one in face.panel.pages
                ),
            )
        )
    rows.append(("service jumper", "GP22", "closed to ground: SERVICE, the box can be written to"))
    made = [table("", ["what", "pin", ""], rows)]
    if (told := facts.box.in_flight) is not None:
        above = "is on" if told.above is None else f"is above {words.number(told.above)}"
        made.append(
            tag(
                "p",
                f"Taken to be in flight, and not written to, while {told.follows} {above}.",
                class_="note",
            )
        )
    return markup(*made)


def _wiring(facts: Facts) -> Html:
    """Every pin that is used, and the cables; empty where the file describes no connector."""
    wiring = facts.wiring
    rows = [row for row in rows_of(wiring) if row.use]
    heads = ["pin", "use", "comes back by", "cable", "goes to", ">AWG", ">m"]
    made = []
    for connector in wiring.harness.connectors:
        box = "" if connector.shape.is_block else f", {connector.box} in the box"
        guards = [str(row.pin) for row in rows if row.connector == connector.name and row.mark == "guard"]
        used = [
            (f"{row.connector}-{row.pin}", row.use, row.returns, row.cable, row.to, row.gauge, row.length)
            for row in rows
            if row.connector == connector.name and row.mark != "guard"
        ]
        caption = f"{connector.name}: {connector.shape.kind}{box}"
        caption += f"; guards, grounded in the box: {', '.join(guards)}" if guards else ""
        made.append(table(caption, heads, used))
    if made and wiring.harness.cables:
        made.append(tag("h3", "Cables"))
        made.append(listed(cable_words(cable) for cable in wiring.harness.cables))
    return markup(*made)


def _limits(facts: Facts) -> Html:
    made = [tag("p", wording.LIMITS, class_="note")]
    for name, unit, markings in facts.box.shown:
        span, _ = span_and_step(facts.box, name)
        rows = [
            (
                mark.colour.upper(),
                words.mark(mark, unit),
                mark.says or "",
                facts.papers.source(name, mark) or NO_SOURCE,
            )
            for mark in markings.marks
        ]
        said = f"“{markings.label}” on the face"
        if rows:
            said += f"; judged after {words.number(markings.delay)} s"
        if markings.only_when is not None:
            said += f", only when {words.condition(facts.box, markings.only_when)}"
        inside = [tag("h3", f"{name}, {unit}"), tag("p", said, class_="note")]
        if rows:
            inside += [
                bar(name, unit, markings, span),
                table("", ["mark", "where", "says", "where the limit comes from"], rows),
            ]
        else:
            inside.append(tag("p", "No marks."))
        made.append(tag("div", *inside, class_="readout"))
    return markup(*made)


def _alerts(facts: Facts) -> Html:
    box = facts.box
    if not box.face.alerts:
        return Html("")
    rows = []
    for rule in box.face.alerts:
        until = "" if rule.until is None else words.condition(box, rule.until)
        after = "" if rule.after is None else words.condition(box, rule.after)
        when = (
            " and ".join(words.condition(box, one) for one in rule.when)
            + f", for {words.number(rule.lasts)} s"
        )
        rows.append(
            (rule.words, rule.urgency, when, after, until, facts.papers.alerts.get(rule.words) or NO_SOURCE)
        )
    heads = ["alert", "urgency", "when", "only after", "until", "where the limit comes from"]
    return markup(
        table("beside every fault (a caution) and every yellow and red mark", heads, rows),
    )


def _watches(facts: Facts) -> Html:
    box, papers = facts.box, facts.papers
    rows: list[Sequence[object]] = []
    if (tank := box.face.reserve) is not None:
        sender = box.input(tank.pressure)
        assert sender is not None
        fuel, psi = _unit(facts, tank.mains), sender.bare_unit
        says = (
            f"pump {tank.pump}, pressure {tank.pressure}, mains {tank.mains}; holds {words.number(tank.holds)} +-"
            f" {words.number(tank.holds_error)} {fuel}, the mains {words.number(tank.capacity)} {fuel}; an hour pumped {_span(tank.rate)}"
            f" {fuel}, burnt {_span(tank.burn)} {fuel}; flowing {_span(tank.flowing)} {psi} above pump off, line closed from"
            f" {words.number(tank.dead_head)} {psi}"
        )
        rows.append(("reserve watch", says, papers.watches.get(RESERVE) or NO_SOURCE))
    for gauge in box.face.gauges:
        fuel = _unit(facts, gauge.gauge)
        says = (
            f"while {words.condition(box, gauge.flies)} burns {_span(gauge.burn)} {fuel} an hour; of a transfer {words.number(gauge.share)} %;"
            f" called out from {words.number(gauge.allowance)} {fuel} on; {words.number(gauge.unseen)} {fuel} unseen above the float"
        )
        rows.append(
            (f"{gauge.gauge} against burn and transfer", says, papers.watches.get(gauge.gauge) or NO_SOURCE)
        )
    if not rows:
        return Html("")
    return markup(
        table(
            "judgements from one sender and a clock",
            ["watch", "reckoned with", "where the figures come from"],
            rows,
        )
    )


def _unit(facts: Facts, name: str) -> str:
    """Of an input or a worked-out readout."""
    measured = facts.box.input(name)
    return (
        measured.bare_unit
        if measured
        else next(one.unit for one in facts.box.face.derived if one.name == name)
    )


def _span(pair: Sequence[object]) -> str:
    return " to ".join(f"{float(end):g}" for end in pair)  # type: ignore[arg-type]


def _needles(facts: Facts) -> Html:
    return markup(
        *(
            table(
                f"{one.name} follows {one.follows}; parked at {words.number(one.park)} % on a fault",
                [f">{_unit(facts, one.follows)}", ">per cent of the time"],
                [(words.number(reading), words.number(place)) for reading, place in one.points],
            )
            for one in facts.box.face.needles
        )
    )


def _sensed(facts: Facts) -> list[str]:
    """Inputs with points to calibrate: first those that were."""
    names = [one.name for one in facts.box.inputs if words.points(one)]
    return sorted(names, key=lambda name: facts.calibration(name) is None)


def _calibrations(facts: Facts) -> Html:
    names = _sensed(facts)
    guessed = "The points of what was not calibrated in the aircraft are those of the box file: a data sheet's, or a guess."
    made = [] if all(facts.calibration(name) for name in names) else [tag("p", guessed)]
    return markup(*made, *(_calibration(facts, name) for name in names))


def _calibration(facts: Facts, name: str) -> Html:
    one = facts.box.input(name)
    assert one is not None
    done = facts.calibration(name)
    made = [tag("h3", name)]
    if done is None:
        return markup(
            *made, tag("p", tag("strong", "Not calibrated in the aircraft.")), _points(words.points(one))
        )
    made.append(tag("p", f"Calibrated {calibrated(one)}."))
    if done.problem:
        made.append(tag("p", done.problem, class_="none"))
    if done.result is not None:
        made.append(_session(done))
    return markup(
        *made,
        _points(
            words.points(one),
            [words.two_digits(float(off)) for off in one.calibrated.plus_minus] if one.calibrated else [],
        ),
    )


def _points(points: Sequence[tuple[str, str]], plus_minus: Sequence[str] = ()) -> Html:
    """Signal over reading, so many side by side."""
    made = []
    for start in range(0, len(points), POINTS_A_ROW):
        some = points[start : start + POINTS_A_ROW]
        rows = [("signal", *(signal for signal, _ in some)), ("reading", *(reading for _, reading in some))]
        if plus_minus:
            rows.append(("+- at 95 %", *plus_minus[start : start + POINTS_A_ROW]))
        made.append(
            tag(
                "table",
                tag("caption", "points in the box" if not start else "and on"),
                tag(
                    "tbody",
                    *(
                        tag("tr", tag("th", row[0], scope="row"), *(tag("td", cell) for cell in row[1:]))
                        for row in rows
                    ),
                ),
            )
        )
    return markup(*made)


def _session(done: Calibration) -> Html:
    from gaugelight.calibration.results import K

    result = done.result
    assert result is not None
    session, one = result.session, done.input
    unit, signal = one.unit, one.circuit.unit
    rows = []
    for number, (point, taken) in enumerate(zip(session.points, result.points), 1):
        given = point.weighed or point.added or point.true
        rows.append(
            (
                str(number),
                "" if given is None else str(given),
                f"{taken.true:.4g}",
                f"{taken.signal:.5g}",
                "" if taken.spread is None else words.two_digits(taken.spread),
                words.two_digits(K * taken.signal_u),
                f"{taken.residual:+.2g}",
                "" if point.dip is None else str(point.dip),
                point.note,
            )
        )
    given_head = "added" if session.kind == "tank" else "reference"
    heads = [
        "point",
        f">{given_head}",
        f">true, {unit}",
        f">signal, {signal}",
        ">spread",
        ">+- of it",
        f">there less shown, {unit}",
        ">dip",
        "note",
    ]
    made = [
        table(
            f"{session.file or (done.session.name if done.session else '')}: begun {session.started.isoformat()}, {session.attitude} attitude",
            heads,
            rows,
        )
    ]
    made.append(listed(result.notes, class_="notes"))
    if done.svg:
        picture = "data:image/svg+xml;base64," + base64.b64encode(done.svg.encode()).decode()
        says = f"points, curve and residuals of {one.name}, as in the table"
        made.append(tag("figure", tag("img", src=picture, alt=says), tag("figcaption", says), class_="plot"))
    face = [(f"{faced.reading:g}", words.two_digits(faced.plus_minus)) for faced in result.face]
    made.append(
        _across(
            f"what the face says, {unit}, plus or minus at 95 %, the box's own part and the rounding in it",
            "face",
            "+-",
            face,
        )
    )
    return markup(*made)


def _across(caption: str, upper: str, lower: str, pairs: Sequence[tuple[str, str]], a_row: int = 14) -> Html:
    rows = []
    for start in range(0, len(pairs), a_row):
        some = pairs[start : start + a_row]
        for head, k in ((upper, 0), (lower, 1)):
            rows.append(
                tag(
                    "tr",
                    tag("th", head, scope="row"),
                    *(tag("td", pair[k], class_="number") for pair in some),
                )
            )
    return tag("table", tag("caption", caption), tag("tbody", *rows))


def _errors(facts: Facts) -> Html:
    groups = []
    for errors in facts.errors:
        unit, worst = errors.input.unit, errors.worst.contributors[0].quantity
        alone = [tag("br"), tag("small", tag("strong", wording.ALONE))] if errors.of_box_alone else []
        most = tag("small", f"most from: {worst.name}, {worst.size}")
        name = tag("th", errors.input.name, *alone, tag("br"), most, scope="rowgroup", rowspan="2")
        at = [
            markup(
                words.number(round(b.reading, 6)), *([tag("br"), tag("small", b.place)] if b.place else [])
            )
            for b in errors.budgets
        ]
        off = [tag("strong", words.two_digits(b.plus_minus)) for b in errors.budgets]
        groups.append(
            tag(
                "tbody",
                tag("tr", name, tag("th", f"at, {unit}", scope="row"), each("td", at, class_="number")),
                tag("tr", tag("th", "+-", scope="row"), each("td", off, class_="number")),
                class_="group",
            )
        )
    proven = [
        (
            solved.input.name,
            f"{words.two_digits(solved.signal_error_max)} {solved.input.circuit.unit}",
            f"{words.two_digits(solved.reading_error_max)} {solved.input.unit}",
            f"{words.number(solved.input.step)} {solved.input.unit}",
            str(solved.breakpoints),
        )
        for solved in facts.built.inputs
    ]
    return markup(
        tag("p", wording.PLUS_MINUS),
        tag("p", f"Not in these figures: {LEFT_OUT}.", class_="note"),
        tag(
            "table",
            tag("caption", "at five places of the range, and at every mark"),
            *groups,
            class_="places",
        ),
        table(
            "the conversion's own error, proven over all 65,536 counts",
            ["input", ">signal +-", ">reading +-", ">step", ">breakpoints"],
            proven,
        ),
    )


def _faults(facts: Facts) -> Html:
    by_input: dict[str, list[Shown]] = {}
    for shown in facts.faults:
        by_input.setdefault(shown.input, []).append(shown)
    heads = [
        "input",
        "open wire",
        "short to ground",
        "short to supply",
        "5 ohm corrosion",
        "10 ohm",
        "grounds 50 mV apart",
    ]
    rows = [(name, *(shown.shows for shown in some)) for name, some in by_input.items()]
    made = (
        [
            table(
                "a wire's fault, and what the box then says; “reads” and “adds” cannot be told from a reading",
                heads,
                rows,
            )
        ]
        if rows
        else []
    )
    if facts.notes:
        made.append(tag("h3", "To be known"))
        made.append(
            listed((markup(tag("strong", f"{name}: "), note) for name, note in facts.notes), class_="notes")
        )
    return markup(*made)


def _lamps(facts: Facts) -> Html:
    lamps = facts.box.lights.lamps
    if not lamps:
        return Html("")
    supply = float(facts.box.supply)
    heads = [
        "lamp",
        "pin",
        f">at {supply:g} V",
        "wire",
        ">fuse",
        ">this wire's largest",
        ">the bus's worst asks",
    ]
    made = [table("fuses at the bus end", heads, [_fused(lamp, supply) for lamp in lamps])]
    for report in facts.lights:
        some = [fact for fact in report.facts if fact.topic in LAMP_TOPICS or report.kind != "lamp"]
        made.append(tag("h3", report.name))
        made.append(table("", ["", ""], [(fact.topic, fact.says) for fact in some], "facts"))
    return markup(*made)


def _fused(lamp: Lamp, supply: float) -> Sequence[object]:
    load, wire, fuse = lamp.load, lamp.wire, lamp.fuse
    asks = "" if load is None else strain(load, supply).holds_in_words
    run = NOT_STATED
    if wire is not None:
        back = "back by the airframe" if wire.airframe_return else "and back"
        run = markup(f"AWG {wire.gauge}, {wire.length:g} m {back}")
    most = None if wire is None else largest_fuse(wire.gauge)
    return (
        lamp.name,
        f"GP{lamp.pin}",
        NOT_STATED if load is None else f"{amperes(load, supply):.3g} A",
        run,
        NOT_STATED if fuse is None else f"{float(fuse):g} A",
        "" if most is None else f"{most:g} A",
        asks,
    )


def _face(facts: Facts) -> Html:
    figures = [
        tag(
            "figure",
            tag(
                "img",
                src="data:image/png;base64," + base64.b64encode(one.png).decode(),
                alt=f"the display, {one.says}",
            ),
            tag("figcaption", one.says),
        )
        for one in facts.faces
    ]
    return tag("div", *figures, class_="faces") if figures else Html("")


def _battery(facts: Facts) -> Html:
    drains, battery = facts.endurance, facts.papers.battery
    rows: list[Sequence[object]] = [
        (
            one.name,
            NOT_STATED if one.night is None else f"{one.night:.3f}",
            NOT_STATED if one.most is None else f"{one.most:.3f}",
            one.how,
        )
        for one in drains.drains
    ]
    rows.append(("together", f"{drains.night:.3f}", f"{drains.most:.3f}", ""))
    heads = ["alternator dead", ">A by night", ">A, lamps at full", "how"]
    made = [table(f"current at {drains.volts:g} V, a battery at rest", heads, rows, "sums")]
    if drains.left_out:
        made.append(tag("p", f"In no sum: {', '.join(drains.left_out)}.", class_="none"))
    if battery is None:
        made.append(tag("p", "Battery: ", NOT_STATED))
        return markup(*made)
    lasts = [
        (what, minutes(battery, current))
        for what, current in (("by night, as above", drains.night), ("lamps at full", drains.most))
    ]
    reckoned = (
        f"{words.number(battery.capacity)} Ah x {words.number(battery.state * 100)} % x {words.number(battery.cold * 100)} %"
        f" = {float(battery.capacity * battery.state * battery.cold):.3g} Ah"
    )
    rows = [(what, "" if lasting is None else f"at most {in_minutes(lasting)}") for what, lasting in lasts]
    if battery.wanted is not None:
        rows.append(("wanted", in_minutes(battery.wanted)))
    made.append(tag("p", tag("strong", wording.ENDURANCE), f". {reckoned}."))
    made.append(
        tag(
            "p",
            (
                f"Capacity, state and cold: {battery.source}."
                if battery.source
                else markup("Capacity, state and cold: ", NO_SOURCE)
            ),
            class_="note",
        )
    )
    made.append(table("how long it lasts", ["", ">"], rows))
    made.append(tag("p", wording.AT_MOST))
    return markup(*made)


def _bench(facts: Facts) -> Html:
    bench = facts.bench
    if bench is None:
        return tag(
            "p",
            tag("strong", "Not benched."),
            " gaugelight bench BOX --json > bench.json, and --bench bench.json puts its result here.",
        )
    how = "without the cruise" if bench.short else "with an hour of cruise in which a float sticks"
    firmware = f", firmware {bench.firmware}" if bench.firmware else ""
    made = [
        tag(
            "p",
            tag("strong", f"{bench.passed} passed, {bench.failed} failed"),
            f"; table {bench.table or 'not stated'}{firmware}, {how}. The real firmware on a virtual box, a model aircraft around it: it proves box file and firmware, not senders and wires.",
        ),
    ]
    if bench.wrong:
        made.append(table("WRONG", ["what was done", "of", "should be", "said"], bench.wrong))
    rows = [(one.name, str(one.passed), str(one.failed)) for one in bench.subjects]
    half = -(-len(rows) // 2)
    made.append(
        table(
            "answers judged",
            ["of", ">passed", ">failed", "of", ">passed", ">failed"],
            [(*rows[k], *(rows[half + k] if half + k < len(rows) else ("", "", ""))) for k in range(half)],
        )
    )
    return markup(*made)


def _placards(facts: Facts) -> Html:
    made = []
    for one in facts.papers.placards:
        made.append(tag("p", one.words, class_="placard"))
        made.append(tag("p", f"Place: {one.place}" if one.place else NOT_STATED, class_="note"))
    return markup(*made) if made else tag("p", NOT_STATED)


def _card(facts: Facts) -> Html:
    made = []
    for phase, title in (("ground", "on the ground"), ("flight", "in flight")):
        rows = [
            tag(
                "tr",
                tag("td", str(number)),
                tag("th", one.do, scope="row"),
                tag("td", one.expect),
                tag("td", "", class_="write"),
                tag("td", "☐", class_="tick"),
            )
            for number, one in enumerate(card(facts, phase), 1)
        ]
        head = tag("thead", tag("tr", each("th", ["", "do", "should be", "found", "right"], scope="col")))
        if rows:
            made.append(tag("table", tag("caption", title), head, tag("tbody", *rows)))
    made.append(
        tag(
            "p",
            "The pilot flies; somebody else reads and writes. Stop at the first thing that is not as it should be.",
            class_="note",
        )
    )
    return markup(*made)


def _signatures(facts: Facts) -> Html:
    papers = facts.papers
    known = {
        "aircraft": papers.aircraft.name,
        "registration": papers.aircraft.registration,
        "box": facts.box.name,
        "table": facts.crc,
        "firmware": facts.firmware,
        "date": facts.made_on.isoformat(),
    }
    made = []
    if papers.aircraft.country or papers.logbook.under:
        made.append(tag("p", " · ".join(filter(None, [papers.aircraft.country, papers.logbook.under]))))
    made.append(tag("h3", "Logbook"))
    made.append(
        tag("p", filled(papers.logbook.words, known), class_="wording")
        if papers.logbook.words
        else tag("p", NOT_STATED)
    )
    for one in papers.signatures:
        lines = each("div", (markup(tag("dd", ""), tag("dt", field)) for field in one.fields))
        made.append(
            tag(
                "div", tag("h3", one.role), tag("p", filled(one.says, known)), tag("dl", lines), class_="sign"
            )
        )
    return markup(*made)


def _check(facts: Facts) -> Html:
    made = [tag("p", says) for says in wording.HONESTY]
    rows = [
        ("table", facts.crc),
        ("safe table", facts.safe_crc),
        ("sum of this page, SHA-256", tag("span", NO_SUM, class_="mono")),
    ]
    return markup(*made, table("", ["", ""], rows))


def _files(facts: Facts) -> Html:
    files = [(facts.box_file.name, facts.box_file.text)]
    if facts.papers.file:
        files.append((facts.papers.file, facts.papers.text))
    files += [(one.session.name, one.session.text) for one in facts.calibrations if one.session is not None]
    # a browser leaves out the first end of line within <pre>
    return markup(*(markup(tag("h3", name), tag("pre", "\n" + text)) for name, text in files))
