"""What must have been tested before a part is named, alone or with what no test parts from it."""

from __future__ import annotations

import numpy as np
import pytest

from handsfree.circuit import Circuit
from handsfree.circuit.loading import lost_in
from handsfree.diagnosis.naming import joints, nameable
from handsfree.diagnosis.proof import needed, proven
from handsfree.plan import load_plan


@pytest.fixture(scope="module")
def sensor() -> Circuit:
    circuit = load_plan("position-sensor-3wire").plan.circuit
    assert circuit is not None
    return circuit


def test_a_contact_of_a_module_is_not_proven_from_one_side(sensor: Circuit) -> None:
    contact = [sensor.fault("module_connector_open_1")]
    outside = {"five_volt_reference_end_to_end", "five_volt_reference_ignition_on"}
    assert not proven(sensor, contact, outside)
    assert proven(sensor, contact, {*outside, "module_own_pin_1"})


def test_the_joint_of_what_is_named_together_need_not_be_probed(sensor: Circuit) -> None:
    """Nothing can be held between an input and its contact: both are named, tested from outside."""
    both = [sensor.fault("module_connector_open_2"), sensor.fault("module_pin_2_open")]
    assert nameable(sensor, both)
    assert "module 2" in joints(sensor, both)
    assert "module wire 2" not in joints(sensor, both)
    assert not any(frozenset() == tests for tests in needed(sensor, *both))
    assert not all(needed(sensor, both[0]))


def test_what_is_blamed_outside_the_circuit_is_never_proven(sensor: Circuit) -> None:
    other = sensor.fault("module_pin_1_short_to_ground_hard")
    assert other.site == "another user of the same output"
    assert not proven(sensor, [other], set(sensor.tests))


def test_a_meter_is_held_against_another_one(sensor: Circuit) -> None:
    meter = [sensor.fault("meter_reads_low")]
    assert not proven(sensor, meter, set(sensor.tests) - {"second_meter"})
    assert proven(sensor, meter, {"second_meter"})


def test_three_parts_that_are_no_line_are_not_named_together(sensor: Circuit) -> None:
    ids = ("module_connector_open_1", "module_pin_1_open", "height_sensor_open_wiper")
    assert not nameable(sensor, [sensor.fault(one) for one in ids])


def test_a_wire_under_load() -> None:
    """A lamp of 21 W takes 1.75 A at 12 V, 6.9 Ω hot: Ohm's law at the ends and in the middle."""
    volts = lost_in(np.full(4, 12.0), np.array([0.0, 0.01, 6.857, 1e9]))
    assert volts[0] == pytest.approx(0.0)
    assert volts[1] == pytest.approx(1.75 * 0.01, rel=0.01)
    assert 6.0 < volts[2] < 8.0  # a lamp that is half lit has less resistance than a lit one
    assert volts[3] == pytest.approx(12.0, abs=0.001)
