"""From sound to what was heard: utterances, of files or of a microphone, recognised."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.grammar import Automaton
from handsfree.heard import Heard
from handsfree.sound.audio import load
from handsfree.sound.endpoint import Endpointer, Utterance
from handsfree.words import Recogniser, in_time, open_engine


@dataclass(frozen=True, slots=True)
class Sound:
    """An utterance and where it comes from.

    Attributes:
        utterance: samples and times.
        source: file name, or "microphone".
    """

    utterance: Utterance
    source: str


class Ears:
    """Recognises utterances with one engine.

    Args:
        engine: see `open_engine`.
        model: folder of its model, or None for the one that is installed.

    Raises:
        Missing: the engine or its model is not there.
    """

    def __init__(self, engine: str, model: Path | None = None) -> None:
        self.recogniser: Recogniser = open_engine(engine, model)

    @property
    def name(self) -> str:
        """Name of the engine."""
        return self.recogniser.name

    def hear(self, utterance: Utterance, grammar: Automaton, hint: str = "") -> Heard:
        """What was said.

        Args:
            utterance: the sound.
            grammar: what may be said now.
            hint: words that are likely, for an engine that takes a prompt.
        """
        result = self.recogniser.recognise(utterance.samples, grammar, hint)
        if utterance.voiced is not None:
            result = in_time(result, utterance.voiced, self.recogniser.pace)
        return Heard(
            result.hypotheses,
            confidence=result.confidence,
            start=utterance.start,
            end=utterance.end,
            engine=self.name,
            numbers_trusted=self.recogniser.numbers_trusted,
            calibration=self.recogniser.calibration,
        )


def files(paths: Iterable[Path]) -> Iterator[Sound]:
    """The utterances of recordings, in order; every file is read before the first is heard.

    Raises:
        BadInput: a file cannot be used.
    """
    recordings = [(path, load(path)) for path in paths]

    def each() -> Iterator[Sound]:
        for path, audio in recordings:
            endpointer = Endpointer()
            for utterance in [*endpointer.feed(audio.samples), *endpointer.flush()]:
                yield Sound(utterance, path.name)

    return each()
