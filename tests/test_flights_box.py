"""The flight log in the loop, and what is asked of outputs and knobs: gaugebox.app on the virtual chip, tick by tick."""

import errno
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugebox.answers import answer
from gaugebox.line import ANSWER, REQUEST, frame, unframe
from gaugebox.measure import COUNT
from gaugebox.store import SAFE, SLOTS, slot_header
from gaugelight.build import Build, build
from gaugelight.boxfile import read_box
from gaugelight.event_log import events
from gaugelight.flights.flight_log import Piece, pieces
from test_app import Rig, app_class, demo, folder, rig
from plain import PLAIN

__all__ = ["app_class", "demo", "folder", "rig"]

NEEDLE = """
[[needle]]
name = "left needle"
pin = 6
follows = "left fuel"
points = [["0 US gal", "10 %"], ["18 US gal", "90 %"]]
"""


def asked(rig: Rig, *fields: str) -> list[str]:
    """What follows "ok"; "no", and why not."""
    line = answer(rig.app, frame(REQUEST, ["1", *fields]).encode())
    said = unframe(ANSWER, (line or "").encode())
    assert said is not None
    return said[2:] if said[1] == "ok" else said[1:]


def flown(rig: Rig) -> list[Piece]:
    flights = rig.app.flights
    return [
        piece
        for number in range(flights.oldest, flights.newest + 1)
        for piece in pieces(flights.read(number, 0, 1 << 20))[0]
    ]


def test_a_row_a_second_of_all_that_is_asked(rig: Rig) -> None:
    """Each as the line says it at that moment."""
    app = rig.app
    told = []
    rig.aircraft.switches = {"transfer pump": True}
    rig.aircraft.knobs = dict.fromkeys(rig.aircraft.knobs, 60.0)
    for turn in range(45 * 50):
        if turn % 200 == 0:
            asked(rig, "hold", "lamp", "1", "0")  # dark, whatever its level is
        before = app.logged
        rig.tick()
        if app.logged != before:
            lamps = [0 if not one.duty else dim.level for one, dim in zip(app.outputs, app.lighting.dimmers)]
            switches = [one.level for one in app.lighting.switches]
            told.append((*(channel.said[COUNT] for channel in app.channels), *lamps, *switches))
    rows = [row for piece in flown(rig) for row in piece.rows]
    assert len(rows) >= 29 and rows == told[: len(rows)]
    assert len(set(rows)) >= 3
    dark = len(app.channels) + 1
    assert {row[dark] for row in rows[5:]} == {0} and app.lighting.dimmers[1].level > 0
    piece, *_ = flown(rig)
    assert (piece.start, piece.first, piece.table) == (1, 1, f"{app.store.table.crc:08x}")


def test_a_silent_converter_is_no_count(rig: Rig) -> None:
    rig.aircraft.silent = {chip.address for chip in rig.app.store.table.chips}
    rig.tick(120)
    rig.app.end()
    last = flown(rig)[-1].rows[-1]
    chips = [record.converter != 255 for record in rig.app.store.table.inputs]
    assert [count == -1 for count in last[: len(chips)]] == chips


def spied(monkeypatch: pytest.MonkeyPatch, rig: Rig) -> list[set[str]]:
    """Of each tick that has done one of them, what it did: event log, flight log, tidying up, an answer."""
    ticks: list[set[str]] = [set()]

    def watched(what: str, job: Callable[..., Any]) -> Callable[..., Any]:
        def does(*words: Any) -> Any:
            ticks[-1].add(what)
            return job(*words)

        return does

    app = rig.app
    for owner, name, what in (
        (app.events, "flush", "events"),
        (app.flights, "flush", "flight"),
        (app.flights, "roll", "roll"),
        (rig.board, "say", "answer"),
    ):
        monkeypatch.setattr(owner, name, watched(what, getattr(owner, name)))
    monkeypatch.setattr("gaugebox.app.gc.collect", watched("tidy", lambda: None))
    return ticks


