"""What a builder is told about a wrong box file: the line it stands on, and what would be right.

Each case is an edit of the demo; the line expected is found in the edited text, never counted by hand.
"""

import re
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.boxfile import Box, box_of_text, read_box
from gaugelight.build import build
from gaugelight.faults_shown import faults_shown, notes_on
from gaugelight.harness.check_harness import problems_of_harness
from gaugelight.problems import Misuse, WrongBoxFile
from gaugelight.readouts import Face
from gaugelight.toml_lines import key_lines

AMPHIBIAN = Path(str(files("gaugelight.demo") / "amphibian.toml")).read_text(encoding="utf-8")
# its inputs, and one lamp and its dim request; the rest of its lights in test_light_file.py
FACE_KEYS = ("marks", "mark_delay", "label", "only_when", "face")
# the demo's senders, without what the face shows of them; the reserve line's sealed
SENDERS_ALONE = "".join(
    line
    for line in AMPHIBIAN[: AMPHIBIAN.index("# --- what follows")].splitlines(True)
    if not line.startswith(FACE_KEYS)
).replace('"gauge"', '"sealed"', 1)
DEMO = SENDERS_ALONE + """# --- light ---

[[lamp]]
name = "glare shield"
pin = 15
frequency = "4 kHz"
knob = 27
curve = "lightness"                 # or { gamma = 2.2 }

[dim_request]                       # instruments that dim when they see voltage on a line
pin = 14
follows = "glare shield"
on_above = "8 %"
off_below = "5 %"
"""


EVERY_SENDER = Path(__file__).parent / "senders.toml"


def header(name: str) -> str:
    """The header of the input or lamp with that name: problems of a whole table are told there."""
    return rf'\[\[\w+\]\]\nname = "{re.escape(name)}"'


def lamp(name: str, pin: int, frequency: str = "4 kHz", knob: int = 26) -> str:
    return f'[[lamp]]\nname = "{name}"\npin = {pin}\nfrequency = "{frequency}"\nknob = {knob}\n\n'


def voltage(name: str, pin: object) -> str:
    circuit = 'circuit = { kind = "direct" }\nunit = "V"\nrange = [0, 3]\n'
    return f'[[input]]\nname = "{name}"\npin = {pin}\n{circuit}\n'


FREE_KNOB = ("pin = 26\n", 'pin = "fore.2"\n')  # moves the bus input off pin 26
DIM = "[dim_request]"
COOLANT_CIRCUIT = '{ kind = "pull-up", resistor = "220 ohm", rail = "sender rail", protection = "9.4 kohm", tolerance = "0.1 %" }'
RESERVE_SHUNT = 'resistor = "150 ohm", protection = "9.4 kohm", tolerance = "0.1 %" }\nsender = "4-20 mA"\nunit = "psi"\npressure = "sealed"'
LEFT_FUEL_UNIT = 'unit = "US gal"\nstep = 0.5\npoints = [["0 ohm", 0], ["21'
COOLANT_POINTS = re.findall(r'points = \[\["480.*', DEMO)[0]


def coolant(old: str, new: str) -> tuple[str, str]:
    """An edit of the coolant temperature's points, several of whose parts stand in the file more than once."""
    assert COOLANT_POINTS.count(old) == 1
    return COOLANT_POINTS, COOLANT_POINTS.replace(old, new)


Edit = tuple[str, str]
Case = tuple[list[Edit], str, str]  # edits, a pattern found first on the expected line, key phrase

KEYS_AND_TABLES: dict[str, Case] = {
    "unknown key, a near miss": (
        [('damping = "2 s"', 'dampin = "2 s"')],
        "dampin ",
        'did you mean "damping"?',
    ),
    "unknown key, nothing near": (
        [("step = 2\n", 'step = 2\nqqq = "red"\n')],
        "qqq",
        "unknown key; known here: ",
    ),
    "unknown key in box": ([('supply = "14 V"', 'suply = "14 V"')], "suply", 'did you mean "supply"?'),
    "unknown key in converter": ([("address = 0x49", "adress = 0x49")], "adress", 'did you mean "address"?'),
    "unknown key in lamp": ([("knob = 27", "knob = 27\nknobb = 27")], "knobb", 'did you mean "knob"?'),
    "unknown key in dim_request": ([("on_above", "on_over")], "on_over", "unknown key"),
    "unknown table, a near miss": ([(DIM, "[dim_reqest]")], r"\[dim_reqest", 'did you mean "dim_request"?'),
    "unknown table, nothing near": ([(DIM, "[xyz]")], r"\[xyz", "unknown table; known: box, converter"),
    "unknown array of tables": ([("[[lamp]]", "[[lamps]]")], r"\[\[lamps", 'did you mean "lamp"?'),
    "a key before all tables": ([("[box]", "qqq = 3\n[box]")], "qqq", "unknown table"),
    "one bracket for an input": (
        [(DEMO[DEMO.index("# --- fuel") :], '[input]\nname = "x"\n')],
        r"\[input",
        "under [[input]]",
    ),
    "two brackets for the box": ([("[box]", "[[box]]")], r"\[\[box", "under [box]"),
    "two brackets for a converter": (
        [("[converter.aft]", "[[converter.aft]]")],
        r"\[\[conv",
        "[converter.NAME]",
    ),
    "a converter without a name": (
        [
            ("[converter.aft] ", "[converter]"),
            ("[converter.fore]\n", "#"),
            ('kind = "ads1115"\naddress = 0x49', ""),
        ],
        r"\[converter",
        "[converter.NAME]",
    ),
    "box missing": (
        [('[box]\nname = "hull console"\nboard = "rp2040"\nsupply = "14 V"\n', "")],
        "#",
        "is missing",
    ),
    "nothing to do": ([(DEMO[DEMO.index("[converter.aft]") :], "")], "#", "add an [[input]] or a [[lamp]]"),
    "unknown board": ([('"rp2040"', '"rp2350"')], "board", "write one of: rp2040"),
    "board missing": ([('board = "rp2040"\n', "")], r"\[box", 'write board = "rp2040"'),
    "supply in ampere": ([('"14 V"', '"14 A"')], "supply", "is not in V; usable here: V, mV"),
    "supply of nought": ([('"14 V"', '"0 V"')], "supply", "more than 0"),
}

