"""The error budget of an input: how far its reading may be off, plus or minus at 95 %, what makes it so, what would help most.

After JCGM 100:2008 (the GUM). One function, `reading_with`, is the measurement model: what the box says of a true reading while
resistors, converter, rail and the rest deviate from their nominal values, with which the box reckons. Every deviation is a
`Quantity` with a distribution. Standard uncertainties are combined by the root of their squares (5.1.2); the plus or minus is
where the convolution of all the distributions holds 95 % (G.1.4), since twice the standard uncertainty is too much where one
rectangular error rules. Sensitivities come from the whole model, a standard uncertainty up and down (5.1.3, note 2). Where those
two differ by more than a tenth, at a held end or a corner of the sender's points, the larger counts: near such a place the
figure is an upper bound. At a held end that is considerably so: of errors that would take an empty tank below nought none shows.

Of an input that was calibrated the plus or minus of its points, straight between them, stands in the place of the sender's tolerance. What
they were taken through is inside already: through the box all but what differs from count to count, or drifts, since then.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gaugelight.box_values import BOX
from gaugelight.boxfile import FUEL_UNITS, Box, Input
from gaugelight.build import Build, SolvedInput, solve_input
from gaugelight.chain import Chain
from gaugelight.circuits import ASSUMED_TOLERANCE, REFERENCE, Circuit, Floats, Shunt
from gaugelight.converters import COUNTS, Converter, OnChip
from gaugelight.faults_shown import PLACES
from gaugelight.laws import Itself, Line, Points, Thermocouple, celsius_of
from gaugelight.problems import Misuse

PROBABILITY = 0.95
COVERAGE = 1.96  # of a normal distribution
UNEQUAL = 0.1  # of the larger, by which the ways up and down differ at a corner

# ADS1115: SBAS444, electrical characteristics. They hold at +-2.048 V; offset and linearity are carried to the other ranges by the
# step of each range, which is assumed, the gain by its match between gain settings.
CHIP = "SBAS444"
CHIP_SPECIFIED_AT = 2.048  # volts
CHIP_OFFSET = 3.0  # steps, largest
CHIP_OFFSET_MATCH = 3.0  # steps, between any two inputs
CHIP_LINEARITY = 1.0  # steps, best fit
CHIP_GAIN = 0.0015  # largest, at 25 degC
CHIP_GAIN_DRIFT = 40e-6  # per degC, largest
CHIP_GAIN_MATCH = 0.001  # between any two inputs, and between any two gain settings
BOARD_DEGREES = 30.0  # degC, of the board to either side of 25 degC: assumed
LOAD = 0.3  # of an input's conductance, whose data sheets name a typical value only: assumed

# RP2040: the data sheet gives 8.7 effective bits and, as erratum RP2040-E11, four steps in linearity (codes 512, 1536, 2560, 3584)
CODES = 4096
PIN_LINEARITY = 8.0  # codes; users measured 7.85 (pico-adc.markomo.me)
PIN_OFFSET = 15.0  # codes; users measured five boards, 15 too high near nought and 15 too low near the top (rp2040adc_correction)
PIN_NOISE = 1.36  # codes, standard deviation; users measured 0.97 to 1.36 (pico-adc.markomo.me)
# the regulator's 1 % (RT6150: feedback 0.495 to 0.505 V) and the 1 % that the reference's filter may take (0.15 mA in 200 ohm)
PIN_REFERENCE = 0.02
PIN_REFERENCE_SOURCE = "regulator and filter"
MEASURED_BY_USERS = "measured by users"

WIRE = 0.1  # of the stated resistance of the wire: assumed

RESISTORS = {
    "resistor": "pull-up resistor",
    "top": "top resistor",
    "bottom": "bottom resistor",
    "series": "series resistor",
    "protection": "protection resistor",
}
LEFT_OUT = (
    "the rounding to the displayed step, the drift of resistors with temperature, faults of the wiring; where it was calibrated through"
    " the box, what its parts have drifted since"
)

OWN, RAIL = "own", "rail"  # channels
Target = tuple[str, str]  # channel, and what of it deviates
Part = tuple[float, str]  # standard uncertainty, distribution


@dataclass(frozen=True)
class Quantity:
    """Something that may deviate: by `spread`, a half-width if rectangular, a standard deviation if normal.

    acts     on what of the model, on each by the same deviation
    size     the spread as people write it
    source   where that is from; "assumed" if from nowhere
    cure     what would make it smaller
    made_of  in the place of a distribution, the contributors of a quantity that has a budget of its own
    lasting  it is no less off after a calibration through the box
    along    where the spread depends on the reading: readings, rising, and the spread at each, straight between them
    """

    name: str
    spread: float
    acts: tuple[Target, ...]
    size: str
    source: str
    cure: str
    distribution: str = "rectangular"
    made_of: tuple[Part, ...] = ()
    lasting: bool = False
    along: tuple[tuple[float, float], ...] = ()

    def at(self, reading: float) -> Quantity:
        if not self.along:
            return self
        readings, spreads = zip(*self.along)
        return replace(self, spread=float(np.interp(reading, readings, spreads)), along=())

    @property
    def standard(self) -> float:
        return self.spread / math.sqrt(3) if self.distribution == "rectangular" else self.spread

    @property
    def parts(self) -> tuple[Part, ...]:
        return self.made_of or ((self.standard, self.distribution),)


@dataclass(frozen=True)
class ColdJunction:
    """What a thermocouple's cold junction reads, and the budget of that."""

    name: str
    unit: str
    budget: Budget

    def celsius(self, deviation: float) -> float:
        """Its temperature with its reading so far off, in its unit."""
        return float(celsius_of(np.array([self.budget.reading + deviation]), self.unit)[0])


