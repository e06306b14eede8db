"""Weights of models and voices that were measured, told from all others by their SHA-256."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

from handsfree.errors import Missing


def check_pinned(
    model: str, folder: Path, sha256: Mapping[str, str], remedy: str, *, alone: bool = True
) -> None:
    """Nothing, if the files of a folder are the pinned ones, and these alone.

    Whatever lies beside the weights may be read as a setting of the model, so nothing may.

    Args:
        model: its name, for people.
        folder: of the files.
        sha256: of each file by name, in hexadecimal.
        remedy: how to get it.
        alone: False if each file is read by its name, so that others may lie beside it.

    Raises:
        Missing: one is not there, is another, or is too much.
    """
    for name, wanted in sha256.items():
        file = folder / name
        if not file.is_file():
            raise Missing(f"there are no {model} weights", where=str(file), remedy=remedy)
        with file.open("rb") as opened:
            found = hashlib.file_digest(opened, "sha256").hexdigest()
        if found != wanted:
            raise _other(model, file, remedy)
    for file in sorted(folder.iterdir()) if alone else ():
        if file.name not in sha256:
            raise _other(model, file, remedy)


def _other(model: str, file: Path, remedy: str) -> Missing:
    what = f"the {model} weights are not the ones that were checked"
    return Missing(what, where=str(file), remedy=remedy)
