"""A blade fuse in its holder."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

import math
from functools import cached_property
from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, StateFields
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.physics import fuse
from handsfree.circuit.usual import FEED, Usual, broken, series
from handsfree.circuit.values import Amperes, Ohms, Spread, parse_spread
from handsfree.units import ureg


class Fuse(TwoTerminal):
    """A fuse and the two contacts of its holder, which fail more often than the fuse."""

    kind: Literal["fuse"]
    rating: Amperes | None = Field(None, description="printed on it; gives its resistance")
    resistance: Ohms = parse_spread("5 mΩ ± 20 %", "Ω")

    probing: ClassVar[str] = "On the two test points on its back, in its socket, under load."
    cautions: ClassVar[tuple[str, ...]] = (
        "A fuse that blows again has a reason. Never fit a larger one.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop across it and its holder", "below 0.1 V", "common practice"),
    )
    remedy: ClassVar[str] = "Find why it has blown, then replace it; clean and tighten its holder."

    @cached_property
    def ohms(self) -> Spread:
        """Cold resistance: as written, or by its rating (`physics.fuse`)."""
        if self.rating is None:
            return self.resistance
        cold = float(fuse.cold_resistance(self.rating.quantity).m_as("ohm"))
        return Spread(cold, 0.7 * cold, 1.3 * cold, "Ω")

    @cached_property
    def blows_at(self) -> float:
        """Ampere that are sure to open it within five seconds; infinite if it is not rated."""
        if self.rating is None:
            return math.inf
        patience, rated = ureg.Quantity(5, "s"), self.rating.quantity
        return min(
            float((multiple * rated).m_as("A"))
            for multiple in fuse.OPERATING_TIME
            if fuse.blows(rated, multiple * rated, patience)
        )

    def states(self) -> StateFields:
        return {"whole": {}, "blown": {"": OPEN}}

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.ohms)

    def usual(self) -> Usual:
        return (*broken(4), *series(2, bands=FEED))
