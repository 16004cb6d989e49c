"""Stands in for the RP2040's `machine`: the part of it that this project uses, with the board's signatures.

What the chip drives lives in the words of `link.request`, what is on its pins in `link.reply`. Operations take the time
they take on the board; computing takes none, and a scratch register written by a program that then never touches the chip again
is lost with it. Not there: interrupts, timers, the real-time clock; and both I2C buses see every chip and are held low together.
"""

import sys
from array import array

import ads1115_chip
import layout
import link
import ssd1306_chip

PWRON_RESET = layout.PWRON_RESET
WDT_RESET = layout.WDT_RESET

_GPIO_COUNT = 30
_CLOCK_HZ = 125_000_000
# one argument on MicroPython, two on CPython, so that errno is set
_NOT_ACKNOWLEDGED = (5,) if sys.implementation.name == "micropython" else (5, "EIO")
_TIMED_OUT = (110,) if sys.implementation.name == "micropython" else (110, "ETIMEDOUT")
_out = link.request
_in = link.reply


def reset():
    link.exchange(0, layout.RESET)


def soft_reset():
    raise SystemExit


def reset_cause():
    return _in[layout.RESET_CAUSE]


def unique_id():
    return b"\xe6virtual"


def freq(hz=None):
    if hz is None:
        return _CLOCK_HZ
    if hz != _CLOCK_HZ:
        raise ValueError("cannot change frequency")


def _number(pin):
    """The GPIO number of a Pin, a number, or a name such as GP15 or GPIO15."""
    if isinstance(pin, Pin):
        return pin._number
    if isinstance(pin, str):
        if pin == "LED":
            return 25
        digits = pin[4:] if pin.startswith("GPIO") else pin[2:] if pin.startswith("GP") else ""
        if not digits.isdigit() or int(digits) >= _GPIO_COUNT:
            raise ValueError("unknown named pin")
        return int(digits)
    if not 0 <= pin < _GPIO_COUNT:
        raise ValueError("invalid pin")
    return pin


def _bit(word, number):
    return _out[word] >> number & 1


def _set_bit(word, number, value):
    if value:
        _out[word] |= 1 << number
    else:
        _out[word] &= ~(1 << number)


class Pin:
    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    ALT = 3
    PULL_UP = 1
    PULL_DOWN = 2

    # The output latch, the mode and the pull belong to the chip, not to one Pin object.
    _latch = bytearray(_GPIO_COUNT)
    _modes = bytearray(_GPIO_COUNT)
    _pulls = bytearray([PULL_DOWN] * _GPIO_COUNT)

    def __init__(self, id, mode=-1, pull=-1, *, value=None, drive=None, alt=None):
        self._number = _number(id)
        if mode != -1 or pull != -1 or value is not None or drive is not None or alt is not None:
            self.init(mode, pull, value=value, drive=drive, alt=alt)

    def init(self, mode=-1, pull=-1, *, value=None, drive=None, alt=None):
        n = self._number
        if value is not None:
            Pin._latch[n] = bool(value)
        if mode not in (-1, None):
            if mode not in (Pin.IN, Pin.OUT, Pin.OPEN_DRAIN):
                raise ValueError("the virtual box knows the pin modes IN, OUT and OPEN_DRAIN")
            Pin._modes[n] = mode
            _set_bit(layout.PWM_PINS, n, 0)
        Pin._pulls[n] = 0 if pull in (-1, None) else pull
        self._drive()
        link.spend(2)

    def value(self, x=None):
        n = self._number
        link.use(layout.PIN_HANGS)
        if x is not None:
            Pin._latch[n] = bool(x)
            self._drive()
        link.spend(2)
        if x is not None:
            return
        if _bit(layout.DRIVEN, n):
            return _bit(layout.LATCH, n)
        if _in[layout.FORCED] >> n & 1:
            return _in[layout.LEVELS] >> n & 1
        return 1 if Pin._pulls[n] & Pin.PULL_UP else 0

    def _drive(self):
        n = self._number
        mode = Pin._modes[n]
        driven = mode == Pin.OUT or mode == Pin.OPEN_DRAIN and not Pin._latch[n]
        _set_bit(layout.DRIVEN, n, driven and not _bit(layout.PWM_PINS, n))
        _set_bit(layout.LATCH, n, Pin._latch[n])

    def __call__(self, x=None):
        return self.value(x)

    def on(self):
        self.value(1)

    def off(self):
        self.value(0)

    def high(self):
        self.value(1)

    def low(self):
        self.value(0)

    def toggle(self):
        self.value(not Pin._latch[self._number])

    def __repr__(self):
        return "Pin(GPIO{})".format(self._number)


