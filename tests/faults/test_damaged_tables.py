"""A damaged table is never used: every single bit, 100,000 bursts, every cut length; and what the box does where no table is right."""

import json
import random
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from gaugebox.store import SAFE, SLOT_HEADER_SIZE, SLOTS, Store, sequence_of, slot_header
from gaugebox.table import Table, TableError
from gaugelight.box_line import BoxLine
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO, main
from gaugelight.lights import Lamp
from test_box_on_a_port import Rig, demo, installed_rig, rig  # noqa: F401  (fixtures)

SEED = 20
BURSTS = 100_000


@pytest.fixture(scope="module")
def slot() -> bytes:
    """A slot's content: header and the demo's image."""
    return slot_header(7) + build(read_box(DEMO)).image


def taken(content: bytes | bytearray) -> bool:
    """As the store judges a slot."""
    try:
        sequence_of(bytes(content))
        Table(memoryview(content)[SLOT_HEADER_SIZE:])
    except TableError:
        return False
    return True


def test_a_good_one_is_taken(slot: bytes) -> None:
    assert taken(slot)


def test_every_single_bit(slot: bytes) -> None:
    content = bytearray(slot)
    for at in range(len(slot)):
        for bit in range(8):
            content[at] ^= 1 << bit
            assert not taken(content), (at, bit)
            content[at] ^= 1 << bit
    assert taken(content)


def test_bursts(slot: bytes) -> None:
    """Of 1 to 64 bytes, anywhere: noise, all ones, all zeros, bytes moved along."""
    chance = random.Random(SEED)
    tried = 0
    while tried < BURSTS:
        length = chance.randint(1, 64)
        at = chance.randrange(len(slot) - length)
        burst = chance.choice(
            (chance.randbytes(length), b"\xff" * length, bytes(length), slot[at + 1 : at + 1 + length])
        )
        if slot[at : at + length] == burst:
            continue
        assert not taken(slot[:at] + burst + slot[at + length :]), (at, burst)
        tried += 1


@pytest.mark.parametrize("blank", [b"", b"\xff", b"\0"], ids=["cut off", "erased beyond", "zero beyond"])
def test_every_length(slot: bytes, blank: bytes) -> None:
    for length in range(len(slot) - 1):
        if slot[length:] == blank * (len(slot) - length):
            continue
        assert not taken(slot[:length] + blank * (len(slot) - length)), length


def test_control_a_damaged_table_with_a_right_crc_is_seen_to_differ(slot: bytes) -> None:
    """So that what the tests above show is the CRC, and not that nothing is ever taken."""
    image = bytearray(slot[SLOT_HEADER_SIZE:-4])
    at = image.index(b"left fuel")
    image[at] ^= 0x20
    assert taken(slot[:SLOT_HEADER_SIZE] + bytes(image) + zlib.crc32(image).to_bytes(4, "little"))


# what a store does with them: which slots are damaged, what then runs

Damage = Callable[[bytes], bytes]
DAMAGED: dict[str, tuple[tuple[str, ...], str, int, bool]] = (
    {  # what runs, how many are told of, is there one to go back to
        "none": ((), SLOTS[1], 0, True),
        "the newest": ((SLOTS[1],), SLOTS[0], 1, False),
        "the older": ((SLOTS[0],), SLOTS[1], 0, False),
        "both": (SLOTS, SAFE, 2, False),
        "the safe one": ((SAFE,), SLOTS[1], 1, True),
        "all": ((*SLOTS, SAFE), "", 3, False),
    }
)


