"""Single keys of a box file tried without editing it: "left fuel.damping=5 s", "disagree left fuel.allowance=2 US gal"."""

import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from gaugelight.boxfile import Box, box_of_text, read_box
from gaugelight.problems import Misuse, WrongBoxFile, meant

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
        table = _table(document, path, name, key, word)
        table[key] = _value(value.strip())
    return box_of_text(str(path), tomlkit.dumps(document))


def _table(document: Any, path: Path, name: str, key: str, word: str) -> Any:
    """The table of that name, with or without its kind before it; of several the one that has the key, or the only one that may have it. Raises
    Misuse where that is not one."""
    there: dict[str, list[tuple[str, Any]]] = {}  # by what it is called: its full name, and the table
    for kind, named_by in NAMED_BY.items():
        for one in document.get(kind, []):
            name_of = str(one.get(named_by))
            for called in (name_of, f"{kind} {name_of}"):
                there.setdefault(called, []).append((f"{kind} {name_of}", one))
    for kind, table in document.items():
        if isinstance(table, dict):
            for called in (kind, f"[{kind}]"):
                there.setdefault(called, []).append((f"[{kind}]", table))
    if name not in there:
        raise Misuse(f'{path}: --set: there is no "{name}"; {meant(name, there)}')
    tables = there[name]
    if len(tables) > 1:
        tables = [one for one in tables if key in one[1]] or [
            one for one in tables if _may_have(document, path, one[1], key)
        ]
    tables = tables or there[name][:1]  # what is wrong with the key will be said of that
    if len(tables) == 1:
        return tables[0][1]
    full = [called for called, _ in tables]
    if len(set(full)) < len(full):
        cure = f"there are {len(full)} of that name; edit a copy of {path.name} and compare it with --against"
    else:
        value = word.partition("=")[2]
        cure = f"{', '.join(full)} have that key; write " + " or ".join(
            f'"{one}.{key}={value}"' for one in full
        )
    raise Misuse(f'{path}: --set "{word}": {cure}')


def _may_have(document: Any, path: Path, table: Any, key: str) -> bool:
    """Whether a box file may have that key in that table."""
    table[key] = 0
    try:
        box_of_text(str(path), tomlkit.dumps(document))
    except WrongBoxFile as wrong:
        return not any(f", {key}: unknown key" in one.text("") for one in wrong.problems)
    finally:
        table.remove(key)
    return True


def _value(word: str) -> Any:
    """As it would stand in the file; a text may be without its quotes."""
    try:
        return tomllib.loads(f"x = {word}")["x"]
    except tomllib.TOMLDecodeError:
        return word
