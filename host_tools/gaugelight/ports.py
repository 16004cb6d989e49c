"""Serial ports: which one the box is on, and opening it."""

import serial
from serial.tools import list_ports

from gaugelight.problems import Misuse

BOARD_USB_ID = (0x2E8A, 0x0005)  # MicroPython on an RP2040 board


def the_port(asked: str | None) -> str:
    """The port asked for, else the one attached board. Raises Misuse with the choices."""
    if asked is not None:
        return asked
    ports = list_ports.comports()
    boards = [p.device for p in ports if (p.vid, p.pid) == BOARD_USB_ID]
    if len(boards) == 1:
        return str(boards[0])
    found = "no board was found on USB" if not boards else f"{len(boards)} boards are on USB"
    choices = ", ".join(p.device for p in ports) or "there are no serial ports"
    raise Misuse(f"{found}; say which with --port: {choices}")


def open_port(port: str) -> serial.Serial:
    """The port, open for us alone. Raises Misuse."""
    try:
        return serial.Serial(port, 115200, timeout=0.02, write_timeout=2, exclusive=True)
    except (OSError, ValueError) as problem:
        raise Misuse(f"{port}: cannot be opened: {reason_of(problem)}") from None


def reason_of(problem: Exception) -> str:
    """What the operating system says, without the library's wrapping."""
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    return str(problem).split(": ")[-1]
