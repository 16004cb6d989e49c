"""Cuts the power at every block operation of the store; run by test_power_cuts.py on MicroPython.

    cut_tables.py FIRMWARE THIS_FOLDER WHAT AGES TWICE FIRST SECOND

WHAT: flash, safe, revert, log, flight, careless. AGES: how often the job is done, each time with cuts. TWICE: the first so many of them also with a second
cut, in the same job begun again after the first. FIRST, SECOND: table images, each with its packed form beside it.
"""

import binascii
import os
import struct
import sys

sys.path[0:0] = [sys.argv[1], sys.argv[2]]
import cuttable_disk
from cuttable_disk import DROPPED, TORN, WEAK, Disk, mounted
import gaugebox.store
from gaugebox import flight_log
from gaugebox.log import Log
from gaugebox.store import PIECE, Store
from gaugebox.table import Table

what, AGES, TWICE = sys.argv[3], int(sys.argv[4]), int(sys.argv[5])
images = []
packed = {}
for name in sys.argv[6:]:
    with open(name, "rb") as file:
        images.append(file.read())
    with open(name + ".packed", "rb") as file:
        packed[images[-1]] = file.read()
BLOCKS = 32


tables = {}


def parsed(image, runs=True):
    """A table as the store parses it; the same bytes once only, as that is most of the work."""
    key = bytes(image), runs
    if key not in tables:
        tables[key] = Table(image, runs)
    return tables[key]


gaugebox.store.Table = parsed


def crc_of(image):
    return binascii.crc32(image[:-4])


def flash(image, safe=False):
    store = Store("/tables")
    content = packed[image]
    store.begin(len(image), crc_of(image), len(content), safe)
    for number in range(0, (len(content) + PIECE - 1) // PIECE):
        store.piece(number, content[number * PIECE : (number + 1) * PIECE])
    store.verify()
    store.commit(crc_of(image))


def other(images, table):
    """The image that is not that table's, or not the safe one's."""
    crc = table.crc if table is not None else Store("/tables").safe
    return images[1] if crc == crc_of(images[0]) else images[0]


def revert():
    store = Store("/tables")
    store.revert(store.older)


def careless():
    store = Store("/tables")
    image = other(images, store.table)
    os.remove("/tables/" + store.slot)
    flash(image)


def log():
    events = Log("/log")
    for i in range(40):
        events.add(i % 16, i % 7, i)
    events.flush(40)


flight_log.FULL = 700  # a piece and a half


def flight():
    """A minute of flight logged while a table comes."""
    flights = flight_log.FlightLog("/flights", 4, 8 * 4096)
    flights.wire(minutes() + 1, 0xCBF43926, 8, 5, 3)
    flights.roll()
    for i in range(50):
        for k in range(14):
            flights.now[k] = (i * (k + 1) * 37) % 5000
        flights.row(i)
    flights.flush()
    flash(other(images, Store("/tables").table))
    flights.roll()


def minutes():
    """Of the last piece, its number; 0 where there is none."""
    found = rows()
    return found[-1] if found else 0


def rows():
    """The numbers of the pieces in the ring, oldest first. Raises where one is not whole."""
    flights = flight_log.FlightLog("/flights")
    found = []
    for number in range(flights.oldest, flights.newest + 1):
        content = flights.read(number, 0, 9999)
        at = 0
        while at < len(content):
            length, start, first, crc = struct.unpack_from("<HHII", content, at)
            end = at + length - 4
            if (
                first
                or crc != 0xCBF43926
                or struct.unpack_from("<I", content, end)[0] != binascii.crc32(content[at:end])
            ):
                raise ValueError("a piece is not whole")
            found.append(start)
            at = end + 4
    return found


JOBS = {
    "flash": (lambda: flash(images[0]), lambda: flash(other(images, Store("/tables").table))),
    "safe": (lambda: (flash(images[0]), flash(images[1], True)), lambda: flash(other(images, None), True)),
    "revert": (lambda: (flash(images[0]), flash(images[1])), revert),
    "careless": (lambda: (flash(images[0]), flash(images[1])), careless),
    "flight": (lambda: (flash(images[0]), [flight() for _ in range(9)]), flight),
    "log": (lambda: [log() for _ in range(12)], log),  # the thirteenth makes it change its file
}


def state():
    """Starts the box as after a power cut, as far as its files go; what it holds. Raises where it cannot."""
    store = Store("/tables")
    table = None if store.table is None else store.table.crc
    events = Log("/log")
    records = events.count()
    content = events.read(0, 2000)
    if what == "flight":
        records = rows()
        if records != list(range(records[0], records[-1] + 1)) or len(records) < 3:
            raise ValueError("pieces are missing: " + str(records))
        return (store.slot, table, store.safe, store.notice, records)
    whole = records * 8 == len(content) and records % 40 in (0, 512 % 40, (records - 480) % 40)
    return (store.slot, table, store.safe, store.notice, records if whole else -1)


def run(job, content, after, how):
    """The disk after a job that was cut, and whether it was."""
    disk = Disk(BLOCKS, content)
    mounted(disk)
    disk.cut(after, how)
    try:
        job()
    except Exception as problem:
        if not disk.is_cut():
            raise problem
    return disk


def moved_on(twice, before, after, found):
    """What may stand there too: the job done and done once more, which is back at the first table; the log without its older file."""
    if isinstance(found, Exception):
        return False
    if what == "flight":
        # written or not, the table flashed or not, each whole; of the ring its oldest file may be gone, of a second try one piece more be there
        return (
            found[1] in (before[1], after[1])
            and found[3] == ""
            and 0 <= found[4][-1] - before[4][-1] <= 1 + twice
        )
    if what == "log":
        return found[:4] == before[:4] and found[4] >= min(before[4], 480)
    return twice and what in ("flash", "revert") and found[1] in (before[1], after[1]) and found[3] == ""


prepare, job = JOBS[what]
disk = Disk(BLOCKS)
mounted(disk)
prepare()
cuts = twice = lost = olds = news = told = 0
most = 0
for age in range(AGES):  # of the disk: now and then littlefs moves its directory
    mounted(disk)
    start = bytes(disk.content)
    before = state()
    disk.cut(-1, DROPPED)
    job()
    operations = disk.operations
    most = max(most, operations)
    mounted(disk)
    after = state()
    assert before != after
    again_after = range(-1, operations if age < TWICE else 0)  # -1: no second cut
    for first in range(operations):
        for how in (DROPPED, TORN, WEAK):
            content = bytes(run(job, start, first, how).content)
            for second in again_after:
                try:
                    again = content if second < 0 else run(job, content, second, (first + second) % 3).content
                    mounted(Disk(BLOCKS, again))
                    found = state()
                except Exception as problem:
                    found = problem
                cuts += 1
                twice += second >= 0
                if found == before:
                    olds += 1
                elif found == after or moved_on(second >= 0, before, after, found):
                    news += 1
                else:
                    lost += 1
                    print("lost:", age, first, how, second, found)
                told += not isinstance(found, Exception) and found[3] != ""
print(
    "operations", most, "cuts", cuts, "twice", twice, "old", olds, "new", news, "lost", lost, "notices", told
)
