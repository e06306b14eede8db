"""What an answer means, by the question that is open: "the higher one", "yes, seven volts"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from handsfree.dialogue.session import Session
from handsfree.meaning import (
    Ambiguous,
    Command,
    Meaning,
    Observation,
    Reading,
    Take,
    Unclear,
    Understood,
)
from handsfree.meaning.meanings import is_correction
from handsfree.meaning.parsed import amount_of
from handsfree.plan.schema import Step

#: Answers that may name the value that they are about.
_ANSWERS = ("yes", "choice", "larger", "smaller", "said")


def answered(session: Session, step: Step | None, understood: Understood) -> Understood:
    """`understood` with what an answer says of the values that are asked about, or observed.

    An answer that does not fit its own value is not understood.  Where nothing is asked, "yes"
    after a value says nothing more.
    """
    match understood.meaning:
        case Command(name="yes" | "no") as plain if session.question is None and step:
            for option in step.measure.options or ():
                if plain.name in (option.value, *option.names):
                    return replace(understood, meaning=Observation(option.value), by_gist=True)
    match understood.meaning:
        case Command(name=name) as command if name in _ANSWERS:
            return replace(understood, meaning=_of_question(session, command))
    return understood


def correctable(session: Session) -> bool:
    """Whether a correction is of the value that is asked about, not of the last one."""
    return session.question is not None and session.question.kind in ("confirm", "which")


def chosen(session: Session, understood: Understood) -> Understood:
    """A correction by one of the values between which is asked chooses it."""
    match understood.meaning:
        case Command(name="correct", take=take) if take and session.question:
            offered = session.question.candidates if session.question.kind == "which" else ()
            if any(_alike(take, one) for one in offered):
                return replace(understood, meaning=take)
    return understood


def is_put_right(understood: Understood) -> bool:
    """Whether it is a correction whose number is not settled."""
    return is_correction(understood.meaning)


def in_number_forms(understood: Understood) -> Understood:
    """The value of such a correction, to be settled as any other."""
    assert isinstance(understood.meaning, Ambiguous)
    return replace(understood, meaning=replace(understood.meaning, reason="number form"))


def correcting(settled: Understood, *, something: bool) -> Understood:
    """The correction by a value that is settled; the value itself if there is nothing to correct.

    Of two values that are left the likelier is taken: a correction in these words is confirmed.
    """
    value = settled.meaning
    if not something:
        return settled
    take = value.candidates[0] if isinstance(value, Ambiguous) else value
    if not isinstance(take, Take):
        return settled
    return replace(settled, meaning=Command("correct", take=take))


def _of_question(session: Session, command: Command) -> Meaning:
    question, take = session.question, command.take
    if question is None and command.name in ("larger", "smaller", "said"):
        return Unclear("nothing is asked")
    if question is None:
        alone = take is not None and command.name == "yes"
        return take if take is not None and alone else replace(command, take=None)
    offered = question.candidates
    if command.name == "said" and take is not None:
        if not any(_alike(take, one) for one in offered):
            return replace(command, name="correct")
        return take if question.kind == "which" else Command("yes")
    place = command.choice
    if command.name in ("larger", "smaller"):
        place = _by_size(offered, command.name)
        if not place or command.choice not in (0, place):
            return Unclear("nothing can be told apart by its size")
        command = Command("choice", choice=place)
    if take is None:
        return command
    if command.name == "yes" and question.kind == "which":
        return take
    named = offered[place - 1 : place] if command.name == "choice" else offered
    if not any(_alike(take, one) for one in named):
        return Unclear("that is not what was asked")
    return replace(command, take=None)


def _by_size(offered: Sequence[Take], which: str) -> int:
    """The place of the largest or smallest value, from 1; 0 if they have no sizes."""
    sizes = [one.value for one in offered if isinstance(one, Reading) and one.value is not None]
    if len(sizes) != len(offered) or len(sizes) < 2:
        return 0
    if not all(size.is_compatible_with(sizes[0].units) for size in sizes):
        return 0
    wanted = max(sizes) if which == "larger" else min(sizes)
    return sizes.index(wanted) + 1


def _alike(take: Take, other: Take) -> bool:
    """Whether they are one value, whichever wire is named."""
    match take, other:
        case Reading(value=one), Reading(value=two) if one is not None and two is not None:
            return amount_of(one) == amount_of(two)
    return replace(take, wire=None) == replace(other, wire=None)