NAMES: dict[str, Case] = {
    "too long": ([('name = "bus"', f'name = "{25 * "b"}"')], 'name = "bbb', "25 characters long; at most 24"),
    "not ASCII": ([('name = "bus"', 'name = "b\u00fcs"')], 'name = "b\u00fcs', "plain ASCII"),
    "with the line's own separator": ([('name = "bus"', 'name = "b|s"')], r'name = "b\|s', "plain ASCII"),
    "with a comma": ([('name = "bus"', 'name = "b,s"')], 'name = "b,s', "plain ASCII"),
    "over two lines": ([('name = "bus"', 'name = "b\\ns"')], 'name = "b', "plain ASCII"),
    "empty": ([('name = "bus"', 'name = " "')], 'name = " "', "must be a text"),
    "a number": ([('name = "bus"', "name = 5")], "name = 5", "must be a text"),
    "missing": ([('name = "bus"\n', "")], r"\[\[input\]\]\npin = 26", "name is missing; write name = "),
    "twice, inputs": ([('name = "right fuel"', 'name = "left fuel"')], r'\[\[input\]\]\nname = "left fuel"\npin = "aft.1', "each needs its own"),
    "twice, lamps": ([FREE_KNOB, (DIM, lamp("glare shield", 12) + DIM)], r'\[\[lamp\]\]\nname = "glare shield"\npin = 12', "each needs its own"),
    "box name": ([('name = "hull console"', 'name = ""')], 'name = ""', "must be a text"),
    "converter name not ASCII": ([("[converter.aft]", '[converter."\u00fcber"]')], r'\[converter."\u00fc', "plain ASCII"),
    "converter name too long": ([("[converter.aft]", f"[converter.{300 * 'a'}]")], r"\[converter.aaa", "at most 24"),
    "converter name with a dot": ([("[converter.aft]", '[converter."a.b"]')], r'\[converter."a', 'without "."'),
}  # fmt: skip

PINS: dict[str, Case] = {
    "converter channel used twice": ([('"aft.1"', '"aft.0"')], header("right fuel"), "pin aft.0 is used by left fuel"),
    "on-chip pin also a knob": ([("knob = 27", "knob = 28")], header("glare shield"), "used by coolant pressure"),
    "output pin used twice": ([("pin = 14\n", "pin = 15\n")], r"\[dim_request", "pin 15 is used by glare shield"),
    "output on the I2C pins": ([("pin = 15\n", "pin = 4\n")], "pin = 4", "GP0 to GP3 and GP6 to GP21"),
    "output pin as text": ([("pin = 15\n", 'pin = "15"\n')], 'pin = "15', "GP0 to GP3 and GP6 to GP21"),
    "output pin true": ([("pin = 15\n", "pin = true\n")], "pin = true", "GP0 to GP3 and GP6 to GP21"),
    "no such on-chip pin": ([("pin = 26\n", "pin = 29\n")], "pin = 29", "there are GP26, GP27 and GP28"),
    "knob on no converter pin": ([("knob = 27", "knob = 15")], "knob = 15", "there are GP26, GP27 and GP28"),
    "no such converter": ([('"fore.0"', '"bow.0"')], 'pin = "bow', "there is: aft, fore"),
    "no such channel": ([('"fore.0"', '"fore.4"')], 'pin = "fore.4', "channels are fore.0 to fore.3"),
    "pin missing": ([("knob = 27\n", "")], header("glare shield"), "what sets its level is missing; write knob, follows or level"),
    "converter kind unknown": ([('kind = "ads1115"\naddress = 0x49', 'kind = "x"')], 'kind = "x', "one of: ads1115"),
    "address out of range": ([("0x49", "0x50")], "address = 0x50", "0x48 to 0x4b"),
    "address of two": ([("0x49", "0x48")], r"address = 0x48\n\n# ---", "address 0x48 is aft's"),
    "address left out twice": (
        [("address = 0x48\n", ""), ("address = 0x49\n", "")],
        r"\[converter.fore",
        "address 0x48 is aft's",
    ),
    "a converter that nothing uses": (
        [("[converter.fore]", '[converter.bow]\nkind = "ads1115"\naddress = 0x4a\n[converter.fore]')],
        r"\[converter.bow",
        "no input uses it",
    ),
    "one PWM slice, two frequencies": (
        [FREE_KNOB, ("pin = 15\n", "pin = 12\n"), (DIM, lamp("map", 13, "1 kHz") + DIM)],
        'frequency = "1 kHz"',
        "runs the same PWM slice at 4000 Hz",
    ),
    "one PWM channel for two lamps": (
        [FREE_KNOB, ("pin = 15\n", "pin = 2\n"), (DIM, lamp("map", 18) + DIM)],
        "pin = 18",
        "pins 2 and 18 share a PWM channel",
    ),
}  # fmt: skip

CIRCUITS: dict[str, Case] = {
    "unknown kind": ([(COOLANT_CIRCUIT, '{ kind = "bridge" }')], 'circuit = { kind = "bridge', "pull-up, shunt, divider, direct, millivolt"),
    "kind a list": ([(COOLANT_CIRCUIT, '{ kind = ["direct"] }')], r"circuit = { kind = \[", "pull-up, shunt, divider, direct"),
    "a text": ([(COOLANT_CIRCUIT, '"pull-up"')], 'circuit = "pull', "must be { kind = "),
    "missing": ([(f"circuit = {COOLANT_CIRCUIT}\n", "")], header("coolant temperature"), "circuit is missing"),
    "a key too many": ([('{ kind = "direct", p', '{ kind = "direct", top = "1 ohm", p')], 'circuit = { kind = "direct', 'a direct has no "top"'),
    "a key missing": ([(', bottom = "10 kohm"', "")], 'circuit = { kind = "divider", top = "47 kohm", p', 'a divider needs "bottom"'),
    "resistor a plain number": ([('"220 ohm"', "220")], "circuit = .*resistor = 220,", 'has no unit; write "220 ohm"'),
    "resistor without a unit": ([('"220 ohm"', '"220"')], 'circuit = .*resistor = "220",', 'has no unit; write "220 ohm"'),
    "resistor in mA": ([('"220 ohm"', '"220 mA"')], 'circuit = .*resistor = "220 mA', "usable here: ohm, kohm, Mohm"),
    "resistor of nought": ([('"220 ohm"', '"0 ohm"')], 'circuit = .*resistor = "0 ohm', "1 ohm to 10 Mohm"),
    "resistor beyond all bounds": ([('"220 ohm"', '"11 Mohm"')], 'circuit = .*resistor = "11 Mohm', "1 ohm to 10 Mohm"),
    "resistor of endless digits": ([('"220 ohm"', f'"{400 * "9"} ohm"')], 'circuit = .*resistor = "999', 'is no quantity; write "<number> ohm"'),
    "rail missing": ([('name = "sender rail"', 'name = "rail"')], header("left fuel"), "is no measured rail; there is: rail"),
    "rail not stated as one": ([('nominal = "3.3 V"', "range = [2.6, 3.5]")], header("left fuel"), "add an input with unit = V and nominal"),
    "rail on another converter": ([('"aft.1"', '"fore.2"')], header("right fuel"), "same converter"),
    "pull-up on the on-chip converter": ([FREE_KNOB, ('"aft.3"', "26"), ('"3.3 V"', '"3 V"')], header("left fuel"), "same converter"),
    "shunt too large": ([(RESERVE_SHUNT, RESERVE_SHUNT.replace("150", "250"))], header("reserve line"), "a shunt of 160 ohm would do, the nearest preferred value (IEC 60063, E24)"),
    "divider divides too little": ([('top = "10 kohm"', 'top = "1 kohm"')], header("coolant pressure"), "a top of 7500 ohm would do (IEC 60063, E24)"),
    "5 V straight on a pin": ([('{ kind = "divider", top = "10 kohm", bottom = "15 kohm", protection = "4.7 kohm", tolerance = "0.1 %" }', '{ kind = "direct" }')], header("coolant pressure"), "use a divider that leaves 0.673 of the voltage"),
    "5 V rail straight on a pin": ([('"3.3 V"', '"5 V"')], header("sender rail"), "would put 5.4"),
    "nominal of nought": ([('"3.3 V"', '"0 V"')], 'nominal = "0', "more than 0"),
    "nominal below nought": ([('"3.3 V"', '"-3.3 V"')], 'nominal = "-3', "more than 0"),
    "nominal in ohm": ([('"3.3 V"', '"3.3 ohm"')], 'nominal = "3.3 ohm', "is not in V"),
    "range below nought": ([("range = [8, 16]", "range = [-8, 16]")], r"range = \[-8", "below 0 cannot be measured"),
    "a shunt so small that nothing is left": ([(RESERVE_SHUNT, RESERVE_SHUNT.replace("150", "1"))], header("reserve line"), "match the circuit"),
    "a sender beyond the pull-up's reach": ([coolant('["480 ohm"', '["900000 kohm"')], header("coolant temperature"), "match the circuit"),
}  # fmt: skip

