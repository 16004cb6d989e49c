"""A knob turned from stop to stop, and over its click, by somebody who says when it is there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gaugelight.boxfile import Box
from gaugelight.calibration import knob_ends
from gaugelight.calibration.table_keys import with_keys, with_stops
from gaugelight.calibration.trial import Found, Trial, number_in
from gaugelight.lights import Knob
from gaugelight.problems import Wrong

ROUNDS = 3
LOOKS, LOOK_S = 5, 0.04  # at a knob that stands still
STILL = 300  # counts, half a per cent: one that moved more in between still moves


def turn_knob(trial: Trial, box: Box, knob: Knob) -> Found:
    number = number_in([one.pin for one in trial.table.knobs], knob.pin, f"knob on GP{knob.pin}", box)
    lamps = [lamp for lamp in box.lights.lamps if lamp.source == knob]
    trial.hand.tell(
        f"The knob of {' and '.join(lamp.name for lamp in lamps)}, {ROUNDS} times from stop to stop. Its lamps follow it: by day, or look away."
    )
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
        there = [
            lamp for lamp in now.lights.lamps if isinstance(lamp.source, Knob) and lamp.source.pin == knob.pin
        ]
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
        "click": (
            None
            if not isinstance(click, knob_ends.Click)
            else {"off_below": click.off_below, "on_above": click.on_above}
        ),
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
                raise ValueError(fault)
            if max(counts) - max(0, min(counts)) <= STILL:
                return middle
            question = "it still moves, or its contact is bad; let it stand at its stop and press return:"

    def notes(self) -> list[str]:
        if not self.breaks:
            return []
        return [
            f"its contact broke in {self.breaks} of {self.looks} looks while it was turned: it is worn or dirty"
        ]


def _spread(found: knob_ends.Found, scale: float) -> str:
    return f"{found.mean * scale:.1f} (+- {found.inward * scale:.2g})"
