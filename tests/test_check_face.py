"""What `check` says of the face, the alerts, the needles and the fuel watch: what is refused, what is only told, and what is left alone.

Of ranges and words there is no standard: the rows say what the face does (gaugebox/face.py: ten letters a name, 13 of an alert beside
SERVICE) and what a builder would take for a slip. ISO 2533 gives the pressure aloft.
"""

import re
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.table import Table
from gaugelight.boxfile import Box, box_of_text, read_box
from gaugelight.build import Build, build, pack
from gaugelight.check_face import notes_on_face
from gaugelight.check_lights import notes_on_lights
from gaugelight.cli import DEMO
from gaugelight.face_tables import derived_span
from gaugelight.problems import WrongBoxFile

FACE = Path(__file__).parent / "face.toml"
SENDERS = Path(__file__).parent / "senders.toml"
STARTER = DEMO.parent / "starter.toml"
NEEDLE = """
[[needle]]
name = "fuel needle"
pin = 6
follows = "usable fuel"
points = [["0 US gal", "12 %"], ["18 US gal", "50 %"], ["36 US gal", "96 %"]]
park = "2 %"
"""
FLAG = '\n[[lamp]]\nname = "flag"\npin = 3\nlevel = "100 %"\nshows = "flag"\n'
DERIVED = '\n[[derived]]\nname = "NAME"\nsum = ["left fuel", "right fuel"]\nstep = 0.5\n'
ALERT = '\n[[alert]]\nwords = "WORDS"\nurgency = "caution"\nwhen = ["bus below 12 V"]\n'
HYDRAULIC_MARKS = (
    "marks = [{ red = 300 }, { green = [300, 1200] }, { yellow = [1200, 1400] }, { red = 1400 }]\n"
)
LEFT = 'name = "left fuel"\n'
LEFT_MARKS = '"12 s"\nmarks = [{ red = 0, says = "EMPTY" }, { yellow = [0, 2] }, { yellow = [2, 4] }, { green = [4, 18] }]'
BOIL_LABEL = 'label = "boil marg"\n'

Edit = tuple[str, str]


def edited(edits: list[Edit], text: str = "") -> str:
    text = text or DEMO.read_text() + NEEDLE + FLAG
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def box_of(text: str, tmp_path: Path) -> Box:
    file = tmp_path / "hull.toml"
    file.write_text(text)
    return read_box(file)


def end(text: str) -> list[Edit]:
    """Something more at the end of the file."""
    return [(FLAG, FLAG + text)]


# -- refused: edits, where the line begins that is named (None: not looked at), what is said

