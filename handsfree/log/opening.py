"""Opening a job: begin its log, or go on where it ends. One writer at a time."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from filelock import BaseFileLock, FileLock, Timeout

from handsfree.errors import BadInput, Damaged
from handsfree.events import Event, JobOpened, JobTakenUp
from handsfree.events.codec import same_event, same_fields
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.consistency import contradictions, event_of_clip, proof_of_more
from handsfree.log.folder import (
    ASIDE,
    CLIPS,
    EVENTS,
    FILE_RIGHTS,
    FINISHED,
    FOLDER_RIGHTS,
    LOCK,
    PLAINLY,
    PLAN,
    finish_flaw,
    hold,
    read_file,
    read_log,
    refuse_links,
    stored_names,
    sync,
    sync_folder,
    told_plainly,
    write_file,
)
from handsfree.log.writer import JobLog

FORMAT = 1


def utc_now() -> datetime:
    """The time of the machine's clock."""
    return datetime.now(UTC)


def open_job(
    folder: Path,
    plan: bytes,
    *,
    title: str,
    details: Mapping[str, Any] | None = None,
    route: str = "",
    verbosity: str = "",
    keep: str = "",
    taken_up_by: str = "",
    clock: Callable[[], datetime] = utc_now,
    afterwards: bool = False,
) -> JobLog:
    """Begin a job, or go on with it; the log is then locked against a second writer.

    Going on moves what a cut write left behind the last event to aside/, and a `resumed` event
    says how many bytes. `JobLog.lines` holds what is already there. A finished job is read-only.

    Args:
        folder: made if it is not there.
        plan: the exact bytes of the plan file.
        title: the plan's title, for people.
        details: further fields of the `opened` event: `subject`, what is tested, by whom and for
            which order; `follows`, the fingerprint of the finished job that this one goes on from.
        route, verbosity, keep: how it is dictated, so that it can go on so.
        taken_up_by: who tests from now on, if that is another one and the job goes on.
        clock: gives the time of an event, with its zone.
        afterwards: only for what may follow the end of a job (`AFTERWARDS`); a finished job may be
            opened so, and no `resumed` event is written.

    Raises:
        BadInput: the job is finished, belongs to another plan or was opened with other details,
            another dictation is writing to it, the folder holds something else or cannot be
            written, or the disk is full.
        Damaged: the log is not as it was written, so nothing may be added to it.
    """
    with told_plainly(folder):
        if not read_file(folder, EVENTS):
            _refuse_foreign_folder(folder, plan)
        folder.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir(FOLDER_RIGHTS, exist_ok=True)
        refuse_links(folder)
        lock = FileLock(folder / LOCK, mode=FILE_RIGHTS, thread_local=False)
        try:
            lock.acquire(timeout=0)
        except Timeout:
            raise _another_writer(folder) from None
        try:
            manner = None if afterwards else (route, verbosity, keep, taken_up_by)
            return _take_up(folder, plan, title, details or {}, manner, lock, clock)
        except BaseException:
            lock.release()
            raise


def open_for_review(folder: Path, clock: Callable[[], datetime] = utc_now) -> JobLog:
    """Open a job to add what a review finds, also a finished one; nothing else may be written.

    Raises:
        BadInput: this is no job folder, another program is writing to it, its last write was cut
            short, or it cannot be written.
        Damaged: the log is not as it was written, so nothing may be added to it.
    """
    with told_plainly(folder):
        read_log(folder)  # before a lock is made in a folder that is none
        refuse_links(folder)
        lock = FileLock(folder / LOCK, mode=FILE_RIGHTS, thread_local=False)
        try:
            lock.acquire(timeout=0)
        except Timeout:
            raise _another_writer(folder) from None
        try:
            return _to_its_end(folder, lock, clock)
        except BaseException:
            lock.release()
            raise


def _to_its_end(folder: Path, lock: BaseFileLock, clock: Callable[[], datetime]) -> JobLog:
    """The log, open where it ends."""
    data = read_log(folder)
    log = chain.scan(data)
    _refuse_damage(folder, log)
    if log.tail:
        raise BadInput(
            "the last write of this job was cut short",
            where=str(folder),
            remedy="`handsfree resume` the job once; it sets aside what was begun.",
        )
    _opened(folder, log.events[0])
    descriptor = os.open(folder / EVENTS, os.O_RDWR | os.O_APPEND | PLAINLY, FILE_RIGHTS)
    try:
        if not hold(descriptor) or os.fstat(descriptor).st_size != len(data):
            raise _another_writer(folder)
        lengths = (len(line) + 1 for line in data.split(b"\n"))
        return JobLog(folder, descriptor, lock, clock, zip(log.events, lengths, strict=False))
    except BaseException:
        os.close(descriptor)
        raise


