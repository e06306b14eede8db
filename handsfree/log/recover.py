"""Recovering a job: what is whole of a damaged one, up to the damage, goes on as a new job.

The damaged job stays as it is.  The new log begins with the very bytes of the old one, so that a
fingerprint of that time still fits; then an event tells what it was recovered from, and what is
missing.  What stands behind the damage is not taken over, though it may be read: nobody can say
any more whether it was written so.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from handsfree.errors import BadInput, Damaged
from handsfree.events import JobOpened, JobRecovered
from handsfree.events.codec import same_event, same_fields
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.consistency import contradictions, proof_of_more, purged_clips
from handsfree.log.folder import (
    ASIDE,
    CLIPS,
    EVENTS,
    FINISHED,
    FOLDER_RIGHTS,
    PHOTOS,
    PLAN,
    RECORDS,
    NotPlain,
    finish_flaw,
    read_file,
    read_log,
    stored_names,
    told_plainly,
    write_file,
)
from handsfree.log.opening import open_job
from handsfree.log.verify import verify

MOST_LISTED = 100
"""Readings and files that are told to be missing; the others are counted."""


@dataclass(frozen=True, slots=True)
class Recovery:
    """What became of a damaged job.

    Attributes:
        folder: of the new job.
        kept: events that were taken over.
        missing: what was not, a line each.
    """

    folder: Path
    kept: int
    missing: tuple[str, ...]


def recover(damaged: Path, target: Path, plan: bytes | None = None) -> Recovery:
    """Make a new job of what is whole of a damaged one.

    Args:
        damaged: its folder; nothing in it is changed.
        target: folder of the new job; must not be there yet.
        plan: the plan, if that of the damaged job is gone; None to take the one that is there.

    Raises:
        BadInput: nothing is damaged, the target is there, or it cannot be written.
        Damaged: not even the opening is whole, or the plan is gone, or nothing but sound is
            missing, which nobody can make again.
    """
    data = read_log(damaged)
    if verify(damaged).ok:
        raise BadInput("this job is not damaged", where=str(damaged), remedy="Go on with it.")
    if target.exists():
        raise BadInput(
            "there is something already", where=str(target), remedy="Choose another with --to."
        )
    log = chain.scan(data)
    kept = _whole(damaged, log)
    opened = _opening(damaged, kept)
    used = _plan(damaged, opened, plan)
    missing = (*_behind(log, kept), *_files(damaged, kept))
    _copy(damaged, target, data, kept, used)
    event = JobRecovered(damaged.name, chain.digest(data), len(kept), missing)
    with open_job(target, used, title=opened.plan_title) as new:
        kind, fields = same_fields(event)
        new.append(kind, **fields)
    return Recovery(target, len(kept), missing)


def _whole(folder: Path, log: chain.Scan) -> tuple[Line, ...]:
    """The events before the first that is not as it was written; none from the end of a job on.

    Where a line does not follow from the one before, either may be forged: both are left out.
    """
    first = min((flaw.line for flaw in log.flaws), default=len(log.events) + 1)
    if any(flaw.line == first and flaw.what == chain.NO_FOLLOWER for flaw in log.flaws):
        first -= 1
    first = min([first, *(flaw.line for flaw in contradictions(log.events))])
    kept = [event for event in log.events if event.seq < first]
    ends = [event.seq for event in kept if event.kind == "finished"]
    if ends:
        if len(kept) == len(log.events) and not finish_flaw(_mark(folder), log.events):
            raise Damaged(
                "the log itself is whole; what is gone beside it, nobody can make again",
                where=str(folder),
                remedy="`handsfree verify` tells what it is. Put it back from a copy.",
            )
        kept = kept[: ends[0] - 1]
    return tuple(kept)


def _mark(folder: Path) -> bytes | None:
    try:
        return read_file(folder, FINISHED)
    except NotPlain:
        return b""


def _opening(folder: Path, kept: tuple[Line, ...]) -> JobOpened:
    event = None
    if kept and kept[0].kind == "opened":
        try:
            event = same_event(kept[0].kind, kept[0].fields)
        except ValueError:
            event = None
    if not isinstance(event, JobOpened):
        raise Damaged(
            "not even the opening of the job is whole, so nothing can be recovered",
            where=str(folder),
            remedy="Measure again in a new job. The sound in clips/ may help you remember.",
        )
    return event


def _plan(folder: Path, opened: JobOpened, given: bytes | None) -> bytes:
    try:
        found = read_file(folder, PLAN) if given is None else given
    except NotPlain:
        found = None
    if found is None or chain.digest(found) != opened.plan_sha256:
        raise Damaged(
            "the plan that the job was opened with is gone or changed",
            where=str(folder / PLAN),
            remedy="Give the plan as it was then with --plan FILE.",
        )
    return found


def _behind(log: chain.Scan, kept: tuple[Line, ...]) -> list[str]:
    """What of the log is not taken over."""
    rest = log.events[len(kept) :]
    told = [f"{_counted(len(rest), 'event')} from event {len(kept) + 1} on"] if rest else []
    if log.tail:
        told.append(f"{len(log.tail)} bytes at the end of the log, which are no whole event")
    readings = [_reading(event) for event in rest if event.kind == "reading"]
    return told + _bounded(readings, "reading")


def _reading(event: Line) -> str:
    """A reading behind the damage, as it stands there; it may have been changed."""
    told = (event.fields.get(name) for name in ("step", "spoken", "value", "unit"))
    step, spoken, value, unit = (None if one is None else str(one)[:40] for one in told)
    shown = " ".join(filter(None, (spoken or value, unit))) or "over limit"
    return f"a reading at {step}, said to be {shown} (event {event.seq}): measure again"


def _files(folder: Path, kept: tuple[Line, ...]) -> list[str]:
    """Sound that is gone, and sound that no kept event names."""
    named, gone = set(), []
    removed = {clip for event in kept for clip in purged_clips(event)}
    for event in kept:
        for role, name, expected in event.files:
            named.add(name)
            if role == "plan" or (name, expected) in removed:
                continue
            if _digest(folder, name) != expected:
                gone.append(f"{name[:100]}: the {role} of event {event.seq} is gone or changed")
    other = [name for name in stored_names(folder) if name not in named]
    stray = [f"{name}: it belongs to no event that was taken over" for name in other]
    if (proof := proof_of_more(other, kept)) and not gone:
        stray.append(f"the log was longer than it is: {proof} comes of an event that is cut off")
    return _bounded(gone, "file") + _bounded(stray, "file")


def _digest(folder: Path, name: str) -> str | None:
    try:
        data = read_file(folder, name)
    except NotPlain:
        return None
    return None if data is None else chain.digest(data)


def _copy(folder: Path, target: Path, data: bytes, kept: tuple[Line, ...], plan: bytes) -> None:
    """The plan, what the kept events name, and then their very lines."""
    with told_plainly(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        for made in (target, target / CLIPS, target / PHOTOS, target / ASIDE):
            made.mkdir(FOLDER_RIGHTS)
        if any(role == "record" for event in kept for role, _, _ in event.files):
            (target / RECORDS).mkdir(FOLDER_RIGHTS)
        write_file(target / PLAN, plan)
        for event in kept:
            for role, name, expected in event.files:
                if role != "plan" and _digest(folder, name) == expected:
                    write_file(target / name, read_file(folder, name) or b"")
        write_file(target / EVENTS, b"".join(islice(io.BytesIO(data), len(kept))))


def _bounded(told: list[str], what: str) -> list[str]:
    if len(told) <= MOST_LISTED:
        return told
    return [*told[:MOST_LISTED], f"and {_counted(len(told) - MOST_LISTED, what)} more"]


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
