"""Made-up jobs: readings of vehicles with a known fault, and what the diagnosis makes of them.

python tests/diagnosis_sessions.py JOBS [PLAN ...]
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from handsfree.circuit import Circuit, FaultSet, Meter, single_faults
from handsfree.diagnosis import Belief, Diagnosis, enough, verdict
from handsfree.diagnosis.synthetic import draw, mishear
from handsfree.plan import load_plan, shipped

LONGEST = 60  # tests in a job


@dataclass
class Jobs:
    """What became of the jobs with one fault.

    Attributes:
        fault: ids of what is broken.
        jobs: how many.
        first: true cause ranked first, or in the group that no test can tell from the first.
        sure: jobs that end with a cause found.
        convicted: jobs that end with a part found that is sound (odds over 20:1).
        misled: jobs whose leading group is wrong with odds over 20:1, sure or not.
        tests, minutes: in total.
        wrong: what was taken for the fault.
    """

    fault: FaultSet
    jobs: int = 0
    first: int = 0
    sure: int = 0
    convicted: int = 0
    misled: int = 0
    tests: int = 0
    minutes: float = 0.0
    wrong: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Shop:
    """Works through jobs on one circuit; remembers what to do next, as jobs begin alike.

    Attributes:
        known: the best test, and whether to stop, after some marks with some setups.
    """

    diagnosis: Diagnosis
    order: Sequence[str]
    meter: Meter
    known: dict[tuple[object, ...], tuple[str, bool]] = field(default_factory=dict)

    def work(
        self, fault: FaultSet, jobs: int, *, informed: bool, slips: float = 0.02, seed: int = 0
    ) -> Jobs:
        """Some jobs with one fault.

        Args:
            fault: ids of what is broken.
            jobs: how many vehicles.
            informed: tests by information a minute; else in the order of the plan, and then
                those again that are worth it.  Both stop by the same rule.
            slips: share of numbers mis-heard.
            seed: of the vehicles and slips.
        """
        circuit = self.diagnosis.circuit
        rng = np.random.default_rng([seed, *"".join(fault).encode()])
        shown = draw(circuit, fault, jobs, rng, self.meter)
        heard = [mishear(circuit, shown, slips, rng, self.meter) for _ in range(12)]
        result = Jobs(fault, jobs)
        causes = self.diagnosis.table.causes
        true = next(k for k, cause in enumerate(causes) if cause.faults == fault)
        for job in range(jobs):
            belief, tests, minutes = self._job([row[:, job] for row in heard], informed)
            result.tests += tests
            result.minutes += minutes
            result.sure += belief.sure
            first = belief.group[true]
            result.first += first
            if not first:
                result.wrong[" + ".join(causes[belief.leader].faults) or "no fault"] += 1
                result.misled += belief.odds > 20
                said = verdict(belief, circuit)
                result.convicted += said.kind == "found"
        return result

    def _job(self, heard: list[np.ndarray], informed: bool) -> tuple[Belief, int, float]:
        table = self.diagnosis.table
        belief, setups, made, minutes = Belief(table), frozenset[str](), Counter[str](), 0.0
        left = list(self.order)
        while made.total() < LONGEST:
            best, stop = self._next(belief, left, setups)
            if stop:
                break
            test = left[0] if left and not informed else best
            cost, setups = self.diagnosis.circuit.cost(test, setups)
            minutes += float(cost.m_as("min"))
            value = heard[min(made[test], len(heard) - 1)][table.number[test]]
            belief = belief.after(self.diagnosis.mark(test, float(value)))
            made[test] += 1
            left = [other for other in left if other != test]
        return belief, made.total(), minutes

    def _next(self, belief: Belief, left: list[str], setups: frozenset[str]) -> tuple[str, bool]:
        key = belief.marks, setups
        if key not in self.known:
            proposals = self.diagnosis.next_tests(belief, left, setups)
            best = proposals[0].test if proposals else ""
            self.known[key] = best, enough(belief, proposals)
        return self.known[key]


def shop(circuit: Circuit, order: Iterable[str], meter: Meter | None = None) -> Shop:
    """A shop for a circuit; `order` are the plan's steps."""
    meter = meter or Meter()
    known = [step for step in order if step in circuit.tests]
    return Shop(Diagnosis.of(circuit, meter), known, meter)


def every_fault(shop: Shop, jobs: int, **how) -> list[Jobs]:
    """Jobs with every single fault that the plan lists, and with none."""
    listed = shop.diagnosis.circuit.model_copy(update={"usual_faults": False})
    known = {cause.faults for cause in shop.diagnosis.table.causes}
    return [shop.work(fault, jobs, **how) for fault in single_faults(listed) if fault in known]


def of_plan(name: str) -> Shop:
    """A shop for a shipped plan."""
    plan = load_plan(name).plan
    assert plan.circuit is not None
    order = [step.id for step in plan.steps if step.phase == "test"]
    return shop(plan.circuit, order, plan.meter)


def share(results: Iterable[Jobs], name: str) -> float:
    """A count of `Jobs` for each job."""
    results = list(results)
    return float(sum(getattr(r, name) for r in results) / sum(r.jobs for r in results))


def table(title: str, results: Sequence[Jobs]) -> str:
    """A table for people."""
    columns = "first", "sure", "convicted", "misled", "tests", "minutes"
    lines = [f"{title:36}" + "".join(f"{name:>10}" for name in columns)]
    groups = [(" + ".join(r.fault) or "no fault", [r]) for r in results] + [("all", results)]
    for name, group in groups:
        numbers = [share(group, column) for column in columns]
        cells = [f"{n:10.2%}" for n in numbers[:4]] + [f"{n:10.2f}" for n in numbers[4:]]
        wrong = dict(group[0].wrong) if len(group) == 1 else {}
        lines.append(f"{name:36}{''.join(cells)}  {wrong or ''}".rstrip())
    return "\n".join(lines)


def main(jobs: int, names: Sequence[str]) -> None:
    """Print the tables of some plans, or of all."""
    every: dict[bool, list[Jobs]] = {True: [], False: []}
    for name in names or shipped():
        here = of_plan(name)
        for informed, title in ((True, "by information"), (False, "in the plan's order")):
            results = every_fault(here, jobs, informed=informed)
            every[informed] += results
            print(table(f"{name} {title}", results), flush=True)
    for informed, results in every.items():
        print(table("informed" if informed else "fixed", results).splitlines()[-1])


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:])
