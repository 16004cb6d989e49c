"""The reference box under the mistakes an aircraft makes, in ngspice: wires on the bus, load dump, a battery turned round, sparks."""

import csv
import re
import shutil
import subprocess
from pathlib import Path

import pytest

NOTES = Path(__file__).parent.parent / "hardware_notes"
OPEN = 1e12  # ohm
THROUGH = 1e-3  # ohm: chafed through

pytestmark = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)

PIN_CURRENT = 1e-3  # A: a tenth of what a pin of an ADS1115 takes for ever (SBAS444: 10 mA)
PIN_ABOVE = (
    0.3  # V: what a pin of either chip takes above its supply without any limit to the current (SBAS444)
)
CHIP_SUPPLY = 3.63  # V: the RP2040's highest I/O supply (its data sheet, from memory); an ADS1115 takes 7 V
ASLEEP = 1.0  # V: a board whose 3.3 V stand at this does nothing
U5_INPUT = 60  # V: of the 5 V regulator, see parts.csv
OVERLOAD = 6.25  # a metal film resistor takes 2.5 times its voltage for 5 s (IEC 60115-1, from memory)
TANK, TANK_AFTER_A_FAILURE = 25, 50  # mA: guidance of AC 25.981-1 (from memory)


def ratings() -> dict[str, float]:
    """W of every part of parts.csv that has a rating in W."""
    with open(NOTES / "parts.csv", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["rating"].endswith(" W")]
    return {name: float(row["rating"][:-2]) for row in rows for name in row["designators"].split()}


RATINGS = ratings()


def spice(
    place: Path,
    netlist: str,
    values: dict[str, float],
    parts: dict[str, float | None],
    celsius: int = 25,
    but: str = "",
) -> dict[str, float]:
    """What ngspice prints, with these .param values, these parts' values (None: the part is left out), at a temperature; `but`: what
    of the netlist is left out, because nobody asks for it and it takes long."""
    text = (NOTES / "netlists" / netlist).read_text()
    assert but in text
    text = text.replace(but, "")
    for name, value in values.items():
        text, found = re.subn(rf"(?m)^(\.param {name}\s*=)\s*\S+", rf"\g<1> {value!r}", text)
        assert found == 1, f"{netlist} has no .param {name}"
    for name, ohm in parts.items():
        new = rf"\g<1> {ohm!r}" if ohm is not None else "*"
        text, found = re.subn(rf"(?m)^({name}\s+\S+\s+\S+)\s+\S+", new, text)
        assert found == 1, f"{netlist} has no part {name}"
    text = text.replace("\n.temp 25\n", f"\n.temp {celsius}\n")
    (place / netlist).write_text(text)
    run = subprocess.run(["ngspice", "-b", str(place / netlist)], capture_output=True, text=True, timeout=120)
    printed = {name: float(value) for name, value in re.findall(r"(?m)^(\S+) = (\S+)$", run.stdout)}
    asked = sum(len(line.split()) - 1 for line in text.splitlines() if line.strip().startswith("print"))
    assert len(printed) >= asked and "rror" not in run.stderr, run.stdout + run.stderr
    return printed


def breaches(said: dict[str, float]) -> list[str]:
    """What of the box is beyond what it takes: pins, supplies, and parts too hot for their rating."""
    chips = {"1": "du1a1 du1b1", "2": "du1a2 du1b2", "3": "du1a3 du1b3", "4": "du1a4 du1b4"}
    chips |= {"5": "du2a1 du2b1", "6": "du2a2 du2b2", "7": "da1a7 da1b7", "8": "da1a8 da1b8"}
    found = []
    for n, diodes in chips.items():
        carried = max(said[f"@{diode}[id]"] for diode in diodes.split())
        above = max(said[f"v(p{n})"] - said["v(vdd)"], -said[f"v(p{n})"])
        in_dump = said[f"vecmax((v(k{n})-v(p{n}))/4.7k)"]
        if (above > PIN_ABOVE and carried > PIN_CURRENT) or in_dump > PIN_CURRENT:
            found.append(f"pin {n}")
    if max(said["v(vdd)"], said["vecmax(v(vdd))"]) > CHIP_SUPPLY:
        found.append("3.3 V")
    if said["vecmax(v(in))"] > U5_INPUT:
        found.append("U5")
    heat = {name[1:-3].upper(): watts for name, watts in said.items() if name.endswith("[p]")}
    found += [name for name, watts in heat.items() if watts > RATINGS[name]]
    peaks = {"R12": said["vecmax((v(w1)-v(m1))^2/150)"], "R51": said["vecmax((v(w5)-v(m5))^2/150)"]}
    found += [f"{name} in the load dump" for name, watts in peaks.items() if watts > OVERLOAD * RATINGS[name]]
    return found


