"""Resistors of preferred values that imitate a sender at its marks, so that any gauge can be proven on the bench.

For a resistance: the resistor in its place. For a loop: the resistor that lets the mark's current through the shunt from a bench supply.
For a voltage: a divider from a bench supply, what the circuit draws from it reckoned. All of them stand at the box's connector,
with the aircraft's side unplugged. All single values and all pairs of a series (IEC 60063) are tried; the nearest is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gaugelight import preferred
from gaugelight.chain import Chain
from gaugelight.circuits import Floats, Millivolt, PullUp, Shunt, known_wire
from gaugelight.faults_shown import PLACES
from gaugelight.laws import Law, Thermocouple
from gaugelight.readouts import Markings

LOWEST, HIGHEST = 1.0, 1e6  # ohm, of what lies in a drawer
DIVIDER_MA = 1.0, 10.0  # that a divider takes from its supply: less, and a gauge that draws upsets it
MILLIVOLT_MOST_OHMS = (
    20.0  # between a thermocouple's wires: more, and what tells an open wire is seen in the reading
)
DERATED = 0.5  # of its rating, that a resistor is used to (common practice, no source)
RATINGS = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 25.0, 50.0)
WIRE, OPEN, ONE, SERIES, PARALLEL, DIVIDER, TO_SUPPLY = (
    "wire",
    "open",
    "one",
    "series",
    "parallel",
    "divider",
    "wire to the supply",
)
SWAPPED = ", wires swapped"
ENDS = {0.0: "lowest", 1.0: "highest"}  # in the place of empty and full


@dataclass(frozen=True)
class Mark:
    """A place on a gauge: "empty", "red limit"; reading in the gauge's unit."""

    name: str
    reading: float


@dataclass(frozen=True)
class Made:
    """What some resistors make of a mark.

    values      ohm, of one resistor or of two; none: a wire, or nothing
    how         one of those words above; "divider": from the supply to the signal, then from there to ground
    ohms        of them together; of a divider what the box's input sees of it
    signal      what the box finds, in the circuit's unit; reading: what it shows of it
    off         reading less the mark's
    loading     the part of it that comes from what the circuit draws from a divider
    plus_minus  what the resistors' tolerance makes of it, at most
    per_cent    what each per cent makes that the supply is higher
    watts       in the warmest of them
    """

    values: tuple[float, ...]
    how: str
    ohms: float
    signal: float
    reading: float
    off: float
    loading: float
    plus_minus: float
    per_cent: float
    watts: float

    @property
    def rating(self) -> float:
        """W, to buy: the smallest of which no more than half is used."""
        return next((size for size in RATINGS if self.watts <= DERATED * size), RATINGS[-1])

    @property
    def text(self) -> str:
        """ "47 ohm in series with 2.2 ohm"."""
        words = [written(value) for value in self.values]
        how, swapped, _ = self.how.partition(SWAPPED)
        if how == DIVIDER:
            return f"{words[0]} from the supply, {words[1]} to ground{swapped}"
        if not words:
            return {WIRE: "a wire to ground", OPEN: "nothing", TO_SUPPLY: "a wire to the supply"}[
                how
            ] + swapped
        return {ONE: "", SERIES: " in series with ", PARALLEL: " beside "}[how].join(words)


@dataclass(frozen=True)
class StandIn:
    """wanted: the mark's signal at the sender, in the circuit's unit. best: of one resistor or two; single: of one (a divider has two)."""

    mark: Mark
    wanted: float
    best: Made
    single: Made


def written(ohms: float) -> str:
    """A resistor's value as it is written in a box file."""
    for scale, unit in ((1e6, "Mohm"), (1e3, "kohm")):
        if ohms >= scale:
            return f"{ohms / scale:.4g} {unit}"
    return f"{ohms:.4g} ohm"


