"""Whoever is asked while something must go on: a lamp be kept where it is, a knob be watched."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable, Iterator

from gaugelight.calibration.answers import Answers, Ended, Piped, Typed
from gaugelight.problems import Wrong

EACH_S = 0.1  # so often what goes on is looked after


class Gone(Wrong):
    """Nobody answers any more."""


def nothing() -> None:
    pass


class Hand:
    """Questions and what to mind go to stderr, so that with --json stdout holds one object."""

    def __init__(self, answers: Answers) -> None:
        self.answers = answers

    def tell(self, text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    def ask(
        self, question: str, meanwhile: Callable[[], None] = nothing, keys: str = "", fresh: bool = False
    ) -> str:
        """What is answered. meanwhile: called about ten times a second while nobody answers; keys: at a keyboard each of these is an
        answer without return; fresh: what was typed before does not count. Raises Gone where there will be no more answers.
        """
        answers = self.answers
        answers.at_once = keys
        if fresh:
            answers.forget()
        shown = self._show(question, "")
        try:
            while (said := answers.line(EACH_S)) is None:
                meanwhile()
                if answers.typed != shown:
                    shown = self._show(question, answers.typed)
        except Ended:
            self.tell("")
            raise Gone("the answers ended before all was asked") from None
        except KeyboardInterrupt:
            self.tell("")
            raise
        self.tell(said if answers.live else "")
        return said

    def wait(self, seconds: float, meanwhile: Callable[[], None] = nothing) -> None:
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            meanwhile()
            time.sleep(min(EACH_S, left))

    @staticmethod
    def _show(question: str, typed: str) -> str:
        print(f"\r\033[K{question} {typed}" if typed else f"{question} ", end="", file=sys.stderr, flush=True)
        return typed


@contextlib.contextmanager
def somebody() -> Iterator[Hand]:
    """At the keyboard, or lines that are piped in."""
    from gaugelight.live import Keys  # which takes a while

    if sys.stdin is not None and sys.stdin.isatty() and sys.platform != "win32":
        with Keys() as keys:
            yield Hand(Typed(keys))
    else:
        yield Hand(Piped())
