"""The ADS1115 at the level of its registers, after its data sheet (Texas Instruments SBAS444).

Not modelled: the ALERT/RDY pin (its bits and thresholds are stored and read back), noise, offset, the averaging over a
conversion (it sees the voltages at its end), the input impedances (they are the circuit's business). A restart of the box
also resets it, which on a board only a loss of its supply does.
"""

_MODE_SINGLE_SHOT = 0x0100
_OS = 0x8000
_WAKE_US = 25
_RATES = (8, 16, 32, 64, 128, 250, 475, 860)  # conversions a second
_FULL_SCALE_NV = tuple(mv * 1_000_000 for mv in (6144, 4096, 2048, 1024, 512, 256, 256, 256))
_GROUND = 4
_PAIRS = ((0, 1), (0, 3), (1, 3), (2, 3), (0, _GROUND), (1, _GROUND), (2, _GROUND), (3, _GROUND))
_BEYOND_RAIL_NV = 300_000_000  # the protection diodes hold an input this close to the rails
_GENERAL_CALL_RESET = 0x06


class ADS1115:
    def __init__(self, supply_nv=3_300_000_000):
        self._supply_nv = supply_nv
        self._volts_nv = (0, 0, 0, 0)
        self._rate_ppm = 1_000_000  # of the nominal data rate
        self._refuses_data = False
        self._never_ready = False
        self._resets = 0  # how many the world has asked for
        self.reset()

    def reset(self):
        """What power-up, a dip of the supply and the general call do."""
        self._pointer = 0
        self._registers = [0x0000, 0x8583, 0x8000, 0x7FFF]  # conversion, config, low and high threshold
        self._converting = None  # the config word of the conversion that is under way
        self._ready_at_us = 0

    def wire(self, volts_nv, refuses_data, never_ready, resets, rate_ppm):
        """What it is exposed to from now on: nanovolts at its four inputs, and its troubles."""
        self._volts_nv = volts_nv
        self._refuses_data = refuses_data
        self._never_ready = never_ready
        self._rate_ppm = rate_ppm
        if resets != self._resets:
            self.reset()
        self._resets = resets

    def write(self, data, now_us):
        """What a master has written after the address: a pointer byte, and perhaps a register; False: not acknowledged."""
        if not data:
            return True
        if self._refuses_data:
            return False
        self._pointer = data[0] & 3
        if self._pointer == 0 or len(data) < 3:
            return True
        word = data[1] << 8 | data[2]
        self._registers[self._pointer] = word
        # a conversion under way ends with its own settings, and OS has no effect until it has
        if self._pointer == 1 and self._converting is None:
            if word & _OS or not word & _MODE_SINGLE_SHOT:
                self._converting = word
                self._ready_at_us = now_us + _WAKE_US + self._conversion_us()
        return True

    def general_call(self, data):
        """What a master has written to every chip on the bus, at address 0; False: not acknowledged."""
        if self._refuses_data and data:
            return False
        if data and data[0] == _GENERAL_CALL_RESET:
            self.reset()
        return True

    def read(self, count):
        """The bytes a master clocks out: the register under the pointer, over and over."""
        word = self._registers[self._pointer]
        if self._pointer == 1:
            word = word & ~_OS if self._converting is not None else word | _OS
        both = bytes((word >> 8, word & 0xFF))
        return (both * (count // 2 + 1))[:count]

    def settle(self, now_us):
        """Finish the conversions due by `now_us`."""
        while self._converting is not None and self._ready_at_us <= now_us and not self._never_ready:
            self._registers[0] = self._code() & 0xFFFF
            if self._registers[1] & _MODE_SINGLE_SHOT:
                self._converting = None
            else:  # at once the next one, with the settings that are there now; the last that is due is the one that stays
                self._converting = self._registers[1]
                period_us = self._conversion_us()
                self._ready_at_us += max(1, (now_us - self._ready_at_us) // period_us) * period_us

    def _conversion_us(self):
        return 1_000_000_000_000 // (_RATES[self._converting >> 5 & 7] * self._rate_ppm)

    def _code(self):
        plus, minus = _PAIRS[self._converting >> 12 & 7]
        full_scale_nv = _FULL_SCALE_NV[self._converting >> 9 & 7]
        difference_nv = self._at_input(plus) - self._at_input(minus)
        code = (difference_nv * 32768 + full_scale_nv // 2) // full_scale_nv
        return max(-32768, min(32767, code))

    def _at_input(self, number):
        if number == _GROUND:
            return 0
        return max(-_BEYOND_RAIL_NV, min(self._supply_nv + _BEYOND_RAIL_NV, self._volts_nv[number]))
