"""The microphone: sound from an input device, through PortAudio.

The callback only puts what it is given into a queue without a lock, so that it never waits;
mixing down and resampling happen where the queue is read.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import Missing
from handsfree.sound.audio import RATE
from handsfree.sound.blocks import BACKLOG, BLOCK, Block, Blocks
from handsfree.sound.portaudio import portaudio

INPUT_LATENCY = 0.1
"""Seconds of sound that PortAudio may hold, before a busy machine loses any."""


class Microphone:
    """An input device, recording until it is closed.

    Args:
        device: its name or part of it, or None for the default.
        meanwhile: says for each piece whether the own voice is heard, and how loud.

    Attributes:
        name: of the device.
        rate, channels: as it is recorded, before it is made mono at `RATE`.

    Raises:
        Missing: PortAudio or the device is not there.
    """

    def __init__(
        self, device: str | None = None, meanwhile: Callable[[], tuple[bool, float]] | None = None
    ) -> None:
        self._meanwhile = meanwhile or (lambda: (False, 0.0))
        self._pieces: queue.SimpleQueue[tuple[NDArray[np.float32], Block]] = queue.SimpleQueue()
        self._due = 0.0  # when the next piece begins, by the clock of the device
        self._dropped = 0.0
        audio = portaudio()
        try:
            found = audio.query_devices(device, "input")
            self.name = str(found["name"])
            self._stream, self.rate, self.channels = self._open(audio, device, found)
            self._stream.start()
        except (audio.PortAudioError, ValueError) as error:
            raise Missing(
                f"no microphone: {error}",
                where=device or "default input",
                remedy=f"Plug one in, name another with --device, or dictate from files (--audio). "
                f"There are: {_names(audio)}.",
            ) from error
        self._blocks = Blocks(self.rate)

    def _open(self, audio: Any, device: str | None, found: Any) -> tuple[Any, int, int]:
        """The device at `RATE` in mono if it can; else as it is."""
        native, most = int(found["default_samplerate"]), int(found["max_input_channels"])
        ways = [(RATE, 1), (native, 1), (native, min(2, most)), (native, most)]
        for number, (rate, channels) in enumerate(ways, 1):
            try:
                stream = audio.InputStream(
                    samplerate=rate,
                    channels=channels,
                    blocksize=BLOCK * rate // RATE,
                    device=device,
                    dtype="float32",
                    latency=INPUT_LATENCY,
                    callback=self._take,
                )
                return stream, rate, channels
            except audio.PortAudioError:
                if number == len(ways):
                    raise
        raise AssertionError("there is always a way to try")

    def _take(self, frames: NDArray[np.float32], count: int, time: Any, status: Any) -> None:
        seconds = count / self.rate
        if self._pieces.qsize() * seconds > BACKLOG:
            self._dropped += seconds
            return
        lost, self._dropped = self._dropped, 0.0
        if status.input_overflow:
            lost += max(time.inputBufferAdcTime - self._due, seconds)
        self._due = time.inputBufferAdcTime + seconds
        speaking, played = self._meanwhile()
        mark = Block(np.zeros(0, np.float32), round(lost * RATE), speaking, played)
        self._pieces.put((frames.copy(), mark))

    def blocks(self) -> Iterator[Block]:
        """What it hears, without end."""
        lost = 0
        while True:
            frames, mark = self._pieces.get()
            lost += mark.lost
            for samples in self._blocks.feed(frames):
                yield replace(mark, samples=samples, lost=lost)
                lost = 0


def _names(audio: Any) -> str:
    """The input devices there are."""
    found = [d["name"] for d in audio.query_devices() if d["max_input_channels"] > 0]
    return ", ".join(found) or "none"
