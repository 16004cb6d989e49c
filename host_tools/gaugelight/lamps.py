"""What to know of lamps and lines before buying: who sees the pulses, who hears them, how dim they honestly go, what they take."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gaugebox import light
from gaugelight import filters, flicker, pwm, spectrum, wires
from gaugelight.boxfile import Box
from gaugelight.build import Build
from gaugelight.chain import chain_of
from gaugelight.check_lights import BUFFER_TAKES
from gaugelight.circuits import Counts, Floats
from gaugelight.curves import values
from gaugelight.driver import GATE_DRIVER, REFERENCE, SLOW, advice
from gaugelight.light_tables import TICKS_A_SECOND, knob_curve, tells_faults, travel
from gaugelight.lightness import lightness
from gaugelight.lights import (
    LAMP_FREQUENCY,
    BusOutput,
    Daylight,
    Dimmed,
    DimRequest,
    Display,
    Fixed,
    Knob,
    Lamp,
    Lights,
)
from gaugelight.loads import (
    CHARGED,
    TAKE,
    USUAL_DROP,
    Verdict,
    amperes,
    dimmable,
    light_factor,
    strain,
)
from gaugelight.problems import Misuse, meant

FLAT, RESTING = (
    10.0,
    12.0,
)  # V, of a 14 V bus: nearly flat, without its alternator (common practice, no source)
# of brightest to dimmest, in which samples of the transistor are alike, to a quarter: hardware_notes/lighting.md
ALIKE = {"this driver": 1530, "slow edges": 12, "gate driver": 17100}
STEP_ALLOWED = 0.2  # L*, what nobody sees go by
WANTED_RATIO = 5000.0  # of brightest to dimmest
LEVELS = 1024
LEGEND = (
    "L*: lightness as the eye sees it, 0 dark, 100 full (CIE 1976). dBuA: decibels above a microampere. honestly: as far as the current"
    " follows the pulses. The circuits are in hardware_notes/lighting.md"
)
CODES: Counts = np.arange(4096)  # of the on-chip converter
HAND = (
    light.PLAY + 16 // light.SAMPLES
)  # counts, the least that moves a knob: its value is a mean of several codes


@dataclass(frozen=True)
class Fact:
    """What one line says, and the same as numbers in SI units."""

    topic: str
    says: str
    values: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Report:
    name: str
    kind: str
    facts: tuple[Fact, ...]


def report(built: Build, names: list[str], chip: pwm.Chip) -> list[Report]:
    """Of all lights and lines, or of those named. Raises Misuse."""
    box, lights = built.box, built.box.lights
    reports = []
    for one, curve in zip(lights.dimmed, built.lights.duty_curves):
        if isinstance(one, Lamp):
            reports.append(Report(one.name, "lamp", tuple(_lamp(box, one, values(curve), chip))))
        elif isinstance(one, BusOutput):
            reports.append(
                Report(one.name, "bus output", tuple(_bus_output(lights, one, chip, float(box.supply))))
            )
        else:
            reports.append(Report(one.name, "display", tuple(_display(lights, one))))
    if lights.dim_request is not None:
        facts = tuple(_dim_request(built, lights.dim_request))
        reports.append(Report("dim request", "dim request", facts))
    if lights.daylight is not None:
        reports.append(Report("daylight", "daylight", tuple(_daylight(box, lights.daylight))))
    reports += [Report(f"knob on GP{knob.pin}", "knob", tuple(_knob(knob))) for knob in lights.knobs]
    there = {one.name: one for one in reports}
    for name in names:
        if name not in there:
            raise Misuse(f'{box.file}: there is no light or line "{name}"; {meant(name, there)}')
    return [there[name] for name in names] if names else reports


def _lamp(box: Box, lamp: Lamp, duties: Counts, chip: pwm.Chip) -> list[Fact]:
    setting = pwm.setting(chip, lamp.frequency)
    steps = pwm.compare(setting, duties)
    supply = float(box.supply)
    taken = None if lamp.load is None else amperes(lamp.load, supply)
    chopped = None if lamp.load is None or lamp.load.dim_wire else taken  # nobody knows what a dim wire takes
    facts = [
        _pulses(lamp.frequency, chip),
        _eye(lamp),
        _headset(lamp, chopped),
        _dimmest(lamp, steps, setting),
        *_honest(lamp, steps, setting, supply),
        _radio(lamp, chopped, supply),
        _evenness(lamp, steps, setting),
        *_load(lamp, steps, supply),
        *_wire(lamp, supply),
        *([] if chopped is None else [_driver(lamp, chopped, supply)]),
        _states(box.lights, lamp),
    ]
    return [_in_short(lamp, facts, taken, supply), *facts]


def _pulses(hertz: int, chip: pwm.Chip) -> Fact:
    made = pwm.setting(chip, hertz)
    others = {name: pwm.setting(other, hertz) for name, other in pwm.CHIPS.items() if other != chip}
    other_words = "; ".join(f"{name}: {float(s.hz):.7g} Hz, {s.steps} steps" for name, s in others.items())
    divider = "" if made.divider == 1 else f" / {float(made.divider):g}"
    says = f"{float(made.hz):.7g} Hz on the {chip.name}: {chip.clock_hz / 1e6:g} MHz{divider} / {made.steps} steps of {made.tick * 1e9:.3g} ns"
    numbers = {
        "board": chip.name,
        "asked_hz": hertz,
        "hz": float(made.hz),
        "divider": float(made.divider),
        "wrap": made.wrap,
        "steps": made.steps,
        "step_s": made.tick,
        "others": {name: {"hz": float(s.hz), "steps": s.steps} for name, s in others.items()},
    }
    return Fact("pulses", f"{says} ({other_words})", numbers)


def _eye(lamp: Lamp) -> Fact:
    region = flicker.region(float(lamp.frequency), 100.0)
    free = f"low risk from {flicker.LOW_RISK[2]:.0f} Hz on, none seen from {flicker.NO_EFFECT[2]:.0f} Hz on"
    says = f"{region}, switched fully on and off (IEEE 1789-2015: {free})"
    return Fact("eye", says, {"modulation_percent": 100.0, "region": region})


def _headset(lamp: Lamp, taken: float | None) -> Fact:
    """The worst fundamental, at half light or its ceiling, and how many tones lie where speech is."""
    pulse = (
        lamp.frequency,
        min(0.5, float(lamp.ceiling) / 100) / lamp.frequency,
        lamp.driver.rise,
        lamp.driver.fall,
    )
    voice, audio = (len(spectrum.tones(*pulse, top)) for top in (spectrum.VOICE, spectrum.COCKPIT_AUDIO))
    where = f"{voice or 'no'} tone{'' if voice <= 1 else 's'} below 3400 Hz, where speech is"
    says = f"{where}; {audio} below 6 kHz, what the audio carries"
    numbers: dict[str, Any] = {"tones_in_voice_band": voice, "tones_below_6_khz": audio}
    if taken is not None:
        frequency, high, rise, fall = pulse
        peak = taken * float(spectrum.amplitude(frequency, np.array([1]), high, rise, fall)[0])
        says += f"; at {frequency} Hz {peak:.2g} A: {peak:.2g} mV in each milliohm of a return shared with the audio"
        numbers["fundamental_a"] = peak
    return Fact("headset", says, numbers)


def _lowest(lamp: Lamp, steps: Counts) -> int:
    lit = steps[steps > 0]
    return int(lit[0]) if lit.size else 0


def _dimmest(lamp: Lamp, steps: Counts, setting: pwm.Setting) -> Fact:
    least, most = _lowest(lamp, steps), int(steps[-1])
    ratio = most / least if least else 0.0
    seen = float(lightness(np.array([least / setting.steps]))[0])
    says = (
        f"floor {float(lamp.floor):.3g} %: {least} steps, {least * setting.tick * 1e9:.3g} ns, L* {seen:.2g};"
        f" brightest to dimmest {ratio:.0f} : 1 by the pulses commanded"
    )
    numbers = {
        "floor_s": least * setting.tick,
        "floor_steps": least,
        "floor_lightness": seen,
        "ceiling_steps": most,
        "commanded_ratio": ratio,
    }
    return Fact("dimmest", says, numbers)


def _honest(lamp: Lamp, steps: Counts, setting: pwm.Setting, supply: float) -> list[Fact]:
    wired, by_wire = lamp.edges(lamp.driver, supply)
    hz = float(setting.hz)
    bright = int(steps[-1]) / setting.steps
    ratio = by_edges = bright * wired.honest_ratio(hz)
    if lamp.driver == REFERENCE:
        ratio = min(ratio, bright * ALIKE["this driver"] * LAMP_FREQUENCY / hz)
    seen = float(lightness(np.array([bright / ratio]))[0])
    where = "at the end of its wire" if by_wire else "at its driver"
    least = max(wired.shortest_pulse * hz, bright / ratio) * 100
    says = (
        f"{ratio:.0f} : 1 {where}, where the current takes {_ns(wired.rise)} up and {_ns(wired.fall)} down, from 0 to 100 %"
        f" (by the edges {by_edges:.0f} : 1, driver alone {bright * lamp.driver.honest_ratio(hz):.0f} : 1;"
        f" samples of the reference box's are alike over {ALIKE['this driver'] * LAMP_FREQUENCY / hz:.0f} : 1):"
        f" down to {least:.2g} % of the time, L* {seen:.2g}"
    )
    if float(lamp.floor) < least * 0.99:
        says += f". The floor, {float(lamp.floor):.2g} %, lies below: there one sample glows brighter than the next; set it by eye"
    numbers = {
        "driver_rise_s": lamp.driver.rise,
        "driver_fall_s": lamp.driver.fall,
        "shortest_pulse_s": lamp.driver.shortest_pulse,
        "rise_s": wired.rise,
        "fall_s": wired.fall,
        "honest_ratio": ratio,
        "honest_ratio_by_edges": by_edges,
        "honest_ratio_of_driver": bright * lamp.driver.honest_ratio(hz),
        "lowest_honest_lightness": seen,
    }
    more = advice(wired, hz, WANTED_RATIO / bright, lamp.edges(GATE_DRIVER, supply)[0], by_wire)
    facts = [Fact("honestly", says, numbers)]
    if more:
        facts.append(Fact(f"for {WANTED_RATIO:.0f} : 1", "; or ".join(more), {"advice": list(more)}))
    return facts


def _radio(lamp: Lamp, taken: float | None, supply: float) -> Fact:
    """The largest line in the band of the aircraft's radio, with this driver, a slow one and a gate driver."""
    hz = float(lamp.frequency)
    kinds = {"this driver": lamp.driver, "slow edges": SLOW, "gate driver": GATE_DRIVER}
    own = lamp.driver
    words, numbers = [], {}
    for name, driver in kinds.items():
        line = spectrum.largest_line(hz, driver.rise, driver.fall)
        against = spectrum.quieter(hz, (driver.rise, driver.fall), (own.rise, own.fall))
        honest = lamp.edges(driver, supply)[0].honest_ratio(hz)
        number: dict[str, Any] = {"honest_ratio": honest, "quieter_db": against}
        text = f"{name} ({_ns(driver.rise)})"
        if driver is not lamp.driver:
            way = "less" if against > 0 else "more"
            text += f" {abs(against):.0f} dB {way}; honestly {honest:.0f} : 1,"
            text += f" and samples of it are alike over {ALIKE[name] * LAMP_FREQUENCY / hz:.0f} : 1"
        if taken is not None:
            number["largest_line_dbua"] = spectrum.decibel_microamperes(taken * line.amplitude)
            text += f", {number['largest_line_dbua']:.0f} dBuA" if name == "this driver" else ""
        words.append(text)
        numbers[name.replace(" ", "_")] = number
    says = (
        "in 118 to 137 MHz, the largest line: "
        + "; ".join(words)
        + ". By the transistor's own edges, straight ones: to compare drivers by; ringing, diodes and antennas are not in it"
    )
    return Fact("radio", says, {"airband": numbers})


