"""The flight log: once a second every count, level and switch, in a ring of files that holds the last hours.

A row says only what has changed. Rows gather in memory and are written as one piece, once a minute or when it is full. A piece stands
for itself: a head, rows, a CRC; its first row starts from noughts. Files are numbered on and on; each takes pieces until it is full.
"""

import binascii
import os
import struct

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, Callable

# length of the piece, number of the start, seconds since it of the first row (the others follow a second apart), CRC of the table,
# form, how many inputs, dimmers, switches
HEAD = "<HHIIBBBB"
HEAD_SIZE = 16
CRC_SIZE = 4
FORM = 1
MOST_PIECE = 2048
# a row: a bit for each column that has changed, the first in the lowest bit of the first byte; then for each of them its change, and
# CENTRE, in a byte; or where that does not do, SILENT, or ABSOLUTE and what it now is, in two bytes, the lower first
ABSOLUTE, SILENT, LEAST, CENTRE = 0, 1, 2, 128
# columns: counts of the inputs, -1 while the converter is silent; levels of the dimmers, 0 while they are dark; switches, so many in a
# column, the first in its lowest bit
SWITCHES_A_COLUMN = 16
# Of 352 blocks of 4 kB on the board two firmware folders take 80, and tables and event log 25.
FULL = 8 * 4096 - MOST_PIECE  # bytes: a file that has so many takes no other piece
MOST_FILES = 24
# bytes left for another firmware folder and a table; where there are fewer, the ring gives way
ROOM = 56 * 4096
NO_ROOM = 28  # ENOSPC
ENOENT = 2


class FlightLog:
    """now: the columns, to be filled before `row`. oldest, newest: numbers of the files; newest is the one that is written. size: its
    bytes, or FULL; `roll` comes then, and at the start."""

    def __init__(self, folder: str, most_files: int = MOST_FILES, room: int = ROOM) -> None:
        self.folder = folder
        self.most_files = most_files
        self.room = room
        self.piece = bytearray(MOST_PIECE)
        self.now: "list[int]" = []
        self.before: "list[int]" = []
        self.length = HEAD_SIZE
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        try:
            numbers = [int(name) for name in os.listdir(folder) if name.isdigit()]
        except OSError:
            numbers = []
        self.oldest, self.newest, self.size = 1, 0, FULL
        if numbers:
            self.newest = max(numbers)
            self.oldest = max(min(numbers), self.newest - most_files + 1)
            for number in numbers:
                if number < self.oldest:
                    self._try(os.remove, number)  # what could not be, when its turn was
            said = self._try(os.stat, self.newest)
            if said is not None:
                self.size = int(said[6])

    def wire(self, start: int, crc: int, inputs: int, dimmers: int, switches: int) -> None:
        """What its rows are of; before the first."""
        self.start = start
        self.crc = crc
        self.layout = inputs, dimmers, switches
        columns = inputs + dimmers + (switches + SWITCHES_A_COLUMN - 1) // SWITCHES_A_COLUMN
        self.now = [0] * columns
        self.before = [0] * columns
        self.bits = columns + 7 >> 3  # bytes
        self.last_room = MOST_PIECE - CRC_SIZE - self.bits - 3 * columns
        self.next = -1  # seconds of the next row, where the piece goes on
        self._empty()

    def _empty(self) -> None:
        self.length = HEAD_SIZE
        for i in range(len(self.before)):
            self.before[i] = 0

    def goes_on(self, seconds: int) -> bool:
        """Whether a row of that second fits the piece; otherwise it must be written first."""
        return self.length == HEAD_SIZE or seconds == self.next and self.length <= self.last_room

    def row(self, seconds: int) -> None:
        piece, now, before = self.piece, self.now, self.before
        bits = at = self.length
        if bits == HEAD_SIZE:
            self.first = seconds
        for _ in range(self.bits):
            piece[at] = 0
            at += 1
        for i in range(len(now)):
            value = now[i]
            change = value - before[i]
            if change:
                before[i] = value
                piece[bits + (i >> 3)] |= 1 << (i & 7)
                if LEAST - CENTRE <= change < CENTRE:
                    piece[at] = change + CENTRE
                elif value < 0:
                    piece[at] = SILENT
                else:
                    piece[at] = ABSOLUTE
                    piece[at + 1] = value & 255
                    piece[at + 2] = value >> 8
                    at += 2
                at += 1
        self.length = at
        self.next = seconds + 1

    def flush(self) -> None:
        """Writes the piece. Raises OSError, and has then lost it."""
        length = self.length + CRC_SIZE
        if length == HEAD_SIZE + CRC_SIZE:
            return
        view = memoryview(self.piece)[:length]
        struct.pack_into(HEAD, view, 0, length, self.start, self.first, self.crc, FORM, *self.layout)
        struct.pack_into("<I", view, length - CRC_SIZE, binascii.crc32(view[: length - CRC_SIZE]))
        self._empty()
        if self.size >= FULL:
            raise OSError(NO_ROOM)  # the next file has found none yet
        size = self.size
        # a write that fails ends its file; but it does not use up the ring, one empty file a minute
        self.size = FULL if size else 0
        with open(self._path(self.newest), "ab") as file:
            file.write(view)
        self.size = size + length

    def roll(self) -> None:
        """Where the file is full, begins the next, and removes the oldest until there is room for it. Raises OSError."""
        if self.size < FULL:
            return
        if self.newest + 1 - self.oldest >= self.most_files:
            self._remove()
        if self._gives_way(self.newest):
            self.newest += 1
            self.size = 0

    def give_way(self) -> None:
        """To a table that is to be stored, as far as it can: the store says itself when it has no room."""
        try:
            self._gives_way(self.newest - 1)
        except OSError:
            pass

    def _gives_way(self, last: int) -> bool:
        """With files up to that one; whether there is room then."""
        while True:
            said = os.statvfs(self.folder)
            if said[1] * said[3] >= self.room:
                return True
            if self.oldest > last:
                return False
            self._remove()

    def _remove(self) -> None:
        """The oldest file. One that cannot be removed is left until the next start: no damaged one shall stop the ring."""
        self.oldest += 1
        try:
            os.remove(self._path(self.oldest - 1))
        except OSError as problem:
            if problem.args[0] != ENOENT:
                raise

    def _try(self, job: "Callable[[str], Any]", number: int) -> "Any":
        """With a file, at the start, which no damaged one shall stop."""
        try:
            return job(self._path(number))
        except OSError:
            return None

    def _path(self, number: int) -> str:
        return "%s/%d" % (self.folder, number)

    def read(self, number: int, at: int, count: int) -> bytes:
        """So many bytes of a file, or as many as there are. Raises OSError."""
        try:
            with open(self._path(number), "rb") as file:
                file.seek(at)
                content: bytes = file.read(count)
                return content
        except OSError as problem:
            if problem.args[0] != ENOENT:
                raise
            return b""  # begun, and nothing is in it yet
