"""What it takes to put a table on the box: `gaugelight flash` against mpremote, on one virtual port, in one run.

    python -m gaugelight.benchmark_line [BOX]

Both ways begin at an open port and end when the box answers again, the firmware running: by the line packed, sent, read back, checked,
committed and restarted; by mpremote copied as a plain file, then a soft reset. Repeated, and the medians compared.
"""

import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

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
    """bytes: both ways. seconds: of real time; flash memory takes its own, which the virtual box lets pass while the program runs."""

    bytes: int
    seconds: float


def by_line(virtual: VirtualBox, built: Build) -> Taken:
    start = time.monotonic()
    with BoxLine(virtual.port) as line:
        count = _counted(line.serial)
        flash(line, built, lambda done, of: None)
    return Taken(count(), time.monotonic() - start)


def by_mpremote(virtual: VirtualBox, built: Build) -> Taken:
    from mpremote.transport_serial import SerialTransport

    start = time.monotonic()
    transport = SerialTransport(virtual.port, baudrate=115200)
    count = _counted(transport.serial)
    transport.enter_raw_repl(soft_reset=True)
    transport.fs_writefile("/tables/copied", built.image)
    transport.exit_raw_repl()
    transport.serial.write(b"\x04")
    transport.serial.flush()
    moved = count()
    transport.close()
    with BoxLine(virtual.port) as line:
        line.wait_for_start(10)
    return Taken(moved, time.monotonic() - start)


def _counted(serial: object) -> Callable[[], int]:
    """Counts what goes through an open port from now on."""
    moved = 0
    write, read = serial.write, serial.read  # type: ignore[attr-defined]

    def writes(data: bytes) -> object:
        nonlocal moved
        moved += len(data)
        return write(data)

    def reads(size: int = 1) -> bytes:
        nonlocal moved
        data = bytes(read(size))
        moved += len(data)
        return data

    serial.write, serial.read = writes, reads  # type: ignore[attr-defined]
    return lambda: moved


def main(arguments: list[str]) -> int:
    if len(arguments) > 1 or arguments and arguments[0].startswith("-"):
        print("usage: python -m gaugelight.benchmark_line [BOX]", file=sys.stderr)
        return 2
    try:
        box = read_box(Path(arguments[0]) if arguments else DEMO)
        first = box.inputs[0]
        others = (box, replace(box, inputs=(replace(first, damping=first.damping + 1), *box.inputs[1:])))
        tables = [build(one) for one in others]
        ways: dict[str, list[Taken]] = {"gaugelight flash": [], "mpremote cp, soft-reset": []}
        with prepared(tables[0], print) as (_, virtual):
            for turn in range(TURNS):
                for name, way in (("gaugelight flash", by_line), ("mpremote cp, soft-reset", by_mpremote)):
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
