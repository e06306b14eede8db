"""A plan from one description: what follows from it, and that each fact stands in it once."""

from __future__ import annotations

import pytest

from handsfree.circuit import Circuit, Expectation, expectations
from handsfree.diagnosis import rehearse
from handsfree.plan import BadPlan, Plan, load_plan, parse_plan
from handsfree.plan.document import read_document

SENSOR = load_plan("position-sensor-3wire")
TEXT = SENSOR.text


@pytest.fixture(scope="module")
def plan() -> Plan:
    return SENSOR.plan


def circuit_of(plan: Plan) -> Circuit:
    assert plan.circuit is not None
    return plan.circuit


def test_a_description_is_short_and_lists_no_steps_or_faults() -> None:
    data = read_document(TEXT).data
    assert len(TEXT.splitlines()) <= 80
    assert not {"steps", "findings", "circuit", "conditions", "connector"} & set(data)


def test_colours_and_pins_stand_in_it_once() -> None:
    """Another colour and another reference: two words changed, and nothing stale is left."""
    text = TEXT.replace("colour: yellow", "colour: violet").replace("gives: 5 V", "gives: 8 V")
    other = parse_plan(text)
    told = " ".join(f"{s.prompt} {s.why} {s.probe.red}" for s in other.steps).lower()
    assert "violet" in told
    assert "yellow" not in told
    reference = other.step("five_volt_reference_ignition_on")
    assert reference.expect.low is not None
    assert reference.expect.low.m_as("V") > 7
    assert other.pin("1").wire == "violet"


def test_every_accessible_pin_is_probed_in_the_ways_that_tell(plan: Plan) -> None:
    steps = {step.id for step in plan.steps}
    for wire in ("five_volt_reference", "height_signal", "sensor_ground"):
        assert {f"{wire}_{how}" for how in ("ignition_on", "unplugged", "end_to_end",
                                            "to_ground")} <= steps  # fmt: skip
    assert {"battery_voltage", "module_plus", "module_minus", "pin_1_to_3"} <= steps
    # The reference is the same wherever the arm stands, so it is asked for once.
    assert "five_volt_reference_arm_fully_raised" not in steps


def test_what_is_cheap_comes_before_what_is_taken_apart(plan: Plan) -> None:
    order = [step.id for step in plan.steps if step.phase == "test"]
    assert order[0] == "battery_voltage"
    unplugged = next(k for k, s in enumerate(order) if s.endswith("unplugged"))
    apart = next(k for k, s in enumerate(order) if s.endswith("end_to_end"))
    assert order.index("five_volt_reference_ignition_on") < unplugged < apart


def test_a_sound_circuit_passes_every_step(plan: Plan) -> None:
    """Limits hold the worst case of the tolerances (a separate computation: corners)."""
    found = expectations(circuit_of(plan), plan.meter, samples=500)
    for step in plan.steps:
        one = found.get(step.id)
        if not isinstance(one, Expectation) or step.expect.over_limit:
            continue
        if step.expect.within is not None:  # beside the battery's reading
            battery = found[step.expect.near or ""]
            assert isinstance(battery, Expectation)
            for ours, its in zip(one.worst, battery.worst, strict=True):
                assert abs(ours - its) <= step.expect.within, step.id
            continue
        assert step.expect.low is not None
        assert step.expect.low <= one.worst[0], step.id
        assert step.expect.high is None or one.worst[1] <= step.expect.high, step.id


def test_every_step_tells_of_something_and_says_of_what(plan: Plan) -> None:
    for step in plan.steps:
        if step.phase == "test":
            assert "tells of" in step.why, step.id


def test_no_sound_part_is_convicted_by_a_fault_of_the_library(plan: Plan) -> None:
    """Each fault as drawn, read without error at every test: never another part for sure."""
    tests = [s.id for s in plan.steps if s.phase == "test"]
    walked = rehearse(circuit_of(plan), tests, plan.meter)
    assert [one.fault.id for one in walked if one.wrong] == []
    shown = [one for one in walked if one.seen]
    assert sum(one.named for one in shown) >= 0.8 * len(shown)


def test_no_module_of_an_airbag_is_unplugged_under_power() -> None:
    """Live and unplugged it may fire; the maker's procedure has it dead first (common practice)."""
    here = parse_plan(TEXT)
    text = TEXT.replace("supply: 12 V", "supply: 12 V\ncircuit_class: airbag")
    airbag = parse_plan(text)
    assert any("own_pin" in step.id for step in here.steps)
    assert not any("own_pin" in step.id for step in airbag.steps)


def test_an_ohmmeter_is_never_put_on_an_airbag() -> None:
    text = TEXT.replace("supply: 12 V", "supply: 12 V\ncircuit_class: airbag")
    assert not any(step.needs_ohmmeter for step in parse_plan(text).steps)


def test_what_a_person_says_otherwise_says_so() -> None:
    text = TEXT + (
        "override:\n  height_signal_ignition_on: {reason: maker's data, low: 2.1 V, high: 2.9 V}\n"
        "  module_plus: {reason: buried under the seat, leave_out: true}\n"
    )
    other = parse_plan(text)
    step = other.step("height_signal_ignition_on")
    assert step.expect.low is not None
    assert step.expect.low.m_as("V") == 2.1
    assert "maker's data" in step.source
    assert "written by hand" in step.source
    assert "module_plus" not in {s.id for s in other.steps}


@pytest.mark.parametrize(
    ("right", "wrong", "place", "message"),
    [
        ("kind: potentiometer", "kind: potentiometre", "parts", "is not one of"),
        ("wire: 5 m 0.5 mm2, colour: yellow", "wire: 5 m, colour: yellow", "loom", "no wire"),
        ("{gives: ground}", "{gives: ground, reads: floating}", "parts", "exactly one"),
        ("moved_by: link", "moved_by: lever", "parts", "no mechanism"),
        ("usual:", "usuel:", "usuel", "no field of this name"),
    ],
)
def test_mistakes_are_named_with_their_line(
    right: str, wrong: str, place: str, message: str
) -> None:
    assert right in TEXT
    with pytest.raises(BadPlan) as raised:
        parse_plan(TEXT.replace(right, wrong, 1))
    assert place in str(raised.value)
    assert message in str(raised.value)


@pytest.mark.parametrize("step", ["five_volt_reference_against_plus", "sensor_ground_against_plus"])
def test_a_loom_drier_than_computed_has_no_leak(plan: Plan, step: str) -> None:
    """A wire by itself that lets nothing through is as it should be (common practice)."""
    expect = plan.step(step).expect
    assert expect.low is not None
    assert expect.low.m_as("V") < 0


def test_a_dead_bus_is_not_in_range_at_a_plug() -> None:
    """Recessive level 2.0 to 3.0 V: ISO 11898-2."""
    bus = load_plan("can-bus-pair").plan
    for step in (bus.step("high_quiet_bus"), bus.step("low_quiet_bus")):
        assert step.expect.low is not None
        assert step.expect.low.m_as("V") >= 2
        assert "metal" not in (step.probe.how or "")


def test_an_ohmmeter_wakes_no_electronics_behind_a_fuse() -> None:
    """So only a short tells (common practice, no source)."""
    behind = load_plan("thermistor-2wire").plan.step("module_fuse_out").expect
    assert behind.low is not None
    assert behind.high is None


def test_no_ohmmeter_goes_to_a_modules_own_supply() -> None:
    module = load_plan("module-supply").plan
    assert not [s.id for s in module.steps if s.measure.quantity == "resistance" and s.wires]
