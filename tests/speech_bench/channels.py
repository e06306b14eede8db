"""What links make of speech: codecs, and a microphone that opens late or closes early."""

from __future__ import annotations

import io
import random
from collections.abc import Callable

import numpy as np
import soundfile

from handsfree.sound.audio import RATE, Samples, resample

from .rooms import narrow_band, resample_to

#: Seconds at most that are lost at either end.
_LOST = 0.06


def gsm(samples: Samples) -> Samples:
    """GSM 06.10 full rate at 8 kHz (libsndfile)."""
    return _coded(samples, 8000, "WAV", "GSM610")


def opus(samples: Samples) -> Samples:
    """Opus at 8 kHz (libsndfile), in the fewest bits that it takes."""
    return _coded(samples, 8000, "OGG", "OPUS", compression_level=1.0)


def msbc(samples: Samples) -> Samples:
    """Bluetooth's wide-band speech: mSBC at 16 kHz (FFmpeg, through PyAV)."""
    import av

    encoder: av.AudioCodecContext = av.CodecContext.create("sbc", "w")  # type: ignore[assignment]
    encoder.sample_rate, encoder.layout, encoder.format = RATE, "mono", "s16"
    encoder.options = {"msbc": "1"}
    decoder: av.AudioCodecContext = av.CodecContext.create("sbc", "r")  # type: ignore[assignment]
    decoder.sample_rate, decoder.layout = RATE, "mono"
    pieces: list[Samples] = []
    size = 120  # samples of a frame: 15 blocks of 8 bands
    whole = (np.clip(np.pad(samples, (0, -len(samples) % size)), -1, 1) * 32767).astype(np.int16)
    for at in range(0, len(whole), size):
        frame = av.AudioFrame.from_ndarray(whole[None, at : at + size], "s16", "mono")
        frame.sample_rate, frame.pts = RATE, at
        for packet in encoder.encode(frame):
            for out in decoder.decode(packet):
                pieces.append(out.to_ndarray().astype(np.float32).ravel() / 32768)
    return np.concatenate(pieces)[: len(samples)]


def _coded(samples: Samples, rate: int, kind: str, codec: str, **options: float) -> Samples:
    file = io.BytesIO()
    narrow = np.clip(resample_to(samples, rate), -1, 1)
    soundfile.write(file, narrow, rate, format=kind, subtype=codec, **options)
    file.seek(0)
    back, rate = soundfile.read(file, dtype="float32")
    return resample(np.asarray(back, np.float32), int(rate))[: len(samples)]


def cut_short(speech: Samples, rng: random.Random) -> Samples:
    """Speech that lost a little of its beginning and its end."""
    first, last = (int(rng.uniform(0, _LOST) * RATE) for _ in range(2))
    return speech[first : len(speech) - last]


NEAR: tuple[Callable[[Samples], Samples], ...] = (narrow_band, gsm)
STRANGE: tuple[Callable[[Samples], Samples], ...] = (opus, msbc)
"""Links that nothing was tuned with."""
