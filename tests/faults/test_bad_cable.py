"""A cable that gives up: after so many bytes nothing comes through any more, or the port is gone, or single bytes are lost or bent.

Whatever the command was, it ends with one clear line and the box runs on with a whole table.
"""

import os
import random
import select
import signal
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from gaugelight.build import Build
from gaugelight.cli import DEMO, STARTER, main
from test_box_on_a_port import Rig, demo, installed_rig, rig, starter  # noqa: F401  (fixtures)

SEED = 5
Bend = Callable[[bytes], bytes]


class Cable:
    """A port of its own whose bytes go to the box's by way of `bend`, until `lasts` of them have gone down; then it is unplugged, or silent."""

    def __init__(self, port: str, lasts: float, unplugged: bool, bend: Bend) -> None:
        self.lasts, self.unplugged, self.bend = lasts, unplugged, bend
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self.slave: int | None = slave  # held open, so that the port is there before it is opened
        self.box = os.open(port, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.box)
        self.down = 0
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self._carry, daemon=True)
        self.thread.start()

    def _carry(self) -> None:
        while not self.ended.is_set():
            for fd in select.select([self.master, self.box], [], [], 0.05)[0]:
                try:
                    data = os.read(fd, 64)
                except OSError:
                    continue
                if fd == self.master:
                    data = data[: max(0, int(min(self.lasts - self.down, len(data))))]
                    self.down += len(data)
                    if self.down >= self.lasts and self.unplugged:
                        self.unplug()
                        return
                elif self.down >= self.lasts:
                    continue
                to = self.box if fd == self.master else self.master
                os.write(to, self.bend(data))

    def unplug(self) -> None:
        for fd in (self.slave, self.master):
            if fd is not None:
                os.close(fd)
        self.slave = None

    def close(self) -> None:
        self.ended.set()
        self.thread.join()
        if self.slave is not None:
            self.unplug()
        os.close(self.box)


@contextmanager
def cable(
    port: str, lasts: float = 1e9, unplugged: bool = True, bend: Bend = lambda data: data
) -> Iterator[Cable]:
    made = Cable(port, lasts, unplugged, bend)
    try:
        yield made
    finally:
        made.close()


def tables(*built: Build) -> set[str]:
    return {f"{one.crc32:08x}" for one in built}


@pytest.mark.parametrize("unplugged", [True, False], ids=["unplugged", "silent"])
def test_a_flash_over_a_cable_that_gives_up(
    rig: Rig, demo: Build, starter: Build, unplugged: bool, capsys: pytest.CaptureFixture[str]  # noqa: F811
) -> None:
    """Everywhere, in steps of 260 bytes; silent costs its tries, so more seldom."""
    ended = []
    for lasts in range(0, 4000, 260 if unplugged else 1700):
        capsys.readouterr()
        with cable(rig.port, lasts, unplugged) as bad:
            code = main(["flash", str(STARTER), "--yes", "--port", bad.port])
        said = capsys.readouterr().err
        ended.append(code)
        if code:
            assert code in (1, 2) and said.count("\n") == 1 and said.startswith(bad.port), said
        crc = rig.crc()
        assert crc in tables(demo, starter)
        if crc == f"{starter.crc32:08x}":  # committed: back, so that there is something to flash
            assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    assert 1 in ended


def test_control_a_good_cable_is_no_trouble(rig: Rig, demo: Build, starter: Build) -> None:  # noqa: F811
    with cable(rig.port) as good:
        assert main(["flash", str(STARTER), "--yes", "--port", good.port]) == 0
        assert 2000 < good.down < 4000  # as far as the test above goes
    assert rig.crc() in tables(starter)


BENDS: dict[str, Callable[[random.Random], Bend]] = {
    "bytes lost": lambda chance: lambda data: bytes(c for c in data if chance.random() > 0.0005),
    "bytes bent": lambda chance: lambda data: bytes(
        c ^ (1 << chance.randrange(8)) if chance.random() < 0.0005 else c for c in data
    ),
    "bytes twice": lambda chance: lambda data: b"".join(
        bytes([c]) * (1 + (chance.random() < 0.0005)) for c in data
    ),
    "noise between": lambda chance: lambda data: data + chance.randbytes(2) * (chance.random() < 0.005),
}


@pytest.mark.parametrize("bend", BENDS.values(), ids=BENDS)
def test_a_flash_over_a_cable_that_bends_bytes(
    rig: Rig,
    demo: Build,
    starter: Build,
    bend: Callable[[random.Random], Bend],
    capsys: pytest.CaptureFixture[str],  # noqa: F811
) -> None:
    """About one line in ten is spoilt: asked again it comes through, or the command says that it did not."""
    capsys.readouterr()
    with cable(rig.port, bend=bend(random.Random(SEED))) as bad:
        code = main(["flash", str(STARTER), "--yes", "--port", bad.port])
    said = capsys.readouterr().err
    assert code == 0 or said.count("\n") == 1 and said.startswith(bad.port), said
    assert rig.crc() in (tables(demo, starter) if code else tables(starter))


@pytest.mark.parametrize("down", [1, 300, 900, 1500])
def test_ctrl_c_in_the_middle(rig: Rig, demo: Build, starter: Build, down: int) -> None:  # noqa: F811
    """One line that says which table may run now."""

    def slowly(data: bytes) -> bytes:
        time.sleep(0.02)
        return data

    with cable(rig.port, bend=slowly) as slow:
        words = [sys.executable, "-m", "gaugelight.cli", "flash", str(STARTER), "--yes", "--port", slow.port]
        process = subprocess.Popen(
            words,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            preexec_fn=lambda: signal.signal(
                signal.SIGINT, signal.SIG_DFL
            ),  # ignored by what runs behind a shell
        )
        while slow.down < down and process.poll() is None:
            time.sleep(0.005)
        process.send_signal(signal.SIGINT)
        said = process.communicate(timeout=60)[1].decode()
    assert process.returncode == 1 and said.count("\n") == 1, said
    assert said.startswith("stopped; the box runs the old table or the new one, whole"), said
    assert rig.crc() in tables(demo, starter)


COMMANDS = {
    "read": ["read"],
    "faults": ["faults"],
    "revert": ["revert", "--yes"],
    "install": ["install"],
}


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
@pytest.mark.parametrize("lasts", [0, 1, 60, 400])
def test_other_commands_over_a_cable_that_is_unplugged(
    rig: Rig,
    demo: Build,
    starter: Build,
    command: list[str],
    lasts: int,
    capsys: pytest.CaptureFixture[str],  # noqa: F811
) -> None:
    with cable(rig.port, lasts) as bad:
        code = main([*command, "--port", bad.port])
    said = capsys.readouterr().err
    assert code in (0, 1, 2) and "Traceback" not in said
    assert code == 0 or said.count("\n") == 1 and bad.port in said, said
    rig.cold_start()  # an install may have left it at its prompt
    assert rig.crc() in tables(demo, starter)
