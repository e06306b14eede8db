"""Nodes on a bus as a meter sees them: CAN and LIN."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, Part, StateFields
from handsfree.circuit.faults import Word
from handsfree.circuit.physics import can
from handsfree.circuit.usual import Usual, broken, series, shorted, stuck
from handsfree.circuit.values import Ohms, Spread, Volts, parse_spread
from handsfree.units import show

_STAGE = 30.0  # ohms of a transceiver's output stage: common practice, no published source
_BUS = can.TERMINATION / 2  # between the wires of a bus with both ends terminated


def _behind(wanted: can.Level, sign: int) -> Spread:
    """Voltage behind the output stage, so that a terminated bus has the nominal level."""
    current = float((can.DOMINANT_DIFFERENCE.nominal / _BUS).m_as("A"))
    volts = float(wanted.nominal.m_as("V")) + sign * current * _STAGE
    return Spread(volts, volts, volts, "V")


class CanNode(Part):
    """A node on a CAN bus as a meter sees it (ISO 11898-2): bias, inputs, termination.

    A handheld meter is too slow for the bits.  On a busy bus it shows their mean, a tenth or
    two of a volt from the recessive level; asleep, nothing.
    """

    kind: Literal["can node"]
    high: Word
    low: Word
    ground: Word
    recessive: Volts = parse_spread(f"{show(can.RECESSIVE.nominal)} ± 4 %", "V")
    input_resistance: Ohms = parse_spread("30 kΩ ± 30 %", "Ω")
    termination: Ohms | None = Field(None, description="such as '120 Ω ± 1 %', at a bus end")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "Each wire to ground; wire to wire in ohms only with the battery off."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("either wire, nobody sending", str(can.RECESSIVE), "ISO 11898-2"),
        Normal("high wire, dominant", str(can.DOMINANT_HIGH), "ISO 11898-2"),
        Normal("low wire, dominant", str(can.DOMINANT_LOW), "ISO 11898-2"),
        Normal("between the wires, unpowered", show(_BUS), "ISO 11898-2, two of 120 Ω"),
    )
    remedy: ClassVar[str] = "Unplug it: if the bus comes back, check its supply, then replace it."

    def branches(self, name: str) -> tuple[Branch, ...]:
        bias, stage = f"{name}.bias", Spread(_STAGE, _STAGE, _STAGE, "Ω")
        dominant = (
            ("dominant high", self.high, _behind(can.DOMINANT_HIGH, 1)),
            ("dominant low", self.low, _behind(can.DOMINANT_LOW, -1)),
        )
        ends = [
            Branch("bias", bias, self.ground, parse_spread("100 Ω", "Ω"), self.recessive),
            Branch("high", self.high, bias, self.input_resistance),
            Branch("low", self.low, bias, self.input_resistance),
            *(Branch(s, n, self.ground, stage, volts) for s, n, volts in dominant),
        ]
        if self.termination is not None:
            ends.append(Branch("termination", self.high, self.low, self.termination))
        return tuple(ends)

    def states(self) -> StateFields:
        quiet = {"dominant high": OPEN, "dominant low": OPEN}
        traffic = dict.fromkeys(quiet, parse_spread("150 Ω to 3 kΩ", "Ω"))
        return {
            "recessive": quiet,
            "dominant": {},
            "busy": traffic,
            "off": {**quiet, "bias": OPEN},
        }

    def usual(self) -> Usual:
        held = stuck("dominant", 1)
        if self.termination is None:
            return (*held, *broken(0.5, "high"), *broken(0.5, "low"))
        ends = (*broken(1, "termination"), *shorted(self.termination, 1, "termination"))
        worn = series(0.5, "termination", {"marked": "60 Ω to 2 kΩ"})
        return (*held, *ends, *worn)


class LinNode(Part):
    """A node on a LIN bus (ISO 17987): a pull-up to battery, and a stage that pulls down.

    The commander's pull-up is 1 kΩ, a responder's 30 kΩ; both through a diode, here a part of
    the resistance.  Nobody sending, the wire stands near battery voltage.
    """

    kind: Literal["lin node"]
    wire: Word
    supply: Word
    ground: Word
    pull_up: Ohms = Field(parse_spread("30 kΩ ± 30 %", "Ω"), description="1 kΩ for the commander")
    stage: Ohms = parse_spread("30 Ω ± 50 %", "Ω")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    electronic: ClassVar[bool] = True
    probing: ClassVar[str] = "Wire to ground; on a busy bus the meter shows the mean."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("nobody sending", "above 80 % of the battery", "ISO 17987-4, recessive level"),
        Normal("pull-up of commander, responder", "1 kΩ, 30 kΩ", "ISO 17987-4"),
    )
    remedy: ClassVar[str] = CanNode.remedy

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (
            Branch("pull-up", self.supply, self.wire, self.pull_up),
            Branch("stage", self.wire, self.ground, self.stage),
        )

    def states(self) -> StateFields:
        return {
            "recessive": {"stage": OPEN},
            "dominant": {},
            "busy": {"stage": parse_spread("1 kΩ to 6 kΩ", "Ω")},
            "off": {"stage": OPEN, "pull-up": OPEN},
        }

    def usual(self) -> Usual:
        return (*stuck("dominant", 1), *broken(0.7, "pull-up"))
