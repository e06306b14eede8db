"""Resistances: a plain one, a coil, a heater element."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from handsfree.circuit.elements import Branch, Normal
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, broken, shorted, worn
from handsfree.circuit.values import Ohms


class Resistor(TwoTerminal):
    """A resistance: resistor, module input, passive load."""

    kind: Literal["resistor"]
    resistance: Ohms

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(0.5), *worn(self.resistance, 0.2), *shorted(self.resistance, 0.2))


class Coil(TwoTerminal):
    """A winding that only makes a magnet: valve, solenoid, clutch."""

    kind: Literal["coil"]
    resistance: Ohms

    probing: ClassVar[str] = "Across its two terminals, unplugged, ignition off."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("winding of a small valve", "10 Ω to 60 Ω", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(2), *worn(self.resistance, 0.5), *shorted(self.resistance, 1))


class Heater(TwoTerminal):
    """A heater element: seat, mirror, rear window, glow plug, lambda heater."""

    kind: Literal["heater"]
    resistance: Ohms

    probing: ClassVar[str] = "Drop along its feed and its ground while it is switched on."
    cautions: ClassVar[tuple[str, ...]] = ("The element and what it heats burn fingers.",)
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("a glow plug, cold", "0.3 Ω to 2 Ω", "common practice"),
        Normal("an oxygen sensor's heater, cold", "2 Ω to 14 Ω", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(3), *worn(self.resistance, 1), *shorted(self.resistance, 0.3))
