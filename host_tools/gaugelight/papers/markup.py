"""Markup that cannot be broken by what people write: whatever is no `Html` yet is escaped. Well-formed as XML too."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

EMPTY = ("img", "meta", "br")  # elements with nothing within
# after which a new line changes nothing that is seen, so that two pages can be compared line by line
LINES = (
    "tr",
    "section",
    "li",
    "p",
    "head",
    "table",
    "div",
    "figure",
    "nav",
    "header",
    "script",
    "style",
    "pre",
)


class Html(str):
    """Text that is markup already."""


def markup(*parts: object) -> Html:
    """Parts one after another, escaped where they are no markup."""
    return Html("".join(part if isinstance(part, Html) else html.escape(str(part)) for part in parts))


def tag(name: str, /, *within: object, **attributes: str) -> Html:
    """An element; `class_` and `stroke_width` are written class and stroke-width."""
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{html.escape(value)}"' for key, value in attributes.items()
    )
    if name in EMPTY:
        return Html(f"<{name}{written} />")
    return Html(f"<{name}{written}>{markup(*within)}</{name}>" + "\n" * (name in LINES))


def each(name: str, parts: Iterable[object], **attributes: str) -> Html:
    return markup(*(tag(name, part, **attributes) for part in parts))


def listed(parts: Iterable[object], **attributes: str) -> Html:
    return tag("ul", each("li", parts), **attributes)


def table(caption: object, heads: Sequence[str], rows: Iterable[Sequence[object]], class_: str = "") -> Html:
    """The first cell of a row heads it. Columns whose head begins with ">" are of numbers."""
    numeric = [head.startswith(">") for head in heads]

    def cell(name: str, column: int, within: object, **attributes: str) -> Html:
        return tag(name, within, **attributes, **({"class_": "number"} if numeric[column] else {}))

    head = markup(*(cell("th", k, head.lstrip(">"), scope="col") for k, head in enumerate(heads)))
    body = [
        tag(
            "tr",
            tag("th", row[0], scope="row"),
            *(cell("td", k, value) for k, value in enumerate(row[1:], 1)),
        )
        for row in rows
    ]
    classes = {"class_": class_} if class_ else {}
    return tag(
        "table", tag("caption", caption), tag("thead", tag("tr", head)), tag("tbody", *body), **classes
    )


def css_text(text: str) -> str:
    """A text within quotes in a style sheet."""
    return "".join(c if c.isalnum() or c in " .,:-" else f"\\{ord(c):x} " for c in text)
