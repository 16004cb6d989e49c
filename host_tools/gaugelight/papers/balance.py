"""Weight and moment of what was installed: moment = weight x arm, arm = sum of the moments / sum of the weights.

As FAA-H-8083-1 (Aircraft Weight and Balance Handbook) reckons it; from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from gaugelight.papers.papers_file import Empty, Item


@dataclass(frozen=True)
class Row:
    """An item in the units of all; None: not stated."""

    item: Item
    weight: Fraction | None
    arm: Fraction | None

    @property
    def moment(self) -> Fraction | None:
        return None if self.weight is None or self.arm is None else self.weight * self.arm


@dataclass(frozen=True)
class Balance:
    """weight_unit, arm_unit: those of the first item. left_out: names of items that state no weight or no arm: they are in no sum.
    before: weight and arm of the empty aircraft as it was weighed."""

    rows: tuple[Row, ...]
    weight_unit: str
    arm_unit: str
    before: tuple[Fraction, Fraction] | None = None

    @property
    def left_out(self) -> tuple[str, ...]:
        return tuple(row.item.name for row in self.rows if row.moment is None)

    @property
    def weight(self) -> Fraction:
        return sum((row.weight or Fraction(0) for row in self.rows if row.moment is not None), Fraction(0))

    @property
    def moment(self) -> Fraction:
        return sum((row.moment or Fraction(0) for row in self.rows), Fraction(0))

    @property
    def arm(self) -> Fraction | None:
        """Of all items together; None where they weigh nothing."""
        return self.moment / self.weight if self.weight else None

    @property
    def after(self) -> tuple[Fraction, Fraction] | None:
        """Weight and arm of the empty aircraft with them; None where it is not stated what it was before."""
        if self.before is None or self.before[0] + self.weight <= 0:
            return None
        weight, arm = self.before
        return weight + self.weight, (weight * arm + self.moment) / (weight + self.weight)


def balance(items: Sequence[Item], before: Empty | None = None) -> Balance:
    """The sums, in the units of the first item that states them."""
    weights = [one.weight for one in items if one.weight] + ([before.weight] if before else [])
    arms = [one.arm for one in items if one.arm] + ([before.arm] if before else [])
    weight_unit, arm_unit = weights[0].unit if weights else "kg", arms[0].unit if arms else "m"
    rows = tuple(
        Row(
            one,
            None if one.weight is None else one.weight.to(weight_unit),
            None if one.arm is None else one.arm.to(arm_unit),
        )
        for one in items
    )
    weighed = None if before is None else (before.weight.to(weight_unit), before.arm.to(arm_unit))
    return Balance(rows, weight_unit, arm_unit, weighed)
