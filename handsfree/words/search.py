"""Beam search over the tokens of a speech model, held to a grammar.

Only tokens that go on with a sentence of the grammar are followed, yet their probabilities
stay as the model gave them: what the grammar forbids is not shared out among what it
allows.  So a sentence that fits the sound badly keeps a low score.  Beside the beam runs
one greedy hypothesis that is free of the grammar, as the measure of that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from handsfree.grammar import ANY
from handsfree.words.acceptor import AcceptorState, Sentences
from handsfree.words.spelling import Spelling, Tokens

LogProbabilities: TypeAlias = NDArray[np.float32]
Follow: TypeAlias = Callable[[Sequence[Tokens]], Sequence[LogProbabilities]]
"""Gives the log probabilities of what comes next, shape (vocabulary,), after each of these
beginnings; all are equally long, and were followed up to their last token before."""


def log_probabilities(logits: NDArray[np.float32]) -> LogProbabilities:
    """Log softmax over the last axis, in place."""
    rows = logits.reshape(-1, logits.shape[-1])
    for row in rows:  # one fits into the cache of a processor
        row -= row.max()
        row -= np.log(np.exp(row).sum())
    return rows.reshape(logits.shape)


#: Natural logarithm below the best from which a hypothesis no longer matters.
SLACK = 6.0
#: Mean log probability a token of a sentence that may well be what was said.  While none is as
#: likely, a long text is followed to its end, however little is left of its probability: talk
#: about something else must not be lost against two words of the grammar.
LIKELY = -1.5


class Stand(NamedTuple):
    """One way to stand between two tokens.

    Attributes:
        state: of the acceptor, after the word that is being spelled.
        rest: tokens of that word still to come.
        marked: whether a punctuation mark follows the word already.
    """

    state: AcceptorState
    rest: Tokens
    marked: bool


Place = frozenset[Stand]
"""Every way to stand between two tokens."""


class Move(NamedTuple):
    """What may follow at a place.

    Attributes:
        tokens: shape (n,).
        places: the place after each.
        wild: the place after any token whatever, where free dictation is allowed.
        final: whether a sentence may end here.
    """

    tokens: NDArray[np.intp]
    places: Sequence[Place]
    wild: Place | None
    final: bool


class TokenGrammar:
    """A grammar in the tokens of a model.

    Args:
        sentences: the grammar in words.
        spelling: how words are written.
    """

    def __init__(self, sentences: Sentences, spelling: Spelling) -> None:
        self._sentences, self._spelling = sentences, spelling
        self._made: dict[Place, Move] = {}
        self.start: Place = frozenset([Stand(sentences.start, (), marked=True)])

    def move(self, place: Place) -> Move:
        """What may follow at `place`."""
        if place not in self._made:
            self._made[place] = self._make(place)
        return self._made[place]

    def _make(self, place: Place) -> Move:
        after: dict[int, set[Stand]] = {}
        wild: set[Stand] = set()
        final = False
        for state, rest, marked in place:
            if rest:
                after.setdefault(rest[0], set()).add(Stand(state, rest[1:], marked=False))
                continue
            final = final or self._sentences.final(state)
            if not marked:
                for mark in self._spelling.marks:
                    after.setdefault(mark, set()).add(Stand(state, (), marked=True))
            for word, target in self._sentences.next(state).items():
                if word == ANY:
                    wild.add(Stand(target, (), marked=True))
                    continue
                for first, *others in self._spelling.words(word):
                    item = Stand(target, tuple(others), marked=False)
                    after.setdefault(first, set()).add(item)
        tokens = np.fromiter(after, np.intp, len(after))
        return Move(tokens, [frozenset(p) for p in after.values()], frozenset(wild) or None, final)


@dataclass(frozen=True, slots=True)
class Found:
    """A hypothesis.

    Attributes:
        tokens: its likeliest spelling.
        score: natural logarithm of the probability of all its spellings that were met.
    """

    tokens: Tokens
    score: float


@dataclass(slots=True)
class _Live:
    place: Place
    text: str
    tokens: Tokens
    best: float  # log probability of `tokens`
    score: float  # of all spellings that came to the same place by the same text

    def join(self, other: _Live) -> _Live:
        """Both as one: the likelier spelling goes on, with the probability of both."""
        kept = self if self.best >= other.best else other
        kept.score = float(np.logaddexp(self.score, other.score))
        return kept


@dataclass(frozen=True, slots=True)
class Search:
    """How to search.

    Attributes:
        follow: the model.
        spelling: its tokens.
        width: sentences followed at once, and the most that are found.
        slack: a hypothesis so far below the best, in nats, is given up.
        spelled: a spelling so far below another that came to the same text is given up.
        longest: most tokens of a sentence.
        likely: score of a sentence, if one is known; what is far below it is given up at once.
    """

    follow: Follow
    spelling: Spelling
    width: int = 8
    slack: float = SLACK
    spelled: float = np.inf
    longest: int = 48
    likely: float = -np.inf

    def run(
        self, grammar: TokenGrammar, *, freely: bool = True
    ) -> tuple[list[Found], Found | None]:
        """The likeliest sentences, best first, and what is heard without a grammar.

        Args:
            grammar: what may be said.
            freely: whether to find the free hypothesis as well.

        Returns:
            Sentences; and the free hypothesis, None if it is far less likely than the best.  It
            may be unfinished where it is very long.
        """
        live = [_Live(grammar.start, "", (), 0.0, 0.0)]
        free: Found | None = Found((), 0.0) if freely else None
        heard: Found | None = None
        done: dict[str, Found] = {}
        ahead: dict[str, float] = {}  # the likeliest spelling that came to a text
        scores = self.follow([()])
        for _ in range(self.longest):
            going: dict[tuple[Place, str], _Live] = {}
            for beam, following in zip(live, scores, strict=False):
                move = grammar.move(beam.place)
                if move.final:
                    self._finish(done, beam, float(following[self.spelling.end]))
                for new in self._grow(beam, following, move):
                    key = new.place, new.text
                    going[key] = going[key].join(new) if key in going else new
            likeliest = max(done.values(), key=lambda found: found.score, default=None)
            best = likeliest.score if likeliest else -np.inf
            if free is not None:
                free, heard = self._free_step(free, scores[-1])
                likely = likeliest and best > LIKELY * (len(likeliest.tokens) + 1)
                if free is not None and likely and free.score < best - self.slack / 2:
                    free = None
            for beam in going.values():
                ahead[beam.text] = max(ahead.get(beam.text, -np.inf), beam.score)
            live = [b for b in going.values() if b.score > ahead[b.text] - self.spelled]
            live = sorted(live, key=lambda b: -b.score)[: self.width]
            live = [b for b in live if b.score > max(best, self.likely) - self.slack]
            if not live and free is None:
                break
            going_on = [beam.tokens for beam in live]
            scores = self.follow([*going_on, free.tokens] if free is not None else going_on)
        order = sorted(done.values(), key=lambda found: -found.score)
        return order[: self.width], heard or free

    def _finish(self, done: dict[str, Found], beam: _Live, end: float) -> None:
        text = " ".join(beam.text.split())
        found = Found(beam.tokens, beam.score + end)
        if (other := done.get(text)) is not None:
            likelier = max(found, other, key=lambda f: f.score)
            found = Found(likelier.tokens, float(np.logaddexp(found.score, other.score)))
        done[text] = found

    def _grow(self, beam: _Live, scores: LogProbabilities, move: Move) -> Iterable[_Live]:
        for index in _top(scores[move.tokens], self.width):
            yield self._after(beam, scores, int(move.tokens[index]), move.places[index])
        if move.wild is not None:
            first = self.spelling.written.start
            for token in _top(scores[first : self.spelling.written.stop], self.width):
                yield self._after(beam, scores, first + token, move.wild)

    def _after(self, beam: _Live, scores: LogProbabilities, token: int, place: Place) -> _Live:
        more = float(scores[token])
        text = beam.text + self.spelling.letters(token)
        tokens = (*beam.tokens, token)
        return _Live(place, text, tokens, beam.best + more, beam.score + more)

    def _free_step(
        self, free: Found, scores: LogProbabilities
    ) -> tuple[Found | None, Found | None]:
        """The free hypothesis a token on; or None and the finished one."""
        end, written = self.spelling.end, self.spelling.written
        allowed = scores[written.start : written.stop].copy()
        allowed[[token - written.start for token in self.spelling.silent]] = -np.inf
        token = written.start + int(allowed.argmax())
        if scores[end] >= scores[token]:
            token = end
        score = free.score + float(scores[token])
        if token == end:
            return None, Found(free.tokens, score)
        return Found((*free.tokens, token), score), None


def _top(scores: LogProbabilities, most: int) -> list[int]:
    """Places of the highest scores, in no order."""
    if len(scores) <= most:
        return list(range(len(scores)))
    return [int(i) for i in np.argpartition(-scores, most)[:most]]
