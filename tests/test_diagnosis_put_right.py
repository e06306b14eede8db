"""Verdicts that were wrong once: each with readings as the trade meets them."""

from __future__ import annotations

import math
from functools import cache

import pytest
from by_hand import by_hand

from handsfree.check import Comparison, check
from handsfree.diagnosis import Diagnosis, verdict
from handsfree.diagnosis import Verdict as Diagnosed
from handsfree.meaning import Reading
from handsfree.plan import load_plan
from handsfree.units import ureg


@cache
def diagnosis(name: str) -> Diagnosis:
    plan = load_plan(name).plan
    assert plan.circuit is not None
    return Diagnosis.of(plan.circuit, plan.meter)


def said(name: str, **readings: float) -> Diagnosed:
    """The verdict on readings in SI units; infinite for over limit."""
    here = diagnosis(name)
    belief = here.belief([])
    for test, value in readings.items():
        belief = belief.after(here.mark(test, value))
    return verdict(belief, here.circuit)


def found(one: Diagnosed) -> set[str]:
    return {c.site for c in one.candidates} if one.kind == "found" else set()


def test_a_reference_that_returns_when_unplugged_does_not_convict_the_sensor() -> None:
    """2 kΩ in the reference wire: 5 kΩ of track pull it to 3.6 V, a meter alone does not."""
    name = "flap-actuator-5wire"
    plugged = {
        "battery_voltage": 12.6,
        "sensor_ground_ignition_on": 0.0,
        "five_volt_reference_ignition_on": 3.55,
        "five_volt_reference_unplugged": 5.0,
    }
    assert "flap actuator" not in found(said(name, **plugged))
    apart = {"pin_3_to_5": 5000.0, "five_volt_reference_to_ground": math.inf,
             "five_volt_reference_end_to_end": 2000.0}  # fmt: skip
    wire = said(name, **plugged, **apart)
    assert "five volt reference wire" in {c.site for c in wire.candidates}
    assert "flap actuator" not in found(wire)


def test_bus_low_at_supply_is_no_short_to_ground() -> None:
    """The low wire touches a supply: both wires are high, and nothing touches ground."""
    name = "can-bus-pair"
    one = said(name, bus_high_quiet_bus=11.4, bus_low_quiet_bus=12.3, across_6_14_quiet_bus=-0.9)
    assert not any("ground" in c.fault.say for c in one.candidates if one.kind == "found")


def test_a_busy_bus_is_not_accused() -> None:
    """A handheld meter shows the mean of the bits: a tenth or two from 2.5 V (ISO 11898-2)."""
    one = said(
        "can-bus-pair", bus_high_quiet_bus=2.62, bus_low_quiet_bus=2.38, across_6_14_quiet_bus=0.24
    )
    assert one.kind != "found"


def test_nothing_has_less_than_nought_ohms() -> None:
    """0.2 Ω in a wire is well below 1 Ω and not marginal against 0 Ω (meter ± 0.5 Ω)."""
    plan = by_hand("flap-actuator-5wire").plan
    taken = check(Reading(ureg.Quantity(0.2, "ohm")), plan.step("reference_wire"), plan, {})
    assert isinstance(taken, Comparison)
    assert taken.result == "in range"


def test_the_leads_stay_as_they_were_prepared() -> None:
    """The meter in series is connected once: current into the red lead is positive throughout."""
    plan = load_plan("parasitic-draw").plan
    series = [s for s in plan.steps if s.measure.quantity == "current"]
    prepared = plan.step("prepared").probe
    assert {(s.probe.red, s.probe.black) for s in series} == {(prepared.red, prepared.black)}


def test_no_millivolts_with_the_meter_that_is_in_series() -> None:
    plan = load_plan("parasitic-draw").plan
    told = [s.probe.how for s in plan.steps if "millivolt" in s.probe.how]
    assert told
    assert all("second meter" in how for how in told)


@pytest.mark.parametrize("voltage", [12.4, 12.9, 13.2])
def test_an_alternator_that_is_told_to_charge_little_is_not_convicted(voltage: float) -> None:
    one = said(
        "battery-charging",
        battery_voltage=12.6,
        battery_cranking=10.7,
        battery_engine_idling=voltage,
    )
    assert "alternator" not in found(one)
