"""Verdicts that were wrong once: each with readings as the trade meets them."""

from __future__ import annotations

import math
from functools import cache

import pytest
from by_hand import by_hand

from handsfree.check import Comparison, check, expected
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


def test_traffic_on_the_bus_is_told_from_a_fault_of_it() -> None:
    """What was taken for a quiet bus was none: messages are named, and no part."""
    one = said(
        "can-bus-pair", bus_high_quiet_bus=2.62, bus_low_quiet_bus=2.38, across_6_14_quiet_bus=0.24
    )
    assert {c.site for c in one.candidates} == {"traffic"}


def test_a_sleeping_bus_is_not_accused() -> None:
    """Asleep, both wires are near ground, and the resistances are right."""
    one = said(
        "can-bus-pair", battery_voltage=12.6, battery_feed_ignition_on=12.4,
        bus_high_quiet_bus=0.02, bus_low_quiet_bus=0.02, across_6_14_quiet_bus=0.0,
        bus_high_ignition_on=0.02, bus_low_ignition_on=0.02,
        pin_6_to_14_battery_disconnected=60.2, pin_6_to_4_battery_disconnected=12e3,
        pin_14_to_4_battery_disconnected=12e3,
    )  # fmt: skip
    assert one.kind not in ("found", "suspicion")


def test_a_full_agm_battery_is_not_convicted() -> None:
    """An AGM battery stands a fifth of a volt above a flooded one (makers' tables, from memory)."""
    one = said(
        "battery-charging", battery_voltage=12.88, battery_cranking=10.9, battery_engine_idling=14.3
    )
    assert "battery" not in found(one)


def thermistor_limits(degrees: float | None) -> tuple[float, float]:
    """Limits of the sensor's resistance in ohms after its temperature was measured."""
    plan = load_plan("thermistor-2wire").plan
    taken = {} if degrees is None else {
        "coolant_sensor_temperature": Reading(ureg.Quantity(degrees, "degC"))
    }  # fmt: skip
    wanted = expected(plan.step("pin_1_to_2"), taken)
    assert wanted.low is not None
    assert wanted.high is not None
    return float(wanted.low.m_as("ohm")), float(wanted.high.m_as("ohm"))


@pytest.mark.parametrize("degrees", [16, 19, 21.5, 24])
def test_a_thermistor_is_judged_at_its_measured_temperature(degrees: float) -> None:
    """R = R25·exp(B·(1/T - 1/T25)), IEC 60539-1, with R25 = 2.5 kΩ and B = 3500 K."""
    low, high = thermistor_limits(degrees)
    right = 2500 * math.exp(3500 * (1 / (degrees + 273.15) - 1 / 298.15))
    assert low < right < high
    assert high - low < 0.8 * (thermistor_limits(None)[1] - thermistor_limits(None)[0])


def test_beyond_its_points_a_temperature_changes_no_limit() -> None:
    assert thermistor_limits(60) == thermistor_limits(None)


# Least voltage of a 12 V battery under load by its temperature (Battery Council International,
# service manual; from memory): °F, V.
UNDER_LOAD = ((70, 9.6), (60, 9.5), (50, 9.4), (40, 9.3), (30, 9.1), (20, 8.9), (10, 8.7), (0, 8.5))


@pytest.mark.parametrize("plan_name", ["battery-charging", "starter-cranking"])
@pytest.mark.parametrize(("fahrenheit", "least"), UNDER_LOAD)
def test_a_cranked_battery_is_judged_at_its_temperature(
    plan_name: str, fahrenheit: float, least: float
) -> None:
    plan = load_plan(plan_name).plan
    cold = Reading(ureg.Quantity(fahrenheit, "degF").to("degC"))
    wanted = expected(plan.step("battery_cranking"), {"battery_temperature": cold})
    assert wanted.low is not None
    assert float(wanted.low.m_as("V")) == pytest.approx(least, abs=0.05)
    assert expected(plan.step("battery_cranking"), {}).low == ureg.Quantity(9.6, "V")


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
