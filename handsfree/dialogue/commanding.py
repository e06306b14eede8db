"""Commands: what the technician asks of the tool."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from handsfree.check import expected
from handsfree.dialogue import route
from handsfree.dialogue.asking import ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.effects import Move, Say, lead
from handsfree.dialogue.moving import Turn, finish, go_on, open_step, repaired
from handsfree.dialogue.session import Session
from handsfree.dialogue.taking import answer, correct, strike
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
    if question and (unknown or command.name in ("choice", "wire", "yes", "no")):
        return answer(desk, session, question, command)
    if question and question.kind != "guess" and command.name in _AGAIN:
        return ask(desk, session, question, reason="again")
    session = replace(session, question=None)
    step = desk.step(session)
    prompt = desk.standing_prompt(session)
    match command.name:
        case "resume":
            session = replace(session, paused=False)
            return session, [Say(desk.say("resumed", prompt=prompt))]
        case "pause":
            return replace(session, paused=True), [Say(desk.say("paused"))]
        case "correct":
            return correct(desk, session, command.take, said, unsure=unsure)
        case "strike":
            return strike(desk, session)
        case "finish":
            return finish(desk, session)
        case "repaired":
            return repaired(desk, session)
        case "go" if command.wire is not None:
            return _go_to_wire(desk, session, (command.wire, *command.others))
        case "next" | "skip" if step:
            return _leave(desk, session, step, skip=command.name == "skip")
        case "back":
            return _back(desk, session)
        case "expected" | "probe" | "why" | "where" if step:
            return session, [Say(_tell(desk, session, step, command.name))]
    return session, [Say(prompt)]


def _back(desk: Desk, session: Session) -> Turn:
    if not session.visited:
        return session, [Say(desk.say("no_earlier_step"))]
    *earlier, previous = session.visited
    session, effects = open_step(desk, session, desk.plan.step(previous), "again")
    return replace(session, visited=tuple(earlier)), effects


def _leave(desk: Desk, session: Session, step: Step, *, skip: bool) -> Turn:
    """Go on without a value; a skipped step is marked, one that is merely left stays open."""
    if not skip:
        return go_on(desk, session, step, "next")
    session = replace(session, skipped=session.skipped | {step.id})
    session, effects = go_on(desk, session, step, step.on_skip)
    moved = [replace(e, skipped=step.id) if isinstance(e, Move) else e for e in effects]
    return session, lead(moved, [desk.say("skipped")])


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


def _go_to_wire(desk: Desk, session: Session, named: tuple[int, ...]) -> Turn:
    """Go to a wire; of several with one name, to the only one that is elsewhere."""
    here = desk.step(session)
    prompt = desk.standing_prompt(session)
    elsewhere = [pin for pin in named if not here or pin not in here.pins]
    if not elsewhere:
        return session, [Say(prompt)]
    found = {pin: route.for_wire(desk.plan, session, pin, here) for pin in elsewhere}
    steps = [step for step in found.values() if step]
    if len(steps) > 1:
        pins = [desk.wording.pin_number(desk.plan.pin(pin)) for pin, step in found.items() if step]
        either = f" {desk.say('or')} ".join(pins)
        return session, [Say(desk.say("which_pin", pins=either))]
    if not steps:
        wire = desk.wording.pin(desk.plan.pin(elsewhere[0]))
        return session, [Say(desk.say("no_step_for_wire", wire=wire, prompt=prompt))]
    how = "next" if route.is_open(session, steps[0]) else "again"
    return open_step(desk, session, steps[0], how)


def set_condition(desk: Desk, session: Session, condition: str) -> Turn:
    """A condition was set: the step at hand, or the open one that needs it."""
    here = desk.step(session)
    session = replace(session, condition=condition)
    said = desk.plan.condition(condition).say
    step = route.for_condition(desk.plan, session, condition, here)
    if step is None:
        wanted = desk.plan.condition(here.condition).say if here else ""
        unused = desk.say("condition_unused", condition=said, wanted=wanted)
        return session, [Say(unused)]
    if step is here:
        prompt = desk.prompt(session, step, "again")
        return session, [Say(desk.say("condition_set", condition=said, prompt=prompt))]
    return open_step(desk, session, step, "next")
