"""How a model that writes text writes the words of a grammar, and how that is read back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import cache

Tokens = tuple[int, ...]

_NO_LETTER = re.compile(r"[^\w ]")


class Spelling:
    """Words in the tokens of a model.

    Args:
        encode: text in tokens; a word has a blank before it.
        decode: tokens as text.
        end: the token that ends a text.
        written: the tokens of which texts consist.
        silent: those of them that stand for no speech.

    Attributes:
        end, written, silent: as given.
        marks: punctuation that may follow a word and means nothing.
        words: a word as it stands within a sentence, at its start and as letters, in tokens.
        letters: a token as text that tells wordings apart: no case, no punctuation.
    """

    def __init__(
        self,
        encode: Callable[[str], Iterable[int]],
        decode: Callable[[Tokens], str],
        *,
        end: int,
        written: range,
        silent: Tokens = (),
    ) -> None:
        self._encode, self._decode = encode, decode
        self.end, self.written, self.silent = end, written, silent
        self.marks: Tokens = tuple(token for mark in ",." for token in encode(mark))
        self.words: Callable[[str], list[Tokens]] = cache(self._words)
        self.letters: Callable[[int], str] = cache(self._letters)

    def text(self, tokens: Tokens) -> str:
        """Lower case; of the punctuation only what belongs to a number."""
        text = self._decode(tokens).lower().replace("-", " - ")
        text = re.sub(r"[^\w\s.,%°'-]|[.,](?!\d)|-(?! *[\d.])", " ", text)
        return " ".join(re.sub(r"(?<!\d) - (?=[\d.])", " -", text).split())

    def plain(self, word: str) -> Tokens:
        """A word as it stands within a sentence."""
        return tuple(self._encode(f" {word}"))

    def closing(self, tokens: Tokens) -> Tokens:
        """The punctuation mark at their end, if there is one."""
        return tuple(token for token in tokens[-1:] if token in self.marks)

    def _words(self, word: str) -> list[Tokens]:
        written = {word, word.capitalize(), word.upper() if len(word) <= 2 else word}
        return [self.plain(form) for form in sorted(written)]

    def _letters(self, token: int) -> str:
        return letters_of(self._decode((token,)))


def letters_of(text: str) -> str:
    """What tells wordings apart: no case, no punctuation."""
    return _NO_LETTER.sub("", text.lower())
