"""Copper: a wire by gauge and length, a splice, a ground point."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from functools import cached_property
from typing import ClassVar, Literal, Self

from pydantic import model_validator

from handsfree.circuit.elements import Branch, Normal
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.physics.copper import wire_resistance
from handsfree.circuit.usual import FEED, SERIES, Usual, broken, leaks, series
from handsfree.circuit.values import Gauge, Kelvins, Metres, Ohms, Spread, parse_spread

_THICK = 1.2e-6  # m²: from here a wire feeds a load, and milliohms count


class Wire(TwoTerminal):
    """A copper wire: `length` and `gauge`, or its `resistance`."""

    kind: Literal["wire"]
    length: Metres | None = None
    gauge: Gauge | None = None
    temperature: Kelvins = parse_spread("20 °C ± 20 °C", "K")
    resistance: Ohms | None = None

    probing: ClassVar[str] = "Drop along it under load, or end to end with both ends off."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop along a feed under load", "below 0.5 V", "common practice"),
        Normal("end to end, both ends off", "below 1 Ω", "common practice"),
    )
    remedy: ClassVar[str] = (
        "Follow the wire, and repair it or its terminals by the maker's procedure."
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.resistance is None and (self.length is None or self.gauge is None):
            raise ValueError("a wire needs its length and gauge, or its resistance")
        return self

    @cached_property
    def ohms(self) -> Spread:
        """Its resistance (IEC 60028)."""
        if self.resistance is not None:
            return self.resistance
        assert self.length is not None
        assert self.gauge is not None
        length, temperature = self.length, self.temperature
        nominal, low, high = (
            float(wire_resistance(self.gauge.quantity, run, t).to("ohm").magnitude)
            for run, t in (
                (length.quantity, temperature.quantity),
                *zip(length.limits, temperature.limits, strict=True),
            )
        )
        return Spread(nominal, low, high, "Ω")

    @property
    def thick(self) -> bool:
        """Whether it feeds a load: then milliohms count."""
        return self.gauge.nominal > _THICK if self.gauge else self.ohms.nominal < 0.02

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.ohms)

    def usual(self) -> Usual:
        bands = FEED | SERIES if self.thick else SERIES
        return (*broken(1), *series(1, bands=bands), *leaks(1.2, 0.5))


class Splice(TwoTerminal):
    """A crimped or soldered joint of wires."""

    kind: Literal["splice"]
    resistance: Ohms = parse_spread("1 mΩ ± 50 %", "Ω")

    probing: ClassVar[str] = "Drop from one side of the joint to the other, under load."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop across a joint", "below 0.05 V", "common practice"),
    )
    remedy: ClassVar[str] = "Make the joint anew by the maker's procedure."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(0.5), *series(1, bands=FEED | SERIES))


class GroundPoint(TwoTerminal):
    """Where a ground wire is bolted to the body."""

    kind: Literal["ground point"]
    resistance: Ohms = parse_spread("1 mΩ ± 50 %", "Ω")

    probing: ClassVar[str] = "From the wire's lug to the battery negative post, under load."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("drop from lug to battery, under load", "below 0.1 V", "common practice"),
    )
    remedy: ClassVar[str] = "Take the lug off, clean both faces, and tighten it."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        return (*broken(1), *series(3, bands=FEED | {"great": "20 Ω to 20 kΩ"}))
