"""A small change to a speech model's weights, learnt from what technicians say.

Each matrix W becomes W + B A, where A and B are thin (Hu et al. 2021, "LoRA: Low-Rank
Adaptation of Large Language Models"); biases and norms are shifted.  So a model of 75 MB is
adapted by a file of 2 MB.  How it is learnt: `tests/speech_bench/adapt`.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

Variables = Mapping[str, NDArray[Any]]


def packaged_adaptation() -> Variables:
    """The change for Whisper tiny.en that comes with the tool."""
    with (files("handsfree.words") / "tiny_en.npz").open("rb") as file, np.load(file) as found:
        return dict(found)


def adapt(variables: Variables, change: Variables) -> None:
    """Change the weights of a model in place.

    Args:
        variables: of the model by name.
        change: "NAME:b" of shape (out, rank) and "NAME:a" of shape (rank, in) for a matrix,
            "NAME" for what is added to a vector.

    Raises:
        ValueError: the change is for another model.
    """
    try:
        for name, value in change.items():
            matrix, _, part = name.partition(":")
            if part == "b":
                continue
            more = np.asarray(value, np.float32)
            if part == "a":
                more = np.asarray(change[f"{matrix}:b"], np.float32) @ more
            variables[matrix][...] += more.astype(variables[matrix].dtype)
    except KeyError as error:
        raise ValueError(f"the change is for another model: it has no {error}") from error