@dataclass(frozen=True)
class Contributor:
    """What one quantity adds, in the unit of the reading. share: of the square of the combined standard uncertainty."""

    quantity: Quantity
    standard: float
    share: float

    @property
    def parts(self) -> tuple[Part, ...]:
        if not self.standard:
            return ()
        scale = self.standard / self.quantity.standard
        return tuple((scale * standard, distribution) for standard, distribution in self.quantity.parts)


@dataclass(frozen=True)
class Budget:
    """At one reading, in its unit: resolution (one step of the converter), combined standard uncertainty, plus or minus at 95 %.

    contributors: the largest first. place: "half", where that is what was asked for.
    """

    reading: float
    resolution: float
    standard: float
    plus_minus: float
    contributors: tuple[Contributor, ...]
    place: str = ""

    @property
    def k(self) -> float:
        """The coverage factor."""
        return self.plus_minus / self.standard if self.standard else 0.0


@dataclass(frozen=True)
class InputBudget:
    """budgets: one for each reading asked for. cure: what would help most at the worst of them. cured: plus or minus without it."""

    input: Input
    budgets: tuple[Budget, ...]
    cure: str
    cured: float

    @property
    def worst(self) -> Budget:
        return max(self.budgets, key=lambda budget: budget.plus_minus)

    @property
    def sender(self) -> str | None:
        """The sender's tolerance, or when it was calibrated; None where neither is stated."""
        if self.input.calibrated is not None:
            return f"calibrated {self.input.calibrated.on}"
        stated = self.input.tolerance
        if stated is not None:
            return f"{float(stated.value):g} {stated.unit}" + (" of its span" if stated.unit == "%" else "")
        return "none: the reading is the signal" if isinstance(self.input.law, Itself) else None


def error_budgets(box: Box, names: Sequence[str] = (), at: Sequence[float] = ()) -> tuple[InputBudget, ...]:
    """The budgets of the named inputs, or of all, at the readings given, or at five from lowest to highest.

    Raises Misuse where a name is no input's, or a reading lies outside an input's range; WrongBoxFile.
    """
    for name in names:
        if box.input(name) is None:
            known = ", ".join(one.name for one in box.inputs)
            raise Misuse(
                f'{box.file}: there is no input "{name}"; there is: {known} (a name with a space goes in quotes)'
            )
    inputs = [one for one in box.inputs if not names or one.name in names]
    for one in inputs:
        low, high = one.law.span
        for reading in at:
            if not low <= reading <= high:
                what = f"--at {reading:g} lies outside its readings, {low:g} to {high:g} {one.unit}"
                raise Misuse(f"{one.name}: {what}; give one within, and name the inputs it is meant for")
    return tuple(_input_budget(box, one, at) for one in inputs)


