"""Moving from step to step, and the end: verdict, repair, verification."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from handsfree.check import taken_sweep
from handsfree.diagnosis import conclude
from handsfree.dialogue import informed, route, teaching
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.effects import Conclude, Effect, Finish, Move, Say, join, lead
from handsfree.dialogue.session import Session
from handsfree.plan.schema import NO_OHMMETER, Step

#: What came of something: the session afterwards and what is to be done.
Turn = tuple[Session, list[Effect]]


def go_on(desk: Desk, session: Session, step: Step, goto: str) -> Turn:
    """Go to where `step` sends: the next step, another one, or the end of the phase."""
    following, why = _following(desk, session, step, goto)
    if following is not None:
        session, effects = open_step(desk, session, following, "next")
        return session, _append(effects, why)
    if session.phase == "after_repair":
        return finish(desk, session)
    return conclude_tests(desk, session)


def _following(desk: Desk, session: Session, step: Step, goto: str) -> tuple[Step | None, str]:
    """The step that comes next, or None at the end of the phase, and why it is chosen."""
    following = route.after(desk.plan, session, step, goto)
    if not desk.informed or session.phase != "test":
        return following, ""
    try:
        chosen = informed.proposal(desk, session)
    except LookupError:
        return following, ""
    return (desk.plan.step(chosen.test), informed.reason(desk, chosen)) if chosen else (None, "")


def revise(desk: Desk, session: Session, step: Step, goto: str) -> Turn:
    """A reading that the verdict stands on has changed: route and verdict are found anew.

    Where the route goes on, the verdict is withdrawn; where it ends all the same, the verdict is
    told as it is now, and the tests after the repair go on if it names the same part.
    """
    testing = replace(session, phase="test", step=None)
    following, why = _following(desk, testing, step, goto)
    if following is not None:
        session, effects = open_step(desk, session, following, "next")
        return session, _append(effects, why)
    here = desk.step(session)
    concluded, effects = conclude_tests(desk, testing)
    same = _part(concluded) == _part(session)
    said = desk.say("verdict_stands" if same else "verdict_changed")
    if here is None or not same:
        return concluded, lead(effects, [said])
    back = Say(join([said, desk.prompt(session, here, "back_to")]))
    verdict = [effect for effect in effects if isinstance(effect, Conclude)]
    return session, [*verdict, Move(here.id, here.condition), back]


def _part(session: Session) -> str | None:
    return session.finding.part if session.finding else None


def open_step(desk: Desk, session: Session, step: Step, how: str) -> Turn:
    """Open a step; says its condition if that changes, its caution and its prompt.

    A test that is opened after the verdict withdraws it.
    """
    if desk.plan.circuit_class in NO_OHMMETER and step.needs_ohmmeter:
        refused = Say(desk.say("refused_ohmmeter"))  # the loader refuses it first
        session = replace(session, skipped=session.skipped | {step.id}, step=step.id)
        session, effects = go_on(desk, session, step, step.on_skip)
        return session, [refused, *effects]
    words = []
    withdrawal: list[Effect] = []
    if step.phase == "test" and session.phase in ("verdict", "after_repair"):
        withdrawal.append(Conclude(None, session.outcomes, withdrawn=True))
        words.append(desk.say("verdict_withdrawn") if session.finding else "")
        session = replace(session, finding=None)
    if step.condition != session.condition:
        condition = desk.plan.condition(step.condition)
        if condition.say not in step.prompt.lower():
            words.append(desk.say("set_condition", condition=condition.say))
        words.append(condition.caution)
    words.append(step.caution)
    if session.step not in (None, step.id):
        session = replace(session, visited=(*session.visited, session.step or ""))
    setups = informed.setups_after(desk, session, step)
    session = replace(session, phase=step.phase, step=step.id, condition=step.condition)
    session = replace(session, question=None, setups=setups)
    if desk.untold(session, step):
        words += teaching.before(desk, step)
    else:
        words.append(desk.prompt(session, step, how))
    return session, [*withdrawal, Move(step.id, step.condition), Say(join(words))]


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
    computed = informed.finding(desk, found) if found else None
    finding = conclude(desk.plan, session.outcomes)
    if finding is None or (desk.informed and computed):
        finding = computed
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
