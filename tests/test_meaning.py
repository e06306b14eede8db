"""What is said at a step, typed.  The trade's phrases: common practice, no published source."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.grammar import SpokenPlan
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning import Ambiguous, Aside, Reading, Several, Unclear, interpret
from handsfree.meaning.plain import plain, plain_understood


def said(text: str, spoken: SpokenPlan, step: str | None, **kwargs: Any) -> dict[str, Any]:
    found = interpret(
        Heard.of_text(text), spoken, spoken.plan.step(step) if step else None, **kwargs
    )
    return plain_understood(found, spoken.plan)


@pytest.mark.parametrize(
    ("text", "step", "kind", "value", "unit", "pin"),
    [
        ("four point nine eight volts", "reference", "reading", 4.98, "V", None),
        ("violet four point nine eight", "reference", "reading", 4.98, "V", 5),
        ("violet wire 4.98 V", "reference", "reading", 4.98, "V", 5),
        ("pin five is five volts", "reference", "reading", 5, "V", 5),
        ("terminal number five five volts", "reference", "reading", 5, "V", 5),
        ("white with green stripe point six", "feedback_cold", "reading", 0.6, "V", 4),
        ("the feedback reads half a volt", "feedback_cold", "reading", 0.5, "V", 4),
        ("feedback wire has 600 mV", "feedback_cold", "reading", 600, "mV", 4),
        ("twelve six", "battery_voltage", "reading", 12.6, "V", None),
        ("twelve and a half volts", "battery_voltage", "reading", 12.5, "V", None),
        ("point oh two", "sensor_ground", "reading", 0.02, "V", None),
        ("zero", "sensor_ground", "reading", 0, "V", None),
        ("minus point five", "sensor_ground", "reading", -0.5, "V", None),
        ("a hundred and twenty ohms", "motor_winding", "reading", 120, "Ω", None),
        ("four point seven k", "track", "reading", 4.7, "kΩ", None),
        ("one point two meg", "track", "reading", 1.2, "MΩ", None),
        ("two hundred fifty milliamps", "battery_voltage", "reading", 250, "mA", None),
        ("sixty point two", "motor_winding", "reading", 60.2, "Ω", None),
        ("OL", "motor_winding", "reading", None, None, None),
        ("over limit", "motor_winding", "reading", None, None, None),
        ("open line", "motor_winding", "reading", None, None, None),
        ("ground", "hot_drive_heating", "state", "ground", None, None),
        ("blue battery voltage", "hot_drive_heating", "state", "battery", None, 1),
        ("open", "hot_drive_heating", "state", "open", None, None),
        ("no continuity", "hot_drive_heating", "state", "open", None, None),
        ("short to ground", "hot_drive_heating", "state", "short to ground", None, None),
        ("switches to power", "hot_drive_heating", "state", "switches to supply", None, None),
        ("it is stuck", "flap_moves", "observation", "no", None, None),
        ("yes", "flap_moves", "observation", "yes", None, None),
        ("yes", "reference", "command", "yes", None, None),
        ("skip this", "reference", "command", "skip", None, None),
        ("what is expected", "reference", "command", "expected", None, None),
        ("how do i probe it", "reference", "command", "probe", None, None),
        ("go to violet", "reference", "command", "go", None, 5),
        ("violet", "reference", "aside", "unknown", None, None),
        ("for point ate", "reference", "reading", 4.8, "V", None),
        ("violet too point nine", "reference", "reading", 2.9, "V", 5),
        ("key on engine off", "reference", "condition", "ignition_on", None, None),
        ("set full cold", "reference", "condition", "at_cold", None, None),
        ("note the seal is torn", "reference", "note", "the seal is torn", None, None),
        ("correction four point two", "reference", "command", "correct", None, None),
        ("two fifty", "motor_winding", "ambiguous", None, None, None),
        ("so I said to him", "reference", "aside", "unknown", None, None),
        ("", "reference", "aside", "unknown", None, None),
        ("twelve six", "flap_moves", "unclear", None, None, None),
        ("twelve six", None, "unclear", None, None, None),
        ("twelve six volts", None, "reading", 12.6, "V", None),
    ],
)
def test_meanings(
    spoken_flap: SpokenPlan,
    text: str,
    step: str | None,
    kind: str,
    value: object,
    unit: str | None,
    pin: int | None,
) -> None:
    found = said(text, spoken_flap, step)
    assert (found["kind"], found["value"], found["unit"], found["pin"]) == (kind, value, unit, pin)


def test_percent_degrees_and_hertz(spoken_plans: list[SpokenPlan]) -> None:
    for spoken in spoken_plans:
        for step in spoken.plan.steps:
            if step.measure.quantity == "temperature":
                assert said("minus forty degrees", spoken, step.id)["value"] == -40
                assert said("minus forty degrees", spoken, step.id)["unit"] == "°C"


def test_a_correction_carries_the_value(spoken_flap: SpokenPlan) -> None:
    found = said("correction violet four point two volts", spoken_flap, "reference")
    assert (found["take"]["value"], found["take"]["pin"]) == (4.2, 5)


@pytest.mark.parametrize(
    ("heard", "repaired"),
    [
        ("violent four point nine volts", ("violent", "violet")),
        ("white with grean stripe point six", ("grean", "green")),
        ("referents five volts", ("referents", "reference")),
    ],
)
def test_near_misses_of_names_are_put_right_and_told(
    spoken_flap: SpokenPlan, heard: str, repaired: tuple[str, str]
) -> None:
    found = said(heard, spoken_flap, "reference")
    assert found["kind"] == "reading"
    assert found["repairs"] == [{"heard": repaired[0], "taken": repaired[1]}]


@pytest.mark.parametrize("text", ["fourtene volts", "violet tow point nine", "fiev volts", "fife"])
def test_numbers_are_never_put_right(spoken_flap: SpokenPlan, text: str) -> None:
    found = said(text, spoken_flap, "reference")
    assert (found["kind"], found["value"], found["repairs"]) == ("aside", "unknown", [])


def at_reference(spoken: SpokenPlan, *hypotheses: tuple[str, float]) -> object:
    heard = Heard(tuple(Hypothesis(text, score) for text, score in hypotheses))
    return interpret(heard, spoken, spoken.plan.step("reference")).meaning


def test_wordings_of_one_value_join_their_belief(spoken_flap: SpokenPlan) -> None:
    found = at_reference(
        spoken_flap,
        ("four point nine volts", -1.0),
        ("five volts", -0.9),
        ("violet 4.9 V", -1.1),
    )
    assert isinstance(found, Ambiguous)
    assert isinstance(found.candidates[0], Reading)
    assert str(found.candidates[0].number) == "4.9"


def test_wordings_of_one_value_in_two_units_join_their_belief(spoken_flap: SpokenPlan) -> None:
    found = at_reference(
        spoken_flap, ("point seven volts", 0.0), ("seven hundred millivolts", -0.1)
    )
    assert isinstance(found, Reading)
    assert str(found.number) == "0.7"


def test_a_unit_that_is_left_out_makes_no_rival_in_one_breath(spoken_flap: SpokenPlan) -> None:
    found = at_reference(
        spoken_flap,
        ("reference four point nine and signal two point three", 0.0),
        ("reference four point nine volts and signal two point three", -0.2),
    )
    assert isinstance(found, Several)
    assert [type(value) for value in found.values] == [Reading, Reading]
    other = at_reference(
        spoken_flap,
        ("reference four point nine and signal two point three", 0.0),
        ("reference four point five volts and signal two point three", -0.2),
    )
    assert isinstance(other, Several)
    assert [type(value) for value in other.values] == [Ambiguous, Reading]


def test_wordings_that_do_not_parse_are_passed_over(spoken_flap: SpokenPlan) -> None:
    """Little belief in them leaves a reading, more makes it doubtful, and most of it denies it."""

    def beside(score: float) -> object:
        return at_reference(
            spoken_flap, ("four point nine volts", 0.0), ("fort point nine bolts", score)
        )

    found = beside(-2.0)
    assert isinstance(found, Reading)
    assert str(found.number) == "4.9"
    assert beside(-0.5) == Unclear("it may have been no reading")
    assert beside(0.5) == Aside("unknown", about=True)


def test_a_tiny_belief_is_no_understanding(spoken_flap: SpokenPlan) -> None:
    found = at_reference(spoken_flap, ("see you tomorrow", 0.0), ("four point nine volts", -9.0))
    assert found == Aside("unknown", about=False)


def test_answers_to_a_question(spoken_flap: SpokenPlan) -> None:
    found = said("the second", spoken_flap, "flap_moves", moment="answering")
    assert (found["value"], found["choice"]) == ("choice", 2)
    assert said("yes", spoken_flap, "flap_moves", moment="answering")["kind"] == "command"


def test_asleep_only_the_wake_words_count(spoken_flap: SpokenPlan) -> None:
    assert said("wake up", spoken_flap, "reference", moment="asleep")["value"] == "resume"
    assert said("five volts", spoken_flap, "reference", moment="asleep")["kind"] == "aside"


def test_every_field_is_in_every_meaning(spoken_flap: SpokenPlan) -> None:
    fields = {"kind", "wire", "pin", "value", "unit", "candidates", "reason"}
    for text in ("five volts", "ground", "skip", "full cold", "note x", "two fifty", "nonsense"):
        step = spoken_flap.plan.step("motor_winding")
        found = interpret(Heard.of_text(text), spoken_flap, step)
        assert fields <= set(plain(found.meaning, spoken_flap.plan))


@pytest.mark.parametrize("text", ["² volts", "1² volts", f"{'123456789' * 4} volts", "9" * 400])
def test_what_no_meter_shows_is_no_reading(text: str, spoken_flap: SpokenPlan) -> None:
    assert said(text, spoken_flap, "battery_voltage")["kind"] in ("aside", "unclear")
