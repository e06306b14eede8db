"""A small network that ONNX Runtime runs on rows, on one thread.

NumPy's BLAS lays a matrix out anew in each product, which for the few rows of a search takes longer
than the product itself; here it is laid out once.

The network is written down in the format of ONNX by hand: the few messages that are needed are less
than the package that writes all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

OnnxMessage: TypeAlias = Mapping[int, Any]
"""A message of Protocol Buffers: values by the numbers of their fields."""

#: Of onnx.proto3 (ONNX 1.12, IR version 8): the version, and that of the operators.
_IR_VERSION, _OPERATORS = 8, 17
#: Its numbers of the types of data.
_TYPES = {"float32": 1, "uint8": 2, "int8": 3}


def onnx_node(operator: str, inputs: str, outputs: str, to: str = "") -> OnnxMessage:
    """An operator between values by name, with blanks between them; `to` is the type of a cast."""
    attributes = [{1: "to", 3: _TYPES[to], 20: 2}] if to else []
    return {1: inputs.split(), 2: outputs.split(), 4: operator, 5: attributes}


class OnnxGraph:
    """A network from rows to rows.

    Args:
        nodes: its operators, by ONNX's names of them.
        inputs: names of the rows that are given, with their widths.
        outputs: names of those that are found.
        constants: by name; in floats, or in 8 bits.
        kinds: of inputs that are no floats, as NumPy names them.
    """

    def __init__(
        self,
        nodes: Sequence[OnnxMessage],
        inputs: Mapping[str, int],
        outputs: Sequence[str],
        constants: Mapping[str, NDArray[Any]],
        **kinds: str,
    ) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 4
        graph = {
            1: nodes,
            2: "graph",
            5: [_tensor(name, values) for name, values in constants.items()],
            11: [_rows(name, width, kinds.get(name, "float32")) for name, width in inputs.items()],
            12: [{1: name, 2: {1: {1: _TYPES["float32"]}}} for name in outputs],
        }
        model = _message({1: _IR_VERSION, 7: graph, 8: {1: "", 2: _OPERATORS}})
        self._inputs = list(inputs)
        self._session: Any = onnxruntime.InferenceSession(
            model, options, providers=["CPUExecutionProvider"]
        )

    def __call__(self, *rows: NDArray[Any]) -> list[NDArray[np.float32]]:
        """Shapes (..., width) of the inputs to shapes (..., width) of the outputs."""
        flat = [np.ascontiguousarray(given.reshape(-1, given.shape[-1])) for given in rows]
        found = self._session.run(None, dict(zip(self._inputs, flat, strict=True)))
        return [output.reshape(*rows[0].shape[:-1], -1) for output in found]


def _tensor(name: str, values: NDArray[Any]) -> OnnxMessage:
    """TensorProto."""
    return {1: values.shape, 2: _TYPES[values.dtype.name], 8: name, 9: values.tobytes()}


def _rows(name: str, width: int, kind: str) -> OnnxMessage:
    """ValueInfoProto of any number of rows."""
    shape = {1: [{2: "n"}, {1: width}]}
    return {1: name, 2: {1: {1: _TYPES[kind], 2: shape}}}


def _message(fields: OnnxMessage) -> bytes:
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
