"""English with the sounds of another language, made in the phonemes.

A synthesiser that takes phonemes says English as somebody does whose first language has other
sounds: what it lacks becomes its nearest neighbour, clusters get a vowel or lose a consonant,
stress and length go.  Each accent is a short table of rewritings of espeak-ng's IPA for American
English.  They are written from memory of M. Swan and B. Smith (eds.), "Learner English", 2nd ed.,
Cambridge 2001, which has a chapter on each of these first languages but Vietnamese (from memory
of its inventory alone).  No speaker does all of it always, so each rule is kept by chance.

The accents are drawn once into three parts: those that may be learnt from, those to tune with,
and strangers, of which nothing is looked at but in a final run.
"""

from __future__ import annotations

import random
import re
from collections.abc import Sequence
from typing import Literal

Part = Literal["learn", "tune", "strangers"]
Rule = tuple[str, str]
"""A pattern and what takes its place, as `re.sub` has them."""

#: Share of its rules that a speaker keeps.
KEPT = 0.85
#: How many accents are in each part.
_SHARES: dict[Part, int] = {"learn": 10, "tune": 3, "strangers": 10}

#: Of all: no tapped t, and an r that is written is said.
_COMMON: tuple[Rule, ...] = ((r"(?<=\w)ɾ(?=\w)", "t"), ("ɜː", "ɛɹ"), ("ɚ", "əɹ"), ("ᵻ", "ɪ"))
_TH_STOPS: tuple[Rule, ...] = (("θ", "t"), ("ð", "d"))
_TH_HISSED: tuple[Rule, ...] = (("θ", "s"), ("ð", "z"))
_HARD_ENDS: tuple[Rule, ...] = (
    (r"dʒ\b", "tʃ"), (r"b\b", "p"), (r"d\b", "t"), (r"ɡ\b", "k"), (r"v\b", "f"), (r"z\b", "s"),
    (r"ʒ\b", "ʃ"),
)  # fmt: skip
_NO_LENGTH: tuple[Rule, ...] = (("ɪ", "i"), ("ʊ", "u"), ("ː", ""))
_FIVE_VOWELS: tuple[Rule, ...] = (
    ("[æʌɑɐ]", "a"), ("[ɔɒ]", "o"), ("[ɛɜ]", "e"), ("ə(?!ʊ)", "e"), *_NO_LENGTH,
)  # fmt: skip
_PURE: tuple[Rule, ...] = (("oʊ", "oː"), ("eɪ", "eː"))
_TRILL: tuple[Rule, ...] = (("ɹ", "r"),)
_TAP: tuple[Rule, ...] = (("ɹ", "ɾ"),)
_NO_W: tuple[Rule, ...] = (("w", "v"),)
_FLAT: tuple[Rule, ...] = (("[ˈˌ]", ""),)
_OPEN_S: tuple[Rule, ...] = ((r"\bs(?=[ptkmnlw])", "es"),)
_DARK_SEVEN: tuple[Rule, ...] = (("vən", "vn"), ("vɛn", "vn"))

