"""The guided calibration, a point at a time: what to do, what it says now, is it still, taken. The session file is whole after every point.

One person does it, on a ladder, the screen some way off: few keys, few words, one large number.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any, Protocol, TypeVar

import numpy as np

from gaugebox.curve import lookup
from gaugelight.box_line import BoxLine, Described, NoAnswer, TableChanged
from gaugelight.boxfile import PRESSURE_UNITS, Box, Input
from gaugelight.calibration import results, session as files
from gaugelight.calibration.answers import Answers, Ended
from gaugelight.calibration.session import (
    BY_BOX,
    LEVEL,
    PARKED,
    REFERENCE,
    TANK,
    Amount,
    Can,
    Point,
    Reference,
    Session,
)
from gaugelight.calibration.stillness import (
    Limits,
    Sample,
    Standing,
    judge,
    limits_of,
    period_of,
    resolution_of,
)
from gaugelight.chain import chain_of
from gaugelight.flash import stored
from gaugelight.problems import Misuse, Wrong
from gaugelight.quantity import UNITS, Difference
from gaugelight.said import Said

T = TypeVar("T")

UNDO, FINISHED, STOP, TAKE = "u", "f", "q", "t"
NEARLY = 0.8  # of the window: what moved before has come to rest, and is counted down
KEYS = "u undo the last   f finished   q stop, all is safe"
FUEL_CAUTIONS = (
    "No flame, no spark, no telephone; in the open air; an extinguisher at hand; no one else around.",
    "Bond aircraft, can and funnel to each other before a cap is opened, until it is closed again.",
    "Laptop and charger stand outside the vapour, which sinks: upwind, never under the wing or the hull.",
    "Master off while fuel is poured. Cap on, and master off where the box and its sender live on USB, while it is read.",
    "Wheels chocked. Drained fuel goes into a bonded can that is closed. What the aircraft's manual says of defuelling comes first.",
)
PRESSURE_CAUTIONS = (
    "Stay below what the weakest part bears; take the pressure off before a fitting is opened.",
    "Oil under pressure goes through skin: no hand feels for a leak. Eye protection on, no one else around.",
)
OTHER_CAUTIONS = (
    "Hot fluid, hot metal and a live bus burn: gloves for the first, a fuse in the test lead for the last. Master off while it is connected.",
)
POINT = re.compile(
    r"(?P<amount>[+-]?\d.*?)(?:\s*\b(?:dip|d)\s*(?P<dip>\d+(?:\.\d+)?)\s*(?P<unit>mm|cm|in)?)?", re.I
)


class Source(Protocol):
    """Where samples of the signal come from."""

    def sample(self) -> Sample: ...

    @property
    def reading(self) -> str:
        """As the face shows it."""
        ...


class BoxSource:
    """One input of a box on its line. Raises Wrong where the box is not the one of the box file, or is lost."""

    def __init__(self, line: BoxLine, box: Box, one: Input) -> None:
        self.line, self.input = line, one
        self.reading = ""
        hello = line.hello_same_version()
        cure = f"run `gaugelight flash {box.file}` first, or name the box file that it was flashed from"
        if hello.box != box.name:
            what = f'the box there is "{hello.box or "without a table"}", {box.file} describes "{box.name}"'
            raise Wrong(f"{line.port}: {what}; {cure}")
        described = line.describe(hello.inputs)
        names = [about.name for about in described]
        if one.name not in names:
            raise Wrong(f'{line.port}: the box runs a table without "{one.name}"; {cure}')
        self.index = names.index(one.name)
        self.described: list[Described] = described[: self.index + 1]
        table = stored(line, hello)
        if table is None or not _same_circuit(table.inputs[self.index], box, one):
            raise Wrong(
                f"{line.port}: the box measures {one.name} in another circuit than {box.file} has; {cure}"
            )

    def sample(self) -> Sample:
        try:
            said = self.line.values(self.described)[self.index]
        except NoAnswer:
            self.reading = ""
            return Sample(time.monotonic(), None, "the box does not answer")
        except TableChanged:
            raise Wrong(
                f"{self.line.port}: the box runs another table than when this began; begin again"
            ) from None
        self.reading = self._shown(said)
        signal = None if said.signal is None else float(said.signal)
        return Sample(time.monotonic(), signal, said.fault or "")

    def _shown(self, said: Said) -> str:
        if said.reading is None:
            return ""
        step = self.input.step
        decimals = max(0, len(f"{float(step):.6f}".rstrip("0").partition(".")[2]))
        return f"{float(round(said.reading / step) * step):.{decimals}f} {said.reading_unit}"


def _same_circuit(record: Any, box: Box, one: Input) -> bool:
    """Whether a table turns counts into the signals that this box file's circuit means."""
    signals, (first, last) = chain_of(box, one).signals(), (
        record.signal_curve[0][0],
        record.signal_curve[0][-1],
    )
    span = one.law.high - one.law.low
    for count in np.linspace(first, last, 9).astype(int):
        said = lookup(record.signal_curve, int(count)) / 10**record.signal_decimals
        if abs(said - signals[count]) > abs(signals[count]) / 400 + span / 1000:
            return False
    return True