@pytest.mark.parametrize("damaged, runs, told, older", DAMAGED.values(), ids=DAMAGED)
def test_what_runs(damaged: tuple[str, ...], runs: str, told: int, older: bool, tmp_path: Path) -> None:
    built = build(read_box(DEMO))
    for name, number, image in (
        (SLOTS[0], 1, built.image),
        (SLOTS[1], 2, built.image),
        (SAFE, 1, built.safe),
    ):
        content = bytearray(slot_header(number) + image)
        if name in damaged:
            content[len(content) // 2] ^= 4
        (tmp_path / name).write_bytes(content)
    store = Store(str(tmp_path))
    assert (store.slot, bool(store.older)) == (runs, older)
    assert sum(name in store.notice for name in damaged) == told
    assert (store.table is None) == (runs == "")


# the safe table


def test_the_safe_table_has_lamps_on_their_knobs_and_nothing_else() -> None:
    built = build(read_box(DEMO))
    table, safe = Table(built.image), Table(built.safe)
    assert not safe.inputs and not safe.chips and safe.daylight is None and not safe.switches
    assert [one.name for one in safe.dimmers] == ["glare shield", "map light", "bus output"]
    lamp, whole = safe.dimmers[0], next(one for one in table.dimmers if one.name == "glare shield")
    assert (lamp.pin, lamp.frequency, lamp.curve, lamp.fade) == (
        whole.pin,
        whole.frequency,
        whole.curve,
        whole.fade,
    )
    assert safe.dim_request is not None and safe.dim_request.pin == 14


# the box itself: MicroPython behind a port


def spoil(rig: Rig, *slots: str) -> None:  # noqa: F811
    code = "import os\nos.chdir('/tables')\n" + "".join(
        f"if '{name}' in os.listdir():\n c = bytearray(open('{name}', 'rb').read())\n c[40:44] = bytes(4)\n"
        f" f = open('{name}', 'wb')\n f.write(c)\n f.close()\n"
        for name in slots
    )
    words = [sys.executable, "-m", "mpremote", "connect", rig.port, "exec", code]
    subprocess.run(words, check=True, timeout=30, capture_output=True)
    rig.cold_start()


def test_a_box_without_a_table(
    rig: Rig, demo: Build, capsys: pytest.CaptureFixture[str]  # noqa: F811
) -> None:
    """No number, lamps on the knob, answers, shouts, and can be flashed."""
    try:
        spoil(rig, *SLOTS)
        rig.aircraft.knobs[27] = 50.0
        rig.virtual.fast_forward(5000)
        capsys.readouterr()
        assert main(["read", "--port", rig.port, "--json"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert (said["slot"], said["crc32"], said["inputs"]) == (SAFE, "", [])
        assert any("NO TABLE IS RIGHT" in warning for warning in said["warnings"])
        lamp = demo.box.lights.lamp("glare shield")
        assert isinstance(lamp, Lamp)
        bright = rig.virtual.latest.pwm[lamp.pin]
        rig.aircraft.knobs[27] = 20.0
        rig.virtual.fast_forward(5000)
        assert 0 < rig.virtual.latest.pwm[lamp.pin][1] < bright[1] and bright[0] == lamp.frequency
        rig.aircraft.knobs[27] = 0.0
        rig.virtual.fast_forward(5000)
        assert rig.virtual.latest.pwm[lamp.pin][1] == 0
    finally:
        rig.aircraft.knobs[27] = 0.0
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    assert rig.crc() == f"{demo.crc32:08x}"


def test_a_box_without_anything_stays_dark_and_can_be_flashed(
    rig: Rig, demo: Build, capsys: pytest.CaptureFixture[str]  # noqa: F811
) -> None:
    spoil(rig, *SLOTS, SAFE)
    rig.aircraft.knobs[27] = 50.0
    try:
        with BoxLine(rig.port) as line:
            hello = line.wait_for_start(10)
        rig.virtual.fast_forward(3000)
        assert (hello.slot, hello.crc, hello.safe_crc, rig.virtual.latest.pwm) == ("", "", "", {})
    finally:
        rig.aircraft.knobs[27] = 0.0
    assert main(["flash", str(DEMO), "--yes", "--port", rig.port]) == 0
    with BoxLine(rig.port) as line:
        hello = line.hello()
    assert (hello.crc, hello.safe_crc) == (f"{demo.crc32:08x}", demo.safe[-4:][::-1].hex())
