"""Between an event and the fields of its line in the log; nothing else knows both.

A line names an earlier reading by the `seq` of its line, an event by the number of its entry.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from handsfree.check import written
from handsfree.events import fields
from handsfree.events.comparison import compared_fields, verdict_of_reading
from handsfree.events.entries import Entry, Guess, Question
from handsfree.events.keeping import ClipsPurged, JobMerged, ReadingsImported
from handsfree.events.kinds import (
    Asked,
    ConditionSet,
    Event,
    Guessed,
    JobFinished,
    JobOpened,
    JobRecovered,
    JobReviewed,
    JobTakenUp,
    MicrophoneChanged,
    Noted,
    NoteWorded,
    Paused,
    PhotoAttached,
    QuestionClosed,
    ReadingCorrected,
    ReadingStruck,
    ReadingTaken,
    SoundLevel,
    Spoke,
    StepOpened,
    StepSkipped,
    SweepImported,
    Unknown,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
    Woken,
)
from handsfree.events.known import check_known
from handsfree.events.meanings import meaning_told, take_of, takes_of, understood_of
from handsfree.events.metering import (
    ExcursionSeen,
    ExcursionStruck,
    LeadMoved,
    MeterChecked,
    RecordImported,
    WatchBegun,
    WatchEnded,
)
from handsfree.events.telling import DifferenceTold, PlanAmended, WireChosen
from handsfree.events.verdicts import verdict_fields, verdict_of
from handsfree.heard import Hypothesis
from handsfree.meaning import Command, Reading, Seen, SetCondition, State, Take, Telling
from handsfree.meaning.plain import plain, plain_understood
from handsfree.plan.amended import MOST_AMENDED, amended
from handsfree.plan.schema import Plan
from handsfree.units import show

#: Kinds whose fields are those of the event itself.
SAME: dict[str, type[Event]] = {
    "opened": JobOpened,
    "resumed": JobTakenUp,
    "recovered": JobRecovered,
    "said": Spoke,
    "closed": QuestionClosed,
    "step": StepOpened,
    "skipped": StepSkipped,
    "condition": ConditionSet,
    "plan": PlanAmended,
    "wire": WireChosen,
    "difference": DifferenceTold,
    "lead": LeadMoved,
    "meter": MeterChecked,
    "note": Noted,
    "paused": Paused,
    "woken": Woken,
    "withdrawn": VerdictWithdrawn,
    "sweep": SweepImported,
    "photo": PhotoAttached,
    "watch": WatchBegun,
    "seen": ExcursionSeen,
    "seen_struck": ExcursionStruck,
    "watch_ended": WatchEnded,
    "record": RecordImported,
    "finished": JobFinished,
    "imported": ReadingsImported,
    "purged": ClipsPurged,
    "merged": JobMerged,
    "worded": NoteWorded,
    "reviewed": JobReviewed,
    "microphone": MicrophoneChanged,
    "level": SoundLevel,
}
#: The other kinds.
OWN: dict[str, type[fields.Fields]] = {
    "heard": fields.HeardFields,
    "asked": fields.AskedFields,
    "reading": fields.ReadingFields,
    "corrected": fields.CorrectedFields,
    "struck": fields.StruckFields,
    "lesson": fields.LessonFields,
    "verdict": fields.VerdictFields,
}
_KIND_OF = {event: kind for kind, event in SAME.items()}
_READERS: dict[str, TypeAdapter[Any]] = {kind: TypeAdapter(one) for kind, one in SAME.items()}


@dataclass(frozen=True, slots=True)
class Logged:
    """An event as it stands in a log, or as it is told while the job runs.

    Attributes:
        event: it.
        kind: name of its kind in the log.
        fields: as written, seq, time and hashes left out.
        seq, time: of its line; 0 and empty if it is told only.
    """

    event: Event
    kind: str
    fields: Mapping[str, Any]
    seq: int = 0
    time: str = ""

    @property
    def clip(self) -> str | None:
        """Name of the sound that it came of, if any."""
        name = self.fields.get("clip")
        return name if isinstance(name, str) else None

    def as_dict(self) -> dict[str, Any]:
        """As it stands in its line, without the hashes."""
        line = {"seq": self.seq, "time": self.time} if self.seq else {}
        return {**line, "event": self.kind, **self.fields}


#: Takes each event of a session.
Tell = Callable[[Logged], None]


def told(event: Event) -> Logged:
    """An event that is told and not logged, such as a level; of a kind whose fields are its own."""
    return Logged(event, *same_fields(event))


class Codec:
    """Writes and reads the events of one job, in their order.

    Args:
        plan: of the job, as it began.

    Attributes:
        plan: with all that was told of it so far.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._amended = 0
        self._seqs: dict[int, int] = {}  # line of each entry
        self._numbers: dict[int, int] = {}  # entry of each line

    def encode(self, event: Event) -> tuple[str, dict[str, Any]]:
        """Kind and fields of the line of an event."""
        match event:
            case UtteranceHeard():
                return "heard", self._heard_fields(event)
            case Asked():
                return "asked", self._asked_fields(event)
            case ReadingTaken():
                return "reading", _dump(self._reading_fields(event))
            case ReadingCorrected(taken=taken, by=by, reason=reason):
                return "corrected", {
                    **_dump(self._reading_fields(taken)),
                    "by": by,
                    "reason": reason,
                }
            case ReadingStruck(number=number, step=step):
                return "struck", _dump(fields.StruckFields(struck=self._seqs[number], step=step))
            case Guessed(guess=guess):
                said = plain(guess.take, self.plan) if guess.take else None
                lesson = {"step": guess.step, "guess": said, "right": guess.right}
                return "lesson", _dump(fields.LessonFields.model_validate(lesson))
            case VerdictReached():
                return "verdict", _dump(verdict_fields(event))
            case Unknown(kind=kind, fields=others):
                return kind, dict(others)
            case _:
                return same_fields(event)

    def wrote(
        self, event: Event, seq: int, time: str, kind: str, line: Mapping[str, Any]
    ) -> Logged:
        """The event with its line, which stands in the log now.

        Raises:
            ValueError: the plan cannot be changed so.
        """
        if isinstance(event, PlanAmended):
            self._amended += 1
            if self._amended > MOST_AMENDED and self.plan.described is not None:
                raise ValueError(f"a vehicle is told {MOST_AMENDED} times at most")
            self.plan = amended(self.plan, event.change)
        taken = event.taken if isinstance(event, ReadingCorrected) else event
        if isinstance(taken, ReadingTaken):
            self._seqs[taken.entry.number] = seq
            self._numbers[seq] = taken.entry.number
        return Logged(event, kind, line, seq, time)

    def read(self, seq: int, time: str, kind: str, line: Mapping[str, Any]) -> Logged:
        """The event of a line of the log; the lines before it are read before.

        Raises:
            ValueError: the line does not tell such an event.
            KeyError: the plan has no such step, condition, wire or fault.
        """
        event = self._decode(kind, line)
        check_known(event, self.plan)
        return self.wrote(event, seq, time, kind, line)

    def _decode(self, kind: str, line: Mapping[str, Any]) -> Event:
        if kind in SAME:
            event = same_event(kind, line)
            if isinstance(event, StepOpened):  # older logs do not tell the phase
                event = dataclasses.replace(event, phase=self.plan.step(event.step).phase)
            return event
        if kind not in OWN:
            return Unknown(kind, line)
        match OWN[kind].model_validate(line):
            case fields.HeardFields() as told_by:
                return _heard(told_by)
            case fields.AskedFields() as told_by:
                return self._asked(told_by)
            case fields.CorrectedFields(by=by, reason=reason) as told_by:
                return ReadingCorrected(self._taken(told_by), by, reason)
            case fields.ReadingFields() as told_by:
                return self._taken(told_by)
            case fields.StruckFields(struck=struck, step=step):
                return ReadingStruck(self._numbers.get(struck, 0), step)
            case fields.LessonFields(step=step, guess=guess, right=right):
                return Guessed(Guess(step, None if guess is None else take_of(guess), right))
            case fields.VerdictFields() as told_by:
                return verdict_of(told_by, self.plan)
            case other:
                raise ValueError(f"no event is told by {type(other).__name__}")

    def _heard_fields(self, event: UtteranceHeard) -> dict[str, Any]:
        line: dict[str, Any] = {
            "start": event.start,
            "end": event.end,
            "engine": event.engine,
            "text": event.text,
            "confidence": event.confidence,
            "alternatives": [{"text": h.text, "score": h.score} for h in event.alternatives],
            "meaning": plain_understood(event.understood, self.plan),
        }
        if event.at is not None:
            line["at"] = event.at
        if event.source is not None:
            line["source"] = event.source
        if event.via is not None:
            line["via"] = event.via
        return _dump(fields.HeardFields.model_validate(line))

    def _asked_fields(self, event: Asked) -> dict[str, Any]:
        line: dict[str, Any] = {
            "text": event.text,
            "candidates": [plain(one, self.plan) for one in event.candidates],
            "reason": event.reason,
        }
        if question := event.question:
            line["question"] = {
                "kind": question.kind,
                "step": question.step,
                "steps": list(question.steps),
                "supersedes": question.supersedes and self._seqs[question.supersedes],
                "asked": question.asked,
            }
            if question.meant:
                line["question"]["meant"] = plain(question.meant, self.plan)
            if question.at is not None:
                line["question"]["at"] = question.at
        return _dump(fields.AskedFields.model_validate(line))

    def _asked(self, line: fields.AskedFields) -> Asked:
        candidates, question = takes_of(line.candidates), None
        if known := line.question:
            supersedes = known.supersedes and self._numbers[known.supersedes]
            steps, asked = tuple(known.steps), known.asked
            meant = meaning_told(known.meant) if known.meant else None
            if not isinstance(meant, Command | SetCondition | Seen | Telling | None):
                raise ValueError(
                    "only a command, a condition, a telling or what is seen can be meant"
                )
            at = None if known.at is None else float(known.at)
            question = Question(
                known.kind, known.step, candidates, steps, supersedes, asked, meant, at
            )
        return Asked(line.text, question, candidates, line.reason)

    def _reading_fields(self, event: ReadingTaken) -> fields.ReadingFields:
        entry = event.entry
        plan, verdict, take = self.plan, entry.verdict, entry.take
        step, taken = plan.step(entry.step), fields.MeaningFields.model_validate(plain(take, plan))
        line: dict[str, Any] = {
            "number": entry.number,
            "step": step.id,
            "wire": event.wire,
            "pins": list(event.pins),
            "condition": entry.condition,
            "measured": taken.kind,
            "value": taken.value,
            "unit": taken.unit,
            "spoken": taken.spoken,
            "over_limit": taken.over_limit,
            "expected": written(verdict.expected),
            "verdict": verdict.result,
            "outcome": verdict.outcome,
            "distance": None if verdict.distance is None else show(verdict.distance),
            "phase": step.phase,
            "compared": compared_fields(verdict),
        }
        if take.wire is not None:
            line["named"] = take.wire
        if isinstance(take, State) and take.shown:
            line["shown"] = taken.take
        if isinstance(take, Reading) and take.form != "plain":
            line["form"] = take.form
        if isinstance(take, Reading) and not take.unit_spoken:
            line["unit_spoken"] = False
        if isinstance(take, Reading) and take.hold:
            line["hold"] = take.hold
        if isinstance(take, Reading) and take.minus_leads is not None:
            line["minus_leads"] = taken.minus_leads
        if entry.supersedes is not None:
            line |= {"supersedes": self._seqs[entry.supersedes], "corrects": entry.corrects}
        return fields.ReadingFields.model_validate(line)

    def _taken(self, line: fields.ReadingFields) -> ReadingTaken:
        return ReadingTaken(self._entry(line), line.wire, tuple(line.pins))

    def _entry(self, line: fields.ReadingFields) -> Entry:
        step = self.plan.step(line.step)
        supersedes = None if line.supersedes is None else self._numbers.get(line.supersedes)
        verdict = verdict_of_reading(line, step)
        return Entry(
            line.number,
            step.id,
            line.condition,
            _take(line),
            verdict,
            supersedes,
            line.corrects,
        )


