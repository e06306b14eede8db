"""The transcript: what was said, by whom, with its sound; what bears on the finding is told apart.

In print only that is shown; on the screen the rest unfolds.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from handsfree.events import (
    Asked,
    JobTakenUp,
    Logged,
    Noted,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.log import JobRecord
from handsfree.report.evidence import basis
from handsfree.report.sounds import PageSounds
from handsfree.report.times import Clock


@dataclass(frozen=True, slots=True)
class SaidLine:
    """One thing said.

    Attributes:
        who: technician, tool, tool asks; note.
        text: as heard or said.
        time: of day, local.
        sound: address of its clip.
        bears: whether it bears on the finding.
    """

    who: str
    text: str
    time: str
    sound: str
    bears: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """Lines in a row that all bear on the finding, or all do not."""

    bears: bool
    lines: tuple[SaidLine, ...]


def transcript(record: JobRecord, clock: Clock, sounds: PageSounds) -> tuple[Stretch, ...]:
    """Everything that was said, in order."""
    bearing = _bearing(record)
    lines = []
    for logged in record.events:
        who, text = _said(logged)
        if who:
            sound, bears = sounds(logged.clip), logged.seq in bearing
            lines.append(SaidLine(who, text, clock.hour(logged.time), sound, bears))
    return tuple(
        Stretch(bears, tuple(group)) for bears, group in groupby(lines, lambda line: line.bears)
    )


def notes(record: JobRecord, clock: Clock, sounds: PageSounds) -> tuple[SaidLine, ...]:
    """What was kept as a note."""
    return tuple(
        SaidLine("note", e.event.text, clock.hour(e.time), sounds(e.clip), True)
        for e in record.events
        if isinstance(e.event, Noted)
    )


def _said(logged: Logged) -> tuple[str, str]:
    match logged.event:
        case UtteranceHeard(text=text):
            return "technician", text
        case Spoke(text=text):
            return "tool", text
        case Asked(text=text):
            return "tool asks", text
        case JobTakenUp(technician=name) if name:
            return "note", f"taken up by {name}"
    return "", ""


def _bearing(record: JobRecord) -> set[int]:
    """The lines that led to a reading on which the finding stands, a correction, or the verdict.

    From an utterance to the next stands one exchange; it bears on the finding as a whole, and a
    question and its answer belong together.
    """
    held = basis(record)
    steps = set(held.steps) if held else set()
    found: set[int] = set()
    exchange: list[int] = []
    weighs = asking = False
    for logged in record.events:
        if isinstance(logged.event, UtteranceHeard):
            if not asking:
                found |= set(exchange) if weighs else set()
                exchange, weighs = [], False
            asking = False
        exchange.append(logged.seq)
        match logged.event:
            case ReadingTaken(entry=entry):
                weighs |= entry.step in steps or entry.supersedes is not None
            case ReadingStruck() | VerdictReached() | VerdictWithdrawn():
                weighs = True
            case Asked():
                asking = True
            case Spoke():
                asking = False
    return found | set(exchange if weighs else ())
