"""Reading a job, and telling whether it is as it was written.

What `verify` finds: a changed byte anywhere in the log, the clips, the plan or what was set
aside; lines deleted, added or swapped; a clip that is gone; a finished log that was cut; a cut
end whose clips are still there; two jobs put together.

What a hash chain cannot show, and so neither can `verify`:

- somebody who rewrites the whole folder, every hash and name included;
- whole lines cut off the end of a job that was never finished, and their clips with them;
- whether what was said was true.

Against the first two, the fingerprint of the last event is printed in the report and can be kept
elsewhere (on paper, in a message, at the shop's desk): a log that was rewritten or cut after
that has another fingerprint. It is the first 128 bits of that event's SHA-256; `compare` holds one
that was kept against the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from handsfree.errors import BadInput, Damaged
from handsfree.log import chain
from handsfree.log.chain import Line
from handsfree.log.consistency import contradictions, event_of_clip, length, proof_of_more, setbacks
from handsfree.log.folder import (
    EVENTS,
    FINISHED,
    NotPlain,
    finish_flaw,
    read_file,
    read_log,
    stored_names,
)

_COPY = "Put it back from a copy of the folder; without one, do not rely on it."
_LINE = "Compare with a copy of the folder; without one, rely on no line from here on."


@dataclass(frozen=True, slots=True)
class Remark:
    """One line for a person: where, what, and what to do."""

    where: str
    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.remedy}"


@dataclass(frozen=True, slots=True)
class Verification:
    """Whether a job is as it was written.

    Attributes:
        state: `finished`, `open` (the job was not finished, or was taken up again) or `damaged`.
        events: how many events there are.
        fingerprint: of the last event; empty if there is none.
        problems: each damage.
        remarks: what is no damage but worth knowing, such as bytes of a cut write.
    """

    state: Literal["finished", "open", "damaged"]
    events: int
    fingerprint: str
    problems: tuple[Remark, ...]
    remarks: tuple[Remark, ...]

    @property
    def ok(self) -> bool:
        """Whether nothing is damaged."""
        return not self.problems


def read(folder: Path) -> list[Line]:
    """Every event of a job that can be read, in order; a cut last line is passed over.

    Whether they are as they were written is for `verify` to say.

    Raises:
        BadInput: this is no job folder, or it cannot be read.
    """
    return list(chain.scan(read_log(folder)).events)


def verify(folder: Path) -> Verification:
    """Check a job: chain, sequence, files named by events, finishing mark, cut writes.

    Raises:
        BadInput: this is no job folder, or it cannot be read.
    """
    log = chain.scan(read_log(folder))
    mark = read_file(folder, FINISHED)
    flaws = sorted((*log.flaws, *contradictions(log.events)), key=lambda flaw: flaw.line)
    problems = [Remark(f"{EVENTS}, line {flaw.line}", flaw.what, _LINE) for flaw in flaws]
    remarks = [
        Remark(
            f"{EVENTS}, line {seq}",
            f"the clock was set back by {length(time)} before this line",
            "The order of the lines holds, their times may not.",
        )
        for seq, time in setbacks(log.events)
    ]
    stored = stored_names(folder)
    if proof := proof_of_more(stored, log.events):
        what = (
            f"the log was longer: this file comes of event {event_of_clip(proof)}, which is cut off"
        )
        problems.append(Remark(proof, what, _COPY))

    if not log.events or log.events[0].kind != "opened":
        problems.append(Remark(EVENTS, "the log does not begin with the job's opening", _COPY))
    if flaw := finish_flaw(mark, log.events):
        problems.append(Remark(FINISHED, flaw, _COPY))
    if log.tail:
        (problems if chain.holds_whole_event(log.tail) else remarks).append(_tail(log))

    named = _check_named_files(folder, log.events, problems, remarks)
    remarks += [
        Remark(
            name,
            "no event names this file: the write of its event was cut short",
            "It is no evidence; keep it or delete it.",
        )
        for name in stored
        if name not in named and name != proof
    ]

    finished = ends_finished(log.events)
    if finished and mark is None:
        remarks.append(
            Remark(
                FINISHED,
                "the job is finished but its finishing mark is not there",
                "Open the job and finish it again to have one.",
            )
        )
    return Verification(
        "damaged" if problems else "finished" if finished else "open",
        len(log.events),
        chain.fingerprint(log.events[-1]) if log.events else "",
        tuple(problems),
        tuple(remarks),
    )


def ends_finished(events: Sequence[Line]) -> bool:
    """Whether a job has ended, and nothing came after but what may."""
    kinds = (event.kind for event in reversed(events) if event.kind not in chain.ADDENDA)
    return next(kinds, "") == "finished"


def compare(folder: Path, kept: str) -> Remark | None:
    """Hold a fingerprint that was kept elsewhere against a job.

    Args:
        folder: of the job.
        kept: the fingerprint, as it was printed or copied by hand.

    Returns:
        What is to be known of it, such as that the job went on since; None if it is that of the
        last event.

    Raises:
        Damaged: the job is not the one that it was taken of, or not as it was then.
        BadInput: it is no fingerprint, or this is no job folder.
    """
    try:
        digits = chain.fingerprint_digits(kept)
    except ValueError as error:
        raise BadInput(
            str(error),
            where="--fingerprint",
            remedy="It is eight groups of four signs, 0 to 9 and a to f; four in older reports.",
        ) from error
    events = read(folder)
    at = next((event for event in events if event.digest.startswith(digits)), None)
    after = [] if at is None else events[events.index(at) + 1 :]
    went_on = any(event.kind not in chain.ADDENDA for event in after)
    if at is None or (at.kind == "finished" and went_on):
        raise Damaged(
            "the fingerprint is not that of this log"
            if at is None
            else f"the fingerprint is that of event {at.seq}, with which the job had ended",
            where=str(folder),
            remedy="The log was rewritten, cut or added to since, or it is that of another job.",
        )
    since = len(after)
    if since:
        what = f"the fingerprint is that of event {at.seq}; {since} came after it"
        return Remark(EVENTS, what, "Up to that event the log is as it was then.")
    if len(digits) < chain.FINGERPRINT_DIGITS:
        what = f"only {4 * len(digits)} bits were compared"
        return Remark(EVENTS, what, "Two logs can be made that share so few; keep all of it.")
    return None


def _tail(log: chain.Scan) -> Remark:
    where = f"{EVENTS}, last line"
    if chain.holds_whole_event(log.tail):
        return Remark(where, "the last line was changed, or spoilt by a power failure", _LINE)
    return Remark(
        where,
        f"the last {len(log.tail)} bytes are a write that was cut short and never read back",
        "Going on with the job sets them aside.",
    )


@dataclass(frozen=True, slots=True)
class _Beside:
    """A file beside the log.

    Attributes:
        digest: of its bytes; empty if there are none.
        flaw: why it has none.
        size: in bytes.
        whole: whether it holds more than the beginning of a line.
    """

    digest: str = ""
    flaw: str = ""
    size: int = 0
    whole: bool = False

    @classmethod
    def of(cls, folder: Path, name: str) -> _Beside:
        """What stands under a name that an event tells."""
        try:
            data = read_file(folder, name)
        except NotPlain as error:
            return cls(flaw=f"is not to be read: {error.what}")
        if data is None:
            return cls(flaw="is gone")
        return cls(chain.digest(data), "", len(data), chain.holds_whole_event(data[:_LOOKED_AT]))


#: Bytes of what was set aside that are looked at: more than any line has.
_LOOKED_AT = 1 << 20


def _check_named_files(
    folder: Path, events: tuple[Line, ...], problems: list[Remark], remarks: list[Remark]
) -> set[str]:
    """Check each file whose hash an event holds; return the names."""
    known: dict[str, _Beside] = {}
    for event in events:
        for role, name, expected in event.files:
            if name not in known:
                known[name] = _Beside.of(folder, name)
            file, where = known[name], name[:100]
            if flaw := file.flaw or ("was changed" if file.digest != expected else ""):
                problems.append(Remark(where, f"the {role} of event {event.seq} {flaw}", _COPY))
            elif role == "aside" and file.whole:
                what = f"a spoilt line that may have been read back stood before event {event.seq}"
                problems.append(Remark(where, what, "Look at it, and take that reading again."))
            elif role == "aside":
                what = f"{file.size} bytes of a cut write were set aside at event {event.seq}"
                remarks.append(Remark(where, what, "They were never read back."))
    return set(known)
