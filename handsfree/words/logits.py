"""The largest product of a decoder, for every word that may follow, in 8 bits where that is enough.

For the few rows of a search what takes the time is to read the matrix from memory.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.words.onnx_graph import OnnxGraph, onnx_node
from handsfree.words.weights import Tensor

#: Steps on either side of zero of a number in 8 bits, and of a weight: a processor without VNNI
#: adds two products in 16 bits, so that one bit stays free.
_STEPS, _WEIGHT_STEPS = 127, 63
#: The zero of unsigned numbers.
_ZERO = 128
#: A product is exact if it is at most so far below the largest of its row, in nats.
_NEAR = 7.0


class Logits:
    """Rows times each row of a table, for their softmax.

    The products near the largest of their row are exact.  The others, which are far less likely,
    are computed in 8 bits, with an error of about 0.3; in the sum over all it is under 0.02.  What
    a row gives does not depend on the rows beside it.

    Args:
        table: 16 or 32 bit floats, shape (E, D).
    """

    def __init__(self, table: NDArray[np.floating[Any]]) -> None:
        self._table = table
        weights, size = _in_steps(table.astype(np.float32), _WEIGHT_STEPS)
        nodes = [
            onnx_node("MatMulInteger", "x w zero", "whole"),
            onnx_node("Cast", "whole", "float", to="float32"),
            onnx_node("Mul", "float size", "sized"),
            onnx_node("Mul", "sized of", "y"),
        ]
        constants: dict[str, NDArray[Any]] = {
            "w": weights.astype(np.int8).T,
            "zero": np.array(_ZERO, np.uint8),
            "size": size[:, 0],
        }
        inputs = {"x": table.shape[1], "of": 1}
        self._graph = OnnxGraph(nodes, inputs, ["y"], constants, x="uint8")

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        flat = rows.reshape(-1, rows.shape[-1])
        whole, size = _in_steps(flat, _STEPS)
        (logits,) = self._graph((whole + _ZERO).astype(np.uint8), size)
        near = logits > logits.max(-1, keepdims=True) - np.float32(_NEAR)
        columns = near.any(0).nonzero()[0]
        exact = flat @ self._table[columns].astype(np.float32, copy=False).T
        logits[:, columns] = np.where(near[:, columns], exact, logits[:, columns])
        return logits.reshape(*rows.shape[:-1], -1)


def _in_steps(rows: Tensor, steps: int) -> tuple[Tensor, Tensor]:
    """Rows in whole numbers of steps, at most so many from zero; and how large each row's are."""
    size = np.abs(rows).max(-1, keepdims=True) / np.float32(steps)
    size[size == 0] = 1
    return np.rint(rows / size), size
