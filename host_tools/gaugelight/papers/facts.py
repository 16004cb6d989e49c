"""Everything that a page states, gathered; and what of it is told when it changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from gaugelight.box_line import Hello
from gaugelight.box_values import BOX
from gaugelight.boxfile import FUEL_UNITS, Box, Input
from gaugelight.build import Build
from gaugelight.error_budget import Budget
from gaugelight.faults_shown import Shown
from gaugelight.harness.cables import Wiring, wiring_of
from gaugelight.harness.check_harness import problems_of_harness
from gaugelight.harness.sheet import cable_facts
from gaugelight.lamps import Report
from gaugelight.laws import Itself
from gaugelight.loads import amperes
from gaugelight.papers import words
from gaugelight.papers.balance import Balance
from gaugelight.papers.endurance import Endurance, in_minutes, minutes
from gaugelight.papers.papers_file import RESERVE, Papers, mark_name

if TYPE_CHECKING:
    from gaugelight.calibration.results import Result

Said = dict[str, dict[str, str | list[str]]]  # thing, what of it: words


@dataclass(frozen=True)
class TextFile:
    """A file that the page holds whole. name: as it was given, without its folders."""

    name: str
    text: str


@dataclass(frozen=True)
class ReadBack:
    """What a box itself said."""

    hello: Hello
    image: bytes
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class BenchSubject:
    name: str
    passed: int
    failed: int


@dataclass(frozen=True)
class BenchResult:
    """wrong: action, subject, should, said of each answer that was. table, firmware: empty where the bench does not say."""

    table: str
    firmware: str
    short: bool
    subjects: tuple[BenchSubject, ...]
    wrong: tuple[tuple[str, str, str, str], ...]

    @property
    def passed(self) -> int:
        return sum(one.passed for one in self.subjects)

    @property
    def failed(self) -> int:
        return sum(one.failed for one in self.subjects)


@dataclass(frozen=True)
class Picture:
    """A PNG, and what it shows."""

    says: str
    png: bytes


@dataclass(frozen=True)
class Calibration:
    """Of one input. result None: the session tells nothing, and `problem` why. svg: its picture; empty without matplotlib."""

    input: Input
    session: TextFile | None
    result: Result | None
    svg: str = ""
    problem: str = ""


@dataclass(frozen=True)
class InputErrors:
    """budgets: from lowest to highest, at its marks too."""

    input: Input
    budgets: tuple[Budget, ...]
    cure: str

    @property
    def of_box_alone(self) -> bool:
        """Nobody says what the sender is off by."""
        one = self.input
        return one.calibrated is None and one.tolerance is None and not isinstance(one.law, Itself)

    @property
    def worst(self) -> Budget:
        return max(self.budgets, key=lambda budget: budget.plus_minus)


@dataclass(frozen=True)
class Since:
    """What changed since another page."""

    name: str
    made_on: str
    table: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    made_on: date
    tools: str
    box_file: TextFile
    papers: Papers
    built: Build
    errors: tuple[InputErrors, ...]
    faults: tuple[Shown, ...]
    notes: tuple[tuple[str, str], ...]
    lights: tuple[Report, ...]
    balance: Balance
    endurance: Endurance
    calibrations: tuple[Calibration, ...] = ()
    faces: tuple[Picture, ...] = ()
    read_back: ReadBack | None = None
    bench: BenchResult | None = None
    since: Since | None = None

    @property
    def box(self) -> Box:
        return self.built.box

    @property
    def wiring(self) -> Wiring:
        return wiring_of(self.box)

    @property
    def crc(self) -> str:
        return f"{self.built.crc32:08x}"

    @property
    def safe_crc(self) -> str:
        return f"{self.built.safe_crc32:08x}"

    @property
    def firmware(self) -> str:
        """As the box says; empty where none was asked."""
        return "" if self.read_back is None else self.read_back.hello.version

    def calibration(self, name: str) -> Calibration | None:
        return next((one for one in self.calibrations if one.input.name == name), None)


def not_right(facts: Facts) -> Iterator[str]:
    """What speaks against the page: the command then ends with 1."""
    if (back := facts.read_back) is not None:
        hello = back.hello
        if hello.crc != facts.crc:
            yield f"THE BOX DIFFERS FROM THIS PAGE: it runs table {hello.crc or 'none'}, this page is of {facts.crc}"
        elif back.image != facts.built.image:
            yield "THE BOX DIFFERS FROM THIS PAGE: its table has the CRC of this page, but not its bytes"
        if hello.safe_crc != facts.safe_crc:
            yield f"THE BOX'S SAFE TABLE DIFFERS: {hello.safe_crc or 'none'}, this page is of {facts.safe_crc}"
        if hello.waiting_crc:
            yield f"ANOTHER TABLE RUNS FROM THE NEXT START ON: {hello.waiting_crc}"
    if (bench := facts.bench) is not None:
        if bench.table != facts.crc:
            yield f"THE BENCH WAS OF ANOTHER TABLE: {bench.table or 'it does not say which'}"
        if facts.firmware and bench.firmware and bench.firmware != facts.firmware:
            yield f"THE BENCH WAS OF ANOTHER FIRMWARE: {bench.firmware}"
        if bench.failed:
            yield f"THE BENCH FAILED: {bench.failed} answers of {bench.passed + bench.failed}"
    if wrong := len(problems_of_harness(facts.box)):
        yield f"THE WIRING IS NOT RIGHT: {wrong} {'problem' if wrong == 1 else 'problems'}; gaugelight wiring {facts.box_file.name} tells"
    for one in facts.calibrations:
        if one.problem:
            yield f"CALIBRATION OF {one.input.name.upper()}: {one.problem}"
    battery = facts.papers.battery
    if battery is not None and battery.wanted is not None:
        lasts = minutes(battery, facts.endurance.night)
        if lasts is not None and lasts < battery.wanted:
            yield f"THE BATTERY LASTS {in_minutes(lasts)} AT MOST, {in_minutes(battery.wanted)} ARE WANTED"


def not_stated(facts: Facts) -> Iterator[str]:
    """What the page should tell and nobody has said or done yet."""
    papers, box = facts.papers, facts.box
    if not papers.file:
        yield "papers file: there is none; gaugelight record BOX --starter writes one"
    if facts.read_back is None:
        yield "not read back from a box: this page says what the box file gives, not what is in a box (--port)"
    if facts.bench is None:
        yield "bench: no result (--bench FILE, --run-bench)"
    without = [
        f"{name} {count}"
        for name, _, markings in box.shown
        if (count := sum(not papers.source(name, mark) for mark in markings.marks))
    ]
    without += [f"alert {rule.words}" for rule in box.face.alerts if not papers.alerts.get(rule.words)]
    watched = [RESERVE] * (box.face.reserve is not None) + [one.gauge for one in box.face.gauges]
    without += [f"fuel watch {name}" for name in watched if not papers.watches.get(name)]
    if without:
        yield f"no source stated of limits: {', '.join(without)}"
    if fuel := [one.name for one in box.inputs if one.unit in FUEL_UNITS and not facts.calibration(one.name)]:
        yield f"not calibrated in the aircraft: {', '.join(fuel)}"
    if loads := [lamp.name for lamp in box.lights.lamps if lamp.load is None]:
        yield f"load not stated: {', '.join(loads)}"
    if fuses := [lamp.name for lamp in box.lights.lamps if lamp.fuse is None]:
        yield f"fuse not stated: {', '.join(fuses)}"
    if not facts.wiring.harness.connectors:
        yield "wiring: no connector is described"
    if not papers.installed:
        yield "weight and arm of what was installed"
    elif facts.balance.left_out:
        yield f"weight or arm, so in no sum: {'; '.join(facts.balance.left_out)}"
    if papers.battery is None:
        yield "battery, and what is left on with the alternator dead"
    if not papers.signatures:
        yield "who signs"


def changing(facts: Facts) -> Said:
    """In words, all that a later page is compared with, beyond what stands in the table image."""
    box, papers = facts.box, facts.papers
    said: Said = {}
    for one in box.inputs:
        said[f"input {one.name}"] = _input(facts, one)
    for name, unit, markings in box.shown:
        sources: dict[str, str | list[str]] = {
            f"source of {mark_name(mark)}": papers.source(name, mark) or "not stated"
            for mark in markings.marks
        }
        said[f"limits of {name}"] = sources
    for key, sources_of in (("alert", papers.alerts), ("fuel watch", papers.watches)):
        for name, source in sources_of.items():
            said[f"{key} {name}"] = {"source": source or "not stated"}
    for lamp in box.lights.lamps:
        at = facts.endurance.volts
        said[f"lamp {lamp.name}"] = {
            "load": "not stated" if lamp.load is None else f"{amperes(lamp.load, at):.3g} A at {at:g} V",
            "wire": "not stated" if lamp.wire is None else f"AWG {lamp.wire.gauge}, {lamp.wire.length:g} m",
            "fuse": "not stated" if lamp.fuse is None else f"{float(lamp.fuse):g} A",
        }
    weighed = facts.balance
    for row in weighed.rows:
        said[f"installed {row.item.name}"] = {
            "part": row.item.part or "not stated",
            "weight": (
                "not stated" if row.weight is None else f"{words.number(row.weight)} {weighed.weight_unit}"
            ),
            "arm": "not stated" if row.arm is None else f"{words.number(row.arm)} {weighed.arm_unit}",
        }
    said["weight of all"] = {"weight": f"{float(weighed.weight):.4g} {weighed.weight_unit}"}
    if papers.battery is not None:
        lasts = in_minutes(minutes(papers.battery, facts.endurance.night))
        said["battery"] = {"lasts at most": lasts, "current by night": f"{facts.endurance.night:.3g} A"}
    for essential in papers.essential:
        said[f"essential {essential.name}"] = {
            "current": f"{float(essential.amperes * essential.share):.3g} A"
        }
    said |= _wiring(facts)
    said["placards"] = {"words": [one.words for one in papers.placards]}
    said["aircraft"] = {
        "name": papers.aircraft.name,
        "registration": papers.aircraft.registration,
    }
    if facts.bench is not None:
        said["bench"] = {"result": f"{facts.bench.passed} passed, {facts.bench.failed} failed"}
    if facts.firmware:
        said["firmware"] = {"version": facts.firmware}
    return said


def _input(facts: Facts, one: Input) -> dict[str, str | list[str]]:
    made: dict[str, str | list[str]] = {
        "circuit": words.circuit(one.circuit),
        "sender": words.sender(one),
        "calibration": calibrated(one),
        "points": [f"{signal} = {reading}" for signal, reading in words.points(one)],
    }
    errors = next(errors for errors in facts.errors if errors.input.name == one.name)
    for budget in errors.budgets:
        place = budget.place or f"{words.number(budget.reading)} {one.unit}"
        made[f"plus or minus at {place}"] = f"{words.two_digits(budget.plus_minus)} {one.unit}"
    return made


def _wiring(facts: Facts) -> Said:
    """What stands at every pin that is used, and every cable."""
    wiring = facts.wiring
    said: Said = {}
    for connector in wiring.harness.connectors:
        half = "" if connector.shape.is_block else f", {connector.box} in the box"
        stands: dict[str, str | list[str]] = {"kind": f"{connector.shape.kind}{half}"}
        for lead in wiring.leads:
            if lead.connector is connector and lead.uses:
                runs = f" in cable {lead.cable.name}" if lead.cable else ""
                stands[f"pin {lead.number}"] = lead.text + runs
        said[f"connector {connector.name}"] = stands
    for cable in wiring.harness.cables:
        said[f"cable {cable.name}"] = {**cable_facts(cable), "carries": list(cable.carries)}
    return said


def calibrated(one: Input) -> str:
    """When, by which session, through what; "none"."""
    done = one.calibrated
    if done is None:
        return "none"
    through = "by this box" if done.through == BOX else "by a meter"
    return f"{done.on.isoformat()} ({done.session}, signals measured {through})"