REFUSED: dict[str, tuple[list[Edit], str | None, str]] = {
    # two that are called alike
    "a label that is another's name": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + 'label = "bus"\n')], 'label = "bus"', 'the face calls it "bus", and bus "bus"; give each a label of its own'),
    "two labels": ([('label = "cool press"', 'label = "coolant"')], 'label = "coolant"\nmarks = \\[\\{ green', 'calls it "coolant", and coolant temperature "coolant"'),
    "a label but for its capitals": ([('label = "cool press"', 'label = "Bus"')], 'label = "Bus"', 'calls it "Bus", and bus "bus"'),
    "a label that a name is cut to": ([('label = "cool press"', 'label = "hyd press"'), ('"hydraulic"', '"hydraulic pressure"')], 'label = "hyd press"', 'and hydraulic pressure "hyd press"'),
    "a label that is the name of one off the face": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + 'label = "light"\n'), ('name = "ambient light"', 'name = "light"'), ('sensor = "ambient light"', 'sensor = "light"')], 'label = "light"', 'calls it "light", and light "light"'),
    # names that stand twice are told alone
    "a derived readout named as an input": ([('name = "imbalance"', 'name = "hydraulic"')], '\\[\\[derived\\]\\]\nname = "hydraulic"', "hydraulic: the name stands at line 74 too; each needs its own"),
    "a switch named as an input": ([('name = "transfer pump"', 'name = "bus"')], '\\[\\[switch\\]\\]\nname = "bus"', "each needs its own"),
    "a needle named as a lamp": ([('name = "fuel needle"', 'name = "map light"')], '\\[\\[needle\\]\\]', "each needs its own"),
    "two switches": ([('name = "reserve filled"', 'name = "transfer pump"')], '\\[\\[switch\\]\\]\nname = "transfer pump"\\s+# a', "each needs its own"),
    # bars
    "limits beyond the bar": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + "bar = [400, 800]\n")], "bar = \\[400", "from 400 to 800 leaves red at 300 out; widen it"),
    "an arc beyond the bar": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS.replace(", { red = 1400 }", "") + "bar = [300, 1100]\n")], "bar = \\[300", "leaves yellow at 1200 out; widen it"),
    "a bar of nothing": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + "bar = [600, 600.001]\n")], "bar", "narrower than a step, 20"),
    # the reserve
    "flowing beyond the sender": ([('flowing = ["2 psi", "7.5 psi"]', 'flowing = ["2 psi", "30 psi"]')], "flowing", "reserve line reads 0 to 15 psi gauge, 0 with the pump off, and never 30 above that"),
    "dead_head beyond the sender": ([('dead_head = "6 psi"', 'dead_head = "60 psi"')], "dead_head", "never 60 above that"),
    "flowing above the air's pressure": ([("range = [0, 15]", "range = [0, 20]"), ('pressure = "gauge"', 'pressure = "absolute"')], "flowing", "reserve line reads 0 to 20 psi absolute, 15.7 with the pump off, and never 7.5 above that"),
    "a pressure that no sender gives": ([*end(DERIVED.replace("NAME", "two lines").replace('sum = ["left fuel", "right fuel"]', 'difference = ["hydraulic", "reserve line"]').replace("0.5", "20")), ('pressure = "reserve line"', 'pressure = "two lines"')], "pressure = .two", "two lines is derived; name the input in the line"),
    "filled by the pump's own switch": ([('filled = "reserve filled"', 'filled = "transfer pump"')], "filled", "is the pump's switch"),
    "an error of less than nothing": ([('holds = "20 US gal"', 'holds = "20 US gal"\nholds_error = "-1 US gal"')], "holds_error", "must not be less than 0"),
    "a pressure that nothing tells": ([('flowing = ["2 psi"', 'flowing = ["0.01 psi"')], "flowing", "0.01 is less than a step of reserve line, 0.2"),
    "a rate of nothing": ([('rate = ["15 US gal"', 'rate = ["0 US gal"')], "rate", "must be more than 0"),
    "a ceiling in feet without its unit": ([('flowing = ["2', 'ceiling = 10000\nflowing = ["2')], "ceiling", 'has no unit; write "10000 ft"'),
    # what the box cannot reckon with
    "a burn without its decimal point": ([('burn = ["3.2 US gal", "4.8 US gal"]', 'burn = ["320 US gal", "480 US gal"]')], "burn = ..320", "480 is more than the box reckons with, 190; is a decimal point missing?"),
    "an allowance of nothing much": ([('allowance = "2.2 US gal"', 'allowance = "0.001 US gal"')], "allowance", "less than half a step of usable fuel, 0.5"),
    "a capacity beyond all bounds": ([('capacity = "36 US gal"', 'capacity = "36000 US gal"')], "capacity", "36000 is more than the box reckons with, 2.62e+03; is a decimal point missing?"),
    "a step that makes its sums too fine": ([("step = 0.5\nmarks = [{ yellow = [0, 6]", "step = 0.001\nmarks = [{ yellow = [0, 6]")], "holds", "20 is more than the box reckons with, 2.62 in steps of 0.001; choose a larger step for usable fuel"),
    "a condition beyond all bounds": ([('"bus below 12.8 V"', '"bus below 128000000 V"')], "when = ..bus", "1.28e+08, but bus reads 8 to 16 V; is a decimal point missing?"),
    "a needle beyond all bounds": ([('["36 US gal", "96 %"]', '["36000000 US gal", "96 %"]')], "points = ...0 US", "go from 0 to 3.6e+07, but usable fuel reads 0 to 36 US gal"),
    "a step that suits no sum": ([("step = 0.5\nmarks = [{ yellow = [0, 6]", "step = 500\nmarks = [{ yellow = [0, 6]")], "step = 500", "does not suit readings that span 36 US gal"),
    "a step that suits no boil margin": ([("step = 2\n" + BOIL_LABEL, "step = 2000\n" + BOIL_LABEL)], "step = 2000", "does not suit a boil margin"),
    "a play beyond all bounds": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + 'mark_play = "999999999 psi"\n')], "mark_play", "hydraulic reads 0 to 1500 psi"),
    "too many alerts": (end("".join(ALERT.replace("WORDS", f"NUMBER {k}") for k in range(15))), None, "17 alerts; the box takes 16"),
    "too many derived readouts": (end("".join(DERIVED.replace("NAME", f"sum {k}") for k in range(6))), None, "9 derived readouts; the box takes 8"),
    "too many conditions": (end("".join(ALERT.replace("WORDS", f"NUMBER {k}").replace('["bus below 12 V"]', str([f"bus below {10 + k / 10 + j / 100:.2f} V" for j in range(6)]).replace("'", '"')) for k in range(8))), None, "different conditions; the box takes 48"),
    "too many needles": ([("pin = 12", "pin = 0"), (FLAG, "\n" + "".join(NEEDLE.replace("pin = 6", f"pin = {pin}").replace("fuel needle", f"needle {pin}") + f'frequency = "{kilohertz} kHz"\n' for pin, kilohertz in ((7, 1), (12, 20), (17, 4), (19, 4))))], None, "5 needles; the box takes 4"),
    "too many arcs": ([(HYDRAULIC_MARKS, "marks = [" + ", ".join(f"{{ yellow = [{k}, {k + 40}] }}" for k in range(0, 1000, 100)) + "]\n")], "marks = .{ yellow = .0, 40", "the box takes 12"),
    # values
    "an altitude without its unit": ([('altitude = "10000 ft"', "altitude = 10000")], "boil_margin", 'has no unit; write "10000 ft"'),
    "an altitude in a text without its unit": ([('altitude = "10000 ft"', 'altitude = "10000"')], "boil_margin", 'has no unit; write "10000 ft"'),
    "an altitude above all weather": ([('altitude = "10000 ft"', 'altitude = "12000 m"')], "boil_margin", "must lie between -1300 ft and 36000 ft"),
    "an address with the bit for reading": ([("address = 0x3c", "address = 0x78")], "address = 0x78", "0x78 is how some print it, with the bit for reading or writing behind it; write 0x3c"),
    "the other one": ([("address = 0x3c", "address = 0x7a")], "address = 0x7a", "write 0x3d"),
    "an address of something else": ([("address = 0x3c", "address = 0x48")], "address = 0x48\\s+# on I2C", "must be an address 0x3c to 0x3d, not 0x48"),
    "a converter's address, printed so": ([("address = 0x48", "address = 0x90")], "address = 0x90", "write 0x48"),
    "a switch on no pin": ([("pin = 9", "pin = 40")], "pin = 40", "40 cannot be a switch input; free for that are GP0 to GP3 and GP6 to GP21; these are GPIO numbers, not those along the board's edge"),
    "a play in another unit's text": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + 'mark_play = "10 V"\n')], "mark_play", '"10 V" is not in psi'),
    "a step with its unit": ([("step = 20\n", 'step = "20 psi"\n')], "step = .20 psi", '"20 psi" is no number; write 20, without quotes and unit'),
    "words that were too long before": ([('"COOLANT LOST"', '"COOLANT LOST LAND NOW OK"')], "words", "24 characters long; at most 21 fit the face"),
    "words too long by far": ([('"COOLANT LOST"', '"COOLANT LOST LAND NOW OK AND SO ON"')], "words", "34 characters long; at most 21 fit the face"),
    "a label too long by far": ([('label = "coolant"', 'label = "the temperature of the coolant"')], "label", "30 characters long; at most 10 fit the face"),
    "a name for an alert": ([('words = "COOLANT LOST"', 'name = "x"\nwords = "COOLANT LOST"')], 'name = "x"', "alert 1, name: unknown key"),
}  # fmt: skip