def check_goes_on(session: Session, box: Box, one: Input, attitude: str) -> None:
    """Whether a session can go on with this box, input and attitude. Raises Misuse with the cure."""
    other = "; name another file with --session"
    if session.input != one.name:
        raise Misuse(f'{session.file}: is of "{session.input}", not of "{one.name}"{other}')
    if session.kind != results.kind_of(one):
        raise Misuse(f'{session.file}: kind = "{session.kind}", but {one.name} is in {one.unit}{other}')
    if session.kind == TANK and session.attitude != attitude:
        cure = "leave --parked out" if attitude == PARKED else "add --parked"
        raise Misuse(
            f'{session.file}: was begun in attitude "{session.attitude}"; {cure}, or name another file with --session'
        )
    if session.signals != BY_BOX:
        raise Misuse(
            f"{session.file}: its signals are a meter's; type more of them in by hand and give it with --from"
        )
    if session.box and session.box != box.name:
        raise Misuse(f'{session.file}: was begun on box "{session.box}", this is "{box.name}"{other}')
    if session.circuit and session.circuit != results.circuit_mark(box, one):
        raise Misuse(
            f"{session.file}: was begun with another circuit for {one.name} in the box file{other}, and begin again"
        )


@dataclass
class Picture:
    """What stands on the screen. large: a number, from afar."""

    title: str = ""
    large: str = ""
    large_unit: str = ""
    lines: list[str] = field(default_factory=list)
    prompt: str = ""
    keys: str = ""
    typed: str = ""
    message: str = ""


class View(Protocol):
    def draw(self, picture: Picture) -> None: ...
    def say(self, text: str) -> None: ...


