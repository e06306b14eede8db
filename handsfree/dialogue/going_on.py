"""Where a job stands, in one sentence: when it goes on, after an outage, after an interruption."""

from __future__ import annotations

from handsfree.dialogue import route
from handsfree.dialogue.asking import ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, join
from handsfree.events import Asked, Spoke

INTERRUPTED = 300.0
"""Seconds without a word after which is said where the job stood."""


def after_interruption(desk: Desk, before: Session, turn: Turn, at: float | None) -> Turn:
    """What came of an utterance, led by where the job stood if there was an interruption before.

    Args:
        desk: the plan and its wording.
        before: the session before the utterance.
        turn: what came of it.
        at: when it was said, in seconds since 1970, UTC; None if nobody tells it.
    """
    step = desk.focus(before)
    silent = at is None or not any(isinstance(e, Spoke | Asked) for e in turn.events)
    if at is None or silent or step is None or not before.now or at - before.now < INTERRUPTED:
        return turn
    passed = desk.wording.duration(round((at - before.now) / 60) * 60)
    wire = desk.wording.step_name(step)
    return turn.led_by([desk.say("after_interruption", time=passed, wire=wire)])


def again(desk: Desk, session: Session) -> Turn:
    """Say again what the technician is waited for; nothing is changed."""
    if session.question:
        return ask(desk, session, session.question, "again")
    return Turn(session).then(Spoke(desk.standing_prompt(session)))


def where(desk: Desk, session: Session) -> Turn:
    """Say where the job stands, and put the open question once more; nothing is changed."""
    step, turn = desk.step(session), Turn(session)
    if session.phase == "finished":
        return turn.then(Spoke(desk.say("going_on_finished")))
    if session.paused:
        return turn.then(Spoke(desk.say("going_on_paused")))
    if question := session.question:
        about = desk.focus(session)
        wire = desk.wording.step_name(about) if about else ""
        said = [desk.say("going_on_question", wire=wire)] if about else []
        return ask(desk, session, question, "again", said)
    if session.watch:
        return turn.then(Spoke(desk.standing_prompt(session)))
    if desk.free:
        place = desk.standing_prompt(session)
        return turn.then(Spoke(desk.say("going_on_free", prompt=place)))
    if step is None:
        prompt = desk.say("going_on_verdict", prompt=desk.standing_prompt(session))
        return turn.then(Spoke(prompt))
    steps = route.line(desk.plan, session)
    number = desk.wording.integer(steps.index(step) + 1)
    count = desk.wording.integer(len(steps))
    places = {"number": number, "count": count, "prompt": step.prompt}
    warning = desk.lead_warning(session, step)
    if desk.untold(session, step):
        going_on = desk.say("going_on_untold", **places)
        return turn.then(Spoke(join([warning, going_on, desk.say("ask_guess")])))
    expected = desk.expectation(session, step)
    return turn.then(Spoke(join([warning, desk.say("going_on", **places, expected=expected)])))
