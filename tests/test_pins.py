"""Pins are labels, as they are printed on a connector.

Terminal numbers of relays (30, 85, 86, 87) and their letters (87a) are those of DIN 72552; rows
of letters with numbers (A2, B10) are printed on many connectors: common practice, no published
source.
"""

from __future__ import annotations

import csv
import io

import pytest
from by_hand import by_hand

from handsfree.check import check
from handsfree.dialogue.wording import Wording
from handsfree.events import Codec, Entry, ReadingTaken
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard
from handsfree.languages import language_of
from handsfree.log import to_csv
from handsfree.meaning import Ambiguous, Command, Meaning, Reading, interpret
from handsfree.meaning.plain import plain
from handsfree.plan import BadPlan, LoadedPlan, Plan, load_plan, parse_plan
from handsfree.plan.derived.wording import spoken
from handsfree.plan.schema import Step

SENSOR = load_plan("position-sensor-3wire").text


def labelled(*labels: str) -> str:
    """The position sensor with other pins at its own connector."""
    text = SENSOR
    for old, new in zip("123", labels, strict=True):
        for node in ("sensor", "sensor wire"):
            for end in (",", "]", "}"):
                text = text.replace(f"{node} {old}{end}", f"{node} {new}{end}")
    return text


def meant(text: str, plan: SpokenPlan, step: Step) -> Meaning:
    return interpret(Heard.of_text(text), plan, step).meaning


@pytest.fixture(scope="module")
def plan() -> Plan:
    return parse_plan(labelled("A2", "85", "B10"))


def test_pins_are_in_the_order_in_which_they_are_printed() -> None:
    plan = parse_plan(labelled("A10", "A2", "3"))
    assert [pin.number for pin in plan.connector.pins] == ["3", "A2", "A10"]


def test_a_number_in_a_plan_is_a_label(flap: Plan) -> None:
    assert [pin.number for pin in flap.connector.pins] == ["1", "2", "3", "4", "5"]
    assert flap.step("reference").pins == ("5",)


@pytest.mark.parametrize(
    ("label", "words"),
    [("3", "three"), ("85", "eighty five"), ("A2", "A two"), ("87a", "eighty seven a"),
     ("B10", "B ten"), ("120", "one two zero"), ("07", "zero seven"), ("L", "L")],
)  # fmt: skip
def test_a_label_is_prompted_in_letters_and_digits(label: str, words: str) -> None:
    assert spoken(label) == words


@pytest.mark.parametrize(
    ("text", "pin"),
    [
        ("pin a two", "A2"),
        ("pin A2", "A2"),
        ("pin A two", "A2"),
        ("terminal alfa two", "A2"),
        ("pin eighty five", "85"),
        ("pin eight five", "85"),
        ("pin 85", "85"),
        ("pin bravo ten", "B10"),
        ("pin b one zero", "B10"),
    ],
)
def test_a_pin_is_named_in_letters_and_digits(
    plan: Plan, english: Language, text: str, pin: str
) -> None:
    spoken_plan = SpokenPlan(english, plan)
    step = plan.step("battery_voltage")
    read = meant(f"{text} four point two volts", spoken_plan, step)
    assert isinstance(read, Reading)
    assert (read.wire, float(read.value.m_as("V"))) == (pin, 4.2)
    assert meant(f"go to {text}", spoken_plan, step) == Command("go", wire=pin)


def test_a_label_is_said_back_as_the_grammar_knows_it(plan: Plan, english: Language) -> None:
    wording, spoken_plan = Wording(english, plan), SpokenPlan(english, plan)
    for pin in plan.connector.pins:
        name = wording.pin_number(pin)
        found = meant(f"go to {name}", spoken_plan, plan.steps[0])
        assert found == Command("go", wire=pin.number)


def test_prompts_and_probing_name_the_label(plan: Plan) -> None:
    step = plan.step("five_volt_reference_ignition_on")
    assert step.probe.red == "pin A two of the sensor connector, back-probed, plugged in"
    assert "pin_a2_to_85" in {one.id for one in plan.steps}


