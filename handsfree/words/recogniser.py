"""The interface behind which every speech engine stands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from handsfree.grammar import Automaton
from handsfree.heard import Hypothesis
from handsfree.sound.audio import Samples


@dataclass(frozen=True, slots=True)
class Recognition:
    """What an engine made of one utterance.

    Attributes:
        hypotheses: n-best, best first; empty if nothing was understood.
        confidence: 0 to 1.
    """

    hypotheses: tuple[Hypothesis, ...]
    confidence: float = 0.0


class Recogniser(Protocol):
    """A speech engine held to a grammar.

    Attributes:
        name: of the engine.
        numbers_trusted: False if a number from this engine alone must be confirmed.
    """

    name: str
    numbers_trusted: bool

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """Understand one utterance.

        Args:
            samples: float32, shape (n,), 16 kHz mono, -1 to 1.
            grammar: what may be said now.
            hint: likely words in a sentence; engines that take no prompt pass it over.
        """
        ...


def ranked(scores: dict[str, float], best: int) -> tuple[Hypothesis, ...]:
    """Hypotheses from text to log score, best first, at most `best`."""
    order = sorted(scores.items(), key=lambda item: -item[1])[:best]
    return tuple(Hypothesis(text, score) for text, score in order if text)


def lead_share(hypotheses: tuple[Hypothesis, ...]) -> float:
    """Share of the first hypothesis in the belief of all, 0 to 1."""
    if not hypotheses:
        return 0.0
    top = hypotheses[0].score
    return 1 / sum(math.exp(h.score - top) for h in hypotheses)
