"""The table image, the two slots it lies in, and the line it comes over: what is damaged is refused.

CRC-32/ISO-HDLC: check value of `123456789` from the CRC RevEng catalogue.
"""

import binascii
import random
import struct
from array import array
from collections.abc import Callable, Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox import light, table
from gaugebox import line as serial
from gaugebox.curve import make_curve
from gaugebox.line import ANSWER, LONGEST, REQUEST, LineReader, frame, unframe
from box_says import Sampled
from gaugebox.measure import make_channels
from gaugebox.store import INCOMING, PIECE, SAFE, SLOTS, Store, StoreError, slot_header
from gaugebox.table import Table, TableError
from gaugelight.box_line import packed
from gaugelight.boxfile import Box, read_box
from gaugelight.build import Build, build, pack
from gaugelight.light_tables import travel
from gaugelight.lights import Display, Lights
from gaugelight.readouts import Face

if TYPE_CHECKING:
    from gaugebox.curve import Curve

DEMO = Path(str(files("gaugelight.demo") / "amphibian.toml"))


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(DEMO))


def alone(box: Box) -> Box:
    """A box with the lamp that has a knob, and nothing else."""
    lamp = replace(box.lights.lamps[0], compensate=None, by_day=None)
    return replace(box, chips=(), inputs=(), in_flight=None, face=Face(), lights=Lights(lamps=(lamp,)))


@pytest.fixture(scope="module")
def small(demo: Build) -> bytes:
    """An image with a box, a knob and a lamp."""
    return build(alone(demo.box)).image


def sealed(content: bytes) -> bytes:
    """Content with its length and CRC put right, as a damaged writer might."""
    content = content[:8] + struct.pack("<I", len(content) + 4) + content[12:]
    return content + struct.pack("<I", binascii.crc32(content))


def with_section(image: bytes, kind: int, flags: int, payload: bytes = b"abcd") -> bytes:
    count = struct.unpack_from("<H", image, 6)[0] + 1
    body = image[12:-4] + struct.pack("<HHI", kind, flags, len(payload)) + payload + bytes(-len(payload) % 4)
    return sealed(image[:6] + struct.pack("<H", count) + image[8:12] + body)


def sections(image: bytes) -> Iterator[tuple[int, int, int]]:
    """Of each its kind, where its payload begins, and its length."""
    at = table.HEADER_SIZE
    for _ in range(struct.unpack_from(table.HEADER, image, 0)[2]):
        kind, _, length = struct.unpack_from(table.SECTION, image, at)
        at += table.SECTION_SIZE
        yield kind, at, length
        at += length + 3 & ~3


# the container


def test_crc_check_value() -> None:
    assert binascii.crc32(b"123456789") == 0xCBF43926


def test_layout(small: bytes) -> None:
    """Little-endian magic, version, number of sections, length; the CRC last."""
    assert small[:8] == b"GLTI" + bytes([1, 0, 3, 0])
    assert int.from_bytes(small[8:12], "little") == len(small)
    assert int.from_bytes(small[-4:], "little") == binascii.crc32(small[:-4]) == Table(small).crc
    assert Table(small).length == len(small)


def test_what_was_built_is_what_the_box_reads(demo: Build) -> None:
    read = Table(demo.image)
    assert read.name == demo.box.name
    assert [(c.name, c.address) for c in read.chips] == [("aft", 0x48), ("fore", 0x49)]
    for record, solved in zip(read.inputs, demo.inputs, strict=True):
        assert (record.name, record.signal_unit, record.reading_unit) == (
            solved.input.name,
            solved.input.circuit.unit,
            solved.input.unit,
        )
        assert (record.windows, record.damping) == (solved.windows, solved.damping_turns)
        assert record.step * 10**-record.reading_decimals == pytest.approx(float(solved.input.step))
        for curve, built in (
            (record.signal_curve, solved.signal_curve),
            (record.reading_curve, solved.reading_curve),
        ):
            assert (list(curve[0]), list(curve[1])) == (list(built[0]), list(built[1]))
    lights = demo.box.lights
    assert [(k.pin, k.lowest, k.highest) for k in read.knobs] == [
        (27, travel(k).lowest, travel(k).highest) for k in lights.knobs
    ]
    assert [r.name for r in read.dimmers] == [one.name for one in lights.dimmed]
    for dimmer, one, duties in zip(read.dimmers, lights.dimmed, demo.lights.duty_curves, strict=True):
        assert (list(dimmer.curve[0]), list(dimmer.curve[1])) == (list(duties[0]), list(duties[1]))
        assert dimmer.fade == one.fade * 50
        assert (
            dimmer.by_day == (light.NO_LEVEL if one.by_day is None else round(one.by_day * 100))
            or one.name == "bus output"
        )
        if not isinstance(one, Display):
            assert (dimmer.pin, dimmer.frequency) == (one.pin, one.frequency)
    sources = {record.name: (record.source, record.index) for record in read.dimmers}
    legends = [i.name for i in demo.box.inputs].index("lighting bus")
    glare_shield = [r.name for r in read.dimmers].index("glare shield")
    assert sources["glare shield"] == (light.KNOB, 0)
    assert sources["switch legends"] == (light.INPUT, legends)
    assert {sources[name] for name in ("map light", "bus output", "display")} == {
        (light.DIMMER, glare_shield)
    }
    assert {(s.name, s.pin, s.on) for s in read.switches} >= {
        ("panel lights", 12, 0),
        ("transfer pump", 9, 0),
    }
    assert read.daylight is not None and read.dim_request is not None
    ambient = demo.inputs[read.daylight.input]
    assert ambient.input.name == "ambient light" and read.daylight.delay == 1500
    assert (read.daylight.day_above, read.daylight.night_below) == tuple(
        n * 10**ambient.reading_decimals for n in (50, 25)
    )
    request = read.dim_request
    assert (request.pin, request.active, request.source, request.index) == (14, 1, light.DIMMER, glare_shield)
    assert (request.on_above, request.off_below, request.on_fault) == (800, 500, light.ALONG)


