"""What Whisper's decoder does to each token by itself, between one attention and the next.

Norms and linear layers, as one network of ONNX Runtime for all that lies between.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from handsfree.words.onnx_graph import OnnxGraph, OnnxMessage, onnx_node
from handsfree.words.weights import Variables

#: x / 2 * (1 + erf(x / sqrt(2))), of "wide".
_GELU = [
    onnx_node("Div", "wide root", "wide/root"),
    onnx_node("Erf", "wide/root", "share"),
    onnx_node("Add", "share one", "share/one"),
    onnx_node("Mul", "wide share/one", "double"),
    onnx_node("Mul", "double half", "bent"),
]
_NUMBERS = {"root": np.array(np.sqrt(2)), "one": np.array(1), "half": np.array(0.5)}


class WhisperParts:
    """The parts of a decoder.

    Args:
        weights: of the decoder, matrices as (out, in).
        layers: how many it has.
    """

    def __init__(self, weights: Variables, layers: int) -> None:
        self._weights, self._layers = weights, layers

    def keys(self, layer: int) -> OnnxGraph:
        """From the encoded sound to its keys and values."""
        nodes = self._linear(f"layer_{layer}/attention/linear_1", "x", "keys")
        return self._graph(["x"], nodes, ["keys"])

    def begin(self) -> OnnxGraph:
        """From tokens to what the first layer asks: queries, keys and values."""
        return self._graph(["x"], self._ask("layer_0/self_attention", "x", "asked"), ["asked"])

    def after_said(self, layer: int) -> OnnxGraph:
        """From what was mixed of the tokens, and x; to x, and queries to the sound."""
        nodes = [
            *self._linear(f"layer_{layer}/self_attention/linear_1", "mixed", "more"),
            onnx_node("Add", "before more", "x"),
            *self._ask(f"layer_{layer}/attention", "x", "asked"),
        ]
        return self._graph(["mixed", "before"], nodes, ["x", "asked"])

    def after_sound(self, layer: int) -> OnnxGraph:
        """From what was mixed of the sound, and x; to x, and what the next layer asks.

        After the last layer it is that of which the logits are made.
        """
        inner = f"layer_{layer}/ffn"
        nodes = [
            *self._linear(f"layer_{layer}/attention/linear_2", "mixed", "heard"),
            onnx_node("Add", "before heard", "between"),
            *self._norm(f"{inner}/layer_norm", "between", "even"),
            *self._linear(f"{inner}/linear_0", "even", "wide"),
            *_GELU,
            *self._linear(f"{inner}/linear_1", "bent", "more"),
            onnx_node("Add", "between more", "x"),
        ]
        if layer + 1 < self._layers:
            nodes += self._ask(f"layer_{layer + 1}/self_attention", "x", "asked")
        else:
            nodes += self._norm("layer_norm", "x", "asked")
        return self._graph(["mixed", "before"], nodes, ["x", "asked"])

    def _ask(self, name: str, x: str, y: str) -> list[OnnxMessage]:
        return [
            *self._norm(f"{name}/layer_norm", x, f"{y}/even"),
            *self._linear(f"{name}/linear_0", f"{y}/even", y),
        ]

    @staticmethod
    def _norm(name: str, x: str, y: str) -> list[OnnxMessage]:
        return [onnx_node("LayerNormalization", f"{x} {name}/gamma {name}/beta", y)]

    @staticmethod
    def _linear(name: str, x: str, y: str) -> list[OnnxMessage]:
        product = f"{name}/product"
        return [
            onnx_node("MatMul", f"{x} {name}/weight", product),
            onnx_node("Add", f"{product} {name}/bias", y),
        ]

    def _graph(
        self, inputs: Sequence[str], nodes: Sequence[OnnxMessage], outputs: Sequence[str]
    ) -> OnnxGraph:
        named = {name for node in nodes for name in node[1]}
        constants = {
            name: value.astype(np.float32).T
            for name, value in (*self._weights.items(), *_NUMBERS.items())
            if name in named
        }
        width = int(self._weights["embeddings/weight"].shape[1])
        return OnnxGraph(nodes, dict.fromkeys(inputs, width), outputs, constants)
