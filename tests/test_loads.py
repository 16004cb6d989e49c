"""Lamps against ngspice, the published exponent of filaments and a rule of the trade."""

import math
import re
import shutil
import subprocess

import numpy as np
import pytest

from gaugelight.loads import (
    Kind,
    Load,
    Reading,
    amperes,
    dimmable,
    from_current,
    from_length,
    from_power,
    from_readings,
    kind_of,
    light_factor,
    strain,
)

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)

# Twenty sections of a strip: three white diodes, each 2.97 V at 20 mA with 3 ohm of its own, and a resistor
STRIP = """a strip of light-emitting diodes
.model white d(is=1e-20 n=2.7 rs=3)
V1 bus 0 12
R1 bus a {resistor}
D1 a b white m=20
D2 b c white m=20
D3 c 0 white m=20
.dc V1 8 15 0.1
.control
run
set numdgt=10
wrdata {result} -i(V1)
.endc
.end
"""


@pytest.fixture(scope="module")
def strip(tmp_path_factory: pytest.TempPathFactory) -> dict[float, float]:
    """Volts: amperes of a strip of 20 sections with 130 ohm each, by ngspice."""
    place = tmp_path_factory.mktemp("strip")
    netlist, result = place / "strip.cir", place / "strip.txt"
    netlist.write_text(STRIP.format(resistor=130 / 20, result=result))
    run = subprocess.run(["ngspice", "-b", str(netlist)], capture_output=True, text=True, timeout=120)
    assert result.exists(), run.stdout + run.stderr
    return {round(volts, 1): current for volts, current in np.loadtxt(result)}


@needs_ngspice
@pytest.mark.parametrize("volts", [11.0, 12.5, 13.0, 13.8, 14.2, 15.0])
def test_a_strip_by_three_readings(strip: dict[float, float], volts: float) -> None:
    load = from_readings([(at, strip[at]) for at in (10.0, 12.0, 14.0)])
    assert load.kind == "resistor strip"
    assert amperes(load, volts) == pytest.approx(strip[volts], rel=0.05)
    assert 8.2 < load.drop < 3 * 2.97  # less than at 20 mA: the diodes' knee is soft


@needs_ngspice
@pytest.mark.parametrize("volts", [11.0, 13.0, 14.2])
def test_a_strip_by_its_current_at_12_v(strip: dict[float, float], volts: float) -> None:
    """Eleven volts is where a drop that is only assumed costs most."""
    assert amperes(from_current(strip[12.0], 12), volts) == pytest.approx(strip[volts], rel=0.07)


@needs_ngspice
@pytest.mark.parametrize("volts", [12.0, 12.8, 13.6, 14.2, 14.8])
def test_the_light_of_a_strip_stays(strip: dict[float, float], volts: float) -> None:
    """Its mean current does: as at 11.5 V."""
    load = from_readings([(at, strip[at]) for at in (10.0, 12.0, 14.0)])
    assert light_factor(load, volts, 11.5) * strip[volts] == pytest.approx(strip[11.5], rel=0.03)


def test_from_12_to_14_2_volts() -> None:
    """1.7 times the current (common practice, no source)."""
    load = from_current(0.32, 12)
    assert amperes(load, 14.2) / amperes(load, 12) == pytest.approx(1.7, abs=0.05)


SAME = {
    "current": from_current(0.4, 12),
    "power": from_power(4.8, 12),
    "length": from_length(0.6, 8, 12),
    "readings": from_readings([(10, 0.4 * 1.1 / 3.1), (12, 0.4), (14, 0.4 * 5.1 / 3.1)]),
}


@pytest.mark.parametrize("load", SAME.values(), ids=SAME)
def test_one_lamp_described_in_four_ways(load: Load) -> None:
    for volts, current in {0: 0, 8.9: 0, 10: 0.141935, 12: 0.4, 14.2: 0.683871}.items():
        assert amperes(load, volts) == pytest.approx(current, abs=1e-6)


def by_power(power: float, *volts: float) -> list[Reading]:
    return [(at, 0.3 * (at / 12) ** power) for at in volts]


