"""The ADS1115, a 16-bit converter with four inputs on I2C.

Registers and times from its data sheet (SBAS444): 0 conversion, 1 configuration. Bit 15 of the configuration, written as 1,
starts a conversion, but only when none is running; it reads 1 when none is. After a reset the configuration is 0x8583, the
conversion nought.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from machine import I2C

PROBE_MS = 1000  # how often a silent chip is asked again
LATE_MS = 10  # a poll comes at most this much later in its tick than another
RATES = (8, 16, 32, 64, 128, 250, 475, 860)  # conversions a second, by their code
RESTING = -1


def longest_ms(rate: int) -> int:
    """The time after which, by the box's ticks, a conversion must have ended: the data rate may be 10 % low."""
    return 10_000 // (9 * RATES[rate]) + 1 + LATE_MS


class ADS1115:
    """Scans `inputs`, each a pair of input selection (mux, 0..7) and gain code (0..7), in that order, over and over.

    rate        code of the data rate, 0..7
    continuous  the chip converts by itself and is only read; for exactly one input. Its clock cannot be seen then: one that
                stands still looks like a steady input. In single-shot mode it is found out.
    counts      in the order of `inputs`, to be read when `poll` says so; an input against ground (mux 4..7): 0..65535
                of full scale, below ground 0; a difference of two (mux 0..3): the code + 32768
    alive       whether the chip answers, has the configuration that was written, and converts in time

    Raises ValueError for a number of inputs that the mode does not have.
    """

    def __init__(
        self, i2c: "I2C", address: int, rate: int, continuous: bool, inputs: "list[tuple[int, int]]"
    ) -> None:
        if not inputs or continuous and len(inputs) > 1:
            raise ValueError("a converter scans one input or more; in continuous mode exactly one")
        self.i2c = i2c
        self.address = address
        self.continuous = continuous
        self.setups = []
        for mux, gain in inputs:
            # start, inputs, gain, mode; data rate, comparator off. The comparator's mode bit, without effect then,
            # tells each of these from the configuration after a reset.
            high = 0x80 | mux << 4 | gain << 1 | (0 if continuous else 1)
            self.setups.append(bytes((1, high, rate << 5 | 0x13)))
        # nothing can be started before what an earlier program may have left running has ended
        self.rest = bytes((1, self.setups[0][1] & 0x7F | 1, self.setups[0][2]))
        self.longest_ms = longest_ms(rate)
        self.rest_ms = longest_ms(0)
        self.counts = [0] * len(inputs)
        self.alive = False
        self.written: "bytes | None" = None  # the configuration the chip must have; None: it is silent
        self.at = RESTING  # whose conversion is under way
        # since it was written to, since its last new conversion, or since it fell silent
        self.waited_ms = PROBE_MS
        self.two = bytearray(2)

    def poll(self, elapsed_ms: int) -> bool:
        """To be called once a tick; True when a whole scan is in `counts`. Never waits for a conversion."""
        self.waited_ms += elapsed_ms
        try:
            if self.written is None:
                if self.waited_ms < PROBE_MS:
                    return False
                self._write(self.rest)
            if self._configured():
                return self._turn()
        except OSError:
            pass
        self._lose()
        return False

    # Small functions: MicroPython takes a large frame from the heap.

    def _write(self, setup: bytes) -> None:
        self.i2c.writeto(self.address, setup)
        self.written = setup
        self.waited_ms = 0

    def _lose(self) -> None:
        self.alive = False
        self.written = None
        self.at = RESTING
        self.waited_ms = 0

    def _configured(self) -> bool:
        """Reads the configuration back; whether it is the one that was written."""
        two = self.two
        written = self.written
        self.i2c.readfrom_mem_into(self.address, 1, two)
        return written is not None and two[0] | 0x80 == written[1] | 0x80 and two[1] == written[2]

    def _turn(self) -> bool:
        """Starts or takes what is due, the configuration being in `two`."""
        resting = self.at == RESTING
        late = self.waited_ms >= (self.rest_ms if resting else self.longest_ms)
        if resting or not self.continuous:
            if not self.two[0] & 0x80:
                if late:
                    self._lose()
                return False
        elif not late:
            return False  # it may still be the conversion taken last
        if resting:
            self.at = 0
            self._write(self.setups[0])
            return False
        return self._take()

    def _take(self) -> bool:
        two = self.two
        self.i2c.readfrom_mem_into(self.address, 0, two)
        code = two[0] << 8 | two[1]
        # a chip that has reset itself just now says nought as well
        if code == 0 and not self._configured():
            self._lose()
            return False
        if self.setups[self.at][1] & 0x40:
            code = code << 1 if code < 32768 else 0
        else:
            code ^= 32768
        self.counts[self.at] = code
        self.alive = True
        return self._next()

    def _next(self) -> bool:
        self.waited_ms = 0
        if self.continuous:
            return True
        self.at += 1
        if self.at == len(self.setups):
            self.at = 0
        self._write(self.setups[self.at])
        return self.at == 0
