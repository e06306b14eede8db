"""Weights out of a package: only the ones that were measured are trusted."""

from __future__ import annotations

import hashlib
from pathlib import Path

from handsfree.errors import Missing


def check(model: str, weights: Path, sha256: str, remedy: str) -> None:
    """Nothing, if a file of weights is the pinned one.

    Args:
        model: its name, for people.
        weights: the file.
        sha256: of the pinned file.
        remedy: how to get it.

    Raises:
        Missing: it is not there, or another one.
    """
    if not weights.exists():
        raise Missing(f"there are no {model} weights", where=str(weights), remedy=remedy)
    with weights.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != sha256:
        raise Missing(
            f"the {model} weights are not the ones that were checked",
            where=str(weights),
            remedy=remedy,
        )
