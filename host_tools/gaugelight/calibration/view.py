"""What the person on the ladder sees: on a terminal a few lines and one large number, drawn anew; elsewhere a line where something changes."""

from __future__ import annotations

import time
from collections.abc import Callable

from rich.console import Group
from rich.live import Live
from rich.text import Text

from gaugebox.digits import MEDIUM, MEDIUM_WIDTH
from gaugelight.calibration.guide import Picture

FIGURES = "0123456789-."
ROWS = 16
EVERY_S = 5.0  # where lines are printed, so often while it is waited


def large(text: str, ascii_only: bool = False) -> list[str]:
    """Figures eight lines high, of the face's own font; two dots to a character."""
    full, upper, lower = ("#", "'", ".") if ascii_only else ("\u2588", "\u2580", "\u2584")
    shapes = {(True, True): full, (True, False): upper, (False, True): lower, (False, False): " "}
    lines = [""] * (ROWS // 2)
    for figure in text:
        if figure not in FIGURES:
            continue
        at = FIGURES.index(figure) * MEDIUM_WIDTH * 2
        for row in range(0, ROWS, 2):
            page, bit = at + row // 8 * MEDIUM_WIDTH, row % 8
            columns = MEDIUM[page : page + MEDIUM_WIDTH]
            lines[row // 2] += "".join(
                shapes[bool(column >> bit & 1), bool(column >> bit + 1 & 1)] for column in columns
            )
            lines[row // 2] += "  "
    return [line.rstrip() for line in lines]


def drawn(picture: Picture, height: int, ascii_only: bool = False) -> Group:
    """The screen. Where it is low the large figures are an ordinary line."""
    rows = [Text(picture.title, style="bold"), Text("")]
    if picture.large:
        big = large(picture.large, ascii_only) if height >= 22 else [picture.large]
        rows += [Text("  " + line, no_wrap=True) for line in big]
        rows.append(Text("  " + picture.large_unit))
        rows.append(Text(""))
    style = "bold red" if picture.prompt.startswith("FAULT") else "bold"
    rows += [Text(line) for line in picture.lines]
    rows += [Text(""), Text(picture.prompt, style=style), Text(f"> {picture.typed}_", style="bold")]
    rows += [Text(""), Text(picture.keys), Text(picture.message)]
    return Group(*rows)


class TerminalView:
    def __init__(self, live: Live) -> None:
        self.live = live
        self.latest = Picture()

    def draw(self, picture: Picture) -> None:
        console = self.live.console
        self.live.update(drawn(picture, console.size.height, console.options.ascii_only), refresh=True)

    def say(self, text: str) -> None:
        """Stands on the screen as the picture's message; here only its bell."""
        if text.endswith("\a"):
            self.live.console.bell()


class LinesView:
    """say: prints a line."""

    def __init__(self, say: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self.print, self.clock = say, clock
        self.latest, self.at = "", float("-inf")

    def draw(self, picture: Picture) -> None:
        kind = picture.prompt.split(":")[0].rstrip("0123456789 s")
        if kind == self.latest and self.clock() - self.at < EVERY_S:
            return
        if kind == self.latest and not picture.prompt.startswith(("still", "MOVES", "FAULT", "waiting")):
            return  # the same question
        self.latest, self.at = kind, self.clock()
        signal = next((line for line in picture.lines if line.startswith("signal")), "")
        self.print(f"{picture.prompt}{'   ' + signal if signal else ''}")

    def say(self, text: str) -> None:
        self.print(text.rstrip("\a"))