SENDERS: dict[str, Case] = {
    "unit missing": ([('unit = "degC"\n', "")], header("coolant temperature"), 'unit is missing; write unit = a unit, such as "US gal"'),
    "unit unknown": ([('"degC"', '"celsius"')], 'unit = "celsius', "write one of: US gal, imp gal"),
    "gallons of no kind": ([(LEFT_FUEL_UNIT, LEFT_FUEL_UNIT.replace("US gal", "gal"))], 'unit = "gal"', '"US gal" or "imp gal"'),
    "gallons spelled out": ([(LEFT_FUEL_UNIT, LEFT_FUEL_UNIT.replace("US gal", "gallons"))], 'unit = "gallons"', '"US gal" or "imp gal"'),
    "psi of no kind": ([('pressure = "sealed"\n', "")], r'unit = "psi"\nrange = \[0, 15\]', 'add pressure = "gauge", "sealed" or "absolute"'),
    "psi of an unknown kind": ([('"sealed"', '"relative"')], 'pressure = "relative', "write one of: gauge, sealed, absolute"),
    "a pressure in degrees": ([('unit = "degC"', 'unit = "degC"\npressure = "gauge"')], r'pressure = "gauge"\nstep = 2\n', "degC is no unit of pressure"),
    "readings turn back": ([coolant('"104 ohm", 80', '"104 ohm", 50')], r'points = \[\["480', "turn back at 104 ohm"),
    "points twice": ([coolant('"104 ohm"', '"210 ohm"')], r'points = \[\["480', "210 ohm stands there twice"),
    "points all alike": ([(COOLANT_POINTS, 'points = [["1 ohm", 5], ["2 ohm", 5]]')], r"points = \[\[\"1 ohm", "all readings are the same"),
    "one point": ([(COOLANT_POINTS, 'points = [["1 ohm", 5]]')], r'points = \[\["1 ohm', "two or more"),
    "points no list": ([(COOLANT_POINTS, 'points = "1 ohm"')], 'points = "1', "two or more"),
    "a point without a reading": ([coolant('["104 ohm", 80]', '["104 ohm"]')], r'points = \[\["480', "point 3 must be"),
    "a point without a unit": ([coolant('"104 ohm"', "104")], r'points = \[\["480', 'point 3: has no unit; write "104 ohm"'),
    "a point in volts": ([coolant('"104 ohm"', '"104 V"')], r'points = \[\["480', 'point 3: "104 V" is not in ohm'),
    "a point below nought": ([coolant('"104 ohm"', '"-104 ohm"')], r'points = \[\["480', "below 0 cannot be measured"),
    "a reading that is a text": ([coolant('"104 ohm", 80', '"104 ohm", "80"')], r'points = \[\["480', 'point 3: "80" has no unit; write "80 degC"'),
    "a point the wrong way round": ([coolant('"104 ohm", 80', '80, "104 ohm"')], r'points = \[\["480', "the signal with its unit, then a number"),
    "a decimal comma in a quantity": ([('"4 kHz"', '"4,5 kHz"')], "frequency", "a decimal point, no comma"),
    "a unit as it is printed on the part": ([('"220 ohm"', '"220 \u03a9"')], "circuit.*220", 'write "220 ohm"'),
    "a unit in capitals": ([('"degC"', '"DEGC"')], "unit = .DEGC", 'did you mean "degC"'),
    "a name with a space at its end": ([('"coolant temperature"', '"coolant temperature "')], "name = .coolant temp", "ends with a space"),
    "a reading that is no number": ([coolant('"104 ohm", 80', '"104 ohm", nan')], r'points = \[\["480', "point 3: nan is no number"),
    "a reading out of all proportion": ([coolant('"480 ohm", 40', f'"480 ohm", -{400 * "9"}')], r'points = \[\["480', "out of all proportion"),
    "a signal out of all proportion": ([coolant('"480 ohm"', f'"{400 * "9"} ohm"')], r'points = \[\["999', 'point 1: "999'),
    "points missing": ([(COOLANT_POINTS + "\n", "")], header("coolant temperature"), "points are missing; write points = "),
    "points and sender": ([(COOLANT_POINTS, COOLANT_POINTS + '\nsender = "31-480 ohm"')], "sender = .31", "points say it all"),
    "sender without range": ([("range = [0, 15]\n", "")], r'sender = "4-20 mA"\nunit = "psi"\npressure = "sealed"', "write range = [lowest, highest] in psi"),
    "sender in ohm on a divider": ([('"0.5-4.5 V"', '"0.5-4.5 ohm"')], 'sender = "0.5', '"<at lowest>-<at highest> V"'),
    "sender with no span": ([('"0.5-4.5 V"', '"4.5-4.5 V"')], 'sender = "4.5', '"<at lowest>-<at highest> V"'),
    "range backwards": ([("range = [8, 16]", "range = [16, 8]")], r"range = \[16", "the lower end comes first"),
    "range of one": ([("range = [8, 16]", "range = [8]")], r"range = \[8\]", "must be [lowest, highest]"),
    "range in another kind of unit": ([("range = [8, 16]", 'range = ["8 ohm", "16 V"]')], r'range = \["8', '"8 ohm" is not in V'),
    "range missing": ([("range = [8, 16]\n", "")], header("bus"), "range is missing"),
    "step too fine": ([("step = 0.1\n", "step = 0.001\n")], header("bus"), "too coarse for a step of 0.001"),
    "step too fine for the points": ([("step = 2\n", "step = 0.02\n")], header("coolant temperature"), "too coarse for a step of 0.02"),
    "step larger than the readings": ([("step = 2\n", "step = 500\n")], "step = 500", "does not suit readings that span 80 degC"),
    "step of nought": ([("step = 2\n", "step = 0\n")], r"step = 0\n", "must be more than 0"),
    "step a text": ([("step = 2\n", 'step = "2"\n')], 'step = "2', "is no number"),
    "damping a plain number": ([('damping = "2 s"', "damping = 2")], "damping = 2", 'has no unit; write "2 s"'),
    "damping in minutes": ([('damping = "2 s"', 'damping = "2 min"')], 'damping = "2 min', "usable here: s, ms"),
    "damping too long": ([('damping = "2 s"', 'damping = "121 s"')], 'damping = "121', "between 0 s and 120 s"),
    "damping that does not fit the box": ([('range = [0, 1500]\nstep = 20\ndamping = "300 ms"', 'range = [0, 900000]\nstep = 9000\ndamping = "120 s"')], header("hydraulic"), "damping"),
}  # fmt: skip

