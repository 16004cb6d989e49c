"""Whatever table of the face's sections is sealed: the box refuses it, or runs on it for good, in its small integers.

Each field of each record of the demo's face is set to the ends of what it can hold, its CRC mended. What the box takes is driven with
readings at the ends of what their inputs can say, faults that come and go, the pump on and off.
"""

import struct
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox import alert_records, table
from gaugebox.pins import CONVERTER_PINS
from gaugebox.table import Payload, Table, TableError
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from face_driven import STATES, app_of, ask, drive, ends_of
from interpreters import LOCKED, on_32_bit
from test_table_image import sealed, sections, with_section

GUEST = (Path(__file__).parent / "face_driven.py").read_text()

RECORDS: dict[str, Callable[[Payload], object]] = {
    "INPUT": table.InputRecord,
    "DERIVED": alert_records.DerivedRecord,
    "READOUT": alert_records.ReadoutRecord,
    "CONDITION": alert_records.ConditionRecord,
    "ALERT": alert_records.AlertRecord,
    "BUTTONS": alert_records.ButtonsRecord,
    "RESERVE": alert_records.ReserveRecord,
    "DISAGREE": alert_records.DisagreeRecord,
    "FACE": alert_records.FaceRecord,
    "NEEDLE": alert_records.NeedleRecord,
    "DIMMER": table.DimmerRecord,
}
KINDS = {getattr(table, name): name for name in RECORDS}
REPEATED = {
    "READOUT": (8, 4),
    "FACE": (2, 5),
}  # from where on numbers come again and again: of zones and edges, of pages
WORDS = (0, 1, -1, 255, 2**15, 2**28, 2**29 - 1, 1 - 2**29, 2**29, 2**30 - 1, 2**30, 2**31 - 1, -(2**31))
VALUES = {
    "B": (0, 1, 3, 77, 128, 251, 255),
    "H": (0, 1, 255, 2**15, 2**16 - 1),
    "i": WORDS,
    "I": (*(n for n in WORDS if n >= 0), 2**32 - 1),
}  # fmt: skip
SIZES = {"B": 1, "H": 2, "i": 4, "I": 4}


@dataclass(frozen=True)
class Field:
    """One number of a record: where it stands in the image. name: kind of section, how manieth number of it, form."""

    name: str
    at: int
    form: str


class Noted(Payload):
    """Notes what of it was read, and as what."""

    def __init__(self, data: memoryview) -> None:
        super().__init__(data)
        self.read: list[tuple[int, str]] = []

    def fixed(self, form: str) -> tuple[int, ...]:
        at = self.at
        for letter in form[1:]:
            self.read.append((at, letter))
            at += SIZES[letter]
        return super().fixed(form)

    def curve(self, turns: bool = False) -> Any:
        made = super().curve(turns)
        count = len(made[1])
        ys = self.at - 4 * count
        self.read += [(place, "i") for place in (ys - 4 * count, ys - 4, ys, self.at - 4)]
        return made


NEEDLE = """
[[needle]]
name = "fuel needle"
pin = 6
follows = "usable fuel"
points = [["0 US gal", "10 %"], ["36 US gal", "90 %"]]
"""


def image_of(text: str) -> bytes:
    with TemporaryDirectory() as folder:
        box = Path(folder) / "box.toml"
        box.write_text(text)
        return build(read_box(box)).image


@cache
def image() -> bytes:
    return image_of(DEMO.read_text() + NEEDLE)


@cache
def fields() -> tuple[Field, ...]:
    found = []
    whole = memoryview(image())
    for kind, at, length in sections(image()):
        if kind in KINDS:
            noted = Noted(whole[at : at + length])
            RECORDS[KINDS[kind]](noted)
            first, period = REPEATED.get(KINDS[kind], (len(noted.read), 1))
            for number, (place, form) in enumerate(noted.read):
                if number > first:
                    number = first + (number - first) % period
                found.append(Field(f"{KINDS[kind]} {number} {form}", at + place, form))
    return tuple(found)


def changed(before: bytes, changes: list[tuple[Field, int]]) -> bytes:
    content = bytearray(before[:-4])
    for field, value in changes:
        struct.pack_into("<" + field.form, content, field.at, value)
    return sealed(bytes(content))


def read_or_refused(content: bytes) -> Table | None:
    try:
        return Table(content)
    except TableError:
        return None


def test_every_number_of_the_face_is_among_them() -> None:
    names = {field.name for field in fields()}
    assert {name.split()[0] for name in names} == set(RECORDS)
    assert {
        f"RESERVE {k} {'B' if k < 4 else 'i'}" for k in range(4 + len(alert_records.RESERVE_NUMBERS))
    } <= names
    assert {f"DISAGREE {k} i" for k in range(6, 6 + len(alert_records.DISAGREE_NUMBERS))} <= names


# the box here


LEAST, BEYOND = -(2**30), 2**30


