"""Circuits of preferred values that would read a sender, each computed with the box's own chain, the best first.

Many are drafted. Each is judged as `gaugelight check` would, its error by `gaugelight error`'s own budget, its currents by Ohm's law. The
few best of every kind are then written as lines of a box file, read, solved and proven: nothing is proposed that was not.

What comes first: nothing beyond the guidance for tanks, a transmitter that lives on a dying battery, with a little to spare; a broken wire that is told; the
error at the point that matters, with resolution, self-heating and grounds apart, then the worst of the range, in steps of a tenth, where
less than a share of a displayed step counts as none; then little current (of a loop and a voltage: a large signal); then few parts.
"""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from gaugebox.curve import make_curve
from gaugelight.boxfile import RAIL_SPAN, Box, Input, Reader, box_of_text
from gaugelight.build import SolvedInput, build
from gaugelight.chain import Chain, chain_of
from gaugelight.check import unmeasurable
from gaugelight.choosing import loops, tank_energy
from gaugelight.choosing.asked import CONVERTERS, EITHER, PROTECTION, PROTECTION_OF_DIVIDER, Asked
from gaugelight.choosing.input_block import Block, Place, input_block, new_places, rail_block
from gaugelight.choosing.loops import Compliance
from gaugelight.choosing.tank_energy import TankCase
from gaugelight.circuits import REFERENCE, Circuit, Direct, Divider, PullUp, Shunt
from gaugelight.converters import CHIP_SUPPLY, GAINS, ChipInput, Converter, OnChip
from gaugelight.error_budget import COVERAGE, Budget, budget_at, combined_at, quantities, resolution_of
from gaugelight.faults_shown import Shown, faults_shown
from gaugelight.fault_windows import signal_limits
from gaugelight.laws import Thermometer
from gaugelight.preferred import nearest, values
from gaugelight.problems import Misuse, WrongBoxFile

OVERSAMPLE = 16  # of an on-chip pin: its noise falls to a quarter
ALIKE = 1.1  # errors that differ by less count as equal
NO_MATTER = {"matters": 1 / 4, "worst": 1 / 2}  # of a displayed step: an error below that is not seen
SPARE_VOLTS = 0.25  # at a transmitter on a dying battery, for heat and contacts
SENDER_WATTS = 0.25  # more warms a float's or a probe's winding (common practice, no source)
WIPER_MA = 1.0  # less leaves a wiper's contact uncertain (common practice, no source)
ENOUGH_MA = 5.0  # through a sender: less is no better
RAIL_MA = 50.0  # that one sender may take of the rail: the reference box's gives 59 to all of them
OWN_RETURN_VOLTS = (
    0.002  # what is left between the grounds where a sender has a return wire of its own (assumed)
)
DISSIPATION = 2.0  # mW that warm a small temperature sensor by a degree in still air; in a liquid ten times as much (assumed)
SHORTLIST = 3  # of each kind, that are reckoned in full
PROPOSED = 5
RATIO = 10e3, 15e3  # of the divider that measures a supply above what a pin takes
LEAST_TOP = 2200.0  # ohm of a divider's top: a wire on the bus then sends the clamp behind it 6 mA at most
PULL_DOWN = 100e3