@dataclass
class Guide:
    """Takes points until the person has finished or stops."""

    box: Box
    input: Input
    path: Path
    attitude: str
    source: Source
    answers: Answers
    view: View
    limits: Limits
    period: float
    clock: Callable[[], float] = time.monotonic
    now: Callable[[], datetime] = datetime.now
    samples: list[Sample] = field(default_factory=list)
    temperature: Amount | None = None
    message: str = ""

    @property
    def kind(self) -> str:
        return results.kind_of(self.input)

    def run(self) -> tuple[Session | None, bool]:
        """The session, None where none was begun; whether the person said that it is finished. Raises Wrong."""
        session: Session | None = None
        try:
            self._cautions()
            if self.path.exists():
                session = files.read_session(self.path)
                check_goes_on(session, self.box, self.input, self.attitude)
                self._say(f"goes on with {self.path}: {len(session.points)} points")
            else:
                files.write(self.path, self._head())
            self._say(self._asked_of_stillness())
            while True:
                session = files.read_session(self.path)
                point = self._poured(session)
                if point == UNDO:
                    self._undo(session)
                elif point == FINISHED:
                    return session, True
                elif isinstance(point, Point):
                    self._take(session, point)
        except Ended:
            return (files.read_session(self.path) if self.path.exists() else None), False

    # -- what is asked

    def _cautions(self) -> None:
        cautions: tuple[str, ...] = FUEL_CAUTIONS
        if self.kind != TANK:
            cautions = PRESSURE_CAUTIONS if self.input.bare_unit in PRESSURE_UNITS else OTHER_CAUTIONS
        for caution in cautions:
            self.view.say(f"  ! {caution}")
        picture = Picture(self.input.name, lines=[f"! {caution}" for caution in cautions])
        self._ask("is all of this so? return goes on, q stops", lambda answer: answer, picture)

    def _head(self) -> Session:
        box, circuit, today = self.box.name, results.circuit_mark(self.box, self.input), self.now().date()
        if self.kind == REFERENCE:
            gauge = self._gauge()
            return Session(self.input.name, REFERENCE, today, reference=gauge, box=box, circuit=circuit)
        weighed = self._ask("fuel measured by v volume or w weight? [v]", _one_of("v", "w")) == "w"
        fuel: str | None = None
        density: Fraction | None = None
        unit = self.input.bare_unit if UNITS[self.input.bare_unit][0] == "volume" else "l"
        if weighed:
            unit = "kg" if self.input.bare_unit in ("l", "kg") else "lb"
            told = self._ask('which fuel, as "avgas 100LL", or its density measured, as "0.716 kg/l"', _fuel)
            fuel, density = (told, None) if isinstance(told, str) else (None, told)
        every = self._ask(
            "what all pours share, plus or minus (can or scale wrong by) [1 %]", _default(files.share, "1 %")
        )
        small = {"US gal": "0.05", "imp gal": "0.04", "l": "0.2", "lb": "0.1", "kg": "0.05"}[unit]
        each = self._ask(
            f"what each pour has of its own, plus or minus (filled to the mark by eye) [{small} {unit}]",
            _default(files.amount("l", "kg", files.SHARE, least=Fraction(0)), f"{small} {unit}", unit),
        )
        return Session(
            self.input.name,
            TANK,
            today,
            self.attitude,
            can=Can(every, each),
            fuel=fuel,
            density=density,
            box=box,
            circuit=circuit,
        )

    def _gauge(self) -> Reference:
        unit = Difference(self.input.bare_unit)
        off = _default(files.amount(files.SHARE, unit, least=Fraction(0)), "", unit)
        name = self._ask("the reference gauge: its name or number", files._text_of)
        plus_minus = self._ask(
            f"its plus or minus in all its readings: % of the reading, or {unit}"
            f" (a class is of its full scale: class 1 to 600 {unit} is 6 {unit})",
            off,
        )
        each = self._ask(f"how well you can read it, plus or minus, {unit} (half a division)", off)
        return Reference(name, plus_minus, each)

    def _asked_of_stillness(self) -> str:
        limit, unit = self.limits, self.input.circuit.unit
        return (
            f"still: for {limit.window:g} s its spread and its drift stay below {limit.spread:.2g} {unit},"
            f" a tenth of a displayed step or three times the converter's noise"
        )

    def _poured(self, session: Session) -> Point | str:
        """What was done since the point before: a point without its signal yet; or one of the keys."""
        unit = self.input.bare_unit
        picture = self._picture(session)
        if self.kind == TANK and not session.points:
            parked = "" if self.attitude == LEVEL else ", then let it down to parked attitude"
            picture.prompt = f"drain to the unusable quantity in level flight attitude{parked}; then return"
        elif self.kind == TANK:
            dip = "; with a dipstick's wetted length: 2 dip 102" if self.attitude == PARKED else ""
            weighed = session.fuel is not None or session.density is not None
            how = f"{'kg' if unit in ('l', 'kg') else 'lb'}" if weighed else unit
            picture.prompt = f"pour (or drain: -2), then how much since the last, in {how}, and return{dip}"
        else:
            picture.prompt = f"set it; what the reference says, in {unit}, and return"
        while True:
            answer = self._answer(picture)
            low = answer.lower()
            if low in (UNDO, FINISHED, STOP):
                if low == STOP:
                    raise Ended
                return low
            try:
                return self._point(session, answer)
            except ValueError as problem:
                self._say(str(problem))

    def _point(self, session: Session, answer: str) -> Point:
        """Raises ValueError."""
        nothing = Amount(Fraction(0), self.input.circuit.unit)
        unit = self.input.bare_unit
        if self.kind == TANK and not session.points:
            if answer and answer not in ("0", f"0 {unit}"):
                raise ValueError("the first point is the empty tank: just return")
            return Point(nothing, added=Amount(Fraction(0), unit))
        match = POINT.fullmatch(answer)
        if match is None:
            raise ValueError(f'"{answer}": a number is wanted, or one of: {KEYS}')
        if self.kind == REFERENCE:
            given = files.amount(unit)(_with_unit(answer, unit))
            return Point(nothing, true=given)
        weighed = session.fuel is not None or session.density is not None
        base = ("kg" if unit in ("l", "kg") else "lb") if weighed else unit
        given = files.fuel_amount(_with_unit(match["amount"].strip(), base))
        if UNITS[given.unit][0] == UNITS[unit][0] and abs(given.to(unit)) > results.most_poured(self.input):
            raise ValueError(f"{given}: more than the whole tank; is the unit right?")
        dip = None if match["dip"] is None else Amount(Fraction(match["dip"]), match["unit"] or "mm")
        if UNITS[given.unit][0] == "mass" and UNITS[unit][0] != "mass":
            if not weighed:
                raise ValueError(f"{given}: this session's pours are by volume; give {unit}")
            point = Point(nothing, weighed=given, temperature=self._degrees(session), dip=dip)
        else:
            point = Point(nothing, added=given, dip=dip)
        results.check_drained(session, point, self.input)
        return point

    def _degrees(self, session: Session) -> Amount | None:
        if session.density is not None:
            return None  # it was measured as it is poured
        if self.temperature is None:
            parse = _default(files.amount("degC", least=Fraction(-40), most=Fraction(60)), "", "degC")
            self.temperature = self._ask("temperature of the fuel, degC", parse)
        return self.temperature

    # -- waiting for it to stand still

    def _take(self, session: Session, point: Point) -> None:
        """Waits until the signal is still, and adds the point; or leaves it, where the person says so."""
        self.samples.clear()
        self.message = ""
        began = self.clock()
        while True:
            standing = self._look()
            if standing.still:
                return self._add(session, point, standing, "")
            waited = self.clock() - began
            late = waited > self.limits.patience
            picture = self._waiting(session, standing, late)
            self._draw(picture)
            said: str | None = None
            if late and not self.answers.live:
                said = self._late(picture, standing)
            elif self.answers.live:
                said = self.answers.line(self.period)
            else:
                self.answers.pause(self.period)
            if said is None:
                continue
            if said.lower() == STOP:
                raise Ended
            if said.lower() == UNDO:
                self._say("left out; say again how much went in since the last point")
                return
            if said.lower() == TAKE and standing.mean is not None and standing.samples >= 3:
                return self._add(session, point, standing, _unstill(standing))
            if said.lower() == TAKE:
                self._say(f"nothing to take: {standing.fault or 'too few readings yet'}")
            elif said:
                self._say(f'"{said}" was not taken down: this point comes first; {picture.keys}')

    def _late(self, picture: Picture, standing: Standing) -> str:
        """Nobody watches: the next line says whether to take it so. Raises Wrong where none does."""
        self.view.say(f"{picture.prompt}; {picture.message}")
        try:
            said = self.answers.line(0.0)
        except Ended:
            said = None
        if said is None or said.lower() != TAKE or standing.fault:
            what = standing.fault or standing.moves or "it is not still"
            raise Wrong(f"{self.path}: no point was taken: {what}; all points before are safe in it")
        return said

    def _look(self) -> Standing:
        self.samples.append(self.source.sample())
        newest = self.samples[-1]
        self.samples = [one for one in self.samples if newest.at - one.at <= 1.5 * self.limits.window]
        return judge(self.samples, self.limits, newest.at)

    def _waiting(self, session: Session, standing: Standing, late: bool) -> Picture:
        picture = self._picture(session)
        unit = self.input.circuit.unit
        if standing.fault:
            picture.large = ""
            picture.prompt = f"FAULT: {standing.fault}. No point is taken: look at plug, wire and ground"
        elif standing.moves and (standing.remaining or 0) > NEARLY * self.limits.window:
            picture.prompt = f"MOVES: {standing.moves}"
        else:
            picture.prompt = (
                "waiting" if standing.remaining is None else f"still in {standing.remaining:.0f} s"
            )
        if not standing.fault and standing.remaining is not None:
            picture.large, picture.large_unit = f"{standing.remaining:.0f}", "s"
        if standing.spread is not None and standing.drift is not None:
            picture.lines.append(
                f"spread {standing.spread:.2g} {unit}, drift {standing.drift:+.2g} {unit}; each below {self.limits.spread:.2g}"
            )
        picture.keys = "u leave this one out   q stop, all is safe   t take it as it is"
        if late:
            picture.message = (
                f"not still after {self.limits.patience / 60:.2g} min; t takes it with its larger spread"
            )
        return picture

    def _add(self, session: Session, point: Point, standing: Standing, note: str) -> None:
        assert standing.mean is not None and standing.spread is not None
        unit = self.input.circuit.unit
        decimals = max(0, -int(np.floor(np.log10(resolution_of(self.box, self.input)))))
        taken = replace(
            point,
            signal=Amount(Fraction(f"{standing.mean:.{decimals}f}"), unit),
            spread=Amount(Fraction(f"{float(f'{standing.spread:.2g}'):.9f}"), unit),
            at=self.now().replace(microsecond=0),
            note=note,
        )
        files.append(self.path, taken)
        self._say(f"point {len(session.points) + 1} taken: {_said_of(taken)}; safe in {self.path}\a")

    def _undo(self, session: Session) -> None:
        if not session.points:
            self._say("there is nothing to undo")
            return
        files.undo(self.path)
        self._say(f"undone: point {len(session.points)}, {_said_of(session.points[-1])}")

    # -- the screen

    def _picture(self, session: Session) -> Picture:
        sample = self.samples[-1] if self.samples else None
        unit = self.input.circuit.unit
        signal = "-" if sample is None or sample.signal is None else f"{sample.signal:.5g} {unit}"
        picture = Picture(
            f"{self.input.name}   {len(session.points)} points", keys=KEYS, message=self.message
        )
        if self.kind == TANK:
            total, of = results.total_of(session, self.input), self.input.bare_unit
            picture.large, picture.large_unit = f"{total:.4g}", f"{of} poured in all"
        picture.lines.append(f"signal {signal}   the box shows {self.source.reading or '-'}, damped")
        if session.points:
            picture.lines.append(f"last point: {_said_of(session.points[-1])}")
        return picture

    def _say(self, text: str) -> None:
        self.message = text.rstrip("\a")
        self.view.say(text)

    def _draw(self, picture: Picture) -> None:
        picture.typed = self.answers.typed
        self.view.draw(picture)

    def _answer(self, picture: Picture) -> str:
        """The next line; the signal goes on meanwhile. Raises Ended."""
        while True:
            if picture.keys == KEYS:
                self._look()
                picture.lines[0] = self._picture_line()
            picture.message = self.message
            self._draw(picture)
            if (said := self.answers.line(self.period)) is not None:
                return said

    def _picture_line(self) -> str:
        sample, unit = self.samples[-1], self.input.circuit.unit
        signal = f"{sample.signal:.5g} {unit}" if sample.signal is not None else f"FAULT: {sample.fault}"
        return f"signal {signal}   the box shows {self.source.reading or '-'}, damped"

    def _ask(self, question: str, parse: Callable[[str], T], picture: Picture | None = None) -> T:
        """Until it is answered rightly. Raises Ended."""
        picture = picture or Picture(self.input.name)
        picture.prompt = question
        while True:
            answer = self._answer(picture)
            if answer.lower() == STOP:
                raise Ended
            try:
                found = parse(answer)
            except ValueError as problem:
                self._say(str(problem))
                continue
            self.message = ""
            return found


