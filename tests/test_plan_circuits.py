"""Circuits within plans: they agree with the plan and with ngspice, and mistakes have lines."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from by_hand import NAMES, by_hand
from circuit_spice import compare, needs_ngspice
from click.testing import Result
from typer.testing import CliRunner

from handsfree.check.agreement import Agreement, agreements, objections
from handsfree.circuit import (
    Circuit,
    Expectation,
    ExpectedWord,
    Meter,
    live_ohmmeter_tests,
    simulate,
    single_faults,
)
from handsfree.cli.app import app
from handsfree.cli.output import console
from handsfree.plan import BadPlan, LoadedPlan, load_plan, parse_plan, shipped
from handsfree.units import show, ureg

PLANS = {name: loaded for name in shipped() if (loaded := load_plan(name)).plan.circuit}
HAND = {name: by_hand(name) for name in NAMES}
FLAP = HAND["flap-actuator-5wire"].text
THERMISTOR, CHARGING = HAND["thermistor-2wire"].text, HAND["battery-charging"].text
every_plan = pytest.mark.parametrize("name", PLANS)


def circuit_of(name: str) -> Circuit:
    circuit = PLANS[name].plan.circuit
    assert circuit is not None
    return circuit


@pytest.fixture(scope="module")
def computed() -> dict[str, tuple[Agreement, ...]]:
    return {name: agreements(loaded.plan) for name, loaded in PLANS.items()}


# The shipped circuits


def test_every_plan_has_a_circuit_but_that_of_the_airbag() -> None:
    assert set(shipped()) - set(PLANS) == {"airbag-supply"}


@every_plan
def test_by_hand_and_computed_agree(name: str, computed: dict[str, Any]) -> None:
    """95 % of all sound circuits pass every step."""
    assert {a.step.id: a.agrees for a in computed[name] if a.agrees != "yes"} == {}
    assert list(objections(PLANS[name].plan, computed[name])) == []
    assert live_ohmmeter_tests(circuit_of(name), PLANS[name].plan.meter) == ()


@every_plan
def test_every_electrical_step_is_computed(name: str, computed: dict[str, Any]) -> None:
    plan = PLANS[name].plan
    known = {a.step.id for a in computed[name]}
    wanted = {s.id for s in plan.steps if s.measure.quantity in ("voltage", "resistance", "current")
              or s.measure.states}  # fmt: skip
    assert wanted <= known


@every_plan
def test_every_fault_shows(name: str) -> None:
    """Each written fault moves at least one test of the plan well beyond the meter's error."""
    plan = PLANS[name].plan
    circuit = circuit_of(name).model_copy(update={"usual_faults": False})
    meter = plan.meter
    found = simulate(circuit, samples=30, meter=meter)
    hidden = []
    for fault, values in zip(found.hypotheses[1:], found.values[1:], strict=True):
        shows = np.zeros(values.shape[1], dtype=bool)
        for test_id, sound, reading in zip(found.tests, found.values[0], values, strict=True):
            test = circuit.tests[test_id]
            if plan.step(test_id).phase == "after_repair":
                continue
            number = test.measures if not test.outcomes else None
            error = meter.error(number, sound) if number else 0.0
            with np.errstate(invalid="ignore"):
                shows |= (reading != sound) & ~(np.abs(reading - sound) <= 3 * error)
        if not shows.all():
            hidden += fault
    assert hidden == []


@every_plan
def test_faults_are_told_in_words_and_weighed(name: str) -> None:
    faults = circuit_of(name).faults
    assert len({f.id for f in faults}) == len(faults) >= 8
    for fault in faults:
        assert fault.say
        assert fault.unit or not fault.part
    assert "common practice" in circuit_of(name).odds_source


@needs_ngspice
@every_plan
def test_shipped_circuits_agree_with_ngspice_under_every_fault(name: str, tmp_path: Path) -> None:
    """With the faults that are written; `test_circuit_parts.py` has those that parts bring."""
    circuit = circuit_of(name).model_copy(update={"usual_faults": False})
    variants = len(single_faults(circuit)) * len(circuit.conditions)
    assert compare(circuit, tmp_path) == variants


# What the trade knows.  Common practice, no published source, unless a source is named.


def reading(name: str, fault: str | None, test: str) -> float | str | None:
    """A reading of the nominal circuit with one fault, in SI units; a word where one is said."""
    circuit, meter = circuit_of(name), PLANS[name].plan.meter
    found = simulate(circuit, [(fault,) if fault else ()], [test], samples=1, meter=meter)
    value = float(found.values[0, 0, 0])
    if words := circuit.tests[test].outcomes:
        return dict(enumerate(words)).get(int(value))
    return value


