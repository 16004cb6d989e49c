"""Single keys of a box file tried without editing it: "left fuel.damping=5 s", "disagree left fuel.allowance=2 US gal"."""

import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from gaugelight.boxfile import Box, box_of_text, read_box
from gaugelight.problems import Misuse, meant

EXAMPLE = '--set "left fuel.damping=5 s"'
# arrays of tables, and what tells one of them from another
NAMED_BY = {
    "input": "name", "derived": "name", "alert": "words", "disagree": "gauge", "lamp": "name", "needle": "name",
}  # fmt: skip


def tried(path: Path, words: list[str]) -> Box:
    """The box of a file, with those keys set; nothing is written. Raises Misuse, WrongBoxFile."""
    read_box(path)  # its own problems first
    text = path.read_text(encoding="utf-8-sig").replace("\r\n", "\n")
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as problem:
        raise Misuse(f"{path}: {problem}") from None
    for word in words:
        before, equals, value = word.partition("=")
        name, dot, key = (part.strip() for part in before.rpartition("."))
        if not equals or not dot or not name or not key or not value.strip():
            raise Misuse(f'--set "{word}": write NAME.KEY=VALUE, as in {EXAMPLE}')
        _table(document, path, name, key)[key] = _value(value.strip())
    return box_of_text(str(path), tomlkit.dumps(document))


def _table(document: Any, path: Path, name: str, key: str) -> Any:
    """The table of that name, with or without its kind before it; of several the one that has the key already, else the first."""
    there: dict[str, list[Any]] = {}
    for kind, named_by in NAMED_BY.items():
        for one in document.get(kind, []):
            name_of = str(one.get(named_by))
            for called in (name_of, f"{kind} {name_of}"):
                there.setdefault(called, []).append(one)
    for kind, table in document.items():
        if isinstance(table, dict):
            there.setdefault(kind, []).append(table)
    if name not in there:
        raise Misuse(f'{path}: --set: there is no "{name}"; {meant(name, there)}')
    return next((one for one in there[name] if key in one), there[name][0])


def _value(word: str) -> Any:
    """As it would stand in the file; a text may be without its quotes."""
    try:
        return tomllib.loads(f"x = {word}")["x"]
    except tomllib.TOMLDecodeError:
        return word
