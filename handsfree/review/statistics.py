"""What a shop usually measures, from all its jobs; values are in the step's own unit.

A shop's own normal values say more than any table: they are of its vehicles, its meters and its
way to probe.  They are no limits; these stay the plan's.
"""

from __future__ import annotations

import math
from array import array
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Bars of a drawing.
BARS = 24


def _numbers() -> array[float]:
    return array("d")


@dataclass(slots=True)
class UsualReadings:
    """All readings of one test, under one condition.

    Attributes:
        step, condition, unit: of the test.
        passed, failed: the numbers that were as expected, and those that were not.
        words: how often each thing was taken that is no number, such as "over limit".
        marked: what was taken in the job that is looked at.
        marked_value: the same as a number, if it is one.
    """

    step: str
    condition: str
    unit: str = ""
    passed: array[float] = field(default_factory=_numbers)
    failed: array[float] = field(default_factory=_numbers)
    words: Counter[str] = field(default_factory=Counter)
    marked: str = ""
    marked_value: float | None = None

    @property
    def count(self) -> int:
        """How many readings there are."""
        return len(self.passed) + len(self.failed) + self.words.total()

    @property
    def numbers(self) -> NDArray[np.float64]:
        """Those that are numbers."""
        return np.concatenate([np.asarray(self.passed), np.asarray(self.failed)])

    @property
    def middle(self) -> tuple[float, float, float] | None:
        """The 5th percentile, the median and the 95th; None for fewer than five numbers.

        Percentiles are those of Hyndman and Fan's definition 7, as most tables compute them.
        """
        numbers = self.numbers
        if len(numbers) < 5:
            return None
        low, median, high = np.quantile(numbers, (0.05, 0.5, 0.95), method="linear")
        return float(low), float(median), float(high)

    @property
    def below(self) -> float | None:
        """The share of readings that are smaller than the marked one; None if none is marked."""
        if self.marked_value is None or not len(self.numbers):
            return None
        return float(np.mean(self.numbers < self.marked_value))


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
        one = found.get((step, condition))
        if one is None:
            one = found[step, condition] = UsualReadings(step, condition)
        if value is None or not math.isfinite(value):
            one.words[figures] += 1
        else:
            one.unit = unit
            (one.passed if passed else one.failed).append(value)
        if job_id == marked:
            one.marked, one.marked_value = figures, value
    return sorted(found.values(), key=lambda one: (-one.count, one.step, one.condition))


def bars(one: UsualReadings) -> Bars:
    """Numbers counted for a drawing; the ends leave out one in fifty at either side."""
    ordered = np.sort(one.numbers)
    cut = len(ordered) // 50
    drawn = Bars(float(ordered[cut]), float(ordered[-1 - cut]), (), ())
    return replace(drawn, passed=_counted(drawn, one.passed), failed=_counted(drawn, one.failed))


def _counted(drawn: Bars, numbers: array[float]) -> tuple[int, ...]:
    span = drawn.high - drawn.low
    places = (np.asarray(numbers) - drawn.low) / span if span > 0 else np.full(len(numbers), 0.5)
    at = np.clip(places * BARS, 0, BARS - 1).astype(int)
    return tuple(np.bincount(at, minlength=BARS).tolist())


def rounded(value: float) -> str:
    """A number with four figures, as it is read."""
    return f"{value:.4g}".replace("-", "−")
