"""A relay; its socket is a connector."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, Pair, Part, StateFields
from handsfree.circuit.faults import Word
from handsfree.circuit.usual import FEED, Usual, broken, series, shorted, stuck, worn
from handsfree.circuit.values import Ohms, Volts, parse_spread


class Relay(Part):
    """A relay: coil, and a contact from `common` to either of the others."""

    kind: Literal["relay"]
    coil: Pair
    resistance: Ohms = Field(description="of the coil")
    pull_in: Volts = Field(description="coil voltage at which it pulls in, cold")
    common: Word
    normally_open: Word | None = None
    normally_closed: Word | None = None
    contact: Ohms = parse_spread("10 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "Drop across the contact while its load runs; the coil out of circuit."
    cautions: ClassVar[tuple[str, ...]] = (
        "What the relay feeds may start when it is plugged in or bridged.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("coil of a 12 V relay", "60 Ω to 120 Ω", "common practice"),
        Normal("drop across the closed contact", "below 0.2 V", "common practice"),
    )
    remedy: ClassVar[str] = "Replace the relay with one of the same rating, and measure its load."

    def branches(self, name: str) -> tuple[Branch, ...]:
        ends = {"normally open": self.normally_open, "normally closed": self.normally_closed}
        contacts = (Branch(s, self.common, n, self.contact) for s, n in ends.items() if n)
        return (Branch("coil", *self.coil, self.resistance), *contacts)

    def states(self) -> StateFields:
        slots = {b.slot for b in self.branches("")}
        closed = {"released": "normally closed", "pulled": "normally open"}
        return {
            state: dict.fromkeys(slots - {"coil", contact}, OPEN)
            for state, contact in closed.items()
        }

    def usual(self) -> Usual:
        burnt = tuple(
            mode for b in self.branches("")[1:] for mode in series(3, b.slot, FEED)
        )  # fmt: skip
        return (
            *broken(2, "coil"),
            *worn(self.resistance, 0.5, "coil"),
            *shorted(self.resistance, 0.5, "coil"),
            *stuck("pulled", 1),
            *stuck("released", 1),
            *burnt,
        )
