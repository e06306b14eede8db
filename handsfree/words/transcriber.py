"""From the sound of an utterance to what was heard."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from handsfree.dialogue.enrolled import Enrolled
from handsfree.grammar import Automaton
from handsfree.grammar.text import parse_text
from handsfree.heard import Heard
from handsfree.sound.endpoint import Utterance
from handsfree.words.apart import Apart
from handsfree.words.engines import open_engine
from handsfree.words.pace import in_time
from handsfree.words.recogniser import Recogniser, Recognition


class Transcriber:
    """Recognises utterances with one engine.

    Args:
        engine: see `open_engine`.
        model: folder of its model, or None for the one that is installed.
        apart: let it live in a process of its own.

    Attributes:
        enrolled: what is known of the voice that is heard; None if nothing is.

    Raises:
        Missing: the engine or its model is not there.
    """

    enrolled: Enrolled | None = None

    def __init__(self, engine: str, model: Path | None = None, *, apart: bool = False) -> None:
        opening = partial(open_engine, engine, model)
        self.recogniser: Recogniser = Apart(opening) if apart else opening()

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.recogniser.name

    def prepare(self, grammar: Automaton) -> None:
        """Let an engine that lives apart have a grammar that will be needed; from any thread."""
        if isinstance(self.recogniser, Apart):
            self.recogniser.prepare(grammar)

    def hear(self, utterance: Utterance, grammar: Automaton, hint: str = "") -> Heard:
        """What was said.

        Args:
            utterance: the sound.
            grammar: what may be said now.
            hint: words that are likely, for an engine that takes a prompt.
        """
        return self._heard(
            utterance, grammar, self.recogniser.recognise(utterance.sounding, grammar, hint)
        )

    def guess(self, utterance: Utterance, grammar: Automaton, hint: str = "") -> Heard | None:
        """What `hear` would say; None if `give_up` came meanwhile."""
        if not isinstance(self.recogniser, Apart):
            return self.hear(utterance, grammar, hint)
        result = self.recogniser.guess(utterance.sounding, grammar, hint)
        return None if result is None else self._heard(utterance, grammar, result)

    def give_up(self) -> None:
        """No guess of an engine that lives apart is waited for any more; from any thread."""
        if isinstance(self.recogniser, Apart):
            self.recogniser.give_up()

    def _heard(self, utterance: Utterance, grammar: Automaton, result: Recognition) -> Heard:
        if result.hypotheses and utterance.voiced is not None:
            result = in_time(result, utterance.voiced, self.recogniser.pace)
        heard = Heard(
            result.hypotheses,
            confidence=result.confidence,
            start=utterance.start,
            end=utterance.end,
            engine=self.name,
            numbers_trusted=self.recogniser.numbers_trusted,
            calibration=self.recogniser.calibration,
            broke=result.broke,
        )
        if self.enrolled is None or self.enrolled.engine != self.name:
            return heard
        return self.enrolled.corrected(heard, lambda text: bool(parse_text(grammar, text)))
