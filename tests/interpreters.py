"""The interpreters that the box's code runs on: this one, MicroPython with 64-bit and MicroPython with 32-bit words.

The 32-bit one has the box's small integers (31 bits) and counts executed instructions; the 64-bit one is the current language.
Both also take the firmware compiled, as the box gets it.
"""

import atexit
import io
import subprocess
import sys
from collections.abc import Callable
from contextlib import redirect_stdout
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from gaugelight.benchmark import checked, guarded, run_on_32_bit, write_compiled_firmware

FIRMWARE = Path(__file__).parent.parent / "firmware"


def on_cpython(code: str) -> str:
    """What the code prints, here."""
    said = io.StringIO()
    with redirect_stdout(said):
        exec(compile(code, "guest", "exec"), {"__name__": "guest"})
    return said.getvalue()


def on_64_bit(code: str, folder: Path = FIRMWARE) -> str:
    """What the code prints on the Unix port, with what lies in `folder` importable. Raises GuestTrouble."""
    with TemporaryDirectory() as scripts:
        script = Path(scripts) / "guest.py"
        script.write_text(guarded(code, str(folder)))
        command = [sys.executable, "-m", "micropython_unix", str(script)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    return checked(done.stdout)


def on_32_bit(code: str, folder: Path = FIRMWARE) -> str:
    """What the code prints on the WebAssembly port, with what lies in `folder` importable. Raises GuestTrouble."""
    return run_on_32_bit(code, folder)[0]


@cache
def compiled() -> Path:
    """A folder with gaugebox as .mpy only."""
    folder = TemporaryDirectory()
    atexit.register(folder.cleanup)
    return write_compiled_firmware(Path(folder.name))


MICROPYTHONS: dict[str, Callable[[str], str]] = {
    "64 bits": on_64_bit,
    "64 bits, compiled": lambda code: on_64_bit(code, compiled()),
    "32 bits": on_32_bit,
    "32 bits, compiled": lambda code: on_32_bit(code, compiled()),
}

LOCKED = """
import gc
import micropython

def locked(name, job, argument):
    micropython.heap_lock()
    said = "no heap"
    try:
        job(argument)
    except MemoryError:
        said = "heap"
    finally:
        micropython.heap_unlock()
    print(name + ":", said)
"""
"""For a guest: says whether a job takes heap."""
