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

RATES = range(4_000, 384_001)
"""Samples a second of files that are read; telephones have 8,000, studios up to 384,000."""
MOST_CHANNELS = 64
LONGEST = 4 * 3600
"""Seconds of a file, at most: so long a recording takes 0.9 GB of memory."""
FRAMES_AT_ONCE = 1 << 16
"""Frames that are read at once."""
UNKNOWN_LENGTH = 1 << 62
"""From here on a number of frames means that the file does not know it."""

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


def level(samples: NDArray[np.float32]) -> float:
    """Root mean square of `samples`, 0 to 1."""
    return float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))) if samples.size else 0.0


def decibels(amplitude: float) -> float:
    """An amplitude relative to full scale, in dBFS; never below -100."""
    return max(20 * float(np.log10(max(amplitude, 1e-5))), -100.0)


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
        BadInput: missing, unreadable, not sound, empty, cut short, holding NaN, or absurd.
    """
    path = Path(path)
    where = str(path)
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):
            raise BadInput("this is no file but a device or a pipe", where=where)
        # libsndfile is given the descriptor: what a lying header lets it do it bears by itself.
        with path.open("rb", buffering=0) as file:
            if not (head := file.read(12)):
                raise BadInput("the file is empty", where=where)
            if _cut_short(head, path.stat().st_size):
                raise _truncated(where)
            file.seek(0)
            with soundfile.SoundFile(file.fileno(), closefd=False) as sound:
                _refuse_absurd(sound, where)
                samples, frames = _read(sound, where)
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror or error}", where=where) from error
    except soundfile.LibsndfileError as error:
        remedy = "WAV, FLAC, OGG and MP3 are understood."
        raise BadInput(
            f"not a sound file: {error.error_string}", where=where, remedy=remedy
        ) from error
    if frames < sound.frames < UNKNOWN_LENGTH:
        raise _truncated(where)
    if not frames:
        raise BadInput("the file holds no sound", where=where)
    if not np.isfinite(samples).all():
        remedy = "Export the recording again as 16 bit WAV or FLAC."
        raise BadInput("some samples are not numbers", where=where, remedy=remedy)
    return Audio(samples)


def _refuse_absurd(sound: soundfile.SoundFile, where: str) -> None:
    """A header may tell anything, and what it tells would be reserved and worked out.

    Raises:
        BadInput: nobody records so, or so long.
    """
    if sound.samplerate not in RATES:
        what = f"the file says that it has {sound.samplerate} samples a second"
        raise BadInput(what, where=where, remedy=f"{RATES.start} to {RATES.stop - 1} are read.")
    if sound.channels > MOST_CHANNELS:
        raise BadInput(f"the file says that it has {sound.channels} channels", where=where)
    if LONGEST * sound.samplerate < sound.frames < UNKNOWN_LENGTH:
        raise _too_long(where)


def _read(sound: soundfile.SoundFile, where: str) -> tuple[Samples, int]:
    """The sound as mono at `RATE`, and how many frames it had; a piece at a time."""
    stream = soxr.ResampleStream(sound.samplerate, RATE, 1, dtype="float32", quality="VHQ")
    parts, frames = [], 0
    while len(block := sound.read(FRAMES_AT_ONCE, dtype="float32", always_2d=True)):
        frames += len(block)
        if frames > LONGEST * sound.samplerate:
            raise _too_long(where)
        with np.errstate(invalid="ignore", over="ignore"):  # what is no number is refused later
            mono = block.mean(axis=1, dtype=np.float32)
        parts.append(mono if sound.samplerate == RATE else stream.resample_chunk(mono))
    if sound.samplerate != RATE and frames:
        parts.append(stream.resample_chunk(np.zeros(0, np.float32), last=True))
    return np.concatenate(parts or [np.zeros(0, np.float32)]), frames


def _too_long(where: str) -> BadInput:
    hours = LONGEST // 3600
    return BadInput(
        f"the file is, or says that it is, longer than {hours} hours",
        where=where,
        remedy="Cut it into parts, and give each with --audio.",
    )


def _truncated(where: str) -> BadInput:
    return BadInput("the file is cut short", where=where, remedy="Copy or record it again.")


def _cut_short(head: bytes, size: int) -> bool:
    """Whether a RIFF file (its first 12 bytes) is shorter than it says.

    A recorder that writes to a pipe leaves the size open, as 0 or the largest number.
    """
    told = int.from_bytes(head[4:8], "little")
    return head[:4] == b"RIFF" and told < 0x7FFF_FFFF and told + 8 > size + (told & 1)
