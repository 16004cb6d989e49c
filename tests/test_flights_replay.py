"""A recorded flight through the box's own loop: what comes of it, beside another table, and against what a real box has said."""

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import lfilter

from gaugebox.curve import lookup
from gaugebox.measure import FAULTS
from gaugebox.readouts import NOWHERE
from gaugelight.bench import prepared
from gaugelight.box_line import BoxLine
from gaugelight.box_values import Tolerance
from gaugelight.boxfile import Box, read_box
from gaugelight.build import Build, build
from gaugelight.cli import DEMO, main
from gaugelight.flights.command import job_of, notes_on
from gaugelight.flights.compare import Beside, agreement, beside, difference, in_words, span_of, weights_ms
from gaugelight.flights.recording import Recording, joined, read_recording
from gaugelight.flights.replay import Job, Replay, Told, replay, replay_both
from gaugelight.flights.tried import tried
from gaugelight.live import Watch
from gaugelight.live_log import head_of, row_of
from gaugelight.moves import move
from gaugelight.problems import Misuse, WrongBoxFile
from flight_model import counts_of

# what another table has otherwise
OTHER = ("left fuel.damping=0.5 s", "right fuel.damping=0 s", "coolant temperature.damping=0 s", "hydraulic.damping=2 s", "hydraulic.mark_delay=4 s")  # fmt: skip


@cache
def demo() -> Build:
    return build(read_box(DEMO))


@cache
def other() -> Build:
    return build(tried(DEMO, list(OTHER)))


def flight(
    readings: dict[str, Any], rows: int, ms: int = 100, switches: dict[str, Any] | None = None, **more: Any
) -> Recording:
    """Of the demo: readings that are not at rest, each a number or one a row; -1 in `silent` rows."""
    box = demo().box
    at_rest = {"bus": 14.0, "hydraulic": 800.0, "coolant pressure": 10.0, "left fuel": 9.0, "right fuel": 9.0}
    counts = {}
    for one in box.inputs:
        value = readings.get(one.name, at_rest.get(one.name, 3.3 if one.nominal else sum(one.law.span) / 2))
        counts[one.name] = counts_of(box, one.name, np.broadcast_to(np.asarray(value, float), (rows,)))
    some = {name: np.broadcast_to(np.asarray(value), (rows,)) for name, value in (switches or {}).items()}
    return joined(list(range(0, rows * ms, ms)), counts, switches=some, **more)  # type: ignore[arg-type]


def run(recording: Recording, built: Build | None = None, **more: Any) -> Replay:
    return replay(Job("x", (built or demo()).image, **more), recording)


def told(found: Replay, recording: Recording) -> dict[str, Any]:
    """Words, and seconds from and to."""
    seconds = recording.seconds()
    return {
        one.words: (float(seconds[one.began]), None if one.ended is None else float(seconds[one.ended]))
        for one in found.told
    }


def steps(*pieces: tuple[float, int]) -> np.ndarray[Any, Any]:
    return np.repeat([value for value, _ in pieces], [rows for _, rows in pieces])


# -- time: a row stands for the time since the one before, however far apart rows are


