"""Wrong box files and wrong harnesses, each with all that is said of it; what is right has nothing said."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight.boxfile import box_of_text
from gaugelight.harness.check_harness import notes_on_harness, problems_of_harness
from gaugelight.harness.connectors import shape_of
from gaugelight.problems import WrongBoxFile
from harness_example import BOX, changed

# replaced words; what is said, from the line's number on
WRONG_FILES: dict[str, tuple[list[tuple[str, str]], list[str]]] = {
    "unknown kind": (
        [('kind = "D-sub 15"', 'kind = "D-sub 37"')],
        [
            '56: J1, kind: \'D-sub 37\' is no connector that is known; write "D-sub 9", "D-sub 15", "D-sub 25", "header 2x8" (2x2 to 2x20) or "block 2" (1 to 24 ways)'
        ],
    ),
    "no kind": (
        [('kind = "D-sub 15"\n', "")],
        ['55: J1: kind is missing; write kind = "D-sub 25", "header 2x8" or "block 2"'],
    ),
    "no half": (
        [('kind = "D-sub 15"\nbox = "sockets"', 'kind = "D-sub 15"')],
        ['55: J1: box is missing; write box = "sockets" or "pins", whatever the half on the box carries'],
    ),
    "half": (
        [('box = "sockets"', 'box = "female"')],
        ["57: J1, box: 'female' is not known; write one of: sockets, pins"],
    ),
    "unknown key": (
        [('box = "sockets"', 'box = "sockets"\nsize = 3')],
        ["58: J1, size: unknown key; known here: kind, box, pins"],
    ),
    "no pins": (
        [('[connector.J2.pins]\n1 = "bus"\n2 = "ground"\n', "")],
        ['67: J2: pins is missing; write pins = [connector.J2.pins], lines such as 1 = "guard"'],
    ),
    "pin beyond": (
        [('5 = "hydraulic"', '16 = "hydraulic"')],
        ["65: J1 pins, 16: there is no such pin; a D-sub 15 has 1 to 15"],
    ),
    "pin 0": (
        [('5 = "hydraulic"', '0 = "hydraulic"')],
        ["65: J1 pins, 0: there is no such pin; a D-sub 15 has 1 to 15"],
    ),
    "pin 05": (
        [('5 = "hydraulic"', '05 = "hydraulic"')],
        ["65: J1 pins, 05: there is no such pin; a D-sub 15 has 1 to 15"],
    ),
    "pin name": (
        [('5 = "hydraulic"', 'A = "hydraulic"')],
        ["65: J1 pins, A: there is no such pin; a D-sub 15 has 1 to 15"],
    ),
    "pin twice": (
        [('5 = "hydraulic"', '1 = "hydraulic"')],
        ['65: TOML: this key stands there twice in: 1 = "hydraulic"; each key once in a table'],
    ),
    "pin empty": (
        [('5 = "hydraulic"', '5 = ""')],
        ["65: J1 pins, 5: must be a text in quotes that is not empty"],
    ),
    "pin number": (
        [('5 = "hydraulic"', "5 = 7")],
        ["65: J1 pins, 5: must be a text in quotes that is not empty"],
    ),
    "pin non ascii": (
        [('5 = "hydraulic"', '5 = "hydräulic"')],
        ['65: J1 pins, 5: "hydräulic" may hold plain ASCII only'],
    ),
    "pins in braces": (
        [('[connector.J2.pins]\n1 = "bus"\n2 = "ground"', 'pins = { 1 = "bus", 3 = "ground" }')],
        ["69: J2 pins, 3: there is no such pin; a block 2 has 1 to 2"],
    ),
    "pins text": (
        [('[connector.J2.pins]\n1 = "bus"\n2 = "ground"', 'pins = "bus"')],
        ['69: J2, pins: is no table; write [connector.NAME.pins] and lines such as 1 = "guard"'],
    ),
    "connector name": (
        [("[connector.J2]", '[connector."J 2"]'), ("[connector.J2.pins]", '[connector."J 2".pins]')],
        ["67: J 2: is no name for a connector; write a letter and a number, such as J1"],
    ),
    "connectors told by a capital": (
        [("[connector.J2]", "[connector.j1]"), ("[connector.J2.pins]", "[connector.j1.pins]")],
        ["67: j1: is told from J1 by a capital only; give it another name"],
    ),
    "array of connectors": (
        [
            (
                '[connector.J2]\nkind = "block 2"\n[connector.J2.pins]\n1 = "bus"\n2 = "ground"\n',
                "[connector]\nJ9 = 3\n",
            )
        ],
        ["55: connector: write each one under [connector.NAME], such as J1"],
    ),
    "no gauge": (
        [("gauge = 20\n", "")],
        ["114: cable supply: gauge is missing; write gauge = one of 10, 12, 14, 16, 18, 20, 22, 24"],
    ),
    "gauge": (
        [("gauge = 20", "gauge = 21")],
        ["118: cable supply, gauge: AWG 21 is no aircraft wire; there are 10, 12, 14, 16, 18, 20, 22, 24"],
    ),
    "gauge text": (
        [("gauge = 20", 'gauge = "20"')],
        ["118: cable supply, gauge: AWG '20' is no aircraft wire; there are 10, 12, 14, 16, 18, 20, 22, 24"],
    ),
    "length unit": (
        [('length = "0.6 m"', "length = 0.6")],
        ['119: cable supply, length: has no unit; write "0.6 m"'],
    ),
    "length": (
        [('length = "0.6 m"', 'length = "0 m"')],
        ['119: cable supply, length: "0 m" must be more than 0'],
    ),
    "length too long": (
        [('length = "0.6 m"', 'length = "60 m"')],
        ['119: cable supply, length: "60 m" is longer than any light aircraft; 50 m at most'],
    ),
    "carries text": (
        [('carries = ["knob", "test"]', 'carries = "knob"')],
        ['124: cable panel, carries: must be uses in brackets, such as ["left fuel", "left fuel return"]'],
    ),
    "carries nothing": (
        [('carries = ["knob", "test"]', "carries = []")],
        ['124: cable panel, carries: must be uses in brackets, such as ["left fuel", "left fuel return"]'],
    ),
    "carries number": (
        [('carries = ["knob", "test"]', "carries = [3]")],
        ["124: cable panel, carries: must be a text in quotes that is not empty"],
    ),
    "no to": (
        [('to = "knob and button"\n', "")],
        ['122: cable panel: to is missing; write to = where it goes, "left tank, sender stud and body"'],
    ),
    "no name": (
        [('name = "panel"\n', "")],
        ['122: cable 5: name is missing; write name = a name, such as "left tank"'],
    ),
    "return": (
        [('to = "knob and button"', 'to = "knob and button"\nreturn = "hull"')],
        ["126: cable panel, return: 'hull' is not known; write one of: airframe"],
    ),
    "turn": (
        [('to = "knob and button"', 'to = "knob and button"\nturn = "20 mm"')],
        ["126: cable panel, turn: belongs to a twisted cable; add twisted = true, or leave it out"],
    ),
    "spacing": (
        [('to = "knob and button"', 'to = "knob and button"\nspacing = "3 m"')],
        ['126: cable panel, spacing: "3 m" must lie between 1 mm and 1000 mm'],
    ),
    "to long": (
        [
            (
                'to = "knob and button"',
                'to = "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"',
            )
        ],
        ["125: cable panel, to: is 71 characters long; 70 fit the sheet"],
    ),
    "cable table": (
        [('[[cable]]\nname = "panel"', '[[cables]]\nname = "panel"')],
        ['122: cables: unknown table; did you mean "cable"?'],
    ),
    "compass": (
        [('[[cable]]\nname = "panel"', '[compass]\n[[cable]]\nname = "panel"')],
        [
            '122: compass: distance is missing; write distance = "0.6 m", from the lamps\' wiring to the compass'
        ],
    ),
    "compass far": (
        [('[[cable]]\nname = "panel"', '[compass]\ndistance = "40 m"\n[[cable]]\nname = "panel"')],
        ['123: compass, distance: "40 m" must lie between 5 cm and 20 m'],
    ),
    "compass field": (
        [
            (
                '[[cable]]\nname = "panel"',
                '[compass]\ndistance = "40 cm"\nhorizontal = "0.2 G"\n[[cable]]\nname = "panel"',
            )
        ],
        ['124: compass, horizontal: "0.2 G" is not in uT; usable here: uT'],
    ),
    "compass field low": (
        [
            (
                '[[cable]]\nname = "panel"',
                '[compass]\ndistance = "40 cm"\nhorizontal = "0 uT"\n[[cable]]\nname = "panel"',
            )
        ],
        ['124: compass, horizontal: "0 uT" must lie between 1 uT and 60 uT'],
    ),
}
WRONG_WIRING: dict[str, tuple[list[tuple[str, str]], list[str]]] = {
    "unknown use": (
        [('5 = "hydraulic"', '5 = "hydraulics"')],
        [
            '23: hydraulic: has no pin; write NUMBER = "hydraulic" under [connector.NAME.pins]',
            '65: J1-5: "hydraulics" is nothing of this box file; did you mean "hydraulic"?',
        ],
    ),
    "alike only in its return": (
        [('10 = "test return"', '10 = "test return"\n9 = "page return"')],
        [
            '86: J3-9: "page return" is nothing of this box file; there is: rail, left fuel, hydraulic, oil, strip, test, knob, service jumper, bus, guard, ground, lamp ground'
        ],
    ),
    "unknown use far": (
        [('2 = "ground"', '2 = "zzz"')],
        [
            '71: J2-2: "zzz" is nothing of this box file; there is: rail, left fuel, hydraulic, oil, strip, test, knob, service jumper, bus, guard, ground, lamp ground'
        ],
    ),
    "unknown part": (
        [('3 = "oil"', '3 = "oil plus"')],
        [
            '32: oil: has no pin; write NUMBER = "oil" under [connector.NAME.pins]',
            '63: J1-3: "oil plus" is no use of oil; there is: oil, oil return, oil supply',
        ],
    ),
    "spare of nothing": (
        [('5 = "hydraulic"', '5 = "hydraulic"\n15 = "spare"')],
        ['66: J1-15: spare for what? write "spare: needle plus", or leave the pin out'],
    ),
    "guard with another": (
        [('2 = "guard"', '2 = "guard, test"')],
        [
            "61: J1-2: guard stands alone on its pin; give it one of its own",
            "84: J3-8: test is on J1-2 already; each use has one pin",
        ],
    ),
    "use twice": (
        [('5 = "hydraulic"', '5 = "hydraulic"\n15 = "oil"')],
        ["66: J1-15: oil is on J1-3 already; each use has one pin"],
    ),
    "sender without pin": (
        [('5 = "hydraulic"\n', "")],
        ['23: hydraulic: has no pin; write NUMBER = "hydraulic" under [connector.NAME.pins]'],
    ),
    "sender without return": (
        [('9 = "left fuel return"\n', "")],
        ['59: left fuel: its return has no pin; give it one, or write return = "airframe" at its cable'],
    ),
    "return of oil": (
        [('11 = "oil return"\n', "")],
        ['63: oil: its return has no pin; give it one, or write return = "airframe" at its cable'],
    ),
    "lamp without minus": (
        [('4 = "strip minus"\n', "")],
        ['40: strip: its minus has no pin; write NUMBER = "strip minus" under [connector.NAME.pins]'],
    ),
    "lamp feed without plus": (
        [('2 = "strip plus"\n', "")],
        ['40: strip: its plus has no pin; write NUMBER = "strip plus" under [connector.NAME.pins]'],
    ),
    "knob without wiper": (
        [('6 = "knob wiper"\n', "")],
        ['40: knob: its wiper has no pin; write NUMBER = "knob wiper" under [connector.NAME.pins]'],
    ),
    "switch without return": (
        [('10 = "test return"\n', "")],
        ['84: test: its return has no pin; give it one, or write return = "airframe" at its cable'],
    ),
    "no guard": (
        [('2 = "guard"', '2 = "hydraulic"'), ('5 = "hydraulic"\n', "")],
        [
            "59: J1-1: left fuel goes into a fuel tank, and pin 2 beside it is hydraulic, which may be at bus voltage; put a guard between them",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 2 beside it is hydraulic, which may be at bus voltage; put a guard between them",
        ],
    ),
    "free instead of guard": (
        [
            ('2 = "guard"\n', ""),
            ('10 = "guard"\n', ""),
            ('3 = "oil"', '3 = "hydraulic"'),
            ('5 = "hydraulic"', '5 = "oil"'),
        ],
        [
            "59: J1-1: left fuel goes into a fuel tank, and pin 3 with pin 2, free, between is hydraulic, which may be at bus voltage; put a guard between them",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 3 with pin 2, free, between is hydraulic, which may be at bus voltage; put a guard between them",
        ],
    ),
    "across rows": (
        [('10 = "guard"', '10 = "hydraulic"'), ('5 = "hydraulic"\n', "")],
        [
            "60: J1-9: left fuel return goes into a fuel tank, and pin 10 beside it is hydraulic, which may be at bus voltage; put a guard between them"
        ],
    ),
    "spare beside tank": (
        [('2 = "guard"', '2 = "spare: needle plus"')],
        [
            "59: J1-1: left fuel goes into a fuel tank, and pin 2 beside it is spare: needle plus, which may be at bus voltage; put a guard between them",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 2 beside it is spare: needle plus, which may be at bus voltage; put a guard between them",
        ],
    ),
    "two beside each": (
        [
            ('2 = "guard"', '2 = "hydraulic"'),
            ('10 = "guard"', '10 = "spare: relay"'),
            ('5 = "hydraulic"\n', ""),
        ],
        [
            "59: J1-1: left fuel goes into a fuel tank, and pin 2 beside it is hydraulic, which may be at bus voltage; put a guard between them",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 2 beside it is hydraulic and pin 10 beside it is spare: relay, all of which may be at bus voltage; put a guard between it and each of them",
        ],
    ),
    "the supply of a voltage sender": (
        [
            (
                'circuit = { kind = "pull-up", resistor = "220 ohm", rail = "rail" }',
                'circuit = { kind = "direct" }',
            ),
            ('sender = "480-31 ohm"', 'sender = "0-3 V"'),
            ('2 = "guard"', '2 = "oil supply"'),
        ],
        [
            "59: J1-1: left fuel goes into a fuel tank, and pin 2 beside it is oil supply, which may be at bus voltage; put a guard between them",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 2 beside it is oil supply, which may be at bus voltage; put a guard between them",
        ],
    ),
    "tank shares a pin": (
        [('1 = "left fuel"', '1 = "left fuel, hydraulic"'), ('5 = "hydraulic"\n', "")],
        [
            "59: J1-1: left fuel goes into a fuel tank, and hydraulic may be at bus voltage; give each a pin",
            "60: J1-9: left fuel return goes into a fuel tank, and pin 1 beside it is hydraulic, which may be at bus voltage; put a guard between them",
        ],
    ),
    "alike": (
        [('kind = "header 2x5"\nbox = "pins"', 'kind = "D-sub 15"\nbox = "sockets"')],
        [
            "73: J3, kind: its plug fits J1 too, and a tank's sender is on one of them; give the box the other half here, or another kind"
        ],
    ),
    "bundle": (
        [('bundle = "fuel"', 'bundle = "engine"')],
        [
            "95: cable left tank, bundle: left fuel goes into a fuel tank, and hydraulic of cable engine, in the same bundle, may be at bus voltage; no circuit in the box limits what chafes through there: lay them apart"
        ],
    ),
    "bundle told by a capital": (
        [('bundle = "fuel"', 'bundle = "Engine"')],
        [
            "95: cable left tank, bundle: left fuel goes into a fuel tank, and hydraulic of cable engine, in the same bundle, may be at bus voltage; no circuit in the box limits what chafes through there: lay them apart"
        ],
    ),
    "cable": (
        [
            (
                'carries = ["left fuel", "left fuel return"]',
                'carries = ["left fuel", "left fuel return", "hydraulic"]',
            ),
            ('carries = ["oil", "hydraulic"]', 'carries = ["oil"]'),
        ],
        [
            "89: cable left tank, carries: left fuel goes into a fuel tank, and hydraulic may be at bus voltage; no circuit in the box limits what chafes through there: lay them apart"
        ],
    ),
    "tank = true": (
        [
            ('bundle = "engine"', 'bundle = "lamps"\ntank = true'),
            ('carries = ["oil", "hydraulic"]', 'carries = ["oil"]'),
        ],
        [
            "63: J1-3: oil goes into a fuel tank, and pin 5 with pin 4, free, between is hydraulic, which may be at bus voltage; put a guard between them",
            "64: J1-11: oil return goes into a fuel tank, and pin 5 with pin 4, free, between is hydraulic, which may be at bus voltage; put a guard between them",
            "103: cable engine, bundle: oil goes into a fuel tank, and strip plus of cable strip, in the same bundle, may be at bus voltage; no circuit in the box limits what chafes through there: lay them apart",
        ],
    ),
    "the box's ground in a tank's return": (
        [('9 = "left fuel return"', '9 = "left fuel return, ground"')],
        [
            "60: J1-9: ground and left fuel return share a pin: the box's own current would move the reading, and flow where the sender is; give each its own"
        ],
    ),
    "a line's return in a sender's": (
        [
            (
                "[connector.J1]",
                '[dim_request]\npin = 14\nfollows = "strip"\non_above = "8 %"\noff_below = "5 %"\n\n[connector.J1]',
            ),
            ('11 = "oil return"', '11 = "oil return, dim request return"\n13 = "dim request"'),
        ],
        [
            "70: J1-11: dim request return and oil return share a pin: the box's own current would move the reading, and flow where the sender is; give each its own"
        ],
    ),
    "lamp return in sender's pin": (
        [('11 = "oil return"', '11 = "oil return, lamp ground"'), ('3 = "lamp ground"\n', "")],
        [
            "64: J1-11: lamp ground and oil return share a pin: the lamp's current would move the reading; give each its own"
        ],
    ),
    "lamp return in sender's cable": (
        [
            ('carries = ["oil", "hydraulic"]', 'carries = ["oil", "hydraulic", "lamp ground"]'),
            ('"ground", "lamp ground", ', '"ground", '),
        ],
        [
            "99: cable engine, carries: lamp ground and oil return are in one cable; a lamp's return goes apart from a sender's"
        ],
    ),
    "airframe both": (
        [
            ('4 = "strip minus"', '4 = "strip minus"'),
            ('bundle = "lamps"', 'bundle = "lamps"\nreturn = "airframe"'),
            ('11 = "oil return"\n', ""),
            ('bundle = "engine"', 'bundle = "engine"\nreturn = "airframe"'),
        ],
        [
            "103: cable engine, return: oil and the lamp of cable strip both come back through the airframe: the lamp's current would move the reading; give one of them a wire back",
            "113: cable strip, return: its current comes back through the airframe, but the wire of strip (line 40) says by a wire; make them the same",
        ],
    ),
    "airframe and a pin": (
        [('bundle = "engine"', 'bundle = "engine"\nreturn = "airframe"')],
        ["104: cable engine, return: oil return has a wire, at J1-11; leave this key out, or that pin"],
    ),
    "fuse": (
        [('fuse = "3 A"', 'fuse = "10 A"')],
        ["120: cable supply, fuse: a fuse of 10 A would let AWG 20 burn; 5 A at most, or AWG 18"],
    ),
    "lamp's fuse": (
        [
            ('fuse = "2 A"', 'fuse = "5 A"'),
            ('gauge = 22\nlength = "2 m"\n', 'gauge = 24\nlength = "2 m"\n'),
            ('wire = { gauge = 22, length = "2 m" }', ""),
        ],
        ["109: cable strip, gauge: a fuse of 5 A would let AWG 24 burn; 2.5 A at most, or AWG 22"],
    ),
    "gauge in a D-sub": (
        [('gauge = 22\nlength = "4 m"', 'gauge = 18\nlength = "4 m"')],
        ["101: cable engine, gauge: AWG 18 does not go into the contacts of J1; a D-sub takes AWG 20 to 24"],
    ),
    "too much for a wire": (
        [
            ('"400 mA"', '"1.2 A"'),
            ('fuse = "2 A"', ""),
            ('wire = { gauge = 22, length = "2 m" }', ""),
            ('gauge = 22\nlength = "2 m"\n', 'gauge = 24\nlength = "0.5 m"\n'),
        ],
        [
            "109: cable strip, gauge: strip plus may take 2.7 A, and AWG 24 2.5 A at most; AWG 22 would do",
            "109: cable strip, gauge: strip minus may take 2.7 A, and AWG 24 2.5 A at most; AWG 22 would do",
        ],
    ),
    "too much for a contact": (
        [
            ('"400 mA"', '"2.4 A"'),
            ('fuse = "2 A"', ""),
            ('wire = { gauge = 22, length = "2 m" }', ""),
            ('gauge = 22\nlength = "2 m"\n', 'gauge = 18\nlength = "0.5 m"\n'),
            ('gauge = 20\nlength = "0.6 m"', 'gauge = 18\nlength = "0.6 m"'),
            ('kind = "header 2x5"\nbox = "pins"', 'kind = "D-sub 25"\nbox = "pins"'),
        ],
        [
            "77: J3-1: strip feed may take 5.5 A, and a contact of a D-sub 5 A at most",
            "78: J3-2: strip plus may take 5.5 A, and a contact of a D-sub 5 A at most",
            "79: J3-3: lamp ground may take 5.5 A, and a contact of a D-sub 5 A at most",
            "80: J3-4: strip minus may take 5.5 A, and a contact of a D-sub 5 A at most",
            "109: cable strip, gauge: AWG 18 does not go into the contacts of J3; a D-sub takes AWG 20 to 24",
            "118: cable supply, gauge: AWG 18 does not go into the contacts of J3; a D-sub takes AWG 20 to 24",
        ],
    ),
    "wire gauge": (
        [('wire = { gauge = 22, length = "2 m" }', 'wire = { gauge = 20, length = "2 m" }')],
        ["109: cable strip, gauge: AWG 22, but the wire of strip (line 40) is AWG 20; make them the same"],
    ),
    "wire length": (
        [('wire = { gauge = 22, length = "2 m" }', 'wire = { gauge = 22, length = "2.1 m" }')],
        ["110: cable strip, length: 2 m, but the wire of strip (line 40) is 2.1 m; make them the same"],
    ),
    "wire return": (
        [
            (
                'wire = { gauge = 22, length = "2 m" }',
                'wire = { gauge = 22, length = "2 m", airframe_return = true }',
            )
        ],
        [
            "105: cable strip, return: its current comes back by a wire, but the wire of strip (line 40) says through the airframe; make them the same"
        ],
    ),
    "drop": (
        [
            ('gauge = 22\nlength = "2 m"\n', 'gauge = 22\nlength = "20 m"\n'),
            ('wire = { gauge = 22, length = "2 m" }', ""),
        ],
        [
            "109: cable strip, gauge: 1.4 V are lost on the way to strip and back, 0.7 V at most; a thicker or shorter wire"
        ],
    ),
    "cable name twice": (
        [('name = "panel"', 'name = "supply"')],
        ["123: cable supply, name: stands at line 114 too; each cable needs its own"],
    ),
    "cable carries unknown": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "tests"]')],
        ['124: cable panel, carries: "tests" is nothing of this box file; did you mean "test"?'],
    ),
    "cable carries guard": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "test", "guard"]')],
        ["124: cable panel, carries: guard has no wire, for a guard is grounded in the box; leave it out"],
    ),
    "in two cables": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "test", "oil"]')],
        ["124: cable panel, carries: oil runs in cable engine already (line 97)"],
    ),
    "pin of no connector": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "test", "J4-1"]')],
        ['124: cable panel, carries: "J4-1": there is no connector J4; there is: J1, J2, J3'],
    ),
    "pin that is free": (
        [('carries = ["knob", "test"]', 'carries = ["knob", "test", "J1-15"]')],
        [
            '124: cable panel, carries: "J1-15": nothing stands at that pin; write its use under [connector.NAME.pins]'
        ],
    ),
}


@pytest.mark.parametrize("name", WRONG_FILES)
def test_a_wrong_file(name: str) -> None:
    replaced, said = WRONG_FILES[name]
    with pytest.raises(WrongBoxFile) as wrong:
        box_of_text("hull.toml", changed(*replaced))
    assert list(wrong.value.lines) == [f"hull.toml:{one}" for one in said]


@pytest.mark.parametrize("name", WRONG_WIRING)
def test_a_wrong_harness(name: str) -> None:
    replaced, said = WRONG_WIRING[name]
    box = box_of_text("hull.toml", changed(*replaced))
    assert [one.text("hull.toml") for one in problems_of_harness(box)] == [f"hull.toml:{one}" for one in said]


def test_what_is_right_has_nothing_said() -> None:
    assert problems_of_harness(box_of_text("hull.toml", BOX)) == []


def test_a_file_without_connectors_is_right_and_has_a_note() -> None:
    text = BOX[: BOX.index("[connector.J1]")]
    box = box_of_text("hull.toml", text)
    assert box.harness is None and problems_of_harness(box) == []
    ((what, note),) = notes_on_harness(box)
    assert what == "console" and note.startswith(
        "no connectors are described; [connector.J1] and [[cable]] would"
    )


def test_a_cable_without_connectors() -> None:
    text = (
        BOX[: BOX.index("[connector.J1]")]
        + BOX[BOX.index("[[cable]]") : BOX.index('[[cable]]\nname = "engine"')]
    )
    (problem,) = problems_of_harness(box_of_text("hull.toml", text))
    what = "it starts at no connector; write [connector.J1] and [connector.J1.pins] first"
    assert problem.text("hull.toml") == f"hull.toml:55: cable left tank: {what}"


def test_connectors_within_braces() -> None:
    start, end = BOX.index("[connector.J1]"), BOX.index("[[cable]]")
    for head in ("[connector]\nJ1 = ", "[connector]\n\nJ1 = "):
        text = BOX[:start] + head + '{ kind = "D-sub 9", pins = { 1 = "guard", 10 = "guard" } }\n' + BOX[end:]
        with pytest.raises(WrongBoxFile) as wrong:
            box_of_text("hull.toml", text)
        line = 54 + head.count("\n") + 1
        box = 'box is missing; write box = "sockets" or "pins", whatever the half on the box carries'
        pin = "there is no such pin; a D-sub 9 has 1 to 9"
        assert list(wrong.value.lines) == [
            f"hull.toml:{line}: J1: {box}",
            f"hull.toml:{line}: J1 pins, 10: {pin}",
        ]


def test_the_harness_does_not_reach_the_table() -> None:
    from gaugelight.build import build

    without = BOX[: BOX.index("[connector.J1]")]
    assert build(box_of_text("hull.toml", BOX)).image == build(box_of_text("hull.toml", without)).image


NOTES: dict[str, tuple[list[tuple[str, str]], str]] = {
    "no ground": (
        [('2 = "ground"\n', "")],
        'console: no pin is its ground; write "ground" where it comes in',
    ),
    "no cable": (
        [('carries = ["knob", "test"]', 'carries = ["knob"]')],
        "console: no cable is stated for J3-8, J3-10",
    ),
    "plugs alike": (
        [
            (
                '1 = "bus"\n2 = "ground"',
                '1 = "bus"\n2 = "ground"\n[connector.J4]\nkind = "block 2"\n[connector.J4.pins]',
            )
        ],
        "J2: the plug of J4 fits it too: mark both, or give the box the other half at one of them",
    ),
    "thin": ([], "cable panel: AWG 24 breaks where it is handled; AWG 22 lasts (common practice, no source)"),
    "no fuse": (
        [('fuse = "3 A"\n', "")],
        "cable supply: no fuse is stated for bus; AWG 20 takes 5 A at most, at the bus end",
    ),
    "supply of a ratiometric sender": (
        [
            (
                'name = "rail"\npin = "aft.3"\ncircuit = { kind = "direct" }',
                'name = "rail"\npin = "aft.3"\ncircuit = { kind = "divider", top = "10 kohm", bottom = "15 kohm" }',
            ),
            ('nominal = "3.3 V"', 'nominal = "5 V"'),
            ('pin = "aft.0"', "pin = 26"),
            (
                '"pull-up", resistor = "220 ohm", rail = "rail"',
                '"divider", top = "10 kohm", bottom = "15 kohm", rail = "rail"',
            ),
            ('"480-31 ohm"', '"0.5-4.5 V"'),
            (
                'rail = "rail" }\nunit = "US gal"\nsender = "0-90 ohm"',
                'rail = "reference" }\nunit = "US gal"\nsender = "0-90 ohm"',
            ),
            ('5 = "hydraulic"', '5 = "hydraulic"\n4 = "oil supply"'),
        ],
        'cable engine: oil supply: from the regulator that "rail" measures, never from the bus, which would burn the sender',
    ),
    "airframe": (
        [('bundle = "engine"', 'bundle = "engine"\nreturn = "airframe"'), ('11 = "oil return"\n', "")],
        "cable engine: oil comes back through the airframe, whose voltage drop adds to its signal; a wire back takes that out",
    ),
    "tank in no bundle": (
        [('bundle = "fuel"\n', "")],
        "cable left tank: left fuel goes into a fuel tank; name the bundle it lies in, or nothing checks what lies beside it",
    ),
    "bus in the tank": (
        [
            ('"pull-up", resistor = "150 ohm", rail = "rail"', '"shunt", resistor = "150 ohm"'),
            ('"0-90 ohm"', '"4-20 mA"'),
        ],
        "cable left tank: left fuel goes into a fuel tank and is fed from the bus: a fault there puts all that its fuse passes"
        " into the tank",
    ),
}


@pytest.mark.parametrize("name", NOTES)
def test_what_should_be_known(name: str) -> None:
    replaced, note = NOTES[name]
    box = box_of_text("hull.toml", changed(*replaced))
    assert problems_of_harness(box) == []
    assert note in [f"{what}: {told}" for what, told in notes_on_harness(box)]


RIGHT = {
    "two uses of one pin": [
        ('8 = "test"\n', ""),
        ('10 = "test return"', '10 = "test return, service jumper return"\n9 = "test"'),
    ],
    "a spare pin": [('5 = "hydraulic"', '5 = "hydraulic"\n15 = "spare: needle plus"')],
    "by its pin": [('"lamp ground", ', '"J3-3", ')],
    "supply past the box": [
        ('carries = ["oil", "hydraulic"]', 'carries = ["oil", "hydraulic", "hydraulic supply"]')
    ],
    "through the airframe": [
        ('9 = "left fuel return"\n', ""),
        ('carries = ["left fuel", "left fuel return"]', 'carries = ["left fuel"]\nreturn = "airframe"'),
    ],
    "measured at the bus's pin": [
        ('1 = "bus"', '1 = "bus, oil"'),
        ('3 = "oil"\n', ""),
        ('11 = "oil return"\n', ""),
    ],
    "a feed beside senders": [
        ('carries = ["oil", "hydraulic"]', 'carries = ["oil", "hydraulic", "strip feed"]'),
        (', "strip feed"]\nto = "panel', ']\nto = "panel'),
    ],
    "plus straight from its fuse": [
        ('1 = "strip feed"\n2 = "strip plus"\n', ""),
        (', "strip feed"]\nto = "panel', ']\nto = "panel'),
    ],
    "a needle and a sender through the airframe": [
        (
            "[connector.J1]",
            '[[needle]]\nname = "pointer"\npin = 6\nfollows = "oil"\npoints = [["40 degC", "10 %"], ["120 degC", "90 %"]]\n\n'
            "[connector.J1]",
        ),
        ('9 = "left fuel return"\n', ""),
        ('carries = ["left fuel", "left fuel return"]', 'carries = ["left fuel"]\nreturn = "airframe"'),
        ('10 = "test return"', '10 = "test return"\n9 = "pointer plus"'),
        ('carries = ["knob", "test"]', 'carries = ["pointer"]\nreturn = "airframe"'),
    ],
    "no feed": [('1 = "strip feed"\n', ""), (', "strip feed"]', "]")],
}


@pytest.mark.parametrize("name", RIGHT)
def test_what_is_right_too(name: str) -> None:
    assert problems_of_harness(box_of_text("hull.toml", changed(*RIGHT[name]))) == []


ways = st.sampled_from(["D-sub 9", "D-sub 15", "D-sub 25", "header 2x6", "block 8"])


@given(ways, st.data())
@settings(max_examples=60, deadline=None)
def test_a_tank_is_guarded_or_told(kind: str, data: st.DataObject) -> None:
    """From the tank's pin, by steps of less than 4 mm (a block: 6) over free pins, one comes to bus voltage, or one is not told of it."""
    shape = shape_of(kind)
    pins = data.draw(st.permutations(range(1, shape.ways + 1)))
    tank, live = pins[:2]
    guards = set(data.draw(st.lists(st.sampled_from(pins[2:]), max_size=shape.ways)))
    lines = [f'{tank} = "left fuel"', f'{live} = "hydraulic"', *(f'{pin} = "guard"' for pin in guards)]
    start, end = BOX.index("[connector.J1]"), BOX.index("[connector.J2]")
    head = f'[connector.J1]\nkind = "{kind}"\nbox = "sockets"\n[connector.J1.pins]\n'
    text = BOX[:start] + head + "\n".join(lines) + "\n" + BOX[end:]
    places, far = shape.mating_side("pins"), 6.0 if kind.startswith("block") else 4.0
    reached, new = {tank}, {tank}
    while new:
        new = {
            n
            for n in places
            for m in new
            if n not in reached | guards and math.dist(places[n], places[m]) < far
        }
        reached |= new
        new -= {live}
    told = [p.what for p in problems_of_harness(box_of_text("hull.toml", text)) if p.where == f"J1-{tank}"]
    assert len(told) == (live in reached)
    assert all(what.endswith("put a guard between them") and f"pin {live} " in what for what in told)
