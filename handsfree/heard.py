"""What a recogniser hands on: an utterance with its n-best hypotheses."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One wording of an utterance.

    Attributes:
        text: lower-case words, as the engine wrote them.
        score: the engine's own log score; higher is better, comparable only within one n-best.
    """

    text: str
    score: float = 0.0


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance as an engine understood it.

    Attributes:
        hypotheses: best first; empty when nothing was understood.
        confidence: 0 to 1, how far the best stands out.
        start, end: seconds from the start of the audio it was cut from.
        engine: name of the engine.
        numbers_trusted: False if a number from this engine alone must be confirmed.
        clip: name of the stored audio clip, once there is one.
    """

    hypotheses: tuple[Hypothesis, ...]
    confidence: float = 1.0
    start: float = 0.0
    end: float = 0.0
    engine: str = "text"
    numbers_trusted: bool = True
    clip: str | None = None

    @property
    def text(self) -> str:
        """The best hypothesis, or an empty string."""
        return self.hypotheses[0].text if self.hypotheses else ""

    @classmethod
    def of_text(cls, text: str) -> Heard:
        """An utterance that was typed, or known for certain."""
        return cls((Hypothesis(text),))
