"""A sentence without what stands before and behind it and carries nothing.

"Yeah nah, that's five flat" and "four point nine seven, so it is" are values.  The phrases are
`leads_in` and `trails_off` of gist.jsgf; those of `begins_anew`, which have a "no" that denies
nothing, are an answer where a question is open.
"""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.grammar.language import Language
from handsfree.grammar.text import tokens

#: Words of such a phrase, at most.
LONGEST_PHRASE = 5


def without_frills(text: str, language: Language, *, answering: bool) -> Iterator[str]:
    """The text without such phrases, the shortest first; nothing of a text that has none.

    Args:
        text: the words.
        language: has the phrases.
        answering: a question is open.
    """
    said = tokens(text)
    leads = ("leads_in",) if answering else ("leads_in", "begins_anew")

    def is_one(rules: tuple[str, ...], start: int, end: int) -> bool:
        part = [word.lower() for word in said[start:end]]
        return any(rule in language.rules and language.is_said(rule, part) for rule in rules)

    size = len(said)
    sizes = range(min(LONGEST_PHRASE, size - 1), 0, -1)
    starts = [length for length in sizes if is_one(leads, 0, length)] + [0]
    ends = [size - length for length in sizes if is_one(("trails_off",), size - length, size)]
    for start in starts:
        for end in (*ends, size):
            if start < end and end - start < size:
                yield " ".join(said[start:end])
