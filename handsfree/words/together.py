"""Two models that judge together.

Each model finds the likeliest sentences of the grammar and what it hears freely; every text
that either has found is then scored by both, and their logarithms are added with weights (a
log-linear combination).  Models that were trained apart err apart: where they agree, the text
is far more often right than either alone believes.

Moonshine is the sooner done: what it has found Whisper scores before it searches, so that it need
not follow what is far less likely.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from concurrent.futures import ThreadPoolExecutor
from heapq import nlargest

import numpy as np
from numpy.typing import NDArray

from handsfree.grammar import Automaton
from handsfree.heard import Calibration
from handsfree.sound.audio import RATE, Samples
from handsfree.words.ear import Ear, Wordings
from handsfree.words.moonshine_engine import MoonshineRecogniser
from handsfree.words.recogniser import Recognition
from handsfree.words.whisper_engine import WhisperRecogniser

#: Weights of Whisper and of Moonshine; as the next, among those with the fewest questions at as
#: many silent errors, of twenty-five that were tried on the accents to tune with.
WEIGHTS = (0.8, 0.4)
#: How far at most a model pushes a text behind its best one, in nats: it may be mistaken.
#: Moonshine hears little in loud noise, and there its opinion must not count for much.
DOUBTS = (10.0, 5.0)
#: Of the sentences that each model finds, so many are scored by the other as well.
SCORED = 5


class Together:
    """Whisper and Moonshine.

    Args:
        whisper: takes the hint, and knows what is no speech.
        moonshine: its judge.
    """

    name = "whisper+moonshine"
    numbers_trusted = True
    pace = 0.3
    calibration = Calibration(offset=0.02, odds=0.54)
    """Fitted on the accents to tune with and on the recordings at hand, as the weights."""

    def __init__(self, whisper: WhisperRecogniser, moonshine: MoonshineRecogniser) -> None:
        self._whisper, self._moonshine = whisper, moonshine
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="moonshine")

    @property
    def wanted(self) -> Callable[[], bool]:
        """See `CanGiveUp`."""
        return self._whisper.wanted

    @wanted.setter
    def wanted(self, wanted: Callable[[], bool]) -> None:
        self._whisper.wanted = self._moonshine.wanted = wanted

    def recognise(self, samples: Samples, grammar: Automaton, hint: str = "") -> Recognition:
        """See `Recogniser.recognise`."""
        return combined(self.both(samples, grammar, hint)).recognition()

    def warm_up(self, grammar: Automaton) -> None:
        """Make what both make once, so that the first utterance does not wait for it."""
        self.recognise(np.zeros(RATE, np.float32), grammar)

    def both(
        self, samples: Samples, grammar: Automaton, hint: str = ""
    ) -> tuple[Wordings, Wordings]:
        """What each makes of all texts that either has found."""

        def other() -> tuple[Ear, Wordings]:
            ear = self._moonshine.listen(samples)
            return ear, ear.search(grammar)

        second = self._pool.submit(other)
        with self._whisper.quietly():
            one_ear = self._whisper.listen(samples, hint)
            other_ear, two = second.result()
            known = one_ear.score(_likeliest(two))
            likely = max((known[t] for t in known if t in two.sentences), default=-np.inf)
            one = one_ear.search(grammar, likely)
        if not one.sentences:  # no speech
            return one, one
        texts = list(dict.fromkeys([*_likeliest(one), *_likeliest(two)]))
        sentences = one.sentences.keys() | two.sentences.keys()
        more = other_ear.score([t for t in texts if t not in two.scores])
        return _of(texts, one.scores | known, sentences), _of(texts, two.scores | more, sentences)


def _likeliest(found: Wordings) -> list[str]:
    """Of which one may win; what is heard freely among them."""
    best = nlargest(SCORED, found.sentences, key=found.sentences.__getitem__)
    return [*best, *(text for text in found.outside if text not in best)]


def _of(texts: list[str], scores: Mapping[str, float], sentences: Set[str]) -> Wordings:
    """These texts, those of the grammar apart."""
    return Wordings(
        {t: scores[t] for t in texts if t in sentences},
        {t: scores[t] for t in texts if t not in sentences},
    )


def combined(
    both: tuple[Wordings, Wordings],
    weights: tuple[float, float] = WEIGHTS,
    doubts: tuple[float, float] = DOUBTS,
) -> Wordings:
    """The weighted sum of what both say of the same texts."""
    texts = [*both[0].outside, *both[0].sentences]
    if not texts:
        return Wordings()
    total = np.zeros(len(texts))
    for said, weight, doubt in zip(both, weights, doubts, strict=True):
        scores = {**said.outside, **said.sentences}
        total += held_within(np.array([scores[text] for text in texts]), weight, doubt)
    found = dict(zip(texts, total.tolist(), strict=True))
    return Wordings(
        {t: found[t] for t in both[0].sentences}, {t: found[t] for t in both[0].outside}
    )


def held_within(scores: NDArray[np.float64], weight: float, doubt: float) -> NDArray[np.float64]:
    """Scores of one model, weighted, and nowhere more than about `doubt` below the best."""
    best = scores.max()
    return np.asarray(weight * best + np.logaddexp(weight * (scores - best), -doubt))