def _input_budget(box: Box, one: Input, at: Sequence[float]) -> InputBudget:
    measures_cold = None if one.cold is None else box.input(one.cold)
    solved_cold = None if measures_cold is None else solve_input(box, measures_cold)
    cold = None if solved_cold is None else cold_junction(solved_cold)
    solved = solve_input(box, one, solved_cold)
    found = quantities(solved, cold)
    low, high = one.law.span
    places = {low + share * (high - low): place for share, place in PLACES.items()}
    budgets = tuple(budget_at(solved, found, reading, cold) for reading in at or places)
    if one.unit in FUEL_UNITS:
        budgets = tuple(replace(budget, place=places.get(budget.reading, "")) for budget in budgets)
    worst = max(budgets, key=lambda budget: budget.plus_minus)
    cure = most_helpful(worst)
    rest = [part for c in worst.contributors if c.quantity.cure != cure for part in c.parts]
    return InputBudget(one, budgets, cure, half_width(rest))


def coarse_notes(built: Build) -> Iterator[tuple[Input, str]]:
    """A note for each input whose reading, at either end of its range, may be further off than a displayed step.

    Not for rails: what hangs on one is compared with it by the same converter, whatever that is off by.
    """
    solved_of = {solved.input.name: solved for solved in built.inputs}
    for solved in built.inputs:
        one = solved.input
        cold = None if one.cold is None else cold_junction(solved_of[one.cold])
        ends = [budget_at(solved, quantities(solved, cold), reading, cold) for reading in one.law.span]
        worst = max(ends, key=lambda budget: budget.plus_minus)
        if worst.plus_minus > one.step and one.nominal is None:
            off = f"+-{float(f'{worst.plus_minus:.2g}'):g} {one.unit} at {worst.reading:.4g} (95 %), more than its step of {float(one.step):g}"
            yield one, f"{off}; mostly from: {worst.contributors[0].quantity.name}; see gaugelight error"


def cold_junction(solved: SolvedInput) -> ColdJunction:
    """The input that measures a cold junction, in the middle of its range."""
    budget = budget_at(solved, quantities(solved), sum(solved.input.law.span) / 2)
    return ColdJunction(solved.input.name, solved.input.unit, budget)


def most_helpful(budget: Budget) -> str:
    """The cure whose quantities have the largest share together."""
    shares: dict[str, float] = {}
    for contributor in budget.contributors:
        shares[contributor.quantity.cure] = shares.get(contributor.quantity.cure, 0.0) + contributor.share
    return max(shares, key=lambda cure: shares[cure])


def reading_with(
    solved: SolvedInput,
    reading: float,
    deviations: Mapping[Target, float],
    cold: ColdJunction | None = None,
) -> float:
    """What the box says of a true reading while parts of the aircraft, the circuit and the box deviate.

    A deviation is of a channel, the input's own or that of the rail which it is compared with:
    a resistor, "wire", "load", "gain"  as a share of its nominal value ("load": the conductance of the converter's input)
    "volts"                             at the converter, in volts
    and of the input's own only
    "signal", "reading", "cold"         in the unit of the signal, of the reading, of the cold junction's reading
    "reference"                         by how much the circuit's rail, which is the converter's reference, is too low, as a share
    "ratio"                             of the converter's count to the rail's
    """
    one, chain = solved.input, solved.chain
    signal = _at(one.law.signal, reading) + deviations.get((OWN, "signal"), 0.0)
    added = 0.0
    if cold is not None:
        assert isinstance(one.law, Thermocouple)
        signal -= _at(one.law.cold_millivolts, cold.celsius(0.0))
        added = _at(one.law.cold_millivolts, cold.celsius(deviations.get((OWN, "cold"), 0.0)))
    supply = chain.supply / (1 + deviations.get((OWN, "reference"), 0.0))
    volts = _measured(OWN, chain, signal, supply, deviations)
    if chain.rail is not None:
        rail_volts = chain.rail.pin_volts(chain.supply)
        volts *= rail_volts / _measured(RAIL, chain.rail, chain.supply, 1.0, deviations)
        full_scales = chain.converter.full_scale / chain.rail.converter.full_scale
        volts += deviations.get((OWN, "ratio"), 0.0) * rail_volts * full_scales
    said = float(chain.circuit.signal(np.array([volts]), chain.supply, chain.converter.load)[0])
    return _at(one.law.reading, said + added) + deviations.get((OWN, "reading"), 0.0)


def _at(law: Callable[[Floats], Floats], value: float) -> float:
    return float(law(np.array([value]))[0])


