"""Every finding of plans written by hand, walked with readings made up for its fault."""

from __future__ import annotations

from pathlib import Path

import pytest
from by_hand import NAMES, by_hand
from plan_walking import verdict_of, walk

from handsfree.plan import load_plan
from handsfree.plan.document import read_document

Readings = dict[str, str]

PLANS = {name: by_hand(name).plan for name in NAMES}
PLANS["airbag-supply"] = load_plan("airbag-supply").plan
CIRCUITS = {
    name: read_document(
        (Path(__file__).parent / "data" / "readings" / f"{name}.yaml").read_text(encoding="utf-8")
    ).data
    for name in PLANS
}
HEALTHY: dict[str, Readings] = {name: circuit["healthy"] for name, circuit in CIRCUITS.items()}
FAULTS: list[tuple[str, str, Readings]] = [
    (name, part, differing)
    for name, circuit in CIRCUITS.items()
    for part, differing in circuit["faults"].items()
]


@pytest.mark.parametrize(
    ("name", "part", "differing"), FAULTS, ids=[f"{name}: {part}" for name, part, _ in FAULTS]
)
def test_readings_of_a_fault_name_its_part(name: str, part: str, differing: Readings) -> None:
    assert set(differing) <= set(HEALTHY[name])
    finding = verdict_of(PLANS[name], HEALTHY[name] | differing)
    assert finding is not None
    assert finding.part == part


@pytest.mark.parametrize("name", PLANS)
def test_every_finding_is_walked(name: str) -> None:
    parts = [finding.part for finding in PLANS[name].findings]
    assert len(set(parts)) == len(parts)
    assert set(parts) == set(CIRCUITS[name]["faults"])


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
    assert verdict_of(PLANS[name], dict.fromkeys(HEALTHY[name], "skip")) is None


@pytest.mark.parametrize("name", PLANS)
def test_any_single_skipped_step_comes_to_an_end(name: str) -> None:
    for step in HEALTHY[name]:
        walk(PLANS[name], HEALTHY[name] | {step: "skip"})
