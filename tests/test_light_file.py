"""The lighting tables of a box file: what each key becomes, and what is said of a wrong one, with its line and the cure."""

import re
from collections.abc import Callable
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugelight import driver
from gaugelight.box_values import LampCurve
from gaugelight.boxfile import Box, read_box
from gaugelight.build import build
from gaugelight.check_lights import notes_on_lights
from gaugelight.faults_shown import faults_shown
from gaugelight.filters import Filter
from gaugelight.lights import Compensation, Fixed, Follows, Knob, Lamp
from gaugelight.problems import WrongBoxFile
from gaugelight.wires import Wire

HEAD = """
[box]
name = "small"
board = "rp2040"

[[input]]
name = "bus"
pin = 26
circuit = { kind = "divider", top = "47 kohm", bottom = "10 kohm" }
unit = "V"
range = [0, 16]
step = 0.1

[[input]]
name = "sky"
pin = 28
circuit = { kind = "direct" }
points = [["0.3 V", 0], ["3 V", 100]]
limits = ["0.1 V", "0.2 V", "3.1 V", "3.2 V"]
unit = "%"
step = 1
"""
LAMP = '\n[[lamp]]\nname = "strip"\npin = 15\nknob = 27\n'
OTHER = '\n[[lamp]]\nname = "map"\npin = 16\nfollows = "strip"\n'
LEGENDS = (
    '\n[[lamp]]\nname = "legends"\npin = 8\nfollows = "bus"\npoints = [["0 V", "100 %"], ["14 V", "10 %"]]\n'
)
DISPLAY = '\n[display]\nfollows = "strip"\npoints = [["0 %", "100 %"], ["100 %", "20 %"]]\n'
BUS_OUTPUT = """
[bus_output]
pin = 13
follows = "strip"
full_scale = "14 V"
points = [["0 %", "0 V"], ["100 %", "11 V"]]
filter = { resistor = "10 kohm", capacitor = "470 nF" }
"""
DAYLIGHT = '\n[daylight]\nsensor = "sky"\nday_above = 60\nnight_below = "30 %"\n'
SWITCH = '\n[[switch]]\nname = "panel"\npin = 12\n'
REQUEST = '\n[dim_request]\npin = 14\nfollows = "strip"\n'
ALL = HEAD + LAMP + OTHER + LEGENDS + DISPLAY + BUS_OUTPUT + DAYLIGHT + SWITCH + REQUEST

Read = Callable[[str], Box]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def read(text: str) -> Box:
        path = tmp_path / "box.toml"
        path.write_text(text)
        return read_box(path)

    return read


def strip(box: Box) -> Lamp:
    lamp = box.lights.lamp("strip")
    assert lamp is not None
    return lamp


def same(said: object, expected: object) -> bool:
    """Whatever kind of number it is."""
    return said == expected


def test_defaults(read: Read) -> None:
    lights = read(ALL).lights
    lamp = strip(read(ALL))
    assert (lamp.frequency, lamp.source, lamp.curve) == (4000, Knob(27, 10e3, 2.2e3, 330e3), LampCurve(None))
    assert float(lamp.floor) / 100 / 4000 == pytest.approx(driver.REFERENCE.sure_pulse)
    assert same((lamp.ceiling, lamp.off_below, lamp.on_above, lamp.fade), (100, 2, 4, F(1, 5)))
    assert same((lamp.by_day, lamp.override, lamp.on_fault, lamp.driver), (None, None, 20, driver.REFERENCE))
    follower = lights.lamp("map")
    assert follower is not None
    assert same(
        (follower.off_below, follower.on_above, follower.override, follower.on_fault), (0, 0, None, None)
    )
    assert lights.display is not None and lights.bus_output is not None
    assert same(
        (lights.display.by_day, lights.display.override), (100, None)
    )  # a knob left up by day dims no face
    assert same((lights.bus_output.frequency, lights.bus_output.highest), (20_000, 14))
    assert lights.daylight is not None and same((lights.daylight.day_above, lights.daylight.delay), (60, 30))
    assert [(s.name, s.on) for s in lights.switches] == [("panel", 0)]
    request = lights.dim_request
    assert request is not None and same((request.on_above, request.off_below, request.active), (8, 5, 1))
    assert (request.on_fault, request.override) == ("along", None)


