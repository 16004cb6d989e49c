"""The power cut at every single block operation: of a flash, of going back, of the event log, of an install.

littlefs is the real one, on a RAM disk in MicroPython's Unix port; a page of 256 bytes and an erased block are an operation each. The
operation under way is dropped, torn in its middle, or done with bits missing; all later ones are dropped, and nobody is told. The
counts are printed: pytest -rP tests/faults/test_power_cuts.py
"""

import ast
import contextlib
import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from mpremote.transport import Transport, TransportExecError

import gaugelight.install
from gaugebox.flight_log import MOST_FILES, ROOM
from gaugebox.store import SLOT_HEADER_SIZE
from gaugebox.table import LARGEST
from gaugelight.box_line import packed
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO, STARTER
from gaugelight.install import compiled_firmware, install, selector
from gaugelight.problems import Wrong
from interpreters import FIRMWARE

pytest.importorskip("micropython_unix", reason="littlefs is in MicroPython, which comes with the bench extra")

GUESTS = Path(__file__).parent / "guests"
MICROPYTHON = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=16M"]
DROPPED, TORN, WEAK = range(3)  # guests/cuttable_disk.py


# tables and the log: the loop over all cuts runs in the guest


def box_of(inputs: int) -> str:
    """A box file with so many inputs."""
    chips = "".join(
        f'[converter.c{chip}]\nkind = "ads1115"\naddress = {0x48 + chip}\n' for chip in range(-(-inputs // 4))
    )
    return f'[box]\nname = "{inputs} inputs"\nboard = "rp2040"\n{chips}' + "".join(
        f'[[input]]\nname = "input {n}"\npin = "c{n // 4}.{n % 4}"\ncircuit = {{ kind = "direct" }}\nunit = "V"\nrange = [0, 3]\n'
        for n in range(inputs)
    )


def image_of(text: str, folder: Path) -> Path:
    """Its table image, as a file."""
    path = folder / f"{hashlib.sha256(text.encode()).hexdigest()[:12]}.toml"
    path.write_text(text)
    image = path.with_suffix(".glt")
    image.write_bytes(build(read_box(path)).image)
    image.with_suffix(".glt.packed").write_bytes(packed(image.read_bytes()))
    return image


def cuts(what: str, ages: int, twice: int, first: Path, second: Path) -> dict[str, int]:
    """What the guest counted."""
    words = [str(GUESTS / "cut_tables.py"), str(FIRMWARE), str(GUESTS), what, str(ages), str(twice)]
    done = subprocess.run(
        [*MICROPYTHON, *words, str(first), str(second)], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    print(done.stdout, end="")
    said = done.stdout.splitlines()[-1].split()
    return {name: int(count) for name, count in zip(said[::2], said[1::2])}


@pytest.mark.parametrize("inputs", range(1, 17))
def test_a_flash_cut_anywhere_and_again(inputs: int, tmp_path: Path) -> None:
    """From a table of another size to one of so many inputs."""
    first, second = (image_of(box_of(n), tmp_path) for n in (17 - inputs, inputs))
    said = cuts("flash", 1, 1, first, second)
    assert (said["lost"], said["notices"]) == (0, 0)
    assert said["old"] and said["new"] and said["twice"] > said["cuts"] // 2


# what is done, how often on one disk, how often of that with a second cut
JOBS = {
    "flash": (16, 2),
    "safe": (8, 1),
    "revert": (16, 2),
    "log": (30, 2),
    "flight": (20, 0),  # pieces written, files begun and removed, and a table flashed in between
}


@pytest.mark.parametrize("what", JOBS)
def test_a_job_cut_anywhere_on_a_disk_that_ages(what: str, tmp_path: Path) -> None:
    """Often enough for littlefs to move its directory, and for the logs to change their file."""
    texts = (box_of(1), box_of(2)) if what == "flight" else (DEMO.read_text(), STARTER.read_text())
    first, second = (image_of(text, tmp_path) for text in texts)
    said = cuts(what, *JOBS[what], first, second)
    assert (said["lost"], said["notices"]) == (0, 0)
    assert said["old"] and said["new"] and said["cuts"] > 1000


def test_control_a_careless_store_loses_tables(tmp_path: Path) -> None:
    """One that removes the slot in use before it writes: seen."""
    first, second = (image_of(path.read_text(), tmp_path) for path in (DEMO, STARTER))
    assert cuts("careless", 2, 0, first, second)["lost"] > 0


# the firmware: the host's own install, on the guest's disk


class CuttableBox(Transport):  # type: ignore[misc]
    """mpremote's file commands onto the guest."""

    def __init__(self, blocks: int) -> None:
        self.guest = subprocess.Popen(
            [*MICROPYTHON, str(GUESTS / "cuttable_box.py"), str(GUESTS), str(blocks)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )

    def close(self) -> None:
        assert self.guest.stdin is not None
        self.guest.stdin.close()
        self.guest.wait(10)

    def do(self, verb: str, word: Any = None) -> bytes:
        """What it printed. Raises TransportExecError."""
        assert self.guest.stdin is not None and self.guest.stdout is not None
        asked = json.dumps([verb, word]).encode()
        self.guest.stdin.write(b"%8d" % len(asked) + asked)
        self.guest.stdin.flush()
        said = b""
        while b"\x04" not in said:
            line = self.guest.stdout.readline()
            assert line, said
            said += line
        printed, _, problem = said.partition(b"\x04")
        if problem.strip():
            raise TransportExecError("", problem.decode().strip())
        return printed

    def exec(self, command: Any, data_consumer: Callable[[bytes], None] | None = None) -> bytes:
        text = command if isinstance(command, str) else command.decode()
        printed = self.do("exec", text)
        if data_consumer is not None:
            data_consumer(printed)
        return printed

    def fs_writefile(
        self, dest: str, data: bytes, chunk_size: int = 4096, progress_callback: Any = None
    ) -> None:
        """In larger pieces than go over a line; the disk sees no difference."""
        super().fs_writefile(dest, data, chunk_size, progress_callback)

    def eval(self, expression: str) -> Any:
        return ast.literal_eval(self.exec(f"print(repr({expression}))").decode())

    def cut(self, after: int, how: int) -> None:
        self.do("cut", [after, how])

    def operations(self) -> tuple[int, bool]:
        """How many there were since `cut`, and whether the power went."""
        count, is_cut = map(int, self.do("operations").split())
        return count, bool(is_cut)

    def starts(self) -> tuple[str, dict[str, str]] | None:
        """The folder that main.py starts, and its files' hashes."""
        said = json.loads(self.do("boot"))
        return None if said is None else (said[0], said[1])


@pytest.fixture
def box() -> Iterator[CuttableBox]:
    made = CuttableBox(96)
    yield made
    made.close()


Firmware = dict[str, bytes]
OLD_SELECTOR = selector()
NEW_SELECTOR = OLD_SELECTOR + b"# renewed\n"


def firmwares() -> tuple[Firmware, Firmware]:
    """This one, and one that differs in every file."""
    files = compiled_firmware()
    return files, {name: content + b"\0" for name, content in files.items()}


def hashes(files: Firmware) -> dict[str, str]:
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


def put(monkeypatch: pytest.MonkeyPatch, box: CuttableBox, files: Firmware, main: bytes) -> None:
    """`gaugelight install` of these files, as far as the power lets it."""

    @contextlib.contextmanager
    def transport(_: str) -> Iterator[CuttableBox]:
        try:
            yield box
        except (TransportExecError, OSError, ValueError, IndexError, SyntaxError) as problem:
            raise Wrong(f"lost: {problem}") from None

    monkeypatch.setattr(gaugelight.install, "_transport", transport)
    monkeypatch.setattr(gaugelight.install, "_not_in_flight", lambda port: None)
    monkeypatch.setattr(gaugelight.install, "compiled_firmware", lambda: files)
    monkeypatch.setattr(gaugelight.install, "selector", lambda: main)
    with contextlib.suppress(Wrong):
        install("the guest", lambda what, done, of: None)


def test_an_install_cut_anywhere(monkeypatch: pytest.MonkeyPatch, box: CuttableBox) -> None:
    """After each cut the box starts one whole firmware, the old or the new; and the same install, begun again, ends well."""
    old, new = firmwares()
    put(monkeypatch, box, old, OLD_SELECTOR)
    found = box.starts()
    assert found is not None and found[1] == hashes(old)
    box.do("keep", "old")
    box.cut(-1, DROPPED)
    put(monkeypatch, box, new, NEW_SELECTOR)
    operations, _ = box.operations()
    found = box.starts()
    assert found is not None and found[1] == hashes(new) and operations > 100
    tried = started_old = started_new = 0
    for after in range(operations):
        how = after % 3
        box.do("power", "old")
        box.cut(after, how)
        put(monkeypatch, box, new, NEW_SELECTOR)
        assert box.operations()[1], "the power was not cut"
        box.do("power")
        found = box.starts()
        assert found is not None and found[1] in (hashes(old), hashes(new)), (after, how)
        tried += 1
        started_old += found[1] == hashes(old)
        started_new += found[1] == hashes(new)
        if after % 5 == 0:  # cut once more, somewhere else, in the install that mends it
            box.cut((after * 7 + 3) % operations, (how + 1) % 3)
            put(monkeypatch, box, new, NEW_SELECTOR)
            box.do("power")
            found = box.starts()
            assert found is not None and found[1] in (hashes(old), hashes(new)), (after, how)
            tried += 1
            put(monkeypatch, box, new, NEW_SELECTOR)
            found = box.starts()
            assert found is not None and found[1] == hashes(new)
    print(
        f"operations {operations} cuts {tried} started the old {started_old}, the new {started_new}, neither 0"
    )
    assert started_old and started_new


def test_an_install_over_a_damaged_newest_cut_anywhere(
    monkeypatch: pytest.MonkeyPatch, box: CuttableBox
) -> None:
    """What main.py starts then is the older; that one is not touched until the other is whole again."""
    old, new = firmwares()
    put(monkeypatch, box, old, OLD_SELECTOR)
    put(monkeypatch, box, new, OLD_SELECTOR)
    found = box.starts()
    assert found is not None and found[1] == hashes(new)
    box.exec(f"f = open('{found[0]}/gaugebox/light.mpy', 'wb')\nf.write(b'short')\nf.close()")
    found = box.starts()
    assert found is not None and found[1] == hashes(old)
    box.do("keep", "damaged")
    box.cut(-1, DROPPED)
    put(monkeypatch, box, new, NEW_SELECTOR)
    operations, _ = box.operations()
    found = box.starts()
    assert found is not None and found[1] == hashes(new)
    for after in range(operations):
        box.do("power", "damaged")
        box.cut(after, after % 3)
        put(monkeypatch, box, new, NEW_SELECTOR)
        box.do("power")
        found = box.starts()
        assert found is not None and found[1] in (hashes(old), hashes(new)), after
    print(f"operations {operations} cuts {operations} started neither 0")


# room: the board's disk, and a flight log that has gone round on it

BOARD_BLOCKS = 352  # of 2 MB, what MicroPython leaves (from memory)
FILL = """
import os
import sys
sys.path.insert(0, {folder!r})
from gaugebox.flight_log import HEAD_SIZE, MOST_PIECE, FlightLog
flights = FlightLog("/flights")
flights.wire(1, 1, 16, 8, 20)
flights.roll()
for _ in range({pieces}):
    flights.length = MOST_PIECE - 8
    flights.first = 0
    flights.flush()
    flights.roll()
print(flights.newest + 1 - flights.oldest, os.statvfs("/")[3])
sys.path.pop(0)
for name in list(sys.modules):
    if name.startswith("gaugebox"):
        del sys.modules[name]
"""
FREE = 'import os\nprint(os.statvfs("/")[3])'
TABLES = f"""
import os
os.mkdir("/tables")
for name in ("slot_a", "slot_b", "safe", "incoming"):
    with open("/tables/" + name, "wb") as file:
        file.write(bytes({SLOT_HEADER_SIZE + LARGEST}))
"""


def test_a_full_flight_log_leaves_room_for_firmware_and_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both firmware folders and all tables at their largest, whichever came first; and the ring still holds what it should."""
    old, new = firmwares()
    box = CuttableBox(BOARD_BLOCKS)
    try:
        put(monkeypatch, box, old, OLD_SELECTOR)
        files, free = map(int, box.exec(FILL.format(folder="/firmware_a", pieces=420)).split())
        assert files == MOST_FILES and free >= ROOM // 4096
        put(monkeypatch, box, new, OLD_SELECTOR)
        assert box.starts() == ("/firmware_b", hashes(new))
        box.exec(TABLES)
        print("blocks free:", free, "and with both firmwares and all tables", int(box.exec(FREE)))
        files, free = map(int, box.exec(FILL.format(folder="/firmware_b", pieces=40)).split())
        assert files >= MOST_FILES - 1 and free >= ROOM // 4096 - 8
        for files_of in (old, new):
            put(monkeypatch, box, files_of, OLD_SELECTOR)
            found = box.starts()
            assert found is not None and found[1] == hashes(files_of)
        box.exec(TABLES.replace('os.mkdir("/tables")', ""))
    finally:
        box.close()
