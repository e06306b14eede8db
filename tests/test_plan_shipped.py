"""The shipped plans: complete, speakable, and in agreement with the standards they name."""

from __future__ import annotations

from itertools import combinations, product
from math import exp
from pathlib import Path

import jsonschema
import pytest
from by_hand import by_hand
from plan_sample import sample
from plan_walking import take_of
from rapidfuzz.distance import Levenshtein

from handsfree.check import Comparison, check
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard
from handsfree.meaning import Command, Meaning, Observation, SetCondition, interpret
from handsfree.plan import COMMON_PRACTICE, Plan, Step, json_schema, load_plan, shipped
from handsfree.plan.document import read_document
from handsfree.plan.schema import Subject

PLANS = {name: load_plan(name) for name in shipped()}
every_plan = pytest.mark.parametrize("plan", [p.plan for p in PLANS.values()], ids=list(PLANS))


def passes(plan: Plan, step_id: str, reading: str) -> bool:
    step = plan.step(step_id)
    verdict = check(take_of(step, reading), step, plan, {})
    assert isinstance(verdict, Comparison)
    return verdict.passed


def limits(step: Step, unit: str) -> tuple[float, float]:
    assert step.expect.low is not None
    assert step.expect.high is not None
    return float(step.expect.low.m_as(unit)), float(step.expect.high.m_as(unit))


# Complete


def test_the_circuits_of_a_workshop_are_there() -> None:
    assert {
        "headlamp-levelling",
        "flap-actuator-5wire",
        "position-sensor-3wire",
        "thermistor-2wire",
        "relay-4pin",
        "voltage-drop",
        "can-bus-pair",
        "battery-charging",
        "parasitic-draw",
    } <= set(PLANS)


@every_plan
def test_plan_says_what_it_is_about(plan: Plan) -> None:
    assert plan.subject.component
    assert plan.cautions
    assert plan.meter.accuracy
    assert plan.limits
    for step in plan.steps:
        assert step.why.endswith(".")
        assert step.prompt.endswith((".", "?"))
    for finding in plan.findings:
        assert finding.repair, finding.part


def test_only_the_plan_of_the_demo_tells_of_a_vehicle() -> None:
    """A plan serves every vehicle; the others at most say which complaint they are for."""
    told = {name for name, loaded in PLANS.items() if loaded.plan.subject.vehicle}
    assert told == {"headlamp-levelling"}
    bare = Subject(component=PLANS["flap-actuator-5wire"].plan.subject.component)
    for name, loaded in PLANS.items():
        subject = loaded.plan.subject
        assert subject == bare or all((subject.complaint, subject.stored_code)), name


@every_plan
def test_every_wire_and_condition_is_used(plan: Plan) -> None:
    probed = {pin for step in plan.steps for pin in step.pins}
    told = " ".join(f"{s.probe.red} {s.probe.black} {s.probe.how}" for s in plan.steps)
    for pin in plan.connector.pins:
        assert pin.number in probed or pin.function in told, pin
    assert {c.id for c in plan.conditions} == {s.condition for s in plan.steps}


@every_plan
def test_every_kind_of_reading_has_an_accuracy(plan: Plan) -> None:
    for step in plan.steps:
        assert step.measure.quantity is None or step.measure.quantity in plan.meter.accuracy


@every_plan
def test_repair_is_proven_by_function_live_value_and_code(plan: Plan) -> None:
    after = [step for step in plan.steps if step.phase == "after_repair"]
    told = " ".join(step.prompt for step in after).lower()
    assert len(after) >= 3
    assert "code" in told
    code = next(s for s in after if "come back" in s.prompt)
    assert code.expect.answers == ("no",)


@every_plan
def test_dangerous_classes_ask_for_no_ohmmeter(plan: Plan) -> None:
    if plan.circuit_class in ("airbag", "high_voltage"):
        assert not any(step.needs_ohmmeter for step in plan.steps)


def test_moving_parts_are_cautioned() -> None:
    for name in ("relay-4pin", "battery-charging", "thermistor-2wire"):
        plan = PLANS[name].plan
        assert plan.circuit_class == "rotating"
        assert any("fan" in caution for caution in plan.cautions)


