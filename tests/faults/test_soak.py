"""The whole box for an hour, with wires that break, converters that fall silent and the clock going round; with GAUGELIGHT_LONG set
for three days."""

import json
import os
import struct
import subprocess
import sys
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest

from gaugebox.curve import lookup
from gaugebox.flight_log import FULL
from gaugebox.light import INPUT
from gaugebox.line import ANSWER, unframe
from gaugebox.log import DIMMERS, LOST, MOST_RECORDS, RECORD, RECORD_SIZE, TOLD
from gaugebox.measure import FAULTS
from gaugebox.table import Table
from gaugelight.benchmark import checked, guarded
from gaugelight.boxfile import Box, read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO
from gaugelight.converters import OnChip
from gaugelight.event_log import alerts_of
from gaugelight.flights.flight_log import pieces
from gaugelight.lights import Display, Lamp
from gaugelight.plant import Aircraft
from gaugelight.virtual.in_process import CHIP_FOLDER
from interpreters import compiled

pytest.importorskip("micropython_unix", reason="the whole box runs on the interpreter of the bench extra")

WHOLE_BOX = (Path(__file__).parent / "whole_box.py").read_text()
LONG = "GAUGELIGHT_LONG" in os.environ
HOURS = 72 if LONG else 1
PLACES = 65  # from one end of a sender's span to the other
WARM_UP_S, EACH_S = 120, 300
SETTLE_S = 150  # more than twelve time constants of the slowest damper, and the delay of the daylight
SEED = 20_417
ERASES_AN_HOUR = 120  # by the event log: two a flush, which comes each minute
FLIGHT_ERASES_AN_HOUR = 90  # by the flight log: one a flush, one of its folder for ten, and one for each 4 kB
WORN_AN_HOUR = 6  # of one block, which is good for 100,000 erasures (W25Q16JV, from memory)
STALL_MS = (
    200  # four erasures and what is written; typical times, not the worst of the flash chip's data sheet
)
# where senders and knob are put in the end, one after the other
STANDS = {"night, knob off": (12, 0), "night, knob up": (12, 58), "day": (52, 58), "night again": (12, 13)}


def on_the_chip(code: str, longest_s: float, **given: object) -> str:
    """What code prints on the Unix port, after whole_box.py and what is given by name, with the virtual chip's modules and the
    firmware compiled."""
    head = f"import sys\nsys.path.insert(0, {str(CHIP_FOLDER)!r})\n"
    code = "".join(f"{name} = {value!r}\n" for name, value in given.items()) + code
    with TemporaryDirectory() as folder:
        script = Path(folder) / "guest.py"
        script.write_text(guarded(head + WHOLE_BOX + code, str(compiled())))
        command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=4M", str(script)]
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=longest_s
        )
    assert done.returncode == 0, done.stdout + done.stderr
    return checked(done.stdout)


@cache
def demo() -> tuple[Build, Build]:
    """What the box runs, and what lies in its older slot."""
    text = DEMO.read_text()
    with TemporaryDirectory() as folder:
        before = Path(folder) / "before.toml"
        before.write_text(text.replace('"hull console"', '"hull console before"'))
        return build(read_box(DEMO)), build(read_box(before))


