"""A connector and its contacts."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, Pair, Part, StateFields
from handsfree.circuit.faults import Word
from handsfree.circuit.usual import FEED, SERIES, Usual, bridged, broken, damp, series
from handsfree.circuit.values import Ohms, parse_spread

_WET = 0.4  # rate of what leaks at one contact: common practice, no published source
_POWER = 2e-3  # Ω: a contact below this is made for amperes, and milliohms count


class Connector(Part):
    """A connector: pin number to the two nodes that it joins."""

    kind: Literal["connector"]
    pins: dict[Word, Pair] = Field(min_length=1)
    contact: Ohms = parse_spread("5 mΩ ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    place: ClassVar[str] = "contact"
    probing: ClassVar[str] = "Back-probe along the wire into the rear seal; never spread a contact."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop across one contact", "below 0.05 V", "common practice"),
    )
    remedy: ClassVar[str] = "Look for a bent, spread or green contact; clean or replace it."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return tuple(Branch(pin, *pair, self.contact) for pin, pair in self.pins.items())

    def states(self) -> StateFields:
        return {"mated": {}, "unplugged": dict.fromkeys(self.pins, OPEN)}

    def usual(self) -> Usual:
        bands = FEED | SERIES if self.contact.nominal < _POWER else SERIES
        worn = tuple(
            mode for pin in self.pins for mode in (*broken(1, pin), *series(2, pin, bands=bands))
        )
        wet = tuple(m for pin, pair in self.pins.items() for m in damp(pair[1], pin, _WET))
        beside = pairwise(self.pins.items())
        return (*worn, *wet, *(m for (pin, pair), (_, other) in beside
                               for m in bridged(pair[1], other[1], pin, _WET / 2)))  # fmt: skip
