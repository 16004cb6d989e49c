"""The sheet as rows, CSV and pages, and the command that makes it."""

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from gaugelight.boxfile import Box, box_of_text
from gaugelight.cli import main
from gaugelight.dial import Circle, Drawing, Line, Words, svg
from gaugelight.harness.cables import wiring_of
from gaugelight.harness.check_harness import run_ohms
from gaugelight.harness.drawing import (
    HEIGHT,
    MARGIN,
    MEAN_LETTER,
    WIDTH,
    contact,
    in_letters,
    pages,
    wiring_side_words,
)
from gaugelight.harness.sheet import COLUMNS, SAYS, Mark, Row, csv_text, rows_of
from harness_example import BOX, changed

EXAMPLE = box_of_text("hull.toml", BOX)


def rows(box: Box = EXAMPLE) -> list[Row]:
    return rows_of(wiring_of(box))


def drawn(box: Box = EXAMPLE) -> list[Drawing]:
    return pages(wiring_of(box), rows(box), [], ["a note"], ["a field"])


ROWS = {
    "J1-1": ("left fuel", "wire", "22", "3.2", "yes", "J1-9", "left tank", "fuel", "0.024", ""),
    "J1-2": ("guard", "guard", "", "", "", "", "", "", "", ""),
    "J1-4": ("", "free", "", "", "", "", "", "", "", ""),
    "J1-5": ("hydraulic", "bus", "22", "4", "", "", "engine", "engine", "0.021", ""),
    "J2-1": ("bus", "bus", "20", "0.6", "", "J2-2", "supply", "", "", "3"),
    # 400 mA at 12 V behind 8.9 V of diodes, at 16 V: 0.4 (16 - 8.9)/(12 - 8.9) = 0.92 A
    "J3-1": ("strip feed", "bus", "20", "0.6", "", "J3-3", "supply", "", "0.92", "2"),
    "J3-2": ("strip plus", "bus", "22", "2", "yes", "J3-4", "strip", "lamps", "0.92", "2"),
    "J3-3": ("lamp ground", "wire", "20", "0.6", "", "", "supply", "", "0.92", "3"),
    "J3-6": ("knob wiper", "wire", "24", "0.3", "", "", "panel", "", "", ""),
}


@pytest.mark.parametrize("place", ROWS)
def test_a_row(place: str) -> None:
    row = next(row for row in rows() if f"{row.connector}-{row.pin}" == place)
    said = (
        row.use,
        row.mark,
        row.gauge,
        row.length,
        row.twisted,
        row.returns,
        row.cable,
        row.bundle,
        row.amperes,
        row.fuse,
    )
    assert said == ROWS[place]


def test_every_pin_stands_there_once_and_in_order() -> None:
    pins = [(row.connector, row.pin) for row in rows()]
    assert pins == [
        (name, n) for name, ways in (("J1", 15), ("J2", 2), ("J3", 10)) for n in range(1, ways + 1)
    ]


def test_what_passes_the_box_by_comes_last() -> None:
    text = changed(('carries = ["oil", "hydraulic"]', 'carries = ["oil", "hydraulic", "hydraulic supply"]'))
    last = rows(box_of_text("hull.toml", text))[-1]
    assert (last.connector, last.pin, last.use, last.cable, last.mark) == (
        "",
        0,
        "hydraulic supply",
        "engine",
        "bus",
    )


def test_the_csv_says_what_the_rows_say() -> None:
    read = list(csv.reader(io.StringIO(csv_text(rows()))))
    assert read[0] == list(COLUMNS) and not any("colour" in head for head in COLUMNS)
    assert read[1:] == [list(row.cells) for row in rows()]
    assert dict(zip(COLUMNS, read[1]))["shield"] == "shell at J1, open at the tank"


def test_a_lamps_run_has_the_resistance_of_its_table() -> None:
    """The worse of stranded wire (FAA AC 43.13-1B, table 11-9: AWG 22 16.20 ohm per 1000 ft) and solid (NBS Handbook 100: AWG 20 10.15);
    plus and minus, feed and ground."""
    (lamp,) = EXAMPLE.lights.lamps
    feet = 0.3048
    expected = 4 / feet * 16.20e-3 + 1.2 / feet * 10.15e-3
    assert run_ohms(lamp, wiring_of(EXAMPLE)) == pytest.approx(expected, rel=1e-3)


LETTERS = {
    # sockets in the box, so pins in the harness; from behind these their numbers run from right to left
    "J1": [" .    .    .    5    .    3   [2]   1", "   .    .    .    .    11  [10]   9"],
    "J2": ["1    2"],
    # pins in the box, sockets in the harness: from behind as from in front of the pins, pin 1 down at the left
    "J3": ["2    4    6    8    10", "1    3    5    7    ."],
}