LIGHT: dict[str, Case] = {
    "frequency a plain number": ([('"4 kHz"', "4000")], "frequency = 4000", 'has no unit; write "4000 Hz"'),
    "frequency too low": ([('"4 kHz"', '"50 Hz"')], 'frequency = "50', '"100 Hz" to "100 kHz"'),
    "frequency not whole": ([('"4 kHz"', '"100.5 Hz"')], 'frequency = "100.5', "a whole number of hertz"),
    "curve unknown": ([('"lightness"', '"linear"')], 'curve = "linear', '"lightness" or { gamma = 2.2 }'),
    "gamma out of range": ([('"lightness"', "{ gamma = 9 }")], "curve = { gamma", "outside 1 to 4"),
    "gamma a text": ([('"lightness"', '{ gamma = "2" }')], "curve = { gamma", "is no number"),
    "dim request follows nothing": ([('follows = "glare shield"', 'follows = "map"')], 'follows = "map"', "there is: glare shield"),
    "dim request that hunts": ([('"8 %"', '"5 %"')], "on_above", "must lie above off_below"),
    "per cent a plain number": ([('"8 %"', "8")], "on_above", 'has no unit; write "8 %"'),
    "per cent beyond the knob": ([('"8 %"', '"101 %"')], "on_above", "between 0 % and 100 %"),
    "seven lamps": (
        [FREE_KNOB, (DIM, "".join(lamp(f"lamp {n}", n) for n in (6, 7, 8, 9, 10, 11)) + DIM)],
        header("lamp 11"),
        "7 lamps; the box takes 6",
    ),
    "seventeen inputs": (
        [
            ("[converter.fore]", '[converter.mid]\nkind = "ads1115"\naddress = 0x4a\n[converter.fore]'),
            ("[converter.fore]", '[converter.bow]\nkind = "ads1115"\naddress = 0x4b\n[converter.fore]'),
            ("# --- light", "".join(voltage(f"{c}{n}", f'"{c}.{n}"') for c in ("mid", "bow") for n in range(4)) + "# --- light"),
            ("# --- light", voltage("one too many", '"fore.2"') + "# --- light"),
        ],
        header("one too many"),
        "17 inputs; the box takes 16",
    ),
}  # fmt: skip

TOML: dict[str, Case] = {
    "no value": ([("address = 0x49", "address = ")], "address = $", "TOML: "),
    "text not closed": ([('unit = "degC"', 'unit = "degC')], 'unit = "degC$', "TOML: "),
    "a key twice": (
        [("step = 2\n", "step = 2\nstep = 2\n")],
        "step = 2\nunit|(?<=step = 2\n)step = 2",
        "TOML: ",
    ),
    "a table twice": ([(DIM, "[box]")], r"\[box\] +#", "TOML: "),
    "prose": ([("[box]", "The box is:\n[box]")], "The box", "TOML: "),
}

CASES = {
    f"{group}: {name}": case
    for group, cases in {
        "keys": KEYS_AND_TABLES,
        "names": NAMES,
        "pins": PINS,
        "circuits": CIRCUITS,
        "senders": SENDERS,
        "light": LIGHT,
        "TOML": TOML,
    }.items()
    for name, case in cases.items()
}


def edited(edits: list[Edit]) -> str:
    text = DEMO
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands there {text.count(old)} times"
        text = text.replace(old, new)
    return text


def complaints(text: str | bytes, file: Path) -> list[str]:
    """What reading and building say of a text; nothing when all is well."""
    file.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    try:
        build(read_box(file))
    except WrongBoxFile as wrong:
        return list(wrong.lines)
    return []


