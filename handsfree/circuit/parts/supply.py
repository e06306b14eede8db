"""Where voltage comes from: a plain source, a battery, an alternator."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from functools import cached_property
from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, StateFields
from handsfree.circuit.faults import Weak
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.physics.battery import open_circuit_voltage
from handsfree.circuit.usual import Usual, broken, drifted, pulled, stuck, worn
from handsfree.circuit.values import Kelvins, Ohms, Share, Spread, Volts, parse_spread
from handsfree.units import ureg

_SHARED = 11.0  # V: a source of less is a reference, and several parts may hang on it


class Source(TwoTerminal):
    """A voltage with its inner resistance: a reference, a charger; first node plus."""

    kind: Literal["source"]
    voltage: Volts
    resistance: Ohms

    modes: ClassVar[frozenset[str]] = frozenset({"weak", "stuck"})
    probing: ClassVar[str] = "Between its two terminals, loaded as in use."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance, self.voltage)

    def states(self) -> StateFields:
        return {"on": {}, "off": {"": OPEN}}

    def usual(self) -> Usual:
        own = (*broken(1), *drifted(self.voltage, 0.3), *worn(self.resistance, 0.5))
        shared = self.voltage.nominal < _SHARED
        return (*own, *pulled(self.between[0], 1.2)) if shared else own


class Battery(TwoTerminal):
    """A lead-acid battery by its chemistry and state of charge (`physics.battery`)."""

    kind: Literal["battery"]
    chemistry: Literal["flooded", "AGM"] = "flooded"
    charge: Share = Field(parse_spread("60 % to 100 %", ""), description="state of charge")
    temperature: Kelvins = parse_spread("20 °C ± 10 °C", "K")
    cells: int = Field(6, ge=1, description="6 for 12 V, 12 for 24 V")
    resistance: Ohms = parse_spread("8 mΩ ± 40 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"weak", "stuck"})
    probing: ClassVar[str] = "On the posts themselves, not on the clamps; after rest."
    cautions: ClassVar[tuple[str, ...]] = (
        "Hydrogen: no sparks or flames near a battery. Eyes protected.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("at rest, half charged and more", "12.2 V to 12.9 V", "BCI, open-circuit voltage"),
        Normal("cranking", "above 9.6 V at 21 °C", "BCI, load test"),
    )
    remedy: ClassVar[str] = "Charge and test the battery, and find what has drained it."

    @cached_property
    def voltage(self) -> Spread:
        """Voltage at rest for its limits of charge and temperature."""
        low, nominal, high = (
            float(
                open_circuit_voltage(
                    ureg.Quantity(100 * share, "percent"),
                    ureg.Quantity(kelvin, "K"),
                    agm=self.chemistry == "AGM",
                ).m_as("V")
            )
            * self.cells
            / 6
            for share, kelvin in (
                (self.charge.low, self.temperature.low),
                (self.charge.nominal, self.temperature.nominal),
                (self.charge.high, self.temperature.high),
            )
        )
        return Spread(nominal, low, high, "V")

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance, self.voltage)

    def states(self) -> StateFields:
        return {"on": {}, "off": {"": OPEN}}

    def usual(self) -> Usual:
        full = self.voltage.nominal
        flat = Spread(0.8 * full, 0.55 * full, 0.945 * full, "V")
        charged = Spread(1.09 * full, 1.05 * full, 1.16 * full, "V")
        return (
            Weak(mode="weak", grade="flat", voltage=flat, odds=2),
            Weak(mode="weak", grade="on a charger", voltage=charged, odds=0.3),
            *worn(self.resistance, 2),
        )


class Alternator(TwoTerminal):
    """An alternator with its regulator: a set voltage, or a command of a module."""

    kind: Literal["alternator"]
    voltage: Volts = Field(
        parse_spread("14.2 V ± 2 %", "V"), description="set by its own regulator, at 20 °C"
    )
    commanded_low: Volts = Field(
        parse_spread("12.4 V to 13.2 V", "V"), description="while a module asks for little"
    )
    commanded_high: Volts = Field(
        parse_spread("14.6 V to 15.2 V", "V"), description="while a module asks for much"
    )
    resistance: Ohms = parse_spread("25 mΩ ± 40 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"weak", "stuck"})
    probing: ClassVar[str] = "At its stud to its own case, engine running, loads on."
    cautions: ClassVar[tuple[str, ...]] = (
        "Engine running: keep clear of belts and fan. Never lift a battery clamp.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("own regulator, 20 °C", "13.8 V to 14.7 V", "common practice"),
        Normal("commanded by a module", "12.2 V to 15.4 V", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (
            Branch("", *self.between, self.resistance, self.voltage),
            Branch("low", *self.between, self.resistance, self.commanded_low),
            Branch("high", *self.between, self.resistance, self.commanded_high),
        )

    def states(self) -> StateFields:
        slots = ("", "low", "high")
        off = dict.fromkeys(slots, OPEN)
        return {
            "stands": off,
            "charges": {s: OPEN for s in slots if s != ""},
            "asked for little": {s: OPEN for s in slots if s != "low"},
            "asked for much": {s: OPEN for s in slots if s != "high"},
        }

    def usual(self) -> Usual:
        return (*stuck("stands", 3), *drifted(self.voltage, 1), *broken(1))
