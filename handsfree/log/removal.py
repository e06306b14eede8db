"""What is kept no longer: recordings by a rule, or a whole job.

A recording that goes is named in the log by its hash before it goes, so the chain stays whole and
`verify` tells by which rule it went.  A job that goes leaves a tombstone: that there was one, its
fingerprint, when, by whom and why; nothing of what it held.

Files are unlinked; what a disk, its copies or a backup keep of them is not in this program's hands.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from filelock import FileLock, Timeout

from handsfree.errors import BadInput, Damaged
from handsfree.events import ClipsPurged, Keep, Logged, RemovedClip, UtteranceHeard, kept
from handsfree.events.codec import same_fields
from handsfree.log.consistency import purged_clips
from handsfree.log.folder import (
    ASIDE,
    CLIPS,
    EVENTS,
    FINISHED,
    LOCK,
    PLAN,
    SEALS,
    TOMBSTONE,
    read_file,
    refuse_links,
    stored_names,
    sync_folder,
    told_plainly,
    write_file,
)
from handsfree.log.opening import open_job, utc_now
from handsfree.log.record import JobRecord
from handsfree.log.verify import read, verify

_RULES: dict[Keep, str] = {
    "never": "no recording is kept",
    "readings": "only recordings of readings, corrections and notes are kept",
    "all": "every recording is kept",
}


@dataclass(frozen=True, slots=True)
class Rule:
    """Which recordings go.

    Attributes:
        keep: those that stay.
        older: only of jobs that began longer ago than that; None for all jobs.
    """

    keep: Keep
    older: timedelta | None = None

    def __str__(self) -> str:
        when = f", of jobs older than {self.older.days} days" if self.older else ""
        return f"{_RULES[self.keep]}{when}"

    def holds(self, record: JobRecord, now: datetime) -> bool:
        """Whether a job is one of those."""
        if self.older is None:
            return True
        with suppress(ValueError):
            return now - datetime.fromisoformat(record.began) > self.older
        return False


def to_purge(record: JobRecord, rule: Rule, now: datetime) -> tuple[RemovedClip, ...]:
    """The recordings of a job that go by a rule, and have not gone yet."""
    if rule.keep == "all" or not rule.holds(record, now):
        return ()
    gone = {clip for line in read(record.folder) for clip in purged_clips(line)}
    found = []
    for heard, events in _utterances(record.events):
        sha = heard.fields.get("clip_sha256")
        if heard.clip is None or not isinstance(sha, str) or (heard.clip, sha) in gone:
            continue
        if not kept(rule.keep, [logged.event for logged in events]):
            found.append(RemovedClip(heard.clip, sha))
    return tuple(found)


def purge(job: Path, rule: Rule, by: str, clock: Callable[[], datetime] = utc_now) -> int:
    """Remove recordings of a job by a rule; the log says so first.

    What an earlier purge has told of and not removed, since it was cut short, goes as well.

    Args:
        job: its folder; it may be finished.
        rule: which of them.
        by: who has it done.
        clock: gives the time.

    Returns:
        How many files were removed.

    Raises:
        BadInput: somebody is writing to the job, or nobody is named.
        Damaged: the log is not as it was written.
    """
    if not by.strip():
        raise BadInput("who has it done?", where="--by", remedy="The log tells it.")
    if problems := verify(job).problems:
        raise Damaged(f"nothing is removed from a damaged job: {problems[0]}", where=str(job))
    record = JobRecord.read(job)
    clips = to_purge(record, rule, clock())
    if clips:
        plan = read_file(job, PLAN) or b""
        title = record.opened.plan_title if record.opened else ""
        with open_job(job, plan, title=title, clock=clock, afterwards=True) as log:
            kind, fields = same_fields(ClipsPurged(str(rule), by.strip(), clips))
            log.append(kind, **fields)
    names = {name for line in read(job) for name, _ in purged_clips(line)}
    return _unlink(job, sorted(names & set(stored_names(job))))


def _utterances(events: Iterable[Logged]) -> list[tuple[Logged, list[Logged]]]:
    """Each utterance with what came of it."""
    found: list[tuple[Logged, list[Logged]]] = []
    for logged in events:
        if isinstance(logged.event, UtteranceHeard):
            found.append((logged, []))
        elif found:
            found[-1][1].append(logged)
    return found


#: Further files of a job, by their names: reports with their seals, stamps, what was cut short.
_MADE = re.compile(r"(?:report[\w.-]*|seal-\d+\.tsr|finished\.new)")


def delete(
    job: Path, by: str, reason: str, clock: Callable[[], datetime] = utc_now
) -> tuple[str, ...]:
    """Delete a job but for a tombstone.

    Args:
        job: its folder.
        by, reason: who has it done, and why; the tombstone tells both.
        clock: gives the time.

    Returns:
        Names of what stands in the folder and is none of the job's: it is left.

    Raises:
        BadInput: it is no job folder, somebody is writing to it, or nobody or no reason is named.
    """
    if not by.strip() or not reason.strip():
        raise BadInput("who has it deleted, and why?", where="--by, --reason")
    found, lines = verify(job), read(job)
    refuse_links(job)
    lock = FileLock(job / LOCK, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise BadInput("a dictation is writing to this job", where=str(job)) from None
    try:
        told = {
            "deleted": clock().astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            "by": by.strip(),
            "reason": reason.strip(),
            "job": lines[0].digest if lines else "",
            "events": len(lines),
            "state": found.state,
            "fingerprint": found.fingerprint,
        }
        with told_plainly(job):
            text = json.dumps(told, ensure_ascii=False, indent=1)
            write_file(job / TOMBSTONE, text.encode() + b"\n")
            made = [path.name for path in sorted(job.iterdir()) if _MADE.fullmatch(path.name)]
            _unlink(job, [*stored_names(job), *made, SEALS, FINISHED, PLAN, EVENTS])
            for folder in (CLIPS, ASIDE):
                with suppress(OSError):
                    (job / folder).rmdir()
    finally:
        lock.release()
    with told_plainly(job):
        (job / LOCK).unlink(missing_ok=True)
        return tuple(sorted(path.name for path in job.iterdir() if path.name != TOMBSTONE))


def _unlink(job: Path, names: Iterable[str]) -> int:
    """Remove files of a job; a link goes itself, not what it leads to."""
    count = 0
    with told_plainly(job):
        for name in names:
            path = job / name
            if path.is_symlink() or path.is_file():
                path.unlink()
                count += 1
        for folder in (job / CLIPS, job):
            if folder.is_dir():
                sync_folder(folder)
    return count
