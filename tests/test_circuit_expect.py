"""Computed expectations, the meter's accuracy, and guard-banded decisions."""

import math

import numpy as np
import pytest
from circuit_samples import circuit, flap
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from handsfree.circuit.expect import (
    Expectation,
    ExpectedWord,
    conformity,
    contradiction,
    decide,
    expectations,
    guard_band,
    live_ohmmeter_tests,
)
from handsfree.circuit.meter import Accuracy, Meter
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


# Conformity ------------------------------------------------------------------------------


def test_conformity_published_example():
    # JCGM 106:2012, 7.3 (from memory): breakdown voltage of a Zener diode, upper limit -5.40 V,
    # estimate -5.47 V with a standard uncertainty of 0.05 V: probability of conformity 0.92.
    error = volts(0.05 * math.sqrt(3))
    p = conformity(volts(-5.47), None, volts(-5.40), error)
    assert p == pytest.approx(0.92, abs=0.005)


@pytest.mark.parametrize(
    # JCGM 106:2012, table 1 (from memory): distance from the limit in standard uncertainties.
    ("p", "z"),
    [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)],
)
def test_guard_band_factors(p, z):
    assert guard_band(volts(math.sqrt(3)), p).to("V").magnitude == pytest.approx(z, abs=0.006)


def test_decisions():
    error = volts(0.03)
    assert decide(volts(5.0), volts(4.8), volts(5.2), error).verdict == "pass"
    assert decide(volts(4.5), volts(4.8), volts(5.2), error).verdict == "fail"
    near = decide(volts(4.81), volts(4.8), volts(5.2), error)
    assert near.verdict == "marginal"
    assert 0.2 < near.wrong < 0.5
    just_out = decide(volts(4.79), volts(4.8), volts(5.2), error)
    assert just_out.verdict == "marginal"
    assert just_out.wrong == pytest.approx(near.wrong)
    assert decide(volts(5.0), None, None, error) == decide(volts(9.0), None, None, error)
    assert decide(Q(math.inf, "Ω"), Q(1, "MΩ"), None, Q(0, "Ω")).verdict == "pass"
    assert decide(Q(math.inf, "Ω"), Q(20, "Ω"), Q(30, "Ω"), Q(0, "Ω")).verdict == "fail"
    assert decide(Q(4990, "mV"), volts(4.8), volts(5.2), Q(20, "mV")).verdict == "pass"


@given(st.floats(-20, 20), st.floats(1e-3, 1))
def test_a_reading_passes_exactly_where_the_guard_band_ends(reading, error):
    """ISO 14253-1: one-sided, acceptance begins one guard band inside the limit."""
    limit, band = volts(0), guard_band(volts(error)).to("V").magnitude
    verdict = decide(volts(reading), None, limit, volts(error)).verdict
    if abs(abs(reading) - band) > 1e-6:
        expected = "pass" if reading < -band else "fail" if reading > band else "marginal"
        assert verdict == expected


def test_probability_of_a_wrong_decision_is_what_a_simulation_finds():
    rng = np.random.default_rng(1)
    reading, low, error = 4.81, 4.8, 0.03
    true = rng.normal(reading, error / math.sqrt(3), 200_000)
    found = decide(volts(reading), volts(low), None, volts(error)).wrong
    assert found == pytest.approx((true < low).mean(), abs=0.005)


# The meter -------------------------------------------------------------------------------


def test_accuracy_is_percent_of_reading_plus_counts():
    meter = Meter()
    # 6000 counts, 0.1 mV finest: 12.6 V is shown as 12.60; 0.5 % + 2 counts = 0.083 V.
    values = np.array([12.6, 4.98, 0.05, -12.6])
    assert meter.resolution("voltage", values) == pytest.approx([0.01, 1e-3, 1e-4, 0.01])
    assert meter.error("voltage", values) == pytest.approx([0.083, 0.0269, 0.00045, 0.083])
    # The range changes above 5999 counts.
    assert meter.resolution("voltage", np.array([6.0, 6.001])) == pytest.approx([1e-3, 1e-2])
    assert meter.error("resistance", np.array([math.inf])) == [0]


def test_the_display_stays_within_its_accuracy():
    meter, rng = Meter(), np.random.default_rng(2)
    true = np.array([12.6, 4.98, 0.0123, math.inf])
    shown = np.stack([meter.show("voltage", true, rng) for _ in range(200)])
    bound = meter.error("voltage", true)[:3] + meter.resolution("voltage", true)[:3]
    assert (np.abs(shown[:, :3] - true[:3]) <= bound).all()
    assert np.isinf(shown[:, 3]).all()
    counts = shown[:, 0] / 0.01
    assert counts == pytest.approx(np.round(counts))


def test_a_count_has_the_unit_of_its_quantity():
    wrong = Accuracy.model_validate({"percent": 1, "counts": 2, "finest": "0.1 Ω"})
    with pytest.raises(ValidationError, match="is in V, not in Ω"):
        Meter(voltage=wrong)
    with pytest.raises(ValidationError, match=r"write '0\.1 mV'"):
        Accuracy.model_validate({"percent": 1, "counts": 2, "finest": 3})
