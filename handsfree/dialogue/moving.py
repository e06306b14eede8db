"""Moving from step to step, and the end: verdict, repair, verification."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from handsfree.check import taken_sweep
from handsfree.diagnosis import conclude
from handsfree.dialogue import informed, route, teaching
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, join
from handsfree.events import (
    Asked,
    JobFinished,
    Question,
    Spoke,
    StepOpened,
    StepSkipped,
    VerdictReached,
)
from handsfree.plan.schema import NO_OHMMETER, Step


def go_on(desk: Desk, session: Session, step: Step, goto: str) -> Turn:
    """Go to where `step` sends: the next step, another one, or the end of the phase."""
    why = ""
    following = route.after(desk.plan, session, step, goto)
    if desk.informed and session.phase == "test":
        try:
            chosen = informed.proposal(desk, session)
        except LookupError:
            pass
        else:
            following = desk.plan.step(chosen.test) if chosen else None
            why = informed.reason(desk, chosen) if chosen else ""
    if following is not None:
        return open_step(desk, session, following, "next").ended_by(why)
    if session.phase == "after_repair":
        return finish(desk, session)
    return conclude_tests(desk, session)


def open_step(desk: Desk, session: Session, step: Step, how: str, *, back: bool = False) -> Turn:
    """Open a step; says its condition if that changes, its caution and its prompt.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands.
        step: to be opened.
        how: "next" or "again".
        back: it is gone back to.
    """
    if desk.plan.circuit_class in NO_OHMMETER and step.needs_ohmmeter:
        refused = Spoke(desk.say("refused_ohmmeter"))  # the loader refuses it first
        turn = Turn(session).then(StepSkipped(step.id), refused)
        return turn.and_then(go_on(desk, turn.session, step, step.on_skip))
    words = []
    if step.condition != session.condition:
        condition = desk.plan.condition(step.condition)
        if condition.say not in step.prompt.lower():
            words.append(desk.say("set_condition", condition=condition.say))
        words.append(condition.caution)
    words.append(step.caution)
    setups = tuple(sorted(informed.setups_after(desk, session, step)))
    opened = StepOpened(step.id, step.condition, phase=step.phase, setups=setups, back=back)
    turn = Turn(session).then(opened)
    if desk.apprentice and step.id not in {guess.step for guess in session.guesses}:
        words += teaching.before(desk, step)
        return turn.then(Asked(join(words), Question("guess", step.id), reason="guess"))
    words.append(desk.prompt(turn.session, step, how))
    return turn.then(Spoke(join(words)))


def conclude_tests(desk: Desk, session: Session) -> Turn:
    """The tests are through: the verdict of the plan's rules, then the repair is awaited."""
    turn = _verdict(desk, session)
    if _after_repair(desk):
        return turn.ended_by(desk.say("await_repair"))
    return turn.and_then(finish(desk, turn.session))


def repaired(desk: Desk, session: Session) -> Turn:
    """The repair is done: the tests after it."""
    steps = _after_repair(desk)
    if session.phase != "verdict" or not steps:
        prompt = desk.standing_prompt(session)
        return Turn(session).then(Spoke(desk.say("nothing_to_repair", prompt=prompt)))
    return open_step(desk, session, steps[0], "next").led_by([desk.say("after_repair")])


def finish(desk: Desk, session: Session) -> Turn:
    """The end of the job, verified only if every test after the repair passed."""
    phase, turn = session.phase, Turn(session)
    if phase == "test":
        turn = _verdict(desk, session)
    steps = [s.id for s in _after_repair(desk)]
    undone = tuple(s for s in steps if s not in session.standing)
    failed = tuple(s for s in steps if s not in undone and session.outcomes.get(s) != "pass")
    flaws = session.sweep or tuple(f.flaw for f in taken_sweep(desk.plan, session.taken))
    status: Literal["verified", "not verified"] = "not verified"
    if failed:
        said = desk.say("finished_failed", steps=_spoken(failed))
    elif flaws and not undone:
        shown = [desk.say(f"flaw_{flaw.replace(' ', '_')}") for flaw in dict.fromkeys(flaws)]
        said = desk.say("finished_sweep", flaws=", ".join(shown))
    elif steps and not undone:
        status, said = "verified", desk.say("finished_verified")
    elif phase == "after_repair":
        said = desk.say("finished_open", steps=_spoken(undone))
    else:
        said = desk.say("finished_tests")
    said = join([said, teaching.summary(desk, session)])
    return turn.then(Spoke(said), JobFinished(status, (*failed, *undone, *flaws)))


def _verdict(desk: Desk, session: Session) -> Turn:
    found = informed.explanation(desk, session)
    computed = informed.finding(desk, found) if found else None
    finding = conclude(desk.plan, session.outcomes)
    if finding is None or (desk.informed and computed):
        finding = computed
    if finding is None:
        said = desk.say("verdict_none", say=desk.plan.no_finding)
    else:
        said = desk.say("verdict_part", part=finding.part, say=finding.say, repair=finding.repair)
    return Turn(session).then(VerdictReached(finding, session.outcomes, found), Spoke(said))


def _after_repair(desk: Desk) -> list[Step]:
    return [s for s in desk.plan.steps if s.phase == "after_repair"]


def _spoken(steps: Iterable[str]) -> str:
    return ", ".join(step.replace("_", " ") for step in steps)
