"""The job folder on the disk: its names, writes that last, and errors told plainly.

events.jsonl    the event log
plan.yaml       the plan as used
clips/          one FLAC a recorded utterance, named after the event that holds its hash
photos/         photos that were attached, named likewise
records/        imported files, named likewise
aside/          bytes that a cut write left behind the last whole event
finished.json   number and digest of the last event, written on finishing
seals.jsonl     who vouched for the log, and up to which event; see `handsfree.seal`
deleted.json    in place of all that, what is known of a job that was deleted
lock            held by the one writer
"""

from __future__ import annotations

import errno
import json
import os
import re
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.log.chain import Line

EVENTS = "events.jsonl"
PLAN = "plan.yaml"
CLIPS = "clips"
PHOTOS = "photos"
ASIDE = "aside"
RECORDS = "records"
FINISHED = "finished.json"
SEALS = "seals.jsonl"
TOMBSTONE = "deleted.json"
LOCK = "lock"

#: Rights of what a job holds: its owner's, nobody else's.
FILE_RIGHTS, FOLDER_RIGHTS = 0o600, 0o700

#: How every file of a job is opened, where the system has it: no link is followed.
PLAINLY = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)


#: Names that a file of a job may have.
_OWN = re.compile(r"(?:(?:clips|aside|photos|records)/)?[A-Za-z0-9_][A-Za-z0-9._-]{0,80}")
#: Bytes that a file may have at most, by its name; and a clip, or what was set aside.
MOST_BYTES = {EVENTS: 1 << 26, PLAN: 1 << 22, FINISHED: 1 << 12, SEALS: 1 << 20, TOMBSTONE: 1 << 14}
MOST_OF_A_CLIP = 1 << 26


@contextmanager
def told_plainly(where: Path) -> Iterator[None]:
    """Turn an error of the operating system into one for people."""
    try:
        yield
    except OSError as error:
        raise _plain(error, where) from error


def sync(descriptor: int) -> None:
    """Return once the file is on the disk."""
    if sys.platform == "darwin":  # where fsync stops at the drive's cache
        import fcntl

        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
    else:
        os.fsync(descriptor)


def sync_folder(folder: Path) -> None:
    """Return once the names in a folder are on the disk."""
    if os.name == "nt":  # a folder cannot be opened there; its names are journalled
        return
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except PermissionError:  # it may be entered but not listed, such as some home folders
        return
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_file(path: Path, data: bytes) -> None:
    """Write a whole file and return once it and its name are on the disk.

    Raises:
        OSError: it could not be written; what was begun is removed.
    """
    try:
        with open(path, "wb", buffering=0, opener=_for_the_owner) as file:
            if file.write(data) != len(data):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
            sync(file.fileno())
        sync_folder(path.parent)
    except OSError:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise


def hold(descriptor: int) -> bool:
    """Keep other writers off an open log until it is closed; False if another one holds it.

    The file `lock` does the same, but it may be deleted.  On Windows no open file can be.
    """
    if sys.platform == "win32":
        return True
    import fcntl

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _for_the_owner(path: str, flags: int) -> int:
    return os.open(path, flags | PLAINLY, FILE_RIGHTS)


class NotPlain(BadInput):
    """Something in a job folder that is no plain file of it: it is not read."""


def read_file(folder: Path, name: str) -> bytes | None:
    """A file of the job, or None if it is not there.

    The name may come from a log that a stranger wrote.  So only what stands in the folder itself
    is read: no other path, no link, no device, no pipe, and not more than any job holds.

    Raises:
        NotPlain: the name leads elsewhere, or to something else than a plain file.
        BadInput: it cannot be read.
    """
    where = folder / name
    if not _OWN.fullmatch(name):
        raise NotPlain("this is no name of a file in a job folder", where=repr(name[:100]))
    with told_plainly(where):
        if where.parent != folder:
            refuse_links(folder)
        try:
            file = open(where, "rb", opener=_without_waiting)  # noqa: SIM115 - closed below
        except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
            return None
        except OSError as error:
            if where.is_symlink() or not where.is_file():  # a link, a socket
                raise _not_plain(where) from error
            raise
        with file:
            found = os.fstat(file.fileno())
            if not stat.S_ISREG(found.st_mode) or where.is_symlink():
                raise _not_plain(where)
            most = MOST_BYTES.get(name, MOST_OF_A_CLIP)
            if found.st_size > most:
                raise NotPlain(
                    f"the file is larger than any job's, {found.st_size} bytes", where=str(where)
                )
            return file.read(most)


