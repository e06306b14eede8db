"""What the diagnosis reaches on made-up jobs with every single fault of every shipped circuit.

`python tests/diagnosis_sessions.py 200` makes 200 jobs with each fault and prints the tables.
"""

from functools import cache

import pytest
from diagnosis_sessions import Jobs, every_fault, of_plan, share

from handsfree.plan import load_plan, shipped

JOBS = 20  # with each fault
CIRCUITS = [name for name in shipped() if load_plan(name).plan.circuit]


@cache
def results(name: str, informed: bool) -> list[Jobs]:
    """Tolerances, meter error, 2 % of the numbers mis-heard."""
    return every_fault(of_plan(name), JOBS, informed=informed)


@pytest.mark.figures
@pytest.mark.parametrize("name", CIRCUITS)
def test_the_true_fault_comes_first(name):
    assert share(results(name, informed=True), "first") >= 0.97


@pytest.mark.figures
def test_no_sound_part_is_convicted():
    """Over all circuits: one wrong verdict in two hundred would be too many."""
    jobs = [r for name in CIRCUITS for r in results(name, informed=True)]
    assert share(jobs, "convicted") <= 0.005


@pytest.mark.figures
def test_informed_order_needs_fewer_tests():
    """Over all circuits, both orders under the same rule to stop."""
    tests = {
        informed: sum(r.tests for name in CIRCUITS for r in results(name, informed))
        for informed in (True, False)
    }
    assert tests[True] <= 0.65 * tests[False]


@pytest.mark.parametrize("name", ["flap-actuator-5wire", "headlamp-levelling"])
def test_two_actuators_in_short(name):
    """Two jobs with each fault, so that every run sees it."""
    jobs = every_fault(of_plan(name), 2, informed=True)
    assert share(jobs, "first") >= 0.95
    assert share(jobs, "convicted") <= 0.02