def request(
    pin: int = 14,
    active: int = 1,
    source: int = light.DIMMER,
    index: int = 0,
    on_fault: int = 2,
    knob: int = light.NOTHING,
) -> bytes:
    return struct.pack(table.DIM_REQUEST_FIXED, pin, active, source, index, on_fault, knob, 800, 500)


CONTAINERS: dict[str, tuple[Callable[[bytes], bytes], str]] = {
    "nothing": (lambda i: b"", "too short"),
    "fifteen bytes": (lambda i: i[:15], "too short"),
    "another magic": (lambda i: sealed(b"GLTJ" + i[4:-4]), "not a table image"),
    "another version": (lambda i: sealed(i[:4] + b"\x02\x00" + i[6:-4]), "version 2; this firmware reads version 1"),
    "a byte too many": (lambda i: i + b"\x00", "its header says"),
    "another length in its header": (lambda i: i[:8] + struct.pack("<I", len(i) + 4) + i[12:], "its header says"),
    "another CRC": (lambda i: i[:-4] + bytes(4), "its CRC is wrong"),
    "a section less than said": (lambda i: sealed(i[:6] + b"\x04\x00" + i[8:-4]), "a section is missing"),
    "a section longer than all": (lambda i: sealed(i[:16] + b"\xff\xff\xff\x7f" + i[20:-4]), "runs past the end"),
    "an unknown critical section": (lambda i: with_section(i, 99, 1), "kind 99 is not known to this firmware"),
    "a text that runs past its section": (lambda i: with_section(i, 1, 1, b"\xffab"), "text runs past"),
    "a text that is no ASCII": (lambda i: with_section(i, 1, 1, b"\x01\xff\x00"), "not plain ASCII"),
    "a section too short": (lambda i: with_section(i, 12, 1, b"\x01"), "too short"),
    "a dim request without its lamp": (lambda i: with_section(i, 12, 1, request(index=7)), "follows nothing"),
    "a dim request without its switch": (lambda i: with_section(i, 12, 1, request(source=light.SWITCH)), "follows nothing"),
    "a dim request without its daylight": (lambda i: with_section(i, 12, 1, request(source=light.DAYLIGHT)), "follows nothing"),
    "a dim request that follows what there is not": (lambda i: with_section(i, 12, 1, request(source=9)), "follows nothing"),
    "a dim request's polarity": (lambda i: with_section(i, 12, 1, request(active=2)), "state that is not known"),
    "a dim request's fault": (lambda i: with_section(i, 12, 1, request(on_fault=3)), "state that is not known"),
    "a dim request's knob": (lambda i: with_section(i, 12, 1, request(knob=1)), "no such knob"),
    "a dim request's pin": (lambda i: with_section(i, 12, 1, request(pin=4)), "pin 4 is not possible"),
    "a dim request on a lamp's pin": (lambda i: with_section(i, 12, 1, request(pin=15)), "pin 15 is not possible, or used twice"),
    "a switch on a lamp's pin": (lambda i: with_section(i, 10, 1, bytes([15, 0, 1]) + b"x"), "pin 15 is not possible, or used twice"),
    "a switch on no pin": (lambda i: with_section(i, 10, 1, bytes([99, 0, 1]) + b"x"), "pin 99 is not possible"),
    "daylight without its input": (lambda i: with_section(i, 11, 1, struct.pack(table.DAYLIGHT_FIXED, 0, 0, 50, 9, 5)), "there is no input 0"),
    "a lamp of an earlier form": (lambda i: with_section(i, 4, 1, bytes(40)), "kind 4 .* install, then flash anew"),
    "an unknown kind of converter": (lambda i: with_section(i, 6, 1, bytes([9, 72, 0, 4, 1]) + b"x"), "kind 9 is not known"),
    "a converter's rate": (lambda i: with_section(i, 6, 1, bytes([1, 72, 0, 8, 1]) + b"x"), "mode or rate"),
    "a converter's mode": (lambda i: with_section(i, 6, 1, bytes([1, 72, 2, 4, 1]) + b"x"), "mode or rate"),
    "a converter that nothing uses": (lambda i: with_section(i, 6, 1, bytes([1, 72, 0, 4, 1]) + b"x"), "x: no input uses it"),
    "an address that no converter has": (lambda i: with_section(i, 6, 1, bytes([1, 80, 0, 4, 1]) + b"x"), "address 0x50 is not possible"),
    "an input of an earlier form": (lambda i: with_section(i, 3, 1, bytes(40)), "kind 3 .* install, then flash anew"),
    "a face at a converter's address": (lambda i: with_section(i, 21, 1, bytes([0x48, 1, 0, 0, 0, 0, 0])), "its address or number of pages"),
    "a face without a page": (lambda i: with_section(i, 21, 1, bytes([0x3C, 0])), "its address or number of pages"),
    "a face with a page of no kind": (lambda i: with_section(i, 21, 1, bytes([0x3C, 1, 4, 0, 0, 0, 0])), "a page of a form"),
    "a face with a page of no reserve": (lambda i: with_section(i, 21, 1, bytes([0x3C, 1, 3, 0, 0, 0, 0])), "no reserve to watch"),
    "a face with a page of four": (lambda i: with_section(i, 21, 1, bytes([0x3C, 1, 1, 4, 0, 0, 0])), "a page of a form"),
    "a face with an empty large page": (lambda i: with_section(i, 21, 1, bytes([0x3C, 1, 1, 0, 0, 0, 0])), "a page of a form"),
    "a face without its readout": (lambda i: with_section(i, 21, 1, bytes([0x3C, 1, 1, 1, 0, 0, 0])), "a readout is not there"),
    "another board": (lambda i: with_section(i, 1, 1, b"\x01x\x04nano"), "for a board nano, this is rp2040"),
}  # fmt: skip


