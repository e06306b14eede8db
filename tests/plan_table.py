"""What each shipped plan holds, as a table: python tests/plan_table.py [JOBS] [PLAN ...]

Lines of its file, parts of its circuit, tests that follow from it, faults that the library knows of
it, the mean number of tests to the verdict, and the sources of its values.  The mean is of JOBS
vehicles of each plan (6 if not given), each with one fault of the library that a test shows, drawn
by its rate; informed order, 2 % of the numbers misheard, single faults only.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence

import numpy as np
from diagnosis_sessions import Shop

from handsfree.circuit import Circuit
from handsfree.diagnosis import Diagnosis
from handsfree.plan import LoadedPlan, load_plan, shipped

SEED = 26
SAMPLES = 40  # of the tolerances, and no double faults: as `plan check` does it
_NAMED = re.compile(r"(?:ISO|IEC|DIN|UN Regulation No\.|UN Regulation|BCI|SAE) ?[\d-]*\d|BCI")


def sources(loaded: LoadedPlan) -> str:
    """The standards and handbooks that a plan names; common practice if there is none."""
    named = dict.fromkeys(_NAMED.findall(loaded.text))
    return ", ".join(named) or "common practice"


def counts(name: str) -> tuple[int, int, int, int]:
    """Lines, parts, tests before the repair, faults."""
    loaded = load_plan(name)
    tests = [step for step in loaded.plan.steps if step.phase == "test"]
    circuit = loaded.plan.circuit
    parts, faults = (len(circuit.parts), len(circuit.faults)) if circuit else (0, 0)
    return len(loaded.text.splitlines()), parts, len(tests), faults


def mean_tests(name: str, jobs: int) -> float:
    """Tests to the verdict, in the mean over vehicles with a fault of the library."""
    plan = load_plan(name).plan
    assert plan.circuit is not None
    order = [step.id for step in plan.steps if step.phase == "test"]
    diagnosis = Diagnosis.of(plan.circuit, plan.meter, pairs=0, samples=SAMPLES)
    known = [step for step in order if step in diagnosis.axes]
    here = Shop(diagnosis, known, plan.meter)
    rng = np.random.default_rng(SEED)
    broken = _drawn(
        here.diagnosis.circuit, {c.faults for c in here.diagnosis.table.causes}, rng, jobs
    )
    return float(
        np.mean([here.work((fault,), 1, informed=True, seed=SEED).tests for fault in broken])
    )


def _drawn(
    circuit: Circuit, shown: set[tuple[str, ...]], rng: np.random.Generator, jobs: int
) -> list[str]:
    faults = [fault for fault in circuit.faults if (fault.id,) in shown]
    odds = np.array([fault.odds for fault in faults])
    return [faults[k].id for k in rng.choice(len(faults), size=jobs, p=odds / odds.sum())]


def main(jobs: int, names: Sequence[str]) -> None:
    """Print the table."""
    print("| plan | lines | parts | tests | faults | mean tests | sources of values |")
    print("|---|---|---|---|---|---|---|")
    for name in names or shipped():
        lines, parts, tests, faults = counts(name)
        mean = f"{mean_tests(name, jobs):.1f}" if parts and jobs else "-"
        told = sources(load_plan(name))
        print(f"| {name} | {lines} | {parts} | {tests} | {faults} | {mean} | {told} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6, sys.argv[2:])
