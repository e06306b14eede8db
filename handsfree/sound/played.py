"""What the speaker was given, in step with what the microphone hears.

Both devices hand their sound over in pieces of their own, by clocks of their own.  An echo
canceller finds the way from the one to the other by itself, if only that way stays the same while
the tool speaks: so no sample is dropped or put in then unless there is no other way.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from handsfree.sound.audio import Samples
from handsfree.sound.blocks import BLOCK, Blocks

MOST = 12
"""Blocks that may wait; both devices may hand over several at once."""

WATCHED = 100
"""Blocks, 3 s, in which all that always waited was too much."""


INAUDIBLE = 1e-5
"""-100 dBFS."""


class Played:
    """Gives a block of the speaker's sound for each block of the microphone's.

    Args:
        rate: frames a second of the speaker.
    """

    def __init__(self, rate: int) -> None:
        self._blocks = Blocks(rate, "QQ")  # a better one would be later than the echo
        self._low = butter(8, min(7_000, 0.45 * rate), fs=rate, output="sos")
        self._state = np.zeros((len(self._low), 2))
        self._waiting: deque[Samples] = deque(maxlen=MOST)
        self._left: deque[int] = deque(maxlen=WATCHED)  # how many waited after each block

    def feed(self, pieces: Iterable[NDArray[np.float32]]) -> None:
        """Take what the speaker was given."""
        for piece in pieces:
            low, self._state = sosfilt(self._low, piece, zi=self._state)
            if not piece.any() and np.abs(low).max(initial=0) < INAUDIBLE:
                low[:], self._state[:] = 0, 0  # a filter alone would never be silent
            self._waiting.extend(self._blocks.feed(low.astype(np.float32)))

    def next(self) -> Samples:
        """The next block; silence if there is none yet."""
        if len(self._left) == WATCHED and min(self._left) > 0 and not self._waiting[0].any():
            self._waiting.popleft()  # while nobody speaks it may come closer
            self._left.clear()
        block = self._waiting.popleft() if self._waiting else np.zeros(BLOCK, np.float32)
        self._left.append(len(self._waiting))
        return block
