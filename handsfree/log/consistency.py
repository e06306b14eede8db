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
_REFERENCES = {"heard": "heard", "supersedes": "reading", "struck": "reading"}
#: How far a clock may go back before it is remarked: it is set right by a little now and then.
SET_RIGHT = timedelta(seconds=1)


def contradictions(events: Iterable[Line]) -> tuple[Damage, ...]:
    """Lines that cannot stand where they are in a log that was written as one."""
    found: list[Damage] = []
    kinds: dict[int, str] = {}
    last = 0
    for event in events:
        number = event.fields.get("number") if event.kind == "reading" else None
        what = _misplaced(event, kinds)
        if isinstance(number, int):
            if number <= last:
                what = what or f"reading {number} stands after reading {last}"
            last = max(last, number)
        if what:
            found.append(Damage(event.seq, what))
        kinds[event.seq] = event.kind
    return tuple(found)


def setbacks(events: Sequence[Line]) -> tuple[tuple[int, timedelta], ...]:
    """Lines whose time is before that of the line before them, and by how much."""
    found = []
    before: datetime | None = None
    for event in events:
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


_NUMBERED = re.compile(r"(?:clips|aside|records)/([0-9]{5,9})[.-].*")


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
        if role == "clip" and event_of_clip(name) != event.seq:
            return "its clip is named after another event"
    for field, kind in _REFERENCES.items():
        other = event.fields.get(field)
        if isinstance(other, int) and kinds.get(other) != kind:
            return f"it names event {other}, which is no earlier {kind}"
    return None
