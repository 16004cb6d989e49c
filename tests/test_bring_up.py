"""The bring-up page: what each step says to measure is what parts.csv and ngspice give, with every tolerance of the parts inside its own."""

import csv
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from gaugelight.boxfile import read_box
from gaugelight.build import build
from gaugelight.said import convert, count_of
from test_netlists import DEMO, quantity
from test_output_circuits import Values, run, table
from test_protection import NOTES, OPEN, RATINGS, THROUGH, spice

PAGE = (NOTES / "bring_up.md").read_text()
Range = tuple[float, float, float]  # nominal, lowest, highest

with open(NOTES / "parts.csv", newline="") as file:
    PARTS = {name: row for row in csv.DictReader(file) for name in row["designators"].split()}

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not on PATH; on Debian: apt install ngspice"
)


def ohms(way: Callable[..., float], *names: str) -> Range:
    """Of some resistors joined in some way, that rises with each."""
    values = [quantity(PARTS[name]["value"]) for name in names]
    off = [float(PARTS[name]["tolerance"].split()[0]) / 100 for name in names]
    low, high = ([v * (1 + sign * o) for v, o in zip(values, off)] for sign in (-1, 1))
    return way(*values), way(*low), way(*high)


def four(a: float, b: float, c: float, d: float) -> float:
    """Two in series beside two in series."""
    return (a + b) * (c + d) / (a + b + c + d)


def beside(*values: float) -> float:
    return 1 / sum(1 / value for value in values)


def in_series(*values: float) -> float:
    return sum(values)


BY_OHMS: dict[str, Range] = {
    "1.3": ohms(four, "R11", "R12", "R13", "R14"),
    "1.4": ohms(four, "R31", "R32", "R33", "R34"),
    "1.5": ohms(four, "R51", "R52", "R53", "R54"),
    "1.6": ohms(in_series, "R71", "R72"),
    "1.7": ohms(in_series, "R81", "R82"),
    "1.8": ohms(beside, "R92", "R191", "R291"),
    "1.9": ohms(in_series, "R102"),
    "1.10": ohms(in_series, "R171", "R172"),
    "1.11": ohms(in_series, "R173"),
    "1.12": ohms(in_series, "R174"),
    "1.13": ohms(in_series, "R163"),
    "1.14": ohms(in_series, "R241", "R242"),
}

AT_12 = {"bus": 12.0, "dump": 12.0}
REGULATORS = {"u6": (3.3, 3.234, 3.366)}
BOARD = 0.03  # of its 3.3 V: the regulator's and what the netlist takes for granted (from memory)
ZENER = 0.05  # parts.csv
JUNCTION = 0.1  # V, by which a rectifier's drop differs from sample to sample (from memory)


def board(values: Values, parts: dict[str, float | None] | None = None) -> Values:
    if not parts:
        return run("protection_box.cir", AT_12 | values)
    with TemporaryDirectory() as place:
        return spice(Path(place), "protection_box.cir", AT_12 | values, parts)


def corners(key: str, *cases: Values, scale: float = 1.0) -> Range:
    """The first case, and the lowest and highest of all."""
    found = [board(case)[key] * scale for case in cases]
    return found[0], min(found), max(found)


def about(value: float, share: float = 0.0, volts: float = 0.0) -> Range:
    off = abs(value) * share + volts
    return value, value - off, value + off


BARE: dict[str, float | None] = {"R91": OPEN, "RU5": 2000.0}  # R91 is not in yet; what U5 takes by itself
U6 = [{"u6": volts} for volts in REGULATORS["u6"]]
WITHOUT_SENDERS = {"sender1": OPEN, "sender2": OPEN, "sender3": OPEN, "loop5": 0.0, "loop6": 0.0}
SHORTED = {"sender1": THROUGH, "sender2": THROUGH, "sender3": THROUGH}


def bare(key: str) -> float:
    return board(WITHOUT_SENDERS | {"board": 0.0}, BARE)[key]


