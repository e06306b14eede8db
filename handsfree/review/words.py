"""What a person types into the search, as each database asks for it.

Nothing that is typed is ever taken for the language of the database: it is cut into words, and
the question is made of these alone.  Words stand together (and), words in quotation marks stand
in a row, and a word of three letters or more finds those that begin so.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

#: Letters and digits of whatever script; what stands between them parts words.
_WORD = re.compile(r"[^\W_]+")
_PHRASE = re.compile(r'"([^"]*)"?|(\S+)')
#: Words of a question, and signs of it, that count.
MOST_WORDS, LONGEST_QUERY = 16, 200
#: Of a word, and places in a text, that PostgreSQL keeps (its manual, 12.11 Limitations).
_LONGEST_WORD, _LAST_PLACE = 500, 16383

#: Words in a row, and whether the last may go on.
Phrase = tuple[tuple[str, ...], bool]


#: The blocks of combining marks of Unicode.
_MARKS = re.compile("[\u0300-\u036f\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f]")


def folded(text: str) -> str:
    """Text in small letters without accents."""
    if text.isascii():
        return text.lower()
    return _MARKS.sub("", unicodedata.normalize("NFD", text)).lower()


def phrases(query: str) -> list[Phrase]:
    """What is asked for; empty if there is no word in it."""
    found: list[Phrase] = []
    room = MOST_WORDS
    for match in _PHRASE.finditer(folded(query[:LONGEST_QUERY])):
        quoted = match[1] is not None
        words = tuple(_WORD.findall(match[1] or match[2] or ""))[:room]
        room -= len(words)
        if words:
            begins = not quoted and len(words[-1]) >= 3 and words[-1].isalpha()
            found.append((words, begins))
    return found


def fts5_query(asked: Sequence[Phrase]) -> str:
    """For SQLite: strings of FTS5, which hold letters and digits only."""
    return " AND ".join(f'"{" ".join(words)}"{"*" if begins else ""}' for words, begins in asked)


def tsquery(asked: Sequence[Phrase]) -> str:
    """For PostgreSQL, in the text form of its type `tsquery`."""
    return " & ".join(
        "(" + " <-> ".join(f"'{word}'" for word in words) + (":*" if begins else "") + ")"
        for words, begins in asked
    )


def tsvector(text: str) -> str:
    """For PostgreSQL, the words of a text in the text form of its type `tsvector`.

    They are cut here and not by the server, so that both databases know the same words.
    """
    places: dict[str, list[int]] = {}
    for place, match in enumerate(_WORD.finditer(folded(text)), 1):
        at = places.setdefault(match[0][:_LONGEST_WORD], [])
        if len(at) < 255:
            at.append(min(place, _LAST_PLACE))
    return " ".join(f"'{word}':{','.join(map(str, at))}" for word, at in places.items())


def matching_lines(text: str, asked: Sequence[Phrase], most: int = 2) -> list[str]:
    """Lines of a text that hold one of the words: of the first few those that hold most of them."""
    wanted = [
        re.escape(word) + ("" if begins else _ENDS) for words, begins in asked for word in words
    ]
    pattern = re.compile(f"{_BEGINS}(?:{'|'.join(wanted)})")
    said = text.split("\n")
    hits: dict[str, int] = {}
    for number, line in enumerate(folded(text).split("\n")):
        if pattern.search(line):
            hits.setdefault(said[number], len(set(pattern.findall(line))))
            if len(hits) == _LOOKED_AT_LINES:
                break
    return sorted(hits, key=lambda line: -hits[line])[:most]


_BEGINS, _ENDS = r"(?<![^\W_])", r"(?![^\W_])"
#: Lines with a hit that are weighed against each other.
_LOOKED_AT_LINES = 8
