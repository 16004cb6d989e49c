"""The wiring sheet: a row for each pin in order, and for what passes the box by; as rows, as CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import Literal

from gaugelight.harness.cables import Lead, Wiring, amperes, fuse_of, returns_by
from gaugelight.harness.harness_file import LOOSE, PAIR, Cable
from gaugelight.harness.uses import SPARE, at_bus

Mark = Literal["wire", "bus", "guard", "spare", "free"]

PAST_THE_BOX = "not through the box"
SAYS: dict[Mark, str] = {
    "wire": "a wire",
    "bus": "a wire that may be at bus voltage",
    "guard": "guard: grounded in the box, no wire",
    "spare": "spare: something in the box, no wire",
    "free": "free: nothing, no wire",
}
COLUMNS = (
    "connector", "pin", "use", "mark", "wire gauge (AWG)", "goes to", "length (m)", "twisted", "shield", "returns by",
    "cable", "bundle", "largest current (A)", "fuse (A)",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """Words as they stand on the sheet; pin 0 and no connector of what passes the box by."""

    connector: str
    pin: int
    use: str
    mark: Mark
    gauge: str
    to: str
    length: str
    twisted: str
    shield: str
    returns: str
    cable: str
    bundle: str
    amperes: str
    fuse: str

    @property
    def cells(self) -> tuple[str, ...]:
        """In the order of COLUMNS."""
        pin = str(self.pin) if self.pin else ""
        return (
            self.connector, pin, self.use, self.mark, self.gauge, self.to, self.length, self.twisted, self.shield,
            self.returns, self.cable, self.bundle, self.amperes, self.fuse,
        )  # fmt: skip


def rows_of(wiring: Wiring) -> list[Row]:
    return [_row(lead, wiring) for lead in wiring.leads]


def mark_of(lead: Lead, wiring: Wiring) -> Mark:
    things = {use.thing for use in lead.uses}
    if not things:
        return "free"
    if not lead.wired:
        return "spare" if SPARE in things else "guard"
    return "bus" if any(at_bus(use, wiring.things) for use in lead.uses) else "wire"


def _row(lead: Lead, wiring: Wiring) -> Row:
    cable = lead.cable if lead.wired else None
    taken = amperes(lead, wiring)
    fuse = fuse_of(lead, wiring)
    return Row(
        lead.connector.name if lead.connector else "",
        lead.number,
        lead.text,
        mark_of(lead, wiring),
        str(cable.gauge) if cable else "",
        cable.to if cable else "",
        f"{float(cable.length):g}" if cable else "",
        "yes" if cable and cable.twisted else "",
        cable.shield if cable else "",
        returns_by(lead, wiring),
        cable.name if cable else "",
        cable.bundle if cable else "",
        "" if taken is None else amount(taken),
        "" if fuse is None else f"{fuse:g}",
    )


def amount(amperes: float) -> str:
    """Two figures, never in powers of ten."""
    return f"{amperes:.2g}" if amperes >= 1e-3 else f"{amperes:.5f}".rstrip("0")


def cable_facts(cable: Cable) -> dict[str, str]:
    """All that is stated of it, but what it carries."""
    return {
        "to": cable.to,
        "wire": f"AWG {cable.gauge}",
        "length": f"{float(cable.length):g} m",
        "laid": _laid(cable),
        "shield": cable.shield or "none",
        "bundle": cable.bundle or "none",
        "return": "through the airframe" if cable.airframe else "by wire",
        "fuse": "none of its own" if cable.fuse is None else f"{float(cable.fuse):g} A",
        "into a tank": "stated" if cable.tank else "not stated",
    }


def cable_words(cable: Cable) -> str:
    """One line for below a table, of what its rows do not say."""
    said = [_laid(cable), f"shield: {cable.shield}" if cable.shield else "no shield"]
    said += ["back through the airframe"] if cable.airframe else []
    said += [f"fuse {float(cable.fuse):g} A"] if cable.fuse is not None else []
    said += ["into a fuel tank"] if cable.tank else []
    return f"{cable.name}: {', '.join(said)}"


def _laid(cable: Cable) -> str:
    turned = f"twisted, a turn in {float(cable.turn):g} mm" if cable.twisted else "not twisted"
    usual = cable.spacing == (PAIR if cable.twisted else LOOSE)
    return turned if usual else f"{turned}, wires {float(cable.spacing):g} mm apart"


def csv_text(rows: list[Row]) -> str:
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(row.cells for row in rows)
    return written.getvalue()