@pytest.mark.parametrize("edits, pattern, told", REFUSED.values(), ids=REFUSED)
def test_refused(edits: list[Edit], pattern: str | None, told: str, tmp_path: Path) -> None:
    text = edited(edits)
    with pytest.raises(WrongBoxFile) as wrong:
        box_of(text, tmp_path)
    said = wrong.value.lines
    assert told in " ".join(said), said
    if pattern is not None:
        found = re.search(f"(?m)^(?:{pattern})", text)
        assert found is not None
        line = text[: found.start()].count("\n") + 1
        assert any(one.startswith(f"{tmp_path / 'hull.toml'}:{line}: ") for one in said), (line, said)


# one slip, one problem: what hangs on it is not complained of
ONE_SLIP: dict[str, list[Edit]] = {
    "a fuel input": [('["21 ohm", 4]', '["21 psi", 4]')],
    "a fuel input, and marks with their unit in a sum of it": [('["21 ohm", 4]', '["21 psi", 4]'), ("marks = [{ yellow = [0, 6]", 'marks = [{ yellow = [0, "6 US gal"]')],
    "a unit": [('unit = "US gal"', 'unit = "US gals"')],
    "a derived readout on a page": [("sum = [", "some = ["), ("address = 0x3c", 'address = 0x3c\npages = [["usable fuel"]]')],
    "a switch": [("pin = 9", "pin = 40")],
    "a switch that dim_request follows": [("pin = 12", "pin = 42"), ('[dim_request]                       # instruments that dim when they see voltage on a line\npin = 14\nfollows = "glare shield"\non_above = "8 %"\noff_below = "5 %"', '[dim_request]\npin = 14\nfollows = "panel lights"')],
    "a switch that tells the flight": [("pin = 12", "pin = 42"), ('follows = "bus"\nabove = "13.2 V"', 'follows = "panel lights"')],
    "a name that stands twice": [('name = "imbalance"', 'name = "hydraulic"')],
    "a switch's name that stands twice": [('name = "transfer pump"', 'name = "bus"')],
    "a coolant input": [('[["480 ohm", 40]', '[["480 psi", 40]')],
}  # fmt: skip