def with_senders(key: str, *cases: Values, scale: float = 1.0) -> Range:
    return corners(key, *(WITHOUT_SENDERS | u6 | case for u6 in U6 for case in cases or ({},)), scale=scale)


def across_r91() -> Range:
    """In mV, with three senders shorted: from its heat."""
    found = [1e3 * (board(WITHOUT_SENDERS | SHORTED | u6)["@r91[p]"] * 4.7) ** 0.5 for u6 in U6]
    return found[0], found[0] * 0.93, found[0] * 1.07


def lamp(key: str, values: Values, scale: float = 1.0) -> Range:
    return about(run("lamp_protection.cir", {"bus": 12.0, "peak": 12.0} | values)[key] * scale, 0.1)


def map_light(key: str, values: Values) -> Range:
    """The same circuit with the demo's 2.4 W at 12 V in the place of the strip: 3.1 V over 0.2 A."""
    with TemporaryDirectory() as place:
        said = spice(
            Path(place), "lamp_protection.cir", {"bus": 12.0, "peak": 12.0} | values, {"Rlamp": 15.5}
        )
    return about(said[key] * 9.69 / 15.5 * 1e3, 0.1)


def dim(key: str, values: Values, scale: float = 1.0, share: float = 0.0, volts: float = 0.0) -> Range:
    return about(run("dim_request.cir", AT_12 | values)[key] * scale, share, volts)


def low_fuel(key: str, values: Values, scale: float = 1.0, share: float = ZENER) -> Range:
    return about(run("low_fuel.cir", AT_12 | values)[key] * scale, share)


CHAFED = WITHOUT_SENDERS | {"chafe1": THROUGH}


def into_a_chafed_wire() -> Range:
    """In mA: two ways over R12 and R14, and over R15."""
    said = board(CHAFED)
    return about(2e3 * (said["@r12[p]"] / 150) ** 0.5 + 1e3 * (said["@r15[p]"] / 4700) ** 0.5, 0.05)


def bus_output(listeners: int) -> Range:
    """As lighting.md has it, which its own test holds: into 1.5 kohm, or nearly nothing."""
    return about(float(table("bus")["12 V"][listeners].split()[0]), volts=2 * JUNCTION)


def knob(place: str) -> Range:
    """V at the wiper, of every track."""
    found = [3.3 * run("knob.cir", {"track": track})[place] for track in (10e3, 8e3, 12e3)]
    return found[0], min(found) * (1 - BOARD), max(found) * (1 + BOARD)


def light(photo: float) -> Range:
    found = [run("ambient.cir", {"photo": photo, "rail": rail})["v(p16)"] for rail in (3.3, 3.23, 3.37)]
    return found[0], min(found), max(found)


