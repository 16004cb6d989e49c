"""`gaugelight trace`: what the meter says means; the causes that fit; what to measure next."""

from __future__ import annotations

import argparse
import math
import re
import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from gaugelight.boxfile import read_box
from gaugelight.cli import ADVISORY, Outcome, Screen
from gaugelight.problems import Misuse
from gaugelight.quantity import parse_quantity
from gaugelight.said import Said, shown
from gaugelight.tracing import narrow
from gaugelight.tracing.causes import NONE, OFF_THE_BUS, causes
from gaugelight.tracing.expected import Row, expected, meaning
from gaugelight.tracing.measurements import (
    AT_BATTERY,
    BOX,
    TRUE,
    WIGGLE,
    Measured,
    from_box,
    measured,
    measurement_of,
)
from gaugelight.tracing.narrow import NEAR, Left, Next
from gaugelight.tracing.traced import LOOP, RAIL, RESISTIVE, VOLTS, Meter, Traced, traced
from gaugelight.tracing.wired import METER_OPEN, SAYS_CONVERTER, SAYS_RAIL

SENDER = "sender"
SUPPLIES, COLDS = (0.0, 40.0), (-60.0, 150.0)  # V, degC: what can be
OWN_VOLTS = 5.5  # more than the box or a sender's own supply ever puts on a wire
SHOWN_OF_GROUP = 4
SHOWN_OUT = 4  # of the causes that do not fit, the nearest
FUEL = (
    "Fuel: nothing is opened, unplugged or measured at a tank before power is off, caps are closed, the aircraft is bonded, nobody smokes, and an"
    " extinguisher is at hand. A sender comes out of a drained and vented tank only, by a licensed mechanic."
)
BUS = (
    "Bus voltage may be on this wire: power off except to measure volts at the box, nothing else done with power on at the sender, until that is"
    " ruled out."
)
ITSELF = (
    "No sender stands between: what the box says may be so. The meter at the box's connector first; where it says the same, that voltage is what"
    " is wrong, and none of these causes."
)
CURE = "the weights and ranges of the causes are ours, after common practice: they rank, they do not prove"


def trace(words: argparse.Namespace, screen: Screen) -> Outcome:
    box = read_box(Path(words.box))
    of = traced(
        box,
        words.input,
        supply=None if words.supply is None else _quantity(words.supply, "V", "--supply", SUPPLIES),
        cold=None if words.cold is None else _quantity(words.cold, "degC", "--cold", COLDS),
        meters=_meters(words.meter),
    )
    given, options = _given(of, words)
    note = ""
    if words.port is not None:
        live, note = _live(of, words.port)
        given.insert(0, live)
        options = ["--measured", BOX, _frozen(live), *options]
        if note:
            screen.say(f"  {note}")
    table = expected(of)
    _show_table(of, table, screen)
    said: dict[str, Any] = {
        "input": of.one.name,
        "kind": of.kind,
        "expected": [_row_said(row) for row in table],
    }
    if not given:
        screen.say(f"  measured something? give it: gaugelight trace {_call(words)} {_example(of)}")
        return said, 0
    if pairs := narrow.disagree(of, given):
        return said | _disagreeing(of, words, given, options, pairs, screen) | {"note": note or None}, 1
    known = causes(of)
    rows = narrow.left(of, known, given)
    apart = () if any(row.fits for row in rows) else narrow.no_one_cause(of, known, given)
    following = narrow.next_measurement(of, rows, given)
    near = {row.cause.name for row in rows if row.fits} | {row.cause.name for row in _nearest_out(rows)}
    predictions = {
        row.cause.name: [
            _span(of, one, span)
            for one, span in zip(given, _would_give(of, row, given, row.cause.name in near))
        ]
        for row in rows
    }
    _show_meaning(of, given, screen)
    _show_causes(rows, predictions, screen)
    _show_apart(of, given, apart, screen)
    command = None if following is None else _command(of, words, options, following)
    _show_next(of, rows, following, command, screen)
    if not any(row.fits for row in rows):
        if words.supply is None:
            screen.say(
                f"  the bus is taken to be {of.supply:g} V +-{of.supply_off:g} V; where it is not, as without the alternator: --supply, as measured"
            )
        if _may_be_bus(of, given):
            screen.say(BUS)
    _show_cautions(of, screen)
    said |= _said(of, given, rows, predictions, following, command)
    said |= {"no_one_cause": [list(pair) for pair in apart], "note": note or None}
    return said, 0 if any(row.fits and row.cause.repair == NONE for row in rows) else 1


