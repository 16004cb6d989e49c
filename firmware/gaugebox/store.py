"""Two slots for the table image, and the way a new one gets into them.

A slot is a file: a slot header (magic, sequence number, CRC of the two) and a table image. The newest slot whose
whole content is right is the one that counts. A new image is written beside them in pieces, read back, and only then
renamed over the older slot; littlefs makes that rename happen whole or not at all.
"""

import binascii
import os
import struct

from gaugebox.table import LARGEST, Table, TableError

SLOTS = ("slot_a", "slot_b")
INCOMING = "incoming"
SLOT_MAGIC = b"SLOT"
SLOT_HEADER = "<4sII"
SLOT_HEADER_SIZE = 12
NONE_BEGUN = "no table was begun since the box last started; flash again"
PIECE = 128  # bytes of an image in one line


class StoreError(Exception):
    """A write was refused; the text says why."""


def slot_header(sequence: int) -> bytes:
    start = struct.pack("<4sI", SLOT_MAGIC, sequence)
    return start + struct.pack("<I", binascii.crc32(start))


def sequence_of(content: "bytes | memoryview") -> int:
    """The sequence number of a slot's content; TableError when its header is damaged."""
    if len(content) < SLOT_HEADER_SIZE:
        raise TableError("too short for a slot")
    magic, sequence, crc = struct.unpack_from(SLOT_HEADER, content, 0)
    if magic != SLOT_MAGIC or crc != binascii.crc32(content[:8]):
        raise TableError("its slot header is damaged")
    return sequence  # type: ignore[no-any-return]


class Store:
    """The slots in one folder.

    table     the newest valid table, or None
    slot      its slot's name, or ""
    sequence  its sequence number, or 0
    notice    what had to be passed over at start, or ""
    """

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self.table: "Table | None" = None
        self.slot = ""
        self.sequence = 0
        self.notice = ""
        self.incoming = bytearray(0)
        self.missing: "set[int]" = set()
        self.crc = 0
        self.verified = -1  # CRC of the image that lies beside the slots
        self.committed = -1  # CRC of the image last put into a slot
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        self._load()

    def _load(self) -> None:
        problems = []
        found = []
        for slot in SLOTS:
            content = self._read(slot)
            if content is None:
                continue
            try:
                found.append((sequence_of(content), slot, content))
            except TableError as problem:
                problems.append("%s: %s" % (slot, problem))
        found.sort(reverse=True)
        for sequence, slot, content in found:
            try:
                self.table = Table(memoryview(content)[SLOT_HEADER_SIZE:])
                self.slot = slot
                self.sequence = sequence
                break
            except TableError as problem:
                problems.append("%s: %s" % (slot, problem))
        self.notice = "; ".join(problems)[:120]

    def _path(self, name: str) -> str:
        return self.folder + "/" + name

    def _read(self, name: str) -> "bytes | None":
        try:
            with open(self._path(name), "rb") as file:
                content: bytes = file.read()
                return content
        except OSError:
            return None

    def begin(self, length: int, crc: int) -> None:
        """Makes room for an image of that length whose CRC-32 will be `crc`."""
        if not 16 <= length <= LARGEST:
            raise StoreError("an image has 16 to %d bytes, not %d" % (LARGEST, length))
        self.incoming = bytearray(length)
        self.missing = set(range((length + PIECE - 1) // PIECE))
        self.crc = crc
        self.verified = self.committed = -1

    def piece(self, number: int, data: bytes) -> None:
        """Takes piece `number`, counted from 0; each may come more than once."""
        if not self.incoming:
            raise StoreError(NONE_BEGUN)
        start = number * PIECE
        if not 0 <= start < len(self.incoming):
            raise StoreError("there is no piece %d" % number)
        size = min(PIECE, len(self.incoming) - start)
        if len(data) != size:
            raise StoreError("piece %d has %d bytes, not %d" % (number, len(data), size))
        self.incoming[start : start + size] = data
        self.missing.discard(number)

    def verify(self) -> "tuple[int, int]":
        """Stores the image beside the slots and reads it back: length and CRC-32 of what is really there.

        StoreError when it is not the image announced or could not run.
        """
        if not self.incoming:
            raise StoreError(NONE_BEGUN)
        if self.missing:
            raise StoreError("piece %d is missing" % min(self.missing))
        with open(self._path(INCOMING), "wb") as file:
            file.write(slot_header(self.sequence + 1))
            file.write(self.incoming)
        content = self._read(INCOMING) or b""
        try:
            sequence_of(content)
            table = Table(memoryview(content)[SLOT_HEADER_SIZE:])
        except TableError as problem:
            raise StoreError("what was stored cannot run: %s" % problem)
        if table.crc != self.crc:
            raise StoreError("the CRC stored is %08x, announced was %08x" % (table.crc, self.crc))
        self.verified = table.crc
        return table.length, table.crc

    def commit(self, crc: int) -> str:
        """Puts the verified image over the older slot; its name. It runs from the next start on."""
        slot = SLOTS[1] if self.slot == SLOTS[0] else SLOTS[0]
        if crc == self.committed:
            return slot
        if crc != self.verified:
            raise StoreError("no image with that CRC was verified")
        os.rename(self._path(INCOMING), self._path(slot))
        self.committed = crc
        self.verified = -1
        return slot
