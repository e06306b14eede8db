"""Few rows times a large matrix, which is laid out for that once: by ONNX Runtime.

NumPy's BLAS lays a matrix out anew in each product, which for the few rows of a search takes longer
than the product itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from handsfree.words.weights import Tensor

#: Fields of onnx.proto3 (ONNX 1.12, IR version 8) by message, and the values that are used.
_IR_VERSION, _OPERATORS, _FLOAT, _EXTERNAL = 8, 17, 1, 1
#: The network takes its matrix for a file of this name.
_FILE = "matrix"


class Product:
    """Rows times one matrix, on one thread.

    Args:
        matrix: 32 bit floats, shape (D, E).
    """

    def __init__(self, matrix: Tensor) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 4
        values = np.ascontiguousarray(matrix)  # copied, so that only what is laid out stays
        options.add_external_initializers_from_files_in_memory([_FILE], [values], [values.nbytes])
        self._network: Any = onnxruntime.InferenceSession(
            _product(*matrix.shape), options, providers=["CPUExecutionProvider"]
        )

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        flat = np.ascontiguousarray(rows.reshape(-1, rows.shape[-1]))
        (product,) = self._network.run(None, {"x": flat})
        return np.asarray(product).reshape(*rows.shape[:-1], -1)


def _product(height: int, width: int) -> bytes:
    """The network "y = x w" in ONNX, without the matrix itself."""
    matrix = {
        1: [height, width],  # dims
        2: _FLOAT,
        8: "w",
        13: {1: "location", 2: _FILE},
        14: _EXTERNAL,
    }
    node = {1: ["x", "w"], 2: "y", 4: "MatMul"}
    graph = {1: node, 2: "product", 5: matrix, 11: _rows("x", height), 12: _rows("y", width)}
    return _message({1: _IR_VERSION, 7: graph, 8: {1: "", 2: _OPERATORS}})


def _rows(name: str, width: int) -> Mapping[int, Any]:
    """ValueInfoProto of any number of rows."""
    shape = {1: [{2: "n"}, {1: width}]}
    return {1: name, 2: {1: {1: _FLOAT, 2: shape}}}


def _message(fields: Mapping[int, Any]) -> bytes:
    """A message by field numbers, in the wire format of Protocol Buffers."""
    out = b""
    for number, values in fields.items():
        for value in values if isinstance(values, list) else [values]:
            if isinstance(value, int):
                out += _varint(number << 3) + _varint(value)
                continue
            data = value.encode() if isinstance(value, str) else _message(value)
            out += _varint(number << 3 | 2) + _varint(len(data)) + data
    return out


def _varint(value: int) -> bytes:
    out = bytearray()
    while value >= 128:
        out.append(value & 127 | 128)
        value >>= 7
    return bytes([*out, value])
