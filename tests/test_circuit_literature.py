"""Parts of the library against worked examples that others have published; sources beside each."""

import numpy as np
import pytest
from circuit_samples import circuit

from handsfree.circuit import simulate
from handsfree.circuit.physics import battery, copper, thermometer
from handsfree.units import ureg

Q = ureg.Quantity


def read(text, faults=(), condition="on", **test):
    """What one test reads in a small circuit."""
    asked = ", ".join(f"{key}: {value}" for key, value in test.items())
    tests = f"tests: {{t: {{condition: '{condition}', {asked}}}}}\nusual_faults: true\n"
    return float(simulate(circuit(text + tests), [faults], samples=1).values[0, 0, 0])


def motor(volts, resistance, running):
    """A motor at a stiff supply, its current taken with a clamp."""
    return f"""
parts:
  supply: {{kind: source, between: [line, gnd], voltage: {volts} V, resistance: 0.1 mΩ}}
  lead: {{kind: resistor, between: [line, a], resistance: 0.1 mΩ}}
  lamp: {{kind: resistor, between: [bat, gnd], resistance: 30 Ω}}
  motor: {{kind: motor, between: [a, gnd], resistance: {resistance} Ω, running_current: {running} A,
          starting_current: {running} A, rated: {volts} V}}
"""


# What is asked of a motor: supply, current while it runs, while it stands, induced voltage.
# The first: OpenStax, College Physics, chapter 23, back emf (a toy car: 6.00 V, 4.50 V induced,
# 3.00 A; what does it draw when it starts?).  The second: an exercise of the same kind with its
# answer, as published by toughstem.com (115 V; 6.5 A at speed, 21.5 A at its start: 80.23 V).
MOTORS = {"toy car": (6.0, 3.0, 12.0, 4.5), "115 V": (115.0, 6.5, 21.5, 80.2)}


@pytest.mark.parametrize("name", MOTORS)
def test_a_motor_takes_more_at_rest_by_what_it_induces_at_speed(name):
    volts, running, standing, induced = MOTORS[name]
    text = motor(volts, volts / standing, running)
    clamp = {"measures": "current", "through": "lead", "clamp": "true"}
    assert read(text, **clamp) == pytest.approx(running, rel=1e-3)
    assert read(text, ["motor_jammed"], **clamp) == pytest.approx(standing, rel=1e-3)
    across = read(text, measures="voltage", red="a", black="gnd")
    assert across - running * volts / standing == pytest.approx(induced, rel=2e-3)


def test_a_thermistor_keeps_a_published_table():
    """A 10 kΩ thermistor with B25/85 = 3977 K, makers' table, from memory of it.

    0 °C 32.55 kΩ, 50 °C 3.605 kΩ, 85 °C 1.072 kΩ.  B is exact between 25 and 85 °C only: within
    0.5 % there, 2 % between, 6 % beyond.
    """
    for degrees, kiloohms, within in ((85, 1.072, 0.005), (50, 3.605, 0.02), (0, 32.55, 0.06)):
        ratio = thermometer.ntc_ratio(3977.0, np.array([degrees + 273.15]))
        assert 10 * float(ratio[0]) == pytest.approx(kiloohms, rel=within)


def test_a_thermistor_pulled_up_reads_by_hand():
    """The same at 50 °C under 5 V behind 2.2 kΩ: 5 · 3.563 / (3.563 + 2.2) = 3.091 V."""
    text = """
parts:
  lamp: {kind: resistor, between: [bat, gnd], resistance: 30 Ω}
  rail: {kind: source, between: [r, gnd], voltage: 5 V, resistance: 1 mΩ}
  pull: {kind: resistor, between: [r, a], resistance: 2.2 kΩ}
  sensor: {kind: thermistor, between: [a, gnd], resistance: 10 kΩ, beta: 3977 K}
conditions: {"on": {sensor: 50 °C}}
"""
    assert read(text, measures="voltage", red="a", black="gnd") == pytest.approx(3.091, abs=2e-3)


