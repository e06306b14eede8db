"""What the dialogue remembers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from handsfree.check import Verdict
from handsfree.grammar.moment import Moment
from handsfree.meaning import Take
from handsfree.plan.schema import Finding, Outcome

Phase = Literal["test", "verdict", "after_repair", "finished"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One take at one step; it stands until it is struck or superseded.

    Attributes:
        number: counts from 1 within the job.
        step: id of the step it belongs to.
        condition: id of the condition it was taken under.
        take: the reading, state or observation.
        verdict: the comparison with what was expected.
        supersedes: number of the entry it replaces.
        corrects: whether that one was wrong; else both were measured, one after the other.
        stands: False once struck or superseded.
    """

    number: int
    step: str
    condition: str
    take: Take
    verdict: Verdict
    supersedes: int | None = None
    corrects: bool = False
    stands: bool = True


@dataclass(frozen=True, slots=True)
class Guess:
    """What the apprentice expected at a step, and whether that was right.

    Attributes:
        step: id of the step.
        take: what was expected; None if the apprentice did not know.
        right: whether the step would have passed with it.
    """

    step: str
    take: Take | None
    right: bool


@dataclass(frozen=True, slots=True)
class Question:
    """A question that is open.

    Attributes:
        kind: which (of the candidates), confirm (the candidate), correct (a value is awaited),
            finish (whether the job shall end).
        step: the step whose take it is about; None for one that is about the job.
        candidates: takes between which is asked.
        steps: id of the step of each candidate, where these differ.
        supersedes: number of the entry that the answer replaces.
        asked: how often it has been asked.
    """

    kind: Literal["which", "confirm", "correct", "finish"]
    step: str | None
    candidates: tuple[Take, ...] = ()
    steps: tuple[str, ...] = ()
    supersedes: int | None = None
    asked: int = 1


@dataclass(frozen=True, slots=True)
class Session:
    """Where the dialogue stands.  A new one is made by every response.

    Attributes:
        phase: test, verdict (awaiting the repair), after_repair, finished.
        step: id of the open step; None when no step is open.
        condition: id of the condition that is set, as far as is known.
        entries: every take, in order; nothing is removed.
        skipped: ids of the steps that were skipped.
        visited: steps that were open before this one, latest last.
        question: the open question.
        paused: True while only the wake words count.
        misses: unclear utterances in a row.
        finding: the verdict, once there is one.
        guesses: what the apprentice expected, in order.
        sweep: flaws of a sweep that was imported; None if none was.
        setups: what is made for a test and stays so: trim off, connector unplugged.
    """

    phase: Phase = "test"
    step: str | None = None
    condition: str | None = None
    entries: tuple[Entry, ...] = ()
    skipped: frozenset[str] = frozenset()
    visited: tuple[str, ...] = ()
    question: Question | None = None
    paused: bool = False
    misses: int = 0
    finding: Finding | None = None
    guesses: tuple[Guess, ...] = ()
    setups: frozenset[str] = frozenset()
    sweep: tuple[str, ...] | None = None

    @property
    def moment(self) -> Moment:
        """Which grammar is active."""
        if self.paused:
            return "asleep"
        return "answering" if self.question else "listening"

    @property
    def standing(self) -> dict[str, Entry]:
        """The entry that counts, by step id."""
        return {e.step: e for e in self.entries if e.stands}

    @property
    def taken(self) -> Mapping[str, Take]:
        """The take that counts, by step id."""
        return {step: entry.take for step, entry in self.standing.items()}

    @property
    def outcomes(self) -> dict[str, Outcome]:
        """Outcome by step id, for the plan's rules."""
        outcomes: dict[str, Outcome] = dict.fromkeys(self.skipped, "skipped")
        for step, entry in self.standing.items():
            if entry.verdict.outcome:
                outcomes[step] = entry.verdict.outcome
        return outcomes

    @property
    def last(self) -> Entry | None:
        """The latest entry that stands."""
        return next((e for e in reversed(self.entries) if e.stands), None)

    @property
    def measured(self) -> tuple[Entry, ...]:
        """The entries that stand, and those that were measured once more: both are evidence."""
        counted = {e.number for e in self.entries if e.stands}
        for entry in reversed(self.entries):
            if entry.number in counted and entry.supersedes and not entry.corrects:
                counted.add(entry.supersedes)
        return tuple(e for e in self.entries if e.number in counted)
