"""Moving from step to step, and the end: verdict, repair, verification."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from handsfree.check import taken_sweep
from handsfree.dialogue import informed, route, teaching
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.effects import Conclude, Effect, Finish, Move, Say, join, lead
from handsfree.dialogue.session import Question, Session
from handsfree.plan.schema import NO_OHMMETER, Step

#: What came of something: the session afterwards and what is to be done.
Turn = tuple[Session, list[Effect]]


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
        session, effects = open_step(desk, session, following, "next")
        return session, _append(effects, why)
    if session.phase == "after_repair":
        return finish(desk, session)
    return conclude_tests(desk, session)


def open_step(desk: Desk, session: Session, step: Step, how: str) -> Turn:
    """Open a step; says its condition if that changes, its caution and its prompt."""
    if desk.plan.circuit_class in NO_OHMMETER and step.needs_ohmmeter:
        refused = Say(desk.say("refused_ohmmeter"))  # the loader refuses it first
        session = replace(session, skipped=session.skipped | {step.id}, step=step.id)
        session, effects = go_on(desk, session, step, step.on_skip)
        return session, [refused, *effects]
    words = []
    if step.condition != session.condition:
        condition = desk.plan.condition(step.condition)
        if condition.say not in step.prompt.lower():
            words.append(desk.say("set_condition", condition=condition.say))
        words.append(condition.caution)
    words.append(step.caution)
    if session.step not in (None, step.id):
        session = replace(session, visited=(*session.visited, session.step or ""))
    setups = informed.setups_after(desk, session, step)
    session = replace(session, step=step.id, condition=step.condition, question=None, setups=setups)
    if desk.apprentice and step.id not in {guess.step for guess in session.guesses}:
        session = replace(session, question=Question("guess", step.id))
        words += teaching.before(desk, step)
    else:
        words.append(desk.prompt(session, step, how))
    return session, [Move(step.id, step.condition), Say(join(words))]


def conclude_tests(desk: Desk, session: Session) -> Turn:
    """The tests are through: the verdict of the plan's rules, then the repair is awaited."""
    session, effects = _verdict(desk, replace(session, phase="verdict", step=None))
    if _after_repair(desk):
        return session, _append(effects, desk.say("await_repair"))
    session, ending = finish(desk, session)
    return session, [*effects, *ending]


def repaired(desk: Desk, session: Session) -> Turn:
    """The repair is done: the tests after it."""
    steps = _after_repair(desk)
    if session.phase != "verdict" or not steps:
        prompt = desk.standing_prompt(session)
        return session, [Say(desk.say("nothing_to_repair", prompt=prompt))]
    session = replace(session, phase="after_repair", visited=())
    session, effects = open_step(desk, session, steps[0], "next")
    return session, lead(effects, [desk.say("after_repair")])


def finish(desk: Desk, session: Session) -> Turn:
    """The end of the job, verified only if every test after the repair passed."""
    effects: list[Effect] = []
    if session.phase == "test":
        session, effects = _verdict(desk, session)
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
    elif session.phase == "after_repair":
        said = desk.say("finished_open", steps=_spoken(undone))
    else:
        said = desk.say("finished_tests")
    session = replace(session, phase="finished", step=None, question=None)
    said = join([said, teaching.summary(desk, session)])
    return session, [*effects, Say(said), Finish(status, (*failed, *undone, *flaws))]


def _verdict(desk: Desk, session: Session) -> Turn:
    found = informed.explanation(desk, session)
    finding = informed.rule(desk, session)
    if finding is None and found is not None:
        finding = informed.finding(desk, session, found)
    if finding is None:
        said = desk.say("verdict_none", say=desk.plan.no_finding)
    else:
        said = desk.say("verdict_part", part=finding.part, say=finding.say, repair=finding.repair)
    session = replace(session, finding=finding)
    return session, [Conclude(finding, session.outcomes, found), Say(said)]


def _after_repair(desk: Desk) -> list[Step]:
    return [s for s in desk.plan.steps if s.phase == "after_repair"]


def _spoken(steps: Iterable[str]) -> str:
    return ", ".join(step.replace("_", " ") for step in steps)


def _append(effects: list[Effect], words: str) -> list[Effect]:
    *before, last = effects
    if not words or not isinstance(last, Say):
        return effects
    return [*before, Say(join([last.text, words]))]