@pytest.mark.parametrize("name", LETTERS)
def test_a_connector_in_letters(name: str) -> None:
    connector = next(one for one in wiring_of(EXAMPLE).harness.connectors if one.name == name)
    lines = in_letters(connector, [row for row in rows() if row.connector == name])
    assert [line.split() for line in lines] == [line.split() for line in LETTERS[name]]
    if name == "J1":  # half a contact farther in
        assert len(lines[1]) - len(lines[1].lstrip()) > len(lines[0]) - len(lines[0].lstrip())
        assert wiring_side_words(connector).endswith(
            "a plug with pins, from its wiring side (solder or crimp), wide row up: pin 1 is at the right"
        )
    if name == "J3":
        assert wiring_side_words(connector).endswith("row with pin 1 down: pin 1 is at the left")


def test_the_drawing_has_each_number_where_one_sees_it() -> None:
    """Of J1: 15 ways, harness half with pins, from behind: 8 to 1 above, 15 to 9 below, as in front of sockets."""
    shapes = drawn()[0].shapes
    upper = next(s.place[1] for s in shapes if isinstance(s, Words) and s.centred and s.text == "1")
    numbers = [
        s
        for s in shapes
        if isinstance(s, Words) and s.centred and s.text.isdigit() and s.place[1] < upper + 15
    ]
    above = [int(s.text) for s in sorted(numbers, key=lambda s: s.place[0]) if s.place[1] == upper]
    below = [int(s.text) for s in sorted(numbers, key=lambda s: s.place[0]) if s.place[1] > upper]
    assert (above, below) == ([8, 7, 6, 5, 4, 3, 2, 1], [15, 14, 13, 12, 11, 10, 9])


def test_marks_differ_in_shape() -> None:
    def kinds(mark: Mark) -> object:
        made = contact((0, 0), 3.0, mark, "")
        lines = [(s.start, s.end) for s in made if isinstance(s, Line)]
        return sum(isinstance(s, Circle) for s in made), tuple(lines)

    assert len({kinds(mark) for mark in SAYS}) == len(SAYS)
    assert all(
        s.colour == "#000000"
        for mark in SAYS
        for s in contact((0, 0), 3.0, mark, "")
        if isinstance(s, (Line, Circle))
    )


BIG = changed(
    ('kind = "header 2x5"', 'kind = "header 2x20"'), ('"engine, sender and transmitter"', f'"{"far " * 17}"')
)


WIDE = changed(('kind = "header 2x5"', 'kind = "block 24"'))


@pytest.mark.parametrize("text", [BOX, BIG, WIDE])
def test_pages_are_of_a4_and_nothing_leaves_them(text: str) -> None:
    box = box_of_text("hull.toml", text)
    many = [
        "a long line of words that goes on and on, as those of a problem do, until it fills the sheet " * 2
    ] * 40
    for page in pages(wiring_of(box), rows(box), many, many, many):
        root = ET.fromstring(svg(page))
        assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
        for shape in page.shapes:
            if isinstance(shape, Words):
                x, y = shape.place
                assert y < HEIGHT - MARGIN + 3
                left = x - MEAN_LETTER * shape.size * len(shape.text) / 2 if shape.centred else x
                assert (
                    MARGIN / 2 < left
                    and left + MEAN_LETTER * shape.size * len(shape.text) < WIDTH - MARGIN / 2
                ), shape.text
                assert shape.size > 1.7 or shape.text.isdigit(), shape.text
            elif isinstance(shape, Line):
                for x, y in (shape.start, shape.end):
                    assert MARGIN - 0.01 < x < WIDTH - MARGIN + 0.01 and 0 < y < HEIGHT - MARGIN + 3


@pytest.mark.parametrize("text", [BOX, BIG, WIDE])
def test_nothing_stands_on_anything(text: str) -> None:
    """Words by their boxes: as wide as their letters are on the mean, as high as a capital."""
    box = box_of_text("hull.toml", text)
    for page in pages(wiring_of(box), rows(box), ["wrong"], ["a note"], ["a field"]):
        boxes = []
        for shape in page.shapes:
            if isinstance(shape, Words):
                (x, y), wide, high = shape.place, 0.5 * shape.size * len(shape.text), 0.7 * shape.size
                left = x - wide / 2 if shape.centred else x
                boxes.append((left, left + wide, y - high / 2, y + high / 2, shape.text))
            elif isinstance(shape, Circle):
                (x, y), r = shape.centre, shape.radius
                boxes.append((x - r, x + r, y - r, y + r, "ring"))
        for k, (a1, a2, b1, b2, one) in enumerate(boxes):
            for c1, c2, d1, d2, other in boxes[:k]:
                inside = "ring" in (one, other) and (one.isdigit() or other.isdigit() or one == other)
                assert inside or a2 <= c1 or c2 <= a1 or b2 <= d1 or d2 <= b1, (one, other)


