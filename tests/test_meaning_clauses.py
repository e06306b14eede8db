"""Two clauses of which one settles the other, and answers that name their value.

How people put it: common practice, no published source.
"""

from __future__ import annotations

import pytest
from phrasings import Phrasing, dialogue, scene

from handsfree.dialogue import Response
from handsfree.events import Asked, QuestionClosed, ReadingTaken, Spoke
from handsfree.heard import Heard
from handsfree.meaning import Aside, Command, Reading, Several, Unclear, Unread
from handsfree.units import quantity


def said(text: str, at: str, *, after: bool = False) -> Response:
    """What comes of it; `after` a value of 4.95 V."""
    wanted = {"value": "correct"} if after else {}
    return dialogue().respond(scene(Phrasing(text, at, "", wanted)), Heard.of_text(text))


def meant(text: str, at: str, *, after: bool = False) -> object:
    understood = said(text, at, after=after).understood
    assert understood is not None
    return understood.meaning


def told(response: Response) -> str:
    return " ".join(e.text for e in response.events if isinstance(e, Asked | Spoke))


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("twelve six, yeah, twelve point six", 12.6),
        ("four nine, four point nine", 4.9),
        ("four nine four point nine", 4.9),
        ("five point one five point one", 5.1),
        ("two hundred millivolts, point two of a volt", 0.2),
    ],
)
def test_a_value_that_is_said_twice_is_one_value(text: str, value: float) -> None:
    found = meant(text, "voltage")
    assert isinstance(found, Reading)
    assert found.value is not None
    assert found.value.m_as("V") == pytest.approx(value)


@pytest.mark.parametrize(
    "text",
    [
        "not five, four point eight",
        "four point eight, not five",
        "it's not five it's four point eight",
        "sorry, that was four eight, not five",
        "i said five, i meant four point eight",
    ],
)
def test_a_value_that_is_denied_is_put_right_once_it_is_confirmed(text: str) -> None:
    found = meant(text, "voltage", after=True)
    assert isinstance(found, Command)
    assert found.name == "correct"
    assert isinstance(found.take, Reading)
    assert found.take.value == quantity(4.8, "V")
    events = said(text, "voltage", after=True).events
    assert not any(isinstance(event, ReadingTaken) for event in events)


@pytest.mark.parametrize(
    "text",
    ["no five volts", "not quite four point two volts", "no two point five volts on this one",
     "without five volt reference five point oh six", "nowhere near seven point one volts"],
)  # fmt: skip
def test_what_is_denied_alone_gives_no_value_by_a_cut_within_its_number(text: str) -> None:
    assert isinstance(meant(text, "voltage"), Aside)


def test_another_value_than_the_one_asked_about_is_asked_about_in_its_place() -> None:
    response = said("no, five point seven", "confirm", after=True)
    assert told(response) == "violet, five point seven volts. Right?"
    question = response.session.question
    assert question is not None
    assert question.supersedes is None, "the value before stands"


@pytest.mark.parametrize("text", ["yes, seven", "seven volts, that's right", "i said seven"])
def test_yes_may_name_its_value(text: str) -> None:
    response = said(text, "confirm")
    assert any(isinstance(event, ReadingTaken) for event in response.events)


def test_yes_to_another_value_is_no_answer() -> None:
    response = said("yes, eight", "confirm")
    assert response.understood is not None
    assert isinstance(response.understood.meaning, Unclear)
    assert not any(isinstance(e, ReadingTaken | QuestionClosed) for e in response.events)
    assert "seven volts" in told(response)


@pytest.mark.parametrize(
    ("text", "choice"),
    [
        ("the higher one", 1),
        ("second, the small one", 2),
        ("the first, forty nine", 1),
        ("four point nine, the second one", 2),
    ],
)
def test_which_of_two_may_be_said_by_size_or_value(text: str, choice: int) -> None:
    assert meant(text, "question") == Command("choice", choice=choice)


@pytest.mark.parametrize("text", ["second, the bigger one", "the first, four point nine"])
def test_an_answer_that_contradicts_itself_is_asked_again(text: str) -> None:
    assert isinstance(meant(text, "question"), Unclear)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("violet to white four point nine k, white to black two point one k", "resistance"),
        ("five volts, two point one volts", "voltage"),
    ],
)
def test_several_values_without_wires_are_told_how_to_be_said(text: str, at: str) -> None:
    assert told(said(text, at)) == "That is more than one value. Say one, or each with its wire."


def test_a_list_that_is_broken_off_keeps_what_was_said() -> None:
    found = meant("violet four point nine eight and the white", "voltage")
    assert isinstance(found, Several)
    violet, white = found.values
    assert isinstance(violet, Reading)
    assert violet.value == quantity(4.98, "V")
    assert white == Unread("4")


def test_half_a_guess_does_not_close_the_open_test() -> None:
    assert meant("violet five, white about two", "voltage") == Aside("hedged")


@pytest.mark.parametrize(
    "text",
    ["the manual says five volts", "it's a ten amp fuse", "open the door", "fuse number five",
     "the shop opens at eight", "that's a good one"],
)  # fmt: skip
def test_a_value_of_something_else_is_none(text: str) -> None:
    for at in ("voltage", "resistance"):
        assert isinstance(meant(text, at), Aside)


def test_a_long_sentence_of_measured_things_is_not_met_with_silence() -> None:
    """Nobody knows what it means, but it is for the tool."""
    text = "white four point nine or black two volts or pin three point one"
    response = said(text, "voltage")
    assert isinstance(response.understood and response.understood.meaning, Aside)
    assert told(response)


def test_yes_answers_what_is_to_be_observed_once_it_is_confirmed() -> None:
    response = said("yes it does", "observation")
    assert not any(isinstance(event, ReadingTaken) for event in response.events)
    yes = dialogue().respond(response.session, Heard.of_text("yes"))
    assert any(isinstance(event, ReadingTaken) for event in yes.events)
    assert yes.session.entries[-1].step == "observation"
