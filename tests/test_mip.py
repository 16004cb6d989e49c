"""The firmware's source, installed by the real `mpremote mip` from a checkout that is served on this machine."""

import functools
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import pytest

from gaugebox import VERSION
from gaugelight.box_line import BoxLine
from gaugelight.package_list import FIRMWARE, current_lists
from gaugelight.virtual import Inputs, Outputs, VirtualBox

pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")

REFRESH = "out of date; run: python -m gaugelight.package_list"


@pytest.mark.parametrize("name", ["whole", "package.json"])
def test_the_list_is_current(name: str) -> None:
    assert (FIRMWARE / name).read_text() == current_lists()[name], f"firmware/{name} is {REFRESH}"


class InService:
    """A box with its service jumper closed."""

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        return Inputs(levels={22: 0})


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *words: object) -> None:
        pass


@pytest.fixture
def package_url() -> Iterator[str]:
    handler = functools.partial(Quiet, directory=str(FIRMWARE))
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/package.json"
        server.shutdown()


def mpremote(box: VirtualBox, *words: str) -> str:
    command = [sys.executable, "-m", "mpremote", "connect", box.port, *words]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


WHAT_IS_THERE = """
import os
for folder in ("/", "/firmware_a", "/firmware_a/gaugebox"):
    for name in os.listdir(folder):
        path = folder.rstrip("/") + "/" + name
        if os.stat(path)[0] & 0x8000:
            print(path, os.stat(path)[6])
"""


def test_mip_puts_a_whole_firmware_on_the_box_that_starts(package_url: str) -> None:
    with VirtualBox(InService()) as box:
        mpremote(box, "mip", "install", "--target", "/", "--no-mpy", package_url)
        there = mpremote(box, "exec", WHAT_IS_THERE).split("\n")
        modules = [f"/firmware_a/gaugebox/{path.name}" for path in (FIRMWARE / "gaugebox").glob("*.py")]
        sizes = {line.rsplit(" ", 1)[0]: int(line.rsplit(" ", 1)[1]) for line in there if line}
        assert sorted(sizes) == sorted([*modules, "/firmware_a/whole", "/main.py"])
        for path, size in sizes.items():
            assert (
                size == (FIRMWARE / path.removeprefix("/firmware_a").removeprefix("/")).stat().st_size
            ), path
        box.power_cycle()
        with BoxLine(box.port) as line:
            hello = line.wait_for_start(10)
        assert (hello.version, hello.state) == (VERSION, "SERVICE")
