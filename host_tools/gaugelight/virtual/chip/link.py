"""The chip's one connection to the world: a swap of messages that also is the only thing that lets time pass."""

from array import array

import layout

try:
    from utime import ticks_diff, ticks_ms  # the interpreter's own clock: real time
except ImportError:  # CPython, where nobody waits for a prompt

    def ticks_ms():
        return 0

    def ticks_diff(later, earlier):
        return 0


LONGEST_WAIT_US = 100_000  # a longer sleep is cut up, so that the world moves in small steps
LONGEST_SPENT_US = 5_000  # a busy wait sees fresh pins and a live watchdog at least this often
LONGEST_SILENCE_MS = 200  # real time, at the prompt: the board's clock runs while nobody calls it

request = array(layout.WORD, [0] * layout.REQUEST_WORDS)
reply = array(layout.WORD, [0] * layout.REPLY_WORDS)
after_exchange = []  # called without arguments when the pins have new values

_swap = None
_exchange_after_us = LONGEST_SPENT_US
_spent_us = 0
_fed_at_us = 0
_heard_at_ms = 0


def connect(swap):
    """Use `swap(request, reply)`: it hands the request over, lets its time pass and fills the reply."""
    global _swap
    _swap = swap
    reply[layout.NOW_US] = layout.START_US


def now_us():
    return reply[layout.NOW_US] + _spent_us


def exchange(wait_us, kind=layout.WAIT):
    global _spent_us, _heard_at_ms
    request[layout.KIND] = kind
    request[layout.SEQUENCE] += 1
    request[layout.WAIT_US] = wait_us
    request[layout.SPENT_US] = _spent_us
    request[layout.SINCE_FEED_US] = now_us() - _fed_at_us
    _swap(request, reply)
    _spent_us = 0
    _heard_at_ms = ticks_ms()
    for call in after_exchange:
        call()


def wait(us):
    """Let `us` microseconds pass."""
    while us > LONGEST_WAIT_US:
        exchange(LONGEST_WAIT_US)
        us -= LONGEST_WAIT_US
    exchange(max(us, 0))


def spend(us):
    """Let the few microseconds pass that an operation takes on the board; seldom worth an exchange."""
    global _spent_us
    _spent_us += us
    if _spent_us >= _exchange_after_us or ticks_diff(ticks_ms(), _heard_at_ms) > LONGEST_SILENCE_MS:
        exchange(0)


def stall(us):
    """Let the time pass in which flash memory is written; at the prompt from now on, for there the clock has run meanwhile."""
    if not _exchange_after_us:
        exchange(0, layout.CATCH_UP)
    spend(us)


def at_prompt():
    """From now on every operation is an exchange: nobody sleeps at the prompt, and what it sets must be seen."""
    global _exchange_after_us
    _exchange_after_us = 0
    exchange(0)  # what the program set last


def use(part):
    """Nobody comes back from a part that hangs."""
    while reply[layout.HANGS] & part:
        exchange(LONGEST_WAIT_US)


def feed():
    global _fed_at_us
    _fed_at_us = now_us()


def keep(registers):
    """Take over the registers that a soft reset has left alone."""
    global _fed_at_us
    for i in range(layout.REGISTER_WORDS):
        request[layout.REGISTERS + i] = registers[i]
    _fed_at_us = now_us() - request[layout.SINCE_FEED_US]
