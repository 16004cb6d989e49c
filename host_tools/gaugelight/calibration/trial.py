"""A box in service whose outputs are put somewhere for a while, before somebody's eyes; and what came of it."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from gaugebox.table import Table
from gaugelight.box_line import BoxLine
from gaugelight.boxfile import Box
from gaugelight.calibration.hand import Hand
from gaugelight.problems import Wrong

REFRESH_S = 1.0  # the box lets go of what it holds 5 s after it was last asked
GO_BACK = "what was held goes back by itself within 5 s"


@dataclass(frozen=True)
class Found:
    """What came of it, in words and as numbers; edit: the text of the box file with it, given what that describes now."""

    says: tuple[str, ...]
    values: dict[str, Any]
    edit: Callable[[str, Box], str]


@dataclass
class Trial:
    """A box in service, whose outputs are put somewhere for a while, and whoever looks at them."""

    line: BoxLine
    table: Table
    hand: Hand
    held: dict[tuple[str, int], int] = field(default_factory=dict)
    sent: float = 0.0

    def hold(self, kind: str, number: int, duty: int) -> None:
        self.held[kind, number] = duty
        self._send(kind, number, duty)

    def _send(self, kind: str, number: int, duty: int) -> None:
        if kind == "lamp":
            self.line.hold_lamp(number, duty)
        else:
            self.line.hold_needle(number, duty)

    def go_on(self) -> None:
        """Keeps all that is held where it is."""
        if self.held and time.monotonic() - self.sent > REFRESH_S:
            self.sent = time.monotonic()
            for (kind, number), duty in self.held.items():
                self._send(kind, number, duty)

    def wait(self, seconds: float) -> None:
        self.hand.wait(seconds, self.go_on)

    def ask(self, question: str, keys: str = "", fresh: bool = False) -> str:
        return self.hand.ask(question, self.go_on, keys, fresh)


def number_in(there: Sequence[object], wanted: object, what: str, box: Box) -> int:
    """Of a thing among those of the table that the box runs. Raises Wrong where it is not there."""
    if wanted not in there:
        raise Wrong(f"{what}: the box runs a table without it: `gaugelight flash {box.file}` first")
    return list(there).index(wanted)


def same_pulses(box: Box, what: str, stated: tuple[int, int], running: tuple[int, int]) -> None:
    """Pin and frequency. Raises Wrong."""
    if stated != running:
        raise Wrong(
            f"{what}: the box drives it on another pin or frequency than the file says: `gaugelight flash {box.file}` first"
        )