@pytest.mark.parametrize("change, reason", CONTAINERS.values(), ids=CONTAINERS)
def test_container_refused(change: Callable[[bytes], bytes], reason: str, small: bytes) -> None:
    with pytest.raises(TableError, match=reason):
        Table(change(small))


def test_truncated_anywhere(small: bytes) -> None:
    for length in range(len(small)):
        with pytest.raises(TableError):
            Table(small[:length])


def test_every_flipped_bit(small: bytes) -> None:
    for bit in range(8 * len(small)):
        damaged = bytearray(small)
        damaged[bit >> 3] ^= 1 << (bit & 7)
        with pytest.raises(TableError):
            Table(damaged)


@pytest.mark.parametrize("payload", [b"", b"a", b"abcd", bytes(1000)], ids=len)
def test_an_unknown_section_that_is_not_critical_is_skipped(payload: bytes, small: bytes) -> None:
    read = Table(with_section(with_section(small, 99, 0, payload), 3000, 2, payload))
    assert [r.name for r in read.dimmers] == ["glare shield"]


# what a right container may hold all the same


def curve_through(*points: tuple[int, int]) -> "Curve":
    return make_curve(array("i", [x for x, _ in points]), array("i", [y for _, y in points]))


CHANGES: dict[str, tuple[dict[str, object], str]] = {
    "windows out of order": ({"windows": (0, 5000, 4000, 6000)}, "does not cover the fault windows"),
    "windows wider than the curve": ({"windows": (0, 0, 65535, 65535)}, "does not cover the fault windows"),
    "windows of no width": ({"windows": (9000, 9500, 9500, 9600)}, "does not cover the fault windows"),
    "another input's readings": ({"reading_curve": curve_through((0, 0), (9, 45))}, "does not cover the signal"),
    "readings too large": ({"reading_curve": curve_through((0, 0), (32_000, 0), (32_002, 1 << 27))}, "does not fit 31 bits"),
}  # fmt: skip


@pytest.mark.parametrize("change, reason", CHANGES.values(), ids=CHANGES)
def test_input_refused(change: dict[str, object], reason: str, demo: Build) -> None:
    inputs = list(demo.inputs)
    at = [s.input.name for s in inputs].index("reserve line")
    inputs[at] = replace(inputs[at], **change)  # type: ignore[arg-type]
    with pytest.raises(TableError, match=f"reserve line: .*{reason}"):
        Table(pack(demo.box, tuple(inputs), demo.lights))


# bytes of an input's fixed part: where, what, why refused
FIXED = {
    "no such converter": (0, 2, "there is no such converter"),
    "no such channel": (1, 8, "no such converter input"),
    "no such gain": (2, 8, "gain or oversampling out of range"),
    "no such rail": (3, 99, "there is no such rail"),
    "its own rail": (3, 4, "its rail hangs on another input"),
    "a rail that has one": (3, 1, "its rail hangs on another input"),
    "a cold junction without its curve": (4, 0, "too short"),
    "an unknown fault": (7, 9, "names no fault of a sender"),
    "a window that is no fault": (6, 0, "names no fault of a sender"),
    "a window that says what the converter says": (8, 6, "names no fault of a sender"),
    "a rail on another converter": (3, 0, "its rail is on another converter"),
    "an input used twice": (1, 5, "its converter input is used twice"),
}


