"""What people mostly want when they speak to the tool, told by how near sentences are to it.

A sentence is encoded as a vector, near those of sentences that mean the same; a linear classifier
(multinomial logistic regression) tells the intents apart by it, and by a few cues of the text and
the moment.  How it is learnt: tests/learn_intents.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.circuit.values import Array


@dataclass(frozen=True)
class Intents:
    """The intents of a language, and what tells them apart.

    Attributes:
        names: of the intents.
        weights: shape (E + C + 1, len(names)), of the E parts of an encoded sentence, the C cues
            and a constant.
        encode: a sentence as a vector of length 1, shape (E,).
    """

    names: tuple[str, ...]
    weights: Array
    encode: Callable[[str], Array]

    def shares(self, text: str, cues: Sequence[float]) -> dict[str, float]:
        """The probability of each intent, together 1.

        Args:
            text: a sentence.
            cues: C numbers from 0 to 1.
        """
        told = np.concatenate([self.encode(text), cues, [1.0]]) @ self.weights
        odds = np.exp(told - told.max())
        return dict(zip(self.names, (odds / odds.sum()).tolist(), strict=True))
