"""Pressure senders aloft: what gauge, sealed and absolute ones are off by, and which to buy.

A gauge sender compares with the air around it through a vent, a sealed one with the standard sea level pressure shut up in it, an
absolute one with nothing. The air is that of ISO 2533 at a pressure altitude; the weather is in that altitude already: on a day of
980 hPa a field at sea level lies at 910 ft.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gaugelight.atmosphere import HPA_PER_PSI, SEA_LEVEL_HPA, SEA_LEVEL_K, pressure_psi_at_feet
from gaugelight.boxfile import PRESSURE_KINDS, PRESSURE_UNITS
from gaugelight.quantity import UNITS

GAUGE, SEALED, ABSOLUTE = PRESSURE_KINDS
SERVICES = ("coolant", "fuel", "hydraulic")
CEILING_FT = 12_500.0
SMALL = 0.01  # of the span: what the sender itself may be off by (common practice, no source)
SEA_LEVEL_PSI = SEA_LEVEL_HPA / HPA_PER_PSI
KELVIN = 273.15
HOT = {
    "coolant": 100.0,
    "fuel": 50.0,
    "hydraulic": 70.0,
}  # degC, of the sender's body (common practice, no source)


def error(kind: str, wanted: str, feet: float) -> float:
    """What a sender of a kind is off by at a pressure altitude in ft, in psi, where the pressure above the air around ("gauge") or the
    absolute one is wanted and the standard sea level pressure is all that is known of the air.

    A gauge sender's vent is open; one that is shut makes it a sealed one, of the air there was. Raises ValueError outside the
    standard atmosphere's table, -6,561 to 65,616 ft, and for a kind that is none of "gauge", "sealed", "absolute".
    """
    for word in (kind, wanted):
        if word not in PRESSURE_KINDS:
            raise ValueError(f'"{word}" is no kind of pressure; there are: {", ".join(PRESSURE_KINDS)}')
    air = pressure_psi_at_feet(feet)
    if math.isnan(air):
        raise ValueError(f"{feet:,.0f} ft lies outside the standard atmosphere's table, -6,561 to 65,616 ft")
    if wanted == ABSOLUTE:
        return SEA_LEVEL_PSI - air if kind == GAUGE else 0.0
    return 0.0 if kind == GAUGE else air - SEA_LEVEL_PSI


def shut_in(celsius: float) -> float:
    """By how much a sealed sender that holds real air, shut in at the standard 15 degC, reads less when it is so warm, in psi.

    A gas in a fixed volume: its pressure goes by its absolute temperature (Gay-Lussac). Many hold a vacuum and an offset instead,
    which does not do this.
    """
    return SEA_LEVEL_PSI * ((celsius + KELVIN) / SEA_LEVEL_K - 1)


@dataclass(frozen=True)
class Advice:
    """Which kind to buy. Errors in `unit`, at `feet`, against what the service asks for, which is `wanted`.

    others: kind and error of the ones not advised.
    """

    service: str
    unit: str
    span: float
    feet: float
    wanted: str
    kind: str
    error: float
    others: tuple[tuple[str, float], ...]
    reasons: tuple[str, ...]


def advise(service: str, span: float, unit: str = "psi", ceiling_ft: float = CEILING_FT) -> Advice:
    """span: the sender's range, in `unit`. Raises ValueError for a service, a unit or an altitude that there is not."""
    if service not in SERVICES:
        raise ValueError(f'"{service}": there is advice for {", ".join(SERVICES)}')
    if unit not in PRESSURE_UNITS:
        raise ValueError(f"{unit} is no unit of pressure; there are: {', '.join(PRESSURE_UNITS)}")
    if not span > 0:
        raise ValueError(f"a range of {span:g} {unit} is none")
    scale = float(UNITS["psi"][1] / UNITS[unit][1])
    errors = {kind: error(kind, GAUGE, ceiling_ft) * scale for kind in PRESSURE_KINDS}
    share = abs(errors[SEALED]) / span
    kind = SEALED if service == "hydraulic" and share <= SMALL else GAUGE
    aloft = f"{ceiling_ft:,.0f} ft"
    less = f"{abs(errors[SEALED]):.3g} {unit} less at {aloft}, {100 * share:.2g} % of its range"
    warmed = f"{shut_in(HOT[service]) * scale:.2g} {unit}"
    reasons = _reasons(service, kind, less, share)
    if kind == SEALED:
        reasons += (
            f"if it holds real air, that makes another {warmed} less at {HOT[service]:g} degC: ask for one that holds a vacuum",
        )
    else:
        reasons += (
            f"its vent must breathe: led through the cable, or up and out of spray, bilge and wash; shut, it reads like a sealed one:"
            f" {less}",
        )
    others = tuple((other, errors[other]) for other in (GAUGE, SEALED, ABSOLUTE) if other != kind)
    return Advice(service, unit, span, ceiling_ft, GAUGE, kind, errors[kind], others, reasons)


def _reasons(service: str, kind: str, less: str, share: float) -> tuple[str, ...]:
    if service == "coolant":
        return (
            "cap and hoses feel the pressure above the air around, and a leak shows in it",
            f"a sealed sender reads {less}: an alert for lost coolant would sound in a sound system",
            "whether it boils depends on the absolute pressure: the boil margin takes a gauge reading and the lowest air of the altitude"
            " stated; an absolute sender spares that, and tells neither leak nor cap",
        )
    if service == "fuel":
        stands = ", and shows nothing of a pressure below that" if share > 0.1 else ""
        return (
            "pump and carburettor work against tanks vented to the air around",
            f"a sealed sender reads {less}{stands}; an absolute one with the standard pressure taken off the same",
        )
    if kind == SEALED:
        return (
            f"it reads {less}: less than a sender of {100 * SMALL:g} % is off by itself",
            "it has no vent that water, oil or salt could shut",
        )
    return (f"a sealed sender reads {less}: more than a sender of {100 * SMALL:g} % is off by itself",)


def table(
    unit: str = "psi", altitudes: tuple[float, ...] = (0, 5000, 8000, 10_000, 12_500)
) -> tuple[str, ...]:
    """Lines: what each kind is off by where the pressure above the air around is wanted, in `unit`."""
    scale = float(UNITS["psi"][1] / UNITS[unit][1])
    places = max(1, math.ceil(1 - math.log10(scale)))
    lines = [f"{'ft':>7}  {'gauge':>7}  {'sealed':>7}  {'absolute less the standard':>26}   {unit}"]
    for feet in altitudes:
        offs = [error(kind, GAUGE, feet) * scale for kind in PRESSURE_KINDS]
        lines.append(
            f"{feet:>7,.0f}  {offs[0]:>7.{places}f}  {offs[1]:>7.{places}f}  {offs[2]:>26.{places}f}"
        )
    return tuple(lines)


def said(advice: Advice) -> tuple[str, ...]:
    """Lines: what to buy and why."""
    others = ", ".join(f"{kind} {off:+.3g} {advice.unit}" for kind, off in advice.others)
    first = f"{advice.service}: buy a {advice.kind} sender; off by {advice.error:+.3g} {advice.unit} at {advice.feet:,.0f} ft (ISO 2533);"
    return (f"{first} the others: {others}", *(f"  {reason}" for reason in advice.reasons))