STEPS: dict[str, Callable[[], Range]] = {
    "2.2": lambda: about(bare("v(in)"), volts=JUNCTION),
    "2.3": lambda: about(bare("v(five)"), 0.02),
    "2.4": lambda: about(bare("v(vsys)"), 0.02, 0.05),
    "2.5": lambda: about(board({}, BARE)["v(p8)"], 0.002),
    "3.1": lambda: about(board(WITHOUT_SENDERS)["v(vdd)"], BOARD),
    "3.2": lambda: about(
        1e3 * (board(WITHOUT_SENDERS)["v(vdd)"] - board(WITHOUT_SENDERS)["v(clamp)"]), volts=5
    ),
    "4.1": lambda: with_senders("v(rail)"),
    "4.2": lambda: with_senders("v(w1)/@rs1[resistance]*1000", {"sender1": 0.1}),
    "4.3": lambda: with_senders("v(w3)", {"sender3": 0.1}, scale=1e4),
    "4.4": across_r91,
    "5.1": into_a_chafed_wire,
    "5.2": lambda: with_senders("v(rail)", CHAFED),
    "5.3": lambda: about(board(CHAFED)["v(vdd)"], BOARD),
    "5.4": lambda: about(board(CHAFED)["v(clamp)"], BOARD, 0.1),
    "6.4": lambda: with_senders("v(p1)", {"sender1": 46.0}),
    "6.5": lambda: about(board({})["v(p5)"], 0.005),
    "6.6": lambda: about(board({})["v(p7)"], 0.005),
    "7.2": lambda: lamp("v(bus,f)/@rf101[resistance]", {}, 1e3),
    "7.3": lambda: lamp("v(d)", {}, 1e3),
    "7.5": lambda: lamp("v(a1,b3)/9.69", {"bypass": 1.0}, 1e3),
    "7.6": lambda: map_light("v(a1,b3)/9.69", {"bypass": 1.0}),
    "8.1": lambda: dim("v(line)", {}, volts=2 * JUNCTION),
    "8.2": lambda: dim("(v(in)-v(e2))/22", {"line": THROUGH}, 1e3, 0.15),
    "8.4": lambda: bus_output(1),
    "8.5": lambda: bus_output(0),
    "8.6": lambda: about(12.0 * 10 / 57, 0.005),
    "8.7": lambda: knob("share_0"),
    "8.8": lambda: knob("share_1"),
    "8.9": lambda: light(0.0),
    "8.10": lambda: light(10e-3),
    "8.11": lambda: about(run("panel_switch.cir", {"pull": 50e3})["v(p18)"], BOARD),
    "10.2": lambda: low_fuel("v(w30)", {}),
    "10.3": lambda: low_fuel("v(t30,s30)/@r309[resistance]*1000", {"stud": 0.1}),
    "10.4": lambda: about(
        run("low_fuel.cir", AT_12 | {"float": OPEN})["@r316[p]"] ** 0.5 * 1200**0.5, volts=0.5
    ),
}
UNITS = {"ohm": 1.0, "kohm": 1e3, "V": 1.0, "mV": 1.0, "mA": 1.0}


def rows() -> dict[str, list[str]]:
    """The steps of the page by their number."""
    found = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in PAGE.splitlines()
        if line.startswith("| ")
    ]
    steps = {row[0]: row[1:] for row in found if re.fullmatch(r"\d+\.\d+", row[0])}
    assert all(len(row) == 4 for row in steps.values())
    return steps


MEASURED = {step: row[2] for step, row in rows().items() if "+-" in row[2]}


def test_every_measured_step_is_held() -> None:
    assert set(MEASURED) == set(STEPS) | set(BY_OHMS)


@needs_ngspice
@pytest.mark.parametrize("step", MEASURED)
def test_a_step_of_the_page(step: str) -> None:
    """What it should be, to the digits written; the parts' own spread lies within what is allowed, which is no more than that and a meter's 2 %."""
    nominal, lowest, highest = BY_OHMS[step] if step in BY_OHMS else STEPS[step]()
    found = re.match(r"(-?[\d.]+) \+-([\d.]+) (\w+)", MEASURED[step])
    assert found, MEASURED[step]
    scale = UNITS[found[3]]
    written, allowed = float(found[1]) * scale, float(found[2]) * scale
    last = 10.0 ** -len(found[1].partition(".")[2]) * scale
    assert abs(nominal - written) <= 0.51 * last, nominal
    assert written - allowed <= lowest + 0.1 * last and highest - 0.1 * last <= written + allowed, (
        lowest,
        highest,
    )
    spread = max(highest - nominal, nominal - lowest)
    assert allowed <= 1.5 * spread + 0.02 * abs(nominal) + 2 * last, (spread, nominal)


