"""Of which utterances the sound is kept."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from handsfree.events.kinds import Asked, Event, Guessed, Noted, ReadingStruck, ReadingTaken

#: Of which utterances the sound is kept: none; those that a reading, a correction or a note came
#: of, or a question about a value; or every one.
Keep = Literal["never", "readings", "all"]


def kept(keep: Keep, events: Iterable[Event]) -> bool:
    """Whether the sound of an utterance is kept, by what came of it."""
    match keep:
        case "all":
            return True
        case "never":
            return False
        case "readings":
            return any(_bears_on_a_reading(event) for event in events)


def _bears_on_a_reading(event: Event) -> bool:
    match event:
        case ReadingTaken() | ReadingStruck() | Noted() | Guessed():
            return True
        case Asked(candidates=candidates, question=question):
            return bool(candidates or (question and question.supersedes))
    return False
