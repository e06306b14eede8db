"""What a module is, seen from its pins: outputs that switch or pulse, inputs that pull."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.elements import OPEN, Branch, Normal, Part, StateFields
from handsfree.circuit.faults import Short, Word
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, broken, series, stuck
from handsfree.circuit.values import Amperes, Ohms, Share, Spread, Volts, parse_spread


class Driver(Part):
    """A module's output stage: switches `output` to `supply` (high), `ground` (low) or off."""

    kind: Literal["driver"]
    output: Word
    supply: Word | None = Field(None, description="left out for a low-side driver")
    ground: Word | None = Field(None, description="left out for a high-side driver")
    resistance: Ohms = Field(parse_spread("0.2 Ω ± 50 %", "Ω"), description="while switched on")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "At the module's pin, back-probed, while it drives its load."
    remedy: ClassVar[str] = "Check the module's own supply, grounds and plug before you replace it."

    def branches(self, name: str) -> tuple[Branch, ...]:
        sides = {"high": self.supply, "low": self.ground}
        return tuple(Branch(s, n, self.output, self.resistance) for s, n in sides.items() if n)

    def states(self) -> StateFields:
        slots = [b.slot for b in self.branches("")]
        off = dict.fromkeys(slots, OPEN)
        return {"off": off} | {s: {o: OPEN for o in slots if o != s} for s in slots}

    def usual(self) -> Usual:
        slots = [b.slot for b in self.branches("")]
        weak = {"weak": "5 Ω to 500 Ω"}
        return (
            *(mode for s in slots for mode in (*broken(1, s), *series(0.5, s, weak))),
            *(mode for s in slots for mode in stuck(s, 0.3)),
        )


class PulseDriver(Part):
    """An output that pulses between supply and ground, as a meter on DC volts sees it: the mean.

    With duty d the output stands at d of the supply, behind the resistance of the stage
    (averaged switch: Middlebrook & Ćuk 1976): a freewheeling load whose current does not stop.
    What the supply gives is counted as the load's current, of which it truly gives the share d.
    """

    kind: Literal["pulse driver"]
    output: Word
    supply: Word
    ground: Word
    resistance: Ohms = parse_spread("0.1 Ω ± 50 %", "Ω")
    duty: Share = Field(parse_spread("50 %", ""), description="share of the time at the supply")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck", "stuck position"})
    probing: ClassVar[str] = "On DC volts the meter shows the mean; duty and frequency if it can."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("mean voltage", "duty times supply", "arithmetic of a rectangular wave"),
    )
    remedy: ClassVar[str] = Driver.remedy

    def branches(self, name: str) -> tuple[Branch, ...]:
        return (Branch("", self.supply, self.output, self.resistance),)

    def states(self) -> StateFields:
        return {"pulses": {}, "off": {"": OPEN}, "on": {}}

    def setting(self) -> Spread | None:
        return self.duty

    def usual(self) -> Usual:
        return (*stuck("off", 1), *stuck("on", 0.5), *series(0.5, bands={"weak": "2 Ω to 200 Ω"}))


class Load(TwoTerminal):
    """A module as the battery sees it: a current while asleep, another while awake."""

    kind: Literal["load"]
    asleep: Amperes
    awake: Amperes
    voltage: Volts = Field(parse_spread("12.6 V", "V"), description="at which it draws these")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "Current in series or with a clamp, after its time to fall asleep."
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("a whole vehicle asleep", "below 50 mA", "common practice"),
    )
    remedy: ClassVar[str] = "Find what keeps it awake before you replace it."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self._ohms(self.asleep))

    def states(self) -> StateFields:
        return {"asleep": {}, "awake": {"": self._ohms(self.awake)}, "off": {"": OPEN}}

    def usual(self) -> Usual:
        least, most = 2 * self.asleep.high, 1.5 * self.awake.low
        restless = Short(
            mode="short", grade="restless", odds=1, resistance=self._between(least, most)
        )
        return (*stuck("awake", 2), restless, *broken(0.5))

    def _between(self, least: float, most: float) -> Spread:
        low, high = (self.voltage.nominal / max(i, 1e-12) for i in (max(least, most), least))
        return Spread((low * high) ** 0.5, low, high, "Ω", log=True)

    def _ohms(self, current: Spread) -> Spread:
        v = self.voltage.nominal
        nominal, low, high = (
            v / max(i, 1e-12) for i in (current.nominal, current.high, current.low)
        )
        return Spread(nominal, low, high, "Ω")
