"""Alerts: rules with time and memory, what is told of faults, marks and rules together, in which order, and what acknowledging does.

Warnings before cautions, and red and amber lamps for them, by 14 CFR 23.1322 as it stood before 2017.
"""

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaugebox.alerts import (
    CAUTION,
    DARK,
    FLASH,
    FLASHING,
    KEPT,
    LASTS,
    STANDS,
    NO_CONDITION,
    STEADY,
    UNKNOWN,
    WARNING,
    Alerts,
    Rule,
)
from gaugebox.measure import COLD, CONVERTER, OPEN, RAIL, SHORT

# -- rules: conditions by letter, each tick's states as text: 1 holds, 0 does not, ? is not known


def ran(when: str, ticks: str, after: str = "", until: str = "", lasts: int = 1) -> str:
    """Whether it is on after each tick, as 0 and 1; `ticks`: for each the states of all conditions, in alphabetical order."""
    names = sorted(set(when + after + until))
    conditions: Any = [SimpleNamespace(holds=UNKNOWN) for _ in names]
    record: Any = SimpleNamespace(
        when=[names.index(name) for name in when],
        after=names.index(after) if after else NO_CONDITION,
        until=names.index(until) if until else NO_CONDITION,
        lasts=lasts,
    )
    rule = Rule(record, conditions)
    said = ""
    for states in ticks.split():
        for condition, state in zip(conditions, states, strict=True):
            condition.holds = {"1": 1, "0": 0, "?": UNKNOWN}[state]
        rule.step()
        said += str(rule.on)
    return said


RULES = {
    "while it holds": (dict(when="a", ticks="0 1 1 0 0"), "01100"),
    "all must hold": (dict(when="ab", ticks="10 01 11 10"), "0010"),
    "for its time": (dict(when="a", ticks="0 1 1 1 1 0 0 0 0", lasts=3), "000111100"),
    "a moment for which it does not is taken off": (dict(when="a", ticks="1 1 0 1 1 1 0 0 0 0", lasts=3), "0000111100"),
    "by halves it never begins": (dict(when="a", ticks="1 1 0 0 1 0 1 0 1 1 0 0", lasts=3), "000000000000"),
    "not known is no reason to begin": (dict(when="ab", ticks="1? 11 1?"), "011"),
    "not known is no reason to end": (dict(when="a", ticks="1 ? ? 0"), "1110"),
    "one not known, one that does not hold: it ends": (dict(when="ab", ticks="11 ?0"), "10"),
    "not known while it waits: it waits on": (dict(when="a", ticks="1 ? ? 1 1", lasts=2), "00011"),
    "not known for long: what lasted fades": (dict(when="a", ticks="1 1 " + "? " * 20 + "1 1 1", lasts=3), "0" * 24 + "1"),
    "not known while it waits for its end": (dict(when="a", ticks="1 1 0 ? ? 0 0", lasts=2), "0111100"),
    "only after it was so": (dict(when="a", after="b", ticks="10 11 10 00 10"), "01101"),
    "what was not known was not": (dict(when="a", after="b", ticks="0? 1? 1? 10 11 10"), "000011"),
    "what was, and is not known now, was": (dict(when="a", after="b", ticks="01 0? 1?"), "001"),
    "memory: it stays on until": (dict(when="a", until="b", ticks="10 00 ?? 00 01 00"), "111100"),
    "until for as long": (dict(when="a", until="b", ticks="10 10 01 00 01 01", lasts=2), "011110"),
    "until and when at once: by turns": (dict(when="a", until="b", ticks="11 11"), "10"),
}  # fmt: skip


@pytest.mark.parametrize("given_rule, said", RULES.values(), ids=RULES)
def test_rules(given_rule: dict[str, Any], said: str) -> None:
    assert ran(**given_rule) == said