@pytest.mark.parametrize("text", [BOX, BIG, WIDE])
def test_the_contacts_lie_within_the_shell(text: str) -> None:
    box = box_of_text("hull.toml", text)
    sheet = [shape for page in pages(wiring_of(box), rows(box), [], [], []) for shape in page.shapes]
    shells = [k for k, shape in enumerate(sheet) if isinstance(shape, Line) and shape.width == 0.5][::4]
    for k, connector in zip(shells, wiring_of(box).harness.connectors, strict=True):
        sides = [shape for shape in sheet[k : k + 4] if isinstance(shape, Line)]
        corners = [side.start for side in sides]
        assert [side.end for side in sides] == [*corners[1:], corners[0]]
        left, right = max(corners[0][0], corners[3][0]), min(corners[1][0], corners[2][0])
        numbers = [shape for shape in sheet[k:] if isinstance(shape, Words) and shape.centred][
            : connector.shape.ways
        ]
        assert sorted(int(shape.text) for shape in numbers) == list(range(1, connector.shape.ways + 1))
        for x, y in (shape.place for shape in numbers):
            assert left + 2 < x < right - 2 and corners[0][1] + 2 < y < corners[2][1] - 2


@pytest.mark.parametrize("mark", SAYS)
def test_a_mark_stays_about_its_contact(mark: Mark) -> None:
    for shape in contact((50.0, 80.0), 3.0, mark, "7"):
        for x, y in [shape.start, shape.end] if isinstance(shape, Line) else []:
            assert 1.5 < ((x - 50) ** 2 + (y - 80) ** 2) ** 0.5 < 4
        assert not isinstance(shape, Circle) or shape.centre == (50.0, 80.0) and 2 < shape.radius <= 3


def test_every_pin_and_every_word_is_on_a_page() -> None:
    words = [shape.text for page in drawn() for shape in page.shapes if isinstance(shape, Words)]
    whole = " ".join(words)
    for row in rows():
        if row.use and row.mark != "guard":
            assert row.use in whole, row.use
    assert "J1: D-sub 15; sockets in the box" in words and "J2: block 2" in words
    assert "a note" in words and "a field" in words and "[" not in whole
    assert "no circuit in the box limits what chafes" in whole and "ring out every wire" in whole


def test_no_connector_is_torn_apart() -> None:
    """Each begins on the page where its last pin stands."""
    for page in drawn(box_of_text("hull.toml", BIG)):
        words = [s.text for s in page.shapes if isinstance(s, Words)]
        for name, last in (("J1", "15"), ("J3", "40")):
            if any(text.startswith(f"{name}: ") for text in words):
                assert last in words


# -- the command


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "hull.toml"
    path.write_text(BOX)
    return path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["wiring", *words])
    out, err = capsys.readouterr()
    return code, out, err


