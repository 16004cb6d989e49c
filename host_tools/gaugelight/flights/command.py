"""`gaugelight replay` and `gaugelight trend`: words in, screen or JSON out."""

from __future__ import annotations

import argparse
import csv
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from gaugebox.alerts import WARNING
from gaugelight.boxfile import FUEL_UNITS, PRESSURE_UNITS, Box, bare, read_box
from gaugelight.build import Build, build
from gaugelight.chain import chain_of
from gaugelight.flights.compare import (
    Beside,
    Difference,
    agreement,
    beside,
    clock,
    difference,
    in_words,
    span_of,
    zones_told,
)
from gaugelight.flights.recording import Recording, read_recording
from gaugelight.flights.replay import Job, Replay, Told, Trace, replay_both
from gaugelight.flights.replay import replay as replay_one
from gaugelight.problems import Misuse, Wrong, meant
from gaugelight.said import resting_count

if TYPE_CHECKING:
    from gaugelight.cli import Outcome, Screen

MOST_ALERTS = 60  # on the screen
ROWS_AT_ONCE = 20_000
AT_REST = "rest"
PICTURES = (".png", ".svg", ".pdf")


def replay(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.cli import ADVISORY
    from gaugelight.flights.plots import replay_picture

    if words.against is not None and words.set:
        raise Misuse(
            "--set tries keys of BOX beside BOX as it is; leave --against out, or write the keys into it"
        )
    path, log = Path(words.box), Path(words.log)
    table = _target(words.output, (".csv",), (log, path))
    plot = _target(words.plot or f"{log.stem}_replay.png", PICTURES)
    box = read_box(path)
    labels, builds = [path.stem], [build(box)]
    if words.against is not None:
        builds.append(build(read_box(Path(words.against))))
        labels.append(Path(words.against).stem)
        if labels[0] == labels[1]:
            labels = [words.box, words.against]
    elif words.set:
        from gaugelight.flights.tried import tried

        builds.append(build(tried(path, words.set)))
        labels.append("tried")
    recording = _read(screen, log)
    jobs = [job_of(label, built, recording, words.held) for label, built in zip(labels, builds)]
    notes = notes_on(recording, builds[0], words.held)
    with screen.progress("replaying") as bar:
        if len(jobs) == 2:
            replays = list(replay_both(jobs[0], jobs[1], recording, bar))
        else:
            replays = [replay_one(jobs[0], recording, bar)]
    _say_recording(screen, recording, notes)
    if replays[0].crc == recording.crc and (told := _agreement(replays[0], recording)):
        screen.say(f"  {told}")
    readouts = _say_readouts(screen, replays, recording)
    alerts = _say_alerts(screen, replays, recording)
    if table is not None:
        with screen.progress("writing") as bar:
            write_csv(table, replays, recording, bar)
        screen.say(f"readings: {table}")
    drawn = _draw(screen, plot, lambda to: replay_picture(recording, replays, to))
    screen.say(ADVISORY)
    return {
        "log": str(log),
        "rows": len(recording),
        "seconds": float(recording.seconds()[-1]),
        "table_of_the_log": recording.crc,
        "tables": [{"label": one.label, "crc32": one.crc} for one in replays],
        "notes": notes,
        "readouts": readouts,
        "alerts": alerts,
        "plot": drawn,
        "readings": None if table is None else str(table),
    }, 0


def job_of(label: str, built: Build, recording: Recording, held: list[str]) -> Job:
    """With what `--with` says of inputs and switches that the log does not have; rails that it does not have are at their nominal voltage.
    Raises Misuse."""
    box = built.box
    switches = {switch.name for switch in box.lights.switches}
    counts: dict[str, int] = {
        one.name: resting_count(box, one)
        for one in box.inputs
        if one.nominal is not None and one.name not in recording.counts
    }
    on: set[str] = set()
    for word in held:
        name, equals, value = (part.strip() for part in word.partition("="))
        if not equals or not value:
            raise Misuse(f'--with "{word}": write INPUT=READING, INPUT=rest, SWITCH=on or SWITCH=off')
        one = box.input(name)
        if name in switches:
            if value not in ("on", "off"):
                raise Misuse(f'--with "{word}": a switch is on or off')
            on |= {name} if value == "on" else set()
        elif one is not None:
            counts[name] = resting_count(box, one) if value == AT_REST else _reading_count(box, name, value)
        else:
            there = meant(name, [*(one.name for one in box.inputs), *sorted(switches)])
            raise Misuse(f'{box.file}: there is no input and no switch "{name}"; {there}')
    return Job(label, built.image, counts, frozenset(on))


def _reading_count(box: Box, name: str, value: str) -> int:
    from gaugelight.light_said import reading_of

    one = box.input(name)
    assert one is not None
    signal = float(one.law.signal(np.array([reading_of(box, name, value)]))[0])
    return one.converter.count(chain_of(box, one).pin_volts(signal))


def notes_on(recording: Recording, built: Build, held: list[str]) -> list[str]:
    """What one must know to take the replay for what it is."""
    box = built.box
    given = {word.partition("=")[0].strip() for word in held}
    crc = f"{built.crc32:08x}"
    notes = list(recording.notes)
    if recording.box not in ("", box.name):
        notes.append(
            f'recorded on box "{recording.box}", and {box.file} is of "{box.name}": is it the right log?'
        )
    if recording.crc is None:
        notes.append("recorded without a table; counts are those of the pins all the same")
    elif recording.crc != crc:
        what = f"recorded with table {recording.crc}, {box.file} makes {crc}: counts are the same as long as"
        notes.append(f"{what} pins, converters and circuits are")
    for one in box.inputs:
        if one.name in recording.counts or one.name in given:
            continue
        rail = (
            "at its nominal voltage"
            if one.nominal is not None
            else f'silent; --with "{one.name}=..." holds it'
        )
        notes.append(f"{one.name} is not in the log: {rail}")
    for name in recording.counts:
        if box.input(name) is None:
            near = meant(name, [one.name for one in box.inputs if one.name not in recording.counts])
            notes.append(f"{name} is in the log only{'; ' + near if near.startswith('did') else ''}")
    missing = [one.name for one in box.lights.switches if one.name not in {*recording.switches, *given}]
    if missing and (box.face.reserve is not None or _asks_switches(box)):
        notes.append(
            f"not in the log, and taken as off: {', '.join(missing)}; --with \"SWITCH=on\" holds one on"
        )
    return notes


def _asks_switches(box: Box) -> bool:
    names = {one.name for one in box.lights.switches}
    return any(one.name in names for one in box.face.conditions(tuple(m for _, _, m in box.shown)))


def _read(screen: Screen, log: Path) -> Recording:
    with screen.progress("reading") as bar:
        return read_recording(log, bar)


def _say_recording(screen: Screen, recording: Recording, notes: list[str]) -> None:
    first = recording.first_moment
    began = "" if first is None else f" from {first:%Y-%m-%d %H:%M:%S} UTC"
    rate = 1000 / recording.interval_ms
    every = f"{rate:.3g} a second" if rate >= 1 else f"one in {1 / rate:.3g} s"
    length = clock(float(recording.seconds()[-1]))
    screen.say(f"{recording.source}: {recording.box}: {len(recording):,} rows, {length}{began}, {every}")
    for note in notes:
        screen.say(f"  {note}")


def _agreement(one: Replay, recording: Recording) -> str:
    held = agreement(one, recording)
    if held is None:
        return ""
    told = f"of {held.all:,} readings and faults of inputs in the log {held.same / held.all:.2%} are said again to the digit"
    if held.near > held.same:
        told += f", {held.near / held.all:.2%} within what moved from one row to the next"
    if held.worst is not None:
        told += f"; furthest off: {held.worst[0]} at {recording.moment(held.worst[1])}"
    return told


def _say_readouts(screen: Screen, replays: list[Replay], recording: Recording) -> list[dict[str, Any]]:
    """A line for each; with two tables a line for each table where they differ."""
    rows, said = [], []
    for name in dict.fromkeys(trace.name for one in replays for trace in one.traces):
        there = [(one.label, trace) for one in replays if (trace := one.trace(name)) is not None]
        spans = [span_of(trace, recording) for _, trace in there]
        said += [{"table": label} | vars(span) for (label, _), span in zip(there, spans)]
        apart = ""
        if len(there) == 2:
            found = difference(there[0][1], there[1][1], recording)
            said[-1]["difference"] = None if found is None else vars(found)
            apart = _apart(found, there[1][1], recording)
            if not apart and spans[0] == spans[1]:
                there = [("both", there[0][1])]
        for number, ((label, trace), span) in enumerate(zip(there, spans)):
            cells = ["" if number else f"{name}, {trace.unit}", label]
            cells += [_shown(value, trace.step) for value in (span.least, span.middle, span.greatest)]
            cells += [clock(span.fault_s) if span.fault_s else "", zones_told(span)]
            rows.append(cells + [apart if number == 1 else ""])
    heads = [
        "readout",
        "table",
        ">least",
        ">middle",
        ">greatest",
        ">at fault",
        "in its marks",
        "largest difference",
    ]
    if len(replays) == 1:
        heads, rows = _without_table(heads), [_without_table(row) for row in rows]
    screen.table("", heads, rows, wrap=True)
    return said


def _without_table(cells: list[str]) -> list[str]:
    return [cells[0], *cells[2:-1]]


def _apart(found: Difference | None, trace: Trace, recording: Recording) -> str:
    """Of the second table from the first."""
    if found is None:
        return "in another unit"
    told = []
    if found.by:
        told.append(f"{found.by:+.{trace.decimals}f} at {recording.moment(found.row)}")
    if found.faults_s:
        told.append(f"another fault for {clock(found.faults_s)}")
    return "; ".join(told)


def _shown(value: float | None, step: float) -> str:
    """To no less than a tenth of what is displayed."""
    if value is None:
        return "-"
    decimals = 0
    while step * 10**decimals < 9.99 and decimals < 6:
        decimals += 1
    text = f"{value:.{decimals}f}"
    return text if text.strip("-0.") else text.lstrip("-")


def _say_alerts(screen: Screen, replays: list[Replay], recording: Recording) -> list[dict[str, Any]]:
    two = len(replays) == 2
    pairs = (
        beside(replays[0].told, replays[1].told, recording)
        if two
        else [Beside(told, None) for told in replays[0].told]
    )
    labels = (replays[0].label, replays[-1].label)
    rows, said = [], []
    for pair in pairs:
        told = pair.either
        urgency = "WARNING" if told.urgency == WARNING else "caution"
        differs = in_words(pair, recording, labels) if two else ""
        cells = [urgency, told.words, _when(pair.one, recording)]
        rows.append(cells + [_when(pair.other, recording), differs] if two else cells)
        said.append(
            {"words": told.words, "urgency": urgency.lower()}
            | {
                label: None if one is None else _seconds(one, recording)
                for label, one in zip(labels[: len(replays)], (pair.one, pair.other))
            }
            | ({"differs": differs} if two else {})
        )
    if not rows:
        screen.say("alerts: none")
        return said
    heads = ["alerts", "", labels[0] if two else "from - to"] + ([labels[1], "differs"] if two else [])
    if two:  # what differs first, where not all can be shown
        shown = rows if len(rows) <= MOST_ALERTS else sorted(rows, key=lambda row: not row[-1])[:MOST_ALERTS]
    else:
        shown = rows[:MOST_ALERTS]
    screen.table("", heads, shown, wrap=True)
    if len(rows) > len(shown):
        screen.say(f"  and {len(rows) - len(shown)} more (--json has them all)")
    return said


def _when(told: Told | None, recording: Recording) -> str:
    if told is None:
        return "-"
    end = "the end" if told.ended is None else recording.moment(told.ended)
    return f"{recording.moment(told.began)} - {end}"


def _seconds(told: Told, recording: Recording) -> dict[str, float | None]:
    times = recording.seconds()
    ended = None if told.ended is None else float(times[min(told.ended, len(times) - 1)])
    return {"from_s": float(times[told.began]), "to_s": ended}


def write_csv(
    path: Path, replays: list[Replay], recording: Recording, progress: Callable[[int, int], None]
) -> None:
    """The readings said, a row a row of the log; with two tables their columns carry their names. Raises Wrong."""
    heads = ["seconds"] * (recording.began is None or bool(recording.undated))
    heads += ["time UTC"] * (recording.began is not None)
    columns = []
    for one in replays:
        after = f" ({one.label})" if len(replays) > 1 else ""
        for trace in one.traces:
            heads += [f"{trace.name} {trace.unit}{after}", f"{trace.name} fault{after}"]
            columns.append(trace)
    alerts = [_alerts_by_row(one, len(recording)) for one in replays]
    heads += [f"alerts ({one.label})" if len(replays) > 1 else "alerts" for one in replays]
    tables = ", ".join(f"{one.label} {one.crc}" for one in replays)
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            file.write(f"# gaugelight replay of {recording.source}, {tables}\n")
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(heads)
            for at in range(0, len(recording), ROWS_AT_ONCE):
                progress(at, len(recording))
                writer.writerows(_csv_rows(recording, columns, alerts, at))
    except OSError as problem:
        raise Wrong(f"{path}: cannot be written: {problem.strerror}") from None


def _csv_rows(recording: Recording, columns: list[Any], alerts: list[list[str]], at: int) -> Any:
    from datetime import datetime, timezone

    from gaugebox.measure import FAULTS

    piece = slice(at, at + ROWS_AT_ONCE)
    times = recording.times_ms[piece].tolist()
    cells = []
    if recording.began is None or recording.undated:
        cells.append([f"{ms / 1000:.3f}" for ms in times])
    if recording.began is not None:
        began = recording.began.timestamp()
        moments = [datetime.fromtimestamp(began + ms / 1000, timezone.utc) for ms in times]
        told = [one.isoformat(timespec="milliseconds").replace("+00:00", "Z") for one in moments]
        for first, end in recording.undated:
            for row in range(max(first - at, 0), min(end - at, len(told))):
                told[row] = ""
        cells.append(told)
    for trace in columns:
        faults = trace.faults[piece].tolist()
        form = f"%.{trace.decimals}f"
        scale = 10**trace.decimals
        cells.append(
            [
                "" if fault else form % (units / scale)
                for units, fault in zip(trace.units[piece].tolist(), faults)
            ]
        )
        cells.append([FAULTS[fault] or "" for fault in faults])
    return zip(*cells, *(some[piece] for some in alerts))


def _alerts_by_row(one: Replay, rows: int) -> list[str]:
    standing: list[list[str]] = [[] for _ in range(rows)]
    for told in one.told:
        for row in range(told.began, rows if told.ended is None else told.ended):
            standing[row].append(told.words)
    return ["; ".join(words) for words in standing]


def _target(word: str | None, suffixes: tuple[str, ...], sources: tuple[Path, ...] = ()) -> Path | None:
    """Where something can be written that is none of what was read. Raises Misuse."""
    if word is None:
        return None
    path = Path(word)
    if path.suffix not in suffixes or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise Misuse(f"{path}: cannot be written there; name a {' or '.join(suffixes)} in a folder of yours")
    if any(path.resolve() == source.resolve() for source in sources):
        raise Misuse(f"{path}: is what is read; name another file with -o")
    return path


def _draw(screen: Screen, path: Path | None, draw: Callable[[Path], None]) -> str | None:
    """The picture's name; None where there is none."""
    assert path is not None
    try:
        draw(path)
    except ImportError:
        screen.say("no picture: pip install 'gaugelight[bench]'")
        return None
    except OSError as problem:
        print(f"{path}: cannot be written: {problem.strerror}", file=sys.stderr)
        return None
    screen.say(f"plot: {path}")
    return str(path)


def trend(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.cli import ADVISORY
    from gaugelight.flights.findings import findings, in_lines, of_json, stated_burn
    from gaugelight.flights.plots import trend_picture

    path, log = Path(words.box), Path(words.log)
    plot = _target(words.plot or f"{log.stem}_trend.png", PICTURES)
    box = read_box(path)
    burn = None if words.burn is None else stated_burn(words.burn)
    built = build(box)
    recording = _read(screen, log)
    job = replace(job_of(path.stem, built, recording, []), undamped=True)
    with screen.progress("replaying, undamped") as bar:
        undamped = replay_one(job, recording, bar)
    found = findings(box, undamped, recording, words.input, burn)
    notes = notes_on(recording, built, [])
    _say_recording(screen, recording, notes)
    for one in found:
        screen.facts(f"{one.trace.name}, {one.trace.unit}", in_lines(one, recording))
    if not found:
        screen.say(f"  {_nothing_found(undamped)}")
    drawn = _draw(screen, plot, lambda to: trend_picture(recording, found, to)) if found else None
    screen.say(ADVISORY)
    return {
        "log": str(log),
        "rows": len(recording),
        "notes": notes,
        "inputs": [of_json(one, recording) for one in found],
        "plot": drawn,
    }, 0


def _nothing_found(undamped: Replay) -> str:
    there = [one.name for one in undamped.traces if bare(one.unit) in (*FUEL_UNITS, *PRESSURE_UNITS)]
    if not there:
        return "there is no pressure and no tank in the log: name the inputs to look at"
    return f"nothing can be told of {', '.join(there)}: too short, or too often at fault"
