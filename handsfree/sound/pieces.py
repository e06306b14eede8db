"""A text said in pieces, so that the first is heard while the next ones are still made.

The first sentence is cut at its commas (the wire, the value, the verdict), the others are
whole.  What has been said is kept: wires, verdicts and prompts come again and again.
"""

from __future__ import annotations

import re
import threading
from collections import OrderedDict
from collections.abc import Iterator

import numpy as np

from handsfree.sound.voice import Voice, Waveform

KEPT = 6_000_000
"""Bytes of sound that are kept, about two minutes."""

QUIET = 0.004
"""Amplitude, -48 dBFS, below which the ends of a piece are taken for silence."""

PAUSES = {",": 0.06, ":": 0.15, ";": 0.15}
"""Seconds of silence after a piece by its last sign; any other is the end of a sentence."""
SENTENCE_PAUSE = 0.25


def split(text: str) -> list[str]:
    """The pieces of a text: the clauses of the first sentence, and every further sentence."""
    first, *others = re.split(r"(?<=[.?!])\s+", text.strip())
    return [piece for piece in [*re.split(r"(?<=[,;:])\s+", first), *others] if piece]


class Pieces:
    """Says texts piece by piece.  May be used from several threads.

    Args:
        voice: makes the sound.
    """

    def __init__(self, voice: Voice) -> None:
        self._voice = voice
        self._kept: OrderedDict[tuple[str, float], tuple[np.ndarray, int]] = OrderedDict()
        self._size = 0
        self._lock = threading.Lock()

    def say(self, text: str, speed: float = 1.0) -> Iterator[Waveform]:
        """The sound of `text`, piece by piece, each as soon as it is made.

        Raises:
            Missing: the voice fails.
        """
        for piece in split(text):
            samples, rate = self._piece(piece, speed)
            pause = PAUSES.get(piece[-1], SENTENCE_PAUSE)
            silence = np.zeros(int(pause * rate), np.float32)
            yield np.concatenate([samples.astype(np.float32) / 32767, silence]), rate

    def prepare(self, text: str, speed: float = 1.0) -> None:
        """Make and keep the sound of a text that will be said."""
        for piece in split(text):
            self._piece(piece, speed)

    def _piece(self, text: str, speed: float) -> tuple[np.ndarray, int]:
        """One piece without silence around it, as 16 bit integers."""
        with self._lock:
            key = text, speed
            if key not in self._kept:
                samples, rate = self._voice.synthesise(text, speed)
                loud = np.flatnonzero(np.abs(samples) > QUIET)
                trimmed = samples[loud[0] : loud[-1] + 1] if len(loud) else samples[:0]
                self._kept[key] = (np.round(trimmed * 32767).astype(np.int16), rate)
                self._size += self._kept[key][0].nbytes
                while self._size > KEPT and len(self._kept) > 1:
                    _, (oldest, _) = self._kept.popitem(last=False)
                    self._size -= oldest.nbytes
            self._kept.move_to_end(key)
            return self._kept[key]