def test_it_shows_the_sheet(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = said(capsys, str(file))
    assert code == 0 and err == ""
    assert (
        "J1: D-sub 15; the harness's half, a plug with pins" in out
        and "left tank, sender stud and body" in out
    )
    assert "ring out every wire" in out and "compass" not in out


def test_it_shows_one_connector(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, str(file), "--connector", "J2")
    assert code == 0 and "J2: block 2" in out and "J1:" not in out and "left tank" not in out


def test_it_says_the_field(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0.4 (14.2 - 8.9)/(12 - 8.9) A over 2 m at 0.6 m, alone: mu0 I/(2 pi r) sin(atan(1/0.6))."""
    code, out, _ = said(capsys, str(file), "--compass", "0.6 m", "--json")
    made = json.loads(out)["compass"]
    strip = next(run for run in made["runs"] if run["name"] == "strip")
    assert code == 0 and (made["distance_m"], made["horizontal_ut"], strip["laid"]) == (
        0.6,
        20.0,
        "twisted pair",
    )
    amperes = 0.4 * 5.3 / 3.1
    assert strip["ut"]["single wire"] == pytest.approx(0.2 * amperes / 0.6 * 1 / (1 + 0.36) ** 0.5, rel=1e-3)
    assert strip["degrees"]["single wire"] == pytest.approx(
        strip["ut"]["single wire"] / 20 * 57.2958, rel=1e-3
    )
    code, out, _ = said(capsys, str(file), "--compass", "2 ft")
    assert (
        code == 0
        and "0.6096 m from the wiring" in out
        and "horizontal field 20 uT" in out
        and "swing the compass" in out
    )


def test_the_file_says_how_far_the_compass_is(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(BOX + '\n[compass]\ndistance = "30 cm"\nhorizontal = "15 uT"\n')
    _, out, _ = said(capsys, str(file), "--json")
    made = json.loads(out)["compass"]
    assert (made["distance_m"], made["horizontal_ut"]) == (0.3, 15.0)
    _, out, _ = said(capsys, str(file), "--json", "--compass", "1 m")
    assert json.loads(out)["compass"]["distance_m"] == 1.0


def test_a_compass_that_is_turned_too_far_ends_it_with_1(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0.68 A at 5 cm: alone 2.73 uT, the feed and its ground 10 mm apart 0.55: 41 degrees in 5 uT, 9.5 in 20."""
    airframe = 'gauge = 22\nlength = "2 m"\nreturn = "airframe"\n'
    text = changed(
        ('gauge = 22\nlength = "2 m"\n', airframe), ('wire = { gauge = 22, length = "2 m" }\n', "")
    )
    file.write_text(text + '\n[compass]\ndistance = "5 cm"\nhorizontal = "5 uT"\n')
    code, _, err = said(capsys, str(file))
    line = file.read_text().split("\n").index('name = "strip"', 100)
    what = "the lamps' wiring may turn the compass by 41 degrees, 10 at most"
    assert code == 1 and f"{file}:{line}: compass: {what}; twist plus and minus of strip" in err
    file.write_text(text + '\n[compass]\ndistance = "5 cm"\n')
    assert said(capsys, str(file))[0] == 0


def test_what_is_wrong_ends_it_with_1_and_stands_on_the_sheet(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file.write_text(changed(('2 = "guard"', '2 = "spare: relay"')))
    target = file.parent / "sheet.svg"
    code, out, err = said(capsys, str(file), "-o", str(target))
    assert code == 1 and f"{file}:59: J1-1: left fuel goes into a fuel tank" in err
    page = target.read_text()
    assert "NOT RIGHT: 2 problems" in page
    code, out, err = said(capsys, str(file), "--json")
    made = json.loads(out)
    assert (
        code == 1
        and err == ""
        and [problem["line"] for problem in made["problems"]] == [59, 60]
        and len(made["error"]) == 2
    )
    assert main(["check", str(file)]) == 1
    checked = capsys.readouterr()
    assert "J1-1: left fuel goes into a fuel tank" in checked.err
    assert "no problem found" not in checked.out and "what a fault will show" in checked.out


def test_it_writes_pages_and_csv(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, str(file), "-o", str(file.with_suffix(".svg")), "--json")
    files = json.loads(out)["files"]
    assert (
        code == 0
        and files == [str(file.parent / f"hull{k}.svg") for k in ("", "_2", "_3")[: len(files)]]
        and len(files) > 1
    )
    assert all(ET.parse(name).getroot().tag.endswith("svg") for name in files)
    code, out, _ = said(capsys, str(file), "-o", str(file.with_suffix(".svg")), "--connector", "J2", "--json")
    made = json.loads(out)
    assert made["files"] == files[:1] and made["old_pages"] == files[1:]
    code, out, _ = said(capsys, str(file), "-o", str(file.with_suffix(".csv")), "--json")
    assert code == 0 and file.with_suffix(".csv").read_text() == csv_text(rows())


def test_a_file_without_connectors(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(BOX[: BOX.index("[connector.J1]")])
    code, out, err = said(capsys, str(file), "--compass", "0.6 m")
    assert code == 0 and "no connectors are described" in out and "strip, 0.68 A over 2 m" in out
    assert "how it is laid is not stated" in out
    code, out, err = said(capsys, str(file), "-o", str(file.with_suffix(".svg")))
    assert code == 2 and "describes no connector" in err


MISUSE = {
    "no such connector": (["--connector", "J7"], "there is no connector J7; there is: J1, J2, J3"),
    "nearly": (["--connector", "J11"], 'there is no connector J11; did you mean "J1"?'),
    "no such picture": (
        ["-o", "sheet.png"],
        "sheet.png: no sheet can be written there; name a .svg or a .csv",
    ),
    "no such folder": (["-o", "nowhere/sheet.svg"], "nowhere/sheet.svg: no sheet can be written there"),
    "compass without a unit": (["--compass", "0.6"], '--compass: "0.6" has no unit; write "0.6 m"'),
    "compass in the wiring": (["--compass", "1 mm"], '--compass: "1 mm" must lie between 5 cm and 20 m'),
}


@pytest.mark.parametrize("name", MISUSE)
def test_misuse(name: str, file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words, what = MISUSE[name]
    code, out, err = said(capsys, str(file), *words)
    assert code == 2 and what in err and re.search("Traceback", err) is None