# --- words in ---


def _quantity(text: str, unit: str, option: str, within: tuple[float, float]) -> float:
    try:
        bare = re.fullmatch(r"[+-]?\d{1,9}(\.\d{1,9})?", text)
        value = float(text) if bare else float(parse_quantity(text, unit))
    except ValueError as problem:
        raise Misuse(f"{option}: {problem}") from None
    if not within[0] <= value <= within[1]:
        raise Misuse(f"{option}: {text} is not within {within[0]:g} and {within[1]:g} {unit}")
    return value


def _meter(text: str) -> tuple[str, Meter]:
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*%\s*\+\s*(\d+(?:\.\d+)?)\s*(ohm|mA|mV|V)\s*", text)
    if match is None:
        raise Misuse(
            f'--meter "{text}": write its plus or minus for one unit, such as "0.5 % + 0.2 ohm" (or mA, V, mV)'
        )
    return match[3], Meter(float(match[1]) / 100, max(float(match[2]), 1e-6))


def _meters(texts: Sequence[str]) -> dict[str, Meter]:
    found: dict[str, tuple[str, Meter]] = {}
    for text in texts:
        unit, meter = _meter(text)
        if unit in found:
            raise Misuse(
                f'--meter stands twice for {unit}, "{found[unit][0]}" and "{text}": leave one of them out'
            )
        found[unit] = text, meter
    return {unit: meter for unit, (_, meter) in found.items()}


def _name_of(of: Traced, unit: str, where: str) -> str:
    """What is measured in that unit there."""
    return {"ohm": "ohms", "mA": "mA", "V": "volts", "mV": "volts"}[unit] + f" at the {where}"


def _given(of: Traced, words: argparse.Namespace) -> tuple[list[Measured], list[str]]:
    """The results in the words, and the words themselves, for the next command."""
    found, options = [], []
    single = [
        (unit, text)
        for unit, texts in (("ohm", words.ohms), ("mA", words.ma), ("V", words.volts))
        for text in texts
    ]
    if len({unit for unit, _ in single}) > 1:
        raise Misuse('one of --ohms, --ma, --volts; others with --measured "volts at the sender" 0.7')
    where = words.where
    for unit, text in single:
        name = _name_of(of, unit, where)
        found.append(measured(of, measurement_of(of, name), _in_volts(of, unit, text)))
        options += ["--measured", name, found[-1].shown]
    for place, text in words.at:
        unit = of.one.circuit.unit
        name = f"{_name_of(of, unit, where)}, {place}"
        found.append(measured(of, measurement_of(of, name), text))
        options += ["--measured", found[-1].measurement.words(of), found[-1].shown]
    for text in words.true:
        found.append(measured(of, measurement_of(of, TRUE), text))
        options += ["--measured", TRUE, found[-1].shown]
    for name, text in words.measured:
        found.append(measured(of, measurement_of(of, name), text))
        options += ["--measured", found[-1].measurement.words(of), found[-1].shown]
    return found, options


def _in_volts(of: Traced, unit: str, text: str) -> str:
    """A bare number after --volts is in volts, of a couple too."""
    if unit == "V" and of.one.circuit.unit == "mV" and re.fullmatch(r"[+-]?\d+(\.\d+)?", text):
        return f"{text} V"
    return text


def _live(of: Traced, port: str) -> tuple[Measured, str]:
    from gaugelight.box_line import BoxLine
    from gaugelight.build import build
    from gaugelight.ports import the_port

    with BoxLine(the_port(port or None)) as line:
        hello = line.hello_same_version()
        described = line.describe(hello.inputs)
        values: Sequence[Said] = line.values(described)
    names = [about.name for about in described]
    if of.one.name not in names:
        raise Misuse(
            f'{port or "the box"}: its table has no input "{of.one.name}"; flash {of.box.file}, or name its own box file'
        )
    one = values[names.index(of.one.name)]
    rail = of.box.rail_of(of.one)
    of_rail = values[names.index(rail.name)].count if rail is not None and rail.name in names else None
    signal = None if one.signal is None else float(one.signal)
    note = ""
    crc = f"{build(of.box).crc32:08x}"
    if hello.crc != crc:
        note = f"the box runs another table ({hello.crc or 'none'}) than {of.box.file} makes ({crc}): what follows goes by the file"
    return from_box(of, measurement_of(of, BOX), one.fault, one.count, signal, of_rail), note


def _frozen(live: Measured) -> str:
    return live.shown if live.value < 0 or live.shown[:1].isdigit() else f"count {live.value:.0f}"


# --- words out ---