def _measured(
    channel: str, chain: Chain, signal: float, supply: float, deviations: Mapping[Target, float]
) -> float:
    """The voltage that a converter finds on its pin."""
    circuit = chain.circuit
    for part in (*RESISTORS, "wire"):
        if (channel, part) in deviations:
            circuit = replace(circuit, **{part: getattr(circuit, part) * (1 + deviations[channel, part])})  # type: ignore[type-var]
    load = chain.converter.load / (1 + deviations.get((channel, "load"), 0.0))
    volts = float(circuit.pin(np.array([signal]), supply, load)[0])
    return volts * (1 + deviations.get((channel, "gain"), 0.0)) + deviations.get((channel, "volts"), 0.0)


def budget_at(
    solved: SolvedInput, found: Sequence[Quantity], reading: float, cold: ColdJunction | None = None
) -> Budget:
    """The budget at one reading."""
    total, contributors = combined_at(solved, found, reading, cold)
    plus_minus = half_width([part for contributor in contributors for part in contributor.parts])
    return Budget(reading, resolution_of(contributors), total, plus_minus, contributors)


def combined_at(
    solved: SolvedInput, found: Sequence[Quantity], reading: float, cold: ColdJunction | None = None
) -> tuple[float, tuple[Contributor, ...]]:
    """The combined standard uncertainty at one reading, and what it is made of, the largest first: all but the plus or minus."""

    def shift(quantity: Quantity, deviation: float) -> float:
        deviations = {target: deviation for target in quantity.acts}
        return abs(reading_with(solved, reading, deviations, cold) - undisturbed)

    found = [quantity.at(reading) for quantity in found]
    undisturbed = reading_with(solved, reading, {}, cold)
    standards = []
    for quantity in found:
        up, down = shift(quantity, quantity.standard), shift(quantity, -quantity.standard)
        at_corner = abs(up - down) > UNEQUAL * max(up, down)
        standards.append(max(up, down) if at_corner else (up + down) / 2)
    total = math.hypot(*standards)
    contributors = [
        Contributor(quantity, standard, (standard / total) ** 2 if total else 0.0)
        for quantity, standard in zip(found, standards)
    ]
    return total, tuple(sorted(contributors, key=lambda contributor: -contributor.standard))


def resolution_of(contributors: Sequence[Contributor]) -> float:
    """One step of the converter, in the unit of the reading."""
    half_step = next(c.standard for c in contributors if c.quantity.name == QUANTISATION) * math.sqrt(3)
    return 2 * half_step


def half_width(parts: Sequence[Part], probability: float = PROBABILITY) -> float:
    """How far to either side of its middle the sum of independent errors lies with a probability.

    The convolution of their distributions, as the product of their Fourier series over an interval that holds them all.
    """
    parts = [part for part in parts if part[0] > 0]
    if not parts:
        return 0.0
    reach = sum(standard * (math.sqrt(3) if shape == "rectangular" else 7.0) for standard, shape in parts)
    orders = np.arange(1, 2048)
    waves = orders * (math.pi / reach)
    weights = 2 / (orders * math.pi)
    for standard, shape in parts:
        if shape == "rectangular":
            weights = weights * np.sinc(waves * standard * math.sqrt(3) / math.pi)
        else:
            weights = weights * np.exp(-((waves * standard) ** 2) / 2)
    low, high = 0.0, reach
    for _ in range(40):
        middle = (low + high) / 2
        held = middle / reach + float(np.sum(weights * np.sin(waves * middle)))
        low, high = (middle, high) if held < probability else (low, middle)
    return high


# --- what may deviate ---

QUANTISATION = "quantisation"

# what would make an error smaller
CLOSER_RESISTORS = "resistors of a closer tolerance, or measured ones"
MEASURED_WIRE = "the wire measured, or a thicker one"
SMALLER_RESISTORS = "smaller resistors before the converter"
TRIMMED = "the input compared with a good meter on the bench, and what it differs by allowed for"
FINER = "a circuit that fills more of the converter's range, or a smaller full_scale"
EXTERNAL = "an ADS1115 input in the place of the on-chip pin"
STEADY = "a board kept nearer to 25 degC"
SMALLER_STEP = "a smaller step in the box file"
CALIBRATED = "the sender calibrated in its place, its points written in the box file"
BETTER_POINTS = "more points, or a better can or reference gauge"
BETTER_COLD = "a better cold junction: see its own budget"


