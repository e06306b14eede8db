"""Computed expectations, the meter's accuracy, and guard-banded decisions."""

import math

import pytest
from circuit_samples import circuit, flap

from handsfree.circuit.expect import (
    Expectation,
    ExpectedWord,
    contradiction,
    expectations,
    live_ohmmeter_tests,
)
from handsfree.units import ureg

Q = ureg.Quantity


def volts(value):
    return Q(float(value), "V")


DIVIDER = """
parts:
  upper: {kind: resistor, between: [bat, m], resistance: 1 kΩ ± 5 %}
  lower: {kind: resistor, between: [m, gnd], resistance: 2 kΩ ± 10 %}
tests: {middle: {condition: "on", measures: voltage, red: m, black: gnd}}
"""


def test_worst_case_of_a_divider_by_hand():
    # 12 V × R₂ / (R₁ + R₂): lowest with 1050 and 1800 Ω, highest with 950 and 2200 Ω; with the
    # battery's 10 mΩ and the meter's 10 MΩ.
    def reading(upper, lower):
        loaded = 1 / (1 / lower + 1e-7)
        return 12 * loaded / (upper + 0.01 + loaded)

    found = expectations(circuit(DIVIDER))["middle"]
    assert isinstance(found, Expectation)
    assert found.nominal.to("V").magnitude == pytest.approx(reading(1000, 2000), rel=1e-5)
    low, high = (q.to("V").magnitude for q in found.worst)
    assert low == pytest.approx(reading(1050, 1800), rel=1e-5)
    assert high == pytest.approx(reading(950, 2200), rel=1e-5)


def test_monte_carlo_agrees_with_the_law_of_propagation():
    # JCGM 100:2008, 5.1.2 with rectangular tolerances: u² = Σ (∂V/∂R · a/√3)².
    r1, r2 = 1000.0, 2000.0
    d1, d2 = -12 * r2 / (r1 + r2) ** 2, 12 * r1 / (r1 + r2) ** 2
    u = math.hypot(d1 * 0.05 * r1, d2 * 0.10 * r2) / math.sqrt(3)
    found = expectations(circuit(DIVIDER), samples=20_000)["middle"]
    low, high = (q.to("V").magnitude for q in found.likely)
    # Two rectangles added are narrower in the tails than a normal distribution.
    assert 1.75 * u < (high - low) / 2 < 1.96 * u
    assert found.worst[0] <= found.likely[0] <= found.nominal <= found.likely[1] <= found.worst[1]


def test_expectations_of_the_flap_actuator():
    found = expectations(flap(), samples=200)
    assert list(found) == list(flap().tests)
    reference = found["reference"]
    assert reference.nominal.to("V").magnitude == pytest.approx(4.98, abs=0.01)
    # 0.5 % of 4.98 V and two counts of a millivolt.
    assert reference.error.to("V").magnitude == pytest.approx(0.0269, abs=1e-4)
    moves = found["shaft_turns"]
    assert isinstance(moves, ExpectedWord)
    assert (moves.nominal, moves.shares["it turns"]) == ("it turns", 1.0)
    assert found["hot_drive_switches"].nominal == "switches to supply"
    again = expectations(flap(), samples=200)["reference"]
    assert again.likely == reference.likely


def test_an_open_circuit_is_expected_as_ol():
    c = circuit("""
parts:
  key: {kind: switch, between: [bat, k]}
  load: {kind: resistor, between: [k, gnd], resistance: 1 kΩ}
tests: {across: {condition: "on", measures: resistance, red: k, black: bat}}
conditions: {"on": {battery: "off"}}
""")
    found = expectations(c, samples=10)["across"]
    assert math.isinf(found.nominal.magnitude)
    assert found.error.magnitude == 0
    assert math.isinf(found.worst[1].magnitude)


def test_hand_written_limits_that_contradict_the_circuit():
    found = expectations(circuit(DIVIDER), samples=50)["middle"]
    assert contradiction(found, volts(7), volts(9)) is None
    assert contradiction(found, None, None) is None
    assert "below the limit of 9 V" in contradiction(found, volts(9), None)
    assert "above the limit of 5 V" in contradiction(found, None, volts(5))


def test_an_ohmmeter_on_live_wires_is_noticed():
    assert live_ohmmeter_tests(flap()) == ()
    c = circuit("""
parts:
  lamp: {kind: lamp, between: [bat, gnd], rated_voltage: 12 V, rated_power: 5 W}
conditions: {"on": {}, "off": {battery: "off"}}
tests:
  live: {condition: "on", measures: resistance, red: bat, black: gnd}
  dead: {condition: "off", measures: resistance, red: bat, black: gnd}
""")
    assert live_ohmmeter_tests(c) == ("live",)
