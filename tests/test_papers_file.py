"""The papers file: what is wrong in it is told by line and with its cure; a starter is right for every box."""

import re
from fractions import Fraction
from pathlib import Path

import pytest

from gaugelight.boxfile import Box, read_box
from gaugelight.cli import DEMO, STARTER
from gaugelight.papers.papers_file import Papers, default_path, filled, mark_name, read_papers
from gaugelight.papers.starter import starter
from gaugelight.problems import Misuse, WrongBoxFile

HERE = Path(__file__).parent
BOXES = [DEMO, STARTER, *(HERE / f"{name}.toml" for name in ("senders", "face", "marked"))]
PAPERS = default_path(DEMO)


@pytest.fixture(scope="module")
def demo() -> Box:
    return read_box(DEMO)


def of(text: str, box: Box, folder: Path) -> Papers:
    path = folder / "papers.toml"
    path.write_text(text, encoding="utf-8")
    return read_papers(path, box)


# what is written, the line and the words of the complaint
WRONGS = {
    "a table misspelt": ('[aircaft]\nname = "x"', "1: aircaft", 'did you mean "aircraft"'),
    "a key misspelt": ('[aircraft]\nregistraton = "x"', "2: aircraft, registraton", 'did you mean "registration"'),
    "no quotes": ("[aircraft]\nname = amphibian", "2: TOML", "a text stands in quotes"),
    "a number for words": ("[aircraft]\nname = 7", "2: aircraft, name", "must be a text in quotes"),
    "unprintable": ('[aircraft]\nname = "a\\u0007"', "2: aircraft, name", "cannot be printed"),
    "one item in one bracket": ('[installed]\nitem = "x"', "1: installed", "write each one under [[installed]]"),
    "an item without a name": ("[[installed]]", "1: installed 1", "item is missing"),
    "a weight without a unit": ('[balance]\ndatum = "x"\n[[installed]]\nitem = "x"\nweight = 2', "5: installed 1, weight", 'write "2 kg"'),
    "a weight in metres": ('[balance]\ndatum = "x"\n[[installed]]\nitem = "x"\nweight = "2 m"', "5: installed 1, weight", "usable here: kg, lb"),
    "arms from nowhere": ('[[installed]]\nitem = "x"\narm = "2 m"', "1: balance", "arms are from which place?"),
    "half of before": ('[balance]\ndatum = "x"\nbefore = { weight = "400 kg" }', "3: balance, before", 'arm = "2.31 m"'),
    "an aircraft that weighs nothing": ('[balance]\ndatum = "x"\nbefore = { weight = "0 kg", arm = "1 m" }', "3: balance, before", "more than 0"),
    "no capacity": ('[battery]\nstate = "80 %"\ncold = "70 %"', "1: battery", "capacity is missing"),
    "a capacity in A": ('[battery]\ncapacity = "18 A"\nstate = "80 %"\ncold = "70 %"', "2: battery, capacity", "usable here: Ah"),
    "nothing left": ('[battery]\ncapacity = "18 Ah"\nstate = "0 %"\ncold = "70 %"', "3: battery, state", "is none"),
    "more than all of it": ('[battery]\ncapacity = "18 Ah"\nstate = "180 %"\ncold = "70 %"', "3: battery, state", "between 0 % and 100 %"),
    "by an input that is not there": ('[battery]\ncapacity = "1 Ah"\nstate = "1 %"\ncold = "1 %"\nnight = { "lightning bus" = "5 V" }', "5: battery, night", 'did you mean "lighting bus"'),
    "a knob beyond its end": ('[battery]\ncapacity = "1 Ah"\nstate = "1 %"\ncold = "1 %"\nnight = { knob = "130 %" }', "5: battery, night", "0 to 100 per cent"),
    "a load that takes nothing": ('[[essential]]\nload = "radio"\ncurrent = "0 A"', "3: essential 1, current", "more than 0"),
    "limits of nobody": ('[limits."left fule"]\n"red 0 and below" = "x"', "1: limits of left fule", 'did you mean "left fuel"'),
    "a limit that was moved": ('[limits.bus]\n"red 11 and below" = "x"', "2: limits of bus, red 11 and below", 'did you mean "red 11.5 and below"'),
    "limits without names": ("limits = 3", "1: limits", "one for each readout"),
    "an alert that is gone": ('[alerts]\n"COOLANT LOSS" = "x"', "2: alerts, COOLANT LOSS", 'did you mean "COOLANT LOST"'),
    "a watch that is none": ('[watches]\n"hydraulic" = "x"', "2: watches, hydraulic", "there is: left fuel, right fuel, usable fuel, reserve"),
    "a phase of no flight": ('[[test]]\ndo = "x"\nphase = "water"', "3: test 1, phase", "ground, flight"),
    "filled in with nothing": ('[logbook]\nwords = "{registraton}"', "2: logbook, words", 'did you mean "registration"'),
    "nobody signs": ('[[signature]]\nsays = "x"', "1: signature 1", "role is missing"),
    "signed with one word": ('[[signature]]\nrole = "x"\nfields = "name"', "3: signature 1, fields", 'such as ["name", "date"]'),
}  # fmt: skip