@dataclass(frozen=True)
class Candidate:
    """A circuit that was read from its own lines of a box file, solved and proven.

    box, input     those that its lines make; `input.circuit` is the circuit, `solved` the proof
    block          its lines: of the rail, where one is needed that is not there, and of the input
    place          where it stands
    quartet        its resistor is four of that value as one (two in series, twice in parallel), so that one may fail
    resolution     one step of the converter at the point that matters, in the unit of the reading
    error          +- at 95 % there; worst: the same where that is largest
    warmed         by how much self-heating is off there, in the unit of the reading; 0 but for temperatures
    shifted        by how much grounds apart are: as far as asked for through the airframe, 2 mV with a wire of its own
    self_heating   W, the most in the sender; part_heating: W, the most in each resistor, by its name
    current        mA, the most through the sender or the loop, a resistive one shorted and its rail at its upper end
    tank           the cases of a sender in a tank; empty elsewhere
    live           what a loop's transmitter has left on a dying battery and in a starter's dip; None elsewhere
    shown          what the box says of each fault of the wiring
    against        what speaks against building it; empty where nothing does
    """

    asked: Asked
    place: Place
    box: Box
    input: Input
    solved: SolvedInput
    block: Block
    quartet: bool
    budget: Budget
    worst: Budget
    warmed: float
    shifted: float
    self_heating: float
    part_heating: tuple[tuple[str, float], ...]
    current: float
    tank: tuple[TankCase, ...]
    live: tuple[Compliance, Compliance] | None
    shown: tuple[Shown, ...]
    against: tuple[str, ...]

    @property
    def circuit(self) -> Circuit:
        return self.input.circuit

    @property
    def converter(self) -> Converter:
        return self.input.converter

    @property
    def chain(self) -> Chain:
        return self.solved.chain

    @property
    def resolution(self) -> float:
        return self.budget.resolution

    @property
    def error(self) -> float:
        return self.budget.plus_minus

    @property
    def failed(self) -> TankCase | None:
        """The one failed part that sends the most current into a tank."""
        return tank_energy.worst_failed(self.tank) if self.tank else None

    @property
    def failed_current(self) -> float:
        return self.current if self.failed is None else self.failed.milliamperes

    @property
    def energy(self) -> float:
        return max((case.microjoules for case in self.tank), default=0.0)

    def shows(self, fault: str) -> Shown:
        """What the box says of "open wire", "short to ground", "short to the supply"."""
        return next(one for one in self.shown if one.fault == fault)


@dataclass(frozen=True)
class Refusal:
    """Circuits that were drafted and cannot be: how many, one of them, why that one."""

    count: int
    example: Circuit
    why: str


@dataclass(frozen=True)
class Choice:
    """found: the best first, those that speak against themselves last. looked_at: how many circuits were drafted. step: the displayed one."""

    asked: Asked
    found: tuple[Candidate, ...]
    refused: tuple[Refusal, ...]
    looked_at: int
    step: float

    @property
    def best(self) -> Candidate | None:
        return next((one for one in self.found if not one.against), None)


def choose(
    asked: Asked,
    places: Sequence[Place] = (),
    proposed: int = PROPOSED,
    told: Callable[[int, int], None] = lambda done, of: None,
) -> Choice:
    """The best circuits for the sender, the best first, and what was refused. Raises Misuse where an answer is wrong in itself.

    places: where the input can stand; none: in a new box. told: how far it is, of how much."""
    kinds = [kind for kind in CONVERTERS[:2] if asked.converter in (kind, EITHER)]
    places = places or new_places(kinds, asked.bus)
    rated: list[_Rated] = []
    step = 0.0
    for done, place in enumerate(places):
        told(done, len(places) + proposed)
        for rail in _rails(asked, place):
            template = _template(asked, place, rail)
            step = max(float(one.step) for one in template.inputs if one.name == asked.name)
            for draft in _drafts(asked, place, rail, template):
                rated.append(_Rated(asked, draft, template))
    looked_at = len(rated)
    rated, refused = _standing(rated)
    found: list[tuple[tuple[float, ...], Candidate]] = []
    for done, one in enumerate(_shortlist(rated, proposed)):
        told(len(places) + done, len(places) + proposed)
        try:
            found.append((one.key, one.proven()))
        except WrongBoxFile as wrong:
            refused.append((one.draft.circuit, wrong.problems[0].what))
    found.sort(key=lambda pair: pair[0])
    return Choice(asked, tuple(one for _, one in found), _counted(refused), looked_at, step)


