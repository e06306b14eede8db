"""Questions and refusals: what is said when a value cannot be taken as it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from handsfree.check import Refusal, expected
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, closed, join
from handsfree.events import Asked, Question, Spoke
from handsfree.meaning import NO_UNIT, Take
from handsfree.plan.schema import Step

#: A question is put at most so often; then it is dropped.
ASK_AT_MOST = 3
#: After so many unclear utterances in a row the tool stays silent until one is clear.
MISSES_ANSWERED = 4


def ask(
    desk: Desk, session: Session, question: Question, reason: str, said: Iterable[str] = ()
) -> Turn:
    """Put a question, in other words each time; `said` goes before it in the same breath."""
    step = desk.plan.step(question.step)
    wire = desk.wording.step_name(step)
    takes = [desk.wording.take(t) for t in question.candidates]
    if question.kind == "correct":
        text = desk.say("ask_correct", wire=wire)
    elif question.kind == "guess":
        text = desk.say("ask_guess")
    elif question.kind == "confirm":
        key = "ask_confirm" if question.asked == 1 else "ask_confirm_again"
        text = desk.say(key, wire=wire, value=takes[0])
    else:
        if len({t.wire for t in question.candidates}) > 1:
            takes = [_with_wire(desk, t) for t in question.candidates]
        key = "ask_which" if question.asked == 1 else "ask_which_again"
        text = desk.say(key, first=takes[0], second=takes[1])
    asked = Asked(join([*said, text]), question, question.candidates, reason)
    return Turn(session).then(asked)


def _with_wire(desk: Desk, take: Take) -> str:
    said = desk.wording.take(take)
    return f"{desk.wording.pin(desk.plan.pin(take.wire))} {said}" if take.wire else said


def ask_again(desk: Desk, session: Session, question: Question) -> Turn:
    """Put the open question once more, or drop it after `ASK_AT_MOST` times."""
    if question.asked >= ASK_AT_MOST:
        turn = closed(session)
        prompt = desk.standing_prompt(turn.session)
        return turn.then(Spoke(desk.say("question_dropped", prompt=prompt)))
    return ask(desk, session, replace(question, asked=question.asked + 1), reason="again")


def refuse(desk: Desk, session: Session, step: Step, refusal: Refusal) -> Asked | Spoke:
    """Say why a value is not taken, and what is wanted."""
    wanted = desk.wording.expected(step, expected(step, session.taken))
    value = desk.wording.quantity(refusal.value) if refusal.value is not None else ""
    say = desk.say
    if refusal.reason == "absurd":
        return Asked(say("ask_absurd", value=value), reason="absurd")
    if step.measure.states:
        states = f" {say('or')} ".join(map(desk.wording.state, step.measure.states))
        return Spoke(say("refuse_kind_state", states=states))
    if step.measure.options:
        answers = f" {say('or')} ".join(o.value for o in step.measure.options)
        return Spoke(say("refuse_kind_answer", answers=answers))
    unit = desk.wording.unit_kind(step)
    if refusal.reason == "dimension":
        return Spoke(say("refuse_dimension", value=value, unit=unit, expected=wanted))
    return Spoke(say("refuse_kind_value", unit=unit, expected=wanted))


def unclear(desk: Desk, session: Session, reason: str) -> Turn:
    """A short question for what was not understood, never often in the same words."""
    if session.question and session.question.kind != "correct":
        return ask_again(desk, session, session.question)
    if session.misses > MISSES_ANSWERED:
        return Turn(session)
    step = desk.focus(session)
    if step and reason == NO_UNIT:
        return Turn(session).then(refuse(desk, session, step, Refusal("kind")))
    wire = desk.wording.step_name(step) if step else ""
    return Turn(session).then(Asked(desk.say(f"unclear_{min(session.misses, 3)}", wire=wire)))
