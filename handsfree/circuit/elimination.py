"""Solving many symmetric systems of one sparse pattern at once.

A wiring diagram is nearly a tree: each node meets two or three others.  The order of
elimination is found once for the pattern (minimum degree: Tinney & Walker 1967, "Direct
solutions of sparse network equations by optimally ordered triangular factorization"), then
every step is one array operation over all variants: A = L·D·Lᵀ without pivoting, which is
stable for the positive definite matrices of nodal analysis.

M is the number of unknowns, N of variants, R of right-hand sides.  Unknowns are numbered
from 1; number 0 is ground, which is known: its rows take what nobody asks for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.circuit.values import Array


@dataclass(frozen=True, slots=True)
class _Step:
    """Elimination of one unknown: those it meets, their entries, and the entries changed."""

    pivot: int
    around: list[int]
    entries: list[int]
    updates: list[tuple[int, int, int]]


class Elimination:
    """The order of elimination of one pattern.

    Args:
        size: number of unknowns M.
        edges: pairs of unknowns that meet off the diagonal; repeats do no harm.
        last: unknowns with nothing on the diagonal, eliminated after all others.

    Attributes:
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
        self._steps: list[_Step] = []
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
            self._steps.append(_Step(pivot, around, entries, updates))
        self.entries = len(self._row)

    def row(self, a: int, b: int) -> int:
        """Row in which the entry of two unknowns is kept; that of (a, a) is `a`."""
        if a == 0 or b == 0:
            return 0
        return self._row.setdefault((min(a, b), max(a, b)), len(self._row))

    def solve(self, matrix: Array, right: Array) -> None:
        """Solve in place.

        Args:
            matrix: (entries, N) entries of the matrices; overwritten.
            right: (M + 1, R, N) right-hand sides; overwritten with the solution, 0 at ground.
        """
        factors = []
        for step in self._steps:
            inverse = 1 / matrix[step.pivot]
            column = matrix[step.entries]
            factor = column * inverse
            for row, i, j in step.updates:
                matrix[row] -= factor[i] * column[j]
            for i, a in enumerate(step.around):
                right[a] -= factor[i] * right[step.pivot]
            right[step.pivot] *= inverse
            factors.append(factor)
        for step, factor in zip(reversed(self._steps), reversed(factors), strict=True):
            for i, a in enumerate(step.around):
                right[step.pivot] -= factor[i] * right[a]
        right[0] = 0.0
