"""The words of the two messages between the virtual chip and whoever holds it; all are signed 64-bit integers.

Read by both sides: MicroPython imports it as `layout`, the host as `gaugelight.virtual.chip.layout`.
"""

import sys

# of an array of such words. MicroPython makes a small integer of an "l", which is as long on the only machine it runs on here; of
# each "q" that is read it would make a long one, which takes ten times as long
WORD = "l" if sys.implementation.name == "micropython" else "q"

# Request, chip to holder: "this is what I drive; let WAIT_US pass".
KIND = 0
SEQUENCE = 1
WAIT_US = 2
SPENT_US = 3  # time the chip has let pass by itself since the last reply
REGISTERS = 4  # from here on: what a soft reset leaves alone
WATCHDOG_MS = 4  # 0: not started
SINCE_FEED_US = 5
DRIVEN = 6  # one bit a pin: driven as a plain output
LATCH = 7  # one bit a pin: the level it is driven to
PWM_PINS = 8  # one bit a pin: handed to its PWM slice
PWM_RUNNING = 9  # one bit a slice
PWM_FREQ = 10  # 8 slices, hertz
PWM_DUTY = 18  # 16 channels, 0..65535 of the time high
SCRATCH = 34  # 8 scratch registers of the watchdog, which outlive every reset but that of the supply
SCRATCH_WORDS = 8
REQUEST_WORDS = 42
REGISTER_WORDS = REQUEST_WORDS - REGISTERS

# Bits of HANGS.
I2C_HANGS, ADC_HANGS, PIN_HANGS, FLASH_HANGS = 1, 2, 4, 8

# What a request asks for.
WAIT = 0
HELLO = 1  # the chip has started; the reply is followed by the registers that survived
BOOTED = 2  # boot.py is done
RESET = 3
SOFT_RESET = 4
CATCH_UP = 5  # what has passed in real time has passed

# Reply, holder to chip: "it is now NOW_US and this is what is on your pins".
ANSWERED = 0  # the sequence number of the request
NOW_US = 1
RESET_CAUSE = 2
ADC_REFERENCE_NV = 3
FORCED = 4  # one bit a pin: driven from outside
LEVELS = 5  # one bit a pin: to this level
ADC_NV = 6  # 5 channels, nanovolts; the fifth is the chip's own temperature sensor
BUS_STUCK = 11  # 1: SDA is held low
ADC_NOISE_NV = 12  # nanovolts RMS, on every reading of the on-chip converter
HANGS = 13  # one bit a part of the chip: whoever uses it now never comes back
DISPLAY = 14  # I2C address of the display, 0: there is none
DISPLAY_REFUSES_DATA = 15
DISPLAY_RESETS = 16  # a new number: reset now
CHIP_COUNT = 17
CHIPS = 18  # CHIPS_MAX times: I2C address, and what the next lines give the place of
CHIP_NV = 1  # 4 inputs, nanovolts
CHIP_REFUSES_DATA = 5
CHIP_NEVER_READY = 6
CHIP_RESETS = 7  # a new number: reset now
CHIP_RATE_PPM = 8  # the data rate, millionths of nominal
CHIP_WORDS = 9
CHIPS_MAX = 8
REPLY_WORDS = CHIPS + CHIPS_MAX * CHIP_WORDS

# The chip's clock starts 20 s before ticks_ms() wraps, so that every run sees the wrap.
TICKS_PERIOD = 1 << 30
START_US = (TICKS_PERIOD - 20_000) * 1000

PWRON_RESET = 1
WDT_RESET = 3
