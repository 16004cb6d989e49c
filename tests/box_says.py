"""What the box's code says to many questions, printed. Runs on every interpreter, so it is written for the smallest.

Long runs are printed as one checksum for each 64 answers. The 32-bit interpreter has a megabyte of heap and, being
WebAssembly, cannot see all that is alive when it collects garbage: a run leaves less garbage than that.
"""

import struct
from binascii import crc32

from gaugebox.light import Lighting
from gaugebox.line import ANSWER, REQUEST, LineReader, frame, unframe
from gaugebox.measure import CLOCK_MASK, NO_INPUT, NONE, OPEN, SILENT, Channel, make_channels
from gaugebox.table import InputRecord, Table, TableError

EVERY = 16
LIGHT_TICKS = 4096
A_LINE = 64
PRIME = 33554393  # 31 times it still is a small integer


class Digest:
    """Prints a line for each 64 answers."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.start()

    def start(self) -> None:
        self.sum = 0
        self.answers = 0
        self.good = 0

    def add(self, at: int, fault: int, signal: int, reading: int) -> None:
        if fault:
            signal = reading = 0  # they mean nothing then
        else:
            self.good += 1
        sum = (self.sum * 31 + fault) % PRIME
        sum = (sum * 31 + signal) % PRIME
        self.sum = (sum * 31 + reading) % PRIME
        self.answers += 1
        if self.answers == A_LINE:
            print(self.name, "to", at, "good", self.good, "sum", self.sum)
            self.start()


class Sampled:
    """A channel with a clock of its own and a name for each thing that it says."""

    def __init__(
        self, record: InputRecord, rail: "Sampled | None" = None, cold: "Sampled | None" = None
    ) -> None:
        self.record = record
        self.rail = rail
        self.clock = [0]
        self.channel: Channel = Channel(
            record,
            self.clock,
            None if rail is None else rail.channel,
            None if cold is None else cold.channel,
        )
        self.said = self.channel.said

    def step(self, count: int, elapsed_ms: int) -> None:
        self.clock[0] = self.clock[0] + elapsed_ms & CLOCK_MASK
        self.channel.step(count)

    def lose(self) -> None:
        self.channel.step(SILENT)

    @property
    def fault(self) -> int:
        return self.said[0]

    @property
    def count(self) -> int:
        return self.said[1]

    @property
    def signal(self) -> int:
        return self.said[2]

    @property
    def reading(self) -> int:
        return self.said[3]


def settled(channel: Sampled, count: int) -> None:
    """Brings a channel to what it says of that count, undamped."""
    channel.lose()
    for _ in range(3):
        channel.step(count, 20)


def counts_at_edges(record: InputRecord, rail: "Sampled | None") -> "list[int]":
    """Fault windows and breakpoints of both curves, and their neighbours, as counts at the converter."""
    edges = list(record.windows) + list(record.signal_curve[0])
    if rail is not None:
        edges = [edge * rail.count // 65536 for edge in edges]
    counts = set([0, 65535])
    for edge in edges:
        for count in range(edge - 1, edge + 3):
            if 0 <= count <= 65535:
                counts.add(count)
    return sorted(counts)


def ties(
    records: "list[InputRecord]", record: InputRecord, places: int
) -> "list[tuple[Sampled | None, Sampled | None]]":
    """What a record hangs on: its rail at so many places of its window, its cold junction in the middle of its own."""
    cold = None
    if record.cold != NO_INPUT:
        cold = Sampled(records[record.cold])
        settled(cold, (cold.record.windows[1] + cold.record.windows[2]) // 2)
    if record.rail == NO_INPUT:
        return [(None, cold)]
    made: "list[tuple[Sampled | None, Sampled | None]]" = []
    for place in range(1, places + 1):
        rail = Sampled(records[record.rail])
        low, high = rail.record.windows[1:3]
        settled(rail, high - (high - low) * place // 5)
        made.append((rail, cold))
    return made


def every_input(image: bytes) -> None:
    """Each input at every 16th count and at every edge, with the rail at three places."""
    records = Table(image).inputs
    for record in records:
        for rail, cold in ties(records, record, 3):
            channel = Sampled(record, rail, cold)
            rail_count = 0 if rail is None else rail.count
            digest = Digest("%s, rail %d" % (record.name, rail_count))
            for count in range(0, 65536, EVERY):
                settled(channel, count)
                digest.add(count, channel.fault, channel.signal, channel.reading)
            for count in counts_at_edges(record, rail):
                settled(channel, count)
                if channel.fault == NONE:
                    print(record.name, rail_count, count, channel.signal, channel.reading)
                else:
                    print(record.name, rail_count, count, "fault", channel.fault)


def every_damper(image: bytes) -> None:
    """Each input through a wandering, sometimes broken signal, sampled at uneven times."""
    records = Table(image).inputs
    for record in records:
        rail, cold = ties(records, record, 1)[0]
        channel = Sampled(record, rail, cold)
        digest = Digest(record.name + ", damped")
        low, high = record.windows[1], record.windows[2]
        if rail is not None:
            high = high * rail.count // 65536
        chance = 1
        count = low
        for turn in range(1024):
            chance = chance * 75 % 65537
            count = min(high - 2, max(low + 2, count + chance % 1001 - 480))
            elapsed = (0, 7, 20, 20, 20, 99, 100, 101, 250, 1000, 6399, 6400, 6401, 20000)[chance % 14]
            channel.step(65535 if turn % 100 > 95 else count, elapsed)
            digest.add(turn, channel.fault, channel.signal, channel.reading)


def every_light(image: bytes) -> None:
    """All that is dimmed, tick by tick: knobs turned, shaken and broken, readings that wander and fail, switches."""
    table = Table(image)
    channels = make_channels(table.inputs, [0])
    lighting = Lighting(table, channels)
    digests = [Digest(record.name) for record in table.dimmers]
    chance = 1
    count = 20000
    for turn in range(LIGHT_TICKS):
        chance = chance * 75 % 65537
        # a turn of the knob for three seconds, then a rest with noise; broken now and then for two seconds
        count += (chance % 401 - 180) if turn % 300 < 150 else chance % 33 - 16
        if count > 60000:
            count = 8000
        broken = turn % 1000
        for knob in lighting.knobs:
            knob.take(0 if 700 < broken < 800 else 65535 if 850 < broken < 950 else count)
        for i in range(len(channels)):
            readings = channels[i].record.reading_curve[1]
            low, high = min(readings), max(readings)
            said = channels[i].said
            said[0] = OPEN if turn % 777 < 60 + i else NONE
            said[3] = low + (high - low) // 1000 * (turn * (i + 1) // 2 % 1001)
        for switch in lighting.switches:
            switch.take(turn // 100 & 1)
        lighting.step()
        request, daylight = lighting.dim_request, lighting.daylight
        states = (0 if request is None else request.pin) + (0 if daylight is None else 2 * daylight.day)
        for i in range(len(digests)):
            dimmer = lighting.dimmers[i]
            digests[i].add(turn, NONE, dimmer.duty, dimmer.level * 4 + states)


def every_line(cases: "list[tuple[str, list[str]]]", damaged: "list[bytes]") -> None:
    """Lines made and taken apart again, and lines that must not be taken; a reader fed with all of them."""
    reader = LineReader()
    for kind, fields in cases:
        try:
            line = frame(kind, fields)
        except ValueError:
            print("refused")
            continue
        print(
            line, unframe(kind, line.encode()), unframe(ANSWER if kind == REQUEST else REQUEST, line.encode())
        )
        damaged.append(line.encode())
    for octets in damaged:
        print(unframe(REQUEST, octets))
        for byte in octets + b"\n":
            if reader.take(byte):
                print(unframe(REQUEST, reader.line()))


def verdict(image: "bytes | bytearray") -> str:
    try:
        table = Table(image)
        return "runs, %d inputs, %d dimmers" % (len(table.inputs), len(table.dimmers))
    except TableError as problem:
        return str(problem)


def every_damage(image: bytes, first: int, every: int, flip: int) -> None:
    """What the box says of an image with one octet wrong, each in turn, its CRC mended."""
    damaged = bytearray(image)
    covered = memoryview(damaged)[:-4]
    for at in range(first, len(image) - 4, every):
        damaged[at] ^= flip
        struct.pack_into("<I", damaged, len(image) - 4, crc32(covered))
        print(at, flip, verdict(damaged))
        damaged[at] ^= flip
