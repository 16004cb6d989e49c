"""Two slots for the table image, one for what is lit without it, and the way a new one gets into them.

A slot is a file: a slot header (magic, sequence number, CRC of the two) and a table image. The newest slot whose
whole content is right is the one that counts. A new image is written beside them in pieces, read back, and only then
renamed over the older slot; littlefs makes that rename happen whole or not at all. Where no slot is right, the box runs the
image in `safe`, which has lamps on their knobs and nothing else.
"""

import binascii
import os
import struct

try:
    from io import BytesIO

    from deflate import ZLIB, DeflateIO

    def unpacked(packed: "bytes | bytearray", length: int) -> bytes:
        return DeflateIO(BytesIO(packed), ZLIB).read(length + 1)  # type: ignore[no-any-return]

except ImportError:  # CPython
    import zlib  # type: ignore[import-not-found, unused-ignore]

    def unpacked(packed: "bytes | bytearray", length: int) -> bytes:
        """A byte more than the length asked for, where there is more."""
        return zlib.decompressobj().decompress(packed, length + 1)  # type: ignore[no-any-return, unused-ignore]


from gaugebox.table import LARGEST, Table, TableError, check_container

SLOTS = ("slot_a", "slot_b")
SAFE = "safe"
INCOMING = "incoming"
SLOT_MAGIC = b"SLOT"
SLOT_HEADER = "<4sII"
SLOT_HEADER_SIZE = 12
ENOENT = 2
NOT_STARTING = "it does not start with the table"
NONE_BEGUN = "no table was begun since the box last started; flash again"
PIECE = 168  # bytes in one line


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


def _other(slot: str) -> str:
    return SLOTS[slot == SLOTS[0]]


