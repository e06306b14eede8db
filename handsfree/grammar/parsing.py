"""A text read word by word along a grammar, and every meaning that it has there."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

#: A word that stands for any word: free dictation, such as the text of a note.
ANY = "<any>"
#: A word that stands for any number written in digits; adds the tag "numeral NUMBER".
NUMERAL = "<numeral>"

Tags = tuple[str, ...]


class Span(NamedTuple):
    """A word in a text, by where it starts and ends.

    Attributes:
        start, end: in any unit that grows along the text; words that follow each other touch.
        word: as the grammar spells it.
        whole: False for a part of what was written as one word.
    """

    start: int
    end: int
    word: str
    whole: bool = True


def is_numeral(word: str) -> bool:
    """Whether `word` is a number in digits, of no more than any meter shows."""
    begins = word.lstrip("-.")[:1].isdecimal()  # "²" is a digit, but no number begins with it
    return begins and sum(map(str.isdecimal, word)) <= MOST_DIGITS


#: Digits of a number, at most; bench meters show eight or nine.
MOST_DIGITS = 12


class Arc(NamedTuple):
    """One word from one state to the next.

    Attributes:
        word: the word, or `ANY`.
        target: the state after it.
        tags: tags that this word completes or opens, in spoken order.
        weight: share of this arc among the choices at its state, 0 to 1.
    """

    word: str
    target: int
    tags: Tags
    weight: float


def arcs_by_word(arcs: Iterable[Arc]) -> dict[str, list[Arc]]:
    """The arcs of a state by their words, in the order of the grammar."""
    words: dict[str, list[Arc]] = {}
    for arc in arcs:
        words.setdefault(arc.word, []).append(arc)
    return words


class Parser(ABC):
    """Reads texts along the states of a grammar.

    Attributes:
        start: the state before the first word.
        spaced: whether the words are always written apart.
    """

    start: int
    spaced: bool

    @property
    @abstractmethod
    def vocabulary(self) -> frozenset[str]:
        """Every word but `ANY` and `NUMERAL`."""

    @abstractmethod
    def by_word(self, state: int) -> Mapping[str, Sequence[Arc]]:
        """The arcs that leave a state, by their words."""

    @abstractmethod
    def endings_at(self, state: int) -> Sequence[Tags]:
        """The tag sequences that complete a sentence at a state; none if it cannot end there."""

    def parses(self, words: Sequence[str]) -> list[Tags]:
        """Every distinct tag sequence that the grammar gives to `words`.

        A word taken by `ANY` appears among the tags as "any WORD", a number in digits
        taken by `NUMERAL` as "numeral NUMBER".
        """
        return self.parses_of([Span(i, i + 1, word) for i, word in enumerate(words)])

    def parses_of(self, spans: Sequence[Span]) -> list[Tags]:
        """Like `parses`, for a text that can be cut into words in several ways.

        Args:
            spans: every word that is somewhere in the text, from 0 to the last end.
        """
        alive: dict[int, dict[int, dict[Tags, None]]] = defaultdict(lambda: defaultdict(dict))
        alive[0][self.start][()] = None
        for start, end, word, whole in sorted(spans):
            ways: list[tuple[str, Tags]] = [(word, ())]
            ways += [(ANY, (f"any {word}",))] * whole
            ways += [(NUMERAL, (f"numeral {word}",))] * is_numeral(word)
            for state, histories in list(alive[start].items()):
                here = self.by_word(state)
                for name, taken in ways:
                    for arc in here.get(name, ()):
                        fresh = alive[end][arc.target]
                        for tags in histories:
                            fresh[tags + arc.tags + taken] = None
        found: dict[Tags, None] = {}
        for state, histories in alive[max((s.end for s in spans), default=0)].items():
            for ending in self.endings_at(state):
                for tags in histories:
                    found[tags + ending] = None
        return list(found)

    def accepts(self, words: Sequence[str]) -> bool:
        """Whether `words` is a sentence."""
        return bool(self.parses(words))
