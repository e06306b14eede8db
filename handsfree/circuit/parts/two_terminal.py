"""What all parts with two terminals have in common."""

from __future__ import annotations

from handsfree.circuit.elements import Branch, Pair, Part
from handsfree.circuit.values import Spread


class TwoTerminal(Part):
    """A part between two nodes."""

    between: Pair

    def one(self, ohms: Spread, volts: Spread | None = None) -> tuple[Branch, ...]:
        """Its only branch."""
        return (Branch("", *self.between, ohms, volts),)