@pytest.mark.parametrize("offset, value, reason", FIXED.values(), ids=FIXED)
def test_fixed_part_refused(offset: int, value: int, reason: str, demo: Build) -> None:
    at = demo.image.index(b"\x0creserve line") - struct.calcsize(table.INPUT_FIXED)
    assert demo.inputs[4].input.name == "reserve line"
    image = bytearray(demo.image[:-4])
    image[at + offset] = value
    with pytest.raises(TableError, match=reason):
        Table(sealed(bytes(image)))


# a lamp's fixed part: the field, a value, why refused
DIMMER_FIELDS = "kind pin source index knob supply - - off_below on_above by_day on_fault fixed fade play supply_play frequency".split()
LAMP_FIXED = {
    "a pin that drives nothing": ("pin", 4, "pin or frequency"),
    "no frequency": ("frequency", 0, "pin or frequency"),
    "a frequency beyond all bounds": ("frequency", 100_001, "pin or frequency"),
    "no such kind": ("kind", 3, "kind that is not known"),
    "follows what there is not": ("source", 4, "kind that is not known"),
    "no such knob": ("index", 1, "what it follows is not there"),
    "no such overriding knob": ("knob", 1, "what it follows is not there"),
    "an input where there is none": ("source", light.INPUT, "runs past|too short|breakpoints"),
    "click-off above full": ("on_above", 10_001, "a level is out of range"),
    "click-off upside down": ("off_below", 500, "a level is out of range"),
    "a day's level above full": ("by_day", 10_001, "a level is out of range"),
    "a safe level above full": ("on_fault", 10_001, "a level is out of range"),
    "a fixed level above full": ("fixed", 10_001, "a level is out of range"),
}


@pytest.mark.parametrize("field, value, reason", LAMP_FIXED.values(), ids=LAMP_FIXED)
def test_lamp_refused(field: str, value: int, reason: str, small: bytes) -> None:
    size = struct.calcsize(table.DIMMER_FIXED)
    at = small.index(b"\x0cglare shield") - size
    values = list(struct.unpack_from(table.DIMMER_FIXED, small, at))
    values[DIMMER_FIELDS.index(field)] = value
    changed = small[:at] + struct.pack(table.DIMMER_FIXED, *values) + small[at + size : -4]
    with pytest.raises(TableError, match=reason):
        Table(sealed(changed))


# a curve of the glare shield's, one after the other: what is wrong, why refused
CURVES: dict[str, tuple[int, str]] = {
    "a knob that is not covered": (0, "its curve does not cover it"),
    "levels that are not covered": (1, "does not cover all levels"),
}


@pytest.mark.parametrize("number, reason", CURVES.values(), ids=CURVES)
def test_light_curve_refused(number: int, reason: str, small: bytes) -> None:
    """Its last breakpoint brought down to one below the end of what it must cover."""
    read = Table(small)
    curve, end = ((read.knobs[0].curve, read.knobs[0].highest), (read.dimmers[0].curve, light.FULL))[number]
    n = len(curve[1])
    packed = struct.pack(f"<{n}i", *curve[0][:n])
    shorter = struct.pack(f"<{n}i", *curve[0][: n - 1], end - 1)
    assert small.count(packed) == 1
    with pytest.raises(TableError, match=reason):
        Table(sealed(small[:-4].replace(packed, shorter)))


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    changes=st.lists(st.tuples(st.integers(0, 10**6), st.integers(0, 255)), min_size=1, max_size=4),
    counts=st.lists(st.integers(0, 65535), min_size=8, max_size=8),
)
def test_whatever_is_sealed_runs_or_is_refused(
    changes: list[tuple[int, int]], counts: list[int], demo: Build
) -> None:
    """Bytes changed and the CRC put right: refused, or every input takes any count and stays within 31 bits, and the lights run."""
    image = bytearray(demo.image[:-4])
    for at, value in changes:
        image[8 + at % (len(image) - 8)] = value
    try:
        read = Table(sealed(bytes(image)))
    except TableError:
        return
    for record in read.inputs:
        channel = Sampled(record)
        for count in counts:
            channel.step(count, 1000)
            assert all(abs(n) < 1 << 30 for n in channel.said)
    run_lights(read, counts)


def run_lights(read: Table, counts: list[int]) -> None:
    """Anything may stand on the pins: no exception, duties of 16 bits, levels within their range."""
    channels = make_channels(read.inputs, [0])
    lighting = light.Lighting(read, channels)
    for turn in range(12 * len(counts)):
        count = counts[turn % len(counts)]
        for knob in lighting.knobs:
            knob.take(count)
        for number, channel in enumerate(channels):
            readings = channel.record.reading_curve[1]
            low, high = min(readings), max(readings)
            channel.said[:] = [
                0 if (count + number) % 7 else 1,
                count,
                0,
                low + (high - low) * count // 65535,
            ]
        for switch in lighting.switches:
            switch.take(count & 1)
        lighting.step()
        for dimmer in lighting.dimmers:
            assert 0 <= dimmer.duty <= 65535 and 0 <= dimmer.level <= light.FULL
            assert abs(dimmer.faded) < 1 << 30


# the slots


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "tables"