class ADC:
    CORE_TEMP = 4

    def __init__(self, id, *, sample_ns=None, atten=None):
        if isinstance(id, int) and 0 <= id <= ADC.CORE_TEMP:
            self._channel = id
        else:
            pin = _number(id)
            if not 26 <= pin <= 29:
                raise ValueError("Pin doesn't have ADC capabilities")
            self._channel = pin - 26
            _set_bit(layout.PWM_PINS, pin, 0)
            _set_bit(layout.DRIVEN, pin, 0)

    _chance = 1  # of the noise

    def read_u16(self):
        link.use(layout.ADC_HANGS)
        link.spend(8)
        nanovolts = _in[layout.ADC_NV + self._channel]
        if _in[layout.ADC_NOISE_NV]:
            sum = 0  # of 12 evenly spread numbers: nearly a normal distribution, of variance 65536 squared
            for _ in range(12):
                ADC._chance = ADC._chance * 75 % 65537
                sum += ADC._chance - 32768
            nanovolts += sum * _in[layout.ADC_NOISE_NV] // 65536
        code = nanovolts * 4096 // _in[layout.ADC_REFERENCE_NV]
        if code > 4095:
            code = 4095
        elif code < 0:
            code = 0
        return code << 4 | code >> 8


_NOT_SET, _U16, _NS = 0, 1, 2