def _example(of: Traced) -> str:
    if of.kind in RESISTIVE:
        return f"--ohms {of.middle:.3g}"
    if of.kind == LOOP:
        return f"--ma {of.middle:.3g}"
    return (
        f'--measured box "{of.middle:.3g} {of.one.circuit.unit}"'
        if of.kind == RAIL
        else f'--volts "{of.middle:.3g} {of.one.circuit.unit}"'
    )


def _call(words: argparse.Namespace) -> str:
    return f"{shlex.quote(words.box)} {shlex.quote(words.input)}"


def _number(value: float) -> str:
    """Four digits, or thousandths, without an exponent."""
    if abs(value) < 0.0005:
        return "0"
    return (
        f"{value:.4g}"
        if 0.1 <= abs(value) < 10_000
        else f"{value:.0f}" if abs(value) >= 1 else f"{value:.3f}"
    )


def _two(value: float) -> str:
    """A plus or minus: two digits (JCGM 100, 7.2.6)."""
    return _number(float(f"{value:.2g}"))


def _rounded(value: float, plus_minus: float) -> str:
    """To the second digit of its plus or minus, at least."""
    decimals = max(0, 1 - math.floor(math.log10(max(plus_minus, 1e-9))))
    return f"{value + 0.0:.{decimals}f}".replace("-0.000", "0.000")


def _show_table(of: Traced, table: Sequence[Row], screen: Screen) -> None:
    one = of.one
    names = list(table[0].values)
    heads = {"connector": "at the box's connector", "sender": "at the sender"}
    titles = []
    for name in names:
        what, _, where = name.partition(" at the ")
        on = (
            ", box unplugged"
            if what == "ohms" and where == "connector"
            else ", box on" if where == "connector" else ", wire off" * (what == "ohms")
        )
        unit = table[0].values[name].unit
        titles.append(f">{heads[where]}{on}, {unit}")
    cells = []
    for row in table:
        place = row.place if of.tank else ""
        values = [f"{_rounded(v.value, v.plus_minus)} +-{_two(v.plus_minus)}" for v in row.values.values()]
        signal, reading, fault = shown(row.says, one.step)
        cells.append([f"{row.reading:.4g} {one.unit}", place, *values, fault or reading])
    screen.table(
        f"{one.name}: what a good one gives ({of.kind})",
        [">truly there", "", *titles, "the box says"],
        cells,
        wrap=True,
    )
    stated = (
        "as the box file states"
        if of.sender_stated
        else f"not stated: +-{of.sender_off * 3**0.5:.1%} of its span assumed"
    )
    meters = ", ".join(
        f"{m.share:.2%} + {m.amount:g} {unit}"
        for unit, m in of.meters
        if unit in {v.unit for v in table[0].values.values()}
    )
    if not of.sender_off:
        stated = "none: the reading is the signal"
    screen.say(f"  +- at 95 %; sender {stated}; meter +-({meters}): assumed unless --meter says")


def _show_meaning(of: Traced, given: Sequence[Measured], screen: Screen) -> None:
    for one in given:
        screen.say(f"{one.measurement.words(of)}: {one.shown}{_means(of, one)}")


def _means(of: Traced, one: Measured) -> str:
    level = _level_of(of, one)
    if level is None:
        return ""
    travel = "of the float's travel" if of.tank else "of its range"
    where = (
        f"below {of.reading(0):.4g}"
        if level < -0.01
        else f"above {of.reading(1):.4g}" if level > 1.01 else ""
    )
    if where:
        return f": a good one never gives that; it is {where} {of.one.unit}"
    level = min(max(level, 0.0), 1.0)
    return f": of a good one {_number(of.reading(level))} {of.one.unit}, {level:.0%} {travel}"


def _level_of(of: Traced, one: Measured) -> float | None:
    if one.measurement.what in (TRUE, WIGGLE) or one.value < 0 and one.measurement.unit == "count":
        return None
    if one.measurement.what == BOX and one.high - one.low > 1000:
        return None
    return meaning(of, one.measurement, one.value)


def _nearest_out(rows: Sequence[Left]) -> list[Left]:
    return sorted((row for row in rows if not row.fits), key=lambda row: row.off)[:SHOWN_OUT]


def _would_give(of: Traced, row: Left, given: Sequence[Measured], closely: bool) -> list[tuple[float, float]]:
    """Of each measurement, what the cause predicts where the others hold; where they do not, or not closely, over all that is unknown of it."""
    spans = []
    for k, one in enumerate(given):
        others = [*given[:k], *given[k + 1 :]] if closely else []
        states = narrow.left(of, [row.cause], others)[0].states
        if not len(states):
            states = narrow.left(of, [row.cause], [])[0].states
        low, high = narrow.predictions(of, row.cause, states, one.measurement)
        spans.append((float(low.min()), float(high.max())))
    return spans


