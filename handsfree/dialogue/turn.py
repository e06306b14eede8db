"""What comes of something that was said: events, and the session that they lead to.

Events come in the order in which they must happen: what is recorded comes before what is said,
so that nothing is read back that is not logged.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from handsfree.dialogue.session import Session
from handsfree.events import Asked, Event, QuestionClosed, Spoke


@dataclass(frozen=True, slots=True)
class Turn:
    """A session, and the events that led to it.

    Attributes:
        session: after the events.
        events: in order.
    """

    session: Session
    events: tuple[Event, ...] = ()

    def then(self, *events: Event) -> Turn:
        """And then this happens."""
        session = self.session
        for event in events:
            session = session.after(event)
        return Turn(session, (*self.events, *events))

    def and_then(self, following: Turn) -> Turn:
        """And then what follows from the session as it is now."""
        return Turn(following.session, (*self.events, *following.events))

    def led_by(self, words: Iterable[str]) -> Turn:
        """With `words` said first, in the same breath as the first thing said."""
        for index, event in enumerate(self.events):
            if isinstance(event, Spoke | Asked):
                text = join([*words, event.text])
                events = (
                    *self.events[:index],
                    replace(event, text=text),
                    *self.events[index + 1 :],
                )
                return Turn(self.session, events)
        return Turn(self.session, (*self.events, Spoke(join(words))))

    def ended_by(self, words: str) -> Turn:
        """With `words` said in the same breath as the last thing, if that is something said."""
        *before, last = self.events
        if not words or not isinstance(last, Spoke | Asked):
            return self
        return Turn(self.session, (*before, replace(last, text=join([last.text, words]))))


def closed(session: Session) -> Turn:
    """The open question, if there is one, is no longer open."""
    return Turn(session).then(QuestionClosed()) if session.question else Turn(session)


def join(texts: Iterable[str]) -> str:
    """Sentences in one breath, empty ones left out."""
    return " ".join(text for text in texts if text)