@pytest.mark.parametrize("ms", [50, 100, 200, 1000])
def test_delays_are_those_of_the_box(ms: int) -> None:
    """The bus is in its yellow after 5 s, as the demo says, and for 10 s of alternator out; a wire that breaks is told after a second."""
    rows = 60_000 // ms
    bus = steps((14.0, rows // 3), (12.2, rows - rows // 3))
    found = run(recording := flight({"bus": bus}, rows, ms))
    since = told(found, recording)
    late = 2 * ms / 1000 + 0.1  # the spike filter, and a turn of the loop
    assert since["bus LOW"] == (pytest.approx(20 + 5, abs=late), None)
    assert since["ALTERNATOR OUT"] == (pytest.approx(20 + 10, abs=late), None)
    assert set(since) == {"bus LOW", "ALTERNATOR OUT"}
    trace = found.trace("bus")
    assert trace is not None and trace.record is not None
    span = span_of(trace, recording)
    assert span.zones_s == {
        "yellow LOW": pytest.approx(35, abs=late), "green": pytest.approx(20, abs=late), "not judged": pytest.approx(5, abs=late),
    }  # fmt: skip
    assert [span.least, span.greatest] == pytest.approx([12.2, 14], abs=0.03)


@pytest.mark.parametrize("ms", [100, 1000])
@pytest.mark.parametrize("damping, table", [(0.5, other), (12, demo)], ids=["half a second", "12 s"])
def test_damping_is_a_first_order_filter(ms: int, damping: float, table: Callable[[], Build]) -> None:
    """Referee: scipy.signal.lfilter at the box's ten turns a second, of a tank that is drained in a step."""
    rows = 30_000 // ms
    fuel = steps((12.0, 5_000 // ms), (6.0, rows - 5_000 // ms))
    recording = flight({"left fuel": fuel}, rows, ms)
    trace = run(recording, table()).trace("left fuel")
    plain = run(recording, undamped=True).trace("left fuel")
    assert trace is not None and plain is not None
    turns = round(damping * 10)
    per_row = ms // 100
    held = np.repeat(plain.readings, per_row)
    wanted, _ = lfilter([1 / turns], [1, 1 / turns - 1], held, zi=[held[0] * (1 - 1 / turns)])
    assert np.abs(trace.readings - wanted[per_row - 1 :: per_row]).max() <= 10.0**-trace.decimals
    assert abs(plain.readings[-1] - 6) < 0.05 and abs(plain.readings[0] - 12) < 0.05


def test_a_spike_is_filtered_as_in_the_box() -> None:
    pressure = steps((800.0, 20), (1450.0, 1), (800.0, 20))
    recording = flight({"hydraulic": pressure}, 41)
    trace = run(recording, undamped=True).trace("hydraulic")
    assert trace is not None and trace.readings.max() < 801


@pytest.mark.parametrize("ms, late", [(100, 1), (200, 1), (250, 0), (1000, 0)])
def test_a_row_of_its_own_second_is_seen_at_once(ms: int, late: int) -> None:
    """The box has sampled it three times by then, and its spike filter is content; ten rows a second are one sample each."""
    trace = run(flight({"hydraulic": steps((800.0, 10), (600.0, 10))}, 20, ms), undamped=True).trace(
        "hydraulic"
    )
    assert trace is not None and int(np.flatnonzero(trace.readings < 610)[0]) == 10 + late


def test_rails_come_before_what_hangs_on_them() -> None:
    """A rail that sags takes its inputs' counts along, row by row, and moves no reading."""
    recording = flight({}, 40)
    sag = np.concatenate([np.ones(10), np.linspace(1, 0.82, 12), np.full(18, 0.82)])
    for name in ("sender rail", "left fuel"):
        recording.counts[name][:] = np.round(recording.counts[name] * sag)
    trace = run(recording, undamped=True).trace("left fuel")
    assert trace is not None and not trace.faults.any() and np.ptp(trace.readings) < 0.02


def test_the_first_row_has_a_reading_and_so_has_the_first_after_silence() -> None:
    recording = flight({}, 30)
    recording.counts["hydraulic"][10:20] = -1
    trace = run(recording).trace("hydraulic")
    assert trace is not None
    assert [FAULTS[fault] for fault in trace.faults[[0, 9, 10, 19, 20]]] == [
        None,
        None,
        "converter",
        "converter",
        None,
    ]
    assert np.isnan(trace.readings[15]) and trace.readings[20] == trace.readings[0]


def test_after_a_hole_all_begins_anew() -> None:
    """A damped tank does not creep from what it was before; what was on is told anew."""
    recording = flight({"left fuel": steps((12.0, 50), (6.0, 50)), "bus": 12.2}, 100, 200)
    times = recording.times_ms + np.where(np.arange(100) >= 50, 600_000, 0)
    recording = replace(recording, times_ms=times, spans=((0, 50), (50, 100)), up_ms=(9000, 9000))
    found = run(recording)
    trace = found.trace("left fuel")
    assert trace is not None and abs(trace.readings[50] - 6) < 0.05 and abs(trace.readings[49] - 12) < 0.05
    assert [(one.began >= 50, one.ended) for one in found.told if one.words == "bus LOW"] == [
        (False, 50),
        (True, None),
    ]
    assert trace.zones is not None and trace.zones[50] == NOWHERE
    assert weights_ms(recording).sum() == 100 * 200


@pytest.mark.parametrize("up_ms, since", [(0, 6.0), (60_000, 1.0)])
def test_in_its_first_seconds_the_box_tells_no_fault(up_ms: int, since: float) -> None:
    """Not every converter has said something by then."""
    recording = replace(flight({}, 100), up_ms=(up_ms,))
    recording.counts["hydraulic"][:] = -1
    assert told(run(recording), recording)["hydraulic FAIL converter"][0] == pytest.approx(since, abs=0.2)


# -- what the log does not have


def test_an_input_that_is_not_in_the_log() -> None:
    recording = flight({}, 30)
    assert not job_of("x", demo(), recording, []).held
    del recording.counts["hydraulic"], recording.counts["sender rail"]
    notes = "\n".join(notes_on(recording, demo(), []))
    assert 'hydraulic is not in the log: silent; --with "hydraulic=..."' in notes
    assert "sender rail is not in the log: at its nominal voltage" in notes
    found = replay(job_of("x", demo(), recording, []), recording)
    silent, fuel = found.trace("hydraulic"), found.trace("left fuel")
    assert silent is not None and fuel is not None
    assert set(silent.faults) == {FAULTS.index("converter")} and abs(fuel.readings[-1] - 9) < 0.05
    held = replay(job_of("x", demo(), recording, ["hydraulic=1000 psi"]), recording).trace("hydraulic")
    assert held is not None and held.readings[-1] == pytest.approx(1000, abs=5)
    rests = replay(job_of("x", demo(), recording, ["hydraulic=rest"]), recording).trace("hydraulic")
    assert rests is not None and rests.readings[-1] == pytest.approx(750, abs=5)
    assert "hydraulic" not in "\n".join(notes_on(recording, demo(), ["hydraulic=rest"]))


def test_a_name_that_has_changed_and_another_table() -> None:
    recording = flight({}, 10, crc="00000001")
    recording.counts["left fuels"] = recording.counts.pop("left fuel")
    notes = "\n".join(notes_on(recording, demo(), []))
    assert 'left fuels is in the log only; did you mean "left fuel"?' in notes
    assert f"recorded with table 00000001, {DEMO} makes {demo().crc32:08x}" in notes
    other = "\n".join(notes_on(replace(recording, box="wing"), demo(), []))
    assert 'recorded on box "wing", and' in other and "recorded on" not in notes
    same = replace(flight({}, 10), crc=f"{demo().crc32:08x}")
    assert not any("recorded" in note for note in notes_on(same, demo(), []))


def test_switches_are_those_of_the_log() -> None:
    """The pump runs, and builds no pressure: told, once it has had its time; without the switch nothing is."""
    on = steps((0, 50), (1, 450))
    recording = flight({"reserve line": 0.0}, 500, switches={"transfer pump": on})
    since = told(run(recording), recording)
    assert since["NO TRANSFER PRESSURE"][0] == pytest.approx(5 + 8, abs=1.0)  # `build` is 8 s by default
    unknown = replace(recording, switches={"transfer pump": np.full(500, -1)})
    assert not told(run(unknown), unknown)
    without = replace(recording, switches={})
    assert "NO TRANSFER PRESSURE" not in told(run(without), without)
    assert "taken as off: transfer pump, reserve filled" in "\n".join(notes_on(without, demo(), []))
    held = replay(job_of("x", demo(), without, ["transfer pump=on"]), without)
    assert set(told(held, without)) == {"TRANSFER NOT WATCHED"}  # the box has not seen it with the pump off


# -- two tables


def test_two_tables_beside_each_other() -> None:
    """In two processes, each as if it were alone."""
    recording = flight({"hydraulic": steps((800.0, 100), (250.0, 100), (800.0, 100))}, 300)
    seen: list[tuple[int, int]] = []
    one, two = replay_both(
        Job("one", demo().image),
        Job("two", other().image),
        recording,
        lambda done, of: seen.append((done, of)),
    )
    assert seen[-1] == (300, 300) and (one.label, two.label, two.crc) == (
        "one",
        "two",
        f"{other().crc32:08x}",
    )
    for both, alone in ((one, run(recording)), (two, run(recording, other()))):
        for a, b in zip(both.traces, alone.traces):
            assert np.array_equal(a.units, b.units) and np.array_equal(a.faults, b.faults)
        assert both.told == alone.told
    pairs = beside(one.told, two.told, recording)
    (pair,) = [pair for pair in pairs if pair.either.words == "hydraulic LOW"]
    assert pair.one is not None and pair.other is not None
    assert "begins" in in_words(pair, recording, ("one", "two")) and "later" in in_words(
        pair, recording, ("one", "two")
    )
    first, second = one.trace("hydraulic"), two.trace("hydraulic")
    assert first is not None and second is not None
    apart = difference(first, second, recording)
    assert apart is not None and abs(apart.by) > 200 and apart.faults_s == 0
    assert abs(second.readings[apart.row] - first.readings[apart.row]) == abs(apart.by)
    same = one.trace("bus"), two.trace("bus")
    assert same[0] is not None and same[1] is not None
    nothing = difference(same[0], same[1], recording)
    assert nothing is not None and nothing.by == 0


A, B = Told("x LOW", 1, 10, 50), Told("x LOW", 1, 30, None)
FAR = Told("x LOW", 1, 900, 950)
# alerts of one and of the other, and what is said of each pair; rows are a second apart
PAIRS: dict[str, tuple[list[Told], list[Told], list[str]]] = {
    "the same": ([A], [A], [""]),
    "later, and does not end": ([A], [B], ["begins 20.0 s later, ends in one only"]),
    "sooner": ([B], [A], ["begins 20.0 s sooner, ends in two only"]),
    "they overlap": ([replace(A, ended=500)], [replace(A, began=200, ended=500)], ["begins 190.0 s later"]),
    "by a row": ([A], [replace(A, began=11, ended=51)], [""]),
    "only one": ([A], [], ["only one"]),
    "only two": ([], [A], ["only two"]),
    "too far apart": ([A], [FAR], ["only one", "only two"]),
    "other words": ([A], [replace(A, words="x HIGH")], ["only one", "only two"]),
    "twice and once": ([A, FAR], [FAR], ["only one", ""]),
    "the nearer one": ([B], [A, replace(B, began=31)], ["only two", ""]),
}  # fmt: skip


@pytest.mark.parametrize("one, two, said", PAIRS.values(), ids=PAIRS)
def test_alerts_beside_each_other(one: list[Told], two: list[Told], said: list[str]) -> None:
    recording = joined(list(range(0, 1_000_000, 1000)), {})
    assert [in_words(pair, recording, ("one", "two")) for pair in beside(one, two, recording)] == said
    assert all(isinstance(pair, Beside) for pair in beside(one, two, recording))


def test_a_fault_that_changes_is_another_alert() -> None:
    recording = flight({}, 200)
    counts = recording.counts["hydraulic"]
    counts[50:100], counts[100:] = 0, 65535
    since = told(run(recording), recording)
    assert since["hydraulic FAIL open"] == (pytest.approx(6, abs=0.4), pytest.approx(10, abs=0.4))
    assert since["hydraulic FAIL short"][1] is None


# -- keys tried


def test_keys_are_tried_without_editing_the_file() -> None:
    before = DEMO.read_bytes()
    box = tried(DEMO, ["left fuel.damping=5 s", "disagree left fuel.allowance=2.5 US gal", "COOLANT LOST.lasts=9 s", "reserve.holds=12 US gal",
                       "usable fuel.marks=[{ yellow = [0, 9] }]"])  # fmt: skip
    left = box.input("left fuel")
    assert left is not None and left.damping == 5
    assert [float(one.allowance) for one in box.face.gauges if one.gauge == "left fuel"] == [2.5]
    assert box.face.alerts[0].lasts == 9 and box.face.reserve is not None and box.face.reserve.holds == 12
    assert [float(mark.high or 0) for one in box.face.derived[:1] for mark in one.markings.marks] == [9]
    assert DEMO.read_bytes() == before
    (left_gauge,) = [
        one
        for one in tried(DEMO, ['left fuel.burn=["3 US gal", "4 US gal"]']).face.gauges
        if one.gauge == "left fuel"
    ]
    assert [float(one) for one in left_gauge.burn] == [3, 4]  # the table that has such a key
    left = tried(DEMO, ["left fuel.tolerance=1 ohm"]).input("left fuel")
    assert left is not None and left.tolerance is not None  # no table has it yet, and only one may


TRIES = {
    "no such thing": ("left fule.damping=5 s", Misuse, 'there is no "left fule"; did you mean "left fuel"?'),
    "no key": ("left fuel=5 s", Misuse, "write NAME.KEY=VALUE"),
    "no value": ("left fuel.damping=", Misuse, "write NAME.KEY=VALUE"),
    "a key nobody knows": ("left fuel.dampnig=5 s", WrongBoxFile, "dampnig"),
    "a value that cannot be": ("left fuel.damping=5 psi", WrongBoxFile, "damping"),
}  # fmt: skip


@pytest.mark.parametrize("word, kind, says", TRIES.values(), ids=TRIES)
def test_keys_that_cannot_be_tried(word: str, kind: type[Exception], says: str) -> None:
    with pytest.raises(kind) as wrong:
        tried(DEMO, [word])
    assert says in str(wrong.value)


TWICE = {
    "two of one name": (
        ('words = "ALTERNATOR OUT"', 'words = "COOLANT LOST"'), "COOLANT LOST.lasts=9 s",
        "there are 2 of that name; edit a copy of hull.toml and compare it with --against",
    ),
    "an input called as a table": (
        ('name = "hydraulic"', 'name = "reserve"'), "reserve.pressure=absolute",
        'input reserve, [reserve] have that key; write "input reserve.pressure=absolute" or "[reserve].pressure=absolute"',
    ),
}  # fmt: skip


@pytest.mark.parametrize("edit, word, says", TWICE.values(), ids=TWICE)
def test_a_key_of_two_tables_is_refused(tmp_path: Path, edit: tuple[str, str], word: str, says: str) -> None:
    (file := tmp_path / "hull.toml").write_text(DEMO.read_text().replace(*edit, 1))
    with pytest.raises(Misuse) as wrong:
        tried(file, [word])
    assert str(wrong.value) == f'{file}: --set "{word}": {says}'


# of an input that is called as the table [reserve] is; what is set, and what came of it
NAMESAKES: dict[str, tuple[str, Callable[[Box], object], object]] = {
    "its kind before it": ("input reserve.pressure=absolute", lambda box: box.inputs[5].unit, "psi absolute"),
    "brackets around it": ("[reserve].holds=12 US gal", lambda box: box.face.reserve and box.face.reserve.holds, 12),
    "one of them has it": ("reserve.holds=12 US gal", lambda box: box.face.reserve and box.face.reserve.holds, 12),
    "only one may have it": ("reserve.tolerance=1 %", lambda box: box.inputs[5].tolerance, Tolerance(Fraction(1), "%")),
}  # fmt: skip


@pytest.mark.parametrize("word, said, right", NAMESAKES.values(), ids=NAMESAKES)
def test_a_key_that_one_table_has(
    tmp_path: Path, word: str, said: Callable[[Box], object], right: object
) -> None:
    text = DEMO.read_text().replace('name = "hydraulic"', 'name = "reserve"', 1)
    (file := tmp_path / "hull.toml").write_text(text)
    assert said(tried(file, [word])) == right


# -- the command


def write_live(path: Path, rows: int) -> None:
    """A short flight of the demo in the form of `live`, without readings: a wire breaks."""
    recording = flight({}, rows)
    recording.counts["hydraulic"][20:40] = 0
    names = list(recording.counts)
    with path.open("w") as file:
        file.write(f"# gaugelight live, box hull console, table {demo().crc32:08x}\n")
        file.write(",".join(["time UTC", *(f"{name} count" for name in names)]) + "\n")
        for row in range(rows):
            at = datetime(2026, 11, 26, 10, tzinfo=timezone.utc) + timedelta(milliseconds=100 * row)
            file.write(
                ",".join([at.isoformat(), *(str(recording.counts[name][row]) for name in names)]) + "\n"
            )


def test_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_live(tmp_path / "f.csv", 150)
    assert main(["replay", str(DEMO), "f.csv", "--set", "hydraulic.damping=3 s", "-o", "said.csv"]) == 0
    out = capsys.readouterr().out
    for words in (
        "f.csv: hull console: 150 rows, 14.9 s from 2026-11-26 10:00:00 UTC, 10 a second",
        "hydraulic FAIL open",
        "plot: f_replay.png",
        "readings: said.csv",
        "hydraulic, psi gauge",
    ):
        assert words in out
    assert (tmp_path / "f_replay.png").read_bytes()[:4] == b"\x89PNG"
    head, *rest = (tmp_path / "said.csv").read_text().splitlines()
    assert head.startswith("# gaugelight replay of f.csv, amphibian ")
    rows = list(csv.DictReader(rest))
    assert len(rows) == 150 and rows[0]["time UTC"] == "2026-11-26T10:00:00.000Z"
    assert rows[30]["hydraulic fault (tried)"] == "open" and rows[30]["hydraulic psi gauge (tried)"] == ""
    assert "hydraulic FAIL open" in rows[38]["alerts (amphibian)"] and rows[5]["alerts (amphibian)"] == ""
    assert float(rows[10]["left fuel US gal (amphibian)"]) == pytest.approx(9, abs=0.05)

    monkeypatch.setattr("gaugelight.flights.command.build", lambda box: demo())
    monkeypatch.setattr("gaugelight.flights.plots.replay_picture", lambda recording, replays, path: None)
    assert main(["replay", str(DEMO), "f.csv", "--json", "--plot", "p.svg"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["rows"] == 150 and said["tables"] == [{"label": "amphibian", "crc32": f"{demo().crc32:08x}"}]
    (alert,) = said["alerts"]
    assert alert["words"] == "hydraulic FAIL open" and alert["amphibian"]["from_s"] == pytest.approx(
        3.1, abs=0.2
    )
    (hydraulic,) = [one for one in said["readouts"] if one["name"] == "hydraulic"]
    assert hydraulic["fault_s"] == pytest.approx(2.0, abs=0.2) and said["plot"] == "p.svg"


MISUSE = {
    "two ways": (["--against", "other.toml", "--set", "a.b=1"], "leave --against out"),
    "over the log": (["-o", "f.csv"], "is what is read"),
    "no table": (["-o", "x.txt"], "name a .csv"),
    "no picture": (["--plot", "x.gif"], "name a .png"),
    "held without a value": (["--with", "bus"], "write INPUT=READING"),
    "held by another name": (["--with", "bsu=14 V"], 'did you mean "bus"?'),
    "a switch": (["--with", "transfer pump=1"], "on or off"),
    "out of range": (["--with", "bus=40 V"], "outside 8 to 16 V"),
    "no such box": (["--against", "nowhere.toml"], "nowhere.toml: cannot be read"),
}  # fmt: skip


@pytest.mark.parametrize("words, says", MISUSE.values(), ids=MISUSE)
def test_misuse(
    words: list[str],
    says: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    # it is the words that are wrong
    monkeypatch.setattr("gaugelight.flights.command.build", lambda box: demo())
    write_live(tmp_path / "f.csv", 5)
    before = (tmp_path / "f.csv").read_bytes()
    assert main(["replay", str(DEMO), "f.csv", *words]) == 2
    told = capsys.readouterr()
    assert says in told.err and told.err.count("\n") == 1
    assert (tmp_path / "f.csv").read_bytes() == before


# -- against a box

MOVES = {
    6: "left fuel = 7 US gal", 9: "right fuel = 3 US gal", 12: "hydraulic = broken", 18: "hydraulic = whole", 22: "hydraulic = 600 psi",
    25: "coolant temperature = 90 degC", 30: "sender rail = broken", 37: "sender rail = whole", 42: "bus = at 13.6 V",
}  # fmt: skip
ROWS = 50
LATE = 3  # rows: a count between two rows, the spike filter, a turn of the damper


def test_what_a_box_has_said_it_says_again(tmp_path: Path) -> None:
    """The firmware on its own interpreter, recorded as `live` does. Once an input has stood still for three rows, without damping, reading and
    fault are the log's to the digit; while it moves the log has one of the several counts that the box took between two rows, and both are
    within a row of each other. Damped, the log's reading lies among those of the replay up to three rows before and after.
    """
    pytest.importorskip("micropython_unix", reason="the virtual box needs the bench extra")
    built = other()
    path = tmp_path / "x.csv"
    began = datetime(2026, 11, 26, 10, tzinfo=timezone.utc)
    with prepared(built, lambda text: None) as (aircraft, virtual):
        aircraft.jumper_closed = False
        virtual.power_cycle()
        virtual.fast_forward(6000)
        with BoxLine(virtual.port) as line, path.open("w", newline="") as file:
            state = Watch(line).state
            described = line.describe(state.hello.inputs)
            file.write(head_of(state))
            first = line.hello_same_version().uptime_ms
            for row in range(ROWS):
                if row in MOVES:
                    move(aircraft, MOVES[row], virtual.power_cycle)
                now = line.hello_same_version().uptime_ms
                cells = row_of(
                    replace(state, said=tuple(line.values(described))),
                    began + timedelta(milliseconds=now - first),
                )
                csv.writer(file, lineterminator="\n").writerow(cells)
                virtual.fast_forward(max(1, now + 100 - line.hello_same_version().uptime_ms))
    recording = read_recording(path)
    found = run(recording, built)
    assert recording.crc == found.crc and len(recording) == ROWS and recording.notes == ()
    faults: set[int] = set()
    undamped = {one.name for one in built.box.inputs if not one.damping}
    assert undamped == {"sender rail", "right fuel", "coolant temperature", "bus"}
    for trace in found.traces:
        said = recording.said[trace.name]
        faults |= set(said.faults.tolist())
        stands = _stands_still(built, recording, trace.name)
        assert np.array_equal(trace.faults[stands], said.faults[stands]), trace.name
        units = np.round(np.nan_to_num(said.readings) * 10.0**trace.decimals)
        good = (trace.faults == 0) & (said.faults == 0)
        if trace.name in undamped:
            exact = stands & good
            assert exact.sum() > ROWS / 2
            assert np.array_equal(trace.units[exact], units[exact]), trace.name
        for row in np.flatnonzero(good[: ROWS - LATE]).tolist():
            least, most = _around(found, trace.name, row)
            assert least - 1 <= units[row] <= most + 1, (trace.name, row)
    assert {FAULTS[fault] for fault in faults} == {None, "open", "short", "rail"}
    held = agreement(found, recording)
    assert held is not None and held.all == ROWS * len(built.box.inputs)
    assert held.all >= held.near >= held.same > 0.8 * held.all


def _around(found: Replay, name: str, row: int) -> tuple[int, int]:
    """Least and most that the replay says up to LATE rows before and after; of a derived readout by its parts, as each may be off by itself."""
    derived = next((record for record in found.table.derived if record.name == name), None)
    if derived is None:
        trace = found.trace(name)
        assert trace is not None
        around = slice(max(0, row - LATE), row + LATE + 1)
        near = trace.units[around][trace.faults[around] == 0]
        return int(near.min()), int(near.max())
    least = most = 0
    for index, curve in derived.parts:
        ends = [lookup(curve, units) for units in _around(found, found.table.inputs[index].name, row)]
        least, most = least + min(ends), most + max(ends)
    return least, most


def _stands_still(built: Build, recording: Recording, name: str) -> Any:
    """Rows at which the counts that it is made of have been the same for three rows, and stay so for one more."""
    derived = next((one.names for one in built.box.face.derived if one.name == name), (name,))
    stands = np.ones(ROWS, bool)
    for part in derived:
        one = built.box.input(part)
        assert one is not None
        rail = built.box.rail_of(one)
        for counts in [recording.counts[part]] + ([recording.counts[rail.name]] if rail is not None else []):
            for away in (-3, -2, -1, 1):
                stands &= np.roll(counts, -away) == counts
    stands[:3] = stands[-1:] = False
    return stands
