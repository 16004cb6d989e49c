"""The bench's cruise: fuel burns, one float sticks, and the disagree alert must call that gauge out, in time, and no other.

The slosh and the cruise are a model of our own: no flight was recorded for it. How often the alert is right in rougher air says
`python -m gaugelight.disagree_trial`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gaugebox import digits
from gaugebox.disagree import AGREES, LANDED_TURNS, READS_HIGH, TURN_MS
from gaugebox.brush import LETTERS, PITCH
from gaugebox.face import BOTTOM
from gaugelight.fuel_watch import GAUGE_ERROR, SMOOTHING, Disagreement

if TYPE_CHECKING:
    from gaugelight.bench_flight import Flight
    from gaugelight.boxfile import Box
    from gaugelight.virtual.world import Picture

TURN_S = TURN_MS / 1000
SMOOTHED_S = SMOOTHING * TURN_S
MOVES_S, LOOKS_S, TELLS_S = 2, 60, 600
BEGINS, LEAVES = (
    0.85,
    0.05,
)  # of what the float sees: how full the tanks are, and what must be left at the end
SLOSH = 0.05  # of the allowance: what a float moves about each 2 s (1 sigma, our own)
STATES = ("not judged", "agrees", "reads high", "reads low")


@dataclass
class Tanks:
    """Fuel and burn an hour by gauge, in its unit; slosh: of each float, 1 sigma. stuck: floats that stand, and where."""

    fuel: dict[str, float]
    burn: dict[str, float]
    slosh: dict[str, float]
    stuck: dict[str, float] = field(default_factory=dict)
    chance: np.random.Generator = field(default_factory=lambda: np.random.default_rng(5))

    def sticks(self, name: str) -> None:
        """Where the slosh has its float now."""
        self.stuck[name] = self.fuel[name] + self.chance.normal(0, self.slosh[name])

    def burns(self, seconds: float) -> dict[str, float]:
        """Where each float stands when so much time has passed. One that has stuck neither falls nor moves with the slosh."""
        for name, burn in self.burn.items():
            self.fuel[name] -= burn * seconds / 3600
        return {
            name: fuel + self.chance.normal(0, self.slosh[name]) for name, fuel in self.fuel.items()
        } | self.stuck


@dataclass(frozen=True)
class Cruise:
    """All in seconds. called: from when a float sticks to the alert, earliest and latest; freed: from when it comes loose, the latest."""

    settles: float
    called: tuple[float, float]
    freed: float

    @property
    def longest(self) -> float:
        return self.settles + self.called[1] + self.freed


def cruise_for(one: Disagreement) -> Cruise | None:
    """How long the alert may take; None where one stuck float of this gauge is nothing that it could call out.

    A float that stands has each hour missed the least burn L, of which the box takes 5 % for the gauge's scale, and the alert comes when
    that adds up to the allowance A: A / L later in a tabular CUSUM (NIST/SEMATECH e-Handbook, 6.3.2.3; from memory). Before it the change goes through a first-order filter, which
    follows a ramp one time constant T late (10 min); and as the gauge fell faster, by the burn B, than it had to, it is T ln(B / L)
    until what comes out of the filter is less than L. Three sigma of the slosh, in which it stuck, are allowed for.
    """
    least = float(one.burn[0] * (1 - GAUGE_ERROR / 100))
    if one.feeds != "always" or not least:
        return None
    an_hour = 3600 / least
    slosh = 3 * SLOSH * float(one.allowance) * an_hour
    soonest = float(one.allowance) * an_hour + SMOOTHED_S
    latest = soonest + SMOOTHED_S * math.log(burn_of(one) / least)
    return Cruise(SMOOTHED_S + 6 * TURN_S, (soonest - slosh, latest + slosh + 2 * TURN_S), 2 * SMOOTHED_S)


def burn_of(one: Disagreement) -> float:
    """In the middle of what it may be."""
    return float(one.burn[0] + one.burn[1]) / 2


def chosen(box: Box) -> tuple[Disagreement, Cruise] | None:
    """The first gauge whose float can stick on the bench: an input, with fuel for a cruise long enough."""
    for one in box.face.gauges:
        float_there, cruise = box.input(one.gauge), cruise_for(one)
        flies = one.flies.way in ("on", "off", "above", "below")
        derived = one.flies.value is not None and box.input(one.flies.name) is None
        if float_there is None or cruise is None or not flies or derived:
            continue
        low, high = float_there.law.span
        if burn_of(one) * cruise.longest / 3600 <= (BEGINS - LEAVES) * (high - low):
            return one, cruise
    return None


def cruise_scenario(flight: Flight) -> None:
    """Raises VirtualBoxError, Wrong."""
    found = chosen(flight.box)
    if found is not None:
        _Run(flight, *found).scenario()


class _Run:
    def __init__(self, flight: Flight, stuck: Disagreement, cruise: Cruise) -> None:
        self.flight, self.run, self.box = flight, flight.run, flight.box
        self.stuck, self.cruise = stuck, cruise
        self.float = next(one for one in self.box.inputs if one.name == stuck.gauge)
        self.number = self.box.face.gauges.index(stuck)
        # those that must never be called out; a sum that the float is a part of may be
        self.others = [
            (number, one.gauge)
            for number, one in enumerate(self.box.face.gauges)
            if one.gauge != stuck.gauge and one.flies == stuck.flies and self.box.input(one.gauge) is not None
        ]
        self.called_out: set[str] = set()
        self.flown = 0
        burning = [one for one in self.box.face.gauges if self.box.input(one.gauge) is not None]
        self.tanks = Tanks(
            {one.gauge: self.full(one.gauge) for one in burning},
            {one.gauge: burn_of(one) if one.feeds == "always" else 0.0 for one in burning},
            {one.gauge: SLOSH * float(one.allowance) for one in burning},
        )

    def full(self, name: str) -> float:
        one = self.box.input(name)
        assert one is not None
        low, high = one.law.span
        return low + BEGINS * (high - low)

    def scenario(self) -> None:
        name, flight, tanks = self.stuck.gauge, self.flight, self.tanks
        early, late = self.cruise.called
        self.run.stage(
            f"a cruise of up to {self.cruise.longest / 60:.0f} min, faster than real time: the float of {name} sticks and should be "
            f"called out {early / 60:.0f} to {late / 60:.0f} min later: its allowance at its least burn, and the box's smoothing"
        )
        before = dict(flight.aircraft.signals)
        for one in self.box.inputs:
            if one.markings is not None:
                flight.aircraft.signals[one.name] = flight.aircraft.at_rest(one)
        flight.bring(self.stuck.flies, opposite=True)  # landed and refuelled: the box begins anew
        self.flies((LANDED_TURNS + 3) * TURN_S, burning=False)
        flight.bring(self.stuck.flies)
        self.flies(self.cruise.settles)
        self.run.line.acknowledge()
        flight.wait(1.0)
        self.judge_agrees(f"{self.cruise.settles / 60:.0f} min of cruise")
        self.judge_lamp(f"{self.cruise.settles / 60:.0f} min of cruise", False)

        tanks.sticks(name)
        self.flies(early / 2)
        self.judge_agrees(f"the float stuck for {early / 120:.0f} min")
        took = early / 2 + self.flies(late - early / 2, until=READS_HIGH)
        held = self.state() == READS_HIGH and early <= took
        said = f"{STATES[self.state()]} after {took / 60:.1f} min"
        should = f"reads high after {early / 60:.0f} to {late / 60:.0f} min"
        self.run.judge("the float stuck", name, should, said, held)
        self.judge_told()

        del tanks.stuck[name]
        took = self.flies(self.cruise.freed, until=AGREES)
        said = f"{STATES[self.state()]} after {took / 60:.1f} min"
        held = self.state() == AGREES
        self.run.judge(
            "the float is free", name, f"agrees within {self.cruise.freed / 60:.0f} min", said, held
        )
        flight.wait(1.0)
        self.judge_words("the float is free", False)
        for _, other in self.others:
            said = "called out" if other in self.called_out else "not called out"
            self.run.judge("all the while", other, "not called out", said, other not in self.called_out)
        flight.aircraft.signals.update(before)

    def flies(self, seconds: float, burning: bool = True, until: int = -1) -> float:
        """So long, or until the gauge of the float that sticks is in that state; how long that was."""
        passed = 0.0
        while passed < seconds:
            for tank, stands in self.tanks.burns(MOVES_S if burning else 0).items():
                self.flight.read(tank, stands)
            self.flight.wait(MOVES_S)
            passed += MOVES_S
            self.flown += MOVES_S
            if self.flown % TELLS_S == 0:
                self.run.stage(f"the cruise: {self.flown // 60} min flown")
            if passed % LOOKS_S == 0 or passed >= seconds:
                self.look()
                if until >= 0 and self.state() == until:
                    break
        return passed

    def look(self) -> None:
        self.said = self.run.line.gauges()
        self.called_out |= {name for number, name in self.others if self.said[number].state > AGREES}
        self.run.trace(
            self.run.line.values(self.run.described),
            self.tanks.fuel,
            {one.gauge for one, said in zip(self.box.face.gauges, self.said) if said.state > AGREES},
        )

    def state(self) -> int:
        return self.said[self.number].state

    def judge_agrees(self, action: str) -> None:
        for number, gauge in [(self.number, self.stuck.gauge), *self.others]:
            state = self.said[number].state
            self.run.judge(action, gauge, STATES[AGREES], STATES[state], state == AGREES)

    def judge_told(self) -> None:
        """By how much, in words, on the face, by a lamp."""
        name, action = self.stuck.gauge, "the float stuck"
        excess = self.tanks.stuck.get(name, 0.0) - self.tanks.fuel[name]
        slosh = 3 * self.tanks.slosh[name]
        size = self.said[self.number].size / 10 ** self.run.solved(self.float).reading_decimals
        least = float(self.stuck.allowance)
        self.run.judge(
            action,
            name,
            f"high by {least:.1f} to {excess:.1f}",
            f"high by {size:.2f}",
            least - 0.01 <= size <= excess + slosh,
        )
        self.flight.wait(1.0)
        self.judge_words(action, True)
        self.judge_lamp(action, True)
        picture = self.run.virtual.picture()
        if picture is not None and self.box.face.panel is not None:
            line = bottom_line(picture)
            should = f"{name} HIGH "[: LETTERS - 1]
            self.run.judge(action, "display", should, line, line.startswith(should))

    def judge_lamp(self, action: str, should: bool) -> None:
        lamp = next((one for one in self.box.lights.lamps if one.shows == "caution"), None)
        if lamp is not None:
            lit = self.run.virtual.latest.pwm.get(lamp.pin, (0, 0))[1] > 0
            words = ("is dark", "is lit")
            self.run.judge(action, lamp.name, words[should], words[lit], lit == should)

    def judge_words(self, action: str, should: bool) -> None:
        """Its words, which end with a number."""
        words = [told for told in self.flight.told() if told.startswith(f"{self.stuck.gauge} HIGH ")]
        wanted = f"{self.stuck.gauge} HIGH ..." if should else "not told"
        self.run.judge(action, "alerts", wanted, ", ".join(words) or "not told", bool(words) == should)


def bottom_line(picture: Picture) -> str:
    """The words on the display's bottom line, read dot by dot, "?" for what is no letter; without the last place, where a box ends."""
    letters = {
        digits.SMALL[at : at + digits.SMALL_WIDTH]: chr(32 + at // digits.SMALL_WIDTH)
        for at in range(0, len(digits.SMALL), digits.SMALL_WIDTH)
    }
    line = ""
    for x in range(2, 2 + (LETTERS - 1) * PITCH, PITCH):
        columns = bytes(
            sum(picture.dots[BOTTOM + 1 + row][column] << row for row in range(8))
            for column in range(x, x + digits.SMALL_WIDTH)
        )
        line += letters.get(columns, "?")
    return line.rstrip()