def _take_up(
    folder: Path,
    plan: bytes,
    title: str,
    details: Mapping[str, Any],
    manner: tuple[str, str, str, str] | None,
    lock: BaseFileLock,
    clock: Callable[[], datetime],
) -> JobLog:
    data = read_file(folder, EVENTS) or b""
    log = chain.scan(data)
    _refuse_damage(folder, log)
    if log.events:
        opened = _opened(folder, log.events[0])
        _refuse_other_plan(folder, opened, plan, title)
        if manner is not None:
            _refuse_finished(folder, log.events)
        _refuse_other_details(folder, opened, details)
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | PLAINLY
    descriptor = os.open(folder / EVENTS, flags, FILE_RIGHTS)
    try:
        if not hold(descriptor) or os.fstat(descriptor).st_size != len(data):
            raise _another_writer(folder)
        if not log.events:
            write_file(folder / PLAN, plan)
        (folder / CLIPS).mkdir(FOLDER_RIGHTS, exist_ok=True)
        cut = _set_aside(folder, log, descriptor, len(data))
        sync_folder(folder)
        sync_folder(folder.parent)
        lengths = (len(line) + 1 for line in data.split(b"\n"))
        job = JobLog(folder, descriptor, lock, clock, zip(log.events, lengths, strict=False))
        route, verbosity, keep, technician = manner or ("", "", "", "")
        if not log.events:
            opened = JobOpened(FORMAT, PLAN, title, chain.digest(plan), **details)
            _append(job, replace(opened, route=route, verbosity=verbosity, keep=keep))
        if data and (manner is not None or log.tail):
            again = replace(cut, route=route, verbosity=verbosity, keep=keep)
            _append(job, replace(again, technician=technician))
    except BaseException:
        os.close(descriptor)
        raise
    return job


def _another_writer(folder: Path) -> BadInput:
    return BadInput(
        "another dictation is writing to this job",
        where=str(folder),
        remedy="End the other one first, or choose another folder with --job.",
    )


def _opened(folder: Path, first: Line) -> JobOpened:
    event = same_event(first.kind, first.fields) if first.kind == "opened" else None
    if not isinstance(event, JobOpened):
        raise Damaged(f"{EVENTS} does not begin with the job's opening", where=str(folder))
    return event


def _append(job: JobLog, event: Event) -> None:
    kind, fields = same_fields(event)
    job.append(kind, **fields)


def _set_aside(folder: Path, log: chain.Scan, descriptor: int, length: int) -> JobTakenUp:
    """Move the tail to a file of its own; return the event that tells of it."""
    if not log.tail:
        return JobTakenUp()
    digest = chain.digest(log.tail)
    name = f"{ASIDE}/{len(log.events) + 1:05d}-{digest[:8]}.bin"
    (folder / ASIDE).mkdir(FOLDER_RIGHTS, exist_ok=True)
    write_file(folder / name, log.tail)
    os.ftruncate(descriptor, length - len(log.tail))
    sync(descriptor)
    return JobTakenUp(len(log.tail), name, digest)


def _refuse_damage(folder: Path, log: chain.Scan) -> None:
    what = finish_flaw(read_file(folder, FINISHED), log.events)
    clips = any((folder / CLIPS).glob("*"))
    flaws = log.flaws or contradictions(log.events)
    proof = proof_of_more(stored_names(folder), log.events)
    if flaws:
        what = f"{EVENTS}, line {flaws[0].line}: {flaws[0].what}"
    elif not log.events and (clips or chain.holds_whole_event(log.tail)):
        what = f"{EVENTS} does not begin with the job's opening"
    elif proof:
        what = (
            f"the log was longer: {proof} comes of event {event_of_clip(proof)}, which is cut off"
        )
    if what:
        raise Damaged(
            what,
            where=str(folder),
            remedy="`handsfree verify` lists all damage. Go on in a new job folder.",
        )


def _refuse_finished(folder: Path, events: Iterable[Line]) -> None:
    if any(event.kind == "finished" for event in events):
        raise BadInput(
            "this job is finished, and stays as it is",
            where=str(folder),
            remedy=f"Go on in a new job that names it: handsfree dictate PLAN --after {folder}",
        )


def _refuse_other_details(folder: Path, opened: JobOpened, details: Mapping[str, Any]) -> None:
    other = [name for name, given in details.items() if getattr(opened, name) != given]
    if other:
        raise BadInput(
            f"this job was opened with another {' and '.join(other)}",
            where=str(folder),
            remedy="Leave these options out to go on with it, or begin a new job folder.",
        )


def _refuse_other_plan(folder: Path, opened: JobOpened, plan: bytes, title: str) -> None:
    if chain.digest(plan) != opened.plan_sha256:
        own = opened.plan_title
        raise BadInput(
            f"the plan “{title}” was changed since this job began"
            if own == title
            else f"this job belongs to the plan “{own}”, not to “{title}”",
            where=str(folder),
            remedy=f"Go on with {folder / PLAN}, or begin a new job folder.",
        )
    if read_file(folder, PLAN) != plan:
        raise Damaged(
            f"{PLAN} is not the plan that the job was opened with",
            where=str(folder),
            remedy="Put back the plan that the job began with, or begin a new job folder.",
        )


def _refuse_foreign_folder(folder: Path, plan: bytes) -> None:
    """A new job takes an empty folder, or one where the beginning of this job was cut short."""
    if not folder.exists():
        return
    others = {entry.name for entry in folder.iterdir()} - {LOCK, EVENTS, PLAN, CLIPS}
    clips = any((folder / CLIPS).glob("*"))
    if others or clips or not plan.startswith(read_file(folder, PLAN) or b""):
        raise BadInput(
            "the folder holds other files and no log",
            where=str(folder),
            remedy="Choose a new or an empty folder with --job.",
        )
