"""Diagnosis benchmarks, on a shipped plan with the whole fault library and double faults.

OPENBLAS_NUM_THREADS=1 pytest tests/bench_diagnosis.py --benchmark-only -s
"""

import time

import numpy as np
import pytest

from handsfree.circuit.meter import Meter
from handsfree.diagnosis import Belief, Diagnosis, explain
from handsfree.diagnosis.synthetic import draw
from handsfree.plan import Plan, load_plan

PLAN, FAULTS, READINGS = "flap-actuator-5wire", 8, 12


@pytest.fixture(scope="module")
def plan() -> Plan:
    """One of the three largest."""
    return load_plan(PLAN).plan


@pytest.fixture(scope="module")
def large(plan) -> Diagnosis:
    """Its diagnosis: 262 causes by 68 tests."""
    return Diagnosis.of_plan(plan)


def test_compute_the_chances(benchmark, plan):
    """Once for a plan: the solver and the table."""
    found = benchmark.pedantic(Diagnosis.of_plan, (plan,), rounds=3, iterations=1)
    benchmark.extra_info["causes"] = len(found.table.causes)


def test_after_each_reading(benchmark, large):
    """A reading comes in: weigh it, rank the causes with evidence, order what is left."""
    c, rng = large.circuit, np.random.default_rng(1)
    ids = rng.choice([fault.id for fault in c.faults], FAULTS, replace=False)
    jobs = [draw(c, (fault,), 1, rng, Meter())[:, 0] for fault in ids]
    beliefs = []
    for job in jobs:
        belief = Belief(large.table)
        for n in rng.permutation(len(large.table.tests))[:READINGS]:
            test = large.table.tests[n]
            beliefs.append((belief, large.mark(test, job[n])))
            belief = belief.after(beliefs[-1][1])
    times = []

    def respond(belief, mark):
        belief = belief.after(mark)
        explain(belief, c)
        return large.next_tests(belief, large.table.tests)

    def every():
        for case in beliefs:
            start = np.array([time.perf_counter(), time.process_time()])
            respond(*case)
            now = np.array([time.perf_counter(), time.process_time()])
            times.append(now - start)

    every()  # once to warm up
    times.clear()
    benchmark.pedantic(every, rounds=2, iterations=1)
    (p50, busy50), (p95, busy95) = np.quantile(times, [0.5, 0.95], axis=0) * 1e3
    benchmark.extra_info |= {"p50 ms": round(p50, 1), "p95 ms": round(p95, 1)}
    causes, tests = len(large.table.causes), len(large.table.tests)
    print(
        f"\nafter a reading, {causes} causes x {tests} tests: p50 {p50:.1f}, p95 {p95:.1f} ms"
        f" (processor time {busy50:.1f}, {busy95:.1f} ms)"
    )
