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

from handsfree.sound.audio import Samples
from handsfree.sound.blocks import BLOCK, Blocks

MOST = 4
"""Blocks that wait; what is more comes too late for its echo."""


class Played:
    """Gives a block of the speaker's sound for each block of the microphone's.

    Args:
        rate: frames a second of the speaker.
    """

    def __init__(self, rate: int) -> None:
        self._blocks = Blocks(rate)
        self._waiting: deque[Samples] = deque(maxlen=MOST)

    def feed(self, pieces: Iterable[NDArray[np.float32]]) -> None:
        """Take what the speaker was given."""
        for piece in pieces:
            self._waiting.extend(self._blocks.feed(piece))

    def next(self) -> Samples:
        """The next block; silence if there is none yet."""
        while len(self._waiting) > 1 and not self._waiting[0].any():
            self._waiting.popleft()  # while nobody speaks it may come closer
        return self._waiting.popleft() if self._waiting else np.zeros(BLOCK, np.float32)