KINDS: dict[str, tuple[list[Reading], Kind]] = {
    "strip": ([(10, 0.12), (12, 0.32), (14, 0.54)], "resistor strip"),
    "strip, read in any order": ([(14, 0.54), (10, 0.12), (12, 0.32)], "resistor strip"),
    "strip that is dark at 8 V": ([(8, 0.0), (10, 0.12), (12, 0.32), (14, 0.54)], "resistor strip"),
    "strip, read above its drop only": ([(12, 0.32), (13, 0.43), (14, 0.54)], "resistor strip"),
    "resistor": (by_power(1, 10, 12, 14), "resistor strip"),
    "filament: current as the 0.54th power (IES Lighting Handbook, from memory)": (by_power(0.54, 10, 12, 14), "filament lamp"),
    "linear regulator": ([(10, 0.30), (12, 0.30), (14, 0.30)], "internal regulator"),
    "linear regulator that leaks a little": ([(10, 0.30), (12, 0.302), (14, 0.305)], "internal regulator"),
    "linear regulator, not regulating yet at 10 V": ([(10, 0.12), (12, 0.30), (14, 0.30)], "internal regulator"),
    "switching regulator: constant power": (by_power(-1, 10, 12, 14), "switching regulator"),
    "switching regulator, poor at 14 V": (by_power(-0.8, 10, 12, 14), "switching regulator"),
    "switching regulator, not started at 10 V": ([(10, 0.01), (12, 0.32), (14, 0.28)], "switching regulator"),
    "more readings": (by_power(-1, 9, 10, 11, 12, 13, 14, 15), "switching regulator"),
}  # fmt: skip


@pytest.mark.parametrize("readings, kind", KINDS.values(), ids=KINDS)
def test_kind(readings: list[Reading], kind: Kind) -> None:
    assert kind_of(readings) == kind
    load = from_readings(readings)
    assert load.kind == kind
    for volts, current in readings:
        assert amperes(load, volts) == pytest.approx(current, abs=0.012)


THREE = {name: KINDS[name] for name in KINDS if [volts for volts, _ in KINDS[name][0]] == [10, 12, 14]}


@pytest.mark.parametrize("readings, kind", THREE.values(), ids=THREE)
@pytest.mark.parametrize("off", [0.98, 1.02])
def test_a_meter_that_is_2_percent_off_at_the_top_changes_no_kind(
    readings: list[Reading], kind: Kind, off: float
) -> None:
    *others, (volts, current) = readings
    assert kind_of([*others, (volts, current * off)]) == kind


def test_a_strip_below_its_drop_is_left_out_of_its_line() -> None:
    """The diodes' knee is soft: 5 mA at 8.5 V are on no line."""
    three: list[Reading] = [(10, 0.12), (12, 0.32), (14, 0.54)]
    assert from_readings([(8.5, 0.005), *three]).drop == pytest.approx(from_readings(three).drop, abs=1e-9)
    assert from_readings(three).drop == pytest.approx(
        8.889, abs=0.001
    )  # by hand: slope 0.105, mean 12 V and 0.3267 A


USELESS = {
    "two": ([(12, 0.3), (14, 0.5)], "too few readings.*10, 12 and 14 V"),
    "none": ([], "10, 12 and 14 V"),
    "close together": ([(12, 0.3), (12.5, 0.35), (13, 0.4)], "too close together.*10, 12 and 14 V"),
    "one at the top only": ([(8, 0.1), (9, 0.12), (14, 0.5)], "between 11 and 13 V.*10, 12 and 14 V"),
    "dark": ([(10, 0.0), (12, 0.0), (14, 0.0)], "at 12 V the lamp is dark"),
    "dark up to 12 V": ([(10, 0.0), (12, 0.001), (14, 0.5)], "at 12 V the lamp is dark"),
    "negative": ([(10, 0.1), (12, -0.3), (14, 0.5)], "not negative"),
    "nought volts": ([(0, 0.1), (12, 0.3), (14, 0.5)], "above nought"),
}


@pytest.mark.parametrize("readings, told", USELESS.values(), ids=USELESS)
def test_readings_that_tell_nothing(readings: list[Reading], told: str) -> None:
    with pytest.raises(ValueError) as problem:
        from_readings(readings)
    assert re.search(told, str(problem.value))


