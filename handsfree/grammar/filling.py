"""A grammar with a place left open, filled without being built anew.

The grammar of a free job is large and always the same but for the names of its wires.  It is built
once with one word in their place; the automaton of the names is put in wherever that word stands.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.grammar.automaton import Automaton, trimmed
from handsfree.grammar.parsing import Arc, Tags

#: Stands for what is filled in; no text has such a word.
LEFT_OPEN = "<open>"


def filled(grammar: Automaton, part: Automaton) -> Automaton:
    """The grammar with `part` in place of each `LEFT_OPEN`.

    Args:
        grammar: is left as it is.
        part: what may be said there; never nothing.
    """
    opened = [any(arc.word == LEFT_OPEN for arc in arcs) for arcs in grammar.table]
    after = sorted({a.target for arcs in grammar.table for a in arcs if a.word == LEFT_OPEN})
    first = {target: grammar.states + k * part.states for k, target in enumerate(after)}
    table = [
        tuple(_through(arcs, part, first)) if holds else arcs
        for arcs, holds in zip(grammar.table, opened, strict=True)
    ]
    endings = dict(grammar.endings)
    for target in after:
        base = first[target]
        for state, arcs in enumerate(part.table):
            ways = [arc._replace(target=base + arc.target) for arc in arcs]
            for tags in part.endings.get(state, ()):
                ways += [a._replace(tags=tags + a.tags) for a in table[target]]
                if target in grammar.endings:
                    ended = tuple(tags + ending for ending in grammar.endings[target])
                    endings[base + state] = (*endings.get(base + state, ()), *ended)
            total = sum(arc.weight for arc in ways) or 1.0
            table.append(tuple(a._replace(weight=a.weight / total) for a in ways))
    return trimmed(replace(grammar, table=tuple(table), endings=endings))


def _through(arcs: tuple[Arc, ...], part: Automaton, first: dict[int, int]) -> list[Arc]:
    """The arcs of a state, with those of `part` in place of the open one."""
    ways: list[Arc] = []
    for arc in arcs:
        if arc.word != LEFT_OPEN:
            ways.append(arc)
            continue
        base = first[arc.target]
        for one in part.table[part.start]:
            tags: Tags = arc.tags + one.tags
            ways.append(Arc(one.word, base + one.target, tags, arc.weight * one.weight))
    return ways
