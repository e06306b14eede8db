"""What is looked at in a plan before somebody relies on it, beyond reading it."""

from __future__ import annotations

from handsfree.check.agreement import Agreement, agreements, objections
from handsfree.grammar import SpokenPlan
from handsfree.languages import language_of
from handsfree.plan import LoadedPlan


def check_plan_file(loaded: LoadedPlan) -> tuple[Agreement, ...]:
    """How a plan agrees with its circuit; it can be spoken, and nothing contradicts.

    Raises:
        BadPlan: a colour has no rule in the grammar, or a step contradicts the circuit.
    """
    check_spoken(loaded)
    found = agreements(loaded.plan)
    loaded.refuse(objections(loaded.plan, found))
    return found


def check_spoken(loaded: LoadedPlan) -> None:
    """Make every grammar of the plan, so that a word it lacks is found now.

    Raises:
        BadPlan: a colour has no rule in the grammar.
    """
    spoken = SpokenPlan(language_of(loaded), loaded.plan)
    for step in loaded.plan.steps:
        spoken.automaton(step)
