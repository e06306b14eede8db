"""A phone's microphone: the sound that the page sends, as blocks like those of a sound card.

The server's thread puts sound in, another thread takes it out; neither waits for the other.
"""

from __future__ import annotations

import queue
from collections.abc import Iterator

import numpy as np

from handsfree.sound.audio import RATE
from handsfree.sound.blocks import BLOCK, Block, Blocks

KEPT = 60.0
"""Seconds of sound that wait before more is dropped and counted as lost."""

RATES = range(8_000, 192_001)
"""Samples a second that a browser may record at."""


class Phone:
    """The microphone of one phone at a time; another may follow when it has gone.

    A message of the page is a number of 32 bits, little-endian, that counts the messages, and
    after it the samples: 16-bit, little-endian, mono.
    """

    def __init__(self) -> None:
        self._blocks: queue.SimpleQueue[Block | None] = queue.SimpleQueue()
        self._owner: object = None
        self._maker = Blocks(RATE)
        self._rate = RATE
        self._due = 0
        self._lost = 0

    @property
    def connected(self) -> bool:
        """Whether a phone sends its sound."""
        return self._owner is not None

    def blocks(self) -> Iterator[Block]:
        """What it hears, until `close`; waits while no phone is there."""
        while (block := self._blocks.get()) is not None:
            yield block

    def close(self) -> None:
        """End `blocks`."""
        self._blocks.put(None)

    def claim(self, owner: object, rate: object) -> bool:
        """Take the sound of `owner` from now on; False if another phone is the microphone.

        Args:
            owner: the connection.
            rate: samples a second that it sends; refused if no browser records so.
        """
        if not isinstance(rate, int) or rate not in RATES or self._owner not in (None, owner):
            return False
        self._owner, self._rate, self._due = owner, rate, 0
        self._maker = Blocks(rate)
        return True

    def release(self, owner: object) -> bool:
        """The sound of `owner` ends; False if it was not the microphone."""
        if self._owner is not owner:
            return False
        self._owner = None
        return True

    def feed(self, owner: object, message: bytes) -> None:
        """Take a message with sound; what comes from others than the owner is dropped."""
        if owner is not self._owner or len(message) % 2 or len(message) < 4:
            return
        number = int.from_bytes(message[:4], "little")
        samples = np.frombuffer(message, "<i2", offset=4).astype(np.float32) / np.float32(32768)
        missed = (number - self._due) % 2**32
        self._lost += round(missed * len(samples) * RATE / self._rate)
        self._due = number + 1
        for block in self._maker.feed(samples):
            if self._blocks.qsize() * BLOCK > KEPT * RATE:
                self._lost += BLOCK
                continue
            self._blocks.put(Block(block, self._lost))
            self._lost = 0
