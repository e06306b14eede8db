"""What a finding stands on: the readings that decided it, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from handsfree.circuit import Fault
from handsfree.diagnosis import Explanation
from handsfree.diagnosis.plain import written_odds
from handsfree.events import Logged, VerdictReached
from handsfree.log import JobRecord
from handsfree.log.standing import LoggedReading

#: Times by which a reading changes the odds before it is said to speak for or against a cause.
SPEAKS = 2.0


@dataclass(frozen=True, slots=True)
class Basis:
    """The verdict that holds, and what it stands on.

    Attributes:
        event: of the verdict.
        verdict: it.
    """

    event: Logged
    verdict: VerdictReached

    @property
    def explanation(self) -> Explanation | None:
        """The causes ranked, if the log holds them."""
        return self.verdict.explanation

    @property
    def steps(self) -> tuple[str, ...]:
        """Steps whose readings speak for what was found, the most telling first."""
        found, finding = self.explanation, self.verdict.finding
        if found is not None and found.ranking and found.ranking[0].evidence:
            told = sorted(found.ranking[0].evidence, key=lambda e: -e.ratio)
            return tuple(e.test for e in told if e.ratio > SPEAKS)
        if finding is None:
            return ()
        failed = [s for s, o in self.verdict.outcomes.items() if o in ("fail", "low", "high")]
        return tuple(sorted(finding.when, key=lambda step: step not in failed))

    @property
    def sureness(self) -> str:
        """How sure the finding is, in a sentence."""
        found = self.explanation
        if found is None:
            return "By a rule of the plan; odds were not computed."
        odds = written_odds(found.verdict.odds)
        match found.verdict.kind:
            case "found":
                return f"Found, with odds of {odds} computed from the circuit and the readings."
            case "suspicion":
                return f"A suspicion, odds {odds}: the part itself has not been tested."
            case "not sure":
                return "Not sure: more than one cause fits the readings."
            case "no fault":
                return f"No fault was found here, odds {odds}."
            case "none of these":
                return f"None of the known causes fits, odds {odds}."

    def faults(self, record: JobRecord) -> tuple[Fault, ...]:
        """What is named, as faults of the plan's circuit."""
        found, circuit = self.explanation, record.plan.circuit
        if found is not None and found.verdict.kind in ("found", "suspicion"):
            return tuple(one.fault for one in found.verdict.candidates)
        named = self.verdict.finding.faults if self.verdict.finding and not found else ()
        return tuple(circuit.fault(one) for one in named) if circuit else ()


def basis(record: JobRecord) -> Basis | None:
    """The verdict that holds; None if there is none, or it was withdrawn."""
    held = record.verdict
    if not isinstance(held, VerdictReached):
        return None
    event = next(e for e in reversed(record.events) if e.event is held)
    return Basis(event, held)


def decisive(record: JobRecord, most: int = 3) -> tuple[LoggedReading, ...]:
    """The readings that decided what was found, the most telling first.

    Where nothing was found, those that failed.
    """
    standing = {r.entry.step: r for r in record.readings.standing}
    held = basis(record)
    steps = held.steps if held else ()
    failed = [step for step, r in standing.items() if not r.entry.verdict.passed
              and r.entry.verdict.result != "logged"]  # fmt: skip
    chosen = dict.fromkeys((*steps, *failed))
    return tuple(standing[step] for step in chosen if step in standing)[:most]


def on_the_scale(odds: float, end: float = 100.0) -> float:
    """Where odds stand on one scale, 0 to 1: even odds in the middle, `end`:1 at its end."""
    share = math.log10(min(max(odds, 1 / end), end)) / math.log10(end)
    return (share + 1) / 2
