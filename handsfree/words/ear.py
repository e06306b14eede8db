"""One utterance in the ear of a model that writes text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

import numpy as np

from handsfree.grammar import Automaton
from handsfree.words.acceptor import Acceptor, Listed, PerGrammar
from handsfree.words.recogniser import GivenUp, Recognition, always, recognition
from handsfree.words.search import Found, LogProbabilities, Search, TokenGrammar
from handsfree.words.spelling import Spelling, Tokens

MemoryT = TypeVar("MemoryT")

#: How far behind a text outside the grammar starts, as a natural logarithm: little that a
#: technician says while it listens is meant for somebody else.
OUTSIDE = 2.0
#: A text that is given is scored to its end, however unlikely it is.
_NEVER_GIVEN_UP = 200.0
#: A spelling of it that is less likely than another by this many nats adds nothing to it.
_SPELLED = 10.0


@dataclass(frozen=True, slots=True)
class Wordings:
    """What a model heard: texts with the natural logarithm of their likelihood.

    Attributes:
        sentences: of the grammar.
        outside: the likeliest text without a grammar, if it is likely; empty for silence.
    """

    sentences: dict[str, float] = field(default_factory=dict)
    outside: dict[str, float] = field(default_factory=dict)

    @property
    def scores(self) -> dict[str, float]:
        """All texts."""
        return self.outside | self.sentences

    def recognition(self) -> Recognition:
        """As hypotheses."""
        outside = {t: score - (OUTSIDE if t else 0) for t, score in self.outside.items()}
        return recognition({**outside, **self.sentences})


class Ear(Generic[MemoryT]):
    """An utterance that a model has taken in.

    What the model was once asked is kept: the same beginnings are met again and again.

    Args:
        first: log probabilities of the first token, shape (vocabulary,).
        memory: of the model before that token.
        step: takes one token for each of these rows of memories; log probabilities of what
            comes next, shape (rows, vocabulary), and the memory with the tokens in it.
        spelling: the tokens of the model.
        grammars: in these tokens.
        no_speech: whether the utterance is no speech, by the text that is heard freely.
        wanted: see `CanGiveUp`; asked before each step.
    """

    def __init__(
        self,
        first: LogProbabilities,
        memory: MemoryT,
        step: Callable[
            [Sequence[tuple[MemoryT, int]], Sequence[int]], tuple[LogProbabilities, MemoryT]
        ],
        spelling: Spelling,
        grammars: PerGrammar[TokenGrammar],
        no_speech: Callable[[Found], bool] = lambda free: False,
        wanted: Callable[[], bool] = always,
    ) -> None:
        self._after: dict[Tokens, LogProbabilities] = {(): first}
        self._places: dict[Tokens, tuple[MemoryT, int]] = {(): (memory, 0)}
        self._step = step
        self._spelling, self._grammars = spelling, grammars
        self._no_speech = no_speech
        self._wanted = wanted

    def search(self, grammar: Automaton) -> Wordings:
        """The likeliest sentences, and what is heard without a grammar."""
        search = Search(self._follow, self._spelling)
        found, free = search.run(self._grammars[grammar])
        if free is None:
            return Wordings(self._texts(found))
        if self._no_speech(free):
            return Wordings(outside={"": 0.0})
        sentences, outside = self._texts(found), self._texts([free])
        return Wordings(sentences, {t: s for t, s in outside.items() if t not in sentences})

    def score(self, texts: Iterable[str]) -> dict[str, float]:
        """How likely these texts are."""
        texts = dict.fromkeys(texts)
        if not texts:
            return {}
        search = Search(
            self._follow,
            self._spelling,
            width=3 * len(texts),
            slack=_NEVER_GIVEN_UP,
            spelled=_SPELLED,
        )
        listed = TokenGrammar(Listed(texts), self._spelling)
        found = self._texts(search.run(listed, freely=False)[0])
        return {text: found.get(text, -_NEVER_GIVEN_UP) for text in texts}

    def _follow(self, beginnings: Sequence[Tokens]) -> Sequence[LogProbabilities]:
        new = [tokens for tokens in dict.fromkeys(beginnings) if tokens not in self._after]
        if new:
            if not self._wanted():
                raise GivenUp
            before = [self._places[tokens[:-1]] for tokens in new]
            scores, memory = self._step(before, [tokens[-1] for tokens in new])
            for row, tokens in enumerate(new):
                self._after[tokens], self._places[tokens] = scores[row], (memory, row)
        return [self._after[tokens] for tokens in beginnings]

    def _texts(self, found: Iterable[Found]) -> dict[str, float]:
        scores: dict[str, float] = {}
        for hypothesis in found:
            text = self._spelling.text(hypothesis.tokens)
            scores[text] = float(np.logaddexp(scores.get(text, -np.inf), hypothesis.score))
        return scores


def token_grammars(spelling: Spelling) -> PerGrammar[TokenGrammar]:
    """Grammars in the tokens of a model, each made once."""
    return PerGrammar(lambda grammar: TokenGrammar(Acceptor(grammar), spelling))