ON_SENDERS: dict[str, tuple[str, str, str, str]] = {
    "no such range": ('full_scale = "0.256 V"\n\n[converter.slow]', 'full_scale = "3 V"\n\n[converter.slow]', "full_scale = .3 V", "there are: 6.144, 4.096, 2.048, 1.024, 0.512, 0.256 V"),
    "no such data rate": ('rate = "250 Hz"', 'rate = "100 Hz"', "rate = .100", "there are: 8, 16, 32, 64, 128, 250, 475, 860 Hz"),
    "no such mode": ('rate = "250 Hz"', 'rate = "250 Hz"\nmode = "burst"', "mode = .burst", "write one of: single-shot, continuous"),
    "continuous for several": ('rate = "250 Hz"', 'rate = "250 Hz"\nmode = "continuous"', header("manifold"), "serves one input, five volts"),
    "oversampling on a chip": ('pin = "fore.1"', 'pin = "fore.1"\noversample = 4', "oversample = 4", "an ADS1115 has its data rate"),
    "oversampling by three": ("oversample = 16", "oversample = 3", "oversample = 3", "write one of: 1, 2, 4, 8, 16, 32, 64"),
    "a range for an on-chip pin": ("oversample = 16", 'oversample = 16\nfull_scale = "4.096 V"', "full_scale = .4.096", "an on-chip pin has its reference"),
    "one float alone in series": ('  [["3 ohm", 11], ["50 ohm", "70 l"], ["92 ohm", 26]],\n', "", "series", "two lists of points, one for each float"),
    "a stretch that neither float covers": ('["3 ohm", 11]', '["3 ohm", 14]', "series", "from 13 to 14 US gal the two together do not change"),
    "two resistances for one reading": ('["40 ohm", 7]', '["40 ohm", 0]', "series", "first float: two resistances stand for one reading"),
    "series and points": ("series = [\n", 'points = [["0 ohm", 0], ["1 ohm", 1]]\nseries = [\n', "series", "points say it all already"),
    "a thermometer's unit": ('sender = "Pt1000"\nunit = "degC"', 'sender = "Pt1000"\nunit = "V"', "sender = .Pt1000", "tells a temperature, but the unit is V"),
    "a thermometer beyond its table": ("range = [-20, 150]", "range = [-20, 900]", r"range = \[-20, 900", "this sender is known from -200 to 850 degC"),
    "a thermocouple on a pull-up": ('sender = "Pt1000"', 'sender = "thermocouple K"', "sender = .thermocouple K.\nunit = .degC.\nrange = .-20", "does not fit this circuit"),
    "another thermocouple": ('"thermocouple K"', '"thermocouple T"', "sender = .thermocouple T", "does not fit this circuit"),
    "a thermistor of no kind": ('{ b = "3950 K", resistance', '{ b = "3950 K", ohms', "sender = . b", "must be one of: { steinhart_hart"),
    "a B value in degrees": ('b = "3950 K"', 'b = "3950 degC"', "sender = . b", "is not in K"),
    "a B value beyond all bounds": ('b = "3950 K"', 'b = "39 K"', "sender = . b", "500 K to 10000 K"),
    "coefficients of nothing": ("[1.40e-3, 2.37e-4, 9.90e-8]", "[1.40, 2.37, 9.90]", "sender = . steinhart", r"must be \[a, b, c\] for ohm and kelvin"),
    "two coefficients": ("[1.40e-3, 2.37e-4, 9.90e-8]", "[1.40e-3, 2.37e-4]", "sender = . steinhart", r"must be \[a, b, c\] for ohm and kelvin"),
    "a thermistor's table that rises": ('{ b = "3950 K", resistance = "10 kohm", at = "25 degC" }', '{ table = [["10 kohm", "25 degC"], ["20 kohm", "50 degC"]] }', "sender = . table", "must fall as the temperature rises"),
    "a thermistor's table that none has": ('{ b = "3950 K", resistance = "10 kohm", at = "25 degC" }', '{ table = [["10 kohm", "25 degC"], ["9.9 kohm", "90 degC"]] }', "sender = . table", "is no thermistor's"),
    "a cold junction left out": ('sender = "thermocouple K"\ncold_junction = "box temperature"\n', 'sender = "thermocouple K"\n', header("exhaust"), "is missing; name the input"),
    "a cold junction that is no temperature": ('sender = "thermocouple K"\ncold_junction = "box temperature"', 'sender = "thermocouple K"\ncold_junction = "bus"', header("exhaust"), "is no temperature; there is: coolant temperature, box temperature"),
    "a cold junction for a float": ('sender = "240-33 ohm"', 'sender = "240-33 ohm"\ncold_junction = "bus"', "cold_junction = .bus", "belongs to a thermocouple"),
    "the name of the on-chip reference": ('name = "bus"', 'name = "reference"', 'name = "reference"', "the on-chip converter's own reference is called"),
    "a divider on the reference": ('circuit = { kind = "divider", top = "47 kohm", bottom = "10 kohm" }', 'circuit = { kind = "divider", top = "47 kohm", bottom = "10 kohm", rail = "reference" }', header("bus"), "leave rail out"),
    "a thermistor at absolute zero": ('at = "25 degC"', 'at = "-273.15 degC"', "sender = . b", "is no temperature of a thermistor"),
    "limits within the sender's own span": ('["3.1 mA", "3.2 mA", "20.5 mA", "21 mA"]', '["5 mA", "6 mA", "20.5 mA", "21 mA"]', "limits", "the sender itself goes from 4 to 20 mA; .* must leave it room"),
    "a thermistor beyond its table": ('{ b = "3950 K", resistance = "10 kohm", at = "25 degC" }', '{ table = [["10 kohm", "25 degC"], ["1 kohm", "95 degC"]] }', r"range = \[-30, 70", "this sender is known from 25 to 95 degC"),
    "absolutely below nought": ('range = ["0 bar", "2 bar"]', 'range = ["-1 bar", "2 bar"]', r"range = \[.-1", "no absolute pressure is below 0"),
    "a wire of a kilometre": ('wire = "0.8 ohm"', 'wire = "10 kohm"', "circuit = .*10 kohm", "wire .* 0 ohm to 1000 ohm"),
    "milli for mega": ('protection = "1 kohm" }\nsender = "Pt1000"', 'protection = "1 mohm" }\nsender = "Pt1000"', "circuit = .*1 mohm", "usable here: ohm, kohm, Mohm"),
    "a tolerance beyond all bounds": ('tolerance = "3 %"', 'tolerance = "200 %"', "tolerance = .200", "is no tolerance"),
    "a resistor's tolerance beyond all bounds": ('tolerance = "0.1 %"', 'tolerance = "60 %"', "circuit = .*60 %", "at most 50 %"),
    "a converter's key in an input": ('oversample = 64', 'oversample = 64\nrate = "8 Hz"', "rate = .8 Hz", r"belongs under \[converter.NAME\]"),
    "amperes into a tank": ('resistor = "200 ohm"', 'resistor = "2 ohm"', header("left fuel"), "puts 1.6 A through a sender at 0 ohm"),
    "a float beyond full scale": ('pin = "aft.1"\n', 'pin = "aft.1"\nfull_scale = "1.024 V"\n', header("right fuel"), "more than its full_scale of 1.024 V"),
    "limits out of order": ('["3.1 mA", "3.2 mA", "20.5 mA", "21 mA"]', '["3.1 mA", "3.2 mA", "21.5 mA", "21 mA"]', "limits", "must rise"),
    "three limits": ('["3.1 mA", "3.2 mA", "20.5 mA", "21 mA"]', '["3.1 mA", "3.2 mA", "20.5 mA"]', "limits", "measuring from, measuring to"),
    "limits in volts": ('["3.1 mA", "3.2 mA", "20.5 mA", "21 mA"]', '["3.1 V", "3.2 mA", "20.5 mA", "21 mA"]', "limits", "is not in mA"),
    "a tolerance without a unit": ('tolerance = "3 %"', "tolerance = 3", "tolerance = 3", 'write "1 %" of the span, "2 US gal" or "1 ohm"'),
    "a tolerance in the other degrees": ('tolerance = "4 degF"', 'tolerance = "4 degC"', "tolerance = .4", "is given in degF here"),
    "a resistor's tolerance in ohm": ('tolerance = "0.1 %"', 'tolerance = "0.1 ohm"', "circuit = .*0.1 ohm", "tolerance .* is not in %"),
    "wire below nought": ('wire = "0.8 ohm"', 'wire = "-0.8 ohm"', "circuit = .*-0.8", "wire .* 0 ohm to 1000 ohm"),
    "the reference of a chip": ('resistor = "330 ohm", rail = "cabin rail"', 'resistor = "330 ohm", rail = "reference"', header("carburettor"), "only an on-chip pin has"),
    "a float between two inputs": ('pin = "aft.1"', 'pin = "aft.0-1"', header("right fuel"), "pin aft.0 is used by left fuel"),
    "a thermocouple on one input": ('pin = "hot.2-3"', 'pin = "hot.2"', header("exhaust"), 'such as "aft.0-1"'),
    "a thermocouple too coarse": ('pin = "hot.2-3"\n', 'pin = "hot.2-3"\nfull_scale = "4.096 V"\n', header("exhaust"), 'one step of the converter is up to 3.*degC, too coarse for a step of 5; .*full_scale = "0.256 V"'),
    "more than its rail": ('top = "10 kohm", bottom = "15 kohm", rail = "five volts"', 'top = "1 kohm", bottom = "22 kohm", rail = "five volts"', header("manifold"), "on the pin, which takes|divide it at least as the rail is divided"),
    "a pull-up that cannot tell": ('"1 kohm", rail = "sender rail" }\nsender = { steinhart', '"1 ohm", rail = "sender rail" }\nsender = { steinhart', header("coolant temperature"), "a pull-up of .* ohm would do, the nearest preferred value (IEC 60063, E24)"),
}  # fmt: skip