# a line added to the lamp, what of the lamp, what it is
LAMP_KEYS: dict[str, tuple[str, str, object]] = {
    "frequency": ('frequency = "3.2 kHz"', "frequency", 3200),
    "gamma": ("curve = { gamma = 2.2 }", "curve", LampCurve(2.2)),
    "floor": ('floor = "0.5 %"', "floor", F(1, 2)),
    "ceiling": ('ceiling = "60 %"', "ceiling", 60),
    "fade": ('fade = "1.5 s"', "fade", F(3, 2)),
    "no fade": ('fade = "0 ms"', "fade", 0),
    "by_day": ('by_day = "0 %"', "by_day", 0),
    "override": ("override = false", "override", False),
    "on_fault": ('on_fault = "35 %"', "on_fault", 35),
    "driver": ('driver = { rise = "20 ns", fall = "30 ns", on_resistance = "100 mohm" }', "driver", None),
    "driver by its edges": (
        'driver = { rise = "20 ns", fall = "1 us" }',
        "driver",
        driver.Driver(20e-9, 1e-6, 0.05),
    ),
    "wire": ('wire = { gauge = 20, length = "5 ft" }', "wire", Wire(20, 1.524)),
    "wire and airframe": (
        'wire = { gauge = 22, length = "2 m", airframe_return = true }',
        "wire",
        Wire(22, 2.0, True),
    ),
    "fuse": ('fuse = "2.5 A"', "fuse", F(5, 2)),
    "compensation": (
        'compensate = { input = "bus", at = "12.5 V" }\nload = { current = "1 A", at = "12 V" }',
        "compensate",
        Compensation("bus", F(25, 2)),
    ),
}


@pytest.mark.parametrize("line, key, value", LAMP_KEYS.values(), ids=LAMP_KEYS)
def test_lamp_key(line: str, key: str, value: object, read: Read) -> None:
    if value is None:
        with pytest.raises(WrongBoxFile, match="mohm"):  # milli or mega: not guessed
            read(HEAD + LAMP + line + DAYLIGHT)
        return
    assert getattr(strip(read(HEAD + LAMP + line + DAYLIGHT)), key) == value


SOURCES = {
    "a knob by its parts": ('knob = { pin = "GP27", track = "5 kohm", ends = "1 kohm", pull_down = "200 kohm" }', Knob(27, 5e3, 1e3, 200e3)),
    "a knob wired to the rails": ('knob = { pin = 27, ends = "0 ohm" }', Knob(27, 10e3, 0.0, 330e3)),
    "fixed": ('level = "40 %"', Fixed(F(40))),
    "a line": ('follows = "bus"\npoints = [["0 V", "0 %"], ["14 V", "100 %"]]', Follows("bus", ((F(0), F(0)), (F(14), F(100))))),
    "a line in another unit": ('follows = "bus"\npoints = [["500 mV", "0 %"], ["14 V", "100 %"]]', Follows("bus", ((F(1, 2), F(0)), (F(14), F(100))))),
}  # fmt: skip


@pytest.mark.parametrize("line, source", SOURCES.values(), ids=SOURCES)
def test_what_sets_a_lamp(line: str, source: object, read: Read) -> None:
    assert strip(read(HEAD + LAMP.replace("knob = 27", line))).source == source


