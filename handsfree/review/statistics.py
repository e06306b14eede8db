"""What a shop usually measures, from all its jobs; values are in the step's own unit.

A shop's own normal values say more than any table: they are of its vehicles, its meters and its
way to probe.  They are no limits; these stay the plan's.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import quantiles
from typing import Any

#: Bars of a drawing.
BARS = 24


@dataclass(slots=True)
class UsualReadings:
    """All readings of one test, under one condition.

    Attributes:
        step, condition, unit: of the test.
        values: each number, and whether it was as expected.
        words: how often each thing was taken that is no number, such as "over limit".
        marked: what was taken in the job that is looked at.
        marked_value: the same as a number, if it is one.
    """

    step: str
    condition: str
    unit: str = ""
    values: list[tuple[float, bool]] = field(default_factory=list)
    words: Counter[str] = field(default_factory=Counter)
    marked: str = ""
    marked_value: float | None = None

    @property
    def count(self) -> int:
        """How many readings there are."""
        return len(self.values) + self.words.total()

    @property
    def middle(self) -> tuple[float, float, float] | None:
        """The 5th percentile, the median and the 95th; None for fewer than five numbers.

        Percentiles are those of Hyndman and Fan's definition 7, as most tables compute them.
        """
        if len(self.values) < 5:
            return None
        cuts = quantiles((value for value, _ in self.values), n=20, method="inclusive")
        return cuts[0], cuts[9], cuts[18]

    @property
    def below(self) -> float | None:
        """The share of readings that are smaller than the marked one; None if none is marked."""
        if self.marked_value is None or not self.values:
            return None
        return sum(value < self.marked_value for value, _ in self.values) / len(self.values)


@dataclass(frozen=True, slots=True)
class Bars:
    """Numbers counted in equal steps from `low` to `high`.

    Attributes:
        passed, failed: how many in each step were as expected, and were not; what lies beyond the
            ends is counted in the first and the last.
    """

    low: float
    high: float
    passed: tuple[int, ...]
    failed: tuple[int, ...]

    def place(self, value: float) -> float:
        """Where a value stands between the ends, 0 to 1."""
        if self.high <= self.low:
            return 0.5
        return min(max((value - self.low) / (self.high - self.low), 0.0), 1.0)


def usual_values(rows: Iterable[Any], marked: str = "") -> list[UsualReadings]:
    """The readings of all jobs of a plan, test by test, those with the most readings first.

    Args:
        rows: from `JobIndex.values_of_plan`.
        marked: id of the job that is looked at.
    """
    found: dict[tuple[str, str], UsualReadings] = {}
    for step, condition, unit, value, figures, passed, job_id in rows:
        one = found.setdefault((step, condition), UsualReadings(step, condition))
        if value is None or not math.isfinite(value):
            one.words[figures] += 1
        else:
            one.unit = unit
            one.values.append((value, bool(passed)))
        if job_id == marked:
            one.marked, one.marked_value = figures, value
    return sorted(found.values(), key=lambda one: (-one.count, one.step, one.condition))


def bars(values: Sequence[tuple[float, bool]]) -> Bars:
    """Numbers counted for a drawing; the ends leave out one in fifty at either side."""
    ordered = sorted(value for value, _ in values)
    cut = len(ordered) // 50
    low, high = ordered[cut], ordered[-1 - cut]
    passed, failed = [0] * BARS, [0] * BARS
    drawn = Bars(low, high, (), ())
    for value, right in values:
        at = min(int(drawn.place(value) * BARS), BARS - 1)
        (passed if right else failed)[at] += 1
    return Bars(low, high, tuple(passed), tuple(failed))


def rounded(value: float) -> str:
    """A number with four figures, as it is read."""
    return f"{value:.4g}".replace("-", "−")