NTC, PAIR = "thermistor-2wire", "pin_6_to_14_battery_disconnected"
HIGH = "bus_high_trunk_short_to_ground_hard"
ADDED = "negative_cable_current_added_equipment_unplugged"
GROUND = "fan_ground_wire_high_resistance_slight"


@pytest.mark.parametrize(
    ("name", "fault", "test", "low", "high"),
    [
        # A divider of 2.49 kΩ and the sensor at 20 °C, by the B value: 2500 Ω·exp(3500 K·
        # (1/293.15 K - 1/298.15 K)) = 3054 Ω: 5 V · 3054 / (3054 + 2490) = 2.754 V.
        (NTC, None, "temperature_signal_ignition_on", 2.753, 2.756),
        (NTC, "coolant_sensor_open", "temperature_signal_ignition_on", 4.99, 5.0),
        (NTC, "sensor_connector_high_resistance_1_marked", "pin_1_to_2", 3050, 3060),
        # ISO 11898-2: two terminators of 120 Ω in parallel; one alone; three.
        ("can-bus-pair", None, PAIR, 59.9, 60.5),
        ("can-bus-pair", "gateway_open_termination", PAIR, 119, 120.5),
        ("can-bus-pair", "third_terminator", PAIR, 39.9, 40.4),
        ("can-bus-pair", "far_module_open_termination", "pin_6_to_14_gateway_unplugged", 1e4, 1e5),
        ("can-bus-pair", HIGH, "pin_14_to_4_battery_disconnected", 59, 62),
        ("can-bus-pair", "module_stuck_dominant", "across_6_14_quiet_bus", 0.9, 2.2),
        # The charging current flows back from battery negative to the alternator's case.
        ("battery-charging", None, "engine_fast_idle_with_loads", 0.03, 0.1),
        ("battery-charging", "battery_sense_wire_open", "battery_engine_idling", 15, 16.4),
        ("battery-charging", "charge_lamp_open", "battery_engine_idling", 12, 12.7),
        ("battery-charging", "brushes_open", "charge_lamp_ignition_on", 12, 12.7),
        ("battery-charging", "battery_worn", "battery_cranking", 6, 9.6),
        # UN Regulation No. 37, H7: 55 W at 13.2 V; a little less at 12.2 V.
        ("voltage-drop", None, "lamp_feed_current_low_beam_on", 3.9, 4.1),
        # 45 mΩ and a fuse of 8 mΩ, at 3.9 A.
        ("voltage-drop", "fuse_high_resistance_faint", "fuse_drop_low_beam_on", 0.18, 0.23),
        ("relay-4pin", "relay_stuck_pulled", "pin_30_to_87", 0, 1),
        ("relay-4pin", GROUND, "fan_ground_at_fan_socket_bridged", 5, 12),
        ("parasitic-draw", None, "negative_cable_current_bus_asleep", 0.01, 0.03),
        ("parasitic-draw", "tracker_stuck_awake", ADDED, 0.01, 0.03),
    ],
)
def test_faults_read_as_the_trade_knows_them(
    name: str, fault: str | None, test: str, low: float, high: float
) -> None:
    value = reading(name, fault, test)
    assert isinstance(value, float)
    assert low <= value <= high


SENSOR, SWEEP = "position-sensor-3wire", "height_sensor_slow_sweep"


@pytest.mark.parametrize(
    ("name", "fault", "test", "word"),
    [
        (SENSOR, None, "link_ignition_on", "yes"),
        (SENSOR, "link_slipping", "link_ignition_on", "no"),
        (SENSOR, "link_stuck_position", "link_ignition_on", "yes"),
        (SENSOR, "height_sensor_worn_segment_25_to_50_percent", SWEEP, "it jumps"),
        (SENSOR, "height_signal_wire_open", SWEEP, "smooth"),
        (NTC, "module_pin_1_open", "bridge", "yes"),  # the input of an open pin falls to nought
        (NTC, "module_pin_1_pull_up_open", "live_value_agrees", "no"),
        (NTC, "temperature_signal_wire_open", "bridge", "no"),
        (NTC, "coolant_sensor_open", "bridge", "yes"),
        ("relay-4pin", "module_pin_1_open_low", "fan_socket_bridged", "yes"),
        ("relay-4pin", "relay_high_resistance_normally_open_slight", "fan_fan_commanded", "no"),
        ("relay-4pin", "fan_fuse_high_resistance_slight", "fan_fan_commanded", "no"),
    ],
)
def test_faults_are_seen_as_the_trade_knows_them(
    name: str, fault: str | None, test: str, word: str
) -> None:
    assert reading(name, fault, test) == word