def _counted(refused: Sequence[tuple[Circuit, str]]) -> tuple[Refusal, ...]:
    """By what is wrong, whatever its figures; the most frequent first."""
    alike = Counter("".join(c for c in why if not c.isdigit() and c not in ".+-e") for _, why in refused)
    made = []
    for kind, count in alike.most_common():
        same = [
            (circuit, why)
            for circuit, why in refused
            if "".join(c for c in why if not c.isdigit() and c not in ".+-e") == kind
        ]
        made.append(Refusal(count, *same[len(same) // 2]))
    return tuple(made)


# --- what could be built ---


@dataclass(frozen=True)
class _Rail:
    """What a circuit hangs on. text: its lines where it stands already; pin: that it takes where it does not."""

    name: str
    volts: float
    circuit: Circuit
    text: str = ""
    pin: str = ""


@dataclass(frozen=True)
class _Draft:
    place: Place
    rail: _Rail | None
    circuit: Circuit
    full_scale: float | None
    quartet: bool = False

    @property
    def pin(self) -> str:
        return self.place.free[0]

    @property
    def converter(self) -> Converter:
        if self.place.chip is None:
            return OnChip(int(self.pin), OVERSAMPLE)
        return ChipInput(self.place.chip, self.pin, self.full_scale or self.place.full_scale)

    @property
    def kind(self) -> tuple[object, ...]:
        """What it has in common with others, values aside."""
        series = bool(getattr(self.circuit, "series", 0.0))
        pull_down = bool(getattr(self.circuit, "pull_down", None))
        rail = None if self.rail is None else self.rail.name
        return type(self.circuit), self.place.kind, rail, self.quartet, series, pull_down

    def block(self, asked: Asked) -> Block:
        rail = ""
        if self.rail is not None and self.rail.pin:
            rail = rail_block(self.place, self.rail.name, self.rail.pin, self.rail.volts, self.rail.circuit)
        own = input_block(
            asked, self.place, self.pin, self.circuit, self.full_scale, OVERSAMPLE, self.quartet
        )
        return Block(own, rail)

    def text(self, asked: Asked) -> str:
        """Of a box with nothing else in it."""
        there = "" if self.rail is None else self.rail.text
        return "\n".join(filter(None, (self.place.header, there, self.block(asked).text)))


def _protection(asked: Asked, place: Place, divided: bool = False) -> float:
    if asked.protection is not None:
        return asked.protection
    return PROTECTION_OF_DIVIDER if divided else PROTECTION[place.kind]


def _rails(asked: Asked, place: Place) -> Iterator[_Rail | None]:
    """A rail that is measured there already, else one to be added; on-chip its own reference too."""
    if asked.signal == "ohm":
        volts: float | None = asked.rail
    else:
        volts = asked.ratiometric if asked.signal == "V" else None
    if volts is None:
        yield None
        return
    there = [
        (one, text) for one, text in place.rails if one.nominal is not None and float(one.nominal) == volts
    ]
    for one, text in there[:1]:
        yield _Rail(one.name, volts, one.circuit, text)
    if not there and len(place.free) > 1:
        protection = _protection(asked, place)
        name = place.unused("sender rail" if asked.signal == "ohm" else f"{volts:g} V supply")
        circuit: Circuit = Direct(protection=protection)
        if volts * float(RAIL_SPAN[1]) > _takes(place):
            circuit = Divider(*RATIO, protection=_protection(asked, place, True), tolerance=asked.resistors)
        yield _Rail(name, volts, circuit, "", place.free[-1])
    if asked.signal == "ohm" and place.chip is None:
        yield _Rail(REFERENCE, CHIP_SUPPLY, Direct())


def _template(asked: Asked, place: Place, rail: _Rail | None) -> Box:
    """A box with the input in some circuit, its own answers judged and nothing else. Raises Misuse with what is wrong with them."""
    name = None if rail is None else rail.name
    some: dict[str, Circuit] = {
        "ohm": PullUp(1000.0, name),
        "mA": Shunt(100.0),
        "V": Divider(10e3, 10e3, name),
    }
    draft = _Draft(place, rail, some[asked.signal], None)
    try:
        reader = Reader("choose", draft.text(asked))
    except WrongBoxFile as wrong:
        raise Misuse(*(f"choose: {problem.where}: {problem.what}" for problem in wrong.problems)) from None
    box = reader.box()
    if reader.problems:
        raise Misuse(*(f"choose: {problem.where}: {problem.what}" for problem in reader.problems))
    return box


def _drafts(asked: Asked, place: Place, rail: _Rail | None, template: Box) -> Iterator[_Draft]:
    one = template.input(asked.name)
    assert one is not None
    law = one.law
    protection, wire = _protection(asked, place), round(asked.wire.ohms(), 3) if asked.wire_stated else 0.0
    common = {"protection": protection, "tolerance": asked.resistors}
    name = None if rail is None else rail.name
    if asked.signal == "ohm":
        matters = float(law.signal(np.array([asked.matters]))[0])
        low, high = max(law.low, law.high / 50), law.high
        around = sorted((low, max(matters, high / 50), high))
        gentle = 1000 * asked.rail / ENOUGH_MA  # however little the sender has
        for resistor, series, quartet in _pull_ups(asked, around[0] / 2, max(around[-1] * 4, gentle)):
            circuit = PullUp(resistor, name, series=series, wire=wire, **common)
            yield from _in_range(_Draft(place, rail, circuit, None, quartet), one, template)
    elif asked.signal == "mA":
        for resistor in values(asked.series_of, 5, 300):  # 21 mA over 172 ohm are all that a pin takes
            yield from _in_range(_Draft(place, rail, Shunt(resistor, **common), None), one, template)
    else:
        for pull_down in (PULL_DOWN, None):
            direct = Direct(name, wire, protection, pull_down)
            yield from _in_range(_Draft(place, rail, direct, None), one, template)
        _, _, last, highest = signal_limits(one, chain_of(template, one))
        most = min(place.full_scale, _takes(place))
        share = min(1.0, most / highest)
        if rail is not None:  # no more of it than of the rail
            at_pin = rail.circuit.pin(np.array([rail.volts]), rail.volts, template.inputs[0].converter.load)
            share = min(share, 0.999 * float(at_pin[0]) / last)
        for bottom in _as_many("E6", asked.series_of, 4.7e3, 47e3) if share < 1 else ():
            least = max(LEAST_TOP, bottom * (1 / share - 1))
            for top in values(asked.series_of, least, 3 * least + 100)[:3]:
                divider = Divider(top, bottom, name, wire, _protection(asked, place, True), asked.resistors)
                yield from _in_range(_Draft(place, rail, divider, None), one, template)


def _pull_ups(asked: Asked, low: float, high: float) -> Iterator[tuple[float, float, bool]]:
    """Resistor, series resistor, and whether it is four as one. A single resistor alone fails a tank: then all the rail gives flows."""
    if not asked.tank:
        for resistor in values(asked.series_of, max(low, 10), high):
            yield resistor, 0.0, False
        return
    for resistor in values(asked.series_of, max(low, 22), high):
        yield resistor, 0.0, True
    for resistor in _as_many("E12", asked.series_of, max(low, 22), min(high, 1000)):
        for series in _as_many("E6", asked.series_of, 68, 150):
            yield resistor, series, False


def _as_many(coarse: str, series: str, low: float, high: float) -> tuple[float, ...]:
    """Of that series the values nearest to those of a coarser one: no more to try, and all of them to be had."""
    return tuple(sorted({nearest(series, ohms) for ohms in values(coarse, low, high)}))


def _takes(place: Place) -> float:
    return OnChip.takes if place.chip is None else ChipInput.takes


def _in_range(draft: _Draft, one: Input, template: Box) -> Iterator[_Draft]:
    """The draft in the narrowest range of the converter that holds its voltages; in its own where none does."""
    if draft.place.chip is None or (draft.rail is not None and not isinstance(draft.circuit, PullUp)):
        yield draft
        return
    trial = replace(one, circuit=draft.circuit, converter=draft.converter)
    chain = chain_of(template, trial)
    limits = signal_limits(trial, chain)
    volts = chain.pin_volts(limits[2] if isinstance(draft.circuit, PullUp) else limits[3])
    holds = [full for full in sorted(GAINS) if full >= volts * 1.001]
    yield replace(draft, full_scale=holds[0] if holds else None)


# --- what it is worth ---


class _Rated:
    """A draft in its box, judged; the dear parts only when they are asked for."""

    def __init__(self, asked: Asked, draft: _Draft, template: Box) -> None:
        self.asked, self.draft = asked, draft
        before = template.input(asked.name)
        assert before is not None
        self.input = replace(before, circuit=draft.circuit, converter=draft.converter)
        others = tuple(one for one in template.inputs if one.name != asked.name)
        self.box = replace(template, inputs=(*others, self.input))
        self.chain = chain_of(self.box, self.input)

    @cached_property
    def shifted(self) -> float:
        """By how much grounds apart are off at the point that matters, in the unit of the reading."""
        if not isinstance(self.draft.circuit, PullUp | Divider | Direct):
            return 0.0
        asked, chain = self.asked, self.chain
        volts = asked.ground_offset if asked.wire.airframe_return else OWN_RETURN_VOLTS
        signal = float(self.input.law.signal(np.array([asked.matters]))[0])
        if isinstance(chain.circuit, PullUp):
            seen = chain.driven(volts, signal + chain.circuit.wire)
            signal = float(chain.circuit.signal(np.array([seen]), chain.supply, chain.converter.load)[0])
        else:
            signal += volts
        return abs(float(self.input.law.reading(np.array([signal]))[0]) - asked.matters)

    @cached_property
    def refusal(self) -> str | None:
        """Why `gaugelight check` would not have it."""
        problem = next(iter(unmeasurable(self.input, self.chain, cure=False)), None)
        return None if problem is None else problem.what

    @cached_property
    def solved(self) -> SolvedInput:
        """As if it were fitted: a quarter of a step is the most that a proof lets pass."""
        no_curve = make_curve(array("i", [0, 1]), array("i", [0, 1]))
        quarter = float(self.input.step) / 4
        return SolvedInput(self.input, self.chain, (0, 0, 0, 0), 0, 0, no_curve, no_curve, 0.0, quarter, ())

    def _off(self, reading: float) -> float:
        """How far it may be off there, one step of the converter included: near enough to compare circuits by."""
        total, contributors = combined_at(self.solved, quantities(self.solved), reading)
        return math.hypot(COVERAGE * total, resolution_of(contributors), self.warmed, self.shifted)

    @cached_property
    def error(self) -> float:
        return self._off(self.asked.matters)

    @cached_property
    def worst(self) -> float:
        return max(map(self._off, self.input.law.span))

    @cached_property
    def tank(self) -> tuple[TankCase, ...]:
        if not self.asked.tank:
            return ()
        asked = replace(self.asked, rail=self.chain.supply)
        return tank_energy.tank_cases(self.draft.circuit, asked, self.draft.quartet)

    @property
    def live(self) -> tuple[Compliance, Compliance] | None:
        circuit, asked = self.draft.circuit, self.asked
        if not isinstance(circuit, Shunt):
            return None
        return tuple(loops.compliance(asked, circuit.resistor, bus) for bus in (asked.battery, asked.crank))  # type: ignore[return-value]

    @cached_property
    def against(self) -> tuple[str, ...]:
        asked, circuit = self.asked, self.draft.circuit
        found = list(tank_energy.breaches(self.tank))
        if asked.tank and not isinstance(circuit, PullUp):
            found.append(
                "its supply goes into the tank and does not pass the box: only a sender approved for that, or a barrier, limits it"
            )
        if self.live is not None and not self.live[0].lives:
            live = self.live[0]
            found.append(
                f"at {live.bus:g} V of bus it leaves the transmitter {live.volts:.2f} V, which needs {asked.transmitter_least:g} V"
                if asked.loop_wires == 2 or live.volts < asked.transmitter_least
                else f"at {live.bus:g} V of bus the transmitter's output cannot lift 21 mA over the shunt"
            )
        if isinstance(circuit, PullUp) and self.current > RAIL_MA:
            found.append(
                f"it takes {self.current:.3g} mA of its rail, more than {RAIL_MA:g} mA: the reference box's gives 59 to all senders"
            )
        if self.self_heating > SENDER_WATTS:
            found.append(f"the sender takes {self.self_heating:.2g} W, more than {SENDER_WATTS:g} W warms it")
        return tuple(found)

    @cached_property
    def current(self) -> float:
        """mA."""
        circuit = self.draft.circuit
        if isinstance(circuit, PullUp):
            least = (circuit.resistor + circuit.series) * (1 - self.asked.resistors)
            return 1000 * self.chain.supply * tank_energy.RAIL_HIGH / least
        if isinstance(circuit, Shunt):
            return loops.HIGHEST_MA
        law = self.input.law
        ohms = circuit.top + circuit.bottom if isinstance(circuit, Divider) else math.inf
        if isinstance(circuit, Direct) and circuit.pull_down is not None:
            ohms = circuit.pull_down
        return 1000 * law.high / ohms

    def _watts(self, ohms: float) -> float:
        """In a resistive sender of so many ohm."""
        circuit = self.draft.circuit
        if not isinstance(circuit, PullUp):
            return 0.0
        amperes = self.chain.supply / (circuit.resistor + circuit.series + circuit.wire + ohms)
        return amperes**2 * ohms

    @cached_property
    def self_heating(self) -> float:
        circuit, law = self.draft.circuit, self.input.law
        if not isinstance(circuit, PullUp):
            return 0.0
        matched = circuit.resistor + circuit.series + circuit.wire
        return max(map(self._watts, (law.low, law.high, min(max(matched, law.low), law.high))))

    @cached_property
    def warmed(self) -> float:
        """In the unit of the reading, at the point that matters."""
        if not isinstance(self.input.law, Thermometer):
            return 0.0
        watts = self._watts(float(self.input.law.signal(np.array([self.asked.matters]))[0]))
        degrees = 1000 * watts / (self.asked.dissipation or DISSIPATION)
        return degrees * 1.8 if self.input.unit == "degF" else degrees

    @property
    def part_heating(self) -> tuple[tuple[str, float], ...]:
        """W in each resistor: in order, the sender at its worst for it; and with its wire held on the bus."""
        circuit, law = self.draft.circuit, self.input.law
        share = 1 / 4 if self.draft.quartet else 1.0
        bus = tank_energy.bus_high(self.asked)
        on_bus = f"its wire at {bus:.3g} V"
        if isinstance(circuit, PullUp):
            amperes = self.chain.supply / (circuit.resistor + circuit.series + law.low)
            chafed = (bus - self.chain.supply) / (circuit.resistor + circuit.series)
            each = [("pull-up resistor", circuit.resistor * share)]
            each += [("series resistor", circuit.series)] if circuit.series else []
            return tuple(
                pair
                for name, ohms in each
                for pair in (
                    (name, amperes**2 * ohms),
                    (f"{name}, {on_bus}", chafed**2 * ohms),
                )
            )
        if isinstance(circuit, Shunt):
            name, ohms = "shunt", circuit.resistor
            return (name, (loops.HIGHEST_MA / 1000) ** 2 * ohms), (
                f"{name}, {on_bus}",
                bus**2 / ohms,
            )
        if isinstance(circuit, Divider):
            amperes = law.high / (circuit.top + circuit.bottom)
            high = bus / (circuit.top + circuit.bottom)
            return ("top resistor", amperes**2 * circuit.top), (
                f"top resistor, {on_bus}",
                high**2 * circuit.top,
            )
        return ()

    @property
    def told(self) -> bool:
        """Whether a broken wire is."""
        return not (isinstance(self.draft.circuit, Direct) and self.draft.circuit.pull_down is None)

    @property
    def first_key(self) -> tuple[float, ...]:
        """All that comes before the worst of the range, which is dear."""
        return (
            len(self.against),
            float(self.live is not None and self.live[0].left < SPARE_VOLTS),
            float(not self.told),
            float(self.draft.place.one_more),
            _alike(self.error, NO_MATTER["matters"] * float(self.input.step)),
        )

    @cached_property
    def key(self) -> tuple[float, ...]:
        circuit, step = self.draft.circuit, float(self.input.step)
        parts = 4.0 if self.draft.quartet else sum(bool(getattr(circuit, part, 0)) for part in PARTS)
        to_add = float(self.draft.rail is not None and bool(self.draft.rail.pin))
        return (
            *self.first_key,
            _alike(self.worst, NO_MATTER["worst"] * step),
            self._gentle,
            parts + to_add,
            self.error,
        )

    @property
    def _gentle(self) -> float:
        circuit = self.draft.circuit
        if isinstance(circuit, PullUp):
            thin = self.asked.in_fuel_units and self.current < WIPER_MA
            return 1000.0 if thin else max(self.current, ENOUGH_MA)
        if isinstance(circuit, Shunt):
            return -circuit.resistor
        return (
            -float(self.chain.pin_volts(self.input.law.high)) if self.current <= ENOUGH_MA else self.current
        )

    def proven(self) -> Candidate:
        """Written, read, solved and proven. Raises WrongBoxFile."""
        block = self.draft.block(self.asked)
        box = box_of_text("choose", self.draft.text(self.asked))
        built = build(box)
        solved = next(one for one in built.inputs if one.input.name == self.asked.name)
        shown = tuple(row for row in faults_shown(built) if row.input == self.asked.name)
        return Candidate(
            asked=self.asked,
            place=self.draft.place,
            box=box,
            input=solved.input,
            solved=solved,
            block=block,
            quartet=self.draft.quartet,
            budget=budget_at(solved, quantities(solved), self.asked.matters),
            worst=_worst(solved),
            warmed=self.warmed,
            shifted=self.shifted,
            self_heating=self.self_heating,
            part_heating=self.part_heating,
            current=self.current,
            tank=self.tank,
            live=self.live,
            shown=shown,
            against=self.against,
        )


PARTS = ("resistor", "series", "top", "bottom", "pull_down")


def _worst(solved: SolvedInput) -> Budget:
    """Of lowest, middle and highest reading."""
    low, high = solved.input.law.span
    found = quantities(solved)
    budgets = [budget_at(solved, found, reading) for reading in (low, (low + high) / 2, high)]
    return max(budgets, key=lambda one: one.plus_minus)


def _alike(error: float, floor: float) -> float:
    """The same number for errors that differ by less than a tenth, or that nobody sees."""
    return float(math.floor(math.log(max(error, floor)) / math.log(ALIKE)))


def _standing(rated: Sequence[_Rated]) -> tuple[list[_Rated], list[tuple[Circuit, str]]]:
    """Of each kind those that `gaugelight check` would have and that least speaks against; and what it would not have, and why."""
    groups: dict[tuple[object, ...], dict[int, list[_Rated]]] = {}
    for one in rated:
        groups.setdefault(one.draft.kind, {}).setdefault(len(one.against), []).append(one)
    kept: list[_Rated] = []
    refused: list[tuple[Circuit, str]] = []
    for by_number in groups.values():
        for _, same in sorted(by_number.items()):
            refused += [(one.draft.circuit, one.refusal) for one in same if one.refusal is not None]
            standing = [one for one in same if one.refusal is None]
            kept += standing
            if standing:
                break
    return kept, refused


def _shortlist(rated: Sequence[_Rated], proposed: int) -> list[_Rated]:
    """The best of each kind and the best of all."""
    kinds: dict[tuple[object, ...], list[_Rated]] = {}
    for one in sorted(rated, key=lambda one: one.first_key):
        kinds.setdefault(one.draft.kind, []).append(one)
    few: list[_Rated] = []
    for same in kinds.values():
        # a whole group of equals, for what comes later decides among them
        last = same[min(SHORTLIST, len(same)) - 1].first_key
        few.append(min((one for one in same if one.first_key <= last), key=lambda one: one.key))
    rest = [one for one in sorted(rated, key=lambda one: one.first_key)[: 2 * proposed] if one not in few]
    few.sort(key=lambda one: one.key)
    few = few[:proposed]
    return few + sorted(rest, key=lambda one: one.key)[: max(0, proposed - len(few))]
