"""Box file, netlists, parts table, schematics, pages and wiring sheet of the reference box say the same, in both directions.

`disagreements` reads all of them as text and says in words where two differ. The demo has none; the rows of SPOILT each change one
word in one place, and it must be told.
"""

import csv
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from io import StringIO
from math import isclose
from pathlib import Path
from typing import Any

import pytest

from gaugelight.boxfile import read_box
from gaugelight.harness.cables import wiring_of
from gaugelight.harness.check_harness import problems_of_harness
from gaugelight.harness.sheet import rows_of
from gaugelight.problems import WrongBoxFile
from test_netlists import DEMO, NOT_DRAWN as NOT_DRAWN_ON, quantity, spice_number
from test_protection import NOTES

PICTURES = ("reference_box", "reference_box_light", "reference_box_face", "reference_box_low_fuel")
PAGES = ("reference_box", "lighting", "face", "dead_box")
CHANNELS = {  # of the inputs: each number leads its designators
    "left fuel": 1, "right fuel": 2, "coolant temperature": 3, "sender rail": 4, "reserve line": 5, "hydraulic": 6,
    "coolant pressure": 7, "bus": 8, "lighting bus": 15, "ambient light": 16,
}  # fmt: skip
CHIPS = {"aft": "U1", "fore": "U2"}
LAMPS = {"glare shield": 10, "map light": 11, "switch legends": 12}  # with a fuse of their own
WAYS = {"D-sub 25": "25 ways", "D-sub 15": "15 ways", "block 2": "2 ways"}

# parts that no netlist has under their own name, and why
AGAIN = {  # channels that are another one again
    **{n: 10 for n in (11, 12)},
    **{n: 20 for n in (21, 22)},
    **{n: 18 for n in range(24, 29)},
    **{n: n - 2 for n in (32, 33)},
}
ALIKE = {
    "R113": "R103",
    "R114": "R104",
    "R293": "R292",
    "R97": "R96",
    "F111": "F101",
    "F121": "F101",
    "F112": "F102",
    "U33": "U31",
}
STANDS_FOR = {
    "R101": "lamp_driver.cir",
    "R151": "bus_input.cir",
    "R181": "panel_switch.cir",
    "P171": "knob.cir",
    "M231": "needle.cir",
}
AS_A_SOURCE = {
    "Q161": "ambient.cir",
    "S101": "lamp_protection.cir",
    "S181": "panel_switch.cir",
    "H201": "alert_lamp.cir",
}
NOT_SIMULATED = {
    "F2": "the transmitters' supply does not touch the box",
    "C95": "at a chip's supply pin",
    "C96": "at a chip's supply pin",
    "C291": "at a chip's supply pin",
    "C292": "at a chip's supply pin",
    "S111": "as S101",
    **{name: "a connector" for name in ("J1", "J2", "J3", "J4", "J5", "J6", "J7", "JP22")},
    **{f"X{n}": "a plug, a case, a holder, a restrictor, what it is built on" for n in range(1, 17)},
    **{name: "wire" for name in ("W1", "W2")},
}
NOT_DRAWN = set[str]().union(*NOT_DRAWN_ON.values())


@dataclass(frozen=True)
class Sources:
    """As they stand in their files. netlists, pages, pictures: by name."""

    box: str
    parts: str
    netlists: dict[str, str]
    pages: dict[str, str]
    pictures: dict[str, str]

    @property
    def table(self) -> dict[str, dict[str, str]]:
        return {
            name: row for row in csv.DictReader(StringIO(self.parts)) for name in row["designators"].split()
        }

    @property
    def file(self) -> dict[str, Any]:
        return tomllib.loads(self.box)


@pytest.fixture(scope="module")
def sources() -> Sources:
    return Sources(
        DEMO.read_text(),
        (NOTES / "parts.csv").read_text(),
        {path.name: path.read_text() for path in (NOTES / "netlists").glob("*.cir")},
        {name: (NOTES / f"{name}.md").read_text() for name in PAGES},
        {name: (NOTES / "pictures" / f"{name}.svg").read_text() for name in PICTURES},
    )


# --- each of them read ---

