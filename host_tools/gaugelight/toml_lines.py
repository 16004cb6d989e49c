"""On which line of a TOML text each table and key stands: the standard parser does not say."""

import re

STRING = re.compile(r"'''.*?'''|\"\"\".*?\"\"\"|\"(?:\\.|[^\"\\])*\"|'[^']*'", re.S)
HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*$")
KEY = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\")\s*=")

Lines = dict[tuple[str, int, str], int]  # (table, index within an array of tables, key or "") -> line


def key_lines(text: str) -> Lines:
    """The lines, counted from 1. `text` must be valid TOML with each key at the start of a line."""

    def blank(match: re.Match[str]) -> str:
        return '"' + "_" * (len(match[0]) - 2 - match[0].count("\n")) + "\n" * match[0].count("\n") + '"'

    found: Lines = {}
    seen: dict[str, int] = {}
    table, index, depth = "", 0, 0
    for number, (line, original) in enumerate(zip(STRING.sub(blank, text).split("\n"), text.split("\n")), 1):
        line = line.split("#")[0]
        if depth == 0:
            if header := HEADER.match(line):
                table = header[2].replace('"', "")
                index = seen.get(table, 0) if header[1] == "[[" else 0
                seen[table] = index + 1
                found[table, index, ""] = number
            elif KEY.match(line) and (key := KEY.match(original)):
                found[table, index, key[1].strip('"')] = number
        depth += sum(line.count(c) for c in "[{") - sum(line.count(c) for c in "]}")
    return found
