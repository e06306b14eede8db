"""Sensors with a signal: potentiometer, pressure, oxygen cell, thermistor."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit import faults as modes
from handsfree.circuit.elements import OPEN, Branch, Normal, Pair, Part, StateFields
from handsfree.circuit.faults import Word
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, aged, broken, series, shorted, stuck, to_case, worn
from handsfree.circuit.values import Kelvins, Ohms, Share, Spread, Volts, parse_spread


def _dead_spots(count: int, rate: float) -> Usual:
    """The wiper loses the track over a part of its travel, somewhere."""
    edges = [k / count for k in range(count + 1)]
    return tuple(
        modes.WornSegment(
            mode="worn segment", grade=f"{100 * a:.0f} to {100 * b:.0f} percent", odds=rate / count,
            start=Spread(a, a, a, ""), end=Spread(b, b, b, ""),
        )
        for a, b in pairwise(edges)
    )  # fmt: skip


class Potentiometer(Part):
    """A potentiometer; its position is that of a mechanism or is set by a condition.

    The position is 0 % with the wiper at the second node of `between`, 100 % at the first:
    with the reference on the first and ground on the second, the voltage rises with it.
    """

    kind: Literal["potentiometer"]
    between: Pair
    wiper: Word
    resistance: Ohms
    wiper_resistance: Ohms = parse_spread("10 Ω to 100 Ω", "Ω")
    moved_by: str | None = Field(None, description="name of the mechanism")
    position: Share = Field(parse_spread("50 %", ""), description="if no mechanism moves it")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck position", "worn segment"})
    probing: ClassVar[str] = "Wiper to sensor ground, back-probed, while it is moved slowly."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("signal within its travel", "10 % to 90 % of the reference", "common practice"),
        Normal("whole track", "1 kΩ to 10 kΩ ± 20 %", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        track = f"{name}.track"
        return (
            Branch("first", self.between[0], track, self.resistance),
            Branch("second", track, self.between[1], self.resistance),
            Branch("wiper", track, self.wiper, self.wiper_resistance),
        )

    def setting(self) -> Spread | None:
        return self.position

    def usual(self) -> Usual:
        across = modes.Short(
            mode="short", odds=0.5,
            resistance=Spread(60, 10, 0.1 * self.resistance.nominal, "Ω", log=True),
        )  # fmt: skip
        return (
            *broken(1.5, "wiper"),
            *series(1, "wiper", {"marked": "500 Ω to 20 kΩ", "great": "20 kΩ to 500 kΩ"}),
            *broken(0.5, "first"),
            *broken(0.5, "second"),
            across,
            modes.StuckPosition(mode="stuck position", odds=1),
            *to_case(self.wiper, 0.4),
            *_dead_spots(4, 3),
        )


class PressureSensor(Potentiometer):
    """A ratiometric sensor with three wires: pressure, level, acceleration.

    Its output is a share of the reference, as that of a potentiometer; what it takes from
    the reference is the resistance.
    """

    kind: Literal["pressure sensor"]  # type: ignore[assignment]
    resistance: Ohms = parse_spread("1 kΩ ± 50 %", "Ω")
    wiper_resistance: Ohms = Field(
        parse_spread("50 Ω to 200 Ω", "Ω"), description="of its output stage"
    )

    modes: ClassVar[frozenset[str]] = frozenset({"stuck position"})
    electronic: ClassVar[bool] = True
    probing: ClassVar[str] = "Signal to sensor ground, back-probed, at a pressure that is known."
    cautions: ClassVar[tuple[str, ...]] = (
        "Let the pressure off before the sensor is loosened. Fuel and coolant spray.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("least to largest pressure", "0.5 V to 4.5 V of 5 V", "common practice"),
    )

    def usual(self) -> Usual:
        return (
            *broken(1.5, "wiper"),
            *broken(0.5, "first"),
            *broken(0.5, "second"),
            *shorted(self.resistance, 0.3),
            modes.StuckPosition(mode="stuck position", odds=2),
        )


class OxygenCell(TwoTerminal):
    """The zirconia cell of an oxygen sensor, its signal first: a voltage of its own when hot.

    By Nernst's equation, R·T / 4F times the logarithm of the ratio of the oxygen pressures, less
    than 0.2 V in lean and more than 0.7 V in rich exhaust; cold, it insulates.
    """

    kind: Literal["oxygen cell"]
    lean: Volts = parse_spread("0.1 V ± 80 %", "V")
    rich: Volts = parse_spread("0.8 V ± 12 %", "V")
    resistance: Ohms = Field(parse_spread("2 kΩ ± 80 %", "Ω"), description="when hot")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    electronic: ClassVar[bool] = True
    probing: ClassVar[str] = "Signal to signal ground, back-probed, hot, plugged in."
    cautions: ClassVar[tuple[str, ...]] = (
        "The exhaust and the sensor burn. Never put an ohmmeter on the signal of a cell.",
    )
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("lean exhaust, hot", "below 0.2 V", "common practice"),
        Normal("rich exhaust, hot", "above 0.7 V", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (
            Branch("lean", *self.between, self.resistance, self.lean),
            Branch("rich", *self.between, self.resistance, self.rich),
        )

    def states(self) -> StateFields:
        return {
            "cold": {"lean": OPEN, "rich": OPEN},
            "in lean exhaust": {"rich": OPEN},
            "in rich exhaust": {"lean": OPEN},
        }

    def usual(self) -> Usual:
        return (
            *stuck("cold", 2),
            *stuck("in lean exhaust", 1),
            *stuck("in rich exhaust", 1),
            *worn(self.resistance, 1),
        )


class Thermistor(TwoTerminal):
    """An NTC thermistor, by its B value (IEC 60539-1); a condition may set its temperature."""

    kind: Literal["thermistor"]
    resistance: Ohms = Field(description="at 25 °C")
    beta: Kelvins = Field(description="B value, such as '3435 K'")
    temperature: Kelvins = parse_spread("20 °C ± 5 °C", "K")

    probing: ClassVar[str] = "Across its two pins, unplugged; measure its temperature as well."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("a coolant sensor at 25 °C", "2 kΩ to 2.8 kΩ", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def setting(self) -> Spread | None:
        return self.temperature

    def usual(self) -> Usual:
        leaks = to_case(self.between[0], 0.6)
        ohms = self.resistance
        return (*broken(2), *worn(ohms, 2), *shorted(ohms, 1), *aged(2), *leaks)
