"""The clips of a job as data within the page, as long as a browser bears it."""

from __future__ import annotations

import base64
from collections.abc import Callable

#: Gives the bytes of a file by its name in the job folder; None if it is gone.
Files = Callable[[str], bytes | None]

#: Bytes of sound that a page holds at most; a browser would not open a larger one.
MOST_SOUND = 1 << 30


class PageSounds:
    """The clips, as long as there is room for them.

    Attributes:
        silent: how many were left out.
    """

    def __init__(self, files: Files) -> None:
        self._files, self._room, self.silent = files, MOST_SOUND, 0

    def __call__(self, name: str | None) -> str:
        """The address of a clip within the page; empty if there is none or no room."""
        if name is None:
            return ""
        if self._room <= 0:
            self.silent += 1
            return ""
        sound = self._files(name)
        if sound is None:
            return ""
        self._room -= len(sound)
        return "data:audio/flac;base64," + base64.b64encode(sound).decode("ascii")