# by Ohm's law, above 8.9 V or what is stated
LOADS = {
    "a current": ('{ current = "320 mA", at = "12 V" }', 8.9, (12 - 8.9) / 0.32),
    "a power": ('{ power = "4.8 W", at = "12 V" }', 8.9, (12 - 8.9) / 0.4),
    "a length": ('{ length = "50 cm", power_per_metre = "9.6 W", at = "12 V" }', 8.9, (12 - 8.9) / 0.4),
    "a drop of its own": ('{ current = "1 A", at = "24 V", drop = "18 V" }', 18, 6),
    "three readings": ('{ readings = [["10 V", "100 mA"], ["12 V", "300 mA"], ["14 V", "500 mA"]] }', 9, 10),
}


@pytest.mark.parametrize("load, drop, ohms", LOADS.values(), ids=LOADS)
def test_load(load: str, drop: float, ohms: float, read: Read) -> None:
    made = strip(read(HEAD + LAMP + f"load = {load}\n")).load
    assert made is not None and same((made.drop, made.ohms), (pytest.approx(drop), pytest.approx(ohms)))


def test_lines(read: Read) -> None:
    text = ALL.replace(
        '470 nF" }', '1 uF", stages = 2 }\nseries = "100 ohm"\nload = "1.5 kohm"\nfrequency = "10 kHz"'
    )
    made = read(
        text.replace("pin = 12\n", 'pin = 12\non = "high"\n')
        + 'active = "low"\non_fault = "off"\noverride = true\n'
    )
    line, request = made.lights.bus_output, made.lights.dim_request
    assert line is not None and request is not None
    assert same(
        (line.filter, line.frequency, line.series, line.load), (Filter(10e3, 1e-6, 2), 10_000, 100, 1500)
    )
    assert line.highest == 14 * F(1500, 1600)
    assert (request.active, request.on_fault, request.override, made.lights.switches[0].on) == (
        0,
        "off",
        True,
        1,
    )


def test_what_is_followed_comes_first(read: Read) -> None:
    names = [one.name for one in read(HEAD + OTHER + LEGENDS + LAMP + DISPLAY).lights.dimmed]
    assert names.index("strip") < names.index("map") and names[-1] == "display"