def test_no_tick_writes_twice_or_writes_and_tidies(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a request in every tick, so that it tidies up as often as it can."""
    ticks = spied(monkeypatch, rig)
    line = (frame(REQUEST, ["1", "dim"]) + "\n").encode()
    for _ in range(130 * 50):
        rig.board.typed += line if len(rig.board.typed) < 100 else b""
        rig.tick()
        ticks.append(set())
    heavy = [tick & {"events", "flight", "roll", "tidy"} for tick in ticks]
    assert max(map(len, heavy)) == 1
    for what, times in (("events", 3), ("flight", 2), ("roll", 2)):
        assert sum(what in tick for tick in heavy) in (times, times + 1), what
    assert sum("tidy" in tick for tick in heavy) > 50
    assert not any("answer" in tick and tick & {"events", "flight", "roll"} for tick in ticks)
    found = flown(rig)
    seconds = [piece.first + i for piece in found for i in range(len(piece.rows))]
    assert len(found) == 2 and seconds == [*range(1, len(seconds) + 1)] and len(seconds) >= 100


def test_a_piece_that_is_full_waits_for_the_event_log(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    from gaugebox.app import FLUSH_TICKS

    rig.tick(100)
    ticks = spied(monkeypatch, rig)
    rig.app.unflushed = FLUSH_TICKS - 1
    rig.app.logged = 0
    rig.app.flights.last_room = 0
    for _ in range(3):
        rig.tick()
        ticks.append(set())
    assert [sorted(tick) for tick in ticks[:3]] == [["events"], ["flight"], ["roll"]]


def test_a_piece_that_is_full_goes_at_once(rig: Rig) -> None:
    app = rig.app
    app.flights.last_room = 50
    rig.tick(40 * 50)
    found = flown(rig)
    seconds = [piece.first + i for piece in found for i in range(len(piece.rows))]
    assert len(found) > 3 and seconds == [*range(1, len(seconds) + 1)]


def test_a_second_that_is_missed(rig: Rig) -> None:
    """A loop that stood still: nothing is made up for it."""
    rig.tick(50)
    rig.board.time.sleep_ms(3500)
    rig.tick(100)
    rig.app.end()
    seconds = [piece.first + i for piece in flown(rig) for i in range(len(piece.rows))]
    missing = sorted({*range(1, seconds[-1] + 1)} - {*seconds})
    assert len(missing) in (2, 3) and missing == [*range(missing[0], missing[-1] + 1)]


@pytest.mark.parametrize("what", ["no table", "safe"])
def test_without_a_table_it_logs_nothing(
    demo: Build, app_class: type[Any], folder: str, what: str, tmp_path: Path
) -> None:
    """But what is there can be fetched."""
    rig = Rig(demo, app_class, folder)
    rig.tick(100)
    rig.app.end()
    before = flown(rig)
    slot = Path(folder) / SLOTS[0]
    if what == "safe":
        shutil.copy(slot, Path(folder) / SAFE)
    slot.unlink()
    again = Rig(demo, app_class, folder)
    assert again.app.store.slot == (SAFE if what == "safe" else "")
    again.tick(100)
    again.app.end()
    assert flown(again) == before != []
    first, last = asked(again, "flight")[1:3]
    assert asked(again, "flight", first, "0")[0] and first == last == "1"


@pytest.mark.parametrize("problem", [OSError(errno.EIO), MemoryError()], ids=["disk", "heap"])
def test_a_disk_that_fails_is_told_once_and_stops_nothing(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, problem: Exception
) -> None:
    from gaugebox.app import FLIGHT_TICKS

    def fails(*_: Any) -> None:
        raise problem

    def minute() -> None:
        rig.tick(70)
        rig.app.unflushed = FLIGHT_TICKS - 1
        rig.tick(70)

    with monkeypatch.context() as broken:
        broken.setattr("gaugebox.flight_log.open", fails, raising=False)
        broken.setattr(rig.app.events, "flush", fails)
        for _ in range(3):
            minute()
        rig.app.flush()
    told = [*events(rig.app.events.read(0, 100), "", [], [])]
    assert [one.what for one in told if "flight log" in one.what] == [
        "the flight log could not be written: its disk is full or worn"
    ]
    assert rig.app.seconds >= 8 and flown(rig) == []
    minute()
    assert flown(rig) != []


def test_a_table_that_is_flashed_finds_room(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(rig.app.flights, "give_way", lambda: told.append("gave way"))
    assert asked(rig, "begin", "100", "1", "100") and told == ["gave way"]
    asked(rig, "revert", "1")
    assert told == ["gave way"] * 2
    rig.board.jumper_closed = False
    rig.tick()
    assert asked(rig, "begin", "100", "1", "100")[0] == "no" and len(told) == 2


# asked on the line


def test_files_that_are_not_there(rig: Rig) -> None:
    rig.app.flights.oldest, rig.app.flights.newest = 4, 6
    for number, word in (("3", "no"), ("7", "no"), ("-1", "no"), ("x", "no"), ("5", "")):
        assert asked(rig, "flight", number, "0")[0] == word
    assert asked(rig, "flight", "5")[0] == "no" == asked(rig, "flight", "5", "-3")[0]


def test_knobs_say_their_counts(rig: Rig) -> None:
    (pin,) = rig.aircraft.knobs
    for place in (0.0, 50.0, 100.0):
        rig.aircraft.knobs[pin] = place
        rig.tick(5)
        volts = rig.aircraft.knob_volts(rig.aircraft.box.lights.knobs[0])
        assert int(asked(rig, "knobs")[0]) == pytest.approx(volts / 3.3 * 65535, abs=60)


def test_knobs_before_the_first_tick(demo: Build, app_class: type[Any], folder: str) -> None:
    assert asked(Rig(demo, app_class, folder), "knobs") == ["-1"]


@pytest.fixture(scope="module")
def with_needle(tmp_path_factory: pytest.TempPathFactory) -> Build:
    path = tmp_path_factory.mktemp("needled") / "box.toml"
    path.write_text(PLAIN.read_text() + NEEDLE)
    return build(read_box(path))


@pytest.fixture
def needled(with_needle: Build, app_class: type[Any], tmp_path: Path) -> Rig:
    built = with_needle
    (tmp_path / SLOTS[0]).write_bytes(slot_header(1) + built.image)
    rig = Rig(built, app_class, str(tmp_path))
    rig.tick(300)
    return rig


def outputs(rig: Rig, what: str) -> list[Any]:
    return rig.app.outputs if what == "lamp" else rig.app.needle_outputs  # type: ignore[no-any-return]


@pytest.mark.parametrize("what", ["lamp", "needle"])
def test_an_output_is_held_for_five_seconds(needled: Rig, what: str) -> None:
    """At the pin too; the others go on, and what the table says goes on underneath."""
    held, *others = outputs(needled, what)
    before = held.duty
    rest = [one.duty for one in others]
    for duty in ("0", "65535", "12345"):
        assert asked(needled, "hold", what, "0", duty) == []
        needled.tick()
        assert held.duty == int(duty) and abs(held.line.duty_u16() - int(duty)) <= 20
    needled.tick(200)
    asked(needled, "hold", what, "0", "12345")
    needled.tick(250)
    assert held.duty == 12345 and [one.duty for one in others] == rest
    needled.tick()
    assert held.duty == before and abs(held.line.duty_u16() - before) <= 20


@pytest.mark.parametrize("what", ["lamp", "needle"])
def test_a_jumper_that_is_pulled_lets_go_at_once(needled: Rig, what: str) -> None:
    held = outputs(needled, what)[0]
    before = held.duty
    asked(needled, "hold", what, "0", "54321")
    needled.tick()
    assert held.duty == 54321
    needled.board.jumper_closed = False
    needled.tick(2)
    assert held.duty == before
    needled.board.jumper_closed = True
    needled.tick(20)
    assert held.duty == before


@pytest.mark.parametrize("what", ["lamp", "needle"])
def test_a_flight_that_begins_lets_go(needled: Rig, what: str) -> None:
    """With the jumper still closed."""
    held = outputs(needled, what)[0]
    before = held.duty
    asked(needled, "hold", what, "0", "54321")
    needled.tick()
    needled.app._fly()
    needled.tick()
    assert needled.app.closed and held.duty == before


REFUSED: dict[str, tuple[str, ...]] = {
    "no such lamp": ("lamp", "99", "1"),
    "no such needle": ("needle", "1", "1"),
    "a display": ("lamp", "last", "1"),
    "beyond full": ("lamp", "0", "65536"),
    "below nothing": ("lamp", "0", "-1"),
    "of no kind": ("switch", "0", "1"),
    "no duty": ("lamp", "0"),
    "nothing": (),
}


@pytest.mark.parametrize("fields", REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_held(needled: Rig, fields: tuple[str, ...]) -> None:
    last = next(i for i, one in enumerate(needled.app.outputs) if one.line is None)
    before = [one.duty for one in needled.app.outputs]
    assert asked(needled, "hold", *(str(last) if word == "last" else word for word in fields))[0] == "no"
    needled.tick()
    assert [one.duty for one in needled.app.outputs] == before


def test_nothing_is_held_in_flight(needled: Rig) -> None:
    needled.board.jumper_closed = False
    needled.tick(10)
    before = [one.duty for one in needled.app.outputs]
    assert "service jumper open" in asked(needled, "hold", "lamp", "0", "9")[1]
    needled.tick()
    assert [one.duty for one in needled.app.outputs] == before
