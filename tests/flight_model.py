"""A flight of the demo amphibian as a log would have it: counts of every input, made from readings that are known.

All of it is invented: slosh is a swing of two seconds that noise keeps going, the hydraulics leak and are topped up, the left and right tanks burn
alike, and a transfer refills them.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gaugelight.boxfile import Box
from gaugelight.chain import chain_of
from gaugelight.said import resting_reading

Floats = NDArray[np.float64]
GRID = 1000
SWING_S, SWING_DAMPING = 2.0, 0.1  # of the fuel; per swing 1/e in so many


def counts_of(box: Box, name: str, readings: Floats) -> NDArray[np.int64]:
    """What the converter says at each reading of an input, its rail at its nominal voltage; between GRID readings the line."""
    one = box.input(name)
    assert one is not None
    chain = chain_of(box, one)
    grid = np.linspace(*one.law.span, GRID)
    counts = [one.converter.count(chain.pin_volts(float(signal))) for signal in one.law.signal(grid)]
    return np.round(np.interp(readings, grid, counts)).astype(np.int64)


def swinging(seconds: Floats, spread: float, chance: np.random.Generator) -> Floats:
    """Slosh of that standard deviation: a second-order autoregression."""
    step = float(seconds[1] - seconds[0])
    radius = float(np.exp(-SWING_DAMPING * 2 * np.pi * step / SWING_S))
    a, b = 2 * radius * np.cos(2 * np.pi * step / SWING_S), -(radius**2)
    noise = chance.normal(0, 1, len(seconds)).tolist()
    made = [0.0, 0.0]
    for one in noise:
        made.append(a * made[-1] + b * made[-2] + one)
    swing = np.array(made[2:])
    scaled: Floats = swing * spread / swing.std()
    return scaled


USED, USE_ROWS = 350.0, 40


def leaking(
    seconds: Floats,
    full: float,
    low: float,
    leak: float,
    pump: float,
    growing: float = 0.0,
    uses: tuple[int, ...] = (),
) -> tuple[Floats, list[int]]:
    """A pressure that falls by `leak` a second, `growing` times as much faster each hour, until at `low` the pump fills it at `pump` a second up
    to `full`; the rows at which the pump comes on. uses: rows from which on, for USE_ROWS, something takes USED of it.
    """
    step = float(seconds[1] - seconds[0])
    now, on = full, False
    made, starts = [], []
    for row, t in enumerate(seconds.tolist()):
        if now <= low and not on:
            on = True
            starts.append(row)
        elif now >= full:
            on = False
        now += pump * step if on else -leak * (1 + growing * t / 3600) * step
        now -= sum(USED / USE_ROWS for use in uses if use <= row < use + USE_ROWS)
        made.append(now)
    return np.array(made), starts


@dataclass
class Flight:
    """readings by input, where they are not at rest; switches by name."""

    seconds: Floats
    readings: dict[str, Floats] = field(default_factory=dict)
    switches: dict[str, NDArray[np.int64]] = field(default_factory=dict)
    pump_starts: list[int] = field(default_factory=list)

    def counts(self, box: Box) -> dict[str, NDArray[np.int64]]:
        still = np.ones(len(self.seconds))
        return {
            one.name: counts_of(box, one.name, self.readings.get(one.name, still * resting_reading(one)))
            for one in box.inputs
        }


def a_flight(
    minutes: float = 60.0,
    rows_a_second: int = 10,
    *,
    burn: float = 8.0,
    rate: float = 24.0,
    transfer: tuple[float, float] = (0.4, 0.7),
    slosh: float = 0.35,
    leak: float = 0.5,
    growing: float = 0.0,
    seed: int = 3,
) -> Flight:
    """burn and rate in US gal an hour, both tanks together; transfer: from, to, as shares of the flight; leak in psi a second."""
    chance = np.random.default_rng(seed)
    seconds = np.arange(round(minutes * 60 * rows_a_second)) / rows_a_second
    last = seconds[-1]
    pumping = (seconds > transfer[0] * last) & (seconds < transfer[1] * last)
    step = 1 / rows_a_second
    fuel = 11.0 + np.cumsum(np.where(pumping, rate, 0.0) - burn) * step / 3600 / 2
    pressure, starts = leaking(seconds, 1100, 900, leak, 40, growing)
    readings = {
        "left fuel": np.clip(fuel + swinging(seconds, slosh, chance), 0, 18),
        "right fuel": np.clip(fuel + swinging(seconds, slosh, chance), 0, 18),
        "hydraulic": pressure + chance.normal(0, 2, len(seconds)),
        "reserve line": np.where(pumping, 4.0, 0.0),
        "bus": np.full(len(seconds), 14.0),
        "coolant temperature": np.full(len(seconds), 85.0),
        "coolant pressure": 12 + chance.normal(0, 0.1, len(seconds)),
    }
    return Flight(seconds, readings, {"transfer pump": pumping.astype(np.int64)}, starts)


def written(box: Box, flight: Flight, crc: str) -> str:
    """As `gaugelight log` writes it."""
    counts = flight.counts(box)
    names = [f"{name} count" for name in counts] + [f"{name} switch" for name in flight.switches]
    lines = [
        f"# gaugelight log, box {box.name}, table {crc}",
        f"start,seconds,time UTC,{','.join(names)},event",
    ]
    columns = np.stack([*counts.values(), *flight.switches.values()], axis=1).tolist()
    for t, row in zip(flight.seconds.tolist(), columns):
        lines.append(f"4,{t:g},,{','.join('' if count < 0 else str(count) for count in row)},")
    return "\n".join(lines) + "\n"