# Battery Council International: open-circuit volts and specific gravity of a flooded battery at
# 80 °F by state of charge; seen in published extracts of the table.
GRAVITY = {100: (12.65, 1.265), 75: (12.45, 1.225), 50: (12.24, 1.190), 25: (12.06, 1.155)}


@pytest.mark.parametrize("charge", GRAVITY)
def test_a_battery_at_rest_keeps_its_table_and_its_acid(charge):
    """A cell has its specific gravity and 0.84 V (rule of handbooks), to 1 % of six cells."""
    volts, gravity = GRAVITY[charge]
    at_rest = battery.open_circuit_voltage(Q(charge, "percent")).m_as("V")
    assert at_rest == pytest.approx(volts)
    assert at_rest == pytest.approx(6 * (gravity + 0.84), rel=0.01)


def test_a_battery_cranks_by_its_inner_resistance():
    """Volts fall by amperes times inner resistance: 12.65 V, 8 mΩ, 200 A leave 11.05 V (by hand).

    11.05 V / 200 A = 55.25 mΩ of starter.
    """
    text = """
parts:
  lamp: {kind: resistor, between: [bat, gnd], resistance: 30 Ω}
  full: {kind: battery, between: [b, gnd], charge: 100 %, temperature: 26.7 °C, resistance: 8 mΩ}
  starter: {kind: resistor, between: [b, gnd], resistance: 55.25 mΩ}
"""
    assert read(text, measures="voltage", red="b", black="gnd") == pytest.approx(11.05, abs=1e-3)


BUS = """
parts:
  lamp: {kind: resistor, between: [bat, gnd], resistance: 30 Ω}
  near: {kind: can node, high: h, low: l, ground: gnd, termination: 120 Ω}
  far: {kind: can node, high: h, low: l, ground: gnd, termination: 120 Ω}
conditions: {"off": {near: "off", far: "off"}, sends: {near: dominant}, quiet: {}}
"""


@pytest.mark.parametrize(
    ("fault", "ohms"), [((), 60.0), (("far_open_termination",), 120.0)], ids=["whole", "one gone"]
)
def test_a_bus_without_power_shows_its_terminators(fault, ohms):
    """ISO 11898-2 terminates each end with 120 Ω: 60 Ω with both, 120 Ω with one.

    The inputs of the nodes lie beside them, some 50 kΩ each: 1 %.
    """
    seen = read(BUS, fault, condition="off", measures="resistance", red="h", black="l")
    assert seen == pytest.approx(ohms, rel=0.01)


def test_a_dominant_bit_has_the_difference_of_its_levels():
    """ISO 11898-2, nominal levels: 3.5 V less 1.5 V are 2 V; recessive 2.5 V both, difference 0."""
    levels = {
        (condition, wire): read(BUS, condition=condition, measures="voltage", red=wire, black="gnd")
        for condition in ("sends", "quiet")
        for wire in ("h", "l")
    }
    assert levels["sends", "h"] == pytest.approx(3.5, abs=0.15)
    assert levels["sends", "l"] == pytest.approx(1.5, abs=0.15)
    assert levels["quiet", "h"] == pytest.approx(2.5, abs=0.1)
    assert levels["quiet", "h"] == pytest.approx(levels["quiet", "l"], abs=0.01)


# Circular mils by AWG: NEC, chapter 9, table 8.
MILS = {14: 4110, 12: 6530, 10: 10380, 8: 16510}


@pytest.mark.parametrize("gauge", MILS)
def test_voltage_drop_by_the_electricians_rule(gauge):
    """Vd = 2·K·I·L / CM with K = 12.9 Ω·cmil/ft, copper at 75 °C (rule after NEC, table 8).

    16 A through 60 ft of it and back.  K counts the lay of stranded wire: 3 %.
    """
    amperes, feet = 16, 60
    rule = 2 * 12.9 * amperes * feet / MILS[gauge]
    wire = copper.wire_resistance(copper.awg_area(gauge), Q(2 * feet, "ft"), Q(75, "degC"))
    assert amperes * wire.m_as("ohm") == pytest.approx(rule, rel=0.03)
