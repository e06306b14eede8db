"""Short tones that carry a verdict without words.

They differ in how many notes there are and which way these go, not in pitch alone, and lie
between 400 and 1,200 Hz, where small speakers and tired ears are good:

- `in_range`: one short high note;
- `out_of_range`: two falling notes, the second long;
- `asked`: three quick rising notes.

`python -m handsfree.sound.tones FOLDER` writes them as sound files.
"""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

Tone = Literal["in_range", "out_of_range", "asked"]

TONE_RATE = 48_000
"""Samples a second."""

PEAK = 0.25
"""-12 dBFS."""

_NOTES: dict[Tone, tuple[tuple[float, float], ...]] = {  # hertz and seconds of each note
    "in_range": ((988.0, 0.11),),
    "out_of_range": ((587.0, 0.11), (440.0, 0.20)),
    "asked": ((587.0, 0.07), (740.0, 0.07), (988.0, 0.09)),
}

_GAP = 0.03
_EDGE = 0.012


@cache
def tone(name: Tone) -> NDArray[np.float32]:
    """The samples of a tone, shape (n,), at `TONE_RATE`."""
    gap = np.zeros(int(_GAP * TONE_RATE))
    parts = [part for pitch, seconds in _NOTES[name] for part in (_note(pitch, seconds), gap)]
    return np.concatenate(parts).astype(np.float32)


def _note(pitch: float, seconds: float) -> NDArray[np.float64]:
    """A note with its octave, and raised-cosine edges so that it does not click."""
    time = np.arange(int(seconds * TONE_RATE)) / TONE_RATE
    wave = np.sin(2 * np.pi * pitch * time) + 0.2 * np.sin(4 * np.pi * pitch * time)
    edge = np.clip(np.minimum(time, seconds - time) / _EDGE, 0, 1)
    return PEAK / 1.2 * wave * (0.5 - 0.5 * np.cos(np.pi * edge))


def write(folder: str) -> None:
    """Write every tone as a FLAC file."""
    import soundfile

    Path(folder).mkdir(parents=True, exist_ok=True)
    for name in get_args(Tone):
        soundfile.write(Path(folder) / f"{name}.flac", tone(name), TONE_RATE)


if __name__ == "__main__":
    write(*sys.argv[1:])
