"""The page: whole, well-formed, self-contained, complete; what changed since another; whether it is of a box."""

import json
import re
import xml.etree.ElementTree as ElementTree
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox import VERSION
from gaugelight.box_line import Hello
from gaugelight.box_values import Calibrated
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.calibration.results import Faced, Result, Taken
from gaugelight.calibration.session import Amount, Point, Session
from gaugelight.cli import DEMO, STARTER
from gaugelight.laws import Points
from gaugelight.papers import words
from gaugelight.papers.data import held_in
from gaugelight.papers.facts import (
    Calibration,
    Facts,
    Picture,
    ReadBack,
    Since,
    TextFile,
    not_right,
    not_stated,
)
from gaugelight.papers.gather import bench_result, facts_of, other_points
from gaugelight.papers.markup import tag
from gaugelight.papers.page import NO_SUM, page, sum_of
from gaugelight.papers.papers_file import Papers, default_path, mark_name, read_papers
from gaugelight.papers.since import since
from gaugelight.papers.verify import Answer, answers, is_whole
from gaugelight.problems import Misuse

HERE = Path(__file__).parent
DAY = date(2026, 11, 26)


def gathered(text: str, folder: Path, papers: Papers | str = Papers(), **more: object) -> Facts:
    """Of a box file's text, and of a papers file's."""
    path = folder / "box.toml"
    path.write_text(text, encoding="utf-8")
    box = read_box(path)
    if isinstance(papers, str):
        (folder / "box.papers.toml").write_text(papers, encoding="utf-8")
        papers = replace(read_papers(folder / "box.papers.toml", box), file="box.papers.toml")
    return facts_of(build(box), TextFile("box.toml", text), papers, DAY, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Facts:
    facts = gathered(DEMO.read_text(), tmp_path_factory.mktemp("demo"), default_path(DEMO).read_text())
    return replace(facts, faces=(Picture("page 1", b"\x89PNG"),), bench=bench_result(BENCH))


@pytest.fixture(scope="module")
def written(demo: Facts) -> str:
    return page(demo)


BENCH = {
    "crc32": "2c1d146c",
    "firmware": "0.3.0",
    "short": False,
    "rows": [
        {"action": "to half", "subject": "left fuel", "should": "9", "said": "9", "held": True},
        {"action": "to half", "subject": "right fuel", "should": "9", "said": "9", "held": True},
    ],
}
WRONG_ROW = {"action": "to <half>", "subject": "left fuel", "should": "9 & more", "said": "7", "held": False}
HELLO = Hello(
    "0.3.0", 1, "hull console", "SERVICE", "slot_a", 1, "2c1d146c", 10, 8, 1000, "", "8648088e", "", "", ""
)


def tree(text: str) -> ElementTree.Element:
    """The page as XML: whatever is not closed or not escaped does not get through."""
    assert text.startswith('<!DOCTYPE html>\n<html lang="en">')
    return ElementTree.fromstring(text)


def seen(text: str) -> str:
    """What a reader sees, all white space one space; without the files in the appendix and the JSON."""
    body = tree(text).find("body")
    assert body is not None
    found: list[str] = []

    def walk(one: ElementTree.Element) -> None:
        if one.tag in ("script", "pre", "style"):
            return
        found.append(one.text or "")
        for child in one:
            walk(child)
            found.append(child.tail or "")
        if one.tag in ("td", "th", "p", "li", "dd", "dt", "h1", "h2", "h3", "caption", "br"):
            found.append(" ")

    walk(body)
    return " ".join("".join(found).split())


# --- whole and well-formed ---

BOXES = [DEMO, STARTER, *(HERE / f"{name}.toml" for name in ("senders", "face", "marked"))]


@pytest.mark.parametrize("box_file", BOXES, ids=[path.stem for path in BOXES])
def test_every_box_has_a_page_that_states_it(box_file: Path, tmp_path: Path) -> None:
    facts = gathered(box_file.read_text(encoding="utf-8"), tmp_path)
    text = page(facts)
    told = seen(text)
    for one in facts.box.inputs:
        assert f"{one.name} {words.pin(one.converter)} {words.circuit(one.circuit)}" in told
        for signal, reading in words.points(one):
            assert signal in told and reading in told
    for name, unit, markings in facts.box.shown:
        for mark in markings.marks:
            where = f"{mark.colour.upper()} {words.mark(mark, unit)} {mark.says or ''}".strip()
            assert f"{where} no source stated" in told
    for lamp in facts.box.lights.lamps:
        fuse = "not stated" if lamp.fuse is None else f"{float(lamp.fuse):g} A"
        assert re.search(
            rf"{re.escape(lamp.name)} GP{lamp.pin} (?!lamp)[^,]*(, [0-9.]+ m and back )?{fuse}", told
        )
    for switch in facts.box.lights.switches:
        assert f"{switch.name} GP{switch.pin} switch" in told
    for needle in facts.box.face.needles:
        assert f"{needle.name} GP{needle.pin} needle, follows {needle.follows}" in told
    for rule in facts.box.face.alerts:
        assert f"{rule.words} {rule.urgency}" in told
    assert facts.crc in told and "Advisory only." in told


def test_what_the_papers_file_says_is_there(demo: Facts, written: str) -> None:
    told, papers = seen(written), demo.papers
    for item in papers.installed:
        assert (
            f"{item.name} {item.part} {item.place} {float(item.weight.value if item.weight else 0):.2f}".replace(
                "  ", " "
            )
            in told
        )
    for name, unit, markings in demo.box.shown:
        for mark in markings.marks:
            source = papers.source(name, mark) or "no source stated"
            assert f"{words.mark(mark, unit)} {mark.says or ''} ".replace("  ", " ") + source in told
    for alert, source in papers.alerts.items():
        assert alert in told and source in told
    for placard in papers.placards:
        assert " ".join(placard.words.split()) in told and placard.place in told
    for trial in papers.trials:
        assert f"{trial.do} {trial.expect}" in told
    for signature in papers.signatures:
        assert signature.role in told and all(field in told for field in signature.fields)
    assert (
        'XX-DEMO: readout box and light dimmer "hull console" installed, table 2c1d146c, firmware ____________.'
        in told
    )
    assert "together 1.30 2.998 3.90" in told  # by hand: 3.897 kg m / 1.3 kg
    assert "403.30 2.316 934.12" in told  # by hand: 402 x 2.314 = 930.228, and 3.897
    assert "16 Ah x 80 % x 70 % = 8.96 Ah" in told


def test_loops_state_where_they_have_failed(written: str) -> None:
    # NAMUR NE 43: measuring from 3.8 to 20.5 mA, failure at 3.6 and 21 mA
    assert "4 to 20 mA, straight; measures 3.8 to 20.5 mA, failed at 3.6 and 21" in seen(written)


def test_ground_comes_before_flight(written: str) -> None:
    told = seen(written)
    own = [
        told.index(what)
        for what in ("on the ground", "waves on the beam", "in flight do", "gear up and down three times")
    ]
    assert own == sorted(own)


def test_attributes_are_escaped() -> None:
    assert (
        tag("img", alt="a \"b\" <c> & 'd'") == '<img alt="a &quot;b&quot; &lt;c&gt; &amp; &#x27;d&#x27;" />'
    )


LISTED = ((0.0, 0.0, 0.2), (46.0, 9.5, 0.3), (90.0, 18.0, 0.4))


@pytest.mark.parametrize(
    ("listed", "says"),
    [
        (LISTED, ""),
        (LISTED[::-1], ""),
        (((0.0, 0.0, 0.2), (46.0, 9.6, 0.3), (90.0, 18.0, 0.4)), "NOT WHAT THESE TOOLS MAKE OF ITS SESSION"),
        (((0.0, 0.0, 0.2), (46.0, 9.5, 0.2), (90.0, 18.0, 0.4)), "NOT WHAT THESE TOOLS MAKE OF ITS SESSION"),
        (LISTED[:2], "NOT WHAT THESE TOOLS MAKE OF ITS SESSION"),
        ((), "PARKED ATTITUDE"),
    ],
    ids=["alike", "falling", "a reading", "a plus or minus", "one less", "parked"],
)
def test_points_and_session_belong_together(
    listed: tuple[tuple[float, float, float], ...], says: str, demo: Facts
) -> None:
    points = tuple((Fraction(signal), Fraction(str(reading))) for signal, reading, _ in LISTED)
    done = Calibrated(DAY, "x.toml", "box", tuple(Fraction(str(off)) for *_, off in LISTED))
    told = other_points(replace(demo.box.inputs[1], law=Points(points), calibrated=done), listed)
    assert says in told and bool(says) == bool(told)


def test_the_tools_own_figures_are_there(demo: Facts, written: str) -> None:
    told = seen(written)
    for errors in demo.errors:
        assert all(words.two_digits(budget.plus_minus) in told for budget in errors.budgets)
    for shown in demo.faults:
        assert shown.shows in told
    for name, note in demo.notes:
        assert f"{name}: {note}" in told
    assert "2 passed, 0 failed; table 2c1d146c, firmware 0.3.0, with an hour of cruise" in told


def test_it_is_one_file(written: str) -> None:
    """Nothing is fetched, nothing runs."""
    whole = tree(written)
    for one in whole.iter():
        for key, value in one.attrib.items():
            assert not key.startswith("on")
            if key in ("href", "src"):
                assert value.startswith(("#", "data:")), value
            else:
                assert "http" not in value and "url(" not in value
    scripts = list(whole.iter("script"))
    assert [one.get("type") for one in scripts] == ["application/json"]
    style = "".join(one.text or "" for one in whole.iter("style"))
    assert "@import" not in style and "url(" not in style and "http" not in style
    assert not list(whole.iter("link")) and not list(whole.iter("iframe"))


def test_it_can_be_read_aloud(written: str) -> None:
    whole = tree(written)
    ids = [one.get("id") for one in whole.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    assert {one.get("href") for one in whole.iter("a")} <= {f"#{name}" for name in ids}
    assert all(one.get("scope") in ("col", "row", "rowgroup") for one in whole.iter("th"))
    assert all(one.get("alt") for one in whole.iter("img"))
    for drawing in whole.iter("svg"):
        title = drawing.find("title")
        assert drawing.get("role") == "img" and title is not None and title.text
    assert [one.tag for one in whole.iter() if one.tag == "h1"] == ["h1"]


def test_it_prints(written: str) -> None:
    style = "".join(one.text or "" for one in tree(written).iter("style"))
    assert "@page" in style and "thead { display: table-header-group; }" in style
    assert 'content: "hull console \\b7 XX-DEMO \\b7 table 2c1d146c \\b7 2026-11-26"'.replace(
        "\\b7", "\\b7 "
    ).replace("  ", " ") in " ".join(style.split())
    assert "size:" not in style.split("@page")[1].split("{")[1]  # A4 or letter, as the printer has it


def test_colours_have_words_and_shapes(demo: Facts, written: str) -> None:
    for drawing in tree(written).iter("svg"):
        title = drawing.findtext("title") or ""
        name = title.partition(":")[0]
        markings = next(markings for shown, _, markings in demo.box.shown if shown == name)
        colours = [mark.colour for mark in markings.marks]
        assert [word for word in re.findall("green|yellow|red", title)] == colours
        assert len(list(drawing.iter("path"))) == colours.count("yellow")  # hatched
        limits = sum(mark.low is None or mark.high is None for mark in markings.marks)
        assert len(list(drawing.iter("rect"))) == len(colours) + limits  # and a stroke at each limit


def test_the_same_facts_give_the_same_page(demo: Facts, written: str) -> None:
    assert page(demo) == written
    assert "2026-11-26" in seen(written)
    assert page(replace(demo, made_on=date(2027, 1, 2))) != written


def test_its_files_are_there_to_the_letter(demo: Facts, written: str) -> None:
    class Pre(HTMLParser):
        found: list[str] = []
        inside = False

        def handle_starttag(self, tag: str, attrs: object) -> None:
            self.inside = tag == "pre"
            self.found += [""] * self.inside

        def handle_endtag(self, tag: str) -> None:
            self.inside = False

        def handle_data(self, data: str) -> None:
            if self.inside:
                self.found[-1] += data

    parser = Pre()
    parser.feed(written)
    # the HTML standard: an end of line right behind <pre> is none
    assert [text[1:] for text in parser.found] == [demo.box_file.text, demo.papers.text]
    held = held_in("x", written)
    assert (held.box_file, held.image, held.crc) == (demo.box_file, demo.built.image, "2c1d146c")


HOSTILE = "</script></pre><script>alert(1)</script>&amp;\"'<b>]]>--><!-- {x}"


def test_what_people_write_stays_text(tmp_path: Path) -> None:
    said = json.dumps(HOSTILE)
    short = "\"<&>'\\\\ x"
    box = (
        STARTER.read_text()
        .replace('"my console"', f'"{chr(92)}{short}"')
        .replace('"left fuel"', '"<b>&fuel\'"')
    )
    papers = f"""
        [aircraft]
        name = {said}
        registration = {said}
        [balance]
        datum = {said}
        [[installed]]
        item = {said}
        part = {said}
        place = {said}
        [[placard]]
        words = {said}
        place = {said}
        [[test]]
        do = {said}
        expect = {said}
        [logbook]
        words = {json.dumps(HOSTILE.replace(" {x}", ""))}
        under = {said}
        [[signature]]
        role = {said}
        says = {said}
        fields = [{said}]
    """.replace("        ", "")
    facts = gathered(box, tmp_path, papers)
    bench = bench_result({**BENCH, "rows": [WRONG_ROW]})
    text = page(replace(facts, bench=bench))
    whole = tree(text)
    assert len(list(whole.iter("script"))) == 1 and not list(whole.iter("b"))
    assert seen(text).count(HOSTILE) >= 9
    assert "9 & more" in seen(text) and "to <half>" in seen(text)
    assert text.lower().count("</script") == text.count("<script") == 1
    assert len(list(whole.iter("style"))) == 1 and "</" not in (whole.findtext("head/style") or "")
    assert held_in("x", text).box_file.text == box
    assert list(answers(held_in("x", text))) and all(one.yes for one in answers(held_in("x", text)))


# --- calibrated ---


@dataclass(frozen=True)
class Fitted:
    signals: tuple[float, ...]
    readings: tuple[float, ...]
    plus_minus: tuple[float, ...]
    residuals: tuple[float, ...]
    hysteresis: float | None = 0.07
    lack: str | None = None

    def band(self, signal: float) -> tuple[float, float]:
        raise NotImplementedError


def calibrated(facts: Facts) -> Calibration:
    """Left fuel, as if it had been: the figures are nobody's."""
    one = facts.box.input("left fuel")
    assert one is not None
    points = (
        Point(
            Amount(Fraction("3.1"), "ohm"),
            added=Amount(Fraction(0), "US gal"),
            spread=Amount(Fraction("0.05"), "ohm"),
        ),
        Point(
            Amount(Fraction("21.4"), "ohm"),
            added=Amount(Fraction(4), "US gal"),
            dip=Amount(Fraction(31), "mm"),
            note="can <1> & 2",
        ),
    )
    session = Session("left fuel", "tank", DAY, points=points, file="left fuel.level.toml")
    fit = Fitted((3.1, 21.4), (0.0, 4.0), (0.2, 0.3), (0.01, -0.02))
    taken = (
        Taken(0.0, 0.0, 0.02, 3.1, 0.05, 0.05, 0.0123, None),
        Taken(4.0, 4.0, 0.03, 21.4, 0.05, None, -0.0234, 31.0),
    )
    result = Result(session, one, fit, taken, (Faced(0.5, 0.27), Faced(1.0, 0.31)), notes=("drain some too",))
    return Calibration(
        one, TextFile("left fuel.level.toml", 'input = "left fuel"  # <as typed>\n'), result, "<svg>it</svg>"
    )


def test_a_calibration_is_evidence(demo: Facts) -> None:
    done = calibrated(demo)
    of_it = replace(
        done.input, calibrated=Calibrated(DAY, "left fuel.level.toml", "box", (Fraction(1, 5),) * 5)
    )
    box = replace(
        demo.box, inputs=tuple(of_it if one.name == "left fuel" else one for one in demo.box.inputs)
    )
    facts = replace(demo, built=replace(demo.built, box=box), calibrations=(replace(done, input=of_it),))
    text = page(facts)
    told = seen(text)
    assert "Calibrated 2026-11-26 (left fuel.level.toml, signals measured by this box)." in told
    for said in (
        "+0.012",
        "-0.023",
        "31 mm",
        "can <1> & 2",
        "drain some too",
        "face 0.5 1",
        "+- 0.27 0.31",
    ):
        assert said in told, said
    assert "+- at 95 % 0.2 0.2 0.2 0.2 0.2" in told
    assert "right fuel Not calibrated in the aircraft." in told and "left fuel Not calibrated" not in told
    images = [one.get("src") or "" for one in tree(text).iter("img")]
    assert any(src.startswith("data:image/svg+xml;base64,") for src in images)
    assert 'input = "left fuel"  # <as typed>' in "".join(one.text or "" for one in tree(text).iter("pre"))
    assert not any("left fuel" in line for line in not_stated(facts))


def test_an_input_that_is_not_calibrated_says_so(written: str) -> None:
    told = seen(written)
    assert "left fuel Not calibrated in the aircraft." in told
    assert "left fuel the box alone: what its sender is off by is not stated" in " ".join(told.split())


# --- what is not right ---

NOT_RIGHT: dict[str, tuple[Callable[[Facts], Facts], str]] = {
    "another table in the box": (
        lambda f: replace(f, read_back=ReadBack(replace(HELLO, crc="0badc0de"), b"", ())),
        "THE BOX DIFFERS FROM THIS PAGE: it runs table 0badc0de",
    ),
    "a box without a table": (
        lambda f: replace(f, read_back=ReadBack(replace(HELLO, crc=""), b"", ())),
        "it runs table none",
    ),
    "its CRC, and other bytes": (
        lambda f: replace(f, read_back=ReadBack(HELLO, f.built.image + b"x", ())),
        "but not its bytes",
    ),
    "an older safe table": (
        lambda f: replace(f, read_back=ReadBack(replace(HELLO, safe_crc="00000001"), f.built.image, ())),
        "SAFE TABLE DIFFERS: 00000001",
    ),
    "a table that waits": (
        lambda f: replace(f, read_back=ReadBack(replace(HELLO, waiting_crc="00000002"), f.built.image, ())),
        "ANOTHER TABLE RUNS FROM THE NEXT START ON: 00000002",
    ),
    "a bench of another table": (
        lambda f: replace(f, bench=bench_result({**BENCH, "crc32": "00000003"})),
        "THE BENCH WAS OF ANOTHER TABLE: 00000003",
    ),
    "a bench that does not say": (
        lambda f: replace(f, bench=bench_result({"rows": BENCH["rows"]})),
        "it does not say which",
    ),
    "a bench of another firmware": (
        lambda f: replace(f, bench=bench_result({**BENCH, "firmware": "0.2.0"}), read_back=ReadBack(HELLO, f.built.image, ())),
        "THE BENCH WAS OF ANOTHER FIRMWARE: 0.2.0",
    ),
    "a bench that failed": (
        lambda f: replace(f, bench=bench_result({**BENCH, "rows": [WRONG_ROW]})),
        "THE BENCH FAILED: 1 answers of 1",
    ),
    "no session": (
        lambda f: replace(f, calibrations=(Calibration(f.box.inputs[1], None, None, problem="x.toml: cannot be read"),)),
        "CALIBRATION OF LEFT FUEL: x.toml: cannot be read",
    ),
    "a battery too small": (
        lambda f: replace(f, papers=replace(f.papers, battery=replace(f.papers.battery, capacity=Fraction(5)))),  # type: ignore[type-var]
        "THE BATTERY LASTS 29 min AT MOST, 30 min ARE WANTED",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("change", "said"), NOT_RIGHT.values(), ids=NOT_RIGHT)
def test_what_is_not_right_is_told_first(change: Callable[[Facts], Facts], said: str, demo: Facts) -> None:
    facts = change(demo)
    told = list(not_right(facts))
    assert len(told) == 1 and said in told[0]
    page_told = seen(page(facts))
    assert f"NOT RIGHT {told[0]}" in page_told
    assert page_told.index(told[0]) < page_told.index("Advisory only.")


def test_a_box_that_is_as_its_page(demo: Facts) -> None:
    facts = replace(demo, read_back=ReadBack(HELLO, demo.built.image, ("SERVICE JUMPER CLOSED: pull it",)))
    told = seen(page(facts))
    assert not list(not_right(facts)) and "NOT RIGHT" not in told
    assert "read back from the box in slot_a: the same to the byte" in told
    assert "SERVICE JUMPER CLOSED" in told and "firmware in the box 0.3.0" in told
    assert "firmware 0.3.0." in told  # in the logbook's wording
    assert "NOT READ BACK" not in told and "NOT READ BACK from a box" in seen(page(demo))


# --- what changed since ---

# what is written otherwise in the box file or the papers file, and lines that must be told
CHANGES: dict[str, tuple[list[tuple[str, str, str]], list[str]]] = {
    "a remark": ([("box", "# --- pressures", "# --- the pressures")], []),
    "a point": (
        [("box", '["46 ohm", 9.5]', '["47 ohm", 9.5]')],
        [
            "table: 2c1d146c to",
            "left fuel: breakpoints 16 to 17; largest change -0.2 US gal",
            "input left fuel: points gone: 46 ohm = 9.5 US gal; points new: 47 ohm = 9.5 US gal",
        ],
    ),
    "a resistor": (
        [("box", '"220 ohm", rail', '"270 ohm", rail')],
        ["table: ", "input coolant temperature: circuit pull-up 220 ohm to sender rail"],
    ),
    "a tolerance": (
        [("box", ', tolerance = "0.1 %" }\nunit = "V"\nrange = [8', ' }\nunit = "V"\nrange = [8')],
        ["input bus: circuit", "plus or minus at 8 V 0.19 V to"],
    ),
    "a fuse": (
        [("box", 'length = "1.5 m" }\nfuse = "2 A"', 'length = "1.5 m" }\nfuse = "1 A"')],
        ["lamp map light: fuse 2 A to 1 A"],
    ),
    "what only the builder knows": (
        [
            ("papers", '"red 5 and below" = ""', '"red 5 and below" = "trial, sheet 9"'),
            ("papers", 'weight = "0.62 kg"', 'weight = "0.70 kg"'),
            ("papers", 'state = "80 %"', 'state = "40 %"'),
            ("papers", 'load = "transponder"\ncurrent = "0.6 A"', 'load = "beacon"\ncurrent = "0.6 A"'),
            ("papers", "50 MIN FROM FULL", "45 MIN FROM FULL"),
        ],
        [
            "limits of boil margin: source of red 5 and below not stated to trial, sheet 9",
            "installed box: hull console: weight 0.62 kg to 0.7 kg",
            "weight of all: weight 1.3 kg to 1.38 kg",
            "battery: lasts at most 94 min to 47 min",
            "essential transponder: gone",
            "essential beacon: new",
            "placards: words gone: TRANSFER",
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("edits", "lines"), CHANGES.values(), ids=CHANGES)
def test_what_changed_is_told(
    edits: list[tuple[str, str, str]], lines: list[str], demo: Facts, written: str, tmp_path: Path
) -> None:
    texts = {"box": demo.box_file.text, "papers": demo.papers.text}
    for file, old, new in edits:
        assert old in texts[file]
        texts[file] = texts[file].replace(old, new, 1)
    facts = gathered(texts["box"], tmp_path, texts["papers"], bench=demo.bench)
    found = since("old.html", held_in("old.html", written), facts)
    assert (found.made_on, found.table) == ("2026-11-26", "2c1d146c")
    for line in lines:
        assert any(line in told for told in found.lines), found.lines
    assert bool(found.lines) == bool(lines)


@pytest.mark.parametrize(
    "lines", [(), ("hydraulic: lower red 300 to 500 psi", "glare <shield>: fuse 2 A to 1 A")]
)
def test_what_changed_stands_on_the_page(lines: tuple[str, ...], demo: Facts) -> None:
    told = seen(page(replace(demo, since=Since("old.html", "2026-11-26", "0badc0de", lines))))
    head = "Changed since old.html, made on 2026-11-26, table 0badc0de "
    assert head + (" ".join(lines) or "nothing") in told


def test_firmware_and_calibration_are_compared(demo: Facts, written: str) -> None:
    facts = replace(demo, read_back=ReadBack(replace(HELLO, version="0.4.0"), demo.built.image, ()))
    before = page(replace(demo, read_back=ReadBack(HELLO, demo.built.image, ())))
    assert since("x", held_in("x", before), facts).lines == ("firmware: version 0.3.0 to 0.4.0",)
    assert since("x", held_in("x", written), facts).lines == ("firmware: new",)


# --- whether it is whole, and of a box ---


def yes(text: str, box: ReadBack | None = None) -> list[bool]:
    return [one.yes for one in answers(held_in("x", text), box)]


def forged(text: str, *changes: tuple[str, str]) -> str:
    """Changed, and its sum put right again, as somebody might who means to deceive."""
    own = held_in("x", text).sum
    text = text.replace(own, NO_SUM)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text.replace(NO_SUM, sum_of(text))


def test_a_page_as_it_was_written(demo: Facts, written: str) -> None:
    box = ReadBack(HELLO, demo.built.image, ())
    assert yes(written) == [True] * 3
    assert yes(written.replace("\n", "\r\n"), box) == [True] * 4
    of_it = page(replace(demo, read_back=box))
    assert yes(of_it, box) == [True] * 5
    assert yes(of_it, ReadBack(replace(HELLO, version="0.9.0"), demo.built.image, ())) == [True] * 4 + [False]


BOXES_ASKED = {
    "another table": (
        ReadBack(replace(HELLO, crc="0badc0de"), b"", ()),
        "the box runs another table: 0badc0de",
    ),
    "no table": (ReadBack(replace(HELLO, crc=""), b"", ()), "the box runs another table: none"),
    "its CRC by chance": (ReadBack(HELLO, b"other bytes", ()), "the box runs another table"),
}


@pytest.mark.parametrize(("box", "said"), BOXES_ASKED.values(), ids=BOXES_ASKED)
def test_another_box(box: ReadBack, said: str, written: str) -> None:
    told = list(answers(held_in("x", written), box))
    assert [one.yes for one in told] == [True, True, True, False]
    assert said in told[3].says


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_an_edit_anywhere_is_found(written: str, data: st.DataObject) -> None:
    assert is_whole(held_in("x", written))
    at = data.draw(st.integers(0, len(written) - 1))
    other = data.draw(st.characters(codec="ascii").filter(lambda c: c not in (written[at], "\r")))
    edited = written[:at] + other + written[at + 1 :]
    try:
        held = held_in("x", edited)
    except Misuse:
        return  # no page any more
    assert not is_whole(held)


FORGERIES: dict[str, tuple[list[tuple[str, str]], list[bool], str]] = {
    "a point in the box file it carries": ([('\\"46 ohm\\", 9.5', '\\"46 ohm\\", 9.6')], [True, True, False], "gives another table"),
    "the CRC it states": ([('"table": "2c1d146c"', '"table": "2c1d146d"')], [True, False, False], "the page states 2c1d146d"),
    "a box file that is none": ([('[box]\\n', '[bax]\\n')], [True, True, False], "its box file is not right"),
    "made by other tools": ([(f'"tools": "{VERSION}"', '"tools": "0.2.0"'), ('\\"46 ohm\\", 9.5', '\\"46 ohm\\", 9.6')], [True, True, False], "made by gaugelight 0.2.0"),
}  # fmt: skip


@pytest.mark.parametrize(("edits", "right", "said"), FORGERIES.values(), ids=FORGERIES)
def test_a_page_whose_parts_do_not_belong_together(
    edits: list[tuple[str, str]], right: list[bool], said: str, written: str
) -> None:
    told = list(answers(held_in("x", forged(written, *edits))))
    assert [one.yes for one in told] == right
    assert any(said in one.says for one in told if not one.yes)


def test_a_table_with_a_bit_turned(demo: Facts) -> None:
    image = bytearray(demo.built.image)
    image[100] ^= 1
    held = replace(held_in("x", page(demo)), image=bytes(image))
    assert list(answers(held))[1] == Answer(
        False, f"the table it holds has CRC {zlib.crc32(image[:-4]):08x}, the page states 2c1d146c"
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "<html></html>",
        "no page",
        '<script id="record">{"form": 1}</script>',
        '<script id="record">[]</script>',
        '<script id="record">7</script>',
    ],
)
def test_what_is_no_page(text: str) -> None:
    with pytest.raises(Misuse, match="is no page that `gaugelight record` made"):
        held_in("x", text)


def test_a_page_of_a_form_to_come(written: str) -> None:
    with pytest.raises(Misuse, match="whose pages these tools do not know"):
        held_in("x", written.replace('"form": 1', '"form": 2'))


def test_marks_have_names_of_their_own() -> None:
    for path in BOXES:
        box: Box = read_box(path)
        for _, _, markings in box.shown:
            names = [mark_name(mark) for mark in markings.marks]
            assert len(names) == len(set(names))
