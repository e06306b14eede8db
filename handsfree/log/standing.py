"""Which readings count. Nothing is ever deleted: a later event supersedes or strikes one.

Striking a correction does not bring back the value that it replaced: the technician has already
said that this one was wrong.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, replace

from handsfree.check import written
from handsfree.events import Entry, Logged, ReadingCorrected, ReadingStruck, ReadingTaken
from handsfree.meaning import Reading, State
from handsfree.meaning.plain import unit_symbol
from handsfree.showable import cell

COLUMNS = ("step", "wire", "pin", "condition", "value", "unit", "expected", "verdict", "clip")

#: In the column `value`, what the meter showed when it showed no number.
OVER_LIMIT = "over limit"


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """A reading and what became of it.

    Attributes:
        seq, time: of its event.
        entry: the take and its verdict.
        wire: colours of what its step probes; None if it probes no wire.
        pins: labels of what it probes.
        clip: name of its sound, if there is one.
        taken_by: who took it, where the job was put together from those of several; else None.
        superseded_by, struck_by: `seq` of the event that voided it, if any.
        by, reason: who put it right in a review, and why; empty for what was said in the job.
    """

    seq: int
    time: str
    entry: Entry
    wire: str | None
    pins: tuple[str, ...]
    clip: str | None
    superseded_by: int | None = None
    struck_by: int | None = None
    taken_by: str | None = None
    by: str = ""
    reason: str = ""

    @property
    def pin(self) -> str | None:
        """The pins as printed: "5", or "5 to 3"."""
        return " to ".join(self.pins) or None

    @property
    def stands(self) -> bool:
        """Whether the reading still counts."""
        return self.superseded_by is None and self.struck_by is None


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of a log in the order they were taken.

    Attributes:
        history: every reading, with what became of it.
    """

    history: tuple[LoggedReading, ...]

    @property
    def standing(self) -> tuple[LoggedReading, ...]:
        """The readings that still count."""
        return tuple(reading for reading in self.history if reading.stands)


def standing_readings(events: Iterable[Logged]) -> Readings:
    """The readings of a log: those that stand, and the history of all."""
    found: dict[int, LoggedReading] = {}
    for logged in events:
        match logged.event:
            case ReadingTaken() as taken:
                _take(found, logged, taken)
            case ReadingCorrected(taken=taken, by=by, reason=reason):
                _take(found, logged, taken)
                number = taken.entry.number
                found[number] = replace(found[number], by=by, reason=reason)
            case ReadingStruck(number=number) if number in found:
                found[number] = replace(found[number], struck_by=logged.seq)
    return Readings(tuple(found.values()))


def _take(found: dict[int, LoggedReading], logged: Logged, taken: ReadingTaken) -> None:
    """A reading is there, and the one that it supersedes no longer counts."""
    entry = taken.entry
    old = found.get(entry.supersedes or 0)
    if old is not None:
        found[old.entry.number] = replace(old, superseded_by=logged.seq)
    told_by = logged.fields.get("by") if isinstance(logged.event, ReadingTaken) else None
    found[entry.number] = LoggedReading(
        logged.seq,
        logged.time,
        entry,
        taken.wire,
        taken.pins,
        logged.clip,
        taken_by=told_by if isinstance(told_by, str) else None,
    )


def rows(events: Iterable[Logged], *, history: bool = False) -> list[dict[str, object]]:
    """One row a reading: seq, time, the columns, superseded_by, struck_by; empty is None.

    `pin` is that of the wire, "5", or of the two that were probed, "5 to 3"; `value` is a number,
    a state, an answer, or `OVER_LIMIT` where the meter showed beyond its range.

    Args:
        events: of the job, in order.
        history: also the readings that no longer stand.
    """
    return [
        {
            "seq": reading.seq,
            "time": reading.time,
            "step": reading.entry.step,
            "wire": reading.wire,
            "pin": reading.pin,
            "condition": reading.entry.condition,
            **_value(reading.entry),
            "expected": written(reading.entry.verdict.expected),
            "verdict": reading.entry.verdict.result,
            "clip": reading.clip,
            "superseded_by": reading.superseded_by,
            "struck_by": reading.struck_by,
        }
        for reading in standing_readings(events).history
        if history or reading.stands
    ]


def _value(entry: Entry) -> dict[str, object]:
    match entry.take:
        case Reading(value=value):
            if value is None:
                return {"value": OVER_LIMIT, "unit": None}
            return {"value": float(value.magnitude), "unit": unit_symbol(value)}
        case State(state=word):
            return {"value": word, "unit": None}
        case other:
            return {"value": other.answer, "unit": None}


def to_csv(events: Iterable[Logged], *, history: bool = False) -> str:
    """The rows as CSV (RFC 4180, but lines end with a newline alone) with a header.

    No text is a formula where a spreadsheet opens it.
    """
    text = io.StringIO()
    names = ("seq", "time", *COLUMNS, "superseded_by", "struck_by")
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    for row in rows(events, history=history):
        writer.writerow({name: cell(value) for name, value in row.items()})
    return text.getvalue()