@pytest.mark.parametrize("edits", ONE_SLIP.values(), ids=ONE_SLIP)
def test_one_slip_is_one_problem(edits: list[Edit], tmp_path: Path) -> None:
    with pytest.raises(WrongBoxFile) as wrong:
        box_of(edited(edits), tmp_path)
    at_most = (
        2 if any("some = [" in new for _, new in edits) else 1
    )  # an unknown key, and the one that is missing
    assert len(wrong.value.lines) <= at_most, wrong.value.lines


# -- told: edits, of what, what is said

FOUR_TANKS = [
    (LEFT, 'name = "left outboard fuel"\n'), ('name = "right fuel"', 'name = "right inboard fuel"'),
    *[('["left fuel", "right fuel"]', '["left outboard fuel", "right inboard fuel"]')] * 2,
    ('gauge = "left fuel"', 'gauge = "left outboard fuel"'), ('gauge = "right fuel"', 'gauge = "right inboard fuel"'),
]  # fmt: skip
TURNED = (
    LEFT_MARKS.split("marks")[0]
    + 'marks = [{ green = [0, 14] }, { yellow = [14, 18] }, { red = 18, says = "EMPTY" }]'
)

TOLD: dict[str, tuple[list[Edit], str, str]] = {
    "labels it has made": (FOUR_TANKS, "display", 'the face has 10 letters for a name, and calls left outboard fuel "L out fuel", right inboard fuel "R in fuel"; label = "..." sets another'),
    "two units of temperature": ([('unit = "degC"', 'unit = "degF"'), ("step = 2\n" + BOIL_LABEL, 'unit = "degC"\nstep = 2\n' + BOIL_LABEL), ('[["480 ohm", 40], ["210 ohm", 60], ["104 ohm", 80], ["70 ohm", 92], ["55 ohm", 100], ["38 ohm", 112], ["31 ohm", 120]]', '[["480 ohm", 104], ["104 ohm", 176], ["31 ohm", 248]]'), ("marks = [{ yellow = [40, 60] }, { green = [60, 105] }, { yellow = [105, 115] }, { red = 115 }]", "marks = [{ green = [104, 230] }, { red = 230 }]"), ('"coolant temperature above 80 degC"', '"coolant temperature above 180 degF"')], "display", "two units of temperature stand side by side: coolant temperature is in degF, boil margin is in degC"),
    "a gap": ([("{ yellow = [1200, 1400] }", "{ yellow = [1250, 1400] }")], "hydraulic", "no mark from 1200 to 1250: what lies there is told as if it were well"),
    "judged by itself": ([('only_when = "bus above 11 V"', 'only_when = "hydraulic above 20 psi"')], "hydraulic", "WARNING: only_when asks hydraulic itself"),
    "fuel turned round": ([(LEFT_MARKS, TURNED)], "left fuel", "WARNING: a full tank, 18 or more, is told as EMPTY, in red; are the marks turned round?"),
    "fuel turned round, without red": ([(LEFT_MARKS, TURNED.replace("{ red = 18", "{ yellow = [18, 18.5]").replace("[14, 18] }, { yellow = [18, 18.5], says", "[14, 18], says"))], "left fuel", "is told as EMPTY, in yellow"),
    "a sum turned round": ([("{ yellow = [0, 6] }, { green = [6, 36] }", "{ green = [0, 30] }, { red = [30, 36] }")], "usable fuel", "WARNING: a full tank, 30 or more, is told as HIGH, in red"),
    # conditions
    "always below": ([('"coolant pressure below 4 psi"', '"coolant pressure below 40 psi"')], "alert COOLANT LOST", 'WARNING: when: "coolant pressure below 40 psi" always holds; coolant pressure reads 0 to 30 psi'),
    "never above": ([('"coolant temperature above 80 degC"', '"coolant temperature above 180 degC"')], "alert COOLANT LOST", "never holds; coolant temperature reads 40 to 120 degC"),
    "never while": ([('while = "bus above 13.2 V"', 'while = "bus above 20 V"')], "disagree left fuel", 'WARNING: while: "bus above 20 V" never holds'),
    "never judged": ([('only_when = "bus above 11 V"', 'only_when = "bus above 110 V"')], "hydraulic", "never holds"),
    "until as when": ([('when = ["bus below 12.8 V"]\nafter = "bus above 13.2 V"', 'when = ["bus below 12.8 V"]\nuntil = "bus below 12.8 V"')], "alert ALTERNATOR OUT", "comes and goes by turns"),
    "after beyond when": ([('after = "coolant pressure above 6 psi"', 'after = "coolant pressure below 3 psi"')], "alert COOLANT LOST", "after lies beyond when"),
    "after holds with when": ([('after = "coolant pressure above 6 psi"', 'after = "coolant pressure below 8 psi"')], "alert COOLANT LOST", "WARNING: after, which ends it, holds wherever when does: the alert comes and goes by turns"),
    "until holds with when": ([('after = "coolant pressure above 6 psi"', 'until = "coolant pressure below 8 psi"')], "alert COOLANT LOST", "WARNING: until holds wherever when does"),
    "below and above at once": ([('["bus below 12.8 V"]', '["bus below 12.8 V", "bus above 12.8 V"]')], "alert ALTERNATOR OUT", 'WARNING: when: "bus below 12.8 V" and "bus above 12.8 V" never hold together'),
    "on and off at once": ([('["bus below 12.8 V"]', '["panel lights on", "bus below 12.8 V", "panel lights off"]')], "alert ALTERNATOR OUT", 'WARNING: when: "panel lights on" and "panel lights off" never hold together'),
    # NAMUR NE 43: a loop is believed up to 20.5 mA, which are 1546.9 psi of 0 to 1500; a bus of 8 to 16 V to a hundredth of that beyond
    "beyond what a loop is believed": ([('["bus below 12.8 V"]', '["hydraulic above 1560 psi"]')], "alert ALTERNATOR OUT", '"hydraulic above 1560 psi" never holds; hydraulic reads 0 to 1500 psi'),
    "beyond what a bus is believed": ([('["bus below 12.8 V"]', '["bus above 16.3 V"]')], "alert ALTERNATOR OUT", '"bus above 16.3 V" never holds'),
    "a play out of which nothing comes": ([(LEFT_MARKS, LEFT_MARKS.replace("marks", "mark_play = 15\nmarks"))], "left fuel", "WARNING: mark_play = 15 US gal: once it is LOW, in yellow, it stays so whatever left fuel reads"),
    "a play that leaps over the green": ([(HYDRAULIC_MARKS, HYDRAULIC_MARKS + "mark_play = 950\n")], "hydraulic", "WARNING: mark_play = 950 psi: once it is HIGH, in yellow, it stays so"),
    "pressures of two kinds": ([*end(DERIVED.replace("NAME", "two lines").replace('sum = ["left fuel", "right fuel"]', 'difference = ["hydraulic", "reserve line"]').replace("0.5", "20")), ("range = [0, 15]", "range = [0, 30]"), ('pressure = "gauge"', 'pressure = "absolute"')], "two lines", "WARNING: hydraulic is gauge, reserve line is absolute"),
    "the same words": (end(ALERT.replace("WORDS", "ALTERNATOR OUT")), "alert ALTERNATOR OUT", "says the same as the one at line"),
    # the fuel watch
    "a capacity too small": ([('capacity = "36 US gal"', 'capacity = "6 US gal"')], "reserve", "WARNING: capacity = 6 US gal, but usable fuel reads to 36: MAINS FULL is told far too soon"),
    "the wrong mains": ([('mains = "usable fuel"', 'mains = "left fuel"')], "reserve", "but left fuel reads to 18: MAINS FULL is told never"),
    "more than goes over at once": ([('holds = "20 US gal"', 'holds = "200 US gal"')], "reserve", "holds 200 US gal, more than usable fuel reads when full, 36"),
    "a sealed sender": ([('pressure = "gauge"', 'pressure = "sealed"')], "reserve", "WARNING: reserve line is sealed: at 8,000 ft it reads 3.8 psi less (ISO 2533), and stands on its bottom at -0.19"),
    "a sealed sender of volts": ([('pressure = "gauge"', 'pressure = "sealed"'), ('circuit = { kind = "shunt", resistor = "150 ohm", protection = "9.4 kohm", tolerance = "0.1 %" }\nsender = "4-20 mA"', 'circuit = { kind = "divider", top = "10 kohm", bottom = "15 kohm" }\nsender = "0.5-4.5 V"')], "reserve", "on its bottom at 0"),
    "an allowance of more than the tank": ([('unseen = "2 US gal"', 'unseen = "2 US gal"\nallowance = "30 US gal"')], "disagree left fuel", "WARNING: allowance = 30 US gal of a gauge that reads 0 to 18"),
    "more unseen than the tank": ([('unseen = "2 US gal"', 'unseen = "50 US gal"')], "disagree left fuel", "WARNING: unseen = 50 US gal"),
    "burnt in no time": ([('burn = ["3.2 US gal", "4.8 US gal"]', 'burn = ["32 US gal", "48 US gal"]')], "disagree left fuel", "48 US gal an hour would empty it within the hour"),
    "two for one gauge": ([('gauge = "right fuel"', 'gauge = "left fuel"')], "disagree left fuel", "two tables hold this gauge"),
    # words
    "words that leave no name": ([('says = "EMPTY"', 'says = "CHANGE TANKS"')], "display", 'while SERVICE stands there, an alert of left fuel is cut to "CHANGE TANKS": whose it is, nobody can tell'),
    "words of a page of two": ([('says = "EMPTY"', 'says = "CHANGE TANKS"'), ("address = 0x3c", 'address = 0x3c\npages = [["left fuel", "right fuel"]]')], "left fuel", 'on a page of two or three, "CHANGE TANKS" is cut to "CHANGE TAN"'),
    "an alert that loses a word": ([('"COOLANT LOST"', '"COOLANT LOST LAND"')], "alert COOLANT LOST LAND", 'while SERVICE stands there, it is cut to "COOLANT LOST"'),
    # needles
    "a needle beyond its readout": ([('["36 US gal", "96 %"]', '["360 US gal", "96 %"]')], "fuel needle", "WARNING: points go from 0 to 360, but usable fuel reads 0 to 36"),
    "a needle that falls": ([('"12 %"], ["18 US gal", "50 %"], ["36 US gal", "96 %"]', '"96 %"], ["18 US gal", "50 %"], ["36 US gal", "12 %"]'), (FLAG, "\n")], "fuel needle", "parked it reads as something high"),
    "a needle that rises": ([(FLAG, "\n")], "fuel needle", "parked it reads as something low"),
    # what else
    "no lamp for cautions": ([('shows = "caution"                   # until it is acknowledged\nnot_below = "20 %"', "")], "hull console", "an amber one (14 CFR 23.1322)"),
    "a button of the reserve's": ([('test = "test"', 'test = "test"\npage = "transfer pump"')], "transfer pump", "does two things at once: page, and the reserve's pump"),
    "one button twice": ([('test = "test"', 'test = "acknowledge"')], "acknowledge", "does two things at once: acknowledge, and test"),
    "in flight on the battery": ([('above = "13.2 V"', 'above = "9 V"')], "in_flight", "WARNING: above = 9 V lies outside 12.8 V, a battery at rest, to 14 V, an alternator that charges: the box takes itself to be in flight always"),
    "never in flight": ([('above = "13.2 V"', 'above = "15 V"')], "in_flight", "on the ground always"),
}  # fmt: skip


