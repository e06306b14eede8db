"""Blocks: the pieces in which live sound travels, and how any device's sound becomes them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.sound.audio import RATE, Samples
from handsfree.sound.endpoint import FRAME

BLOCK = FRAME
"""Samples in one block, 32 ms: what the voice activity detector looks at in one step."""

BACKLOG = 60.0
"""Seconds of sound that wait to be heard before more is dropped and counted as lost."""


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of live sound.

    Attributes:
        samples: mono, shape (`BLOCK`,), -1 to 1, `RATE` samples a second.
        lost: samples at `RATE` that were lost just before it.
        speaking: whether the tool's own voice came out of the speaker meanwhile.
        played: root mean square of what came out, 0 to 1.
        reference: what was given to the speaker until then, shape (`BLOCK`,), as `samples`; it
            comes out, and back in, a little later.  None if that is not known.
    """

    samples: Samples
    lost: int = 0
    speaking: bool = False
    played: float = 0.0
    reference: Samples | None = None


class Blocks:
    """Sound of any rate and channel count, in pieces of any size, as mono in blocks.

    Streaming: no sample is lost or made up between pieces, and the number that comes out
    follows the device's clock to within the length of the filter.

    Args:
        rate: frames a second of what comes in.
        quality: of the resampling, as soxr names it; "QQ" is at once and does not filter.
    """

    def __init__(self, rate: int, quality: str = "HQ") -> None:
        self._resampler = (
            None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, "float32", quality)
        )
        self._rest = np.zeros(0, np.float32)

    def feed(self, frames: NDArray[np.float32]) -> Iterator[Samples]:
        """The blocks that are full now; `frames` has shape (n,) or (n, channels)."""
        mono = frames if frames.ndim == 1 else frames.mean(axis=1, dtype=np.float32)
        if self._resampler:
            mono = self._resampler.resample_chunk(np.ascontiguousarray(mono))
        rest = np.concatenate([self._rest, mono])
        end = len(rest) - len(rest) % BLOCK
        self._rest = rest[end:]
        for start in range(0, end, BLOCK):
            yield rest[start : start + BLOCK]
