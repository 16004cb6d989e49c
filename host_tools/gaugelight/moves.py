"""What a hand does to the model aircraft of a virtual box, in words: `left fuel = 9 US gal`, `knob = 40 %`, `hydraulic = broken`."""

from collections.abc import Callable
from typing import get_args

import numpy as np

from gaugelight.light_said import knob_position, reading_of
from gaugelight.light_tables import FULL_COUNT, knob_count
from gaugelight.plant import REFERENCE_V, Aircraft, KnobState
from gaugelight.problems import Misuse, meant
from gaugelight.said import signal_of

KNOB, JUMPER, POWER = "knob", "jumper", "power"
EXAMPLE = 'NAME = VALUE: "left fuel = 9 US gal", "bus = at 6 V" (signal at the connector), "hydraulic = broken" (or shorted, whole), "knob = 40 %" (or broken), "panel lights = on", "power = dip"'


def move(aircraft: Aircraft, words: str, power: Callable[[], None]) -> str:
    """Does it, and says what; power: takes the supply away and gives it back. Raises Misuse."""
    name, equals, value = (part.strip() for part in words.partition("="))
    if not equals or not value:
        raise Misuse(f'"{words.strip()}": write {EXAMPLE}')
    lights = aircraft.box.lights
    if name == POWER:
        if value != "dip":
            raise Misuse(f'"{value}": write dip')
        power()
    elif name == KNOB:
        _turn(aircraft, value)
    elif name == JUMPER:
        aircraft.jumper_closed = _one_of(value, "closed", "open")
    elif name in {switch.name for switch in lights.switches}:
        aircraft.switches[name] = _one_of(value, "on", "off")
    elif (one := aircraft.box.input(name)) is not None:
        if value in ("broken", "shorted"):
            aircraft.wires[name] = "broken" if value == "broken" else "shorted"
        else:
            if value.startswith("at "):
                aircraft.signals[name] = signal_of(one, value[3:])
            elif value != "whole":
                reading = reading_of(aircraft.box, name, value)
                aircraft.signals[name] = float(one.law.signal(np.array([reading]))[0])
            aircraft.wires.pop(name, None)
    elif lights.lamp(name) is not None:
        raise Misuse(f'"{name}" goes where its knob or the line it follows says: move that')
    else:
        switches = [switch.name for switch in lights.switches]
        there = (
            [one.name for one in aircraft.box.inputs]
            + switches
            + [KNOB] * bool(lights.knobs)
            + [JUMPER, POWER]
        )
        raise Misuse(f'there is no "{name}" to move; {meant(name, there)}')
    return f"{name} {value}"


def _one_of(value: str, true: str, false: str) -> bool:
    if value not in (true, false):
        raise Misuse(f'"{value}": write {true} or {false}')
    return value == true


def _turn(aircraft: Aircraft, value: str) -> None:
    """All knobs, to a per cent of their live travel, or broken."""
    if not aircraft.box.lights.knobs:
        raise Misuse("this box has no knob")
    if value in get_args(KnobState) or value == "broken":
        for knob in aircraft.box.lights.knobs:
            aircraft.broken[knob.pin] = "wiper broken" if value == "broken" else value  # type: ignore[assignment]
        return
    percent = knob_position(value)
    for knob in aircraft.box.lights.knobs:
        volts = knob_count(knob, percent) / FULL_COUNT * REFERENCE_V
        aircraft.broken.pop(knob.pin, None)
        aircraft.knobs[knob.pin] = percent if percent in (0, 100) else aircraft.knob_at(knob, volts)
