"""A phone as headset: the page's microphone in, the read-back voice out.

It has the face of a sound card (`handsfree.sound.card.Card`), so that the live loop works with
either.  The server's thread puts sound in, the loop's threads take it out; none waits for another.
"""

from __future__ import annotations

import json
import queue
import struct
import time
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from handsfree.sound.audio import RATE
from handsfree.sound.blocks import BACKLOG, BLOCK, Block, Blocks
from handsfree.sound.card import Lost, Message, Opened, Said

PHONE_RATES = range(8_000, 192_001)
"""Samples a second that a browser may record at."""

PHONE_NAME = "phone"

LATE = 2.0
"""Seconds for which messages may have been under way, so that they come faster than time."""

_HEADER = struct.Struct("<II")

Send = Callable[[str | bytes], None]


class Phone:
    """The headset of one phone at a time; another may follow when it has gone.

    Sound comes and goes in binary messages of 16-bit samples, little-endian, mono, after two
    numbers of 32 bits: of the page, the count of the message and 1 while its voice is heard;
    to the page, the number of the breath and the samples a second.

    Args:
        clock: seconds, only ever going up.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._fed_at = clock()
        self._inbox: queue.SimpleQueue[Message | None] = queue.SimpleQueue()
        self._owner: object = None
        self._send: Send = lambda _: None
        self._maker = Blocks(RATE)
        self._rate = RATE
        self._due = 0
        self._lost = 0

    # What the server does

    def claim(self, owner: object, rate: object, send: Send) -> bool:
        """Take the sound of `owner` from now on; False if another phone is the headset.

        Args:
            owner: the connection.
            rate: samples a second that it sends; refused if no browser records so.
            send: sends it a message; must bear threads.
        """
        if not isinstance(rate, int) or rate not in PHONE_RATES or self._owner not in (None, owner):
            return False
        self._owner, self._send, self._rate, self._due = owner, send, rate, 0
        self._fed_at = self._clock()
        self._maker = Blocks(rate)
        self._inbox.put(Opened(PHONE_NAME, PHONE_NAME, rate, 1, "phone"))
        return True

    def release(self, owner: object) -> None:
        """The sound of `owner` ends, if it was the headset."""
        if self._owner is owner:
            self._owner = None
            self._inbox.put(Lost("the phone has gone"))

    def feed(self, owner: object, message: bytes) -> None:
        """Take a message with sound; what comes from others than the owner is dropped."""
        if owner is not self._owner or len(message) < _HEADER.size or len(message) % 2:
            return
        number, speaking = _HEADER.unpack_from(message)
        pcm = np.frombuffer(message, "<i2", offset=_HEADER.size)
        self._lost += self._missing(number, len(pcm))
        self._due = number + 1
        for samples in self._maker.feed(pcm.astype(np.float32) / np.float32(2**15)):
            if self._inbox.qsize() * BLOCK > BACKLOG * RATE:
                self._lost += BLOCK
                continue
            self._inbox.put(Block(samples, self._lost, bool(speaking)))
            self._lost = 0

    def _missing(self, number: int, size: int) -> int:
        """Samples that were not sent, by the count of the messages; no more than time has passed.

        A count that jumps, or goes back, tells nothing: the times of what is heard would follow.
        """
        now = self._clock()
        passed, self._fed_at = now - self._fed_at + LATE, now
        told = (number - self._due) % 2**32 * size / self._rate
        return round(min(told, passed) * RATE) if number > self._due else 0

    def heard(self, owner: object, number: object) -> None:
        """The page has played the breath with this number to its end, or stopped it."""
        if owner is self._owner and isinstance(number, int):
            self._inbox.put(Said(number))

    # What the live loop does

    def messages(self) -> Iterator[Message]:
        """What happens, in order, until `close`; nothing before a phone is there."""
        while (message := self._inbox.get()) is not None:
            yield message

    def play(self, number: int, samples: NDArray[np.float32], rate: int) -> None:
        """Play a sound as part of the breath `number`, after the one before it."""
        pcm = (np.clip(samples, -1, 1) * (2**15 - 1)).astype("<i2")
        self._tell(_HEADER.pack(number, rate) + pcm.tobytes())

    def end(self, number: int) -> None:
        """Nothing more comes in the breath `number`; it will be `Said`."""
        self._tell(json.dumps({"end": number}))

    def stop(self, number: int) -> None:
        """Fall silent at once."""
        self._tell(json.dumps({"stop": number}))

    def wait(self, number: int, silent: bool) -> None:
        """Nothing: of a phone it is not known what it plays, so that nobody asks for this."""

    def restart(self) -> None:
        """Let the page open its devices afresh."""
        self._tell(json.dumps({"microphone": "again"}))

    def close(self) -> None:
        """End `messages`."""
        self._inbox.put(None)

    def _tell(self, message: str | bytes) -> None:
        if self._owner is not None:
            self._send(message)
