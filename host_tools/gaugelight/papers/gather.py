"""Gathers what a page states: from the box file and the papers file, from the sessions, from the bench, from the box itself."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from gaugebox import VERSION
from gaugelight import pwm
from gaugelight.box_line import BoxLine, warnings_of
from gaugelight.boxfile import FUEL_UNITS, Input
from gaugelight.build import Build, SolvedInput
from gaugelight.check_face import notes_on_face
from gaugelight.check_lights import notes_on_lights
from gaugelight.error_budget import budget_at, coarse_notes, cold_junction, most_helpful, quantities
from gaugelight.face_drawn import draw, page_count, png, setting_of
from gaugelight.faults_shown import PLACES, Shown, faults_shown, notes_on
from gaugelight.harness.check_harness import notes_on_harness
from gaugelight.lamps import report
from gaugelight.laws import Points
from gaugelight.papers.balance import balance
from gaugelight.papers.endurance import endurance
from gaugelight.papers.facts import (
    BenchResult,
    BenchSubject,
    Calibration,
    Facts,
    InputErrors,
    Picture,
    ReadBack,
    TextFile,
)
from gaugelight.papers.papers_file import Papers
from gaugelight.problems import Misuse, Wrong

FACE_SCALE = 4


def facts_of(
    built: Build,
    box_file: TextFile,
    papers: Papers,
    made_on: date,
    calibrations: Sequence[Calibration] = (),
    faces: Sequence[Picture] = (),
    read_back: ReadBack | None = None,
    bench: BenchResult | None = None,
) -> Facts:
    """All that follows from a built box and its papers, without looking at anything else."""
    shown = tuple(faults_shown(built))
    return Facts(
        made_on,
        VERSION,
        box_file,
        papers,
        built,
        tuple(input_errors(built)),
        shown,
        tuple(_notes(built, shown)),
        tuple(report(built, [], pwm.CHIPS["rp2040"])),
        balance(papers.installed, papers.before),
        endurance(built, papers.battery, papers.essential),
        tuple(calibrations),
        tuple(faces),
        read_back,
        bench,
    )


def _notes(built: Build, shown: Sequence[Shown]) -> Iterator[tuple[str, str]]:
    """As `check` tells them."""
    told = [(one.name, note) for one, note in [*notes_on(built, list(shown)), *coarse_notes(built)]]
    yield from told
    yield from notes_on_face(built.box)
    yield from notes_on_lights(built.box, list(shown))
    if built.box.harness is not None:
        yield from notes_on_harness(built.box)


def input_errors(built: Build) -> Iterator[InputErrors]:
    """The error budget of each input at five places of its span and at its marks."""
    solved_of = {solved.input.name: solved for solved in built.inputs}
    for solved in built.inputs:
        one = solved.input
        cold = None if one.cold is None else cold_junction(solved_of[one.cold])
        found = quantities(solved, cold)
        budgets = [
            replace(budget_at(solved, found, reading, cold), place=place)
            for reading, place in _places(solved).items()
        ]
        worst = max(budgets, key=lambda budget: budget.plus_minus)
        yield InputErrors(one, tuple(budgets), most_helpful(worst))


def _places(solved: SolvedInput) -> dict[float, str]:
    """Readings, and what they are called where they are of fuel."""
    one = solved.input
    low, high = one.law.span
    places = {low + share * (high - low): place for share, place in PLACES.items()}
    marks = () if one.markings is None else one.markings.marks
    limits = {float(end) for mark in marks for end in (mark.low, mark.high) if end is not None}
    fuel = one.unit in FUEL_UNITS
    return {reading: places.get(reading, "") if fuel else "" for reading in sorted({*places, *limits})}


def face_pictures(built: Build) -> list[Picture]:
    """Each page by day with all senders in the middle, Raises Wrong without the box's interpreter."""
    if built.box.face.panel is None:
        return []
    middle = setting_of(built, [])
    pictures = []
    for page in range(page_count(built.box)):
        drawn = draw(built, middle, page)
        pictures.append(
            Picture(
                f"page {page + 1} of {drawn.pages}, every sender in its middle",
                png(drawn, FACE_SCALE, paper=True),
            )
        )
    return pictures


def calibrations_of(built: Build, folder: Path) -> list[Calibration]:
    """Of each calibrated input, its session beside the box file."""
    return [_calibration(built, one, folder) for one in built.box.inputs if one.calibrated is not None]


def _calibration(built: Build, one: Input, folder: Path) -> Calibration:
    from gaugelight.calibration.plot import figure
    from gaugelight.calibration.results import evaluate
    from gaugelight.calibration.session import read_session

    assert one.calibrated is not None
    path = folder / one.calibrated.session
    text = None
    try:
        session = read_session(path)
        text = TextFile(one.calibrated.session, path.read_text(encoding="utf-8-sig").replace("\r\n", "\n"))
        if session.input != one.name:
            return Calibration(one, text, None, problem=f'{path.name} is of "{session.input}"')
        result = evaluate(session, built.box)
    except Wrong as problem:
        return Calibration(one, text, None, problem="; ".join(problem.lines))
    try:
        svg = figure(result)
    except ImportError:
        svg = ""
    return Calibration(one, text, result, svg, other_points(one, result.listed))


def other_points(one: Input, listed: Sequence[tuple[float, float, float]]) -> str:
    """What is wrong where the box file's points are not those that the session comes to."""
    if not listed:
        return "ITS SESSION IS ONE IN PARKED ATTITUDE, AND THE FACE GOES BY THE LEVEL ONE"
    assert one.calibrated is not None and isinstance(one.law, Points)
    there = [
        (*map(float, point), float(off)) for point, off in zip(one.law.points, one.calibrated.plus_minus)
    ]
    return (
        ""
        if np.array_equal(sorted(listed), there)
        else "THE BOX FILE'S POINTS ARE NOT WHAT THESE TOOLS MAKE OF ITS SESSION"
    )


def read_back(port: str) -> ReadBack:
    """What the box on a port runs. Raises Wrong."""
    with BoxLine(port) as line:
        hello = line.hello_same_version()
        return ReadBack(hello, line.stored_table(), tuple(warnings_of(hello)))


def read_bench(path: Path) -> BenchResult:
    """What `gaugelight bench BOX --json` printed. Raises Misuse."""
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
        return bench_result(said)
    except OSError as problem:
        raise Misuse(f"{path}: cannot be read: {problem.strerror}") from None
    except (ValueError, TypeError, LookupError, AttributeError):
        what = "is no result of a bench; write one with: gaugelight bench BOX --json"
        raise Misuse(f"{path}: {what} > {path.name}") from None


def bench_result(said: dict[str, Any]) -> BenchResult:
    """From the bench's JSON. Raises TypeError or LookupError where it is none."""
    counts: dict[str, list[int]] = {}
    wrong = []
    for row in said["rows"]:
        counts.setdefault(row["subject"], [0, 0])[not row["held"]] += 1
        if not row["held"]:
            wrong.append((row["action"], row["subject"], row["should"], row["said"]))
    subjects = tuple(BenchSubject(name, passed, failed) for name, (passed, failed) in counts.items())
    return BenchResult(
        said.get("crc32", ""), said.get("firmware", ""), bool(said.get("short")), subjects, tuple(wrong)
    )
