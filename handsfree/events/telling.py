"""What the technician tells of the vehicle itself, and what is worked out on request."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

_QUIET = {"left_out": True}


@dataclass(frozen=True, slots=True)
class PlanAmended:
    """The plan is another from now on: a wire or a condition was named, or what differs was told.

    Attributes:
        change: a piece of the plan's document; see `handsfree.plan.amended`.
        anew: the tests are others than before, and none of them is open.
    """

    change: Mapping[str, Any]
    anew: bool = field(default=False, metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class WireChosen:
    """What is said without a wire is of this one from now on; None for none."""

    pin: str | None


@dataclass(frozen=True, slots=True)
class DifferenceTold:
    """Two readings under one condition were compared on request.

    Attributes:
        wires, pins: of the two, the one that was named first first.
        condition: under which both were read.
        numbers: of their entries.
        first, second: the readings, in `unit`.
        difference: the first less the second.
        unit: of all three.
        drop: it was asked for as a drop from the first to the second.
    """

    wires: tuple[str, str]
    pins: tuple[str, str]
    condition: str
    numbers: tuple[int, int]
    first: float
    second: float
    difference: float
    unit: str
    drop: bool = field(default=False, metadata=_QUIET)

    @property
    def figures(self) -> str:
        """The difference in figures: "0.12 V"."""
        return f"{self.difference:.6g} {self.unit}".replace("-", "−")
