"""Ratiometric or not: which voltage a reading should be compared with, and what it costs not to.

A pull-up, and a sender whose output is a share of its 5 V, follow their rail. The converter measures in volts of its own reference. The
box makes the ratio of two counts where the rail is measured; what both counts share then cancels.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelight import error_budget as budget
from gaugelight.chain import Chain
from gaugelight.circuits import ASSUMED_TOLERANCE, REFERENCE, Divider
from gaugelight.converters import OnChip
from gaugelight.laws import Law

RAIL_ERROR = 0.05  # of a 5 V regulator with the drop of its wires: assumed
CHIP_GAIN = budget.CHIP_GAIN + budget.CHIP_GAIN_DRIFT * budget.BOARD_DEGREES
RAIL_SHARE = 0.8  # of a converter's full scale, that a rail is brought to where nothing says how it is measured: assumed
LEFT_OUT = "Left out: what is the same in every way, resistors and steps of the input itself (gaugelight error has them)."

NOT_COMPARED = "not compared, reckoned with its nominal voltage"
SAME = "measured by the same converter"
OTHER_CHIP = "measured by another ADS1115"
OTHER_PIN = "measured by the on-chip converter"
OWN_REFERENCE = "hung on the converter's own reference"


@dataclass(frozen=True)
class Part:
    """name, and the most it takes the reading off by at each of the readings asked for, in its unit."""

    name: str
    most: tuple[float, ...]


@dataclass(frozen=True)
class Compared:
    """One way to compare: its parts, and plus or minus at 95 % at each of the readings, the parts independent and rectangular."""

    way: str
    parts: tuple[Part, ...]
    plus_minus: tuple[float, ...]


def ways(
    chain: Chain, law: Law, readings: Sequence[float], rail_error: float = RAIL_ERROR, lost: float = 0.0
) -> tuple[Compared, ...]:
    """For a pull-up, or a sender that is ratiometric to `chain.supply`; the first is not to compare.

    rail_error: how far the rail may be off its nominal voltage, as a share. lost: volts, over the wire of a sender's supply, where nobody
    measures: what the sender draws times the wire's ohms, there and back. What a converter is off by: SBAS444 and what users measured of
    the RP2040, as in `error_budget`. Raises ValueError for a circuit that follows no rail.
    """
    if chain.circuit.rail is None:
        raise ValueError("this circuit follows no rail; there is nothing to compare it with")
    on_chip = isinstance(chain.converter, OnChip)
    own = budget.PIN_REFERENCE if on_chip else CHIP_GAIN
    reference = {"the converter's own reference": own}

    def compared(way: str, shares: dict[str, float]) -> Compared:
        shares = shares | ({"what the supply's wire loses": lost / chain.supply} if lost else {})
        parts = tuple(
            Part(name, tuple(off(chain, law, at, share) for at in readings)) for name, share in shares.items()
        )
        sizes = [
            [(part.most[i] / math.sqrt(3), "rectangular") for part in parts] for i in range(len(readings))
        ]
        return Compared(way, parts, tuple(budget.half_width(size) for size in sizes))

    found = [compared(NOT_COMPARED, {"the rail": rail_error} | reference)]
    if chain.circuit.rail == REFERENCE:
        found.append(
            compared(OWN_REFERENCE, {"the drop over the reference's filter": budget.PIN_REFERENCE / 2})
        )
        return tuple(found)
    divider = _divider(chain)
    match = {} if on_chip else {"gain of one input against another": budget.CHIP_GAIN_MATCH}
    found.append(compared(SAME, match | _steps(chain, on_chip) | divider))
    chip = {"the other converter's reference": CHIP_GAIN}
    found.append(compared(OTHER_CHIP, reference | chip | _steps(chain, False) | divider))
    if not on_chip:
        pin = {"the on-chip converter's reference": budget.PIN_REFERENCE}
        found.append(compared(OTHER_PIN, reference | pin | _steps(chain, True) | divider))
    return tuple(found)


def off(chain: Chain, law: Law, reading: float, share: float) -> float:
    """What the reading is off by at most, either way, in its unit, where rail over reference is off by a share."""
    signal = law.signal(np.array([reading]))
    pin = chain.circuit.pin(signal, chain.supply, chain.converter.load)
    most = min(chain.converter.full_scale, chain.converter.takes)
    pins = np.clip(np.concatenate([pin * (1 - share), pin * (1 + share)]), 0.0, most)
    said = law.reading(chain.circuit.signal(pins, chain.supply, chain.converter.load))
    return float(np.max(np.abs(said - reading)))


def _steps(chain: Chain, on_chip: bool) -> dict[str, float]:
    """What the offset of the rail's own count makes, as a share of the rail."""
    codes = budget.PIN_OFFSET + budget.PIN_LINEARITY
    steps, of = (codes, budget.CODES) if on_chip else (budget.CHIP_OFFSET, 32768)
    share = RAIL_SHARE
    if chain.rail is not None and on_chip == isinstance(chain.rail.converter, OnChip):
        share = chain.rail.pin_volts(chain.supply) / chain.rail.converter.full_scale
    return {f"{steps:g} steps of the rail's count": steps / of / share}


def _divider(chain: Chain) -> dict[str, float]:
    """What the resistors make by which the rail is measured, as shares of the rail."""
    if chain.rail is None or not isinstance(chain.rail.circuit, Divider):
        return {}
    circuit = chain.rail.circuit
    tolerance = ASSUMED_TOLERANCE if circuit.tolerance is None else circuit.tolerance
    share = tolerance * circuit.top / (circuit.top + circuit.bottom)
    return {"top of the rail's divider": share, "bottom of the rail's divider": share}


def said(found: Sequence[Compared], readings: Sequence[float], unit: str) -> tuple[str, ...]:
    """Lines: each way with its plus or minus, and its largest part."""
    lines = []
    for one in found:
        offs = ", ".join(
            f"{0 if off < 1e-9 else off:.2g} at {at:.4g}" for off, at in zip(one.plus_minus, readings)
        )
        largest = max(one.parts, key=lambda part: max(part.most))
        lines.append(f"rail {one.way}: +-{offs} {unit} (95 %); mostly {largest.name}")
    best = min(found, key=lambda one: max(one.plus_minus))
    lines.append(f"best: {best.way}. {LEFT_OUT}")
    return tuple(lines)
