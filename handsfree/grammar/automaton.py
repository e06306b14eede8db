"""A grammar as a finite automaton: what the engines are made from.

States are integers, arcs carry a word and the tags met on the way to it.  There are
no empty arcs, so an engine can copy the automaton as it is.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from handsfree.grammar.parsing import ANY, NUMERAL, Arc, Parser, Tags, arcs_by_word


@dataclass(frozen=True)
class Automaton(Parser):
    """What may be said, from `start`; a path that stops at a final state is a sentence.

    Attributes:
        table: arcs leaving each state, by state number.
        endings: for each final state, the tag sequences that complete a sentence there.
        spaced: whether its words are always written apart.
    """

    table: tuple[tuple[Arc, ...], ...]
    endings: Mapping[int, tuple[Tags, ...]]
    start: int = 0
    spaced: bool = True

    @property
    def states(self) -> int:
        """Number of states."""
        return len(self.table)

    @property
    def finals(self) -> frozenset[int]:
        """States at which a sentence may end."""
        return frozenset(self.endings)

    def arcs(self, state: int) -> Sequence[Arc]:
        """Arcs that leave `state`."""
        return self.table[state]

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word but `ANY` and `NUMERAL`."""
        words = {arc.word for arcs in self.table for arc in arcs}
        return frozenset(words - {ANY, NUMERAL})

    @cached_property
    def _indexed(self) -> dict[int, dict[str, list[Arc]]]:
        return {}

    def by_word(self, state: int) -> dict[str, list[Arc]]:
        """The arcs that leave a state, by their words; worked out for states that are reached."""
        if state not in self._indexed:
            self._indexed[state] = arcs_by_word(self.table[state])
        return self._indexed[state]

    def endings_at(self, state: int) -> Sequence[Tags]:
        """The tag sequences that complete a sentence at a state."""
        return self.endings.get(state, ())

    def sample(self, rng: random.Random) -> list[str]:
        """One random sentence, following the weights; `ANY` stays as it is."""
        words: list[str] = []
        state = self.start
        while True:
            arcs = self.table[state]
            if state in self.endings and (not arcs or rng.random() < 0.5):
                return words
            arc = rng.choices(arcs, [a.weight for a in arcs])[0]
            words.append(arc.word)
            state = arc.target

    def sentences(self) -> Iterator[tuple[list[str], Tags]]:
        """Every sentence with its tags; endless if the automaton has a cycle."""
        queue: deque[tuple[int, list[str], Tags]] = deque([(self.start, [], ())])
        while queue:
            state, words, tags = queue.popleft()
            for ending in self.endings.get(state, ()):
                yield words, tags + ending
            queue += [(a.target, [*words, a.word], tags + a.tags) for a in self.table[state]]


def useful(after: Sequence[Iterable[int]], endings: Iterable[int], start: int = 0) -> list[int]:
    """The states from which a sentence can end, and the first; in their order.

    Args:
        after: for each state, those that may come next.
        endings: states at which a sentence may end.
        start: the first state.
    """
    before: list[set[int]] = [set() for _ in after]
    for source, targets in enumerate(after):
        for target in targets:
            before[target].add(source)
    found, queue = set(endings), list(endings)
    while queue:
        for source in before[queue.pop()] - found:
            found.add(source)
            queue.append(source)
    return sorted(found | {start})


def trimmed(automaton: Automaton) -> Automaton:
    """Without the states from which no sentence can end."""
    after = [{arc.target for arc in arcs} for arcs in automaton.table]
    kept = useful(after, automaton.endings, automaton.start)
    if len(kept) == automaton.states:
        return automaton
    number = {old: new for new, old in enumerate(kept)}
    table = tuple(
        tuple(
            Arc(a.word, number[a.target], a.tags, a.weight)
            for a in automaton.table[state]
            if a.target in number
        )
        for state in kept
    )
    endings = {number[state]: e for state, e in automaton.endings.items()}
    return replace(automaton, table=table, endings=endings, start=number[automaton.start])
