"""The `gaugelight` command: reads the words, calls the module that does the work, shows what came of it.

Exit 0 done, 1 the thing checked is not right, 2 misuse. With --json one object goes to stdout and nothing else.
"""

import argparse
import contextlib
import json
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from gaugelight.problems import Misuse, Wrong, WrongBoxFile, meant

if TYPE_CHECKING:
    from gaugelight.box_line import Hello

DEMO = Path(__file__).parent / "demo" / "amphibian.toml"
STARTER = Path(__file__).parent / "demo" / "starter.toml"
ADVISORY = "The box is advisory: check fuel with a dipstick and a clock, and every gauge against a reference, before flight."

PICTURES = (".png", ".svg", ".pdf")
EITHER = "the box runs the old table or the new one, whole: `gaugelight read` tells which"
STOPPED = {
    "install": "stopped; the box may stand still: run `gaugelight install` again",
    "flash": f"stopped; {EITHER}",
    "revert": f"stopped; {EITHER}",
    "calibrate": "stopped; every point that was taken is safe in its session; the same command goes on",
    "choose": "stopped; nothing was written",
    "log": "stopped; what has come is kept beside the file named: the same command goes on from there",
}

SMALLEST_SHARE = 0.001  # of what contributes to an uncertainty, on the screen

Outcome = tuple[dict[str, Any] | None, int]  # what --json prints, unless it is printed already; exit code


class Screen:
    """Where a command shows things to people; silent with --json."""

    def __init__(self, quiet: bool) -> None:
        from rich.console import Console

        # a pipe has no width of its own: nothing is cut there
        self.console = Console(
            file=sys.stdout, quiet=quiet, highlight=False, width=None if sys.stdout.isatty() else 200
        )

    def say(self, text: str) -> None:
        self.console.print(text, markup=False, soft_wrap=True)

    def table(self, title: str, columns: list[str], rows: list[list[str]], wrap: bool = False) -> None:
        """Columns whose head begins with ">" are right-aligned; where the screen is narrow cells wrap or are cut."""
        from rich.box import SIMPLE
        from rich.table import Table

        table = Table(title=title or None, box=SIMPLE, title_justify="left")
        for number, column in enumerate(columns):
            words = [word for row in [columns, *rows] for word in row[number].lstrip(">").split()]
            table.add_column(
                column.lstrip(">"),
                justify="right" if column.startswith(">") else "left",
                no_wrap=not wrap,
                min_width=max(map(len, words), default=0) if wrap else None,
            )
        for row in rows:
            table.add_row(*row)
        self.console.print(table, markup=False)

    def facts(self, title: str, facts: list[tuple[str, str]]) -> None:
        """A heading and lines with a word in front, wrapped beside it."""
        from rich.padding import Padding
        from rich.table import Table

        table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
        table.add_column(no_wrap=True, min_width=12)
        table.add_column()
        for topic, says in facts:
            table.add_row(topic, says)
        self.say(title)
        self.console.print(Padding(table, (0, 0, 1, 2)), markup=False)

    @contextlib.contextmanager
    def progress(self, what: str) -> Iterator[Callable[[int, int], None]]:
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.percentage:3.0f} %"),
            TimeElapsedColumn(),
        )
        with Progress(
            *columns, console=self.console, transient=True, disable=not self.console.is_terminal
        ) as bar:
            task = bar.add_task(what, total=None)
            yield lambda done, of: bar.update(task, completed=done, total=of)


def new(words: argparse.Namespace, screen: Screen) -> Outcome:
    path = Path(words.file)
    try:
        if path.exists():
            raise Misuse(f"{path}: is there already; name a new file")
        path.write_bytes(STARTER.read_bytes())
    except OSError as problem:
        raise Misuse(f"{path}: cannot be written: {problem.strerror}") from None
    screen.say(f"{path}: a starter box file; edit it, then: gaugelight check {path}")
    return {"file": str(path)}, 0


NOTHING_TELLS = (
    "nothing tells it that it is in flight; [in_flight] would, and keep it from being written to then"
)


