"""What is told of a job in a list, and what is searched of it: folded from its log."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from handsfree.errors import BadInput, Damaged, HandsfreeError
from handsfree.events import (
    Asked,
    Codec,
    Guessed,
    JobFinished,
    JobOpened,
    JobReviewed,
    Logged,
    Noted,
    NoteWorded,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.consistency import contradictions
from handsfree.log.folder import EVENTS, PLAN, read_file, read_log
from handsfree.log.standing import LoggedReading, standing_readings
from handsfree.meaning import Reading
from handsfree.plan import Plan, parse_plan
from handsfree.showable import showable

#: Kinds of line that are told in full; of what was heard the text is enough.
_TOLD = {
    "opened",
    "recovered",
    "plan",
    "asked",
    "reading",
    "corrected",
    "struck",
    "note",
    "worded",
} | {
    "lesson",
    "verdict",
    "withdrawn",
    "reviewed",
    "finished",
}
#: Hexadecimal digits by which a job is named in an address.
ID_DIGITS = 32


@dataclass(frozen=True, slots=True)
class CountedValue:
    """A reading as it is counted.

    Attributes:
        number, step, condition, wire: of the entry.
        value, unit: in the step's own unit; None and empty for what has no number.
        figures: as it was taken: "4.98 V", "over limit", "ground".
        verdict: the comparison with what was expected.
        passed: whether it is as expected.
        stands: False once superseded or struck.
    """

    number: int
    step: str
    condition: str
    wire: str
    value: float | None
    unit: str
    figures: str
    verdict: str
    passed: bool
    stands: bool


@dataclass(frozen=True, slots=True)
class Summary:
    """A job in a list.

    Attributes:
        id: of the job, hexadecimal: two logs that began with the same line are one job.
        head: SHA-256 of the last line.
        began: UTC.
        plan: title.
        subject: what is tested, by whom and for which order.
        verdict: the part that was named; empty if none was.
        status: verified, not verified, open.
        reviewed: who looked through it last.
        damage: why it cannot be relied on; empty if nothing was seen.
        events, asked, corrected, struck: how many lines; questions about a value; values that were
            put right; values that were struck.
        lines: what can be searched, a line each.
        values: the readings.
        lessons: each step that an apprentice was asked about, and whether the answer was right.
    """

    id: str
    head: str = ""
    began: str = ""
    plan: str = ""
    subject: dict[str, str] = field(default_factory=dict)
    verdict: str = ""
    status: str = "open"
    reviewed: str = ""
    damage: str = ""
    events: int = 0
    asked: int = 0
    corrected: int = 0
    struck: int = 0
    lines: tuple[str, ...] = ()
    values: tuple[CountedValue, ...] = ()
    lessons: tuple[tuple[str, bool], ...] = ()


def summary_of(folder: Path) -> Summary:
    """The summary of a job folder; of one that cannot be read, that it cannot.

    Raises:
        BadInput: this is no job folder.
    """
    data = read_log(folder)
    plan_file = read_file(folder, PLAN)
    try:
        if plan_file is None:
            raise Damaged("the plan of the job is not there", where=PLAN)
        return summarised(data, plan_file.decode(errors="replace"))
    except HandsfreeError as error:
        return Summary(sha256(data).hexdigest()[:ID_DIGITS], damage=_short(error.what))


def summarised(data: bytes, plan_text: str) -> Summary:
    """The summary of a log and its plan.

    Raises:
        BadInput: the plan cannot be used.
        Damaged: a line tells nothing that can be understood.
    """
    log = chain.scan(data)
    if not log.events:
        raise Damaged("the log is empty", where=EVENTS)
    codec = Codec(_plan(plan_text))
    events = []
    for line in log.events:
        if line.kind in _TOLD:
            try:
                events.append(codec.read(line.seq, line.time, line.kind, line.fields))
            except (ValueError, KeyError) as error:
                what = f"line {line.seq} tells nothing that is known"
                raise Damaged(what, where=EVENTS) from error
    flaws = log.flaws or contradictions(log.events)
    return _folded(log.events, events, codec.plan, _short(flaws[0].what) if flaws else "")


def identity(lines: tuple[Line, ...]) -> str:
    """What tells one job from another: the line it began with, or was recovered with."""
    recovered = [line for line in lines if line.kind == "recovered"]
    return (recovered or list(lines[:1]))[-1].digest[:ID_DIGITS]


@lru_cache(maxsize=32)
def _plan(text: str) -> Plan:
    """A plan is the same for many jobs, and takes longer to read than they do."""
    return parse_plan(text, PLAN)


def _folded(lines: tuple[Line, ...], events: list[Logged], plan: Plan, damage: str) -> Summary:
    told: dict[type, object] = {type(one.event): one.event for one in events}  # the last of each
    opened, ending = told.get(JobOpened), told.get(JobFinished)
    reviewed = told.get(JobReviewed)
    verdicts = [e.event for e in events if isinstance(e.event, VerdictReached | VerdictWithdrawn)]
    last = verdicts[-1] if verdicts else None
    part = last.finding.part if isinstance(last, VerdictReached) and last.finding else ""
    subject = dict(opened.subject) if isinstance(opened, JobOpened) else {}
    for name in ("vehicle", "component", "complaint"):
        if text := getattr(plan.subject, name):
            subject.setdefault(name, text)
    readings = standing_readings(events).history
    guesses = [e.event.guess for e in events if isinstance(e.event, Guessed)]
    return Summary(
        id=identity(lines),
        head=lines[-1].digest,
        began=lines[0].time[:32],
        plan=plan.title,
        subject={name: showable(text) for name, text in subject.items()},
        verdict=part,
        status=ending.status if isinstance(ending, JobFinished) else "open",
        reviewed=reviewed.by if isinstance(reviewed, JobReviewed) else "",
        damage=damage,
        events=len(lines),
        asked=sum(
            isinstance(e.event, Asked)
            and e.event.question is not None
            and e.event.question.kind in ("which", "confirm")
            for e in events
        ),
        corrected=sum(one.entry.corrects for one in readings),
        struck=sum(one.struck_by is not None for one in readings),
        lines=tuple(_searched(lines, events, plan, subject, readings, part)),
        values=tuple(_value(one, plan) for one in readings),
        lessons=tuple((one.step, one.right) for one in guesses),
    )


def _searched(
    lines: tuple[Line, ...],
    events: list[Logged],
    plan: Plan,
    subject: dict[str, str],
    readings: tuple[LoggedReading, ...],
    part: str,
) -> Iterator[str]:
    """What a person may remember of a job, a line each."""
    yield plan.title
    yield from subject.values()
    if part:
        yield f"verdict: {part}"
    for line in lines:
        text = line.fields.get("text") if line.kind == "heard" else None
        if isinstance(text, str) and text:
            yield text
    for logged in events:
        match logged.event:
            case Noted(text=text) | NoteWorded(text=text) if text:
                yield f"note: {text}"
            case JobReviewed(by=by, remark=remark):
                yield f"review: {by} {remark}"
    for one in readings:
        entry = one.entry
        where = one.wire or entry.step.replace("_", " ")
        pins = f"pin {one.pin}" if one.pin else ""
        by = f"{one.by} {one.reason}" if one.by else ""
        words = (where, pins, plan.condition(entry.condition).say, entry.figures, by)
        yield " ".join(filter(None, words))


def _value(one: LoggedReading, plan: Plan) -> CountedValue:
    entry, number, unit = one.entry, None, ""
    if isinstance(entry.take, Reading) and entry.take.value is not None:
        unit = plan.step(entry.step).measure.base_unit
        number = float(entry.take.value.m_as(unit)) if unit else None
    return CountedValue(
        entry.number,
        entry.step,
        entry.condition,
        one.wire or "",
        number,
        unit,
        entry.figures,
        entry.verdict.result,
        entry.verdict.passed,
        one.stands,
    )


def _short(text: str) -> str:
    return showable(text.splitlines()[0])[:200] if text else "damaged"


def readable(folder: Path) -> bool:
    """Whether there is a job in a folder at all."""
    try:
        return read_file(folder, EVENTS) is not None
    except BadInput:
        return False
