"""The shipped descriptions: short, each fact once, prompts that are right, never dangerous."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from by_hand import NAMES, by_hand
from plan_sample import sample
from typer.testing import CliRunner

from handsfree.circuit import live_ohmmeter_tests
from handsfree.cli.app import app
from handsfree.diagnosis import Rehearsed, Verdict
from handsfree.diagnosis.verdict import Candidate
from handsfree.plan import BadPlan, Plan, load_plan, parse_plan, shipped
from handsfree.plan.derived import Description, derive, is_description
from handsfree.plan.document import read_document

LOADED = {name: load_plan(name) for name in shipped()}
DESCRIBED = {
    name: loaded
    for name, loaded in LOADED.items()
    if is_description(read_document(loaded.text).data)
}
every_description = pytest.mark.parametrize("name", DESCRIBED)


def data(name: str) -> dict[str, Any]:
    found: dict[str, Any] = read_document(DESCRIBED[name].text).data
    return found


def plan(name: str) -> Plan:
    return DESCRIBED[name].plan


def test_all_are_described_but_that_of_the_airbag() -> None:
    """The airbag's order of work is the maker's, and not one that a computer proposes."""
    assert set(LOADED) - set(DESCRIBED) == {"airbag-supply"}


@every_description
def test_it_is_short_and_writes_no_step(name: str) -> None:
    assert len(DESCRIBED[name].text.splitlines()) <= 80
    assert not {"steps", "circuit", "conditions", "connector"} & set(data(name))


@every_description
def test_a_colour_stands_in_it_once(name: str) -> None:
    text = DESCRIBED[name].text
    colours = [strand["colour"] for strand in data(name)["loom"]]  # two wires may share one
    assert sorted(re.findall(r"colour: ([^,}]*)", text)) == sorted(colours)
    for strand in data(name)["loom"]:
        for part in strand["colour"].split("/"):
            elsewhere = re.sub(r"colour: [^,}]*", "", text.split("loom:")[1])
            assert not re.search(rf"\b{part} wire", elsewhere), part


@every_description
def test_what_is_said_by_hand_says_why(name: str) -> None:
    for step_id, said in data(name).get("override", {}).items():
        assert said["reason"]
        if said.get("low") or said.get("high"):
            assert "written by hand" in plan(name).step(step_id).source


@every_description
def test_main_line_comes_first_and_the_rest_waits_for_a_doubt(name: str) -> None:
    tests = [s for s in plan(name).steps if s.phase == "test"]
    main = data(name).get("main_line", [s.id for s in tests])
    assert [s.id for s in tests if not s.in_doubt] == main
    assert [s.id for s in tests][: len(main)] == main


@every_description
def test_prompts_are_short_and_one_action_a_sentence(name: str) -> None:
    for step in plan(name).steps:
        for sentence in re.split(r"(?<=[.?]) ", step.prompt):
            assert len(sentence.split()) <= 22, step.prompt
            assert sentence[0].isupper()


@pytest.mark.parametrize("name", [name for name in sample() if name in DESCRIBED])
@pytest.mark.parametrize("danger", ["airbag", "high_voltage"])
def test_no_ohmmeter_on_a_dangerous_class(name: str, danger: str) -> None:
    free = {"main_line": (), "override": {}, "again": None, "findings": ()}
    described = Description.model_validate(data(name)).model_copy(
        update={"circuit_class": danger, **free}
    )
    made = Plan.model_validate(derive(described))
    assert not any(step.needs_ohmmeter for step in made.steps)
    assert made.circuit is not None
    assert not any(test.measures == "resistance" for test in made.circuit.tests.values())


@every_description
def test_no_ohmmeter_on_a_live_wire(name: str) -> None:
    circuit = plan(name).circuit
    assert circuit is not None
    assert live_ohmmeter_tests(circuit, plan(name).meter) == ()


def test_the_lead_is_back_from_the_current_jack_before_any_volts() -> None:
    for step in plan("parasitic-draw").steps:
        if step.measure.quantity == "voltage":
            assert "back from the current jack" in step.caution
        if step.measure.quantity == "current":
            assert "Nobody cranks" in step.caution


@pytest.mark.parametrize(
    ("name", "step", "prompt", "red", "black"),
    [
        ("thermistor-2wire", "pin_1_to_2",
         "Light green with black stripe to brown, connector unplugged, ignition off.",
         "pin one of the sensor", "pin two of the sensor"),
        ("thermistor-2wire", "coolant_sensor_temperature",
         "Thermometer at the coolant sensor, everything off.",
         "thermometer at the coolant sensor", "not used"),
        ("flap-actuator-5wire", "hot_drive_heating_up", "Blue with red stripe, heating up.",
         "pin one of the actuator connector, back-probed, plugged in", "battery negative post"),
        ("flap-actuator-5wire", "across_1_2_cooling_down",
         "Brown to blue with red stripe, cooling down.",
         "pin two of the actuator connector, back-probed, plugged in",
         "pin one, back-probed, plugged in"),
        ("headlamp-levelling", "five_volt_reference_end_to_end",
         "Red with white stripe, end to end, both ends off.",
         "pin three of the connector of the drive", "pin three of the module connector"),
        ("headlamp-levelling", "raise_drive_loose_harness_with_power",
         "Orange at the harness, loose harness with power.",
         "pin two of the harness, connector of the drive", "battery negative post"),
        ("relay-4pin", "battery_feed_unplugged",
         "Terminal thirty, red, relay removed, fan commanded.",
         "terminal thirty of the harness, relay socket", "battery negative post"),
        ("relay-4pin", "across_30_87_fan_commanded",
         "Terminal thirty to terminal eighty seven, fan commanded.",
         "terminal thirty of the relay socket, back-probed, plugged in",
         "terminal eighty seven, back-probed, plugged in"),
        ("voltage-drop", "lamp_feed_low_beam_on",
         "Battery positive to yellow with black stripe, low beam on.",
         "battery positive post", "pin one of the lamp connector, back-probed, plugged in"),
        ("voltage-drop", "fuse_drop_low_beam_on", "Across the low beam fuse, low beam on.",
         "battery side of the low beam fuse", "far side of the low beam fuse"),
        ("can-bus-pair", "bus_high_quiet_bus", "Pin six, orange with black stripe, quiet bus.",
         "pin six of the diagnostic connector", "pin four of the diagnostic connector"),
        ("parasitic-draw", "negative_cable_current_bus_asleep",
         "Current in black, negative cable, bus asleep.",
         "negative cable", "battery negative post"),
        ("battery-charging", "alternator_output_fast_idle_with_loads",
         "Pin one, red to battery positive, fast idle with loads.",
         "pin one of the alternator", "battery positive post"),
        ("battery-charging", "engine_fast_idle_with_loads",
         "Battery negative to bare metal of the engine, fast idle with loads.",
         "battery negative post", "bare metal of the engine"),
    ],
)  # fmt: skip
def test_prompts_and_leads(name: str, step: str, prompt: str, red: str, black: str) -> None:
    found = plan(name).step(step)
    assert found.prompt == prompt
    assert (found.probe.red, found.probe.black) == (red, black)


def test_a_fuse_is_called_by_its_name_only_where_there_are_several() -> None:
    told = {name: {c.say for c in plan(name).conditions} for name in ("voltage-drop", "relay-4pin")}
    assert "fuse out" in told["voltage-drop"]
    assert {"fan fuse pulled", "engine module fuse out"} <= told["relay-4pin"]


def test_a_motor_is_driven_both_ways_in_spoken_states() -> None:
    flap, ways = plan("flap-actuator-5wire"), ("heating_up", "cooling_down")
    states = [
        flap.step(f"{wire}_{way}").expect.state
        for way in ways
        for wire in ("hot_drive", "cold_drive")
    ]
    assert states == ["battery", "ground", "ground", "battery"]


def test_a_feed_is_held_against_the_battery() -> None:
    feed = plan("relay-4pin").step("battery_feed_unplugged").expect
    assert feed.near == "battery_voltage"
    assert feed.within is not None
    assert feed.within.m_as("V") <= 0.5  # common practice, no published source


def test_the_sweep_follows_from_the_settings() -> None:
    swept = plan("headlamp-levelling").sweep
    assert swept is not None
    assert [c.m_as("percent") for c in swept.command.values()] == [0, 50, 100]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("main_line: [battery_voltage,", "main_line: [battery_volts,", "no test 'battery_volts'"),
        ("again: [across_30_87", "again: [across_30_78", "no test 'across_30_78"),
        ("part: fan, ask", "part: fun, ask", "'fun'"),
    ],
)
def test_what_is_named_must_be_there(old: str, new: str, message: str) -> None:
    text = DESCRIBED["relay-4pin"].text
    assert old in text
    with pytest.raises(BadPlan, match=message):
        parse_plan(text.replace(old, new))


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_written_out_is_read_as_ever(name: str) -> None:
    assert by_hand(name).plan.findings


# Command line


def check(*args: str) -> str:
    done = CliRunner().invoke(app, ["plan", "check", *args])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_check_walks_every_fault_and_tells_who_is_convicted_wrongly() -> None:
    told = check("parasitic-draw")
    assert re.search(r"rehearsed: of \d+ faults \d+ show", told)
    assert "convicted wrongly: nobody" in told


def test_check_names_a_wrong_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = plan("parasitic-draw").circuit
    assert circuit is not None
    broken, accused = circuit.fault("alternator_short"), circuit.fault("tracker_stuck_awake")
    said = Verdict("found", (Candidate(accused.site, accused, 0.9),), 30.0, None)
    walked = (Rehearsed(broken, said, seen=True),)
    monkeypatch.setattr("handsfree.cli.plans.walk_faults", lambda *_, **__: walked)
    told = " ".join(check("parasitic-draw").split())
    assert "convicted wrongly: 1" in told
    assert f"{broken.say}, and it is said: {accused.say}" in told


def test_check_may_leave_it_out() -> None:
    assert "rehearsed" not in check("parasitic-draw", "--rehearse", "off")


def test_what_is_said_by_hand_against_the_circuit_is_an_error(tmp_path: Path) -> None:
    text = DESCRIBED["parasitic-draw"].text.replace("{low: 12.2 V, high: 12.9 V", "{low: 13 V")
    path = tmp_path / "mine.yaml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(app, ["plan", "check", str(path)])
    assert isinstance(done.exception, BadPlan)
    line = text[: text.index("battery_voltage: {low: 13 V")].count("\n") + 1
    assert f"line {line}, override.battery_voltage" in str(done.exception)
    assert "below the limit of 13 V" in str(done.exception)
