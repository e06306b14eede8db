"""What stands before and behind a sentence and carries nothing is left away.

The turns of speech are common in Ireland, Scotland, India, Australia and the United States; common
practice, no published source.
"""

from __future__ import annotations

import pytest
from phrasings import Phrasing, dialogue, scene

from handsfree.events import Asked, ReadingTaken
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import (
    Aside,
    Command,
    Observation,
    Reading,
    SetCondition,
    Several,
    State,
)
from handsfree.meaning.trimmed import without_frills
from handsfree.units import quantity


def said(text: str, at: str = "voltage"):
    return dialogue().respond(scene(Phrasing(text, at, "", {})), Heard.of_text(text))


def meant(text: str, at: str = "voltage"):
    return said(text, at).understood.meaning


@pytest.mark.parametrize(
    ("text", "at", "value", "unit"),
    [
        ("yeah nah that's five flat", "voltage", 5, "V"),
        ("yeah no that's five point one", "voltage", 5.1, "V"),
        ("four point nine seven so it is", "voltage", 4.97, "V"),
        ("four point nine four, there we are", "voltage", 4.94, "V"),
        ("is five point zero zero volt", "voltage", 5, "V"),
        ("we are having thirty one degrees celsius here", "temperature", 31, "degC"),
        ("two hundred and ninety milliamps on the clamp so I have", "current", 290, "mA"),
        ("two k two", "kilohms", 2.2, "kΩ"),
    ],
)
def test_a_value_is_asked_about_without_what_carries_nothing(text, at, value, unit):
    response = said(text, at)
    told = response.understood.meaning
    assert isinstance(told, Reading)
    assert told.value == quantity(value, unit)
    assert not any(isinstance(event, ReadingTaken) for event in response.events)


def test_other_statements_too() -> None:
    assert meant("going down now it is", "current") == SetCondition("down")
    assert meant("okay I'm runnin' her up now", "state") == SetCondition("up")
    assert meant("follows nae bother", "following") == Observation("follows")
    assert meant("doesnae follow", "following") == Observation("does not follow")
    assert meant("kindly repeat the instruction once") == Command("repeat")


@pytest.mark.parametrize(
    "text",
    ["is five volts okay", "yeah no not five point one", "that's not five volts so it isn't",
     "yeah no power", "is the feed five volts normal"],
)  # fmt: skip
def test_what_denies_or_asks_is_no_value(text):
    assert isinstance(meant(text), Aside)


@pytest.mark.parametrize(
    ("text", "answer"),
    [("yeah nah", "no"), ("nup", "no"), ("aye go on", "yes"), ("too right mate", "yes")],
)
def test_the_last_of_yes_and_no_answers(text, answer):
    assert meant(text, "confirm") == Command(answer)


@pytest.mark.parametrize("text", ["nah yeah", "nah yeah that's it", "no no yeah that's right"])
def test_an_answer_with_a_yes_behind_a_no_is_asked_again(text):
    response = said(text, "confirm")
    assert isinstance(response.understood.meaning, Aside)
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    assert any(isinstance(event, Asked) and event.question for event in response.events)


def test_two_wires_are_both_or_neither() -> None:
    both = meant("ah brown's at ground and white's pulsing", "state")
    assert both == Several((State("ground", "2"), State("pulsing", "4")))
    text = "brown is at ground and the white one goes wibble"
    assert not isinstance(meant(text, "state"), State)


def test_a_text_without_such_phrases_is_left_alone() -> None:
    language = load_language("en")
    assert list(without_frills("four point nine", language, answering=False)) == []
    assert "five" not in without_frills("yeah nah five", language, answering=True)
    assert list(without_frills("so it is", load_language("ko"), answering=False)) == []


def test_the_unit_of_several_values_may_stand_behind_all() -> None:
    told = meant("violet five point one and white two point six, all volts")
    assert isinstance(told, Several)
    assert [one.value for one in told.values] == [quantity(5.1, "V"), quantity(2.6, "V")]
    mixed = meant("violet five ohms white two all volts")
    assert isinstance(mixed, Aside)
