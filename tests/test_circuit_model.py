"""The plan's circuit section: what it holds, and how its mistakes are named."""

import pytest
from circuit_samples import circuit, flap, flap_data
from pydantic import ValidationError

from handsfree.circuit.model import Circuit
from handsfree.circuit.parts import Wire
from handsfree.circuit.template import Template
from handsfree.errors import BadInput
from handsfree.units import ureg


def test_the_flap_actuator_fits_together():
    assert list(flap().problems()) == []
    assert len(flap().faults) >= 25


def test_a_circuit_survives_being_written_out():
    original = flap()
    assert Circuit.model_validate(original.model_dump(mode="json")).model_dump(mode="json") == (
        original.model_dump(mode="json")
    )
    assert "Potentiometer" in str(Circuit.model_json_schema())


def mistakes(change):
    data = flap_data()
    change(data)
    return {
        ".".join(map(str, path)): text for path, text in Circuit.model_validate(data).problems()
    }


@pytest.mark.parametrize(
    ("change", "where", "what"),
    [
        (lambda d: d.update(ground="earth"), "ground", "no part is connected"),
        (lambda d: d["parts"]["feedback wire"].update(between=["harness 4", "p44"]),
         "parts.feedback wire", "'p44'"),
        (lambda d: d["parts"]["flap"].update(motor="engine"), "parts.flap.motor", "no motor"),
        (lambda d: d["parts"]["position"].update(moved_by="motor"), "parts.position.moved_by",
         "no mechanism"),
        (lambda d: d["parts"]["reference"]["needs"].update(between=["x", "bridge"]),
         "parts.reference.needs.between", "'x'"),
        (lambda d: d["parts"]["battery"].update(faults=[{"mode": "jammed"}]),
         "parts.battery.faults.0.mode", "cannot be 'jammed'"),
        (lambda d: d["parts"]["flap"].update(faults=[{"mode": "open"}]),
         "parts.flap.faults.0.mode", "cannot be 'open'"),
        (lambda d: d["parts"]["connector"].update(faults=[{"mode": "open", "at": 7}]),
         "parts.connector.faults.0.at", "only '1', '2', '3', '4', '5'"),
        (lambda d: d["parts"]["hot driver"].update(faults=[{"mode": "stuck", "state": "up"}]),
         "parts.hot driver.faults.0.state", "only 'high', 'low', 'off'"),
        (lambda d: d["parts"]["motor"].update(faults=[{"mode": "short to", "other": "q"}]),
         "parts.motor.faults.0.other", "'q'"),
        (lambda d: d["conditions"].update(at_hot={"driver": "high"}), "conditions.at_hot.driver",
         "no part"),
        (lambda d: d["conditions"].update(at_hot={"ignition": "warm"}),
         "conditions.at_hot.ignition", "no state 'warm'"),
        (lambda d: d["conditions"].update(at_hot={"position": "far"}), "conditions.at_hot.position",
         "not a number with a unit"),
        (lambda d: d["after"].update(at_hot="later"), "after.at_hot", "no condition 'later'"),
        (lambda d: d["tests"]["wiper"].update(condition="later"), "tests.wiper.condition",
         "no condition"),
        (lambda d: d["tests"]["wiper"].update(red="p6"), "tests.wiper.red", "'p6'"),
        (lambda d: d["tests"]["wiper"].update(observes="flap"), "tests.wiper.measures", "either"),
        (lambda d: d["tests"]["motor_current"].update(through="tenth wire"),
         "tests.motor_current.through", "no part"),
        (lambda d: d["tests"]["motor_current"].update(through="connector"),
         "tests.motor_current.at", "only '1'"),
        (lambda d: d["tests"]["flap_moves"].update(observes="connector"),
         "tests.flap_moves.observes", "nothing to observe"),
        (lambda d: d["tests"]["flap_moves"].pop("answers"), "tests.flap_moves.answers", "answers"),
        (lambda d: d["tests"]["track"].update(words={"open": "above 11 V"}), "tests.track.words",
         "not in Ω"),
        (lambda d: d["tests"]["hot_drive_heating"].update(reads_as={"dead": "earth"}),
         "tests.hot_drive_heating.reads_as", "'earth' is not among its words"),
        (lambda d: d["tests"]["track"].update(setups=["lid off"]), "tests.track.setups", "lid off"),
        (lambda d: d["wrong_pins"][0].update(probed="p9"), "wrong_pins.0.probed", "'p9'"),
        (lambda d: d["parts"]["motor"].update(faults=[{"mode": "open"}] * 2), "parts",
         "two faults are called 'motor_open'"),
    ],
)  # fmt: skip
def test_every_mistake_is_named_with_its_place(change, where, what):
    found = mistakes(change)
    assert where in found, found
    assert what in found[where]


