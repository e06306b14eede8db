"""Moving from step to step, and the end: verdict, repair, verification."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from handsfree.check import taken_sweep
from handsfree.dialogue import informed, jack, route, teaching
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, join
from handsfree.events import (
    JobFinished,
    Spoke,
    StepOpened,
    StepSkipped,
    VerdictReached,
    VerdictWithdrawn,
)
from handsfree.plan.schema import NO_OHMMETER, Step

#: Between two sentences.
_SENTENCE = re.compile(r"(?<=[.!?])\s+")


def go_on(desk: Desk, session: Session, step: Step, goto: str) -> Turn:
    """Go to where `step` sends: the next step, another one, or the end of the phase.

    In a free job nothing comes next.
    """
    if desk.free:
        return Turn(session)
    following, why = _following(desk, session, step, goto)
    if following is not None:
        return open_step(desk, session, following, "next").ended_by(why)
    if session.phase == "after_repair":
        return finish(desk, session)
    return conclude_tests(desk, session)


def _following(desk: Desk, session: Session, step: Step, goto: str) -> tuple[Step | None, str]:
    """The step that comes next, or None at the end of the phase, and why it is chosen.

    In the order of the plan, what waits for a doubt comes at the end, as far as it tells something.
    """
    following = route.after(desk.plan, session, step, goto)
    doubted = following is None and goto == "next" and route.waiting(desk.plan, session)
    if not (desk.informed or doubted) or session.phase != "test":
        return following, ""
    try:
        chosen = informed.proposal(desk, session)
    except LookupError:
        return following, ""
    return (desk.plan.step(chosen.test), informed.reason(desk, chosen)) if chosen else (None, "")


def begin_tests(desk: Desk, session: Session) -> Turn:
    """The first step; in a free job, what can be said."""
    if desk.free:
        return Turn(session).then(Spoke(desk.standing_prompt(session)))
    return open_step(desk, session, desk.plan.steps[0], "next")


def revise(desk: Desk, session: Session, step: Step, goto: str) -> Turn:
    """A reading that the verdict stands on has changed: route and verdict are found anew.

    Where the route goes on, the verdict is withdrawn; where it ends all the same, the verdict is
    told as it is now, and the tests after the repair go on if it names the same part.
    """
    testing = replace(session, phase="test", step=None)
    following, why = _following(desk, testing, step, goto)
    if following is not None:
        return open_step(desk, session, following, "next").ended_by(why)
    here, concluded = desk.step(session), conclude_tests(desk, session)
    same = _part(concluded.session) == _part(session)
    said = desk.say("verdict_stands" if same else "verdict_changed")
    if here is None or not same:
        return concluded.led_by([said])
    told = [replace(e, stands=True) for e in concluded.events if isinstance(e, VerdictReached)]
    turn = Turn(session).then(*told)
    return turn.then(Spoke(join([said, desk.prompt(turn.session, here, "back_to")])))


def _part(session: Session) -> str | None:
    return session.finding.part if session.finding else None


def open_step(desk: Desk, session: Session, step: Step, how: str, *, back: bool = False) -> Turn:
    """Open a step; says its condition if that changes, its caution and its prompt.

    A test that is opened after the verdict withdraws it.

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
    turn, words = Turn(session), [desk.lead_warning(session, step)]
    if step.phase == "test" and session.phase in ("verdict", "after_repair"):
        turn = turn.then(VerdictWithdrawn())
        words.append(desk.say("verdict_withdrawn") if session.finding else "")
    caution = ""
    if step.condition != session.condition:
        condition = desk.plan.condition(step.condition)
        if condition.say not in step.prompt.lower():
            words.append(desk.say("set_condition", condition=condition.say))
        caution = condition.caution
    words += [caution, _besides(step.caution, caution)]
    setups = tuple(sorted(informed.setups_after(desk, session, step)))
    untold = desk.untold(session, step)
    turn = turn.then(
        StepOpened(
            step.id,
            step.condition,
            phase=step.phase,
            setups=setups,
            back=back,
            untold=untold,
        )
    )
    turn = turn.and_then(jack.moved_for(desk, turn.session, step))
    if untold:
        words += teaching.before(desk, step)
    else:
        words.append(desk.bare_prompt(turn.session, step, how))
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
    if desk.free:
        count = desk.wording.integer(len(session.standing))
        said = join([jack.warning(desk, session), desk.say("finished_free", count=count)])
        return turn.then(Spoke(said), JobFinished("not verified"))
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
    warning = "" if phase == "test" else jack.warning(desk, session)
    said = join([warning, said, teaching.summary(desk, session)])
    return turn.then(Spoke(said), JobFinished(status, (*failed, *undone, *flaws)))


def _verdict(desk: Desk, session: Session) -> Turn:
    found = informed.explanation(desk, session)
    finding = informed.rule(desk, session)
    if finding is None and found is not None:
        finding = informed.finding(desk, session, found)
    if finding is None:
        said = desk.say("verdict_none", say=desk.plan.no_finding)
    else:
        said = desk.say("verdict_part", part=finding.part, say=finding.say, repair=finding.repair)
    said = join([jack.warning(desk, session), said])
    return Turn(session).then(VerdictReached(finding, session.outcomes, found), Spoke(said))


def _after_repair(desk: Desk) -> list[Step]:
    return [s for s in desk.plan.steps if s.phase == "after_repair"]


def _spoken(steps: Iterable[str]) -> str:
    return ", ".join(step.replace("_", " ") for step in steps)


def _besides(caution: str, told: str) -> str:
    """The sentences of a caution that were not told with another."""
    already = _SENTENCE.split(told)
    return " ".join(sentence for sentence in _SENTENCE.split(caution) if sentence not in already)
