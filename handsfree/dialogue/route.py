"""Which step comes next."""

from __future__ import annotations

from handsfree.dialogue.session import Session
from handsfree.plan.schema import Plan, Step


def phase_steps(plan: Plan, session: Session) -> list[Step]:
    """The steps of the phase that is on."""
    phase = "after_repair" if session.phase == "after_repair" else "test"
    return [s for s in plan.steps if s.phase == phase]


def line(plan: Plan, session: Session) -> list[Step]:
    """The steps that are counted: of those that wait for a doubt, only what came up."""
    met = {session.step, *session.standing, *session.skipped}
    return [s for s in phase_steps(plan, session) if not s.in_doubt or s.id in met]


def is_open(session: Session, step: Step) -> bool:
    """Whether a step is neither taken nor skipped."""
    return step.id not in session.standing and step.id not in session.skipped


def after(plan: Plan, session: Session, step: Step, goto: str) -> Step | None:
    """The step that follows `step` when it says `goto`; None at the end of the phase.

    "next" is the next open step in the order of the plan, but for those that wait for a doubt.
    """
    if goto == "finish":
        return None
    if goto != "next":
        return plan.step(goto)
    steps = phase_steps(plan, session)
    place = steps.index(step) + 1 if step in steps else 0
    return next((s for s in steps[place:] if is_open(session, s) and not s.in_doubt), None)


def waiting(plan: Plan, session: Session) -> list[Step]:
    """The open steps that are asked only in doubt."""
    return [s for s in phase_steps(plan, session) if s.in_doubt and is_open(session, s)]


def on_wire(plan: Plan, session: Session, pin: str) -> list[Step]:
    """The steps on a wire, whether they are open, taken or skipped."""
    return [s for s in phase_steps(plan, session) if pin in s.pins]


def for_wire(plan: Plan, session: Session, pin: str, here: Step | None) -> Step | None:
    """The step on a wire to go to: an open one, or one that was under the condition that is set.

    An open one under that condition is the first choice.
    """
    found = on_wire(plan, session, pin)
    condition = here.condition if here else session.condition
    opened = [s for s in found if is_open(session, s)]
    same = [s for s in opened if s.condition == condition]
    again = [s for s in found if s.condition == condition]
    return next(iter(same or opened or again), None)


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