# an edit of ALL; what the line named begins with; words of the complaint
WRONG: dict[str, tuple[str, str, str, str]] = {
    "two that set it": ("knob = 27", 'knob = 27\nlevel = "4 %"', "level", "knob and level are two"),
    "nothing that sets it": ("knob = 27\n", "", "[[lamp]]", "write knob, follows or level"),
    "a reserved name": ('name = "map"', 'name = "display"', "name", "is what the box calls its own"),
    "a knob on an output": ("knob = 27", "knob = 15", "knob", "no on-chip converter pin"),
    "a knob of nothing": ("knob = 27", "knob = {}", "knob", 'needs "pin"'),
    "a knob with another key": ("knob = 27", "knob = { pin = 27, taper = 1 }", "knob", 'has no "taper"; it has: pin, track'),
    "a knob's track in volts": ("knob = 27", 'knob = { pin = 27, track = "3 V" }', "knob", 'track "3 V" is not in ohm'),
    "a knob's track too small": ("knob = 27", 'knob = { pin = 27, track = "10 ohm" }', "knob", "outside 1000 to 100000 ohm"),
    "follows nothing": ('follows = "strip"\n\n', 'follows = "stripe"\n\n', "follows", 'no lamp and no input "stripe"'),
    "follows itself": ('name = "map"\npin = 16\nfollows = "strip"', 'name = "map"\npin = 16\nfollows = "map"', "follows", 'no lamp and no input "map"'),
    "a line without points": ('points = [["0 V", "100 %"], ["14 V", "10 %"]]\n', "", "[[lamp]]", 'write points = [["0 V", "0 %"], ["100 V", "100 %"]]'),
    "one point": ('[["0 V", "100 %"], ["14 V", "10 %"]]', '[["0 V", "100 %"]]', "points", "two or more of"),
    "points the other way": ('[["0 V", "100 %"], ["14 V", "10 %"]]', '[["100 %", "0 V"], ["10 %", "14 V"]]', "points", 'point 1: "100 %" is not in V'),
    "points not sorted": ('[["0 V", "100 %"], ["14 V", "10 %"]]', '[["14 V", "10 %"], ["0 V", "100 %"]]', "points", "point 2 lies before the one above"),
    "a step of three": ('[["0 V", "100 %"], ["14 V", "10 %"]]', '[["1 V", "1 %"], ["1 V", "2 %"], ["1 V", "3 %"]]', "points", "stands there three times"),
    "points above full": ('["14 V", "10 %"]', '["14 V", "110 %"]', "points", "between 0 % and 100 %"),
    "a level without unit": ("knob = 27", "level = 40", "level", 'write "40 %"'),
    "a floor above the ceiling": ("knob = 27", 'knob = 27\nfloor = "50 %"\nceiling = "40 %"', "ceiling", "above the floor"),
    "a click-off that hunts": ("knob = 27", 'knob = 27\noff_below = "4 %"', "[[lamp]]", "must lie above off_below"),
    "a click-off in the middle": ("knob = 27", 'knob = 27\non_above = "60 %"', "on_above", "between 0 % and 50 %"),
    "a fade in minutes": ("knob = 27", 'knob = 27\nfade = "1 min"', "fade", "usable here: s, ms"),
    "a fade too long": ("knob = 27", 'knob = 27\nfade = "21 s"', "fade", "between 0 s and 20 s"),
    "override in words": ("knob = 27", 'knob = 27\noverride = "yes"', "override", "must be true or false"),
    "a safe level of a follower": ('pin = 16\n', 'pin = 16\non_fault = "5 %"\n', "on_fault", "to its safe level too; leave it out"),
    "a safe level of what is fixed": ("knob = 27", 'level = "5 %"\non_fault = "5 %"', "on_fault", "nothing can fail"),
    "a load without its voltage": ("knob = 27", 'knob = 27\nload = { current = "1 A" }', "load", 'at = "12 V"'),
    "a load told twice": ("knob = 27", 'knob = 27\nload = { current = "1 A", power = "5 W", at = "12 V" }', "load", "needs one of"),
    "a load in volts": ("knob = 27", 'knob = 27\nload = { current = "1 V", at = "12 V" }', "load", 'current "1 V" is not in A'),
    "a load that is dark": ("knob = 27", 'knob = 27\nload = { current = "1 A", at = "8 V" }', "load", "dark; state its real drop"),
    "two readings": ("knob = 27", 'knob = 27\nload = { readings = [["10 V", "1 A"], ["12 V", "2 A"]] }', "load", "take one each at 10, 12 and 14 V"),
    "readings and more": ("knob = 27", 'knob = 27\nload = { at = "12 V", readings = [] }', "load", "readings say it all"),
    "readings of numbers": ("knob = 27", "knob = 27\nload = { readings = [1, 2, 3] }", "load", 'readings must be [["10 V"'),
    "a driver without its fall": ("knob = 27", 'knob = 27\ndriver = { rise = "1 us" }', "driver", 'needs "fall"'),
    "a driver in volts": ("knob = 27", 'knob = 27\ndriver = { rise = "1 V", fall = "1 us" }', "driver", 'rise "1 V" is not in s'),
    "a wire of no gauge": ("knob = 27", 'knob = 27\nwire = { gauge = 21, length = "1 m" }', "wire", "gauge 21 must be an AWG number"),
    "a wire without length": ("knob = 27", "knob = 27\nwire = { gauge = 22 }", "wire", 'needs "length"'),
    "a fuse of nought": ("knob = 27", 'knob = 27\nfuse = "0 A"', "fuse", "must be more than 0"),
    "compensation without its voltage": ("knob = 27", 'knob = 27\ncompensate = { input = "bus" }', "compensate", 'needs "at"'),
    "a display that follows nothing": ("[display]\nfollows = ", "[display]\nfollow = ", "follow ", 'did you mean "follows"?'),
    "a bus output without full scale": ('full_scale = "14 V"\n', "", "[bus_output]", "full_scale is missing"),
    "a bus output without points": ('points = [["0 %", "0 V"], ["100 %", "11 V"]]\n', "", "[bus_output]", "points are missing"),
    "a bus output without filter": ('filter = { resistor = "10 kohm", capacitor = "470 nF" }\n', "", "[bus_output]", "filter is missing"),
    "a filter of three stages": ('"470 nF" }', '"470 nF", stages = 3 }', "filter", "must be 1 or 2"),
    "more volts than there are": ('["100 %", "11 V"]', '["100 %", "15 V"]', "points", "15 V is more than the line gets: 14.00 V"),
    "a line that is no line": ('["100 %", "11 V"]', '["100 %", "50 V"]', "points", "between 0 V and 40 V"),
    "a sensor that is none": ('sensor = "sky"', 'sensor = "sun"', "sensor", 'no input "sun"; there is: bus, sky'),
    "day below night": ("day_above = 60", "day_above = 20", "day_above", "must lie above night_below"),
    "a delay of nought": ("day_above = 60", 'day_above = 60\ndelay = "0 s"', "delay", "between 1 s and 600 s"),
    "a switch of neither": ("pin = 12\n", 'pin = 12\non = "left"\n', "on ", "write one of: low, high"),
    "a request with no lamp": ("[dim_request]\npin = 14\nfollows = ", "[dim_request]\npin = 14\nfollow = ", "follow ", 'did you mean "follows"?'),
    "a request that hunts": ("pin = 14\n", 'pin = 14\non_above = "5 %"\n', "on_above", "must lie above off_below"),
    "a request's polarity": ("pin = 14\n", 'pin = 14\nactive = "up"\n', "active", "write one of: high, low"),
    "a table too many": ("[display]", "[[display]]", "[[display]]", "write it under [display]"),
    "a table by a near name": ("[[switch]]", "[[switches]]", "[[switches]]", 'did you mean "switch"?'),
    # the lights as a whole
    "a frequency that flickers": ("knob = 27", 'knob = 27\nfrequency = "1 kHz"', "frequency", "may flicker (IEEE 1789-2015); write 1250 Hz at least, better 3000"),
    "a floor too short": ("knob = 27", 'knob = 27\nfloor = "0.01 %"', "floor", "25 ns of light in each period are shorter than its driver can make, 46 ns"),
    "a fuse above the wire": ("knob = 27", 'knob = 27\nwire = { gauge = 22, length = "1 m" }\nfuse = "7.5 A"', "fuse", "7.5 A would let AWG 22 burn; 5 A at most"),
    "a fuse below the lamp": ("knob = 27", 'knob = 27\nload = { current = "2 A", at = "12 V" }\nfuse = "1 A"', "fuse", "takes 3.4 A at 14.2 V, and a fuse of 1 A holds 0.75 A for ever; 7.5 A would do"),
    "a wire that drops too much": ("knob = 27", 'knob = 27\nload = { current = "2 A", at = "12 V" }\nwire = { gauge = 24, length = "5 m" }', "wire", "% of the supply are lost in it"),
    "one slice, two frequencies": ("pin = 16\n", 'pin = 16\n'.replace("16", "14"), "[[lamp]]", ""),
    "the bus output on a lamp's slice": ("pin = 13\n", "pin = 17\n", "[bus_output]", "20000 Hz, but map on pin 16 runs the same PWM slice at 4000 Hz"),
    "one channel for two": ("pin = 8\n", "pin = 0\n", "pin", "pins 16 and 0 share a PWM channel"),
    "a circle": ('name = "strip"\npin = 15\nknob = 27', 'name = "strip"\npin = 15\nfollows = "map"', "follows", "follows itself: strip, map, strip"),
    "by day without daylight": (DAYLIGHT, "", "[display]", ""),
    "override without a knob": ('points = [["0 V", "100 %"], ["14 V", "10 %"]]\n', 'points = [["0 V", "100 %"], ["14 V", "10 %"]]\noverride = true\n', "override", "is for what has a knob"),
    "one knob, two ways": ('pin = 16\nfollows = "strip"', 'pin = 16\nknob = { pin = 27, track = "5 kohm" }', "knob", "described in two ways"),
    "compensation by no voltage": ("knob = 27", 'knob = 27\ncompensate = { input = "sky", at = "12 V" }\nload = { current = "1 A", at = "12 V" }', "compensate", '"sky" is no input in V; there is: bus'),
    "compensation beyond its input": ("knob = 27", 'knob = 27\ncompensate = { input = "bus", at = "28 V" }\nload = { current = "1 A", at = "12 V" }', "compensate", "bus reads 0 to 16 V, and never tells"),
    "no floor at all": ("knob = 27", 'knob = 27\nfloor = "0 %"', "floor", "shorter than its driver can make"),
    "compensation without load": ("knob = 27", 'knob = 27\ncompensate = { input = "bus", at = "12 V" }', "compensate", "needs load"),
    "compensation in the dark": ("knob = 27", 'knob = 27\ncompensate = { input = "bus", at = "8 V" }\nload = { current = "1 A", at = "12 V" }', "compensate", "its LEDs, which take 8.9 V, are dark"),
    "a safe level that is off": ("knob = 27", 'knob = 27\non_fault = "3 %"', "on_fault", "lies below on_above, so the lamp would be off"),
    "a lamp called as an input": ('name = "map"', 'name = "sky"', "[[lamp]]", "each needs its own"),
    "a switch called as a lamp": ('name = "panel"', 'name = "strip"', "[[switch]]", "each needs its own"),
    "a switch on a lamp's pin": ("pin = 12\n", "pin = 15\n", "[[switch]]", "pin 15 is used by strip already"),
    "a request on nothing": ('pin = 14\nfollows = "strip"', 'pin = 14\nfollows = "bus"', "follows", 'no lamp and no switch "bus"; there is: strip'),
    "a request on no daylight": (DAYLIGHT + SWITCH + REQUEST, '\n[dim_request]\npin = 14\nfollows = "daylight"\n', "follows", "there is no [daylight]"),
    "in flight by nothing": (REQUEST, REQUEST + '[in_flight]\nfollows = "buss"\n', "follows", 'no input and no switch "buss"; did you mean "bus"?'),
    "in flight, what tells": (REQUEST, REQUEST + '[in_flight]\nabove = "13 V"\n', "[in_flight]", "follows is missing"),
    "in flight above nothing": (REQUEST, REQUEST + '[in_flight]\nfollows = "bus"\n', "[in_flight]", 'write above = "<number> V"'),
    "in flight above all": (REQUEST, REQUEST + '[in_flight]\nfollows = "bus"\nabove = "16 V"\n', "above", "bus reads 0 to 16 V, never above that"),
    "in flight above per cent": (REQUEST, REQUEST + '[in_flight]\nfollows = "bus"\nabove = "13 %"\n', "above", "not in V"),
    "in flight by a switch above": (REQUEST, REQUEST + '[in_flight]\nfollows = "panel"\nabove = "13 V"\n', "above", "belongs to an input"),
    "in flight by a lamp": (REQUEST, REQUEST + '[in_flight]\nfollows = "strip"\n', "follows", 'no input and no switch "strip"'),
    "in flight, another key": (REQUEST, REQUEST + '[in_flight]\nfollows = "panel"\nbelow = "3 V"\n', "below", "unknown key"),
    "a near name to follow": ('follows = "strip"\n\n[[lamp]]', 'follows = "stripp"\n\n[[lamp]]', "follows", 'did you mean "strip"?'),
    "thresholds of a switch": ('pin = 14\nfollows = "strip"', 'pin = 14\nfollows = "panel"\non_above = "9 %"', "on_above", "belongs to a lamp"),
    "a fade in bare milliseconds": ("knob = 27", "knob = 27\nfade = 200", "fade", 'write "200 ms"'),
    "a wire in square millimetres": ("knob = 27", 'knob = 27\nwire = { gauge = 0.33, length = "1 m" }', "wire", "22 (0.33 mm2)"),
    "points of a line without unit": ('["100 %", "11 V"]', '["100 %", 11]', "points", 'point 2: has no unit; write "11 V"'),
    "a strip for another bus": ("knob = 27", 'knob = 27\nload = { current = "1 A", at = "12 V" }', "load", "at 28 V it takes 6.2 times what it takes at 12 V, and burns"),
    "a request that overrides a switch": ('pin = 14\nfollows = "strip"', 'pin = 14\nfollows = "panel"\noverride = true', "override", "follows a lamp with a knob"),
}  # fmt: skip
RIGHT = (
    "one slice, two frequencies",
    "by day without daylight",
)  # these edits leave nothing wrong, or something else
WRONG["one slice, two frequencies"] = (
    "pin = 16\n",
    'pin = 9\nfrequency = "5 kHz"\n',
    "[[lamp]]",
    "4000 Hz, but map on pin 9 runs the same PWM slice at 5000 Hz",
)
WRONG["by day without daylight"] = (
    DAYLIGHT + SWITCH,
    'by_day = "3 V"\n' + SWITCH,
    "by_day",
    "needs [daylight]",
)


