"""Logs read back: both forms, what was cut off, gaps, and what is told of a file that is none."""

from datetime import datetime, timezone
from pathlib import Path

import numpy as np
import pytest

from gaugelight.flights.command import write_csv
from gaugelight.flights.recording import ROWS_AT_ONCE, Recording, read_recording
from gaugelight.live_log import LiveLog
from gaugelight.problems import Misuse, Wrong
from test_live import state

LIVE = "# gaugelight live, box hull console, table 552976a6\n"
LOG = "# gaugelight log, box hull console, table 552976a6\n"
COLUMNS = "time UTC,bus count,bus V,bus fault\n"
STARTS = "start,seconds,time UTC,bus count,oil count,lamp level,pump switch,event\n"


def reading(tmp_path: Path, text: str | bytes) -> Recording:
    path = tmp_path / "x.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_recording(path)


def live(*rows: str) -> str:
    return LIVE + COLUMNS + "".join(f"2026-11-26T10:{row}\n" for row in rows)


def test_what_live_writes_is_read_back(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    with LiveLog(path, False, state()) as log:
        log.add(state())
        log.add(state({"hydraulic": "open", "left fuel": 3.5, "bus": "converter"}))
    found = read_recording(path)
    assert (found.box, found.crc, found.switches, found.spans) == (
        "hull console",
        "552976a6",
        {},
        ((0, 2),),
    )
    assert found.counts["hydraulic"].tolist() == [30000, 30000]  # an open wire has a count
    assert found.counts["bus"].tolist() == [30000, -1]  # the one that came last says nothing
    assert "usable fuel" not in found.counts and found.said["usable fuel"].readings.tolist() == [18, 18]
    left = found.said["left fuel"]
    assert (left.unit, left.readings.tolist(), left.faults.tolist()) == ("US gal", [9, 3.5], [0, 0])
    assert np.isnan(found.said["hydraulic"].readings[1]) and found.said["hydraulic"].faults[1] == 1
    assert found.began is not None and abs((found.began - datetime.now(timezone.utc)).total_seconds()) < 60


def test_what_the_box_logs_is_read_back(tmp_path: Path) -> None:
    rows = (
        "3,0,,100,,5000,0,box started\n3,1,,101,7,5000,1,\n3,2,2026-11-26T10:00:02Z,102,8,0,1,bus open; x\n"
    )
    found = reading(tmp_path, LOG + STARTS + rows)
    assert found.times_ms.tolist() == [0, 1000, 2000]
    assert found.counts["bus"].tolist() == [100, 101, 102] and found.counts["oil"].tolist() == [-1, 7, 8]
    assert found.switches["pump"].tolist() == [0, 1, 1]
    assert found.events == ((0, "box started"), (2, "bus open; x"))
    assert found.began == datetime(2026, 11, 26, 10, 0, 0, tzinfo=timezone.utc)
    assert found.moment(1) == "10:00:01" and found.up_ms == (0,)


# rows, where it begins anew, the times, and what is noted
PIECES = {
    "another start": ("1,5,,1,1,0,0,\n2,0,,1,1,0,0,\n2,1,,1,1,0,0,\n", [0, 1], [0, 1000, 2000], "0:00:01: the box started anew"),
    "another start, times known": (
        "1,5,2026-11-26T10:00:00Z,1,1,0,0,\n2,0,2026-11-26T10:01:00Z,1,1,0,0,\n",
        [0, 1],
        [0, 60000],
        "10:01:00: the box started anew",
    ),
    "a hole": ("1,5,,1,1,0,0,\n1,6,,1,1,0,0,\n1,40,,1,1,0,0,\n", [0, 2], [0, 1000, 35000], "nothing was recorded for 34 s"),
    "a second is missing": ("1,5,,1,1,0,0,\n1,7,,1,1,0,0,\n", [0], [0, 2000], ""),
    "cut off in the middle": ("1,5,,1,1,0,0,\n1,6,,1\n1,7,,1,1,0,0,\n", [0], [0, 2000], "1 row was cut off"),
    "the last has no end": ("1,5,,1,1,0,0,\n1,6,,1,1,0,0,", [0], [0], "1 row was cut off"),
    "the last is cut in a number": ("1,5,,1,1,0,0,\n1,6,,1,1\n1,7,,1", [0], [0], "2 rows were cut off"),
    "an empty line": ("1,5,,1,1,0,0,\n\n1,6,,1,1,0,0,\n", [0], [0, 1000], ""),
}  # fmt: skip


@pytest.mark.parametrize("rows, begins, times, note", PIECES.values(), ids=PIECES)
def test_pieces(tmp_path: Path, rows: str, begins: list[int], times: list[int], note: str) -> None:
    found = reading(tmp_path, LOG + STARTS + rows)
    assert [first for first, _ in found.spans] == begins and found.spans[-1][1] == len(found)
    assert found.times_ms.tolist() == times
    assert note in "\n".join(found.notes) and bool(note) == bool(found.notes)


UNKNOWN, TEN = "{},0,,1,1,0,0,\n{},1,,1,1,0,0,\n", "{},0,2026-11-26T10:{}:00Z,1,1,0,0,\n"
# rows, what is said of the time of each, and milliseconds since the first
DATED = {
    "before one that is known": (UNKNOWN.format(1, 1) + TEN.format(2, "00"), ["+0:00:00", "+0:00:01", "10:00:00"], [0, 1000, 2000]),
    "after it": (TEN.format(2, "00") + UNKNOWN.format(3, 3), ["10:00:00", "+0:00:01", "+0:00:02"], [0, 1000, 2000]),
    "between two": (
        TEN.format(2, "00") + UNKNOWN.format(3, 3) + TEN.format(4, "01"),
        ["10:00:00", "+0:00:01", "+0:00:02", "10:01:00"],
        [0, 1000, 2000, 60000],
    ),
}  # fmt: skip


@pytest.mark.parametrize("rows, moments, times", DATED.values(), ids=DATED)
def test_no_time_of_day_is_invented(tmp_path: Path, rows: str, moments: list[str], times: list[int]) -> None:
    found = reading(tmp_path, LOG + STARTS + rows)
    assert [found.moment(row) for row in range(len(found))] == moments
    assert found.times_ms.tolist() == times and "nobody knows" in found.notes[0]
    assert (found.first_moment is None) == moments[0].startswith("+")
    written = tmp_path / "out.csv"
    write_csv(written, [], found, lambda done, of: None)
    told = [line.split(",")[:2] for line in written.read_text().splitlines()[1:]]
    assert told[0] == ["seconds", "time UTC"]
    assert [bool(at) for _, at in told[1:]] == [not moment.startswith("+") for moment in moments]


def test_a_clock_that_is_set_back(tmp_path: Path) -> None:
    found = reading(
        tmp_path, live("00:00.0Z,1,2,", "00:00.1Z,1,2,", "00:00.2Z,1,2,", "00:00.0Z,1,2,", "00:00.1Z,1,2,")
    )
    assert found.times_ms.tolist() == [0, 100, 200, 300, 400] and "set back" in found.notes[0]
    assert np.all(np.diff(found.times_ms) >= 0)


# a file, and what is told: never a traceback
WRONG = {
    "another file": ("[box]\n", "x.csv:1: is no log of a box"),
    "an empty one": ("", "x.csv:1: is no log of a box"),
    "binary": (b"\xff\xfe\x00\x00" * 90, "x.csv:1: is no log of a box"),
    "the head only": (LIVE + COLUMNS, "x.csv:3: there is no row of readings yet"),
    "without a head": (LIVE, "x.csv:2: the column \"time UTC\" is missing"),
    "a head cut off": (LOG + "start,sec\n", "x.csv:2: the column \"seconds\" is missing"),
    "two alike": (LIVE + "time UTC,bus count,bus count\n", "x.csv:2: there are two columns \"bus count\""),
    "a word": (live("00:00Z,1,2,", "00:01Z,many,2,"), "x.csv:4: bus count: \"many\" is no count of a converter"),
    "a count too large": (live("00:00Z,65536,2,"), "x.csv:3: bus count: \"65536\" is no count"),
    "a count below nought": (live("00:00Z,-1,2,"), "x.csv:3: bus count: \"-1\" is no count"),
    "a decimal comma": (live("00:00Z,1,\"2,5\","), "x.csv:3: bus V: \"2,5\" is no reading"),
    "a fault nobody knows": (live("00:00Z,1,,sulks"), "x.csv:3: bus fault: \"sulks\" is no fault"),
    "a time": (LIVE + COLUMNS + "yesterday,1,2,\n", "x.csv:3: time UTC: \"yesterday\" is no time"),
    "a column more": (live("00:00Z,1,2,,5"), "x.csv:3: has 5 columns, the head has 4"),
    "a quote that is not closed": (LOG + STARTS + '1,0,,1,1,0,0,\n1,1,,"1,1,0,0,\n1,2,,1,1,0,0,\n', "x.csv:4: a quote (\") that is not closed"),
    "such a quote, and the last cut off": (LOG + STARTS + '1,0,,1,1,0,0,\n1,1,,"1,1,0,0,\n1,2,,1', "x.csv:4: a quote"),
    "no second": (LOG + STARTS + "1,nan,,1,1,0,0,\n", "x.csv:3: seconds: \"nan\" is no number of seconds"),
    "for ever": (LOG + STARTS + "1,0,,1,1,0,0,\n1,inf,,1,1,0,0,\n", "x.csv:4: seconds: \"inf\" is no number"),
    "longer than there are boxes": (LOG + STARTS + "1,1e300,,1,1,0,0,\n", "x.csv:3: seconds: \"1e300\" is no number"),
    "a start too many": (LOG + STARTS + f"{10**20},0,,1,1,0,0,\n", "is no number of a start"),
    "a time without end": (LIVE + COLUMNS + "9999-12-31T23:59:59Z,1,2,\n", "is no time in UTC"),
    "a switch": (LOG + STARTS + "1,0,,1,1,0,on,\n", "x.csv:3: pump switch: \"on\" is no switch"),
}  # fmt: skip


@pytest.mark.parametrize("text, told", WRONG.values(), ids=WRONG)
def test_what_is_no_log(tmp_path: Path, text: str | bytes, told: str) -> None:
    with pytest.raises(Wrong) as wrong:
        reading(tmp_path, text)
    assert told in str(wrong.value) and len(wrong.value.lines) == 1


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(Misuse, match="cannot be read"):
        read_recording(tmp_path / "x.csv")
    with pytest.raises(Misuse, match="cannot be read"):
        read_recording(tmp_path)


def test_the_line_is_right_in_a_long_log_and_progress_is_told(tmp_path: Path) -> None:
    """It is read in pieces."""
    rows = [f"1,{k},,{k % 9},1,0,0,\n" for k in range(ROWS_AT_ONCE + 20)]
    path = tmp_path / "x.csv"
    path.write_text(LOG + STARTS + "".join(rows))
    seen: list[tuple[int, int]] = []
    found = read_recording(path, lambda done, of: seen.append((done, of)))
    assert len(found) == ROWS_AT_ONCE + 20 and found.counts["bus"][ROWS_AT_ONCE] == ROWS_AT_ONCE % 9
    assert len(seen) == 2 and seen[-1][0] == seen[-1][1] == path.stat().st_size
    rows[ROWS_AT_ONCE + 5] = rows[ROWS_AT_ONCE + 5].replace(",1,0,0,", ",x,0,0,")
    with pytest.raises(Wrong, match=f":{ROWS_AT_ONCE + 8}: oil count"):
        reading(tmp_path, LOG + STARTS + "".join(rows))
