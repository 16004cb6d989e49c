"""The event log: starts and their causes, faults and alerts and when they came and went; kept on flash over restarts.

Two files, filled in turn: `events`, and `older`, which it becomes when it is full. Records gather in memory and are written
once a minute at most, so that flash wears slowly and is seldom waited for.
"""

import os
import struct

RECORD = "<HBBI"  # number of the start, subject, code, seconds since the start (of START: CRC of the table)
RECORD_SIZE = 8
MOST_RECORDS = 512  # in a file: one block of flash
MOST_PENDING = 64
# subjects: the inputs by number, from DIMMERS on what is dimmed, each with a fault's code; from TOLD on all other alerts, of a readout
# with one more than its zone, of others than that with one more than their side; nought when it is over
DIMMERS, TOLD = 32, 64
LOST, NOTICE, START = 253, 254, 255
NO_FLIGHT_LOG = 1  # code of NOTICE: it could not be written; 0: a table was passed over
# code of START: what the box did last before it, and how that ended; still running: it hung, and the watchdog restarted it
AT_START, AT_INPUTS, AT_CONVERTERS, AT_LIGHTS, AT_LOG, AT_LINE, AT_FACE = range(7)
RUNNING, ASKED, STOPPED, FAILED = range(0, 64, 16)
POWER = 64  # nothing: its supply came on


class Log:
    """pending: how many records are not on flash yet; lost: how many found no room among them."""

    def __init__(self, folder: str) -> None:
        self.events = folder + "/events"
        self.older = folder + "/older"
        self.records = bytearray(MOST_PENDING * RECORD_SIZE)
        self.pending = 0
        self.lost = 0
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        self.written = self._count(self.events)
        last = self._read(self.events, self.written - 1, 1)
        last = last or self._read(self.older, self._count(self.older) - 1, 1)
        self.start = (struct.unpack(RECORD, last)[0] + 1 if last else 1) & 0xFFFF

    @staticmethod
    def _count(path: str) -> int:
        try:
            return int(os.stat(path)[6]) // RECORD_SIZE
        except OSError:
            return 0

    @staticmethod
    def _read(path: str, first: int, count: int) -> bytes:
        if first < 0:
            return b""
        try:
            with open(path, "rb") as file:
                file.seek(first * RECORD_SIZE)
                content: bytes = file.read(count * RECORD_SIZE)
                return content
        except OSError:
            return b""

    def add(self, subject: int, code: int, seconds: int) -> bool:
        """Whether there was room for it."""
        if self.pending >= MOST_PENDING - 1:  # the last place is for how many were lost
            self.lost += 1
            return False
        self._put(subject, code, seconds)
        self.pending += 1
        return True

    def _put(self, subject: int, code: int, seconds: int) -> None:
        struct.pack_into(RECORD, self.records, self.pending * RECORD_SIZE, self.start, subject, code, seconds)

    def flush(self, seconds: int) -> None:
        """Writes what is pending. Raises OSError, and then keeps it."""
        count = self.pending
        if not count:
            return
        if self.lost:
            self._put(LOST, min(self.lost, 255), seconds)
            count += 1
        if self.written + count > MOST_RECORDS:
            os.rename(self.events, self.older)
            self.written = 0
        with open(self.events, "ab") as file:
            file.write(memoryview(self.records)[: count * RECORD_SIZE])
        self.written += count
        self.pending = 0
        self.lost = 0

    def count(self) -> int:
        """Of all records."""
        return self._count(self.older) + self.written + self.pending

    def read(self, first: int, count: int) -> bytes:
        """Records from `first` on, counted from the oldest, those not on flash yet included."""
        older = self._count(self.older)
        content = self._read(self.older, first, min(count, older - first)) if first < older else b""
        first = max(first, older) - older
        missing = count - len(content) // RECORD_SIZE
        if missing > 0 and first < self.written:
            content += self._read(self.events, first, min(missing, self.written - first))
            missing = count - len(content) // RECORD_SIZE
            first = self.written
        first -= self.written
        if missing > 0 and 0 <= first < self.pending:
            end = min(self.pending, first + missing)
            content += bytes(self.records[first * RECORD_SIZE : end * RECORD_SIZE])
        return content
