"""The sound card: microphone and speaker in a process of their own, watched from this one.

PortAudio must be kept at arm's length: when a sound server dies its calls hang for good, it
lists the devices only once, when it is loaded, and its callback must not wait for a recogniser
that holds the interpreter.  A process of its own can be killed and started again, sees what has
been plugged in meanwhile, and is as quick as it must be.
"""

from __future__ import annotations

import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Literal

import numpy as np
from numpy.typing import NDArray

from handsfree.errors import Missing
from handsfree.sound.blocks import Block

STALL = 3.0
"""Seconds without sound after which the device is taken for lost."""

RETRY = 1.0
"""Seconds between attempts to get it back."""

OPENS_WITHIN = 20.0
"""Seconds that a device may take to open."""


@dataclass(frozen=True, slots=True)
class Opened:
    """The devices are open.

    Attributes:
        microphone, speaker: their names; the speaker is None if none is wanted.
        rate, channels: of the microphone, before its sound is made mono at 16 kHz.
        via: whether it is a phone's.
    """

    microphone: str
    speaker: str | None
    rate: int
    channels: int
    via: Literal["microphone", "phone"] = "microphone"


@dataclass(frozen=True, slots=True)
class Said:
    """The breath with this number has been heard to its end, or was stopped."""

    number: int


@dataclass(frozen=True, slots=True)
class Lost:
    """No more sound comes; the devices are tried again until they open."""

    why: str


@dataclass(frozen=True, slots=True)
class Deaf:
    """There is no microphone, but there may be a speaker; tried again until there is one.

    Attributes:
        why: what the device says.
        remedy: what can be done.
        audible: whether something can be said meanwhile.
    """

    why: str
    remedy: str
    audible: bool


Message = Block | Opened | Said | Lost | Deaf


class Card:
    """A microphone and a speaker that survive unplugging and a sound server that dies.

    Args:
        microphone, speaker: names or parts of them, or None for the default.
        audible: False to open no speaker.
    """

    def __init__(
        self,
        microphone: str | None = None,
        speaker: str | None = None,
        *,
        audible: bool = True,
    ) -> None:
        self._arguments = [microphone or "", speaker or "", "audible" if audible else ""]
        self._process: subprocess.Popen[bytes] | None = None
        self._sending = threading.Lock()
        self._closed = threading.Event()

    def messages(self) -> Iterator[Message]:
        """What happens, in order, until `close`.

        Raises:
            Missing: there is no microphone when it is opened for the first time.
        """
        opened = False
        while not self._closed.is_set():
            for message in self._lifetime():
                if isinstance(message, Deaf) and not opened:
                    self.close()
                    raise Missing(message.why, where="microphone", remedy=message.remedy)
                opened |= isinstance(message, Opened)
                yield message
            if not opened and not self._closed.is_set():
                raise Missing("the sound system does not answer", where="microphone")
            self._closed.wait(RETRY)

    def play(self, number: int, samples: NDArray[np.float32], rate: int) -> None:
        """Play a sound as part of the breath `number`, after the one before it."""
        self._send("play", number, samples, rate)

    def end(self, number: int) -> None:
        """Nothing more comes in the breath `number`."""
        self._send("end", number)

    def stop(self, number: int) -> None:
        """Fall silent at once."""
        self._send("stop", number)

    def wait(self, number: int, silent: bool) -> None:
        """Be silent within the breath `number` for a moment, or go on with it."""
        self._send("wait", number, silent)

    def restart(self) -> None:
        """Open the devices afresh, because they do not answer."""
        self._kill()

    def close(self) -> None:
        """Give the devices free."""
        self._closed.set()
        self._kill()

    def _lifetime(self) -> Iterator[Message]:
        """The messages of one process, from its start until it must be given up."""
        inbox: queue.SimpleQueue[Message | None] = queue.SimpleQueue()
        command = [sys.executable, "-m", "handsfree.sound.device", *self._arguments]
        self._process = process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        assert process.stdout
        threading.Thread(target=_read, args=(process.stdout, inbox), daemon=True).start()
        patience = OPENS_WITHIN
        while not self._closed.is_set():
            try:
                message = inbox.get(timeout=patience)
            except queue.Empty:
                message = None
            if message is None:
                if not self._closed.is_set() and patience == STALL:
                    yield Lost("no sound comes from the microphone")
                break
            yield message
            if isinstance(message, Opened):
                patience = STALL
        self._kill()

    def _kill(self) -> None:
        process, self._process = self._process, None
        if process:
            process.kill()
            process.wait()
            assert process.stdin  # what reads its output closes that
            with self._sending, suppress(OSError):  # it may have died before it read all
                process.stdin.close()

    def _send(self, *command: object) -> None:
        process = self._process
        if process and process.stdin:
            with self._sending, suppress(OSError, ValueError):  # it may just have died
                pickle.dump(command, process.stdin)
                process.stdin.flush()


def _read(stream: IO[bytes], inbox: queue.SimpleQueue[Message | None]) -> None:
    with stream, suppress(EOFError, OSError, pickle.UnpicklingError, ValueError):
        while True:
            inbox.put(pickle.load(stream))
    inbox.put(None)