def quantities(solved: SolvedInput, cold: ColdJunction | None = None) -> tuple[Quantity, ...]:
    """Everything that may deviate for one input."""
    one, chain = solved.input, solved.chain
    found = [*_circuit(OWN, chain.circuit, ""), _load(OWN, chain.converter, "")]
    if chain.rail is not None:
        label = f"{one.circuit.rail}: "
        found += [*_circuit(RAIL, chain.rail.circuit, label), _load(RAIL, chain.rail.converter, label)]
        acts = ((OWN, "ratio"),)
        found.append(
            Quantity(
                "ratio to the rail",
                0.5 / COUNTS,
                acts,
                "half a count",
                "the box's arithmetic",
                FINER,
                lasting=True,
            )
        )
    found += _pin(one, chain) if isinstance(chain.converter, OnChip) else _chip(one, chain)
    error, acts = solved.reading_error_max, ((OWN, "reading"),)
    size = f"{error:.2g} {one.unit}"
    found.append(Quantity("conversion curve", error, acts, size, "proven", SMALLER_STEP, lasting=True))
    if one.calibrated is not None and one.calibrated.through == BOX:
        found = [quantity for quantity in found if quantity.lasting]
    found += _sender(one)
    if cold is not None:
        parts = tuple(part for contributor in cold.budget.contributors for part in contributor.parts)
        size = f"{cold.budget.plus_minus:.2g} {cold.unit} at 95 %"
        name, standard, acts = f"cold junction: {cold.name}", cold.budget.standard, ((OWN, "cold"),)
        found.append(Quantity(name, standard, acts, size, "its own budget", BETTER_COLD, "combined", parts))
    return tuple(found)


def _circuit(channel: str, circuit: Circuit, label: str) -> Iterator[Quantity]:
    stated = circuit.tolerance
    tolerance, source = (ASSUMED_TOLERANCE, "assumed") if stated is None else (stated, "box file")
    for part, name in RESISTORS.items():
        if ohms := getattr(circuit, part, 0.0):
            if isinstance(circuit, Shunt):
                name = name.replace("pull-up", "shunt")
            size = f"{100 * tolerance:g} % of {ohms:g} ohm"
            yield Quantity(label + name, tolerance, ((channel, part),), size, source, CLOSER_RESISTORS)
    if ohms := getattr(circuit, "wire", 0.0):
        size = f"{100 * WIRE:g} % of {ohms:g} ohm"
        yield Quantity(label + "wire", WIRE, ((channel, "wire"),), size, "assumed", MEASURED_WIRE)


def _load(channel: str, converter: Converter, label: str) -> Quantity:
    size = f"{100 * LOAD:g} % of {converter.load / 1e6:g} Mohm"
    return Quantity(
        label + "input resistance", LOAD, ((channel, "load"),), size, "assumed", SMALLER_RESISTORS
    )


def _chip(one: Input, chain: Chain) -> Iterator[Quantity]:
    """An ADS1115's errors. What two inputs in one range have in common is one quantity, which acts on both."""

    def steps(name: str, number: float, step: float, cure: str, *channels: str) -> Quantity:
        quantisation = name.endswith(QUANTISATION)
        source = CHIP if step == CHIP_SPECIFIED_AT / 32768 or quantisation else f"{CHIP}, carried over"
        acts = tuple((channel, "volts") for channel in channels)
        size = f"{number:g} x {_volts(step)}"
        return Quantity(name, number * step, acts, size, source, cure, lasting=quantisation)

    def gain(name: str, share: float, *channels: str, cure: str = TRIMMED) -> Quantity:
        acts = tuple((channel, "gain") for channel in channels)
        return Quantity(name, share, acts, f"{100 * share:g} %", CHIP, cure, lasting=cure == STEADY)

    own = chain.converter
    rail = None if chain.rail is None else chain.rail.converter
    both = (OWN,) if rail is None else (OWN, RAIL)
    step = own.quantum
    yield steps(QUANTISATION, 0.5, step, FINER, OWN)
    yield steps("linearity", CHIP_LINEARITY, step, TRIMMED, OWN)
    yield gain("gain", CHIP_GAIN, *both)
    yield gain("gain drift", CHIP_GAIN_DRIFT * BOARD_DEGREES, *both, cure=STEADY)
    if rail is None:
        yield steps("offset", CHIP_OFFSET, step, TRIMMED, OWN)
        if own.full_scale != CHIP_SPECIFIED_AT:
            yield gain("gain match between ranges", CHIP_GAIN_MATCH, OWN)
        return
    label, rail_step = f"{one.circuit.rail}: ", rail.quantum
    yield steps(label + QUANTISATION, 0.5, rail_step, FINER, RAIL)
    yield steps(label + "linearity", CHIP_LINEARITY, rail_step, TRIMMED, RAIL)
    yield gain(label + "gain match between inputs", CHIP_GAIN_MATCH, RAIL)
    if rail.full_scale == own.full_scale:
        yield steps("offset", CHIP_OFFSET, step, TRIMMED, OWN, RAIL)
        yield steps(label + "offset match between inputs", CHIP_OFFSET_MATCH, rail_step, TRIMMED, RAIL)
    else:
        yield steps("offset", CHIP_OFFSET, step, TRIMMED, OWN)
        yield steps(label + "offset", CHIP_OFFSET, rail_step, TRIMMED, RAIL)
        yield gain(label + "gain match between ranges", CHIP_GAIN_MATCH, RAIL)


