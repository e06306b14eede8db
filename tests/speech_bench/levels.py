"""Levels: how loud speech is while somebody speaks, and mixing at a given ratio to noise.

The speech level is the active level of ITU-T P.56 (12/2011), method B: the energy of the
signal over the time in which its envelope, held for 0.2 s, is above a threshold 15.9 dB
below that same level.  The noise level is its root mean square over all of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.signal import lfilter

from handsfree.sound.audio import RATE, Samples

#: Time constant of the envelope, hangover and margin, as P.56 gives them.
_SMOOTHING, _HANGOVER, _MARGIN = 0.03, 0.2, 15.9


def decibels(power: float) -> float:
    """Ten times the logarithm; minus infinity for nothing."""
    return float(10 * np.log10(power)) if power > 0 else -np.inf


def active_level(samples: Samples, rate: int = RATE) -> float:
    """Active speech level of P.56 method B, in dB relative to a full-scale square wave.

    Args:
        samples: shape (n,), -1 to 1.
        rate: samples a second.
    """
    x = np.asarray(samples, np.float64)
    energy = float(np.sum(x**2))
    if not energy:
        return -np.inf
    keep = np.exp(-1 / (rate * _SMOOTHING))
    smooth: NDArray[np.float64] = np.abs(x)
    for _ in range(2):
        smooth = lfilter([1 - keep], [1, -keep], smooth)
    hang = int(_HANGOVER * rate)
    held = maximum_filter1d(smooth, hang + 1, origin=hang // 2, mode="constant")
    thresholds = 2.0 ** np.arange(-15, 0, 0.25)
    active = np.array([np.count_nonzero(held >= c) for c in thresholds])
    used = active > 0
    levels = 10 * np.log10(energy / active[used])
    above = levels - 20 * np.log10(thresholds[used]) - _MARGIN
    if above[-1] > 0:
        return float(levels[-1])
    # The margin falls as the threshold rises: where it is nought the level is found.
    return float(np.interp(0, above[::-1], levels[::-1]))


def at_level(samples: Samples, level: float) -> Samples:
    """Speech scaled to an active level in dB."""
    return np.asarray(samples * 10 ** ((level - active_level(samples)) / 20), np.float32)


def noise_at(noise: Samples, level: float) -> Samples:
    """Noise scaled to a root mean square in dB."""
    power = float(np.mean(np.asarray(noise, np.float64) ** 2))
    return np.asarray(noise * 10 ** ((level - decibels(power)) / 20), np.float32)
