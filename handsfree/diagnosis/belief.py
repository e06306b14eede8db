"""What the readings so far say about the causes.

Logarithms are natural inside; odds at the boundary are plain ratios: 20.0 is twenty to one.

H causes, S samples, N readings, T tests, G cells.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from handsfree.circuit.values import Array
from handsfree.diagnosis.table import TWICE, Table

Group = NDArray[np.bool_]
"""Which causes belong to it: (H,)."""

SURE = 20.0
"""Odds from which a cause is taken as found."""

# Likeness from which two causes count as the same: whatever the readings, at least a fifth of
# the verdicts between them would be wrong (Kailath 1967: no less than (1 - √(1 - ρ²)) / 2).
_ALIKE = np.log(0.8)

_SAME = 3.0  # errors of the meter within which a test has read the same twice


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a reading fell.

    Attributes:
        test: what was read.
        cell: of the axis of that test.
        place: along that axis, in errors of the meter.
        confirmed: it was read twice.
    """

    test: str
    cell: int
    place: float = 0.0
    confirmed: bool = False

    def same(self, other: Mark) -> bool:
        """Whether the test has read the same twice, within the meter's error."""
        return self.test == other.test and abs(self.place - other.place) <= _SAME


@dataclass(frozen=True, eq=False)
class Belief:
    """The causes weighed by the readings.

    Attributes:
        table: chances of every reading under every cause.
        marks: the readings in the order made: (N,). Two of one test that differ both count,
            until one of them is confirmed.
        evidence: chance of each reading in every sample: N of (H, S).
    """

    table: Table
    marks: tuple[Mark, ...] = ()
    evidence: tuple[Array, ...] = ()

    def after(self, mark: Mark) -> Belief:
        """After one more reading.

        If its test has read the same before, that reading is confirmed and no other of that
        test counts.
        """
        if any(mark.same(other) for other in self.marks):
            kept = [other for other in self.marks if other.test != mark.test]
            return self._with(*kept, replace(mark, confirmed=True))
        return self._with(*self.marks, mark)

    def _with(self, *marks: Mark) -> Belief:
        known = dict(zip(self.marks, self.evidence, strict=True))
        evidence = (
            known[mark]
            if mark in known
            else self.table.evidence(mark.test, mark.cell, mark.confirmed)
            for mark in marks
        )
        return Belief(self.table, marks, tuple(evidence))

    @cached_property
    def made(self) -> tuple[str, ...]:
        """The tests made."""
        return tuple(dict.fromkeys(mark.test for mark in self.marks))

    @cached_property
    def weights(self) -> Array:
        """Logarithm of the probability of each cause: (H,)."""
        return self._weigh(self._scale.sum(axis=0), self._product)

    @cached_property
    def samples(self) -> Array:
        """Weight of each sample within its cause: (H, S), each row sums to 1."""
        return np.asarray(self._product / self._product.sum(axis=-1, keepdims=True))

    @cached_property
    def course(self) -> Array:
        """`weights` before the first reading and after each: (N + 1, H)."""
        none = np.zeros((1, *self._product.shape))
        scale = np.concatenate([none[..., 0], self._scale]).cumsum(axis=0)
        return self._weigh(scale, np.concatenate([none + 1, self._relative]).cumprod(axis=0))

    @cached_property
    def without(self) -> Array:
        """`weights` if one reading did not count: (N, H)."""
        scale = self._scale.sum(axis=0) - self._scale
        return self._weigh(scale, self._product / self._relative)

    @cached_property
    def leader(self) -> int:
        """The likeliest cause."""
        return int(self.weights.argmax())

    @cached_property
    def group(self) -> Group:
        """The leader, every cause that no test can tell from it, and those with more faults.

        A second fault does not acquit the first: it shows when the first is repaired.
        """
        return self.alike(self.leader) | self.with_more(self.leader)

    @cached_property
    def odds(self) -> float:
        """Odds of the group against all other causes."""
        return float(odds_of(self.weights, self.group))

    @cached_property
    def pivots(self) -> tuple[str, ...]:
        """Tests on whose reading a verdict hangs: without it, another cause would lead.

        A confirmed reading is none, and none is before odds of `SURE`.
        """
        if self.odds < SURE or not self.marks:
            return ()
        left = zip(self.marks, odds_of(self.without, self.group), strict=True)
        return tuple(mark.test for mark, ratio in left if ratio < 1 and not mark.confirmed)

    @property
    def sure(self) -> bool:
        """Whether a cause, or a group that no test can tell apart, is found.

        Its odds are at least `SURE`, and it would still lead if any one reading did not count.
        """
        return self.odds >= SURE and not self.pivots

    def alike(self, cause: int, tests: Iterable[str] | None = None) -> Group:
        """Which causes read the same as `cause` at these tests, or at all tests: (H,)."""
        chosen = slice(None) if tests is None else [self.table.number[test] for test in tests]
        alike = self.table.likeness[chosen, cause].sum(axis=0) > _ALIKE
        if self.table.open_ended:  # nothing is like an unknown fault but itself
            alike[-1] = cause == len(alike) - 1
        return np.asarray(alike)

    def with_more(self, cause: int) -> Group:
        """Which causes hold the faults of `cause`, with or without others: (H,)."""
        return np.asarray(self.table.holds[:, cause])

    @cached_property
    def slips(self) -> Array:
        """Chance that each reading is a slip, under each cause: (N, H)."""
        number, slip = self.table.number, self.table.slip
        chance = [
            slip[number[mark.test], :, mark.cell] * (TWICE if mark.confirmed else 1)
            for mark in self.marks
        ]
        weight = [(self.samples / one).sum(axis=1) for one in self.evidence]
        return np.reshape(np.array(chance) * np.array(weight), (-1, len(self.table.causes)))

    # Within a cause, chances are kept as shares of the likeliest sample's.

    @cached_property
    def _chance(self) -> Array:
        return np.reshape(self.evidence, (-1, *self.table.place.shape[1:]))

    @cached_property
    def _most(self) -> Array:
        return np.asarray(np.maximum(self._chance.max(axis=-1), np.finfo(np.float64).tiny))

    @cached_property
    def _scale(self) -> Array:
        return np.log(self._most)

    @cached_property
    def _relative(self) -> Array:
        return np.asarray(self._chance / self._most[..., None])

    @cached_property
    def _product(self) -> Array:
        return np.asarray(self._relative.prod(axis=0))

    def _weigh(self, scale: Array, product: Array) -> Array:
        with np.errstate(divide="ignore"):  # a cause that cannot be
            weight = self.table.prior + scale + np.log(product.mean(axis=-1))
        return np.asarray(weight - logsumexp(weight, axis=-1, keepdims=True))


def odds_of(weights: Array, group: Group) -> Array:
    """Odds of a group of causes against all others, from the logarithms of probabilities.

    Args:
        weights: (..., H)
        group: (H,)
    """
    within, outside = weights[..., group], weights[..., ~group]
    return np.asarray(np.exp(logsumexp(within, axis=-1) - logsumexp(outside, axis=-1)))
