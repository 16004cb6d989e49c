"""What it takes to put a table on the box: `gaugelight flash` against mpremote, on one virtual port, in one run.

    python -m gaugelight.benchmark_line [BOX]

Both ways end when the box answers again, the firmware running: by the line packed, sent, read back, checked, committed and restarted;
by mpremote's own commands `cp FILE :FILE + soft-reset`, and Ctrl-D, without which the firmware would not start. No program's start
is counted. Repeated, and the medians compared.
"""

import contextlib
import io
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from serial import Serial

from gaugelight.bench import prepared
from gaugelight.box_line import BoxLine
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.flash import flash
from gaugelight.problems import Misuse, Wrong
from gaugelight.virtual import VirtualBox

DEMO = Path(__file__).parent / "demo" / "amphibian.toml"
TURNS = 7


@dataclass(frozen=True)
class Taken:
    """bytes: both ways. seconds: of real time, with what the virtual box lets pass for its flash memory."""

    bytes: int
    seconds: float


def by_line(virtual: VirtualBox, built: Build) -> Taken:
    start = time.monotonic()
    with _counted() as count, BoxLine(virtual.port) as line:
        flash(line, built, lambda done, of: None)
        return Taken(count(), time.monotonic() - start)


def by_mpremote(virtual: VirtualBox, built: Build) -> Taken:
    from mpremote import main as mpremote

    with tempfile.NamedTemporaryFile() as file, _counted() as count:
        file.write(built.image)
        file.flush()
        start = time.monotonic()
        with _arguments("connect", virtual.port, "cp", file.name, ":/tables/copied", "+", "soft-reset"):
            mpremote.main()
        with BoxLine(virtual.port) as line:
            line.serial.write(b"\x04")
            moved = count()
            line.wait_for_start(10)
        return Taken(moved, time.monotonic() - start)


@contextlib.contextmanager
def _arguments(*arguments: str) -> Iterator[None]:
    before = sys.argv
    sys.argv = ["mpremote", *arguments]
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            yield
    finally:
        sys.argv = before


@contextlib.contextmanager
def _counted() -> Iterator[Callable[[], int]]:
    """Counts what goes through any serial port meanwhile."""
    moved = 0
    write, read = Serial.write, Serial.read

    def writes(port: Serial, data: bytes) -> object:
        nonlocal moved
        moved += len(data)
        return write(port, data)

    def reads(port: Serial, size: int = 1) -> bytes:
        nonlocal moved
        data = bytes(read(port, size))
        moved += len(data)
        return data

    Serial.write, Serial.read = writes, reads  # type: ignore[method-assign, assignment]
    try:
        yield lambda: moved
    finally:
        Serial.write, Serial.read = write, read  # type: ignore[method-assign]


def main(arguments: list[str]) -> int:
    if len(arguments) > 1 or arguments and arguments[0].startswith("-"):
        print("usage: python -m gaugelight.benchmark_line [BOX]", file=sys.stderr)
        return 2
    try:
        box = read_box(Path(arguments[0]) if arguments else DEMO)
        first = box.inputs[0]
        others = (box, replace(box, inputs=(replace(first, damping=first.damping + 1), *box.inputs[1:])))
        tables = [build(one) for one in others]
        ways: dict[str, list[Taken]] = {"gaugelight flash": [], "mpremote cp + soft-reset": []}
        with prepared(tables[0], print) as (_, virtual):
            for turn in range(TURNS):
                for name, way in (("gaugelight flash", by_line), ("mpremote cp + soft-reset", by_mpremote)):
                    virtual.fast_forward(11_000)  # it has run for a while: its log is written
                    ways[name].append(way(virtual, tables[(turn + 1) % 2]))
    except Wrong as problem:
        print(problem, file=sys.stderr)
        return 2 if isinstance(problem, Misuse) else 1
    print(f"{len(box.inputs)} inputs, a table of {len(tables[0].image)} bytes; medians of {TURNS}")
    medians = []
    for name, taken in ways.items():
        moved, seconds = (
            statistics.median(values) for values in zip(*((one.bytes, one.seconds) for one in taken))
        )
        medians.append((moved, seconds))
        print(f"{name:<26}{moved:8.0f} bytes{seconds * 1000:8.0f} ms")
    print(
        f"{'the first by the second':<26}{medians[0][0] / medians[1][0]:8.2f}      {medians[0][1] / medians[1][1]:8.2f}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
