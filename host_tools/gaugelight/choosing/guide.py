"""The questions of a guided choice, each with a default that a return takes; what was given as an option is not asked."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Collection, Mapping
from typing import Any

from gaugelight.boxfile import FUEL_UNITS, PRESSURE_KINDS, PRESSURE_UNITS, READING_UNITS
from gaugelight import box_values
from gaugelight.choosing.altitude import SERVICES
from gaugelight.choosing.asked import (
    ADS1115,
    CONVERTERS,
    EITHER,
    HIGH,
    LOW,
    MIDDLE,
    ON_CHIP,
    THERMISTORS,
    matters_of,
    read_sender,
    span_of,
)
from gaugelight.problems import Misuse
from gaugelight.quantity import parse_quantity

Answer = Callable[
    [str], str
]  # asked a question, a line without its end; raises EOFError at the end of all answers
Say = Callable[[str], None]

OTHER = "other"
NOT_KNOWN = "not known"
RESISTANCE, LOOP, VOLTAGE = "resistance", "loop", "voltage"
KINDS = {
    RESISTANCE: "a resistance: a float, a thermistor, most pressure senders with one or two studs",
    LOOP: "a 4-20 mA loop: an industrial transmitter",
    VOLTAGE: "a voltage, such as 0.5 to 4.5 V",
}
SENDERS = {RESISTANCE: ("ohm", "0-90 ohm"), LOOP: ("mA", "4-20 mA"), VOLTAGE: ("V", "0.5-4.5 V")}
RANGES = {"US gal": "0 18", "imp gal": "0 15", "l": "0 70", "kg": "0 50", "lb": "0 110"}
OTHER_RANGES = {"psi": "0 30", "bar": "0 5", "kPa": "0 500", "degC": "40 120", "degF": "100 250", "V": "8 16"}


def guide(given: Mapping[str, Any], answer: Answer, say: Say, taken: Collection[str] = ()) -> dict[str, Any]:
    """The answers: what was given, and what was asked for. taken: names that the box file has already.

    Raises Misuse where the answers end before the questions.
    """
    words = {key: value for key, value in given.items() if value is not None}

    def ask(question: str, default: str, parse: Callable[[str], Any]) -> Any:
        while True:
            try:
                text = answer(f"{question} [{default}] ").strip()
            except EOFError:
                raise Misuse("choose: the answers ended before the questions; nothing was written") from None
            try:
                return parse(text or default)
            except ValueError as problem:
                say(f"  {problem}")

    def asked(key: str, question: str, default: str, parse: Callable[[str], Any]) -> Any:
        if key not in words:
            words[key] = ask(question, default, parse)
        return words[key]

    if "sender" not in words and "points" not in words and "series" not in words:
        for number, kind in enumerate(KINDS, 1):
            say(f"  {number}  {KINDS[kind]}")
        kind = ask("What does the sender give? (or the sender itself, 240-33 ohm)", "1", _kind_or_sender)
        if kind in SENDERS:
            unit, default = SENDERS[kind]
            question = "Its value at the lowest and at the highest reading, from its data sheet or a meter"
            if kind == RESISTANCE:
                say(f"  or Pt100, Pt1000; a thermistor: {THERMISTORS}")
            words["sender"] = ask(question, default, lambda text: _sender(text, unit))
        else:
            words["sender"] = kind
    signal = read_sender(words["sender"])[0] if "sender" in words else ""
    thermometer = signal == "ohm" and _is_thermometer(words["sender"])
    unit = asked(
        "unit",
        f"In which unit is it read? ({', '.join(READING_UNITS[:12])}, ...)",
        "degC" if thermometer else "US gal" if signal == "ohm" else "psi",
        box_values.one_of(*READING_UNITS),
    )
    if unit in PRESSURE_UNITS:
        say(
            "  gauge: against the air around, through a vent; sealed: against sea level's, shut in; absolute: against nothing"
        )
        asked("service", f"Of what? ({', '.join(SERVICES)}, {OTHER})", OTHER, _one_of((*SERVICES, OTHER)))
        if words["service"] == OTHER:
            del words["service"]
        asked("pressure", "Which kind of pressure does it measure?", "gauge", _one_of(PRESSURE_KINDS))
    if "points" not in words and "series" not in words:
        default = RANGES.get(unit) or OTHER_RANGES.get(unit, "0 100")
        if thermometer and unit == "degC":
            default = _ends_of_table(words["sender"]) or default
        asked("range", f"Lowest and highest reading in {unit}", default, lambda text: _range(text, unit))
    if signal == "mA":
        say("  2: the loop feeds it; 3: it has a supply wire of its own")
        asked("loop_wires", "How many wires has it?", "2", _whole(2, 3))
        asked("transmitter", "What voltage does it need at least? (its data sheet)", "9 V", _quantity("V"))
    if signal == "V" and not words.get("ratiometric"):
        say(
            "  ratiometric: its output is a share of its 5 V supply, and moves with it; its data sheet says so"
        )
        if ask("Is it ratiometric?", "no", _yes):
            words["ratiometric"] = "5 V"
    if "tank" not in words:
        words["tank"] = ask("Does it sit in a fuel tank?", "yes" if unit in FUEL_UNITS else "no", _yes)
    asked(
        "converter",
        f"Which converter? ({ADS1115}: 16 bits, a chip of its own; {ON_CHIP}: the board's, 12 bits; {EITHER})",
        ADS1115,
        _one_of(CONVERTERS),
    )
    default = LOW if unit in FUEL_UNITS else HIGH if unit not in ("V", "mA", "ohm") else MIDDLE
    question = f"Where must it be right? ({LOW}, {MIDDLE}, {HIGH}, or a reading in {unit})"
    asked("matters", question, default, lambda text: _place(text, words.get("range"), unit))
    if (
        signal != "mA"
        and "airframe" not in words
        and ask("Does it return through the airframe, without a wire back?", "no", _yes)
    ):
        words["airframe"] = ask("How far may its ground be from the box's?", "50 mV", _quantity("V"))
    asked("wire", "How long is the run to it, such as 5 m?", NOT_KNOWN, _run)
    if words["wire"] == NOT_KNOWN:
        del words["wire"]
    default = "left fuel" if unit in FUEL_UNITS else "pressure" if unit in PRESSURE_UNITS else "new input"
    default = "temperature" if unit in ("degC", "degF") else default
    numbered = (default if n == 1 else f"{default} {n}" for n in range(1, len(taken) + 2))
    default = next(name for name in numbered if name not in taken)
    asked("name", "What is it called on the face?", default, lambda text: _free_name(text, taken))
    return words


def command(words: Mapping[str, Any]) -> str:
    """The same answers as one command."""
    parts = ["gaugelight", "choose"]
    for key, value in words.items():
        option = key.replace("_", "-")
        if value is None or value is False and key != "tank":
            continue
        if isinstance(value, bool):
            parts.append(f"--{option}" if value else f"--no-{option}")
        else:
            parts += [f"--{option}", *map(str, value if isinstance(value, (tuple, list)) else [value])]
    return shlex.join(parts)


def _is_thermometer(sender: Any) -> bool:
    return str(sender).startswith(("{", "Pt"))


def _ends_of_table(sender: str) -> str:
    """Where a thermistor's table begins and ends, degC: beyond it nobody has stated anything."""
    value = read_sender(sender)[1]
    table = value.get("table", ()) if isinstance(value, dict) else ()
    celsius = sorted(float(parse_quantity(at, "degC")) for _, at in table)
    return f"{celsius[0]:g} {celsius[-1]:g}" if celsius else ""


