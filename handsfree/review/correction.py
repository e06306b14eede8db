"""What a review adds to a job: new events with a name and a reason; nothing is changed in place."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from handsfree.check import Refusal, check
from handsfree.errors import BadInput
from handsfree.events import (
    Codec,
    Entry,
    Event,
    JobReviewed,
    Noted,
    NoteWorded,
    ReadingCorrected,
    ReadingTaken,
)
from handsfree.log import JobRecord, open_for_review
from handsfree.log.record import decoded
from handsfree.meaning import Observation, Reading, State, Take
from handsfree.plan import parse_plan
from handsfree.plan.schema import Step
from handsfree.showable import showable
from handsfree.units import fits, quantity, show

#: Characters of a name and of a text that somebody types, at most.
LONGEST_SIGNATURE, LONGEST_TEXT = 80, 2000

_VALUE = re.compile(r"\s*([+\-−]?(?:\d{1,12}(?:[.,]\d{0,9})?|[.,]\d{1,9}))\s*(.*?)\s*")
_BEYOND = {"over limit", "ol", "o.l.", "0l", "overload"}


@dataclass(frozen=True, slots=True)
class Signed:
    """Who adds something to a job, and why.

    Raises:
        BadInput: there is no name or no reason, or they are too long.
    """

    by: str
    reason: str

    def __post_init__(self) -> None:
        typed("your name", self.by, LONGEST_SIGNATURE)
        typed("the reason", self.reason, LONGEST_TEXT)


def typed(field: str, text: str, longest: int) -> str:
    """A text that somebody typed, on one line, without what would command a screen.

    Raises:
        BadInput: it is empty or too long.
    """
    plain = " ".join(showable(text).split())
    if not plain or len(plain) > longest:
        what = "is missing" if not plain else f"is longer than {longest} characters"
        raise BadInput(f"{field} {what}", remedy="Nothing was added to the job.")
    return plain


def correct_reading(folder: Path, number: int, value: str, signed: Signed) -> None:
    """A value that was misheard is put right; what it was taken for stays in the log.

    Args:
        folder: of the job, which may be finished.
        number: of the entry.
        value: as the meter showed it: "4.9 kΩ", "over limit", or a state or an answer.
        signed: who puts it right, and why.

    Raises:
        BadInput: there is no such reading that counts, or no such value can be read there.
        Damaged: the log is not as it was written.
    """

    def correction(record: JobRecord) -> tuple[Event, dict[str, object]]:
        found = [one for one in record.readings.standing if one.entry.number == number]
        if not found:
            raise BadInput(f"there is no reading {number} that counts", where=str(folder))
        old, plan = found[0], record.plan
        step = plan.step(old.entry.step)
        take = _take_typed(value, step)
        verdict = check(take, step, plan, record.session.taken)
        if isinstance(verdict, Refusal):
            raise _refused(verdict, step)
        entry = Entry(
            max(one.entry.number for one in record.readings.history) + 1,
            old.entry.step,
            old.entry.condition,
            take,
            verdict,
            supersedes=number,
            corrects=True,
        )
        taken = ReadingTaken(entry, old.wire, old.pins)
        evidence: dict[str, object] = {} if old.clip is None else {"clip": old.clip}
        return ReadingCorrected(taken, _name(signed), _reason(signed)), evidence

    _append(folder, correction)


def word_note(folder: Path, note: int, text: str, signed: Signed) -> None:
    """The text of a note, typed by somebody who has listened to it.

    Args:
        folder: of the job.
        note: `seq` of its line.
        text: what it says.
        signed: who typed it, and why.

    Raises:
        BadInput: there is no such note, or no text.
        Damaged: the log is not as it was written.
    """
    says = typed("the text of the note", text, LONGEST_TEXT)

    def worded(record: JobRecord) -> tuple[Event, dict[str, object]]:
        if not any(e.seq == note and isinstance(e.event, Noted) for e in record.events):
            raise BadInput(f"there is no note at line {note}", where=str(folder))
        return NoteWorded(note, says, _name(signed), _reason(signed)), {}

    _append(folder, worded)


def mark_reviewed(folder: Path, by: str, remark: str) -> None:
    """Somebody has looked through the job.

    Raises:
        BadInput: there is no name.
        Damaged: the log is not as it was written.
    """
    name = typed("your name", by, LONGEST_SIGNATURE)
    said = typed("the remark", remark, LONGEST_TEXT) if remark.strip() else ""
    _append(folder, lambda _: (JobReviewed(name, said), {}))


def _name(signed: Signed) -> str:
    return typed("your name", signed.by, LONGEST_SIGNATURE)


def _reason(signed: Signed) -> str:
    return typed("the reason", signed.reason, LONGEST_TEXT)


def _append(folder: Path, make: Callable[[JobRecord], tuple[Event, dict[str, object]]]) -> None:
    """Read the job while nobody else can write to it, and add what follows from it."""
    with open_for_review(folder) as log:
        record = JobRecord.read(folder)
        event, evidence = make(record)
        codec = Codec(parse_plan(record.plan_text))
        decoded(codec, log.lines, folder)
        kind, fields = codec.encode(event)
        log.append(kind, **fields, **evidence)


def _take_typed(text: str, step: Step) -> Take:
    """What somebody says that the meter showed.

    Raises:
        BadInput: nothing of the kind is measured at this step.
    """
    said, measure = " ".join(text.split()), step.measure
    if measure.states:
        if said.casefold() in measure.states:
            return State(said.casefold())
        raise _no_value(said, ", ".join(measure.states))
    if measure.options:
        for option in measure.options:
            if said.casefold() in (n.casefold() for n in (option.value, *option.names)):
                return Observation(option.value)
        raise _no_value(said, ", ".join(option.value for option in measure.options))
    if said.casefold() in _BEYOND:
        return Reading(None)
    unit, match = measure.base_unit, _VALUE.fullmatch(said)
    example = f"a number with a unit, such as 4.9 {unit}, or over limit"
    if not match:
        raise _no_value(said, example)
    number = Decimal(match[1].replace("−", "-").replace(",", "."))
    try:
        value = quantity(number, match[2] or unit)
        right = fits(value, unit)
    except ValueError as error:
        raise _no_value(said, example) from error
    if not right:
        raise _no_value(said, example)
    return Reading(value, number=number, unit_spoken=bool(match[2]))


def _no_value(said: str, wanted: str) -> BadInput:
    remedy = f"Here is read: {wanted}. Nothing was added to the job."
    return BadInput(f"“{said[:40]}” is no value of this test", remedy=remedy)


def _refused(refusal: Refusal, step: Step) -> BadInput:
    limit = "" if refusal.limit is None else f"; nothing beyond {show(refusal.limit)} is measured"
    return BadInput(
        f"that cannot be read at {step.id.replace('_', ' ')}{limit}",
        remedy="Nothing was added to the job.",
    )