@pytest.mark.parametrize("old, new, pattern, phrase", ON_SENDERS.values(), ids=ON_SENDERS)
def test_wrong_sender(old: str, new: str, pattern: str, phrase: str, tmp_path: Path) -> None:
    text, file = EVERY_SENDER.read_text(), tmp_path / "hull.toml"
    assert text.count(old) == 1, f"{old!r} stands there {text.count(old)} times"
    text = text.replace(old, new)
    found = re.search(f"(?m)^(?:{pattern})", text)
    assert found is not None
    line = text[: found.start()].count("\n") + 1
    said = complaints(text, file)
    assert (
        said
        and said[0].startswith(f"{file}:{line}: ")
        and re.search(phrase.replace("(IEC", r"\(IEC").replace("E24)", r"E24\)"), said[0])
    ), said


@pytest.mark.parametrize("edits, pattern, phrase", CASES.values(), ids=CASES)
def test_wrong(edits: list[Edit], pattern: str, phrase: str, tmp_path: Path) -> None:
    text, file = edited(edits), tmp_path / "hull.toml"
    found = re.search(f"(?m)^(?:{pattern})", text)
    assert found is not None
    line = text[: found.start()].count("\n") + 1
    said = complaints(text, file)
    assert said and said[0].startswith(f"{file}:{line}: ") and phrase in said[0], said
    assert all(s.startswith(f"{file}:") and s.isprintable() for s in said)
    assert not any("unknown key" in s for s in said[1:]), "what could not be judged is not unknown"


FILES: dict[str, tuple[bytes | None, str]] = {
    "empty": (b"", "box: is missing; begin with [box]"),
    "not UTF-8": (DEMO.replace("hull console", "h\u00fcll").encode("latin-1"), "file: is not text in UTF-8"),
    "a picture": (bytes(range(256)), "file: is not text in UTF-8"),
    "UTF-16": (DEMO.encode("utf-16"), "file: is not text in UTF-8"),
    "brackets without end": (b"x = " + b"[" * 100_000, "TOML: "),
    "a number without end": (b"x = " + b"9" * 100_000, "TOML: "),
}


@pytest.mark.parametrize("content, phrase", FILES.values(), ids=FILES)
def test_wrong_file(content: bytes | None, phrase: str, tmp_path: Path) -> None:
    file = tmp_path / "hull.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(WrongBoxFile) as wrong:
        read_box(file)
    assert wrong.value.lines[0].startswith(f"{file}:") and phrase in wrong.value.lines[0]


def test_what_is_not_there_is_misuse(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "hull.toml"):
        with pytest.raises(Misuse, match=f"{path}: cannot be read: "):
            read_box(path)


TOML_SLIPS = {
    "decimal comma": (("step = 0.5", "step = 0,5"), "a decimal point, no comma"),
    "one bracket for several": (("[[input]]", "[input]"), "there may be several: write [[input]]"),
    "one bracket the second time": (
        ('[[input]]\nname = "right fuel"', '[input]\nname = "right fuel"'),
        "[input] stands there twice in: [input]; there may be several: write [[input]] each time",
    ),
    "one bracket the first time": (("[[input]]", "[input]", 1), "write [[input]] each time"),
    "a table of which there is one": (
        ("[box]", "[box]\n[box]"),
        ": TOML: [box] stands there twice in: [box]",
    ),
    "a key twice": (
        ('unit = "degC"', 'unit = "degC"\nunit = "degF"'),
        'this key stands there twice in: unit = "degF"',
    ),
    "no quotes": (('unit = "degC"', "unit = degC"), "a text stands in quotes"),
    "typographer's quotes": (('unit = "degC"', "unit = \u201cdegC\u201d"), "use straight quotes"),
    "a quote missing": (('unit = "degC"', 'unit = "degC'), 'a quote (") is missing'),
    "a quantity without quotes": (('frequency = "4 kHz"', "frequency = 4 kHz"), "a text stands in quotes"),
}


@pytest.mark.parametrize("edit, cure", TOML_SLIPS.values(), ids=TOML_SLIPS)
def test_a_slip_in_toml_is_shown_with_its_cure(edit: tuple[Any, ...], cure: str, tmp_path: Path) -> None:
    (said,) = complaints(DEMO.replace(*edit), tmp_path / "hull.toml")
    assert ": TOML: " in said and cure in said
    assert not any(jargon in said for jargon in ("declare", "mutate", "namespace", "overwrite"))


def test_a_pin_may_be_called_as_the_board_calls_it(tmp_path: Path) -> None:
    file = tmp_path / "hull.toml"
    names = (
        DEMO.replace("pin = 15", 'pin = "GP15"')
        .replace("knob = 27", 'knob = "GP27"')
        .replace("pin = 28", 'pin = "GP28"')
    )
    file.write_text(names)
    by_name = read_box(file)
    file.write_text(DEMO)
    assert (by_name.inputs, by_name.lights) == (read_box(file).inputs, read_box(file).lights)