class Small(int):
    """A number that is the box's small integer, and so is all that is made of it."""

    __slots__ = ()


def small(n: Any) -> Any:
    if isinstance(n, int) and not isinstance(n, bool):
        assert LEAST <= n < BEYOND, f"{int(n)} is no small integer"
        return Small(n)
    return n


def _keeping(name: str) -> Callable[..., Any]:
    """That operation of two int, its result held; millions are done, so what is most often so comes first."""
    plain, made = getattr(int, name), int.__new__

    def kept(one: Any, other: Any) -> Any:
        n = plain(one, other)
        return made(Small, n) if n.__class__ is int and LEAST <= n < BEYOND else small(n)

    return kept


for _name in "add sub mul floordiv mod lshift rshift and or xor".split():
    for _side in (f"__{_name}__", f"__r{_name}__"):
        setattr(Small, _side, _keeping(_side))
Small.__neg__ = lambda n: small(int.__neg__(n))  # type: ignore[method-assign]
Small.__abs__ = lambda n: small(int.__abs__(n))  # type: ignore[method-assign]


class Canvas:
    """Takes what is drawn, and looks at its numbers."""

    def __init__(self, dots: bytearray, width: int, height: int) -> None:
        pass

    def _draw(self, *numbers: Any) -> None:
        for n in numbers:
            if isinstance(n, int) and not -(2**15) < n < 2**15:
                raise AssertionError(f"drawn at {numbers}")

    fill = fill_rect = rect = hline = vline = pixel = blit = _draw


