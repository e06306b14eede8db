"""What the plan expects by hand, held against what its circuit gives.

The readings of the sound circuit, with every value as drawn, are taken as if a technician had
read them, so that an expectation that is relative to another reading can be compared too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import isinf
from typing import Literal

from handsfree.check.expected import Expected, expected, written
from handsfree.circuit import (
    Expectation,
    ExpectedWord,
    contradiction,
    expectations,
    live_ohmmeter_tests,
)
from handsfree.circuit.expect import CONFIDENCE, reach
from handsfree.fields import FieldPath
from handsfree.meaning.meanings import Reading
from handsfree.plan.schema import Plan, Step


@dataclass(frozen=True, slots=True)
class Agreement:
    """A step of the plan, computed and by hand.

    Attributes:
        step: the step.
        computed: what the sound circuit reads there.
        wanted: what the plan expects by hand.
        objection: why the two contradict; None if they do not.
        beside: what the sound circuit reads at the step with which this one is compared.
    """

    step: Step
    computed: Expectation | ExpectedWord
    wanted: Expected
    objection: str | None
    beside: Expectation | None = None

    @property
    def agrees(self) -> Literal["yes", "partly", "no", "not comparable"]:
        """Whether sound circuits pass: `CONFIDENCE` of them, a part, or not even as drawn."""
        if self.objection:
            return "no"
        if self.wanted.missing:
            return "not comparable"
        if isinstance(self.computed, ExpectedWord):
            right = (*self.wanted.states, *self.wanted.answers)
            share = sum(s for word, s in self.computed.shares.items() if word in right)
            return "yes" if share >= CONFIDENCE else "partly"
        low, high = self.computed.likely
        within = self.step.expect.within
        if self.beside is not None and within is not None:  # both move together
            apart = (abs(a - b) for a, b in zip((low, high), self.beside.likely, strict=True))
            return "yes" if all(one <= within for one in apart) else "partly"
        if self.wanted.over_limit:
            return "yes" if isinf(low.magnitude) else "partly"
        inside = (self.wanted.low is None or low >= self.wanted.low) and (
            self.wanted.high is None or high <= self.wanted.high
        )
        return "yes" if inside else "partly"


def agreements(plan: Plan) -> tuple[Agreement, ...]:
    """Every step that the circuit computes, in the order of the plan; empty without a circuit."""
    if plan.circuit is None:
        return ()
    computed = expectations(plan.circuit, plan.meter)
    taken = {
        test: Reading(None if isinf(found.nominal.magnitude) else found.nominal)
        for test, found in computed.items()
        if isinstance(found, Expectation)
    }
    steps = [(step, computed[step.id]) for step in plan.steps if step.id in computed]
    wanted = [expected(step, taken) for step, _ in steps]
    return tuple(
        Agreement(step, found, limits, _objection(found, limits), _beside(computed, step))
        for (step, found), limits in zip(steps, wanted, strict=True)
    )


def _beside(computed: Mapping[str, Expectation | ExpectedWord], step: Step) -> Expectation | None:
    other = computed.get(step.expect.near or "")
    return other if isinstance(other, Expectation) else None


def objections(plan: Plan, found: Iterable[Agreement]) -> Iterator[tuple[FieldPath, str]]:
    """What the circuit has against the plan: path of the field, message.

    Args:
        plan: the plan.
        found: its `agreements`.
    """
    places = {step.id: index for index, step in enumerate(plan.steps)}
    for agreement in found:
        if agreement.objection:
            yield ("steps", places[agreement.step.id], "expect"), agreement.objection
    if plan.circuit is not None:
        for test in live_ohmmeter_tests(plan.circuit, plan.meter):
            message = "a resistance is measured while the circuit is live, so the reading is false"
            yield ("circuit", "tests", test), message


def _objection(found: Expectation | ExpectedWord, wanted: Expected) -> str | None:
    if isinstance(found, ExpectedWord):
        if found.nominal in (*wanted.states, *wanted.answers):
            return None
        gives = repr(found.nominal) if found.nominal else "none of the words"
        return f"the circuit gives {gives}, and not {written(wanted)}"
    if wanted.over_limit and not isinf(found.nominal.magnitude):
        return f"the circuit gives {reach(found)}, and not over limit"
    return contradiction(found, wanted.low, wanted.high)
