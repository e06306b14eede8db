"""What a room, a microphone and a headset do to sound."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, fftconvolve, sosfiltfilt

from handsfree.sound.audio import RATE, Samples, resample


def echo(samples: Samples, seed: int) -> Samples:
    """The sound in a room, as long as before.

    The impulse response is noise that decays exponentially, by 60 dB in 0.3 to 0.6 s
    (J. D. Polack, 1988), after a direct path that is 0 to 6 dB stronger than all of it.
    """
    rng = np.random.default_rng(seed)
    response = impulse_response(rng, rng.uniform(0.3, 0.6), rng.uniform(0, 6))
    return np.asarray(fftconvolve(samples, response)[: len(samples)], np.float32)


def impulse_response(rng: np.random.Generator, rt60: float, direct: float) -> Samples:
    """A room's impulse response.

    Args:
        rng: source of its noise.
        rt60: seconds in which it decays by 60 dB.
        direct: direct to reverberant ratio in dB.
    """
    frames = int(rt60 * RATE)
    decay = rng.standard_normal(frames) * 10 ** (-3 * np.arange(frames) / frames)
    decay[: int(rng.uniform(0.003, 0.01) * RATE)] = 0  # until the first wall answers
    decay *= 10 ** (-direct / 20) / np.sqrt(np.sum(decay**2))
    decay[0] = 1
    return np.asarray(decay, np.float32)


def clip(samples: Samples, share: float = 0.02) -> Samples:
    """Overdriven: the loudest `share` of the samples that hold sound is cut off."""
    loud = np.abs(samples[np.abs(samples) > 0.02 * np.abs(samples).max()])
    limit = np.quantile(loud, 1 - share) if len(loud) else 1.0
    return np.asarray(np.clip(samples / limit, -1, 1) * 0.99, np.float32)


def narrow_band(samples: Samples) -> Samples:
    """Through a telephone headset: 300 to 3400 Hz at 8 kHz, in 8 bits by the µ-law (G.711)."""
    narrow = resample_to(samples, 8000)
    sos = butter(4, [300, 3400], "bandpass", fs=8000, output="sos")
    x = np.clip(sosfiltfilt(sos, narrow), -1, 1)
    coded = np.sign(x) * np.log1p(255 * np.abs(x)) / np.log(256)
    coded = np.round(coded * 127) / 127
    back = np.sign(coded) * (256 ** np.abs(coded) - 1) / 255
    return resample(np.asarray(back, np.float32), 8000)[: len(samples)]


def resample_to(samples: Samples, rate: int) -> Samples:
    """From 16 kHz to another rate."""
    import soxr

    return np.asarray(soxr.resample(samples, RATE, rate, quality="VHQ"), np.float32)