def check(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.calibration.results import notes_on_calibrations
    from gaugelight.check_face import notes_on_face
    from gaugelight.check_lights import notes_on_lights
    from gaugelight.error_budget import coarse_notes
    from gaugelight.faults_shown import faults_shown, notes_on
    from gaugelight.harness.check_harness import notes_on_harness, problems_of_harness

    box = read_box(Path(words.box))
    wrong = problems_of_harness(box)
    if wrong and screen.console.quiet:
        raise WrongBoxFile(box.file, wrong)
    built = build(box)
    shown = [*faults_shown(built)]
    of_inputs = [*notes_on(built, shown), *coarse_notes(built), *notes_on_calibrations(box)]
    told = [(one.name, note) for one, note in of_inputs]
    notes = [{"input": name, "note": note} for name, note in [*told, *notes_on_face(box)]]
    light_notes = [{"light": name, "note": note} for name, note in notes_on_lights(box, shown)]
    box_notes = [] if box.in_flight else [{"box": box.name, "note": NOTHING_TELLS}]
    of_wiring = [] if box.harness is None else [*notes_on_harness(box)]
    wiring_notes = [{"wiring": what, "note": note} for what, note in of_wiring]
    found = "the harness is not right, as said last" if wrong else "no problem found"
    screen.say(f"{box.file}: {box.name}: {found}; inputs: {len(box.inputs)}, lamps: {len(box.lights.lamps)}")
    rows = [
        [f"{one.name}, {one.unit}", *(row.brief for row in shown if row.input == one.name)]
        for one in box.inputs
    ]
    if rows:
        title = "what a fault will show: a wire open, shorted to ground or supply; corrosion; grounds apart"
        heads = ["input", "open", "to ground", "to supply", "5 ohm", "10 ohm", "50 mV"]
        screen.table(title, heads, rows, wrap=True)
    for note in notes:
        screen.say(f"  {note['input']}: {note['note']}")
    for note in light_notes:
        screen.say(f"  {note['light']}: {note['note']}")
    for note in box_notes:
        screen.say(f"  {note['box']}: {note['note']}")
    for note in wiring_notes:
        screen.say(f"  {note['wiring']}: {note['note']}")
    if wrong:
        raise WrongBoxFile(box.file, wrong)
    return {
        "box": box.name,
        "inputs": len(box.inputs),
        "lamps": len(box.lights.lamps),
        "problems": [],
        "faults": [vars(row) for row in shown],
        "notes": notes + light_notes + box_notes + wiring_notes,
    }, 0


def build(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build

    image = Path(words.output) if words.output else Path(words.box).with_suffix(".glt")
    if image.resolve() == Path(words.box).resolve():
        raise Misuse(f"{image}: is the box file itself; name another file with -o")
    with screen.progress("proving every count"):
        built = build(read_box(Path(words.box)))
    try:
        image.write_bytes(built.image)
    except OSError as problem:
        raise Misuse(f"{image}: cannot be written: {problem.strerror}") from None
    inputs: list[dict[str, Any]] = [
        {
            "name": s.input.name,
            "signal_unit": s.input.circuit.unit,
            "reading_unit": s.input.unit,
            "breakpoints": s.breakpoints,
            "signal_error_max": s.signal_error_max,
            "reading_error_max": s.reading_error_max,
            "step": float(s.input.step),
        }
        for s in built.inputs
    ]
    screen.table(
        "conversion error, proven over all 65,536 counts",
        ["input", ">breakpoints", ">signal +-", ">reading +-", ">step"],
        [
            [
                one["name"],
                str(one["breakpoints"]),
                f"{_two_digits(one['signal_error_max'])} {one['signal_unit']}",
                _two_digits(one["reading_error_max"]),
                f"{one['step']:g} {one['reading_unit']}",
            ]
            for one in inputs
        ],
    )
    screen.say(f"{image}: {len(built.image)} bytes, CRC {built.crc32:08x}")
    return {
        "image": str(image),
        "inputs": inputs,
        "image_bytes": len(built.image),
        "crc32": f"{built.crc32:08x}",
    }, 0


def convert(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.said import convert, count_of, input_index, resting_reading, shown

    box = read_box(Path(words.box))
    one = box.inputs[input_index(box, words.input)]
    counts = [count_of(box, one, word) for word in words.count]
    said = convert(build(box), words.input, counts)
    rows = [
        {
            "count": count,
            "signal": None if s.signal is None else float(s.signal),
            "signal_unit": s.signal_unit,
            "reading": None if s.reading is None else float(s.reading),
            "reading_unit": s.reading_unit,
            "fault": s.fault,
        }
        for count, s in zip(counts, said)
    ]
    cells = [[str(count), *shown(s)] for count, s in zip(counts, said)]
    screen.table(words.input, [">count", ">signal", ">reading", "fault"], cells)
    held = {
        other.name: resting_reading(other)
        for other in (box.rail_of(one), None if one.cold is None else box.input(one.cold))
        if other is not None
    }
    for name, reading in held.items():
        unit = next(other.unit for other in box.inputs if other.name == name)
        screen.say(f"  with {name} at {reading:.4g} {unit}")
    return {"input": words.input, "rows": rows, "held": held}, 0


def error(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.error_budget import LEFT_OUT, PROBABILITY, error_budgets

    at = [_reading(word) for word in words.at]
    found = error_budgets(read_box(Path(words.box)), words.input, at)
    for one in found:
        unit, worst = one.input.unit, one.worst
        screen.table(
            f"{one.input.name}, {unit}",
            [">reading", "", ">one step", ">+- at 95 %", "largest part", ">share"],
            [
                [
                    f"{b.reading:.4g}",
                    b.place,
                    _two_digits(b.resolution),
                    _two_digits(b.plus_minus),
                    b.contributors[0].quantity.name,
                    f"{b.contributors[0].share:.0%}",
                ]
                for b in one.budgets
            ],
        )
        screen.table(
            f"where it is worst, at {worst.reading:.4g} {unit}",
            ["from", "+-", ">standard", ">share", "source"],
            [
                [c.quantity.name, c.quantity.size, _two_digits(c.standard)]
                + [f"{c.share:.1%}", c.quantity.source]
                for c in worst.contributors
                if c.share >= SMALLEST_SHARE
            ],
            wrap=True,
        )
        smaller = sum(c.share < SMALLEST_SHARE for c in worst.contributors)
        if smaller:
            screen.say(f"  and {smaller} smaller ones (--json names them)")
        if one.sender is None:
            screen.say("  sender tolerance not stated: left out")
        without = f"without those errors +- {_two_digits(one.cured)} {unit} would be left"
        screen.say(f"  what would help most: {one.cure}; {without}")
    screen.say(f"not in these figures: {LEFT_OUT}")
    inputs = [
        {
            "name": one.input.name,
            "unit": one.input.unit,
            "sender_tolerance": one.sender,
            "readings": [
                {
                    "reading": b.reading,
                    "place": b.place,
                    "resolution": b.resolution,
                    "standard_uncertainty": b.standard,
                    "plus_minus": b.plus_minus,
                    "k": b.k,
                    "contributors": [
                        {
                            "name": c.quantity.name,
                            "size": c.quantity.size,
                            "distribution": c.quantity.distribution,
                            "standard_uncertainty": c.standard,
                            "share": c.share,
                            "source": c.quantity.source,
                        }
                        for c in b.contributors
                    ],
                }
                for b in one.budgets
            ],
            "worst": one.worst.reading,
            "helps_most": one.cure,
            "plus_minus_without": one.cured,
        }
        for one in found
    ]
    return {"probability": PROBABILITY, "inputs": inputs, "left_out": LEFT_OUT}, 0


def dim(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.light_said import dim, dimmed_named, in_words, lightness_of, position, reading_of, root_of
    from gaugelight.lights import Follows
    from gaugelight.said import input_index, resting_reading

    box = read_box(Path(words.box))
    one = dimmed_named(box, words.lamp)
    root = root_of(box, one)
    steps = [position(box, one.name, word) for word in words.position]
    readings, on = {}, set()
    for word in words.readings:
        name, equals, reading = (part.strip() for part in word.partition("="))
        if not equals:
            raise Misuse(f'--with "{word}": write INPUT=READING, such as "bus=14.2 V", or SWITCH=on')
        if name not in [switch.name for switch in box.lights.switches]:
            readings[name] = reading_of(box, name, reading)
        elif reading not in ("on", "off"):
            raise Misuse(f'--with "{word}": a switch is on or off')
        elif reading == "on":
            on.add(name)
    said = dim(build(box), one.name, steps, readings, words.day, frozenset(on))
    others = [other for other in box.lights.dimmed if other is not one]
    request, daylight = box.lights.dim_request is not None, box.lights.daylight is not None
    heads = [f">{root.name}" if isinstance(root, Follows) else ">knob, %", f">{one.name}", ">duty of 65535"]
    heads += [f">{other.name}" for other in others] + ["dim request"] * request + ["daylight"] * daylight
    screen.table(
        "",
        heads,
        [
            [f"{step:g}", in_words(one, settled.dimmers[one.name]), str(settled.dimmers[one.name].duty)]
            + [in_words(other, settled.dimmers[other.name]) for other in others]
            + ["on" if settled.dim_request else "off"] * request
            + ["day" if settled.day else "night"] * daylight
            for step, settled in zip(steps, said)
        ],
        wrap=True,
    )
    held = {
        name: readings.get(name, resting_reading(measured))
        for name in {lamp.compensate.input for lamp in box.lights.lamps if lamp.compensate}
        | {other.source.name for other in box.lights.dimmed if isinstance(other.source, Follows)}
        if (measured := box.input(name)) is not None and not (isinstance(root, Follows) and root.name == name)
    }
    for name, reading in sorted(held.items()):
        screen.say(
            f"  with {name} at {reading:.4g} {box.inputs[input_index(box, name)].unit} (--with sets it)"
        )
    rows = [
        {
            "position": step,
            "dimmers": {
                name: {"level": s.level, "duty_u16": s.duty, "lightness": lightness_of(s.duty)}
                for name, s in settled.dimmers.items()
            },
            "dim_request": settled.dim_request,
            "day": settled.day,
        }
        for step, settled in zip(steps, said)
    ]
    return {
        "lamp": one.name,
        "set_by": root.name if isinstance(root, Follows) else "knob, %",
        "held": held,
        "rows": rows,
    }, 0


def face(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.face_drawn import draw, page_number, png, setting_of

    box = read_box(Path(words.box))
    if box.face.panel is None:
        raise Misuse(f"{box.file}: has no display; write address = 0x3c under [display]")
    target = Path(words.output or f"{Path(words.box).stem}_face.png")
    if target.suffix.lower() != ".png":
        raise Misuse(f"{target}: the picture is a PNG; name it {target.stem}.png")
    page = page_number(box, words.page)
    built = build(box)
    drawn = draw(
        built,
        setting_of(built, words.set),
        page,
        service=words.service,
        night=words.night,
        acknowledged=words.acknowledged,
        testing=words.test,
    )
    try:
        target.write_bytes(png(drawn))
    except OSError as problem:
        raise Misuse(f"{target}: cannot be written: {problem.strerror}") from None
    screen.say(f"{target}: page {page + 1} of {drawn.pages}, brightness {drawn.contrast} of 255")
    for alert in drawn.alerts:
        screen.say(f"alert: {alert}")
    said = {"file": str(target), "page": page + 1, "pages": drawn.pages, "contrast": drawn.contrast}
    return {**said, "alerts": list(drawn.alerts), "rows": list(drawn.rows)}, 0


def lamps(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight import pwm
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.lamps import LEGEND, report

    if words.board is not None and words.board not in pwm.CHIPS:
        raise Misuse(f'"{words.board}" is no board this knows; {meant(words.board, pwm.CHIPS)}')
    plot = None if words.plot is None else _picture(words.plot)
    built = build(read_box(Path(words.box)))
    chip = pwm.CHIPS[words.board or "rp2040"]
    reports = report(built, words.light, chip)
    for one in reports:
        screen.facts(one.name, [(fact.topic, fact.says) for fact in one.facts])
    screen.say(LEGEND if reports else f"{words.box}: nothing is dimmed")
    if plot is not None:
        from gaugelight.lamps_plot import lamps_plot

        _write_plot(screen, plot, lambda: lamps_plot(built, words.light, chip, plot))
    found = [
        {
            "name": one.name,
            "kind": one.kind,
            "facts": {fact.topic: {"says": fact.says, **fact.values} for fact in one.facts},
        }
        for one in reports
    ]
    return {"lights": found, "plot": None if plot is None else str(plot)}, 0


def virtual(words: argparse.Namespace, screen: Screen) -> Outcome:
    import threading

    from gaugelight.bench import prepared_box
    from gaugelight.boxfile import read_box
    from gaugelight.moves import EXAMPLE, move

    box = read_box(Path(words.box))
    with prepared_box(box, screen.say, jumper_closed=not words.no_jumper) as (aircraft, box_there):
        port = box_there.port
        if words.json:
            print(json.dumps({"port": port}), flush=True)
        jumper = "open: FLIGHT" if words.no_jumper else "closed: SERVICE"
        screen.say(f"{port}    service jumper {jumper}; Ctrl-C ends it")
        screen.say(f"to move the aircraft type {EXAMPLE}")
        with contextlib.suppress(KeyboardInterrupt):
            # one who runs it in the background must not be stopped for reading
            if not sys.stdin.isatty() or os.tcgetpgrp(sys.stdin.fileno()) == os.getpgrp():
                for line in filter(str.strip, sys.stdin):
                    try:
                        screen.say(move(aircraft, line, box_there.power_cycle))
                    except Misuse as problem:
                        screen.say(str(problem))
            threading.Event().wait()
    return None, 0


def install(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.box_line import BoxLine
    from gaugelight.flash import START_WITHIN
    from gaugelight.install import install
    from gaugelight.ports import the_port

    port = the_port(words.port)
    with screen.progress("installing") as bar:
        installed = install(port, lambda what, done, of: bar(done, of))
    with BoxLine(port) as line:
        hello = line.wait_for_start(START_WITHIN)
    copied = f"{len(installed.copied)} files copied" if installed.copied else "all the same already"
    screen.say(
        f"{port}: firmware {hello.version} in {installed.folder}: {copied}, verified; the box runs ({hello.state})"
    )
    return {
        "port": port,
        "firmware": hello.version,
        "folder": installed.folder,
        "copied": list(installed.copied),
        "bytes": installed.bytes,
    }, 0


def flash(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugebox.table import Table
    from gaugelight.box_line import BoxLine
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.changes import changes
    from gaugelight.flash import flash, refusal, stored
    from gaugelight.ports import the_port

    built = build(read_box(Path(words.box)))
    port = the_port(words.port)
    with BoxLine(port) as line:
        hello = line.hello_settled()
        refused = refusal(line, hello)
        if refused and not words.look:
            raise Wrong(f"{port}: the box refused: {refused}")
        told = changes(stored(line, hello), Table(built.image))
        crc = f"{built.crc32:08x}"
        if hello.waiting_crc:
            told.insert(0, f"table {hello.waiting_crc}, which waits for the next start, is taken back")
        if safe := hello.safe_crc != f"{built.safe_crc32:08x}":
            told.append("the safe table, for when no other is right: renewed")
        if hello.crc != crc and not told:
            told.append("nothing that shows: some reading moves by less than a tenth of its step")
        if told:
            screen.say(f"{port}: {_running(hello)} to {crc}")
            for change in told:
                screen.say(f"  {change}")
        if words.look:
            if refused:
                screen.say(f"{port}: not to be written now: {refused}")
            there = {"port": port, "crc32": crc, "crc32_before": hello.crc or None}
            return there | {"changes": told, "refused": refused or None}, 0
        if told:
            _agreed(words.yes, "write it?")
        with screen.progress("flashing") as bar, _whole():
            flashed = flash(line, built, bar, hello)
        repeated = line.repeated
    if flashed.before is flashed.after:
        screen.say(f"{port}: runs this table already ({crc})" + "; the safe one is renewed" * safe)
    else:
        _shown(screen, port, flashed.slot, crc)
    if repeated:
        screen.say(f"  {repeated} requests had to be asked again: look at the cable")
    return {
        "port": port,
        "requests_repeated": repeated,
        "slot": flashed.slot,
        "crc32": crc,
        "crc32_before": hello.crc or None,
        "changes": told,
    }, 0


def calibrate(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.calibration import command

    return command.calibrate(words, screen)


@contextlib.contextmanager
def _whole() -> Iterator[None]:
    """What must be known where the line is lost in the middle: no table is ever half there."""
    from gaugelight.box_line import Lost, NoAnswer

    try:
        yield
    except NoAnswer as problem:
        raise Wrong(f"{problem.lines[0].split(':')[0]}: the box no longer answers; {EITHER}") from None
    except Lost as problem:
        raise Wrong(f"{problem.lines[0]}; {EITHER}") from None


def _shown(screen: Screen, port: str, slot: str, crc: str) -> None:
    screen.say(f"{port}: table {crc} is in {slot}, verified, and runs")
    screen.say("Check against the dipstick before flight.")


def _agreed(yes: bool, question: str) -> None:
    """Raises Misuse where nobody can be asked, Wrong where the answer is no."""
    if yes:
        return
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise Misuse("nothing was written: nobody is there to be asked; write --yes to go on without")
    print(f"{question} [y/N] ", end="", file=sys.stderr, flush=True)
    try:
        answer = sys.stdin.readline()
    except KeyboardInterrupt:
        raise Wrong("stopped; nothing was written") from None
    if answer.strip().lower() not in ("y", "yes"):
        raise Wrong("nothing was written")


def _running(hello: "Hello") -> str:
    return f"{hello.box}: table {hello.crc}" if hello.crc else "a box that runs without a table"


def revert(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.box_line import BoxLine
    from gaugelight.changes import changes
    from gaugelight.flash import refusal, revert, stored
    from gaugelight.ports import the_port

    port = the_port(words.port)
    with BoxLine(port) as line:
        hello = line.hello_settled()
        if refused := refusal(line, hello):
            raise Wrong(f"{port}: the box refused: {refused}")
        told: list[str] = []
        if hello.older_crc:
            screen.say(f"{port}: {_running(hello)} back to {hello.older_crc}")
            older = stored(line, hello, older=True)
            told += [] if older is None else changes(stored(line, hello), older)
            for change in told:
                screen.say(f"  {change}")
            there = "; going back once more comes here again" if hello.crc else ""
            screen.say(f"  the safe table, for when no other is right, stays that of the last flash{there}")
            _agreed(words.yes, "go back?")
        with _whole():
            reverted = revert(line, hello)
    _shown(screen, port, reverted.slot, reverted.after.crc)
    return {
        "port": port,
        "slot": reverted.slot,
        "crc32": reverted.after.crc,
        "crc32_before": hello.crc or None,
        "changes": told,
    }, 0


def faults(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.box_line import BoxLine
    from gaugelight.event_log import alerts_of, events, started
    from gaugelight.flash import stored
    from gaugelight.ports import the_port

    port = the_port(words.port)
    with BoxLine(port) as line:
        hello = line.hello_same_version()
        names = [one.name for one in line.describe(hello.inputs)]
        lights = [one.name for one in line.lamps(hello.dimmers)]
        health = line.health()
        table = stored(line, hello)
        alerts = [] if table is None else alerts_of(table)
        said = list(events(line.log(), hello.crc, names, lights, alerts))
    cells = [[str(one.start), _clock(one.seconds), one.subject, one.what] for one in said]
    screen.table("", [">start", ">after", "what", "event"], cells)
    screen.say(f"  it runs for {_clock(hello.uptime_ms // 1000)}, since {started(health.before)}")
    screen.say(
        f"  ticks begun late: {health.late}, the longest took {health.longest_ms} ms; {health.heap} bytes of heap are free"
    )
    return {
        "port": port,
        "events": [vars(one) for one in said],
        "uptime_s": hello.uptime_ms / 1000,
        "started": started(health.before),
        "late_ticks": health.late,
        "longest_tick_ms": health.longest_ms,
        "heap_free_bytes": health.heap,
    }, 0


def log(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugebox.table import Table
    from gaugelight.box_line import BoxLine
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.flights.fetch import log
    from gaugelight.ports import the_port

    more = {}
    if words.box is not None:
        built = build(read_box(Path(words.box)))
        more[f"{built.crc32:08x}"] = Table(built.image)
    port = the_port(words.port)
    with BoxLine(port) as line:
        line.hello_same_version()
        with screen.progress("flight log") as progress:
            fetched = log(line, Path(words.output), more, progress)
    for one in fetched.files:
        numbers = (
            ""
            if one.named
            else "; the box has that table no more: name its box file for the names of its columns"
        )
        screen.say(f"{one.path}: {one.rows} rows of table {one.table}{numbers}")
    if fetched.damaged:
        screen.say(f"{fetched.damaged} of {fetched.bytes} bytes of the log are damaged, and were passed over")
    for why in fetched.unread:
        screen.say(f"left out: {why}")
    said = {
        "port": port,
        "files": [vars(one) | {"path": str(one.path)} for one in fetched.files],
        "bytes": fetched.bytes,
        "damaged_bytes": fetched.damaged,
        "unread": list(fetched.unread),
    }
    return said, 0


def _clock(seconds: int) -> str:
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def read(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugebox.alerts import WARNING
    from gaugelight.box_line import BoxLine, warnings_of
    from gaugelight.flash import stored
    from gaugelight.fuel_watch import gauges_told, reserve_books
    from gaugelight.ports import the_port
    from gaugelight.said import shown

    port = the_port(words.port)
    with BoxLine(port) as line:
        hello = line.hello_same_version()
        described = line.describe(hello.inputs)
        said = line.values(described)
        dimmers = line.lamps(hello.dimmers)
        dim = line.dim()
        alerts = line.alerts()
        reserve, gauges = line.reserve(), line.gauges()
        table = stored(line, hello) if reserve is not None or gauges else None
    books = [] if reserve is None or table is None else reserve_books(reserve, table)
    compared = [] if table is None else gauges_told(gauges, table)
    inputs = [
        {
            "name": about.name,
            "signal": None if s.signal is None else float(s.signal),
            "signal_unit": s.signal_unit,
            "reading": None if s.reading is None else float(s.reading),
            "unit": s.reading_unit,
            "fault": s.fault,
        }
        for about, s in zip(described, said)
    ]
    screen.say(
        f"{hello.box or 'no table: flash one'}    {hello.state}    table {hello.crc or 'none'} in {hello.slot or '-'}"
    )
    for warning in (warnings := warnings_of(hello)):
        screen.say(f"  {warning}")
    cells = [[about.name, *shown(s, about.displayed_step)] for about, s in zip(described, said)]
    screen.table("", ["input", ">signal", ">reading", "fault"], cells)
    cells = [
        [one.name, f"{one.level / 100:.2f} %", f"{one.duty / 655.35:.2f} %", one.fault or ""]
        for one in dimmers
    ]
    if dimmers:
        screen.table("", ["light", ">level", ">duty", "fault: at its safe level"], cells)
    if dim.request != "none":
        screen.say(f"  dim request: {dim.request}{_at_fault(dim.request_fault)}")
    if dim.daylight != "none":
        screen.say(f"  daylight: {dim.daylight}{_at_fault(dim.daylight_fault)}")
    for alert in alerts.shown:
        urgency = "WARNING" if alert.urgency == WARNING else "caution"
        screen.say(f"  {urgency}: {alert.words}{', acknowledged' * alert.acknowledged}")
    if books:
        screen.say(f"  reserve watch: {'; '.join(books)}")
    if compared:
        screen.say(f"  gauges: {'; '.join(compared)}")
    return {
        "port": port,
        "box": hello.box,
        "state": hello.state,
        "firmware": hello.version,
        "slot": hello.slot,
        "crc32": hello.crc,
        "notice": hello.notice,
        "warnings": warnings,
        "inputs": inputs,
        "lights": [
            {"name": one.name, "level": one.level / 100, "duty_u16": one.duty, "fault": one.fault}
            for one in dimmers
        ],
        "dim_request": None if dim.request == "none" else dim.request == "on",
        "dim_request_fault": dim.request_fault,
        "day": None if dim.daylight == "none" else dim.daylight == "day",
        "daylight_fault": dim.daylight_fault,
        "alerts": [vars(alert) for alert in alerts.shown],
        "reserve": books or None,
        "gauges": compared or None,
    }, 0


def dial(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.dial import ADVICE, dial_drawing, dial_of, order_note, png, scale_of, svg

    box = read_box(Path(words.box))
    one = dial_of(box, words.readout, _degrees(words.sweep), _millimetres(words.diameter), words.needle)
    path = Path(words.output or one.name.replace(" ", "_").replace("/", "_") + ".svg")
    if path.suffix not in (".svg", ".png") or path.is_dir() or not os.access(path.parent, os.W_OK):
        raise Misuse(f"{path}: no dial can be written there; name a .svg or .png in a folder of yours")
    drawing = dial_drawing(one)
    try:
        if path.suffix == ".svg":
            path.write_text(svg(drawing), encoding="utf-8")
        else:
            png(drawing, path)
    except ImportError:
        raise Misuse("a .png needs the extra: pip install 'gaugelight[bench]'; or name a .svg") from None
    except OSError as problem:
        raise Misuse(f"{path}: cannot be written: {problem.strerror}") from None
    size = f"{drawing.width:.4g} by {drawing.height:.4g} mm"
    screen.say(
        f"{path}: {one.name}, {one.low:g} to {one.high:g} {one.unit} over {one.sweep:g} degrees, sheet {size}"
    )
    notes = [*scale_of(one), *filter(None, [order_note(one)])]
    for note in notes:
        screen.say(f"  {note}")
    screen.say(ADVICE)
    return {
        "file": str(path),
        "readout": one.name,
        "needle": None if one.pointer is None else one.pointer.name,
        "notes": notes,
        "unit": one.unit,
        "low": one.low,
        "high": one.high,
        "sweep": one.sweep,
        "diameter_mm": one.diameter,
        "sheet_mm": [drawing.width, drawing.height],
    }, 0


def template(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.panel.command import template

    return template(words, screen)


def _degrees(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        raise Misuse(f'--sweep "{word}": write a number of degrees, such as 270') from None


def _millimetres(word: str) -> float:
    from gaugelight.quantity import parse_quantity

    try:
        return float(parse_quantity(word, "mm"))
    except ValueError as problem:
        raise Misuse(f"--diameter: {problem}") from None


def live(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.box_line import BoxLine
    from gaugelight.live import Watch, can_draw, live, snapshot
    from gaugelight.ports import the_port

    if words.append and words.log is None:
        raise Misuse("--append belongs to --log FILE.csv")
    if words.json and words.log is not None:
        raise Misuse("--json is one snapshot; --log records the live view: leave one of them out")
    if not words.json and not can_draw():
        raise Misuse(
            "there is no terminal to draw on; write --json for one snapshot, or use `gaugelight read`"
        )
    port = the_port(words.port)
    if words.json:
        with BoxLine(port) as line:
            return snapshot(Watch(line).state), 0
    rows = live(port, None if words.log is None else Path(words.log), words.append)
    if words.log is not None:
        screen.say(f"{words.log}: {rows} rows")
    return None, 0


def replay(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.flights.command import replay

    return replay(words, screen)


def trend(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.flights.command import trend

    return trend(words, screen)


def trace(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.tracing.command import trace

    return trace(words, screen)


def _at_fault(fault: str | None) -> str:
    return f", but what it follows has failed: {fault}" if fault else ""


def _bench_picture(box: str) -> str:
    """Of a box file in the folder one stands in; the demo's, which nobody named, has no box's name before it."""
    return "bench.png" if box == str(DEMO) else f"{Path(box).stem}.bench.png"


def bench(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugebox import VERSION
    from gaugelight.bench import Row, bench
    from gaugelight.boxfile import read_box
    from gaugelight.plots import bench_plot

    box = read_box(Path(words.box))
    plot = _picture(_bench_picture(words.box) if words.plot is None else words.plot)

    def show(row: Row) -> None:
        mark = "held  " if row.held else "WRONG "
        screen.say(f"{mark} {row.action:<34} {row.subject:<20} {row.said:<44} should be {row.should}")

    report = bench(box, screen.say, show, cruise=not words.short)
    subjects = {row.subject: [0, 0] for row in report.rows}
    for row in report.rows:
        subjects[row.subject][not row.held] += 1
    screen.table(
        "", ["", ">passed", ">failed"], [[name, str(p), str(f)] for name, (p, f) in subjects.items()]
    )
    _write_plot(screen, plot, lambda: bench_plot(box, report, plot))
    screen.say(ADVISORY)
    screen.say(f"{report.passed} passed, {report.failed} failed")
    of = {"box": box.name, "crc32": report.crc, "firmware": VERSION, "short": words.short}
    rows = [vars(row) for row in report.rows]
    counts = {"passed": report.passed, "failed": report.failed}
    return {**of, **counts, "plot": str(plot), "rows": rows}, int(report.failed > 0)


def choose(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.choosing.command import choose

    return choose(words, screen)


def record(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.papers.command import run

    return run(words, screen)


def wiring(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.harness.command import run

    return run(words, screen)


def _picture(word: str) -> Path:
    """Where a picture can be written. Raises Misuse."""
    plot = Path(word)
    if plot.suffix not in PICTURES or plot.is_dir() or not os.access(plot.parent, os.W_OK):
        raise Misuse(
            f"{plot}: no picture can be written there; name a {', '.join(PICTURES)} in a folder of yours"
        )
    return plot


def _write_plot(screen: Screen, plot: Path, write: Callable[[], None]) -> None:
    try:
        write()
        screen.say(f"plot: {plot}")
    except OSError as problem:
        print(f"{plot}: cannot be written: {problem.strerror}", file=sys.stderr)


def _reading(word: str) -> float:
    try:
        return float(word)
    except ValueError:
        what = "after --at come numbers in the unit of the input, before it the names of inputs"
        raise Misuse(f'"{word}" is no reading; {what}') from None


def _two_digits(value: float) -> str:
    """As uncertainties are stated (JCGM 100, 7.2.6)."""
    return f"{float(f'{value:.2g}'):g}"


class Parser(argparse.ArgumentParser):
    """A mistake in the words is a Misuse like any other."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.register("action", None, Once)

    def error(self, message: str) -> NoReturn:
        raise Misuse(f"{self.prog}: {message}; see {self.prog} --help")


class Once(argparse.Action):
    """An option that may stand once: of two values none is better than the other."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        option: str | None = None,
    ) -> None:
        given: dict[str, Any] = vars(namespace).setdefault("given_once", {})
        if option is not None and self.dest in given:
            parser.error(f"{option} stands twice, {given[self.dest]!r} and {values!r}: leave one of them out")
        given[self.dest] = values
        setattr(namespace, self.dest, values)


def choose_options(one: argparse.ArgumentParser) -> None:
    from gaugelight.choosing import options

    options.add(one)


def parser() -> Parser:
    top = Parser(prog="gaugelight", description=__doc__.splitlines()[0], epilog=ADVISORY)
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(
        name: str, run: Callable[[argparse.Namespace, Screen], Outcome], text: str
    ) -> argparse.ArgumentParser:
        one = commands.add_parser(name, help=text, description=text)
        one.set_defaults(run=run)
        one.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
        return one

    one = command("new", new, "write a commented starter box file")
    one.add_argument("file", metavar="FILE")
    one = command(
        "choose",
        choose,
        "which pull-up, shunt or divider a sender needs, and why: before anything is bought; with no options it asks",
    )
    choose_options(one)
    one = command("check", check, "check a box file; every problem with its line and what would be right")
    one.add_argument("box", metavar="BOX")
    one = command("build", build, "solve, fit and prove a box file over every count; write the table image")
    one.add_argument("box", metavar="BOX")
    one.add_argument("-o", dest="output", metavar="IMAGE", help="where to write it (default: BOX with .glt)")
    one = command(
        "convert", convert, "what the box would say for counts of the converter, or for signals off a meter"
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument("input", metavar="INPUT")
    one.add_argument("count", metavar="COUNT", nargs="+", help='0 to 65535, or a signal: "46 ohm"')
    one = command("error", error, "the error budget of inputs: plus or minus at 95 %%, and what makes it so")
    one.add_argument("box", metavar="BOX")
    one.add_argument("input", metavar="INPUT", nargs="*", help="default: all")
    one.add_argument(
        "--at", metavar="READING", nargs="+", default=[], help="default: five, from empty to full"
    )
    one = command("dim", dim, "where a lamp and all else that is dimmed settle, for positions of its knob")
    one.add_argument("box", metavar="BOX")
    one.add_argument("lamp", metavar="LAMP")
    one.add_argument(
        "position",
        metavar="POSITION",
        nargs="+",
        help="per cent of the knob, or a reading of the input it follows",
    )
    one.add_argument("--day", action="store_true", help="the daylight sensor sees the sun (default: night)")
    one.add_argument(
        "--with",
        dest="readings",
        metavar="INPUT=READING",
        nargs="+",
        default=[],
        help='such as "bus=14.2 V" or "panel lights=on"',
    )
    one = command("face", face, "a picture of the display, as the box itself would draw it")
    one.add_argument("box", metavar="BOX")
    one.add_argument(
        "--set",
        metavar="NAME=READING",
        action="append",
        default=[],
        help='such as "left fuel=3.2 US gal", "hydraulic=open", "pump=on"; may stand several times',
    )
    one.add_argument("--page", metavar="PAGE", default="1", help="its number, overview, alerts, or a readout")
    one.add_argument("--service", action="store_true", help="with the service jumper closed")
    one.add_argument("--night", action="store_true", help="by night, knobs in the middle (default: by day)")
    one.add_argument("--acknowledged", action="store_true", help="after the acknowledge button")
    one.add_argument("--test", action="store_true", help="while the test button is pressed")
    one.add_argument("-o", dest="output", metavar="FILE", help="PNG to write (default: BOX_face.png)")
    one = command(
        "lamps",
        lamps,
        "what to know of lamps and lines before buying: flicker, dimmest light, noise, current, wire",
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument("light", metavar="LIGHT", nargs="*", help="default: all")
    one.add_argument(
        "--board", metavar="BOARD", help="the chip that makes the pulses: rp2040 (default) or rp2350"
    )
    one.add_argument("--plot", metavar="FILE", help="picture of lightness over level, and of the spectrum")
    one = command("virtual", virtual, "run a virtual box on a serial port of its own until Ctrl-C")
    one.add_argument("box", metavar="BOX", nargs="?", default=str(DEMO))
    one.add_argument("--no-jumper", action="store_true", help="with the service jumper open")
    one = command("install", install, "put the firmware on the box")
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one = command("flash", flash, "build a box file and put its table on the box")
    one.add_argument("box", metavar="BOX")
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one.add_argument("--yes", action="store_true", help="write without being asked")
    one.add_argument("--look", action="store_true", help="say what would change, and write nothing")
    one = command(
        "calibrate",
        calibrate,
        "take an input's points in the aircraft: add fuel, or set a pressure, wait until it is still, again; then judge, show, save, flash;"
        " a lamp's floor in the dark, a knob's ends and click, a needle's marks too",
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument(
        "input",
        metavar="NAME",
        help='of an input, a lamp, a needle, or "knob"; in quotes where it has spaces',
    )
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one.add_argument(
        "--session",
        metavar="FILE",
        help="where its points are kept, safe after each (default: INPUT.level.toml)",
    )
    one.add_argument("--new", action="store_true", help="begin a session; never go on in one that is there")
    one.add_argument(
        "--parked",
        action="store_true",
        help="in parked attitude: for the dipstick, and what the gauge shows there",
    )
    one.add_argument(
        "--from",
        dest="from_file",
        metavar="FILE",
        help="evaluate a session, typed by hand or taken; needs no box",
    )
    one.add_argument("--dipstick", metavar="FILE", help="a scale to print at true size, .svg or .png")
    one.add_argument("--plot", metavar="FILE", help="the picture (default: the session's name with .png)")
    one.add_argument("--save", action="store_true", help="write the points in BOX without being asked")
    one.add_argument(
        "--anyway", action="store_true", help="save though a point or a pour contradicts all others"
    )
    one.add_argument("--flash", action="store_true", help="and put them on the box")
    one.add_argument("--yes", action="store_true", help="flash without being asked")
    one = command("revert", revert, "go back to the table that the box had before")
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one.add_argument("--yes", action="store_true", help="go back without being asked")
    one = command(
        "faults", faults, "the box's event log: starts and their causes, faults and when they came and went"
    )
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one = command(
        "log", log, "fetch the box's flight log, a row a second, as CSV; goes on where a lost cable left off"
    )
    one.add_argument(
        "box", metavar="BOX", nargs="?", help="names the columns of a table that the box has no more"
    )
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one.add_argument("-o", dest="output", metavar="FILE", required=True, help="CSV to write; a new file")
    one = command("read", read, "one set of readings from the box")
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one = command(
        "dial", dial, "a sheet to print, at true size: a dial for a needle, with its range markings"
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument("readout", metavar="READOUT", help="the name of an input or a derived readout")
    one.add_argument("-o", dest="output", metavar="FILE", help=".svg or .png (default: its name with .svg)")
    one.add_argument(
        "--needle",
        metavar="NAME",
        help="whose points bend the scale, where several needles follow the readout",
    )
    one.add_argument(
        "--sweep",
        metavar="DEGREES",
        default="270",
        help="of the scale; of a needle from 0 to 100 %% of the time (default: 270)",
    )
    one.add_argument("--diameter", metavar="LENGTH", default="57 mm", help='of the rim (default: "57 mm")')
    one = command(
        "wiring",
        wiring,
        "the wiring sheet: every pin, each connector as you see it while you solder; is the harness right",
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument("-o", dest="output", metavar="FILE", help=".svg in pages of A4, or .csv")
    one.add_argument("--connector", metavar="NAME", help="that one alone, such as J1")
    one.add_argument(
        "--compass",
        metavar="LENGTH",
        help='how far the compass is from the lamps\' wiring, such as "0.6 m" (default: as [compass] says)',
    )
    one = command(
        "template", template, "sheets to drill the panel by, at true size, from [panel] and [[cutout]]"
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument(
        "-o",
        dest="output",
        metavar="FILE",
        help=".svg or .png, a file a page, or .pdf (default: BOX_template.svg)",
    )
    one.add_argument(
        "--rear", action="store_true", help="seen from behind, mirrored (default: from the front)"
    )
    one.add_argument("--paper", choices=("a4", "letter"), default="a4", help="to print on (default: a4)")
    one = command("live", live, "everything the box says, ten times a second; keys acknowledge and test")
    one.add_argument("--port", metavar="P", help="serial port (default: the one attached board)")
    one.add_argument(
        "--log", metavar="FILE", help="record counts and readings, a row an update, in a new CSV file"
    )
    one.add_argument("--append", action="store_true", help="go on in a log that is there, of the same table")
    one = command(
        "replay", replay, "a recorded flight through the box's own code: what its face would have said"
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument(
        "log", metavar="LOG", help="a CSV file that `gaugelight live --log` or `gaugelight log` wrote"
    )
    one.add_argument("--against", metavar="BOX", help="another box file, shown beside the first")
    one.add_argument(
        "--set",
        metavar="NAME.KEY=VALUE",
        action="append",
        default=[],
        help='a key of BOX tried beside BOX as it is, such as "left fuel.damping=5 s"; may stand several times',
    )
    one.add_argument(
        "--with",
        dest="held",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help='held all the time: "bus=14 V", "bus=rest" or "transfer pump=on"; may stand several times',
    )
    one.add_argument("-o", dest="output", metavar="FILE", help="a CSV file of the readings said")
    one.add_argument("--plot", metavar="FILE", help="picture to write (default: LOG_replay.png)")
    one = command(
        "trend",
        trend,
        "from a recorded flight: leak-down and pump cycles, slosh against damping, fuel burnt and moved",
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument(
        "log", metavar="LOG", help="a CSV file that `gaugelight live --log` or `gaugelight log` wrote"
    )
    one.add_argument("input", metavar="INPUT", nargs="*", help="default: all pressures and tanks")
    one.add_argument(
        "--burn",
        metavar="AN_HOUR",
        help='what the engine burns, such as "8 US gal" (default: as [reserve] says)',
    )
    one.add_argument("--plot", metavar="FILE", help="picture to write (default: LOG_trend.png)")
    one = command(
        "trace",
        trace,
        "what a meter or the box says of an input means: what a good one gives, the causes that fit, what to measure next",
    )
    one.add_argument("box", metavar="BOX")
    one.add_argument("input", metavar="INPUT")
    one.add_argument(
        "--ohms",
        metavar="VALUE",
        action="append",
        default=[],
        help="with the box unplugged, power off; open, or OL, where the meter shows that",
    )
    one.add_argument("--ma", metavar="VALUE", action="append", default=[], help="in the loop, power on")
    one.add_argument(
        "--volts", metavar="VALUE", action="append", default=[], help="wire on the box, power on"
    )
    one.add_argument(
        "--where",
        choices=("connector", "sender"),
        default="connector",
        help="where that was (default: the box's connector)",
    )
    one.add_argument(
        "--at",
        nargs=2,
        metavar=("PLACE", "VALUE"),
        action="append",
        default=[],
        help='the sender brought to empty, quarter, half, "three quarters", full, or a reading; may stand several times',
    )
    one.add_argument(
        "--true",
        metavar="READING",
        action="append",
        default=[],
        help="what is truly there: by dipstick, reference gauge, thermometer",
    )
    one.add_argument(
        "--measured",
        nargs=2,
        metavar=("WHAT", "VALUE"),
        action="append",
        default=[],
        help='what it suggested, such as "ohms at the sender" 46; may stand several times',
    )
    one.add_argument(
        "--port",
        metavar="P",
        nargs="?",
        const="",
        help="what the box says now (without P: the one attached board)",
    )
    one.add_argument(
        "--supply",
        metavar="VOLTS",
        help="of the bus, as measured (default: as the box file says, +-1 V)",
    )
    one.add_argument("--cold", metavar="DEGC", help="of a thermocouple's cold junction")
    one.add_argument(
        "--meter",
        metavar="PLUS_MINUS",
        action="append",
        default=[],
        help='of your meter, such as "0.5 %% + 0.2 ohm" (default, assumed); mA, V, mV too',
    )
    one = command(
        "bench",
        bench,
        "prove a box file on a virtual box with a model aircraft around it, on the ground and over a flight",
    )
    one.add_argument("box", metavar="BOX", nargs="?", default=str(DEMO))
    one.add_argument(
        "--plot",
        metavar="FILE",
        help="picture to write (default: the box file's name with .bench.png; of the demo bench.png)",
    )
    one.add_argument(
        "--short",
        action="store_true",
        help="without the cruise in which a float sticks: an hour of the box's time, a minute or more of yours",
    )
    one = command(
        "record", record, "one page for the aircraft's papers; what changed since; whether a page is of a box"
    )
    one.add_argument("box", metavar="BOX", nargs="?")
    one.add_argument(
        "-o", dest="output", metavar="FILE", help="page to write (default: BOX with .record.html)"
    )
    one.add_argument("--papers", metavar="FILE", help="what only you know (default: BOX with .papers.toml)")
    one.add_argument("--starter", action="store_true", help="write a papers file to fill in, and no page")
    one.add_argument(
        "--port",
        metavar="P",
        nargs="?",
        const="",
        help="read table and firmware back from the box on it (without P: the one attached board)",
    )
    one.add_argument("--bench", metavar="FILE", help="the result of: gaugelight bench BOX --json > FILE")
    one.add_argument("--run-bench", action="store_true", help="run the bench now, two minutes")
    one.add_argument("--compare", metavar="PAGE", help="an older page: say what changed since")
    one.add_argument("--check", metavar="PAGE", help="is a page whole, and with --port: is it of that box")
    one.add_argument("--date", metavar="DATE", help="on the page (default: today)")
    return top


def main(argv: list[str] | None = None) -> int:
    argv = sys.argv[1:] if argv is None else argv
    as_json = "--json" in argv
    command = ""
    said: dict[str, Any] | None
    code: int
    try:
        words = parser().parse_args(argv)
        command = words.command
        if getattr(words, "output", None) == "":
            raise Misuse("-o: is given no name; name a file, or leave -o out")
        if "" in (getattr(words, "box", None), getattr(words, "file", None)):
            raise Misuse("the file is given no name; write one between the quotes, such as hull.toml")
        said, code = words.run(words, Screen(quiet=as_json))
    except Wrong as wrong:
        said, code = {"error": list(wrong.lines)}, wrong.exit_code
        if isinstance(wrong, WrongBoxFile):
            said["problems"] = [vars(problem) for problem in wrong.problems]
    except KeyboardInterrupt:
        said, code = {"error": [STOPPED.get(command, "stopped")]}, 1
    if as_json and said is not None:
        print(json.dumps(said))
    elif said is not None and "error" in said:
        print("\n".join(said["error"]), file=sys.stderr)
    return code


def _stop(number: int, frame: object) -> None:
    """A closed terminal or a kill ends a command as Ctrl-C does, so that it leaves nothing behind."""
    raise KeyboardInterrupt


def run() -> int:
    """The command's entry: as main, but it also minds what becomes of its terminal and its output."""
    try:
        for number in (signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM)):
            signal.signal(number, _stop)
        code = main()
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    except OSError as problem:  # the reader of our output has gone, or the disk it goes to is full
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        print(f"gaugelight: the output cannot be written: {problem.strerror}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(run())
