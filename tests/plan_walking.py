"""Walks through the tests of a plan with readings made up for a fault."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from handsfree.check import Refusal, check
from handsfree.diagnosis import conclude
from handsfree.meaning import Observation, Reading, State, Take
from handsfree.plan import Finding, Outcome, Plan, Step
from handsfree.units import parse_quantity


def take_of(step: Step, text: str) -> Take:
    """A take from "4.98 V", "OL", a state or an answer."""
    if step.measure.states:
        return State(text)
    if step.measure.options:
        return Observation(text)
    return Reading(None if text == "OL" else parse_quantity(text))


def walk(plan: Plan, readings: Mapping[str, str]) -> dict[str, Outcome]:
    """Outcomes of the tests in the order in which the plan leads through them.

    Args:
        plan: the plan.
        readings: what is read at each step; "skip" skips it.
    """
    steps = [step for step in plan.steps if step.phase == "test"]
    takes: dict[str, Take] = {}
    outcomes: dict[str, Outcome] = {}
    done: list[str] = []
    step: Step | None = steps[0]
    while step is not None:
        assert step.id not in done, f"walks in a circle at {step.id}"
        done.append(step.id)
        outcome = _outcome(plan, step, readings[step.id], takes)
        if outcome:
            outcomes[step.id] = outcome
        ways = {"pass": step.on_pass, "skipped": step.on_skip}
        step = _following(steps, step, ways.get(outcome or "skipped", step.on_fail), done)
    return outcomes


def _outcome(plan: Plan, step: Step, text: str, takes: dict[str, Take]) -> Outcome | None:
    """The outcome of one step; None if the step it is compared with was skipped."""
    if text == "skip":
        return "skipped"
    takes[step.id] = take_of(step, text)
    verdict = check(takes[step.id], step, plan, takes)
    assert not isinstance(verdict, Refusal), f"{text} is refused at {step.id}"
    return verdict.outcome


def _following(steps: list[Step], step: Step, goto: str, done: Sequence[str]) -> Step | None:
    if goto == "finish":
        return None
    if goto == "next":
        later = steps[steps.index(step) + 1 :]
        return next((s for s in later if s.id not in done), None)
    return next(s for s in steps if s.id == goto)


def verdict_of(plan: Plan, readings: Mapping[str, str]) -> Finding | None:
    """The finding to which these readings lead."""
    return conclude(plan, walk(plan, readings))
