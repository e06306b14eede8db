"""Two technicians' logs of one job as one: every event of both in the order of time.

The new log is written anew, since a line holds the hash of the line before.  So it tells of what it
was made: the hashes of both logs, and with each event its source, its number there and who said it.
The sources stay as they are; `came_from` holds one of them against the new job.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from handsfree.errors import BadInput, Damaged
from handsfree.events import JobFinished, JobMerged, JobOpened, MergedSource
from handsfree.events.codec import same_event, same_fields
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.consistency import ended, time_of
from handsfree.log.folder import EVENTS, PLAN, read_file, read_log
from handsfree.log.opening import open_job, utc_now
from handsfree.log.verify import Remark, read, verify
from handsfree.log.writer import JobLog

#: Events of a source that begin or end it, and are not taken over.
_BOUNDS = frozenset({"opened", "resumed", "finished", "merged"})
#: Fields that name the line of an earlier event.
_REFERENCES = ("heard", "supersedes", "struck", "imported")


@dataclass(frozen=True, slots=True)
class _Source:
    folder: Path
    opened: JobOpened
    events: tuple[Line, ...]
    told: MergedSource


def merge(first: Path, second: Path, target: Path, clock: Callable[[], datetime] = utc_now) -> int:
    """Put two jobs of one plan together.

    Args:
        first, second: folders of the jobs; nothing in them is changed.
        target: of the new job; must not be there yet.
        clock: gives the time at which they are put together.

    Returns:
        How many events were taken over.

    Raises:
        BadInput: they are of two plans, or one and the same, or the target is there.
        Damaged: one is not as it was written.
    """
    sources = [_source(folder) for folder in (first, second)]
    if sources[0].opened.plan_sha256 != sources[1].opened.plan_sha256:
        raise BadInput(
            "the two jobs are of two plans",
            where=f"{first}, {second}",
            remedy="Only what was tested along one and the same plan can be put together.",
        )
    if sources[0].events[0].digest == sources[1].events[0].digest:
        raise BadInput("that is one and the same job", where=f"{first}, {second}")
    if any(event.kind == "plan" for one in sources for event in one.events):
        raise BadInput(
            "in one of the two jobs wires were told on the way, so that they have two plans",
            where=f"{first}, {second}",
            remedy="`handsfree plan from JOB` makes a plan of either, along which both can go on.",
        )
    if target.exists():
        raise BadInput("there is something already", where=str(target), remedy="Choose another.")
    plan = read_file(first, PLAN) or b""
    times = _Clock(min(time for one in sources if (time := time_of(one.events[0]))))
    details = {"subject": _subject(sources)}
    title = sources[0].opened.plan_title
    with open_job(target, plan, title=title, details=details, clock=times) as log:
        times.now = clock()
        _append(log, JobMerged(tuple(one.told for one in sources)))
        taken = 0
        moved: list[dict[int, int]] = [{}, {}]
        clips: list[dict[str, str]] = [{}, {}]
        numbers = _Numbers()
        for of, event in _by_time(sources):
            times.now = time_of(event) or times.now
            fields = _renumbered(event, of, moved[of], clips[of], numbers)
            by = event.fields.get("by") or sources[of].told.technician
            fields |= {"of": of, "of_seq": event.seq, "by": by}
            name = event.fields.get("clip") if event.fields.get("clip_sha256") else None
            sound = read_file(sources[of].folder, str(name)) if name else None
            new = log.append(event.kind, sound, **fields)
            moved[of][event.seq] = new.seq
            if sound is not None:
                clips[of][str(name)] = str(new.fields["clip"])
            taken += 1
        times.now = clock()
        _append(log, _ending(sources))
    return taken


def came_from(job: Path, source: Path) -> Remark:
    """Hold a source against the job that was made of it.

    Returns:
        What was found, if all of it is there.

    Raises:
        Damaged: the source was changed since, or the job does not hold what it held.
        BadInput: either is no job folder.
    """
    events, theirs = read(job), read(source)
    merged = next((event for event in events if event.kind == "merged"), None)
    told = same_event("merged", merged.fields) if merged else None
    digest = chain.digest(read_log(source))
    known = [one.log_sha256 for one in told.sources] if isinstance(told, JobMerged) else []
    if digest not in known:
        raise Damaged(
            "the job was not made of this one as it is now",
            where=str(source),
            remedy="Either it is another job, or it was changed or went on since.",
        )
    of = known.index(digest)
    held = {e.fields.get("of_seq"): e for e in events if e.fields.get("of") == of}
    for event in theirs:
        if event.kind in _BOUNDS:
            continue
        copy = held.pop(event.seq, None)
        if copy is None or (copy.kind, copy.time) != (event.kind, event.time):
            raise Damaged(f"event {event.seq} of {source} is not in it", where=str(job))
        if _plain(copy) != _plain(event):
            raise Damaged(
                f"event {event.seq} of {source} says otherwise", where=f"{job / EVENTS}, {copy.seq}"
            )
    if held:
        raise Damaged(f"it tells of events that {source} does not hold", where=str(job))
    what = f"every event of {source} is in it as it was said"
    return Remark(EVENTS, what, "Its log has the hash that is told.")


def _plain(event: Line) -> Mapping[str, Any]:
    """What an event says, without what is numbered anew."""
    numbered = {*_REFERENCES, "of", "of_seq", "by", "number", "clip", "question"}
    return {name: value for name, value in event.fields.items() if name not in numbered}


class _Clock:
    """Gives the time that the event had in its source."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