ELEMENT = re.compile(
    r"(?m)^(?:M(?=Q)|[BCDGR](?=U)|R(?=[AF])|D(?=[AH]))?([ACDFHQRSU]\d{1,3})[a-z]?\d{0,2}[ \t]"
)
PLAIN = re.compile(r"(?m)^([RC]\d{2,3})[ \t]+\S+[ \t]+\S+[ \t]+([\d.]+[a-zA-Z]*)(?=\s|$)")


def simulated(text: str) -> set[str]:
    """Designators of a netlist: RF101 is F101's resistance, DU1a1 a diode of U1, MQ101 and DH311 what they are called in ngspice."""
    return {match[1] for match in ELEMENT.finditer(text)}


def drawn(text: str) -> list[str]:
    return [words for line in re.findall(r"<text[^>]*>([^<]*)</text>", text) for words in line.split("\n")]


def connectors(file: dict[str, Any]) -> dict[str, dict[int, str]]:
    """What the box file has each pin for; what is spare for what it can be added for."""
    return {
        name: {int(pin): use.removeprefix("spare: ") for pin, use in one["pins"].items()}
        for name, one in file["connector"].items()
    }


def pins_of_pages(pages: dict[str, str]) -> dict[str, dict[int, str]]:
    """The tables of pins: J1 and J5 in two halves side by side, J3 and J4 in one table."""
    found: dict[str, dict[int, str]] = {}
    for name, page in (("J1", "reference_box"), ("J5", "face")):
        rows = re.findall(r"(?m)^\| (\d+) \| ([^|]+) \| (\d*) \| ([^|]*) \|$", pages[page])
        found[name] = {int(pin): use.strip() for row in rows for pin, use in (row[:2], row[2:]) if pin}
    rows = re.findall(r"(?m)^\| (\d+) \| ([^|]+) \| ([^|]+) \|$", pages["lighting"])
    for column, name in ((1, "J3"), (2, "J4")):
        found[name] = {int(row[0]): row[column].strip() for row in rows}
    words = re.search(r"(?s)\*\*J2\*\*.*?: 1 (\w+) over F1, 2 (\w+)", pages["reference_box"])
    found["J2"] = {} if words is None else {1: words[1], 2: words[2]}
    return {name: {pin: use for pin, use in pins.items() if use != "-"} for name, pins in found.items()}


def pins_of_sheet(sources: Sources, place: Path) -> Iterator[str | tuple[str, int, str]]:
    """Of `gaugelight wiring`; what it finds wrong as words."""
    path = place / "box.toml"
    path.write_text(sources.box)
    try:
        box = read_box(path)
    except WrongBoxFile as wrong:
        yield str(wrong)
        return
    yield from (f"wiring: {problem}" for problem in problems_of_harness(box))
    for row in rows_of(wiring_of(box)):
        if row.connector and row.mark != "free":
            yield row.connector, row.pin, row.use.removeprefix("spare: ")


# --- held against each other ---


def disagreements(sources: Sources, place: Path) -> list[str]:
    return [
        *parts_and_netlists(sources),
        *parts_and_pictures(sources),
        *box_and_parts(sources),
        *box_and_pictures(sources),
        *box_and_pages(sources),
        *box_and_sheet(sources, place),
    ]


def parts_and_netlists(sources: Sources) -> Iterator[str]:
    table, everywhere = sources.table, set[str]()
    for name, text in sources.netlists.items():
        found = simulated(text)
        everywhere |= found
        yield from (f"{name}: {part} is not in parts.csv" for part in sorted(found - set(table)))
        for part, words in PLAIN.findall(text):
            if part in table and not isclose(
                spice_number(words), quantity(table[part]["value"]), rel_tol=1e-6
            ):
                yield f"{name}: {part} is {words}, in parts.csv {table[part]['value']}"
    for part in table:
        n = part[1:3] if len(part) == 4 else ""
        other = ALIKE.get(part) or (
            f"{part[0]}{AGAIN[int(n)]}{part[3]}" if n.isdigit() and int(n) in AGAIN else part
        )
        if (
            other != part
            and other in table
            and part[0] in "RCDQFSP"
            and table[part]["value"] != table[other]["value"]
        ):
            if part[0] != "F":
                yield f"{part} is {table[part]['value']}, {other}, which it is again, {table[other]['value']}"
        if other in everywhere or other in STANDS_FOR or other in AS_A_SOURCE or part in NOT_SIMULATED:
            continue
        yield f"parts.csv: {part} is in no netlist"
    for part, netlist in STANDS_FOR.items():
        value = f"{quantity(table[part]['value']):g}" if part in table and part[0] in "RP" else ""
        stated = {
            f"{spice_number(v):g}"
            for v in re.findall(r"(?m)^\.param \w+\s*=\s*([\d.]+[a-z]*)\s", sources.netlists[netlist])
        }
        if value and value not in stated:
            yield f"{netlist}: no .param is {part}'s {table[part]['value']}"