BUS = {
    "bus": 16.0,
    "dump": 35.0,
}  # V: the highest that may last; ISO 16750-2 test B, suppressed (35 V from memory)
OFF = {"master": OPEN}
WIRES = {f"chafe{n}": THROUGH for n in (1, 2, 3, 5, 6, 7)}
EMPTY = {"sender1": 0.1, "sender2": 0.1}

SURVIVED: dict[str, tuple[dict[str, float], int]] = {
    "flight and load dump": ({}, 25),
    "left fuel's wire on the bus": ({"chafe1": THROUGH}, 25),
    "right fuel's wire on the bus": ({"chafe2": THROUGH}, 25),
    "coolant temperature's wire on the bus": ({"chafe3": THROUGH}, 25),
    "reserve line's wire on the bus": ({"chafe5": THROUGH}, 25),
    "hydraulic's wire on the bus": ({"chafe6": THROUGH}, 25),
    "coolant pressure's wire on the bus": ({"chafe7": THROUGH}, 25),
    "every wire on the bus": (WIRES, 25),
    "every wire on the bus, frost": (WIRES, -20),
    "every wire on the bus, heat": (WIRES, 70),
    "every wire on the bus, senders unplugged": (
        WIRES | {"sender1": OPEN, "sender2": OPEN, "sender3": OPEN},
        25,
    ),
    "every wire on the bus, box off": (WIRES | OFF, 25),
    "every wire on the bus, box off, frost": (WIRES | OFF, -20),
    "every wire on the bus, box off, heat": (WIRES | OFF, 70),
    "every wire on the bus, a laptop on the board": (WIRES | OFF | {"usb": 0.1}, 25),
    "battery the wrong way round": ({"bus": -14.0, "dump": -14.0}, 25),
    "battery the wrong way round, every wire on the bus": (WIRES | {"bus": -14.0, "dump": -14.0}, 25),
    "every sender at 0 ohm": (EMPTY | {"sender3": 0.1}, 25),
    "the board's 3.3 V dead": ({"board": 0.0}, 25),
    "the board's 3.3 V shorted": ({"board": 0.0, "chips": 1.0}, 25),
}


@pytest.mark.parametrize("values, celsius", SURVIVED.values(), ids=SURVIVED)
def test_nothing_is_asked_of_a_part_that_it_does_not_take(
    values: dict[str, float], celsius: int, tmp_path: Path
) -> None:
    """Pins, supplies and every resistor, for ever at 16 V and through a load dump, though the board itself takes nothing."""
    assert breaches(spice(tmp_path, "protection_box.cir", BUS | values, {}, celsius)) == []


@pytest.mark.parametrize("wire", WIRES)
def test_a_box_that_is_off_stays_off(wire: str, tmp_path: Path) -> None:
    """No single wire on the bus wakes it through its pins or the sender rail."""
    assert spice(tmp_path, "protection_box.cir", BUS | OFF | {wire: THROUGH}, {})["v(vdd)"] < ASLEEP


BEYOND: dict[str, tuple[dict[str, float], dict[str, float | None], set[str]]] = {
    "28 V on a fuel sender's wire: its pull-up": ({"bus": 28, "dump": 28, "chafe1": THROUGH}, {}, {"R11"}),
    "28 V on a loop's wire: its shunt": (
        {"bus": 28, "dump": 28, "chafe5": THROUGH},
        {},
        {"R51", "R52", "R53", "R54"},
    ),
    "a load dump that is not suppressed: U5": ({"source": 0.5, "dump": 79}, {}, {"U5"}),
    "no Q2: the 3.3 V in a load dump": (BUS | WIRES, {"Rq2": OPEN}, {"3.3 V"}),
    "no R92: the 3.3 V": (BUS | WIRES, {"R92": OPEN}, {"3.3 V"}),
    "one 150 ohm in place of four": (BUS | {"chafe5": THROUGH}, {"R53": OPEN, "R52": 0.01}, {"R51"}),
    "no R16: the pin": (BUS | {"chafe1": THROUGH}, {"R16": 1.0}, {"pin 1"}),
    "no resistors between wire and pin: the pin": (
        BUS | {"chafe1": THROUGH},
        {"R15": 1.0, "R16": 1.0},
        {"pin 1"},
    ),
    "no clamp, box off: the pin": (BUS | OFF | {"chafe7": THROUGH, "bus": 28}, {"D7a": None}, {"pin 7"}),
}


