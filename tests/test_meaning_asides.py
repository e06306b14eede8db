"""What sounds like a reading or a command and is none: nothing of it is logged or obeyed.

How people deny, hedge, ask and think aloud: common practice, no published source.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from by_hand import FOLDER
from speech_bench import outside as bench
from speech_bench.phrases import dialogue as about

from handsfree.dialogue import Dialogue, Response, Session
from handsfree.events import Asked, Spoke, UtteranceHeard
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import Ambiguous, Aside, Reading
from handsfree.plan import load_plan

KOREAN_PLAN = str(Path(__file__).parent / "data" / "plans" / "korean.yaml")


@cache
def dialogue(language: str) -> Dialogue:
    plan = {"en": str(FOLDER / "flap-actuator-5wire.yaml"), "ko": KOREAN_PLAN}[language]
    return Dialogue(load_plan(plan).plan, load_language(language))


def hear(text: str, step: str, language: str = "en") -> tuple[Session, Response]:
    """Say something at a step: the session before, and the response."""
    talk = dialogue(language)
    there = talk.desk.plan.step(step)
    session = Session(step=step, condition=there.condition, phase=there.phase)
    return session, talk.respond(session, Heard.of_text(text))


def meaning(response: Response) -> object:
    assert response.understood
    return response.understood.meaning


def told(response: Response) -> list[str]:
    return [e.text for e in response.events if isinstance(e, Asked | Spoke)]


@pytest.mark.parametrize(
    ("language", "text", "kind"),
    [
        ("en", "not five volts", "negated"),
        ("en", "um not five volts", "negated"),
        ("en", "there is no five volts there", "negated"),
        ("en", "it isn't five volts", "negated"),
        ("en", "violet is not five volts", "negated"),
        ("en", "about five volts", "hedged"),
        ("en", "five volts or so", "hedged"),
        ("en", "it's almost five volts", "hedged"),
        ("en", "it should be five volts", "expected"),
        ("en", "we want five volts", "expected"),
        ("en", "it was five volts", "past"),
        ("en", "five volts before", "past"),
        ("en", "is it five volts", "asked"),
        ("en", "five volts right", "asked"),
        ("en", "between four and five volts", "range"),
        ("en", "four to five volts", "range"),
        ("en", "blah five", "unknown"),
        ("en", "violet blah", "unknown"),
        ("ko", "오 볼트 아니야", "negated"),
        ("ko", "오 볼트 안 나온다", "negated"),
        ("ko", "약 오 볼트", "hedged"),
        ("ko", "얼추 오 볼트", "hedged"),
        ("ko", "오 볼트 정도", "hedged"),
        ("ko", "오 볼트 나와야 해", "expected"),
        ("ko", "오 볼트 인가요", "asked"),
        ("ko", "오 볼트 입니까", "asked"),
        ("ko", "블라 오", "unknown"),
    ],
)
def test_a_value_that_is_not_read_off_is_answered_in_one_sentence(
    language: str, text: str, kind: str
) -> None:
    before, response = hear(text, "reference", language)
    assert meaning(response) == Aside(kind, about=True)  # type: ignore[arg-type]
    assert [type(e) for e in response.events] == [UtteranceHeard, Asked]
    say = dialogue(language).desk.say
    wire = dialogue(language).desk.wording.step_name(dialogue(language).desk.plan.step("reference"))
    again = say("unclear_1", wire=wire)
    assert told(response) == [again if kind == "unknown" else say(f"aside_{kind}")]
    assert (response.session.entries, response.session.step) == ((), before.step)


@pytest.mark.parametrize(
    ("language", "text", "kind"),
    [
        ("en", "um", "filler"),
        ("en", "okay so", "filler"),
        ("en", "hang on", "filler"),
        ("en", "pass me the spanner", "unknown"),
        ("en", "oh", "unknown"),
        ("en", "mumble", "unknown"),
        ("en", "five of them are still in the box over there", "unknown"),
        ("en", "", "unknown"),
        ("ko", "음", "filler"),
        ("ko", "안녕하세요", "unknown"),
    ],
)
def test_talk_is_met_with_silence(language: str, text: str, kind: str) -> None:
    _, response = hear(text, "reference", language)
    assert meaning(response) == Aside(kind, about=False)  # type: ignore[arg-type]
    assert [type(e) for e in response.events] == [UtteranceHeard]


@pytest.mark.parametrize(
    ("text", "kind"), [("no continuity", "open"), ("no voltage", "dead"), ("nothing there", "dead")]
)
def test_a_state_is_no_denial(text: str, kind: str) -> None:
    _, response = hear(text, "hot_drive_heating")
    assert getattr(meaning(response), "state", None) == kind


# Numbers that few people say so


@pytest.mark.parametrize(
    ("step", "text", "values"),
    [
        ("battery_voltage", "one two six", ["1.26 V", "12.6 V"]),
        ("track", "four thousand nine hundred", ["4900.0 kΩ", "4900.0 Ω"]),
        ("wiper", "two hundred", ["200.0 kΩ", "200.0 Ω"]),
    ],
)
def test_an_unusual_form_that_alone_passes_is_asked_about(
    step: str, text: str, values: list[str]
) -> None:
    _, response = hear(text, step)
    found = meaning(response)
    assert isinstance(found, Ambiguous)
    assert [f"{c.value:~P}" for c in found.candidates if isinstance(c, Reading)] == values
    assert [type(e) for e in response.events] == [UtteranceHeard, Asked]


@pytest.mark.parametrize(
    ("step", "text", "value"),
    [
        ("motor_winding", "eight six six", "866.0 Ω"),
        ("motor_winding", "one two six", "126.0 Ω"),
        ("motor_winding", "four thousand nine hundred", "4900.0 Ω"),
        ("battery_voltage", "one two point six", "12.6 V"),
        ("battery_voltage", "twelve six", "12.6 V"),
        ("track", "four thousand nine hundred ohms", "4900.0 Ω"),
        ("track", "two hundred", "200.0 kΩ"),
        ("track", "five", "5.0 kΩ"),
    ],
)
def test_an_unusual_form_that_does_not_pass_is_not_asked_about(
    step: str, text: str, value: str
) -> None:
    _, response = hear(text, step)
    found = meaning(response)
    assert isinstance(found, Reading)
    assert f"{found.value:~P}" == value


# Speech outside the grammar, typed


def test_thousands_of_sentences_outside_are_neither_logged_nor_obeyed() -> None:
    """And in hardly one of fifty it is asked whether a command was meant."""
    done, asked, count = [], 0, 0
    for one in bench.outside("tune"):
        talk = about(one.plan)
        session = one.scene(talk.desk.plan)
        if session is None:
            continue
        came = bench.came_of(session, talk.respond(session, Heard.of_text(one.text)))
        count, asked = count + 1, asked + (came == "asked")
        if came in ("logged", "obeyed", "invented"):
            done.append((came, one.text, one.plan, one.step))
    assert done == []
    assert asked <= count / 50
