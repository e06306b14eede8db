"""What can happen in a job: one frozen dataclass a kind.

Whoever wants to know what has happened matches on these; how they are written is in `codec`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from handsfree.diagnosis import Explanation
from handsfree.events.entries import Entry, Guess, Question
from handsfree.events.keeping import ClipsPurged, JobMerged, ReadingsImported
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
from handsfree.heard import Hypothesis
from handsfree.meaning import Take, Understood
from handsfree.plan.schema import Finding, Outcome

#: Left out of a line where it says nothing.
_QUIET = {"left_out": True}

#: The part of a job that its steps belong to.
StepPhase = Literal["test", "after_repair"]


@dataclass(frozen=True, slots=True)
class JobOpened:
    """The job has begun.

    Attributes:
        format: of the log.
        plan, plan_title, plan_sha256: file, title and hash of the plan.
        subject: what is tested, by whom and for which repair order.
        follows: fingerprint of the finished job that this one goes on from.
        route, verbosity: how it is dictated, as on the command line; empty if it is not known.
        keep: of which utterances the sound is kept, see `handsfree.events.sound`; empty for all.
    """

    format: int
    plan: str
    plan_title: str
    plan_sha256: str
    subject: Mapping[str, str] = field(default_factory=dict, metadata=_QUIET)
    follows: str | None = field(default=None, metadata=_QUIET)
    route: str = field(default="", metadata=_QUIET)
    verbosity: str = field(default="", metadata=_QUIET)
    keep: str = field(default="", metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class JobTakenUp:
    """The log was opened again, to go on.

    Attributes:
        aside_bytes: of a write that was cut short, set aside.
        aside, aside_sha256: file that holds them, and its hash.
        route, verbosity, keep: as of `JobOpened`.
        technician: who tests from now on; empty for whoever did before.
    """

    aside_bytes: int = 0
    aside: str | None = field(default=None, metadata=_QUIET)
    aside_sha256: str | None = field(default=None, metadata=_QUIET)
    route: str = field(default="", metadata=_QUIET)
    verbosity: str = field(default="", metadata=_QUIET)
    keep: str = field(default="", metadata=_QUIET)
    technician: str = field(default="", metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class JobRecovered:
    """The job goes on from what was whole of a damaged one.

    Attributes:
        source: name of the folder of the damaged job, which stays as it is.
        source_sha256: of its log as it was found.
        kept: events that were taken over; they are the first of this log, byte for byte.
        missing: what was not taken over, for people.
    """

    source: str
    source_sha256: str
    kept: int
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class UtteranceHeard:
    """The technician said something.

    Attributes:
        start, end: seconds from the start of the audio it was cut from.
        engine: that understood it.
        text: its best wording; empty if nothing was understood.
        confidence: 0 to 1, how far that stands out.
        alternatives: other wordings, best first.
        understood: what it means.
        source: file name, "microphone", "phone" or "keyboard".
        via: which of these that is; None in logs that did not tell.
        at: when it was said, in seconds since 1970, UTC; None in logs that did not tell.
    """

    start: float
    end: float
    engine: str
    text: str
    confidence: float
    alternatives: tuple[Hypothesis, ...]
    understood: Understood
    source: str | None = None
    via: Literal["microphone", "phone", "file", "keyboard"] | None = None
    at: float | None = None


@dataclass(frozen=True, slots=True)
class Spoke:
    """The tool says `text`."""

    text: str


@dataclass(frozen=True, slots=True)
class Asked:
    """The tool asks.

    Attributes:
        text: as it is said.
        question: that is open now; None if any utterance will do for an answer.
        candidates: the takes between which is asked.
        reason: why, in a word.
    """

    text: str
    question: Question | None = None
    candidates: tuple[Take, ...] = ()
    reason: str = ""


@dataclass(frozen=True, slots=True)
class QuestionClosed:
    """The open question was answered, dropped or passed over."""


@dataclass(frozen=True, slots=True)
class StepOpened:
    """A step is open.

    Attributes:
        step, condition: their ids.
        skipped: a step that was skipped for it, in logs without `StepSkipped`.
        phase: that the step belongs to.
        setups: what is made for a test now and stays so; None in logs that did not tell.
        back: whether the technician went back to it.
        untold: whether an apprentice has yet to say what to expect of it.
    """

    step: str
    condition: str
    skipped: str | None = None
    phase: StepPhase | None = field(default=None, metadata=_QUIET)
    setups: tuple[str, ...] | None = field(default=None, metadata=_QUIET)
    back: bool = field(default=False, metadata=_QUIET)
    untold: bool = field(default=False, metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class StepSkipped:
    """A step is passed over for good."""

    step: str


@dataclass(frozen=True, slots=True)
class ConditionSet:
    """The technician has set a condition."""

    condition: str


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """A take counts; if it supersedes another, that one no longer does.

    Attributes:
        entry: it.
        wire: colours of what its step probes; None if it probes no wire.
        pins: labels of what it probes.
    """

    entry: Entry
    wire: str | None
    pins: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingStruck:
    """The entry of that number no longer counts."""

    number: int
    step: str


@dataclass(frozen=True, slots=True)
class Noted:
    """A note; its text is unverified, the sound counts."""

    text: str
    verified: Literal[False] = False


@dataclass(frozen=True, slots=True)
class Guessed:
    """The apprentice has said what to expect."""

    guess: Guess


@dataclass(frozen=True, slots=True)
class Paused:
    """Only the wake words count."""


@dataclass(frozen=True, slots=True)
class Woken:
    """The technician is listened to again."""


@dataclass(frozen=True, slots=True)
class VerdictReached:
    """The verdict: of the plan's rules, or computed from its circuit; None if neither.

    Attributes:
        finding: the part, and what to do.
        outcomes: what the rules saw.
        explanation: the causes ranked, if the plan describes its circuit and the log holds them.
        stands: it names the part that it named before, and the tests after the repair go on.
    """

    finding: Finding | None
    outcomes: Mapping[str, Outcome] = field(default_factory=dict)
    explanation: Explanation | None = None
    stands: bool = False


@dataclass(frozen=True, slots=True)
class VerdictWithdrawn:
    """The verdict no longer holds, and the tests are open again."""


@dataclass(frozen=True, slots=True)
class FoundFlaw:
    """One thing that is wrong with a sweep: its kind, at which command, with which value."""

    flaw: str
    command: str | None = None
    value: str | None = None


@dataclass(frozen=True, slots=True)
class SweepImported:
    """A sweep of feedback against command was imported and judged.

    Attributes:
        source: name of the file.
        points: command in percent and feedback in `unit`.
        unit: of the feedback.
        flaws: everything that is wrong with it.
    """

    source: str
    points: tuple[tuple[float, float], ...]
    unit: str
    flaws: tuple[FoundFlaw, ...]


@dataclass(frozen=True, slots=True)
class PhotoAttached:
    """A photo was put into the job; also after its end, to which it adds nothing.

    Attributes:
        photo, photo_sha256: its name in the job and its hash.
        source: name of the file that it was.
        width, height: in points.
        located: whether the file says where it was taken.
    """

    photo: str
    photo_sha256: str
    source: str
    width: int
    height: int
    located: bool = False


@dataclass(frozen=True, slots=True)
class JobFinished:
    """The end of the job, verified or not, and what is missing or failed."""

    status: Literal["verified", "not verified"]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingCorrected:
    """Somebody who reviewed the job has put a value right that was misheard; both stay.

    It may come after the end of the job.  The verdict is the one that was reached without it.

    Attributes:
        taken: the right value, which supersedes the misheard one.
        by, reason: who put it right, and why.
    """

    taken: ReadingTaken
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class NoteWorded:
    """Somebody has listened to a note and typed what it says; it may come after the end.

    Attributes:
        note: `seq` of its line.
        text: what it says.
        by, reason: who typed it, and why.
    """

    note: int
    text: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class JobReviewed:
    """Somebody has looked through the job; it may come after the end.

    Attributes:
        by: who.
        remark: what there is to say of it; may be empty.
    """

    by: str
    remark: str = field(default="", metadata=_QUIET)


@dataclass(frozen=True, slots=True)
class MicrophoneChanged:
    """Something about the sound.

    Attributes:
        state: open, check, ready, lost, back, overrun, cut (the voice was cut off) or mute (the
            voice has failed).
        text: for people.
        speech, noise: levels in dBFS of a level check.
        fault: what was wrong with it.
    """

    state: Literal["open", "check", "ready", "lost", "back", "overrun", "cut", "mute"]
    text: str
    speech: float | None = field(default=None, metadata=_QUIET)
    noise: float | None = field(default=None, metadata=_QUIET)
    fault: str | None = field(default=None, metadata={"told_with": "speech"})


@dataclass(frozen=True, slots=True)
class SoundLevel:
    """How loud it is; told several times a second and never logged.

    Attributes:
        level: 0 to 1, for a bar.
        dbfs: the same in decibels below full scale.
        turn: whose it is: listening, speaking, or waiting for the key.
        speech: whether an utterance is under way.
    """

    level: float
    dbfs: float = 0.0
    turn: str = ""
    speech: bool = False


@dataclass(frozen=True, slots=True)
class Unknown:
    """A line of a kind that is not known here, of a later version perhaps."""

    kind: str
    fields: Mapping[str, Any]


Event = (
    JobOpened
    | JobTakenUp
    | JobRecovered
    | UtteranceHeard
    | Spoke
    | Asked
    | QuestionClosed
    | StepOpened
    | StepSkipped
    | ConditionSet
    | LeadMoved
    | MeterChecked
    | PlanAmended
    | WireChosen
    | ReadingTaken
    | DifferenceTold
    | ReadingStruck
    | Noted
    | Guessed
    | Paused
    | Woken
    | VerdictReached
    | VerdictWithdrawn
    | SweepImported
    | PhotoAttached
    | WatchBegun
    | ExcursionSeen
    | ExcursionStruck
    | WatchEnded
    | RecordImported
    | JobFinished
    | ReadingsImported
    | ClipsPurged
    | JobMerged
    | ReadingCorrected
    | NoteWorded
    | JobReviewed
    | MicrophoneChanged
    | SoundLevel
    | Unknown
)
