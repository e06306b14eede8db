"""Every fault of the library walked through a plan: who is convicted, and who wrongly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from handsfree.circuit import Circuit, Fault, Meter, simulate
from handsfree.circuit.values import Array
from handsfree.diagnosis.belief import Belief, Mark
from handsfree.diagnosis.diagnose import Diagnosis
from handsfree.diagnosis.table import PAIRS, SAMPLES
from handsfree.diagnosis.verdict import Verdict, verdict


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """One fault, read as drawn at every test without any error.

    Attributes:
        fault: what is broken.
        said: the verdict.
        seen: whether any test shows it; else it cannot be found.
    """

    fault: Fault
    said: Verdict
    seen: bool

    @property
    def wrong(self) -> bool:
        """Whether sound parts are convicted, and the broken one is not among those named."""
        named = {candidate.site for candidate in self.said.candidates}
        return self.said.kind == "found" and self.fault.site not in named

    @property
    def named(self) -> bool:
        """Whether the broken part is found, suspected, or among the candidates."""
        return self.fault.site in {candidate.site for candidate in self.said.candidates}


def rehearse(
    circuit: Circuit,
    tests: Sequence[str],
    meter: Meter | None = None,
    *,
    pairs: int = PAIRS,
    samples: int = SAMPLES,
) -> tuple[Rehearsed, ...]:
    """Walk every single fault through the tests of a plan.

    Args:
        circuit: of the plan.
        tests: ids of its steps before the repair.
        meter: that is used.
        pairs, samples: as for `Diagnosis.of`; less is quicker and coarser.

    Raises:
        BadInput: the circuit does not fit together.
    """
    diagnosis = Diagnosis.of(circuit, meter, pairs=pairs, samples=samples)
    known = [test for test in tests if test in diagnosis.axes]
    found = simulate(circuit, samples=1, meter=meter)
    number = {test: t for t, test in enumerate(found.tests)}
    seen = {fault for cause in diagnosis.table.causes for fault in cause.faults}

    @cache
    def evidence(mark: Mark) -> Array:
        return diagnosis.table.evidence(mark.test, mark.cell)

    result = []
    for fault, values in zip(circuit.faults, found.values[1:, :, 0], strict=True):
        marks = [diagnosis.mark(test, float(values[number[test]])) for test in known]
        belief = Belief(diagnosis.table, tuple(marks), tuple(map(evidence, marks)))
        result.append(Rehearsed(fault, verdict(belief, circuit, []), fault.id in seen))
    return tuple(result)