def marks_of(law: Law, markings: Markings | None = None, fuel: bool = False) -> tuple[Mark, ...]:
    """Lowest (of fuel: empty), a quarter, half, three quarters, highest (full), and the edges of the markings within; rising."""
    low, high = law.span
    names = PLACES if fuel else PLACES | ENDS
    found: dict[float, list[str]] = {low + share * (high - low): [name] for share, name in names.items()}
    for mark in () if markings is None else markings.marks:
        edges = [float(edge) for edge in (mark.low, mark.high) if edge is not None and low <= edge <= high]
        name = f"{mark.colour} limit" if mark.low is None or mark.high is None else f"edge of {mark.colour}"
        for edge in edges:
            near = next((at for at in found if abs(at - edge) <= 1e-9 * (high - low)), edge)
            words = found.setdefault(near, [])
            if name not in words and not (name.startswith("edge") and near in (low, high)):
                words.append(name)
    return tuple(Mark(", ".join(words), at) for at, words in sorted(found.items()))


@dataclass(frozen=True)
class _Tried:
    """Many stand-ins at once. values: a column for each resistor; ohms: together, as the box's input sees them; volts: behind them."""

    how: str
    values: Floats
    ohms: Floats
    volts: Floats


def stand_ins(
    chain: Chain,
    law: Law,
    marks: Sequence[Mark],
    series: str = "E24",
    supply: float | None = None,
    tolerance: float = 0.01,
    cold_celsius: float = 20.0,
) -> tuple[StandIn, ...]:
    """One for each mark, at the box's connector, with the aircraft's side unplugged.

    supply: volts of the bench supply that a loop or a divider hangs on; a sender whose supply is measured has that one. tolerance: of the
    resistors, a share. cold_celsius: of a thermocouple's cold junction. Raises ValueError where the supply is missing or too low, and
    KeyError for a series that there is not.
    """
    bench = _Bench(chain, law, _supply(chain, supply), tolerance, cold_celsius)
    tried = bench.all(np.array(preferred.values(series, LOWEST, HIGHEST)))
    alone = tuple(one for one in tried if one.values.shape[1] < 2 or one.how == DIVIDER)
    return tuple(
        StandIn(mark, bench.wanted(mark), bench.nearest(mark, tried), bench.nearest(mark, alone))
        for mark in marks
    )


def _supply(chain: Chain, supply: float | None) -> float:
    if isinstance(chain.circuit, PullUp) or chain.circuit.rail is not None:
        return chain.supply
    if supply is None:
        what = "a loop hangs on" if isinstance(chain.circuit, Shunt) else "a voltage is divided from"
        raise ValueError(f"{what} a bench supply: say how many volts it gives")
    if not supply > 0:
        raise ValueError(f"a supply of {supply:g} V is none")
    return supply