def parts_and_pictures(sources: Sources) -> Iterator[str]:
    table = sources.table
    named: set[str] = set()
    for name, text in sources.pictures.items():
        words = drawn(text)
        found = {word for word in words if re.fullmatch(r"[RCDQUFSHPMJA]\d{1,3}[ab]?", word)}
        found = {word.rstrip("ab") if word[0] == "U" else word for word in found}
        named |= found
        yield from (f"{name}: {part} is drawn and not in parts.csv" for part in sorted(found - set(table)))
    yield from (f"parts.csv: {part} is not drawn" for part in sorted(set(table) - named - NOT_DRAWN))


def box_and_parts(sources: Sources) -> Iterator[str]:
    table, file = sources.table, sources.file

    def ohms(name: str) -> float:
        return quantity(table[name]["value"]) if name in table else 0.0

    def differs(name: str, key: str, stated: str, real: float) -> Iterator[str]:
        if not isclose(quantity(stated), real, rel_tol=1e-6):
            yield f"{name}: {key} is {stated} in the box file, {real:g} ohm of parts"

    for one in file["input"]:
        name, circuit = one["name"], one["circuit"]
        n = CHANNELS.get(name, 0)
        if not n:
            yield f"{name}: no channel of the reference box"
            continue
        if circuit["kind"] in ("pull-up", "shunt"):
            sides = ohms(f"R{n}1") + ohms(f"R{n}2"), ohms(f"R{n}3") + ohms(f"R{n}4")
            real = sides[0] * sides[1] / (sum(sides) or 1.0)
            yield from differs(name, "resistor", circuit["resistor"], real)
            tolerances = {table[f"R{n}{k}"]["tolerance"] for k in range(1, 5) if f"R{n}{k}" in table}
            if tolerances != {circuit["tolerance"]}:
                yield f"{name}: its resistors are of {', '.join(sorted(tolerances))}, in the box file {circuit['tolerance']}"
        if circuit["kind"] == "divider":
            yield from differs(name, "top", circuit["top"], ohms(f"R{n}1"))
            yield from differs(name, "bottom", circuit["bottom"], ohms(f"R{n}2"))
        yield from differs(name, "protection", circuit["protection"], ohms(f"R{n}5") + ohms(f"R{n}6"))
        if "pull_down" in circuit:
            yield from differs(name, "pull_down", circuit["pull_down"], ohms(f"R{n}3"))
    output = file["bus_output"]
    yield from differs("bus output", "series", output["series"], ohms("R147"))
    yield from differs("bus output", "filter", output["filter"]["resistor"], ohms("R142"))
    for lamp in file["lamp"]:
        fuse = f"F{LAMPS[lamp['name']]}1" if lamp["name"] in LAMPS else ""
        if "fuse" in lamp and lamp["fuse"] != table[fuse]["value"]:
            yield f"{lamp['name']}: fuse {lamp['fuse']} in the box file, {fuse} is {table[fuse]['value']}"
    for cable in file["cable"]:
        for fuse in re.findall(r"\bF\d+\b", cable["to"]):
            if fuse not in table:
                yield f"cable {cable['name']}: {fuse} is not in parts.csv"
            elif "fuse" in cable and cable["fuse"] != table[fuse]["value"]:
                yield f"cable {cable['name']}: fuse {cable['fuse']}, {fuse} is {table[fuse]['value']}"
    for name, one in file["connector"].items():
        what = table[name]["what"] if name in table else ""
        if WAYS[one["kind"]] not in what or ("box" in one and f"{one['box']} in the box" not in what):
            yield f"{name} is {one['kind']} {one.get('box', '')} in the box file, in parts.csv {what or 'nothing'}"
    for name, one in file["connector"].items():
        plug = f"X{name[1:]}"
        other = {"pins": "sockets", "sockets": "pins"}.get(one.get("box", ""), "")
        words = re.split("[,;] ?", table[plug]["what"]) if plug in table else []
        if not {WAYS[one["kind"]], other} - {""} <= set(words):
            yield f"{name}: its plug {plug} is not {one['kind']}, {other}"
    there = {name for name, row in table.items() if re.fullmatch(r"J\d", name) and name not in ("J6", "J7")}
    yield from (
        f"{name} is in parts.csv, not in the box file" for name in sorted(there - set(file["connector"]))
    )


