"""The variables in a CTranslate2 `model.bin`.

The format is that of `ctranslate2.specs.model_spec.ModelSpec.save`.
"""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

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
