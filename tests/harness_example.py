"""A small box with a harness that is right, for the tests of the wiring; what it is made of can be replaced by words."""

BOX = """[box]
name = "console"
board = "rp2040"

[converter.aft]
kind = "ads1115"

[[input]]
name = "rail"
pin = "aft.3"
circuit = { kind = "direct" }
unit = "V"
nominal = "3.3 V"

[[input]]
name = "left fuel"
pin = "aft.0"
circuit = { kind = "pull-up", resistor = "150 ohm", rail = "rail" }
unit = "US gal"
sender = "0-90 ohm"
range = [0, 18]

[[input]]
name = "hydraulic"
pin = "aft.1"
circuit = { kind = "shunt", resistor = "150 ohm" }
sender = "4-20 mA"
unit = "psi"
pressure = "gauge"
range = [0, 1500]

[[input]]
name = "oil"
pin = "aft.2"
circuit = { kind = "pull-up", resistor = "220 ohm", rail = "rail" }
sender = "480-31 ohm"
unit = "degC"
range = [40, 120]

[[lamp]]
name = "strip"
pin = 15
knob = 27
load = { current = "400 mA", at = "12 V" }
wire = { gauge = 22, length = "2 m" }
fuse = "2 A"

[[switch]]
name = "test"
pin = 11

[buttons]
test = "test"

[connector.J1]
kind = "D-sub 15"
box = "sockets"
[connector.J1.pins]
1 = "left fuel"
9 = "left fuel return"
2 = "guard"
10 = "guard"
3 = "oil"
11 = "oil return"
5 = "hydraulic"

[connector.J2]
kind = "block 2"
[connector.J2.pins]
1 = "bus"
2 = "ground"

[connector.J3]
kind = "header 2x5"
box = "pins"
[connector.J3.pins]
1 = "strip feed"
2 = "strip plus"
3 = "lamp ground"
4 = "strip minus"
5 = "knob upper end"
6 = "knob wiper"
7 = "knob lower end"
8 = "test"
10 = "test return"

[[cable]]
name = "left tank"
carries = ["left fuel", "left fuel return"]
to = "left tank, sender stud and body"
gauge = 22
length = "3.2 m"
twisted = true
shield = "shell at J1, open at the tank"
bundle = "fuel"

[[cable]]
name = "engine"
carries = ["oil", "hydraulic"]
to = "engine, sender and transmitter"
gauge = 22
length = "4 m"
bundle = "engine"

[[cable]]
name = "strip"
carries = ["strip"]
to = "strip under the glare shield"
gauge = 22
length = "2 m"
twisted = true
bundle = "lamps"

[[cable]]
name = "supply"
carries = ["bus", "ground", "lamp ground", "strip feed"]
to = "panel, fuse and ground point"
gauge = 20
length = "0.6 m"
fuse = "3 A"

[[cable]]
name = "panel"
carries = ["knob", "test"]
to = "knob and button"
gauge = 24
length = "0.3 m"
"""


def changed(*replaced: tuple[str, str]) -> str:
    """The box file with some words replaced, each of which stands there once."""
    text = BOX
    for old, new in replaced:
        assert text.count(old) == 1, (old, text.count(old))
        text = text.replace(old, new)
    return text


def line_of(text: str, words: str) -> int:
    """Where those words first stand."""
    return text[: text.index(words)].count("\n") + 1