def test_a_link_that_is_off_leaves_the_sensor_hanging() -> None:
    top, level = "height_signal_arm_fully_raised", "height_signal_ignition_on"
    assert reading(SENSOR, "link_slipping", top) == reading(SENSOR, None, top)  # lifted by hand
    assert reading(SENSOR, "link_slipping", level) < 1.5
    assert reading(SENSOR, None, level) > 2


def test_words_that_a_meter_shows_alike() -> None:
    test = circuit_of("flap-actuator-5wire").tests["hot_drive_heating_up"]
    assert [test.outcome(w) for w in ("battery", "ground", "dead", "open")] == [0, 1, 1, 1]
    assert test.outcome("pulsing") == len(test.outcomes)


# The meter


def test_the_meter_of_a_plan_loads_its_circuit_and_errs_as_it_is_written() -> None:
    text = FLAP.replace(
        "  source: typical of a 6000",
        "  display: 4000\n  input_resistance: 1 MΩ\n  over_limit: 40 MΩ\n  burden: 0.1 Ω\n"
        "  source: typical of a 6000",
        1,
    )
    meter = parse_plan(text).meter
    assert meter.display == 4000
    ohms = (meter.input_resistance, meter.over_limit, meter.burden)
    assert [value.m_as("Ω") for value in ohms] == [1e6, 40e6, 0.1]
    # 0.9 % + 3 counts; of 4000 counts of 0.1 Ω, 1 kΩ is shown to 1 Ω.
    assert meter.error("resistance", np.array([1000.0])) == pytest.approx([9 + 3])
    assert meter.accuracy_of("current") == Meter().accuracy_of("current")
    assert parse_plan(FLAP).meter.input_resistance.m_as("Ω") == 10e6


@pytest.mark.parametrize(
    ("field", "message"),
    [
        ("input_resistance: 10 V", "meter.input_resistance: 10 V is no resistance"),
        ("burden: 0 Ω", "meter.burden: 0 Ω is not above nought"),
        ("over_limit: 60", "meter.over_limit: 60 has no unit"),
        ("display: 9", "meter.display: should be greater than or equal to 100"),
    ],
)
def test_a_meter_that_cannot_be(field: str, message: str) -> None:
    with pytest.raises(BadPlan, match=message):
        parse_plan(FLAP.replace("  source: typical of a 6000", f"  {field}\n  source: a 6000", 1))


# Contradictions


def refused(text: str) -> list[tuple[int, str]]:
    """Line and message of everything that the circuit has against a plan."""
    loaded = LoadedPlan(parse_plan(text), text, "mine.yaml")
    with pytest.raises(BadPlan) as raised:
        loaded.refuse(objections(loaded.plan, agreements(loaded.plan)))
    assert "mine.yaml, line" in raised.value.what
    return [(fault.line, fault.message) for fault in raised.value.faults]


def line_of(text: str, part: str) -> int:
    assert text.count(part) == 1
    return text[: text.index(part)].count("\n") + 1


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("{low: 25 Ω, high: 60 Ω}", "{low: 5 Ω, high: 25 Ω}", "40 Ω.*above the limit of 25 Ω"),
        ("{nominal: 5 kΩ, tolerance: 20 %}", "{nominal: 2 kΩ, tolerance: 20 %}", "limit of 2.4 kΩ"),
        ("expect: {over_range: true}", "expect: {low: 0 Ω, high: 9 Ω}", "gives over limit, above"),
        ("{answer: it turns}", "{answer: nothing}", "gives 'it turns', and not nothing"),
        ("{low: 0.2 kΩ, high: 5.8 kΩ}", "{over_range: true}", "and not over limit"),
        ("{low: 2.2 V, high: 2.8 V}", "{near: reference, within: 0.1 V}", "below the limit of 4.8"),
    ],
)  # fmt: skip
def test_a_planted_contradiction_is_found(old: str, new: str, message: str) -> None:
    ((line, text),) = refused(FLAP.replace(old, new))
    assert line == line_of(FLAP, old)
    assert re.search(message, text), text


