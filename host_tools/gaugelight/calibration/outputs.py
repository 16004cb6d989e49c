"""`gaugelight calibrate BOX NAME` for what the box drives, and for the hand that sets it: a lamp's floor, a knob, a needle's marks."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import numpy as np

from gaugebox.table import Table
from gaugelight.box_line import BoxLine, Lost, NoAnswer
from gaugelight.boxfile import Box, box_of_text, read_box
from gaugelight.build import build
from gaugelight.calibration import knob_ends, lamp_floor, needle_marks
from gaugelight.calibration.box_file import difference, read_text
from gaugelight.calibration.hand import Hand, nothing
from gaugelight.calibration.session import write_whole
from gaugelight.calibration.table_keys import with_keys, with_stops
from gaugelight.circuits import bare
from gaugelight.flash import refusal, stored
from gaugelight.lightness import lightness
from gaugelight.lights import Knob, Lamp
from gaugelight.needles import Needle
from gaugelight.ports import the_port
from gaugelight.problems import Misuse, Wrong, WrongBoxFile

REFRESH_S = 1.0  # the box lets go of what it holds 5 s after it was last asked
GO_BACK = "outputs go back by themselves within 5 s"
ROUNDS = 3  # of a knob
LOOKS, LOOK_S = 5, 0.04  # at a knob that stands still
STILL = 300  # counts, half a per cent: a knob that moved more in between still moves
ADAPTED_S = 20 * 60  # common practice, no source
DARK_S = 1.0  # between two looks at a lamp
SETS = 2  # of a needle's mark, each way
LEAD = 2.0  # per cent of the time, from where a needle is brought to its mark
BACK, BACK_S = 5.0, 1.0  # so far, and so long, it is taken back where it went past
NUDGES = {"+": 0.1, "-": -0.1, ">": 1.0, "<": -1.0}  # per cent of the time

Output = Lamp | Knob | Needle
Say = Callable[[str], None]


def names(box: Box) -> list[str]:
    """Of all that can be calibrated here."""
    lamps = [lamp.name for lamp in box.lights.lamps]
    return [*lamps, *(f"knob on GP{knob.pin}" for knob in box.lights.knobs), *(one.name for one in box.face.needles)]


def named(box: Box, name: str) -> Output | None:
    """A lamp, a needle, or a knob: "knob" where there is one, "knob on GP27", or the name of its lamp and "knob"."""
    if (lamp := box.lights.lamp(name)) is not None:
        return lamp
    for needle in box.face.needles:
        if needle.name == name:
            return needle
    knobs = box.lights.knobs
    if name == "knob" and len(knobs) == 1:
        return knobs[0]
    for knob in knobs:
        if name == f"knob on GP{knob.pin}":
            return knob
    lamp = box.lights.lamp(name.removesuffix(" knob"))
    return None if lamp is None or name == lamp.name else box.lights.knob_of(lamp)


@dataclass(frozen=True)
class Found:
    """What came of it, in words and as numbers; edit: the text of the box file with it, given what that describes now."""

    says: tuple[str, ...]
    values: dict[str, Any]
    edit: Callable[[str, Box], str]


@dataclass
class Trial:
    """A box in service, whose outputs are put somewhere for a while, and whoever looks at them."""

    line: BoxLine
    table: Table
    hand: Hand
    held: dict[tuple[str, int], int] = field(default_factory=dict)
    sent: float = 0.0

    def hold(self, kind: str, number: int, duty: int) -> None:
        self.held[kind, number] = duty
        self._send(kind, number, duty)

    def _send(self, kind: str, number: int, duty: int) -> None:
        if kind == "lamp":
            self.line.hold_lamp(number, duty)
        else:
            self.line.hold_needle(number, duty)

    def go_on(self) -> None:
        """Keeps all that is held where it is."""
        if self.held and time.monotonic() - self.sent > REFRESH_S:
            self.sent = time.monotonic()
            for (kind, number), duty in self.held.items():
                self._send(kind, number, duty)

    def wait(self, seconds: float) -> None:
        self.hand.wait(seconds, self.go_on)

    def ask(self, question: str, keys: str = "") -> str:
        return self.hand.ask(question, self.go_on, keys)


def calibrate_output(path: Path, name: str, port: str | None, hand: Hand, say: Say) -> Found:
    """On the box. Raises Wrong, Misuse; whatever happens nothing is saved here."""
    box = read_box(path)
    one = named(box, name)
    if one is None:
        raise Misuse(f'{path}: there is no lamp, knob or needle "{name}"; there is: {", ".join(names(box)) or "none"}')
    if not os.access(path, os.W_OK):
        raise Misuse(f"{path}: cannot be written, and what is found shall stand there")
    with _nothing_saved(), BoxLine(the_port(port)) as line:
        hello = line.hello_settled()
        if refused := refusal(line, hello):
            raise Wrong(f"{line.port}: the box refused: {refused}")
        table = stored(line, hello)
        if table is None:
            raise Wrong(f"{line.port}: the box runs without its table: `gaugelight flash {path}` first")
        trial = Trial(line, table, hand)
        if isinstance(one, Knob):
            return _knob(trial, box, one, say)
        if isinstance(one, Lamp):
            return _floor(trial, box, one, say)
        return _needle(trial, box, one, say)


@contextlib.contextmanager
def _nothing_saved() -> Iterator[None]:
    """Whatever ends it: said in words, and that all is as it was."""
    try:
        yield
    except KeyboardInterrupt:
        raise Wrong(f"stopped; nothing was saved; {GO_BACK}") from None
    except (Lost, NoAnswer) as problem:
        raise Wrong(f"{problem.lines[0].split(';')[0]}; nothing was saved; {GO_BACK}") from None
    except Misuse:
        raise
    except Wrong as wrong:
        raise Wrong(*wrong.lines[:-1], f"{wrong.lines[-1]}; nothing was saved") from None
    except ValueError as problem:
        raise Wrong(f"{problem}; nothing was saved") from None


def edited(path: Path, found: Found) -> tuple[str, list[str]]:
    """The text of the box file with what was found, checked and proven, and what is different in it. Raises Wrong."""
    text = read_text(path)
    new = found.edit(text, box_of_text(str(path), text.removeprefix("\ufeff")))
    try:
        build(box_of_text(str(path), new.removeprefix("\ufeff")))
    except WrongBoxFile as wrong:
        raise Wrong(f"{path}: nothing was saved: it would not be right any more", *wrong.lines) from None
    return new, difference(str(path), text, new)


def save(path: Path, text: str) -> None:
    """In one step. Raises Misuse."""
    write_whole(path, text)


# -- a knob


def _knob(trial: Trial, box: Box, knob: Knob, say: Say) -> Found:
    number = _number([one.pin for one in trial.table.knobs], knob.pin, f"knob on GP{knob.pin}", box)
    lamps = [lamp for lamp in box.lights.lamps if lamp.source == knob]
    say(f"The knob of {' and '.join(lamp.name for lamp in lamps)}, {ROUNDS} times from stop to stop. Its lamps follow it: by day, or look away.")
    turning = _Turning(trial, knob, number)
    lows: list[int] = []
    highs: list[int] = []
    for turn in range(1, ROUNDS + 1):
        lows.append(turning.taken(f"{turn} of {ROUNDS}: turn it down to its lower stop, press return:"))
        highs.append(turning.taken(f"{turn} of {ROUNDS}: slowly up to its upper stop, press return:"))
        if turn == 1:
            knob_ends.check_ends(knob, lows, highs)
    ends = knob_ends.find_ends(knob, lows, highs)
    click = None
    if trial.ask("Does it click at its lower end, as a switch does? [y/N]", "yn").lower() in ("y", "yes"):
        click = _click(turning, ends)
    low, high = ends.knob.stops or (0.0, 1.0)
    says = [
        f"stops at {_spread(ends.low, 100)} and {_spread(ends.high, 100)} % of 3.3 V; {ends.gained:.1f} % more of its turn dims now",
        *turning.notes(),
    ]
    keys = {}
    if isinstance(click, knob_ends.Click):
        keys = {"off_below": f'"{click.off_below:g} %"', "on_above": f'"{click.on_above:g} %"'}
        says.append(
            f"clicked off it stands at {_spread(click.off, 1)}, clicked on at {_spread(click.on, 1)} % of its travel"
        )
    elif click is not None:
        says.append(click)
    stops = f'["{low * 100:.1f} %", "{high * 100:.1f} %"]'

    def edit(text: str, now: Box) -> str:
        there = [lamp for lamp in now.lights.lamps if isinstance(lamp.source, Knob) and lamp.source.pin == knob.pin]
        for lamp in sorted(there, key=lambda lamp: -lamp.line):
            text = with_stops(text, lamp.line, stops)
            text = with_keys(text, lamp.line, keys)
        return text

    values: dict[str, Any] = {
        "kind": "knob",
        "pin": knob.pin,
        "lamps": [lamp.name for lamp in lamps],
        "stops_percent": [round(low * 100, 1), round(high * 100, 1)],
        "spread_percent": [ends.low.spread * 100, ends.high.spread * 100],
        "click": None
        if not isinstance(click, knob_ends.Click)
        else {"off_below": click.off_below, "on_above": click.on_above},
        "breaks": turning.breaks,
    }
    return Found(tuple(says), values, edit)


def _click(turning: _Turning, ends: knob_ends.Ends) -> knob_ends.Click | str:
    """What it is, or why it cannot be told."""
    offs: list[int] = []
    ons: list[int] = []
    for turn in range(1, ROUNDS + 1):
        ons.append(turning.taken(f"{turn} of {ROUNDS}: up until it has just clicked on, press return:"))
        offs.append(turning.taken(f"{turn} of {ROUNDS}: down until it has just clicked off, press return:"))
    try:
        return knob_ends.find_click(ends, offs, ons)
    except ValueError as problem:
        return f"its click: {problem}"


@dataclass
class _Turning:
    """A knob in somebody's hand: where it stands when they say so, and whether its contact breaks on the way."""

    trial: Trial
    knob: Knob
    number: int
    looks: int = 0
    breaks: int = 0  # of these looks

    def _look(self) -> int:
        counts = self.trial.line.knobs()
        if self.number >= len(counts):
            raise Wrong("the box changed its table meanwhile; begin again")
        return counts[self.number]

    def _on_the_way(self) -> None:
        self.looks += 1
        self.breaks += self._look() < 0

    def taken(self, question: str) -> int:
        """Asked again where it still moves. Raises ValueError where it is broken."""
        while True:
            self.trial.hand.ask(question, self._on_the_way)
            counts = []
            for _ in range(LOOKS):
                counts.append(self._look())
                self.trial.hand.wait(LOOK_S)
            middle = sorted(counts)[LOOKS // 2]
            if (fault := knob_ends.fault_of(self.knob, middle)) is not None:
                raise ValueError(f"the knob on GP{self.knob.pin} is broken: {fault}")
            if max(counts) - max(0, min(counts)) <= STILL:
                return middle
            question = "it still moves, or its contact is bad; let it stand at its stop and press return:"

    def notes(self) -> list[str]:
        if not self.breaks:
            return []
        return [f"its contact broke in {self.breaks} of {self.looks} looks while it was turned: it is worn or dirty"]


# -- a lamp's floor


def _floor(trial: Trial, box: Box, lamp: Lamp, say: Say) -> Found:
    dimmers = trial.table.dimmers
    number = _number([one.name for one in dimmers], lamp.name, lamp.name, box)
    if (dimmers[number].pin, dimmers[number].frequency) != (lamp.pin, lamp.frequency):
        raise Wrong(f"{lamp.name}: the box drives it on another pin or frequency than the file says: `gaugelight flash {box.file}` first")
    pulses = lamp_floor.pulses_of(lamp, float(box.supply))
    honest = pulses.share(pulses.dimmest)
    for text in (
        "On the ground, in the dark, engine off. Nothing here tells what is bright enough to read by in flight: only what just glows.",
        f"GLARE: turn the knobs fully down first; when this ends, or stops, {GO_BACK} to where these stand. Cover the display and all else that shines.",
        "This screen is brighter than the lamp: at its dimmest, red if it can, away from the lamp, one eye shut while you read it.",
        "Lamps of the box are held dark from now on. Eyes take 20 to 30 minutes in the dark (common practice, no source).",
    ):
        say(text)
    for other, record in enumerate(dimmers):
        if isinstance(box.lights.lamp(record.name), Lamp):
            trial.hold("lamp", other, 0)
    began = time.monotonic()
    trial.ask("when they have had them, press return:")
    minutes = (time.monotonic() - began) / 60
    say("Look where the lamp is. y: it glows; n: it does not; u: takes the last answer back. At times it is dark on purpose.")
    staircase = Staircase(pulses, Random())
    while not staircase.done:
        trial.hold("lamp", number, 0)
        trial.wait(DARK_S)
        trial.hold("lamp", number, pulses.duty(staircase.next_ticks) if staircase.next_ticks else 0)
        answer = _one_of(trial, f"{len(staircase.shown) + 1}: does it glow? [y/n]", "ynu")
        if answer == "u":
            staircase.undo()
        else:
            staircase.answer(answer == "y")
    return _floor_found(box, lamp, pulses, staircase, minutes)


def _floor_found(box: Box, lamp: Lamp, pulses: Pulses, staircase: Staircase, minutes: float) -> Found:
    found = lamp_floor.threshold(pulses, staircase.shown)
    ticks = pulses.dimmest if staircase.at_once else lamp_floor.floor_ticks(pulses, found)
    floor = lamp_floor.written(pulses, ticks)
    low, middle, high = (pulses.share(one) * 100 for one in (found.low, found.ticks, found.high))
    looks = f"{len(staircase.lit)} looks, and {staircase.blanks} in the dark, of which {staircase.false or 'none'} said to glow"
    says = []
    if staircase.at_once:
        says.append(
            f"it glows at the shortest pulse that is honest, {floor} of the time: that is its floor; what would make it dimmer:"
            " `gaugelight lamps`"
        )
    else:
        says.append(f"seen half of the time at {middle:.3g} % of the time, {low:.2g} to {high:.2g} % at 95 % ({looks})")
        if found.ticks < pulses.dimmest:
            says.append(f"no pulse below {pulses.share(pulses.dimmest):.2%} is honest: the floor is that one")
    seen = float(lightness(np.array([pulses.share(ticks)]))[0])
    says.append(f"floor {floor}: {ticks} steps of {pulses.setting.tick * 1e9:.3g} ns, L* {seen:.2g}")
    if ticks * pulses.setting.tick < lamp.driver.sure_pulse:
        says.append("as short as that, samples of the transistor differ: with another one find it anew")
    if minutes * 60 < ADAPTED_S:
        says.append(
            f"after {minutes:.0f} minutes in the dark: eyes see dimmer light after 20 to 30, and by night this floor may be too bright"
        )
    says.append("found at the supply as it is now: at a higher one the same pulse is brighter")

    def edit(text: str, now: Box) -> str:
        there = now.lights.lamp(lamp.name)
        if there is None:
            raise Misuse(f'{now.file}: the lamp "{lamp.name}" stands there no more; nothing was saved')
        return with_keys(text, there.line, {"floor": f'"{floor}"'})

    values = {
        "kind": "lamp",
        "lamp": lamp.name,
        "floor_percent": pulses.share(ticks) * 100,
        "floor_steps": ticks,
        "threshold_percent": None if staircase.at_once else middle,
        "threshold_percent_95": None if staircase.at_once else [low, high],
        "dimmest_honest_percent": pulses.share(pulses.dimmest) * 100,
        "looks": len(staircase.lit),
        "dark_looks": staircase.blanks,
        "dark_said_to_glow": staircase.false,
        "minutes_in_the_dark": minutes,
    }
    return Found(tuple(says), values, edit)


# -- a needle's marks


def _needle(trial: Trial, box: Box, needle: Needle, say: Say) -> Found:
    records = trial.table.needles
    number = _number([one.name for one in records], needle.name, needle.name, box)
    if (records[number].pin, records[number].frequency) != (needle.pin, needle.frequency):
        raise Wrong(f"{needle.name}: the box drives it on another pin or frequency than the file says: `gaugelight flash {box.file}` first")
    unit = _unit(box, needle.follows)
    marks = [Mark(reading) for reading in _marks_of(needle)]
    say(
        f"{needle.name}, {len(marks)} marks, {SETS} times from below and from above. It shows none of what it follows meanwhile: on the"
        f" ground only; {GO_BACK}. Do not tap the meter: friction is part of what is found."
    )
    say("+ - 0.1 % of the time, > < 1 %, = 4.2 where it stands on 4.2, return when it stands on its mark. It never turns back on its own.")
    setting = _Setting(trial, needle, number, marks, unit)
    for turn in range(1, SETS + 1):
        for way in (1, -1):
            for mark in setting.in_order(way):
                setting.to_mark(mark, way, f"{turn} of {SETS}")
    trial.hold("needle", number, _duty(float(needle.park)))
    points = needle_marks.fit_marks(marks, float(needle.park))
    says = [
        f"{float(point.reading):g} {unit} at {point.place:.2f} % of the time, +- {point.plus_minus_reading:.2g} {unit} at 95 %;"
        f" {point.stick_reading:.2g} {unit} between up and down"
        for point in points
    ]
    worst = max(points, key=lambda point: point.stick_reading)
    if worst.stick_reading > worst.plus_minus_reading / 2:
        says.append(
            f"friction holds it off by up to {worst.stick_reading / 2:.2g} {unit} either way, at {float(worst.reading):g} {unit}: tap the meter before you read it"
        )
    written = ", ".join(f'["{_plain(point.reading)} {unit}", "{point.place:.2f} %"]' for point in points)

    def edit(text: str, now: Box) -> str:
        there = [one for one in now.face.needles if one.name == needle.name]
        if not there:
            raise Misuse(f'{now.file}: the needle "{needle.name}" stands there no more; nothing was saved')
        return with_keys(text, there[0].line, {"points": f"[{written}]"})

    values = {
        "kind": "needle",
        "needle": needle.name,
        "unit": unit,
        "points": [
            {
                "reading": float(point.reading),
                "percent": round(point.place, 2),
                "stick": point.stick_reading,
                "plus_minus": point.plus_minus_reading,
            }
            for point in points
        ],
    }
    return Found(tuple(says), values, edit)


@dataclass
class _Setting:
    """A needle that somebody brings to its marks."""

    trial: Trial
    needle: Needle
    number: int
    marks: list[Mark]
    unit: str

    def _guess(self, reading: Fraction) -> float:
        """Per cent of the time: where it was set before, else as the file says."""
        for mark in self.marks:
            if mark.reading == reading and (set_at := mark.below + mark.above):
                return sum(set_at) / len(set_at)
        known = [(mark.reading, Fraction(sum(s) / len(s))) for mark in self.marks if (s := mark.below + mark.above)]
        return needle_marks.between(known if len(known) > 1 else self.needle.points, reading)

    def in_order(self, way: int) -> list[Mark]:
        return sorted(self.marks, key=lambda mark: way * needle_marks.between(self.needle.points, mark.reading))

    def to_mark(self, mark: Mark, way: int, turn: str) -> None:
        """way: 1 from below, -1 from above."""
        reading = f"{float(mark.reading):g} {self.unit}"
        place = self._to(self._guess(mark.reading) - way * LEAD)
        question = f"{turn}, {reading}, from {'below' if way > 0 else 'above'}:"
        while True:
            answer = self.trial.ask(f"{question} {place:.1f} %", "".join(NUDGES)).replace(" ", "")
            if not answer:
                break
            if set(answer) <= set(NUDGES):
                to = place + sum(NUDGES[key] for key in answer)
            elif answer.startswith("=") and (shown := _number_of(answer[1:])) is not None:
                to = place + self._guess(mark.reading) - self._guess(shown)
            else:
                self.trial.hand.tell(f'"{answer}": write + or - (0.1 %), > or < (1 %), = and what it shows, or nothing')
                continue
            if (to - place) * way < 0:
                self._to(to - way * BACK)  # or its bearings would hold it from the other side
                self.trial.wait(BACK_S)
            place = self._to(to)
        (mark.below if way > 0 else mark.above).append(place)

    def _to(self, place: float) -> float:
        place = min(100.0, max(0.0, round(place, 1)))
        self.trial.hold("needle", self.number, _duty(place))
        return place


def _marks_of(needle: Needle) -> Sequence[Fraction]:
    """Those of the file, where it has three or more; else five, evenly."""
    readings = [reading for reading, _ in needle.points]
    return readings if len(set(readings)) == len(readings) >= 3 else needle_marks.five(readings[0], readings[-1])


def _duty(place: float) -> int:
    """As the box drives a needle."""
    return round(place * 100) * 65535 // 10000


def _unit(box: Box, name: str) -> str:
    return next(bare(unit) for readout, unit, _ in _readouts(box) if readout == name)


def _readouts(box: Box) -> list[tuple[str, str, None]]:
    derived = [(one.name, one.unit, None) for one in box.face.derived]
    return [*((one.name, one.unit, None) for one in box.inputs), *derived]


# -- what they share


def _number(there: Sequence[object], wanted: object, what: str, box: Box) -> int:
    if wanted not in there:
        raise Wrong(f"{what}: the box runs a table without it: `gaugelight flash {box.file}` first")
    return list(there).index(wanted)


def _one_of(trial: Trial, question: str, keys: str) -> str:
    while (answer := trial.ask(question, keys).lower()[:1]) not in keys or not answer:
        pass
    return answer


def _number_of(word: str) -> Fraction | None:
    try:
        return Fraction(word)
    except (ValueError, ZeroDivisionError):
        return None


def _spread(found: knob_ends.Found, scale: float) -> str:
    return f"{found.mean * scale:.1f} (+- {found.inward * scale:.2g})"


def _plain(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")
