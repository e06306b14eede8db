"""Nonlinear parts: a diode, a filament lamp."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import Branch, Curve, Normal
from handsfree.circuit.faults import Short
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, broken
from handsfree.circuit.values import Amperes, Ohms, Share, Spread, Volts, Watts, parse_spread


class Diode(TwoTerminal):
    """A diode, anode first (Shockley's equation)."""

    kind: Literal["diode"]
    saturation_current: Amperes = parse_spread("1e-9 A", "A")
    ideality: float = Field(1.8, gt=0, le=3)
    contact: Ohms = parse_spread("20 mΩ", "Ω")

    probing: ClassVar[str] = "Diode test of the meter, both ways, out of circuit."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("forward, at about a milliampere", "0.5 V to 0.7 V", "common practice, silicon"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (Branch("", self.between[0], f"{name}.junction", self.contact),)

    def curves(self, name: str) -> tuple[Curve, ...]:
        n = Spread(self.ideality, self.ideality, self.ideality, "")
        ends = (f"{name}.junction", self.between[1])
        return (Curve("diode", *ends, (self.saturation_current, n)),)

    def usual(self) -> Usual:
        return (*broken(1), Short(mode="short", odds=1))


class Lamp(TwoTerminal):
    """A filament lamp: its resistance rises to about ten times the cold value."""

    kind: Literal["lamp"]
    rated_voltage: Volts
    rated_power: Watts
    cold: Share = Field(parse_spread("8 % ± 2 %", ""), description="cold over hot resistance")
    contact: Ohms = parse_spread("20 mΩ", "Ω")

    probing: ClassVar[str] = "Voltage across the fitted lamp; a lamp out of its socket is no load."
    cautions: ClassVar[tuple[str, ...]] = ("Filament lamps burn fingers.",)
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("cold against hot resistance", "7 % to 12 %", "IES Lighting Handbook"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (Branch("", self.between[0], f"{name}.filament", self.contact),)

    def curves(self, name: str) -> tuple[Curve, ...]:
        ends = (f"{name}.filament", self.between[1])
        return (Curve("lamp", *ends, (self.rated_voltage, self.rated_power, self.cold)),)

    def usual(self) -> Usual:
        return broken(4)
