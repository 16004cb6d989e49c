"""The duty at which a lamp just glows to an eye used to the dark.

Which duty is shown next: the simple up-and-down method, up after "no", down after "yes" (Dixon and Mood, J. Am. Stat. Assoc. 43, 1948;
Levitt, J. Acoust. Soc. Am. 49, 1971: it stays about what is seen half of the time; both from memory), begun from below as the ascending
method of limits is (Gescheider, Psychophysics: The Fundamentals, chapter 3; from memory), so that nothing dazzles. In between nothing is
shown at all, to catch an eye that sees what it expects.

What comes of it: every answer is weighed, by Bayes' rule over a grid of thresholds and widths. The chance of "yes" rises with the
logarithm of the duty as a cumulated normal distribution. How wide that is differs from eye to eye; about the 0.17 decades that
Blackwell (J. Opt. Soc. Am. 36, 1946; from memory: 0.48 of the threshold) found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

import numpy as np

from gaugelight import pwm
from gaugelight.lights import Lamp

REVERSALS = 10  # after which it ends
MOST_SHOWN = 60
RISE, STEP = 1.5, 1.4  # from one duty to the next: until it is first seen, and about the threshold
BRIGHTEST = (
    0.05  # share of the time: whoever does not see that has a lamp that is not lit, or eyes that are shut
)
BLANK_EACH = 5  # of so many shown one is dark, on the average
MOST_FALSE = 1  # so often may the dark be said to glow
MISTYPED = 0.02  # of the answers
WIDTHS = np.geomspace(0.08, 0.8, 12)  # decades of duty
GRID = 0.01  # decades
FIRST_AT_ONCE = 4  # so often seen at the dimmest pulse, and it is no use to go on


@dataclass(frozen=True)
class Pulses:
    """What the chip can make of a lamp's duty: 1 to `steps` ticks of high in a period; dimmest: the fewest that are honest."""

    setting: pwm.Setting
    dimmest: int

    def duty(self, ticks: int) -> int:
        """Of 65535, that the chip makes so many ticks of."""
        return (ticks * pwm.FULL + self.setting.steps // 2) // self.setting.steps

    def share(self, ticks: float) -> float:
        """Of the time."""
        return ticks / self.setting.steps

    def times(self, ticks: int, factor: float) -> int:
        """So many times as long, by one tick at least, and no shorter than is honest."""
        moved = round(ticks * factor)
        if moved == ticks:
            moved += 1 if factor > 1 else -1
        return min(self.setting.steps, max(self.dimmest, moved))


def pulses_of(lamp: Lamp, supply: float, chip: pwm.Chip = pwm.CHIPS["rp2040"]) -> Pulses:
    """supply: volts. The dimmest is the shortest that the lamp's current follows to its full height, its wire's edges included: below it the
    light depends on how warm the transistor is."""
    setting = pwm.setting(chip, lamp.frequency)
    edges, _ = lamp.edges(lamp.driver, supply)
    return Pulses(setting, max(1, math.ceil(edges.shortest_pulse / setting.tick)))


@dataclass(frozen=True)
class Shown:
    ticks: int  # 0: dark
    seen: bool


@dataclass(frozen=True)
class Threshold:
    """In ticks: seen half of the time, and its limits at 95 %; width: decades, from half of the time to 84 %."""

    ticks: float
    low: float
    high: float
    width: float


@dataclass
class Staircase:
    """What to show next, answer by answer."""

    pulses: Pulses
    random: Random
    shown: list[Shown] = field(default_factory=list)
    reversals: int = 0
    ticks: int = 0  # on the stairs
    first_seen: bool = False
    next_ticks: int = 0  # 0: dark
    since_blank: int = 0

    def __post_init__(self) -> None:
        self.ticks = self.next_ticks = self.pulses.dimmest

    @property
    def lit(self) -> list[Shown]:
        return [one for one in self.shown if one.ticks]

    @property
    def blanks(self) -> int:
        return len(self.shown) - len(self.lit)

    @property
    def false(self) -> int:
        """How often the dark was said to glow."""
        return sum(one.seen for one in self.shown if not one.ticks)

    @property
    def at_once(self) -> bool:
        """Whether it glows at the dimmest honest pulse, every time."""
        lit = self.lit
        return len(lit) >= FIRST_AT_ONCE and all(
            one.seen and one.ticks == self.pulses.dimmest for one in lit[-FIRST_AT_ONCE:]
        )

    @property
    def done(self) -> bool:
        enough = self.reversals >= REVERSALS or len(self.lit) >= MOST_SHOWN or self.at_once
        return enough and self.blanks >= 2

    def answer(self, seen: bool) -> None:
        """To next_ticks. Raises ValueError, in plain words, where it is no use to go on."""
        self.shown.append(Shown(self.next_ticks, seen))
        if not self.next_ticks:
            if self.false > MOST_FALSE:
                raise ValueError(
                    f"you saw it glow {self.false} times while it was dark: light leaks in, or the eyes are tired; rest them and begin again"
                )
        else:
            self._climb(seen)
        self.since_blank = self.since_blank + 1 if self.next_ticks else 0
        # never two in a row, and no rule that the eye could learn
        due = self.since_blank and (
            self.random.random() < 1 / (BLANK_EACH - 1) or self.since_blank >= 2 * BLANK_EACH
        )
        self.next_ticks = 0 if due else self.ticks

    def undo(self) -> None:
        """Takes the last answer back, as if it had not been given: its duty is shown again."""
        if not self.shown:
            return
        before, again = self.shown[:-1], self.shown[-1].ticks
        self.shown, self.reversals, self.first_seen = [], 0, False
        self.ticks = self.pulses.dimmest
        for one in before:
            self.shown.append(one)
            if one.ticks:
                self._climb(one.seen)
        self.next_ticks = again

    def _climb(self, seen: bool) -> None:
        lit = self.lit
        if len(lit) > 1 and lit[-2].seen != seen:
            self.reversals += 1
        if not self.first_seen and not seen:
            self.ticks = self.pulses.times(self.ticks, RISE)
        else:
            self.ticks = self.pulses.times(self.ticks, 1 / STEP if seen else STEP)
        self.first_seen = self.first_seen or seen
        if self.pulses.share(self.ticks) > BRIGHTEST:
            raise ValueError(
                f"it is not seen at {BRIGHTEST * 100:g} % of the time: look whether it is lit at all (fuse, wire, supply), where it is, and"
                " whether the place is dark"
            )


def threshold(pulses: Pulses, shown: Sequence[Shown]) -> Threshold:
    """What the answers say. The dark ones do not count."""
    lit = [one for one in shown if one.ticks]
    x = np.log10([one.ticks for one in lit])
    seen = np.array([one.seen for one in lit])
    low, high = float(x.min()) - 1.0, float(x.max()) + 1.0
    at = np.arange(low, high, GRID)
    z = (x[None, None, :] - at[:, None, None]) / WIDTHS[None, :, None]
    yes = MISTYPED / 2 + (1 - MISTYPED) * _normal(z)
    logs = np.log(np.where(seen, yes, 1 - yes)).sum(axis=2)
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    sums = np.cumsum(weights.sum(axis=1))
    middle, least, most = (float(at[np.searchsorted(sums, p)]) for p in (0.5, 0.025, 0.975))
    width = float((weights.sum(axis=0) * WIDTHS).sum())
    return Threshold(10**middle, 10**least, 10**most, width)


def _normal(
    z: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """The cumulated normal distribution, to 8e-8 (Abramowitz and Stegun, 26.2.17; from memory)."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    tail = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    tail *= t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    return np.where(z > 0, 1 - tail, tail)


def floor_ticks(pulses: Pulses, found: Threshold) -> int:
    """The pulse to write: the first that is seen half of the time or more, and no shorter than is honest."""
    return min(pulses.setting.steps, max(pulses.dimmest, math.ceil(found.ticks - 1e-9)))


def written(pulses: Pulses, ticks: int) -> str:
    """A pulse as the box file has it: as few digits as still make these ticks of it."""
    for digits in range(1, 8):
        text = f"{pulses.share(ticks) * 100:.{digits}f}"
        duty = round(float(text) / 100 * pwm.FULL)
        if duty and pwm.compare(pulses.setting, duty) == ticks:
            return f"{text} %"
    return f"{pulses.share(ticks) * 100:.8f} %"
