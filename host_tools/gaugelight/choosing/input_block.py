"""The lines of a box file that describe a circuit: of its input, and of the rail that it hangs on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gaugebox.pins import CONVERTER_PINS
from gaugelight.boxfile import Box, Input
from gaugelight.choosing.asked import ADS1115, BUS, ON_CHIP, Asked
from gaugelight.circuits import Circuit, Direct, Divider, PullUp, Shunt
from gaugelight.converters import GAINS, Ads1115, OnChip
from gaugelight.lights import Knob
from gaugelight.problems import Misuse

KINDS: dict[type, str] = {PullUp: "pull-up", Shunt: "shunt", Divider: "divider", Direct: "direct"}
FIRST_ADDRESS, CHIPS = 0x48, 4
CHANNELS = ("0", "1", "2", "3")
QUARTET = "four of {} as one: two in series, twice in parallel, so that one of them may fail"


def ohms_text(ohms: float) -> str:
    """As it is written in a box file and on a drawing: "4.7 kohm"."""
    for least, scale, unit in ((1e6, 1e6, "Mohm"), (1e3, 1e3, "kohm")):
        if ohms >= least * (1 - 1e-9):
            return f"{ohms / scale:.9g} {unit}"
    return f"{ohms:.9g} ohm"


def value_text(value: Any) -> str:
    """A value as TOML writes it. Numbers without an exponent."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {value_text(one)}" for key, one in value.items()) + " }"
    return "[" + ", ".join(value_text(one) for one in value) + "]"


def _number(value: float) -> str:
    """As short as it is exact, without an exponent where people would not write one; a coefficient may need it."""
    text = repr(value)
    if "e" in text and abs(value) >= 1e-6:
        text = f"{value:.12f}".rstrip("0")
        return text + "0" if text.endswith(".") else text
    return text[:-2] if text.endswith(".0") else text


def circuit_values(circuit: Circuit) -> dict[str, str]:
    """The keys of a circuit in a box file, without those that say nothing."""
    said = {"kind": KINDS[type(circuit)]}
    for key in (
        "resistor",
        "top",
        "bottom",
        "series",
        "rail",
        "wire",
        "protection",
        "pull_down",
        "tolerance",
    ):
        value = getattr(circuit, key, None)
        if not value:
            continue
        if key == "rail":
            said[key] = value
        elif key == "tolerance":
            said[key] = f"{100 * value:.6g} %"
        else:
            said[key] = ohms_text(value)
    return said


@dataclass(frozen=True)
class Place:
    """Where an input can stand: one converter, what is free on it, the rails that it measures.

    kind     "ads1115" or "on-chip"
    chip     the ADS1115; None on-chip
    header   the lines of a box with nothing but this converter
    free     pins that nothing uses
    rails    measured rails on this converter, with the lines that describe each
    names    that are taken
    new      lines that a box file needs before the input, because the converter is not there yet
    """

    kind: str
    chip: Ads1115 | None
    header: str
    free: tuple[str, ...]
    rails: tuple[tuple[Input, str], ...] = ()
    names: frozenset[str] = field(default_factory=frozenset)
    new: str = ""

    @property
    def one_more(self) -> bool:
        """A converter that a box which is there would need besides."""
        return bool(self.new and self.names)

    @property
    def full_scale(self) -> float:
        return OnChip.full_scale if self.chip is None else self.chip.full_scale

    @property
    def full_scales(self) -> tuple[float, ...]:
        """The converter's ranges, in volts, that a pin could fill."""
        return (OnChip.full_scale,) if self.chip is None else tuple(full for full in GAINS if full <= 4.096)

    def pin_text(self, pin: str) -> str:
        return pin if self.chip is None else json.dumps(f"{self.chip.name}.{pin}")

    def unused(self, name: str) -> str:
        """The name, or with a number behind it where it is taken."""
        numbered = (name if n == 1 else f"{name} {n}" for n in range(1, 100))
        return next(one for one in numbered if one not in self.names)


BARE_BOX = '[box]\nname = {}\nboard = "rp2040"\nsupply = "{} V"\n'


def _chip_lines(chip: Ads1115) -> str:
    lines = [
        f"[converter.{json.dumps(chip.name)}]" if not chip.name.isalnum() else f"[converter.{chip.name}]"
    ]
    lines += ['kind = "ads1115"', f"address = {chip.address:#04x}"]
    if chip.full_scale != Ads1115.full_scale:
        lines.append(f'full_scale = "{chip.full_scale:g} V"')
    if chip.rate != Ads1115.rate:
        lines.append(f'rate = "{chip.rate} Hz"')
    return "\n".join(["", *lines, ""])


def new_places(kinds: Sequence[str], bus: float = BUS) -> tuple[Place, ...]:
    """In a box that has nothing yet, on a bus of so many volts."""
    bare = BARE_BOX.format(value_text("my console"), f"{bus:g}")
    chip = Ads1115("aft", FIRST_ADDRESS)
    lines = _chip_lines(chip)
    made = {
        ADS1115: Place(ADS1115, chip, bare + lines, CHANNELS, new=lines),
        ON_CHIP: Place(ON_CHIP, None, bare, tuple(map(str, CONVERTER_PINS))),
    }
    return tuple(made[kind] for kind in kinds)


def names_in(box: Box) -> frozenset[str]:
    """Of everything in it that has a name."""
    return frozenset(
        [one.name for one in box.inputs]
        + [lamp.name for lamp in box.lights.lamps]
        + [switch.name for switch in box.lights.switches]
        + [one.name for one in box.face.derived]
        + [one.name for one in box.face.needles]
    )


