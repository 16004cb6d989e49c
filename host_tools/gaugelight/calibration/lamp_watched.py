"""A lamp shown to eyes that are used to the dark, until it is known where it just glows."""

from __future__ import annotations

import time
from random import Random

import numpy as np

from gaugelight.boxfile import Box
from gaugelight.calibration import lamp_floor
from gaugelight.calibration.lamp_floor import Pulses, Staircase
from gaugelight.calibration.table_keys import with_keys
from gaugelight.calibration.trial import GO_BACK, Found, Trial, number_in, same_pulses
from gaugelight.lightness import lightness
from gaugelight.lights import Lamp
from gaugelight.problems import Misuse

ADAPTED_S = 20 * 60  # common practice, no source
DARK_S = 1.0  # between two looks


def watch_lamp(trial: Trial, box: Box, lamp: Lamp) -> Found:
    dimmers = trial.table.dimmers
    number = number_in([one.name for one in dimmers], lamp.name, lamp.name, box)
    same_pulses(box, lamp.name, (lamp.pin, lamp.frequency), (dimmers[number].pin, dimmers[number].frequency))
    pulses = lamp_floor.pulses_of(lamp, float(box.supply))
    for text in (
        "On the ground, in the dark, engine off. Nothing here tells what is bright enough to read by in flight: only what just glows.",
        f"GLARE: turn the knobs fully down first: when this ends, however it ends, {GO_BACK}, to where these stand. Cover the display and all"
        " else that shines.",
        "This screen is brighter than the lamp: at its dimmest, red if it can, away from the lamp, one eye shut while you read it.",
        "Lamps of the box are held dark from now on. Eyes take 20 to 30 minutes in the dark (common practice, no source).",
    ):
        trial.hand.tell(text)
    for other, record in enumerate(dimmers):
        if isinstance(box.lights.lamp(record.name), Lamp):
            trial.hold("lamp", other, 0)
    began = time.monotonic()
    trial.ask("when they have had them, press return:")
    minutes = (time.monotonic() - began) / 60
    trial.hand.tell(
        "Look where the lamp is. y: it glows; n: it does not; u: takes the last answer back. At times it is dark on purpose."
    )
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
        says.append(
            f"seen half of the time at {middle:.3g} % of the time, {low:.2g} to {high:.2g} % at 95 % ({looks})"
        )
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


def _one_of(trial: Trial, question: str, keys: str) -> str:
    while (answer := trial.ask(question, keys, fresh=True).lower()[:1]) not in keys or not answer:
        pass
    return answer