def truths(box: Box, place: int) -> dict[str, float]:
    """The reading of each input where its sender stands at that place of its span."""
    return {
        one.name: float(
            np.linspace(*one.law.span, PLACES)[PLACES // 2 if one.name == "sender rail" else place]
        )
        for one in box.inputs
    }


def aircraft() -> tuple[object, ...]:
    """What whole_box.Aircraft is made of, for the demo box."""
    box = demo()[0].box
    model = Aircraft(box)
    rail = box.inputs[0]
    assert rail.name == "sender rail"
    model.signals[rail.name] = truths(box, 0)[rail.name]

    def nanovolts(volts: float) -> int:
        return round(volts * 1e9)

    senders = []
    for one in box.inputs:
        volts = []
        for signal in one.law.signal(np.linspace(*one.law.span, PLACES)):
            was, model.signals[one.name] = model.signals[one.name], float(signal)
            volts.append(nanovolts(model.volts(one)))
            model.signals[one.name] = was
        faulty = []
        for wire in ("broken", "shorted"):
            model.wires = {one.name: wire}
            faulty.append(nanovolts(model.volts(one)))
        model.wires = {}
        if isinstance(one.converter, OnChip):
            place = 0, one.converter.pin
        else:
            place = one.converter.chip.address, one.converter.pins[0]
        senders.append((*place, tuple(volts), *faulty, int(box.rail_of(one) is rail)))
    (knob,) = box.lights.knobs
    turned = tuple(nanovolts(model._wiper(knob, i / (PLACES - 1))) for i in range(PLACES))
    broken = nanovolts(model._wiper(knob, 0.5, "wiper broken"))
    return senders, 0, (0, knob.pin, turned, broken, 3_300_000_000, 0), SEED


def tables() -> tuple[bytes, bytes]:
    return demo()[0].image, demo()[1].image


SOAK = """
import binascii
import json

from gaugebox.measure import CLOCK_MASK

REQUESTS = [
    ["1", "hello"], ["2", "values", "0"], ["3", "values", "8"], ["4", "lamps", "0"], ["5", "lamps", "4"], ["6", "dim"],
    ["7", "health"], ["8", "log", "0"], ["9", "log", "500"], ["10", "table", "3"], ["11", "input", "4"],
]
LINES = [(frame(REQUEST, fields) + "\\n").encode() for fields in REQUESTS]
heap = array("q", [0] * (HOURS * 3600 // EACH_S))
samples = 0

def each_tick(box):
    global samples
    if box.ticks % 50 == 1:
        line = LINES[box.ticks // 50 % len(LINES)]
        box.board.type(line, len(line))
    if box.ticks >= 50 * WARM_UP_S and (box.ticks - 50 * WARM_UP_S) % (50 * EACH_S) == 0:
        heap[samples] = box.held()
        samples += 1

def idle(box):
    pass

def at_rest(box):
    box.each_tick = idle
    said = []
    for place, knob in STANDS:
        box.aircraft.rest(place, knob)
        box.run(50 * SETTLE_S)
        pins = [link.request[layout.PWM_DUTY + (pin & 15)] for pin in PWM_PINS]
        said.append([box.asked(REQUESTS[i]) for i in range(1, 6)] + [pins, link.request[layout.LATCH] >> DIM_PIN & 1])
    return said

box = Box(Aircraft(*AIRCRAFT), TABLES, each_tick)
box.app.clock[0] = CLOCK_MASK - 1_000_000  # it goes round in the first hour
box.aircraft.still = False
box.run(50 * 3600 * HOURS)
said = {
    "ticks": box.ticks, "steps": box.aircraft.steps, "seconds": box.app.seconds, "wraps": box.wraps,
    "clock": box.app.clock[0], "heap": list(heap), "late": box.app.late, "unexplained": box.unexplained,
    "longest": box.longest_ms, "said longest": box.app.longest, "busy": box.busy_ms, "furthest": box.furthest_ms,
    "unfed": box.aircraft.longest_unfed_us // 1000, "watchdog": link.request[layout.WATCHDOG_MS], "flight": box.app.flight,
    "erases": box.flash.erases, "pages": box.flash.pages, "stray": box.flash.stray, "worn": max(box.flash.erasures),
    "log": box.biggest_log, "logs": [(name, os.stat(name)[6]) for name in sorted(box.logs())],
    "flight erases": box.app.flight_erases, "oldest": box.app.flights.oldest, "newest": box.app.flights.newest,
    "answers": box.board.answers, "refusals": box.board.refusals,
}
box.app.flush()
said["events"] = "".join([binascii.hexlify(open(name, "rb").read()).decode() for name in sorted(box.logs(), reverse=True)])
flights = box.app.flights
for n in range(flights.oldest, flights.newest + 1):  # each by itself: all of a long soak would not fit into this heap
    print(binascii.hexlify(flights.read(n, 0, 40_000)).decode())
said["soaked"] = at_rest(box)
vfs.umount("/")
vfs.mount(vfs.VfsPosix(), "/")
said["fresh"] = at_rest(Box(Aircraft(*AIRCRAFT), TABLES, idle))
print(json.dumps(said))
"""


def the_pins() -> dict[str, int]:
    """Where each lamp and line is driven, by name."""
    return {
        one.name: one.pin
        for one in demo()[0].box.lights.dimmed
        if not isinstance(one, Display) and not (isinstance(one, Lamp) and one.shows)
    }


UNPRINTED = "events", "flights", "soaked", "fresh"


@cache
def soaked() -> dict[str, Any]:
    request = demo()[0].box.lights.dim_request
    assert request is not None
    said = on_the_chip(
        SOAK,
        HOURS * 300,
        AIRCRAFT=aircraft(),
        TABLES=tables(),
        HOURS=HOURS,
        WARM_UP_S=WARM_UP_S,
        EACH_S=EACH_S,
        SETTLE_S=SETTLE_S,
        STANDS=[*STANDS.values()],
        PWM_PINS=[*the_pins().values()],
        DIM_PIN=request.pin,
    )
    *flights, numbers = said.splitlines()
    found: dict[str, Any] = json.loads(numbers)
    found["flights"] = flights
    print({name: value for name, value in found.items() if name not in UNPRINTED})
    return found


def test_the_heap_is_the_same_to_the_byte() -> None:
    """In an hour. In three days one look in a hundred meets a moment in which 320 bytes are not held; none ever finds more."""
    heap = soaked()["heap"]
    assert len(heap) == HOURS * 3600 // EACH_S
    assert set(heap) == {heap[0]} or LONG
    usual = max(set(heap), key=heap.count)
    assert max(heap) == usual and min(heap) >= usual - 320
    assert heap.count(usual) >= 0.97 * len(heap)


def test_the_loop_ran_all_the_time() -> None:
    """Fifty ticks a second but for those lost to flash, both clocks round once, the watchdog never near its end."""
    said = soaked()
    assert said["ticks"] == HOURS * 3600 * 50
    assert said["flight"] and said["watchdog"] == 4000 and said["unfed"] < 500
    assert said["wraps"] == 1 and said["clock"] < 2**28
    assert 0 <= said["seconds"] - HOURS * 3600 <= said["late"] * STALL_MS / 1000 + 1
    assert said["steps"] > 9 * HOURS * 3600  # of the aircraft around it


def test_only_flash_makes_a_tick_late() -> None:
    said = soaked()
    assert 0 < said["late"] <= said["erases"]
    assert said["unexplained"] == 0
    assert said["busy"] <= 8 and said["furthest"] <= 21
    assert 40 < said["longest"] <= STALL_MS and said["said longest"] == said["longest"]


def test_flash_is_written_as_seldom_as_promised() -> None:
    """Never but for the two logs; the event log stays within its two files; each block wears slowly."""
    said = soaked()
    flight = said["flight erases"]
    assert said["stray"] == 0
    assert HOURS < said["erases"] - flight <= ERASES_AN_HOUR * HOURS
    assert 60 * HOURS < flight <= FLIGHT_ERASES_AN_HOUR * HOURS
    assert said["worn"] <= WORN_AN_HOUR * HOURS
    sizes = dict(said["logs"])
    assert [*sizes] == ["/log/events", "/log/older"]
    assert max(sizes.values()) <= MOST_RECORDS * RECORD_SIZE == 4096
    assert 4096 < said["log"] <= 8192


def test_the_log_tells_it_in_order() -> None:
    """The newest records of this one start: whole, in order, up to the last minute, of things there are."""
    events = [*struct.iter_unpack(RECORD, bytes.fromhex(soaked()["events"]))]
    seconds = [second for _, _, _, second in events]
    things = {
        *range(len(demo()[0].inputs)),
        *(DIMMERS + i for i in range(len(demo()[0].box.lights.dimmed))),
        *(TOLD + i for i, _ in enumerate(alerts_of(Table(demo()[0].image)))),
        LOST,
    }
    assert len(events) > MOST_RECORDS
    assert seconds == sorted(seconds) and HOURS * 3600 - 60 < seconds[-1] <= soaked()["seconds"]
    assert {start for start, _, _, _ in events} == {1}
    assert {subject for _, subject, _, _ in events} <= things
    faults = {FAULTS[code] for _, subject, code, _ in events if subject < TOLD}
    assert faults >= {None, "open", "short", "rail", "converter"}


def test_the_flight_log_holds_every_second() -> None:
    """Up to the last minute; whatever was broken: silent converters are silent in it. After a long soak of the last hours, six full files
    at least: here inputs leap all the time, and a row takes three times what it takes in flight."""
    found, damaged = [], 0
    for content in soaked()["flights"]:
        of_it, passed_over = pieces(bytes.fromhex(content))
        found += of_it
        damaged += passed_over
    seconds = [piece.first + i for piece in found for i in range(len(piece.rows))]
    silent = {
        one.name: sum(row[i] < 0 for piece in found for row in piece.rows)
        for i, one in enumerate(demo()[0].box.inputs)
        if not isinstance(one.converter, OnChip)
    }
    missed = seconds[-1] - seconds[0] + 1 - len(seconds)
    size = sum(len(content) // 2 for content in soaked()["flights"])
    print(f"{len(seconds)} rows, {size / len(seconds):.1f} bytes each, {missed} seconds missed")
    assert damaged == 0 and seconds == sorted(set(seconds)) and missed <= HOURS
    assert seconds[-1] > soaked()["seconds"] - 62
    assert len(seconds) >= HOURS * 3600 - 62 or LONG and size >= 6 * FULL
    assert all(0 < count < len(seconds) // 10 for count in silent.values()), silent


def test_every_question_was_answered() -> None:
    said = soaked()
    assert (said["answers"], said["refusals"]) == (HOURS * 3600, 0)


def answers(which: str, stand: str) -> tuple[list[list[str]], list[int], int]:
    """Fields of the answers to two requests for values, two for lamps, and dim; duties on the pins; the dim request's pin."""
    *lines, duties, dim = soaked()[which][[*STANDS].index(stand)]
    fields = [unframe(ANSWER, line.encode()) for line in lines]
    assert all(said is not None and said[1] == "ok" for said in fields)
    return [said[2:] for said in fields if said is not None], duties, dim


@pytest.mark.parametrize("stand", STANDS)
def test_the_readings_are_true_at_the_end(stand: str) -> None:
    """Where the senders were put last, within the quarter of a step that was proven."""
    (first, second, *_), _, _ = answers("soaked", stand)
    truth = truths(demo()[0].box, STANDS[stand][0])
    rows = first + second  # the derived readouts come last
    for solved, values in zip(demo()[0].inputs, rows[: len(demo()[0].inputs)], strict=True):
        one = solved.input
        _, _, reading, fault = values.split(",")
        assert fault == "", (one.name, fault)
        said = int(reading) / 10**solved.reading_decimals
        assert said == pytest.approx(truth[one.name], abs=float(one.step) / 4), one.name


@pytest.mark.parametrize("stand", STANDS)
def test_it_does_as_a_box_just_started(stand: str) -> None:
    """After all that has happened, what it says and drives is what a new box does there, but for the play of a bus that is followed."""
    (soaked_lines, soaked_duties, soaked_dim), (lines, duties, dim) = answers("soaked", stand), answers(
        "fresh", stand
    )
    assert soaked_lines[:2] == lines[:2] and soaked_lines[3:] == lines[3:] and soaked_dim == dim
    table = Table(demo()[0].image)
    for record, said, new in zip(table.dimmers, soaked_lines[2] + soaked_lines[3], lines[2] + lines[3]):
        name, level, duty, fault = said.split(",")
        assert name == record.name and fault == ""
        if record.shows:
            continue  # it may flash
        if record.source != INPUT:
            assert said == new
            continue
        assert record.source_curve is not None
        reading = int((lines[0] + lines[1])[record.index].split(",")[2])
        reach = [lookup(record.source_curve, reading + play) for play in (-record.play, record.play)]
        assert min(reach) <= int(level) <= max(reach) and int(duty) == lookup(record.curve, int(level))
    driven = {said.split(",")[0]: int(said.split(",")[2]) for said in soaked_lines[2] + soaked_lines[3]}
    assert soaked_duties == [driven[name] for name in the_pins()]


# what is lit and asked for at each stand: glare shield, switch legends, dim request
LIT = {
    "night, knob off": (False, True, 0),
    "night, knob up": (True, True, 1),
    "day": (False, True, 0),
    "night again": (True, True, 1),
}


@pytest.mark.parametrize("stand", LIT)
def test_the_lights_follow_at_the_end(stand: str) -> None:
    _, duties, dim = answers("soaked", stand)
    driven = dict(zip(the_pins(), duties))
    assert (driven["glare shield"] > 0, driven["switch legends"] > 0, dim) == LIT[stand]


def test_the_lights_differ_from_stand_to_stand() -> None:
    duties = [tuple(answers("soaked", stand)[1]) for stand in STANDS]
    assert len(set(duties)) == len(STANDS)
