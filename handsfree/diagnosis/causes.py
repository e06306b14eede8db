"""What may explain the readings, and how likely it is before the first one."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from handsfree.circuit.faults import Misreads, WrongPin
from handsfree.circuit.model import Circuit, Fault

NO_FAULT, TWO_FAULTS, UNKNOWN = 0.05, 0.05, 0.10
"""Share of complaints without a fault, with two, and with one that the plan does not know.
Common practice, no published source."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One explanation of the readings.

    Attributes:
        kind: "none of these" is a fault that the circuit does not list.
        faults: ids of the faults that are present.
    """

    kind: Literal["no fault", "fault", "two faults", "none of these"]
    faults: tuple[str, ...] = ()


SOUND, NONE_OF_THESE = Cause("no fault"), Cause("none of these")


def causes_of(
    circuit: Circuit, pairs: int, unseen: Collection[str] = frozenset()
) -> dict[Cause, float]:
    """Every cause with its prior probability; "none of these" comes last.

    Args:
        circuit: lists the faults and their relative odds.
        pairs: how many double faults, the likeliest first.
        unseen: ids of faults that no test shows; they are left out.
    """
    faults = [fault for fault in circuit.faults if fault.id not in unseen]
    total = sum(fault.odds for fault in faults)
    share = {fault.id: fault.odds / total for fault in faults}
    both = sorted(
        (pair for pair in combinations(faults, 2) if _together(*pair)),
        key=lambda pair: -pair[0].odds * pair[1].odds,
    )[:pairs]
    single = 1 - NO_FAULT - TWO_FAULTS - UNKNOWN
    causes = {SOUND: NO_FAULT}
    causes |= {Cause("fault", (fault.id,)): single * share[fault.id] for fault in faults}
    causes |= {
        Cause("two faults", (a.id, b.id)): TWO_FAULTS * 2 * share[a.id] * share[b.id]
        for a, b in both
    }
    causes[NONE_OF_THESE] = UNKNOWN
    known = sum(causes.values())  # the rarest double faults are left out
    return {cause: probability / known for cause, probability in causes.items()}


def _together(a: Fault, b: Fault) -> bool:
    """Two parts that break at once; a part breaks in one way, and a slip comes alone."""
    alone = WrongPin | Misreads
    return a.site != b.site and not isinstance(a.mode, alone) | isinstance(b.mode, alone)