def _pin(one: Input, chain: Chain) -> Iterator[Quantity]:
    """An on-chip pin's errors. Its reference is one quantity, which acts on all that is measured with it, or hangs on it."""
    code = chain.converter.full_scale / CODES
    channels = [(OWN, "", chain.converter)]
    acts = [(OWN, "gain")]
    if chain.rail is not None:
        channels.append((RAIL, f"{one.circuit.rail}: ", chain.rail.converter))
        acts.append((RAIL, "gain"))
    if one.circuit.rail == REFERENCE:
        acts.append((OWN, "reference"))
    yield Quantity(
        "reference", PIN_REFERENCE, tuple(acts), f"{100 * PIN_REFERENCE:g} %", PIN_REFERENCE_SOURCE, EXTERNAL
    )
    for channel, label, converter in channels:
        assert isinstance(converter, OnChip)
        volts = ((channel, "volts"),)
        half = converter.quantum / 2
        size = f"0.5 x {_volts(converter.quantum)}"
        yield Quantity(label + QUANTISATION, half, volts, size, "RP2040", EXTERNAL, lasting=True)
        # its steps in linearity lie between the points of a calibration too
        for name, codes, lasting in (("linearity", PIN_LINEARITY, True), ("offset", PIN_OFFSET, False)):
            size = f"{codes:g} x {_volts(code)}"
            yield Quantity(
                label + name, codes * code, volts, size, MEASURED_BY_USERS, EXTERNAL, lasting=lasting
            )
        noise = PIN_NOISE / converter.oversample**0.5
        size = f"{noise:.2g} x {_volts(code)} rms"
        name, spread = label + "noise", noise * code
        yield Quantity(name, spread, volts, size, MEASURED_BY_USERS, EXTERNAL, "normal", lasting=True)


def _volts(volts: float) -> str:
    return f"{volts * 1e6:.4g} uV"


def _sender(one: Input) -> Iterator[Quantity]:
    """What its points are off by, where it was calibrated; else the sender's own tolerance. Per cent are of the span of its readings."""
    if one.calibrated is not None:
        assert isinstance(one.law, (Points, Line))
        along = sorted(
            (float(reading), float(off) / COVERAGE)
            for (_, reading), off in zip(one.law.points, one.calibrated.plus_minus)
        )
        worst = max(float(off) for off in one.calibrated.plus_minus)
        size, source = f"up to {worst:.2g} {one.unit} at 95 %", f"calibrated {one.calibrated.on}"
        acts: tuple[Target, ...] = ((OWN, "reading"),)
        standard = worst / COVERAGE
        yield Quantity(
            "calibration", standard, acts, size, source, BETTER_POINTS, "normal", along=tuple(along)
        )
        return
    if one.tolerance is None:
        return
    value, unit = float(one.tolerance.value), one.tolerance.unit
    size, acts = f"{value:g} {unit}", ((OWN, "reading"),)
    if unit == "%":
        low, high = one.law.span
        size, value = f"{size} of its span", value / 100 * (high - low)
    elif unit == one.circuit.unit:
        acts = ((OWN, "signal"),)
    yield Quantity("sender", value, acts, size, "box file", CALIBRATED)
