"""Mistakes in the circuit of a plan: all at once, with line and field; and its JSON Schema."""

from __future__ import annotations

import jsonschema
import pytest
from by_hand import by_hand

from handsfree.circuit import Circuit
from handsfree.plan import BadPlan, json_schema, load_plan, parse_plan, shipped
from handsfree.plan.document import read_document

FLAP, AIRBAG = by_hand("flap-actuator-5wire").text, load_plan("airbag-supply").text


def faults(text: str) -> list[tuple[int, str, str]]:
    with pytest.raises(BadPlan) as raised:
        parse_plan(text, "mine.yaml")
    shown = [text.split(": ", 1)[0] for text in raised.value.what.splitlines()[1:]]
    places = [place.split(", ")[-1] for place in shown]
    return [(f.line, place, f.message)
            for f, place in zip(raised.value.faults, places, strict=True)]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "field", "message"),
    [
        ("voltage: 12.5 V ± 3 %", "voltage: 12.5", "circuit.parts.battery.voltage",
         "12.5 has no unit; write it as '12.6 V ± 2 %', for example"),
        ("voltage: 12.5 V ± 3 %", "voltage: 12.5 Ω", "circuit.parts.battery.voltage",
         "'12.5 Ω' is not in V, as is needed here"),
        ("kind: motor\n", "kind: engine\n", "circuit.parts.motor.kind", "'engine' is not one of"),
        ("    kind: motor\n", "    odds_source: none\n", "circuit.parts.motor.kind", "is missing"),
        ("{mode: jammed, odds: 2, say: motor seized}", "{mode: stolen, odds: 2}",
         "circuit.parts.motor.faults[2].mode", "'stolen' is not one of"),
        ("{mode: jammed, odds: 2, say: motor seized}", "{mode: jammed, odds: 0}",
         "circuit.parts.motor.faults[2].odds", "should be greater than 0"),
        ("{mode: jammed, odds: 2, say: motor seized}", "{mode: jammed, stays: 2}",
         "circuit.parts.motor.faults[2].stays", "no field of this name; did you mean 'say'?"),
        ("{mode: jammed, odds: 2, say: motor seized}", "{mode: weak, voltage: 1 V}",
         "circuit.parts.motor.faults[2].mode", "this part cannot be 'weak'"),
        ("length: 3 m\n", "length: long\n", "circuit.parts.module feed.length",
         "'long' is not a number with a unit"),
        ("between: [track 5, track 3]", "between: [track 5]", "circuit.parts.position.between[1]",
         "is missing"),
        ("wiper: wiper 4\n", "wiper: [wiper 4]\n", "circuit.parts.position.wiper",
         "should be text"),
        ("moved_by: shaft", "moved_by: shift", "circuit.parts.position.moved_by",
         "there is no mechanism 'shift'"),
        ("half_way: {ignition: closed, shaft", "half_way: {ignition: ajar, shaft",
         "circuit.conditions.half_way.ignition", "has no state 'ajar', only 'closed', 'open'"),
        ("half_way: {ignition", "sideways: {ignition", "circuit.conditions.sideways",
         "the plan has no condition 'sideways'"),
        ("wiper: {condition: unplugged", "wiper: {condition: at_hot",
         "circuit.tests.wiper.condition", "the step's condition is 'unplugged', not 'at_hot'"),
        ("wiper: {condition: unplugged", "viper: {condition: unplugged",
         "circuit.tests.viper", "the plan has no step 'viper'"),
        ("track: {condition: unplugged, measures: resistance",
         "track: {condition: unplugged, measures: voltage",
         "circuit.tests.track.measures", "the step does not measure voltage"),
        ("observes: shaft, answers: [it turns, only noise, nothing]",
         "observes: shaft, answers: [it turns, it sings, nothing]",
         "circuit.tests.shaft_turns.answers", "'it sings' is not among: it turns, only noise"),
        ("observes: shaft, answers: [it turns, only noise, nothing]",
         "observes: shaft, answers: [it turns]", "circuit.tests.shaft_turns.answers",
         "has too few entries"),
        ("red: wiper 4, black: track 3", "red: wiper 44, black: track 3",
         "circuit.tests.wiper.red", "no part is connected to 'wiper 44'"),
        ("wiper: {condition: unplugged, measures: resistance",
         "wiper: {condition: unplugged, words: {ground: below 9 Ω}, measures: resistance",
         "circuit.tests.wiper", "the step measures resistance, and no word is spoken"),
        ("ground: battery minus\n  supply", "ground: earth\n  supply", "circuit.ground",
         "no part is connected to 'earth'"),
        ("after: {at_hot: heating_up", "after: {at_hot: earlier", "circuit.after.at_hot",
         "there is no condition 'earlier'"),
        ("trim off: {minutes: 4 min}", "trim off: {minutes: 4 V}",
         "circuit.setups.trim off.minutes", "'4 V' is not in s"),
        ("{meant: pin 5, probed: pin 4, odds: 0.3}", "{meant: pin 5, probed: pin 9}",
         "circuit.wrong_pins[0].probed", "no part is connected to 'pin 9'"),
    ],
)  # fmt: skip
def test_one_mistake_in_the_circuit(old: str, new: str, field: str, message: str) -> None:
    assert FLAP.count(old) >= 1
    start = FLAP.index("\ncircuit:\n")
    changed = FLAP[:start] + FLAP[start:].replace(old, new, 1)
    found = {place: (line, text) for line, place, text in faults(changed)}
    assert field in found, found
    line, text = found[field]
    assert message in text
    at = start + FLAP[start:].index(old)
    assert abs(line - FLAP[:at].count("\n") - 1) <= 2