# Speakable


@every_plan
def test_prompts_can_be_said(plan: Plan) -> None:
    spoken = [s.prompt for s in plan.steps] + [s.caution for s in plan.steps]
    spoken += [f"{f.part} {f.say} {f.repair}" for f in plan.findings]
    for text in spoken:
        assert not any(c.isdigit() or c in "°%Ω±/" for c in text), text


@every_plan
def test_colours_are_colours_of_the_grammar(plan: Plan, english: Language) -> None:
    for pin in plan.connector.pins:
        for colour in filter(None, (pin.colour, pin.stripe)):
            assert colour in english.colours
    wires = [pin.wire for pin in plan.connector.pins]
    assert len(set(wires)) == len(wires)


@pytest.fixture(scope="module")
def phones() -> dict[str, list[str]]:
    """CMU Pronouncing Dictionary, as it comes with pocketsphinx: word to phones."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    path = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict"))
    lines = (line.split() for line in path.read_text(encoding="utf-8").splitlines())
    return {word: sounds for word, *sounds in lines}


def names(plan: Plan) -> list[str]:
    spoken = [n for pin in plan.connector.pins for n in (pin.function, *pin.names)]
    spoken += [n for c in plan.conditions for n in (c.say, *c.names)]
    options = [o for step in plan.steps for o in step.measure.options or ()]
    return spoken + [n for option in options for n in (option.value, *option.names)]


@every_plan
def test_every_spoken_word_has_a_pronunciation(plan: Plan, phones: dict[str, list[str]]) -> None:
    assert {word for name in names(plan) for word in name.split()} <= set(phones)


def distance(a: str, b: str, phones: dict[str, list[str]]) -> float:
    """Share of phones that differ, 0 to 1."""
    sounds = [[p for word in text.split() for p in phones[word]] for text in (a, b)]
    return float(Levenshtein.normalized_distance(*sounds))


@every_plan
def test_what_must_be_told_apart_sounds_apart(plan: Plan, phones: dict[str, list[str]]) -> None:
    for a, b in combinations(plan.conditions, 2):
        assert distance(a.say, b.say, phones) >= 0.6, (a.say, b.say)
    for step in plan.steps:
        for one, other in combinations(step.measure.options or (), 2):
            for a, b in product((one.value, *one.names), (other.value, *other.names)):
                assert distance(a, b, phones) >= 0.5, (a, b)


@pytest.mark.parametrize("plan", [PLANS[name].plan for name in sample()], ids=sample())
def test_every_name_means_its_thing(plan: Plan, english: Language) -> None:
    spoken = SpokenPlan(english, plan)

    def meaning(text: str, step: Step) -> Meaning:
        return interpret(Heard.of_text(text), spoken, step).meaning

    first = plan.steps[0]
    for condition in plan.conditions:
        for name in (condition.say, *condition.names):
            assert meaning(name, first) == SetCondition(condition.id)
    for pin in plan.connector.pins:
        for name in (pin.wire.replace("/", " with "), pin.function, *pin.names):
            assert meaning(f"go to {name}", first) == Command("go", wire=pin.number)
    for step in plan.steps:
        for option in step.measure.options or ():
            for name in (option.value, *option.names):
                assert meaning(name, step) == Observation(option.value)


# Schema


@pytest.fixture(scope="module")
def validator() -> jsonschema.protocols.Validator:
    schema = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("name", PLANS)
def test_schema_accepts_the_plan(name: str, validator: jsonschema.protocols.Validator) -> None:
    validator.validate(read_document(PLANS[name].text).data)


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("supply",), 12),
        (("circuit_class",), "plane"),
        (("colour",), "red"),
        (("steps", 0, "expect", "low"), 12.0),
        (("steps", 0, "measure", "quantity"), "volts"),
        (("connector", "pins", 0, "function"), "5 V"),
        (("findings", 0, "when", "battery_voltage"), "bad"),
    ],
)
def test_schema_refuses(
    path: tuple[str | int, ...], wrong: object, validator: jsonschema.protocols.Validator
) -> None:
    data = read_document(by_hand("flap-actuator-5wire").text).data
    place = data
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = wrong
    assert not validator.is_valid(data)


@every_plan
def test_a_dumped_plan_is_the_same_plan(plan: Plan) -> None:
    again = Plan.model_validate(plan.model_dump(mode="json"))
    assert again.model_dump(mode="json") == plan.model_dump(mode="json")


# Standards.  Values are computed here, and not taken from the plans.


def named_after(plan: Plan, source: str) -> set[str]:
    return {s.id for s in plan.steps if source in s.source and s.phase == "test"}


def test_can_termination_after_iso_11898_2() -> None:
    # ISO 11898-2 (from memory): terminating resistor 100 Ω at least, 120 Ω nominal, 130 Ω at
    # most, one at each end of the line.
    plan = PLANS["can-bus-pair"].plan
    pair, alone = "pin_6_to_14_battery_disconnected", "pin_6_to_14_gateway_unplugged"
    assert limits(plan.step(alone), "Ω") == (100, 130)
    assert limits(plan.step(pair), "Ω") == (100 / 2, 130 / 2)
    assert passes(plan, pair, f"{120 / 2} Ω")
    assert not passes(plan, pair, "120 Ω")
    assert not passes(plan, pair, f"{120 / 3} Ω")
    # a third terminator and wires that touch are two faults, apart for every tolerance
    assert plan.circuit is not None
    short = next(f.mode for f in plan.circuit.faults if f.say == "bus wires shorted together")
    assert short.resistance.high < 100 / 3


def test_can_levels_after_iso_11898_2() -> None:
    # ISO 11898-2 (from memory): recessive 2.0 / 2.5 / 3.0 V on either wire, difference
    # -500 to 50 mV; dominant nominally 3.5 V on CAN high and 1.5 V on CAN low.
    plan = PLANS["can-bus-pair"].plan
    assert limits(plan.step("bus_high_quiet_bus"), "V") == (2.0, 3.0)
    assert limits(plan.step("bus_low_quiet_bus"), "V") == (2.0, 3.0)
    assert limits(plan.step("across_6_14_quiet_bus"), "V") == (-0.5, 0.05)
    for share in (0.02, 0.2, 0.5):  # share of dominant bits
        assert passes(plan, "bus_high_ignition_on", f"{2.5 + share * (3.5 - 2.5)} V")
        assert passes(plan, "bus_low_ignition_on", f"{2.5 - share * (2.5 - 1.5)} V")
    assert named_after(plan, "ISO 11898-2") == {
        "bus_high_quiet_bus",
        "bus_low_quiet_bus",
        "across_6_14_quiet_bus",
        "bus_high_ignition_on",
        "bus_low_ignition_on",
        "pin_6_to_14_battery_disconnected",
        "pin_6_to_14_gateway_unplugged",
    }


def test_diagnostic_connector_after_iso_15031_3() -> None:
    # ISO 15031-3 / SAE J1962 contact allocation: 4 chassis ground, 6 CAN high, 14 CAN low
    # (ISO 15765-4), 16 permanent positive.
    plan = PLANS["can-bus-pair"].plan
    assert {pin.number: pin.function for pin in plan.connector.pins} == {
        "4": "chassis ground",
        "6": "bus high",
        "14": "bus low",
        "16": "battery feed",
    }


def test_relay_terminals_after_din_72552() -> None:
    # DIN 72552: 30 battery, 85 coil end, 86 coil start, 87 output of the make contact.
    plan = PLANS["relay-4pin"].plan
    assert {pin.number for pin in plan.connector.pins} == {"30", "85", "86", "87"}
    assert plan.step("pin_86_to_85").wires == ("86", "85")
    assert plan.step("across_30_87_fan_commanded").wires == ("30", "87")


WARM = "running_at_full_temperature"


def thermistor(celsius: float, r25: float, b: float) -> float:
    """Resistance in Ω by the B-value equation of NTC thermistors (IEC 60539-1)."""
    return r25 * exp(b * (1 / (celsius + 273.15) - 1 / 298.15))


@pytest.mark.parametrize(
    ("resistance", "signal", "coldest", "hottest"),
    [
        ("pin_1_to_2", "temperature_signal_ignition_on", 15, 25),
        ("pin_1_to_2_switched_off_while_warm", f"temperature_signal_{WARM}", 80, 95),
    ],
)
def test_thermistor_by_its_b_value(
    resistance: str, signal: str, coldest: float, hottest: float
) -> None:
    plan = PLANS["thermistor-2wire"].plan
    corners = [
        thermistor(t, 2500 * r, 3500 * b)
        for t, r, b in product((coldest, hottest), (0.95, 1.05), (0.98, 1.02))
    ]
    low, high = limits(plan.step(resistance), "Ω")
    assert low <= min(corners) < 1.05 * low
    assert 0.95 * high < max(corners) <= high
    volts = [5 * v * r / (r + 2490 * p) for r, v, p in product(corners, (0.98, 1.02), (0.99, 1.01))]
    low, high = limits(plan.step(signal), "V")
    assert low <= min(volts) < 1.05 * low
    assert 0.95 * high < max(volts) <= high
    thermometer = "coolant_sensor_temperature"
    temperatures = plan.step(thermometer if coldest == 15 else f"{thermometer}_{WARM}")
    assert limits(temperatures, "°C") == (coldest, hottest)


@pytest.mark.parametrize(
    ("name", "rest", "gravity"),
    [("battery-charging", "battery_voltage", 1.225), ("parasitic-draw", "battery_voltage", 1.190)],
)
def test_battery_at_rest_by_its_specific_gravity(name: str, rest: str, gravity: float) -> None:
    # Handbook rule for lead-acid cells: open-circuit voltage = specific gravity + 0.84 V.
    # Gravity 1.265 full, 1.225 at three quarters, 1.190 at half (from memory).
    step = PLANS[name].plan.step(rest)
    low, high = limits(step, "V")
    assert low == pytest.approx(6 * (gravity + 0.84), abs=0.03)
    assert low < 6 * (1.265 + 0.84) < high
    assert f"{gravity:.3f}" in step.source


def test_lamp_current_after_un_regulation_37() -> None:
    # UN Regulation No. 37, category H7, 12 V: rated 55 W, at most 58 W at 13.2 V (from memory).
    step = PLANS["voltage-drop"].plan.step("lamp_feed_current_low_beam_on")
    low, high = limits(step, "A")
    assert 58 / 13.2 <= high < 1.05 * 58 / 13.2
    # A filament's current rises with about the 0.55th power of its voltage (lamp handbooks,
    # from memory): a rated lamp at a low 11.3 V still passes.
    assert low < 55 / 13.2 * (11.3 / 13.2) ** 0.55


@every_plan
def test_trade_practice_is_marked(plan: Plan) -> None:
    for step in plan.steps:
        known = ("ISO ", "IEC ", "DIN ", "UN Regulation", "handbook", "common practice")
        refers = step.source.removeprefix("as ")
        assert any(k in step.source for k in known) or plan.step(refers), step.source
    assert COMMON_PRACTICE == "common practice, no published source"


def test_reference_limits_hold_the_nominal_value() -> None:
    for name, step in (
        ("flap-actuator-5wire", "five_volt_reference_ignition_on"),
        ("headlamp-levelling", "five_volt_reference_low_beam_on"),
        ("position-sensor-3wire", "five_volt_reference_ignition_on"),
    ):
        low, high = limits(PLANS[name].plan.step(step), "V")
        assert (low + high) / 2 == pytest.approx(5)
    flap = PLANS["flap-actuator-5wire"].plan
    low, high = limits(flap.step("pin_1_to_2"), "Ω")  # the winding, 40 Ω ± 25 %, and the leads
    assert 0.95 * 30 <= low <= 30
    assert 50 <= high <= 1.05 * 50
    low, high = limits(flap.step("pin_3_to_5"), "kΩ")  # the track, 5 kΩ ± 15 %
    assert 0.95 * 4.25 <= low <= 4.25
    assert 5.75 <= high <= 1.05 * 5.75
