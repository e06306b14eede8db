"""What the dialogue wants done, in the order in which it must happen.

The outside logs an effect before it speaks it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from handsfree.diagnosis import Explanation
from handsfree.dialogue.session import Entry, Guess
from handsfree.meaning import Take
from handsfree.plan.schema import Finding, Outcome


@dataclass(frozen=True, slots=True)
class Say:
    """Speak `text`."""

    text: str


@dataclass(frozen=True, slots=True)
class Ask:
    """Speak a question; `candidates` are the takes between which is asked."""

    text: str
    candidates: tuple[Take, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """Log an entry; if it supersedes another, that one no longer counts."""

    entry: Entry


@dataclass(frozen=True, slots=True)
class Strike:
    """Log that an entry no longer counts."""

    entry: Entry


@dataclass(frozen=True, slots=True)
class Move:
    """Log that a step is open."""

    step: str
    condition: str
    skipped: str | None = None


@dataclass(frozen=True, slots=True)
class WriteNote:
    """Log a note; its text is unverified, the sound counts."""

    text: str


@dataclass(frozen=True, slots=True)
class Teach:
    """Log what the apprentice expected."""

    guess: Guess


@dataclass(frozen=True, slots=True)
class Conclude:
    """Log the verdict: of the plan's rules, or computed from its circuit; None if neither.

    Attributes:
        finding: the part, and what to do.
        outcomes: what the rules saw.
        explanation: the causes ranked, if the plan describes its circuit.
        withdrawn: the verdict before no longer holds, and the tests are open again.
    """

    finding: Finding | None
    outcomes: Mapping[str, Outcome] = field(default_factory=dict)
    explanation: Explanation | None = None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class Finish:
    """Log the end of the job."""

    status: Literal["verified", "not verified"]
    missing: tuple[str, ...] = ()


Effect = Say | Ask | Record | Strike | Move | WriteNote | Teach | Conclude | Finish


def join(texts: Iterable[str]) -> str:
    """Sentences in one breath, empty ones left out."""
    return " ".join(text for text in texts if text)


def lead(effects: list[Effect], words: Iterable[str]) -> list[Effect]:
    """`effects` with `words` said first, in the same breath as the first thing said."""
    for index, effect in enumerate(effects):
        if isinstance(effect, Say):
            said = Say(join([*words, effect.text]))
            return [*effects[:index], said, *effects[index + 1 :]]
    return [*effects, Say(join(words))]
