"""A grammar as a finite automaton: the one form that parser and engines are made from.

States are integers, arcs carry a word and the tags met on the way to it.  There are
no empty arcs, so an engine can copy the automaton as it is.
"""

from __future__ import annotations

import random
from collections import defaultdict, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from handsfree.errors import BadInput
from handsfree.grammar import jsgf

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


@dataclass(frozen=True)
class Automaton:
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

    def _by_word(self, state: int) -> dict[str, list[Arc]]:
        """The arcs that leave a state, by their words; worked out for states that are reached."""
        if state not in self._indexed:
            words: dict[str, list[Arc]] = {}
            for arc in self.table[state]:
                words.setdefault(arc.word, []).append(arc)
            self._indexed[state] = words
        return self._indexed[state]

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
                here = self._by_word(state)
                for name, taken in ways:
                    for arc in here.get(name, ()):
                        fresh = alive[end][arc.target]
                        for tags in histories:
                            fresh[tags + arc.tags + taken] = None
        found: dict[Tags, None] = {}
        for state, histories in alive[max((s.end for s in spans), default=0)].items():
            for ending in self.endings.get(state, ()):
                for tags in histories:
                    found[tags + ending] = None
        return list(found)

    def accepts(self, words: Sequence[str]) -> bool:
        """Whether `words` is a sentence."""
        return bool(self.parses(words))

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


#: Tags between two words, at most: more come only of a silent part that is repeated for ever.
MOST_SILENT_TAGS = 64

# An empty arc: target, tags, weight.
_Empty = tuple[int, Tags, float]


class _Builder:
    """Builds from the end: what may follow is known, so that equal endings are shared."""

    def __init__(self, rule: Callable[[str], jsgf.Expansion]) -> None:
        self.rule = rule
        self.empty: list[list[_Empty]] = []
        self.words: list[list[tuple[str, int]]] = []
        self.totals: dict[int, float] = {}
        self.open: list[str] = []
        self.made: dict[tuple[object, int], int] = {}
        self.kept: list[jsgf.Expansion] = []  # alive, so that an id stays theirs

    def state(self, empty: list[_Empty], words: list[tuple[str, int]]) -> int:
        self.empty.append(empty)
        self.words.append(words)
        return len(self.empty) - 1

    def before(self, expansion: jsgf.Expansion, target: int) -> int:
        """The state from which `expansion` leads to `target`."""
        name: object = id(expansion)
        if isinstance(expansion, jsgf.Terminal | jsgf.Ref):
            name = expansion
        if (name, target) not in self.made:
            self.kept.append(expansion)
            self.made[name, target] = self._make(expansion, target)
        return self.made[name, target]

    def _make(self, expansion: jsgf.Expansion, target: int) -> int:
        match expansion:
            case jsgf.Terminal(text):
                return self.state([], [(text, target)])
            case jsgf.Ref(name):
                if name in self.open:
                    loop = " -> ".join(f"<{n}>" for n in [*self.open, name])
                    raise BadInput(f"the grammar refers to itself: {loop}")
                self.open.append(name)
                source = self.before(self.rule(name), target)
                self.open.pop()
                return source
            case jsgf.Sequence(parts):
                for part in reversed(parts):
                    target = self.before(part, target)
                return target
            case jsgf.Choice(options):
                return self.state([(self.before(o, target), (), w) for w, o in options], [])
            case jsgf.Repeat(part, least, many):
                after = target
                if many:
                    after = self.state([], [])
                    self.empty[after] += [(self.before(part, after), (), 1.0), (target, (), 1.0)]
                source = self.before(part, after)
                return source if least else self.state([(source, (), 1.0), (target, (), 1.0)], [])
            case jsgf.Tagged(part, tags):
                return self.before(part, self._tag(tags, target))

    def _tag(self, tags: Tags, target: int) -> int:
        if (tags, target) not in self.made:
            self.made[tags, target] = self.state([(target, tags, 1.0)], [])
        return self.made[tags, target]

    def closure(self, state: int) -> list[_Empty]:
        """States reachable without a word, with tags and weight of the way."""
        if not self.empty[state]:
            return [(state, (), 1.0)]
        found: dict[tuple[int, Tags], float] = {}
        stack: list[_Empty] = [(state, (), 1.0)]
        while stack:
            at, tags, weight = stack.pop()
            if (at, tags) in found:
                continue
            if len(tags) > MOST_SILENT_TAGS:
                raise BadInput(
                    "the grammar repeats, and tags, what can be said without a word",
                    remedy="Put a word into what * or + repeats.",
                )
            found[at, tags] = weight
            if onward := self.empty[at]:
                total = self.totals.get(at)
                if total is None:
                    total = self.totals[at] = sum(w for _, _, w in onward) or 1.0
                # Reversed, so that the order of the grammar file is kept.
                stack += [(t, tags + more, weight * w / total) for t, more, w in onward[::-1]]
        return [(at, tags, weight) for (at, tags), weight in found.items()]

    def finish(self, start: int, final: int) -> Automaton:
        numbers = {start: 0}
        queue, table, endings = deque([start]), [], {}
        while queue:
            arcs: dict[tuple[str, int, Tags], float] = {}
            endings_here: list[Tags] = []
            number = numbers[state := queue.popleft()]
            for at, tags, weight in self.closure(state):
                if at == final:
                    endings_here.append(tags)
                for word, target in self.words[at]:
                    if target not in numbers:
                        numbers[target] = len(numbers)
                        queue.append(target)
                    key = word, numbers[target], tags
                    arcs[key] = arcs[key] + weight if key in arcs else weight
            total = sum(arcs.values()) or 1.0
            table.append(tuple([Arc(*key, x / total) for key, x in arcs.items()]))
            if endings_here:
                endings[number] = tuple(dict.fromkeys(endings_here))
        return trimmed(Automaton(tuple(table), endings))


def trimmed(automaton: Automaton) -> Automaton:
    """Without the states from which no sentence can end."""
    before: list[set[int]] = [set() for _ in range(automaton.states)]
    for source, arcs in enumerate(automaton.table):
        for arc in arcs:
            before[arc.target].add(source)
    useful, queue = set(automaton.finals), list(automaton.finals)
    while queue:
        for source in before[queue.pop()] - useful:
            useful.add(source)
            queue.append(source)
    useful.add(automaton.start)
    if len(useful) == automaton.states:
        return automaton
    number = {old: new for new, old in enumerate(sorted(useful))}
    table = tuple(
        tuple(
            Arc(a.word, number[a.target], a.tags, a.weight)
            for a in automaton.table[state]
            if a.target in useful
        )
        for state in sorted(useful)
    )
    endings = {number[state]: e for state, e in automaton.endings.items()}
    return replace(automaton, table=table, endings=endings, start=number[automaton.start])


def build(expansion: jsgf.Expansion, rule: Callable[[str], jsgf.Expansion]) -> Automaton:
    """The automaton of `expansion`; `rule` gives the body of a rule by its name.

    Raises:
        BadInput: a rule refers to itself, repeats what is silent, or is nested too deeply.
    """
    builder = _Builder(rule)
    final = builder.state([], [])
    try:
        return builder.finish(builder.before(expansion, final), final)
    except RecursionError as error:
        raise BadInput("the rules of the grammar are nested too deeply") from error
