"""A job as its page shows it: everything is text, and all of it is escaped later."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from handsfree.check import written
from handsfree.events import Asked, Logged, Noted, NoteWorded, Spoke, UtteranceHeard
from handsfree.log import JobRecord, LoggedReading

_CLIP = re.compile(r"clips/([0-9]{5,9}\.flac)")


@dataclass(frozen=True, slots=True)
class ShownReading:
    """A row of the readings.

    Attributes:
        number: of the entry.
        where, condition, figures, expected, verdict, time: for people.
        passed: whether it is as expected.
        fate: "counts", "corrected", "measured again" or "struck".
        by, reason: who put it right in a review, and why.
        sound: name of its clip; empty if there is none.
        choices: what may be taken instead, if that is a word.
    """

    number: int
    where: str
    condition: str
    figures: str
    expected: str
    verdict: str
    passed: bool
    time: str
    fate: str
    by: str
    reason: str
    sound: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ShownNote:
    """A note: what was understood of it, and what somebody typed who listened.

    Attributes:
        seq: of its line.
        text, time: as it was taken.
        sound: name of its clip; empty if there is none.
        typed: text, by whom and why, the latest last.
    """

    seq: int
    text: str
    time: str
    sound: str
    typed: tuple[NoteWorded, ...]


def shown_readings(record: JobRecord) -> list[ShownReading]:
    """All readings, also those that no longer count."""
    history = record.readings.history
    successors = {one.entry.supersedes: one for one in history if one.entry.supersedes}
    return [_reading(record, one, successors.get(one.entry.number)) for one in history]


def _reading(
    record: JobRecord, one: LoggedReading, successor: LoggedReading | None
) -> ShownReading:
    entry, step = one.entry, record.plan.step(one.entry.step)
    fate = "counts"
    if one.struck_by is not None:
        fate = "struck"
    elif successor is not None:
        fate = "corrected" if successor.entry.corrects else "measured again"
    pin = f" (pin {one.pin})" if one.pin else ""
    options = tuple(option.value for option in step.measure.options or ())
    return ShownReading(
        number=entry.number,
        where=(one.wire or entry.step.replace("_", " ")) + pin,
        condition=record.plan.condition(entry.condition).say,
        figures=entry.figures,
        expected=written(entry.verdict.expected).replace("_", " "),
        verdict=entry.verdict.result,
        passed=entry.verdict.passed,
        time=clock_time(one.time),
        fate=fate,
        by=one.by,
        reason=one.reason,
        sound=clip_of(one.clip),
        choices=tuple(step.measure.states or options),
    )


def shown_notes(record: JobRecord) -> list[ShownNote]:
    """The notes with what was typed of them."""
    typed = [one.event for one in record.events if isinstance(one.event, NoteWorded)]
    return [
        ShownNote(
            one.seq,
            one.event.text,
            clock_time(one.time),
            clip_of(one.clip),
            tuple(event for event in typed if event.note == one.seq),
        )
        for one in record.events
        if isinstance(one.event, Noted)
    ]


def talk(record: JobRecord) -> list[dict[str, str]]:
    """Who said what, when, with its sound."""
    return [line for logged in record.events if (line := _talk_line(logged))]


def _talk_line(logged: Logged) -> dict[str, str] | None:
    match logged.event:
        case UtteranceHeard(text=text):
            who = "technician"
        case Spoke(text=text):
            who = "tool"
        case Asked(text=text):
            who = "tool asks"
        case _:
            return None
    return {
        "who": who,
        "text": text or "(not understood)",
        "time": clock_time(logged.time),
        "sound": clip_of(logged.clip),
    }


def named_clips(record: JobRecord) -> set[str]:
    """Names of the clips that the log tells of; no other is given."""
    return {name for one in record.events if (name := clip_of(one.clip))}


def clip_of(name: str | None) -> str:
    """The name of a clip as it stands in an address; empty if it is none."""
    match = _CLIP.fullmatch(name or "")
    return match[1] if match else ""


def local_time(told: str) -> str:
    """Date and time in the zone of this machine, with the zone."""
    moment = _moment(told)
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname()}" if moment else told


def clock_time(told: str) -> str:
    """Time of day in the zone of this machine, to the second."""
    moment = _moment(told)
    return f"{moment:%H:%M:%S}" if moment else told


def _moment(told: str) -> datetime | None:
    try:
        return datetime.fromisoformat(told).astimezone()
    except (ValueError, OverflowError):
        return None


def midnight(day: str, later: int = 0) -> str:
    """The moment at which a day begins here, as a log tells time; empty for what is no date.

    Args:
        day: "2026-11-28".
        later: days to be added.
    """
    try:
        begins = datetime.combine(date.fromisoformat(day) + timedelta(days=later), time())
        return begins.astimezone(UTC).isoformat().replace("+00:00", "Z")
    except (ValueError, OverflowError):
        return ""


def side_by_side(one: Any, other: Any) -> list[dict[str, Any]]:
    """Two jobs' readings that count, test by test; one that only one of them has stands alone."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for name, rows in (("one", one), ("other", other)):
        for row in rows:
            key = (row.step, row.condition)
            entry = {"step": row.step, "condition": row.condition, "one": None, "other": None}
            found.setdefault(key, entry)[name] = row
    return list(found.values())
