"""Whisper in PyTorch, with a thin matrix beside each of its own: only these learn.

Shapes: B rows of a batch, N tokens, S positions of sound, D the width, V the vocabulary.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import torch
import torch.nn.functional as nn
from numpy.typing import NDArray

#: Width of a head; Whisper's of every size.
_HEAD = 64
#: Positions of thirty seconds.
_POSITIONS = 1500


class Adapted:
    """A Whisper whose matrices are W + B A, with B nought at first.

    Args:
        variables: as CTranslate2 names them.
        rank: width of B.
        device: that learns.
        seed: of A.
    """

    def __init__(
        self,
        variables: Mapping[str, NDArray[Any]],
        rank: int,
        device: torch.device,
        seed: int = 7,
    ) -> None:
        torch.manual_seed(seed)
        self._own = {
            name: torch.from_numpy(np.array(value, np.float32)).to(device)
            for name, value in variables.items()
            if value.ndim
        }
        feeding = [name for name in self._own if name.endswith("ffn/linear_0/weight")]
        self._layers = {
            half: sum(name.startswith(half) for name in feeding) for half in ("encoder", "decoder")
        }
        self.thin: dict[str, torch.nn.Parameter] = {}
        self.shifts: dict[str, torch.nn.Parameter] = {}
        for name, value in self._own.items():
            if "layer_" not in name:
                continue
            if value.ndim == 2:
                out, into = value.shape
                self.thin[f"{name}:a"] = torch.nn.Parameter(
                    torch.randn(rank, into).to(device) / math.sqrt(into)
                )
                self.thin[f"{name}:b"] = torch.nn.Parameter(torch.zeros(out, rank, device=device))
            else:
                self.shifts[name] = torch.nn.Parameter(torch.zeros_like(value))
        self._device = device
        self._silence = torch.zeros(0)
        self.hear_silence()

    @property
    def learnt(self) -> dict[str, torch.nn.Parameter]:
        """All that learns."""
        return {**self.thin, **self.shifts}

    @torch.no_grad()
    def hear_silence(self) -> None:
        """Encode thirty seconds of it anew, as the weights are now."""
        self._silence = self.encode(torch.zeros(1, 80, 2 * _POSITIONS, device=self._device))[0]

    def encode(self, features: torch.Tensor) -> torch.Tensor:
        """Features (B, 80, 2 S) to (B, S, D)."""
        own = self._own
        x = nn.conv1d(features, own["encoder/conv1/weight"], own["encoder/conv1/bias"], padding=1)
        x = nn.conv1d(nn.gelu(x), own["encoder/conv2/weight"], own["encoder/conv2/bias"],
                      stride=2, padding=1)  # fmt: skip
        x = nn.gelu(x).transpose(1, 2)
        x = x + own["encoder/position_encodings/encodings"][: x.shape[1]]
        for layer in range(self._layers["encoder"]):
            x = self._think(f"encoder/layer_{layer}", self._attend(f"encoder/layer_{layer}", x))
        return self._norm("encoder/layer_norm", x)

    def tell(self, tokens: torch.Tensor, encoded: torch.Tensor) -> torch.Tensor:
        """Tokens (B, N) over sound (B, S, D), with silence behind it, to (B, N, D)."""
        own = self._own
        x = own["decoder/embeddings/weight"][tokens]
        x = x + own["decoder/position_encodings/encodings"][: tokens.shape[1]]
        for layer in range(self._layers["decoder"]):
            name = f"decoder/layer_{layer}"
            x = self._attend(name, x, causal=True)
            x = x + self._attend_sound(f"{name}/attention", x, encoded)
            x = self._think(name, x)
        return self._norm("decoder/layer_norm", x)

    def scores(self, x: torch.Tensor) -> torch.Tensor:
        """Logits (…, V) of (…, D)."""
        return nn.linear(x, self._own["decoder/embeddings/weight"])

    def _attend(self, name: str, x: torch.Tensor, causal: bool = False) -> torch.Tensor:
        name = f"{name}/self_attention"
        both = self._linear(f"{name}/linear_0", self._norm(f"{name}/layer_norm", x))
        q, k, v = map(_split, both.chunk(3, -1))
        mixed = nn.scaled_dot_product_attention(q, k, v, is_causal=causal)
        return x + self._linear(f"{name}/linear_1", mixed.transpose(1, 2).reshape(x.shape))

    def _attend_sound(self, name: str, x: torch.Tensor, encoded: torch.Tensor) -> torch.Tensor:
        q = _split(self._linear(f"{name}/linear_0", self._norm(f"{name}/layer_norm", x)))
        size = encoded.shape[1]
        # Silence is the same for all rows, so that its keys are made once.
        keys, values = map(_split, self._linear(f"{name}/linear_1", encoded).chunk(2, -1))
        still = self._linear(f"{name}/linear_1", self._silence[size:])
        still_keys, still_values = map(_split, still.chunk(2, -1))
        fits = torch.cat([q @ keys.transpose(-1, -2), q @ still_keys.transpose(-1, -2)], -1)
        share = torch.softmax(fits.float() / math.sqrt(_HEAD), -1).to(q.dtype)
        mixed = share[..., :size] @ values + share[..., size:] @ still_values
        return self._linear(f"{name}/linear_2", mixed.transpose(1, 2).reshape(x.shape))

    def _think(self, name: str, x: torch.Tensor) -> torch.Tensor:
        inner = self._linear(f"{name}/ffn/linear_0", self._norm(f"{name}/ffn/layer_norm", x))
        return x + self._linear(f"{name}/ffn/linear_1", nn.gelu(inner))

    def _linear(self, name: str, x: torch.Tensor) -> torch.Tensor:
        weight, bias = f"{name}/weight", f"{name}/bias"
        more = nn.linear(nn.linear(x, self.thin[f"{weight}:a"]), self.thin[f"{weight}:b"])
        return nn.linear(x, self._own[weight], self._own[bias] + self.shifts[bias]) + more

    def _norm(self, name: str, x: torch.Tensor) -> torch.Tensor:
        gamma, beta = (self._own[f"{name}/{part}"] + self.shifts[f"{name}/{part}"]
                       for part in ("gamma", "beta"))  # fmt: skip
        return nn.layer_norm(x.float(), x.shape[-1:], gamma, beta)


def _split(x: torch.Tensor) -> torch.Tensor:
    """(…, N, D) to (…, H, N, D / H)."""
    return x.view(*x.shape[:-1], -1, _HEAD).transpose(-3, -2)


def change(
    learnt: Mapping[str, torch.Tensor], strength: float = 1.0
) -> dict[str, NDArray[np.float16]]:
    """What was learnt, as `handsfree.words.weights` takes it.

    Args:
        learnt: of `Adapted.learnt`.
        strength: share of the way from the model as it came: less than all of it keeps what
            the model knew (Wortsman et al. 2022, "Robust fine-tuning of zero-shot models").

    Raises:
        ValueError: a number is none: the learning went astray.
    """
    found = {}
    for name, value in learnt.items():
        numbers = value.detach().cpu().numpy() * (1 if name.endswith(":a") else strength)
        if not np.isfinite(numbers).all():
            raise ValueError(f"{name} is no number any more")
        found[name] = numbers.astype(np.float16)
    return found
