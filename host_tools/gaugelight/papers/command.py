"""`gaugelight record`: the page written, held against another one, or checked."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gaugelight.papers.facts import BenchResult, Facts, TextFile, not_right, not_stated
from gaugelight.problems import Misuse, Wrong

if TYPE_CHECKING:
    from gaugelight.build import Build
    from gaugelight.cli import Outcome, Screen


def run(words: argparse.Namespace, screen: Screen) -> Outcome:
    """One of the three things it does. Raises Misuse where they are mixed."""
    writing = [
        f"--{name}" for name in ("papers", "bench", "compare", "starter", "date") if getattr(words, name)
    ]
    writing += ["-o"] * bool(words.output) + ["--run-bench"] * words.run_bench
    if words.check is not None:
        if words.box or writing:
            raise Misuse(f"--check PAGE stands alone, or with --port; leave out {words.box or writing[0]}")
        return _check(words, screen)
    if words.box is None:
        raise Misuse("name a box file: gaugelight record BOX; or a page to check: --check PAGE")
    if words.starter:
        if others := [one for one in writing if one not in ("--starter", "--papers")]:
            raise Misuse(f"--starter writes a papers file and nothing else; leave out {others[0]}")
        return _starter(words, screen)
    if words.bench and words.run_bench:
        raise Misuse("--bench FILE is a result that is there, --run-bench makes one: leave one of them out")
    return _record(words, screen)


def _starter(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.whole_file import write_whole
    from gaugelight.papers.papers_file import default_path
    from gaugelight.papers.starter import starter

    path = Path(words.papers) if words.papers else default_path(Path(words.box))
    box = read_box(Path(words.box))
    if path.exists():
        raise Misuse(f"{path}: is there already; edit it, or name a new file with --papers")
    write_whole(path, starter(box, words.box))
    screen.say(f"{path}: a papers file to fill in; then: gaugelight record {words.box}")
    return {"file": str(path)}, 0


def _record(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.boxfile import read_box
    from gaugelight.build import build
    from gaugelight.whole_file import write_whole
    from gaugelight.papers.data import held_in
    from gaugelight.papers.page import page
    from gaugelight.papers.since import since

    box_path = Path(words.box)
    target = Path(words.output) if words.output else box_path.with_suffix(".record.html")
    if target.suffix.lower() not in (".html", ".htm"):
        raise Misuse(f"{target}: the page is HTML; name it {target.stem}.html")
    for other in filter(None, (words.compare, words.bench, words.papers)):
        if target.resolve() == Path(other).resolve():
            raise Misuse(f"{target}: would be written over {other}; name another file with -o")
    made_on = _date(words.date)
    old = None if words.compare is None else held_in(words.compare, _text(Path(words.compare)))
    with screen.progress("proving every count"):
        built = build(read_box(box_path))
    facts = _gathered(words, screen, built, made_on)
    if old is not None:
        facts = replace(facts, since=since(Path(words.compare).name, old, facts))
    write_whole(target, page(facts))
    wrong, left = list(not_right(facts)), list(not_stated(facts))
    read = ", read back from the box" if facts.read_back else ""
    screen.say(f"{target}: {built.box.name}, table {facts.crc}{read}")
    for line in wrong:
        screen.say(f"  NOT RIGHT: {line}")
    for line in left:
        screen.say(f"  not stated: {line}")
    if facts.since is not None:
        screen.say(f"since {facts.since.name}, table {facts.since.table}:")
        for line in facts.since.lines or ("nothing has changed",):
            screen.say(f"  {line}")
    return {
        "file": str(target),
        "box": built.box.name,
        "crc32": facts.crc,
        "firmware": facts.firmware or None,
        "not_right": wrong,
        "not_stated": left,
        "changes": None if facts.since is None else list(facts.since.lines),
    }, int(bool(wrong))


def _gathered(words: argparse.Namespace, screen: Screen, built: Build, made_on: date) -> Facts:
    """All facts, from files, bench and box."""
    from gaugelight.papers.gather import calibrations_of, face_pictures, facts_of, read_back, read_bench
    from gaugelight.papers.papers_file import Papers, default_path, read_papers
    from gaugelight.ports import the_port

    box_path = Path(words.box)
    papers_path = Path(words.papers) if words.papers else default_path(box_path)
    there = words.papers or papers_path.exists()
    papers = replace(read_papers(papers_path, built.box), file=papers_path.name) if there else Papers()
    bench = None if words.bench is None else read_bench(Path(words.bench))
    box_said = None if words.port is None else read_back(the_port(words.port or None))
    try:
        faces = face_pictures(built)
    except Wrong as problem:
        screen.say(f"  no pictures of the face: {problem.lines[0]}")
        faces = []
    if words.run_bench:
        bench = _benched(built, screen)
    text = TextFile(box_path.name, _text(box_path))
    return facts_of(
        built, text, papers, made_on, calibrations_of(built, box_path.parent), faces, box_said, bench
    )


def _benched(built: Build, screen: Screen) -> BenchResult:
    from gaugebox import VERSION
    from gaugelight.bench import Row, bench
    from gaugelight.papers.gather import bench_result

    def show(row: Row) -> None:
        if not row.held:
            screen.say(f"WRONG  {row.action}  {row.subject}  {row.said}  should be {row.should}")

    done = bench(built.box, screen.say, show)
    rows = [vars(row) for row in done.rows]
    return bench_result({"crc32": done.crc, "firmware": VERSION, "short": False, "rows": rows})


def _check(words: argparse.Namespace, screen: Screen) -> Outcome:
    from gaugelight.papers.data import held_in
    from gaugelight.papers.gather import read_back
    from gaugelight.papers.verify import answers
    from gaugelight.ports import the_port

    held = held_in(words.check, _text(Path(words.check)))
    box = None if words.port is None else read_back(the_port(words.port or None))
    said = list(answers(held, box))
    screen.say(f"{words.check}: made on {held.made_on} of {held.box_file.name}, table {held.crc}")
    for one in said:
        screen.say(f"  {'yes' if one.yes else 'NO '}  {one.says}")
    right = all(one.yes for one in said)
    of = "the page, its box file and the box" if box else "the page and its box file"
    screen.say(f"yes: {of} belong together" if right else f"NO: {of} do not belong together")
    if box is None:
        screen.say("  whether a box runs it: --port")
    answered: list[dict[str, Any]] = [vars(one) for one in said]
    return {"page": words.check, "crc32": held.crc, "right": right, "answers": answered}, int(not right)


def _date(word: str | None) -> date:
    if word is None:
        return date.today()
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise Misuse(f'--date "{word}": write it as 2026-11-26') from None


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except UnicodeDecodeError:
        raise Misuse(f"{path}: is not text in UTF-8") from None
