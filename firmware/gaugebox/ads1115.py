"""The ADS1115, a 16-bit converter with four inputs on I2C, one single-shot conversion in flight.

Registers and times from its data sheet (SBAS444): 0 conversion, 1 configuration; bit 15 of the configuration starts a
conversion when written and reads 1 when none is running.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from machine import I2C

PROBE_MS = 1000  # how often a silent chip is asked again
OVERDUE = 5  # polls without a result after which the chip is stuck


class ADS1115:
    """Scans `inputs` (numbers 0..3 against ground) in that order, over and over.

    counts   of the last whole scan, 0..65535 of full scale in the order of `inputs`; below ground reads 0
    alive    whether the chip answers
    """

    def __init__(self, i2c: "I2C", address: int, gain: int, rate: int, inputs: "list[int]") -> None:
        self.i2c = i2c
        self.address = address
        self.setup = []
        for number in inputs:
            # start, this input against ground, gain, single-shot; data rate, comparator off
            high = 0x80 | (4 + number) << 4 | gain << 1 | 1
            self.setup.append(bytes((1, high, rate << 5 | 3)))
        self.counts = [0] * len(inputs)
        self.alive = False
        self.at = 0
        self.polls = 0
        self.idle_ms = PROBE_MS
        self.two = bytearray(2)

    def poll(self, elapsed_ms: int) -> bool:
        """To be called once a tick; True when a whole scan is in `counts`. Never waits for a conversion."""
        if not self.alive:
            self.idle_ms += elapsed_ms
            if self.idle_ms < PROBE_MS:
                return False
            self.idle_ms = 0
        two = self.two
        whole = False
        try:
            if self.alive:
                self.i2c.readfrom_mem_into(self.address, 1, two)
                if not two[0] & 0x80:
                    self.polls += 1
                    if self.polls > OVERDUE:
                        self.alive = False
                    return False
                self.i2c.readfrom_mem_into(self.address, 0, two)
                code = two[0] << 8 | two[1]
                self.counts[self.at] = code << 1 if code < 32768 else 0
                self.at += 1
                if self.at == len(self.setup):
                    self.at = 0
                    whole = True
            else:
                self.at = 0
            self.i2c.writeto(self.address, self.setup[self.at])
            self.alive = True
            self.polls = 0
        except OSError:
            self.alive = False
            return False
        return whole