@pytest.mark.parametrize("edits, of, told", TOLD.values(), ids=TOLD)
def test_told(edits: list[Edit], of: str, told: str, tmp_path: Path) -> None:
    notes = [*notes_on_face(box_of(edited(edits), tmp_path))]
    assert any(one == of and told in note for one, note in notes), notes


# -- left alone

ALONE: dict[str, list[Edit]] = {
    "the demo, a needle and its flag": [],
    "a scale that ends at a round number": [('["36 US gal", "96 %"]', '["40 US gal", "96 %"]')],
    "a sender goes on a little beyond its range": [('when = ["bus below 12.8 V"]', 'when = ["bus above 16 V"]'), ('after = "bus above 13.2 V"', 'after = "bus below 15 V"')],
    "until beside when": [('after = "bus above 13.2 V"', 'until = "bus above 12.8 V"')],
    "the reserve in a line that is absolute": [("range = [0, 15]", "range = [0, 30]"), ('pressure = "gauge"', 'pressure = "absolute"')],
    "in flight by a switch": [('follows = "bus"\nabove = "13.2 V"', 'follows = "panel lights"')],
    "an unseen neck": [('capacity = "36 US gal"', 'capacity = "40 US gal"')],
    "a bus of 28 V": [('supply = "14 V"', 'supply = "28 V"'), ('above = "13.2 V"', 'above = "15.9 V"')],
    "a label of its own": [*FOUR_TANKS, ('name = "left outboard fuel"\n', 'name = "left outboard fuel"\nlabel = "left out"\n'), ('name = "right inboard fuel"', 'name = "right inboard fuel"\nlabel = "right in"')],
    "labels that are made of names alike, without a face": [('name = "display"', 'name = "window"'), ('address = 0x3c                      # on I2C, beside the converters\n', ""), *[(old, new.replace("right inboard fuel", "left outboard fuelling")) for old, new in FOUR_TANKS]],
    "a play with its unit": [(HYDRAULIC_MARKS, HYDRAULIC_MARKS + 'mark_play = "10 psi"\n')],
    "a play out of which there is just a way": [(HYDRAULIC_MARKS, HYDRAULIC_MARKS + "mark_play = 800\n")],
    "a loop just below where it is believed no more": [('["bus below 12.8 V"]', '["hydraulic above 1546 psi"]')],
    "until in the middle of when": [('after = "bus above 13.2 V"', 'until = "bus below 12 V"')],
    "one side and another": [('["bus below 12.8 V"]\nafter = "bus above 13.2 V"', '["bus below 12.8 V", "bus above 12 V"]')],
}  # fmt: skip


