"""The first words of a job that goes on: where it stands, in one sentence."""

from __future__ import annotations

from handsfree.dialogue import route
from handsfree.dialogue.asking import ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.events import Spoke


def where(desk: Desk, session: Session) -> Turn:
    """Say where the job stands, and put the open question once more; nothing is changed."""
    step, turn = desk.step(session), Turn(session)
    if session.phase == "finished":
        return turn.then(Spoke(desk.say("going_on_finished")))
    if session.paused:
        return turn.then(Spoke(desk.say("going_on_paused")))
    if question := session.question:
        wire = desk.wording.step_name(desk.plan.step(question.step))
        return ask(desk, session, question, "again", [desk.say("going_on_question", wire=wire)])
    if step is None:
        prompt = desk.say("going_on_verdict", prompt=desk.standing_prompt(session))
        return turn.then(Spoke(prompt))
    steps = route.phase_steps(desk.plan, session)
    number = desk.wording.integer(steps.index(step) + 1)
    count = desk.wording.integer(len(steps))
    expected = desk.expectation(session, step)
    places = {"number": number, "count": count, "prompt": step.prompt, "expected": expected}
    return turn.then(Spoke(desk.say("going_on", **places)))