NOTES = {
    "a float that begins at 0 ohm": ("", "", "left fuel", "a short to ground reads 0 US gal; it cannot be told"),
    "what may flow into the tank": ("", "", "left fuel", "puts up to 22 mA into the tank; bus voltage chafed onto its own wire is limited by nothing here"),
    "too much into the tank": ('"150 ohm", rail', '"100 ohm", rail', "left fuel", "WARNING: puts up to 33 mA .* 132 ohm or more"),
    "a voltage that begins at 0 V": ("0.5-4.5 V", "0-4.5 V", "coolant pressure", "an open wire reads 0 psi gauge; it cannot be told"),
    "a voltage with a live zero": ("", "", "coolant pressure", "look the same: open"),
    "a loop that begins at 0 mA": ("4-20 mA", "0-20 mA", "hydraulic", "a short to ground reads 0 psi gauge; it cannot be told"),
    "corrosion": ("", "", "left fuel", "10 ohm of corrosion adds 2.2 US gal at a quarter; it cannot be told"),
    "corrosion of a sender that falls": ("", "", "coolant temperature", "10 ohm of corrosion takes (10|9.9) degC at 120 degC"),
    "a return through the airframe": ("", "", "coolant pressure", "50 mV of ground offset adds 0.3. psi gauge at"),
    "a sealed sender aloft": ("", "", "reserve line", r"at 8,000 ft it reads 3.8 psi less .*ISO 2533"),
    "an absolute one": ('pressure = "sealed"', 'pressure = "absolute"', "reserve line", "reads the air's own pressure, 14.7 psi"),
    "a shunt too coarse for its limits": ('protection = "9.4 kohm", tolerance = "0.1 %" }\nsender = "4-20 mA"\nunit = "psi"\npressure = "gauge"', 'protection = "9.4 kohm", tolerance = "6 %" }\nsender = "4-20 mA"\nunit = "psi"\npressure = "gauge"', "hydraulic", "a shunt 6% off turns a good sender's 4 or 20 mA into a fault"),
    "a thermistor taken as straight": ('["480 ohm", 40], ["210 ohm", 60], ["104 ohm", 80], ["70 ohm", 92], ', '["480 ohm", 40], ', "coolant temperature", "straight between its points; of a thermistor.*degC more"),
    "a rail's wire": ("", "", "sender rail", "a broken wire floats"),
    "a supply beyond the pin": ("47 kohm", "30 kohm", "bus", "the supply, 14 V, on this wire puts"),
}  # fmt: skip


@pytest.mark.parametrize("old, new, name, note", NOTES.values(), ids=NOTES)
def test_what_is_no_mistake_but_must_be_known(
    old: str, new: str, name: str, note: str, tmp_path: Path
) -> None:
    file = tmp_path / "hull.toml"
    file.write_text(DEMO.replace(old, new).replace("range = [8, 16]", "range = [8, 12]") if old else DEMO)
    built = build(read_box(file))
    told = [text for one, text in notes_on(built, [*faults_shown(built)]) if one.name == name]
    assert any(re.search(note, text) for text in told), told


def test_every_problem_is_told_at_once_in_order_of_lines(tmp_path: Path) -> None:
    text = edited(
        [('"lightness"', '"linear"'), ('"220 ohm"', "220"), ('unit = "degC"\n', ""), ("0x49", "0x50")]
    )
    said = complaints(text, tmp_path / "hull.toml")
    lines = [int(s.split(":")[1]) for s in said]
    assert len(said) == 4, said
    assert lines == sorted(lines)


def test_a_wrong_unit_is_one_problem(tmp_path: Path) -> None:
    text = edited([('unit = "psi"\npressure = "sealed"', 'unit = "PSI"\npressure = "sealed"')])
    assert len(complaints(text, tmp_path / "hull.toml")) == 1


STARTER = files("gaugelight.demo").joinpath("starter.toml").read_text()
GOOD: dict[str, str | bytes] = {
    "the demo": DEMO,
    "the starter": STARTER,
    "the starter, with all that it only suggests": re.sub(r"^# (?=\[|\w+ = )", "", STARTER, flags=re.M),
    "Windows line ends": DEMO.replace("\n", "\r\n").encode(),
    "a byte order mark": DEMO.encode("utf-8-sig"),
    "a lamp alone": '[box]\nname = "x"\nboard = "rp2040"\n' + lamp("map", 12),
    "a voltage alone": '[box]\nname = "x"\nboard = "rp2040"\n' + voltage("tap", 26),
    "a coarse step": edited([("step = 20\n", "step = 200\n")]),
    "a step of thousands": edited([("range = [0, 1500]\nstep = 20\n", "range = [0, 900000]\nstep = 9000\n")]),
    "points in any order": edited([coolant('["104 ohm", 80], ["70 ohm", 92]', '["70 ohm", 92], ["104 ohm", 80]')]),
    "two points of one reading": edited([coolant('["104 ohm", 80]', '["104 ohm", 60]')]),
    "a sender that falls": edited([('"0.5-4.5 V"', '"4.5-0.5 V"')]),
    "one knob for two lamps": edited([(DIM, lamp("map", 12, knob=27) + DIM)]),
    "gamma": edited([('"lightness"', "{ gamma = 2.2 }")]),
    "the steepest gamma": edited([('"lightness"', "{ gamma = 4 }")]),
    "no gamma": edited([('"lightness"', "{ gamma = 1 }")]),
    "no dim request": DEMO[: DEMO.index(DIM)],
    "a thermistor of 30 kohm": edited(
        [(COOLANT_CIRCUIT, COOLANT_CIRCUIT.replace("220 ohm", "4.7 kohm")), (COOLANT_POINTS, 'points = [["30 kohm", 0], ["10 kohm", 25], ["1 kohm", 90]]')]
    ),
    "a thermistor that loads the converter": edited(
        [(COOLANT_CIRCUIT, COOLANT_CIRCUIT.replace("220 ohm", "100 kohm")), (COOLANT_POINTS, 'points = [["1 Mohm", -20], ["100 kohm", 25], ["10 kohm", 90]]')]
    ),
    "a range with units of its own": edited([("range = [8, 16]", 'range = ["8 V", "16000 mV"]')]),
    "a range whose width is a hair below a power of ten": edited([("range = [8, 16]\nstep = 0.1\n", "range = [3.1, 4.1]\n"), ('"47 kohm"', '"10 kohm"')]),
    "points in other units": edited([coolant('"480 ohm", 40', '"0.48 kohm", "104 degF"')]),
    "every sender": (Path(__file__).parent / "senders.toml").read_text(),
    "every sender, one at a time, continuously": edited([("[converter.fore]", '[converter.one]\nkind = "ads1115"\naddress = 0x4a\nmode = "continuous"\nrate = "8 Hz"\n[converter.fore]'), ("# --- light", voltage("tap", '"one.2"') + "# --- light")]),
    "two lamps on one slice and frequency": edited([FREE_KNOB, ("pin = 15\n", "pin = 12\n"), (DIM, lamp("map", 13) + DIM)]),
    "a sender of nought to 20 mA": edited([('sender = "4-20 mA"\nunit = "psi"\npressure = "sealed"', 'sender = "0-20 mA"\nunit = "psi"\npressure = "sealed"')]),
}  # fmt: skip


def test_the_harness_that_the_starter_suggests_is_right() -> None:
    box = box_of_text("hull.toml", str(GOOD["the starter, with all that it only suggests"]))
    assert box.harness is not None and box.panel is not None and problems_of_harness(box) == []


@pytest.mark.parametrize("text", GOOD.values(), ids=GOOD)
def test_good(text: str | bytes, tmp_path: Path) -> None:
    assert complaints(text, tmp_path / "hull.toml") == []


# lines of keys

