"""What runs fifty times a second takes nothing from the heap: run with the heap locked, on the box's small integers.

An integer beyond 31 bits would need the heap, so this shows as well that there is none on the way.
"""

from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from gaugelight.boxfile import read_box
from gaugelight.build import build
from interpreters import LOCKED, on_32_bit

DEMO = Path(str(files("gaugelight.demo") / "amphibian.toml"))
BOX_SAYS = (Path(__file__).parent / "box_says.py").read_text()

HEAD = """
import framebuf
import gc
import micropython
from array import array
from gaugebox.ads1115 import ADS1115
from gaugebox.app import App
from gaugebox import log
from gaugebox.flight_log import FlightLog
from gaugebox.log import MOST_PENDING, RECORD_SIZE
from gaugebox.curve import LIMIT, lookup, make_curve
from gaugebox.measure import CLOCK_MASK, MOST_MS

IMAGE = {image!r}
table = Table(IMAGE)
"""

CHANNELS = """
# channels

seen = bytearray(8)
ELAPSED = (0, 20, 99, 101, MOST_MS, CLOCK_MASK)

def settle_at_each(work):
    channel, counts = work
    for count in counts:
        channel.lose()
        for _ in range(3):
            channel.step(count, 20)
            seen[channel.fault] = 1

def wander(work):
    channel, counts = work
    for elapsed in ELAPSED:
        for count in counts:
            channel.step(count, elapsed)
            channel.step(count, 20)
            seen[channel.fault] = 1

def whole_channel(name, channel):
    counts = counts_at_edges(channel.record, channel.rail) + list(range(0, 65536, 509))
    locked(name + ", each count", settle_at_each, (channel, counts))
    locked(name + ", wandering", wander, (channel, counts))
    low, high = channel.record.windows[1:3]
    if channel.rail is not None:
        low, high = (edge * channel.rail.count // 65536 + 1 for edge in (low, high))
    locked(name + ", from end to end", wander, (channel, [low, low, low, high - 1, high - 1, high - 1] * 3))

for record in table.inputs:
    cold = None
    if record.cold != NO_INPUT:
        cold = Sampled(table.inputs[record.cold])
        settled(cold, 0)
        whole_channel(record.name + ", without its cold junction", Sampled(record, None, cold))
        settled(cold, (cold.record.windows[1] + cold.record.windows[2]) // 2)
    if record.rail == NO_INPUT:
        whole_channel(record.name, Sampled(record, None, cold))
        continue
    rail = Sampled(table.inputs[record.rail])
    low, high = rail.record.windows[1:3]
    for rail_count in (20000, low, (low + high) // 2, high):
        settled(rail, rail_count)
        whole_channel("%s, rail %d" % (record.name, rail_count), Sampled(record, rail, cold))
print("faults seen", sorted(fault for fault in range(8) if seen[fault]))

"""

EDGES = """
class AtTheLimits:
    windows = (0, 0, 65535, 65535)
    faults = bytes(4)
    damping = 65535
    signal_curve = make_curve(array("i", [0, 65535]), array("i", [-8191, 8191]))
    reading_curve = make_curve(array("i", [-8191, 8191]), array("i", [-8191, 8191]))

locked("largest damping", wander, (Sampled(AtTheLimits()), [0, 0, 0, 65535, 65535, 65535] * 3))

def look_up_each(work):
    curve, places = work
    for n in places:
        lookup(curve, n)

for name, xs, ys in (
    ("steepest", [0, 1], [-(LIMIT // 4), LIMIT // 4]),
    ("widest", [1 - LIMIT // 2, 0, LIMIT // 2 - 2], [0, 0, 0]),
    ("highest", [LIMIT - 1000, LIMIT - 500, LIMIT - 2], [LIMIT - 3, LIMIT - 2, LIMIT - 1]),
    ("largest product", [0, 32767], [0, 32766]),
    ("largest product, falling", [0, 2], [0, 2 - LIMIT // 2]),
):
    places = xs + [x - 1 for x in xs[1:]] + [x + 1 for x in xs[:-1]]
    locked(name + " curve", look_up_each, (make_curve(array("i", xs), array("i", ys)), places))

at_the_limits = Sampled(AtTheLimits())
for reference in (1, 2, 32768, 65534, 65535):
    settled(at_the_limits, reference)
    counts = [0, 1, reference // 2, reference - 2, reference - 1, reference, 65535]
    counts = [count for count in counts if count >= 0] * 3
    locked("ratio to %d" % reference, wander, (Sampled(AtTheLimits(), at_the_limits), counts))


# light: knobs turned and broken, readings and switches that move, at every tick

def run_lights(work):
    lighting, channels, ticks = work
    for turn in range(ticks):
        for knob in lighting.knobs:
            knob.take(turn * 97 % 65536)
            knob.sample(KNOB_PIN)
        for channel in channels:
            readings = channel.record.reading_curve[1]
            channel.said[0] = OPEN if turn % 500 < 70 else NONE
            channel.said[3] = readings[turn // 3 % len(readings)]
        for switch in lighting.switches:
            switch.take(turn >> 5 & 1)
        lighting.step()

class KnobPin:
    def read_u16(self):
        return 33333

KNOB_PIN = KnobPin()
channels = make_channels(table.inputs, [0])
lighting = Lighting(table, channels)
locked("light", run_lights, (lighting, channels, 1500))
work = (lighting, channels, 100)
for _ in range(2):  # the first time names are made
    before = gc.mem_alloc()
    run_lights(work)
    growth = gc.mem_alloc() - before
print("growth of the lights", growth)


"""

