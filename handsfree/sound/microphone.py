"""The microphone: sound from an input device, through PortAudio.

The callback only puts what it is given into a queue without a lock, so that it never waits;
mixing down and resampling happen where the queue is read.
"""

from __future__ import annotations

import queue
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import Missing
from handsfree.sound.audio import RATE
from handsfree.sound.blocks import BACKLOG, BLOCK, Block, Blocks
from handsfree.sound.played import Played
from handsfree.sound.portaudio import portaudio
from handsfree.sound.speaker import Speaker

INPUT_LATENCY = 0.1
"""Seconds of sound that PortAudio may hold, before a busy machine loses any."""


_Piece = tuple[NDArray[np.float32], Block, list[NDArray[np.float32]]]
"""What came in, what is known of it, and what was given to the speaker since the last one."""


class Microphone:
    """An input device, recording until it is closed.

    Args:
        device: its name or part of it, or None for the default.
        speaker: tells for each piece whether the own voice is heard, and what was played.

    Attributes:
        name: of the device.
        rate, channels: as it is recorded, before it is made mono at `RATE`.

    Raises:
        Missing: PortAudio or the device is not there.
    """

    def __init__(self, device: str | None = None, speaker: Speaker | None = None) -> None:
        self._speaker = speaker
        self._played = Played(speaker.rate) if speaker else None
        self._pieces: queue.SimpleQueue[_Piece] = queue.SimpleQueue()
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
        speaking, played = self._speaker.meanwhile() if self._speaker else (False, 0.0)
        mark = Block(np.zeros(0, np.float32), round(lost * RATE), speaking, played)
        self._pieces.put((frames.copy(), mark, self._speaker.out() if self._speaker else []))

    def blocks(self) -> Iterator[Block]:
        """What it hears, without end."""
        lost = 0
        while True:
            frames, mark, out = self._pieces.get()
            lost += mark.lost
            if self._played:
                self._played.feed(out)
            for samples in self._blocks.feed(frames):
                reference = self._played.next() if self._played else None
                yield replace(mark, samples=samples, lost=lost, reference=reference)
                lost = 0


def _names(audio: Any) -> str:
    """The input devices there are."""
    found = [d["name"] for d in audio.query_devices() if d["max_input_channels"] > 0]
    return ", ".join(found) or "none"
