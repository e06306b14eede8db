"""Sensors of turning: passive and active speed sensors, Hall sensors."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, Part, StateFields
from handsfree.circuit.faults import Word
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, broken, shorted, stuck, worn
from handsfree.circuit.values import Amperes, Ohms, Spread, parse_spread

_FEED = 1e6  # ohms behind a current source, so that its current hardly depends on the voltage


class PassiveSpeedSensor(TwoTerminal):
    """A coil over a toothed ring; at rest it is its winding."""

    kind: Literal["passive speed sensor"]
    resistance: Ohms = parse_spread("1.2 kΩ ± 30 %", "Ω")

    probing: ClassVar[str] = "Across its two pins, unplugged; AC volts while it is turned."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("winding", "0.8 kΩ to 2.5 kΩ", "common practice"),
        Normal("turned by hand, once a second", "above 0.1 V AC", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(2), *worn(self.resistance, 0.5), *shorted(self.resistance, 1))


class ActiveSpeedSensor(TwoTerminal):
    """Two wires: takes one of two currents, whatever its supply, as a tooth goes by.

    The current flows from the first node to the second while there is voltage enough
    (`least`, in ohms of a resistance that would take the larger current: it then starves).
    """

    kind: Literal["active speed sensor"]
    low: Amperes = Field(parse_spread("7 mA ± 20 %", "A"), description="no tooth")
    high: Amperes = Field(parse_spread("14 mA ± 20 %", "A"), description="tooth")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    electronic: ClassVar[bool] = True
    probing: ClassVar[str] = "Plugged in: drop over the module's resistor, or current in series."
    cautions: ClassVar[tuple[str, ...]] = (
        "Never put an ohmmeter on an active sensor: it tells nothing and may harm it.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("no tooth, tooth", "7 mA, 14 mA", "makers' data sheets of two-wire sensors"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return tuple(
            Branch(slot, self.between[1], self.between[0], Spread(_FEED, _FEED, _FEED, "Ω"),
                   Spread(i.nominal * _FEED, i.low * _FEED, i.high * _FEED, "V"))
            for slot, i in (("low", self.low), ("high", self.high))
        )  # fmt: skip

    def states(self) -> StateFields:
        return {
            "no tooth": {"high": OPEN},
            "tooth": {"low": OPEN},
            "dead": {"low": OPEN, "high": OPEN},
        }

    def usual(self) -> Usual:
        return (*stuck("dead", 2), *stuck("no tooth", 1), *stuck("tooth", 1))


class HallSensor(Part):
    """Three wires: an output that pulls to ground while a tooth goes by (open collector)."""

    kind: Literal["hall sensor"]
    supply: Word
    ground: Word
    output: Word
    takes: Ohms = Field(parse_spread("1.5 kΩ ± 40 %", "Ω"), description="as the supply sees it")
    resistance: Ohms = Field(parse_spread("30 Ω ± 50 %", "Ω"), description="of the closed output")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    electronic: ClassVar[bool] = True
    probing: ClassVar[str] = "Output to sensor ground, back-probed, turned slowly by hand."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("output, no tooth", "the module's pull-up voltage", "common practice"),
        Normal("output, tooth", "below 0.5 V", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (
            Branch("takes", self.supply, self.ground, self.takes),
            Branch("output", self.output, self.ground, self.resistance),
        )

    def states(self) -> StateFields:
        return {"no tooth": {"output": OPEN}, "tooth": {}}

    def usual(self) -> Usual:
        return (
            *stuck("no tooth", 2),
            *stuck("tooth", 1),
            *broken(0.5, "takes"),
            *shorted(self.takes, 0.5, "takes"),
        )
