"""Whisper's text decoder, with every probability in the open.

CTranslate2 decodes well but cannot be held to a grammar: it shows no probabilities between
two tokens.  This is the same network over the same weights: a pre-norm transformer decoder with
learned positions, cross attention to the encoded sound and tied embeddings (Radford et al. 2022,
"Robust Speech Recognition via Large-Scale Weak Supervision").  Attention is NumPy's; what is done
between is in `whisper_parts`.

Shapes: N new tokens, T tokens so far, P of them that all texts begin with, S positions of sound,
D the width of the model, H heads of D / H each, V the vocabulary.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.words.logits import Logits
from handsfree.words.search import LogProbabilities, log_probabilities
from handsfree.words.spelling import Tokens
from handsfree.words.weights import Tensor, Variables
from handsfree.words.whisper_parts import WhisperParts

KeyValue = tuple[Tensor, Tensor]
Follows = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Memory:
    """Keys and values of each layer.

    Attributes:
        sound: (H, D/H, S) and (H, S, D/H), of the encoded sound.
        said: (H, T, D/H) twice, of the tokens.
    """

    sound: Sequence[KeyValue]
    said: Sequence[KeyValue] = ()

    @property
    def length(self) -> int:
        """Tokens in it."""
        return self.said[0][0].shape[1] if self.said else 0


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
        self, tokens: Sequence[int], memory: Memory, last: int = 1, follows: Follows | None = None
    ) -> tuple[Tensor, Memory]:
        """Take in tokens (N,); log probabilities of what comes after each of the `last` of them.

        Args:
            tokens: new ones.
            memory: of those before.
            last: of them.
            follows: which tokens each of them follows, itself among them, shape (N, T + N); all
                before it if not given.

        Returns:
            Natural logarithms, shape (last, V), and the memory with the tokens in it.
        """
        before, new = memory.length, len(tokens)
        if follows is None:
            follows = np.tri(new, before + new, before, dtype=bool)
        unseen = np.where(follows, np.float32(0), np.float32(-np.inf))
        x = self._embedded[np.asarray(tokens)] + self._positions[follows.sum(1) - 1]
        said = []
        (asked,) = self._begin(x)
        layers = len(memory.sound)
        for layer in range(layers):
            # Of the last layer only that is wanted which the probabilities are made of.
            wanted = last if layer == layers - 1 else new
            mixed, pair = self._attend_said(asked, memory, layer, unseen[-wanted:])
            said.append(pair)
            x, asked = self._after_said[layer](mixed, x[-wanted:])
            mixed = self._attend(self._split(asked), memory.sound[layer])
            x, asked = self._after_sound[layer](mixed, x)
        return log_probabilities(self._out(asked)), Memory(memory.sound, said)

    def _attend_said(
        self, asked: Tensor, memory: Memory, layer: int, unseen: Tensor
    ) -> tuple[Tensor, KeyValue]:
        """Of the last tokens; and the keys and values with those of all.

        Args:
            asked: queries, keys and values side by side, of each token.
            memory: of the tokens before.
            layer: of its layers.
            unseen: added to the scores of the last tokens, (wanted, T + N).
        """
        query, keys, values = map(self._split, np.split(asked, 3, -1))
        if memory.said:
            keys = np.concatenate([memory.said[layer][0], keys], 1)
            values = np.concatenate([memory.said[layer][1], values], 1)
        seen = np.swapaxes(keys, -1, -2), values
        return self._attend(query[:, -len(unseen) :], seen, unseen), (keys, values)

    @staticmethod
    def _attend(query: Tensor, to: KeyValue, unseen: Tensor | None = None) -> Tensor:
        """What each query (H, N, D/H) finds in keys (H, D/H, E) and values (H, E, D/H), (N, D)."""
        scores = (query * np.float32(query.shape[-1] ** -0.5)) @ to[0]
        if unseen is not None:
            scores += unseen
        scores -= scores.max(-1, keepdims=True)
        shares = np.exp(scores, out=scores)
        mixed = shares @ to[1]
        mixed /= shares.sum(-1, keepdims=True)
        return np.swapaxes(mixed, 0, 1).reshape(query.shape[1], -1)

    def _split(self, x: Tensor) -> Tensor:
        """(..., N, D) to (..., H, N, D/H)."""
        return np.swapaxes(x.reshape(*x.shape[:-1], self._heads, -1), -2, -3)


def _over(x: Tensor, longer: Tensor, axis: int) -> Tensor:
    """What `longer` has more of along the axis, behind x."""
    _, more = np.split(longer, [x.shape[axis]], axis)
    return np.concatenate([x, more], axis, out=np.empty_like(longer))


class Branches:
    """Beginnings of a text that a decoder has taken in, as a tree: no token of it twice.

    Args:
        decoder: that takes them in.
        memory: of what they all begin with.
    """

    def __init__(self, decoder: WhisperDecoder, memory: Memory) -> None:
        self._decoder, self._memory = decoder, memory
        self._told = memory.length
        self._place: dict[Tokens, int] = {}  # of the last token of a beginning

    def take_in(self, beginnings: Sequence[Tokens]) -> Sequence[LogProbabilities]:
        """See `TakeIn`."""
        before = self._memory.length
        self._place |= {tokens: before + n for n, tokens in enumerate(beginnings)}
        follows = np.zeros((len(beginnings), before + len(beginnings)), bool)
        follows[:, : self._told] = True
        for row, tokens in enumerate(beginnings):
            follows[row, [self._place[tokens[:n]] for n in range(1, len(tokens) + 1)]] = True
        last = [tokens[-1] for tokens in beginnings]
        scores, self._memory = self._decoder.step(last, self._memory, len(last), follows)
        return list(scores)