@pytest.mark.parametrize("old, new, line, words", WRONG.values(), ids=WRONG)
def test_wrong(old: str, new: str, line: str, words: str, read: Read) -> None:
    assert ALL.count(old) >= 1, old
    text = ALL.replace(old, new, 1)
    if "28 V" in words:
        text = text.replace('board = "rp2040"', 'board = "rp2040"\nsupply = "28 V"')
    with pytest.raises(WrongBoxFile) as wrong:
        read(text)
    said = [p for p in wrong.value.problems if words in p.what]
    assert said, [p.what for p in wrong.value.problems]
    there = text.split("\n")[said[0].line - 1]
    assert there.startswith(line), (there, said[0])


NOTES = {
    "a knob that tells nothing": ("knob = 27", 'knob = { pin = 27, ends = "0 ohm" }', "strip", "cannot be told from a turned one"),
    "low risk": ("knob = 27", 'knob = 27\nfrequency = "2 kHz"', "strip", "of low risk"),
    "a warning that a knob dims": ("knob = 27", 'knob = 27\nby_day = "100 %"', "strip", "by day a turn of its knob dims it"),
    "a display that no knob dims": (DISPLAY, DISPLAY + "by_day = \"100 %\"\noverride = false\n", "display", "should the daylight sensor say day at night"),
    "a safe level that dazzles": ("knob = 27", 'knob = 27\non_fault = "100 %"', "strip", "it may dazzle"),
    "a face that goes the wrong way": ('points = [["0 %", "100 %"], ["100 %", "20 %"]]\n', "", "display", "a face goes down as the strip comes up"),
    "a lamp that regulates itself": ("knob = 27", 'knob = 27\nload = { readings = [["10 V", "1 A"], ["12 V", "1 A"], ["14 V", "1 A"]] }', "strip", "linear regulator"),
    "a wire without fuse": ("knob = 27", 'knob = 27\nwire = { gauge = 22, length = "1 m" }', "strip", "5 A at most"),
    "a line that breaks": ("knob = 27", "knob = 27", "legends", "open wire of bus reads 0: it goes to 100 %"),
    "a line that wants more than the bus has": ('"11 V"', '"13 V"', "bus output", "leave its buffer less than 3 V"),
    "no daylight": (DAYLIGHT, "", "display", "a knob left up by day dims what shows warnings"),
    "no daylight, the request": (DAYLIGHT, "", "dim request", "a knob left up by day"),
    "tones where speech is": ("knob = 27", 'knob = 27\nfrequency = "1500 Hz"', "strip", "2 of its tones lie below 3400 Hz"),
    "a lone tone": ("knob = 27", 'knob = 27\nfrequency = "3200 Hz"', "strip", "its tone lies below 3400 Hz"),
    "a floor that the wire makes uneven": ("knob = 27", 'knob = 27\nfloor = "0.02 %"\nload = { current = "320 mA", at = "12 V" }\nwire = { gauge = 22, length = "2 m" }', "strip", "below 0.11 % of the time one lamp glows brighter"),
    "back through the airframe": ("knob = 27", 'knob = 27\nwire = { gauge = 22, length = "1 m", airframe_return = true }', "strip", "where compass and audio feel it"),
    # by hand: (35 - 8.9) V over (12 - 8.9) V / 0.32 A, squared, for 0.4 s are 2.9 A2s; a quick fuse of 1 A melts at 1.25 (from memory), of which 1 is trusted
    "a fuse that a load dump melts": ("knob = 27", 'knob = 27\nload = { current = "320 mA", at = "12 V" }\nfuse = "1 A"', "strip", "2.9 A2s in a load dump (1.7 A outlives it)"),
    # by hand: (16 - 8.9) V over (12 - 8.9) V / 5 A are 11.5 A at the most, 6.6 W in 50 mohm; parts.csv has 2 W of Q101
    "a lamp that burns its transistor": ("knob = 27", 'knob = 27\nload = { current = "5 A", at = "12 V" }', "strip", "make 6.6 W in the reference box's transistor, which takes 2 W"),
    # 57 A are more than three quarters of 30 A, the largest fuse
    "a lamp that no fuse holds": ("knob = 27", 'knob = 27\nload = { current = "25 A", at = "12 V" }\nfuse = "90 A"', "strip", "57 A at the most the bus may have for ever (no fuse up to 30 A holds)"),
    "a switch of nothing": ("knob = 27", "knob = 27", "panel", "nothing follows this switch"),
    "a request that asks while dead": ("pin = 14\n", 'pin = 14\nactive = "low"\n', "dim request", "asks to dim then"),
}  # fmt: skip


