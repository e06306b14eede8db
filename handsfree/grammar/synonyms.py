"""Other words for what an engine cannot hear."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from handsfree.grammar import jsgf
from handsfree.grammar.automaton import Automaton
from handsfree.grammar.language import Language
from handsfree.grammar.moment import SpokenPlan

#: Most wordings that are offered instead of one.
OFFERED = 3


def synonyms(
    language: Language,
    word: str,
    knows: Callable[[str], bool] = lambda word: True,
    plan: SpokenPlan | None = None,
) -> dict[str, tuple[str, ...]]:
    """What can be said instead of everything that is said with `word`.

    Args:
        language: its grammars, in which wordings with the same tags mean the same.
        word: a word that an engine lacks.
        knows: whether the engine has a word.
        plan: also look at the names of its wires, conditions and answers.

    Returns:
        Each wording with the word (the shortest of each meaning), and up to `OFFERED` others
        of the same meaning that the engine knows, shortest first; none if there are none.
    """
    found: dict[str, tuple[str, ...]] = {}
    for rule in _rules(language, plan):
        alike: dict[tuple[str, ...], list[list[str]]] = {}
        for words, tags in rule.sentences():
            alike.setdefault(tags, []).append(words)
        for wordings in alike.values():
            lacking = [" ".join(words) for words in wordings if word in words]
            known = [" ".join(words) for words in wordings if all(map(knows, words))]
            if lacking:
                others = [text for text in known if word not in text.split()]
                found.setdefault(lacking[0], tuple(others[:OFFERED]))
    return found


def _rules(language: Language, plan: SpokenPlan | None) -> Iterator[Automaton]:
    """The rules that stand for themselves, and what the plan fills in."""
    for name, body in language.rules.items():
        if name not in {"written", *language.text_only} and not list(jsgf.references(body)):
            yield language.automaton(name)
    if plan is None:
        return
    for step in (None, *plan.plan.steps):
        slots = plan.slots(step, written=False)
        names = ("option",) if step else ("wire", "condition")
        yield from (language.automaton(slots[name]) for name in names)