def test_a_reading_that_is_off_its_line() -> None:
    with pytest.raises(ValueError, match="the one at 12 V least of all: read it again"):
        from_readings([(10, 0.12), (12, 0.45), (14, 0.55)])


VERDICTS = {
    "strip": (from_current(0.3, 12), "yes", "rises with the voltage"),
    "filament": (from_readings(by_power(0.54, 10, 12, 14)), "yes", "filament"),
    "linear regulator": (from_readings(by_power(0, 10, 12, 14)), "perhaps", "linear regulator inside.*shortest pulse"),
    "switching regulator": (from_readings(by_power(-1, 10, 12, 14)), "no", "switching regulator inside.*dim wire"),
    "switching regulator with a dim wire": (from_readings(by_power(-1, 10, 12, 14), dim_wire=True), "yes", "drives its dim wire"),
}  # fmt: skip


@pytest.mark.parametrize("load, said, reason", VERDICTS.values(), ids=VERDICTS)
def test_dimmable(load: Load, said: str, reason: str) -> None:
    verdict = dimmable(load)
    assert verdict.dimmable == said and re.search(reason, verdict.reason)


FACTORS = {
    "strip, bus as it should be": (from_current(0.3, 12), 12.0, 1.0),
    "strip, 14.2 V: 3.1 / 5.3": (from_current(0.3, 12), 14.2, 0.58491),
    "strip, bus low: full is all there is": (from_current(0.3, 12), 11.0, 1.0),
    "strip, bus below its drop": (from_current(0.3, 12), 7.0, 1.0),
    "filament, 14.2 V: the same heat": (from_readings(by_power(0.54, 10, 12, 14)), 14.2, (12 / 14.2) ** 2),
    "linear regulator": (from_readings(by_power(0, 10, 12, 14)), 14.2, 1.0),
    "strip on a dim wire": (from_current(0.3, 12, dim_wire=True), 14.2, 1.0),
}


@pytest.mark.parametrize("load, volts, factor", FACTORS.values(), ids=FACTORS)
def test_light_factor(load: Load, volts: float, factor: float) -> None:
    assert light_factor(load, volts, 12.0) == pytest.approx(factor, abs=1e-5)


@pytest.mark.parametrize(
    "current, at, told",
    [(0.3, 8, "dark"), (0.0, 12, "is none"), (-0.1, 12, "is none"), (math.nan, 12, "none")],
)
def test_no_lamp(current: float, at: float, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        from_current(current, at)
    with pytest.raises(ValueError, match=told):
        from_power(current * at, at)


def test_no_voltage() -> None:
    with pytest.raises(ValueError, match="dark"):
        from_length(0.6, 8, 0)


# by hand: a strip of 0.32 A at 12 V and 8.9 V takes (V - 8.9) / 9.69 ohm; what a fuse stands is from memory
STRAINS = {
    "14 V": (14.0, 0.733, 2.90, 1.0, 1.70),
    "28 V": (28.0, (32 - 8.9) / 9.6875, ((70 - 8.9) / 9.6875) ** 2 * 0.4, 5.0, 3.99),
}


@pytest.mark.parametrize("supply, held, dump, holds, outlives", STRAINS.values(), ids=STRAINS)
def test_strain(supply: float, held: float, dump: float, holds: float, outlives: float) -> None:
    worst = strain(from_current(0.32, 12), supply)
    assert worst.held == pytest.approx(held, rel=0.01) and worst.dump == pytest.approx(dump, rel=0.01)
    assert worst.holds == holds and worst.outlives == pytest.approx(outlives, rel=0.01)


# of 12 V and 8.9 V, at 16 V 2.29 times as much: A of the lamp, what is said of its fuse; 30 A, the largest, hold 22.5
FUSES = {"the largest just holds": (9.8, 30.0, "30 A"), "none holds": (9.9, None, "no fuse up to 30 A")}


@pytest.mark.parametrize("amperes, holds, words", FUSES.values(), ids=FUSES)
def test_no_fuse_is_said_to_hold_what_it_does_not(amperes: float, holds: float | None, words: str) -> None:
    worst = strain(from_current(amperes, 12), 14)
    assert (worst.holds, worst.holds_in_words) == (holds, words)
