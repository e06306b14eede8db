"""What the lines of a log say of each other, beside their hashes. Pure.

Somebody who makes every hash anew is stopped by none of them.  Yet a log that was put together
out of two, or whose end was cut off, contradicts itself: a second opening, a clip that is named
after another event, a reading that was heard later than it was taken, a clip of an event that is
not there.  Whoever mends all that too is found only by a fingerprint that was kept elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from handsfree.log.chain import Damage, Line

#: Fields that name the line of an earlier event, and of which kind that is.
_REFERENCES = {
    "heard": ("heard",),
    "supersedes": ("reading", "corrected"),
    "struck": ("reading", "corrected"),
    "note": ("note",),
}
#: How far a clock may go back before it is remarked: it is set right by a little now and then.
SET_RIGHT = timedelta(seconds=1)
#: What may follow the end of a job: nobody measured anything then.
AFTERWARDS = frozenset({"purged", "resumed", "corrected", "worded", "reviewed", "photo"})
_NUMBERED_KINDS = ("reading", "corrected")


def contradictions(events: Iterable[Line]) -> tuple[Damage, ...]:
    """Lines that cannot stand where they are in a log that was written as one."""
    found: list[Damage] = []
    kinds: dict[int, str] = {}
    clips: set[tuple[str, str]] = set()
    merged = False
    last = 0
    for event in events:
        number = event.fields.get("number") if event.kind in _NUMBERED_KINDS else None
        what = _misplaced(event, kinds)
        clips.update((name, sha) for role, name, sha in event.files if role == "clip")
        if event.kind == "purged" and not purged_clips(event) <= clips:
            what = what or "it tells of the removal of a recording that no event holds"
        merged = merged or event.kind == "merged"
        if "of_seq" in event.fields and not merged:
            what = what or "it tells of another job, of which this one was not made"
        if isinstance(number, int):
            if number <= last:
                what = what or f"reading {number} stands after reading {last}"
            last = max(last, number)
        if what:
            found.append(Damage(event.seq, what))
        kinds[event.seq] = event.kind
    return tuple(found)


def ended(events: Sequence[Line]) -> bool:
    """Whether the job is finished, and nothing came after but what may."""
    rest = (event for event in reversed(events) if event.kind not in AFTERWARDS)
    last = next(rest, None)
    return last is not None and last.kind == "finished"


def purged_clips(event: Line) -> set[tuple[str, str]]:
    """Name and SHA-256 of each recording that an event tells was removed by a rule."""
    told = event.fields.get("clips") if event.kind == "purged" else None
    if not isinstance(told, list):
        return set()
    found = (one for one in told if isinstance(one, dict))
    return {(str(one.get("name")), str(one.get("sha256"))) for one in found}


def setbacks(events: Sequence[Line]) -> tuple[tuple[int, timedelta], ...]:
    """Lines whose time is before that of the line before them, and by how much."""
    found = []
    before: datetime | None = None
    for event in events:
        if event.kind == "merged":  # what follows has the times of its sources
            before = None
            continue
        now = time_of(event)
        if before and now and before - now > SET_RIGHT:
            found.append((event.seq, before - now))
        before = now or before
    return tuple(found)


def time_of(event: Line) -> datetime | None:
    """When an event was written; None if its time cannot be read."""
    try:
        time = datetime.fromisoformat(event.time)
    except ValueError:
        return None
    return time if time.tzinfo else None


def proof_of_more(names: Iterable[str], events: Sequence[Line]) -> str | None:
    """A file that can only come of an event that the log no longer holds; None if there is none.

    A file is written just before the line that names it, and under the number of that line.  So
    the next number may be there, if the write was cut short; a higher one proves that the log
    was longer.

    Args:
        names: of the files beside the log, such as "clips/00007.flac".
        events: of the log.
    """
    last = events[-1].seq if events else 0
    numbered = ((int(match[1]), name) for name in names if (match := _NUMBERED.fullmatch(name)))
    number, name = max(numbered, default=(0, ""))
    return name if number > last + 1 else None


_NUMBERED = re.compile(r"(?:clips|aside|photos|records)/([0-9]{5,9})[.-].*")


def event_of_clip(name: str) -> int:
    """The event that a file is named after."""
    match = _NUMBERED.fullmatch(name)
    return int(match[1]) if match else 0


def length(time: timedelta) -> str:
    """A length of time in a person's words: "2 days", "3 hours", "40 seconds"."""
    seconds = int(time.total_seconds())
    for unit, size in (("day", 86_400), ("hour", 3_600), ("minute", 60)):
        if seconds >= size:
            return _counted(seconds // size, unit)
    return _counted(seconds, "second")


def _counted(number: int, unit: str) -> str:
    return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def _misplaced(event: Line, kinds: Mapping[int, str]) -> str | None:
    if time_of(event) is None:
        return "its time cannot be read"
    if event.kind == "opened" and kinds:
        return "the opening of another job stands here"
    for role, name, _ in event.files:
        if role in ("clip", "photo") and event_of_clip(name) != event.seq:
            return f"its {role} is named after another event"
    for field, known in _REFERENCES.items():
        other = event.fields.get(field)
        if isinstance(other, int) and kinds.get(other) not in known:
            return f"it names event {other}, which is no earlier {known[0]}"
    return None