def _evenness(lamp: Lamp, steps: Counts, setting: pwm.Setting) -> Fact:
    """Through the box's own curves: over every code of the knob's converter, and over evenly spaced levels."""
    seen: Floats = lightness(steps / setting.steps)
    start = max(1, int(-(-lamp.on_above * 100 // 1)))
    if isinstance(lamp.source, Knob):
        levels = values(knob_curve(lamp.source))[CODES << 4 | CODES >> 8]
        of = "neighbouring codes of its knob"
    else:
        levels = np.arange(len(steps))
        of = "neighbouring levels"
    lit = seen[levels][levels >= start]
    code = hand = float(np.max(np.diff(lit))) if lit.size > 1 else 0.0
    if isinstance(lamp.source, Knob):
        levels = values(knob_curve(lamp.source))
        lit = seen[levels][levels >= start]
        hand = float(np.max(lit[HAND:] - lit[:-HAND]))
    spaced = np.rint(np.linspace(start, len(steps) - 1, LEVELS)).astype(int)
    still = spaced[1:][np.diff(steps[spaced]) <= 0] / 100
    rises = not still.size
    falls = bool(np.any(np.diff(steps) < 0))
    says = f"largest step of lightness between {of} L* {code:.2g}"
    if isinstance(lamp.source, Knob):
        says += f", under the hand {hand:.3f}"
        if (ticks := float(lamp.fade) * TICKS_A_SECOND) > 1:
            says += f", which its fade makes {hand / ticks:.2g} a tick"
    each = f"brighter at each of {LEVELS} levels"
    if not rises:
        each = f"no brighter at {still.size} of {LEVELS} levels, from {still[0]:.1f} to {still[-1]:.1f} %"
    says += f" ({STEP_ALLOWED:g} is not seen); {'it turns back' if falls else 'never dimmer'}, {each}"
    numbers = {
        "largest_step_lightness": code,
        "largest_step_by_hand_lightness": hand,
        "never_dimmer": not falls,
        "brighter_at_each_of_1024_levels": rises,
        "no_brighter_at_percent": still.tolist(),
    }
    return Fact("evenness", says, numbers)


def _load(lamp: Lamp, steps: Counts, supply: float) -> list[Fact]:
    load = lamp.load
    if load is None:
        what = "not stated: load tells current, heat, fuse and radio; measure it at 10, 12 and 14 V (readings) to know whether it dims"
        return [Fact("load", what)]
    flat, resting, charged = (volts * (2 if supply > 20 else 1) for volts in (FLAT, RESTING, CHARGED))
    at = sorted({flat, resting, charged, supply})
    currents = {volts: amperes(load, volts) for volts in at}
    says = ", ".join(f"{current:.3g} A at {volts:g} V" for volts, current in currents.items())
    if load.kind == "resistor strip" and currents[resting] > 0:
        says += f"; {currents[charged] / currents[resting]:.2g} times as much at {charged:g} V as at {resting:g} V"
        if load.drop == USUAL_DROP:
            says += f" ({USUAL_DROP:g} V for three LEDs in series: common practice)"
    verdict = dimmable(load)
    if not load.readings and not load.dim_wire:
        verdict = Verdict("perhaps", f"taken for a strip of LEDs with resistors, unread; to be sure {TAKE}")
    numbers = {"amperes": {f"{v:g}": a for v, a in currents.items()}, "kind": load.kind, "drop_v": load.drop}
    facts = [Fact("load", says, numbers)]
    dims = Fact("dimmable", f"{verdict.dimmable}: {verdict.reason}", {"dimmable": verdict.dimmable})
    if lamp.compensate is not None:
        factor = light_factor(load, charged, float(lamp.compensate.at))
        least = _lowest(lamp, steps)
        ratio = max(1.0, int(steps[-1]) * factor / least) if least else 0.0
        says = f"above {float(lamp.compensate.at):g} V ({lamp.compensate.input}): at {charged:g} V the pulses are {factor:.2g} as long"
        says += f", the floor's are not: {ratio:.0f} : 1 by the pulses commanded"
        return [
            *facts,
            dims,
            Fact(
                "kept steady",
                says,
                {"factor_with_alternator": factor, "commanded_ratio_with_alternator": ratio},
            ),
        ]
    return [*facts, dims]


def _wire(lamp: Lamp, supply: float) -> list[Fact]:
    """What is lost in it and which fuse guards it; what would do where they are not stated."""
    wire, fuse = lamp.wire, None if lamp.fuse is None else float(lamp.fuse)
    worst = None if lamp.load is None else strain(lamp.load, supply)
    taken = None if lamp.load is None else amperes(lamp.load, supply)
    if worst is not None and taken:
        wanted = fuse or worst.holds
        gauge = None if wanted is None else wires.thinnest(wanted)
        if gauge is None:
            told = f"none up to AWG {min(wires.GAUGES)} would do: a fuse for this lamp would let it burn"
        else:
            told = f"AWG {gauge} ({wires.area(gauge):.2g} mm2) would do"
            told += f", up to {min(50.0, wires.longest(gauge, taken, supply)):.0f} m and back"
    else:
        told = "with load, wire and fuse it is known what is lost in it and whether it can burn"
    facts = [Fact("wire", f"not stated; {told}")]
    if wire is not None:
        back = "back through the airframe" if wire.airframe_return else "and back"
        says = f"AWG {wire.gauge} ({wires.area(wire.gauge):.2g} mm2), {wire.length:g} m {back}: {wire.ohms():.2g} ohm"
        numbers: dict[str, Any] = {"ohms": wire.ohms()}
        if taken is not None:
            drop = wire.drop(taken)
            numbers |= {"drop_v": drop, "drop_percent": drop / supply * 100}
            numbers |= {"heat_w": wire.heat(taken), "heat_w_per_m": wire.heat_per_metre(taken)}
            says += f", {drop:.2g} V lost ({drop / supply:.1%}; {wires.OWN_DROP:.0%} at most, and 0.5 V on a 14 V bus by AC 43.13-1B)"
            says += f", {wire.heat(taken):.2g} W, {wire.heat_per_metre(taken) * 1000:.2g} mW a metre"
        facts = [Fact("wire", says, numbers)]
    limits: dict[str, float | None] = {"fuse_a": fuse}
    says = "not stated" if fuse is None else f"{fuse:g} A"
    if worst is not None:
        says += f"; {worst.holds_in_words} holds {worst.held:.2g} A, the most the bus may bring for ever; {worst.outlives:.2g} A outlives a load dump, {worst.dump:.2g} A2s"
        limits |= {"holds_a": worst.holds, "outlives_a": worst.outlives}
    if wire is not None:
        limits["largest_fuse_a"] = most = wires.largest_fuse(wire.gauge)
        says += f"; {most:g} A at most for this wire"
    return [*facts, Fact("fuse", says + "; at the bus end", limits)]


def _driver(lamp: Lamp, taken: float, supply: float) -> Fact:
    made = lamp.driver
    conducting = made.conduction_loss(taken, float(lamp.ceiling) / 100)
    switching = made.switching_loss(supply, taken, float(lamp.frequency))
    what = "the reference box's, a pin at 4 mA and 22 ohm" if made == REFERENCE else "as stated"
    says = f"{what}: {_ns(made.rise)} up, {_ns(made.fall)} down"
    says += f"; {_watts(conducting)} conducting at full light, at most {_watts(switching)} switching"
    return Fact("driver", says, {"conduction_w": conducting, "switching_w": switching})


def _in_short(lamp: Lamp, facts: list[Fact], taken: float | None, supply: float) -> Fact:
    """What the other lines come to."""
    known: dict[str, Any] = {}
    for fact in facts:
        known |= fact.values
    eye = {
        "no observable effect": "nobody sees it flicker",
        "low risk": "few see it flicker",
        "risky": "it may be seen to flicker",
    }
    says = [
        eye[known["region"]],
        "quiet where speech is" if not known["tones_in_voice_band"] else "it may whine in the headset",
    ]
    says.append(f"dims honestly to 1/{known['honest_ratio']:.0f}")
    steady = known["never_dimmer"] and known["brighter_at_each_of_1024_levels"]
    steps = known["largest_step_by_hand_lightness"] <= STEP_ALLOWED and steady
    says.append("without a step" if steps else "in steps that are seen")
    if taken is not None:
        says.append(f"takes {taken:.2g} A at {supply:g} V")
    dims = {
        "yes": "it can be dimmed",
        "perhaps": "try whether it dims",
        "no": "it cannot be dimmed like this",
    }
    if "dimmable" in known:
        says.append(dims[known["dimmable"]])
    return Fact("in short", ", ".join(says))


def _states(lights: Lights, one: Dimmed) -> Fact:
    """Start, fault, death and day."""
    unit = "V" if isinstance(one, BusOutput) else "%"
    says = [f"starts from nothing, time constant {float(one.fade):g} s"]
    if isinstance(one.source, Fixed):
        says.append("nothing it follows can fail")
    elif one.on_fault is None:
        says.append("on a fault it goes along with what it follows")
    else:
        says.append(f"on a fault {float(one.on_fault):g} {unit}")
    if one.by_day is not None:
        turned = ", unless its knob is turned" if lights.overriding(one) else ", however the knob was left"
        says.append(f"by day {float(one.by_day):g} {unit}{turned}")
    dead = "stands still" if isinstance(one, Display) else "0 V" if isinstance(one, BusOutput) else "dark"
    says.append(f"processor dead: {dead}")
    numbers = {
        "fade_s": float(one.fade),
        "on_fault": None if one.on_fault is None else float(one.on_fault),
        "by_day": None if one.by_day is None else float(one.by_day),
    }
    return Fact("states", "; ".join(says), numbers)


def _bus_output(lights: Lights, one: BusOutput, chip: pwm.Chip, supply: float) -> list[Fact]:
    highest = float(one.highest)
    worst = max(
        filters.ripple(one.filter, one.frequency, duty, highest)
        for duty in np.linspace(0.01, 0.99, 99).tolist()
    )
    settles = filters.settling(one.filter)
    stages = "one stage" if one.filter.stages == 1 else "two stages"
    says = f"{stages} of {one.filter.ohms:g} ohm and {one.filter.farads * 1e9:g} nF: ripple {worst * 1000:.2g} mV, {settles * 1000:.2g} ms to 1 %"
    step = highest / min(10000, pwm.setting(chip, one.frequency).steps)
    facts = [
        _pulses(one.frequency, chip),
        Fact("filter", says, {"ripple_v": worst, "settling_s": settles}),
        Fact(
            "range",
            f"0 to {highest:.3g} V in steps of {step * 1000:.2g} mV, as far as the buffer gets: the reference box's ends about"
            f" {BUFFER_TAKES} V below its bus, at {supply - BUFFER_TAKES:g} V of {supply:g} V",
            {"highest_v": highest, "step_v": step},
        ),
    ]
    if one.load is not None and one.series:
        series, load = float(one.series), float(one.load)
        alone = (load + series) / load - 1
        double = (load + series) / load * (load / 2) / (load / 2 + series) - 1
        says = f"{series:g} ohm into {load:g} ohm is reckoned with; without listeners {alone:+.1%}, with twice as many {double:+.1%}"
        facts.append(Fact("load", says, {"error_without": alone, "error_with_twice": double}))
    return [*facts, _states(lights, one)]


def _display(lights: Lights, one: Display) -> list[Fact]:
    points = ", ".join(f"{float(y):g} % at {float(x):g}" for x, y in one.source.points or ())
    return [
        Fact("follows", f"{one.source.name}" + (f": {points}" if points else ", as it is")),
        _states(lights, one),
    ]


def _dim_request(built: Build, request: DimRequest) -> list[Fact]:
    lights = built.box.lights
    numbers: dict[str, Any] = {"follows": request.follows, "active": request.active}
    says = f"follows {request.follows}"
    if (lamp := lights.lamp(request.follows)) is not None:
        duties = values(built.lights.duty_curves[lights.dimmed.index(lamp)])
        on, off = (
            float(lightness(duties[[round(level * 100)]] / pwm.FULL)[0])
            for level in (request.on_above, request.off_below)
        )
        says += f": on above {float(request.on_above):g} % (its L* {on:.2g}), off below {float(request.off_below):g} % (L* {off:.2g})"
        numbers |= {"on_above_lightness": on, "off_below_lightness": off}
    pin = f"asks with GP{request.pin} {'high' if request.active else 'low'}"
    dead = "asks to dim" if request.active == 0 else "does not ask"
    fault = "goes along with what it follows" if request.on_fault == "along" else f"goes {request.on_fault}"
    states = f"{pin}; on a fault it {fault}; processor dead or starting (pin pulled down): it {dead}"
    if lights.daylight is not None:
        states += "; off by day" + (", unless the knob is turned" if lights.overriding(request) else "")
    return [
        Fact("follows", says, numbers),
        Fact("states", states, {"on_fault": request.on_fault, "dead_asks": request.active == 0}),
    ]


def _daylight(box: Box, daylight: Daylight) -> list[Fact]:
    sensor = box.input(daylight.sensor)
    assert sensor is not None
    chain = chain_of(box, sensor)
    words, numbers = [], {}
    for name, reading in (("day above", daylight.day_above), ("night below", daylight.night_below)):
        signal = float(sensor.law.signal(np.array([float(reading)]))[0])
        volts = float(chain.pin_volts(signal))
        words.append(
            f"{name} {float(reading):g} {sensor.unit} ({signal:.3g} {sensor.circuit.unit}, {volts:.3g} V at the pin)"
        )
        numbers[name.replace(" ", "_")] = {"reading": float(reading), "signal": signal, "pin_v": volts}
    words.append(f"when it has lasted {float(daylight.delay):g} s")
    fault = "sensor dead: day or night stay as they were until a knob is turned; then the knobs alone decide"
    return [
        Fact("decides", "; ".join(words), numbers | {"delay_s": float(daylight.delay)}),
        Fact("states", fault),
    ]


def _knob(knob: Knob) -> list[Fact]:
    counts = travel(knob)
    low, high, lowest, highest = (
        n / 65535 * 100 for n in (counts.low, counts.high, counts.lowest, counts.highest)
    )
    says = f"off up to {low:.1f} % of 3.3 V, full from {high:.1f} %"
    if tells_faults(knob):
        told = f"below {lowest:.1f} % it is open or shorted to ground, above {highest:.1f} % open below or shorted to 3.3 V"
    else:
        told = "a broken one cannot be told from a turned one"
    told += "; its wiper's wire on the upper end's is told by nothing: half to full light"
    numbers = {"low": low / 100, "high": high / 100, "lowest": lowest / 100, "highest": highest / 100}
    return [Fact("travel", says, numbers), Fact("faults", told, {"tells_faults": tells_faults(knob)})]


def _watts(watts: float) -> str:
    return f"{watts * 1000:.2g} mW" if watts < 0.995 else f"{watts:.2g} W"


def _ns(seconds: float) -> str:
    return f"{seconds * 1e9:.0f} ns" if seconds < 999e-9 else f"{seconds * 1e6:.2g} us"