def _span(of: Traced, one: Measured, span: tuple[float, float]) -> str:
    what, unit = one.measurement.what, one.measurement.unit
    if what == WIGGLE:
        return "jumps or steady" if span[1] > span[0] else "steady"
    if what == TRUE:
        ends = [f"{_number(of.reading(min(max(end, 0.0), 1.0)))}" for end in sorted(span)]
        unit = of.one.unit
    elif unit == "count":
        ends = [_count_in_words(of, end) for end in span]
        unit = ""
    else:
        ends = ["open" if unit == "ohm" and end >= METER_OPEN else _number(end) for end in span]
    text = ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
    return text if text.endswith("open") and ends[0] == ends[1] else f"{text} {unit}".rstrip()


def _count_in_words(of: Traced, count: float) -> str:
    """What the box would say of a count that it judges."""
    if count < -1:
        return {SAYS_CONVERTER: "converter", SAYS_RAIL: "rail"}.get(count, "?")
    lowest, low, high, highest = of.solved.windows
    faults = of.one.circuit.faults
    from gaugebox.measure import FAULTS

    at = round(count)
    for outside, fault in (
        (at < lowest, faults[0]),
        (at < low, faults[1]),
        (at > highest, faults[3]),
        (at > high, faults[2]),
    ):
        if outside:
            return str(FAULTS[fault])
    return f"{_number(of.signal_of(at))} {of.one.circuit.unit}"


def _show_causes(rows: Sequence[Left], predictions: dict[str, list[str]], screen: Screen) -> None:
    cells = []
    for repair, fit in narrow.groups(rows).items():
        likely = sorted(fit, key=lambda row: (-row.cause.weight, row.off))
        for k, row in enumerate(likely[:SHOWN_OF_GROUP]):
            cells.append(
                [
                    row.cause.name,
                    "; ".join(predictions[row.cause.name]),
                    f"{row.off:.1f}",
                    repair if not k else '"',
                ]
            )
        if len(likely) > SHOWN_OF_GROUP:
            cells.append([f"and {len(likely) - SHOWN_OF_GROUP} more of that group (--json)", "", "", '"'])
    if cells:
        screen.table(
            f"what fits, within {NEAR:g} tolerances (one is half a plus or minus at 95 %)",
            ["cause", "would give", ">off by", "what to do"],
            cells,
            wrap=True,
        )
    else:
        screen.say(
            "nothing in the list fits: one of the measurements may be wrong (measure again: this wire, this unit, power off for ohms), two things may"
            " be wrong at once, or it is something that the list does not know. Do not trust what the box says of it"
        )
    out = sum(not row.fits for row in rows)
    if out:
        nearest = "; ".join(
            f"{row.cause.name} ({'; '.join(predictions[row.cause.name])}; off by {_number(row.off)})"
            for row in _nearest_out(rows)
        )
        rest = f"; and {out - SHOWN_OUT} more" if out > SHOWN_OUT else ""
        screen.say(f"  does not fit: {nearest}{rest}")


def _show_apart(
    of: Traced, given: Sequence[Measured], pairs: Sequence[tuple[int, int]], screen: Screen
) -> None:
    """Where nothing fits: of which two it is known that no one cause gives both."""
    for first, second in pairs:
        one, other = given[first], given[second]
        if one is other:
            screen.say(
                f"  {one.measurement.words(of)}: {one.shown}: no cause of the list gives that: measure it again"
            )
            continue
        screen.say(
            f"  {one.measurement.words(of)}: {one.shown} and {other.measurement.words(of)}: {other.shown}: no one cause of the list gives both:"
            " measure these two again; where they stand, two things are wrong"
        )


def _may_be_bus(of: Traced, given: Sequence[Measured]) -> bool:
    """Whether one of them by itself would come of bus voltage on the wire, be it a bus that runs away, or probes the wrong way round."""
    on_bus = [cause for cause in causes(of) if cause.repair == OFF_THE_BUS]
    if on_bus and any(one.measurement.unit == "V" and abs(one.value) > OWN_VOLTS for one in given):
        return True
    return any(row.fits for one in given for row in narrow.left(of, on_bus, [one]))


