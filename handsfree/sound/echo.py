"""The tool's own voice in what the microphone hears: whether more is heard than it, and what.

WebRTC's echo canceller, AEC3, leaves next to nothing of it within a second, and so tells at once
that somebody else is heard; but it is deaf to the first tenth of a second of him.  What he said is
therefore taken from the sound as it is, less the echo: what was played, by the way from the speaker
to the microphone that is best for the seconds before (Wiener's, by SciPy's Levinson recursion).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_toeplitz
from scipy.ndimage import maximum_filter1d
from scipy.signal import fftconvolve

from handsfree.errors import Missing
from handsfree.sound.audio import RATE, Samples, decibels, level
from handsfree.sound.blocks import BLOCK

PIECE = RATE // 100
"""Samples that AEC3 takes at once."""

SPARE = 128
"""Samples of AEC3's in store: blocks of 512 and pieces of 160 never differ by more."""

HELD_BACK = RATE // 100
"""Samples by which sound is late: no echo may come before what it is the echo of."""

PLAIN_AFTER = 1.0
"""Seconds of silence of the tool after which there is no echo."""

WAY = int(0.35 * RATE)
"""Samples of the way and its reverberation."""

PAST = 6 * RATE
"""Samples from which it is learned."""

REACH, WITHIN_WORD = 11, 4
"""Blocks in which an echo comes back, and without speech within a word."""

CLEARLY = 6.0
"""Decibels."""

FIRM = 1e-3
"""Share by which the power of what was played is raised, so that its gaps say nothing."""


class Canceller:
    """Listens block by block; what was heard comes out `HELD_BACK` samples late.

    Raises:
        Missing: the library is not installed.
    """

    def __init__(self) -> None:
        try:
            from pywebrtc_audio import EchoCanceller
        except ImportError as error:
            remedy = "pip install pywebrtc-audio"
            raise Missing("the echo canceller is not installed", remedy=remedy) from error
        self._engine: Any = EchoCanceller(RATE)
        self._heard, self._played = np.zeros(PAST, np.float32), np.zeros(PAST, np.float32)
        self._late = np.zeros(HELD_BACK, np.float32)
        self._waiting = 0  # samples that AEC3 has not had yet
        self._clean = np.zeros(SPARE, np.float32)  # what it made of the others
        self._silent = PLAIN_AFTER
        self._way: NDArray[np.float64] | None = None

    def hear(self, heard: Samples, played: Samples) -> Samples:
        """Take the next block of both, equally long; gives what AEC3 leaves of it."""
        size = len(heard)
        late = np.concatenate([self._late, heard])
        self._late = late[size:]
        self._heard = np.concatenate([self._heard[size:], late[:size]])
        self._played = np.concatenate([self._played[size:], played])
        self._silent = 0.0 if played.any() else self._silent + size / RATE
        self._waiting += size
        begin, whole = PAST - self._waiting, self._waiting // PIECE * PIECE
        now = slice(begin, begin + whole)
        self._waiting -= whole
        made = self._engine.process(self._heard[now], self._played[now])
        self._clean = np.concatenate([self._clean, made])
        clean, self._clean = self._clean[:size], self._clean[size:]
        return clean

    @property
    def knows(self) -> bool:
        """Whether the way is known."""
        return self._way is not None

    def learn(self, count: int) -> None:
        """Find the way by the last so many samples, in which nobody else was heard."""
        heard, played = self._heard[-count:], self._played[-count:]
        power = _correlation(played, played)
        power[0] *= 1 + FIRM
        self._way = solve_toeplitz(power, _correlation(played, heard)) if power[0] else None

    def latest(self, count: int) -> Samples:
        """The last so many samples, less the echo once the way is known."""
        heard = self._heard[-count:]
        if self._way is None or self._silent > PLAIN_AFTER:
            return heard
        played = self._played[-count - WAY :]
        return np.asarray(heard - fftconvolve(played, self._way)[WAY : WAY + count], np.float32)

    def since(self, count: int, most: int) -> int:
        """How many of the last samples are somebody's, if the last `count` are.

        Before those it goes on as long as more is left of a block than usually was of the own
        voice, in the second before the last `most` samples.
        """
        left = self.latest(most + RATE // BLOCK * BLOCK).reshape(-1, BLOCK)
        played = self._played[-left.size :].reshape(-1, BLOCK)
        loudest = maximum_filter1d(
            [decibels(level(block)) for block in played], REACH, origin=REACH // 2
        )
        over = np.array([decibels(level(block)) for block in left]) - loudest
        usual = np.percentile(over[: RATE // BLOCK], 90)
        first = len(left) - count // BLOCK
        while (
            before := np.flatnonzero(over[max(first - WITHIN_WORD, 0) : first] > usual + CLEARLY)
        ).size:
            first = max(first - WITHIN_WORD, 0) + int(before[0])
        return min((len(left) - first) * BLOCK, most)


def _correlation(one: Samples, other: Samples) -> NDArray[np.float64]:
    """How far the other follows the one by 0 to `WAY` samples."""
    size = len(one) + WAY
    product = np.conj(np.fft.rfft(one, size)) * np.fft.rfft(other, size)
    return np.asarray(np.fft.irfft(product, size)[:WAY], np.float64)
