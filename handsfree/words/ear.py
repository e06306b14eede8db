"""One utterance in the ear of a model that writes text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import TypeAlias

import numpy as np

from handsfree.grammar import Automaton
from handsfree.words.acceptor import Acceptor, Listed, PerGrammar
from handsfree.words.recogniser import GivenUp, Recognition, always, recognition
from handsfree.words.search import Found, LogProbabilities, Search, TokenGrammar
from handsfree.words.spelling import Spelling, Tokens, letters_of

#: How far behind a text outside the grammar starts, as a natural logarithm: little that a
#: technician says while it listens is meant for somebody else.
OUTSIDE = 2.0
#: A text that is given is scored to its end, however unlikely it is.
_NEVER_GIVEN_UP = 200.0
#: A spelling of it that is less likely than another by this many nats adds nothing to it.
_SPELLED = 5.0


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


TakeIn: TypeAlias = Callable[[Sequence[Tokens]], Sequence[LogProbabilities]]
"""Takes in beginnings of a text that are new, in one pass of a model; log probabilities of what
follows each of them, shape (vocabulary,).  Each goes on, by one token, from one that is known
or that stands before it."""


class Ear:
    """An utterance that a model has taken in.

    What the model was once asked is kept: the same beginnings are met again and again.

    Args:
        first: log probabilities of the first token, shape (vocabulary,).
        take_in: the model.
        spelling: the tokens of the model.
        grammars: in these tokens.
        no_speech: whether the utterance is no speech, by the text that is heard freely.
        wanted: see `CanGiveUp`; asked before each pass.
    """

    def __init__(
        self,
        first: LogProbabilities,
        take_in: TakeIn,
        spelling: Spelling,
        grammars: PerGrammar[TokenGrammar],
        no_speech: Callable[[Found], bool] = lambda free: False,
        wanted: Callable[[], bool] = always,
    ) -> None:
        self._after: dict[Tokens, LogProbabilities] = {(): first}
        self._take_in = take_in
        self._spelling, self._grammars = spelling, grammars
        self._no_speech = no_speech
        self._wanted = wanted
        self._closing: Tokens = ()

    def search(self, grammar: Automaton, likely: float = -np.inf) -> Wordings:
        """The likeliest sentences, and what is heard without a grammar.

        Args:
            grammar: of the sentences.
            likely: score of one of them that is known already; far below it nothing is looked for.
        """
        search = Search(self._follow, self._spelling, likely=likely)
        found, free = search.run(self._grammars[grammar])
        self._closing = self._spelling.closing(found[0].tokens) if found else ()
        if free is None:
            return Wordings(self._texts(found))
        if self._no_speech(free):
            return Wordings(outside={"": 0.0})
        sentences, outside = self._texts(found), self._texts([free])
        return Wordings(sentences, {t: s for t, s in outside.items() if t not in sentences})

    def score(self, texts: Iterable[str]) -> dict[str, float]:
        """How likely these texts are.

        A spelling of each is taken in at once, since it is known; then only the others that are
        likely as well are still to be asked about.
        """
        texts = dict.fromkeys(texts)
        if texts:
            self._follow([self._likely_spelling(text) for text in texts])
        apart: dict[str, list[str]] = {}  # of those that differ in their punctuation alone
        for text in texts:
            apart.setdefault(letters_of(text), []).append(text)
        scores: dict[str, float] = {}
        for some in zip_longest(*apart.values()):
            scores |= self._score([text for text in some if text is not None])
        return scores

    def _score(self, texts: Sequence[str]) -> dict[str, float]:
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

    def _likely_spelling(self, text: str) -> Tokens:
        """The first word as it is likeliest, the others plainly, and at the end what was there."""
        if not text:
            return ()
        first, *others = text.split()
        begins = max(self._spelling.words(first), key=lambda tokens: self._after[()][tokens[0]])
        return sum(map(self._spelling.plain, others), begins) + self._closing

    def _follow(self, beginnings: Sequence[Tokens]) -> Sequence[LogProbabilities]:
        all_of_them = (tokens[: n + 1] for tokens in beginnings for n in range(len(tokens)))
        new = [tokens for tokens in dict.fromkeys(all_of_them) if tokens not in self._after]
        if new:
            if not self._wanted():
                raise GivenUp
            self._after.update(zip(new, self._take_in(new), strict=True))
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
