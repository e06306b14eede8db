"""Wires that look alike, wires with two tests, and a wire that is read a second time."""

from __future__ import annotations

import pytest
from test_dialogue import Talk

from handsfree.dialogue import Dialogue
from handsfree.events import Asked, ReadingTaken
from handsfree.grammar import Language
from handsfree.plan import Plan


@pytest.fixture
def twins(flap: Plan) -> Plan:
    """The flap actuator with two violet wires, at pin 4 and at pin 5, both read at full cold."""
    pins = [
        pin.model_copy(update={"colour": "violet", "stripe": None}) if pin.number == "4" else pin
        for pin in flap.connector.pins
    ]
    steps = [
        step.model_copy(update={"condition": "at_cold"}) if step.id == "reference" else step
        for step in flap.steps
    ]
    connector = flap.connector.model_copy(update={"pins": tuple(pins)})
    return flap.model_copy(update={"connector": connector, "steps": tuple(steps)})


@pytest.fixture
def talk(twins: Plan, english: Language) -> Talk:
    return Talk(Dialogue(twins, english)).start()


def taken_at(talk: Talk) -> list[str]:
    taken = talk.did(ReadingTaken)
    return [event.entry.step for event in taken if isinstance(event, ReadingTaken)]


def test_the_wire_of_the_open_step_wins(talk: Talk) -> None:
    for text in ("twelve six", "point oh two"):
        talk.hear(text)
    assert talk.session.step == "reference"
    assert "violet at pin five, five volts" in talk.hear("violet five volts")
    assert taken_at(talk) == ["reference"]
    assert talk.session.step == "feedback_cold"
    assert "violet at pin four, zero point six volts" in talk.hear("violet point six")
    assert taken_at(talk) == ["feedback_cold"]


@pytest.fixture
def elsewhere(talk: Talk, twins: Plan) -> Talk:
    """At a step that is on neither of the two, under their condition."""
    steps = [
        step.model_copy(update={"condition": "at_cold"}) if step.id == "sensor_ground" else step
        for step in twins.steps
    ]
    desk = talk.dialogue.desk
    plan = twins.model_copy(update={"steps": tuple(steps)})
    talk = Talk(Dialogue(plan, desk.spoken.language)).start()
    talk.hear("twelve six")
    assert talk.session.step == "sensor_ground"
    return talk


@pytest.mark.parametrize(
    ("answer", "step"),
    [
        ("pin five", "reference"),
        ("pin four", "feedback_cold"),
        ("the second", "reference"),
        ("the first", "feedback_cold"),
        ("pin five five volts", "reference"),
    ],
)
def test_else_it_is_asked_by_pin(elsewhere: Talk, answer: str, step: str) -> None:
    assert elsewhere.hear("violet five volts") == "Is it pin four, or pin five?"
    (question,) = elsewhere.did(Asked)
    assert isinstance(question, Asked)
    assert [take.wire for take in question.candidates] == ["4", "5"]
    assert elsewhere.session.standing.keys() == {"battery_voltage"}
    elsewhere.hear(answer)
    assert taken_at(elsewhere) == [step]
    assert elsewhere.session.step == "sensor_ground"


@pytest.mark.parametrize("answer", ["five volts", "violet", "violet five volts", "yes"])
def test_an_answer_that_tells_no_pin_is_asked_again(elsewhere: Talk, answer: str) -> None:
    elsewhere.hear("violet five volts")
    assert "pin four" in elsewhere.hear(answer)
    assert not elsewhere.did(ReadingTaken)


def test_the_only_one_with_an_open_test_here_is_meant(english: Language, twins: Plan) -> None:
    steps = [
        step.model_copy(update={"condition": "at_rest"}) if step.id == "reference" else step
        for step in twins.steps
    ]
    talk = Talk(Dialogue(twins.model_copy(update={"steps": tuple(steps)}), english)).start()
    talk.hear("violet five volts")
    assert taken_at(talk) == ["reference"]


def test_going_to_a_wire_is_asked_by_pin_too(talk: Talk) -> None:
    said = talk.hear("go to violet")
    assert said == "That may be pin four or pin five. Say go to, and the pin."
    talk.hear("go to pin four")
    assert talk.session.step == "feedback_cold"
    talk.hear("go to violet")  # the other one
    assert talk.session.step == "reference"


def test_a_correction_is_on_the_wire_that_it_corrects(talk: Talk) -> None:
    for text in ("twelve six", "point oh two", "five volts", "correction violet four point nine"):
        talk.hear(text)
    assert taken_at(talk) == ["reference"]


def test_a_wire_may_be_read_a_second_time(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    for text in ("twelve six", "point oh two"):
        talk.hear(text)
    said = talk.hear("black with yellow stripe point oh three volts")
    assert said.startswith("This replaces zero point zero two volts. black with yellow stripe,")
    assert talk.session.step == "reference"
    first, second = talk.session.entries[1:]
    assert (first.stands, second.stands, second.supersedes) == (False, True, first.number)


def test_it_is_asked_which_of_two_tests_is_meant(flap: Plan, english: Language) -> None:
    talk = Talk(Dialogue(flap, english)).start()
    talk.hear("both ends off")
    assert talk.session.step == "ground_wire"
    talk.hear("go to violet")
    talk.hear("both ends off")
    for step in ("reference_to_ground", "reference_wire"):
        assert talk.session.step == step
        talk.hear("over limit")
    talk.hear("go to black with yellow stripe")
    talk.hear("both ends off")
    assert talk.session.step == "ground_wire"
    said = talk.hear("violet one ohm")
    assert said == "Is it reference to ground, or reference wire?"
    talk.hear("the second")
    assert taken_at(talk) == ["reference_wire"]