@dataclass(frozen=True)
class _Bench:
    chain: Chain
    law: Law
    supply: float
    tolerance: float
    cold_celsius: float

    @property
    def _added(self) -> float:
        """mV that the box adds for the cold junction."""
        if not isinstance(self.law, Thermocouple):
            return 0.0
        return float(self.law.cold_millivolts(np.array([self.cold_celsius]))[0])

    @property
    def _input_ohms(self) -> float:
        """What the circuit has between its connector and ground, from what a kilo-ohm before it leaves on the pin."""
        alone, behind = self.chain.driven(1.0, 0.0), self.chain.driven(1.0, 1000.0)
        return 1000 * behind / (alone - behind)

    def wanted(self, mark: Mark) -> float:
        """ValueError where the supply cannot make it."""
        signal = float(self.law.signal(np.array([mark.reading]))[0]) - self._added
        circuit = self.chain.circuit
        if isinstance(circuit, Shunt) and signal / 1000 * (self._input_ohms + LOWEST) > self.supply:
            least = signal / 1000 * self._input_ohms
            raise ValueError(
                f"{mark.name} is {signal:.4g} mA, which takes more than {least:.3g} V over the shunt; {self.supply:g} V are too few"
            )
        volts = abs(signal) / 1000 if isinstance(circuit, Millivolt) else signal
        if not isinstance(circuit, (PullUp, Shunt)) and volts > self.supply * (1 + 1e-9):
            raise ValueError(
                f"{mark.name} is {signal:.4g} {circuit.unit}; no divider makes that of {self.supply:g} V"
            )
        return signal

    def all(self, values: Floats) -> tuple[_Tried, ...]:
        """Every one there is, those of fewest resistors first."""
        no_values, nothing = np.zeros((1, 0)), np.zeros(1)
        if isinstance(self.chain.circuit, (PullUp, Shunt)):
            volts = 0.0 if isinstance(self.chain.circuit, PullUp) else self.supply
            first, second = np.triu_indices(len(values))
            a, b = values[first], values[second]
            none = (WIRE, nothing) if isinstance(self.chain.circuit, PullUp) else (OPEN, nothing + np.inf)
            kinds = (
                (none[0], no_values, none[1]),
                (ONE, values[:, None], values),
                (SERIES, np.stack([b, a], 1), a + b),
                (PARALLEL, np.stack([a, b], 1), a * b / (a + b)),
            )
            return tuple(_Tried(how, each, ohms, np.full(len(ohms), volts)) for how, each, ohms in kinds)
        top, bottom = (grid.ravel() for grid in np.meshgrid(values, values))
        drawn = self.supply / (top + bottom) * 1000
        usable = drawn <= DIVIDER_MA[1]
        if isinstance(self.chain.circuit, Millivolt):
            usable &= bottom <= MILLIVOLT_MOST_OHMS
        else:
            usable &= drawn >= DIVIDER_MA[0]
        top, bottom = top[usable], bottom[usable]
        return (
            _Tried(WIRE, no_values, nothing, nothing),
            _Tried(TO_SUPPLY, no_values, nothing, nothing + self.supply),
            _Tried(
                DIVIDER,
                np.stack([top, bottom], 1),
                beside_each(top, bottom),
                self.supply * bottom / (top + bottom),
            ),
        )

    def signals(self, volts: Floats, ohms: Floats) -> Floats:
        """What the box finds of `volts` behind `ohms` at its connector, in the circuit's unit."""
        circuit = self.chain.circuit
        if isinstance(circuit, PullUp):
            return ohms - known_wire(circuit)
        inside = self._input_ohms
        if isinstance(circuit, Shunt):
            return 1000 * volts / (ohms + inside)
        at_sender = volts / (ohms + inside) * (inside + known_wire(circuit))
        return at_sender * 1000 if isinstance(circuit, Millivolt) else at_sender

    def nearest(self, mark: Mark, tried: Sequence[_Tried]) -> Made:
        wanted = self.wanted(mark)
        best, place, least = tried[0], 0, np.inf
        for one in tried:
            away = np.abs(self.signals(one.volts, one.ohms) - abs(wanted))
            nearest = int(np.argmin(away))
            if away[nearest] < least * (1 - 1e-9):
                best, place, least = one, nearest, float(away[nearest])
        return self._made(mark, wanted, best, place)

    def _made(self, mark: Mark, wanted: float, one: _Tried, place: int) -> Made:
        volts, ohms = float(one.volts[place]), float(one.ohms[place])
        values = tuple(map(float, one.values[place]))
        sign = -1.0 if wanted < 0 else 1.0

        def reading(volts: float, ohms: float) -> float:
            signal = sign * self.signals(np.array([volts]), np.array([ohms])) + self._added
            return float(self.law.reading(signal)[0])

        shown, off = reading(volts, ohms), 0.0
        for way in (-self.tolerance, self.tolerance):
            if one.how == DIVIDER:
                top, bottom = values[0] * (1 + way), values[1] * (1 - way)
                deviates = reading(self.supply * bottom / (top + bottom), top * bottom / (top + bottom))
            else:
                deviates = reading(volts, ohms * (1 + way))
            off = max(off, abs(deviates - shown))
        signal = sign * float(self.signals(np.array([volts]), np.array([ohms]))[0])
        follows = self.chain.circuit.rail is None and not isinstance(self.chain.circuit, PullUp)
        return Made(
            values,
            one.how + (SWAPPED if sign < 0 else ""),
            ohms,
            signal,
            shown,
            shown - mark.reading,
            shown - reading(volts, 0.0) if one.how == DIVIDER else 0.0,
            off,
            reading(volts * 1.01, ohms) - shown if follows else 0.0,
            self._watts(one.how, values, ohms),
        )

    def _watts(self, how: str, values: tuple[float, ...], ohms: float) -> float:
        """In the warmest of them, at most."""
        circuit = self.chain.circuit
        if not values:
            return 0.0
        if how == DIVIDER:
            inside = self._input_ohms
            lower = values[1] * inside / (values[1] + inside)
            at = self.supply * lower / (values[0] + lower)
            return max((self.supply - at) ** 2 / values[0], at**2 / values[1])
        if isinstance(circuit, PullUp):
            amperes = self.supply / (circuit.resistor + circuit.series + ohms)
        else:
            amperes = self.supply / (ohms + self._input_ohms)
        if how == PARALLEL:
            return (amperes * ohms) ** 2 / min(values)
        return amperes**2 * max(values)


