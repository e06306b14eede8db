"""The interface behind which every speech engine stands."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from handsfree.grammar import Automaton
from handsfree.heard import Calibration, Hypothesis
from handsfree.sound.audio import Samples


@dataclass(frozen=True, slots=True)
class Recognition:
    """What an engine made of one utterance.

    Attributes:
        hypotheses: n-best, best first; empty if nothing was understood.
        confidence: 0 to 1.
        broke: why the engine made nothing of it, if it broke down.
    """

    hypotheses: tuple[Hypothesis, ...]
    confidence: float = 0.0
    broke: str = ""


class GivenUp(Exception):
    """An utterance is not waited for any more."""


class CanGiveUp(Protocol):
    """An engine that looks, now and then, whether its answer is still wanted.

    Attributes:
        wanted: tells it; where it is not, the engine raises `GivenUp`.
    """

    wanted: Callable[[], bool]


class Recogniser(Protocol):
    """A speech engine held to a grammar.

    Attributes:
        name: of the engine.
        numbers_trusted: False if a number from this engine alone must be confirmed.
        calibration: how its belief becomes the probability that it is right.
        pace: weight of how well the words fit the time that they took; 0 for an engine whose
            scores know that.
    """

    name: str
    numbers_trusted: bool
    pace: float
    calibration: Calibration

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """Understand one utterance.

        Args:
            samples: float32, shape (n,), 16 kHz mono, -1 to 1.
            grammar: what may be said now.
            hint: likely words in a sentence; engines that take no prompt pass it over.
        """
        ...


def always() -> bool:
    """An answer that is wanted in any case."""
    return True


def recognition(scores: Mapping[str, float], best: int = 10) -> Recognition:
    """What an engine's scored texts amount to.

    Args:
        scores: text to natural logarithm of its likelihood; an empty text stands for silence.
        best: most hypotheses that are kept.

    Returns:
        The confidence is the share of the best text in the belief of all.  Nothing is
        understood where silence is the best.
    """
    order = sorted(scores.items(), key=lambda item: -item[1])[:best]
    if not order or not order[0][0]:
        return Recognition(())
    top = order[0][1]
    share = 1 / sum(math.exp(score - top) for _, score in order)
    return Recognition(tuple(Hypothesis(text, score) for text, score in order if text), share)