def refuse_links(folder: Path) -> None:
    """Nothing, if what is written into, or locked, stands in the job folder itself.

    Raises:
        NotPlain: a link leads elsewhere.
    """
    for name in (CLIPS, PHOTOS, RECORDS, ASIDE, LOCK):
        if (folder / name).is_symlink():
            what = "a link stands where something of the job itself belongs"
            raise NotPlain(what, where=str(folder / name))


def _without_waiting(path: str, flags: int) -> int:
    """Open for reading; a pipe that nobody writes to is not waited for."""
    return os.open(path, flags | PLAINLY | getattr(os, "O_NONBLOCK", 0))


def _not_plain(where: Path) -> NotPlain:
    return NotPlain("this is no plain file, so it is not read", where=str(where))


def read_log(folder: Path) -> bytes:
    """The bytes of a job's event log.

    Raises:
        BadInput: this is no job folder, or it cannot be read.
    """
    data = read_file(folder, EVENTS)
    if data is None and (tombstone := read_file(folder, TOMBSTONE)) is not None:
        raise _deleted(folder, tombstone)
    if data is None:
        raise BadInput(
            f"this is not a job folder: there is no {EVENTS}",
            where=str(folder),
            remedy="Give the folder that `handsfree dictate --job` wrote.",
        )
    return data


def _deleted(folder: Path, tombstone: bytes) -> BadInput:
    """That there was a job."""
    try:
        told = json.loads(tombstone)
        names = ("deleted", "by", "reason", "fingerprint")
        when, by, reason, mark = (str(told[name])[:200] for name in names)
    except (ValueError, KeyError, TypeError, RecursionError):
        return BadInput("this job was deleted; its tombstone was changed", where=str(folder))
    return BadInput(
        f"this job was deleted on {when} by {by}: {reason}",
        where=str(folder),
        remedy=f"Its fingerprint was {mark}.",
    )


def stored_names(folder: Path) -> list[str]:
    """Names of the files beside the log: clips, photos, and what was set aside."""
    with told_plainly(folder):
        parts = [folder / name for name in (CLIPS, PHOTOS, RECORDS, ASIDE)]
        own = [part for part in parts if not part.is_symlink()]
        stored = (path for part in own for path in sorted(part.glob("*")))
        return [path.relative_to(folder).as_posix() for path in stored]


def finish_mark(event: Line) -> bytes:
    """The content of finished.json for a log that ends with this event."""
    return f'{{"seq":{event.seq},"digest":"{event.digest}"}}\n'.encode()


def finish_flaw(mark: bytes | None, events: tuple[Line, ...]) -> str | None:
    """What finished.json and the log disagree about, or None."""
    ends = [event for event in events if event.kind == "finished"]
    if mark is None or (ends and mark == finish_mark(ends[-1])):
        return None
    return "the log does not end with the event that it was finished with"


def _plain(error: OSError, where: Path) -> BadInput:
    place = str(error.filename or where)
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT | errno.EFBIG:
            return BadInput(
                "the disk is full",
                where=place,
                remedy="Free some space, `handsfree resume` the job, and say the last value again; "
                "what was read back before is in the log.",
            )
        case errno.EROFS | errno.EACCES | errno.EPERM:
            return BadInput(
                "no permission to read or write here",
                where=place,
                remedy="Choose a folder of your own with --job, or ask for the right to this one.",
            )
        case errno.ENOTDIR | errno.EEXIST | errno.EISDIR:
            return BadInput(
                "a file stands where a folder belongs, or a folder where a file belongs",
                where=place,
                remedy="Choose another folder with --job.",
            )
    return BadInput(
        f"the disk refused: {error.strerror or error}",
        where=place,
        remedy="What was read back before is in the log. Check the disk, or go on with another.",
    )
