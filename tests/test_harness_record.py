"""The harness on the page for the aircraft's papers, and a change of it told against an older page."""

from datetime import date

import pytest

from gaugelight.boxfile import box_of_text
from gaugelight.build import build
from gaugelight.papers.data import held_in
from gaugelight.papers.facts import Facts, TextFile, not_right, not_stated
from gaugelight.papers.gather import facts_of
from gaugelight.papers.page import page
from gaugelight.papers.papers_file import Papers
from gaugelight.papers.since import since
from harness_example import BOX, changed


def facts(text: str) -> Facts:
    built = build(box_of_text("hull.toml", text))
    return facts_of(built, TextFile("hull.toml", text), Papers(), date(2026, 11, 26))


@pytest.fixture(scope="module")
def first() -> Facts:
    return facts(BOX)


def test_the_pins_of_every_input_are_on_the_page(first: Facts) -> None:
    told = page(first)
    start = told.index('<section class="wiring">')
    section = told[start : told.index("</section>", start)]
    for pin, use in (
        ("J1-1", "left fuel"),
        ("J1-9", "left fuel return"),
        ("J1-5", "hydraulic"),
        ("J3-6", "knob wiper"),
    ):
        row = next(row for row in section.split("<tr>") if f'"row">{pin}<' in row)
        assert f">{use}<" in row
    assert (
        "guards, grounded in the box: 2, 10" in section and "shield: shell at J1, open at the tank" in section
    )
    assert not any(line.startswith("THE WIRING") for line in not_right(first))


def test_without_connectors_there_is_no_section() -> None:
    without = facts(BOX[: BOX.index("[connector.J1]")])
    assert '<section class="wiring">' not in page(without)
    assert "wiring: no connector is described" in list(not_stated(without))


SINCE: dict[str, tuple[list[tuple[str, str]], list[str]]] = {
    "nothing": ([], []),
    "a pin": (
        [('5 = "hydraulic"', '6 = "hydraulic"')],
        ["connector J1: pin 5 hydraulic in cable engine gone; pin 6 hydraulic in cable engine new"],
    ),
    "another use": (
        [('5 = "hydraulic"', '5 = "hydraulic"\n15 = "spare: needle"')], ["connector J1: pin 15 spare: needle new"]
    ),
    "the other half": (
        [('box = "sockets"', 'box = "pins"')], ["connector J1: kind D-sub 15, sockets in the box to D-sub 15, pins in the box"]
    ),
    "length": ([('length = "3.2 m"', 'length = "3.4 m"')], ["cable left tank: length 3.2 m to 3.4 m"]),
    "gauge": ([('gauge = 22\nlength = "4 m"', 'gauge = 20\nlength = "4 m"')], ["cable engine: wire AWG 22 to AWG 20"]),
    "shield": ([('shield = "shell at J1, open at the tank"\n', "")], ["cable left tank: shield shell at J1, open at the tank to none"]),
    "twist": ([('twisted = true\nshield', 'shield')], ["cable left tank: laid twisted, a turn in 30 mm to not twisted"]),
    "bundle": ([('bundle = "fuel"', 'bundle = "wing"')], ["cable left tank: bundle fuel to wing"]),
    "fuse": ([('fuse = "3 A"', 'fuse = "5 A"')], ["cable supply: fuse 3 A to 5 A"]),
    "to": ([('to = "knob and button"', 'to = "knob, button"')], ["cable panel: to knob and button to knob, button"]),
    "carries": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "test", "service jumper"]')],
        ["cable panel: carries new: service jumper"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", SINCE)
def test_a_change_is_told(name: str, first: Facts) -> None:
    replaced, told = SINCE[name]
    old = held_in("old.html", page(first))
    assert list(since("old.html", old, facts(changed(*replaced))).lines) == told


def test_a_harness_that_is_not_right_stands_on_top() -> None:
    wrong = facts(changed(('2 = "guard"', '2 = "spare: relay"')))
    assert "THE WIRING IS NOT RIGHT: 2 problems; gaugelight wiring hull.toml tells" in list(not_right(wrong))