def test_all_mistakes_of_a_circuit_at_once() -> None:
    """Mistakes of every kind: in a field, between the parts, with the plan, in the plan."""
    changed = FLAP
    for old, new in (
        ("supply: 12 V", "supply: 12 A"),
        ("resistance: 20 Ω ± 10 %", "resistance: 20"),
        ("moved_by: shaft", "moved_by: shift"),
        ("red: wiper 4, black: track 3", "red: wiper 44, black: track 3"),
        ("feedback_cold: {condition: at_cold", "feedback_cold: {condition: at_hot"),
        ("flap_moves: {condition: removed", "flap_mooves: {condition: removed"),
    ):
        assert old in changed
        changed = changed.replace(old, new, 1)
    assert [place for _, place, _ in faults(changed)] == [
        "supply",
        "circuit.parts.reference.resistance",
        "circuit.parts.position.moved_by",
        "circuit.tests.feedback_cold.condition",
        "circuit.tests.wiper.red",
        "circuit.tests.flap_mooves",
    ]


def test_a_part_at_fault_brings_no_mistakes_of_others() -> None:
    assert [place for _, place, _ in faults(FLAP.replace("gauge: 1.5 mm2", "gauge: thick"))] == [
        "circuit.parts.module feed.gauge",
        "circuit.parts.module earth.gauge",
    ]


@pytest.mark.parametrize("circuit", ["5", "[]", "{}", "{parts: 5}", "{parts: {a: 5}, tests: []}"])
def test_a_circuit_of_another_kind(circuit: str) -> None:
    text = FLAP[: FLAP.index("\ncircuit:\n")] + f"\ncircuit: {circuit}\n"
    assert all("circuit" in place for _, place, _ in faults(text))


@pytest.mark.parametrize("circuit_class", ["airbag", "high_voltage"])
def test_an_ohmmeter_in_the_circuit_is_refused_with_the_reason(circuit_class: str) -> None:
    text = (
        AIRBAG.replace("circuit_class: airbag", f"circuit_class: {circuit_class}")
        + """
circuit:
  ground: minus
  supply: plus
  parts:
    battery: {kind: source, between: [plus, minus], voltage: 12.5 V, resistance: 15 mΩ}
    module: {kind: resistor, between: [plus, minus], resistance: 60 Ω}
  conditions: {at_rest: {}, ignition_on: {}}
  tests:
    battery_voltage: {condition: at_rest, measures: voltage, red: plus, black: minus}
    fuse_output: {condition: ignition_on, measures: resistance, red: plus, black: minus}
"""
    )
    here = [text for _, place, text in faults(text) if place.endswith("fuse_output.measures")]
    assert here[0].startswith("refused: no resistance or continuity test on")
    assert "maker's procedure" in here[0]
    parse_plan(text.replace("measures: resistance", "measures: voltage"))


# Schema


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("circuit",), 5),
        (("circuit", "ground"), None),
        (("circuit", "parts", "battery", "kind"), "dynamo"),
        (("circuit", "parts", "battery", "voltage"), 12.5),
        (("circuit", "parts", "motor", "faults", 0, "mode"), "stolen"),
        (("circuit", "parts", "motor", "faults", 0, "odds"), 0),
        (("circuit", "tests", "wiper", "measures"), "ohms"),
        (("meter", "display"), 9),
    ],
)
def test_schema_refuses(path: tuple[str | int, ...], wrong: object) -> None:
    validator = jsonschema.Draft202012Validator(json_schema())
    data = read_document(FLAP).data
    assert validator.is_valid(data)
    place = data
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = wrong
    assert not validator.is_valid(data)


@pytest.mark.parametrize("name", shipped())
def test_a_circuit_survives_being_written_out(name: str) -> None:
    circuit = load_plan(name).plan.circuit
    if circuit is None:
        assert name == "airbag-supply"
        return
    again = Circuit.model_validate(circuit.model_dump(mode="json"))
    assert again.model_dump(mode="json") == circuit.model_dump(mode="json")
