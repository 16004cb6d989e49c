"""The SSD1306 at the level of its commands and its memory, after its data sheet (revision 1.1, from memory).

Of the addressing modes there are all three; scrolling, fading and zoom are not there, and an unknown command is kept in `unknown`. A
restart of the box also resets it, which on a board only a loss of its supply does.
What is in memory, and how it is lit, goes to a file that whoever holds the chip may look into: no message grows by it.
"""

WIDTH, PAGES = 128, 8
MEMORY = WIDTH * PAGES
ON, CONTRAST, ALL_ON, INVERTED, SET_UP = range(MEMORY, MEMORY + 5)  # places behind the picture
STATE = MEMORY + 5
_HORIZONTAL, _VERTICAL, _PAGE = range(3)
# bytes that follow a command
_ARGUMENTS = {
    0x20: 1, 0x21: 2, 0x22: 2, 0x81: 1, 0x8D: 1, 0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1,
}  # fmt: skip
_WITHOUT = (0x2E, 0xA0, 0xA1, 0xA4, 0xA5, 0xA6, 0xA7, 0xAE, 0xAF, 0xC0, 0xC8, 0xE3)


class SSD1306:
    """state: its memory and what lights it, as it is written to the file. unknown: commands that it does not have."""

    def __init__(self, file=None):
        self._file = file
        self._refuses_data = False
        self._resets = 0
        self.state = bytearray(STATE)
        self.unknown = []
        self.written = 0  # bytes of the picture, so far
        self.reset()

    def reset(self):
        """What power-up does: off, and anything in memory."""
        for i in range(MEMORY):
            self.state[i] = i * 73 >> 2 & 0xFF
        self.state[ON] = self.state[ALL_ON] = self.state[INVERTED] = 0
        self.state[CONTRAST] = 0x7F
        self._mode = _PAGE
        self._columns = [0, WIDTH - 1]
        self._pages = [0, PAGES - 1]
        self._column = self._page = 0
        self.settings = {}  # of the commands with arguments, as they were given last
        self._keep()

    def _keep(self):
        # the charge pump on, 64 rows, wired in turn, from the first: else this panel shows nothing that could be read
        set_up = self.settings.get(0x8D) == [0x14] and self.settings.get(0xA8) == [63]
        set_up = set_up and self.settings.get(0xDA) == [0x12] and self.settings.get(0xD3, [0]) == [0]
        self.state[SET_UP] = 1 if set_up else 0
        if self._file is not None:
            self._file.seek(0)
            self._file.write(self.state)

    def wire(self, refuses_data, resets):
        self._refuses_data = refuses_data
        if resets != self._resets:
            self._resets = resets
            self.reset()

    def settle(self, now_us):
        pass

    def general_call(self, data):
        return False

    def read(self, count):
        """Its status: bit 6 while it is off."""
        return bytes([0 if self.state[ON] else 0x40] * count)

    def write(self, data, now_us):
        """What a master has written after the address; False: not acknowledged."""
        if not data:
            return True
        if self._refuses_data:
            return False
        if data[0] == 0x40:
            end = self._column + len(data) - 1
            if self._mode == _PAGE and end <= WIDTH:  # the same as below, at once
                at = self._page * WIDTH
                self.state[at + self._column : at + end] = data[1:]
                self._column = end % WIDTH
                self.written += len(data) - 1
            else:
                for octet in data[1:]:
                    self._take(octet)
        elif data[0] == 0x00:
            at = 1
            while at < len(data):
                at = self._command(data, at)
        else:
            self.unknown.append(data[0])
        self._keep()
        return True

    def _take(self, octet):
        self.written += 1
        self.state[self._page * WIDTH + self._column] = octet
        if self._mode == _PAGE:
            self._column = (self._column + 1) % WIDTH
            return
        first, second = (
            (self._columns, self._pages) if self._mode == _HORIZONTAL else (self._pages, self._columns)
        )
        places = [self._column, self._page] if self._mode == _HORIZONTAL else [self._page, self._column]
        places[0] += 1
        if places[0] > first[1]:
            places[0] = first[0]
            places[1] = places[1] + 1 if places[1] < second[1] else second[0]
        self._column, self._page = places if self._mode == _HORIZONTAL else places[::-1]

    def _command(self, data, at):
        code = data[at]
        end = at + 1 + _ARGUMENTS.get(code, 0)
        arguments = list(data[at + 1 : end])
        if end > len(data):
            self.unknown.append(code)
        elif code in _ARGUMENTS:
            self.settings[code] = arguments
            self._set(code, arguments)
        elif code in (0xA4, 0xA5):
            self.state[ALL_ON] = code & 1
        elif code in (0xA6, 0xA7):
            self.state[INVERTED] = code & 1
        elif code in (0xAE, 0xAF):
            self.state[ON] = code & 1
        elif code < 0x10:
            self._column = self._column & 0xF0 | code
        elif code < 0x20:
            self._column = self._column & 0x0F | (code & 7) << 4
        elif 0xB0 <= code < 0xB8:
            self._page = code & 7
        elif not (code in _WITHOUT or 0x40 <= code < 0x80):
            self.unknown.append(code)
        return end

    def _set(self, code, arguments):
        if code == 0x81:
            self.state[CONTRAST] = arguments[0]
        elif code == 0x20:
            self._mode = arguments[0] & 3
        elif code == 0x21:
            self._columns = arguments
            self._column = arguments[0]
        elif code == 0x22:
            self._pages = arguments
            self._page = arguments[0] & 7