class PWM:
    _TOP_MAX = 65534

    # Slices (8) and channels (16) belong to the chip, not to one PWM object.
    _div16 = array(layout.WORD, [16] * 8)
    _top = array(layout.WORD, [65535] * 8)
    _frequency_set = bytearray(8)
    _cc = array(layout.WORD, [0] * 16)
    _duty = array(layout.WORD, [0] * 16)
    _kind = bytearray(16)
    _invert = bytearray(16)

    def __init__(self, dest, *, freq=None, duty_u16=None, duty_ns=None, invert=None):
        self._pin = _number(dest)
        self._slice = self._pin >> 1 & 7
        self._channel = self._slice * 2 + (self._pin & 1)
        PWM._invert[self._channel] = 0
        PWM._kind[self._channel] = _NOT_SET
        _set_bit(layout.DRIVEN, self._pin, 0)
        _set_bit(layout.PWM_PINS, self._pin, 1)
        self.init(freq=freq, duty_u16=duty_u16, duty_ns=duty_ns, invert=invert)

    def init(self, *, freq=None, duty_u16=None, duty_ns=None, invert=None):
        if freq is not None:
            self._set_frequency(freq)
        if duty_u16 is not None:
            self._set_duty(_U16, duty_u16)
        if duty_ns is not None:
            self._set_duty(_NS, duty_ns)
        if invert is not None:
            PWM._invert[self._channel] = bool(invert)
        self._start()

    def deinit(self):
        _set_bit(layout.PWM_RUNNING, self._slice, 0)  # the other pin of the slice stops too
        link.spend(5)

    def freq(self, value=None):
        if value is None:
            period16 = PWM._div16[self._slice] * (PWM._top[self._slice] + 1)
            return (16 * _CLOCK_HZ + period16 // 2) // period16
        self._set_frequency(value)
        self._start()

    def duty_u16(self, value=None):
        """Read back it is what the compare register can hold, not what was set: 1234 at 4 kHz gives 1233."""
        if value is None:
            period = PWM._top[self._slice] + 1
            return (PWM._cc[self._channel] * 65535 + period // 2) // period
        self._set_duty(_U16, value)
        self._start()

    def duty_ns(self, value=None):
        count_hz = self._count_hz()
        if value is None:
            return (PWM._cc[self._channel] * 1_000_000_000 + count_hz // 2) // count_hz
        self._set_duty(_NS, value)
        self._start()

    def _count_hz(self):
        div16 = PWM._div16[self._slice]
        return (16 * _CLOCK_HZ + div16 // 2) // div16

    def _set_frequency(self, hz):
        if hz <= 0:
            raise ValueError("freq too small")
        if (_CLOCK_HZ + hz // 2) // hz < PWM._TOP_MAX:
            div16 = 16
            top = (_CLOCK_HZ + hz // 2) // hz - 1
        else:  # the smallest divider that lets the period fit gives the finest duty
            div16 = -(-16 * _CLOCK_HZ // (PWM._TOP_MAX * hz))
            top = (16 * _CLOCK_HZ + div16 * hz // 2) // (div16 * hz) - 1
        if top < 1:
            raise ValueError("freq too large")
        if div16 >= 256 * 16:
            raise ValueError("freq too small")
        PWM._div16[self._slice] = div16
        PWM._top[self._slice] = top
        PWM._frequency_set[self._slice] = 1
        _out[layout.PWM_FREQ + self._slice] = hz
        for channel in (self._slice * 2, self._slice * 2 + 1):
            if PWM._kind[channel] != _NOT_SET:
                self._set_duty(PWM._kind[channel], PWM._duty[channel], channel)

    def _set_duty(self, kind, value, channel=None):
        channel = self._channel if channel is None else channel
        period = PWM._top[self._slice] + 1
        if kind == _U16:
            if not 0 <= value <= 65535:
                raise ValueError("duty_u16 must be 0 to 65535")
            cc = (value * period + 65535 // 2) // 65535
        else:
            cc = (value * self._count_hz() + 500_000_000) // 1_000_000_000
            if not 0 <= cc <= 65535:
                raise ValueError("duty larger than period")
        PWM._cc[channel] = cc
        PWM._duty[channel] = value
        PWM._kind[channel] = kind

    def _start(self):
        for channel in (self._slice * 2, self._slice * 2 + 1):
            if PWM._kind[channel] != _NOT_SET:
                duty = PWM._duty[channel]
                if PWM._kind[channel] == _NS:
                    duty = min(65535, PWM._cc[channel] * 65535 // (PWM._top[self._slice] + 1))
                _out[layout.PWM_DUTY + channel] = 65535 - duty if PWM._invert[channel] else duty
        if PWM._frequency_set[self._slice] and PWM._kind[self._channel] != _NOT_SET:
            _set_bit(layout.PWM_RUNNING, self._slice, 1)
        link.spend(10)


class I2C:
    _devices = {}  # address -> what answers there
    _picture = None  # file that the display keeps its picture in

    def __init__(self, id=0, *, scl=None, sda=None, freq=400_000, timeout=50_000):
        if id not in (0, 1):
            raise ValueError("I2C({}) doesn't exist".format(id))
        self._id = id
        self._timeout = timeout
        self.init(scl=scl, sda=sda, freq=freq)

    def init(self, *, scl=None, sda=None, freq=400_000):
        for pin, first, name in ((scl, 1, "SCL"), (sda, 0, "SDA")):
            if pin is not None and _number(pin) & 3 != self._id * 2 + first:
                raise ValueError("bad {} pin".format(name))
        self._freq = freq

    def _transfer(self, count):
        """Let the time pass that an address and `count` bytes take; raises OSError where the bus is held low."""
        link.use(layout.I2C_HANGS)
        if _in[layout.BUS_STUCK]:
            link.spend(self._timeout)
            raise OSError(*_TIMED_OUT)
        link.spend((9 * (count + 1) + 2) * 1_000_000 // self._freq)

    def _device(self, addr, count):
        self._transfer(count)
        device = I2C._devices.get(addr)
        if device is None:
            raise OSError(*_NOT_ACKNOWLEDGED)
        device.settle(link.now_us())
        return device

    def scan(self):
        if _in[
            layout.BUS_STUCK
        ]:  # the board clocks a scan out by itself and takes a low SDA for an acknowledgement
            return list(range(0x08, 0x78))
        return sorted(addr for addr in I2C._devices if 0x08 <= addr <= 0x77)

    def writeto(self, addr, buf, stop=True):
        if addr == 0:
            self._transfer(len(buf))
            taken = [device.general_call(buf) for device in I2C._devices.values()]
            acknowledged = any(taken)
        else:
            acknowledged = self._device(addr, len(buf)).write(buf, link.now_us())
        if not acknowledged:
            raise OSError(*_NOT_ACKNOWLEDGED)
        return len(buf)

    def writevto(self, addr, vector, stop=True):
        return self.writeto(addr, b"".join(bytes(part) for part in vector), stop)

    def readfrom(self, addr, nbytes, stop=True):
        return self._device(addr, nbytes).read(nbytes)

    def readfrom_into(self, addr, buf, stop=True):
        buf[:] = self._device(addr, len(buf)).read(len(buf))

    def readfrom_mem(self, addr, memaddr, nbytes, *, addrsize=8):
        self.writeto(addr, memaddr.to_bytes(addrsize // 8, "big"), False)
        return self.readfrom(addr, nbytes)

    def readfrom_mem_into(self, addr, memaddr, buf, *, addrsize=8):
        buf[:] = self.readfrom_mem(addr, memaddr, len(buf), addrsize=addrsize)

    def writeto_mem(self, addr, memaddr, buf, *, addrsize=8):
        self.writeto(addr, memaddr.to_bytes(addrsize // 8, "big") + bytes(buf))


_wires = memoryview(_in)[layout.DISPLAY :]
_wires_before = memoryview(array(layout.WORD, [-1] * layout.REPLY_WORDS))[layout.DISPLAY :]


def _new_pins():
    if _wires != _wires_before:
        _wire()
        _wires_before[:] = _wires
    for device in I2C._devices.values():
        device.settle(link.now_us())


def _wire():
    """A chip that no longer answers has lost its supply: when it comes back it has been reset."""
    wired = {}
    for i in range(_in[layout.CHIP_COUNT]):
        at = layout.CHIPS + i * layout.CHIP_WORDS
        wired[_in[at]] = at
    display = _in[layout.DISPLAY]
    for addr in list(I2C._devices):
        if addr not in wired and addr != display:
            del I2C._devices[addr]
    for addr, at in wired.items():
        if addr not in I2C._devices:
            I2C._devices[addr] = ads1115_chip.ADS1115()
        I2C._devices[addr].wire(
            _in[at + layout.CHIP_NV : at + layout.CHIP_NV + 4],
            _in[at + layout.CHIP_REFUSES_DATA],
            _in[at + layout.CHIP_NEVER_READY],
            _in[at + layout.CHIP_RESETS],
            _in[at + layout.CHIP_RATE_PPM],
        )
    if display:
        if display not in I2C._devices:
            I2C._devices[display] = ssd1306_chip.SSD1306(I2C._picture)
        I2C._devices[display].wire(_in[layout.DISPLAY_REFUSES_DATA], _in[layout.DISPLAY_RESETS])


link.after_exchange.append(_new_pins)


class _Memory:
    """Only the scratch registers of the watchdog are there."""

    _SCRATCH = 0x4005800C

    def _word(self, address):
        number, odd = divmod(address - self._SCRATCH, 4)
        if odd or not 0 <= number < layout.SCRATCH_WORDS:
            raise ValueError("the virtual box has no register at 0x{:08x}".format(address))
        return layout.SCRATCH + number

    def __getitem__(self, address):
        return _out[self._word(address)]

    def __setitem__(self, address, value):
        _out[self._word(address)] = value & 0xFFFFFFFF


mem32 = _Memory()


class WDT:
    def __init__(self, *, id=0, timeout=5000):
        if id != 0:
            raise ValueError("WDT({}) doesn't exist".format(id))
        if timeout > 8388:
            raise ValueError("timeout exceeds 8388")
        _out[layout.WATCHDOG_MS] = timeout
        link.feed()
        link.exchange(0)  # the holder must know, in case this was the last that is heard of the application

    def feed(self):
        link.feed()
        link.spend(2)


def _after_soft_reset():
    """Bring the objects' view in line with the registers that a soft reset has left alone."""
    for n in range(_GPIO_COUNT):
        Pin._latch[n] = _bit(layout.LATCH, n)
        Pin._modes[n] = Pin.OUT if _bit(layout.DRIVEN, n) else Pin.IN
        if _bit(layout.PWM_PINS, n) and _bit(layout.PWM_RUNNING, n >> 1 & 7):
            duty = _out[layout.PWM_DUTY + (n & 15)]
            PWM(n, freq=_out[layout.PWM_FREQ + (n >> 1 & 7)], duty_u16=duty)
