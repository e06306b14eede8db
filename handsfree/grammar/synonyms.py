"""Other words for what an engine cannot hear."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cached_property

from handsfree.grammar import jsgf
from handsfree.grammar.automaton import Automaton
from handsfree.grammar.language import Language
from handsfree.grammar.moment import SpokenPlan

#: Most wordings that are offered instead of one.
OFFERED = 3

#: Wordings of one meaning, shortest first, each a list of words.
_Alike = list[list[str]]


class Synonyms:
    """What can be said instead of what.

    Args:
        language: its grammars, in which wordings with the same tags mean the same.
        plan: also look at the names of its wires, conditions and answers.
    """

    def __init__(self, language: Language, plan: SpokenPlan | None = None) -> None:
        self._language = language
        self._plan = plan

    def instead_of(
        self, word: str, knows: Callable[[str], bool] = lambda word: True
    ) -> dict[str, tuple[str, ...]]:
        """What can be said instead of everything that is said with `word`.

        Args:
            word: a word that an engine lacks.
            knows: whether the engine has a word.

        Returns:
            Each wording with the word (the shortest of each meaning), and up to `OFFERED`
            others of the same meaning that the engine knows, shortest first; none if there
            are none.
        """
        found: dict[str, tuple[str, ...]] = {}
        for alike in self._said_with.get(word, ()):
            lacking = next(" ".join(words) for words in alike if word in words)
            known = (" ".join(w) for w in alike if word not in w and all(map(knows, w)))
            if lacking not in found:
                found[lacking] = tuple(text for text, _ in zip(known, range(OFFERED), strict=False))
        return found

    @cached_property
    def _said_with(self) -> dict[str, list[_Alike]]:
        """The meanings that each word is said for, in the order of the rules."""
        found: dict[str, list[_Alike]] = {}
        for rule in self._rules():
            alike: dict[tuple[str, ...], _Alike] = {}
            for words, tags in rule.sentences():
                alike.setdefault(tags, []).append(words)
            for wordings in alike.values():
                for word in dict.fromkeys(word for words in wordings for word in words):
                    found.setdefault(word, []).append(wordings)
        return found

    def _rules(self) -> Iterator[Automaton]:
        """The rules that stand for themselves, and what the plan fills in."""
        language, plan = self._language, self._plan
        for name, body in language.rules.items():
            if name not in {"written", *language.text_only} and not list(jsgf.references(body)):
                yield language.automaton(name)
        if plan is None:
            return
        for step in (None, *plan.plan.steps):
            slots = plan.slots(step, written=False)
            names = ("option",) if step else ("wire", "condition")
            yield from (language.automaton(slots[name]) for name in names)
