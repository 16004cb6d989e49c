"""The installation page: fuses, grounds, compass, depth and figures of other pages are what box file, parts table and netlists say."""

import re
import tomllib

import pytest

from gaugelight.boxfile import read_box
from gaugelight.harness.cables import wiring_of
from gaugelight.harness.compass import deviation, fields_of
from test_bring_up import PARTS
from test_netlists import DEMO
from test_output_circuits import as_written, table
from test_protection import NOTES

PAGE = (NOTES / "installation.md").read_text()
FILE = tomllib.loads(DEMO.read_text())


def test_every_fuse_has_its_place() -> None:
    rows = table("fuse", PAGE)
    assert {name: row[0] for name, row in rows.items()} == {
        name: row["value"] for name, row in PARTS.items() if re.fullmatch(r"F\d+", name)
    }
    assert all(row[1].startswith("at the bus") for row in rows.values())


def test_every_ground_goes_to_the_ground_point() -> None:
    """Of the box by the box file; J7 is the low fuel switches'."""
    grounds = {
        f"{name}-{pin}"
        for name, one in FILE["connector"].items()
        for pin, use in one["pins"].items()
        if use in ("ground", "lamp ground")
    }
    words = re.search(r"To it on wires of their own: ([^.]+)\.", PAGE)
    assert words
    named: set[str] = set()
    for part in words[1].split("; "):
        connector, _, pins = part.partition("-")
        named |= {f"{connector}-{pin}" for pin in pins.split(", ")}
    assert named == grounds | {"J7-2"}


@pytest.mark.parametrize("run", ["glare shield", "map light", "switch legends"])
def test_the_compass_in_the_notes(run: str) -> None:
    """What `gaugelight wiring` says; the rule beside it, too: a wire's field goes by the distance, a pair's by its square."""
    wiring = wiring_of(read_box(DEMO))
    near, far = (
        next(field.tesla for field in fields_of(wiring, metres) if field.run.name == run)
        for metres in (0.6, 0.2)
    )
    row = table("run", PAGE)[run]
    for value, written in zip((near["single wire"], near["pair"]), row, strict=True):
        assert as_written(deviation(value, 20e-6), written), deviation(value, 20e-6)
    single, pair = (far[way] / near[way] for way in ("single wire", "pair"))
    assert 3 < single < 5 and 7 < pair < 13


def test_the_depth_is_the_panels() -> None:
    box = read_box(DEMO)
    assert box.panel is not None and box.panel.depth == 90
    display = next(one for one in box.panel.cutouts if one.name == "display")
    needed = box.panel.behind(display)
    assert needed == pytest.approx(68 + 5) and "68 mm of box, 5 mm of plug" in PAGE
    hood = re.search(r"sides or bottom: a hood and its cable want (\d+) mm", PAGE)
    assert hood and needed is not None and needed + int(hood[1]) > box.panel.depth


def test_the_parts_the_page_names_are_in_the_table() -> None:
    named = set(re.findall(r"\b([A-Z]\d{1,3})(?![\d-])\b", PAGE)) - {"M6"}
    assert named <= set(PARTS), named - set(PARTS)


@pytest.mark.parametrize("page", sorted(path.name for path in NOTES.glob("*.md")))
def test_links_lead_somewhere(page: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", (NOTES / page).read_text()):
        assert (NOTES / target).exists(), target


def test_every_page_is_in_the_order_of_reading() -> None:
    """At the head of README.md, each once and numbered."""
    head = (NOTES / "README.md").read_text().split("## Cautions")[0]
    rows = re.findall(r"(?m)^\| (\d+) \|", head)
    assert [int(row) for row in rows] == list(range(1, len(rows) + 1))
    for page in (*NOTES.glob("*.md"), NOTES / "parts.csv", NOTES / "draw_schematic.py"):
        assert page.name == "README.md" or f"]({page.name})" in head


def test_plus_and_minus_before_a_plug_meets_the_box() -> None:
    """Each feed against its ground, nothing on what a transistor drives; by the box file, J6 and J7 by dead_box.md."""
    row = next(line for line in PAGE.splitlines() if "every plug still off" in line)
    pins = {name: one["pins"] for name, one in FILE["connector"].items()}
    feeds = re.search(r"J3-(\d+), (\d+), (\d+) to J3-(\d+)", row)
    driven = re.search(r"Nothing on J3-([\d, ]+) and on all of J5", row)
    assert feeds and driven
    uses = [pins["J3"][pin] for pin in feeds.groups()]
    assert all(use.endswith(" feed") for use in uses[:3]) and uses[3] == "lamp ground"
    ends = {pin for pin, use in pins["J3"].items() if use.endswith((" plus", " minus"))}
    assert set(driven[1].split(", ")) == ends
    assert [pins["J2"][pin] for pin in "12"] == ["bus", "ground"] and "J2-1 to J2-2, J7-1 to J7-2" in row
    in_master = set(re.findall(r"F\d+", row)) | {"F2", "F102", "F112"}
    assert in_master == {name for name in PARTS if re.fullmatch(r"F\d+", name)}


def test_the_low_fuel_switches_are_plugged_in_too() -> None:
    """J6 goes to the tanks: its ohms and its volts first, its ground before it."""
    box = (NOTES / "dead_box.md").read_text()
    assert "| 1 | left float | 6 | left float return |" in box and "| 3 | right float | 8 |" in box
    after = PAGE.split("## After installation")[1]
    places = [after.index(word) for word in ("J6-1 of the harness", "J6-1, 3 to ground", "then J7, J6;")]
    assert places == sorted(places) and f"{PARTS['R309']['value']} with its float covered" in after
    assert "J7 before J6" in PAGE


def test_the_sheet_does_not_know_all_wires() -> None:
    known = set(FILE["connector"])
    assert known == {"J1", "J2", "J3", "J4", "J5"} and "does not know these wires, nor J6 and J7" in PAGE


def test_a_loop_before_it_is_plugged_in() -> None:
    """Over the page's resistor: what 4 and 21 mA make (NAMUR NE 43), and that it takes the bus itself."""
    row = next(line for line in PAGE.splitlines() if "J1 still off" in line)
    found = re.search(r"(\d+) ohm, ([\d.]+) W", row)
    assert found
    ohms, watts = float(found[1]), float(found[2])
    assert f"{0.004 * ohms:.1f} V (4 mA)" in row and f"{0.021 * ohms:.1f} (21 mA)" in row
    assert 14.5**2 / ohms < watts
    pins = FILE["connector"]["J1"]["pins"]
    pairs = re.findall(r"J1-(\d+) to J1-(\d+)", row)
    assert [(pins[a], pins[b]) for a, b in pairs] == [
        (name, f"{name} return") for name in ("reserve line", "hydraulic")
    ]
