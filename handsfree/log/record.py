"""A job, read once: its plan and its events, for everybody who wants to know what happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from handsfree.dialogue import Session
from handsfree.errors import Damaged
from handsfree.events import (
    Codec,
    JobFinished,
    JobOpened,
    JobRecovered,
    JobReviewed,
    JobTakenUp,
    Keep,
    Logged,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.log.chain import Line
from handsfree.log.folder import CLIPS, EVENTS, PHOTOS, PLAN, NotPlain, read_file, read_log
from handsfree.log.standing import Readings, standing_readings
from handsfree.log.verify import read
from handsfree.plan import Plan, parse_plan


@dataclass(frozen=True)
class JobRecord:
    """What is known of a job from its folder.

    Attributes:
        folder: of the job.
        plan_text: the exact text of the plan as used.
        plan: the same, read, with all that was told of it in the job.
        events: in order.
    """

    folder: Path
    plan_text: str
    plan: Plan
    events: tuple[Logged, ...]

    @classmethod
    def read(cls, folder: Path) -> JobRecord:
        """Read a job.  Whether it is as it was written is for `verify` to say.

        Raises:
            BadInput: this is no job folder, or its plan cannot be used.
            Damaged: its plan is gone, or a line tells nothing that can be understood.
        """
        lines = read(folder)
        text = plan_text(folder)
        return cls.of(folder, text, lines)

    @classmethod
    def of(cls, folder: Path, text: str, lines: Iterable[Line]) -> JobRecord:
        """A job from the text of its plan and the lines of its log.

        Raises:
            BadInput: its plan cannot be used.
            Damaged: a line tells nothing that can be understood.
        """
        codec = Codec(parse_plan(text, str(folder / PLAN)))
        events = decoded(codec, lines, folder)
        return cls(folder, text, codec.plan, events)

    @cached_property
    def session(self) -> Session:
        """Where the job stands."""
        return Session.of(logged.event for logged in self.events)

    @cached_property
    def readings(self) -> Readings:
        """All readings, and which of them count."""
        return standing_readings(self.events)

    @property
    def began(self) -> str:
        """Time of the first event; empty if there is none."""
        return self.events[0].time if self.events else ""

    @property
    def opened(self) -> JobOpened | None:
        """With what the job was opened."""
        first = self.events[0].event if self.events else None
        return first if isinstance(first, JobOpened) else None

    @property
    def subject(self) -> dict[str, str]:
        """What is tested, by whom and for which repair order, as it was told."""
        return dict(self.opened.subject) if self.opened else {}

    @property
    def verdict(self) -> VerdictReached | VerdictWithdrawn | None:
        """The last verdict, or that it was withdrawn, if one was reached."""
        verdicts = VerdictReached | VerdictWithdrawn
        found = [e.event for e in self.events if isinstance(e.event, verdicts)]
        return found[-1] if found else None

    @property
    def recovered(self) -> tuple[JobRecovered, ...]:
        """Of which damaged jobs this one is what was whole."""
        return tuple(e.event for e in self.events if isinstance(e.event, JobRecovered))

    @property
    def ending(self) -> JobFinished | None:
        """How the job ended, if it has."""
        found = [e.event for e in self.events if isinstance(e.event, JobFinished)]
        return found[-1] if found else None

    @property
    def manner(self) -> tuple[str, str]:
        """Route and verbosity of the last dictation; empty if they are not known."""
        begun = [e.event for e in self.events if isinstance(e.event, JobOpened | JobTakenUp)]
        known = [(e.route, e.verbosity) for e in begun if e.route]
        return known[-1] if known else ("", "")

    @property
    def keep(self) -> Keep:
        """Of which utterances the last dictation kept the sound."""
        begun = [e.event for e in self.events if isinstance(e.event, JobOpened | JobTakenUp)]
        told = begun[-1].keep if begun else ""
        return "never" if told == "never" else "readings" if told == "readings" else "all"

    @property
    def reviews(self) -> tuple[tuple[str, JobReviewed], ...]:
        """Who has looked through the job, and when."""
        return tuple((e.time, e.event) for e in self.events if isinstance(e.event, JobReviewed))

    def clip(self, name: str) -> bytes | None:
        """The sound or photo of that name; None if it is gone, or no plain file of the job."""
        own = name.startswith((f"{CLIPS}/", f"{PHOTOS}/"))
        try:
            return read_file(self.folder, name) if own else None
        except NotPlain:
            return None


def plan_text(folder: Path) -> str:
    """The plan of a job, as used.

    Raises:
        BadInput: this is no job folder.
        Damaged: its plan is gone.
    """
    read_log(folder)
    data = read_file(folder, PLAN)
    if data is None:
        raise Damaged("the plan of the job is not there", where=str(folder / PLAN))
    return data.decode(errors="replace")


def decoded(codec: Codec, lines: Iterable[Line], folder: Path) -> tuple[Logged, ...]:
    """The events of lines.

    Raises:
        Damaged: a line tells nothing that can be understood; names it.
    """
    events = []
    for line in lines:
        try:
            events.append(codec.read(line.seq, line.time, line.kind, line.fields))
        except (ValueError, KeyError) as error:
            raise Damaged(
                f"this line is no event of kind {line.kind!r}: {error}",
                where=f"{folder / EVENTS}, line {line.seq}",
                remedy="`handsfree verify` tells whether it was changed.",
            ) from error
    return tuple(events)
