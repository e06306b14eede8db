"""A grammar as a deterministic acceptor: after each word, one state.

The automaton may reach several states by one word, because its tags differ; a decoder
wants to know only which words may follow.  The states are made as they are met (subset
construction, Rabin and Scott 1959).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Generic, Protocol, TypeAlias, TypeVar

from handsfree.grammar import Automaton

Made = TypeVar("Made")

AcceptorState: TypeAlias = frozenset[int]
"""What the same words lead to: states of an automaton, or a node of a tree."""


class Sentences(Protocol):
    """Says which words may follow, and where a sentence may end.

    Attributes:
        start: the state before the first word.
    """

    start: AcceptorState

    def next(self, state: AcceptorState) -> Mapping[str, AcceptorState]:
        """Words that may follow, `ANY` among them, with the state after each."""
        ...

    def final(self, state: AcceptorState) -> bool:
        """Whether a sentence may end here."""
        ...


class Listed:
    """Some sentences and no others, as a tree of words.

    Args:
        texts: the sentences.
    """

    def __init__(self, texts: Iterable[str]) -> None:
        self._after: list[dict[str, AcceptorState]] = [{}]
        self._final: set[int] = set()
        self.start: AcceptorState = frozenset([0])
        for text in texts:
            node = 0
            for word in text.split():
                if word not in self._after[node]:
                    self._after[node][word] = frozenset([len(self._after)])
                    self._after.append({})
                (node,) = self._after[node][word]
            self._final.add(node)

    def next(self, state: AcceptorState) -> Mapping[str, AcceptorState]:
        """See `Sentences.next`."""
        (node,) = state
        return self._after[node]

    def final(self, state: AcceptorState) -> bool:
        """See `Sentences.final`."""
        (node,) = state
        return node in self._final


class Acceptor:
    """The sentences of an automaton."""

    def __init__(self, grammar: Automaton) -> None:
        self._grammar = grammar
        self._made: dict[AcceptorState, Mapping[str, AcceptorState]] = {}
        self.start: AcceptorState = frozenset([grammar.start])

    def next(self, state: AcceptorState) -> Mapping[str, AcceptorState]:
        """See `Sentences.next`."""
        if state not in self._made:
            found: dict[str, set[int]] = {}
            for source in state:
                for arc in self._grammar.arcs(source):
                    found.setdefault(arc.word, set()).add(arc.target)
            self._made[state] = {word: frozenset(to) for word, to in found.items()}
        return self._made[state]

    def final(self, state: AcceptorState) -> bool:
        """See `Sentences.final`."""
        return not self._grammar.finals.isdisjoint(state)

    def transitions(self) -> tuple[list[tuple[int, str, int]], list[int]]:
        """All of it: (state, word, next state) by number from 0, the start; and the finals."""
        number = {self.start: 0}
        queue, arcs = [self.start], []
        for state in queue:
            for word, target in self.next(state).items():
                if target not in number:
                    number[target] = len(number)
                    queue.append(target)
                arcs.append((number[state], word, number[target]))
        return arcs, [number[state] for state in queue if self.final(state)]


class PerGrammar(Generic[Made]):
    """What an engine makes of a grammar, kept for the next utterance of the same moment.

    Args:
        make: makes it.
        most: grammars whose making is kept.
    """

    def __init__(self, make: Callable[[Automaton], Made], most: int = 16) -> None:
        self._make, self._most = make, most
        self._kept: dict[int, tuple[Automaton, Made]] = {}  # alive, so that an id stays theirs

    def __getitem__(self, grammar: Automaton) -> Made:
        entry = self._kept.pop(id(grammar), None) or (grammar, self._make(grammar))
        self._kept[id(grammar)] = entry
        while len(self._kept) > self._most:
            del self._kept[next(iter(self._kept))]
        return entry[1]