class _Numbers:
    """Numbers readings anew, in the order of the new log."""

    def __init__(self) -> None:
        self._last = 0

    def next(self) -> int:
        self._last += 1
        return self._last


def _source(folder: Path) -> _Source:
    found = verify(folder)
    events = tuple(read(folder))
    if found.problems or not events:
        raise Damaged(
            "a damaged log is not put together with another",
            where=str(folder),
            remedy="`handsfree verify` lists all damage, `handsfree recover` saves what is whole.",
        )
    opened = same_event("opened", events[0].fields)
    if not isinstance(opened, JobOpened):
        raise Damaged("the log does not begin with the job's opening", where=str(folder))
    if any(event.kind == "merged" for event in events):
        raise BadInput("this job was put together itself", where=str(folder))
    if any(event.kind == "purged" for event in events):
        raise BadInput(
            "recordings were removed from this job",
            where=str(folder),
            remedy="Put jobs together before their sound goes.",
        )
    told = MergedSource(
        folder.resolve().name,
        opened.subject.get("technician", ""),
        chain.digest(read_log(folder)),
        found.fingerprint,
        len(events),
    )
    return _Source(folder, opened, events, told)


def _subject(sources: Sequence[_Source]) -> dict[str, str]:
    """What both were opened with; the first counts where they differ, but both technicians."""
    subject = {**sources[1].opened.subject, **sources[0].opened.subject}
    names = [one.told.technician for one in sources if one.told.technician]
    if names:
        subject["technician"] = " and ".join(dict.fromkeys(names))
    return subject


def _by_time(sources: Sequence[_Source]) -> Iterator[tuple[int, Line]]:
    """Events with their source; those of one source keep their order whatever their clock says."""
    waiting = [[e for e in one.events if e.kind not in _BOUNDS] for one in sources]
    latest = [datetime.min.replace(tzinfo=UTC)] * len(sources)
    tagged: list[tuple[datetime, int, int, Line]] = []
    for of, events in enumerate(waiting):
        for place, event in enumerate(events):
            latest[of] = max(latest[of], time_of(event) or latest[of])
            tagged.append((latest[of], of, place, event))
    for _, of, _, event in sorted(tagged, key=lambda one: one[:3]):
        yield of, event


def _renumbered(
    event: Line, of: int, moved: Mapping[int, int], clips: Mapping[str, str], numbers: _Numbers
) -> dict[str, Any]:
    """The fields of an event with the numbers of the new log."""
    fields = dict(event.fields)
    for name in _REFERENCES:
        if isinstance(fields.get(name), int):
            fields[name] = moved.get(fields[name], 0)
    question = fields.get("question")
    if isinstance(question, dict) and isinstance(question.get("supersedes"), int):
        fields["question"] = {**question, "supersedes": moved.get(question["supersedes"], 0)}
    if event.kind == "reading":
        fields["number"] = numbers.next()
    if fields.pop("clip_sha256", None) is not None:
        del fields["clip"]  # it is named anew
    elif isinstance(fields.get("clip"), str):
        fields["clip"] = clips.get(fields["clip"])
    return fields


def _ending(sources: Sequence[_Source]) -> JobFinished:
    missing: list[str] = []
    status = True
    for one in sources:
        last = [event for event in one.events if event.kind == "finished"]
        event = same_event("finished", last[-1].fields) if last and ended(one.events) else None
        if isinstance(event, JobFinished):
            status = status and event.status == "verified"
            missing += event.missing
        else:
            status = False
            missing.append(f"{one.told.name} was not finished")
    return JobFinished("verified" if status else "not verified", tuple(dict.fromkeys(missing)))


def _append(log: JobLog, event: JobMerged | JobFinished) -> None:
    kind, fields = same_fields(event)
    log.append(kind, **fields)