ACCENTS: dict[str, tuple[Rule, ...]] = {
    "arabic": (("p", "b"), ("v", "f"), *_TH_HISSED, *_TRILL, ("oʊ", "o"), ("eɪ", "eː"),
               ("ɛ", "ɪ"), (r"(?<=[sθtf])(?=[ɹrptk])", "i"), *_FLAT),
    "chinese": (("θ", "s"), ("ð", "d"), ("v", "w"), (r"[tdkɡvz]\b", ""), ("l\\b", "ɚ"),
                ("ɪ", "i"), ("æ", "ɛ"), ("ɹ", "ɻ"), *_FLAT),
    "dutch": (*_TH_STOPS, *_HARD_ENDS, ("w", "ʋ"), ("æ", "ɛ"), ("ʌ", "œ"), ("ɡ", "x"),
              ("oʊ", "oː"), ("ʃ", "sj")),
    "french": (*_TH_HISSED, (r"\bh", ""), ("ɹ", "ʁ"), ("ɪ", "i"), ("ʊ(?!ː)", "u"), ("tʃ", "ʃ"),
               ("dʒ", "ʒ"), ("æ", "a"), ("ʌ", "œ"), *_PURE, *_FLAT),
    "german": (*_TH_HISSED, *_HARD_ENDS, *_NO_W, ("ɹ(?=\\w*[aeiouɛɔæʌɪʊ])", "ʁ"), ("æ", "ɛ"),
               ("ʌ", "a"), *_PURE, ("dʒ", "tʃ")),
    "greek": (("ʃ", "s"), ("tʃ", "ts"), ("dʒ", "dz"), ("h", "x"), *_TAP, *_FIVE_VOWELS),
    "hindi": (("θ", "t"), ("ð", "d"), ("t(?!ʃ)", "ʈ"), ("d(?!ʒ)", "ɖ"), ("w", "ʋ"), ("v", "ʋ"),
              *_TAP, *_PURE, ("[ɔɒ](?!ɪ)", "a"), *_FLAT),
    "italian": (*_TH_STOPS, (r"\bh", ""), *_TRILL, (r"([bdfklmnpstvzʃɡ])\b", r"\1ə"),
                *_FIVE_VOWELS, (r"\bs(?=[mnlbdɡv])", "z")),
    "japanese": (("θ", "s"), ("ð", "z"), ("[ɹl]", "ɾ"), ("v", "b"), ("f(?=[uʊɔo])", "ɸ"),
                 (r"([kɡsfbpzm])\b", r"\1ɯ"), (r"([td])\b", r"\1o"), (r"s(?=[tkpɾ])", "sɯ"),
                 ("æ", "a"), ("ʌ", "a"), ("si", "ʃi"), *_PURE, *_FLAT),
    "korean": (("f", "p"), ("v", "b"), ("θ", "s"), ("ð", "d"), ("z", "dʒ"), ("ɹ", "ɾ"),
               (r"([sʃ])\b", r"\1ɯ"), (r"(tʃ|dʒ)\b", r"\1i"), ("ɪ", "i"), ("æ", "ɛ"), *_FLAT),
    "malay": (("θ", "t"), ("ð", "d"), ("v", "f"), ("z", "s"), (r"([ptkfs])[tdsk]\b", r"\1"),
              *_NO_LENGTH, *_PURE, *_TAP, *_FLAT),
    "persian": (*_TH_STOPS, ("w", "v"), *_TAP, (r"\bs(?=[ptkmnlw])", "es"),
                (r"\b([tdbf])(?=ɾ)", r"\1e"), ("ɪ", "i"), ("ʌ", "a"), ("æ", "a")),
    "polish": (("θ", "f"), ("ð", "d"), *_HARD_ENDS, *_TRILL, ("h", "x"), *_FIVE_VOWELS,
               ("ŋ", "nk")),
    "portuguese": (*_TH_STOPS, (r"\bɹ", "h"), ("ɹ", "ɾ"), ("ti", "tʃi"), ("di", "dʒi"),
                   (r"([ptkbdɡf])\b", r"\1i"), (r"l\b", "w"), ("æ", "ɛ"), ("[mn]\\b", "̃ŋ"),
                   *_OPEN_S, *_NO_LENGTH),
    "russian": (*_TH_HISSED, *_HARD_ENDS, *_NO_W, *_TRILL, ("h", "x"), *_NO_LENGTH, ("æ", "ɛ"),
                ("oʊ", "o"), ("ei", "ej"), ("ti", "tʲi")),
    "scandinavian": (("θ", "t"), ("ð", "d"), ("z", "s"), ("w", "v"), ("dʒ", "j"), ("tʃ", "ɕ"),
                     ("uː", "ʉː"), ("ʌ", "œ"), *_PURE),
    "spanish": (("θ", "s"), ("ð", "d"), ("v", "b"), ("z", "s"), ("ʃ", "tʃ"), ("h", "x"),
                *_OPEN_S, *_TRILL, (r"([ptkf])[tdsk]\b", r"\1"), *_FIVE_VOWELS, *_FLAT),
    "swahili": (("ɹ", "l"), *_FIVE_VOWELS, (r"([kptbdɡ])\b", r"\1i"), (r"([sfmzv])\b", r"\1u"),
                *_FLAT),
    "tamil": (*_TH_STOPS, ("t(?!ʃ)", "ʈ"), ("d(?!ʒ)", "ɖ"), (r"\b([eɛ])", r"j\1"),
              (r"\bˈ([eɛ])", r"jˈ\1"), (r"\b[ˈˌ]?(oʊ)", "woː"), ("z", "s"), ("f", "p"), ("w", "ʋ"),
              ("v", "ʋ"), (r"([ptkɖʈ])\b", r"\1ɯ"), *_TAP, *_FLAT),
    "thai": (("θ", "t"), ("ð", "d"), ("v", "w"), ("z", "s"), ("ɹ", "l"), (r"[lɹ]\b", "n"),
             (r"(?<=\w)[stdkɡz]\b", "t"), ("ʃ", "tʃ"), *_DARK_SEVEN, *_FLAT),
    "turkish": (*_TH_STOPS, *_HARD_ENDS, ("w", "v"), *_TAP, (r"\bs(?=[ptkmnlw])", "sɨ"),
                (r"\b([tdbfk])(?=ɾ)", r"\1ɨ"), ("æ", "ɛ"), ("ʌ", "a"), *_NO_LENGTH),
    "vietnamese": (("θ", "t"), ("ð", "z"), ("p", "b"), (r"(?<=\w)(s|z|ks|ts|v|f|l)\b", ""),
                   (r"(?<=[aeiouɪʊɛ])(d|ɡ|b|dʒ)\b", "t"), ("ɪ", "i"), (r"st", "t"), *_FLAT),
    "west-african": (*_TH_STOPS, ("ʌ", "ɔ"), ("ə(?!ʊ)", "a"), ("æ", "a"), *_NO_LENGTH, *_PURE,
                     ("ɛɹ", "a"), (r"([ptks])[tdsk]\b", r"\1"), *_FLAT),
}  # fmt: skip
"""By first language."""


def _drawn() -> dict[Part, tuple[str, ...]]:
    names = sorted(ACCENTS)
    random.Random("accents").shuffle(names)
    parts: dict[Part, tuple[str, ...]] = {}
    for part, count in _SHARES.items():
        parts[part], names = tuple(names[:count]), names[count:]
    return parts


PARTS = _drawn()
"""The accents of each part."""


def accented(phonemes: str, rules: Sequence[Rule], rng: random.Random | None = None) -> str:
    """English in an accent.

    Args:
        phonemes: espeak-ng's IPA, American English.
        rules: of the accent.
        rng: decides which of its rules the speaker keeps; None for all of them.
    """
    for pattern, instead in _COMMON:
        phonemes = re.sub(pattern, instead, phonemes)
    for pattern, instead in rules:
        if rng is None or rng.random() < KEPT:
            phonemes = re.sub(pattern, instead, phonemes)
    return phonemes
