"""Keys of one table of a box file written anew; all else, comments and order too, stays byte for byte."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence

import tomlkit
from tomlkit.items import InlineTable, Integer, Item, Key, String

from gaugelight.problems import Misuse
from gaugelight.toml_lines import key_lines

LONGEST = 100
Body = Sequence[tuple[Key | None, Item]]  # of a table, as tomlkit reads it


def with_keys(text: str, line: int, values: Mapping[str, str]) -> str:
    """The text with these keys, each with its value as TOML, in the table whose head stands on that line.

    A key that is there keeps its place and its comment, a new one comes behind the last. Raises Misuse where one is written in parts.
    """
    head, body, rest = _section(text, line)
    return head + _edited(body, values, "\r\n" if "\r\n" in text else "\n") + rest


def with_stops(text: str, line: int, stops: str) -> str:
    """The same for a lamp's knob: its pin becomes a table where it is none yet."""
    knob = tomlkit.parse(_section(text, line)[1]).get("knob")
    if isinstance(knob, InlineTable):
        if "stops" in knob:
            knob["stops"] = tomlkit.parse(f"stops = {stops}")["stops"]
            return with_keys(text, line, {"knob": knob.as_string()})
        return with_keys(text, line, {"knob": f"{knob.as_string()[:-1].rstrip()}, stops = {stops} }}"})
    if not isinstance(knob, (Integer, String)):
        raise Misuse(f"line {line}: write the knob as knob = {{ pin = ... }}, in one line")
    return with_keys(text, line, {"knob": f"{{ pin = {knob.as_string()}, stops = {stops} }}"})


def listed(rows: Sequence[str]) -> str:
    """An array of these, in one line where that is not too long."""
    line = f"[{', '.join(rows)}]"
    return line if len(line) <= LONGEST else "\n".join(["[", *(f"    {row}," for row in rows), "]"])


def refuse_parts(body: Body, keys: Collection[str]) -> None:
    """Raises Misuse where one of those keys is written in parts, as `calibrated.on = ...`."""
    for key, _ in body:
        if key is not None and key.is_dotted() and key.key in keys:
            raise Misuse(f"{key.key}: is written in parts; write {key.key} = {{ ... }} in one")


def dotted(key: Key, item: Item) -> str:
    """A key written in parts, as it stands: `circuit.kind = "direct"`."""
    rest = item.as_string()
    bare = rest.lstrip(" \t")
    return f"{rest[:len(rest) - len(bare)]}{key.as_string()}.{bare}"


def _section(text: str, line: int) -> tuple[str, str, str]:
    """What stands up to a table's head, with it; the table's own lines; the rest."""
    lines = re.split(r"(?<=\n)", text)
    heads = [at for (_, _, key), at in key_lines(text.replace("\r\n", "\n")).items() if not key]
    end = min((at for at in heads if at > line), default=len(lines) + 1) - 1
    return "".join(lines[:line]), "".join(lines[line:end]), "".join(lines[end:])


def _edited(section: str, values: Mapping[str, str], newline: str) -> str:
    body = tomlkit.parse(section).body
    refuse_parts(body, values)
    there = {key.key for key, _ in body if key is not None}
    last = max((at for at, (key, _) in enumerate(body) if key is not None), default=-1)
    new = [f"{key} = {value}".replace("\n", newline) for key, value in values.items() if key not in there]
    made = "" if last >= 0 else "".join(line + newline for line in new)
    for at, (key, item) in enumerate(body):
        if key is None:
            made += item.as_string()
            continue
        if key.is_dotted():
            made += dotted(key, item)
            made += newline.join(new) + (newline if new else "") if at == last else ""
            continue
        trivia = item.trivia
        was = item.as_string()
        value = values[key.key].replace("\n", newline) if key.key in values else was
        space = trivia.comment_ws
        if newline in value:
            space = space[:2]
        elif trivia.comment and not space.strip(" "):  # it stays in its column
            space = " " * max(min(2, len(space)), len(space) + len(was) - len(value))
        trail = trivia.trail or (newline if at == last and new else "")
        made += f"{trivia.indent}{key.as_string()}{key.sep}{value}{space}{trivia.comment}{trail}"
        if at == last:
            made += newline.join(trivia.indent + line for line in new) + (newline if new else "")
    return made
