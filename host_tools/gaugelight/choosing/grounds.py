"""What a difference between two grounds makes of a reading, and what a return wire of its own buys.

By the real chain: what the circuit makes of a voltage behind a resistance (`Circuit.driven`), and what the box makes of that pin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelight.chain import Chain
from gaugelight.circuits import Millivolt, PullUp, Shunt, known_wire
from gaugelight.laws import Law
from gaugelight.wires import Wire

SENDER_MA = (
    10.0  # that a voltage sender takes from its supply: assumed; data sheets say 2 to 10 (from memory)
)


@dataclass(frozen=True)
class ReturnWire:
    """The way back of one sender.

    ohms    of the conductor, pins included
    known   it is part of what the box file states as the circuit's `wire`
    own     mA that a voltage sender's supply sends through it; None: SENDER_MA. A pull-up's current is reckoned
    others  mA of other senders through what they share with it, which has `shared` ohm: a wire, or a common pin
    """

    ohms: float
    known: bool = False
    own: float | None = None
    others: float = 0.0
    shared: float = 0.0


@dataclass(frozen=True)
class Off:
    """What the two ways back make of a reading, as differences in its unit.

    *_signal: of the signal, in its unit, which shows what the held end of a float hides
    """

    reading: float
    airframe: float
    wire: float
    airframe_signal: float
    wire_signal: float


def return_wire(
    run: Wire,
    known: bool = False,
    own: float | None = None,
    others: float = 0.0,
    shared_share: float = 0.0,
    common_pin: float = 0.0,
) -> ReturnWire:
    """The return alone of a run of a stated gauge and length. shared_share: of its length that the others use too; common_pin: ohm of a
    contact that they use too."""
    one_way = Wire(run.gauge, run.length, airframe_return=True).ohms()
    return ReturnWire(one_way + common_pin, known, own, others, shared_share * one_way + common_pin)


def offs(
    chain: Chain, law: Law, readings: Sequence[float], offset: float, back: ReturnWire
) -> tuple[Off, ...]:
    """offset: volts, of the ground at the sender above the box's, where the sender returns through the airframe.

    A sender whose supply is measured (a circuit with a rail) is fed from the box: its ground moves against that supply too.
    """
    found = []
    for reading in readings:
        signal = float(law.signal(np.array([reading]))[0])
        by_airframe = _signal(chain, signal, offset, 0.0)
        others = back.others / 1000 * back.shared
        if isinstance(chain.circuit, PullUp):
            by_wire = _signal(chain, signal, others, 0.0 if back.known else back.ohms)
        else:
            own = SENDER_MA if back.own is None else back.own
            by_wire = _signal(chain, signal, others + own / 1000 * back.ohms, 0.0)
        shown = [float(law.reading(np.array([one]))[0]) - reading for one in (by_airframe, by_wire)]
        found.append(Off(reading, shown[0], shown[1], by_airframe - signal, by_wire - signal))
    return tuple(found)


def _signal(chain: Chain, signal: float, offset: float, more_ohms: float) -> float:
    """The signal that the box finds; a converter counts from ground to its full scale."""
    circuit, load = chain.circuit, chain.converter.load
    if isinstance(circuit, (Shunt, Millivolt)):
        return signal  # a current does not care; a couple is insulated
    wire = known_wire(circuit)
    if isinstance(circuit, PullUp):
        ohms = signal + wire + more_ohms
        pin = chain.driven(offset, ohms if ohms > 1e-9 else 0.0)  # less would divide by next to nothing
    else:
        share = signal / chain.supply if circuit.rail is not None else 0.0
        pin = chain.driven(signal + offset * (1 - share), wire)
    pin = min(max(pin, 0.0), chain.converter.full_scale, chain.converter.takes)
    return float(circuit.signal(np.array([pin]), chain.supply, load)[0])


def said(
    chain: Chain, offset: float, found: Sequence[Off], unit: str, back: ReturnWire | None = None
) -> tuple[str, ...]:
    """Lines: the errors, and what follows."""
    if isinstance(chain.circuit, Shunt):
        return ("a loop's current does not care about grounds: its shunt stands in the box",)
    if isinstance(chain.circuit, Millivolt):
        return (
            "its two wires are read against each other, no ground is in it; neither may touch the airframe, which would pull the pins to it",
        )
    lines = [
        f"ground at the sender {1000 * offset:+.3g} mV against the box's: through the airframe, through a wire of its own"
    ]
    for off in found:
        ends = [
            _said_off(*pair, unit)
            for pair in ((off.airframe, off.airframe_signal), (off.wire, off.wire_signal))
        ]
        lines.append(f"  at {off.reading:g} {unit}: {ends[0]}; {ends[1]}")
    if back is not None and back.own is None and not isinstance(chain.circuit, PullUp):
        lines.append(
            f"  the sender's supply is taken to send {SENDER_MA:g} mA back through that wire (assumed)"
        )
    if back is not None and abs(offset) > 0 and back.ohms > 0:
        through = 1000 * abs(offset) / back.ohms
        lines.append(
            f"  a return wire helps only where the sender's body is insulated from the airframe: else {offset * 1000:g} mV over its"
            f" {back.ohms:.2g} ohm send up to {through:.3g} mA through it, and most of the error stays"
        )
    return tuple(lines)


def said_below(offset: float, found: Sequence[Off], unit: str) -> tuple[str, ...]:
    """Lines: the errors through the airframe where the sender's ground lies so many volts below the box's: the box's own current lifts its
    ground, and what takes fuel away one way adds fuel that is not there the other way."""
    return tuple(
        f"  as much below the box's, which the box's own current makes it: at {off.reading:g} {unit}:"
        f" {_said_off(off.airframe, off.airframe_signal, unit)} through the airframe"
        for off in found
        if offset
    )


def _said_off(reading: float, signal: float, unit: str) -> str:
    hidden = abs(reading) < 1e-9 and abs(signal) > 1e-9
    if hidden:
        return f"hidden by its end ({signal:+.2g} of the signal)"
    return f"{reading:+.2g} {unit}" if abs(reading) >= 1e-9 else "nothing"
