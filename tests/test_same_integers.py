"""The box says the same on every interpreter it runs on; CPython, held against exact arithmetic elsewhere, is the reference."""

from collections.abc import Callable
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from gaugelight.boxfile import read_box
from gaugelight.build import build
from interpreters import MICROPYTHONS, on_cpython

BOX_SAYS = (Path(__file__).parent / "box_says.py").read_text()
LINES = [
    ("?", ["1", "hello"]),
    ("=", ["7f", "ok", "0", "12,34,56,", "~ !"]),
    ("?", []),
    ("?", [""]),
    ("=", ["1", "no", "x" * 200]),
    ("=", ["1", "no", "x" * 300]),
    ("=", ["1", "no", "tab\there"]),
    ("=", ["1", "no", "a degree \u00b0"]),
]
DAMAGED = [
    b"",
    b"?1|hello|00000000",
    b"?1|hello|" + b"f" * 300,
    b"?1|he\x03llo|00000000",
    b"\xff\xfe\x00",
    b"?|cbf43926",
]


DEMO = Path(str(files("gaugelight.demo") / "amphibian.toml"))


@cache
def demo_image() -> bytes:
    return build(read_box(DEMO)).image


@cache
def senders_image() -> bytes:
    return build(read_box(Path(__file__).parent / "senders.toml")).image


QUESTIONS = {
    "every input": lambda: f"every_input({demo_image()!r})",
    "every sender": lambda: f"every_input({senders_image()!r})",
    "every sender, damped": lambda: f"every_damper({senders_image()!r})",
    "every damper": lambda: f"every_damper({demo_image()!r})",
    "every light": lambda: f"every_light({demo_image()!r})",
    "every line": lambda: f"every_line({LINES!r}, {DAMAGED!r})",
    "damaged images": lambda: f"every_damage({demo_image()!r}, 0, 394, 1)",
    "more damaged images": lambda: f"every_damage({demo_image()!r}, 197, 394, 1)",
    "images damaged elsewhere": lambda: f"every_damage({demo_image()!r}, 65, 197, 0x80)",
    "images damaged elsewhere again": lambda: f"every_damage({demo_image()!r}, 131, 197, 0xFF)",
    "images with damaged sections": lambda: f"every_damage({demo_image()!r}, 1600, 194, 0xFF)",
    "images with other damaged sections": lambda: f"every_damage({demo_image()!r}, 1697, 194, 0xFF)",
}


@cache
def reference(question: str) -> list[str]:
    """What this interpreter says, line by line."""
    return on_cpython(BOX_SAYS + QUESTIONS[question]()).splitlines()


def test_the_questions_reach_readings_and_faults() -> None:
    """So that equal answers mean something."""
    said = reference("every input")
    for one in read_box(DEMO).inputs:
        assert sum(line.startswith(one.name) and "good 64" in line for line in said) >= 10, one.name
        faults = {line.split()[-1] for line in said if line.startswith(one.name) and "fault" in line}
        assert len(faults) >= (1 if one.law.span[0] == 0 and one.unit == "V" else 2), one.name
    damaged = [line for question in QUESTIONS if "damaged" in question for line in reference(question)]
    assert any("runs" in line for line in damaged)
    assert len({line.split(" ", 2)[2] for line in damaged}) >= 10
    lights = reference("every light")
    for dimmed in read_box(DEMO).lights.dimmed:
        assert len({line.split()[-1] for line in lights if line.startswith(dimmed.name)}) >= 50, dimmed.name


@pytest.mark.parametrize("run", MICROPYTHONS.values(), ids=MICROPYTHONS)
@pytest.mark.parametrize("question", QUESTIONS)
def test_the_same_answers(question: str, run: Callable[[str], str]) -> None:
    assert run(BOX_SAYS + QUESTIONS[question]()).splitlines() == reference(question)
