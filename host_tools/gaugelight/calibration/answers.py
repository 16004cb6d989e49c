"""Where the answers come from: a terminal, key by key, or lines that are piped in. While nobody answers the screen goes on."""

from __future__ import annotations

import io
import os
import select
import sys
import time
from collections import deque
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gaugelight.live import Keys

RETURN, RUB_OUT = "\r\n", "\x7f\b"
HABIT_S = 1.0  # a return so soon after a key that was an answer by itself belongs to that key, and answers nothing else


class Ended(Exception):
    """There will be no more answers."""


class Answers:
    """Lines from a list: for tests, and what the others have in common.

    live    a person is there, who may say something at any time; else lines are kept until they are asked for
    typed   what stands of the line that is being typed
    at_once keys that are an answer by themselves
    """

    live = False
    typed = ""
    at_once = ""

    def __init__(self, *lines: str) -> None:
        self.lines = deque(lines)

    def line(self, seconds: float) -> str | None:
        """The next one, without spaces around it; None after so many seconds without one. Raises Ended."""
        if not self.lines:
            raise Ended
        return self.lines.popleft().strip()

    def forget(self) -> None:
        """What was typed before anybody asked; lines that were piped in stay."""

    def pause(self, seconds: float) -> None:
        time.sleep(max(0.0, seconds))


class Piped(Answers):
    """Lines of standard input."""

    def __init__(self) -> None:
        super().__init__()
        self.rest = b""
        try:
            self.fd = sys.stdin.fileno()
        except (OSError, ValueError, AttributeError, io.UnsupportedOperation):
            self.fd = -1

    def line(self, seconds: float) -> str | None:
        due = time.monotonic() + seconds
        while not self.lines:
            if self.fd < 0:
                raise Ended
            if not select.select([self.fd], [], [], max(0.0, due - time.monotonic()))[0]:
                return None
            more = os.read(self.fd, 4096)
            *whole, self.rest = (self.rest + (more or b"\n" * bool(self.rest))).split(b"\n")
            self.lines.extend(line.decode(errors="replace") for line in whole)
            if not more:
                self.fd = -1
        return self.lines.popleft().strip()


class Typed(Answers):
    """A terminal's keyboard, which `keys` holds."""

    live = True

    def __init__(self, keys: Keys) -> None:
        super().__init__()
        self.keys = keys
        self.answered = -HABIT_S  # by a key

    def forget(self) -> None:
        for _ in self.keys.until(0.0):
            pass
        self.lines.clear()
        self.typed = ""

    def line(self, seconds: float) -> str | None:
        if not self.lines:
            for key in self.keys.until(time.monotonic() + seconds):
                if key in self.at_once and not self.typed:
                    self.lines.append(key)
                    self.answered = time.monotonic()
                elif key in RETURN and not self.typed and time.monotonic() - self.answered < HABIT_S:
                    continue
                elif key in RETURN:
                    self.lines.append(self.typed)
                    self.typed = ""
                elif key in RUB_OUT:
                    self.typed = self.typed[:-1]
                elif key == "\x04":  # Ctrl-D
                    raise Ended
                elif self.at_once.isalpha() and key.isprintable():
                    continue  # none of those: whoever looks elsewhere does not see it stand there
                elif key.isprintable() and len(self.typed) < 60:
                    self.typed += key
                if self.lines:
                    break
        return self.lines.popleft().strip() if self.lines else None