def test_coolant_that_is_lost_stays_told() -> None:
    """Pressure was above 6 psi (c), is below 4 (a) while the coolant is above 80 degC (b); then the probe hangs in vapour and cools.

    Without the pressure's return the alert stays; it was never armed on the ground, with a cold engine.
    """
    rule: dict[str, Any] = dict(when="ab", after="c", until="c", lasts=3)
    cold, warm, lost, vapour, again = "100", "011", "110", "100", "001"
    ticks = [cold] * 5 + [warm] * 5 + [lost] * 5 + [vapour] * 20
    assert ran(ticks=" ".join(ticks), **rule) == "0" * 12 + "1" * 23
    ended = ran(ticks=" ".join(ticks + [again] * 3), **rule)
    assert ended == "0" * 12 + "1" * 25 + "0"


# -- all of them together


class Cockpit:
    """Two inputs, a readout of the first with marks, and two rules: a caution and a warning."""

    def __init__(self) -> None:
        self.inputs: Any = [self.input("left fuel"), self.input("hydraulic")]
        words = ["EMPTY", "LOW", "LOW", "", "HIGH", "FULL"]
        marks = SimpleNamespace(urgencies=bytes((2, 1, 1, 0, 1, 2)), words=words)
        self.readout: Any = SimpleNamespace(zone=3, rank=0, side=0, record=marks, channel=self.inputs[0])
        self.rules: Any = [
            SimpleNamespace(on=0, record=SimpleNamespace(urgency=urgency, words=words))
            for urgency, words in ((CAUTION, "PUMP LEFT ON"), (WARNING, "COOLANT LOST"))
        ]
        readouts: Any = [self.readout]
        self.alerts = Alerts(self.inputs, readouts, self.rules, [])

    def input(self, name: str) -> Any:
        return SimpleNamespace(said=[0, 0, 0, 0], record=SimpleNamespace(name=name))

    def do(self, what: str) -> None:
        """One word of a case; after each a second passes."""
        if what == "acknowledge":
            self.alerts.acknowledge()
        elif what == "see":
            self.alerts.see(self.alerts.order[0])
            self.alerts.show()
        elif what == "a minute":
            self.pass_ticks(KEPT)
        elif what in ZONES:
            zone = ZONES.index(what)
            self.readout.zone, self.readout.rank = zone, (18, 2, 1, 0, 1, 17)[zone]
            self.readout.side = int(zone > 3)
        elif what.startswith("rule "):
            number, on = what.split()[1:]
            self.rules[int(number)].on = int(on == "on")
        else:
            number, fault = what.split()
            self.inputs[int(number)].said[0] = {
                "well": 0,
                "open": OPEN,
                "short": SHORT,
                "rail": RAIL,
                "cold": COLD,
                "silent": CONVERTER,
            }[fault]
        self.pass_ticks(LASTS + 1)

    def pass_ticks(self, ticks: int) -> None:
        for _ in range(ticks):
            self.alerts.step(True)

    def told(self) -> list[str]:
        """In order; one not acknowledged with a star."""
        shown = [self.alerts.order[k] for k in range(self.alerts.count)]
        return [self.alerts.words(n) + "*" * self.alerts.all[n].unseen() for n in shown]