@pytest.mark.parametrize("edits", ALONE.values(), ids=ALONE)
def test_left_alone(edits: list[Edit], tmp_path: Path) -> None:
    text = edited(edits)
    if 'supply = "28 V"' in text:  # its lamps would burn
        text = re.sub(r"(?m)^load = \{ (?:readings|current|power).*\n|^fuse.*\n|^compensate.*\n", "", text)
    assert [*notes_on_face(box_of(text, tmp_path))] == []


@pytest.mark.parametrize("file", [DEMO, STARTER], ids=["demo", "starter"])
def test_nothing_is_said_of_what_comes_with_it(file: Path) -> None:
    assert [*notes_on_face(read_box(file))] == []


# of temperatures: part of [[derived]], what is said of it; nothing where a degree of the one is so many of the other
TEMPERATURES = {
    "apart in two units": ('difference = ["coolant temperature", "oil temperature"]', "oil temperature is in degC, which is not in degF"),
    "apart in two units, the other way": ('difference = ["oil temperature", "coolant temperature"]', "coolant temperature is in degF, which is not in degC"),
    "a sum in two units": ('sum = ["coolant temperature", "oil temperature"]', "oil temperature is in degC, which is not in degF"),
    "a sum in another unit": ('sum = ["carburettor", "oil temperature"]\nunit = "degF"', "carburettor is in degC, which is not in degF"),
    "apart in one unit": ('difference = ["carburettor", "oil temperature"]', ""),
    "apart in one unit, told in another": ('difference = ["carburettor", "oil temperature"]\nunit = "degF"', ""),
}  # fmt: skip


