"""Weights of speech models: their file, and a small change to them.

`variables_in` reads CTranslate2's
`model.bin`, in the format of `ctranslate2.specs.model_spec.ModelSpec.save`.  `adapt` changes each
matrix W to W + B A, where A and B are thin (Hu et al. 2021, "LoRA: Low-Rank Adaptation of Large
Language Models"); biases and norms are shifted.  So a model of 75 MB is adapted by a file of 6 MB.
How it is learnt: `tests/speech_bench/adapt`.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

Tensor = NDArray[np.float32]
Variables = Mapping[str, NDArray[Any]]

#: CTranslate2's numbers of the types of its variables.
_TYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def variables_in(data: bytes | bytearray) -> dict[str, NDArray[np.generic]]:
    """The variables by name: views, so that to change one of a bytearray is to change it.

    Raises:
        ValueError: that is no such model.
    """
    at = 0

    def number(kind: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from(f"<{kind}", data, at)
        at += struct.calcsize(kind)
        return int(value)

    def text() -> str:
        nonlocal at
        size = number("H")
        at += size
        return bytes(data[at - size : at - 1]).decode()

    try:
        number("I"), text(), number("I")  # version, name and revision of the format
        variables = {}
        for _ in range(number("I")):
            name = text()
            shape = [number("I") for _ in range(number("B"))]
            kind = np.dtype(_TYPES[number("B")])
            size = number("I")
            values = np.frombuffer(data, kind, size // kind.itemsize, at)
            variables[name] = values.reshape(shape)
            at += size
    except (struct.error, KeyError, UnicodeDecodeError) as error:
        raise ValueError(f"not a CTranslate2 model: {error}") from error
    return variables


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
