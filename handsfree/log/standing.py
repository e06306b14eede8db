"""Which readings count. Nothing is ever deleted: a later event supersedes or strikes one.

A reading is an event of kind `reading`. A later event with `supersedes: seq` puts another in its
place, one with `struck: seq` takes it out. Striking a correction does not bring back the value
that it replaced: the technician has already said that this one was wrong.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass

from handsfree.log.chain import Event

COLUMNS = ("step", "wire", "pin", "condition", "value", "unit", "expected", "verdict", "clip")

#: In the column `value`, what the meter showed when it showed no number.
OVER_LIMIT = "over limit"


@dataclass(frozen=True, slots=True)
class Entry:
    """A reading and what became of it: the `seq` of the event that voided it, if any."""

    event: Event
    superseded_by: int | None = None
    struck_by: int | None = None

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

    history: tuple[Entry, ...]

    @property
    def standing(self) -> tuple[Event, ...]:
        """The readings that still count."""
        return tuple(entry.event for entry in self.history if entry.stands)


def standing_readings(events: Iterable[Event]) -> Readings:
    """The readings of a log: those that stand, and the history of all."""
    entries: dict[int, Entry] = {}
    for event in events:
        for field, mark in (("supersedes", "superseded_by"), ("struck", "struck_by")):
            old = entries.get(event.fields.get(field, 0))
            if old is not None:
                void = {"superseded_by": old.superseded_by, "struck_by": old.struck_by}
                entries[old.event.seq] = Entry(old.event, **(void | {mark: event.seq}))
        if event.kind == "reading":
            entries[event.seq] = Entry(event)
    return Readings(tuple(entries.values()))


def rows(events: Iterable[Event], *, history: bool = False) -> list[dict[str, object]]:
    """One row a reading: seq, time, the columns, superseded_by, struck_by; empty is None.

    `pin` is that of the wire, "5", or of the two that were probed, "5 to 3"; `value` is a number,
    a state, an answer, or `OVER_LIMIT` where the meter showed beyond its range.

    Args:
        history: also the readings that no longer stand.
    """
    return [
        {
            "seq": entry.event.seq,
            "time": entry.event.time,
            **_columns(entry.event),
            "superseded_by": entry.superseded_by,
            "struck_by": entry.struck_by,
        }
        for entry in standing_readings(events).history
        if history or entry.stands
    ]


def _columns(event: Event) -> dict[str, object]:
    fields = dict(event.fields)
    fields["pin"] = " to ".join(map(str, fields.get("pins", ()))) or None
    if fields.get("over_limit"):
        fields["value"] = OVER_LIMIT
    return {name: fields.get(name) for name in COLUMNS}


def to_csv(events: Iterable[Event], *, history: bool = False) -> str:
    """The rows as CSV (RFC 4180, but lines end with a newline alone) with a header."""
    text = io.StringIO()
    names = ("seq", "time", *COLUMNS, "superseded_by", "struck_by")
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows(events, history=history))
    return text.getvalue()