class Store:
    """The slots in one folder. distrusted: with a table from them it does not start.

    table     the newest valid table; where there is none that of the safe slot, or None
    slot      its slot's name, or ""
    safe      CRC of the safe slot's table, or 0
    older     CRC of the table in the older slot, or 0
    waiting   CRC of the table that runs from the next start on, where that is another
    sequence  its sequence number, or 0
    notice    what had to be passed over at start, or ""
    """

    def __init__(self, folder: str, distrusted: bool = False) -> None:
        self.folder = folder
        self.distrusted = distrusted
        self.table: "Table | None" = None
        self.slot = ""
        self.safe = 0
        self.older = 0
        self.waiting = 0
        self.sequence = 0
        self.newest = 0  # sequence number of any slot, whether it can run or not
        self.beside = SLOTS[0]  # the slot that the next table goes into
        self.back = SLOTS[1]  # the slot that holds the older one
        self.notice = ""
        self.incoming = bytearray(0)
        self.length = 0  # unpacked
        self.missing: "set[int]" = set()
        self.crc = 0
        self.target = ""  # where it goes
        self.verified = -1  # CRC of the image that lies beside the slots
        self.committed = -1  # CRC of the image last put into a slot
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there
        self._load()

    def _load(self) -> None:
        problems = [NOT_STARTING] if self.distrusted else []
        found = []
        for slot in SLOTS:
            try:
                content = self._read(slot)
                if content is not None:
                    found.append((sequence_of(content), slot, content))
            except TableError as problem:
                problems.append("%s: %s" % (slot, problem))
            except OSError:
                problems.append("%s: cannot be read" % slot)
        found.sort(reverse=True)
        if found:
            self.newest = found[0][0]
        for sequence, slot, content in () if self.distrusted else found:
            try:
                self.table = Table(memoryview(content)[SLOT_HEADER_SIZE:])
                self.slot = slot
                self.sequence = sequence
                break
            except TableError as problem:
                problems.append("%s: %s" % (slot, problem))
        if self.slot:
            self.back = self.beside = _other(self.slot)
        elif found:  # none can run: the older is the lesser loss, but where only the newest was tried
            self.back = _other(found[0][1])
            self.beside = found[0][1] if self.distrusted else self.back
        for _, slot, content in found:
            if slot == self.back:
                try:
                    self.older = check_container(memoryview(content)[SLOT_HEADER_SIZE:])
                except TableError:
                    pass  # nothing to go back to
        found.clear()
        try:
            content = self._read(SAFE)
            if content is not None:
                sequence_of(content)
                safe = Table(memoryview(content)[SLOT_HEADER_SIZE:], self.table is None)
                self.safe = safe.crc
                if self.table is None:
                    self.table = safe
                    self.slot = SAFE
        except TableError as problem:
            problems.append("%s: %s" % (SAFE, problem))
        except OSError:
            problems.append("%s: cannot be read" % SAFE)
        self.notice = "; ".join(problems)[:120]

    def _path(self, name: str) -> str:
        return self.folder + "/" + name

    def _read(self, name: str) -> "bytes | None":
        try:
            path = self._path(name)
            # room is taken for as much as is asked for
            size = min(int(os.stat(path)[6]), LARGEST + SLOT_HEADER_SIZE + 1)
            with open(path, "rb") as file:
                content: bytes = file.read(size)
                return content
        except OSError as problem:
            if problem.args[0] != ENOENT:
                raise
            return None

    def begin(self, length: int, crc: int, packed: int, safe: bool = False) -> None:
        """Makes room for an image of that length whose CRC-32 will be `crc`, and which comes packed (zlib, a window of 1 kB) into
        so many bytes; for the older slot or the safe one.
        """
        if not 16 <= length <= LARGEST:
            raise StoreError("an image has 16 to %d bytes, not %d" % (LARGEST, length))
        if not 8 <= packed <= LARGEST:
            raise StoreError("an image is packed into 8 to %d bytes, not %d" % (LARGEST, packed))
        self.incoming = bytearray(packed)
        self.length = length
        self.missing = set(range((packed + PIECE - 1) // PIECE))
        self.crc = crc
        self.target = SAFE if safe else self.beside
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
        self.verified = -1
        self.missing.discard(number)

    def verify(self) -> "tuple[int, int]":
        """Stores the image beside the slots and reads it back: length and CRC-32 of what is really there.

        StoreError when it is not the image announced or could not run.
        """
        if self.crc in (self.verified, self.committed):
            return self.length, self.crc  # asked again
        if not self.incoming:
            raise StoreError(NONE_BEGUN)
        self.verified = -1
        if self.missing:
            raise StoreError("piece %d is missing" % min(self.missing))
        try:
            image = unpacked(self.incoming, self.length)
        except MemoryError:
            raise
        except Exception:  # whatever came in place of it
            image = b""
        if len(image) != self.length:
            raise StoreError("what came does not unpack to %d bytes" % self.length)
        table = self._stored(image)
        if table.crc != self.crc:
            raise StoreError("the CRC stored is %08x, announced was %08x" % (table.crc, self.crc))
        self.verified = table.crc
        return table.length, table.crc

    def _stored(self, image: "bytes | bytearray | memoryview") -> Table:
        """The table that stands beside the slots after the image was written there."""
        with open(self._path(INCOMING), "wb") as file:
            file.write(slot_header(self.newest + 1))
            file.write(image)
        content = self._read(INCOMING) or b""
        try:
            sequence_of(content)
            return Table(memoryview(content)[SLOT_HEADER_SIZE:], False)
        except TableError as problem:
            raise StoreError("what was stored cannot run: %s" % problem)

    def commit(self, crc: int) -> str:
        """Puts the verified image over its slot; its name. It runs from the next start on."""
        if crc != self.committed:
            if crc != self.verified:
                raise StoreError("no image with that CRC was verified")
            os.rename(self._path(INCOMING), self._path(self.target))
            self.committed = crc
            self.verified = -1
            self.incoming = bytearray(0)
            if self.target == SAFE:
                self.safe = crc
            else:
                self.waiting = crc
        return self.target

    def revert(self, crc: int) -> str:
        """Makes the older slot, which holds the table with that CRC, the newest; its name. It runs from the next start on."""
        slot = self.back
        if crc != self.waiting or not crc:
            if self.waiting:
                raise StoreError("table %08x waits in its place; restart, or flash again" % self.waiting)
            content = self._read(slot)
            if content is None or len(content) <= SLOT_HEADER_SIZE:
                raise StoreError("there is no other table to go back to")
            image = memoryview(content)[SLOT_HEADER_SIZE:]
            try:
                found = check_container(image)
            except TableError as problem:
                raise StoreError("%s: %s" % (slot, problem))
            if found != crc:
                raise StoreError("%s holds table %08x, not %08x" % (slot, found, crc))
            self.incoming = bytearray(0)
            self.verified = -1
            self._stored(image)
            os.rename(self._path(INCOMING), self._path(slot))
            self.waiting = crc
        return slot

    def part(self, number: int, older: bool = False) -> bytes:
        """Piece `number` of the image that runs, or of the older one; empty beyond its end."""
        if not (self.older if older else self.slot):
            return b""
        with open(self._path(self.back if older else self.slot), "rb") as file:
            file.seek(SLOT_HEADER_SIZE + number * PIECE)
            content: bytes = file.read(PIECE)
            return content
