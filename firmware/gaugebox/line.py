"""The serial line: one line of printable ASCII a message, at most 256 characters, closed by a CRC-32.

    ?id|verb|argument|...|crc      a request of the host
    =id|ok|field|...|crc           the box's answer
    =id|no|reason|crc              why not

The id is the host's, any short word, and comes back with the answer, so that a late answer to a repeated request is
known for what it is. The CRC, eight hex digits, covers all before it. Anything else on the line is not for us.
"""

import binascii

LONGEST = 256
REQUEST = "?"
ANSWER = "="


def frame(kind: str, fields: "list[str]") -> str:
    """The line, without its end. ValueError when it would be too long or holds what a line must not."""
    body = kind + "|".join(fields) + "|"
    octets = body.encode()
    for c in octets:
        if c < 32 or c > 126:
            raise ValueError("%r cannot travel on the line" % c)
    line = body + "%08x" % binascii.crc32(octets)
    if len(line) > LONGEST:
        raise ValueError("%d characters do not fit a line" % len(line))
    return line


def unframe(kind: str, line: "bytes | bytearray") -> "list[str] | None":
    """The fields of a whole line of that kind, or None."""
    if len(line) < 11 or len(line) > LONGEST or line[0] != ord(kind):
        return None
    for c in line:
        if c < 32 or c > 126:
            return None
    text = line.decode()
    cut = len(text) - 8
    if text[cut - 1] != "|" or text[cut:] != "%08x" % binascii.crc32(line[:cut]):
        return None
    return text[1 : cut - 1].split("|")


class LineReader:
    """Gathers bytes to lines in a buffer of its own; a line that is too long is dropped whole."""

    def __init__(self) -> None:
        self.buffer = bytearray(LONGEST)
        self.length = 0

    def take(self, byte: int) -> bool:
        """True when this byte ended a line; it is then in `line()` until the next take."""
        if byte == 10 or byte == 13:
            if 0 < self.length <= LONGEST:
                return True
            self.length = 0
            return False
        if self.length < LONGEST:
            self.buffer[self.length] = byte
        if self.length <= LONGEST:
            self.length += 1
        return False

    def line(self) -> bytearray:
        line = self.buffer[: self.length]
        self.length = 0
        return line