CHIP = """
# converter chip

class Chip:
    trouble = OSError(5)
    codes = (0x18, 0x18, 0x18, 0x67)  # upper halves: senders somewhere in their span, the rail at 3.3 V

    def __init__(self, stuck, dead):
        self.stuck, self.dead = stuck, dead
        self.high, self.low = bytearray(0x4C), bytearray(0x4C)

    def readfrom_mem_into(self, address, register, two):
        if self.dead:
            raise self.trouble
        high = self.high[address]
        if register:
            two[0] = high ^ 0x80 if self.stuck else high | 0x80
            two[1] = self.low[address]
        else:
            two[0] = self.codes[high >> 4 & 3]
            two[1] = 0x20

    def writeto(self, address, octets):
        if self.dead:
            raise self.trouble
        if address < 0x48:
            return  # the display
        self.high[address] = octets[1]
        self.low[address] = octets[2]

"""

POLLS = """
def poll_often(driver):
    for _ in range(100):
        driver.poll(20)

SCAN = [(4, 1), (0, 2), (3, 5), (7, 0)]
for name, chip in (("well", Chip(0, 0)), ("stuck", Chip(1, 0)), ("dead", Chip(0, 1))):
    locked("converter " + name, poll_often, ADS1115(chip, 0x48, 4, False, SCAN))
    locked("converter " + name + ", continuous", poll_often, ADS1115(chip, 0x48, 4, True, SCAN[:1]))


# line reader

reader = LineReader()

def take_each(octets):
    for byte in octets:
        reader.take(byte)

locked("line", take_each, b"?1|hello|00000000" * 10)
locked("overlong line", take_each, bytes(range(32, 127)) * 10 + b"\\n\\r\\n")


"""

