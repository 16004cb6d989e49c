"""What the face is drawn with: letters, figures, and the shapes that stand for colours, on a picture of 128 by 64 dots.

Nothing allocated but at the start.
"""

from gaugebox import digits
from gaugebox.readouts import RED, YELLOW
from gaugebox.ssd1306 import HEIGHT, WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

LINE = 9  # rows of dots
PITCH = 6  # of small letters
LETTERS = 21  # in a line
NUMBER = 12  # the longest there is has a sign, ten digits and a point
DOT, MINUS, ZERO = 46, 45, 48


def bare(unit: str) -> bytes:
    """A unit without the kind of its pressure, in six letters."""
    words = unit.split(" ")
    if words[-1] in ("gauge", "sealed", "absolute"):
        words.pop()
    unit = " ".join(words)
    return (unit if len(unit) <= 6 else "".join(words)).replace("deg", "\x7f").encode()


def places(step: int, decimals: int) -> "tuple[int, int]":
    """With how many decimals a reading of so many is written, and by what it is divided for that."""
    divisor = 1
    while decimals and step % (divisor * 10) == 0:
        decimals -= 1
        divisor *= 10
    return decimals, divisor


class Brush:
    """canvas: makes something to draw on of a bytearray, its width and height."""

    def __init__(self, canvas: "Callable[..., Any]") -> None:
        self.picture = bytearray(WIDTH * HEIGHT // 8)
        self.canvas = canvas(self.picture, WIDTH, HEIGHT)
        self.inverse = canvas(bytearray((1, 0)), 2, 1)
        self.small = _glyphs(canvas, digits.SMALL, digits.SMALL_WIDTH, 8)
        self.medium = _glyphs(canvas, digits.MEDIUM, digits.MEDIUM_WIDTH, 16)
        self.tall = _glyphs(canvas, digits.TALL, digits.TALL_WIDTH, 24)
        self.text = bytearray(NUMBER)

    def write(self, text: "bytes | bytearray", x: int, y: int, ink: "Any" = None, most: int = LETTERS) -> int:
        """Small letters; where the next would stand."""
        canvas, small = self.canvas, self.small
        for c in text:
            if c and most > 0:
                canvas.blit(small[c - 32], x, y, 0 if ink is None else 1, ink)
                x += PITCH
                most -= 1
        return x

    def write_back(self, text: "bytes | bytearray", end: int, y: int, ink: "Any" = None) -> None:
        """Small letters that end before a column."""
        x = end
        for c in text:
            if c:
                x -= PITCH
        self.write(text, x + 1, y, ink)

    def number(self, number: int, decimals: int, room: int, pitch: int = PITCH) -> None:
        """Into text, from its end; before it stand zeros. One that is wider than its room, in letters or in figures of that pitch, is
        dashes: a number without its first figure would be another."""
        text = self.text
        left = -number if number < 0 else number
        at = NUMBER
        for i in range(NUMBER):
            text[i] = 0
        while at and (left or decimals >= 0):
            at -= 1
            text[at] = ZERO + left % 10
            left //= 10
            decimals -= 1
            if not decimals and at:
                at -= 1
                text[at] = DOT
        if number < 0 and at:
            at -= 1
            text[at] = MINUS
        width = 0
        for i in range(at, NUMBER):
            width += dot_pitch(pitch) if text[i] == DOT else pitch
        if width > room:
            for i in range(at, NUMBER):
                text[i] = 0 if (NUMBER - i) * pitch > room else MINUS

    def figures(self, font: "list[Any]", pitch: int, end: int, y: int, ink: "Any") -> None:
        """The number in text, in large figures that end before a column."""
        key = 0 if ink is None else 1  # what is around a figure covers nothing
        for i in range(NUMBER - 1, -1, -1):
            c = self.text[i]
            if not c:
                return
            end -= dot_pitch(pitch) if c == DOT else pitch
            self.canvas.blit(font[11 if c == DOT else 10 if c == MINUS else c - ZERO], end, y, key, ink)

    def box(self, x: int, y: int, width: int, height: int, colour: int) -> "Any":
        """Clears a place for a number or words of that colour; the ink they are to be written with."""
        canvas = self.canvas
        canvas.fill_rect(x, y, width, height, 1 if colour == RED else 0)
        if colour == YELLOW:
            canvas.rect(x, y, width, height, 1)
            if height == LINE:  # letters would touch it: only its ends
                canvas.fill_rect(x + 2, y, width - 4, height, 0)
        return self.inverse if colour == RED else None


def dot_pitch(pitch: int) -> int:
    """What the point takes, which is narrow among the larger figures."""
    return pitch if pitch == PITCH else (pitch >> 2) + 2


def _glyphs(canvas: "Callable[..., Any]", font: bytes, width: int, rows: int) -> "list[Any]":
    columns = memoryview(bytearray(font))
    size = width * rows >> 3
    return [canvas(columns[at : at + size], width, rows) for at in range(0, len(columns), size)]
