"""A switch."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from handsfree.circuit.elements import OPEN, Branch, Normal, StateFields
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import FEED, SERIES, Usual, series, stuck
from handsfree.circuit.values import Ohms, parse_spread


class Switch(TwoTerminal):
    """A switch or contact, open unless a condition closes it."""

    kind: Literal["switch"]
    contact: Ohms = parse_spread("10 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "Drop across it while it is closed and carries its load."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop across a closed switch", "below 0.2 V", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.contact)

    def states(self) -> StateFields:
        return {"open": {"": OPEN}, "closed": {}}

    def usual(self) -> Usual:
        bands = FEED | SERIES
        return (*stuck("open", 1), *stuck("closed", 0.3), *series(1, bands=bands))