def test_what_the_box_says_with_nothing_connected() -> None:
    """Step 6.2, and 6.4's reading, by the box's own code."""
    built = build(read_box(DEMO))
    open_wires = {one.name: 1e6 if one.circuit.unit == "ohm" else 0.0 for one in built.box.inputs}
    open_wires |= {"sender rail": 3.3, "bus": 12.0}
    said = {}
    for one in built.box.inputs:
        word = f"{open_wires[one.name]:.1f} {one.circuit.unit}"
        answer = convert(built, one.name, [count_of(built.box, one, word)])[0]
        said[one.name] = answer.fault or float(answer.reading or 0)
    volts = {name: said.pop(name) for name in ("sender rail", "bus", "lighting bus")}
    assert volts == {
        "sender rail": pytest.approx(3.3, abs=0.01),
        "bus": pytest.approx(12.0, abs=0.05),
        "lighting bus": pytest.approx(0.0, abs=0.05),
    }
    assert set(said.values()) == {"open"}
    row = rows()["6.2"]
    assert "sender rail 3.3 V; bus 12.0 V; lighting bus 0 V; all other inputs `open`" in row[2]
    fuel = built.box.inputs[1]
    half = convert(built, "left fuel", [count_of(built.box, fuel, "46 ohm")])[0]
    assert [f"{float(half.signal or 0):.0f} ohm", f"{float(half.reading or 0):.1f} US gal"] == [
        "46 ohm",
        "9.5 US gal",
    ]
    assert "46 ohm, 9.5 US gal" in rows()["6.4"][3]


def not_so(step: str) -> str:
    return rows()[step][3]


@needs_ngspice
def test_what_a_passing_u5_looks_like() -> None:
    """2.3: behind a supply of 100 mA D93 holds what it starts at, not what it lets through from a battery."""
    said = board({"board": 0.0, "u5_short": 0.01, "source": (12 - 7.3) / 0.1}, BARE)
    assert f"{said['v(five)']:.1f} V and more, the supply at its limit: U5 passes" in not_so("2.3")


@needs_ngspice
@pytest.mark.parametrize("in_socket, word", [(0.0, "{:.1f}: R82"), (1.0, "with A1 in its socket {:.1f}")])
def test_what_an_open_r82_looks_like(in_socket: float, word: str) -> None:
    """2.5: what is before the pin, for A1's own diodes are not there."""
    said = board(
        {"board": in_socket, "r191": 680.0, "r291": 680.0}, BARE | {"R82": 1e9, "R86": 1e12, "RU5": 2000.0}
    )
    assert word.format((said["@r82[p]"] * 1e9) ** 0.5) in not_so("2.5")


def test_what_a_missing_load_looks_like() -> None:
    """1.8: with one or both of the 680 ohm left out, or R92."""
    r92, r191, r291 = (quantity(PARTS[name]["value"]) for name in ("R92", "R191", "R291"))
    words = f"{beside(r92, r191):.0f}: R191 or R291 missing, {r92:.0f}: both"
    assert r191 == r291 and words in not_so("1.8") and f"{beside(r191, r291):.0f}: R92" in not_so("1.8")


EXCHANGED: dict[str, tuple[str, str, str]] = (
    {  # top and bottom of a divider: the step of their sum, of their ratio
        "R71": ("R72", "1.6", "6.6"),
        "R81": ("R82", "1.7", "2.5"),
        "R151": ("R152", "1.7", "8.6"),
    }
)


@pytest.mark.parametrize("top", EXCHANGED)
def test_exchanged_resistors_of_a_divider(top: str) -> None:
    """Their sum is what it should be: that step sends on to the one which tells, and names them there."""
    bottom, by_sum, by_ratio = EXCHANGED[top]
    assert by_ratio in not_so(by_sum) and "exchanged" in not_so(by_sum)
    assert top in not_so(by_ratio) and bottom in not_so(by_ratio)


@needs_ngspice
def test_what_exchanged_resistors_look_like() -> None:
    said = board({}, {"R71": 15e3, "R72": 10e3})
    assert f"{said['v(p7)']:.1f}: R71 and R72 exchanged" in not_so("6.6")
    out = {"board": 0.0, "r191": 680.0, "r291": 680.0}
    said = board(out, BARE | {"R81": 10e3, "R82": 47e3, "R86": 1e12})
    assert f"{(said['@r82[p]'] * 47e3) ** 0.5:.1f}: R81 and R82 exchanged" in not_so("2.5")