@pytest.mark.parametrize("old, new, name, words", NOTES.values(), ids=NOTES)
def test_note(old: str, new: str, name: str, words: str, read: Read) -> None:
    box = read(ALL.replace(old, new, 1))
    said = [what for who, what in notes_on_lights(box, [*faults_shown(build(box))]) if who == name]
    assert any(words in what for what in said), said


@pytest.mark.parametrize(
    "load, driver",
    [("2 A", ""), ("5 A", '\ndriver = { rise = "46 ns", fall = "40 ns", on_resistance = "0.005 ohm" }')],
)
def test_a_transistor_that_takes_it_is_left_alone(load: str, driver: str, read: Read) -> None:
    box = read(
        ALL.replace("knob = 27", f'knob = 27\nload = {{ current = "{load}", at = "12 V" }}{driver}', 1)
    )
    assert not [what for _, what in notes_on_lights(box, []) if "burns" in what]


VALUES = re.findall(r"(?m)^\w+ = .*$", ALL[len(HEAD) :])


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    which=st.integers(0, len(VALUES) - 1),
    value=st.text(st.characters(codec="utf-8"), max_size=30),
    kind=st.integers(0, 6),
)
def test_any_value_is_read_or_told(
    which: int, value: str, kind: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever stands in a value's place: it is built, or the complaint has a line."""
    key = VALUES[which].split(" = ")[0]
    quoted = '"' + value.replace("\\", "").replace('"', "").replace("\n", " ") + '"'
    written = (
        quoted,
        value,
        f"[{quoted}]",
        f"{{ pin = {quoted} }}",
        "-1",
        "1e308",
        f"[[{quoted}, {quoted}]]",
    )[kind]
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_text(ALL.replace(VALUES[which], f"{key} = {written}", 1), encoding="utf-8")
    try:
        build(read_box(path))
    except WrongBoxFile as wrong:
        assert all(problem.text("x").startswith("x:") for problem in wrong.problems) and wrong.problems