@pytest.mark.parametrize(("pin", "written"), [("A2", "A2"), ("85", 85), ("07", "07")])
def test_a_log_keeps_the_label(pin: str, written: object, english: Language) -> None:
    """A pin that is a number is written as one, as it always was."""
    plan = parse_plan(labelled(pin, "86", "B10"))
    step = plan.step("five_volt_reference_ignition_on")
    wording = Wording(english, plan)
    take = meant(f"{wording.pin_number(plan.pin(pin))} five volts",
                          SpokenPlan(english, plan), step)  # fmt: skip
    assert isinstance(take, Reading)
    assert plain(take, plan)["pin"] == written
    verdict = check(take, step, plan, {})
    event = ReadingTaken(Entry(1, step.id, step.condition, take, verdict), "yellow", step.pins)
    kind, line = Codec(plan).encode(event)
    assert (line["pins"], line["named"]) == ([written], written)
    told = Codec(plan).read(1, "2026-01-01T00:00:00Z", kind, {**line, "clip": None})
    assert told.event == event
    (row,) = csv.DictReader(io.StringIO(to_csv([told])))
    assert row["pin"] == pin


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("number: 2", "number: B-2", r"line \d+, connector.pins\[1\] .*'B-2' is no pin"),
        ("number: 2", "number: 2.5", "'2.5' is no pin"),
        ("number: 2", "number: 1", "pin 1 is used twice"),
        ("wire: 5", "wire: A5", "the connector has no pin A5"),
    ],
)
def test_what_is_wrong_with_a_pin_is_told(old: str, new: str, message: str) -> None:
    text = by_hand("flap-actuator-5wire").text
    assert old in text
    with pytest.raises(BadPlan, match=message):
        parse_plan(text.replace(old, new, 1))


def test_labels_that_sound_the_same_are_one() -> None:
    text = by_hand("flap-actuator-5wire").text.replace("number: 1,", "number: A2,")
    with pytest.raises(BadPlan, match="pin A2 is used twice"):
        parse_plan(text.replace("number: 2,", "number: a2,"))


LILAC = SENSOR.replace("colour: yellow", "colour: lilac/white")


def test_a_colour_that_the_grammar_lacks_is_told_with_its_line() -> None:
    line = next(k for k, row in enumerate(LILAC.splitlines(), 1) if "lilac" in row)
    loaded = LoadedPlan(parse_plan(LILAC), LILAC, "own.yaml")
    with pytest.raises(BadPlan) as told:
        language_of(loaded)
    assert f"own.yaml, line {line}, loom[0].colour" in str(told.value)
    assert "no colour 'lilac'; known: black, brown" in str(told.value)
    assert "colours: {lilac: []}" in str(told.value)


def test_a_colour_is_added_by_the_plan_itself() -> None:
    text = LILAC.replace("loom:", "colours: {lilac: [light mauve]}\nloom:")
    loaded = LoadedPlan(parse_plan(text), text, "own.yaml")
    spoken_plan = SpokenPlan(language_of(loaded), loaded.plan)
    step = loaded.plan.step("five_volt_reference_ignition_on")
    assert step.prompt.startswith("Lilac with white stripe, ")
    for said in ("lilac", "light mauve with white stripe", "lilac and white"):
        read = meant(f"{said} five volts", spoken_plan, step)
        assert isinstance(read, Reading)
        assert read.wire == "1"


def test_a_colour_that_the_grammar_has_is_not_added() -> None:
    text = SENSOR.replace("loom:", "colours: {lilac: [purple]}\nloom:")
    with pytest.raises(BadPlan, match=r"colours.lilac: the grammar has 'purple' already"):
        language_of(LoadedPlan(parse_plan(text), text, "own.yaml"))


@pytest.mark.parametrize("text", ["pin two five point one volts", "terminal seven four volts"])
def test_a_pin_that_is_not_there_is_no_part_of_a_value(
    text: str, plan: Plan, english: Language
) -> None:
    """Misheard or mistaken: neither 25.1 V nor 5.1 V at the open step."""
    step = plan.step("battery_voltage")
    assert not isinstance(meant(text, SpokenPlan(english, plan), step), Reading | Ambiguous)