def test_a_dead_box_is_tried_with_its_ground_on() -> None:
    """5.5: with all of J2 off no current has a way home, and every box would pass."""
    assert "J2-2 stays" in rows()["5.5"][0]


def test_a_board_is_put_into_a_socket_that_was_measured() -> None:
    """Before the step that puts U1, U2 and U29 in."""
    steps = list(rows())
    (measured,) = (step for step in steps if "empty sockets" in rows()[step][1])
    assert steps.index(measured) < steps.index("6.1") and "U1, U2, U29 in." in PAGE.split("## 6")[1]


def test_a_meter_on_milliamperes_has_ohms_of_its_own() -> None:
    low = float(re.search(r"10 ohm make ([\d.]+) mA of 22", PAGE)[1])  # type: ignore[index]
    nominal, allowed = (float(word) for word in re.findall(r"[\d.]+", MEASURED["4.2"])[:2])
    assert low == round(3.3e3 / 160, 1) < nominal - allowed


LEGS = PAGE.split("**Which leg is which.**")[1].split("## 1 ")[0]


def test_each_part_with_a_direction_has_its_legs_told() -> None:
    """By the words of parts.csv; chips on boards of their own and the display have their pins' names beside them."""
    told = [line.split("|")[1].lower() for line in LEGS.splitlines() if line.startswith("| ")]
    words = {word for cell in told for word in re.findall(r"[a-z]+", cell)}
    own = {"U1", "U2", "U29"}
    for name, row in PARTS.items():
        if name[0] in "DQUH" and name not in own or "electrolytic" in row["what"]:
            if row["what"] != "double diode, silicon, in antiparallel":  # alike either way
                kind = re.split(r"[,-]", row["what"].lower().replace("lamp, led", "led"))[0].split()
                kind = ["electrolytic"] if kind == ["capacitor"] else ["regulator"] if name == "U5" else kind
                assert set(kind) - {"low", "for", "daylight"} <= words, (name, kind)


def test_legs_of_knob_and_bypass() -> None:
    """What a drawing has in words and a part has not; in the drawing's order, clockwise being up."""
    rows_of = {line.split("|")[1].strip(): line for line in LEGS.splitlines() if line.startswith("| ")}
    assert "upper end, wiper, lower end" in rows_of["P171"] and "right, middle, left" in rows_of["P171"]
    assert "ring it out" in rows_of["S101, S111"] and PARTS["S101"]["what"].startswith("switch, double throw")


def test_the_legs_are_the_netlists() -> None:
    box = (NOTES / "netlists" / "protection_box.cir").read_text()
    for n in range(1, 9):
        assert re.search(rf"(?m)^D{n}a +k{n} +clamp ", box) and re.search(rf"(?m)^D{n}b +0 +k{n} ", box)
    assert "1 the anode to ground, 2 the cathode to CLAMP" in LEGS
    lamp_wires = (NOTES / "netlists" / "lamp_protection.cir").read_text()
    assert re.search(r"(?m)^MQ101 +d +g +s ", lamp_wires) and re.search(r"(?m)^Rs +s +0 ", lamp_wires)
    assert "drain at the lamp's minus and D101, source to ground" in LEGS


def test_what_the_models_take_for_granted_is_bought() -> None:
    """U14's input stands at 0 V while nothing is asked of the bus output; R91 keeps U6 from every capacitor before it."""
    assert "inputs from ground on" in PARTS["U14"]["what"]
    box = (NOTES / "netlists" / "protection_box.cir").read_text()
    at_u6 = {name for name, a, b in re.findall(r"(?m)^(C\d+) +(\S+) +(\S+) ", box) if "u6in" in (a, b)}
    assert at_u6 == {"C94"} <= set(PARTS)