ZONES = ("empty", "lowest", "low", "enough", "high", "too high")
EMPTY, LOW = "left fuel EMPTY", "left fuel LOW"
OPENED = "hydraulic FAIL open"
# what happens, and then what is told, the warning lamp, the caution lamp
TOLD: dict[str, tuple[str, list[str], int, int]] = {
    "nothing": ("enough", [], DARK, DARK),
    "a caution": ("low", [LOW + "*"], DARK, STEADY),
    "a caution, acknowledged: no nagging": ("low, acknowledge", [LOW], DARK, DARK),
    "a warning": ("empty", [EMPTY + "*"], FLASHING, DARK),
    "a warning, acknowledged": ("empty, acknowledge", [EMPTY], STEADY, DARK),
    "a fault": ("1 open", [OPENED + "*"], DARK, STEADY),
    "the fault of a rail is told by the rail": ("1 rail", [], DARK, DARK),
    "that of a cold junction too": ("1 cold", [], DARK, DARK),
    "a converter": ("1 silent, acknowledge", ["hydraulic FAIL converter"], DARK, DARK),
    "another fault of it: its words": ("1 open, acknowledge, 1 short", ["hydraulic FAIL short"], DARK, DARK),
    "a warning comes before a caution": ("rule 1 on, low", ["COOLANT LOST*", LOW + "*"], FLASHING, STEADY),
    "but not one acknowledged": ("rule 1 on, acknowledge, low", [LOW + "*", "COOLANT LOST"], STEADY, STEADY),
    "both acknowledged: the warning first": ("low, rule 1 on, acknowledge", ["COOLANT LOST", LOW], STEADY, DARK),
    "the newest first": ("1 open, low", [LOW + "*", OPENED + "*"], DARK, STEADY),
    "what was not acknowledged first": ("1 open, acknowledge, low, rule 0 on", ["PUMP LEFT ON*", LOW + "*", OPENED], DARK, STEADY),
    "one is acknowledged, the next comes": ("1 open, low, see", [OPENED + "*", LOW], DARK, STEADY),
    "to be too high is another thing than to be too low": ("empty, acknowledge, too high", ["left fuel FULL*"], FLASHING, DARK),
    "also a while later": ("empty, acknowledge, enough, too high", ["left fuel FULL*"], FLASHING, DARK),
    "of the same rank": ("low, acknowledge, high", ["left fuel HIGH*"], DARK, STEADY),
    "one of two acknowledged": ("rule 1 on, acknowledge, empty", [EMPTY + "*", "COOLANT LOST"], FLASHING, DARK),
    "acknowledged low fuel at the next lower mark": ("low, acknowledge, lowest", [LOW + "*"], DARK, STEADY),
    "and when empty": ("low, acknowledge, empty", [EMPTY + "*"], FLASHING, DARK),
    "less bad is not told again": ("lowest, acknowledge, low", [LOW], DARK, DARK),
    "what gets worse comes first again": ("low, 1 open, lowest", [LOW + "*", OPENED + "*"], DARK, STEADY),
    "worse again is": ("lowest, acknowledge, low, lowest", [LOW + "*"], DARK, STEADY),
    "worse again, gone in between": ("empty, acknowledge, enough, low, empty", [EMPTY + "*"], FLASHING, DARK),
    "gone in between, and as bad at once": ("empty, acknowledge, enough, empty", [EMPTY], STEADY, DARK),
    "gone": ("low, enough", [], DARK, DARK),
    "gone and back within a minute: still acknowledged": ("low, acknowledge, enough, low", [LOW], DARK, DARK),
    "gone and back after a minute": ("low, acknowledge, enough, a minute, low", [LOW + "*"], DARK, STEADY),
    "gone and back without": ("low, enough, low", [LOW + "*"], DARK, STEADY),
    "a fault that comes and goes": ("1 open, acknowledge, 1 well, 1 short, 1 well, 1 open", [OPENED], DARK, DARK),
    "acknowledging nothing": ("acknowledge, low", [LOW + "*"], DARK, STEADY),
    "all at once": ("1 open, 0 short, low, rule 0 on, rule 1 on", [
        "COOLANT LOST*", "PUMP LEFT ON*", LOW + "*", "left fuel FAIL short*", OPENED + "*"], FLASHING, STEADY),
}  # fmt: skip


@pytest.mark.parametrize("events, told, warning, caution", TOLD.values(), ids=TOLD)
def test_what_is_told(events: str, told: list[str], warning: int, caution: int) -> None:
    cockpit = Cockpit()
    for event in events.split(", "):
        cockpit.do(event)
    assert (cockpit.told(), cockpit.alerts.warning, cockpit.alerts.caution) == (told, warning, caution)