@pytest.fixture(scope="module", autouse=True)
def board_modules() -> Iterator[None]:
    """gaugebox.app names board.py, which names the chip's own modules; here nothing of them is called."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("framebuf", "machine", "micropython"):
            if name not in sys.modules:
                patch.setitem(sys.modules, name, ModuleType(name))
        import gaugebox.app  # noqa: F401

        yield


def run(read: Table) -> bytearray:
    """What of all states it has been in."""
    for record in [read.reserve, read.face, *read.inputs, *read.derived, *read.readouts, *read.conditions, *read.alerts, *read.gauges,
        *read.needles, *read.dimmers]:  # fmt: skip
        for name, value in vars(record).items() if record is not None else ():
            setattr(record, name, small(value))
    app = app_of(read, Canvas)
    ask(app)
    ends = [[small(end) for end in both] for both in ends_of(app)]
    seen = bytearray(STATES)
    drive((app, ends, seen))
    ask(app)
    for where, number in numbers_of(app):
        assert -(2**30) <= number < 2**30, where
    return seen


def numbers_of(thing: Any, where: str = "app", seen: set[int] | None = None) -> Iterator[tuple[str, int]]:
    """Every whole number that hangs on an object of the box."""
    seen = set() if seen is None else seen
    if isinstance(thing, int):
        yield where, thing
    elif id(thing) not in seen:
        seen.add(id(thing))
        inside: Any = ()
        if isinstance(thing, (list, tuple)):
            inside = enumerate(thing)
        elif isinstance(thing, dict):
            inside = thing.items()
        elif type(thing).__module__.startswith("gaugebox"):
            inside = vars(thing).items()
        for name, one in inside:
            if name not in ("crc", "store", "chips"):
                yield from numbers_of(one, f"{where}.{name}", seen)


def run_if_taken(content: bytes, what: object) -> bool:
    read = read_or_refused(content)
    if read is None:
        return False
    try:
        run(read)
    except Exception as problem:
        raise AssertionError(f"taken, and does not run: {what}") from problem
    return True


def test_the_demo_runs_through_every_state() -> None:
    assert list(run(Table(image()))) == [1] * STATES


@pytest.mark.parametrize("kind", RECORDS)
def test_each_field_at_its_ends(kind: str) -> None:
    """Each in each record by itself is judged; what is taken, runs: that field in all records at once where they are taken together."""
    mine = [field for field in fields() if field.name.split()[0] == kind]
    for name in dict.fromkeys(field.name for field in mine):
        for value in VALUES[next(field.form for field in mine if field.name == name)]:
            taken = [[(field, value)] for field in mine if field.name == name]
            taken = [one for one in taken if read_or_refused(changed(image(), one))]
            together = sum(taken, [])
            if not taken or run_if_taken(changed(image(), together), together):
                continue
            for one in taken:
                assert run_if_taken(changed(image(), one), one)


def section(kind: int) -> bytes:
    """The payload of the first one of that kind."""
    return next(image()[at : at + length] for found, at, length in sections(image()) if found == kind)


MOST: dict[str, tuple[int, int, Callable[[Table], int]]] = {
    "readouts": (table.READOUT, alert_records.MOST_READOUTS, lambda read: len(read.readouts)),
    "derived": (table.DERIVED, alert_records.MOST_DERIVED, lambda read: len(read.derived)),
    "conditions": (table.CONDITION, alert_records.MOST_CONDITIONS, lambda read: len(read.conditions)),
    "alerts": (table.ALERT, alert_records.MOST_ALERTS, lambda read: len(read.alerts)),
    "gauges": (table.DISAGREE, alert_records.MOST_GAUGES, lambda read: len(read.gauges)),
    "knobs": (table.KNOB, len(CONVERTER_PINS), lambda read: len(read.knobs)),
}


@pytest.mark.parametrize("kind, most, there", MOST.values(), ids=MOST)
def test_as_many_as_the_box_takes_and_one_more(kind: int, most: int, there: Callable[[Table], int]) -> None:
    content = image()
    for _ in range(most - there(Table(content))):
        content = with_section(content, kind, 1, section(kind))
    assert run_if_taken(content, most)
    with pytest.raises(TableError, match="box takes"):
        Table(with_section(content, kind, 1, section(kind)))


@settings(derandomize=True, deadline=None, max_examples=60)
@given(data=st.data())
def test_whatever_is_sealed_runs_or_is_refused(data: st.DataObject) -> None:
    """Some fields at once, also to anything else they can hold, kept one by one where the box takes them."""
    content = image()
    for field in data.draw(st.lists(st.sampled_from(fields()), min_size=1, max_size=12)):
        bits = 8 * SIZES[field.form]
        low, high = (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1) if field.form == "i" else (0, 2**bits - 1)
        value = data.draw(st.sampled_from(VALUES[field.form]) | st.integers(low, high))
        other = changed(content, [(field, value)])
        content = other if read_or_refused(other) else content
    run_if_taken(content, "see above")


# the box's interpreter


def corner(largest: bool, seed: int) -> bytes:
    """Every field, in any order, at the largest or the least value with which the box takes it beside those before."""
    content = image()
    order = list(fields())
    Random(seed).shuffle(order)
    for field in order:
        for value in sorted(VALUES[field.form], reverse=largest):
            other = changed(content, [(field, value)])
            if read_or_refused(other):
                content = other
                break
    return content


CORNERS = {"largest": (True, 1), "least": (False, 1), "largest, another order": (True, 2), "least, another order": (False, 2)}  # fmt: skip
# the demo in litres, as far as `check` lets them go: 50,000 units an hour of transfer, 19,000 of burn, 2**18 of fuel
LITRES = (("US gal", "l"), ('capacity = "36 l"', 'capacity = "262 l"'), ('holds = "20 l"', 'holds = "262 l"'))
LEGAL: dict[str, tuple[tuple[str, str], ...]] = {
    "fine steps": (
        *LITRES, ('unit = "l"\nstep = 0.5', 'unit = "l"\nstep = 0.05'), ('"right fuel"]\nstep = 0.5', '"right fuel"]\nstep = 0.05'),
        ('step = 0.05\nmarks = [{ yellow = [-18', 'step = 0.5\nmarks = [{ yellow = [-18'), ('["15 l", "35 l"]', '["1 l", "49.5 l"]'),
        ('burn = ["7 l", "9 l"]', 'burn = ["0 l", "19 l"]'),
    ),
    "much of it": (
        *LITRES, ('["15 l", "35 l"]', '["10 l", "495 l"]'), ('burn = ["7 l", "9 l"]', 'burn = ["1 l", "190 l"]'), ('"262 l"', '"2621 l"'),
    ),
}  # fmt: skip


def legal(name: str) -> bytes:
    text = DEMO.read_text() + NEEDLE
    for old, new in LEGAL[name]:
        assert old in text, old
        text = text.replace(old, new)
    return image_of(text)


BOXES: Mapping[str, Callable[[], bytes]] = (
    {"demo": image}
    | {name: partial(corner, *how) for name, how in CORNERS.items()}
    | {name: partial(legal, name) for name in LEGAL}
)


@pytest.mark.parametrize("name", BOXES)
def test_they_run_here(name: str) -> None:
    assert run_if_taken(BOXES[name](), name)


ON_THE_BOX = """
import framebuf
from gaugebox.table import Table

def canvas(dots, width, height):
    return framebuf.FrameBuffer(dots, width, height, framebuf.MONO_VLSB)

app = app_of(Table({image!r}), canvas)
ask(app)
# the words of a disagree alert are made when they are new: that takes heap, and is meant to

class Nothing:
    def __getitem__(self, what):
        return b""

nothing = Nothing()
app.face.words = [(head, nothing if tails is None else tails) for head, tails in app.face.words]
seen = bytearray(STATES)
locked("driven", drive, (app, ends_of(app), seen))
ask(app)
print(list(seen))
"""


@pytest.mark.parametrize("name", BOXES)
def test_no_heap_on_the_box(name: str) -> None:
    """An integer beyond 31 bits would need the heap."""
    said = on_32_bit(LOCKED + GUEST + ON_THE_BOX.format(image=BOXES[name]()))
    assert said.splitlines()[0] == "driven: no heap"
