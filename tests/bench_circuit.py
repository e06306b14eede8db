"""Solver benchmarks; ratios are taken within one run.

pytest tests/bench_circuit.py --benchmark-only -s
"""

import subprocess
import time

import numpy as np
import pytest
from circuit_samples import flap
from circuit_spice import NGSPICE, deck, needs_ngspice

from handsfree.circuit.meter import Meter
from handsfree.circuit.solve import predict, simulate, single_faults
from handsfree.circuit.template import Template
from handsfree.circuit.variants import Variants


@pytest.mark.parametrize("samples", [1, 100])
def test_every_single_fault(benchmark, samples):
    """Every test under every single fault of the flap actuator."""
    found = benchmark(simulate, flap(), samples=samples)
    benchmark.extra_info["readings"] = found.values.size


def test_two_hundred_hypotheses_by_fifty_tests(benchmark):
    """The size that diagnosis is asked for: pairs of faults, tests repeated to fifty."""
    c = flap()
    names = [fault.id for fault in c.faults]
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]][:200]
    tests = (list(c.tests) * 4)[:50]
    found = benchmark.pedantic(simulate, (c, pairs, tests), {"samples": 50}, rounds=1, iterations=1)
    assert found.values.shape == (200, 50, 50)


@needs_ngspice
def test_faster_than_ngspice_run_once_a_fault(benchmark, tmp_path):
    """All faults and conditions at once, against one ngspice process a fault."""
    c = flap()
    template = Template(c)
    chosen, tests = single_faults(c), tuple(c.tests)
    u = np.zeros((1, template.columns + 1))
    by_id = {fault.id: fault for fault in c.faults}
    present = [[by_id[i] for i in hypothesis] for hypothesis in chosen]
    variants = Variants(template, present, u, np.zeros((1, 2), dtype=np.intp))
    ohms, volts = variants.ohms[..., 0], variants.volts[..., 0]
    for h in range(len(chosen)):  # one deck a fault, its conditions as separate circuits in it
        script = ["* fault", ".control"]
        for k in range(ohms.shape[2]):
            name = tmp_path / f"{h}-{k}.cir"
            name.write_text(deck(variants.network, 1 / ohms[:, h, k], volts[:, h, k], (), ()))
            script += [f"source {name}", "op", "print all", "remcirc"]
        (tmp_path / f"{h}.run").write_text("\n".join([*script, "quit", ".endc", ".end", ""]))

    def spice():
        for h in range(len(chosen)):
            subprocess.run(
                [NGSPICE, "-b", str(tmp_path / f"{h}.run")], capture_output=True, check=False
            )

    start = time.perf_counter()
    spice()
    theirs = time.perf_counter() - start
    benchmark(predict, template, chosen, tests, u, Meter())
    if benchmark.stats is not None:
        ours = benchmark.stats.stats.median
        benchmark.extra_info["times faster than ngspice"] = round(theirs / ours, 1)
        print(f"\nngspice {theirs:.3f} s, here {ours:.4f} s: {theirs / ours:.0f} times faster")
