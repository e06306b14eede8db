"""How much is said."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from functools import lru_cache

import yaml

from handsfree.grammar import Language
from handsfree.languages import data_folder, load_language


class Verbosity(StrEnum):
    """How much is said: each says more than the one before.

    Attributes:
        short: a tone carries the verdict.
        normal: a value is called back with one word, more where it is wrong.
        full: whole sentences, with what is expected at each step.
        apprentice: the same, and how to probe and why.
    """

    short = "short"
    normal = "normal"
    full = "full"
    apprentice = "apprentice"


_PROMPTS = {
    Verbosity.short: ("normal", "short"),
    Verbosity.normal: ("normal",),
}
"""Files of prompts that stand over those with whole sentences, the last one on top."""


@lru_cache(maxsize=4)
def language_for(name: str, verbosity: Verbosity) -> Language:
    """The language `name` with the prompts for that verbosity; the same one each time.

    Raises:
        Missing: there is no such language.
    """
    language = load_language(name)
    for part in _PROMPTS.get(verbosity, ()):
        path = data_folder("grammars") / name / f"prompts.{part}.yaml"
        if path.exists():
            other = yaml.safe_load(path.read_text(encoding="utf-8"))
            language = replace(language, prompts={**language.prompts, **other})
    return language