def test_an_ohmmeter_on_a_live_wire_is_found() -> None:
    changed = THERMISTOR.replace("condition: both_ends_off\n", "condition: ignition_on\n")
    changed = changed.replace("condition: both_ends_off,", "condition: ignition_on,")
    found = refused(changed)
    live = [line for line, text in found if "live, so the reading is false" in text]
    assert live == [line_of(changed, "signal_to_ground: {condition")]


def test_exchanged_leads_are_found() -> None:
    part = "red: battery minus, black: engine,"
    changed = CHARGING.replace(part, "red: engine, black: battery minus,")
    ((_, text),) = refused(changed)
    assert "below the limit of -0.05 V" in text


def test_a_tight_limit_agrees_partly() -> None:
    tight = parse_plan(FLAP.replace("{low: 25 Ω, high: 60 Ω}", "{low: 35 Ω, high: 60 Ω}"))
    (winding,) = (a for a in agreements(tight) if a.step.id == "motor_winding")
    assert (winding.agrees, winding.objection) == ("partly", None)


def test_what_is_compared_with_a_skipped_step_is_not_comparable() -> None:
    near = FLAP.replace("{low: 25 Ω, high: 60 Ω}", "{near: winding_before, within: 5 Ω}")
    step = FLAP[FLAP.index("  - id: motor_winding") : FLAP.index("  - id: track\n")]
    near = near.replace("  - id: motor_winding", step.replace("motor_winding", "winding_before")
                        + "  - id: motor_winding", 1)  # fmt: skip
    (winding,) = (a for a in agreements(parse_plan(near)) if a.step.id == "motor_winding")
    assert winding.agrees == "not comparable"


def test_a_plan_without_a_circuit_has_no_agreements() -> None:
    plan = parse_plan(FLAP[: FLAP.index("\ncircuit:\n")])
    assert agreements(plan) == ()
    assert list(objections(plan, ())) == []


# Command line


def run(*args: str) -> Result:
    return CliRunner().invoke(app, ["plan", *args])


def test_expect_for_programs(computed: dict[str, Any]) -> None:
    rows = [json.loads(line) for line in run("expect", "relay-4pin", "--json").stdout.splitlines()]
    assert [row["step"] for row in rows] == [a.step.id for a in computed["relay-4pin"]]
    by_step = {row["step"]: row for row in rows}
    coil = by_step["pin_86_to_85"]
    assert (coil["unit"], coil["nominal"], coil["written"]) == ("Ω", 88, "74 Ω to 110 Ω")
    assert coil["worst"][0] <= coil["likely"][0] <= coil["nominal"] <= coil["likely"][1]
    assert by_step["pin_30_to_87"]["nominal"] is None
    assert by_step["fan_fan_commanded"]["word"] == "yes"
    assert {row["agrees"] for row in rows} == {"yes"}


def test_expect_for_people(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(console, "width", 250)
    shown = run("expect", "flap-actuator-5wire").stdout
    assert "4.98 V" in shown
    assert "30.0 … 50.0 Ω" in shown
    assert "it turns 100%" in shown
    assert run("expect", "--help").stdout.count("Example: handsfree plan expect") == 1


def test_check_refuses_a_contradiction(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(FLAP.replace("{low: 25 Ω, high: 60 Ω}", "{low: 5 Ω, high: 25 Ω}"), "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "plan", "check", str(path)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    line = line_of(FLAP, "{low: 25 Ω, high: 60 Ω}")
    assert f"mine.yaml, line {line}, steps[9] (motor_winding).expect: the circuit" in done.stderr


def test_check_notes_what_agrees_only_partly(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(FLAP.replace("{low: 25 Ω, high: 60 Ω}", "{low: 35 Ω, high: 60 Ω}"), "utf-8")
    done = run("check", str(path))
    assert done.exit_code == 0
    assert "note: some sound circuits fail at motor_winding (35 Ω to 60 Ω)" in done.stdout


def test_expect_needs_a_circuit(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(FLAP[: FLAP.index("\ncircuit:\n")], "utf-8")
    assert "describes no circuit" in str(run("expect", str(path)).exception)
    assert run("check", str(path)).exit_code == 0


def test_figures_have_units() -> None:
    found = {a.step.id: a.computed for a in agreements(parse_plan(FLAP))}
    reference, moves = found["reference"], found["shaft_turns"]
    assert isinstance(reference, Expectation)
    assert isinstance(moves, ExpectedWord)
    assert reference.nominal.is_compatible_with(ureg.volt)
    assert show(reference.error).endswith(" V")
