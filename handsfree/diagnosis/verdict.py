"""What may be said: found, a suspicion, not sure, no fault found here, or none of these.

One verdict, computed.  A part, or what no test left parts from it (`naming`), is named if its odds
are over `SURE`, hang on no one reading, and it has been tested itself (`proof`); without that test
it is a suspicion, as it is while all hangs on one reading.  If nothing is found, the
candidates are named with the test that would part them, or that no test left can.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np

from handsfree.circuit import Circuit, Fault
from handsfree.circuit.faults import Open, WornSegment
from handsfree.diagnosis.belief import SURE, Belief
from handsfree.diagnosis.choice import telling
from handsfree.diagnosis.naming import likeliest, nameable
from handsfree.diagnosis.proof import needed, proven

VerdictKind = Literal["found", "suspicion", "not sure", "no fault", "none of these"]

_TELLS = 0.05  # bits on the site, from which a test is worth naming
_LIKELY = 0.03  # probability from which a candidate is worth a word
_MOST = 3  # candidates that are named


UNKNOWN_FAULT = 1 / 16
"""Chance that a verdict which names no part is wrong whatever the readings say: a fault too small
for the meter, or one that nobody has listed.  Bounds its odds to 15.  Common practice, no published
source."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that may be at fault.

    Attributes:
        site: what is named: a part, or one contact of it.
        fault: its likeliest fault.
        probability: of all its faults together.
    """

    site: str
    fault: Fault
    probability: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """What may be said.

    Attributes:
        kind: how far it goes.
        candidates: what is named; if not sure, the likeliest first.
        odds: that the fault is among those named, at most 49; where none is named, that it is as
            said, at most 15.
        next_test: the reading on which a suspicion hangs, the test of the part itself, or the
            one that best parts the candidates; None if no test left can.
        blind: interruptions that no test here can see, if no fault is found.
    """

    kind: VerdictKind
    candidates: tuple[Candidate, ...]
    odds: float
    next_test: str | None
    blind: tuple[Fault, ...] = ()


def verdict(belief: Belief, circuit: Circuit, left: Collection[str] | None = None) -> Verdict:
    """The verdict on the readings so far.

    Args:
        belief: what they say.
        circuit: names the faults.
        left: tests that can still be made; those not made, if not given.
    """
    faults = {fault.id: fault for fault in circuit.faults}
    open_tests = [
        test
        for test in (belief.table.tests if left is None else left)
        if test in belief.table.number and test not in belief.made
    ]
    if belief.site is None:
        return _without_a_part(belief, faults, open_tests)
    named = tuple(_candidate(belief, faults, site) for site in belief.named)
    together = [one.fault for one in named]
    if belief.odds < SURE or not nameable(circuit, together):
        return _not_sure(belief, faults, open_tests)
    if belief.pivots:
        return Verdict("suspicion", named, belief.odds, belief.pivots[0])
    if proven(circuit, together, belief.made):
        return Verdict("found", named, belief.odds, None)
    own = [
        test
        for tests in needed(circuit, *together)
        if not tests.intersection(belief.made)
        for test in open_tests
        if test in tests
    ]
    return Verdict("suspicion", named, belief.odds, next(iter(own), None))


def _without_a_part(belief: Belief, faults: dict[str, Fault], left: list[str]) -> Verdict:
    kind: VerdictKind = (
        "no fault" if belief.table.causes[belief.leader].kind == "no fault" else "none of these"
    )
    if belief.sure or not _parting(belief, left):
        blind = _blind(belief, faults) if kind == "no fault" else ()
        return Verdict(kind, (), min(belief.odds, (1 - UNKNOWN_FAULT) / UNKNOWN_FAULT), None, blind)
    return _not_sure(belief, faults, left)


def _blind(belief: Belief, faults: dict[str, Fault]) -> tuple[Fault, ...]:
    """Interruptions that no test shows."""
    known = {fault for cause in belief.table.causes for fault in cause.faults}
    return tuple(
        fault
        for name, fault in faults.items()
        if name not in known and isinstance(fault.mode, Open | WornSegment)
    )


def _not_sure(belief: Belief, faults: dict[str, Fault], left: list[str]) -> Verdict:
    likely = [s for s, p in belief.masses.items() if p >= _LIKELY][:_MOST]
    candidates = tuple(_candidate(belief, faults, site) for site in likely)
    return Verdict("not sure", candidates, belief.odds, _parting(belief, left))


def _candidate(belief: Belief, faults: dict[str, Fault], site: str) -> Candidate:
    return Candidate(site, likeliest(belief, faults, site), belief.masses[site])


def _parting(belief: Belief, left: list[str]) -> str | None:
    """The test that best tells the likely sites apart; None if none does."""
    bits = telling(belief, left)
    return left[int(np.argmax(bits))] if len(left) and bits.max() >= _TELLS else None
