"""Whisper's text decoder, one token at a time, with every probability in the open.

CTranslate2 decodes well but cannot be held to a grammar: it shows no probabilities between
two tokens.  This is the same network over the same weights in NumPy: a pre-norm transformer
decoder with learned positions, cross attention to the encoded sound and tied embeddings
(Radford et al. 2022, "Robust Speech Recognition via Large-Scale Weak Supervision").

Shapes: B rows of a batch, N new tokens, T tokens so far, S positions of sound, D the width
of the model, H heads of D / H each, V the vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import erf, log_softmax

from handsfree.words.weights import Tensor, Variables

KeyValue = tuple[Tensor, Tensor]


@dataclass(frozen=True, slots=True)
class Memory:
    """Keys and values of each layer.

    Attributes:
        sound: (H, D/H, S) and (H, S, D/H), of the encoded sound; the same for all rows.
        said: (B, H, T, D/H) twice, of the tokens so far.
    """

    sound: Sequence[KeyValue]
    said: Sequence[KeyValue]

    def rows(self, rows: Sequence[int]) -> Memory:
        """The memory of a batch that goes on from these rows."""
        picked = list(rows)
        return Memory(self.sound, [(k[picked], v[picked]) for k, v in self.said])


class WhisperDecoder:
    """The decoder half of a Whisper model.

    Args:
        variables: of the model by name, as CTranslate2 names them, in 16 or 32 bit floats.

    Raises:
        ValueError: they are of no such model.
    """

    def __init__(self, variables: Variables) -> None:
        weights = {
            name.removeprefix("decoder/"): value
            for name, value in variables.items()
            if name.startswith("decoder/")
        }
        try:
            # Turned as well; a token's embedding is a column.
            self._out = np.ascontiguousarray(weights["embeddings/weight"].T, np.float32)
            self._positions = weights["position_encodings/encodings"].astype(np.float32)
            self._heads = int(weights["num_heads"])
        except KeyError as error:
            raise ValueError(f"not a Whisper model: it has no {error}") from error
        if any(value.dtype == np.int8 and value.ndim > 1 for value in weights.values()):
            raise ValueError("8 bit weights; convert the model with 16 bit floats")
        # Matrices are turned, so that x @ w is the fast way round.
        self._weights: dict[str, Tensor] = {
            name: np.ascontiguousarray(value.T, np.float32)
            for name, value in weights.items()
            if "layer" in name
        }
        self._layers = sum(name.endswith("ffn/linear_0/weight") for name in weights)

    @property
    def longest(self) -> int:
        """Most tokens, prompt and answer together."""
        return len(self._positions)

    def listen(self, encoded: Tensor, behind: Memory | None = None) -> Memory:
        """Begin with a sound, shape (S, D).

        Args:
            encoded: the sound.
            behind: a longer sound; what it has more of is put behind the other.
        """
        sound = []
        for layer in range(self._layers):
            both = self._linear(f"layer_{layer}/attention/linear_1", encoded)
            keys, values = map(self._split, np.split(both, 2, -1))
            keys = np.swapaxes(keys, -1, -2)
            if behind:
                more = behind.sound[layer]
                keys = np.concatenate([keys, more[0][..., len(encoded) :]], -1)
                values = np.concatenate([values, more[1][:, len(encoded) :]], -2)
            sound.append((np.ascontiguousarray(keys), np.ascontiguousarray(values)))
        return Memory(sound, [])

    def step(
        self, tokens: Sequence[Sequence[int]], memory: Memory, last: int = 1
    ) -> tuple[Tensor, Memory]:
        """Take in tokens (B, N); log probabilities of what follows the `last` of them.

        Returns:
            Natural logarithms, shape (B, last, V), and the memory with the tokens in it.
        """
        rows = np.asarray(tokens)
        before = memory.said[0][0].shape[2] if memory.said else 0
        x = np.moveaxis(self._out[:, rows], 0, -1)
        x = x + self._positions[before : before + rows.shape[1]]
        said = []
        for layer in range(self._layers):
            name = f"layer_{layer}"
            past = memory.said[layer] if memory.said else None
            mixed, pair = self._attend_said(f"{name}/self_attention", x, past)
            said.append(pair)
            x = x + mixed
            x = x + self._attend_sound(f"{name}/attention", x, memory.sound[layer])
            inner = self._linear(f"{name}/ffn/linear_0", self._norm(f"{name}/ffn/layer_norm", x))
            inner *= (1 + erf(inner / np.float32(np.sqrt(2)))) / 2
            x = x + self._linear(f"{name}/ffn/linear_1", inner)
        logits = _rows(self._norm("layer_norm", x[:, -last:]), self._out)
        return log_softmax(logits, -1), Memory(memory.sound, said)

    def _attend_said(self, name: str, x: Tensor, past: KeyValue | None) -> tuple[Tensor, KeyValue]:
        both = self._linear(f"{name}/linear_0", self._norm(f"{name}/layer_norm", x))
        query, keys, values = map(self._split, np.split(both, 3, -1))
        if past:
            keys = np.concatenate([past[0], keys], 2)
            values = np.concatenate([past[1], values], 2)
        new, total = query.shape[2], keys.shape[2]
        later = np.triu(np.full((new, total), -np.inf, np.float32), total - new + 1)
        mixed = _softmax(query @ np.swapaxes(keys, -1, -2) * self._scale(query) + later) @ values
        return self._linear(f"{name}/linear_1", _join(mixed)), (keys, values)

    def _attend_sound(self, name: str, x: Tensor, sound: KeyValue) -> Tensor:
        query = self._split(self._linear(f"{name}/linear_0", self._norm(f"{name}/layer_norm", x)))
        rows, heads, new, width = query.shape
        # All rows in one product a head: (H, B * N, D/H).
        flat = np.swapaxes(query, 0, 1).reshape(heads, rows * new, width)
        mixed = _softmax(flat @ sound[0] * self._scale(query)) @ sound[1]
        mixed = np.swapaxes(mixed.reshape(heads, rows, new, width), 0, 1)
        return self._linear(f"{name}/linear_2", _join(mixed))

    def _linear(self, name: str, x: Tensor) -> Tensor:
        return _rows(x, self._weights[f"{name}/weight"]) + self._weights[f"{name}/bias"]

    def _norm(self, name: str, x: Tensor) -> Tensor:
        x = x - x.mean(-1, keepdims=True)
        x = x / np.sqrt((x * x).mean(-1, keepdims=True) + np.float32(1e-5))
        return np.asarray(x * self._weights[f"{name}/gamma"] + self._weights[f"{name}/beta"])

    def _split(self, x: Tensor) -> Tensor:
        """(..., N, D) to (..., H, N, D/H)."""
        return np.swapaxes(x.reshape(*x.shape[:-1], self._heads, -1), -2, -3)

    @staticmethod
    def _scale(query: Tensor) -> np.float32:
        return np.float32(query.shape[-1] ** -0.5)


def _rows(x: Tensor, matrix: Tensor) -> Tensor:
    """(..., D) by (D, E) as one product: NumPy else makes one of each row of the batch."""
    return (x.reshape(-1, x.shape[-1]) @ matrix).reshape(*x.shape[:-1], -1)


def _join(x: Tensor) -> Tensor:
    """(B, H, N, D/H) to (B, N, D)."""
    return np.swapaxes(x, 1, 2).reshape(x.shape[0], x.shape[2], -1)


def _softmax(x: Tensor) -> Tensor:
    e = np.exp(x - x.max(-1, keepdims=True))
    return np.asarray(e / e.sum(-1, keepdims=True))
