"""Keys of one table of a box file written anew; all else, comments and order too, stays byte for byte."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import tomlkit
from tomlkit.items import InlineTable, Integer, String

from gaugelight.problems import Misuse
from gaugelight.toml_lines import key_lines

LONGEST = 100


def with_keys(text: str, line: int, values: Mapping[str, str]) -> str:
    """The text with these keys, each with its value as TOML, in the table whose head stands on that line.

    A key that is there keeps its place and its comment, a new one comes behind the last. Raises Misuse where one is written in parts.
    """
    lines, end = _section(text, line)
    lines[line:end] = _edited("\n".join(lines[line:end]), values, "\r\n" if "\r\n" in text else "\n").split(
        "\n"
    )
    return "\n".join(lines)


def with_stops(text: str, line: int, stops: str) -> str:
    """The same for a lamp's knob: its pin becomes a table where it is none yet."""
    lines, end = _section(text, line)
    knob = tomlkit.parse("\n".join(lines[line:end])).get("knob")
    if isinstance(knob, InlineTable):
        knob["stops"] = tomlkit.parse(f"stops = {stops}")["stops"]
        return with_keys(text, line, {"knob": knob.as_string()})
    if not isinstance(knob, (Integer, String)):
        raise Misuse(f"line {line}: write the knob as knob = {{ pin = ... }}, in one line")
    return with_keys(text, line, {"knob": f"{{ pin = {knob.as_string()}, stops = {stops} }}"})


def listed(rows: Sequence[str]) -> str:
    """An array of these, in one line where that is not too long."""
    line = f"[{', '.join(rows)}]"
    return line if len(line) <= LONGEST else "\n".join(["[", *(f"    {row}," for row in rows), "]"])


def _section(text: str, line: int) -> tuple[list[str], int]:
    """The lines of the text; the table's own are those from `line` to there."""
    lines = text.split("\n")
    heads = [at for (_, _, key), at in key_lines(text.replace("\r\n", "\n")).items() if not key]
    return lines, min((at for at in heads if at > line), default=len(lines) + 1) - 1


def _edited(section: str, values: Mapping[str, str], newline: str) -> str:
    body = tomlkit.parse(section).body
    for key, item in body:
        if key is not None and key.is_dotted() and key.key.split(".")[0] in values:
            raise Misuse(f"{key.key}: is written in parts; write {key.key.split('.')[0]} = {{ ... }} in one")
    there = {key.key for key, _ in body if key is not None}
    last = max((at for at, (key, _) in enumerate(body) if key is not None), default=-1)
    new = [f"{key} = {value}".replace("\n", newline) for key, value in values.items() if key not in there]
    made = "" if last >= 0 else "".join(line + newline for line in new)
    for at, (key, item) in enumerate(body):
        if key is None:
            made += item.as_string()
            continue
        trivia = item.trivia
        was = item.as_string()
        value = values[key.key].replace("\n", newline) if key.key in values else was
        space = trivia.comment_ws
        if trivia.comment and not space.strip(" "):  # it stays in its column
            space = " " * max(1, len(space) + len(was) - len(value))
        trail = trivia.trail or (newline if at == last and new else "")
        made += f"{trivia.indent}{key.as_string()}{key.sep}{value}{space}{trivia.comment}{trail}"
        if at == last:
            made += newline.join(trivia.indent + line for line in new) + (newline if new else "")
    return made
