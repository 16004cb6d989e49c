"""Whoever answers: lines typed, or piped in; on a terminal some answers are a single key. While nobody answers, something goes on."""

from __future__ import annotations

import io
import os
import select
import sys
import time
from collections.abc import Callable

from gaugelight.problems import Wrong

if sys.platform != "win32":
    import termios
    import tty

EACH_S = 0.1  # so often what goes on is looked after
ENTER, RUB_OUT = "\r\n", "\x7f\b"


def nothing() -> None:
    pass


class Hand:
    """Questions go to stderr, so that with --json stdout holds one object."""

    def __init__(self) -> None:
        self.typed = b""

    def tell(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    def ask(self, question: str, meanwhile: Callable[[], None] = nothing, keys: str = "") -> str:
        """What is answered, without spaces around it. keys: on a terminal one of these is an answer without return; meanwhile: called
        about ten times a second while nobody answers. Raises Wrong where nobody can any more."""
        print(question, end=" ", file=sys.stderr, flush=True)
        try:
            fd = sys.stdin.fileno()
        except (OSError, ValueError, AttributeError, io.UnsupportedOperation):
            meanwhile()
            line = sys.stdin.readline() if sys.stdin is not None else ""
            if not line:
                self._nobody()
            return line.strip()
        return self._line(fd, meanwhile) if not (keys and os.isatty(fd)) else self._key(fd, meanwhile, keys)

    def wait(self, seconds: float, meanwhile: Callable[[], None] = nothing) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            meanwhile()
            time.sleep(min(EACH_S, max(0.0, end - time.monotonic())))

    def _more(self, fd: int, meanwhile: Callable[[], None]) -> bytes:
        while not select.select([fd], [], [], EACH_S)[0]:
            meanwhile()
        more = os.read(fd, 4096)
        if not more:
            self._nobody()
        return more

    def _line(self, fd: int, meanwhile: Callable[[], None]) -> str:
        meanwhile()
        while b"\n" not in self.typed:
            self.typed += self._more(fd, meanwhile)
        line, _, self.typed = self.typed.partition(b"\n")
        return line.decode(errors="replace").strip()

    def _key(self, fd: int, meanwhile: Callable[[], None], keys: str) -> str:
        before = termios.tcgetattr(fd)
        tty.setcbreak(fd, termios.TCSANOW)
        line = ""
        meanwhile()
        try:
            while True:
                self.typed = self.typed or self._more(fd, meanwhile)
                key, self.typed = chr(self.typed[0]), self.typed[1:]
                if key in ENTER or key in keys and not line:
                    print(key if key in keys else "", file=sys.stderr, flush=True)
                    return line.strip() if key in ENTER else key
                if key in RUB_OUT:
                    shown, line = "\b \b" * bool(line), line[:-1]
                else:
                    shown, line = key, line + key
                print(shown, end="", file=sys.stderr, flush=True)
        finally:
            termios.tcsetattr(fd, termios.TCSANOW, before)

    @staticmethod
    def _nobody() -> None:
        print(file=sys.stderr)
        raise Wrong("the answers ended before all was asked")
