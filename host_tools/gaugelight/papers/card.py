"""The flight-test card: what to try with this box, on the ground first; by what is in its box file (common practice, no source)."""

from __future__ import annotations

from collections.abc import Iterator

from gaugelight.boxfile import FUEL_UNITS, Input
from gaugelight.laws import Itself
from gaugelight.papers import words
from gaugelight.papers.facts import Facts, InputErrors
from gaugelight.papers.papers_file import Trial

GROUND, FLIGHT = "ground", "flight"


def card(facts: Facts, phase: str) -> tuple[Trial, ...]:
    """Of one phase: those made from the box file, and then the builder's own."""
    made = _ground(facts) if phase == GROUND else _flight(facts)
    return (*made, *(trial for trial in facts.papers.trials if trial.phase == phase))


def _ground(facts: Facts) -> Iterator[Trial]:
    box = facts.box
    yield Trial("Service jumper pulled, box switched off and on", f"FLIGHT; table {facts.crc}", GROUND)
    for one in box.inputs:
        errors = next(errors for errors in facts.errors if errors.input.name == one.name)
        yield Trial(_held_against(one), _expected(errors), GROUND)
    if any(one.unit not in ("V", "%", "lx") for one in box.inputs):
        yield Trial(
            "One connector after the other unplugged, none of a tank that holds fuel",
            "its readout says FAIL within a second, no other does",
            GROUND,
        )
    buttons = box.face.buttons
    if buttons.test:
        yield Trial(
            f"{buttons.test} pressed", "every lamp for alerts and every dot of the face lights", GROUND
        )
    for rule in box.face.alerts:
        when = " and ".join(words.condition(box, one) for one in rule.when)
        after = f", after {words.condition(box, rule.after)}" if rule.after else ""
        yield Trial(
            f"Alert {rule.words}: {when}{after}, for {words.number(rule.lasts)} s",
            f"told as a {rule.urgency}",
            GROUND,
        )
    for knob in box.lights.knobs:
        yield Trial(
            f"Knob on GP{knob.pin} from off to full and back, in the dark",
            "no step, no flicker; floor dim enough, nothing dazzles",
            GROUND,
        )
    if box.lights.knobs:
        yield Trial(
            "The same with the radio on, headset at full volume, then transmitting",
            "no whine; no reading moves",
            GROUND,
        )
        yield Trial("Compass swung with the lamps on and off", "deviation on its card", GROUND)
    if (request := box.lights.dim_request) is not None:
        yield Trial(f"Dim request: {request.follows} brought up", "the instruments on its line dim", GROUND)
    if box.lights.lamps:
        yield Trial("Box switched off by night", "the torch is found", GROUND)


def _held_against(one: Input) -> str:
    if one.unit in FUEL_UNITS:
        return f"{one.name}: dipped in level attitude"
    if one.nominal is not None or isinstance(one.law, Itself):
        return f"{one.name}: a meter at the connector"
    return f"{one.name}: a reference at the sender, at two places"


def _expected(errors: InputErrors) -> str:
    """How near it should be; its figure is rounded to the step beside that."""
    if errors.of_box_alone:
        return "both noted: what the sender is off by is not stated"
    low, high = min(b.plus_minus for b in errors.budgets), errors.worst.plus_minus
    ends = dict.fromkeys(map(words.two_digits, (low, high)))
    one = errors.input
    return f"within {' to '.join(ends)} {one.unit}, and half a step of {words.number(one.step)}"


def _flight(facts: Facts) -> Iterator[Trial]:
    box = facts.box
    fuel = [one.name for one in box.inputs if one.unit in FUEL_UNITS]
    for name in fuel:
        yield Trial(
            f"{name}: level, climb, descent, a turn to each side; dipped after landing",
            "notes: five readings, and the dip",
            FLIGHT,
        )
    for name, unit, markings in box.shown:
        green = next((mark for mark in markings.marks if mark.colour == "green"), None)
        if green is not None and name not in fuel:
            yield Trial(
                f"{name} in cruise; highest and lowest of the flight",
                f"green, {words.mark(green, unit)}",
                FLIGHT,
            )
    if (tank := box.face.reserve) is not None:
        low, high = (words.number(end) for end in tank.rate)
        yield Trial(
            f"{tank.pump} on with a known amount in the reserve, over land, with fuel for the flight in the mains",
            f"FLOWING; mains rise {low} to {high} an hour; at the end RESERVE DRY; switched off by hand and clock",
            FLIGHT,
        )
    if box.lights.lamps:
        yield Trial(
            "By night, in the circuit, with an instructor or another pilot aboard",
            "every readout readable, nothing dazzles or reflects",
            FLIGHT,
        )
