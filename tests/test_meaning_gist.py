"""What words outside the grammar come to: obeyed if nothing is changed by it, else asked about.

How people put it: common practice, no published source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from by_hand import by_hand

from handsfree.dialogue import Dialogue, Response, Session
from handsfree.events import Asked, Event, ReadingStruck, ReadingTaken, Spoke
from handsfree.events.codec import Codec
from handsfree.heard import Heard, Hypothesis
from handsfree.languages import load_language
from handsfree.meaning import Aside, Command, Note, Reading, SetCondition, State
from handsfree.meaning.gist import LONGEST_GIST

TALK = Dialogue(by_hand("flap-actuator-5wire").plan, load_language("en"))


def at(step: str) -> Session:
    there = TALK.desk.plan.step(step)
    return Session(step=step, condition=there.condition, phase=there.phase)


def said(session: Session, *texts: str) -> Response:
    """What comes of the last of some utterances."""
    for text in texts:
        response = TALK.respond(session, Heard.of_text(text))
        session = response.session
    return response


def kinds(response: Response) -> list[type[Event]]:
    return [type(event) for event in response.events[1:]]


def told(response: Response) -> str:
    return " ".join(e.text for e in response.events if isinstance(e, Asked | Spoke))


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("say that one more time would you", "repeat"),
        ("what's the spec on that", "expected"),
        ("where does the red lead go", "probe"),
        ("what are we checking that for", "why"),
        ("how much more of this is there", "left"),
        ("what did I just give you", "last"),
        ("crank it up mate", "louder"),
    ],
)
def test_a_question_to_the_tool_is_answered_in_whatever_words(text: str, name: str) -> None:
    before = at("reference")
    response = said(before, text)
    assert response.understood
    assert response.understood.by_gist
    assert response.understood.meaning == Command(name)
    assert kinds(response) == [Spoke]
    assert replace(response.session, misses=before.misses) == before


@pytest.mark.parametrize(
    ("text", "command", "question"),
    [
        ("righto let's move along", Command("next"), "Go on to the next test?"),
        ("can't reach it, skip it", Command("skip"), "Skip this test?"),
        ("rub that one out", Command("strike"), "Strike the last value?"),
        ("hop over to pin five", Command("go", wire="5"), "Go to violet?"),
        ("the key's on now", SetCondition("ignition_on"), "Is ignition on set?"),
        ("whoa, hang on", Command("pause"), "Pause?"),
    ],
)
def test_what_changes_the_job_is_asked_first(
    text: str, command: Command | SetCondition, question: str
) -> None:
    response = said(at("reference"), text)
    assert response.understood
    assert response.understood.meaning == command
    assert kinds(response) == [Asked]
    assert told(response) == question
    assert response.session.step == "reference"


def test_yes_does_what_was_meant_and_no_leaves_it() -> None:
    taken = said(at("reference"), "five volts").session
    assert ReadingStruck in kinds(said(taken, "rub that one out", "yes"))
    kept = said(taken, "rub that one out", "no")
    assert ReadingStruck not in kinds(kept)
    assert kept.session.question is None
    assert kept.session.entries == taken.entries


def test_talk_to_others_instead_of_an_answer_is_met_with_silence_and_the_question_stands() -> None:
    asked = said(at("reference"), "righto let's move along")
    again = said(asked.session, "the cat sat in the sun and purred at nobody")
    assert kinds(again) == []
    assert again.session.question == asked.session.question
    answered = said(again.session, "yes")
    assert answered.session.question is None
    assert answered.session.step != again.session.step


def test_a_value_instead_of_an_answer_is_taken() -> None:
    response = said(at("reference"), "righto let's move along", "five volts")
    assert ReadingTaken in kinds(response)
    assert response.session.question is None


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("one more for you, violet's five volts", "5.0 V"),
        ("your turn, I got five point one", "5.1 V"),
        ("it came up as four point nine eight volts", "4.98 V"),
        ("quarter of a volt", "0.25 V"),
        ("a volt and a half", "1.5 V"),
        ("gun says five point two", "5.2 V"),
    ],
)
def test_a_value_among_other_words_is_confirmed_before_it_is_logged(text: str, value: str) -> None:
    response = said(at("reference"), text)
    assert response.understood
    assert isinstance(found := response.understood.meaning, Reading)
    assert f"{found.value:~P}" == value
    assert kinds(response) == [Asked]
    assert [ReadingTaken in kinds(said(response.session, "yes"))] == [True]


def test_a_prefix_within_a_number_is_its_point() -> None:
    """IEC 60062 writes 4k7 for 4.7 kΩ; it is said the same way."""
    response = said(at("track"), "four k seven")
    assert response.understood
    assert isinstance(found := response.understood.meaning, Reading)
    assert f"{found.value:~P}" == "4.7 kΩ"


@pytest.mark.parametrize(
    "text",
    [
        "nobody said thirteen point eight volts",
        "no chance it's two point five volts",
        "far from seven point one volts",
        "it refuses to show ten and a half volts",
        "the book wants two point two volts",
        "last time we got three hundred millivolts",
        "has it got four volts yet",
        "the old one had six point four",
        "my brother has five kids",
        "don't go to the brown",
        "skip it if you like",
        "fort point nine volts",
        "when do we strike that last reading",
    ],
)
def test_words_that_change_the_meaning_are_never_passed_over(text: str) -> None:
    before = at("reference")
    response = said(before, text)
    assert response.understood
    assert isinstance(response.understood.meaning, Aside)
    assert response.session.question is None
    assert response.session.entries == ()


def test_a_state_is_read_where_a_state_is_asked_for() -> None:
    response = said(at("hot_drive_heating"), "not a sausage")
    assert response.understood
    assert response.understood.meaning == State("dead")
    assert kinds(response) == [Asked]


def test_the_text_of_a_note_keeps_every_word() -> None:
    response = said(at("reference"), "jot down that it is not the first actuator")
    assert response.understood
    assert response.understood.meaning == Note("that it is not the first actuator")


def test_the_grammar_comes_before_the_gist() -> None:
    """Nothing is read by its gist while a hypothesis of the grammar is likelier."""
    heard = Heard((Hypothesis("five volts", -1.0), Hypothesis("rub that one out", -9.0)))
    response = TALK.respond(at("reference"), heard)
    assert response.understood
    assert not response.understood.by_gist
    assert isinstance(response.understood.meaning, Reading)


def test_the_question_is_kept_in_the_log() -> None:
    response = said(at("reference"), "hop over to pin five")
    (asked,) = (event for event in response.events if isinstance(event, Asked))
    kind, fields = Codec(TALK.desk.plan).encode(asked)
    assert Codec(TALK.desk.plan).read(1, "", kind, fields).event == asked


@pytest.mark.parametrize(
    "text", ["one six seven zero seven eight volts", "six seven zero seven eight one volts"]
)
def test_a_digit_beside_a_number_is_not_passed_over(text: str) -> None:
    response = said(at("reference"), text)
    assert response.understood
    assert not isinstance(response.understood.meaning, Reading)


def test_a_long_text_has_no_gist() -> None:
    """What may be passed over in three hundred words took seconds to be tried."""
    response = said(at("reference"), " ".join(["five two three nine nine zero"] * 50))
    assert response.understood
    assert isinstance(response.understood.meaning, Aside)
    shorter = said(at("reference"), " ".join(["say that once more"] + ["mate"] * LONGEST_GIST))
    assert shorter.understood
    assert not shorter.understood.by_gist


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("there's supposed to be eight volts but I see three", "3.0 V"),
        ("it should be twelve volts but it's only nine", "9.0 V"),
        ("sorry, that was four point eight, not four point nine", "4.8 V"),
    ],
)
def test_what_is_shown_counts_and_not_what_it_was_to_be(text: str, value: str) -> None:
    session = (
        said(at("reference"), "four nine volts").session if "sorry" in text else at("reference")
    )
    response = said(session, text)
    assert kinds(response) == [Asked] or kinds(response)[-1] is Asked
    assert response.session.question
    shown = [
        f"{c.value:~P}" for c in response.session.question.candidates if isinstance(c, Reading)
    ]
    assert value in shown


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("hardly any volts", "hedged"),
        ("next to nothing", "hedged"),
        ("low, real low", "hedged"),
        ("it keeps flickering, won't settle", "range"),
        ("between four and five and it's moving", "range"),
    ],
)
def test_what_shows_no_value_is_answered_with_what_to_say(text: str, kind: str) -> None:
    before = at("reference")
    response = said(before, text)
    assert response.understood
    assert response.understood.meaning == Aside(kind)  # type: ignore[arg-type]
    assert told(response) == TALK.desk.say(f"aside_{kind}")
    assert response.session.entries == before.entries
