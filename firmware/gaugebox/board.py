"""The board adaptor: the only place that knows `machine`."""

import select
import sys
import time

import framebuf
import machine
import micropython

from gaugebox import pins
from gaugebox.log import FAILED, POWER, RUNNING

WATCHDOG_MS = 4000  # longer than the worst flash write, 400 ms by the data sheet, with much to spare
I2C_TIMEOUT_US = 2000
CTRL_C = 3

# A scratch register of the watchdog (RP2040 data sheet, 4.7.6) outlives every reset but that of the supply: it holds what the box was
# doing, and how it ended.
SCRATCH = 0x4005800C
MARK = 0x2A470000
# the next one holds how many starts in a row have not lasted
NOT_LASTED = 0x40058010
MOST_COUNTED = 15
# and two more which rules of the table are on, and which have seen what must have been so before: sixteen bits, below a half of the
# table's key
RULES_ON, RULES_ARMED = 0x40058014, 0x40058018
KEY_MASK = 0xFFFFFF
HALF_KEY = 12  # bits


def silence_outputs() -> None:
    """Takes every pin that could drive something back to a pulled-down input, a PWM left running included.

    A soft reset leaves some PWM slices burning, so this is the first thing at every start and the last at every stop. Ctrl-C
    cannot cut it short: main.py starts and ends with Ctrl-C shut out.
    """
    micropython.kbd_intr(-1)
    for pin in pins.OUTPUT_PINS:
        machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_DOWN)


class Board:
    """The pins, the clock, the line and the watchdog of an RP2040 board."""

    def __init__(self) -> None:
        self.jumper = machine.Pin(pins.JUMPER, machine.Pin.IN, machine.Pin.PULL_UP)
        self.i2c = machine.I2C(
            0, sda=machine.Pin(pins.SDA), scl=machine.Pin(pins.SCL), freq=400_000, timeout=I2C_TIMEOUT_US
        )
        self.watchdog: "machine.WDT | None" = None
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        self.room = select.poll()
        self.room.register(sys.stdout, select.POLLOUT)
        self.byte = bytearray(1)
        self.stdin = sys.stdin.buffer
        before = machine.mem32[SCRATCH] - MARK
        self.before = before if 0 <= before < POWER else POWER
        failed = machine.mem32[NOT_LASTED] - MARK
        self.failed = failed if 0 <= failed <= MOST_COUNTED else 0  # starts in a row that have not lasted
        machine.mem32[NOT_LASTED] = MARK + min(self.failed + 1, MOST_COUNTED)

    def mark(self, doing: int) -> None:
        """What a box that hangs is found to have been doing."""
        machine.mem32[SCRATCH] = MARK + doing

    def ended(self, how: int) -> None:
        """How the program has ended, beside what it was doing."""
        machine.mem32[SCRATCH] = MARK + (machine.mem32[SCRATCH] - MARK & 15) + how
        if how != FAILED:
            self.lasts()

    def lasts(self) -> None:
        """This start is no failed one any more."""
        machine.mem32[NOT_LASTED] = MARK

    def remember(self, on: int, armed: int, key: int) -> None:
        """Of the rules of a table, a bit each, sixteen at most."""
        machine.mem32[RULES_ON] = key >> HALF_KEY << 16 | on
        machine.mem32[RULES_ARMED] = (key & (1 << HALF_KEY) - 1) << 16 | armed

    def remembered(self, key: int) -> "tuple[int, int]":
        """Those of a box that hung or failed with that table, and goes on; else none."""
        on, armed = machine.mem32[RULES_ON], machine.mem32[RULES_ARMED]
        goes_on = self.before != POWER and self.before & ~15 in (RUNNING, FAILED)
        if not goes_on or (on >> 16) << HALF_KEY | armed >> 16 != key:
            return 0, 0
        return on & 0xFFFF, armed & 0xFFFF

    def service(self) -> bool:
        """Whether the service jumper is closed."""
        return self.jumper.value() == 0

    def converter(self, pin: int) -> "machine.ADC":
        return machine.ADC(machine.Pin(pin))

    def lamp(self, pin: int, frequency: int) -> "machine.PWM":
        """A lamp's pin, dark."""
        return machine.PWM(machine.Pin(pin), freq=frequency, duty_u16=0)

    def discrete(self, pin: int, level: int) -> "machine.Pin":
        """A discrete output, driven to that level."""
        return machine.Pin(pin, machine.Pin.OUT, value=level)

    def switch(self, pin: int, on: int) -> "machine.Pin":
        """A discrete input, pulled to the level that means off."""
        return machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_DOWN if on else machine.Pin.PULL_UP)

    def canvas(self, dots: "bytearray | memoryview", width: int, height: int) -> "framebuf.FrameBuffer":
        """To draw on: bytes of eight dots below each other."""
        return framebuf.FrameBuffer(dots, width, height, framebuf.MONO_VLSB)

    def open_line(self) -> None:
        """From now on Ctrl-C stops the program."""
        micropython.kbd_intr(CTRL_C)

    def close_line(self) -> None:
        """From now on 0x03 is a byte like any other, and a stopped loop restarts the box."""
        micropython.kbd_intr(-1)
        if self.watchdog is None:
            self.watchdog = machine.WDT(timeout=WATCHDOG_MS)

    def feed(self) -> None:
        if self.watchdog is not None:
            self.watchdog.feed()

    def restart(self) -> None:
        """A watchdog once started outlives a soft reset, so then the chip is reset."""
        if self.watchdog is not None:
            machine.reset()
        machine.soft_reset()

    def now(self) -> int:
        return time.ticks_ms()  # type: ignore[return-value]  # the stubs keep ticks apart from numbers

    def elapsed(self, since: int) -> int:
        return time.ticks_diff(time.ticks_ms(), since)

    def wait_until(self, due: int) -> None:
        wait = time.ticks_diff(due, time.ticks_ms())
        if wait > 0:
            time.sleep_ms(wait)

    def later(self, moment: int, ms: int) -> int:
        return time.ticks_add(moment, ms)  # type: ignore[type-var]

    def next_byte(self) -> int:
        """A byte from the line, or -1."""
        for _ in self.poll.ipoll(0):
            if self.stdin.readinto(self.byte):
                return self.byte[0]
        return -1

    def say(self, line: str) -> None:
        """Puts a line out, or as much of it as is taken at once: the loop never waits for a host.

        Byte by byte, for room is told where there is some, and what does not fit would be waited for.
        """
        for c in line:
            for _ in self.room.ipoll(0):
                sys.stdout.write(c)
                break
            else:
                return
        sys.stdout.write("\n")
