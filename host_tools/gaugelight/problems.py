"""What a user is told when something is not right: what, where, what would be right. Never a traceback."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One line of complaint about a box file. `line` is 0 where the whole file is meant."""

    line: int
    where: str
    what: str

    def text(self, file: str) -> str:
        return (
            f"{file}:{self.line}: {self.where}: {self.what}"
            if self.line
            else f"{file}: {self.where}: {self.what}"
        )


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
