"""`gaugelight record` as a user types it: what it writes, what it says, its exit codes."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from gaugebox import VERSION
from gaugelight import bench as benching
from gaugelight.bench import Report, Row
from gaugelight.box_line import Hello
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO, main
from gaugelight.face_drawn import Drawn, png
from gaugelight.papers import gather
from gaugelight.papers.facts import Picture
from gaugelight.papers.gather import face_pictures
from gaugelight.problems import Wrong

DAY = ("--date", "2026-11-26")
# a box of one readout, and its papers: what a page holds is tried in test_papers_page.py
BOX = """
[box]
name = "hull console"
board = "rp2040"

[[input]]
name = "left fuel"
pin = 26
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "reference" }
unit = "US gal"
step = 0.5
points = [["0 ohm", 0], ["46 ohm", 9.5], ["90 ohm", 18]]
marks = [{ red = 0 }, { yellow = [0, 4] }, { green = [4, 18] }]
"""
PAPERS = """
[limits."left fuel"]
"red 0 and below" = "sheet 2"
"yellow 0 to 4" = "sheet 3"
"""


class Line:
    """A box on the serial line, as far as the papers ask it."""

    hello: Hello
    image: bytes

    def __init__(self, port: str) -> None:
        self.port = port

    def __enter__(self) -> "Line":
        return self

    def __exit__(self, *how: object) -> None:
        pass

    def hello_same_version(self) -> Hello:
        return self.hello

    def stored_table(self) -> bytes:
        return self.image


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Build:
    path = tmp_path_factory.mktemp("box") / "hull.toml"
    path.write_text(BOX)
    return build(read_box(path))


@pytest.fixture
def crc(built: Build) -> str:
    return f"{built.crc32:08x}"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, built: Build, crc: str) -> Path:
    """A folder with the two files; pictures of the face cost an interpreter each, and are tried by themselves."""
    (tmp_path / "hull.toml").write_text(BOX)
    (tmp_path / "hull.papers.toml").write_text(PAPERS)
    safe = f"{built.safe_crc32:08x}"
    hello = Hello(VERSION, 1, "hull console", "FLIGHT", "slot_b", 1, crc, 1, 0, 0, "", safe, "", "", "")
    monkeypatch.setattr(Line, "hello", hello, raising=False)
    monkeypatch.setattr(gather, "face_pictures", lambda built: [Picture("a page", b"\x89PNG")])
    monkeypatch.setattr(gather, "BoxLine", Line)
    monkeypatch.setattr(Line, "image", built.image, raising=False)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any]:
    """Exit code and the one JSON object."""
    capsys.readouterr()
    code = main(["record", *words, "--json"])
    out, err = capsys.readouterr()
    assert err == "" and out.count("\n") == 1
    return code, json.loads(out)


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """Exit code, and what stands on the screen."""
    capsys.readouterr()
    code = main(["record", *words])
    return code, "".join(capsys.readouterr())


def test_a_page_is_written_and_checked(here: Path, crc: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, made = said(capsys, "hull.toml", *DAY)
    assert (code, made["file"], made["crc32"], made["not_right"]) == (0, "hull.record.html", crc, [])
    assert any(line.startswith("not read back") for line in made["not_stated"])
    first = (here / made["file"]).read_bytes()
    assert said(capsys, "hull.toml", *DAY)[0] == 0
    assert (here / made["file"]).read_bytes() == first
    code, checked = said(capsys, "--check", made["file"])
    assert (code, checked["right"], len(checked["answers"])) == (0, True, 3)
    code, checked = said(capsys, "--check", made["file"], "--port", "/dev/box")
    assert (code, checked["right"], len(checked["answers"])) == (0, True, 4)
    code, screen = told(capsys, "--check", made["file"])
    assert code == 0 and "yes: the page and its box file belong together" in screen and "--port" in screen
    assert not list(here.glob("*.new"))


def test_read_back_from_the_box(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, made = said(capsys, "hull.toml", *DAY, "--port", "/dev/box")
    assert (code, made["firmware"], made["not_right"]) == (0, VERSION, [])
    monkeypatch.setattr(Line, "hello", replace(Line.hello, crc="0badc0de"))
    code, screen = told(capsys, "hull.toml", *DAY, "--port", "/dev/box", "-o", "other.html")
    assert code == 1 and "NOT RIGHT: THE BOX DIFFERS FROM THIS PAGE: it runs table 0badc0de" in screen
    assert "THE BOX DIFFERS" in (here / "other.html").read_text()
    code, screen = told(capsys, "--check", "hull.record.html", "--port", "/dev/box")
    assert code == 1 and "NO: the page, its box file and the box do not belong together" in screen


def test_an_edited_page(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "hull.toml", *DAY)[0] == 0
    page = here / "hull.record.html"
    page.write_text(page.read_text().replace("0 US gal and below", "1 US gal and below"))
    code, screen = told(capsys, "--check", "hull.record.html")
    assert code == 1 and "NO   the page was changed after it was written" in screen


def test_compared_with_an_older_page(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "hull.toml", *DAY, "-o", "old.html")[0] == 0
    assert said(capsys, "hull.toml", *DAY, "--compare", "old.html")[1]["changes"] == []
    assert "nothing has changed" in told(capsys, "hull.toml", *DAY, "--compare", "old.html")[1]
    box = here / "hull.toml"
    box.write_text(BOX.replace("[0, 4]", "[0, 5]").replace("[4, 18]", "[5, 18]"))
    code, wrong = said(capsys, "hull.toml", *DAY, "--compare", "old.html")
    assert code == 1 and 'no mark "yellow 0 to 4"' in wrong["error"][0]  # its source must be looked at again
    (here / "hull.papers.toml").write_text(PAPERS.replace("0 to 4", "0 to 5"))
    code, made = said(capsys, "hull.toml", *DAY, "--compare", "old.html")
    assert (
        code == 0
        and "left fuel: yellow [0, 4] to [0, 5] US gal; green [4, 18] to [5, 18] US gal" in made["changes"]
    )


def test_a_starter(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "hull.papers.toml").unlink()
    code, made = said(capsys, "hull.toml", *DAY)
    assert code == 0 and made["not_stated"][0].startswith("papers file: there is none")
    assert said(capsys, "hull.toml", "--starter") == (0, {"file": "hull.papers.toml"})
    code, made = said(capsys, "hull.toml", *DAY)
    assert code == 0 and any("left fuel 3" in line for line in made["not_stated"])
    assert said(capsys, "hull.toml", "--starter")[0] == 2
    assert said(capsys, "hull.toml", "--starter", "--papers", "b.toml") == (0, {"file": "b.toml"})


def test_the_bench(
    here: Path, crc: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [Row("to half", "left fuel", "9", "9", True), Row("to full", "left fuel", "18", "17", False)]
    monkeypatch.setattr(
        benching, "bench", lambda box, stage, show, cruise=True: Report(crc, rows[: 2 - cruise])
    )
    code, made = said(capsys, "hull.toml", *DAY, "--run-bench")
    assert code == 0 and not any(line.startswith("bench") for line in made["not_stated"])
    assert "1 passed, 0 failed" in (here / "hull.record.html").read_text()
    # what `gaugelight bench --json` prints can be read again, and says which table it was of
    monkeypatch.setattr("gaugelight.plots.bench_plot", lambda *what: None)
    assert main(["bench", "--short", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["plot"] == "bench.png", "the demo's, as README has it"
    assert main(["bench", "hull.toml", "--short", "--json"]) == 1
    (here / "bench.json").write_text(capsys.readouterr().out)
    assert json.loads((here / "bench.json").read_text())["plot"] == "hull.bench.png"
    benched = json.loads((here / "bench.json").read_text())
    assert (benched["crc32"], benched["firmware"], benched["short"]) == (crc, VERSION, True)
    code, made = said(capsys, "hull.toml", *DAY, "--bench", "bench.json")
    assert code == 1 and made["not_right"] == ["THE BENCH FAILED: 1 answers of 2"]


def test_a_judgement_of_numpys_goes_into_json() -> None:
    run = object.__new__(benching.Run)
    run.report, run.show = Report(), lambda row: None
    held: Any = np.float64(1) <= 2
    run.judge("to half", "left fuel", "9", "9", held)
    assert json.loads(json.dumps([vars(row) for row in run.report.rows]))[0]["held"] is True


def test_a_session_that_is_missing(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    box = here / "hull.toml"
    points = 'points = [["0 ohm", 0], ["46 ohm", 9.5], ["90 ohm", 18]]'
    marked = 'points = [["0 ohm", 0, 0.2], ["46 ohm", 9.5, 0.3], ["90 ohm", 18, 0.4]]'
    added = 'calibrated = { on = 2026-11-26, session = "left fuel.level.toml", through = "box" }'
    box.write_text(BOX.replace(points, f"{marked}\n{added}"))
    code, made = said(capsys, "hull.toml", *DAY)
    assert code == 1
    assert (
        made["not_right"][0].startswith("CALIBRATION OF LEFT FUEL: ")
        and "left fuel.level.toml" in made["not_right"][0]
    )
    assert said(capsys, "--check", "hull.record.html")[0] == 0  # the page is as it was written


MISUSES: dict[str, tuple[list[str], str]] = {
    "nothing named": ([], "name a box file: gaugelight record BOX"),
    "no box file": (["none.toml"], "none.toml: cannot be read"),
    "a page as box file": (["bad.html"], "bad.html:1: TOML"),
    "check and write": (["hull.toml", "--check", "x.html"], "--check PAGE stands alone, or with --port; leave out hull.toml"),
    "check and compare": (["--check", "x.html", "--compare", "y.html"], "leave out --compare"),
    "check nothing": (["--check", "none.html"], "none.html: cannot be read"),
    "check something else": (["--check", "hull.toml"], "hull.toml: is no page that `gaugelight record` made"),
    "compare with something else": (["hull.toml", "--compare", "hull.toml"], "hull.toml: is no page"),
    "over the page compared with": (["hull.toml", "--compare", "hull.record.html"], "would be written over hull.record.html"),
    "no page's name": (["hull.toml", "-o", "record.pdf"], "name it record.html"),
    "over the box file": (["hull.toml", "-o", "hull.toml"], "the page is HTML"),
    "a folder that is not there": (["hull.toml", "-o", "none/x.html"], "none/x.html: cannot be written"),
    "no papers": (["hull.toml", "--papers", "none.toml"], "none.toml: cannot be read"),
    "no bench": (["hull.toml", "--bench", "none.json"], "none.json: cannot be read"),
    "another JSON": (["hull.toml", "--bench", "other.json"], "other.json: is no result of a bench; write one with"),
    "no JSON": (["hull.toml", "--bench", "hull.toml"], "is no result of a bench"),
    "both benches": (["hull.toml", "--bench", "other.json", "--run-bench"], "leave one of them out"),
    "starter and page": (["hull.toml", "--starter", "-o", "x.html"], "leave out -o"),
    "no date": (["hull.toml", "--date", "26.11.2026"], "write it as 2026-11-26"),
}  # fmt: skip


@pytest.mark.parametrize(("argv", "message"), MISUSES.values(), ids=MISUSES)
def test_misuse(argv: list[str], message: str, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "other.json").write_text('{"rows": 3}')
    (here / "bad.html").write_text("<html>")
    before = {path.name: path.read_bytes() for path in here.iterdir()}
    code, wrong = said(capsys, *argv)
    assert code in (1, 2) and message in " ".join(wrong["error"]), wrong
    assert {path.name: path.read_bytes() for path in here.iterdir()} == before


def test_without_the_boxs_interpreter(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(built: Build) -> list[Picture]:
        raise Wrong("the face is drawn by the box's own interpreter: pip install 'gaugelight[bench]'")

    monkeypatch.setattr(gather, "face_pictures", none)
    code, screen = told(capsys, "hull.toml", *DAY)
    assert code == 0 and "no pictures of the face: the face is drawn by" in screen
    assert "The face</h2>" not in (here / "hull.record.html").read_text()


def test_pictures_of_the_face_are_dark_on_light(tmp_path: Path) -> None:
    drawn = Drawn(("#" + "." * 127,) * 64, 255, (), 0, 1)
    greys = []
    for name, paper in (("lit", False), ("paper", True)):
        (tmp_path / name).write_bytes(png(drawn, 2, 0, paper))
        with Image.open(tmp_path / name) as picture:
            greys.append(picture.tobytes())
    assert bytes(255 - grey for grey in greys[0]) == greys[1]
    assert greys[1][0] == 0 and greys[1][-1] > 240


def test_each_page_of_the_face_is_drawn() -> None:
    pytest.importorskip("micropython_unix", reason="the face is drawn by the box's interpreter")
    pictures = face_pictures(build(read_box(DEMO)))
    assert [one.says.partition(",")[0] for one in pictures] == [f"page {k} of 5" for k in range(1, 6)]
    assert all(one.png.startswith(b"\x89PNG") for one in pictures)
    assert len({one.png for one in pictures}) == 5
