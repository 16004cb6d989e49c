"""What the box's code says to many questions, printed. Runs on every interpreter, so it is written for the smallest.

Long runs are printed as one checksum for each 64 answers. The 32-bit interpreter has a megabyte of heap and, being
WebAssembly, cannot see all that is alive when it collects garbage: a run leaves less garbage than that.
"""

import struct
from binascii import crc32

from gaugebox.lamp import DimRequest, Lamp
from gaugebox.line import ANSWER, REQUEST, LineReader, frame, unframe
from gaugebox.measure import NONE, Channel
from gaugebox.table import NO_INPUT, InputRecord, Table, TableError

EVERY = 16
A_LINE = 64
PRIME = 33554393  # 31 times it still is a small integer
RAIL_COUNTS = (52800, 47111, 56789)  # 3.3 V on the converter, and two others


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


def settled(channel: Channel, count: int) -> None:
    """Brings a channel to what it says of that count, undamped."""
    channel.lose()
    for _ in range(3):
        channel.step(count, 20)


def counts_at_edges(record: InputRecord, rail: "Channel | None") -> "list[int]":
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


def every_input(image: bytes) -> None:
    """Each input at every 16th count and at every edge, with the rail at three places."""
    records = Table(image).inputs
    for record in records:
        for rail_count in RAIL_COUNTS if record.normalise != NO_INPUT else (0,):
            rail = None
            if rail_count:
                rail = Channel(records[record.normalise])
                settled(rail, rail_count)
            channel = Channel(record, rail)
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
        rail = None
        if record.normalise != NO_INPUT:
            rail = Channel(records[record.normalise])
            settled(rail, RAIL_COUNTS[0])
        channel = Channel(record, rail)
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


def every_lamp(image: bytes) -> None:
    """Each knob turned up and down again by every 16th count, and by every count where lamps are faintest."""
    table = Table(image)
    for record in table.lamps:
        lamp = Lamp(record)
        request = DimRequest(table.dim_request) if table.dim_request is not None else None
        digest = Digest(record.name)
        sweep = list(range(0, 65536, EVERY))
        for count in list(range(2048)) + sweep + sweep[::-1]:
            duty = lamp.turn(count)
            digest.add(count, NONE, duty, request.follow(lamp.level) if request is not None else 0)


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
        return "runs, %d inputs, %d lamps" % (len(table.inputs), len(table.lamps))
    except TableError as problem:
        return str(problem)


def every_damage(image: bytes, first: int, every: int) -> None:
    """What the box says of an image with one octet wrong, each in turn, its CRC mended."""
    damaged = bytearray(image)
    covered = memoryview(damaged)[:-4]
    for at in range(first, len(image) - 4, every):
        for flip in (1, 0x80, 0xFF):
            damaged[at] ^= flip
            struct.pack_into("<I", damaged, len(image) - 4, crc32(covered))
            print(at, flip, verdict(damaged))
            damaged[at] ^= flip
