"""Sound files whose headers lie."""

from __future__ import annotations

import atexit
import functools
import io
import random
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from handsfree.sound.audio import load
from tests.fuzz.case import Outcome, need, tried
from tests.fuzz.mutate import changed_bytes

_KINDS = (
    ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("WAV", "ULAW"), ("WAV", "MS_ADPCM"),
    ("WAVEX", "PCM_16"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("OGG", "VORBIS"), ("OGG", "OPUS"),
    ("MP3", "MPEG_LAYER_III"), ("AIFF", "PCM_16"), ("AU", "PCM_16"), ("W64", "PCM_16"),
    ("CAF", "PCM_16"), ("RF64", "PCM_16"), ("VOC", "PCM_16"), ("SVX", "PCM_16"), ("NIST", "PCM_16"),
)  # fmt: skip
#: Bytes of a file in which its header lies.
HEADER = 120


@functools.cache
def _files() -> list[bytes]:
    rng = np.random.default_rng(1)
    made = []
    for form, kind in _KINDS:
        for rate in (8_000, 16_000, 44_100):
            samples = (rng.standard_normal(rate // 10) * 0.1).astype(np.float32)
            file = io.BytesIO()
            try:
                soundfile.write(file, samples, rate, format=form, subtype=kind)
            except soundfile.LibsndfileError:  # this library cannot write it so
                continue
            made.append(file.getvalue())
    return made


@functools.cache
def _folder() -> Path:
    folder = tempfile.TemporaryDirectory(prefix="fuzz-")
    atexit.register(folder.cleanup)
    return Path(folder.name)


def sound(rng: random.Random) -> Outcome:
    """A sound file with a changed header or body; what is taken is finite and not endless."""
    data = rng.choice(_files())
    if rng.random() < 0.8:
        data = changed_bytes(data[:HEADER], rng, 3) + data[HEADER:]
    if rng.random() < 0.3:
        data = changed_bytes(data, rng, 3)
    path = _folder() / "fuzzed.wav"
    path.write_bytes(data)

    def read() -> None:
        audio = load(path)
        need(len(audio.samples) and np.isfinite(audio.samples).all(), "no sound was taken for one")

    return tried(read)
