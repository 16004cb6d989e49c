"""The loop as a whole, tick by tick, in this process: gaugebox.app on the virtual chip, with a stand-in for board.py only."""

import math
from pathlib import Path
from typing import Any

import pytest

from gaugebox.flight_log import FlightLog
from gaugebox.log import AT_START, FAILED, POWER, RUNNING, Log
from gaugebox.measure import CONVERTER, FAULT, FAULTS, RAIL, READING, SIGNAL
from gaugebox.store import SLOT_HEADER_SIZE, SLOTS, Store, slot_header
from gaugelight.application import application
from gaugelight.build import Build, build
from gaugelight.boxfile import read_box
from gaugelight.filters import behind_divider, ripple
from gaugelight.plant import Aircraft
from gaugelight.virtual.in_process import BoardInProcess, ChipInProcess
from gaugelight.virtual.world import Inputs, Outputs
from paper import FrameBuffer

from plain import PLAIN

TICK_S = 0.02
LASTING_S = 10


class StandIn(BoardInProcess):
    """It keeps what it is told."""

    def __init__(self, chip: ChipInProcess) -> None:
        super().__init__(chip)
        self.jumper_closed = True
        self.line_open: list[bool] = []
        self.fed = 0
        self.typed = b""
        self.said: list[str] = []
        self.before = POWER
        self.lasting = 0
        self.kept = (0, 0, 0)  # of the rules, what outlives a hang
        self.doing = AT_START

    def service(self) -> bool:
        return self.jumper_closed

    def lamp(self, pin: int, frequency: int) -> Any:
        return self.machine.PWM(self.machine.Pin(pin), freq=frequency, duty_u16=0)

    def discrete(self, pin: int, level: int) -> Any:
        return self.machine.Pin(pin, self.machine.Pin.OUT, value=level)

    def switch(self, pin: int, on: int) -> Any:
        pull = self.machine.Pin.PULL_DOWN if on else self.machine.Pin.PULL_UP
        return self.machine.Pin(pin, self.machine.Pin.IN, pull)

    def canvas(self, dots: bytearray, width: int, height: int) -> FrameBuffer:
        return FrameBuffer(dots, width, height)

    def open_line(self) -> None:
        self.line_open.append(True)

    def close_line(self) -> None:
        self.line_open.append(False)

    def feed(self) -> None:
        self.fed += 1

    def mark(self, doing: int) -> None:
        self.doing = doing

    def remember(self, on: int, armed: int, key: int) -> None:
        self.kept = on, armed, key

    def remembered(self, key: int) -> tuple[int, int]:
        goes_on = self.before & ~15 in (RUNNING, FAILED) and self.before != POWER
        return self.kept[:2] if goes_on and self.kept[2] == key else (0, 0)

    def lasts(self) -> None:
        self.lasting += 1

    def next_byte(self) -> int:
        if not self.typed:
            return -1
        byte, self.typed = self.typed[0], self.typed[1:]
        return byte

    def say(self, line: str) -> None:
        self.said.append(line)


class Rig:
    def __init__(self, built: Build, app_class: type[Any], folder: str, jumper_closed: bool = True) -> None:
        self.aircraft = Aircraft(built.box)
        self.chip = ChipInProcess(self.aircraft)
        self.board = StandIn(self.chip)
        self.board.jumper_closed = jumper_closed
        self.app = app_class(self.board, Store(folder), Log(folder + "/log"), FlightLog(folder + "/flights"))
        self.channels = {channel.record.name: channel for channel in self.app.channels}
        self.due = self.board.now()

    def tick(self, times: int = 1) -> None:
        for _ in range(times):
            self.app.tick()
            self.due = self.board.later(self.due, 20)
            self.board.wait_until(self.due)

    def reading(self, name: str) -> float:
        channel = self.channels[name]
        return float(channel.said[READING] / 10**channel.record.reading_decimals)

    def fault(self, name: str) -> str | None:
        return FAULTS[self.channels[name].said[FAULT]]


@pytest.fixture(scope="module")
def demo() -> Build:
    return build(read_box(PLAIN))


@pytest.fixture(scope="module")
def app_class() -> type[Any]:
    return application()


@pytest.fixture
def folder(demo: Build, tmp_path: Any) -> str:
    (tmp_path / SLOTS[0]).write_bytes(slot_header(1) + demo.image)
    assert len(slot_header(1)) == SLOT_HEADER_SIZE
    return str(tmp_path)


@pytest.fixture
def rig(demo: Build, app_class: type[Any], folder: str) -> Rig:
    rig = Rig(demo, app_class, folder)
    rig.tick(50)
    assert all(channel.said[FAULT] == 0 for channel in rig.app.channels)
    return rig


FLOATS = ("left fuel", "right fuel", "coolant temperature")


