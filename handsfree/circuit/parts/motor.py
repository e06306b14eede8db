"""What turns: a motor, a starter, and the mechanism that they move."""
# ruff: noqa: D102 - what the methods do is said once, in `elements.Part`

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit import faults as modes
from handsfree.circuit.elements import Branch, Normal, Part, StateFields
from handsfree.circuit.parts.two_terminal import TwoTerminal
from handsfree.circuit.usual import Usual, broken, series, shorted, to_case
from handsfree.circuit.values import Amperes, Ohms, Share, Spread, Volts, parse_spread


class Motor(TwoTerminal):
    """A direct-current motor: runs one way or the other if its current suffices.

    At rest it is its winding.  Running, it takes `running_current`, whatever the voltage:
    the torque asked of it sets the current, the rest of the voltage is induced.
    """

    kind: Literal["motor"]
    resistance: Ohms = Field(description="winding and brushes, at rest")
    running_current: Amperes
    starting_current: Amperes = Field(description="needed to break away")
    rated: Volts | None = Field(
        None, description="its voltage in use; with less than 70 % of it, it runs slow"
    )

    modes: ClassVar[frozenset[str]] = frozenset({"jammed"})
    probing: ClassVar[str] = "Voltage between its two terminals while it should run."
    cautions: ClassVar[tuple[str, ...]] = ("It may start at any time: hands and sleeves clear.",)
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("voltage at a running motor", "supply less 0.5 V", "common practice"),
    )

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self.resistance)

    def usual(self) -> Usual:
        least, most = 0.5 * self.resistance.nominal, 50 * self.resistance.nominal
        brushes = modes.HighResistance(
            mode="high resistance", grade="worn brushes", odds=2,
            resistance=Spread((least * most) ** 0.5, least, most, "Ω", log=True),
        )  # fmt: skip
        jammed = modes.Jammed(mode="jammed", odds=2)
        leaks = to_case(self.between[0], 0.5)
        return (*broken(3), brushes, *shorted(self.resistance, 1), jammed, *leaks)


class Starter(TwoTerminal):
    """A starter cranking an engine, as the battery sees it: hundreds of amperes, or too many."""

    kind: Literal["starter"]
    current: Amperes = Field(parse_spread("180 A ± 30 %", "A"), description="while it cranks")
    voltage: Volts = Field(parse_spread("10.5 V", "V"), description="at which it takes that")

    modes: ClassVar[frozenset[str]] = frozenset({"stuck"})
    probing: ClassVar[str] = "Drops of cable and ground, and the current, while it cranks."
    cautions: ClassVar[tuple[str, ...]] = ("Out of gear, brake on, ignition or fuel disabled.",)
    normal: ClassVar[tuple[Normal, ...]] = (
        Normal("a small petrol engine, cranking", "100 A to 250 A", "common practice"),
        Normal("drop along its cable", "below 0.5 V", "common practice"),
    )

    def _at(self, share: float) -> Spread:
        v, i = self.voltage.nominal, self.current
        return Spread(
            v / i.nominal * share, v / i.high * share, v / max(i.low, 1e-9) * share, "Ω"
        )  # fmt: skip

    def branches(self, name: str) -> tuple[Branch, ...]:
        return self.one(self._at(1.0))

    def states(self) -> StateFields:
        return {"cranks": {}, "stands": {"": Spread(1e6, 1e6, 1e6, "Ω")}, "drags": self._drags}

    @property
    def _drags(self) -> dict[str, Spread]:
        dragging = self._at(0.5)
        return {"": Spread(dragging.nominal, 0.7 * dragging.low, dragging.high, "Ω")}

    def usual(self) -> Usual:
        drags = modes.Stuck(mode="stuck", state="drags", odds=1)
        return (*broken(2), *series(1, bands={"worn brushes": "30 mΩ to 3 Ω"}), drags)


class Mechanism(Part):
    """What moves: a gear, a flap, a valve, a linkage.  `rest` is where it is if it does not.

    A condition may send it to a position ("50 %", if its motor can run) or have it "removed"
    from the motor.  Without a motor it is moved by hand or by the vehicle, and observed is
    whether it is attached.  With a stuck position it moves and always ends up there: bent.
    """

    kind: Literal["mechanism"]
    motor: str | None = Field(None, description="name of the motor that moves it, if one does")
    forward: Share = Field(
        parse_spread("95 %", ""), description="position after the motor ran with current "
        "from its first to its second terminal"
    )  # fmt: skip
    reverse: Share = parse_spread("5 %", "")
    rest: Share = parse_spread("10 % to 90 %", "")

    modes: ClassVar[frozenset[str]] = frozenset({"jammed", "slipping", "stuck position"})
    probing: ClassVar[str] = "Look, and move it by hand with the ignition off."
    cautions: ClassVar[tuple[str, ...]] = ("Fingers out of the linkage while it can move.",)
    remedy: ClassVar[str] = "Free, adjust or replace it, then let the system learn its ends."

    def branches(self, name: str) -> tuple[Branch, ...]:
        return ()

    def states(self) -> StateFields:
        return {"attached": {}, "removed": {}}

    def setting(self) -> Spread | None:
        return self.rest

    def usual(self) -> Usual:
        slips = modes.Slipping(mode="slipping", odds=2)
        if self.motor is None:
            bent = modes.StuckPosition(mode="stuck position", odds=1)
            return (slips, bent)
        return (slips, modes.Jammed(mode="jammed", odds=2))
