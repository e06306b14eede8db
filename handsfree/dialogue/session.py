"""What the dialogue remembers, and what each event makes of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from handsfree.dialogue.voice_record import UNHEARD, VoiceRecord
from handsfree.events import (
    Asked,
    ConditionSet,
    Entry,
    Event,
    ExcursionSeen,
    ExcursionStruck,
    Guess,
    Guessed,
    JobFinished,
    JobTakenUp,
    LeadMoved,
    MeterChecked,
    Paused,
    PlanAmended,
    Question,
    QuestionClosed,
    ReadingCorrected,
    ReadingStruck,
    ReadingTaken,
    RecordImported,
    StepOpened,
    StepSkipped,
    SweepImported,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
    Watch,
    WatchBegun,
    WatchEnded,
    WireChosen,
    Woken,
)
from handsfree.grammar.moment import Moment
from handsfree.meaning import Aside, Meaning, Take, Unclear
from handsfree.plan.amended import Amendment
from handsfree.plan.schema import Finding, Outcome
from handsfree.units import Quantity, quantity

Phase = Literal["test", "verdict", "after_repair", "finished"]


@dataclass(frozen=True, slots=True)
class Session:
    """Where the dialogue stands: the events of the job so far, and nothing else, make it.

    Attributes:
        phase: test, verdict (awaiting the repair), after_repair, finished.
        step: id of the open step; None when no step is open.
        condition: id of the condition that is set, as far as is known.
        entries: every take, in order; nothing is removed.
        skipped: ids of the steps that were skipped.
        visited: steps that were open before this one, latest last.
        question: the open question.
        paused: True while only the wake words count.
        misses: unclear utterances in a row.
        finding: the verdict, once there is one.
        guesses: what the apprentice expected, in order.
        sweep: flaws of a sweep that was imported; None if none was.
        setups: what is made for a test and stays so: trim off, connector unplugged.
        watches: every watch, in order.
        now: when something was last said, in seconds since 1970; 0 if nobody tells it.
        leads: resistance of the meter's leads, once it was measured.
        jack: in which the red lead of the meter is, as far as is known.
        told: what was told of the plan, in order.
        wire: pin of the wire that was named or read last; in a free job it is meant where none
            is named.
        speaker: how well the technician is heard.
    """

    phase: Phase = "test"
    step: str | None = None
    condition: str | None = None
    entries: tuple[Entry, ...] = ()
    skipped: frozenset[str] = frozenset()
    visited: tuple[str, ...] = ()
    question: Question | None = None
    paused: bool = False
    misses: int = 0
    finding: Finding | None = None
    guesses: tuple[Guess, ...] = ()
    setups: frozenset[str] = frozenset()
    sweep: tuple[str, ...] | None = None
    watches: tuple[Watch, ...] = ()
    now: float = 0.0
    leads: Quantity | None = None
    jack: Literal["current", "volts"] = "volts"
    told: tuple[Amendment, ...] = ()
    wire: str | None = None
    speaker: VoiceRecord = UNHEARD

    @classmethod
    def of(cls, events: Iterable[Event]) -> Session:
        """Where a job stands after its events."""
        session = cls()
        for event in events:
            session = session.after(event)
        return session

    def after(self, event: Event) -> Session:
        """Where the dialogue stands after one more event."""
        match event:
            case UtteranceHeard(understood=understood, at=at):
                now = self.now if at is None else at
                return replace(self, misses=self._missed(understood.meaning), now=now)
            case JobTakenUp():  # by another voice; it is said where the job stands
                return replace(self, now=0.0, speaker=UNHEARD)
            case StepOpened():
                return self._opened(event)
            case StepSkipped(step=step):
                return replace(self, skipped=self.skipped | {step})
            case PlanAmended(change=change, anew=anew):
                told = replace(self, told=(*self.told, change))
                return told._anew() if anew else told
            case WireChosen(pin=pin):
                return replace(self, wire=pin)
            case ConditionSet(condition=condition):
                return replace(self, condition=condition)
            case WatchBegun():
                return replace(self, watches=(*self.watches, Watch(event)), question=None)
            case ExcursionSeen() | ExcursionStruck() | WatchEnded():
                watches = (
                    w.after(event) if w.begun.number == event.watch else w for w in self.watches
                )
                return replace(self, watches=tuple(watches))
            case RecordImported():
                watches = (w.with_record(event) for w in self.watches)
                return replace(self, watches=tuple(watches))
            case MeterChecked(part="leads", passed=passed, value=value, unit=unit):
                known = passed and value is not None and value > 0
                leads = quantity(value, unit) if known and value is not None else None
                return replace(self, leads=leads, question=None)
            case MeterChecked():
                return replace(self, question=None)
            case LeadMoved(jack=jack):
                return replace(self, jack=jack)
            case ReadingTaken(entry=entry, pins=pins):
                kept = self._voided(entry.supersedes)
                skipped = self.skipped - {entry.step}
                return replace(
                    self,
                    entries=(*kept, entry),
                    skipped=skipped,
                    question=None,
                    wire=pins[0] if len(pins) == 1 else None,
                    speaker=self._told_by(entry),
                )
            case ReadingCorrected(taken=taken):
                return self.after(taken)
            case ReadingStruck(number=number):
                misheard = self.speaker.heard(right=False)
                return replace(self, entries=self._voided(number), speaker=misheard)
            case Asked(question=Question() as question):
                return replace(self, question=question)
            case QuestionClosed():
                denied = self.question is not None and self.question.kind in ("confirm", "several")
                speaker = self.speaker.heard(right=False) if denied else self.speaker
                return replace(self, question=None, speaker=speaker)
            case Guessed(guess=guess):
                return replace(self, guesses=(*self.guesses, guess))
            case Paused():
                return replace(self, paused=True)
            case Woken():
                return replace(self, paused=False)
            case VerdictReached(finding=finding, stands=True):
                return replace(self, finding=finding)
            case VerdictReached(finding=finding):
                return replace(self, phase="verdict", step=None, question=None, finding=finding)
            case VerdictWithdrawn():
                return replace(self, finding=None)
            case SweepImported(flaws=flaws):
                return replace(self, sweep=tuple(one.flaw for one in flaws))
            case JobFinished():
                return replace(self, phase="finished", step=None, question=None)
        return self

    def _anew(self) -> Session:
        """No test is open yet, and none was passed over."""
        begun = Session()
        return replace(
            self,
            step=None,
            condition=None,
            question=None,
            skipped=begun.skipped,
            visited=begun.visited,
            guesses=begun.guesses,
            setups=begun.setups,
        )

    def _told_by(self, entry: Entry) -> VoiceRecord:
        """What a value tells of how the technician is heard.

        A correction says that the last one was misheard, an answer whether the first thing that
        was offered was right; else the value before stood until this one was said.
        """
        question = self.question
        if entry.corrects:
            return self.speaker.heard(right=False)
        if question and question.kind in ("confirm", "several", "which"):
            return self.speaker.heard(right=entry.take == question.candidates[0])
        return self.speaker.heard(right=True) if self.entries else self.speaker

    def _missed(self, meaning: Meaning) -> int:
        """Misunderstandings in a row; an open question is put again, and counts itself."""
        if not isinstance(meaning, Unclear | Aside):
            return 0
        if isinstance(meaning, Aside) and not meaning.about:  # nobody was spoken to
            return self.misses
        again = self.question is not None and self.question.kind not in (
            "correct",
            "finish",
            "meant",
        )
        return self.misses if again else self.misses + 1

    def _opened(self, event: StepOpened) -> Session:
        """A step is open; steps that were visited in another phase are not gone back to."""
        phase = event.phase or self.phase
        visited = self.visited
        if event.back:
            visited = visited[:-1]
        elif phase != self.phase and "after_repair" in (phase, self.phase):
            visited = ()
        elif self.step not in (None, event.step):
            visited = (*visited, self.step or "")
        skipped = self.skipped | ({event.skipped} if event.skipped else set())
        setups = self.setups if event.setups is None else frozenset(event.setups)
        return replace(
            self,
            phase=phase,
            step=event.step,
            condition=event.condition,
            skipped=skipped,
            visited=visited,
            setups=setups,
            question=None,
        )

    def _voided(self, number: int | None) -> tuple[Entry, ...]:
        """The entries, of which one no longer stands."""
        return tuple(replace(e, stands=False) if e.number == number else e for e in self.entries)

    @property
    def moment(self) -> Moment:
        """Which grammar is active."""
        if self.paused:
            return "asleep"
        if self.watch:
            return "watching"
        if self.question:
            return "answering"
        return "listening" if self.entries else "beginning"

    @property
    def watch(self) -> Watch | None:
        """The watch that is on."""
        return next((one for one in self.watches if one.ended is None), None)

    @property
    def standing(self) -> dict[str, Entry]:
        """The entry that counts, by step id."""
        return {e.step: e for e in self.entries if e.stands}

    @property
    def taken(self) -> Mapping[str, Take]:
        """The take that counts, by step id."""
        return {step: entry.take for step, entry in self.standing.items()}

    @property
    def outcomes(self) -> dict[str, Outcome]:
        """Outcome by step id, for the plan's rules."""
        outcomes: dict[str, Outcome] = dict.fromkeys(self.skipped, "skipped")
        for step, entry in self.standing.items():
            if entry.verdict.outcome:
                outcomes[step] = entry.verdict.outcome
        return outcomes

    @property
    def last(self) -> Entry | None:
        """The latest entry that stands."""
        return next((e for e in reversed(self.entries) if e.stands), None)

    @property
    def measured(self) -> tuple[Entry, ...]:
        """The entries that stand, and those that were measured once more: both are evidence."""
        counted = {e.number for e in self.entries if e.stands}
        for entry in reversed(self.entries):
            if entry.number in counted and entry.supersedes and not entry.corrects:
                counted.add(entry.supersedes)
        return tuple(e for e in self.entries if e.number in counted)