@pytest.mark.parametrize("phase", range(8))
def test_a_rail_that_dies_and_returns_shows_no_wrong_reading(rig: Rig, phase: int) -> None:
    """At whichever tick of the scan it happens: undamped signals stay true until the rail is named, and after it is back."""
    rig.tick(phase)
    for dead in (True, False):
        if dead:
            rig.aircraft.wires["sender rail"] = "shorted"
        else:
            rig.aircraft.wires.clear()
        for _ in range(40):
            rig.tick()
            for name in FLOATS:
                channel = rig.channels[name]
                truth = rig.aircraft.signals[name] * 10**channel.record.signal_decimals
                assert channel.said[FAULT] in (0, RAIL)
                assert channel.said[FAULT] or channel.said[SIGNAL] == pytest.approx(truth, rel=0.005), (
                    name,
                    channel.said[SIGNAL],
                )
        assert {rig.fault(name) for name in FLOATS} == {"rail" if dead else None}


def test_a_silent_converter_is_its_own_inputs_fault_only(rig: Rig) -> None:
    """Named within a second, while all else goes on, and believed again by itself within two of its return."""
    rig.aircraft.silent.add(0x48)
    rig.tick(round(1 / TICK_S))
    for name, channel in rig.channels.items():
        silent = name in (*FLOATS, "sender rail")
        assert channel.said[FAULT] == (CONVERTER if silent else 0), name
    rig.aircraft.signals["hydraulic"] = 20.0
    rig.tick(150)
    assert rig.reading("hydraulic") == pytest.approx(1500, abs=5)
    rig.aircraft.silent.clear()
    rig.aircraft.signals["left fuel"] = 0.0
    rig.tick(round(2 / TICK_S))
    assert all(channel.said[FAULT] == 0 for channel in rig.app.channels)
    # a fault re-seeds the damper: 12 s of damping have not to pass
    assert rig.reading("left fuel") == pytest.approx(0, abs=0.1)


def test_a_broken_wire_is_named_at_once(rig: Rig) -> None:
    """Two samples, in scans of four ticks that are judged at their end: 13 ticks, 260 ms, at the most."""
    rig.aircraft.wires["left fuel"] = "broken"
    rig.tick(13)
    assert rig.fault("left fuel") == "open"
    assert rig.fault("right fuel") is None


def test_damping_takes_its_time_whatever_the_scan(rig: Rig) -> None:
    """12 s: after them a step has come 63.2 % of its way (first-order lag), with a sample each 80 ms."""
    channel = rig.channels["left fuel"]
    before = channel.said[READING]
    rig.aircraft.signals["left fuel"] = 90.0
    rig.tick(round(12 / TICK_S))
    assert (channel.said[READING] - before) / (1800 - before) == pytest.approx(0.632, abs=0.02)


def test_the_knob_moves_lamp_and_dim_request(rig: Rig) -> None:
    """In the tick after it was moved; the fade is what comes then."""
    lamp = rig.app.lighting.dimmers[0]
    rig.aircraft.knobs[27] = 60.0
    rig.tick(2)
    assert rig.chip.latest.pwm[15] == (4000, lamp.duty) and 0 < lamp.level < lamp.target
    assert rig.chip.latest.levels[14] == 1
    rig.tick(200)
    assert rig.chip.latest.pwm[15] == (4000, lamp.duty) and lamp.level == lamp.target > 5500
    rig.aircraft.knobs[27] = 0.0
    rig.tick(2)
    assert 0 < rig.chip.latest.pwm[15][1] == lamp.duty
    assert rig.chip.latest.levels[14] == 0
    rig.tick(200)
    assert rig.chip.latest.pwm[15] == (4000, 0)


@pytest.mark.parametrize("jumper_closed", [True, False])
def test_how_a_start_judges_the_jumper(
    demo: Build, app_class: type[Any], folder: str, jumper_closed: bool
) -> None:
    """Open: in flight from the first moment, so that no 0x03 stops it; closed: Ctrl-C is let in."""
    rig = Rig(demo, app_class, folder, jumper_closed)
    assert rig.app.flight is not jumper_closed
    assert rig.board.line_open == [jumper_closed]


def test_a_jumper_that_bounces_is_still_closed(rig: Rig) -> None:
    for _ in range(20):
        rig.board.jumper_closed = False
        rig.tick(4)
        rig.board.jumper_closed = True
        rig.tick()
    assert not rig.app.flight
    rig.board.jumper_closed = False
    rig.tick(5)
    assert rig.app.flight and rig.board.line_open == [True, False]


def test_each_tick_feeds_the_watchdog_and_drains_the_line(rig: Rig) -> None:
    rig.tick(10)  # one of them writes the log, and drains nothing
    fed = rig.board.fed
    rig.board.typed = b"x" * 200
    rig.tick()
    assert len(rig.board.typed) == 200 - 64
    rig.tick(3)
    assert rig.board.typed == b"" and rig.board.fed == fed + 4


