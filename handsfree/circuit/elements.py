"""What a part says about itself to the solver.

Its `branches` (a resistance, perhaps with a voltage in series, between two nodes), its
`curves` (diode or lamp filament), and what its `states` change in the branches.  Conditions,
faults and tolerances are then treated for all parts alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

from pydantic import Field

from handsfree.circuit.faults import FaultMode, Model, Word
from handsfree.circuit.values import Spread, Volts

Pair = tuple[Word, Word]

#: Resistance of what does not conduct; insulation leaks far more (see `network.LEAK`).
OPEN = Spread(1e12, 1e12, 1e12, "Ω")


@dataclass(frozen=True, slots=True)
class Branch:
    """A resistance between two nodes, with `volts` in series if it is a source.

    Attributes:
        slot: name of the place in the part; "" if the part has only one.
        a, b: nodes; a source drives `a` above `b`.
    """

    slot: str
    a: str
    b: str
    ohms: Spread
    volts: Spread | None = None


@dataclass(frozen=True, slots=True)
class Curve:
    """A nonlinear element between two nodes.

    `parameters`: saturation current and ideality of a diode; rated voltage, rated power and
    cold share of a lamp.
    """

    kind: Literal["diode", "lamp"]
    a: str
    b: str
    parameters: tuple[Spread, ...]


StateFields = Mapping[str, Mapping[str, Spread]]
"""State name to the slots in which it differs from the branches as listed."""


class Need(Model):
    """What a part needs to work: a voltage between two nodes."""

    between: Pair
    at_least: Volts


@dataclass(frozen=True, slots=True)
class Normal:
    """What a sound part reads.

    Attributes:
        what: in words, "drop along it, under load".
        value: with its unit, as in a plan.
        source: a standard, a handbook, or "common practice".
    """

    what: str
    value: str
    source: str


class Part(Model):
    """What all parts have in common."""

    say: str = Field("", description="how the part is spoken of; its name if not given")
    unit: str = Field("", description="what is replaced if it is faulty; the part if not given")
    needs: Need | None = Field(None, description="no function below this voltage")
    sound: bool = Field(False, description="true if no fault of it is asked about: a load beside")
    repair: str = Field("", description="what is done about it; the kind's remedy, if not given")
    faults: tuple[FaultMode, ...] = ()
    rate: float = Field(
        1.0, gt=0, description="how many times likelier than usual its usual faults are"
    )

    #: Fault modes that make sense only for some parts.
    modes: ClassVar[frozenset[str]] = frozenset()

    #: How the leads get to it, what to mind, what it reads when it is sound.
    probing: ClassVar[str] = ""
    cautions: ClassVar[tuple[str, ...]] = ()
    normal: ClassVar[tuple[Normal, ...]] = ()

    #: Electronics within: an ohmmeter's current tells nothing there, and may harm it.
    electronic: ClassVar[bool] = False

    #: What is done about it; what a place in it is called.
    remedy: ClassVar[str] = "Replace it by the maker's procedure."
    place: ClassVar[str] = ""

    def usual(self) -> tuple[FaultMode, ...]:
        """The faults that every part of this kind may have, with strengths and rates."""
        return ()

    def branches(self, name: str) -> tuple[Branch, ...]:
        """The linear branches; `name` makes inner nodes unique."""
        raise NotImplementedError

    def curves(self, name: str) -> tuple[Curve, ...]:
        """The nonlinear elements."""
        return ()

    def states(self) -> StateFields:
        """The states, the usual one first; empty if the part has none."""
        return {}

    def setting(self) -> Spread | None:
        """The usual position or temperature, if the part has one."""
        return None

    def nodes(self, name: str) -> Iterator[str]:
        """Every terminal, inner nodes included."""
        for branch in self.branches(name):
            yield from (branch.a, branch.b)
        for curve in self.curves(name):
            yield from (curve.a, curve.b)

    def across(self, name: str, at: str | None) -> list[Pair]:
        """The pairs of nodes that a short within the part joins, at one place or everywhere."""
        if (ends := getattr(self, "between", None)) is not None and at is None:
            return [ends]
        return [(b.a, b.b) for b in self.branches(name) if at in (None, b.slot)]

    def terminal(self, name: str, at: str | None) -> str:
        """The terminal that a wire fault touches unless it says where: the last one."""
        return self.across(name, at)[-1][-1]