@pytest.mark.parametrize("parts, told", TEMPERATURES.values(), ids=TEMPERATURES)
def test_scales_that_begin_at_different_places_are_not_added_up(parts: str, told: str) -> None:
    text = SENDERS.read_text() + f'\n[[derived]]\nname = "apart"\n{parts}\nstep = 2\n'
    if told:
        with pytest.raises(WrongBoxFile, match=told):
            box_of_text("senders.toml", text)
        return
    box = box_of_text("senders.toml", text)
    # -30 less 150 and 60 less -20 degC
    size = 1.8 if "degF" in parts else 1.0
    assert derived_span(box.face.derived[0], box) == pytest.approx((-180 * size, 80 * size))


def test_the_reserves_switches_are_followed() -> None:
    told = [name for name, note in notes_on_lights(read_box(DEMO), []) if "nothing follows" in note]
    assert told == ["panel lights"]


def test_a_boil_margin_is_in_the_degrees_of_its_coolant(tmp_path: Path) -> None:
    """1 degC of difference is 1.8 degF; two units of temperature stand on no face unless they are asked for."""
    edits = [*TOLD["two units of temperature"][0]]
    in_celsius = box_of(edited(edits), tmp_path).face.derived[2]
    edits[1] = (BOIL_LABEL, BOIL_LABEL)
    box = box_of(edited(edits), tmp_path)
    _, _, one = box.face.derived
    assert (in_celsius.unit, one.unit) == ("degC", "degF") and [*notes_on_face(box)] == []
    of_celsius = derived_span(in_celsius, box)
    assert derived_span(one, box) == pytest.approx([end * 1.8 for end in of_celsius])