def test_when_the_log_is_written(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """With something new in every tick: a second after the start, ten seconds later, then once a minute."""
    app = rig.app
    written: list[int] = []
    monkeypatch.setattr(app.events, "flush", written.append)
    for tick in range(200 * 50):
        app.seconds = tick // 50
        app._keep_log()
    assert written == [1, 11, 71, 131, 191]


def test_a_start_that_lasts_is_told_once(rig: Rig) -> None:
    """After ten seconds: by then it is no failed one."""
    while rig.app.seconds < LASTING_S - 1:
        rig.tick()
    assert rig.board.lasting == 0
    for _ in range(2):
        rig.tick(60)
        assert rig.board.lasting == 1


def test_a_switch_that_says_in_flight(app_class: type[Any], tmp_path: Path) -> None:
    """By its level, the jumper closed: nothing is written, and Ctrl-C is shut out a second later."""
    box = tmp_path / "switch.toml"
    text = PLAIN.read_text()
    told = '[in_flight]                         # the box is not written to while the alternator charges\nfollows = "bus"\nabove = "13.2 V"\n'
    assert text.count(told) == 1
    box.write_text(text.replace(told, '[in_flight]\nfollows = "panel lights"\n'))
    built = build(read_box(box))
    folder = tmp_path / "tables"
    folder.mkdir()
    (folder / SLOTS[0]).write_bytes(slot_header(1) + built.image)
    rig = Rig(built, app_class, str(folder))
    rig.tick(100)
    assert rig.app.in_flight() == "" and rig.board.line_open == [True]
    rig.aircraft.switches["panel lights"] = True
    rig.tick(60)
    assert rig.app.in_flight() == "in flight: panel lights is on" and rig.board.line_open == [True, False]
    rig.aircraft.switches["panel lights"] = False
    rig.tick(60)
    assert rig.app.in_flight() == "" and rig.app.flight


def test_a_late_loop_does_not_race_to_catch_up(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tick that took 400 ms, as a write to flash may, is followed by ticks 20 ms apart."""
    app, board = rig.app, rig.board
    at: list[int] = []
    tick = app.tick

    def watched() -> None:
        at.append(board.now())
        tick()
        if len(at) == 3:
            board.time.sleep_ms(400)
        if len(at) == 8:
            app.restart_wanted = True

    monkeypatch.setattr(app, "tick", watched)
    app.run()
    gaps = [board.time.ticks_diff(b, a) for a, b in zip(at, at[1:])]
    assert max(gaps) >= 400
    assert all(abs(gap - 20) <= 2 for k, gap in enumerate(gaps) if k != 2), gaps


class ChoppedBus:
    """The aircraft, its lighting bus chopped: whole milliseconds of 14 V and of nothing, by way of the divider's capacitor."""

    def __init__(self, aircraft: Aircraft, period_ms: int, high_ms: int, time_constant_s: float) -> None:
        self.aircraft = aircraft
        self.period_ms, self.high_ms = period_ms, high_ms
        self.kept = math.exp(-0.001 / time_constant_s)
        self.now_ms = 0
        self.volts = 14.0 * high_ms / period_ms

    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        for _ in range(elapsed_ms):
            source = 14.0 if self.now_ms % self.period_ms < self.high_ms else 0.0
            self.volts = source + (self.volts - source) * self.kept
            self.now_ms += 1
        self.aircraft.signals["lighting bus"] = self.volts
        return self.aircraft.step(elapsed_ms, outputs)


@pytest.mark.parametrize("period_ms, high_ms", [(10, 2), (10, 5), (10, 9), (7, 3), (3, 1), (4, 3)])
def test_a_chopped_lighting_bus_is_averaged(
    demo: Build, app_class: type[Any], folder: str, period_ms: int, high_ms: int
) -> None:
    """100 Hz and more behind a divider of 47 and 10 kohm with 10 uF: the reading is the mean within the ripple that is left, and the
    lamp that follows comes to rest."""
    share, low_pass = behind_divider(47e3, 10e3, 10e-6)
    rig = Rig(demo, app_class, folder)
    rig.chip = ChipInProcess(ChoppedBus(rig.aircraft, period_ms, high_ms, low_pass.time_constant))
    rig.board = StandIn(rig.chip)
    rig.app = app_class(rig.board, Store(folder), Log(folder + "/log"), FlightLog(folder + "/flights"))
    rig.channels = {channel.record.name: channel for channel in rig.app.channels}
    rig.due = rig.board.now()
    rig.tick(400)
    legends = next(d for d in rig.app.lighting.dimmers if d.record.name == "switch legends")
    readings, levels = [], set()
    for _ in range(500):
        rig.tick()
        readings.append(rig.reading("lighting bus"))
        levels.add(legends.level)
    mean = 14.0 * high_ms / period_ms
    left = ripple(low_pass, 1000 / period_ms, high_ms / period_ms, 14.0)
    assert share == pytest.approx(10 / 57) and left < 0.05 * 14
    assert min(readings) >= mean - left / 2 - 0.06 and max(readings) <= mean + left / 2 + 0.06
    assert len(levels) == 1