def test_a_fault_must_stand_for_a_second() -> None:
    cockpit = Cockpit()
    cockpit.inputs[1].said[0] = OPEN
    cockpit.pass_ticks(LASTS - 1)
    assert cockpit.told() == []
    cockpit.pass_ticks(1)
    assert cockpit.told() == [OPENED + "*"]
    cockpit.inputs[1].said[0] = 0
    cockpit.pass_ticks(LASTS * STANDS - 1)
    assert cockpit.told() == [OPENED + "*"]
    cockpit.pass_ticks(1)
    assert cockpit.told() == []


# turns it breaks and turns it does not, over and over; whether it is told within a minute, and then stays told
INTERMITTENT = {
    "0.8 s of every 2 s": (8, 12, True),
    "0.1 s of every half": (1, 4, True),
    "0.1 s of every two": (1, 19, False),
    "half a second once in a minute": (5, 595, False),
    "a second once in five": (10, 40, True),
}


@pytest.mark.parametrize("breaks, good, told", INTERMITTENT.values(), ids=INTERMITTENT)
def test_a_wire_that_breaks_now_and_then(breaks: int, good: int, told: bool) -> None:
    cockpit = Cockpit()
    seen = []
    for turn in range(1800):
        cockpit.inputs[1].said[0] = OPEN if turn % (breaks + good) < breaks else 0
        cockpit.pass_ticks(1)
        seen.append(cockpit.told() == [OPENED + "*"])
    assert any(seen[:600]) == told and all(seen[600:]) == told


def test_an_acknowledgement_lasts_a_minute_from_the_last_time() -> None:
    cockpit = Cockpit()
    cockpit.do("low")
    cockpit.do("acknowledge")
    for _ in range(5):
        cockpit.do("enough")
        cockpit.pass_ticks(KEPT - LASTS - 1)
        cockpit.do("low")
        assert cockpit.told() == [LOW]
    cockpit.do("enough")
    cockpit.pass_ticks(KEPT - LASTS)
    cockpit.do("low")
    assert cockpit.told() == [LOW + "*"]


def test_what_is_not_known_yet_is_no_fault() -> None:
    cockpit = Cockpit()
    cockpit.inputs[1].said[0] = CONVERTER
    for _ in range(500):
        cockpit.alerts.step(False)
    assert cockpit.told() == []


def test_flashing_is_two_a_second_and_half_lit() -> None:
    cockpit = Cockpit()
    cockpit.do("empty")
    lit = []
    for _ in range(500):
        cockpit.alerts.tick()
        lit.append(cockpit.alerts.lit(WARNING))
    assert abs(sum(lit) - 250) <= 10
    assert sum(a != b for a, b in zip(lit, lit[1:])) == pytest.approx(2 * 500 / FLASH, abs=1)
    assert 50 / FLASH == 2  # ticks a second
    cockpit.alerts.acknowledge()
    for _ in range(50):
        cockpit.alerts.tick()
        assert cockpit.alerts.lit(WARNING)
    assert not cockpit.alerts.lit(CAUTION)


EVENTS = st.sampled_from(
    ["empty", "lowest", "low", "enough", "acknowledge", "0 open", "0 well", "1 short", "1 well", "rule 0 on", "rule 0 off", "rule 1 on", "rule 1 off"]
)  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=150)
@given(st.lists(EVENTS, max_size=25))
def test_whatever_happens(events: list[str]) -> None:
    """All that is on is told, once, in order; the lamps say what is told."""
    cockpit = Cockpit()
    for event in events:
        cockpit.do(event)
        alerts = cockpit.alerts
        shown = [alerts.all[alerts.order[k]] for k in range(alerts.count)]
        assert sorted(map(id, shown)) == sorted(id(one) for one in alerts.all if one.urgency)
        keys = [(not one.unseen(), -one.urgency, -one.since) for one in shown]
        assert keys == sorted(keys)
        warnings = [one for one in shown if one.urgency == WARNING]
        unseen = [one for one in warnings if one.unseen()]
        assert alerts.warning == (FLASHING if unseen else STEADY if warnings else DARK)
        cautions = [one for one in shown if one.urgency == CAUTION and one.unseen()]
        assert alerts.caution == (STEADY if cautions else DARK)
