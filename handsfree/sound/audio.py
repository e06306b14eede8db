"""Sound files in, one mono stream at 16 kHz out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from handsfree.errors import BadInput

RATE = 16_000
"""Samples a second of all sound inside the program."""

Samples = NDArray[np.float32]
"""Mono samples at `RATE`, shape (n,), -1 to 1."""


@dataclass(frozen=True, slots=True)
class Audio:
    """A recording.

    Attributes:
        samples: mono, shape (n,), -1 to 1, `RATE` samples a second.
    """

    samples: Samples

    @property
    def seconds(self) -> float:
        """Its length."""
        return len(self.samples) / RATE


def resample(samples: NDArray[np.float32], rate: int) -> Samples:
    """Sound of any rate and channel count as mono at `RATE`.

    Args:
        samples: shape (frames,) or (frames, channels), -1 to 1.
        rate: frames a second.
    """
    mono = samples if samples.ndim == 1 else samples.mean(axis=1, dtype=np.float32)
    if rate != RATE and len(mono):
        mono = soxr.resample(mono, rate, RATE, quality="VHQ")
    return np.ascontiguousarray(mono, np.float32)


def load(path: Path | str) -> Audio:
    """Read WAV, FLAC or another format that libsndfile knows.

    Raises:
        BadInput: missing, unreadable, not sound, empty, cut short, or holding NaN.
    """
    path = Path(path)
    where = str(path)
    try:
        with path.open("rb") as file:
            if not (head := file.read(12)):
                raise BadInput("the file is empty", where=where)
            if _cut_short(head, path.stat().st_size):
                raise _truncated(where)
            file.seek(0)
            with soundfile.SoundFile(file) as sound:
                rate, frames = sound.samplerate, sound.frames
                samples = sound.read(dtype="float32", always_2d=True)
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror or error}", where=where) from error
    except soundfile.LibsndfileError as error:
        remedy = "WAV, FLAC, OGG and MP3 are understood."
        raise BadInput(
            f"not a sound file: {error.error_string}", where=where, remedy=remedy
        ) from error
    if len(samples) < frames:
        raise _truncated(where)
    if not len(samples):
        raise BadInput("the file holds no sound", where=where)
    if not np.isfinite(samples).all():
        remedy = "Export the recording again as 16 bit WAV or FLAC."
        raise BadInput("some samples are not numbers", where=where, remedy=remedy)
    return Audio(resample(samples, rate))


def _truncated(where: str) -> BadInput:
    return BadInput("the file is cut short", where=where, remedy="Copy or record it again.")


def _cut_short(head: bytes, size: int) -> bool:
    """Whether a RIFF file (its first 12 bytes) is shorter than it says.

    A recorder that writes to a pipe leaves the size open, as 0 or the largest number.
    """
    told = int.from_bytes(head[4:8], "little")
    return head[:4] == b"RIFF" and told < 0x7FFF_FFFF and told + 8 > size + (told & 1)