def put(folder: Path, slot: str, sequence: int, image: bytes) -> None:
    folder.mkdir(exist_ok=True)
    (folder / slot).write_bytes(slot_header(sequence) + image)


def named(demo: Build, name: str) -> bytes:
    return build(replace(alone(demo.box), name=name)).image


@pytest.fixture(scope="module")
def old(demo: Build) -> bytes:
    return named(demo, "old")


@pytest.fixture(scope="module")
def new(demo: Build) -> bytes:
    return named(demo, "new")


def begin(store: Store, image: bytes, crc: int | None = None) -> None:
    store.begin(len(image), Table(image).crc if crc is None else crc, len(packed(image)))


def pieces(content: bytes) -> Iterator[tuple[int, bytes]]:
    for number in range(0, (len(content) + PIECE - 1) // PIECE):
        yield number, content[number * PIECE : (number + 1) * PIECE]


def send(store: Store, image: bytes, crc: int | None = None) -> None:
    begin(store, image, crc)
    for number, piece in pieces(packed(image)):
        store.piece(number, piece)


def running(folder: Path) -> tuple[str, str, int]:
    """Name, slot and sequence of what a box started now would run."""
    store = Store(str(folder))
    return store.table.name if store.table is not None else "", store.slot, store.sequence


@pytest.mark.parametrize("newer, older", [SLOTS, SLOTS[::-1]])
def test_the_newest_slot_counts(newer: str, older: str, folder: Path, old: bytes, new: bytes) -> None:
    put(folder, newer, 7, new)
    assert running(folder) == ("new", newer, 7)
    put(folder, older, 6, old)
    assert running(folder) == ("new", newer, 7)
    assert Store(str(folder)).notice == ""
    put(folder, older, 300, old)  # by number, not by byte
    assert running(folder) == ("old", older, 300)


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda c: b"",
    "half of it": lambda c: c[: len(c) // 2],
    "its header alone": lambda c: c[:12],
    "slot header": lambda c: b"SLOP" + c[4:],
    "sequence": lambda c: c[:5] + bytes([c[5] ^ 1]) + c[6:],
    "image magic": lambda c: c[:12] + b"XXXX" + c[16:],
    "one bit in the middle": lambda c: c[:100] + bytes([c[100] ^ 16]) + c[101:],
    "last byte": lambda c: c[:-1] + bytes([c[-1] ^ 1]),
    "a byte more": lambda c: c + b"\x00",
    "erased flash": lambda c: b"\xff" * len(c),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_damaged_slots(damage: Callable[[bytes], bytes], folder: Path, old: bytes, new: bytes) -> None:
    put(folder, "slot_a", 6, old)
    put(folder, "slot_b", 7, new)
    (folder / "slot_b").write_bytes(damage((folder / "slot_b").read_bytes()))
    store = Store(str(folder))
    assert store.table is not None and store.table.name == "old"
    assert (store.slot, store.sequence) == ("slot_a", 6)
    assert store.notice.startswith("slot_b: ")
    send(store, new)
    store.verify()
    assert store.commit(Table(new).crc) == "slot_b"  # the sound one stays
    (folder / "slot_b").write_bytes(damage(slot_header(7) + new))
    (folder / "slot_a").write_bytes(damage((folder / "slot_a").read_bytes()))
    store = Store(str(folder))
    assert (store.table, store.slot, store.sequence) == (None, "", 0)
    assert "slot_a: " in store.notice and "slot_b: " in store.notice


def test_nothing_there(folder: Path) -> None:
    store = Store(str(folder))
    assert (store.table, store.slot, store.sequence, store.notice) == (None, "", 0, "")


def test_one_image_after_the_other(folder: Path, old: bytes, new: bytes) -> None:
    """Each goes over the older slot; what runs stays until the next start."""
    for turn, (image, name) in enumerate([(old, "old"), (new, "new"), (old, "old"), (new, "new")], 1):
        store = Store(str(folder))
        before = running(folder)
        send(store, image)
        assert running(folder) == before
        assert store.verify() == (len(image), Table(image).crc)
        assert running(folder) == before
        slot = store.commit(Table(image).crc)
        assert (store.table.name if store.table else "", store.slot) == before[:2]
        assert running(folder) == (name, slot, turn)
        assert slot != before[1]
    assert sorted(p.name for p in folder.iterdir()) == ["slot_a", "slot_b"]


def test_every_request_may_be_repeated(folder: Path, old: bytes, new: bytes) -> None:
    put(folder, "slot_a", 6, old)
    store, crc = Store(str(folder)), Table(new).crc
    send(store, old)
    send(store, new)  # begun anew
    for number, piece in reversed(list(pieces(packed(new)))):  # and again, in any order
        store.piece(number, piece)
    assert store.verify() == store.verify() == (len(new), crc)
    assert store.commit(crc) == store.commit(crc) == "slot_b"
    assert running(folder) == ("new", "slot_b", 7)
    assert store.verify() == (len(new), crc)
    assert store.commit(crc) == "slot_b"
    assert running(folder) == ("new", "slot_b", 7)
    send(store, old)  # another one before the restart goes over the same slot: the one that runs stays
    store.verify()
    assert store.commit(Table(old).crc) == "slot_b"
    assert Store(str(folder)).sequence == 7
    assert (folder / "slot_a").read_bytes() == slot_header(6) + old


def incomplete(store: Store, image: bytes) -> None:
    begin(store, image)
    store.piece(*list(pieces(packed(image)))[-1])
    store.verify()


def damaged_on_the_way(store: Store, image: bytes) -> None:
    send(store, image)
    store.piece(0, bytes(PIECE))
    store.verify()


def another_image(store: Store, image: bytes) -> None:
    """Packed and whole, but damaged before that."""
    spoilt = bytearray(image)
    spoilt[100] ^= 1
    content = packed(bytes(spoilt))
    store.begin(len(image), Table(image).crc, len(content))
    for number, piece in pieces(content):
        store.piece(number, piece)
    store.verify()


def of_another_length(store: Store, image: bytes, more: int) -> None:
    content = packed(image)
    store.begin(len(image) + more, Table(image).crc, len(content))
    for number, piece in pieces(content):
        store.piece(number, piece)
    store.verify()


def announced_otherwise(store: Store, image: bytes) -> None:
    send(store, image)
    send(store, image, 0x12345678)
    store.verify()


def another_committed(store: Store, image: bytes) -> None:
    send(store, image)
    store.verify()
    store.commit(0x12345678)


def never_verified(store: Store, image: bytes) -> None:
    send(store, image)
    store.commit(Table(image).crc)


def begun_again_after_verify(store: Store, image: bytes) -> None:
    send(store, image)
    store.verify()
    begin(store, image)
    store.commit(Table(image).crc)


STEPS: dict[str, tuple[Callable[[Store, bytes], object], str]] = {
    "verify before begin": (lambda s, i: s.verify(), "no table was begun"),
    "piece before begin": (lambda s, i: s.piece(0, b""), "no table was begun"),
    "commit before anything": (lambda s, i: s.commit(Table(i).crc), "no image with that CRC was verified"),
    "too small": (lambda s, i: s.begin(15, 0, 100), "16 to 16384 bytes, not 15"),
    "too large": (lambda s, i: s.begin(16385, 0, 100), "16 to 16384 bytes, not 16385"),
    "below nought": (lambda s, i: s.begin(-1, 0, 100), "not -1"),
    "incomplete": (incomplete, "piece 0 is missing"),
    "packed into nothing": (lambda s, i: s.begin(100, 0, 7), "packed into 8 to 16384 bytes, not 7"),
    "packed into too much": (lambda s, i: s.begin(100, 0, 16385), "not 16385"),
    "damaged on the way": (damaged_on_the_way, "does not unpack"),
    "damaged before": (another_image, "what was stored cannot run: its CRC is wrong"),
    "longer than announced": (lambda s, i: of_another_length(s, i, -1), "does not unpack to"),
    "shorter than announced": (lambda s, i: of_another_length(s, i, 1), "does not unpack to"),
    "another CRC announced": (announced_otherwise, "announced was 12345678"),
    "another CRC committed": (another_committed, "no image with that CRC was verified"),
    "never verified": (never_verified, "no image with that CRC was verified"),
    "begun again after verify": (begun_again_after_verify, "no image with that CRC was verified"),
}


@pytest.mark.parametrize("act, reason", STEPS.values(), ids=STEPS)
def test_write_refused(
    act: Callable[[Store, bytes], object], reason: str, folder: Path, old: bytes, new: bytes
) -> None:
    put(folder, "slot_a", 6, old)
    before = (folder / "slot_a").read_bytes()
    with pytest.raises(StoreError, match=reason):
        act(Store(str(folder)), new)
    assert running(folder) == ("old", "slot_a", 6)
    assert (folder / "slot_a").read_bytes() == before and not (folder / "slot_b").exists()


def test_the_same_table_begun_again_is_stored_again(folder: Path, old: bytes, new: bytes) -> None:
    """What was committed has been damaged meanwhile: nothing is taken for stored that is not."""
    put(folder, "slot_a", 6, old)
    store = Store(str(folder))
    send(store, new)
    store.verify()
    store.commit(Table(new).crc)
    (folder / "slot_b").write_bytes(b"damaged")
    send(store, new)
    assert store.verify() == (len(new), Table(new).crc)
    store.commit(Table(new).crc)
    assert running(folder)[:2] == ("new", "slot_b")


@pytest.mark.parametrize("slots", [0, 1, 2])
def test_parts_of_both_tables(slots: int, folder: Path, old: bytes, new: bytes) -> None:
    for number, image in enumerate((old, new)[:slots]):
        put(folder, SLOTS[number], number + 1, image)
    store = Store(str(folder))
    for older, image in ((False, (b"", old, new)[slots]), (True, (b"", b"", old)[slots])):
        parts = [store.part(number, older) for number in range(len(image) // PIECE + 2)]
        assert b"".join(parts) == image and parts[-1] == b""


def test_a_slot_far_too_long_is_passed_over(
    folder: Path, old: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And never read whole: it would not fit the box's memory."""
    put(folder, "slot_a", 6, old)
    (folder / "slot_b").write_bytes(bytes(1_000_000))
    store = Store(str(folder))
    assert (store.slot, store.notice) == ("slot_a", "slot_b: its slot header is damaged")
    content = store._read("slot_b")
    assert content is not None and len(content) < 20_000


def test_distrusted_it_starts_with_neither(folder: Path, old: bytes, new: bytes) -> None:
    """With the safe one instead; and the next table goes where the one lies with which it does not start, or one goes back."""
    put(folder, "slot_a", 6, old)
    put(folder, "slot_b", 7, new)
    put(folder, SAFE, 1, old)
    store = Store(str(folder), distrusted=True)
    assert (store.slot, store.older, store.notice) == (
        SAFE,
        Table(old).crc,
        "it does not start with the table",
    )
    send(store, new)
    store.verify()
    assert store.commit(Table(new).crc) == "slot_b"
    assert running(folder) == ("new", "slot_b", 8)
    store = Store(str(folder), distrusted=True)
    assert store.revert(Table(old).crc) == "slot_a"
    assert running(folder) == ("old", "slot_a", 9)


PIECES = {
    "too short": (0, 167, "piece 0 has 167 bytes, not 168"),
    "too long": (0, 169, "piece 0 has 169 bytes, not 168"),
    "the last one too long": (1, 168, "piece 1 has 168 bytes, not 32"),
    "beyond the end": (2, 168, "there is no piece 2"),
    "beyond the end, and empty": (2, 0, "there is no piece 2"),
    "before the start": (-1, 168, "there is no piece -1"),
}


@pytest.mark.parametrize("number, size, reason", PIECES.values(), ids=PIECES)
def test_piece_refused(number: int, size: int, reason: str, folder: Path) -> None:
    store = Store(str(folder))
    store.begin(400, 0, 200)
    with pytest.raises(StoreError, match=reason):
        store.piece(number, bytes(size))


class Troubled(Store):
    """A disk that does not read a slot, or has no room."""

    unreadable: tuple[str, ...] = ()
    full = False

    def _read(self, name: str) -> bytes | None:
        if name in self.unreadable:
            raise OSError(5, "EIO")
        return super()._read(name)

    def _stored(self, image: bytes | bytearray | memoryview) -> Table:
        if self.full:
            Path(self._path(INCOMING)).write_bytes(b"half")
            raise OSError(28, "ENOSPC")
        return super()._stored(image)


def test_a_slot_that_cannot_be_read_is_told(folder: Path, old: bytes, new: bytes) -> None:
    put(folder, "slot_a", 6, old)
    put(folder, "slot_b", 7, new)
    Troubled.unreadable = ("slot_b",)
    store = Troubled(str(folder))
    assert (store.slot, store.notice) == ("slot_a", "slot_b: cannot be read")


def test_a_second_verify_that_fails_leaves_nothing_to_commit(folder: Path, old: bytes, new: bytes) -> None:
    put(folder, "slot_a", 6, old)
    Troubled.unreadable = ()
    store = Troubled(str(folder))
    send(store, new)
    store.verify()
    store.full = True
    assert store.verify() == (len(new), Table(new).crc)  # asked again: it stands there
    send(store, new)
    with pytest.raises(OSError):
        store.verify()
    with pytest.raises(StoreError, match="no image with that CRC was verified"):
        store.commit(Table(new).crc)
    assert running(folder) == ("old", "slot_a", 6)


@pytest.mark.parametrize("newest", SLOTS)
def test_a_table_nobody_can_run_now_does_not_come_back_later(
    folder: Path, old: bytes, new: bytes, newest: str
) -> None:
    """Two tables of a newer firmware; the older goes, and what is flashed now counts for more than the other."""
    older = SLOTS[1 - SLOTS.index(newest)]
    strange = with_section(old, 99, 1, b"")
    put(folder, newest, 9, strange)
    put(folder, older, 8, strange)
    store = Store(str(folder))
    assert (store.table, store.slot) == (None, "")
    send(store, new)
    store.verify()
    assert store.commit(Table(new).crc) == older
    assert running(folder) == ("new", older, 10)
    put(folder, newest, 9, old)  # as a newer firmware would see it
    assert running(folder) == ("new", older, 10)


def test_what_lies_beside_the_slots_never_runs(folder: Path, old: bytes, new: bytes) -> None:
    put(folder, "slot_a", 6, old)
    put(folder, INCOMING, 7, new)
    assert running(folder) == ("old", "slot_a", 6)


# the line

FIELDS = st.lists(
    st.text(st.characters(min_codepoint=32, max_codepoint=126, exclude_characters="|"), max_size=40),
    min_size=2,
    max_size=5,
)


@settings(derandomize=True, deadline=None)
@given(fields=FIELDS, kind=st.sampled_from([REQUEST, ANSWER]))
def test_what_is_framed_comes_back(fields: list[str], kind: str) -> None:
    line = frame(kind, fields)
    assert unframe(kind, line.encode()) == fields
    assert unframe({REQUEST: ANSWER, ANSWER: REQUEST}[kind], line.encode()) is None


def test_layout_of_a_line() -> None:
    """The CRC of the catalogue covers all before it, in eight hex digits."""
    line = frame("?", ["17", "values", "0"])
    assert line == "?17|values|0|%08x" % binascii.crc32(b"?17|values|0|")


def test_any_changed_character_is_refused() -> None:
    line = frame(ANSWER, ["a1", "ok", "12345,,,open", "52800,33000,330,"]).encode()
    for at in range(len(line)):
        for character in set(range(256)) - {line[at]}:
            assert unframe(ANSWER, line[:at] + bytes([character]) + line[at + 1 :]) is None


LINES: dict[str, bytes] = {
    "empty": b"",
    "its kind alone": b"=",
    "a CRC alone": b"=%08x" % binascii.crc32(b"="),
    "no bar before the CRC": b"=a" + b"%08x" % binascii.crc32(b"=a"),
    "a CRC in capitals": frame(ANSWER, ["a", "ok"])[:-8].encode() + frame(ANSWER, ["a", "ok"])[-8:].upper().encode(),
    "a character less": frame(ANSWER, ["a", "ok"])[:-1].encode(),
    "a character more": frame(ANSWER, ["a", "ok"]).encode() + b" ",
    "two lines": (frame(ANSWER, ["a", "ok"]) + "\n" + frame(ANSWER, ["a", "ok"])).encode(),
    "prompt before it": b">>> " + frame(ANSWER, ["a", "ok"]).encode(),
}  # fmt: skip


@pytest.mark.parametrize("line", LINES.values(), ids=LINES)
def test_no_line(line: bytes) -> None:
    assert unframe(ANSWER, line) is None


UNFIT = {
    "a newline": "a\nb",
    "Ctrl-C": "a\x03",
    "an umlaut": "\u00fc",
    "delete": "\x7f",
    "too long": 300 * "a",
}


@pytest.mark.parametrize("field", UNFIT.values(), ids=UNFIT)
def test_what_cannot_travel(field: str) -> None:
    with pytest.raises(ValueError):
        frame(REQUEST, ["1", field])


def heard(reader: LineReader, data: bytes) -> list[bytes]:
    return [bytes(reader.line()) for byte in data if reader.take(byte)]


def of_length(length: int) -> bytes:
    """A sealed line of that many characters, whether or not it may be sent."""
    body = b"=a|" + b"x" * (length - 12) + b"|"
    return body + b"%08x" % binascii.crc32(body)


def test_the_longest_line() -> None:
    assert LONGEST == 256
    longest = frame(ANSWER, ["a", "x" * (LONGEST - 12)])
    assert longest.encode() == of_length(256)
    assert unframe(ANSWER, longest.encode()) == ["a", "x" * (LONGEST - 12)]
    with pytest.raises(ValueError, match="257 characters"):
        frame(ANSWER, ["a", "x" * (LONGEST - 11)])
    assert unframe(ANSWER, of_length(257)) is None
    reader, good = LineReader(), of_length(20)
    assert heard(reader, longest.encode() + b"\n" + good + b"\n") == [longest.encode(), good]
    assert heard(reader, of_length(257) + b"\n" + good + b"\n") == [good]
    assert heard(reader, of_length(255) + b"\n") == [of_length(255)]


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\n\n\r"], ids=repr)
def test_line_ends(end: bytes) -> None:
    assert heard(LineReader(), b"ab" + end + b"c" + end) == [b"ab", b"c"]


NOISE = {
    "random": bytes(random.Random(7).choices(range(256), k=10_000)),
    "random without line ends": bytes(random.Random(8).choices(range(32, 256), k=10_000)),
    "noughts": bytes(10_000),
    "ones": b"\xff" * 10_000,
    "line ends": b"\r\n" * 5_000,
    "openings": b"?1|" * 3_333,
    "good lines cut short": (frame(REQUEST, ["1", "hello"])[:-1] + "\n").encode() * 400,
}


@pytest.mark.parametrize("noise", NOISE.values(), ids=NOISE)
def test_a_good_line_after_ten_thousand_bytes_of_noise(noise: bytes) -> None:
    reader = LineReader()
    good = frame(REQUEST, ["1", "hello"]).encode()
    lines = heard(reader, noise)
    assert all(len(line) <= LONGEST and unframe(REQUEST, line) is None for line in lines)
    lines = heard(reader, b"\n" + good + b"\n")
    assert lines[-1] == good and unframe(REQUEST, lines[-1]) == ["1", "hello"]
    assert len(reader.buffer) == serial.LONGEST


def test_what_is_verified_is_what_was_stored(tmp_path: Path) -> None:
    """A flash that keeps another byte than it was given is found out, for it is read back."""

    class Forgetful(Store):
        def _read(self, name: str) -> bytes | None:
            content = super()._read(name)
            return content and content[:-20] + b"?" + content[-19:]

    image = build(read_box(DEMO)).image
    store = Forgetful(str(tmp_path))
    send(store, image)
    with pytest.raises(StoreError, match="what was stored cannot run"):
        store.verify()
    with pytest.raises(StoreError):
        store.commit(int.from_bytes(image[-4:], "little"))
