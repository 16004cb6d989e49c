"""The points of a calibration in the box file: one input's `points`, `calibrated` and `limits`; all else stays byte for byte."""

from __future__ import annotations

import difflib
import json
import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import tomlkit

from gaugelight.box_values import Calibrated, Limits
from gaugelight.boxfile import LAW_KEYS, Box, Input, box_of_text, law_of_calibrated
from gaugelight.build import Build, build
from gaugelight.calibration.table_keys import dotted, refuse_parts
from gaugelight.laws import Itself, Line
from gaugelight.problems import Wrong, WrongBoxFile
from gaugelight.toml_lines import key_lines

LONGEST_LINE = 110
OURS = (*LAW_KEYS, "calibrated")

Listed = tuple[float, float, float]  # signal, reading, its plus or minus at 95 %


def rounded(listed: Sequence[Listed], step: Fraction) -> tuple[Listed, ...]:
    """As they are written: signals to five digits, readings to a hundredth of the displayed step or a little more, what they are off by
    to two digits, upwards."""
    decimals = max(0, 1 - math.floor(math.log10(step)))
    return tuple((_digits(s, 5), round(r, decimals) + 0.0, _upwards(off)) for s, r, off in listed)


def _digits(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


def _upwards(off: float) -> float:
    if off <= 0:
        return 0.0
    unit = 10.0 ** (math.floor(math.log10(off)) - 1)
    return _digits(math.ceil(off / unit - 1e-6) * unit, 2)


def kept_limits(one: Input, listed: Sequence[Listed]) -> Limits | None:
    """The limits that the sender's kind brought along, where points in its place would lose them: a loop's as they were; of what was its own reading
    as far beyond its new ends as they were beyond its old ones (1 % of its span)."""
    if isinstance(one.law, Line) and one.limits is not None:
        return one.limits
    if isinstance(one.law, Itself):
        signals = sorted(Fraction(str(signal)) for signal, _, _ in listed)
        margin = Fraction(f"{float(signals[-1] - signals[0]) / 100:.3g}")
        inner, outer = max(Fraction(0), signals[0] - margin), signals[-1] + margin
        return inner / 2, inner, outer, outer + margin
    return None


def with_points(text: str, one: Input, listed: Sequence[Listed], calibrated: Calibrated) -> str:
    """The box file's text with these points for that input. They take the place of what says its law now. Raises Wrong."""
    lines = [line + "\n" for line in text.split("\n")]
    lines[-1] = lines[-1][:-1]
    headers = [line for (_, _, key), line in key_lines(text.replace("\r\n", "\n")).items() if not key]
    first, last = one.line, min((line for line in headers if line > one.line), default=len(lines) + 1) - 1
    section = "".join(lines[first:last])
    written = [key for key in tomlkit.parse(section) if key in OURS]
    if not written:
        raise Wrong(f"{one.name}: none of {', '.join(LAW_KEYS)} stands under its [[input]] in the box file")
    newline = "\r\n" if "\r\n" in text else "\n"
    new = [_points_text(one.circuit.unit, listed, newline), _calibrated_text(calibrated)]
    limits = kept_limits(one, listed)
    if limits is not None and "limits" not in tomlkit.parse(section):
        new.append(_limits_text(one.circuit.unit, limits))
    return "".join([*lines[:first], _edited(section, new, newline), *lines[last:]])


def _edited(section: str, new: list[str], newline: str) -> str:
    """A table's text with new lines in the place of the first of our keys, and without the others. Their comments stay: what stood behind the
    law behind its points, what stood behind `calibrated` there."""
    made = ""
    body = tomlkit.parse(section).body
    refuse_parts(body, OURS)
    place = next(key for key in tomlkit.parse(section) if key in LAW_KEYS)
    comments = {
        key.key: item.trivia.comment_ws + item.trivia.comment for key, item in body if key is not None
    }
    points, calibrated, *limits = new
    calibrated += comments.pop("calibrated", "")
    for key, item in body:
        if key is None:
            made += item.as_string()
            continue
        if key.is_dotted():
            made += dotted(key, item)
            continue
        trivia = item.trivia
        behind = trivia.comment_ws + trivia.comment + trivia.trail
        if key.key not in OURS:
            made += f"{trivia.indent}{key.as_string()}{key.sep}{item.as_string()}{behind}"
        elif key.key == place:
            lines = points + comments[place], calibrated, *limits
            made += newline.join(trivia.indent + line for line in lines) + trivia.trail
        elif trivia.comment and key.key in comments:
            made += trivia.indent + trivia.comment + trivia.trail
    return made


def _points_text(unit: str, listed: Sequence[Listed], newline: str) -> str:
    rows = [f'["{_plain(s)} {unit}", {_plain(r)}, {_plain(off)}]' for s, r, off in listed]
    line = f"points = [{', '.join(rows)}]"
    if len(line) <= LONGEST_LINE:
        return line
    return newline.join(["points = [", *(f"    {row}," for row in rows), "]"])


def _calibrated_text(calibrated: Calibrated) -> str:
    session = json.dumps(calibrated.session, ensure_ascii=False)
    return f'calibrated = {{ on = {calibrated.on}, session = {session}, through = "{calibrated.through}" }}'


def _limits_text(unit: str, limits: Limits) -> str:
    written = ", ".join(f'"{_plain(float(limit))} {unit}"' for limit in limits)
    return f"limits = [{written}]"


def _plain(value: float) -> str:
    """A number without an exponent and without noughts that say nothing."""
    text = f"{value:.9f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def proved(file: str, text: str, name: str, listed: Sequence[Listed]) -> Build:
    """What the new text makes. Raises Wrong with what would not be right any more; nothing is saved then."""
    try:
        return build(box_of_text(file, text.removeprefix("\ufeff")))
    except WrongBoxFile as wrong:
        readings = sorted(reading for _, reading, _ in listed)
        what = f"{name} would read {readings[0]:g} to {readings[-1]:g}, and what is named here does not go with that"
        cure = "change it in the box file, and give its session again with --from"
        raise Wrong(*wrong.lines, f"{file}: not saved: {what}; {cure}") from None


def difference(file: str, old: str, new: str) -> list[str]:
    """The lines that change, as a unified difference."""
    pairs = old.splitlines(), new.splitlines()
    return [
        line.rstrip("\n")
        for line in difflib.unified_diff(*pairs, file, f"{file}, calibrated", lineterm="", n=1)
    ]


def with_calibration(box: Box, name: str, listed: Sequence[Listed], calibrated: Calibrated) -> Box:
    """The box as the new text will describe it, for reckoning only."""

    def one_of(one: Input) -> Input:
        if one.name != name:
            return one
        points = tuple((Fraction(str(s)), Fraction(str(r))) for s, r, _ in listed)
        off = tuple(Fraction(str(off)) for _, _, off in listed)
        limits = kept_limits(one, listed) or one.limits
        return replace(
            one,
            law=law_of_calibrated(points, one.circuit, one.bare_unit),
            limits=limits,
            calibrated=replace(calibrated, plus_minus=off),
        )

    return replace(box, inputs=tuple(one_of(one) for one in box.inputs))
