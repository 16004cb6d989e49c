"""Serial ports: which one the box is on, and opening it."""

import errno
import re
import time

import serial
from serial.tools import list_ports

from gaugelight.problems import Misuse

LOCK_TRIES = 5
BOARD_USB_ID = (0x2E8A, 0x0005)  # MicroPython on an RP2040 board


def the_port(asked: str | None) -> str:
    """The port asked for, else the one attached board. Raises Misuse with the choices."""
    if asked is not None:
        return asked
    ports = list_ports.comports()
    boards = [p.device for p in ports if (p.vid, p.pid) == BOARD_USB_ID]
    if len(boards) == 1:
        return str(boards[0])
    if not boards:
        others = ", ".join(p.device for p in ports) or "none"
        raise Misuse(
            "no board was found on USB; is it plugged in, with a cable that carries data, and does it run MicroPython?"
            f" Or say which port with --port; there are: {others}"
        )
    raise Misuse(f"{len(boards)} boards are on USB; say which with --port: {', '.join(boards)}")


def open_port(port: str) -> serial.Serial:
    """The port, open for us alone. Raises Misuse.

    A lock is asked for more than once: one just given up may outlive its owner for a moment.
    """
    for tries_left in range(LOCK_TRIES, -1, -1):
        try:
            return serial.Serial(port, 115200, timeout=0.02, write_timeout=2, exclusive=True)
        except (OSError, ValueError) as problem:
            if tries_left and "lock" in str(problem):
                time.sleep(0.1)
                continue
            raise Misuse(f"{port}: cannot be opened: {_why(problem)}") from None
    raise AssertionError


def _why(problem: Exception) -> str:
    """In words a builder can act on; the library wraps the operating system's number in different ways."""
    text = str(problem)
    number = problem.errno if isinstance(problem, OSError) else None
    if "lock" in text or number in (errno.EBUSY, errno.EAGAIN):
        return "another program has it open; end that first"
    if number == errno.EACCES or "Permission" in text:
        return "no permission; add yourself to the group that owns it (often dialout) and log in again"
    if number == errno.ENOENT or "No such file" in text:
        return f"it is not there; there are: {', '.join(p.device for p in list_ports.comports()) or 'none'}"
    return "it is no serial port"


def reason_of(problem: Exception) -> str:
    """What the operating system says, without the library's wrapping."""
    if "returned no data" in str(problem):
        return "unplugged"
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    return re.sub(r"^\[Errno \d+\] ", "", str(problem).split(": ")[-1])