# .param of knob.cir; the step, at which end of the travel, and what it says of it
KNOB_WIRES: dict[str, tuple[dict[str, float], str, str, str]] = {
    "wiper broken, down": ({"wiper_wire": OPEN}, "8.7", "share_0", "{:.0f}: the wiper's wire"),
    "upper end broken, down": ({"upper": OPEN}, "8.7", "share_0", "{:.0f}: the wiper's wire or the upper end's"),
    "lower end broken, down": ({"lower": OPEN}, "8.7", "share_0", "{:.1f}: the lower end's wire"),
    "lower end broken, up": ({"lower": OPEN}, "8.8", "share_1", "{:.1f}: the lower end's wire"),
    "wiper broken, up": ({"wiper_wire": OPEN}, "8.8", "share_1", "{:.0f}: as in 8.7"),
    "exchanged, down": ({}, "8.7", "share_1", "{:.1f}: its ends"),
    "exchanged, up": ({}, "8.8", "share_0", "{:.1f}: its ends"),
}  # fmt: skip


@needs_ngspice
@pytest.mark.parametrize("name", KNOB_WIRES)
def test_what_a_knobs_wire_looks_like(name: str) -> None:
    values, step, place, word = KNOB_WIRES[name]
    assert word.format(abs(3.3 * run("knob.cir", values)[place])) in not_so(step)


def test_every_output_has_its_resistor_to_ground() -> None:
    """1.9: of the demo's lamps, dim request and bus output; a box that starts lights none."""
    lights = read_box(DEMO).lights
    assert lights.bus_output is not None and lights.dim_request is not None
    pins = {one.pin for one in lights.lamps} | {lights.bus_output.pin, lights.dim_request.pin}
    assert pins == {int(pin) for pin in re.findall(r"GP(\d+)", rows()["1.9"][1])}
    for name in re.findall(r"R\d+", not_so("1.9")):
        assert PARTS[name]["value"] == "100 kohm"
    assert len(re.findall(r"R\d+", not_so("1.9"))) == len(pins)


def test_the_knob_of_the_first_page_is_the_parts() -> None:
    """A wiper that breaks has to fall through its settings in less than a tick of 20 ms."""
    knob = next(line for line in (NOTES / "README.md").read_text().splitlines() if "* **Knob**" in line)
    values = {name: PARTS[name]["value"] for name in ("P171", "R173", "R174", "C171", "C172")}
    assert all(value in knob for value in values.values()), values
    farads = [float(word) * 1e-9 for word in re.findall(r"([\d.]+) nF", knob)]
    assert quantity(values["R174"]) * sum(farads) < 0.02


def test_pins_and_times_of_the_page_are_the_box_files() -> None:
    """1.1's grounds, 6.3's test button, the sensor's delay before 7.1; the supply reaches what is asked of it."""
    box = read_box(DEMO)
    assert box.harness is not None
    pins = {f"{one.name}-{pin.number}": pin.written for one in box.harness.connectors for pin in one.pins}
    joined = rows()["1.1"][1].partition(" to J2-2")[0]
    lists = re.findall(r"(J\d)-(\d+(?:, \d+)*)", joined)
    named = {f"{connector}-{number}" for connector, numbers in lists for number in numbers.split(", ")}
    assert named == {name for name, use in pins.items() if use in ("guard", "lamp ground")}
    assert [pins[name] for name in re.findall(r"J5-\d+", rows()["6.3"][1])] == ["test", "test return"]
    lamps = re.search(r"strip on (J3-\d+) and (J3-\d+).*?map light likewise on (J3-\d+) and (J3-\d+).*?lamp on (J3-\d+) and (J3-\d+)", PAGE)  # fmt: skip
    assert lamps and [pins[name] for name in lamps.groups()] == [
        f"{lamp} {end}"
        for lamp in ("glare shield", "map light", "switch legends")
        for end in ("plus", "minus")
    ]
    assert box.lights.daylight is not None
    assert f"after {float(box.lights.daylight.delay):g} s it is night" in PAGE
    supply = re.search(r"a supply of 0 to (\d+) V", PAGE)
    assert supply and float(supply[1]) >= max(float(v) for v in re.findall(r"(?<![-\d.])(1\d\.\d) V", PAGE))


