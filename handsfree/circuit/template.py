"""A circuit as numbered nodes and branches: what all its variants have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from handsfree.circuit.elements import Part
from handsfree.circuit.model import Circuit
from handsfree.circuit.values import Array, Ints, Spread, parse_spread
from handsfree.errors import BadInput

_P = TypeVar("_P", bound=Part)


@dataclass(frozen=True, slots=True)
class Term:
    """A value of the circuit and the column of the tolerances that moves it."""

    spread: Spread
    column: int

    def at(self, u: Array) -> Array:
        """Its value for each sample of `u` (S, columns): (S,) in SI units."""
        if self.spread.exact:
            return np.full(len(u), self.spread.nominal)
        return self.spread.at(u[:, self.column])


@dataclass(frozen=True, slots=True)
class Stateful:
    """A part with states: its branches, the state names, and the ohms in each state."""

    columns: tuple[int, ...]
    names: tuple[str, ...]
    ohms: tuple[tuple[Term, ...], ...]

    def table(self, u: Array) -> Array:
        """Ohms of each branch, state and sample: (branches, states, S)."""
        return np.array([[term.at(u) for term in row] for row in zip(*self.ohms, strict=True)])


class Template:
    """What the solver needs of a circuit.

    Attributes:
        circuit: where it comes from.
        node: number of each node; ground is 0.
        branch: number of each (part, slot).
        ends: (B, 2) nodes of the branches.
        ohms, volts: of each branch, without state or fault.
        kinds, curve_ends, curve_terms: the nonlinear elements.
        stateful: the parts with states.
        columns: number of tolerances; column 0 is always nominal.
    """

    def __init__(self, circuit: Circuit) -> None:
        if wrong := [f"{'.'.join(map(str, path))}: {text}" for path, text in circuit.problems()]:
            raise BadInput("the circuit does not fit together", remedy="\n  ".join(wrong))
        self.circuit = circuit
        self._column: dict[tuple[str, Spread], int] = {}
        names = dict.fromkeys([circuit.ground, *circuit.nodes()])
        self.node = {name: number for number, name in enumerate(names)}
        branches = [(n, b) for n, p in circuit.parts.items() for b in p.branches(n)]
        curves = [(n, c) for n, p in circuit.parts.items() for c in p.curves(n)]
        self.branch = {(n, b.slot): k for k, (n, b) in enumerate(branches)}
        self.ends = self.pairs([(b.a, b.b) for _, b in branches])
        self.ohms = tuple(self.term(n, b.ohms) for n, b in branches)
        self.volts = tuple(self.term(n, b.volts) if b.volts else None for n, b in branches)
        self.kinds = tuple(c.kind for _, c in curves)
        self.curve_ends = self.pairs([(c.a, c.b) for _, c in curves])
        self.curve_terms = tuple(tuple(self.term(n, s) for s in c.parameters) for n, c in curves)
        self.stateful = {
            name: self._stateful(name, part)
            for name, part in circuit.parts.items()
            if part.states() and self.of_part(name)
        }
        self._more()

    @property
    def columns(self) -> int:
        """Number of columns of the tolerances; the faults' own columns come after these."""
        return 1 + len(self._column)

    def term(self, part: str, spread: Spread) -> Term:
        """A value of `part`; equal values of one part (both ends of a track) move together."""
        if spread.exact:
            return Term(spread, 0)
        return Term(spread, self._column.setdefault((part, spread), len(self._column) + 1))

    def pairs(self, ends: list[tuple[str, str]]) -> Ints:
        """Numbers of pairs of nodes: (len, 2)."""
        numbers = [(self.node[a], self.node[b]) for a, b in ends]
        return np.array(numbers, dtype=np.intp).reshape(-1, 2)

    def of(self, kind: type[_P]) -> dict[str, _P]:
        """The parts of a kind, by name."""
        return {n: p for n, p in self.circuit.parts.items() if isinstance(p, kind)}

    def of_part(self, name: str) -> tuple[int, ...]:
        """The branches of a part."""
        return tuple(k for (part, _), k in self.branch.items() if part == name)

    def _stateful(self, name: str, part: Part) -> Stateful:
        branches = part.branches(name)
        states: Mapping[str, Mapping[str, Spread]] = part.states()
        ohms = tuple(
            tuple(self.term(name, changes.get(b.slot, b.ohms)) for b in branches)
            for changes in states.values()
        )
        return Stateful(self.of_part(name), tuple(states), ohms)

    def _more(self) -> None:
        """Register every other value that has a tolerance, so that `columns` is final."""
        for name, part in self.circuit.parts.items():
            for _, value in part:
                if isinstance(value, Spread):
                    self.term(name, value)
            if part.needs:
                self.term(name, part.needs.at_least)
        for settings in self.circuit.conditions.values():
            for name, text in settings.items():
                part = self.circuit.parts[name]
                if text not in part.states() and (usual := part.setting()) is not None:
                    self.term(name, parse_spread(text, usual.unit))