def guide(
    box: Box, one: Input, path: Path, parked: bool, line: BoxLine, answers: Answers, view: View,
    window: float | None = None, patience: float | None = None,
) -> tuple[Session | None, bool]:  # fmt: skip
    """Takes points on a box. window, patience: seconds, where not the usual ones. Raises Wrong."""
    limits = limits_of(box, one)
    limits = replace(limits, window=window or limits.window, patience=patience or limits.patience)
    period = min(period_of(box, one), limits.window / 12)
    source = BoxSource(line, box, one)
    return Guide(box, one, path, PARKED if parked else LEVEL, source, answers, view, limits, period).run()


def _unstill(standing: Standing) -> str:
    return (
        f"taken while it moved: {standing.moves}"
        if standing.moves
        else "taken before it was known to be still"
    )


def _said_of(point: Point) -> str:
    given = point.added or point.weighed or point.true
    spread = "" if point.spread is None else f", spread {point.spread}"
    dip = "" if point.dip is None else f", dip {point.dip}"
    return f"{'added ' if point.true is None else ''}{given}, {point.signal}{spread}{dip}"


def _with_unit(answer: str, unit: str) -> str:
    return f"{answer} {unit}" if re.fullmatch(r"[+-]?\d+(\.\d+)?", answer) else answer


def _default(parse: Callable[[Any], T], default: str, unit: str = files.SHARE) -> Callable[[str], T]:
    """An empty answer is the default, a bare number is in the unit."""

    def read(answer: str) -> T:
        if not answer and not default:
            raise ValueError("is needed")
        return parse(_with_unit(answer or default, unit))

    return read


def _one_of(*words: str) -> Callable[[str], str]:
    def read(answer: str) -> str:
        if (answer or words[0]) not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return answer or words[0]

    return read


def _fuel(answer: str) -> str | Fraction:
    return files.density(answer) if re.match(r"\s*\d", answer) else files.fuel_name(answer)