@pytest.mark.parametrize("values, parts, expected", BEYOND.values(), ids=BEYOND)
def test_what_is_beyond_the_box_and_what_each_part_is_for(
    values: dict[str, float], parts: dict[str, float | None], expected: set[str], tmp_path: Path
) -> None:
    assert expected <= set(breaches(spice(tmp_path, "protection_box.cir", values, parts)))


def test_28_volts_spare_the_chips(tmp_path: Path) -> None:
    found = breaches(spice(tmp_path, "protection_box.cir", WIRES | {"bus": 30, "dump": 30}, {}))
    assert found and not [name for name in found if name.startswith(("pin", "3.3", "U"))]


# a tank: left fuel's sender shorted, the worst that it can be to the box's current

FROM_THE_BOX = "vecmax(2*v(rail)-v(m1)-v(n1))/150*1000"
THROUGH_THE_SENDER = "v(w1)/@rs1[resistance]*1000"
SHORTED = {"sender1": 0.1, "bus": 16.0, "dump": 16.0}

TANKS: dict[str, tuple[dict[str, float], dict[str, float | None], float]] = {
    "as built": ({}, {}, TANK),
    "as built, rail at its highest": ({"u6": 3.366}, {}, TANK),
    "as built, in a load dump": ({"dump": 35}, {}, TANK),
    "R11 shorted": ({}, {"R11": 0.01}, TANK_AFTER_A_FAILURE),
    "U6 passing its input": ({"u6_short": 0.01}, {}, TANK_AFTER_A_FAILURE),
    "U5 passing the bus": ({"u5_short": 0.01}, {}, TANK_AFTER_A_FAILURE),
    "Q1 open": ({"q1": OPEN}, {}, TANK_AFTER_A_FAILURE),
    "the clamp's upper diode shorted, every other wire on the bus": (
        {name: ohm for name, ohm in WIRES.items() if name != "chafe1"} | {"d1a": 0.01},
        {},
        TANK_AFTER_A_FAILURE,
    ),
    "coolant temperature's wire on the bus": ({"chafe3": THROUGH}, {}, TANK_AFTER_A_FAILURE),
    "the other tank's wire on the bus": ({"chafe2": THROUGH}, {}, TANK_AFTER_A_FAILURE),
    "every other wire on the bus, load dump": (
        {name: ohm for name, ohm in WIRES.items() if name != "chafe1"} | {"dump": 35},
        {},
        TANK_AFTER_A_FAILURE,
    ),
    "coolant temperature's wire on the bus and Q1 open, other tank unplugged": (
        {"chafe3": THROUGH, "q1": OPEN, "sender2": OPEN},
        {},
        TANK_AFTER_A_FAILURE,
    ),
}


@pytest.mark.parametrize("values, parts, most", TANKS.values(), ids=TANKS)
def test_current_into_a_tank(
    values: dict[str, float], parts: dict[str, float | None], most: float, tmp_path: Path
) -> None:
    said = spice(tmp_path, "protection_box.cir", SHORTED | values, parts)
    through = said[THROUGH_THE_SENDER]
    if "R11" not in parts:  # what the dump adds; with R11 shorted the netlist's sum is not the current
        through = max(through, said[FROM_THE_BOX])
    assert 15 < through <= most


def test_nothing_in_the_box_limits_the_bus_on_the_senders_own_wire(tmp_path: Path) -> None:
    """What the notes say in plain words: 14 V over 46 ohm."""
    said = spice(tmp_path, "protection_box.cir", {"chafe1": THROUGH}, {})
    assert said[THROUGH_THE_SENDER] == pytest.approx(14 / 46 * 1000, rel=0.01)


# what protection costs


