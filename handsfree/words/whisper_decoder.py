"""Whisper's text decoder, one token at a time, with every probability in the open.

CTranslate2 decodes well but cannot be held to a grammar: it shows no probabilities between
two tokens.  This is the same network over the same weights: a pre-norm transformer decoder with
learned positions, cross attention to the encoded sound and tied embeddings (Radford et al. 2022,
"Robust Speech Recognition via Large-Scale Weak Supervision").  Attention is NumPy's; what is done
between is in `whisper_parts`.

Shapes: B rows of a batch, N new tokens, T tokens so far, P tokens that all rows begin with,
S positions of sound, D the width of the model, H heads of D / H each, V the vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handsfree.words.logits import Logits
from handsfree.words.search import log_probabilities
from handsfree.words.weights import Tensor, Variables
from handsfree.words.whisper_parts import WhisperParts

KeyValue = tuple[Tensor, Tensor]


@dataclass(frozen=True, slots=True)
class Memory:
    """Keys and values of each layer.

    Attributes:
        sound: (H, D/H, S) and (H, S, D/H), of the encoded sound; the same for all rows.
        told: (H, D/H, P) and (H, P, D/H), of the tokens that all rows begin with; may be empty.
        said: (B, H, T, D/H) twice, of the tokens since.
    """

    sound: Sequence[KeyValue]
    told: Sequence[KeyValue] = ()
    said: Sequence[KeyValue] = ()

    @property
    def length(self) -> int:
        """Tokens in it, of each row."""
        told = self.told[0][1].shape[1] if self.told else 0
        return told + (self.said[0][0].shape[2] if self.said else 0)

    def as_beginning(self) -> Memory:
        """What its only row has taken in, as that with which all rows begin."""
        told = [(np.ascontiguousarray(np.swapaxes(k[0], -1, -2)), v[0]) for k, v in self.said]
        return Memory(self.sound, told)


def joined(places: Sequence[tuple[Memory, int]]) -> Memory:
    """The memory of a batch that goes on from these rows of memories, which are equally long."""
    first = places[0][0]

    def rows(layer: int, part: int) -> Tensor:
        return np.stack([memory.said[layer][part][row] for memory, row in places])

    said = [(rows(layer, 0), rows(layer, 1)) for layer in range(len(first.said))]
    return Memory(first.sound, first.told, said)


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
            self._embedded = np.array(weights["embeddings/weight"])  # without the rest of its file
            self._positions = weights["position_encodings/encodings"].astype(np.float32)
            self._heads = int(weights["num_heads"])
        except KeyError as error:
            raise ValueError(f"not a Whisper model: it has no {error}") from error
        if any(value.dtype == np.int8 and value.ndim > 1 for value in weights.values()):
            raise ValueError("8 bit weights; convert the model with 16 bit floats")
        layers = range(sum(name.endswith("ffn/linear_0/weight") for name in weights))
        parts = WhisperParts(weights, len(layers))
        self._keys = [parts.keys(layer) for layer in layers]
        self._begin = parts.begin()
        self._after_said = [parts.after_said(layer) for layer in layers]
        self._after_sound = [parts.after_sound(layer) for layer in layers]
        self._out = Logits(self._embedded)

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
        for layer, part in enumerate(self._keys):
            (both,) = part(encoded)
            keys, values = map(self._split, np.split(both, 2, -1))
            keys = np.swapaxes(keys, -1, -2)
            if behind:
                keys = _over(keys, behind.sound[layer][0], -1)
                values = _over(values, behind.sound[layer][1], -2)
            sound.append((np.ascontiguousarray(keys), np.ascontiguousarray(values)))
        return Memory(sound)

    def step(
        self, tokens: Sequence[Sequence[int]], memory: Memory, last: int = 1
    ) -> tuple[Tensor, Memory]:
        """Take in tokens (B, N); log probabilities of what follows the `last` of them.

        Returns:
            Natural logarithms, shape (B, last, V), and the memory with the tokens in it.
        """
        rows = np.asarray(tokens)
        before = memory.length
        x = self._embedded[rows] + self._positions[before : before + rows.shape[1]]
        said = []
        (asked,) = self._begin(x)
        layers = len(memory.sound)
        for layer in range(layers):
            # Of the last layer only that is wanted which the probabilities are made of.
            wanted = last if layer == layers - 1 else rows.shape[1]
            mixed, pair = self._attend_said(asked, memory, layer, wanted)
            said.append(pair)
            x, asked = self._after_said[layer](mixed, x[:, -wanted:])
            mixed = self._attend_sound(asked, memory.sound[layer])
            x, asked = self._after_sound[layer](mixed, x)
        return log_probabilities(self._out(asked)), Memory(memory.sound, memory.told, said)

    def _attend_said(
        self, asked: Tensor, memory: Memory, layer: int, wanted: int
    ) -> tuple[Tensor, KeyValue]:
        """Of the last `wanted` tokens; and the keys and values with those of all.

        Args:
            asked: queries, keys and values side by side, of each token.
        """
        query, keys, values = map(self._split, np.split(asked, 3, -1))
        query = query[:, :, -wanted:] * self._scale(query)
        if memory.said:
            keys = np.concatenate([memory.said[layer][0], keys], 2)
            values = np.concatenate([memory.said[layer][1], values], 2)
        scores = query @ np.swapaxes(keys, -1, -2)
        total = keys.shape[2]
        scores += np.triu(np.full((wanted, total), -np.inf, np.float32), total - wanted + 1)
        if memory.told:
            shared_keys, shared_values = memory.told[layer]
            scores = np.concatenate([_shared(query, shared_keys), scores], -1)
        shares = _exponentials(scores)
        mixed = shares[..., -total:] @ values
        if memory.told:
            mixed += _shared(shares[..., :-total], shared_values)
        mixed /= shares.sum(-1, keepdims=True)
        return _join(mixed), (keys, values)

    def _attend_sound(self, asked: Tensor, sound: KeyValue) -> Tensor:
        query = self._split(asked)
        shares = _exponentials(_shared(query * self._scale(query), sound[0]))
        mixed = _shared(shares, sound[1])
        mixed /= shares.sum(-1, keepdims=True)
        return _join(mixed)

    def _split(self, x: Tensor) -> Tensor:
        """(..., N, D) to (..., H, N, D/H)."""
        return np.swapaxes(x.reshape(*x.shape[:-1], self._heads, -1), -2, -3)

    @staticmethod
    def _scale(query: Tensor) -> np.float32:
        return np.float32(query.shape[-1] ** -0.5)


def _join(x: Tensor) -> Tensor:
    """(B, H, N, D/H) to (B, N, D)."""
    return np.swapaxes(x, 1, 2).reshape(x.shape[0], x.shape[2], -1)


def _over(x: Tensor, longer: Tensor, axis: int) -> Tensor:
    """What `longer` has more of along the axis, behind x."""
    _, more = np.split(longer, [x.shape[axis]], axis)
    return np.concatenate([x, more], axis, out=np.empty_like(longer))


def _shared(x: Tensor, matrix: Tensor) -> Tensor:
    """(B, H, N, D) by (H, D, E), the same for all rows, as one product for each head."""
    rows, heads, new, width = x.shape
    flat = np.swapaxes(x, 0, 1).reshape(heads, rows * new, width)
    return np.swapaxes((flat @ matrix).reshape(heads, rows, new, -1), 0, 1)


def _exponentials(x: Tensor) -> Tensor:
    """In place, up to a factor for each row."""
    x -= x.max(-1, keepdims=True)
    return np.asarray(np.exp(x, out=x))
