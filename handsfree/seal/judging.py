"""What the seals of a job say of its log.  Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from handsfree.log.chain import Line
from handsfree.log.consistency import AFTERWARDS
from handsfree.seal.keys import Trusted
from handsfree.seal.statement import BadLine, Seal, Statement, key_id, shown_key

Trust = Literal["given", "own", "known", "first sight"]

#: How sure it is whose key that is.
_TRUSTED: dict[Trust, str] = {
    "given": "with the key that was given",
    "own": "with the key of this machine",
    "known": "with a key that is known here",
    "first sight": "with a key that is not known here and comes with the seal itself: "
    "compare it with the shop's, or ask for the file and give it with --key",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """One seal, held against what it is of.

    Attributes:
        seal: it.
        trust: how sure it is whose key that is.
        problems: why it is not, or no longer, a seal of this.
        after: events that came after it.
    """

    seal: Seal
    trust: Trust
    problems: tuple[str, ...] = ()
    after: int = 0

    def __str__(self) -> str:
        stated = self.seal.statement
        return (
            f"sealed by “{stated.shop}” on {stated.time}, seal {stated.number} of key "
            f"{shown_key(stated.key)}, {_TRUSTED[self.trust]}"
        )


@dataclass(frozen=True, slots=True)
class SealStatus:
    """What is known of the seals of a job or a file.

    Attributes:
        state: `sealed`; `changed` (sealed, but not as it is now); `not sealed`.
        last: the last seal that counts; None if there is none.
        problems: why it is changed.
        remarks: what is worth knowing besides.
    """

    state: Literal["sealed", "changed", "not sealed"]
    last: Judged | None
    problems: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """All of it in a sentence or two, for a person."""
        if self.state == "not sealed":
            return "not sealed"
        told = str(self.last) if self.last else "there are seals"
        if self.state == "changed":
            return f"{told}; but it was changed: {'; '.join(self.problems)}"
        return told


def judge_job(
    events: Sequence[Line],
    seals: Sequence[Seal],
    bad: Sequence[BadLine],
    trusted: Trusted,
    made_here: Sequence[Seal] = (),
    damage: str = "",
) -> SealStatus:
    """Hold the seals of a job against its events.

    Args:
        events: of the log as it is now.
        seals: of its folder, in order.
        bad: lines of its seals that are none.
        trusted: keys that are known otherwise.
        made_here: what this machine's own list holds, of all jobs.
        damage: what `verify` says is damaged, if anything.
    """
    counted = [seal for seal in seals if not trusted.given or seal.public in trusted.given]
    judged = [Judged(seal, trust_in(seal, trusted), *_against(seal, events)) for seal in counted]
    listed = _listed(events, made_here)
    problems = [f"line {one.number} of the seals is none: {one.why}" for one in bad]
    problems += [problem for one in judged for problem in one.problems]
    problems += _missing(events, listed)
    last = judged[-1] if judged else None
    if damage and (judged or bad or listed):
        problems.insert(0, damage)
    if trusted.given and not judged:
        other = "other keys have sealed it, not the one that was given" if seals else ""
        problems += [other] if other else []
    if problems:
        return SealStatus("changed", last, tuple(dict.fromkeys(problems)))
    if last is None:
        return SealStatus("not sealed", None)
    return SealStatus("sealed", last, (), tuple(_remarks(events, last, seals, counted)))


def judge_file(
    digest: str, name: str, seal: Seal, trusted: Trusted, events: Sequence[Line] | None
) -> SealStatus:
    """Hold the seal of a file against the file, and against the job that it was made of.

    Args:
        digest: SHA-256 of the file.
        name: of the file.
        seal: that lies beside it.
        trusted: keys that are known otherwise.
        events: of the job; None if it is not at hand.
    """
    stated, problems = seal.statement, list[str]()
    if stated.seals != "file":
        problems.append("the seal is that of a job, not of a file")
    elif stated.sha256 != digest:
        problems.append("the file is not the one that was sealed")
    if events is not None:
        problems += _against(seal, events)[0]
    if trusted.given and seal.public not in trusted.given:
        problems.append("another key has sealed it, not the one that was given")
    judged = Judged(seal, trust_in(seal, trusted), tuple(problems))
    remarks = []
    if stated.file != name:
        remarks.append(f"it was called {stated.file} when it was sealed")
    if events is not None and not problems and len(events) > stated.events:
        remarks.append(f"the job has gone on since: {_events(len(events) - stated.events)}")
    return SealStatus("changed" if problems else "sealed", judged, tuple(problems), tuple(remarks))


def trust_in(seal: Seal, trusted: Trusted) -> Trust:
    """How sure it is whose key a seal was made with."""
    for trust, keys in (("given", trusted.given), ("own", trusted.own), ("known", trusted.known)):
        if seal.public in keys:
            return trust  # type: ignore[return-value]
    return "first sight"


def _against(seal: Seal, events: Sequence[Line]) -> tuple[tuple[str, ...], int]:
    """What contradicts a seal, and how many events came after it."""
    stated = seal.statement
    if not events or events[0].digest != stated.job:
        return ("the seal is of another job, or the log was made anew",), 0
    if stated.events > len(events):
        return (_cut(stated, len(events)),), 0
    if events[stated.events - 1].digest != stated.head:
        return (f"the log is not as it was sealed, up to event {stated.events}",), 0
    since = events[stated.events :]
    if stated.state == "finished" and any(event.kind not in AFTERWARDS for event in since):
        return ("something was added after the end of the job, which was sealed",), len(since)
    return (), len(since)


def _cut(stated: Statement, events: int) -> str:
    return (
        f"the log ends with event {events}, but event {stated.events} was sealed on "
        f"{stated.time}: it was cut, or this is an older copy"
    )


def _listed(events: Sequence[Line], made_here: Sequence[Seal]) -> list[Seal]:
    """What this machine has sealed of the same job, in its order."""
    of_job = events[0].digest if events else ""
    return [seal for seal in made_here if seal.statement.job == of_job]


def _missing(events: Sequence[Line], listed: Sequence[Seal]) -> list[str]:
    """What this machine's own list says of the job that its folder does not."""
    problems = []
    for seal in listed:
        if (found := _against(seal, events)[0]) and seal.statement.seals == "job":
            problems += [f"by the list of seals on this machine, {found[0]}"]
    return problems[-1:]


def _remarks(
    events: Sequence[Line], last: Judged, seals: Sequence[Seal], counted: Sequence[Seal]
) -> list[str]:
    told = []
    if last.after:
        since = events[len(events) - last.after :]
        kinds = sorted({event.kind for event in since})
        told.append(f"{_events(last.after)} after it, not sealed: {', '.join(kinds)}"[:300])
    if last.trust != "given" and len({key_id(seal.public) for seal in counted}) > 1:
        told.append("more than one key has sealed it")
    if len(counted) < len(seals):
        told.append("other keys have sealed it as well")
    return told


def _events(number: int) -> str:
    return "1 event came" if number == 1 else f"{number} events came"