@pytest.mark.parametrize(("text", "where", "cure"), WRONGS.values(), ids=WRONGS)
def test_what_is_wrong_is_told(text: str, where: str, cure: str, demo: Box, tmp_path: Path) -> None:
    with pytest.raises(WrongBoxFile) as wrong:
        of(text, demo, tmp_path)
    assert len(wrong.value.lines) == 1, wrong.value.lines
    assert wrong.value.lines[0].startswith(f"{tmp_path / 'papers.toml'}:{where}")
    assert cure in wrong.value.lines[0]


def test_every_problem_is_told_at_once(demo: Box, tmp_path: Path) -> None:
    with pytest.raises(WrongBoxFile) as wrong:
        of('[aircraft]\nnam = "x"\n[logbook]\nword = "x"\n[[essential]]\nload = "x"', demo, tmp_path)
    assert [line.split(":")[1] for line in wrong.value.lines] == ["2", "4", "5"]


def test_a_file_that_is_none(demo: Box, tmp_path: Path) -> None:
    with pytest.raises(Misuse, match="cannot be read"):
        read_papers(tmp_path / "none.toml", demo)
    (tmp_path / "image.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(WrongBoxFile, match="UTF-8"):
        read_papers(tmp_path / "image.toml", demo)


@pytest.mark.parametrize("box_file", BOXES, ids=[path.stem for path in BOXES])
def test_a_starter_is_right_and_lists_everything(box_file: Path, tmp_path: Path) -> None:
    box = read_box(box_file)
    text = starter(box, box_file.name)
    papers = of(text, box, tmp_path)
    for name, _, markings in box.shown:
        for mark in markings.marks:
            assert mark_name(mark) in papers.limits[name]
            assert papers.source(name, mark) == ""
    assert list(papers.alerts) == [rule.words for rule in box.face.alerts]
    named = " ".join(item.name for item in papers.installed)
    assert all(lamp.name in named for lamp in box.lights.lamps)
    assert text.count("#") > 15


@pytest.mark.parametrize("box_file", BOXES, ids=[path.stem for path in BOXES])
def test_a_starter_with_its_marks_taken_away_is_right_too(box_file: Path, tmp_path: Path) -> None:
    """What is commented out is meant to be used."""
    box = read_box(box_file)
    text = re.sub(r"^# (?=(\[\[?[a-z]+\]|[a-z]+ = ))", "", starter(box, box_file.name), flags=re.M)
    text = text.replace('datum = ""', 'datum = "the tip of the bow"')
    papers = of(text, box, tmp_path)
    assert papers.battery is not None and papers.battery.capacity == 18
    assert papers.essential[0].share == Fraction(1, 10)
    assert papers.before is not None and papers.installed[0].weight is not None


def test_the_demo_states_all_but_one_source(demo: Box) -> None:
    papers = read_papers(PAPERS, demo)
    without = [
        f"{name} {mark_name(mark)}"
        for name, _, markings in demo.shown
        for mark in markings.marks
        if not papers.source(name, mark)
    ]
    assert without == ["boil margin red 5 and below"]
    assert all(papers.alerts.values()) and all(papers.watches.values())


def test_wording_is_filled_in() -> None:
    assert (
        filled("{box}: table {table}, {firmware}", {"box": "hull", "table": "12ab"})
        == "hull: table 12ab, ____________"
    )
