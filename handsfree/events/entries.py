"""What events are about: a take with its verdict, a guess, a question."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from handsfree.check import Comparison
from handsfree.meaning import (
    Command,
    Observation,
    Reading,
    Seen,
    SetCondition,
    State,
    Take,
    Telling,
)
from handsfree.meaning.plain import unit_symbol
from handsfree.units import show


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
    verdict: Comparison
    supersedes: int | None = None
    corrects: bool = False
    stands: bool = True

    @property
    def figures(self) -> str:
        """What was taken, in figures: "4.98 V", "min 9.6 V", "over limit", "ground"."""
        match self.take:
            case Reading(value=value, number=number, hold=hold, minus_leads=leads):
                if value is None:
                    return "over limit"
                amount = value.magnitude if number is None else number
                if leads is not None:
                    shown = f"{amount} {unit_symbol(value)} minus leads {show(leads)}"
                    return f"{hold} {show(value)} ({shown})".strip()
                return f"{hold} {amount} {unit_symbol(value)}".strip()
            case State(state=word, shown=Reading(value=value, number=number)) if value is not None:
                amount = value.magnitude if number is None else number
                return f"{word} ({amount} {unit_symbol(value)})"
            case State(state=word) | Observation(answer=word):
                return word


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


QuestionKind = Literal[
    "which", "confirm", "several", "correct", "finish", "meant", "jack", "leads", "battery"
]


@dataclass(frozen=True, slots=True)
class Question:
    """A question that is open.

    Attributes:
        kind: which (of the candidates), confirm (the candidate), several (the candidates, which
            were said in one breath, are confirmed together), correct (a value is awaited), finish
            (whether the job shall end), meant (whether that is what was asked for), jack (whether
            the lead was back from the current jack), leads or battery (what the meter shows of it
            while it is checked).
        step: the step whose take it is about; None for one that is about the job.
        candidates: takes between which is asked.
        steps: id of the step of each candidate, where these differ.
        supersedes: number of the entry that the answer replaces.
        asked: how often it has been asked.
        meant: what is done after "yes", for "meant".
        at: when that was said; see `UtteranceHeard`.
    """

    kind: QuestionKind
    step: str | None
    candidates: tuple[Take, ...] = ()
    steps: tuple[str, ...] = ()
    supersedes: int | None = None
    asked: int = 1
    meant: Command | SetCondition | Seen | Telling | None = None
    at: float | None = None
