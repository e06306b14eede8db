"""What the diagnosis reaches on made-up jobs with every single fault of every shipped circuit.

`pytest tests/test_diagnosis_figures.py -m slow -s` prints a table of every circuit.
"""

import pytest
from diagnosis_sessions import Jobs, every_fault, shop, table

from handsfree.plan import load_plan, shipped

# What the issue asks for, over all jobs of a circuit.
FIRST, CONVICTED, TESTS = 0.97, 0.005, 0.65


def of_plan(name: str):
    plan = load_plan(name).plan
    if plan.circuit is None:
        pytest.skip(f"{name} describes no circuit")
    order = [step.id for step in plan.steps if step.phase == "test"]
    return shop(plan.circuit, order, plan.meter.in_circuit)


def share(results: list[Jobs], field: str) -> float:
    return sum(getattr(r, field) for r in results) / sum(r.jobs for r in results)


def test_the_flap_actuator_in_short():
    """Few jobs with each fault, so that every run sees it."""
    informed = every_fault(of_plan("flap-actuator-5wire"), 3, informed=True)
    assert share(informed, "first") >= 0.95
    assert share(informed, "convicted") <= 0.02


@pytest.mark.slow
@pytest.mark.parametrize("name", shipped())
def test_figures(name, capsys):
    """200 jobs with each fault: tolerances, meter error, 2 % of the numbers mis-heard."""
    here = of_plan(name)
    informed = every_fault(here, 200, informed=True)
    fixed = every_fault(here, 30, informed=False)
    with capsys.disabled():
        print(f"\n{table(informed, f'{name}: by information')}")
        print(table(fixed, f"{name}: in the order of the plan"))
    assert share(informed, "first") >= FIRST
    assert share(informed, "convicted") <= CONVICTED
    assert share(informed, "tests") <= TESTS * share(fixed, "tests")
