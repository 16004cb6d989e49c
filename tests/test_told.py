"""What the pilot is told, the loop as a whole: buttons, lamps for alerts, the test; and that the watches are given all the time there is."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gaugebox.alert_records import ALERTS_PAGE
from gaugebox.alerts import DARK, STEADY
from gaugebox.answers import answer
from gaugebox.log import ASKED, FAILED, POWER, RUNNING
from gaugebox.line import ANSWER, REQUEST, frame, unframe
from gaugebox.measure import CLOCK_MASK
from gaugebox.store import SLOTS, slot_header
from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.cli import DEMO
from gaugelight.event_log import alerts_of, events
from test_app import Rig, app_class  # noqa: F401  # a fixture

SAMPLED_S, ANSWERS = 4, 10  # as in gaugebox.app, which is not to be named without its chip
KNOWN = 300  # ticks: by then every input has had the time to say something


def rig_of(text: str, app_class: type[Any], tmp_path: Path, known: int = KNOWN) -> Rig:  # noqa: F811
    box = tmp_path / "box.toml"
    box.write_text(text)
    built = build(read_box(box))
    tables = tmp_path / "tables"
    tables.mkdir()
    (tables / SLOTS[0]).write_bytes(slot_header(1) + built.image)
    rig = Rig(built, app_class, str(tables))
    rig.tick(known)
    return rig


@pytest.fixture
def told(app_class: type[Any], tmp_path: Path) -> Rig:  # noqa: F811
    """The demo, all well."""
    return rig_of(DEMO.read_text(), app_class, tmp_path)


def press(rig: Rig, switch: str) -> None:
    rig.aircraft.switches[switch] = True
    rig.tick(20)
    rig.aircraft.switches[switch] = False
    rig.tick(20)


def lit(rig: Rig, name: str) -> bool:
    names = [one.record.name for one in rig.app.lighting.dimmers]
    return bool(rig.app.outputs[names.index(name)].duty)


def words(rig: Rig) -> list[str]:
    alerts = rig.app.alerts
    return [alerts.words(alerts.order[k]) for k in range(alerts.count)]


def test_all_is_well_at_first(told: Rig) -> None:
    assert words(told) == [] and not lit(told, "warning lamp") and not lit(told, "caution lamp")


def test_the_acknowledge_button(told: Rig) -> None:
    """Once, when it is pressed: held down it acknowledges nothing that comes later."""
    told.aircraft.wires["left fuel"] = "broken"
    told.tick(150)
    assert words(told) == ["left fuel FAIL open"] and lit(told, "caution lamp")
    told.aircraft.switches["acknowledge"] = True
    told.tick(20)
    assert words(told) == ["left fuel FAIL open"] and not lit(told, "caution lamp")
    assert told.app.alerts.caution == DARK
    told.aircraft.wires["hydraulic"] = "broken"
    told.tick(150)
    assert words(told) == ["hydraulic FAIL open", "left fuel FAIL open"] and lit(told, "caution lamp")
    told.aircraft.switches["acknowledge"] = False
    told.tick(20)
    told.aircraft.switches["acknowledge"] = True
    told.tick(20)
    assert told.app.alerts.caution == DARK


def test_the_acknowledge_button_without_a_display(app_class: type[Any], tmp_path: Path) -> None:  # noqa: F811
    """Then nothing can be read: all at once."""
    text = DEMO.read_text().replace("address = 0x3c", "").replace('name = "display"', 'name = "window"')
    rig = rig_of(text, app_class, tmp_path)
    rig.aircraft.wires["left fuel"] = rig.aircraft.wires["hydraulic"] = "broken"
    rig.tick(150)
    assert rig.app.face is None and len(words(rig)) == 2
    rig.aircraft.switches["acknowledge"] = True
    rig.tick(20)
    assert all(not one.unseen() for one in rig.app.alerts.all)


def test_one_press_for_each_that_was_read(told: Rig) -> None:
    """The bottom line shows one at a time: what it has not shown is not acknowledged."""
    told.aircraft.wires["left fuel"] = told.aircraft.wires["hydraulic"] = "broken"
    told.tick(150)
    first = words(told)[0]
    press(told, "acknowledge")
    seen = [one for one in told.app.alerts.all if one.urgency and not one.unseen()]
    assert len(seen) == 1 and words(told)[0] != first and words(told)[1] == first
    press(told, "acknowledge")
    assert told.app.alerts.caution == DARK


def test_a_press_in_the_moment_in_which_another_comes(told: Rig) -> None:
    """What the line has not shown yet is not acknowledged by it."""
    told.aircraft.wires["left fuel"] = "broken"
    told.tick(150)
    told.app.rules[0].on = 1
    told.app.alerts.step(True)
    told.tick(4)  # it is on the line, and nobody has read it
    told.app.face.acknowledge()
    shown = [told.app.alerts.all[told.app.alerts.order[k]] for k in range(2)]
    assert [one.unseen() for one in shown] == [True, True]
    told.tick(40)
    told.app.face.acknowledge()
    assert [one.unseen() for one in (told.app.alerts.all[told.app.alerts.order[k]] for k in range(2))] == [
        True,
        False,
    ]


@pytest.mark.parametrize("phase", [0, 1])
def test_a_press_on_the_page_of_alerts_in_the_moment_in_which_another_comes(told: Rig, phase: int) -> None:
    """Its lines are drawn one after the other, the bottom line last: what is being drawn nobody has read."""
    face, alerts = told.app.face, told.app.alerts
    while face.pages[face.page][0] != ALERTS_PAGE:
        face.turn()
    told.aircraft.wires["left fuel"] = "broken"
    told.tick(150 + phase)
    told.app.rules[0].on = 1
    alerts.step(True)
    new = alerts.all[alerts.order[0]]
    for _ in range(10):
        face.acknowledge()
        assert new.unseen()
        told.tick()
    told.tick(40)
    face.acknowledge()
    assert not new.unseen()


def test_a_test_button_that_sticks_hides_nothing_for_long(told: Rig) -> None:
    told.aircraft.switches["test"] = True
    told.tick(20)
    assert told.app.testing
    told.tick(300)
    assert not told.app.testing and not lit(told, "warning lamp")
    told.aircraft.switches["test"] = False
    told.tick(20)
    told.aircraft.switches["test"] = True
    told.tick(20)
    assert told.app.testing


def test_with_a_dead_display_a_press_takes_all(told: Rig) -> None:
    told.aircraft.silent.add(0x3C)
    told.aircraft.wires["left fuel"] = told.aircraft.wires["hydraulic"] = "broken"
    told.tick(150)
    assert not told.app.display.alive and len(words(told)) == 2
    press(told, "acknowledge")
    assert all(not one.unseen() for one in told.app.alerts.all)


def test_what_finds_no_room_in_the_log_comes_later(told: Rig) -> None:
    events = told.app.events
    told.app.flush()
    while events.add(1, 1, 1):
        pass
    told.aircraft.wires["hydraulic"] = "broken"
    told.tick(50)
    index = [one.name for one in told.app.store.table.inputs].index("hydraulic")
    assert told.app.faults[index] == 0
    told.tick(3100)  # the log has been written meanwhile
    assert told.app.faults[index] != 0


def test_a_test_button_that_bounces_leaves_the_face_to_be_read(told: Rig) -> None:
    white = 0
    for turn in range(1000):
        told.app._test(int(turn % 51 != 50))
        white += told.app.testing
        told.app.testing = 0
    assert 200 < white < 500


def test_it_tidies_up_in_a_tick_without_a_request(told: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    tidied: list[int] = []
    monkeypatch.setattr("gaugebox.app.gc.collect", lambda: tidied.append(1))
    for number in range(3 * ANSWERS):
        before = len(tidied)
        told.board.typed += (frame(REQUEST, [str(number), "hello"]) + "\n").encode()
        told.board.said.clear()
        told.tick(1)
        assert len(told.board.said) == (len(tidied) == before)
        told.tick(1)
        assert len(told.board.said) == 1
    assert len(tidied) == 3


def test_nothing_is_told_before_it_is_known(app_class: type[Any], tmp_path: Path) -> None:  # noqa: F811
    """A broken wire from the start: told when every input has had its time, and no sooner."""
    rig = rig_of(DEMO.read_text(), app_class, tmp_path, known=1)
    rig.aircraft.wires["left fuel"] = "broken"
    rig.tick(50 * SAMPLED_S - 5)
    assert words(rig) == []
    rig.tick(200)
    assert words(rig) == ["left fuel FAIL open"]


LOST = "COOLANT LOST"


def test_what_is_told_stands_in_the_log(told: Rig) -> None:
    """A mark and a fault, when they come and when they go; in the words of the host."""
    table = told.app.store.table
    told.aircraft.signals["left fuel"] = 0.0
    told.tick(50 * 120)
    told.aircraft.wires["hydraulic"] = "broken"
    told.tick(100)
    del told.aircraft.wires["hydraulic"]
    told.tick(50 * 20)
    content = told.app.events.read(0, 100)
    said = [
        (one.subject, one.what)
        for one in events(
            content, f"{table.crc:08x}", [one.name for one in table.inputs], [], alerts_of(table)
        )
    ]
    wanted = [
        ("left fuel", "LOW is told"),
        ("left fuel", "EMPTY is told"),
        ("hydraulic", "open"),
        ("hydraulic", "well again"),
    ]
    assert [one for one in dict.fromkeys(said) if one in wanted] == wanted


@pytest.mark.parametrize(
    "before, stays", [(RUNNING + 3, True), (FAILED + 3, True), (ASKED + 3, False), (POWER, False)]
)
def test_coolant_that_is_lost_outlives_a_hang(told: Rig, before: int, stays: bool) -> None:
    """By the watchdog's scratch registers; not what was asked for, nor the supply's return."""
    number = [rule.record.words for rule in told.app.rules].index(LOST)
    told.app.rules[number].on, told.app.rules[number].armed = 1, True
    told.tick(10)
    told.board.before = before
    app = type(told.app)(told.board, told.app.store, told.app.events, told.app.flights)
    assert (bool(app.rules[number].on), app.rules[number].armed) == (stays, stays)
    assert sum(rule.on for rule in app.rules) == stays


def test_the_test_button_lights_all_lamps_for_alerts(told: Rig) -> None:
    told.aircraft.switches["test"] = True
    told.tick(20)
    assert lit(told, "warning lamp") and lit(told, "caution lamp") and not lit(told, "glare shield")
    told.aircraft.switches["test"] = False
    told.tick(20)
    assert not lit(told, "warning lamp") and not lit(told, "caution lamp")


def ask(rig: Rig, *fields: str) -> list[str]:
    said = answer(rig.app, frame(REQUEST, ["1", *fields]).encode())
    assert said is not None
    read = unframe(ANSWER, said.encode())
    assert read is not None and read[1] == "ok", said
    return read[2:]


def test_by_the_line(told: Rig) -> None:
    """As the buttons; a test lasts as long as was asked, and never longer than five seconds."""
    ask(told, "test", "30")
    told.tick(10)
    assert lit(told, "warning lamp")
    told.tick(40)
    assert not lit(told, "warning lamp")
    ask(told, "test", "9999")
    told.tick(240)
    assert lit(told, "warning lamp")
    told.tick(30)
    assert not lit(told, "warning lamp")
    told.aircraft.wires["left fuel"] = "broken"
    told.tick(150)
    assert told.app.alerts.caution == STEADY
    ask(told, "acknowledge")
    assert told.app.alerts.caution == DARK
    assert ask(told, "alerts", "0")[1] == "1,1,left fuel FAIL open"


def test_a_mark_is_told_by_its_words(told: Rig) -> None:
    """Through the damper and the delay: 3 US gal are low, and the warning lamp stays dark."""
    told.aircraft.signals["left fuel"] = 16.0
    told.tick(50 * 75)
    assert "left fuel LOW" in words(told)
    assert lit(told, "caution lamp") and not lit(told, "warning lamp")


def counted(calls: list[int], step: Callable[..., None]) -> Callable[..., None]:
    def counting(elapsed: int, *others: Any) -> None:
        calls.append(elapsed)
        step(elapsed, *others)

    return counting


def test_the_watches_are_given_all_the_time_there_is(told: Rig) -> None:
    """The reserve watch ten times a second, each disagree alert in its turn; together no less than has passed."""
    reserve: list[int] = []
    gauges: list[list[int]] = [[] for _ in told.app.gauges]
    told.app.reserve.step = counted(reserve, told.app.reserve.step)
    for calls, gauge in zip(gauges, told.app.gauges, strict=True):
        gauge.step = counted(calls, gauge.step)
    told.tick(500)
    assert len(reserve) == 100 and sum(reserve) == pytest.approx(10_000, abs=150)
    for calls in gauges:
        assert len(calls) == pytest.approx(100 / len(gauges), abs=1)
        assert sum(calls[1:]) == pytest.approx(10_000, abs=700)


def test_the_clock_goes_round_under_the_watches(told: Rig) -> None:
    """Milliseconds begin anew after six days: the time since the last look is still what has passed."""
    gauges: list[list[int]] = [[] for _ in told.app.gauges]
    for calls, gauge in zip(gauges, told.app.gauges, strict=True):
        gauge.step = counted(calls, gauge.step)
    back = CLOCK_MASK - 4000 - told.app.clock[0]
    told.app.clock[0] += back
    told.app.compared = [one + back & CLOCK_MASK for one in told.app.compared]
    told.tick(500)
    assert told.app.clock[0] < 20_000
    for calls in gauges:
        assert all(0 < elapsed < 1000 for elapsed in calls) and sum(calls) == pytest.approx(10_000, abs=700)


LOW_LAMP = """
[[lamp]]
name = "low lamp"
pin = 19
level = "5 %"
shows = "caution"
not_below = "30 %"
"""


def test_dimmed_no_further_than_stated(app_class: type[Any], tmp_path: Path) -> None:  # noqa: F811
    rig = rig_of(DEMO.read_text() + LOW_LAMP, app_class, tmp_path)
    levels = {one.record.name: one.level for one in rig.app.lighting.dimmers}
    assert levels["low lamp"] == 3000
