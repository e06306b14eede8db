"""What a recogniser hands on: an utterance with its n-best hypotheses."""

from __future__ import annotations

import math
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
class Calibration:
    """How an engine's belief becomes the probability that it is right.

    A logistic regression (Platt 1999, "Probabilistic outputs for support vector machines") on
    the log odds of the belief and on the score of the best hypothesis: what stands out among
    its rivals may still fit the sound badly.

    Attributes:
        offset, odds, score: its coefficients; as they stand, belief is taken for probability.
    """

    offset: float = 0.0
    odds: float = 1.0
    score: float = 0.0

    def probability(self, belief: float, score: float) -> float:
        """Probability of being right.

        Args:
            belief: share of all hypotheses that mean the same, 0 to 1.
            score: of the best hypothesis.
        """
        if belief <= 0 or belief >= 1:
            return min(max(belief, 0.0), 1.0)
        odds = math.log(belief / (1 - belief))
        likely = self.offset + self.odds * odds + self.score * score
        return 1 / (1 + math.exp(-likely)) if likely > 0 else 1 - 1 / (1 + math.exp(likely))


TYPED = "text"
"""Stands for the engine where nothing was heard."""


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
        calibration: of the engine.
        broke: why the engine made nothing of it, if it broke down.
        at: when it was said, in seconds since 1970, UTC; None if nobody tells it.
    """

    hypotheses: tuple[Hypothesis, ...]
    confidence: float = 1.0
    start: float = 0.0
    end: float = 0.0
    engine: str = TYPED
    numbers_trusted: bool = True
    clip: str | None = None
    calibration: Calibration = Calibration()
    broke: str = ""
    at: float | None = None

    @property
    def text(self) -> str:
        """The best hypothesis, or an empty string."""
        return self.hypotheses[0].text if self.hypotheses else ""

    @property
    def shares(self) -> list[float]:
        """The share of the belief that each hypothesis has: the softmax of their scores.

        In plain Python, since SciPy takes longer to import than a text takes to be understood.
        """
        best = max((h.score for h in self.hypotheses), default=0.0)
        weights = [math.exp(h.score - best) for h in self.hypotheses]
        return [weight / sum(weights) for weight in weights]

    @property
    def typed(self) -> bool:
        """Whether the words are known for certain."""
        return self.engine == TYPED

    @classmethod
    def of_text(cls, text: str) -> Heard:
        """An utterance that was typed, or known for certain."""
        return cls((Hypothesis(text),))