def test_the_resistors_before_the_pins_fall_out_of_the_ratio(tmp_path: Path) -> None:
    """A pin and its rail's lose alike to the converter's 6 Mohm: 0.16 % each, 0.002 % together."""
    said = spice(tmp_path, "protection_box.cir", {"sender1": 90, "sender2": 90}, {})
    assert said["v(p1)"] / said["v(rail)"] == pytest.approx(90 / 240 * (1 - 9400 / 6e6), rel=5e-5)
    assert said["v(p1)"] / said["v(p4)"] == pytest.approx(90 / 240, rel=5e-5)
    assert said["v(p2)"] / said["v(p4)"] == pytest.approx(90 / 240, rel=5e-5)


def left_fuel(said: dict[str, float]) -> float:
    """US gal near full: 71 ohm is 15, 90 ohm is 18 in the demo."""
    ratio = said["v(p1)"] / said["v(p4)"]
    return 18 + (150 * ratio / (1 - ratio) - 90) * 3 / 19


def hydraulic(said: dict[str, float]) -> float:
    """psi: 1500 over 16 mA in 150 ohm."""
    return (said["v(p6)"] / 150 * 1000 - 4) / 16 * 1500


def coolant_pressure(said: dict[str, float]) -> float:
    """psi: 30 over 4 V, over 10 and 15 kohm."""
    return (said["v(p7)"] * 25 / 15 - 0.5) / 4 * 30


READINGS = {"left fuel": left_fuel, "hydraulic": hydraulic, "coolant pressure": coolant_pressure}
# at full scale; the limit is a tenth of a displayed step
LEAKS = {
    "left fuel, 25 degC": ("left fuel", 5e-9, 0.05),
    "left fuel, 150 degC": ("left fuel", 80e-9, 0.05),
    "hydraulic, 25 degC": ("hydraulic", 5e-9, 2),
    "hydraulic, 150 degC": ("hydraulic", 80e-9, 2),
    "coolant pressure, 25 degC": ("coolant pressure", 5e-9, 0.05),
    "coolant pressure, 150 degC": ("coolant pressure", 80e-9, 0.05),
}


@pytest.mark.parametrize("name, leak, most", LEAKS.values(), ids=LEAKS)
def test_what_a_clamps_leak_costs(name: str, leak: float, most: float, tmp_path: Path) -> None:
    """Data sheets of low-leakage double diodes: 5 nA at 25 degC, 80 nA at 150 degC, both at 75 V and at most."""
    full = {"sender1": 90.0, "loop6": 20.0, "sender7": 4.5}
    alone: dict[str, float | None] = {"Ileak4": 0.0}  # the rail's own clamp leaking too would hide half of it
    still, leaking = (
        spice(tmp_path, "protection_box.cir", full | {"leak": amps}, alone) for amps in (0.0, leak)
    )
    assert 0 < READINGS[name](still) - READINGS[name](leaking) <= most


def test_a_schottky_clamp_would_cost_most_of_a_gallon(tmp_path: Path) -> None:
    """Why the diodes are what they are: 10 uA, a Schottky diode of that size on a hot day (from memory)."""
    still, leaking = (
        spice(tmp_path, "protection_box.cir", {"sender1": 90}, {"Ileak1": amps}) for amps in (0.0, 10e-6)
    )
    assert left_fuel(still) - left_fuel(leaking) == pytest.approx(0.9, abs=0.05)


# sparks


@pytest.mark.parametrize("kilovolts", [2, 8])
def test_a_spark_into_the_connector(kilovolts: int, tmp_path: Path) -> None:
    """The capacitors' 100 V, half an ampere for a microsecond in the clamps (data sheets), 10 mA in a pin (SBAS444)."""
    said = spice(tmp_path, "protection_esd.cir", {"gun": kilovolts * 1e3}, {})
    for n, l in (("7", "l7"), ("1", "l1")):
        assert kilovolts * 6 < said[f"vecmax(v(w{n})-v({l}))"] < 100
        assert said[f"vecmax(v(p{n}))"] < 3.3 + PIN_ABOVE
        assert said[f"vecmax((v(k{n})-v(p{n}))/4.7k)"] < 10e-3
    assert said["vecmax((v(w7)-v(k7))/10k)"] < 0.5 and said["vecmax((v(w1)-v(k1))/4.7k)"] < 0.5
