"""Which step comes next."""

from __future__ import annotations

from collections.abc import Callable

from handsfree.dialogue.session import Session
from handsfree.plan.schema import Plan, Step


def phase_steps(plan: Plan, session: Session) -> list[Step]:
    """The steps of the phase that is on."""
    phase = "after_repair" if session.phase == "after_repair" else "test"
    return [s for s in plan.steps if s.phase == phase]


def is_open(session: Session, step: Step) -> bool:
    """Whether a step is neither taken nor skipped."""
    return step.id not in session.standing and step.id not in session.skipped


def after(plan: Plan, session: Session, step: Step, goto: str) -> Step | None:
    """The step that follows `step` when it says `goto`; None at the end of the phase.

    "next" is the next open step in the order of the plan.
    """
    if goto == "finish":
        return None
    if goto != "next":
        return plan.step(goto)
    steps = phase_steps(plan, session)
    place = steps.index(step) + 1 if step in steps else 0
    return next((s for s in steps[place:] if is_open(session, s)), None)


def for_wire(
    plan: Plan,
    session: Session,
    pin: int,
    here: Step | None,
    fits: Callable[[Step], bool] = lambda step: True,
) -> Step | None:
    """The open step on a wire that `fits`: under the condition that is set, if there is one."""
    found = [
        step
        for step in phase_steps(plan, session)
        if pin in step.pins and is_open(session, step) and fits(step)
    ]
    condition = here.condition if here else session.condition
    return next((s for s in found if s.condition == condition), found[0] if found else None)


def for_condition(plan: Plan, session: Session, condition: str, here: Step | None) -> Step | None:
    """The open step under a condition: the one at hand, else on the same wire, else the first."""
    if here and here.condition == condition:
        return here
    found = [
        s
        for s in phase_steps(plan, session)
        if s.condition == condition and is_open(session, s) and s is not here
    ]
    same = [s for s in found if here and s.pins == here.pins]
    return next(iter(same or found), None)
