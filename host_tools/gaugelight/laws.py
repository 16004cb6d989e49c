"""What a sender says of the quantity it measures: its reading for a signal, and back, exactly."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

import numpy as np

from gaugelight.circuits import Floats

BEYOND = 0.05  # of its span, how far beyond its ends a sender is still believed

Point = tuple[Fraction, Fraction]  # signal, reading


class Law(Protocol):
    """low, high: the signals at the ends of its range."""

    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...

    @property
    def span(self) -> tuple[float, float]:
        """The lowest and the highest reading of its range."""
        ...

    def reading(self, signals: Floats) -> Floats: ...
    def signal(self, readings: Floats) -> Floats: ...


@dataclass(frozen=True)
class Points:
    """Straight lines through points, signals rising, the ends held: a float lies on the bottom or under the top."""

    points: tuple[Point, ...]

    @property
    def low(self) -> float:
        return float(self.points[0][0])

    @property
    def high(self) -> float:
        return float(self.points[-1][0])

    @property
    def span(self) -> tuple[float, float]:
        first, last = sorted((float(self.points[0][1]), float(self.points[-1][1])))
        return first, last

    def _columns(self) -> tuple[list[float], list[float]]:
        return [float(s) for s, _ in self.points], [float(r) for _, r in self.points]

    def reading(self, signals: Floats) -> Floats:
        return np.interp(signals, *self._columns())

    def signal(self, readings: Floats) -> Floats:
        signals, at = self._columns()
        return (
            np.interp(readings, at, signals)
            if at[-1] >= at[0]
            else np.interp(readings, at[::-1], signals[::-1])
        )


@dataclass(frozen=True)
class Line:
    """A straight line through two points that goes on beyond them."""

    points: tuple[Point, Point]

    @property
    def low(self) -> float:
        return float(self.points[0][0])

    @property
    def high(self) -> float:
        return float(self.points[1][0])

    @property
    def span(self) -> tuple[float, float]:
        first, last = sorted((float(self.points[0][1]), float(self.points[1][1])))
        return first, last

    def reading(self, signals: Floats) -> Floats:
        (s0, r0), (s1, r1) = self.points
        return float(r0) + (signals - float(s0)) * float((r1 - r0) / (s1 - s0))

    def signal(self, readings: Floats) -> Floats:
        (s0, r0), (s1, r1) = self.points
        return float(s0) + (readings - float(r0)) * float((s1 - s0) / (r1 - r0))


@dataclass(frozen=True)
class Itself:
    """The reading is the signal: a rail, a bus."""

    low: float
    high: float

    @property
    def span(self) -> tuple[float, float]:
        return self.low, self.high

    def reading(self, signals: Floats) -> Floats:
        return signals

    def signal(self, readings: Floats) -> Floats:
        return readings


class Resistor(Protocol):
    """A resistance that tells a temperature. lowest, highest: degC."""

    @property
    def lowest(self) -> float: ...
    @property
    def highest(self) -> float: ...

    def ohms(self, celsius: Floats) -> Floats: ...
    def celsius(self, ohms: Floats) -> Floats: ...


class Junction(Protocol):
    """A thermocouple, its reference junction at 0 degC. lowest, highest: degC."""

    @property
    def lowest(self) -> float: ...
    @property
    def highest(self) -> float: ...

    def millivolts(self, celsius: Floats) -> Floats: ...
    def celsius(self, millivolts: Floats) -> Floats: ...


def celsius_of(readings: Floats, unit: str) -> Floats:
    return (readings - 32) * 5 / 9 if unit == "degF" else readings


def reading_of_celsius(celsius: Floats, unit: str) -> Floats:
    return celsius * 9 / 5 + 32 if unit == "degF" else celsius


@dataclass(frozen=True)
class Thermometer:
    """A resistance thermometer or thermistor, used from one reading to another."""

    sensor: Resistor
    unit: str
    first: float
    last: float

    @property
    def span(self) -> tuple[float, float]:
        return self.first, self.last

    @property
    def low(self) -> float:
        return float(np.min(self.signal(np.array([self.first, self.last]))))

    @property
    def high(self) -> float:
        return float(np.max(self.signal(np.array([self.first, self.last]))))

    def reading(self, signals: Floats) -> Floats:
        ends = self.sensor.ohms(np.array([self.sensor.lowest, self.sensor.highest]))
        return reading_of_celsius(
            self.sensor.celsius(np.clip(signals, np.min(ends), np.max(ends))), self.unit
        )

    def signal(self, readings: Floats) -> Floats:
        celsius = np.clip(celsius_of(readings, self.unit), self.sensor.lowest, self.sensor.highest)
        return self.sensor.ohms(celsius)


@dataclass(frozen=True)
class Thermocouple:
    """A thermocouple, used from one reading to another, its cold junction somewhere between two temperatures (degC).

    Its signals are what reaches the connector; its law is that of the whole voltage, cold junction added. It goes a little
    beyond its ends, by BEYOND of its span, and is held there.
    """

    sensor: Junction
    unit: str
    first: float
    last: float
    coldest: float
    warmest: float

    @property
    def span(self) -> tuple[float, float]:
        return self.first, self.last

    def cold_millivolts(self, celsius: Floats) -> Floats:
        return self.sensor.millivolts(np.clip(celsius, self.sensor.lowest, self.sensor.highest))

    @property
    def low(self) -> float:
        return self.whole[0] - float(self.cold_millivolts(np.array([self.warmest]))[0])

    @property
    def high(self) -> float:
        return self.whole[1] - float(self.cold_millivolts(np.array([self.coldest]))[0])

    @property
    def whole(self) -> tuple[float, float]:
        """The lowest and the highest voltage, cold junction added, that it tells."""
        beyond = BEYOND * (self.last - self.first)
        first, last = self.signal(np.array([self.first - beyond, self.last + beyond])).tolist()
        return first, last

    def reading(self, signals: Floats) -> Floats:
        ends = self.whole
        return reading_of_celsius(self.sensor.celsius(np.clip(signals, *ends)), self.unit)

    def signal(self, readings: Floats) -> Floats:
        return self.cold_millivolts(celsius_of(readings, self.unit))
