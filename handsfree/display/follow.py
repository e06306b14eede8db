"""Following a job: the events of its log, and those that another process adds meanwhile."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.events import Codec, Logged
from handsfree.log.chain import decode
from handsfree.log.folder import EVENTS, PLAN
from handsfree.log.record import plan_text
from handsfree.plan import parse_plan

LOOK_EVERY = 0.1
"""Seconds between two looks at the log."""


class Followed:
    """A job that somebody else may be writing to.

    Args:
        folder: of the job.

    Attributes:
        plan: as used.

    Raises:
        BadInput: this is no job folder.
        Damaged: its plan is gone.
    """

    def __init__(self, folder: Path) -> None:
        self.plan = parse_plan(plan_text(folder), str(folder / PLAN))
        self._folder = folder
        self._codec = Codec(self.plan)

    def events(self) -> Iterator[Logged]:
        """Each event, first those that are there, then the others as they come; no end.

        Lines that are no events are left out: whether the log is sound is for `verify` to say.

        Raises:
            BadInput: the log cannot be read, or is gone.
        """
        path, place, rest = self._folder / EVENTS, 0, b""
        while True:
            try:
                with path.open("rb") as log:
                    log.seek(place)
                    data = log.read()
            except OSError as error:
                raise BadInput(
                    f"the log cannot be read any more: {error.strerror}", where=str(path)
                ) from error
            place += len(data)
            *lines, rest = (rest + data).split(b"\n")
            for text in lines:
                if logged := self._event(text):
                    yield logged
            time.sleep(LOOK_EVERY)

    def _event(self, text: bytes) -> Logged | None:
        try:
            line = decode(text + b"\n")
            return self._codec.read(line.seq, line.time, line.kind, line.fields)
        except (ValueError, KeyError):
            return None
