"""Whether what has been said so far may go on to another value, by the grammar of the moment.

Judged by what would be meant: a wire, a hedge or a polite word at the end is no other value.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from handsfree.grammar.automaton import Automaton
from handsfree.grammar.numerals import NUMBER_TAGS
from handsfree.grammar.parsing import ANY, Tags

Outlook = Literal[
    "whole", "unit", "answer", "decimals", "number", "words", "hesitation", "no sentence"
]
"""What may come: nothing that matters; a unit, so that the value would be another; after yes or no
a value; one more digit of a number that has its point, or three digits; more of a number; free
words.  Or nothing but "uh" was said, or no sentence of the grammar."""

_POINT = frozenset({"point", "elided", "late", "gap"})
_ANSWERS = frozenset({"command yes", "command no"})
_UNIT = frozenset({"unit", "scale"})
_DIGITS = 3
"""Words of a number by which most meters have shown all they show."""
_SILENT_WORDS = 1  # words without a meaning of their own before one that has: "and a half"


def outlook(grammar: Automaton, words: Sequence[str]) -> Outlook:
    """What may come after `words`.

    Args:
        grammar: of the moment; its words are written apart.
        words: a sentence of it.
    """
    parses = grammar.parses(words)
    if not parses or not words:
        return "no sentence"
    if all(_kinds(tags) == {"aside"} and "aside filler" in tags for tags in parses):
        return "hesitation"
    live = {grammar.start}
    for word in words:
        live = {a.target for s in live for a in grammar.arcs(s) if a.word in (word, ANY)}
    arcs = [arc for state in live for arc in grammar.arcs(state)]
    if any(arc.word == ANY for arc in arcs):
        return "words"
    kinds = _opened(grammar, {arc.target for arc in arcs}, _SILENT_WORDS)
    if kinds & NUMBER_TAGS:
        if any(set(tags) <= _ANSWERS for tags in parses):
            return "answer"
        return "decimals" if all(map(_nearly_said, parses)) else "number"
    return "unit" if kinds & _UNIT else "whole"


def value_of_wire(grammar: Automaton, words: Sequence[str]) -> bool:
    """Whether `words` tell a value and name its wire: then that of another wire may follow."""
    value = NUMBER_TAGS | {"state", "over"}
    kinds = map(_kinds, grammar.parses(words))
    return any(
        "wire" in each and each & value and not each & {"command", "aside"} for each in kinds
    )


def _opened(grammar: Automaton, states: Iterable[int], silent: int) -> set[str]:
    """Kinds of the first tags that the words before `states` complete."""
    found: set[str] = set()
    for state in states:
        found |= {tags[0].split()[0] for tags in grammar.endings.get(state, ()) if tags}
        untold = []
        for arc in grammar.arcs(state):
            if arc.tags:
                found.add(arc.tags[0].split()[0])
            else:
                untold.append(arc.target)
        if silent:
            found |= _opened(grammar, set(untold), silent - 1)
    return found


def _nearly_said(tags: Tags) -> bool:
    """Whether a number has its point already, or as many digits as most meters show."""
    return bool(_kinds(tags) & _POINT) or sum(t.startswith("digit") for t in tags) >= _DIGITS


def _kinds(tags: Tags) -> set[str]:
    return {tag.split()[0] for tag in tags}
