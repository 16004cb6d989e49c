"""The SSD1306, a controller for a dot display of 128 by 64 on I2C; commands as its data sheet gives them (revision 1.1, from memory).

After the address comes a control byte: 0x00 when commands follow, 0x40 when a picture does. A byte of the picture is eight dots below
each other, the uppermost in its lowest bit; a page is 128 of them. After a reset of its supply the display is off and its memory
holds anything.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from machine import I2C

WIDTH, HEIGHT = 128, 64
PROBE_MS = 1000  # how often a silent display is asked again
RENEWED_MS = 10_000  # one that has lost its settings to a dip of its supply does not tell: it gets all of them anew, and the picture
SLICE = 32  # columns of a page
SLICES = 32
SLICES_A_TICK = 2

SETUP = bytes((
    0x00,
    0xD5, 0x80,  # clock as it is after a reset
    0xA8, HEIGHT - 1,  # rows
    0xD3, 0x00, 0x40,  # from the first one on
    0x8D, 0x14,  # it makes its own voltage
    0x20, 0x02,  # page by page
    0xA1, 0xC8,  # columns and rows counted from the other end: upright where the panel's cable is below
    0xDA, 0x12,  # rows are wired in turn
    0xD9, 0x22, 0xDB, 0x20,  # charge times and level as after a reset, the lowest that are usual: it can be dimmed further
    0xA4, 0xA6,  # what is in memory, lit where it is 1
))  # fmt: skip
OFF = bytes((0x00, 0xAE))


class SSD1306:
    """Shows `picture`, 1024 bytes: what has changed of it is sent, 64 bytes a tick at most.

    alive   whether it has taken what was sent to it last
    """

    def __init__(self, i2c: "I2C", address: int, picture: bytearray) -> None:
        self.i2c = i2c
        self.address = address
        self.picture = picture
        self.sent = bytearray(len(picture))
        self.stale = bytearray(SLICES)  # slices that the display's memory may not hold
        self.slices = _pairs(picture, self.sent, SLICE)
        self.pages = _pairs(picture, self.sent, WIDTH)
        self.alive = False
        self.waited_ms = PROBE_MS
        self.owed = 0  # how many they are
        self.next = 0
        self.contrast = -1  # as it was set; -1: not yet, 0: off
        self.place = bytearray(4)
        self.lit = bytearray((0x00, 0x81, 0x00, 0xAF))
        self.data = bytearray(SLICE + 1)
        self.data[0] = 0x40

    def step(self, elapsed_ms: int, contrast: int) -> None:
        """To be called once a tick. contrast: 0 (off) to 255."""
        self.waited_ms += elapsed_ms
        try:
            if self.waited_ms >= (RENEWED_MS if self.alive else PROBE_MS):
                self.waited_ms = 0
                self._set_up()
            elif self.alive:
                self._show(contrast)
        except OSError:
            self.alive = False
            self.waited_ms = 0

    def _set_up(self) -> None:
        if not self.alive:
            self.i2c.writeto(self.address, OFF)  # until the picture is whole
        self.i2c.writeto(self.address, SETUP)
        self.alive = True
        self.contrast = -1
        for i in range(SLICES):
            self.stale[i] = 1
        self.owed = SLICES

    def _show(self, contrast: int) -> None:
        left = SLICES_A_TICK
        at = self.next
        end = at + SLICES
        while at < end and left:
            page = self.pages[at >> 2 & 7]
            if not (at & 3 or self.owed) and page[0] == page[1]:
                at += 4
                continue
            now, before = self.slices[at & SLICES - 1]
            if self.stale[at & SLICES - 1] or now != before:
                self._send(at & SLICES - 1)
                left -= 1
            at += 1
        self.next = at & SLICES - 1
        if not self.owed and contrast != self.contrast:
            self._set_contrast(contrast)

    def _send(self, at: int) -> None:
        place = self.place
        column = at * SLICE & (WIDTH - 1)
        place[1] = 0xB0 | at * SLICE // WIDTH
        place[2] = column & 15
        place[3] = 0x10 | column >> 4
        self.i2c.writeto(self.address, place)
        data = self.data
        now, before = self.slices[at]
        for i in range(SLICE):
            before[i] = data[i + 1] = now[i]
        self.i2c.writeto(self.address, data)
        self.owed -= self.stale[at]
        self.stale[at] = 0

    def _set_contrast(self, contrast: int) -> None:
        if contrast:
            self.lit[2] = contrast
            self.i2c.writeto(self.address, self.lit)
        else:
            self.i2c.writeto(self.address, OFF)
        self.contrast = contrast


def _pairs(here: bytearray, there: bytearray, size: int) -> "list[tuple[memoryview, memoryview]]":
    one, other = memoryview(here), memoryview(there)
    return [(one[at : at + size], other[at : at + size]) for at in range(0, len(here), size)]