def _kind_or_sender(text: str) -> str:
    """One of KINDS, or a sender written out."""
    try:
        return _one_of(tuple(KINDS))(text)
    except ValueError:
        try:
            read_sender(text)
        except (ValueError, Misuse):
            pass
        else:
            return text
        raise


def _run(text: str) -> str:
    return text if text == NOT_KNOWN else str(_quantity("m")(text))


def _free_name(text: str, taken: Collection[str]) -> str:
    name = str(box_values.name(text))
    if name in taken:
        raise ValueError(f'"{name}" is in the box file already; each needs a name of its own')
    return name


def _one_of(words: tuple[str, ...]) -> Callable[[str], str]:
    """One of the words, its beginning, or its number."""

    def parse(text: str) -> str:
        if text.isdigit() and 1 <= int(text) <= len(words):
            return words[int(text) - 1]
        meant = [word for word in words if word.startswith(text.lower())]
        if len(meant) != 1:
            raise ValueError(f'"{text}": write {", ".join(words[:-1])} or {words[-1]}')
        return meant[0]

    return parse


def _whole(low: int, high: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        if text not in map(str, range(low, high + 1)):
            raise ValueError(f'"{text}": write {low} or {high}')
        return int(text)

    return parse


def _yes(text: str) -> bool:
    return _one_of(("yes", "no"))(text) == "yes"


def _sender(text: str, unit: str) -> str:
    """ "240-33" is meant in the unit of its kind."""
    if text.replace(" ", "").replace("-", "").replace(".", "").isdigit():
        text = f"{text.strip()} {unit}"
    signal, _ = read_sender(text)
    if signal != unit:
        raise ValueError(f'"{text}" is in {signal}; a sender in {unit} was meant')
    return text


def _range(text: str, unit: str) -> tuple[str, str]:
    ends = tuple(text.replace(" to ", " ").split())
    if len(ends) != 2:
        raise ValueError(f'"{text}": write two numbers, such as 0 18')
    box_values.span(unit)([float(end) for end in ends])
    return ends


def _place(text: str, ends: tuple[str, str] | None, unit: str) -> str:
    """Of points, and of a range that is wrong in itself, it is judged later."""
    try:
        low, high = box_values.span(unit)(list(span_of(ends or (), unit)))
    except ValueError:
        return text
    matters_of(text, (float(low), float(high)), unit)
    return text


def _quantity(unit: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        box_values.positive_quantity(unit)(text)
        return text

    return parse
