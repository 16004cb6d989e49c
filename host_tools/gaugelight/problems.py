"""What a user is told when something is not right: what, where, what would be right. Never a traceback."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


def meant(written: str, there: Iterable[str]) -> str:
    """What was most likely meant by a name that is not there; else all that is."""
    names = list(there)
    near = difflib.get_close_matches(written, names, 1)
    return f'did you mean "{near[0]}"?' if near else f'there is: {", ".join(names) or "none"}'


@dataclass(frozen=True)
class Problem:
    """One line of complaint about a box file. `line` is 0 where the whole file is meant; `key`: the one of its table."""

    line: int
    where: str
    what: str
    key: str = ""

    def text(self, file: str) -> str:
        place = f"{file}:{self.line}" if self.line else file
        return f"{place}: {self.where}{', ' if self.key else ''}{self.key}: {self.what}"


class Wrong(Exception):
    """The thing checked is not right: exit 1. `lines` is what to print."""

    exit_code = 1

    def __init__(self, *lines: str) -> None:
        super().__init__("\n".join(lines))
        self.lines = lines


class Misuse(Wrong):
    """The command cannot be carried out as it was asked: exit 2."""

    exit_code = 2


class WrongBoxFile(Wrong):
    """A box file with problems."""

    def __init__(self, file: str, problems: list[Problem]) -> None:
        self.problems = sorted(problems, key=lambda p: p.line)
        super().__init__(*(problem.text(file) for problem in self.problems))