def _take(line: fields.ReadingFields) -> Take:
    """The take of a reading, which is told by the same fields as any other."""
    return take_of(
        fields.MeaningFields(
            kind=line.measured,
            pin=line.named,
            value=line.value,
            unit=line.unit,
            over_limit=line.over_limit,
            spoken=line.spoken,
            form=line.form,
            unit_spoken=line.unit_spoken,
            hold=line.hold,
            minus_leads=line.minus_leads,
            take=line.shown,
        )
    )


def _heard(line: fields.HeardFields) -> UtteranceHeard:
    return UtteranceHeard(
        float(line.start),
        float(line.end),
        line.engine,
        line.text,
        float(line.confidence),
        tuple(Hypothesis(one.text, float(one.score)) for one in line.alternatives),
        understood_of(line.meaning),
        line.source,
        line.via,
        None if line.at is None else float(line.at),
    )


def same_event(kind: str, line: Mapping[str, Any]) -> Event:
    """The event of a kind whose fields are those of the line.

    Raises:
        ValueError: the line does not tell such an event.
    """
    names = (one.name for one in dataclasses.fields(SAME[kind]))
    event: Event = _READERS[kind].validate_python({n: line[n] for n in names if n in line})
    return event


def same_fields(event: Event) -> tuple[str, dict[str, Any]]:
    """Kind and fields of an event whose fields are its own; what says nothing is left out."""
    kind = _KIND_OF[type(event)]
    line = _READERS[kind].dump_python(event, mode="json")
    for one in dataclasses.fields(event):
        value, other = line[one.name], one.metadata.get("told_with")
        quiet = one.metadata.get("left_out") and (value in (None, "", {}) or value is False)
        if quiet or (other and other not in line):
            del line[one.name]
    return kind, line


def _dump(line: fields.Fields) -> dict[str, Any]:
    """What was set of a line, in JSON values."""
    return line.model_dump(mode="json", exclude_unset=True)
