"""The microphone: blocks of sound from an input device, through PortAudio.

The callback only puts blocks into a queue, so that it never waits; what PortAudio had to
drop is counted.
"""

from __future__ import annotations

import queue
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import Missing

RATE = 16_000
#: Samples in one block: 32 ms.
BLOCK = 512


class Microphone:
    """An input device, opened as a context.

    Args:
        device: name or part of it, or None for the default.

    Attributes:
        overruns: how often sound was lost because the machine was too slow.

    Raises:
        Missing: PortAudio or the device is not there.
    """

    def __init__(self, device: str | None = None) -> None:
        self.overruns = 0
        self._blocks: queue.Queue[NDArray[np.float32]] = queue.Queue()
        self._audio = _portaudio()
        try:
            self._stream = self._audio.InputStream(
                samplerate=RATE,
                blocksize=BLOCK,
                channels=1,
                dtype="float32",
                device=device,
                callback=self._take,
            )
        except (self._audio.PortAudioError, ValueError) as error:
            raise Missing(
                f"no microphone: {error}",
                where=device or "default input",
                remedy="Plug one in, name another device, or dictate from files with --audio FILE.",
            ) from error

    def _take(self, block: NDArray[np.float32], _frames: int, _time: Any, status: Any) -> None:
        if status.input_overflow:
            self.overruns += 1
        self._blocks.put(block[:, 0].copy())

    def __enter__(self) -> Microphone:
        self._stream.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stream.close()

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """Blocks of float32 samples, shape (512,), 16 kHz mono, -1 to 1, without end."""
        while True:
            yield self._blocks.get()


def _portaudio() -> Any:
    try:
        import sounddevice
    except OSError as error:  # the module is there, its C library is not
        raise Missing(
            "the PortAudio library is not installed, so there is no microphone",
            where="sounddevice",
            remedy="Install it (Debian: apt-get install libportaudio2), or use --audio FILE.",
        ) from error
    return sounddevice
