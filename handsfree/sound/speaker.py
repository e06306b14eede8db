"""The speaker: sound to an output device, through PortAudio, piece by piece without a gap."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.sound.audio import level
from handsfree.sound.portaudio import no_output, portaudio

OUTPUT_LATENCY = 0.05
"""Seconds of sound that PortAudio may hold ready."""

PIECES_KEPT = 200
"""Pieces of what came out that are kept until they are asked for, a few seconds."""

FADE = 0.01
"""Seconds in which a sound that is stopped dies away, so that it does not click."""


class Speaker:
    """An output device that stays open, silent while there is nothing to play.

    What is said in one breath is any number of `play` and one `end`, all with the same number;
    the next breath has a higher one.

    Args:
        device: its name or part of it, or None for the default.
        said: called from PortAudio's thread with the number of a breath once it has been heard
            to its end, or has been stopped.

    Attributes:
        name: of the device.
        rate: its frames a second.

    Raises:
        Missing: PortAudio or the device is not there.
    """

    def __init__(self, device: str | None, said: Callable[[int], None]) -> None:
        self._said = said
        self._queue: deque[NDArray[np.float32] | int] = deque()  # sounds, and ends by number
        self._ending: deque[tuple[int, float]] = deque()  # ends, and when they will be heard
        self._begun = self._ended = self._stopped = 0  # numbers of breaths
        self._waiting = 0  # the breath that is silent for a moment
        self._faded = False  # it has fallen silent
        self._level = 0.0
        self._out: deque[NDArray[np.float32]] = deque(maxlen=PIECES_KEPT)
        audio = portaudio()
        try:
            found = audio.query_devices(device, "output")
            self.name, self.rate = str(found["name"]), int(found["default_samplerate"])
            self._stream = audio.OutputStream(
                samplerate=self.rate,
                channels=1,
                device=device,
                dtype="float32",
                latency=OUTPUT_LATENCY,
                callback=self._fill,
            )
            self._stream.start()
        except (audio.PortAudioError, ValueError) as error:
            raise no_output(error) from error

    def play(self, number: int, samples: NDArray[np.float32], rate: int) -> None:
        """Play this after what is still to be played, unless its breath was stopped."""
        self._begun = number
        if number > self._stopped:
            self._queue.append(np.asarray(soxr.resample(samples, rate, self.rate), np.float32))

    def end(self, number: int) -> None:
        """Nothing more comes in this breath."""
        self._begun = number
        self._queue.append(number)

    def stop(self, number: int) -> None:
        """Fall silent at once; what was still to be played in this breath is dropped."""
        self._stopped = number

    def wait(self, number: int, silent: bool) -> None:
        """Be silent within this breath for a moment, or go on with it where it was."""
        self._waiting = number if silent else 0

    def meanwhile(self) -> tuple[bool, float]:
        """Whether anything is being said, and its level now (root mean square)."""
        return self._begun > self._ended, self._level

    def out(self) -> list[NDArray[np.float32]]:
        """What was given to the device since this was last asked, silence too, at `rate`."""
        return [self._out.popleft() for _ in range(len(self._out))]

    def _fill(self, out: NDArray[np.float32], frames: int, time: Any, _status: Any) -> None:
        filled = self._take(frames)
        out[: len(filled), 0] = filled
        out[len(filled) :] = 0
        self._level = level(filled)
        self._out.append(out[:, 0].copy())
        while self._queue and isinstance(number := self._queue[0], int):
            self._queue.popleft()
            self._ending.append((number, time.outputBufferDacTime + len(filled) / self.rate))
        while self._ending and time.currentTime >= self._ending[0][1]:
            self._ended, _ = self._ending.popleft()
            self._said(self._ended)

    def _take(self, frames: int) -> NDArray[np.float32]:
        """The next `frames` of what is to be played, or fewer if it ends before."""
        stopped = self._begun <= self._stopped
        waits = self._begun == self._waiting
        if self._faded and waits and not stopped:
            return np.zeros(0, np.float32)
        filled = self._next(frames)
        if stopped:
            filled = np.zeros(0, np.float32) if self._faded else _dying(filled, self.rate)
            ends = [item for item in self._queue if isinstance(item, int)]
            self._queue.clear()
            self._queue.extend(ends)
        elif waits:
            self._queue.appendleft(filled)  # it is said again
            filled = _dying(filled, self.rate)
        elif self._faded:
            filled = filled.copy()
            begins = int(FADE * self.rate)
            filled[:begins] *= np.linspace(0, 1, len(filled[:begins]), dtype=np.float32)
        self._faded = waits and not stopped
        return filled

    def _next(self, frames: int) -> NDArray[np.float32]:
        """The next `frames` of the queue, or fewer if it ends before."""
        parts: list[NDArray[np.float32]] = []
        while frames and self._queue and not isinstance(sound := self._queue[0], int):
            self._queue.popleft()
            parts.append(sound[:frames])
            if len(sound) > frames:
                self._queue.appendleft(sound[frames:])
            frames -= len(parts[-1])
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _dying(sound: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """Its beginning, that dies away."""
    faded = sound[: int(FADE * rate)]
    return faded * np.linspace(1, 0, len(faded), dtype=np.float32)
