"""From takes to causes: the diagnosis of one plan's circuit, computed once."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from handsfree.circuit.meter import Meter
from handsfree.circuit.model import Circuit, CircuitTest
from handsfree.diagnosis.axis import Axis
from handsfree.diagnosis.belief import Belief, Mark
from handsfree.diagnosis.choice import Proposal, proposals
from handsfree.diagnosis.table import PAIRS, SAMPLES, Table, tabulate
from handsfree.meaning.meanings import Observation, Reading, State, Take
from handsfree.plan.schema import Plan


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """What every test reads under every cause, ready to weigh takes.

    Attributes:
        circuit: parts, faults, tests and their costs.
        table: the chances.
        axes: the cells of each test.
    """

    circuit: Circuit
    table: Table
    axes: Mapping[str, Axis]

    @classmethod
    def of(
        cls,
        circuit: Circuit,
        meter: Meter | None = None,
        *,
        pairs: int = PAIRS,
        samples: int = SAMPLES,
    ) -> Diagnosis:
        """Compute the chances; takes seconds.

        Args:
            circuit: of the plan.
            meter: in the technician's hand.
            pairs: how many double faults are thought of, the likeliest first.
            samples: made-up vehicles for each cause.

        Raises:
            BadInput: the circuit does not fit together.
        """
        return cls(circuit, *tabulate(circuit, meter, pairs=pairs, samples=samples))

    @classmethod
    def of_plan(cls, plan: Plan) -> Diagnosis | None:
        """That of a plan's circuit, by its tests before the repair; None if it has no circuit.

        Raises:
            BadInput: the circuit does not fit together.
        """
        if plan.circuit is None:
            return None
        before = {step.id for step in plan.steps if step.phase == "test"}
        tests = {name: test for name, test in plan.circuit.tests.items() if name in before}
        return cls.of(plan.circuit.model_copy(update={"tests": tests}), plan.meter)

    def belief(self, takes: Iterable[tuple[str, Take]]) -> Belief:
        """The causes weighed by takes.

        Args:
            takes: step id and take, in the order made, struck ones left out.  A
                second take of a step that reads the same confirms the first; one that differs
                counts as well, or corrects the first if it follows at once.
                Takes of steps without a test in the circuit, or of another kind than the
                test, count for nothing.
        """
        read = ((test, self.reading(test, take)) for test, take in takes)
        marks = [self.mark(test, value) for test, value in read if value is not None]
        belief = Belief(self.table)
        for mark, following in zip_longest(marks, marks[1:]):
            corrected = following and following.test == mark.test and not following.same(mark)
            belief = belief if corrected else belief.after(mark)
        return belief

    def mark(self, test: str, value: float) -> Mark:
        """Where a reading falls; its value as from `reading`."""
        axis, reading = self.axes[test], np.array(value)
        return Mark(test, int(axis.cell(reading)), float(axis.place(reading)))

    def next_tests(
        self, belief: Belief, order: Sequence[str], setups: Collection[str] = ()
    ) -> tuple[Proposal, ...]:
        """The tests that may be made next, best first; see `choice.proposals`.

        Args:
            belief: what the takes so far say.
            order: ids of the plan's open steps, in the order of the plan.
            setups: those that are made.
        """
        known = [test for test in order if test in self.axes and test not in belief.made]
        return proposals(belief, self.circuit, known, frozenset(setups))

    def reading(self, test: str, take: Take) -> float | None:
        """A take as `Predictions.values` has it; None if it says nothing here.

        Quantities are in SI units, over limit is infinite.
        """
        asked = self.circuit.tests.get(test)
        return None if asked is None else _reading(asked, take)


def _reading(test: CircuitTest, take: Take) -> float | None:
    words = test.outcomes
    match take:
        case State(state="open") if test.measures == "resistance" and not words:
            return math.inf
        case State(state=word) if words and test.measures:
            return float(test.outcome(word))
        case Observation(answer=word) if test.outcome(word) < len(words):
            return float(test.outcome(word))
        case Reading(value=None) if test.measures == "resistance" and not words:
            return math.inf
        case Reading(value=value) if value is not None and test.measures and not words:
            return float(value.m_as(test.unit)) if value.is_compatible_with(test.unit) else None
    return None
