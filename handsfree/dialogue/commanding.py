"""Commands: what the technician asks of the tool."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.check import expected
from handsfree.dialogue import route
from handsfree.dialogue.asking import ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import finish, go_on, open_step, repaired
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import answer, correct, strike
from handsfree.dialogue.turn import Turn, closed
from handsfree.events import ConditionSet, Paused, Spoke, StepSkipped, Woken
from handsfree.meaning import Command
from handsfree.plan.schema import Step

#: Commands by which an apprentice leaves open what to expect.
_NOT_KNOWN = ("unknown", "skip", "expected", "next")

#: Commands after which an open question is put once more.
_AGAIN = ("repeat", "louder", "softer", "faster", "slower")


def obey(
    desk: Desk, session: Session, command: Command, said: Iterable[str] = (), *, unsure: bool
) -> Turn:
    """Do what was asked.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands.
        command: what was asked.
        said: what goes before the read-back of a correction.
        unsure: a corrected value is confirmed before it is recorded.
    """
    question = session.question
    unknown = question and question.kind == "guess" and command.name in _NOT_KNOWN
    if question and (unknown or command.name in ("choice", "yes", "no")):
        return answer(desk, session, question, command)
    if question and question.kind != "guess" and command.name in _AGAIN:
        return ask(desk, session, question, reason="again")
    turn = closed(session)
    return turn.and_then(_obey(desk, turn.session, command, said, unsure=unsure))


def _obey(
    desk: Desk, session: Session, command: Command, said: Iterable[str], *, unsure: bool
) -> Turn:
    """Do what was asked while no question is open."""
    step = desk.step(session)
    turn, prompt = Turn(session), desk.standing_prompt(session)
    match command.name:
        case "resume":
            return turn.then(Woken(), Spoke(desk.say("resumed", prompt=prompt)))
        case "pause":
            return turn.then(Paused(), Spoke(desk.say("paused")))
        case "correct":
            return correct(desk, session, command.take, said, unsure=unsure)
        case "strike":
            return strike(desk, session)
        case "finish":
            return finish(desk, session)
        case "repaired":
            return repaired(desk, session)
        case "go" if command.wire is not None:
            return _go_to_wire(desk, session, command.wire)
        case "next" | "skip" if step:
            return _leave(desk, session, step, skip=command.name == "skip")
        case "back":
            return _back(desk, session)
        case "expected" | "probe" | "why" | "where" if step:
            return turn.then(Spoke(_tell(desk, session, step, command.name)))
    return turn.then(Spoke(prompt))


def _back(desk: Desk, session: Session) -> Turn:
    if not session.visited:
        return Turn(session).then(Spoke(desk.say("no_earlier_step")))
    return open_step(desk, session, desk.plan.step(session.visited[-1]), "again", back=True)


def _leave(desk: Desk, session: Session, step: Step, *, skip: bool) -> Turn:
    """Go on without a value; a skipped step is marked, one that is merely left stays open."""
    if not skip:
        return go_on(desk, session, step, "next")
    turn = Turn(session).then(StepSkipped(step.id))
    following = go_on(desk, turn.session, step, step.on_skip)
    return turn.and_then(following.led_by([desk.say("skipped")]))


def _tell(desk: Desk, session: Session, step: Step, what: str) -> str:
    say = desk.say
    match what:
        case "expected":
            wanted = expected(step, session.taken)
            return say("expected_is", expected=desk.wording.expected(step, wanted))
        case "probe":
            probe = step.probe
            return say("probe_is", red=probe.red, black=probe.black, how=probe.how)
        case "why":
            return step.why
    steps = route.phase_steps(desk.plan, session)
    number = str(steps.index(step) + 1)
    return say("where_is", number=number, count=str(len(steps)), prompt=step.prompt)


def _go_to_wire(desk: Desk, session: Session, pin: int) -> Turn:
    here = desk.step(session)
    prompt = desk.standing_prompt(session)
    if here and pin in here.pins:
        return Turn(session).then(Spoke(prompt))
    step = route.for_wire(desk.plan, session, pin, here)
    if step is None:
        wire = desk.wording.pin(desk.plan.pin(pin))
        return Turn(session).then(Spoke(desk.say("no_step_for_wire", wire=wire, prompt=prompt)))
    return open_step(desk, session, step, "next")


def set_condition(desk: Desk, session: Session, condition: str) -> Turn:
    """A condition was set: the step at hand, or the open one that needs it."""
    turn = closed(session).then(ConditionSet(condition))
    session = turn.session
    here = desk.step(session)
    said = desk.plan.condition(condition).say
    step = route.for_condition(desk.plan, session, condition, here)
    if step is None:
        wanted = desk.plan.condition(here.condition).say if here else ""
        unused = desk.say("condition_unused", condition=said, wanted=wanted)
        return turn.then(Spoke(unused))
    if step is here:
        prompt = desk.prompt(session, step, "again")
        return turn.then(Spoke(desk.say("condition_set", condition=said, prompt=prompt)))
    return turn.and_then(open_step(desk, session, step, "next"))