def places_in(box: Box, kinds: Sequence[str], only: str | None = None) -> tuple[Place, ...]:
    """In a box file that is there: on each of its converters with a free pin, and on one more if there is room.

    only: the name of the one converter that is meant. Raises Misuse where there is none, or nothing is free on it.
    """
    known = [chip.name for chip in box.chips]
    if only is not None and only not in known:
        raise Misuse(f'{box.file}: there is no [converter.{only}]; there is: {", ".join(known) or "none"}')
    bare = BARE_BOX.format(value_text(box.name), f"{float(box.supply):g}")
    names = names_in(box)
    made = []
    if ADS1115 in kinds or only is not None:
        for chip in box.chips:
            used = {str(p) for one in box.inputs if one.converter.chip == chip for p in one.converter.pins}
            free = tuple(channel for channel in CHANNELS if channel not in used)
            if chip.continuous or not free or only not in (None, chip.name):
                continue
            made.append(Place(ADS1115, chip, bare + _chip_lines(chip), free, _rails(box, chip), names))
        spare = {FIRST_ADDRESS + n for n in range(CHIPS)} - {chip.address for chip in box.chips}
        if only is None and spare:
            name = next(one for one in ("aft", "fore", "mid", "spare", "more") if one not in known)
            chip = Ads1115(name, min(spare))
            lines = _chip_lines(chip)
            made.append(Place(ADS1115, chip, bare + lines, CHANNELS, names=names, new=lines))
    if ON_CHIP in kinds and only is None:
        taken = {one.converter.pin for one in box.inputs if isinstance(one.converter, OnChip)}
        taken |= {lamp.source.pin for lamp in box.lights.lamps if isinstance(lamp.source, Knob)}
        free = tuple(str(pin) for pin in CONVERTER_PINS if pin not in taken)
        if free:
            made.append(Place(ON_CHIP, None, bare, free, _rails(box, None), names))
    if not made:
        what = (
            f"nothing is free on {only}"
            if only
            else f"no converter of that kind has a free pin ({', '.join(kinds)})"
        )
        raise Misuse(f"{box.file}: {what}; free one, or ask for --converter either")
    return tuple(made)


def _rails(box: Box, chip: Ads1115 | None) -> tuple[tuple[Input, str], ...]:
    return tuple(
        (one, _rail_text(one))
        for one in box.inputs
        if one.nominal is not None
        and one.unit == "V"
        and one.circuit.rail is None
        and one.converter.chip == chip
    )


def _rail_text(one: Input) -> str:
    """What of a rail's input concerns those that hang on it, whatever way its box file writes it."""
    assert one.nominal is not None
    converter = one.converter
    rows: dict[str, Any] = {"name": one.name, "circuit": circuit_values(one.circuit), "unit": "V"}
    if isinstance(converter, OnChip):
        rows |= {"pin": converter.pin, "oversample": converter.oversample}
    else:
        pin = f"{converter.chip.name}.{converter.channel}"
        rows |= {"pin": pin, "full_scale": f"{converter.full_scale:g} V"}
    rows["nominal"] = f"{float(one.nominal):g} V"
    return "\n".join(["[[input]]", *(f"{key} = {value_text(value)}" for key, value in rows.items()), ""])


@dataclass(frozen=True)
class Block:
    """Lines for a box file: of the rail, where one is needed that is not there; of the input itself."""

    input: str
    rail: str = ""

    @property
    def text(self) -> str:
        return f"{self.rail}\n{self.input}" if self.rail else self.input


def rail_block(place: Place, name: str, pin: str, volts: float, circuit: Circuit) -> str:
    """The input that measures a rail."""
    rows = {
        "name": name,
        "pin": None,
        "circuit": circuit_values(circuit),
        "unit": "V",
        "nominal": f"{volts:g} V",
    }
    lines = _rows(rows, place, pin)
    share = getattr(circuit, "bottom", 1.0) / (getattr(circuit, "top", 0.0) + getattr(circuit, "bottom", 1.0))
    if place.chip is not None and place.full_scale < 1.08 * volts * share:
        lines.append('full_scale = "4.096 V"')
    lines.append("face = false")
    return "\n".join(["[[input]]", *lines, ""])


def input_block(
    asked: Asked,
    place: Place,
    pin: str,
    circuit: Circuit,
    full_scale: float | None,
    oversample: int,
    quartet: bool,
) -> str:
    """The lines of the input that is asked for, in this circuit."""
    rows: dict[str, Any] = {"name": asked.name, "pin": None}
    rows["circuit"] = circuit_values(circuit)
    if full_scale is not None and full_scale != place.full_scale:
        rows["full_scale"] = f"{full_scale:g} V"
    if place.chip is None:
        rows["oversample"] = oversample
    if asked.sender is not None:
        rows["sender"] = asked.sender
    rows["unit"] = asked.unit
    if asked.pressure is not None:
        rows["pressure"] = asked.pressure
    for key in ("range", "points", "series"):
        if value := getattr(asked, key):
            rows[key] = value
    for key in ("step", "damping", "tolerance"):
        if (value := getattr(asked, key)) is not None:
            rows[key] = value
    lines = _rows(rows, place, pin)
    if quartet and isinstance(circuit, (PullUp, Shunt)):
        lines.insert(0, "# its resistor is " + QUARTET.format(ohms_text(circuit.resistor)))
    return "\n".join(["[[input]]", *lines, ""])


def _rows(rows: Mapping[str, Any], place: Place, pin: str) -> list[str]:
    lines = []
    for key, value in rows.items():
        if key == "pin":
            lines.append(f"pin = {place.pin_text(pin)}")
        elif key == "series" or (key == "points" and len(value_text(value)) > 90):
            lines += [f"{key} = [", *(f"    {value_text(one)}," for one in value), "]"]
        else:
            lines.append(f"{key} = {value_text(value)}")
    return lines
