"""The display's driver against the model of its controller, and the box with a display that is missing, dies and comes back."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugebox.alerts import FLASHING
from gaugebox.face import LEAST_CONTRAST
from gaugebox.flight_log import FlightLog
from gaugebox.log import AT_CONVERTERS, AT_FACE, AT_INPUTS, AT_LIGHTS, Log
from gaugebox.ssd1306 import OFF, PROBE_MS, RENEWED_MS, SETUP, SLICES, SLICES_A_TICK, SSD1306
from gaugebox.store import SLOTS, Store, slot_header
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.plant import Aircraft
from gaugelight.virtual.chip import ssd1306_chip
from gaugelight.virtual.world import Picture, Trouble, picture_of
from test_app import Rig, app_class  # noqa: F401  # a fixture

ADDRESS = 0x3C
Chip: Any = ssd1306_chip.SSD1306  # untyped: it runs on MicroPython
TICK_MS = 20
WHOLE = SLICES // SLICES_A_TICK + 1  # ticks, with the one that sets it up
BOX = Path(__file__).parent / "face.toml"


class Bus:
    """There is a display on it, or not. sent: bytes of the picture, of commands, and how many calls failed, since looked at last."""

    def __init__(self) -> None:
        self.chip = Chip()
        self.there = True
        self.refuses = False
        self.picture = self.commands = self.failed = 0

    def writeto(self, address: int, octets: bytes) -> None:
        self.chip.wire(self.refuses, 0)
        if address != ADDRESS or not self.there or not self.chip.write(bytes(octets), 0):
            self.failed += 1
            raise OSError(5)
        if octets[0] == 0x40:
            self.picture += len(octets) - 1
        else:
            self.commands += len(octets)


class Bench:
    def __init__(self) -> None:
        self.bus = Bus()
        self.picture = bytearray(k * 37 % 251 for k in range(1024))
        self.driver = SSD1306(self.bus, ADDRESS, self.picture)

    def tick(self, times: int = 1, contrast: int = 100) -> None:
        for _ in range(times):
            self.bus.picture = self.bus.commands = 0
            self.driver.step(TICK_MS, contrast)
            assert self.bus.picture <= 64 and self.bus.commands <= 32

    @property
    def right(self) -> bool:
        return bytes(self.bus.chip.state[:1024]) == bytes(self.picture)

    @property
    def shown(self) -> Picture:
        return picture_of(self.bus.chip.state)


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_a_start(bench: Bench) -> None:
    """Nothing is lit before the picture is whole; then at once, as bright as asked."""
    for _ in range(WHOLE - 1):
        bench.tick()
        assert not bench.shown.on
    bench.tick()
    assert bench.right and bench.shown.on and bench.shown.contrast == 100 and bench.driver.alive
    assert bench.bus.chip.unknown == []


def test_only_what_has_changed_is_sent(bench: Bench) -> None:
    bench.tick(WHOLE)
    bench.tick()
    assert bench.bus.picture == bench.bus.commands == 0
    bench.picture[500] ^= 0x10
    bench.tick()
    assert bench.bus.picture == 1024 // SLICES and bench.right


@pytest.mark.parametrize("place", range(0, 1024, 31))
def test_every_place_is_reached(bench: Bench, place: int) -> None:
    bench.tick(WHOLE)
    bench.picture[place] ^= 0xFF
    bench.tick(2)
    assert bench.right


def test_a_picture_that_never_rests_is_lit_all_the_same(bench: Bench) -> None:
    for turn in range(2 * WHOLE):
        for k in range(1024):
            bench.picture[k] = turn
        bench.tick()
    assert bench.shown.on


def test_brightness(bench: Bench) -> None:
    bench.tick(WHOLE)
    for contrast in (1, 255, 17):
        bench.tick(1, contrast)
        assert bench.shown.contrast == contrast and bench.shown.on
    bench.tick(1, 0)
    assert not bench.shown.on
    bench.tick(1, 3)
    assert bench.shown.on and bench.shown.contrast == 3


def test_one_that_is_missing_is_asked_once_a_second(bench: Bench) -> None:
    bench.bus.there = False
    bench.tick(10 * 50)
    assert bench.bus.failed == 10 * 1000 // PROBE_MS and not bench.driver.alive
    bench.bus.there = True
    bench.tick(1000 // TICK_MS + WHOLE)
    assert bench.right and bench.shown.on and bench.driver.alive


@pytest.mark.parametrize("loses_supply", [True, False])
@pytest.mark.parametrize("dies_at", range(0, WHOLE + 3))
def test_dies_and_comes_back(bench: Bench, dies_at: int, loses_supply: bool) -> None:
    """In any tick, also of a start."""
    bench.tick(dies_at)
    bench.bus.there = False
    bench.picture[5] ^= 1  # so that there is something to say to it
    bench.tick(3 * 50)
    assert not bench.driver.alive and bench.bus.failed <= 4
    if loses_supply:
        bench.bus.chip.reset()
    bench.picture[900] ^= 1
    bench.bus.there = True
    bench.tick(1000 // TICK_MS + WHOLE)
    assert bench.right and bench.shown.on and bench.driver.alive and bench.bus.chip.unknown == []


def test_one_that_refuses_data(bench: Bench) -> None:
    bench.tick(WHOLE)
    bench.bus.refuses = True
    bench.picture[7] ^= 1
    bench.tick(200)
    assert not bench.driver.alive and bench.bus.failed <= 5
    bench.bus.refuses = False
    bench.tick(1000 // TICK_MS + WHOLE)
    assert bench.right and bench.driver.alive


def test_one_that_has_reset_itself_is_renewed(bench: Bench) -> None:
    """It answers as if nothing were; nobody else can know."""
    bench.tick(WHOLE)
    bench.bus.chip.reset()
    assert not bench.shown.on
    bench.tick(RENEWED_MS // TICK_MS + WHOLE)
    assert bench.right and bench.shown.on


def test_renewing_one_that_is_well_darkens_nothing(bench: Bench) -> None:
    bench.tick(WHOLE)
    for _ in range(2 * RENEWED_MS // TICK_MS):
        bench.tick()
        assert bench.shown.on and bench.right


# the model itself


def told(*messages: bytes) -> Any:
    chip = Chip()
    for message in messages:
        assert chip.write(message, 0)
    return chip


LIT = bytes((0x00, 0xAF))
WRONG: dict[str, Callable[[], Any]] = {
    "lit without its charge pump": lambda: told(LIT),
    "a command cut short": lambda: told(SETUP[:2], LIT),
    "a setting at the place of another": lambda: told(SETUP.replace(b"\x8d\x14", b"\x14\x8d"), LIT),
    "half the rows": lambda: told(SETUP.replace(b"\xa8\x3f", b"\xa8\x1f"), LIT),
    "rows wired otherwise": lambda: told(SETUP.replace(b"\xda\x12", b"\xda\x02"), LIT),
    "off again": lambda: told(SETUP, LIT, OFF),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_order_is_seen(name: str) -> None:
    assert picture_of(told(SETUP, LIT).state).on
    chip = WRONG[name]()
    assert not picture_of(chip.state).on or chip.unknown


def test_a_command_that_there_is_not() -> None:
    assert told(b"\x00\xff").unknown == [0xFF] and told(b"\x00\x81").unknown == [0x81]
    assert told(b"\x80\xaf").unknown == [0x80]


def test_places_in_memory() -> None:
    """By pages: the column goes round within its page. Horizontally: on to the next."""
    chip = told(SETUP, b"\x00\xb3\x0e\x17", b"\x40\x01\x02\x03")
    assert (chip.state[3 * 128 + 126], chip.state[3 * 128 + 127], chip.state[3 * 128]) == (1, 2, 3)
    chip = told(SETUP, b"\x00\x20\x00\x21\x7e\x7f\x22\x01\x02", b"\x40\x01\x02\x03\x04\x05")
    assert [chip.state[at] for at in (254, 255, 382, 383)] == [5, 2, 3, 4]


# the box


@pytest.fixture(scope="module")
def face_box() -> Build:
    return build(read_box(BOX))


@pytest.fixture
def rig(face_box: Build, app_class: type[Any], tmp_path: Path) -> Rig:  # noqa: F811
    folder = tmp_path / "tables"
    folder.mkdir()
    (folder / SLOTS[0]).write_bytes(slot_header(1) + face_box.image)
    return Rig(face_box, app_class, str(folder))


def display(rig: Rig) -> Picture:
    shown = rig.chip.picture(0x3D)
    assert shown is not None
    return shown


def press(rig: Rig, switch: str) -> None:
    aircraft: Aircraft = rig.aircraft
    aircraft.switches[switch] = True
    rig.tick(10)
    aircraft.switches[switch] = False
    rig.tick(40)


def test_the_box_shows_what_its_face_has_drawn(rig: Rig) -> None:
    rig.tick(100)
    shown = display(rig)
    lit = "".join(".#"[dot] for row in shown.dots for dot in row)
    picture = rig.app.face.picture
    assert lit == "".join(".#"[picture[y // 8 * 128 + x] >> y % 8 & 1] for y in range(64) for x in range(128))
    assert shown.on and shown.contrast == 255 and rig.app.display.alive


def test_the_buttons(rig: Rig) -> None:
    """Page: each in turn, and round. Test: every dot, as long as it is pressed."""
    rig.tick(300)
    first = display(rig).dots
    seen = [first]
    for _ in range(6):
        press(rig, "next")
        seen.append(display(rig).dots)
    press(rig, "next")
    assert len(set(seen)) == 7 and display(rig).dots == first
    rig.aircraft.switches["lamp test"] = True
    rig.tick(40)
    assert all(map(all, display(rig).dots))
    rig.aircraft.switches["lamp test"] = False
    rig.tick(40)
    assert display(rig).dots == first


def test_dimmed_to_nothing_but_for_a_new_warning(rig: Rig) -> None:
    rig.tick(300)
    rig.aircraft.knobs[27] = 100.0
    rig.tick(200)
    assert not display(rig).on
    rig.aircraft.signals["left fuel"] = 0.5  # ohm: empty
    rig.tick(300)
    assert rig.app.alerts.warning == FLASHING
    assert display(rig).on and display(rig).contrast == LEAST_CONTRAST
    press(rig, "seen")
    assert not display(rig).on


def test_a_new_warning_flashes_on_any_page(rig: Rig) -> None:
    rig.tick(300)
    press(rig, "next")
    rig.aircraft.signals["left fuel"] = 0.5
    rig.tick(300)
    lit = set()
    for _ in range(50):
        rig.tick()
        lit.add(sum(map(sum, display(rig).dots[55:])) > 600)
    assert lit == {True, False}


def test_no_table(face_box: Build, app_class: type[Any], tmp_path: Path) -> None:  # noqa: F811
    """On the safe table it says so, and nothing else."""
    folder = tmp_path / "tables"
    folder.mkdir()
    (folder / "safe").write_bytes(slot_header(1) + face_box.safe)
    rig = Rig(face_box, app_class, str(folder))
    rig.tick(100)
    assert rig.app.store.slot == "safe" and rig.app.face.banner == b"NO TABLE"
    assert display(rig).contrast == LEAST_CONTRAST
    rows = [sum(row) for row in display(rig).dots]
    assert not any(rows[:18]) and all(count > 60 for count in rows[18:27]) and not any(rows[27:55])


@pytest.mark.parametrize(
    "doing, shown", [(AT_LIGHTS, True), (AT_INPUTS, True), (AT_CONVERTERS, False), (AT_FACE, False)]
)
def test_a_table_that_does_not_start(
    face_box: Build, app_class: type[Any], tmp_path: Path, doing: int, shown: bool  # noqa: F811
) -> None:
    """It says so; but where the bus has hung it, it leaves the bus alone, so that the lamps come back."""
    folder = tmp_path / "tables"
    folder.mkdir()
    (folder / SLOTS[0]).write_bytes(slot_header(1) + face_box.image)
    (folder / "safe").write_bytes(slot_header(1) + face_box.safe)
    rig = Rig(face_box, app_class, str(folder))
    rig.board.before = doing
    app = app_class(
        rig.board, Store(str(folder), True), Log(str(folder) + "/log"), FlightLog(str(folder) + "/flights")
    )
    assert app.store.slot == "safe"
    assert (app.face is not None and app.face.banner == b"TABLE NOT STARTING") == shown


def test_the_picture_of_another_start_does_not_stand(rig: Rig, app_class: type[Any]) -> None:  # noqa: F811
    """One that fails at its converters each time has put it out before; without its table it leaves the bus alone, and it would stand."""
    rig.tick(100)
    assert display(rig).on
    folder = rig.app.store.folder
    app = app_class(rig.board, Store(folder), Log(folder + "/log"), FlightLog(folder + "/flights"))

    def failing(elapsed: int) -> None:
        raise RuntimeError

    app._scan = failing
    with pytest.raises(RuntimeError):
        app.run()
    assert rig.board.doing == AT_CONVERTERS and not display(rig).on


def test_a_dead_display_costs_no_tick(rig: Rig) -> None:
    """The bus held low is a time-out of 2 ms once a second."""
    rig.tick(200)
    rig.aircraft.silent.add(0x3D)
    rig.tick(3)
    late = rig.app.late
    rig.tick(500)
    assert not rig.app.display.alive and rig.app.late == late
    rig.aircraft.silent.clear()
    rig.tick(1000 // TICK_MS + WHOLE + 20)
    assert rig.app.display.alive and display(rig).on


def test_one_that_resets_itself(rig: Rig) -> None:
    rig.tick(200)
    rig.aircraft.troubles[0x3D] = Trouble(resets=1)
    rig.tick(5)
    assert not display(rig).on
    rig.tick(RENEWED_MS // TICK_MS + WHOLE)
    assert display(rig).on