def beside_each(one: Floats, other: Floats) -> Floats:
    """Two resistances side by side, each with each."""
    return np.asarray(one * other / (one + other), dtype=np.float64)


def cautions(chain: Chain, tank: bool) -> tuple[str, ...]:
    """What to mind before anything is connected."""
    said = [
        "On the bench, or at the box's connector with the aircraft's plug off: never beside a sender that is still connected."
    ]
    if tank:
        said.append(
            "Never in a tank, and never through its wires: the aircraft's side unplugged first, and nothing of the bench near the fuel."
        )
    circuit = chain.circuit
    if isinstance(circuit, Shunt):
        said += [
            "A supply limited to 50 mA: with the resistor shorted the whole voltage stands on the shunt and its pin.",
            "The supply's error is the current's: a milliammeter in the wire says what really flows.",
        ]
    elif isinstance(circuit, Millivolt):
        said += [
            "From one cell or another source that floats, no mains supply: neither wire may touch ground. A meter between them says what is there.",
            "Copper wires to the connector; to a thermocouple's the box adds its own cold junction.",
        ]
    elif isinstance(circuit, PullUp):
        pass  # the box's own current through a resistor: nothing to add
    elif circuit.rail is None:
        said.append(
            "The supply's error is the reading's, and the two resistors' comes on top: a voltmeter at the connector says what is there."
        )
    else:
        said.append(
            "From the supply that the box measures, at its connector: its voltage then does not matter, the two resistors' ratio does."
        )
    return tuple(said)


def lines(found: Sequence[StandIn], unit: str, signal_unit: str) -> tuple[str, ...]:
    """A row for each mark: what it is, what stands for it, what that makes, and how far the box's reading is then off."""
    rows = [("mark", unit, signal_unit, "resistors", f"make {signal_unit}", "off", "+- of theirs", "W each")]
    for one in found:
        made = one.best
        rows.append((one.mark.name, f"{one.mark.reading:.4g}", _four(one.wanted), made.text, *_cells(made)))
        if one.single.values != made.values:
            rows.append(("", "", "", f"or {one.single.text}", *_cells(one.single)))
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return tuple("  ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip() for row in rows)


def _four(signal: float) -> str:
    """Four digits, written out: 28000 and not 2.8e+04."""
    return f"{float(f'{signal:.4g}'):.6f}".rstrip("0").rstrip(".")


def _cells(made: Made) -> tuple[str, str, str, str]:
    small = max(0.01 * made.plus_minus, 1e-9)  # what drowns in the resistors' own tolerance is no figure
    off = "0" if abs(made.off) < small else f"{made.off:+.2g}"
    return _four(made.signal), off, f"{made.plus_minus:.2g}", f"{made.rating:g}" if made.values else ""
