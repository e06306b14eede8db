"""Of which utterance a value came: what was asked about was said before the answer was."""

from __future__ import annotations

from handsfree.events import Asked, Logged, Question, QuestionClosed, ReadingTaken, UtteranceHeard
from handsfree.meaning import Command

#: Commands that answer a question with one of its values.
_ANSWERS = ("yes", "choice", "wire")


class SaidIn:
    """Follows a log, and tells in which of its utterances something was said.

    Attributes:
        utterance: `seq` and clip of the latest utterance, as fields of a line; empty if there is
            none.
    """

    def __init__(self) -> None:
        self.utterance: dict[str, object] = {}
        self._asked: dict[str, object] = {}  # of the values of the open question
        self._question: Question | None = None
        self._answered = self._over = False

    @property
    def value(self) -> dict[str, object]:
        """The same of a value that is taken now: of the one asked about, if that is confirmed."""
        return self._asked if self._answered and self._asked else self.utterance

    def follow(self, logged: Logged) -> None:
        """Take up the next event of the log."""
        match logged.event:
            case UtteranceHeard(understood=understood):
                self.utterance = {"heard": logged.seq, "clip": logged.clip}
                if self._over:
                    self._asked, self._question, self._over = {}, None, False
                meaning = understood.meaning
                self._answered = isinstance(meaning, Command) and meaning.name in _ANSWERS
            case Asked(question=Question(candidates=values, step=step) as question) if values:
                known = self._question
                if known is None or (known.candidates, known.step) != (values, step):
                    self._asked = self.utterance
                self._question, self._over = question, False
            case Asked(question=Question()):
                self._asked, self._question = {}, None
            case ReadingTaken() | QuestionClosed():
                self._over = True
