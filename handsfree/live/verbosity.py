"""How much is said."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum

import yaml

from handsfree.grammar import Language
from handsfree.languages import data_folder, load_language


class Verbosity(StrEnum):
    """Short: a tone carries the verdict; apprentice: also how to probe and why."""

    short = "short"
    normal = "normal"
    apprentice = "apprentice"


def language_for(name: str, verbosity: Verbosity) -> Language:
    """The language `name` with the prompts for that verbosity.

    Raises:
        Missing: there is no such language.
    """
    language = load_language(name)
    path = data_folder("grammars") / name / f"prompts.{verbosity}.yaml"
    if not path.exists():
        return language
    other = yaml.safe_load(path.read_text(encoding="utf-8"))
    return replace(language, prompts={**language.prompts, **other})