def test_all_mistakes_at_once_stop_the_solver():
    data = flap_data()
    data["supply"], data["tests"]["wiper"]["red"] = "nowhere", "p6"
    with pytest.raises(BadInput) as error:
        Template(Circuit.model_validate(data))
    assert "nowhere" in str(error.value)
    assert "p6" in str(error.value)


def test_tests_are_steps_of_the_plan():
    c = flap()
    steps = {name: test.condition for name, test in c.tests.items()}
    assert list(c.strangers(steps)) == []
    steps["wiper"] = "at_hot"
    del steps["track"]
    assert {".".join(map(str, path)) for path, _ in c.strangers(steps)} == {
        "tests.wiper.condition",
        "tests.track",
    }


def test_yaml_words_are_words():
    # YAML reads `off` as false and a bare pin number as an integer.
    parts = "parts: {s: {kind: source, between: [1, gnd], voltage: 5 V, resistance: 1 Ω}, "
    parts += "r: {kind: resistor, between: [1, bat], resistance: 1 kΩ}}"
    c = circuit(parts + "\nconditions: {a: {s: off}}\ntests: {}")
    assert list(c.problems()) == []
    assert c.conditions["a"]["s"] == "off"


def test_a_wire_needs_its_size():
    with pytest.raises(ValidationError, match="length and gauge"):
        Wire(kind="wire", between=("a", "b"), length="2 m")
    # IEC 60028: 2 m of 0.5 mm² at 20 °C: 2 / 58 / 0.5 Ω; plus 0.393 % per kelvin.
    wire = Wire.model_validate(
        {"kind": "wire", "between": ["a", "b"], "length": "2 m", "gauge": "0.5 mm2",
         "temperature": "20 °C ± 10 °C"}
    )  # fmt: skip
    assert wire.ohms.nominal == pytest.approx(2 / 58 / 0.5)
    assert wire.ohms.high / wire.ohms.nominal == pytest.approx(1.0393)


def test_cost_counts_setups_once_and_undoes_what_disturbs():
    c = flap()
    minutes, made = c.cost("motor_winding", frozenset())
    assert minutes.to("min").magnitude == pytest.approx(1 + 4 + 1)
    minutes, made = c.cost("track", made)
    assert minutes.to("min").magnitude == pytest.approx(1)
    # Back to a powered test: plug it in again; the trim stays off.
    minutes, made = c.cost("reference", made)
    assert minutes.to("min").magnitude == pytest.approx(2)
    assert made == {"trim off"}


def test_faults_have_names_units_and_words():
    faults = {fault.id: fault for fault in flap().faults}
    assert faults["motor_open"].unit == "flap actuator"
    assert faults["bridge_supply_open"].unit == "control module"
    assert faults["reference_wire_open"].say == "reference wire open"
    assert faults["feedback_wire_short_to_pin_5"].odds == 0.5
    assert faults["wrong_pin_pin_4_for_pin_5"].part == ""
    assert flap().fault("motor_open").say == "motor winding open"
    with pytest.raises(KeyError):
        flap().fault("gremlin")


def test_load_draws_what_it_says():
    c = circuit("""
parts:
  radio: {kind: load, between: [bat, gnd], asleep: 10 mA, awake: 2 A, voltage: 12 V}
conditions: {parked: {}, listening: {radio: awake}}
tests:
  parked: {condition: parked, measures: current, through: radio, clamp: true}
  awake: {condition: listening, measures: current, through: radio, clamp: true}
""")
    assert c.tests["parked"].unit == "A"
    assert ureg.Quantity(c.parts["radio"].asleep.nominal, "A").to("mA").magnitude == 10
