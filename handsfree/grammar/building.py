"""From rules to states: all of them for an engine, and for a text those that it comes to."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence

from handsfree.errors import BadInput
from handsfree.grammar import jsgf
from handsfree.grammar.automaton import Automaton, useful
from handsfree.grammar.parsing import ANY, NUMERAL, Arc, Parser, Tags, arcs_by_word

Rules = Callable[[str], jsgf.Expansion]
"""Gives the body of a rule by its name."""


def build(expansion: jsgf.Expansion, rule: Rules) -> Automaton:
    """The automaton of `expansion`.

    Raises:
        BadInput: a rule refers to itself, repeats what is silent, or is nested too deeply.
    """
    _words(expansion, rule)  # no rule refers to itself
    builder = _Builder(rule)
    final = builder.state([], [])
    try:
        return builder.finish(builder.before(expansion, final), final)
    except RecursionError as error:
        raise _too_deep() from error


class Unfolding(Parser):
    """A grammar for texts: of its states those are worked out that a text comes to.

    Args:
        expansion: what may be said.
        rule: gives the body of a rule by its name.
        spaced: whether words are always written apart.

    Raises:
        BadInput: a rule refers to itself, or is nested too deeply.
    """

    def __init__(self, expansion: jsgf.Expansion, rule: Rules, *, spaced: bool = True) -> None:
        self._vocabulary = _words(expansion, rule)
        self._builder = _Builder(rule)
        self._final = self._builder.state([], [])
        try:
            self.start = self._builder.before(expansion, self._final)
        except RecursionError as error:
            raise _too_deep() from error
        self.spaced = spaced
        self._known: dict[int, tuple[dict[str, list[Arc]], Sequence[Tags]]] = {}

    @property
    def vocabulary(self) -> frozenset[str]:
        """Every word but `ANY` and `NUMERAL`."""
        return self._vocabulary

    def by_word(self, state: int) -> dict[str, list[Arc]]:
        """The arcs that leave a state, by their words; those that lead nowhere too."""
        return self._at(state)[0]

    def endings_at(self, state: int) -> Sequence[Tags]:
        """The tag sequences that complete a sentence at a state."""
        return self._at(state)[1]

    def _at(self, state: int) -> tuple[dict[str, list[Arc]], Sequence[Tags]]:
        if state not in self._known:
            ways, endings = self._builder.leaving(state, self._final)
            total = sum(ways.values()) or 1.0
            arcs = [Arc(*way, weight / total) for way, weight in ways.items()]
            self._known[state] = arcs_by_word(arcs), endings
        return self._known[state]


def _too_deep() -> BadInput:
    return BadInput("the rules of the grammar are nested too deeply")


def _words(expansion: jsgf.Expansion, rule: Rules) -> frozenset[str]:
    """Every word of the sentences of `expansion`, but `ANY` and `NUMERAL`."""
    try:
        return (_Sayable(rule).words(expansion) or frozenset()) - {ANY, NUMERAL}
    except RecursionError as error:
        raise _too_deep() from error


class _Sayable:
    """The words of what can be said at all: an empty choice, and what needs it, cannot."""

    def __init__(self, rule: Rules) -> None:
        self.rule = rule
        self.known: dict[str, frozenset[str] | None] = {}
        self.open: list[str] = []

    def words(self, expansion: jsgf.Expansion) -> frozenset[str] | None:
        """None if it cannot be said."""
        match expansion:
            case jsgf.Terminal(text):
                return frozenset((text,))
            case jsgf.Ref(name):
                return self.words_of_rule(name)
            case jsgf.Sequence(parts):
                said = [self.words(part) for part in parts]
                return None if None in said else _joined(said)
            case jsgf.Choice(options):
                said = [self.words(option) for _, option in options]
                return None if said.count(None) == len(said) else _joined(said)
            case jsgf.Repeat(part, least, _):
                found = self.words(part)
                return frozenset() if found is None and not least else found
            case jsgf.Tagged(part, _):
                return self.words(part)

    def words_of_rule(self, name: str) -> frozenset[str] | None:
        if name in self.open:
            loop = " -> ".join(f"<{n}>" for n in [*self.open, name])
            raise BadInput(f"the grammar refers to itself: {loop}")
        if name not in self.known:
            self.open.append(name)
            self.known[name] = self.words(self.rule(name))
            self.open.pop()
        return self.known[name]


def _joined(said: Sequence[frozenset[str] | None]) -> frozenset[str]:
    return frozenset().union(*(words for words in said if words))


#: Tags between two words, at most: more come only of a silent part that is repeated for ever.
MOST_SILENT_TAGS = 64

# An empty arc: target, tags, weight.
_Empty = tuple[int, Tags, float]
# A word, the state after it and the tags on the way to it.
_Way = tuple[str, int, Tags]


class _Builder:
    """Builds from the end: what may follow is known, so that equal endings are shared.

    The options of a choice are made when somebody comes to it.
    """

    def __init__(self, rule: Rules) -> None:
        self.rule = rule
        self.empty: list[list[_Empty]] = []
        self.words: list[list[tuple[str, int]]] = []
        self.totals: dict[int, float] = {}
        self.unmade: dict[int, tuple[jsgf.Choice, int]] = {}
        self.made: dict[tuple[object, int], int] = {}
        self.kept: list[jsgf.Expansion] = []  # alive, so that an id stays theirs

    def state(self, empty: list[_Empty], words: list[tuple[str, int]]) -> int:
        self.empty.append(empty)
        self.words.append(words)
        return len(self.empty) - 1

    def before(self, expansion: jsgf.Expansion, target: int) -> int:
        """The state from which `expansion` leads to `target`."""
        while isinstance(expansion, jsgf.Ref):
            expansion = self.rule(expansion.name)
        alike = expansion.text if isinstance(expansion, jsgf.Terminal) else id(expansion)
        made = self.made.get((alike, target))
        if made is None:
            self.kept.append(expansion)
            made = self.made[alike, target] = self._make(expansion, target)
        return made

    def _make(self, expansion: jsgf.Expansion, target: int) -> int:
        match expansion:
            case jsgf.Terminal(text):
                return self.state([], [(text, target)])
            case jsgf.Ref(name):
                return self.before(self.rule(name), target)
            case jsgf.Sequence(parts):
                for part in reversed(parts):
                    target = self.before(part, target)
                return target
            case jsgf.Choice():
                self.unmade[source := self.state([], [])] = expansion, target
                return source
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

    def onward(self, state: int) -> list[_Empty]:
        """The empty arcs of a state."""
        if state in self.unmade:
            choice, target = self.unmade.pop(state)
            self.empty[state] = [(self.before(o, target), (), w) for w, o in choice.options]
        return self.empty[state]

    def closure(self, state: int) -> list[_Empty]:
        """States reachable without a word, with tags and weight of the way."""
        if not self.onward(state):
            return [(state, (), 1.0)]
        found: dict[tuple[int, Tags], float] = {}
        stack: list[_Empty] = [(state, (), 1.0)]
        empty, unmade = self.empty, self.unmade
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
            if onward := self.onward(at) if at in unmade else empty[at]:
                total = self.totals.get(at)
                if total is None:
                    total = self.totals[at] = sum(w for _, _, w in onward) or 1.0
                # Reversed, so that the order of the grammar file is kept.
                stack += [(t, tags + more, weight * w / total) for t, more, w in onward[::-1]]
        return [(at, tags, weight) for (at, tags), weight in found.items()]

    def leaving(self, state: int, final: int) -> tuple[dict[_Way, float], list[Tags]]:
        """What may be said next at a state, with its share, and the endings of a sentence there."""
        ways: dict[_Way, float] = {}
        endings: list[Tags] = []
        for at, tags, weight in self.closure(state):
            if at == final:
                endings.append(tags)
            for word, target in self.words[at]:
                way = word, target, tags
                ways[way] = ways[way] + weight if way in ways else weight
        return ways, list(dict.fromkeys(endings))

    def finish(self, start: int, final: int) -> Automaton:
        """Every state that can be reached, and from which a sentence can end."""
        numbers = {start: 0}
        queue, left, endings = deque([start]), [], {}
        while queue:
            number = numbers[state := queue.popleft()]
            ways, ended = self.leaving(state, final)
            left.append(ways)
            for _, target, _ in ways:
                if target not in numbers:
                    numbers[target] = len(numbers)
                    queue.append(target)
            if ended:
                endings[number] = tuple(ended)
        after = [{numbers[target] for _, target, _ in ways} for ways in left]
        kept = {old: new for new, old in enumerate(useful(after, endings))}
        places = {state: kept[number] for state, number in numbers.items() if number in kept}
        table = []
        for ways in (left[number] for number in kept):
            total = sum(ways.values()) or 1.0
            alive = [(way, x) for way, x in ways.items() if way[1] in places]
            table.append(tuple([Arc(w, places[t], tags, x / total) for (w, t, tags), x in alive]))
        return Automaton(tuple(table), {kept[state]: ended for state, ended in endings.items()})