def box_and_pictures(sources: Sources) -> Iterator[str]:
    """Each chip's pin, and each connector's pin beside the name of what it is for."""
    file = sources.file
    written = {name: drawn(text) for name, text in sources.pictures.items()}
    words = [word for one in written.values() for word in one]
    titles = {name: re.compile(rf"{n}  {name}: ") for name, n in CHANNELS.items()}
    for one in file["input"]:
        chip, _, number = str(one["pin"]).partition(".")
        net = f"{CHIPS[chip]} AIN{number}" if number else f"A1 GP{chip}"
        start = next(
            (k for k, word in enumerate(words) if one["name"] in titles and titles[one["name"]].match(word)),
            None,
        )
        if start is None:
            yield f"{one['name']}: not drawn"
            continue
        following = next(word for word in words[start:] if re.match(r"(U\d AIN\d|A1 GP\d+)$", word))
        if following != net:
            yield f"{one['name']}: {net} in the box file, drawn at {following}"
    for lamp in file["lamp"]:
        yield from (
            () if f"A1 GP{lamp['pin']}" in words else (f"{lamp['name']}: A1 GP{lamp['pin']} is not drawn",)
        )
    for name, pins in connectors(file).items():
        if name in ("J1", "J3", "J4", "J5"):
            for pin, use in pins.items():
                line = f"{pin:2d}  {use}" if name == "J1" else f"{name}-{pin}  {use}"
                if line not in words:
                    yield f"{name}-{pin}: {use} in the box file, not so in the drawing's list"
    for connector, use in re.findall(r"(J[134]-\d+)\n([^\n]+)", "\n".join(words)):
        name, pin = connector.split("-")
        real = connectors(file)[name].get(int(pin), "-")
        part = real.rpartition(" ")[2]
        if use in ("return", "plus", "minus", "supply") and part != use and real != use:
            yield f"{connector} is drawn as a {use}, in the box file {real}"


def box_and_pages(sources: Sources) -> Iterator[str]:
    stated, written = connectors(sources.file), pins_of_pages(sources.pages)
    for name in sorted(set(stated) | set(written)):
        one, other = stated.get(name, {}), written.get(name, {})
        for pin in sorted(set(one) | set(other)):
            if one.get(pin) != other.get(pin):
                yield f"{name}-{pin}: {one.get(pin, 'free')} in the box file, {other.get(pin, 'free')} on the page"


def box_and_sheet(sources: Sources, place: Path) -> Iterator[str]:
    written = pins_of_pages(sources.pages)
    found: dict[str, dict[int, str]] = {}
    for one in pins_of_sheet(sources, place):
        if isinstance(one, str):
            yield one
        else:
            found.setdefault(one[0], {})[one[1]] = one[2]
    for name in sorted(set(found) | set(written)):
        for pin in sorted(set(found.get(name, {})) | set(written.get(name, {}))):
            if found.get(name, {}).get(pin) != written.get(name, {}).get(pin):
                yield f"{name}-{pin}: {found.get(name, {}).get(pin, 'free')} on the wiring sheet, {written.get(name, {}).get(pin, 'free')} on the page"


