"""Apprentice mode: how to probe and why, a question back, and what was learned."""

from __future__ import annotations

from handsfree.check import Comparison, check
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.events import Guess, Guessed, Spoke
from handsfree.meaning import Ambiguous, Take
from handsfree.meaning.meanings import candidates
from handsfree.plan.schema import Step


def before(desk: Desk, step: Step) -> list[str]:
    """What an apprentice is told before a step, ending with the question what to expect."""
    probe = step.probe
    return [
        desk.say("next_untold", prompt=step.prompt),
        desk.say("apprentice_probe", red=probe.red, black=probe.black, how=probe.how),
        desk.say("apprentice_why", why=step.why),
        desk.say("ask_guess"),
    ]


def judge_guess(desk: Desk, session: Session, step: Step, said: Take | Ambiguous | None) -> Turn:
    """The apprentice has said what to expect, or that it is not known (None)."""
    takes = candidates(said) if said else ()
    verdicts = [check(take, step, desk.plan, session.taken) for take in takes]
    right = any(isinstance(v, Comparison) and v.passed for v in verdicts)
    guess = Guess(step.id, takes[0] if takes else None, right)
    key = "guess_right" if right else "guess_wrong" if takes else "guess_unknown"
    text = desk.say(key, expected=desk.expectation(session, step))
    return Turn(session).then(Guessed(guess), Spoke(text))


def summary(desk: Desk, session: Session) -> str:
    """What was learned and what to practise; empty if nothing was asked."""
    if not session.guesses:
        return ""
    right = sum(guess.right for guess in session.guesses)
    wrong = dict.fromkeys(
        desk.wording.step_name(desk.plan.step(g.step)) for g in session.guesses if not g.right
    )
    numbers = {
        "right": desk.wording.integer(right),
        "all": desk.wording.integer(len(session.guesses)),
    }
    if not wrong:
        return desk.say("learned_all", **numbers)
    return desk.say("learned", **numbers, practise=", ".join(wrong))
