"""Every finding of the shipped plans, walked with readings made up for its fault."""

from __future__ import annotations

import pytest
from plan_faults import FAULTS, HEALTHY, Readings
from plan_walking import verdict_of, walk

from handsfree.plan import load_plan, shipped

PLANS = {name: load_plan(name).plan for name in shipped()}


@pytest.mark.parametrize(
    ("name", "part", "differing"), FAULTS, ids=[f"{name}: {part}" for name, part, _ in FAULTS]
)
def test_readings_of_a_fault_name_its_part(name: str, part: str, differing: Readings) -> None:
    plan = PLANS[name]
    readings = HEALTHY[name] | differing
    finding = verdict_of(plan, readings)
    assert finding is not None
    assert finding.part == part
    assert set(differing) <= set(readings)


@pytest.mark.parametrize("name", PLANS)
def test_every_finding_is_walked(name: str) -> None:
    walked = {part for plan, part, _ in FAULTS if plan == name}
    parts = [finding.part for finding in PLANS[name].findings]
    assert len(set(parts)) == len(parts)
    assert set(parts) == walked


@pytest.mark.parametrize("name", PLANS)
def test_a_healthy_circuit_passes_and_convicts_no_part(name: str) -> None:
    plan = PLANS[name]
    assert set(HEALTHY[name]) == {s.id for s in plan.steps if s.phase == "test"}
    assert set(walk(plan, HEALTHY[name]).values()) == {"pass"}
    finding = verdict_of(plan, HEALTHY[name])
    assert finding is not None
    assert finding.part.startswith("no ")


@pytest.mark.parametrize("name", PLANS)
def test_a_plan_skipped_from_end_to_end_convicts_no_part(name: str) -> None:
    plan = PLANS[name]
    assert verdict_of(plan, dict.fromkeys(HEALTHY[name], "skip")) is None


@pytest.mark.parametrize("name", PLANS)
def test_any_single_skipped_step_comes_to_an_end(name: str) -> None:
    plan = PLANS[name]
    for step in HEALTHY[name]:
        walk(plan, HEALTHY[name] | {step: "skip"})
