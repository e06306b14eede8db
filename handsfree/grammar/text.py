"""From text as people and engines write it to the words of the grammar.

"Violet wire: 4.98 V" becomes `violet wire 4.98 V`; the grammar's `<numeral>` takes the
number as it stands, so that nothing is guessed about how it was spoken.  Where a language
writes words together, they are told apart by the grammar.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator

from handsfree.grammar.parsing import Parser, Span, Tags, is_numeral

_TOKEN = re.compile(
    r"(?P<number>(?:(?<!\w)[-−+])?(?:(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?|\.\d+))"
    r"|[^\W\d_]+(?:'[^\W\d_]+)*|[%°](?:[CF]\b)?"
)
# Signs that look alike: the ohm and micro signs and their Greek letters.
_SAME_SIGN = str.maketrans({"\u2126": "Ω", "\u03bc": "µ"})


def tokens(text: str) -> list[str]:
    """Words and numbers of `text`, case kept; punctuation and hyphens fall away."""
    found = []
    for match in _TOKEN.finditer(text.translate(_SAME_SIGN)):
        number = match["number"]
        found.append(number.replace(",", "").replace("−", "-").lstrip("+") if number else match[0])
    return found


def words(text: str, vocabulary: Container[str]) -> list[str]:
    """`text` as words, spelled as in `vocabulary` where it has them, else in lower case.

    "'s" stands apart where the vocabulary has only the word before it: "violet's".
    """
    found: list[str] = []
    for token in tokens(text):
        word = token if token in vocabulary else token.lower()
        stem, mark, end = word.rpartition("'")
        apart = mark and end == "s" and word not in vocabulary and "'s" in vocabulary
        found += [stem, "'s"] if apart else [word]
    return found


def parse_text(grammar: Parser, text: str) -> list[Tags]:
    """Every meaning that the grammar gives to `text`, as tag sequences."""
    return grammar.parses_of(list(_spans(grammar, words(text, grammar.vocabulary))))


def known(grammar: Parser, word: str) -> bool:
    """Whether `word` is a number in digits, or made of words of the grammar."""
    if word in grammar.vocabulary or is_numeral(word):
        return True
    ends = {0}
    for start, end, _, whole in _spans(grammar, [word]):
        if start in ends and not whole:
            ends.add(end)
    return len(word) in ends


def _spans(grammar: Parser, words: list[str]) -> Iterator[Span]:
    """The words, and those of the grammar that are written together in them, by their starts."""
    at = 0
    for word in words:
        size = len(word)
        yield Span(at, at + size, word)
        if word.endswith("'s") and "'s" in grammar.vocabulary:  # "meter's" may be "meter is"
            yield Span(at, at + size - 2, word[:-2], whole=False)
            yield Span(at + size - 2, at + size, "'s", whole=False)
        if not grammar.spaced and not is_numeral(word):
            for start in range(size):
                for end in range(start + 1, size + (start > 0)):
                    if word[start:end] in grammar.vocabulary:
                        yield Span(at + start, at + end, word[start:end], whole=False)
        at += size
