"""Solving many symmetric systems of one sparse pattern at once.

A wiring diagram is nearly a tree: each node meets two or three others.  The order of
elimination is found once for the pattern (minimum degree: Tinney & Walker 1967, "Direct
solutions of sparse network equations by optimally ordered triangular factorization"), then
every step is one array operation over all variants: A = L·D·Lᵀ without pivoting, which is
stable for the positive definite matrices of nodal analysis.

M is the number of unknowns, N of variants, R of right-hand sides, E of entries of L below its
diagonal.  Unknowns are numbered from 1; number 0 is ground, which is known: its rows take what
nobody asks for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from handsfree.circuit.values import Array, Ints


@dataclass(frozen=True, slots=True)
class _Step:
    """Elimination of one unknown: those it meets, their entries, and the entries changed.

    `at` is where its column begins among the entries of L.
    """

    pivot: int
    around: list[int]
    entries: list[int]
    updates: list[tuple[int, int, int]]
    at: int


class Elimination:
    """The order of elimination of one pattern.

    Args:
        size: number of unknowns M.
        edges: pairs of unknowns that meet off the diagonal; repeats do no harm.
        last: unknowns with nothing on the diagonal, eliminated after all others.

    Attributes:
        size: number of unknowns M.
        steps: the unknowns in the order in which they are eliminated.
        below: number of entries E of L.
        entries: number of rows in which the entries of a matrix are kept.
    """

    def __init__(
        self, size: int, edges: Iterable[tuple[int, int]], last: Iterable[int] = ()
    ) -> None:
        self._row = {(k, k): k for k in range(size + 1)}
        meets: dict[int, set[int]] = {k: set() for k in range(1, size + 1)}
        for a, b in edges:
            if self.row(a, b) > max(a, b):
                meets[a].add(b)
                meets[b].add(a)
        late = set(last)
        self.steps: list[_Step] = []
        below = 0
        while meets:
            pivot = min(meets, key=lambda k: (k in late, len(meets[k])))
            around = sorted(meets.pop(pivot))
            for a in around:
                meets[a].discard(pivot)
                meets[a].update(set(around) - {a})
            updates = [
                (self.row(a, b), i, j)
                for i, a in enumerate(around)
                for j, b in enumerate(around)
                if j >= i
            ]
            entries = [self.row(pivot, a) for a in around]
            self.steps.append(_Step(pivot, around, entries, updates, below))
            below += len(around)
        self.size, self.below, self.entries = size, below, len(self._row)

    def row(self, a: int, b: int) -> int:
        """Row in which the entry of two unknowns is kept; that of (a, a) is `a`."""
        if a == 0 or b == 0:
            return 0
        return self._row.setdefault((min(a, b), max(a, b)), len(self._row))

    def factor(self, matrix: Array) -> Factors:
        """A = L·D·Lᵀ.

        Args:
            matrix: (entries, N) entries of the matrices; overwritten.
        """
        inverse = np.zeros((self.size + 1, matrix.shape[1]))
        below = np.empty((self.below, matrix.shape[1]))
        change = np.empty(matrix.shape[1])
        for step in self.steps:
            np.divide(1, matrix[step.pivot], out=inverse[step.pivot])
            factor = below[step.at : step.at + len(step.around)]
            for row, entry in zip(factor, step.entries, strict=True):
                np.multiply(matrix[entry], inverse[step.pivot], out=row)
            for entry, i, j in step.updates:
                np.multiply(factor[i], matrix[step.entries[j]], out=change)
                matrix[entry] -= change
        return Factors(self, inverse, below)


@dataclass(frozen=True, eq=False)
class Factors:
    """L and D of N matrices.

    Attributes:
        order: of the elimination.
        inverse: (M + 1, N) one over the entries of D, nought at ground.
        below: (E, N) entries of L.
    """

    order: Elimination
    inverse: Array
    below: Array

    def solve(self, right: Array) -> None:
        """Solve in place.

        Args:
            right: (M + 1, ..., N) right-hand sides; overwritten with the solution, 0 at ground.
        """
        steps = self.order.steps
        for step in steps:
            for k, a in enumerate(step.around, step.at):
                right[a] -= self.below[k] * right[step.pivot]
            right[step.pivot] *= self.inverse[step.pivot]
        for step in reversed(steps):
            for k, a in enumerate(step.around, step.at):
                right[step.pivot] -= self.below[k] * right[a]
        right[0] = 0.0

    def between(self, a: int, b: int, rows: Ints | slice) -> dict[int, Array]:
        """L⁻¹·(e_a - e_b) of some variants: what is not nought, by unknown.

        One unit into `a` and out of `b` meets only the unknowns on their way up the tree of
        elimination, and its response anywhere is a product of two such columns (`product`).
        """
        count = self.inverse[0, rows].shape
        found = {n: np.full(count, sign) for n, sign in ((a, 1.0), (b, -1.0)) if n and a != b}
        for step in self.order.steps:
            if (here := found.get(step.pivot)) is None:
                continue
            for k, n in enumerate(step.around, step.at):
                change = self.below[k, rows] * here
                found[n] = found[n] - change if n in found else -change
        return found

    def product(self, one: dict[int, Array], two: dict[int, Array], rows: Ints | slice) -> Array:
        """Response across the second pair to one unit through the first. Shape of `rows`."""
        total = np.zeros(self.inverse[0, rows].shape)
        for n in one.keys() & two.keys():
            total += one[n] * two[n] * self.inverse[n, rows]
        return total

    def replace(self, rows: Ints, other: Factors) -> None:
        """Take some variants from `other`, which has only these."""
        self.inverse[:, rows], self.below[:, rows] = other.inverse, other.below