BOARD = """
# all of it

class Pin:
    def __init__(self):
        self.at = 0
    def read_u16(self):
        self.at = (self.at + 1009) & 65535
        return self.at
    def duty_u16(self, duty):
        self.at = duty
    def value(self, level=0):
        return level

class Board:
    def __init__(self):
        self.i2c = Chip(0, 0)
        self.ms = 0
    def converter(self, pin):
        return Pin()
    def discrete(self, pin, level):
        return Pin()
    def switch(self, pin, on):
        return Pin()
    def lamp(self, pin, frequency):
        return Pin()
    def now(self):
        self.ms = (self.ms + 20) & 0x3FFFFFFF
        return self.ms
    def elapsed(self, since):
        return (self.ms - since) & 0x3FFFFFFF
    def service(self):
        return self.ms % 3000 < 2000
    def canvas(self, dots, width, height):
        return framebuf.FrameBuffer(dots, width, height, framebuf.MONO_VLSB)
    def open_line(self):
        pass
    def close_line(self):
        pass
    def feed(self):
        pass
    def mark(self, doing):
        pass
    def lasts(self):
        pass
    def remember(self, on, armed, key):
        pass
    def remembered(self, key):
        return 0, 0
    def next_byte(self):
        return 33 + self.ms % 7
    before = 0

class Store:
    table = Table(IMAGE)
    slot = "slot_a"
    distrusted = False
    notice = ""

class Events(log.Log):  # there are no files here
    def __init__(self):
        self.records = bytearray(MOST_PENDING * RECORD_SIZE)
        self.pending = self.lost = 0
        self.start = 65535
    def flush(self, seconds):
        self.pending = self.lost = 0

class Flights(FlightLog):
    def flush(self):
        self._empty()
    def roll(self):
        pass

def rows_often(work):
    flights, values = work
    for i in range(600):
        for column in range(len(flights.now)):
            flights.now[column] = values[(i + column) % len(values)]
        if not flights.goes_on(i):
            flights.flush()
        flights.row(i)

flights = Flights("/flights")
flights.wire(65535, 0xFFFFFFFF, 16, 8, 20)
locked("rows of a flight, of every kind", rows_often, (flights, (0, -1, 65535, 65408, 65535, 127, 254, 0, 1, 0, 3, 3)))

def events_often(events):
    for i in range(200):
        events.add(i, i & 7, 1 << 29)
    events.flush(0)

locked("events, also those that find no room", events_often, Events())

def tick_often(app):
    for _ in range(500):
        app.tick()

app = App(Board(), Store(), Events(), Flights("/flights"))
tick_often(app)
print("flight", app.flight, "channels", len(app.channels), "readings", [c.said[0] == NONE for c in app.channels].count(True))
before = gc.mem_alloc()
tick_often(app)
print("growth", gc.mem_alloc() - before)
locked("every tick", tick_often, app)


"""

CONTROL = """
# what does take heap must be seen to

def take_a_line(reader):
    reader.take(65)
    reader.take(10)
    reader.line()

def leave_small_integers(n):
    n << 14

def leave_whole_numbers(n):
    n / 3

locked("control, a line taken out", take_a_line, LineReader())
locked("control, 65536 << 14", leave_small_integers, 65536)
locked("control, 65535 << 14", leave_small_integers, 65535)
locked("control, a float", leave_whole_numbers, 1)
"""


DEMO_GUEST = LOCKED + HEAD + CHANNELS + EDGES + CHIP + POLLS + BOARD + CONTROL
SENDERS = Path(__file__).parent / "senders.toml"
GUESTS = {"demo": (DEMO, DEMO_GUEST), "every sender": (SENDERS, LOCKED + HEAD + CHANNELS + CHIP + BOARD)}


@cache
def said(which: str) -> list[str]:
    """What the guest said, a line for each job."""
    box, guest = GUESTS[which]
    image = build(read_box(box)).image
    return on_32_bit(BOX_SAYS + guest.replace("{image!r}", repr(image))).splitlines()


@pytest.mark.parametrize("which", GUESTS)
def test_no_job_takes_heap(which: str) -> None:
    jobs = [line for line in said(which) if line.endswith("heap") and not line.startswith("control")]
    assert len(jobs) > 50
    assert [job for job in jobs if not job.endswith(": no heap")] == []
    assert "growth 0" in said(which)
    assert which != "demo" or "growth of the lights 0" in said(which)


@pytest.mark.parametrize(
    "which, faults, reach",
    [
        ("demo", "faults seen [0, 1, 2, 3, 4, 5, 6]", "flight True channels 10 readings 9"),
        ("every sender", "faults seen [0, 1, 2, 3, 4, 5, 6, 7]", "flight True channels 16 readings "),
    ],
)
def test_the_jobs_meet_every_fault_and_every_reading(which: str, faults: str, reach: str) -> None:
    assert faults in said(which)
    assert any(line.startswith(reach) for line in said(which))


CONTROLS = {
    "a line taken out": "heap",
    "65535 << 14": "no heap",  # the largest that a ratio makes, and the largest there is
    "65536 << 14": "heap",
    "a float": "heap",
}


@pytest.mark.parametrize("job, expected", CONTROLS.items(), ids=CONTROLS)
def test_control(job: str, expected: str) -> None:
    assert f"control, {job}: {expected}" in said("demo")
