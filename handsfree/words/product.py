"""Few rows times a large matrix, which is laid out for that once: by ONNX Runtime.

NumPy's BLAS lays a matrix out anew in each product, which for the few rows of a search takes longer
than the product itself.  What takes the time then is to read the matrix from memory, so the largest
is read in 8 bits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.words.weights import Tensor

Message = Mapping[int, Any]
"""A message of Protocol Buffers: values by the numbers of their fields."""

#: Of onnx.proto3 (ONNX 1.12, IR version 8): the version, and that of the operators.
_IR_VERSION, _OPERATORS = 8, 17
#: And its numbers of the types of data.
_TYPES = {"float32": 1, "uint8": 2, "int8": 3}
#: Steps on either side of zero of a number in 8 bits, and of a weight: a processor without VNNI
#: adds two products in 16 bits, so that one bit stays free.
_STEPS, _WEIGHT_STEPS = 127, 63
#: The zero of unsigned numbers.
_ZERO = 128
#: A product is exact if it is at most so far below the largest of its row, in nats.
_NEAR = 8.0


class Product:
    """Rows times one matrix, on one thread.

    Args:
        matrix: 32 bit floats, shape (D, E).
    """

    def __init__(self, matrix: Tensor) -> None:
        rows = [_rows("x", matrix.shape[0])]
        self._network = _network([_node("MatMul", "x w")], rows, {"w": matrix})

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        flat = np.ascontiguousarray(rows.reshape(-1, rows.shape[-1]))
        (product,) = self._network.run(None, {"x": flat})
        return np.asarray(product).reshape(*rows.shape[:-1], -1)


class Logits:
    """Rows times each row of a table, for their softmax; on one thread.

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
            _node("MatMulInteger", "x w zero", "whole"),
            _node("Cast", "whole", "float", to=_TYPES["float32"]),
            _node("Mul", "float size", "sized"),
            _node("Mul", "sized of"),
        ]
        rows = [_rows("x", table.shape[1], "uint8"), _rows("of", 1)]
        constants: dict[str, NDArray[Any]] = {
            "w": weights.astype(np.int8).T,
            "zero": np.array(_ZERO, np.uint8),
            "size": size[:, 0],
        }
        self._network = _network(nodes, rows, constants)

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        flat = rows.reshape(-1, rows.shape[-1])
        whole, size = _in_steps(flat, _STEPS)
        given = {"x": (whole + _ZERO).astype(np.uint8), "of": size}
        (logits,) = self._network.run(None, given)
        near = logits > logits.max(-1, keepdims=True) - np.float32(_NEAR)
        columns = near.any(0).nonzero()[0]
        exact = flat @ self._table[columns].astype(np.float32, copy=False).T
        logits[:, columns] = np.where(near[:, columns], exact, logits[:, columns])
        return np.asarray(logits).reshape(*rows.shape[:-1], -1)


def _in_steps(rows: Tensor, steps: int) -> tuple[Tensor, Tensor]:
    """Rows in whole numbers of steps, at most so many from zero; and how large each row's are."""
    size = np.abs(rows).max(-1, keepdims=True) / np.float32(steps)
    size[size == 0] = 1
    return np.rint(rows / size), size


def _network(
    nodes: Sequence[Message], inputs: Sequence[Message], constants: Mapping[str, NDArray[Any]]
) -> Any:
    """A network that gives rows "y"."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 4
    graph = {
        1: nodes,
        2: "product",
        5: [_tensor(name, values) for name, values in constants.items()],
        11: inputs,
        12: _rows("y", constants["w"].shape[1]),
    }
    model = _message({1: _IR_VERSION, 7: graph, 8: {1: "", 2: _OPERATORS}})
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


def _node(operator: str, inputs: str, output: str = "y", **numbers: int) -> Message:
    """NodeProto; its attributes are whole numbers."""
    attributes = [{1: name, 3: value, 20: 2} for name, value in numbers.items()]
    return {1: inputs.split(), 2: output, 4: operator, 5: attributes}


def _tensor(name: str, values: NDArray[Any]) -> Message:
    """TensorProto."""
    return {1: values.shape, 2: _TYPES[values.dtype.name], 8: name, 9: values.tobytes()}


def _rows(name: str, width: int, kind: str = "float32") -> Message:
    """ValueInfoProto of any number of rows."""
    shape = {1: [{2: "n"}, {1: width}]}
    return {1: name, 2: {1: {1: _TYPES[kind], 2: shape}}}


def _message(fields: Message) -> bytes:
    """A message in the wire format of Protocol Buffers."""
    parts = []
    for number, values in fields.items():
        for value in values if isinstance(values, (list, tuple)) else [values]:
            if isinstance(value, int):
                parts += [_varint(number << 3), _varint(value)]
                continue
            data = value.encode() if isinstance(value, str) else value
            data = data if isinstance(data, bytes) else _message(data)
            parts += [_varint(number << 3 | 2), _varint(len(data)), data]
    return b"".join(parts)


def _varint(value: int) -> bytes:
    out = bytearray()
    while value >= 128:
        out.append(value & 127 | 128)
        value >>= 7
    return bytes([*out, value])
