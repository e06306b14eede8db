"""Diagnosis benchmarks: 200 causes by 50 tests.

pytest tests/bench_diagnosis.py --benchmark-only -s
"""

import time
from dataclasses import replace

import numpy as np
import pytest
from circuit_samples import flap

from handsfree.circuit.meter import Meter
from handsfree.diagnosis import Belief, Diagnosis, explain
from handsfree.diagnosis.synthetic import draw

CAUSES, TESTS, READINGS = 200, 50, 12


@pytest.fixture(scope="module")
def large() -> Diagnosis:
    """The flap actuator's circuit, its tests repeated under other names."""
    c = flap()
    pairs = CAUSES - len(c.faults) - 2
    small = Diagnosis.of(c, pairs=pairs)
    again = [f"{test}_{k}" for k in range(3) for test in c.tests][: TESTS - len(c.tests)]
    source = [small.table.number[test.rsplit("_", 1)[0]] for test in again]
    take = [*range(len(c.tests)), *source]
    t = small.table
    table = replace(
        t,
        tests=(*t.tests, *again),
        right=t.right[take],
        slip=t.slip[take],
        anything=t.anything[take],
        place=t.place[take],
        near=t.near[take],
        walls=t.walls[take],
    )
    tests = c.tests | {test: c.tests[t.tests[k]] for test, k in zip(again, source, strict=True)}
    circuit = c.model_copy(update={"tests": tests})
    axes = {test: small.axes[t.tests[k]] for test, k in zip(table.tests, take, strict=True)}
    assert table.right.shape[:2] == (TESTS, CAUSES)
    assert table.likeness.shape == (TESTS, CAUSES, CAUSES)  # made once
    assert table._blur.shape[0] == table._cells.shape[0] == TESTS
    return Diagnosis(circuit, table, axes)


def test_compute_the_chances(benchmark):
    """Once for a plan: the solver and the table."""
    found = benchmark.pedantic(Diagnosis.of, (flap(),), rounds=3, iterations=1)
    benchmark.extra_info["causes"] = len(found.table.causes)


def test_after_each_reading(benchmark, large):
    """A reading comes in: weigh it, rank the causes with evidence, order what is left."""
    c, rng = large.circuit, np.random.default_rng(1)
    jobs = [draw(flap(), (fault.id,), 1, rng, Meter())[:, 0] for fault in c.faults[:8]]
    beliefs = []
    for job in jobs:
        belief = Belief(large.table)
        for n in rng.permutation(len(flap().tests))[:READINGS]:
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
    print(
        f"\nafter a reading, {CAUSES} causes x {TESTS} tests: p50 {p50:.1f}, p95 {p95:.1f} ms"
        f" (processor time {busy50:.1f}, {busy95:.1f} ms)"
    )
