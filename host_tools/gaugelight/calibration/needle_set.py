"""A needle brought to the marks of its dial, from below and from above, by somebody who looks at it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from gaugelight.boxfile import Box, bare
from gaugelight.calibration import needle_marks
from gaugelight.calibration.needle_marks import Mark
from gaugelight.calibration.table_keys import listed, with_keys
from gaugelight.calibration.trial import GO_BACK, Found, Trial, number_in, same_pulses
from gaugelight.needles import Needle
from gaugelight.problems import Misuse

SETS = 2  # of a mark, each way
LEAD = 2.0  # per cent of the time, from where a needle is brought to its mark
BACK, BACK_S = 5.0, 1.0  # so far, and so long, it is taken back where it went past
NUDGES = {"+": needle_marks.NUDGE, "-": -needle_marks.NUDGE, ">": 1.0, "<": -1.0}  # per cent of the time


def set_needle(trial: Trial, box: Box, needle: Needle) -> Found:
    records = trial.table.needles
    number = number_in([one.name for one in records], needle.name, needle.name, box)
    same_pulses(
        box, needle.name, (needle.pin, needle.frequency), (records[number].pin, records[number].frequency)
    )
    unit = _unit(box, needle.follows)
    marks = [Mark(reading) for reading in _marks_of(needle)]
    trial.hand.tell(
        f"{needle.name}, {len(marks)} marks, {SETS} times from below and from above. It shows none of what it follows meanwhile: on the"
        f" ground only; {GO_BACK}. Do not tap the meter: friction is part of what is found."
    )
    trial.hand.tell(
        "+ - 0.1 % of the time, > < 1 %; 4.2 where it stands on 4.2 (=-4.2 where that is negative); return when it stands on its mark."
    )
    setting = _Setting(trial, needle, number, marks, unit)
    for turn in range(1, SETS + 1):
        for way in (1, -1):
            setting.come_from(way)
            for mark in setting.in_order(way):
                setting.to_mark(mark, way, f"{turn} of {SETS}")
    trial.hold("needle", number, _duty(float(needle.park)))
    points = needle_marks.fit_marks(marks, float(needle.park))
    says = [
        f"{float(point.reading):g} {unit} at {point.place:.2f} % of the time, +- {point.plus_minus_reading:.2g} {unit} at 95 %,"
        f" +- {point.tapped_reading:.2g} tapped; {point.stick_reading:.2g} {unit} between up and down"
        for point in points
    ]
    worst = max(points, key=lambda point: point.stick_reading)
    if worst.stick_reading / 2 > worst.tapped_reading:
        says.append(
            f"friction holds it off by up to {worst.stick_reading / 2:.2g} {unit} either way, at {float(worst.reading):g} {unit}: tap the meter before you read it"
        )
    rows = [f'["{_plain(point.reading)} {unit}", "{point.place:.2f} %"]' for point in points]

    def edit(text: str, now: Box) -> str:
        there = [one for one in now.face.needles if one.name == needle.name]
        if not there:
            raise Misuse(f'{now.file}: the needle "{needle.name}" stands there no more; nothing was saved')
        return with_keys(text, there[0].line, {"points": listed(rows)})

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
                "plus_minus_tapped": point.tapped_reading,
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
    place: float = 0.0  # where it is driven to, per cent of the time

    def _guess(self, reading: Fraction) -> float:
        """Per cent of the time: where it was set before, else as the file says."""
        for mark in self.marks:
            if mark.reading == reading and (set_at := mark.below + mark.above):
                return sum(set_at) / len(set_at)
        known = [
            (mark.reading, Fraction(sum(s) / len(s))) for mark in self.marks if (s := mark.below + mark.above)
        ]
        return needle_marks.between(known if len(known) > 1 else self.needle.points, reading)

    def in_order(self, way: int) -> list[Mark]:
        return sorted(
            self.marks, key=lambda mark: way * needle_marks.between(self.needle.points, mark.reading)
        )

    def come_from(self, way: int) -> None:
        """Below all marks, or above them, so that its bearings hold it from there."""
        guesses = [self._guess(mark.reading) for mark in self.marks]
        self._to(min(guesses) - BACK if way > 0 else max(guesses) + BACK)
        self.trial.wait(BACK_S)

    def to_mark(self, mark: Mark, way: int, turn: str) -> None:
        """way: 1 from below, -1 from above."""
        reading = f"{float(mark.reading):g} {self.unit}"
        place = self._to(way * max(way * self.place, way * self._guess(mark.reading) - LEAD))
        question = f"{turn}, {reading}, from {'below' if way > 0 else 'above'}:"
        while True:
            answer = self.trial.ask(f"{question} {place:.1f} %", "".join(NUDGES)).replace(" ", "")
            if not answer:
                break
            if set(answer) <= set(NUDGES):
                to = place + sum(NUDGES[key] for key in answer)
            elif (shown := _number_of(answer.removeprefix("="))) is not None:
                to = place + self._guess(mark.reading) - self._guess(shown)
            else:
                self.trial.hand.tell(
                    f'"{answer}": write + or - (0.1 %), > or < (1 %), what it shows, or nothing where it stands on its mark'
                )
                continue
            if (to - place) * way < 0:
                self._to(to - way * BACK)  # or its bearings would hold it from the other side
                self.trial.wait(BACK_S)
            place = self._to(to)
        (mark.below if way > 0 else mark.above).append(place)

    def _to(self, place: float) -> float:
        self.place = min(100.0, max(0.0, round(place, 1)))
        self.trial.hold("needle", self.number, _duty(self.place))
        return self.place


def _marks_of(needle: Needle) -> Sequence[Fraction]:
    """Those of the file, where it has three or more; else five, evenly."""
    readings = [reading for reading, _ in needle.points]
    return (
        readings if len(set(readings)) == len(readings) >= 3 else needle_marks.five(readings[0], readings[-1])
    )


def _duty(place: float) -> int:
    """As the box drives a needle."""
    return round(place * 100) * 65535 // 10000


def _unit(box: Box, name: str) -> str:
    """Of an input or a derived readout, as the box file has it."""
    units = {one.name: one.unit for one in box.inputs} | {one.name: one.unit for one in box.face.derived}
    return bare(units[name])


def _number_of(word: str) -> Fraction | None:
    try:
        return Fraction(word)
    except (ValueError, ZeroDivisionError):
        return None


def _plain(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")
