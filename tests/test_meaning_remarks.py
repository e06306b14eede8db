"""A statement with a remark beside it: told from it by the words that a remark must not have.

What people say around a value is common practice, no published source; whether a value is offered
or not is what counts here.  None is logged without a question.
"""

from __future__ import annotations

import pytest
from phrasings import asks_back, dialogue

from handsfree.dialogue import Response, Session
from handsfree.events import Asked, ReadingTaken
from handsfree.heard import Heard
from handsfree.meaning import Ambiguous, Aside, Command, Observation, Reading, State, Unclear
from handsfree.units import quantity


def said(text: str, at: str = "voltage") -> Response:
    step = dialogue().desk.plan.step(at)
    session = Session(step=step.id, condition=step.condition)
    return dialogue().respond(session, Heard.of_text(text))


def meant(text: str, at: str = "voltage"):
    understood = said(text, at).understood
    return understood.meaning if understood else None


@pytest.mark.parametrize(
    ("text", "at", "value", "unit"),
    [
        ("forty seven ohms way too high for a motor", "resistance", 47, "Ω"),
        ("three point four ohms motor's fine", "resistance", 3.4, "Ω"),
        ("five volts no wobble", "voltage", 5, "V"),
        ("four point nine two which is near enough perfect", "voltage", 4.92, "V"),
        ("battery's down a bit, eleven point eight", "voltage", 11.8, "V"),
        ("point five too low", "voltage", 0.5, "V"),
        ("so yeah I've got the probe in now it's four point nine seven", "voltage", 4.97, "V"),
    ],
)
def test_the_value_is_asked_about_whatever_is_said_of_it(text, at, value, unit):
    response = said(text, at)
    (asked,) = [event for event in response.events if isinstance(event, Asked)]
    assert [take.value for take in asked.candidates] == [quantity(value, unit)]
    assert not any(isinstance(event, ReadingTaken) for event in response.events)


@pytest.mark.parametrize(
    "text",
    [
        "ten amp fuse in there", "ten amps fuse in there", "five volts more than the other one",
        "five volts not", "five volts I don't think so", "five volts don't log it",
        "five volts not there any more", "five volts yesterday", "five volts is what he said",
        "five volts would be good", "five volts or so", "five volts and a bit",
        "is five volts okay",
        "the manual says five volts", "I need five volts", "that's four point five litres",
        "no way that's ten and a half volts", "four point nine and the", "pass us the ten mil",
        "keep that one for five", "we open at five", "Dave's was five point one",
    ],
)  # fmt: skip
def test_no_value_is_offered_of_what_a_word_takes_back_or_gives_to_something_else(text):
    assert not isinstance(meant(text), Reading | Ambiguous | State | Observation)


@pytest.mark.parametrize(
    ("text", "at", "expected"),
    [
        ("loose as a goose", "observation", "moves freely"),
        ("I'm leaning on it and it won't budge", "observation", "stuck"),
        ("moves but you've got to fight it", "observation", "stiff"),
        ("goes along with the knob no drama", "following", "follows"),
        ("I turn it and the drive just sits there", "following", "does not follow"),
        ("it's live alright", "state", "battery"),
        ("nothing there at all mate", "state", "dead"),
        ("test light's going like a disco", "state", "pulsing"),
    ],
)
def test_what_is_seen_is_told_in_many_words(text, at, expected):
    match meant(text, at):
        case Observation(answer=answer):
            assert answer == expected
        case State(state=state):
            assert state == expected
        case other:
            pytest.fail(f"understood as {other}")


@pytest.mark.parametrize(
    "text",
    ["it's all over the shop", "won't settle", "a smidge under twelve", "three or four volts",
     "somewhere in the high elevens", "dancing about between three and five"],
)  # fmt: skip
def test_what_is_vague_is_met_with_a_request_of_its_own(text):
    assert asks_back(meant(text))


@pytest.mark.parametrize("text", ["yes I'm still holding for parts", "louder than my old car"])
def test_an_answer_or_a_wish_that_begins_something_else_is_none(text):
    assert not isinstance(meant(text, "observation"), Observation | Command)


def test_zero_of_the_control_or_of_the_meter_is_asked():
    response = said("it's at zero now")
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    assert any(isinstance(event, Asked) for event in response.events)
    assert any(isinstance(event, ReadingTaken) for event in said("zero volts").events)


def test_what_is_said_of_a_list_does_not_lose_its_last_value():
    meaning = meant("brown twelve point five black point zero one and I'm happy with both")
    assert not isinstance(meaning, Unclear | Aside | None)
    assert [take.wire for take in meaning.values] == ["2", "3"]