def test_the_usual_allowance_is_of_the_whole_sum(tmp_path: Path) -> None:
    """A tank of 18 US gal has 1.7 (fuel_watch); two have as much of 36."""
    box = box_of(edited([('allowance = "2.2 US gal"\n', "")]), tmp_path)
    assert [one.allowance for one in box.face.gauges] == [Fraction("1.7"), Fraction("1.7"), Fraction("3.4")]


# -- whatever number stands there

TABLES = ("[reserve]", "[[disagree]]", "[[needle]]", "[[alert]]", "[[derived]]")
NUMBER = re.compile(r"(?<![A-Za-z0-9.])\d+(?:\.\d+)?")


@cache
def proven(folder: Path) -> tuple[str, Build, list[re.Match[str]]]:
    """The box, its inputs solved, and the numbers of the tables in question and of all marks."""
    text = edited([])
    places, at, table = [], 0, ""
    for line in text.splitlines(True):
        table = line if line.startswith("[") else table
        if table.startswith(TABLES) or line.startswith("mark"):
            places += [found for found in NUMBER.finditer(text, at, at + len(line))]
        at += len(line)
    return text, build(box_of(text, folder)), places


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("numbers")


FACTORS = [Fraction(10) ** power * sign for power in range(-6, 7) for sign in (1, -1)] + [Fraction(0)]


@settings(derandomize=True, deadline=None, max_examples=400)
@given(st.lists(st.tuples(st.integers(0, 999), st.sampled_from(FACTORS)), min_size=1, max_size=3))
def test_any_number_makes_a_table_or_a_problem(folder: Path, slips: list[tuple[int, Fraction]]) -> None:
    """A table that the box takes, or problems of one line each; never anything else."""
    text, built, places = proven(folder)
    chosen = {place % len(places): factor for place, factor in slips}
    for number in sorted(chosen, reverse=True):
        found = places[number]
        wrong = f"{float(Fraction(found[0]) * chosen[number]):.9f}".rstrip("0").rstrip(".")
        text = text[: found.start()] + wrong + text[found.end() :]
    try:
        box = box_of(text, folder)
        told = [*notes_on_face(box)]
    except WrongBoxFile as wrong_file:
        assert wrong_file.lines
        for line in wrong_file.lines:
            assert re.match(rf"{re.escape(str(folder))}/hull.toml:\d+: \S", line) and line.isprintable()
        return
    assert all(note.isprintable() for _, note in told)
    Table(pack(box, built.inputs, built.lights))


def test_what_the_box_would_refuse_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Should a number get past all that is looked at before."""
    monkeypatch.setattr("gaugelight.check.problems_of_face", lambda box: iter(()))
    box = box_of(edited(REFUSED["a burn without its decimal point"][0]), tmp_path)
    with pytest.raises(WrongBoxFile) as wrong:
        build(box)
    (line,) = wrong.value.lines
    assert (
        "does not fit the box: " in line
        and "disagree: burn_low is out of range; keep its numbers near" in line
    )


@pytest.mark.parametrize("written, degrees", [('"5 degC"', 9), ('"9 degF"', 9), ("5", 5)])
def test_a_difference_of_temperatures_has_no_offset(written: str, degrees: int, tmp_path: Path) -> None:
    """5 degC apart are 9 degF apart (NIST SP 811, B.8: a temperature interval); a mark, a play and a condition of a boil margin."""
    text = DEMO.read_text()
    at = text.index('name = "boil margin"')
    end = text.index("\n\n", at)
    margin = f'{text[at:end]}\nunit = "degF"\nmark_play = {written}'
    margin = re.sub(r"marks = .*", f"marks = [{{ red = {written} }}, {{ green = [20, 100] }}]", margin)
    margin = re.sub(r"bar = .*", "bar = [0, 100]", margin)
    text = text[:at] + margin + text[end:]
    text += f'\n[[alert]]\nwords = "NEAR BOILING"\nurgency = "caution"\nwhen = ["boil margin below {written.strip(chr(34))}"]\n'
    box = box_of(text, tmp_path)
    markings = next(one.markings for one in box.face.derived if one.name == "boil margin")
    assert markings.marks[0].high == degrees and markings.play == degrees
    assert box.face.alerts[-1].when[0].value == degrees
