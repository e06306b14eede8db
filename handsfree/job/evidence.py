"""Of which utterance a value came: what was asked about was said before the answer was."""

from __future__ import annotations

from handsfree.events import Asked, Logged, Question, QuestionClosed, ReadingTaken, UtteranceHeard
from handsfree.meaning import State, Take


class SaidIn:
    """Follows a log, and tells in which of its utterances something was said.

    Attributes:
        utterance: `seq` and clip of the latest utterance, as fields of a line; empty if there is
            none.
    """

    def __init__(self) -> None:
        self.utterance: dict[str, object] = {}
        self._asked: dict[Take, dict[str, object]] = {}  # the values of the open question
        self._over = False

    def of_value(self, take: Take) -> dict[str, object]:
        """The same of a value that is taken now: if it was asked about, of what was said first."""
        shown = take.shown if isinstance(take, State) else None
        told = self._asked.get(take) or (self._asked.get(shown) if shown else None)
        return told or self.utterance

    def follow(self, logged: Logged) -> None:
        """Take up the next event of the log."""
        match logged.event:
            case UtteranceHeard():
                self.utterance = {"heard": logged.seq, "clip": logged.clip}
                if self._over:
                    self._asked, self._over = {}, False
            case Asked(question=Question(candidates=values)):
                known = self._asked
                self._asked = {value: known.get(value, self.utterance) for value in values}
                self._over = False
            case ReadingTaken() | QuestionClosed():
                self._over = True
