"""What a page holds for the next one and for whoever checks it, as JSON: files, table image, and what is compared, in words."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

from gaugelight.papers.facts import Facts, Said, TextFile, changing
from gaugelight.problems import Misuse

FORM = 1  # of this JSON
ANCHOR = "record"  # id of its element


@dataclass(frozen=True)
class Held:
    """What was found in a page. sum: as it stands there."""

    text: str
    sum: str
    made_on: str
    tools: str
    crc: str
    firmware: str
    box_file: TextFile
    image: bytes
    said: Said


def block(facts: Facts) -> str:
    """The JSON, in letters that mean nothing in markup."""
    sessions = [one.session for one in facts.calibrations if one.session is not None]
    held = {
        "form": FORM,
        "box": facts.box.name,
        "made_on": facts.made_on.isoformat(),
        "tools": facts.tools,
        "table": facts.crc,
        "safe_table": facts.safe_crc,
        "firmware": facts.firmware,
        "box_file": vars(facts.box_file),
        "papers_file": {"name": facts.papers.file, "text": facts.papers.text},
        "sessions": [vars(one) for one in sessions],
        "image": base64.b64encode(facts.built.image).decode(),
        "said": changing(facts),
    }
    written = json.dumps(held, indent=0, ensure_ascii=True)
    return written.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


class _Finder(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.inside = False
        self.json = ""
        self.sum = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "script" and given.get("id") == ANCHOR:
            self.inside = True
        if tag == "meta" and given.get("name") == "sum":
            self.sum = given.get("content") or ""

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self.inside = False

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.json += data


def held_in(name: str, text: str) -> Held:
    """What a page holds. Raises Misuse where it is none."""
    finder = _Finder()
    finder.feed(text)
    try:
        held: dict[str, Any] = json.loads(finder.json)
        if held["form"] != FORM:
            raise Misuse(f"{name}: is of gaugelight {held['tools']}, whose pages these tools do not know")
        return Held(
            text,
            finder.sum,
            held["made_on"],
            held["tools"],
            held["table"],
            held["firmware"],
            TextFile(**held["box_file"]),
            base64.b64decode(held["image"]),
            held["said"],
        )
    except (ValueError, TypeError, LookupError):
        raise Misuse(f"{name}: is no page that `gaugelight record` made") from None
