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

#: Of onnx.proto3 (ONNX 1.12, IR version 8): the version, that of the operators, and types of data.
_IR_VERSION, _OPERATORS, _FLOAT, _INT8 = 8, 17, 1, 3
_TYPES = {"float32": _FLOAT, "int8": _INT8}
#: Steps of a weight on either side of zero.  It is 7 bits of the 8, since a processor without VNNI
#: adds two products in 16 bits.
_STEPS = 63
#: A product is exact if it is at most so far below the largest of its row, in nats.
_NEAR = 8.0


class Product:
    """Rows times one matrix, on one thread.

    Args:
        matrix: 32 bit floats, shape (D, E).
    """

    def __init__(self, matrix: Tensor) -> None:
        self._network = _network([_node("MatMul", "x w", "y")], matrix.shape, {"w": matrix})

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        return _run(self._network, rows)


class Logits:
    """Rows times each row of a table, for their softmax; on one thread.

    The products near the largest of their row are exact.  The others, which are far less likely,
    are computed in 8 bits, with an error of about 0.3; in the sum over all it is under 0.02.

    Args:
        table: 16 or 32 bit floats, shape (E, D).
    """

    def __init__(self, table: NDArray[np.floating[Any]]) -> None:
        self._table = table
        scale = np.abs(table).max(-1).astype(np.float32) / _STEPS
        scale[scale == 0] = 1
        steps = np.rint(table.T / scale).astype(np.int8)
        nodes = [
            _node("DynamicQuantizeLinear", "x", "xq xs xz"),
            _node("MatMulInteger", "xq w xz", "product"),
            _node("Cast", "product", "p", to=_FLOAT),
            _node("Mul", "xs s", "scale"),
            _node("Mul", "p scale", "y"),
        ]
        self._network = _network(nodes, steps.shape, {"w": steps, "s": scale})

    def __call__(self, rows: Tensor) -> Tensor:
        """Shape (..., D) to (..., E)."""
        logits = _run(self._network, rows)
        flat = logits.reshape(-1, logits.shape[-1])
        near = (flat > flat.max(-1, keepdims=True) - np.float32(_NEAR)).any(0).nonzero()[0]
        exact = self._table[near].astype(np.float32, copy=False)
        flat[:, near] = rows.reshape(-1, rows.shape[-1]) @ exact.T
        return logits


def _network(
    nodes: Sequence[Message], shape: tuple[int, ...], constants: Mapping[str, NDArray[Any]]
) -> Any:
    """A network from rows "x" to rows "y", of shape (n, D) and (n, E)."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 4
    graph = {
        1: nodes,
        2: "product",
        5: [_tensor(name, values) for name, values in constants.items()],
        11: _rows("x", shape[0]),
        12: _rows("y", shape[1]),
    }
    model = _message({1: _IR_VERSION, 7: graph, 8: {1: "", 2: _OPERATORS}})
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])


def _run(network: Any, rows: Tensor) -> Tensor:
    flat = np.ascontiguousarray(rows.reshape(-1, rows.shape[-1]))
    (product,) = network.run(None, {"x": flat})
    return np.asarray(product).reshape(*rows.shape[:-1], -1)


def _node(operator: str, inputs: str, outputs: str, **numbers: int) -> Message:
    """NodeProto; the attributes are whole numbers."""
    attributes = [{1: name, 3: value, 20: 2} for name, value in numbers.items()]
    return {1: inputs.split(), 2: outputs.split(), 4: operator, 5: attributes}


def _tensor(name: str, values: NDArray[Any]) -> Message:
    """TensorProto."""
    return {1: values.shape, 2: _TYPES[values.dtype.name], 8: name, 9: values.tobytes()}


def _rows(name: str, width: int) -> Message:
    """ValueInfoProto of any number of rows."""
    shape = {1: [{2: "n"}, {1: width}]}
    return {1: name, 2: {1: {1: _FLOAT, 2: shape}}}


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
