"""Stands in for the board's `time`: the clock is the virtual one, everything else is the interpreter's own."""

import layout
import link

try:
    import utime as _real
except ImportError:  # CPython
    import time as _real

_MASK = layout.TICKS_PERIOD - 1
_HALF = layout.TICKS_PERIOD // 2
_CALL_US = 5  # about what one of these calls costs on the board, so that a busy wait ends
_POWER_ON_S = 1609459200  # the board's calendar starts at 2021-01-01 00:00:00


def sleep(seconds):
    link.wait(int(seconds * 1_000_000))


def sleep_ms(ms):
    link.wait(ms * 1000)


def sleep_us(us):
    if us >= link.LONGEST_SPENT_US:
        link.wait(us)
    elif us > 0:
        link.spend(us)


def ticks_ms():
    link.spend(_CALL_US)
    return link.now_us() // 1000 & _MASK


def ticks_us():
    link.spend(_CALL_US)
    return link.now_us() & _MASK


def ticks_cpu():
    return ticks_us()


def ticks_add(ticks, delta):
    if not -_HALF <= delta < _HALF:
        raise OverflowError("ticks interval overflow")
    return ticks + delta & _MASK


def ticks_diff(ticks1, ticks2):
    return (ticks1 - ticks2 + _HALF & _MASK) - _HALF


def time_ns():
    link.spend(_CALL_US)
    return _POWER_ON_S * 1_000_000_000 + (link.now_us() - layout.START_US) * 1000


def time():
    return time_ns() // 1_000_000_000


def gmtime(secs=None):
    return tuple(_real.gmtime(time() if secs is None else secs))[:8]


def localtime(secs=None):
    return gmtime(secs)  # the board knows no time zone


def mktime(local_time):
    return _days(local_time[0], local_time[1], local_time[2]) * 86400 + (
        local_time[3] * 3600 + local_time[4] * 60 + local_time[5]
    )


def _days(year, month, day):
    """Days since 1970-01-01 in the Gregorian calendar; counts years from March, so that a leap day comes last."""
    if month < 3:
        year -= 1
        month += 12
    return year * 365 + year // 4 - year // 100 + year // 400 + (153 * (month - 3) + 2) // 5 + day - 719469