def _show_next(
    of: Traced, rows: Sequence[Left], following: Next | None, command: str | None, screen: Screen
) -> None:
    groups = narrow.groups(rows)
    if of.kind == VOLTS and groups:
        screen.say(ITSELF)
    if following is not None:
        one = following.measurement
        screen.say(
            f"next: {one.words(of)} (of {len(groups)} things that may have to be done it should leave {following.left:.1f})"
        )
        screen.say(f"  how: {one.how}")
        screen.say(f"  then: {command}")
    elif len(groups) == 1:
        screen.say(f"what to do: {next(iter(groups))}")
    elif groups:
        screen.say("no measurement known here tells these apart: begin with the first, and measure anew")
    if OFF_THE_BUS in groups:
        screen.say(BUS)
    if groups:
        screen.say(f"  {CURE}")


def _show_cautions(of: Traced, screen: Screen) -> None:
    if of.tank:
        screen.say(FUEL)
    if of.at_battery:
        screen.say(f"Battery: {AT_BATTERY}.")
    screen.say(ADVISORY)


def _disagreeing(
    of: Traced,
    words: argparse.Namespace,
    given: Sequence[Measured],
    options: Sequence[str],
    pairs: Sequence[tuple[int, int]],
    screen: Screen,
) -> dict[str, Any]:
    """No cause is told where two of one kind contradict each other: what changes between two measurements is in no model."""
    _show_meaning(of, given, screen)
    for first, second in pairs:
        one, other = given[first], given[second]
        moved = "" if one.measurement.place is not None else "; or what is truly there has changed"
        screen.say(
            f"{one.measurement.words(of)}: {one.shown} and {other.shown}: the two do not agree: measure again, or something comes and goes (wiggle):"
            f" a contact, a float, a chafed wire{moved}; no cause is told from them"
        )
    out = {k for pair in pairs for k in pair}
    kept = [option for k, option in enumerate(options) if k // 3 not in out]  # three words each
    again = given[pairs[0][0]].measurement
    command = _command(of, words, kept, Next(again, 0.0, 0.0))
    screen.say(f"next: {again.words(of)}, once more")
    screen.say(f"  how: {again.how}")
    screen.say(f"  then: {command}")
    if _may_be_bus(of, given):
        screen.say(BUS)
    _show_cautions(of, screen)
    return _said(of, given, (), {}, Next(again, 0.0, 0.0), command) | {
        "disagree": [[first, second] for first, second in pairs]
    }


def _command(of: Traced, words: argparse.Namespace, options: Sequence[str], following: Next) -> str:
    kept: list[str] = []
    for option, value in (("--supply", words.supply), ("--cold", words.cold)):
        kept += [option, value] if value is not None else []
    for meter in words.meter:
        kept += ["--meter", meter]
    result = {WIGGLE: "jumps|steady"}.get(
        following.measurement.what, "WHAT IT SAYS" if following.measurement.unit == "count" else "VALUE"
    )
    quoted = " ".join(
        shlex.quote(each) for each in [*options, *kept, "--measured", following.measurement.words(of)]
    )
    return f'gaugelight trace {_call(words)} {quoted} "{result}"'


# --- as JSON ---


def _row_said(row: Row) -> dict[str, Any]:
    return {
        "place": row.place,
        "reading": row.reading,
        "values": {name: vars(value) for name, value in row.values.items()},
        "box_reading": None if row.says.reading is None else float(row.says.reading),
        "box_fault": row.says.fault,
    }


def _said(
    of: Traced,
    given: Sequence[Measured],
    rows: Sequence[Left],
    predictions: dict[str, list[str]],
    following: Next | None,
    command: str | None,
) -> dict[str, Any]:
    levels = [_level_of(of, one) for one in given]
    return {
        "measured": [
            {
                "what": one.measurement.words(of),
                "shown": one.shown,
                "low": one.low,
                "high": one.high,
                "tolerance": one.tolerance,
                "unit": one.measurement.unit,
                "level": level,
                "reading": None if level is None else of.reading(level),
            }
            for one, level in zip(given, levels)
        ],
        "causes": [
            {
                "cause": row.cause.name,
                "repair": row.cause.repair,
                "fits": row.fits,
                "off": row.off,
                "would_give": predictions[row.cause.name],
            }
            for row in sorted(rows, key=lambda row: row.off)
        ],
        "repairs": list(narrow.groups(rows)),
        "disagree": [],
        "next": (
            None
            if following is None
            else {
                "what": following.measurement.words(of),
                "how": following.measurement.how,
                "command": command,
                "repairs_left_expected": following.left,
            }
        ),
        "near": NEAR,
    }
