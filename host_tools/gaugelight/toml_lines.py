"""On which line of a TOML text each table and key stands: the standard parser does not say."""

import re

COMMENT_OR_STRING = re.compile(
    r"#[^\n]*|'''.*?'{3,5}|\"\"\"(?:\\.|[^\\])*?\"{3,5}|\"(?:\\.|[^\"\\\n])*\"|'[^'\n]*'", re.S
)
HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*$")
KEY = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=")

Lines = dict[tuple[str, int, str], int]  # (table, index within an array of tables, key or "") -> line


def key_lines(text: str) -> Lines:
    """The lines, counted from 1. `text` must be valid TOML with each key at the start of a line."""

    def blank(match: re.Match[str]) -> str:
        return re.sub(r"[^\n]", " " if match[0][0] == "#" else "_", match[0])

    def written(match: re.Match[str], group: int, line: str) -> str:
        return re.sub(r"[\"']|\s*(?=\.)|(?<=\.)\s*", "", line[match.start(group) : match.end(group)])

    found: Lines = {}
    seen: dict[str, int] = {}
    table, index, depth = "", 0, 0
    blanked = COMMENT_OR_STRING.sub(blank, text)  # every other character stays where it is
    for number, (line, original) in enumerate(zip(blanked.split("\n"), text.split("\n")), 1):
        if depth == 0:
            if header := HEADER.match(line):
                table = written(header, 2, original)
                index = seen.get(table, 0) if header[1] == "[[" else 0
                seen[table] = index + 1
                found[table, index, ""] = number
            elif key := KEY.match(line):
                found[table, index, written(key, 1, original)] = number
        depth += sum(line.count(c) for c in "[{") - sum(line.count(c) for c in "]}")
    return found
