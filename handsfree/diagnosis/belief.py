"""What the readings so far say about the causes.

Logarithms are natural inside; odds at the boundary are plain ratios: 20.0 is twenty to one.

H causes, S samples, N readings, T tests, G cells.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, softmax

from handsfree.circuit.values import Array
from handsfree.diagnosis.causes import NONE_OF_THESE
from handsfree.diagnosis.table import TWICE, Table

Group = NDArray[np.bool_]
"""Which causes belong to it: (H,)."""

SURE = 20.0
"""Odds from which a cause is taken as found."""

# Likeness from which two causes count as the same: whatever the readings, at least a fifth of
# the verdicts between them would be wrong (Kailath 1967: no less than (1 - √(1 - ρ²)) / 2).
_ALIKE = np.log(0.8)


@dataclass(frozen=True, eq=False)
class Belief:
    """The causes weighed by the readings.

    Attributes:
        table: chances of every reading under every cause.
        cells: cell of the reading of each test, in the order made.
        evidence: logarithm of the chance of that reading in every sample: (H, S).
        confirmed: tests that were made twice and read the same.
    """

    table: Table
    cells: Mapping[str, int] = field(default_factory=dict)
    evidence: Mapping[str, Array] = field(default_factory=dict)
    confirmed: frozenset[str] = frozenset()

    def after(self, test: str, cell: int) -> Belief:
        """After one more reading; it takes the place of an earlier one of that test."""
        return replace(
            self,
            cells={**self.cells, test: cell},
            evidence={**self.evidence, test: self.table.evidence(test, cell)},
            confirmed=self.confirmed - {test},
        )

    def again(self, test: str) -> Belief:
        """After a test was made once more and read the same."""
        confirmed = self.table.evidence(test, self.cells[test], confirmed=True)
        return replace(
            self,
            evidence={**self.evidence, test: confirmed},
            confirmed=self.confirmed | {test},
        )

    @property
    def made(self) -> tuple[str, ...]:
        """The tests made: (N,)."""
        return tuple(self.cells)

    @cached_property
    def weights(self) -> Array:
        """Logarithm of the probability of each cause: (H,)."""
        return self._by_cause(self._total)

    @cached_property
    def samples(self) -> Array:
        """Weight of each sample within its cause: (H, S), each row sums to 1."""
        return np.asarray(softmax(self._total, axis=1))

    @cached_property
    def course(self) -> Array:
        """`weights` before the first reading and after each: (N + 1, H)."""
        evidence = np.array([np.zeros_like(self._total), *self.evidence.values()])
        return self._by_cause(evidence.cumsum(axis=0))

    @cached_property
    def without(self) -> Array:
        """`weights` if one reading did not count: (N, H)."""
        return self._by_cause(self._total - np.array([*self.evidence.values()]))

    @cached_property
    def leader(self) -> int:
        """The likeliest cause."""
        return int(self.weights.argmax())

    @cached_property
    def group(self) -> Group:
        """The leader and every cause that no test can tell from it."""
        return self.alike(self.leader)

    @cached_property
    def odds(self) -> float:
        """Odds of the group against all other causes."""
        return float(odds(self.weights, self.group))

    @cached_property
    def pivots(self) -> tuple[str, ...]:
        """Readings on which a verdict hangs: without one, another cause would lead.

        A confirmed reading is none, and none is before odds of `SURE`.
        """
        if self.odds < SURE or not self.cells:
            return ()
        left = zip(self.cells, odds(self.without, self.group), strict=True)
        return tuple(test for test, ratio in left if ratio < 1 and test not in self.confirmed)

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
        unknown = [k for k, other in enumerate(self.table.causes) if other == NONE_OF_THESE]
        alike[unknown] = cause in unknown
        return np.asarray(alike)

    @cached_property
    def slips(self) -> Array:
        """Chance that each reading is a slip, under each cause: (N, H)."""
        number, slip = self.table.number, self.table.slip
        chance = [
            slip[number[test], :, cell] * (TWICE if test in self.confirmed else 1)
            for test, cell in self.cells.items()
        ]
        weight = [(self.samples * np.exp(-one)).sum(axis=1) for one in self.evidence.values()]
        return np.reshape(np.array(chance) * np.array(weight), (-1, len(self.table.causes)))

    @cached_property
    def _total(self) -> Array:
        total = np.zeros(self.table.place.shape[1:])
        for evidence in self.evidence.values():
            total += evidence
        return total

    def _by_cause(self, evidence: Array) -> Array:
        weight = self.table.prior + logsumexp(evidence, axis=-1)
        return np.asarray(weight - logsumexp(weight, axis=-1, keepdims=True))


def odds(weights: Array, group: Group) -> Array:
    """Odds of a group of causes against all others, from the logarithms of probabilities.

    Args:
        weights: (..., H)
        group: (H,)
    """
    within, outside = weights[..., group], weights[..., ~group]
    return np.asarray(np.exp(logsumexp(within, axis=-1) - logsumexp(outside, axis=-1)))
