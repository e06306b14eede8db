"""What might be done to the sound before a model hears it: kept only where this bench shows it.

    python -m tests.speech_bench --front-end high-pass --conditions 10dB,5dB --limit 60

The libraries of the last two come with the extra `lab`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import butter, sosfilt

from handsfree.sound.audio import RATE, Samples, resample

from .levels import active_level, at_level
from .rooms import resample_to
from .trials import SPEECH_LEVEL

FrontEnd = Callable[[Samples], Samples]

#: Corner of the high-pass, Hz: below the lowest voices.
_CORNER = 100


def high_pass(samples: Samples) -> Samples:
    """Without rumble: Butterworth, second order."""
    sos = butter(2, _CORNER, "highpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(sos, samples), np.float32)


def gain(samples: Samples) -> Samples:
    """Every utterance at the same active level."""
    if not np.isfinite(active_level(samples)):
        return samples
    return np.clip(at_level(samples, SPEECH_LEVEL), -1, 1)


def spectral_gate(samples: Samples) -> Samples:
    """Noise suppression by a gate for each band (noisereduce)."""
    from noisereduce import reduce_noise  # type: ignore[import-untyped]

    return np.asarray(reduce_noise(samples, sr=RATE, prop_decrease=0.8), np.float32)


def rnnoise(samples: Samples) -> Samples:
    """Noise suppression by a small recurrent network (RNNoise), which wants 48 kHz."""
    from pyrnnoise import RNNoise  # type: ignore[import-untyped]

    fast = resample_to(samples, 48_000)
    whole = (np.clip(fast, -1, 1) * 32767).astype(np.int16)[np.newaxis]
    clean = [frame for _, frame in RNNoise(sample_rate=48_000).denoise_chunk(whole, partial=True)]
    joined = np.concatenate(clean, 1)[0, : len(fast)].astype(np.float32) / 32768
    return resample(joined, 48_000)[: len(samples)]


FRONT_ENDS: dict[str, FrontEnd] = {
    "plain": lambda samples: samples,
    "high-pass": high_pass,
    "gain": gain,
    "spectral-gate": spectral_gate,
    "rnnoise": rnnoise,
}
