"""From text as people and engines write it to the words of the grammar.

"Violet wire: 4.98 V" becomes `violet wire 4.98 V`; the grammar's `<numeral>` takes the
number as it stands, so that nothing is guessed about how it was spoken.
"""

from __future__ import annotations

import re
from collections.abc import Container

from handsfree.grammar.automaton import Automaton, Tags

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
    """`text` as words, spelled as in `vocabulary` where it has them, else in lower case."""
    return [token if token in vocabulary else token.lower() for token in tokens(text)]


def parse_text(automaton: Automaton, text: str) -> list[Tags]:
    """Every meaning that the grammar gives to `text`, as tag sequences."""
    return automaton.parses(words(text, automaton.vocabulary))
