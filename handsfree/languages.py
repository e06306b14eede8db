"""The edge where language data is read: grammars/LANGUAGE/ with its grammars and prompts."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from handsfree.encoder import encoder
from handsfree.errors import Missing
from handsfree.grammar import jsgf, unknown_colours
from handsfree.grammar.intents import Intents
from handsfree.grammar.language import Language
from handsfree.plan import LoadedPlan


def data_folder(name: str) -> Path:
    """Folder `name` ("grammars" or "demo_audio"), installed or in a checkout.

    Raises:
        Missing: it is in neither place.
    """
    package = Path(__file__).parent
    for folder in (package / "data" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise Missing(f"the folder {name} is not installed", remedy="install handsfree again")


@lru_cache(maxsize=4)
def load_language(name: str = "en") -> Language:
    """The language `name`, read from its folder.

    Raises:
        Missing: there is no such language.
        BadInput: a grammar is wrong.
    """
    grammars_folder = data_folder("grammars")
    known = sorted(path.name for path in grammars_folder.iterdir() if path.is_dir())
    if name not in known:  # a plan may name anything, a path too
        raise Missing(f"there is no language {name!r}", remedy=f"known: {', '.join(known)}")
    folder = grammars_folder / name
    grammars = [
        jsgf.parse(path.read_text(encoding="utf-8"), str(path))
        for path in sorted(folder.glob("*.jsgf"))
    ]
    said, settings, conditions = (
        _data(folder / f"{part}.yaml") for part in ("prompts", "language", "conditions")
    )
    words = _pronunciations(folder)
    return Language.of_grammars(
        name, grammars, said, words, conditions=conditions, intents=_intents(folder), **settings
    )


def language_of(loaded: LoadedPlan) -> Language:
    """The language of a plan, which has a word for all that the plan names.

    Raises:
        Missing: there is no such language.
        BadPlan: it lacks a colour; named with file, line and the colours that are known.
    """
    language = load_language(loaded.plan.language)
    loaded.refuse(unknown_colours(language, loaded.plan))
    return language


def _intents(folder: Path) -> Intents | None:
    path, encode = folder / "intents.npz", encoder()
    if encode is None or not path.exists():
        return None
    with np.load(path) as learnt:
        return Intents(tuple(map(str, learnt["names"])), learnt["weights"].astype(float), encode)


def _data(path: Path) -> dict[str, Any]:
    return yaml.safe_load(path.read_text(encoding="utf-8")) if path.exists() else {}


def _pronunciations(folder: Path) -> dict[str, tuple[str, ...]]:
    path = folder / "pronunciations.dict"
    found: dict[str, tuple[str, ...]] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            word, _, phones = line.partition(" ")
            if phones and not word.startswith("#"):
                word = word.split("(")[0]
                found[word] = (*found.get(word, ()), phones.strip())
    return found
