"""A folder of jobs and its index, held together: the jobs are the truth."""

from __future__ import annotations

import os
import re
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from handsfree.errors import BadInput, Damaged
from handsfree.log import JobRecord, chain, verify
from handsfree.log.folder import EVENTS, PLAN, read_file, read_log
from handsfree.review.index import JobIndex, JobPlace
from handsfree.review.places import index_folder
from handsfree.review.summary import ID_DIGITS, Summary, identity, summarised, summary_of
from handsfree.review.tables import local_engine

#: Seconds between two looks at the folder, and between two at each log in it: in between, logs that
#: are known and were not written to for so long are taken to be as they were.
LOOKED_EVERY, ALL_EVERY, SETTLED_AFTER = 2.0, 60.0, 24 * 3600.0
#: Jobs that are taken up in one transaction.
AT_ONCE = 50

#: Of a log: bytes, and when it was changed, in nanoseconds since the epoch.
_LogState = tuple[int, int]

JOB_ID = re.compile(rf"[0-9a-f]{{{ID_DIGITS}}}")


def local_index(jobs: Path) -> JobIndex:
    """The index of a folder of jobs, in the user's cache; it may be deleted at any time."""
    name = sha256(os.fsencode(jobs.resolve())).hexdigest()[:16]
    return JobIndex(local_engine(index_folder() / f"{name}.sqlite"))


@dataclass(frozen=True, slots=True)
class OneJob:
    """A job that is looked at.

    Attributes:
        id: in the index.
        record: its plan and its events.
        folder: where it is; None if only what was published of it is there.
    """

    id: str
    record: JobRecord
    folder: Path | None


class Shop:
    """The jobs that can be reviewed.

    Args:
        jobs: folder that holds the job folders.
        index: of them.
        shared: whether the index is one that workshops publish to; else it follows the folder.
        clock: seconds, only ever going up.
    """

    def __init__(
        self,
        jobs: Path,
        index: JobIndex,
        *,
        shared: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.jobs, self.index, self.shared = jobs, index, shared
        self._clock = clock
        self._looked = -LOOKED_EVERY
        self._looked_at_all = -ALL_EVERY
        self._looking = threading.Lock()
        self._known = {} if shared else index.places()

    def look(self, told: Callable[[int, int], object] = lambda done, of: None) -> None:
        """Take up what is new or changed in the folder, unless that was just done.

        Args:
            told: called with how many jobs of how many are read.
        """
        if self.shared or self._clock() - self._looked < LOOKED_EVERY:
            return
        with self._looking:
            there = dict(_logs(self.jobs, self._settled()))
            new = [name for name, state in there.items() if self._known.get(name) != state]
            for begin in range(0, len(new), AT_ONCE):
                batch = new[begin : begin + AT_ONCE]
                self.index.put([found for name in batch for found in self._read(name, there[name])])
                self._known.update({name: there[name] for name in batch})
                told(begin + len(batch), len(new))
            gone = self._known.keys() - there.keys()
            if gone:
                self.index.drop(gone)
                for name in gone:
                    del self._known[name]
            self._looked = self._clock()

    def _settled(self) -> dict[str, _LogState]:
        """Logs that need no look now."""
        now = self._clock()
        if now - self._looked_at_all >= ALL_EVERY:
            self._looked_at_all = now
            return {}
        since = time.time_ns() - int(SETTLED_AFTER * 1e9)
        return {name: state for name, state in self._known.items() if state[1] < since}

    def again(self, job: OneJob) -> None:
        """Take up a job that was added to."""
        if job.folder is None:
            return
        if self.shared:
            row = self.index.job(job.id)
            publish(job.folder, self.index, row.workshop if row else "")
            return
        with self._looking:
            name = job.folder.name
            found = (job.folder / EVENTS).stat()
            state = (found.st_size, found.st_mtime_ns)
            self.index.put(self._read(name, state))
            self._known[name] = state

    def open(self, job_id: str) -> OneJob | None:
        """A job by its id; None if there is none.

        Raises:
            BadInput, Damaged: it cannot be read.
        """
        row = self.index.job(job_id) if JOB_ID.fullmatch(job_id) else None
        if row is None:
            return None
        folder = self._folder(row.folder, job_id)
        if folder is not None:
            return OneJob(job_id, JobRecord.read(folder), folder)
        copy = self.index.published(job_id)
        if copy is None:
            return None
        log, plan_text = copy
        record = JobRecord.of(Path(row.folder), plan_text, chain.scan(log).events)
        return OneJob(job_id, record, None)

    def _folder(self, name: str, job_id: str) -> Path | None:
        """The folder of a job, if it is here and holds that job."""
        folder = self.jobs / name
        if folder.parent != self.jobs or folder.is_symlink() or not folder.is_dir():
            return None
        if self.shared:
            events = chain.scan(read_file(folder, EVENTS) or b"").events
            if not events or identity(events) != job_id:
                return None
        return folder

    def _read(self, name: str, state: _LogState) -> list[tuple[Summary, JobPlace]]:
        """A job, under an id of its folder: of a job and its copy both are shown."""
        try:
            found = summary_of(self.jobs / name)
        except BadInput as error:
            found = Summary("", damage=error.what[:200])
        own = sha256(f"{found.id}/".encode() + os.fsencode(name)).hexdigest()[:ID_DIGITS]
        return [(replace(found, id=own), JobPlace(name, *state))]


def publish(folder: Path, index: JobIndex, workshop: str) -> bool:
    """Put a job into an index that several workshops share; again, if it has grown.

    Returns:
        False if it was there already, as it is.

    Raises:
        BadInput: this is no job folder, or the index holds a later state of the job.
        Damaged: the job is damaged, or the index holds another course of it.
    """
    check = verify(folder)
    if not check.ok:
        raise Damaged(
            "a damaged job is not published",
            where=str(folder),
            remedy="`handsfree verify` lists all damage.",
        )
    log, plan = read_log(folder), read_file(folder, PLAN) or b""
    log = log[: log.rfind(b"\n") + 1]
    summary = summarised(log, plan.decode(errors="replace"))
    known = index.published(summary.id)
    if known is not None and known[0] == log:
        return False
    if known is not None and known[0].startswith(log):
        raise BadInput("the index holds a later state of this job", where=str(folder))
    if known is not None and not log.startswith(known[0]):
        raise Damaged(
            "the index holds this job with another course",
            where=str(folder),
            remedy="One of the two was rewritten. Compare their fingerprints.",
        )
    name = folder.resolve().name
    place = JobPlace(name, len(log), 0, workshop or "workshop")
    index.put([(summary, place)], log=log, plan_text=plan.decode(errors="replace"))
    return True


def _logs(jobs: Path, settled: Mapping[str, _LogState]) -> Iterator[tuple[str, _LogState]]:
    """Each job folder with size and time of its log; those that are settled are not looked at."""
    with os.scandir(jobs) as entries:
        for entry in entries:
            if not entry.is_dir(follow_symlinks=False):
                continue
            if known := settled.get(entry.name):
                yield entry.name, known
                continue
            try:
                found = os.stat(f"{entry.path}/{EVENTS}", follow_symlinks=False)  # noqa: PTH116
            except OSError:
                continue
            yield entry.name, (found.st_size, found.st_mtime_ns)
