"""The demo's senders and lights without what the face shows of them: for tests to whom an alert's lamp would be one more thing that moves."""

import atexit
import re
from pathlib import Path
from tempfile import TemporaryDirectory

from gaugelight.cli import DEMO

FACE_KEYS = ("marks", "mark_delay", "label", "only_when", "face", "bar")


def _without(text: str, header: str, key: str = "") -> str:
    """Without the tables of that header, or those of them that have a key."""
    tables = re.split(r"(?m)^(?=\[)", text)
    return "".join(one for one in tables if not (one.startswith(header) and re.search(rf"(?m)^{key}", one)))


def plain_text() -> str:
    text = DEMO.read_text()
    for header in ("[[derived]]", "[[alert]]", "[buttons]", "[reserve]", "[[disagree]]"):
        text = _without(text, header)
    text = _without(text, "[[lamp]]", "shows")
    for name in ("acknowledge", "test", "transfer pump", "reserve filled"):
        text = _without(text, "[[switch]]", f'name = "{name}"')
    return "".join(line for line in text.splitlines(True) if not line.startswith(FACE_KEYS))


_folder = TemporaryDirectory()
atexit.register(_folder.cleanup)
PLAIN = Path(_folder.name) / "plain.toml"
PLAIN.write_text(plain_text())
