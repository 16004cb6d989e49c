"""The trial, and the table of it in the hardware notes."""

from pathlib import Path

import pytest

from gaugelight.tracing.trace_trial import CASES, MOST_MEASUREMENTS, SEED, Case, line_of, trial
from gaugelight.tracing.traced import KINDS

TABLE = Path(__file__).parent.parent / "hardware_notes" / "trace_trial.txt"
AGAIN = range(3, CASES, 21)  # of the cases, run here


@pytest.fixture(scope="module")
def lines() -> list[str]:
    text = TABLE.read_text()
    return text.split("what was measured\n", 1)[1].splitlines()


def _counted(lines: list[str]) -> tuple[int, int]:
    """Of the cases: true cause there, alone."""
    lost, more = sum(line.endswith("  LOST") for line in lines), sum(
        line.endswith("  not alone") for line in lines
    )
    return len(lines) - lost, len(lines) - lost - more


def test_the_table_is_what_was_asked_for(lines: list[str]) -> None:
    assert len(lines) == CASES == 300
    there, alone = _counted(lines)
    assert there >= 0.99 * CASES and alone >= 0.80 * CASES
    assert (
        f"the true cause was left in {there}, and alone in {alone}."
        in TABLE.with_name("tracing.md").read_text()
    )
    head = TABLE.read_text()
    assert (
        f"true cause among those left  {there} of 300 " in head
        and f"alone                        {alone} of 300 " in head
    )
    assert all(f"\n{kind:24}    30" in head for kind in KINDS) and f"(seed {SEED})" in head
    assert all(len(line.split(";")[3].split(" | ")) <= MOST_MEASUREMENTS for line in lines)


def test_it_is_what_the_trial_finds(lines: list[str]) -> None:
    """Some of its cases again, through the real firmware: the same line each, of every kind of sender."""
    found = trial(AGAIN)
    assert {case.kind for case in found} == set(KINDS)
    assert [line_of(case) for case in found] == [lines[number] for number in AGAIN]


@pytest.mark.parametrize(
    "there, left, alone, ends",
    [
        (True, (5, 1), True, ""),
        (True, (5, 2), False, "  not alone"),
        (False, (5, 1), False, "  LOST"),
        (False, (5, 0), False, "  LOST"),
    ],
)
def test_what_counts(there: bool, left: tuple[int, ...], alone: bool, ends: str) -> None:
    """A cause is found alone where it is the only one left, and the right one."""
    case = Case("left fuel", "float", "float stuck", left, ("box",), there)
    assert case.alone == alone
    assert line_of(case) == f"left fuel; float stuck; {left[0]} {left[1]}; box{ends}"
