"""The tool's own voice is taken out of what the microphone hears: WebRTC's echo canceller, AEC3.

It learns the way from the speaker to the microphone, the room in it, from what it is given; the
first half second of the first sentence is for learning.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from handsfree.errors import Missing
from handsfree.sound.audio import RATE, Samples

PIECE = RATE // 100
"""Samples that the canceller takes at once."""

SPARE = 128
"""Samples in store: blocks of 512 and pieces of 160 never differ by more."""

HELD_BACK = SPARE + PIECE
"""Samples by which sound is late: no echo may come before what it is the echo of."""

PLAIN_AFTER = 1.0
"""Seconds of silence of the tool after which sound is passed on as it is."""


class Canceller:
    """Sound and what was played, block by block; gives the sound without it.

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
        late = np.zeros(HELD_BACK, np.float32)
        self._heard, self._plain, self._clean = late, late, late[:0]
        self._played = late[:SPARE]
        self._silent = PLAIN_AFTER

    def __call__(self, heard: Samples, played: Samples) -> Samples:
        """The next block of both, equally long; as much comes out, `HELD_BACK` samples late."""
        self._silent = 0.0 if played.any() else self._silent + len(played) / RATE
        self._heard = np.concatenate([self._heard, heard])
        self._played = np.concatenate([self._played, played])
        self._plain = np.concatenate([self._plain, heard])
        whole = len(self._played) // PIECE * PIECE
        done = self._engine.process(self._heard[:whole], self._played[:whole])
        self._heard, self._played = self._heard[whole:], self._played[whole:]
        self._clean = np.concatenate([self._clean, done])
        size = len(heard)
        clean, self._clean = self._clean[:size], self._clean[size:]
        plain, self._plain = self._plain[:size], self._plain[size:]
        return plain if self._silent > PLAIN_AFTER else clean