def test_an_input_resistor_left_out() -> None:
    """6.2: the converter's own 6 Mohm then hold its pin at ground."""
    built = build(read_box(DEMO))
    said = {name: convert(built, name, [0])[0] for name in ("left fuel", "coolant temperature")}
    fuel, coolant = said.values()
    assert (
        fuel.fault is None
        and f"fuel {float(fuel.reading or 0):.1f} or coolant temperature `{coolant.fault}`" in not_so("6.2")
    )


@needs_ngspice
def test_the_board_out_and_r91_in() -> None:
    """The page's caution: with the 3.3 V dead Q1 takes what U6 gives, by a board that takes 30 ohm or nothing; no part beyond its rating."""
    heat = []
    for chips in (OPEN, 30.0):
        said = board({"board": 0.0, "chips": chips, "r191": 680.0, "r291": 680.0, "bus": 16.0, "dump": 16.0})
        heat.append(said["@r91[p]"])
        assert said["@r91[p]"] < RATINGS["R91"] / 2 and said["@q1[p]"] < RATINGS["Q1"]
        assert said["v(w1)/@rs1[resistance]*1000"] < 22
    strong = board_with_gain(200)
    assert strong == pytest.approx(1.6, abs=0.1) and max(heat) < strong
    assert RATINGS["R91"] > strong > 0.5, "half a watt would burn"


@needs_ngspice
@pytest.mark.parametrize("node, shorted", [("u6in", "with C94 shorted"), ("rail", "with C92, D96 or Q1")])
def test_a_short_behind_r91(node: str, shorted: str) -> None:
    """No fuse blows at a third of an ampere, so R91 bears it for ever, with a third of its rating to spare."""
    text = (NOTES / "netlists" / "protection_box.cir").read_text()
    with TemporaryDirectory() as place:
        (Path(place) / "box.cir").write_text(text.replace("\n.control", f"\nRshort {node} 0 10m\n.control"))
        command = ["ngspice", "-b", str(Path(place) / "box.cir")]
        printed = subprocess.run(command, capture_output=True, text=True, timeout=60).stdout
    found = re.search(r"(?m)^@r91\[p\] = (\S+)$", printed)
    assert found and float(found[1]) < 0.75 * RATINGS["R91"]
    page = (NOTES / "reference_box.md").read_text()
    assert re.search(rf"{shorted} {float(found[1]):.1f} W", page)


def board_with_gain(gain: int) -> float:
    """W in R91 with the board's 3.3 V dead and a Q1 of this gain."""
    values = {"board": 0, "chips": 30, "r191": 680, "r291": 680, "bus": 12, "dump": 12}
    text = (NOTES / "netlists" / "protection_box.cir").read_text().replace("bf=63", f"bf={gain}")
    for name, value in values.items():
        text = re.sub(rf"(?m)^(\.param {name}\s*=)\s*\S+", rf"\g<1> {value}", text)
    with TemporaryDirectory() as place:
        (Path(place) / "box.cir").write_text(text)
        command = ["ngspice", "-b", str(Path(place) / "box.cir")]
        printed = subprocess.run(command, capture_output=True, text=True, timeout=20).stdout
    found = re.search(r"(?m)^@r91\[p\] = (\S+)$", printed)
    assert found
    return float(found[1])


def test_the_parts_it_names_are_in_the_table() -> None:
    """Each designator of the page; and each step that says a value says what to look at where it is not so."""
    named = set(re.findall(r"\b([A-Z]\d{1,3})(?![\d-])\b", PAGE)) - {"V1"}
    assert named - {name for name in named if name.startswith("GP")} <= set(PARTS), named - set(PARTS)
    for step in MEASURED:
        assert re.search(r"[A-Z]\d+", rows()[step][3]), step


if __name__ == "__main__":
    for step, value in (BY_OHMS | {step: value() for step, value in STEPS.items()}).items():
        print(step, *(f"{v:.5g}" for v in value))
