"""What a hand does to the model aircraft of a virtual box, in words: `left fuel = 9 US gal`, `knob = 40 %`, `hydraulic = broken`."""

import numpy as np

from gaugelight.light_said import knob_position, reading_of
from gaugelight.light_tables import FULL_COUNT, knob_count
from gaugelight.plant import REFERENCE_V, Aircraft
from gaugelight.problems import Misuse, meant

KNOB, JUMPER = "knob", "jumper"
EXAMPLE = 'NAME = VALUE: "left fuel = 9 US gal", "hydraulic = broken" (or shorted, whole), "knob = 40 %", "panel lights = on"'


def move(aircraft: Aircraft, words: str) -> str:
    """Does it, and says what. Raises Misuse."""
    name, equals, value = (part.strip() for part in words.partition("="))
    if not equals or not value:
        raise Misuse(f'"{words.strip()}": write {EXAMPLE}')
    lights = aircraft.box.lights
    if name == KNOB:
        _turn(aircraft, value)
    elif name == JUMPER:
        aircraft.jumper_closed = _one_of(value, "closed", "open")
        return f"{JUMPER} {value}; the box looks at its next start"
    elif name in {switch.name for switch in lights.switches}:
        aircraft.switches[name] = _one_of(value, "on", "off")
    elif (one := aircraft.box.input(name)) is not None:
        if value in ("broken", "shorted"):
            aircraft.wires[name] = "broken" if value == "broken" else "shorted"
        else:
            aircraft.wires.pop(name, None)
            if value != "whole":
                reading = reading_of(aircraft.box, name, value)
                aircraft.signals[name] = float(one.law.signal(np.array([reading]))[0])
    else:
        switches = [switch.name for switch in lights.switches]
        there = [one.name for one in aircraft.box.inputs] + switches + [KNOB] * bool(lights.knobs) + [JUMPER]
        raise Misuse(f'there is no "{name}" to move; {meant(name, there)}')
    return f"{name} {value}"


def _one_of(value: str, true: str, false: str) -> bool:
    if value not in (true, false):
        raise Misuse(f'"{value}": write {true} or {false}')
    return value == true


def _turn(aircraft: Aircraft, value: str) -> None:
    """All knobs, to a per cent of their live travel."""
    if not aircraft.box.lights.knobs:
        raise Misuse("this box has no knob")
    percent = knob_position(value)
    for knob in aircraft.box.lights.knobs:
        volts = knob_count(knob, percent) / FULL_COUNT * REFERENCE_V
        aircraft.knobs[knob.pin] = percent if percent in (0, 100) else aircraft.knob_at(knob, volts)
