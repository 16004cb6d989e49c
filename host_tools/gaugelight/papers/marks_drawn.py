"""A readout's range markings as a bar: told by shape first, so that it prints in black and white. Green is a thin line, yellow is
hatched, red is solid, a limit a stroke through it all; what has no mark is dotted."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from gaugelight.papers import words
from gaugelight.papers.markup import Html, tag
from gaugelight.readouts import Mark, Markings

WIDTH, TOP, HEIGHT = 640.0, 14.0, 14.0
LEFT = 20.0
COLOURS = {"green": "#13713a", "yellow": "#c79a00", "red": "#b3131b"}
HATCH = 5.0


def bar(name: str, unit: str, markings: Markings, span: tuple[float, float]) -> Html:
    """The drawing, with its words for those who do not see it."""
    low, high = (float(end) for end in markings.bar or span)
    ends = [float(end) for mark in markings.marks for end in (mark.low, mark.high) if end is not None]
    low, high = min([low, *ends]), max([high, *ends])

    def at(reading: float) -> float:
        return LEFT + (reading - low) / (high - low) * WIDTH

    parts = [_line(at(low), at(high), TOP + HEIGHT / 2, "#555", "1", "1 4")]
    for mark in markings.marks:
        parts += _zone(mark, at, low, high)
    numbers = sorted({low, high, *ends})
    last = -1e9
    for reading in numbers:
        x = at(reading)
        parts.append(_line(x, x, TOP + HEIGHT + 3, "#000", "0.8", down=4))
        if x - last > 30:
            parts.append(
                tag(
                    "text",
                    words.number(reading),
                    x=f"{x:.1f}",
                    y=f"{TOP + HEIGHT + 17:.1f}",
                    text_anchor="middle",
                )
            )
            last = x
    said = "; ".join(f"{mark.colour} {words.mark(mark, unit)}" for mark in markings.marks) or "no marks"
    height = TOP + HEIGHT + 22
    return tag(
        "svg",
        tag("title", f"{name}: {said}"),
        *parts,
        viewBox=f"0 0 {WIDTH + 2 * LEFT:.0f} {height:.0f}",
        role="img",
        class_="bar",
    )


def _zone(mark: Mark, at: Callable[[float], float], low: float, high: float) -> Iterator[Html]:
    x0, x1 = at(low if mark.low is None else float(mark.low)), at(
        high if mark.high is None else float(mark.high)
    )
    colour, middle = COLOURS[mark.colour], TOP + HEIGHT / 2
    if mark.colour == "green":
        yield _box(x0, x1, middle - 2, 4, colour)
    elif mark.colour == "yellow":
        yield tag(
            "rect",
            x=f"{x0:.1f}",
            y=f"{TOP}",
            width=f"{x1 - x0:.1f}",
            height=f"{HEIGHT}",
            fill="none",
            stroke=colour,
        )
        yield tag("path", d=_hatched(x0, x1), stroke=colour, stroke_width="1.4", fill="none")
    else:
        yield _box(x0, x1, TOP, HEIGHT, colour)
        if mark.low is None or mark.high is None:
            x = x1 if mark.low is None else x0
            yield _box(x - 2, x + 2, TOP - 8, HEIGHT + 12, colour)


def _hatched(x0: float, x1: float) -> str:
    """Strokes at 45 degrees within the rectangle."""
    strokes = []
    start = x0 - HEIGHT
    while start < x1:
        a, b = max(start, x0), min(start + HEIGHT, x1)
        strokes.append(f"M{a:.1f} {TOP + HEIGHT - (a - start):.1f}L{b:.1f} {TOP + HEIGHT - (b - start):.1f}")
        start += HATCH
    return "".join(strokes)


def _box(x0: float, x1: float, y: float, height: float, colour: str) -> Html:
    return tag(
        "rect",
        x=f"{x0:.1f}",
        y=f"{y:.1f}",
        width=f"{max(0.0, x1 - x0):.1f}",
        height=f"{height:g}",
        fill=colour,
    )


def _line(
    x0: float, x1: float, y: float, colour: str, width: str, dashes: str = "", down: float = 0.0
) -> Html:
    dashed = {"stroke_dasharray": dashes} if dashes else {}
    return tag(
        "line",
        x1=f"{x0:.1f}",
        y1=f"{y:.1f}",
        x2=f"{x1:.1f}",
        y2=f"{y + down:.1f}",
        stroke=colour,
        stroke_width=width,
        **dashed,
    )