def test_they_agree(sources: Sources, tmp_path: Path) -> None:
    assert disagreements(sources, tmp_path) == []


# --- and where they do not, it is told ---

BOX, PARTS = "box", "parts"
SPOILT: dict[str, tuple[str, str, str, str]] = {  # what: where, what stands there, what in its place, what must be said
    "a part in a netlist that is not in the table": ("netlists/shunt.cir", "\n.control", "\nR99 pin 0 1k\n.control", "R99 is not in parts.csv"),
    "a diode in a netlist that is not in the table": ("netlists/low_fuel.cir", "\nD343 ", "\nD344 ", "D344 is not in parts.csv"),
    "a netlist without a part": ("netlists/low_fuel.cir", "\nR315 ", "\nRbase ", "R315 is in no netlist"),
    "a value in a netlist": ("netlists/protection_box.cir", "\nR16     k1    p1    4.7k", "\nR16     k1    p1    4.8k", "R16 is 4.8k"),
    "a capacitor in a netlist": ("netlists/low_fuel.cir", "C302    f30   0     10u", "C302    f30   0     1u", "C302 is 1u"),
    "a .param in a netlist": ("netlists/lamp_driver.cir", ".param gate   = 22 ", ".param gate   = 33 ", "R101"),
    "a part in the table alone": (PARTS, "\nD91,", '\nD99,diode,5 V,,,1,"new"\nD91,', "D99 is in no netlist"),
    "a part that is not drawn": (PARTS, "\nD91,", '\nD99,diode,5 V,,,1,"new"\nD91,', "D99 is not drawn"),
    "a part gone from the table": (PARTS, "\nR94,", "\nR98,", "R94 is not in parts.csv"),
    "a drawn part gone from the table": (PARTS, "Q311 Q331", "Q311 Q332", "Q331 is drawn and not in parts.csv"),
    "a value in the table": (PARTS, "R31 R32 R33 R34,\"resistor, metal film, 25 ppm/K\",220 ohm", "R31 R32 R33 R34,\"resistor, metal film, 25 ppm/K\",240 ohm", "coolant temperature: resistor is 220 ohm in the box file, 240"),
    "a channel that is another again": (PARTS, "R203 R213 R223,resistor,4.7 kohm", "R203 R213,resistor,4.7 kohm,1 %,0.25 W,2,x\nR223,resistor,3.3 kohm", "R223 is 3.3 kohm"),
    "a tolerance": (BOX, 'resistor = "220 ohm", rail = "sender rail", protection = "9.4 kohm", tolerance = "0.1 %"', 'resistor = "220 ohm", rail = "sender rail", protection = "9.4 kohm", tolerance = "1 %"', "coolant temperature: its resistors are of 0.1 %"),
    "an input's pull-up": (BOX, 'resistor = "220 ohm"', 'resistor = "200 ohm"', "coolant temperature: resistor is 200 ohm"),
    "an input's divider": (BOX, 'top = "10 kohm"', 'top = "12 kohm"', "coolant pressure: top is 12 kohm"),
    "an input's protection": (BOX, '[[input]]\nname = "sender rail"\npin = "aft.3"\ncircuit = { kind = "direct", protection = "9.4 kohm" }', '[[input]]\nname = "sender rail"\npin = "aft.3"\ncircuit = { kind = "direct", protection = "4.7 kohm" }', "sender rail: protection is 4.7 kohm"),
    "an input's chip pin": (BOX, 'name = "hydraulic"\npin = "fore.1"', 'name = "hydraulic"\npin = "aft.1"', "hydraulic: U1 AIN1 in the box file, drawn at U2 AIN1"),
    "an input's own pin": (BOX, "pin = 28", "pin = 29", "coolant pressure: A1 GP29 in the box file, drawn at A1 GP28"),
    "a lamp's pin": (BOX, "pin = 18\n", "pin = 17\n", "switch legends: A1 GP17"),
    "a lamp's fuse": (BOX, 'wire = { gauge = 22, length = "1.5 m" }\nfuse = "2 A"', 'wire = { gauge = 22, length = "1.5 m" }\nfuse = "3 A"', "map light: fuse 3 A"),
    "a cable's fuse": (BOX, 'to = "F121 at the bus"\ngauge = 22\nlength = "1.2 m"\nbundle = "feeds"\nfuse = "1 A"', 'to = "F121 at the bus"\ngauge = 22\nlength = "1.2 m"\nbundle = "feeds"\nfuse = "2 A"', "cable switch legends feed: fuse 2 A"),
    "a pin of the box file": (BOX, '20 = "reserve line return"\n8 = "hydraulic"', '8 = "reserve line return"\n20 = "hydraulic"', "J1-8: reserve line return in the box file, hydraulic on the page"),
    "a pin more in the box file": (BOX, '23 = "guard"\n\n[connector.J2]', '23 = "guard"\n11 = "ground"\n\n[connector.J2]', "J1-11: ground in the box file, free on the page"),
    "a guard gone": (BOX, '2 = "guard"                         #', "#", "J1-2: free on the wiring sheet, guard on the page"),
    "a spare pin": (BOX, '7 = "spare: needle plus"', '7 = "spare: page"', "J5-7: page in the box file, needle plus on the page"),
    "a plug": (PARTS, 'X3,"plug, D-sub, 15 ways, sockets', 'X3,"plug, D-sub, 15 ways, pins', "J3: its plug X3 is not D-sub 15, sockets"),
    "a wire in a drawing": ("pictures/reference_box", ">J1-14<", ">J1-2<", "J1-2 is drawn as a return, in the box file guard"),
    "a connector's kind": (BOX, 'kind = "D-sub 15"\nbox = "pins"', 'kind = "D-sub 25"\nbox = "pins"', "J3 is D-sub 25"),
    "a connector's half": (BOX, 'kind = "D-sub 15"\nbox = "pins"', 'kind = "D-sub 15"\nbox = "sockets"', "J3 is D-sub 15 sockets"),
    "a connector in the table": (PARTS, '\nJ5,"D-sub, 25 ways, pins', '\nJ8,"D-sub, 25 ways, pins', "J8 is in parts.csv, not in the box file"),
    "a pin of the inputs' page": ("pages/reference_box", "| 3 | right fuel | 16 | right fuel return |", "| 3 | right fuel return | 16 | right fuel |", "J1-3: right fuel on the wiring sheet, right fuel return on the page"),
    "the supply's pins": ("pages/reference_box", "1 bus over F1, 2 ground", "1 ground over F1, 2 bus", "J2-1: bus in the box file, ground on the page"),
    "a pin of the lights' page": ("pages/lighting", "| 8 | - | knob wiper |", "| 8 | knob wiper | - |", "J3-8: free in the box file, knob wiper on the page"),
    "a pin of the face's page": ("pages/face", "| 9 | acknowledge |", "| 9 | test |", "J5-9"),
    "a pin in a drawing's list": ("pictures/reference_box_light", "J4-8  knob wiper", "J4-8  knob lower end", "J4-8: knob wiper in the box file"),
    "a chip's pin in a drawing": ("pictures/reference_box", "U1 AIN1", "U1 AIN2", "right fuel: U1 AIN1 in the box file, drawn at U1 AIN2"),
    "a designator in a drawing": ("pictures/reference_box_face", ">R233<", ">R234<", "R234 is drawn and not in parts.csv"),
}  # fmt: skip


def spoil(sources: Sources, where: str, old: str, new: str) -> Sources:
    """The first of these words replaced."""
    kind, _, name = where.partition("/")
    if not name:
        text = getattr(sources, kind)
        assert old in text, where
        return replace(sources, **{kind: text.replace(old, new, 1)})
    texts = getattr(sources, kind)
    assert old in texts[name], where
    return replace(sources, **{kind: texts | {name: texts[name].replace(old, new, 1)}})


@pytest.mark.parametrize("where, old, new, said", SPOILT.values(), ids=SPOILT)
def test_what_does_not_agree_is_told(
    where: str, old: str, new: str, said: str, sources: Sources, tmp_path: Path
) -> None:
    found = disagreements(spoil(sources, where, old, new), tmp_path)
    assert any(said in words for words in found), found
