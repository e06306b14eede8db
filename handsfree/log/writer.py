"""Writing the log: every event is on the disk before `append` returns.

The log is JSON lines with an fsync for each, and not a database, because

- it is evidence: any editor reads it in twenty years, and the hashes are over the very bytes
  that one sees;
- a line is one write followed by an fsync, and is acknowledged only after it. What a kill or a
  power cut leaves half-written is therefore always the last line, and by construction was never
  read back to anyone;
- a few events a minute need nothing faster.

An audio clip is on the disk, with its name, before the event that holds its hash.

Before and after each write the log must be as this writer left it.  If it was removed, moved, cut
or changed by somebody else, the writer says so and takes nothing more: what it would acknowledge
would not be there.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import BaseFileLock

from handsfree.errors import Damaged
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.folder import (
    CLIPS,
    EVENTS,
    FINISHED,
    FOLDER_RIGHTS,
    PHOTOS,
    RECORDS,
    finish_mark,
    read_file,
    sync,
    sync_folder,
    told_plainly,
    write_file,
)


class JobLog:
    """The one writer of a job folder. Made by `open_job`; use it from one thread.

    Args:
        folder: the job folder.
        descriptor: the event log, open for appending; closed by `close`.
        lock: held; released by `close`.
        clock: gives the time of an event, with its zone.
        written: each event already there, with the length in bytes of its line.
    """

    def __init__(
        self,
        folder: Path,
        descriptor: int,
        lock: BaseFileLock,
        clock: Callable[[], datetime],
        written: Iterable[tuple[Line, int]],
    ) -> None:
        self.folder = folder
        self._descriptor = descriptor
        self._lock = lock
        self._clock = clock
        self._torn = False  # a line of ours that was cut short may stand at the end
        self._lost: Damaged | None = None  # why nothing more is taken
        self._ends: list[tuple[Line, int]] = []  # each event with the log's length after it
        for event, length in written:
            self._ends.append((event, self._end + length))
        self._left = self._state()

    @property
    def lines(self) -> tuple[Line, ...]:
        """All lines of the job so far, those of earlier sessions included."""
        return tuple(event for event, _ in self._ends)

    def now(self) -> datetime:
        """The time by the clock of the log, UTC."""
        return self._clock().astimezone(UTC)

    def append(
        self,
        kind: str,
        sound: bytes | None = None,
        photo: tuple[str, bytes] | None = None,
        /,
        **fields: object,
    ) -> Line:
        """Write an event; when this returns it is on the disk.

        Args:
            kind: what happened. `finished` is to be the last event of a session.
            sound: a recorded utterance as FLAC; it is stored as a clip, and the event gets its
                name and hash as `clip` and `clip_sha256`.
            photo: the ending of its name, and its bytes; stored likewise, as `photo` and
                `photo_sha256`.
            fields: JSON values. `supersedes` and `struck` hold the `seq` of an earlier reading.

        Raises:
            BadInput: the disk is full or refuses; the event is not in the log, all earlier ones
                are, and the next append may be tried.
            Damaged: the log was removed, moved or changed by somebody else; nothing is taken
                any more.
            ValueError, TypeError: a field has a reserved name or is not JSON, or the log is
                closed.
        """
        if self._descriptor < 0:
            raise ValueError("the log is closed")
        self._guard()
        seq, prev = 1, chain.NOTHING
        if self._ends:
            last = self._ends[-1][0]
            seq, prev = last.seq + 1, last.digest
        time = self.now().isoformat(timespec="microseconds")
        if sound is not None:
            clip = f"{CLIPS}/{seq:05d}.flac"
            fields |= {"clip": clip, "clip_sha256": chain.digest(sound)}
        if photo is not None:
            picture = f"{PHOTOS}/{seq:05d}{photo[0]}"
            fields |= {"photo": picture, "photo_sha256": chain.digest(photo[1])}
        line = chain.encode(seq, time.replace("+00:00", "Z"), kind, fields, prev)
        event = chain.decode(line)
        with told_plainly(self.folder):
            if sound is not None:
                write_file(self.folder / clip, sound)
            if photo is not None:
                (self.folder / PHOTOS).mkdir(FOLDER_RIGHTS, exist_ok=True)
                write_file(self.folder / picture, photo[1])
            if kind == "finished":
                self._finish(line, event)
            else:
                self._write(line, event)
        return event

    def keep(self, data: bytes, ending: str) -> tuple[str, str]:
        """Put a file beside the log, which the next event is to name; returns name and SHA-256.

        Args:
            data: its bytes.
            ending: of its name, such as ".csv".

        Raises:
            BadInput, Damaged: as of `append`.
        """
        self._guard()
        name = f"{RECORDS}/{len(self._ends) + 1:05d}{ending}"
        with told_plainly(self.folder):
            (self.folder / RECORDS).mkdir(FOLDER_RIGHTS, exist_ok=True)
            write_file(self.folder / name, data)
        return name, chain.digest(data)

    def close(self) -> None:
        """Give the job free for another writer. The log stays as it is."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def _end(self) -> int:
        """Length of the log in bytes after the last acknowledged event."""
        return self._ends[-1][1] if self._ends else 0

    def _write(self, line: bytes, event: Line) -> None:
        """One write and one fsync; on any failure or interrupt the line is cut off again."""
        try:
            if self._torn:  # an earlier cut failed
                os.ftruncate(self._descriptor, self._end)
            self._torn = True
            if os.write(self._descriptor, line) != len(line):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            sync(self._descriptor)
        except BaseException:
            with suppress(OSError):
                os.ftruncate(self._descriptor, self._end)
                sync(self._descriptor)
                self._torn = False
            with suppress(OSError):
                self._left = self._state()
            raise
        self._torn = False
        self._ends.append((event, self._end + len(line)))
        self._left = self._state()
        self._guard()

    def _state(self) -> tuple[int, ...]:
        """What tells that nobody else has touched the log; the clock of the disk is coarse."""
        found = os.fstat(self._descriptor)
        return found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns

    def _guard(self) -> None:
        """Nothing, if the log is where and as it was left.

        Raises:
            Damaged: it is not, now or earlier.
        """
        if self._lost is None and (what := self._trouble()):
            self._lost = Damaged(
                what,
                where=str(self.folder / EVENTS),
                remedy="What was read back before may be gone with it, and nothing was taken "
                "since. `handsfree verify` tells what is left, `handsfree recover` saves it.",
            )
        if self._lost is not None:
            raise self._lost

    def _trouble(self) -> str | None:
        """What somebody else did to the log, or None."""
        path = self.folder / EVENTS
        try:
            named = path.stat(follow_symlinks=False)
        except OSError:
            return "the log was removed or moved while it was written"
        if (named.st_dev, named.st_ino) != self._left[:2]:
            return "another file stands in place of the log"
        if (named.st_size, named.st_mtime_ns) == self._left[2:]:
            return None
        if named.st_size < self._end:
            return "the log was cut while it was written"
        kept = read_file(self.folder, EVENTS) or b""
        if (len(kept) > self._end and not self._torn) or not self._holds(kept):
            return "the log was changed while it was written"
        self._left = self._state()
        return None

    def _holds(self, kept: bytes) -> bool:
        """Whether these bytes begin with all that was written."""
        begin = 0
        for event, end in self._ends:
            if chain.digest(kept[begin:end]) != event.digest:
                return False
            begin = end
        return True

    def _finish(self, line: bytes, event: Line) -> None:
        """The finishing mark is made ready first, for the disk may be full."""
        mark = self.folder / FINISHED
        ready = mark.with_suffix(".new")
        write_file(ready, finish_mark(event))
        self._write(line, event)
        ready.replace(mark)
        sync_folder(self.folder)
