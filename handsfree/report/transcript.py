"""The transcript: what was said, by whom, with its sound; what bears on the finding is told apart.

In print only that is shown; on the screen the rest unfolds.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from handsfree.events import (
    Asked,
    DifferenceTold,
    JobTakenUp,
    Logged,
    Noted,
    NoteWorded,
    ReadingStruck,
    ReadingTaken,
    Spoke,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.log import JobRecord
from handsfree.plan import FreePlan
from handsfree.report.evidence import basis
from handsfree.report.sounds import PageSounds
from handsfree.report.times import Clock


@dataclass(frozen=True, slots=True)
class SaidLine:
    """One thing said.

    Attributes:
        who: technician, tool, tool asks; note, typed by somebody.
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
    """What was kept as a note, each with what somebody typed of it who listened to it."""
    typed: dict[int, list[SaidLine]] = {}
    for logged in record.events:
        if isinstance(logged.event, NoteWorded):
            event = logged.event
            text = f"{event.text} ({event.reason})" if event.reason else event.text
            line = SaidLine(f"typed by {event.by}", text, clock.hour(logged.time), "", True)
            typed.setdefault(event.note, []).append(line)
    lines: list[SaidLine] = []
    for logged in record.events:
        if isinstance(logged.event, Noted):
            time, sound = clock.hour(logged.time), sounds(logged.clip)
            lines.append(SaidLine("note", logged.event.text, time, sound, True))
            lines += typed.get(logged.seq, [])
    return tuple(lines)


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
    question and its answer belong together.  Where nothing was expected, every reading bears.
    """
    held = basis(record)
    steps = set(held.steps) if held else set()
    free = isinstance(record.plan, FreePlan)
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
                weighs |= free or entry.step in steps or entry.supersedes is not None
            case DifferenceTold() | ReadingStruck() | VerdictReached() | VerdictWithdrawn():
                weighs = True
            case Asked():
                asking = True
            case Spoke():
                asking = False
    return found | set(exchange if weighs else ())