LINES: dict[str, tuple[str, dict[tuple[str, int, str], int]]] = {
    "nothing": ("", {}),
    "a key before all tables": ("a = 1", {("", 0, "a"): 1}),
    "tables and keys": (
        "[box]\na = 1\n\n[x.y]\nb = 2",
        {("box", 0, ""): 1, ("box", 0, "a"): 2, ("x.y", 0, ""): 4, ("x.y", 0, "b"): 5},
    ),
    "arrays of tables are counted": (
        "[[i]]\na = 1\n[[j]]\n[[i]]\na = 2",
        {("i", 0, ""): 1, ("i", 0, "a"): 2, ("j", 0, ""): 3, ("i", 1, ""): 4, ("i", 1, "a"): 5},
    ),
    "keys with a dash, and quoted": ('a-b = 1\n"c d" = 2', {("", 0, "a-b"): 1, ("", 0, "c d"): 2}),
    "a quoted table": ('[x."y z"]\na = 1', {("x.y z", 0, ""): 1, ("x.y z", 0, "a"): 2}),
    "spaces": ("  [ box ]\n\ta  =  1", {("box", 0, ""): 1, ("box", 0, "a"): 2}),
    "a comment behind a header": ("[box] # [not]\na = 1 # b = 2", {("box", 0, ""): 1, ("box", 0, "a"): 2}),
    "an apostrophe in a comment": ("# don't\na = 1\n# can't\nb = 2", {("", 0, "a"): 2, ("", 0, "b"): 4}),
    "an inch in a comment": ('# 5" hose\na = 1\n# 6" hose\nb = 2', {("", 0, "a"): 2, ("", 0, "b"): 4}),
    "a bracket in a comment": ("# [ {\na = 1", {("", 0, "a"): 2}),
    "a hash in a text": ('a = "#1"\nb = "x" # c', {("", 0, "a"): 1, ("", 0, "b"): 2}),
    "brackets and quotes in texts": ('a = "[{\\""\nb = \'["\'\nc = 1', {("", 0, "a"): 1, ("", 0, "b"): 2, ("", 0, "c"): 3}),
    "an array over lines": ("a = [\n  [1],\n  [2], # ]\n]\nb = 1", {("", 0, "a"): 1, ("", 0, "b"): 5}),
    "keys of an inline table are its own": ("a = { b = 1,\n c = 2 }\nd = 3", {("", 0, "a"): 1, ("", 0, "d"): 3}),
    "a text over lines": ('a = """\nx = 1\n[y]\n"""\nb = 1', {("", 0, "a"): 1, ("", 0, "b"): 5}),
    "a plain text over lines": ("a = '''\nx = \"\n'''\nb = 1", {("", 0, "a"): 1, ("", 0, "b"): 4}),
    "a text over lines that ends in a quote": ('a = """x""""\nb = 1', {("", 0, "a"): 1, ("", 0, "b"): 2}),
}  # fmt: skip


@pytest.mark.parametrize("text, lines", LINES.values(), ids=LINES)
def test_key_lines(text: str, lines: dict[tuple[str, int, str], int]) -> None:
    assert key_lines(text) == lines


def test_key_lines_of_the_demo() -> None:
    for (table, _, key), line in key_lines(DEMO).items():
        text = DEMO.split("\n")[line - 1]
        assert text.startswith(f"{key} = " if key else ("[" + table, "[[" + table))
    assert len(key_lines(DEMO)) == len(re.findall(r"(?m)^(\[|\w+ = )", DEMO))


# whatever a hand may do to the file

FILES_TO_SPOIL = (DEMO, EVERY_SENDER.read_text())
LINES_OF_DEMO = [
    line for text in FILES_TO_SPOIL for line in text.split("\n") if line and not line.startswith("#")
]
NUMBERS = (
    "0 -1 1 3 1e9 -1e9 1e400 1e-9 nan inf 0.0001 1_000 0x10 99999999999999999999 07 true [] {} ''".split()
)
CHARACTERS = st.sampled_from(list("\"'[]{}=#,. %-+_|\\0159aAkmV\t\u00fc\u2126\x00\n"))
AT = st.integers(0, 10**6)

MUTATIONS = st.one_of(
    st.tuples(st.sampled_from(["delete line", "duplicate line"]), AT, st.just("")),
    st.tuples(st.just("swap lines"), AT, AT.map(str)),
    st.tuples(st.sampled_from(["change character", "insert character"]), AT, CHARACTERS),
    st.tuples(st.just("change number"), AT, st.sampled_from(NUMBERS)),
    st.tuples(st.just("change value"), AT, st.sampled_from(NUMBERS)),
)


def mutated(text: str, how: str, at: int, what: str) -> str:
    lines = text.split("\n")
    line = at % len(lines)
    if how == "delete line":
        del lines[line]
    elif how == "duplicate line":
        lines.insert(line, lines[line])
    elif how == "swap lines":
        other = int(what) % len(lines)
        lines[line], lines[other] = lines[other], lines[line]
    elif how == "change character":
        at %= len(text)
        return text[:at] + what + text[at + 1 :]
    elif how == "insert character":
        at %= len(text)
        return text[:at] + what + text[at:]
    else:
        found = list(re.finditer(r"\d+(\.\d+)?" if how == "change number" else r"(?<== ).*", text))
        if found:
            one = found[at % len(found)]
            return text[: one.start()] + what + text[one.end() :]
    return "\n".join(lines)


@lru_cache
def proven() -> set[object]:
    """The inputs of both files, wherever they stand: no need to prove them again and again."""
    boxes = read_box(Path(str(files("gaugelight.demo") / "amphibian.toml"))), read_box(EVERY_SENDER)
    return {replace(one, line=0) for box in boxes for one in build(box).box.inputs}


def changed(box: Box) -> Box:
    needed = {one.cold for one in box.inputs} | {one.circuit.rail for one in box.inputs}
    inputs = [one for one in box.inputs if one.name in needed or replace(one, line=0) not in proven()]
    chips = tuple(chip for chip in box.chips if chip in [one.converter.chip for one in inputs])
    return replace(box, inputs=tuple(inputs), chips=chips, in_flight=None, face=Face())


@pytest.fixture(scope="module")
def judge(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], None]:
    file = tmp_path_factory.mktemp("box") / "hull.toml"

    def judge(text: str) -> None:
        file.write_text(text, encoding="utf-8")
        try:
            build(changed(read_box(file)))
        except WrongBoxFile as wrong:
            assert wrong.lines
            for line in wrong.lines:
                assert re.match(rf"{re.escape(str(file))}:(\d+:)? \S", line) and line.isprintable()

    return judge


@settings(derandomize=True, deadline=None, max_examples=150)
@given(text=st.sampled_from(FILES_TO_SPOIL), mutations=st.lists(MUTATIONS, min_size=1, max_size=3))
def test_whatever_is_written_is_judged(
    text: str, mutations: list[tuple[str, int, str]], judge: Callable[[str], None]
) -> None:
    """A build, or problems of which each names the file; never anything else."""
    for how, at, what in mutations:
        text = mutated(text, how, at, what)
    judge(text)
